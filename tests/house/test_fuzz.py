"""Wrong input ends in one sentence: never in a traceback, a hang or a file half written.

The cases are made in `fuzz.py`. Here are some of every kind, and those that once went wrong.
"""

import os
import subprocess
import sys

import pytest

import suspkit as sk
from tests.tools.fuzz import Case, fuzz, logged, texts, tried

VEHICLE = texts()[0]
RICH = texts()[1]
ARTICLE = ["article", "a.md", "--no-pdf", "--out", "out"]
IMPORT = ["log", "import", "shop.log", "rides.csv"]


def edited(files, name, old, new):
    assert old.encode() in files[name], old
    return files | {name: files[name].replace(old.encode(), new.encode(), 1)}


def check(old, new, *words, files=VEHICLE, name="v.toml"):
    return Case(edited(files, name, old, new), ["check", "v.toml"], name, words=words)


def article(body, *words):
    text = f'+++\ntitle = "T"\nvehicle = "v.toml"\n+++\n\n{body}\n'
    return Case(VEHICLE | {"a.md": text.encode()}, ARTICLE, "a.md", words=words)


def imported(old, new, *words, name="rides.csv"):
    """An import into a new log of a CSV with something changed."""
    files = {n: data for n, data in logged()[1].items() if n != name}
    text = logged()[1][name].decode().replace(old, new)
    assert text.encode() != logged()[1][name]
    return Case(files | {name: text.encode()}, IMPORT, name, words=words)


def profile(rows, *words):
    data = f"distance [ft],height [in]\n{rows}\n".encode()
    return Case({"road.csv": data}, lambda home: sk.Road.from_csv(home / "road.csv"), "road.csv",
                words=words)  # fmt: skip


def table(data, *words):
    return Case({"t.csv": data}, lambda home: sk.studies.sweep.read_table(home / "t.csv"), "t.csv",
                words=words)  # fmt: skip


def spoiled_log(sql):
    """A log in which another program has written."""
    import sqlite3
    import tempfile

    with tempfile.NamedTemporaryFile() as file:
        file.write(logged()[0])
        file.flush()
        db = sqlite3.connect(file.name)
        db.execute("DROP TRIGGER ride_update")
        db.execute(sql)
        db.commit()
        db.close()
        with open(file.name, "rb") as again:
            return {"shop.log": again.read()}


RIDES = ["log", "show", "shop.log", "Unit 7"]
TITLE = 'name = "Unit 7"'
CLICKS = '""clicks"": {""compression"": 6.0, ""rebound"": 6.0}'

