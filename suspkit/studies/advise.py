"""What to change next: single changes against a driver's complaint, by what the model says."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from suspkit import given
from suspkit.dynamics.comfort import weighted_rms
from suspkit.dynamics.drive import UntrustedRunError, batch_of, build_entry, drive, same_parts
from suspkit.dynamics.events import Event
from suspkit.dynamics.road import Road
from suspkit.statics.settle import height_band, rake_in_words, settle
from suspkit.units import GRAVITY, INCH, show
from suspkit.vehicle.corner import assemble, reset_gaps, thread_problems
from suspkit.vehicle.entrance import USUAL, known_load, known_setup
from suspkit.vehicle.setup import AXLES, CORNERS, ROWS
from suspkit.vehicle.vehicle import known_name

LATERAL = 0.4 * GRAVITY
"""Steady turn in which roll is told [m/s^2]: brisk, and well short of tipping."""

GROUND = {
    "bottoms in g-outs": (
        {"radius": 8.0, "lip": 16.0, "depth": 1.0},
        {"radius": 8.0, "lip": 40.0, "depth": 1.0},  # drawn-out lips, which hardly unload a wheel
        {"radius": 8.0, "lip": 8.0, "depth": 1.0},  # sharp ones
        {"radius": 5.0, "lip": 10.0, "depth": 1.0},  # tight and slow
        {"radius": 16.0, "lip": 32.0, "depth": 1.5},  # wide and fast
    ),
    "harsh in chop": (
        {"kind": "D", "speed": 9.0, "seed": 1},
        {"kind": "C", "speed": 12.0, "seed": 2},
        {"kind": "E", "speed": 6.0, "seed": 3},
    ),
    "kicks over whoops": (
        {"height": 0.15, "spacing": 1.6, "speed": 10.0},
        {"height": 0.12, "spacing": 1.4, "speed": 9.0},
        {"height": 0.20, "spacing": 1.9, "speed": 11.0},
    ),
    "top-out clank": (
        {"height": 0.30, "speed": 10.0},
        {"height": 0.22, "speed": 8.0},
        {"height": 0.40, "speed": 12.0},
    ),
}  # fmt: skip
"""Ground that each driven complaint is judged on: lengths [m], spacing [wheelbases], speed [m/s].

The first of each is what its number is told of. A change is offered only if it helps on all the
others too: one shape may flatter a change, as sharp lips flatter slow rebound. The chop is ISO
8608, whose classes are roads as surveyed; the shapes and speeds are our judgement, no source:
washes and crossings 11 to 24 m from lip to lip, whoops and ledges as high as a tire takes. A g-out
is taken as fast as first bottoms the vehicle as it is, in that dip.
"""

SLOWEST, FASTEST = 4.0, 25.0
"""Speeds between which a g-out that just bottoms is looked for [m/s]."""

STAND_IN = 2 * INCH, 30e3
"""Where there is no bump stop, the length [m] and rate [N/m] of one that would take the energy."""

CHOP_TIME = 2.0
"""How long the chop is driven [s]."""

SLOWER = 0.95
"""Share of a g-out's speed at which changes are held against each other: at that which first
bottoms the vehicle the stops are full, and tell no more."""

HEIGHT_BAND = 0.5 * INCH
"""How far from its target a ride height may be moved [m] (our judgement)."""

SPARE = 0.9
"""Share of its load factor an axle keeps where no target is given (our judgement)."""

READABLE = INCH / 16
"""What a tape can tell [m]."""

TAPE = INCH / 8
"""A measured height this far outside the friction band contradicts the model [m]: the free length
of a spring alone varies by as much."""

COLLAR_TURNS = (1, 2, 3, 4, 5, 6, 8)
"""Turns of the collar tried, either way."""

RING_TURNS = (2, 4, 8)
"""Turns of the stop ring tried, either way: two change bottoming (common practice)."""

CLICKS = (3, 6)
"""Clicks tried, either way: a quarter and a half of the usual range."""

PROMISING = 0.25
"""Gain from which on a larger change of the same kind is tried too."""

STEP = 2.5e-3
"""Time step of the driven events [s]: their metrics change by less than 0.1 % when it is halved."""

LONGER = 1.0 * INCH
"""Most by which a spring tried differs in free length from the one it replaces [m]."""

STAGES = ("springs", "preload", "gap", "bar", "clicks")
"""Order of work: new springs begin it all again, preload sets ride height and moves the gap."""

COSTS = {
    "springs": "springs and the compressor",
    "preload": "minutes with a wrench",
    "gap": "minutes with a wrench",
    "bar": "minutes with a wrench",
    "clicks": "nothing, by hand",
}
"""What each stage costs."""

EFFORT = {"springs": 0.4, "preload": 0.9, "gap": 0.9, "bar": 0.9, "clicks": 1.0}
"""Share of a gain that counts, for a change of each cost (our judgement): springs must gain more
than twice as much as a clicker to be offered."""

BYSTANDER = 0.25
"""How much worsening counts of what nobody complained about."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Number:
    """Something a change may move, and from what change on it counts.

    Attributes
    ----------
    words : str
        What it is.
    floor, share : float
        Least change that counts: this much [its own SI unit], and this share of what it was [-].
    say : callable
        Value and units to text [its own SI unit].
    """

    words: str
    floor: float
    say: Callable
    share: float = 0.0

    def least(self, before):
        """Least change from a value that counts [its own SI unit]."""
        return max(self.floor, self.share * abs(before)) if np.isfinite(before) else self.floor


