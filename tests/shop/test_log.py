"""The job log: nothing typed is lost, whatever happens to the program, the disk or the file.

Run as a program this file is the writer that gets killed, fills the disk or races another.
"""

import csv
import json
import os
import random
import resource
import shutil
import signal
import sqlite3
import struct
import subprocess
import sys
import tempfile
import time
from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone
from functools import cache
from itertools import count
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

import suspkit as sk
from suspkit.shop import log as joblog
from suspkit.shop.log import JobLogError
from suspkit.vehicle.ride import COLUMNS
from suspkit.vehicle.setup import CORNERS

DATA = Path(__file__).parents[2] / "data"
UNIT7 = "Unit 7"
example = cache(sk.example)


def numbered(number):
    """A ride whose every value follows from its number, so that half of one would show."""
    setup = example().setup.change("all", turns=number % 40 / 4)
    setup = replace(setup, note=f"set-up {number}", rear_bar=number % 2 == 0)
    read = tuple(0.3 + number * 1e-6 + i * 1e-3 for i in range(4))
    return sk.Ride(
        setup=setup, load=f"load {number}", heights=read, scales=tuple(1000 * r for r in read),
        gaps=tuple(r / 10 for r in read), collars=tuple(r / 7 for r in read),
        at_rest=("rolled", "lowered", "lifted")[number % 3], bottomed=CORNERS[: number % 5],
        when=(datetime(2026, 1, 1, tzinfo=UTC) + timedelta(minutes=number)).isoformat(),
        by=f"tech {number}", note=f"{number} " + "x" * (number % 1000),
    )  # fmt: skip


# --- the writer -----------------------------------------------------------------------------------


def write_on(path, writing, start):
    """Write rides from a number on, telling each one as it is committed, until killed."""
    with sk.JobLog(path) as log:
        for number in count(start):
            at = log.add_ride(UNIT7, numbered(number))
            os.write(writing, struct.pack("<qq", number, at))


def kill_one(path, act, rows, wait):
    """Fork a process that acts; kill it some seconds after it told of so many rows.

    Gives what it had told by then, whether it was half way through a write, and what is there.
    """
    reading, writing = os.pipe()
    child = os.fork()
    if not child:
        try:
            os.close(reading)
            act(writing)
        finally:
            os._exit(1)
    os.close(writing)
    with os.fdopen(reading, "rb") as pipe:
        told = pipe.read(16 * rows)
        time.sleep(wait)
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
        told += pipe.read()
    journal = Path(f"{path}-journal")
    half_way = journal.exists() and journal.stat().st_size > 0
    with sk.JobLog(path) as log:
        (sound,) = log._one("PRAGMA integrity_check")
        assert sound == "ok", sound
        stand = {row["first"]: number_of(row["note"]) for row in log._all("SELECT * FROM ride")}
    return list(struct.iter_unpack("<qq", told)), half_way, stand


def kill_writers(path, kills, seed):
    """Kill one writer after another at random moments; after each see that all is there."""
    write_some(path, 10**6, 1)  # and the vehicle is read now, so that no child has to
    started = time.perf_counter()
    committed = {at: 10**6 + i for i, at in enumerate(write_some(path, 10**6, 10))}
    pace = (time.perf_counter() - started) / 10
    chance, stand, half_ways = random.Random(seed), {}, 0
    # How many kills come in the middle of a write is for the machine to say: on until enough did.
    for run in count():
        if run >= kills and half_ways > 20 or run == 4 * kills:
            break
        start = 1000 * run

        def act(writing, start=start):
            write_on(path, writing, start)

        rows, wait = chance.randrange(4), chance.uniform(0, 2 * pace)
        told, half_way, stand = kill_one(path, act, rows, wait)
        half_ways += half_way
        committed |= {at: number for number, at in told}
        assert committed.keys() <= stand.keys(), "a committed ride is lost"
        assert len(stand) - len(committed) <= run + 1, "more is there than can be"
        mine = sorted(number for number in stand.values() if start <= number < start + 1000)
        assert mine == list(range(start, start + len(mine))), "a gap"
    with sk.JobLog(path) as log:
        rides = log.rides(UNIT7)
    for ride in rides:
        assert ride == numbered(stand[ride.id]), "half a ride"
        assert committed.get(ride.id, stand[ride.id]) == stand[ride.id]
    return {"kills": run, "committed": len(committed), "there": len(rides), "half": half_ways}


def number_of(note):
    return int(note.split()[0])


def kill_imports(path, table, kills, rows, seed):
    """Kill imports of many rows in one transaction: all of them or none are there."""

    def act(writing):
        with sk.JobLog(own) as log:
            log._all("PRAGMA cache_size = 5")  # pages: the file itself changes from the start
            os.write(writing, struct.pack("<qq", 0, 0))
            log.import_csv(table)
            os.write(writing, struct.pack("<qq", 0, 0))

    with sk.JobLog(path) as log:
        log.vehicle(UNIT7)  # read now, so that no child has to
    own = path.with_suffix(".whole")
    shutil.copy(path, own)
    started = time.perf_counter()
    assert len(kill_one(own, act, 2, 0)[2]) == rows
    whole = time.perf_counter() - started
    chance, half_ways, none, every = random.Random(seed), 0, 0, 0
    for run in count():
        if run >= kills and half_ways > 3 or run == 4 * kills:
            break
        own = path.with_suffix(f".{run}")
        shutil.copy(path, own)
        told, half_way, stand = kill_one(own, act, 1, chance.uniform(0, whole))
        half_ways += half_way
        assert len(stand) in (0, rows), "half an import"
        assert len(told) < 2 or len(stand) == rows
        none, every = none + (not stand), every + bool(stand)
    return {"none": none, "all": every, "half": half_ways}


def write_some(path, start, rides):
    """Write so many rides and tell their numbers in the log."""
    with sk.JobLog(path) as log:
        log.add_vehicle(example())
        return [log.add_ride(UNIT7, numbered(number)) for number in range(start, start + rides)]


def write_beside(path, start, rides):
    """Write so many rides once the other writer is ready too."""
    example()
    path.with_suffix(f".ready-{start}").touch()
    while len(list(path.parent.glob("*.ready-*"))) < 2:
        time.sleep(0.005)
    with sk.JobLog(path) as log:
        log.add_vehicle(example())
        told = []
        for number in range(start, start + rides):
            told.append(log.add_ride(UNIT7, numbered(number)))
            time.sleep(0.005)  # or whoever comes first may keep the other out until the end
        return told


def fill_disk(path):
    """Write where a file may not grow: what the system says for want of space."""
    signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    with sk.JobLog(path) as log:
        size = path.stat().st_size
        resource.setrlimit(resource.RLIMIT_FSIZE, (size, size))
        try:
            log.add_ride(UNIT7, replace(numbered(7), note="x" * 50_000))
        except JobLogError as error:
            return [str(error), len(log.rides(UNIT7))]


def write_as_nobody(*paths):
    """Write where this user may only read."""
    example()
    if os.geteuid() == 0:
        os.setuid(65534)
    said = []
    for path in paths:
        with sk.JobLog(path) as log:
            try:
                log.add_ride(UNIT7, numbered(7))
            except JobLogError as error:
                said.append([str(error), len(log.rides(UNIT7))])
    return said


