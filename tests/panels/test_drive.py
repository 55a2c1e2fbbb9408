"""Ride panels: every control is moved as a hand would, and picture and words must follow."""

import base64
import html
from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose

import suspkit as sk
from suspkit.dynamics.drive import drive
from suspkit.dynamics.view import CLICK_TRIALS, FRAME, TRIALS, in_words
from suspkit.panels.drive import ClickerPanel, RoadPanel, clicker, numbers, road

INCH = 0.0254

UNIT7 = sk.example("unit7")
KIT, STOCK = UNIT7.setups["kit"], UNIT7.setups["stock"]


def board(panel):
    """The board last shown."""
    return next(reversed(panel._boards.values()))


def chart(panel, name, axle=None):
    kind = sk.ride_charts.RIDE_CHARTS[name]
    found = [c for c in board(panel).charts if type(c) is kind]
    return next(c for c in found if axle is None or c.axle == axle)


def expect_clicks(panel, setup, event):
    assert panel.error == ""
    assert replace(panel.setup, note="") == replace(setup, note="")  # whose note it is, or was
    run = drive(UNIT7, setup, event=event, load=panel.controls["load"].value, model="half")
    for axle, wheel in (("front", 0), ("rear", 1)):
        shown = chart(panel, "travel", axle).lines[0].get_ydata() * INCH
        assert_allclose(shown, run.travel[wheel], atol=1e-8)
    assert html.escape(in_words(panel.view)) in panel.words.value
    assert panel.chart.layout.visibility == "visible"


@pytest.mark.parametrize("event", CLICK_TRIALS)
def test_every_clicker_moves_the_event(event):
    panel = ClickerPanel(UNIT7, event=event)
    road_event, setup = CLICK_TRIALS[event].event(), KIT
    expect_clicks(panel, setup, road_event)
    for axle, name, click in (("front", "compression", 0), ("front", "rebound", 12),
                              ("rear", "compression", 2), ("rear", "rebound", 9)):  # fmt: skip
        before = panel.chart.value
        panel.set(**{f"{axle}_{name}": click})
        own = getattr(setup, f"{axle}_left").clicks | {name: click}
        setup = setup.change(axle, clicks=own)
        expect_clicks(panel, setup, road_event)
        assert panel.chart.value != before


def test_the_clicker_panel_marks_the_click():
    panel = ClickerPanel(UNIT7)
    panel.set(front_rebound=2)
    assert list(chart(panel, "ratio").marks["rebound"].get_xdata()) == [2, 2]
    assert chart(panel, "force").texts["rebound"].get_text() == "rebound 2"
    panel.set(axle="rear")
    assert chart(panel, "force").texts["rebound"].get_text() == "rebound 6"


def test_the_dashed_line_is_mid_range():
    panel = ClickerPanel(UNIT7)
    middle = chart(panel, "travel", "front").lines[1].get_ydata().copy()
    panel.set(front_rebound=0, rear_rebound=12)
    assert_allclose(chart(panel, "travel", "front").lines[1].get_ydata(), middle)


def test_load_event_and_level():
    panel = ClickerPanel(UNIT7)
    panel.set(load="bare")
    expect_clicks(panel, KIT, CLICK_TRIALS["step"].event())
    panel.set(event="chop")
    assert panel.controls["level"].value == CLICK_TRIALS["chop"].level
    panel.set(level=6.0)
    expect_clicks(panel, KIT, CLICK_TRIALS["chop"].event(6.0))


def test_units_change_nothing_but_the_reader():
    panel = ClickerPanel(UNIT7, event="chop")
    panel.set(level=8.0, front_rebound=3)
    event, setup = panel.view.event, panel.setup
    panel.set(units="metric")
    assert panel.view.event is event and panel.setup == setup
    assert dict(panel.controls["level"].options)["29 km/h"] == 8.0
    assert panel.controls["level"].value == 8.0
    assert " N" in numbers(panel, units="metric") and "lbf" not in panel.words.value
    travel = chart(panel, "travel", "front").lines[0].get_ydata() * 1e-3
    run = drive(UNIT7, setup, event=event, load="patrol", model="half")
    assert_allclose(travel, run.travel[0], atol=1e-8)


# ----------------------------------------------------------------------------------------- the road


@pytest.mark.parametrize("event", TRIALS)
def test_road_panel_shows_both_setups(event):
    panel = RoadPanel(UNIT7, event=event)
    assert panel.error == "" and panel.view.labels == ("stock", "kit")
    for label, line in zip((STOCK, KIT), chart(panel, "travel", "rear").lines, strict=True):
        run = drive(UNIT7, label, event=TRIALS[event].event(), load="patrol")
        assert_allclose(line.get_ydata() * INCH, run.travel[2], atol=1e-8)


def test_the_moment_moves_the_picture_and_runs_nothing(monkeypatch):
    panel = RoadPanel(UNIT7)
    calls = []
    monkeypatch.setattr(sk.ride_view, "drive", lambda *a, **k: calls.append(1))
    for frame in (10, 50, 90):
        before = panel.chart.value
        panel.set(moment=frame)
        assert panel.error == "" and panel.chart.value != before
        assert panel.view.moment == pytest.approx(frame * FRAME)
        words = chart(panel, "run-side").rake.get_text()
        assert words == f"stock, {frame * FRAME:.2f} s"
    panel.set(moving=1)
    assert chart(panel, "run-side").rake.get_text().startswith("kit,")
    assert calls == []


