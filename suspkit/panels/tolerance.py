"""Controls over how sure numbers are, and over a made-up road test."""

from __future__ import annotations

from dataclasses import replace

import ipywidgets as widgets

from suspkit.charts.tolerance import (
    NO_SLIP,
    RoadTest,
    RoadTestBoard,
    SpreadBoard,
    learned,
    likeliest,
    percent,
    plus_minus,
)
from suspkit.panels.live import LivePanel, as_table, lines_of, load_control, offer, units_control
from suspkit.studies import fit as fitting
from suspkit.studies.tolerance import Tolerances, compare_habits
from suspkit.units import INCH, POUND, show
from suspkit.vehicle.entrance import USUAL, known_setup
from suspkit.vehicle.ride import UNREAD
from suspkit.vehicle.setup import CORNERS
from suspkit.vehicle.vehicle import known_name

# --- how sure -------------------------------------------------------------------------------------

SPREAD_COUNT = 2000
"""Vehicles by each habit at every move of a slider: about a tenth of a second's work."""

_TOLERANCE_STEPS = {
    "free_length": ("spring length ±", "length", [i * INCH / 32 for i in (0, 1, 2, 4, 6, 8)]),
    "rate": ("spring rate ±", "percent", [i / 100 for i in range(11)]),
    "tape": ("tape ±", "length", [i * INCH / 64 for i in (0, 1, 2, 3, 4, 6, 8)]),
    "collar": ("collar ±", "turns", [0.0, 0.125, 0.25, 0.5, 1.0]),
    "mass": ("load, sd", "mass", [i * 10 * POUND for i in range(7)]),
    "along": ("balance along, sd", "length", [i * INCH / 4 for i in range(9)]),
    "across": ("balance across, sd", "length", [i * INCH / 8 for i in range(9)]),
    "friction": ("friction band ±", "percent", [i / 4 for i in range(5)]),
}
"""Words, kind of unit and steps [SI] of each slider."""

_TOLERANCE_DIGITS = {"us": {"length": 3, "turns": 3}, "metric": {"length": 1, "turns": 3}}


class SpreadPanel(LivePanel):
    """How far vehicles set up alike come out apart, turns counted against collar copied.

    Parameters
    ----------
    vehicle : Vehicle
    setup : Setup, optional
        The current one if not given.
    load : str, optional
        The vehicle's usual load if not given, nothing aboard if None.
    units : {"us", "metric"}
    count : int
        Vehicles by each habit.

    Attributes
    ----------
    view : Habits
        What is shown now.
    controls : dict of str to widget
        ``load``, ``units`` and one for each field of `suspkit.studies.tolerance.Tolerances`.
    """

    def __init__(self, vehicle, setup=None, *, load=USUAL, units="us", count=SPREAD_COUNT):
        self._quiet, self.vehicle, self._count = True, vehicle, count
        self.setup = known_setup(vehicle, setup)
        choices = {
            "load": load_control(vehicle, load, width="14em"),
            "units": units_control(units),
        }  # fmt: skip
        usual = Tolerances()
        sliders = {
            name: widgets.SelectionSlider(
                options=self._steps(name, units), description=words,
                value=min(steps, key=lambda step, name=name: abs(step - getattr(usual, name))),
                layout=widgets.Layout(width="25em"), style={"description_width": "9.5em"},
            )
            for name, (words, _, steps) in _TOLERANCE_STEPS.items()
        }  # fmt: skip
        self._lay_out(choices | sliders, [list(choices.values()), list(sliders.values())])

    @staticmethod
    def _steps(name, units):
        _, kind, steps = _TOLERANCE_STEPS[name]
        digits = _TOLERANCE_DIGITS[units].get(kind)
        return [(show(step, kind, units, digits), step) for step in steps]

    @property
    def tolerances(self):
        """The tolerances the sliders stand for."""
        return Tolerances(**{name: self.controls[name].value for name in _TOLERANCE_STEPS})

    def _react(self, change):
        if change["owner"] is self.controls["units"]:
            for name in _TOLERANCE_STEPS:
                control = self.controls[name]
                offer(control, self._steps(name, change["new"]), control.value)

    def _show(self, units):
        load = self.controls["load"].value
        view = compare_habits(
            self.vehicle, self.setup, load=load, count=self._count, tolerances=self.tolerances
        )
        board = self._board((units, load), lambda: SpreadBoard(view, units=units))
        table = view.table(units)
        words = as_table(
            table.columns, table.T.to_dict("list"), notes=[view.words(units)],
            spoken=board.describe(view),
        )  # fmt: skip
        return view, board.render(view), words

    def _describe(self, units):
        return f"{self.view.words(units)} {self.tolerances.words(units)}"


def spread(vehicle, setup=None, **options):
    """How sure a set-up is, by both habits. Options as for `SpreadPanel`."""
    return SpreadPanel(vehicle, setup, **options)


