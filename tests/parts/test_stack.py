"""Stacks: named sources, closed forms, an independent solver, and laws that must always hold."""

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.optimize import brentq, minimize

from suspkit.parts.spring import Spring
from suspkit.parts.stack import Stack, StopRing

TENDER = Spring(name="tender", rate=40e3, free_length=0.14, solid_length=0.05)
MAIN = Spring(name="main", rate=60e3, free_length=0.40, solid_length=0.22)
PAIR = Stack([TENDER, MAIN], [StopRing(below=0, cap=0.05)])


def spring(rate, travel, name="spring"):
    return Spring(name=name, rate=rate, free_length=travel + 0.05, solid_length=0.05)


def recursion(stack, force):
    """Independent route: the recursion written out for linear springs, no curves."""
    caps = {ring.below: float(ring.cap) for ring in stack.rings}
    total = 0.0
    for i, one in enumerate(stack.springs):
        total += min(force / one.rate, one.free_length - one.solid_length)
        total = min(total, caps.get(i, np.inf))
    return total


def root_force(stack, compression):
    """Force by a root finder on that recursion."""
    most = 1.01 * max(one.rate * one.travel for one in stack.springs)
    return brentq(lambda f: recursion(stack, f) - compression, 0.0, most, xtol=1e-12, rtol=1e-15)


@st.composite
def stacks(draw, *, least=2, most=6, ringed=None, low_cap=0.02):
    """Linear springs in series with a ring under some of them."""
    count = draw(st.integers(least, most))
    springs = [
        spring(draw(st.floats(2e4, 2e5)), draw(st.floats(0.02, 0.15)), name=f"s{i}")
        for i in range(count)
    ]
    rings = []
    for i in range(count - 1):
        if draw(st.booleans()) if ringed is None else ringed:
            above = sum(one.travel for one in springs[: i + 1])
            rings.append(StopRing(below=i, cap=above * draw(st.floats(low_cap, 1.3))))
    return Stack(springs, rings)


@st.composite
def ringed_pairs(draw):
    """Tender and main with travel to spare, and a ring met well inside both."""
    pair = [spring(draw(st.floats(2e4, 2e5)), 0.5) for _ in range(2)]
    cap = draw(st.floats(0.005, 0.05))
    assume(cap * pair[0].rate < 0.8 * pair[1].bind_force)
    return Stack(pair, [StopRing(below=0, cap=cap)])


def inside(stack, share):
    """A compression between free and solid."""
    return share * stack.solid_compression


SHARE = st.floats(0.001, 0.999)


# ---------------------------------------------------------------- named sources, closed forms


def test_series_pair_with_its_tender_capped():
    # Computed (springs in series, by hand): 40 and 60 N/mm, the 40 capped at 50 mm: 24 N/mm up to
    # 2000 N at 83.3333 mm, then 60 N/mm.
    crossover = PAIR.events[0]
    assert crossover.kind == "crossover"
    assert crossover.force == pytest.approx(2000.0, rel=1e-12)
    assert crossover.compression == pytest.approx(0.0833333, abs=5e-8)
    at = crossover.compression
    for below in (at / 2, np.nextafter(at, 0.0)):
        assert PAIR.rate(below) == pytest.approx(24e3, rel=1e-9)
    for above in (np.nextafter(at, 1.0), at + 0.01):
        assert PAIR.rate(above) == pytest.approx(60e3, rel=1e-9)
    assert PAIR.rate(at, side="left") == pytest.approx(24e3, rel=1e-9)
    assert PAIR.rate(at, side="right") == pytest.approx(60e3, rel=1e-9)
    assert PAIR.force(at + 0.01) == pytest.approx(2600.0, rel=1e-12)


