"""The work sheet on paper: one printed page for the clipboard.

`html` puts the numbers of `suspkit.shop.worksheet` on the page, `write` files page and PDF.
"""

from __future__ import annotations

import io
import platform
import re
from functools import partial
from pathlib import Path

import numpy as np

import suspkit
from suspkit.dynamics.damping import STATED
from suspkit.files import write_files
from suspkit.shop import order
from suspkit.shop.paper import PAPER, PrintError, environment, fitted, shortened, slug
from suspkit.shop.worksheet import HIGHEST_DROP, WorkSheet, corner_words, work_sheet
from suspkit.statics.settle import rake_in_words
from suspkit.units import INCH, show, to_unit, unit_label
from suspkit.vehicle.entrance import USUAL
from suspkit.vehicle.setup import AXLES

__all__ = ["PrintError", "WorkSheet", "html", "work_sheet", "write"]

MOST_CAUTIONS = 3
"""Of the judge's, on the page."""

SCALES = (1.0, 0.96, 0.92, 0.88, 0.84, 0.8)
"""Sizes of type tried in turn until all is on one page."""


# --- words ---------------------------------------------------------------------------------------


def _plain(number):
    """A count without needless decimals: 4, 4.5, 4.37."""
    return "–" if np.isnan(number) else f"{number:.2f}".rstrip("0").rstrip(".")


def _sides(left, right):
    """One text for both sides where they say the same."""
    return left if left == right else f"L {left}, R {right}"


def _big(left, right):
    """The same for the largest type, whose unit is set small: one line, or a line a side."""
    sides = [("", left)] if left == right else [("L", left), ("R", right)]
    lines = []
    for side, text in sides:
        number, _, unit = text.rpartition(" ") if text[-2:] in ("in", "mm") else (text, "", "")
        lines.append({"side": side, "text": number, "unit": unit})
    return lines


