"""Linkage: geometry against closed forms and an independent solver, tables against invented truth.

All vehicles here are invented. Outside values are closed forms written out in the test (computed),
or named with their source beside the number.
"""

import subprocess
import sys
from dataclasses import FrozenInstanceError, replace

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.optimize import fsolve

from suspkit.parts.linkage import Linkage, kernel_tables

INCH = 0.0254
SIXTEENTH = INCH / 16

TRAILING = {
    "pivot": (0.0, 0.0),
    "wheel_center": (-0.72, -0.20),
    "shock_on_arm": (-0.50, -0.09),
    "shock_body": (-0.30, 0.52),
    "travel_max": 0.40,
}
WISHBONE = {
    "lower_pivot": (0.25, 0.30),
    "lower_ball": (0.70, 0.12),
    "upper_pivot": (0.30, 0.48),
    "upper_ball": (0.67, 0.33),
    "wheel_center": (0.78, 0.22),
    "shock_on_arm": (0.55, 0.20),
    "shock_body": (0.36, 0.75),
    "travel_max": 0.33,
}
MIRRORED = {
    name: (-value[0], value[1]) if isinstance(value, tuple) else value
    for name, value in WISHBONE.items()
}
LEADING = {
    name: (-value[0], value[1]) if isinstance(value, tuple) else value
    for name, value in TRAILING.items()
}


def exact_table():
    """Twelve exact rows of a linkage whose motion ratio rises in a straight line, 0.55 to 0.75."""
    travel = INCH * np.array([0, 1, 2.5, 3.5, 5, 6, 7.5, 9, 10, 11.5, 13, 14])
    ratio_end = travel * 0.20 / travel[-1]
    return travel, 0.60 - travel * (0.55 + ratio_end / 2)


def fitted():
    travel, eye_to_eye = exact_table()
    reading = np.round(eye_to_eye / SIXTEENTH) * SIXTEENTH
    return Linkage.from_table(travel, reading, extended_length=0.60)


LINKAGES = {
    "table": fitted,
    "trailing arm": lambda: Linkage.from_trailing_arm(**TRAILING),
    "leading arm": lambda: Linkage.from_trailing_arm(**LEADING),
    "double wishbone": lambda: Linkage.from_double_wishbone(**WISHBONE),
    "double wishbone, right side": lambda: Linkage.from_double_wishbone(**MIRRORED),
    "function": lambda: Linkage.from_function(lambda z: 0.6 * z + 0.3 * z**2, travel_max=0.35),
    "not from zero": lambda: replace(fitted(), travel_start=-0.05),
}


@pytest.fixture(params=LINKAGES, ids=str)
def linkage(request):
    return LINKAGES[request.param]()


# ------------------------------------------------------------------- what always holds


def test_shock_shortens_in_bump_and_the_ratio_is_positive(linkage):
    z = np.linspace(linkage.travel_start - 0.05, linkage.travel_max + 0.05, 3001)
    assert np.all(np.diff(linkage.compression(z)) > 0.0)
    assert np.all(linkage.motion_ratio(z) > 0.0)


def test_ratio_and_its_slope_are_the_derivatives(linkage):
    # Stay clear of the ends, where the slope of the ratio steps to zero.
    z, h = np.linspace(linkage.travel_start + 0.001, linkage.travel_max - 0.001, 501), 1e-5
    numeric = (linkage.compression(z + h) - linkage.compression(z - h)) / (2 * h)
    np.testing.assert_allclose(linkage.motion_ratio(z), numeric, atol=1e-8)
    numeric = (linkage.motion_ratio(z + h) - linkage.motion_ratio(z - h)) / (2 * h)
    np.testing.assert_allclose(linkage.motion_ratio_slope(z), numeric, atol=5e-4)


def test_cells_join_in_value_slope_and_curvature(linkage):
    left, right, h = linkage.coefficients[:-1], linkage.coefficients[1:], linkage.travel_step
    value = left @ [1, h, h**2, h**3]
    slope = left @ [0, 1, 2 * h, 3 * h**2]
    curvature = left @ [0, 0, 2, 6 * h]
    np.testing.assert_allclose(value, right[:, 0], atol=1e-14)
    np.testing.assert_allclose(slope, right[:, 1], atol=1e-12)
    np.testing.assert_allclose(curvature, 2 * right[:, 2], atol=1e-8)


