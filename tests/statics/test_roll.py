"""Steady turns and roll: against textbooks' formulas, free-body equations and the drive itself.

All vehicles are invented. `independent.py` has the free-body equations.
"""

from dataclasses import fields, replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy.optimize import minimize_scalar, root

import suspkit as sk
from suspkit.statics.roll import CAUTION, roll_stiffness, static_stability_factor
from suspkit.vehicle.setup import CornerSetup
from suspkit.vehicle.vehicle import Bar, Item, Load, StackPlan
from tests.tools import independent

G = 9.80665  # m/s2, standard gravity (ISO 80000-3)
BAR = Bar(diameter=0.022, length=0.8, arm=0.25, motion_ratio=0.5)


@pytest.fixture(scope="module")
def unit7():
    return sk.example("unit7")


def linear(*, rate=40e3, front=None, rear=None, **changes):
    """One linear spring a corner, no gas, no top-out spring, the motion ratio constant.

    On a long top-out free shaft it stays linear however far it leans.
    """
    axle = {"a": 0.6, "b": 0.0, "stroke": 0.4, "friction": 0.0, "seat_span": 0.9}
    corner = CornerSetup(stack="only", turns=0.0)
    return independent.make_vehicle(
        front=independent.make_axle(**axle | (front or {})),
        rear=independent.make_axle(**{"point_behind": 2.6} | axle | (rear or {})),
        springs={"only": sk.Spring(name="only", rate=rate, free_length=0.6, solid_length=0.1)},
        stacks={"only": StackPlan(springs=("only",))},
        setup=sk.Setup(front_left=corner, front_right=corner, rear_left=corner, rear_right=corner),
        **changes,
    )


def turned(body, pose, lateral):
    """Free-body residual in a turn: the inertia of each mass at its height, held at the ground.

    The moment acts about the body's own roll axis, which the pitch (a degree or so) takes out of
    the level; hence the cosine.
    """
    turn = independent.rotation(pose[1], pose[2])
    arm = body.weight * (pose[0] + (turn @ body.centre)[2])
    for corner, hub in zip(body.corners, body.hubs(pose[3:]), strict=True):
        arm += corner.weight * (pose[0] + (turn @ hub)[2])
    out = body.residual(pose).copy()
    moment = lateral / G * arm / np.cos(pose[1])
    out[1] += moment / body.vehicle.wheelbase / body.weight
    return out


def poses(stance):
    return np.concatenate([[stance.frame_height, stance.pitch, stance.roll], stance.travel])


# --------------------------------------------------------------------- settle in a steady turn


