"""Where a set-up first bottoms: the height or speed of an event at which metal meets metal."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from suspkit.dynamics import events
from suspkit.dynamics.drive import UntrustedRunError, build, drive
from suspkit.given import number, numbers, refuse, whole
from suspkit.vehicle.entrance import known_corner
from suspkit.vehicle.setup import CORNERS

LOOKS = 9
"""Values looked at first, evenly from low to high: bottoming need not come to stay (a vehicle may
skip over the tops of whoops), so the first one at which it happens is wanted."""


@dataclass(frozen=True, kw_only=True)
class FirstBottoms:
    """The least value at which a corner reaches full bump.

    Attributes
    ----------
    value : float
        ``inf`` if it never bottoms up to ``high``, ``-inf`` if it does at ``low`` already [unit of
        what was varied].
    outcome : {"found", "never", "always"}
    corner : str
        The corner that bottoms there; empty if none does.
    low, high : float
        The range looked at [the same unit].
    travel_used : float
        Largest share of wheel travel to full bump used at ``high``, where it never bottoms, else
        at the value [-].
    message : str
        The same in one sentence.
    """

    value: float
    outcome: str
    corner: str
    low: float
    high: float
    travel_used: float
    message: str


MOST_PLACES = 1000
"""Rows of whoops of one map."""


def first_bottoms(
    vehicle, setup=None, *, event, low, high, load=None, model="full", corner=None,
    tolerance=1e-3, looks=LOOKS, **options,
):  # fmt: skip
    """Find the least height, speed or whatever else at which an event bottoms a corner.

    Parameters
    ----------
    vehicle : Vehicle
    setup : Setup, optional
        The current one if not given.
    event : callable
        Takes the value [any unit] and gives the `suspkit.dynamics.events.Event`, say
        ``lambda height: events.drop(height=height)``.
    low, high : float
        Range of the value [the same unit].
    load : str, optional
        Named load; nothing aboard if None.
    model : {"full", "half", "quarter"}
    corner : str, optional
        The only corner that counts, and the one of a quarter; any corner if not given.
    tolerance : float
        How closely it is found, over the range [-].
    looks : int
        Values tried first, evenly spaced. The first one that bottoms is closed in on.
    **options
        Of `suspkit.dynamics.drive.drive`: ``step``, ``temperature``.

    Returns
    -------
    FirstBottoms

    Raises
    ------
    ValueError
        If the range is empty, or the corner is not one of the model.

    Notes
    -----
    Bisection on whether any counted corner reaches full bump. A run that turns over counts as
    past it. Between two looks that do not bottom it is not looked at.
    """
    low, high = number("low", low), number("high", high)
    if not low < high:
        raise ValueError(f"low is {low!r} and high is {high!r}; expected low below high")
    tolerance = number(
        "tolerance", tolerance, low=1e-9, high=1 - 1e-9, expected="a number between 0 and 1"
    )
    looks = whole("looks", looks, low=2, high=1000)
    if not callable(event):
        refuse("event", event, "a function that takes the value and gives an Event")
    if corner is not None:
        known_corner(corner)
    built = build(
        vehicle, setup, load=load, model=model, corner=corner or CORNERS[0],
        temperature=options.get("temperature"),
    )  # fmt: skip
    names = [c.name for c in built.corners]
    if corner is not None and corner not in names:
        known = ", ".join(names)
        raise ValueError(f"corner is {corner!r}; expected one of {known}, of the {model}")
    counted = np.array([corner is None or name == corner for name in names])

    def at(value):
        """Whether it bottoms, where, and how much of the travel it takes."""
        try:
            run = drive(
                vehicle, setup, event=event(value), load=load, model=model, built=built, **options
            )
        except UntrustedRunError:
            return True, "", np.inf
        past = np.where(counted, run.compression.max(axis=1) - _full_bumps(built), -np.inf)
        worst = int(past.argmax())
        used = float(np.where(counted, run.travel_used, 0.0).max())
        return past[worst] >= 0, names[worst], used

    def answer(value, outcome, seen, what):
        where = seen[1] if outcome != "never" else ""
        which = (where or corner or "any corner").replace("_", " ")
        if seen[2] == np.inf:
            what = f"The vehicle turns over: {what[0].lower()}{what[1:]}"
        return FirstBottoms(
            value=value, outcome=outcome, corner=where, low=low, high=high, travel_used=seen[2],
            message=what.format(which),
        )  # fmt: skip

    tried = np.linspace(low, high, int(looks))
    seen = at(float(tried[0]))
    if seen[0]:
        return answer(-np.inf, "always", seen, f"Bottoms ({{}}) at {low:g} already.")
    for look, above in enumerate(tried[1:]):
        seen = at(float(above))
        if seen[0]:
            below = tried[look]
            break
    else:
        return answer(
            np.inf, "never", seen,
            f"Never bottoms ({{}}) up to {high:g}: there it uses {100 * seen[2]:.0f} % of its "
            "travel.",
        )  # fmt: skip
    below, above = float(below), float(above)
    while above - below > tolerance * (high - low):
        middle = 0.5 * (below + above)
        there = at(middle)
        if there[0]:
            above, seen = middle, there
        else:
            below = middle
    return answer(above, "found", seen, f"First bottoms at {above:.4g} ({{}}).")


def _full_bumps(built):
    return np.array([c.shock.full_bump for c in built.corners])


def whoop_speed_map(
    vehicle, setup=None, *, heights, spacings, slowest=2.0, fastest=25.0, count=6, load=None,
    model="half", tolerance=0.01, looks=12,
):  # fmt: skip
    """At what speed each row of whoops first bottoms the vehicle.

    Parameters
    ----------
    vehicle : Vehicle
    setup : Setup, optional
        The current one if not given.
    heights, spacings : sequence of float
        Of the whoops, trough to crest and crest to crest [m].
    slowest, fastest : float
        Speeds looked at [m/s].
    count : int
        Whoops in a row.
    load : str, optional
        Named load; nothing aboard if None.
    model : {"full", "half", "quarter"}
        Both wheels of an axle meet a whoop together, so half a vehicle says as much as all of it.
    tolerance : float
        How closely each speed is found, over the range of speeds [-].
    looks : int
        Speeds tried first, evenly spaced.

    Returns
    -------
    pandas.DataFrame
        Speed [m/s] by height (rows) and spacing (columns) [m]: ``inf`` where it never bottoms up to
        the fastest, ``-inf`` where it does at the slowest. ``attrs["units"]`` names the units.

    Raises
    ------
    ValueError
        If a height, spacing or speed is out of range.
    """
    import pandas as pd

    slowest = number("slowest", slowest, "speed", above=0.0, high=1000.0)
    fastest = number("fastest", fastest, "speed", above=0.0, high=1000.0)
    if not slowest < fastest:
        raise ValueError(
            f"slowest is {slowest:g} and fastest is {fastest:g} m/s; expected slowest below fastest"
        )
    heights = numbers("heights", heights, "length", above=0.0, high=10.0).ravel().tolist()
    spacings = numbers("spacings", spacings, "length", above=0.0, high=1000.0).ravel().tolist()
    if len(heights) * len(spacings) > MOST_PLACES:
        raise ValueError(
            f"heights and spacings make {len(heights) * len(spacings)} rows of whoops; expected at "
            f"most {MOST_PLACES}"
        )
    rows = []
    for height in heights:
        rows.append([])
        for spacing in spacings:

            def event(speed, height=height, spacing=spacing):
                return events.whoops(height=height, spacing=spacing, speed=speed, count=count)

            found = first_bottoms(
                vehicle, setup, event=event, low=slowest, high=fastest, load=load, model=model,
                tolerance=tolerance, looks=looks,
            )  # fmt: skip
            rows[-1].append(found.value)
    table = pd.DataFrame(
        rows, index=pd.Index([float(h) for h in heights], name="height"),
        columns=pd.Index([float(s) for s in spacings], name="spacing"), dtype=float,
    )  # fmt: skip
    table.attrs["units"] = {"height": "m", "spacing": "m", "speed": "m/s"}
    return table
