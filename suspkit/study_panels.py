"""Controls that move the pictures of studies."""

from __future__ import annotations

from dataclasses import dataclass, replace
from threading import Event, Thread

import ipywidgets as widgets
import numpy as np

from suspkit import fitting
from suspkit.choosing import OBJECTIVES, KitTargets, choose_springs
from suspkit.corner import assemble
from suspkit.panels import GAP_STEPS, LivePanel, Panel, _gap_options, as_table, lines_of
from suspkit.ride_view import TRIALS
from suspkit.rides import UNREAD
from suspkit.rolling import roll_balance
from suspkit.setup import (
    AXLES,
    CORNERS,
)
from suspkit.study_charts import (
    NO_SLIP,
    ROAD_TEST,
    ROLL,
    KitBoard,
    KitView,
    RoadTest,
    RoadTestBoard,
    RollBoard,
    RollView,
    SpreadBoard,
    WhatIf,
    WhatIfBoard,
    _plus_minus,
    kit_rows,
    learned,
    likeliest,
    percent,
    spread_rows,
)
from suspkit.tolerance import Tolerances, compare_habits
from suspkit.units import GRAVITY, INCH, POUND, from_unit, show, to_unit, unit_label
from suspkit.vehicle import known_name
from suspkit.view import look
from suspkit.whatif import MEASURES, NOT_DONE, RUN_MEASURES, sweep

# --- what if -------------------------------------------------------------------------------------

STANDING = "standing"
"""The choice of no event."""

EACH = {"each load": "load", "each set-up": "setup"}
"""What makes a line each, by the choice that asks for it."""

FINE, COARSE, MAPPED, DRIVEN = 61, 25, 31, 9
"""Values tried of a number of the set-up, of one of the vehicle, each way on a map, and driven."""


@dataclass(frozen=True, kw_only=True)
class Parameter:
    """A number that a panel can vary.

    Attributes
    ----------
    path : str
        As `suspkit.sweep` takes it.
    kind : str
        Of quantity.
    now : float
        Where it stands [SI].
    low, high : float
        Range that makes sense [SI].
    """

    path: str
    kind: str
    now: float
    low: float
    high: float


_STEPS = {
    "turns": (0.5, 0.5), "length": (0.125, 2.0), "rate": (5.0, 1.0), "pressure": (5.0, 0.5),
    "mass": (5.0, 2.0), "clicks": (1.0, 1.0),
}  # fmt: skip
"""Step of the range slider by kind of quantity [US unit, metric unit]."""


def parameters(vehicle, setup, *, load=None):
    """What there is to vary, by what to call it.

    Parameters
    ----------
    vehicle : Vehicle
    setup : Setup
    load : str, optional

    Returns
    -------
    dict of str to Parameter
    """
    found = {}
    for axle, (left, _right) in AXLES.items():
        corner, own = getattr(setup, left), vehicle.axle_of(left)
        found[f"{axle} collar turns"] = Parameter(
            path=f"setup.{axle}.turns", kind="turns", now=float(corner.turns), low=0.0, high=12.0
        )
        if isinstance(corner.gap, float):
            found[f"{axle} stop gap"] = Parameter(
                path=f"setup.{axle}.gap", kind="length", now=corner.gap, low=0.0, high=6 * INCH
            )
        for name in vehicle.stacks[corner.stack].springs:
            rate = vehicle.springs[name].rate
            if rate is not None:
                found[f"rate of {name}"] = _around(f"vehicle.springs.{name}.rate", "rate", rate)
        found[f"{axle} tyre rate"] = _around(f"vehicle.{axle}.tyre.rate", "rate", own.tyre.rate)
        if own.shock.gas is not None:
            found[f"{axle} gas pressure"] = _around(
                f"vehicle.{axle}.shock.gas.pressure", "pressure", own.shock.gas.pressure
            )
        for name, clicker in own.shock.clickers.items():
            found[f"{axle} {name} clicks"] = Parameter(
                path=f"setup.{axle}.clicks.{name}", kind="clicks", low=0.0, high=clicker.count,
                now=float(corner.clicks.get(name, clicker.middle)),
            )  # fmt: skip
    for name in dict.fromkeys(vehicle.loads[load].items if load else ()):
        mass = vehicle.items[name].mass
        found[f"mass of {name}"] = Parameter(
            path=f"vehicle.items.{name}.mass", kind="mass", now=mass, low=0.0, high=2 * mass
        )
    return found


def _around(path, kind, now):
    return Parameter(path=path, kind=kind, now=now, low=0.6 * now, high=1.4 * now)