ONCE = {
    # A job log was made for rows that could not be taken.
    "no CSV for a new log": Case({}, IMPORT, "rides.csv", words=("No such file",)),
    "a wrong CSV for a new log": imported("rolled", "rollled", "at_rest is 'rollled'"),
    "a wrong CSV for an empty file": Case(
        {"notes.txt": b"", "rides.csv": b"name\n"}, ["log", "import", "notes.txt", "rides.csv"],
        "rides.csv", words=("is not a CSV of a job log",),
    ),
    "a wrong CSV for a file of one byte": Case(
        {"notes.txt": b"{", "rides.csv": b"name\n"}, ["log", "import", "notes.txt", "rides.csv"],
        "rides.csv", words=("is not a CSV of a job log",),
    ),
    # Errors that are no ValueError: each was a traceback.
    "a cell too long for a CSV": check(
        "70 lb/in", "7" * 200_000, files=VEHICLE, name="springs.csv"
    ),
    "a paper's number without end": imported(
        "contact,7,", f"contact,7{'[' * 3000},", "seed is '7[[", name="rides-training.csv"
    ),
    "clicks that are no table": imported(CLICKS, '""clicks"": ""x""', "clicks is 'x'"),
    "tables without end": check(TITLE, f"{TITLE}\n{'a.' * 3000}b = 1", "tables deep"),
    "more digits than Python reads": check(
        TITLE, f"{TITLE}\nzzz = 1{'0' * 5000}", "thousands of digits"
    ),
    "digits without end": check(TITLE, f"{TITLE}\nzzz = 1{'0' * 4000}",
    "zzz is not a known field"),
    "a name without end": article("{{ now." + "x" * 3000 + " }}", "a.md line 6: name in a look is"),
    "a heap of text": article("{{ 'x' * 100000000000 }}", "a.md line 6: this value is 'x'"),
    "a macro that calls itself": article(
        "{% macro f() %}{{ f() }}{% endmacro %}{{ f() }}", "{% macro %} is not known"
    ),
    "nothing to go round": article("{{ cycler() }}", "name is 'cycler'"),
    "a method of text": article("{{ look('x') }}", "not a set-up"),
    "a remark without end": table(b"# a: " + b"[" * 5000 + b"\n", "not a table"),
    "heights beyond numbers": profile("0,1e308\n1,-1e308\n2,0", "height goes to"),
    "points on top of each other": profile("0,0\n1e-320,1\n1e-319,0", "apart"),
    "a column another program dropped": Case(
        spoiled_log("ALTER TABLE training DROP COLUMN note"),
        ["train", "show", "shop.log", "T. Rainee"], "shop.log", words=("no such column",),
    ),
    # Hangs.
    "a power without end": article("{{ 9 ** (9 ** 9) }}", "a.md line 6: ** is not known"),
    "a file without end": Case({}, ["check", "/dev/zero"], "/dev/zero", words=("a device",)),
    # Sentences that said too little, or in Python's words.
    "a dyno table that is not there": check(
        '"dyno.csv"', '"nothing.csv"', "front.shock.damper.table is 'nothing.csv'", files=RICH
    ),
    "one entry of a list": check('["1 in", "4 in"]', '["1 in", "x"]',
    "rear.gap[1] is 'x'", files=RICH),
    "a name with a line end": check("driver = {", '"dri\\nver" = {', r"items: name is 'dri\nver'"),
    "a name that clears the screen": check(TITLE, 'name = "\\u001b[2J"', r"name is '\x1b[2J'"),
    "a name of a page": check("driver = {", f"{'x' * 3000} = {{", "1 to 60 characters"),
    "a name of nothing": check(TITLE, f"{TITLE}\n\"\" = 1", "name is ''"),
    "a page for a name": check('current = "kit"', f'current = "{"x" * 3000}"', "current is 'xxx"),
    "a page for a rack": check('"springs.csv"', f'"{"x" * 3000}"', "rack is 'xxx"),
    "a log's ride that is no set-up": Case(
        spoiled_log("UPDATE ride SET setup = '{}' WHERE id = 2"), RIDES, "shop.log",
        words=("ride 2", "set-up"),
    ),
    "turns that are text": imported(
        '""turns"": 4.0', '""turns"": ""four""', "turns: 'four' is not"
    ),
    "rides that are no text": Case(
        {"rides.csv": b"\xff\xfe", "shop.log": logged()[0]}, IMPORT, "rides.csv", words=("byte 0",)
    ),
    "a table that is no text": table(b"\xff\xfe", "byte 0"),
    "a number of a table that is none": table(b"a [m]\nb\n", "a is 'b'"),
    "a path too long": Case({}, ["log", "show", "x" * 300], "x" * 300, words=("too long",)),
    "a point that does not print": profile("0,0\n1,\0", r"'\x00'"),
    "a length too large for a tape": Case(
        spoiled_log("UPDATE ride SET height_front_left = 1e308"),
        ["log", "show", "shop.log", "Unit 7"], "shop.log", words=("otherwise than it was written",),
    ),
    "a heading of a page": Case(
        {"road.csv": b"x" * 3000 + b"\n0\n"}, lambda home: sk.Road.from_csv(home / "road.csv"),
        "road.csv", words=("is not a road profile",),
    ),
    "a force too large for a float": Case(
        edited(RICH, "dyno.csv", ",-18.4", ",-1e308"), ["check", "v.toml"], "dyno.csv",
        words=("force (lbf) is '-1e308'",),
    ),
    "a unit of a page": Case(
        edited(RICH, "dyno.csv", "force (lbf)", f"force ({'x' * 3000})"), ["check", "v.toml"],
        "dyno.csv", words=("column 'force (xxx",),
    ),
    "a number of a page": Case(
        edited(RICH, "dyno.csv", ",-18.4", f",0.{'9' * 3000}"), ["check", "v.toml"], "dyno.csv",
        words=("force (lbf) is '0.999",),
    ),
}  # fmt: skip


@pytest.mark.parametrize("case", ONCE.values(), ids=ONCE)
def test_what_once_went_wrong(case, tmp_path):
    wrong, refused, _, said = tried(case, tmp_path)
    assert not wrong and refused != case.taken, said


@pytest.mark.parametrize("cases", [300, pytest.param(1500, marks=pytest.mark.slow)])
def test_a_few_of_every_kind(cases):
    rows, wrong = fuzz(cases, seed=1)
    assert dict(wrong) == {}
    # They are no use if all are refused at the door, or none.
    assert all(refused for group, _, refused, *_ in rows if group != "job log: there and back")
    assert sum(refused for _, _, refused, *_ in rows) < 0.95 * sum(count for _, count, *_ in rows)


def test_a_byte_order_mark_before_an_article(tmp_path):
    case = article("{{ vehicle.name }}")
    case = Case(case.files | {"a.md": b"\xef\xbb\xbf" + case.files["a.md"]}, ARTICLE, taken=True)
    assert tried(case, tmp_path)[0] == []


@pytest.mark.skipif(not os.path.exists("/proc/self/mem"), reason="needs /proc")
def test_a_log_that_is_no_file_of_bytes(tmp_path):
    """Its name was not told, and the output let go."""
    run = ["log", "import", "/proc/self/mem", "rides.csv"]
    case = Case({}, run, "/proc/self/mem", words=("cannot be read", "expected a job log"))
    wrong, refused, _, said = tried(case, tmp_path)
    assert not wrong and refused, said


@pytest.mark.skipif(not os.path.exists("/dev/full"), reason="needs /dev/full")
def test_output_that_nobody_takes(tmp_path):
    command = [sys.executable, "-m", "suspkit.cli", "about"]
    # Held back until the end, as it is by default.
    environment = {k: v for k, v in os.environ.items() if k != "PYTHONUNBUFFERED"}
    with open("/dev/full", "w") as full:
        run = subprocess.run(
            command, stdout=full, stderr=subprocess.PIPE, text=True, env=environment
        )
    assert (run.returncode, run.stderr.count("\n")) == (2, 1)
    assert "No space left" in run.stderr
    pipe = subprocess.PIPE
    with subprocess.Popen(command, stdout=pipe, stderr=pipe, env=environment) as quiet:
        quiet.stdout.close()
        assert quiet.stderr.read() == b""
