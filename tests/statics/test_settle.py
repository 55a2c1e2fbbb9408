"""Settling against free-body equations written again from scratch, statics and symmetry.

All vehicles are invented. The other side of the comparisons is `independent.py`.
"""

from dataclasses import fields, replace

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.integrate import quad
from scipy.linalg import eigvals

import suspkit as sk
from suspkit.parts.linkage import kernel_tables
from suspkit.parts.shock import STOP_RATE, BumpStop
from suspkit.statics.settle import load_factor, plane_fall, work
from suspkit.vehicle.setup import CORNERS, CornerSetup
from suspkit.vehicle.vehicle import Bar, Item, Load, StackPlan
from tests.tools import independent

G = 9.80665  # m/s2, standard gravity (ISO 80000-3)
INCH = 0.0254


@pytest.fixture(scope="module")
def unit7():
    return sk.example("unit7")


def one_spring(rate=40e3, **changes):
    """A symmetrical vehicle on one linear spring a corner, the motion ratio constant."""
    axle = {"a": 0.6, "b": 0.0, "friction": 0.0} | changes.pop("axle", {})
    springs = {
        "only": sk.Spring(name="only", rate=rate, free_length=0.5, solid_length=0.1),
    }
    corner = CornerSetup(stack="only", turns=changes.pop("turns", 0.0))
    return independent.make_vehicle(
        front=independent.make_axle(**axle),
        rear=independent.make_axle(**{"point_behind": 2.6} | axle),
        springs=springs,
        stacks={"only": StackPlan(springs=("only",))},
        setup=sk.Setup(front_left=corner, front_right=corner, rear_left=corner, rear_right=corner),
        **changes,
    )


# ------------------------------------------------------------------ against the free-body equations


@pytest.mark.parametrize("seeds", [range(60), pytest.param(range(60, 200), marks=pytest.mark.slow)])
def test_settle_agrees_with_free_body_equations(seeds):
    seen = {"past": 0, "some past": 0, "bump stop": 0, "no bar": 0, "ring": 0, "unlevel": 0}
    for seed in seeds:
        vehicle, setup = independent.random_vehicle(np.random.default_rng(seed))
        friction = (0.0, 1.0, -1.0)[seed % 3]
        ours = sk.settle(vehicle, setup, load="some", friction=friction)
        theirs = independent.settle(vehicle, setup, "some", friction)
        said = f"random vehicle {seed}"
        assert theirs.residual < 1e-10, said
        assert_allclose(ours.height, theirs.height, rtol=1e-8, err_msg=said)
        assert_allclose(ours.travel, theirs.travel, rtol=1e-8, atol=1e-10, err_msg=said)
        assert_allclose(ours.compression, theirs.compression, rtol=1e-8, atol=1e-10, err_msg=said)
        most = theirs.tyre_load.max()
        assert_allclose(ours.tyre_load, theirs.tyre_load, rtol=1e-8, atol=1e-8 * most, err_msg=said)
        pose = np.r_[ours.frame_height, ours.pitch, ours.roll, ours.travel]
        assert_allclose(pose[:3], theirs.pose[:3], rtol=1e-8, atol=1e-10, err_msg=said)
        # Forces and moments balance in *our* answer, by the other equations.
        body = independent.FreeBody(vehicle, setup, "some", friction)
        assert np.abs(body.residual(pose)).max() < 1e-9, said
        past = int(ours.past_crossover.sum())
        seen["past"] += past == 4
        seen["some past"] += 0 < past < 4
        touch = [c.shock.bump_touch for c in ours.corners.values()]
        seen["bump stop"] += bool((ours.compression > touch).any())
        seen["no bar"] += not (setup.front_bar and setup.rear_bar)
        seen["ring"] += any(c.ring is not None for c in setup.corners)
        seen["unlevel"] += abs(float(ours.roll)) > 0.01
    # The draw is only worth something if it reaches all of these.
    assert min(seen.values()) >= len(seeds) // 30, seen


@pytest.mark.parametrize("load", ["bare", "patrol", "carry-out"])
@pytest.mark.parametrize("name", ["kit", "stock"])
def test_example_vehicle_agrees_with_free_body_equations(unit7, load, name):
    ours = sk.settle(unit7, unit7.setups[name], load=load)
    theirs = independent.settle(unit7, unit7.setups[name], load)
    assert_allclose(ours.height, theirs.height, rtol=1e-8)
    assert_allclose(ours.tyre_load, theirs.tyre_load, rtol=1e-8)
    assert_allclose(ours.compression, theirs.compression, rtol=1e-8)


def test_the_compiled_core_reads_curves_and_linkages_as_they_are(unit7):
    from suspkit.core import settle_kernel

    curve = sk.Curve([0.0, 0.1, 0.15, 0.2], [-50.0, 200.0, 200.0, 900.0], 3e3, 7e4)
    for at in (-0.02, 0.0, 0.05, 0.1, 0.12, 0.15, 0.19, 0.2, 0.23):
        value, slope = settle_kernel.piecewise(at, curve.x, curve.y, 3e3, 7e4)
        assert_allclose([value, slope], [curve(at), curve.slope(at)], rtol=1e-12)
    linkage = unit7.front.motion
    step, cells = linkage.travel_step, len(linkage.coefficients)
    for z in (-0.05, 0.0, 0.4 * step, step, 7.3 * step, cells * step, cells * step + 0.03):
        ours = settle_kernel.motion(z, step, cells, linkage.coefficients)
        theirs = linkage.compression(z), linkage.motion_ratio(z), linkage.motion_ratio_slope(z)
        assert_allclose(ours, theirs, rtol=1e-12, atol=1e-12)


