"""Slips of a technician's pen, one at a time, over every field of a vehicle file."""

import copy
import re

UNITS = {
    "in": ("mm", "cm"), "lb": ("kg",), "lb/in": ("N/m", "N/mm"), "lbf": ("N", "kN", "kgf"),
    "psi": ("bar", "kPa"), "in**3": ("cc",), "degF": ("degC",), "mm": ("in",), "per in": ("mm",),
    "N/mm": ("lb/in", "N/m"), "kg": ("lb",), "bar": ("psi",), "cm": ("in",), "ft": ("in",),
    "mm^2": ("in^2",), "deg": ("rad",), "cc": ("in^3",), "degC": ("degF",), "N": ("lbf",),
}  # fmt: skip
"""What is written for what was meant."""

TABLES = ("travel", "eye_to_eye", "table")
"""Columns and rows that share their unit: it slips for all of them at once."""


def leaves(tree, at=()):
    """Every number and quantity of a parsed file, with its place."""
    pairs = tree.items() if isinstance(tree, dict) else enumerate(tree)
    for key, value in pairs:
        if isinstance(value, dict | list):
            yield from leaves(value, (*at, key))
        elif _parts(value) is not None:
            yield (*at, key), value


def _parts(value):
    """Number and unit as text, where there is a number."""
    if isinstance(value, bool):
        return None
    if isinstance(value, int | float):
        return str(value), ""
    found = re.fullmatch(r"(-?[0-9][0-9 ./-]*?)\s*([A-Za-z].*)?", value)
    return None if found is None else (found[1], found[2] or "")


def put(tree, at, value):
    """A copy of the file with one value changed."""
    tree = copy.deepcopy(tree)
    branch = tree
    for key in at[:-1]:
        branch = branch[key]
    branch[at[-1]] = value
    return tree


def get(tree, at):
    for key in at:
        tree = tree[key]
    return tree


def _decimal(number):
    """A tape reading as a plain number."""
    sign, number = (-1, number[1:]) if number.startswith("-") else (1, number)
    whole, _, part = number.replace(" ", "-").rpartition("-")
    top, _, bottom = part.partition("/")
    value = float(top) / float(bottom) if bottom else float(part)
    return sign * (value + float(whole or 0))


def _same_kind(number, unit, was):
    """As it was: text with a unit, or a bare number."""
    if unit or isinstance(was, str):
        return f"{number:.10g} {unit}".strip()
    return int(number) if float(number).is_integer() else number


def single(tree):
    """Every slip: kind, the fields one of which must be named, and the file with the slip.

    Parameters
    ----------
    tree : dict
        A vehicle file as parsed.

    Yields
    ------
    kind : str
    fields : tuple of str
    slipped : dict
    """
    done = set()
    for at, value in leaves(tree):
        number, unit = _parts(value)
        field = dotted(at)
        whole = next((i for i, key in enumerate(at) if key in TABLES), None)
        if whole is not None:  # a unit slips for a whole column
            top = at[: whole + 1]
            if top not in done:
                done.add(top)
                for wrong in UNITS.get(unit, ()):
                    yield (
                        "wrong unit",
                        (dotted(top),),
                        put(tree, top, _column(get(tree, top), unit, wrong)),
                    )
        else:
            for wrong in UNITS.get(unit, ()):
                yield "wrong unit", (field,), put(tree, at, f"{number} {wrong}")
        amount = _decimal(number)
        if amount:
            yield "sign", (field,), put(tree, at, _same_kind(-amount, unit, value))
            for factor in (10, 0.1):
                yield (
                    "factor ten",
                    (field,),
                    put(tree, at, _same_kind(amount * factor, unit, value)),
                )
        if isinstance(value, str) and "." in number:
            yield "decimal comma", (field,), put(tree, at, value.replace(".", ",", 1))
        digits = number.split("-")[0] if not number.startswith("-") else number
        for i in range(len(digits) - 1):
            a, b = digits[i], digits[i + 1]
            if a.isdigit() and b.isdigit() and a != b:
                turned = digits[:i] + b + a + digits[i + 2 :] + number[len(digits) :]
                wrong = (
                    f"{turned} {unit}".strip() if isinstance(value, str) else type(value)(turned)
                )
                yield "digits transposed", (field,), put(tree, at, wrong)
    yield from _swaps(tree)


def _column(value, unit, wrong):
    if isinstance(value, list):
        return [_column(one, unit, wrong) for one in value]
    return value.removesuffix(unit) + wrong if value.endswith(unit) else value


def _swaps(tree):
    """Front for rear and left for right, value by value and table by table."""
    pairs = []
    for path in _branches(tree["front"]):
        pairs.append((("front", *path), ("rear", *path), "swapped ends"))
    for side in ("left", "right"):
        pairs.append((("scales", f"front_{side}"), ("scales", f"rear_{side}"), "swapped ends"))
    for end in ("front", "rear"):
        pairs.append((("scales", f"{end}_left"), ("scales", f"{end}_right"), "swapped sides"))
    for name, setup in tree["setups"].items():
        for path in [(), *_branches(setup["front"])]:
            own = ("setups", name)
            pairs.append(((*own, "front", *path), (*own, "rear", *path), "swapped ends"))
    if "targets" in tree:
        pairs.append((("targets", "front"), ("targets", "rear"), "swapped ends"))
    for one, other, kind in pairs:
        try:
            a, b = get(tree, one), get(tree, other)
        except KeyError:
            continue
        if a != b:
            yield kind, (dotted(one), dotted(other)), put(put(tree, one, b), other, a)
    both = copy.deepcopy(tree)
    for side in ("left", "right"):
        one, other = f"front_{side}", f"rear_{side}"
        both["scales"][one], both["scales"][other] = tree["scales"][other], tree["scales"][one]
    yield "swapped ends", ("scales",), both
    both = copy.deepcopy(tree)
    both["front"], both["rear"] = tree["rear"], tree["front"]
    yield "swapped ends", ("front", "rear"), both


def _branches(tree, at=()):
    for key, value in tree.items():
        yield (*at, key)
        if isinstance(value, dict):
            yield from _branches(value, (*at, key))


def dotted(at):
    """A place as a sentence names it, without rows of a table."""
    return ".".join(str(key) for key in at if not isinstance(key, int))