class WhatIfPanel(LivePanel):
    """One number varied, or two: what comes of it, standing or driven.

    Parameters
    ----------
    vehicle : Vehicle
    setup : str, optional
        Name of the set-up; the current one if not given.
    vary : str
        Of `parameters`.
    shows : str
        Of `suspkit.whatif.MEASURES`, one of standing.
    also : str
        "nothing else", one of `EACH`, or a second one of `parameters` for a map.
    load : str, optional
        The vehicle's target load if not given.
    units : {"us", "metric"}

    Attributes
    ----------
    view : WhatIf
        What is shown now.
    controls : dict of str to widget
    bar, stop : widget
        How far the drives are, and the button that cancels them; shown while it drives.
    error : str
        The sentence shown in place of a chart that cannot be made; empty if all is well.
    """

    def __init__(
        self, vehicle, *, setup=None, vary="front collar turns", shows="front_height",
        also="nothing else", load=None, units="us",
    ):  # fmt: skip
        self._quiet, self._drives, self._done = True, None, (None, None)
        name = vehicle.current if setup is None else setup
        known_name(name, vehicle.setups, "setup", "a set-up of the vehicle")
        known_name(units, GAP_STEPS, "units", "a system")
        self.vehicle, self._name, self._setup = vehicle, name, vehicle.setups[name]
        made = {
            "units": widgets.ToggleButtons(
                options=[("US units", "us"), ("metric", "metric")], value=units,
                style={"button_width": "7em"},
            ),
        }  # fmt: skip
        if load is None:
            load = vehicle.targets.load if vehicle.targets else next(iter(vehicle.loads), None)
        else:
            known_name(load, vehicle.loads, "load", "a load of the vehicle")
        self.known = parameters(vehicle, self._setup, load=load)
        known_name(vary, self.known, "vary", "one of")
        known_name(shows, [name for _, name in _outputs(False)], "shows", "one of")
        others = ["nothing else", *EACH, *self.known]
        known_name(also, others, "also", "one of")
        made |= {
            "vary": _dropdown("vary", list(self.known), vary),
            "also": _dropdown("and", others, also),
            "shows": _dropdown("see", _outputs(False), shows),
            "event": _dropdown("how", [STANDING, *TRIALS], STANDING),
            "load": _dropdown("load", list(vehicle.loads) or [("as weighed", None)], load),
            "range": widgets.FloatRangeSlider(
                description="from, to", layout=widgets.Layout(width="30em"),
                style={"description_width": "5em"}, continuous_update=False,
            ),
        }  # fmt: skip
        self.bar = widgets.IntProgress(description="driving", layout={"display": "none"})
        self.stop = widgets.Button(description="cancel", layout={"display": "none"})
        self.stop.on_click(lambda _button: self.cancel())
        self._span(made, self.known[vary].low, self.known[vary].high)
        rows = [
            [made[n] for n in ("vary", "also", "shows")],
            [made[n] for n in ("range", "event", "load", "units")],
            [self.bar, self.stop],
        ]
        self._lay_out(made, rows)

    def _span(self, controls, low, high):
        """Fit the slider to the parameter, set to a part of its range [SI]."""
        known, units = self.known[controls["vary"].value], controls["units"].value
        step = _STEPS[known.kind][units == "metric"]
        least, most, low, high = (
            round(to_unit(v, known.kind, units) / step) * step
            for v in (known.low, known.high, low, high)
        )
        slider = controls["range"]
        # Wide open first: a slider takes no bound on the wrong side of the other.
        slider.min, slider.max = -1e9, 1e9
        slider.value = (low, max(high, low + step))
        slider.min, slider.max, slider.step = least, max(most, least + step), step
        slider.readout_format = ".0f" if step >= 1 else ".2f"
        slider.description = unit_label(known.kind, units)

    def _limits(self, units):
        kind = self.known[self.controls["vary"].value].kind
        return tuple(float(from_unit(v, kind, units)) for v in self.controls["range"].value)

    def _react(self, change):
        owner, known = change["owner"], self.known[self.controls["vary"].value]
        if owner is self.controls["vary"]:
            self._span(self.controls, known.low, known.high)
        elif owner is self.controls["units"]:
            self._span(self.controls, *self._limits(change["old"]))
        elif owner is self.controls["event"]:
            shows, options = self.controls["shows"], _outputs(change["new"] != STANDING)
            if options != list(shows.options):
                shows.options = options  # and its value the first of them

    def _values(self, known, low, high):
        count = COARSE if known.path.startswith("vehicle") else FINE
        if self.controls["event"].value != STANDING:
            count = DRIVEN
        if self.controls["also"].value in self.known:
            count = min(count, MAPPED)
        if known.kind == "clicks":
            return list(range(round(low), round(high) + 1))
        at = np.linspace(low, high, count)
        return np.union1d(at, [known.now]) if low < known.now < high else at

    def _question(self):
        """What `suspkit.sweep` is to be asked."""
        shown = {name: control.value for name, control in self.controls.items()}
        known, also = self.known[shown["vary"]], self.known.get(shown["also"])
        low, high = self._limits(shown["units"])
        how = {"setup": self._setup, "load": shown["load"], "measure": [shown["shows"]]}
        how["vary"] = {known.path: self._values(known, low, high)}
        if also is known:
            raise ValueError(f"and is {shown['also']!r}, as vary; expected another one")
        if also is not None:
            how["vary"][also.path] = self._values(also, also.low, also.high)
        elif shown["also"] == "each load":
            how["load"] = list(self.vehicle.loads)
        elif shown["also"] == "each set-up":
            how["setup"] = self.vehicle.setups
        if shown["event"] != STANDING:
            trial = TRIALS[shown["event"]]
            how["event"] = trial.event(trial.level)
        return how

    def refresh(self):
        """Show what the controls say: at once, or when it is driven where it has to be."""
        driven = self.controls["event"].value != STANDING
        asked = tuple(str(control.value) for control in self.controls.values())
        if driven and asked == self._done[0]:
            return super().refresh()
        drives, self._drives = self._drives, None
        if drives is not None:
            drives[0].set()
            drives[1].join()
        if not driven:
            return super().refresh()
        try:
            self._drive(asked, self._question())
        except Exception as error:  # as in `LivePanel.refresh`
            self._fail(error)

    def _drive(self, asked, question):
        """Drive beside the page, which would else stand still and not hear the button."""

        def count(done, total):
            self.bar.max, self.bar.value = total, done

        def work():
            try:
                table = sweep(self.vehicle, progress=count, cancel=stop, **question)
                if self._drives is mine:
                    self._done = (asked, table)
                    LivePanel.refresh(self)
                    # What was cancelled is driven when it is asked for again.
                    self._done = (asked if not stop.is_set() else None, table)
            except Exception as error:  # as in `LivePanel.refresh`
                self._fail(error)
            self.bar.layout.display = self.stop.layout.display = "none"

        stop = Event()
        self._drives = mine = (stop, Thread(target=work, daemon=True))
        self.bar.value, self.bar.layout.display, self.stop.layout.display = 0, None, None
        self.chart.layout.visibility, self.words.value = "hidden", "Driving ..."
        mine[1].start()

    def cancel(self):
        """Stop driving; what is done by then is shown."""
        if self._drives is not None:
            self._drives[0].set()

    def wait(self):
        """Wait until all is driven."""
        if self._drives is not None:
            self._drives[1].join()

    def _show(self, units):
        shown = {name: control.value for name, control in self.controls.items()}
        table = self._done[1]
        if shown["event"] == STANDING:
            table = sweep(self.vehicle, **self._question())
        known, also = self.known[shown["vary"]], self.known.get(shown["also"])
        by = also.path if also else EACH.get(shown["also"], "")
        words = {one.path: name for name, one in self.known.items()}
        view = WhatIf(
            table=table, across=known.path, shows=shown["shows"], by=by if by in table else "",
            now={one.path: one.now for one in self.known.values()},
            words=words | {name: said for name, (said, _) in MEASURES.items()},
            own=self._name if by == "setup" else "",
            title=self._title(units), units=units,
        )  # fmt: skip
        picture = self._board("what if", WhatIfBoard).render(view)
        words = as_table(
            ("from", "as set", "to"), what_if_readout(view), notes=what_if_notes(view),
            spoken=what_if_words(view),
        )  # fmt: skip
        return view, picture, words

    def _title(self, units):
        event, load = self.controls["event"].value, self.controls["load"].value
        aboard = "each load" if self.controls["also"].value == "each load" else load or "as weighed"
        if event == STANDING:
            return f"standing, {aboard}"
        trial = TRIALS[event]
        level = show(trial.level, trial.kind, units, trial.digits[units])
        return f"{event}, {level}: {trial.says}; {aboard}"

    def _describe(self, units):
        return what_if_words(self.view)