def test_free_body_equations_balance_in_any_turn():
    lifted = tipped = 0
    for seed in range(200):
        vehicle, setup = independent.random_vehicle(np.random.default_rng(seed))
        at = np.linspace(-18, 18, 41)
        stance = sk.settle(vehicle, setup, load="some", lateral=at)
        assert np.nanmax(stance.residual) < 1e-11
        lifted += bool((stance.lifted.sum(axis=0) == 1).any())
        tipped += bool(stance.tipped[[0, -1]].any())
        # Whoever has tipped stays tipped in a harder turn: no balance was missed on the way.
        right, left = stance.tipped[20::-1], stance.tipped[20:]
        assert (np.diff(right.astype(int)) >= 0).all() and (np.diff(left.astype(int)) >= 0).all()
        body = independent.FreeBody(vehicle, setup, "some")
        upright = np.flatnonzero(~stance.tipped)
        for j in upright[[0, 1, len(upright) // 3, -1]]:
            found = turned(body, poses(stance)[:, j], at[j])
            assert np.abs(found).max() < 1e-9, (seed, at[j])
    # The draw is only worth something if it reaches these.
    assert lifted > 150 and tipped > 195


def test_no_lateral_is_the_plain_balance_to_the_last_bit(unit7):
    for vehicle, load in (
        (unit7, "patrol"),
        (independent.random_vehicle(np.random.default_rng(3))[0], "some"),
    ):
        plain = sk.settle(vehicle, load=load)
        turn = sk.settle(vehicle, load=load, lateral=np.array([0.0, 2.0, -0.0]))
        for field in fields(plain):
            value = getattr(plain, field.name)
            if isinstance(value, np.ndarray):
                assert (getattr(turn, field.name)[..., 0] == value).all(), field.name
                assert (getattr(turn, field.name)[..., 2] == value).all(), field.name


def test_a_left_turn_raises_the_left_side_and_loads_the_right(unit7):
    stance = sk.settle(unit7, load="patrol", lateral=np.array([0.0, 3.0]))
    up = stance.height[:, 1] - stance.height[:, 0]
    assert up[0] > 0.002 > -0.002 > up[1] and up[2] > 0.002 > -0.002 > up[3]
    more = stance.tyre_load[:, 1] - stance.tyre_load[:, 0]
    assert (more[[0, 2]] < -500).all() and (more[[1, 3]] > 500).all()


def test_mirrored_turns_are_mirror_images():
    swap = [1, 0, 3, 2]
    at = np.linspace(0.0, 6.0, 7)
    for seed in range(30):
        vehicle, setup = independent.random_vehicle(np.random.default_rng(seed))
        ours = sk.settle(vehicle, setup, load="some", lateral=at)
        other = sk.settle(*independent.mirrored(vehicle, setup), load="some", lateral=-at)
        assert_allclose(other.roll, -ours.roll, rtol=1e-8, atol=1e-10)
        assert_allclose(other.tyre_load[swap], ours.tyre_load, rtol=1e-7, atol=1e-5)


def test_lateral_is_one_more_axis_of_the_batch(unit7):
    setup = unit7.setup.change("front", turns=np.array([3.0, 4.0, 5.0]))
    at = np.array([[0.0], [2.0], [-4.0], [9.0]])
    stance = sk.settle(unit7, setup, load=["bare", "patrol"], lateral=at)
    assert stance.height.shape == (4, 2, 4, 3)
    for i, load in enumerate(("bare", "patrol")):
        for j in range(4):
            one = unit7.setup.change("front", turns=4.0)
            one = sk.settle(unit7, one, load=load, lateral=at[j, 0])
            assert_allclose(stance.roll[i, j, 1], one.roll, rtol=1e-9, atol=1e-12)
            assert_allclose(stance.tyre_load[:, i, j, 1], one.tyre_load, rtol=1e-8, atol=1e-6)


def test_a_turn_settles_where_the_drive_settles(unit7):
    event = sk.events.cornering(lateral=3.0, duration=8.0)
    gasless = unit7
    for name in ("front", "rear"):
        axle = getattr(unit7, name)
        gasless = replace(gasless, **{name: replace(axle, shock=replace(axle.shock, gas=None))})
    run = sk.drive(gasless, event=event, load="patrol")
    stance = sk.settle(gasless, load="patrol", lateral=3.0)
    assert_allclose(run.roll[-1], stance.roll, rtol=1e-8)
    assert_allclose(run.tyre_load[:, -1], stance.tyre_load, rtol=1e-8)
    # With gas the drive leans less, by a quarter of a per cent: its gas has had no time to cool,
    # so it is stiffer (exponent 1.4) than the gas of a vehicle that has stood.
    run = sk.drive(unit7, event=event, load="patrol")
    stance = sk.settle(unit7, load="patrol", lateral=3.0)
    assert 0.996 < run.roll[-1] / stance.roll < 0.999


@pytest.mark.parametrize("wrong", [np.nan, np.inf, np.array([1.0, np.nan])])
def test_a_lateral_that_is_no_number_is_refused(unit7, wrong):
    with pytest.raises(ValueError, match=r"^lateral is .*; expected a finite acceleration"):
        sk.settle(unit7, load="patrol", lateral=wrong)


# --------------------------------------------------------------------- textbooks, linear limit


def by_the_book(vehicle, load=None):
    """Lean per lateral acceleration [rad s^2/m] and roll stiffness by axle [N m/rad], linear.

    Stiffness: t^2 k / 2 of the springs, t^2 k of a bar beside them, t^2 k / 2 of the tyres in
    series (Gillespie, Fundamentals of Vehicle Dynamics, ch. 6, from memory). Lean: inertia of all
    masses at their height against stiffness less what their leaning weight adds.
    """
    mass, centre = independent.sprung(vehicle, load)
    total = mass + 2 * (vehicle.front.unsprung_mass + vehicle.rear.unsprung_mass)
    stiffness, inertia = [], 0.0
    for axle in (vehicle.front, vehicle.rear):
        spring, tyre = 40e3 * 0.6**2, axle.tyre.rate
        bar = axle.bar.wheel_rate if axle.bar else 0.0
        given = axle.track**2 * (spring / 2 + bar), axle.track**2 * tyre / 2
        stiffness.append(1 / (1 / given[0] + 1 / given[1]))
        hub = axle.tyre.radius - total / 4 * G / tyre
        inertia += 2 * axle.unsprung_mass * hub
    stance = sk.settle(vehicle, load=load)
    height = stance.frame_height + centre[2]
    inertia += mass * height
    return inertia / (sum(stiffness) - G * inertia), np.array(stiffness)


@pytest.mark.parametrize("bars", [(None, None), (BAR, None), (BAR, replace(BAR, diameter=0.026))])
def test_lean_and_stiffness_of_a_linear_vehicle(bars):
    front, rear = ({"bar": bar} for bar in bars)
    vehicle = linear(front=front, rear=rear, scales=(220, 220, 220, 220))
    found = sk.roll_balance(vehicle, lateral=0.1)
    slope, stiffness = by_the_book(vehicle)
    assert_allclose(found.at_rest.total, stiffness, rtol=1e-6)
    assert_allclose(found.angle, slope * 0.1, rtol=1e-3)
    assert_allclose(found.angle_per_g, slope * G, rtol=1e-3)
    # Each axle takes its stiffness times the lean, over its track.
    assert_allclose(found.transfer, stiffness / 1.55 * slope * 0.1, rtol=1e-3)
    assert_allclose(found.front_share, found.at_rest.front_share, rtol=1e-3)
    assert_allclose(found.front_share, stiffness[0] / stiffness.sum(), rtol=1e-3)


def test_lean_of_a_text_that_rolls_about_the_ground():
    # Barton and Fieldhouse, Automotive Chassis Engineering (2018), Eq. 3.18 and its worked
    # example (page read): lean = m d / (k - m g d); 1280 kg, 0.365 m, 28650 N m/rad give
    # 0.0194 rad per m/s2, 10.9 deg per g. It has the body on an axis and no unsprung mass.
    def text(mass, lever, stiffness, g=9.81):
        return mass * lever / (stiffness - mass * g * lever)

    assert round(text(1280, 0.365, 28650), 4) == 0.0194
    assert round(np.degrees(text(1280, 0.365, 28650)) * 9.81, 1) == 10.9
    # Ours has its axis on the ground: the lever is the height of the centre of all masses.
    for kind in ({}, {"unsprung": 0.1}):
        vehicle = linear(front=kind, rear=kind, scales=(250, 250, 250, 250))
        found = sk.roll_balance(vehicle, lateral=0.1)
        expected = text(4 * 250, found.centre_height, found.at_rest.total.sum(), g=G)
        assert_allclose(found.angle / 0.1, expected, rtol=1e-3)


def test_stiffness_of_unlike_sides_is_that_under_a_couple():
    # A couple, one wheel pushed up and the other down by the same force: solved with matrices.
    vehicle = linear(front={"bar": BAR}, rear={"bar": BAR})
    setup = vehicle.setup.change("front_right", stack="stiff")
    vehicle = replace(
        vehicle,
        springs=vehicle.springs
        | {"stiff": sk.Spring(name="stiff", rate=90e3, free_length=0.6, solid_length=0.1)},
        stacks=vehicle.stacks | {"stiff": StackPlan(springs=("stiff",))},
    )
    stance = sk.settle(vehicle, setup)
    found = roll_stiffness(vehicle, setup, stance)
    left, right, bar = 40e3 * 0.36, 90e3 * 0.36, BAR.wheel_rate
    corner = np.array([[left + bar, -bar], [-bar, right + bar]])
    soft = np.linalg.inv(corner) + np.eye(2) / 150e3
    couple = np.array([1.0, -1.0])
    assert_allclose(found.total[0], 1.55**2 / (couple @ soft @ couple), rtol=1e-9)
    assert_allclose(
        found.suspension[0], 1.55**2 / (couple @ np.linalg.inv(corner) @ couple), rtol=1e-9
    )
    assert_allclose(found.bar, 1.55**2 * bar, rtol=1e-12)
    assert_allclose(found.tyres, 1.55**2 * 150e3 / 2, rtol=1e-12)
    off = roll_stiffness(vehicle, replace(setup, front_bar=False), stance)
    assert off.bar[0] == 0 and off.bar[1] > 0
    assert_allclose(off.springs, found.springs, rtol=0)


def test_local_stiffness_is_the_slope_of_the_lean(unit7):
    # d(moment)/d(lean) with all that is not linear: two turns a little apart.
    at = np.array([2.0, 2.1])
    for setup in (unit7.setup, replace(unit7.setup, front_bar=False)):
        found = sk.roll_balance(unit7, setup, load="patrol", lateral=at)
        moment = np.diff(found.transfer, axis=1)[:, 0] * [unit7.front.track, unit7.rear.track]
        slope = moment / np.diff(found.angle)
        # Leaning, the hubs stand a little closer side by side: a per cent.
        assert_allclose(slope, found.in_turn.total.mean(axis=1), rtol=0.01)


# ---------------------------------------------------------------------- moments, however curved


def test_load_transfer_is_the_moment_of_inertia_forces(unit7):
    # Moments about the ground under the frame's middle: what the ground gives at the wheels' feet
    # holds the inertia of all masses at their height and the weight that leans out. Exact.
    at = np.array([-8.5, -5.0, 0.0, 1.0, 3.0, 7.0, 9.0])
    found = sk.roll_balance(unit7, load="patrol", lateral=at)
    stance = found.turning
    mass, centre = independent.sprung(unit7, "patrol")
    for j, lateral in enumerate(at):
        pose = poses(stance)[:, j]
        turn = independent.rotation(pose[1], pose[2])
        body = independent.FreeBody(unit7, unit7.setup, "patrol")
        hubs = [turn @ hub for hub in body.hubs(pose[3:])]
        wheels = [c.axle.unsprung_mass for c in body.corners]
        heights = mass * (pose[0] + (turn @ centre)[2])
        heights += sum(m * (pose[0] + hub[2]) for m, hub in zip(wheels, hubs, strict=True))
        out = mass * G * (turn @ centre)[1]
        out += sum(m * G * hub[1] for m, hub in zip(wheels, hubs, strict=True))
        feet = [turn @ foot for foot in body.feet(pose)]
        held = sum(n * foot[1] for n, foot in zip(stance.tyre_load[:, j], feet, strict=True))
        moment = lateral * heights / np.cos(pose[1])
        assert_allclose(out - held, moment, rtol=1e-9, atol=1e-6)
        # And the textbook's sum: inertia and the weight that leans, over tracks as on paper.
        sums = (found.transfer[:, j] * [unit7.front.track, unit7.rear.track]).sum()
        weight = stance.tyre_load[:, j].sum()
        leans = weight * found.centre_height * found.angle[j]
        assert_allclose(sums, moment + leans, rtol=0.03, atol=1e-6)
    rest = at == 0
    assert (found.angle[rest] == 0).all() and (found.transfer[:, rest] == 0).all()
    assert np.isfinite(found.front_share).all()
    assert_allclose(found.front_share[rest], found.front_share[3], atol=1e-3)


def test_loads_still_sum_to_the_weight(unit7):
    at = np.linspace(-9, 9, 19)
    found = sk.roll_balance(unit7, load="patrol", lateral=at)
    weight = found.standing.tyre_load.sum()
    assert_allclose(found.turning.tyre_load.sum(axis=0), weight, rtol=1e-9)


def test_centre_height_is_that_of_all_masses(unit7):
    vehicle, setup = independent.random_vehicle(np.random.default_rng(11))
    for one, its, load in ((unit7, unit7.setup, "carry-out"), (vehicle, setup, "some")):
        found = sk.roll_balance(one, its, load=load)
        pose = poses(found.standing)
        turn = independent.rotation(pose[1], pose[2])
        body = independent.FreeBody(one, its, load)
        weights = [body.weight] + [corner.weight for corner in body.corners]
        heights = [pose[0] + (turn @ r)[2] for r in (body.centre, *body.hubs(pose[3:]))]
        assert_allclose(found.centre_height, np.average(heights, weights=weights), rtol=1e-9)
        track = 0.5 * (one.front.track + one.rear.track)
        assert_allclose(found.stability_factor, track / 2 / found.centre_height, rtol=1e-12)


def test_an_axle_with_a_lifted_wheel_gives_no_more(unit7):
    found = sk.roll_balance(unit7, load="patrol", lateral=np.array([7.5, 8.1, 8.9]))
    assert found.turning.lifted[0].tolist() == [False, True, True]
    assert (found.in_turn.total[0, 1:] < 1.0).all() and found.in_turn.total[0, 0] > 1e4
    assert (found.in_turn.springs > 1e4).all()
    # What it has moved by then is all of the inner tyre's load.
    assert_allclose(np.diff(found.transfer[0, 1:]), np.diff(found.turning.tyre_load[1, 1:]) / 2)


def test_front_share_follows_the_front_bar(unit7):
    on = sk.roll_balance(unit7, load="patrol")
    off = sk.roll_balance(unit7, replace(unit7.setup, front_bar=False), load="patrol")
    assert off.front_share < on.front_share - 0.1
    assert_allclose(on.front_share, on.at_rest.front_share, atol=0.02)
    # The rear axle takes more of it, the front less, though the vehicle leans further.
    assert off.transfer[0] < on.transfer[0] and off.transfer[1] > on.transfer[1]


# ---------------------------------------------------------------------------- lifting, tipping


def test_static_stability_factor():
    # NHTSA's T / 2h: 1.5 m of track and 0.6 m of height give 1.25.
    assert_allclose(static_stability_factor(track=1.5, height=0.6), 1.25, rtol=1e-12)


def test_a_stiff_vehicle_tips_at_its_stability_factor():
    stiff = {"tyre_rate": 60e6, "unsprung": 34.0}
    vehicle = linear(rate=20e6, front=stiff, rear=stiff, scales=(250, 250, 250, 250))
    found = sk.roll_balance(vehicle, lateral=1.0)
    mass, centre = independent.sprung(vehicle)
    sunk = float(found.standing.travel.mean())
    # Hubs at the tyres' radius, the frame above them by hub_below_frame less the travel.
    height = (4 * 34 * 0.4 + mass * (0.4 + 0.18 - sunk + centre[2])) / (mass + 4 * 34)
    assert_allclose(found.centre_height, height, rtol=1e-3)
    assert_allclose(found.stability_factor, 1.55 / 2 / height, rtol=1e-3)
    assert_allclose(found.tip, found.stability_factor * G, rtol=0.01)
    assert_allclose(found.lift, found.tip[[0, 1, 0, 1]], rtol=1e-3)


def test_first_lift_in_the_linear_limit():
    # A wheel lifts where its axle's share of the moment over the track is its standing load.
    bar = replace(BAR, diameter=0.03)
    vehicle = linear(front={"bar": bar}, scales=(220, 220, 220, 220), cg=0.2)
    found = sk.roll_balance(vehicle, lateral=0.1)
    slope, stiffness = by_the_book(vehicle)
    expected = 220 * G / (stiffness[0] / 1.55 * slope)
    assert_allclose(found.lift[:2], expected, rtol=0.02)
    assert found.lift[2] > 1.1 * expected


def tip_by_search(vehicle, setup, load):
    """Largest lateral acceleration of all balances, each found for a lean: no settling."""
    body = independent.FreeBody(vehicle, setup, load)
    stance = sk.settle(vehicle, setup, load=load)
    start = np.r_[stance.frame_height, stance.pitch, 0.0, stance.travel]

    def balance(lean, start):
        """Pose with its lean replaced by a tenth of the lateral acceleration."""
        best = None
        for method in ("hybr", "lm") * 4:
            found = root(
                lambda x: turned(body, np.r_[x[:2], lean, x[3:]], 10 * x[2]), start,
                method=method, tol=1e-14,
            )  # fmt: skip
            error = np.abs(found.fun).max()
            if best is None or error < best[0]:
                best = error, found.x
            start = best[1]
            if error < 1e-11:
                return start
        raise RuntimeError(f"no balance for a lean of {lean}: {best[0]}")

    leans, found = float(stance.roll) + np.linspace(0.0, 0.6, 101), [start]
    for lean in leans:
        found.append(balance(lean, found[-1]))
    top = int(np.argmax([x[2] for x in found[1:]]))
    best = minimize_scalar(
        lambda lean: -10 * balance(lean, found[1 + top])[2], method="bounded",
        bounds=(leans[top - 1], leans[top + 1]), options={"xatol": 1e-7},
    )  # fmt: skip
    return -best.fun


@pytest.mark.parametrize("seed", [6, 9, 67, 150])
def test_tip_is_the_top_of_all_balances(seed):
    # 9, 67 and 150 have a balance so narrow that Newton's method once stepped over it.
    vehicle, setup = independent.random_vehicle(np.random.default_rng(seed))
    found = sk.roll_balance(vehicle, setup, load="some")
    assert_allclose(found.tip[0], tip_by_search(vehicle, setup, "some"), rtol=1e-4)


def test_before_and_after_each_lift_and_tip(unit7):
    for setup in (unit7.setup, replace(unit7.setup, front_bar=False)):
        found = sk.roll_balance(unit7, setup, load="patrol")
        sign = [1, -1, 1, -1]
        for i in range(4):
            at = sign[i] * found.lift[i] * np.array([0.999, 1.001])
            stance = sk.settle(unit7, setup, load="patrol", lateral=at)
            assert not stance.lifted[i, 0]
            assert stance.lifted[i, 1] or stance.tipped[1]
        for side in (0, 1):
            at = (-1) ** side * found.tip[side] * np.array([0.999, 1.001, 1.3])
            stance = sk.settle(unit7, setup, load="patrol", lateral=at)
            assert stance.tipped.tolist() == [False, True, True]
            assert np.isnan(stance.tyre_load[:, 1:]).all()
            # The second wheel lifts as it goes: nothing is left to hold the inside down.
            assert_allclose(found.lift[side::2].max(), found.tip[side], rtol=1e-3)
        assert (found.tip < found.stability_factor * G).all()


def test_past_tipping_numbers_are_nan(unit7):
    found = sk.roll_balance(unit7, load="patrol", lateral=np.array([3.0, 15.0]))
    assert np.isnan(found.angle[1]) and np.isnan(found.transfer[:, 1]).all()
    assert np.isfinite(found.angle[0]) and found.caution == CAUTION
    assert "Not a safety rating" in CAUTION and "no promise about rollover" in CAUTION


def test_a_load_up_high_tips_sooner(unit7):
    patrol = sk.roll_balance(unit7, load="patrol")
    loaded = sk.roll_balance(unit7, load="carry-out")
    assert (loaded.tip < patrol.tip).all() and (loaded.lift < patrol.lift).all()
    assert loaded.centre_height > 0 and loaded.angle_per_g > patrol.angle_per_g


# --------------------------------------------------------------------- what a bar and a ring do


@settings(max_examples=60)
@given(
    gap=st.floats(0.0, 0.12), turns=st.floats(0.0, 8.0), b=st.integers(-10, 25),
    diameter=st.floats(0.012, 0.032), lateral=st.floats(0.1, 14.0), rear=st.booleans(),
)  # fmt: skip
def test_a_bar_never_adds_lean(gap, turns, b, diameter, lateral, rear):
    bar = replace(BAR, diameter=diameter)
    vehicle = independent.make_vehicle(
        front=independent.make_axle(b=b / 100, bar=bar),
        rear=independent.make_axle(b=b / 100, bar=bar, point_behind=2.6),
        scales=(210, 210, 230, 230),
    )
    setup = vehicle.setup.change("all", gap=gap, turns=turns)
    setup = replace(setup, **{"front_bar" if rear else "rear_bar": False})
    off = replace(setup, front_bar=False, rear_bar=False)
    with_bar, without = (sk.settle(vehicle, s, lateral=lateral) for s in (setup, off))
    # A bar can lift an inner wheel that then hangs from it; both axles must still stand.
    if not np.any([(s.tipped, *s.lifted) for s in (with_bar, without)]):
        assert with_bar.roll <= without.roll + 1e-9


def test_outer_wheel_past_crossover_while_the_inner_is_not(unit7):
    off = replace(unit7.setup, front_bar=False)
    found = sk.roll_balance(unit7, off, load="patrol", lateral=np.array([3.0, 6.0]))
    assert found.turning.past_crossover[:2].T.tolist() == [[True, True], [False, True]]
    # One spring side by side with two in series: softer than both on the main alone.
    assert found.in_turn.springs[0, 1] < 0.85 * found.in_turn.springs[0, 0]
    assert found.at_rest.springs[0] == pytest.approx(found.in_turn.springs[0, 0], rel=0.05)


def test_without_its_front_bar_unit7_keeps_seven_tenths_of_its_roll_support(unit7):
    on = sk.roll_balance(unit7, load="patrol")
    off = sk.roll_balance(unit7, replace(unit7.setup, front_bar=False), load="patrol")
    assert 0.65 < on.angle_per_g / off.angle_per_g < 0.75


def test_an_early_crossover_gives_back_a_part_of_the_bar_not_all(unit7):
    late = unit7.setup.change("front", gap=0.1)
    with_bar = sk.roll_balance(unit7, late, load="patrol").angle
    bare = sk.roll_balance(unit7, replace(late, front_bar=False), load="patrol").angle
    early = sk.roll_balance(unit7, replace(unit7.setup, front_bar=False), load="patrol").angle
    assert 0.1 < (bare - early) / (bare - with_bar) < 0.6


# --------------------------------------------------------------------------------- the bar off


def test_the_least_bar_is_at_the_edge_of_the_band(unit7):
    found = sk.bar_off_limit(unit7, load="patrol", more_roll=0.2, share_points=0.5)
    whole = sk.roll_balance(unit7, load="patrol")
    # The same with a real bar of that arm length instead of a part of the present one.
    softer = replace(unit7.front, bar=replace(unit7.front.bar, arm=found.least_arm))
    assert_allclose(softer.bar.wheel_rate / unit7.front.bar.wheel_rate, found.least_bar, rtol=1e-9)
    limit = sk.roll_balance(replace(unit7, front=softer), load="patrol")
    assert_allclose(limit.angle / whole.angle, 1.2, rtol=1e-7)
    assert_allclose(found.roll, whole.angle / 3.0 * G, rtol=1e-9)
    # And where balance is what ends it.
    found = sk.bar_off_limit(unit7, load="patrol", more_roll=5.0, share_points=0.03)
    softer = replace(unit7.front, bar=replace(unit7.front.bar, arm=found.least_arm))
    limit = sk.roll_balance(replace(unit7, front=softer), load="patrol")
    assert_allclose(limit.front_share, whole.front_share - 0.03, rtol=1e-7)
    assert not found.ok and f"at least {found.least_bar:.0%} of the bar" in found.message


def test_a_wide_band_lets_the_bar_come_off(unit7):
    found = sk.bar_off_limit(unit7, load="patrol", more_roll=0.6, share_points=0.3)
    assert found.ok and found.least_bar == 0 and np.isinf(found.least_arm)
    assert "the front bar may come off" in found.message
    # All numbers are those of the vehicle without it.
    off = sk.roll_balance(unit7, replace(unit7.setup, front_bar=False), load="patrol")
    assert_allclose(found.share_roll[0], off.angle / 3.0 * G, rtol=1e-9)
    assert_allclose(found.share_front[0], off.front_share, rtol=1e-9)
    assert (np.diff(found.share_roll) < 0).all() and (np.diff(found.share_front) > 0).all()


def test_the_gap_range_is_where_the_band_ends(unit7):
    found = sk.bar_off_limit(unit7, load="patrol", more_roll=0.43, share_points=0.3)
    low, high = found.gap_range
    assert found.gaps[0] < low < high < found.gaps[-1] and not found.ok
    for gap in (low, high):
        own = replace(unit7.setup.change("front", gap=gap), front_bar=False)
        at = sk.roll_balance(unit7, own, load="patrol")
        assert_allclose(at.angle / 3.0 * G / found.roll, 1.43, rtol=1e-6)
    inside = (found.gaps > low) & (found.gaps < high)
    assert (found.gap_roll[inside] < 1.43 * found.roll).all()
    assert "stop gap from" in found.message
    none = sk.bar_off_limit(unit7, load="patrol", more_roll=0.01, share_points=0.01)
    assert none.gap_range is None and "no stop gap from" in none.message
    # Smaller gaps than the first are springs solid before full bump: not a set-up at all.
    assert found.gaps[0] > 0
    with pytest.raises(sk.BrokenSetupError):
        sk.assemble(unit7, unit7.setup.change("front", gap=float(found.gaps[0]) - 0.005))
    sk.assemble(unit7, unit7.setup.change("front", gap=float(found.gaps[0])))


def test_the_height_told_is_that_of_the_ring(unit7):
    found = sk.bar_off_limit(unit7, load="patrol")
    j = 5
    there = sk.settle(unit7, unit7.setup.change("front", gap=found.gaps[j]), load="patrol")
    here = sk.settle(unit7, load="patrol")
    assert_allclose(found.gap_height[j], there.front_height - here.front_height, atol=1e-4)


def test_a_stack_without_a_ring_has_no_gap_to_move(unit7):
    found = sk.bar_off_limit(unit7, unit7.setups["stock"], load="patrol")
    assert found.gaps.size == 0 and found.gap_range is None
    assert "stop gap" not in found.message


def test_left_and_right_turns_ask_for_the_same_bar():
    vehicle = linear(front={"bar": BAR}, rear={"bar": BAR})
    left, right = (sk.bar_off_limit(vehicle, lateral=at) for at in (2.0, -2.0))
    assert_allclose(left.least_bar, right.least_bar, rtol=1e-6, atol=1e-9)
    assert left.message == right.message


# ------------------------------------------------------------------------------------ bad input


def test_a_share_of_a_bar_is_the_same_share_everywhere(unit7):
    """Settled, driven and on the work sheet; a file and a log know it on or off alone."""
    half = replace(unit7.setup, front_bar=0.5)
    softer = replace(unit7.front.bar, diameter=unit7.front.bar.diameter * 0.5**0.25)
    other = replace(unit7, front=replace(unit7.front, bar=softer))  # rate goes with diameter^4
    leans = [
        sk.settle(vehicle, setup, load="patrol", lateral=3.0).roll
        for vehicle, setup in ((unit7, half), (other, unit7.setup))
    ]
    assert_allclose(*leans, rtol=1e-9)
    bars = sk.driving.build(unit7, half, load="patrol", model="full").bars
    assert_allclose(bars, [0.5 * unit7.front.bar.wheel_rate, unit7.rear.bar.wheel_rate])
    assert "50% of it" in sk.sheet.html(unit7, setup=half)
    for wrong in (-0.1, 1.1, np.nan, "yes", None):
        with pytest.raises(ValueError, match="front_bar is .*; expected True or False, or the sh"):
            replace(unit7.setup, front_bar=wrong)


def test_bad_input_is_one_sentence(unit7):
    bare = linear()
    batch = unit7.setup.change("front", turns=np.array([3.0, 4.0]))
    over = replace(
        bare,
        items={"it": Item(mass=2000.0, behind_front_axle=1.4, left_of_centre=1.2, above_frame=1.0)},
        loads={"it": Load(items=("it",))},
    )
    for call, said in (
        (lambda: sk.roll_balance(unit7, lateral=np.nan), "lateral is nan; expected"),
        (lambda: sk.roll_balance(unit7, batch, load="patrol"), "expected one set-up"),
        (lambda: sk.roll_balance(unit7, load=["bare", "patrol"]), "the name of one load"),
        (lambda: sk.roll_balance(unit7, load="patroll"), "did you mean 'patrol'"),
        (lambda: sk.roll_balance(over, load="it"), "tips over at rest with load 'it'; expected"),
        (lambda: sk.bar_off_limit(bare), "front.bar is missing; expected"),
        (lambda: sk.bar_off_limit(unit7, more_roll=0.0), "more_roll is 0.0; expected"),
        (lambda: sk.bar_off_limit(unit7, share_points=np.nan), "share_points is nan; expected"),
        (lambda: sk.bar_off_limit(unit7, lateral=0.0), "lateral is 0.0; expected"),
        (lambda: sk.bar_off_limit(unit7, lateral=np.inf), "lateral is inf; expected"),
        (lambda: sk.bar_off_limit(unit7, load="patrol", lateral=9.0), "expected a gentler turn"),
        (lambda: sk.bar_off_limit(unit7, load="patrol", lateral=20.0), "expected a gentler turn"),
        (lambda: sk.bar_off_limit(unit7, batch, load="patrol"), "expected one set-up"),
        (lambda: sk.bar_off_limit(unit7, load=["bare", "patrol"]), "the name of one load"),
    ):
        with pytest.raises(ValueError, match=said) as told:
            call()
        assert "\n" not in str(told.value)
