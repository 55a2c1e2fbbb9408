"""Driving: linear theory, an independent integration of the same physics, and its own books."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import root

from suspkit import Curve, Damper, Road, Setup, Spring, assemble
from suspkit.dynamics import drive as driving
from suspkit.dynamics import events
from suspkit.dynamics.drive import (
    AUDIT_LIMIT,
    UntrustedRunError,
    build,
    drive,
    drive_many,
    error_estimate,
)
from suspkit.parts.damper import DynoTable
from suspkit.parts.shock import ATMOSPHERE, Clicker, TopOut
from suspkit.vehicle.corner import hold_rings
from suspkit.vehicle.setup import CornerSetup
from suspkit.vehicle.vehicle import StackPlan, Tyre
from tests.tools import independent, independent_ride
from tests.tools.independent import make_axle, make_vehicle, mirrored

G = independent.G

# Quarter cars (ms, mu, ks, kt, c, tyre damping), SI. A: a widely published active-suspension
# benchmark. C: Univ. of Michigan control tutorials, bus suspension. F: Barton & Fieldhouse,
# Automotive Chassis Engineering (2018).
SETS = {
    "A": (300.0, 60.0, 16e3, 190e3, 1000.0, 0.0),
    "C": (2500.0, 320.0, 80e3, 500e3, 350.0, 15020.0),
    "F": (317.5, 45.4, 22e3, 192e3, 0.0, 0.0),
}


def linear_damper(rate, up_to=50.0):
    """A measured damper that is a straight line, whatever the clicks."""
    half = Curve([0.0, up_to], [0.0, rate * up_to], rate, rate)
    return Damper(table=DynoTable("line", {0: half, 12: half}, {0: half, 12: half}))


def with_damper(axle, rate, **changes):
    clickers = {"compression": Clicker(count=12), "rebound": Clicker(count=12)}
    damper = linear_damper(rate) if rate else None
    return replace(
        axle, shock=replace(axle.shock, clickers=clickers if rate else {}, damper=damper), **changes
    )


def linear_car(ms, mu, ks, kt, c, ct):
    """Four equal corners with a motion ratio of one, one straight spring and nothing else."""
    stroke = 4 * ms * G / ks
    axle = make_axle(a=1.0, b=0.0, stroke=stroke, unsprung=mu, friction=0.0, extended=stroke + 0.5)
    axle = with_damper(axle, c, tyre=Tyre(radius=0.4, rate=kt, damping=ct))
    spring = Spring(name="one", rate=ks, free_length=2 * stroke + 0.1, solid_length=0.1)
    corner = CornerSetup(stack="one", turns=0.0)
    return make_vehicle(
        front=axle, rear=axle, springs={"one": spring}, stacks={"one": StackPlan(springs=("one",))},
        setup=Setup(front_left=corner, front_right=corner, rear_left=corner, rear_right=corner),
        scales=(ms + mu,) * 4,
    )  # fmt: skip


def shaken(car, frequency, *, settled, cycles=20, height=2e-3):
    """Steady response to a sine of the ground, by least squares: body and travel over road."""
    event = replace(
        events.whoops(
            height=height, spacing=1.0, speed=frequency, approach=0.0,
            count=int(np.ceil(settled * frequency)) + cycles,
        ),
        duration=settled + cycles / frequency,
    )  # fmt: skip
    run = drive(car, event=event, model="quarter")
    late = run.time >= settled
    t = 2 * np.pi * frequency * run.time[late]
    waves = np.stack([np.cos(t), np.sin(t), np.ones_like(t)], axis=-1)

    def amplitude(signal):
        fit = np.linalg.lstsq(waves, signal[late], rcond=None)[0]
        return np.hypot(fit[0], fit[1])

    assert (run.tyre_load > 0).all()
    return amplitude(run.height) / (height / 2), amplitude(run.travel[0]) / (height / 2)


# Computed by two independent routes from set A's equations.
@pytest.mark.parametrize(
    ("frequency", "body", "travel"),
    [
        (1.0, 2.60780431, 1.79677257),
        (2.0, 0.58249033, 1.35635952),
        (10.0, 0.14450997, 2.63970638),
        (20.0, 0.00674568, 0.25226971),
    ],
)
def test_transmissibility_of_a_linear_car(frequency, body, travel):
    found = shaken(linear_car(*SETS["A"]), frequency, settled=10.0)
    assert found == pytest.approx((body, travel), rel=1e-3)


# Hedrick & Butsuen, Proc. IMechE 204 (1990): without tyre damping, whatever spring and damper.
@pytest.mark.parametrize(("ks", "c"), [(16e3, 1000.0), (30e3, 2500.0)])
def test_invariants_no_spring_or_damper_can_change(ks, c):
    ms, mu, kt = 300.0, 60.0, 190e3
    car = linear_car(ms, mu, ks, kt, c, 0.0)
    hop = np.sqrt(kt / mu) / (2 * np.pi)
    assert shaken(car, hop, settled=10.0)[0] == pytest.approx(mu / ms, rel=1e-3)
    bounce = np.sqrt(kt / (ms + mu)) / (2 * np.pi)
    assert shaken(car, bounce, settled=10.0)[1] == pytest.approx(1 + mu / ms, rel=1e-3)


# Frequencies |eigenvalue| / 2 pi [Hz] and damping ratios of the damped car, computed; set F has
# none, and its book gives 1.25 and 10.9 Hz.
@pytest.mark.parametrize(
    ("name", "frequency", "ratio"),
    [
        ("A", (1.123739, 9.263503), (0.202788, 0.147209)),
        ("C", (0.835817, 6.776633), (0.020916, 0.563091)),
        ("F", (1.253924, 10.935317), (0.0, 0.0)),
    ],
)
def test_free_decay_has_the_natural_frequencies_and_ratios(name, frequency, ratio):
    event = replace(
        events.single_bump(height=2e-3, length=0.4, speed=8.0, approach=0.0), duration=1.5
    )
    run = drive(linear_car(*SETS[name]), event=event, model="quarter", step=2.5e-4, keep=1e-2)
    rest = run.time > 0.1  # past the bump
    place = np.stack([run.height - run.height[0], run.hub_height[0] - run.hub_height[0, 0]])
    place = place[:, rest]
    # Two places now and a little later are a state; one matrix moves it on by a sample.
    state = np.concatenate([place[:, :-1], place[:, 1:]])
    state /= np.abs(state).max(axis=1, keepdims=True)
    move = state[:, 1:] @ np.linalg.pinv(state[:, :-1])
    values = np.log(np.linalg.eigvals(move).astype(complex)) / (run.time[1] - run.time[0])
    values = values[values.imag > 0]
    values = values[np.argsort(np.abs(values))]
    assert np.abs(values) / (2 * np.pi) == pytest.approx(frequency, rel=2e-4)
    assert -values.real / np.abs(values) == pytest.approx(ratio, rel=2e-4, abs=2e-5)


# ------------------------------------------------------- the same physics, integrated by scipy

EVENTS = {
    "g-out": events.g_out(radius=12.0, depth=0.6, speed=9.0),
    "bump": events.single_bump(height=0.25, length=1.5, speed=8.0),  # to the metal, and in the air
    "edge": events.square_edge(height=0.15, speed=8.0),
    "whoops": events.whoops(height=0.2, spacing=3.5, speed=7.0, count=4),
    "rough": events.rough_road(road_class="E", speed=10.0, duration=2.0),
    "drop": events.drop(height=0.4, duration=1.5),
    "cornering": events.cornering(lateral=4.5, duration=2.0),
    "braking": events.braking(slowing=5.0, duration=2.0),
}
BOTTOMS, LIFTS = {"bump", "edge", "drop"}, {"g-out", "bump", "edge", "whoops", "rough", "drop"}


@pytest.mark.parametrize("name", ["g-out", "bump", "edge", "whoops", "rough", "drop"])
def test_a_quarter_agrees_with_scipy(unit7, name):
    event = EVENTS[name]
    run = drive(unit7, event=event, load="patrol", model="quarter")
    other = independent_ride.quarter(unit7, unit7.setup, event, run.time, load="patrol")
    moved = np.ptp(other.travel)
    assert moved > 0.05
    assert np.abs(run.travel - other.travel).max() < 1e-4 * moved
    assert (run.bottomings[0] > 0) == (name in BOTTOMS)
    assert (run.airtime[0] > 0) == (name in LIFTS)


def test_a_rear_corner_agrees_with_scipy(unit7):
    event = EVENTS["bump"]
    run = drive(unit7, event=event, load="carry-out", model="quarter", corner="rear_right")
    other = independent_ride.quarter(
        unit7, unit7.setup, event, run.time, load="carry-out", corner="rear_right"
    )
    assert np.abs(run.travel - other.travel).max() < 1e-4 * np.ptp(other.travel)


@pytest.mark.slow
@pytest.mark.parametrize("name", ["bump", "rough", "cornering", "braking"])
def test_the_whole_vehicle_agrees_with_scipy(unit7, name):
    event = EVENTS[name]
    event = replace(event, duration=min(event.duration, 1.6))
    run = drive(unit7, event=event, load="patrol")
    other = independent_ride.full(unit7, unit7.setup, event, run.time, load="patrol", max_step=5e-3)
    moved = np.ptp(other.travel, axis=1).max()
    assert moved > 0.04
    assert np.abs(run.travel - other.travel).max() < 1e-4 * moved
    assert np.abs(run.height - other.height).max() < 1e-4 * moved
    for angle in ("pitch", "roll"):
        assert np.abs(getattr(run, angle) - getattr(other, angle)).max() < 1e-4 * moved


# ---------------------------------------------------------------------------------- its books


@pytest.mark.parametrize("model", driving.MODELS)
@pytest.mark.parametrize("name", EVENTS)
def test_the_energy_book_closes(unit7, name, model):
    run = drive(unit7, event=EVENTS[name], load="patrol", model=model)
    assert run.audit < AUDIT_LIMIT
    assert run.trusted
    assert run.energy["damper"] >= 0
    assert run.energy["friction"] >= 0
    if name in BOTTOMS:
        assert run.bottomings.max() > 0
    if name in LIFTS:
        assert run.airtime.max() > 0


def test_bars_wound_up_at_rest_are_in_the_book(unit7):
    litter = replace(unit7.items["litter"], left_of_centre=0.5)
    leaning = replace(unit7, items=unit7.items | {"litter": litter})
    run = drive(leaning, event=events.cornering(lateral=3.0, duration=1.5), load="carry-out")
    assert abs(run.travel[0, 0] - run.travel[1, 0]) > 0.01
    assert run.audit < 1e-6


def test_a_tyre_that_damps_is_in_the_book():
    ms, mu, ks, kt, c, _ = SETS["A"]
    car = linear_car(ms, mu, ks, kt, c, 800.0)
    run = drive(car, event=events.single_bump(height=0.05, length=1.0, speed=5.0), model="full")
    assert run.energy["tyre"] > 0.01 * run.energy["damper"]
    assert run.audit < 1e-6


def test_time_in_the_air_is_in_seconds(unit7):
    run = drive(unit7, event=events.drop(height=0.5), load="patrol")
    row = run.time[1] - run.time[0]
    assert run.airtime == pytest.approx((run.tyre_load <= 0).sum(axis=1) * row)
    assert (run.airtime >= np.sqrt(2 * 0.5 / G) - 2 * row).all()


def test_gas_of_a_hot_shock_at_constant_volume(unit7):
    # Ideal gas from 1.5 MPa absolute at 293.15 K to 353.15 K: 1.807010 MPa (computed; a real gas,
    # with CoolProp, 1.817840).
    gas = replace(unit7.front.shock.gas, pressure=1.5e6 - ATMOSPHERE, fill_temperature=293.15)
    front = replace(unit7.front, shock=replace(unit7.front.shock, gas=gas))
    hot = driving._warmed(replace(unit7, front=front), unit7.setup, 353.15)[0].front.shock.gas
    assert hot.pressure + ATMOSPHERE == pytest.approx(1.807010e6, rel=1e-6)


def test_a_warm_shock_is_the_same_shock(unit7):
    # Its charge is told at another temperature; at any third one it pushes as it did.
    warm = driving._warmed(unit7, unit7.setup, 353.15)[0].front.shock
    assert warm.gas.pressure > unit7.front.shock.gas.pressure
    for temperature in (293.15, 353.15, 380.0):
        assert warm.gas_force(0.1, temperature=temperature) == pytest.approx(
            unit7.front.shock.gas_force(0.1, temperature=temperature), rel=1e-12
        )


def test_a_tyre_that_damps_never_holds_the_wheel_down():
    ms, mu, ks, kt, c, _ = SETS["A"]
    car = linear_car(ms, mu, ks, kt, c, 5000.0)
    run = drive(car, event=events.square_edge(height=0.1, speed=10.0), model="quarter")
    assert run.airtime.max() > 0 and run.tyre_load.min() == 0.0


def test_a_wrong_book_would_be_seen(unit7):
    """A long step on metal leaves energy over, and the run then says what to do."""
    run = drive(unit7, event=events.drop(height=1.0), load="patrol", step=16e-3, keep=16e-3)
    assert run.audit > AUDIT_LIMIT
    assert not run.trusted
    assert (
        f"is open by {100 * run.audit:.2f} %, more than 0.1 %: use a shorter step" in run.notes[0]
    )


def test_the_error_falls_sixteenfold_with_half_the_step():
    car = linear_car(*SETS["A"])
    gentle = replace(
        events.single_bump(height=0.02, length=4.0, speed=4.0, approach=0.0), duration=2.0
    )
    errors = [
        error_estimate(car, event=gentle, model="quarter", step=step, keep=16e-3)
        for step in (16e-3, 8e-3)
    ]
    assert 10 < errors[0] / errors[1] < 24  # RK4: 16 where the solution is smooth
    kept = [error_estimate(car, event=gentle, model="quarter", **k) for k in ({}, {"keep": 2e-3})]
    assert 0 < kept[0] == kept[1] < errors[1]


# ------------------------------------------------------------------------------- plain physics


@pytest.mark.parametrize("model", driving.MODELS)
@pytest.mark.parametrize("load", ["bare", "patrol", "carry-out"])
def test_rest_stays_at_rest_and_is_the_settled_stance(unit7, model, load):
    from suspkit import settle

    run = drive(unit7, event=events.braking(slowing=0.0, duration=1.0), load=load, model=model)
    assert np.ptp(run.travel, axis=1).max() < 1e-9
    stance = settle(unit7, load=load)
    rows = {"quarter": [0], "half": [0, 2], "full": [0, 1, 2, 3]}[model]
    assert run.travel[:, 0] == pytest.approx(stance.travel[rows], abs=1e-9)
    assert run.shaft_force[:, 0] == pytest.approx(stance.shock_force[rows], rel=1e-6)
    if model == "full":
        assert run.tyre_load[:, -1] == pytest.approx(stance.tyre_load, rel=1e-9)
        assert run.roll[-1] == pytest.approx(float(stance.roll), abs=1e-12)


def test_warm_gas_lifts_it_and_it_still_rests(unit7):
    still = events.braking(slowing=0.0, duration=0.5)
    cold = drive(unit7, event=still, load="patrol")
    warm = drive(unit7, event=still, load="patrol", temperature=353.15)
    assert np.ptp(warm.travel, axis=1).max() < 1e-9
    assert (warm.travel[:, 0] < cold.travel[:, 0] - 1e-3).all()


def test_hot_gas_turns_no_collar_and_no_ring(unit7):
    """Its own push apart, a hot shock is the cold one: the same springs, squeezed as they were."""
    still = events.braking(slowing=0.0, duration=0.5)
    cold = assemble(unit7)
    for setup in (unit7.setup, hold_rings(unit7.setup, cold)):
        run = drive(unit7, setup, event=still, load="patrol", temperature=353.15)
        for hot, at, force in zip(
            run.corners, run.compression[:, 0], run.shaft_force[:, 0], strict=True
        ):
            was = cold[hot.name]
            assert hot.collar_at == pytest.approx(was.collar_at, abs=1e-12)
            assert hot.ring_at() == pytest.approx(was.ring_at(), abs=1e-12)
            push = was.shock.gas_force(at, temperature=353.15)
            assert force == pytest.approx(was.curve(at) + push, rel=1e-9)


@pytest.mark.parametrize("model", driving.MODELS)
def test_before_it_lands_a_drop_is_free_fall(unit7, model):
    height = 0.5
    run = drive(unit7, event=events.drop(height=height), load="patrol", model=model)
    flight = run.time < np.sqrt(2 * height / G) - 0.1
    built = build(unit7, load="patrol", model=model)
    masses = np.r_[built.body[1], built.wheels[:, 3]]
    heights = np.concatenate([run.height[None], run.hub_height])
    centre = masses @ heights / masses.sum()
    assert (run.tyre_load[:, flight] == 0).all()
    expected = centre[0] - G * run.time**2 / 2
    assert centre[flight] == pytest.approx(expected[flight], abs=1e-9)
    reach = independent.lowest_of_disc(built.wheels[0, 4], run.pitch[0], run.roll[0])
    lowest = (run.hub_height[:, 0] - reach).min()
    assert lowest == pytest.approx(height, abs=1e-12)


def test_in_the_air_every_wheel_hangs_however_the_body_leans(unit7):
    ready = build(unit7, load="patrol")
    state = ready.start.copy()
    state[1:3] = 0.15, -0.25
    state = driving._in_the_air(ready, state)
    _, _, travel = driving._stored(ready, state)
    assert travel == pytest.approx([float(c.hang_travel) for c in ready.corners], abs=1e-12)


@pytest.mark.parametrize("model", driving.MODELS)
def test_the_front_wheels_meet_a_bump_when_they_have_driven_to_it(unit7, model):
    bump = events.single_bump(height=0.1, length=0.5, speed=5.0, approach=2.0)
    run = drive(unit7, event=bump, load="patrol", model=model)
    moved = np.abs(run.tyre_load - run.tyre_load[:, :1]) > 5.0
    first = run.time[moved.argmax(axis=1)]
    behind = {"quarter": [0], "half": [0, 1], "full": [0, 0, 1, 1]}[model]
    expected = (2.0 + np.array(behind) * unit7.wheelbase) / 5.0
    # The foot of the bump is gentle, and the rear feels the front a little sooner.
    assert (first[:1] >= expected[:1]).all() and (first <= expected + 0.03).all()


def test_a_mirrored_vehicle_does_the_mirror_image(unit7):
    event = events.cornering(lateral=3.0, duration=1.5)
    other, setup = mirrored(unit7, unit7.setup)
    run = drive(unit7, event=event, load="patrol")
    image = drive(other, setup, event=replace(event, lateral_steady=-3.0), load="patrol")
    assert image.travel[[1, 0, 3, 2]] == pytest.approx(run.travel, abs=1e-10)
    assert image.roll == pytest.approx(-run.roll, abs=1e-10)
    assert image.pitch == pytest.approx(run.pitch, abs=1e-10)


def test_a_bump_under_one_side_only_lifts_that_side(unit7):
    road = Road.single_bump(0.05, length=1.0, side="left")
    event = replace(events.single_bump(height=0.05, length=1.0, speed=5.0), road=road)
    run = drive(unit7, event=event, load="patrol")
    up = run.travel - run.travel[:, :1]
    assert up[0].max() > 0.03
    assert up[1].max() < 0.5 * up[0].max()
    # Rear wheels meet it a wheelbase later.
    late = run.time[up[2].argmax()] - run.time[up[0].argmax()]
    assert late == pytest.approx(unit7.wheelbase / 5.0, abs=0.02)


@pytest.mark.parametrize("lateral", [2.0, -3.5])
def test_a_steady_corner_is_the_static_balance_under_the_same_moment(unit7, lateral):
    event = events.cornering(lateral=lateral, duration=8.0)
    run = drive(unit7, event=event, load="patrol")
    body = independent.FreeBody(unit7, unit7.setup, "patrol")
    stood = independent.settle(unit7, unit7.setup, "patrol")
    for corner, name, z in zip(body.corners, independent.NAMES, stood.travel, strict=True):
        corner.gas = independent_ride.Wheel(unit7, unit7.setup, name, z).gas  # adiabatic

    def residual(pose):
        out = body.residual(pose)
        turn = independent.rotation(pose[1], pose[2])
        hubs = [pose[0] + (turn @ hub)[2] for hub in body.hubs(pose[3:])]
        unsprung = [corner.axle.unsprung_mass for corner in body.corners]
        lever = body.mass * (pose[0] + (turn @ body.centre)[2]) + np.dot(unsprung, hubs)
        # Turning left, the masses push to the right; about the ground's x that is left side up.
        push = lever * lateral / (body.weight * body.vehicle.wheelbase)
        # Roll turns about the axis that pitch has carried along.
        out[1] += push / np.cos(pose[1])
        return out

    found = root(residual, stood.pose, tol=1e-14)
    assert np.abs(found.fun).max() < 1e-12
    assert run.roll[-1] == pytest.approx(found.x[2], abs=1e-4)
    assert run.travel[:, -1] == pytest.approx(found.x[3:], abs=2e-4)
    assert np.sign(run.roll[-1] - run.roll[0]) == np.sign(lateral)  # turn left: left side up


def test_braking_dips_the_nose_and_drive_lifts_it(unit7):
    down = drive(unit7, event=events.braking(slowing=4.0), load="patrol")
    assert down.pitch[-1] > down.pitch[0] + 0.01
    assert (down.travel[:2, -1] > down.travel[:2, 0]).all()
    assert (down.travel[2:, -1] < down.travel[2:, 0]).all()
    half = drive(unit7, event=events.braking(slowing=4.0), load="patrol", model="half")
    assert half.pitch[-1] - half.pitch[0] == pytest.approx(down.pitch[-1] - down.pitch[0], rel=0.05)
    up = drive(unit7, event=replace(events.braking(slowing=4.0), forward_steady=4.0), load="patrol")
    assert up.pitch[-1] < up.pitch[0] - 0.01


def test_the_kernel_reads_the_same_ground_and_manoeuvre_as_the_event(unit7):
    """Stiff light wheels on a stiff tyre follow the ground itself."""
    event = events.single_bump(height=0.1, length=4.0, speed=3.0, approach=1.0)
    run = drive(linear_car(300.0, 20.0, 16e3, 3e6, 1000.0, 5e3), event=event)
    for i, behind in enumerate((0.0, 0.0, 2.9, 2.9)):
        ground, rise = event.under(run.time, behind=behind)
        assert run.hub_height[i] - run.hub_height[i, 0] == pytest.approx(ground, abs=5e-4)
        assert rise.max() > 0.1
    corner = events.cornering(lateral=2.0, ramp=0.5)
    assert corner.lateral([0.0, 0.25, 0.5, 3.0]) == pytest.approx([0.0, 1.0, 2.0, 2.0])


def test_more_damping_takes_less_travel_in_a_drop():
    sets = SETS["A"]
    soft, hard = (linear_car(*sets[:4], c, 0.0) for c in (800.0, 2000.0))
    fall = events.drop(height=0.1)
    a, b = (drive(car, event=fall, model="quarter") for car in (soft, hard))
    assert a.travel_used[0] > b.travel_used[0] + 0.02


def test_top_out_and_a_wheel_in_the_air_hold_the_book():
    top = with_damper(make_axle(top_out=TopOut(rate=30e3, length=0.03)), 1500.0)
    car = make_vehicle(front=top, rear=top)
    event = events.single_bump(height=0.25, length=2.0, speed=6.0)
    run = drive(car, event=event)
    assert run.airtime.min() > 0
    assert run.compression.min() < 0.03  # on the top-out spring
    assert run.audit < AUDIT_LIMIT


# ------------------------------------------------------------------------ results and refusals


def test_what_a_run_tells(unit7):
    run = drive(unit7, event=EVENTS["bump"], load="patrol")
    full = np.array([c.shock.full_bump for c in run.corners])
    assert (run.bottomings == 1).all()
    assert (run.compression.max(axis=1) > full).all()
    assert (run.travel_used > 1).all()
    assert (run.peak_force == run.shaft_force.max(axis=1)).all()
    assert (run.metal == (run.bottomings > 0)).all() and run.metal.any()
    assert ((run.stop_speed > 0) & (run.stop_speed <= run.shaft_speed.max(axis=1))).all()
    assert run.damper_power == pytest.approx(run.energy["damper"] / run.time[-1])
    seat = run.seat_acceleration(ahead=0.4, left=0.3)
    heave, pitch, roll = run.body_acceleration
    assert seat == pytest.approx(heave - 0.4 * pitch + 0.3 * roll)
    assert (run.seat_acceleration() == heave).all()
    # What was put in is stored, or lost in one of three ways.
    spent = run.energy["stored"] + sum(run.energy[n] for n in ("damper", "friction", "tyre"))
    assert run.energy["given"] == pytest.approx(spent, abs=AUDIT_LIMIT * run.energy["damper"])
    # Heave acceleration is the second difference of height, away from the kinks' sharp ends.
    dt = run.time[1]
    second = (run.height[2:] - 2 * run.height[1:-1] + run.height[:-2]) / dt**2
    assert np.median(np.abs(second - heave[1:-1])) < 0.02
    gentle = drive(unit7, event=events.drop(height=0.02), load="patrol", model="quarter")
    assert gentle.bottomings[0] == 0
    still = drive(unit7, event=events.braking(slowing=0.0), load="patrol")
    assert (still.stop_speed == 0).all() and not still.metal.any()


def test_bottomings_are_counted_once_each(unit7):
    run = drive(unit7, event=EVENTS["bump"], load="patrol", model="quarter")
    full = run.corners[0].shock.full_bump
    s = np.full(run.time.size, run.corners[0].shock.bump_touch - 0.01)
    s[0] = full  # starts there
    s[10:20], s[30] = full, np.nextafter(full, 0.0)
    s[40] = np.nextafter(full, 1.0)
    assert replace(run, compression=s[None]).bottomings.tolist() == [3]


def test_a_vehicle_that_turns_over_is_no_result(unit7):
    with pytest.raises(UntrustedRunError, match=r"turns over after \d\.\d s.*milder"):
        drive(unit7, event=events.cornering(lateral=12.0), load="patrol")


def test_numbers_that_run_away_are_no_result(unit7, monkeypatch):
    from suspkit.core import drive_kernel

    def run_away(state, *rest):
        state[0] = np.inf
        return 300

    monkeypatch.setattr("suspkit.dynamics.drive.announce", lambda function: None)
    monkeypatch.setattr(drive_kernel, "run", run_away)
    said = "vehicle leaves all bounds after 0.3 s, so there is no result"
    with pytest.raises(UntrustedRunError, match=said):
        drive(unit7, event=events.drop(height=0.1), load="patrol")


def test_a_vehicle_that_tips_standing_is_no_result(unit7):
    far = replace(unit7.items["litter"], mass=900.0, left_of_centre=1.9)
    leaning = replace(unit7, items=unit7.items | {"litter": far})
    with pytest.raises(UntrustedRunError, match="tips over at rest"):
        drive(leaning, event=events.drop(height=0.1), load="carry-out")


def test_a_body_turned_past_what_is_assumed_is_said(unit7):
    ready = build(unit7, load="patrol")
    run = drive(unit7, event=events.drop(height=0.05), load="patrol", built=ready)
    assert not list(driving._doubts(run, ready))
    for field in ("pitch", "roll"):
        for angle in (0.61, -0.61):
            turned = replace(run, **{field: np.full_like(run.time, angle)})
            assert [said[:32] for said in driving._doubts(turned, ready)] == [
                "The body turned past 35 degrees,"
            ]


def test_past_the_damper_table_is_said(unit7):
    axle = make_axle()
    short = replace(
        with_damper(axle, 1500.0),
        shock=replace(
            axle.shock, damper=linear_damper(1500.0, up_to=0.3),
            clickers={"compression": Clicker(count=12), "rebound": Clicker(count=12)},
        ),
    )  # fmt: skip
    car = make_vehicle(front=short, rear=short)
    run = drive(car, event=events.square_edge(height=0.1, speed=8.0), model="quarter")
    assert not run.trusted
    assert "front left shaft moved at" in run.notes[0]
    assert "past the damper's known 0.30 m/s" in run.notes[0]
    assert run.audit < AUDIT_LIMIT


@pytest.mark.parametrize(
    ("how", "words"),
    [
        ({"model": "third"}, "model is 'third'; expected one of: quarter, half, full"),
        ({"corner": "middle"}, "corner is 'middle'; expected a corner: front_left"),
    ],
)
def test_wrong_names_are_one_sentence(unit7, how, words):
    with pytest.raises(ValueError, match=words):
        drive(unit7, event=events.drop(height=0.1), **how)


def test_other_clicks_without_building_again(unit7):
    built = build(unit7, load="patrol")
    setup = unit7.setup.change("all", clicks={"compression": 0, "rebound": 0})
    event = events.drop(height=0.1)
    quick = drive(unit7, setup, event=event, built=driving.with_clicks(built, setup))
    anew = drive(unit7, setup, event=event, load="patrol")
    assert (quick.travel == anew.travel).all()
    assert not (drive(unit7, event=event, built=built).travel == anew.travel).all()


# ------------------------------------------------------------------------------ many at a time


def test_many_set_ups_are_each_as_alone_and_in_order(unit7):
    kit = unit7.setup
    setups = [
        kit, unit7.setups["stock"], kit.change("front", turns=6.0), kit.change("rear", gap=0.12),
        kit.change("front_left", gap=0.04), replace(kit, front_bar=False),
        kit.change("front", clicks={"compression": 2, "rebound": 10}),
        kit.change("front", ring=0.03),
    ]  # fmt: skip
    event = events.cornering(lateral=3.0, duration=1.0)
    runs = drive_many(unit7, setups, event=event, load="patrol", workers=2)
    for run, setup in zip(runs, setups, strict=True):
        alone = drive(unit7, setup, event=event, load="patrol")
        assert run.travel == pytest.approx(alone.travel, abs=1e-9)
        assert run.corners[0].preload == pytest.approx(alone.corners[0].preload)
        assert run.corners[2].crossover == pytest.approx(alone.corners[2].crossover)
        assert run.corners[0].ring == pytest.approx(alone.corners[0].ring)
        assert run.corners[0].gap == pytest.approx(alone.corners[0].gap)
    kept = drive_many(
        unit7, setups, event=event, load="patrol", each=lambda run: float(run.roll[-1])
    )
    assert kept == tuple(float(run.roll[-1]) for run in runs)
    assert drive_many(unit7, [], event=event) == ()


@pytest.mark.parametrize("model", driving.MODELS)
def test_many_take_what_one_takes(unit7, model):
    setups = [unit7.setup, unit7.setup.change("rear", turns=5.0)]
    how = {"load": "bare", "model": model, "corner": "rear_right", "temperature": 353.15}
    how |= {"event": events.drop(height=0.1, duration=0.5), "step": 5e-4, "keep": 4e-3}
    for run, setup in zip(drive_many(unit7, setups, **how), setups, strict=True):
        alone = drive(unit7, setup, **how)
        assert run.model == model and run.time == pytest.approx(alone.time)
        assert [c.name for c in run.corners] == [c.name for c in alone.corners]
        assert run.shaft_force == pytest.approx(alone.shaft_force, abs=1e-5)
        assert run.notes == alone.notes


def test_set_ups_with_several_rings_are_one_batch():
    corner = CornerSetup(stack="three", turns=1.0, gap=(0.01, 0.02))
    one = Setup(front_left=corner, front_right=corner, rear_left=corner, rear_right=corner)
    both = driving.batch_of([one, one.change("front", gap=(0.03, 0.04))])
    first, second = both.front_left.gap
    assert (first.tolist(), second.tolist()) == ([0.01, 0.03], [0.02, 0.04])
    assert both.front_left.gap[0] is both.front_right.gap[0]  # seen to be alike


def test_many_refuse_what_one_does(unit7):
    event = events.cornering(lateral=12.0)
    with pytest.raises(UntrustedRunError, match="turns over"):
        drive_many(unit7, [unit7.setup] * 3, event=event, load="patrol")
    with pytest.raises(ValueError, match="workers is 0"):
        drive_many(unit7, [unit7.setup], event=event, workers=0)
    with pytest.raises(ValueError, match="model is 'x'"):
        drive_many(unit7, [unit7.setup], event=event, model="x")