def test_setups_of_ones_own():
    gap = KIT.rear_left.gap
    setups = {"small": KIT.change("rear", gap=gap - 0.01), "set": KIT,
              "wide": KIT.change("rear", gap=gap + 0.01)}  # fmt: skip
    panel = RoadPanel(UNIT7, setups=setups)
    assert panel.view.labels == ("small", "wide")
    panel.set(solid="set")
    assert panel.view.labels == ("set", "wide")
    run = drive(UNIT7, KIT, event=panel.view.event, load="patrol")
    line = chart(panel, "travel", "rear").lines[0]
    assert_allclose(line.get_ydata() * INCH, run.travel[2], atol=1e-8)


def test_the_same_setup_twice_is_one():
    panel = RoadPanel(UNIT7)
    panel.set(dashed="stock", moving=1)
    assert panel.error == "" and panel.view.labels == ("stock",)
    assert len(chart(panel, "travel", "front").lines[1].get_xdata()) == 0


def test_a_shorter_event_keeps_the_moment_inside():
    panel = RoadPanel(UNIT7, event="rough road")
    panel.set(moment=300)
    panel.set(event="drop")
    end = round(TRIALS["drop"].duration / FRAME)
    assert panel.controls["moment"].max == panel.play.max == end
    assert panel.controls["moment"].value == end and panel.error == ""


def test_a_picture_does_not_depend_on_what_was_shown_before():
    """A page may draw on its way what Python does not, or the other way round."""
    straight, around = RoadPanel(UNIT7), RoadPanel(UNIT7)
    straight.set(moment=60, moving=1, units="metric")
    around.set(moving=1, units="metric", dashed="stock")
    around.set(event="drop", dashed="kit")
    around.set(event="g-out", moment=60)
    assert around.chart.value == straight.chart.value


def test_a_page_opens_at_the_moment_that_was_set():
    """The link in the page begins by giving the slider what the play button holds."""
    panel = RoadPanel(UNIT7)
    panel.set(moment=50)
    assert panel.play.value == panel.controls["moment"].value == 50


# ------------------------------------------------------------------------------------------- errors


def test_a_run_without_a_result_is_said_and_recovered_from(monkeypatch):
    panel = RoadPanel(UNIT7, event="whoops")
    good = panel.chart.value
    wild = replace(
        TRIALS["whoops"], make=lambda v: sk.events.whoops(height=0.4, spacing=6, speed=12)
    )
    panel._events.clear()
    with monkeypatch.context() as patch:
        patch.setattr(panel, "TRIALS", TRIALS | {"whoops": wild})
        panel.refresh()
        assert "turns over" in panel.error and 'role="alert"' in panel.words.value
        assert panel.chart.layout.visibility == "hidden"
        assert panel.summary() == f"This cannot be shown. {panel.error}" == numbers(panel)
    panel._events.clear()
    panel.refresh()
    assert panel.error == "" and panel.chart.value == good


def test_a_shock_without_a_damper_is_said_in_words():
    bare = replace(UNIT7, front=replace(UNIT7.front, shock=replace(UNIT7.front.shock, damper=None)))
    panel = ClickerPanel(bare)
    assert panel.error.startswith("front.shock.damper is missing")


def test_a_doubtful_run_is_marked_above_the_numbers(monkeypatch):
    panel = RoadPanel(UNIT7)
    real = sk.ride_view.drive

    def doubtful(*args, **kwargs):
        return replace(real(*args, **kwargs), notes=("The <b>book</b> is open.",))

    monkeypatch.setattr(sk.ride_view, "drive", doubtful)
    panel.set(level=9.0)
    assert "stock: The &lt;b&gt;book&lt;/b&gt; is open." in panel.words.value
    assert panel.words.value.index('role="status"') < panel.words.value.index("<table")


@pytest.mark.parametrize("make, option, expected", [
    (ClickerPanel, {"event": "hop"}, "event is 'hop'; expected .*step, chop, g-out"),
    (ClickerPanel, {"setup": "kitt"}, "setup is 'kitt'; expected"),
    (ClickerPanel, {"axle": "mid"}, "axle is 'mid'; expected"),
    (RoadPanel, {"event": "chop"}, "event is 'chop'; expected"),
    (RoadPanel, {"load": "nope"}, "load is 'nope'; expected"),
    (RoadPanel, {"units": "si"}, "units is 'si'; expected"),
    (RoadPanel, {"setups": {}}, "setups is empty"),
])  # fmt: skip
def test_unknown_names(make, option, expected):
    with pytest.raises(ValueError, match=expected):
        make(UNIT7, **option)


@pytest.mark.parametrize("make", [clicker, road])
def test_what_a_copy_without_a_kernel_shows(make):
    panel = make(UNIT7)
    bundle = panel._repr_mimebundle_()
    data = bundle[0] if isinstance(bundle, tuple) else bundle
    assert base64.b64decode(data["image/png"]) == panel.chart.value
    assert data["text/plain"] == in_words(panel.view) == panel.summary()


@pytest.mark.parametrize("make", [ClickerPanel, RoadPanel])
def test_no_control_value_ever_raises(make):
    panel = make(UNIT7)
    for name, control in panel.controls.items():
        if hasattr(control, "options"):
            values = [o[1] if isinstance(o, tuple) else o for o in control.options]
            values = [values[0], values[-1], values[len(values) // 2]]
        else:
            values = [control.min, control.max, (control.min + control.max) // 2]
        for value in values:
            panel.set(**{name: value})
            assert panel.error == "" and np.isfinite(panel.view.outcomes[0].peak)


def test_moves_one_vehicle_and_then_the_other_with_more_springs(unit7):
    panel = sk.ride_panels.road(unit7)
    for moving in (1, 0):
        before = panel.chart.value
        panel.set(moving=moving)
        assert panel.error == "" and panel.chart.value != before
