"""How fast settling is, measured in the same run against loops of scipy's `root`, one set-up each.

Run alone, with nothing else on the machine::

    python -m pytest tests/benchmarks/bench_settle.py --numprocesses=0 -s

Three loops, because "a plain loop" can mean any of them. All solve the same free-body equations to
the same answer, which is checked, and are given a good start, the pose of a set-up close by (from a
level start `root` loses its way now and then; suspkit's own search starts level):

on suspkit's corners
    each set-up assembled by itself, and `root` on the wheel forces its corners give.
with numpy
    numpy and scipy as they come: `PPoly` for the linkage, `interp` for the laws, a rotation matrix
    and cross products.
tuned by hand
    plain floats, bisection in lists, everything that does not change worked out beforehand.
"""

import math
import time
from bisect import bisect_right
from dataclasses import dataclass

import numpy as np
import pytest
from scipy.interpolate import PPoly
from scipy.optimize import brentq, root

import suspkit as sk
from suspkit.parts.shock import STOP_RATE
from suspkit.units import GRAVITY

SETUPS = 4000
LOOPED = 40  # of them, in each loop: its time per set-up is steady to a few per cent by then
LOAD = "patrol"


# ------------------------------------------------------------------ the plain loop, one at a time


@dataclass
class Line:
    """A piecewise-linear law as two lists, looked up by bisection."""

    x: list
    y: list
    before: float
    after: float

    def __call__(self, at):
        x, y = self.x, self.y
        if at <= x[0]:
            return y[0] + self.before * (at - x[0])
        if at >= x[-1]:
            return y[-1] + self.after * (at - x[-1])
        i = bisect_right(x, at) - 1
        return y[i] + (y[i + 1] - y[i]) * (at - x[i]) / (x[i + 1] - x[i])


def stack_line(springs, cap, seat):
    """Force over shock compression of a tender on a main with a ring, linear springs."""
    (k1, travel1), (k2, travel2) = springs
    above = min(travel1, cap)  # what the tender gives before bind or ring
    points = sorted({0.0, k1 * above, k2 * travel2})
    x = [min(f / k1, above) + min(f / k2, travel2) - seat for f in points]
    return Line(x, points, 0.0, STOP_RATE)


class PlainAxle:
    """What does not change from set-up to set-up, worked out once and kept in plain floats."""

    def __init__(self, axle, stack):
        self.springs = [(s.rate, s.free_length - s.solid_length) for s in stack.springs]
        self.pitch, self.lip = axle.shock.thread.collar_pitch, axle.shock.divider_lip
        self.weight = axle.unsprung_mass * GRAVITY
        self.half_track, self.drop = 0.5 * axle.track, axle.hub_below_frame
        self.radius, self.tyre_rate = axle.tyre.radius, axle.tyre.rate
        self.bar = axle.bar.wheel_rate
        link = axle.motion
        self.step, self.cells = link.travel_step, link.coefficients.tolist()
        self.end = self.step * len(self.cells)
        gas = axle.shock.gas
        self.area, self.volume = gas.rod_area, gas.volume
        self.pv = (gas.pressure + 101325.0) * gas.volume
        top, stop = axle.shock.top_out, axle.shock.bump_stop
        self.top = (top.rate, top.length)
        squeeze, force = zip((0.0, 0.0), *stop.table, strict=True)
        touch = axle.shock.stroke - stop.free_length
        self.full = min(axle.shock.stroke, touch + squeeze[-1])
        self.bump = Line([touch + q for q in squeeze], list(force), 0.0, 0.0)
        self.bump_at, self.bump_force = np.array(self.bump.x), np.array(self.bump.y)
        self.contact = self.motion(self.hang(lambda s: 0.0))[0]

    def motion(self, z):
        inside = min(max(z, 0.0), self.end)
        cell = min(int(inside / self.step), len(self.cells) - 1)
        c0, c1, c2, c3 = self.cells[cell]
        u = inside - cell * self.step
        ratio = c1 + u * (2.0 * c2 + 3.0 * c3 * u)
        return c0 + u * (c1 + u * (c2 + u * c3)) + ratio * (z - inside), ratio

    def rest(self, s):
        """All of the shock's force but the springs."""
        f = (self.pv / (self.volume - self.area * s) - 101325.0) * self.area + self.bump(s)
        if s < self.top[1]:
            f -= self.top[0] * (self.top[1] - s)
        if s < 0.0:
            f += STOP_RATE * s
        elif s > self.full:
            f += STOP_RATE * (s - self.full)
        return f

    def hang(self, springs):
        def pull(z):
            s, ratio = self.motion(z)
            return (springs(s) + self.rest(s)) * ratio + self.weight

        return brentq(pull, -0.01, 0.2, xtol=1e-13)

    def springs_as_set(self, turns, gap):
        seat = turns * self.pitch - self.contact
        free = stack_line(self.springs, math.inf, seat)
        force = free(self.motion(self.hang(free))[0])
        return stack_line(self.springs, gap + self.lip + force / self.springs[0][0], seat)