class _Writer:
    """Words for the page in one system of units."""

    def __init__(self, sheet, units):
        self.sheet, self.units = sheet, units

    def tape(self, metres):
        return show(metres, "tape", self.units)

    def length(self, metres):
        return show(metres, "length", self.units)

    def both(self, axle, text):
        return _sides(*(text(self.sheet.corners[name]) for name in AXLES[axle]))

    def of(self, axle, field):
        return np.array([getattr(self.sheet.corners[name], field) for name in AXLES[axle]])

    # What is turned, biggest on the page.

    def settings(self, axle):
        left, right = (self.sheet.corners[name] for name in AXLES[axle])
        if left.stack == right.stack:
            stacks = [{"side": "", "springs": self.springs(left)}]
        else:
            stacks = [
                {"side": corner_words(c.name), "springs": self.springs(c)} for c in (left, right)
            ]
        return {
            "name": axle.capitalize(),
            "stacks": stacks,
            "turns": _big(_plain(left.turns), _plain(right.turns)),
            "preload": self.both(axle, lambda c: self.length(c.preload)),
            "gap": _big(self.gap(left), self.gap(right)),
            "ring": self.both(axle, self.ring),
            "has_ring": bool(left.gap or right.gap),
            "clicks": [
                {
                    "number": _big(_plain(a.count), _plain(b.count)),
                    "label": f"{shortened(a.name, 14)}, of {a.total}, out from {a.zero}",
                }
                for a, b in zip(left.clicks, right.clicks, strict=True)
            ],
        }

    def gap(self, corner):
        return ", ".join(map(self.tape, corner.gap)) or "no ring"

    def ring(self, corner):
        return ", ".join(map(self.tape, corner.ring_below_collar)) or "–"

    def springs(self, corner):
        return [
            {
                "name": shortened(spring.name, 22),
                "about": f"{show(spring.rate, 'rate', self.units)}, "
                f"{self.tape(spring.free_length)} free",
                "ring": spring.ring_below,
                "last": spring is corner.springs[-1],
            }
            for spring in corner.springs
        ]

    # What to expect, and what the margins are: a label, the front, the rear.

    def rows(self, *pairs):
        return [
            {"label": label, "front": text("front"), "rear": text("rear")} for label, text in pairs
        ]

    def stand(self):
        return self.rows(
            ("Crossover, wheel travel", self.crossover),
            ("Crossover, shock travel", self.crossover_shock),
            ("… the wheel stands", self.side_of_crossover),
            ("Frequency; below / past ring", self.frequencies),
            *(
                (f"Damping ±{self.tape(STATED[i])}, bump; reb.", partial(self.damping, at=i))
                for i in range(len(STATED))
            ),
            ("Wheel travel left, bump", lambda a: self.left_over(a, "bump_left", "tape")),
            ("Wheel travel left, droop", lambda a: self.left_over(a, "droop_left", "tape")),
            ("Anti-roll bar", self.bar),
        )

    def reserve(self):
        return self.rows(
            ("Full bump / standing load", lambda a: _times(self.of(a, "load_factor").min())),
            ("Energy to full bump", lambda a: self.left_over(a, "energy", "energy")),
            ("Drop height, no damping", lambda a: self.left_over(a, "drop_height", "length")),
            ("First bottoms, dropped from", self.first_bottoms),
            ("First spring to bind", lambda a: self.both(a, lambda c: shortened(c.bind.name, 20))),
            ("… from full bump", self.bind),
            ("All solid, full bump / metal", self.solid),
            ("… at a spring load of",
             lambda a: self.both(a, lambda c: show(c.bind.force, "force", self.units))),
            ("Stress safety at full bump", self.stress),
            ("Collar thread left, turns",
             lambda a: self.both(a, lambda c: f"{c.turns_up:.0f} up, {c.turns_down:.0f} down")),
            ("Ring thread allows a gap", self.gap_limits),
            ("Preload the top-out takes",
             lambda a: self.both(
                 a, lambda c: f"{self.length(c.given_back)} of {self.length(c.preload)}")),
        )  # fmt: skip

    def crossover(self, axle):
        def text(corner):
            met = ", ".join(self.tape(crossing.travel) for crossing in corner.crossings)
            return met or ("not before full bump" if corner.gap else "no ring")

        return self.both(axle, text)

    def crossover_shock(self, axle):
        return self.both(
            axle, lambda c: ", ".join(self.length(x.compression) for x in c.crossings) or "–"
        )

    def side_of_crossover(self, axle):
        def text(corner):
            if not corner.crossings or np.isnan(corner.travel):
                return "–"
            ahead = corner.crossings[-1].travel - corner.travel
            where = "past" if corner.past_crossover else "below"
            return f"{self.length(abs(ahead))} {where} it"

        return text(self.left(axle)) if self.even(axle) else self.both(axle, text)

    def even(self, axle):
        """Whether both sides say the same but for a little: then the left one will do."""
        left, right = (self.sheet.corners[name] for name in AXLES[axle])
        same = left.crossings == right.crossings and left.past_crossover == right.past_crossover
        return same and abs(left.travel - right.travel) < INCH / 8

    def left(self, axle):
        return self.sheet.corners[AXLES[axle][0]]

    def frequency(self, axle, field):
        return show(self.of(axle, field).mean(), "frequency")

    def frequencies(self, axle):
        """Ride frequency standing, then on both sides of crossover if there is one."""
        standing = self.frequency(axle, "frequency")
        below, past = (self.frequency(axle, f"frequency_{side}") for side in ("below", "past"))
        if below == "–":
            return standing
        stop = ", stop left out" if self.of(axle, "stop_at_crossover").any() else ""
        bare = (hertz.removesuffix(" Hz") for hertz in (standing, below))
        return f"{'; '.join(bare)} / {past}{stop}"

    def damping(self, axle, at):
        """Damping ratios below / past crossover, mean of the sides, bump first."""
        left, right = (self.sheet.corners[name].damping[at] for name in AXLES[axle])
        texts = []
        for direction in ("compression", "rebound"):
            sides = left.get(direction, ()), right.get(direction, ())
            if len(sides[0]) == len(sides[1]):  # else one side alone meets its ring
                sides = (np.mean(sides, axis=0),) * 2
            texts.append(_sides(*(" / ".join(_ratio(ratio) for ratio in s) for s in sides)))
        return "; ".join(filter(None, texts)) or "–"

    def first_bottoms(self, axle):
        least = self.of(axle, "first_bottoms").min()
        if np.isinf(least):
            return f"over {self.length(HIGHEST_DROP)}"
        return show(least, "length", self.units)

    def left_over(self, axle, field, kind):
        """What the side with less of it has."""
        least = self.of(axle, field).min()
        return "none" if least <= 0 else show(least, kind, self.units)

    def bind(self, axle):
        def text(corner):
            margin = corner.bind.margin
            where = "past" if margin >= 0 else "before"
            return f"{self.length(abs(margin))} {where}"

        return self.both(axle, text)

    def solid(self, axle):
        """How far past full bump, and past the end of the stroke, all springs would be solid."""

        def text(corner):
            at = self.length(abs(corner.metal_room))
            where = f"{at} past" if corner.metal_room >= 0 else f"{at} before"
            return f"{self.length(corner.room).split()[0]} / {where}"

        return self.both(axle, text)

    def stress(self, axle):
        def text(corner):
            weakest = corner.weakest
            if weakest is None:
                return "wire not known"
            return f"{weakest.safety_factor:.2f} {shortened(weakest.name, 16)}"

        return self.both(axle, text)

    def gap_limits(self, axle):
        def text(corner):
            pairs = (f"{self.tape(low)} to {self.tape(high)}" for low, high in corner.gap_limits)
            return ", ".join(pairs) or "–"

        return self.both(axle, text)

    def bar(self, axle):
        if getattr(self.sheet.vehicle, axle).bar is None:
            return "none"
        share = getattr(self.sheet.setup, f"{axle}_bar")
        return {0: "off", 1: "connected"}.get(share, f"{share:.0%} of it")

    def rake(self):
        return rake_in_words(self.sheet.rake, self.units)

    def target(self):
        """The ride heights aimed at, and how far off them it stands; nothing without a target."""
        sheet = self.sheet
        targets = sheet.vehicle.targets
        if targets is None or np.isnan(sheet.front_height):
            return ""
        if sheet.load != targets.load:
            return f"for load {shortened(targets.load, 32)}, not this one"
        told = []
        for axle in AXLES:
            wanted = getattr(targets, axle).ride_height
            off = getattr(sheet, f"{axle}_height") - wanted
            side = "on it" if abs(off) < INCH / 32 else self.tape(abs(off))
            side += "" if side == "on it" else " high" if off > 0 else " low"
            told.append(f"{axle} {self.tape(wanted)} ({side})")
        return ", ".join(told)

    def contact(self):
        """What contact found with the bolt out would cost; nothing if it is the same place."""
        turns = {axle: self.both(axle, lambda c: f"{c.bolt_out_error:.1f}") for axle in AXLES}
        if not any(abs(c.bolt_out_error) >= 0.05 for c in self.sheet.corners.values()):
            return ""
        return (
            "With the bolt out it comes too early: "
            f"front {turns['front']}, rear {turns['rear']} turns."
        )

    def has_ring(self):
        return any(c.gap for c in self.sheet.corners.values())

    def axles(self, text):
        """The same of each axle: "front 4, rear 5"."""
        return ", ".join(f"{axle} {text(axle)}" for axle in AXLES)

    def order(self):
        """The order of work, with this set-up's numbers."""
        corners = self.sheet.corners.values()
        digits = {"us": 2, "metric": 1}[self.units]
        return order.steps(
            ring=self.has_ring(), clickers=any(c.clicks for c in corners),
            turns=self.axles(lambda a: self.both(a, lambda c: _plain(c.turns))),
            gap=self.axles(lambda a: self.both(a, self.gap)),
            rise=self.axles(
                lambda a: show(self.sheet.turn_rise[a], "length", self.units, digits)),
            within=self.tape(order.WITHIN), sides=self.tape(self.sheet.side_to_side),
            bolt_out=self.contact(), lowest=self.lowest(),
        )  # fmt: skip

    def lowest(self):
        """Below what turns no collar goes, and what lowers an axle there."""
        if not any(c.least_turns for c in self.sheet.corners.values()):
            return ""
        # As a hand sets it: up to the next quarter.
        least = self.axles(
            lambda a: self.both(a, lambda c: _plain(np.ceil(4 * c.least_turns - 1e-6) / 4))
        )
        step, digits = {"us": (INCH / 16, 2), "metric": (1e-3, 1)}[self.units]
        falls = {
            axle: show(step * fall, "length", self.units, digits)
            for axle, fall in self.sheet.gap_fall.items()
            if self.of(axle, "past_crossover").any()
        }
        there = ", ".join(f"{axle} {fall}" for axle, fall in falls.items())
        opened = f"; then open the gap, {self.tape(step)} = {there}" if there else ""
        return f"Not under {least} turns, or springs come loose{opened}."

    def misled(self):
        """What a tape reads while the rings are clear, of axles that stand past crossover."""
        axles = {
            axle: self.both(axle, lambda c: self.tape(c.height_ring_clear))
            for axle in AXLES
            if self.of(axle, "past_crossover").any()
        }
        if not axles:
            return ""
        reads = ", ".join(f"{axle} {height}" for axle, height in axles.items())
        return f"Ring clear: {reads}, don't be misled."

    def aboard(self):
        sheet = self.sheet
        if sheet.load is None:
            return "as weighed"
        items = [
            f"{shortened(name, 20)} {show(sheet.vehicle.items[name].mass, 'mass', self.units)}"
            for name in sheet.vehicle.loads[sheet.load].items
        ]
        if not items:
            return "nothing aboard"
        shown, rest = items[:9], len(items) - 9
        listed = ", ".join(shown) + (f" and {rest} more" if rest > 0 else "")
        return f"{show(sheet.aboard, 'mass', self.units)} aboard: {listed}"

    def compressor(self):
        rows = []
        for place, (name, axles) in enumerate(self.sheet.compressor.items()):
            for axle, check in axles.items():
                setup = self.sheet.setup if place == 0 else self.sheet.vehicle.setups[name]
                stacks = dict.fromkeys(getattr(setup, corner).stack for corner in AXLES[axle])
                if check.binds:
                    does = ("solid first", "cannot be done so", "–", "–")
                elif check.squeeze == 0:
                    does = ("none, loose", "–", "–", "–")
                else:
                    does = (
                        self.tape(check.squeeze),
                        show(check.force, "force", self.units),
                        show(check.energy, "energy", self.units, 1),
                        "solid first"
                        if np.isinf(check.main_force)
                        else show(check.main_force, "force", self.units),
                    )
                what = "Fit" if place == 0 else "Take off"
                rows.append([f"{what} {' or '.join(shortened(s, 22) for s in stacks)}", *does])
        return rows


