"""Write the reference part of vehicle-file.md from the dataclasses that read a vehicle file.

Run it after changing a field: ``python docs/make_reference.py``. A test holds the two together.
"""

import math
import re
import types
import typing
from dataclasses import MISSING, fields, is_dataclass
from itertools import pairwise
from pathlib import Path

import numpy as np

from suspkit import units
from suspkit.parts.damper import DynoTable
from suspkit.parts.spring import Spring
from suspkit.parts.wire import MATERIALS, Material, Wire
from suspkit.vehicle import limits as judge
from suspkit.vehicle.setup import AXLES, Setup
from suspkit.vehicle.vehicle import Vehicle

PAGE = Path(__file__).with_name("vehicle-file.md")
START = "<!-- Made by docs/make_reference.py: change the dataclasses, not this. -->"
END = "<!-- End of what is made. -->"

WORKED_OUT = ("source", "digest")
"""Fields of `Vehicle` that a file may not have."""

RACK = "| `rack` | Name of a CSV of springs beside this file | text | optional | |"
BOTH = "| `{0}` | Both {0} corners alike; what a corner states itself wins | a table | optional | |"
SHORTHANDS = {Vehicle: [RACK], Setup: [BOTH.format("front"), BOTH.format("rear")]}
"""What the reader of the file understands beyond the dataclasses."""

EXCUSED = {(Vehicle, "springs"): "or a `rack`"} | {
    (Setup, corner): f"or `{axle}`" for axle, corners in AXLES.items() for corner in corners
}
"""Fields that must be there, but may come by a shorthand."""


def described(owner):
    """Type and text of each parameter in a numpydoc docstring.

    Parameters
    ----------
    owner : object
        Anything with a docstring.

    Returns
    -------
    dict of str to (str, str)
        From the sections Parameters and Attributes; the text is one line.
    """
    found, names, reading = {}, [], False
    lines = (owner.__doc__ or "").expandtabs().splitlines()
    margin = min((len(s) - len(s.lstrip()) for s in lines[1:] if s.strip()), default=0)
    lines = [line[margin:] if i else line for i, line in enumerate(lines)]
    for line, following in pairwise([*lines, ""]):
        if re.fullmatch(r"-{3,}", following):
            reading, names = line in ("Parameters", "Attributes", "Other Parameters"), []
        elif not reading or not line.strip() or re.fullmatch(r"-{3,}", line):
            continue
        elif not line.startswith(" "):
            head, _, kind = line.partition(" : ")
            names = [name.strip() for name in head.split(",")]
            found |= dict.fromkeys(names, (kind, ""))
        else:
            found |= {n: (found[n][0], f"{found[n][1]} {line.strip()}".strip()) for n in names}
    return found


def tables(kind=Vehicle, place=""):
    """Every table of a vehicle file: its place and its dataclass, outermost first."""
    yield place, kind
    for name, hint in typing.get_type_hints(kind).items():
        many = typing.get_origin(hint) is dict
        for inner in (hint, *typing.get_args(hint)):
            if is_dataclass(inner) and inner not in (Material, DynoTable):
                path = ".".join(filter(None, (place, name, "NAME" if many else "")))
                yield from tables(inner, path)


def unit_of(hint):
    """The unit a type hint holds, however deep; nothing if there is none."""
    if isinstance(hint, units.Unit):
        return hint
    inside = getattr(hint, "__metadata__", typing.get_args(hint))
    return next(filter(None, map(unit_of, inside)), None)


def quantity(hint):
    """How a value is written in the file."""
    origin, inside = typing.get_origin(hint), typing.get_args(hint)
    if origin is typing.Annotated:
        return units._kind(unit_of(hint).kind).noun
    if origin in (typing.Union, types.UnionType):
        # Arrays and other people's steels are for Python only.
        python_only = (type(None), np.ndarray, Material)
        return ", or ".join(quantity(a) for a in inside if a not in python_only)
    if origin is tuple and inside[-1] is Ellipsis:
        return f"a list, each {quantity(inside[0])}"
    if origin is tuple:
        return f"[{', '.join(map(quantity, inside))}]"
    if origin is typing.Literal:
        return "one of " + ", ".join(f"`{a}`" for a in inside)
    if origin is dict:
        return "tables by name" if is_dataclass(inside[1]) else f"by name, {quantity(inside[1])}"
    words = {str: "text", bool: "true or false", DynoTable: "the name of a CSV"}
    return words.get(hint, "a table")


def both(value, kind, digits=3):
    """A number in both systems, not longer than a reader needs."""
    us, metric = (
        f"{float(f'{units.to_unit(value, kind, s):.{digits}g}'):,.10g} {units.unit_label(kind, s)}"
        for s in units.SYSTEMS
    )
    return (us if us == metric else f"{us} ({metric})").replace(" )", ")").strip()


def limits(unit):
    """The bounds of a quantity, in both systems."""
    low = unit.ge if unit.ge is not None else unit.gt
    if low is None:
        return ""
    first = ("zero" if unit.gt is None else "above zero") if low == 0 else both(low, unit.kind)
    if unit.le is None:
        return "zero or more" if first == "zero" else first
    return f"{first} to {both(unit.le, unit.kind)}"