def test_concentric_pair_is_a_sum_of_curves():
    # Bhandari, Design of Machine Elements, Ex. 10.19 (companion output read, title from memory):
    # wire 6 and 5, mean diameter 36 and 30 mm, 10 and 8 coils, G = 81370 MPa, the outer 15 mm
    # longer, 1000 N: P1 = 706.021471 N, P2 = 293.978529 N, 24.988839 and 9.988839 mm.
    outer, inner = (
        spring(81370e6 * d**4 / (8 * mean**3 * coils), 0.06)
        for d, mean, coils in ((0.006, 0.036, 10), (0.005, 0.030, 8))
    )
    both = outer.law + inner.law.shift(dx=0.015)
    squeezed = both.inverse()(1000.0)
    assert squeezed == pytest.approx(24.988839e-3, abs=5e-10)
    assert squeezed - 0.015 == pytest.approx(9.988839e-3, abs=5e-10)
    assert outer.law(squeezed) == pytest.approx(706.021471, abs=5e-7)
    assert inner.law(squeezed - 0.015) == pytest.approx(293.978529, abs=5e-7)
    # The kink is where the inner spring is touched.
    assert both.slope(0.015, side="left") == pytest.approx(outer.rate)
    assert both.slope(0.015, side="right") == pytest.approx(outer.rate + inner.rate)


@given(st.floats(2e4, 2e5), st.floats(2e4, 2e5), st.floats(0.001, 0.1))
def test_crossover_comes_after_the_gap_times_both_rates_over_the_main(k_t, k_m, gap):
    pair = Stack([spring(k_t, 0.5), spring(k_m, 2 * gap * k_t / k_m)], [StopRing(below=0, cap=gap)])
    crossover = next(e for e in pair.events if e.kind == "crossover")
    assert crossover.compression == pytest.approx(gap * (k_m + k_t) / k_m, rel=1e-12)
    assert crossover.force == pytest.approx(gap * k_t, rel=1e-12)


@given(ringed_pairs(), st.floats(0.0, 0.02))
def test_a_ring_left_alone_drifts_from_the_divider_as_preload_is_added(pair, preload):
    k_t, k_m = (one.rate for one in pair.springs)
    cap = pair.rings[0].cap
    (moved,) = (pair.with_caps([cap + preload]),)
    assume(preload * k_m / (k_t + k_m) < cap)
    gap = cap + preload - moved.deflection_above(0, preload)
    assert gap - cap == pytest.approx(preload * k_t / (k_t + k_m), rel=1e-9, abs=1e-15)


def test_one_spring_is_itself():
    alone = Stack([MAIN])
    x = np.linspace(-0.05, 0.18, 24)
    np.testing.assert_allclose(alone.force(x), np.maximum(0, 60e3 * x), rtol=1e-12)
    assert [e.kind for e in alone.events] == ["bind"]


def test_equal_springs_share_equally():
    trio = Stack([spring(3e4, 0.1)] * 3)
    assert trio.rate(0.0) == pytest.approx(1e4)
    np.testing.assert_allclose(trio.deflections(0.09), 0.03, rtol=1e-12)


# ---------------------------------------------------------------- an independent solver


@given(stacks(), SHARE)
def test_force_against_a_root_finder_on_the_recursion(stack, share):
    x = inside(stack, share)
    assert stack.force(x) == pytest.approx(root_force(stack, x), rel=1e-9, abs=1e-9)


@given(stacks(), st.floats(0.0, 4e4))
def test_compression_against_the_recursion(stack, force):
    assert stack.compression(force) == pytest.approx(recursion(stack, force), rel=1e-12)


@pytest.mark.parametrize("seed", range(12))
def test_stack_is_the_least_energy_of_its_dividers(seed):
    """Dividers find the least energy that rings and solid springs allow (SLSQP, scipy)."""
    rng = np.random.default_rng(seed)
    count = int(rng.integers(2, 6))
    rate, travel = rng.uniform(30.0, 200.0, count), rng.uniform(20.0, 100.0, count)  # N/mm, mm
    caps = np.cumsum(travel)[:-1] * rng.uniform(-0.1, 1.2, count - 1)  # some hold a spring off
    stack = Stack(
        [spring(k * 1e3, t / 1e3) for k, t in zip(rate, travel, strict=True)],
        [StopRing(below=i, cap=c / 1e3) for i, c in enumerate(caps)],
    )
    x = 1e3 * stack.solid_compression * rng.uniform(0.3, 0.95)

    def squeeze(dividers):
        return np.diff(np.concatenate([[0.0], dividers, [x]]))

    scale = rate.mean() * x**2  # the solver likes numbers near one

    def energy(dividers):
        return 0.5 * (rate * np.maximum(squeeze(dividers), 0.0) ** 2).sum() / scale

    def gradient(dividers):
        force = rate * np.maximum(squeeze(dividers), 0.0) / scale
        return force[:-1] - force[1:]

    limits = [
        {"type": "ineq", "fun": lambda u: caps - u},
        {"type": "ineq", "fun": lambda u: travel - squeeze(u)},
    ]
    start = np.minimum(np.linspace(0, x, count + 1)[1:-1], caps)
    best = minimize(energy, start, jac=gradient, constraints=limits, method="SLSQP",
                    options={"maxiter": 500, "ftol": 1e-12})  # fmt: skip
    assert best.success, best.message
    np.testing.assert_allclose(
        1e3 * stack.deflections(x / 1e3), np.maximum(squeeze(best.x), 0), rtol=1e-4, atol=1e-3
    )
    assert stack.energy(x / 1e3) * 1e3 == pytest.approx(best.fun * scale, rel=1e-6)


