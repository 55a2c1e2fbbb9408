"""One corner as adjusted: where it hangs, where its events are, what force it makes."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from suspkit.core.curve import Curve
from suspkit.parts.linkage import Linkage
from suspkit.parts.shock import STOP_RATE, Shock, hang
from suspkit.parts.stack import Event, Stack
from suspkit.units import GRAVITY, INCH, tape
from suspkit.vehicle.entrance import known_setup
from suspkit.vehicle.setup import CORNERS, CornerSetup

THREAD_SLACK = 1e-6
"""How far past the end of a thread still counts as at its end [m]: rounding, no more."""

CLOSED = 1e-9
"""A gap or room this little below nothing is nothing [m]: rounding, no more."""

THIN_ROOM = INCH / 8
"""Less room to coil bind than this is a thin margin [m] (our judgement): the free length of one
spring alone varies by as much."""


class BrokenSetupError(ValueError):
    """A set-up that cannot be put together: one sentence says why."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Corner:
    """A shock with its springs, collar and rings set, on its linkage.

    Compressions are of the shock from full extension, travels of the wheel from the droop end of
    the linkage table. Fields that depend on the set-up may be arrays of the set-ups' batch shape.

    Attributes
    ----------
    name : str
    shock : Shock
    linkage : Linkage
    stack : Stack
        Rings at their caps.
    preload : float or array
        Collar travel past contact [m].
    contact_hang : float
        Compression at droop hang with the stack unloaded: where contact is found [m].
    unbolted_hang : float
        The same with the lower bolt out [m].
    hang : float or array
        Compression at droop hang as set [m].
    hang_travel : float or array
        Wheel travel there [m].
    gap : tuple of float or array
        Tape reading of each stop gap at droop hang as set [m].
    ring : tuple of float or array
        Where each ring stands: the reading at contact, with no preload [m].
    unsprung_mass : float
        [kg]
    """

    name: str
    shock: Shock
    linkage: Linkage
    stack: Stack
    preload: float | np.ndarray
    contact_hang: float
    unbolted_hang: float
    hang: float | np.ndarray
    hang_travel: float | np.ndarray
    gap: tuple
    ring: tuple
    unsprung_mass: float

    @property
    def seat(self):
        """Stack compression less shock compression [m]: preload less what contact hang used."""
        return self.preload - self.contact_hang

    @cached_property
    def stack_curve(self):
        """Spring force [N] over shock compression [m]."""
        return self.stack.curve.shift(dx=-np.asarray(self.seat))

    @cached_property
    def curve(self):
        """Springs, top-out spring, bump stop and metal limits [N] over shock compression [m]."""
        # Past solid the limits carry the load, so the sum keeps a finite slope there.
        springs = self.stack_curve
        springs = Curve(springs.x, springs.y, springs.slope_before, STOP_RATE)
        return springs + self.shock.limits

    def force(self, compression):
        """Force of the shock along its shaft [N], friction aside.

        Parameters
        ----------
        compression : float or array
            [m].

        Returns
        -------
        float or array
        """
        return self.curve(compression) + self.shock.gas_force(compression)

    def rate(self, compression, *, side="right"):
        """Rate of the shock [N/m], on the stated side of a kink."""
        return self.curve.slope(compression, side=side) + self.shock.gas_rate(compression)

    def wheel_force(self, travel):
        """Upward force the corner needs at the wheel, unsprung weight aside [N].

        Parameters
        ----------
        travel : float or array
            Wheel travel [m].

        Returns
        -------
        float or array
        """
        return self.linkage.wheel_force(travel, force=self.force(self.linkage.compression(travel)))

    def wheel_rate(self, travel, *, side="right"):
        """Wheel rate [N/m] with the motion-ratio slope term, on the stated side of a kink."""
        compression = self.linkage.compression(travel)
        return self.linkage.wheel_rate(
            travel, force=self.force(compression), rate=self.rate(compression, side=side)
        )

    @property
    def given_back(self):
        """Preload the top-out spring gives back [m]: the shock is pushed out this much further,
        so the springs are squeezed by that much less than the collar moved."""
        return self.contact_hang - self.hang

    @cached_property
    def full_bump_travel(self):
        """Wheel travel at full bump [m]."""
        return self.linkage.travel(self.shock.full_bump)

    @property
    def slack(self):
        """How loose the springs are at droop hang [m]; zero when the collar holds them."""
        return np.maximum(0.0, -(self.seat + self.hang))

    @property
    def loose(self):
        """How loose the springs come at full extension, the metal limit [m]; zero when held."""
        return np.maximum(0.0, -self.seat)

    @property
    def held_turns(self):
        """Fewest turns from contact that keep every spring on its seat at full extension.

        A top-out spring holds the hanging shock short of its metal limit. A wheel that drops out
        fast pulls it there, and the springs come loose by what the turns did not take up: by less
        than slips the retainer out, or they can leave their seats.
        """
        reach = self.contact_hang - self.shock.retainer_clearance
        return max(0.0, reach / self.shock.thread.collar_pitch)

    @property
    def least_turns(self):
        """Fewest turns to set: those that the thread allows and that hold the springs."""
        return np.maximum(self.turn_limits[0], self.held_turns)

    @cached_property
    def events(self):
        """Crossovers, binds and limits over shock compression.

        Returns
        -------
        tuple of Event
            Those of the stack moved to shock compression, then the bump stop and full bump.
            Values beyond full bump mean it is never reached in use.
        """
        found = [replace(e, compression=e.compression - self.seat) for e in self.stack.events]
        if self.shock.bump_stop is not None:
            found.append(self._limit("bump stop", self.shock.bump_touch))
        found.append(self._limit("full bump", self.shock.full_bump))
        if all(np.ndim(e.compression) == 0 for e in found):
            found.sort(key=lambda e: e.compression)
        return tuple(found)

    def _limit(self, kind, compression):
        force = self.stack_curve(compression)
        return Event(kind=kind, name="shock", compression=compression, force=force)

    @property
    def crossover(self):
        """Compression at which the last ring to close is met [m]; ``inf`` if none ever is."""
        met = [
            np.where(np.isfinite(e.compression), e.compression, -np.inf)
            for e in self.events
            if e.kind == "crossover"
        ]
        if not met:
            return np.full(np.shape(self.seat), np.inf)[()]
        last = met[0]
        for other in met[1:]:
            last = np.maximum(last, other)
        return np.where(np.isfinite(last), last, np.inf)[()]

    @property
    def crossover_travel(self):
        """Wheel travel at `crossover` [m]; nan if no ring ever is met."""
        met = np.asarray(self.crossover)
        there = np.isfinite(met)
        return np.where(there, self.linkage.travel(np.where(there, met, 0.0)), np.nan)[()]

    def crossover_frequencies(self, standing, *, tyre_rate):
        """Ride frequency with the rates just below and just past crossover.

        Springs and gas alone: a bump stop touched before the ring would hide what the ring does.

        Parameters
        ----------
        standing : float or array
            Upward force at the wheel of the standing vehicle [N].
        tyre_rate : float
            [N/m]

        Returns
        -------
        tuple of float or array
            Below and past [Hz]; nan where no ring is met before full bump.
        """
        found = []
        for rate in self.crossover_rates:
            rate = rate * tyre_rate / (rate + tyre_rate)
            found.append(np.sqrt(rate * GRAVITY / standing) / (2 * np.pi))
        return tuple(found)

    @property
    def crossover_rates(self):
        """Wheel rate of springs and gas just below and just past crossover [N/m].

        A bump stop that works there already is left out: it would hide what the ring does. nan
        where no ring is met before full bump.
        """
        full = self.shock.full_bump
        met = np.where(self.crossover <= full, np.minimum(self.crossover, full), np.nan)
        travel = self.linkage.travel(met)
        ratio, bend = self.linkage.motion_ratio(travel), self.linkage.motion_ratio_slope(travel)
        force = self.stack_curve(met) + self.shock.gas_force(met)
        return tuple(
            (self.stack_curve.slope(met, side=side) + self.shock.gas_rate(met)) * ratio**2
            + force * bend
            for side in ("left", "right")
        )

    @property
    def room(self):
        """Shock travel left at full bump, where the bump stop's table ends, before all springs
        are solid [m]."""
        return self.stack.solid_compression - self.seat - self.shock.full_bump

    @property
    def solid(self):
        """Whether all springs are solid before full bump. No room at all is still room enough."""
        return np.less(self.room, -CLOSED)

    @property
    def metal_room(self):
        """The same at the end of the stroke, metal on metal [m]. Below zero the springs go solid
        first and take the blow that the shock should."""
        return self.stack.solid_compression - self.seat - self.shock.stroke

    def squeezed(self, compression):
        """How far each spring is squeezed, no further than solid.

        Parameters
        ----------
        compression : float or array
            Of the shock [m].

        Returns
        -------
        array, shape (number of springs, ...)
            [m]
        """
        # A hair past solid the force is endless and the springs are no shorter for it.
        found = self.stack.deflections(compression + self.seat)
        return np.stack(
            [np.minimum(x, s.travel) for x, s in zip(found, self.stack.springs, strict=True)]
        )

    @property
    def safety_factors(self):
        """Of each spring against set at full bump, nan where its wire is not known [-]."""
        squeezed = self.squeezed(self.shock.full_bump)
        # Once solid, coil on coil carries the rest, so the wire is stressed no further.
        return np.stack(
            [
                np.full(np.shape(x), np.nan)
                if s.wire is None
                else np.asarray(s.wire.safety_factor(s.law(x)))
                for x, s in zip(squeezed, self.stack.springs, strict=True)
            ]
        )

    @property
    def turns(self):
        """Collar turns from contact."""
        return self.preload / self.shock.thread.collar_pitch

    @property
    def contact_at(self):
        """Collar travel from fully run up to contact [m]; below zero the stack is too long for
        the space and is squeezed before the collar is turned."""
        thread = self.shock.thread
        return thread.seat_span - self.contact_hang - self.stack_length

    @property
    def stack_length(self):
        """Free length of springs and dividers together [m]."""
        return self.stack.free_length + self.shock.divider_height * (len(self.stack.springs) - 1)

    @property
    def collar_at(self):
        """Collar travel from fully run up, as set [m]."""
        return self.contact_at + self.preload

    @property
    def turn_limits(self):
        """Fewest and most turns from contact the thread allows."""
        thread = self.shock.thread
        least = np.maximum(0.0, -self.contact_at / thread.collar_pitch)
        return least, (thread.collar_travel - self.contact_at) / thread.collar_pitch

    def ring_at(self, index=0):
        """Place of a ring's catching face on the body, down from the collar's highest seat [m]."""
        return self.contact_at + self._above(index) - self.ring[index]

    def _above(self, index):
        below = self.stack.rings[index].below
        lengths = sum(s.free_length for s in self.stack.springs[: below + 1])
        # The tape reads to the visible edge of the divider, level with the seat it gives.
        return lengths + self.shock.divider_height * below

    def gap_limits(self, index=0):
        """Smallest and largest tape gap the ring's thread allows at the present preload [m]."""
        thread = self.shock.thread
        divider = self.ring_at(index) + self.gap[index]
        # A lip outside the divider's edge meets the ring before the edge does.
        nothing = max(0.0, -self.shock.divider_lip)
        least = np.maximum(nothing, divider - thread.ring_lowest)
        return least, divider - (self.collar_at + thread.ring_height)


