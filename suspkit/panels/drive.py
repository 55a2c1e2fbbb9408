"""Controls that move clicks and drives, live. No physics and no drawing here."""

from __future__ import annotations

import ipywidgets as widgets

from suspkit.charts.drive import RideBoard, ride_rows
from suspkit.dynamics.view import CLICK_TRIALS, FRAME, TRIALS, Bench, cautions, in_words, readout
from suspkit.panels.live import (
    GAP_STEPS,
    LivePanel,
    as_table,
    axle_control,
    lines_of,
    load_control,
    offer,
    units_control,
)
from suspkit.units import show
from suspkit.vehicle.entrance import USUAL, with_setup
from suspkit.vehicle.setup import AXLES
from suspkit.vehicle.vehicle import known_name

PAUSE = 100
"""Time between two frames when playing [ms]; five times slower than life."""

_NARROW = {"description_width": "4em"}


def _choices(vehicle, load, units):
    """The controls both panels have."""
    return {
        "load": load_control(vehicle, load, width="14em"),
        "units": units_control(units),
    }  # fmt: skip


def _trial_controls(trials, name, units):
    """A choice of event, and how hard it is."""
    known_name(name, trials, "event", "an event")
    known_name(units, GAP_STEPS, "units", "a system")
    trial = trials[name]
    return {
        "event": widgets.Dropdown(
            options=list(trials), value=name, description="event",
            layout=widgets.Layout(width="14em"), style=_NARROW,
        ),
        "level": widgets.SelectionSlider(
            options=_levels(trial, units), value=trial.level, description="how hard",
            layout=widgets.Layout(width="22em"), style={"description_width": "5.5em"},
        ),
    }  # fmt: skip


def _levels(trial, units):
    return [
        (show(level, trial.kind, units, digits=trial.digits[units]), level)
        for level in trial.levels
    ]


class RidePanel(LivePanel):
    """An event driven in two set-ups; what both panels of a ride have in common."""

    KIND = ""
    TRIALS: dict = {}

    def _react(self, change):
        if change["owner"] in (self.controls["event"], self.controls["units"]):
            trial, level = self.TRIALS[self.controls["event"].value], self.controls["level"]
            kept = level.value if change["owner"] is self.controls["units"] else trial.level
            offer(level, _levels(trial, self.controls["units"].value), kept)

    def _event(self):
        """The event the controls stand for; the same object as long as they do not move."""
        key = (self.controls["event"].value, self.controls["level"].value)
        if key not in self._events:
            self._events[key] = self.TRIALS[key[0]].event(key[1])
        return self._events[key]

    def _picture(self, view, units, *fixed, axle="front"):
        """The board for all that sets its axes, moved to this view."""
        rows, size = ride_rows(self.KIND, axle)
        key = (axle, units, self.controls["event"].value, self.controls["load"].value, *fixed)
        board = self._board(key, lambda: RideBoard(view, rows, units=units, size=size))
        return board.render(view)

    def _words(self, view, units):
        says = self.TRIALS[self.controls["event"].value].says
        return as_table(
            view.labels, {"event": (says, "the same")[: len(view.labels)], **readout(view, units)},
            notes=cautions(view), spoken=in_words(view, units),
        )  # fmt: skip

    def _describe(self, units):
        return in_words(self.view, units)


class ClickerPanel(RidePanel):
    """Clicks of every adjuster: what they do to force, damping ratio and one event.

    Parameters
    ----------
    vehicle : Vehicle
    setup : str, optional
        Name of the set-up; the current one if not given.
    event : str
        Of `suspkit.dynamics.view.CLICK_TRIALS`.
    load : str, optional
        The vehicle's usual load if not given, nothing aboard if None.
    axle : {"front", "rear"}
        The axle drawn in detail.
    units : {"us", "metric"}

    Attributes
    ----------
    view : RideView
        What is shown now: as set, and all clickers mid-range.
    """

    KIND, TRIALS = "clicks", CLICK_TRIALS

    def __init__(self, vehicle, setup=None, *, event="step", load=USUAL, axle="front", units="us"):
        self._quiet, self._events = True, {}
        vehicle, name = with_setup(vehicle, setup)
        self.vehicle, self._setup = vehicle, vehicle.setups[name]
        # Left and right are set alike, so half a vehicle tells as much in half the time.
        self._bench = Bench(vehicle, model="half")
        choices = _trial_controls(self.TRIALS, event, units) | _choices(vehicle, load, units)
        choices["axle"] = axle_control(axle)
        clickers = self._clickers()
        self._lay_out(choices | clickers, [list(choices.values()), list(clickers.values())])

    def _clickers(self):
        made = {}
        for axle, (left, _right) in AXLES.items():
            shock = self.vehicle.axle_of(left).shock
            names = shock.damper.adjusters if shock.damper else ()
            for name in names:
                clicker = shock.clickers[name]
                now = getattr(self._setup, left).clicks.get(name, clicker.middle)
                made[f"{axle}_{name}"] = widgets.IntSlider(
                    min=0, max=int(clicker.count), value=int(now),
                    description=f"{axle} {name}", style={"description_width": "9.5em"},
                    layout=widgets.Layout(width="27em"),
                )  # fmt: skip
        return made

    @property
    def setup(self):
        """The set-up the controls stand for."""
        setup = self._setup
        for axle, (left, _right) in AXLES.items():
            own = {
                name: self.controls[key].value
                for name in self.vehicle.axle_of(left).shock.clickers
                if (key := f"{axle}_{name}") in self.controls  # one that sets the damper
            }
            setup = setup.change(axle, clicks=getattr(setup, left).clicks | own)
        return setup

    def _show(self, units):
        middle = self._setup
        for axle, (left, _right) in AXLES.items():
            clickers = self.vehicle.axle_of(left).shock.clickers
            middle = middle.change(axle, clicks={n: c.middle for n, c in clickers.items()})
        view = self._bench.look(
            {"as set": self.setup, "all mid-range": middle}, load=self.controls["load"].value,
            event=self._event(), clicks=True,
        )  # fmt: skip
        others = tuple(
            control.value for name, control in self.controls.items() if name.endswith("-high")
        )
        axle = self.controls["axle"].value
        picture = self._picture(view, units, *others, axle=axle)
        return view, picture, self._words(view, units)


