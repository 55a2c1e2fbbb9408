"""Springs in series with stop rings: the soft-then-firm stack, solved exactly."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from suspkit.core.curve import Curve
from suspkit.given import of_kind, refuse, take_in
from suspkit.parts.spring import Spring, VariedSpring


@dataclass(frozen=True, kw_only=True)
class StopRing:
    """A ring that catches the divider under one spring.

    Parameters
    ----------
    below : int
        Index of the spring it sits under, from the collar (0 is the top spring).
    cap : float or array
        Total deflection of the springs above at which the divider meets the ring [m]. ``inf`` is
        no ring; a negative cap is a ring that holds the divider off the springs above.
    """

    below: int
    cap: float | np.ndarray = np.inf

    def __post_init__(self):
        take_in(self)


@dataclass(frozen=True, kw_only=True)
class Event:
    """Something that changes the slope of a force curve.

    Attributes
    ----------
    kind : str
        "crossover" (a ring is met), "bind" (a spring is solid), "coil" (part of a spring closes,
        or a row of its table is passed), "top-out", "bump stop", "full bump".
    name : str
        Which spring, or the spring above the ring.
    compression : float or array
        Of the stack, or of the shock when read from a corner [m]; ``inf`` if it never happens.
    force : float or array
        Spring force there [N].
    """

    kind: str
    name: str
    compression: float | np.ndarray
    force: float | np.ndarray


@dataclass(frozen=True)
class Stack:
    """Springs in series from the collar to the retainer, with rings between them.

    Parameters
    ----------
    springs : sequence of Spring
        Top (at the collar) first.
    rings : sequence of StopRing
        At most one under each spring but the last.

    Raises
    ------
    ValueError
        If there is no spring, or a ring has no spring above and below it.

    Notes
    -----
    With spring deflections d_i(F) and a ring under spring i that caps the deflection above it at
    c_i, the stack is one recursion::

        X_0 = 0;  X_i(F) = min(X_{i-1}(F) + d_i(F), c_i)

    All of it is piecewise linear, so the result is exact, kinks included. For two linear springs
    it reduces to springs in series below the ring and the main spring alone above it (springs in
    series: Shigley's Mechanical Engineering Design, section 4-1).

    Examples
    --------
    >>> tender = Spring(rate=40e3, free_length=0.2, solid_length=0.08)
    >>> main = Spring(rate=60e3, free_length=0.4, solid_length=0.2)
    >>> stack = Stack([tender, main], rings=[StopRing(below=0, cap=0.05)])
    >>> float(stack.rate(0.01).round()), float(stack.rate(0.10).round())
    (24000.0, 60000.0)
    """

    springs: tuple[Spring, ...]
    rings: tuple[StopRing, ...] = ()

    def __post_init__(self):
        for name, kind in (("springs", (Spring, VariedSpring)), ("rings", StopRing)):
            given = getattr(self, name)
            if not isinstance(given, (tuple, list)):
                refuse(name, given, f"a list of {name}")
            for i, one in enumerate(given):
                of_kind(f"{name}[{i}]", one, kind, f"a suspkit {name[:-1]}")
        object.__setattr__(self, "springs", tuple(self.springs))
        object.__setattr__(self, "rings", tuple(sorted(self.rings, key=lambda r: r.below)))
        if not self.springs:
            raise ValueError("the stack has no springs; expected at least one")
        seats = [ring.below for ring in self.rings]
        if len(set(seats)) < len(seats) or any(
            not 0 <= seat < len(self.springs) - 1 for seat in seats
        ):
            raise ValueError(
                f"rings sit below springs {seats}; expected different ones from 0 to "
                f"{len(self.springs) - 2}, with a spring on each side"
            )

    def with_caps(self, caps):
        """The same stack with its rings moved to ``caps`` (one each, in order) [m]."""
        rings = [StopRing(below=r.below, cap=c) for r, c in zip(self.rings, caps, strict=True)]
        return Stack(self.springs, rings)

    @cached_property
    def _recursion(self):
        """Deflection curves X_i(F), and the force at which each ring is met (inf if never)."""
        caps = {ring.below: ring.cap for ring in self.rings}
        total, partial, met = None, [], {}
        for i, spring in enumerate(self.springs):
            total = spring.compliance if total is None else total + spring.compliance
            if i in caps:
                cap = np.asarray(caps[i], dtype=float)
                met[i] = np.where(cap <= total.y[..., 0], 0.0, total.reach(cap))
                total = total.clip_above(cap)
            partial.append(total)
        return partial, met

    @cached_property
    def _held(self):
        """Force above which each spring's deflection is frozen by a ring at or below it [N]."""
        _, met = self._recursion
        held, lowest = [None] * len(self.springs), np.inf
        for i in reversed(range(len(self.springs))):
            if i in met:
                lowest = np.minimum(lowest, met[i])
            held[i] = lowest
        return held

    @cached_property
    def curve(self):
        """Force [N] over compression [m]: zero while slack, a hard stop when all is solid.

        Returns
        -------
        Curve
        """
        total = self._recursion[0][-1]
        # Knots of springs that a ring has frozen lie past solid, in the hard stop itself: the
        # force there is the one that first makes all solid.
        solid = total.reach(total.y[..., -1])
        return Curve(total.y, np.minimum(total.x, solid[..., None]), 0.0, np.inf)

    @property
    def free_length(self):
        """Springs laid end to end, unloaded [m]."""
        return sum(spring.free_length for spring in self.springs)

    @property
    def solid_compression(self):
        """Compression at which nothing is left to move [m]."""
        return self.curve.x[..., -1][()]

    def force(self, compression):
        """Force of the stack [N] (``inf`` past solid).

        Parameters
        ----------
        compression : float or array
            From its free length [m].

        Returns
        -------
        float or array
        """
        return self.curve(compression)

    def compression(self, force):
        """Compression under a force [m].

        Parameters
        ----------
        force : float or array
            Zero or more [N].

        Returns
        -------
        float or array
        """
        return self._recursion[0][-1](force)

    def rate(self, compression, *, side="right"):
        """Rate [N/m], on the stated side at a kink.

        Parameters
        ----------
        compression : float or array
            [m].
        side : {"right", "left"}

        Returns
        -------
        float or array
        """
        return self.curve.slope(compression, side=side)

    def energy(self, compression):
        """Energy stored [J]: the integral of force, and the sum over the springs.

        Parameters
        ----------
        compression : float or array
            [m].

        Returns
        -------
        float or array
        """
        return self.curve.antiderivative(compression)

    def deflections(self, compression):
        """How far each spring is squeezed [m].

        Parameters
        ----------
        compression : float or array, shape (...)
            Of the stack [m], up to solid.

        Returns
        -------
        array, shape (number of springs, ...)
            They add up to ``compression`` where no ring holds the divider off a slack spring.
        """
        force = np.minimum(self.force(compression), self.curve.y[..., -1])
        return np.stack(
            [
                np.broadcast_to(s.compliance(np.maximum(np.minimum(force, h), 0.0)), force.shape)
                for s, h in zip(self.springs, self._held, strict=True)
            ]
        )

    def deflection_above(self, ring, compression):
        """Deflection of all springs above a ring's divider [m].

        Parameters
        ----------
        ring : int
            Index into ``rings``.
        compression : float or array
            Of the stack [m].

        Returns
        -------
        float or array
        """
        below = self.rings[ring].below
        # A lower ring already met carries the rest of the force past these springs.
        return self._recursion[0][below](np.minimum(self.force(compression), self._held[below]))

    @property
    def events(self):
        """Crossovers, binds and closing coils, in order of compression where single-valued.

        Returns
        -------
        tuple of Event
            One for each ring and each spring knot; those that never happen have ``inf``. A
            spring that binds before its ring is met shows as a bind.
        """
        found = []
        _, met = self._recursion
        held = self._held
        for i, spring in enumerate(self.springs):
            knots = np.moveaxis(spring.compliance.x, -1, 0)[1:]
            for j, force in enumerate(knots):
                kind = "bind" if j == len(knots) - 1 else "coil"
                # A spring frozen by a ring never gets to the force that would close it.
                reached = np.where(force <= held[i], force, np.inf)
                found.append((kind, spring.name, reached))
            if i in met:
                # Already solid or already held: the ring is met by nothing.
                moving = np.where(met[i] < held[i + 1], met[i], np.inf)
                found.append(("crossover", spring.name, moving))
        events = [
            Event(kind=kind, name=name, compression=self._at(force), force=force[()])
            for kind, name, force in found
        ]
        if all(np.ndim(e.compression) == 0 for e in events):
            events.sort(key=lambda e: e.compression)
        return tuple(events)

    def _at(self, force):
        reached = np.isfinite(force)
        return np.where(reached, self.compression(np.where(reached, force, 0.0)), np.inf)[()]
