"""One corner as adjusted: preload, gap and ring, hang, events, energy, and its sign rules.

Unit 7 is invented, so its own numbers are no check: each test holds a rule of the physics against
a balance or closed form written out here.
"""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.optimize import brentq

import suspkit
from suspkit.parts.shock import STOP_RATE
from suspkit.vehicle.corner import BrokenSetupError, assemble, hold_rings, reset_gaps
from suspkit.vehicle.setup import CORNERS
from suspkit.vehicle.vehicle import StackPlan

INCH = 0.0254
GRAVITY = 9.80665  # standard gravity [m/s^2], exact by definition
SHIPPED = suspkit.example("unit7")
# The same with mains that bind three inches later, so that any gap and preload may be asked.
UNIT7 = replace(
    SHIPPED,
    springs={
        name: replace(one, solid_length=one.solid_length - 3 * INCH) if "main" in name else one
        for name, one in SHIPPED.springs.items()
    },
)
KIT = UNIT7.setups["kit"]
TURN = UNIT7.front.shock.thread.collar_pitch
FRONT, REAR = "front_left", "rear_left"
both_axles = pytest.mark.parametrize("name", [FRONT, REAR])


def refit(vehicle=UNIT7, *, axle="front", **changes):
    """The vehicle with fields of one axle's shock changed."""
    old = getattr(vehicle, axle)
    return replace(vehicle, **{axle: replace(old, shock=replace(old.shock, **changes))})


@cache
def without_top_out():
    return refit(refit(axle="front", top_out=None), axle="rear", top_out=None)


def built(name=FRONT, *, vehicle=UNIT7, setup=KIT, **changes):
    setup = setup.change(name.split("_")[0], **changes) if changes else setup
    return assemble(vehicle, setup)[name]


def rates(corner):
    return tuple(one.rate for one in corner.stack.springs)


def shaft(corner, *, start=None, count=60):
    """Compressions from hang to full bump."""
    start = float(np.max(corner.hang)) if start is None else start
    return np.linspace(start, corner.shock.full_bump, count)


# ---------------------------------------------------------------- hang


def spring_force(corner, s):
    """Tender and main with one ring, written out: no curves, no stack."""
    k_t, k_m = rates(corner)
    x = s + float(corner.preload) - corner.contact_hang
    if x <= 0:
        return 0.0
    cap = float(corner.stack.rings[0].cap)
    return max(x * k_t * k_m / (k_t + k_m), k_m * (x - cap))


@both_axles
@pytest.mark.parametrize("turns", [0.0, 4.0, 12.0])
@pytest.mark.parametrize("top_out", [True, False])
def test_hang_as_set_is_the_free_body_balance(name, turns, top_out):
    vehicle = UNIT7 if top_out else without_top_out()
    corner = built(name, vehicle=vehicle, turns=turns)
    shock, linkage = corner.shock, corner.linkage
    area = np.pi / 4 * shock.gas.rod_diameter**2

    def pull(z):
        s = linkage.compression(z)
        gauge = (shock.gas.pressure + 101325.0) / (1 - area * s / shock.gas.volume) - 101325.0
        out = spring_force(corner, s) + gauge * area + STOP_RATE * min(s, 0.0)
        if top_out:
            out -= shock.top_out.rate * max(0.0, shock.top_out.length - s)
        return out * linkage.motion_ratio(z) + corner.unsprung_mass * GRAVITY

    expected = brentq(pull, -0.01, 0.2, xtol=1e-15)
    assert corner.hang_travel == pytest.approx(expected, abs=1e-9)
    assert corner.hang == pytest.approx(linkage.compression(expected), abs=1e-9)


def test_the_weight_of_the_wheel_pulls_the_shock_out():
    corner = built()
    assert corner.contact_hang < corner.unbolted_hang
    # Common practice, no source: half an inch or more with an internal top-out spring.
    assert corner.unbolted_hang - corner.contact_hang > 0.5 * INCH
    heavy = replace(UNIT7, front=replace(UNIT7.front, unsprung_mass=40.0))
    assert built(vehicle=heavy).contact_hang < corner.contact_hang


@both_axles
def test_the_top_out_spring_gives_preload_back(name):
    turns = np.array([0.0, 2.0, 4.0, 8.0])
    corner = built(name, turns=turns)
    assert corner.given_back[0] == pytest.approx(0.0, abs=1e-12)
    assert (np.diff(corner.given_back) > 0).all()
    assert (corner.given_back < corner.preload)[1:].all()
    # Balance of the increments at the wheel: springs push out, the top-out spring gives way.
    k_t, k_m = rates(corner)
    k = k_t * k_m / (k_t + k_m)
    stiff = corner.shock.top_out.rate + corner.shock.gas_rate(corner.contact_hang)
    np.testing.assert_allclose(
        corner.given_back, corner.preload * k / (k + stiff), rtol=0.03, atol=1e-12
    )