def program(what, *arguments, **options):
    command = [sys.executable, __file__, what, *map(str, arguments)]
    return subprocess.Popen(command, stdout=subprocess.PIPE, text=True, **options)


def answer(started):
    try:
        out, _ = started.communicate(timeout=300)
    finally:
        started.kill()
    assert started.returncode == 0
    return json.loads(out)


# --- fixtures -------------------------------------------------------------------------------------


@pytest.fixture
def log(tmp_path, unit7):
    """A log with one vehicle."""
    with sk.JobLog(tmp_path / "shop.suspkit-log") as log:
        log.add_vehicle(unit7)
        yield log


@pytest.fixture
def ride(unit7):
    return sk.Ride(setup=unit7.setup, load="patrol", when="2026-05-01T14:30-06:00", by="AB")


@pytest.fixture(scope="session")
def triple(tmp_path_factory):
    """Unit 7 with a stack that has two stop rings."""
    folder = tmp_path_factory.mktemp("triple")
    shutil.copy(DATA / "springs.csv", folder)
    more = (
        '[stacks.triple]\nsprings = ["tender-150-6", "tender-250-5.5", "main-320-16"]\n'
        'rings_below = ["tender-150-6", "tender-250-5.5"]\n'
    )
    text = (DATA / "unit7.toml").read_text()
    (folder / "unit7.toml").write_text(text + more)
    return sk.load_vehicle(folder / "unit7.toml")


def same_error(call, *words, kind=ValueError):
    with pytest.raises(kind) as caught:
        call()
    sentence = str(caught.value)
    assert [word for word in words if word not in sentence] == [], sentence
    assert "\n" not in sentence and "Traceback" not in sentence
    return sentence


# --- what is written is there ---------------------------------------------------------------------


def test_a_ride_comes_back_as_it_was(log):
    rides = [numbered(number) for number in range(8)]
    ids = [log.add_ride(UNIT7, ride) for ride in rides]
    assert log.rides(UNIT7) == tuple(rides)
    assert [ride.id for ride in log.rides(UNIT7)] == ids == list(range(1, 9))
    with sk.JobLog(log.path, new=False) as again:
        assert again.rides(UNIT7) == tuple(rides)
        assert again.vehicles() == (UNIT7,)


def test_numbers_of_numpy_and_whole_ones_come_back_as_floats(log, ride, unit7):
    setup = unit7.setup.change("front", turns=np.float64(4.25), clicks={"rebound": np.int64(3)})
    given = replace(ride, setup=setup, heights=(np.float32(0.5), 1, -0.0, None))
    log.add_ride(UNIT7, given)
    (back,) = log.rides(UNIT7)
    assert back == given
    assert [type(height) for height in back.heights] == [float, float, float, type(None)]
    assert type(back.setup.front_left.clicks["rebound"]) is float


def test_rides_are_in_the_order_of_their_times_whatever_their_zone(log, ride):
    times = ["2026-05-01T14:30-06:00", "2026-05-01T21:00+01:00", "2026-05-01T20:15Z"]
    for when in times:  # 20:30, 20:00 and 20:15 in UTC
        log.add_ride(UNIT7, replace(ride, when=when))
    assert [r.when for r in log.rides(UNIT7)] == [times[1], times[2], times[0]]
    assert [r.when for r in log.rides(UNIT7, last=2)] == [times[2], times[0]]
    assert log.rides(UNIT7, last=0) == ()


def test_a_ride_without_a_time_is_of_now_here(log, ride):
    log.add_ride(UNIT7, replace(ride, when=""))
    when = datetime.fromisoformat(log.rides(UNIT7)[0].when)
    assert when.utcoffset() is not None
    assert abs(datetime.now(UTC) - when) < timedelta(seconds=20)


def test_a_load_that_the_vehicle_has_not_and_any_note_are_kept(log, ride):
    log.add_ride(UNIT7, replace(ride, load="two dogs", note="=1+1\r\n\t'“Ünï” \0 \U0001f527"))
    (back,) = log.rides(UNIT7)
    assert (back.load, back.note) == ("two dogs", "=1+1\r\n\t'“Ünï” \0 \U0001f527")


def test_the_same_ride_written_twice_is_one(log, ride):
    assert log.add_ride(UNIT7, ride) == log.add_ride(UNIT7, replace(ride)) == 1
    assert log.add_ride(UNIT7, replace(ride, note="again")) == 2
    assert len(log.rides(UNIT7)) == 2


def test_vehicles_are_kept_apart(log, ride, tmp_path):
    other = tmp_path / "other"
    shutil.copytree(DATA, other)
    text = (other / "unit7.toml").read_text().replace('name = "Unit 7"', 'name = "Unit 8"')
    (other / "unit7.toml").write_text(text)
    log.add_vehicle(sk.load_vehicle(other / "unit7.toml"))
    assert log.vehicles() == (UNIT7, "Unit 8")
    log.add_ride("Unit 8", ride)
    assert log.rides(UNIT7) == ()
    assert log.rides("Unit 8") == (ride,)
    assert set(log.history("Unit 8").vehicle) == {"Unit 8"}


# --- corrections ----------------------------------------------------------------------------------


def test_a_correction_takes_the_place_of_the_ride_and_the_old_row_stays(log, ride):
    first, second = log.add_ride(UNIT7, ride), log.add_ride(UNIT7, replace(ride, note="b"))
    for note in ("c", "d"):
        assert log.correct(first, replace(ride, note=note, when="")) == first
    assert [(r.id, r.note, r.when) for r in log.rides(UNIT7)] == [
        (first, "d", ride.when), (second, "b", ride.when),
    ]  # fmt: skip
    all_rows = log.history(superseded=True)
    assert list(all_rows.note[::4]) == ["", "c", "d", "b"]
    assert list(all_rows.ride[::4]) == [first, first, first, second]
    assert list(log.history().note[::4]) == ["d", "b"]


def test_a_correction_back_to_what_was_said_before_counts(log, ride):
    at = log.add_ride(UNIT7, ride)
    for note in ("wrong", "", "wrong", ""):
        log.correct(at, replace(ride, note=note))
        assert [r.note for r in log.rides(UNIT7)] == [note]
    assert len(log.history(superseded=True)) == 4 * 5


def test_what_is_no_ride_cannot_be_corrected(log, ride):
    at = log.add_ride(UNIT7, ride)
    log.correct(at, replace(ride, note="b"))
    for wrong in (0, 2, 99, None, "1.5"):
        same_error(
            lambda wrong=wrong: log.correct(wrong, ride), f"ride_id is {wrong!r}", "expected"
        )
    assert len(log.history(superseded=True)) == 4 * 2


@pytest.mark.parametrize("table", ["ride", "vehicle"])
@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE {} SET name = 'x'",
        "DELETE FROM {}",
        "DELETE FROM {} WHERE id = 1",
        "INSERT OR REPLACE INTO {} SELECT * FROM {}",
        "REPLACE INTO {} SELECT * FROM {} WHERE id = 1",
    ],
)
def test_even_other_programs_cannot_change_or_drop_a_row(log, ride, table, statement):
    log.add_ride(UNIT7, ride)
    other = sqlite3.connect(log.path)
    before = "\n".join(other.iterdump())
    with pytest.raises(sqlite3.IntegrityError, match="keeps every row"):
        other.execute(statement.replace("{}", table))
    other.rollback()
    assert "\n".join(other.iterdump()) == before
    other.close()


