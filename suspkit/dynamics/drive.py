"""How a vehicle rides: the same springs, gas, stops, friction and dampers, in time."""

from __future__ import annotations

import os
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from suspkit.core.compiled import announce
from suspkit.core.curve import Curve
from suspkit.dynamics.events import Event
from suspkit.given import number, of_kind, refuse, whole
from suspkit.parts.linkage import kernel_tables
from suspkit.parts.shock import ATMOSPHERE
from suspkit.statics.settle import plane_fall, settle, tips_over
from suspkit.units import GRAVITY
from suspkit.vehicle.corner import assemble, hold_rings
from suspkit.vehicle.entrance import known_corner, known_load, known_setup, known_temperature
from suspkit.vehicle.setup import AXLES, CORNERS, Setup
from suspkit.vehicle.vehicle import known_name

STEP = 1e-3
"""Time step [s]: a fiftieth of the fastest motion, a wheel hopping; one on its metal stop takes
shorter ones."""

RUB_SPEED = 0.01
"""Shaft speed at which friction has grown to seven tenths of its full value [m/s]; small against
any speed that matters, large enough for the step."""

ADIABATIC = 1.4
"""Polytropic exponent of gas that has no time to cool (diatomic ideal gas)."""

AUDIT_LIMIT = 1e-3
"""Energy that may be unaccounted for, relative to what went through, in a run that counts."""

MOST_STEPS = 1_000_000
"""Time steps of one run, beyond which nobody waits for it."""

METAL = "metal to metal"
"""Said in place of a force that only a rigid stand-in carries."""

MODELS = ("quarter", "half", "full")


class UntrustedRunError(RuntimeError):
    """A run that ends with the vehicle over, or with numbers that ran away: there is no result."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Run:
    """What happened in one event. Arrays have time on their last axis.

    Attributes
    ----------
    event : Event
    model : str
    corners : tuple of Corner
        The corners of the model, one entry a wheel of every array below.
    time : array, shape (t,)
        [s]
    height, pitch, roll : array, shape (t,)
        Centre of gravity above ground level [m]; nose down and left side up [rad].
    body_acceleration : array, shape (3, t)
        Of the centre of gravity upward [m/s^2], in pitch and in roll [rad/s^2].
    hub_height, travel, compression : array, shape (wheels, t)
        [m]
    shaft_speed : array, shape (wheels, t)
        Positive in compression [m/s].
    shaft_force, tyre_load : array, shape (wheels, t)
        [N]
    audit : float
        Energy not accounted for, relative to what went through.
    energy : dict of str to float
        "given", "damper", "friction", "tyre", "stored" [J].
    notes : tuple of str
        Plain sentences about what makes the run doubtful; empty if nothing does.
    """

    event: object
    model: str
    corners: tuple
    time: np.ndarray
    height: np.ndarray
    pitch: np.ndarray
    roll: np.ndarray
    body_acceleration: np.ndarray
    hub_height: np.ndarray
    travel: np.ndarray
    compression: np.ndarray
    shaft_speed: np.ndarray
    shaft_force: np.ndarray
    tyre_load: np.ndarray
    audit: float
    energy: dict
    notes: tuple

    @property
    def trusted(self):
        """Whether the energy book closes and nothing left its range."""
        return not self.notes

    def hits(self, wheel):
        """When a wheel reached full bump.

        Parameters
        ----------
        wheel : int
            Index into the run's arrays.

        Returns
        -------
        array
            [s]; chatter that does not leave the bump stop is one hit, as the driver feels one.
        """
        at, shock = self.compression[wheel], self.corners[wheel].shock
        full = np.flatnonzero(at >= shock.full_bump)
        left = np.cumsum(at < shock.bump_touch)[full]
        return self.time[full[np.diff(left, prepend=-1) > 0]]

    @cached_property
    def bottomings(self):
        """How many times each corner reached full bump (int array, one a wheel); see `hits`."""
        return np.array([self.hits(wheel).size for wheel in range(len(self.corners))])

    @cached_property
    def travel_used(self):
        """Largest share of the wheel's travel to full bump that each corner used."""
        full = np.array([c.full_bump_travel for c in self.corners])
        return self.travel.max(axis=1) / full

    @cached_property
    def peak_force(self):
        """Largest force along each shaft [N]; no number to act on where `metal`."""
        return self.shaft_force.max(axis=1)

    @cached_property
    def metal(self):
        """Whether each corner went past full bump: there a rigid stand-in carries, and its force
        says only that metal met metal."""
        full = np.array([c.shock.full_bump for c in self.corners])
        return (self.compression > full[:, None]).any(axis=1)

    @cached_property
    def stop_speed(self):
        """Fastest shaft speed on the bump stop of each corner [m/s]; zero if never touched."""
        touch = np.array([c.shock.bump_touch for c in self.corners])[:, None]
        on = self.compression >= touch
        return np.where(on, np.maximum(self.shaft_speed, 0.0), 0.0).max(axis=1)

    @cached_property
    def airtime(self):
        """How long each tyre carried nothing [s]."""
        off = self.tyre_load <= 0.0
        return off.sum(axis=1) * (self.time[1] - self.time[0])

    @cached_property
    def damper_power(self):
        """Mean power turned to heat in all dampers [W]."""
        return self.energy["damper"] / self.time[-1]

    def seat_acceleration(self, *, ahead=0.0, left=0.0):
        """Upward acceleration of a place on the body.

        Parameters
        ----------
        ahead, left : float
            Of the centre of gravity [m].

        Returns
        -------
        array, shape (t,)
            [m/s^2]
        """
        heave, pitch, roll = self.body_acceleration
        return heave - ahead * pitch + left * roll