def test_without_a_top_out_spring_next_to_nothing_is_given_back():
    corner = built(vehicle=without_top_out(), turns=8.0)
    assert corner.contact_hang == pytest.approx(0.0, abs=2e-4)
    assert 0 <= corner.given_back < 2e-3 * corner.preload  # the metal yields by microns


# ---------------------------------------------------------------- preload


@both_axles
@pytest.mark.parametrize("setup", ["kit", "stock"])
def test_more_turns_is_more_force_at_every_compression_past_hang(name, setup):
    """Gap re-set by tape (or no ring): fails if preload enters with the wrong sign."""
    turns = np.arange(0.0, 9.0)
    corner = built(name, setup=UNIT7.setups[setup], turns=turns)
    force = corner.force(shaft(corner)[:, None])
    assert (np.diff(force, axis=1) > 0).all()
    # At the very start it is preload times the series rate.
    series = 1 / sum(1 / k for k in rates(corner))
    grown = np.diff(force[0]) / np.diff(corner.preload)
    np.testing.assert_allclose(grown, series, rtol=1e-6)


@both_axles
def test_spring_force_at_hang_is_that_of_the_preload_left(name):
    corner = built(name, turns=6.0)
    k_t, k_m = rates(corner)
    squeeze = corner.preload - corner.given_back
    assert squeeze > 0
    assert corner.stack_curve(corner.hang) == pytest.approx(
        squeeze * k_t * k_m / (k_t + k_m), rel=1e-9
    )
    assert corner.slack == 0.0


def test_springs_are_just_touched_at_contact():
    corner = built(turns=0.0)
    assert corner.hang == pytest.approx(corner.contact_hang, abs=1e-9)
    assert corner.stack_curve(corner.contact_hang) == pytest.approx(0.0, abs=1e-3)
    assert corner.seat == -corner.contact_hang
    k_t, k_m = rates(corner)
    assert corner.stack_curve(corner.contact_hang + 0.01) == pytest.approx(
        0.01 * k_t * k_m / (k_t + k_m), rel=1e-9
    )


def test_turns_are_pitches_of_collar_travel():
    corner = built(turns=4.0)
    assert corner.turns == pytest.approx(4.0)
    assert corner.preload == pytest.approx(0.25 * INCH)  # 4 turns of 16 per inch
    assert corner.collar_at - corner.contact_at == pytest.approx(0.25 * INCH)


def retailored(extra, which):
    """Unit 7 with one front spring this much longer, free and solid alike."""
    name = UNIT7.stacks["kit-front"].springs[which]
    old = UNIT7.springs[name]
    longer = replace(
        old, free_length=old.free_length + extra, solid_length=old.solid_length + extra
    )
    return replace(UNIT7, springs={**UNIT7.springs, name: longer})


@pytest.mark.parametrize("which", [0, 1], ids=["tender", "main"])
@pytest.mark.parametrize("extra", [-INCH / 8, INCH / 8])
def test_turns_carry_over_between_free_lengths_and_a_collar_height_does_not(which, extra):
    usual = built(turns=8.0)
    other = built(vehicle=retailored(extra, which), turns=8.0)
    assert other.hang == pytest.approx(usual.hang, abs=1e-12)
    for s in (usual.hang, 0.05, 0.15):
        assert other.force(s) == pytest.approx(usual.force(s), rel=1e-9)
    # The collar stands an eighth higher or lower for it.
    assert other.collar_at - usual.collar_at == pytest.approx(-extra, abs=1e-12)
    # Copying the collar height instead is wrong by the eighth: two turns of 16 per inch.
    copied_turns = (usual.collar_at - other.contact_at) / TURN
    copied = built(vehicle=retailored(extra, which), turns=copied_turns)
    assert copied.collar_at == pytest.approx(usual.collar_at, abs=1e-12)
    assert copied_turns - 8.0 == pytest.approx(2.0 * np.sign(extra), rel=1e-9)
    wrong = copied.stack_curve(copied.hang) - usual.stack_curve(usual.hang)
    k_t, k_m = rates(usual)
    assert wrong * np.sign(extra) > 0.5 * k_t * k_m / (k_t + k_m) * INCH / 8