@pytest.mark.parametrize("lateral", [0.0, 3.0])
def test_the_slopes_newton_steps_by_are_those_of_the_balance(unit7, monkeypatch, lateral):
    from suspkit.core import settle_kernel

    taken, settle_many = [], settle_kernel.settle_many
    monkeypatch.setattr("suspkit.statics.settle.announce", lambda function: None)
    monkeypatch.setattr(settle_kernel, "settle_many", lambda *a: taken.append(a) or settle_many(*a))
    stance = sk.settle(unit7, load="patrol", lateral=lateral)
    body, wheels, gas, steps, cells, links, x, y, before, after, drag, bars = taken[0][:12]

    def look(q):
        g, h, tilt, seen = np.empty(7), np.empty((7, 7)), np.empty(7), np.empty((4, 6))
        settle_kernel.balance(
            q, body[0], wheels, gas, steps, cells, links, x[0], y[0], before[0], after[0], drag[0],
            bars[0], g, h, tilt, seen,
        )  # fmt: skip
        return g, h, tilt

    pose = np.r_[stance.frame_height, stance.pitch, stance.roll, stance.travel]
    pose += [0.003, 0.06, -0.09, 0.004, -0.006, 0.005, -0.003]
    _, lower, tilt = look(pose)
    whole = np.tril(lower) + np.tril(lower, -1).T
    whole[2] -= tilt  # the turn's moment on roll
    step = 1e-6
    differences = [
        (look(pose + row)[0] - look(pose - row)[0]) / (2 * step) for row in step * np.eye(7)
    ]
    scale = np.sqrt(np.abs(np.outer(np.diag(whole), np.diag(whole))))
    assert_allclose(np.transpose(differences) / scale, whole / scale, atol=1e-7)


def test_corner_forces_agree_with_recursion_by_search():
    for seed in range(40):
        vehicle, setup = independent.random_vehicle(np.random.default_rng(1000 + seed))
        for name, corner in sk.assemble(vehicle, setup).items():
            plain = independent.Corner(vehicle, setup, name)
            assert_allclose(corner.hang, plain.hang, rtol=1e-9, atol=1e-12)
            assert_allclose(corner.seat, plain.seat, rtol=1e-9, atol=1e-12)
            s = np.linspace(-0.001, corner.shock.full_bump, 23)
            assert_allclose(corner.force(s), [plain.force(at) for at in s], rtol=1e-8, atol=1e-5)


def test_residual_is_zero_of_the_weight(unit7):
    setup = unit7.setup.change("all", turns=np.linspace(2, 5, 40))
    assert sk.settle(unit7, setup, load=["bare", "patrol", "carry-out"]).residual.max() < 1e-11


# --------------------------------------------------------------------------------- symmetry, sums


def test_mirror_symmetry():
    for seed in range(30):
        vehicle, setup = independent.random_vehicle(np.random.default_rng(seed))
        ours = sk.settle(vehicle, setup, load="some")
        other = sk.settle(*independent.mirrored(vehicle, setup), load="some")
        swap = [1, 0, 3, 2]
        assert_allclose(other.height[swap], ours.height, rtol=1e-9)
        assert_allclose(other.tyre_load[swap], ours.tyre_load, rtol=1e-8, atol=1e-5)
        assert_allclose(other.roll, -ours.roll, rtol=1e-8, atol=1e-11)
        assert_allclose(other.pitch, ours.pitch, rtol=1e-8, atol=1e-11)


def test_tyres_carry_the_weight(unit7):
    for load in ("bare", "patrol", "carry-out"):
        read = unit7.scales
        weight = read.front_left + read.front_right + read.rear_left + read.rear_right
        weight += sum(unit7.items[i].mass for i in unit7.loads[load].items)
        stance = sk.settle(unit7, load=load)
        assert_allclose(stance.tyre_load.sum(axis=0), weight * G, rtol=1e-10)


def test_bare_vehicle_gives_the_scale_readings_back(unit7):
    # The scales were read on level pads; the vehicle stands with a little rake and roll, and a
    # centre of gravity above the frame moves with them: a few tenths of a per cent.
    stance = sk.settle(unit7, load="bare")
    read = [getattr(unit7.scales, name) * G for name in CORNERS]
    axle = stance.tyre_load.reshape(2, 2).sum(axis=1)
    assert_allclose(axle, np.reshape(read, (2, 2)).sum(axis=1), rtol=5e-3)
    # Which wheel of an axle carries more depends on springs and bars as well; left and right sum
    # do not.
    sides = stance.tyre_load.reshape(2, 2).sum(axis=0)
    assert_allclose(sides, np.reshape(read, (2, 2)).sum(axis=0), rtol=5e-3)


