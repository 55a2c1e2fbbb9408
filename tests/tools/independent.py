"""A vehicle's free-body equations written again from scratch, for the tests to compare against.

It reads a vehicle's plain numbers and shares no calculation with suspkit: springs are
searched by `brentq` on the series recursion, the body is balanced with force and moment vectors
under a rotation matrix (not as the slope of an energy), and the pose is where it sinks to.
Only the invented vehicles' linkages need a word: their tables are exact parabolas
``s = a z + b z**2``, which the smoothing fit keeps, so they are evaluated as parabolas here;
for a tabled vehicle the fitted cubics are handed to scipy's `PPoly`.
"""

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from scipy.interpolate import PPoly
from scipy.optimize import brentq, minimize_scalar

from suspkit import Gas, Linkage, Setup, Shock, Spring, TopOut, Vehicle
from suspkit.parts.shock import STOP_RATE, BumpStop, Thread
from suspkit.vehicle.setup import CornerSetup
from suspkit.vehicle.vehicle import (
    Axle,
    Bar,
    Item,
    LinkageTable,
    Load,
    MeasuringPoint,
    Scales,
    StackPlan,
    Tyre,
)

G = 9.80665  # m/s2, standard gravity (ISO 80000-3)
ATMOSPHERE = 101325.0  # Pa, standard atmosphere (ISO 2533)
NAMES = ("front_left", "front_right", "rear_left", "rear_right")


# ---------------------------------------------------------------------------------- one corner


def spring_deflection(spring, force):
    """Deflection of one spring [m] under a force [N], by its definition."""
    most = spring.free_length - spring.solid_length
    if force <= 0:
        return 0.0
    if spring.coils is not None:
        return sum(min(force / rate, gap) for rate, gap in spring.coils)
    if spring.table is not None:
        x, f = np.array([(0.0, 0.0), *spring.table]).T
        if force > f[-1]:
            return min(most, x[-1] + (force - f[-1]) * (x[-1] - x[-2]) / (f[-1] - f[-2]))
        return min(most, float(np.interp(force, f, x)))
    return min(most, force / spring.rate)


class Stack:
    """Springs in series with caps: X_i = min(X_{i-1} + d_i(F), c_i)."""

    def __init__(self, springs, caps):
        self.springs, self.caps = springs, caps  # caps: index of the spring above -> cap [m]

    def partial(self, force, upto=None):
        total = 0.0
        for i, spring in enumerate(self.springs[:upto]):
            total = min(total + spring_deflection(spring, force), self.caps.get(i, np.inf))
        return total

    def force(self, compression):
        top = 1e7
        if compression <= self.partial(0.0):
            return 0.0
        solid = self.partial(top)
        if compression >= solid:
            low, high = 0.0, top  # the least force at which all is solid
            for _ in range(200):
                middle = 0.5 * (low + high)
                low, high = (middle, high) if self.partial(middle) < solid else (low, middle)
            return high + STOP_RATE * (compression - solid)
        high = 100.0
        while self.partial(high) < compression:
            high *= 2
        return brentq(lambda f: self.partial(f) - compression, 0.0, high, xtol=1e-10, rtol=1e-15)


class Motion:
    """Shock compression and motion ratio of an axle's linkage."""

    def __init__(self, axle):
        self.end = axle.linkage.travel[-1]
        if "parabola" in axle.shock.clickers:  # marked by `make_vehicle`
            self.a, self.b = axle.shock.clickers["parabola"]
            self.poly = None
        else:
            link = axle.motion
            knots = np.arange(len(link.coefficients) + 1) * link.travel_step
            self.poly = PPoly(link.coefficients[:, ::-1].T, knots)
            self.slope = self.poly.derivative()

    def __call__(self, z):
        inside = min(max(z, 0.0), self.end)
        if self.poly is None:
            s, ratio = self.a * inside + self.b * inside**2, self.a + 2 * self.b * inside
        else:
            s, ratio = float(self.poly(inside)), float(self.slope(inside))
        return s + ratio * (z - inside), ratio


