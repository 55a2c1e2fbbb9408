"""Panels: every control is moved as a hand would, and the picture and the words must follow."""

import base64
import html
import io
import itertools
import re
from dataclasses import replace
from threading import Event, Thread, get_ident

import numpy as np
import pytest
from PIL import Image

import suspkit as sk
from suspkit.panels import live as panels
from suspkit.panels.live import GAP_STEPS, TURNS, Panel, numbers
from suspkit.statics.view import in_words, look
from suspkit.units import INCH, show, tape
from suspkit.vehicle.vehicle import Load
from tests.statics.test_view import LEVEL, UNIT7, all_round, pair, single, triple

KINDS = tuple(Panel.SHOWN)
ENDS = {"front": 0, "rear": 2}


def board(panel):
    """The board whose picture is shown."""
    controls = panel.controls
    key = (controls["axle"].value, controls["units"].value, controls["setup"].value)
    return panel._boards[key]


def chart(panel, name):
    return next(c for c in board(panel).charts if type(c) is sk.charts.CHARTS[name])


def cells(panel):
    """The readout on the page: label to the two texts."""
    rows = re.findall(r"<tr><th[^>]*>([^<]+)</th><td[^>]*><b>(.*?)</b></td><td[^>]*><b>(.*?)</b>",
                      panel.words.value)  # fmt: skip
    return {html.unescape(a): (html.unescape(b), html.unescape(c)) for a, b, c in rows}


def expect(panel, setup, load="patrol"):
    """The picture and the readout are those of this set-up and no other."""
    assert panel.error == ""
    units, axle = panel.controls["units"].value, panel.controls["axle"].value
    stance = sk.settle(panel.vehicle, setup, load=load)
    corner = sk.assemble(panel.vehicle, setup)[f"{axle}_left"]
    scale = INCH if units == "us" else 1e-3
    drawn = [type(c).__name__ for c in board(panel).charts]
    if "ShockCurve" in drawn:
        x, y = chart(panel, "shock").curve.get_data()
        force = 4.4482216152605 if units == "us" else 1.0
        np.testing.assert_allclose(y * force, corner.force(x * scale), rtol=1e-6, atol=1e-2)
        (ride,) = chart(panel, "shock").ride.get_xdata()
        assert ride * scale == pytest.approx(stance.compression[ENDS[axle]], abs=1e-9)
    if "WheelCurve" in drawn:
        (ride,) = chart(panel, "wheel").ride.get_xdata()
        assert ride * scale == pytest.approx(stance.travel[ENDS[axle]], abs=1e-9)
    if "SideView" in drawn:
        heights = np.asarray(chart(panel, "side").dims.get_ydata())[[1, 4]]
        np.testing.assert_allclose(heights, [stance.front_height, stance.rear_height], atol=1e-9)
    if "CutAway" in drawn:
        droop = chart(panel, "cutaway").columns[0]
        assert droop["coils"][0].get_ydata()[0] == pytest.approx(float(corner.collar_at))
        if corner.gap:
            words = tape(corner.gap[0]) if units == "us" else show(corner.gap[0], "length", units)
            assert droop["words"][0].get_text() == words
    texts = cells(panel)
    left = [show(float(stance.height[i]), "length", units) for i in range(4)]
    assert texts["ride height, left and right"] == (
        f"{left[0]}, {left[1]}", f"{left[2]}, {left[3]}",
    )  # fmt: skip
    turns = tuple(f"{getattr(setup, f'{n}_left').turns:.2f}" for n in ENDS)
    assert texts["collar turns from contact"] == turns
    # What a screen reader is told, and what a copy without a kernel shows.
    words = in_words(look(panel.vehicle, setup, load=load), units)
    assert panel.summary() == words and html.escape(words) in panel.words.value
    assert panel.chart.layout.visibility == "visible"


# ---------------------------------------------------------------------------------- each control


