"""Results to matplotlib figures, in one style of our own. No physics, no pyplot state.

A chart is made once and then only moved: `Board.render` redraws its moving parts over a saved
background, which is what makes a slider feel live; `Board.still` gives the same picture as an
ordinary figure for print.
"""

from __future__ import annotations

import io
import os
from contextlib import contextmanager
from functools import cache
from threading import RLock

import matplotlib
import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg, RendererAgg
from matplotlib.collections import PolyCollection
from matplotlib.colors import to_rgb
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Circle
from matplotlib.text import Text
from matplotlib.transforms import IdentityTransform

from suspkit.statics.view import STATES, gap_text, in_words, lean
from suspkit.units import INCH, show, to_unit, unit_label
from suspkit.vehicle.setup import ROWS

# Settings in the current folder may be a stranger's: with them Matplotlib runs TeX on his words.
if os.path.dirname(os.path.abspath(matplotlib.matplotlib_fname())) == os.getcwd():
    matplotlib.rcdefaults()

INK, SOFT, FAINT = "#1b1f24", "#6b7280", "#c9ced6"
TENDER, MAIN = "#b85c00", "#07405a"
"""The two spring inks: apart in lightness, for grey print and colour-blind eyes."""

BAND, PALE = "#e9eef2", "#f4f5f7"

STATE_NAMES = {"droop": "droop hang", "ride": "standing", "bump": "full bump"}


_SETTINGS = RLock()


@contextmanager
def settings(changes):
    """Settings of Matplotlib for a while.

    They are those of the whole process, and a page's controls may be answered in another thread
    than its cells run in: one at a time, so that no picture is drawn with another one's.

    Parameters
    ----------
    changes : dict
        As for `matplotlib.rc_context`.
    """
    with _SETTINGS, matplotlib.rc_context(changes):
        yield


def style(axes, *, x="", y=""):
    """Give axes the look of all charts, and their labels."""
    axes.set_facecolor("white")
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    for side in ("left", "bottom"):
        axes.spines[side].set_color(SOFT)
    axes.tick_params(colors=SOFT, labelsize=8, length=3)
    # A dollar sign in a name is no mathematics.
    axes.set_xlabel(x, color=INK, fontsize=9, parse_math=False)
    axes.set_ylabel(y, color=INK, fontsize=9, parse_math=False)
    axes.grid(True, color=FAINT, linewidth=0.5)
    axes.set_axisbelow(True)


class Chart:
    """One picture in one area of a figure.

    Subclasses make their artists in ``make`` and move them in ``update``.

    Parameters
    ----------
    figure : Figure
    area : SubplotSpec
        Where to draw.
    view : View
        Sets the fixed axes; nothing of it is drawn yet.
    axle : {"front", "rear"}
    units : {"us", "metric"}
    """

    aspect = 1.0
    """Width of the area it likes, relative to its neighbours."""

    heights = ()
    """Of ``axes`` and of ``lower`` under them, which share their x axis; empty without a lower."""

    def __init__(self, figure, area, view, axle, units):
        self.axle, self.units, self.moving = axle, units, []
        if self.heights:
            grid = area.subgridspec(2, 1, height_ratios=self.heights, hspace=0.12)
            self.axes = figure.add_subplot(grid[0])
            self.lower = figure.add_subplot(grid[1], sharex=self.axes)
            self.axes.tick_params(labelbottom=False)
        else:
            self.axes = figure.add_subplot(area)
        self.make(view)

    def make(self, view):
        """Draw what stays, and make the artists that move."""
        raise NotImplementedError

    def scale(self, value, kind):
        """An SI number in the reader's unit."""
        return to_unit(value, kind, self.units)

    def say(self, value, kind="length"):
        """An SI number as text with the reader's unit."""
        return show(float(value), kind, self.units)

    def move(self, artist):
        """Register an artist that changes with the view."""
        artist.set_animated(True)
        self.moving.append(artist)
        return artist

    def line(self, axes, **style):
        """A line that moves with the view."""
        return self.move(axes.add_line(Line2D([], [], **style)))

    def text(self, axes, **style):
        """A label that moves with the view."""
        halo = {"facecolor": "white", "edgecolor": "none", "alpha": 0.85, "pad": 0.6}
        style = {"fontsize": 8.5, "color": INK, "zorder": 6, "bbox": halo} | style
        return self.move(axes.text(0, 0, "", parse_math=False, **style))

    def shapes(self, axes, **style):
        """Filled shapes that move with the view."""
        return self.move(axes.add_collection(PolyCollection([], **style), autolim=False))

    def update(self, view):
        """Move every artist to show ``view``."""
        raise NotImplementedError

    def describe(self, view):
        """What the picture shows, in words."""
        raise NotImplementedError


