"""The spring compressor's job in closed form: two springs in series squeezed out of a retainer."""

from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.integrate import quad

import suspkit as sk
from suspkit.parts.shock import TopOut
from suspkit.statics.compressor import drop_height
from suspkit.vehicle.vehicle import StackPlan
from tests.tools import independent

KT, KM = 50e3, 65e3  # N/m
LENGTH = 0.15 + 0.42


def vehicle_with(*, span, turns=0.0, **axle):
    made = independent.make_axle(b=0.0, seat_span=span, **axle)
    vehicle = independent.make_vehicle(
        front=made, rear=independent.make_axle(b=0.0, seat_span=span, point_behind=2.6, **axle)
    )
    return vehicle, vehicle.setup.change("all", turns=turns)


@pytest.mark.parametrize("short", [-0.03, -0.0127, 0.0, 0.02, 0.05])
def test_force_and_energy_in_closed_form(short):
    # Hanging free without a top-out spring the shock is on its metal limit: the space is the span.
    vehicle, setup = vehicle_with(span=LENGTH - short)
    check = sk.compressor_check(vehicle, setup)["front"]
    squeeze = max(0.0, short + vehicle.front.shock.retainer_clearance)
    rate = 1 / (1 / KT + 1 / KM)
    assert_allclose(check.space, LENGTH - short, rtol=1e-12)
    assert_allclose(check.stack_length, LENGTH, rtol=1e-12)
    assert_allclose(check.squeeze, squeeze, atol=1e-12)
    assert_allclose(check.squeezed_length, LENGTH - squeeze, rtol=1e-12)
    assert_allclose(check.force, rate * squeeze, rtol=1e-9, atol=1e-9)
    assert_allclose(check.energy, rate * squeeze**2 / 2, rtol=1e-9, atol=1e-12)
    # A tool on the main's coils alone has to take the whole distance out of that spring.
    assert_allclose(check.main_force, KM * squeeze, rtol=1e-9, atol=1e-9)
    assert_allclose(check.main_energy, KM * squeeze**2 / 2, rtol=1e-9, atol=1e-12)
    assert check.binds is False


def test_tender_solid_on_the_way():
    # The tender goes solid at 0.1 m; from there the main spring takes it alone.
    vehicle, setup = vehicle_with(span=LENGTH - 0.25)
    check = sk.compressor_check(vehicle, setup)["rear"]
    at_bind = KT * 0.1
    bind = 0.1 + at_bind / KM
    squeeze = 0.25 + 0.0127
    assert_allclose(check.force, at_bind + KM * (squeeze - bind), rtol=1e-9)
    stack = independent.Stack([vehicle.springs["tender"], vehicle.springs["main"]], {})
    energy, _ = quad(stack.force, 0, squeeze, points=[bind])
    assert_allclose(check.energy, energy, rtol=1e-7)


def test_all_solid_cannot_be_done():
    vehicle, setup = vehicle_with(span=LENGTH - 0.1 - 0.32 + 0.0126)
    check = sk.compressor_check(vehicle, setup)["front"]
    assert check.binds is True
    assert np.isfinite([check.force, check.energy]).all()
    fine, setup = vehicle_with(span=LENGTH - 0.1 - 0.32 + 0.0128)
    assert sk.compressor_check(fine, setup)["front"].binds is False


def test_the_main_alone_may_be_solid_first():
    vehicle, setup = vehicle_with(span=LENGTH - 0.32 + 0.0126)  # the main gives 0.32 m
    check = sk.compressor_check(vehicle, setup)["front"]
    assert check.binds is False and np.isinf([check.main_force, check.main_energy]).all()


def test_the_harder_side_is_told():
    vehicle, setup = vehicle_with(span=LENGTH - 0.05)
    vehicle = replace(vehicle, stacks=vehicle.stacks | {"one": StackPlan(springs=("main",))})
    both = sk.compressor_check(vehicle, setup)
    for corner in ("front_left", "front_right"):
        mixed = setup.change(corner, stack="one", gap=None)
        assert sk.compressor_check(vehicle, mixed) == both


