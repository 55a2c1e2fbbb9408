"""One damper: oil pushed through passages, or what a dyno measured of it.

Shock velocity is positive in compression, and force is positive resisting compression, so both
have the same sign. Gas force and seal friction belong to the shock, not to the damper.

Clicks here are counted out from fully closed, by adjuster: ``"compression"`` and ``"rebound"`` set
the bleed of their direction, ``"compression-high"`` and ``"rebound-high"`` the preload of its
valve, where the damper has them.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from suspkit.core.curve import Curve
from suspkit.files import read_rows
from suspkit.given import take_in
from suspkit.parts.fields import (
    Area,
    Bore,
    Fine,
    HalfAngle,
    OilDensity,
    Pressure,
    Share,
    Size,
    Viscosity,
)
from suspkit.units import parse

DIRECTIONS = ("compression", "rebound")

MOST_ROWS = 5000
"""Of a dyno table: 25 clicks of 100 speeds each way."""

FASTEST = 20.0
"""Shock velocity up to which a curve is drawn unless told otherwise [m/s]: beyond any event."""

CURVE_TOLERANCE = 1e-5
"""Largest error of a curve's straight pieces, over the force there."""

SMALL_FORCE = 1.0
"""Below this force [N] the error is over this force instead: smaller ones no one can feel."""

WARM = 313.15
"""Oil temperature where none is given [K]: 40 degC, where the first viscosity is stated."""

COLDEST, HOTTEST = 233.15, 423.15
"""Range of oil temperature the viscosity is trusted in [K]: -40 to 150 degC, our judgement."""


@dataclass(frozen=True, kw_only=True)
class Oil:
    """Damper oil.

    Parameters
    ----------
    density : float
        Taken as the same at any temperature [kg/m^3].
    viscosity_40, viscosity_100 : float
        Kinematic viscosity at 40 and at 100 degC, as on its data sheet [m^2/s].

    Raises
    ------
    ValueError
        If it does not thin as it warms.
    """

    density: OilDensity
    viscosity_40: Viscosity
    viscosity_100: Viscosity

    def __post_init__(self):
        if not self.viscosity_100 < self.viscosity_40:
            raise ValueError(
                f"viscosity_100 is {self.viscosity_100 * 1e6:g} cSt; expected less than "
                f"viscosity_40, {self.viscosity_40 * 1e6:g} cSt: oil thins as it warms"
            )

    def viscosity(self, temperature=None):
        """Dynamic viscosity.

        Parameters
        ----------
        temperature : float or array, optional
            Of the oil [K]; 40 degC if not given.

        Returns
        -------
        float or array
            [Pa s]

        Raises
        ------
        ValueError
            If the temperature is outside -40 to 150 degC.

        Notes
        -----
        Walther's line through the two data-sheet values, log log (nu + 0.7) straight over log T
        with nu in mm^2/s: the form ASTM D341 uses (from memory).
        """
        t = np.asarray(WARM if temperature is None else temperature, dtype=float)
        if not np.all((t >= COLDEST) & (t <= HOTTEST)):
            raise ValueError(
                f"temperature is {temperature!r} K; expected {COLDEST:g} to {HOTTEST:g} K"
            )
        ends = np.array([self.viscosity_40, self.viscosity_100]) * 1e6 + 0.7
        warm, hot = np.log(np.log(ends))
        share = np.log(t / WARM) / np.log(373.15 / WARM)
        kinematic = np.exp(np.exp(warm + share * (hot - warm))) - 0.7
        return (self.density * kinematic * 1e-6)[()]


@dataclass(frozen=True, kw_only=True)
class Needle:
    """A cone in a round seat: the bleed an adjuster opens click by click.

    Parameters
    ----------
    seat : float
        Diameter of the seat [m].
    half_angle : float
        Of the cone, between its side and its axis [rad].
    closed : float
        How far the cone still stands off its seat when fully closed [m].
    lift : float
        How much further each click out lifts it [m]; zero for a fixed bleed.
    """

    seat: Bore
    half_angle: HalfAngle
    closed: Fine = 0.0
    lift: Fine = 0.0

    def area(self, clicks=0.0):
        """Open area.

        Parameters
        ----------
        clicks : float or array
            Out from fully closed.

        Returns
        -------
        float or array
            [m^2]

        Notes
        -----
        Side of the frustum square to the cone, pi h sin(a) (d - h sin(a) cos(a)) at lift h (from
        memory), until the cone has left and the seat itself is the narrowest place.
        """
        h = self.closed + self.lift * np.asarray(clicks, dtype=float)
        sin, cos = np.sin(self.half_angle), np.cos(self.half_angle)
        # Past its largest, wider than the seat already, the frustum's formula falls again.
        h = np.minimum(h, self.seat / (2 * sin * cos))
        side = np.pi * h * sin * (self.seat - h * sin * cos)
        return np.minimum(side, np.pi / 4 * self.seat**2)[()]


