"""Inverse questions: every answer is put back on the vehicle and looked at by other means."""

import re
from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.integrate import quad
from scipy.optimize import brentq

import suspkit as sk
from suspkit.statics.solve import ring_left
from suspkit.units import tape
from suspkit.vehicle.setup import AXLES
from suspkit.vehicle.vehicle import Item, Load
from tests.tools import independent

INCH = 0.0254
LOAD = "patrol"


@pytest.fixture(scope="module")
def unit7():
    return sk.example("unit7")


def heights(vehicle, setup, load=LOAD):
    """Front and rear ride height by the free-body equations [m]."""
    height = independent.settle(vehicle, setup, load).height
    return {"front": height[:2].mean(), "rear": height[2:].mean()}


# ------------------------------------------------------------------------------------- preload


def test_both_heights_are_reached(unit7):
    now = heights(unit7, unit7.setup)
    front, rear = now["front"] + 0.008, now["rear"] - 0.003
    found = sk.solve_preload(unit7, load=LOAD, front_height=front, rear_height=rear)
    assert found.ok
    there = heights(unit7, found.setup)
    assert_allclose([there["front"], there["rear"]], [front, rear], atol=1e-5)
    for axle, corners in AXLES.items():
        for name in corners:
            assert getattr(found.setup, name).turns == found.turns[axle]
    assert_allclose(found.stance.front_height, front, atol=1e-5)
    assert f"{found.turns['front']:.2f} turns" in found.message
    # The gaps stay as they were: they are re-set by tape after the turns.
    assert found.setup.front_left.gap == unit7.setup.front_left.gap


def test_one_height_leaves_the_other_collar_alone(unit7):
    target = heights(unit7, unit7.setup)["rear"] + 0.006
    found = sk.solve_preload(unit7, load=LOAD, rear_height=target)
    assert found.ok and list(found.turns) == ["rear"]
    assert found.setup.front_left == unit7.setup.front_left
    assert_allclose(heights(unit7, found.setup)["rear"], target, atol=1e-5)


@pytest.mark.parametrize(
    "axle, rake", [("front", 0.0), ("front", 0.009), ("rear", 0.0), ("rear", -0.03)]
)
def test_rake_is_reached(unit7, axle, rake):
    found = sk.solve_preload(unit7, load=LOAD, rake=rake, axle=axle)
    assert found.ok and list(found.turns) == [axle]
    there = heights(unit7, found.setup)
    assert_allclose(there["front"] - there["rear"], rake, atol=1e-5)


def test_rake_and_the_other_height_together(unit7):
    front = heights(unit7, unit7.setup)["front"] + 0.004
    found = sk.solve_preload(unit7, load=LOAD, front_height=front, rake=0.0)
    assert found.ok
    there = heights(unit7, found.setup)
    assert_allclose([there["front"], there["rear"]], front, atol=2e-5)


def test_carry_out_needs_more_turns(unit7):
    target = heights(unit7, unit7.setup)["rear"]
    found = sk.solve_preload(unit7, load="carry-out", rear_height=target)
    assert found.ok
    assert_allclose(heights(unit7, found.setup, "carry-out")["rear"], target, atol=1e-5)
    assert found.turns["rear"] > unit7.setup.rear_left.turns + 2


def test_springs_go_solid_before_the_height(unit7):
    found = sk.solve_preload(unit7, load=LOAD, front_height=0.6)
    assert not found.ok
    assert "springs would go solid" in found.message and "stiffer" in found.message
    assert found.turns["front"] < sk.assemble(unit7)["front_left"].turn_limits[1]
    # The answer can just be built, and a tenth of a turn more cannot.
    sk.assemble(unit7, found.setup)
    with pytest.raises(sk.BrokenSetupError, match="solid"):
        sk.assemble(unit7, unit7.setup.change("front", turns=found.turns["front"] + 0.1))
    # It says how much is missing, in tape's inches.
    missing = 0.6 - heights(unit7, found.setup)["front"]
    assert f"{missing / INCH:.2f} in" in found.message


