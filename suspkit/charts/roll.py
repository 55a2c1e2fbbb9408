"""A vehicle in a turn: how it leans, and who carries it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from suspkit.charts.board import BAND, INK, MAIN, SOFT, TENDER, Board, Chart, place, style
from suspkit.statics.settle import plane_fall
from suspkit.units import GRAVITY, INCH, unit_label
from suspkit.vehicle.setup import CORNERS


@dataclass(frozen=True, kw_only=True, eq=False)
class RollView:
    """A vehicle in a left turn as set, and the same with its front bar the other way.

    Attributes
    ----------
    vehicle : Vehicle
    setup : Setup
        As set.
    shown, other : RollBalance
        Over the same turns: the front bar as set, and the other way.
    index : int
        Which of the turns is drawn.
    """

    vehicle: object
    setup: object
    shown: object
    other: object
    index: int

    @property
    def lateral(self):
        """The turn drawn [m/s^2]."""
        return float(self.shown.lateral[self.index])

    @property
    def tipped(self):
        """Whether there is no balance in it."""
        return bool(self.shown.turning.tipped[self.index])

    def place(self, point, x=0.0):
        """Where a point of the body (left, up from the frame) is in the turn shown [m]."""
        stance, k = self.shown.turning, self.index
        roll, pitch = float(stance.roll[k]), float(stance.pitch[k])
        y, z = np.asarray(point, dtype=float).T
        up = float(stance.frame_height[k]) - x * np.sin(pitch)
        return (
            y * np.cos(roll) - z * np.sin(roll),
            up + np.cos(pitch) * (y * np.sin(roll) + z * np.cos(roll)),
        )

    def wheels(self):
        """Of each wheel its hub (left, up) [m] and its load [N], in the turn shown."""
        found = {}
        for i, name in enumerate(CORNERS):
            axle = self.vehicle.axle_of(name)
            z = float(self.shown.turning.travel[i, self.index]) - axle.hub_below_frame
            y = 0.5 * axle.track * (-1) ** i
            (left,), (up,) = self.place([(y, z)], 0.0 if i < 2 else -self.vehicle.wheelbase)
            found[name] = left, up, float(self.shown.turning.tyre_load[i, self.index])
        return found


class FromBehind(Chart):
    """The vehicle from behind, to scale, with where its weight and the turn's pull point."""

    aspect = 1.25

    # An outline of our own, left of the centre line and up from the frame line [in].
    TUB = ((-13, -1), (13, -1), (27, 6), (28, 20), (-28, 20), (-27, 6))
    CAGE = ((27, 20), (20, 56), (-20, 56), (-27, 20))
    TYRE = 5 * INCH

    def make(self, view):
        axes = self.axes
        axes.set_aspect("equal")
        axes.axis("off")
        axes.set_xlim(150 * INCH, -150 * INCH)  # left is left
        axes.set_ylim(-16 * INCH, 78 * INCH)
        axes.axhline(0, color=INK, linewidth=1.4)
        self.body = self.shapes(axes, facecolor=BAND, edgecolor=SOFT, linewidth=1.0)
        self.cage = self.line(axes, color=SOFT, linewidth=2.2, solid_joinstyle="round")
        self.arms = self.line(axes, color=MAIN, linewidth=2.0)
        self.tyres = {
            "front": self.shapes(axes, facecolor="white", edgecolor=INK, linewidth=2.6),
            # From behind they are the nearer ones.
            "rear": self.shapes(axes, facecolor="none", edgecolor=TENDER, linewidth=1.2, zorder=3),
        }
        self.pull = self.line(axes, color=TENDER, linewidth=1.6, linestyle=(0, (5, 2)))
        self.centre = self.line(axes, color=TENDER, marker="o", markersize=8, linestyle="")
        self.texts = {name: self.text(axes, fontsize=9) for name in CORNERS}
        self.title = self.text(axes, fontsize=10, weight="bold")
        self.foot = self.text(axes, color=TENDER, fontsize=8)
        axes.text(
            148 * INCH, 76 * INCH, "left turn, seen from behind, to scale\nthin: rear wheels",
            fontsize=8, color=SOFT, ha="left", va="top",
        )  # fmt: skip

    def update(self, view):
        at = view.lateral / GRAVITY
        words = (
            f"{at:.2f} g: no balance, it tips over"
            if view.tipped
            else f"{at:.2f} g: leans {self.say(view.shown.angle[view.index], 'angle')}"
        )
        place(self.title, -148 * INCH, 76 * INCH, words, ha="right", va="top")
        self._clear()
        if view.tipped:
            return
        self.body.set_verts([np.column_stack(view.place(np.array(self.TUB) * INCH))])
        self.cage.set_data(*view.place(np.array(self.CAGE) * INCH))
        arms, shapes, wheels = [], {"front": [], "rear": []}, view.wheels()
        roll = float(view.shown.turning.roll[view.index])
        turn = np.array([[np.cos(roll), -np.sin(roll)], [np.sin(roll), np.cos(roll)]])
        for i, (name, (left, up, load)) in enumerate(wheels.items()):
            axle = name.split("_")[0]
            radius = view.vehicle.axle_of(name).tyre.radius
            box = np.array([(-1, -1), (1, -1), (1, 1), (-1, 1)]) * [self.TYRE, radius]
            box = box @ turn.T + [left, up]
            box[:, 1] = np.maximum(box[:, 1], 0.0)  # squashed on the ground
            shapes[axle].append(box)
            side = (-1) ** i
            if axle == "front":
                ends = [[(y * side * INCH, z * INCH)] for y, z in ((11, 0), (13, 8))]
                for near in ends:
                    (y,), (z,) = view.place(near)
                    arms += [(y, z), (left - side * self.TYRE, up), (np.nan, np.nan)]
            past = bool(view.shown.turning.past_crossover[i, view.index])
            where = "past the ring" if past else "below the ring"
            if not view.shown.turning.corners[name].gap:
                where = "no ring"
            words = "lifted" if load <= 0 else f"{self.say(load, 'force')}, {where}"
            words = f"{name.replace('_', ' ')}: {words}"
            low = (26 if axle == "front" else 12) * INCH
            place(
                self.texts[name], side * 46 * INCH, low, words, ha="right" if side > 0 else "left"
            )
            self.texts[name].set_color(TENDER if load <= 0 else INK if past else SOFT)
        for axle, made in shapes.items():
            self.tyres[axle].set_verts(made)
        self.arms.set_data(*np.array(arms).T)
        self._draw_pull(view, wheels, roll)

    def _clear(self):
        for artist in (self.cage, self.arms, self.pull, self.centre):
            artist.set_data([], [])
        for shapes in (self.body, *self.tyres.values()):
            shapes.set_verts([])
        for text in (self.foot, *self.texts.values()):
            text.set_text("")

    def _draw_pull(self, view, wheels, roll):
        """Where the resultant of weight and inertia of all masses meets the ground."""
        # Each wheel stands straight down its plane, which leans with the body.
        pitch = float(view.shown.turning.pitch[view.index])
        out = np.cos(pitch) * np.sin(roll) * np.cos(roll) / plane_fall(pitch, roll) ** 2
        weights = [(load, left + up * out) for left, up, load in wheels.values()]
        meets = sum(n * y for n, y in weights) / sum(n for n, _ in weights)
        height, at = view.shown.centre_height, view.lateral / GRAVITY
        self.centre.set_data([meets + height * at], [height])
        self.pull.set_data([meets + height * at, meets], [height, 0.0])
        place(self.foot, meets, -3 * INCH, "weight and turn pull here", ha="center", va="top")

    def describe(self, view):
        if view.tipped:
            return "The vehicle from behind: no balance, it tips over."
        parts = [
            f"{name.replace('_', ' ')} {self.say(load, 'force') if load > 0 else 'lifted'}"
            for name, (_, _, load) in view.wheels().items()
        ]
        return (
            f"The vehicle from behind in a left turn of {view.lateral / GRAVITY:.2f} g, leaning "
            f"{self.say(view.shown.angle[view.index], 'angle')} to the right: {', '.join(parts)}."
        )