@dataclass(frozen=True, kw_only=True)
class Valve:
    """A preloaded valve beside the bleed: shut until a pressure, then opening in proportion.

    Parameters
    ----------
    opens_at : float
        Pressure drop at which it cracks open, its adjuster (if any) fully closed [Pa].
    full_after : float
        Further pressure that opens it fully: the valve's own rate [Pa].
    area : float
        Open area when fully open [m^2].
    per_click : float
        How much earlier it cracks open with each click out of its own adjuster [Pa]; zero if it
        has none.

    Raises
    ------
    ValueError
        If ``full_after`` is not above zero: a valve has a rate.
    """

    opens_at: Pressure
    full_after: Pressure
    area: Area
    per_click: Pressure = 0.0

    def __post_init__(self):
        if not self.full_after > 0:
            raise ValueError(
                f"full_after is {self.full_after:g} Pa; expected above zero: a valve has a rate"
            )

    def cracks(self, clicks=0.0):
        """Pressure at which it cracks open [Pa], at so many clicks out of its own adjuster."""
        return np.maximum(0.0, self.opens_at - self.per_click * np.asarray(clicks, dtype=float))

    def open_area(self, pressure, *, clicks=0.0):
        """Open area [m^2] at a pressure drop [Pa]."""
        share = (np.asarray(pressure, dtype=float) - self.cracks(clicks)) / self.full_after
        return (self.area * np.clip(share, 0.0, 1.0))[()]


@dataclass(frozen=True, kw_only=True)
class Leak:
    """A narrow way past the piston that runs laminar: what its clearances amount to.

    Parameters
    ----------
    diameter : float
        Of a round bore [m].
    length : float
        Of the bore [m].
    """

    diameter: Bore
    length: Size

    def flow(self, pressure, *, viscosity):
        """Volume flow.

        Parameters
        ----------
        pressure : float or array
            Drop along it [Pa].
        viscosity : float
            Dynamic [Pa s].

        Returns
        -------
        float or array
            [m^3/s]

        Notes
        -----
        Hagen and Poiseuille, pi d^4 p / (128 mu L): laminar, so for a bore well under a
        millimetre. A wider one belongs in the bleed.
        """
        return np.pi * self.diameter**4 * pressure / (128 * viscosity * self.length)


@dataclass(frozen=True, kw_only=True)
class Passages:
    """What oil flows through in one direction.

    Parameters
    ----------
    bleed : Needle
        Always open; its clicks are this direction's.
    valve : Valve, optional
        Beside it.
    """

    bleed: Needle
    valve: Valve | None = None


_NEVER = 1e12
"""Root of a pressure no shock reaches: where a valve that is not there would open."""


