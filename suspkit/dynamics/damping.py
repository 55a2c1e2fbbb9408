"""What the clickers do: damping ratio at each click, on both sides of crossover."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from suspkit.given import number, numbers, refuse
from suspkit.parts.damper import DIRECTIONS, equivalent_damping
from suspkit.statics.settle import settle, tips_over
from suspkit.units import GRAVITY, INCH
from suspkit.vehicle.corner import assemble
from suspkit.vehicle.entrance import known_axle, known_load, known_setup, known_temperature
from suspkit.vehicle.setup import AXLES, CORNERS, Setup

AMPLITUDE = 2 * INCH
"""Wheel travel either way at which a damper's coefficient is taken unless told otherwise [m]."""

FREQUENCY = 1.5
"""And how often [Hz]: near the ride frequency of these vehicles, so mid-range shaft speeds."""

STATED = (INCH, 4 * INCH)
"""Where a ratio is told twice, since it depends on the amplitude [m]: a ripple and a big hit."""

PLACES = {
    "ride": "at ride height",
    "below": "just below crossover",
    "past": "just past crossover",
}
"""Where a corner's damping ratio is told."""


def damping_ratio(damping, *, rate, mass):
    """Share of critical damping.

    Parameters
    ----------
    damping : float or array
        Coefficient at the wheel [N s/m].
    rate : float or array
        At the wheel [N/m].
    mass : float or array
        Carried there [kg].

    Returns
    -------
    float or array
        c / (2 sqrt(k m)) [-] (Rao, Mechanical Vibrations); nan where rate or mass is not above
        zero.
    """
    critical = 2 * np.sqrt(np.maximum(np.asarray(rate, dtype=float) * mass, 0.0))
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(critical > 0, damping / critical, np.nan)[()]


def damping_ratios(
    vehicle, setup=None, *, load=None, amplitude=AMPLITUDE, frequency=FREQUENCY, temperature=None
):
    """Damping ratio of every corner at every click, at ride and on both sides of crossover.

    Parameters
    ----------
    vehicle : Vehicle
    setup : Setup, optional
        Not a batch.
    load : str, optional
        Named load; nothing aboard if None.
    amplitude : float or sequence of float
        Wheel travel either way at which the damper's coefficient is taken [m]. Of several, one
        that a measured damper does not reach gives nan.
    frequency : float
        And how often [Hz].
    temperature : float, optional
        Of the oil [K].

    Returns
    -------
    pandas.DataFrame
        One row a corner, place (keys of `PLACES`), direction and click of that direction's
        adjuster, counted as the vehicle file does. A corner without a crossover short of full bump
        has the place "ride" only. Columns: ``corner``, ``where``, ``direction``, ``clicks``,
        ``out`` (the same from closed), ``set`` (this is how it is set), ``amplitude``, ``ratio``,
        ``damping`` and ``wheel_rate`` at the wheel, ``mass``, ``travel``, ``motion_ratio``, and
        ``stop`` (the bump stop works there). Units are in ``attrs["units"]``, ``amplitude`` and
        ``frequency`` in ``attrs`` too.

    Raises
    ------
    ValueError
        If a shock has no damper, or a measured one does not reach the one amplitude asked.

    Notes
    -----
    A damper that is not linear has no one ratio. Its coefficient here is that of a linear one
    that makes the same heat in one stroke of this amplitude and frequency, bump and rebound
    apart, times the motion ratio squared. The ratio is of the sprung mass on its wheel rate,
    tyre and bar aside. Both sides of crossover are taken at the crossover itself, so nothing but
    the rate differs between them: the clicker did not move, the ratio did. Their rate is that of
    springs and gas, as for the ride frequency there: a bump stop that works already would hide
    what the ring does. At ride height all that carries counts.
    """
    import pandas as pd

    setup, load = known_setup(vehicle, setup), known_load(vehicle, load)
    amplitude = numbers("amplitude", amplitude, "length")
    frequency = number("frequency", frequency, "frequency")
    temperature = known_temperature(temperature)
    corners = assemble(vehicle, setup)
    stance = settle(vehicle, setup, load=load, corners=corners)
    if stance.tipped:
        raise ValueError(tips_over(load))
    several = np.ndim(amplitude) > 0
    rows = []
    for i, name in enumerate(CORNERS):
        corner, clicks = corners[name], getattr(setup, name).clicks
        mass = float(stance.wheel_force[i]) / GRAVITY
        places = _places(corner, float(stance.travel[i]), float(stance.wheel_rate[i]))
        for direction in DIRECTIONS:
            count, curve = _family(corner, direction, clicks, temperature)
            now = clicks.get(direction, corner.shock.clickers[direction].middle if count else 0)
            at = np.arange(count + 1)
            out = at
            if count and corner.shock.clickers[direction].zero == "open":
                out = count - at
            for where, (travel, rate) in places.items():
                ratio = float(corner.linkage.motion_ratio(travel))
                stop = bool(corner.linkage.compression(travel) > corner.shock.bump_touch)
                for swing in np.atleast_1d(amplitude):
                    damping = ratio**2 * np.broadcast_to(
                        _coefficient(curve, swing * ratio, frequency, direction, several), at.shape
                    )
                    rows.append(
                        pd.DataFrame(
                            {
                                "corner": name, "where": where, "direction": direction,
                                "clicks": at, "out": out, "set": at == now, "amplitude": swing,
                                "ratio": damping_ratio(damping, rate=rate, mass=mass),
                                "damping": damping, "wheel_rate": rate, "mass": mass,
                                "travel": travel, "motion_ratio": ratio, "stop": stop,
                            }
                        )
                    )  # fmt: skip
    table = pd.concat(rows, ignore_index=True)
    table.attrs.update(
        units={
            "ratio": "", "damping": "N*s/m", "wheel_rate": "N/m", "mass": "kg", "travel": "m",
            "motion_ratio": "", "clicks": "", "out": "", "amplitude": "m",
        },
        amplitude=amplitude.tolist(),
        frequency=frequency,
    )  # fmt: skip
    return table


