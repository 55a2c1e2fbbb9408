"""The equations of driving written again from scratch, for the tests to compare against.

Newton's laws on a free body, with force and moment vectors, integrated by scipy's
`solve_ivp`. Springs, gas and stops come from `independent`; the damper is the orifice equations
with the pressure as parameter; the ground is the road's own knots joined by scipy. Nothing of
`suspkit.dynamics.drive` or its kernel is used.
"""

from bisect import bisect_right
from dataclasses import dataclass

import numpy as np
from scipy.integrate import solve_ivp
from scipy.interpolate import CubicHermiteSpline

from tests.tools import independent

G = independent.G
ADIABATIC = 1.4  # diatomic ideal gas
RUB = 0.01  # m/s, the speed over which suspkit.dynamics.drive says it rounds off friction
FORCES = np.r_[np.arange(0.0, 3e4, 1.0), np.geomspace(3e4, 1e6, 500)]
PRESSURES = np.r_[0.0, np.geomspace(1e-3, 1e8, 60_000)]


class Table:
    """Linear interpolation, one number at a time and quickly; the end slopes are carried on."""

    def __init__(self, x, y):
        self.x, self.y = list(map(float, x)), list(map(float, y))
        self.last = len(self.x) - 2

    def __call__(self, at):
        i = min(max(bisect_right(self.x, at) - 1, 0), self.last)
        x, y = self.x, self.y
        return y[i] + (at - x[i]) * (y[i + 1] - y[i]) / (x[i + 1] - x[i])


def spring_table(corner):
    """Force of the stack over shaft compression, as a table."""
    x, f = [-1.0], [0.0]
    for force in FORCES:
        at = corner.stack.partial(force) - corner.seat
        if at > x[-1] + 1e-12:
            x.append(at)
            f.append(force)
    x.append(x[-1] + 0.1)  # all solid: metal on metal
    f.append(f[-1] + 0.1 * independent.STOP_RATE)
    return Table(x, f)


def damper_table(damper, clicks):
    """Force over shaft speed: the flow that each pressure drives, and the speed that asks it."""
    if damper is None:
        return lambda speed: 0.0
    law = damper.valving
    area = np.pi / 4 * (damper.piston_diameter**2 - damper.rod_diameter**2)
    halves = []
    for name in ("compression", "rebound"):
        passages = getattr(law, name)
        bleed, valve = passages.bleed, passages.valve
        lift = bleed.closed + bleed.lift * clicks.get(name, 0)
        sin, cos = np.sin(bleed.half_angle), np.cos(bleed.half_angle)
        opening = min(
            np.pi * lift * sin * (bleed.seat - lift * sin * cos), np.pi / 4 * bleed.seat**2
        )
        opening = opening + np.zeros_like(PRESSURES)
        if valve is not None:
            crack = valve.opens_at - valve.per_click * clicks.get(f"{name}-high", 0)
            opening += valve.area * np.clip((PRESSURES - crack) / valve.full_after, 0.0, 1.0)
        flow = law.discharge * opening * np.sqrt(2 * PRESSURES / law.oil.density)
        if law.leak is not None:
            # Kinematic viscosity at 40 degC is the oil's data sheet's own.
            viscosity = law.oil.viscosity_40 * law.oil.density
            flow += np.pi * law.leak.diameter**4 * PRESSURES / (128 * viscosity * law.leak.length)
        halves.append((flow / area, PRESSURES * area))
    (v_in, f_in), (v_out, f_out) = halves
    return Table(np.r_[-v_out[:0:-1], v_in], np.r_[-f_out[:0:-1], f_in])


class Wheel:
    """One corner in motion."""

    def __init__(self, vehicle, setup, name, standing):
        self.name = name
        self.corner = independent.Corner(vehicle, setup, name)
        self.axle, self.shock = self.corner.axle, self.corner.shock
        self.motion = self.corner.motion
        self.mass = self.axle.unsprung_mass
        self.springs = spring_table(self.corner)
        chosen = {
            k: c.count // 2 if hasattr(c, "count") else 0 for k, c in self.shock.clickers.items()
        }
        chosen.update(getattr(setup, name).clicks)
        self.damper = damper_table(self.shock.damper, chosen)
        gas = self.shock.gas
        self.standing = standing
        if gas is not None:
            self.rod = np.pi / 4 * gas.rod_diameter**2
            self.volume = gas.volume - self.rod * self.motion(standing)[0]
            # From rest on, the gas has no time to cool.
            self.pressure = (gas.pressure + independent.ATMOSPHERE) * gas.volume / self.volume

    def gas(self, s):
        gas = self.shock.gas
        if gas is None:
            return 0.0
        left = gas.volume - self.rod * s
        pressure = self.pressure * (self.volume / left) ** ADIABATIC
        return (pressure - independent.ATMOSPHERE) * self.rod

    def held(self, z, z_speed):
        """Force of the shock at the wheel [N], and the compression."""
        s, ratio = self.motion(z)
        speed = ratio * z_speed
        shaft = self.springs(s) + self.corner.limits(s) + self.gas(s) + self.damper(speed)
        shaft += self.shock.friction * speed / np.hypot(speed, RUB)
        return shaft * ratio, s

    def tyre(self, squeeze, closing):
        if squeeze <= 0:
            return 0.0
        return max(0.0, self.axle.tyre.rate * squeeze + self.axle.tyre.damping * closing)


