"""Reading a vehicle file and its spring rack, with one clear sentence when they are wrong."""

from __future__ import annotations

import difflib
import hashlib
import re
import typing
import unicodedata
from contextlib import contextmanager
from dataclasses import fields, is_dataclass, replace
from functools import cache
from pathlib import Path

from suspkit.files import PACKAGE, UnreadableError, parse_toml, read_rows, read_text
from suspkit.parts import damper, shock
from suspkit.parts.damper import DynoTable
from suspkit.parts.spring import Spring
from suspkit.parts.wire import Wire
from suspkit.vehicle import setup, vehicle
from suspkit.vehicle.corner import BrokenSetupError, assemble, thread_problems
from suspkit.vehicle.limits import judge_file, words
from suspkit.vehicle.setup import AXLES
from suspkit.vehicle.vehicle import Vehicle, known_name

SCHEMA = (
    *(vehicle.Vehicle, vehicle.Axle, vehicle.Tyre, vehicle.Bar, vehicle.LinkageTable),
    *(vehicle.DoubleWishbone, vehicle.TrailingArm),
    *(vehicle.MeasuringPoint, vehicle.Scales, vehicle.Item, vehicle.Load, vehicle.StackPlan),
    *(vehicle.AxleTarget, vehicle.Targets, Spring, Wire, setup.Setup, setup.CornerSetup),
    *(shock.Shock, shock.Gas, shock.TopOut, shock.BumpStop, shock.Thread, shock.Clicker),
    *(damper.Damper, damper.Valving, damper.Oil, damper.Passages, damper.Needle, damper.Valve),
    damper.Leak,
)
"""Every dataclass that can stand in a vehicle file."""


EXPECTED = {
    "dataclass_type": "a table of fields",
    "dict_type": "a table",
    "tuple_type": "a list",
    "string_type": "text",
    "too_long": "at most {max_length} entries",
    "bool_type": "true or false",
    "bool_parsing": "true or false",
}
"""What a file should have had, by pydantic's name for the error."""


UNKNOWN = ("unexpected_keyword_argument", "extra_forbidden")
UNION_BRANCHES = ("function-plain[", "is-instance[", "tuple[")


MOST_VERDICTS = 2
"""Of the judge's verdicts that one refusal tells."""

LONGEST_NAME = 60
"""Characters in a name, which stands in lists and sentences and on the work sheet."""

LARGEST = 2**20
"""A vehicle file, rack or dyno table [bytes]; those of one vehicle have some thousands."""

MOST_SPRINGS = 2000
"""In a rack."""

MOST_ENTRIES = 500
"""In one table or list of a vehicle file."""

MOST_SETUPS = 50
"""Set-ups in a vehicle file, and loads; each settles in each when the file is checked."""

DEEPEST = 20
"""Tables within tables; a vehicle has five."""

UNSEEN = ("Cc", "Cf", "Cs", "Zl", "Zp")
"""Unicode's kinds of characters that do not print, or turn the line they stand in."""


class VehicleFileError(ValueError):
    """A vehicle file, or a file it names, that cannot be used: one sentence says why."""


