"""Wrong input by the thousand: files, tables, job logs and command lines nobody should write.

Run by name, as the benchmarks are::

    .venv/bin/python tests/tools/fuzz.py --cases 100000 --seed 1

Each case is put into an empty folder and given to the command line (or to the reader, where no
command reads such a file) within a time limit. It may be taken, or refused with exit code 2 and
one plain sentence that names the file and, where the case knows it, field and value. Anything
else is told at the end: a traceback, a warning, a hang, a file half written or changed, a sentence
that says too little or speaks Python. `--only GROUP:NUMBER` runs one case again and shows it.
"""

import argparse
import contextlib
import csv
import io
import json
import os
import random
import re
import signal
import sqlite3
import sys
import tempfile
import time
import tomllib
import traceback
import warnings
from collections import Counter, defaultdict
from dataclasses import dataclass, replace
from datetime import datetime, timedelta, timezone
from functools import cache
from pathlib import Path
from unittest.mock import patch

import suspkit as sk
from suspkit import cli, units
from suspkit.shop import training
from suspkit.studies import sweep as whatif
from suspkit.vehicle import ride as rides
from suspkit.vehicle.setup import CORNERS

DATA = Path(__file__).parents[2] / "data"
LIMIT = 2.0
"""What a case may take of the processor [s]."""

PYTHON_SPEAK = re.compile(
    r"Traceback|NoneType|object has no|has no attribute|not subscriptable|unsupported operand|"
    r"could not convert|invalid literal|not iterable|unhashable|must be str|list index|"
    r"unpack|<class|<function|<built-in|codec can't|math domain|division by zero|Errno|"
    r"Exceeds the limit|embedded null|KeyError|setting an array|broadcast|pydantic|Input should"
)


@dataclass(frozen=True)
class Case:
    """One wrong input: what lies in the folder, what is run, and what is known of the answer."""

    files: dict
    run: object  # arguments of the command line, or a function of the folder
    about: str = ""  # the file the sentence must name
    refused: bool = False  # whether it has to be
    words: tuple = ()  # that stand in the sentence, if it is refused
    fields: tuple = ()  # one of which stands right after the file's name, if it is refused
    taken: bool = False  # whether it must not be refused


class Hang(BaseException):
    """A case took too long."""


def _hang(*_):
    raise Hang


def tried(case, folder, *, limit=LIMIT):
    """Run a case in an empty folder: what is wrong with the answer, whether refused, seconds."""
    for name, data in case.files.items():
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_bytes(data)
    out, err = (io.TextIOWrapper(io.BytesIO(), "utf-8", e) for e in ("strict", "backslashreplace"))
    home = Path.cwd()
    os.chdir(folder)
    began = time.process_time()
    wrong, code, parsed = [], None, True
    signal.signal(signal.SIGPROF, _hang)
    signal.signal(signal.SIGALRM, _hang)
    signal.setitimer(signal.ITIMER_PROF, limit)
    signal.setitimer(signal.ITIMER_REAL, 10 * limit)  # one that waits takes no processor
    try:
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            if callable(case.run):
                try:
                    case.run(folder)
                    code = 0
                except (ValueError, OSError) as error:
                    print(error, file=sys.stderr)
                    code = 2
            else:
                code = cli.main([str(word) for word in case.run])
    except SystemExit as error:
        code = error.code
        if code == 2:  # argparse: its usage, then one sentence
            err.flush()
            parsed = False
            err = io.TextIOWrapper(io.BytesIO(err.buffer.getvalue().splitlines()[-1]))
    except Hang:
        wrong.append("hang")
    except BaseException as error:  # whatever it is, it is the finding
        frames = traceback.extract_tb(error.__traceback__)
        own = [f for f in frames if "suspkit" in f.filename and "tests" not in f.filename]
        at = own[-1] if own else frames[-1]
        wrong.append(f"{type(error).__name__} in {Path(at.filename).name} {at.name}: {error}"[:300])
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0)
        signal.setitimer(signal.ITIMER_REAL, 0)
        os.chdir(home)
    seconds = time.process_time() - began
    if seconds > limit:
        wrong.append("hang")
    err.flush()
    said = err.buffer.getvalue().decode()
    with contextlib.suppress(ValueError):  # half a surrogate, which no file can hold
        out.flush()
    typed = "" if callable(case.run) else "".join(map(str, case.run))
    if typed.isprintable() and not out.buffer.getvalue().decode().replace("\n", "").isprintable():
        wrong.append("prints what would steer the terminal")
    if not wrong:
        wrong += [*_judged(case, code, said)] * parsed + [*_left(case, code, folder)]
    return wrong, code == 2, seconds, said


def _judged(case, code, said):
    if code == 0:
        if case.refused:
            yield "taken, though it has to be refused"
        if said:
            yield f"done, and yet it says: {said}"
        return
    if case.taken:
        yield "refused, though there is nothing wrong with it"
    if code != 2:
        yield f"exit code {code}"
        return
    sentence = said.removesuffix("\n")
    if not sentence.strip() or "\n" in sentence:
        yield "not one line"
    elif not sentence.isprintable():
        yield "would steer the terminal"
    if len(sentence) > 700:
        yield "longer than a sentence"
    # What trips in an article's braces is told in the words of the language written there.
    if "something that can be computed" not in sentence and (
        found := PYTHON_SPEAK.search(sentence)
    ):
        yield f"speaks Python: {found[0]}"
    if case.about and case.about not in sentence:
        yield "does not name the file"
    lacking = [w for w in case.words if w not in sentence and w not in sentence.replace(": ", ".")]
    if lacking:
        yield f"does not say {lacking[0]}"
    if case.fields:
        rest = sentence.partition(f"{case.about}: ")[2]
        if not rest.startswith(case.fields):
            yield "does not start with a field"