@dataclass(frozen=True)
class _Flow:
    """Flow over pressure of one direction at given clicks, in q, the root of the pressure.

    On each piece the flow is a polynomial of q: bleed and full valve go with q, the leak with
    q^2, an opening valve with q^3. So it is inverted without a search, or nearly.
    """

    bleed: np.ndarray  # flow per q, valve shut
    full: np.ndarray  # the same, valve fully open
    leak: np.ndarray  # flow per q^2
    growth: np.ndarray  # flow per q^3 while the valve opens
    cracked: np.ndarray  # q at which the valve cracks open
    opened: np.ndarray  # q at which it is fully open

    def __call__(self, q):
        share = np.clip(q**2 - self.cracked**2, 0.0, self.opened**2 - self.cracked**2)
        return q * (self.bleed + self.leak * q + self.growth * share)

    def spread(self):
        """The same with an axis for the places along each."""
        return _Flow(*(part[..., None] for part in vars(self).values()))

    def slope(self, q):
        """Derivative over q, right of a kink."""
        opening = (q >= self.cracked) & (q < self.opened)
        valve = np.where(
            opening,
            self.growth * (3 * q**2 - self.cracked**2),
            np.where(q >= self.opened, self.full - self.bleed, 0.0),
        )
        return self.bleed + 2 * self.leak * q + valve

    def bend(self, q):
        """Second derivative over q, right of a kink."""
        opening = (q >= self.cracked) & (q < self.opened)
        return 2 * self.leak + np.where(opening, 6 * self.growth * q, 0.0)

    def root(self, flow):
        """The q at which this much flows."""

        def quadratic(linear):
            # The form that does not cancel; no flow is no pressure, even with the bleed shut.
            part = linear + np.sqrt(linear**2 + 4 * self.leak * flow)
            return np.where(flow == 0, 0.0, 2 * flow / np.where(flow == 0, 1.0, part))

        shut, wide = quadratic(self.bleed), quadratic(self.full)
        with np.errstate(invalid="ignore"):
            opening = (flow > self(self.cracked)) & (flow < self(self.opened))
            found = np.where(flow <= self(self.cracked), shut, np.maximum(wide, self.opened))
        if np.any(opening):
            # Rising and convex there, so Newton from the top end walks down to the root.
            q = np.broadcast_to(self.opened, opening.shape)
            for _ in range(60):
                inside = np.minimum(q, np.nextafter(self.opened, 0.0))
                step = (self(q) - flow) / self.slope(inside)
                q = np.clip(q - step, self.cracked, self.opened)
                # It squares the error each time, so the last step was already below rounding.
                if np.all(np.abs(step[opening]) <= 1e-14 * q[opening]):
                    break
            found = np.where(opening, q, found)
        return np.where(np.isnan(flow), np.nan, found)


@dataclass(frozen=True, kw_only=True)
class Valving:
    """A piston with passages either way.

    Parameters
    ----------
    oil : Oil
        In all of it.
    compression, rebound : Passages
        What oil flows through as the shock shortens, and as it lengthens.
    leak : Leak, optional
        A laminar way past the piston, both ways.
    discharge : float
        Discharge coefficient of every passage but the leak.

    Raises
    ------
    ValueError
        If a direction has no way past the piston.

    Notes
    -----
    Turbulent flow through bleed and valve, Q = Cd A sqrt(2 p / rho); the default coefficient is a
    sharp edge's, pi / (pi + 2) (Fluid Power Engineering).
    """

    oil: Oil
    compression: Passages
    rebound: Passages
    leak: Leak | None = None
    discharge: Share = np.pi / (np.pi + 2)

    def __post_init__(self):
        for direction in DIRECTIONS:
            if self.leak is None and not getattr(self, direction).bleed.area() > 0:
                raise ValueError(
                    f"{direction}.bleed.closed is 0; expected above zero, or a leak: with no way "
                    "through, the piston is locked"
                )

    def _flow(self, direction, clicks, temperature):
        passages = getattr(self, direction)
        jet = self.discharge * np.sqrt(2 / self.oil.density)
        bleed = jet * passages.bleed.area(clicks.get(direction, 0.0))
        leak = 0.0
        if self.leak is not None:
            leak = self.leak.flow(1.0, viscosity=self.oil.viscosity(temperature))
        elif temperature is not None:
            self.oil.viscosity(temperature)  # refuse a wrong one, though nothing here depends on it
        valve = passages.valve
        if valve is None:
            parts = (bleed, bleed, leak, 0.0, _NEVER, _NEVER)
        else:
            cracks = valve.cracks(clicks.get(f"{direction}-high", 0.0))
            full = jet * valve.area
            growth = full / valve.full_after
            opened = np.sqrt(cracks + valve.full_after)
            parts = (bleed, bleed + full, leak, growth, np.sqrt(cracks), opened)
        return _Flow(*np.broadcast_arrays(*(np.asarray(p, dtype=float) for p in parts)))

    def flow(self, pressure, *, direction, clicks, temperature=None):
        """Volume flow through the piston.

        Parameters
        ----------
        pressure : float or array
            Drop across it, zero or more [Pa].
        direction : {"compression", "rebound"}
        clicks : dict of str to float or array
            Out from fully closed, by adjuster.
        temperature : float, optional
            Of the oil [K]; 40 degC if not given.

        Returns
        -------
        float or array
            [m^3/s]
        """
        q = np.sqrt(np.asarray(pressure, dtype=float))
        return self._flow(direction, clicks, temperature)(q)[()]

    def pressure(self, flow, *, direction, clicks, temperature=None):
        """Pressure drop [Pa] that makes this much flow [m^3/s]: the inverse of `flow`."""
        flow = np.asarray(flow, dtype=float)
        return (self._flow(direction, clicks, temperature).root(flow) ** 2)[()]

    @property
    def adjusters(self):
        """Names of the adjusters that change something."""
        names = []
        for direction in DIRECTIONS:
            passages = getattr(self, direction)
            if passages.bleed.lift > 0:
                names.append(direction)
            if passages.valve is not None and passages.valve.per_click > 0:
                names.append(f"{direction}-high")
        return tuple(names)


