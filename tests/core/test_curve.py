"""Curves: piecewise-linear algebra against numpy, scipy and brute force, kinks included.

No outside values here: every expected number is computed in the test by another route.
"""

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.optimize import brentq

from suspkit.core.curve import Curve

STEP = st.floats(1e-2, 10.0)
ENDS = st.one_of(st.just(0.0), st.floats(1e-2, 50.0))


@st.composite
def curves(draw, *, flats=True, ends=ENDS, size=None):
    """A random non-decreasing curve without jumps, from 1 to 6 knots."""
    size = draw(st.integers(1, 6)) if size is None else size
    rise = st.one_of(st.just(0.0), STEP) if flats else STEP
    x = draw(st.floats(-5.0, 5.0)) + np.cumsum([draw(STEP) for _ in range(size)])
    y = draw(st.floats(-5.0, 5.0)) + np.cumsum([draw(rise) for _ in range(size)])
    return Curve(x, y, draw(ends), draw(ends))


def reference(curve, at):
    """Independent value: `numpy.interp` inside, straight lines outside."""
    x, y = curve.x, curve.y
    if at < x[0]:
        return y[0] + float(curve.slope_before) * (at - x[0])
    if at > x[-1]:
        return y[-1] + float(curve.slope_after) * (at - x[-1])
    return np.interp(at, x, y)


def places(curve):
    """Points well left, on and between all knots, one float either side of each, and right."""
    x = curve.x
    return np.concatenate(
        [
            [x[0] - 3.0, x[0] - 0.1],
            x,
            np.nextafter(x, -np.inf),
            np.nextafter(x, np.inf),
            0.5 * (x[1:] + x[:-1]),
            [x[-1] + 0.1, x[-1] + 3.0],
        ]
    )


BENT = Curve([0.0, 1.0, 3.0, 4.0], [0.0, 2.0, 3.0, 8.0], 0.5, 7.0)


# ---------------------------------------------------------------- evaluation


@given(curves())
def test_value_is_that_of_numpy_interp_and_of_lines_outside(curve):
    for at in places(curve):
        assert curve(at) == pytest.approx(reference(curve, at), rel=1e-12, abs=1e-12)


def test_knots_are_returned_exactly():
    rng = np.random.default_rng(0)
    for _ in range(50):
        curve = Curve(np.sort(rng.random(7)), np.sort(rng.random(7)))
        np.testing.assert_array_equal(curve(curve.x), curve.y)


def test_a_scalar_gives_a_scalar_and_an_array_its_shape():
    assert np.ndim(BENT(0.5)) == 0
    assert BENT(np.zeros((2, 3))).shape == (2, 3)
    assert BENT.slope(np.zeros((2, 3))).shape == (2, 3)
    assert BENT.reach(np.zeros((2, 3))).shape == (2, 3)


def test_one_knot_is_a_bend():
    bend = Curve([2.0], [1.0], 3.0, 5.0)
    assert bend(1.0) == -2.0
    assert bend(2.0) == 1.0
    assert bend(4.0) == 11.0


def test_flat_ends_stay_flat_at_infinity():
    flat = Curve([0.0, 1.0], [0.0, 2.0])
    assert flat(np.inf) == 2.0
    assert flat(-np.inf) == 0.0


@pytest.mark.parametrize("knot, before, after", [(0, 0.5, 2.0), (1, 2.0, 0.5), (2, 0.5, 5.0),
                                                 (3, 5.0, 7.0)])  # fmt: skip
def test_slope_on_a_knot_and_one_float_either_side(knot, before, after):
    at = BENT.x[knot]
    below, above = np.nextafter(at, -np.inf), np.nextafter(at, np.inf)
    assert BENT.slope(at, side="left") == before
    assert BENT.slope(at, side="right") == after
    for side in ("left", "right"):
        assert BENT.slope(below, side=side) == before
        assert BENT.slope(above, side=side) == after


@given(curves())
def test_slope_sides_bracket_every_knot_of_a_random_curve(curve):
    segments = [float(curve.slope_before), *(np.diff(curve.y) / np.diff(curve.x)),
                float(curve.slope_after)]  # fmt: skip
    for i, at in enumerate(curve.x):
        assert curve.slope(at, side="left") == segments[i]
        assert curve.slope(at, side="right") == segments[i + 1]
        assert curve.slope(np.nextafter(at, -np.inf)) == segments[i]
        assert curve.slope(np.nextafter(at, np.inf)) == segments[i + 1]


