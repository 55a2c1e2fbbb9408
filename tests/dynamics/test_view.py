"""What a ride shows: clicks, outcomes and the seat, against numbers worked out another way."""

import re
from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose

import suspkit as sk
from suspkit.dynamics import view as ride_view
from suspkit.dynamics.comfort import comfort_words, weighted_rms
from suspkit.dynamics.drive import UntrustedRunError, drive, seat_acceleration
from suspkit.dynamics.view import CLICK_TRIALS, TRIALS, Bench, compare, in_words, outcome, readout
from suspkit.units import GRAVITY, MILE_PER_HOUR, show

UNIT7 = sk.example("unit7")
KIT, STOCK = UNIT7.setups["kit"], UNIT7.setups["stock"]
PAIR = {"stock": STOCK, "kit": KIT}
G_OUT = TRIALS["g-out"].event(10.0)


@pytest.fixture(scope="module")
def bench():
    return Bench(UNIT7)


@pytest.fixture(scope="module")
def view(bench):
    return bench.look(PAIR, load="patrol", event=G_OUT, clicks=True, shown=1, moment=1.0)


def directly(setup, event=G_OUT, load="patrol", model="full"):
    return drive(UNIT7, setup, event=event, load=load, model=model)


# ------------------------------------------------------------------------------------------ trials


@pytest.mark.parametrize("trials", [TRIALS, CLICK_TRIALS], ids=["road", "clicks"])
def test_trials(trials):
    for name, trial in trials.items():
        assert trial.level in trial.levels, name
        assert list(trial.levels) == sorted(trial.levels)
        for level in (trial.levels[0], trial.level, trial.levels[-1]):
            assert trial.event(level).duration == trial.duration
        for units in ("us", "metric"):
            texts = [show(v, trial.kind, units, digits=trial.digits[units]) for v in trial.levels]
            assert len(set(texts)) == len(texts), (name, "two levels read the same")


def test_a_trial_is_what_it_says():
    assert TRIALS["square edge"].event(0.1).road.height(1e3)[0] == pytest.approx(0.1)
    assert TRIALS["square edge"].event(0.1).speed == 8.0
    assert "18 mph" in TRIALS["square edge"].says and round(8.0 / MILE_PER_HOUR) == 18
    assert round(CLICK_TRIALS["step"].event().speed / MILE_PER_HOUR) == 13
    dip = TRIALS["g-out"].event(9.0)
    assert dip.road.heights.min() == pytest.approx(-0.6) and dip.speed == 9.0
    assert TRIALS["drop"].event(0.2).drop == 0.2
    assert np.ptp(TRIALS["whoops"].event().road.heights) == pytest.approx(0.2, rel=1e-3)
    assert TRIALS["cornering"].event(4.0).lateral(2.0) == 4.0
    assert TRIALS["braking"].event(6.0).forward(2.0) == -6.0
    # The same ground at every speed, and enough of it.
    slow, fast = (TRIALS["rough road"].event(v) for v in (5.0, 14.0))
    assert_allclose(slow.road.height(40.0), fast.road.height(40.0))
    assert fast.road.length > 14.0 * fast.duration


# -------------------------------------------------------------------------------------------- runs


def test_runs_are_those_of_drive(view):
    for run, setup in zip(view.runs, PAIR.values(), strict=True):
        other = directly(setup)
        assert_allclose(run.travel, other.travel, rtol=0, atol=1e-9)
        assert_allclose(run.shaft_force, other.shaft_force, rtol=1e-6, atol=1e-3)
    assert view.labels == ("stock", "kit")


@pytest.mark.parametrize("clicks", [{"compression": 0, "rebound": 12}, {"rebound": 3}])
def test_clicks_reach_a_vehicle_that_is_not_built_again(bench, clicks):
    event = CLICK_TRIALS["chop"].event()
    before, _ = bench.run(KIT, load="patrol", event=event)
    setup = KIT.change("rear", clicks=clicks)
    run, _ = bench.run(setup, load="patrol", event=event)
    assert_allclose(run.travel, directly(setup, event).travel, rtol=0, atol=1e-9)
    assert np.abs(run.travel[2] - before.travel[2]).max() > 1e-4


def test_what_is_remembered_is_not_mixed_up(bench):
    event = TRIALS["square edge"].event(0.05)
    for setup, load in ((KIT, "patrol"), (KIT, "bare"), (STOCK, "bare"),
                        (KIT.change("front", turns=6), "patrol"), (KIT, "patrol")):  # fmt: skip
        run, _ = bench.run(setup, load=load, event=event)
        assert_allclose(run.travel, directly(setup, event, load).travel, rtol=0, atol=1e-9)
    for level in (0.05, 0.06):
        event = TRIALS["square edge"].event(level)
        run, _ = bench.run(KIT, load="patrol", event=event)
        assert_allclose(run.travel, directly(KIT, event).travel, rtol=0, atol=1e-9)
    assert len(bench._kept) <= ride_view.KEPT


def test_the_same_run_is_not_made_twice(bench):
    event = TRIALS["drop"].event()
    assert (
        bench.run(KIT, load="patrol", event=event)[0]
        is (bench.run(KIT, load="patrol", event=event)[0])
    )


