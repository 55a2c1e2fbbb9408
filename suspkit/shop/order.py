"""The order of work at the vehicle, from one file for work sheet, tick list and lessons."""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass

from suspkit.files import PACKAGE
from suspkit.units import INCH

_TEMPLATES = PACKAGE / "templates"
_TOLD = tomllib.loads((_TEMPLATES / "order.toml").read_text(encoding="utf-8"))


@dataclass(frozen=True, kw_only=True)
class Step:
    """A step of the work, as the file has it: see there for its marks.

    Parameters
    ----------
    do : str
        What to do.
    task : str
        The task of the tick list at which a trainer sees it.
    name : str
        The same in a few words; empty where the one line leaves it out.
    clickers : bool
        Whether it is for shocks with clickers.
    """

    do: str
    task: str
    name: str = ""
    clickers: bool = False


def _joined(text):
    return " ".join(text.split())


STEPS = tuple(
    Step(**{key: _joined(text) if isinstance(text, str) else text for key, text in step.items()})
    for step in _TOLD["steps"]
)
"""All steps, in order."""

WHY = _joined(_TOLD["why"])
"""Why heights are read with the gap set."""

WITHIN = INCH / 8
"""How far a height may be off before a collar is turned for it [m]: common practice, no source."""

RINGS = {
    key: {name: _joined(text) for name, text in ring.items()}
    for key, ring in _TOLD["rings"].items()
}
"""Kinds of stop ring: name, what to do, and a picture as SVG to put into a page."""


def _for(text, ring):
    """A text for a set-up with a stop ring or without."""

    def part(found):
        with_ring, _, without = found[1].partition("|")
        return with_ring if ring else without

    text = re.sub(r"\[(.*?)\]", part, text)
    return text[:1].upper() + text[1:]


def steps(*, ring=True, clickers=True, **numbers):
    """What to do, step by step; ``**`` stands around what is set bold.

    Parameters
    ----------
    ring : bool
        Whether the set-up has a stop ring.
    clickers : bool
        Whether the shocks have clickers.
    **numbers : str
        Of the work sheet, in place of the file's ``blanks``.

    Returns
    -------
    list of str
    """
    found = [_for(step.do, ring) for step in STEPS if clickers or not step.clickers]
    numbers = _TOLD["blanks"] | numbers
    return [text.format(**numbers).strip() for text in found if text]


def line(*, ring=True, clickers=True):
    """The order in one line, from contact to clicks.

    Parameters
    ----------
    ring, clickers : bool
        As for `steps`.

    Returns
    -------
    str
    """
    names = [_for(step.name, ring) for step in STEPS if clickers or not step.clickers]
    return " → ".join(name[0].lower() + name[1:] for name in names if name)


def checklist():
    """The order of work as lines to tick, with a stop ring and clickers, in plain text.

    Returns
    -------
    str
    """
    return "\n".join(f"[ ] {text.replace('**', '')}" for text in steps())
