"""How fast driving is, as ratios within one run. Run by name, alone on a quiet machine:

    python -m pytest tests/benchmarks/bench_drive.py -o addopts= -s

Each time is the best of several, in processor time where one thread works and on the clock where
several do. "Equal accuracy" of `solve_ivp` is matched by its error: against a run at tight
tolerance, the loosest of a row of tolerances (its method free) whose wheel travel errs no more
than the kernel's does.
"""

import ctypes
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2]))
import pytest

import suspkit
from suspkit.core import drive_kernel
from suspkit.dynamics import drive as driving
from suspkit.dynamics import events
from tests.tools import independent_ride

HERE = Path(__file__).parent
LOAD = "patrol"


def best(call, *, repeat=15, clock=time.thread_time):
    times = []
    for _ in range(repeat):
        start = clock()
        call()
        times.append(clock() - start)
    return min(times)


# ------------------------------------------------------------------------------------- plain C


class Car(ctypes.Structure):
    _fields_ = (
        [(n, ctypes.c_double) for n in ("arm", "unsprung", "radius", "kt", "ct", "mass", "g")]
        + [("width", ctypes.c_double)]
        + [(n, ctypes.c_long) for n in ("cells", "springs", "dampers", "last")]
        + [(n, ctypes.c_double) for n in ("area", "pressure", "volume", "atmosphere", "exponent")]
        + [(n, ctypes.c_double) for n in ("friction", "soft", "speed", "step", "place")]
        + [(n, ctypes.c_void_p) for n in ("link", "sx", "sy", "ss", "dx", "dy", "ds", "ground")]
        + [("guide", ctypes.c_void_p)]
    )


def compile_c(folder):
    library = Path(folder) / "quarter.so"
    subprocess.run(
        ["gcc", "-O3", "-march=native", "-shared", "-fPIC", "-o", library, HERE / "quarter.c",
         "-lm"],
        check=True,
    )  # fmt: skip
    run = ctypes.CDLL(str(library)).run
    run.argtypes = [ctypes.POINTER(Car), ctypes.c_void_p, ctypes.c_double, ctypes.c_long,
                    ctypes.c_long, ctypes.c_void_p, ctypes.c_void_p]  # fmt: skip
    run.restype = None
    return run


def c_car(built, course):
    """The same numbers as the kernel reads, and the arrays to keep alive meanwhile."""
    ground, track, places, sides = course
    wheel, axle = built.wheels[0], int(built.wheels[0, 7])
    arrays = [built.links[axle], *(a[0] for a in (*built.springs[:3], *built.dampers[:3])),
              ground[sides[0]], built.dampers[4][0].astype(np.int64)]  # fmt: skip
    arrays = [np.ascontiguousarray(a) for a in arrays]
    car = Car(
        wheel[2], wheel[3], wheel[4], wheel[5], wheel[6], built.body[1], built.body[4],
        built.steps[axle], built.cells[axle], built.springs[3][0], built.dampers[3][0],
        ground.shape[1] - 1, *built.gas[0], *built.friction[0], track[0], track[1], places[0],
        *(a.ctypes.data for a in arrays),
    )  # fmt: skip
    return car, arrays


# ------------------------------------------------------------------------------------- the rest


