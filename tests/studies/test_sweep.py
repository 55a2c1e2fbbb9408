"""What if: every row is what settle and drive say of it alone, wherever and in what pieces."""

import pickle
import signal
import subprocess
import sys
import textwrap
import threading
import time
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from functools import partial
from multiprocessing import get_context

import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_allclose

import suspkit as sk
from suspkit.dynamics import events
from suspkit.dynamics.comfort import weighted_rms
from suspkit.files import UnwritableError
from suspkit.studies import sweep as whatif
from suspkit.studies.sweep import MEASURES, NOT_DONE, readable
from suspkit.studies.table import read_table, write_table

# Exact: NIST SP 811 (2008), appendix B.
INCH, LBF, LB, MPH = 0.0254, 4.4482216152605, 0.45359237, 0.44704
LB_IN = LBF / INCH

WHOOPS = partial(events.whoops, height=0.2, spacing=4.0, count=2)
DRIVES = {"event.speed": ["12 mph", "16 mph"], "setup.front.clicks.compression": range(0, 12)}


def same(one, other):
    """Equal to the last bit, units too."""
    pd.testing.assert_frame_equal(one, other, check_exact=True)
    assert one.attrs == other.attrs


# --- each row is the vehicle alone ---------------------------------------------------------------


def numbers_of(vehicle, setup, load):
    """The columns of a row from one settled stance, axle by axle."""
    stance = sk.settle(vehicle, setup, load=load)
    turning = sk.settle(vehicle, setup, load=load, lateral=0.3 * 9.80665)
    row = {"rake": stance.rake, "roll": turning.roll - stance.roll}
    for axle, pair in (("front", slice(0, 2)), ("rear", slice(2, 4))):
        both = [stance.corners[f"{axle}_{side}"] for side in ("left", "right")]
        met = [c.linkage.travel(c.crossover) for c in both if np.isfinite(c.crossover)]
        row |= {
            f"{axle}_height": stance.height[pair].mean(),
            f"{axle}_travel": stance.travel[pair].mean(),
            f"{axle}_bump_left": stance.bump_left[pair].mean(),
            f"{axle}_frequency": stance.frequency[pair].mean(),
            f"{axle}_load_factor": stance.bottoming.load_factor[pair].mean(),
            f"{axle}_energy": stance.bottoming.energy[pair].mean(),
            f"{axle}_gap": np.mean([c.gap[0] for c in both]) if both[0].gap else np.nan,
            f"{axle}_crossover": np.mean(met) if met else np.nan,
        }
    return {name: float(value) for name, value in row.items()}


def assert_row(table, i, expected):
    for name, value in expected.items():
        assert_allclose(table[name].iloc[i], value, rtol=1e-12, err_msg=name)


def test_rows_are_what_settle_says_of_each_alone(unit7):
    turns, gaps, loads = [2.0, 4.5, 7.0], ["3-1/2 in", "4-1/4 in"], ["bare", "patrol"]
    table = sk.sweep(
        unit7, vary={"setup.front.turns": turns, "setup.rear.gap": gaps, "load": loads}
    )
    assert len(table) == 12 and (table["problem"] == "").all()
    i = 0
    for load in loads:  # loads change slowest, the last parameter fastest
        for n in turns:
            for gap in (3.5 * INCH, 4.25 * INCH):
                row = table.iloc[i]
                assert (row["load"], row["setup.front.turns"]) == (load, n)
                assert_allclose(row["setup.rear.gap"], gap, rtol=1e-15)
                setup = unit7.setup.change("front", turns=n).change("rear", gap=gap)
                assert_row(table, i, numbers_of(unit7, setup, load))
                i += 1


def test_a_spring_of_another_rate_is_another_vehicle(unit7):
    table = sk.sweep(
        unit7, load="patrol", vary={"vehicle.springs.main-320-16.rate": ["280 lb/in", 360 * LB_IN]}
    )
    for i, rate in enumerate((280 * LB_IN, 360 * LB_IN)):
        spring = replace(unit7.springs["main-320-16"], rate=rate)
        other = replace(unit7, springs=unit7.springs | {"main-320-16": spring})
        assert_allclose(table["vehicle.springs.main-320-16.rate"].iloc[i], rate, rtol=1e-12)
        assert_row(table, i, numbers_of(other, unit7.setup, "patrol"))
    assert table["front_height"].is_monotonic_increasing