@dataclass(frozen=True, eq=False)
class DynoTable:
    """Force over velocity as a dyno measured it, click by click.

    Parameters
    ----------
    name : str
        What to call it in an error.
    compression, rebound : dict of int to Curve
        By clicks out from closed: force over speed, both zero or more, from (0, 0).
    """

    name: str
    compression: dict[int, Curve]
    rebound: dict[int, Curve]

    @classmethod
    def __get_pydantic_core_schema__(cls, source, handler):
        from pydantic_core import core_schema

        return core_schema.is_instance_schema(cls)

    @property
    def adjusters(self):
        """Names of the adjusters it was measured over."""
        return DIRECTIONS

    @classmethod
    def from_csv(cls, text, *, name):
        """Read a dyno table.

        Parameters
        ----------
        text : str
            CSV with a heading row that has ``clicks (out)`` or ``click``, ``velocity (unit)`` and
            ``force (unit)``, in any order and among others; rows in any order. Velocity and force
            are positive in compression, gas force and friction taken off. A row's click is that
            of the adjuster of its direction. Lines that start with ``#`` are remarks.
        name : str
            What to call the file in an error.

        Returns
        -------
        DynoTable

        Raises
        ------
        ValueError
            One sentence naming the file, the line, the column and the value.
        """
        lines = read_rows(
            text, name=name, what="a dyno table", most=MOST_ROWS,
            heading=",".join(example for *_, example in _NEEDED),
            ours=lambda cells: sum(map(bool, _places(cells))) > 1,
        )  # fmt: skip
        line, heading = next(lines)
        columns = _columns(heading, f"{name} line {line}")
        seen, rows = {}, {direction: {} for direction in DIRECTIONS}
        for number, row in lines:
            where = f"{name} line {number}"
            clicks, velocity, force = (_value(row, column, where) for column in columns)
            said = [row[column.at].strip()[:60] for column in columns]
            if clicks != int(clicks) or clicks < 0:
                raise ValueError(
                    f"{where}: {columns[0].heading} is {said[0]!r}; expected a "
                    "whole number of zero or more"
                )
            first = seen.setdefault((clicks, velocity), number)
            if first != number:
                raise ValueError(
                    f"{where}: {columns[1].heading} is {said[1]!r} at click {clicks:g} again, as "
                    f"in line {first}; expected each once"
                )
            if velocity * force < 0 or (velocity == 0 and force != 0):
                expected = "0 where nothing moves" if velocity == 0 else "the sign of the velocity"
                raise ValueError(
                    f"{where}: {columns[2].heading} is {said[2]!r} at velocity "
                    f"{said[1]}; expected {expected}: gas force and friction taken off, both "
                    "positive in compression"
                )
            if velocity != 0:
                direction = DIRECTIONS[velocity < 0]
                rows[direction].setdefault(int(clicks), []).append(
                    (abs(velocity), abs(force), number)
                )
        sides = {}
        for direction, sign in zip(DIRECTIONS, ("above", "below"), strict=True):
            found = rows[direction]
            if len(found) < 2:
                had = f"only click {next(iter(found))}" if found else "no row"
                raise ValueError(
                    f"{name}: column {columns[0].heading} has {had} with a velocity {sign} zero; "
                    f"expected {direction} at two clicks or more"
                )
            sides[direction] = {
                click: _rising(found[click], f"{name} line", columns[2].heading, click)
                for click in sorted(found)
            }
        return cls(name, **sides)

    def half(self, direction, clicks):
        """Force over speed of one direction, between the neighbouring clicks measured.

        Parameters
        ----------
        direction : {"compression", "rebound"}
        clicks : float
            Out from fully closed.

        Returns
        -------
        x, y : array
            Knots from (0, 0) [m/s], [N], as far as both neighbours were measured.

        Raises
        ------
        ValueError
            If the click is outside those measured.
        """
        side = getattr(self, direction)
        known = np.array(list(side))
        if not known[0] <= clicks <= known[-1]:
            raise ValueError(
                f"{direction} clicks is {clicks:g} out; expected {known[0]} to {known[-1]}, which "
                f"is what {self.name} measured"
            )
        above = int(np.searchsorted(known, clicks))
        high = side[known[above]]
        if known[above] == clicks:
            return high.x, high.y
        low = side[known[above - 1]]
        share = (clicks - known[above - 1]) / (known[above] - known[above - 1])
        x = np.union1d(low.x, high.x)
        x = x[x <= min(low.x[-1], high.x[-1])]
        return x, (1 - share) * low(x) + share * high(x)