class Ground:
    """Height of the road and its rise, over time, under a tyre."""

    def __init__(self, event, behind, left):
        road, path = event.road, 0 if left else 1
        x = np.arange(road.heights.shape[1]) * road.step
        spline = CubicHermiteSpline(x, road.heights[path], road.slopes[path])
        self.pieces = spline.c.T[:, ::-1].tolist()
        self.step, self.end = road.step, x[-1]
        self.first, self.last = road.heights[path][[0, -1]]
        self.speed, self.back = event.speed, event.approach + behind

    def __call__(self, t):
        x = self.speed * t - self.back
        if x <= 0:
            return self.first, 0.0
        if x >= self.end:
            return self.last, 0.0
        cell = min(int(x / self.step), len(self.pieces) - 1)
        a, b, c, d = self.pieces[cell]
        u = x - cell * self.step
        return a + u * (b + u * (c + u * d)), self.speed * (b + u * (2 * c + u * 3 * d))


@dataclass
class Ridden:
    time: np.ndarray
    travel: np.ndarray  # (wheels, t)
    height: np.ndarray
    pitch: np.ndarray
    roll: np.ndarray


def _integrate(rhs, start, times, max_step, rtol=1e-9):
    found = solve_ivp(
        rhs, (0.0, times[-1]), start, method="DOP853", t_eval=times, rtol=rtol, atol=0.1 * rtol,
        max_step=max_step,
    )  # fmt: skip
    assert found.success, found.message
    return found.y


def quarter_equations(vehicle, wheel, event):
    """Derivatives and starting state (hub, body, their speeds) of one corner over the ground."""
    body = wheel.corner.wheel_force(wheel.standing) / G
    ground = Ground(event, 0.0, left=True)
    radius = wheel.axle.tyre.radius

    def rhs(t, y):
        hub, above, hub_speed, speed = y
        height, rise = ground(t)
        shock, _ = wheel.held(hub - above, hub_speed - speed)
        push = wheel.tyre(radius + height - hub, rise - hub_speed)
        return [hub_speed, speed, (push - shock) / wheel.mass - G, shock / body - G]

    # ``above`` is the place on the body where the hub is at zero travel.
    hub = radius - (body + wheel.mass) * G / wheel.axle.tyre.rate
    travel = wheel.standing
    if event.drop > 0:
        hub, travel = radius + event.drop, wheel.corner.hang_travel
    return rhs, [hub, hub - travel, 0.0, 0.0]


def quarter(vehicle, setup, event, times, *, load=None, corner="front_left", max_step=1e-3):
    """One corner: a carried mass over a wheel over the ground."""
    stood = independent.settle(vehicle, setup, load)
    which = independent.NAMES.index(corner)
    wheel = Wheel(vehicle, setup, corner, stood.travel[which])
    rhs, start = quarter_equations(vehicle, wheel, event)
    y = _integrate(rhs, start, times, max_step)
    level = np.zeros_like(times)
    return Ridden(times, (y[0] - y[1])[None], y[1], level, level)


def inertia(vehicle, load, centre):
    """Moments of inertia in pitch and roll about the loaded centre of gravity, by Steiner."""
    mass, dry = independent.sprung(vehicle)
    scales = vehicle.scales
    pitch = scales.pitch_gyration or np.sqrt(-dry[0] * (vehicle.wheelbase + dry[0]))
    roll = scales.roll_gyration or (vehicle.front.track + vehicle.rear.track) / 2 / 3
    parts = [(mass, dry, pitch, roll)]
    for name in vehicle.loads[load].items if load else ():
        item = vehicle.items[name]
        place = np.array([-item.behind_front_axle, item.left_of_centre, item.above_frame])
        parts.append((item.mass, place, 0.0, 0.0))
    out = np.zeros(2)
    for m, place, own_pitch, own_roll in parts:
        x, y, z = place - centre
        out += m * np.array([own_pitch**2 + x**2 + z**2, own_roll**2 + y**2 + z**2])
    return out