def assemble(vehicle, setup=None, *, refuse_solid=True):
    """Put a set-up on a vehicle.

    Parameters
    ----------
    vehicle : Vehicle
    setup : Setup, optional
        The vehicle's current one if not given.
    refuse_solid : bool
        Whether springs that are all solid before full bump are an error. A search that looks
        past what can be built turns this off.

    Returns
    -------
    dict of str to Corner
        By corner, in the order of `CORNERS`.

    Raises
    ------
    BrokenSetupError
        If all springs of a corner would be solid before full bump.
    """
    setup = known_setup(vehicle, setup)
    made = {}
    for axle in ("front", "rear"):
        left = getattr(setup, f"{axle}_left")
        right = getattr(setup, f"{axle}_right")
        made[f"{axle}_left"] = _corner(vehicle, f"{axle}_left", left)
        # Most set-ups are the same on both sides; the second one is then free.
        made[f"{axle}_right"] = (
            _twin(made[f"{axle}_left"], f"{axle}_right")
            if _alike(left, right)
            else _corner(vehicle, f"{axle}_right", right)
        )
    if refuse_solid:
        for name, corner in made.items():
            _refuse_solid(corner, getattr(setup, name).stack)
    return {name: made[name] for name in CORNERS}


def _twin(corner, name):
    """The same corner on the other side, sharing the curves that take long to build."""
    other = replace(corner, name=name)
    vars(other).update(stack_curve=corner.stack_curve, curve=corner.curve)
    return other