@pytest.mark.parametrize("kind", ["start", "gap", "preload"])
@pytest.mark.parametrize("axle", ["front", "rear"])
def test_collar_sliders(kind, axle):
    panel = Panel(UNIT7, kind, axle=axle)
    setup = UNIT7.setup
    expect(panel, setup)
    for name, turns in (("front", 7.25), ("rear", 1.5), ("front", 0.0), ("rear", 12.0)):
        before = panel.chart.value
        panel.set(**{f"{name}_turns": turns})
        setup = setup.change(name, turns=turns)
        expect(panel, setup)
        assert panel.chart.value != before


@pytest.mark.parametrize("kind", ["start", "gap"])
@pytest.mark.parametrize("axle", ["front", "rear"])
def test_gap_sliders(kind, axle):
    panel = Panel(UNIT7, kind, axle=axle)
    setup = UNIT7.setup
    for name, gap in (("front", 2.5), ("rear", 5.0625), ("front", 0.8125)):
        panel.set(**{f"{name}_gap": gap * INCH})
        setup = setup.change(name, gap=gap * INCH)
        expect(panel, setup)
        place = 0 if name == "front" else 1
        assert cells(panel)["stop gap at droop hang"][place] == tape(gap * INCH)


@pytest.mark.parametrize("kind", KINDS)
def test_load(kind):
    panel = Panel(UNIT7, kind)
    for load in UNIT7.loads:
        panel.set(load=load)
        expect(panel, UNIT7.setup, load)


@pytest.mark.parametrize("kind", KINDS)
def test_axle(kind):
    panel = Panel(UNIT7, kind)
    before = panel.chart.value
    panel.set(axle="rear")
    expect(panel, UNIT7.setup)
    assert panel.chart.value != before
    panel.set(axle="front")
    assert panel.chart.value == before


@pytest.mark.parametrize("kind", KINDS)
def test_units(kind):
    panel = Panel(UNIT7, kind)
    panel.set(units="metric")
    expect(panel, UNIT7.setup)
    text = " ".join(" ".join(pair) for pair in cells(panel).values())
    assert " mm" in text and " in" not in text and "lbf" not in text
    panel.set(units="us")
    expect(panel, UNIT7.setup)
    text = " ".join(" ".join(pair) for pair in cells(panel).values())
    assert " in" in text and " mm" not in text


def test_setup_and_back():
    panel = Panel(UNIT7, "install")
    kit = panel.chart.value
    panel.set(setup="stock")
    expect(panel, UNIT7.setups["stock"])
    assert cells(panel)["stop gap at droop hang"] == ("no ring", "no ring")
    assert panel.controls["front_gap"].disabled and panel.chart.value != kit
    panel.set(setup="kit")
    expect(panel, UNIT7.setups["kit"])
    assert not panel.controls["front_gap"].disabled and panel.chart.value == kit


def test_another_setup_takes_its_own_turns_and_gaps():
    panel = Panel(UNIT7, "start")
    panel.set(front_turns=9.0, rear_gap=2.0 * INCH, front_gap=2.0 * INCH)
    panel.set(setup="stock")
    expect(panel, UNIT7.setups["stock"])
    panel.set(front_turns=3.0)
    expect(panel, UNIT7.setups["stock"].change("front", turns=3.0))
    panel.set(setup="kit")
    expect(panel, UNIT7.setups["kit"])


def test_start_in_another_setup_load_axle_and_units():
    panel = Panel(UNIT7, "start", setup="stock", load="carry-out", axle="rear", units="metric")
    expect(panel, UNIT7.setups["stock"], "carry-out")
    assert panel.controls["front_gap"].disabled


@pytest.mark.parametrize("kind", KINDS)
def test_every_shown_control_is_on_the_page_and_no_other(kind):
    panel = Panel(UNIT7, kind)
    choices, sliders, chart_, words = panel.children
    shown = [panel.controls[name] for name in Panel.SHOWN[kind]]
    assert sorted(map(id, (*choices.children, *sliders.children))) == sorted(map(id, shown))
    assert chart_ is panel.chart and words is panel.words
    assert chart_.format == "png"


