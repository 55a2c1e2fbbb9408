"""The damper: passages against their formulas and a root finder, kinks, tables, refusals."""

import warnings
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.optimize import brentq

import suspkit as sk
from suspkit.core.curve import Curve
from suspkit.parts.damper import (
    CURVE_TOLERANCE,
    DIRECTIONS,
    SMALL_FORCE,
    Damper,
    DynoTable,
    Leak,
    Needle,
    Oil,
    Passages,
    Valve,
    Valving,
    equivalent_damping,
    stroke_energy,
)
from suspkit.parts.shock import ATMOSPHERE, Clicker
from suspkit.vehicle.file import load_dyno
from tests.tools.bad_files import DATA, write_bad

MM = 1e-3
OIL = Oil(density=860.0, viscosity_40=16e-6, viscosity_100=3.9e-6)
NEEDLE = Needle(seat=6 * MM, half_angle=np.radians(20), closed=0.2 * MM, lift=0.2 * MM)
SOFT = Passages(bleed=NEEDLE, valve=Valve(opens_at=3e5, full_after=7e5, area=200e-6, per_click=2e4))
HARD = Passages(bleed=NEEDLE, valve=Valve(opens_at=8e5, full_after=3e6, area=90e-6))
LEAK = Leak(diameter=0.5 * MM, length=8 * MM)
VALVING = Valving(oil=OIL, compression=SOFT, rebound=HARD, leak=LEAK)
DAMPER = Damper(piston_diameter=0.05, rod_diameter=0.022, valving=VALVING)
CLICKS = {"compression": 5, "rebound": 7, "compression-high": 3}
DYNO = DATA / "unit7-front-dyno.csv"


def bench(valving):
    """A damper on the bench: piston less rod is then 1000 mm2 within rounding."""
    return Damper(
        piston_diameter=np.sqrt(4 / np.pi * (1000 + np.pi / 4 * 400)) * MM,
        rod_diameter=20 * MM,
        valving=valving,
    )


# ---------------------------------------------------------------- passages


def test_sharp_orifice_flow():
    # 1 mm hole, 1 MPa, 860 kg/m3, Cd 0.611 (Fluid Power Engineering: pi / (pi + 2) = 0.611):
    # 2.31417855e-5 m3/s, computed.
    hole = Needle(seat=1 * MM, half_angle=np.pi / 4, closed=1 * MM)  # wide open: the seat alone
    assert hole.area() == pytest.approx(np.pi / 4 * 1e-6, rel=1e-12)
    way = Passages(bleed=hole)
    valving = Valving(oil=OIL, compression=way, rebound=way, discharge=0.611)
    for direction in DIRECTIONS:
        flow = valving.flow(1e6, direction=direction, clicks={})
        assert flow == pytest.approx(2.31417855e-5, rel=1e-8)
        back = valving.pressure(flow, direction=direction, clicks={})
        assert back == pytest.approx(1e6, rel=1e-12)
    default = Valving(oil=OIL, compression=way, rebound=way).discharge
    assert default == pytest.approx(0.611, abs=5e-4)


def test_laminar_bore_flow():
    # 1 mm bore 20 mm long, 0.012 Pa s, 0.1 MPa: 1.02265386e-5 m3/s, computed.
    flow = Leak(diameter=1 * MM, length=20 * MM).flow(1e5, viscosity=0.012)
    assert flow == pytest.approx(1.02265386e-5, rel=1e-8)


def test_needle_area():
    # 3 mm seat, 15 degrees, 0.5 mm: 1.16883702e-6 m2, computed (frustum, from memory).
    needle = Needle(seat=3 * MM, half_angle=np.radians(15), closed=0.1 * MM, lift=0.1 * MM)
    assert needle.area(4) == pytest.approx(1.16883702e-6, rel=1e-8)
    # The same frustum as Pappus has it: slant length times the way its middle goes round.
    slant = 0.5 * MM * np.sin(np.radians(15))
    middle = 1.5 * MM - slant / 2 * np.cos(np.radians(15))
    assert needle.area(4) == pytest.approx(2 * np.pi * middle * slant, rel=1e-12)


@given(st.floats(5, 80), st.floats(1e-4, 0.02), st.floats(0, 1e-3), st.floats(1e-6, 3e-3))
def test_a_needle_opens_with_every_click_and_no_further_than_its_seat(angle, seat, closed, lift):
    needle = Needle(seat=seat, half_angle=np.radians(angle), closed=closed, lift=lift)
    area = needle.area(np.arange(40))
    assert (np.diff(area) >= 0).all()
    assert area[-1] <= np.pi / 4 * seat**2 * (1 + 1e-12)
    assert Needle(seat=seat, half_angle=np.radians(angle)).area() == 0
    # The cone well out of it, the seat alone is left, blunt cone or slender.
    gone = Needle(seat=seat, half_angle=np.radians(angle), closed=50 * seat)
    assert gone.area() == pytest.approx(np.pi / 4 * seat**2)


def test_oil_thins_between_its_data_sheet_values():
    assert OIL.viscosity() == pytest.approx(860 * 16e-6, rel=1e-12)
    assert OIL.viscosity(313.15) == OIL.viscosity()
    assert OIL.viscosity(373.15) == pytest.approx(860 * 3.9e-6, rel=1e-9)
    # Walther's line read off at 20 degC with log10 and a ruler, so to speak (from memory).
    y40, y100 = (np.log10(np.log10(v + 0.7)) for v in (16.0, 3.9))
    slope = (y100 - y40) / (np.log10(373.15) - np.log10(313.15))
    y20 = y40 + slope * (np.log10(293.15) - np.log10(313.15))
    assert OIL.viscosity(293.15) == pytest.approx(860e-6 * (10 ** (10**y20) - 0.7), rel=1e-9)
    assert (np.diff(OIL.viscosity(np.linspace(233.15, 423.15, 50))) < 0).all()


