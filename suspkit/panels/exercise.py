"""Exercises in a notebook: a question, a box for the answer, hints one by one."""

from __future__ import annotations

import html

import ipywidgets as widgets

from suspkit.panels.live import LivePanel, units_control, unseen
from suspkit.shop.log import JobLog
from suspkit.shop.training import answered
from suspkit.teaching.exercises import KINDS, exercise, mark, unbroken
from suspkit.vehicle.vehicle import known_name

_NARROW = {"description_width": "5em"}


def _paragraphs(*texts):
    return "".join(f"<p style='max-width:60em'>{unbroken(html.escape(text))}</p>" for text in texts)


class ExercisePanel(LivePanel):
    """One exercise after another, marked as they are answered.

    Parameters
    ----------
    kind : str
        Of `suspkit.teaching.exercises.KINDS`.
    seed : int
        The same seed gives the same numbers.
    units : {"us", "metric"}
    vehicle : Vehicle, optional
        The example vehicle if not given.
    log : str or path, optional
        Job log to keep each marked answer in; nothing is kept if not given.
    trainee : str, optional
        Whose answers they are; with a log it must be given.

    Attributes
    ----------
    view : Exercise
        What is asked now.
    marked : Marked or None
        What came back on the last answer.
    answer : Text
        Where the answer is typed; Enter checks it.

    Raises
    ------
    ValueError
        If a name is not known, or only one of log and trainee is given.
    """

    def __init__(
        self, kind="contact", *, seed=1, units="us", vehicle=None, log=None, trainee=""
    ):  # fmt: skip
        known_name(kind, KINDS, "kind", "an exercise")
        if (log is None) != (not trainee):
            raise ValueError(f"log is {log!r} and trainee is {trainee!r}; expected both or neither")
        self._log, self._trainee, self._kept = log, trainee, None
        self._quiet, self._vehicle = True, vehicle
        self.marked, self._told = None, 0
        controls = {
            "kind": widgets.Dropdown(
                options=[(title, name) for name, (title, _, _) in KINDS.items()], value=kind,
                description="exercise", layout=widgets.Layout(width="24em"), style=_NARROW,
            ),
            "seed": widgets.IntText(
                value=seed, description="seed", layout=widgets.Layout(width="11em"),
                style=_NARROW, tooltip="the same seed gives the same numbers to everybody",
            ),
            "units": units_control(units),
        }  # fmt: skip
        self.answer = widgets.Text(
            description="answer", continuous_update=False, style=_NARROW,
            layout=widgets.Layout(width="18em"),
        )  # fmt: skip
        self.fresh, self.check_button, self.hint_button = (
            widgets.Button(description=words) for words in ("new numbers", "check", "hint")
        )
        self.message, self.solution = widgets.HTML(), widgets.HTML()
        self._lay_out(controls, [])
        rows = (
            [controls["kind"], controls["seed"], self.fresh, controls["units"]],
            [self.answer, self.check_button, self.hint_button],
        )
        top, bottom = (
            widgets.HBox(row, layout=widgets.Layout(flex_flow="row wrap", width="100%"))
            for row in rows
        )
        self.children = [top, self.words, self.chart, bottom, self.message, self.solution]
        self.answer.observe(self._safely(self.check), names="value")
        self.check_button.on_click(self._safely(self.check))
        self.hint_button.on_click(self._safely(self.hint))
        self.fresh.on_click(self._safely(self.new_numbers))

    def _safely(self, action):
        """A callback whose exception shows in the panel instead of vanishing."""

        def run(_):
            with self._turn:
                try:
                    action()
                except Exception as error:
                    self._fail(error)

        return run

    def _show(self, units):
        made = exercise(
            self.controls["kind"].value, seed=self.controls["seed"].value, units=units,
            vehicle=self._vehicle,
        )  # fmt: skip
        picture = made.picture() or b""
        self.chart.layout.display = None if picture else "none"
        # Its own width, which is in a PNG's head, so that ink stays sharp.
        self.chart.layout.width = f"{int.from_bytes(picture[16:20])}px" if picture else None
        self.marked, self._told, self.view = None, 0, made
        self.answer.value = self.message.value = ""
        self._name_hints()
        solution = _paragraphs(made.solution)
        self.solution.value = f"<details><summary>the worked solution</summary>{solution}</details>"
        spoken = unseen(made.alt) if made.alt else ""
        return made, picture, _paragraphs(*self._lines(made)) + spoken

    @staticmethod
    def _lines(made):
        choices = [f"{letter}. {words}" for letter, words in made.choices.items()]
        return [made.question, *choices, made.how]

    def _describe(self, units):
        picture = [f"Picture: {self.view.alt}"] if self.view.alt else []
        return "\n".join(["Exercise.", *self._lines(self.view), *picture])

    def _fail(self, error):
        super()._fail(error)
        self.message.value = self.solution.value = ""

    def _name_hints(self):
        left = len(self.view.hints) - self._told
        self.hint_button.description = f"hint ({left} left)" if left else "no more hints"
        self.hint_button.disabled = not left

    def _say(self, *texts):
        self.message.value = f"<div role='status' aria-live='polite'>{_paragraphs(*texts)}</div>"

    def check(self):
        """Mark what is in the answer box and say what comes of it."""
        if not self.error and self.answer.value.strip():
            self.marked = mark(self.view, self.answer.value)
            self._say(self.marked.message, *self._keep())

    def _keep(self):
        """Write a marked answer into the log, once, and say what came of it."""
        answer = self.view, self.answer.value.strip()
        # To click on check leaves the box first, which checks too.
        if self._log is None or self.marked.right is None or answer == self._kept:
            return
        hints = f"{self._told} hint{'s' * (self._told > 1)}" * bool(self._told)
        other = "" if self._vehicle is None else f"drawn on {self._vehicle.name}"
        note = "; ".join(filter(None, [hints, other]))
        try:
            with JobLog(self._log) as log:
                log.add_training(self._trainee, answered(self.view, self.marked, note=note))
        except (ValueError, OSError) as error:
            yield f"Not kept: {error}."
            return
        self._kept = answer
        yield f"Kept for {self._trainee}."

    def hint(self):
        """Show one hint more."""
        if self.error:
            return
        self._told = min(self._told + 1, len(self.view.hints))
        self._say(
            *(f"Hint {i + 1}. {text}" for i, text in enumerate(self.view.hints[: self._told]))
        )
        self._name_hints()

    def new_numbers(self):
        """Go on to the next seed."""
        self.controls["seed"].value += 1


def panel(kind="contact", **options):
    """An exercise of one kind to begin with. Options as for `ExercisePanel`."""
    return ExercisePanel(kind, **options)


__all__ = ["ExercisePanel", "panel"]
