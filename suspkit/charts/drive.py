"""Clicks and drives to matplotlib figures, in the style of `suspkit.charts.board`. No physics."""

from __future__ import annotations

import numpy as np
from matplotlib.collections import LineCollection

from suspkit.charts.board import (
    CHARTS,
    FAINT,
    INK,
    MAIN,
    SOFT,
    TENDER,
    Board,
    Chart,
    CutAway,
    SideView,
    place,
    style,
)
from suspkit.dynamics.damping import AMPLITUDE
from suspkit.dynamics.view import PLACES, SIGNS, drawn_places, wheels_of
from suspkit.parts.damper import DIRECTIONS
from suspkit.units import GRAVITY, INCH, unit_label
from suspkit.vehicle.setup import AXLES

SEAT_LIMIT = 2.0 * GRAVITY
"""Where the picture of seat acceleration ends, either way [m/s^2]: hits beyond are in words."""

_PLACE_INKS = {"below": TENDER, "past": MAIN, "ride": MAIN}
_DIRECTION_STYLES = {"compression": "-", "rebound": (0, (5, 1.5))}


class ForceVelocity(Chart):
    """Damper force over shaft velocity: every click, the ones set in bold."""

    aspect = 1.2

    def make(self, view):
        axes, axle, units = self.axes, self.axle, self.units
        seen = view.clicks[axle]
        style(
            axes,
            x=f"shaft velocity, compression to the right, {unit_label('velocity', units)}",
            y=f"{axle} damper force, {unit_label('force', units)}",
        )
        speed = self.scale(seen.speed, "velocity")
        force = {d: self.scale(f, "force") for d, f in seen.force.items()}
        axes.set_xlim(-1.14 * speed[-1], 1.14 * speed[-1])
        low, high = -force["rebound"].max(), force["compression"].max()
        axes.set_ylim(1.12 * low, 1.25 * high)
        axes.axhline(0, color=SOFT, linewidth=0.8)
        axes.axvline(0, color=SOFT, linewidth=0.8)
        # The family is the background: a click chooses from it and does not move it.
        lines = [
            np.column_stack([SIGNS[d] * speed, SIGNS[d] * one]) for d in force for one in force[d]
        ]
        self.family = axes.add_collection(LineCollection(lines, colors=FAINT, linewidths=0.9))
        for direction, sign in SIGNS.items():
            inner, outer = ("top", "bottom") if sign > 0 else ("bottom", "top")
            for click, va in ((0, outer), (len(force[direction]) - 1, inner)):
                ends = {"x": sign * 1.015 * speed[-1], "y": sign * force[direction][click, -1]}
                axes.text(
                    **ends, s=f"{click}", ha="left" if sign > 0 else "right", va=va,
                    fontsize=8, color=SOFT,
                )  # fmt: skip
        self.curve = self.line(axes, color=INK, linewidth=2.4)
        self.texts = {d: self.text(axes, color=INK) for d in DIRECTIONS}
        self.low, self.high = low, high

    def update(self, view):
        seen = view.clicks[self.axle]
        velocity, force = seen.current()
        self.curve.set_data(self.scale(velocity, "velocity"), self.scale(force, "force"))
        reach = self.scale(seen.speed[-1], "velocity")
        for direction, sign in SIGNS.items():
            words = f"{direction} {seen.now[direction]}"
            side = "left" if sign < 0 else "right"
            at = 1.22 * self.high if sign > 0 else 1.09 * self.low
            place(
                self.texts[direction], sign * reach, at, words, ha=side,
                va="top" if sign > 0 else "bottom",
            )  # fmt: skip

    def describe(self, view):
        seen = view.clicks[self.axle]
        parts = [
            f"{d} at {seen.now[d]} of {len(seen.force[d]) - 1} clicks from fully {seen.zero[d]}, "
            f"{self.say(seen.force[d][seen.now[d], -1], 'force')} at "
            f"{self.say(seen.speed[-1], 'velocity')}"
            for d in DIRECTIONS
        ]
        return f"{self.axle.capitalize()} damper force over shaft velocity: {'; '.join(parts)}."


