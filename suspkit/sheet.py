"""The work sheet: one printed page for the clipboard, with every number a technician needs.

`work_sheet` gathers the numbers (SI), `html` puts them on the page, `write` files page and PDF.
"""

from __future__ import annotations

import io
import platform
import re
import unicodedata
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np

import suspkit
from suspkit.compressor import CompressorCheck, compressor_check
from suspkit.corner import BrokenSetupError, assemble, thread_problems
from suspkit.files import write_files
from suspkit.setup import AXLES, CORNERS, Setup
from suspkit.stance import height_band, settle
from suspkit.units import GRAVITY, INCH, SYSTEMS, show, to_unit, unit_label
from suspkit.vehicle import known_name

SIDE_TO_SIDE = INCH / 16
"""Left and right agree within this unless the vehicle file says otherwise [m] (common practice,
no source)."""

PAPER = {"us": "letter", "metric": "a4"}
"""The paper a PDF is made for, by system of units; the page fits either."""

LOOSE = 1e-6
"""Less slack than this is rounding [m]."""

SCALES = (1.0, 0.96, 0.92, 0.88, 0.84, 0.8)
"""Sizes of type tried in turn until all is on one page."""


class PrintError(OSError):
    """No PDF can be made on this machine: one sentence says why and what would mend it."""


@dataclass(frozen=True, kw_only=True)
class SpringLine:
    """One spring of a stack as fitted.

    Attributes
    ----------
    name : str
    rate : float
        At first, from free length [N/m].
    free_length : float
        [m]
    ring_below : bool
        A stop ring catches the divider under it.
    room : float
        Left to coil bind at full bump [m].
    force : float
        Of this spring at full bump [N]; less than the stack's where a ring holds it.
    safety_factor : float
        Shear yield over shear stress at full bump; nan if the wire is not known.
    """

    name: str
    rate: float
    free_length: float
    ring_below: bool
    room: float
    force: float
    safety_factor: float


@dataclass(frozen=True, kw_only=True)
class Clicks:
    """One adjuster: ``count`` clicks from ``zero`` ("closed" or "open") of ``total``."""

    name: str
    count: float
    zero: str
    total: int


@dataclass(frozen=True, kw_only=True)
class Crossing:
    """Where one stop ring is met before full bump.

    Attributes
    ----------
    name : str
        The spring above the ring.
    compression, travel : float
        Of the shock from full extension, of the wheel from droop [m].
    force : float
        Of the springs [N].
    """

    name: str
    compression: float
    travel: float
    force: float


@dataclass(frozen=True, kw_only=True)
class Bind:
    """The first spring to bind.

    Attributes
    ----------
    name : str
    compression : float
        Of the shock from full extension [m].
    margin : float
        That less full bump [m]: below zero it binds before full bump.
    force : float
        Of the springs there [N].
    """

    name: str
    compression: float
    margin: float
    force: float