def load_vehicle(path):
    """Read a vehicle file.

    Parameters
    ----------
    path : str or path
        A TOML file. A ``rack`` in it names a CSV of springs beside it.

    Returns
    -------
    Vehicle

    Raises
    ------
    VehicleFileError
        One sentence naming the file, the field, its value and what was expected.
    """
    path = Path(path)
    text = _read_text(path, "a vehicle file")
    with _plainly():
        raw = parse_toml(text, path)
    if not raw:
        raise VehicleFileError(f"{path}: the file is empty; expected a vehicle")
    # Of what may be any file of the machine nothing is quoted.
    if len(raw.keys() & {f.name for f in fields(Vehicle)}) < 3:
        raise VehicleFileError(
            f"{path}: is no vehicle file; expected name, wheelbase, front, rear and so on"
        )
    digest = hashlib.sha256(text.encode())
    _check_names(raw, path)
    rack = raw.pop("rack", None)
    springs = {}
    if rack is not None:
        digest.update(_read_named(path, "rack", rack).encode())
        springs = load_rack(path.parent / rack)
    for axle in AXLES:
        raw = _with_dyno_table(raw, axle, path, digest)
    own = raw.get("springs", {})
    if isinstance(own, dict):
        for name, spring in own.items():
            if isinstance(spring, dict):
                spring.setdefault("name", name)
        raw["springs"] = springs | own
    raw, aliases = _spread_axles(raw)
    for kept in ("source", "digest"):
        if kept in raw:
            raise VehicleFileError(
                f"{path}: {kept} is {_shown(raw[kept])}; expected no such field, it is worked out"
            )
    vehicle = _validate(Vehicle, raw, path, aliases)
    verdicts = judge_file(vehicle)
    errors = [words(verdict) for verdict in verdicts if verdict.severity == "error"]
    if errors:
        raise VehicleFileError(f"{path}: {'; '.join(errors[:MOST_VERDICTS])}")
    for name, chosen in vehicle.setups.items():
        try:
            problems = thread_problems(assemble(vehicle, chosen))
        except BrokenSetupError as error:
            problems = (str(error),)
        if problems:
            axle = problems[0].split("_")[0]
            found = [f"{problems[0]} (see {axle}.shock, {axle}.linkage and its stack)"]
            found += map(words, verdicts[:MOST_VERDICTS])
            sentence = _as_written(f"setups.{name}.{'; '.join(found)}", aliases)
            raise VehicleFileError(f"{path}: {sentence}")
    return replace(vehicle, source=str(path), digest=digest.hexdigest())


def load_rack(path):
    """Read a rack of springs.

    Parameters
    ----------
    path : str or path
        A CSV with a heading row: ``name, rate, free_length, solid_length`` and, where known,
        ``wire_diameter, mean_diameter, total_coils, ends, material``. Lines that start with ``#``
        are remarks; ``note`` is free text.

    Returns
    -------
    dict of str to Spring

    Raises
    ------
    VehicleFileError
    """
    path = Path(path)
    wire_fields = {f.name for f in fields(Wire)}
    spring_fields = {f.name for f in fields(Spring)} - {"wire", "table", "coils"}
    known = [*sorted(spring_fields | wire_fields), "note"]
    rows = read_rows(
        _read_text(path, "a rack of springs in CSV"), name=path, what="a rack of springs",
        heading="name,rate,free_length,solid_length", most=MOST_SPRINGS,
        ours=lambda cells: "name" in cells and len({*cells} & {*known}) > 1,
    )  # fmt: skip
    with _plainly():
        line, heading = next(rows)
    heading = [cell.strip() for cell in heading]
    for column in heading:
        try:
            known_name(column, dict.fromkeys(known), "column", "one of")
        except ValueError as error:
            raise VehicleFileError(f"{path} line {line}: {error}") from None
        if heading.count(column) > 1:
            raise VehicleFileError(
                f"{path} line {line}: column {column} is there twice; expected each once"
            )
    springs = {}
    with _plainly():
        rows = list(rows)
    for number, cells in rows:
        where = f"{path} line {number}"
        row = {k: v.strip() for k, v in zip(heading, cells, strict=True) if v.strip()}
        row.pop("note", None)
        if "name" not in row:
            raise VehicleFileError(f"{where}: name is missing; expected a name for the spring")
        if fault := _fault_of_name(row["name"]):
            raise VehicleFileError(f"{where}: {fault}")
        if row["name"] in springs:
            raise VehicleFileError(f"{where}: name is {row['name']!r} again; expected each once")
        raw = {k: v for k, v in row.items() if k in spring_fields}
        wire = {k: v for k, v in row.items() if k in wire_fields}
        if wire:
            raw["wire"] = wire
        springs[row["name"]] = _validate(Spring, raw, where, {})
    return springs


def load_dyno(path):
    """Read what a dyno measured of a damper.

    Parameters
    ----------
    path : str or path
        A CSV, see `DynoTable.from_csv`.

    Returns
    -------
    DynoTable

    Raises
    ------
    VehicleFileError
        One sentence naming the file, the line, the column and the value.
    """
    path = Path(path)
    try:
        text = _read_text(path, "a dyno table in CSV")
        return DynoTable.from_csv(text, name=str(path))
    except ValueError as error:
        raise VehicleFileError(str(error)) from None