def test_a_row_of_the_same_key_cannot_take_anothers_place(log, ride):
    log.add_ride(UNIT7, ride)
    other = sqlite3.connect(log.path)
    names = [name for _, name, *_ in other.execute("PRAGMA table_info(ride)") if name != "id"]
    listed = ", ".join(f'"{name}"' for name in names)
    with pytest.raises(sqlite3.IntegrityError, match="keeps every row"):
        other.execute(f"REPLACE INTO ride (id, {listed}) SELECT 77, {listed} FROM ride")
    other.close()


# --- vehicles as they were ------------------------------------------------------------------------


def test_a_ride_can_be_read_again_with_the_vehicle_file_it_was_done_on(log, ride, tmp_path):
    shutil.copytree(DATA, tmp_path / "in")
    path = tmp_path / "in" / "unit7.toml"
    old = log.add_ride(UNIT7, ride)
    first = sk.load_vehicle(path)
    path.write_text(path.read_text().replace('wheelbase = "117 in"', 'wheelbase = "118 in"'))
    longer = sk.load_vehicle(path)
    log.add_vehicle(longer)
    log.add_vehicle(longer)
    new = log.add_ride(UNIT7, replace(ride, note="longer"))
    assert log.correct(old, replace(ride, note="still the old file")) == old
    log.add_ride(UNIT7, replace(ride, note="newest"))
    shutil.rmtree(tmp_path / "in")  # the log needs no file but its own
    for at, wheelbase in ((old, 117), (new, 118)):
        back = log.vehicle(ride_id=at)
        assert back.wheelbase == pytest.approx(wheelbase * 0.0254)
    back = log.vehicle(UNIT7)
    assert str(log.path) in back.source
    assert replace(back, source=longer.source) == longer
    assert log.vehicle(ride_id=old).digest == first.digest
    (versions,) = log._one("SELECT count(*) FROM vehicle")
    assert versions == 2


def test_the_file_added_last_is_the_one_in_use_also_when_it_was_there_before(
    log, ride, unit7, tmp_path
):
    shutil.copytree(DATA, tmp_path / "in")
    path = tmp_path / "in" / "unit7.toml"
    path.write_text(path.read_text().replace('wheelbase = "117 in"', 'wheelbase = "118 in"'))
    log.add_vehicle(sk.load_vehicle(path))
    log.add_vehicle(unit7)
    assert log.vehicle(UNIT7).digest == unit7.digest


def test_a_clock_set_back_does_not_bring_an_old_file_back(log, unit7, tmp_path, monkeypatch):
    shutil.copytree(DATA, tmp_path / "in")
    path = tmp_path / "in" / "unit7.toml"
    path.write_text(path.read_text().replace('wheelbase = "117 in"', 'wheelbase = "118 in"'))
    monkeypatch.setattr(joblog, "_now", lambda: "1970-01-01T00:00:00.000000+00:00")
    log.add_vehicle(sk.load_vehicle(path))
    assert log.vehicle(UNIT7).digest != unit7.digest


def test_rack_and_dyno_table_in_other_folders_are_kept_too(tmp_path, ride):
    for folder in ("racks", "dyno", "shop/unit7"):
        (tmp_path / folder).mkdir(parents=True)
    shutil.copy(DATA / "springs.csv", tmp_path / "racks" / "springs.csv")
    shutil.copy(DATA / "unit7-front-dyno.csv", tmp_path / "dyno" / "front.csv")
    text = (DATA / "unit7.toml").read_text()
    text = text.replace('rack = "springs.csv"', 'rack = "../../racks/springs.csv"')
    head, rest = text.split("[front.shock.damper]", 1)
    _, rest = rest.split("# -- rear axle", 1)
    text = f'{head}[front.shock.damper]\ntable = "../../dyno/front.csv"\n# -- rear axle{rest}'
    path = tmp_path / "shop" / "unit7" / "unit7.toml"
    path.write_text(text, newline="\r\n", encoding="utf-8-sig")
    vehicle = sk.load_vehicle(path)
    with sk.JobLog(tmp_path / "log") as log:
        log.add_vehicle(vehicle)
        shutil.rmtree(tmp_path / "racks")
        shutil.rmtree(tmp_path / "dyno")
        back = log.vehicle(UNIT7)
    assert back.digest == vehicle.digest
    assert back.springs == vehicle.springs
    how = {"clicks": {"compression": 5, "rebound": 5}}
    now, then = (v.front.shock.damper.force(0.2, **how) for v in (back, vehicle))
    assert now == then


def test_a_vehicle_that_is_not_its_file_is_refused(log, unit7, tmp_path):
    before = log.path.read_bytes()
    shutil.copytree(DATA, tmp_path / "in")
    path = tmp_path / "in" / "unit7.toml"
    there = sk.load_vehicle(path)
    same_error(lambda: log.add_vehicle(replace(unit7, current="stock")), "Unit 7", "is not what",
               "expected it as load_vehicle")  # fmt: skip
    same_error(lambda: log.add_vehicle(replace(unit7, source="")), "has its file at ''", "expected")
    path.write_text(path.read_text() + "# a remark\n")
    same_error(lambda: log.add_vehicle(there), "is not what", str(path))
    path.write_text("name = ")
    same_error(lambda: log.add_vehicle(there), str(path), "not a TOML file")
    path.unlink()
    same_error(lambda: log.add_vehicle(there), "has its file at", str(path))
    assert log.path.read_bytes() == before


def test_a_rack_at_a_fixed_place_is_refused(log, tmp_path):
    text = (DATA / "unit7.toml").read_text()
    fixed = str(DATA / "springs.csv")
    (tmp_path / "unit7.toml").write_text(text.replace('"springs.csv"', f"'{fixed}'", 1))
    vehicle = sk.load_vehicle(tmp_path / "unit7.toml")
    same_error(lambda: log.add_vehicle(vehicle), fixed, "expected one seen from the vehicle file")


# --- bad input ------------------------------------------------------------------------------------

