"""Damping ratios: a linear damper by the book, every click, both sides of crossover; solving."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import quad

import suspkit as sk
from suspkit.dynamics.damping import damping_ratio, damping_ratios, solve_clicks
from suspkit.parts.damper import Damper, DynoTable, Leak, Needle, Oil, Passages, Valving
from suspkit.parts.shock import Clicker
from suspkit.vehicle.setup import AXLES

GRAVITY = 9.80665  # standard gravity [m/s^2], exact by definition
MM = 1e-3


def fitted(vehicle, damper, **changes):
    """The vehicle with this damper on all four corners."""
    axles = {
        name: replace(axle, shock=replace(axle.shock, damper=damper, **changes))
        for name, axle in (("front", vehicle.front), ("rear", vehicle.rear))
    }
    setups = vehicle.setups
    if changes.get("clickers") == {}:
        setups = {n: chosen.change("all", clicks={}) for n, chosen in setups.items()}
    return replace(vehicle, setups=setups, **axles)


def linear_damper(unit7):
    """A damper with nothing but a laminar leak, and its coefficient [N s/m] written out."""
    oil = Oil(density=860.0, viscosity_40=20e-6, viscosity_100=4e-6)
    shut = Passages(bleed=Needle(seat=6 * MM, half_angle=0.3))
    leak = Leak(diameter=1.6 * MM, length=15 * MM)
    piston, rod = 0.05, unit7.front.shock.gas.rod_diameter
    damper = Damper(
        piston_diameter=piston,
        rod_diameter=rod,
        valving=Valving(oil=oil, compression=shut, rebound=shut, leak=leak),
    )
    area = np.pi / 4 * (piston**2 - rod**2)
    return damper, area**2 * 128 * 860 * 20e-6 * 15 * MM / (np.pi * (1.6 * MM) ** 4)


@pytest.fixture(scope="module")
def patrol(unit7):
    return damping_ratios(unit7, load="patrol")


def row(table, **where):
    for name, value in where.items():
        table = table[table[name] == value]
    assert len(table) == 1
    return table.iloc[0]


# ---------------------------------------------------------------- by the book


def test_ratio_by_the_book():
    # c / (2 sqrt(k m)) (Rao, Mechanical Vibrations): 2000 N s/m, 25 kN/m, 160 kg by hand.
    assert damping_ratio(2000.0, rate=25e3, mass=160.0) == pytest.approx(0.5, rel=1e-15)
    np.testing.assert_allclose(
        damping_ratio(np.array([1000.0, 4000.0]), rate=25e3, mass=160.0), [0.25, 1.0]
    )
    for nothing in ({"rate": 0.0, "mass": 1.0}, {"rate": 1.0, "mass": 0.0}):
        assert np.isnan(damping_ratio(1.0, **nothing))
    assert np.isnan(damping_ratio(1.0, rate=-5.0, mass=1.0))


@pytest.mark.parametrize("how", [{}, {"amplitude": 0.01, "frequency": 4.0}])
def test_a_linear_damper_has_its_own_ratio(unit7, how):
    damper, coefficient = linear_damper(unit7)
    bare = fitted(unit7, damper, clickers={})
    stance = sk.settle(bare, load="patrol")
    table = damping_ratios(bare, load="patrol", **how)
    for i, name in enumerate(("front_left", "front_right", "rear_left", "rear_right")):
        corner = stance.corners[name]
        ratio = corner.linkage.motion_ratio(stance.travel[i])
        mass = stance.wheel_force[i] / GRAVITY
        expected = coefficient * ratio**2 / (2 * np.sqrt(stance.wheel_rate[i] * mass))
        for direction in ("compression", "rebound"):
            found = row(table, corner=name, where="ride", direction=direction)
            assert found.clicks == 0 and found.set  # no adjuster, so one row
            assert found.ratio == pytest.approx(expected, rel=1e-6)
            assert found.damping == pytest.approx(coefficient * ratio**2, rel=1e-6)


def test_the_coefficient_makes_the_damper_s_heat(unit7, patrol):
    """Energy a stroke by quadrature on the exact force, referred to the wheel."""
    amplitude, frequency = patrol.attrs["amplitude"], patrol.attrs["frequency"]
    omega = 2 * np.pi * frequency
    for corner, axle in (("front_left", unit7.front), ("rear_right", unit7.rear)):
        for direction, sign in (("compression", 1), ("rebound", -1)):
            for click in (0, 6, 12):
                found = row(patrol, corner=corner, where="ride", direction=direction, clicks=click)
                peak = amplitude * found.motion_ratio * omega

                def heat(t, axle=axle, sign=sign, peak=peak, direction=direction, click=click):
                    v = sign * peak * np.cos(omega * t)
                    return v * axle.shock.damper_force(v, {direction: click})

                stroke = 2 * quad(heat, 0, 0.25 / frequency, limit=300, epsrel=1e-9)[0]
                # A linear one makes pi c w a^2 / 2 a stroke (Rao, Mechanical Vibrations).
                linear = 0.5 * np.pi * found.damping * omega * amplitude**2
                assert linear == pytest.approx(stroke, rel=2e-5)


# ---------------------------------------------------------------- the picture


def test_the_table_is_whole(unit7, patrol):
    assert len(patrol) == 4 * 3 * 2 * 13
    assert set(patrol["where"]) == {"ride", "below", "past"}
    assert (patrol.groupby(["corner", "where", "direction"]).set.sum() == 1).all()
    assert (patrol.clicks[patrol.set] == 6).all()
    assert (patrol.clicks == patrol.out).all()
    assert np.isfinite(patrol.ratio).all() and (patrol.ratio > 0).all()
    kinds = patrol.attrs["units"]
    assert {"ratio", "damping", "wheel_rate", "mass", "travel"} <= set(kinds) <= set(patrol.columns)


def test_each_click_out_damps_less(patrol):
    for _, group in patrol.groupby(["corner", "where", "direction"]):
        assert (np.diff(group.sort_values("out").ratio) < 0).all()


def test_a_crossover_changes_the_ratio_though_nobody_touched_the_clicker(unit7, patrol):
    corners = sk.assemble(unit7)
    for name, corner in corners.items():
        at = corner.linkage.travel(corner.crossover)
        ratio = corner.linkage.motion_ratio(at)
        # Springs and gas alone, whether a bump stop works there or not.
        force = corner.stack_curve(corner.crossover) + corner.shock.gas_force(corner.crossover)
        term = force * corner.linkage.motion_ratio_slope(at)
        for direction in ("compression", "rebound"):
            below, past = (
                row(patrol, corner=name, where=w, direction=direction, clicks=6)
                for w in ("below", "past")
            )
            assert below.damping == past.damping and below.travel == past.travel
            assert below.wheel_rate < past.wheel_rate
            assert past.ratio / below.ratio == pytest.approx(
                np.sqrt(below.wheel_rate / past.wheel_rate), rel=1e-12
            )
        # Rates again from the rates of the springs: both in series below, the last one past.
        soft, main = (spring.rate for spring in corner.stack.springs)
        gas = corner.shock.gas_rate(corner.crossover)
        for rate, found in ((soft * main / (soft + main), below), (main, past)):
            assert found.wheel_rate == pytest.approx((rate + gas) * ratio**2 + term, rel=1e-6)


def test_unit_7_in_mid_range_is_damped_as_meant(patrol):
    """Invented to be so: rebound below crossover 0.25 to 0.45, more than compression."""
    for corner in ("front_left", "rear_left"):
        rebound, bump = (
            row(patrol, corner=corner, where="below", direction=d, clicks=6).ratio
            for d in ("rebound", "compression")
        )
        assert 0.25 < rebound < 0.45
        assert 0.1 < bump < rebound


def test_ride_is_the_side_it_stands_on(unit7, patrol):
    stance = sk.settle(unit7, load="patrol")
    assert stance.past_crossover[0] and not stance.past_crossover[2]
    for i, name in ((0, "front_left"), (2, "rear_left")):
        found = row(patrol, corner=name, where="ride", direction="rebound", clicks=6)
        assert found.wheel_rate == pytest.approx(stance.wheel_rate[i], rel=1e-12)
        assert found.mass == pytest.approx(stance.wheel_force[i] / GRAVITY, rel=1e-12)
        assert found.travel == pytest.approx(stance.travel[i], rel=1e-12)
    # More aboard, less damping.
    heavy = damping_ratios(unit7, load="carry-out")
    assert row(heavy, corner="rear_left", where="ride", direction="rebound", clicks=6).ratio < (
        found.ratio
    )


def test_without_a_ring_there_is_only_ride(unit7):
    table = damping_ratios(unit7, unit7.setups["stock"], load="patrol")
    assert set(table["where"]) == {"ride"}


def test_a_crossover_past_full_bump_is_not_told(unit7):
    for gap, places in ((0.13, {"ride", "below", "past"}), (0.14, {"ride"}), (0.2, {"ride"})):
        late = unit7.setup.change("rear", gap=gap)
        corner = sk.assemble(unit7, late)["rear_left"]
        assert (corner.crossover < corner.shock.full_bump) == (len(places) == 3)
        table = damping_ratios(unit7, late, load="patrol")
        assert set(table["where"][table.corner == "rear_left"]) == places


def test_clicks_counted_from_open_run_the_other_way(unit7, patrol):
    clickers = {name: Clicker(count=12, zero="open") for name in ("compression", "rebound")}
    shock = replace(unit7.front.shock, clickers=clickers)
    other = replace(unit7, front=replace(unit7.front, shock=shock))
    table = damping_ratios(other, load="patrol")
    for click in (0, 5, 12):
        found = row(table, corner="front_left", where="ride", direction="rebound", clicks=click)
        assert found.out == 12 - click
        assert found.ratio == pytest.approx(
            row(
                patrol, corner="front_left", where="ride", direction="rebound", clicks=12 - click
            ).ratio
        )
    solved = solve_clicks(other, load="patrol", axle="front", ratio=found.ratio)
    assert solved.clicks == 12
    assert "from fully open" in solved.message


def test_hot_oil_damps_less(unit7, patrol):
    hot = damping_ratios(unit7, load="patrol", temperature=373.15)
    assert (hot.ratio < patrol.ratio).all()


# ---------------------------------------------------------------- solving


@pytest.mark.parametrize("axle", ["front", "rear"])
@pytest.mark.parametrize("direction", ["compression", "rebound"])
@pytest.mark.parametrize("where", ["ride", "below", "past"])
def test_the_nearest_click_is_found(unit7, patrol, axle, direction, where):
    each = patrol[
        patrol.corner.isin(AXLES[axle])
        & (patrol.direction == direction)
        & (patrol["where"] == where)
    ].groupby("clicks").ratio.mean()  # fmt: skip
    for click in (0, 4, 6, 7, 12):
        solved = solve_clicks(
            unit7, load="patrol", axle=axle, ratio=float(each[click]), direction=direction,
            where=where,
        )  # fmt: skip
        assert solved.ok
        assert (solved.clicks, solved.from_middle) == (click, click - 6)
        assert solved.ratio == pytest.approx(each[click], rel=1e-12)
        assert solved.middle_ratio == pytest.approx(each[6], rel=1e-12)
        for name in AXLES[axle]:
            clicks = getattr(solved.setup, name).clicks
            assert clicks == getattr(unit7.setup, name).clicks | {direction: click}
        others = {name for pair in AXLES.values() for name in pair} - set(AXLES[axle])
        assert all(getattr(solved.setup, n) == getattr(unit7.setup, n) for n in others)
    # Between two clicks it is the nearer.
    near = 0.6 * each[7] + 0.4 * each[8]
    solved = solve_clicks(
        unit7, load="patrol", axle=axle, ratio=near, direction=direction, where=where
    )
    assert solved.clicks == 7 and solved.ok


def test_it_says_by_how_many_clicks_mid_range_misses(unit7, patrol):
    def ask(click):
        wanted = row(
            patrol, corner="rear_left", where="ride", direction="rebound", clicks=click
        ).ratio
        return solve_clicks(unit7, load="patrol", axle="rear", ratio=wanted).message

    assert ask(6).endswith("That is mid-range.")
    assert "5 clicks from fully closed gives a damping ratio of" in ask(5)
    assert ask(5).endswith("it misses by 1 click.")
    assert ask(9).endswith("it misses by 3 clicks.")
    assert "Mid-range, 6, gives 0.36" in ask(9)


@pytest.mark.parametrize(
    ("ratio", "clicks", "words"),
    [(3.0, 0, ["the most is", "stiffer valving"]), (0.01, 12, ["the least is", "softer valving"])],
)
def test_a_ratio_no_click_gives_is_said(unit7, ratio, clicks, words):
    solved = solve_clicks(unit7, load="patrol", axle="front", ratio=ratio)
    assert not solved.ok
    assert solved.clicks == clicks
    assert f"no click gives a damping ratio of {ratio:.2f} at ride height" in solved.message
    assert [w for w in words if w not in solved.message] == []
    assert "misses by 6 clicks" in solved.message


@pytest.mark.parametrize(
    ("how", "words"),
    [
        ({"axle": "middle"}, "axle is 'middle'; expected front or rear"),
        ({"direction": "bump"}, "direction is 'bump'; expected compression or rebound"),
        ({"where": "above"}, "where is 'above'; expected ride or below or past"),
        ({"ratio": 0.0}, "ratio is 0.0; expected a damping ratio above zero"),
        ({"ratio": np.nan}, "ratio is nan; expected a damping ratio above zero"),
        ({"load": "party"}, "load is 'party'"),
        ({"amplitude": -0.1}, "expected both above zero"),
        ({"amplitude": 9.0}, "expected at most 20 m/s, where the damper is known"),
        ({"temperature": 20.0}, "temperature is 20.0; expected 233.15 to 423.15 K"),
    ],
)
def test_a_wrong_question_is_one_sentence(unit7, how, words):
    with pytest.raises(ValueError) as caught:
        solve_clicks(unit7, **{"load": "patrol", "axle": "front", "ratio": 0.3} | how)
    assert words in str(caught.value)
    assert "\n" not in str(caught.value)


def test_what_cannot_be_asked_of_this_vehicle(unit7):
    with pytest.raises(ValueError, match="the front has no crossover short of full bump"):
        solve_clicks(unit7, unit7.setups["stock"], axle="front", ratio=0.3, where="past")
    with pytest.raises(ValueError, match="front.shock.damper is missing; expected a damper"):
        damping_ratios(fitted(unit7, None))
    fixed = fitted(unit7, linear_damper(unit7)[0], clickers={})
    with pytest.raises(ValueError, match="front has no rebound adjuster; expected one"):
        solve_clicks(fixed, axle="front", ratio=0.3)


def test_a_measured_damper_is_used_as_far_as_it_goes(unit7):
    rows = "clicks,velocity (m/s),force (N)\n" + "".join(
        f"{c},{v},{v * (3000 - 100 * c)}\n" for c in (0, 12) for v in (-0.3, -0.1, 0.1, 0.3)
    )
    vehicle = fitted(unit7, Damper(table=DynoTable.from_csv(rows, name="bench.csv")))
    table = damping_ratios(vehicle, load="patrol", amplitude=0.04)
    found = row(table, corner="front_left", where="ride", direction="rebound", clicks=3)
    assert found.damping == pytest.approx(2700 * found.motion_ratio**2, rel=1e-9)
    with pytest.raises(ValueError, match="expected at most 0.3 m/s, where the damper is known"):
        damping_ratios(vehicle, load="patrol", amplitude=0.1)


# ------------------------------------------------------------- over amplitude, and beside the stop


def test_a_ratio_is_told_at_any_amplitude_asked(unit7):
    """Unit 7's front in compression, mid-range: a bleed, then a valve that opens.

    0.04, 0.08, 0.15, 0.11 at 1/2, 1, 2, 4 in were computed with `quad`'s heat of one stroke.
    """
    swings = np.array([0.5, 1.0, 2.0, 4.0]) * 0.0254
    table = damping_ratios(unit7, load="patrol", amplitude=swings)
    told = table[
        (table.corner == "front_left") & (table["where"] == "ride") & table.set
        & (table.direction == "compression")
    ]  # fmt: skip
    assert told.amplitude.tolist() == swings.tolist()
    np.testing.assert_allclose(told.ratio, [0.04, 0.08, 0.15, 0.11], atol=0.005)
    alone = damping_ratios(unit7, load="patrol", amplitude=swings[3])
    mine = told.iloc[3]
    same = row(alone, corner="front_left", where="ride", direction="compression", clicks=6)
    assert same.ratio == mine.ratio and alone.attrs["amplitude"] == swings[3]
    with pytest.raises(ValueError, match="amplitude is .*; expected one to solve for"):
        solve_clicks(unit7, axle="front", ratio=0.3, amplitude=swings)


def test_several_amplitudes_go_as_far_as_a_measured_damper(unit7):
    rows = "clicks,velocity (m/s),force (N)\n" + "".join(
        f"{c},{v},{v * 3000}\n" for c in (0, 12) for v in (-0.3, -0.1, 0.1, 0.3)
    )
    vehicle = fitted(unit7, Damper(table=DynoTable.from_csv(rows, name="bench.csv")))
    table = damping_ratios(vehicle, load="patrol", amplitude=(0.02, 0.1))
    known = table.amplitude == 0.02
    assert np.isfinite(table.ratio[known]).all() and table.ratio[~known].isna().all()


def test_a_stop_that_works_at_crossover_is_left_out_and_told(unit7):
    """One rate past crossover: that of the ride frequency, springs and gas alone."""
    late = unit7.setup.change("rear", gap=0.128)
    corner = sk.assemble(unit7, late)["rear_left"]
    assert corner.shock.bump_touch < corner.crossover < corner.shock.full_bump
    table = damping_ratios(unit7, late, load="patrol")
    mine = table[(table.corner == "rear_left") & table.set & (table.direction == "rebound")]
    mine = mine.set_index("where")
    assert mine.stop.to_dict() == {"ride": False, "below": True, "past": True}
    tyre = unit7.rear.tyre.rate
    told = corner.crossover_frequencies(mine.mass["ride"] * GRAVITY, tyre_rate=tyre)
    for where, frequency in zip(("below", "past"), told, strict=True):
        rate = mine.wheel_rate[where]
        ride = rate * tyre / (rate + tyre)
        expected = np.sqrt(ride / mine.mass[where]) / (2 * np.pi)
        assert frequency == pytest.approx(expected, rel=1e-9)
    assert not table[table.corner == "front_left"].stop.any()