@dataclass(frozen=True)
class _Column:
    heading: str
    at: int
    factor: float


_NEEDED = (
    (("clicks", "click"), None, "clicks (out)"),
    (("velocity",), "velocity", "velocity (in/s)"),
    (("force",), "force", "force (lbf)"),
)
"""Columns of a dyno table: names, kind and an example of each."""


def _places(cells):
    """Where the columns needed are, each of which should be there once."""
    titles = [cell.partition("(")[0].strip().lower() for cell in cells]
    return [[i for i, title in enumerate(titles) if title in names] for names, *_ in _NEEDED]


def _columns(cells, where):
    """The three columns needed, from the heading row."""
    headings = [cell.strip()[:60] for cell in cells]
    found = []
    for at, (names, kind, example) in zip(_places(cells), _NEEDED, strict=True):
        if len(at) != 1:
            had = "twice" if at else "missing"
            raise ValueError(
                f"{where}: column {names[0]} is {had} in {', '.join(headings)[:200]!r}; expected "
                f"one, such as {example!r}"
            )
        heading = headings[at[0]]
        unit = heading.partition("(")[2].rstrip(")").strip()
        if kind is None:
            if unit not in ("", "out"):
                raise ValueError(
                    f"{where}: column {heading!r} counts clicks {unit!r}; expected {example!r}, "
                    "out from fully closed"
                )
            factor = 1.0
        elif not unit:
            raise ValueError(f"{where}: column {heading!r} has no unit; write it like {example!r}")
        else:
            try:
                factor = parse(f"1 {unit}", kind)
            except ValueError:
                raise ValueError(
                    f"{where}: column {heading!r} has the unit {unit!r}; expected one of {kind}, "
                    f"as in {example!r}"
                ) from None
        found.append(_Column(heading, at[0], factor))
    return found


def _value(row, column, where):
    text = row[column.at].strip()
    try:
        number = float(text) * column.factor
    except ValueError:
        number = np.nan
    if not np.isfinite(number):
        raise ValueError(f"{where}: {column.heading} is {text[:60]!r}; expected a finite number")
    return number


def _rising(rows, where, heading, click):
    """One click's curve from (0, 0); the rows may come in any order."""
    rows = sorted(rows)
    for slow, fast in zip(rows, rows[1:], strict=False):
        if fast[1] < slow[1]:
            raise ValueError(
                f"{where} {fast[2]}: {heading} at click {click} is smaller than in line {slow[2]}, "
                "at a lower speed; expected it to rise with speed"
            )
    x, y, _ = np.array([(0.0, 0.0, 0), *rows], dtype=float).T
    return Curve(x, y)


