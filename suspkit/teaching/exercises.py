"""Exercises with fresh numbers for training: drawn by a seed, answered by the package, marked.

The same kind, seed and units give the same exercise on every machine, so that a trainer can hand
one paper to two people.
"""

from __future__ import annotations

import base64
import io
import re
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from suspkit.shop.paper import environment
from suspkit.teaching.questions import KINDS, Draw, Misconception, shop_of
from suspkit.units import SYSTEMS, parse
from suspkit.vehicle.entrance import known_vehicle
from suspkit.vehicle.vehicle import known_name

DRAWS = 400
"""How often numbers are drawn before giving up that right and wrong can be told apart."""


@dataclass(frozen=True, kw_only=True)
class Exercise:
    """A question with its answer.

    Attributes
    ----------
    kind : str
        Of `KINDS`.
    seed : int
    units : {"us", "metric"}
    objective : str
        What can be done by who gets it right.
    question, how : str
        What is asked, and how to write the answer.
    hints : tuple of str
        One step further each.
    unit : str
        Kind of quantity asked for, or "choice".
    right : float or str
        The answer [SI unit of the kind], or the letter of a choice.
    tolerance : float
        How far off still counts [SI unit of the kind].
    answer : str
        The answer as a tech would write it.
    solution : str
        How it comes out, with the numbers.
    misconceptions : tuple of Misconception
        Wrong ideas whose answers `mark` knows.
    choices : dict of str to str
        By letter; empty where a quantity is asked for.
    alt : str
        The picture in words; empty if there is none.
    """

    kind: str
    seed: int
    units: str
    objective: str
    question: str
    how: str
    hints: tuple[str, ...]
    unit: str
    right: float | str
    tolerance: float
    answer: str
    solution: str
    misconceptions: tuple[Misconception, ...]
    choices: dict[str, str] = field(default_factory=dict)
    alt: str = ""
    _draw: Callable | None = field(default=None, repr=False, compare=False)

    def picture(self):
        """The picture as a PNG, drawn when asked for; nothing if there is none.

        Returns
        -------
        bytes or None
        """
        if self._draw is None:
            return None
        from suspkit.charts.board import settings

        stream = io.BytesIO()
        with settings({}):
            self._draw().savefig(stream, format="png")
        return stream.getvalue()


@dataclass(frozen=True, kw_only=True)
class Marked:
    """What comes back on an answer.

    Attributes
    ----------
    right : bool or None
        None if the answer cannot be read: that does not count as wrong.
    message : str
    misconception : Misconception or None
        The one this answer comes from, if it is known.
    """

    right: bool | None
    message: str
    misconception: Misconception | None = None


def exercise(kind, *, seed, units="us", vehicle=None):
    """Draw an exercise.

    Parameters
    ----------
    kind : str
        Of `KINDS`.
    seed : int
        The same seed gives the same numbers.
    units : {"us", "metric"}
        A shop's round numbers differ, so this draws other numbers too.
    vehicle : Vehicle, optional
        The example vehicle if not given.

    Returns
    -------
    Exercise

    Raises
    ------
    ValueError
        If kind, seed or units are not known, or this vehicle gives no such exercise.
    """
    if vehicle is not None:
        known_vehicle(vehicle)
    known_name(kind, KINDS, "kind", "an exercise")
    known_name(units, SYSTEMS, "units", "a system")
    if isinstance(seed, bool) or not isinstance(seed, (int, np.integer)):
        raise ValueError(f"seed is {seed!r}; expected a whole number, such as 7")
    shop, draw = shop_of(vehicle), Draw(f"{kind} {units} {int(seed)}")
    _title, objective, make = KINDS[kind]
    for _ in range(DRAWS):
        made = make(shop, draw, units)
        if made is not None:
            return Exercise(
                kind=kind, seed=int(seed), units=units, objective=objective, **made
            )  # fmt: skip
    raise ValueError(
        f"kind {kind!r} finds no numbers on {shop.vehicle.name!r} that tell right from wrong; "
        "expected shocks with a top-out spring and two springs with a stop ring between them"
    )


def mark(exercise, answer_text):
    """Mark an answer.

    Parameters
    ----------
    exercise : Exercise
    answer_text : str
        As on a tape or a work sheet: ``"1-1/4 in"``, ``"31 mm"``, ``"4 turns"``, ``"130 lb/in"``,
        or the letter of a choice.

    Returns
    -------
    Marked
    """
    try:
        given = _read(exercise, answer_text)
    except ValueError as error:
        return Marked(right=None, message=f"{error}.")
    if _same(given, exercise.right, exercise.tolerance):
        return Marked(right=True, message=f"Right: {exercise.answer}.")
    for idea in exercise.misconceptions:
        if _same(given, idea.value, exercise.tolerance):
            message = f"Not right. {idea.name[0].upper()}{idea.name[1:]}? {idea.why}"
            return Marked(right=False, message=message, misconception=idea)
    return Marked(right=False, message=f"Not right. A hint: {exercise.hints[0]}")


def _read(exercise, text):
    if exercise.unit != "choice":
        return parse(text, exercise.unit)
    found = re.match(r"\s*\(?([A-Za-z])(?![A-Za-z0-9])", text) if isinstance(text, str) else None
    letter = found[1].upper() if found else ""
    if letter not in exercise.choices:
        raise ValueError(
            f"answer is {str(text)[:40]!r}; expected one letter from {min(exercise.choices)} to "
            f"{max(exercise.choices)}"
        )
    return letter


def _same(given, value, tolerance):
    return given == value if isinstance(value, str) else abs(given - value) <= tolerance


def paper(seed, *, kinds=None, units="us", vehicle=None):
    """One exercise of each kind, the same for all who get this seed.

    Parameters
    ----------
    seed : int
    kinds : sequence of str, optional
        All of `KINDS` if not given.
    units : {"us", "metric"}
    vehicle : Vehicle, optional
        The example vehicle if not given.

    Returns
    -------
    list of Exercise
    """
    kinds = KINDS if kinds is None else kinds
    return [exercise(kind, seed=seed, units=units, vehicle=vehicle) for kind in kinds]


def key(paper):
    """A paper to print: the questions, then on a page of its own the key for the trainer.

    Parameters
    ----------
    paper : sequence of Exercise

    Returns
    -------
    str
        HTML that needs nothing beside it.

    Raises
    ------
    ValueError
        If there is no exercise.
    """
    if not paper:
        raise ValueError("paper is empty; expected one exercise or more")
    rows = [
        {
            "title": KINDS[each.kind][0],
            "each": each,
            "picture": base64.b64encode(png).decode() if (png := each.picture()) else "",
        }
        for each in paper
    ]
    return unbroken(environment().get_template("exercises.html").render(rows=rows))


def unbroken(text):
    """The same text with no line break inside a fraction of an inch."""
    return re.sub(r"(?<=[0-9])-(?=[0-9]+/[0-9]+ in)", "\N{NON-BREAKING HYPHEN}", text)


__all__ = [
    "KINDS", "Exercise", "Marked", "Misconception", "exercise", "key",
    "mark", "paper", "unbroken",
]  # fmt: skip