class NumpyAxle(PlainAxle):
    """The same with numpy and scipy as they come."""

    def __init__(self, axle, stack):
        link = axle.motion
        knots = np.arange(len(link.coefficients) + 1) * link.travel_step
        self.poly = PPoly(link.coefficients[:, ::-1].T, knots)
        self.slope = self.poly.derivative()
        super().__init__(axle, stack)

    def motion(self, z):
        inside = np.clip(z, 0.0, self.end)
        ratio = float(self.slope(inside))
        return float(self.poly(inside)) + ratio * (z - inside), ratio

    def rest(self, s):
        gas = (self.pv / (self.volume - self.area * s) - 101325.0) * self.area
        bump = np.interp(s, self.bump_at, self.bump_force)
        top = self.top[0] * max(self.top[1] - s, 0.0)
        return gas + bump - top + STOP_RATE * (min(s, 0.0) + max(s - self.full, 0.0))

    def springs_as_set(self, turns, gap):
        law = super().springs_as_set(turns, gap)
        x, y = np.array(law.x), np.array(law.y)
        return lambda s: np.interp(s, x, y) + STOP_RATE * max(s - x[-1], 0.0)


def places(vehicle, front, rear):
    """Axle, x, y and the other wheel of each corner."""
    return [
        (front, 0.0, front.half_track, 1),
        (front, 0.0, -front.half_track, 0),
        (rear, -vehicle.wheelbase, rear.half_track, 3),
        (rear, -vehicle.wheelbase, -rear.half_track, 2),
    ]


def settle_with_numpy(vehicle, front, rear, masses, setting, start):
    """One set-up by `root`: forces and moments as vectors."""
    laws = [front.springs_as_set(*setting[:2])] * 2 + [rear.springs_as_set(*setting[2:])] * 2

    def shaft_at_wheel(i, axle, z):
        s, ratio = axle.motion(z)
        return (laws[i](s) + axle.rest(s)) * ratio

    return _root_on_vectors(vehicle, front, rear, masses, shaft_at_wheel, start)


def settle_on_corners(vehicle, front, rear, masses, setting, start):
    """One set-up by `root`: assembled by suspkit, forces and moments as vectors."""
    setup = as_batch(vehicle, np.array(setting))
    corners = list(sk.assemble(vehicle, setup).values())

    def shaft_at_wheel(i, axle, z):
        return corners[i].wheel_force(z)

    return _root_on_vectors(vehicle, front, rear, masses, shaft_at_wheel, start)