@both_axles
def test_contact_found_with_the_bolt_out_is_wrong_by_the_difference_in_hang(name):
    right = built(name, turns=4.0)
    thread = right.shock.thread
    # Bolt out, the shock is shorter, so the collar touches the stack further up.
    false_contact = thread.seat_span - right.unbolted_hang - right.stack_length
    error = (right.unbolted_hang - right.contact_hang) / thread.collar_pitch
    assert error > 0.5 * INCH / thread.collar_pitch
    assert (right.contact_at - false_contact) / thread.collar_pitch == pytest.approx(error)
    # Count turns from there and the springs get that many fewer; with as many as that, none.
    counted = error + 4.0
    collar = false_contact + counted * thread.collar_pitch
    assert collar == pytest.approx(right.collar_at, abs=1e-12)


# ---------------------------------------------------------------- gap and ring


def test_a_gap_reads_itself_back_whatever_the_preload():
    turns = np.array([0.0, 3.0, 7.0])[:, None]
    gap = np.array([0.5, 1.0, 2.0, 4.0]) * INCH
    corner = built(turns=turns, gap=gap)
    np.testing.assert_array_equal(corner.gap[0], gap)
    measured = (
        corner.stack.rings[0].cap - corner.shock.divider_lip
        - corner.stack.deflection_above(0, corner.hang + corner.seat)
    )  # fmt: skip
    np.testing.assert_allclose(measured, np.broadcast_to(gap, (3, 4)), atol=1e-12)


@both_axles
def test_ring_left_alone_the_gap_grows_by_the_mains_share_of_the_preload(name):
    """Fails if the ring's shift with preload has the wrong sign."""
    turns = np.array([0.0, 2.0, 4.0, 6.0])
    corner = built(name, vehicle=without_top_out(), turns=turns, ring=1.5 * INCH)
    k_t, k_m = rates(corner)
    squeeze = corner.preload - corner.given_back
    grown = corner.gap[0] - corner.gap[0][0]
    # Exactly, with the few microns the metal stop yields; and plainly, to 0.2 %.
    # The collar moves the whole preload, the divider only by what the tender gives.
    np.testing.assert_allclose(
        grown, corner.preload - squeeze * k_m / (k_t + k_m), rtol=1e-9, atol=1e-12
    )
    np.testing.assert_allclose(grown, corner.preload * k_t / (k_t + k_m), rtol=3e-3, atol=1e-12)
    assert corner.gap[0][0] == pytest.approx(1.5 * INCH, abs=1e-9)
    # So crossover comes later, by that much more tender travel less the preload already in.
    assert (np.diff(corner.crossover) > 0).all()


@both_axles
def test_with_a_top_out_spring_the_gap_grows_by_more(name):
    turns = np.array([0.0, 4.0, 8.0])
    corner = built(name, turns=turns, ring=1.5 * INCH)
    k_t, k_m = rates(corner)
    grown = corner.gap[0] - corner.gap[0][0]
    squeeze = corner.preload - corner.given_back
    np.testing.assert_allclose(
        grown, corner.preload - squeeze * k_m / (k_t + k_m), rtol=1e-9, atol=1e-12
    )
    assert (grown[1:] > corner.preload[1:] * k_t / (k_t + k_m)).all()


@settings(max_examples=40)
@given(st.floats(0.0, 16.0), st.floats(0.1, 2.5), st.sampled_from([FRONT, REAR]))
def test_gap_and_ring_are_two_readings_of_one_thing(turns, inches, name):
    by_gap = built(name, turns=turns, gap=inches * INCH)
    by_ring = built(name, turns=turns, ring=by_gap.ring[0])
    assert by_ring.gap[0] == pytest.approx(inches * INCH, abs=1e-9)
    assert by_ring.hang == pytest.approx(by_gap.hang, abs=1e-9)
    assert by_ring.ring_at() == pytest.approx(by_gap.ring_at(), abs=1e-12)
    assert by_ring.stack.rings[0].cap == pytest.approx(by_gap.stack.rings[0].cap, abs=1e-12)
    assert by_ring.crossover == pytest.approx(by_gap.crossover, abs=1e-12)


@settings(max_examples=40)
@given(st.floats(0.0, 12.0), st.floats(0.0, 12.0), st.floats(0.2, 2.5))
def test_the_ring_stays_where_it_is_while_the_collar_turns(one, other, inches):
    set_up = built(turns=one, gap=inches * INCH)
    turned = built(turns=other, ring=set_up.ring[0])
    assert turned.ring_at() == pytest.approx(set_up.ring_at(), abs=1e-12)
    # and back again the tape reads what it read
    assert built(turns=one, ring=turned.ring[0]).gap[0] == pytest.approx(inches * INCH, abs=1e-9)


