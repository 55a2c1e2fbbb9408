"""Sweeps as lines and maps."""

from __future__ import annotations

import io
import itertools
from dataclasses import dataclass, field

import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.colors import LinearSegmentedColormap
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle

from suspkit.charts.board import (
    BAND,
    FAINT,
    INK,
    MAIN,
    SOFT,
    TENDER,
    Board,
    settings,
    spread_apart,
    style,
)
from suspkit.dynamics.drive import METAL
from suspkit.studies.sweep import DIGITS, MEASURES
from suspkit.units import show, to_unit, unit_label
from suspkit.vehicle.vehicle import known_name


@dataclass(frozen=True, kw_only=True, eq=False)
class WhatIf:
    """A table of `suspkit.sweep` with what is to be seen of it.

    Attributes
    ----------
    table : pandas.DataFrame
    across : str
        Column along the picture.
    shows : str
        Column that is told.
    by : str
        Column that makes a line each, or that goes up a map if it is a number; none if empty.
    now : dict of str to float
        Where columns stand now [SI].
    words : dict of str to str
        What to call a column.
    own : str
        The line that ``now`` is about; all of them if empty.
    title : str
        What holds for all of it.
    units : {"us", "metric"}
    """

    table: object
    across: str
    shows: str
    by: str = ""
    now: dict = field(default_factory=dict)
    words: dict = field(default_factory=dict)
    own: str = ""
    title: str = ""
    units: str = "us"

    @property
    def is_map(self):
        """Whether two numbers are varied."""
        return self.by in self.table.attrs["kinds"]

    def scaled(self, column, value=None):
        """A column, or one SI value of it, in the reader's unit."""
        value = self.table[column].to_numpy(dtype=float) if value is None else value
        value = np.where(np.isinf(value), np.nan, value)[()]  # metal to metal: no number to draw
        return to_unit(value, self.table.attrs["kinds"][column], self.units)

    def heading(self, column):
        """What a column is called, and its unit."""
        label = unit_label(self.table.attrs["kinds"][column], self.units)
        words = self.words.get(column, column)
        return words if not label or words.endswith(label) else f"{words}, {label}"

    def say(self, column, value):
        """One SI value of a column as text with its unit."""
        kind = self.table.attrs["kinds"][column]
        if np.isinf(value):
            return METAL
        return show(float(value), kind, self.units, DIGITS.get(kind))

    def lines(self):
        """The rows of each line, by its label; of a map the one row nearest to how it is set."""
        if not self.by:
            return {"": self.table}
        labels = self.table[self.by].unique()
        if self.is_map:
            labels = labels[[np.abs(labels - self.now.get(self.by, labels[0])).argmin()]]
        return {
            f"{self.words.get(self.by, self.by)} {self.say(self.by, label)}"
            if self.is_map
            else label: self.table[self.table[self.by] == label]
            for label in labels
        }


class WhatIfBoard:
    """One picture of a `WhatIf`, drawn anew each time because its axes change with every move.

    Parameters
    ----------
    size : (float, float)
        Inches on paper; 100 pixels each on screen.
    """

    def __init__(self, *, size=(9.6, 4.6)):
        self.figure = Figure(figsize=size, dpi=Board.DPI, facecolor="white")
        self.canvas = FigureCanvasAgg(self.figure)

    def still(self, view):
        """The picture as an ordinary figure, for print and tests."""
        self.figure.clear()
        axes = self.figure.add_subplot()
        self.figure.subplots_adjust(left=0.085, right=0.97, top=0.93, bottom=0.13)
        up = view.by if view.is_map else view.shows
        style(axes, x=view.heading(view.across), y=view.heading(up))
        (_draw_map if view.is_map else _draw_lines)(axes, view)
        told = [view.heading(view.shows) if view.is_map else "", view.title]
        axes.set_title(
            "; ".join(filter(None, told)), loc="left", fontsize=9, color=SOFT, parse_math=False
        )
        return self.figure

    def render(self, view):
        """The picture as a PNG."""
        drawn = io.BytesIO()
        with settings({}):
            self.still(view).savefig(drawn, format="png")
        return drawn.getvalue()


_LINES = ((INK, "-"), (MAIN, (0, (6, 2))), (TENDER, (0, (1.5, 1.5))), (SOFT, (0, (4, 1, 1, 1))))