# ---------------------------------------------------------------- hard stops


def test_a_hard_stop_is_finite_on_it_and_infinite_past_it():
    stop = Curve([0.0, 1.0], [0.0, 5.0], 0.0, np.inf)
    assert stop(1.0) == 5.0
    assert stop(np.nextafter(1.0, 2.0)) == np.inf
    assert stop.slope(1.0, side="left") == 5.0
    assert stop.slope(1.0, side="right") == np.inf
    assert stop.integral(0.0, 1.0) == 2.5
    assert stop.integral(0.0, np.nextafter(1.0, 2.0)) == np.inf
    assert stop.reach(1e9) == 1.0


def test_a_jump_takes_its_upper_value_and_has_no_area():
    jump = Curve([0.0, 1.0, 1.0, 2.0], [0.0, 1.0, 3.0, 4.0])
    assert jump(1.0) == 3.0
    assert jump(np.nextafter(1.0, 0.0)) == pytest.approx(1.0)
    assert jump.integral(0.0, 2.0) == pytest.approx(0.5 + 3.5)
    assert jump.reach(2.0) == 1.0


def test_inverse_turns_flats_into_hard_stops_and_back():
    saturating = Curve([0.0, 10.0], [0.0, 0.5], 0.0, 0.0)
    inverse = saturating.inverse()
    assert inverse.slope_before == np.inf
    assert inverse.slope_after == np.inf
    assert inverse(0.25) == 5.0
    again = inverse.inverse()
    assert again.slope_after == 0.0
    assert again(99.0) == 0.5


# ---------------------------------------------------------------- inverse, integral


@given(curves(flats=False, ends=st.floats(1e-2, 50.0)))
def test_inverse_against_a_root_finder(curve):
    inverse = curve.inverse()
    low, high = curve.x[0] - 4.0, curve.x[-1] + 4.0
    for level in np.linspace(curve(low), curve(high), 9)[1:-1]:
        root = brentq(lambda x, level=level: reference(curve, x) - level, low, high, xtol=1e-13)
        assert inverse(level) == pytest.approx(root, rel=1e-9, abs=1e-9)
    at = places(curve)
    np.testing.assert_allclose(inverse(curve(at)), at, rtol=1e-9, atol=1e-9)


@given(curves(), st.floats(-8.0, 30.0), st.floats(-8.0, 30.0))
def test_integral_against_quadrature(curve, start, stop):
    assume(abs(stop - start) > 1e-3)  # the quadrature cannot do less
    kinks = [x for x in curve.x if min(start, stop) < x < max(start, stop)]
    expected = quad(lambda at: reference(curve, at), start, stop, points=kinks or None)[0]
    assert curve.integral(start, stop) == pytest.approx(expected, rel=1e-9, abs=1e-8)


def test_integral_written_out_by_hand():
    # Areas of the four trapezoids of BENT: 1, 5, 5.5 and, past the end, 8 * 0.5 + 7 * 0.125.
    assert BENT.integral(0.0, 4.5) == pytest.approx(1 + 5 + 5.5 + 4.875)
    assert BENT.integral(-1.0, 0.0) == pytest.approx(-0.25)
    assert BENT.integral(4.0, 0.0) == pytest.approx(-11.5)


# ---------------------------------------------------------------- sum and shift


@given(curves(), curves())
def test_sum_is_the_sum_everywhere(a, b):
    total = a + b
    at = np.concatenate([places(a), places(b)])
    np.testing.assert_allclose(total(at), a(at) + b(at), rtol=1e-11, atol=1e-11)
    assert (np.diff(total.x) >= 0).all()
    assert set(total.x) == set(a.x) | set(b.x)


@given(curves(), st.floats(-3.0, 3.0), st.floats(-3.0, 3.0))
def test_shift_moves_right_and_up(curve, dx, dy):
    moved = curve.shift(dx=dx, dy=dy)
    np.testing.assert_array_equal(moved.x, curve.x + dx)
    np.testing.assert_array_equal(moved.y, curve.y + dy)
    at = np.linspace(curve.x[0] - 2.0, curve.x[-1] + 2.0, 23)
    np.testing.assert_allclose(moved(at + dx), curve(at) + dy, rtol=1e-9, atol=1e-9)


def test_shift_by_arrays_makes_a_batch():
    batch = BENT.shift(dx=np.array([0.0, 1.0, 2.5]))
    for i, dx in enumerate((0.0, 1.0, 2.5)):
        at = np.linspace(-2.0, 8.0, 41)
        np.testing.assert_array_equal(batch.pick(i)(at), BENT.shift(dx=dx)(at))


