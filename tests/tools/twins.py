"""The panels of a lesson, made here by its own cells, to compare a page with."""

from __future__ import annotations

import ast
import contextlib
import io
import json
import re
from tempfile import TemporaryDirectory

import pytest

from suspkit.panels.live import LivePanel
from tests.tools import lab

LESSONS = tuple(path.stem for path in sorted((lab.ROOT / "notebooks").glob("[0-9]*.ipynb")))

IN_A_BROWSER = [
    one if one == "02-preload" else pytest.param(one, marks=pytest.mark.slow) for one in LESSONS
]
"""Lessons as parameters: one for every run of the tests, and the rest marked slow."""


def panels(name, folder):
    """The panels that a lesson shows, in the order it does, as its cells leave them.

    Parameters
    ----------
    name : str
        Of `LESSONS`.
    folder : Path
        Where the cells run, for what they write.
    """
    notebook = json.loads((lab.ROOT / "notebooks" / f"{name}.ipynb").read_text(encoding="utf-8"))
    cells = ["".join(c["source"]) for c in notebook["cells"] if c["cell_type"] == "code"]
    # What comes after the last word of a panel can take minutes and changes none.
    while not re.search(r"panel|\.set\(", cells[-1]):
        cells.pop()
    shown, names = [], {}
    with contextlib.chdir(folder), contextlib.redirect_stdout(io.StringIO()):
        for cell in cells:
            code = ast.parse(cell)
            last = code.body.pop() if isinstance(code.body[-1], ast.Expr) else None
            exec(compile(code, name, "exec"), names)
            if last is not None:
                value = eval(compile(ast.Expression(last.value), name, "eval"), names)
                if isinstance(value, LivePanel):
                    shown.append(value)
    for value in names.values():
        if isinstance(value, TemporaryDirectory):
            value.cleanup()
    return shown