@pytest.mark.parametrize(
    "path, value, change",
    [
        ("vehicle.items.winch.mass", "100 lb",
         lambda v: replace(v, items=v.items | {"winch": replace(v.items["winch"],
                                                                mass=100 * LB)})),
        ("vehicle.front.tyre.rate", "700 lb/in",
         lambda v: replace(v, front=replace(v.front, tyre=replace(v.front.tyre,
                                                                  rate=700 * LB_IN)))),
        ("vehicle.rear.shock.gas.pressure", "230 psi",
         lambda v: replace(v, rear=replace(v.rear, shock=replace(v.rear.shock, gas=replace(
             v.rear.shock.gas, pressure=230 * LBF / INCH**2))))),
        ("vehicle.springs.tender-250-5.5.rate", "300 lb/in",
         lambda v: replace(v, springs=v.springs | {"tender-250-5.5": replace(
             v.springs["tender-250-5.5"], rate=300 * LB_IN)})),
        ("vehicle.stacks.kit-rear.springs.1", "main-440-16.5",
         lambda v: replace(v, stacks=v.stacks | {"kit-rear": replace(
             v.stacks["kit-rear"], springs=("tender-350-12", "main-440-16.5"))})),
        ("vehicle.front.linkage.travel.3", "4.6 in",
         lambda v: replace(v, front=replace(v.front, linkage=replace(
             v.front.linkage, travel=(*v.front.linkage.travel[:3], 4.6 * INCH,
                                      *v.front.linkage.travel[4:]))))),
    ],
    ids=lambda value: value if isinstance(value, str) and "." in value else "",
)  # fmt: skip
def test_any_part_of_the_vehicle_can_be_named(unit7, path, value, change):
    table = sk.sweep(unit7, load="patrol", vary={path: [value]})
    assert_row(table, 0, numbers_of(change(unit7), unit7.setup, "patrol"))
    before = numbers_of(unit7, unit7.setup, "patrol")
    assert abs(table["roll"].iloc[0] - before["roll"]) > 1e-9, "it must have moved something"


def test_counted_from_contact_a_longer_spring_changes_nothing(unit7):
    path = "vehicle.springs.main-320-16.free_length"
    table = sk.sweep(unit7, load="patrol", vary={path: ["15-7/8 in", "16 in", "16-1/8 in"]})
    assert_allclose(table["front_height"], table["front_height"].iloc[1], rtol=1e-12)


@pytest.mark.parametrize(
    "path, value, change",
    [
        ("setup.rear_left.turns", 7, lambda s: s.change("rear_left", turns=7.0)),
        ("setup.all.turns", 6, lambda s: s.change("all", turns=6.0)),
        ("setup.front.ring", "0.8 in", lambda s: s.change("front", ring=0.8 * INCH)),
        ("setup.front_bar", False, lambda s: replace(s, front_bar=False)),
        ("setup.front.stack", "kit-front", lambda s: s),
    ],
)
def test_any_part_of_the_set_up_can_be_named(unit7, path, value, change):
    table = sk.sweep(unit7, load="patrol", vary={path: [value]})
    assert_row(table, 0, numbers_of(unit7, change(unit7.setup), "patrol"))


def test_gaps_of_two_rings_are_told_apart(unit7):
    plan = replace(
        unit7.stacks["kit-rear"],
        springs=("tender-150-6", "tender-350-12", "main-520-15.5"),
        rings_below=("tender-150-6", "tender-350-12"),
    )
    thread = replace(unit7.rear.shock.thread, seat_span=36 * INCH, ring_lowest=24 * INCH)
    rear = replace(unit7.rear, shock=replace(unit7.rear.shock, thread=thread))
    setup = unit7.setup.change("rear", stack="three", gap=(1 * INCH, 4 * INCH))
    three = replace(
        unit7, rear=rear, stacks=unit7.stacks | {"three": plan}, setups={"three": setup},
        current="three",
    )  # fmt: skip
    table = sk.sweep(three, load="patrol", vary={"setup.rear.gap.1": ["3 in", "5 in"]})
    for i, gap in enumerate((3 * INCH, 5 * INCH)):
        expected = numbers_of(three, setup.change("rear", gap=(1 * INCH, gap)), "patrol")
        assert_row(table, i, expected)


def test_set_ups_side_by_side_and_paired_values(unit7):
    vary = {"setup.front.turns": [3, 5], "setup.rear.turns": [4, 6]}
    table = sk.sweep(unit7, unit7.setups, load="patrol", vary=vary, paired=True)
    assert table["setup"].tolist() == ["stock", "stock", "kit", "kit"]
    assert table["setup.front.turns"].tolist() == [3, 5, 3, 5]
    assert table["setup.rear.turns"].tolist() == [4, 6, 4, 6]
    kit = unit7.setups["kit"].change("front", turns=5.0).change("rear", turns=6.0)
    assert_row(table, 3, numbers_of(unit7, kit, "patrol"))
    assert table["front_crossover"].isna().tolist() == [True, True, False, False]
    listed = sk.sweep(unit7, list(unit7.setups.values()), load="patrol")
    assert listed["setup"].tolist() == ["setup 1", "setup 2"]
    with pytest.raises(ValueError, match="2 of setup.front.turns, 1 of setup.rear.turns; expected"):
        sk.sweep(unit7, vary=vary | {"setup.rear.turns": [4]}, paired=True)


