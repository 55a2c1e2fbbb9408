"""Pictures of studies: roll, springs to choose from, how sure, what the tape says."""

from __future__ import annotations

import io
import itertools
from dataclasses import dataclass, field

import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.colors import LinearSegmentedColormap
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle

from suspkit.charts import (
    BAND,
    FAINT,
    INK,
    MAIN,
    SOFT,
    TENDER,
    Board,
    Chart,
    ShockCurve,
    _spread,
    style,
)
from suspkit.charts import place as put
from suspkit.choosing import OBJECTIVES
from suspkit.setup import CORNERS
from suspkit.units import GRAVITY, INCH, show, to_unit, unit_label
from suspkit.vehicle import known_name
from suspkit.whatif import DIGITS, MEASURES

# --- what if -------------------------------------------------------------------------------------


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
        return to_unit(value, self.table.attrs["kinds"][column], self.units)

    def heading(self, column):
        """What a column is called, and its unit."""
        label = unit_label(self.table.attrs["kinds"][column], self.units)
        words = self.words.get(column, column)
        return words if not label or words.endswith(label) else f"{words}, {label}"

    def say(self, column, value):
        """One SI value of a column as text with its unit."""
        kind = self.table.attrs["kinds"][column]
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
        """The picture as an ordinary figure, for print and tests.

        Parameters
        ----------
        view : WhatIf

        Returns
        -------
        Figure
        """
        self.figure.clear()
        axes = self.figure.add_subplot()
        self.figure.subplots_adjust(left=0.085, right=0.97, top=0.93, bottom=0.13)
        up = view.by if view.is_map else view.shows
        style(axes, x=view.heading(view.across), y=view.heading(up))
        (_draw_map if view.is_map else _draw_lines)(axes, view)
        told = [view.heading(view.shows) if view.is_map else "", view.title]
        axes.set_title("; ".join(filter(None, told)), loc="left", fontsize=9, color=SOFT)
        return self.figure

    def render(self, view):
        """The picture as a PNG.

        Parameters
        ----------
        view : WhatIf

        Returns
        -------
        bytes
        """
        drawn = io.BytesIO()
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
    places = np.unique(x_all)
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
    for place, (_, x, label, ink) in zip(
        _spread([end[0] for end in ends], 0.06 * np.diff(axes.get_ylim())[0]), ends, strict=True
    ):
        axes.text(x, place, f"  {label}", color=ink, fontsize=9, va="center")


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


# ------------------------------------------------------------------------------------ how sure

_REACH = {"ride height": 0.65 * INCH, "rake": 0.0085, "left less right": 0.24 * INCH}
"""Half of the axis of each quantity [SI]."""

_HABIT_INKS = (("turns counted", MAIN), ("collar copied", TENDER))


