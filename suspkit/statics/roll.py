"""How a vehicle leans in a steady turn: roll stiffness, who carries it, and what the bar is for."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from suspkit.given import number, numbers, refuse
from suspkit.statics.settle import Stance, settle, tips_over
from suspkit.units import GRAVITY, show, tape
from suspkit.vehicle.corner import assemble
from suspkit.vehicle.entrance import known_load, known_setup
from suspkit.vehicle.setup import AXLES, CORNERS

CAUTION = (
    "Not a safety rating, and no promise about rollover: this is a rigid body on firm level ground "
    "in a steady turn. Holes, side slopes, a wheel that trips, a load that shifts and what the "
    "driver does tip a vehicle sooner."
)

MORE_ROLL = 0.25
SHARE_POINTS = 0.05
"""How much more roll, and how far the front share of the load transfer may move, before the bar is
missed: our own judgement, no source."""

SMALL = 0.05
"""Lateral acceleration that counts as next to none [m/s^2]."""

POINTS = 49
"""Bar shares, and stop gaps, a sweep looks at."""


@dataclass(frozen=True, kw_only=True, eq=False)
class RollStiffness:
    """Roll stiffness by axle: front, then rear, on the first axis; further axes are the batch.

    Attributes
    ----------
    springs, bar, tyres : array, shape (2, ...)
        What each gives alone [N m/rad]: springs with gas and linkage at their rate there.
    """

    springs: np.ndarray
    bar: np.ndarray
    tyres: np.ndarray

    @property
    def suspension(self):
        """Springs and bar, which work side by side [N m/rad]."""
        return self.springs + self.bar

    @property
    def total(self):
        """Springs and bar on the tyres, in series [N m/rad]."""
        return self.suspension * self.tyres / (self.suspension + self.tyres)

    @property
    def front_share(self):
        """The front axle's part of the total."""
        return self.total[0] / self.total.sum(axis=0)


@dataclass(frozen=True, kw_only=True, eq=False)
class RollBalance:
    """A vehicle in steady turns. Arrays over ``lateral`` have its shape on their last axes.

    Attributes
    ----------
    load : str or None
    lateral : float or array
        Acceleration to the left [m/s^2].
    standing, turning : Stance
        At rest, and in the turns.
    at_rest, in_turn : RollStiffness
        Local stiffness in each.
    angle : array
        Lean away from how it stands, left side up [rad].
    angle_per_g : float
        Of it, per g of acceleration, where it stands [rad].
    transfer : array, shape (2, ...)
        Load that front and rear axle take from their left tyre to their right one [N].
    front_share : array
        The front axle's part of the load transfer [-].
    centre_height : float
        Of the centre of all masses, wheels included, above ground [m].
    stability_factor : float
        Static stability factor, as of a rigid body [-].
    caution : str
    """

    load: str | None
    lateral: float | np.ndarray
    standing: Stance
    turning: Stance
    at_rest: RollStiffness
    in_turn: RollStiffness
    angle: np.ndarray
    angle_per_g: float
    transfer: np.ndarray
    front_share: np.ndarray
    centre_height: float
    stability_factor: float
    caution: str = CAUTION
    _turn: object = None

    @property
    def lift(self):
        """Acceleration at which each wheel lifts in the turn that has it inside [m/s^2]."""
        return self._ends[0]

    @property
    def tip(self):
        """Largest acceleration with a balance, in a left and in a right turn [m/s^2]."""
        return self._ends[1]

    @cached_property
    def _ends(self):
        return _edges(self._turn, top=1.5 * self.stability_factor * GRAVITY)


