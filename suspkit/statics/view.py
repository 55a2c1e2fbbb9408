"""What there is to see of a vehicle as set: curves and places, computed once for any chart."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from suspkit.statics.settle import Stance, rake_in_words, settle
from suspkit.units import show, tape
from suspkit.vehicle.corner import THREAD_SLACK, Corner, assemble
from suspkit.vehicle.entrance import known_setup
from suspkit.vehicle.setup import AXLES, ROWS, Setup
from suspkit.vehicle.vehicle import Vehicle

POINTS = 161
"""Samples of a curve between its exact knots; enough for a screen's width."""

TIPPED = "No upright balance: the load tips the vehicle over."

STATES = ("droop", "ride", "bump")
"""Where the cut-away is drawn: droop hang, standing in the load, full bump."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Cutaway:
    """Places along one shock, down from the collar's seat run fully up; all in metres.

    Attributes
    ----------
    compression : float
        Of the shock [m].
    collar : float
        The collar's seat [m].
    springs : tuple of (float, float)
        Top and bottom of each spring [m].
    dividers : tuple of float
        Visible edge of each divider (the bottom of the spring above it, unless that is
        loose) [m].
    rings : tuple of (int, float)
        Index of the divider each stop ring catches, and the ring's catching face as the tape sees
        it.
    gaps : tuple of float
        Tape reading of each stop gap here, zero or less when closed [m].
    retainer : float
        The retainer's seat [m].
    closed : tuple of bool
        Whether each ring is met.
    """

    compression: float
    collar: float
    springs: tuple
    dividers: tuple
    rings: tuple
    gaps: tuple
    retainer: float
    closed: tuple


@dataclass(frozen=True, kw_only=True, eq=False)
class AxleView:
    """One axle (its left corner) ready to draw; SI throughout.

    Attributes
    ----------
    name : str
    corner : Corner
    compression, force, spring_force : array, shape (n,)
        Shock compression from droop hang to full bump [m]; shock and spring force [N].
    no_ring_force : array, shape (n,)
        Shock force if no ring were ever met [N].
    squeeze : array, shape (springs, n)
        How far each spring is squeezed [m].
    travel, wheel_force, wheel_rate : array, shape (m,)
        Wheel travel [m], wheel force [N], wheel rate [N/m]; two points stand at each kink.
    ride, ride_travel : float
        Shock compression and wheel travel standing in the load [m].
    crossover, crossover_travel : float
        The same where the ring is met; nan if not before full bump [m].
    height : float
        Mean ride height of the axle [m].
    cutaways : dict of str to Cutaway
        By state of `STATES`.
    """

    name: str
    corner: Corner
    compression: np.ndarray
    force: np.ndarray
    spring_force: np.ndarray
    no_ring_force: np.ndarray
    squeeze: np.ndarray
    travel: np.ndarray
    wheel_force: np.ndarray
    wheel_rate: np.ndarray
    ride: float
    ride_travel: float
    crossover: float
    crossover_travel: float
    height: float
    cutaways: dict


@dataclass(frozen=True, kw_only=True, eq=False)
class View:
    """A vehicle in one set-up and load, ready to draw.

    Attributes
    ----------
    vehicle : Vehicle
    setup : Setup
    load : str
    stance : Stance
    axles : dict of str to AxleView
        "front" and "rear".
    """

    vehicle: Vehicle
    setup: Setup
    load: str
    stance: Stance
    axles: dict


def look(vehicle, setup=None, *, load):
    """Compute everything the charts show.

    Parameters
    ----------
    vehicle : Vehicle
    setup : Setup, optional
    load : str

    Returns
    -------
    View
    """
    setup = known_setup(vehicle, setup)
    corners = assemble(vehicle, setup)
    stance = settle(vehicle, setup, load=load, corners=corners)
    axles = {name: _axle_view(name, corners, stance) for name in AXLES}
    return View(vehicle=vehicle, setup=setup, load=load, stance=stance, axles=axles)


def _axle_view(name, corners, stance):
    corner = corners[AXLES[name][0]]
    first = ROWS[name].start
    shock, linkage = corner.shock, corner.linkage
    full, hang = shock.full_bump, float(corner.hang)
    knots = corner.curve.x[(corner.curve.x > hang) & (corner.curve.x < full)]
    compression = np.union1d(np.linspace(hang, full, POINTS), knots)
    gas = shock.gas_force(compression)
    springs = corner.stack_curve(compression)
    limits = shock.limits(compression)
    open_stack = corner.stack.with_caps([np.inf] * len(corner.stack.rings))
    no_ring = open_stack.curve(compression + corner.seat)
    # The rate jumps at a knot: one point each side keeps the step square.
    sides = np.concatenate([compression, np.nextafter(knots, -np.inf)])
    sides.sort()
    travel = linkage.travel(sides)
    met = float(corner.crossover)
    crossed = met if met < full else np.nan
    ride = float(stance.compression[first])
    return AxleView(
        name=name,
        corner=corner,
        compression=compression,
        force=springs + gas + limits,
        spring_force=springs,
        no_ring_force=np.where(np.isfinite(no_ring), no_ring, np.nan) + gas + limits,
        squeeze=corner.stack.deflections(compression + corner.seat),
        travel=travel,
        wheel_force=linkage.wheel_force(travel, force=corner.force(sides)),
        wheel_rate=linkage.wheel_rate(travel, force=corner.force(sides), rate=corner.rate(sides)),
        ride=ride,
        ride_travel=float(stance.travel[first]),
        crossover=crossed,
        crossover_travel=float(linkage.travel(crossed)) if np.isfinite(crossed) else np.nan,
        height=float(stance.front_height if name == "front" else stance.rear_height),
        cutaways={
            state: cutaway_at(corner, at)
            for state, at in zip(STATES, (hang, ride, full), strict=True)
        },
    )


def cutaway_at(corner, compression):
    """Where everything along a shock is at one compression.

    Parameters
    ----------
    corner : Corner
    compression : float
        Of the shock [m].

    Returns
    -------
    Cutaway
    """
    stack, shock = corner.stack, corner.shock
    squeeze = stack.deflections(np.asarray(compression + corner.seat))
    at = collar = float(corner.collar_at)
    rings = tuple((ring.below, float(corner.ring_at(i))) for i, ring in enumerate(stack.rings))
    faces = dict(rings)
    springs, dividers = [], []
    for i, (spring, used) in enumerate(zip(stack.springs, squeeze, strict=True)):
        bottom = at + spring.free_length - float(used)
        springs.append((at, bottom))
        # A ring run down past a loose spring holds the divider off it.
        dividers.append(max(bottom, faces.get(i, -np.inf) - shock.divider_lip))
        at = dividers[-1] + shock.divider_height
    dividers = tuple(dividers[:-1])
    gaps = tuple(dividers[below] - face for below, face in rings)
    return Cutaway(
        compression=float(compression),
        collar=collar,
        springs=tuple(springs),
        dividers=dividers,
        rings=rings,
        gaps=gaps,
        retainer=shock.thread.seat_span - float(compression),
        closed=tuple(gap <= -shock.divider_lip + 1e-9 for gap in gaps),
    )


def in_words(view, units="us"):
    """The stance in a few plain sentences, for screen readers, print and a glance.

    Parameters
    ----------
    view : View
    units : {"us", "metric"}

    Returns
    -------
    str
    """
    if bool(view.stance.tipped):
        return TIPPED
    parts = []
    for axle in view.axles.values():
        corner, setup = axle.corner, getattr(view.setup, AXLES[axle.name][0])
        stands = "past" if axle.ride >= axle.crossover else "below"
        cross = (
            f"stands {stands} crossover at {show(axle.crossover_travel, 'length', units)} of travel"
            if np.isfinite(axle.crossover)
            else "meets no stop ring before full bump"
        )
        gap = f", gap {gaps_text(corner.gap, units)}" if corner.gap else ""
        parts.append(
            f"{axle.name.capitalize()}: {float(setup.turns):.2f} turns{gap}; ride height "
            f"{show(axle.height, 'length', units)}, {show(axle.ride_travel, 'length', units)} into "
            f"the travel, {cross}."
        )
    words = lean(view, units)
    parts.append(f"{words[0].upper()}{words[1:]}.")
    return " ".join(parts)


def lean(view, units="us"):
    """Which end is high and by how much, or that the vehicle is level."""
    return rake_in_words(view.stance.rake, units, kind="length")


def gap_text(gap, units="us"):
    """A stop gap as the tape reads it: a fraction of an inch, or millimetres."""
    return tape(float(gap)) if units == "us" else show(float(gap), "length", units)


def gaps_text(gaps, units="us"):
    """The gaps of one corner, from the collar down; ``no ring`` where there is none."""
    return " and ".join(gap_text(gap, units) for gap in gaps) or "no ring"


def readout(view, units="us"):
    """The numbers a tech wants beside the chart, front and rear.

    Parameters
    ----------
    view : View
    units : {"us", "metric"}

    Returns
    -------
    dict of str to (str, str)
        Label to front and rear text.
    """
    stance, reserve = view.stance, view.stance.bottoming

    def both(number):
        return tuple(number(axle, 2 * i) for i, axle in enumerate(view.axles.values()))

    def length(value):
        return show(float(value), "length", units)

    def crossover(axle, i):
        if not np.isfinite(axle.crossover):
            return "not before full bump"
        if stance.tipped:
            return length(axle.crossover_travel)
        side = "past it" if stance.past_crossover[i] else "below it"
        return f"{length(axle.crossover_travel)}, stands {side}"

    return {
        "collar turns from contact": both(lambda a, i: f"{float(a.corner.turns):.2f}"),
        "stop gap at droop hang": both(lambda a, i: gaps_text(a.corner.gap, units)),
        "ride height, left and right": both(
            lambda a, i: f"{length(stance.height[i])}, {length(stance.height[i + 1])}"
        ),
        "wheel travel used / left": both(
            lambda a, i: f"{length(stance.droop_left[i])} / {length(stance.bump_left[i])}"
        ),
        "crossover at wheel travel": both(crossover),
        "ride frequency": both(lambda a, i: show(float(stance.frequency[i]), "frequency", units)),
        "load factor at full bump": both(lambda a, i: show(reserve.load_factor[i], "number")),
        "energy to full bump": both(lambda a, i: show(float(reserve.energy[i]), "energy", units)),
    }


def cautions(view, units="us"):
    """Plain sentences about a set-up that stands, but not as it should.

    Parameters
    ----------
    view : View
    units : {"us", "metric"}

    Returns
    -------
    tuple of str
    """
    found = []
    if bool(view.stance.tipped):
        return (TIPPED,)
    for i, (name, corner) in enumerate(view.stance.corners.items()):
        words = name.replace("_", " ")
        slack = float(corner.slack)
        if slack > 1e-6:
            found.append(
                f"The {words} springs are {show(slack, 'length', units)} loose at droop hang."
            )
        if view.stance.on_stop[i]:
            found.append(f"The {words} corner stands on its bump stop, solid.")
        if view.stance.lifted[i]:
            found.append(f"The {words} wheel is off the ground.")
        least, most = (float(limit) for limit in corner.turn_limits)
        if not least - 1e-9 <= float(corner.turns) <= most + 1e-9:
            found.append(
                f"The {words} collar cannot be at {float(corner.turns):.1f} turns; the thread "
                f"allows {least:.1f} to {most:.1f}."
            )
        for j, gap in enumerate(corner.gap):
            least, most = (float(limit) for limit in corner.gap_limits(j))
            if not least - THREAD_SLACK <= float(gap) <= most + THREAD_SLACK:
                allows = (
                    f"allows {gap_text(least, units)} to {gap_text(most, units)}"
                    if least <= most
                    else "does not reach the divider"
                )
                found.append(
                    f"The {words} stop ring cannot be at a gap of {gap_text(gap, units)}; its "
                    f"thread {allows}."
                )
    return tuple(found)
