"""What is given in Python: a number, a thing of some kind; or one sentence says what is wrong."""

from __future__ import annotations

import functools
import math
import types
import typing
from dataclasses import fields, is_dataclass
from numbers import Integral, Real

import numpy as np

from suspkit.units import Unit, as_unit


def short(value):
    """A value as a sentence echoes it: in one line, and cut.

    Parameters
    ----------
    value : object

    Returns
    -------
    str
    """
    if is_dataclass(value) and not isinstance(value, type):
        return f"a {type(value).__name__}"
    if isinstance(value, np.ndarray) and value.size > 6:
        return f"an array of shape {value.shape}"
    try:
        shown = " ".join(repr(_plain(value)).split())
    except Exception:  # a stranger's object may not even print
        shown = f"a {type(value).__name__}"
    return shown if len(shown) <= 60 else f"{shown[:57]}..."


def _plain(value):
    """A number of numpy as the number it is, also in a row."""
    if type(value) in (tuple, list):
        return type(value)(map(_plain, value))
    is_one = isinstance(value, (np.generic, np.ndarray)) and np.ndim(value) == 0
    return value.item() if is_one else value


def refuse(name, value, expected):
    """Raise the one sentence.

    Parameters
    ----------
    name : str
        Of the argument.
    value : object
        What was given.
    expected : str

    Raises
    ------
    ValueError
    """
    raise ValueError(f"{name} is {short(value)}; expected {expected}")


def of_kind(name, value, kind, expected):
    """A thing that must be of a class.

    Parameters
    ----------
    name : str
    value : object
    kind : type or tuple of type
    expected : str

    Returns
    -------
    object
        The value.

    Raises
    ------
    ValueError
        If it is of another class.
    """
    if not isinstance(value, kind):
        refuse(name, value, expected)
    return value


def number(name, value, kind="number", *, low=-math.inf, high=math.inf, above=None, expected=None):
    """One finite number in SI, or text with its unit.

    Parameters
    ----------
    name : str
    value : float or str
        Of SI; or text such as ``"345 mm"``.
    kind : str
        Of quantity, as in `suspkit.units.show`.
    low, high, above : float
        The least, the most, and what it must be above [SI unit of the kind].
    expected : str, optional
        Words for it, in place of those made of the limits.

    Returns
    -------
    float
        [SI unit of the kind]

    Raises
    ------
    ValueError
        If it is no such number.
    """
    unit, given = as_unit(kind), value
    if isinstance(value, str):
        try:
            value = unit.read(value)
        except ValueError as error:
            raise ValueError(f"{name}: {error}") from None
    if isinstance(value, np.ndarray) and value.ndim == 0:
        value = value[()]
    fits = _is_number(value) and math.isfinite(value) and low <= value <= high
    if not fits or above is not None and not value > above:
        refuse(name, given, expected or _expected(unit, low, high, above))
    return float(value)


def numbers(
    name, value, kind="number", *, low=-math.inf, high=math.inf, above=None, expected=None,
    empty=False,
):  # fmt: skip
    """Finite numbers in SI, in an array of any shape; a text among them is read.

    Parameters
    ----------
    name : str
    value : float, str, sequence or array
    kind, low, high, above, expected
        As of `number`.
    empty : bool
        Whether there may be none.

    Returns
    -------
    array
        [SI unit of the kind]

    Raises
    ------
    ValueError
        If one is no such number.
    """
    unit = as_unit(kind)
    limits = {"low": low, "high": high, "above": above, "expected": expected}
    expected = expected or _expected(unit, low, high, above)
    if isinstance(value, str) or _is_number(value):
        return np.asarray(number(name, value, kind, **limits))
    if isinstance(value, (dict, set, bytes)):
        refuse(name, value, expected)
    if not isinstance(value, np.ndarray):
        try:
            value = list(value)
        except TypeError:
            refuse(name, value, expected)
        if value and all(isinstance(v, str) or _is_number(v) for v in value):
            value = [number(name, v, kind, **limits) for v in value]
    try:
        found = np.asarray(value)
    except ValueError:  # rows of different lengths
        refuse(name, value, expected)
    if not found.size and not empty:
        refuse(name, value, f"at least one, each {expected}")
    if found.size and found.dtype.kind not in "iuf":
        refuse(name, value, expected)
    found = found.astype(float, copy=False)  # itself, where it is one: left and right then share it
    wrong = ~(np.isfinite(found) & (found >= low) & (found <= high))
    if above is not None:
        wrong |= ~(found > above)
    if wrong.any():
        refuse(name, float(found[wrong][0]), expected)
    return found


def whole(name, value, *, low=0, high=None):
    """A whole number.

    Parameters
    ----------
    name : str
    value : int
    low, high : int
        The least and the most [-].

    Returns
    -------
    int

    Raises
    ------
    ValueError
        If it is none, or outside.
    """
    fits = isinstance(value, Integral) and not isinstance(value, bool) and value >= low
    if not fits or high is not None and value > high:
        most = "" if high is None else f", at most {high:,}"
        refuse(name, value, f"a whole number, {low} or more{most}")
    return int(value)


