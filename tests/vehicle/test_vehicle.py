"""Masses by moments, axles, names and what a vehicle refuses."""

import re
from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose

import suspkit as sk
from suspkit.parts.shock import Clicker, TopOut
from suspkit.vehicle.setup import CORNERS, CornerSetup
from suspkit.vehicle.vehicle import (
    Item,
    LinkageTable,
    Load,
    Scales,
    StackPlan,
    TrailingArm,
    known_name,
)
from tests.tools import independent

POUND = 0.45359237  # kg, exact (international yard and pound agreement, 1959)
INCH = 0.0254


@pytest.fixture(scope="module")
def unit7():
    return sk.example("unit7")


@pytest.fixture
def plain():
    return independent.make_vehicle()


# -------------------------------------------------------------------------------------- masses


def test_dry_mass_is_the_scales_less_the_wheels(unit7):
    scale = unit7.scales
    total = scale.front_left + scale.front_right + scale.rear_left + scale.rear_right
    wheels = 2 * unit7.front.unsprung_mass + 2 * unit7.rear.unsprung_mass
    assert_allclose(unit7.masses().mass, total - wheels, rtol=1e-12)
    assert_allclose(total, (447 + 441 + 571 + 563) * POUND, rtol=1e-12)  # as the file reads


def test_masses_by_hand():
    # Scales 200, 180, 240, 260 kg, wheels 30 kg each, base 3 m, tracks 1.5 and 1.6 m.
    # Sprung 170, 150, 210, 230 = 760 kg; rear share 440/760; left moment
    # 0.75 (170 - 150) + 0.8 (210 - 230) = -1 kg m.
    vehicle = independent.make_vehicle(
        front=independent.make_axle(unsprung=30.0, track=1.5),
        rear=independent.make_axle(unsprung=30.0, track=1.6),
        scales=(200, 180, 240, 260), wheelbase=3.0, cg=0.4,
    )  # fmt: skip
    dry = vehicle.masses()
    assert_allclose(dry.mass, 760.0)
    assert_allclose(dry.behind_front_axle, 3.0 * 440 / 760)
    assert_allclose(dry.left_of_centre, -1.0 / 760)
    assert dry.above_frame == 0.4
    # 40 kg aboard at (1 m behind, 0.5 m left, 1.2 m up).
    item = Item(mass=40.0, behind_front_axle=1.0, left_of_centre=0.5, above_frame=1.2)
    loaded = replace(vehicle, items={"box": item}, loads={"box": Load(items=("box",))})
    with_box = loaded.masses("box")
    assert_allclose(with_box.mass, 800.0)
    assert_allclose(with_box.behind_front_axle, (3.0 * 440 + 40 * 1.0) / 800)
    assert_allclose(with_box.left_of_centre, (-1.0 + 40 * 0.5) / 800)
    assert_allclose(with_box.above_frame, (760 * 0.4 + 40 * 1.2) / 800)


def test_several_loads_are_arrays(unit7):
    names = ["carry-out", "bare", "patrol"]
    several = unit7.masses(names)
    for i, name in enumerate(names):
        one = unit7.masses(name)
        for field in ("mass", "behind_front_axle", "left_of_centre", "above_frame"):
            assert getattr(several, field)[i] == getattr(one, field)
    assert unit7.masses("bare") == replace(unit7.masses(None))


def test_the_same_item_twice_counts_twice(plain):
    box = Item(mass=25.0, behind_front_axle=1.0, above_frame=0.4)
    twice = replace(plain, items={"box": box}, loads={"two": Load(items=("box", "box"))})
    assert_allclose(twice.masses("two").mass - plain.masses().mass, 50.0)


# --------------------------------------------------------------------------------- axle, hangs


def test_axle_of_a_corner(unit7):
    assert [unit7.axle_of(name) is unit7.front for name in CORNERS] == [True, True, False, False]


def test_hangs_by_hand():
    # No gas, constant motion ratio: the wheel's weight against the top-out spring alone.
    top = TopOut(rate=30e3, length=0.04)
    axle = independent.make_axle(a=0.5, b=0.0, unsprung=40.0, top_out=top)
    pull = 40.0 * 9.80665 / 0.5
    assert_allclose(axle.contact_hang * 0.5, 0.04 - pull / 30e3, rtol=1e-9)
    # With the bolt out nothing pulls: the top-out spring is just free.
    assert_allclose(axle.unbolted_hang * 0.5, 0.04, rtol=1e-9)


@pytest.mark.parametrize("load", [None, "patrol"])
def test_stack_by_name(unit7, load):
    stack = unit7.stack("kit-front")
    assert [s.name for s in stack.springs] == list(unit7.stacks["kit-front"].springs)
    assert [ring.below for ring in stack.rings] == [0]
    assert np.isinf(stack.rings[0].cap)
    with pytest.raises(ValueError, match="stack is 'kit-frnt'.*did you mean 'kit-front'"):
        unit7.stack("kit-frnt")


# ------------------------------------------------------------------------------------ refusals


def refused(vehicle, match, **changes):
    with pytest.raises(ValueError, match=match) as error:
        replace(vehicle, **changes)
    assert "\n" not in str(error.value)