def test_a_run_without_a_result_is_an_error():
    event = sk.events.whoops(height=0.4, spacing=6, speed=12)
    with pytest.raises(UntrustedRunError, match="turns over"):
        compare(UNIT7, PAIR, event=event, load="patrol")


# ---------------------------------------------------------------------------------------- outcomes


def test_outcome_by_hand(view):
    run, seat, found = view.runs[0], view.seats[0], view.outcomes[0]
    full = [c.shock.full_bump for c in run.corners]
    for i, (a, b) in enumerate(((0, 1), (2, 3))):
        counts = []
        for w in (a, b):
            count, armed = 0, True
            for s in run.compression[w]:
                if s < run.corners[w].shock.bump_touch:
                    armed = True
                elif s >= full[w] and armed:
                    count, armed = count + 1, False
            counts.append(count)
        assert found.bottomings[i] == max(counts)
        travel = run.corners[a].linkage.travel(full[a])
        assert found.travel_used[i] == pytest.approx(run.travel[[a, b]].max() / travel)
        assert found.peak_force[i] == run.shaft_force[[a, b]].max()
        assert found.metal[i] == any(run.compression[w].max() > full[w] for w in (a, b))
    assert found.bottomings[0] > 0, "the stock front bottoms in this dip"
    assert view.outcomes[1].bottomings == (0, 0), "and the kit does not"
    assert found.peak == np.abs(seat).max()
    assert found.weighted == pytest.approx(weighted_rms(seat, dt=run.time[1]))
    assert found.worst_second >= found.weighted
    assert found.words == " to ".join(comfort_words(found.weighted))
    assert found.heat == run.energy["damper"]
    assert found.power == pytest.approx(found.heat / G_OUT.duration, rel=1e-2)
    assert found.pitch == pytest.approx(np.abs(run.pitch - run.pitch[0]).max())


def test_chatter_on_the_stop_is_one_hit(view):
    run = view.runs[0]
    shock = run.corners[0].shock
    full, touch, on = shock.full_bump, shock.bump_touch, 0.5 * (shock.full_bump + shock.bump_touch)
    for course, times in (
        ([0.0, full, on, full, 0.0], [1]),
        ([0.0, full, touch, full], [1]),
        ([0.0, full, np.nextafter(touch, 0), full], [1, 3]),
        ([full, on, 0.0, full], [0, 3]),
        ([0.0, np.nextafter(full, 0), 0.0], []),
    ):
        made = replace(run, time=np.arange(len(course)), compression=np.array([course] * 4))
        assert list(made.hits(0)) == times


def test_the_seat_moves_with_the_body(view):
    """Twice differentiated, the height of the seat itself is the seat's acceleration."""
    run, centre = view.runs[1], view.centre
    driver = UNIT7.items["driver"]
    ahead = -driver.behind_front_axle - centre[0]
    left = driver.left_of_centre - centre[1]
    # Small angles: the model's own seat leaves out what turns with the body.
    height = run.height - ahead * run.pitch + left * run.roll
    step = run.time[1]
    twice = np.gradient(np.gradient(height, step), step)
    seat = view.seats[1]
    at = np.abs(seat) < 5.0  # between hits, where a difference quotient can follow
    assert np.abs(twice - seat)[at][5:-5].mean() < 0.05 * np.abs(seat).max()
    # Ahead of the axle the sign of pitch shows: nose down is down.
    assert ahead > 0 and UNIT7.items["litter"].behind_front_axle > -centre[0]


def test_a_place_that_is_not_in_the_vehicle_is_its_centre(view):
    run = view.runs[0]
    nowhere = seat_acceleration(UNIT7, run, centre=view.centre, item="nobody")
    assert_allclose(nowhere, run.body_acceleration[0])


def test_half_a_vehicle_has_no_left():
    run = directly(KIT, model="half")
    item = UNIT7.items["driver"]
    seat = seat_acceleration(UNIT7, run, centre=(-1.0, 0.0, 0.3))
    assert_allclose(seat, run.seat_acceleration(ahead=1.0 - item.behind_front_axle))


def test_the_moment(view):
    assert view.run is view.runs[1] and view.run.time[view.frame] == pytest.approx(1.0)
    for axle, wheel in (("front", 0), ("rear", 2)):
        cut = view.cutaway(axle)
        assert cut.compression == view.run.compression[wheel, view.frame]
    last = replace(view, moment=99.0)
    assert last.frame == view.run.time.size - 1


def test_full_bump_between_two_frames_is_seen(view):
    run = view.runs[0]
    stock = replace(view, shown=0)
    first = float(run.time[run.compression[0] >= run.corners[0].shock.full_bump][0])
    for away, seen in ((0.0, True), (0.009, True), (-0.009, True), (-0.013, False)):
        now = replace(stock, moment=first + away)
        assert now.at_full_bump("front") == seen, away
    assert not replace(view, moment=first).at_full_bump("front"), "the kit does not bottom"