@dataclass(frozen=True, kw_only=True)
class CornerSheet:
    """The numbers of one corner.

    Attributes
    ----------
    name : str
    stack : str
    springs : tuple of SpringLine
        From the collar down.
    turns : float
        Of the collar from contact.
    preload : float
        The same as collar travel [m].
    gap : tuple of float
        By tape at droop hang, lower bolt in, after the turns [m]; one a ring from the collar down.
    ring_below_collar : tuple of float
        Check of each ring's place: collar's seat to the ring's catching face [m].
    clicks : tuple of Clicks
    height, height_low, height_high : float
        Ride height without friction, and the band friction allows [m]; so are the numbers below,
        which are those of the stance without friction.
    travel, bump_left, droop_left : float
        Wheel travel from droop, and what is left to full bump and to droop hang [m].
    crossings : tuple of Crossing
        Stop rings met before full bump, in order.
    past_crossover : bool
        Standing with the last ring closed.
    load_factor : float
        Springs and gas at full bump over standing load.
    energy : float
        From standing to full bump [J].
    drop_height : float
        Tyre above flat ground that just reaches full bump with no damping [m]. Below zero, it gets
        there even when let go at the ground.
    frequency : float
        Ride frequency as it stands [Hz].
    frequency_below, frequency_past : float
        The same weight on springs and gas just below and just past the last crossover [Hz]; nan
        if there is none.
    bind : Bind
    turns_up, turns_down : float
        Left on the collar's thread either way [turns].
    gap_limits : tuple of (float, float)
        Smallest and largest gap each ring's thread allows [m].
    given_back : float
        What of the preload the top-out spring gives back [m].
    bolt_out_error : float
        How many turns too early contact is found with the lower bolt out.
    slack : float
        How loose the springs are at droop hang [m].
    """

    name: str
    stack: str
    springs: tuple[SpringLine, ...]
    turns: float
    preload: float
    gap: tuple[float, ...]
    ring_below_collar: tuple[float, ...]
    clicks: tuple[Clicks, ...]
    height: float
    height_low: float
    height_high: float
    travel: float
    bump_left: float
    droop_left: float
    crossings: tuple[Crossing, ...]
    past_crossover: bool
    load_factor: float
    energy: float
    drop_height: float
    frequency: float
    frequency_below: float
    frequency_past: float
    bind: Bind
    turns_up: float
    turns_down: float
    gap_limits: tuple[tuple[float, float], ...]
    given_back: float
    bolt_out_error: float
    slack: float

    @property
    def weakest(self):
        """The spring with the smallest stress safety factor at full bump, if any is known."""
        known = [s for s in self.springs if not np.isnan(s.safety_factor)]
        return min(known, key=lambda s: s.safety_factor, default=None)


@dataclass(frozen=True, kw_only=True, eq=False)
class WorkSheet:
    """Everything on the page, as numbers (SI).

    Attributes
    ----------
    vehicle : Vehicle
    setup : Setup
    setup_name : str
    load : str or None
        None is nothing aboard.
    aboard : float
        Mass of the load [kg].
    corners : dict of str to CornerSheet
    front_height, rear_height : float
        Mean of left and right [m].
    rake : float
        Front less rear ride height over wheelbase.
    side_to_side : float
        Left and right should agree within this [m].
    compressor : dict of str to dict of str to CompressorCheck
        By set-up, then axle: the one to fit first, then the one that comes off.
    problems : tuple of str
        What must not be overlooked, one plain sentence each.
    curves : dict of str to dict of str to array
        By axle, of its left corner: ``compression`` [m] and ``force`` [N] of springs and gas, and
        ``with_stop`` [N] with the bump stop, from droop hang to full bump; ``ride`` [m] where it
        stands.
    """

    vehicle: object
    setup: Setup
    setup_name: str
    load: str | None
    aboard: float
    corners: dict[str, CornerSheet]
    front_height: float
    rear_height: float
    rake: float
    side_to_side: float
    compressor: dict[str, dict[str, CompressorCheck]]
    problems: tuple[str, ...]
    curves: dict


# --- numbers -------------------------------------------------------------------------------------


def work_sheet(vehicle, *, setup=None, load=None, units="us"):
    """Gather the numbers of a work sheet.

    Parameters
    ----------
    vehicle : Vehicle
    setup : str or Setup, optional
        One of the vehicle's by name, or any other; its current one if not given.
    load : str, optional
        The load the vehicle's targets are for if not given, else its first.
    units : {"us", "metric"}
        For the sentences in ``problems``; numbers are SI.

    Returns
    -------
    WorkSheet

    Raises
    ------
    ValueError
        If there is no such set-up, load or system of units, or the set-up holds arrays.
    """
    if units not in SYSTEMS:
        raise ValueError(f"units is {units!r}; expected {' or '.join(SYSTEMS)}")
    setup_name, setup = _chosen_setup(vehicle, setup)
    load = _chosen_load(vehicle, load)
    corners = assemble(vehicle, setup)
    stance = settle(vehicle, setup, load=load, corners=corners)
    band = height_band(vehicle, setup, load=load, corners=corners)
    sheets = {
        name: _corner_sheet(vehicle, getattr(setup, name), corners[name], stance, band)
        for name in CORNERS
    }
    items = vehicle.loads[load].items if load is not None else ()
    targets = vehicle.targets
    return WorkSheet(
        vehicle=vehicle,
        setup=setup,
        setup_name=setup_name,
        load=load,
        aboard=float(sum(vehicle.items[item].mass for item in items)),
        corners=sheets,
        front_height=float(stance.front_height),
        rear_height=float(stance.rear_height),
        rake=float(stance.rake),
        side_to_side=SIDE_TO_SIDE if targets is None else targets.side_to_side,
        compressor=_compressor(vehicle, setup_name, setup),
        problems=tuple(_problems(sheets, corners, stance, units)),
        curves={axle: _curves(corners[pair[0]], stance) for axle, pair in AXLES.items()},
    )


