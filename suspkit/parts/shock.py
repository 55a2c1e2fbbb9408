"""The shock around the stack: gas, top-out spring, bump stop, friction, threads and clickers."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from suspkit.core.compiled import announce
from suspkit.core.curve import Curve
from suspkit.given import refuse, take_in
from suspkit.parts.damper import Damper
from suspkit.parts.fields import (
    Clicks,
    Force,
    Pitch,
    Pressure,
    Rate,
    Shift,
    Size,
    Temperature,
    Thin,
    Volume,
)

ATMOSPHERE = 101325.0
"""Standard atmosphere [Pa] (ISO 2533)."""

STOP_RATE = 2.0e7
"""Stiffness of a metal limit [N/m]: a corner resting on one sinks by well under a millimetre.

A plausible value for a shock mount in a tube chassis (common practice, no source); the answers
do not depend on it beyond that sinking.
"""


@dataclass(frozen=True, kw_only=True)
class Gas:
    """Nitrogen behind the piston, pushing the shaft out.

    Parameters
    ----------
    rod_diameter : float
        Of the shaft where it enters the body [m].
    pressure : float
        Gauge pressure at full extension and ``fill_temperature`` [Pa].
    volume : float
        Gas volume at full extension [m^3].
    fill_temperature : float
        Of the gas when it was filled [K].
    """

    rod_diameter: Size
    pressure: Pressure
    volume: Volume
    fill_temperature: Temperature = 293.15

    def __post_init__(self):
        take_in(self)

    @property
    def rod_area(self):
        """Cross-section of the rod [m^2]."""
        return np.pi / 4 * self.rod_diameter**2

    def absolute_pressure(self, compression, *, temperature=None, exponent=1.0):
        """Gas pressure [Pa, absolute].

        Parameters
        ----------
        compression : float or array
            Of the shock from full extension [m].
        temperature : float, optional
            Of the gas at full extension [K]; the fill temperature if not given.
        exponent : float
            1 when settling (isothermal), about 1.4 when moving fast (adiabatic).

        Returns
        -------
        float or array

        Notes
        -----
        Ideal gas, p V^n constant, p proportional to T. Against real nitrogen this is within
        0.3 % isothermally at shock pressures and 2.5 to 3.5 % low adiabatically at 2:1.
        """
        ratio = 1.0 if temperature is None else temperature / self.fill_temperature
        left = self.volume - self.rod_area * np.asarray(compression, dtype=float)
        return (self.pressure + ATMOSPHERE) * ratio * (self.volume / left) ** exponent

    def force(self, compression, *, temperature=None, exponent=1.0):
        """Force pushing the shaft out [N]; arguments as for `absolute_pressure`."""
        pressure = self.absolute_pressure(compression, temperature=temperature, exponent=exponent)
        return (pressure - ATMOSPHERE) * self.rod_area

    def rate(self, compression, *, temperature=None, exponent=1.0):
        """Slope of `force` over compression [N/m]; arguments as for `absolute_pressure`."""
        pressure = self.absolute_pressure(compression, temperature=temperature, exponent=exponent)
        left = self.volume - self.rod_area * np.asarray(compression, dtype=float)
        return exponent * pressure * self.rod_area**2 / left


@dataclass(frozen=True, kw_only=True)
class TopOut:
    """A spring inside the shock that cushions full extension, and gives back some preload.

    Parameters
    ----------
    rate : float
        Force per shock travel [N/m].
    length : float
        Shock travel over which it acts, from full extension [m].
    """

    rate: Rate
    length: Size

    def __post_init__(self):
        take_in(self)


@dataclass(frozen=True, kw_only=True)
class BumpStop:
    """A progressive bumper on the shaft.

    Parameters
    ----------
    free_length : float
        Standing height on the shaft [m]. It is touched this far before the metal limit.
    table : tuple of (squeeze [m], force [N])
        Rising rows from nothing to solid; the last row is as far as it goes.
    """

    free_length: Size
    table: tuple[tuple[Thin, Force], ...]

    def __post_init__(self):
        take_in(self)
        if not self.table:
            refuse("table", self.table, "at least one row of squeeze and force")

    @cached_property
    def law(self):
        """Force [N] over squeeze [m], zero before touch and a hard stop when solid."""
        rows = [(0.0, 0.0), *(tuple(row) for row in self.table if tuple(row) != (0.0, 0.0))]
        squeeze, force = np.array(rows).T
        first = 1 + len(self.table) - len(rows)
        law = Curve.from_table(squeeze, force, name="bump stop table", first_row=first)
        return Curve(law.x, law.y, 0.0, STOP_RATE)


@dataclass(frozen=True, kw_only=True)
class Thread:
    """The threaded body: where collar and stop ring can be.

    Positions are measured down the body from the collar's seat when it is run fully up.

    Parameters
    ----------
    seat_span : float
        From the collar's seat, run fully up, to the retainer's seat at full extension [m].
    collar_travel : float
        How far down the collar can go [m].
    collar_pitch, ring_pitch : float
        Travel per turn [m].
    ring_lowest : float
        Lowest place of the ring's catching face, down from the same seat [m].
    ring_height : float
        Least distance of the ring's catching face below the collar's seat [m].
    """

    seat_span: Size
    collar_travel: Thin
    collar_pitch: Pitch
    ring_pitch: Pitch
    ring_lowest: Size
    ring_height: Thin = 0.0


@dataclass(frozen=True, kw_only=True)
class Clicker:
    """One adjuster with detents.

    Parameters
    ----------
    count : int
        Clicks from fully closed to fully open.
    zero : {"closed", "open"}
        The end a click count starts from; the trade counts out from closed.

    Raises
    ------
    ValueError
        If the count is no whole number above zero, or the end is neither.
    """

    count: Clicks
    zero: str = "closed"

    def __post_init__(self):
        if self.zero not in ("closed", "open"):
            raise ValueError(f"zero is {self.zero!r}; expected 'closed' or 'open'")
        if self.count < 1 or self.count != int(self.count):
            raise ValueError(f"count is {self.count!r}; expected a whole number above zero")

    @property
    def middle(self):
        """The mid-range click, where tuning starts."""
        return int(self.count) // 2


@dataclass(frozen=True, kw_only=True)
class Shock:
    """One coil-over shock without its springs.

    Parameters
    ----------
    extended_length : float
        Eye to eye at the metal limit of extension [m].
    stroke : float
        From there to metal on metal, bump stop taken off [m].
    thread : Thread
        Where collar and stop ring can be.
    gas : Gas, optional
        Its charge.
    top_out : TopOut, optional
        Spring at full extension.
    bump_stop : BumpStop, optional
        Bumper at full bump.
    friction : float, optional
        Seal and bushing drag at the shaft, either way [N]. If not given it is not known, which is
        not none: a share of the spring force is assumed, and said to be.
    divider_lip : float
        How far the divider's contact lip sits inside its visible edge [m]: travel to contact is
        the gap as the tape reads it plus this.
    divider_height : float
        Length one divider adds to the stack [m].
    retainer_clearance : float
        How far the stack must be squeezed off the retainer to slip it out [m].
    clickers : dict of str to Clicker
        By the name a set-up calls them.
    damper : Damper, optional
        What resists motion. Its adjusters must be among the clickers.

    Raises
    ------
    ValueError
        If the parts do not fit each other.
    """

    extended_length: Size
    stroke: Size
    thread: Thread
    gas: Gas | None = None
    top_out: TopOut | None = None
    bump_stop: BumpStop | None = None
    friction: Force | None = None
    divider_lip: Shift = 0.0
    divider_height: Thin = 0.0
    retainer_clearance: Thin = 0.0127
    clickers: dict[str, Clicker] = field(default_factory=dict)
    damper: Damper | None = None

    def __post_init__(self):
        take_in(self)
        if self.gas is not None:
            swept = self.gas.rod_area * self.stroke
            if swept >= self.gas.volume:
                raise ValueError(
                    f"gas volume {self.gas.volume * 1e6:.0f} cm3 is not larger than the "
                    f"{swept * 1e6:.0f} cm3 the rod pushes in over the stroke; "
                    "expected a larger volume"
                )
        if self.top_out is not None and self.top_out.length > self.stroke:
            raise ValueError(
                f"top_out length {self.top_out.length:g} m is longer than the stroke "
                f"{self.stroke:g} m; expected shorter"
            )
        if self.bump_stop is not None and self.bump_stop.free_length > self.stroke:
            raise ValueError(
                f"bump stop free_length {self.bump_stop.free_length:g} m is longer than the "
                f"stroke {self.stroke:g} m; expected shorter"
            )
        if self.damper is not None:
            self._check_damper()

    def _check_damper(self):
        for name in self.damper.adjusters:
            if name not in self.clickers:
                raise ValueError(f"clickers has no {name!r}; expected one, the damper is set by it")
        rod = self.damper.rod_diameter
        if rod is not None and self.gas is not None and abs(rod - self.gas.rod_diameter) > 1e-6:
            raise ValueError(
                f"damper.rod_diameter is {rod:g} m; expected {self.gas.rod_diameter:g} m, as "
                "gas.rod_diameter"
            )

    @property
    def bump_touch(self):
        """Compression at which the bump stop is touched (the stroke if there is none) [m]."""
        return self.stroke - (self.bump_stop.free_length if self.bump_stop else 0.0)

    @property
    def full_bump(self):
        """Compression at which nothing more gives: bump stop solid, or metal on metal [m]."""
        if self.bump_stop is None:
            return self.stroke
        return min(self.stroke, self.bump_touch + float(self.bump_stop.law.x[-1]))

    @cached_property
    def limits(self):
        """Force [N] over compression [m] of top-out spring, bump stop and metal limits.

        Returns
        -------
        Curve
            Negative where the top-out spring holds the shaft in, positive on the bump stop.
        """
        # Metal on metal at both ends: a stiff stop, so that resting on it is still an answer.
        curve = Curve([0.0, self.full_bump], [0.0, 0.0], STOP_RATE, STOP_RATE)
        if self.top_out is not None:
            top = self.top_out
            curve = curve + Curve([0.0, top.length], [-top.rate * top.length, 0.0], top.rate, 0.0)
        if self.bump_stop is not None:
            law = self.bump_stop.law
            keep = Curve(law.x, law.y, 0.0, 0.0)  # the metal limit above already ends the travel
            curve = curve + keep.shift(dx=self.bump_touch)
        return curve

    @property
    def gas_numbers(self):
        """Rod area [m^2], absolute pressure [Pa], volume [m^3] and atmosphere [Pa] as an array,
        for the compiled kernel; a zero area is no gas."""
        gas = self.gas
        if gas is None:
            return np.array([0.0, 0.0, 1.0, 0.0])
        return np.array([gas.rod_area, gas.pressure + ATMOSPHERE, gas.volume, ATMOSPHERE])

    def gas_force(self, compression, *, temperature=None, exponent=1.0):
        """Gas force [N], zero without gas; arguments as for `Gas.absolute_pressure`."""
        if self.gas is None:
            return np.zeros(np.shape(compression))[()]
        return self.gas.force(compression, temperature=temperature, exponent=exponent)

    def gas_rate(self, compression, *, temperature=None, exponent=1.0):
        """Gas rate [N/m], zero without gas; arguments as for `Gas.absolute_pressure`."""
        if self.gas is None:
            return np.zeros(np.shape(compression))[()]
        return self.gas.rate(compression, temperature=temperature, exponent=exponent)

    def clicks_set(self, clicks=None):
        """Every adjuster's clicks as the vehicle file counts them, mid-range where left out.

        Parameters
        ----------
        clicks : dict of str to float or array, optional
            By adjuster.

        Returns
        -------
        dict of str to float or array

        Raises
        ------
        ValueError
            If there is no such adjuster.
        """
        clicks = {} if clicks is None else clicks
        for name in clicks:
            if name not in self.clickers:
                known = ", ".join(self.clickers) or "none, this shock has no adjuster"
                raise ValueError(f"clicks has {name!r}; expected {known}")
        return {name: clicks.get(name, one.middle) for name, one in self.clickers.items()}

    def clicks_out(self, clicks=None):
        """Clicks as the vehicle file counts them, turned to clicks out from fully closed.

        Parameters
        ----------
        clicks : dict of str to float or array, optional
            By adjuster, each counted from the end its `Clicker` names. An adjuster left out stands
            mid-range.

        Returns
        -------
        dict of str to float or array

        Raises
        ------
        ValueError
            If there is no such adjuster, or it has no such click.
        """
        out = {}
        for name, given in self.clicks_set(clicks).items():
            clicker, at = self.clickers[name], np.asarray(given, dtype=float)
            if not np.all((at >= 0) & (at <= clicker.count) & (at == np.round(at))):
                raise ValueError(
                    f"{name} clicks is {given}; expected a whole number from 0 to "
                    f"{clicker.count:g}, counted from fully {clicker.zero}"
                )
            out[name] = (at if clicker.zero == "closed" else clicker.count - at)[()]
        return out

    def _damper(self):
        if self.damper is None:
            raise ValueError("damper is missing; expected a damper in the shock's table")
        return self.damper

    def damper_force(self, velocity, clicks=None, *, temperature=None):
        """Force of the damper [N], with clicks as the vehicle file counts them.

        Parameters
        ----------
        velocity : float or array
            Of the shaft, positive in compression [m/s].
        clicks : dict of str to float or array, optional
            See `clicks_out`.
        temperature : float, optional
            Of the oil [K]; 40 degC if not given.

        Returns
        -------
        float or array
            Positive resisting compression; gas and friction apart.
        """
        damper = self._damper()
        return damper.force(velocity, clicks=self.clicks_out(clicks), temperature=temperature)

    def damper_curve(self, clicks=None, *, temperature=None):
        """Force of the damper over shaft velocity, as `Damper.curve`; clicks as `clicks_out`."""
        return self._damper().curve(clicks=self.clicks_out(clicks), temperature=temperature)

    def cavitation_speed(self, compression, clicks=None, *, temperature=None, exponent=1.0):
        """Shaft speed in compression at which the oil behind the piston starts to boil.

        Parameters
        ----------
        compression : float or array
            Of the shock, which sets the gas pressure [m].
        clicks : dict of str to float or array, optional
            See `clicks_out`.
        temperature : float, optional
            Of oil and gas [K].
        exponent : float
            Of the gas, as for `Gas.absolute_pressure`.

        Returns
        -------
        float or array
            [m/s]; ``inf`` where a measured damper does not reach as far.

        Notes
        -----
        The gas is taken to press straight on the compression chamber; see `Damper`. A shock
        without gas has the atmosphere there.
        """
        pressure = ATMOSPHERE
        if self.gas is not None:
            pressure = self.gas.absolute_pressure(
                compression, temperature=temperature, exponent=exponent
            )
        return self._damper().cavitation_speed(
            pressure, clicks=self.clicks_out(clicks), temperature=temperature
        )

    def cavitation_warning(self, velocity, compression, clicks=None, **how):
        """One sentence where a shaft velocity [m/s] is past `cavitation_speed`; else nothing.

        Parameters
        ----------
        velocity, compression : float or array
            Of the shaft, positive in compression [m/s], and where it then is [m].
        clicks : dict of str to float, optional
            See `clicks_out`.
        **how
            Of `cavitation_speed`.

        Returns
        -------
        str
        """
        velocity, limit, compression = np.broadcast_arrays(
            velocity, self.cavitation_speed(compression, clicks, **how), compression
        )
        over = np.where(velocity > 0, velocity - limit, -np.inf)
        worst = int(np.argmax(over))
        if not over.flat[worst] > 0:
            return ""
        return (
            f"At {compression.flat[worst] / 0.0254:.1f} in of compression the shaft moves in at "
            f"{velocity.flat[worst]:.2f} m/s, past the {limit.flat[worst]:.2f} m/s at which the "
            "rebound chamber falls to the oil's vapour pressure: from there it foams and the "
            "damper's force is not what is shown; more gas pressure or softer compression helps."
        )


def hang(shock, linkage, curve, *, weight):
    """Where a shock hangs with a weight on its wheel and nothing under it.

    Parameters
    ----------
    shock : Shock
    linkage : Linkage
    curve : Curve
        Springs and limits over shock compression [N over m], or a batch of them.
    weight : float
        Hanging from the wheel [N]; zero with the lower bolt out.

    Returns
    -------
    float or array
        Wheel travel at which springs, gas, top-out spring and weight balance [m].

    Notes
    -----
    Free-body balance at the wheel by virtual work, F(s) ds/dz + weight = 0, by Newton's method
    kept inside a bracket.
    """
    from suspkit.core import settle_kernel

    announce(settle_kernel.hang_many)
    batch, knots = curve.x.shape[:-1], curve.x.shape[-1]
    found = settle_kernel.hang_many(
        curve.x.reshape(-1, knots), curve.y.reshape(-1, knots), curve.slope_before.reshape(-1),
        curve.slope_after.reshape(-1), shock.gas_numbers, linkage.travel_step,
        len(linkage.coefficients), linkage.coefficients, weight,
    )  # fmt: skip
    return found.reshape(batch)[()]