def place(text, x, y, words, *, ha=None, va=None):
    """Move a label and change its words."""
    text.set_position((x, y))
    text.set_text(words)
    if ha is not None:
        text.set_ha(ha)
    if va is not None:
        text.set_va(va)


class ShockCurve(Chart):
    """Shock force over compression, with crossover and ride marked, and who is squeezed below."""

    aspect = 1.25
    heights = (2.3, 1)

    def make(self, view):
        axle, units = self.axle, self.units
        seen = view.axles[axle]
        self.strip = self.lower
        full = self.scale(seen.corner.shock.full_bump, "length")
        style(self.axes, y=f"{axle} shock force, {unit_label('force', units)}")
        style(
            self.strip,
            x=f"shock compression from full extension, {unit_label('length', units)}",
            y=f"squeeze, {unit_label('length', units)}",
        )
        self.axes.set_xlim(0, full * 1.15)
        self.top = 1.1 * self.scale(_stiffest(view, axle), "force")
        self.axes.set_ylim(0, self.top)
        # No spring gives more than it has, nor more than the whole stack must.
        most = max(s.free_length - s.solid_length for s in seen.corner.stack.springs)
        most = min(most, seen.corner.shock.full_bump + float(seen.corner.seat))
        self.strip.set_ylim(0, 1.08 * self.scale(most, "length"))
        for area_axes in (self.axes, self.strip):
            area_axes.axvline(full, color=SOFT, linewidth=1.2, linestyle=(0, (1, 1)))
        self.axes.text(
            full, 0, " full bump", ha="left", va="bottom", fontsize=8, color=SOFT, rotation=90
        )
        self.ghost = self.line(self.axes, color=SOFT, linewidth=1.1, linestyle=(0, (2, 2)))
        self.curve = self.line(self.axes, color=INK, linewidth=2.2)
        self.drop = self.line(self.axes, color=MAIN, linewidth=1.0, linestyle="-")
        self.ride = self.line(
            self.axes, color=MAIN, marker="o", markersize=8, linestyle="", zorder=7
        )
        self.cross = self.line(
            self.axes, color=TENDER, marker="D", markersize=8, linestyle="",
            markerfacecolor="white", markeredgewidth=2, zorder=7,
        )  # fmt: skip
        self.ride_text = self.text(self.axes, color=MAIN)
        self.cross_text = self.text(self.axes, color=TENDER)
        self.ghost_text = self.text(self.axes, color=SOFT, fontsize=8)
        inks = _spring_inks(len(seen.squeeze))
        self.parts = [self.line(self.strip, color=c, linewidth=2, linestyle=s) for c, s in inks]
        self.part_texts = [self.text(self.strip, color=c, fontsize=8) for c, _ in inks]
        self.strip_cross = self.line(self.strip, color=TENDER, linewidth=1)
        self.strip_ride = self.line(self.strip, color=MAIN, linewidth=1)

    def update(self, view):
        seen = view.axles[self.axle]
        x, y = self.scale(seen.compression, "length"), self.scale(seen.force, "force")
        self.curve.set_data(x, y)
        self._show_crossover(seen, x, y)
        rx = self.scale(seen.ride, "length")
        ry = np.interp(rx, x, y)
        self.ride.set_data([rx], [ry])
        self.drop.set_data([rx, rx, 0], [0, ry, ry])
        self.strip_ride.set_data([rx, rx], [0, self.strip.get_ylim()[1]])
        words = f"  standing {self.say(seen.ride)}"
        place(self.ride_text, rx, 0.02 * self.top, words, ha="left", va="bottom")
        squeeze = [self.scale(used, "length") for used in seen.squeeze]
        apart = 0.16 * self.strip.get_ylim()[1]
        label_at = spread_apart([q[-1] for q in squeeze], apart)
        for line, text, q, y_text, role in zip(
            self.parts, self.part_texts, squeeze, label_at, _roles(len(squeeze)), strict=True
        ):
            line.set_data(x, q)
            place(text, x[-1], y_text, f" {role}", va="center")

    def _show_crossover(self, seen, x, y):
        if not np.isfinite(seen.crossover):
            for artist in (self.ghost, self.cross, self.strip_cross):
                artist.set_data([], [])
            self.ghost_text.set_text("")
            self.cross_text.set_text("")
            return
        ghost, cx = self.scale(seen.no_ring_force, "force"), self.scale(seen.crossover, "length")
        cy = np.interp(cx, x, y)
        self.ghost.set_data(x, ghost)
        # Below and right of the ghost line nothing else stands.
        at = min(np.searchsorted(x, max(0.5 * (cx + x[-1]), 0.78 * x[-1])), len(x) - 1)
        low = ghost[at] - 0.09 * self.top
        place(self.ghost_text, x[at], low, "without the ring", ha="center", va="top")
        self.cross.set_data([cx], [cy])
        self.strip_cross.set_data([cx, cx], [0, self.strip.get_ylim()[1]])
        words = f"crossover {self.say(seen.crossover)}  "
        # Left of the curve and above it nothing else stands.
        if cx < 0.45 * x[-1]:
            left, above = 0.02 * x[-1], cy + 0.05 * self.top
            place(self.cross_text, left, above, words, ha="left", va="bottom")
        else:
            place(self.cross_text, cx, cy, words, ha="right", va="bottom")

    def describe(self, view):
        seen = view.axles[self.axle]
        shock = seen.corner.shock
        where = "the bump stop is touched" if shock.bump_stop else "it is full"
        words = (
            f"{self.axle.capitalize()} shock force over compression: rises to "
            f"{self.say(np.interp(shock.bump_touch, seen.compression, seen.force), 'force')} where "
            f"{where} at {self.say(shock.bump_touch)}; standing at {self.say(seen.ride)}"
        )
        if np.isfinite(seen.crossover):
            words += f"; crossover at {self.say(seen.crossover)}"
        return words + "."