def test_values_do_not_jump_at_any_knot(linkage):
    knots = linkage.travel_start + linkage.travel_step * np.arange(len(linkage.coefficients) + 1)
    assert knots[-1] == linkage.travel_max
    for side in (-np.inf, np.inf):
        near = np.nextafter(knots, side)
        np.testing.assert_allclose(
            linkage.compression(near), linkage.compression(knots), rtol=0, atol=1e-15
        )
        np.testing.assert_allclose(
            linkage.motion_ratio(near), linkage.motion_ratio(knots), rtol=0, atol=1e-13
        )
    inner = knots[1:-1]
    np.testing.assert_allclose(
        linkage.motion_ratio_slope(np.nextafter(inner, -np.inf)),
        linkage.motion_ratio_slope(inner),
        atol=1e-8,
    )


def test_goes_on_straight_outside(linkage):
    start, end = linkage.travel_start, linkage.travel_max
    for edge, outward in ((start, -np.inf), (end, np.inf)):
        inside, outside = np.nextafter(edge, -outward), np.nextafter(edge, outward)
        # On the end knot and just inside: the slope from inside. Just outside: none.
        on = linkage.motion_ratio_slope(edge)
        assert on == pytest.approx(linkage.motion_ratio_slope(inside), abs=1e-9)
        assert linkage.motion_ratio_slope(outside) == 0.0
        far = edge + np.sign(outward) * 0.1
        assert linkage.motion_ratio(far) == linkage.motion_ratio(edge)
        assert linkage.compression(far) - linkage.compression(edge) == pytest.approx(
            linkage.motion_ratio(edge) * (far - edge), rel=1e-12
        )
    # The inside slope is a real one, so that the zero outside is seen to be a step.
    assert abs(linkage.motion_ratio_slope(end)) > 1e-2


def test_travel_inverts_compression(linkage):
    knots = linkage.travel_start + linkage.travel_step * np.arange(len(linkage.coefficients) + 1)
    z = np.concatenate(
        [
            np.linspace(linkage.travel_start - 0.1, linkage.travel_max + 0.1, 997),
            knots,
            np.nextafter(knots, -np.inf),
            np.nextafter(knots, np.inf),
        ]
    )
    np.testing.assert_allclose(linkage.travel(linkage.compression(z)), z, rtol=0, atol=1e-12)


def test_inverse_holds_where_the_ratio_nearly_vanishes():
    # Motion ratio 3e-6 at the droop end, then at mid cell: Newton alone would leave the cell.
    z = np.array([0.0, 1e-3, 0.03, 0.45, 0.499, 0.5, 0.51, 0.55, 0.97, 1.0])
    for c in ([0.0, 3e-6, 0.0, 0.3], [0.0, 0.75 + 3e-6, -1.5, 1.0]):
        flat = Linkage(travel_step=1.0, coefficients=[c])
        # Looser than elsewhere: one rounding of the compression, 1e-17 m, moves travel so far.
        np.testing.assert_allclose(flat.travel(flat.compression(z)), z, rtol=0, atol=1e-10)


def test_takes_any_shape_and_keeps_nan(linkage):
    z = np.linspace(linkage.travel_start - 0.02, linkage.travel_max + 0.02, 24).reshape(2, 3, 4)
    calls = {
        "compression": linkage.compression,
        "motion_ratio": linkage.motion_ratio,
        "motion_ratio_slope": linkage.motion_ratio_slope,
        "travel": linkage.travel,
        "force": lambda z: linkage.wheel_force(z, force=1000.0),
        "rate": lambda z: linkage.wheel_rate(z, force=1000.0, rate=20e3),
    }
    for name, call in calls.items():
        block = call(z)
        assert block.shape == z.shape, name
        single = call(float(z[1, 2, 3]))
        assert np.ndim(single) == 0 and isinstance(single, float), name
        assert single == block[1, 2, 3], name
        assert np.isnan(call(np.nan)), name
        assert call(np.array([])).shape == (0,), name


# ------------------------------------------------------------------------ virtual work