def test_static_axle_loads_by_the_lever_rule():
    # Lever rule of statics (moments about an axle), exact when the body stands level: equal axles
    # and a load midway. Then an off-centre load, where pitch moves the centre by a known amount.
    vehicle = one_spring(scales=(200, 200, 200, 200))
    level = sk.settle(vehicle)
    assert_allclose(level.tyre_load, 200 * G, rtol=1e-12)
    assert_allclose([level.pitch, level.roll, level.rake], 0.0, atol=1e-14)

    back = replace(
        vehicle,
        items={"box": Item(mass=120.0, behind_front_axle=2.4, above_frame=0.5)},
        loads={"box": Load(items=("box",))},
    )
    stance = sk.settle(back, load="box")
    mass, centre = independent.sprung(back, "box")
    pitch = float(stance.pitch)
    assert pitch < -0.005  # the box is behind: nose up, and nose *down* is positive
    # Moments of vertical forces about the frame's origin, every lever measured along the ground;
    # a wheel is round and stands under its hub, however far it pitches.
    lever = -(centre[0] * np.cos(pitch) + centre[2] * np.sin(pitch))
    wheel = -np.array([0, 0, -2.9, -2.9]) * np.cos(pitch)
    wheel -= (stance.travel - 0.18) * np.sin(pitch)
    unsprung = 34.0 * G
    moment = mass * G * lever + (unsprung * wheel).sum()
    assert_allclose((stance.tyre_load * wheel).sum(), moment, rtol=1e-10)
    # And with the levers of the level vehicle, the textbook's rule, within the pitch's effect.
    rear = (mass * -centre[0] / 2.9 + 2 * 34.0) * G
    assert_allclose(stance.tyre_load[2:].sum(), rear, rtol=0.01)


def test_a_round_wheel_stands_under_its_hub(unit7):
    """Pitch alone squeezes no tyre: what it carries is its rate times how far its hub is down."""
    for pitch, roll in ((0.0, 0.0), (0.2, 0.0), (-0.3, 0.0), (0.1, 0.2), (-0.3, -0.25)):
        reach = independent.lowest_of_disc(1.0, pitch, roll)
        assert plane_fall(pitch, roll) == pytest.approx(reach, rel=1e-12)
    stance = sk.settle(unit7, load="carry-out")
    pitch, tyres = float(stance.pitch), (unit7.front.tyre, unit7.rear.tyre)
    assert pitch < -0.02 and abs(stance.roll) < 1e-3
    ahead = np.array([0.0, 0.0, -1.0, -1.0]) * unit7.wheelbase
    below = np.array([unit7.axle_of(name).hub_below_frame for name in CORNERS])
    hub = stance.frame_height - ahead * np.sin(pitch) + (stance.travel - below) * np.cos(pitch)
    axle = hub.reshape(2, 2).mean(axis=1)  # mean of left and right: leaves out a little roll
    load = stance.tyre_load.reshape(2, 2).sum(axis=1)
    radius, rate = np.array([(tyre.radius, tyre.rate) for tyre in tyres]).T
    assert_allclose(load, 2 * rate * (radius - axle), rtol=1e-5)


def test_the_slope_of_the_energy_is_what_the_core_says_it_is(unit7):
    """Gradient and curvature against differences of tyre, gravity and bar energy, leaning far.

    The shocks are slack, so all that holds the pose is in the energy written here, with the lowest
    point of each disc searched for.
    """
    from suspkit.core import settle_kernel

    steps, cells, table = kernel_tables([unit7.front.motion, unit7.rear.motion])
    body = np.array([9e3, -1.4, 0.1, 0.3, 0.0])
    wheels = np.array(
        [(-2.9 * (i > 1), 0.8 * (-1) ** i, -0.18, 340.0, 0.4, 150e3) for i in range(4)]
    )
    bars = np.array([9e3, 4e3])
    nothing = np.zeros((4, 1)), np.zeros((4, 1)), np.zeros(4), np.zeros(4), np.zeros(4)

    def energy(q):
        turn, up = independent.rotation(q[1], q[2])[2], 9e3 * q[0]
        total = up + 9e3 * turn @ body[1:4]
        for wheel, z in zip(wheels, q[3:], strict=True):
            hub = q[0] + turn @ (wheel[:3] + [0.0, 0.0, z])
            squeeze = 0.4 - 0.4 * hub / independent.lowest_of_disc(0.4, q[1], q[2])
            total += 340.0 * hub + 75e3 * max(0.0, squeeze) ** 2
        return total + 0.5 * bars @ (q[3::2] - q[4::2]) ** 2

    def ours(q):
        g, h, tilt, seen = np.empty(7), np.empty((7, 7)), np.empty(7), np.empty((4, 6))
        settle_kernel.balance(
            q, body, wheels, np.zeros((2, 4)), steps, cells, table, *nothing, bars, g, h, tilt, seen
        )
        return g, np.tril(h) + np.tril(h, -1).T, seen[:, 5]

    for pitch, roll in ((0.0, 0.0), (0.25, 0.0), (0.2, -0.3), (-0.3, 0.15)):
        q = np.array([0.35, pitch, roll, 0.1, 0.12, 0.2, 0.22])
        q[0] += 2.9 * max(0.0, -np.sin(pitch))  # the lower end just off or on the ground
        slope, curve, load = ours(q)
        assert (load > 0).any()
        by_hand = [(energy(q + d) - energy(q - d)) / 2e-5 for d in 1e-5 * np.eye(7)]
        assert_allclose(slope, by_hand, rtol=1e-6, atol=0.05)
        bends = [(ours(q + d)[0] - ours(q - d)[0]) / 2e-6 for d in 1e-6 * np.eye(7)]
        assert_allclose(curve, bends, rtol=1e-6, atol=1.0)