@dataclass(frozen=True, kw_only=True)
class Damper:
    """A damper by what is inside it, or by what a dyno measured.

    The reservoir's gas is taken to press on the compression chamber straight, with no valve in
    between: there the pressure is the gas pressure, and the rebound chamber's is lower by the drop
    across the piston in compression, higher by it in rebound. So the force of the flow is that
    drop on the piston less the rod, either way, and the gas force (pressure on the rod) is apart.

    Parameters
    ----------
    piston_diameter : float, optional
        Of the bore it runs in [m]; needed with ``valving``, and with a table to tell when the
        oil boils.
    rod_diameter : float, optional
        Of the rod, as in the gas [m]; needed with ``piston_diameter``.
    valving : Valving, optional
        What is inside; this or a table.
    table : DynoTable, optional
        What a dyno measured, in a CSV beside the vehicle file.
    vapour_pressure : float
        Absolute pressure at which the oil boils [Pa]. That of a mineral oil is next to nothing
        when warm (from memory); air dissolved in it comes out sooner.

    Raises
    ------
    ValueError
        If there is not exactly one of valving and table, or a diameter is missing or too large.
    """

    piston_diameter: Size | None = None
    rod_diameter: Size | None = None
    valving: Valving | None = None
    table: DynoTable | None = None
    vapour_pressure: Pressure = 100.0

    def __post_init__(self):
        take_in(self)
        laws = [name for name in ("valving", "table") if getattr(self, name) is not None]
        if len(laws) != 1:
            had = " and ".join(laws) or "no law"
            raise ValueError(f"damper has {had}; expected exactly one of valving, table")
        sizes = (self.piston_diameter, self.rod_diameter)
        if None in sizes:
            if laws == ["valving"] or sizes != (None, None):
                raise ValueError(
                    f"piston_diameter is {sizes[0]} and rod_diameter is {sizes[1]}; expected both"
                )
        elif not self.rod_diameter < self.piston_diameter:
            raise ValueError(
                f"rod_diameter is {self.rod_diameter:g} m; expected less than piston_diameter, "
                f"{self.piston_diameter:g} m"
            )

    @property
    def adjusters(self):
        """Names of the adjusters that change something."""
        return (self.valving or self.table).adjusters

    @property
    def area(self):
        """Piston less rod: what the flow acts on [m^2]; nan if the diameters are not known."""
        if self.piston_diameter is None:
            return np.nan
        return np.pi / 4 * (self.piston_diameter**2 - self.rod_diameter**2)

    def _checked(self, clicks):
        """Clicks of every adjuster that changes something, none below zero."""
        clicks = {} if clicks is None else clicks
        for name in self.adjusters:
            if name not in clicks:
                raise ValueError(f"clicks has no {name!r}; expected {', '.join(self.adjusters)}")
            if not np.all(np.asarray(clicks[name], dtype=float) >= 0):
                raise ValueError(
                    f"{name} clicks is {clicks[name]!r}; expected zero or more, out from closed"
                )
        return {name: clicks[name] for name in self.adjusters}

    def _refuse_temperature(self, temperature):
        if temperature is not None:
            raise ValueError(
                f"temperature is {temperature!r}; expected none: {self.table.name} holds at the "
                "temperature it was measured at"
            )

    def force(self, velocity, *, clicks, temperature=None):
        """Force of the damper along the shaft, gas and friction apart.

        Parameters
        ----------
        velocity : float or array
            Of the shaft, positive in compression [m/s].
        clicks : dict of str to float or array
            Out from fully closed, by adjuster; arrays broadcast against the velocity.
        temperature : float, optional
            Of the oil [K]; 40 degC if not given.

        Returns
        -------
        float or array
            Positive resisting compression [N].

        Raises
        ------
        ValueError
            If a click is missing, or outside what was measured, or the velocity is.
        """
        velocity = np.asarray(velocity, dtype=float)
        clicks = self._checked(clicks)
        if self.table is not None:
            self._refuse_temperature(temperature)
            return self._table_force(velocity, clicks)
        drop = [
            self.valving.pressure(
                self.area * np.maximum(sign * velocity, 0.0),
                direction=direction, clicks=clicks, temperature=temperature,
            )
            for direction, sign in zip(DIRECTIONS, (1.0, -1.0), strict=True)
        ]  # fmt: skip
        return (self.area * np.where(velocity < 0, -drop[1], drop[0]))[()]

    def _table_force(self, velocity, clicks):
        curve = self.curve(clicks=clicks)
        batch = curve.x.shape[:-1]
        low, high = curve.x[..., 0], curve.x[..., -1]
        outside = ~((velocity >= low) & (velocity <= high) | np.isnan(velocity))
        if np.any(outside):
            worst = [np.broadcast_to(a, outside.shape)[outside][0] for a in (velocity, low, high)]
            raise ValueError(
                f"velocity is {worst[0]:g} m/s; expected {worst[1]:g} to {worst[2]:g} m/s, which "
                f"is what {self.table.name} measured"
            )
        shape = np.broadcast_shapes(velocity.shape, batch)
        return curve(np.broadcast_to(velocity, shape))

    def power(self, velocity, *, clicks, temperature=None):
        """Heat made [W]; arguments as for `force`."""
        return np.asarray(velocity, dtype=float) * self.force(
            velocity, clicks=clicks, temperature=temperature
        )

    def curve(self, *, clicks, temperature=None, up_to=None):
        """Force over velocity as straight pieces, for whatever asks often.

        Parameters
        ----------
        clicks : dict of str to float or array
            Out from fully closed, by adjuster; arrays give a batch of curves.
        temperature : float, optional
            Of the oil [K].
        up_to : float, optional
            Speed to draw it to, either way [m/s]; 20 m/s if not given. A table ends where it was
            measured.

        Returns
        -------
        Curve
            Knots where the valves crack and are fully open, at zero, and so close between that
            the error stays below `CURVE_TOLERANCE` of the force (of `SMALL_FORCE` below that).
            Known from its first to its last knot. Past them the last slope is carried on, so
            that a run can go through: whoever reads it there must say so.

        Raises
        ------
        ValueError
            If an adjuster's clicks are missing, or ``up_to`` is not a speed, or is given for a
            table.
        """
        clicks = self._checked(clicks)
        if self.table is not None:
            self._refuse_temperature(temperature)
            if up_to is not None:
                raise ValueError(f"up_to is {up_to!r}; expected none: a table ends where it ends")
            halves = [self._table_half(direction, clicks) for direction in DIRECTIONS]
        else:
            up_to = FASTEST if up_to is None else up_to
            if not (np.ndim(up_to) == 0 and 0 < up_to < np.inf):
                raise ValueError(f"up_to is {up_to!r}; expected a speed above zero")
            halves = [
                self._valving_half(direction, clicks, temperature, float(up_to))
                for direction in DIRECTIONS
            ]
        (x_in, y_in, end_in), (x_out, y_out, end_out) = halves
        batch = np.broadcast_shapes(x_in.shape[:-1], x_out.shape[:-1])

        def joined(inward, outward):
            parts = (-outward[..., :0:-1], inward)
            return np.concatenate([np.broadcast_to(p, batch + p.shape[-1:]) for p in parts], -1)

        ends = (np.broadcast_to(end, batch) for end in (end_out, end_in))
        return Curve(joined(x_in, x_out), joined(y_in, y_out), *ends)

    def _table_half(self, direction, clicks):
        clicks = np.asarray(clicks[direction], dtype=float)
        halves = [self.table.half(direction, c) for c in clicks.ravel()]
        most = max(x.size for x, _ in halves)
        x, y = (
            # A copy of the last knot keeps the batch rectangular.
            np.array([np.pad(half[i], (0, most - half[i].size), mode="edge") for half in halves])
            for i in (0, 1)
        )
        ends = [np.diff(y)[-1] / np.diff(x)[-1] for x, y in halves]
        shape = clicks.shape
        return x.reshape(*shape, most), y.reshape(*shape, most), np.reshape(ends, shape)

    def _valving_half(self, direction, clicks, temperature, up_to):
        """Knots from (0, 0), spread so that each piece errs by the same share of its force.

        Force over velocity is known as a parameter curve in q, the root of the pressure; a chord
        of length h errs by h^2 F'' / 8, which sets how many knots a stretch of q needs.
        """
        flow = self.valving._flow(direction, clicks, temperature)
        area = self.area
        last = flow.root(area * up_to)
        bounds = [np.zeros_like(last), np.minimum(flow.cracked, last)]
        bounds += [np.minimum(flow.opened, last), last]
        each = flow.spread()
        ease = np.sqrt(SMALL_FORCE / area)  # q of the small force: finer than that adds nothing
        share = np.linspace(0.0, 1.0, 257)
        knots = [np.zeros_like(last)[..., None]]
        for start, stop in zip(bounds, bounds[1:], strict=False):
            if not np.any(stop > start):
                continue
            start, stop = start[..., None], stop[..., None]
            q = (start + ease) * ((stop + ease) / (start + ease)) ** share - ease
            inside = np.clip(q, start, np.nextafter(stop, 0.0))  # never on the next piece
            slope, bend = np.maximum(each.slope(inside), 1e-300), each.bend(inside)
            force = np.maximum(area * q**2, SMALL_FORCE)
            # The margin is for chords that are not short against the bend's own change.
            density = np.sqrt(
                1.5 * area * np.abs(slope - inside * bend) / (4 * CURVE_TOLERANCE * force * slope)
            )
            piece = 0.5 * (density[..., 1:] + density[..., :-1]) * np.diff(q)
            count = np.concatenate([np.zeros_like(start), np.cumsum(piece, axis=-1)], axis=-1)
            most = int(np.ceil(np.max(count[..., -1]))) + 1
            place = np.linspace(0.0, 1.0, most + 1)[1:]
            flat = [
                np.interp(place * c[-1], c, along) if c[-1] > 0 else np.full(most, along[-1])
                for c, along in zip(
                    count.reshape(-1, count.shape[-1]), q.reshape(-1, q.shape[-1]), strict=True
                )
            ]
            found = np.reshape(flat, (*last.shape, most))
            found[..., -1] = stop[..., 0]  # the kink itself, free of rounding
            knots.append(found)
        q = np.concatenate(knots, axis=-1)
        x = each(q) / area
        x[..., -1] = up_to
        end = 2 * area**2 * last / flow.slope(last)
        return x, area * q**2, end

    def cavitation_speed(self, gas_pressure, *, clicks, temperature=None):
        """Shaft speed in compression at which the rebound chamber starts to boil.

        Parameters
        ----------
        gas_pressure : float or array
            Of the reservoir's gas, absolute [Pa].
        clicks : dict of str to float or array
            Out from fully closed, by adjuster.
        temperature : float, optional
            Of the oil [K].

        Returns
        -------
        float or array
            [m/s]; zero where the gas itself is below the vapour pressure, ``inf`` where a table
            does not reach as far.

        Raises
        ------
        ValueError
            If an adjuster's clicks are missing, or a table comes without the piston's diameter.

        Notes
        -----
        The pressure drop across the piston in compression is taken from the gas pressure, see
        `Damper`. In rebound no chamber is below the gas pressure.
        """
        clicks = self._checked(clicks)
        drop = np.maximum(np.asarray(gas_pressure, dtype=float) - self.vapour_pressure, 0.0)
        if self.valving is not None:
            flow = self.valving.flow(
                drop, direction="compression", clicks=clicks, temperature=temperature
            )
            return (flow / self.area)[()]
        if self.piston_diameter is None:
            raise ValueError(
                f"piston_diameter is missing beside {self.table.name}; expected piston_diameter "
                "and rod_diameter, to tell pressure from force"
            )
        curve = self.curve(clicks=clicks, temperature=temperature)
        speed = np.asarray(curve.reach(drop * self.area))
        return np.where(speed > curve.x[..., -1], np.inf, speed)[()]