def _ratio(number):
    return "–" if np.isnan(number) else f"{number:.2f}"


def _times(number):
    return "–" if np.isnan(number) else f"{number:.2f} ×"


# --- the chart -----------------------------------------------------------------------------------


def _chart(sheet, units):
    """Shock force over shock compression, front and rear, as inline SVG."""
    from matplotlib.figure import Figure

    from suspkit.charts.board import settings

    style = {"svg.hashsalt": "suspkit", "svg.fonttype": "path", "font.family": "DejaVu Sans",
             "font.size": 6.5, "axes.linewidth": 0.6}  # fmt: skip
    with settings(style):
        figure = Figure(figsize=(3.75, 1.18), layout="constrained")
        for place, (axes, axle) in enumerate(zip(figure.subplots(1, 2), AXLES, strict=True)):
            _draw(axes, axle, sheet, units)
            if place == 0:
                axes.set_ylabel(f"shock force [{unit_label('force', units)}]")
        drawn = io.StringIO()
        figure.savefig(drawn, format="svg", metadata={"Date": None, "Creator": None})
    svg = drawn.getvalue()
    # Its own size would fight the page's; the view box keeps the shape.
    head, body = svg[svg.index("<svg") :].split(">", 1)
    head = re.sub(r' (width|height)="[^"]*"', "", head)
    return f'{head} role="img" aria-label="{_chart_words(sheet, units)}">{body}'