def test_ten_springs_and_five_rings():
    rng = np.random.default_rng(10)
    springs = [spring(k, t) for k, t in zip(rng.uniform(5e4, 3e5, 10), rng.uniform(0.03, 0.1, 10),
                                            strict=True)]  # fmt: skip
    seats = (0, 2, 3, 6, 8)
    caps = [sum(s.travel for s in springs[: i + 1]) * f
            for i, f in zip(seats, (0.3, 0.35, 0.4, 0.3, 0.45), strict=True)]  # fmt: skip
    stack = Stack(springs, [StopRing(below=i, cap=c) for i, c in zip(seats, caps, strict=True)])
    x = np.linspace(0.0, 0.999 * stack.solid_compression, 200)
    expected = [root_force(stack, at) for at in x]
    np.testing.assert_allclose(stack.force(x), expected, rtol=1e-9, atol=1e-6)
    np.testing.assert_allclose(stack.deflections(x).sum(axis=0), x, rtol=1e-10, atol=1e-14)
    assert sum(e.kind == "crossover" for e in stack.events) == 5


# ---------------------------------------------------------------- what must always hold


@given(stacks())
def test_force_is_continuous_and_never_falls(stack):
    x = np.linspace(0.0, stack.solid_compression, 300)
    assert (np.diff(stack.force(x)) >= 0).all()
    curve = stack.curve
    assert (np.diff(curve.x) >= 0).all()
    assert (np.diff(curve.y) >= 0).all()
    for knot, force in zip(curve.x, curve.y, strict=True):
        for beside in (np.nextafter(knot, -np.inf), np.nextafter(knot, np.inf)):
            if beside <= stack.solid_compression:
                assert stack.force(beside) == pytest.approx(force, rel=1e-9, abs=1e-9)


@given(stacks())
def test_rate_only_rises_as_rings_close_and_linear_springs_bind(stack):
    x = np.linspace(0.0, 0.9999 * stack.solid_compression, 200)
    # Chords, not slopes: two knots one float apart have no meaningful slope between them.
    rates = np.diff(stack.force(x)) / np.diff(x)
    assert (np.diff(rates) >= -1e-6 * rates[:-1]).all()


@given(stacks(ringed=True, most=3), st.floats(0.2, 0.9), st.floats(0.3, 1.0))
def test_rate_never_falls_at_a_crossover_whatever_the_springs_laws(stack, where, soften):
    """Also with a table that softens, which may lower the rate at its own knots."""
    first = stack.springs[0]
    knee = (where * first.travel, first.rate * where * first.travel)
    end = (first.travel, knee[1] + soften * first.rate * (1 - where) * first.travel)
    soft = Spring(table=(knee, end), free_length=first.free_length, solid_length=first.solid_length)
    stack = Stack([soft, *stack.springs[1:]], stack.rings)
    gaps = np.diff(stack.curve.x)
    assume((gaps[gaps > 0] > 1e-9).all())
    for event in stack.events:
        if event.kind == "crossover" and np.isfinite(event.compression):
            left = stack.rate(event.compression, side="left")
            assert stack.rate(event.compression, side="right") > left


@given(stacks())
def test_springs_in_series_are_softer_than_the_softest(stack):
    series = 1 / sum(1 / one.rate for one in stack.springs)
    assert stack.rate(0.0) == pytest.approx(series, rel=1e-9)
    assert stack.rate(0.0) < min(one.rate for one in stack.springs)
    assert stack.rate(0.0, side="left") == 0.0


