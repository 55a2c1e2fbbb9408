"""The laws of the trade, each over vehicles, stacks and shocks drawn at random.

What is drawn here is far wider than any vehicle file: one to six springs of any law, rings that
close early, late or never, gas or none, top-out springs, bumpers, bars, uneven scales, people and
kit anywhere. `written again` means against `independent.py`, which shares no calculation.

Run ``pytest tests/laws/test_laws.py --hypothesis-profile=search`` for twenty times the examples
from a new seed each time.

Laws that are stated elsewhere, over draws of their own:

* curves add, invert, clip and integrate exactly (`test_curves`);
* a stack against a root finder and against least energy, more turns and a stiffer spring never
  less force, a ring not yet met does nothing (`test_stack`, `test_corner`);
* variable-pitch springs against brute force, a bind one float either side (`test_springs`);
* isothermal, adiabatic and hot gas (`test_shock`); a linkage loses no work (`test_linkage`);
* 200 vehicles against their free-body equations, in turns too (`test_stance`, `test_rolling`);
* linear cars against textbooks, the order of the time step, the same motion by scipy, free fall
  (`test_driving`); lean, lifting and tipping against the books (`test_rolling`);
* the damper's flow equations by a root finder, the error of its straight pieces (`test_damper`);
* every kind of quantity shown and read back in both systems (`test_units`); rides and set-ups
  through CSV and the job log to the last bit (`test_joblog`); tables of a sweep (`test_whatif`);
* a batch is a loop: `test_curves`, `test_stack`, `test_corner`, `test_stance`, `test_driving`.
"""

import dataclasses
import json
import re
import typing
from contextlib import contextmanager
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

import suspkit as sk
from suspkit.dynamics import drive as driving
from suspkit.dynamics import events
from suspkit.dynamics.drive import AUDIT_LIMIT, UntrustedRunError, drive
from suspkit.parts import shock
from suspkit.parts.damper import Damper, DynoTable, Leak, Needle, Oil, Passages, Valve, Valving
from suspkit.parts.shock import BumpStop, Clicker, Gas, TopOut
from suspkit.shop import worksheet
from suspkit.statics import settle as stance
from suspkit.statics.settle import work
from suspkit.statics.view import look, readout
from suspkit.units import INCH, SYSTEMS, Unit, parse, tape, to_unit, unit_label
from suspkit.vehicle import corner, file
from suspkit.vehicle.corner import assemble, hold_rings, reset_gaps
from suspkit.vehicle.setup import AXLES, CORNERS, CornerSetup, Setup
from suspkit.vehicle.vehicle import Bar, Item, Load, Masses, Scales, StackPlan, Vehicle
from tests.dynamics.test_drive import linear_car
from tests.statics.test_roll import turned
from tests.tools import independent
from tests.tools.independent import make_axle

G = independent.G
SWAP = [1, 0, 3, 2]  # left for right
ROUND = [3, 2, 1, 0]  # end for end


def examples(count):
    """So many examples, or so many times more in a search."""
    # Drawing a whole vehicle takes a while on a busy machine; that says nothing about it.
    return settings(
        max_examples=count * settings.default.max_examples // 100 or 1,
        suppress_health_check=[HealthCheck.too_slow],
    )


# ------------------------------------------------------------------------------- what is drawn

SHARE = st.floats(0.0, 1.0)


def maybe(strategy):
    return st.none() | strategy


@st.composite
def springs(draw, rate=None, travel=None, name="s"):
    """A spring of any law, about so stiff."""
    rate = draw(st.floats(2e4, 2e5)) if rate is None else rate
    travel = draw(st.floats(0.02, 0.15)) if travel is None else travel
    first = draw(st.floats(0.2, 0.8))
    law = draw(st.sampled_from(["rate", "rate", "table", "coils"]))
    rows = {"rate": rate}
    if law == "table":  # softens or stiffens at its knee
        knee = (first * travel, first * travel * rate)
        end = knee[1] + draw(st.floats(0.6, 2.0)) * rate * (1 - first) * travel
        rows = {"table": (knee, (travel, end))}
    if law == "coils":
        parts = draw(st.lists(st.floats(0.1, 1.0), min_size=2, max_size=4))
        firm = [rate * draw(st.floats(1.5, 4.0)) for _ in parts]
        gaps = [travel * part / sum(parts) for part in parts]
        rows = {"coils": tuple(zip(firm, gaps, strict=True))}
    return sk.Spring(name=name, free_length=travel + 0.06, solid_length=0.06, **rows)


@st.composite
def stacks(draw):
    """One to six springs with a ring under any of them."""
    count = draw(st.integers(1, 6))
    chain = [draw(springs(name=f"s{i}")) for i in range(count)]
    above = np.cumsum([one.travel for one in chain])
    crowded = draw(st.booleans())  # rings so near that any may be met first
    rings = [
        sk.StopRing(below=i, cap=float(above[0 if crowded else i]) * draw(st.floats(0.02, 1.3)))
        for i in range(count - 1)
        if crowded or draw(st.booleans())
    ]
    return sk.Stack(chain, rings)


@st.composite
def passages(draw, high):
    """Bleed and valve of one direction."""
    bleed = Needle(
        seat=draw(st.floats(3e-3, 12e-3)), half_angle=draw(st.floats(0.2, 0.8)),
        closed=draw(st.floats(2e-4, 1e-3)), lift=draw(st.just(0.0) | st.floats(5e-5, 1e-3)),
    )  # fmt: skip
    opens = draw(st.floats(0.0, 2e6))
    valve = Valve(
        opens_at=opens, full_after=draw(st.floats(1e5, 3e6)), area=draw(st.floats(5e-5, 4e-4)),
        per_click=draw(st.floats(1e3, 2e5)) if high else 0.0,
    )  # fmt: skip
    return Passages(bleed=bleed, valve=valve)


@st.composite
def dampers(draw, rod=None, high=None):
    high = draw(st.booleans()) if high is None else high
    oil = Oil(density=draw(st.floats(800, 950)), viscosity_40=16e-6, viscosity_100=4e-6)
    leak = Leak(diameter=draw(st.floats(2e-4, 8e-4)), length=8e-3)
    return Damper(
        piston_diameter=draw(st.floats(0.036, 0.06)),
        rod_diameter=draw(st.floats(0.014, 0.024)) if rod is None else rod,
        valving=Valving(
            oil=oil, compression=draw(passages(high)), rebound=draw(passages(high)),
            leak=draw(st.just(leak) | st.none()),
        ),
    )  # fmt: skip


@st.composite
def bumpers(draw):
    free = draw(st.floats(0.03, 0.06))
    squeeze = free * np.cumsum([draw(st.floats(0.15, 0.3)) for _ in range(3)])
    force = np.cumsum([draw(st.floats(200, 1500)) for _ in range(3)])
    return BumpStop(
        free_length=free, table=tuple(zip(squeeze.tolist(), force.tolist(), strict=True))
    )