WRONG = {
    "time without a zone": ({"when": "2026-05-01T14:30"}, ["when is '2026-05-01T14:30'", "zone"]),
    "no time": ({"when": "yesterday"}, ["when is 'yesterday'", "such as '2026-05-01T14:30-06:00'"]),
    "time of no day": ({"when": "2026-02-30T10:00Z"}, ["when is '2026-02-30T10:00Z'"]),
    "before all times": ({"when": "0001-01-01T00:00+14:00"}, ["when is '0001", "expected"]),
    "a number for a note": ({"note": 3}, ["note is 3", "expected text"]),
    "half a letter": ({"note": "\ud83d"}, ["note is '\\ud83d'", "expected text"]),
    "endless note": ({"note": "x" * 100_001}, ["note is 'xxx", "at most 100000"]),
    "at rest": ({"at_rest": "parked"}, ["at_rest is 'parked'", "rolled, lowered, lifted"]),
    "no corner": ({"bottomed": ("front",)}, ["bottomed is 'front'", "front_left, front_right"]),
    "three heights": ({"heights": (0.3, 0.3, 0.3)}, ["heights is (0.3", "expected four readings"]),
    "height in inches": (
        {"heights": (0.3, 13.6, 0.3, 0.3)},
        ["height_front_right is 13.6; expected one number from 0 to 3 m"],
    ),
    "height as text": ({"heights": ("13 in",) * 4}, ["height_front_left is '13 in'", "0 to 3 m"]),
    "no number": ({"scales": (float("nan"), 1, 1, 1)}, ["scale_front_left is nan", "5000 kg"]),
    "below zero": ({"gaps": (-0.1, None, None, None)}, ["gap_front_left is -0.1", "0 to 3 m"]),
    "endless": ({"collars": (None, None, None, float("inf"))}, ["collar_rear_right is inf"]),
    "true": ({"collars": (True, None, None, None)}, ["collar_front_left is True", "0 to 3 m"]),
}  # fmt: skip

WRONG_SETUP = {
    "unknown stack": (
        {"stack": "kit"},
        ["setup.front_left.stack is 'kit'", "a stack: stock-front"],
    ),
    "unknown adjuster": ({"clicks": {"rebuond": 1}}, ["setup.front_left.clicks is 'rebuond'"]),
    "half a click": ({"clicks": {"rebound": 1.5}}, ["setup.front_left.clicks.rebound is 1.5"]),
    "clicks past the last": ({"clicks": {"rebound": 13}}, ["rebound is 13", "0 to 12"]),
    "no gap": ({"gap": None}, ["setup.front_left.gap is missing", "has a stop ring"]),
    "two gaps": ({"gap": (0.01, 0.02)}, ["setup.front_left.gap has 2 value(s); expected 1"]),
    "endless turns": ({"turns": float("inf")}, ["setup.front_left.turns is inf", "0 to 1000"]),
    "a batch of turns": ({"turns": np.arange(3)}, ["front_left.turns is array(", "one number"]),
    "turns in a row": ({"turns": (1, 2)}, ["setup.front_left.turns is (1, 2)", "one number"]),
    "turns as text": ({"turns": "4"}, ["setup.front_left.turns is '4'", "one number"]),
    "no turns": ({"turns": None}, ["setup.front_left.turns is None", "one number"]),
    "gap in inches": ({"gap": 4.25}, ["setup.front_left.gap is 4.25", "0 to 3 m"]),
    "a ring of no place": ({"gap": None, "ring": float("nan")}, ["front_left.ring is nan"]),
}


@pytest.mark.parametrize(("wrong", "words"), WRONG.values(), ids=WRONG)
def test_a_value_that_cannot_be_is_one_sentence_and_nothing_is_written(log, ride, wrong, words):
    at = log.add_ride(UNIT7, ride)
    before = log.path.read_bytes()
    same_error(lambda: log.add_ride(UNIT7, replace(ride, **wrong)), *words)
    same_error(lambda: log.correct(at, replace(ride, **wrong)), *words)
    assert log.path.read_bytes() == before


@pytest.mark.parametrize(("wrong", "words"), WRONG_SETUP.values(), ids=WRONG_SETUP)
def test_a_setup_that_does_not_fit_the_vehicle_is_one_sentence(log, ride, wrong, words):
    before = log.path.read_bytes()
    corner = object.__new__(sk.CornerSetup)  # also what its own checks would refuse
    corner.__dict__.update(vars(ride.setup.front_left) | wrong)
    setup = replace(ride.setup, front_left=corner)
    same_error(lambda: log.add_ride(UNIT7, replace(ride, setup=setup)), *words)
    assert log.path.read_bytes() == before


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ({"rear_bar": "off"}, ["setup.rear_bar is 'off'; expected bool"]),
        ({"note": None}, ["setup.note is None; expected str"]),
    ],
)
def test_a_setup_of_other_kinds_is_one_sentence(log, ride, wrong, words):
    setup = object.__new__(sk.Setup)  # also what its own checks would refuse
    setup.__dict__.update(vars(ride.setup) | wrong)
    same_error(lambda: log.add_ride(UNIT7, replace(ride, setup=setup)), *words)


def test_a_vehicle_that_is_not_there_is_one_sentence(log, ride):
    for call in (
        lambda: log.rides("Unit 9"), lambda: log.add_ride("Unit 9", ride),
        lambda: log.history("Unit 9"), lambda: log.vehicle("Unit 9"),
    ):  # fmt: skip
        same_error(
            call, "vehicle_name is 'Unit 9'", "a vehicle of this log: Unit 7", "did you mean"
        )
    same_error(lambda: log.vehicle(ride_id=4), "ride_id is 4")


# --- opening --------------------------------------------------------------------------------------


def another(path, *statements):
    db = sqlite3.connect(path)
    for statement in statements:
        db.execute(statement)
    db.commit()
    db.close()


def test_files_that_are_no_job_log_are_one_sentence_and_left_alone(tmp_path):
    path = tmp_path / "file"
    for text in (b"notes of mine\n" * 200, b"SQLite format 3\0" + b"\xff" * 4096, b"\0" * 8192):
        path.write_bytes(text)
        same_error(lambda: sk.JobLog(path), str(path), "expected a job log", kind=JobLogError)
        assert path.read_bytes() == text


@pytest.mark.parametrize(
    "statement", ["CREATE TABLE mine (a)", "PRAGMA user_version = 3", "PRAGMA application_id = 9"]
)
def test_a_database_of_another_program_is_left_alone(tmp_path, statement):
    path = tmp_path / "file"
    another(path, statement)
    before = path.read_bytes()
    same_error(lambda: sk.JobLog(path), str(path), "database of another program", "a job log")
    assert path.read_bytes() == before
    assert os.listdir(tmp_path) == ["file"]


def test_a_log_of_a_newer_suspkit_is_left_alone(log, ride):
    log.add_ride(UNIT7, ride)
    log.close()
    another(log.path, f"PRAGMA user_version = {len(joblog.LAYOUTS) + 1}")
    before = log.path.read_bytes()
    same_error(lambda: sk.JobLog(log.path), "layout 3, of a newer suspkit", "expected at most 2")
    assert log.path.read_bytes() == before


def test_a_log_of_an_older_layout_is_brought_up_to_date_with_its_rides(log, ride, monkeypatch):
    log.add_ride(UNIT7, ride)
    more = ("CREATE TABLE person (id INTEGER PRIMARY KEY, name TEXT) STRICT",)
    monkeypatch.setattr(joblog, "LAYOUTS", (*joblog.LAYOUTS, more))
    with sk.JobLog(log.path) as newer:
        assert newer.rides(UNIT7) == (ride,)
        assert tuple(newer._one("PRAGMA user_version")) == (2,)  # a reader changes nothing
        newer.add_ride(UNIT7, replace(ride, note="later"))
        assert tuple(newer._one("PRAGMA user_version")) == (3,)
        assert newer._all("SELECT * FROM person") == []
    bad = (*joblog.LAYOUTS, ("CREATE TABLE later (a)", "no such statement"))
    monkeypatch.setattr(joblog, "LAYOUTS", bad)
    before = log.path.read_bytes()
    with sk.JobLog(log.path) as newer:
        wrong = replace(ride, note="last")
        same_error(lambda: newer.add_ride(UNIT7, wrong), "cannot be used", "syntax error")
        assert tuple(newer._one("PRAGMA user_version")) == (3,)
    assert log.path.read_bytes() == before