def test_work_at_the_wheel_is_work_at_the_shock(linkage):
    def shock_force(s):
        return 800.0 + 35e3 * s + 4e5 * s**3

    start, end = linkage.travel_start, linkage.travel_max
    knots = start + linkage.travel_step * np.arange(1, len(linkage.coefficients))
    at_wheel, _ = quad(
        lambda z: linkage.wheel_force(z, force=shock_force(linkage.compression(z))),
        start, end, points=knots, limit=500, epsabs=1e-9,
    )  # fmt: skip
    s0, s1 = linkage.compression(start), linkage.compression(end)
    at_shock = 800.0 * (s1 - s0) + 35e3 / 2 * (s1**2 - s0**2) + 1e5 * (s1**4 - s0**4)
    assert at_wheel == pytest.approx(at_shock, rel=1e-10)


def test_wheel_rate_is_the_slope_of_wheel_force(linkage):
    stiffness, preload = 35e3, 1500.0

    def wheel_force(z):
        return linkage.wheel_force(z, force=preload + stiffness * linkage.compression(z))

    h = 1e-6
    z = np.linspace(linkage.travel_start + 0.001, linkage.travel_max - 0.001, 201)
    numeric = (wheel_force(z + h) - wheel_force(z - h)) / (2 * h)
    force = preload + stiffness * linkage.compression(z)
    given = linkage.wheel_rate(z, force=force, rate=stiffness)
    np.testing.assert_allclose(given, numeric, rtol=1e-4)
    # The force term matters: leaving it out would fail the line above.
    assert np.max(np.abs(given - stiffness * linkage.motion_ratio(z) ** 2)) > 0.01 * given.max()


# ------------------------------------------------------------------ trailing arm, closed form


def law_of_cosines(z, pivot, wheel_center, shock_on_arm, shock_body):
    """Shock length and motion ratio from triangle sides only (computed; no rotation of points)."""
    pivot, wheel, eye, body = map(np.asarray, (pivot, wheel_center, shock_on_arm, shock_body))
    arm, a, b = (np.hypot(*(p - pivot)) for p in (wheel, eye, body))
    drop = pivot[1] - wheel[1]
    # Angle of the arm below horizontal shrinks in bump; so does the corner eye-pivot-body.
    swing = np.arcsin(drop / arm) - np.arcsin((drop - z) / arm)
    corner_0 = np.arccos((a**2 + b**2 - np.sum((eye - body) ** 2)) / (2 * a * b))
    corner = corner_0 - swing
    length = np.sqrt(a**2 + b**2 - 2 * a * b * np.cos(corner))
    ratio = a * b * np.sin(corner) / length / np.sqrt(arm**2 - (drop - z) ** 2)
    return length, ratio


@pytest.mark.parametrize("points", [TRAILING, LEADING], ids=["trailing", "leading"])
def test_trailing_arm_is_the_law_of_cosines(points):
    linkage = Linkage.from_trailing_arm(**points)
    shape = {name: value for name, value in points.items() if name != "travel_max"}
    z = np.linspace(0.0, points["travel_max"], 333)
    length, ratio = law_of_cosines(z, **shape)
    np.testing.assert_allclose(linkage.compression(z), length[0] - length, rtol=0, atol=1e-9)
    np.testing.assert_allclose(linkage.motion_ratio(z), ratio, rtol=1e-6)
    h = 1e-5
    inner = z[5:-5]
    slope = (law_of_cosines(inner + h, **shape)[1] - law_of_cosines(inner - h, **shape)[1]) / 2 / h
    np.testing.assert_allclose(linkage.motion_ratio_slope(inner), slope, atol=2e-3)


@pytest.mark.parametrize("lean", [90.0, 75.0, 60.0, 110.0])
def test_level_arm_has_the_textbook_motion_ratio(lean):
    # A level arm, shock at d1 and wheel at d2 from the pivot, shock at an angle to the arm:
    # MR = (d1/d2) * sin(angle).  Milliken & Milliken, Race Car Vehicle Dynamics, ch. 16
    # (from memory).
    d1, d2, half = 0.45, 0.70, 0.15
    toward_pivot = np.radians(lean)
    level_eye = np.array([-d1, 0.0])
    body = level_eye + 0.55 * np.array([np.cos(toward_pivot), np.sin(toward_pivot)])
    droop = -np.arcsin(half / d2)
    back = np.array([-np.cos(droop), np.sin(droop)])
    linkage = Linkage.from_trailing_arm(
        pivot=(0.0, 0.0),
        wheel_center=tuple(d2 * back),
        shock_on_arm=tuple(d1 * back),
        shock_body=tuple(body),
        travel_max=2 * half,
    )
    assert linkage.motion_ratio(half) == pytest.approx(d1 / d2 * np.sin(toward_pivot), rel=1e-6)