@st.composite
def axles(draw, *, rear):
    stroke = draw(st.floats(0.2, 0.3))
    rod = draw(st.floats(0.014, 0.024))
    gas = Gas(
        rod_diameter=rod, pressure=draw(st.floats(2e5, 1.6e6)),
        volume=np.pi / 4 * rod**2 * stroke * draw(st.floats(1.8, 5.0)),
    )  # fmt: skip
    bar = Bar(
        diameter=draw(st.floats(0.015, 0.026)), length=0.8, arm=0.25,
        motion_ratio=draw(st.floats(0.3, 0.6)),
    )  # fmt: skip
    top = TopOut(rate=draw(st.floats(1e4, 6e4)), length=draw(st.floats(0.01, 0.05)))
    axle = make_axle(
        a=draw(st.floats(0.45, 0.65)), b=draw(st.integers(-100, 250)) / 1000, stroke=stroke,
        track=draw(st.floats(1.3, 1.8)), unsprung=draw(st.floats(22, 45)),
        tyre_rate=draw(st.floats(90e3, 250e3)), tyre_radius=draw(st.floats(0.33, 0.45)),
        gas=draw(maybe(st.just(gas))), top_out=draw(maybe(st.just(top))),
        bump_stop=draw(maybe(bumpers())), friction=draw(st.floats(0.0, 120.0)),
        lip=draw(st.sampled_from([0.0, 0.003])),
        pitch=draw(st.sampled_from([0.0015, 0.002, INCH / 16])), bar=draw(maybe(st.just(bar))),
        hub_below=draw(st.floats(0.1, 0.25)), point_behind=2.3 if rear else 0.3,
    )  # fmt: skip
    damper = draw(dampers(rod=rod))
    clickers = {name: Clicker(count=12) for name in damper.adjusters}
    held = replace(axle.shock, damper=damper, clickers=clickers)
    tyre = replace(axle.tyre, damping=draw(st.sampled_from([0.0, 0.0, 400.0])))
    return replace(axle, shock=held, tyre=tyre)


KINDS = ("single", "pair", "triple")


@st.composite
def vehicles(draw, *, even=False, kinds=KINDS, laws=True, place=("gap", "ring")):
    """A vehicle with a set-up and a load; ``even`` is the same left and right."""
    ends = {"front": draw(axles(rear=False)), "rear": draw(axles(rear=True))}
    wheelbase = draw(st.floats(2.2, 3.3))
    share, mass = draw(st.floats(0.4, 0.5)), draw(st.floats(600, 1100))
    half = 0.5 * mass * np.array([share, share, 1 - share, 1 - share])
    if not even:
        half *= [draw(st.floats(0.93, 1.07)) for _ in CORNERS]
    rack, plans, corners = {}, {}, {}
    for i, name in enumerate(CORNERS):
        if i % 2 and (even or draw(st.booleans())):
            corners[name] = corners[CORNERS[i - 1]]
            continue
        axle = ends[name.partition("_")[0]]
        stroke = axle.shock.stroke
        # The whole stack would stand between a fifth and all of its stroke.
        soft = (half[i] - axle.unsprung_mass) * G / 0.6 / (draw(st.floats(0.2, 1.1)) * stroke)
        ratio = draw(st.floats(0.5, 3.0))
        wanted = {
            "helper": (6 * soft, 0.03),
            "tender": (soft * (1 + 1 / ratio), draw(st.floats(0.03, 0.14))),
            "main": (soft * (1 + ratio), 1.45 * stroke),
        }
        kind = draw(st.sampled_from(kinds))
        parts = {"single": ("main",), "pair": ("tender", "main")}.get(kind, tuple(wanted))
        fitted = {}
        for part in parts:
            rate, travel = wanted[part]
            plain = sk.Spring(name=part, rate=rate, free_length=travel + 0.06, solid_length=0.06)
            fitted[f"{part}-{name}"] = draw(springs(rate, travel, part)) if laws else plain
        rack |= fitted
        rings = tuple(fitted)[:-1]
        plans[f"stack-{name}"] = StackPlan(springs=tuple(fitted), rings_below=rings)
        seats = np.cumsum([one.free_length for one in fitted.values()])[:-1]
        places = tuple(float(0.6 * seat * draw(SHARE)) for seat in seats)
        how = (
            {draw(st.sampled_from(place)): places if len(places) > 1 else places[0]}
            if places
            else {}
        )
        corners[name] = CornerSetup(
            stack=f"stack-{name}", turns=draw(st.floats(0, 10)), **how,
            clicks={n: float(draw(st.integers(0, 12))) for n in axle.shock.clickers},
        )  # fmt: skip
    for end, axle in ends.items():
        length = max(
            sum(rack[s].free_length for s in plans[corners[c].stack].springs) for c in AXLES[end]
        )
        thread = replace(
            axle.shock.thread, seat_span=length + 0.06, collar_travel=0.4, ring_lowest=length + 0.06
        )
        ends[end] = replace(axle, shock=replace(axle.shock, thread=thread))
    bars = {f"{end}_bar": draw(st.booleans()) for end in ends}
    items = {
        f"item{i}": Item(
            mass=draw(st.floats(0, 180)), behind_front_axle=draw(st.floats(0, wheelbase)),
            left_of_centre=0.0 if even else draw(st.floats(-0.4, 0.4)),
            above_frame=draw(st.floats(0.2, 0.8)),
        )
        for i in range(draw(st.integers(0, 3)))
    }  # fmt: skip
    scales = Scales(
        **dict(zip(CORNERS, half.tolist(), strict=True)),
        sprung_cg_above_frame=draw(st.floats(0.2, 0.45)),
        pitch_gyration=draw(maybe(st.floats(0.8, 1.4))),
        roll_gyration=draw(maybe(st.floats(0.4, 0.7))),
    )
    return Vehicle(
        name="invented", wheelbase=wheelbase, **ends, springs=rack, stacks=plans, scales=scales,
        setups={"one": Setup(**corners, **bars)}, current="one", items=items,
        loads={"some": Load(items=tuple(items))},
    )  # fmt: skip


def built(vehicle, setup=None):
    """Its corners; what cannot be put together is not drawn."""
    try:
        return assemble(vehicle, setup)
    except sk.BrokenSetupError:
        assume(False)


def stands(vehicle, setup=None, **how):
    """Its stance; what cannot be put together or tips over is not drawn."""
    found = sk.settle(vehicle, setup, **{"load": "some", "corners": built(vehicle, setup)} | how)
    assume(not found.tipped.any())
    return found


def pieces(curve, start, stop):
    """Ends of the straight pieces of a curve in a range."""
    inside = curve.x[(curve.x > start) & (curve.x < stop)]
    return np.unique(np.r_[start, inside, stop])


def beside(curve, at, by=1e-7):
    """Not at a kink, where a slope has two sides."""
    assume(np.abs(curve.x - at).min() > by)


@st.composite
def corners(draw, **how):
    """One corner of a vehicle."""
    return built(draw(vehicles(**how)))[draw(st.sampled_from(CORNERS))]


# ---------------------------------------------------------------------------- springs in a stack


def squeezed(stack, force):
    """Each spring's own deflection with every ring where it is: the recursion written again."""
    caps = {ring.below: float(ring.cap) for ring in stack.rings}
    own, total = [], 0.0
    for i, one in enumerate(stack.springs):
        total += independent.spring_deflection(one, force)
        if total > caps.get(i, np.inf):  # all above are held where they were when it was met
            total = caps[i]
            own = [0.0] * len(own)
            own.append(0.0)
        else:
            own.append(independent.spring_deflection(one, force))
    return np.array(own), total


@examples(100)
@given(stacks(), st.floats(0.001, 0.999))
def test_springs_that_move_are_in_series_and_softer_than_the_softest(stack, share):
    x = share * stack.solid_compression
    beside(stack.curve, x)
    force = stack.force(x)
    step = 1e-7 * force
    less, total_less = squeezed(stack, force - step)
    more, total_more = squeezed(stack, force + step)
    slope = (total_more - total_less) / (2 * step)
    assume(slope > 0)
    moving = (more - less) / (2 * step)
    moving = moving[moving > 0]
    assert stack.rate(x) == pytest.approx(1 / slope, rel=1e-5)
    assert stack.rate(x) == pytest.approx(1 / moving.sum(), rel=1e-5)
    assert stack.rate(x) <= (1 / moving).min() * (1 + 1e-5)


@examples(100)
@given(stacks(), st.floats(0.0, 0.9999))
def test_energy_of_a_stack_is_that_of_its_springs_and_the_integral_of_force(stack, share):
    x = share * stack.solid_compression
    each = zip(stack.springs, stack.deflections(x), strict=True)
    assert stack.energy(x) == pytest.approx(sum(one.energy(d) for one, d in each), rel=1e-9)
    ends = pieces(stack.curve, 0.0, x)
    forces = np.array([independent.Stack(stack.springs, caps_of(stack)).force(at) for at in ends])
    area = (0.5 * (forces[1:] + forces[:-1]) * np.diff(ends)).sum()
    assert stack.energy(x) == pytest.approx(area, rel=1e-6, abs=1e-9)