def test_thread_ends_before_the_height(unit7):
    front = unit7.front
    short = replace(front.shock, thread=replace(front.shock.thread, collar_travel=1.5 * INCH))
    vehicle = replace(unit7, front=replace(front, shock=short))
    most = float(sk.assemble(vehicle)["front_left"].turn_limits[1])
    found = sk.solve_preload(vehicle, load=LOAD, front_height=0.6)
    assert not found.ok
    assert_allclose(found.turns["front"], most, rtol=1e-9)
    assert_allclose(found.setup.front_left.turns, most, rtol=1e-9)
    assert "because the thread ends at " in found.message
    assert found.message.endswith("turns; a stiffer or longer spring would.")


def with_clearance(vehicle, clearance):
    """The vehicle with front retainers that slip out when the springs are this loose [m]."""
    shock = replace(vehicle.front.shock, retainer_clearance=clearance)
    return replace(vehicle, front=replace(vehicle.front, shock=shock))


@pytest.mark.parametrize(
    "clearance, end",
    [
        (0.5 * INCH, "the least that holds the springs at full extension is reached"),
        (2.0 * INCH, "contact is reached"),
    ],
)
def test_fewest_turns_are_reached_before_the_height(unit7, clearance, end):
    vehicle = with_clearance(unit7, clearance)
    corner = sk.assemble(vehicle)["front_left"]
    # Loose at the metal limit by what the turns leave of the way from there to the hang.
    fewest = max(0.0, (corner.contact_hang - clearance) / corner.shock.thread.collar_pitch)
    assert (fewest > 3) == (clearance < INCH)
    found = sk.solve_preload(vehicle, load=LOAD, front_height=0.2)
    assert not found.ok and found.turns["front"] == pytest.approx(fewest, abs=1e-9)
    assert f"{end} at {fewest:.1f} turns; a softer spring would." in found.message
    missing = heights(vehicle, found.setup)["front"] - 0.2
    assert f"lower it the last {missing / INCH:.2f} in" in found.message


def test_a_collar_fully_up_asks_for_a_shorter_spring(unit7):
    """A stack too long to be loose under the highest collar: only there does its length count."""
    spring = unit7.springs[unit7.stacks["kit-front"].springs[1]]
    longer = replace(spring, free_length=spring.free_length + 3 * INCH)
    vehicle = replace(unit7, springs=unit7.springs | {spring.name: longer})
    vehicle = replace(
        vehicle, setups=vehicle.setups | {"kit": vehicle.setup.change("front", turns=60.0)}
    )
    least = float(sk.assemble(vehicle)["front_left"].turn_limits[0])
    assert least > 0
    found = sk.solve_preload(vehicle, load=LOAD, front_height=0.2)
    assert not found.ok and found.turns["front"] == pytest.approx(least)
    assert f"the collar is fully up at {least:.1f} turns; a softer or shorter" in found.message


@pytest.mark.parametrize(
    "axle, rake, way",
    [("rear", -0.6, "raise"), ("rear", 0.6, "lower"), ("front", 0.6, "raise"),
     ("front", -0.6, "lower")],
)  # fmt: skip
def test_a_rake_out_of_reach_says_which_way_that_axle_had_to_go(unit7, axle, rake, way):
    """A nose higher than the tail is a high front or a low rear."""
    found = sk.solve_preload(unit7, load=LOAD, rake=rake, axle=axle)
    assert not found.ok
    assert f"{axle}: the collar cannot {way} it the last " in found.message
    spring = {"raise": "a stiffer spring, or one with more travel,", "lower": "a softer spring"}[
        way
    ]
    assert found.message.endswith(f"{spring} would.")


def past_crossover():
    """A vehicle standing past crossover in front, its rings left alone."""
    corners = {
        "tender": sk.Spring(name="tender", rate=50e3, free_length=0.15, solid_length=0.05),
        "main": sk.Spring(name="main", rate=65e3, free_length=0.42, solid_length=0.10),
    }
    vehicle = independent.make_vehicle(springs=corners, scales=(230, 230, 250, 250))
    setup = vehicle.setup.change("front", ring=0.004).change("rear", ring=0.09)
    assert sk.settle(vehicle, setup).past_crossover.tolist() == [True, True, False, False]
    return vehicle, setup