@pytest.mark.parametrize("temperature", [233.0, 424.0, np.nan, 20.0])
def test_oil_is_not_trusted_outside_its_range(temperature):
    with pytest.raises(ValueError, match=f"temperature is {temperature}.*expected 233.15 to"):
        OIL.viscosity(temperature)
    bare = replace(VALVING, leak=None)  # nothing depends on it there, and still it is refused
    for valving in (VALVING, bare):
        with pytest.raises(ValueError, match="expected 233.15 to 423.15 K"):
            bench(valving).force(0.1, clicks=CLICKS, temperature=temperature)


# ---------------------------------------------------------------- force over velocity


def plainly(velocity, *, clicks=CLICKS, viscosity=860 * 16e-6):
    """Force of DAMPER by a root finder on the orifice equations, written out."""
    area = np.pi / 4 * (0.05**2 - 0.022**2)
    inward = velocity >= 0
    h = 0.2 * MM + 0.2 * MM * clicks["compression" if inward else "rebound"]
    sin, cos = np.sin(np.radians(20)), np.cos(np.radians(20))
    bleed = min(np.pi * h * sin * (6 * MM - h * sin * cos), np.pi * (3 * MM) ** 2)
    if inward:
        crack, rate, wide = 3e5 - 2e4 * clicks["compression-high"], 7e5, 200e-6
    else:
        crack, rate, wide = 8e5, 3e6, 90e-6

    def excess(p):
        if p <= crack:
            valve = 0.0
        elif p >= crack + rate:
            valve = wide
        else:
            valve = wide * (p - crack) / rate
        turbulent = np.pi / (np.pi + 2) * (bleed + valve) * np.sqrt(2 * p / 860)
        laminar = np.pi * (0.5 * MM) ** 4 * p / (128 * viscosity * 8 * MM)
        return turbulent + laminar - area * abs(velocity)

    if velocity == 0:
        return 0.0
    p = brentq(excess, 0.0, 1e12, xtol=1e-12, rtol=1e-14, maxiter=500)
    return np.copysign(p * area, velocity)


SPEEDS = np.array([1e-6, 1e-3, 0.02, 0.1, 0.2, 0.3, 0.5, 0.8, 1.2, 2.0, 3.5, 6.0, 12.0])


@pytest.mark.parametrize("sign", [1, -1])
def test_force_is_the_root_of_the_orifice_equations(sign):
    velocity = sign * SPEEDS
    force = DAMPER.force(velocity, clicks=CLICKS)
    np.testing.assert_allclose(force, [plainly(v) for v in velocity], rtol=1e-10)
    # One by one it is the same.
    assert [DAMPER.force(v, clicks=CLICKS) for v in velocity] == pytest.approx(force, rel=1e-15)


def test_hot_oil_leaks_more():
    hot = 860e-6 * 3.9
    for v in (0.05, -0.4):
        force = DAMPER.force(v, clicks=CLICKS, temperature=373.15)
        assert force == pytest.approx(plainly(v, viscosity=hot), rel=1e-9)
        assert abs(force) < abs(DAMPER.force(v, clicks=CLICKS))


def test_force_opposes_motion_and_is_nothing_at_rest():
    velocity = np.linspace(-15, 15, 40001)
    force = DAMPER.force(velocity, clicks=CLICKS)
    assert (np.diff(force) > 0).all()
    assert DAMPER.force(0.0, clicks=CLICKS) == 0.0
    assert DAMPER.force(-0.0, clicks=CLICKS) == 0.0
    near = DAMPER.force(np.array([-1e-9, 1e-9]), clicks=CLICKS)
    assert near[0] < 0 < near[1]
    assert np.abs(near).max() < 1e-4  # continuous through zero
    np.testing.assert_array_equal(DAMPER.power(velocity, clicks=CLICKS), velocity * force)
    assert (DAMPER.power(velocity, clicks=CLICKS) >= 0).all()
    assert np.isnan(DAMPER.force(np.nan, clicks=CLICKS))


@given(st.floats(-12, 12), st.integers(0, 11), st.sampled_from(DAMPER.adjusters))
def test_a_click_out_never_adds_force(velocity, clicks, name):
    before = DAMPER.force(velocity, clicks=CLICKS | {name: clicks})
    after = DAMPER.force(velocity, clicks=CLICKS | {name: clicks + 1})
    assert abs(after) <= abs(before) * (1 + 1e-12)


def test_each_adjuster_acts_on_its_own_direction():
    assert DAMPER.adjusters == ("compression", "compression-high", "rebound")
    velocity = np.array([-2.0, -0.02, 0.02, 2.0])
    base = DAMPER.force(velocity, clicks=CLICKS)
    for name, moved in (
        ("compression", [False, False, True, True]),
        ("rebound", [True, True, False, False]),
        # A preload acts only once the valve is open.
        ("compression-high", [False, False, False, True]),
    ):
        changed = DAMPER.force(velocity, clicks=CLICKS | {name: 10})
        np.testing.assert_array_equal(changed != base, moved)


def test_clicks_broadcast_against_velocity():
    clicks = CLICKS | {"compression": np.arange(13)[:, None]}
    velocity = np.linspace(-1, 1, 7)
    force = DAMPER.force(velocity, clicks=clicks)
    assert force.shape == (13, 7)
    for i in range(13):
        alone = DAMPER.force(velocity, clicks=CLICKS | {"compression": i})
        np.testing.assert_allclose(force[i], alone, rtol=1e-14)