def caps_of(stack):
    return {ring.below: float(ring.cap) for ring in stack.rings}


@examples(60)
@given(stacks(), st.floats(0.3, 3.0), st.floats(0.0, 0.999))
def test_all_springs_stiffer_by_one_factor_is_the_force_by_that_factor(stack, factor, share):
    firmer = [sk.VariedSpring(nominal=one, stiffer=factor) for one in stack.springs]
    x = share * stack.solid_compression
    assert sk.Stack(firmer, stack.rings).force(x) == pytest.approx(
        factor * stack.force(x), rel=1e-9
    )


@examples(60)
@given(st.lists(springs(), min_size=2, max_size=5), st.randoms(), st.floats(0.0, 0.999))
def test_without_rings_the_order_of_the_springs_does_not_matter(chain, order, share):
    stack, mixed = sk.Stack(chain), sk.Stack(order.sample(chain, len(chain)))
    x = share * stack.solid_compression
    assert mixed.solid_compression == pytest.approx(stack.solid_compression, rel=1e-12)
    assert mixed.force(x) == pytest.approx(stack.force(x), rel=1e-9, abs=1e-9)


@examples(60)
@given(stacks(), st.data())
def test_a_spring_sawn_in_two_is_the_same_stack(stack, data):
    """Half as long is twice as stiff."""
    which = data.draw(st.integers(0, len(stack.springs) - 1))
    part, share = data.draw(st.floats(0.1, 0.9)), data.draw(st.floats(0.0, 0.999))
    rate = data.draw(st.floats(2e4, 2e5))
    whole = sk.Spring(rate=rate, free_length=0.16, solid_length=0.06)
    halves = [
        sk.Spring(rate=rate / p, free_length=0.06 + 0.1 * p, solid_length=0.06)
        for p in (part, 1 - part)
    ]
    chain = list(stack.springs)
    one = sk.Stack([*chain[:which], whole, *chain[which + 1 :]], stack.rings)
    rings = [replace(r, below=r.below + (r.below >= which)) for r in stack.rings]
    two = sk.Stack([*chain[:which], *halves, *chain[which + 1 :]], rings)
    x = share * one.solid_compression
    assert two.solid_compression == pytest.approx(one.solid_compression, rel=1e-9)
    assert two.force(x) == pytest.approx(one.force(x), rel=1e-7, abs=1e-6)


# -------------------------------------------------------------------------------- one corner as set


@examples(25)
@given(corners())
def test_a_corner_never_jumps_and_never_gives_way(found):
    """Across every crossover, bind, coil, row of a table, bump stop and metal limit."""
    full = found.shock.full_bump
    at = np.sort(np.r_[np.linspace(-1e-3, full + 1e-3, 400), found.curve.x])
    at = at[(at > -1e-3) & (at < full + 1e-3)]
    assert (np.diff(found.force(at)) >= -1e-9).all()
    steepest = 2.5 * shock.STOP_RATE
    for event in found.events:
        if np.isfinite(event.compression) and event.compression < full:
            around = found.force(event.compression + np.array([-1e-9, 0.0, 1e-9]))
            assert (np.abs(np.diff(around)) < 1e-9 * steepest + 1e-6).all(), event


@examples(25)
@given(corners(), SHARE, SHARE)
def test_work_on_a_corner_is_the_integral_of_its_force(found, one, other):
    start, stop = (share * found.shock.full_bump for share in sorted([one, other]))
    ends = pieces(found.curve, start, stop)
    at, weight = np.polynomial.legendre.leggauss(8)  # the gas between two kinks is smooth
    area = 0.0
    for a, b in pairwise(ends):
        area += 0.5 * (b - a) * weight @ found.force(0.5 * (a + b) + 0.5 * (b - a) * at)
    assert work(found, start, stop) == pytest.approx(area, rel=1e-8, abs=1e-7)
    assert work(found, stop, start) == pytest.approx(-area, rel=1e-8, abs=1e-7)


@examples(25)
@given(corners(), st.floats(0.01, 0.99))
def test_rates_are_the_slopes_of_forces(found, share):
    z = share * found.full_bump_travel
    s = found.linkage.compression(z)
    beside(found.curve, s, by=2e-6)
    cell = z / found.linkage.travel_step
    assume(abs(cell - round(cell)) * found.linkage.travel_step > 2e-6)
    step = 1e-6

    def slope(force, at):
        return (force(at + step) - force(at - step)) / (2 * step)

    assert found.rate(s) == pytest.approx(slope(found.force, s), rel=1e-6, abs=1e-2)
    assert found.wheel_rate(z) == pytest.approx(slope(found.wheel_force, z), rel=1e-5, abs=1e-1)


# --------------------------------------------------------------------------------- collar and ring


@examples(20)
@given(vehicles())
def test_a_ring_held_and_a_gap_reset_are_two_ways_to_say_one_setup(vehicle):
    made = built(vehicle)
    there = stands(vehicle)
    for say in (hold_rings, reset_gaps):
        setup = say(vehicle.setup, made)
        again = built(vehicle, setup)
        for name, one in made.items():
            other = again[name]
            assert_allclose(other.gap, one.gap, rtol=1e-9, atol=1e-12)
            assert_allclose(other.ring, one.ring, rtol=1e-9, atol=1e-12)
            assert_allclose([other.hang, other.seat], [one.hang, one.seat], rtol=1e-9, atol=1e-12)
        assert_allclose(stands(vehicle, setup).height, there.height, rtol=1e-9)


@examples(25)
@given(vehicles(kinds=("pair", "triple"), place=("gap",)), st.floats(0.0, 12.0))
def test_a_gap_reset_is_read_back_and_the_ring_is_met_after_gap_and_lip(vehicle, turns):
    setup = vehicle.setup.change("all", turns=turns)
    for name, found in built(vehicle, setup).items():
        gaps = getattr(setup, name).gap
        assert_allclose(found.gap, gaps, atol=1e-12)
        met = [e for e in found.events if e.kind == "crossover" and np.isfinite(e.compression)]
        for i, ring in enumerate(found.stack.rings):
            above = found.stack.springs[ring.below].name
            # Met first, or the ring under it was and what is above has stopped moving.
            for event in (e for e in met if e.name == above):
                moved = found.stack.deflection_above(i, event.compression + found.seat)
                moved -= found.stack.deflection_above(i, found.hang + found.seat)
                assert moved == pytest.approx(found.gap[i] + found.shock.divider_lip, abs=1e-9)


@examples(25)
@given(vehicles(kinds=("pair",), laws=False, place=("ring",)), st.floats(0.1, 12.0))
def test_with_the_ring_left_preload_opens_the_gap_by_the_mains_share(vehicle, more):
    """The tender takes k_main / (k_main + k_tender) of what the springs are squeezed.

    What the top-out spring gives back squeezes nothing, and opens the gap by the tender's share.
    """
    before = built(vehicle, vehicle.setup.change("all", turns=0.0))
    after = built(vehicle, vehicle.setup.change("all", turns=more))
    for name in CORNERS:
        one, two = before[name], after[name]
        tender, main = (spring.rate for spring in two.stack.springs)
        squeeze = two.seat + two.hang
        # Neither met nor bound at droop hang.
        share = main / (main + tender)
        assume(0 < share * squeeze < min(two.stack.rings[0].cap, two.stack.springs[0].travel))
        assume(one.slack == 0)
        opened = two.gap[0] - one.gap[0]
        given_back = two.given_back - one.given_back
        main_takes, tender_takes = 1 - share, share
        expected = main_takes * two.preload + tender_takes * given_back
        assert opened == pytest.approx(expected, abs=1e-9)
        assert two.ring == one.ring


