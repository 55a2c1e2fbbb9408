"""The road test's picture and panel, and what the lesson says of it."""

import io

import numpy as np
import pytest
from numpy.testing import assert_allclose
from PIL import Image

import suspkit as sk
from suspkit.charts.tolerance import RoadTest, RoadTestBoard, learned, likeliest, percent
from suspkit.panels import tolerance as sure_panels
from suspkit.studies import fit as fitting
from suspkit.vehicle.setup import CORNERS


@pytest.fixture(scope="module")
def panel(unit7):
    return sure_panels.road_test(unit7)


def shown(panel, **moved):
    panel.set(**moved)
    assert panel.error == ""
    return panel.view


# ---------------------------------------------------------------------------------------- picture


def test_bars_stand_where_the_estimates_are(panel):
    view = shown(panel, read="+ at contact", short=1, corner="rear_left", vehicle=1, units="us")
    board = panel._board("us", None)
    assert isinstance(board, RoadTestBoard)
    bars, chances = board.charts
    for name, bar, diamond in zip(bars.names, bars.bars, bars.truths, strict=True):
        one = learned(view.fit)[name]
        assert_allclose(
            np.array(bar.get_xdata()) * one.sd_before + one.file, [one.low, one.high], rtol=1e-9
        )
        (at,) = diamond.get_xdata()
        assert_allclose(at * one.sd_before + one.file, view.truth[one.name], rtol=1e-9)
    assert "sprung mass" in bars.names and len(bars.names) == 10
    (words, chance), *_ = likeliest(view, 5)
    assert_allclose(chances.bars[0].get_xdata(), [0, 100 * chance])
    assert chances.texts[0].get_text() == f"{words}: over 99.9%"
    assert words == "rear left collar 1 turn short in rides 2 to 5"


def test_no_label_overlaps_or_leaves_the_picture(panel):
    for read in sure_panels.READ:
        for short in (0, 1, -2):
            view = shown(panel, read=read, short=short, units="us")
            figure = RoadTestBoard(view).still(view)
            figure.canvas.draw()
            for axes in figure.axes:
                boxes = [
                    text.get_window_extent()
                    for text in axes.texts
                    if text.get_text() and text.get_visible()
                ]
                for i, box in enumerate(boxes):
                    assert box.x0 >= 0 and box.x1 <= figure.bbox.width, axes.texts[i]
                    assert not any(box.overlaps(other) for other in boxes[:i])


def test_chances_claim_no_certainty():
    assert percent(1.0) == "over 99.9%" and percent(0.0) == "under 0.1%"
    assert percent(0.3141) == "31.4%"


def test_a_fit_without_truth_has_no_diamonds(unit7):
    rides, _ = fitting.pretend(unit7, fitting.road_test(unit7, load="patrol"), seed=4)
    view = RoadTest(fit=sk.fit(unit7, rides))
    board = RoadTestBoard(view)
    board.update(view)
    assert all(len(d.get_xdata()) == 0 for d in board.charts[0].truths)
    assert board.charts[0].key.get_text() == ""
    assert "sprung mass" in board.describe(view)


def test_a_corner_with_two_sets_of_springs_has_both(unit7):
    rides = fitting.road_test(unit7, load="patrol")
    stock = fitting.road_test(unit7, unit7.setups["stock"], load="patrol")
    done, _ = fitting.pretend(unit7, [stock[1], *rides], seed=4)
    names = learned(sk.fit(unit7, done))
    assert {f"front left, springs longer by{end}" for end in ("", " (kit-front)")} <= set(names)


# ------------------------------------------------------------------------------------------ panel


def test_what_is_read_decides_what_is_named(panel):
    expected = "rear left collar 1 turn short in rides 2 to 5"
    for read in ("tape", "+ scales", "+ caliper"):
        view = shown(panel, read=read, short=1, corner="rear_left", vehicle=1)
        assert view.made == expected and view.fit.flags == ()
    view = shown(panel, read="+ at contact")
    assert [str(flag.slip) for flag in view.fit.flags] == [expected]
    assert view.fit.flags[0].sentence in panel.words.value
    assert shown(panel, short=0).fit.flags == ()
    assert shown(panel, short=0).made == "no slip"


@pytest.mark.parametrize("corner", CORNERS)
@pytest.mark.parametrize("short", [-2, -1, 2])
def test_at_contact_each_corner_is_found(panel, corner, short):
    view = shown(panel, read="+ at contact", short=short, corner=corner, vehicle=2)
    (flag,) = view.fit.flags
    assert (flag.slip.corner, flag.slip.size) == (corner, -short) and flag.removed


def test_without_contact_a_missing_turn_passes_for_longer_springs(panel):
    view = shown(panel, read="+ caliper", short=1, corner="rear_left", vehicle=1)
    name = "free length, rear_left, kit-rear"
    one = view.fit.estimates[name]
    pitch = panel.vehicle.rear.shock.thread.collar_pitch
    # One turn less stands one pitch higher on its thread, as with springs one pitch longer.
    assert abs(one.mean - view.truth[name] - pitch) < 0.3 * pitch
    assert not one.low < view.truth[name] < one.high


def test_same_vehicle_same_readings_however_few_are_kept(panel):
    few = shown(panel, read="tape", short=1, vehicle=3)
    many = shown(panel, read="+ at contact")
    assert few.truth == many.truth
    assert [r.heights for r in few.fit.rides] == [r.heights for r in many.fit.rides]


def test_readout_and_summary_say_the_same(panel):
    view = shown(panel, read="+ at contact", short=1, corner="front_right", vehicle=1, units="us")
    text = sure_panels.road_test_numbers(panel)
    assert "named                           front right collar 1 turn short" in text
    one = view.fit.estimates["sprung mass"]
    assert f"{one.mean / 0.45359237:.1f} lb ± " in text
    assert sure_panels.road_test_numbers(view) == text
    assert "turns" in panel.summary() and "ride height" in panel.summary()
    shown(panel, units="metric")
    assert " kg ± " in sure_panels.road_test_numbers(panel, units="metric")
    picture = Image.open(io.BytesIO(panel.chart.value))
    assert picture.width >= 700
    panel.set(units="us")


def test_a_failing_callback_is_told_in_the_panel(unit7, monkeypatch):
    panel = sure_panels.road_test(unit7)

    def broken(*_, **__):
        raise ValueError("no such reading")

    monkeypatch.setattr(fitting, "fit", broken)
    panel.set(short=2)
    assert "no such reading" in panel.words.value and panel.error == "no such reading"
    monkeypatch.undo()
    panel.set(short=1)
    assert panel.error == ""


@pytest.mark.parametrize("wrong", [{"corner": "left"}, {"read": "scales"}])
def test_bad_options_are_one_sentence(unit7, wrong):
    with pytest.raises(ValueError, match="expected"):
        sure_panels.road_test(unit7, **wrong)


# ----------------------------------------------------------------------------------------- lesson


def test_the_lessons_claim_that_tape_moves_less_than_it_is_read_to(unit7):
    before = sk.settle(unit7, load="patrol").height
    for i, name in ((0, "front_left"), (2, "rear_left")):
        less = getattr(unit7.setup, name).turns - 1
        after = sk.settle(unit7, unit7.setup.change(name, turns=less), load="patrol").height
        moved = (after - before) / sk.units.INCH
        assert -1 / 16 < moved[i] < -1 / 32
        assert abs(moved[i] - moved[i + 1]) < 0.01