def _places(corner, travel, rate):
    """Wheel travel and wheel rate at ride, and on both sides of crossover if it can be met."""
    places = {"ride": (travel, rate)}
    met = float(np.max(corner.crossover))
    if met < corner.shock.full_bump:
        at = float(corner.linkage.travel(met))
        for where, side in zip(("below", "past"), corner.crossover_rates, strict=True):
            places[where] = (at, float(np.max(side)))
    return places


def _coefficient(curve, amplitude, frequency, direction, several):
    """Of the shaft [N s/m]; of several amplitudes, nan where the damper is not known."""
    known = np.abs(curve.x[..., -1 if direction == "compression" else 0]).min()
    if several and 2 * np.pi * frequency * amplitude > known:
        return np.nan
    return equivalent_damping(curve, amplitude=amplitude, frequency=frequency, direction=direction)


def _family(corner, direction, clicks, temperature):
    """Clicks of a direction's adjuster, and the damper's curve at each of them."""
    shock = corner.shock
    if shock.damper is None:
        axle = "front" if corner.name in AXLES["front"] else "rear"
        raise ValueError(f"{axle}.shock.damper is missing; expected a damper in the vehicle file")
    if direction not in shock.clickers:
        return 0, shock.damper_curve(clicks, temperature=temperature)
    count = int(shock.clickers[direction].count)
    every = clicks | {direction: np.arange(count + 1)}
    return count, shock.damper_curve(every, temperature=temperature)


@dataclass(frozen=True, kw_only=True, eq=False)
class ClickSolution:
    """Clicks for a damping ratio, and whether any click gives it.

    Attributes
    ----------
    ok : bool
        The target is between what the adjuster's ends give; the answer is the nearest click.
    setup : Setup
        With the answer on both sides of the axle.
    axle, direction, where : str
        What was asked.
    clicks : int
        The answer, counted as the vehicle file does.
    ratio : float
        Damping ratio with it, mean of left and right [-].
    middle : int
        The mid-range click.
    middle_ratio : float
        Damping ratio there [-].
    from_middle : int
        Clicks from mid-range to the answer; zero if mid-range is it.
    message : str
        One or more plain sentences.
    """

    ok: bool
    setup: Setup
    axle: str
    direction: str
    where: str
    clicks: int
    ratio: float
    middle: int
    middle_ratio: float
    from_middle: int
    message: str