def test_runs_are_those_of_drive(unit7):
    table = sk.sweep(
        unit7, load="patrol", event=WHOOPS,
        vary={"event.speed": ["12 mph"], "setup.rear.clicks.rebound": [2, 9]},
    )  # fmt: skip
    speed = table["event.speed"].iloc[0]
    assert_allclose(speed, 12 * MPH, rtol=1e-12)
    event = events.whoops(height=0.2, spacing=4.0, count=2, speed=speed)
    for i, clicks in enumerate((2, 9)):
        setup = unit7.setup.change(
            "rear", clicks=unit7.setup.rear_left.clicks | {"rebound": clicks}
        )
        run = sk.drive(unit7, setup, event=event, load="patrol")
        masses, driver = unit7.masses("patrol"), unit7.items["driver"]
        seat = run.seat_acceleration(
            ahead=masses.behind_front_axle - driver.behind_front_axle,
            left=driver.left_of_centre - masses.left_of_centre,
        )
        expected = {"seat": weighted_rms(seat, dt=run.time[1]), "audit": run.audit}
        for axle, wheels in (("front", slice(0, 2)), ("rear", slice(2, 4))):
            expected |= {
                f"{axle}_bottomings": run.bottomings[wheels].max(),
                f"{axle}_travel_used": run.travel_used[wheels].max(),
                f"{axle}_peak_force": np.inf
                if run.metal[wheels].any()
                else run.peak_force[wheels].max(),
                f"{axle}_airtime": run.airtime[wheels].max(),
            }
        assert {n: table[n].iloc[i] for n in expected} == expected, "to the last bit"
        assert_row(table, i, numbers_of(unit7, setup, "patrol"))
    assert table["seat"].nunique() == 2


def test_another_speed_drives_the_same_stretch(unit7):
    given = events.single_bump(height=0.1, length=1.0, speed=4.0)
    table = sk.sweep(
        unit7, event={"bump": given, "drop": events.drop(height=0.2)}, measure=["seat"],
        vary={"event.speed": [2.0]}, model="half",
    )  # fmt: skip
    slower = replace(given, speed=2.0, duration=2 * given.duration)
    run = sk.drive(unit7, event=slower, model="half")
    masses, driver = unit7.masses(), unit7.items["driver"]
    seat = run.seat_acceleration(ahead=masses.behind_front_axle - driver.behind_front_axle)
    assert table["event"].tolist() == ["bump", "drop"]
    assert table["seat"].iloc[0] == weighted_rms(seat, dt=run.time[1])


def test_a_quarter_has_one_axle(unit7):
    table = sk.sweep(unit7, event=events.drop(height=0.2, duration=0.6), model="quarter")
    assert table["front_peak_force"].iloc[0] > 0 and np.isnan(table["rear_peak_force"].iloc[0])


def test_metal_to_metal_is_no_force(unit7):
    hard, soft = events.drop(height=1.5), events.drop(height=0.1)
    told = ["front_peak_force", "front_bottomings"]
    table = sk.sweep(unit7, event={"hard": hard, "soft": soft}, model="half", measure=told)
    assert np.isinf(table["front_peak_force"]).tolist() == [True, False]
    assert table["front_bottomings"].tolist()[1] == 0
    text = readable(table)
    assert text["front peak shaft force, lbf"].iloc[0] == "metal to metal"
    assert text["front peak shaft force, lbf"].iloc[1] != "metal to metal"


# --- nothing is lost -----------------------------------------------------------------------------


def test_a_broken_row_stays_with_its_reason(unit7):
    table = sk.sweep(unit7, load="patrol", vary={"setup.front.gap": [0.0, 1 * INCH, 3.9 * INCH],
                                                 "setup.front.turns": [4, 30]})  # fmt: skip
    assert len(table) == 6
    for i, row in table.iterrows():
        setup = unit7.setup.change(
            "front", gap=row["setup.front.gap"], turns=row["setup.front.turns"]
        )
        try:
            corners = sk.assemble(unit7, setup)
        except sk.BrokenSetupError as error:
            assert row["problem"] == str(error)
            assert row[list(MEASURES)[:9]].isna().all()
            continue
        from suspkit.vehicle.corner import thread_problems

        assert row["problem"] == next(iter(thread_problems(corners)), "")
        assert_row(table, i, numbers_of(unit7, setup, "patrol"))
    assert table["front_height"].isna().any(), "some are broken"
    assert (table["front_height"].notna() & (table["problem"] != "")).any(), "some do not fit"
    assert (table["problem"] == "").any(), "some are well"


def test_a_vehicle_that_cannot_be_leaves_the_others_alone(unit7):
    path = "vehicle.springs.main-320-16.solid_length"
    table = sk.sweep(unit7, load="patrol", vary={path: ["8 in", "17 in"]})
    assert "not shorter than its free_length" in table["problem"].iloc[1]
    assert np.isnan(table["rake"].iloc[1])
    assert table["problem"].iloc[0] == "" and np.isfinite(table["rake"].iloc[0])
    # Together with the free length it can be: changes are made all at once.
    vary = {path: ["17 in"], "vehicle.springs.main-320-16.free_length": ["25 in"]}
    assert "solid_length" not in sk.sweep(unit7, vary=vary)["problem"].iloc[0]


