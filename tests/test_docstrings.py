"""Docstrings that keep up with the code: each public name has one, and it tells the truth.

The rules: everything public has a docstring; where it lists parameters or attributes they are
those of the signature or the class; and a listed number states its unit in brackets, unless it is
one of the pure numbers named below.
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

ROOT = Path(__file__).parent.parent
sys.path.insert(0, str(ROOT / "docs"))
from make_reference import described  # noqa: E402

MODULES = [
    importlib.import_module(f"suspkit.{found.name}")
    for found in pkgutil.iter_modules(suspkit.__path__)
]

PURE = {"rake", "turns", "clicks", "count", "motion_ratio", "load_factor", "load_factor_with_stop"}
PURE |= {"exponent", "friction", "residual", "safety_factor", "below", "value", "denominator"}
PURE |= {"digits", "bolt_out_error", "audit", "discharge", "to_unit"}
"""Numbers with no unit to state, or whose unit is what the function is about."""

ANY_UNIT = ("suspkit.curves", "suspkit.formula")
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


NAMES = dict(pair for module in MODULES for pair in public(module, module))
each = pytest.mark.parametrize("name", NAMES)


def test_there_is_something_to_look_at():
    assert len(MODULES) > 15 and len(NAMES) > 150
    for name in ("units.parse", "Linkage.travel_max", "kernel.balance", "Spring.compliance"):
        assert any(found.endswith(name) for found in NAMES), name


@pytest.mark.parametrize("module", MODULES, ids=lambda module: module.__name__)
def test_modules_say_what_they_are_for(module):
    assert (module.__doc__ or "").strip()


@each
def test_public_names_have_a_docstring(name):
    # A method that overrides one with a docstring has that one's.
    text = inspect.getdoc(NAMES[name]) or ""
    # A dataclass without one gets its signature, which says nothing.
    assert text.strip() and not text.startswith(f"{NAMES[name].__name__}(")


@each
def test_parameters_told_are_those_of_the_signature(name):
    owner = NAMES[name]
    told = [parameter.lstrip("*") for parameter in described(owner)]
    assert len(set(told)) == len(told)
    if not told:
        return
    if inspect.isclass(owner):
        if is_dataclass(owner):
            given = [field.name for field in fields(owner) if not field.name.startswith("_")]
        else:
            given = list(inspect.signature(owner.__init__).parameters)[1:]
        known = set(given) | set(dir(owner)) | _set_on_self(owner)
        assert set(told) <= known, "told but not there"
    else:
        given = [p for p in inspect.signature(owner).parameters if p not in ("self", "cls")]
        assert set(told) <= set(given), "told but not there"
    assert set(given) <= set(told), "there but not told"


def _set_on_self(owner):
    tree = ast.parse(textwrap.dedent(inspect.getsource(owner)))
    return {
        node.attr
        for node in ast.walk(tree)
        if isinstance(node, ast.Attribute) and isinstance(node.ctx, ast.Store)
    }


@each
def test_numbers_told_have_a_unit(name):
    if NAMES[name].__module__ in ANY_UNIT:
        return
    bare = [
        told
        for told, (kind, text) in described(NAMES[name]).items()
        if NUMBER.match(kind)
        and "of bool" not in kind
        and told.lstrip("*") not in PURE
        and not re.search(r"\[[^\]]+\]", kind + text)
    ]
    assert bare == []


@each
def test_a_number_given_back_has_a_unit(name):
    parts = re.split(r"\n *Returns\n *-+\n", NAMES[name].__doc__ or "")
    if len(parts) == 1 or NAMES[name].__module__ in ANY_UNIT:
        return
    # Of a one-line promise the summary may state it.
    first = parts[1].strip().split("\n")[0].split(" : ")[-1]
    if NUMBER.match(first) and name.split(".")[-1] not in PURE:
        assert re.search(r"\[[^\]]+\]", parts[1].split("---")[0] + parts[0].split("----")[0])


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
    assert raised(suspkit.curves.Curve) == {"ValueError"}


@each
def test_errors_raised_are_told(name):
    text = inspect.getdoc(NAMES[name]) or ""
    told = re.split(r"\n *Raises\n *-+\n", text)[-1]
    assert [error for error in raised(NAMES[name]) if error not in told] == []


FORMULAS = (
    "bottoms", "comfort", "compressor", "corner", "damper", "damping", "driving", "linkage",
    "rolling", "shock", "slips", "solve", "springs", "stack", "stance", "study", "wire",
)  # fmt: skip
"""Modules in which a function that gives back a number has notes on its law, or points at them."""


@each
def test_a_formula_is_noted(name):
    text, owner = inspect.getdoc(NAMES[name]) or "", NAMES[name]
    parts = re.split(r"\nReturns\n-+\n", text)
    if owner.__module__.split(".")[-1] not in FORMULAS or "." in owner.__qualname__:
        return  # a method evaluates what its class tells of
    if len(parts) > 1 and NUMBER.match(parts[1].split("\n")[0].split(" : ")[-1]):
        assert re.search(r"\nNotes\n-+\n|[Aa]s (for|in) `|\(Rao", text)
