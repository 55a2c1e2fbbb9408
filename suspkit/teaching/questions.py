"""Kinds of exercise: each draws numbers and tells what right and wrong come to.

No answer is written in here: each is what the package computes for the numbers drawn, and so is
each wrong answer that a common misconception would lead to.
"""

from __future__ import annotations

import random
import re
import tomllib
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache, partial

import numpy as np

from suspkit.core.curve import Curve
from suspkit.files import PACKAGE
from suspkit.parts.shock import hang
from suspkit.parts.spring import Spring
from suspkit.parts.stack import Stack, StopRing
from suspkit.statics.settle import settle
from suspkit.statics.view import cutaway_at
from suspkit.units import GRAVITY, INCH, POUND, from_unit, show
from suspkit.vehicle.corner import assemble, fit_corner, reset_gaps
from suspkit.vehicle.file import example
from suspkit.vehicle.setup import AXLES, ROWS
from suspkit.vehicle.vehicle import Load

STEP = {"us": INCH / 16, "metric": 1e-3}
"""What a tape is read to [m]."""

PITCHES = {
    "us": tuple(INCH / n for n in (8, 10, 12, 20)),
    "metric": (1.25e-3, 1.5e-3, 2e-3, 2.5e-3),
}
"""Threads there are on the shocks of the exercises [m]."""

SLEEVE = 0.75 * INCH
"""The divider's sleeve, which guides the spring below it [m]."""


@dataclass(frozen=True, kw_only=True)
class Misconception:
    """A wrong idea, the answer it leads to, and what is wrong with it.

    Attributes
    ----------
    name : str
        A few words.
    value : float or str
        Where it leads [SI unit of the exercise], or the letter of a choice.
    answer : str
        The same as a tech would write it.
    why : str
        What is wrong with it, with the numbers.
    """

    name: str
    value: float | str
    answer: str
    why: str


# --- drawing numbers ------------------------------------------------------------------------------


class Draw:
    """Random picks that come out alike on every machine and version of Python."""

    def __init__(self, key):
        self._random = random.Random(key).random

    def pick(self, items):
        """One of some items."""
        return items[int(self._random() * len(items))]

    def shuffled(self, items):
        """All of them in another order."""
        return sorted(items, key=lambda _: self._random())