class Corner:
    """One corner as set: springs, ring, gas, top-out, bump stop and metal."""

    def __init__(self, vehicle, setup, name):
        self.axle = vehicle.front if name.startswith("front") else vehicle.rear
        self.shock, self.motion = self.axle.shock, Motion(self.axle)
        self.weight = self.axle.unsprung_mass * G
        chosen = getattr(setup, name)
        plan = vehicle.stacks[chosen.stack]
        springs = [vehicle.springs[s] for s in plan.springs]
        seats = [plan.springs.index(s) for s in plan.rings_below]
        self.contact_hang, _ = self.motion(self.hanging(lambda s: 0.0))
        preload = float(chosen.turns) * self.shock.thread.collar_pitch
        self.seat = preload - self.contact_hang
        lip = self.shock.divider_lip

        def as_tuple(value):
            return value if isinstance(value, tuple) else (value,)

        if chosen.ring is not None:
            caps = [ring + lip + preload for ring in as_tuple(chosen.ring)]
        elif chosen.gap is not None:
            free = Stack(springs, {})
            hung, _ = self.motion(self.hanging(lambda s: free.force(s + self.seat)))
            force = free.force(hung + self.seat)
            caps = [
                gap + lip + free.partial(force, upto=seat + 1)
                for gap, seat in zip(as_tuple(chosen.gap), seats, strict=True)
            ]
        else:
            caps = []
        self.stack = Stack(springs, dict(zip(seats, caps, strict=True)))
        self.hang_travel = self.hanging(lambda s: self.stack.force(s + self.seat))
        self.hang, _ = self.motion(self.hang_travel)
        self.force = lru_cache(self.force)  # slopes by differences ask for the same again

    @property
    def full_bump(self):
        stop = self.shock.bump_stop
        if stop is None:
            return self.shock.stroke
        return min(self.shock.stroke, self.shock.stroke - stop.free_length + stop.table[-1][0])

    def gas(self, s):
        gas = self.shock.gas
        if gas is None:
            return 0.0
        area = np.pi * gas.rod_diameter**2 / 4
        pressure = (gas.pressure + ATMOSPHERE) * gas.volume / (gas.volume - area * s)
        return (pressure - ATMOSPHERE) * area

    def bump(self, s):
        stop = self.shock.bump_stop
        if stop is None:
            return 0.0
        squeeze, force = np.array([(0.0, 0.0), *stop.table]).T
        return float(np.interp(s - (self.shock.stroke - stop.free_length), squeeze, force))

    def limits(self, s):
        force = self.bump(s)
        if self.shock.top_out is not None and s < self.shock.top_out.length:
            force -= self.shock.top_out.rate * (self.shock.top_out.length - s)
        if s < 0:
            force += STOP_RATE * s
        if s > self.full_bump:
            force += STOP_RATE * (s - self.full_bump)
        return force

    def hanging(self, springs):
        def pull(z):
            s, ratio = self.motion(z)
            return (springs(s) + self.gas(s) + self.limits(s)) * ratio + self.weight

        return brentq(pull, -0.02, self.motion.end, xtol=1e-15, rtol=1e-15)

    def springs(self, s):
        return self.stack.force(s + self.seat)

    def force(self, s):
        return self.springs(s) + self.gas(s) + self.limits(s)

    def wheel_force(self, z):
        s, ratio = self.motion(z)
        return self.force(s) * ratio


# ------------------------------------------------------------------------------- the whole body