def _alike(left, right):
    pairs = ((getattr(left, n), getattr(right, n)) for n in ("stack", "turns", "gap", "ring"))
    return all(a is b or (np.ndim(a) == np.ndim(b) == 0 and a == b) for a, b in pairs)


def _per_ring(value):
    if value is None:
        return None
    return value if isinstance(value, tuple) else (value,)


def _corner(vehicle, name, chosen: CornerSetup):
    axle = vehicle.axle_of(name)
    preload = np.asarray(chosen.turns, dtype=float) * axle.shock.thread.collar_pitch
    return fit_corner(
        axle, vehicle.stack(chosen.stack), name=name, stack_name=chosen.stack, preload=preload,
        gap=chosen.gap, ring=chosen.ring,
    )  # fmt: skip


def fit_corner(axle, stack, *, name, stack_name, preload, gap=None, ring=None):
    """Put a stack on an axle's shock, one that need not be in the vehicle's list.

    Parameters
    ----------
    axle : Axle
    stack : Stack
        Its rings are placed here.
    name, stack_name : str
        Of the corner and of the stack, for messages.
    preload : float or array
        Collar travel past contact [m]; less than zero leaves the springs loose.
    gap, ring : float, array or tuple, optional
        As of a `CornerSetup` [m].

    Returns
    -------
    Corner

    Raises
    ------
    BrokenSetupError
        If a stop ring has no place, or more than one.
    """
    shock, linkage = axle.shock, axle.motion
    weight = axle.unsprung_mass * GRAVITY
    contact_hang = linkage.compression(axle.contact_hang)
    preload = np.asarray(preload, dtype=float)
    seat = preload - contact_hang

    def hanging(stack):
        springs = stack.curve.shift(dx=-seat)
        springs = Curve(springs.x, springs.y, 0.0, STOP_RATE)
        travel = hang(shock, linkage, springs + shock.limits, weight=weight)
        return travel, linkage.compression(travel)

    lip = shock.divider_lip
    gaps, rings = _per_ring(gap), _per_ring(ring)
    if stack.rings and gaps is None and rings is None:
        raise BrokenSetupError(f"{name}: stack {stack_name!r} has a stop ring; expected a gap")
    for label, given in (("gap", gaps), ("ring", rings)):
        if given is not None and len(given) != len(stack.rings):
            raise BrokenSetupError(
                f"{name}: {label} has {len(given)} value(s); expected {len(stack.rings)}, one for "
                f"each stop ring of stack {stack_name!r}"
            )
    if gaps is not None:
        # A gap is measured hanging, with no ring met, so the open stack says where it hangs.
        hang_travel, hung = hanging(stack)
        above = [stack.deflection_above(i, hung + seat) for i in range(len(gaps))]
        caps = [np.asarray(g) + lip + a for g, a in zip(gaps, above, strict=True)]
        rings = tuple((cap - lip - preload)[()] for cap in caps)
        stack = stack.with_caps(caps)
    elif rings is not None:
        stack = stack.with_caps([np.asarray(r) + lip + preload for r in rings])
        hang_travel, hung = hanging(stack)
        gaps = tuple(
            _not_rounded_below((placed.cap - lip - stack.deflection_above(i, hung + seat))[()])
            for i, placed in enumerate(stack.rings)
        )
    else:
        hang_travel, hung = hanging(stack)
    return Corner(
        name=name, shock=shock, linkage=linkage, stack=stack, preload=preload[()],
        contact_hang=contact_hang, unbolted_hang=linkage.compression(axle.unbolted_hang),
        hang=hung, hang_travel=hang_travel,
        gap=gaps or (), ring=rings or (), unsprung_mass=axle.unsprung_mass,
    )  # fmt: skip