class LeanOverTurn(Chart):
    """Lean over lateral acceleration with the front bar on and off, up to where it tips."""

    aspect = 1.0

    def make(self, view):
        axes, units = self.axes, self.units
        style(axes, x="lateral acceleration, g", y=f"lean, {unit_label('angle', units)}")
        axes.set_xlim(0, 1.45)
        axes.set_ylim(0, 16)
        self.lines = {
            True: self.line(axes, color=INK, linewidth=2.2),
            False: self.line(axes, color=MAIN, linewidth=2.2, linestyle=(0, (5, 1.5))),
        }
        self.texts = {on: self.text(axes, fontsize=8.5) for on in (True, False)}
        self.lifts = self.line(axes, color=TENDER, marker="^", markersize=8, linestyle="", zorder=7)
        self.lift_text = self.text(axes, color=TENDER)
        self.now = self.line(axes, color=SOFT, linewidth=1.0)
        self.dot = self.line(axes, color=INK, marker="o", markersize=8, linestyle="", zorder=7)

    def update(self, view):
        on = bool(view.setup.front_bar)
        for which, roll in ((on, view.shown), (not on, view.other)):
            x, y = roll.lateral / GRAVITY, self.scale(roll.angle, "angle")
            x, y = x[np.isfinite(y)], y[np.isfinite(y)]
            self.lines[which].set_data(x, y)
            words = f" front bar {'on' if which else 'off'}"
            place(
                self.texts[which], x[-1], y[-1], words, ha="left", va="top" if which else "bottom"
            )
            self.texts[which].set_color(INK if which else MAIN)
            self.texts[which].set_weight("bold" if roll is view.shown else "normal")
        at = view.lateral / GRAVITY
        lean = self.scale(view.shown.angle[view.index], "angle")
        self.now.set_data([at, at], [0, 16])
        self.dot.set_data([at], [lean])
        first = float(view.shown.lift[[0, 2]].min()) / GRAVITY
        x, y = self.lines[on].get_data()
        level = float(np.interp(first, x, y))
        self.lifts.set_data([first], [level])
        wheel = ("front left", "rear left")[int(view.shown.lift[0] > view.shown.lift[2])]
        words = f"{wheel} wheel lifts at {first:.2f} g"
        place(self.lift_text, 0.04, 15.2, words, ha="left", va="top")

    def describe(self, view):
        state = "on" if view.setup.front_bar else "off"
        return (
            f"Lean over lateral acceleration: {self.say(view.shown.angle_per_g, 'angle')} per g "
            f"with the front bar {state}, "
            f"{self.say(view.other.angle_per_g, 'angle')} the other way."
        )