def _kind(kind, digits=None):
    return lambda value, units: show(value, kind, units, digits)


COMPLAINTS = {
    "bottoms in g-outs": Number(
        words="energy the harder hit bump stop takes in a g-out", floor=5.0, share=0.05,
        say=_kind("energy"),
    ),
    "harsh in chop": Number(
        words="weighted seat acceleration in chop", floor=0.01, share=0.03,
        say=lambda value, units: f"{value:.2f} m/s²",
    ),
    "nose high loaded": Number(
        words="nose above its target rake", floor=INCH / 8, say=_kind("length")
    ),
    "rolls in turns": Number(
        words="roll angle at 0.4 g", floor=np.radians(0.1), share=0.03, say=_kind("angle", 2)
    ),
    "kicks over whoops": Number(
        words="fastest nose-down pitching over whoops", floor=np.radians(1.0), share=0.03,
        say=lambda value, units: f"{show(value, 'angle', units)}/s",
    ),
    "top-out clank": Number(
        words="shaft speed onto the top-out off a ledge", floor=0.02, share=0.03,
        say=_kind("velocity"),
    ),
}  # fmt: skip
"""The complaints known, each with its one metric; less is better in all of them."""

_OTHERS = {
    "front height": Number(words="front ride height", floor=READABLE, say=_kind("length")),
    "rear height": Number(words="rear ride height", floor=READABLE, say=_kind("length")),
    "rake": Number(
        words="rake",
        floor=READABLE,
        say=lambda value, units: rake_in_words(value, units, kind="length"),
    ),
    "front crossover": Number(words="front crossover", floor=INCH / 8, say=_kind("length")),
    "rear crossover": Number(words="rear crossover", floor=INCH / 8, say=_kind("length")),
    "front load factor": Number(words="front load factor", floor=0.03, say=_kind("ratio")),
    "rear load factor": Number(words="rear load factor", floor=0.03, say=_kind("ratio")),
}
"""What else a change is told to move."""

_DRIVEN = ("bottoms in g-outs", "harsh in chop", "kicks over whoops", "top-out clank")


@dataclass(frozen=True, kw_only=True, eq=False)
class Suggestion:
    """One single change, both sides of an axle alike, and what the model says of it.

    Attributes
    ----------
    complaint : str
        What it answers.
    change : str
        What to do, in a few words.
    stage : str
        One of `STAGES`.
    axle : {"front", "rear"}
    adjuster : str
        What is turned or swapped: no two changes of one are made together.
    cost : str
        In hardware and work.
    before, after : float
        The complaint's own metric [its SI unit].
    gain : float
        Improvement in least changes that count, see `Number` [-].
    across : tuple of float
        Least and most improvement over all of its `GROUND`, as a share [-].
    effects : dict of str to tuple of float
        What else moves by more than counts, before and after: other complaints' metrics and
        heights, rake, crossovers, load factors [each in its SI unit].
    sentence : str
        The same in one sentence.
    vehicle : Vehicle
        With the stack among its stacks, if it takes another spring.
    setup : Setup
        With the change made.
    """

    complaint: str
    change: str
    stage: str
    axle: str
    adjuster: str
    cost: str
    before: float
    after: float
    gain: float
    across: tuple[float, float]
    effects: dict
    sentence: str
    vehicle: object
    setup: object


@dataclass(frozen=True, kw_only=True, eq=False)
class Advice:
    """What to change next.

    Attributes
    ----------
    suggestions : dict of str to tuple of Suggestion
        By complaint, the best first; empty where nothing helps.
    before : dict of str to float
        Each complaint's own metric as it is now [its SI unit].
    refused : dict of str to str
        Changes the model cannot support, and why.
    contradictions : tuple of str
        Where measured heights say that the model is not this vehicle; then nothing is suggested.
    text : str
        All of it in plain sentences.
    """

    suggestions: dict[str, tuple[Suggestion, ...]]
    before: dict[str, float]
    refused: dict[str, str]
    contradictions: tuple[str, ...]
    text: str

    @property
    def order(self):
        """The best suggestion for each complaint, in order of work.

        Where two complaints would turn the same adjuster, the one told first has it, and the other
        its next suggestion.
        """
        return _in_order(self.suggestions)


def _in_order(suggestions):
    taken = {}
    for found in suggestions.values():
        free = [s for s in found if s.adjuster not in taken]
        if free:
            taken[free[0].adjuster] = free[0]
    return tuple(sorted(taken.values(), key=lambda s: STAGES.index(s.stage)))


@dataclass(frozen=True, kw_only=True, eq=False)
class _Change:
    """A single change, not yet judged."""

    words: str
    stage: str
    axle: str
    setup: object
    size: float = 0.0
    way: object = 0
    """Which way, and of which adjuster: of changes that differ in size only, one is offered."""

    @property
    def key(self):
        return self.stage, self.axle, self.way

    @property
    def adjuster(self):
        return f"{self.axle} {self.way[0] if self.stage == 'clicks' else self.stage}"