def _left(case, code, folder):
    """What lies in the folder afterwards: nothing new or changed where the case was refused."""
    there = {str(p.relative_to(folder)): p for p in folder.rglob("*") if p.is_file()}
    if code != 0:
        if set(there) != set(case.files):
            yield f"left behind: {sorted(set(there) ^ set(case.files))}"
        elif any(there[name].read_bytes() != data for name, data in case.files.items()):
            yield "changed a file"
    for name, path in there.items():
        if name not in case.files:
            if name.endswith((".part", "-journal", "-wal")):
                yield f"left behind: {name}"
            elif name.endswith(".html") and not path.read_bytes().rstrip().endswith(b"</html>"):
                yield f"half written: {name}"


# --- bytes ----------------------------------------------------------------------------------------

TOKENS = [
    b"\0", b"\xef\xbb\xbf", b"\r", b"\r\n", b"\xe9", b"\xff\xfe", b'"', b"'", b'"""', b"[",
    b"]", b"[[",
    b"{", b"}", b"=", b"#", b",", b";", b"\t", b".", b"nan", b"inf", b"-", b"1e999", b"9" * 5000,
    b"\\u0000", b"\\ud800", b"\xc2\xa0", b"\xe2\x80\xae", b"\x1b[31m", b"[" * 3000, b"a." * 3000,
    b"x" * 200_000, b"\n" * 50, b"+++", b"{{", b"}}", b"{%", b"<script>", b"1979-05-27", b"true",
]  # fmt: skip


def scrambled(rng, data, other=b""):
    """Bytes with a few of them changed, lost, doubled or brought in."""
    for _ in range(rng.choice([1, 1, 1, 2, 5])):
        at, to = sorted(rng.randrange(len(data) + 1) for _ in range(2))
        to = min(to, at + rng.choice([1, 4, 30, 300, len(data)]))
        way = rng.randrange(11)
        if way == 0 and at < len(data):
            data = data[:at] + bytes([data[at] ^ 1 << rng.randrange(8)]) + data[at + 1 :]
        elif way == 1:
            data = data[:at] + rng.randbytes(rng.choice([1, 1, 4, 40])) + data[to:]
        elif way == 2:
            data = data[:at]
        elif way == 3:
            data = data[:at] + data[to:]
        elif way == 4:
            data = data[:to] + data[at:to] * rng.choice([1, 2, 20]) + data[to:]
        elif way == 5:
            data = data[:at] + other[at:to] + data[to:]
        elif way == 6:
            lines = data.split(b"\n")
            a, b = rng.randrange(len(lines)), rng.randrange(len(lines))
            lines[a], lines[b] = lines[b], lines[a]
            data = b"\n".join(lines)
        elif way == 7 and rng.random() < 0.1:
            text, new = data.decode("latin-1"), rng.choice(["utf-16", "utf-32", "utf-8", "utf-7"])
            data = text.encode(new)
        elif way == 8 and rng.random() < 0.3:
            data = data.replace(b"\n", rng.choice([b"\r\n", b"\r", b"\n\n", b""]))
        else:
            data = data[:at] + rng.choice(TOKENS) + data[at:]
    return data


# --- vehicle files --------------------------------------------------------------------------------


class Raw(str):
    """Text that goes into a TOML file as it is."""


def toml(value):
    """A value as TOML; tables are inline."""
    if isinstance(value, Raw):
        return str(value)
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{toml(k)} = {toml(v)}" for k, v in value.items()) + " }"
    if isinstance(value, list):
        return "[" + ", ".join(map(toml, value)) + "]"
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    return {True: "true", False: "false"}[value] if isinstance(value, bool) else repr(value)


def toml_file(table):
    return "".join(f"{toml(key)} = {toml(value)}\n" for key, value in table.items()).encode()


@cache
def bases():
    """Vehicles to spoil, as tables, with the files they name: the example and a richer one."""
    plain = tomllib.loads((DATA / "unit7.toml").read_text())
    used = [name for stack in plain["stacks"].values() for name in stack["springs"]]
    lines = (DATA / "springs.csv").read_text().splitlines()
    lines = [li for li in lines if not li.startswith("#") and li.split(",")[0] in ("name", *used)]
    rack = "\n".join(lines).encode() + b"\n"
    dyno = (DATA / "unit7-front-dyno.csv").read_bytes()
    rich = json.loads(json.dumps(plain)) | {"rack": "racks/springs.csv"}
    front, rear = rich["front"], rich["rear"]
    front["shock"]["damper"] = {
        "table": "dyno.csv", "piston_diameter": "2 in", "rod_diameter": "7/8 in",
        "vapour_pressure": "100 Pa",
    }  # fmt: skip
    del front["linkage"], rear["linkage"]
    front["trailing_arm"] = {
        "pivot": ["0 m", "0 m"], "wheel_center": ["-900 mm", "0 m"], "travel_max": "500 mm",
        "shock_on_arm": ["-450 mm", "0 m"], "shock_body": ["-450 mm", "800 mm"],
    }  # fmt: skip
    rear["double_wishbone"] = {
        "lower_pivot": ["390 mm", "270 mm"], "lower_ball": ["1050 mm", "180 mm"],
        "upper_pivot": ["450 mm", "720 mm"], "upper_ball": ["1005 mm", "495 mm"],
        "wheel_center": ["1170 mm", "330 mm"], "shock_on_arm": ["825 mm", "300 mm"],
        "shock_body": ["540 mm", "1125 mm"], "travel_max": "19 in", "arm": "lower",
    }  # fmt: skip
    rear["shock"]["stroke"] = "9.75 in"
    front["tyre"]["damping"] = "1 lb*s/in"
    rich["scales"] |= {"pitch_gyration": "40 in", "roll_gyration": "22 in"}
    rich["springs"] = {
        "by-table": {
            "free_length": "8 in", "solid_length": "3 in",
            "table": [["2 in", "300 lbf"], ["4 in", "700 lbf"]], "name": "by-table",
        },
        "by-coils": {
            "free_length": "6 in", "solid_length": "3 in",
            "coils": [["600 lb/in", "1 in"], ["900 lb/in", "2 in"]],
        },
        "by-wire": {
            "free_length": "14 in", "wire": {
                "wire_diameter": "0.5 in", "mean_diameter": "3.5 in", "total_coils": 12,
                "ends": "squared-ground", "material": "chrome-silicon", "scragged": True,
            },
        },
    }  # fmt: skip
    rich["stacks"]["three"] = {
        "springs": ["by-coils", "by-table", "by-wire"], "rings_below": ["by-coils", "by-table"],
    }  # fmt: skip
    rich["setups"]["odd"] = {
        "front_left": {"stack": "stock-front", "turns": "8 turns", "clicks": {"rebound": 3}},
        "front_right": {"stack": "stock-front", "turns": 9},
        "rear": {"stack": "three", "turns": 3, "gap": ["1 in", "4 in"]}, "front_bar": False,
    }  # fmt: skip
    rich["targets"] |= {"side_to_side": "1/16 in"}
    return (
        (plain, {"springs.csv": rack}),
        (rich, {"racks/springs.csv": rack, "dyno.csv": dyno}),
    )