class TransferSplit(Chart):
    """Load each axle moves to its outer wheel, what springs and bar carry of it, bar on and off."""

    aspect = 1.15

    def make(self, view):
        axes, units = self.axes, self.units
        style(axes, x=f"load moved from inner to outer wheel, {unit_label('force', units)}")
        axes.set_ylim(-0.6, 1.6)
        axes.set_yticks([1, 0], ["front", "rear"], fontsize=9.5, color=INK)
        axes.grid(False, axis="y")
        self.end = 1.08 * self.scale(0.5 * view.shown.standing.tyre_load.sum(), "force") * 0.5
        axes.set_xlim(0, 1.4 * self.end)
        self.springs = self.shapes(axes, facecolor=MAIN, edgecolor=MAIN, linewidth=0.8)
        self.bars = self.shapes(axes, facecolor="white", edgecolor=TENDER, hatch="////")
        self.ghost = self.line(axes, color=SOFT, linewidth=0, marker="|", markersize=26,
                               markeredgewidth=2.0)  # fmt: skip
        self.texts = [self.text(axes, fontsize=9) for _ in range(2)]
        axes.text(
            0.995, 0.03, "solid: by springs; hatched: by bar; mark: front bar the other way",
            transform=axes.transAxes, fontsize=8, color=SOFT, ha="right", va="bottom",
        )  # fmt: skip

    def update(self, view):
        moved = self.scale(view.shown.transfer[:, view.index], "force")
        other = self.scale(view.other.transfer[:, view.index], "force")
        part, k = view.shown.in_turn, view.index
        springs, bars = [], []
        for i, level in enumerate((1.0, 0.0)):
            if not np.isfinite(moved[i]):
                self.texts[i].set_text("")
                continue
            cut = moved[i] * part.springs[i, k] / part.suspension[i, k]
            for made, low, high in ((springs, 0.0, cut), (bars, cut, moved[i])):
                made.append(
                    [(low, level - 0.3), (high, level - 0.3), (high, level + 0.3),
                     (low, level + 0.3)]
                )  # fmt: skip
            share = view.shown.front_share[k]
            words = f"{self.say(view.shown.transfer[i, k], 'force')}, "
            words += f"{share if i == 0 else 1 - share:.0%}"
            at = max(moved[i], other[i] if np.isfinite(other[i]) else 0.0)
            place(self.texts[i], at + 0.04 * self.end, level, words, ha="left", va="center")
        self.springs.set_verts(springs)
        self.bars.set_verts(bars)
        self.ghost.set_data(other, [1.0, 0.0])

    def describe(self, view):
        if view.tipped:
            return "Load transfer: none, it tips over."
        front, rear = (self.say(one, "force") for one in view.shown.transfer[:, view.index])
        return f"Load moved to the outer wheels: front {front}, rear {rear}."


class RollBoard(Board):
    """A `Board` of a vehicle that leans; its view is a `RollView`."""

    KINDS = {"behind": FromBehind, "lean": LeanOverTurn, "split": TransferSplit}

    def layout(self, view):
        return [[("behind", "front")], [("lean", "front"), ("split", "front")]], (9.8, 6.6)
