"""How sure numbers are: how far vehicles set alike come out apart, what a log tells of one."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from suspkit.charts.board import BAND, FAINT, INK, MAIN, SOFT, TENDER, Board, Chart, place, style
from suspkit.units import INCH, show, unit_label

# --- how sure -------------------------------------------------------------------------------------

_REACH = {"ride height": 0.65 * INCH, "rake": INCH, "left less right": 0.24 * INCH}
"""Half of the axis of each quantity [SI]."""

_HABIT_INKS = (("turns counted", MAIN), ("collar copied", TENDER))


class SpreadOf(Chart):
    """Where vehicles set up alike come out, by both habits of setting the preload.

    Its view is a `suspkit.studies.tolerance.Habits`. Each habit has a row: its shape, and a bar
    under it     from the 5 to the 95 % that are below.
    """

    quantity = "ride height"

    def make(self, view):
        axes, axle, units = self.axes, self.axle, self.units
        self.where = "vehicle" if self.quantity == "rake" else axle
        name = {"ride height": f"{axle} ride height", "left less right": f"{axle} left less right"}
        unit = unit_label("length", units)
        style(axes, x=f"{name.get(self.quantity, 'rake, nose high to the right')}, {unit}")
        reach = _REACH[self.quantity]
        middle = view.counted.numbers.loc[(self.quantity, self.where), "middle"]
        # Heights stand about their own middle, differences about none.
        middle = middle if self.quantity == "ride height" else 0.0
        self.edges = np.linspace(middle - reach, middle + reach, 97)
        axes.set_xlim(*self.scale(self.edges[[0, -1]], "length"))
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
        x = self.scale(0.5 * (self.edges[1:] + self.edges[:-1]), "length")
        for row, one in enumerate((view.counted, view.copied)):
            base = self._base(row)
            y = base + 0.5 * self._shape(one.samples[self.quantity, self.where])
            corners = [(x[0], base), *zip(x, y, strict=True), (x[-1], base)]
            self.fills[row].set_verts([np.array(corners)])
            ends = one.numbers.loc[(self.quantity, self.where)][["low", "high"]].to_numpy()
            self.bars[row].set_data(self.scale(ends, "length"), [base - 0.07] * 2)
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

    def make(self, view):
        super().make(view)
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
    """A `Board` of how sure numbers are; its view is a `suspkit.studies.tolerance.Habits`."""

    KINDS = {"height": SpreadOf, "rake": SpreadRake, "sides": SpreadSides}

    def layout(self, view):
        rows = [[("height", "front"), ("height", "rear")], [("rake", "front"), ("sides", "front")]]
        return rows, (9.6, 5.6)


# --- road test ------------------------------------------------------------------------------------


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
    for one in fit.estimates.values():
        what, *where = one.about
        if what in LEARNED:
            words = LEARNED[what].format(*(w.replace("_", " ") for w in where))
            # Of a corner that had other springs before, each needs its name.
            found[f"{words} ({where[-1]})" if words in found else words] = one
    return found


def plus_minus(one, units):
    """A value and what 9 of 10 are within, in few words."""
    digits = {"percent": 1, "mass": 1}.get(one.kind, 2 if units == "us" else 1)
    middle = show(one.mean, one.kind, units, digits)
    return f"{middle} ± {show(0.5 * (one.high - one.low), one.kind, units, digits)}"


class Learned(Chart):
    """Each unknown: a grey bar as believed before, a dark one as learned, the truth if known."""

    aspect = 1.15

    def make(self, view):
        axes = self.axes
        self.names = list(learned(view.fit))
        count = len(self.names)
        style(axes)
        axes.set_xlim(-6.6, 5.2)
        axes.set_ylim(count - 0.3, -1.7)
        axes.axis("off")
        for row, name in enumerate(self.names):
            axes.plot([-1.645, 1.645], [row, row], color=FAINT, linewidth=11, solid_capstyle="butt")
            axes.text(
                -2.3, row, name, ha="right", va="center", fontsize=9, color=INK, parse_math=False
            )
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
            beside = max(2.5, float(ends[1]) + 0.3)
            place(self.texts[row], beside, row, plus_minus(one, self.units), va="center")
        words = "diamond: the truth" if view.truth else ""
        place(self.key, 5.2, -1.25, words, ha="right", va="bottom")

    def describe(self, view):
        told = [f"{n} {plus_minus(e, self.units)}" for n, e in learned(view.fit).items()]
        return f"Learned, 9 of 10 times within: {'; '.join(told)}."


class Explanations(Chart):
    """How likely no slip is, and each of the likeliest slips."""

    aspect = 0.9
    ROWS = 5

    def make(self, view):
        axes = self.axes
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
            place(text, 0, row - 0.3, f"{words}: {percent(chance)}" if words else "", va="bottom")

    def describe(self, view):
        told = "; ".join(f"{words} {percent(chance)}" for words, chance in likeliest(view, 3))
        return f"What explains the log: {told}."


NO_SLIP = "no slip"


def likeliest(view, count):
    """The explanations with the best chance, in words; but for the first, those of a thousandth."""
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

    def layout(self, view):
        return [[("learned", "front"), ("explanations", "front")]], (10.4, 4.6)