def _draw(axes, axle, sheet, units):
    curve, corner = sheet.curves[axle], sheet.corners[AXLES[axle][0]]
    x = to_unit(curve["compression"], "length", units)
    force, with_stop = (to_unit(curve[k], "force", units) for k in ("force", "with_stop"))
    top = 1.18 * force[-1]
    axes.plot(x, np.where(with_stop > force, with_stop, np.nan), color="0.45", ls=":", lw=1.2)
    axes.plot(x, force, color="black", lw=1.4)
    axes.axvline(x[-1], color="0.3", ls="--", lw=0.8)
    axes.annotate("full bump", (x[-1], 0.02 * top), (-2, 2), textcoords="offset points",
                  rotation=90, ha="right", va="bottom", color="0.3")  # fmt: skip

    def mark(at, label, marker, fill):
        at = to_unit(at, "length", units)
        side = 1 if at > 0.3 * x[-1] else -1  # above the line on its left, or below on its right
        axes.plot(at, np.interp(at, x, force), marker, ms=5, mfc=fill, mec="black", mew=1)
        axes.annotate(label, (at, np.interp(at, x, force)), (-5 * side, 4 * side), va="center",
                      textcoords="offset points", ha="right" if side > 0 else "left")  # fmt: skip

    if not np.isnan(curve["ride"]):
        mark(curve["ride"], "ride", "o", "black")
    for crossing in corner.crossings:
        mark(crossing.compression, "crossover", "D", "white")
    bind = corner.bind
    if bind.margin < 0:
        mark(bind.compression, "bind", "s", "0.6")
    left, right = (sheet.corners[name] for name in AXLES[axle])
    alike = (left.stack, left.turns, left.gap) == (right.stack, right.turns, right.gap)
    axes.set(xlim=(0, 1.02 * x[-1]), ylim=(0, top),
             title=axle.capitalize() if alike else corner_words(left.name),
             xlabel=f"shock compression [{unit_label('length', units)}]")  # fmt: skip
    axes.title.set(fontsize=7.5, fontweight="bold")
    axes.spines[["top", "right"]].set_visible(False)
    axes.tick_params(width=0.6, length=2)
    axes.locator_params(nbins=5)