def advise(
    vehicle, setup=None, *, complaints, load=USUAL, heights=None, rack=None, units="us", most=3
):
    """Rank single changes against what a driver complains about.

    Parameters
    ----------
    vehicle : Vehicle
    setup : Setup, optional
        As it is now; the current one if not given.
    complaints : str or sequence of str
        Of `COMPLAINTS`.
    load : str, optional
        What was aboard; the vehicle's usual load if not given, nothing if None.
    heights : sequence of float or None, optional
        Ride heights by tape, in the order of `suspkit.vehicle.setup.CORNERS`; None where not read
        [m].
    rack : dict of str to Spring, optional
        Springs that may be fitted, besides those of the vehicle.
    units : {"us", "metric"}
        Of the sentences.
    most : int
        Suggestions for each complaint.

    Returns
    -------
    Advice

    Raises
    ------
    ValueError
        If a complaint, the load or the number of heights is not as expected, or the set-up cannot
        be built as it is.

    Notes
    -----
    Each complaint has one metric, told on the first of its `GROUND` (common practice and our
    judgement, no source):

    - *bottoms in g-outs*: energy the harder hit of front and rear bump stop takes (a `STAND_IN`
      where there is none), in a dip at the speed at which it first bottoms as it is;
    - *harsh in chop*: acceleration midway between the axles, weighted by W_k of ISO 2631-1, over
      ground of ISO 8608;
    - *nose high loaded*: front less rear ride height, less the same of the targets (level without
      targets), as it stands in this load;
    - *rolls in turns*: settled roll at 0.4 g, mean of left and right turn;
    - *kicks over whoops*: fastest nose-down pitching over three whoops;
    - *top-out clank*: shaft speed outward where the top-out spring begins (the metal limit without
      one), root mean square of front and rear, off a ledge.

    Driven events use half a vehicle, so a bar does nothing in them. A gap is re-set after the
    collar, and after new springs the collar is turned to the same ride height. A change is offered
    only if it improves the metric by more than a driver or a tape can tell, and on the rest of
    `GROUND` by half of that (in a g-out its own axle's stop, wherever that is hit, and the harder
    hit one no worse); fits its threads; keeps the springs from going solid or past yield, held at
    full extension, ride heights in their band (or no further out) and the load factor at what it
    was or its target.
    Ranked by gain times `EFFORT`, less what gets worse; for ride height the collar comes first.
    """
    setup, load = known_setup(vehicle, setup), known_load(vehicle, load)
    if not (isinstance(complaints, str) or hasattr(complaints, "__iter__")):
        given.refuse("complaints", complaints, f"some of {', '.join(COMPLAINTS)}")
    asked = (complaints,) if isinstance(complaints, str) else tuple(complaints)
    if not asked:
        raise ValueError(f"complaints is empty; expected some of {', '.join(COMPLAINTS)}")
    for i, complaint in enumerate(asked):
        known_name(complaint, COMPLAINTS, f"complaints[{i}]", "a complaint")
    heights = _known_heights(heights)
    known_name(units, ("us", "metric"), "units", "a system")
    given.whole("most", most, low=1)
    given.of_kind("rack", rack, (dict, type(None)), "a dict of names to Spring, or None")
    numbers = [v for c in setup.corners for v in (c.turns, *_each(c.gap), *_each(c.ring))]
    if any(np.ndim(number) for number in numbers):
        raise ValueError("setup holds arrays; expected a single set-up")
    corners = assemble(vehicle, setup)
    broken = thread_problems(corners)
    if broken:
        raise ValueError(f"{broken[0]}; put that right first")
    asked = tuple(dict.fromkeys(asked))
    now = settle(vehicle, setup, load=load, corners=corners)
    if now.tipped:
        raise ValueError(f"load is {load!r}; expected one with which the vehicle stands upright")
    contradictions, offset = _against_tape(vehicle, setup, load, corners, now, heights, units)
    setup = reset_gaps(setup, corners)
    wider, changes = _changes(vehicle, setup, load, now, rack or {}, units)
    trials = _Trials(wider, changes, load, offset, units)
    before = {name: trials.value(name, 0) for name in asked}
    found = {name: () if contradictions else trials.best(name, asked, most) for name in asked}
    shown = {name: trials.shown(name) for name in asked}
    first = "" if vehicle.targets is None else _height_first(trials.off, vehicle.targets, units)
    text = _text(found, before, shown, first, contradictions, units)
    return Advice(
        suggestions=found, before=before, refused=trials.refused, contradictions=contradictions,
        text=text,
    )  # fmt: skip


def _known_heights(heights):
    """Heights read by tape, None where not read."""
    if heights is None:
        return None
    if isinstance(heights, str) or not hasattr(heights, "__iter__"):
        given.refuse("heights", heights, "four numbers of m, None where not read")
    return tuple(
        None if one is None else given.number("heights", one, "length", low=0.0, high=3.0)
        for one in heights
    )


# -- what could be changed ---------------------------------------------------------------------


def _changes(vehicle, setup, load, now, rack, units):
    """The vehicle with every stack tried, and every single change; the first is none at all."""
    changes = [_Change(words="nothing", stage="clicks", axle="", setup=setup)]
    wider = vehicle
    for axle, (left, _) in AXLES.items():
        end = getattr(vehicle, axle)
        changes += _collars(setup, axle, units)
        if getattr(setup, left).gap is not None:
            changes += _rings(setup, axle, end.shock.thread.ring_pitch, units)
        if end.bar is not None:
            on = not getattr(setup, f"{axle}_bar")
            words = f"{'Connect' if on else 'Disconnect'} the {axle} anti-roll bar"
            changed = replace(setup, **{f"{axle}_bar": on})
            changes.append(_Change(words=words, stage="bar", axle=axle, setup=changed))
        if end.shock.damper is not None:
            for name in end.shock.damper.adjusters:
                changes += _clicks(setup, axle, name, end.shock.clickers[name])
        wider, fitted = _springs(wider, setup, load, now, axle, rack, units)
        changes += fitted
    return wider, changes