@examples(25)
@given(vehicles(laws=False), st.floats(0.0, 10.0), st.floats(0.0, 10.0), st.floats(0.01, 0.99))
def test_preload_adds_force_but_no_rate_from_contact_to_crossover(vehicle, one, other, share):
    pair = [built(vehicle, vehicle.setup.change("all", turns=turns)) for turns in (one, other)]
    for name in CORNERS:
        two = [made[name] for made in pair]
        start = max(c.hang for c in two)
        assume(all(c.seat + start > 0 for c in two))
        kinks = [
            e.compression for c in two for e in c.events if e.kind in ("crossover", "bind", "coil")
        ]
        stop = min([c.shock.full_bump for c in two] + kinks)
        if stop <= start + 1e-4:
            continue
        s = start + share * (stop - start)
        for c in two:
            beside(c.curve, s)
        assert two[0].rate(s) == pytest.approx(two[1].rate(s), rel=1e-9)
        series = 1 / sum(1 / spring.rate for spring in two[0].stack.springs)
        more = two[1].preload - two[0].preload
        assert two[1].force(s) - two[0].force(s) == pytest.approx(series * more, rel=1e-9, abs=1e-6)


@examples(25)
@given(
    vehicles(kinds=("pair", "triple"), place=("ring",)),
    st.floats(0.0, 10.0), st.floats(0.0, 10.0), SHARE,
)  # fmt: skip
def test_past_crossover_with_the_ring_left_the_collar_does_nothing(vehicle, one, other, share):
    pair = [built(vehicle, vehicle.setup.change("all", turns=turns)) for turns in (one, other)]
    for name in CORNERS:
        two = [made[name] for made in pair]
        # The lowest ring carries what is above it; of two, it may be the first to be met.
        last = two[0].stack.springs[-2].name
        met = max(
            min(e.compression for e in c.events if (e.kind, e.name) == ("crossover", last))
            for c in two
        )
        full = two[0].shock.full_bump
        if met < full:
            s = met + share * (full - met)
            assert two[0].force(s) == pytest.approx(two[1].force(s), rel=1e-9, abs=1e-5)


# ------------------------------------------------------------------------------ how it stands


@examples(25)
@given(vehicles(), st.floats(-6.0, 6.0), st.sampled_from([-1.0, 0.0, 1.0]))
def test_forces_and_moments_vanish_written_again(vehicle, lateral, friction):
    found = stands(vehicle, lateral=lateral, friction=friction)
    body = independent.FreeBody(vehicle, vehicle.setup, "some", friction)
    pose = np.r_[found.frame_height, found.pitch, found.roll, found.travel]
    assert np.abs(turned(body, pose, lateral)).max() < 1e-8
    assert_allclose(body.tyre_loads(pose), found.tyre_load, rtol=1e-7, atol=1e-5)
    if friction == 0:
        for i, one in enumerate(found.corners.values()):
            assert one.wheel_force(found.travel[i]) == pytest.approx(found.wheel_force[i], rel=1e-9)
            left = work(one, found.compression[i], one.shock.full_bump)
            assert found.bottoming.energy[i] == pytest.approx(left, rel=1e-9, abs=1e-9)
            beside(one.curve, found.compression[i])
            rate = one.wheel_rate(found.travel[i])
            assert rate == pytest.approx(found.wheel_rate[i], rel=1e-7)


@examples(25)
@given(vehicles(), st.floats(-12.0, 12.0))
def test_tyres_push_never_pull_and_carry_all_the_weight(vehicle, lateral):
    found = stands(vehicle, lateral=lateral)
    assert (found.tyre_load >= 0).all()
    assert ((found.tyre_load == 0) == found.lifted).all()
    weight = sum(getattr(vehicle.scales, name) for name in CORNERS)
    weight += sum(item.mass for item in vehicle.items.values())
    assert found.tyre_load.sum() == pytest.approx(weight * G, rel=1e-9)


@examples(20)
@given(vehicles(), st.floats(-8.0, 8.0))
def test_in_a_mirror_left_is_right(vehicle, lateral):
    other = independent.mirrored(vehicle, vehicle.setup)
    ours, theirs = stands(vehicle, lateral=lateral), stands(*other, lateral=-lateral)
    assert_allclose(theirs.height[SWAP], ours.height, rtol=1e-8)
    assert_allclose(theirs.tyre_load[SWAP], ours.tyre_load, rtol=1e-7, atol=1e-5)
    assert_allclose(theirs.roll, -ours.roll, rtol=1e-7, atol=1e-10)
    one, two = (
        sk.roll_balance(v, s, load="some", lateral=np.array([-2.0, 2.0]))
        for v, s in ((vehicle, vehicle.setup), other)
    )
    close = {"rtol": 1e-5, "atol": 1e-7}
    assert_allclose(two.angle, -one.angle[::-1], **close)
    assert_allclose(two.transfer, -one.transfer[:, ::-1], rtol=1e-5, atol=1e-3)
    assert_allclose(two.angle_per_g, one.angle_per_g, **close)
    assert_allclose([two.centre_height, two.stability_factor], [one.centre_height,
                    one.stability_factor], rtol=1e-9)  # fmt: skip


def end_for_end(vehicle):
    """The same vehicle told from its other end: rear for front, right for left."""

    def swap(thing):
        return replace(
            thing, **{c: getattr(thing, CORNERS[r]) for c, r in zip(CORNERS, ROUND, strict=False)}
        )

    def along(place):
        return replace(place, behind_front_axle=vehicle.wheelbase - place.behind_front_axle)

    ends = [replace(axle, point=along(axle.point)) for axle in (vehicle.rear, vehicle.front)]
    setup = swap(vehicle.setup)
    setup = replace(setup, front_bar=setup.rear_bar, rear_bar=setup.front_bar)
    items = {
        name: replace(along(item), left_of_centre=-item.left_of_centre)
        for name, item in vehicle.items.items()
    }
    return replace(
        vehicle, front=ends[0], rear=ends[1], scales=swap(vehicle.scales), items=items,
        setups={"one": setup},
    )  # fmt: skip


@examples(20)
@given(vehicles(), st.floats(-8.0, 8.0))
def test_which_end_is_called_the_front_does_not_matter(vehicle, lateral):
    ours = stands(vehicle, lateral=lateral)
    theirs = stands(end_for_end(vehicle), lateral=-lateral)
    assert_allclose(theirs.height[ROUND], ours.height, rtol=1e-8)
    assert_allclose(theirs.tyre_load[ROUND], ours.tyre_load, rtol=1e-7, atol=1e-5)
    assert_allclose(theirs.frequency[ROUND], ours.frequency, rtol=1e-6)
    assert_allclose([theirs.pitch, theirs.roll], [-ours.pitch, -ours.roll], rtol=1e-7, atol=1e-10)


@examples(20)
@given(vehicles(), st.floats(-0.3, 0.3))
def test_where_heights_are_measured_from_does_not_matter(vehicle, up):
    """The frame's bottom line told a bit higher: all that is above it is less far above."""
    ends = {
        end: replace(
            axle, hub_below_frame=axle.hub_below_frame + up,
            point=replace(axle.point, above_frame=axle.point.above_frame - up),
        )
        for end, axle in (("front", vehicle.front), ("rear", vehicle.rear))
    }  # fmt: skip
    items = {n: replace(i, above_frame=i.above_frame - up) for n, i in vehicle.items.items()}
    low = vehicle.scales.sprung_cg_above_frame - up
    moved = replace(
        vehicle, **ends, items=items, scales=replace(vehicle.scales, sprung_cg_above_frame=low)
    )
    ours, theirs = stands(vehicle, lateral=2.0), stands(moved, lateral=2.0)
    assert_allclose(theirs.height, ours.height, rtol=1e-8)
    assert_allclose(theirs.tyre_load, ours.tyre_load, rtol=1e-7, atol=1e-5)
    rise = up * np.cos(ours.pitch) * np.cos(ours.roll)
    assert_allclose(theirs.frame_height - ours.frame_height, rise, atol=1e-8)