@both_axles
def test_past_crossover_with_the_ring_left_alone_force_does_not_depend_on_preload(name):
    turns = np.array([0.0, 2.0, 5.0, 8.0])
    corner = built(name, turns=turns, ring=1.0 * INCH)
    past = np.linspace(corner.crossover.max(), corner.shock.full_bump, 20)[:, None]
    force = corner.force(past)
    np.testing.assert_allclose(force, force[:, :1] * np.ones(4), rtol=1e-12)
    # The same on the wheel, and it is the main alone against a fixed divider.
    z = corner.linkage.travel(past)
    on_wheel = corner.wheel_force(z)
    np.testing.assert_allclose(on_wheel, on_wheel[:, :1] * np.ones(4), rtol=1e-9)
    fixed = corner.shock.divider_lip + INCH + corner.contact_hang
    springs = corner.stack_curve(past)
    expected = np.broadcast_to(rates(corner)[1] * (past - fixed), springs.shape)
    np.testing.assert_allclose(springs, expected, rtol=1e-9)
    # Before the first crossover more turns is more force.
    before = np.linspace(corner.hang.max(), 0.95 * corner.crossover.min(), 10)[:, None]
    assert (np.diff(corner.force(before), axis=1) > 0).all()


def test_past_crossover_ring_turns_move_the_shock_one_for_one():
    ring = np.array([1.0, 1.0 + 1 / 16]) * INCH
    corner = built(ring=ring, turns=4.0)
    at = corner.curve.pick(0).inverse()(6000.0), corner.curve.pick(1).inverse()(6000.0)
    assert at[0] > corner.crossover[0] and at[1] > corner.crossover[1]
    assert at[1] - at[0] == pytest.approx(INCH / 16, rel=1e-9)


@both_axles
@pytest.mark.parametrize("lip", [0.0, INCH / 8, INCH / 4])
def test_travel_to_crossover_is_the_gap_and_the_lip(name, lip):
    axle = name.split("_")[0]
    corner = built(name, vehicle=refit(axle=axle, divider_lip=lip), gap=1.5 * INCH)
    k_t, k_m = rates(corner)
    assert corner.gap[0] == pytest.approx(1.5 * INCH)
    assert corner.crossover - corner.hang == pytest.approx(
        (1.5 * INCH + lip) * (k_m + k_t) / k_m, rel=1e-9
    )
    # The ring stands where the tape read it; the lip is not part of that.
    assert corner.ring_at() == pytest.approx(built(name, gap=1.5 * INCH).ring_at(), abs=1e-12)


def test_a_gap_of_nothing_crosses_after_the_lip_alone():
    vehicle = refit(divider_lip=0.0)
    corner = built(vehicle=vehicle, gap=0.0, turns=4.0)
    assert corner.crossover == pytest.approx(corner.hang, abs=1e-9)
    k_t, k_m = rates(corner)
    gas = corner.shock.gas_rate(corner.hang + 0.06)
    assert corner.rate(corner.hang + 0.06) == pytest.approx(k_m + gas, rel=1e-9)


def test_events_are_kinks_of_the_corner_in_order():
    corner = built(turns=4.0)
    kinds = [e.kind for e in corner.events if e.compression <= corner.shock.full_bump]
    assert kinds == ["crossover", "bump stop", "full bump"]
    crossover = corner.events[0]
    at = corner.crossover
    assert crossover.compression == at
    assert crossover.force == pytest.approx(corner.stack_curve(at), rel=1e-12)
    k_t, k_m = rates(corner)
    gas = corner.shock.gas_rate(at)
    for side, beside, k in (
        ("left", np.nextafter(at, 0.0), k_t * k_m / (k_t + k_m)),
        ("right", np.nextafter(at, 1.0), k_m),
    ):
        assert corner.rate(at, side=side) == pytest.approx(k + gas, rel=1e-9)
        assert corner.rate(beside) == pytest.approx(k + gas, rel=1e-9)
        assert corner.force(beside) == pytest.approx(corner.force(at), rel=1e-9)
    bump = next(e for e in corner.events if e.kind == "bump stop")
    assert bump.compression == corner.shock.bump_touch
    first = corner.shock.bump_stop.law.slope(0.0)
    step = corner.rate(bump.compression) - corner.rate(bump.compression, side="left")
    assert step == pytest.approx(first, rel=1e-9)


def test_a_stack_without_rings_never_crosses_over():
    corner = built(setup=UNIT7.setups["stock"])
    assert corner.crossover == np.inf
    assert corner.gap == () and corner.ring == ()
    assert [e.kind for e in corner.events][0] == "bind"  # the short tender
    assert built(setup=UNIT7.setups["stock"], turns=np.arange(3.0)).crossover.shape == (3,)