def _corners_to(setup, axle, what, to):
    """The set-up with one field of both corners of an axle made what a function makes of it."""
    for name in AXLES[axle]:
        setup = setup.change(name, **{what: to(getattr(getattr(setup, name), what))})
    return setup


def _each(value):
    return () if value is None else value if isinstance(value, tuple) else (value,)


def _sides(left, right):
    """In words, both sides at once where they are alike."""
    return left if left == right else f"left {left}, right {right}"


def _from_to(was, now, say):
    return _sides(*(f"from {say(a)} to {say(b)}" for a, b in zip(was, now, strict=True)))


def _either_way(sizes):
    """The same with both signs, the smallest first."""
    return sorted((*sizes, *(-size for size in sizes)), key=abs)


def _collars(setup, axle, units):
    both = [getattr(setup, name) for name in AXLES[axle]]
    for turns in _either_way(COLLAR_TURNS):
        was = [c.turns for c in both]
        now = [t + turns for t in was]
        if min(now) < 0:
            continue
        words = (
            f"Turn both {axle} collars {_count(abs(turns), 'turn')} {'down' if turns > 0 else 'up'}"
            f" ({'more' if turns > 0 else 'less'} preload), {_from_to(was, now, '{:g}'.format)} "
            "turns from contact"
        )
        if both[0].gap is not None:
            gaps = (show(_last(c.gap), "tape", units) for c in both)
            words += f", and re-set the gap to {_sides(*gaps)}"
        yield _Change(
            words=words, stage="preload", axle=axle, size=abs(turns), way=int(np.sign(turns)),
            setup=_corners_to(setup, axle, "turns", lambda t, turns=turns: t + turns),
        )  # fmt: skip


def _last(gap):
    """The gap of the last ring to close."""
    return gap[-1] if isinstance(gap, tuple) else gap


def _rings(setup, axle, pitch, units):
    """The last ring to close, opened or closed."""
    both = [_last(getattr(setup, name).gap) for name in AXLES[axle]]
    for turns in _either_way(RING_TURNS):
        shift = turns * pitch
        now = [gap + shift for gap in both]
        if min(now) < 0:
            continue
        way = "Open" if turns > 0 else "Close"
        words = (
            f"{way} both {axle} stop rings {_count(abs(turns), 'turn')}, gap "
            f"{_from_to(both, now, lambda gap: show(gap, 'tape', units))}"
        )

        def moved(gap, shift=shift):
            return (*gap[:-1], gap[-1] + shift) if isinstance(gap, tuple) else gap + shift

        yield _Change(
            words=words, stage="gap", axle=axle, size=abs(turns), way=int(np.sign(turns)),
            setup=_corners_to(setup, axle, "gap", moved),
        )  # fmt: skip


def _clicks(setup, axle, name, clicker):
    """One adjuster, closed or opened."""
    was = [getattr(setup, corner).clicks.get(name, clicker.middle) for corner in AXLES[axle]]
    for clicks in _either_way(CLICKS):
        now = [c + clicks for c in was]
        if not (0 <= min(now) and max(now) <= clicker.count):
            continue
        closing = (clicks < 0) == (clicker.zero == "closed")
        words = (
            f"{'Close' if closing else 'Open'} {axle} {name.replace('-', ' ')} {abs(clicks)} "
            f"clicks, both sides, {_from_to(was, now, '{:g}'.format)} from fully {clicker.zero}"
        )
        yield _Change(
            words=words, stage="clicks", axle=axle, size=abs(clicks), way=(name, closing),
            setup=_corners_to(
                setup, axle, "clicks",
                lambda c, to=clicks: c | {name: c.get(name, clicker.middle) + to},
            ),
        )  # fmt: skip


def _count(number, noun):
    return f"{number:g} {noun}" if number == 1 else f"{number:g} {noun}s"


def _springs(vehicle, setup, load, now, axle, rack, units):
    """Each spring of an axle swapped for the next softer and the next stiffer that fits it."""
    left, right = AXLES[axle]
    name = getattr(setup, left).stack
    if getattr(setup, right).stack != name:
        return vehicle, []
    shelf = vehicle.springs | rack
    plan = vehicle.stacks[name]
    swaps = []
    for i, old in enumerate(plan.springs):
        was = shelf[old]
        rates = {
            n: float(s.law.slope(0.0) / was.law.slope(0.0)) for n, s in shelf.items()
            if n not in plan.springs and abs(s.free_length - was.free_length) <= LONGER
        }  # fmt: skip
        softer = [n for n, rate in rates.items() if rate < 0.999]
        stiffer = [n for n, rate in rates.items() if rate > 1.001]
        swaps += [(i, old, max(softer, key=rates.get))] if softer else []
        swaps += [(i, old, min(stiffer, key=rates.get))] if stiffer else []
    changes = []
    stacks = dict(vehicle.stacks)
    for i, old, new in swaps:
        names = (*plan.springs[:i], new, *plan.springs[i + 1 :])
        stacks[f"{name}, {new} for {old}"] = plan.with_springs(names)
    wider = replace(vehicle, stacks=stacks, springs=shelf)
    for _, old, new in swaps:
        changed = setup.change(axle, stack=f"{name}, {new} for {old}")
        turns = _same_height(wider, changed, load, now, axle)
        if turns is None:
            continue
        words = (
            f"Fit {new} for {old} on both sides of the {axle}, {_count(turns, 'turn')} from contact"
        )
        changes.append(
            _Change(words=words, stage="springs", axle=axle, way=(old, new),
                    setup=changed.change(axle, turns=turns))
        )  # fmt: skip
    return wider, changes


