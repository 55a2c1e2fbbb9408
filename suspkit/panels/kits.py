"""Controls over the springs to choose from."""

from __future__ import annotations

import ipywidgets as widgets
import numpy as np

from suspkit.charts.kits import KitBoard, KitView
from suspkit.panels.live import LivePanel, as_table, axle_control, lines_of, offer, units_control
from suspkit.statics.view import look
from suspkit.studies.choose import OBJECTIVES, KitTargets, choose_springs
from suspkit.units import INCH, show, to_unit, unit_label
from suspkit.vehicle.entrance import USUAL, known_load, known_setup
from suspkit.vehicle.vehicle import known_name

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
        The vehicle's usual load if not given, nothing aboard if None.
    rack : dict of str to Spring, optional
        The vehicle's springs if not given.
    units : {"us", "metric"}

    Attributes
    ----------
    view : KitView
        What is shown now.
    """

    WORDS = {
        "load": "load", "height": "ride height", "load_factor": "load factor from",
        "turns": "most turns", "ring": "ring met at", "across": "across", "up": "up",
        "along": "along the line",
    }  # fmt: skip
    """What the controls are called in the panel."""

    def __init__(self, vehicle, setup=None, *, axle="rear", load=USUAL, rack=None, units="us"):
        self._quiet, self.vehicle, self._searched = True, vehicle, {}
        self._setup, self._rack = known_setup(vehicle, setup), rack
        load = known_load(vehicle, load)
        known_name(load, vehicle.loads, "load", "a load of the vehicle")
        wide = {"layout": widgets.Layout(width="25em"), "style": {"description_width": "9.5em"}}
        controls = {
            "axle": axle_control(axle),
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
            "units": units_control(units),
            "height": widgets.SelectionSlider(options=[("–", 0.0)], **wide),
            "load_factor": widgets.FloatSlider(
                min=1.5, max=4.0, step=0.1, readout_format=".1f", **wide
            ),
            "ring": widgets.SelectionRangeSlider(options=[("–", 0.0)], **wide),
            "turns": widgets.SelectionSlider(options=list(KIT_TURNS), value=24, **wide),
            "along": widgets.IntSlider(min=0, max=ON_THE_LINE, value=0, readout=False, **wide),
        }  # fmt: skip
        self.controls = controls
        for name, words in self.WORDS.items():
            controls[name].description = words
        self._aim()
        self._steps(units)
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
        # The readout of two ends has no room for units.
        plain = ".1f" if units == "us" else ".0f"
        words_of = {
            "height": [(show(step, "tape", units), step) for step in self._heights],
            "ring": [(format(to_unit(step, "length", units), plain), step) for step in self._ring],
        }
        self.controls["ring"].description = f"{self.WORDS['ring']}, {unit_label('length', units)}"
        for name, words in words_of.items():
            offer(self.controls[name], words, values[name])
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
        self._boards.clear()  # its axes are those of the kit
        board = self._board(units, lambda: KitBoard(view, units=units))
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
    """How many kits there are, why not more, and the numbers of the one picked out."""
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

    metal = show(abs(kit["metal_room"]), "length", units)
    metal = f"{metal} at metal" if kit["metal_room"] >= 0 else f"all solid {metal} before metal"
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
        "room to bind": [f"{said('room')} at full bump, {metal}"],
        "safety factor": [f"{kit['safety_factor']:.2f} at full bump"],
        "compressor": [f"{said('squeeze')} at {said('compressor_force', 'force')}"],
    }  # fmt: skip


def kits(vehicle, setup=None, **options):
    """Springs to choose from. Options as for `KitPanel`."""
    return KitPanel(vehicle, setup, **options)


def kit_numbers(panel_or_view, *, units="us"):
    """The readout as lines of text; arguments as for `suspkit.panels.live.numbers`."""
    return lines_of(panel_or_view, kit_readout, units=units)