# ---------------------------------------------------------------- the body's thread


def test_turn_limits_are_the_ends_of_the_thread():
    corner = built()
    least, most = corner.turn_limits
    assert least == 0.0  # the stack hangs loose with the collar run up
    thread = corner.shock.thread
    collar = corner.contact_at + most * thread.collar_pitch
    assert collar == pytest.approx(thread.collar_travel, abs=1e-12)
    # A stack an inch and more too long is squeezed before the collar is turned.
    extra = 1.5 * INCH + corner.contact_at
    tall = built(vehicle=retailored(extra, 1), turns=24.0)
    assert tall.contact_at == pytest.approx(-1.5 * INCH, abs=1e-12)
    assert tall.turn_limits[0] == pytest.approx(1.5 * 16)
    assert tall.collar_at == pytest.approx(0.0, abs=1e-12)


@both_axles
def test_stack_and_collar_fill_the_space_at_contact(name):
    corner = built(name)
    springs = sum(one.free_length for one in corner.stack.springs)
    assert corner.stack_length == pytest.approx(springs + corner.shock.divider_height)
    space = corner.shock.thread.seat_span - corner.contact_hang - corner.contact_at
    assert space == pytest.approx(corner.stack_length)


@both_axles
@pytest.mark.parametrize("turns", [2.0, 6.0])
def test_gap_limits_are_the_ends_of_the_rings_thread(name, turns):
    corner = built(name, turns=turns)
    least, most = corner.gap_limits()
    thread = corner.shock.thread
    highest = built(name, turns=turns, gap=most)
    assert highest.ring_at() == pytest.approx(highest.collar_at + thread.ring_height, abs=1e-9)
    lowest = built(name, turns=turns, gap=least)
    if least > 0:
        assert lowest.ring_at() == pytest.approx(thread.ring_lowest, abs=1e-9)
    else:
        assert lowest.ring_at() <= thread.ring_lowest


def test_the_divider_sits_where_its_tender_ends():
    # At contact the tender is free: collar, tender, divider. The ring is a gap above that.
    corner = built(turns=0.0, gap=1.0 * INCH)
    divider = corner.contact_at + corner.stack.springs[0].free_length
    assert corner.ring_at() == pytest.approx(divider - INCH, abs=1e-9)


# ---------------------------------------------------------------- work and the wheel


@both_axles
@pytest.mark.parametrize("turns, setup", [(4.0, "kit"), (9.0, "kit"), (6.0, "stock")])
def test_work_on_the_shaft_is_springs_gas_and_limits(name, turns, setup):
    corner = built(name, setup=UNIT7.setups[setup], turns=turns)
    shock = corner.shock
    start, stop = float(corner.hang), 0.99 * shock.full_bump
    knots = np.unique(corner.curve.x)
    work = quad(corner.force, start, stop, points=knots[(knots > start) & (knots < stop)],
                limit=200)[0]  # fmt: skip

    def springs(s):
        each = corner.stack.deflections(s + corner.seat)
        return sum(one.energy(d) for one, d in zip(corner.stack.springs, each, strict=True))

    gas = shock.gas
    left = [gas.volume - np.pi / 4 * gas.rod_diameter**2 * s for s in (start, stop)]
    absolute = gas.pressure + 101325.0
    into_gas = absolute * gas.volume * np.log(left[0] / left[1]) - 101325.0 * (left[0] - left[1])
    squeeze = stop - shock.bump_touch
    into_bump = shock.bump_stop.law.integral(0.0, squeeze)
    from_top_out = 0.5 * shock.top_out.rate * (shock.top_out.length - start) ** 2
    expected = springs(stop) - springs(start) + into_gas + into_bump - from_top_out
    assert work == pytest.approx(expected, rel=1e-9)


@both_axles
def test_wheel_and_shaft_do_the_same_work(name):
    """Virtual work: fails if the motion ratio is used upside down."""
    corner = built(name)
    start, stop = float(corner.hang), float(corner.shock.bump_touch)
    z = corner.linkage.travel(np.array([start, float(corner.crossover), stop]))
    on_wheel = quad(corner.wheel_force, z[0], z[2], points=[z[1]], limit=200)[0]
    on_shaft = quad(corner.force, start, stop, points=[float(corner.crossover)])[0]
    assert on_wheel == pytest.approx(on_shaft, rel=1e-7)