def _chosen_setup(vehicle, setup):
    if setup is None:
        setup = vehicle.current
    if isinstance(setup, str):
        known_name(setup, vehicle.setups, "setup", "a set-up of this vehicle")
        name, setup = setup, vehicle.setups[setup]
        _refuse_arrays(setup)
        return name, setup
    if not isinstance(setup, Setup):
        raise ValueError(f"setup is {setup!r}; expected a Setup or the name of one")
    _refuse_arrays(setup)
    return next((name for name, known in vehicle.setups.items() if known == setup), "new"), setup


def _refuse_arrays(setup):
    numbers = [(bar, getattr(setup, bar)) for bar in ("front_bar", "rear_bar")]
    for corner in CORNERS:
        chosen = getattr(setup, corner)
        numbers.append((f"{corner}.turns", chosen.turns))
        for name in ("gap", "ring"):
            value = getattr(chosen, name)
            each = value if isinstance(value, tuple) else [value]
            numbers += [(f"{corner}.{name}", one) for one in each]
        numbers += [(f"{corner}.clicks.{name}", count) for name, count in chosen.clicks.items()]
    for name, value in numbers:
        if np.ndim(value):
            raise ValueError(
                f"{name} is an array of shape {np.shape(value)}; expected one number: a work sheet "
                "is for one set-up"
            )


def _chosen_load(vehicle, load):
    if load is None:
        return vehicle.targets.load if vehicle.targets else next(iter(vehicle.loads), None)
    if not isinstance(load, str):
        raise ValueError(f"load is {load!r}; expected the name of one load")
    known_name(load, vehicle.loads, "load", "a load of this vehicle")
    return load


def _corner_sheet(vehicle, chosen, corner, stance, band):
    row = CORNERS.index(corner.name)
    at = {name: float(value) for name, value in stance.at(corner.name).items()}
    reserve = stance.bottoming
    thread = corner.shock.thread
    least, most = (float(turns) for turns in corner.turn_limits)
    below, past = _frequencies(vehicle.axle_of(corner.name), corner, at["wheel_force"])
    rings = range(len(corner.gap))
    return CornerSheet(
        name=corner.name,
        stack=chosen.stack,
        springs=_springs(corner),
        turns=float(corner.turns),
        preload=float(corner.preload),
        gap=tuple(float(gap) for gap in corner.gap),
        ring_below_collar=tuple(float(corner.ring_at(i) - corner.collar_at) for i in rings),
        clicks=tuple(
            Clicks(name=name, count=chosen.clicks.get(name, np.nan), zero=clicker.zero,
                   total=int(clicker.count))
            for name, clicker in corner.shock.clickers.items()
        ),
        height=at["height"],
        height_low=float(band[0][row]),
        height_high=float(band[1][row]),
        travel=at["travel"],
        bump_left=at["bump_left"],
        droop_left=at["droop_left"],
        crossings=_crossings(corner),
        past_crossover=bool(stance.past_crossover[row]),
        load_factor=float(reserve.load_factor[row]),
        energy=float(reserve.energy[row]),
        drop_height=float(reserve.drop_height[row]),
        frequency=at["frequency"],
        frequency_below=below,
        frequency_past=past,
        bind=_first_bind(corner),
        turns_up=float(corner.turns) - least,
        turns_down=most - float(corner.turns),
        gap_limits=tuple(tuple(float(v) for v in corner.gap_limits(i)) for i in rings),
        given_back=float(corner.given_back),
        bolt_out_error=float(corner.unbolted_hang - corner.contact_hang) / thread.collar_pitch,
        slack=float(corner.slack),
    )  # fmt: skip