def test_droop_compression_only_shifts_the_curve():
    plain = Linkage.from_trailing_arm(**TRAILING)
    strapped = Linkage.from_trailing_arm(**TRAILING, droop_compression=0.02)
    z = np.linspace(0, 0.4, 50)
    assert plain.compression(0.0) == pytest.approx(0.0, abs=1e-12)
    np.testing.assert_allclose(strapped.compression(z), plain.compression(z) + 0.02, atol=1e-12)
    np.testing.assert_allclose(strapped.motion_ratio(z), plain.motion_ratio(z), atol=1e-9)


# --------------------------------------------------------------------------- double wishbone


@pytest.mark.parametrize("arm", ["lower", "upper"])
def test_parallel_equal_arms_carry_the_upright_without_turning_it(arm):
    # Then every point of the upright moves as the ball joint does, and the shock's eye on a
    # circle: the trailing arm's closed form, with the arm's length and drop.
    lower_pivot, swing = np.array([0.25, 0.30]), np.array([0.45, -0.15])
    up = np.array([0.03, 0.22])
    base = lower_pivot if arm == "lower" else lower_pivot + up
    eye, body = base + 0.7 * swing + [0.0, 0.03], np.array([0.40, 0.95])
    linkage = Linkage.from_double_wishbone(
        lower_pivot=lower_pivot,
        lower_ball=lower_pivot + swing,
        upper_pivot=lower_pivot + up,
        upper_ball=lower_pivot + up + swing,
        wheel_center=lower_pivot + swing + [0.09, 0.10],
        shock_on_arm=eye,
        shock_body=body,
        arm=arm,
        travel_max=0.30,
    )
    z = np.linspace(0.0, 0.30, 200)
    length, ratio = law_of_cosines(z, base, base + swing, eye, body)
    np.testing.assert_allclose(linkage.compression(z), length[0] - length, rtol=0, atol=1e-9)
    np.testing.assert_allclose(linkage.motion_ratio(z), ratio, rtol=1e-6)


def shock_length_by_constraints(z, arm, points):
    """Shock length at each travel from distance constraints alone, by a general root finder."""
    p = {name: np.array(v) for name, v in points.items() if name != "travel_max"}
    pivot, ball = p[f"{arm}_pivot"], p[f"{arm}_ball"]
    rods = [  # moving points: 0 lower ball, 1 upper ball, 2 wheel centre, 3 shock eye
        (0, p["lower_pivot"]), (1, p["upper_pivot"]), (0, 1), (0, 2), (1, 2),
        (3, pivot), (3, 0 if arm == "lower" else 1),
    ]  # fmt: skip
    droop = np.array([p["lower_ball"], p["upper_ball"], p["wheel_center"], p["shock_on_arm"]])
    assert np.hypot(*(ball - pivot)) > 0

    def lengths(q):
        return np.array(
            [np.sum((q[i] - (q[j] if isinstance(j, int) else j)) ** 2) for i, j in rods]
        )

    target, out, q = lengths(droop), [], droop.ravel()
    for height in z:
        wanted = droop[2, 1] + height

        def residual(q, wanted=wanted):
            q = q.reshape(4, 2)
            return np.r_[lengths(q) - target, q[2, 1] - wanted]

        q, _, done, message = fsolve(residual, q, xtol=1e-14, full_output=True)
        assert np.abs(residual(q)).max() < 1e-13, message
        out.append(np.hypot(*(q.reshape(4, 2)[3] - p["shock_body"])))
    return np.array(out)