def _same_height(vehicle, setup, load, now, axle):
    """Turns in halves that bring an axle nearest to its present height; nothing if none can."""
    least = now.corners[AXLES[axle][0]].held_turns
    at = 0.5 * (np.ceil(2 * least) + np.arange(33))
    changed = setup.change(axle, turns=at)
    made = assemble(vehicle, changed, refuse_solid=False)
    stance = settle(vehicle, changed, load=load, corners=made)
    away = np.abs(_axle(stance, axle) - _axle(now, axle))
    best = int(np.argmin(np.where(np.isfinite(away), away, np.inf)))
    return float(at[best]) if away[best] < 0.5 * INCH else None


# -- what the model says of each -----------------------------------------------------------------


def _axle(stance, axle):
    return stance.front_height if axle == "front" else stance.rear_height


def _nose(vehicle, stance):
    """Front less rear ride height, less the same of the targets [m]."""
    level = 0.0
    if vehicle.targets is not None:
        level = vehicle.targets.front.ride_height - vehicle.targets.rear.ride_height
    return stance.front_height - stance.rear_height - level


def _gaps_fit(corner):
    ok = np.True_
    for i, gap in enumerate(corner.gap):
        least, most = corner.gap_limits(i)
        ok = ok & (np.asarray(gap) >= least - 1e-6) & (np.asarray(gap) <= most + 1e-6)
    return ok