def test_masses_are_moments_of_scales_and_items(unit7):
    for load in (None, "bare", "patrol", "carry-out"):
        ours = unit7.masses(load)
        mass, (x, y, z) = independent.sprung(unit7, load)
        assert_allclose(
            [ours.mass, -ours.behind_front_axle, ours.left_of_centre, ours.above_frame],
            [mass, x, y, z],
            rtol=1e-12,
        )


# ----------------------------------------------------------------------- signs, each by hand


def test_one_linear_corner_by_hand():
    # k s = W/4 / MR at rest; travel = s / MR; tyre squeeze = corner weight / tyre rate.
    vehicle = one_spring(rate=40e3, scales=(200, 200, 200, 200))
    stance = sk.settle(vehicle)
    force = (200 - 34) * G / 0.6
    # With no top-out spring contact is found with the shock pulled onto its metal limit.
    sunk = -34 * G / 0.6 / STOP_RATE
    s = force / 40e3 + sunk
    assert_allclose(stance.shock_force, force, rtol=1e-12)
    assert_allclose(stance.compression, s, rtol=1e-12)
    assert_allclose(stance.travel, s / 0.6, rtol=1e-12)
    height = 0.4 - 200 * G / 150e3 - (s / 0.6 - 0.18)  # radius, tyre squeeze, hub below frame
    assert_allclose(stance.height, height, rtol=1e-12)
    # Five turns raise it by their travel over the motion ratio.
    raised = sk.settle(vehicle, vehicle.setup.change("all", turns=5.0))
    assert_allclose(raised.height - stance.height, 5 * 0.0015875 / 0.6, rtol=1e-9)


def test_heavy_left_leans_left_and_heavy_nose_dips():
    base = one_spring()
    for item, sign in (
        (Item(mass=80.0, behind_front_axle=1.4, left_of_centre=0.4, above_frame=0.3), "left"),
        (Item(mass=80.0, behind_front_axle=0.1, above_frame=0.3), "nose"),
    ):
        vehicle = replace(base, items={"it": item}, loads={"it": Load(items=("it",))})
        before, after = sk.settle(vehicle), sk.settle(vehicle, load="it")
        down = before.height - after.height
        if sign == "left":
            assert after.roll < -0.002  # left side up is positive
            assert (down[[0, 2]] > down[[1, 3]] + 0.001).all()
            assert (after.tyre_load[[0, 2]] > after.tyre_load[[1, 3]]).all()
            # Rake is of the means of left and right, however it leans.
            nose = after.height[:2].mean() - after.height[2:].mean()
            assert_allclose(after.rake, nose, atol=1e-12)
        else:
            assert after.pitch > before.pitch + 0.002  # nose down is positive
            assert down[:2].min() > down[2:].max()
            assert after.rake < before.rake - 0.006  # nose high is positive


# ----------------------------------------------------------------------------------- roll bars


BAR = Bar(diameter=0.025, length=0.9, arm=0.25, motion_ratio=1.0, shear_modulus=79.3e9)


def test_bar_rates():
    # Twist of a round bar, kt = pi G d^4 / 32 L; d 25, L 900, arm 250 mm, G 79.3 GPa. Values
    # computed independently: 3379.01879 N m/rad, 54064.3007 N/m at the arm end.
    assert_allclose(BAR.torsion_rate, 3379.01879, rtol=1e-8)
    assert_allclose(BAR.arm_end_rate, 54064.3007, rtol=1e-8)
    half = replace(BAR, motion_ratio=0.5)
    assert_allclose(half.wheel_rate, 54064.3007 / 4, rtol=1e-8)


