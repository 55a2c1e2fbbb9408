"""A long day at one panel, and a log of a million rides: nothing grows, nothing slows.

Run alone: ``python -m pytest tests/benchmarks/bench_soak.py -o addopts= -s``. The moves are keys on
a slider in a real JupyterLab, each one answered before the next.
"""

from __future__ import annotations

import sqlite3
import statistics
import sys
import time
from pathlib import Path

import nbformat
import psutil
import pytest

sys.path.insert(0, str(Path(__file__).parents[2]))
import suspkit as sk
from tests.tools import lab

MOVES, WARM, LAST = 2000, 200, 200
ROWS, VEHICLES = 1_000_000, 100

CELLS = [
    "import suspkit as sk\nunit7 = sk.example('unit7')",
    "panel = sk.panels.start(unit7)\npanel",
]

# One key after another on the slider, to and fro, each after the picture of the one before; in the
# page itself, so that only the panel is timed.
SOAK = """
async ([panel, begin, end]) => {
  const image = panel.querySelector('img.widget-image');
  const handle = panel.querySelector('.noUi-handle');
  const times = [];
  for (let i = begin; i < end; i++) {
    const seen = new Promise(done => {
      const watch = new MutationObserver(() => { watch.disconnect(); done(); });
      watch.observe(image, {attributeFilter: ['src']});
    });
    const start = performance.now();
    const key = i % 16 < 8 ? 'ArrowRight' : 'ArrowLeft';
    handle.dispatchEvent(new KeyboardEvent('keydown', {key}));
    await seen;
    await image.decode();
    times.push(performance.now() - start);
  }
  return times;
}
"""


def kernel_size(server):
    """Resident memory of the one kernel [bytes]."""
    kernels = [
        one
        for one in psutil.Process().children(recursive=True)
        if any("ipykernel" in part for part in one.cmdline())
    ]
    assert len(kernels) == 1
    return kernels[0].memory_info().rss


@pytest.mark.skipif(lab.CHROMIUM is None, reason="no Chromium on the path")
def test_two_thousand_moves(tmp_path):
    notebook = nbformat.v4.new_notebook(cells=[nbformat.v4.new_code_cell(c) for c in CELLS])
    notebook.metadata["kernelspec"] = {"name": "python3", "display_name": "Python 3"}
    nbformat.write(notebook, tmp_path / "soak.ipynb")
    with lab.jupyter_lab(tmp_path) as server, lab.browser_page() as page:
        lab.open_notebook(page, *server, "soak.ipynb")
        lab.run_all(page)
        panel = page.locator(".suspkit-panel")
        panel.scroll_into_view_if_needed()
        browser = page.context.new_cdp_session(page)

        def soak(begin, end):
            times = []
            for at in range(begin, end, 100):
                part = [panel.element_handle(), at, min(at + 100, end)]
                times += page.evaluate(SOAK, part)
            browser.send("HeapProfiler.collectGarbage")
            heap = browser.send("Runtime.getHeapUsage")["usedSize"]
            return times, kernel_size(server), heap

        _, size_warm, heap_warm = soak(0, WARM)
        times, size_end, heap_end = soak(WARM, MOVES)
    first, last = (statistics.median(some) for some in (times[:200], times[-LAST:]))
    growth = size_end / size_warm - 1
    print(f"\n  kernel {size_warm / 1e6:.0f} MB after {WARM} moves, {size_end / 1e6:.0f} MB after "
          f"{MOVES}: {growth:+.1%}")  # fmt: skip
    print(f"  median move {first:.0f} ms at first, {last:.0f} ms at last: {last / first - 1:+.0%}")
    print(f"  page's heap {heap_warm / 1e6:.1f} MB, then {heap_end / 1e6:.1f} MB: "
          f"{heap_end / heap_warm - 1:+.1%}")  # fmt: skip
    assert growth < 0.05
    assert last < 1.2 * first
    assert heap_end < 1.5 * heap_warm


def fill(path):
    """Copy the one vehicle and its one ride many times over, in SQL, the keeping of rows off."""
    log = sqlite3.connect(path)
    guards = log.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'").fetchall()
    for name, _ in guards:
        log.execute(f"DROP TRIGGER {name}")
    for table, count, own in (
        ("vehicle", VEHICLES, {"name": "'Unit 7.' || n"}),
        ("ride", ROWS, {"first": "n", "key": "'key ' || n", "vehicle": f"2 + n % {VEHICLES - 1}",
                        "name": f"'Unit 7.' || (2 + n % {VEHICLES - 1})", "at": "at + 60 * n"}),
    ):  # fmt: skip
        columns = [row[1] for row in log.execute(f"PRAGMA table_info({table})")]
        taken = ", ".join({"id": "n", **own}.get(name, f'"{name}"') for name in columns)
        log.execute(
            f"WITH RECURSIVE counted(n) AS "
            f"(SELECT 2 UNION ALL SELECT n + 1 FROM counted WHERE n < {count}) "
            f"INSERT INTO {table} SELECT {taken} FROM counted, {table} WHERE id = 1"
        )
    for _, sql in guards:
        log.execute(sql)
    log.commit()
    log.close()


def test_a_log_of_a_million_rides_opens_at_once(tmp_path):
    path, unit7 = tmp_path / "shop.db", sk.example("unit7")
    with sk.JobLog(path) as log:
        log.add_vehicle(unit7)
        ride = sk.Ride(
            setup=unit7.setup, load="patrol", when="2026-05-02T14:30-06:00", by="M. Keller"
        )
        log.add_ride(unit7.name, ride)
    fill(path)
    times = []
    for i in (2, 40, 77, VEHICLES):
        start = time.perf_counter()
        with sk.JobLog(path) as log:
            vehicle, last = log.vehicle(f"Unit 7.{i}"), log.rides(f"Unit 7.{i}", last=20)
        times.append(1000 * (time.perf_counter() - start))
        assert vehicle.springs == unit7.springs and len(last) == 20
    with sk.JobLog(path) as log:
        start = time.perf_counter()
        found = log.rides(f"Unit 7.{VEHICLES}")
        every = 1000 * (time.perf_counter() - start)
        assert len(found) == pytest.approx(ROWS / VEHICLES, rel=0.05)
    print(f"\n  {ROWS:,} rides of {VEHICLES} vehicles, {path.stat().st_size / 1e6:.0f} MB: a "
          f"vehicle and its last 20 rides in {', '.join(f'{t:.1f}' for t in times)} ms; all its "
          f"{len(found):,} rides in {every:.0f} ms")  # fmt: skip
    assert max(times) < 50