class _Trials:
    """Every change settled at once, and driven where somebody asks."""

    def __init__(self, vehicle, changes, load, offset, units):
        self.vehicle, self.changes, self.load, self.units = vehicle, changes, load, units
        self.settled, self.why = [{} for _ in changes], [""] * len(changes)
        self.entries, self.known, self.runs, self.events = [None] * len(changes), {}, {}, {}
        self.speeds = {}
        setups = [c.setup for c in changes]
        limits, self.off = None, {}
        for group in same_parts(setups):
            batch = batch_of([setups[i] for i in group])
            corners = assemble(vehicle, batch, refuse_solid=False)
            stance = settle(vehicle, batch, load=load, corners=corners)
            turning = [
                np.abs(settle(vehicle, batch, load=load, corners=corners, lateral=way).roll)
                for way in (-LATERAL, LATERAL)
            ]
            numbers = {
                "nose high loaded": _nose(vehicle, stance) + offset,
                "rolls in turns": 0.5 * (turning[0] + turning[1]),
                "rake": stance.rake,
            }
            for axle, (left, _) in AXLES.items():
                rows = ROWS[axle]
                corner = corners[left]
                met = corner.crossover <= corner.shock.full_bump
                numbers |= {
                    f"{axle} height": _axle(stance, axle),
                    f"{axle} crossover": np.where(met, corner.crossover_travel, np.nan),
                    f"{axle} load factor": stance.bottoming.load_factor[rows].mean(axis=0),
                }
            shape = stance.rake.shape
            numbers = {n: np.broadcast_to(v, shape) for n, v in numbers.items()}
            checks = self._checks(corners, stance, batch)
            limits = limits or self._limits(checks)
            for row, i in enumerate(group):
                self.settled[i] = {n: float(v[row]) for n, v in numbers.items()}
                self.why[i] = self._why(limits, {n: v[row] for n, v in checks.items()})
                self.entries[i] = corners, stance, row

    def _checks(self, corners, stance, batch):
        """Numbers that may not fall below zero, or below what they are now; by why."""
        found = {}
        targets = self.vehicle.targets
        aimed = stance
        if targets is not None and targets.load != self.load:
            aimed = settle(self.vehicle, batch, load=targets.load, corners=corners)
        for axle, names in AXLES.items():
            rows = ROWS[axle]
            both = [corners[name] for name in names]
            target = getattr(targets, axle) if targets is not None else None
            least = lambda values: np.min(np.broadcast_arrays(*values), axis=0)  # noqa: E731
            ends = [c.turn_limits for c in both]
            fits = least([np.minimum(c.turns - low, high - c.turns) + 1e-6
                          for c, (low, high) in zip(both, ends, strict=True)])  # fmt: skip
            found[f"the {axle} collar's thread ends before that"] = fits
            found[f"the {axle} stop ring's thread does not reach that gap"] = least(
                [np.where(_gaps_fit(c), 0.0, -1.0) for c in both]
            )
            found[f"the {axle} springs would go solid before full bump"] = least(
                [c.room for c in both]
            )
            found[f"the {axle} springs would come loose at full extension"] = least(
                [c.turns - c.least_turns for c in both]
            )
            found[f"the {axle} springs would be past yield at full bump"] = least(
                [
                    np.fmin.reduce([*c.safety_factors, np.full(np.shape(c.seat), np.inf)]) - 1.0
                    for c in both
                ]
            )
            factor = np.nan_to_num(stance.bottoming.load_factor[rows].min(axis=0))
            found[f"the {axle} load factor would fall too far"] = factor
            if target is not None:
                off = _axle(aimed, axle) - target.ride_height
                self.off.setdefault(axle, float(off[0]))
                found[f"the {axle} would leave its target ride height"] = HEIGHT_BAND - np.abs(off)
            found[f"a {axle} tyre would lift, or the {axle} stand on its bump stop"] = -1.0 * (
                stance.lifted[rows] | stance.on_stop[rows]
            ).any(axis=0)
        found["it would not stand upright"] = np.where(stance.tipped, -1.0, 0.0)
        shape = stance.rake.shape
        return {why: np.broadcast_to(value, shape) for why, value in found.items()}

    def _limits(self, checks):
        """What each check may not fall below: zero, its target, or what it is now."""
        limits = {}
        for why, values in checks.items():
            now, aim, slack = float(values[0]), 0.0, 1e-6
            if "ride height" in why:
                slack = READABLE
            if "load factor" in why:
                target = getattr(self.vehicle.targets, why.split()[1], None)
                aim, slack = getattr(target, "load_factor", None) or SPARE * now, 0.02
            limits[why] = min(aim, now) - slack
        return limits

    @staticmethod
    def _why(limits, mine):
        return next((why for why, value in mine.items() if not value >= limits[why]), "")

    @property
    def refused(self):
        """Changes the model cannot support in any size, and why."""
        found = {}
        for keyed in self.keys().values():
            if all(self.why[i] for i in keyed):
                found[self.changes[keyed[0]].words] = f"{self.why[keyed[0]]}."
        return found

    def keys(self):
        """Places of the changes that differ in size only, the smallest first."""
        found = {}
        for i, change in enumerate(self.changes[1:], 1):
            found.setdefault(change.key, []).append(i)
        return {key: sorted(at, key=lambda i: self.changes[i].size) for key, at in found.items()}

    def built(self, i):
        """Half a vehicle with a change made, ready to drive."""
        if not hasattr(self.entries[i], "wheels"):
            self.entries[i] = build_entry(
                self.vehicle, self.changes[i].setup, *self.entries[i], load=self.load,
                model="half", known_dampers=self.known,
            )  # fmt: skip
        return self.entries[i]

    def value(self, name, i, place=0):
        """A metric or settled number with a change made, on one place of its `GROUND`."""
        if name not in _DRIVEN:
            return self.settled[i][name]
        return float(np.max(self.reading(name, i, place)))

    def reading(self, name, i, place=0, pace=1.0):
        """What is read of a driven event with a change made, its speed times ``pace``."""
        key = name, i, place, pace
        if key not in self.runs:
            if (name, place, pace) not in self.events:
                ground = dict(GROUND[name][place])
                if name == "bottoms in g-outs":
                    ground["speed"] = pace * self.bottoming_speed(place)
                self.events[name, place, pace] = _EVENTS[name](self.vehicle.wheelbase, **ground)
            self.runs[key] = self._drive(self.events[name, place, pace], i, _READ[name])
        return self.runs[key]

    def _drive(self, event, i, read):
        built = self.built(i)
        keep = 2 * STEP if read is _seat else STEP
        try:
            run = drive(self.vehicle, event=event, model="half", built=built, step=STEP, keep=keep)
        except UntrustedRunError:
            return (np.inf, np.inf) if read is _stop_energy else np.inf
        return read(run, built, self.vehicle)

    def bottoming_speed(self, place=0):
        """Speed at which a dip just bottoms the vehicle as it is [m/s]."""
        if place not in self.speeds:
            dip = GROUND["bottoms in g-outs"][place]
            # The others are near the first, and only a share of their speed is driven.
            near = (SLOWEST, 0.08) if place == 0 else (0.8 * self.bottoming_speed(), 0.2)
            self.speeds[place] = self._bottoming_speed(dip, *near)
        return self.speeds[place]

    def _bottoming_speed(self, dip, start, within):
        from scipy.optimize import brentq

        def past(speed):
            event = _dip(self.vehicle.wheelbase, speed=speed, **dip)
            # A vehicle that turns over counts as past it.
            return min(1.0, self._drive(event, 0, _past_full_bump))

        slow = max(start, SLOWEST)
        while past(slow) >= 0:
            if slow <= SLOWEST:
                return slow
            slow = max(slow / 1.25, SLOWEST)
        while slow < FASTEST:
            fast = 1.25 * slow
            if past(fast) >= 0:
                return brentq(past, slow, fast, xtol=within)
            slow = fast
        return FASTEST

    # -- judging -------------------------------------------------------------------------------

    def gain(self, name, i, place=0):
        """How many least changes that count a metric improves by."""
        before, after = self.value(name, 0, place), self.value(name, i, place)
        if name == "nose high loaded":
            # Past level is no better than short of it.
            before, after = max(before, 0.0), abs(after)
        if not (np.isfinite(before) and np.isfinite(after)):
            return 0.0 if not np.isfinite(after) else np.inf
        return (before - after) / COMPLAINTS[name].least(before)

    def shown(self, name):
        """Whether the model shows the complaint at all."""
        if name == "bottoms in g-outs" and self.bottoming_speed() >= FASTEST:
            return False
        return self.value(name, 0) >= COMPLAINTS[name].floor

    def best(self, name, asked, most):
        """Suggestions against one complaint, ranked."""
        if not self.shown(name):
            return ()
        picked = []
        for sizes in self.keys().values():
            i = self._size(name, [i for i in sizes if not self.why[i]])
            if i is not None:
                picked.append(i)

        def rank(worth):
            # Ride height is the collar's work first, whatever else would change it too.
            nose = name == "nose high loaded"
            return sorted(
                worth, key=lambda i: (nose and self.changes[i].stage != "preload", -worth[i])
            )

        short = []
        for i in rank({i: self._worth(name, i) for i in picked}):
            if self._holds(name, i):
                short.append(i)
            if len(short) > most:
                break
        short = rank({i: self._merit(name, i, asked) for i in short})
        return tuple(self._suggestion(name, i) for i in short[:most])

    def _holds(self, name, i):
        """Whether a change also helps on the rest of the ground."""
        if name not in _DRIVEN:
            return True
        if name == "bottoms in g-outs":
            return self._helps_in_dips(name, i)
        return all(self.gain(name, i, place) >= 0.5 for place in range(1, len(GROUND[name])))

    def _helps_in_dips(self, name, i):
        """Whether a change spares its own axle's stop wherever it is hit, and the harder hit one
        is never the worse for it."""
        number, own = COMPLAINTS[name], list(AXLES).index(self.changes[i].axle)
        hit = False
        for before, after in self._in_dips(name, i):
            if not max(after) < max(before) + number.least(max(before)):
                return False
            if before[own] >= number.floor:
                hit = True
                if not after[own] <= (1 - number.share / 2) * before[own]:
                    return False
        return hit

    def _in_dips(self, name, i):
        """What both stops take in each dip, before and after."""
        for place in range(len(GROUND[name])):
            yield tuple(self.reading(name, j, place, SLOWER) for j in (0, i))

    def _across(self, name, i):
        """Least and most improvement over all of the ground, as a share."""
        if name == "bottoms in g-outs":
            own, floor = list(AXLES).index(self.changes[i].axle), COMPLAINTS[name].floor
            pairs = [(b[own], a[own]) for b, a in self._in_dips(name, i) if b[own] >= floor]
        else:
            places = range(len(GROUND.get(name, "1")))
            pairs = [(self.value(name, 0, p), self.value(name, i, p)) for p in places]
        shares = [1 - after / before for before, after in pairs]
        return min(shares), max(shares)

    def _worth(self, name, i):
        """Gain, less for what a change costs."""
        return self.gain(name, i) * EFFORT[self.changes[i].stage]

    def _size(self, name, sizes):
        """The size of a change to offer: what settles, as well as it can; else the least."""
        if name not in _DRIVEN:
            best = max(sizes, key=lambda i: self.gain(name, i), default=None)
            return best if best is not None and self._worth(name, best) >= 1 else None
        for i in sizes:
            if self.changes[i].size == 1:
                continue
            if self._worth(name, i) >= 1:
                return i
            # The last clicks close more than the first.
            if self.gain(name, i) < PROMISING and self.changes[i].stage != "clicks":
                return None
        return None

    def _merit(self, name, i, asked):
        harm = 0.0
        for other in COMPLAINTS:
            if other != name:
                worse = max(0.0, -self.gain(other, i))
                harm += min(worse, 10.0) * (1.0 if other in asked else BYSTANDER)
        return min(self.gain(name, i), 20.0) * EFFORT[self.changes[i].stage] - harm

    def _suggestion(self, name, i):
        change, own = self.changes[i], COMPLAINTS[name]
        before, after = self.value(name, 0), self.value(name, i)
        effects = {}
        for other, number in (COMPLAINTS | _OTHERS).items():
            pair = self.value(other, 0), self.value(other, i)
            if other != name and abs(pair[1] - pair[0]) >= number.least(pair[0]):
                effects[other] = pair
        say = lambda number, value: number.say(value, self.units)  # noqa: E731
        moved = [
            f"{number.words} from {say(number, effects[n][0])} to {say(number, effects[n][1])}"
            for n, number in (COMPLAINTS | _OTHERS).items() if n in effects
        ]  # fmt: skip
        across = self._across(name, i)
        elsewhere = " to ".join(dict.fromkeys(f"{100 * share:.0f}" for share in across))
        elsewhere = f"; {elsewhere} % over all the ground tried" if name in _DRIVEN else ""
        sentence = (
            f"{change.words}: {own.words} falls from {say(own, before)} to {say(own, after)} "
            f"({100 * (1 - after / before):.0f} % less{elsewhere}); "
            f"{'it also moves ' + ', '.join(moved) if moved else 'nothing else moves'}; it costs "
            f"{COSTS[change.stage]}."
        )
        return Suggestion(
            complaint=name, change=change.words, stage=change.stage, axle=change.axle,
            adjuster=change.adjuster, cost=COSTS[change.stage], before=before, after=after,
            gain=float(self.gain(name, i)), across=across, effects=effects, sentence=sentence,
            vehicle=self.vehicle, setup=change.setup,
        )  # fmt: skip