def places(value, place=()):
    """Path and value of everything in a table."""
    if place:
        yield place, value
    if isinstance(value, (dict, list)):
        for key, own in value.items() if isinstance(value, dict) else enumerate(value):
            yield from places(own, (*place, key))


def dotted(place):
    """A path as a sentence writes it."""
    return "".join(f"[{p}]" if isinstance(p, int) else f".{p}" for p in place).lstrip(".")


def at(table, place):
    for key in place:
        table = table[key]
    return table


QUANTITIES = [
    "40 psi", "40 lb/in", "40 kg", "40 degF", "40 s", "40 lbf", "40 deg", "40 cSt", "4 ft*lbf/deg",
    "40 in", "40 mm", "40 in^2", "40 in^3", "4 turns", "4 clicks", "16 per in", "4 g/cm^3",
    "40 N/mm",
]  # fmt: skip
KINDS = ("m", "N/m", "Pa", "kg", "K", "N", "rad", "m**2/s", "m**2", "m**3", "kg/m**3", "N*s/m")


@cache
def kinds_of(text):
    """All that a text could be a quantity of."""
    kinds = set()
    for kind in (*KINDS, "pitch", "turns", "clicks", ""):
        with contextlib.suppress(ValueError):
            units.parse(text, kind)
            kinds.add(kind)
    return kinds


NONSENSE = [
    "", " ", "long", "nan in", "inf in", "-inf lb", "1e999 in", "12 in in", "1/0 in", "1/2/3 in",
    "0x10 in",
    "1_000 in", "--5 in", "5 in; drop", "5 parsecs", "5 \u212b", "\u0665 in", "in", "5 in\nor 6",
    "\x1b[31m5 in",
    "5 \U0001f527", "5 in" + "!" * 100, "9" * 60 + " in", "__import__('os')", "5 in**99", "\0",
    "½½ in",
]  # fmt: skip
TYPES = [True, [], {}, [[]], {"a": 1}, Raw("1979-05-27"), Raw("07:32:00"), ["5 in"], 3, -3, 0.5]
NUMBERS = [
    Raw("nan"), Raw("inf"), Raw("-inf"), 1e308, -1e308, 10**30, -1, -0.001, Raw("9" * 400), 5e5,
    0x7FFFFFFFFFFFFFFFFFFF,
]  # fmt: skip
NAMES = [
    "nobody", "", " ", "\n", "a\nb", "<b>x</b>", "{{ 7*7 }}", "\x1b[2J", "\u202eabc", "é" * 30,
    "a.b", "a b",
    "=1+1", "../up", "x" * 3000, "\U0001f527", "\0", "kit\u0000", "'", '"', "none", "con",
    "%s%n", "\u2028",
]  # fmt: skip
DEEP = [
    Raw("[" * 60 + "]" * 60),
    Raw("{ a = " * 60 + "1" + " }" * 60),
    Raw("[" * 5000 + "]" * 5000),
]
REFERENCES = ("stack", "current", "load", "zero", "ends", "material", "arm")
FREE = ("name", "about", "note")


def shown(value):
    """How a sentence writes a value, where that is short."""
    if isinstance(value, str) and not isinstance(value, Raw):
        text = repr(value.strip())
        return (text,) if len(text) <= 40 and value.strip() else ()
    return (repr(value),) if isinstance(value, (int, float)) and len(repr(value)) < 40 else ()


def spoiled_field(rng, files, table):
    """One field made what it cannot be, so that the sentence must name it with its value."""
    place, value = rng.choice([pv for pv in places(table) if pv[0] != ("rack",)])
    name = [part for part in place if isinstance(part, str)][-1]
    named = dotted(place)
    must = True
    if isinstance(value, dict):
        new = rng.choice([1, "text", True, [], [1], Raw("1979-05-27"), *DEEP])
        must = new not in DEEP
    elif isinstance(value, list):
        new = rng.choice([1, "text", True, {"a": 1}, {"0": "5 in"}, [True], *DEEP])
        named = f"{named}[0]" if new == [True] and value else named
    elif isinstance(value, bool):
        new = rng.choice(["maybe", [], {}, 7, "", 0.5])
    elif isinstance(value, str) and name in FREE:
        new = rng.choice([1, True, [], {}, ["x"], Raw("nan")])
    elif isinstance(value, str) and (name in REFERENCES or not kinds_of(value)):
        new = rng.choice([*NAMES, 1, True, [], {}, ["x"], Raw("nan")])
        must = new not in FREE
    else:
        kinds = kinds_of(value) if isinstance(value, str) else {"", "turns", "clicks"}
        wrong = [text for text in QUANTITIES if not kinds & kinds_of(text)]
        new = rng.choice([rng.choice(wrong), rng.choice(NONSENSE), rng.choice(TYPES)])
        if not isinstance(value, str) or rng.random() < 0.2:
            new = rng.choice(NUMBERS)
        if isinstance(value, str) and rng.random() < 0.2:
            new = value.replace(value.split()[0], rng.choice(["nan", "inf", "1e12", "-1e12"]), 1)
        must = not (isinstance(new, (int, float)) and not isinstance(new, bool))
        if isinstance(new, list) and name in ("gap", "ring"):
            must = False
    at(table, place[:-1])[place[-1]] = new
    words = (named, *shown(new)) if must and new not in DEEP else ()
    if isinstance(new, str) and ("1e12" in new or "99999" in new):  # then two are told together
        words = (name,)
    return Case(files | {"v.toml": toml_file(table)}, ["check", "v.toml"], "v.toml", must, words)