def test_collar_left_down_costs_its_travel():
    vehicle, setup = vehicle_with(span=LENGTH + 0.03, turns=8.0)
    pitch = vehicle.front.shock.thread.collar_pitch
    up = sk.compressor_check(vehicle, setup)["front"]
    down = sk.compressor_check(vehicle, setup, collar_up=False)["front"]
    # The collar stands at contact plus the turns, and contact is the slack of the bolted shock.
    contact = sk.assemble(vehicle, setup)["front_left"].contact_at
    assert_allclose(contact, 0.03, atol=1e-4)
    assert_allclose(up.space - down.space, contact + 8 * pitch, rtol=1e-9)
    assert up.force == 0.0 and up.energy == 0.0
    assert_allclose(down.squeeze, 8 * pitch + 0.0127, atol=1e-4)


def test_top_out_spring_takes_space():
    # With the bolt out and nothing hanging, gas and top-out spring decide where the shock sits:
    # gas force over the spring's rate short of its free end. Here there is no gas.
    top = TopOut(rate=35e3, length=0.04)
    vehicle, setup = vehicle_with(span=LENGTH, top_out=top)
    check = sk.compressor_check(vehicle, setup)["front"]
    assert_allclose(check.space, LENGTH - 0.04, atol=1e-9)


def test_ring_is_backed_away():
    vehicle, setup = vehicle_with(span=LENGTH - 0.05)
    wide = sk.compressor_check(vehicle, setup.change("all", gap=0.09))["front"]
    tight = sk.compressor_check(vehicle, setup.change("all", gap=0.001))["front"]
    assert_allclose(tight.force, wide.force, rtol=1e-12)


def test_dividers_lengthen_the_stack():
    vehicle, setup = vehicle_with(span=LENGTH)
    shock = replace(vehicle.front.shock, divider_height=0.01)
    front = replace(vehicle.front, shock=shock)
    tall = replace(vehicle, front=front)
    check = sk.compressor_check(tall, setup)
    assert_allclose(check["front"].stack_length, LENGTH + 0.01, rtol=1e-12)
    assert_allclose(check["front"].squeeze - check["rear"].squeeze, 0.01, rtol=1e-9)


def test_single_spring():
    vehicle, setup = vehicle_with(span=0.40)
    vehicle = replace(vehicle, stacks=vehicle.stacks | {"one": StackPlan(springs=("main",))})
    setup = setup.change("all", stack="one", gap=None)
    check = sk.compressor_check(vehicle, setup)["front"]
    assert_allclose(check.force, KM * (0.02 + 0.0127), rtol=1e-9)


def test_example_vehicle_by_other_means():
    unit7 = sk.example("unit7")
    checks = sk.compressor_check(unit7)
    for axle, check in checks.items():
        plain = independent.Corner(unit7, unit7.setup, f"{axle}_left")
        free = independent.Stack(plain.stack.springs, {})
        # Bolt out: top-out spring against gas alone.
        shock = plain.shock
        out = independent.brentq(lambda s, p=plain: p.gas(s) + p.limits(s), 0, 0.1, xtol=1e-14)
        space = shock.thread.seat_span - out
        length = sum(s.free_length for s in free.springs) + shock.divider_height
        squeeze = max(0.0, length - space + shock.retainer_clearance)
        assert_allclose(check.space, space, rtol=1e-9)
        assert_allclose(check.force, free.force(squeeze), rtol=1e-7, atol=1e-3)
        energy, _ = quad(free.force, 0, squeeze, limit=200)
        assert_allclose(check.energy, energy, rtol=1e-6, atol=1e-6)


def test_drop_height_in_plain_terms():
    # 1 kg lifted 1 m in standard gravity holds 9.80665 J (by definition of the unit).
    assert_allclose(drop_height(9.80665, mass=1.0), 1.0, rtol=1e-15)
    assert_allclose(drop_height(np.array([0.0, 20.0]), mass=4.0), [0.0, 5.0 / 9.80665], rtol=1e-12)
