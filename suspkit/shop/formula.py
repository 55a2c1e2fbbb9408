"""The small language between an article's braces.

A stranger may have written it, so it can do little: name what it is given, reckon with numbers,
compare, call the named functions, set a name, and go through a list that is written out. Jinja
reads it into a tree; every kind of branch not named here is refused, and this module works the rest
out itself. No Python object is within reach, and how much work there is stands in the text, so it
is known before any is done.
"""

from __future__ import annotations

import inspect
import math
import operator
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from suspkit.vehicle.vehicle import known_name

LONGEST = 15_000
"""Characters an article may have, and may come to: some four pages. Of brackets twice as long,
Markdown's time is four times as long."""

STEPS = 20_000
"""Names, numbers, sums and calls in an article, those of a loop as often as it goes round."""

LARGEST = 1000.0
"""Size of a number that may be handed to a function."""


class FormulaError(ValueError):
    """What cannot be worked out.

    Parameters
    ----------
    line : int
        It stands in, counted from 1.
    sentence : str
        Why.
    """

    def __init__(self, line, sentence):
        super().__init__(sentence)
        self.line = line


@dataclass(frozen=True)
class Table:
    """Named values, each worked out when it is asked for.

    Attributes
    ----------
    what : str
        For sentences: "a set-up".
    names : tuple of str
    read : callable
        Gives the value of one of the names.
    of : object
        What our own functions take for it; no article reaches that.
    """

    what: str
    names: tuple[str, ...]
    read: Callable[[str], Any]
    of: Any = None


@dataclass(frozen=True)
class Row:
    """Values in order, counted from 0; from -1 backwards."""

    values: tuple


@dataclass(frozen=True)
class Function:
    """A function of ours. It takes numbers, texts and tables only.

    Attributes
    ----------
    run : callable
    kind : str
        Whose bound in `work` a call counts against.
    """

    run: Callable
    kind: str = "computations"


@dataclass(frozen=True)
class Language:
    """What an article may speak of.

    Attributes
    ----------
    names : mapping of str to value
        Numbers, texts, tables and functions.
    filters : mapping of str to callable
        What makes a text of a number.
    pictures : type
        Values of this type may stand on the page too.
    work : mapping of str to int
        How many calls of each kind of function one article may make.
    """

    names: Mapping[str, Any]
    filters: Mapping[str, Callable]
    pictures: type
    work: Mapping[str, int]


def filled(text, language, *, keep):
    """A text with all between its braces worked out.

    Parameters
    ----------
    text : str
    language : Language
    keep : callable
        Takes each value that is to be shown, a text or picture, and gives what stands for it.

    Returns
    -------
    str

    Raises
    ------
    FormulaError
    """
    from jinja2 import Environment, TemplateSyntaxError
    from jinja2.parser import Parser

    parser, looked, run = Parser(Environment(), text), _Looked(language), _Run(language, keep)
    try:
        tree = parser.parse()
        looked.all(tree.body, 1)
        run.all(tree.body)
    except TemplateSyntaxError as error:
        said = str(error.message).rstrip(".")
        raise FormulaError(error.lineno, f"{said}; expected what docs/articles.md lists") from None
    except RecursionError:
        line = looked.line or parser.stream.current.lineno
        raise FormulaError(line, "it nests too deep; expected simple expressions") from None
    return "".join(run.out)


# --- before anything is worked out ----------------------------------------------------------------

_PARTS = {
    "Output": ("nodes",), "If": ("test", "body", "elif_", "else_"), "Assign": ("node",),
    "Name": (), "Const": (), "TemplateData": (), "Getattr": ("node",), "Getitem": ("node", "arg"),
    "Call": ("node", "args", "kwargs"), "Keyword": ("value",), "Compare": ("expr", "ops"),
    "Operand": ("expr",), "Filter": ("node", "args"), "And": ("left", "right"),
    "Or": ("left", "right"), "Not": ("node",), "Neg": ("node",), "Pos": ("node",),
    "Add": ("left", "right"), "Sub": ("left", "right"), "Mul": ("left", "right"),
    "Div": ("left", "right"), "For": ("iter", "body"), "List": ("items",),
}  # fmt: skip
"""Every kind of branch there may be, with the twigs that are walked."""