class Shop:
    """A vehicle with the settled tables that exercises draw from, each worked out once."""

    TURNS = np.arange(4.0, 9.0)
    CHANGE = np.array([-4.0, -3.0, -2.0, 2.0, 3.0, 4.0, 6.0, 8.0])
    SHOWN = {"height": "length", "crossover": "length", "load_factor": "ratio", "gap": "length"}

    def __init__(self, vehicle):
        self.given, self.hangs, self.fits = vehicle, {}, {}
        loads = vehicle.loads or {"as weighed": Load(items=())}
        self.vehicle, self.loads = replace(vehicle, loads=loads), list(loads)

    @cached_property
    def corners(self):
        """The current set-up assembled."""
        return assemble(self.vehicle)

    @cached_property
    def setup(self):
        """The current set-up, every gap as a number to re-set by tape."""
        return reset_gaps(self.vehicle.setup, self.corners)

    @cached_property
    def ringed(self):
        """Axles with two springs and a stop ring."""
        return [a for a, (left, _) in AXLES.items() if len(self.corners[left].stack.rings) == 1
                and len(self.corners[left].stack.springs) == 2]  # fmt: skip

    def hung(self, axle, mass):
        """Shock compression at contact with the lower bolt in and out, this much hanging [m]."""
        if (axle, mass) not in self.hangs:
            own = getattr(self.vehicle, axle)
            travel = [
                hang(own.shock, own.motion, own.shock.limits, weight=w) for w in (mass * GRAVITY, 0)
            ]
            self.hangs[axle, mass] = tuple(map(float, own.motion.compression(np.array(travel))))
        return self.hangs[axle, mass]

    def fit(self, axle, springs, preload, **where):
        """These springs preloaded [m] on the axle's shock, the ring as told by gap or place."""
        key = axle, springs, preload, *where.items()
        if key not in self.fits:
            stack = Stack(springs, (StopRing(below=0),))
            self.fits[key] = fit_corner(
                getattr(self.vehicle, axle), stack, name=axle, stack_name="kit", preload=preload,
                **where,
            )  # fmt: skip
        return self.fits[key]

    @cached_property
    def rises(self):
        """By axle: preload, ride height, motion ratio and standing past crossover; the last three
        by load and preload, as far as the springs are not solid before full bump."""
        found = {}
        for axle, (left, _right) in AXLES.items():
            corner, row = self.corners[left], ROWS[axle].start
            pitch = corner.shock.thread.collar_pitch
            most = max(0.0, float(corner.turn_limits[1]) * pitch)  # none, if the stack is too long
            preload = np.linspace(0, min(2.0 * INCH, most), 65)
            setup = self.setup.change(axle, turns=preload / pitch)
            stance = self._settle(setup)
            ratio = corner.linkage.motion_ratio(stance.travel[row])
            height = stance.height[row : row + 2].mean(axis=0)
            fits = ~stance.corners[left].solid
            found[axle] = (
                preload[fits],
                *(table[:, fits] for table in (height, ratio, stance.past_crossover[row])),
            )
        return found

    def _settle(self, setup):
        corners = assemble(self.vehicle, setup, refuse_solid=False)
        return settle(self.vehicle, setup, load=self.loads, corners=corners)

    @cached_property
    def effects(self):
        """By axle and change: what is measured after less before, by load, turns, gap, change."""
        found = {}
        for axle in self.ringed:
            left = AXLES[axle][0]
            pitch = self.corners[left].shock.thread.ring_pitch
            turns = self.TURNS[:, None, None]
            gap = self.gaps(axle)[:, None]
            base = self.setup.change(axle, turns=turns, gap=gap)
            ring = assemble(self.vehicle, base, refuse_solid=False)[left].ring[0]
            before = self._measured(axle, base)
            ways = {
                "collar, gap re-set": base.change(axle, turns=turns + self.CHANGE),
                "collar, ring left": base.change(axle, turns=turns + self.CHANGE, ring=ring),
                "ring": base.change(axle, ring=ring + self.CHANGE * pitch),
            }
            for way, setup in ways.items():
                after = self._measured(axle, setup)
                with np.errstate(invalid="ignore"):  # all solid carry an endless load: no fit
                    found[axle, way] = {name: after[name] - before[name] for name in before}
                stands = np.isfinite(after["height"])  # a load may tip a vehicle
                fits = (after["room"] > 0) & (after["gap"] > INCH / 8) & stands
                found[axle, way]["fits"] = fits
        return found

    def gaps(self, axle):
        """Stop gaps of the exercises, around the set-up's own [m]."""
        own = getattr(self.setup, AXLES[axle][0]).gap
        return max(own, INCH) + np.array([-2, -1, 0, 1, 2]) * INCH / 8

    def _measured(self, axle, setup):
        stance = self._settle(setup)
        corner, row = stance.corners[AXLES[axle][0]], ROWS[axle].start
        shape = np.shape(stance.height[row])
        reserve = stance.bottoming.load_factor[row]
        met = corner.crossover
        crossover = corner.linkage.travel(np.minimum(met, corner.shock.full_bump))
        numbers = {
            "height": stance.height[row : row + 2].mean(axis=0), "load_factor": reserve,
            "crossover": crossover, "gap": corner.gap[0], "room": corner.room,
        }  # fmt: skip
        return {name: np.broadcast_to(value, shape) for name, value in numbers.items()}


_KEPT = []


def shop_of(vehicle):
    """The shop of a vehicle; of the last two it is kept, for its tables take a second.

    Parameters
    ----------
    vehicle : Vehicle or None
        The example vehicle if none.

    Returns
    -------
    Shop
    """
    vehicle = _unit7() if vehicle is None else vehicle
    for shop in _KEPT:
        if shop.given is vehicle:
            return shop
    _KEPT[:] = [Shop(vehicle), *_KEPT[:1]]
    return _KEPT[0]


@lru_cache(maxsize=1)
def _unit7():
    return example("unit7")


# --- words ----------------------------------------------------------------------------------------


def _load_words():
    text = (PACKAGE / "templates" / "exercises.toml").read_text(encoding="utf-8")

    def joined(part):
        if isinstance(part, dict):
            return {name: joined(each) for name, each in part.items()}
        return [joined(each) for each in part] if isinstance(part, list) else " ".join(part.split())

    return joined(tomllib.loads(text))


WORDS = _load_words()
"""What the exercises say, by kind."""

BUILDS = WORDS["build"]["ways"]
"""Ways a stack may be found, by name."""