def roll_stiffness(vehicle, setup, stance):
    """Roll stiffness of each axle as it stands or leans, split by what gives it.

    Parameters
    ----------
    vehicle : Vehicle
    setup : Setup
        Says which bars are on.
    stance : Stance
        Settled, in any batch.

    Returns
    -------
    RollStiffness

    Notes
    -----
    Per turn of the body against the ground under a pure couple: two springs a track t apart act in
    series, t^2 k1 k2 / (k1 + k2), which for equal ones is the textbooks' t^2 k / 2 (Gillespie,
    Fundamentals of Vehicle Dynamics, ch. 6, from memory); a bar beside them adds t^2 times its
    rate at the wheel; tyres come in series. A lifted tyre gives nothing.
    """
    axles = (vehicle.front, vehicle.rear)
    batch = stance.wheel_rate.shape[1:]

    def by_axle(values):
        return np.stack([np.broadcast_to(np.asarray(v, dtype=float), batch) for v in values])

    def in_series(rate):
        left, right = rate[0::2], rate[1::2]
        return left * right / (left + right)

    track = by_axle(axle.track for axle in axles)
    tyres = by_axle(axle.tyre.rate for axle in axles)
    tyres = np.where(stance.lifted, 1e-300, np.repeat(tyres, 2, axis=0))
    on = (setup.front_bar, setup.rear_bar)
    bars = by_axle(
        (axle.bar.wheel_rate if axle.bar else 0.0) * np.asarray(share, dtype=float)
        for axle, share in zip(axles, on, strict=True)
    )
    return RollStiffness(
        springs=track**2 * in_series(stance.wheel_rate),
        bar=track**2 * bars,
        tyres=track**2 * in_series(tyres),
    )


def static_stability_factor(*, track, height):
    """Half the track over the height of the centre of gravity.

    Parameters
    ----------
    track : float or array
        Mean of front and rear [m].
    height : float or array
        Of the centre of all masses above ground [m].

    Returns
    -------
    float or array
        Pure number: lateral acceleration, in g, that tips a rigid body [-].

    Notes
    -----
    T / 2h, as the US road-safety agency NHTSA defines it for road cars. Springs and tyres let the
    body lean, so a real vehicle tips below it.
    """
    return 0.5 * track / height


def roll_balance(vehicle, setup=None, *, load=None, lateral=3.0):
    """How a vehicle leans in steady turns, and which axle carries it.

    Parameters
    ----------
    vehicle : Vehicle
    setup : Setup, optional
        One set-up; the current one if not given.
    load : str, optional
        Named load; nothing aboard if None.
    lateral : float or array
        Acceleration to the left, as in a left-hand turn [m/s^2]; below zero to the right.

    Returns
    -------
    RollBalance
        Numbers past tipping are nan.

    Raises
    ------
    ValueError
        If ``lateral`` is not finite, if set-up or load is a batch, or if the vehicle tips over at
        rest.

    Notes
    -----
    Each state is settled exactly (`suspkit.settle`), so a ring that opens, a bump stop or a wheel
    that lifts counts from where it happens; the stiffness is the local slope. As there: no roll
    centre, so springs and bars take the whole moment, and wheels lean with the frame, each
    standing straight down its own plane. In the linear limit this is m d / (k - m g d) with the
    height d of the centre of all masses (Barton and Fieldhouse, Automotive Chassis Engineering,
    Eq. 3.18).
    """
    setup, load = known_setup(vehicle, setup), known_load(vehicle, load)
    lateral = numbers("lateral", lateral, "acceleration", expected="a finite acceleration of m/s^2")
    corners = _one_case(vehicle, setup, load)

    def turn(at):
        return settle(vehicle, setup, load=load, lateral=at, corners=corners)

    standing = settle(vehicle, setup, load=load, corners=corners)
    if standing.tipped:
        raise ValueError(tips_over(load))
    turning, beside = turn(lateral), turn(np.array([-SMALL, SMALL]))
    moved = _transfer(beside)
    moved = moved[:, 1] - moved[:, 0]
    rest = _transfer(standing).reshape((2,) + (1,) * lateral.ndim)
    transfer = _transfer(turning) - rest
    with np.errstate(invalid="ignore", divide="ignore"):
        share = np.where(lateral == 0, moved[0] / moved.sum(), transfer[0] / transfer.sum(axis=0))
    height = _centre_height(vehicle, load, standing)
    track = 0.5 * (vehicle.front.track + vehicle.rear.track)
    return RollBalance(
        load=load,
        lateral=lateral[()],
        standing=standing,
        turning=turning,
        at_rest=roll_stiffness(vehicle, setup, standing),
        in_turn=roll_stiffness(vehicle, setup, turning),
        angle=turning.roll - standing.roll,
        angle_per_g=float((beside.roll[1] - beside.roll[0]) / (2 * SMALL) * GRAVITY),
        transfer=transfer,
        front_share=share[()],
        centre_height=height,
        stability_factor=static_stability_factor(track=track, height=height),
        _turn=turn,
    )