@examples(15)
@given(vehicles(), st.randoms(), SHARE)
def test_names_order_and_how_a_load_is_parted_do_not_matter(vehicle, order, share):
    def shuffled(things):
        return dict(order.sample(list(things.items()), len(things)))

    def other(name):
        return f"zz {name}"

    items = {}
    for name, item in shuffled(vehicle.items).items():  # each parted in two, one after the other
        items[f"a {name}"] = replace(item, mass=share * item.mass)
        items[f"b {name}"] = replace(item, mass=(1 - share) * item.mass)
    plans = {
        other(name): replace(
            plan, springs=tuple(map(other, plan.springs)),
            rings_below=tuple(map(other, reversed(plan.rings_below))),
        )
        for name, plan in shuffled(vehicle.stacks).items()
    }  # fmt: skip
    setup = replace(
        vehicle.setup,
        **{c: replace(own, stack=other(own.stack))
           for c, own in zip(CORNERS, vehicle.setup.corners, strict=True)},
    )  # fmt: skip
    renamed = replace(
        vehicle, items=items, loads={"some": Load(items=tuple(shuffled(items)))}, stacks=plans,
        springs={other(n): s for n, s in shuffled(vehicle.springs).items()},
        setups={"other": setup}, current="other",
    )  # fmt: skip
    ours, theirs = stands(vehicle), stands(renamed)
    assert_allclose(theirs.height, ours.height, rtol=1e-8)
    assert_allclose(theirs.tyre_load, ours.tyre_load, rtol=1e-7)
    assert_allclose(renamed.inertia("some"), vehicle.inertia("some"), rtol=1e-9)


@examples(20)
@given(vehicles(even=True))
def test_bars_do_nothing_in_heave_and_pitch(vehicle):
    on, off = (
        stands(vehicle, replace(vehicle.setup, front_bar=bar, rear_bar=bar))
        for bar in (True, False)
    )
    assert_allclose(on.height, off.height, rtol=1e-9)
    assert_allclose(on.tyre_load, off.tyre_load, rtol=1e-8)
    assert abs(on.roll) < 1e-9


@examples(20)
@given(vehicles())
def test_a_harder_turn_leans_more_and_loads_the_outside_more(vehicle):
    found = sk.settle(vehicle, load="some", lateral=np.linspace(-9, 9, 73), corners=built(vehicle))
    lean = found.roll[~found.tipped]
    assume(lean.size > 2)
    assert (np.diff(lean) > 0).all()
    outside = found.tyre_load[1::2].sum(axis=0)[~found.tipped]
    assert (np.diff(outside) >= -1e-6).all()


def aboard(masses, extra):
    """The sprung mass with more at places (mass, behind, left, above); masses may be arrays."""
    parts = [dataclasses.astuple(masses), *extra]
    total = sum(part[0] for part in parts)
    centre = [sum(part[0] * part[i] for part in parts) / total for i in (1, 2, 3)]
    return Masses(mass=total, behind_front_axle=centre[0], left_of_centre=centre[1],
                  above_frame=centre[2])  # fmt: skip


def height_of(found, place):
    behind, left, above = place
    sideways = left * np.sin(found.roll) + above * np.cos(found.roll)
    return found.frame_height + behind * np.sin(found.pitch) + np.cos(found.pitch) * sideways


@st.composite
def places(draw):
    return tuple(draw(st.floats(*ends)) for ends in ((-0.5, 3.5), (-0.6, 0.6), (0.0, 1.0)))


@examples(20)
@given(vehicles(), places())
def test_a_load_lowers_the_place_it_is_put_on(vehicle, place):
    steps = np.linspace(0.0, 150.0, 31)
    masses = aboard(vehicle.masses("some"), [(steps, *place)])
    found = sk.settle(vehicle, corners=built(vehicle), masses=masses)
    high = height_of(found, place)[~found.tipped]
    assert (np.diff(high) < 0).all()


@examples(25)
@given(vehicles(), places(), places())
def test_a_load_here_lowers_there_as_much_as_there_lowers_here(vehicle, here, there):
    """Reciprocity of Maxwell and Betti, for any conservative balance."""
    small = np.array([[-0.05, 0.0, 0.05, 0.0, 0.0, 0.0], [0.0, 0.0, 0.0, -0.05, 0.0, 0.05]])
    start = vehicle.masses("some")
    masses = aboard(start, [(small[0], *here), (small[1], *there)])
    found = sk.settle(vehicle, corners=built(vehicle), masses=masses)
    assume(not found.tipped.any())
    h, t = height_of(found, here), height_of(found, there)
    # The two half steps differ across a kink, where there is no one slope.
    for a, b, c, high in ((0, 1, 2, t), (3, 4, 5, h)):
        assume(
            abs((high[c] - high[b]) - (high[b] - high[a])) < 1e-3 * abs(high[c] - high[a]) + 1e-9
        )
    assert t[2] - t[0] == pytest.approx(h[5] - h[3], rel=1e-4, abs=1e-9)


@examples(20)
@given(vehicles())
def test_friction_that_holds_up_never_stands_lower(vehicle):
    held = np.linspace(-1.0, 1.0, 9)
    found = sk.settle(vehicle, load="some", friction=held, corners=built(vehicle))
    assume(not found.tipped.any())
    assert (np.diff(found.height.sum(axis=0)) >= -1e-9).all()


# ---------------------------------------------------------------------- no formula mixes dimensions

DIMENSIONS = {  # of mass, length and time in each SI unit of a vehicle file
    "": (0, 0, 0), "K": (0, 0, 0), "rad": (0, 0, 0), "m": (0, 1, 0), "m**2": (0, 2, 0),
    "m**3": (0, 3, 0), "kg": (1, 0, 0), "kg/m**3": (1, -3, 0), "N": (1, 1, -2),
    "N/m": (1, 0, -2), "Pa": (1, -1, -2), "N*s/m": (1, 0, -1), "m**2/s": (0, 2, -1),
}  # fmt: skip


def rewritten(thing, change, hint=None, make=replace):
    """A vehicle, or a part of it, with every quantity changed by ``change(value, unit)``."""
    options = typing.get_args(hint) if typing.get_origin(hint) is not typing.Annotated else (hint,)
    if dataclasses.is_dataclass(thing):
        hints = typing.get_type_hints(type(thing), include_extras=True)
        told = {f.name: getattr(thing, f.name) for f in dataclasses.fields(thing)}
        told = {n: rewritten(v, change, hints[n], make) for n, v in told.items() if v is not None}
        return make(thing, **told)
    if isinstance(thing, dict):
        return {name: rewritten(v, change, options[1], make) for name, v in thing.items()}
    if isinstance(thing, tuple):
        if tuple not in (typing.get_origin(hint), hint):
            hint = next(o for o in options if typing.get_origin(o) is tuple)
        each = typing.get_args(hint)
        each = each[:1] * len(thing) if each[-1] is Ellipsis else each
        return tuple(rewritten(v, change, h, make) for v, h in zip(thing, each, strict=True))
    if isinstance(thing, float | int) and not isinstance(thing, bool):
        for option in (hint, *options):
            for mark in getattr(option, "__metadata__", ()):
                if isinstance(mark, Unit):
                    return change(thing, mark)
    return thing


class Scale:
    """A model of another size on this earth: time goes with the root of length."""

    def __init__(self, length, mass):
        self.by = (mass, length, np.sqrt(length))

    def of(self, si):
        return float(
            np.prod([by**power for by, power in zip(self.by, DIMENSIONS[si], strict=True)])
        )

    def model(self, vehicle):
        return rewritten(vehicle, lambda value, unit: value * self.of(unit.si))

    def air(self, patch):
        """What the package knows of the world, in the model's: air, metal and slow rubbing."""
        air, metal = shock.ATMOSPHERE * self.of("Pa"), shock.STOP_RATE * self.of("N/m")
        for module in (shock, stance, driving):
            patch.setattr(module, "ATMOSPHERE", air)
        for module in (shock, corner):
            patch.setattr(module, "STOP_RATE", metal)
        patch.setattr(driving, "RUB_SPEED", driving.RUB_SPEED * self.of("m") / self.by[2])