def test_named_makers():
    for make, kind in (("start", "start"), ("install", "install"), ("preload", "preload"),
                       ("stop_gap", "gap")):  # fmt: skip
        panel = getattr(panels, make)(UNIT7, axle="rear")
        assert panel.kind == kind and panel.controls["axle"].value == "rear"


# ---------------------------------------------------------------------------------- ring left alone


def test_ring_left_alone():
    """Past crossover the collar then does nothing to the front; below it, all it ever did."""
    panel = Panel(UNIT7, "preload")
    height = panel.view.axles["front"].height
    cross = panel.view.axles["front"].crossover
    panel.set(ring="left")
    assert panel.view.axles["front"].height == pytest.approx(height, abs=1e-9)
    panel.set(front_turns=6.0)
    assert panel.error == ""
    assert panel.view.axles["front"].height == pytest.approx(height, abs=1e-7)
    # Two linear springs: more preload opens the gap and crossover comes later. Past the top-out
    # spring's reach the shift is k_t / k_m of it.
    later = panel.view.axles["front"].crossover - cross
    assert later == pytest.approx(2 * INCH / 16 * 250 / 320, rel=1e-6)
    gap = cells(panel)["stop gap at droop hang"][0]
    assert gap == tape(float(panel.view.axles["front"].corner.gap[0])) != "1 in"
    (shown,) = chart(panel, "shock").cross.get_xdata()
    assert shown * INCH == pytest.approx(cross + later)
    panel.set(ring="reset")
    expect(panel, UNIT7.setup.change("front", turns=6.0))
    assert panel.view.axles["front"].height > height + LEVEL


def test_ring_left_alone_below_crossover():
    panel = Panel(UNIT7, "preload", axle="rear")
    heights = {}
    for ring, turns in itertools.product(("reset", "left"), (5.0, 9.0)):
        panel.set(ring=ring, rear_turns=turns)
        heights[ring, turns] = panel.view.axles["rear"].height
    assert heights["left", 9.0] == pytest.approx(heights["reset", 9.0], abs=1e-9)
    assert heights["left", 9.0] > heights["left", 5.0] + 0.005


def test_ring_left_alone_where_there_is_none():
    panel = Panel(UNIT7, "preload", setup="stock")
    panel.set(ring="left", front_turns=10.0)
    expect(panel, UNIT7.setups["stock"].change("front", turns=10.0))


# ----------------------------------------------------------------------------------- the gap slider


def test_switching_units_keeps_the_setup():
    """Nothing about the vehicle changes because someone reads millimetres."""
    panel = Panel(UNIT7, "start")
    for _ in range(3):
        panel.set(units="metric")
        expect(panel, UNIT7.setup)
        panel.set(units="us")
        expect(panel, UNIT7.setup)


def test_a_gap_moved_by_hand_goes_to_the_nearest_step_of_the_other_units():
    panel = Panel(UNIT7, "start")
    for sixteenths in (14, 15, 16, 17, 18, 41, 60, 77, 95, 96):
        gap = sixteenths * INCH / 16
        panel.set(front_gap=gap)
        panel.set(units="metric")
        slider = panel.controls["front_gap"].value
        assert abs(slider - gap) <= 0.0005 + 1e-12
        assert slider == pytest.approx(round(slider, 3), abs=1e-12)
        panel.set(units="us")
        assert panel.controls["front_gap"].value == pytest.approx(gap, abs=1e-12)


@pytest.mark.parametrize("units", GAP_STEPS)
def test_gap_slider_offers_what_a_tape_shows(units):
    panel = Panel(UNIT7, "gap", units=units)
    labels = [label for label, _ in panel.controls["front_gap"].options]
    assert len(set(labels)) == len(labels)
    texts = {"us": ("0 in", "1/16 in", "4-1/4 in", "6 in"), "metric": ("0 mm", "1 mm", "152 mm")}
    assert set(texts[units]) <= set(labels)
    assert labels[0] == texts[units][0] and labels[-1] == texts[units][-1]