def _not_rounded_below(gap):
    """A gap that only rounding takes below nothing is nothing; no tape says less."""
    return np.where((gap < 0) & (gap > -CLOSED), 0.0, gap)[()]


def _refuse_solid(corner, stack_name):
    if np.any(corner.solid):
        raise BrokenSetupError(
            f"{corner.name}: all springs of stack {stack_name!r} are solid "
            f"{-np.min(corner.room) / INCH:.2f} in of shock travel before full bump; expected "
            "longer springs, a larger gap or less preload"
        )


def thread_problems(corners):
    """Where a collar or a stop ring would have to stand beyond its thread.

    Parameters
    ----------
    corners : dict of str to Corner
        A set-up assembled. `assemble` itself does not mind, so that a search may look past the
        thread's ends.

    Returns
    -------
    tuple of str
        One sentence each, which starts with the field: ``front_left.turns is ...``. Of a batch,
        the first entry that does not fit is told.
    """
    found = []
    for name, corner in corners.items():
        least, most = corner.turn_limits
        reach = np.max(corner.contact_at) - corner.shock.thread.collar_travel
        if reach > THREAD_SLACK:
            found.append(
                f"{name}.stack is {tape(corner.stack_length)} long; expected at least "
                f"{tape(corner.stack_length + reach)}, where the collar at the end of its thread "
                "touches it"
            )
        else:
            wrong = _first_outside(corner.turns, least, most, 1e-6)
            if wrong:
                value, least, most = wrong
                found.append(
                    f"{name}.turns is {value:g}; expected {least:.1f} to {most:.1f}, which is what "
                    "the collar's thread allows with this stack"
                )
        for i, gap in enumerate(corner.gap):
            wrong = _first_outside(gap, *corner.gap_limits(i), THREAD_SLACK)
            if wrong:
                value, least, most = wrong
                label = f"{name}.gap[{i}]" if len(corner.gap) > 1 else f"{name}.gap"
                allowed = (
                    f"{tape(least)} to {tape(most)}, which is what the ring's thread allows there"
                    if least <= most
                    else "a shorter stack or fewer turns: there the divider is past the thread"
                )
                found.append(f"{label} is {tape(value)}; expected {allowed}")
    return tuple(found)


