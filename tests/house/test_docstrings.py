"""Docstrings that keep up with the code: each public name has one, and it tells the truth.

The rules: everything public has a docstring; what users call lists all its parameters and errors,
where it lists any, the rest may leave it at one honest line; a listed parameter is there, and a
listed number states its unit in brackets, unless it is one of the pure ones named below. One case a
module, which lists all that is wrong in it.
"""

import ast
import importlib
import inspect
import pkgutil
import re
import sys
import textwrap
from dataclasses import fields, is_dataclass
from pathlib import Path

import pytest

import suspkit

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT / "docs"))
from make_reference import described  # noqa: E402

MODULES = [
    importlib.import_module(found.name)
    for found in pkgutil.walk_packages(suspkit.__path__, "suspkit.")
]

PURE = {"turns", "clicks", "count", "motion_ratio", "load_factor", "load_factor_with_stop"}
PURE |= {"exponent", "friction", "residual", "safety_factor", "below", "value", "denominator"}
PURE |= {"digits", "bolt_out_error", "audit", "discharge", "to_unit"}
"""Numbers with no unit to state, or whose unit is what the function is about."""

ANY_UNIT = ("suspkit.core.curve", "suspkit.shop.formula")
"""Modules whose numbers are in whatever unit the caller has."""

NUMBER = re.compile(r"^(float|array|array_like|ndarray|tuple of float|callable)\b")


def public(owner, module):
    """Functions, classes and their public members that are written in this module."""
    for name, member in vars(owner).items():
        if name.startswith("_"):
            continue
        if isinstance(member, (classmethod, staticmethod)):
            member = member.__func__
        for wrapped in ("func", "fget", "py_func", "__wrapped__"):  # cached, property, compiled
            member = getattr(member, wrapped, None) or member
        if getattr(member, "__module__", None) != module.__name__:
            continue
        if inspect.isfunction(member):
            yield f"{owner.__name__}.{name}", member
        elif inspect.isclass(member) and owner is module:
            yield f"{owner.__name__}.{name}", member
            yield from public(member, module)


NAMES = {module.__name__: dict(public(module, module)) for module in MODULES}

FOR_USERS = {getattr(suspkit, name) for name in suspkit._HOMES}
FRONTS = [getattr(room, name) for room in (suspkit.panels, suspkit.charts) for name in room.__all__]
FOR_USERS |= set(filter(callable, FRONTS))
FOR_USERS_WHOLE = {f"suspkit.{home}" for home in suspkit._MODULES.values()}
"""What users call: the names of ``suspkit`` itself, and all of the modules that it offers."""


def is_for_users(module, name):
    first = name.removeprefix(f"{module}.").split(".")[0]
    return module in FOR_USERS_WHOLE or getattr(sys.modules[module], first) in FOR_USERS


def test_there_is_something_to_look_at():
    every = [(module, name) for module, names in NAMES.items() for name in names]
    assert len(MODULES) > 15 and len(every) > 150
    for name in ("units.parse", "Linkage.travel_max", "settle_kernel.balance", "Spring.compliance"):
        assert any(found.endswith(name) for _, found in every), name
    for_users = [name for module, name in every if is_for_users(module, name)]
    for name in ("settle.settle", "Spring.compliance", "live.preload", "units.parse"):
        assert any(found.endswith(name) for found in for_users), name
    assert not any("kernel" in name for name in for_users)


# Each of these says what is wrong with a docstring, or nothing.


def is_missing(owner):
    # A method that overrides one with a docstring has that one's.
    text = inspect.getdoc(owner) or ""
    # A dataclass without one gets its signature, which says nothing.
    return not text.strip() or text.startswith(f"{owner.__name__}(")


def parameters(owner):
    """Those a docstring has to tell of, and those it may."""
    if not inspect.isclass(owner):
        given = [p for p in inspect.signature(owner).parameters if p not in ("self", "cls")]
        return set(given), set(given)
    if is_dataclass(owner):
        given = [field.name for field in fields(owner) if not field.name.startswith("_")]
    else:
        given = list(inspect.signature(owner.__init__).parameters)[1:]
    return set(given), {*given, *dir(owner), *_set_on_self(owner)}


def told_but_not_there(owner):
    told = [parameter.lstrip("*") for parameter in described(owner)]
    twice = {one for one in told if told.count(one) > 1}
    return told and twice | set(told) - parameters(owner)[1]


def there_but_not_told(owner):
    told = [parameter.lstrip("*") for parameter in described(owner)]
    return told and parameters(owner)[0] - set(told)