@pytest.mark.parametrize("direction", DIRECTIONS)
@pytest.mark.parametrize("kink", ["cracks", "full"])
def test_on_a_valve_kink_and_one_float_either_side(direction, kink):
    valve = getattr(VALVING, direction).valve
    clicks = CLICKS | {"compression-high": 0}
    pressure = valve.opens_at + (valve.full_after if kink == "full" else 0.0)
    assert valve.open_area(pressure) == (valve.area if kink == "full" else 0.0)
    if kink == "cracks":
        assert valve.open_area(np.nextafter(pressure, np.inf)) > 0
        assert valve.open_area(np.nextafter(pressure, 0)) == 0
    how = {"direction": direction, "clicks": clicks}
    flow = VALVING.flow(pressure, **how)
    around = np.array([np.nextafter(flow, 0), flow, np.nextafter(flow, np.inf)])
    found = VALVING.pressure(around, **how)
    np.testing.assert_allclose(found, pressure, rtol=1e-12)
    assert (np.diff(found) >= -1e-15 * pressure).all()
    for p in (np.nextafter(pressure, 0), pressure, np.nextafter(pressure, np.inf)):
        assert VALVING.pressure(VALVING.flow(p, **how), **how) == pytest.approx(p, rel=1e-12)
    # Slopes differ on the two sides of the kink, and are what the equations say.
    sign = 1.0 if direction == "compression" else -1.0
    at = sign * flow / DAMPER.area
    for step in (1e-6 * at, -1e-6 * at):
        steep = (plainly(at + step, clicks=clicks) - plainly(at, clicks=clicks)) / step
        found = (DAMPER.force(at + step, clicks=clicks) - DAMPER.force(at, clicks=clicks)) / step
        assert found == pytest.approx(steep, rel=1e-4)


def test_a_valve_without_preload_opens_at_once():
    valve = Valve(opens_at=0.0, full_after=1e6, area=100e-6)
    way = Passages(bleed=NEEDLE, valve=valve)
    damper = bench(Valving(oil=OIL, compression=way, rebound=way))
    velocity = np.linspace(-3, 3, 601)
    force = damper.force(velocity, clicks={"compression": 0, "rebound": 0})
    assert (np.diff(force) > 0).all()
    np.testing.assert_allclose(force, -force[::-1], rtol=1e-12)  # the same both ways


def test_a_leak_alone_is_a_linear_damper():
    shut = Passages(bleed=Needle(seat=6 * MM, half_angle=0.3))
    damper = bench(Valving(oil=OIL, compression=shut, rebound=shut, leak=LEAK))
    coefficient = 1e-6 * 128 * 860 * 16e-6 * 8 * MM / (np.pi * (0.5 * MM) ** 4)  # A^2 over flow
    velocity = np.linspace(-2, 2, 9)
    np.testing.assert_allclose(
        damper.force(velocity, clicks={}), coefficient * velocity, rtol=1e-9, atol=1e-12
    )
    curve = damper.curve(clicks={})
    np.testing.assert_allclose(curve(velocity), coefficient * velocity, rtol=1e-9, atol=1e-9)


# ---------------------------------------------------------------- the curve


@pytest.mark.parametrize("clicks", [0, 6, 12])
def test_the_curve_errs_less_than_it_says(clicks):
    every = {"compression": clicks, "rebound": clicks, "compression-high": clicks}
    curve = DAMPER.curve(clicks=every)
    speed = np.geomspace(1e-7, 20.0, 50001)
    velocity = np.concatenate([-speed[::-1], [0.0], speed])
    exact = DAMPER.force(velocity, clicks=every)
    error = np.abs(curve(velocity) - exact) / np.maximum(np.abs(exact), SMALL_FORCE)
    assert error.max() < CURVE_TOLERANCE
    # Halfway between its own knots too, where a chord errs most.
    middle = 0.5 * (curve.x[1:] + curve.x[:-1])
    exact = DAMPER.force(middle, clicks=every)
    error = np.abs(curve(middle) - exact) / np.maximum(np.abs(exact), SMALL_FORCE)
    assert 0.1 * CURVE_TOLERANCE < error.max() < CURVE_TOLERANCE  # and no finer than it need be
    assert (np.diff(curve.x) > 0).all()
    assert (np.diff(curve.y) > 0).all()
    assert curve.x.size < 4000


def test_the_curve_has_its_kinks_and_its_range():
    curve = DAMPER.curve(clicks=CLICKS, up_to=5.0)
    assert curve.x[0] == -5.0 and curve.x[-1] == 5.0
    assert curve(0.0) == 0.0 and 0.0 in curve.x
    np.testing.assert_allclose(
        curve.y[[0, -1]], DAMPER.force(np.array([-5.0, 5.0]), clicks=CLICKS), rtol=1e-12
    )
    assert DAMPER.curve(clicks=CLICKS).x[-1] == 20.0
    crack = 3e5 - 3 * 2e4
    for pressure, direction in ((crack, 0), (crack + 7e5, 0), (8e5, 1), (3.8e6, 1)):
        knot = np.array([1, -1])[direction] * pressure * DAMPER.area
        if abs(knot) < np.abs(curve.y).max():
            assert np.abs(curve.y / knot - 1).min() < 1e-12
    # Beyond, the last slope goes on.
    beyond = (DAMPER.force(5.0 + 1e-6, clicks=CLICKS) - DAMPER.force(5.0, clicks=CLICKS)) / 1e-6
    assert curve.slope_after == pytest.approx(beyond, rel=1e-3)
    assert curve(6.0) == pytest.approx(DAMPER.force(6.0, clicks=CLICKS), rel=0.05)


def test_a_slow_curve_ends_before_the_valve():
    curve = DAMPER.curve(clicks=CLICKS, up_to=0.01)
    velocity = np.linspace(-0.01, 0.01, 101)
    exact = DAMPER.force(velocity, clicks=CLICKS)
    np.testing.assert_allclose(curve(velocity), exact, rtol=1e-5, atol=1e-5)
    for wrong in (0.0, -1.0, np.inf, np.nan):
        with pytest.raises(ValueError, match="up_to is .*; expected a speed above zero"):
            DAMPER.curve(clicks=CLICKS, up_to=wrong)