def _draw_lines(axes, view):
    x_all, y_all = view.scaled(view.across), view.scaled(view.shows)
    low, high = x_all.min(), x_all.max()
    # Room on the right for the names of the lines.
    axes.set_xlim(low, high + (0.16 if view.by else 0.03) * ((high - low) or 1.0))
    if not np.isfinite(y_all).any():
        axes.text(
            0.5, 0.5, "none of these can be", transform=axes.transAxes, ha="center", color=INK
        )
        return
    bottom, middle, top = np.nanmin(y_all), np.nanmean(y_all), np.nanmax(y_all)
    # What does not move shows as a flat line, not as rounding blown up.
    least = 0.02 * abs(middle) or float(top == bottom)
    bottom, top = min(bottom, middle - least), max(top, middle + least)
    axes.ticklabel_format(useOffset=False)
    axes.set_ylim(bottom - 0.12 * (top - bottom), top + 0.12 * (top - bottom))
    gone = _runs(view.table[view.shows].isna().groupby(view.table[view.across]).all().to_numpy())
    places = view.scaled(view.across, np.unique(view.table[view.across]))  # as `gone` is ordered
    for first, last in gone:
        axes.axvspan(places[first], places[last], facecolor=BAND, zorder=0)
        axes.text(places[first : last + 1].mean(), 0.03, "cannot be", rotation=90, ha="center",
                  transform=axes.get_xaxis_transform(), color=SOFT, fontsize=9)  # fmt: skip
    ends = []
    for (label, rows), (ink, dashes) in zip(view.lines().items(), itertools.cycle(_LINES)):
        x = view.scaled(view.across, rows[view.across].to_numpy())
        y = view.scaled(view.shows, rows[view.shows].to_numpy())
        well = (rows["problem"] == "").to_numpy()
        axes.plot(x, np.where(well, np.nan, y), color=ink, linewidth=1.2, linestyle=(0, (1, 3)))
        axes.plot(x, np.where(well, y, np.nan), color=ink, linewidth=2.2, linestyle=dashes)
        there = np.flatnonzero(np.isfinite(y))
        if there.size and label:
            ends.append((y[there[-1]], x[there[-1]], label, ink))
        at = view.now.get(view.across) if view.own in ("", label) else None
        if (
            at is not None
            and there.size
            and rows[view.across].min() <= at <= rows[view.across].max()
        ):
            here = view.scaled(view.across, at), np.interp(at, rows[view.across], y)
            axes.plot(*here, "o", color=ink, markersize=7, zorder=7)
            said = view.say(view.shows, np.interp(at, rows[view.across], rows[view.shows]))
            axes.annotate(f"as set {said}", here, (7, -7), textcoords="offset points", va="top",
                          fontsize=9, color=ink, zorder=7)  # fmt: skip
    levels = spread_apart([end[0] for end in ends], 0.06 * np.diff(axes.get_ylim())[0])
    for place, (_, x, label, ink) in zip(levels, ends, strict=True):
        axes.text(x, place, f"  {label}", color=ink, fontsize=9, va="center", parse_math=False)


def _runs(flags):
    """First and last place of each run of true ones."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], flags, [False]]).astype(int)))
    return [(first, past - 1) for first, past in edges.reshape(-1, 2)]


_PALE = LinearSegmentedColormap.from_list("pale", ["white", "#8fadbd"])


def _draw_map(axes, view):
    grid = view.table.pivot(index=view.by, columns=view.across, values=view.shows)
    x = view.scaled(view.across, grid.columns.to_numpy(dtype=float))
    y = view.scaled(view.by, grid.index.to_numpy(dtype=float))
    z = np.ma.masked_invalid(view.scaled(view.shows, grid.to_numpy(dtype=float)))
    axes.set(xlim=(x[0], x[-1]), ylim=(y[0], y[-1]))
    axes.grid(False)
    # What lies under the colours shows where nothing can be worked out.
    axes.add_patch(Rectangle((0, 0), 1, 1, transform=axes.transAxes, facecolor="white",
                             edgecolor=FAINT, hatch="///", zorder=0))  # fmt: skip
    if z.count() and z.max() - z.min() > 1e-6 * abs(z).max():
        axes.contourf(x, y, z, levels=12, cmap=_PALE, zorder=1)
        levels = axes.contour(x, y, z, levels=12, colors=INK, linewidths=1.0, zorder=2)
        axes.clabel(levels, fontsize=9, colors=INK)
    elif z.count():
        axes.text(0.5, 0.5, "the same everywhere", transform=axes.transAxes, ha="center", color=INK)
    at = [view.now.get(column) for column in (view.across, view.by)]
    if None not in at:
        here = [view.scaled(c, v) for c, v in zip((view.across, view.by), at, strict=True)]
        axes.plot(*here, "o", color=INK, markersize=9, markeredgecolor="white", zorder=7)
        axes.annotate("as set", here, (7, -7), textcoords="offset points", va="top", fontsize=9)


def what_if(table, *, across, shows, by="", now=None, units="us", size=(9.6, 4.6)):
    """A table of `suspkit.sweep` as lines, or as a map where ``by`` is a number.

    Parameters
    ----------
    table : pandas.DataFrame
    across, shows, by : str
        Columns: along the picture, what is told, and what makes a line each or goes up a map.
    now : dict of str to float, optional
        Where columns stand now [SI].
    units : {"us", "metric"}
    size : (float, float)
        Inches.

    Returns
    -------
    matplotlib.figure.Figure
    """
    for name in filter(None, (across, shows, by)):
        known_name(name, dict.fromkeys(table.columns), "column", "a column of the table")
    words = {name: words for name, (words, _) in MEASURES.items()}
    view = WhatIf(
        table=table, across=across, shows=shows, by=by, now=now or {}, words=words, units=units
    )
    return WhatIfBoard(size=size).still(view)