def _with_dyno_table(raw, axle, path, digest):
    """The file's data with the CSV a damper names read in its place."""
    place = (axle, "shock", "damper")
    branch = raw
    for name in place:
        branch = branch.get(name) if isinstance(branch, dict) else None
    if not isinstance(branch, dict) or "table" not in branch:
        return raw
    table = branch["table"]
    digest.update(_read_named(path, f"{'.'.join(place)}.table", table).encode())
    damper = branch | {"table": load_dyno(path.parent / table)}
    return raw | {axle: raw[axle] | {"shock": raw[axle]["shock"] | {"damper": damper}}}


@contextmanager
def _plainly():
    try:
        yield
    except UnreadableError as error:
        raise VehicleFileError(str(error)) from None


def _read_text(path, expected):
    with _plainly():
        return read_text(path, expected=expected, most=LARGEST)


def _read_named(path, field, name):
    """The text of a file that a field of the vehicle file names."""
    if not isinstance(name, str) or len(name) > 4 * LONGEST_NAME:
        raise VehicleFileError(
            f"{path}: {field} is {_shown(name)}; expected the name of a CSV file"
        )
    try:
        return read_text(path.parent / name, expected="a CSV file", most=LARGEST)
    except UnreadableError as error:
        raise VehicleFileError(f"{path}: {field} is {name!r}, but {error}") from None


def _check_names(raw, path):
    """Refuse what is too much to check, and names that fit no line, before a sentence has them."""
    branches = [((), raw)]
    while branches:
        place, branch = branches.pop()
        named = ".".join(map(str, place))
        most = MOST_SETUPS if place in (("setups",), ("loads",)) else MOST_ENTRIES
        if len(place) > DEEPEST:
            raise VehicleFileError(
                f"{path}: {named} is a table {DEEPEST} tables deep; expected those of a vehicle"
            )
        if len(branch) > most:
            named = named or "it"
            raise VehicleFileError(
                f"{path}: {named} has {len(branch)} entries; expected at most {most}"
            )
        is_table = isinstance(branch, dict)
        for name, value in branch.items() if is_table else enumerate(branch):
            if is_table and (fault := _fault_of_name(name)):
                raise VehicleFileError(f"{path}: {f'{named}: ' if named else ''}{fault}")
            if isinstance(value, dict | list):
                branches.append(((*place, name), value))
    name = raw.get("name")
    if isinstance(name, str) and (fault := _fault_of_name(name)):
        raise VehicleFileError(f"{path}: {fault}")


def _fault_of_name(name):
    unseen = not name.strip() or any(unicodedata.category(letter) in UNSEEN for letter in name)
    if len(name) <= LONGEST_NAME and not unseen:
        return ""
    return f"name is {_shown(name)}; expected 1 to {LONGEST_NAME} characters, all of which print"


def _shown(value):
    """A value as a sentence can hold it."""
    try:
        shown = repr(value)
    except ValueError:  # an int of thousands of digits
        shown = "a number without end"
    return shown if len(shown) < 80 else shown[:77] + "..."


def _spread_axles(raw):
    """Spell out ``front = {...}`` of a set-up as its two corners; remember how it was written."""
    aliases = {}
    setups = raw.get("setups")
    if isinstance(setups, dict):
        raw = raw | {"setups": dict(setups)}
        for name, setup in setups.items():
            if not isinstance(setup, dict):
                continue
            spread = dict(setup)
            for axle, corners in AXLES.items():
                both = spread.pop(axle, None)
                if both is None:
                    continue
                for corner in corners:
                    own = spread.get(corner)
                    if isinstance(both, dict) and isinstance(own, dict):
                        spread[corner] = both | own
                    elif own is None:
                        spread[corner] = both
                        aliases["setups", name, corner] = ("setups", name, axle)
            raw["setups"][name] = spread
    return raw, aliases