def _one_case(vehicle, setup, load):
    """The corners assembled, if set-up and load are one of each."""
    corners = assemble(vehicle, setup)
    batch = np.broadcast_shapes(*(c.curve.x.shape[:-1] for c in corners.values()))
    if batch or not (load is None or isinstance(load, str)):
        raise ValueError(
            f"set-up and load are a batch of {batch or load}; expected one set-up and one load"
        )
    return corners


def _transfer(stance):
    """Half the right tyre's load less the left one's, by axle [N]."""
    return 0.5 * (stance.tyre_load[1::2] - stance.tyre_load[0::2])


def _centre_height(vehicle, load, stance):
    """Height of the centre of all masses above ground [m]."""
    masses = vehicle.masses(load)
    parts = [(masses.mass, -masses.behind_front_axle, masses.left_of_centre, masses.above_frame)]
    for i, name in enumerate(CORNERS):
        axle, ahead = vehicle.axle_of(name), 0.0 if i < 2 else -vehicle.wheelbase
        left = 0.5 * axle.track * (-1) ** i
        parts.append((axle.unsprung_mass, ahead, left, stance.travel[i] - axle.hub_below_frame))
    mass, x, y, z = np.array(parts, dtype=float).T
    pitch, roll = stance.pitch, stance.roll
    up = stance.frame_height - x * np.sin(pitch)
    up += np.cos(pitch) * (y * np.sin(roll) + z * np.cos(roll))
    return float(mass @ up / mass.sum())


def _edges(turn, *, top):
    """Accelerations at which each wheel lifts on the inside, and at which the vehicle tips."""
    # Left wheels are inside in a left turn, right ones in a right turn; then the two tips.
    wheel, turns = [0, 1, 2, 3], [0, 1, 0, 1, 0, 1]
    side = np.array([1.0, -1.0])[:, None]

    def search(at, over):
        """Between which of the places at hand each of the six begins, from what is over there."""
        over = np.pad(over, ((0, 0), (1, 1)), constant_values=((0, 0), (0, 1)))
        first = over.argmax(axis=1)
        return at[range(6), first - 1], at[range(6), first]

    def over(stance, rows):
        lifted = [stance.lifted[i, rows[i]] for i in wheel]
        return np.stack([*lifted, *np.zeros((2, *lifted[0].shape), bool)]) | stance.tipped[rows]

    at = np.linspace(0.0, top, 33)
    low, high = search(np.tile(at, (6, 1)), over(turn(side * at[1:-1]), turns))
    while np.max(high - low) > 1e-5 * top:
        at = np.linspace(low, high, 9, axis=1)
        low, high = search(at, over(turn(side[turns] * at[:, 1:-1]), np.arange(6)))
    return low[:4], low[4:]