def test_one_row_at_fault_does_not_spoil_its_batch(unit7):
    def refuse(vehicle, setup=None, **how):
        if np.any(np.asarray(setup.front_left.turns) == 5.0):
            raise sk.NotSettledError("no balance found")
        return sk.settle(vehicle, setup, **how)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(whatif, "settle", refuse)
        table = sk.sweep(unit7, vary={"setup.front.turns": np.arange(12.0)}, measure=["rake"])
    assert table["problem"].tolist() == ["no balance found" if i == 5 else "" for i in range(12)]
    assert np.isnan(table["rake"]).tolist() == [i == 5 for i in range(12)]


def test_a_vehicle_that_tips_or_turns_over_says_so(unit7):
    litter = "vehicle.items.litter"
    vary = {f"{litter}.left_of_centre": [0.0, 6.0], f"{litter}.mass": ["235 lb", "900 lb"]}
    table = sk.sweep(unit7, load="carry-out", vary=vary, paired=True)
    assert "tips over" in table["problem"].iloc[1] and np.isnan(table["rake"].iloc[1])
    table = sk.sweep(
        unit7, load="patrol", event=partial(events.cornering, duration=3.0),
        vary={"event.lateral": ["0.2 g", "3 g"]}, measure=["rake", "seat", "front_airtime"],
    )  # fmt: skip
    assert "turns over" in table["problem"].iloc[1] and np.isnan(table["seat"].iloc[1])
    assert np.isfinite(table["rake"]).all() and np.isfinite(table["seat"].iloc[0])


def test_a_doubtful_run_keeps_its_numbers_and_says_why(unit7):
    table = sk.sweep(
        unit7, load="patrol", event=partial(events.square_edge, speed=25.0),
        vary={"event.height": [0.05, 0.6]}, measure=["seat"], model="half",
    )  # fmt: skip
    edge = events.square_edge(height=0.6, speed=25.0)
    run = sk.drive(unit7, event=edge, load="patrol", model="half")
    assert run.notes and table["problem"].iloc[1] == " ".join(run.notes)
    assert np.isfinite(table["seat"]).all() and table["problem"].iloc[0] == ""


@pytest.mark.parametrize(
    "how, sentence",
    [
        ({"vary": {"setup.front.turn": [1]}}, r"'turn'; expected .*did you mean 'turns'"),
        ({"vary": {"setup.fornt.turns": [1]}}, r"'fornt'; expected .*did you mean 'front'"),
        ({"vary": {"steup.front.turns": [1]}}, r"'steup'; expected .*did you mean 'setup'"),
        ({"vary": {"setup": [1]}}, r"'setup' names no number; expected a dotted path"),
        ({"vary": {"vehicle.springs.main-320-61.rate": [1]}}, r"did you mean 'main-320-16'"),
        ({"vary": {"vehicle.springs.tender-250-5.5": [1]}}, r"has parts; expected .*free_length"),
        ({"vary": {"vehicle.front.trailing_arm.pivot": [1]}}, r"trailing_arm is not there"),
        ({"vary": {"vehicle.front.track.x": [1]}}, r"vehicle.front.track has no parts"),
        ({"vary": {"setup.front_bar.x": [1]}}, r"front_bar has no parts"),
        ({"vary": {"vehicle.current": ["kit"]}}, r"'current'; expected one of"),
        ({"vary": {"vehicle.springs.main-320-16.rate": ["300 lb"]}}, r"'300 lb' is a mass; exp"),
        ({"vary": {"vehicle.springs.main-320-16.rate": [3.0]}}, r"'3.0 N/m' is too small; exp"),
        ({"vary": {"setup.front.turns": [-1]}}, r"'-1.0' is negative; expected a number of turns"),
        ({"vary": {"setup.front.turns": [True]}}, r"True is not a finite number; expected one"),
        ({"vary": {"setup.rear.gap": [0.1, float("nan")]}}, r"nan is not a finite number"),
        ({"vary": {"setup.front.turns": []}}, r"has no values; expected at least one"),
        ({"vary": {"setup.front.stack": ["kit-fornt"]}}, r"expected a stack.*mean 'kit-front'"),
        ({"vary": {"setup.front_bar": [1]}}, r"1 is not true or false; expected"),
        ({"vary": {"setup.front.stack": [1]}}, r"1 is not a name; expected"),
        ({"vary": {"setup.front.clicks.compresion": [1]}}, r"did you mean 'compression'"),
        ({"vary": {"setup.front.clicks.compression": [13]}}, r"is 13.*expected a whole number"),
        ({"vary": {"load": ["patorl"]}}, r"load is 'patorl'; expected .*did you mean 'patrol'"),
        ({"vary": {"load": ["bare"]}, "load": "patrol"}, r"a load too; expected one of them"),
        ({"vary": {"event.speed": [3]}}, r"without an event; expected event="),
        ({"vary": {"event.sped": [3]}, "event": WHOOPS}, r"'sped'; expected .*mean 'speed'"),
        ({"vary": {"event.speed": ["3 in"]}, "event": WHOOPS}, r"is a length; expected a speed"),
        ({"vary": [1]}, r"vary is \[1\]; expected a dict"),
        ({"event": 5}, r"event 'event 1' is 5; expected a suspkit Event"),
        ({"setup": "kitt"}, r"setup is 'kitt'; expected .*did you mean 'kit'"),
        ({"setup": {}}, r"setup is empty; expected at least one"),
        ({"measure": ["raek"]}, r"measure is 'raek'; expected .*did you mean 'rake'"),
        ({"measure": ["seat"]}, r"measure is 'seat'; expected \(without an event\) one of"),
        ({"resume": "table.txt"}, r"table.txt'; expected a name that ends in .csv or .parquet"),
    ],
)
def test_bad_input_is_one_sentence(unit7, how, sentence):
    with pytest.raises(ValueError, match=sentence) as caught:
        sk.sweep(unit7, **how)
    assert "\n" not in str(caught.value)