def _first_outside(value, least, most, slack):
    """The first entry of a batch outside its limits, as three floats; nothing if all are inside."""
    value, least, most = (np.ravel(a) for a in np.broadcast_arrays(value, least, most))
    # Written so that a number that is not one counts as outside.
    outside = np.flatnonzero(~((value >= least - slack) & (value <= most + slack)))
    return tuple(float(a[outside[0]]) for a in (value, least, most)) if outside.size else None


def hold_rings(setup, corners):
    """The same set-up with every ring left where it stands, instead of a gap to re-set.

    Parameters
    ----------
    setup : Setup
    corners : dict of str to Corner
        The set-up assembled.

    Returns
    -------
    Setup
    """
    return _stated_by(setup, corners, "ring")


def reset_gaps(setup, corners):
    """The same set-up with every gap as a number to re-set, instead of a ring left in place.

    Parameters
    ----------
    setup : Setup
    corners : dict of str to Corner
        The set-up assembled.

    Returns
    -------
    Setup
    """
    return _stated_by(setup, corners, "gap")


def _stated_by(setup, corners, kept):
    """The set-up with each stop ring's place told as a gap or as a ring, whichever is ``kept``."""
    note = setup.note  # it stands as it stood
    for name, corner in corners.items():
        places = getattr(corner, kept)
        if places:
            setup = setup.change(name, **{kept: places if len(places) > 1 else places[0]})
    return replace(setup, note=note)