def _scaled(rng, value):
    """A quantity some times as large, or of the other sign, with its unit."""
    number, _, unit = value.partition(" ") if isinstance(value, str) else (value, "", "")
    try:
        read = units.parse(f"{number} in", "m") / units.INCH
    except ValueError:
        return value
    read *= rng.choice([0, -1, 0.01, 0.1, 0.5, 0.9, 1.1, 2, 10, 1000, 1e-9, 1e9])
    return f"{read:.9g} {unit}" if isinstance(value, str) else read


def odd_vehicle(rng, files, table):
    """Changes a file may or may not survive; the sentence must name some field."""
    options = list(places(table))
    for _ in range(rng.choice([1, 1, 2, 4])):
        place, value = rng.choice(options)
        with contextlib.suppress(KeyError, IndexError, TypeError, AttributeError):
            inside, key = at(table, place[:-1]), place[-1]
            way = rng.randrange(10)
            if way == 0:
                del inside[key]
            elif way == 1 and isinstance(inside, dict):
                inside[rng.choice(["zzz", "note", "rate", *NAMES])] = rng.choice(
                    [1, "5 in", {}, []]
                )
            elif way == 2 and isinstance(inside, dict):
                inside[rng.choice(NAMES)] = inside.pop(key)
            elif way == 3:
                other, _ = rng.choice(options)
                inside[key], at(table, other[:-1])[other[-1]] = at(table, other), inside[key]
            elif way == 4 and isinstance(value, list):
                rng.shuffle(value)
            elif way == 5 and isinstance(value, list):
                value.extend(rng.choice([[], value, value * 40, ["5 in"], [["5 in", "5 lbf"]]]))
            elif way == 6 and isinstance(value, (list, dict)):
                value.clear()
            elif way == 7 and isinstance(value, str) and not kinds_of(value):
                inside[key] = rng.choice(NAMES)
            else:
                inside[key] = _scaled(rng, value)
    heads = tuple(dict.fromkeys([*table, *bases()[1][0], "springs", "setups"]))
    fields = tuple(f"{h}{end}" for h in heads for end in (" ", ".", ":", "[")) + ("set-up ", "'")
    run = ["check", "v.toml"]
    if rng.random() < 0.01:
        run = ["sheet", "v.toml", "--no-pdf", "--out", "out"]
    data = files | {"v.toml": toml_file(table)}
    return Case(data, run, "v.toml", fields=(*fields, "not a TOML file", *NAMES, "name is"))


def _vehicle(rng, spoil):
    table, files = rng.choices(bases(), [2, 1])[0]  # points cost more than a table
    return spoil(rng, files, json.loads(json.dumps(table)))


def fields_case(rng):
    return _vehicle(rng, spoiled_field)


def vehicles_case(rng):
    return _vehicle(rng, odd_vehicle)


@cache
def texts():
    """The files of the bases as a person writes them."""
    plain, files = bases()[0]
    rich = bases()[1]
    return (
        ({"v.toml": (DATA / "unit7.toml").read_bytes()} | files),
        ({"v.toml": toml_file(rich[0])} | rich[1]),
    )


def bytes_case(rng):
    files = dict(rng.choice(texts()))
    name = rng.choices(list(files), [3] + [1] * (len(files) - 1))[0]
    files[name] = scrambled(rng, files[name], rng.choice(list(files.values())))
    return Case(files, ["check", "v.toml"], rng.choice([name, ""]) if name == "v.toml" else "")


# --- tables as CSV --------------------------------------------------------------------------------

CELLS = [
    "", " ", "nan", "inf", "-inf", "1e999", "1e308", "-1e308", "1e-320", "-1", "0", "-0",
    "1_000", "0x10",
    "\u0661", "1,5", "1;5", "5 in", "5 lb", "70 lb/in", "true", "None", "=1+1", "'", '"', "a\nb",
    "\r", "\0",
    "x" * 300, "9" * 5000, "\x1b[31m", "\u202e", "[1]", "{}", "1e5", "0.001", "12 in", "squared",
    "2026-05-01",
]  # fmt: skip


def spoiled_rows(rng, rows):
    """Rows with cells or structure spoiled, as the bytes of a CSV."""
    rows = [list(row) for row in rows]
    for _ in range(rng.choice([1, 1, 2])):
        number = rng.randrange(len(rows))
        row = rows[number]
        column = rng.randrange(len(row) or 1)
        way = rng.randrange(14)
        if way < 6 and row:
            row[column] = rng.choice(CELLS)
        elif way == 6 and row:
            del row[column]
        elif way == 7:
            row.insert(column, rng.choice(CELLS))
        elif way == 8:
            rows.insert(number, list(row))
        elif way == 9 and len(rows) > 1:
            del rows[number]
        elif way == 10:
            rng.shuffle(rows)
        elif way == 11 and rows[0]:
            head = rows[0][column % len(rows[0])]
            new = [head.upper(), head + " ", re.sub(r"[(\[].*", "", head), re.sub("in", "kg", head)]
            rows[0][column % len(rows[0])] = rng.choice([*new, head.replace("in", "furlong"), "x"])
        elif way == 12 and row:
            row[column] = rng.choice(["-", "1e3", "1e-9", "1e200"]) + row[column]
        elif way == 13:
            rows[number:number] = [[rng.choice(["# remark", "", " ", "#"])]]
        if not rows:
            break
    text = io.StringIO(newline="")
    form = {"delimiter": rng.choice(",,,,,,,,;\t|")}
    form |= {"lineterminator": rng.choice(["\n", "\n", "\n", "\r\n", "\r"])}
    form |= {"quoting": rng.choice([csv.QUOTE_MINIMAL, csv.QUOTE_MINIMAL, csv.QUOTE_ALL])}
    csv.writer(text, **form).writerows(rows)
    return text.getvalue().encode(rng.choice(["utf-8", "utf-8", "utf-8-sig"]), "surrogatepass")