@pytest.mark.parametrize("rise", [0.004, 0.0002, -0.003, -0.02])
def test_past_crossover_the_collar_does_nothing_and_the_ring_it_proposes_does(rise):
    vehicle, setup = past_crossover()
    start = heights(vehicle, setup, None)["front"]
    found = sk.solve_preload(vehicle, setup, front_height=start + rise)
    assert not found.ok
    assert found.setup.front_left.turns == setup.front_left.turns
    assert "past crossover with the ring left alone" in found.message
    assert f" and cannot {'raise' if rise > 0 else 'lower'} it " in found.message
    # That it does nothing is true ...
    idle = float(re.search(r"nothing up to (\d+) turns", found.message)[1])
    assert idle > 6
    turned = heights(vehicle, setup.change("front", turns=idle - 1), None)["front"]
    assert_allclose(turned, start, atol=1e-9)
    # ... and ends where it says; past that the collar does lift it.
    _, most = sk.assemble(vehicle, setup)["front_left"].turn_limits
    if idle + 2 < most:
        late = heights(vehicle, setup.change("front", turns=idle + 2), None)["front"]
        assert late > start + 1e-4
    # ... and so are the ring turns, told to a tenth of a turn.
    told = r"([\d.]+) turns of the stop ring (towards|away from) the divider would, or re-set"
    number, way = re.search(told + r" the gap after turning the collar\.$", found.message).groups()
    pitch = vehicle.front.shock.thread.ring_pitch
    moved = float(number) * pitch * (-1 if way == "towards" else 1)
    ring = setup.change("front", ring=setup.front_left.ring + moved)
    ratio = 0.55
    tenth = 0.05 * pitch / ratio
    assert_allclose(heights(vehicle, ring, None)["front"], start + rise, atol=1.1 * tenth)


def test_past_crossover_under_a_load_it_speaks_of_that_load():
    vehicle, setup = past_crossover()
    crate = Item(mass=90.0, behind_front_axle=0.3, above_frame=0.4)
    vehicle = replace(vehicle, items={"it": crate}, loads={"crate": Load(items=("it",))})
    start = heights(vehicle, setup, "crate")["front"]
    assert start < heights(vehicle, setup, None)["front"] - 0.005
    found = sk.solve_preload(vehicle, setup, load="crate", front_height=start + 0.003)
    assert not found.ok
    assert_allclose(found.stance.front_height, start, atol=1e-9)
    idle = float(re.search(r"nothing up to (\d+) turns", found.message)[1])
    for turns, still in ((idle - 1, True), (idle + 2, False)):
        turned = heights(vehicle, setup.change("front", turns=turns), "crate")["front"]
        assert (abs(turned - start) < 1e-9) == still
    number = re.search(r"it 0.12 in; ([\d.]+) turns of the stop ring towards", found.message)[1]
    ring = setup.front_left.ring - float(number) * vehicle.front.shock.thread.ring_pitch
    there = heights(vehicle, setup.change("front", ring=ring), "crate")["front"]
    assert_allclose(there, start + 0.003, atol=2e-4)  # turns are told to a tenth


@pytest.mark.parametrize("more, way", [(-0.006, "raise"), (0.006, "lower")])
def test_past_crossover_a_rake_by_the_rear_asks_it_the_other_way(more, way):
    vehicle, _ = past_crossover()
    setup = vehicle.setup.change("rear", ring=0.004).change("front", ring=0.09)
    now = sk.settle(vehicle, setup)
    assert now.past_crossover[2:].all()
    found = sk.solve_preload(vehicle, setup, rake=float(now.rake) + more, axle="rear")
    assert not found.ok
    assert f"collar turns do nothing up to 1 turns and cannot {way} it " in re.sub(
        r"\d+ turns and", "1 turns and", found.message
    )
    number, where = re.search(r"; ([\d.]+) turns of the stop ring (\w+)", found.message).groups()
    assert where == {"raise": "towards", "lower": "away"}[way]
    moved = float(number) * vehicle.rear.shock.thread.ring_pitch * (-1 if way == "raise" else 1)
    there = sk.settle(vehicle, setup.change("rear", ring=setup.rear_left.ring + moved))
    assert_allclose(there.rake, now.rake + more, atol=6e-4)


def test_past_crossover_a_height_it_has_already_is_an_answer():
    vehicle, setup = past_crossover()
    start = heights(vehicle, setup, None)["front"]
    found = sk.solve_preload(vehicle, setup, front_height=start)
    assert found.ok is True
    turns = setup.front_left.turns
    assert found.message == f"front: {turns:.2f} turns from contact, as it is."
    assert found.turns == {"front": turns} and found.setup.front_left.turns == turns