def _dropdown(description, options, value):
    return widgets.Dropdown(
        options=options, value=value, description=description,
        layout=widgets.Layout(width="19em"), style={"description_width": "3em"},
    )  # fmt: skip


def _outputs(driven):
    """What can be seen of a stance, or of a run: words and column."""
    return [
        (words, name) for name, (words, _) in MEASURES.items() if (name in RUN_MEASURES) == driven
    ]


def what_if_readout(view):
    """The numbers of each line at both ends of what is varied, and as set.

    Parameters
    ----------
    view : WhatIf

    Returns
    -------
    dict of str to list of str
        "–" where it is not set within the range. Of a map, the row nearest to how it is set.
    """
    low, high = view.table[view.across].min(), view.table[view.across].max()
    places = (low, view.now.get(view.across, np.nan), high)
    rows = {view.words[view.across]: [view.say(view.across, place) for place in places]}
    for label, line in view.lines().items():
        at = line.set_index(view.across)[view.shows]
        name = ", ".join(filter(None, [view.words[view.shows], label]))
        rows[name] = [view.say(view.shows, at.get(place, np.nan)) for place in places]
    return rows


def what_if_notes(view):
    """What keeps rows of the table from being done, a sentence each.

    Parameters
    ----------
    view : WhatIf

    Returns
    -------
    list of str
    """
    table, count = view.table, len(view.table)
    left = table["problem"] == NOT_DONE
    odd, nothing = (table["problem"] != "") & ~left, table[view.shows].isna()
    notes = [f"Cancelled: {left.sum()} of {count} were not worked out."] if left.any() else []
    for what, which in (("cannot be", odd & nothing), ("are out of reach", odd & ~nothing)):
        if which.any():
            first = table[which].iloc[0]
            at = view.say(view.across, first[view.across])
            notes.append(f"{which.sum()} of {count} {what}; at {at}: {first['problem']}.")
    return notes