def test_frame_height_at_rest_is_that_of_the_stance(view):
    start = replace(view, moment=0.0)
    stance = sk.settle(UNIT7, KIT, load="patrol")
    # The line over the middle of the axle: the stance's, but for a hair of roll.
    assert start.frame_height == pytest.approx(float(stance.frame_height), abs=1e-3)


# ------------------------------------------------------------------------------------------ clicks


@pytest.mark.parametrize("axle", ["front", "rear"])
def test_family_is_the_damper_at_every_click(bench, axle):
    seen = bench.clicks(KIT, load="patrol")[axle]
    shock = UNIT7.axle_of(f"{axle}_left").shock
    assert seen.speed[0] == 0 and seen.speed[-1] == pytest.approx(ride_view.SHOWN_SPEED)
    for direction, sign in (("compression", 1), ("rebound", -1)):
        assert seen.force[direction].shape == (13, seen.speed.size)
        for click in (0, 5, 12):
            at = {"compression": 6, "rebound": 6} | {direction: click}
            force = sign * shock.damper_force(sign * seen.speed, at)
            assert_allclose(seen.force[direction][click], force, rtol=1e-4, atol=0.1)


def test_current_curve_joins_both_directions(bench):
    setup = KIT.change("front", clicks={"compression": 2, "rebound": 9})
    seen = bench.clicks(setup, load="patrol")["front"]
    assert seen.now == {"compression": 2, "rebound": 9}
    assert bench.clicks(KIT, load="patrol")["front"].now == {"compression": 6, "rebound": 6}
    velocity, force = seen.current()
    expected = UNIT7.front.shock.damper_force(velocity, {"compression": 2, "rebound": 9})
    assert_allclose(force, expected, rtol=1e-4, atol=0.1)
    assert np.all(np.diff(velocity) > 0)


@pytest.mark.parametrize("axle", ["front", "rear"])
def test_ratios_are_those_of_the_table(bench, axle):
    table = sk.damping_ratios(UNIT7, KIT, load="patrol")
    seen = bench.clicks(KIT, load="patrol")[axle]
    for direction in ("compression", "rebound"):
        for where in ("ride", "below", "past"):
            rows = table[(table.corner == f"{axle}_left") & (table.direction == direction)]
            rows = rows[rows["where"] == where].sort_values("clicks")
            assert_allclose(seen.ratio[direction][where], rows.ratio)
    assert ride_view.drawn_places(seen) == ("below", "past")


def test_no_ring_has_one_ratio(bench):
    seen = bench.clicks(STOCK, load="patrol")["rear"]
    assert ride_view.drawn_places(seen) == ("ride",)


# ------------------------------------------------------------------------------------------- words


@pytest.mark.parametrize("units", ["us", "metric"])
def test_readout(view, units):
    lines = readout(view, units)
    first, second = view.outcomes
    assert lines["driver's seat, peak"] == (
        f"{first.peak / GRAVITY:.1f} g", f"{second.peak / GRAVITY:.1f} g",
    )  # fmt: skip
    assert lines["reached full bump, front / rear"][1] == "0× / 0×"
    # A stiff stand-in for metal carries what it would: its force is nothing to act on.
    texts = lines["hardest shock force, front / rear"]
    for result, text in zip(view.outcomes, texts, strict=True):
        for force, metal, said in zip(
            result.peak_force, result.metal, text.split(" / "), strict=True
        ):
            assert said == ("metal to metal" if metal else show(force, "force", units))
    assert any(metal for r in view.outcomes for metal in r.metal)
    heads = {"us": "1 in / 4 in", "metric": "25 mm / 102 mm"}[units]
    said = lines[f"damping ratio in rebound at {heads}, front; rear"][0]
    assert re.fullmatch(r"0\.\d\d / 0\.\d\d; 0\.\d\d / 0\.\d\d", said)
    assert all(len(texts) == 2 for texts in lines.values())
    text = " ".join(" ".join(t) for t in lines.values())
    assert ("lbf" in text) == (units == "us")


def test_no_share_of_travel_above_all_of_it():
    assert ride_view.used_text(1.03) == "100%" and ride_view.used_text(0.876) == "88%"


def test_in_words(view):
    words = in_words(view)
    assert words.startswith("G-out of 15 m radius. Front compression 6 clicks, damping ratio")
    assert "Stock: front uses 100% of its travel and reaches full bump" in words
    assert "damping ratio at 2 in 0." in words and "full bump 1×, metal to metal" in words
    assert "Kit: front uses 9" in words and "0x" not in words


def test_a_doubtful_run_says_so_first(view):
    doubtful = replace(view.runs[1], notes=("The energy book is open.",))
    doubted = replace(view, runs=(view.runs[0], doubtful))
    assert ride_view.cautions(doubted) == ("kit: The energy book is open.",)
    assert in_words(doubted).startswith("kit: The energy book is open.")
    assert ride_view.cautions(view) == ()


def test_compare_is_the_outcome_of_each():
    event = TRIALS["square edge"].event(0.06)
    found = compare(UNIT7, PAIR, event=event, load="patrol", model="half")
    assert list(found) == ["stock", "kit"]
    run = directly(KIT, event, model="half")
    assert found["kit"].travel_used == outcome(run, run.seat_acceleration()).travel_used