def _set_on_self(owner):
    tree = ast.parse(textwrap.dedent(inspect.getsource(owner)))
    return {
        node.attr
        for node in ast.walk(tree)
        if isinstance(node, ast.Attribute) and isinstance(node.ctx, ast.Store)
    }


def told_without_a_unit(owner):
    return owner.__module__ not in ANY_UNIT and [
        told
        for told, (kind, text) in described(owner).items()
        if NUMBER.match(kind)
        and "of bool" not in kind
        and told.lstrip("*") not in PURE
        and not re.search(r"\[[^\]]+\]", kind + text)
    ]


def given_back_without_a_unit(owner):
    parts = re.split(r"\n *Returns\n *-+\n", owner.__doc__ or "")
    if len(parts) == 1 or owner.__name__ in PURE or owner.__module__ in ANY_UNIT:
        return False
    if not NUMBER.match(parts[1].strip().split("\n")[0].split(" : ")[-1]):
        return False
    # Of a one-line promise the summary may state it.
    return not re.search(r"\[[^\]]+\]", parts[1].split("---")[0] + parts[0].split("----")[0])


def raised(owner):
    """Errors that a function, or the making of an object of a class, raises by its own hand."""
    if inspect.isclass(owner):
        # An error's own way of being made is no business of who catches it.
        own = [vars(owner).get(name) for name in ("__init__", "__post_init__")]
        made = [] if issubclass(owner, BaseException) else [one for one in own if one]
        return set().union(*map(raised, made)) if made else set()
    try:
        tree = ast.parse(textwrap.dedent(inspect.getsource(owner)))
    except OSError:  # a dataclass writes its own
        return set()
    found, inside = set(), list(tree.body[0].body)
    while inside:
        node = inside.pop()
        if isinstance(node, (ast.FunctionDef, ast.Lambda, ast.ClassDef)):
            continue
        if isinstance(node, ast.Try) and node.handlers:
            node.body = []  # what is raised there may be caught
        if isinstance(node, ast.Raise) and isinstance(node.exc, ast.Call):
            found.add(ast.unparse(node.exc.func).split(".")[-1])
        inside += ast.iter_child_nodes(node)
    return {name for name in found if name[0].isupper()} - {"AttributeError"}


def test_errors_raised_are_found():
    assert raised(suspkit.Setup.change) == {"ValueError"}
    assert raised(suspkit.core.curve.Curve) == {"ValueError"}


def raised_but_not_told(owner):
    told = re.split(r"\n *Raises\n *-+\n", inspect.getdoc(owner) or "")[-1]
    return [error for error in raised(owner) if error not in told]


FORMULAS = (
    "parts.wire", "parts.spring", "parts.stack", "parts.damper", "parts.shock", "parts.linkage",
    "vehicle.corner", "statics.settle", "statics.solve", "statics.sensitivity", "statics.roll",
    "statics.compressor", "dynamics.drive", "dynamics.damping", "dynamics.bottoming",
    "dynamics.comfort", "studies.slips",
)  # fmt: skip
"""Modules in which a function that gives back a number has notes on its law, or points at them."""


def formula_without_its_law(owner):
    parts = re.split(r"\nReturns\n-+\n", inspect.getdoc(owner) or "")
    if owner.__module__.removeprefix("suspkit.") not in FORMULAS or "." in owner.__qualname__:
        return False  # a method evaluates what its class tells of
    if len(parts) == 1 or not NUMBER.match(parts[1].split("\n")[0].split(" : ")[-1]):
        return False
    return not re.search(r"\nNotes\n-+\n|[Aa]s (for|in) `|\(Rao", inspect.getdoc(owner))


OF_EVERY = (is_missing, told_but_not_there)
OF_WHAT_USERS_CALL = (
    there_but_not_told,
    told_without_a_unit,
    given_back_without_a_unit,
    raised_but_not_told,
    formula_without_its_law,
)


@pytest.mark.parametrize("module", NAMES)
def test_docstrings_tell_the_truth(module):
    assert (sys.modules[module].__doc__ or "").strip()
    faults = []
    for name, owner in NAMES[module].items():
        judges = OF_EVERY + (OF_WHAT_USERS_CALL if is_for_users(module, name) else ())
        for judge in judges:
            if wrong := judge(owner):
                faults.append(f"{name}: {judge.__name__} {'' if wrong is True else sorted(wrong)}")
    assert faults == []