@dataclass(frozen=True, kw_only=True, eq=False)
class BarOffLimit:
    """How far the front bar may come off before roll or balance leaves the band.

    Attributes
    ----------
    lateral : float
        The turn it is judged in [m/s^2].
    more_roll, share_points : float
        The band: part more roll, and move of the front share of the load transfer [-].
    roll, front_share : float
        With the whole bar: lean per g [rad], front part of the load transfer [-].
    shares, share_roll, share_front : array, shape (n,)
        Part of the bar left on, from none to all, and the two numbers with it [-, rad, -].
    least_bar : float
        Least part of the bar that stays in the band [-].
    least_arm : float
        Arm length that makes the present bar so soft [m]; infinite if none of it is needed.
    gaps, gap_roll, gap_front, gap_height : array, shape (m,)
        Front stop gap [m] with the bar off, and the two numbers with it [rad, -]; rise of the
        front ride height against now [m]. Empty if the front has not exactly one ring.
    gap_range : tuple of float or None
        Stop gaps that stay in the band with the bar off [m], the lowest run of them; None if
        none does.
    ok : bool
        The bar may come off as the vehicle is set up.
    message : str
        The answer in plain sentences.
    caution : str
    """

    lateral: float
    more_roll: float
    share_points: float
    roll: float
    front_share: float
    shares: np.ndarray
    share_roll: np.ndarray
    share_front: np.ndarray
    least_bar: float
    least_arm: float
    gaps: np.ndarray
    gap_roll: np.ndarray
    gap_front: np.ndarray
    gap_height: np.ndarray
    gap_range: tuple | None
    ok: bool
    message: str
    caution: str = CAUTION


def bar_off_limit(
    vehicle, setup=None, *, load=None, lateral=3.0, more_roll=MORE_ROLL, share_points=SHARE_POINTS
):
    """How far the front anti-roll bar may come off, and whether the stop ring makes up for it.

    Parameters
    ----------
    vehicle : Vehicle
    setup : Setup, optional
        One set-up; with its front bar on it is what the others are measured against.
    load : str, optional
        Named load; nothing aboard if None.
    lateral : float
        The turn to judge in [m/s^2]; for slow ground, about that of a side slope as steep.
    more_roll : float
        Lean that may be added, as a part of what there is with the bar [-].
    share_points : float
        How far the front share of the load transfer may move, either way [-].

    Returns
    -------
    BarOffLimit

    Raises
    ------
    ValueError
        If there is no front bar, the band is not above zero, ``lateral`` is zero or not finite,
        or a wheel lifts there with the bar on.

    Notes
    -----
    Roll is the lean at ``lateral`` over it, from standing. The band is our own judgement, no
    source. A softer bar of the same shape has longer arms: its rate goes with 1 / arm^2. The gap
    is swept with the present turns, so the ride height moves with it.
    """
    setup, load = known_setup(vehicle, setup), known_load(vehicle, load)
    if vehicle.front.bar is None:
        raise ValueError("front.bar is missing; expected a vehicle with a front anti-roll bar")
    more_roll = number("more_roll", more_roll, "ratio", above=0.0)
    share_points = number("share_points", share_points, "ratio", above=0.0)
    lateral = number("lateral", lateral, "acceleration")
    if lateral == 0:
        refuse("lateral", lateral, "an acceleration other than zero")
    corners = _one_case(vehicle, setup, load)

    def measure(share, corners=corners):
        return _roll_and_share(vehicle, setup, load, lateral, np.asarray(share), corners)

    shares = np.linspace(0.0, 1.0, POINTS)
    share_roll, share_front, lifted = measure(shares)
    roll, front = float(share_roll[-1]), float(share_front[-1])
    if not np.isfinite(roll) or lifted[-1]:
        raise ValueError(
            f"lateral is {show(lateral, 'acceleration')}, which lifts a wheel with the bar on; "
            "expected a gentler turn"
        )

    def room(roll_now, front_now):
        """What is left of the band, as a part of it; below zero outside."""
        of_roll = 1 - (roll_now / roll - 1) / more_roll
        return np.minimum(of_roll, 1 - np.abs(front_now - front) / share_points)

    def edge(read, inside, outside):
        """Where the band ends between a place inside it and one outside."""
        from scipy.optimize import brentq

        return float(brentq(lambda at: float(room(*read(at)[:2])), inside, outside, xtol=1e-9))

    outside = np.flatnonzero(~(room(share_roll, share_front) >= 0))
    least = 0.0
    if outside.size:
        least = edge(measure, shares[outside[-1] + 1], shares[outside[-1]])
    arm = vehicle.front.bar.arm / np.sqrt(least) if least > 0 else np.inf

    def opened(gap):
        return assemble(vehicle, setup.change("front", gap=gap), refuse_solid=False)

    gap_roll, gap_front, gap_height, gap_range = *(np.empty(0),) * 3, None
    gaps = _front_gaps(corners, opened)
    if gaps.size:
        made = opened(gaps)
        gap_roll, gap_front, _ = measure(0.0, made)
        now = settle(vehicle, setup, load=load, corners=corners).front_height
        gap_height = settle(vehicle, setup, load=load, corners=made).front_height - now
        inside = room(gap_roll, gap_front) >= 0
        if inside.any():
            first = int(np.argmax(inside))
            last = first + int(np.argmin(np.append(inside[first:], False))) - 1
            gap_range = tuple(
                edge(lambda at: measure(0.0, opened(at)), gaps[i], gaps[j])
                if 0 <= j < gaps.size and np.isfinite(gap_roll[j])
                else float(gaps[i])
                for i, j in ((first, first - 1), (last, last + 1))
            )
    found = BarOffLimit(
        lateral=float(lateral), more_roll=float(more_roll), share_points=float(share_points),
        roll=roll, front_share=front, shares=shares, share_roll=share_roll,
        share_front=share_front, least_bar=least, least_arm=float(arm), gaps=gaps,
        gap_roll=gap_roll, gap_front=gap_front, gap_height=gap_height, gap_range=gap_range,
        ok=not least, message="",
    )  # fmt: skip
    return replace(found, message=_in_words(found, vehicle.front.bar))