# --- fast ----------------------------------------------------------------------------------------


def test_ten_thousand_set_ups_are_one_batch(unit7, monkeypatch):
    calls = []
    monkeypatch.setattr(whatif, "settle", lambda *a, **k: calls.append(1) or sk.settle(*a, **k))
    vary = {
        "setup.front.turns": np.linspace(0, 9, 50), "setup.rear.turns": np.linspace(0, 9, 50),
        "load": ["bare", "patrol"], "setup.rear.gap": [3.75 * INCH, 4.25 * INCH],
    }  # fmt: skip
    measure = ["front_height", "rear_height", "rake", "rear_load_factor"]
    sk.sweep(unit7, vary={"setup.front.turns": [1, 2]}, measure=measure)  # compiled by now
    calls.clear()
    began = time.process_time()  # of the processor: this machine may be busy
    table = sk.sweep(unit7, vary=vary, measure=measure)
    batch = time.process_time() - began
    assert len(table) == 10_000 and len(calls) == 1 and (table["problem"] == "").all()
    began, picked = time.process_time(), np.linspace(0, 9_999, 40).astype(int)
    for i in picked:
        row = table.iloc[i]
        setup = unit7.setup.change("front", turns=row["setup.front.turns"])
        setup = setup.change("rear", turns=row["setup.rear.turns"], gap=row["setup.rear.gap"])
        stance = sk.settle(unit7, setup, load=row["load"])
        assert_allclose(row["rake"], stance.rake, rtol=1e-9, atol=1e-13)
    loop = (time.process_time() - began) * len(table) / len(picked)
    assert loop / batch > 15, f"{loop:.1f} s one by one, {batch:.2f} s in a batch"


def test_only_what_is_asked_is_worked_out(unit7, monkeypatch):
    calls = []
    monkeypatch.setattr(whatif, "settle", lambda *a, **k: calls.append(k) or sk.settle(*a, **k))
    table = sk.sweep(unit7, measure=["roll", "rake"])
    assert list(table) == ["roll", "rake", "problem"] and len(calls) == 2
    monkeypatch.setattr(whatif, "drive", None)  # with no number of a run wanted none is driven
    sk.sweep(unit7, measure=["rake"], event=events.drop(height=0.2))


# --- anywhere ------------------------------------------------------------------------------------


def test_a_vehicle_survives_pickling(unit7):
    sk.settle(unit7, load="patrol")  # fills what it keeps
    other = pickle.loads(pickle.dumps(unit7))
    assert other == unit7
    a, b = (sk.settle(v, load="patrol").height for v in (unit7, other))
    assert (a == b).all()


@pytest.fixture(scope="module")
def serial():
    return sk.sweep(sk.example("unit7"), load="patrol", event=WHOOPS, vary=DRIVES)


class Inline:
    """The plainest executor there is: at once, here."""

    def submit(self, work, *args):
        from concurrent.futures import Future

        future = Future()
        future.set_result(work(*args))
        return future


@pytest.mark.slow
def test_the_same_to_the_last_bit_in_processes(unit7, serial):
    assert (serial["problem"] == "").all() and len(serial) == 24
    with ProcessPoolExecutor(1, mp_context=get_context("spawn")) as pool:
        spread = sk.sweep(unit7, load="patrol", event=WHOOPS, vary=DRIVES, executor=pool)
    same(spread, serial)
    same(sk.sweep(unit7, load="patrol", event=WHOOPS, vary=DRIVES, executor=Inline()), serial)