class SpreadOf(Chart):
    """Where vehicles set up alike come out, by both habits of setting the preload.

    Its view is a `suspkit.tolerance.Habits`. Each habit has a row: its shape, and a bar under it
    from the 5 to the 95 % that are below.
    """

    quantity = "ride height"

    def __init__(self, figure, area, view, axle, units):
        super().__init__(figure, area, view, axle, units)
        self.where = "vehicle" if self.quantity == "rake" else axle
        self.kind = "percent" if self.quantity == "rake" else "length"
        self.axes = axes = figure.add_subplot(area)
        name = {"ride height": f"{axle} ride height", "left less right": f"{axle} left less right"}
        unit = unit_label(self.kind, units)
        style(axes, x=f"{name.get(self.quantity, 'rake, nose high to the right')}, {unit}")
        reach = _REACH[self.quantity]
        middle = view.counted.numbers.loc[(self.quantity, self.where), "middle"]
        # Heights stand about their own middle, differences about none.
        middle = middle if self.quantity == "ride height" else 0.0
        self.edges = np.linspace(middle - reach, middle + reach, 97)
        axes.set_xlim(*self.scale(self.edges[[0, -1]], self.kind))
        axes.set_ylim(0.0, 2.0)
        axes.set_yticks([])
        axes.spines["left"].set_visible(False)
        self.fills, self.bars, self.outlines, self.texts = [], [], [], []
        for row, (_, ink) in enumerate(_HABIT_INKS):
            axes.axhline(self._base(row), color=FAINT, linewidth=0.8)
            fill = {"facecolor": ink, "edgecolor": ink, "alpha": 0.45 if row else 0.75}
            self.fills.append(self.shapes(axes, **fill, linewidth=0.8))
            bar = {"color": ink, "linewidth": 3.0, "solid_capstyle": "butt"}
            self.bars.append(self.line(axes, **bar, marker="|", markersize=9))
            self.outlines.append(self.line(axes, color=INK, linewidth=1.2, linestyle=(0, (3, 1.5))))
            self.texts.append(self.text(axes, color=ink, va="top"))
            self.texts[row].set_position((axes.get_xlim()[0], self._base(row) + 0.78))

    @staticmethod
    def _base(row):
        return 1.16 - row

    def _shape(self, values):
        """Height of a row's shape at the middle of each bin, its own highest being one."""
        count, _ = np.histogram(values, self.edges)
        count = np.convolve(count, np.array([1, 4, 6, 4, 1]) / 16, "same")
        return count / max(count.max(), 1e-12)

    def update(self, view):
        x = self.scale(0.5 * (self.edges[1:] + self.edges[:-1]), self.kind)
        for row, one in enumerate((view.counted, view.copied)):
            base = self._base(row)
            y = base + 0.5 * self._shape(one.samples[self.quantity, self.where])
            corners = [(x[0], base), *zip(x, y, strict=True), (x[-1], base)]
            self.fills[row].set_verts([np.array(corners)])
            ends = one.numbers.loc[(self.quantity, self.where)][["low", "high"]].to_numpy()
            self.bars[row].set_data(self.scale(ends, self.kind), [base - 0.07] * 2)
            between = one.between(self.quantity, self.where, self.units)
            more = self._more(one, row, x, base)
            self.texts[row].set_text(f"{_HABIT_INKS[row][0]}, 9 of 10: {between}{more}")

    def _more(self, one, row, x, base):
        """What else a row shows, and words for it."""
        return ""

    def describe(self, view):
        parts = [
            f"{name} {one.between(self.quantity, self.where, self.units)}"
            for (name, _), one in zip(_HABIT_INKS, (view.counted, view.copied), strict=True)
        ]
        named = "rake" if self.where == "vehicle" else f"{self.where} {self.quantity}"
        return f"Nine of ten vehicles, {named}: {'; '.join(parts)}.{self._described(view)}"

    def _described(self, view):
        return ""


class SpreadRake(SpreadOf):
    """The same of rake."""

    quantity = "rake"


class SpreadSides(SpreadOf):
    """The same of left less right, as it stands and by tape, the shop's limit shaded."""

    quantity = "left less right"

    def __init__(self, figure, area, view, axle, units):
        super().__init__(figure, area, view, axle, units)
        limit = self.scale(view.counted.side_to_side, "length")
        self.axes.axvspan(-limit, limit, color=BAND, zorder=0)
        self.axes.set_xlabel(f"{self.axes.get_xlabel()} (shaded: passes; dashed: by tape)")

    def _more(self, one, row, x, base):
        by_tape = one.samples[f"{self.quantity} by tape", self.where]
        self.outlines[row].set_data(x, base + 0.5 * self._shape(by_tape))
        return f"; {one.fails[self.where]:.0%} fail"

    def _described(self, view):
        counted, copied = (100 * one.fails[self.where] for one in (view.counted, view.copied))
        return f" By tape {counted:.0f}% and {copied:.0f}% fail the check."


class SpreadBoard(Board):
    """A `Board` of how sure numbers are; its view is a `suspkit.tolerance.Habits`."""

    KINDS = {"height": SpreadOf, "rake": SpreadRake, "sides": SpreadSides}


def spread_rows():
    """The layout of the lesson's board.

    Returns
    -------
    tuple
        Rows for `SpreadBoard`, and its size in inches.
    """
    rows = [[("height", "front"), ("height", "rear")], [("rake", "front"), ("sides", "front")]]
    return rows, (9.6, 5.6)