NONE = WORDS["adjuster"]["none"]
"""The last choice of adjusters."""


def _text(value, kind, units):
    """A number as a tech writes it down."""
    if kind == "turns":
        value = round(4 * value) / 4 + 0.0
        return f"{value:g} turn{'' if abs(value) == 1 else 's'}"
    if kind == "force":  # as near as a chart is read
        coarse = 5 * POUND * GRAVITY if units == "us" else 20.0
        value = round(value / coarse) * coarse
    if kind.startswith("+"):
        text = show(value, kind[1:], units)
        return text if text.startswith("-") or not re.search("[1-9]", text) else f"+{text}"
    return show(value, kind, units).replace(".0 ", " ")


def _said(units, plain=None, **kinds):
    """Numbers as text, given by kind of quantity and name."""
    said = dict(plain or {})
    for kind, values in kinds.items():
        said |= {name: _text(value, kind, units) for name, value in values.items()}
    return said


def _thread(pitch, units):
    return f"{INCH / pitch:.3g} threads per in" if units == "us" else f"{pitch * 1e3:.3g} mm pitch"


def _near(units, us, metric):
    """A tolerance, with a hair for an answer just on its edge [m]."""
    return (us * INCH if units == "us" else metric * 1e-3) * (1 + 1e-6)


def _written(words, say, units, *, unit, right, tolerance, wrong):
    """An exercise whose answer is a quantity; nothing if an answer could be taken for another."""
    values = sorted([right, *wrong.values()])
    if min(b - a for a, b in zip(values[:-1], values[1:], strict=True)) <= 2.2 * tolerance:
        return None
    say = say | {"right": _text(right, unit, units)}
    ideas = [(value, *(text.format_map(say) for text in words["wrong"][name]))
             for name, value in wrong.items()]  # fmt: skip
    how = WORDS["how"].get(unit) or WORDS["how"][units][unit]
    return {
        "question": words["question"].format_map(say),
        "how": how,
        "hints": tuple(hint.format_map(say) for hint in words["hints"]),
        "unit": unit,
        "right": right,
        "tolerance": tolerance,
        "answer": say["right"],
        "solution": words["solution"].format_map(say),
        "misconceptions": tuple(
            Misconception(name=name, value=value, answer=_text(value, unit, units), why=why)
            for value, name, why in ideas
        ),
    }


def _chosen(words, say, *, choices, right, why):
    """An exercise whose answer is a letter; ``why`` tells by letter what is wrong with the rest."""
    answer = f"{right}, {choices[right]}"
    return {
        "question": words["question"].format_map(say),
        "how": WORDS["how"]["choice"],
        "hints": tuple(words["hints"]),
        "unit": "choice",
        "right": right,
        "tolerance": 0.0,
        "answer": answer,
        "solution": words["solution"].format_map(say | {"right": answer}),
        "misconceptions": tuple(
            Misconception(name=choices[letter], value=letter, answer=letter, why=text)
            for letter, text in why.items()
        ),
        "choices": choices,
    }


# --- kinds of exercise ----------------------------------------------------------------------------
# Each takes a shop, a draw and units, and gives what an `Exercise` is made of, or nothing where
# right and wrong come out too close.


def _contact(shop, draw, units):
    axle, pitch, step = draw.pick(list(AXLES)), draw.pick(PITCHES[units]), STEP[units]
    wheel = draw.pick(range(60, 115, 5)) * POUND if units == "us" else draw.pick(range(28, 52, 2))
    corner, (bolted, unbolted) = shop.corners[AXLES[axle][0]], shop.hung(axle, wheel)
    moved = draw.pick(range(5, 26)) * step
    touched = draw.pick(range(18, 40) if units == "us" else range(30, 60)) * step
    if (4 * moved / pitch) % 1 > 1e-6 or not 2 <= moved / pitch <= 10:
        return None
    # A main of the length that puts contact on a mark of the tape.
    shock = replace(corner.shock, thread=replace(corner.shock.thread, collar_pitch=pitch))
    corner = replace(corner, shock=shock, contact_hang=bolted, preload=moved)
    *above, main = corner.stack.springs
    main = replace(main, free_length=main.free_length + corner.contact_at - touched)
    corner = replace(corner, stack=Stack((*above, main)))
    now, right = corner.collar_at, corner.turns
    out = round((corner.contact_at - (unbolted - bolted)) / step) * step
    if out < 2 * step:
        return None
    one = f"1/{INCH / pitch:.3g} in" if units == "us" else f"{pitch * 1e3:.3g} mm"
    thread = _thread(pitch, units)
    say = _said(
        units,
        {"axle": axle, "vehicle": shop.vehicle.name, "thread": thread,
         "turn": f"with {thread} one turn is {one}",
         "mark": "sixteenth" if units == "us" else "millimetre"},
        tape={"out": out, "touched": touched, "now": now, "moved": moved, "early": touched - out},
    )  # fmt: skip
    wrong = {
        "bolt_out": (now - out) / pitch,
        "run_up": now / pitch,
        "marks": moved / step,
        "upside_down": moved * pitch / step**2,
    }
    return _written(
        WORDS["contact"], say, units, unit="turns", right=right, tolerance=0.26, wrong=wrong
    )