def sprung(vehicle, load=None):
    """Sprung mass [kg] and centre of gravity (x, y, z) [m] by moments about the whole vehicle."""
    scale, base = vehicle.scales, vehicle.wheelbase
    places, read, wheels = [], [], []
    for name in NAMES:
        axle = vehicle.front if name.startswith("front") else vehicle.rear
        y = axle.track / 2 * (1 if name.endswith("left") else -1)
        places.append((0.0 if axle is vehicle.front else -base, y))
        read.append(getattr(scale, name))
        wheels.append(axle.unsprung_mass)
    places, read, wheels = np.array(places), np.array(read), np.array(wheels)
    mass = read.sum() - wheels.sum()
    xy = (read @ places - wheels @ places) / mass
    parts = [(mass, np.r_[xy, scale.sprung_cg_above_frame])]
    for name in vehicle.loads[load].items if load else ():
        item = vehicle.items[name]
        parts.append(
            (item.mass, np.array([-item.behind_front_axle, item.left_of_centre, item.above_frame]))
        )
    total = sum(m for m, _ in parts)
    return total, sum(m * r for m, r in parts) / total


def rotation(pitch, roll):
    """Body to ground axes: roll about x, then pitch about y (ISO 8855 axes, right hand)."""
    cp, sp, cr, sr = np.cos(pitch), np.sin(pitch), np.cos(roll), np.sin(roll)
    about_y = np.array([[cp, 0, sp], [0, 1, 0], [-sp, 0, cp]])
    about_x = np.array([[1, 0, 0], [0, cr, -sr], [0, sr, cr]])
    return about_y @ about_x


def lowest_of_disc(radius, pitch, roll):
    """How far below its hub the lowest point of a leaning disc is [m], searched round its rim."""
    turn = rotation(pitch, roll)

    def depth(angle):
        return radius * (turn @ [np.sin(angle), 0.0, -np.cos(angle)])[2]

    search = {"method": "bounded", "options": {"xatol": 1e-9}}
    return -minimize_scalar(depth, bounds=(-1.5, 1.5), **search).fun


def down_the_disc(turn):
    """Steepest way down the plane of a wheel whose axle lies across the body, in body axes.

    The plane meets the ground in a line square to both the axle and the plumb line; the way down
    is square to that line and to the axle. Found with vectors alone, no angles.
    """
    axle = turn[:, 1]
    meets = np.cross([0.0, 0.0, 1.0], axle)
    down = np.cross(axle, meets / np.linalg.norm(meets))
    return turn.T @ (down if down[2] < 0 else -down)