def test_a_log_says_what_it_is(log):
    db = sqlite3.connect(log.path)
    assert db.execute("PRAGMA application_id").fetchone() == (0x53757370,)
    assert db.execute("PRAGMA user_version").fetchone() == (2,)
    assert db.execute("PRAGMA journal_mode").fetchone() == ("delete",)
    db.close()
    assert tuple(log._one("PRAGMA synchronous")) == (3,)  # EXTRA
    assert os.listdir(log.path.parent) == [log.path.name]  # one file, also while it is open


def test_places_where_no_log_can_be_are_one_sentence(tmp_path):
    for path, *words in (
        (tmp_path / "no" / "log", "has no folder", str(tmp_path / "no")),
        (tmp_path, "is no file", "expected a job log or a new name"),
        ("//server/shop/log", "network disk", "expected a disk of this machine"),
        ("\\\\server\\shop\\log", "network disk"),
    ):
        if str(path).startswith("\\") and os.name != "nt":
            continue  # a plain name here
        same_error(lambda path=path: sk.JobLog(path), *words, kind=JobLogError)
    same_error(lambda: sk.JobLog(tmp_path / "new", new=False), "is not there", "a job log")
    (tmp_path / "empty").touch()
    same_error(lambda: sk.JobLog(tmp_path / "empty", new=False), "is empty", "a job log")
    assert os.listdir(tmp_path) == ["empty"]
    with sk.JobLog(tmp_path / "empty") as log:
        assert log.vehicles() == ()


def test_network_mounts_are_known_by_their_kind(tmp_path):
    mounts = tmp_path / "mounts"
    mounts.write_text(
        "/dev/sda1 / ext4 rw 0 0\nshop:/x /mnt/the\\040shop nfs4 rw 0 0\n"
        "tech@shop: /mnt/ssh fuse.sshfs rw 0 0\n/dev/sdb1 /mnt/ssh/stick vfat rw 0 0\n"
    )
    kinds = {"/mnt/the shop/log": "nfs4", "/mnt/the shop/a/b": "nfs4", "/mnt/ssh/log": "sshfs"}
    kinds |= {"/mnt/ssh/stick/log": None, "/mnt/other/log": None, "/log": None}
    for path, kind in kinds.items():
        assert joblog._network_of(Path(path), mounts) == kind
    assert joblog._network_of(Path("/log"), tmp_path / "nothing") is None


def test_a_closed_log_says_so(log, ride):
    log.close()
    log.close()
    same_error(lambda: log.add_ride(UNIT7, ride), "closed database", "expected", kind=JobLogError)


def test_a_page_gone_bad_is_one_sentence(log):
    for number in range(40):
        log.add_ride(UNIT7, numbered(number))
    log.close()
    data = bytearray(log.path.read_bytes())
    data[4096:] = b"\xa5" * (len(data) - 4096)
    log.path.write_bytes(data)
    same_error(lambda: sk.JobLog(log.path), "cannot be read", "last good copy", kind=JobLogError)


def told(path):
    """All that a log says."""
    with sk.JobLog(path, new=False) as log:
        rides = [log.rides(name) for name in log.vehicles()]
        return rides, [log.training(name) for name in log.trainees()], len(log.history())


def pages_of(path):
    data, size = path.read_bytes(), 4096
    return [data[at : at + size] for at in range(0, len(data), size)]


def test_no_two_pages_can_be_swapped_without_a_word(log, tmp_path):
    """Seven of 105 swaps left a log that looked empty."""
    for number in range(12):
        log.add_ride(UNIT7, numbered(number))
    for task in ("unbolt", "turns"):
        log.add_training("T. Rainee", sk.Training(kind="lesson", what="02-preload", result="read",
                                                  note=task, when="2026-05-01T14:30Z"))  # fmt: skip
    # Of two notes so long the ends stand on pages of their own, which SQLite does not tell apart.
    for letter in "ab":
        log.add_ride(UNIT7, replace(numbered(20), note=letter * 5000))
    log.close()
    pages, good, path, wrong = pages_of(log.path), told(log.path), tmp_path / "swapped", 0
    for one in range(len(pages)):
        for two in range(one):
            swapped = list(pages)
            swapped[one], swapped[two] = pages[two], pages[one]
            path.write_bytes(b"".join(swapped))
            try:
                assert told(path) == good, (one, two)
            except JobLogError:
                wrong += 1
    assert len(pages) >= 15 and wrong > 0.8 * len(pages) * (len(pages) - 1) / 2


@pytest.mark.parametrize(
    ("sql", "words"),
    [
        ("UPDATE ride SET note = 'x' WHERE id = 1", "ride 1 otherwise than it was written"),
        ("UPDATE ride SET height_rear_left = 0.1 WHERE id = 1", "ride 1 otherwise"),
        ("UPDATE training SET result = 'wrong'", "training of 'T. Rainee' otherwise"),
        ("UPDATE vehicle SET digest = 'x'", "otherwise than it was written"),
        ("DROP TABLE training", "has no table training"),
    ],
)
def test_what_another_program_changed_is_told(log, ride, sql, words):
    log.add_ride(UNIT7, ride)
    lesson = sk.Training(kind="lesson", what="02-preload", result="read")
    log.add_training("T. Rainee", lesson)
    log.close()
    triggers = [f"DROP TRIGGER {t}_update" for t in ("ride", "training", "vehicle")]
    another(log.path, *triggers, sql)
    same_error(lambda: told(log.path), str(log.path), words, "last good copy", kind=JobLogError)


def test_a_pipe_beside_a_log_is_not_waited_for(log):
    log.close()
    os.mkfifo(f"{log.path}-journal")
    same_error(lambda: sk.JobLog(log.path), f"{log.path.name}-journal beside it", kind=JobLogError)


# --- failures while writing -----------------------------------------------------------------------


def test_a_full_file_is_one_sentence_and_leaves_the_log_as_it_was(log, ride):
    log.add_ride(UNIT7, ride)
    before = log.path.read_bytes()
    (pages,) = log._one("PRAGMA page_count")
    log._all(f"PRAGMA max_page_count = {pages}")
    big = replace(ride, note="x" * 50_000)
    same_error(lambda: log.add_ride(UNIT7, big), "is full", "expected", kind=JobLogError)
    assert log.path.read_bytes() == before
    log._all("PRAGMA max_page_count = 100000")
    assert log.add_ride(UNIT7, big) == 2  # the caller still has it
    assert log.rides(UNIT7) == (ride, big)


def test_a_file_the_system_will_not_let_grow_is_as_it_was(log, ride):
    log.add_ride(UNIT7, ride)
    before = log.path.read_bytes()
    sentence, rides = answer(program("fill", log.path))
    assert str(log.path) in sentence and "cannot be used" in sentence
    assert rides == 1
    assert log.path.read_bytes() == before
    assert os.listdir(log.path.parent) == [log.path.name]