@dataclass(frozen=True, kw_only=True, eq=False)
class _Model:
    """Everything the kernel needs of a vehicle as set, in arrays."""

    corners: tuple
    wheels: np.ndarray
    body: np.ndarray
    modes: int
    links: np.ndarray
    steps: np.ndarray
    cells: np.ndarray
    springs: tuple
    dampers: tuple
    gas: np.ndarray
    friction: np.ndarray
    bars: np.ndarray
    start: np.ndarray
    centre: tuple
    limits: np.ndarray


def _padded(curves):
    """Curves of different lengths as the kernel reads them: knots, slopes, counts."""
    longest = max(c.x.size for c in curves)
    x, y = np.zeros((len(curves), longest)), np.zeros((len(curves), longest))
    slopes = np.zeros((len(curves), longest + 1))
    counts = np.array([c.x.size for c in curves])
    for i, curve in enumerate(curves):
        n = curve.x.size
        x[i, :n], y[i, :n], slopes[i, : n + 1] = curve.x, curve.y, curve._segments
    return x, y, slopes, counts


_NO_DAMPER = Curve([0.0], [0.0])


def _damper_curve(corner, clicks, temperature):
    damper = getattr(corner.shock, "damper", None)
    if damper is None:
        return _NO_DAMPER, np.array([-np.inf, np.inf])
    curve = corner.shock.damper_curve(clicks, temperature=temperature)
    return curve, np.array([curve.x[0], curve.x[-1]])


def _dampers(corners, setup, temperature, known=None):
    """Every damper as the kernel reads it, and the speeds between which it is known.

    ``known`` keeps what was worked out before; left and right are mostly the same.
    """
    from suspkit.core import drive_kernel

    known = {} if known is None else known
    found = []
    for corner in corners:
        clicks = getattr(setup, corner.name).clicks
        key = (id(corner.shock), tuple(sorted(clicks.items())))
        if key not in known:
            curve, limits = _damper_curve(corner, clicks, temperature)
            known[key] = curve, limits, drive_kernel.guide(curve.x)
        found.append(known[key])
    curves, limits, guides = zip(*found, strict=True)
    return (*_padded(curves), np.stack(guides)), np.array(limits)


def with_clicks(built, setup, *, temperature=None):
    """The same vehicle with other clicks, and nothing else built again.

    Parameters
    ----------
    built : _Model
        From `build`.
    setup : Setup
        Its clicks are taken, and nothing else of it.
    temperature : float, optional
        Of the oil [K].

    Returns
    -------
    _Model
    """
    dampers, limits = _dampers(built.corners, setup, temperature)
    return replace(built, dampers=dampers, limits=limits)