def test_a_gap_between_steps_is_kept_until_it_is_moved():
    vehicle = pair()  # 30 mm, which is no sixteenth
    panel = Panel(vehicle, "start")
    expect(panel, vehicle.setup, None)
    assert panel.controls["front_gap"].label == "1-3/16 in"
    panel.set(front_gap=2 * INCH)
    expect(panel, vehicle.setup.change("front", gap=2 * INCH), None)


def test_left_and_right_stay_apart_until_they_are_moved():
    setup = UNIT7.setup.change("front_right", turns=5.0, gap=1.5 * INCH)
    vehicle = replace(UNIT7, setups={"odd": setup}, current="odd")
    panel = Panel(vehicle, "start")
    assert panel.setup.front_right.turns == 5.0 and panel.setup.front_right.gap == 1.5 * INCH
    expect(panel, setup)
    panel.set(front_turns=6.0)
    assert panel.setup.front_left.turns == panel.setup.front_right.turns == 6.0


def test_more_turns_than_the_slider_usually_offers():
    vehicle = replace(
        UNIT7, setups=UNIT7.setups | {"high": UNIT7.setup.change("all", turns=14.5)}, current="high"
    )
    panel = Panel(vehicle, "preload")
    assert panel.controls["front_turns"].max == 14.5
    expect(panel, vehicle.setup)
    assert Panel(UNIT7, "preload").controls["front_turns"].max == TURNS[1]


# ----------------------------------------------------------------------------- other vehicles


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("make", [pair, triple, single])
def test_other_vehicles(kind, make):
    vehicle = make()
    panel = Panel(vehicle, kind)
    expect(panel, vehicle.setup, None)
    panel.set(axle="rear", units="metric")
    expect(panel, vehicle.setup, None)
    panel.set(setup="one")
    expect(panel, vehicle.setup, None)


def test_the_gap_slider_of_two_rings_moves_the_upper_one():
    vehicle = triple()
    panel = Panel(vehicle, "gap", units="metric")
    panel.set(front_gap=0.03)
    expect(panel, vehicle.setup.change("front", gap=(0.03, 0.05)), None)


def test_a_ring_the_file_leaves_on_the_thread():
    vehicle = pair(setup=all_round(turns=5.0, ring=0.028))
    panel = Panel(vehicle, "gap")
    assert panel.controls["front_gap"].disabled
    expect(panel, vehicle.setup, None)
    panel.set(front_turns=8.0)
    expect(panel, vehicle.setup.change("front", turns=8.0), None)


# ------------------------------------------------------------------------------------------ errors


@pytest.mark.parametrize("kind", ["start", "gap"])
@pytest.mark.parametrize("name", ["front", "rear"])
def test_a_setup_that_cannot_be_built_is_said_and_recovered_from(kind, name):
    panel = Panel(UNIT7, kind)
    good = panel.chart.value
    panel.set(**{f"{name}_turns": 12.0, f"{name}_gap": 0.0})
    assert re.match(rf"{name}_left: all springs of stack 'kit-{name}' are solid", panel.error)
    assert 'role="alert"' in panel.words.value and html.escape(panel.error) in panel.words.value
    assert panel.chart.layout.visibility == "hidden", "a stale picture would be a wrong one"
    assert cells(panel) == {}, "nor stale numbers"
    assert panel.summary() == f"This cannot be shown. {panel.error}" == numbers(panel)
    bundle = panel._repr_mimebundle_()
    data = bundle[0] if isinstance(bundle, tuple) else bundle
    assert "image/png" not in data and panel.error in data["text/plain"]
    own = getattr(UNIT7.setup, f"{name}_left")
    panel.set(**{f"{name}_gap": own.gap, f"{name}_turns": own.turns})
    expect(panel, UNIT7.setup)
    assert panel.chart.value == good and 'role="alert"' not in panel.words.value