def _pair(k_t, k_m):
    """A tender and a main long enough for any exercise, rates in N/m."""
    return (
        Spring(rate=k_t, free_length=14 * INCH, solid_length=4 * INCH, name="tender"),
        Spring(rate=k_m, free_length=19 * INCH, solid_length=8 * INCH, name="main"),
    )


def _drift(shop, draw, units):
    if units == "us":
        soft, firm = draw.pick(range(140, 310, 10)), draw.pick(range(280, 540, 20))
        before, pitch = draw.pick(range(8, 33)) * INCH / 8, draw.pick((INCH / 16, INCH / 12))
    else:
        soft, firm = draw.pick(range(24, 56, 2)), draw.pick(range(50, 95, 5))
        before, pitch = draw.pick(range(30, 105, 5)) * 1e-3, draw.pick((1.5e-3, 2e-3))
    first, more = draw.pick(range(2, 6)), draw.pick(range(5, 13))
    moved, tolerance = more * pitch, _near(units, 1 / 16, 1.5)
    # A quick look by hand, before the stack is built.
    share = moved * soft / (soft + firm)
    if min(share, moved - 2 * share, before - share) <= 2.2 * tolerance:
        return None
    k_t, k_m = (from_unit(k, "rate", units) for k in (soft, firm))
    # Preload squeezes the tender by its share; the ring stays, so its cap grows with the preload.
    stack = Stack(_pair(k_t, k_m), (StopRing(below=0),))
    squeezed = stack.deflection_above(0, first * pitch + np.array([0.0, moved]))
    tender = float(squeezed[1] - squeezed[0])
    main = moved - tender
    say = _said(
        units, {"more": more, "soft": soft, "firm": firm, "thread": _thread(pitch, units)},
        rate={"k_t": k_t, "k_m": k_m}, turns={"first": first},
        tape={"before": before, "moved": moved, "tender": tender, "main": main},
        length={"exact_moved": moved, "exact_tender": tender, "exact_main": main},
    )  # fmt: skip
    wrong = {
        "stays": before,
        "whole": before + moved,
        "other_share": before + tender,
        "shrinks": before - main,
    }
    return _written(
        WORDS["drift"], say, units, unit="tape", right=before + main, tolerance=tolerance,
        wrong=wrong,
    )  # fmt: skip


def _height(shop, draw, units):
    axle, load = draw.pick(list(AXLES)), draw.pick(range(len(shop.loads)))
    pitches = tuple(INCH / n for n in (8, 10, 12, 16)) if units == "us" else PITCHES["metric"]
    pitch, step = draw.pick(pitches), STEP[units]
    first, more = draw.pick(range(1, 9)), draw.pick(range(3, 9))
    need = draw.pick(range(4, 21) if units == "us" else range(7, 31)) * step
    preload, *tables = shop.rises[axle]
    height, ratios, past = (table[load] for table in tables)

    def read(turns):
        return float(np.floor(np.interp(turns * pitch, preload, height) / step + 0.5) * step)

    start, after = read(first), read(first + more)
    target, tolerance = after + need, 0.6
    if target > height[-1] or after - start < 5 * step or past.any() != past.all():
        return None
    right = float(np.interp(target, height, preload)) / pitch - first - more
    line = need / (after - start) * more
    if abs(line - right) > tolerance - 0.2 or not 1 <= right <= 12:
        return None
    ratio = float(np.interp((first + more) * pitch, preload, ratios))
    ring = bool(shop.corners[AXLES[axle][0]].gap)
    say = _said(
        units,
        {"vehicle": shop.vehicle.name, "load": shop.loads[load], "axle": axle, "more": more,
         "thread": _thread(pitch, units), "ratio": f"{ratio:.2f}", "turned": first + more,
         "by_tape": ", re-set the gap by tape" if ring else "",
         "again": ", the gap re-set again" if ring else ""},
        turns={"first": first, "line": line},
        tape={"start": start, "after": after, "target": target, "need": need,
              "rise": after - start, "one": (after - start) / more},
    )  # fmt: skip
    # Past crossover the shop's rule is wrong, and one pitch of ride height may come out right.
    rule = ("over_ratio", need * ratio / pitch) if past[0] else ("one_pitch", need / pitch)
    wrong = dict([rule]) | {
        "times_ratio": need / (pitch * ratio),
        "other_way": -right,
        "from_contact": first + more + right,
        "from_first": more + right,
    }
    return _written(
        WORDS["height"], say, units, unit="turns", right=right, tolerance=tolerance, wrong=wrong
    )