def spread_chart(view, *, units="us"):
    """Both habits' spreads as an ordinary figure.

    Parameters
    ----------
    view : Habits
    units : {"us", "metric"}

    Returns
    -------
    matplotlib.figure.Figure
    """
    rows, size = spread_rows()
    return SpreadBoard(view, rows, units=units, size=size).still(view)


# ------------------------------------------------------------------------------------ road test


@dataclass(frozen=True, kw_only=True, eq=False)
class RoadTest:
    """A fit, beside what was really the case where that is known.

    Attributes
    ----------
    fit : Fit
    truth : dict of str to float
        By the names of ``fit.estimates``, empty if it is not known [SI].
    made : str
        The slip really made, in words.
    read : str
        What was read, in words.
    """

    fit: object
    truth: dict = field(default_factory=dict)
    made: str = ""
    read: str = ""


LEARNED = {
    "sprung mass": "sprung mass", "centre behind front axle": "centre behind front axle",
    "centre left of middle": "centre left of middle", "friction": "friction, of the file's",
    "rate": "{} rate, of the file's", "free length": "{}, springs longer by",
}  # fmt: skip
"""The estimates shown and what to call them; of several, by corner or stack."""


def learned(fit):
    """The estimates a picture shows.

    Parameters
    ----------
    fit : Fit

    Returns
    -------
    dict of str to Estimate
        By what to call them.
    """
    found = {}
    for name, one in fit.estimates.items():
        what, *where = name.split(", ")
        if what in LEARNED:
            words = LEARNED[what].format(*(w.replace("_", " ") for w in where))
            # Of a corner that had other springs before, each needs its name.
            found[f"{words} ({where[-1]})" if words in found else words] = one
    return found


def _plus_minus(one, units):
    """A value and what 9 of 10 are within, in few words."""
    digits = {"percent": 1, "mass": 1}.get(one.kind, 2 if units == "us" else 1)
    middle = show(one.mean, one.kind, units, digits)
    return f"{middle} ± {show(0.5 * (one.high - one.low), one.kind, units, digits)}"


class Learned(Chart):
    """Each unknown: a grey bar as believed before, a dark one as learned, the truth if known."""

    aspect = 1.15

    def __init__(self, figure, area, view, axle, units):
        super().__init__(figure, area, view, axle, units)
        self.axes = axes = figure.add_subplot(area)
        self.names = list(learned(view.fit))
        count = len(self.names)
        style(axes)
        axes.set_xlim(-6.6, 5.2)
        axes.set_ylim(count - 0.3, -1.7)
        axes.axis("off")
        for row, name in enumerate(self.names):
            axes.plot([-1.645, 1.645], [row, row], color=FAINT, linewidth=11, solid_capstyle="butt")
            axes.text(-2.3, row, name, ha="right", va="center", fontsize=9, color=INK)
        axes.plot([0, 0], [-0.6, count - 0.4], color=SOFT, linewidth=0.8, linestyle=(0, (2, 2)))
        axes.text(0, -0.6, "the file says", ha="center", va="bottom", fontsize=8.5, color=SOFT)
        axes.text(
            -6.6, -1.25, "9 of 10 times: grey before, dark once read", ha="left", va="bottom",
            fontsize=8.5, color=SOFT,
        )  # fmt: skip
        self.bars = [
            self.line(axes, color=MAIN, linewidth=5, solid_capstyle="butt") for _ in self.names
        ]
        marker = {"marker": "D", "markersize": 5, "markerfacecolor": "white", "linestyle": ""}
        self.truths = [
            self.line(axes, color=TENDER, markeredgewidth=1.6, zorder=7, **marker)
            for _ in self.names
        ]
        self.texts = [self.text(axes, color=MAIN, fontsize=9) for _ in self.names]
        self.key = self.text(axes, color=TENDER, fontsize=8.5)

    def update(self, view):
        shown = learned(view.fit)
        for row, name in enumerate(self.names):
            one = shown[name]
            ends = (np.array([one.low, one.high]) - one.file) / one.sd_before
            self.bars[row].set_data(ends, [row, row])
            true = view.truth.get(one.name)
            at = [] if true is None else [(true - one.file) / one.sd_before]
            self.truths[row].set_data(at, [row] * len(at))
            put(self.texts[row], 2.5, row, _plus_minus(one, self.units), va="center")
        words = "diamond: the truth" if view.truth else ""
        put(self.key, 5.2, -1.25, words, ha="right", va="bottom")

    def describe(self, view):
        told = [f"{n} {_plus_minus(e, self.units)}" for n, e in learned(view.fit).items()]
        return f"Learned, 9 of 10 times within: {'; '.join(told)}."