def what_if_words(view):
    """The picture in words.

    Parameters
    ----------
    view : WhatIf

    Returns
    -------
    str
    """
    rows = iter(what_if_readout(view).items())
    name, (low, now, high) = next(rows)
    said = "; ".join(f"{line} {a} to {c} (as set {b})" for line, (a, b, c) in rows)
    title, name = (words[:1].upper() + words[1:] for words in (view.title, name))
    return f"{title}. {name} {low} to {high} (as set {now}): {said}."


def what_if_numbers(panel_or_view):
    """The readout as lines of text, for a notebook cell that is checked.

    Parameters
    ----------
    panel_or_view : WhatIfPanel or WhatIf

    Returns
    -------
    str
    """
    return lines_of(panel_or_view, lambda view, _: what_if_readout(view), units="us")


def what_if(vehicle, **options):
    """One number varied, or two, and what comes of it. Options as for `WhatIfPanel`."""
    return WhatIfPanel(vehicle, **options)


# ------------------------------------------------------------------------------------ how sure

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
        The vehicle's target load if not given.
    units : {"us", "metric"}
    count : int
        Vehicles by each habit.

    Attributes
    ----------
    view : Habits
        What is shown now.
    controls : dict of str to widget
        ``load``, ``units`` and one for each field of `suspkit.tolerance.Tolerances`.
    error : str
        The sentence shown in place of a chart that cannot be made; empty if all is well.
    """

    def __init__(self, vehicle, *, setup=None, load=None, units="us", count=SPREAD_COUNT):
        self._quiet, self.vehicle, self.setup, self._count = True, vehicle, setup, count
        known_name(units, _TOLERANCE_DIGITS, "units", "a system")
        if load is None:
            load = vehicle.targets.load if vehicle.targets else next(iter(vehicle.loads), None)
        else:
            known_name(load, vehicle.loads, "load", "a load of the vehicle")
        choices = {
            "load": widgets.Dropdown(
                options=list(vehicle.loads) or [("as weighed", None)], value=load,
                description="load", layout=widgets.Layout(width="14em"),
                style={"description_width": "4em"},
            ),
            "units": widgets.ToggleButtons(
                options=[("US units", "us"), ("metric", "metric")], value=units,
                style={"button_width": "7em"},
            ),
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
                kept = control.value
                control.options = self._steps(name, change["new"])
                control.value = kept

    def _show(self, units):
        load = self.controls["load"].value
        view = compare_habits(
            self.vehicle, self.setup, load=load, count=self._count, tolerances=self.tolerances
        )
        rows, size = spread_rows()
        board = self._board((units, load), lambda: SpreadBoard(view, rows, units=units, size=size))
        table = view.table(units)
        words = as_table(
            table.columns, table.T.to_dict("list"), notes=[view.words(units)],
            spoken=board.describe(view),
        )  # fmt: skip
        return view, board.render(view), words

    def _describe(self, units):
        return f"{self.view.words(units)} {self.tolerances.words(units)}"


def spread(vehicle, **options):
    """How sure a set-up is, by both habits. Options as for `SpreadPanel`."""
    return SpreadPanel(vehicle, **options)


def spread_numbers(panel_or_habits, *, units="us"):
    """The readout as lines of text, for a notebook cell that is checked.

    Parameters
    ----------
    panel_or_habits : SpreadPanel or Habits
    units : {"us", "metric"}

    Returns
    -------
    str
    """
    return lines_of(panel_or_habits, lambda view, u: view.table(u).T.to_dict("list"), units=units)


# ------------------------------------------------------------------------------------ road test

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
        The vehicle's target load if not given.
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
    controls : dict of str to widget
    error : str
        The sentence shown in place of a chart that cannot be made; empty if all is well.
    """

    def __init__(
        self, vehicle, *, setup=None, load=None, corner="rear_left", short=1, read="tape",
        units="us",
    ):  # fmt: skip
        self._quiet, self.vehicle = True, vehicle
        known_name(corner, CORNERS, "corner", "a corner")
        known_name(read, READ, "read", "one of")
        if load is None:
            load = vehicle.targets.load if vehicle.targets else None
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
            ),
            "units": widgets.ToggleButtons(
                options=[("US units", "us"), ("metric", "metric")], value=units,
                style={"button_width": "7em"},
            ),
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
        rows, size = ROAD_TEST
        board = self._board(units, lambda: RoadTestBoard(view, rows, units=units, size=size))
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
    """What was read, what was made, what was named, and how sure the estimates are.

    Parameters
    ----------
    view : RoadTest
    units : {"us", "metric"}

    Returns
    -------
    dict of str to list of str
    """
    named = "; ".join(str(flag.slip or "does not fit") for flag in view.fit.flags)
    rows = {
        "read": [view.read],
        "really": [view.made],
        "named": [named or "nothing"],
        "likeliest": [f"{words}, {percent(chance)}" for words, chance in likeliest(view, 1)],
    }
    shown = learned(view.fit).items()
    return {k: v for k, v in rows.items() if v[0]} | {
        name: [f"{_plus_minus(one, units)}, {one.learned:.0%} learned"] for name, one in shown
    }