def _root_on_vectors(vehicle, front, rear, masses, shaft_at_wheel, start):
    weight = masses.mass * GRAVITY
    centre = np.array([-masses.behind_front_axle, masses.left_of_centre, masses.above_frame])
    corners = places(vehicle, front, rear)
    up = np.array([0.0, 0.0, 1.0])

    def residual(q):
        cp, sp, cr, sr = np.cos(q[1]), np.sin(q[1]), np.cos(q[2]), np.sin(q[2])
        about_y = np.array([[cp, 0.0, sp], [0.0, 1.0, 0.0], [-sp, 0.0, cp]])
        turn = about_y @ np.array([[1.0, 0.0, 0.0], [0.0, cr, -sr], [0.0, sr, cr]])
        force = -weight * up
        moment = np.cross(turn @ centre, force)
        # A wheel is a disc: straight down its plane, and how far that falls.
        fall = np.sqrt(1.0 - turn[2, 1] ** 2)
        down = (turn[2, 1] * turn[:, 1] - up) / fall
        along = np.empty(4)
        for i, (axle, x, y, other) in enumerate(corners):
            z = q[3 + i]
            hub = turn @ np.array([x, y, z - axle.drop])
            reach = (q[0] + hub[2]) / fall
            ground = axle.tyre_rate * max(axle.radius - reach, 0.0) / fall
            net = (ground - axle.weight) * up
            force = force + net
            moment = moment + np.cross(hub, net) + np.cross(reach * down, ground * up)
            bar = axle.bar * (z - q[3 + other])
            along[i] = turn[:, 2] @ net - shaft_at_wheel(i, axle, z) - bar
        return np.concatenate([force[2:], moment[:2], along]) / weight

    return root(residual, start, method="hybr", tol=1e-11)


def settle_by_hand(vehicle, front, rear, masses, setting, start):
    """One set-up by `root`: plain floats throughout."""
    laws = [front.springs_as_set(*setting[:2])] * 2 + [rear.springs_as_set(*setting[2:])] * 2
    weight = masses.mass * GRAVITY
    cx, cy, cz = -masses.behind_front_axle, masses.left_of_centre, masses.above_frame
    corners = [(*place, law) for place, law in zip(places(vehicle, front, rear), laws, strict=True)]

    def residual(q):
        heave, pitch, roll, *travel = q.tolist()
        sp, cp, sr, cr = math.sin(pitch), math.cos(pitch), math.sin(roll), math.cos(roll)
        force = -weight
        roll_moment = -weight * (cy * cr - cz * sr)
        pitch_moment = weight * (cx * cp + cy * sp * sr + cz * sp * cr)
        along = []
        tilt = cp * sr  # of a wheel's axle
        fall = math.sqrt(1.0 - tilt * tilt)
        for (axle, x, y, other, law), z in zip(corners, travel, strict=True):
            s, ratio = axle.motion(z)
            above = z - axle.drop
            hub = heave - x * sp + cp * (y * sr + above * cr)
            ground = axle.tyre_rate * max(0.0, axle.radius - hub / fall) / fall
            net = ground - axle.weight
            force += net
            out = ground * hub * tilt / (fall * fall)  # the foot is this far from under the hub
            roll_moment += net * (y * cr - above * sr) + out * cr
            pitch_moment -= net * (x * cp + y * sp * sr + above * sp * cr) + out * sp * sr
            shaft = law(s) + axle.rest(s)
            along.append(shaft * ratio - net * cp * cr + axle.bar * (z - travel[other]))
        return [v / weight for v in (force, roll_moment, pitch_moment, *along)]

    return root(residual, start, method="hybr", tol=1e-11)


# ------------------------------------------------------------------------------------ the timing


def best_of(count, run):
    """Least time of several runs [s]."""
    best = math.inf
    for _ in range(count):
        began = time.perf_counter()
        run()
        best = min(best, time.perf_counter() - began)
    return best


@pytest.fixture(scope="module")
def unit7():
    return sk.example("unit7")


@pytest.fixture(scope="module")
def settings():
    """Turns and gap of each axle, as a shop might set them: rows of (front, front, rear, rear)."""
    rng = np.random.default_rng(7)
    low, high = (2, 0.022, 3, 0.100), (6, 0.040, 7, 0.120)
    return rng.uniform(low, high, size=(SETUPS, 4))