def all_limits(hint):
    """The bounds of a value, or of each part of a row."""
    inside = typing.get_args(hint)
    if unit_of(hint) is None:
        return ""
    if typing.get_origin(hint) is tuple and Ellipsis not in inside:
        return "; ".join(map(all_limits, inside))
    if typing.get_origin(hint) is not typing.Annotated:
        return all_limits(next(a for a in inside if unit_of(a)))
    return limits(unit_of(hint))


def default(owner, field, hint):
    """What holds where the file says nothing."""
    if (owner, field.name) in EXCUSED:
        return f"**required**, {EXCUSED[owner, field.name]}"
    if field.default is MISSING and field.default_factory is MISSING:
        return "**required**"
    value = None if field.default is MISSING else field.default
    if value is None or value == "" or value == ():
        return "optional"
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return f"`{value}`"
    return both(value, unit_of(hint).kind, 5) if value else "0"


def rows(kind):
    """One line of the table a field."""
    text = described(kind)
    hints = typing.get_type_hints(kind, include_extras=True)
    for field in fields(kind):
        if kind is Vehicle and field.name in WORKED_OUT:
            continue
        what = re.sub(r"\s*\[[^\]]*\]", "", text[field.name][1]).replace("``", "`").rstrip(".")
        hint = hints[field.name]
        otherwise = default(kind, field, hint)
        cells = (f"`{field.name}`", what, quantity(hint), otherwise, all_limits(hint))
        yield f"| {' | '.join(cells)} |".replace("  ", " ")


def kinds(schema):
    """How each kind of quantity in the file may be written."""
    hints = [typing.get_type_hints(kind, include_extras=True) for kind in schema]
    named = {unit.kind for group in hints for h in group.values() if (unit := unit_of(h))}
    # A row of a table holds two.
    named |= {"force", "length"}
    lines = []
    for name in sorted(named, key=lambda n: units._kind(n).noun.split(" ", 1)[1]):
        kind = units._kind(name)
        texts = [f'`"{text}"`' for text in kind.examples]
        if "" in kind.words:
            texts = sorted({*texts, f"`{kind.examples[0].split(' ')[0]}`"}, reverse=True)
        lines.append(f"| {kind.noun} | {' or '.join(texts)} |")
    return "### Quantities\n\n| kind | such as |\n| --- | --- |\n" + "\n".join(lines)


def span(ends, kind):
    """From one end to the other in both systems; an end that is not there is left out."""
    low, high = ends
    if math.isinf(low) and math.isinf(high):
        return ""
    if math.isinf(high):
        return f"{both(low, kind)} or more"
    if math.isinf(low):
        return f"{both(high, kind)} or less"
    return f"{both(low, kind)} to {both(high, kind)}"


def judged():
    """What the judge holds each field, and what they come to, against."""
    lines = []
    for head, group in (("field", judge.FIELDS), ("comes to", judge.COMES_TO)):
        lines.append(
            f"| {head} | usual | else an error | front over rear at most | from where |\n"
            "| --- | --- | --- | --- | --- |"
        )
        for name, limit in group.items():
            if limit.say or name in ("unlike", "ride height"):  # neither is judged by its row
                continue
            what = f"`{name}`" if head == "field" else limit.what
            unlike = "" if math.isinf(limit.unlike) else f"{limit.unlike:g}"
            cells = (what, span(limit.usual, limit.unit), span(limit.possible, limit.unit))
            lines.append(f"| {' | '.join((*cells, unlike, limit.source))} |")
        lines.append("")
    return (
        "### What is usual\n\n`axle` is front or rear, `*` any name. Outside what is usual is a "
        "caution on `suspkit check` and on the work sheet.\n\n" + "\n".join(lines).strip()
    )


def make():
    """The whole reference.

    Returns
    -------
    str
        Markdown, from the start mark to the end mark.
    """
    places = {}
    for place, kind in tables():
        places.setdefault(kind, []).append(place)
    parts = [START, kinds(places)]
    for kind, found in places.items():
        heading = ", ".join(f"`[{place}]`" for place in found) if found[0] else "Top of the file"
        first = " ".join(kind.__doc__.split("\n\n")[0].split()).replace("``", "`")
        lines = [*rows(kind), *SHORTHANDS.get(kind, [])]
        head = "| field | what | in the file | default | limits |\n| --- | --- | --- | --- | --- |"
        parts.append(f"### {heading}\n\n{first}\n\n{head}\n" + "\n".join(lines))
    spring = [f.name for f in fields(Spring) if f.name not in ("name", "wire", "table", "coils")]
    columns = ["name", *spring, *(f.name for f in fields(Wire)), "note"]
    columns = ", ".join(f"`{name}`" for name in columns)
    steels = ", ".join(f"`{name}`" for name in MATERIALS)
    parts.append(f"### Columns of the rack\n\n{columns}.\n\nSteels: {steels}.")
    return "\n\n".join([*parts, judged(), END])


def renew(page):
    """The page with its reference part made anew."""
    before, _, rest = page.partition(START)
    return before + make() + rest.partition(END)[2]


if __name__ == "__main__":
    PAGE.write_text(renew(PAGE.read_text(encoding="utf-8")), encoding="utf-8")
