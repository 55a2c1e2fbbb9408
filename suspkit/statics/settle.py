"""How a vehicle stands: ride height, rake, loads and what is left of the travel."""

from __future__ import annotations

import os
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, fields
from functools import cached_property

import numpy as np

from suspkit.core.compiled import announce
from suspkit.given import numbers
from suspkit.parts.linkage import kernel_tables
from suspkit.parts.shock import ATMOSPHERE
from suspkit.units import GRAVITY, show
from suspkit.vehicle.corner import Corner, assemble
from suspkit.vehicle.entrance import known_load, known_setup
from suspkit.vehicle.setup import CORNERS

TOLERANCE = 1e-11
"""Out-of-balance force over weight at which a pose counts as settled."""


ROWS_A_WORKER = 500
"""Fewest entries of a batch that are worth a thread of their own (about two milliseconds)."""


LEVEL = 0.0008
"""Difference of ride height that counts as none [m]: half of what a tape can read."""


class NotSettledError(RuntimeError):
    """No balance was found to the tolerance: the result cannot be trusted, so there is none."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Stance:
    """A vehicle at rest on flat ground.

    Arrays with one entry a corner have it on their *first* axis, in the order of
    `suspkit.vehicle.setup.CORNERS`; further axes are the batch of loads and set-ups.

    Attributes
    ----------
    corners : dict of str to Corner
    load : str or sequence of str or None
    height : array, shape (4, ...)
        Measuring point to ground [m].
    travel : array, shape (4, ...)
        Wheel travel from the droop end of the linkage table [m].
    compression : array, shape (4, ...)
        Shock compression from full extension [m].
    shock_force, wheel_force, tyre_load : array, shape (4, ...)
        Along the shaft; of the shock at the wheel; of the ground on the tyre [N].
    wheel_rate, ride_rate : array, shape (4, ...)
        Without and with the tyre in series [N/m] (ride rate as in SAE J670).
    frequency : array, shape (4, ...)
        Undamped ride frequency of the corner [Hz].
    past_crossover : array of bool, shape (4, ...)
        Standing with the last stop ring closed.
    bump_left, droop_left : array, shape (4, ...)
        Wheel travel to full bump, and down to droop hang [m].
    frame_height, pitch, roll : array, shape (...)
        Frame line above ground at the front axle's centre [m]; nose down and left side up
        positive (ISO 8855 axes) [rad].
    front_height, rear_height : array, shape (...)
        Mean of left and right measuring points [m].
    rake : array, shape (...)
        Front less rear ride height at the measuring points, nose high positive [m]; in words by
        `rake_in_words`.
    on_stop, lifted : array of bool, shape (4, ...)
        At full bump; tyre off the ground.
    tipped : array of bool, shape (...)
        No upright balance exists; every number of that entry is nan.
    residual : array, shape (...)
        Largest out-of-balance force or moment, relative to weight.
    """

    corners: dict[str, Corner]
    load: object
    height: np.ndarray
    travel: np.ndarray
    compression: np.ndarray
    shock_force: np.ndarray
    wheel_force: np.ndarray
    tyre_load: np.ndarray
    wheel_rate: np.ndarray
    ride_rate: np.ndarray
    frequency: np.ndarray
    past_crossover: np.ndarray
    bump_left: np.ndarray
    droop_left: np.ndarray
    frame_height: np.ndarray
    pitch: np.ndarray
    roll: np.ndarray
    rake: np.ndarray
    on_stop: np.ndarray
    lifted: np.ndarray
    tipped: np.ndarray
    residual: np.ndarray

    @property
    def front_height(self):
        """Mean front ride height [m]."""
        return 0.5 * (self.height[0] + self.height[1])

    @property
    def rear_height(self):
        """Mean rear ride height [m]."""
        return 0.5 * (self.height[2] + self.height[3])

    def at(self, corner):
        """The numbers of one corner.

        Parameters
        ----------
        corner : str

        Returns
        -------
        dict of str to float or array
        """
        i = CORNERS.index(corner)
        names = (f.name for f in fields(self) if np.ndim(getattr(self, f.name)) >= 1)
        return {n: getattr(self, n)[i] for n in names if np.shape(getattr(self, n))[:1] == (4,)}

    @cached_property
    def bottoming(self):
        """What is left before full bump, as a `Bottoming`."""
        return _bottoming(self)


@dataclass(frozen=True, kw_only=True, eq=False)
class Bottoming:
    """Bottoming reserve of each corner from where it stands; all shapes are (4, ...).

    Attributes
    ----------
    load_factor : array
        Wheel force of springs and gas at full bump over the standing one. The bump stop is left
        out: this is what springs and ring do. nan, as are the next and the last, for a wheel
        that does not stand: one in the air.
    load_factor_with_stop : array
        The same with the bump stop.
    energy : array
        Work from standing to full bump, bump stop included [J].
    drop_height : array
        Height of the tyre above flat ground from which the corner just reaches full bump with no
        damping at all [m], wheel and tyre left out; dampers add to it.
    """

    load_factor: np.ndarray
    load_factor_with_stop: np.ndarray
    energy: np.ndarray
    drop_height: np.ndarray


def rake_in_words(rake, units="us", *, kind="tape"):
    """Which end is high and by how much, as the trade says it.

    Parameters
    ----------
    rake : float
        Front less rear ride height at the measuring points [m].
    units : {"us", "metric"}
    kind : {"tape", "length"}
        As a tape reads it, or in decimals.

    Returns
    -------
    str

    Examples
    --------
    >>> rake_in_words(0.0127), rake_in_words(-0.0127), rake_in_words(0.0005)
    ('nose high by 1/2 in', 'tail high by 1/2 in', 'level')
    """
    rake = float(rake)
    if np.isnan(rake):
        return "no balance"
    if abs(rake) < LEVEL:
        return "level"
    return f"{'nose' if rake > 0 else 'tail'} high by {show(abs(rake), kind, units)}"


def plane_fall(pitch, roll):
    """How far the steepest way down a wheel's plane falls.

    Parameters
    ----------
    pitch, roll : float or array
        Of the body, which the wheels lean with [rad].

    Returns
    -------
    float or array
        Height lost over way: 1 however far it pitches, the cosine of roll without pitch [-].

    Notes
    -----
    The wheel's axle lies along the body's y axis, which rises by cos(pitch) sin(roll); a plane's
    steepest way falls by the cosine of how far its normal is from level.
    """
    return np.sqrt(1.0 - (np.cos(pitch) * np.sin(roll)) ** 2)


def tips_over(load):
    """What to say of a vehicle that cannot be asked more, in one sentence.

    Parameters
    ----------
    load : str or None

    Returns
    -------
    str
    """
    return f"the vehicle tips over at rest with load {load!r}; expected a load it can stand with"


def load_factor(stance):
    """Wheel force of springs and gas at full bump over the standing one, as in `Bottoming`.

    Parameters
    ----------
    stance : Stance

    Returns
    -------
    array, shape (4, ...)
    """
    standing = _standing(stance)
    return _stacked([_at_full_bump(c) / standing[i] for i, c in enumerate(stance.corners.values())])


def _standing(stance):
    """Wheel force of the wheels that stand; nan of one in the air, which only hangs there."""
    return np.where(stance.lifted | ~(stance.wheel_force > 0), np.nan, stance.wheel_force)


def _at_full_bump(corner):
    full = corner.shock.full_bump
    ratio = corner.linkage.motion_ratio(corner.full_bump_travel)
    return (corner.stack_curve(full) + corner.shock.gas_force(full)) * ratio


def _bottoming(stance):
    rows = []
    for i, (corner, standing) in enumerate(
        zip(stance.corners.values(), _standing(stance), strict=True)
    ):
        full = corner.shock.full_bump
        ratio = corner.linkage.motion_ratio(corner.full_bump_travel)
        # Just inside full bump, before metal carries any of it.
        with_stop = corner.force(full)
        here, hang = stance.compression[i], corner.hang
        energy = work(corner, here, full)
        fall = corner.full_bump_travel - corner.hang_travel
        with np.errstate(divide="ignore", invalid="ignore"):
            drop = work(corner, hang, full) / standing - fall
            springs = _at_full_bump(corner) / standing
            rows.append((springs, with_stop * ratio / standing, energy, drop))
    names = [f.name for f in fields(Bottoming)]
    return Bottoming(**{n: _stacked([row[j] for row in rows]) for j, n in enumerate(names)})


def work(corner, start, stop):
    """Work to take a corner's shock from one compression to another, slowly [J].

    Parameters
    ----------
    corner : Corner
    start, stop : float or array
        Shock compression [m].

    Returns
    -------
    float or array

    Notes
    -----
    Exact for the springs; the gas term is the isothermal integral p V ln(V1/V2).
    """
    springs = corner.curve.integral(start, stop)
    gas = corner.shock.gas
    if gas is None:
        return springs
    v1 = gas.volume - gas.rod_area * np.asarray(start)
    v2 = gas.volume - gas.rod_area * np.asarray(stop)
    absolute = (gas.pressure + ATMOSPHERE) * gas.volume
    return springs + absolute * np.log(v1 / v2) - ATMOSPHERE * (v1 - v2)


def _stacked(rows):
    return np.stack(np.broadcast_arrays(*rows))


def settle(vehicle, setup=None, *, load=None, friction=0.0, lateral=0.0, corners=None, masses=None):
    """Let a vehicle come to rest on flat ground, or hold a steady turn on it.

    Parameters
    ----------
    vehicle : Vehicle
    setup : Setup, optional
        The current one if not given. Its numbers may be arrays: a batch of set-ups.
    load : str or sequence of str, optional
        One named load, or several: they become the first batch axis. Nothing aboard if None.
    friction : float, array or dict of str to either
        -1, 0 or 1: how much of each shock's friction holds the vehicle up (positive, as after
        lifting it and letting it down) or keeps it from rising (negative). Broadcasts against
        the batch. By corner if they are not all alike.
    lateral : float or array
        Steady acceleration to the left, as in a left-hand turn [m/s^2]. Broadcasts against the
        batch.
    corners : dict of str to Corner, optional
        The assembled corners, to save assembling them again.
    masses : Masses, optional
        The sprung mass, instead of that of a named load. Its arrays broadcast against the batch.

    Returns
    -------
    Stance

    Raises
    ------
    NotSettledError
        If the balance cannot be found to a residual below 1e-9.
    ValueError
        If the load has no such name, or ``lateral`` is not finite.

    Notes
    -----
    The sprung mass is a rigid body with heave, pitch and roll; the wheels move square to the frame
    and lean with it. A wheel is a disc: with its hub at height h its tyre is squeezed by R - h /
    sqrt(1 - cos(pitch)^2 sin(roll)^2), so it touches straight below its hub however far the body
    pitches, and only lean moves its foot. It carries vertical load only and can lift. Bars act on
    the left-right difference of wheel travel. At rest the potential energy of gravity, shocks,
    tyres and bars is stationary in those seven unknowns; its gradient is the free-body balance,
    solved by Newton's method with a line search (Nocedal and Wright, Numerical Optimization, ch.
    3). Rotations are exact. In a turn the inertia of every mass at its height is held by the tyres
    at the ground, as in `suspkit.drive`: no roll centre, no tyre scrub. With a wheel in the air a
    turn can have two balances; found is the one that is reached by entering it slowly from the
    straight.

    Examples
    --------
    >>> from suspkit import example
    >>> stance = settle(example("unit7"), load=["bare", "patrol", "carry-out"])
    >>> stance.rear_height.round(2).tolist()  # ride height in each load [m]
    [0.41, 0.35, 0.27]
    """
    from suspkit.core import settle_kernel

    announce(settle_kernel.settle_many)
    setup, load = known_setup(vehicle, setup), known_load(vehicle, load, several=True)
    corners = assemble(vehicle, setup) if corners is None else corners
    own_masses = masses is not None
    masses = masses if own_masses else vehicle.masses(load)
    each = [corners[name] for name in CORNERS]
    axles = [vehicle.front, vehicle.front, vehicle.rear, vehicle.rear]
    curves = [c.curve for c in each]

    setups = np.broadcast_shapes(*(c.x.shape[:-1] for c in curves))
    if not isinstance(friction, dict):
        friction = dict.fromkeys(CORNERS, friction)
    friction = {name: numbers("friction", friction.get(name, 0.0)) for name in CORNERS}
    lateral = numbers(
        "lateral", lateral, "acceleration", empty=True, expected="a finite acceleration of m/s^2"
    )
    batch = np.broadcast_shapes(setups, *(f.shape for f in friction.values()), lateral.shape)
    loads = np.broadcast_shapes(*(np.shape(part) for part in vars(masses).values()))
    if own_masses:
        loads, batch = (), np.broadcast_shapes(loads, batch)
    shape = loads + batch
    count = int(np.prod(shape, dtype=int))

    def spread(value, axes):
        """Give a value with these batch axes the full batch, flattened."""
        value = np.asarray(value, dtype=float)
        if axes == "loads" and loads:
            value = value.reshape(loads + (1,) * len(batch))
        return np.ascontiguousarray(np.broadcast_to(value, shape)).reshape(count)

    knots = max(c.x.shape[-1] for c in curves)
    x, y = np.empty((count, 4, knots)), np.empty((count, 4, knots))
    before, after = np.empty((count, 4)), np.empty((count, 4))
    for i, curve in enumerate(curves):
        if i % 2 and curve is curves[i - 1]:
            for target in (x, y, before, after):
                target[:, i] = target[:, i - 1]
            continue
        pad = knots - curve.x.shape[-1]
        for target, source in ((x, curve.x), (y, curve.y)):
            source = np.concatenate([source, np.repeat(source[..., -1:], pad, axis=-1)], axis=-1)
            target[:, i] = np.broadcast_to(source, shape + (knots,)).reshape(count, knots)
        before[:, i] = spread(curve.slope_before, "setups")
        after[:, i] = spread(curve.slope_after, "setups")

    weight = masses.mass * GRAVITY
    body = np.stack(
        [
            spread(weight, "loads"),
            spread(-np.asarray(masses.behind_front_axle), "loads"),
            spread(masses.left_of_centre, "loads"),
            spread(masses.above_frame, "loads"),
            spread(lateral / GRAVITY, "setups"),
        ],
        axis=-1,
    )
    sides = (0.5, -0.5, 0.5, -0.5)
    wheels = np.array(
        [
            (
                0.0 if i < 2 else -vehicle.wheelbase,
                side * axle.track,
                -axle.hub_below_frame,
                axle.unsprung_mass * GRAVITY,
                axle.tyre.radius,
                axle.tyre.rate,
            )
            for i, (axle, side) in enumerate(zip(axles, sides, strict=True))
        ]
    )
    gas = np.array([vehicle.front.shock.gas_numbers, vehicle.rear.shock.gas_numbers])
    drag = [spread(held * vehicle.friction_of(name), "setups") for name, held in friction.items()]
    drag = np.stack(drag, axis=-1)
    connected = (setup.front_bar, setup.rear_bar)
    bars = np.stack(
        [
            spread((axle.bar.wheel_rate if axle.bar else 0.0) * np.asarray(on, float), "setups")
            for axle, on in zip((vehicle.front, vehicle.rear), connected, strict=True)
        ],
        axis=-1,
    )
    steps, cells, coefficients = kernel_tables([vehicle.front.motion, vehicle.rear.motion])

    def rows(part):
        return settle_kernel.settle_many(
            body[part], wheels, gas, steps, cells, coefficients, x[part], y[part], before[part],
            after[part], drag[part], bars[part], vehicle.wheelbase, TOLERANCE,
        )  # fmt: skip

    pose, seen, residual, state = _shared_out(rows, count)
    lost = (state == 2) & ~(residual <= 1e-9)  # one that is not a number is none
    if lost.any():
        first = int(np.flatnonzero(lost)[0])
        raise NotSettledError(
            f"no balance found for entry {first} of {count}: residual {residual[first]:.1e}, "
            "expected below 1e-9"
        )
    tipped = state == 1
    for found in (pose, seen, residual):
        found[tipped] = np.nan
    pose = np.moveaxis(pose, -1, 0).reshape((7,) + shape)
    seen = np.moveaxis(seen, 0, -1).reshape((4, 6) + shape)
    return _stance(
        vehicle, corners, load, pose, seen, residual.reshape(shape), tipped.reshape(shape)
    )


def height_band(vehicle, setup=None, *, load=None, corners=None):
    """Between what heights friction lets the vehicle come to rest.

    Parameters
    ----------
    vehicle : Vehicle
    setup : Setup, optional
    load : str or sequence of str, optional
    corners : dict of str to Corner, optional

    Returns
    -------
    low, high : array, shape (4, ...)
        Ride height with every shock's friction holding the vehicle down, then up [m]. A tape
        reading after rolling the vehicle lies between the two.

    Notes
    -----
    Each end is settled as in `settle`, the friction of all shocks at its limit one way.
    """
    setup, load = known_setup(vehicle, setup), known_load(vehicle, load, several=True)
    corners = assemble(vehicle, setup) if corners is None else corners
    batch = np.broadcast_shapes(*(c.curve.x.shape[:-1] for c in corners.values()))
    ends = np.array([-1.0, 1.0]).reshape((2,) + (1,) * len(batch))
    stance = settle(vehicle, setup, load=load, friction=ends, corners=corners)
    axis = stance.height.ndim - len(batch) - 1
    low, high = np.moveaxis(stance.height, axis, 0)
    return low, high


def _shared_out(rows, count):
    """Run the compiled core over a batch, a part on each processor where that pays."""
    workers = min(os.cpu_count() or 1, count // ROWS_A_WORKER)
    if workers < 2:
        return rows(slice(None))
    ends = np.linspace(0, count, workers + 1).astype(int)
    parts = [slice(a, b) for a, b in zip(ends[:-1], ends[1:], strict=True)]
    with ThreadPoolExecutor(workers) as pool:
        return [np.concatenate(done) for done in zip(*pool.map(rows, parts), strict=True)]


def _stance(vehicle, corners, load, pose, seen, residual, tipped):
    heave, pitch, roll, travel = pose[0], pose[1], pose[2], pose[3:]
    compression, ratio, bend, force, rate, tyre_load = np.moveaxis(seen, 1, 0)

    def each(number):
        """One number a corner, set against the batch axes."""
        values = np.broadcast_arrays(*(number(name, c) for name, c in corners.items()))
        values = np.stack(values)
        return values.reshape((4,) + (1,) * (travel.ndim - values.ndim) + values.shape[1:])

    axle = vehicle.axle_of
    x = each(lambda name, c: -axle(name).point.behind_front_axle)
    y = each(lambda name, c: axle(name).point.left_of_centre * (-1) ** name.endswith("right"))
    z = each(lambda name, c: axle(name).point.above_frame)
    height = heave - x * np.sin(pitch) + np.cos(pitch) * (y * np.sin(roll) + z * np.cos(roll))
    held = force  # friction is in it: it is what the balance holds with
    tyre_rate = each(lambda name, c: axle(name).tyre.rate)
    wheel_rate = rate * ratio**2 + held * bend
    with np.errstate(invalid="ignore", divide="ignore"):
        ride_rate = wheel_rate * tyre_rate / (wheel_rate + tyre_rate)
        sprung = held * ratio / GRAVITY
        frequency = np.sqrt(np.maximum(ride_rate, 0.0) / sprung) / (2 * np.pi)
    front, rear = height[:2].mean(axis=0), height[2:].mean(axis=0)
    return Stance(
        corners=corners,
        load=load,
        height=height,
        travel=travel,
        compression=compression,
        shock_force=held,
        wheel_force=held * ratio,
        tyre_load=tyre_load,
        wheel_rate=wheel_rate,
        ride_rate=ride_rate,
        frequency=frequency,
        past_crossover=compression >= each(lambda name, c: c.crossover),
        bump_left=each(lambda name, c: c.full_bump_travel) - travel,
        droop_left=travel - each(lambda name, c: c.hang_travel),
        frame_height=heave,
        pitch=pitch,
        roll=roll,
        rake=front - rear,
        on_stop=compression >= each(lambda name, c: c.shock.full_bump),
        lifted=tyre_load <= 0.0,
        tipped=tipped,
        residual=residual,
    )