# -- the standard events -------------------------------------------------------------------------


def _dip(wheelbase, *, radius, lip, depth, speed):
    road = Road.g_out(radius, depth=depth, lip=lip)
    time = (1.0 + 0.9 * road.length + wheelbase) / speed
    return Event(name="g-out", duration=time, speed=speed, road=road, approach=1.0)


def _chop(wheelbase, *, kind, speed, seed):
    road = Road.iso8608(kind, length=speed * CHOP_TIME + wheelbase + 5.0, seed=seed)
    return Event(name="chop", duration=CHOP_TIME, speed=speed, road=road)


def _whoops(wheelbase, *, height, spacing, speed):
    road = Road.whoops(height, spacing=spacing * wheelbase, count=3)
    time = (0.5 + road.length + wheelbase) / speed
    return Event(name="whoops", duration=time, speed=speed, road=road, approach=0.5)


def _ledge(wheelbase, *, height, speed):
    time = (0.5 + wheelbase) / speed + 0.45
    return Event(name="ledge", duration=time, speed=speed, road=Road.square_edge(-height),
                 approach=0.5)  # fmt: skip


_EVENTS = {
    "bottoms in g-outs": _dip,
    "harsh in chop": _chop,
    "kicks over whoops": _whoops,
    "top-out clank": _ledge,
}