_WANTS = {
    "bottoms": ("load_factor", 0.03, "height"),
    "knocks": ("crossover", INCH / 4, "height"),
    "low": ("height", 1, "gap"),
    "high": ("height", -1, "gap"),
}
"""By complaint what has to change and by how much at least, or which way; and what has to stay."""


def _adjuster(shop, draw, units):
    if not shop.ringed:
        return None
    axle, complaint = draw.pick(shop.ringed), draw.pick(list(_WANTS))
    load, turns, gap = (
        draw.pick(range(n)) for n in (len(shop.loads), len(shop.TURNS), len(shop.gaps(axle)))
    )
    found = {
        (way, n): {name: float(of[load, turns, gap, n]) for name, of in table.items()}
        for (of_axle, way), table in shop.effects.items()
        for n in range(len(shop.CHANGE))
        if of_axle == axle and table["fits"][load, turns, gap, n]
    }
    metric, least, kept = _WANTS[complaint]
    most = amount = np.inf
    if metric == "height":
        rises = [e[metric] for (way, _), e in found.items() if way == "collar, gap re-set"]
        rises = [rise for rise in rises if least * rise > INCH / 8]
        if not rises:
            return None
        amount = round(draw.pick(rises) / STEP[units]) * STEP[units]
        least, most = amount - 0.8e-3, amount + 0.8e-3  # to the tape's nearest mark, and a hair

    verdicts = {
        key: _faults(effect[metric], amount, least, most, drift=effect[kept], kept=kept)
        for key, effect in found.items()
    }
    good = [key for key, words in verdicts.items() if not words]
    offered = [draw.pick(good)] if good else []
    for way in draw.shuffled(("collar, gap re-set", "collar, ring left", "ring")):
        bad = [key for key in found if key[0] == way and verdicts[key]]
        offered += [draw.pick(bad)] if bad else []
    left = [key for key in found if verdicts[key] and key not in offered]
    if not good and left:
        offered.append(draw.pick(left))
    if len(offered) < 4:
        return None
    words, letters = WORDS["adjuster"], dict(zip("ABCD", draw.shuffled(offered), strict=True))
    choices = {a: _way(way, shop.CHANGE[n]) for a, (way, n) in letters.items()} | {"E": NONE}
    right = next((letter for letter, key in letters.items() if key in good), "E")
    effects = {
        letter: words["effect"].format_map(
            {name: _text(found[key][name], f"+{kind}", units) for name, kind in shop.SHOWN.items()}
        )
        for letter, key in letters.items()
    }
    why = {
        letter: words["why"].format(effect=effects[letter], verdict=verdicts[key])
        for letter, key in letters.items()
    } | {"E": words["why_not_none"]}
    amount = abs(amount) if np.isfinite(amount) else 0.0
    say = _said(
        units, {"vehicle": shop.vehicle.name, "load": shop.loads[load], "axle": axle},
        turns={"first": shop.TURNS[turns]},
        tape={"before": shop.gaps(axle)[gap], "amount": amount},
    )  # fmt: skip
    say["complaint"] = words["complaints"][complaint].format_map(say)
    say["table"] = "; ".join(f"{letter}: {effect}" for letter, effect in effects.items())
    why.pop(right)
    return _chosen(words, say, choices=choices, right=right, why=why)