@pytest.mark.slow
def test_the_same_to_the_last_bit_on_a_dask_cluster(unit7, serial):
    from distributed import Client, LocalCluster

    seen, stop = [], threading.Event()
    how = {"load": "patrol", "event": WHOOPS, "vary": DRIVES}
    with (
        LocalCluster(
            n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None
        ) as cluster,
        Client(cluster) as client,
    ):
        pool = client.get_executor()
        same(sk.sweep(unit7, executor=pool, progress=lambda *a: seen.append(a), **how), serial)
        stop.set()
        stopped = sk.sweep(unit7, executor=client.get_executor(), cancel=stop, **how)
    assert seen[0] == (0, 24) and seen[-1] == (24, 24) and len(seen) == 4
    done = stopped["problem"] != NOT_DONE
    same(stopped[done], serial[done])


# --- stopped and taken up again ------------------------------------------------------------------


@pytest.mark.parametrize("kind", ["csv", "parquet"])
def test_resumed_after_a_cancel_it_is_the_same_table(unit7, serial, tmp_path, kind, monkeypatch):
    monkeypatch.setattr(whatif, "RUNS_A_CHUNK", 2)  # in whatever pieces, the numbers are the same
    path, stop, counts = tmp_path / f"sweep.{kind}", threading.Event(), []

    def look(done, total):
        counts.append(done)
        if done:
            stop.set()

    how = {"load": "patrol", "event": WHOOPS, "vary": DRIVES, "resume": path}
    part = sk.sweep(unit7, progress=look, cancel=stop, **how)
    left = part["problem"] == NOT_DONE
    assert 0 < left.sum() < len(part)
    assert part.loc[left, list(MEASURES)].isna().all(axis=None)
    same(part[~left], serial[~left])

    counts.clear()
    whole = sk.sweep(unit7, progress=lambda done, total: counts.append(done), **how)
    same(whole, serial)
    assert counts[0] == len(part) - left.sum(), "what was done is not done again"
    kept = read_table(path)
    assert kept.attrs.pop("sweep")
    same(kept, serial)
    counts.clear()
    same(sk.sweep(unit7, progress=lambda done, total: counts.append(done), **how), serial)
    assert counts == [len(part)], "nothing is left to do"


def test_an_interrupt_from_the_keyboard_gives_what_is_done(unit7, serial, tmp_path, monkeypatch):
    monkeypatch.setattr(whatif, "RUNS_A_CHUNK", 3)

    def interrupt(done, total):
        if done:
            raise KeyboardInterrupt

    path = tmp_path / "sweep.csv"
    how = {"load": "patrol", "event": WHOOPS, "vary": DRIVES, "resume": path}
    part = sk.sweep(unit7, progress=interrupt, **how)
    done = part["problem"] != NOT_DONE
    assert 0 < done.sum() < len(part)
    same(part[done], serial[done])
    same(sk.sweep(unit7, **how), serial)


def test_a_failed_executor_leaves_what_is_done_in_the_file(unit7, serial, tmp_path):
    class Failing(Inline):
        left = 1

        def submit(self, work, *args):
            self.left -= 1
            return super().submit(work if self.left >= 0 else broken, *args)

    def broken(*args):
        raise RuntimeError("a worker died")

    class Late(Failing):
        """Tells of a failure through the future, as executors do."""

        def submit(self, work, *args):
            from concurrent.futures import Future

            try:
                return super().submit(work, *args)
            except RuntimeError as error:
                future = Future()
                future.set_exception(error)
                return future

    how = {"load": "patrol", "event": WHOOPS, "vary": DRIVES, "resume": tmp_path / "s.parquet"}
    with pytest.raises(RuntimeError, match="a worker died"):
        sk.sweep(unit7, executor=Late(), **how)
    kept = read_table(how["resume"])
    assert (kept["problem"] != NOT_DONE).sum() == whatif.RUNS_A_CHUNK
    same(sk.sweep(unit7, **how), serial)


def test_a_file_that_cannot_be_written_is_said_before_any_work(unit7, tmp_path, monkeypatch):
    (tmp_path / "file").write_text("in the way")
    monkeypatch.setattr(whatif, "settle", None)
    with pytest.raises(UnwritableError, match="cannot be written: .*expected a place to write to"):
        sk.sweep(unit7, resume=tmp_path / "file" / "sweep.csv")


@pytest.mark.slow
def test_resumed_after_a_kill_it_is_the_same_table(unit7, serial, tmp_path):
    path = tmp_path / "sweep.csv"
    script = tmp_path / "long.py"
    script.write_text(
        textwrap.dedent(
            """
            import sys, time
            from functools import partial
            import suspkit as sk
            from suspkit.dynamics import events

            def look(done, total):
                print(done, flush=True)
                if done >= 8:
                    time.sleep(60)  # here it is killed

            sk.sweep(
                sk.example("unit7"), load="patrol", progress=look, resume=sys.argv[1],
                event=partial(events.whoops, height=0.2, spacing=4.0, count=2),
                vary={"event.speed": ["12 mph", "16 mph"],
                      "setup.front.clicks.compression": range(0, 12)},
            )
            """
        )
    )
    with subprocess.Popen(
        [sys.executable, str(script), str(path)], stdout=subprocess.PIPE, text=True
    ) as child:
        while int(child.stdout.readline()) < 8:
            pass
        child.send_signal(signal.SIGKILL)
        assert child.wait() == -signal.SIGKILL
    counts = []
    whole = sk.sweep(
        unit7, load="patrol", event=WHOOPS, vary=DRIVES, resume=path,
        progress=lambda done, total: counts.append(done),
    )  # fmt: skip
    assert counts[0] >= 8
    same(whole, serial)
    assert [p.name for p in tmp_path.iterdir() if p.suffix == ".part"] == []


