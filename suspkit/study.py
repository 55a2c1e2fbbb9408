"""What each adjustment really does."""

from __future__ import annotations

import numpy as np

from suspkit.corner import assemble, hold_rings, reset_gaps
from suspkit.setup import AXLES
from suspkit.stance import settle

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

    setup = vehicle.setup if setup is None else setup
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
            rows.append(
                {"axle": axle, "change": name} | _differences(axle, left, before, after)
            )
    table = pd.DataFrame(rows)
    table.attrs["units"] = {
        "ride_height": "m", "other_height": "m", "rake": "", "gap": "m", "crossover": "m",
        "load_factor": "", "energy": "J",
    }  # fmt: skip
    return table


def _differences(axle, left, before, after):
    rows = slice(0, 2) if axle == "front" else slice(2, 4)
    others = slice(2, 4) if axle == "front" else slice(0, 2)

    def delta(read):
        return float(read(after) - read(before))

    def crossover(stance):
        corner = stance.corners[left]
        met = corner.crossover
        return corner.linkage.travel(met) if np.isfinite(met) else np.nan

    def gap(stance):
        return stance.corners[left].gap[0] if stance.corners[left].gap else np.nan

    return {
        "ride_height": delta(lambda s: s.height[rows].mean()),
        "other_height": delta(lambda s: s.height[others].mean()),
        "rake": delta(lambda s: s.rake),
        "gap": delta(gap),
        "crossover": delta(crossover),
        "load_factor": delta(lambda s: s.bottoming.load_factor[rows].mean()),
        "energy": delta(lambda s: s.bottoming.energy[rows].mean()),
    }