def test_bar_carries_roll_and_nothing_else():
    item = Item(mass=100.0, behind_front_axle=1.45, left_of_centre=0.4, above_frame=0.0)
    # Bars on both axles, so that the body does not twist between them.
    vehicle = one_spring(
        axle={"bar": BAR}, scales=(250, 250, 250, 250), items={"it": item}, cg=0.0,
        loads={"it": Load(items=("it",))},
    )  # fmt: skip
    on = vehicle.setup
    off = replace(on, front_bar=False, rear_bar=False)
    # Straight down, left and right alike: a bar does not twist.
    assert_allclose(sk.settle(vehicle, on).height, sk.settle(vehicle, off).height, rtol=1e-11)
    leaning = {}
    for name, setup in (("on", on), ("off", off)):
        stance = sk.settle(vehicle, setup, load="it")
        leaning[name] = -float(stance.roll)
        # Small angles: roll moment over roll stiffness of springs (and bars) in series with tyres.
        spring = 40e3 * 0.6**2 + 2 * BAR.wheel_rate * (name == "on")
        corner = spring * 150e3 / (spring + 150e3)
        stiffness = 4 * corner * (1.55 / 2) ** 2
        # All weight at its height above the ground leans out with the body.
        mass, _ = independent.sprung(vehicle, "it")
        sags = mass * stance.frame_height + 4 * 34.0 * (0.4 - 1100 / 4 * G / 150e3)
        expected = 100 * G * 0.4 / (stiffness - G * sags)
        assert_allclose(leaning[name], expected, rtol=0.01)
        bar = BAR.wheel_rate * (name == "on")
        # Each wheel by itself: ground less unsprung weight, shock, bar.
        up = np.cos(stance.pitch) * np.cos(stance.roll)
        push = bar * (stance.travel - stance.travel[[1, 0, 3, 2]])
        net = (stance.tyre_load - 34 * G) * up - stance.wheel_force - push
        assert_allclose(net, 0.0, atol=1e-6)
    assert leaning["on"] < 0.6 * leaning["off"]


# -------------------------------------------------------------- lifted, on the stops, tipped, slack


def test_one_wheel_lifted():
    # The shocks of one diagonal wound up hard on stiff springs: the other front wheel hangs.
    vehicle = one_spring(rate=200e3, cg=0.1, scales=(150, 150, 300, 300))
    item = Item(mass=150.0, behind_front_axle=2.6, left_of_centre=-0.6, above_frame=0.2)
    vehicle = replace(vehicle, items={"it": item}, loads={"it": Load(items=("it",))})
    setup = vehicle.setup.change("front_right", turns=50.0).change("rear_left", turns=50.0)
    stance = sk.settle(vehicle, setup, load="it")
    theirs = independent.settle(vehicle, setup, "it")
    assert stance.lifted.tolist() == (theirs.tyre_load == 0).tolist()
    assert stance.lifted.sum() == 1
    up = int(np.flatnonzero(stance.lifted)[0])
    assert stance.tyre_load[up] == 0.0
    assert_allclose(stance.height, theirs.height, rtol=1e-8)
    # Off the ground it hangs where a bench measures droop hang, but for the lean's cosine.
    corner = stance.corners[CORNERS[up]]
    assert_allclose(stance.travel[up], corner.hang_travel, atol=1e-5)
    assert_allclose(stance.droop_left[up], 0.0, atol=1e-5)


def test_standing_on_bump_stops_is_an_answer():
    stop = BumpStop(free_length=0.05, table=((0.02, 500.0), (0.04, 3000.0)))
    vehicle = one_spring(rate=15e3, axle={"bump_stop": stop}, scales=(450, 450, 450, 450))
    stance = sk.settle(vehicle)
    theirs = independent.settle(vehicle, vehicle.setup)
    assert stance.on_stop.all()
    assert (stance.bump_left < 0).all() and (stance.bump_left > -0.001).all()
    assert_allclose(stance.height, theirs.height, rtol=1e-8)
    assert_allclose(stance.tyre_load, 450 * G, rtol=1e-9)


@pytest.mark.parametrize(
    ("tracks", "stroke", "rates", "gap", "cg", "lateral"),
    [
        ((1.32, 1.27), 0.16, (21e3, 23e3, 66e3), 0.022, 0.20, 292 / 39),
        ((1.39, 1.27), 0.21, (19e3, 28e3, 69e3), 0.049, 0.23, 278 / 39),
        ((1.46, 1.39), 0.21, (18e3, 23e3, 63e3), 0.051, 0.62, 180 / 39),
        ((1.56, 1.25), 0.16, (12e3, 19e3, 97e3), 0.018, 0.22, 306 / 39),
        ((1.53, 1.42), 0.22, (11e3, 25e3, 64e3), 0.037, 0.63, 187 / 39),
    ],
)
def test_a_turn_is_held_as_it_is_entered(tracks, stroke, rates, gap, cg, lateral):
    """Where a wheel leaves the ground there are two balances: from the straight it comes to the
    one that leans less, as the free-body equations do in many small steps."""
    lengths = {"tender": (0.15, 0.05), "main": (0.42, 0.1), "stiff": (0.45, 0.1)}
    pair = CornerSetup(stack="pair", turns=5.0, gap=gap)
    plain = CornerSetup(stack="one", turns=5.0)
    vehicle = independent.make_vehicle(
        front=independent.make_axle(track=tracks[0], stroke=stroke),
        rear=independent.make_axle(track=tracks[1], point_behind=2.6),
        springs={
            name: sk.Spring(name=name, rate=rate, free_length=free, solid_length=solid)
            for (name, (free, solid)), rate in zip(lengths.items(), rates, strict=True)
        },
        stacks={
            "pair": StackPlan(springs=("tender", "main"), rings_below=("tender",)),
            "one": StackPlan(springs=("stiff",)),
        },
        setup=sk.Setup(front_left=pair, front_right=pair, rear_left=plain, rear_right=plain),
        cg=cg,
    )
    stance = sk.settle(vehicle, lateral=lateral)
    theirs = independent.enter(vehicle, vehicle.setup, lateral)
    # Theirs throws masses out square to the track, ours square to the leaning frame.
    assert stance.roll == pytest.approx(theirs, rel=0.006)