scales = st.builds(Scale, st.floats(0.5, 2.0), st.floats(0.5, 2.0))


@examples(20)
@given(vehicles(), scales, st.floats(-5.0, 5.0))
def test_a_model_stands_to_scale(vehicle, scale, lateral):
    """Masses and all forces doubled: the same travel. All lengths doubled: twice the travel."""
    ours = stands(vehicle, lateral=lateral)
    reserve = ours.bottoming
    with pytest.MonkeyPatch.context() as patch:
        scale.air(patch)
        theirs = stands(scale.model(vehicle), lateral=lateral)
        their_reserve = theirs.bottoming
    for name, si in (
        ("height", "m"), ("travel", "m"), ("bump_left", "m"), ("droop_left", "m"),
        ("tyre_load", "N"), ("shock_force", "N"), ("wheel_rate", "N/m"), ("ride_rate", "N/m"),
        ("pitch", ""), ("roll", ""), ("rake", "m"),
    ):  # fmt: skip
        expected = getattr(ours, name) * scale.of(si)
        most = scale.of(si) * (1e4 if "N" in si else 1.0)
        assert_allclose(getattr(theirs, name), expected, rtol=1e-6, atol=1e-9 * most, err_msg=name)
    assert_allclose(theirs.frequency * scale.by[2], ours.frequency, rtol=1e-6)
    assert_allclose(their_reserve.load_factor, reserve.load_factor, rtol=1e-6)
    energy = reserve.energy * scale.of("N") * scale.of("m")
    assert_allclose(their_reserve.energy, energy, rtol=1e-6, atol=1e-4)


# ------------------------------------------------------------------------------- what is asked back


def pairs():
    return vehicles(even=True, kinds=("pair",), place=("gap",))


@examples(5)
@given(pairs(), st.floats(0.5, 10.0), st.floats(0.5, 10.0))
def test_turns_found_give_the_height_asked(vehicle, front, rear):
    # Fewer than hold the springs at full extension are no answer.
    corners = sk.assemble(vehicle)
    front = max(front, float(corners["front_left"].held_turns))
    rear = max(rear, float(corners["rear_left"].held_turns))
    turned_to = vehicle.setup.change("front", turns=front).change("rear", turns=rear)
    asked = stands(vehicle, turned_to)
    found = sk.solve_preload(
        vehicle, load="some", front_height=float(asked.front_height),
        rear_height=float(asked.rear_height),
    )  # fmt: skip
    assert found.ok, found.message
    assert_allclose(found.stance.height, asked.height, atol=1.1e-5)
    assert_allclose(sk.settle(vehicle, found.setup, load="some").height, asked.height, atol=1.1e-5)
    # More turns always raise, so where a turn still does something there is but one answer.
    for end, turns in (("front", front), ("rear", rear)):
        more = stands(vehicle, turned_to.change(end, turns=turns + 0.1))
        rise = np.abs(more.height - asked.height).max() / 0.1
        if rise > 1e-4:
            assert found.turns[end] == pytest.approx(turns, abs=1e-4 + 5e-5 / rise)


@examples(12)
@given(pairs(), SHARE, st.sampled_from(list(AXLES)), st.sampled_from(["crossover_at", "energy"]))
def test_a_gap_found_gives_what_was_asked(vehicle, share, end, target):
    name = AXLES[end][0]
    found = built(vehicle)[name]
    least, most = found.gap_limits(0)
    setup = vehicle.setup.change(end, gap=least + share * (min(most, 0.15) - least))
    asked = stands(vehicle, setup)
    met = asked.corners[name]
    assume(met.crossover < met.shock.full_bump)
    if target == "energy":
        wanted = float(asked.bottoming.energy[CORNERS.index(name)])
        assume(wanted > 1.0)
    else:
        wanted = float(met.linkage.travel(met.crossover))
        assume(wanted >= 0)  # a stop of metal gives a little, but nobody asks for less than droop
    answer = sk.solve_stop_gap(vehicle, axle=end, load="some", **{target: wanted})
    assert answer.ok, answer.message
    again = stands(vehicle, vehicle.setup.change(end, gap=answer.gap[end]))
    if target == "energy":
        assert again.bottoming.energy[CORNERS.index(name)] == pytest.approx(wanted, rel=2e-5)
    else:
        assert answer.gap[end] == pytest.approx(met.gap[0], abs=1e-5)


# ------------------------------------------------------------------------------------------ dampers

SPEEDS = np.r_[0.0, np.geomspace(1e-4, 8.0, 160)]


def any_clicks(draw, damper):
    return {name: draw(st.integers(0, 12)) for name in damper.adjusters}


@examples(60)
@given(dampers(), st.data())
def test_a_damper_only_resists_and_never_less_at_more_speed(damper, data):
    clicks = any_clicks(data.draw, damper)
    inward, outward = (damper.force(sign * SPEEDS, clicks=clicks) for sign in (1.0, -1.0))
    assert inward[0] == outward[0] == 0.0
    assert (np.diff(inward) > 0).all() and (np.diff(outward) < 0).all()
    assert (damper.power(SPEEDS[1:], clicks=clicks) > 0).all()
    curve = damper.curve(clicks=clicks)
    assert (np.diff(curve.y) >= 0).all()
    # One more click in, of any adjuster, is never less force either way.
    for name in damper.adjusters:
        if clicks[name] > 0:
            firmer = clicks | {name: clicks[name] - 1}
            assert (damper.force(SPEEDS, clicks=firmer) >= inward * (1 - 1e-9)).all()
            assert (damper.force(-SPEEDS, clicks=firmer) <= outward * (1 - 1e-9)).all()


@examples(20)
@given(dampers(high=False), st.integers(0, 12))
def test_with_both_ways_alike_force_is_odd_and_heat_even(damper, click):
    valving = replace(damper.valving, rebound=damper.valving.compression)
    alike = replace(damper, valving=valving)
    clicks = dict.fromkeys(alike.adjusters, click)
    assert_allclose(
        alike.force(-SPEEDS, clicks=clicks), -alike.force(SPEEDS, clicks=clicks), rtol=1e-12
    )
    assert_allclose(alike.power(-SPEEDS, clicks=clicks), alike.power(SPEEDS, clicks=clicks))


@examples(20)
@given(dampers(), st.floats(280.0, 340.0), st.floats(1.0, 60.0))
def test_hotter_oil_never_damps_more(damper, cold, hotter):
    clicks = dict.fromkeys(damper.adjusters, 6)
    one, two = (damper.force(SPEEDS, clicks=clicks, temperature=t) for t in (cold, cold + hotter))
    assert (two <= one * (1 + 1e-9)).all()


@st.composite
def dyno_tables(draw):
    """Rows a dyno may give, softer with each click out."""
    steps = [draw(st.floats(0.02, 0.5)) for _ in range(draw(st.integers(1, 6)))]
    speeds = np.cumsum(steps).tolist()
    rows = []
    for sign in (1, -1):
        force = np.cumsum([draw(st.floats(0.0, 800.0)) for _ in speeds])
        for click in sorted(draw(st.sets(st.integers(0, 14), min_size=2, max_size=4))):
            rows += [
                (click, sign * v, sign * f) for v, f in zip(speeds, force.tolist(), strict=True)
            ]
            force = force * draw(st.floats(0.4, 1.0))
    text = "clicks (out),velocity (m/s),force (N)\n"
    return rows, text + "\n".join(f"{c},{v!r},{f!r}" for c, v, f in draw(st.permutations(rows)))