def as_batch(vehicle, settings):
    front_turns, front_gap, rear_turns, rear_gap = settings.T
    setup = vehicle.setup.change("front", turns=front_turns, gap=front_gap)
    return setup.change("rear", turns=rear_turns, gap=rear_gap)


def loops_for(vehicle):
    """Ways to settle one set-up at a time, by name."""
    masses, one = vehicle.masses(LOAD), sk.settle(vehicle, load=LOAD)
    near = np.r_[one.frame_height, one.pitch, one.roll, one.travel]
    stacks = vehicle.stack("kit-front"), vehicle.stack("kit-rear")
    axles = list(zip((vehicle.front, vehicle.rear), stacks, strict=True))
    plain = [NumpyAxle(axle, stack) for axle, stack in axles]
    tuned = [PlainAxle(axle, stack) for axle, stack in axles]
    return {
        "on suspkit's corners": lambda s: settle_on_corners(vehicle, *tuned, masses, s, near),
        "with numpy": lambda s: settle_with_numpy(vehicle, *plain, masses, s, near),
        "tuned by hand": lambda s: settle_by_hand(vehicle, *tuned, masses, s, near),
    }


def test_batch_against_loops(unit7, settings, capsys):
    batch = as_batch(unit7, settings)
    stance = sk.settle(unit7, batch, load=LOAD)  # also compiles
    ours = best_of(20, lambda: sk.settle(unit7, batch, load=LOAD)) / SETUPS

    poses = np.concatenate(
        [[stance.frame_height, stance.pitch, stance.roll], stance.travel], axis=0
    ).T
    some = settings[:LOOPED].tolist()
    loops = loops_for(unit7)
    ratios = {}
    for name, solve in loops.items():
        found = [solve(setting) for setting in some]
        assert all(result.success for result in found)
        np.testing.assert_allclose([result.x for result in found], poses[:LOOPED], atol=1e-9)
        spent = best_of(3, lambda solve=solve: [solve(setting) for setting in some]) / LOOPED
        ratios[name] = spent / ours
        with capsys.disabled():
            print(
                f"\nloop {name}: {spent * 1e6:.0f} us a set-up; batch of {SETUPS}: "
                f"{ours * 1e6:.1f} us a set-up; ratio {ratios[name]:.0f}"
            )
    # Measured on two busy cores: about 500, 320 and 29; the limits leave room for noise.
    assert ratios["on suspkit's corners"] >= 350
    assert ratios["with numpy"] >= 200
    assert ratios["tuned by hand"] >= 18


def everything_a_slider_moves(vehicle, setup):
    corners = sk.assemble(vehicle, setup)
    stance = sk.settle(vehicle, setup, load=LOAD, corners=corners)
    drawn = [stance.bottoming.load_factor]
    for name in ("front_left", "rear_left"):
        corner = corners[name]
        s = np.linspace(0.0, corner.shock.full_bump, 200)
        drawn += [corner.events, corner.force(s), corner.rate(s)]
        z = corner.linkage.travel(s)
        drawn += [corner.wheel_force(z), corner.wheel_rate(z)]
    return stance, drawn


@pytest.mark.benchmark(timer=time.perf_counter)
def test_slider_move(unit7, benchmark):
    setups = [unit7.setup.change("front", turns=turns) for turns in np.linspace(2, 6, 50)]
    turn = iter(range(10**9))

    def move():
        return everything_a_slider_moves(unit7, setups[next(turn) % len(setups)])

    move()
    benchmark(move)
    if benchmark.stats is not None:
        assert benchmark.stats.stats.median < 5e-3


@pytest.mark.benchmark(timer=time.perf_counter)
def test_settle_batch(unit7, settings, benchmark):
    batch = as_batch(unit7, settings)
    sk.settle(unit7, batch, load=LOAD)
    benchmark(sk.settle, unit7, batch, load=LOAD)