def test_what_is_set_last_is_shown_last_even_from_two_threads(monkeypatch):
    """JupyterLab sends a control's first message to one thread and the next to another."""
    panel, begun, go_on = Panel(UNIT7, "preload"), Event(), Event()
    show_it = panel._show

    def show_slowly(units):
        shown = show_it(units)
        if get_ident() == first.ident:
            begun.set()
            assert go_on.wait(60)
        return shown

    monkeypatch.setattr(panel, "_show", show_slowly)
    first = Thread(target=panel.set, kwargs={"front_turns": 3.0})
    second = Thread(target=panel.set, kwargs={"front_turns": 7.0})
    first.start()
    assert begun.wait(60)
    second.start()
    second.join(1.0)  # without waiting its turn it would be done by then
    go_on.set()
    first.join(60), second.join(60)
    assert panel.controls["front_turns"].value == 7.0
    other = Panel(UNIT7, "preload")
    other.set(front_turns=7.0)
    assert panel.chart.value == other.chart.value and panel.words.value == other.words.value


def test_an_error_from_anywhere_is_shown_and_never_raised(monkeypatch):
    panel = Panel(UNIT7, "start")

    def broken(*args, **kwargs):
        raise RuntimeError("<b>no balance</b> & so on")

    for where, what in (
        (panels, "look"), (panels, "_table"), (panels, "readout"), (sk.charts.Board, "render"),
    ):  # fmt: skip
        with monkeypatch.context() as patch:
            patch.setattr(where, what, broken)
            panel.set(front_turns=panel.controls["front_turns"].value + 0.25)
        assert panel.error == "<b>no balance</b> & so on"
        assert "&lt;b&gt;no balance&lt;/b&gt; &amp; so on" in panel.words.value
        assert "<b>no balance" not in panel.words.value
        panel.set(front_turns=panel.controls["front_turns"].value + 0.25)
        assert panel.error == ""
    for what, move in (
        ("_change_units", {"units": "metric"}),
        ("_change_setup", {"setup": "stock"}),
    ):
        with monkeypatch.context() as patch:
            patch.setattr(panel, what, broken)
            panel.set(**move)
        assert panel.error == "<b>no balance</b> & so on"
        panel.set(units="us", setup="kit")
        panel.refresh()
        assert panel.error == "", "and the controls still answer"


def test_an_error_without_words_has_its_kind(monkeypatch):
    panel = Panel(UNIT7, "start")

    def broken(*args, **kwargs):
        raise ZeroDivisionError

    monkeypatch.setattr(panels, "look", broken)
    panel.refresh()
    assert panel.error == "ZeroDivisionError"