def build(vehicle, setup=None, *, load=None, model="full", corner="front_left", temperature=None):
    """Put a vehicle into the arrays the kernel runs on.

    Parameters
    ----------
    vehicle : Vehicle
    setup : Setup, optional
    load : str, optional
        Named load; nothing aboard if None.
    model : {"full", "half", "quarter"}
        All seven degrees of freedom; heave and pitch of the left half; one corner.
    corner : str
        Which one, for a quarter.
    temperature : float, optional
        Of oil and gas [K].

    Returns
    -------
    _Model
        At rest in its static balance.

    Raises
    ------
    UntrustedRunError
        If the vehicle tips over standing.
    ValueError
        If the model or corner has no such name.
    """
    _check_model(model, corner)
    setup, load = known_setup(vehicle, setup), known_load(vehicle, load)
    temperature = known_temperature(temperature)
    vehicle, setup = _warmed(vehicle, setup, temperature)
    made = assemble(vehicle, setup)
    stance = settle(vehicle, setup, load=load, corners=made)
    return _put_together(
        vehicle, setup, made, stance, load=load, model=model, corner=corner,
        temperature=temperature,
    )  # fmt: skip


def _check_model(model, corner):
    known_name(model, MODELS, "model", "one of")
    known_corner(corner)


def _names(model, corner):
    """The corners a model has."""
    return {"quarter": (corner,), "half": (CORNERS[0], CORNERS[2]), "full": CORNERS}[model]


def _warmed(vehicle, setup, temperature):
    """The vehicle with the gas of its shocks at a temperature, and what was set while cold.

    Hot gas moves no collar and no ring: turns stay counted from where contact was found, and a
    gap set by tape is a ring left where it stands.
    """
    if temperature is None:
        return vehicle, setup
    setup = hold_rings(setup, assemble(vehicle, setup))
    changed = {}
    for name in AXLES:
        axle = getattr(vehicle, name)
        gas = axle.shock.gas
        if gas is not None:
            pressure = (gas.pressure + ATMOSPHERE) * temperature / gas.fill_temperature
            gas = replace(gas, pressure=pressure - ATMOSPHERE, fill_temperature=temperature)
            warm = replace(axle, shock=replace(axle.shock, gas=gas))
            vars(warm).update(contact_hang=axle.contact_hang, unbolted_hang=axle.unbolted_hang)
            changed[name] = warm
    return replace(vehicle, **changed), setup


def _put_together(
    vehicle, setup, made, stance, *, load, model, corner, temperature, known_dampers=None
):
    if stance.tipped:
        raise UntrustedRunError(tips_over(load))
    masses = vehicle.masses(load)
    names = _names(model, corner)
    index = [CORNERS.index(name) for name in names]
    corners = tuple(made[name] for name in names)
    axles = [vehicle.axle_of(name) for name in names]
    # By name: an axle may be the same at both ends.
    hub_x = np.array([0.0 if name in AXLES["front"] else -vehicle.wheelbase for name in names])
    centre_x = -float(masses.behind_front_axle)
    centre_y, centre_z = float(masses.left_of_centre), float(masses.above_frame)
    pitch, mass = float(stance.pitch), float(masses.mass)
    if model != "full":
        # What the chosen corners carry; the pair's centre is where their balance puts it.
        held = stance.wheel_force[index]
        along = stance.travel[index] - [axle.hub_below_frame for axle in axles] - centre_z
        pitch = _half_pitch(axles, held, along, vehicle.wheelbase) if model == "half" else 0.0
        mass = float(held.sum() / np.cos(pitch)) / GRAVITY
        centre_x = float((held * (hub_x + along * np.tan(pitch))).sum() / held.sum())
        centre_y = 0.0
    inertia = np.array(vehicle.inertia(load)) * (mass / float(masses.mass))
    wheels = []
    for name, axle, x in zip(names, axles, hub_x, strict=True):
        y = 0.5 * axle.track * (1 if name.endswith("left") else -1) if model == "full" else 0.0
        ahead, across = x - centre_x, y - centre_y
        if model == "quarter":
            ahead = across = 0.0
        mate = {"full": {0: 1, 1: 0, 2: 3, 3: 2}}.get(model, {}).get(len(wheels), -1)
        wheels.append((
            ahead, across, -axle.hub_below_frame - centre_z, axle.unsprung_mass,
            axle.tyre.radius, axle.tyre.rate, axle.tyre.damping,
            float(name in AXLES["rear"]), float(mate),
        ))  # fmt: skip
    steps, cells, links = kernel_tables([vehicle.front.motion, vehicle.rear.motion])
    dampers, limits = _dampers(corners, setup, temperature, known_dampers)
    gas = np.array([(*c.shock.gas_numbers, ADIABATIC) for c in corners])
    connected = (setup.front_bar, setup.rear_bar)
    bars = np.array([
        axle.bar.wheel_rate * float(on) if axle.bar is not None else 0.0
        for axle, on in zip((vehicle.front, vehicle.rear), connected, strict=True)
    ])  # fmt: skip
    modes = {"quarter": 1, "half": 2, "full": 3}[model]
    wheels = np.array(wheels)
    built = _Model(
        corners=corners, wheels=wheels,
        body=np.array([mass * GRAVITY, mass, inertia[0], inertia[1], GRAVITY]),
        modes=modes, links=links, steps=steps, cells=cells,
        springs=_padded([c.curve for c in corners]),
        dampers=dampers, gas=gas,
        friction=np.array([(vehicle.friction_of(c.name), RUB_SPEED) for c in corners]), bars=bars,
        start=np.zeros(2 * (3 + len(names))), centre=(centre_x, centre_y, centre_z),
        limits=limits,
    )  # fmt: skip
    return replace(built, start=_rest(built, stance, index, pitch))


