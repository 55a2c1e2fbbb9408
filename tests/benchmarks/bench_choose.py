"""How much sooner the whole rack is searched than by a plain loop over `suspkit.settle`.

Run alone: ``python -m pytest tests/benchmarks/bench_choose.py -o addopts= -s``. The search looks at
every pair of the rack at every number of turns and gap. The loop does the same one kit at a time,
as a reader of the manual would write it, and gives a kit up as early as it can; it would take
minutes, so it is timed on settings drawn at random and scaled to all. Ratios are of one run, the
two side by side.
"""

from __future__ import annotations

import itertools
import time
from dataclasses import replace

import numpy as np
import pytest

import suspkit as sk
from suspkit.studies.choose import GAPS, TURNS, KitTargets, choose_springs, spring_pairs
from suspkit.vehicle.corner import BrokenSetupError, assemble, thread_problems
from suspkit.vehicle.vehicle import StackPlan

DRAWN = 600
ROUNDS = 2


def plain(vehicle, axle, tender, main, turns, gap, targets):
    """One kit: put together, settled in each load, its numbers read."""
    plan = StackPlan(springs=(tender, main), rings_below=(tender,))
    vehicle = replace(vehicle, stacks={**vehicle.stacks, "tried": plan})
    setup = vehicle.setup.change(axle, stack="tried", turns=turns, gap=gap)
    try:
        corners = assemble(vehicle, setup)
    except BrokenSetupError:
        return False
    if thread_problems(corners):
        return False
    stance = sk.settle(vehicle, setup, load=targets.load, corners=corners)
    height = stance.front_height if axle == "front" else stance.rear_height
    if abs(height - targets.ride_height) > targets.height_within:
        return False
    for load in vehicle.loads:
        energy = sk.settle(vehicle, setup, load=load, corners=corners).bottoming.energy
    return bool(energy.min() > 0)


@pytest.mark.parametrize("axle", ["front", "rear"])
def test_full_rack_against_a_plain_loop(unit7, axle):
    targets = KitTargets.of(unit7, axle=axle)
    choose_springs(unit7, axle=axle, turns=[4.0])  # compiled and warm
    everything = list(itertools.product(spring_pairs(unit7.springs), TURNS, GAPS))
    draw = np.random.default_rng(0).choice(len(everything), DRAWN, replace=False)
    ratios = []
    for _ in range(ROUNDS):
        start = time.perf_counter()
        choice = choose_springs(unit7, axle=axle)
        batch = time.perf_counter() - start
        start = time.perf_counter()
        for i in draw:
            pair, turns, gap = everything[i]
            plain(unit7, axle, *pair, turns, gap, targets)
        loop = (time.perf_counter() - start) * len(everything) / DRAWN
        ratios.append(loop / batch)
        print(
            f"\n{axle}: {choice.settings} settings of {choice.pairs} pairs in {batch:.2f} s; a "
            f"plain loop {loop:.0f} s (timed on {DRAWN}, scaled): {loop / batch:.0f} times"
        )
    assert choice.settings == len(everything)
    assert np.median(ratios) > 20
