"""One ride: how the vehicle was set, what was aboard, what was read; and the same as plain text."""

from __future__ import annotations

import csv
import hashlib
import io
import json
import re
from dataclasses import asdict, dataclass, field, replace
from datetime import UTC, datetime
from itertools import zip_longest
from numbers import Real

from suspkit.files import read_rows, read_text
from suspkit.vehicle.setup import CORNERS, CornerSetup, Setup

Four = tuple[float | None, float | None, float | None, float | None]

UNREAD: Four = (None, None, None, None)
"""A reading not taken on any corner."""


@dataclass(frozen=True, kw_only=True)
class Ride:
    """One road test: how the vehicle was set, what was aboard, what was read.

    Readings are four, in the order of `suspkit.vehicle.setup.CORNERS`, ``None`` where not taken.

    Parameters
    ----------
    setup : Setup
        As counted at the bench.
    load : str, optional
        Named load of the vehicle; nothing aboard if not given.
    heights : tuple of float or None
        Ride height by tape [m].
    scales : tuple of float or None
        Scale reading under each wheel [kg].
    gaps : tuple of float or None
        Upper stop gap by tape at droop hang [m].
    collars : tuple of float or None
        Collar's place, down from fully run up, by caliper on the thread [m].
    at_rest : {"rolled", "lowered", "lifted"}
        How it came to rest before the reading: rolled back and forth, let down from a jack (so
        friction holds it up), or pushed down and let rise (so friction holds it down).
    bottomed : tuple of str or None
        Corners that bottomed on the drive; empty if none did, None if nobody looked.
    when : str
        Time, as in ISO 8601.
    by : str
        Who did it.
    note : str
        Free text.
    id : int, optional
        Its number in the job log, which its corrections keep; two rides are equal whatever it is.
    """

    setup: Setup
    load: str | None = None
    heights: Four = UNREAD
    scales: Four = UNREAD
    gaps: Four = UNREAD
    collars: Four = UNREAD
    at_rest: str = "rolled"
    bottomed: tuple[str, ...] | None = None
    when: str = ""
    by: str = ""
    note: str = ""
    id: int | None = field(default=None, compare=False)


READINGS = {
    "heights": ("height", "m", 3),
    "scales": ("scale", "kg", 5000),
    "gaps": ("gap", "m", 3),
    "collars": ("collar", "m", 3),
}
"""What is read on each corner: one of it, its unit, and the most that is no slip of the pen."""

CELLS = {f"{one}_{c}": (0, most, unit) for one, unit, most in READINGS.values() for c in CORNERS}
"""Column of each single reading: its limits and unit."""

COLUMNS = ("when", "by", "load", "at_rest", "bottomed", *CELLS, "note", "setup")
"""Columns of a ride as a row of texts and numbers."""

AT_REST = ("rolled", "lowered", "lifted")
"""What `Ride.at_rest` may be."""

LARGEST, MOST_ROWS = 2**26, 50_000
"""Bytes and rows of a CSV: many years of a shop, and half a minute's work."""

_SAME = ("when", "by", "load", "at_rest", "note")
_SET = {"turns": (0, 1000, "turns"), "gap": (0, 3, "m"), "ring": (-3, 3, "m")}
_LONGEST = 100_000  # characters; nobody types more
_HALF = re.compile("[\ud800-\udfff]")  # of a pair, which no file can hold
_FORMULA = re.compile(r"'*[=+\-@\t\r]")


def as_row(ride, *, when=""):
    """A ride as a row, not yet checked.

    Parameters
    ----------
    ride : Ride
    when : str
        Its time, if it has none of its own.

    Returns
    -------
    dict
        By column, of `COLUMNS`.

    Raises
    ------
    ValueError
        If there are not four readings or the set-up is not one of plain numbers.
    """
    row = {name: getattr(ride, name) for name in _SAME}
    row |= {"when": ride.when or when, "load": ride.load or None, "bottomed": None}
    if ride.bottomed is not None:
        row["bottomed"] = " ".join(map(str, ride.bottomed)) or "none"
    for name, (one, *_) in READINGS.items():
        four = getattr(ride, name)
        if len(four) != len(CORNERS):
            raise ValueError(
                f"{name} is {four!r:.60}; expected four readings, None where not taken"
            )
        row |= {f"{one}_{corner}": value for corner, value in zip(CORNERS, four, strict=True)}
    return row | {"setup": _setup_text(ride.setup)}


