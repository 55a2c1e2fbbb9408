"""Pictures of exercises: a shock as it was found, and a force curve to read numbers off."""

from __future__ import annotations

import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.collections import PolyCollection
from matplotlib.figure import Figure
from matplotlib.patches import Circle
from matplotlib.ticker import MultipleLocator

from suspkit.charts.board import (
    FAINT,
    INK,
    MAIN,
    SOFT,
    TENDER,
    Board,
    box,
    coil_count,
    spread_apart,
    style,
)
from suspkit.statics.view import gap_text
from suspkit.units import INCH, from_unit, to_unit, unit_label


def as_found(
    shock, springs, cut, *, axle, rates, turns, mark, sleeve, upside_down=False, units="us",
    size=(8.6, 5.4),
):  # fmt: skip
    """A shock cut open to scale as it hangs on the vehicle, built right or not, and its divider.

    Parameters
    ----------
    shock : Shock
    springs : sequence of Spring
        From the collar down, as fitted.
    cut : Cutaway
        Where everything is.
    axle : str
    rates : sequence of str
        What is painted on each spring.
    turns : str
        What the collar was turned.
    mark : float
        Place of the paint mark that shows where the stop ring was locked, measured as in the
        cut-away [m].
    sleeve : float
        Length of the sleeve that guides the spring below the divider [m].
    upside_down : bool
        The divider fitted the wrong way up, its sleeve towards the ring.
    units : {"us", "metric"}
    size : (float, float)
        Inches.

    Returns
    -------
    matplotlib.figure.Figure
    """
    figure = Figure(figsize=size, dpi=Board.DPI, facecolor="white")
    FigureCanvasAgg(figure)
    whole, detail = figure.subplots(1, 2, width_ratios=(0.86, 1.0))
    figure.subplots_adjust(left=0.01, right=0.99, top=0.93, bottom=0.02, wspace=0.02)
    edge, face = cut.dividers[0], cut.rings[0][1]
    near = edge - face < 7.5 * INCH
    middle = 0.5 * (min(face, mark) + edge) if near else edge - 1.5 * INCH
    top, low = middle - 4.6 * INCH, middle + 4.6 * INCH
    for axes in (whole, detail):
        axes.set_aspect("equal")
        axes.axis("off")
        _cut_open(axes, shock, springs, cut, mark, sleeve, upside_down)
    end = shock.thread.seat_span + 2.6 * INCH
    whole.set_ylim(end, -4.2 * INCH)
    whole.set_xlim(-7.5 * INCH, 8.5 * INCH)
    detail.set_ylim(low, top)
    detail.set_xlim(-3.7 * INCH, 4.0 * INCH)
    whole.set_title(f"{axle} shock at droop hang, to scale", fontsize=9.5, color=INK)
    detail.set_title("the divider, larger", fontsize=9.5, color=INK)
    frame = box(0.0, top, low, 3.0 * INCH)
    whole.add_collection(
        PolyCollection([frame], facecolor="none", edgecolor=SOFT, linestyle=(0, (3, 2)))
    )
    half = _outside(springs)
    words = [(cut.collar - 0.3 * INCH, f"collar, {turns}", INK)]
    for (start, bottom), rate, ink in zip(cut.springs, rates, _inks_by_rate(springs), strict=True):
        words.append((0.5 * (start + bottom), rate, ink))
    words += [(face - 0.3 * INCH, "stop ring", INK), (mark, "paint mark", INK)]
    words += [(edge + 0.5 * shock.divider_height, "divider", INK)]
    words += [(cut.retainer + 0.25 * INCH, "retainer", INK)]
    levels = spread_apart([at for at, _, _ in words], 1.2 * INCH)
    for (at, text, ink), level in zip(words, levels, strict=True):
        whole.plot([half + 0.2 * INCH, 3.3 * INCH], [at, level], color=FAINT, linewidth=0.8)
        whole.text(
            3.5 * INCH, level, text, va="center", fontsize=9, color=ink, parse_math=False,
            weight="bold" if text in rates else "normal",
        )  # fmt: skip
    gap = gap_text(cut.gaps[0], units)
    _dimension(whole, -half - 0.9 * INCH, face, edge, f"gap {gap}", 0.3 * INCH)
    labels = [
        (edge + 0.5 * shock.divider_height, "divider"),
        ((edge - 0.5 * sleeve) if upside_down else edge + shock.divider_height + 0.6 * sleeve,
         "sleeve"),
    ]  # fmt: skip
    if near:
        _dimension(detail, -half - 0.35 * INCH, face, edge, gap, 0.12 * INCH)
        labels += [(face - 0.3 * INCH, "stop ring"), (mark, "paint mark")]
    else:
        detail.text(0, top + 0.5 * INCH, "stop ring further up", ha="center", fontsize=9)
    levels = spread_apart([at for at, _ in labels], 0.055 * (low - top))
    for (at, text), level in zip(labels, levels, strict=True):
        reach = 1.32 * INCH if text != "divider" else half + 0.25 * INCH
        detail.plot([reach, half + 0.55 * INCH], [at, level], color=INK, linewidth=0.8, zorder=7)
        detail.text(half + 0.62 * INCH, level, text, va="center", fontsize=9, zorder=7)
    return figure