@pytest.mark.parametrize(
    ("arm", "change"),
    [
        ("lower", {}),
        ("lower", {"upper_pivot": (0.33, 0.46), "shock_body": (0.42, 0.70)}),
        ("upper", {"shock_on_arm": (0.55, 0.42), "shock_body": (0.40, 0.95)}),
    ],
    ids=["plain", "short upper arm", "shock on upper arm"],
)
@pytest.mark.parametrize("side", [1, -1], ids=["left", "right"])
def test_double_wishbone_against_constraint_solver(arm, change, side):
    points = {
        name: (side * value[0], value[1]) if isinstance(value, tuple) else value
        for name, value in {**WISHBONE, **change}.items()
    }
    linkage = Linkage.from_double_wishbone(**points, arm=arm)
    z = np.linspace(0.0, points["travel_max"], 67)
    length = shock_length_by_constraints(z, arm, points)
    np.testing.assert_allclose(linkage.compression(z), length[0] - length, rtol=1e-8, atol=1e-10)
    # Motion ratio against central differences of the other solver's lengths.
    h = 1e-4
    ahead = shock_length_by_constraints(z[1:-1] + h, arm, points)
    behind = shock_length_by_constraints(z[1:-1] - h, arm, points)
    np.testing.assert_allclose(linkage.motion_ratio(z[1:-1]), (behind - ahead) / (2 * h), rtol=1e-6)


# --------------------------------------------------------------------------------- tables

# Invented truths over travel as a fraction x: motion ratio and its exact integral.
TRUTHS = {
    "level": (lambda x: 0.65 + 0 * x, lambda x: 0.65 * x),
    "rising": (lambda x: 0.55 + 0.2 * x, lambda x: 0.55 * x + 0.1 * x**2),
    "falling": (lambda x: 0.75 - 0.2 * x, lambda x: 0.75 * x - 0.1 * x**2),
    "rising, bowed": (
        lambda x: 0.6 + 0.15 * x - 0.15 * x**2,
        lambda x: 0.6 * x + 0.075 * x**2 - 0.05 * x**3,
    ),
}


def readings(truth, seed, rows=(8, 15)):
    """Invented tape work: unequal steps, both columns read to the nearest sixteenth."""
    rng = np.random.default_rng(seed)
    steps = rng.uniform(0.5, 1.5, rng.integers(*rows) - 1)
    travel_max = rng.uniform(10, 18) * INCH
    x = np.r_[0.0, np.cumsum(steps)] / steps.sum()
    tape = np.round(np.array([x * travel_max, 0.60 - truth(x) * travel_max]) / SIXTEENTH)
    travel, eye_to_eye = tape * SIXTEENTH
    return travel, eye_to_eye, travel_max


@pytest.mark.parametrize("name", TRUTHS)
def test_table_recovers_the_motion_ratio_through_tape_rounding(name):
    ratio, truth = TRUTHS[name]
    worst, rms = [], []
    for seed in range(60):
        travel, eye_to_eye, travel_max = readings(truth, seed)
        linkage = Linkage.from_table(travel, eye_to_eye, extended_length=0.60)
        x = np.linspace(0, 1, 101)
        error = linkage.motion_ratio(x * travel_max) - ratio(x)
        worst.append(np.abs(error).max())
        rms.append(np.sqrt(np.mean(error**2)))
        np.testing.assert_allclose(
            linkage.compression(x * travel_max), truth(x) * travel_max, atol=2 * SIXTEENTH
        )
    # Measured with 500 seeds a truth, largest error anywhere along the travel: median 0.008 to
    # 0.015, 95 in 100 tables within 0.027, worst table 0.039; rms along the travel within 0.015.
    assert np.median(worst) < 0.018
    assert np.quantile(worst, 0.95) < 0.03
    assert max(worst) < 0.04
    assert max(rms) < 0.016


@pytest.mark.parametrize("name", TRUTHS)
def test_plain_differences_of_readings_are_far_worse(name):
    # Why there is a fit at all: the same readings, differenced row to row.
    ratio, truth = TRUTHS[name]
    for seed in range(10):
        travel, eye_to_eye, travel_max = readings(truth, seed, rows=(12, 15))
        linkage = Linkage.from_table(travel, eye_to_eye, extended_length=0.60)
        middle = (travel[1:] + travel[:-1]) / 2
        raw = -np.diff(eye_to_eye) / np.diff(travel) - ratio(middle / travel_max)
        fit = linkage.motion_ratio(middle) - ratio(middle / travel_max)
        assert np.sqrt(np.mean(fit**2)) < 0.6 * np.sqrt(np.mean(raw**2))