def test_a_log_that_may_only_be_read_can_be_read(log, ride):
    log.add_ride(UNIT7, ride)
    before = log.path.read_bytes()
    with tempfile.TemporaryDirectory() as top:
        Path(top).chmod(0o755)  # another user may enter
        paths = []
        for of_file, of_folder in ((0o444, 0o755), (0o666, 0o555), (0o444, 0o555)):
            folder = Path(top) / f"{of_file:o}-{of_folder:o}"
            folder.mkdir()
            paths.append(folder / "log")
            shutil.copy(log.path, paths[-1])
            paths[-1].chmod(of_file)
            folder.chmod(of_folder)
        said = answer(program("nobody", *paths))
        assert [path.read_bytes() for path in paths] == [before] * 3
        assert [os.listdir(path.parent) for path in paths] == [["log"]] * 3
        for path in paths:
            path.parent.chmod(0o755)
    for path, (sentence, rides) in zip(paths, said, strict=True):
        assert "cannot be used" in sentence and str(path) in sentence
        assert rides == 1


def test_a_writer_that_never_finishes_is_one_sentence(log, ride, monkeypatch):
    other = sqlite3.connect(log.path, isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    monkeypatch.setattr(joblog, "WAIT", 0.05)
    with sk.JobLog(log.path) as hasty:
        same_error(lambda: hasty.add_ride(UNIT7, ride), "held by another program for 0.05 s")
        assert hasty.rides(UNIT7) == ()  # reading goes on
        other.execute("ROLLBACK")
        assert hasty.add_ride(UNIT7, ride) == 1
    other.close()


def test_an_interruption_while_writing_leaves_nothing_and_the_log_in_use(log, ride, monkeypatch):
    def interrupt(*_):
        raise KeyboardInterrupt

    before = log.path.read_bytes()
    with monkeypatch.context() as patched:
        patched.setattr(joblog, "_now", interrupt)
        with pytest.raises(KeyboardInterrupt):
            log.add_ride(UNIT7, ride)
    assert log.path.read_bytes() == before
    assert log.add_ride(UNIT7, ride) == 1


@pytest.mark.slow
def test_writers_killed_200_times_lose_nothing_and_leave_no_half_row(tmp_path):
    found = answer(program("kill", tmp_path / "log", 200, 20260501))
    assert found["kills"] >= 200
    assert found["committed"] > 200, found
    assert found["half"] > 20, found  # kills that really came in the middle of a write
    with sk.JobLog(tmp_path / "log", new=False) as log:
        assert len(log.rides(UNIT7)) == found["there"]


@pytest.mark.slow
def test_a_killed_import_is_there_as_a_whole_or_not_at_all(tmp_path, unit7):
    rows = 300
    with sk.JobLog(tmp_path / "log") as log, sk.JobLog(tmp_path / "full") as full:
        log.add_vehicle(unit7)
        full.add_vehicle(unit7)
        with full._writing():
            version = full._newest(UNIT7)
            for number in range(rows):
                row = sk.vehicle.ride.as_row(numbered(number))
                full._keep(sk.vehicle.ride.checked(row, unit7), version)
        full.export_csv(tmp_path / "rides.csv")
    found = answer(program("import", tmp_path / "log", tmp_path / "rides.csv", 16, rows, 20260501))
    assert found["half"] > 3, found


def test_two_programs_at_once_lose_nothing(tmp_path):
    path, each = tmp_path / "log", 250
    started = [program("beside", path, start, each) for start in (0, 10_000)]
    numbers = [answer(one) for one in started]
    assert len(set(numbers[0] + numbers[1])) == 2 * each
    with sk.JobLog(path, new=False) as log:
        rides = {ride.id: ride for ride in log.rides(UNIT7)}
        (versions,) = log._one("SELECT count(*) FROM vehicle")
    assert versions == 1
    assert len(rides) == 2 * each
    for start, mine in zip((0, 10_000), numbers, strict=True):
        assert [rides[at] for at in mine] == [numbered(start + i) for i in range(each)]
    # They really took turns.
    assert max(numbers[0]) > min(numbers[1]) and max(numbers[1]) > min(numbers[0])


def test_two_corrections_at_once_are_both_kept(log, ride):
    at = log.add_ride(UNIT7, ride)
    with sk.JobLog(log.path) as other:
        log.correct(at, replace(ride, note="mine"))
        other.correct(at, replace(ride, note="theirs"))
        assert [r.note for r in log.rides(UNIT7)] == ["theirs"]
    assert list(log.history(superseded=True).note[::4]) == ["", "mine", "theirs"]


# --- the table ------------------------------------------------------------------------------------


def test_history_is_one_row_a_corner_in_si_with_units(log, unit7):
    ride = replace(numbered(7), load=None, bottomed=("rear_left",), gaps=(None, 0.02, None, None))
    at = log.add_ride(UNIT7, ride)
    table = log.history(UNIT7)
    assert list(table.corner) == list(CORNERS)
    assert set(table.ride) == {at}
    assert tuple(table.height) == ride.heights and tuple(table.scale) == ride.scales
    np.testing.assert_array_equal(table.gap, [np.nan, 0.02, np.nan, np.nan])
    assert list(table.bottomed) == [False, False, True, False]
    assert set(table.turns) == {1.75}
    assert tuple(table.gap_set) == tuple(own.gap for own in ride.setup.corners)
    assert table.ring_set.isna().all()
    assert set(table.clicks_rebound) == {6.0}
    assert set(table.when) == {datetime(2026, 1, 1, 0, 7, tzinfo=UTC)}
    units = table.attrs["units"]
    assert {units[name] for name in ("height", "gap", "collar", "gap_set", "ring_set")} == {"m"}
    assert (units["scale"], units["turns"], units["clicks_rebound"]) == ("kg", "turns", "clicks")
    assert set(units) <= set(table)


def test_history_of_nothing_has_the_same_columns(log, ride):
    empty = log.history()
    assert len(empty) == 0 and empty.height.dtype == float
    log.add_ride(UNIT7, ride)
    assert [n for n in log.history() if not n.startswith("clicks_")] == list(empty)


def test_the_last_rides_are_found_by_an_index_alone(log):
    plan = log._all(
        f"EXPLAIN QUERY PLAN {joblog._TOLD} WHERE name = ? AND {joblog._CURRENT} "
        "ORDER BY at DESC, first DESC LIMIT ?",
        UNIT7, 20,
    )  # fmt: skip
    steps = [row["detail"] for row in plan]
    assert any("USING INDEX ride_order (name=?)" in step for step in steps), steps
    assert any("USING COVERING INDEX ride_rows (first=?)" in step for step in steps), steps
    assert not any("SCAN" in step or "TEMP B-TREE" in step for step in steps), steps


# --- CSV ------------------------------------------------------------------------------------------

NASTY = ["=1+1", "'=x", "''-", "'", "-", "@", "+1", "\t", "\r", "\n", '"', ",", ";", "\0", "none"]
text = st.one_of(st.text(max_size=12), st.lists(st.sampled_from(NASTY), max_size=4).map("".join))
reading = st.one_of(st.none(), st.floats(0, 3))
four = st.tuples(reading, reading, reading, reading)
clicks = st.dictionaries(
    st.sampled_from(["compression", "rebound"]), st.integers(0, 12).map(float), max_size=2
)


@st.composite
def corners(draw):
    own = {"turns": draw(st.floats(0, 40)), "clicks": draw(clicks)}
    kind, place = draw(st.sampled_from(["gap", "ring"])), st.floats(0, 0.6)
    stack = draw(st.sampled_from(["kit-front", "stock-rear", "triple"]))
    if stack == "triple":
        own[kind] = draw(st.tuples(place, place))
    elif stack == "kit-front":
        own[kind] = draw(st.one_of(place, st.tuples(place)))
    return sk.CornerSetup(stack=stack, **own)


setups = st.builds(
    sk.Setup, front_left=corners(), front_right=corners(), rear_left=corners(),
    rear_right=corners(), front_bar=st.booleans(), rear_bar=st.booleans(), note=text,
)  # fmt: skip
zones = st.integers(-14 * 60, 14 * 60).map(lambda m: timezone(timedelta(minutes=m)))
times = st.datetimes(datetime(1990, 1, 1), datetime(2100, 1, 1), timezones=zones)
any_ride = st.builds(
    sk.Ride, setup=setups, load=st.one_of(st.none(), text.filter(bool)), heights=four, scales=four,
    gaps=four, collars=four, at_rest=st.sampled_from(["rolled", "lowered", "lifted"]),
    bottomed=st.one_of(st.none(), st.lists(st.sampled_from(CORNERS), unique=True).map(tuple)),
    when=times.map(datetime.isoformat), by=text, note=text,
)  # fmt: skip


@settings(max_examples=40, deadline=None, suppress_health_check=list(HealthCheck))
@given(rides=st.lists(any_ride, min_size=1, max_size=5), changes=st.lists(any_ride, max_size=2))
def test_everything_comes_back_from_csv_exactly(triple, rides, changes):
    with tempfile.TemporaryDirectory() as folder:
        folder = Path(folder)
        with sk.JobLog(folder / "a") as log, sk.JobLog(folder / "b") as copy:
            log.add_vehicle(triple)
            expected = {log.add_ride(UNIT7, ride): ride for ride in rides}
            for at, ride in zip(list(expected), changes, strict=False):
                log.correct(at, ride)
                expected[at] = ride
            assert {ride.id: ride for ride in log.rides(UNIT7)} == expected
            log.export_csv(folder / "a.csv")
            new = copy.import_csv(folder / "a.csv")
            assert new == len(log.history(superseded=True)) / 4
            assert copy.rides(UNIT7) == log.rides(UNIT7)
            assert [r.id for r in copy.rides(UNIT7)] == [r.id for r in log.rides(UNIT7)]
            assert copy.vehicle(UNIT7).digest == triple.digest
            copy.export_csv(folder / "b.csv")
            for name in ("{}.csv", "{}-vehicles.csv", "{}-training.csv"):
                one, other = ((folder / name.format(ab)).read_bytes() for ab in "ab")
                assert one == other
            for again in (copy, log):
                before = again.path.read_bytes()
                assert again.import_csv(folder / "a.csv") == 0
                assert again.path.read_bytes() == before


def rows_of(path):
    with open(path, newline="", encoding="utf-8-sig") as file:
        return list(csv.DictReader(file))


def written(path, rows, heading=None):
    with open(path, "w", newline="", encoding="utf-8") as file:
        writer = csv.DictWriter(file, heading or list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)
    return path


@pytest.fixture
def exported(log, ride, tmp_path):
    """A log's CSV with one ride and its correction."""
    at = log.add_ride(UNIT7, replace(ride, note="=cmd\nsecond line", heights=(0.35,) * 4))
    log.correct(at, replace(ride, note="better", heights=(0.36,) * 4))
    (tmp_path / "out").mkdir()
    return log.export_csv(tmp_path / "out")[0]


def test_the_csv_is_for_people_and_spreadsheets(exported, ride, unit7):
    beside = ["rides-training.csv", "rides-vehicles.csv"]
    assert sorted(os.listdir(exported.parent)) == [*beside, "rides.csv"]
    first, second = rows_of(exported)
    names = list(first)
    assert names[:4] == ["key", "corrects", "vehicle", "digest"] and names[-1] == "logged"
    assert [n.split(" [")[0] for n in names[4:-1]] == list(COLUMNS)
    assert first["height_front_left [m]"] == "0.35" and first["scale_rear_left [kg]"] == ""
    assert first["note"] == "'=cmd\nsecond line"  # no spreadsheet runs it
    assert second["corrects"] == first["key"]
    assert exported.read_bytes().startswith(b"\xef\xbb\xbf")
    (vehicle,) = rows_of(exported.with_name("rides-vehicles.csv"))
    files = json.loads(vehicle["files"])
    assert list(files) == ["unit7.toml", "springs.csv"]
    assert files["unit7.toml"] == (DATA / "unit7.toml").read_text()
    assert vehicle["digest"] == unit7.digest


def test_rows_written_by_hand_are_added_once(log, ride, exported, tmp_path):
    first, second = rows_of(exported)
    blank = dict.fromkeys(("key", "corrects", "digest", "logged"), "")
    fresh = first | blank | {"note": "typed from paper", "height_front_left [m]": "0.5"}
    fix = second | blank | {"corrects": second["key"], "note": "from the sheet"}
    path = written(tmp_path / "typed.csv", [fresh, fix])
    assert [log.import_csv(path) for _ in range(3)] == [2, 0, 0]
    assert sorted(r.note for r in log.rides(UNIT7)) == ["from the sheet", "typed from paper"]


def test_two_shops_logs_flow_together(log, ride, unit7, tmp_path):
    with sk.JobLog(tmp_path / "other") as other:
        other.add_vehicle(unit7)
        for note in ("a", "b"):
            log.add_ride(UNIT7, replace(ride, note=note))
        at = other.add_ride(UNIT7, replace(ride, note="c"))
        other.add_ride(UNIT7, replace(ride, note="b"))  # the same ride, in both
        other.correct(at, replace(ride, note="d"))
        for one, two in ((log, other), (other, log)):
            one.export_csv(tmp_path / "x.csv")
            two.import_csv(tmp_path / "x.csv")
        for one in (log, other):
            assert sorted(r.note for r in one.rides(UNIT7)) == ["a", "b", "d"]


CELLS = {
    "edited": ({"note": "edited"}, ["key is '", "corrects"]),
    "no vehicle": ({"vehicle": "Unit 9"}, ["vehicle is 'Unit 9'", "Unit 7"]),
    "unknown digest": ({"digest": "abc"}, ["digest is 'abc'", "file of 'Unit 7'"]),
    "unknown ride": ({"corrects": "abc"}, ["corrects is 'abc'", "key of a ride"]),
    "no number": ({"height_front_left [m]": "13-5/8"}, ["height_front_left is '13-5/8'", "0 to 3"]),
    "not finite": ({"height_front_left [m]": "nan"}, ["height_front_left is nan", "0 to 3 m"]),
    "no time": ({"when": ""}, ["when is ''", "zone"]),
    "no zone": ({"when": "2026-05-01 14:30"}, ["when is '2026-05-01 14:30'", "zone"]),
    "logged when": ({"logged": "today"}, ["logged is 'today'", "zone"]),
    "at rest": ({"at_rest": ""}, ["at_rest is ''", "rolled"]),
    "bottomed": ({"bottomed": "yes"}, ["bottomed is 'yes'", "front_left"]),
    "no set-up": ({"setup": ""}, ["setup is ''", "JSON"]),
    "a name": ({"setup": "kit"}, ["setup is 'kit'", "JSON"]),
    "a list": ({"setup": "[1]"}, ["setup is '[1]'", "JSON"]),
    "half": ({"setup": '{"front_left": {}}'}, ["setup is '{\"front_left", "JSON"]),
    "deep": ({"setup": "[" * 50_000}, ["setup is '[[[", "JSON"]),
}


@pytest.mark.parametrize(("wrong", "words"), CELLS.values(), ids=CELLS)
def test_a_wrong_cell_is_one_sentence_and_nothing_is_added(
    log, exported, tmp_path, unit7, wrong, words
):
    good, bad = rows_of(exported)
    # The good row's note runs over a line, so the bad one stands in line 4.
    path = written(tmp_path / "bad.csv", [good | {"key": "", "by": "new"}, bad | wrong])
    before = log.path.read_bytes()
    same_error(lambda: log.import_csv(path), f"{path} line 4, column ", *words, kind=JobLogError)
    assert log.path.read_bytes() == before
    assert log.import_csv(written(path, [good | {"key": "", "by": "new"}])) == 1


def test_a_wrong_vehicle_is_one_sentence_and_nothing_is_added(exported, tmp_path):
    beside = exported.with_name("rides-vehicles.csv")
    (good,) = rows_of(beside)
    other = good["files"].replace("117 in", "118 in")
    away = json.dumps({"a/unit7.toml": "", "../../springs.csv": "", "/etc/none": ""})
    theirs = good["files"].replace('\\"springs.csv\\"', '\\"/etc/passwd\\"')
    lost = json.dumps({"unit7.toml": json.loads(good["files"])["unit7.toml"]})
    for wrong, *words in (
        ({"digest": "abc"}, "digest is 'abc'", "expected", good["digest"]),
        ({"name": "Unit 8"}, "name is 'Unit 8'", "expected 'Unit 7'"),
        ({"files": other}, "digest is", good["digest"]),
        ({"files": "{}"}, "files cannot be read", "expected texts in JSON"),
        ({"files": "unit7.toml"}, "files cannot be read", "expected texts in JSON"),
        ({"files": '{"unit7.toml": 3}'}, "files cannot be read", "expected texts in JSON"),
        ({"files": away}, "'/etc/none' is a fixed place"),
        ({"files": theirs}, "the log's copy of /etc/passwd cannot be read: it is not there"),
        ({"files": json.dumps({str(i): "" for i in range(9)})}, "files cannot be read"),
        ({"files": json.dumps({"../" * 3000: ""})}, "files cannot be read"),
        ({"files": json.dumps({"x" * 300: ""})}, "files has the name 'xxx"),
        ({"files": json.dumps({"x\0": ""})}, "files cannot be read"),
        ({"files": json.dumps({".": ""})}, "files has the name '.'"),
        ({"files": lost}, "the log's copy of springs.csv", "cannot be read"),
        ({"logged": ""}, "logged is ''", "zone"),
    ):
        written(beside, [good | wrong])
        with sk.JobLog(tmp_path / "fresh") as log:
            before = log.path.read_bytes()
            sentence = same_error(
                lambda log=log: log.import_csv(exported), f"{beside} line 2, column ", *words,
                kind=JobLogError,
            )  # fmt: skip
            assert log.path.read_bytes() == before
            assert tempfile.gettempdir() + os.sep + "tmp" not in sentence
    assert not Path("/etc/none").exists()


def test_rides_without_their_vehicles_are_one_sentence(exported, tmp_path):
    exported.with_name("rides-vehicles.csv").unlink()
    with sk.JobLog(tmp_path / "fresh") as log:
        same_error(lambda: log.import_csv(exported), "line 2, column vehicle is 'Unit 7'",
                   "none given")  # fmt: skip


def test_what_is_no_such_csv_is_one_sentence(log, exported, tmp_path):
    path = tmp_path / "bad.csv"
    lines = exported.read_bytes().decode("utf-8-sig").split("\r\n")
    for data, *words in (
        (b"", "is empty", "heading row"),
        (b"\xff\xfe\0", "cannot be read", "UTF-8"),
        (b"a,b\r\n", "is not a CSV of a job log; expected a heading row", "'key,corrects"),
        ((lines[0] + ",more").encode(), "line 1, column 29 is 'more'; expected no more"),
        (lines[0].replace(" [m]", " [in]", 1).encode(), "'height_front_left [in]'", "[m]'"),
        (lines[0].rsplit(",", 1)[0].encode(), "column 28 is None; expected 'logged'"),
        ((lines[0] + "\r\na,b\r\n").encode(), "line 2: has 2 cells; expected 28"),
        ((lines[0] + '\r\n"a"b,"').encode(), "line 2: ", "expected"),
    ):
        path.write_bytes(data)
        same_error(lambda: log.import_csv(path), str(path), *words, kind=JobLogError)
    path.unlink()
    same_error(lambda: log.import_csv(path), str(path), "No such file", kind=JobLogError)
    path.write_bytes((lines[0] + "\r\n\r\n").encode())
    assert log.import_csv(path) == 0


def test_a_disk_full_while_importing_is_of_the_log_and_leaves_it_as_it_was(log, exported, unit7):
    with sk.JobLog(exported.parent / "fresh") as fresh:
        fresh.add_vehicle(unit7)
        before = fresh.path.read_bytes()
        (pages,) = fresh._one("PRAGMA page_count")
        fresh._all(f"PRAGMA max_page_count = {pages}")
        rows = rows_of(exported) * 1
        big = [rows[0] | {"key": "", "digest": "", "note": "x" * 50_000}]
        path = written(exported.parent / "big.csv", big)
        sentence = same_error(lambda: fresh.import_csv(path), str(fresh.path), "is full")
        assert "big.csv" not in sentence
        assert fresh.path.read_bytes() == before


def test_an_export_that_cannot_be_written_leaves_what_was_there(log, exported):
    before = {path: path.read_bytes() for path in exported.parent.iterdir()}
    folder = exported.parent / "rides2.csv"
    folder.mkdir()
    (folder / "rides.csv").mkdir()
    same_error(lambda: log.export_csv(folder), "cannot be written", kind=OSError)
    assert {path: path.read_bytes() for path in before} == before


if __name__ == "__main__":
    what, *more = sys.argv[1:]
    more = [int(one) if one.isdecimal() else Path(one) for one in more]
    tasks = {"kill": kill_writers, "import": kill_imports, "beside": write_beside}
    tasks |= {"fill": fill_disk, "nobody": write_as_nobody}
    print(json.dumps(tasks[what](*more)))