@given(stacks(), SHARE)
def test_work_on_the_stack_is_the_sum_of_its_springs_energies(stack, share):
    x = inside(stack, share)
    each = sum(
        float(one.energy(d))
        for one, d in zip(stack.springs, stack.deflections(x), strict=True)
    )  # fmt: skip
    assert stack.energy(x) == pytest.approx(each, rel=1e-9)
    kinks = np.unique(stack.curve.x[(stack.curve.x > 0) & (stack.curve.x < x)])
    work = quad(stack.force, 0.0, x, points=kinks if kinks.size else None, limit=200)[0]
    assert stack.energy(x) == pytest.approx(work, rel=1e-7)


@given(stacks(), SHARE)
def test_deflections_add_up_and_stay_within_their_limits(stack, share):
    x = inside(stack, share)
    each = stack.deflections(x)
    assert each.sum() == pytest.approx(x, rel=1e-10)
    for one, d in zip(stack.springs, each, strict=True):
        assert -1e-15 <= d <= one.travel * (1 + 1e-12)
    for i, ring in enumerate(stack.rings):
        above = each[: ring.below + 1].sum()
        assert above <= ring.cap * (1 + 1e-12)
        assert stack.deflection_above(i, x) == pytest.approx(above, rel=1e-10)
    # The last spring carries the whole force, as no ring sits under it.
    last = stack.springs[-1]
    if each[-1] < last.travel * (1 - 1e-9):
        assert last.rate * each[-1] == pytest.approx(stack.force(x), rel=1e-9)


@given(stacks(), st.integers(0, 5), st.floats(1.0, 4.0), SHARE)
def test_a_stiffer_spring_never_lowers_the_force(stack, which, factor, share):
    which %= len(stack.springs)
    springs = list(stack.springs)
    old = springs[which]
    springs[which] = spring(old.rate * factor, old.travel)
    stiffer = Stack(springs, stack.rings)
    x = inside(stack, share)
    assert stiffer.solid_compression == pytest.approx(stack.solid_compression, rel=1e-9)
    assert stiffer.force(x) >= stack.force(x) * (1 - 1e-9)


@given(ringed_pairs(), st.floats(0.0, 0.03), st.floats(0.0, 0.03))
def test_past_crossover_force_does_not_depend_on_preload(pair, one, other):
    """Collar and ring share the body: preload p moves the stack by p and raises the cap by p."""
    cap = pair.rings[0].cap
    k_t, k_m = (each.rate for each in pair.springs)

    def force(shaft, preload):
        return pair.with_caps([cap + preload]).force(shaft + preload)

    past = [(cap + p) * (k_t + k_m) / k_m - p for p in (one, other)]
    shaft = max(past) + 0.002
    assume(shaft - cap < 0.9 * pair.springs[1].travel)
    assert force(shaft, one) == pytest.approx(force(shaft, other), rel=1e-9)
    assert force(shaft, one) == pytest.approx(k_m * (shaft - cap), rel=1e-9)
    # Before the first crossover more preload is more force.
    before = min(past) - 0.002
    if before > 0 and abs(one - other) > 1e-6:
        more, less = max(one, other), min(one, other)
        assert force(before, more) > force(before, less)


@given(stacks(ringed=True), st.floats(0.0, 0.999))
def test_a_ring_not_yet_met_changes_nothing(stack, share):
    first = min(e.force for e in stack.events if np.isfinite(e.force))
    x = stack.compression(share * first)
    free = stack.with_caps([np.inf] * len(stack.rings))
    assert stack.force(x) == pytest.approx(free.force(x), rel=1e-12, abs=1e-12)


# ---------------------------------------------------------------- events