def road_test(vehicle, **options):
    """A made-up vehicle read, and what is learned of it. Options as for `RoadTestPanel`."""
    return RoadTestPanel(vehicle, **options)


def road_test_numbers(panel_or_view, *, units="us"):
    """The readout as lines of text, for a notebook cell that is checked.

    Parameters
    ----------
    panel_or_view : RoadTestPanel or RoadTest
    units : {"us", "metric"}

    Returns
    -------
    str
    """
    return lines_of(panel_or_view, road_test_readout, units=units)


# --- choose springs ------------------------------------------------------------------------------

KIT_TURNS = (*range(2, 13), *range(14, 41, 2))
"""Collar turns the panel looks at: whole ones where a kit should be, every other one beyond."""

ON_THE_LINE = 20
"""Steps of the control that goes along the front."""


class KitPanel(LivePanel):
    """Targets of one axle, the kits of the rack that meet them, and the force curve of one.

    The rack is searched once for an axle and a load, with no target but what can be built; the
    sliders then narrow what was found.

    Parameters
    ----------
    vehicle : Vehicle
    setup : Setup, optional
        The current one if not given; the other axle stays as it says.
    axle : {"front", "rear"}
    load : str, optional
        The vehicle's target load if not given.
    rack : dict of str to Spring, optional
        The vehicle's springs if not given.
    units : {"us", "metric"}

    Attributes
    ----------
    view : KitView
        What is shown now.
    controls : dict of str to widget
    error : str
        The sentence shown in place of a chart that cannot be made; empty if all is well.
    """

    WORDS = {
        "load": "load", "height": "ride height", "load_factor": "load factor from",
        "turns": "most turns", "ring": "ring met at", "across": "across", "up": "up",
        "along": "along the line",
    }  # fmt: skip
    """What the controls are called in the panel."""

    def __init__(self, vehicle, *, setup=None, axle="rear", load=None, rack=None, units="us"):
        self._quiet, self.vehicle, self._searched = True, vehicle, {}
        self._setup, self._rack = vehicle.setup if setup is None else setup, rack
        known_name(axle, AXLES, "axle", "an axle")
        if load is None:
            load = vehicle.targets.load if vehicle.targets else next(iter(vehicle.loads), None)
        known_name(load, vehicle.loads, "load", "a load of the vehicle")
        wide = {"layout": widgets.Layout(width="25em"), "style": {"description_width": "9.5em"}}
        controls = {
            "axle": widgets.ToggleButtons(
                options=[(f"{a} axle", a) for a in AXLES], value=axle, style={"button_width": "7em"}
            ),
            "load": widgets.Dropdown(
                options=list(vehicle.loads), value=load,
                layout=widgets.Layout(width="20em"), style={"description_width": "4em"},
            ),
            **{
                name: widgets.Dropdown(
                    options=[(aim.words, column) for column, aim in OBJECTIVES.items()],
                    value=value, layout=widgets.Layout(width="23em"),
                    style={"description_width": "4em"},
                )
                for name, value in (("across", "frequency"), ("up", "energy"))
            },
            "units": widgets.ToggleButtons(
                options=[("US units", "us"), ("metric", "metric")], value=units,
                style={"button_width": "7em"},
            ),
            "height": widgets.SelectionSlider(options=[("–", 0.0)], **wide),
            "load_factor": widgets.FloatSlider(
                min=1.5, max=4.0, step=0.1, readout_format=".1f", **wide
            ),
            "ring": widgets.SelectionRangeSlider(options=[("–", 0.0)], **wide),
            "turns": widgets.SelectionSlider(options=list(KIT_TURNS), value=24, **wide),
            "along": widgets.IntSlider(min=0, max=ON_THE_LINE, value=0, readout=False, **wide),
        }  # fmt: skip
        self.controls = controls
        self._aim()
        self._steps(units)
        for name, words in self.WORDS.items():
            controls[name].description = words
        rows = [("axle", "load", "units"), ("height", "load_factor", "turns", "ring")]
        rows += [("across", "up", "along")]
        self._lay_out(controls, [[controls[name] for name in row] for row in rows])

    @property
    def targets(self):
        """The targets the controls stand for."""
        value = {name: control.value for name, control in self.controls.items()}
        return KitTargets(
            load=value["load"], ride_height=value["height"],
            load_factor=value["load_factor"] - 1e-9,  # the slider's own rounding
            turns=(0.0, value["turns"]), crossover=value["ring"],
        )  # fmt: skip

    def _aim(self):
        """Start from what the vehicle's file aims at on this axle."""
        axle = self.controls["axle"].value
        part = getattr(self.vehicle, axle)
        full = float(part.motion.travel(part.shock.full_bump))
        # By the half inch of wheel travel, the last step past full bump.
        self._ring = [i * INCH / 2 for i in range(int(full / INCH * 2) + 2)]
        start = KitTargets.of(self.vehicle, axle=axle) if self.vehicle.targets else None
        height = start.ride_height if start else part.tyre.radius
        self._heights = [height + i * INCH / 8 for i in range(-32, 33)]
        self._start = {"height": height, "load_factor": max(1.5, start.load_factor if start else 0)}
        window = start.crossover if start else (0.0, np.inf)
        self._start["ring"] = tuple(
            min(self._ring, key=lambda step, end=end: abs(step - min(end, 2 * full)))
            for end in window
        )

    def _steps(self, units, keep=None):
        """Write the steps of the length sliders in the reader's unit, and set them."""
        values = self._start if keep is None else keep
        for name, steps in (("height", self._heights), ("ring", self._ring)):
            kind, digits = ("tape", None) if name == "height" else ("length", 1)
            words = [(show(step, kind, units, digits), step) for step in steps]
            control = self.controls[name]
            control.index = (0, 0) if name == "ring" else 0
            control.options = words
            control.value = values[name]
        if keep is None:
            self.controls["load_factor"].value = values["load_factor"]

    def _react(self, change):
        if change["owner"] is self.controls["axle"]:
            self._aim()
            self._steps(self.controls["units"].value)
        elif change["owner"] is self.controls["units"]:
            kept = {name: self.controls[name].value for name in ("height", "ring")}
            self._steps(change["new"], kept)

    def _every(self):
        """All kits of an axle in a load that can be built and stand within a hand of the target."""
        axle, load = self.controls["axle"].value, self.controls["load"].value
        if (axle, load) not in self._searched:
            targets = KitTargets(
                load=load, ride_height=self._heights[len(self._heights) // 2],
                height_within=5 * INCH, safety_factor=0.0,
            )  # fmt: skip
            self._searched[axle, load] = choose_springs(
                self.vehicle, self._setup, axle=axle, rack=self._rack, targets=targets,
                turns=KIT_TURNS,
            )  # fmt: skip
        return self._searched[axle, load]

    def _show(self, units):
        every = self._every()
        choice = every.narrowed(
            self.targets, objectives=[self.controls[name].value for name in ("across", "up")]
        )
        kit = seen = None
        if len(choice.front):
            last = len(choice.front) - 1
            kit = choice.front.iloc[round(self.controls["along"].value / ON_THE_LINE * last)]
            vehicle, setup = choice.fit(kit)
            seen = look(vehicle, setup, load=self.targets.load)
        view = KitView(every=every.kits, choice=choice, kit=kit, look=seen)
        rows, size = kit_rows(view)
        self._boards.clear()  # its axes are those of the kit
        board = self._board(units, lambda: KitBoard(view, rows, units=units, size=size))
        picture = board.render(view)
        words = as_table(
            [], kit_readout(view, units), notes=[] if kit is not None else choice.words,
            spoken=board.describe(view),
        )  # fmt: skip
        return view, picture, words

    def _describe(self, units):
        words = [f"{name} {texts[0]}" for name, texts in kit_readout(self.view, units).items()]
        return f"Kits for the {self.view.choice.axle}: {'; '.join(words)}."


def kit_readout(view, units):
    """How many kits there are, why not more, and the numbers of the one picked out.

    Parameters
    ----------
    view : KitView
    units : {"us", "metric"}

    Returns
    -------
    dict of str to list of str
    """
    choice, kit = view.choice, view.kit
    rows = {
        "kits": [f"{len(view.every)} can be built, {len(choice.kits)} meet the targets, "
                 f"{len(choice.front)} on the line"],
        "pairs left out by": ["; ".join(choice.reasons[:3]) or "nothing"],
    }  # fmt: skip
    if kit is None:
        return rows

    def said(name, kind=None, digits=None):
        return show(kit[name], kind or "length", units, digits)

    below = kit["to_crossover"]
    where = "to go from rest" if below > 0 else "before rest: it stands past it"
    heights = [f"{load} {said(f'height_{load}')}" for load in choice.loads]
    return rows | {
        "springs": [f"{kit['tender']} over {kit['main']}"],
        "turns from contact, stop gap": [f"{kit['turns']:g}, {said('gap', 'tape')}"],
        "ride height": [", ".join(heights)],
        "ride frequency": [f"{said('frequency', 'frequency')} as it stands, "
                           f"{said('frequency_below', 'frequency')} below the ring, "
                           f"{said('frequency_past', 'frequency')} past it"],
        "ring met": [f"at {said('crossover')} of wheel travel, "
                     f"{show(abs(below), 'length', units)} {where}"],
        "load factor": [f"{kit['load_factor']:.2f} in {choice.targets.load}"],
        "energy to full bump": [f"{said('energy', 'energy')} in the worst load"],
        "roll support": [f"{said('roll_without_bar', 'torsion')} bar off, "
                         f"{said('roll_with_bar', 'torsion')} bar on"],
        "room to bind, safety factor": [f"{said('room')}, {kit['safety_factor']:.2f}"],
        "compressor": [f"{said('squeeze')} at {said('compressor_force', 'force')}"],
    }  # fmt: skip


def kits(vehicle, **options):
    """Springs to choose from. Options as for `KitPanel`."""
    return KitPanel(vehicle, **options)


def kit_numbers(panel_or_view, *, units="us"):
    """The readout as lines of text, for a notebook cell that is checked.

    Parameters
    ----------
    panel_or_view : KitPanel or KitView
    units : {"us", "metric"}

    Returns
    -------
    str
    """
    return lines_of(panel_or_view, kit_readout, units=units)


# --- roll ----------------------------------------------------------------------------------------

ROLL_STEPS = tuple(i / 100 for i in range(0, 121, 5))
"""Turns the roll panel can hold, in g."""

CURVE = np.arange(51) * 0.025 * GRAVITY
"""Turns its curves are drawn through [m/s^2]; every other one is a step of the slider."""


class RollPanel(LivePanel):
    """Front and rear bar, front stop ring and a left turn: how far it leans and who carries it.

    Parameters
    ----------
    vehicle : Vehicle
    setup : Setup, optional
        The current one if not given.
    load : str, optional
        The vehicle's target load if not given.
    lateral : float
        Turn to start from, of those on the slider [g].
    units : {"us", "metric"}

    Attributes
    ----------
    view : RollView
        What is shown now.
    controls : dict of str to widget
    error : str
        The sentence shown in place of a chart that cannot be made; empty if all is well.
    """

    def __init__(self, vehicle, *, setup=None, load=None, lateral=0.3, units="us"):
        self._quiet, self.vehicle, self._known = True, vehicle, {}
        self._setup = vehicle.setup if setup is None else setup
        if load is None:
            load = vehicle.targets.load if vehicle.targets else next(iter(vehicle.loads), None)
        else:
            known_name(load, vehicle.loads, "load", "a load of the vehicle")
        known_name(lateral, dict.fromkeys(ROLL_STEPS), "lateral", "a step of the slider")
        own = self._setup.front_left.gap
        self._gap = own if np.ndim(own) == 0 else None
        wide = {"layout": widgets.Layout(width="25em"), "style": {"description_width": "8em"}}
        toggles = {
            name: widgets.ToggleButtons(
                options=[(f"{name.replace('_', ' ')} on", True), (f"{name[:-4]} off", False)],
                value=bool(getattr(self._setup, name)), style={"button_width": "7.5em"},
                disabled=getattr(vehicle, name[:-4]).bar is None,
            )
            for name in ("front_bar", "rear_bar")
        }  # fmt: skip
        controls = toggles | {
            "front_gap": widgets.SelectionSlider(
                options=self._gaps(units), description="front stop gap", **wide,
                disabled=self._gap is None,
            ),
            "turn": widgets.SelectionSlider(
                options=[(f"{step:.2f} g", step) for step in ROLL_STEPS], value=lateral,
                description="left turn", **wide,
            ),
            "load": widgets.Dropdown(
                options=list(vehicle.loads) or [("as weighed", None)], value=load,
                description="load", layout=widgets.Layout(width="15em"),
                style={"description_width": "4em"},
            ),
            "units": widgets.ToggleButtons(
                options=[("US units", "us"), ("metric", "metric")], value=units,
                style={"button_width": "7em"},
            ),
        }  # fmt: skip
        if self._gap is not None:
            controls["front_gap"].value = Panel._nearest(self._gap, units)
        rows = [("front_bar", "rear_bar", "units"), ("front_gap", "turn", "load")]
        self._lay_out(controls, [[controls[name] for name in row] for row in rows])

    def _react(self, change):
        if change["owner"] is self.controls["units"]:
            slider = self.controls["front_gap"]
            kept = self._gap_now(change["old"])
            slider.index = 0
            slider.options = self._gaps(change["new"])
            slider.value = Panel._nearest(kept or 0.0, change["new"])

    def set(self, **values):
        """Move controls as a hand would; see `controls` for their names."""
        if "front_gap" in values:
            units = values.get("units", self.controls["units"].value)
            values["front_gap"] = Panel._nearest(values["front_gap"], units)
        super().set(**values)

    def _gaps(self, units):
        """The steps of the gap slider that the ring's thread allows, and the set-up's own."""
        if self._gap is None:
            return _gap_options(units)[:1]
        _, most = assemble(self.vehicle, self._setup)["front_left"].gap_limits(0)
        own = Panel._nearest(self._gap, units)
        return [(words, gap) for words, gap in _gap_options(units) if gap <= max(most, own)]

    def _gap_now(self, units):
        """The gap the slider stands for: the set-up's own, unrounded, until it is moved [m]."""
        value = self.controls["front_gap"].value
        if self._gap is None or value == Panel._nearest(self._gap, units):
            return self._gap
        return value

    @property
    def setup(self):
        """The set-up the controls stand for."""
        bars = {name: self.controls[name].value for name in ("front_bar", "rear_bar")}
        gap = self._gap_now(self.controls["units"].value)
        setup = self._setup if gap == self._gap else self._setup.change("front", gap=gap)
        return replace(setup, **bars)

    def _show(self, units):
        setup, load = self.setup, self.controls["load"].value
        other = replace(setup, front_bar=not setup.front_bar)
        view = RollView(
            vehicle=self.vehicle, setup=setup, shown=self._balance(setup, load),
            other=self._balance(other, load), index=round(self.controls["turn"].value / 0.025),
        )  # fmt: skip
        rows, size = ROLL
        board = self._board((units, load), lambda: RollBoard(view, rows, units=units, size=size))
        words = as_table(
            ["as set", "front bar the other way"], roll_readout(view, units),
            notes=roll_cautions(view), spoken=board.describe(view),
        )  # fmt: skip
        return view, board.render(view), words

    def _balance(self, setup, load):
        """All turns of one set-up, kept: the bar goes on and off, the turn slides."""
        key = (setup.front_bar, setup.rear_bar, setup.front_left.gap, load)
        if key not in self._known:
            if len(self._known) > 200:
                self._known.clear()
            self._known[key] = roll_balance(self.vehicle, setup, load=load, lateral=CURVE)
        return self._known[key]

    def _describe(self, units):
        view = self.view
        rows = [f"{label} {texts[0]}" for label, texts in roll_readout(view, units).items()]
        height = show(float(view.shown.standing.front_height), "length", units)
        return (
            f"A left turn of {view.lateral / GRAVITY:.2f} g, front at "
            f"{float(view.setup.front_left.turns):.2f} turns and a ride height of {height}: "
            f"{'; '.join(rows)}."
        )


def roll_cautions(view):
    """What must be said of a vehicle that leans."""
    found = [view.shown.caution]
    if view.tipped:
        found.insert(0, "No balance in this turn: it tips over.")
    return tuple(found)


def roll_readout(view, units):
    """Lean, who carries it and where wheels lift, as set and with the front bar the other way.

    Parameters
    ----------
    view : RollView
    units : {"us", "metric"}

    Returns
    -------
    dict of str to (str, str)
    """
    both = (view.shown, view.other)

    def each(say):
        return tuple(say(roll) for roll in both)

    def g(value):
        return f"{value / GRAVITY:.2f} g"

    def stiffness(roll):
        front, rear = (show(one, "torsion", units) for one in roll.at_rest.total)
        return f"{front}, {rear}"

    def ring(roll):
        past = roll.turning.past_crossover[:2, view.index]
        if not roll.turning.corners["front_left"].gap or roll.turning.tipped[view.index]:
            return "–"
        return ", ".join("past" if one else "below" for one in past)

    return {
        "front bar": each(lambda roll: "on" if (roll is both[0]) == bool(view.setup.front_bar)
                          else "off"),
        "lean per g as it stands": each(lambda r: show(r.angle_per_g, "angle", units)),
        "lean in this turn": each(lambda r: show(r.angle[view.index], "angle", units)),
        "front share of load transfer": each(
            lambda r: show(r.front_share[view.index], "percent", units)
        ),
        "roll stiffness, front and rear": each(stiffness),
        "ring in this turn, front left and right": each(ring),
        # Of what is shown alone: it takes as long as all the rest.
        "inner wheel lifts, front and rear": (
            f"{g(view.shown.lift[0])}, {g(view.shown.lift[2])}", ""),
        "tips on firm level ground": (g(view.shown.tip[0]), ""),
        "T / 2h": each(lambda r: f"{r.stability_factor:.2f}"),
    }  # fmt: skip


def roll(vehicle, **options):
    """Bars, ring and a left turn. Options as for `RollPanel`."""
    return RollPanel(vehicle, **options)


def roll_numbers(panel_or_view, *, units="us"):
    """The readout as lines of text, for a notebook cell that is checked.

    Parameters
    ----------
    panel_or_view : RollPanel or RollView
    units : {"us", "metric"}

    Returns
    -------
    str
    """
    return lines_of(panel_or_view, roll_readout, units=units)