def _faults(change, amount, least, most, *, drift, kept):
    """What is wrong with a change; nothing if it does what is wanted and keeps what has to stay."""
    faults = []
    if abs(change) < 1e-6:
        faults.append("it does nothing for it")
    elif change * amount < 0:
        faults.append("it goes the wrong way")
    elif not least <= change <= most:
        little = abs(change) < min(abs(amount), abs(most))
        faults.append(f"it does too {'little' if little else 'much'}")
    if abs(drift) > INCH / 32:
        faults.append(f"it does not keep the {'ride height' if kept == 'height' else 'stop gap'}")
    return " and ".join(faults)


def _way(way, number):
    count = _text(abs(number), "turns", "us")
    if way == "ring":
        return f"stop ring {count} {'away from' if number > 0 else 'towards'} the divider"
    then = "then the gap re-set by tape" if way.endswith("re-set") else "stop ring left alone"
    return f"collar {count} {'down' if number > 0 else 'up'}, {then}"


def _build(shop, draw, units):
    if not shop.ringed:
        return None
    axle, fault = draw.pick(shop.ringed), draw.pick(list(BUILDS))
    count, step = draw.pick(range(4, 10)), 2 * STEP[units] if units == "us" else 5e-3
    own = shop.corners[AXLES[axle][0]]
    shock = own.shock
    least = max(float(own.gap[0]) - INCH / 2, SLEEVE + INCH / 2)
    gap = (np.ceil(least / step) + draw.pick(range(9))) * step
    moved = draw.pick((-1, 1)) * draw.pick(range(6, 10)) * step

    def fit(springs=own.stack.springs, **where):
        return shop.fit(axle, springs, count * shock.thread.collar_pitch, **where)

    right = fit(gap=gap)
    low, high = (float(limit) for limit in right.gap_limits())
    if not (low <= gap <= high and right.room > 0 and right.crossover < shock.full_bump):
        return None
    # The ring's place is its gap at contact: what this one has gained, one set at contact would.
    drifted = 2 * gap - float(right.ring[0])
    if drifted - gap < 1.6 * _near(units, 1 / 16, 2):
        return None
    found, works = right, right
    if fault == "drift":
        found = works = fit(ring=gap)
    elif fault == "loose":
        if not (low <= gap + moved <= high and gap + moved > INCH / 4):
            return None
        found = works = fit(gap=gap + moved)
    elif fault == "upside_down":
        # The sleeve meets the ring before the lip would.
        works = fit(gap=gap - SLEEVE - shock.divider_lip)
    elif fault == "swapped":
        springs = own.stack.springs[::-1]
        other = fit(springs, ring=0.0)
        found = works = fit(springs, ring=float(other.ring_at()) - float(right.ring_at()))
    cut, words = cutaway_at(found, float(found.hang)), WORDS["build"]
    mark_at = float((right if fault == "loose" else found).ring_at())
    upper, lower = (spring.law.slope(0.0) for spring in found.stack.springs)
    k_t, k_m = (spring.law.slope(0.0) for spring in own.stack.springs)
    met = "never met before full bump"
    if works.crossover < shock.full_bump:
        met = f"met at {_text(float(works.crossover), 'tape', units)}"
    if fault != "right":
        met += f", instead of {_text(float(right.crossover), 'tape', units)}"
    say = _said(
        units,
        {"axle": axle, "count": count, "met": met,
         "sleeve": "up, at the ring" if fault == "upside_down" else "down, into the spring below"},
        rate={"k_t": k_t, "k_m": k_m, "upper": upper, "lower": lower},
        tape={"sheet": gap, "reads": cut.gaps[0], "drifted": drifted, "grown": drifted - gap,
              "away": abs(float(found.ring_at()) - mark_at)},
    )  # fmt: skip
    say["does"] = words["does"][fault].format_map(say)
    notes = words["not"] | {"right": words["look"].get(fault, "")}
    letters = dict(zip("ABCDE", draw.shuffled(list(BUILDS)), strict=True))
    scene = {
        "axle": axle, "rates": (say["upper"], say["lower"]), "turns": f"{count} turns",
        "mark": mark_at, "upside_down": fault == "upside_down", "sleeve": SLEEVE, "units": units,
    }  # fmt: skip
    return _chosen(
        words, say, choices={letter: BUILDS[name] for letter, name in letters.items()},
        right=next(letter for letter, name in letters.items() if name == fault),
        why={a: notes[name].format_map(say) for a, name in letters.items() if name != fault},
    ) | {
        "alt": words["alt"].format_map(say),
        "_draw": partial(_charts, "as_found", shock, found.stack.springs, cut, **scene),
    }  # fmt: skip