def test_a_batch_of_curves_is_a_loop():
    clicks = {"compression": np.arange(13), "rebound": 4, "compression-high": 12 - np.arange(13)}
    batch = DAMPER.curve(clicks=clicks)
    velocity = np.linspace(-3, 3, 501)
    for i in (0, 5, 12):
        alone = DAMPER.force(
            velocity, clicks={"compression": i, "rebound": 4, "compression-high": 12 - i}
        )
        np.testing.assert_allclose(batch.pick(i)(velocity), alone, rtol=1e-5, atol=1e-5)


# ---------------------------------------------------------------- heat


@pytest.mark.parametrize("direction", DIRECTIONS)
@pytest.mark.parametrize("amplitude, frequency", [(0.03, 1.5), (0.1, 3.0), (0.002, 0.5)])
def test_stroke_energy_is_the_integral_of_force_over_travel(direction, amplitude, frequency):
    sign = 1.0 if direction == "compression" else -1.0
    omega = 2 * np.pi * frequency
    curve = DAMPER.curve(clicks=CLICKS)

    def heat(t):
        v = sign * amplitude * omega * np.cos(omega * t)
        return DAMPER.force(v, clicks=CLICKS) * v

    quarter = 0.25 / frequency
    kinks = []
    valve = getattr(VALVING, direction).valve
    cracks = valve.opens_at - valve.per_click * 3
    for p in (cracks, cracks + valve.full_after):
        v = VALVING.flow(p, direction=direction, clicks=CLICKS) / DAMPER.area
        if v < amplitude * omega:
            kinks.append(np.arccos(v / (amplitude * omega)) / omega)
    expected = 2 * quad(heat, 0, quarter, points=kinks or None, epsrel=1e-11, limit=400)[0]
    energy = stroke_energy(curve, amplitude=amplitude, frequency=frequency, direction=direction)
    assert energy == pytest.approx(expected, rel=CURVE_TOLERANCE)
    c = equivalent_damping(curve, amplitude=amplitude, frequency=frequency, direction=direction)
    # A linear damper makes pi c w a^2 a cycle, half of it a stroke (Rao, Mechanical Vibrations).
    assert 0.5 * np.pi * c * omega * amplitude**2 == pytest.approx(energy, rel=1e-12)


def test_equivalent_damping_of_known_laws():
    how = {"amplitude": 0.05, "frequency": 1.2}
    linear = Curve([-5.0, 0.0, 5.0], [-5 * 900.0, 0.0, 5 * 2000.0])
    assert equivalent_damping(linear, direction="compression", **how) == pytest.approx(2000.0)
    assert equivalent_damping(linear, direction="rebound", **how) == pytest.approx(900.0)
    # Dry friction F: 4 F a a cycle, so c = 4 F / (pi w a) (Rao, Mechanical Vibrations).
    dry = Curve([-5.0, 0.0, 0.0, 5.0], [-300.0, -300.0, 300.0, 300.0])
    omega = 2 * np.pi * 1.2
    for direction in DIRECTIONS:
        assert equivalent_damping(dry, direction=direction, **how) == pytest.approx(
            4 * 300 / (np.pi * omega * 0.05)
        )
    # Quadratic c v^2: c_eq = 8 c w a / (3 pi) (Rao, Mechanical Vibrations).
    v = np.linspace(0, 1, 4001)
    square = Curve(np.r_[-v[:0:-1], v], np.r_[-500 * v[:0:-1] ** 2, 500 * v**2])
    for direction in DIRECTIONS:
        assert equivalent_damping(square, direction=direction, **how) == pytest.approx(
            8 * 500 * omega * 0.05 / (3 * np.pi), rel=1e-6
        )


def test_stroke_energy_of_a_batch_and_its_refusals():
    clicks = {"compression": np.arange(5), "rebound": np.arange(5), "compression-high": 0}
    batch = DAMPER.curve(clicks=clicks)
    amplitude = np.linspace(0.01, 0.05, 5)
    energy = stroke_energy(batch, amplitude=amplitude, frequency=1.5, direction="rebound")
    for i in range(5):
        alone = stroke_energy(
            batch.pick(i), amplitude=amplitude[i], frequency=1.5, direction="rebound"
        )
        assert energy[i] == pytest.approx(alone, rel=1e-13)
    curve = DAMPER.curve(clicks=CLICKS, up_to=1.0)
    peak = 1.0 / (2 * np.pi)
    how = {"amplitude": peak, "frequency": 1.0, "direction": "compression"}
    assert np.isfinite(stroke_energy(curve, **how))  # to the very end of the curve
    with pytest.raises(ValueError, match="1.1 m/s; expected at most 1 m/s"):
        stroke_energy(curve, **how | {"amplitude": 1.1 * peak})
    with pytest.raises(ValueError, match="amplitude is 0.0 m .* expected both above zero"):
        stroke_energy(curve, **how | {"amplitude": 0.0})
    with pytest.raises(ValueError, match="direction is 'bump'; expected compression or rebound"):
        stroke_energy(curve, **how | {"direction": "bump"})