def _half_pitch(axles, held, along, wheelbase):
    """Pitch at which both hubs of half a vehicle, each sunk into its tyre, fit the body."""
    from scipy.optimize import brentq

    radius, rate, mass = np.array(
        [(axle.tyre.radius, axle.tyre.rate, axle.unsprung_mass) for axle in axles]
    ).T

    def misfit(pitch):
        # A tyre is round: squeezed straight down whatever the pitch.
        hub = radius - (held / np.cos(pitch) + mass * GRAVITY) / rate
        fall = (along[0] - along[1]) * np.cos(pitch)
        return (hub[0] - hub[1]) + wheelbase * np.sin(pitch) - fall

    return brentq(misfit, -0.5, 0.5, xtol=1e-14)


def _rest(model, stance, index, pitch):
    """State at rest: the settled stance, of half or a quarter of the vehicle level across."""
    n = len(index)
    travel = stance.travel[index].astype(float)
    roll = float(stance.roll) if model.modes == 3 else 0.0
    up = np.cos(pitch) * np.cos(roll)
    tyre = stance.tyre_load[index]
    if model.modes < 3:
        tyre = stance.wheel_force[index] / up + model.wheels[:, 3] * GRAVITY
    fall = plane_fall(pitch, roll)
    hub = (model.wheels[:, 4] - tyre * fall / model.wheels[:, 5]) * fall
    # Gas slower than a ride, faster than a rest: its exponent acts from the standing pressure,
    # so the rest state is the stance's own.
    for i, (corner, z) in enumerate(zip(model.corners, travel, strict=True)):
        area, pressure, volume = model.gas[i, :3]
        if area > 0:
            left = volume - area * corner.linkage.compression(z)
            model.gas[i, 1] = pressure * (volume / left) ** (1.0 - ADIABATIC)
    start = np.zeros(2 * (3 + n))
    start[3 : 3 + n] = hub
    start[1], start[2] = pitch, roll
    ax, ay, az = model.wheels[:, 0], model.wheels[:, 1], model.wheels[:, 2]
    height = hub + ax * np.sin(pitch) - ay * np.cos(pitch) * np.sin(roll) - (az + travel) * up
    start[0] = height.mean()
    return start