_BARE = {
    "For": ("test", "else_", "recursive"), "Call": ("dyn_args", "dyn_kwargs"),
    "Filter": ("kwargs", "dyn_args", "dyn_kwargs"),
}  # fmt: skip
"""Twigs that must not be there."""

_SIGNS = {
    "Mod": "%", "Pow": "**", "FloorDiv": "//", "Concat": "~", "CondExpr": "an if inside braces",
    "Slice": "a slice", "Dict": "a table in braces", "Tuple": "a comma", "Test": "is",
    "List": "a list outside of for", "FilterBlock": "{% filter %}", "CallBlock": "{% call %}",
    "AssignBlock": "{% set %} without =", "FromImport": "{% from %}",
    "Scope": "{% autoescape %}",
}  # fmt: skip
_OPERATORS = {
    "eq": operator.eq, "ne": operator.ne, "lt": operator.lt, "lteq": operator.le,
    "gt": operator.gt, "gteq": operator.ge,
}  # fmt: skip


class _Looked:
    """Walks the whole tree once: is it known, and how much work is it?"""

    def __init__(self, language):
        self.language, self.steps, self.line = language, 0, 0
        self.done = dict.fromkeys(language.work, 0)

    def all(self, nodes, times):
        for node in nodes:
            self.one(node, times)

    def one(self, node, times):
        kind = type(node).__name__
        self.line = line = node.lineno or self.line or 1  # Jinja's own branches have none
        if kind not in _PARTS or any(getattr(node, name) for name in _BARE.get(kind, ())):
            said = _SIGNS.get(kind, f"{{% {kind.lower()} %}}")
            said = f"all of what this {kind.lower()} says" if kind in _PARTS else said
            raise FormulaError(line, f"{said} is not known here; {_EXPECTED}")
        self.steps += times
        if self.steps > STEPS:
            raise FormulaError(line, f"the text asks for more than {STEPS} steps; expected fewer")
        if kind == "Filter":
            _known(line, node.name, self.language.filters, "filter", "one of")
        elif kind in ("Assign", "For") and type(node.target).__name__ != "Name":
            raise FormulaError(line, "it names several at once; expected one name")
        elif kind == "Call":
            self.call(node, times)
        inside = times
        for part in _PARTS[kind]:
            twigs = getattr(node, part)
            if kind == "For" and part == "iter":
                if type(twigs).__name__ != "List":
                    raise FormulaError(
                        line, "for goes through no list; expected one written out, as [0, 2, 4]"
                    )
                self.all(twigs.items, times)
                inside = times * len(twigs.items)
            elif kind != "List":
                self.all(twigs if isinstance(twigs, list) else [twigs], inside)
            else:
                raise FormulaError(line, f"{_SIGNS[kind]} is not known here; {_EXPECTED}")

    def call(self, node, times):
        """Only a function called by its own name can be counted."""
        called = node.node
        if type(called).__name__ not in ("Name", "Getattr"):
            raise FormulaError(node.lineno, f"this is no function's name; {_EXPECTED}")
        known = self.language.names.get(getattr(called, "name", None))
        kind = getattr(known, "kind", Function.kind)
        self.done[kind] += times
        if self.done[kind] > self.language.work[kind]:
            raise FormulaError(
                node.lineno,
                f"the text asks for more than {self.language.work[kind]} {kind}; expected fewer",
            )


_EXPECTED = (
    "expected names, numbers, + - * /, comparisons, filters, calls, set, if, or for over a list"
)


# --- working out ----------------------------------------------------------------------------------


