"""Controls over a sweep: one number varied, or two."""

from __future__ import annotations

from dataclasses import dataclass
from threading import Event, Thread

import ipywidgets as widgets
import numpy as np

from suspkit.charts.sweep import WhatIf, WhatIfBoard
from suspkit.dynamics.view import TRIALS
from suspkit.panels.live import LivePanel, as_table, lines_of, load_control, units_control
from suspkit.studies.sweep import MEASURES, NOT_DONE, RUN_MEASURES, sweep
from suspkit.units import INCH, from_unit, show, to_unit, unit_label
from suspkit.vehicle.entrance import USUAL, with_setup
from suspkit.vehicle.setup import AXLES
from suspkit.vehicle.vehicle import known_name

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
        Of `suspkit.studies.sweep.MEASURES`, one of standing.
    also : str
        "nothing else", one of `EACH`, or a second one of `parameters` for a map.
    load : str, optional
        The vehicle's usual load if not given, nothing aboard if None.
    units : {"us", "metric"}

    Attributes
    ----------
    view : WhatIf
        What is shown now.
    bar, stop : widget
        How far the drives are, and the button that cancels them; shown while it drives.
    """

    def __init__(
        self, vehicle, setup=None, *, vary="front collar turns", shows="front_height",
        also="nothing else", load=USUAL, units="us",
    ):  # fmt: skip
        self._quiet, self._drives, self._done = True, None, (None, None)
        vehicle, name = with_setup(vehicle, setup)
        self.vehicle, self._name, self._setup = vehicle, name, vehicle.setups[name]
        made = {"units": units_control(units), "load": load_control(vehicle, load, width="19em")}
        self.known = parameters(vehicle, self._setup, load=made["load"].value)
        known_name(vary, self.known, "vary", "one of")
        known_name(shows, [name for _, name in _outputs(False)], "shows", "one of")
        others = ["nothing else", *EACH, *self.known]
        known_name(also, others, "also", "one of")
        made |= {
            "vary": _dropdown("vary", list(self.known), vary),
            "also": _dropdown("and", others, also),
            "shows": _dropdown("see", _outputs(False), shows),
            "event": _dropdown("how", [STANDING, *TRIALS], STANDING),
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
        elif owner is self.controls["load"]:
            self._offer()
        elif owner is self.controls["units"]:
            self._span(self.controls, *self._limits(change["old"]))
        elif owner is self.controls["event"]:
            shows, options = self.controls["shows"], _outputs(change["new"] != STANDING)
            if options != list(shows.options):
                shows.options = options  # and its value the first of them

    def _offer(self):
        """Let the masses aboard be varied, and no others."""
        self.known = parameters(self.vehicle, self._setup, load=self.controls["load"].value)
        shown = self.controls["vary"].value
        for name, more in (("vary", ()), ("also", ("nothing else", *EACH))):
            control, options = self.controls[name], [*more, *self.known]
            kept = control.value
            if options != list(control.options):
                control.options = options  # and its value the first of them
                control.value = kept if kept in options else options[0]
        known = self.known[self.controls["vary"].value]
        if self.controls["vary"].value != shown:
            self._span(self.controls, known.low, known.high)

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
    """What keeps rows of the table from being done, a sentence each."""
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
    """The picture in words."""
    rows = iter(what_if_readout(view).items())
    name, (low, now, high) = next(rows)
    said = "; ".join(f"{line} {a} to {c} (as set {b})" for line, (a, b, c) in rows)
    title, name = (words[:1].upper() + words[1:] for words in (view.title, name))
    return f"{title}. {name} {low} to {high} (as set {now}): {said}."


def what_if_numbers(panel_or_view):
    """The readout as lines of text, as `suspkit.panels.live.numbers` gives it."""
    return lines_of(panel_or_view, lambda view, _: what_if_readout(view), units="us")


def what_if(vehicle, setup=None, **options):
    """One number varied, or two, and what comes of it. Options as for `WhatIfPanel`."""
    return WhatIfPanel(vehicle, setup, **options)