def _springs(corner):
    squeezed = corner.stack.deflections(corner.shock.full_bump + corner.seat)
    rings = {ring.below for ring in corner.stack.rings}
    lines = []
    for i, spring in enumerate(corner.stack.springs):
        deflection = min(float(squeezed[i]), spring.travel)  # a hair past bind is an infinite force
        # Once solid, coil on coil carries the rest, so the wire is stressed no further.
        force = float(spring.law(deflection))
        lines.append(
            SpringLine(
                name=spring.name,
                rate=float(spring.law.slope(0.0)),
                free_length=spring.free_length,
                ring_below=i in rings,
                room=spring.travel - deflection,
                force=force,
                safety_factor=float(spring.wire.safety_factor(force)) if spring.wire else np.nan,
            )
        )
    return tuple(lines)


def _crossings(corner):
    return tuple(
        Crossing(
            name=event.name,
            compression=float(event.compression),
            travel=float(corner.linkage.travel(event.compression)),
            force=float(event.force),
        )
        for event in corner.events
        if event.kind == "crossover" and event.compression <= corner.shock.full_bump
    )


def _first_bind(corner):
    # The springs reach solid at some force, so at least the last one to move binds.
    first = min((e for e in corner.events if e.kind == "bind"), key=lambda e: e.compression)
    return Bind(
        name=first.name,
        compression=float(first.compression),
        margin=float(first.compression - corner.shock.full_bump),
        force=float(first.force),
    )


def _frequencies(axle, corner, standing):
    """Ride frequency of the standing weight with the rates on both sides of the last crossover.

    Springs and gas alone: a bump stop touched before the ring would hide what the ring does.
    """
    met = corner.crossover
    if not met <= corner.shock.full_bump:
        return np.nan, np.nan
    travel = corner.linkage.travel(met)
    ratio, bend = corner.linkage.motion_ratio(travel), corner.linkage.motion_ratio_slope(travel)
    found = []
    force = corner.stack_curve(met) + corner.shock.gas_force(met)
    for side in ("left", "right"):
        rate = corner.stack_curve.slope(met, side=side) + corner.shock.gas_rate(met)
        rate = rate * ratio**2 + force * bend
        ride_rate = rate * axle.tyre.rate / (rate + axle.tyre.rate)
        found.append(float(np.sqrt(ride_rate * GRAVITY / standing) / (2 * np.pi)))
    return tuple(found)


def _compressor(vehicle, name, setup):
    """The job of fitting these springs, and of taking off another set-up's, where there is one."""

    def stacks(of):
        return of.front_left.stack, of.rear_left.stack

    others = {n: s for n, s in vehicle.setups.items() if stacks(s) != stacks(setup)}
    other = "stock" if "stock" in others else next(iter(others), None)
    checks = {name: compressor_check(vehicle, setup)}
    if other is not None:
        try:
            checks[other] = compressor_check(vehicle, others[other])
        except BrokenSetupError:
            pass  # nobody can have fitted it
    return checks


def _problems(sheets, corners, stance, units):
    """Plain sentences; what is true of both sides of an axle is said once."""
    if stance.tipped:
        yield "In this load it tips over, so there is no stance and no number below that needs one."
    told = []
    for sentence in thread_problems(corners):
        place, rest = sentence.split(".", 1)
        told.append((place, f"{rest}."))
    for row, (name, sheet) in enumerate(sheets.items()):
        corner = corners[name]
        if stance.on_stop[row]:
            told.append((name, "it stands at full bump, nothing left to move. Do not drive it so."))
        elif stance.compression[row] > corner.shock.bump_touch:
            told.append((name, "it stands on its bump stop."))
        if stance.lifted[row]:
            told.append((name, "the tyre is off the ground."))
        if sheet.slack > LOOSE:
            told.append(
                (name, f"the springs hang loose by {show(sheet.slack, 'length', units)} at droop "
                       "and can come off their seats. More turns, or a longer stack.")
            )  # fmt: skip
        for spring in sheet.springs:
            if spring.safety_factor < 1:
                told.append(
                    (name, f"{spring.name} is stressed past yield at full bump (safety factor "
                           f"{spring.safety_factor:.2f}) and will take a set.")
                )  # fmt: skip
    for axle, (left, right) in AXLES.items():
        sides = [[text for place, text in told if place == side] for side in (left, right)]
        for text in dict.fromkeys(sides[0] + sides[1]):
            if text in sides[0] and text in sides[1]:
                yield f"{axle.capitalize()}, both sides: {text}"
            else:
                yield f"{_words(left if text in sides[0] else right)}: {text}"