@pytest.mark.parametrize("what", ["vehicle", "vary", "setup", "event", "load", "measure"])
def test_the_file_of_another_sweep_is_refused(unit7, tmp_path, what):
    path = tmp_path / "sweep.csv"

    def bump(height):
        return events.single_bump(height=height, length=1.0, speed=5.0)

    def higher(height):
        return events.single_bump(height=height * 2, length=1.0, speed=5.0)

    how = {
        "vehicle": unit7, "setup": unit7.setup, "load": "patrol", "measure": ["rake"],
        "vary": {"setup.front.turns": [1, 2], "event.height": [0.1]}, "event": bump,
    }  # fmt: skip
    sk.sweep(**how, resume=path)
    before = path.read_bytes()
    other = {
        "vehicle": replace(unit7, front=replace(unit7.front, unsprung_mass=30.0)),
        "vary": {"setup.front.turns": [1, 2.5], "event.height": [0.1]},
        "setup": unit7.setups["stock"], "event": higher, "load": "bare", "measure": ["roll"],
    }  # fmt: skip
    with pytest.raises(ValueError, match="holds another sweep; expected one of the same"):
        sk.sweep(**how | {what: other[what]}, resume=path)
    assert path.read_bytes() == before
    # Where a vehicle was read from does not matter.
    elsewhere = {"vehicle": replace(unit7, source="elsewhere.toml")}
    assert len(sk.sweep(**how | elsewhere, resume=path)) == 2


def test_a_function_written_again_in_another_cell_is_the_same(unit7, tmp_path):
    def cell(text, place):
        names = {"events": events}
        exec(compile(text, place, "exec"), names)
        return {"vary": {"event.height": [0.1]}, "event": names["bump"], "measure": ["rake"]}

    text = "bump = lambda height: events.single_bump(height=height, length=1.0, speed=5.0)"
    path = tmp_path / "sweep.csv"
    sk.sweep(unit7, **cell(text, "<cell 1>"), resume=path)
    assert len(sk.sweep(unit7, **cell("\n\n" + text, "<cell 2>"), resume=path)) == 1
    with pytest.raises(ValueError, match="holds another sweep"):
        sk.sweep(unit7, **cell(text.replace("5.0", "6.0"), "<cell 1>"), resume=path)


# --- to a file and back --------------------------------------------------------------------------


@pytest.fixture(scope="module")
def mixed():
    """A table with nan, a problem with a comma and quotes, text, and every kind of number."""
    unit7 = sk.example("unit7")
    vary = {
        "setup.front.gap": [0.0, "1 in"], "setup.front.stack": ["kit-front", "stock-front"],
        "vehicle.front.tyre.rate": ["850 lb/in"], "setup.rear_bar": [True, False],
    }  # fmt: skip
    return sk.sweep(unit7, unit7.setups, load="patrol", vary=vary)


@pytest.mark.parametrize("kind", ["csv", "parquet"])
def test_a_table_comes_back_with_its_units(mixed, tmp_path, kind):
    assert mixed["rake"].isna().any() and mixed["problem"].str.contains(",").any()
    path = write_table(mixed, tmp_path / f"table.{kind}")
    back = read_table(path)
    same(back, mixed)
    assert back.attrs["units"]["front_height"] == "m" and back.attrs["units"]["rake"] == "m"
    assert back.attrs["units"]["vehicle.front.tyre.rate"] == "N/m"
    assert mixed["setup.rear_bar"].tolist()[:2] == [1.0, 0.0]


def test_numbers_at_the_edge_of_floats_come_back(tmp_path):
    table = pd.DataFrame({"x": [0.1 + 0.2, np.inf, -np.inf, np.nan, 5e-324, 1.7e308]})
    table["name"] = ["", "nan", "# 1", 'a "b"', "c, d", "NA"]
    table.attrs["units"] = {"x": "m/s**2"}
    for kind in ("csv", "parquet"):
        same(read_table(write_table(table, tmp_path / f"t.{kind}")), table)


def test_the_csv_says_its_units_to_any_reader(mixed, tmp_path):
    lines = write_table(mixed, tmp_path / "t.csv").read_text(encoding="utf-8").splitlines()
    heading = next(line for line in lines if not line.startswith("#"))
    assert heading.startswith("setup,setup.front.gap [m],setup.front.stack,")
    assert "vehicle.front.tyre.rate [N/m]" in heading and "rake [m]" in heading