class _Run:
    def __init__(self, language, keep):
        self.language, self.keep = language, keep
        self.names, self.out, self.room = dict(language.names), [], LONGEST

    def all(self, nodes):
        for node in nodes:
            getattr(self, f"do_{type(node).__name__.lower()}")(node)

    def do_output(self, node):
        for each in node.nodes:
            if type(each).__name__ == "TemplateData":
                self.put(each.data, len(each.data), each.lineno)
                continue
            value, line = self.value(each), each.lineno
            if not isinstance(value, (str, self.language.pictures)):
                bare = "the bare number " if _is_number(value) and math.isfinite(value) else ""
                raise FormulaError(
                    line, f"{_named(each)} is {bare}{_told(value)}; expected {_wanted(value)}"
                )
            self.put(self.keep(value), len(value) if isinstance(value, str) else 0, line)

    def put(self, text, length, line):
        self.room -= length
        if self.room < 0:
            raise FormulaError(line, f"the text comes to more than {LONGEST} characters; "
                               "expected fewer")  # fmt: skip
        self.out.append(text)

    def do_assign(self, node):
        self.name(node.target.name, node.node)

    def name(self, name, node):
        """Not a function: it could then be called without being counted."""
        value = self.value(node)
        if isinstance(value, Function):
            raise FormulaError(
                node.lineno, f"{_named(node)} is a function; expected {_wanted(value)}"
            )
        self.names[name] = value

    def do_if(self, node):
        for branch in [node, *node.elif_]:
            if self.truth(branch.test):
                return self.all(branch.body)
        self.all(node.else_)

    def do_for(self, node):
        for item in node.iter.items:
            self.name(node.target.name, item)
            self.all(node.body)

    def truth(self, node):
        value = self.value(node)
        if not isinstance(value, bool):
            raise FormulaError(
                node.lineno, f"{_named(node)} is {_told(value)}; expected a comparison"
            )
        return value

    def number(self, node):
        value = self.value(node)
        if not _is_number(value):
            raise FormulaError(node.lineno, f"{_named(node)} is {_told(value)}; expected a number")
        return float(value)

    def value(self, node):
        kind = type(node).__name__.lower()
        try:
            value = getattr(self, f"of_{kind}")(node)
        except (FormulaError, RecursionError):
            raise
        except Exception as error:  # the text is a writer's: whatever it trips over, it says where
            said = " ".join(str(error).split()) or type(error).__name__
            raise FormulaError(node.lineno, said) from None
        return value

    def of_const(self, node):
        return float(node.value) if _is_number(node.value) else node.value

    def of_name(self, node):
        _known(node.lineno, node.name, self.names, "name", "one of")
        return self.names[node.name]

    def of_getattr(self, node):
        return self.inside(node, self.value(node.node), node.attr)

    def of_getitem(self, node):
        return self.inside(node, self.value(node.node), self.value(node.arg))

    def inside(self, node, value, name):
        if isinstance(value, Table):
            _known(node.lineno, name, value.names, f"name in {value.what}", "one of")
            return value.read(name)
        if isinstance(value, Row):
            least, most = -len(value.values), len(value.values) - 1
            if not (_is_number(name) and name == round(name) and least <= name <= most):
                raise ValueError(
                    f"{_told(name)} picks none of {len(value.values)} values; expected 0 to {most}"
                    if value.values
                    else "there are no values here; expected a vehicle that has some"
                )
            return value.values[int(name)]
        raise ValueError(
            f"{_named(node.node)} is {_told(value)}, which has no {_told(name)}; expected a table"
        )

    def of_call(self, node):
        function = self.value(node.node)
        if not isinstance(function, Function):
            raise ValueError(f"{_named(node.node)} is {_told(function)}; expected a function")
        args = [self.handed(each) for each in node.args]
        named = {each.key: self.handed(each.value) for each in node.kwargs}
        signature = inspect.signature(function.run)
        try:
            signature.bind(*args, **named)
        except TypeError:
            raise ValueError(
                f"{_named(node.node)} is called with what it does not take; expected "
                f"{_named(node.node)}({', '.join(signature.parameters)})"
            ) from None
        return function.run(*args, **named)

    def handed(self, node):
        value = self.value(node)
        if _is_number(value) and not abs(value) <= LARGEST:
            raise FormulaError(
                node.lineno, f"{_named(node)} is {value:.6g}; expected {-LARGEST:g} to {LARGEST:g}"
            )
        return value

    def of_filter(self, node):
        value = self.value(node.node)
        if not _is_number(value) or not math.isfinite(value):
            raise ValueError(
                f"{_named(node.node)} is {_told(value)}; expected a number for {node.name}"
            )
        args = [self.handed(each) for each in node.args]
        try:
            inspect.signature(self.language.filters[node.name]).bind(value, *args)
        except TypeError:
            raise ValueError(f"{node.name} takes no more; expected the decimals alone") from None
        return self.language.filters[node.name](value, *args)

    def of_compare(self, node):
        left = self.value(node.expr)
        for operand in node.ops:
            right = self.value(operand.expr)
            if operand.op not in _OPERATORS:
                raise ValueError(f"{operand.op} is not known here; {_EXPECTED}")
            if not any(all(map(kind, (left, right))) for kind in (_is_number, _is_text)):
                raise ValueError(
                    f"{_told(left)} is compared with {_told(right)}; expected two numbers or texts"
                )
            if not _OPERATORS[operand.op](left, right):
                return False
            left = right
        return True

    def of_and(self, node):
        return self.truth(node.left) and self.truth(node.right)

    def of_or(self, node):
        return self.truth(node.left) or self.truth(node.right)

    def of_not(self, node):
        return not self.truth(node.node)

    def of_neg(self, node):
        return -self.number(node.node)

    def of_pos(self, node):
        return self.number(node.node)

    def of_add(self, node):
        return self.number(node.left) + self.number(node.right)

    def of_sub(self, node):
        return self.number(node.left) - self.number(node.right)

    def of_mul(self, node):
        return self.number(node.left) * self.number(node.right)

    def of_div(self, node):
        over = self.number(node.right)
        if over == 0:
            raise ValueError(f"{_named(node.right)} is 0; expected another number to divide by")
        return self.number(node.left) / over