def from_row(row, number):
    """The ride a row tells.

    Parameters
    ----------
    row : mapping
        By column, of `COLUMNS`.
    number : int
        Of the ride.

    Returns
    -------
    Ride

    Raises
    ------
    ValueError
        If a value is of another kind, or its set-up is none: in a damaged file.
    """
    for name in COLUMNS:
        kind, wanted = (Real, "a number") if name in CELLS else (str, "text")
        if row[name] is not None and not isinstance(row[name], kind):
            raise ValueError(f"ride {number}: {name} is {_short(row[name])}; expected {wanted}")
    told = {name: row[name] for name in _SAME}
    for name, (one, *_) in READINGS.items():
        told[name] = tuple(row[f"{one}_{corner}"] for corner in CORNERS)
    if row["bottomed"] is not None:
        told["bottomed"] = tuple(row["bottomed"].replace("none", "").split())
    try:
        setup = _setup_from(row["setup"])
    except ValueError as error:
        raise ValueError(f"ride {number}: {error}") from None
    return Ride(setup=setup, id=number, **told)


def checked(row, vehicle):
    """A row whose values can be, its numbers floats.

    Parameters
    ----------
    row : mapping
        By column, of `COLUMNS`.
    vehicle : Vehicle
        That the set-up must fit.

    Returns
    -------
    dict
        In the order of `COLUMNS`.

    Raises
    ------
    ValueError
        One sentence that starts with the column.
    """
    row = {name: row[name] for name in COLUMNS}
    for name, value in row.items():
        if value is None and name in ("load", "bottomed", *CELLS):
            continue
        if name in CELLS:
            row[name] = _number(name, value, *CELLS[name])
        elif not isinstance(value, str) or len(value) > _LONGEST or _HALF.search(value):
            raise ValueError(f"{name} is {_short(value)}; expected text, at most {_LONGEST} long")
    moment("when", row["when"])
    if row["at_rest"] not in AT_REST:
        raise ValueError(f"at_rest is {row['at_rest']!r:.60}; expected one of {', '.join(AT_REST)}")
    if not {*(row["bottomed"] or "none").split()} <= {*CORNERS, "none"}:
        raise ValueError(
            f"bottomed is {row['bottomed']!r:.60}; expected some of {', '.join(CORNERS)}"
        )
    setup = _setup_from(row["setup"])
    row["setup"] = _setup_text(setup)
    try:
        replace(vehicle, setups={"ride": setup}, current="ride")  # which checks it
    except ValueError as error:
        raise ValueError(str(error).replace("setups.ride.", "setup.", 1)) from None
    return row


def key_of(row, *about):
    """What a row says, as a digest: the same ride has the same one everywhere.

    Parameters
    ----------
    row : mapping
        As `checked` gives it.
    *about : str or None
        What else makes it this ride.

    Returns
    -------
    str
    """
    said = json.dumps([*about, *(row[name] for name in COLUMNS)])
    return hashlib.sha256(said.encode()).hexdigest()[:32]


def moment(name, text):
    """A point in time from text in ISO 8601.

    Parameters
    ----------
    name : str
        What to call it in an error.
    text : str

    Returns
    -------
    datetime
        In UTC.

    Raises
    ------
    ValueError
        If it is none or has no zone.
    """
    try:
        found = datetime.fromisoformat(text)
        if found.tzinfo is not None:
            return found.astimezone(UTC)
    except (ValueError, OverflowError):
        pass
    wanted = "a time with its zone, such as '2026-05-01T14:30-06:00'"
    raise ValueError(f"{name} is {_short(text)}; expected {wanted}")


def _number(name, value, least, most, unit):
    if isinstance(value, bool) or not isinstance(value, Real) or not least <= value <= most:
        shown = f"{value}"[:60] if isinstance(value, Real) else _short(value)
        raise ValueError(f"{name} is {shown}; expected one number from {least} to {most} {unit}")
    return float(value) + 0.0  # no -0.0, which SQLite does not keep


