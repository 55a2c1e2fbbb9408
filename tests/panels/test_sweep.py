"""The what-if panel and its picture: what is drawn is what the sweep says, and errors are seen."""

import io
import threading

import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_allclose
from PIL import Image

import suspkit as sk
from suspkit.charts.sweep import what_if as picture
from suspkit.dynamics.view import TRIALS
from suspkit.panels import sweep as whatif_panels
from suspkit.panels.sweep import (
    DRIVEN,
    FINE,
    parameters,
    what_if,
    what_if_notes,
    what_if_numbers,
)
from suspkit.studies.sweep import MEASURES, NOT_DONE, RUN_MEASURES

INCH = 0.0254
LB_IN = 4.4482216152605 / INCH  # NIST SP 811 (2008), appendix B


def axes_of(panel):
    return panel._boards["what if"].figure.axes[0]


def drawn(axes):
    """The thick lines: what is well, in the order of the lines."""
    return [line.get_data() for line in axes.lines if line.get_linewidth() > 2]


def dots(axes):
    return [line.get_data() for line in axes.lines if line.get_marker() == "o"]


def texts(axes):
    return [text.get_text().strip() for text in axes.texts]


@pytest.fixture(scope="module")
def panel(request):
    return what_if(sk.example("unit7"))


@pytest.fixture
def fresh(panel):
    """The panel as it is made, nothing driven yet."""
    panel._done = (None, None)
    panel.set(vary="front collar turns")
    panel.set(event="standing", units="us", also="nothing else", load="patrol")
    panel.set(vary="front collar turns", shows="front_height")
    return panel


# --- the picture ---------------------------------------------------------------------------------


def test_a_line_is_the_table(unit7):
    gaps = np.arange(3.0, 6.0, 0.25) * INCH
    table = sk.sweep(unit7, load=["bare", "patrol"], vary={"setup.rear.gap": gaps},
                     measure=["rear_energy"])  # fmt: skip
    figure = picture(table, across="setup.rear.gap", shows="rear_energy", by="load",
                     now={"setup.rear.gap": 4.25 * INCH}, units="us")  # fmt: skip
    axes = figure.axes[0]
    assert axes.get_ylabel() == "rear energy to full bump, ft·lbf"
    for (x, y), load in zip(drawn(axes), ("bare", "patrol"), strict=True):
        assert_allclose(x, gaps / INCH)
        rows = table[table["load"] == load]
        assert_allclose(y, rows["rear_energy"] / (12 * INCH * 4.4482216152605))
    (x, y), _ = dots(axes)
    assert_allclose(x, 4.25)
    assert_allclose(y, np.interp(4.25, *drawn(axes)[0]))
    named = {text.get_text().strip(): text for text in axes.texts}
    for (x, y), load in zip(drawn(axes), ("bare", "patrol"), strict=True):
        place = named[load].get_position()
        assert_allclose(place, (x[-1], y[-1]), atol=0.03 * np.ptp(axes.get_ylim()))


def test_what_cannot_be_is_shaded_and_what_is_out_of_reach_dotted(unit7):
    gaps = np.array([0.0, 0.25, 0.5, 1.0, 2.0, 8.0]) * INCH
    table = sk.sweep(unit7, load="patrol", vary={"setup.front.gap": gaps}, measure=["rake"])
    broken = table["rake"].isna().to_numpy()
    out = (table["problem"] != "").to_numpy() & ~broken
    assert broken.any() and out.any(), "the example has both"
    axes = picture(table, across="setup.front.gap", shows="rake").axes[0]
    (_, y), (thin,) = drawn(axes)[0], [ln for ln in axes.lines if ln.get_linewidth() == 1.2]
    assert_allclose(np.isnan(y), broken | out)
    assert_allclose(np.isfinite(thin.get_ydata()), out)
    assert "cannot be" in texts(axes) and len(axes.patches) == 1


def test_what_cannot_be_is_shaded_where_it_is_also_where_the_unit_runs_the_other_way():
    pitches = 0.0254 / np.array([20.0, 16.0, 12.0, 10.0])  # threads an inch fall as pitches rise
    table = pd.DataFrame({"pitch": pitches, "rake": [0.0, 0.1, np.nan, np.nan], "problem": ""})
    table.attrs["kinds"] = {"pitch": "pitch", "rake": "length"}
    axes = picture(table, across="pitch", shows="rake").axes[0]
    (shade,) = axes.patches
    assert_allclose(np.sort(shade.get_corners()[[0, 2], 0]), [10.0, 12.0])