def _inks_by_rate(springs):
    """The tender's ink for the softest of them, wherever it stands."""
    rates = [spring.law.slope(0.0) for spring in springs]
    return [TENDER if rate == min(rates) and len(rates) > 1 else MAIN for rate in rates]


def _outside(springs):
    """Half the width of the widest [m]."""
    return max(0.5 * (s.wire.mean_diameter + s.wire.wire_diameter) if s.wire else 1.9 * INCH
               for s in springs)  # fmt: skip


def _dimension(axes, x, start, stop, words, beside):
    arrow = {"arrowstyle": "<->", "color": INK, "linewidth": 1.2, "shrinkA": 0, "shrinkB": 0}
    axes.annotate("", (x, start), (x, stop), arrowprops=arrow, zorder=7)
    for at in (start, stop):
        axes.plot([x - beside, -1.2 * INCH], [at, at], color=INK, linewidth=0.7, zorder=6)
    axes.text(
        x - beside, 0.5 * (start + stop), words, ha="right", va="center", fontsize=10,
        weight="bold", color=INK,
    )  # fmt: skip


def _cut_open(axes, shock, springs, cut, mark, sleeve, upside_down):
    """The parts of one shock in section: wire as dots, ring and divider cut through."""
    body, half = 1.25 * INCH, _outside(springs)
    foot = shock.thread.seat_span - shock.stroke - 1.2 * INCH

    def shapes(parts, zorder, **look):
        look = {"edgecolor": INK, "linewidth": 0.8} | look
        axes.add_collection(PolyCollection(parts, zorder=zorder, **look))

    def both(inner, outer, start, stop):
        """A ring around the body, cut: the same on both sides of it."""
        right = [(inner, start), (outer, start), (outer, stop), (inner, stop)]
        return [right, [(-x, y) for x, y in right]]

    eye = cut.retainer + 1.3 * INCH
    shapes([box(0, foot, eye, 0.45 * INCH)], 1, facecolor="white", edgecolor=SOFT)
    if shock.bump_stop:
        start = max(cut.retainer - shock.bump_stop.free_length + 0.6 * INCH, foot)
        stop = [box(0, start, cut.retainer + 0.6 * INCH, 0.9 * INCH)]
        shapes(stop, 1, facecolor=FAINT, edgecolor=SOFT)
    shapes([box(0, -2.4 * INCH, foot, body)], 2, facecolor="#f4f5f7", edgecolor=SOFT)
    for y in np.arange(-1.2 * INCH, shock.thread.ring_lowest, 0.25 * INCH):
        axes.plot([-body, body], [y, y], color=FAINT, linewidth=0.6, zorder=2)
    axes.add_patch(Circle((0, -3.0 * INCH), 0.6 * INCH, fill=False, edgecolor=SOFT))
    paint = [box(0, mark - 0.1 * INCH, mark + 0.1 * INCH, body)]
    shapes(paint, 3, facecolor=TENDER, edgecolor="none", hatch="////")
    for spring, (start, bottom), ink in zip(
        springs, cut.springs, _inks_by_rate(springs), strict=True
    ):
        count, wire = coil_count(spring), spring.wire.wire_diameter if spring.wire else 0.5 * INCH
        mean = 0.5 * spring.wire.mean_diameter if spring.wire else 1.7 * INCH
        left = np.linspace(start + 0.5 * wire, bottom - 0.5 * wire, count)
        right = 0.5 * (left[:-1] + left[1:])
        for y0, y1 in zip(left[:-1], right, strict=True):
            axes.plot([-mean, mean], [y0, y1], color=ink, linewidth=1.0, alpha=0.25, zorder=4)
        for x, places in ((-mean, left), (mean, [left[0], *right, left[-1]])):
            for y in places:
                axes.add_patch(Circle((x, y), 0.5 * wire, color=ink, zorder=5))
    metal = both(body, half + 0.25 * INCH, cut.collar - 0.55 * INCH, cut.collar)
    metal += [box(0, cut.retainer, cut.retainer + 0.5 * INCH, half + 0.25 * INCH)]
    for edge in cut.dividers:
        under = edge + shock.divider_height
        metal += both(body, half + 0.15 * INCH, edge, under)
        reach = (edge - sleeve, edge) if upside_down else (under, under + sleeve)
        metal += both(body, body + 0.17 * INCH, *reach)
    shapes(metal, 6, facecolor=INK)
    for _index, face in cut.rings:
        ring = both(body, body + 0.24 * INCH, face - 0.6 * INCH, face)
        shapes(ring, 6, facecolor="white", linewidth=1.4)