def test_bars_and_gap_of_the_set_up_asked_about_are_kept(unit7):
    # A crate on the left and no bars: it leans, and the answer knows.
    crate = Item(mass=80.0, behind_front_axle=1.4, left_of_centre=0.4, above_frame=0.3)
    loads = {"left": Load(items=("crate",))}
    vehicle = replace(unit7, items={"crate": crate}, loads=loads, targets=None)
    loose = replace(unit7.setup, front_bar=False, rear_bar=False).change("rear", turns=6.0)
    now = heights(vehicle, loose, "left")
    preload = sk.solve_preload(vehicle, loose, load="left", rear_height=now["rear"] + 0.004)
    gap = sk.solve_stop_gap(vehicle, loose, axle="rear", load="left", load_factor=2.7)
    for found in (preload, gap):
        assert found.ok
        theirs = independent.settle(vehicle, found.setup, "left")
        assert_allclose(found.stance.height, theirs.height, rtol=1e-8)
        with_bars = replace(found.setup, front_bar=True, rear_bar=True)
        assert abs(theirs.height[0] - sk.settle(vehicle, with_bars, load="left").height[0]) > 5e-4
    assert "moves the ride height" not in gap.message


def test_past_crossover_with_the_gap_reset_the_collar_works():
    vehicle, setup = past_crossover()
    gap = sk.assemble(vehicle, setup)["front_left"].gap[0]
    start = heights(vehicle, setup, None)["front"]
    found = sk.solve_preload(
        vehicle, setup.change("front", gap=float(gap)), front_height=start + 0.005
    )
    assert found.ok
    assert_allclose(heights(vehicle, found.setup, None)["front"], start + 0.005, atol=1e-5)


def test_ring_not_reached_the_collar_works_with_the_ring_left():
    vehicle, setup = past_crossover()
    start = heights(vehicle, setup, None)["rear"]
    found = sk.solve_preload(vehicle, setup, rear_height=start + 0.005)
    assert found.ok
    assert_allclose(heights(vehicle, found.setup, None)["rear"], start + 0.005, atol=1e-5)


def test_ring_left_is_the_same_vehicle(unit7):
    held = ring_left(unit7)
    assert held.front_left.gap is None and held.front_left.ring is not None
    assert_allclose(
        sk.settle(unit7, held, load=LOAD).height, sk.settle(unit7, load=LOAD).height, rtol=1e-11
    )
    turned = ring_left(unit7, unit7.setup.change("rear", turns=5.5))
    assert turned.rear_left.turns == 5.5 and turned.rear_left.gap is None


def test_preload_refuses_nonsense(unit7):
    with pytest.raises(ValueError, match="no target is given"):
        sk.solve_preload(unit7, load=LOAD)
    with pytest.raises(ValueError, match="rake and rear_height are both given"):
        sk.solve_preload(unit7, load=LOAD, rake=0.0, rear_height=0.35)
    with pytest.raises(ValueError, match="axle is 'middle'"):
        sk.solve_preload(unit7, load=LOAD, rake=0.0, axle="middle")
    with pytest.raises(ValueError, match="load is 'nobody'"):
        sk.solve_preload(unit7, load="nobody", front_height=0.35)


# ------------------------------------------------------------------------------------ stop gap


def reserve(vehicle, setup, name, load=LOAD):
    """Bottoming reserve and place of crossover of one corner, by other means."""
    plain = independent.Corner(vehicle, setup, name)
    index = independent.NAMES.index(name)
    z = independent.settle(vehicle, setup, load).travel[index]
    full = plain.full_bump
    z_full = brentq(lambda at: plain.motion(at)[0] - full, 0, plain.motion.end, xtol=1e-14)
    shock = plain.shock
    touch = shock.stroke - shock.bump_stop.free_length
    kinks = [shock.top_out.length, touch, *(touch + row[0] for row in shock.bump_stop.table)]
    met = met_at(plain)
    kinks = sorted(k for k in [*kinks, met] if 0 < k < full)
    here, weight = plain.motion(z)[0], plain.wheel_force(z)
    energy, _ = quad(plain.force, here, full, points=[k for k in kinks if k > here], limit=200)
    stored, _ = quad(plain.force, plain.hang, full, points=kinks, limit=200)
    inside = (plain.springs(full) + plain.gas(full)) * plain.motion(z_full)[1]
    return {
        "energy": energy,
        # Energy balance of a fall without damping: weight lifts through fall and travel.
        "drop_height": stored / weight - (z_full - plain.hang_travel),
        "load_factor": inside / weight,
        "crossover_at": brentq(lambda at: plain.motion(at)[0] - met, 0, plain.motion.end * 1.5),
    }