def _stored(model, state):
    """Kinetic and potential energy of a state [J]."""
    n = model.wheels.shape[0]
    half = 3 + n
    weight, mass, pitch_inertia, roll_inertia, g = model.body
    speed = state[half:]
    kinetic = 0.5 * (
        mass * speed[0] ** 2 + pitch_inertia * speed[1] ** 2 + roll_inertia * speed[2] ** 2
    )
    kinetic += 0.5 * float(np.sum(model.wheels[:, 3] * speed[3:] ** 2))
    potential = weight * state[0]
    pitch, roll = state[1], state[2]
    up = np.cos(pitch) * np.cos(roll)
    travel = np.empty(n)
    for i, corner in enumerate(model.corners):
        ax, ay, az, unsprung, radius, kt = model.wheels[i, :6]
        travel[i] = (
            state[3 + i] - state[0] + ax * np.sin(pitch) - ay * np.cos(pitch) * np.sin(roll)
        ) / up - az
        s = corner.linkage.compression(travel[i])
        potential += corner.curve.antiderivative(s) + unsprung * g * state[3 + i]
        area, pressure, volume, atmosphere, exponent = model.gas[i]
        if area > 0:
            left = volume - area * s
            inside = pressure * volume * (volume / left) ** (exponent - 1) / (exponent - 1)
            potential += inside - atmosphere * area * s
    return kinetic, potential, travel


def _under(event, time, course):
    """Height of the ground under each tyre at one time [m]."""
    _, _, places, sides = course
    return event.road.height(event.speed * time - places)[np.asarray(sides), np.arange(len(sides))]


def _tyre_energy(model, state, road):
    hub = state[3 : 3 + len(model.wheels)]
    squeeze = np.maximum(0.0, model.wheels[:, 4] - (hub - road) / plane_fall(state[1], state[2]))
    return 0.5 * float(np.sum(model.wheels[:, 5] * squeeze**2))


def _bar_energy(model, travel):
    if model.modes < 3:
        return 0.0
    return 0.5 * float(
        model.bars[0] * (travel[0] - travel[1]) ** 2 + model.bars[1] * (travel[2] - travel[3]) ** 2
    )


def _course(event, wheels):
    """The ground and what the driver does, as the kernel reads them."""
    # Each wheel meets the road as far behind the front ones as it stands.
    places = event.approach + wheels[:, 0].max() - wheels[:, 0]
    track = np.array([
        event.speed, event.road.step, event.lateral_steady, event.forward_steady, event.ramp
    ])  # fmt: skip
    sides = np.where(wheels[:, 1] >= 0, 0, 1)
    if sides.size == 1:
        # The length of a tuple is known when compiling, and one wheel then needs no loops.
        sides = (int(sides[0]),)
    return event.road.coefficients, track, places, sides