class WheelCurve(Chart):
    """Wheel force and wheel rate over wheel travel."""

    heights = (1.3, 1)

    def make(self, view):
        axle, units = self.axle, self.units
        seen = view.axles[axle]
        self.rate_axes = self.lower
        ratio = seen.corner.linkage.motion_ratio(seen.corner.full_bump_travel)
        full = self.scale(seen.corner.full_bump_travel, "length")
        style(self.axes, y=f"{axle} wheel force, {unit_label('force', units)}")
        style(
            self.rate_axes,
            x=f"wheel travel from droop, {unit_label('length', units)}",
            y=f"wheel rate, {unit_label('rate', units)}",
        )
        self.axes.set_xlim(0, full * 1.08)
        self.top = 1.1 * self.scale(_stiffest(view, axle), "force") * ratio
        self.axes.set_ylim(0, self.top)
        stiffest = max(s.law.slope(0.0) for s in seen.corner.stack.springs)
        self.rate_top = 1.5 * self.scale(stiffest, "rate") * ratio**2
        self.rate_axes.set_ylim(0, self.rate_top)
        for area_axes in (self.axes, self.rate_axes):
            area_axes.axvline(full, color=SOFT, linewidth=1.2, linestyle=(0, (1, 1)))
        self.force = self.line(self.axes, color=INK, linewidth=2.2)
        self.rate = self.line(self.rate_axes, color=INK, linewidth=2.0)
        self.level = self.line(self.axes, color=MAIN, linewidth=1.0)
        self.ride = self.line(
            self.axes, color=MAIN, marker="o", markersize=8, linestyle="", zorder=7
        )
        self.rate_ride = self.line(
            self.rate_axes, color=MAIN, marker="o", markersize=8, linestyle="", zorder=7
        )
        self.cross = self.line(self.axes, color=TENDER, linewidth=1)
        self.rate_cross = self.line(self.rate_axes, color=TENDER, linewidth=1)
        self.ride_text = self.text(self.axes, color=MAIN)
        self.cross_text = self.text(self.axes, color=TENDER, rotation=90)
        self.rate_text = self.text(self.rate_axes, color=MAIN)

    def update(self, view):
        seen = view.axles[self.axle]
        x = self.scale(seen.travel, "length")
        force, rate = self.scale(seen.wheel_force, "force"), self.scale(seen.wheel_rate, "rate")
        self.force.set_data(x, force)
        self.rate.set_data(x, np.minimum(rate, 2 * self.rate_top))
        rx = self.scale(seen.ride_travel, "length")
        ry, rr = np.interp(rx, x, force), self._ride_rate(view)
        self.level.set_data([0, rx, rx], [ry, ry, 0])
        self.ride.set_data([rx], [ry])
        self.rate_ride.set_data([rx], [rr])
        weight = self.say(view.stance.wheel_force[ROWS[self.axle].start], "force")
        # Right of the marker and below it, or the other way where the picture ends.
        ha, va = ("left", "top") if rx < 0.62 * x[-1] else ("right", "bottom")
        place(self.ride_text, rx, ry, f"  carries {weight}  ", ha=ha, va=va)
        frequency = view.stance.frequency[ROWS[self.axle].start]
        words = f"{self.say(frequency, 'frequency')} here"
        place(self.rate_text, rx, rr - 0.08 * self.rate_top, words, ha="center", va="top")
        if np.isfinite(seen.crossover):
            cx = self.scale(seen.crossover_travel, "length")
            self.cross.set_data([cx, cx], [0, self.top])
            self.rate_cross.set_data([cx, cx], [0, self.rate_top])
            place(self.cross_text, cx, self.top, "crossover ", ha="right", va="top")
        else:
            self.cross.set_data([], [])
            self.rate_cross.set_data([], [])
            self.cross_text.set_text("")

    def _ride_rate(self, view):
        return self.scale(view.stance.wheel_rate[ROWS[self.axle].start], "rate")

    def describe(self, view):
        seen = view.axles[self.axle]
        i = ROWS[self.axle].start
        return (
            f"{self.axle.capitalize()} wheel force and rate over wheel travel: standing at "
            f"{self.say(seen.ride_travel)} with a wheel rate of "
            f"{self.say(view.stance.wheel_rate[i], 'rate')} and a ride frequency of "
            f"{self.say(view.stance.frequency[i], 'frequency')}."
        )