def test_no_control_value_ever_raises():
    """Each control at both ends and in the middle, one after another, from wherever it then is."""
    panel = Panel(UNIT7, "start")
    for name, control in panel.controls.items():
        if name.endswith("turns"):
            values = [control.min, control.max, 6.0]
        elif name.endswith("gap"):
            options = [value for _, value in control.options]
            values = [options[0], options[-1], options[len(options) // 2]]
        else:
            values = [o[1] if isinstance(o, tuple) else o for o in control.options]
        for value in [*values, *values[::-1]]:
            panel.set(**{name: value})
            assert panel.error == "" or "solid" in panel.error
            assert bool(panel.error) == (panel.chart.layout.visibility == "hidden")


@pytest.mark.parametrize("option, expected", [
    ({"load": "nope"}, "load is 'nope'; expected .*: bare, patrol, carry-out"),
    ({"setup": "kitt"}, "setup is 'kitt'; expected .*: stock, kit .did you mean 'kit'"),
    ({"axle": "middle"}, "axle is 'middle'; expected .*: front, rear"),
    ({"units": "si"}, "units is 'si'; expected .*: us, metric"),
])  # fmt: skip
def test_unknown_names(option, expected):
    with pytest.raises(ValueError, match=expected):
        Panel(UNIT7, "start", **option)


def test_unknown_kind():
    with pytest.raises(ValueError, match="kind is 'shock'; expected .*: start, install"):
        Panel(UNIT7, "shock")


# -------------------------------------------------------------------------------- what others write


def test_text_of_the_users_is_never_markup():
    evil = "<img src=x onerror=alert(1)>"
    vehicle = pair()
    stacks = {evil: vehicle.stacks["pair"]}
    corner = replace(vehicle.setup.front_left, stack=evil)
    setup = replace(
        vehicle.setup, front_left=corner, front_right=corner, rear_left=corner, rear_right=corner,
        note=evil,
    )  # fmt: skip
    springs = {n: replace(s, name=f"{evil}{n} $x$") for n, s in vehicle.springs.items()}
    vehicle = replace(
        vehicle, name=evil, about=evil, stacks=stacks, setups={evil: setup}, current=evil,
        springs=springs, loads={evil: Load(items=())},
    )  # fmt: skip
    panel = Panel(vehicle, "start", load=evil)
    assert panel.error == "" and "<img" not in panel.words.value
    # Springs that cannot give enough: the sentence names the stack, as text.
    solid = {n: replace(s, solid_length=0.9 * s.free_length) for n, s in springs.items()}
    panel = Panel(replace(vehicle, springs=solid), "start", load=evil)
    assert evil in panel.error
    assert "<img" not in panel.words.value and "&lt;img" in panel.words.value


def test_cautions_come_first_and_as_text():
    panel = Panel(UNIT7, "gap")
    panel.set(front_gap=6 * INCH)
    notes = re.findall(r'<div role="status"[^>]*>(.*?)</div>', panel.words.value)
    assert notes[0].startswith("The front left stop ring cannot be at a gap of 6 in")
    assert panel.words.value.index(notes[0]) < panel.words.value.index("<table")


# ------------------------------------------------------------------------------- without a kernel


@pytest.mark.parametrize("kind", KINDS)
def test_what_a_copy_without_a_kernel_shows(kind):
    panel = Panel(UNIT7, kind, axle="rear")
    bundle = panel._repr_mimebundle_()
    data = bundle[0] if isinstance(bundle, tuple) else bundle
    assert isinstance(data["image/png"], str)
    picture = base64.b64decode(data["image/png"], validate=True)
    assert picture == panel.chart.value
    image = Image.open(io.BytesIO(picture))
    image.verify()
    assert image.format == "PNG" and image.width >= 900
    assert data["text/plain"] == in_words(look(UNIT7, load="patrol"))
    assert "application/vnd.jupyter.widget-view+json" in data
    panel.set(load="carry-out")
    bundle = panel._repr_mimebundle_()
    data = bundle[0] if isinstance(bundle, tuple) else bundle
    assert base64.b64decode(data["image/png"]) == panel.chart.value != picture
    assert data["text/plain"] == in_words(look(UNIT7, load="carry-out"))


def test_the_same_state_gives_the_same_picture_and_words():
    one, two = Panel(UNIT7, "start"), Panel(UNIT7, "start")
    two.set(front_turns=9.0, units="metric", axle="rear")
    two.set(front_turns=4.0, units="us", axle="front")
    assert one.summary() == two.summary() and one.words.value == two.words.value
    assert one.chart.value == two.chart.value
    assert "0x" not in one.summary()  # nbval compares it: no address of an object


@pytest.mark.parametrize("units", ["us", "metric"])
def test_numbers(units):
    panel = Panel(UNIT7, "start", units=units)
    lines = numbers(panel, units=units).splitlines()
    assert [re.split(r"\s{2,}", line, maxsplit=1)[0] for line in lines] == list(cells(panel))
    for line, (front, rear) in zip(lines, cells(panel).values(), strict=True):
        assert line.endswith(f"  {front}  |  {rear}")
    assert numbers(panel.view, units=units) == numbers(panel, units=units)