def _past_full_bump(run, built, vehicle):
    full = np.array([c.shock.full_bump for c in run.corners])
    return float((run.compression.max(axis=1) - full).max())


def _stop_energy(run, built, vehicle):
    taken = []
    for corner, most in zip(run.corners, run.compression.max(axis=1), strict=True):
        touch, law = corner.shock.bump_touch, corner.shock.limits
        if corner.shock.bump_stop is None:
            touch = corner.shock.full_bump - STAND_IN[0]
            taken.append(0.5 * STAND_IN[1] * max(0.0, most - touch) ** 2)
            continue
        taken.append(float(law.antiderivative(max(most, touch)) - law.antiderivative(touch)))
    return tuple(taken)


def _seat(run, built, vehicle):
    ahead = -built.centre[0] - 0.5 * vehicle.wheelbase
    return float(weighted_rms(run.seat_acceleration(ahead=ahead), dt=run.time[1] - run.time[0]))


def _pitching(run, built, vehicle):
    return float(np.gradient(run.pitch, run.time).max())


def _top_out(run, built, vehicle):
    total = 0.0
    for i, corner in enumerate(run.corners):
        top = corner.shock.top_out
        from_here = run.compression[i] <= (top.length if top is not None else 3e-3)
        total += float(np.where(from_here, np.maximum(-run.shaft_speed[i], 0.0), 0.0).max()) ** 2
    return np.sqrt(total / len(run.corners))


_READ = {
    "bottoms in g-outs": _stop_energy,
    "harsh in chop": _seat,
    "kicks over whoops": _pitching,
    "top-out clank": _top_out,
}


# -- words ---------------------------------------------------------------------------------------


def _against_tape(vehicle, setup, load, corners, now, heights, units):
    """What measured heights contradict, and how much higher the nose is than the model says [m]."""
    if heights is None:
        return (), 0.0
    read = [np.nan if h is None else float(h) for h in heights]
    if len(read) != 4:
        raise ValueError(f"heights has {len(read)} values; expected 4, one for each corner")
    low, high = height_band(vehicle, setup, load=load, corners=corners)
    wrong = []
    for name, value, least, most in zip(CORNERS, read, low, high, strict=True):
        if value < least - TAPE or value > most + TAPE:
            wrong.append(
                f"{name.replace('_', ' ').capitalize()} stands at {show(value, 'tape', units)} by "
                f"tape, and the model says {show(float(least), 'tape', units)} to "
                f"{show(float(most), 'tape', units)}."
            )
    off = np.array(read) - now.height
    nose = float(off[:2].mean() - off[2:].mean())
    return tuple(wrong), nose if np.isfinite(nose) else 0.0


def _height_first(off, targets, units):
    """What to do about ride heights before anything else."""
    wrong = [
        f"the {axle} stands {show(abs(by), 'length', units)} {'above' if by > 0 else 'below'}"
        for axle, by in off.items()
        if abs(by) > HEIGHT_BAND
    ]
    if not wrong:
        return ""
    return (
        f"Ride height first: {' and '.join(wrong)} its target with load {targets.load!r}. Set "
        "preload for it (suspkit.solve_preload), then the gap, and ask again."
    )


def _text(found, before, shown, first, contradictions, units):
    if contradictions:
        return "\n".join(
            [*contradictions, "Measure again, then fit the model to the tape (suspkit.fit); until "
             "then nothing it says of a change can be trusted."]
        )  # fmt: skip
    lines = [first] if first else []
    for name, suggestions in found.items():
        number = COMPLAINTS[name]
        lines.append(f"{name.capitalize()} ({number.words} {number.say(before[name], units)}):")
        if not shown[name]:
            lines.append("  The model does not show it: measure before anything is changed.")
        elif not suggestions:
            lines.append("  No single change that the model can support helps enough to tell.")
        lines += [f"  {i}. {s.sentence}" for i, s in enumerate(suggestions, 1)]
    order = _in_order(found)
    if len(order) > 1:
        lines.append("In order of work, driving again after each:")
        lines += [f"  {i}. {s.change} ({s.complaint})." for i, s in enumerate(order, 1)]
    return "\n".join(lines)