@pytest.mark.parametrize("seed", range(40))
def test_table_stays_increasing_on_rough_readings(seed):
    # Steps of the shock from a sixteenth to two inches at random, fitted as if exact: the worst
    # that the input checks let through.
    rng = np.random.default_rng(seed)
    travel = np.r_[0.0, np.cumsum(rng.uniform(0.2, 2.0, 11))] * INCH
    eye_to_eye = 0.6 - np.r_[0.0, np.cumsum(rng.choice([1 / 16, 2.0], 11))] * INCH
    linkage = Linkage.from_table(travel, eye_to_eye, extended_length=0.6, noise=0.0)
    ratio = linkage.motion_ratio(np.linspace(0, linkage.travel_max, 2001))
    assert ratio.min() >= 0.02 - 1e-9


def test_exact_readings_are_followed():
    travel, eye_to_eye = exact_table()
    linkage = Linkage.from_table(travel, eye_to_eye, extended_length=0.60, noise=0.0)
    np.testing.assert_allclose(linkage.compression(travel), 0.60 - eye_to_eye, atol=1e-8)
    # The motion ratio is a straight line, which costs no penalty: so with noise too.
    for noise in (0.0, SIXTEENTH):
        linkage = Linkage.from_table(travel, eye_to_eye, extended_length=0.60, noise=noise)
        x = np.linspace(0, 1, 50)
        np.testing.assert_allclose(linkage.motion_ratio(x * travel[-1]), 0.55 + 0.20 * x, atol=1e-6)


def test_exact_readings_of_a_real_curve_are_followed():
    true = Linkage.from_trailing_arm(**TRAILING)
    travel = np.linspace(0, 0.4, 14) + 0.004 * np.sin(np.arange(14.0)) * np.r_[0, np.ones(13)]
    linkage = Linkage.from_table(
        travel, 0.7 - true.compression(travel), extended_length=0.7, noise=0.0
    )
    z = np.linspace(0, travel[-1], 200)
    np.testing.assert_allclose(linkage.compression(travel), true.compression(travel), atol=1e-6)
    np.testing.assert_allclose(linkage.motion_ratio(z), true.motion_ratio(z), atol=2e-3)


def test_four_rows_are_enough_and_the_fit_repeats_exactly():
    travel, eye_to_eye = [0.0, 0.1, 0.2, 0.3], [0.6, 0.54, 0.475, 0.41]
    first = Linkage.from_table(travel, eye_to_eye, extended_length=0.6)
    again = Linkage.from_table(travel, eye_to_eye, extended_length=0.6)
    assert first == again and hash(first) == hash(again)
    assert first.travel_max == pytest.approx(0.3, abs=1e-15)
    assert first.motion_ratio(0.15) == pytest.approx(0.64, abs=0.02)


def test_eye_to_eye_a_hair_over_the_extended_length_is_only_noise():
    travel, eye_to_eye = exact_table()
    linkage = Linkage.from_table(travel, eye_to_eye, extended_length=0.60 - 0.9 * SIXTEENTH)
    assert linkage.compression(0.0) == pytest.approx(-0.9 * SIXTEENTH, abs=1e-6)