def test_tipped_is_flagged_not_raised():
    item = Item(mass=2000.0, behind_front_axle=1.4, left_of_centre=1.2, above_frame=1.0)
    over = Item(mass=60.0, behind_front_axle=1.4, left_of_centre=0.1, above_frame=0.3)
    vehicle = one_spring(
        items={"it": item, "ok": over},
        loads={"it": Load(items=("it",)), "ok": Load(items=("ok",))},
    )
    both = sk.settle(vehicle, load=["ok", "it"])
    assert both.tipped.tolist() == [False, True]
    assert np.isnan(both.height[:, 1]).all()
    assert np.isnan(both.tyre_load[:, 1]).all()
    assert np.isfinite(both.height[:, 0]).all()


def test_standing_exactly_on_a_crossover():
    vehicle = independent.make_vehicle(scales=(220, 220, 220, 220))
    stance = sk.settle(vehicle)
    # Put the ring so that it is met just where the vehicle stands on the springs below it.
    open_ring = vehicle.setup.change("all", ring=0.09)
    s = sk.settle(vehicle, open_ring).compression[0]
    corner = sk.assemble(vehicle, open_ring)["front_left"]
    on = corner.stack.deflection_above(0, s + corner.seat) - corner.preload
    heights = []
    for ring in (on - 1e-9, np.nextafter(on, 0), on, np.nextafter(on, 1), on + 1e-9):
        stance = sk.settle(vehicle, vehicle.setup.change("all", ring=float(ring)))
        assert stance.residual < 1e-11
        heights.append(stance.height[0])
    assert np.ptp(heights) < 1e-8
    early = sk.settle(vehicle, vehicle.setup.change("all", ring=float(on - 1e-6)))
    assert early.past_crossover.all()
    late = sk.settle(vehicle, vehicle.setup.change("all", ring=float(on + 1e-6)))
    assert not late.past_crossover.any()


# ------------------------------------------------------------------------------ friction, rates


def test_friction_band_brackets(unit7):
    low, high = sk.height_band(unit7, load="patrol")
    middle = sk.settle(unit7, load="patrol")
    assert (low < middle.height).all() and (middle.height < high).all()
    # With the friction on its side a shock's springs need that much less: the wheel travel
    # changes by friction * MR / wheel rate. (Only roughly: rates change along the way, and the
    # measuring point is not over the wheel.)
    wanted = unit7.front.shock.friction * unit7.front.motion.motion_ratio(middle.travel[0])
    assert_allclose(high[0] - middle.height[0], wanted / middle.wheel_rate[0], rtol=0.1)
    for end, value in ((-1.0, low), (1.0, high)):
        theirs = independent.settle(unit7, unit7.setup, "patrol", friction=end)
        assert_allclose(value, theirs.height, rtol=1e-8)


def test_friction_band_over_loads_and_setups(unit7):
    setup = unit7.setup.change("front", turns=np.array([3.0, 4.0, 5.0]))
    low, high = sk.height_band(unit7, setup, load=["bare", "patrol"])
    assert low.shape == high.shape == (4, 2, 3)
    one_low, one_high = sk.height_band(unit7, load="patrol")
    assert_allclose(low[:, 1, 1], one_low, rtol=1e-11)
    assert_allclose(high[:, 1, 1], one_high, rtol=1e-11)


def test_the_band_is_of_the_set_up_and_corners_asked_for(unit7):
    # A crate on the left, so that the bars carry something.
    crate = Item(mass=80.0, behind_front_axle=1.4, left_of_centre=0.4, above_frame=0.3)
    loads = {"left": Load(items=("crate",))}
    vehicle = replace(unit7, items={"crate": crate}, loads=loads, targets=None)
    loose = replace(unit7.setup, front_bar=False, rear_bar=False)
    higher = sk.assemble(vehicle, unit7.setup.change("all", turns=6.0))
    for how in ({"setup": loose}, {"corners": higher}):
        low, high = sk.height_band(vehicle, load="left", **how)
        for friction, end in ((-1.0, low), (1.0, high)):
            stance = sk.settle(vehicle, load="left", friction=friction, **how)
            assert_allclose(end, stance.height, rtol=1e-11)
        assert np.abs(low - sk.height_band(vehicle, load="left")[0]).max() > 1e-4


def test_ride_rate_is_wheel_rate_in_series_with_the_tyre(unit7):
    # SAE J670 (wording from memory): ride rate is the wheel-centre rate combined with the tyre's.
    stance = sk.settle(unit7, load="patrol")
    for i, name in enumerate(CORNERS):
        tyre = unit7.axle_of(name).tyre.rate
        assert_allclose(1 / stance.ride_rate[i], 1 / stance.wheel_rate[i] + 1 / tyre, rtol=1e-12)
        plain = independent.Corner(unit7, unit7.setup, name)
        z, h = float(stance.travel[i]), 1e-6
        slope = (plain.wheel_force(z + h) - plain.wheel_force(z - h)) / (2 * h)
        assert_allclose(stance.wheel_rate[i], slope, rtol=1e-5)
        assert_allclose(stance.wheel_force[i], plain.wheel_force(z), rtol=1e-9)