def _setup_text(setup):
    plain = asdict(setup)
    for name, kind in (("front_bar", bool), ("rear_bar", bool), ("note", str)):
        if not isinstance(plain[name], kind):
            raise ValueError(f"setup.{name} is {plain[name]!r:.60}; expected {kind.__name__}")
    for corner in CORNERS:
        own, at = plain[corner], f"setup.{corner}"
        for name, limits in _SET.items():
            value = own[name]
            if isinstance(value, tuple) and name != "turns":
                own[name] = [_number(f"{at}.{name}", one, *limits) for one in value]
            elif value is not None or name == "turns":
                own[name] = _number(f"{at}.{name}", value, *limits)
        if not isinstance(own["clicks"], dict):
            raise ValueError(f"{at}.clicks is {_short(own['clicks'])}; expected counts by adjuster")
        for name, count in own["clicks"].items():
            own["clicks"][name] = _number(f"{at}.clicks.{name}", count, 0, 1000, "clicks")
    return json.dumps(plain, ensure_ascii=False, sort_keys=True)


def _setup_from(text):
    try:
        plain = json.loads(text, parse_int=float)  # an int may have digits without end
        for corner in CORNERS:
            own = {k: tuple(v) if isinstance(v, list) else v for k, v in plain[corner].items()}
            plain[corner] = CornerSetup(**own)
        return Setup(**plain)
    except ValueError as error:
        raise ValueError(f"setup is {_short(text)}; expected one in JSON: {error}") from None
    except (KeyError, TypeError, AttributeError, RecursionError):
        wanted = "one in JSON, with all the fields of a set-up and no others"
        raise ValueError(f"setup is {_short(text)}; expected {wanted}") from None


def _short(value):
    shown = repr(value)
    return shown if len(shown) < 60 else f"{shown[:57]}..."


# --- rows as CSV ----------------------------------------------------------------------------------


def write_csv(names, rows):
    """Rows as CSV for a spreadsheet.

    A text that a spreadsheet would take for a formula gets a ``'`` in front; `read_csv` takes it
    off again.

    Parameters
    ----------
    names : sequence of str
        Of the columns; a reading's gets its unit.
    rows : iterable of sequences

    Returns
    -------
    str
    """
    text = io.StringIO(newline="")
    writer = csv.writer(text)
    writer.writerow(map(_heading, names))
    for row in rows:
        writer.writerow(
            f"'{cell}" if isinstance(cell, str) and _FORMULA.match(cell) else cell for cell in row
        )
    return "\ufeff" + text.getvalue()  # the mark by which spreadsheets know UTF-8


def read_csv(path, names):
    """Rows of a file that `write_csv` wrote.

    Parameters
    ----------
    path : Path
    names : sequence of str
        Of the columns it must have, in this order.

    Yields
    ------
    str
        File and line.
    dict of str to str
        By column.

    Raises
    ------
    ValueError
        One sentence naming file, line and column.
    """
    headings = [_heading(name) for name in names]
    rows = read_rows(
        read_text(path, expected="a CSV in UTF-8", most=LARGEST), name=path, remarks=False,
        what="a CSV of a job log", heading=",".join(headings[:4]) + ",...", most=MOST_ROWS,
        ours=lambda cells: 2 * len({*cells} & {*headings}) >= len(headings),
    )  # fmt: skip
    line, first = next(rows)
    for number, (cell, heading) in enumerate(zip_longest(first, headings), start=1):
        if cell != heading:
            wanted = "no more" if heading is None else repr(heading)
            shown = _short(cell)
            raise ValueError(f"{path} line {line}, column {number} is {shown}; expected {wanted}")
    for line, cells in rows:
        texts = (c[1:] if c[:1] == "'" and _FORMULA.match(c) else c for c in cells)
        yield f"{path} line {line}", dict(zip(names, texts, strict=True))


def from_cells(cells):
    """A row from the texts of its cells.

    Parameters
    ----------
    cells : mapping
        Text by column, of `COLUMNS`.

    Returns
    -------
    dict
        What `checked` takes; a cell that should hold a number and does not is still text.
    """
    row = {name: cells[name] for name in COLUMNS}
    for name in ("load", "bottomed", *CELLS):
        row[name] = row[name] or None
        try:
            row[name] = float(row[name]) if name in CELLS and row[name] else row[name]
        except ValueError:
            pass
    return row


def _heading(name):
    return f"{name} [{CELLS[name][2]}]" if name in CELLS else name