@examples(60)
@given(dyno_tables(), SHARE, SHARE)
def test_a_dyno_table_is_read_back_and_softer_with_each_click_out(table, one, other):
    rows, text = table
    damper = Damper(table=DynoTable.from_csv(text, name="dyno"))
    clicks = {
        d: sorted({c for c, v, _ in rows if (v > 0) == (d == "compression")})
        for d in ("compression", "rebound")
    }
    for click, velocity, force in rows:
        middle = {d: float(np.clip(click, c[0], c[-1])) for d, c in clicks.items()}
        assert damper.force(velocity, clicks=middle) == pytest.approx(force, rel=1e-12, abs=1e-12)
    low, high = sorted((one, other))
    inner, outer = ({d: c[0] + s * (c[-1] - c[0]) for d, c in clicks.items()} for s in (low, high))
    ends = [min(abs(v) for _, v, _ in rows), max(v for _, v, _ in rows)]
    at = np.linspace(-ends[1], ends[1], 41)
    firm, soft = (damper.force(at, clicks=each) for each in (inner, outer))
    assert (np.abs(soft) <= np.abs(firm) * (1 + 1e-9) + 1e-9).all()
    assert (np.diff(firm) >= -1e-9).all() and (firm * at >= 0).all()


# ------------------------------------------------------------------------------------------- driven


@st.composite
def drives(draw):
    """Anything a driver may do to it, short enough to run."""
    speed, hit = draw(st.floats(2.0, 12.0)), draw(st.floats(0.02, 0.15))
    side = draw(st.sampled_from(["both", "left", "right"]))
    road = draw(
        st.sampled_from([
            sk.Road.flat(), sk.Road.square_edge(hit, patch=0.3, side=side),
            sk.Road.single_bump(hit, length=10 * hit, side=side),
            sk.Road.whoops(hit, spacing=3.0, count=3), sk.Road.g_out(6.0, depth=hit),
            sk.Road.iso8608("D", length=15.0, seed=int(1e3 * hit)),
        ])
    )  # fmt: skip
    return events.Event(
        name="drawn", duration=1.2, speed=speed, road=road, approach=0.5,
        lateral_steady=draw(st.just(0.0) | st.floats(-3.0, 3.0)),
        forward_steady=draw(st.just(0.0) | st.floats(-4.0, 4.0)), ramp=draw(st.floats(0.0, 0.5)),
        drop=draw(st.just(0.0) | st.floats(0.0, 0.3)),
    )  # fmt: skip


models = st.sampled_from(["full", "full", "half", "quarter"])


def driven(vehicle, event, **how):
    """A run that counts; what turns over is not drawn."""
    built(vehicle)
    try:
        return drive(vehicle, event=event, **{"load": "some"} | how)
    except UntrustedRunError:
        assume(False)


@examples(20)
@given(vehicles(), models, st.sampled_from(CORNERS))
def test_at_rest_it_stays_as_it_stands(vehicle, model, name):
    stance = stands(vehicle)
    assume(not stance.lifted.any())
    event = events.Event(name="wait", duration=0.3, speed=5.0)
    run = driven(vehicle, event, model=model, corner=name)
    moved = np.abs(run.travel - run.travel[:, :1]).max()
    assert moved < 1e-7 and np.abs(run.height - run.height[0]).max() < 1e-7
    assert run.audit < AUDIT_LIMIT
    if model == "full":
        assert_allclose(run.travel[:, -1], stance.travel, atol=1e-7)
        assert_allclose(run.tyre_load[:, -1], stance.tyre_load, rtol=1e-5, atol=0.1)
        assert_allclose([run.pitch[-1], run.roll[-1]], [stance.pitch, stance.roll], atol=1e-7)
    if model == "quarter":
        at = CORNERS.index(name)
        assert_allclose(run.travel[0, -1], stance.travel[at], atol=1e-7)


@examples(30)
@given(vehicles(), drives(), models, st.sampled_from(CORNERS))
def test_the_energy_book_closes(vehicle, event, model, name):
    run = driven(vehicle, event, model=model, corner=name)
    if run.audit > AUDIT_LIMIT:  # too long a step for it, and the run says so itself
        assert not run.trusted and "energy book is open" in run.notes[0]
        run = driven(vehicle, event, model=model, corner=name, step=driving.STEP / 4)
    assert run.audit < AUDIT_LIMIT, run.notes
    assert all(run.energy[part] >= -1e-9 for part in ("damper", "friction", "tyre"))
    assert (run.tyre_load >= 0).all()


@examples(25)
@given(vehicles(), drives())
def test_momentum_changes_by_what_the_ground_pushes(vehicle, event):
    """Newton's second law of the whole, upward, from the record alone."""
    run = driven(vehicle, event, keep=1e-3)
    mass = vehicle.masses("some").mass
    wheels = np.array([vehicle.axle_of(name).unsprung_mass for name in CORNERS])
    lifted = mass * run.height + wheels @ run.hub_height
    push = run.tyre_load.sum(axis=0) - G * (mass + wheels.sum())
    step = run.time[1]
    speed = (lifted[2:] - lifted[:-2]) / (2 * step)
    given_up = np.concatenate([[0.0], np.cumsum(0.5 * step * (push[1:] + push[:-1]))])[1:-1]
    scale = mass * G * 0.05
    assert np.abs((speed - speed[0]) - (given_up - given_up[0])).max() < 0.02 * scale


@examples(15)
@given(vehicles(), drives())
def test_driven_in_a_mirror_left_is_right(vehicle, event):
    road = replace(event.road, heights=event.road.heights[::-1], slopes=event.road.slopes[::-1])
    back = replace(event, road=road, lateral_steady=-event.lateral_steady)
    run = driven(vehicle, event)
    other, setup = independent.mirrored(vehicle, vehicle.setup)
    image = drive(other, setup, event=back, load="some")
    assert_allclose(image.travel[SWAP], run.travel, atol=1e-6)
    assert_allclose(image.roll, -run.roll, atol=1e-6)
    assert_allclose(image.tyre_load[SWAP], run.tyre_load, atol=2.0)


@examples(15)
@given(vehicles(), drives(), scales)
def test_a_model_drives_to_scale(vehicle, event, scale):
    """At the root of the scale in speed, as ship models are towed (W. Froude)."""
    length, time = scale.by[1:]
    road = replace(event.road, step=event.road.step * length, heights=event.road.heights * length)
    small = replace(
        event, duration=event.duration * time, speed=event.speed * time, road=road,
        approach=event.approach * length, ramp=event.ramp * time, drop=event.drop * length,
    )  # fmt: skip
    run = driven(vehicle, event)
    with pytest.MonkeyPatch.context() as patch:
        scale.air(patch)
        model = drive(
            scale.model(vehicle),
            event=small,
            load="some",
            step=driving.STEP * time,
            keep=2e-3 * time,
        )
    assert model.time.size == run.time.size
    assert_allclose(model.travel / length, run.travel, atol=1e-5)
    assert_allclose(model.pitch, run.pitch, atol=1e-5)
    assert_allclose(model.body_acceleration[0], run.body_acceleration[0], atol=0.2)


@examples(25)
@given(
    st.floats(150, 600), st.floats(15, 60), st.floats(1e4, 5e4), st.floats(8e4, 3e5),
    st.floats(0, 3000), st.floats(0.005, 0.02), st.floats(1.5, 4.0),
)  # fmt: skip
def test_heavier_by_a_square_is_slower_by_its_root(ms, mu, ks, kt, c, height, n):
    """Masses by n squared, rates kept, dampers by n: every motion the same, n times as long."""
    bump = events.single_bump(height=height, length=2.0, speed=4.0, approach=0.4)
    bump = replace(bump, duration=1.5)
    light = drive(linear_car(ms, mu, ks, kt, c, 0.0), event=bump, model="quarter")
    assume((light.tyre_load > 0).all())
    heavy = linear_car(n**2 * ms, n**2 * mu, ks, kt, n * c, 0.0)
    slow = replace(bump, duration=1.5 * n, speed=4.0 / n)
    run = drive(heavy, event=slow, model="quarter", step=1e-3 * n, keep=2e-3 * n)
    ours, theirs = (r.travel[0] - r.travel[0, 0] for r in (light, run))
    assert_allclose(theirs[: ours.size], ours[: theirs.size], atol=1e-6)