# ---------------------------------------------------------------- the parts refuse


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda: replace(OIL, viscosity_100=16e-6), "viscosity_100 is 16 cSt; expected less than"),
        (lambda: replace(SOFT.valve, full_after=0.0), "full_after is 0 Pa; expected above zero"),
        (
            lambda: replace(
                VALVING, leak=None, rebound=replace(HARD, bleed=replace(NEEDLE, closed=0.0))
            ),
            "rebound.bleed.closed is 0; expected above zero, or a leak",
        ),
        (lambda: Damper(), "damper has no law; expected exactly one of valving, table"),
        (
            lambda: replace(DAMPER, table=load_dyno(DYNO)),
            "damper has valving and table; expected exactly one",
        ),
        (
            lambda: replace(DAMPER, rod_diameter=None),
            "piston_diameter is 0.05 and rod_diameter is None; expected both",
        ),
        (
            lambda: replace(DAMPER, rod_diameter=0.05),
            "rod_diameter is 0.05 m; expected less than piston_diameter, 0.05 m",
        ),
        (
            lambda: DAMPER.force(1.0, clicks={"compression": 3}),
            "clicks has no 'compression-high'; expected compression, compression-high, rebound",
        ),
        (lambda: DAMPER.force(1.0, clicks=None), "clicks has no 'compression'"),
        (
            lambda: DAMPER.force(1.0, clicks=CLICKS | {"rebound": -1}),
            "rebound clicks is -1; expected zero or more, out from closed",
        ),
        (lambda: DAMPER.curve(clicks=CLICKS | {"rebound": np.nan}), "rebound clicks is nan"),
    ],
)
def test_wrong_parts_are_refused_in_one_sentence(make, words):
    with pytest.raises(ValueError) as caught:
        make()
    assert words in str(caught.value)
    assert "\n" not in str(caught.value)


# ---------------------------------------------------------------- on the shock: clicks, boiling


def shock_with(damper, unit7, **changes):
    return replace(unit7.front.shock, damper=damper, **changes)


def test_clicks_as_the_file_counts_them(unit7):
    shock = unit7.front.shock
    assert shock.clicks_out() == {"compression": 6, "rebound": 6}  # mid-range
    assert shock.clicks_out({"rebound": 2}) == {"compression": 6, "rebound": 2}
    ends = {"compression": Clicker(count=12), "rebound": Clicker(count=15, zero="open")}
    other = replace(shock, clickers=ends)
    assert other.clicks_out() == {"compression": 6, "rebound": 15 - 7}
    assert other.clicks_out({"rebound": 0}) == {"compression": 6, "rebound": 15}
    assert other.clicks_out({"compression": 12, "rebound": 15}) == {"compression": 12, "rebound": 0}
    inside = {"compression": 2, "rebound": 15 - 4}
    assert other.damper_force(-0.3, {"compression": 2, "rebound": 4}) == other.damper.force(
        -0.3, clicks=inside
    )
    np.testing.assert_array_equal(
        other.damper_curve({"compression": 2, "rebound": 4}).y, other.damper.curve(clicks=inside).y
    )
    many = shock.clicks_out({"rebound": np.arange(13)})["rebound"]
    np.testing.assert_array_equal(many, np.arange(13))


@pytest.mark.parametrize("clicks", [-1, 13, 2.5, np.nan, np.array([3, 13])])
def test_a_click_that_is_not_there_is_refused(unit7, clicks):
    with pytest.raises(ValueError, match="rebound clicks is .*a whole number from 0 to 12"):
        unit7.front.shock.damper_force(0.1, {"rebound": clicks})


def test_an_adjuster_that_is_not_there_is_refused(unit7):
    shock = unit7.front.shock
    with pytest.raises(ValueError, match="clicks has 'rebond'; expected compression, rebound"):
        shock.clicks_out({"rebond": 3})
    with pytest.raises(ValueError, match="clickers has no 'rebound'; expected one"):
        replace(shock, clickers={"compression": Clicker(count=12)})
    with pytest.raises(ValueError, match="clickers has no 'compression-high'"):
        shock_with(replace(DAMPER, rod_diameter=shock.gas.rod_diameter), unit7)
    with pytest.raises(ValueError, match=r"damper.rod_diameter is 0.02 m; expected 0.022225 m"):
        replace(shock, damper=replace(shock.damper, rod_diameter=0.02))
    bare = replace(shock, damper=None)
    with pytest.raises(ValueError, match="clicks has 'rebound'; expected none, this shock has no"):
        replace(bare, clickers={}).clicks_out({"rebound": 3})
    with pytest.raises(ValueError, match="damper is missing"):
        bare.damper_force(0.1)


def test_cavitation_is_where_the_drop_takes_all_the_gas_pressure(unit7):
    shock = unit7.front.shock
    for s in (0.0, 0.1, 0.2):
        limit = shock.cavitation_speed(s)
        drop = shock.damper_force(limit) / shock.damper.area
        left = shock.gas.absolute_pressure(s) - drop
        assert left == pytest.approx(shock.damper.vapour_pressure, abs=1e-3)
        assert shock.cavitation_warning(limit, s) == ""
        assert shock.cavitation_warning(np.nextafter(limit, 20), s) != ""
        assert shock.cavitation_warning(-20.0, s) == ""  # no chamber is below the gas in rebound
    s = np.linspace(0, 0.2, 5)
    assert (np.diff(shock.cavitation_speed(s)) > 0).all()  # the rod squeezes the gas
    # Nitrogen at 1.5 MPa and 293.15 K, isothermally to half its volume: 2.993972 MPa, computed
    # with CoolProp; the ideal gas used here is 0.2 % higher.
    gas = replace(shock.gas, pressure=1.5e6 - ATMOSPHERE, fill_temperature=293.15)
    half = replace(shock, gas=gas).cavitation_speed(0.5 * gas.volume / gas.rod_area)
    real = shock.damper.cavitation_speed(2.993972e6, clicks={"compression": 6, "rebound": 6})
    assert half == pytest.approx(real, rel=0.002)
    # With harder compression it comes sooner, and without gas almost at once.
    assert shock.cavitation_speed(0.1, {"compression": 0}) < shock.cavitation_speed(0.1)
    airless = replace(shock, gas=None)
    assert airless.cavitation_speed(0.1) == shock.damper.cavitation_speed(
        ATMOSPHERE, clicks={"compression": 6, "rebound": 6}
    )
    assert shock.damper.cavitation_speed(50.0, clicks={"compression": 6, "rebound": 6}) == 0.0