def full(vehicle, setup, event, times, *, load=None, max_step=1e-3):
    """The whole vehicle: Newton and Euler with vectors.

    Each wheel slides along its guide, square to the frame, and has weight and inertia up and down
    only. So between wheel and body there is a vertical force, of which the part along the guide
    is what shock and bar carry; it acts on the body at the hub. The ground pushes at the
    foot of the wheel, a disc that leans with the body, and so turns the body too.
    """
    stood = independent.settle(vehicle, setup, load)
    free = independent.FreeBody(vehicle, setup, load)
    wheels = [
        Wheel(vehicle, setup, name, z)
        for name, z in zip(independent.NAMES, stood.travel, strict=True)
    ]
    mass, centre = free.mass, free.centre
    i_pitch, i_roll = inertia(vehicle, load, centre)
    seats = [hub - centre for hub in free.hubs([0.0] * 4)]
    grounds = [
        Ground(event, 0.0 if i < 2 else vehicle.wheelbase, left=i % 2 == 0) for i in range(4)
    ]
    base = np.array(seats)
    unsprung = np.array([w.mass for w in wheels])
    bars = np.array(free.bars)
    mate = [1, 0, 3, 2]

    def travels(hubs, height, turn):
        return (hubs - height - base @ turn[2]) / turn[2, 2]

    def rhs(t, y):
        height, pitch, roll = y[:3]
        hubs, speeds = y[3:7], y[7:]
        turn = independent.rotation(pitch, roll)
        z = travels(hubs, height, turn)
        # Rates of turn: pitch about the ground's y, roll about the axis it has carried along.
        roll_axis = np.array([np.cos(pitch), 0.0, -np.sin(pitch)])
        spin = speeds[1] * np.array([0.0, 1.0, 0.0]) + speeds[2] * roll_axis
        force, moment = -mass * G, np.zeros(3)
        hub_pull = np.empty(4)
        arms = base.copy()
        arms[:, 2] += z
        arms = arms @ turn.T
        down = turn @ independent.down_the_disc(turn)
        for i, wheel in enumerate(wheels):
            ahead, left, up = arms[i]
            # The guide's point at the hub moves up with the body; the wheel slides on from there.
            carried = speeds[0] + spin[0] * left - spin[1] * ahead
            z_speed = (speeds[3 + i] - carried) / turn[2, 2]
            along, _ = wheel.held(z[i], z_speed)
            along += bars[i] * (z[i] - z[mate[i]])
            push = along / turn[2, 2]
            force += push
            moment += np.array([left * push, -ahead * push, 0.0])  # cross(arm, (0, 0, push))
            ground, rise = grounds[i](t)
            reach = (hubs[i] - ground) / -down[2]
            foot_speed = speeds[3 + i] - rise + reach * np.cross(spin, down)[2]
            squeeze = wheel.axle.tyre.radius - reach
            tyre = wheel.tyre(squeeze, foot_speed / down[2]) / -down[2]
            moment += np.cross(reach * down, [0.0, 0.0, tyre])
            hub_pull[i] = (tyre - push) / wheel.mass - G
        built = min(1.0, t / event.ramp) if event.ramp else 1.0
        lever = mass * height + unsprung @ hubs
        about_pitch = moment[1] - lever * event.forward_steady * built
        about_roll = moment @ roll_axis + lever * event.lateral_steady * built
        return np.r_[speeds, force / mass, about_pitch / i_pitch, about_roll / i_roll, hub_pull]

    height, pitch, roll = stood.pose[:3]
    turn = independent.rotation(pitch, roll)
    centre_height = height + turn[2] @ centre
    travel = np.array(stood.travel)
    if event.drop > 0:
        travel = np.array([w.corner.hang_travel for w in wheels])
    hubs = centre_height + base @ turn[2] + travel * turn[2, 2]
    if event.drop > 0:
        fall = -(turn @ independent.down_the_disc(turn))[2]
        feet = (h - w.axle.tyre.radius * fall for h, w in zip(hubs, wheels, strict=True))
        lift = event.drop - min(feet)
        hubs, centre_height = hubs + lift, centre_height + lift
    start = np.r_[centre_height, pitch, roll, hubs, np.zeros(7)]
    y = _integrate(rhs, start, times, max_step, rtol=1e-8)
    travel = np.array(
        [
            travels(y[3:7, k], y[0, k], independent.rotation(y[1, k], y[2, k]))
            for k in range(times.size)
        ]
    ).T
    return Ridden(times, travel, y[0], y[1], y[2])
