"""Kits of springs to choose from."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from suspkit.charts.board import FAINT, MAIN, SOFT, TENDER, Board, Chart, ShockCurve, place, style
from suspkit.studies.choose import OBJECTIVES
from suspkit.units import to_unit, unit_label


@dataclass(frozen=True, kw_only=True, eq=False)
class KitView:
    """A choice of springs with one kit of it picked out.

    Attributes
    ----------
    every : pandas.DataFrame
        All that can be built and stands, targets aside.
    choice : Choice
        What the targets leave of it; its first two objectives are the axes.
    kit : pandas.Series or None
        The kit picked out; none if the front is empty.
    look : View or None
        The vehicle with it.
    """

    every: object
    choice: object
    kit: object = None
    look: object = None

    def short(self, kit, units):
        """Rates of a kit's tender and main, as the trade says it: 250 over 320."""
        springs = self.choice.vehicle.springs
        rates = [springs[kit[name]].law.slope(0.0) for name in ("tender", "main")]
        return " over ".join(f"{to_unit(rate, 'rate', units):.0f}" for rate in rates)


class KitScatter(Chart):
    """Every kit as a dot, the trade-off front as a line, the kit picked out as a ring."""

    aspect = 1.15

    def make(self, view):
        axes, units = self.axes, self.units
        self.names = view.choice.objectives[:2]
        self.aims = [OBJECTIVES[name] for name in self.names]
        label = [f"{aim.words}, {unit_label(aim.kind, units)}" for aim in self.aims]
        style(axes, x=label[0], y=label[1])
        points = self._points(view.every)
        axes.plot(*points, ".", color=FAINT, markersize=2.5, zorder=1)
        for each, limits in zip(points, ("x", "y"), strict=True):
            low, high = (each.min(), each.max()) if each.size else (0.0, 1.0)
            room = 0.12 * (high - low) or 0.5  # of one kit alone as of none
            getattr(axes, f"set_{limits}lim")(low - room, high + room)
        self.within = self.line(axes, color=SOFT, marker="o", markersize=3, linestyle="", zorder=3)
        self.front = self.line(axes, color=MAIN, marker="o", markersize=5, linewidth=1.6, zorder=4)
        self.ring = self.line(
            axes, color=TENDER, marker="o", markersize=13, linestyle="", markeredgewidth=2.4,
            markerfacecolor="none", zorder=7,
        )  # fmt: skip
        self.texts = [self.text(axes, color=ink) for ink in (MAIN, MAIN, TENDER)]
        self.told = self.text(axes, color=SOFT, va="top")

    def _points(self, kits):
        """Both objectives of each kit, in the reader's units."""
        return np.array(
            [
                self.scale(kits[name].to_numpy(float), aim.kind)
                for name, aim in zip(self.names, self.aims, strict=True)
            ]
        )

    def update(self, view):
        front, kits = view.choice.front, view.choice.kits
        self.within.set_data(*self._points(kits))
        self.front.set_data(*self._points(front))
        x, y = self.axes.get_xlim(), self.axes.get_ylim()
        place(
            self.told, x[0] + 0.02 * (x[1] - x[0]), y[1] - 0.02 * (y[1] - y[0]),
            f"{len(view.every)} kits can be built; {len(kits)} meet the targets; "
            f"{len(front)} on the line",
        )  # fmt: skip
        for text in self.texts:
            text.set_text("")
        self.ring.set_data([], [])
        if view.kit is None:
            return
        at = self._points(front)
        mine = int(np.flatnonzero(front.index == view.kit.name)[0])
        self.ring.set_data(at[0, [mine]], at[1, [mine]])
        # The ends of the line are named on their outer sides, the kit picked out below its ring.
        spans = np.array([np.diff(x)[0], np.diff(y)[0]])
        across = (at[0] - x[0]) / spans[0]
        for text, i, outward in zip(self.texts, (0, len(front) - 1), (-1, 1), strict=False):
            if np.abs((at[:, i] - at[:, mine]) / spans).max() < 0.09:
                continue  # the ring's own label says it
            room = across[i] > 0.3 if outward < 0 else across[i] < 0.7
            ha = "right" if (outward < 0) == room else "left"
            words = f"  {view.short(front.iloc[i], self.units)}  "
            up = 0.0 if room else 0.02 * spans[1]
            place(text, at[0, i], at[1, i] + up, words, ha=ha, va="center" if room else "bottom")
        left = across[mine] < 0.75
        place(
            self.texts[2], at[0, mine], at[1, mine] - 0.045 * spans[1],
            view.short(view.kit, self.units), ha="left" if left else "right", va="top",
        )  # fmt: skip

    def describe(self, view):
        front = view.choice.front
        words = (
            f"{self.aims[1].words} over {self.aims[0].words}: {len(view.every)} kits can be built, "
            f"{len(view.choice.kits)} meet the targets, {len(front)} are on the trade-off front"
        )
        if view.kit is None:
            return f"{words}."
        ends = " to ".join(
            f"{self.say(front[self.names[0]].iloc[i], self.aims[0].kind)} and "
            f"{self.say(front[self.names[1]].iloc[i], self.aims[1].kind)}"
            for i in (0, -1)
        )
        return f"{words}, from {ends}."


class KitCurve(ShockCurve):
    """The force curve of the kit picked out."""

    def make(self, view):
        units = self.units
        super().make(view.look)
        words = f"{view.short(view.kit, units)} {unit_label('rate', units)}"
        self.axes.text(
            0.02, 0.97, words, transform=self.axes.transAxes, ha="left", va="top", fontsize=9,
            color=TENDER,
        )  # fmt: skip

    def update(self, view):
        super().update(view.look)

    def describe(self, view):
        return super().describe(view.look)


class KitBoard(Board):
    """A `Board` of kits to choose from; its view is a `KitView`."""

    KINDS = {"kits": KitScatter, "curve": KitCurve}

    def layout(self, view):
        axle = view.choice.axle
        curve = [("curve", axle)] if view.kit is not None else []
        return [[("kits", axle), *curve]], (10.4, 4.8)