# --- in words -------------------------------------------------------------------------------------


def _is_number(value):
    return isinstance(value, (int, float)) and not isinstance(value, bool)


def _is_text(value):
    return isinstance(value, str)


def _known(line, name, known, where, what):
    try:
        known_name(name, known, where, what)
    except ValueError as error:
        raise FormulaError(line, str(error)) from None


_UNNAMED = "this value"


def _named(node):
    """How the text calls it, where that is short."""
    kind = type(node).__name__
    if kind == "Name":
        return node.name[:60]
    if kind == "Getattr" and (base := _named(node.node)) != _UNNAMED:
        return f"{base}.{node.attr}"[:60]
    return _UNNAMED


def _told(value):
    """What a value is, for a sentence."""
    if isinstance(value, Table):
        return value.what
    if isinstance(value, Row):
        return f"a row of {len(value.values)}"
    if isinstance(value, Function):
        return "a function"
    if isinstance(value, str):
        return repr(value) if len(value) < 60 else f"{value[:57]!r}..."
    if isinstance(value, bool):
        return "true" if value else "false"
    if _is_number(value):
        return f"{value:.6g}" if math.isfinite(value) else "not there"
    return "not there" if value is None else "a picture"


def _wanted(value):
    if isinstance(value, Function):
        return "it to be called, with ()"
    if _is_number(value):
        return "a filter that says its unit, as | tape or | number"
    if isinstance(value, Row):
        return "one of them, as [0]"
    return "a name inside it, as a number with a filter" if isinstance(value, Table) else "a text"