def drive(
    vehicle, setup=None, *, event, load=None, model="full", corner="front_left", step=STEP,
    temperature=None, keep=2e-3, built=None,
):  # fmt: skip
    """Drive a vehicle through an event.

    Parameters
    ----------
    vehicle : Vehicle
    setup : Setup, optional
    event : Event
    load : str, optional
        Named load; nothing aboard if None.
    model : {"full", "half", "quarter"}
    corner : str
        Which one, for a quarter.
    step : float
        Time step [s].
    temperature : float, optional
        Of oil and gas [K].
    keep : float
        How often a row is kept [s].
    built : _Model, optional
        From `build`, to save building it again.

    Returns
    -------
    Run

    Raises
    ------
    UntrustedRunError
        If a number ran away.
    ValueError
        If the event or model is not one of those known.

    Notes
    -----
    Lagrange's equations of a rigid body with heave, pitch and roll on vertical unsprung masses;
    the potential is the one `suspkit.settle` makes stationary, so rest is the settled stance. Gas
    is adiabatic from there (exponent 1.4), wheels lean with the body, tyres lift off, friction is
    smoothed over `RUB_SPEED`. Lateral and forward acceleration act at the masses and are held by
    the tyres at the ground: no roll centre, no anti-dive. Fixed-step Runge-Kutta of fourth order
    (Press et al., Numerical Recipes, section 17.1), with an energy book in the same steps.
    """
    from suspkit.core import drive_kernel

    of_kind("event", event, Event, "an Event, such as suspkit.events.drop gives")
    step = number("step", step, "time", above=0.0, high=0.1)
    keep = number("keep", keep, "time", above=0.0, high=1e6)
    if event.duration / step > MOST_STEPS:
        raise ValueError(
            f"step is {step:g} s; expected at least {event.duration / MOST_STEPS:.2g} s, which "
            f"makes {MOST_STEPS:,} steps of the {event.duration:g} s of the event"
        )
    setup, load = known_setup(vehicle, setup), known_load(vehicle, load)
    announce(drive_kernel.run)
    ready = built or build(
        vehicle, setup, load=load, model=model, corner=corner, temperature=temperature
    )
    wheels = ready.wheels.shape[0]
    count = max(2, round(event.duration / step))
    stride = max(1, round(keep / step))
    count = -(-count // stride) * stride
    course = _course(event, ready.wheels)
    state = ready.start.copy()
    state[0] += event.drop
    state[3 : 3 + wheels] += event.drop
    if event.drop > 0:
        state = _in_the_air(ready, state)
    kinetic, potential, travel = _stored(ready, state)
    before = kinetic + potential + _bar_energy(ready, travel)
    before += _tyre_energy(ready, state, _under(event, 0.0, course))
    record = np.empty((count // stride + 1, drive_kernel.BODY + drive_kernel.WHEEL * wheels))
    energy = np.empty(4)
    done = drive_kernel.run(
        state, step, stride, count, ready.wheels, ready.body, ready.links,
        ready.steps, ready.cells, *ready.springs, *ready.dampers, ready.gas, ready.friction,
        ready.bars, *course, record, energy,
    )  # fmt: skip
    if done < count:
        what = "turns over" if np.isfinite(state).all() else "leaves all bounds"
        raise UntrustedRunError(
            f"{event.name}: the vehicle {what} after {done * step:.1f} s, so there is no result; "
            "expected a milder event or a slower speed"
        )
    kinetic, potential, travel = _stored(ready, state)
    after = kinetic + potential + _bar_energy(ready, travel)
    after += _tyre_energy(ready, state, _under(event, count * step, course))
    given, damper, friction, tyre = (float(e) for e in energy)
    missing = given - (after - before) - damper - friction - tyre
    # What went through: what was put in and moved, and what was lost on the way.
    through = abs(given) + damper + friction + tyre + 0.5 * abs(after - before)
    audit = abs(missing) / max(through, 1.0)
    body, per_wheel = record[:, : drive_kernel.BODY].T, record[:, drive_kernel.BODY :]
    per_wheel = np.moveaxis(per_wheel.reshape(-1, wheels, drive_kernel.WHEEL), 0, -1)
    run = Run(
        event=event, model=model, corners=ready.corners,
        time=np.arange(record.shape[0]) * step * stride,
        height=body[0], pitch=body[1], roll=body[2], body_acceleration=body[3:6],
        hub_height=per_wheel[:, 0], travel=per_wheel[:, 1], compression=per_wheel[:, 2],
        shaft_speed=per_wheel[:, 3], shaft_force=per_wheel[:, 4], tyre_load=per_wheel[:, 5],
        audit=audit,
        energy={"given": given, "damper": damper, "friction": friction, "tyre": tyre,
                "stored": after - before},
        notes=(),
    )  # fmt: skip
    return replace(run, notes=tuple(_doubts(run, ready)))


def _doubts(run, ready):
    if run.audit > AUDIT_LIMIT:
        yield (
            f"The energy book is open by {100 * run.audit:.2f} %, more than "
            f"{100 * AUDIT_LIMIT:.1f} %: use a shorter step."
        )
    fastest, slowest = run.shaft_speed.max(axis=1), run.shaft_speed.min(axis=1)
    for corner, up, down, (low, high) in zip(
        run.corners, fastest, slowest, ready.limits, strict=True
    ):
        if up > high or down < low:
            worst = up if up > high else down
            yield (
                f"The {corner.name.replace('_', ' ')} shaft moved at {abs(worst):.2f} m/s, past "
                f"the damper's known {abs(high if up > high else low):.2f} m/s."
            )
    if np.abs(run.pitch).max() > 0.6 or np.abs(run.roll).max() > 0.6:
        yield "The body turned past 35 degrees, where the wheels no longer move as assumed."


def _in_the_air(model, state):
    """Wheels at droop hang under a body held at height, at rest: how a drop begins."""
    n = model.wheels.shape[0]
    up = np.cos(state[1]) * np.cos(state[2])
    for i, corner in enumerate(model.corners):
        hang = float(corner.hang_travel)
        ax, ay, az = model.wheels[i, :3]
        body = state[0] - ax * np.sin(state[1]) + ay * np.cos(state[1]) * np.sin(state[2])
        state[3 + i] = body + (az + hang) * up
    # The drop is from tyre to ground, so the lowest tyre sets the height.
    clear = (state[3 : 3 + n] - model.wheels[:, 4] * plane_fall(state[1], state[2])).min()
    wanted = state[0] - model.start[0]
    state[0] += wanted - clear
    state[3 : 3 + n] += wanted - clear
    return state


def seat_acceleration(vehicle, run, *, centre, item="driver"):
    """Upward acceleration where somebody sits, or something lies.

    Parameters
    ----------
    vehicle : Vehicle
    run : Run
    centre : tuple of float
        Centre of gravity: ahead of the front axle, left, above the frame line [m].
    item : str
        Of the vehicle; the centre of gravity if it has none of that name.

    Returns
    -------
    array, shape (t,)
        [m/s^2]

    Notes
    -----
    Of a rigid body turned by small angles: heave - ahead * pitch + left * roll.
    """
    if item not in vehicle.items:
        return run.seat_acceleration()
    place = vehicle.items[item]
    left = place.left_of_centre - centre[1] if run.model == "full" else 0.0
    return run.seat_acceleration(ahead=-place.behind_front_axle - centre[0], left=left)


def error_estimate(vehicle, setup=None, *, event, step=STEP, **options):
    """How far wheel travel changes when the step is halved.

    Parameters
    ----------
    vehicle : Vehicle
    setup : Setup, optional
    event : Event
    step : float
        [s]
    **options
        As for `drive`.

    Returns
    -------
    float
        Largest difference of wheel travel at any kept time [m].
    """
    keep = options.pop("keep", 2e-3)
    step = number("step", step, "time", above=0.0, high=0.1)
    coarse = drive(vehicle, setup, event=event, step=step, keep=keep, **options)
    fine = drive(vehicle, setup, event=event, step=0.5 * step, keep=keep, **options)
    n = min(coarse.time.size, fine.time.size)
    return float(np.abs(coarse.travel[:, :n] - fine.travel[:, :n]).max())


def drive_many(
    vehicle, setups, *, event, load=None, model="full", corner="front_left", step=STEP,
    temperature=None, keep=2e-3, each=None, workers=None,
):  # fmt: skip
    """Drive a vehicle in many set-ups through one event, on all processors.

    Parameters
    ----------
    vehicle : Vehicle
    setups : sequence of Setup
    event : Event
    load : str, optional
        Named load; nothing aboard if None.
    model : {"full", "half", "quarter"}
    corner : str
        Which one, for a quarter.
    step : float
        Time step [s].
    temperature : float, optional
        Of oil and gas [K].
    keep : float
        How often a row is kept [s].
    each : callable, optional
        Takes each `Run` and gives what to keep of it [any unit], for a thousand runs fill the
        memory.
    workers : int, optional
        Threads; one a processor if not given.

    Returns
    -------
    tuple of Run
        In the order of the set-ups, or what ``each`` made of them.

    Raises
    ------
    UntrustedRunError
        If one of them turns over.
    ValueError
        If the event or model is not one of those known.

    Notes
    -----
    Set-ups that differ in numbers only are assembled and settled as one batch; the compiled steps
    run side by side.
    """
    if workers is not None:
        whole("workers", workers, low=1, high=1000)
    _check_model(model, corner)
    load = known_load(vehicle, load)
    if isinstance(setups, (str, Setup)) or not hasattr(setups, "__iter__"):
        refuse("setups", setups, "several set-ups, each a Setup or the name of one")
    setups = tuple(known_setup(vehicle, one, name="setups") for one in setups)
    dampers = {}

    def one(vehicle, setup, corners, stance, row):
        built = build_entry(
            vehicle, setup, corners, stance, row, load=load, model=model, corner=corner,
            temperature=temperature, known_dampers=dampers,
        )  # fmt: skip
        run = drive(vehicle, setup, event=event, model=model, step=step, keep=keep, built=built)
        return run if each is None else each(run)

    waiting = [None] * len(setups)
    with ThreadPoolExecutor(workers or os.cpu_count()) as pool:
        for group in same_parts(setups):
            hot, batch = _warmed(vehicle, batch_of([setups[i] for i in group]), temperature)
            corners = assemble(hot, batch)
            stance = settle(hot, batch, load=load, corners=corners)
            for row, i in enumerate(group):
                waiting[i] = pool.submit(one, hot, setups[i], corners, stance, row)
        try:
            return tuple(job.result() for job in waiting)
        finally:
            pool.shutdown(cancel_futures=True)


def build_entry(
    vehicle, setup, corners, stance, row, *, load=None, model="full", corner="front_left",
    temperature=None, known_dampers=None,
):  # fmt: skip
    """Put one entry of a settled batch into the arrays the kernel runs on.

    Parameters
    ----------
    vehicle : Vehicle
    setup : Setup
        Of this entry alone.
    corners : dict of str to Corner
        Of the batch.
    stance : Stance
        Of the batch, in this load.
    row : int
        Which entry.
    load, model, corner, temperature
        As for `build`.
    known_dampers : dict, optional
        Keeps the dampers worked out before.

    Returns
    -------
    _Model
    """
    made, stood = _row(corners, stance, row, _names(model, corner))
    return _put_together(
        vehicle, setup, made, stood, load=load, model=model, corner=corner,
        temperature=temperature, known_dampers=known_dampers,
    )  # fmt: skip


def same_parts(setups):
    """Which set-ups differ in numbers only, so that they can be one batch.

    Parameters
    ----------
    setups : sequence of Setup

    Returns
    -------
    list of list of int
        Their places, group by group.
    """
    groups = {}
    for i, setup in enumerate(setups):
        parts = tuple((c.stack, c.gap is None, c.ring is None) for c in setup.corners)
        groups.setdefault(parts, []).append(i)
    return list(groups.values())


def batch_of(setups):
    """Set-ups of the same parts as one, its numbers arrays.

    Parameters
    ----------
    setups : sequence of Setup
        As `same_parts` groups them. Clicks are those of the first.

    Returns
    -------
    Setup
    """
    made = {}

    def gather(values):
        """One array for the same numbers, so that left and right are seen to be alike."""
        if values[0] is None:
            return None
        if isinstance(values[0], tuple):
            return made.setdefault(values, tuple(gather(v) for v in zip(*values, strict=True)))
        return made.setdefault(values, np.array(values, dtype=float))

    numbers = ("turns", "gap", "ring")
    corners = {}
    for name in CORNERS:
        each = [getattr(setup, name) for setup in setups]
        corners[name] = replace(
            each[0], **{n: gather(tuple(getattr(one, n) for one in each)) for n in numbers}
        )
    bars = {bar: np.array([getattr(s, bar) for s in setups]) for bar in ("front_bar", "rear_bar")}
    return Setup(**corners, **bars)


def _row(corners, stance, row, names):
    """One entry of a batch: the corners named, and its stance."""

    def pick(value):
        return value if np.ndim(value) == 0 else float(value[row])

    single = {}
    for name in names:
        corner = corners[name]
        one = replace(
            corner, stack=corner.stack.with_caps([pick(r.cap) for r in corner.stack.rings]),
            preload=pick(corner.preload), hang=pick(corner.hang),
            hang_travel=pick(corner.hang_travel), gap=tuple(map(pick, corner.gap)),
            ring=tuple(map(pick, corner.ring)),
        )  # fmt: skip
        # The curves take long to build; the batch has them.
        vars(one).update(stack_curve=corner.stack_curve.pick(row), curve=corner.curve.pick(row))
        single[name] = one
    taken = {
        n: getattr(stance, n)[..., row]
        for n in ("travel", "tyre_load", "wheel_force", "pitch", "roll", "tipped")
    }
    return single, replace(stance, corners=single, **taken)