def test_events_come_in_order_and_on_kinks():
    stack = Stack(
        [spring(40e3, 0.09, "a"), spring(50e3, 0.03, "b"), spring(60e3, 0.2, "c")],
        [StopRing(below=0, cap=0.02), StopRing(below=1, cap=0.2)],
    )
    assert [(e.kind, e.name) for e in stack.events if np.isfinite(e.compression)] == [
        ("crossover", "a"),  # 40e3 * 0.02 = 800 N
        ("bind", "b"),  # 50e3 * 0.03 = 1500 N
        ("bind", "c"),  # 60e3 * 0.2 = 12000 N
    ]
    forces = [e.force for e in stack.events if np.isfinite(e.compression)]
    np.testing.assert_allclose(forces, [800.0, 1500.0, 12000.0], rtol=1e-12)
    # a froze before its bind and b never carries the second ring: 0.02 + 0.03 < 0.2.
    assert [(e.kind, e.name) for e in stack.events if not np.isfinite(e.compression)] == [
        ("bind", "a"),
        ("crossover", "b"),
    ]
    rates = [1 / (1 / 40e3 + 1 / 50e3 + 1 / 60e3), 1 / (1 / 50e3 + 1 / 60e3), 60e3, np.inf]
    for i, event in enumerate(e for e in stack.events if np.isfinite(e.compression)):
        at = event.compression
        assert at in stack.curve.x
        assert stack.force(at) == pytest.approx(event.force, rel=1e-14)
        assert stack.force(np.nextafter(at, 0.0)) == pytest.approx(event.force, rel=1e-9)
        assert stack.rate(at, side="left") == pytest.approx(rates[i], rel=1e-9)
        assert stack.rate(at, side="right") == pytest.approx(rates[i + 1], rel=1e-9)
        assert stack.rate(np.nextafter(at, 0.0)) == pytest.approx(rates[i], rel=1e-9)
        assert stack.rate(np.nextafter(at, 1.0)) == pytest.approx(rates[i + 1], rel=1e-9)
        above = stack.force(np.nextafter(at, 1.0))
        expected = np.inf if rates[i + 1] == np.inf else event.force
        assert above == pytest.approx(expected, rel=1e-9)


@given(stacks())
def test_every_event_lies_on_a_knot_in_order(stack):
    seen = [e for e in stack.events if np.isfinite(e.compression)]
    assert (np.diff([e.compression for e in seen]) >= 0).all()
    for event in seen:
        assert event.compression in stack.curve.x
        assert recursion(stack, float(event.force)) == pytest.approx(event.compression, rel=1e-9)
    assert seen[-1].compression == pytest.approx(stack.solid_compression, rel=1e-9)


def test_a_variable_pitch_spring_reports_its_closing_coils():
    coils = Spring(
        name="prog", coils=((1e5, 0.01), (2e5, 0.01)), free_length=0.1, solid_length=0.08
    )
    kinds = [(e.kind, e.name) for e in Stack([coils, MAIN]).events]
    assert kinds == [("coil", "prog"), ("bind", "prog"), ("bind", "main")]


@pytest.mark.parametrize("last", [0.09, 0.12], ids=["at bind", "past bind"])
def test_a_table_binds_once(last):
    table = Spring(
        name="t", table=((0.04, 900.0), (last, 9e3)), free_length=0.14, solid_length=0.05
    )
    seen = [(e.kind, e.name) for e in Stack([table, MAIN]).events]
    assert seen == [("coil", "t"), ("bind", "t"), ("bind", "main")]


@pytest.mark.parametrize("travel, kind", [(0.0499999, "bind"), (0.0500001, "crossover")])
def test_a_tender_that_binds_before_its_ring_is_a_bind(travel, kind):
    stack = Stack([spring(40e3, travel, "tender"), MAIN], [StopRing(below=0, cap=0.05)])
    happened = [e.kind for e in stack.events if e.name == "tender" and np.isfinite(e.force)]
    assert happened == [kind]
    # Either way the tender is out of it and the main is left.
    assert stack.rate(0.09) == pytest.approx(60e3, rel=1e-9)


@given(stacks(most=2, ringed=True, low_cap=1.0001))
def test_a_ring_out_of_the_tenders_reach_is_never_a_crossover(stack):
    assert all(e.force == np.inf for e in stack.events if e.kind == "crossover")
    bound = next(e for e in stack.events if e.kind == "bind" and e.name == "s0")
    assert bound.compression < np.inf


def test_bind_exactly_at_the_ring_is_one_kink():
    tender = Spring(name="tender", rate=40e3, free_length=0.14, solid_length=0.05)
    stack = Stack([tender, MAIN], [StopRing(below=0, cap=tender.travel)])
    at = stack.events[0].compression
    assert at == pytest.approx(0.09 + 3600 / 60e3)
    assert stack.rate(at, side="left") == pytest.approx(24e3, rel=1e-9)
    assert stack.rate(at, side="right") == pytest.approx(60e3, rel=1e-9)