def test_the_parquet_says_its_units_to_any_reader(mixed, tmp_path):
    from pyarrow import parquet

    schema = parquet.read_schema(write_table(mixed, tmp_path / "t.parquet"))
    assert schema.field("front_height").metadata == {b"unit": b"m"}
    assert schema.field("front_frequency").metadata == {b"unit": b"Hz"}


def test_the_table_of_a_study_is_written_too(unit7, tmp_path):
    table = sk.sensitivity(unit7, load="patrol")
    same(read_table(write_table(table, tmp_path / "s.csv")), table)


def test_a_file_that_is_no_table_is_one_sentence(mixed, tmp_path, monkeypatch):
    for name, content, why in [
        ("gone.csv", None, "cannot be read: No such file"),
        ("words.csv", b"x [m],problem\nabc,\n", "is not a table of suspkit .*abc"),
        ("rows.csv", b"x [m]\n1,2,3\n4\n1,2,3,4\n", "is not a table of suspkit"),
        ("bytes.parquet", b"PAR1 not really", "is not a table of suspkit"),
        ("bytes.csv", b"\xff\xfe\xff", "cannot be read: byte 0 is 0xff; expected UTF-8 text"),
        ("table.xlsx", b"", "expected a name that ends in .csv or .parquet"),
    ]:
        if content is not None:
            (tmp_path / name).write_bytes(content)
        with pytest.raises(ValueError, match=why) as caught:
            read_table(tmp_path / name)
        assert "\n" not in str(caught.value)
    monkeypatch.setitem(sys.modules, "pyarrow", None)
    with pytest.raises(ValueError, match="needs the package pyarrow, which is not installed"):
        write_table(mixed, tmp_path / "t.parquet")
    write_table(mixed, tmp_path / "t.csv")


@pytest.mark.parametrize(
    "units, length, inch, rate, per, energy, joule",
    [
        ("us", "in", INCH, "lbf/in", LB_IN, "ft·lbf", 12 * INCH * LBF),
        ("metric", "mm", 1e-3, "N/mm", 1e3, "J", 1.0),
    ],
)
def test_readable_says_what_the_table_says(mixed, units, length, inch, rate, per, energy, joule):
    text = readable(mixed, units=units)
    for heading, name, one, digits in [
        (f"front ride height, {length}", "front_height", inch, 2 if units == "us" else 1),
        (f"vehicle.front.tyre.rate, {rate}", "vehicle.front.tyre.rate", per,
         0 if units == "us" else 1),
        (f"rear energy to full bump, {energy}", "rear_energy", joule, 0),
        (f"rake, {length}", "rake", inch, 2 if units == "us" else 1),
        ("roll in a 0.3 g turn, deg", "roll", np.pi / 180, 2),
        ("front load factor", "front_load_factor", 1.0, 2),
    ]:  # fmt: skip
        for said, value in zip(text[heading], mixed[name] / one, strict=True):
            if np.isnan(value):
                assert said == "–"
            else:
                assert abs(float(said) - value) <= 0.5 * 10.0**-digits + 1e-12
                assert len(said.partition(".")[2]) == digits
    assert text["problem"].tolist() == mixed["problem"].tolist()
    assert len(text.columns) == len(mixed.columns)
    well = mixed[mixed["problem"] == ""]
    assert list(readable(well, units=units)) == list(text)[:-1], "no empty column"


def test_what_is_readable_can_be_written_too(mixed, tmp_path):
    text = readable(mixed)
    back = read_table(write_table(text, tmp_path / "t.csv"))
    assert back.columns.tolist() == text.columns.tolist()
    assert (back == text.astype(str)).all(axis=None)


def test_another_tender_takes_its_ring_with_it(unit7):
    """The row is the vehicle with the stack written anew by hand, ring and all."""
    plan = unit7.stacks["kit-front"]
    old = plan.springs[0]
    assert plan.rings_below == (old,)
    length = unit7.springs[old].free_length
    tenders = [
        name
        for name, spring in unit7.springs.items()
        if name not in plan.springs and abs(spring.free_length - length) < 0.02
    ]
    vary = {"vehicle.stacks.kit-front.springs.0": [old, *tenders]}
    table = sk.sweep(unit7, vary=vary, load="patrol", measure=["front_height"])
    assert tenders and (table["problem"] == "").all()
    for name, height in zip([old, *tenders], table["front_height"], strict=True):
        stack = replace(plan, springs=(name, *plan.springs[1:]), rings_below=(name,))
        made = replace(unit7, stacks=unit7.stacks | {"kit-front": stack})
        assert_allclose(height, sk.settle(made, load="patrol").front_height, rtol=1e-12)


def test_a_sweep_has_a_bound(unit7):
    vary = {f"setup.{axle}.turns": np.linspace(0, 20, 2000) for axle in ("front", "rear")}
    with pytest.raises(ValueError, match="vary makes 4,000,000 rows; expected at most 2,000,000"):
        sk.sweep(unit7, vary=vary)
