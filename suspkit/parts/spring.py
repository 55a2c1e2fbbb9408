"""One spring: its law, its lengths and where it binds."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from suspkit.core.curve import Curve
from suspkit.given import take_in
from suspkit.parts.fields import Force, Rate, Size, Thin
from suspkit.parts.wire import Wire


@dataclass(frozen=True, kw_only=True)
class Spring:
    """A coil spring by exactly one law: ``rate``, ``table``, ``coils`` or the rate of its ``wire``.

    Parameters
    ----------
    free_length : float
        Length with no load [m].
    solid_length : float, optional
        Length with every coil touching [m]; from the wire if not given.
    rate : float, optional
        Force per deflection [N/m].
    table : tuple of (deflection [m], force [N]), optional
        Measured rows, both columns rising from (0, 0), which may be left out. The last rate is
        carried on to bind.
    coils : tuple of (rate [N/m], gap [m]), optional
        A variable-pitch spring coil by coil: each has its own rate and closes when its gap is
        used up. The spring's rate at first is the series of them all.
    wire : Wire, optional
        Wire geometry, for stress, mass and surge.
    name : str
        What it is called; in a vehicle file the name of its table unless it states one.

    Raises
    ------
    ValueError
        If no law or more than one is given, or the lengths leave no stroke.

    Notes
    -----
    A linear spring is the one-row case. The variable-pitch law is a chain of coils in series,
    each saturating when it closes (the same recursion as a stack of springs).
    """

    free_length: Size
    solid_length: Size | None = None
    rate: Rate | None = None
    table: tuple[tuple[Thin, Force], ...] | None = None
    coils: tuple[tuple[Rate, Size], ...] | None = None
    wire: Wire | None = None
    name: str = "spring"

    def __post_init__(self):
        take_in(self, any_size=True)
        laws = [law for law in ("rate", "table", "coils") if getattr(self, law) is not None]
        if len(laws) > 1 or (not laws and self.wire is None):
            raise ValueError(
                f"spring {self.name!r} has {' and '.join(laws) or 'no law'}; "
                "expected exactly one of rate, table, coils (or a wire to take the rate from)"
            )
        if not laws:
            object.__setattr__(self, "rate", float(self.wire.rate))
        if self.solid_length is None:
            if self.wire is None:
                raise ValueError(
                    f"spring {self.name!r} has no solid_length; expected one, or a wire to work it "
                    "out from"
                )
            object.__setattr__(self, "solid_length", float(self.wire.solid_length))
        for field in ("free_length", "solid_length", "rate"):
            value = getattr(self, field)
            if value is not None and not (np.isfinite(value) and value > 0):
                raise ValueError(f"spring {self.name!r} has {field} {value:g}; expected above zero")
        if self.solid_length >= self.free_length:
            raise ValueError(
                f"spring {self.name!r} has solid_length {self.solid_length:g} m, not shorter than "
                f"its free_length {self.free_length:g} m; expected shorter"
            )
        if self.coils is not None:
            if not self.coils or not all(k > 0 and gap > 0 for k, gap in self.coils):
                raise ValueError(
                    f"spring {self.name!r} has coils {self.coils!r}; expected (rate, gap) pairs "
                    "above zero"
                )
            closed = sum(gap for _, gap in self.coils)
            if abs(closed - self.travel) > 1e-6:
                raise ValueError(
                    f"spring {self.name!r} has coil gaps that add up to {closed:g} m; expected its "
                    f"free_length less its solid_length, {self.travel:g} m"
                )
        if self.table is not None:
            rows = self._rows()
            first = 1 + len(self.table) - rows.shape[1]
            Curve.from_table(*rows, name=f"spring {self.name!r} table", first_row=first)

    @property
    def travel(self):
        """Deflection from free to coil bind [m]."""
        return self.free_length - self.solid_length

    def _rows(self):
        rows = [(0.0, 0.0), *(tuple(row) for row in self.table if tuple(row) != (0.0, 0.0))]
        return np.array(rows).T

    @cached_property
    def compliance(self):
        """Deflection [m] over force [N] as a `Curve`; it stops rising at coil bind.

        Returns
        -------
        Curve
        """
        if self.coils is not None:
            # Each coil gives force/rate until its gap is gone, so the knots are where gaps close.
            rates, gaps = np.array(self.coils).T
            closing = np.unique(rates * gaps)
            force = np.concatenate([[0.0], closing])
            deflection = np.minimum(force[:, None] / rates, gaps).sum(axis=1)
            deflection[-1] = self.travel
            return Curve(force, deflection)
        if self.table is not None:
            deflection, force = self._rows()
            bind = Curve.from_table(deflection, force)(self.travel)
            # A row at bind is bind itself, and rows past it were never measured on this spring.
            inside = deflection < self.travel * (1 - 1e-9)
            return Curve(np.append(force[inside], bind), np.append(deflection[inside], self.travel))
        return Curve([0.0, self.rate * self.travel], [0.0, self.travel])

    @cached_property
    def law(self):
        """Force [N] over deflection [m] as a `Curve`; zero when slack, unbounded when solid."""
        inverse = self.compliance.inverse()
        return Curve(inverse.x, inverse.y, 0.0, np.inf)

    @property
    def bind_force(self):
        """Force that just closes every coil [N]."""
        return float(self.compliance.reach(self.travel))

    def energy(self, deflection):
        """Energy stored at a deflection [J].

        Parameters
        ----------
        deflection : float or array
            From free length [m].

        Returns
        -------
        float or array
        """
        return self.law.integral(0.0, deflection)


@dataclass(frozen=True, kw_only=True, eq=False)
class VariedSpring:
    """A spring as it was made, or a batch of them: never quite the rate and length it should be.

    Takes the place of the `Spring` in a stack.

    Parameters
    ----------
    nominal : Spring
        What it should be.
    stiffer : float or array
        Force over the nominal one at the same deflection [-].
    longer : float or array
        Free length more than nominal [m]; the solid length is kept.

    Raises
    ------
    ValueError
        If a force factor is not above zero, or so much is missing in length that a coil of the
        nominal spring would be solid without load.
    """

    nominal: Spring
    stiffer: float | np.ndarray = 1.0
    longer: float | np.ndarray = 0.0

    def __post_init__(self):
        take_in(self)
        if not np.all(np.asarray(self.stiffer) > 0):
            raise ValueError(f"stiffer is {self.stiffer!r}; expected above zero")
        last = np.diff(self.nominal.compliance.y)[-1]
        if not np.all(np.asarray(self.longer) > -last):
            raise ValueError(
                f"longer is {self.longer!r} m; expected more than {-last:g} m, what spring "
                f"{self.name!r} has left when its last coils begin to close"
            )

    @property
    def name(self):
        """Name of the nominal spring."""
        return self.nominal.name

    @property
    def solid_length(self):
        """Length with every coil touching [m]."""
        return self.nominal.solid_length

    @property
    def free_length(self):
        """Length with no load [m]."""
        return self.nominal.free_length + self.longer

    @property
    def travel(self):
        """Deflection from free to coil bind [m]."""
        return self.free_length - self.solid_length

    @cached_property
    def compliance(self):
        """Deflection [m] over force [N] as a `Curve`, the last rate carried on to bind."""
        force, deflection = self.nominal.compliance.x, self.nominal.compliance.y
        batch = np.broadcast_shapes(np.shape(self.stiffer), np.shape(self.longer))
        rate = (force[-1] - force[-2]) / (deflection[-1] - deflection[-2])
        x = np.broadcast_to(force, batch + force.shape).copy()
        y = np.broadcast_to(deflection, batch + deflection.shape).copy()
        x[..., -1] += rate * np.asarray(self.longer)
        y[..., -1] += self.longer
        return Curve(x * np.asarray(self.stiffer)[..., None], y)