def test_the_cavitation_sentence_names_the_worst_moment(unit7):
    shock = unit7.front.shock
    said = shock.cavitation_warning(np.array([1.0, 9.0, 7.0]), np.array([0.05, 0.0508, 0.1]))
    assert "At 2.0 in of compression the shaft moves in at 9.00 m/s" in said
    assert f"{shock.cavitation_speed(0.0508):.2f} m/s" in said
    why = (
        "m/s at which the rebound chamber falls to the oil's vapour pressure: from there it foams "
        "and the damper's force is not what is shown"
    )
    assert why in said
    assert "\n" not in said
    # With compression closed it foams at a speed that is safe mid-range.
    speed = 0.99 * shock.cavitation_speed(0.1)
    assert shock.cavitation_warning(speed, 0.1) == ""
    assert shock.cavitation_warning(speed, 0.1, {"compression": 0}) != ""


def test_a_hot_shock_is_hot_in_oil_and_gas(unit7):
    shock, clicks = unit7.front.shock, {"compression": 6, "rebound": 6}
    hot, speeds = {"temperature": 373.15}, np.array([-0.2, 0.2])
    np.testing.assert_array_equal(
        shock.damper_curve(**hot).y, shock.damper.curve(clicks=clicks, **hot).y
    )
    # Thin oil takes less force through a bleed.
    assert (abs(shock.damper_force(speeds, **hot)) < abs(shock.damper_force(speeds))).all()
    limit = shock.cavitation_speed(0.1, exponent=1.4, **hot)
    pressure = shock.gas.absolute_pressure(0.1, exponent=1.4, **hot)
    drop = shock.damper.force(limit, clicks=clicks, **hot) / shock.damper.area
    assert pressure - drop == pytest.approx(shock.damper.vapour_pressure, abs=1e-3)


# ---------------------------------------------------------------- a dyno table

TABLE = """# made up
clicks (out),velocity (in/s),force (lbf),room
10,20,200,cold
2,-10,-80,
10,10,90,
2,20,320,
2,10,150,
10,-10,-30,
10,-20,-70,
2,-20,-190,
"""


def dyno(text=TABLE):
    return Damper(table=DynoTable.from_csv(text, name="bench.csv"))


IN_S, LBF = 0.0254, 4.4482216152605  # NIST SP 811


def test_a_table_is_what_was_measured():
    damper = dyno()
    assert damper.adjusters == DIRECTIONS
    at = {"compression": 10, "rebound": 2}
    velocity = np.array([-20, -10, -5, 0, 5, 10, 15, 20]) * IN_S
    expected = np.array([-190, -80, -40, 0, 45, 90, 145, 200]) * LBF
    np.testing.assert_allclose(damper.force(velocity, clicks=at), expected, rtol=1e-12, atol=1e-12)
    assert damper.force(10 * IN_S, clicks=at) == pytest.approx(90 * LBF, rel=1e-12)
    assert damper.power(10 * IN_S, clicks=at) == pytest.approx(90 * LBF * 10 * IN_S, rel=1e-12)
    curve = damper.curve(clicks=at)
    np.testing.assert_allclose(curve.x, np.array([-20, -10, 0, 10, 20]) * IN_S, rtol=1e-12)


def test_row_order_does_not_matter():
    head, *rows = TABLE.splitlines()[1:]
    for order in (sorted(rows), sorted(rows, reverse=True)):
        other = dyno("\n".join([head, *order]))
        clicks = {"compression": 5, "rebound": 3}
        np.testing.assert_array_equal(other.curve(clicks=clicks).y, dyno().curve(clicks=clicks).y)
    swapped = "\n".join(
        ",".join([b, a, c]) for a, b, c, *_ in (line.split(",") for line in [head, *rows])
    )
    assert dyno(swapped).force(0.2, clicks=clicks) == dyno().force(0.2, clicks=clicks)


def test_missing_clicks_lie_between_their_neighbours():
    damper = dyno()
    for click in range(2, 11):
        share = (click - 2) / 8
        at = {"compression": click, "rebound": click}
        inward, outward = damper.force(np.array([10, -20]) * IN_S, clicks=at)
        assert inward == pytest.approx((150 - share * 60) * LBF, rel=1e-12)
        assert outward == pytest.approx(-(190 - share * 120) * LBF, rel=1e-12)
    # A neighbour measured less far ends what lies between.
    short = dyno(TABLE.replace("10,20,200,cold\n", ""))
    assert short.curve(clicks={"compression": 5, "rebound": 5}).x[-1] == pytest.approx(10 * IN_S)
    assert short.curve(clicks={"compression": 2, "rebound": 5}).x[-1] == pytest.approx(20 * IN_S)


def test_a_batch_of_table_curves_is_a_loop():
    short = dyno(TABLE.replace("10,20,200,cold\n", ""))
    clicks = {"compression": np.array([2, 6, 10]), "rebound": np.array([10, 3, 2])}
    batch = short.curve(clicks=clicks)
    velocity = np.array([-0.5, -0.2, -0.1, 0.0, 0.1, 0.25])
    for i in range(3):
        at = {name: value[i] for name, value in clicks.items()}
        np.testing.assert_array_equal(batch.pick(i)(velocity), short.curve(clicks=at)(velocity))
        np.testing.assert_array_equal(
            short.force(velocity[:, None], clicks=clicks)[:, i], short.force(velocity, clicks=at)
        )
        # A run that goes past it finds the last slope carried on, both ways.
        lone = short.curve(clicks=at)
        for end, inside in ((0, 1), (-1, -2)):
            step = lone.x[end] - lone.x[inside]
            rise = lone.y[end] - lone.y[inside]
            for curve in (lone, batch.pick(i)):
                assert curve(lone.x[end] + step) == pytest.approx(lone.y[end] + rise)