def test_a_lower_ring_first_freezes_what_is_above():
    # The lower ring caps both upper springs together before the upper ring is met.
    stack = Stack(
        [spring(40e3, 0.2, "a"), spring(40e3, 0.2, "b"), spring(60e3, 0.3, "c")],
        [StopRing(below=0, cap=0.05), StopRing(below=1, cap=0.06)],
    )
    seen = [(e.kind, e.name) for e in stack.events if np.isfinite(e.force)]
    assert seen == [("crossover", "b"), ("bind", "c")]
    np.testing.assert_allclose(stack.deflections(0.2), [0.03, 0.03, 0.14], rtol=1e-12)


def test_rings_met_at_one_force_are_one_kink():
    stack = Stack(
        [spring(40e3, 0.2), spring(80e3, 0.2), spring(60e3, 0.3)],
        [StopRing(below=0, cap=0.05), StopRing(below=1, cap=0.075)],
    )
    met = [e for e in stack.events if e.kind == "crossover" and np.isfinite(e.force)]
    assert 1 <= len(met) <= 2
    for event in met:
        assert event.force == pytest.approx(2000.0, rel=1e-9)
    at = 0.075 + 2000 / 60e3
    assert stack.rate(at - 1e-9) == pytest.approx(1 / (1 / 40e3 + 1 / 80e3 + 1 / 60e3), rel=1e-6)
    assert stack.rate(at + 1e-9) == pytest.approx(60e3, rel=1e-6)


def test_no_ring_events_without_rings():
    assert [e.kind for e in Stack([TENDER, MAIN]).events] == ["bind", "bind"]


# ---------------------------------------------------------------- caps at their limits


def test_a_ring_touching_its_divider_leaves_the_main_alone():
    touching = PAIR.with_caps([0.0])
    x = np.linspace(0.0, 0.179, 30)
    np.testing.assert_allclose(touching.force(x), 60e3 * x, rtol=1e-10, atol=1e-9)
    assert touching.events[0].kind == "crossover"
    assert touching.events[0].force == 0.0
    np.testing.assert_allclose(touching.deflections(0.1), [0.0, 0.1], atol=1e-15)


def test_a_negative_cap_holds_the_divider_off_a_slack_tender():
    held = PAIR.with_caps([-0.02])
    x = np.linspace(-0.02, 0.15, 30)
    np.testing.assert_allclose(held.force(x), 60e3 * (x + 0.02), rtol=1e-10, atol=1e-9)
    assert held.force(-0.03) == 0.0
    np.testing.assert_allclose(held.deflections(0.1), [0.0, 0.12], atol=1e-15)
    # Energy is all in the main, what the ring put there included.
    assert held.energy(0.1) == pytest.approx(0.5 * 60e3 * 0.12**2)
    assert held.energy(0.0) == pytest.approx(0.5 * 60e3 * 0.02**2)
    assert held.energy(-0.03) == 0.0
    # The ring is met before there is any load, not never.
    met = next(e for e in held.events if e.kind == "crossover")
    assert (met.force, met.compression) == (0.0, pytest.approx(-0.02))


def test_an_infinite_cap_is_no_ring():
    x = np.linspace(0.0, 0.26, 50)
    np.testing.assert_array_equal(PAIR.with_caps([np.inf]).force(x), Stack([TENDER, MAIN]).force(x))


@pytest.mark.parametrize("main_rate", [60e3, 20e3], ids=["main binds last", "main binds first"])
def test_solid_is_a_hard_stop_at_the_force_that_makes_it(main_rate):
    """Also where the tender, caught by its ring, would have bound above the main."""
    stack = Stack([TENDER, spring(main_rate, 0.1, "main")], [StopRing(below=0, cap=0.02)])
    solid = stack.solid_compression
    assert solid == pytest.approx(0.12)
    assert stack.force(solid) == pytest.approx(main_rate * 0.1)
    assert stack.force(np.nextafter(solid, 0.0)) == pytest.approx(main_rate * 0.1)
    assert stack.force(np.nextafter(solid, 1.0)) == np.inf
    assert stack.rate(solid, side="left") == pytest.approx(main_rate)
    assert stack.rate(solid, side="right") == np.inf
    assert stack.energy(solid) == pytest.approx(0.5 * 40e3 * 0.02**2 + 0.5 * main_rate * 0.1**2)
    # The jump must not leak into a sum, as that of a corner.
    total = stack.curve + MAIN.law
    assert total(0.11) == pytest.approx(stack.force(0.11) + MAIN.law(0.11))