def _charts(name, *args, **options):
    # Drawing takes a second to load, and marking needs none of it.
    from suspkit.charts import exercise as question_charts

    return getattr(question_charts, name)(*args, **options)


def _curve(shop, draw, units):
    ask = draw.pick(("tape", "rate", "force"))
    if units == "us":
        soft, firm = draw.pick(range(140, 320, 20)), draw.pick(range(280, 440, 20))
        turned, gap = draw.pick(range(2, 7)) * INCH / 8, draw.pick(range(6, 22)) * INCH / 8
    else:
        soft, firm = draw.pick(range(25, 56, 5)), draw.pick(range(50, 76, 5))
        turned, gap = draw.pick(range(6, 20, 2)) * 1e-3, draw.pick(range(20, 60, 5)) * 1e-3
    stroke = draw.pick(range(18, 23)) * INCH / 2
    at = (
        draw.pick(range(8, 15)) * INCH / 2 if units == "us" else draw.pick(range(90, 190, 10)) / 1e3
    )
    k_t, k_m = (from_unit(k, "rate", units) for k in (soft, firm))
    share = k_t / (k_t + k_m)
    # The gap as set at full extension: the tender is squeezed there by its share of the preload.
    cap, touch = gap + turned * (1 - share), stroke - 2 * INCH
    meet = cap / (1 - share) - turned
    if not 0.25 * touch < meet < 0.65 * touch or not meet + INCH / 2 < at < touch - INCH / 2:
        return None
    # The wheel rate must not come out as the rate in series does.
    ratio = draw.pick([m for m in range(52, 74) if abs(share - m**2 / 1e4) > 0.115]) / 100
    stack = Stack(_pair(k_t, k_m), (StopRing(below=0, cap=cap),))
    (met,) = (e for e in stack.events if e.kind == "crossover")
    meet = float(met.compression) - turned
    after, before = (float(stack.rate(float(met.compression), side=s)) for s in ("right", "left"))
    stop = Curve([0, INCH, 2 * INCH], np.array([0, 800, 4000]) * POUND * GRAVITY, 0.0, 0.0)
    springs = stack.curve.shift(dx=-turned)
    whole = Curve(springs.x, springs.y, springs.slope_before, 0.0) + stop.shift(dx=touch)
    knots = np.array([at, 0.0, meet, touch, touch + INCH, stroke])
    no_ring, *dashed = stack.with_caps([np.inf]).force(knots + turned)
    force, *along = whole(knots)
    right, tolerance, wrong = {
        "tape": (meet, _near(units, 3 / 16, 5), {"bump_stop": touch, "wheel": meet / ratio}),
        "rate": (
            after, 0.05 * after, {"series": before, "wheel": after * ratio**2, "added": k_t + k_m},
        ),
        "force": (
            force, max(0.04 * force, 30 * POUND * GRAVITY),
            {"no_ring": no_ring, "wheel": force * ratio, "main_alone": k_m * (at + turned)},
        ),
    }[ask]  # fmt: skip
    say = _said(
        units, {"ratio": f"{ratio:.2f}"},
        tape={"meet": meet, "touch": touch, "at": at, "past": at - meet, "at_wheel": meet / ratio},
        rate={"main": after, "series": before, "wheel_rate": after * ratio**2},
        force={"low": along[0], "at_meet": along[1], "at_touch": along[2],
               "rise": along[2] - along[1], "springs_meet": along[1], "no_ring": no_ring,
               "wheel_force": force * ratio, "main_alone": k_m * (at + turned)},
    )  # fmt: skip
    say["intro"] = WORDS["curve"]["intro"].format_map(say)
    made = _written(
        WORDS["curve"][ask], say, units, unit=ask, right=float(right), tolerance=tolerance,
        wrong={name: float(value) for name, value in wrong.items()},
    )  # fmt: skip
    return made and made | {
        "alt": WORDS["curve"]["alt"].format_map(say),
        "_draw": partial(
            _charts, "read_off", knots[1:], np.array(along), no_ring=np.array(dashed), units=units
        ),
    }


KINDS = {
    name: (WORDS[name]["title"], WORDS[name]["objective"], make)
    for name, make in {
        "contact": _contact, "drift": _drift, "height": _height, "adjuster": _adjuster,
        "build": _build, "curve": _curve,
    }.items()
}  # fmt: skip
"""Kinds of exercise: title, objective, and what makes one."""