def met_at(plain):
    """Shock compression at which the divider meets its ring, by search."""
    cap = plain.stack.caps[0]
    force = brentq(lambda f: plain.stack.partial(f, upto=1) - cap + 1e-13, 0, 1e5, xtol=1e-10)
    return plain.stack.partial(force) - plain.seat


@pytest.mark.parametrize("axle", ["front", "rear"])
@pytest.mark.parametrize("kind", ["load_factor", "energy", "drop_height", "crossover_at"])
def test_gap_gives_what_was_asked(unit7, axle, kind):
    corners = AXLES[axle]
    # Ask for what a somewhat larger gap than the present one gives.
    present = getattr(unit7.setup, corners[0]).gap
    wanted_setup = unit7.setup.change(axle, gap=present + 0.25 * INCH)
    wanted = np.mean([reserve(unit7, wanted_setup, name)[kind] for name in corners])
    found = sk.solve_stop_gap(unit7, axle=axle, load=LOAD, **{kind: float(wanted)})
    assert found.ok
    assert found.setup.front_left.turns == unit7.setup.front_left.turns
    assert getattr(found.setup, corners[1]).gap == found.gap[axle]
    there = np.mean([reserve(unit7, found.setup, name)[kind] for name in corners])
    assert_allclose(there, wanted, rtol=2e-5)
    # All four change steadily with the gap here, so it is the same gap that comes back.
    assert_allclose(found.gap[axle], present + 0.25 * INCH, rtol=1e-3)
    assert "by tape" in found.message


def test_gap_answer_tells_when_it_moves_the_ride_height(unit7):
    # The front stands past crossover, so its ring carries it.
    now = heights(unit7, unit7.setup)["front"]
    found = sk.solve_stop_gap(unit7, axle="front", load=LOAD, crossover_at=6.5 * INCH)
    drift = heights(unit7, found.setup)["front"] - now
    assert found.ok and abs(drift) > INCH / 16
    assert f"so this moves the ride height {tape(drift)}; check preload again" in found.message
    quiet = sk.solve_stop_gap(unit7, axle="rear", load=LOAD, load_factor=2.3)
    assert "moves the ride height" not in quiet.message
    assert_allclose(
        heights(unit7, quiet.setup)["rear"], heights(unit7, unit7.setup)["rear"], atol=1e-9
    )


@pytest.mark.parametrize(
    "axle, target, end, hint",
    [
        ("front", {"load_factor": 9.0}, "smallest", "stiffer main"),
        ("rear", {"load_factor": 0.5}, "largest", "softer main"),
        ("rear", {"energy": 1e5}, "smallest", "stiffer main"),
        ("rear", {"crossover_at": 1.0}, "largest", "tender of another rate"),
    ],
)
def test_impossible_gap_says_why(unit7, axle, target, end, hint):
    corner = sk.assemble(unit7)[AXLES[axle][0]]
    least, most = corner.gap_limits()
    found = sk.solve_stop_gap(unit7, axle=axle, load=LOAD, **target)
    assert not found.ok
    limit = {"smallest": "before the springs go solid", "largest": "that still meets the ring"}
    assert f"the {end} {limit[end]}" in found.message
    assert hint in found.message
    assert least - 1e-9 <= found.gap[axle] <= most + 1e-9
    sk.assemble(unit7, found.setup)  # what it offers can be built


def test_a_gap_that_binds_the_springs_is_no_answer(unit7):
    # A 24 in drop would ask for a gap at which every spring is solid before full bump.
    found = sk.solve_stop_gap(unit7, axle="rear", load=LOAD, drop_height=24 * INCH)
    assert not found.ok and "before the springs go solid" in found.message
    sk.assemble(unit7, found.setup)
    with pytest.raises(sk.BrokenSetupError, match="solid"):
        sk.assemble(unit7, unit7.setup.change("rear", gap=found.gap["rear"] - 0.001))