class CutAway(Chart):
    """The shock to scale at droop hang, standing and full bump, the stop gap dimensioned."""

    aspect = 1.3

    def make(self, view):
        axes, axle = self.axes, self.axle
        seen = view.axles[axle]
        shock = seen.corner.shock
        axes.set_aspect("equal")
        axes.axis("off")
        self.step = 11 * INCH
        span = shock.thread.seat_span
        axes.set_xlim(-0.68 * self.step, 2.32 * self.step)
        axes.set_ylim(span + 3.2 * INCH, -5.8 * INCH)
        names = " over ".join(_short(s.name) for s in seen.corner.stack.springs)
        axes.text(
            0.82 * self.step, span + 2.6 * INCH, f"{axle}, to scale: {names}", fontsize=8,
            color=SOFT, ha="center", parse_math=False,
        )  # fmt: skip
        self.radius = 1.25 * INCH
        self.columns = [
            self._column(seen.corner, i * self.step, STATE_NAMES[state])
            for i, state in enumerate(STATES)
        ]

    def _column(self, corner, x, title):
        """One shock standing at ``x``: the parts that stay, and artists for those that move."""
        axes = self.axes
        axes.text(x, -4.6 * INCH, title, ha="center", fontsize=9, color=INK)
        foot = corner.shock.thread.seat_span - corner.shock.stroke - 1.2 * INCH
        body = box(x, -2.4 * INCH, foot, self.radius)
        axes.add_collection(PolyCollection([body], facecolor=PALE, edgecolor=SOFT, linewidth=0.8))
        axes.add_patch(Circle((x, -3.1 * INCH), 0.7 * INCH, fill=False, edgecolor=SOFT))
        for y in np.arange(-1.2, 0.0, 0.3) * INCH:
            axes.plot([x - self.radius, x + self.radius], [y, y], color=FAINT, linewidth=0.8)
        return {
            "x": x,
            "foot": foot,
            "shaft": self.shapes(axes, facecolor="white", edgecolor=SOFT, linewidth=0.8),
            "stop": self.shapes(axes, facecolor=FAINT, edgecolor=SOFT, linewidth=0.8),
            "coils": [
                self.line(axes, color=c, linewidth=2.6, solid_joinstyle="round")
                for c, _ in _spring_inks(len(corner.stack.springs))
            ],
            "metal": self.shapes(axes, facecolor=INK, edgecolor=INK, linewidth=0.6),
            "ring": self.shapes(axes, facecolor="white", edgecolor=INK, linewidth=1.6, zorder=4),
            "gap": self.line(axes, color=INK, linewidth=1.2, marker="_", markersize=9),
            "words": [self.text(axes, fontsize=9) for _ in corner.gap],
        }

    def update(self, view):
        seen = view.axles[self.axle]
        for state, column in zip(STATES, self.columns, strict=True):
            self._draw(column, seen.corner, seen.cutaways[state])

    def _draw(self, column, corner, cut):
        springs, shock, x = corner.stack.springs, corner.shock, column["x"]
        stop = shock.bump_stop.free_length if shock.bump_stop else 0.0
        wide = max(self._width(s) for s in springs)
        eye = cut.retainer + 1.6 * INCH
        column["shaft"].set_verts([box(x, column["foot"], eye, 0.45 * INCH)])
        if stop:
            top = max(cut.retainer - stop + 0.6 * INCH, column["foot"])
            column["stop"].set_verts([box(x, top, cut.retainer + 0.6 * INCH, 0.9 * INCH)])
        metal = [
            box(x, cut.collar - 0.55 * INCH, cut.collar, wide + 0.25 * INCH),
            box(x, cut.retainer, cut.retainer + 0.5 * INCH, wide + 0.25 * INCH),
        ]
        for edge in cut.dividers:
            metal.append(box(x, edge, edge + shock.divider_height, wide + 0.25 * INCH))
        column["metal"].set_verts(metal)
        for line, spring, (top, bottom) in zip(column["coils"], springs, cut.springs, strict=True):
            line.set_data(*_coils(x, top, bottom, self._width(spring), coil_count(spring)))
        column["ring"].set_verts(
            [box(x, face - 0.6 * INCH, face, wide + 0.1 * INCH) for _, face in cut.rings]
        )
        at, down = x - wide - 0.9 * INCH, []
        for text, (index, face), gap, closed in zip(
            column["words"], cut.rings, cut.gaps, cut.closed, strict=True
        ):
            edge = cut.dividers[index]
            down += [np.nan, np.nan, np.nan] if closed else [face, edge, np.nan]
            words = "closed" if closed else gap_text(gap, self.units)
            place(text, at - 0.3 * INCH, 0.5 * (face + edge), words, ha="right", va="center")
        column["gap"].set_data(np.full(len(down), at), down)

    def _width(self, spring):
        return 0.5 * (spring.wire.mean_diameter if spring.wire else 3.5 * INCH)

    def describe(self, view):
        seen = view.axles[self.axle]
        names = " over ".join(_short(s.name) for s in seen.corner.stack.springs)
        words = f"Cut-away of the {self.axle} shock, collar on top: {names}."
        if seen.corner.gap:
            parts = []
            for state in STATES:
                cut = seen.cutaways[state]
                gaps = (
                    "closed" if closed else gap_text(gap, self.units)
                    for gap, closed in zip(cut.gaps, cut.closed, strict=True)
                )
                parts.append(f"{STATE_NAMES[state]} {' and '.join(gaps)}")
            words += f" Stop gap: {', '.join(parts)}."
        return words