@both_axles
def test_wheel_rate_is_the_slope_of_wheel_force(name):
    corner = built(name)
    at = corner.linkage.travel(np.array([0.04, float(corner.crossover) + 0.005, 0.16]))
    step = 1e-6
    slope = (corner.wheel_force(at + step) - corner.wheel_force(at - step)) / (2 * step)
    np.testing.assert_allclose(corner.wheel_rate(at), slope, rtol=1e-5)
    ratio = corner.linkage.motion_ratio(at)
    s = corner.linkage.compression(at)
    np.testing.assert_allclose(corner.wheel_force(at), corner.force(s) * ratio, rtol=1e-12)
    bend = corner.force(s) * corner.linkage.motion_ratio_slope(at)
    np.testing.assert_allclose(corner.wheel_rate(at), corner.rate(s) * ratio**2 + bend, rtol=1e-12)


def test_full_bump_travel_is_that_of_the_shock():
    corner = built()
    assert corner.linkage.compression(corner.full_bump_travel) == pytest.approx(
        corner.shock.full_bump, abs=1e-9
    )


@both_axles
def test_corner_force_is_continuous_and_never_falls(name):
    corner = built(name)
    s = np.linspace(-0.002, corner.shock.full_bump + 0.002, 2000)
    assert (np.diff(corner.force(s)) > 0).all()
    for knot in corner.curve.x:
        near = corner.force(np.array([np.nextafter(knot, -1), knot, np.nextafter(knot, 1)]))
        np.testing.assert_allclose(near, near[1], rtol=1e-9, atol=1e-6)


def test_a_main_that_binds_below_its_held_tender_does_not_bend_the_corner():
    """A strong tender held by its ring binds, on paper, above a main that is already solid."""
    springs = {
        **UNIT7.springs,
        "strong": replace(SHIPPED.springs["tender-450-11.5"], name="strong"),
        "weak": replace(SHIPPED.springs["main-260-16"], name="weak"),
    }
    stacks = {**UNIT7.stacks, "odd": StackPlan(springs=("strong", "weak"), rings_below=("strong",))}
    vehicle = replace(UNIT7, springs=springs, stacks=stacks)
    assert springs["strong"].bind_force > springs["weak"].bind_force
    corner = built(vehicle=vehicle, stack="odd", gap=3.0 * INCH, turns=2.0)
    solid = corner.stack.solid_compression - corner.seat
    assert solid > corner.shock.full_bump
    for s in np.linspace(corner.hang, solid, 60):
        expected = spring_force(corner, s) + corner.shock.gas_force(s)
        limits = corner.shock.limits(s)
        assert corner.force(s) == pytest.approx(expected + limits, rel=1e-9)


# ---------------------------------------------------------------- batches, three springs


def test_arrays_of_turns_and_gaps_are_a_loop():
    turns = np.array([0.0, 4.0, 9.0])[:, None]
    gap = np.array([0.5, 1.0, 3.0, 4.0]) * INCH
    batch = built(turns=turns, gap=gap)
    for i, j in np.ndindex(3, 4):
        lone = built(turns=float(turns[i, 0]), gap=float(gap[j]))
        s = np.linspace(0.0, 0.22, 23)
        np.testing.assert_allclose(batch.curve.pick((i, j))(s), lone.curve(s), rtol=1e-12)
        assert batch.crossover[i, j] == pytest.approx(lone.crossover, rel=1e-12)
        assert np.broadcast_to(batch.hang, (3, 4))[i, j] == pytest.approx(lone.hang, rel=1e-12)
        assert batch.ring[0][i, j] == pytest.approx(lone.ring[0], rel=1e-12)
        assert batch.ring_at()[i, j] == pytest.approx(lone.ring_at(), rel=1e-12)


def test_arrays_of_rings_are_a_loop():
    turns = np.array([0.0, 4.0, 9.0])
    ring = np.array([0.6, 1.0, 2.0]) * INCH
    batch = built(turns=turns, ring=ring)
    for i in range(3):
        lone = built(turns=float(turns[i]), ring=float(ring[i]))
        assert batch.hang[i] == pytest.approx(lone.hang, rel=1e-12)
        assert batch.gap[0][i] == pytest.approx(lone.gap[0], rel=1e-12)
        assert batch.crossover[i] == pytest.approx(lone.crossover, rel=1e-12)


@cache
def with_three():
    stacks = {
        **UNIT7.stacks,
        "three": StackPlan(
            springs=("tender-150-6", "tender-250-5.5", "main-320-16"),
            rings_below=("tender-150-6", "tender-250-5.5"),
        ),
    }
    return replace(UNIT7, stacks=stacks)