class Explanations(Chart):
    """How likely no slip is, and each of the likeliest slips."""

    aspect = 0.9
    ROWS = 5

    def __init__(self, figure, area, view, axle, units):
        super().__init__(figure, area, view, axle, units)
        self.axes = axes = figure.add_subplot(area)
        style(axes, x="chance that it explains the log, %")
        axes.set_xlim(0, 100)
        axes.set_ylim(self.ROWS - 0.3, -0.75)
        axes.set_yticks([])
        axes.spines["left"].set_visible(False)
        self.bars = [self.line(axes, linewidth=9, solid_capstyle="butt") for _ in range(self.ROWS)]
        self.texts = [self.text(axes) for _ in range(self.ROWS)]

    def update(self, view):
        shown = likeliest(view, self.ROWS)
        for row, (bar, text) in enumerate(zip(self.bars, self.texts, strict=True)):
            words, chance = shown[row] if row < len(shown) else ("", 0.0)
            ink = MAIN if words == NO_SLIP else TENDER
            bar.set_data([0, 100 * chance], [row, row])
            bar.set_color(ink)
            text.set_color(ink)
            put(text, 0, row - 0.3, f"{words}: {percent(chance)}" if words else "", va="bottom")

    def describe(self, view):
        told = "; ".join(f"{words} {percent(chance)}" for words, chance in likeliest(view, 3))
        return f"What explains the log: {told}."


NO_SLIP = "no slip"


def likeliest(view, count):
    """The explanations with the best chance, in words; but for the first, those of a thousandth.

    Parameters
    ----------
    view : RoadTest
    count : int

    Returns
    -------
    list of (str, float)
    """
    first, *others = view.fit.explanations[:count]
    told = [first, *(other for other in others if other[1] >= 0.001)]
    return [(str(slip or NO_SLIP), chance) for slip, chance in told]


def percent(chance):
    """A chance in words that claim no certainty.

    Parameters
    ----------
    chance : float
        [1]

    Returns
    -------
    str
    """
    if chance > 0.999:
        return "over 99.9%"
    return "under 0.1%" if chance < 0.001 else f"{100 * chance:.1f}%"


class RoadTestBoard(Board):
    """A `Board` of what a road test tells; its view is a `RoadTest`."""

    KINDS = {"learned": Learned, "explanations": Explanations}


ROAD_TEST = ([[("learned", "front"), ("explanations", "front")]], (10.4, 4.6))
"""Rows for `RoadTestBoard`, and its size in inches."""


def road_test_chart(view, *, units="us"):
    """What a road test tells as an ordinary figure.

    Parameters
    ----------
    view : RoadTest
    units : {"us", "metric"}

    Returns
    -------
    matplotlib.figure.Figure
    """
    rows, size = ROAD_TEST
    return RoadTestBoard(view, rows, units=units, size=size).still(view)