def test_past_solid_the_springs_stay_solid():
    np.testing.assert_allclose(PAIR.deflections(0.5), [0.05, 0.18], rtol=1e-12)
    assert PAIR.deflection_above(0, 0.5) == pytest.approx(0.05)
    assert PAIR.compression(np.inf) == pytest.approx(0.23)


# ---------------------------------------------------------------- batches


@settings(max_examples=40)
@given(stacks(ringed=True, most=4), st.integers(0, 2**31))
def test_arrays_of_caps_are_a_loop(stack, seed):
    rng = np.random.default_rng(seed)
    tops = np.cumsum([one.travel for one in stack.springs])[:-1]
    caps = [rng.uniform(-0.01, 1.2, size=(2, 3)) * top for top in tops]
    caps[0][0, 0] = np.inf
    batch = stack.with_caps(caps)
    assert batch.solid_compression.shape == (2, 3)
    x = 0.4 * batch.solid_compression
    force, energy = batch.force(x), batch.energy(x)
    deflections = batch.deflections(x)
    for index in np.ndindex(2, 3):
        lone = stack.with_caps([float(c[index]) for c in caps])
        at = x[index]
        assert lone.solid_compression == batch.solid_compression[index]
        assert force[index] == lone.force(at)
        assert energy[index] == pytest.approx(lone.energy(at), rel=1e-13)
        assert batch.rate(x)[index] == lone.rate(at)
        np.testing.assert_array_equal(deflections[(slice(None), *index)], lone.deflections(at))
        mine = sorted((e.kind, e.name, float(e.compression[index]) if np.ndim(e.compression)
                       else float(e.compression)) for e in batch.events)  # fmt: skip
        theirs = sorted((e.kind, e.name, float(e.compression)) for e in lone.events)
        assert mine == theirs


def test_compressions_may_be_arrays():
    x = np.linspace(0.0, 0.2, 12).reshape(3, 4)
    assert PAIR.force(x).shape == (3, 4)
    assert PAIR.deflections(x).shape == (2, 3, 4)
    assert PAIR.rate(x).shape == (3, 4)
    np.testing.assert_allclose(PAIR.compression(PAIR.force(x)), x, atol=1e-14)
    assert np.ndim(PAIR.force(0.1)) == 0


# ---------------------------------------------------------------- refusals


def test_a_stack_needs_springs():
    with pytest.raises(ValueError, match="the stack has no springs; expected at least one"):
        Stack([])


@pytest.mark.parametrize("seats", [[1], [-1], [0, 0], [2]])
def test_a_ring_needs_a_spring_on_each_side(seats):
    rings = [StopRing(below=seat, cap=0.05) for seat in seats]
    with pytest.raises(
        ValueError, match=r"rings sit below springs \[.*\]; expected different ones from 0 to 0"
    ):
        Stack([TENDER, MAIN], rings)


def test_rings_may_be_given_in_any_order():
    springs = [TENDER, TENDER, MAIN]
    rings = [StopRing(below=1, cap=0.09), StopRing(below=0, cap=0.02)]
    one, other = Stack(springs, rings), Stack(springs, rings[::-1])
    assert [r.below for r in one.rings] == [0, 1]
    assert one.force(0.12) == other.force(0.12)


def test_a_stack_keeps_the_springs_it_was_given():
    springs = [TENDER, MAIN]
    stack = Stack(springs)
    springs.pop()
    assert stack == Stack((TENDER, MAIN))
    assert hash(stack) == hash(Stack((TENDER, MAIN)))


def test_as_many_caps_as_rings():
    with pytest.raises(ValueError, match="zip"):
        PAIR.with_caps([0.01, 0.02])


def test_free_length_is_end_to_end():
    assert PAIR.free_length == pytest.approx(0.54)