def test_names_must_be_known(plain):
    refused(plain, "current is 'two'; expected a set-up: one", current="two")
    refused(
        plain, re.escape("stacks.bad.springs[1] is 'mian'") + ".*did you mean 'main'",
        stacks=plain.stacks | {"bad": StackPlan(springs=("tender", "mian"))},
    )  # fmt: skip
    refused(
        plain, re.escape("stacks.bad.rings_below[0] is 'main'"),
        stacks=plain.stacks | {"bad": StackPlan(springs=("tender", "main"), rings_below=("main",))},
    )  # fmt: skip
    refused(
        plain, "stacks.bad.springs is empty", stacks=plain.stacks | {"bad": StackPlan(springs=())}
    )
    refused(
        plain, re.escape("loads.trip.items[0] is 'cooler'"),
        loads={"trip": Load(items=("cooler",))},
    )  # fmt: skip


def test_setup_must_fit_its_stack(plain):
    setup = plain.setup
    for changes, match in (
        ({"gap": None}, "gap is missing; stack 'pair' has a stop ring"),
        ({"gap": (0.02, 0.03)}, r"gap has 2 value\(s\); expected 1"),
        ({"stack": "none"}, "stack is 'none'; expected a stack"),
        ({"clicks": {"bleed": 3}}, "clicks is 'bleed'; expected an adjuster"),
    ):
        bad = {"one": setup.change("rear_left", **changes)}
        refused(plain, f"setups.one.rear_left.{match}", setups=bad)


@pytest.mark.parametrize("clicks", [13, 2.5])  # below zero a CornerSetup itself refuses it
def test_clicks_must_be_on_the_adjuster(unit7, clicks):
    bad = unit7.setup.change("front_left", clicks={"rebound": clicks})
    refused(
        unit7, f"clicks.rebound is {clicks:g}; expected a whole number from 0 to 12",
        setups=unit7.setups | {"kit": bad},
    )  # fmt: skip


@pytest.mark.parametrize("clicks", [0, 6, 12])
def test_clicks_on_both_ends_are_good(unit7, clicks):
    good = unit7.setup.change("all", clicks={"rebound": clicks, "compression": clicks})
    assert replace(unit7, setups={"kit": good}).setup == good


def test_wheels_cannot_weigh_more_than_the_scales_read(plain):
    light = Scales(
        front_left=33.0, front_right=34.0, rear_left=250.0, rear_right=250.0,
        sprung_cg_above_frame=0.3,
    )  # fmt: skip
    refused(plain, "front.unsprung_mass is 34.0 kg; expected less than", scales=light)


def test_linkage_table_must_reach_full_bump():
    axle = independent.make_axle(a=0.5, b=0.0, stroke=0.24)
    short = LinkageTable(
        travel=axle.linkage.travel[:8], eye_to_eye=axle.linkage.eye_to_eye[:8], noise=1e-6
    )
    with pytest.raises(ValueError, match="linkage ends at .* expected it to reach full bump"):
        replace(axle, linkage=short)


def test_clicker_refuses_nonsense():
    assert Clicker(count=12).middle == 6 and Clicker(count=13).middle == 6
    with pytest.raises(ValueError, match="zero is 'middle'"):
        Clicker(count=12, zero="middle")
    with pytest.raises(ValueError, match="count is 0"):
        Clicker(count=0)


def test_corner_setup_refuses_gap_and_ring_together():
    with pytest.raises(ValueError, match="gap 0.02 and ring 0.01 are both given"):
        CornerSetup(stack="pair", gap=0.02, ring=0.01)
    for name in ("turns", "gap"):
        with pytest.raises(ValueError, match=f"{name} is -0.01; expected a number .*from 0 to"):
            CornerSetup(stack="pair", **{name: -0.01})


def test_known_name_hints_only_when_near():
    with pytest.raises(ValueError, match=r"mean 'patrol'\?\)"):
        known_name("patrl", {"patrol": 0, "bare": 0}, "load", "a load")
    with pytest.raises(ValueError) as far:
        known_name("xyz", {"patrol": 0}, "load", "a load")
    assert "did you mean" not in str(far.value)
    with pytest.raises(ValueError, match="none given"):
        known_name("xyz", {}, "load", "a load")


def test_an_axle_from_the_points_of_its_arms(unit7):
    # A level arm with an upright shock in its middle: half the wheel's travel at first, by similar
    # triangles.
    arm = TrailingArm(
        pivot=(0.0, 0.0), wheel_center=(-0.9, 0.0), shock_on_arm=(-0.45, 0.0),
        shock_body=(-0.45, 0.8), travel_max=0.5,
    )  # fmt: skip
    front = replace(unit7.front, linkage=None, trailing_arm=arm)
    assert_allclose(front.motion.motion_ratio(0.0), 0.5, rtol=1e-6)
    vehicle = replace(unit7, front=front)
    assert sk.settle(vehicle, load="patrol").residual < 1e-9


def test_points_are_those_of_the_extended_shock(unit7):
    # Unit 7's front shock is 31-1/2 in long; these eyes are 27 in apart, as at ride height.
    arm = TrailingArm(
        pivot=(0.0, 0.0), wheel_center=(-0.9, 0.0), shock_on_arm=(-0.45, 0.0),
        shock_body=(-0.45, 0.6858), travel_max=0.5,
    )  # fmt: skip
    for up in (0.6858, 0.81):
        points = replace(arm, shock_body=(-0.45, up))
        with pytest.raises(ValueError, match=f"{up / 0.0254:.2f} in apart; expected extended"):
            replace(unit7.front, linkage=None, trailing_arm=points)


def test_an_axle_has_one_linkage(unit7):
    with pytest.raises(ValueError, match="no linkage is given; expected exactly one of linkage"):
        replace(unit7.front, linkage=None)