def test_the_ring_at_the_end_of_its_thread_says_so(unit7):
    rear, lowest = unit7.rear, float(sk.assemble(unit7)["rear_left"].ring_at()) + 0.001
    thread = replace(rear.shock.thread, ring_lowest=lowest)
    vehicle = replace(unit7, rear=replace(rear, shock=replace(rear.shock, thread=thread)))
    found = sk.solve_stop_gap(vehicle, axle="rear", load=LOAD, load_factor=9.0)
    assert not found.ok
    assert_allclose(found.gap["rear"], unit7.setup.rear_left.gap - 0.001, atol=1e-9)
    assert f"the smallest the ring's thread allows, {tape(found.gap['rear'])}," in found.message


def test_a_reserve_just_out_of_reach_is_no_answer(unit7):
    end = sk.solve_stop_gap(unit7, axle="rear", load=LOAD, drop_height=24 * INCH)
    reached = float(end.stance.bottoming.drop_height[2:].mean())
    for beyond, ok in ((2e-5, False), (-1e-4, True)):
        found = sk.solve_stop_gap(unit7, axle="rear", load=LOAD, drop_height=reached * (1 + beyond))
        assert found.ok is ok


def test_a_set_up_that_cannot_be_built_is_where_one_may_start(unit7):
    now = heights(unit7, unit7.setup)["front"]
    most = sk.solve_preload(unit7, load=LOAD, front_height=0.6).turns["front"]
    wound = unit7.setup.change("front", turns=most + 0.5)
    tight = sk.solve_stop_gap(unit7, axle="rear", load=LOAD, drop_height=24 * INCH).setup
    tight = tight.change("rear", gap=tight.rear_left.gap - 0.001)
    for broken in (wound, tight):
        with pytest.raises(sk.BrokenSetupError, match="solid"):
            sk.assemble(unit7, broken)
    preload = sk.solve_preload(unit7, wound, load=LOAD, front_height=now)
    assert preload.ok
    assert_allclose(preload.turns["front"], unit7.setup.front_left.turns, atol=1e-3)
    gap = sk.solve_stop_gap(unit7, tight, axle="rear", load=LOAD, load_factor=2.3)
    assert gap.ok
    sk.assemble(unit7, gap.setup)


def test_gap_stays_inside_the_ring_thread(unit7):
    for axle in AXLES:
        corner = sk.assemble(unit7)[AXLES[axle][0]]
        least, most = corner.gap_limits()
        thread = corner.shock.thread
        # Ring on its lowest thread, and against the collar.
        for gap, place in (
            (least, min(thread.ring_lowest, corner.ring_at() + corner.gap[0])),
            (most, corner.collar_at + thread.ring_height),
        ):
            moved = sk.assemble(unit7, unit7.setup.change(axle, gap=float(gap)), refuse_solid=False)
            assert_allclose(moved[AXLES[axle][0]].ring_at(), place, atol=1e-9)


def test_a_ring_with_no_place_for_any_gap_says_so(unit7):
    # So tall a ring, an inch more than there is above the divider, that it covers the divider.
    corner = sk.assemble(unit7)["rear_left"]
    thread = corner.shock.thread
    tall = thread.ring_height + float(corner.gap_limits()[1]) + INCH
    thread = replace(thread, ring_height=tall)
    rear = replace(unit7.rear, shock=replace(unit7.rear.shock, thread=thread))
    with pytest.raises(ValueError, match="rear has its divider 1 in above .*; expected fewer"):
        sk.solve_stop_gap(replace(unit7, rear=rear), axle="rear", load=LOAD, load_factor=2.0)


def test_gap_refuses_nonsense(unit7):
    with pytest.raises(ValueError, match="axle is 'both'"):
        sk.solve_stop_gap(unit7, axle="both", load=LOAD, load_factor=2.0)
    with pytest.raises(ValueError, match="target is not given"):
        sk.solve_stop_gap(unit7, axle="rear", load=LOAD)
    with pytest.raises(ValueError, match="target is energy, load_factor"):
        sk.solve_stop_gap(unit7, axle="rear", load=LOAD, energy=900.0, load_factor=2.0)
    with pytest.raises(ValueError, match="expected one of load_factor"):
        sk.solve_stop_gap(unit7, axle="rear", load=LOAD, bump_load_factor=2.0)
    with pytest.raises(ValueError, match="rear has 0 stop rings"):
        sk.solve_stop_gap(unit7, unit7.setups["stock"], axle="rear", load=LOAD, load_factor=2.0)