def spread_numbers(panel_or_habits, *, units="us"):
    """The readout as lines of text; arguments as for `suspkit.panels.live.numbers`."""
    return lines_of(panel_or_habits, lambda view, u: view.table(u).T.to_dict("list"), units=units)


# --- road test ------------------------------------------------------------------------------------

READ = {
    "tape": ("heights", "gaps"),
    "+ scales": ("heights", "gaps", "scales"),
    "+ caliper": ("heights", "gaps", "scales", "collars"),
    "+ at contact": ("heights", "gaps", "scales", "collars"),
}
"""What is read, by the choice that asks for it; only the last reads the caliper at contact."""


class RoadTestPanel(LivePanel):
    """A made-up vehicle with a collar miscounted or not, read, and what the log tells of it.

    Parameters
    ----------
    vehicle : Vehicle
    setup : Setup, optional
        The current one if not given.
    load : str, optional
        The vehicle's usual load if not given, nothing aboard if None.
    corner : str
        Where the collar is miscounted.
    short : int
        Turns it is short; below zero too far, zero for no mistake.
    read : str
        Of `READ`.
    units : {"us", "metric"}

    Attributes
    ----------
    view : RoadTest
        What is shown now.
    """

    def __init__(
        self, vehicle, setup=None, *, load=USUAL, corner="rear_left", short=1, read="tape",
        units="us",
    ):  # fmt: skip
        self._quiet, self.vehicle = True, vehicle
        known_name(corner, CORNERS, "corner", "a corner")
        known_name(read, READ, "read", "one of")
        self.rides = fitting.road_test(vehicle, setup, load=load)
        slider = {"layout": widgets.Layout(width="22em"), "style": {"description_width": "7em"}}
        controls = {
            "corner": widgets.Dropdown(
                options=[(name.replace("_", " "), name) for name in CORNERS], value=corner,
                description="corner", layout=widgets.Layout(width="15em"),
                style={"description_width": "4em"},
            ),
            "short": widgets.IntSlider(
                min=-2, max=2, value=short, description="turns short", **slider
            ),
            "vehicle": widgets.IntSlider(min=1, max=30, description="which vehicle", **slider),
            "read": widgets.ToggleButtons(
                options=list(READ), value=read, description="read",
                style={"button_width": "8em", "description_width": "4em"},
                layout=widgets.Layout(width="max-content"),
            ),
            "units": units_control(units),
        }  # fmt: skip
        rows = [[controls[n] for n in ("corner", "short", "vehicle")]]
        self._lay_out(controls, [*rows, [controls["read"], controls["units"]]])

    def _show(self, units):
        chosen = {name: control.value for name, control in self.controls.items()}
        slips = ()
        if chosen["short"]:
            slips = (
                fitting.Slip(
                    kind="miscount", rides=tuple(range(1, len(self.rides))),
                    corner=chosen["corner"], size=-float(chosen["short"]),
                ),
            )  # fmt: skip
        done, truth = fitting.pretend(
            self.vehicle, self.rides, seed=chosen["vehicle"], read=READ[chosen["read"]],
            slips=slips,
        )  # fmt: skip
        if chosen["read"] == "+ caliper":
            done = (replace(done[0], collars=UNREAD), *done[1:])
        view = RoadTest(
            fit=fitting.fit(self.vehicle, done), truth=truth, read=chosen["read"],
            made=str(slips[0]) if slips else NO_SLIP,
        )  # fmt: skip
        board = self._board(units, lambda: RoadTestBoard(view, units=units))
        words = as_table(
            [], road_test_readout(view, units), notes=[flag.sentence for flag in view.fit.flags],
            spoken=board.describe(view),
        )  # fmt: skip
        return view, board.render(view), words

    def _describe(self, units):
        rows = [
            f"{label} {texts[0]}" for label, texts in road_test_readout(self.view, units).items()
        ]
        return f"Road test, ride height and collar turns against the log: {'; '.join(rows)}."


def road_test_readout(view, units):
    """What was read, what was made, what was named, and how sure the estimates are."""
    named = "; ".join(str(flag.slip or "does not fit") for flag in view.fit.flags)
    rows = {
        "read": [view.read],
        "really": [view.made],
        "named": [named or "nothing"],
        "likeliest": [f"{words}, {percent(chance)}" for words, chance in likeliest(view, 1)],
    }
    shown = learned(view.fit).items()
    return {k: v for k, v in rows.items() if v[0]} | {
        name: [f"{plus_minus(one, units)}, {one.learned:.0%} learned"] for name, one in shown
    }


def road_test(vehicle, setup=None, **options):
    """A made-up vehicle read, and what is learned of it. Options as for `RoadTestPanel`."""
    return RoadTestPanel(vehicle, setup, **options)


def road_test_numbers(panel_or_view, *, units="us"):
    """The readout as lines of text; arguments as for `suspkit.panels.live.numbers`."""
    return lines_of(panel_or_view, road_test_readout, units=units)