class FreeBody:
    """Newton's laws for the sprung body and its four wheels."""

    def __init__(self, vehicle, setup, load=None, friction=0.0, lateral=0.0):
        self.vehicle, self.friction, self.lateral = vehicle, friction, lateral
        self.corners = [Corner(vehicle, setup, name) for name in NAMES]
        self.mass, self.centre = sprung(vehicle, load)
        self.weight = self.mass * G
        self.total = self.weight + sum(c.weight for c in self.corners)
        self.bars = []
        for axle, on in ((vehicle.front, setup.front_bar), (vehicle.rear, setup.rear_bar)):
            bar = axle.bar
            rate = 0.0
            if bar is not None and on:
                torsion = np.pi * bar.shear_modulus * bar.diameter**4 / 32 / bar.length
                rate = torsion / bar.arm**2 * bar.motion_ratio**2
            self.bars += [rate, rate]

    def hubs(self, travel):
        """Wheel centres in body axes."""
        hubs = []
        for i, z in enumerate(travel):
            axle = self.corners[i].axle
            x = 0.0 if i < 2 else -self.vehicle.wheelbase
            y = axle.track / 2 * (1 if i % 2 == 0 else -1)
            hubs.append(np.array([x, y, z - axle.hub_below_frame]))
        return hubs

    def feet(self, pose):
        """Where each wheel, a disc that leans with the body, stands on the ground: body axes."""
        turn = rotation(pose[1], pose[2])
        down = down_the_disc(turn)
        feet = []
        for hub in self.hubs(pose[3:]):
            reach = (pose[0] + (turn @ hub)[2]) / -(turn @ down)[2]
            feet.append(hub + reach * down)
        return feet

    def tyre_loads(self, pose):
        turn = rotation(pose[1], pose[2])
        fall = -(turn @ down_the_disc(turn))[2]
        loads = []
        for corner, hub, foot in zip(
            self.corners, self.hubs(pose[3:]), self.feet(pose), strict=True
        ):
            tyre = corner.axle.tyre
            # Squeezed in the disc's plane; the ground, level, pushes straight up.
            squeeze = tyre.radius - np.linalg.norm(hub - foot)
            loads.append(max(0.0, tyre.rate * squeeze) / fall)
        return np.array(loads)

    def residual(self, pose):
        """Net vertical force and moments on the body, and net force along each wheel's guide.

        Relative to weight, moments over wheelbase. The wheel is a body of its own: the ground's
        push at its foot and its weight at the hub act on it, and what is left it hands to the
        sprung body through its guide; along the guide only the shock and the bar can do that.
        """
        up = np.array([0.0, 0.0, 1.0])
        turn = rotation(pose[1], pose[2])
        force = -self.weight * up
        moment = np.cross(turn @ self.centre, -self.weight * up)
        along = []
        ground = self.tyre_loads(pose)
        feet = self.feet(pose)
        # In a turn every mass is thrown outward at its height, and held by the tyres at the ground.
        lever = self.weight * (pose[0] + (turn @ self.centre)[2])
        for corner, hub in zip(self.corners, self.hubs(pose[3:]), strict=True):
            lever += corner.weight * (pose[0] + (turn @ hub)[2])
        moment = moment + np.array([lever * self.lateral / G, 0.0, 0.0])
        for i, hub in enumerate(self.hubs(pose[3:])):
            corner, z, other = self.corners[i], pose[3 + i], pose[3 + (i ^ 1)]
            handed = ground[i] * up - corner.weight * up
            force = force + handed
            moment = moment + np.cross(turn @ feet[i], ground[i] * up)
            moment = moment - np.cross(turn @ hub, corner.weight * up)
            s, ratio = corner.motion(z)
            shaft = corner.force(s) + self.friction * corner.shock.friction
            along.append(turn[:, 2] @ handed - shaft * ratio - self.bars[i] * (z - other))
        out = np.r_[force[2], moment[:2] / self.vehicle.wheelbase, along]
        return out / self.weight


@dataclass
class Answer:
    pose: np.ndarray
    height: np.ndarray
    travel: np.ndarray
    compression: np.ndarray
    tyre_load: np.ndarray
    residual: float


def first_guess(body, lean):
    """A pose with each corner alone under its share of the weight by the lever rule."""
    x, y, _ = body.centre
    rear = -x / body.vehicle.wheelbase
    rows, right, travel = [], [], []
    for i, corner in enumerate(body.corners):
        side = 1 if i % 2 == 0 else -1
        share = (rear if i > 1 else 1 - rear) * (0.5 + lean * side * y / corner.axle.track)
        wanted = max(share, 0.02) * body.weight
        z = brentq(lambda z, c=corner, w=wanted: c.wheel_force(z) - w, -0.5, corner.motion.end)
        hub = body.hubs([z] * 4)[i]
        rows.append([1.0, -hub[0], hub[1]])
        tyre = corner.axle.tyre
        right.append(tyre.radius - (wanted + corner.weight) / tyre.rate - hub[2])
        travel.append(z)
    return np.r_[np.linalg.lstsq(np.array(rows), np.array(right), rcond=None)[0], travel]


SETTLED = 1e-11
"""What may be left over [of the weight]. Rounding leaves up to 1e-12: a float of half a metre is
1e-16 m, on metal of 2e7 N/m some 1e-9 N, of a weight of some 1e4 N."""

SLUGGISH = np.eye(7)[[0, 2, 1, 3, 4, 5, 6]]  # the moment about x turns it in roll, about y in pitch
STEPS = 1e-7 * np.eye(7)