class RatioOverClicks(Chart):
    """Damping ratio at every click, below and past crossover, bump and rebound."""

    aspect = 1.1

    def make(self, view):
        axes, axle = self.axes, self.axle
        seen = view.clicks[axle]
        count = max(len(f) for f in seen.force.values()) - 1
        style(
            axes,
            x=f"clicks from fully {seen.zero['rebound']}",
            y=f"{axle} damping ratio, wheel ±{self.say(AMPLITUDE, 'tape')}",
        )
        axes.set_xlim(-0.3, max(1.0, 1.5 * count))
        axes.set_xticks(range(0, count + 1, max(1, count // 6)))
        most = max(r.max() for kind in seen.ratio.values() for r in kind.values())
        self.top = 1.15 * most
        axes.set_ylim(0, self.top)
        self.count = count
        self.keys = [(d, w) for d in DIRECTIONS for w in drawn_places(seen)]
        self.lines = {
            (d, w): self.line(
                axes, color=_PLACE_INKS[w], linewidth=1.8, linestyle=_DIRECTION_STYLES[d]
            )
            for d, w in self.keys
        }
        self.names = {key: self.text(axes, color=_PLACE_INKS[key[1]]) for key in self.keys}
        self.marks = {
            d: self.line(
                axes, color=INK, marker="o", markersize=7, linestyle="", zorder=7,
                markerfacecolor=INK if d == "compression" else "white", markeredgewidth=1.8,
            )
            for d in DIRECTIONS
        }  # fmt: skip

    def update(self, view):
        seen = view.clicks[self.axle]
        # Names beside the ends of their lines, from the lowest up, none on another.
        keys = sorted(self.keys, key=lambda key: seen.ratio[key[0]][key[1]][-1])
        height = -np.inf
        for d, w in keys:
            ratio = seen.ratio[d][w]
            height = max(ratio[-1], height + 0.07 * self.top, 0.03 * self.top)
            clicks = np.arange(ratio.size)
            self.lines[d, w].set_data(clicks, ratio)
            words = f" {d}, {PLACES[w].removesuffix(' crossover')}"
            place(self.names[d, w], clicks[-1], height, words, ha="left", va="center")
        for direction in DIRECTIONS:
            now = seen.now[direction]
            at = [seen.ratio[direction][w][now] for w in drawn_places(seen)]
            self.marks[direction].set_data([now] * len(at), at)

    def describe(self, view):
        seen = view.clicks[self.axle]
        parts = [
            f"{d} at {seen.now[d]} clicks {seen.ratio[d][w][seen.now[d]]:.2f} {PLACES[w]}"
            for d, w in self.keys
        ]
        return f"{self.axle.capitalize()} damping ratio: {', '.join(parts)}."


class TravelTrace(Chart):
    """Wheel travel of one axle over time in both set-ups, with full bump and crossover."""

    aspect = 1.0

    def make(self, view):
        axes, axle, units = self.axes, self.axle, self.units
        style(axes, x="time, s", y=f"{axle} wheel travel, {unit_label('length', units)}")
        self.end = view.event.duration
        corner = view.runs[0].corners[wheels_of(view.runs[0], axle)[0]]
        self.full = self.scale(corner.full_bump_travel, "length")
        axes.set_xlim(0, self.end)
        axes.set_ylim(-0.06 * self.full, 1.22 * self.full)
        axes.axhline(self.full, color=SOFT, linewidth=1.2, linestyle=(0, (1, 1)))
        axes.text(
            self.end, 1.01 * self.full, "full bump", ha="right", va="bottom", fontsize=8, color=SOFT
        )
        self.cross = self.line(axes, color=TENDER, linewidth=1.0)
        self.cross_text = self.text(axes, color=TENDER, fontsize=8)
        self.lines = [
            self.line(axes, color=ink, linewidth=width, linestyle=dash)
            for ink, width, dash in ((INK, 2.0, "-"), (MAIN, 1.4, (0, (4, 2))))
        ]
        self.hits = self.line(axes, color=TENDER, marker="v", markersize=7, linestyle="", zorder=7)
        self.words = self.text(axes)
        self.cursor = self.line(axes, color=MAIN, linewidth=1.0)

    def update(self, view):
        found = []
        for line, run in zip(self.lines, view.runs, strict=False):
            wheel = wheels_of(run, self.axle)[0]
            line.set_data(run.time, self.scale(run.travel[wheel], "length"))
            found += list(run.hits(wheel))
        self.hits.set_data(found, np.full(len(found), 1.06 * self.full))
        corner = view.runs[0].corners[wheels_of(view.runs[0], self.axle)[0]]
        met = float(corner.crossover)
        if met < corner.shock.full_bump:
            level = self.scale(corner.linkage.travel(met), "length")
            self.cross.set_data([0, self.end], [level, level])
            words = "crossover" if len(view.labels) == 1 else "crossover, solid"
            place(self.cross_text, self.end, level, words, ha="right", va="bottom")
        else:
            self.cross.set_data([], [])
            self.cross_text.set_text("")
        words = f"{view.labels[0]} solid" + (
            f", {view.labels[1]} dashed" if len(view.labels) > 1 else ""
        )
        place(self.words, 0.01 * self.end, 1.2 * self.full, words, ha="left", va="top")
        moment = [view.moment] * 2 if view.moment > 0 else []
        self.cursor.set_data(moment, [-0.06 * self.full, 1.1 * self.full][: len(moment)])

    def describe(self, view):
        parts = [
            f"{label} up to {self.say(run.travel[wheels_of(run, self.axle)].max())}"
            for label, run in zip(view.labels, view.runs, strict=True)
        ]
        return f"{self.axle.capitalize()} wheel travel over time: {', '.join(parts)}."


class SeatTrace(Chart):
    """Upward acceleration of the driver's seat over time in both set-ups."""

    aspect = 1.0

    def make(self, view):
        axes, units = self.axes, self.units
        style(axes, x="time, s", y=f"driver's seat, {unit_label('acceleration', units)}")
        self.end, top = view.event.duration, self.scale(SEAT_LIMIT, "acceleration")
        axes.set_xlim(0, self.end)
        axes.set_ylim(-top, top)
        axes.axhline(0, color=SOFT, linewidth=0.8)
        self.lines = [
            self.line(axes, color=ink, linewidth=width, linestyle=dash)
            for ink, width, dash in ((INK, 1.4, "-"), (MAIN, 1.1, (0, (4, 2))))
        ]
        self.beyond = self.text(axes, fontsize=8)
        self.cursor = self.line(axes, color=MAIN, linewidth=1.0)

    def update(self, view):
        top, found = self.axes.get_ylim()[1], []
        for line, label, run, seat in zip(
            self.lines, view.labels, view.runs, view.seats, strict=False
        ):
            line.set_data(run.time, self.scale(seat, "acceleration"))
            peak = np.abs(seat).max()
            if peak > SEAT_LIMIT:
                found.append(f"{label} peaks at {self.scale(peak, 'acceleration'):.0f} g")
        place(self.beyond, 0.99 * self.end, 0.97 * top, ", ".join(found), ha="right", va="top")
        moment = [view.moment] * 2 if view.moment > 0 else []
        self.cursor.set_data(moment, [-top, top][: len(moment)])

    def describe(self, view):
        parts = [
            f"{label} peaks at {self.scale(np.abs(seat).max(), 'acceleration'):.1f} g"
            for label, seat in zip(view.labels, view.seats, strict=True)
        ]
        return f"Upward acceleration of the driver's seat over time: {', '.join(parts)}."


class RunSide(SideView):
    """The vehicle from the side at one moment of a run, on the ground it drives over."""

    def make(self, view):
        super().make(view)
        self.axes.set_ylim(-24 * INCH, 98 * INCH)
        self.axes.lines[0].set_visible(False)  # flat ground: here it moves
        self.ground = self.line(self.axes, color=INK, linewidth=1.4)
        low, high = self.axes.get_xlim()
        self.ahead = np.linspace(low, high, 241)

    def update(self, view):
        run, vehicle, i = view.run, view.vehicle, view.frame
        event, base = run.event, view.vehicle.wheelbase
        front = event.speed * run.time[i] - event.approach
        ground = event.road.height(front + self.ahead, side="left")
        # The eye goes with the ground, not with the body.
        eye = np.interp(-0.5 * base, self.ahead, _smooth(ground))
        self.ground.set_data(self.ahead, ground - eye)
        pitch = float(run.pitch[i])
        on_ground = self._pose(pitch, float(view.frame_height - eye), base)
        turn = np.linspace(0, 2 * np.pi, 61)
        hubs_x, hubs_z = [], []
        for k, (axle, part, wheel, text) in enumerate(
            zip(AXLES, (vehicle.front, vehicle.rear), self.wheels, self.texts, strict=True)
        ):
            j = wheels_of(run, axle)[0]
            travel = run.travel[j, i]
            x = on_ground([(-base * k, -part.hub_below_frame + travel)])[0][0]
            z = run.hub_height[j, i] - eye
            rim = x + part.tyre.radius * np.cos(turn)
            floor = np.interp(rim, self.ahead, ground - eye)
            wheel.set_data(rim, np.maximum(z + part.tyre.radius * np.sin(turn), floor))
            corner = run.corners[j]
            full = view.at_full_bump(axle)
            wheel.set_color(TENDER if full else INK)
            hubs_x.append(x)
            hubs_z.append(z)
            air = ", in the air" if run.tyre_load[j, i] <= 0 else ""
            words = "full bump" if full else f"{travel / corner.full_bump_travel:z.0%}{air}"
            place(text, x, -22 * INCH, f"{axle} {words}", ha="center", va="bottom")
        self.hubs.set_data(hubs_x, hubs_z)
        words = f"{view.labels[view.shown]}, {run.time[i]:.2f} s"
        place(self.rake, -0.5 * base, 95 * INCH, words)

    def describe(self, view):
        return (
            f"Side view of {view.labels[view.shown]} {view.run.time[view.frame]:.2f} s into the "
            "run, on the ground it drives over."
        )


def _smooth(ground):
    window = np.hanning(121)
    padded = np.pad(ground, 60, mode="edge")
    return np.convolve(padded, window / window.sum(), mode="valid")


class RunCutAway(CutAway):
    """Front and rear shock to scale at one moment of a run; full bump is marked."""

    aspect = 0.9

    def make(self, view):
        axes = self.axes
        axes.set_aspect("equal")
        axes.axis("off")
        self.step, self.radius = 15 * INCH, 1.25 * INCH
        corners = {a: view.run.corners[wheels_of(view.run, a)[0]] for a in AXLES}
        span = max(c.shock.thread.seat_span for c in corners.values())
        axes.set_xlim(-0.7 * self.step, 1.4 * self.step)
        axes.set_ylim(span + 4.0 * INCH, -6.2 * INCH)
        self.columns = {
            a: self._column(corner, i * self.step, f"{a} shock")
            for i, (a, corner) in enumerate(corners.items())
        }
        self.foot_texts = {a: self.text(axes, fontsize=9) for a in AXLES}
        self.bottom = span + 3.0 * INCH

    def update(self, view):
        run = view.run
        for axle, column in self.columns.items():
            wheel = wheels_of(run, axle)[0]
            corner, cut = run.corners[wheel], view.cutaway(axle)
            self._draw(column, corner, cut)
            full = view.at_full_bump(axle)
            touched = cut.compression >= corner.shock.bump_touch
            column["stop"].set_facecolor(TENDER if full else MAIN if touched else FAINT)
            words = "full bump" if full else "on the bump stop" if touched else ""
            text = self.foot_texts[axle]
            text.set_color(TENDER if full else MAIN)
            place(text, column["x"], self.bottom, words, ha="center", va="top")

    def describe(self, view):
        parts = [f"{axle} at {self.say(view.cutaway(axle).compression)}" for axle in AXLES]
        return f"Cut-away of both shocks at that moment: {', '.join(parts)} of compression."


RIDE_CHARTS = {
    "force": ForceVelocity,
    "ratio": RatioOverClicks,
    "travel": TravelTrace,
    "seat": SeatTrace,
    "run-side": RunSide,
    "run-cutaway": RunCutAway,
}
"""The charts of a ride, by name."""


class RideBoard(Board):
    """A `Board` of `RIDE_CHARTS`; its view is a `suspkit.dynamics.view.RideView`."""

    KINDS = CHARTS | RIDE_CHARTS

    def layout(self, view):
        return ride_rows("road", "front")


def ride_rows(kind, axle):
    """The layout of a lesson's board.

    Parameters
    ----------
    kind : {"clicks", "road"}
    axle : {"front", "rear"}

    Returns
    -------
    tuple
        Rows for `RideBoard`, and its size in inches.
    """
    layouts = {
        "clicks": [[("force", axle), ("ratio", axle)], [("travel", "front"), ("travel", "rear")]],
        "road": [
            [("run-side", axle), ("run-cutaway", axle)],
            [("travel", "front"), ("travel", "rear"), ("seat", axle)],
        ],
    }
    return layouts[kind], (9.6, 6.9) if kind == "clicks" else (10.4, 7.8)


def ride_chart(kind, view, *, axle="front", units="us", size=(7.0, 4.6)):
    """One chart of `RIDE_CHARTS` as an ordinary figure.

    Parameters
    ----------
    kind : str
        Of `RIDE_CHARTS`.
    view : RideView
    axle : {"front", "rear"}
    units : {"us", "metric"}
    size : (float, float)
        Inches.

    Returns
    -------
    matplotlib.figure.Figure
    """
    return RideBoard(view, [[(kind, axle)]], units=units, size=size).still(view)


__all__ = [
    "RIDE_CHARTS", "SEAT_LIMIT", "ForceVelocity", "RatioOverClicks", "RideBoard", "RunCutAway",
    "RunSide", "SeatTrace", "TravelTrace", "ride_chart", "ride_rows",
]  # fmt: skip