def kernel_call(built, event, step=driving.STEP, stride=2):
    course = driving._course(event, built.wheels)
    count = round(event.duration / step) // stride * stride
    wheels = built.wheels.shape[0]
    record = np.empty((count // stride + 1, drive_kernel.BODY + drive_kernel.WHEEL * wheels))
    energy = np.empty(4)

    def call():
        drive_kernel.run(
            built.start.copy(), step, stride, count, built.wheels, built.body,
            built.links, built.steps, built.cells, *built.springs, *built.dampers, built.gas,
            built.friction, built.bars, *course, record, energy,
        )  # fmt: skip
        return record

    return call, course, count


def against_c(vehicle, event):
    built = driving.build(vehicle, load=LOAD, model="quarter")
    call, course, count = kernel_call(built, event)
    record = call()
    with tempfile.TemporaryDirectory() as folder:
        run = compile_c(folder)
        car, _alive = c_car(built, course)
        rows, energy = np.empty((record.shape[0], 8)), np.empty(4)

        def c_call():
            state = np.ascontiguousarray(built.start[[0, 3, 4, 7]])
            run(ctypes.byref(car), state.ctypes.data, driving.STEP, 2, count, rows.ctypes.data,
                energy.ctypes.data)  # fmt: skip

        c_call()
        off = np.abs(rows[:, 3] - record[:, drive_kernel.BODY + 1]).max()
        assert off < 1e-7, f"the C loop is another model: travel is off by {off:.1e} m"
        kernel = plain = np.inf
        for _ in range(10):  # by turns, so that both meet the same machine
            kernel, plain = min(kernel, best(call, repeat=5)), min(plain, best(c_call, repeat=5))
    return kernel, plain


def public_equations(vehicle, event, built):
    """The same quarter car through suspkit's own functions, as one writes it in a notebook."""
    corner, wheel = built.corners[0], built.wheels[0]
    linkage, shock = corner.linkage, corner.shock
    gas, standing = shock.gas, float(suspkit.settle(vehicle, load=LOAD).compression[0])
    volume = gas.volume - gas.rod_area * standing
    cold = float(gas.absolute_pressure(standing))
    friction, soft = built.friction[0]
    damper = shock.damper_curve(vehicle.setup.front_left.clicks)

    def rhs(t, y):
        hub, above, hub_speed, speed = y
        height, rise = event.under(t)
        z = hub - above
        s, ratio = linkage.compression(z), linkage.motion_ratio(z)
        v = ratio * (hub_speed - speed)
        pressure = cold * (volume / (gas.volume - gas.rod_area * s)) ** driving.ADIABATIC
        shaft = corner.curve(s) + (pressure - driving.ATMOSPHERE) * gas.rod_area
        shaft += damper(v) + friction * v / np.hypot(v, soft)
        squeeze = wheel[4] + height - hub
        tyre = max(0.0, wheel[5] * squeeze) if squeeze > 0 else 0.0
        g = driving.GRAVITY
        return [hub_speed, speed, (tyre - shaft * ratio) / wheel[3] - g,
                shaft * ratio / built.body[1] - g]  # fmt: skip

    return rhs


def against_scipy(vehicle, event):
    """Kernel time, its error, and the times of scipy's methods at no larger an error."""
    from scipy.integrate import solve_ivp

    built = driving.build(vehicle, load=LOAD, model="quarter")

    def ours():
        return driving.drive(vehicle, event=event, load=LOAD, model="quarter", built=built)

    run = ours()
    wheel = independent_ride.Wheel(
        vehicle, vehicle.setup, "front_left",
        float(suspkit.settle(vehicle, load=LOAD).travel[0]),
    )  # fmt: skip
    plain, start = independent_ride.quarter_equations(vehicle, wheel, event)
    public = public_equations(vehicle, event, built)

    def theirs(rhs, method, rtol, max_step=0.02):
        found = solve_ivp(rhs, (0.0, run.time[-1]), start, method=method, t_eval=run.time,
                          rtol=rtol, atol=rtol * 1e-2, max_step=max_step)  # fmt: skip
        return found.y[0] - found.y[1]

    exact = theirs(plain, "DOP853", 1e-11, 5e-4)
    allowed = np.abs(run.travel[0] - exact).max()
    rows = []
    for method in ("RK45", "DOP853", "LSODA"):
        for rtol in np.geomspace(1e-4, 1e-10, 13):
            error = np.abs(theirs(plain, method, rtol) - exact).max()
            if error <= allowed:
                took = best(lambda m=method, r=rtol: theirs(plain, m, r), repeat=3)
                rows.append((f"{method}, equations in plain Python", took, rtol, error))
                break
    method, rtol, error = rows[0][0].split(",")[0], rows[0][2], rows[0][3]
    took = best(lambda: theirs(public, method, rtol), repeat=1)
    rows.append((f"{method}, equations by suspkit's functions", took, rtol, error))
    return best(ours), allowed, rows


def many(vehicle, event, count=1000):
    rng = np.random.default_rng(7)
    setups = [
        vehicle.setup.change("front", turns=float(a), gap=float(b))
        for a, b in zip(rng.uniform(2, 6, count), rng.uniform(0.022, 0.06, count), strict=True)
    ]

    def call(workers):
        driving.drive_many(vehicle, setups, event=event, load=LOAD, model="quarter",
                           workers=workers, each=lambda run: run.travel_used)  # fmt: skip

    one = two = np.inf
    for _ in range(4):
        one = min(one, best(lambda: call(1), repeat=1, clock=time.perf_counter))
        two = min(two, best(lambda: call(None), repeat=1, clock=time.perf_counter))
    return one, two


FIRST = """
import time
start = time.perf_counter()
import suspkit
from suspkit.dynamics import events
from suspkit.dynamics.drive import drive
loaded = time.perf_counter()
vehicle = suspkit.example("unit7")
drive(vehicle, event=events.g_out(radius=12, depth=0.6, speed=9), load="patrol")
print(loaded - start, time.perf_counter() - loaded)
"""


def first_call():
    times = [
        list(map(float, subprocess.run([sys.executable, "-c", FIRST], check=True, text=True,
                                       capture_output=True).stdout.split()))
        for _ in range(5)
    ]  # fmt: skip
    return np.min(times, axis=0)


def bump():
    return events.single_bump(height=0.2, length=2.0, speed=8.0)


def rough(duration=10.0):
    return events.rough_road(road_class="D", speed=10.0, duration=duration)


@pytest.fixture(scope="module")
def vehicle():
    return suspkit.example("unit7")


@pytest.fixture
def tell(capsys):
    """Print past pytest, with or without -s."""

    def told(line):
        with capsys.disabled():
            print(line)

    return told


@pytest.mark.parametrize("event", [bump(), rough(3.0)], ids=lambda e: e.name)
def test_quarter_car_against_scipy(vehicle, event, tell):
    kernel, allowed, rows = against_scipy(vehicle, event)
    tell(f"\nquarter car, {event.name}: {kernel * 1e3:.2f} ms, error {allowed:.1e} m")
    for how, took, rtol, error in rows:
        tell(
            f"    solve_ivp {how}, rtol {rtol:g}, error {error:.1e} m: {took * 1e3:.0f} ms, "
            f"{took / kernel:.0f} times"
        )
    # The last row is how one would write it in a notebook.
    assert rows[-1][1] / kernel >= 300


@pytest.mark.parametrize("event", [bump(), rough()], ids=lambda e: e.name)
def test_kernel_against_c(vehicle, event, tell):
    kernel, plain = against_c(vehicle, event)
    tell(
        f"\nkernel alone, {event.name}: {kernel * 1e3:.2f} ms; plain C -O3 {plain * 1e3:.2f} ms: "
        f"{kernel / plain:.2f} times"
    )
    assert kernel / plain <= 1.5


def test_a_whole_vehicle_against_a_quarter(vehicle, tell):
    took = {}
    for model in ("quarter", "full"):
        built = driving.build(vehicle, load=LOAD, model=model)
        took[model] = best(
            lambda m=model, b=built: driving.drive(vehicle, event=rough(), model=m, built=b)
        )
    tell(
        f"\n10 s of rough ground: quarter {took['quarter'] * 1e3:.1f} ms, full "
        f"{took['full'] * 1e3:.1f} ms: {took['full'] / took['quarter']:.1f} times"
    )
    assert took["full"] / took["quarter"] <= 15


@pytest.mark.skipif((os.cpu_count() or 1) < 2, reason="one processor")
@pytest.mark.parametrize("event", [bump(), rough()], ids=lambda e: e.name)
def test_many_set_ups_on_all_processors(vehicle, event, tell):
    one, two = many(vehicle, event)
    tell(
        f"\n1000 set-ups, {event.name} of {event.duration:.1f} s: {one:.2f} s with one worker, "
        f"{two:.2f} s with {os.cpu_count()}: {one / two:.2f} times"
    )
    assert one / two >= 1.7


def test_first_call_with_a_warm_cache(tell):
    load, first = first_call()
    tell(f"\nfirst call with a warm cache: {load:.2f} s to import, then {first:.2f} s")
    assert first < 2