def _chart_words(sheet, units):
    parts = []
    for axle, (left, _) in AXLES.items():
        curve, corner = sheet.curves[axle], sheet.corners[left]
        crossing = "no crossover"
        if corner.crossings:
            crossing = f"crossover at {show(corner.crossings[-1].compression, 'length', units)}"
        parts.append(
            f"{axle}: standing at {show(curve['ride'], 'length', units)}, {crossing}, full bump at "
            f"{show(curve['compression'][-1], 'length', units)} with "
            f"{show(curve['force'][-1], 'force', units)} of springs and gas"
        )
    return f"Shock force over shock compression. {'; '.join(parts)}."


# --- the page ------------------------------------------------------------------------------------


def html(vehicle, setup=None, *, load=USUAL, units="us"):
    """The work sheet as one HTML page that needs nothing beside it; arguments as for `write`."""
    sheet = work_sheet(vehicle, setup=setup, load=load, units=units)
    return _page(sheet, units)(_guess(sheet))


def _guess(sheet):
    """Size of type for a browser to print on one page: a problem takes a line or two."""
    lines = len(sheet.problems) + (min(len(sheet.cautions), MOST_CAUTIONS) + 1) // 2
    return SCALES[min(lines, len(SCALES) - 1)]


def _halves(texts):
    """Two columns about as long as each other."""

    def longer(cut):
        return max(sum(map(len, part)) for part in (texts[:cut], texts[cut:]))

    cut = min(range(len(texts)), key=longer)
    return texts[:cut], texts[cut:]