def balanced(body, pose, most=300):
    """Pose a body sinks to from one let go, and what is left over there [of the weight].

    It moves as if in thick oil, so it comes to a balance that holds and never swings past it: each
    step is an implicit one of ``speed = force``, with slopes by differences. The less is left, the
    longer the next step, up to Newton's; more left, as past a kink, makes it shorter again.
    """
    left = body.residual(pose)
    best = pose, np.abs(left).max()
    pace = 0.02 / best[1]
    for _ in range(most):
        if best[1] < SETTLED:
            break
        slopes = np.transpose(
            [(body.residual(pose + d) - body.residual(pose - d)) / 2e-7 for d in STEPS]
        )
        step = np.linalg.solve(SLUGGISH / pace - slopes, left)
        pose = pose + step * min(1.0, 0.05 / np.abs(step).max())
        before, left = left, body.residual(pose)
        pace *= np.clip(np.linalg.norm(before) / max(np.linalg.norm(left), 1e-300), 0.1, 1e3)
        pace = min(pace, 1e12)
        if np.abs(left).max() < best[1]:
            best = pose, np.abs(left).max()
    return best


def settle(vehicle, setup, load=None, friction=0.0):
    """Pose of a vehicle on the free-body equations, let go level."""
    body = FreeBody(vehicle, setup, load, friction)
    for lean in (1.0, 0.0, 0.5):
        pose, error = balanced(body, first_guess(body, lean))
        # A balance too, but with the body upside down.
        if error < SETTLED and np.abs(pose[1:3]).max() < 0.5:
            break
    else:
        raise RuntimeError(f"no upright balance was found: {error:.1e} is left over")
    turn = rotation(pose[1], pose[2])
    height = []
    for i, corner in enumerate(body.corners):
        point = corner.axle.point
        y = point.left_of_centre * (1 if i % 2 == 0 else -1)
        height.append(pose[0] + (turn @ [-point.behind_front_axle, y, point.above_frame])[2])
    compression = np.array([c.motion(z)[0] for c, z in zip(body.corners, pose[3:], strict=True)])
    return Answer(pose, np.array(height), pose[3:], compression, body.tyre_loads(pose), error)


def enter(vehicle, setup, lateral, count=40):
    """Roll of a vehicle that enters a turn from the straight, in so many steps or more."""
    pose, now, more = settle(vehicle, setup).pose, 0.0, lateral / count
    body = FreeBody(vehicle, setup)
    while now < lateral:
        body.lateral = then = min(now + more, lateral)
        found, error = balanced(body, pose)
        if error < SETTLED and abs(found[2] - pose[2]) < 0.02:
            pose, now = found, then
        elif more > lateral / count / 64:
            more /= 2  # what is nearer is found more surely
        else:
            raise RuntimeError(f"the balance is lost at {then:.3f} m/s2: {error:.1e} is left over")
    return pose[2]


# --------------------------------------------------------------------------- invented vehicles


def parabola_table(a, b, end):
    """A linkage table with ``s = a z + b z**2`` exactly, read as if with a fine tape."""
    return np.linspace(0.0, end, 12), lambda z: a * z + b * z**2


def make_axle(
    *, a=0.55, b=0.1, stroke=0.24, track=1.55, unsprung=34.0, tyre_rate=150e3, tyre_radius=0.4,
    gas=None, top_out=None, bump_stop=None, friction=80.0, lip=0.0, pitch=0.0015875,
    bar=None, point_behind=0.25, hub_below=0.18, extended=0.8, seat_span=0.62, collar_travel=0.15,
    ring_lowest=0.35,
):  # fmt: skip
    """An invented axle with a linkage that is exactly a parabola."""
    # Far enough for full bump whatever the parabola.
    end = (-a + np.sqrt(a**2 + 4 * b * 1.05 * stroke)) / (2 * b) if b else 1.05 * stroke / a
    z = np.linspace(0.0, end, 12)
    s = a * z + b * z**2
    shock = Shock(
        extended_length=extended, stroke=stroke, friction=friction, divider_lip=lip, gas=gas,
        top_out=top_out, bump_stop=bump_stop,
        thread=Thread(
            seat_span=seat_span, collar_travel=collar_travel, collar_pitch=pitch, ring_pitch=pitch,
            ring_lowest=ring_lowest,
        ),
        # A mark for this file alone, kept with the numbers: the linkage's two coefficients.
        clickers={"parabola": (a, b)},
    )  # fmt: skip
    return Axle(
        track=track, hub_below_frame=hub_below, unsprung_mass=unsprung,
        tyre=Tyre(radius=tyre_radius, rate=tyre_rate), shock=shock,
        linkage=LinkageTable(
            travel=tuple(z.tolist()), eye_to_eye=tuple((extended - s).tolist()), noise=1e-6
        ),
        point=MeasuringPoint(behind_front_axle=point_behind, left_of_centre=0.25), bar=bar,
    )  # fmt: skip