class SideView(Chart):
    """The vehicle on the ground, to scale, with ride heights and rake."""

    aspect = 1.5

    # An outline of our own, ahead of the front axle and up from the frame line [in].
    TUB = (
        (21, 2), (25, 9), (17, 17), (-20, 21), (-33, 15), (-88, 15), (-92, 21), (-140, 22),
        (-142, 14), (-136, 2),
    )  # fmt: skip
    CAGE = (
        (-20, 21), (-42, 54), (-72, 57), (-104, 54), (-112, 22), (np.nan, np.nan), (-70, 15),
        (-72, 57), (np.nan, np.nan), (-42, 54), (-70, 22), (np.nan, np.nan), (-104, 54), (-92, 21),
    )  # fmt: skip
    SEATS = ((-50, 17), (-66, 17), (-70, 38), (np.nan, np.nan), (-78, 19), (-94, 19), (-98, 40))

    def make(self, view):
        axes = self.axes
        axes.set_aspect("equal")
        axes.axis("off")
        base = view.vehicle.wheelbase
        axes.set_xlim(-base - 34 * INCH, 34 * INCH)
        axes.set_ylim(-13 * INCH, 80 * INCH)
        axes.axhline(0, color=INK, linewidth=1.4)
        axes.text(33 * INCH, -2 * INCH, "front", ha="right", va="top", fontsize=8, color=SOFT)
        self.body = self.shapes(axes, facecolor=BAND, edgecolor=SOFT, linewidth=1.0)
        self.seats = self.line(axes, color=FAINT, linewidth=4, solid_capstyle="round")
        self.cage = self.line(axes, color=SOFT, linewidth=2.0, solid_joinstyle="round")
        self.frame = self.line(axes, color=MAIN, linewidth=3.2, solid_capstyle="round")
        self.wheels = [self.line(axes, color=INK, linewidth=3.4) for _ in range(2)]
        self.hubs = self.line(axes, color=INK, marker="o", linestyle="", markersize=5)
        self.dims = self.line(axes, color=MAIN, linewidth=1.0, marker="_", markersize=8)
        self.texts = [self.text(axes, color=MAIN, fontsize=10, weight="bold") for _ in range(2)]
        self.rake = self.text(axes, fontsize=9, ha="center")

    def update(self, view):
        stance, vehicle = view.stance, view.vehicle
        base = vehicle.wheelbase
        on_ground = self._pose(float(stance.pitch), float(stance.frame_height), base)
        turn = np.linspace(0, 2 * np.pi, 61)
        hubs_x, hubs_z, dims_x, dims_z = [], [], [], []
        for i, (axle, wheel, text) in enumerate(
            zip((vehicle.front, vehicle.rear), self.wheels, self.texts, strict=True)
        ):
            travel = stance.travel[2 * i : 2 * i + 2].mean()
            load = stance.tyre_load[2 * i : 2 * i + 2].mean()
            x = on_ground([(-base * i, -axle.hub_below_frame + travel)])[0][0]
            z = axle.tyre.radius - load / axle.tyre.rate
            ring = z + axle.tyre.radius * np.sin(turn)
            wheel.set_data(x + axle.tyre.radius * np.cos(turn), np.maximum(ring, 0.0))
            hubs_x.append(x)
            hubs_z.append(z)
            point = axle.point
            px = on_ground([(-point.behind_front_axle, point.above_frame)])[0][0]
            height = view.axles[("front", "rear")[i]].height
            # The dimension stands beside the wheel, where nothing else is.
            at = px + (-14 if i == 0 else 14) * INCH
            dims_x += [at, at, np.nan]
            dims_z += [0, height, np.nan]
            words = f"{('front', 'rear')[i]} {self.say(height)}"
            place(text, at, -2 * INCH, words, ha="center", va="top")
        self.hubs.set_data(hubs_x, hubs_z)
        self.dims.set_data(dims_x, dims_z)
        place(self.rake, -0.5 * base, 76 * INCH, lean(view, self.units))

    def _pose(self, pitch, heave, base):
        """Put the body at a pitch and a frame height; returns where points of it then are."""

        def on_ground(points):
            x, z = np.asarray(points, dtype=float).T
            return x * np.cos(pitch) + z * np.sin(pitch), heave - x * np.sin(pitch) + z * np.cos(
                pitch
            )

        self.body.set_verts([np.column_stack(on_ground(np.array(self.TUB) * INCH))])
        self.seats.set_data(*on_ground(np.array(self.SEATS) * INCH))
        self.cage.set_data(*on_ground(np.array(self.CAGE) * INCH))
        self.frame.set_data(*on_ground([(12 * INCH, 0), (-base - 10 * INCH, 0)]))
        return on_ground

    def describe(self, view):
        return "Side view of the vehicle on the ground. " + in_words(view, self.units)