@pytest.mark.parametrize(
    ("how", "words"),
    [
        (
            {"clicks": {"compression": 11, "rebound": 5}},
            "compression clicks is 11 out; expected 2 to 10, which is what bench.csv measured",
        ),
        ({"clicks": {"compression": 5, "rebound": 1}}, "rebound clicks is 1 out; expected 2 to 10"),
        ({"velocity": 0.6}, "velocity is 0.6 m/s; expected -0.508 to 0.508 m/s, which is what"),
        ({"velocity": np.array([0.1, -0.6])}, "velocity is -0.6 m/s; expected -0.508 to 0.508"),
        ({"temperature": 350.0}, "temperature is 350.0; expected none: bench.csv holds at"),
    ],
)
def test_a_table_is_never_extrapolated(how, words):
    with pytest.raises(ValueError) as caught:
        dyno().force(**{"velocity": 0.1, "clicks": {"compression": 5, "rebound": 5}} | how)
    assert words in str(caught.value)


def test_the_ends_of_a_table_belong_to_it():
    at = {"compression": 10, "rebound": 2}
    damper = dyno()
    low, high = damper.curve(clicks=at).x[[0, -1]]
    np.testing.assert_allclose(
        damper.force(np.array([low, high]), clicks=at), np.array([-190, 200]) * LBF, rtol=1e-12
    )
    for beyond in (np.nextafter(low, -1), np.nextafter(high, 1)):
        with pytest.raises(ValueError, match="velocity is"):
            damper.force(beyond, clicks=at)
    with pytest.raises(ValueError, match="up_to is 5; expected none: a table ends where it ends"):
        damper.curve(clicks=at, up_to=5)


def test_when_a_measured_damper_boils():
    sized = replace(dyno(), piston_diameter=0.05, rod_diameter=0.022)
    clicks = {"compression": 10, "rebound": 5}
    limit = sized.cavitation_speed(0.5e6, clicks=clicks)
    assert sized.force(limit, clicks=clicks) == pytest.approx((0.5e6 - 100) * sized.area)
    assert sized.cavitation_speed(5e6, clicks=clicks) == np.inf  # not seen on the dyno
    with pytest.raises(ValueError, match="temperature is 350"):
        sized.cavitation_speed(0.5e6, clicks=clicks, temperature=350.0)
    with pytest.raises(ValueError, match="piston_diameter is missing beside bench.csv"):
        dyno().cavitation_speed(1e6, clicks=clicks)


BAD_TABLES = {
    "a missing column": (
        "force (lbf)", "load (lbf)",
        "line 2: column force is missing in 'clicks (out), velocity (in/s), load (lbf), room'; "
        "expected one, such as 'force (lbf)'",
    ),
    "a missing velocity": ("velocity (in/s)", "speed (in/s)", "line 2: column velocity is missing"),
    "a missing click": ("clicks (out)", "position", "line 2: column clicks is missing in"),
    "a column twice": ("room", "force (N)", "line 2: column force is twice in"),
    "no unit": ("velocity (in/s)", "velocity", "'velocity' has no unit; write it like 'vel"),
    "a wrong unit": ("(lbf)", "(in/s)", "'force (in/s)' has the unit 'in/s'; expected one of"),
    "clicks counted in": ("(out)", "(in)", "counts clicks 'in'; expected 'clicks (out)'"),
    "not a number": ("10,10,90", "10,10,ninety", "line 5: force (lbf) is 'ninety'; expected a fin"),
    "nan": ("2,20,320", "2,20,nan", "line 6: force (lbf) is 'nan'; expected a finite number"),
    "nan velocity": ("2,20,320", "2,nan,320", "line 6: velocity (in/s) is 'nan'; expected a"),
    "infinite": ("2,20,320", "2,20,inf", "line 6: force (lbf) is 'inf'; expected a finite number"),
    "an empty cell": ("2,20,320", "2,20,", "line 6: force (lbf) is ''; expected a finite number"),
    "half a click": ("2,20,320", "2.5,20,320", "line 6: clicks (out) is '2.5'; expected a whole"),
    "a negative click": ("2,20,320", "-2,20,320", "line 6: clicks (out) is '-2'; expected a whole"),
    "a row twice": (
        "2,20,320", "2,10,320",
        "line 7: velocity (in/s) is '10' at click 2 again, as in line 6; expected each once",
    ),
    "a force that falls": (
        "2,20,320", "2,20,140",
        "line 6: force (lbf) at click 2 is smaller than in line 7, at a lower speed",
    ),
    "a wrong sign": (
        "2,20,320", "2,20,-320",
        "line 6: force (lbf) is '-320' at velocity 20; expected the sign of the velocity",
    ),
    "a force at rest": ("2,20,320", "2,0,12", "line 6: force (lbf) is '12' at velocity 0; ex"),
    "a cell too few": ("2,20,320,", "2,20", "line 6: has 2 cells; expected 4, as in the heading"),
    "one click only": (
        "2,20,320,\n2,10,150,\n", "",
        "bench.csv: column clicks (out) has only click 10 with a velocity above zero; expected "
        "compression at two clicks or more",
    ),
    "no rebound": (
        "velocity (in/s)", "velocity (in/s)",
        "column clicks (out) has no row with a velocity below zero; expected rebound at two clicks",
    ),
    "an open quote": ('2,20,320,', '"2,20,320,', "not a CSV file"),
    "nothing": (TABLE, "# only this\n\n", "bench.csv: the file is empty; expected a heading row"),
}  # fmt: skip


@pytest.mark.parametrize(("old", "new", "words"), BAD_TABLES.values(), ids=BAD_TABLES)
def test_a_wrong_table_is_one_sentence(old, new, words):
    assert old in TABLE
    text = TABLE.replace(old, new, 1)
    if "no row" in words:
        text = "\n".join(line for line in text.splitlines() if ",-" not in line)
    with pytest.raises(ValueError) as caught:
        dyno(text)
    said = str(caught.value)
    assert words in said
    assert said.startswith("bench.csv")
    assert "\n" not in said