def rows_of(data):
    lines = [line for line in data.decode("utf-8-sig").splitlines() if not line.startswith("#")]
    return list(csv.reader(lines))


def spoiled_csv(rng, data, other=b""):
    return scrambled(rng, data, other) if rng.random() < 0.3 else spoiled_rows(rng, rows_of(data))


def spoiled_number(rng, data, *, where):
    """One cell of a column of numbers made none: the sentence names line and column."""
    rows = rows_of(data)
    line, column = rng.randrange(1, len(rows)), rng.choice(where)
    rows[line][column] = rng.choice(["", "nan", "inf", "-inf", "abc", "1e999", "1,5", "--1", "[1]"])
    text = io.StringIO()
    csv.writer(text, lineterminator="\n").writerows(rows)
    heading = re.split(r"\s*[(\[]", rows[0][column])[0]
    return text.getvalue().encode(), (f"line {line + 1}", heading)


def rack_case(rng):
    files = dict(texts()[0])
    words = ()
    if rng.random() < 0.3:
        rack, words = spoiled_number(rng, files["springs.csv"], where=(2, 3, 4, 5, 6))
        words = () if b",," in rack else words  # what is blank may be left out
    else:
        rack = spoiled_csv(rng, files["springs.csv"])
    return Case(
        files | {"springs.csv": rack}, ["check", "v.toml"], words=words, refused=bool(words)
    )


def dyno_case(rng):
    files, words = dict(texts()[1]), ()
    if rng.random() < 0.3:
        dyno, words = spoiled_number(rng, files["dyno.csv"], where=(0, 1, 2))
    else:
        dyno = spoiled_csv(rng, files["dyno.csv"])

    def read(folder):
        table = sk.load_dyno(folder / "dyno.csv")
        for side in (table.compression, table.rebound):
            for click in side:
                table.half("compression" if side is table.compression else "rebound", click)

    run = ["check", "v.toml"] if rng.random() < 0.1 else read
    files = files if run is not read else {}
    return Case(
        files | {"dyno.csv": dyno}, run, "" if run is not read else "dyno.csv", bool(words), words
    )


@cache
def profile():
    points = ((x, 2 * (x % 7), 1.5 * (x % 5)) for x in range(60))
    text = "# measured\ndistance [ft],height [in],right height [in]\n"
    return (text + "".join(f"{x},{a},{b}\n" for x, a, b in points)).encode()


def road_case(rng):
    words = ()
    if rng.random() < 0.3:
        data, words = spoiled_number(rng, profile(), where=(0, 1, 2))
    else:
        data = spoiled_csv(rng, profile(), texts()[0]["springs.csv"])

    def read(folder):
        road = sk.Road.from_csv(folder / "road.csv")
        road.height(1.0)

    return Case({"road.csv": data}, read, "road.csv", bool(words), words)


@cache
def swept():
    """A small table of a sweep, as CSV."""
    unit7 = sk.example()
    table = sk.sweep(unit7, vary={"setup.front.turns": [3, 4]}, load="patrol")
    with tempfile.TemporaryDirectory() as folder:
        path = whatif.write_table(table, Path(folder) / "t.csv")
        return path.read_bytes()


def sweep_case(rng):
    data = scrambled(rng, swept()) if rng.random() < 0.5 else spoiled_rows(
        rng, list(csv.reader(swept().decode().splitlines()))
    )  # fmt: skip
    return Case({"t.csv": data}, lambda folder: whatif.read_table(folder / "t.csv"), "t.csv")


# --- the job log ----------------------------------------------------------------------------------


@cache
def logged():
    """A job log as bytes, and its export."""
    with tempfile.TemporaryDirectory() as folder:
        folder = Path(folder)
        for name, data in texts()[0].items():
            (folder / name).write_bytes(data)
        unit7 = sk.load_vehicle(folder / "v.toml")
        with sk.JobLog(folder / "log") as log:
            log.add_vehicle(unit7)
            ride = sk.Ride(setup=unit7.setup, load="patrol", heights=(0.35,) * 4, bottomed=(),
                           when="2026-05-01T14:30-06:00", by="A", note="=1+1")  # fmt: skip
            at = log.add_ride("Unit 7", ride)
            log.add_ride("Unit 7", replace(ride, when="2026-05-02T14:30-06:00", gaps=(0.02,) * 4))
            log.correct(at, replace(ride, note="better"))
            for result in ("right", "wrong"):
                log.add_training(
                    "T. Rainee",
                    sk.Training(
                        kind="exercise",
                        what=next(iter(training.EXERCISES)),
                        seed=7,
                        units="us",
                        result=result,
                        by="A",
                        when="2026-05-03T09:00-06:00",
                    ),
                )
            log.export_csv(folder / "rides.csv")
        kept = {path.name: path.read_bytes() for path in folder.glob("rides*.csv")}
        return (folder / "log").read_bytes(), kept


def import_case(rng):
    """A CSV of rides or vehicles, into a log that is there or not."""
    log, files = logged()
    files = dict(files)
    name = rng.choice(["rides.csv", "rides.csv", "rides-vehicles.csv", "rides-training.csv"])
    rows = list(csv.reader(io.StringIO(files[name].decode("utf-8-sig"), newline="")))
    if name == "rides.csv" and rng.random() < 0.3:
        row = rng.choice(rows[1:])
        table = json.loads(row[-2])
        place, value = rng.choice(list(places(table)))
        at(table, place[:-1])[place[-1]] = rng.choice(
            [None, -1, 1e6, 1e308, "x", [], {}, [1, 2], True, *NAMES, float("nan"), _scaled(rng, 3)]
        )
        row[-2], row[0] = json.dumps(table), ""
    elif rng.random() < 0.3:
        files[name] = scrambled(rng, files[name])
    if rng.random() < 0.5:
        rows[-1][0] = ""
    if files[name] == logged()[1][name]:
        files[name] = spoiled_rows(rng, rows)
    if rng.random() < 0.1:
        del files[name]
    kept = {} if rng.random() < 0.5 else {"shop.log": log}
    return Case(files | kept, ["log", "import", "shop.log", "rides.csv"])


