"""Controls over a turn: bars, front stop ring, and how hard it is."""

from __future__ import annotations

from dataclasses import replace

import ipywidgets as widgets
import numpy as np

from suspkit.charts.roll import RollBoard, RollView
from suspkit.panels.live import (
    LivePanel,
    as_table,
    gap_options,
    lines_of,
    load_control,
    nearest_gap,
    offer,
    units_control,
)
from suspkit.statics.roll import roll_balance
from suspkit.units import GRAVITY, show
from suspkit.vehicle.corner import assemble
from suspkit.vehicle.entrance import USUAL, known_setup
from suspkit.vehicle.vehicle import known_name

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
        The vehicle's usual load if not given, nothing aboard if None.
    lateral : float
        Turn to start from, of those on the slider [g].
    units : {"us", "metric"}

    Attributes
    ----------
    view : RollView
        What is shown now.
    """

    def __init__(self, vehicle, setup=None, *, load=USUAL, lateral=0.3, units="us"):
        self._quiet, self.vehicle, self._known = True, vehicle, {}
        self._setup = known_setup(vehicle, setup)
        choose_units = units_control(units)
        known_name(lateral, dict.fromkeys(ROLL_STEPS), "lateral", "a step of the slider")
        own = self._setup.front_left.gap
        self._gap = own if np.ndim(own) == 0 else None
        wide = {"layout": widgets.Layout(width="25em"), "style": {"description_width": "8em"}}
        toggles = {
            name: widgets.ToggleButtons(
                options=[(f"{name.replace('_', ' ')} {to}", to == "on") for to in ("on", "off")],
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
            "load": load_control(vehicle, load),
            "units": choose_units,
        }  # fmt: skip
        if self._gap is not None:
            controls["front_gap"].value = nearest_gap(self._gap, units)
        rows = [("front_bar", "rear_bar", "units"), ("front_gap", "turn", "load")]
        self._lay_out(controls, [[controls[name] for name in row] for row in rows])

    def _react(self, change):
        if change["owner"] is self.controls["units"]:
            slider = self.controls["front_gap"]
            kept = self._gap_now(change["old"])
            offer(slider, self._gaps(change["new"]), nearest_gap(kept or 0.0, change["new"]))

    def set(self, **values):
        """Move controls as a hand would; see `controls` for their names."""
        if "front_gap" in values:
            units = values.get("units", self.controls["units"].value)
            values["front_gap"] = nearest_gap(values["front_gap"], units)
        super().set(**values)

    def _gaps(self, units):
        """The steps of the gap slider that the ring's thread allows, and the set-up's own."""
        if self._gap is None:
            return gap_options(units)[:1]
        _, most = assemble(self.vehicle, self._setup)["front_left"].gap_limits(0)
        own = nearest_gap(self._gap, units)
        return [(words, gap) for words, gap in gap_options(units) if gap <= max(most, own)]

    def _gap_now(self, units):
        """The gap the slider stands for: the set-up's own, unrounded, until it is moved [m]."""
        value = self.controls["front_gap"].value
        if self._gap is None or value == nearest_gap(self._gap, units):
            return self._gap
        return value

    @property
    def setup(self):
        """The set-up the controls stand for."""
        bars = {}
        for name in ("front_bar", "rear_bar"):
            on, own = self.controls[name].value, getattr(self._setup, name)
            bars[name] = own if on == bool(own) else on  # of a part of a bar on is that part
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
        board = self._board((units, load), lambda: RollBoard(view, units=units))
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
    """Lean, who carries it and where wheels lift, as set and with the front bar the other way."""
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


def roll(vehicle, setup=None, **options):
    """Bars, ring and a left turn. Options as for `RollPanel`."""
    return RollPanel(vehicle, setup, **options)


def roll_numbers(panel_or_view, *, units="us"):
    """The readout as lines of text; arguments as for `suspkit.panels.live.numbers`."""
    return lines_of(panel_or_view, roll_readout, units=units)