def test_three_springs_and_two_rings():
    gaps = (0.5 * INCH, 1.5 * INCH)
    setup = KIT.change("front", stack="three", gap=gaps, turns=2.0)
    corner = assemble(with_three(), setup)[FRONT]
    k = np.array(rates(corner))
    lip = corner.shock.divider_lip
    crossed = [e for e in corner.events if e.kind == "crossover"]
    # First the upper ring: its gap and lip, all three springs moving.
    first = corner.hang + (gaps[0] + lip) * k[0] * (1 / k).sum()
    assert crossed[0].compression == pytest.approx(first, rel=1e-9)
    # Then the lower: what is left of its gap is the second spring's alone.
    left = gaps[1] + lip - (gaps[0] + lip) * k[0] * (1 / k[0] + 1 / k[1])
    second = first + left * k[1] * (1 / k[1] + 1 / k[2])
    assert crossed[1].compression == pytest.approx(second, rel=1e-9)
    assert corner.crossover == crossed[1].compression
    # Rings read back as gaps, and the lower ring is below the upper one.
    again = assemble(with_three(), setup.change("front", ring=corner.ring))[FRONT]
    np.testing.assert_allclose(again.gap, gaps, atol=1e-9)
    assert corner.ring_at(0) < corner.ring_at(1)
    assert corner.gap_limits(1)[1] > gaps[1]


def test_a_corner_of_its_own_differs_from_its_axle():
    setup = KIT.change("front_left", turns=7.0)
    corners = assemble(UNIT7, setup)
    assert tuple(corners) == CORNERS
    assert corners["front_left"].turns == pytest.approx(7.0)
    assert corners["front_right"].turns == pytest.approx(4.0)
    assert corners["front_right"].name == "front_right"
    same = assemble(UNIT7)
    assert same["front_left"].hang == same["front_right"].hang
    assert same["rear_right"].name == "rear_right"


# ---------------------------------------------------------------- refusals


def solid_vehicle():
    """A front main with so little travel that it is solid before full bump."""
    old = UNIT7.springs["main-320-16"]
    stubby = replace(old, solid_length=old.free_length - 5 * INCH)
    return replace(UNIT7, springs={**UNIT7.springs, "main-320-16": stubby})


def test_springs_solid_before_full_bump_are_a_broken_setup():
    # Cap (gap, lip, tender at hang) and 5 in of main against shock travel, worked out by hand.
    usual = built()
    have = usual.stack.rings[0].cap + 5 * INCH - usual.seat
    short = (usual.shock.full_bump - have) / INCH
    assert short > 0
    with pytest.raises(
        BrokenSetupError,
        match=rf"front_left: all springs of stack 'kit-front' are solid {short:.2f} in of shock "
        "travel before full bump; expected longer springs, a larger gap or less preload",
    ):
        built(vehicle=solid_vehicle())


def test_one_broken_setup_of_a_batch_breaks_it():
    with pytest.raises(BrokenSetupError, match="solid"):
        built(vehicle=SHIPPED, turns=np.array([4.0, 64.0]))
    # Solid at hang already: still that one sentence.
    with pytest.raises(BrokenSetupError, match="solid"):
        built(vehicle=SHIPPED, turns=300.0)


def test_broken_setup_is_a_value_error():
    assert issubclass(BrokenSetupError, ValueError)


def test_solid_just_at_full_bump_is_still_a_setup():
    usual = built()
    spare = usual.stack.solid_compression - usual.seat - usual.shock.full_bump
    old = UNIT7.springs["main-320-16"]
    # Rounding may take a nanometer, and no more.
    for change, fine in ((spare - 1e-9, True), (spare + 5e-10, True), (spare + 2e-9, False)):
        tight = replace(old, solid_length=old.solid_length + change)
        vehicle = replace(UNIT7, springs={**UNIT7.springs, "main-320-16": tight})
        if fine:
            assert built(vehicle=vehicle).force(usual.shock.full_bump) < np.inf
        else:
            with pytest.raises(BrokenSetupError, match="0.00 in of shock travel"):
                built(vehicle=vehicle)


def test_a_ringed_stack_needs_a_gap():
    with pytest.raises(
        BrokenSetupError, match="front_left: stack 'kit-front' has a stop ring; expected a gap"
    ):
        built(gap=None)


@pytest.mark.parametrize("field", ["gap", "ring"])
def test_as_many_gaps_as_rings(field):
    with pytest.raises(
        BrokenSetupError,
        match=rf"front_left: {field} has 2 value\(s\); expected 1, one for each stop ring of "
        "stack 'kit-front'",
    ):
        built(**{field: (0.02, 0.03)})


# ---------------------------------------------------------------- room to solid