LETTERS = [
    "=", "'", "-", "@", "+", "\t", "\r", "\n", '"', ",", ";", "\0", "none", " ", "\ufeff",
    "\u2028", "\x85",
    "\x1c", "\U0001f527", "é", "e\u0301", "\ufffe", "\uffff", "\U0010ffff", "0", "a", "[", "#",
    "\\", "\x1a", "|",
]  # fmt: skip
SIZES = [0.0, 1.0, 3.0, 0.1, 1 / 3, 5e-324, 2.2250738585072014e-308, 1 - 2**-53, 1e-17, 0.35]


def _written(rng):
    letters = [rng.choice(LETTERS) for _ in range(rng.choice([0, 1, 2, 6]))]
    return "".join(
        letters + [chr(rng.choice([rng.randrange(32, 0xD800), rng.randrange(0xE000, 0x110000)]))]
    )


def back_case(rng):
    """A ride with odd texts and numbers, to CSV and back: it is the same, and so is its key."""
    unit7 = sk.example()

    def four():
        return tuple(rng.choice([None, *SIZES, rng.uniform(0, 3)]) for _ in range(4))

    minutes = timezone(timedelta(minutes=rng.randrange(-14 * 60, 14 * 60)))
    when = datetime(1990, 1, 1, tzinfo=minutes) + timedelta(seconds=rng.uniform(0, 3.4e9))
    setup = unit7.setup.change("all", turns=rng.choice([0, rng.uniform(0, 40)]))
    setup = setup.change(
        "rear", gap=rng.choice([(0.1,), rng.choice([s for s in SIZES if s < 0.6])])
    )
    ride = sk.Ride(
        setup=replace(setup, note=_written(rng), front_bar=rng.random() < 0.5), load=_written(rng),
        heights=four(), scales=four(), gaps=four(), collars=four(), when=when.isoformat(),
        bottomed=rng.choice([None, (), ("rear_left",), CORNERS]), by=_written(rng),
        note=_written(rng),
    )  # fmt: skip

    def there_and_back(folder):
        row = rides.checked(rides.as_row(ride), unit7)
        names = ("key", *rides.COLUMNS)
        text = rides.write_csv(names, [[rides.key_of(row), *row.values()]])
        (folder / "r.csv").write_text(text, encoding="utf-8", newline="")
        ((_, cells),) = rides.read_csv(folder / "r.csv", names)
        back = rides.checked(rides.from_cells(cells), unit7)
        assert back == row and rides.key_of(back) == cells["key"]
        assert rides.from_row(back, 1) == ride

    def through_logs(folder):
        with sk.JobLog(folder / "a") as one, sk.JobLog(folder / "b") as two:
            one.add_vehicle(unit7)
            at = one.add_ride(unit7.name, ride)
            one.correct(at, replace(ride, note=ride.by, by=ride.note))
            two.import_csv(one.export_csv(folder / "r.csv")[0])
            assert two.rides(unit7.name) == one.rides(unit7.name)
            assert one.import_csv(folder / "r.csv") == 0

    return Case({}, through_logs if rng.random() < 0.03 else there_and_back, taken=True)


LOG_RUNS = [
    ["log", "show", "shop.log"], ["log", "show", "shop.log", "Unit 7"],
    ["log", "export", "shop.log", "out.csv"], ["log", "import", "shop.log", "rides.csv"],
    ["log", "show", "shop.log", "Unit 7", "--last", "1", "--units", "metric"],
    ["train", "show", "shop.log"], ["train", "show", "shop.log", "T. Rainee"],
    ["train", "record", "shop.log", "T. Rainee", "--no-pdf", "--out", "out"],
    ["train", "tick", "shop.log", "T. Rainee", next(iter(training.TASKS)), "--by", "A"],
]  # fmt: skip


def log_bytes_case(rng):
    log, files = logged()
    run = rng.choice(LOG_RUNS)
    about = "" if "import" in run else "shop.log"  # there it may be the CSV
    return Case({"shop.log": scrambled(rng, log, log[::-1]), **files}, run, about)


VALUES = [
    "", "x", "\n", "\0", "\x1b[2J", "1e308", "9" * 400, "{}", "[]", "[" * 3000, "null", "none",
    "front_left x",
    "2026-05-01", "9999-12-31T23:59:59+00:00", "0001-01-01T00:00+14:00", "<b>", "'=1",
    "\U0001f527", "x" * 9000,
    0, -1, 1e308, float("inf"), 2**62, None, '{"front_left": {}}', '{"v.toml": "name = 1"}',
    '{"../x": ""}',
]  # fmt: skip