def _front_gaps(corners, opened):
    """Stop gaps that the front ring's thread allows, springs not solid; none without one ring."""
    left, right = (corners[name] for name in AXLES["front"])
    if not len(left.gap) == len(right.gap) == 1:
        return np.empty(0)
    low, high = (float(limit) for limit in left.gap_limits(0))
    gaps = np.linspace(low, max(low, high), POINTS)
    return gaps[~opened(gaps)["front_left"].solid]


def _roll_and_share(vehicle, setup, load, lateral, share, corners):
    """Lean per g, front part of the load transfer, and whether a wheel lifts; in any batch."""
    batch = np.broadcast_shapes(share.shape, *(c.curve.x.shape[:-1] for c in corners.values()))
    at = np.zeros((2, *batch))
    at[1] = lateral
    # `settle` takes the bar by the part of it that is on.
    setup = replace(setup, front_bar=share)
    stance = settle(vehicle, setup, load=load, lateral=at, corners=corners)
    transfer = _transfer(stance)
    front, rear = transfer[:, 1] - transfer[:, 0]
    roll = (stance.roll[1] - stance.roll[0]) / lateral * GRAVITY
    return roll, front / (front + rear), stance.lifted[:, 1].any(axis=0)


def _in_words(found, bar):
    """The answer of `bar_off_limit`."""

    def angle(value):
        return f"{show(value, 'angle')} per g"

    more = found.share_roll[0] / found.roll - 1
    said = [
        f"At {abs(found.lateral) / GRAVITY:.2f} g it leans {angle(found.roll)} with the front bar "
        f"and {angle(found.share_roll[0])} without ({more:.0%} more); the front takes "
        f"{found.front_share:.0%} of the load transfer with it and {found.share_front[0]:.0%} "
        "without."
    ]
    band = f"{found.more_roll:.0%} more lean and {100 * found.share_points:.0f} points of balance"
    if found.ok:
        said.append(f"Both stay within {band}: the front bar may come off.")
    else:
        said.append(
            f"That is outside {band}: at least {found.least_bar:.0%} of the bar is needed, as with "
            f"arms of {show(found.least_arm, 'length')} instead of {show(bar.arm, 'length')}."
        )
    if found.gap_range is not None:
        low, high = (tape(gap) for gap in found.gap_range)
        said.append(
            f"With the bar off and these turns a stop gap from {low} to {high} keeps both; it "
            "moves the ride height, so check that again."
        )
    elif found.gaps.size:
        low, high = tape(found.gaps[0]), tape(found.gaps[-1])
        said.append(f"With the bar off no stop gap from {low} to {high} brings both back.")
    return " ".join(said)