def test_none_at_all_is_said(unit7):
    table = sk.sweep(unit7, vary={"setup.front.gap": [0.0, 0.001]}, measure=["rake"])
    axes = picture(table, across="setup.front.gap", shows="rake").axes[0]
    assert texts(axes) == ["none of these can be"]


def test_what_does_not_move_is_a_flat_line(unit7):
    table = sk.sweep(unit7, vary={"setup.rear.turns": [3, 4, 5]}, measure=["front_gap"])
    axes = picture(table, across="setup.rear.turns", shows="front_gap").axes[0]
    low, high = axes.get_ylim()
    assert high - low > 0.02 and np.ptp(drawn(axes)[0][1]) < 1e-6 * (high - low)
    table["front_gap"] = 0.0
    low, high = picture(table, across="setup.rear.turns", shows="front_gap").axes[0].get_ylim()
    assert low < -0.5 and high > 0.5


def test_a_map_is_the_table(unit7):
    vary = {"setup.front.turns": np.arange(0.0, 9.0), "setup.rear.turns": np.arange(0.0, 7.0)}
    table = sk.sweep(unit7, load="patrol", vary=vary, measure=["rake"])
    now = {"setup.front.turns": 4.0, "setup.rear.turns": 5.0}
    axes = picture(table, across="setup.front.turns", shows="rake", by="setup.rear.turns",
                   now=now).axes[0]  # fmt: skip
    level = next(c for c in axes.collections if hasattr(c, "levels") and not c.filled)
    at = int(np.argmin(np.abs(level.levels)))
    assert level.levels[at] == 0.0
    # On the line of no rake the vehicle really has none.
    places = level.get_paths()[at].vertices
    for front, rear in places[:: max(1, len(places) // 4)]:
        setup = unit7.setup.change("front", turns=front).change("rear", turns=rear)
        assert abs(sk.settle(unit7, setup, load="patrol").rake) < 6e-5
    assert_allclose(dots(axes)[0], [[4.0], [5.0]])
    assert axes.get_ylabel() == "setup.rear.turns"


def test_a_column_that_is_not_there_is_one_sentence(unit7):
    table = sk.sweep(unit7, vary={"setup.rear.turns": [3, 4]}, measure=["rake"])
    with pytest.raises(ValueError, match=r"'raek'; expected a column of the table.*mean 'rake'"):
        picture(table, across="setup.rear.turns", shows="raek")


# --- the panel, standing -------------------------------------------------------------------------


def test_the_parameters_are_those_of_the_vehicle(unit7):
    known = parameters(unit7, unit7.setup, load="patrol")
    for words, path, now in [
        ("front collar turns", "setup.front.turns", 4.0),
        ("rear stop gap", "setup.rear.gap", 4.25 * INCH),
        ("rate of main-480-16.5", "vehicle.springs.main-480-16.5.rate", 480 * LB_IN),
        ("front tyre rate", "vehicle.front.tyre.rate", 850 * LB_IN),
        ("rear rebound clicks", "setup.rear.clicks.rebound", 6.0),
        ("mass of winch", "vehicle.items.winch.mass", 62 * 0.45359237),
    ]:
        assert known[words].path == path
        assert_allclose(known[words].now, now, rtol=1e-12)
    sk.sweep(unit7, load="patrol", paired=True, vary={p.path: [p.now] for p in known.values()})
    assert "front stop gap" not in parameters(unit7, unit7.setups["stock"])


def test_the_masses_are_of_what_is_aboard(fresh, unit7):
    only = next(i for i in unit7.loads["carry-out"].items if i not in unit7.loads["patrol"].items)
    everybody = unit7.loads["patrol"].items[0]
    assert f"mass of {only}" not in fresh.controls["vary"].options
    fresh.set(vary=f"mass of {everybody}")
    fresh.set(load="carry-out")
    assert fresh.controls["vary"].value == f"mass of {everybody}" and not fresh.error
    assert f"mass of {only}" in fresh.controls["also"].options
    fresh.set(vary=f"mass of {only}")
    line = fresh.view.table["front_height"]
    assert np.ptp(line) > 1e-4 and not fresh.error
    fresh.set(load="patrol")  # not aboard any longer
    assert fresh.controls["vary"].value == "front collar turns" and not fresh.error
    assert fresh.controls["range"].max == 12


def test_every_choice_can_be_shown(fresh):
    for words in {one.kind + one.path[:5]: words for words, one in fresh.known.items()}.values():
        fresh.set(vary=words)
        assert fresh.error == "" and len(drawn(axes_of(fresh))) == 1, words
    for name in MEASURES:
        if name not in RUN_MEASURES:
            fresh.set(shows=name)
            assert fresh.error == "", name
    assert {name for _, name in fresh.controls["shows"].options} == set(MEASURES) - set(
        RUN_MEASURES
    )


def test_it_says_what_settle_says(fresh, unit7):
    fresh.set(vary="rear collar turns", shows="rear_height", range=(2.0, 8.0))
    stands = [
        sk.settle(unit7, unit7.setup.change("rear", turns=n), load="patrol").rear_height / INCH
        for n in (2.0, 5.0, 8.0)
    ]
    said = what_if_numbers(fresh).splitlines()
    assert said[0].split("  ", 1)[1].split() == "2.0 turns | 5.0 turns | 8.0 turns".split()
    for text, height in zip(said[1].split("height", 1)[1].split("|"), stands, strict=True):
        assert text.split() == [f"{height:.2f}", "in"]
    (x, y), (here, there) = drawn(axes_of(fresh))[0], dots(axes_of(fresh))[0]
    assert (x[0], x[-1], len(x)) == (2.0, 8.0, FINE)
    assert_allclose([y[0], there[0], y[-1]], stands, rtol=1e-9)
    assert "rear ride height" in fresh.summary() and "turns" in fresh.summary()
    assert here[0] == 5.0


def test_the_range_is_in_the_readers_unit(fresh, unit7):
    fresh.set(vary="rate of main-320-16", shows="front_height", range=(250.0, 400.0))
    path = "vehicle.springs.main-320-16.rate"
    assert_allclose(fresh.view.table[path].iloc[[0, -1]], [250 * LB_IN, 400 * LB_IN])
    fresh.set(units="metric")
    low, high = fresh.controls["range"].value
    assert_allclose([low, high], [250 * LB_IN / 1e3, 400 * LB_IN / 1e3], atol=0.51)
    assert_allclose(fresh.view.table[path].iloc[[0, -1]], [low * 1e3, high * 1e3])
    assert axes_of(fresh).get_xlabel() == "rate of main-320-16, N/mm"
    assert fresh.error == ""


def test_lines_of_loads_and_set_ups(fresh, unit7):
    fresh.set(also="each load")
    assert len(drawn(axes_of(fresh))) == 3 and set(unit7.loads) <= set(texts(axes_of(fresh)))
    assert len(dots(axes_of(fresh))) == 3
    fresh.set(also="each set-up")
    axes = axes_of(fresh)
    assert {"kit", "stock"} <= set(texts(axes))
    # The dot is where this set-up stands; the other has turns of its own.
    (x, y), kit = dots(axes)[0], sk.settle(unit7, load="patrol")
    assert len(dots(axes)) == 1 and x[0] == 4.0
    assert_allclose(y[0], kit.front_height / INCH)


def test_a_second_number_makes_a_map(fresh):
    fresh.set(also="rear collar turns", shows="rake")
    assert fresh.view.is_map and fresh.error == ""
    assert "rear collar turns 5.0 turns" in what_if_numbers(fresh)
    fresh.set(also="front collar turns")
    assert "expected another one" in fresh.error and "expected another one" in fresh.words.value
    assert fresh.chart.layout.visibility == "hidden"
    fresh.set(also="nothing else")
    assert fresh.error == "" and fresh.chart.layout.visibility == "visible"


def test_what_cannot_be_is_said(fresh):
    fresh.set(vary="rear stop gap", shows="rear_load_factor")
    (note,) = [n for n in what_if_notes(fresh.view) if "cannot be" in n]
    assert "at 0.00 in: rear_left: all springs of stack 'kit-rear' are solid" in note
    assert note.split(";")[0] in fresh.words.value


def test_bad_options_are_one_sentence(unit7):
    for how, why in [
        ({"vary": "front turns"}, "did you mean 'front collar turns'"),
        ({"shows": "hight"}, "expected one of"),
        ({"also": "each lod"}, "did you mean 'each load'"),
        ({"setup": "kti"}, "did you mean 'kit'"),
        ({"load": "patorl"}, "did you mean 'patrol'"),
        ({"units": "imperial"}, "expected"),
    ]:
        with pytest.raises(ValueError, match=why):
            what_if(unit7, **how)


def test_without_a_kernel_the_picture_stands_in(fresh):
    bundle = fresh._repr_mimebundle_()
    data = bundle[0] if isinstance(bundle, tuple) else bundle
    image = Image.open(io.BytesIO(fresh.chart.value))
    assert image.width >= 900 and "image/png" in data and "ride height" in data["text/plain"]


# --- the panel, driven ---------------------------------------------------------------------------


def test_driven_it_shows_what_drive_says(fresh, unit7):
    fresh.set(vary="rear rebound clicks", range=(2.0, 8.0))
    fresh.set(event="drop")
    assert {name for _, name in fresh.controls["shows"].options} == set(RUN_MEASURES)
    assert fresh.bar.layout.display is None and fresh.chart.layout.visibility == "hidden"
    fresh.set(shows="rear_peak_force")
    fresh.wait()
    assert fresh.error == "" and fresh.chart.layout.visibility == "visible"
    assert fresh.bar.layout.display == fresh.stop.layout.display == "none"
    table, event = fresh.view.table, TRIALS["drop"].event(TRIALS["drop"].level)
    assert table["setup.rear.clicks.rebound"].tolist() == [2, 3, 4, 5, 6, 7, 8]
    clicks = unit7.setup.rear_left.clicks | {"rebound": 8}
    run = sk.drive(unit7, unit7.setup.change("rear", clicks=clicks), event=event, load="patrol")
    assert table["rear_peak_force"].iloc[-1] == run.peak_force[2:].max()
    assert fresh.bar.value == fresh.bar.max == 7
    fresh.chart.value, before = b"", fresh.chart.value
    fresh.refresh()
    assert fresh.chart.value == before, "shown again at once, and not driven again"
    assert fresh.summary().startswith("Drop, 5.9 in: let fall level")
    fresh.set(event="standing")
    assert fresh.controls["shows"].value == "front_height" and fresh.error == ""


@pytest.fixture
def held(monkeypatch):
    """Every run waits until it is let go."""
    go, begun = threading.Event(), threading.Event()

    def drive(*args, **how):
        begun.set()
        assert go.wait(30)
        return sk.drive(*args, **how)

    monkeypatch.setattr("suspkit.studies.sweep.drive", drive)
    monkeypatch.setattr("suspkit.studies.sweep.RUNS_A_CHUNK", 1)
    yield go, begun
    go.set()


def test_cancelled_it_shows_what_is_done_and_drives_again_when_asked(fresh, held):
    go, begun = held
    fresh.set(event="drop")
    assert begun.wait(30)
    fresh.stop.click()
    go.set()
    fresh.wait()
    left = (fresh.view.table["problem"] == NOT_DONE).sum()
    assert 0 < left < len(fresh.view.table) == DRIVEN + 1
    assert f"Cancelled: {left} of {DRIVEN + 1} were not worked out." in fresh.words.value
    assert fresh.stop.layout.display == "none"
    fresh.refresh()
    fresh.wait()
    assert not (fresh.view.table["problem"] == NOT_DONE).any()


def test_a_control_moved_meanwhile_drops_what_was_asked_before(fresh, held, monkeypatch):
    go, begun = held
    failed = []
    monkeypatch.setattr(fresh, "_fail", failed.append)
    fresh.set(event="drop")
    assert begun.wait(30)
    threading.Timer(0.2, go.set).start()
    fresh.set(vary="rear collar turns")
    fresh.wait()
    assert failed == [], "the first drive is not shown under the new controls"
    assert fresh.view.across == "setup.rear.turns" and fresh.error == ""
    assert not (fresh.view.table["problem"] == NOT_DONE).any()


def test_an_error_while_driving_is_seen(fresh, monkeypatch):
    def fail(*args, **how):
        raise RuntimeError("no more memory")

    monkeypatch.setattr(whatif_panels, "sweep", fail)
    fresh.set(event="drop")
    fresh.wait()
    assert fresh.error == "no more memory" and "no more memory" in fresh.words.value
    assert fresh.bar.layout.display == "none"
    assert what_if_numbers(fresh) == "This cannot be shown. no more memory"