def table_with(**changes):
    travel, eye_to_eye = exact_table()
    arguments = {"travel": travel, "eye_to_eye": eye_to_eye, "extended_length": 0.60}
    for name, change in changes.items():
        if isinstance(change, dict):
            column = arguments[name].copy()
            for row, value in change.items():
                column[row - 1] = value
            arguments[name] = column
        else:
            arguments[name] = change
    return arguments


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"travel": [0, 0.1, 0.2], "eye_to_eye": [0.6, 0.5, 0.4]}, "at least 4 rows; got 3"),
        ({"travel": [0, 0.1, 0.2, 0.3]}, r"same length; got shapes \(4,\) and \(12,\)"),
        ({"travel": {4: np.nan}}, "travel must be a number in row 4; got nan"),
        ({"eye_to_eye": {12: np.inf}}, "eye_to_eye must be a number in row 12; got inf"),
        ({"travel": {1: 0.01}}, "travel must start at 0, the droop end; got 0.01"),
        ({"travel": {5: exact_table()[0][3]}}, "travel must rise .* in row 5"),
        ({"eye_to_eye": {7: exact_table()[1][5]}}, "shorten from row to row; .*measure row 7"),
        ({"eye_to_eye": {7: exact_table()[1][5] + SIXTEENTH}}, "shorten .*measure row 7"),
        ({"eye_to_eye": {6: exact_table()[1][5] - 0.5 * INCH}}, "off by .*re-measure row 6"),
        ({"extended_length": 0.60 - 1.1 * SIXTEENTH}, "must not exceed extended_length"),
        ({"extended_length": np.nan}, "extended_length must be a positive number"),
        ({"noise": -0.001}, "noise must be 0 or more"),
    ],
)
def test_table_says_what_to_mend(changes, message):
    arguments = table_with(**changes)
    with pytest.raises(ValueError, match=message):
        Linkage.from_table(arguments.pop("travel"), arguments.pop("eye_to_eye"), **arguments)


# ------------------------------------------------------------------------------- refusals


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"travel_max": 1.2}, "within reach .* got 1.2 m where it lifts the wheel by 0.9"),
        ({"travel_max": 0.0}, "travel_max must be a positive number"),
        ({"droop_compression": -0.01}, "droop_compression must be 0 or more"),
        ({"shock_body": (-0.30, -0.80)}, "must shorten all the way up in bump; .* travel 0 m"),
        ({"shock_on_arm": (0.0, 0.0)}, "pivot and shock_on_arm must be apart"),
        ({"wheel_center": (0.0, -0.7)}, "dead centre"),
        ({"pivot": (0.0, np.nan)}, "pivot must be two finite coordinates"),
        ({"pivot": (0.0, 1.0, 2.0)}, "pivot must be two finite coordinates"),
    ],
)
def test_trailing_arm_says_what_is_wrong(changes, message):
    with pytest.raises(ValueError, match=message):
        Linkage.from_trailing_arm(**{**TRAILING, **changes})


def test_shock_going_over_centre_is_named_by_its_travel():
    # The eye swings up past the line from pivot to body near the top: from there it lengthens.
    points = {**TRAILING, "shock_body": (-0.55, 0.12)}
    z = np.linspace(0, 0.4, 100_001)
    length, _ = law_of_cosines(z, *(points[n] for n in list(points)[:4]))
    turns = z[np.argmin(length)]
    assert 0.1 < turns < 0.39
    with pytest.raises(ValueError, match="stops shortening at travel") as caught:
        Linkage.from_trailing_arm(**points)
    named = float(str(caught.value).split("at travel ")[1].split(" m")[0])
    assert named == pytest.approx(turns, abs=0.4 / 64)


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"travel_max": 1.5}, "travel_max must be within reach"),
        ({"arm": "middle"}, "arm must be 'lower' or 'upper'; got 'middle'"),
        ({"upper_ball": (0.50, 0.30)}, "upper_ball must lie off the line"),
        ({"lower_ball": (0.67, 0.33)}, "lower_ball and upper_ball must be apart"),
        ({"shock_body": (0.36, -0.75)}, "must shorten all the way"),
    ],
)
def test_double_wishbone_says_what_is_wrong(changes, message):
    with pytest.raises(ValueError, match=message):
        Linkage.from_double_wishbone(**{**WISHBONE, **changes})


MADE_FROM = {"arm": (Linkage.from_trailing_arm, TRAILING)}
MADE_FROM["wishbone"] = (Linkage.from_double_wishbone, WISHBONE)


@pytest.mark.parametrize("kind", MADE_FROM)
def test_the_point_that_is_no_point_is_named(kind):
    make, points = MADE_FROM[kind]
    for name in [n for n, value in points.items() if np.ndim(value) == 1]:
        with pytest.raises(ValueError, match=f"^{name} must be two finite coordinates"):
            make(**{**points, name: (0.0, np.inf)})