def read_off(travel, force, *, no_ring, units="us", size=(8.4, 4.6)):
    """A force curve to read numbers off, on axes in both systems of units.

    Parameters
    ----------
    travel, force : array
        Shock travel [m] and force [N] at each kink.
    no_ring : array
        Force without the stop ring [N].
    units : {"us", "metric"}
        Those of the lower and left axes, and of the grid.
    size : (float, float)
        Inches.

    Returns
    -------
    matplotlib.figure.Figure
    """
    other = "metric" if units == "us" else "us"
    figure = Figure(figsize=size, dpi=Board.DPI, facecolor="white")
    FigureCanvasAgg(figure)
    axes = figure.add_axes((0.1, 0.12, 0.79, 0.75))
    style(
        axes, x=f"shock travel from full extension, {unit_label('length', units)}",
        y=f"force of springs and bump stop, {unit_label('force', units)}",
    )  # fmt: skip
    x, y, dashed = (
        to_unit(travel, "length", units),
        *(to_unit(each, "force", units) for each in (force, no_ring)),
    )
    axes.plot(x, y, color=INK, linewidth=2.2)
    axes.plot(x[1:], dashed[1:], color=SOFT, linewidth=1.6, linestyle=(0, (4, 2)))
    axes.annotate(
        "without the ring", (0.5 * (x[1] + x[2]), 0.5 * (dashed[1] + dashed[2])), (14, -14),
        textcoords="offset points", va="top", fontsize=9, color=SOFT,
        bbox={"facecolor": "white", "edgecolor": "none", "pad": 1.0},
    )  # fmt: skip
    axes.set_xlim(0, x[-1])
    axes.set_ylim(0, 1.35 * y[2])
    steps = {"us": (1, 0.25, 200, 50), "metric": (20, 5, 1000, 250)}[units]
    for axis, (major, minor) in ((axes.xaxis, steps[:2]), (axes.yaxis, steps[2:])):
        axis.set_major_locator(MultipleLocator(major))
        axis.set_minor_locator(MultipleLocator(minor))
    axes.grid(True, which="major", color=FAINT, linewidth=1.1)
    axes.grid(True, which="minor", color=FAINT, linewidth=0.35)
    for kind, place, add in (
        ("length", "top", axes.secondary_xaxis), ("force", "right", axes.secondary_yaxis)
    ):  # fmt: skip
        factor = to_unit(from_unit(1.0, kind, units), kind, other)
        twin = add(place, functions=(lambda v, f=factor: v * f, lambda v, f=factor: v / f))
        twin.tick_params(colors=SOFT, labelsize=8, length=3)
        twin.spines[place].set_color(SOFT)
        label = twin.set_xlabel if place == "top" else twin.set_ylabel
        label(unit_label(kind, other), color=SOFT, fontsize=9)
    return figure