def make_vehicle(
    *, front=None, rear=None, springs=None, stacks=None, setup=None, scales=(200, 200, 250, 250),
    cg=0.35, wheelbase=2.9, items=None, loads=None,
):  # fmt: skip
    """An invented vehicle: two linear springs and a ring on each corner unless told otherwise."""
    springs = springs or {
        "tender": Spring(name="tender", rate=50e3, free_length=0.15, solid_length=0.05),
        "main": Spring(name="main", rate=65e3, free_length=0.42, solid_length=0.10),
    }
    stacks = stacks or {"pair": StackPlan(springs=("tender", "main"), rings_below=("tender",))}
    corner = CornerSetup(stack="pair", turns=5.0, gap=0.03)
    setup = setup or Setup(
        front_left=corner, front_right=corner, rear_left=corner, rear_right=corner
    )
    return Vehicle(
        name="invented", wheelbase=wheelbase, front=front or make_axle(),
        rear=rear or make_axle(point_behind=2.6), springs=springs, stacks=stacks,
        scales=Scales(**dict(zip(NAMES, map(float, scales), strict=True)),
                      sprung_cg_above_frame=cg),
        setups={"one": setup}, current="one", items=items or {}, loads=loads or {},
    )  # fmt: skip


def random_vehicle(rng):
    """A plausible vehicle with everything drawn at random, loaded, and its set-up."""

    def axle(rear):
        stroke = rng.uniform(0.20, 0.30)
        stop = None
        if rng.random() < 0.7:
            free = rng.uniform(0.03, 0.06)
            squeeze = np.sort(rng.uniform(0.15, 0.9, 3)) * free
            force = np.cumsum(rng.uniform(200, 3000, 3))
            stop = BumpStop(
                free_length=free, table=tuple(zip(squeeze.tolist(), force.tolist(), strict=True))
            )
        gas = top = bar = None
        if rng.random() < 0.7:
            rod = rng.uniform(0.014, 0.024)
            volume = np.pi / 4 * rod**2 * stroke * rng.uniform(2, 5)
            gas = Gas(rod_diameter=rod, pressure=rng.uniform(5e5, 1.6e6), volume=volume)
        if rng.random() < 0.7:
            top = TopOut(rate=rng.uniform(1e4, 6e4), length=rng.uniform(0.01, 0.05))
        if rng.random() < 0.7:
            bar = Bar(
                diameter=rng.uniform(0.015, 0.026), length=0.8, arm=0.25,
                motion_ratio=rng.uniform(0.3, 0.6),
            )  # fmt: skip
        return make_axle(
            a=rng.uniform(0.45, 0.65), b=rng.uniform(-0.1, 0.25), stroke=stroke,
            track=rng.uniform(1.3, 1.8), unsprung=rng.uniform(22, 45),
            tyre_rate=rng.uniform(90e3, 250e3), tyre_radius=rng.uniform(0.33, 0.45),
            gas=gas, top_out=top, bump_stop=stop, friction=rng.uniform(0, 120),
            lip=rng.choice([0.0, 0.003]), pitch=rng.choice([0.0015, 0.002, 0.0015875]), bar=bar,
            hub_below=rng.uniform(0.1, 0.25), point_behind=2.3 if rear else 0.3,
        )  # fmt: skip

    front, rear = axle(False), axle(True)
    wheelbase = rng.uniform(2.2, 3.3)
    share = rng.uniform(0.4, 0.5)
    mass = rng.uniform(600, 1100)
    scales = mass * np.array([share, share, 1 - share, 1 - share]) / 2
    scales *= rng.uniform(0.93, 1.07, 4)
    springs, stacks, corners = {}, {}, {}
    early = rng.random() < 0.25
    for name in NAMES:
        one = front if name.startswith("front") else rear
        stroke = one.shock.stroke
        held = (scales[NAMES.index(name)] - one.unsprung_mass) * G / 0.6
        soft = held / (rng.uniform(0.2, 1.1) * stroke)  # the whole stack's rate
        ratio = rng.uniform(0.5, 3.0)
        kinds = rng.choice(["pair", "pair", "pair", "single", "triple", "coils", "table"])
        rates = {
            "tender": soft * (1 + 1 / ratio), "main": soft * (1 + ratio), "helper": 6 * soft,
        }  # fmt: skip
        gone = {"tender": rng.uniform(0.03, 0.14), "main": 1.35 * stroke, "helper": 0.03}
        for part, rate in rates.items():
            law = {"rate": rate}
            if kinds == "coils" and part == "main":
                shares = np.array([0.3, 0.7]) * gone[part]
                law = {"coils": ((rate * 1.8, shares[0]), (rate * 2.2, gone[part] - shares[0]))}
            if kinds == "table" and part == "tender":
                reach = gone[part]
                law = {"table": ((0.4 * reach, 0.35 * reach * rate), (0.8 * reach, reach * rate))}
            springs[f"{part}-{name}"] = Spring(
                name=part, free_length=gone[part] + 0.06, solid_length=0.06, **law
            )
        plan = {"single": ("main",), "triple": ("helper", "tender", "main")}.get(
            kinds, ("tender", "main")
        )
        plan = tuple(f"{part}-{name}" for part in plan)
        rings = () if kinds == "single" else plan[:-1]
        stacks[name] = StackPlan(springs=plan, rings_below=rings)
        distance = {}
        if rings:
            # One vehicle in four has rings close everywhere: standing past crossover all round.
            places = rng.uniform(0.004, 0.02 if early else 0.13, len(rings))
            places = tuple(np.sort(places).tolist())
            key = rng.choice(["gap", "ring"])
            distance = {str(key): places if len(places) > 1 else places[0]}
        corners[name] = CornerSetup(stack=name, turns=float(rng.uniform(0, 10)), **distance)
    setup = Setup(**corners, front_bar=bool(rng.random() < 0.7), rear_bar=bool(rng.random() < 0.7))
    items = {
        f"item{i}": Item(
            mass=rng.uniform(30, 180), behind_front_axle=rng.uniform(0, wheelbase),
            left_of_centre=rng.uniform(-0.4, 0.4), above_frame=rng.uniform(0.2, 0.8),
        )
        for i in range(3)
    }  # fmt: skip
    vehicle = make_vehicle(
        front=front,
        rear=rear,
        springs=springs,
        stacks=stacks,
        setup=setup,
        scales=scales,
        cg=rng.uniform(0.2, 0.45),
        wheelbase=wheelbase,
        items=items,
        loads={"some": Load(items=tuple(items)[: rng.integers(0, 4)])},
    )
    return vehicle, setup


def mirrored(vehicle, setup):
    """The vehicle seen in a mirror along its centre line, and its set-up."""

    def swap(thing):
        return replace(
            thing, front_left=thing.front_right, front_right=thing.front_left,
            rear_left=thing.rear_right, rear_right=thing.rear_left,
        )  # fmt: skip

    items = {
        n: replace(item, left_of_centre=-item.left_of_centre) for n, item in vehicle.items.items()
    }
    return replace(vehicle, scales=swap(vehicle.scales), items=items), swap(setup)


def exact_linkage(a, b, end):
    """A `Linkage` that is a parabola by its coefficients, for closed forms to the last digit."""
    return Linkage(travel_step=end, coefficients=[[0.0, a, b, 0.0]])