def test_frequency_is_that_of_the_linearised_corner(unit7):
    stance = sk.settle(unit7, load="patrol")
    for i, name in enumerate(CORNERS):
        tyre = unit7.axle_of(name).tyre.rate
        mass = stance.wheel_force[i] / G
        # Sprung mass on suspension on tyre, the wheel's own mass left out (nearly massless node):
        # generalised eigenvalues of K x = w^2 M x.
        k = stance.wheel_rate[i]
        stiff = np.array([[k, -k], [-k, k + tyre]])
        values = eigvals(stiff, np.diag([mass, mass * 1e-9])).real
        assert_allclose(stance.frequency[i], np.sqrt(values.min()) / (2 * np.pi), rtol=1e-6)
        # The true wheel mass lowers it a little, never raises it.
        heavy = eigvals(stiff, np.diag([mass, unit7.axle_of(name).unsprung_mass])).real
        real = np.sqrt(heavy.min()) / (2 * np.pi)
        assert 0.97 * stance.frequency[i] < real < stance.frequency[i]


# ---------------------------------------------------------------------------------- bottoming


def test_bottoming_by_quadrature(unit7):
    stance = sk.settle(unit7, load="patrol")
    reserve = stance.bottoming
    for i, name in enumerate(CORNERS):
        plain = independent.Corner(unit7, unit7.setup, name)
        full = plain.full_bump
        top = plain.motion.end
        z_full = independent.brentq(lambda z, p=plain, f=full: p.motion(z)[0] - f, 0, top)
        kinks = [e.compression for e in stance.corners[name].events if e.compression < full]
        touch = plain.shock.stroke - plain.shock.bump_stop.free_length
        kinks += [touch + row[0] for row in plain.shock.bump_stop.table]
        kinks += [plain.shock.top_out.length]
        s = float(stance.compression[i])
        kinks = sorted({k for k in kinks if 0 < k < full})
        energy, _ = quad(plain.force, s, full, points=[k for k in kinks if k > s], limit=200)
        assert_allclose(reserve.energy[i], energy, rtol=1e-7)
        # Drop height: weight times (drop + travel) is the work from droop hang to full bump.
        stored, _ = quad(plain.force, plain.hang, full, points=kinks, limit=200)
        weight = plain.wheel_force(float(stance.travel[i]))
        drop = stored / weight - (z_full - plain.hang_travel)
        assert_allclose(reserve.drop_height[i], drop, rtol=1e-6)
        ratio = plain.motion(z_full)[1]
        inside = (plain.springs(full) + plain.gas(full)) * ratio / weight
        assert_allclose(reserve.load_factor[i], inside, rtol=1e-7)
        assert_allclose(
            reserve.load_factor_with_stop[i], plain.wheel_force(z_full) / weight, rtol=1e-6
        )


def test_work_is_path_independent(unit7):
    corner = sk.assemble(unit7)["rear_left"]
    there = work(corner, 0.05, 0.2)
    assert_allclose(there, work(corner, 0.05, 0.11) + work(corner, 0.11, 0.2), rtol=1e-12)
    assert_allclose(work(corner, 0.2, 0.05), -there, rtol=1e-12)


# ------------------------------------------------------------------------------------- batches


def test_batch_is_the_loop(unit7):
    rng = np.random.default_rng(5)
    front, rear = rng.uniform(2, 6, 17), rng.uniform(3, 7, 17)
    gap = rng.uniform(0.022, 0.035, 17)
    setup = unit7.setup.change("front", turns=front, gap=gap).change("rear", turns=rear)
    batch = sk.settle(unit7, setup, load="patrol")
    for j in range(17):
        one = unit7.setup.change("front", turns=front[j], gap=gap[j])
        one = sk.settle(unit7, one.change("rear", turns=rear[j]), load="patrol")
        for field in fields(one):
            if field.name in ("corners", "load", "residual"):
                continue
            value = getattr(batch, field.name)[..., j]
            assert_allclose(value, getattr(one, field.name), rtol=1e-10, atol=1e-12)
        for field in fields(one.bottoming):
            value = getattr(batch.bottoming, field.name)[..., j]
            assert_allclose(value, getattr(one.bottoming, field.name), rtol=1e-9)


def test_loads_come_before_setups(unit7):
    setup = unit7.setup.change("rear", turns=np.linspace(3, 6, 5))
    stance = sk.settle(unit7, setup, load=["bare", "patrol", "carry-out"])
    assert stance.height.shape == (4, 3, 5)
    assert stance.rake.shape == stance.residual.shape == stance.tipped.shape == (3, 5)
    alone = sk.settle(unit7, unit7.setup.change("rear", turns=6.0), load="carry-out")
    assert_allclose(stance.height[:, 2, 4], alone.height, rtol=1e-11)
    assert_allclose(stance.at("rear_left")["height"], stance.height[2])
    assert sk.settle(unit7, load="patrol").height.shape == (4,)