# ---------------------------------------------------------------- clip and reach


def caps_of(curve):
    """Caps below, at and above all knots, between them, and none."""
    y = curve.y
    return [y[0] - 1.0, *y, *(0.5 * (y[1:] + y[:-1])), y[-1] + 1.0, np.inf]


@given(curves())
def test_clip_is_the_lesser_everywhere(curve):
    at = np.concatenate([places(curve), np.linspace(curve.x[0] - 200.0, curve.x[-1] + 200.0, 21)])
    for cap in caps_of(curve):
        clipped = curve.clip_above(cap)
        if curve.slope_before == 0 and cap < curve.y[0]:
            expected = np.full(at.shape, cap)
        else:
            expected = np.minimum(curve(at), cap)
        np.testing.assert_allclose(clipped(at), expected, rtol=1e-9, atol=1e-9)
        assert (np.diff(clipped.x) >= 0).all()


@given(curves())
def test_clip_has_a_knot_exactly_where_the_cap_is_met(curve):
    for cap in caps_of(curve):
        meets = curve.reach(cap)
        if np.isfinite(meets):
            clipped = curve.clip_above(cap)
            assert meets in clipped.x
            assert clipped(meets) == cap
            assert clipped.slope(meets) == 0.0
            assert clipped(np.nextafter(meets, np.inf)) == cap


def test_a_cap_far_above_leaves_the_curve_as_it_is():
    flat_top = Curve([0.0, 1.0], [0.0, 2.0])
    for cap in (np.inf, 2.0 + 1e-9):
        clipped = flat_top.clip_above(cap)
        at = np.linspace(-1.0, 3.0, 17)
        np.testing.assert_array_equal(clipped(at), flat_top(at))
        assert clipped.slope_after == 0.0
    # Not met, so the rising end goes on.
    assert BENT.clip_above(np.inf)(14.0) == BENT(14.0)


@given(curves())
def test_reach_is_the_first_place_at_or_above_the_level(curve):
    for level in caps_of(curve)[:-1]:
        found = curve.reach(level)
        if found == np.inf:
            assert curve.slope_after == 0 and curve.y[-1] < level
        elif found == -np.inf:
            assert curve.slope_before == 0 and level < curve.y[0]
        else:
            assert curve(found) == pytest.approx(level, abs=1e-9)
            # Nowhere well below it is the level met: found is the first place.
            earlier = found - 1e-3 * np.arange(1, 50)
            assert (curve(earlier) <= level).all()
            if curve.slope(found, side="left") > 0:
                assert (curve(earlier) < level).all()


def test_reach_by_bisection():
    for level in (-3.0, 0.7, 2.0, 2.4, 3.0, 5.5, 40.0):
        low, high = -20.0, 20.0
        for _ in range(200):
            middle = 0.5 * (low + high)
            low, high = (low, middle) if reference(BENT, middle) >= level else (middle, high)
        assert BENT.reach(level) == pytest.approx(high, abs=1e-12)


def test_reach_of_a_knot_is_that_knot_exactly():
    rng = np.random.default_rng(1)
    for _ in range(200):
        curve = Curve(np.sort(rng.random(5)), np.sort(rng.random(5)))
        np.testing.assert_array_equal(curve.reach(curve.y), curve.x)


def test_reach_of_a_flat_level_is_its_near_end():
    step = Curve([0.0, 1.0, 2.0, 3.0], [0.0, 1.0, 1.0, 2.0])
    assert step.reach(1.0) == 1.0
    assert step.reach(np.nextafter(1.0, 2.0)) == pytest.approx(2.0)
    assert step.reach(np.nextafter(2.0, 3.0)) == np.inf


def test_reach_of_what_never_comes_is_infinite():
    flat_top = Curve([0.0, 1.0], [0.0, 2.0])
    assert flat_top.reach(2.1) == np.inf
    assert flat_top.reach(np.inf) == np.inf
    assert BENT.reach(np.inf) == np.inf


# ---------------------------------------------------------------- batches