# ---------------------------------------------------------------- in a vehicle file


def test_unit_7_and_its_invented_dyno_table_agree(unit7):
    assert "INVENTED" in DYNO.read_text().splitlines()[0]
    inside, measured = unit7.front.shock.damper, Damper(table=load_dyno(DYNO))
    velocity = np.array([-200, -80, -20, -8, -1, 0, 2, 12, 40, 120]) * IN_S
    for click in (0, 3, 6, 9, 12):
        clicks = {"compression": click, "rebound": click}
        np.testing.assert_allclose(
            measured.force(velocity, clicks=clicks), inside.force(velocity, clicks=clicks),
            atol=0.051 * LBF,  # it is written to a tenth
        )  # fmt: skip
    # Between the clicks measured it is near.
    near = measured.force(1.0, clicks={"compression": 5, "rebound": 5})
    assert near == pytest.approx(
        inside.force(1.0, clicks={"compression": 5, "rebound": 5}), rel=0.02
    )


def with_table(folder, table='"unit7-front-dyno.csv"', csv=None):
    path = write_bad(folder, "name =", "name =")
    text = path.read_text()
    start = text.index("[front.shock.damper]")
    stop = text.index("# -- rear axle")
    path.write_text(text[:start] + f"[front.shock.damper]\ntable = {table}\n\n" + text[stop:])
    if csv is not None:
        (folder / "unit7-front-dyno.csv").write_text(csv)
    return path


def test_a_vehicle_file_may_name_a_table_beside_it(tmp_path, unit7):
    path = with_table(tmp_path)
    vehicle = sk.load_vehicle(path)
    assert vehicle.front.shock.damper_force(20 * IN_S) == pytest.approx(
        unit7.front.shock.damper_force(20 * IN_S), abs=0.051 * LBF
    )
    # What is in the table is part of what the vehicle is.
    before = vehicle.digest
    csv = DYNO.read_text()
    again = with_table(tmp_path, csv=csv + "# a remark\n")
    assert sk.load_vehicle(again).digest != before


@pytest.mark.parametrize(
    ("table", "csv", "words"),
    [
        ('"none.csv"', None, "none.csv: cannot be read"),
        ("3", None, "front.shock.damper.table is 3; expected the name of a CSV file"),
        ("{ compression = 1 }", None, "front.shock.damper.table is {'compression': 1}; expected"),
        (
            '"unit7-front-dyno.csv"', "click,velocity (m/s),force (N)\n1,1,nan\n",
            "unit7-front-dyno.csv line 2: force (N) is 'nan'; expected a finite number",
        ),
        (
            '"unit7-front-dyno.csv"\nvalving = { oil = 3 }', None,
            "front.shock.damper.valving.oil is 3; expected a table of fields",
        ),
    ],
)  # fmt: skip
def test_a_table_that_cannot_be_used_is_one_sentence(tmp_path, table, csv, words):
    with pytest.raises(sk.VehicleFileError) as caught:
        sk.load_vehicle(with_table(tmp_path, table, csv))
    assert words in str(caught.value)
    assert "\n" not in str(caught.value)
    assert str(tmp_path) in str(caught.value)


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('piston_diameter = "2 in"\n', "", "front.shock.damper.piston_diameter is None and"),
        (
            'piston_diameter = "2 in"\nrod_diameter = "7/8 in"',
            'piston_diameter = "2 in"\nrod_diameter = "1 in"',
            "damper.rod_diameter is 0.0254 m; expected 0.022225 m, as gas.rod_diameter",
        ),
        ('seat = "8 mm"', 'seat = "8 psi"', "front.shock.damper.valving.compression.bleed.seat is"),
        (
            'half_angle = "20 deg"',
            'half_angle = "120 deg"',
            "half_angle is '120 deg', which is too",
        ),
        (
            'viscosity_40 = "16 cSt"',
            'viscosity_40 = "16 mm"',
            "valving.oil.viscosity_40 is '16 mm'",
        ),
        (
            'viscosity_40 = "16 cSt"',
            'viscosity_40 = "3 cSt"',
            "viscosity_100 is 3.9 cSt; expected l",
        ),
        (
            'full_after = "90 psi"',
            'full_after = "0 psi"',
            "full_after is 0 Pa; expected above zero",
        ),
        ("rebound = { count", "rebond = { count", "front.shock.clickers has no 'rebound'"),
        ("[front.shock.damper.valving]", "[front.shock.damper.valvin]", "did you mean valving?"),
    ],
)
def test_a_damper_that_cannot_be_is_one_sentence(tmp_path, old, new, words):
    with pytest.raises(sk.VehicleFileError) as caught:
        sk.load_vehicle(write_bad(tmp_path, old, new))
    said = str(caught.value)
    assert words in said
    assert "\n" not in said
    assert "pydantic" not in said


def test_what_the_file_says_is_what_the_damper_has(unit7):
    damper = unit7.front.shock.damper
    assert damper.piston_diameter == pytest.approx(2 * 0.0254, rel=1e-12)
    assert damper.valving.oil.viscosity_40 == pytest.approx(16e-6, rel=1e-12)
    assert damper.valving.compression.valve.opens_at == pytest.approx(55 * 6894.757, rel=1e-6)
    assert damper.valving.rebound.bleed.half_angle == pytest.approx(np.radians(20), rel=1e-12)
    assert damper.valving.rebound.valve.area == pytest.approx(160e-6, rel=1e-12)


def test_nothing_warns(unit7):
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        for axle in (unit7.front, unit7.rear):
            for clicks in (0, 12):
                at = {"compression": clicks, "rebound": clicks}
                axle.shock.damper_curve(at)
                axle.shock.damper_force(np.linspace(-30, 30, 101), at)


def test_the_table_ships_beside_the_vehicle():
    assert (Path(sk.vehicle.file.data_folder()) / DYNO.name).is_file()
