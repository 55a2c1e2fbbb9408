"""How fast settling is, measured against a plain loop in the same run.

Not collected by default; run alone::

    python -m pytest tests/benchmarks/bench_settle.py -p no:xdist -s
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
from suspkit.shock import STOP_RATE
from suspkit.units import GRAVITY

SETUPS = 4000
LOOPED = 60  # of them, in the loop: its time per set-up is steady to a few per cent by then
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


def settle_plain(vehicle, front, rear, masses, setting, start):
    """One set-up, settled by scipy's `root` on the free-body balance."""
    turns_front, gap_front, turns_rear, gap_rear = setting
    laws = (
        front.springs_as_set(turns_front, gap_front),
        rear.springs_as_set(turns_rear, gap_rear),
    )
    weight = masses.mass * GRAVITY
    cx, cy, cz = -masses.behind_front_axle, masses.left_of_centre, masses.above_frame
    corners = [
        (axle, law, x, side * axle.half_track, other)
        for axle, law, x, side, other in (
            (front, laws[0], 0.0, 1, 1),
            (front, laws[0], 0.0, -1, 0),
            (rear, laws[1], -vehicle.wheelbase, 1, 3),
            (rear, laws[1], -vehicle.wheelbase, -1, 2),
        )
    ]

    def residual(q):
        heave, pitch, roll, *travel = q.tolist()
        sp, cp, sr, cr = math.sin(pitch), math.cos(pitch), math.sin(roll), math.cos(roll)
        force, roll_moment, pitch_moment = (
            -weight, -weight * (cy * cr - cz * sr), weight * (cx * cp + cy * sp * sr + cz * sp * cr)
        )  # fmt: skip
        out = [0.0, 0.0, 0.0]
        for (axle, law, x, y, other), z in zip(corners, travel, strict=True):
            s, ratio = axle.motion(z)
            up = z - axle.drop
            hub = heave - x * sp + cp * (y * sr + up * cr)
            net = axle.tyre_rate * max(0.0, axle.radius - hub) - axle.weight
            force += net
            roll_moment += net * (y * cr - up * sr)
            pitch_moment -= net * (x * cp + y * sp * sr + up * sp * cr)
            out.append(
                (law(s) + axle.rest(s)) * ratio - net * cp * cr + axle.bar * (z - travel[other])
            )
        out[:3] = force, roll_moment, pitch_moment
        return [value / weight for value in out]

    return root(residual, start, method="hybr", tol=1e-11)