CHARTS = {
    "shock": ShockCurve,
    "wheel": WheelCurve,
    "cutaway": CutAway,
    "side": SideView,
}
"""The charts there are, by name."""


@cache
def _palette():
    """Every ink and what the edges of one on another mix to: the same for all pictures, so that
    one looks the same whatever was shown before it."""
    from PIL import Image

    white, *inks = (
        np.array(to_rgb(c)) for c in ("white", INK, SOFT, FAINT, TENDER, MAIN, BAND, PALE)
    )
    mixed = [white, *inks]
    for i, ink in enumerate(inks):
        for other, steps in [(white, 13)] + [(one, 8) for one in inks[:i]]:
            mixed += [ink + (other - ink) * step / steps for step in range(1, steps)]
    mixed = np.rint(255 * np.array(mixed)).astype(int)
    mixed[mixed.min(axis=1) > 246] = 255  # the ground stays white
    palette = Image.new("P", (1, 1))
    palette.putpalette(mixed.ravel().tolist())
    return palette


class Board:
    """Charts side by side in one figure that is made once and then moved.

    Parameters
    ----------
    view : View
        Sets the fixed axes.
    rows : sequence of sequence of (str, str), optional
        Chart name of `KINDS` and axle, row by row; the board's own layout if not given.
    units : {"us", "metric"}
    size : (float, float), optional
        Inches on paper; 100 pixels each on screen.
    """

    DPI = 100

    KINDS = CHARTS
    """The charts it can hold, by name."""

    def __init__(self, view, rows=None, *, units="us", size=None):
        rows, own = self.layout(view) if rows is None else (rows, (9.6, 5.0))
        size = own if size is None else size
        self.figure = Figure(figsize=size, dpi=self.DPI, facecolor="white")
        self.canvas = FigureCanvasAgg(self.figure)
        self.rows = tuple(tuple(row) for row in rows)
        self.units = units
        self.charts = []
        outer = self.figure.add_gridspec(
            len(self.rows), 1, left=0.075, right=0.985, top=0.975, bottom=0.105, hspace=0.22
        )
        for i, row in enumerate(self.rows):
            kinds = [self.KINDS[name] for name, _ in row]
            inner = outer[i].subgridspec(
                1, len(row), width_ratios=[k.aspect for k in kinds], wspace=0.24
            )
            for j, (kind, (_, axle)) in enumerate(zip(kinds, row, strict=True)):
                self.charts.append(kind(self.figure, inner[j], view, axle, units))
        self._background, self._stamps = None, {}

    def layout(self, view):
        """Rows and size in inches of a board that is told neither."""
        return rows_for("start", "front")

    def update(self, view):
        """Move every artist to show ``view``, without drawing."""
        for chart in self.charts:
            chart.update(view)

    def render(self, view):
        """Show ``view`` as a PNG."""
        self.update(view)
        if self._background is None:
            for chart in self.charts:
                for artist in chart.moving:
                    artist.set_animated(True)  # `still` may have ended that
            with settings({}):
                self.canvas.draw()  # leaves out the animated artists
            self._background = self.canvas.copy_from_bbox(self.figure.bbox)
        self.canvas.restore_region(self._background)
        # Without hinting glyphs take two thirds of the time.
        with settings({"text.hinting": "none"}):
            for chart in self.charts:
                for artist in sorted(chart.moving, key=lambda a: a.get_zorder()):
                    if isinstance(artist, Text):
                        self._paste(artist)
                    else:
                        artist.axes.draw_artist(artist)
        return self._png()

    def _paste(self, text):
        """Draw a text, or paste it where the same words have been drawn before.

        Text is most of a frame's time, and a slider comes back to the same words again and again.
        """
        if not text.get_text() or not text.get_visible():
            return
        x, y = text.get_transform().transform(text.get_position())
        if not (np.isfinite(x) and np.isfinite(y)):
            return
        key = (
            text.get_text(), text.get_color(), text.get_fontsize(), text.get_weight(),
            text.get_rotation(), text.get_ha(), text.get_va(), text.get_bbox_patch() is None,
        )  # fmt: skip
        if key not in self._stamps:
            if len(self._stamps) >= 500:  # some 5 kB each
                self._stamps.clear()
            self._stamps[key] = self._stamp(text)
        image, left, bottom = self._stamps[key]
        renderer = self.canvas.get_renderer()
        renderer.draw_image(renderer.new_gc(), round(x) + left, round(y) + bottom, image)

    def _stamp(self, text):
        """A text as an image with its lower left corner from where it is anchored [pixels]."""
        # Anchored in the middle of a sheet large enough that nothing is cut off either way.
        size = 2 * (40 + 12 * len(text.get_text()))
        sheet = RendererAgg(size, size, self.DPI)
        middle = np.array([size // 2, size // 2], dtype=float)
        keep, home = text.get_position(), text.get_transform()
        text.set_transform(IdentityTransform())
        text.set_position(middle)
        try:
            text.draw(sheet)
        finally:
            text.set_transform(home)
            text.set_position(keep)
        drawn = np.asarray(sheet.buffer_rgba())
        rows, columns = np.flatnonzero(drawn[..., 3].any(1)), np.flatnonzero(drawn[..., 3].any(0))
        top, low = rows[0], rows[-1] + 1
        image = drawn[top:low, columns[0] : columns[-1] + 1][::-1].copy()
        return image, int(columns[0] - middle[0]), int(sheet.height - low - middle[1])

    def _png(self):
        from PIL import Image

        image = Image.fromarray(np.asarray(self.canvas.buffer_rgba())[..., :3])
        # Few inks: against a fixed palette a frame encodes in under half the time of full colour.
        image = image.quantize(palette=_palette(), dither=Image.Dither.NONE)
        buffer = io.BytesIO()
        image.save(buffer, format="png", compress_level=1)
        return buffer.getvalue()

    def still(self, view):
        """The same picture as an ordinary figure, for print and tests."""
        self.update(view)
        for chart in self.charts:
            for artist in chart.moving:
                artist.set_animated(False)
        self._background = None
        return self.figure

    def describe(self, view):
        """What the charts show, in words, for screen readers and print."""
        return " ".join(dict.fromkeys(chart.describe(view) for chart in self.charts))


def _stiffest(view, axle):
    """Force of the shock at full bump with the ring met at once: the top of the axes [N]."""
    corner = view.axles[axle].corner
    stack, full = corner.stack, corner.shock.full_bump
    early = stack.with_caps([0.25 * INCH + r.cap * 0 for r in stack.rings])
    force = early.force(min(full + float(corner.seat), 0.999 * float(early.solid_compression)))
    return float(force + corner.shock.gas_force(full) + corner.shock.limits(full))


def _spring_inks(count):
    """Ink and line style of each spring, main last."""
    between = [(SOFT, (0, (4, 1, 1, 1)))] * (count - 2)
    return [(TENDER, (0, (5, 1.5))), *between, (MAIN, "-")][-count:] if count > 1 else [(MAIN, "-")]


def _roles(count):
    """What the trade calls each spring of a stack, from the collar."""
    if count == 1:
        return ["spring"]
    return ["tender", *["middle"] * (count - 2), "main"]


def spread_apart(levels, apart):
    """Push label heights that would overlap apart, keeping their order."""
    order = np.argsort(levels, kind="stable")
    spread = np.array(levels, dtype=float)
    for _ in range(6 * len(order)):  # what is pushed may meet the next one
        for below, above in zip(order[:-1], order[1:], strict=True):
            short = apart - (spread[above] - spread[below])
            if short > 0:
                spread[below] -= 0.5 * short
                spread[above] += 0.5 * short
    return spread


def _short(name):
    return name.replace("-", " ")


def box(x, top, bottom, half):
    """Corners of an upright box around a middle line."""
    return [(x - half, top), (x + half, top), (x + half, bottom), (x - half, bottom)]


def coil_count(spring):
    """Coils to draw of a spring."""
    return max(3, round(spring.wire.total_coils)) if spring.wire else 8


def _coils(x, top, bottom, half, count):
    """A coil spring seen from the side, as a zigzag with flat ends."""
    y = np.linspace(top, bottom, 2 * count + 1)
    side = np.where(np.arange(y.size) % 2, half, -half)
    return x + side, y


def shock_curve(view, *, axle="front", units="us", size=(7.0, 4.6)):
    """Shock force over compression with the springs' shares.

    Parameters
    ----------
    view : View
    axle : {"front", "rear"}
    units : {"us", "metric"}
    size : (float, float)
        Inches.

    Returns
    -------
    matplotlib.figure.Figure
    """
    return Board(view, [[("shock", axle)]], units=units, size=size).still(view)


def wheel_curve(view, *, axle="front", units="us", size=(7.0, 4.6)):
    """Wheel force and rate over wheel travel; arguments as for `shock_curve`."""
    return Board(view, [[("wheel", axle)]], units=units, size=size).still(view)


def cut_away(view, *, axle="front", units="us", size=(7.0, 5.4)):
    """The shock to scale in three places; arguments as for `shock_curve`."""
    return Board(view, [[("cutaway", axle)]], units=units, size=size).still(view)


def side_view(view, *, units="us", size=(8.0, 4.0)):
    """The vehicle on the ground; arguments as for `shock_curve`."""
    return Board(view, [[("side", "front")]], units=units, size=size).still(view)


def rows_for(kind, axle):
    """The layout of a lesson's board.

    Parameters
    ----------
    kind : {"start", "install", "preload", "gap"}
    axle : {"front", "rear"}

    Returns
    -------
    tuple
        Rows for `Board`, and its size in inches.
    """
    layouts = {
        "start": ([[("side", axle), ("cutaway", axle)], [("shock", axle), ("wheel", axle)]], 7.2),
        "install": ([[("cutaway", axle), ("shock", axle)]], 4.4),
        "preload": ([[("side", axle), ("shock", axle)]], 4.4),
        "gap": ([[("cutaway", axle), ("shock", axle), ("wheel", axle)]], 4.6),
    }
    rows, height = layouts[kind]
    return rows, (10.4 if kind == "gap" else 9.3, height)


__all__ = [
    "CHARTS", "Board", "Chart", "cut_away", "rows_for", "shock_curve", "side_view", "wheel_curve",
]  # fmt: skip