# --- choose springs ------------------------------------------------------------------------------


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

    def __init__(self, figure, area, view, axle, units):
        super().__init__(figure, area, view, axle, units)
        self.axes = axes = figure.add_subplot(area)
        self.names = view.choice.objectives[:2]
        self.aims = [OBJECTIVES[name] for name in self.names]
        label = [f"{aim.words}, {unit_label(aim.kind, units)}" for aim in self.aims]
        style(axes, x=label[0], y=label[1])
        points = self._points(view.every)
        axes.plot(*points, ".", color=FAINT, markersize=2.5, zorder=1)
        for low, high, limits in zip(points.min(1), points.max(1), ("x", "y"), strict=True):
            room = 0.12 * (high - low)
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
        put(
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
            put(text, at[0, i], at[1, i] + up, words, ha=ha, va="center" if room else "bottom")
        left = across[mine] < 0.75
        put(
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

    def __init__(self, figure, area, view, axle, units):
        super().__init__(figure, area, view.look, axle, units)
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


def kit_rows(view):
    """The layout for a choice: the curve only where there is a kit.

    Parameters
    ----------
    view : KitView

    Returns
    -------
    tuple
        Rows for `KitBoard`, and its size in inches.
    """
    axle = view.choice.axle
    curve = [("curve", axle)] if view.kit is not None else []
    return [[("kits", axle), *curve]], (10.4, 4.8)


def kit_chart(view, *, units="us"):
    """Kits to choose from as an ordinary figure.

    Parameters
    ----------
    view : KitView
    units : {"us", "metric"}

    Returns
    -------
    matplotlib.figure.Figure
    """
    rows, size = kit_rows(view)
    return KitBoard(view, rows, units=units, size=size).still(view)


# ------------------------------------------------------------------------------------------- roll


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

    def __init__(self, figure, area, view, axle, units):
        super().__init__(figure, area, view, axle, units)
        self.axes = axes = figure.add_subplot(area)
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
        put(self.title, -148 * INCH, 76 * INCH, words, ha="right", va="top")
        for artist in (self.cage, self.arms, self.pull, self.centre):
            artist.set_data([], [])
        for shapes in (self.body, *self.tyres.values()):
            shapes.set_verts([])
        for text in (self.foot, *self.texts.values()):
            text.set_text("")
        if view.tipped:
            return
        self.body.set_verts([np.column_stack(view.place(np.array(self.TUB) * INCH))])
        self.cage.set_data(*view.place(np.array(self.CAGE) * INCH))
        arms, shapes = [], {"front": [], "rear": []}
        roll = float(view.shown.turning.roll[view.index])
        turn = np.array([[np.cos(roll), -np.sin(roll)], [np.sin(roll), np.cos(roll)]])
        for i, (name, (left, up, load)) in enumerate(view.wheels().items()):
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
            put(self.texts[name], side * 46 * INCH, low, words, ha="right" if side > 0 else "left")
            self.texts[name].set_color(TENDER if load <= 0 else INK if past else SOFT)
        for axle, made in shapes.items():
            self.tyres[axle].set_verts(made)
        self.arms.set_data(*np.array(arms).T)
        # Where the resultant of weight and inertia of all masses meets the ground.
        # Each wheel stands where its plane, leaning with the body, does.
        out = np.tan(roll) / np.cos(float(view.shown.turning.pitch[view.index]))
        weights = [(load, left + up * out) for left, up, load in view.wheels().values()]
        meets = sum(n * y for n, y in weights) / sum(n for n, _ in weights)
        height = view.shown.centre_height
        self.centre.set_data([meets + height * at], [height])
        self.pull.set_data([meets + height * at, meets], [height, 0.0])
        put(self.foot, meets, -3 * INCH, "weight and turn pull here", ha="center", va="top")

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

    def __init__(self, figure, area, view, axle, units):
        super().__init__(figure, area, view, axle, units)
        self.axes = axes = figure.add_subplot(area)
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
            put(self.texts[which], x[-1], y[-1], words, ha="left", va="top" if which else "bottom")
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
        put(self.lift_text, 0.04, 15.2, words, ha="left", va="top")

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

    def __init__(self, figure, area, view, axle, units):
        super().__init__(figure, area, view, axle, units)
        self.axes = axes = figure.add_subplot(area)
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
            put(self.texts[i], at + 0.04 * self.end, level, words, ha="left", va="center")
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


ROLL = (
    [[("behind", "front")], [("lean", "front"), ("split", "front")]],
    (9.8, 6.6),
)
"""Rows for `RollBoard`, and its size in inches."""


def roll_chart(view, *, units="us"):
    """A vehicle that leans as an ordinary figure.

    Parameters
    ----------
    view : RollView
    units : {"us", "metric"}

    Returns
    -------
    matplotlib.figure.Figure
    """
    rows, size = ROLL
    return RollBoard(view, rows, units=units, size=size).still(view)