def _curves(corner, stance):
    full = corner.shock.full_bump
    compression = np.linspace(float(corner.hang), np.nextafter(full, 0), 161)
    knots = corner.curve.x[(corner.curve.x > compression[0]) & (corner.curve.x < compression[-1])]
    compression = np.union1d(compression, knots)
    return {
        "compression": compression,
        "force": corner.stack_curve(compression) + corner.shock.gas_force(compression),
        "with_stop": corner.force(compression),
        "ride": float(stance.compression[CORNERS.index(corner.name)]),
    }


# --- words ---------------------------------------------------------------------------------------


def _words(name):
    return name.replace("_", " ").capitalize()


def _short(text, length):
    """User text that cannot push the page onto a second one."""
    text = " ".join(str(text).split())
    return text if len(text) <= length else f"{text[: length - 1].rstrip()}…"


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
            stacks = [{"side": _words(c.name), "springs": self.springs(c)} for c in (left, right)]
        return {
            "name": axle.capitalize(),
            "stacks": stacks,
            "turns": _big(_plain(left.turns), _plain(right.turns)),
            "turns_text": _sides(_plain(left.turns), _plain(right.turns)),
            "preload": self.both(axle, lambda c: self.length(c.preload)),
            "gap": _big(self.gap(left), self.gap(right)),
            "gap_text": _sides(self.gap(left), self.gap(right)),
            "ring": self.both(axle, self.ring),
            "has_ring": bool(left.gap or right.gap),
            "clicks": [
                {
                    "number": _big(_plain(a.count), _plain(b.count)),
                    "label": f"{_short(a.name, 14)}, of {a.total}, out from {a.zero}",
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
                "name": _short(spring.name, 22),
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
            ("Ride frequency, standing", lambda a: self.frequency(a, "frequency")),
            ("… below / past crossover", self.both_frequencies),
            ("Wheel travel left, bump", lambda a: self.left_over(a, "bump_left", "tape")),
            ("Wheel travel left, droop", lambda a: self.left_over(a, "droop_left", "tape")),
            ("Anti-roll bar", self.bar),
        )

    def reserve(self):
        return self.rows(
            ("Full bump / standing load", lambda a: _times(self.of(a, "load_factor").min())),
            ("Energy to full bump", lambda a: self.left_over(a, "energy", "energy")),
            ("Drop height, no damping", lambda a: self.left_over(a, "drop_height", "length")),
            ("First spring to bind", lambda a: self.both(a, lambda c: _short(c.bind.name, 20))),
            ("… from full bump", self.bind),
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

        return self.both(axle, text) if not self.even(axle, text) else text(self.left(axle))

    def even(self, axle, text):
        """Whether both sides say the same but for a little: then the left one will do."""
        left, right = (self.sheet.corners[name] for name in AXLES[axle])
        same = left.crossings == right.crossings and left.past_crossover == right.past_crossover
        return same and abs(left.travel - right.travel) < INCH / 8

    def left(self, axle):
        return self.sheet.corners[AXLES[axle][0]]

    def frequency(self, axle, field):
        return show(self.of(axle, field).mean(), "frequency")

    def both_frequencies(self, axle):
        below, past = (self.frequency(axle, f"frequency_{side}") for side in ("below", "past"))
        return "–" if below == "–" else f"{below.removesuffix(' Hz')} / {past}"

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

    def stress(self, axle):
        def text(corner):
            weakest = corner.weakest
            if weakest is None:
                return "wire not known"
            return f"{weakest.safety_factor:.2f} {_short(weakest.name, 16)}"

        return self.both(axle, text)

    def gap_limits(self, axle):
        def text(corner):
            pairs = (f"{self.tape(low)} to {self.tape(high)}" for low, high in corner.gap_limits)
            return ", ".join(pairs) or "–"

        return self.both(axle, text)

    def bar(self, axle):
        if getattr(self.sheet.vehicle, axle).bar is None:
            return "none"
        return "connected" if getattr(self.sheet.setup, f"{axle}_bar") else "off"

    def rake(self):
        sheet = self.sheet
        rise = sheet.front_height - sheet.rear_height
        if np.isnan(rise):
            return "–"
        if abs(rise) < INCH / 32:
            return "level"
        angle = show(np.arctan(abs(sheet.rake)), "angle")
        return f"nose {self.length(abs(rise))} {'high' if rise > 0 else 'low'}, {angle}"

    def contact(self):
        """What contact found with the bolt out would cost; nothing if it is the same place."""
        turns = {axle: self.both(axle, lambda c: f"{c.bolt_out_error:.1f}") for axle in AXLES}
        if not any(abs(c.bolt_out_error) >= 0.05 for c in self.sheet.corners.values()):
            return ""
        return (
            "With it out, contact is found too early: "
            f"front {turns['front']}, rear {turns['rear']} turns short."
        )

    def aboard(self):
        sheet = self.sheet
        if sheet.load is None:
            return "as weighed"
        items = [
            f"{_short(name, 20)} {show(sheet.vehicle.items[name].mass, 'mass', self.units)}"
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
                stack = getattr(setup, f"{axle}_left").stack
                if check.binds:
                    does = ("solid first", "cannot be done so", "–")
                elif check.squeeze == 0:
                    does = ("none, loose", "–", "–")
                else:
                    does = (
                        self.tape(check.squeeze),
                        show(check.force, "force", self.units),
                        show(check.energy, "energy", self.units, 1),
                    )
                rows.append(
                    {
                        "what": "Fit" if place == 0 else "Take off",
                        "stack": _short(stack, 22),
                        "squeeze": does[0],
                        "force": does[1],
                        "energy": does[2],
                    }
                )
        return rows


def _times(number):
    return "–" if np.isnan(number) else f"{number:.2f} ×"


# --- the chart -----------------------------------------------------------------------------------


def _chart(sheet, units):
    """Shock force over shock compression, front and rear, as inline SVG."""
    from matplotlib import rc_context
    from matplotlib.figure import Figure

    style = {"svg.hashsalt": "suspkit", "svg.fonttype": "path", "font.family": "DejaVu Sans",
             "font.size": 6.5, "axes.linewidth": 0.6}  # fmt: skip
    with rc_context(style):
        figure = Figure(figsize=(3.75, 1.5), layout="constrained")
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
             title=axle.capitalize() if alike else _words(left.name),
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


def html(vehicle, *, setup=None, load=None, units="us"):
    """The work sheet as one HTML file that needs nothing beside it.

    Parameters
    ----------
    vehicle : Vehicle
    setup : str or Setup, optional
    load : str, optional
    units : {"us", "metric"}

    Returns
    -------
    str

    Raises
    ------
    ValueError
        As for `work_sheet`.
    """
    sheet = work_sheet(vehicle, setup=setup, load=load, units=units)
    return _page(sheet, units)(_guess(sheet))


def _guess(sheet):
    """Size of type for a browser to print on one page: a problem takes a line or two."""
    return SCALES[min(len(sheet.problems), len(SCALES) - 1)]


def _page(sheet, units):
    """The page as a function of the size of type."""
    from markupsafe import Markup

    writer = _Writer(sheet, units)
    vehicle = sheet.vehicle
    load = vehicle.loads[sheet.load] if sheet.load is not None else None
    texts = {
        "vehicle": _short(vehicle.name, 40),
        "about": _short(vehicle.about, 100),
        "load": _short(sheet.load or "nothing aboard", 32),
        "load_note": _short(load.note if load else "", 60),
        "aboard": writer.aboard(),
        "setup": _short(sheet.setup_name, 32),
        "setup_note": _short(sheet.setup.note, 60),
        "problems": [_short(problem, 220) for problem in sheet.problems[:6]],
        "more_problems": max(0, len(sheet.problems) - 6),
        "axles": [writer.settings(axle) for axle in AXLES],
        "corners": [
            {
                "name": _words(name),
                "height": writer.tape(c.height),
                "band": f"{writer.tape(c.height_low)} to {writer.tape(c.height_high)}",
            }
            for name, c in sheet.corners.items()
        ],
        "has_ring": any(c.gap for c in sheet.corners.values()),
        "tolerance": writer.tape(sheet.side_to_side),
        "rake": writer.rake(),
        "stand": writer.stand(),
        "reserve": writer.reserve(),
        "contact": writer.contact(),
        "compressor": writer.compressor(),
        "chart": Markup(_chart(sheet, units)),
        "source": _short(Path(vehicle.source).name or "not from a file", 48),
        "digest": vehicle.digest[:12] or "–",
        "version": suspkit.__version__,
        "python": platform.python_version(),
    }
    return lambda scale: _template().render(texts, scale=scale)


@cache
def _template():
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    environment = Environment(
        loader=FileSystemLoader(Path(__file__).parent / "templates"),
        autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True,
    )  # fmt: skip
    return environment.get_template("sheet.html")


# --- files ---------------------------------------------------------------------------------------


def write(vehicle, *, setup=None, load=None, units="us", folder, pdf=True):
    """Write the work sheet as HTML and PDF, both or neither.

    Parameters
    ----------
    vehicle : Vehicle
    setup : str or Setup, optional
        One of the vehicle's by name, or any other; its current one if not given.
    load : str, optional
        The load the vehicle's targets are for if not given, else its first.
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
    stem = "-".join(_slug(name) for name in names)
    if not pdf:
        return write_files(folder, {f"{stem}.html": page(_guess(sheet))})
    text, printed = _fitted(page, PAPER[units])
    return write_files(folder, {f"{stem}.html": text, f"{stem}.pdf": printed})


def _slug(text):
    """Letters and digits that every file system takes."""
    plain = unicodedata.normalize("NFKD", str(text)).encode("ascii", "ignore").decode().lower()
    return re.sub(r"[^a-z0-9]+", "-", plain).strip("-")[:40].strip("-") or "x"


def _fitted(page, paper):
    """HTML and PDF with the largest type that keeps all on one page."""
    for scale in SCALES:
        text = page(scale)
        book = _book(text, paper)
        if book.get_page_count() == 1:
            break
    printed = io.BytesIO()
    book.write_to_pdf_stream(printed)
    return text, printed.getvalue()


def _book(text, paper):
    try:
        import plutoprint
    except (ImportError, OSError) as error:
        raise PrintError(
            f"the PDF needs plutoprint, which cannot be loaded ({error}); expected it from: pip "
            "install plutoprint; or write the HTML alone (pdf=False, or --no-pdf) and print that "
            "from a browser"
        ) from None
    size = {"letter": plutoprint.PAGE_SIZE_LETTER, "a4": plutoprint.PAGE_SIZE_A4}[paper]
    try:
        book = plutoprint.Book(size, plutoprint.PAGE_MARGINS_NONE)
        book.load_html(text, user_style=_font_style())
        # The same numbers give the same bytes; the date that counts is the one filled in by hand.
        book.set_metadata(plutoprint.PDF_METADATA_CREATION_DATE, "2000-01-01T00:00:00Z")
    except plutoprint.Error as error:
        raise PrintError(
            f"the PDF cannot be made ({error}); write the HTML alone (pdf=False, or --no-pdf) and "
            "print that from a browser"
        ) from None
    return book


def _font_style():
    """The type for paper comes with matplotlib, so a machine without fonts prints the same page."""
    import matplotlib

    fonts = Path(matplotlib.get_data_path()) / "fonts" / "ttf"
    return "".join(
        f"@font-face {{ font-family: 'suspkit sheet'; font-weight: {weight}; "
        f"src: url('{(fonts / name).as_uri()}'); }}\n"
        for weight, name in (("normal", "DejaVuSans.ttf"), ("bold", "DejaVuSans-Bold.ttf"))
    )