def _page(sheet, units):
    """The page as a function of the size of type."""
    from markupsafe import Markup

    writer = _Writer(sheet, units)
    vehicle = sheet.vehicle
    load = vehicle.loads[sheet.load] if sheet.load is not None else None
    texts = {
        "vehicle": shortened(vehicle.name, 40),
        "about": shortened(vehicle.about, 100),
        "load": shortened(sheet.load or "nothing aboard", 32),
        "load_note": shortened(load.note if load else "", 60),
        "aboard": writer.aboard(),
        "setup": shortened(sheet.setup_name, 32),
        "setup_note": shortened(sheet.setup.note, 60),
        "problems": [shortened(problem, 220) for problem in sheet.problems[:6]],
        "more_problems": max(0, len(sheet.problems) - 6),
        "cautions": [shortened(caution, 170) for caution in sheet.cautions[:MOST_CAUTIONS]],
        "more_cautions": max(0, len(sheet.cautions) - MOST_CAUTIONS),
        "axles": [writer.settings(axle) for axle in AXLES],
        "corners": [
            {
                "name": corner_words(name),
                "height": writer.tape(c.height),
                "band": f"{writer.tape(c.height_low)} to {writer.tape(c.height_high)}",
                "friction_assumed": vehicle.axle_of(name).shock.friction is None,
            }
            for name, c in sheet.corners.items()
        ],
        "steps": _halves(writer.order()),
        "why": order.WHY if writer.has_ring() else "",
        "misled": writer.misled(),
        "rings": [ring | {"picture": Markup(ring["picture"])} for ring in order.RINGS.values()]
        if writer.has_ring()
        else [],
        "tolerance": writer.tape(sheet.side_to_side),
        "rake": writer.rake(),
        "target": writer.target(),
        "stand": writer.stand(),
        "reserve": writer.reserve(),
        "compressor": writer.compressor(),
        "chart": Markup(_chart(sheet, units)),
        "source": shortened(Path(vehicle.source).name or "not from a file", 48),
        "digest": vehicle.digest[:12] or "–",
        "version": suspkit.__version__,
        "python": platform.python_version(),
    }
    return lambda scale: environment().get_template("sheet.html").render(texts, scale=scale)


# --- files ---------------------------------------------------------------------------------------


def write(vehicle, setup=None, *, load=USUAL, units="us", folder, pdf=True):
    """Write the work sheet as HTML and PDF, both or neither.

    Parameters
    ----------
    vehicle : Vehicle
    setup : str or Setup, optional
        One of the vehicle's by name, or any other; its current one if not given.
    load : str, optional
        The vehicle's usual load if not given, nothing aboard if None.
    units : {"us", "metric"}
        Also decides the paper the PDF is for: Letter or A4.
    folder : str or path
        Made if it is not there.
    pdf : bool
        False for the HTML alone; a browser prints that on one page too.

    Returns
    -------
    list of Path
        ``<vehicle>-<setup>-<load>.html`` and ``.pdf``.

    Raises
    ------
    ValueError
        As for `work_sheet`.
    PrintError
        If no PDF can be made on this machine.
    UnwritableError
        If the folder cannot be written to.
    """
    sheet = work_sheet(vehicle, setup=setup, load=load, units=units)
    page = _page(sheet, units)
    names = (vehicle.name, sheet.setup_name, sheet.load or "empty")
    stem = "-".join(slug(name) for name in names)
    if not pdf:
        return write_files(folder, {f"{stem}.html": page(_guess(sheet))})
    text, pdf = fitted(page, PAPER[units], SCALES)
    return write_files(folder, {f"{stem}.html": text, f"{stem}.pdf": pdf})