def test_corners_given_are_the_corners_used(unit7):
    corners = sk.assemble(unit7)
    assert_allclose(
        sk.settle(unit7, load="patrol", corners=corners).height,
        sk.settle(unit7, load="patrol").height,
        rtol=0,
    )


def test_turns_friction_masses_and_a_turn_may_each_bring_the_batch(unit7):
    heavier = unit7.masses("patrol")
    heavier = replace(heavier, mass=heavier.mass * np.array([1.0, 1.1, 1.2]))
    each = {
        "friction": [{"friction": f} for f in (-1.0, 0.0, 1.0)],
        "lateral": [{"lateral": a} for a in (0.0, 2.0, 4.0)],
        "masses": [{"masses": replace(heavier, mass=m)} for m in heavier.mass],
    }
    batches = {
        "friction": {"friction": np.array([-1.0, 0.0, 1.0])},
        "lateral": {"lateral": np.array([0.0, 2.0, 4.0])},
        "masses": {"masses": heavier},
    }
    for name, batch in batches.items():
        load = {} if name == "masses" else {"load": "patrol"}
        ours = sk.settle(unit7, **batch, **load)
        assert ours.height.shape == (4, 3), name
        for j, one in enumerate(each[name]):
            alone = sk.settle(unit7, **one, **load)
            assert_allclose(ours.height[:, j], alone.height, rtol=1e-11, err_msg=name)
            assert_allclose(ours.tyre_load[:, j], alone.tyre_load, rtol=1e-9, err_msg=name)


def test_a_large_batch_is_shared_out_and_put_back_in_order(unit7, monkeypatch):
    setup = unit7.setup.change("all", turns=np.linspace(2, 6, 17))
    whole = sk.settle(unit7, setup, load="patrol")
    monkeypatch.setattr("suspkit.statics.settle.ROWS_A_WORKER", 5)
    monkeypatch.setattr("os.cpu_count", lambda: 8)  # 17 entries are then three parts
    shared = sk.settle(unit7, setup, load="patrol")
    for field in ("height", "pitch", "tyre_load", "residual", "tipped"):
        np.testing.assert_array_equal(getattr(shared, field), getattr(whole, field))


def test_load_factor_asked_alone_is_that_of_the_reserve(unit7):
    stance = sk.settle(unit7, load=["bare", "patrol"])
    np.testing.assert_array_equal(load_factor(stance), stance.bottoming.load_factor)


# -------------------------------------------------------------------------------------- errors


def test_the_entry_without_a_balance_is_named(unit7, monkeypatch):
    from suspkit.core import settle_kernel

    settle_many = settle_kernel.settle_many

    def lose_one(*arguments):
        pose, seen, residual, state = settle_many(*arguments)
        residual[2], state[2] = 1.5e-3, 2
        return pose, seen, residual, state

    monkeypatch.setattr("suspkit.statics.settle.announce", lambda function: None)
    monkeypatch.setattr(settle_kernel, "settle_many", lose_one)
    said = "no balance found for entry 2 of 4: residual 1.5e-03, expected below 1e-9"
    with pytest.raises(sk.NotSettledError, match=said):
        sk.settle(unit7, friction=np.zeros(4), load="patrol")


def test_unknown_load_is_named(unit7):
    with pytest.raises(ValueError, match=r"load is 'patroll'.*did you mean 'patrol'"):
        sk.settle(unit7, load="patroll")
    with pytest.raises(ValueError, match="load is 'nobody'"):
        sk.settle(unit7, load=["patrol", "nobody"])


# ---------------------------------------------------------- what must hold for collar and ring


def test_collar_does_nothing_past_crossover_with_ring_left():
    # A constant motion ratio, so that the shaft's force stays when the ring moves the body.
    vehicle = independent.make_vehicle(
        front=independent.make_axle(b=0.0, lip=0.003),
        rear=independent.make_axle(b=0.0, point_behind=2.6),
        scales=(230, 230, 270, 270),
    )
    turns = np.linspace(3, 8, 6)
    early = vehicle.setup.change("all", ring=0.002, turns=turns)
    stance = sk.settle(vehicle, early)
    assert stance.past_crossover.all()
    assert np.ptp(stance.height, axis=1).max() < 1e-12
    # Ring turns: one for one at the shock.
    ring = np.array([0.002, 0.003])
    moved = sk.settle(vehicle, vehicle.setup.change("all", ring=ring))
    assert moved.past_crossover.all()
    assert_allclose(np.diff(moved.compression, axis=1), 0.001, rtol=2e-3)


def test_ring_not_reached_does_not_change_ride_height():
    vehicle = independent.make_vehicle()
    ring = np.array([0.08, 0.085, 0.09])
    stance = sk.settle(vehicle, vehicle.setup.change("all", ring=ring))
    assert not stance.past_crossover.any()
    assert np.ptp(stance.height, axis=1).max() < 1e-13