@cache
def columns():
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "log"
        path.write_bytes(logged()[0])
        db = sqlite3.connect(path)
        tables = [t for (t,) in db.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
        found = [(t, row[1]) for t in tables for row in db.execute(f'PRAGMA table_info("{t}")')]
        db.close()
        return found


def log_rows_case(rng):
    """A log in which another program has written."""
    log, files = logged()
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "log"
        path.write_bytes(log)
        db = sqlite3.connect(path)
        for (name,) in db.execute("SELECT name FROM sqlite_master WHERE type='trigger'").fetchall():
            db.execute(f'DROP TRIGGER "{name}"')
        for _ in range(rng.choice([1, 1, 3])):
            table, column = rng.choice(columns())
            with contextlib.suppress(sqlite3.Error):
                way = rng.randrange(12)
                if way == 0:
                    db.execute(f'DROP TABLE "{table}"')
                elif way == 1:
                    db.execute(f'DELETE FROM "{table}"')
                elif way == 2:
                    db.execute(f'ALTER TABLE "{table}" DROP COLUMN "{column}"')
                elif way == 3:
                    db.execute(f"PRAGMA user_version = {rng.choice([0, 1, 2, 3, 99, -1])}")
                else:
                    sql = f'UPDATE "{table}" SET "{column}" = ? WHERE id % ? = 0'
                    db.execute(sql, (rng.choice(VALUES), rng.choice([1, 2, 3])))
        db.commit()
        db.close()
        log = path.read_bytes()
    run = rng.choice(LOG_RUNS)
    return Case({"shop.log": log, **files}, run, "" if "import" in run else "shop.log")


# --- articles -------------------------------------------------------------------------------------

HEADS = ["title", "vehicle", "setup", "load", "by", "zzz", "Title", ""]
BODIES = [
    "{{ now }}", "{{ nothing }}", "{{ now.axles.up.height | tape }}", "{{ 1 / 0 }}",
    "{{ 'x' | tape }}",
    "{{ 9 ** (9 ** 9) }}", "{{ 'x' * 10 ** 11 }}", "{% for i in range(10 ** 9) %}x{% endfor %}",
    "{{ load[99] }}",
    "{{ setup.__class__.__mro__ }}", "{{ vehicle.front.shock.change }}", "{{ assemble }}",
    "{{ look('x') }}",
    "{% include 'x' %}", "{% macro f() %}{{ f() }}{% endmacro %}{{ f() }}",
    "{{ settle(load='nobody').rake }}",
    "{{ move_the_ring('up') }}", "{{ shock_curve(3) }}", "{{ shock_curve(now, axle='up') }}",
    "{{ study(3) }}",
    "{{ now.stance.front_height | tape('x') }}", "{{ setup.change('rear', gap=9) }}",
    "{{ {}.a.b }}",
    "{{ look(setup.change('rear', turns=10**6)) }}", "{{ side_view(now, caption=3) }}",
    "<script>x</script>",
    "{{ 7 | hertz }}", "{{ none | rate }}", "{{ [1, 2] | number }}", "{{ '1' + 1 }}",
    "{{ lipsum(n=10**6) }}",
    "{{ ((((", "{{ '%s' % vehicle }}", "{{ vehicle.name.upper.__globals__ }}",
    "{% set x = [] %}{{ x.append(1) }}",
    "{{ load is divisibleby 0 }}", "{{ 'x'.__format__(3) }}", "{{ joiner(3)() }}",
    "{% raw %}", "\ue0007\ue001", "[" * 3000, "> " * 3000, "{{ " + "(" * 3000,
    "{{ 1 " + "+ 1" * 3000 + " }}",
    "{{ range(99999) | list }}", "{{ cycler() }}", "{{ dict(a=1).items }}",
    "{{ vehicle.masses('patrol') | mass }}",
]  # fmt: skip


def article_case(rng):
    plain = texts()[0]
    head = {"title": "T", "vehicle": "v.toml"}
    body = "The front stands at {{ now.axles.front.height | tape }}.\n"
    way = rng.randrange(3)
    if way == 0:
        for _ in range(rng.choice([1, 2])):
            head[rng.choice(HEADS)] = rng.choice(
                [1, True, [], {}, "", "nothing", *NAMES, Raw("nan")]
            )
    if way == 1:
        body = rng.choice([body + rng.choice(BODIES), rng.choice(BODIES)])
    lines = "".join(f"{toml(k)} = {toml(v)}\n" for k, v in head.items())
    text = f"+++\n{lines}+++\n\n{body}".encode()
    if way == 2:
        text = scrambled(rng, text, plain["v.toml"])
    run = ["article", "a.md", "--no-pdf", "--out", "out"]
    return Case(plain | {"a.md": text}, run, "a.md" if way == 1 else "")


# --- the command line -----------------------------------------------------------------------------

PATHS = [
    "v.toml", "springs.csv", "a.md", "shop.log", "rides.csv", "", ".", "..", "/", "sub", "sub/x",
    "no/such/x.toml",
    "/dev/full", "/dev/null", "/dev/zero", "/proc/self/mem", "/proc/x/y", "a\0b", "x" * 300,
    "é\u202e\x1b[2J.toml",
    "\udcff.toml", "a\nb.toml", "-", "--", "v.toml/x", "~", "*", "%s", "http://x/v.toml", "con",
    "bad.ipynb",
]  # fmt: skip
WORDS = [
    "kit",
    "stock",
    "patrol",
    "us",
    "metric",
    "imperial",
    "0",
    "-1",
    "9" * 5000,
    "1e3",
    "Unit 7",
    *PATHS,
    *NAMES,
]
GRAMMAR = {
    "check": [], "sheet": ["--load", "--setup", "--units", "--out"], "about": [], "example": [],
    "article": ["--vehicle", "--units", "--out"], "log show": ["--last", "--units"],
    "log export": [],
    "log import": [], "log": [], "": [], "chekc": [], "guide --port x": [], "tablet --port x": [],
    "train sheet --no-pdf": ["--paper", "--out"], "train record --no-pdf": ["--paper", "--out"],
    "train tick": ["--by", "--when", "--note"], "train mark": ["--by", "--units", "--when"],
    "train show": [], f"train tick shop.log A {next(iter(training.TASKS))}": ["--by", "--when",
    "--note"],
    f"train mark shop.log A {next(iter(training.EXERCISES))} 7": ["--by", "--units", "--when"],
}  # fmt: skip


def cli_case(rng):
    command = rng.choice(list(GRAMMAR))
    flags = GRAMMAR[command]
    argv = command.split()
    count = rng.choice(
        [0, 1, 1, 1, 2, 2, 3] if not command.startswith("train") else [0, 1, 2, 3, 5]
    )
    argv += [rng.choice(PATHS if rng.random() < 0.8 else WORDS) for _ in range(count)]
    for _ in range(rng.choice([0, 0, 1, 2])):
        flag = rng.choice(
            [*flags, *flags, "--no-pdf", "--help", "--version", "--zzz", "-h", "--ou"]
        )
        argv += [flag, *([rng.choice(WORDS)] if rng.random() < 0.8 else [])]
    if command in ("sheet", "article"):
        argv.append("--no-pdf")
    # What is written must stay in the folder, or be a place where nothing can be written.
    bad = {"/", "..", "~"}
    argv = ["sub" if word in bad else word.replace("\0", "0") for word in argv]
    log, files = logged()
    article = b'+++\ntitle = "T"\nvehicle = "v.toml"\n+++\n\n{{ vehicle.name }}\n'
    files = (
        texts()[0] | files | {"a.md": article, "shop.log": log, "sub/x": b"x", "bad.ipynb": b"{"}
    )
    return Case(files, argv)


# --- all of it ------------------------------------------------------------------------------------

GROUPS = {
    "vehicle: a field that cannot be": (fields_case, 12),
    "vehicle: odd but perhaps possible": (vehicles_case, 9),
    "vehicle, rack, dyno: bytes": (bytes_case, 11),
    "rack": (rack_case, 8),
    "dyno table": (dyno_case, 13),
    "road profile": (road_case, 15),
    "table of a sweep": (sweep_case, 5),
    "job log: CSV": (import_case, 9),
    "job log: there and back": (back_case, 4),
    "job log: bytes of the file": (log_bytes_case, 6),
    "job log: rows of another program": (log_rows_case, 3),
    "article": (article_case, 1),
    "command line": (cli_case, 4),
}
"""Maker of a case and its share of all [%]."""


def made(group, seed, number):
    """A case by its number: the same whatever ran before it."""
    return GROUPS[group][0](random.Random(f"{seed} {group} {number}"))


@contextlib.contextmanager
def remembering():
    """Most of the time would go on the same few hundred quantities and the same parser."""
    with contextlib.ExitStack() as patched:
        for home, name in ((units, "_read_text"), (cli, "_parser")):
            patched.enter_context(patch.object(home, name, cache(getattr(home, name))))
        yield


@remembering()
def fuzz(cases, seed, *, report=None):
    """Run so many cases; gives a row a group and what went wrong, by what it was."""
    rows, wrong = [], defaultdict(list)
    shares = sum(share for _, share in GROUPS.values())
    with warnings.catch_warnings(), tempfile.TemporaryDirectory(dir=_memory()) as home:
        _warm(Path(home))
        warnings.simplefilter("error")
        for group, (_, share) in GROUPS.items():
            count = max(1, round(cases * share / shares))
            refused, slowest, began = 0, (0.0, 0), time.process_time()
            for number in range(count):
                folder = Path(home, "case")
                folder.mkdir()
                found, no, seconds, said = tried(made(group, seed, number), folder)
                _empty(folder)
                refused += no
                slowest = max(slowest, (seconds, number))
                for what in found:
                    if report and what not in wrong:
                        print(f"{group}:{number}: {what}: {said[:300]!r}", file=sys.stderr)
                    wrong[what].append((f"{group}:{number}", said))
            row = (group, count, refused, *slowest, time.process_time() - began)
            rows.append(row)
            if report:
                report(row)
    return rows, wrong


def _warm(folder):
    """The vehicles unspoiled: they must be taken, and what is loaded late is then loaded."""
    for number, files in enumerate(texts()):
        for run in (["check", "v.toml"], ["sheet", "v.toml", "--no-pdf", "--out", "out"]):
            (folder / f"{number}{run[0]}").mkdir()
            wrong, *_, said = tried(Case(files, run), folder / f"{number}{run[0]}", limit=300)
            assert not wrong and not said, (wrong, said)
    (folder / "article").mkdir()
    tried(Case({"a.ipynb": b"{"}, ["article", "a.ipynb"]), folder / "article", limit=300)


def _memory():
    return "/dev/shm" if os.access("/dev/shm", os.W_OK) else None


def _empty(folder):
    for path in sorted(folder.rglob("*"), reverse=True):
        path.rmdir() if path.is_dir() and not path.is_symlink() else path.unlink()
    folder.rmdir()


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--cases", type=int, default=100_000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", metavar="GROUP:NUMBER", help="run this one again and show it")
    arguments = parser.parse_args()
    if arguments.only:
        group, _, number = arguments.only.rpartition(":")
        case = made(group, arguments.seed, int(number))
        with tempfile.TemporaryDirectory(dir=_memory()) as home, warnings.catch_warnings():
            _warm(Path(home))
            warnings.simplefilter("error")
            print(case.run, case.words, case.refused)
            (folder := Path(home, "case")).mkdir()
            found, _, seconds, said = tried(case, folder)
        print(f"{seconds:.2f} s, {found or 'as it should be'}\n{said}")
        return
    print(f"| {'group':34} |  cases | refused | taken | slowest, ms | all, s |")

    def line(name, count, refused, slowest, _, took):
        taken = count - refused
        print(f"| {name:34} | {count:6} | {refused:7} | {taken:5} "
              f"| {1e3 * slowest:11.0f} | {took:6.0f} |",
              flush=True)  # fmt: skip

    rows, wrong = fuzz(arguments.cases, arguments.seed, report=lambda row: line(*row))
    total = [sum(row[i] for row in rows) for i in (1, 2)]
    line("all", *total, max(row[3] for row in rows), 0, sum(row[5] for row in rows))
    for what, where in sorted(wrong.items(), key=lambda item: -len(item[1])):
        print(
            f"{len(where):6} x {what}\n         --only {where[0][0]!r}\n"
            f"         {where[0][1][:300]!r}"
        )
    kinds = Counter({what: len(where) for what, where in wrong.items()})
    print(f"seed {arguments.seed}: {kinds.total()} wrong")
    sys.exit(bool(wrong))


if __name__ == "__main__":
    main()