@pytest.mark.parametrize(
    ("kind", "one", "other"),
    [
        ("arm", "pivot", "wheel_center"),
        ("arm", "pivot", "shock_on_arm"),
        ("wishbone", "lower_pivot", "lower_ball"),
        ("wishbone", "upper_pivot", "upper_ball"),
        ("wishbone", "lower_ball", "upper_ball"),
        ("wishbone", "lower_ball", "upper_pivot"),
    ],
)
def test_two_points_in_one_place_are_named(kind, one, other):
    make, points = MADE_FROM[kind]
    with pytest.raises(ValueError, match=f"^{one} and {other} must be apart; got both at "):
        make(**{**points, other: points[one]})


@pytest.mark.parametrize(
    ("function", "message"),
    [
        (lambda z: -0.6 * z, "stops shortening at travel 0 m"),
        (lambda z: 0.6, "one finite number for each travel"),
        (
            lambda z: 0.6 * z + 0.2 * np.maximum(z - 0.1503, 0),
            r"bends too sharply near travel 0\.1[45]",
        ),
    ],
)
def test_function_says_what_is_wrong(function, message):
    with pytest.raises(ValueError, match=message):
        Linkage.from_function(function, travel_max=0.3)


def test_function_needs_a_travel():
    with pytest.raises(ValueError, match="^travel_max must be a positive number"):
        Linkage.from_function(lambda z: 0.6 * z, travel_max=0.0)


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"coefficients": [[0, 1, 0]]}, r"shape \(n, 4\)"),
        ({"coefficients": np.zeros((0, 4))}, r"shape \(n, 4\), one row per cell; got \(0, 4\)"),
        ({"coefficients": [[0, 0, 1, 0]]}, "stay above 0 .*got 0 at travel 0 m"),
        ({"coefficients": [[0, np.nan, 0, 0]]}, "finite"),
        ({"coefficients": [[0, 0.6, 0, 0], [0.07, 0.6, 0, 0]]}, "cells 0 and 1 do not join"),
        ({"coefficients": [[0, 0.6, 0, 0], [0.06, 0.61, 0, 0]]}, "cells 0 and 1 do not join"),
        ({"coefficients": [[0, 0.6, 0, 0], [0.06, 0.6, 0.1, 0]]}, "cells 0 and 1 do not join"),
        ({"coefficients": [[0, -0.6, 0, 0]]}, "stay above 0"),
        # Positive at both ends, but dips below zero at mid cell.
        ({"coefficients": [[0, 0.1, -6.0, 40.0]]}, "got -0.2 at travel 0.05 m"),
        ({"travel_step": 0.0}, "travel_step must be a positive number"),
        ({"travel_start": np.nan}, "travel_start must be a finite number"),
    ],
)
def test_bad_cells_are_refused(changes, message):
    with pytest.raises(ValueError, match=message):
        Linkage(**{"travel_step": 0.1, "coefficients": [[0, 0.6, 0, 0]], **changes})


# ------------------------------------------------------------------------------- manners


def test_side_by_side_a_shorter_linkage_ends_in_zeros():
    short = Linkage(travel_step=0.1, coefficients=[[0, 0.6, 0, 0]])
    long = Linkage.from_function(lambda z: 0.5 * z + 0.1 * z**2, travel_max=0.4, intervals=8)
    steps, cells, coefficients = kernel_tables([short, long])
    np.testing.assert_array_equal(steps, [0.1, 0.05])
    np.testing.assert_array_equal(cells, [1, 8])
    assert coefficients.shape == (2, 8, 4)
    np.testing.assert_array_equal(coefficients[0, :1], short.coefficients)
    np.testing.assert_array_equal(coefficients[0, 1:], 0.0)
    np.testing.assert_array_equal(coefficients[1], long.coefficients)


def test_is_frozen_and_compares_by_value():
    linkage = fitted()
    with pytest.raises(FrozenInstanceError):
        linkage.travel_step = 1.0
    with pytest.raises(ValueError, match="read-only"):
        linkage.coefficients[0, 0] = 1.0
    assert linkage == replace(linkage)
    assert linkage != replace(linkage, travel_start=0.1)
    assert linkage != "linkage"


def test_import_stays_light():
    code = "import sys, suspkit.parts.linkage; print('scipy' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "False"