def solve_clicks(
    vehicle, setup=None, *, load=None, axle, ratio, direction="rebound", where="ride", **how
):
    """The click whose damping ratio comes nearest to a target.

    Parameters
    ----------
    vehicle : Vehicle
    setup : Setup, optional
        Where to start.
    load : str, optional
        Named load; nothing aboard if None.
    axle : {"front", "rear"}
        Both its corners are set alike.
    ratio : float
        Wanted damping ratio, mean of left and right [-].
    direction : {"compression", "rebound"}
    where : {"ride", "below", "past"}
        See `PLACES`.
    **how
        Amplitude, frequency and temperature, as for `damping_ratios`.

    Returns
    -------
    ClickSolution

    Raises
    ------
    ValueError
        If the axle, direction or place is not known, the axle has no crossover to be below or
        past, or the shock has no such adjuster.
    """
    setup, load = known_setup(vehicle, setup), known_load(vehicle, load)
    known_axle(axle)
    for label, value, known in (("direction", direction, DIRECTIONS), ("where", where, PLACES)):
        if not (isinstance(value, str) and value in known):
            refuse(label, value, " or ".join(known))
    ratio = number(
        "ratio", ratio, "ratio", above=0.0, expected="a damping ratio above zero, such as 0.3"
    )
    clicker = vehicle.axle_of(AXLES[axle][0]).shock.clickers.get(direction)
    if clicker is None:
        raise ValueError(f"{axle} has no {direction} adjuster; expected one to solve for")
    if np.ndim(how.get("amplitude", AMPLITUDE)):
        raise ValueError(f"amplitude is {how['amplitude']}; expected one to solve for")
    table = damping_ratios(vehicle, setup, load=load, **how)
    table = table[
        table.corner.isin(AXLES[axle]) & (table.direction == direction) & (table["where"] == where)
    ]
    if table.empty:
        raise ValueError(
            f"where is {where!r}; expected 'ride': the {axle} has no crossover short of full bump"
        )
    each = table.groupby("clicks").ratio.mean()
    ratios = each.to_numpy()
    if not np.all(np.isfinite(ratios)):
        raise ValueError(
            f"the {axle} carries nothing {PLACES[where]}; expected a load on its wheels"
        )
    middle = clicker.middle
    low, high = ratios.min(), ratios.max()
    away = np.abs(ratios - ratio)
    # Clicks that do the same: the one nearest to mid-range.
    nearest = np.flatnonzero(away <= away.min() + 1e-12)
    clicks = int(nearest[np.argmin(np.abs(nearest - middle))])
    ok = bool(low <= ratio <= high)
    shift = clicks - middle
    changed = {name: getattr(setup, name).clicks | {direction: clicks} for name in AXLES[axle]}
    answer = setup
    for name, new in changed.items():
        answer = answer.change(name, clicks=new)
    counted = f"{_clicks(clicks)} from fully {clicker.zero}"
    place = PLACES[where]
    if ok:
        message = (
            f"{axle} {direction}: {counted} gives a damping ratio of {ratios[clicks]:.2f} {place}."
        )
    else:
        end = "most" if ratio > high else "least"
        message = (
            f"{axle} {direction}: no click gives a damping ratio of {ratio:.2f} {place}; the {end} "
            f"is {ratios[clicks]:.2f}, at {counted}. It takes "
            f"{'stiffer' if ratio > high else 'softer'} valving"
            f"{', or another rate' if where != 'ride' else ''}."
        )
    if shift:
        message += (
            f" Mid-range, {middle}, gives {ratios[middle]:.2f}: it misses by {_clicks(abs(shift))}."
        )
    else:
        message += " That is mid-range."
    return ClickSolution(
        ok=ok, setup=answer, axle=axle, direction=direction, where=where, clicks=clicks,
        ratio=float(ratios[clicks]), middle=middle, middle_ratio=float(ratios[middle]),
        from_middle=shift, message=message,
    )  # fmt: skip


def _clicks(count):
    return f"{count} click" if count == 1 else f"{count} clicks"