# --------------------------------------------------------------------------------- units and text


def plain_table(_thing, **told):
    return {name: value for name, value in told.items() if value != "" and name != "digest"}


def toml(value):
    if isinstance(value, dict):
        return "{" + ", ".join(f"{json.dumps(k)} = {toml(v)}" for k, v in value.items()) + "}"
    if isinstance(value, tuple):
        return "[" + ", ".join(map(toml, value)) + "]"
    return json.dumps(value)


def written(vehicle, system):
    """A vehicle as the text of its file, every quantity in one system of units."""

    def text(value, unit):
        return f"{to_unit(value, unit.kind, system)!r} {unit_label(unit.kind, system)}".strip()

    told = rewritten(vehicle, text, make=plain_table)
    return "".join(f"{name} = {toml(value)}\n" for name, value in told.items())


def numbers(thing):
    """Every number in it, by its path."""
    if dataclasses.is_dataclass(thing):
        thing = {f.name: getattr(thing, f.name) for f in dataclasses.fields(thing)}
    if isinstance(thing, dict):
        return {f"{k}.{n}": v for k, part in thing.items() for n, v in numbers(part).items()}
    if isinstance(thing, tuple | list):
        return numbers(dict(enumerate(thing)))
    return {} if thing is None else {"": thing}


def same(ours, theirs, **close):
    assert ours.keys() == theirs.keys()
    for path, value in ours.items():
        if isinstance(value, str | bool):
            assert theirs[path] == value, path
        else:
            assert_allclose(theirs[path], value, err_msg=path, **close)


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return tmp_path_factory.mktemp("laws")


def told_and_read(vehicle, folder, system):
    path = folder / f"{system}.toml"
    path.write_text(written(vehicle, system), encoding="utf-8")
    with unjudged(file, "judge_file"):
        return sk.load_vehicle(path)


@contextmanager
def unjudged(module, *judges):
    """What is drawn is wider than what a vehicle can be: here a file need only be read."""
    with pytest.MonkeyPatch.context() as patch:
        for judge in judges:
            patch.setattr(module, judge, lambda *_, **__: ())
        yield


@examples(15)
@given(vehicles(place=("gap",)), st.floats(-3.0, 3.0))
def test_a_vehicle_written_in_either_system_is_the_same_vehicle(folder, vehicle, lateral):
    """Vehicle to text to vehicle, every field; then how it stands, and what a panel shows."""
    built(vehicle)
    read = {system: told_and_read(vehicle, folder, system) for system in SYSTEMS}
    ours = stands(vehicle, lateral=lateral)
    for other in read.values():
        plain = replace(other, source="", digest="")
        same(numbers(vehicle), numbers(plain), rtol=1e-12, atol=1e-300)
        theirs = sk.settle(other, load="some", lateral=lateral)
        assert_allclose(theirs.height, ours.height, rtol=1e-8)
        assert_allclose(theirs.tyre_load, ours.tyre_load, rtol=1e-6, atol=1e-3)


QUANTITY = re.compile(r"(-?[\d.]+(?:-\d+/\d+|/\d+)?|-?∞) ?(in|mm|ft·lbf|J|Hz)?(?= |,|$)")
KIND = {"in": "length", "mm": "length", "ft·lbf": "energy", "J": "energy", "Hz": "frequency"}
ROUNDED = {"length": INCH / 200 + 5e-5, "energy": 0.7 + 0.5, "frequency": 1e-9, "number": 1e-9}


@examples(15)
@given(vehicles())
def test_a_panel_reads_the_same_in_either_system(vehicle):
    built(vehicle)
    view = look(vehicle, load="some")
    us, metric = (readout(view, system) for system in SYSTEMS)
    assert us.keys() == metric.keys()
    for label, pair in us.items():
        for one, other in zip(pair, metric[label], strict=True):
            found = [QUANTITY.findall(text) for text in (one, other)]
            assert len(found[0]) == len(found[1]), (label, one, other)
            assert QUANTITY.sub("#", one) == QUANTITY.sub("#", other)
            for (inches, a), (metres, b) in zip(*found, strict=True):
                kind = KIND.get(a, "number")
                assert kind == KIND.get(b, "number")
                if kind == "number":
                    assert inches == metres
                    continue
                values = parse(f"{inches} {a}", kind), parse(f"{metres} {b}", kind)
                # A stop gap is told in sixteenths.
                close = INCH / 32 + 5e-4 if "gap" in label else ROUNDED[kind]
                assert values[0] == pytest.approx(values[1], abs=close), label


@examples(3)
@given(vehicles(place=("gap",), even=True))
def test_a_work_sheet_has_the_same_numbers_in_either_system(folder, vehicle):
    stands(vehicle)
    sheets = []
    for system in SYSTEMS:
        read = told_and_read(vehicle, folder, system)
        with unjudged(worksheet, "judge_file", "judge", "judge_stance"):
            sheet = worksheet.work_sheet(read, units=system)
        sheets.append(numbers({**sheet.corners, "rake": sheet.rake, "aboard": sheet.aboard,
                               "front": sheet.front_height, "fits": sheet.compressor}))  # fmt: skip
    same(*sheets, rtol=1e-5, atol=1e-7)


GLYPHS = {"½": (1, 2), "¼": (1, 4), "¾": (3, 4), "⅛": (1, 8), "⅜": (3, 8), "⅝": (5, 8), "⅞": (7, 8)}
MARKS = st.sampled_from(["in", "in.", "inch", "inches", '"', "″", "”"])


@examples(100)
@given(
    st.integers(0, 200), st.sampled_from([2, 4, 8, 16, 32, 64]), st.data(),
    st.sampled_from(["-", "–", " - ", " ", "⁄"]), st.sampled_from(["", "-", "−", "+"]), MARKS,
)  # fmt: skip
def test_every_way_to_write_a_tape_fraction_reads_alike(whole, divisions, data, join, sign, mark):
    top = data.draw(st.integers(1, divisions - 1))
    inches = (whole + top / divisions) * (-1 if sign in ("-", "−") else 1)
    slash = "⁄" if join == "⁄" else "/"
    join = " " if join == "⁄" else join
    mark = mark.rstrip(".")
    ways = [f"{sign}{whole}{join}{top}{slash}{divisions} {mark}"]
    if not whole:
        ways.append(f"{sign}{top}{slash}{divisions} {mark}")
    ways += [
        f"{sign}{whole}{gap}{glyph}{mark}"
        for glyph, parts in GLYPHS.items()
        for gap in ("", " ", "-")
        if parts[0] / parts[1] == top / divisions
    ]
    if sign in ("", "-"):
        feet, rest = divmod(whole, 12)
        ways += [
            f"{sign}{feet}' {rest}-{top}/{divisions}\"",
            f"{sign}{feet} ft {rest} {top}/{divisions} in",
        ]
    for text in ways:
        assert parse(text, "length") == pytest.approx(inches * INCH, rel=1e-12), text
    # And back to the division it was on.
    assert parse(tape(inches * INCH, divisions), "length") == pytest.approx(
        inches * INCH, rel=1e-12
    )


@examples(100)
@given(st.floats(-3.0, 3.0), st.sampled_from([16, 32]))
def test_a_length_told_by_tape_is_off_by_half_a_division_at_most(metres, divisions):
    text = tape(metres, divisions)
    back = parse(text, "tape")
    assert abs(back - metres) <= 0.5 * INCH / divisions * (1 + 1e-8)
    assert tape(back, divisions) == text
    assert tape(-metres, divisions) in (f"-{text}", text.removeprefix("-"))