def _is_number(value):
    return isinstance(value, Real) and not isinstance(value, (bool, np.bool_))


def _expected(unit, low, high, above):
    said = f"a number of {unit.si}" if unit.si else "a number"
    if above is not None:
        said += " above zero" if above == 0 else f" above {above:g}"
    if math.isfinite(low) and math.isfinite(high):
        said += f" from {low:g} to {high:g}"
    elif low == 0:
        said += ", zero or more"
    elif math.isfinite(low):
        said += f", {low:g} or more"
    if math.isfinite(high) and not math.isfinite(low):
        said += f", at most {high:g}"
    return said + (", or text with its unit" if unit.si else "")


# --- fields of a dataclass ------------------------------------------------------------------------


def take_in(thing, *, bounded=False, arrays=False, any_size=False):
    """Check every field of a dataclass against its type, and read text where a quantity is due.

    To stand first in a ``__post_init__``. Numbers must be finite and of the sign their unit
    allows, ``inf`` only where a plain float stands.

    Parameters
    ----------
    thing : dataclass
    bounded : bool
        Whether numbers must also keep within the limits of `suspkit.parts.fields`.
    arrays : bool
        Whether an array may stand wherever a number may.
    any_size : bool
        Whether a number may be of any size: the class then says itself what it may be.

    Raises
    ------
    ValueError
        One sentence that starts with the field.
    """
    how = _How(bounded=bounded, arrays=arrays, any_size=any_size)
    for name, hint in _hints(type(thing)):
        value = getattr(thing, name)
        taken = _taken(name, value, hint, how)
        if taken is not value:
            object.__setattr__(thing, name, taken)


class _How(typing.NamedTuple):
    bounded: bool
    arrays: bool
    any_size: bool


@functools.cache
def _hints(kind):
    hints = typing.get_type_hints(kind, include_extras=True)
    return tuple((f.name, _members(hints[f.name])) for f in fields(kind))


def _members(hint):
    union = typing.get_origin(hint) in (typing.Union, types.UnionType)
    return typing.get_args(hint) if union else (hint,)


def _unit_of(member):
    return next((m for m in getattr(member, "__metadata__", ()) if isinstance(m, Unit)), None)


def _taken(name, value, members, how):
    if value is None and type(None) in members:
        return value
    unit = next(filter(None, map(_unit_of, members)), None)
    for member in members:
        if _unit_of(member) is not None:
            if isinstance(value, str) or _is_number(value) and not how.any_size:
                taken = number(name, value, unit, **_limits(unit, how))
                return taken if isinstance(value, str) else value
            if _is_number(value):
                return value
            if how.arrays and isinstance(value, (np.ndarray, list)):
                return numbers(name, value, unit, **_limits(unit, how))
        elif typing.get_origin(member) is tuple:
            if isinstance(value, (tuple, list, np.ndarray)):
                return _rows(name, value, typing.get_args(member), how)
        elif typing.get_origin(member) is dict:
            if isinstance(value, dict):
                inner = _members(typing.get_args(member)[1])
                if not any(map(_unit_of, inner)):
                    return value
                new = {k: _taken(f"{name}.{k}", v, inner, how) for k, v in value.items()}
                return new if any(new[k] is not value[k] for k in value) else value
        elif member is np.ndarray:
            if isinstance(value, np.ndarray):
                return value
        elif member is float:
            if _is_number(value) and not math.isnan(value):
                return value
        elif member is int:
            if isinstance(value, Integral) and not isinstance(value, bool):
                return value
        elif member in (bool, typing.Any) or not isinstance(member, type):
            return value  # told apart elsewhere
        elif isinstance(value, member):
            return value
    refuse(name, value, _wanted(members, unit, how))


def _rows(name, value, inner, how):
    """Entries of a tuple, each of its own type or all of one."""
    if inner[-1] is Ellipsis:
        inner = (inner[0],) * len(value)
    if len(inner) != len(value):
        refuse(name, value, f"{len(inner)} entries")
    rows = zip(value, inner, strict=True)
    new = [_taken(f"{name}[{i}]", v, _members(h), how) for i, (v, h) in enumerate(rows)]
    same = isinstance(value, tuple) and all(a is b for a, b in zip(new, value, strict=True))
    return value if same else tuple(new)


def _limits(unit, how):
    if how.any_size:
        return {}
    if how.bounded:
        low, high = unit.ge, unit.le
        return {
            "low": -math.inf if low is None else low,
            "high": math.inf if high is None else high,
            "above": unit.gt,
        }
    above = 0.0 if unit.gt == 0 else None
    return {"low": 0.0 if unit.ge == 0 else -math.inf, "above": above}


def _wanted(members, unit, how):
    if unit is not None:
        limits = {"low": -math.inf, "high": math.inf, "above": None} | _limits(unit, how)
        return _expected(unit, **limits)
    for member in members:
        if member in (float, int):
            return {float: "a number", int: "a whole number"}[member]
        origin = typing.get_origin(member) or member
        if origin in (tuple, dict, str):
            return {tuple: "a tuple", dict: "a dict", str: "text"}[origin]
    return f"a suspkit {members[0].__name__}"