@given(st.lists(curves(size=4), min_size=3, max_size=3), curves(size=3), st.floats(-4.0, 20.0))
def test_a_batch_is_a_loop(singles, other, at):
    def every(of):
        return np.array([of(single) for single in singles])

    batch = Curve(
        [c.x for c in singles], [c.y for c in singles],
        [c.slope_before for c in singles], [c.slope_after for c in singles],
    )  # fmt: skip
    caps = np.array([c.y[1] for c in singles]) + np.array([0.0, 0.3, 100.0])
    np.testing.assert_array_equal(batch(at), every(lambda c: c(at)))
    for side in ("left", "right"):
        np.testing.assert_array_equal(
            batch.slope(at, side=side), every(lambda c, side=side: c.slope(at, side=side))
        )
    np.testing.assert_array_equal(batch.reach(at), every(lambda c: c.reach(at)))
    np.testing.assert_allclose(
        batch.integral(-1.0, at), every(lambda c: c.integral(-1.0, at)), rtol=1e-12, atol=1e-12
    )
    np.testing.assert_array_equal((batch + other)(at), every(lambda c: (c + other)(at)))
    np.testing.assert_array_equal((other + batch)(at), every(lambda c: (other + c)(at)))
    np.testing.assert_array_equal(
        batch.shift(dx=1.0, dy=2.0)(at), every(lambda c: c.shift(dx=1.0, dy=2.0)(at))
    )
    clipped = batch.clip_above(caps)
    for i, single in enumerate(singles):
        lone = single.clip_above(caps[i])
        where = np.linspace(-10.0, 50.0, 31)
        np.testing.assert_array_equal(clipped.pick(i)(where), lone(where))
    with np.errstate(invalid="ignore"):
        np.testing.assert_array_equal(batch.inverse()(at), every(lambda c: c.inverse()(at)))


def test_a_batch_takes_a_grid_in_front():
    batch = BENT.shift(dx=np.array([0.0, 1.0]))
    at = np.linspace(-1.0, 6.0, 15)[:, None]
    seen = batch(at)
    assert seen.shape == (15, 2)
    for i in range(2):
        np.testing.assert_array_equal(seen[:, i], batch.pick(i)(at[:, 0]))


def test_one_curve_clipped_by_many_caps_is_a_batch():
    caps = np.array([[-1.0, 0.0, 2.0], [2.5, 9.0, np.inf]])
    batch = BENT.clip_above(caps)
    at = np.linspace(-4.0, 6.0, 41)
    for index in np.ndindex(caps.shape):
        np.testing.assert_array_equal(batch.pick(index)(at), BENT.clip_above(caps[index])(at))


def test_two_batches_add_across_their_axes():
    a = BENT.shift(dx=np.array([0.0, 0.7])[:, None])
    b = BENT.shift(dy=np.array([1.0, 2.0, 3.0]))
    total = a + b
    assert total.x.shape[:-1] == (2, 3)
    at = np.linspace(-1.0, 6.0, 30)
    for i, j in np.ndindex(2, 3):
        expected = a.pick((i, 0))(at) + b.pick(j)(at)
        np.testing.assert_allclose(total.pick((i, j))(at), expected, rtol=1e-13)


# ---------------------------------------------------------------- tables and errors


def test_a_table_carries_its_end_segments_on():
    table = Curve.from_table([0.0, 1.0, 3.0], [0.0, 4.0, 5.0])
    assert table(-1.0) == -4.0
    assert table(5.0) == 6.0


@pytest.mark.parametrize(
    "x, y, message",
    [
        ([0.0], [0.0], "rows has 1 and 1 values; expected two equal columns of 2 or more"),
        ([0.0, 1.0], [0.0], "rows has 2 and 1 values; expected two equal columns"),
        ([0.0, np.nan], [0.0, 1.0], "rows holds a value that is not a number; expected finite"),
        ([0.0, 1.0], [0.0, np.inf], "rows holds a value that is not a number"),
        ([0.0, 1.0, 1.0], [0.0, 1.0, 2.0], r"rows row 3 is \(1, 2\); expected both columns to"),
        ([0.0, 1.0, 2.0], [0.0, 1.0, 1.0], r"rows row 3 is \(2, 1\); expected both columns to"),
        ([0.0, 1.0, 2.0], [0.0, -1.0, 1.0], r"rows row 2 is \(1, -1\)"),
    ],
)
def test_a_bad_table_is_named(x, y, message):
    with pytest.raises(ValueError, match=message):
        Curve.from_table(x, y, name="rows")


@pytest.mark.parametrize("x", [0.5, []])
def test_a_curve_needs_a_knot(x):
    with pytest.raises(ValueError, match=r"x has shape \(.*\); expected at least one knot"):
        Curve(x, x)
