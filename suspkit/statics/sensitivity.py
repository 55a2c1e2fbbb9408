"""What each adjustment really does."""

from __future__ import annotations

import numpy as np

from suspkit.given import number
from suspkit.statics.settle import settle
from suspkit.units import to_unit, unit_label
from suspkit.vehicle.corner import assemble, hold_rings, reset_gaps
from suspkit.vehicle.entrance import known_load, known_setup
from suspkit.vehicle.setup import AXLES, ROWS

CHANGES = {
    "collar, gap re-set": "one turn of the collar, then the gap re-set by tape",
    "collar, ring left": "one turn of the collar, the stop ring left alone",
    "ring": "one turn of the stop ring, opening the gap",
}
"""The single changes `sensitivity` makes."""


def sensitivity(vehicle, setup=None, *, load=None, turns=1.0):
    """What one turn of collar or ring changes, by axle.

    Parameters
    ----------
    vehicle : Vehicle
    setup : Setup, optional
    load : str, optional
        Named load; nothing aboard if None.
    turns : float
        Size of each change, both sides of the axle [turns].

    Returns
    -------
    pandas.DataFrame
        One row an axle and change (keys of `CHANGES`). Columns, all SI: own and other axle's
        ``ride_height``, ``other_height``, ``rake``, ``gap`` by tape, ``crossover`` (wheel
        travel, nan if there is none), ``load_factor``, ``energy`` to full bump. ``attrs["units"]``
        names the unit of each.

    Notes
    -----
    Differences of two settled stances, not derivatives, so a change that crosses a kink counts as
    a whole.
    """
    import pandas as pd

    setup, load = known_setup(vehicle, setup), known_load(vehicle, load)
    turns = number("turns", turns, low=-100.0, high=100.0)
    base = assemble(vehicle, setup)
    by_tape, in_place = reset_gaps(setup, base), hold_rings(setup, base)
    before = settle(vehicle, setup, load=load, corners=base)
    rows = []
    for axle, (left, _right) in AXLES.items():
        thread = base[left].shock.thread
        more = getattr(setup, left).turns + turns
        changed = {"collar, gap re-set": by_tape.change(axle, turns=more)}
        if base[left].ring:
            ring = tuple(r + turns * thread.ring_pitch for r in base[left].ring)
            changed["collar, ring left"] = in_place.change(axle, turns=more)
            changed["ring"] = in_place.change(axle, ring=ring if len(ring) > 1 else ring[0])
        for name, new in changed.items():
            after = settle(vehicle, new, load=load)
            rows.append({"axle": axle, "change": name} | _differences(axle, left, before, after))
    table = pd.DataFrame(rows)
    table.attrs["units"] = {
        "ride_height": "m", "other_height": "m", "rake": "m", "gap": "m", "crossover": "m",
        "load_factor": "", "energy": "J",
    }  # fmt: skip
    return table


def _differences(axle, left, before, after):
    rows, others = ROWS[axle], ROWS["rear" if axle == "front" else "front"]

    def delta(read):
        return float(read(after) - read(before))

    def gap(stance):
        return stance.corners[left].gap[0] if stance.corners[left].gap else np.nan

    return {
        "ride_height": delta(lambda s: s.height[rows].mean()),
        "other_height": delta(lambda s: s.height[others].mean()),
        "rake": delta(lambda s: s.rake),
        "gap": delta(gap),
        "crossover": delta(lambda s: s.corners[left].crossover_travel),
        "load_factor": delta(lambda s: s.bottoming.load_factor[rows].mean()),
        "energy": delta(lambda s: s.bottoming.energy[rows].mean()),
    }


_COLUMNS = {
    "ride_height": ("ride height", "length", {"us": 3, "metric": 1}),
    "other_height": ("other axle", "length", {"us": 3, "metric": 1}),
    "rake": ("rake", "length", {"us": 3, "metric": 1}),
    "gap": ("stop gap", "length", {"us": 4, "metric": 2}),
    "crossover": ("crossover", "length", {"us": 3, "metric": 1}),
    "load_factor": ("load factor", "ratio", {"us": 3, "metric": 3}),
    "energy": ("energy", "energy", {"us": 1, "metric": 1}),
}
"""Heading, kind of quantity and decimals of each column of `sensitivity`."""


def readable(table, *, units="us"):
    """The table of `sensitivity` for a reader: signed numbers, the unit in each heading.

    Parameters
    ----------
    table : pandas.DataFrame
        As `sensitivity` gives it.
    units : {"us", "metric"}

    Returns
    -------
    pandas.DataFrame
        Text, by axle and change: a plain ``0`` for what does not move as far as the decimals
        shown go, ``–`` for what is not there.
    """

    def words(value, digits):
        if np.isnan(value):
            return "–"
        return "0" if round(value, digits) == 0 else f"{value:+.{digits}f}"

    shown = table[["axle", "change"]].copy()
    for name, (heading, kind, digits) in _COLUMNS.items():
        label = unit_label(kind, units)
        values = to_unit(table[name].to_numpy(), kind, units)
        column = [words(value, digits[units]) for value in values]
        shown[f"{heading}, {label}" if label else heading] = column
    return shown.set_index(["axle", "change"])


def shaft_shift(before, after, *, compression):
    """How much further out a shock's springs carry the same load after a change.

    This is what a collar does at the shaft with everything else held: linkage, gas, tyres and the
    other corners have no part in it.

    Parameters
    ----------
    before, after : Corner
        The corner before and after the change.
    compression : float or array
        Of the shock before it [m].

    Returns
    -------
    float or array
        Shock length gained at the same spring force [m].

    Notes
    -----
    For two linear springs and p more preload: p below crossover; past it nothing with the ring
    left alone, and with the gap re-set p less the tender's share of what the top-out spring does
    not give back, ``p - (p - g) k_m / (k_t + k_m)``. Without a top-out spring (g = 0) that is
    ``p k_t / (k_t + k_m)``.
    """
    force = before.stack_curve(compression)
    return compression - after.stack_curve.inverse()(force)
