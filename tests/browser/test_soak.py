"""Many moves of a panel: nothing piles up. The long soak, in a browser, is a benchmark."""

import gc
import random
import tracemalloc
from dataclasses import replace
from pathlib import Path

import pytest
from ipywidgets import FloatSlider, IntSlider, SelectionSlider
from matplotlib.figure import Figure

import suspkit as sk
from suspkit.panels.live import KEPT


def move(panel, count, seed):
    """Move sliders of a panel to and fro."""
    kinds, rng = (FloatSlider, IntSlider, SelectionSlider), random.Random(seed)
    sliders = [c for c in panel.controls.values() if isinstance(c, kinds) and not c.disabled]
    for _ in range(count):
        slider = rng.choice(sliders)
        if isinstance(slider, SelectionSlider):
            slider.index = rng.randrange(len(slider.options))
        else:
            slider.value = slider.min + slider.step * rng.randrange(
                1 + round((slider.max - slider.min) / slider.step)
            )


def figures():
    gc.collect()
    return sum(isinstance(thing, Figure) for thing in gc.get_objects())


def held(panel):
    """Memory that suspkit's own lines asked for and is still held [bytes], but for the words that
    a board has drawn before, of which it keeps some hundred."""
    for board in panel._boards.values():
        board._stamps.clear()
    gc.collect()
    ours = tracemalloc.Filter(True, f"{Path(sk.__file__).parent}/*")
    traces = tracemalloc.take_snapshot().filter_traces([ours]).traces
    return sum(trace.size for trace in traces)


@pytest.mark.slow
def test_moves_leave_nothing_behind(unit7):
    panel = sk.panels.preload(unit7)
    move(panel, 20, seed=1)
    before = figures()
    tracemalloc.start()
    try:
        move(panel, 20, seed=2)
        start = held(panel)
        move(panel, 60, seed=3)
        end = held(panel)
    finally:
        tracemalloc.stop()
    assert figures() == before
    # One picture is 60 kB: were each one kept it would be fifty times this.
    assert end - start < 60_000
    assert start > 30_000


def with_high_speed_clickers(vehicle):
    """A vehicle with an adjuster of its own for each valve, as dearer shocks have."""

    def adjusted(axle):
        shock = axle.shock
        valving = shock.damper.valving
        changes, clickers = {}, dict(shock.clickers)
        for direction in ("compression", "rebound"):
            passages = getattr(valving, direction)
            valve = replace(passages.valve, per_click=passages.valve.opens_at / 24)
            changes[direction] = replace(passages, valve=valve)
            clickers[f"{direction}-high"] = clickers[direction]
        damper = replace(shock.damper, valving=replace(valving, **changes))
        return replace(axle, shock=replace(shock, damper=damper, clickers=clickers))

    return replace(vehicle, front=adjusted(vehicle.front), rear=adjusted(vehicle.rear))


def test_boards_do_not_pile_up(unit7):
    """Each place of a high-speed clicker has axes of its own, and so a figure."""
    panel = sk.ride_panels.clicker(with_high_speed_clickers(unit7))
    before, seen = figures(), set()
    for clicks in [*range(KEPT + 4), 0]:
        panel.set(**{"front_compression-high": clicks})
        assert not panel.error
        seen.add(panel.chart.value)
    assert len(seen) > KEPT
    assert len(panel._boards) == KEPT
    assert figures() <= before + KEPT - 1