def stroke_energy(curve, *, amplitude, frequency, direction):
    """Heat made in one stroke of a sine.

    Parameters
    ----------
    curve : Curve
        Force [N] over velocity [m/s], or a batch.
    amplitude : float or array
        Of the shaft, centre to end [m].
    frequency : float or array
        [Hz]
    direction : {"compression", "rebound"}

    Returns
    -------
    float or array
        [J]

    Raises
    ------
    ValueError
        If the peak velocity is past the curve's last knot.

    Notes
    -----
    Exact for the straight pieces: with v = V cos(phi), dx = a cos(phi) dphi, each piece is a sum
    of sine and angle.
    """
    if direction not in DIRECTIONS:
        raise ValueError(f"direction is {direction!r}; expected compression or rebound")
    sign = 1.0 if direction == "compression" else -1.0
    amplitude, frequency = np.asarray(amplitude, float), np.asarray(frequency, float)
    if not (np.all(amplitude > 0) and np.all(frequency > 0)):
        raise ValueError(
            f"amplitude is {amplitude} m and frequency is {frequency} Hz; expected both above zero"
        )
    peak = 2 * np.pi * frequency * amplitude
    x, y = (sign * side if sign > 0 else (sign * side)[..., ::-1] for side in (curve.x, curve.y))
    if np.any(peak > x[..., -1]):
        raise ValueError(
            f"amplitude {np.max(amplitude):g} m at {np.max(frequency):g} Hz moves the shaft at "
            f"{np.max(peak):g} m/s; expected at most {np.min(x[..., -1]):g} m/s, where the damper "
            "is known"
        )
    run = np.diff(x, axis=-1)
    slope = np.divide(np.diff(y, axis=-1), run, out=np.zeros_like(run), where=run > 0)
    offset = y[..., :-1] - slope * x[..., :-1]
    peak = peak[..., None]
    angle = np.arccos(np.clip(x, 0.0, peak) / peak)
    through = -np.diff(np.sin(angle), axis=-1)
    square = -np.diff(0.5 * angle + 0.25 * np.sin(2 * angle), axis=-1)
    quarter = np.sum(offset * through + slope * peak * square, axis=-1)
    return (2 * amplitude * quarter)[()]


def equivalent_damping(curve, *, amplitude, frequency, direction):
    """The linear coefficient that makes the same heat in that stroke.

    Parameters and errors are those of `stroke_energy`.

    Returns
    -------
    float or array
        [N s/m]

    Notes
    -----
    A linear damper makes pi c w a^2 a cycle, half of it each stroke (Rao, Mechanical Vibrations,
    equivalent viscous damping).
    """
    energy = stroke_energy(curve, amplitude=amplitude, frequency=frequency, direction=direction)
    amplitude, frequency = np.asarray(amplitude, float), np.asarray(frequency, float)
    return energy / (np.pi**2 * frequency * amplitude**2)