class RoadPanel(RidePanel):
    """One event in two set-ups: the vehicle and its shocks as they move, and what came of it.

    Parameters
    ----------
    vehicle : Vehicle
    setups : dict of str to Setup, optional
        Set-ups to choose from, by what to call them; the vehicle's own if not given.
    event : str
        Of `suspkit.dynamics.view.TRIALS`.
    load : str, optional
        The vehicle's usual load if not given, nothing aboard if None.
    units : {"us", "metric"}

    Attributes
    ----------
    view : RideView
        What is shown now.

    Raises
    ------
    ValueError
        If a name is not known, or there is no set-up.
    """

    KIND, TRIALS = "road", TRIALS

    def __init__(self, vehicle, *, setups=None, event="g-out", load=USUAL, units="us"):
        self._quiet, self._events = True, {}
        self.vehicle, self._bench = vehicle, Bench(vehicle)
        self._setups = dict(vehicle.setups if setups is None else setups)
        names = list(self._setups)
        if not names:
            raise ValueError("setups is empty; expected one set-up or more")
        choices = _trial_controls(self.TRIALS, event, units) | _choices(vehicle, load, units)
        for place, name in (("solid", names[0]), ("dashed", names[-1])):
            choices[place] = widgets.Dropdown(
                options=names, value=name, description=place,
                layout=widgets.Layout(width="16em"), style=_NARROW,
            )  # fmt: skip
        choices["moving"] = widgets.ToggleButtons(
            options=[("move solid", 0), ("move dashed", 1)],
            style={"button_width": "9.5em"},
        )
        frames = round(self.TRIALS[event].duration / FRAME)
        choices["moment"] = widgets.IntSlider(
            min=0, max=frames, value=0, description="moment", readout=False,
            layout=widgets.Layout(width="22em"), style={"description_width": "5.5em"},
        )  # fmt: skip
        self.play = widgets.Play(min=0, max=frames, interval=PAUSE, description="play")
        # In the page: the slider keeps the beat, and the kernel follows the slider.
        widgets.jslink((self.play, "value"), (choices["moment"], "value"))
        rows = [
            [choices[n] for n in ("event", "level", "load", "units")],
            [choices[n] for n in ("solid", "dashed", "moving")],
            [self.play, choices["moment"]],
        ]
        self._lay_out(choices, rows)

    def set(self, **values):
        """Move controls as a hand would; see `controls` for their names."""
        if "moment" in values:  # a page opens its link with what the button holds
            self.play.value = values["moment"]
        super().set(**values)

    def _react(self, change):
        super()._react(change)
        if change["owner"] is self.controls["event"]:
            frames = round(self.TRIALS[change["new"]].duration / FRAME)
            moment = self.controls["moment"]
            moment.value = min(moment.value, frames)
            moment.max = self.play.max = frames

    def _show(self, units):
        solid, dashed = self.controls["solid"].value, self.controls["dashed"].value
        setups = {solid: self._setups[solid], dashed: self._setups[dashed]}
        view = self._bench.look(
            setups, load=self.controls["load"].value, event=self._event(),
            shown=min(self.controls["moving"].value, len(setups) - 1),
            moment=self.controls["moment"].value * FRAME,
        )  # fmt: skip
        # The two may have another number of springs to draw.
        picture = self._picture(view, units, solid, dashed, self.controls["moving"].value)
        return view, picture, self._words(view, units)


def clicker(vehicle, setup=None, **options):
    """Clicks against force, damping ratio and one event. Options as for `ClickerPanel`."""
    return ClickerPanel(vehicle, setup, **options)


def road(vehicle, **options):
    """One event in two set-ups. Options as for `RoadPanel`."""
    return RoadPanel(vehicle, **options)


def numbers(panel_or_view, *, units="us"):
    """The readout as lines of text; arguments as for `suspkit.panels.live.numbers`."""
    return lines_of(panel_or_view, readout, units=units)


__all__ = ["ClickerPanel", "RidePanel", "RoadPanel", "clicker", "numbers", "road"]