@cache
def _adapter(kind):
    from pydantic import ConfigDict, TypeAdapter

    for schema in SCHEMA:
        schema.__pydantic_config__ = ConfigDict(extra="forbid", arbitrary_types_allowed=True)
    return TypeAdapter(kind)


def _validate(kind, raw, where, aliases):
    from pydantic import ValidationError

    try:
        return _adapter(kind).validate_python(raw)
    except ValidationError as error:
        # A misspelt field is also missing under its right name; the misspelling says more.
        first = min(error.errors(), key=lambda e: e["type"] not in UNKNOWN)
        # Of one number or a list of them, a list is refused for an entry.
        inside = [e for e in error.errors() if _place(e)[:-1] == _place(first)]
        first = inside[0] if inside else first
        sentence = _as_written(_sentence(kind, first), aliases)
        raise VehicleFileError(f"{where}: {sentence}") from None


def _as_written(sentence, aliases):
    """Name ``setups.kit.front`` where the file has that, not the corner it was spread to."""
    for known, written in aliases.items():
        sentence = sentence.replace(".".join(known), ".".join(written))
    # Text that stands where a name should can be a whole page.
    return re.sub(r"'([^';]{60})[^';]{20,}'", r"'\1...'", sentence)


def _place(error):
    """Where it is; the branches of a union show up there as types, and the file has none."""
    return tuple(p for p in error["loc"] if not str(p).startswith(UNION_BRANCHES))


def _sentence(kind, error):
    """One plain sentence for pydantic's first complaint."""
    place, parts = tuple(error["loc"]), _place(error)
    path = "".join(f"[{p}]" if isinstance(p, int) else f".{p}" for p in parts).lstrip(".")
    shown = _shown(error.get("input"))
    kind_of_error = error["type"]
    if kind_of_error == "missing":
        return f"{path} is missing; expected a value"
    if kind_of_error in UNKNOWN:
        names = _fields_at(kind, place[:-1])
        near = difflib.get_close_matches(str(place[-1]), names, n=1)
        hint = f" (did you mean {near[0]}?)" if near else ""
        return f"{path} is not a known field; expected one of {', '.join(names)}{hint}"
    if kind_of_error in EXPECTED:
        wanted = EXPECTED[kind_of_error].format(**error.get("ctx", {}))
        return f"{path} is {shown}; expected {wanted}"
    message = str(error.get("ctx", {}).get("error", error["msg"]))
    if kind_of_error != "value_error":
        return f"{path} is {shown}; {message[:1].lower()}{message[1:]}"
    if message.startswith(f"{shown} "):
        return f"{path} is {shown}, which {message.removeprefix(shown).lstrip()}"
    # What a table finds wrong with itself starts with the field, where it is about one.
    field = message.split(" ")[0].rstrip(":")
    joint = "." if field in _fields_at(kind, place) else ": "
    return f"{path}{joint}{message}" if path else message


def _fields_at(kind, place):
    """Field names of the table at a path, for the hint in an error."""
    for part in place:
        if is_dataclass(kind):
            kind = typing.get_type_hints(kind).get(part, kind)
        else:
            kind = next((a for a in typing.get_args(kind) if is_dataclass(a)), kind)
        options = [a for a in typing.get_args(kind) if is_dataclass(a)]
        if not is_dataclass(kind) and typing.get_origin(kind) not in (dict, tuple) and options:
            kind = options[0]
    return [f.name for f in fields(kind)] if is_dataclass(kind) else []


def data_folder():
    """The folder of example data: inside an installed package, or beside it in a checkout.

    Returns
    -------
    Path
    """
    inside = PACKAGE / "data"
    return inside if inside.is_dir() else PACKAGE.parent / "data"


def example(name="unit7"):
    """Load a vehicle that ships with suspkit.

    Parameters
    ----------
    name : str
        "unit7", the invented mountain-rescue side-by-side.

    Returns
    -------
    Vehicle

    Raises
    ------
    ValueError
        If there is no such example.
    """
    shipped = {path.stem: path for path in sorted(data_folder().glob("*.toml"))}
    known_name(name, shipped, "name", "a shipped example")
    return load_vehicle(shipped[name])
