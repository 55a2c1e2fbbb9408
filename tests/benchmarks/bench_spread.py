"""How long a spread of 100 000 vehicles takes, against settling such vehicles one by one.

Run by name, alone on a quiet machine; it prints ratios from one run.
"""

import time
from dataclasses import replace

import numpy as np
import pytest

import suspkit as sk
from suspkit.vehicle.setup import CORNERS

LOAD, COUNT, LOOPED = "patrol", 100_000, 200


def spent(call):
    wall, cpu = time.perf_counter(), time.process_time()
    result = call()
    return result, time.perf_counter() - wall, time.process_time() - cpu


def one_by_one(vehicle, count):
    """Vehicles of springs made apart, each put together and settled on its own: ride heights."""
    rng, setup, heights = np.random.default_rng(0), vehicle.setup, []
    for _ in range(count):
        springs, stacks, own = dict(vehicle.springs), dict(vehicle.stacks), setup
        for corner in CORNERS:
            chosen = getattr(setup, corner)
            plan = vehicle.stacks[chosen.stack]
            for name in plan.springs:
                springs[f"{name} {corner}"] = sk.VariedSpring(
                    nominal=vehicle.springs[name],
                    stiffer=1 + 0.04 * rng.uniform(-1, 1),
                    longer=0.0254 / 8 * rng.uniform(-1, 1),
                )
            stacks[corner] = replace(
                plan,
                springs=tuple(f"{name} {corner}" for name in plan.springs),
                rings_below=tuple(f"{name} {corner}" for name in plan.rings_below),
            )
            own = own.change(corner, stack=corner)
        made = replace(vehicle, springs=springs, stacks=stacks)
        heights.append(sk.settle(made, own, load=LOAD).height)
    return np.array(heights).T


@pytest.fixture(scope="module")
def unit7():
    return sk.example("unit7")


def test_hundred_thousand_vehicles(unit7, capsys):
    sk.spread(unit7, load=LOAD, count=10_000)  # compiles, and fills the caches
    runs = [spent(lambda: sk.spread(unit7, load=LOAD, count=COUNT)) for _ in range(3)]
    found, wall, cpu = min(runs, key=lambda run: run[1])
    _, summing, _ = spent(lambda: found.numbers)
    looped, alone, _ = spent(lambda: one_by_one(unit7, LOOPED))
    ratio = alone / LOOPED / (wall / COUNT)
    with capsys.disabled():
        print(
            f"\n{COUNT} vehicles: {wall:.2f} s ({cpu:.2f} s of processor, "
            f"{1e6 * wall / COUNT:.0f} us each), their table {summing:.2f} s; one by one "
            f"{1e6 * alone / LOOPED:.0f} us each; ratio {ratio:.0f}"
        )
    # The same vehicles, near enough: load and balance are exact in the loop.
    np.testing.assert_allclose(looped.mean(axis=1), found.height.mean(axis=1), atol=1e-3)
    assert wall < 3.0
    assert ratio > 50


def test_a_panels_move(unit7, capsys):
    sk.spread(unit7, load=LOAD, count=100)
    for count in (2000, 4000):
        _, wall, cpu = min(
            (spent(lambda n=count: sk.spread(unit7, load=LOAD, count=n)) for _ in range(5)),
            key=lambda run: run[1],
        )
        with capsys.disabled():
            print(f"\n{count} vehicles: {1e3 * wall:.0f} ms ({1e3 * cpu:.0f} ms of processor)")
        assert wall < 0.5