@pytest.mark.parametrize("vehicle", [SHIPPED, UNIT7], ids=["shipped", "long mains"])
@both_axles
def test_room_is_judged_at_the_stop_s_last_row_and_at_metal(name, vehicle):
    """Past its ring the tender is held at the cap and the main alone goes to solid."""
    corner = built(name, vehicle=vehicle)
    shock, main = corner.shock, corner.stack.springs[1]
    left = float(corner.stack.rings[0].cap) + main.travel - float(corner.seat)
    table_end = shock.stroke - shock.bump_stop.free_length + shock.bump_stop.table[-1][0]
    assert corner.room == pytest.approx(left - table_end, abs=1e-12)
    assert corner.metal_room == pytest.approx(left - shock.stroke, abs=1e-12)
    # The springs' own force says the same: endless just past solid, not just before.
    solid = shock.stroke + corner.metal_room
    assert np.isfinite(corner.stack_curve(solid - 1e-9))
    assert np.isinf(corner.stack_curve(solid + 1e-9))
    # Without a stop the two are one.
    axle = name.split("_")[0]
    bare = built(name, vehicle=refit(vehicle, axle=axle, bump_stop=None))
    assert bare.room == bare.metal_room


def test_the_shipped_front_just_clears_metal():
    corner = built(vehicle=SHIPPED)
    # Of an invented vehicle: half an inch at the row, next to nothing at metal.
    assert corner.room == pytest.approx(0.504 * INCH, abs=0.001 * INCH)
    assert corner.metal_room == pytest.approx(0.004 * INCH, abs=0.001 * INCH)


def test_each_spring_is_squeezed_no_further_than_solid():
    corner = built(setup=SHIPPED.setups["stock"], vehicle=SHIPPED)
    for at in (corner.shock.full_bump, corner.shock.stroke, 1.0):
        squeezed = corner.squeezed(at)
        travels = [spring.travel for spring in corner.stack.springs]
        assert squeezed[0] == pytest.approx(travels[0])  # the short tender is long solid
        assert (squeezed <= travels).all()
    batch = built(turns=np.array([4.0, 8.0]))
    assert batch.squeezed(0.1).shape == batch.safety_factors.shape == (2, 2)


def test_a_changed_set_up_drops_its_note():
    setup = replace(KIT, note="as it came in")
    assert setup.change("front", turns=6.0).note == ""
    corners = assemble(UNIT7, setup)
    assert hold_rings(setup, corners).note == setup.note  # told otherwise, not changed


@pytest.mark.parametrize("turns", np.linspace(0.0, 12.0, 25))
def test_a_gap_of_nothing_is_never_less_by_rounding(turns):
    setup = KIT.change("all", turns=turns, gap=0.0)
    left = hold_rings(setup, assemble(UNIT7, setup))
    corners = assemble(UNIT7, left)
    assert all(0 <= corner.gap[0] < 1e-12 for corner in corners.values())
    again = reset_gaps(left, corners)
    for corner in again.corners:
        assert corner.ring is None and corner.gap == pytest.approx(0.0, abs=1e-12)


def test_a_divider_over_its_ring_has_no_gap_to_reset():
    # A turn back lets the divider rise onto a ring that stood level with its edge, by the lip.
    setup = KIT.change("all", turns=8.0, gap=0.0)
    left = hold_rings(setup, assemble(UNIT7, setup)).change("all", turns=7.0)
    corners = assemble(UNIT7, left)
    assert all(corner.gap[0] < -1e-4 for corner in corners.values())
    with pytest.raises(ValueError, match=r"gap is -0\.00\d+; expected a number of m from 0"):
        reset_gaps(left, corners)


# ---------------------------------------------------------------- held at full extension


@both_axles
def test_fewest_turns_keep_the_springs_on_their_seats_at_full_extension(name):
    corner = built(name, vehicle=SHIPPED)
    shock = corner.shock
    # Shaft out to the metal: the space between collar and retainer, less the stack.
    at_metal = shock.thread.seat_span - corner.collar_at - corner.stack_length
    assert corner.loose == pytest.approx(max(0.0, at_metal), abs=1e-12)
    fewest = corner.held_turns
    # The trade's windows start at 2 turns in front, 4 at the rear (common practice, no source).
    assert 2 < fewest < corner.turns
    assert built(name, vehicle=SHIPPED, turns=fewest).loose == pytest.approx(
        shock.retainer_clearance, abs=1e-12
    )
    assert built(name, turns=20.0).loose == 0
    assert corner.least_turns == max(fewest, corner.turn_limits[0])
    # Without a top-out spring the shock hangs at the metal, and contact is as far as it goes.
    bare = built(name, vehicle=without_top_out())
    assert bare.held_turns == 0 and bare.contact_hang == pytest.approx(0, abs=1e-4)
