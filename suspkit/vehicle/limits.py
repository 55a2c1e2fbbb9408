"""The judge: what a vehicle's numbers come to, held against each other and against the class.

A `Reading` is one number and the fields it comes from. Every kind of reading has one row in the
tables below: what is usual, what cannot be, and where that comes from. A reading outside its row
is a `Verdict`; `words` is the only place that puts one in a sentence.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, fields, is_dataclass
from functools import cached_property
from itertools import combinations

import numpy as np

from suspkit.parts.wire import THIN_SAFETY
from suspkit.units import GRAVITY, INCH, from_unit, show
from suspkit.vehicle.corner import THIN_ROOM
from suspkit.vehicle.setup import AXLES, CORNERS

JUDGEMENT = "our judgement"
PRACTICE = "common practice, no source"


@dataclass(frozen=True)
class Limit:
    """What one kind of number usually is, and what it cannot be.

    Parameters
    ----------
    unit : str
        Kind of quantity, as `suspkit.units` names it.
    low, high : float
        Usual from and to, in that kind's US unit: outside is a caution.
    hard_low, hard_high : float
        Outside these the numbers contradict each other: an error.
    unlike : float
        The most that front and rear may differ by, as a factor; infinite if they need not be like.
    what : str
        What the number is, for the sentence; empty where it is the field itself.
    say : str
        A sentence of its own instead, with ``{value}`` and ``{first}``, the first field behind it.
    loud : bool
        Nobody may drive before it is mended, so it stands at the top of a work sheet.
    source : str
        Where the limits come from.
    """

    unit: str
    low: float
    high: float
    hard_low: float = -math.inf
    hard_high: float = math.inf
    unlike: float = math.inf
    what: str = ""
    say: str = ""
    loud: bool = False
    source: str = JUDGEMENT

    @cached_property
    def usual(self):
        """Usual from and to [SI unit of the kind]."""
        return self._si(self.low, self.high)

    @cached_property
    def possible(self):
        """What it can be from and to [SI unit of the kind]."""
        return self._si(self.hard_low, self.hard_high)

    def _si(self, *ends):
        # No limit is none in any unit, one that counts threads per length too.
        found = (e if math.isinf(e) else float(from_unit(e, self.unit)) for e in ends)
        return tuple(sorted(found))


@dataclass(frozen=True)
class Reading:
    """One number that a vehicle's file states or comes to.

    Attributes
    ----------
    kind : str
        Its row in `FIELDS` or `COMES_TO`.
    where : str
        The field it is about.
    value : float
        [SI unit of the kind]
    against : tuple of str
        Other fields that enter into it.
    load : str or None
        In which load; None is nothing aboard.
    """

    kind: str
    where: str
    value: float
    against: tuple[str, ...] = ()
    load: str | None = None


@dataclass(frozen=True)
class Verdict(Reading):
    """A reading that is not as it should be.

    Attributes
    ----------
    low, high : float
        What was expected [SI unit of the kind].
    severity : {"error", "caution"}
        Whether the numbers contradict each other, or are only unusual.
    """

    low: float = -math.inf
    high: float = math.inf
    severity: str = "caution"

    @property
    def is_loud(self):
        """Whether nobody may drive before it is mended."""
        return self.severity == "error" or limit_of(self)[0].loud


# --- what single fields usually hold --------------------------------------------------------------

FIELDS = {
    "wheelbase": Limit("length", 70, 145),
    "axle.track": Limit("length", 42, 88, unlike=1.2),
    "axle.hub_below_frame": Limit("length", -1, 14),
    "axle.unsprung_mass": Limit("mass", 25, 170),
    "axle.tyre.radius": Limit("length", 11, 21, unlike=1.2),
    "axle.tyre.rate": Limit("rate", 250, 2500, unlike=1.8),
    "axle.tyre.damping": Limit("damping", 0, 20),
    "axle.bar.diameter": Limit("length", 0.4, 1.6, unlike=1.8),
    "axle.bar.length": Limit("length", 10, 60, unlike=2),
    "axle.bar.arm": Limit("length", 3, 18, unlike=2),
    "axle.bar.motion_ratio": Limit("ratio", 0.15, 1.3, unlike=2.5),
    "axle.bar.shear_modulus": Limit("modulus", 10.5, 12.5),
    "axle.point.above_frame": Limit("length", -6, 20),
    "axle.linkage.noise": Limit("length", 0, 0.25),
    "axle.shock.extended_length": Limit("length", 14, 48, unlike=1.6),
    "axle.shock.stroke": Limit("length", 4, 20, unlike=1.7),
    "axle.shock.friction": Limit("force", 0, 80, unlike=5),
    "axle.shock.divider_lip": Limit("length", -0.02, 0.75),
    "axle.shock.divider_height": Limit("length", 0, 1.5),
    "axle.shock.retainer_clearance": Limit("length", 0.1, 2),
    "axle.shock.gas.rod_diameter": Limit("length", 0.4, 1.3, unlike=1.8),
    "axle.shock.gas.pressure": Limit("pressure", 30, 400, unlike=2.1),
    "axle.shock.gas.volume": Limit("volume", 4, 150, unlike=2.4),
    "axle.shock.gas.fill_temperature": Limit("temperature", 20, 120),
    "axle.shock.top_out.rate": Limit("rate", 20, 1500, unlike=4),
    "axle.shock.top_out.length": Limit("length", 0.2, 5, unlike=2.4),
    "axle.shock.bump_stop.free_length": Limit("length", 0.5, 5, unlike=2.4),
    "axle.shock.thread.collar_pitch": Limit("pitch", 8, 26, unlike=1.7),
    "axle.shock.thread.ring_pitch": Limit("pitch", 8, 26, unlike=1.7),
    "axle.shock.thread.ring_height": Limit("length", 0, 5, unlike=2.4),
    "axle.shock.clickers.*.count": Limit("clicks", 4, 60),
    "axle.shock.damper.piston_diameter": Limit("length", 1.2, 3.6, unlike=1.7),
    "axle.shock.damper.valving.oil.density": Limit("density", 0.028, 0.036),
    "axle.shock.damper.valving.oil.viscosity_40": Limit("viscosity", 4, 60, unlike=2),
    "axle.shock.damper.valving.oil.viscosity_100": Limit("viscosity", 1.5, 15, unlike=2),
    **{
        f"axle.shock.damper.valving.{way}.{field}": limit
        for way in ("compression", "rebound")
        for field, limit in {
            "bleed.seat": Limit("length", 0.08, 0.8, unlike=3),
            "bleed.half_angle": Limit("angle", 4, 60, unlike=3),
            "bleed.closed": Limit("length", 0, 0.08, unlike=4),
            "bleed.lift": Limit("length", 0.002, 0.12, unlike=4),
            "valve.opens_at": Limit("pressure", 5, 400, unlike=4),
            "valve.full_after": Limit("pressure", 15, 2500, unlike=4),
            "valve.area": Limit("area", 0.02, 3, unlike=4),
        }.items()
    },
    "scales.*": Limit("mass", 120, 1500),
    "scales.sprung_cg_above_frame": Limit("length", 6, 30),
    "scales.pitch_gyration": Limit("length", 18, 70),
    "scales.roll_gyration": Limit("length", 8, 36),
    "items.*.mass": Limit("mass", 1, 450),
    "items.*.above_frame": Limit("length", -8, 85),
    "springs.*.rate": Limit("rate", 30, 1500),
    "springs.*.free_length": Limit("length", 1.5, 30),
    "springs.*.wire.wire_diameter": Limit("length", 0.18, 1),
    "springs.*.wire.mean_diameter": Limit("length", 1.8, 6),
    "springs.*.wire.total_coils": Limit("number", 3, 30),
    "springs.*.wire.shear_modulus": Limit("modulus", 10.5, 12.5),
    # Preload starts at 2 to 6 turns (common practice, no source); four more are our judgement.
    "setups.*.turns": Limit("turns", 0.5, 10, what="collar turns from contact", source=PRACTICE),
    "setups.*.gap": Limit("length", 0, 7.5, source=PRACTICE),
    "targets.*.ride_height": Limit("length", 5, 28),
    "targets.*.crossover_at": Limit("length", 0, 20),
    "targets.*.load_factor": Limit("ratio", 1.3, 6),
    "targets.side_to_side": Limit("length", 0.01, 0.75),
}
"""By place in the file; ``axle`` is front or rear, ``*`` any name."""


TIPS = "it tips over, so there is no stance and no number that needs one"
FULL_BUMP = "it stands at full bump, nothing left to move: do not drive it so"

# --- what numbers come to -------------------------------------------------------------------------

COMES_TO = {
    # The vehicle.
    "unlike": Limit("ratio", 0, 0, what="front over rear"),
    "wheelbase over track": Limit("ratio", 1.0, 2.6, what="wheelbase over track"),
    "dry weight": Limit("mass", 700, 3600, what="weight on the four scales"),
    "front share": Limit("percent", 33, 53, what="front share of the weight on the scales"),
    "left over right": Limit("ratio", 0.88, 1.136, what="left over right"),
    "unsprung share": Limit(
        "percent", 7, 26, unlike=1.6, what="unsprung mass over the axle's mean scale"
    ),
    "point from axle": Limit(
        "length", -28, 28, what="distance of the measuring point behind its axle"
    ),
    "point off center": Limit("percent", 5, 100, what="measuring point's share of half the track"),
    "behind the vehicle": Limit("length", -40, 40, what="place behind the nearest axle"),
    "beside the vehicle": Limit("percent", 0, 110, what="place off center, of half the track"),
    "two in one place": Limit("length", 6, math.inf, what="distance between the two"),
    "aboard over dry": Limit("percent", 0, 85, what="load over dry weight"),
    "aboard off center": Limit("length", -4, 4, what="load's middle left of the center line"),
    # Axle and shock.
    "mean motion ratio": Limit(
        "ratio", 0.3, 1.0, 0.1, 2.0, unlike=1.7, what="mean motion ratio, shock over wheel"
    ),
    "motion ratio spread": Limit("ratio", 1, 2.2, what="greatest over least motion ratio"),
    "wheel travel": Limit("length", 7, 30, unlike=1.7, what="wheel travel of the linkage"),
    "table starts": Limit(
        "length", -0.3, 0.75, -2, 3, what="shock compression in the table's first row"
    ),
    "table over stroke": Limit(
        "ratio", 0.85, 1.08, 0, 1.4, what="compression at the table's end over the shock's stroke"
    ),
    "collapsed over stroke": Limit(
        "ratio", 1.35, 5.5, 1, what="length fully compressed over stroke"
    ),
    "seat span over length": Limit(
        "ratio", 0.45, 0.95, 0, 1, what="seat span over extended length"
    ),
    "collar travel over span": Limit(
        "ratio", 0.06, 0.55, 0, 1, what="collar travel over seat span"
    ),
    "ring lowest over span": Limit("ratio", 0.12, 0.9, 0, 1, what="lowest ring over seat span"),
    "collar over ring pitch": Limit("ratio", 0.6, 1.67, what="collar pitch over ring pitch"),
    "gas swept": Limit("percent", 5, 65, what="share of the gas volume that the rod takes"),
    "gas force": Limit("force", 15, 450, unlike=2.5, what="gas force at full extension"),
    "piston over rod": Limit("ratio", 1.6, 4.5, 1, what="piston over rod diameter"),
    "viscosity fall": Limit("ratio", 1.8, 6, 1, what="viscosity at 40 over that at 100 °C"),
    "damper bump": Limit(
        "force", 20, 900, unlike=3.5, what="damping force in bump at 20 in/s, mid clicks"
    ),
    "damper rebound": Limit(
        "force", 40, 1800, unlike=3.5, what="damping force in rebound at 20 in/s, mid clicks"
    ),
    "top-out over stroke": Limit("percent", 1, 45, what="top-out length over stroke"),
    "bump stop over stroke": Limit("percent", 3, 45, what="bump stop length over stroke"),
    "bump stop squeeze": Limit(
        "percent", 25, 92, 0, 100, unlike=1.7, what="last row's squeeze over its length"
    ),
    "bump stop force": Limit(
        "force", 200, 12000, unlike=4, what="force in the bump stop's last row"
    ),
    "bar inside track": Limit("percent", 15, 95, 0, 100, what="bar length over track"),
    # Springs.
    "rate over wire": Limit(
        "ratio", 0.85, 1.15, 0.6, 1.67, what="rate over that worked out from its wire"
    ),
    "solid over wire": Limit(
        "ratio", 0.88, 1.12, 0.6, 1.67, what="solid length over that of its coils"
    ),
    "free over solid": Limit("ratio", 1.25, 4.5, what="free over solid length"),
    "spring index": Limit("ratio", 4, 13, what="mean over wire diameter"),
    "stress solid": Limit("ratio", 0.7, math.inf, what="stress safety when solid"),
    "scragged": Limit(
        "ratio", 1, math.inf, what="stress safety when solid, where scragging pressed it solid"
    ),
    "inside alike": Limit("ratio", 0.92, 1.087, what="inside diameters of springs in one stack"),
    "inside over piston": Limit("ratio", 1.02, 2.6, what="spring's inside over piston diameter"),
    "tender over main": Limit("ratio", 0.08, 1.5, what="rate of the upper over the lower spring"),
    # Set-ups.
    "turns apart": Limit("turns", -3, 3, what="turns of left less right"),
    "gap apart": Limit("length", -0.75, 0.75, what="gap of left less right"),
    # How it stands.
    "tips": Limit("count", 0, 0, say=TIPS, loud=True),
    "tips empty": Limit("count", 0, 0, 0, 0, say=TIPS, loud=True),
    "dry tire squeeze": Limit(
        "percent", 0.6, 8, 0, 45, what="tire squeeze under the scale readings, over radius"
    ),
    "tire squeeze": Limit("percent", 0.8, 11, 0, 45, what="tire squeeze over radius"),
    "ride height": Limit("tape", -math.inf, math.inf, what="ride height"),  # shown, not judged
    "frame height": Limit("length", 6, 24, 0, what="frame above ground"),
    "in the air": Limit("count", 0, 0, say="the tire is off the ground", loud=True),
    "at full bump": Limit("count", 0, 0, say=FULL_BUMP, loud=True),
    "at full bump empty": Limit("count", 0, 0, 0, 0, say=FULL_BUMP, loud=True),
    "on bump stop": Limit("length", 0, math.inf, say="it stands on its bump stop", loud=True),
    "ride frequency": Limit("frequency", 0.7, 2.5, unlike=1.8, what="ride frequency"),
    "shock position": Limit("percent", 15, 75, what="static shock position over stroke"),
    "left less right": Limit("length", -0.6, 0.6, what="ride height of left less right"),
    "front less rear": Limit("length", -4, 4, what="ride height of front less rear"),
    "bar over wheel rate": Limit("ratio", 0.02, 3, what="bar's rate over the wheel rate"),
    "scale against stance": Limit(
        "mass", -45, 45, what="scale reading less the wheel load its set-up gives"
    ),
    "off target": Limit("length", -0.5, 0.5, what="ride height less its target"),
    "load factor off": Limit("ratio", 0.7, 1.4, what="load factor over its target"),
    "crossover off": Limit("length", -1.25, 1.25, what="crossover's wheel travel less its target"),
    # Thin margins.
    "held at extension": Limit(
        "turns", 0, math.inf, what="turns past those that hold every spring at full extension"
    ),
    "thread left": Limit("turns", 2, math.inf, what="turns left on the collar's thread"),
    "loose springs": Limit(
        "length",
        0,
        1e-5,
        say="the springs hang loose by {value} at droop and can come off their seats: more turns, "
        "or a longer stack",
        loud=True,
    ),
    "past yield": Limit(
        "ratio",
        1,
        math.inf,
        say="{first} is stressed past yield at full bump (safety factor {value}) "
        "and will take a set",
        loud=True,
    ),
    "stress margin": Limit(
        "ratio",
        THIN_SAFETY,
        math.inf,
        what="stress safety at full bump",
        source="Shigley, Eq. 10-21: at least 1.2",
    ),
    "room to metal": Limit(
        "tape",
        THIN_ROOM / INCH,
        math.inf,
        what="room left before the springs go solid at the metal stop",
    ),
}
"""By kind of reading."""


def judge(readings):
    """The readings that are not as they should be.

    Parameters
    ----------
    readings : iterable of Reading

    Returns
    -------
    tuple of Verdict
        Errors first.
    """
    found = []
    for reading in readings:
        limit, (low, high) = limit_of(reading)
        hard_low, hard_high = limit.possible
        slack = 1e-9 * max(1.0, abs(reading.value))
        # Written so that a number that is not one is outside.
        if low - slack <= reading.value <= high + slack:
            continue
        inside = hard_low <= reading.value <= hard_high
        found.append(
            Verdict(**vars(reading), low=low, high=high, severity="caution" if inside else "error")
        )
    return tuple(sorted(found, key=lambda v: v.severity != "error"))


def limit_of(reading):
    """The row of a reading, and what is usual for it [SI unit of its kind].

    Parameters
    ----------
    reading : Reading

    Returns
    -------
    Limit
    low, high : float
    """
    if reading.kind.startswith(UNLIKE):
        most = _row(reading.kind.removeprefix(UNLIKE)).unlike
        return COMES_TO["unlike"], (1 / most, most)
    limit = _row(reading.kind)
    return limit, limit.usual


UNLIKE = "unlike "
"""Before a kind: front over rear of it."""


def _row(kind):
    return FIELDS[kind] if kind in FIELDS else COMES_TO[kind]


# --- the file -------------------------------------------------------------------------------------


def judge_file(vehicle):
    """Hold the numbers of a vehicle file against each other and against the class.

    Parameters
    ----------
    vehicle : Vehicle

    Returns
    -------
    tuple of Verdict
        Errors first.
    """
    return judge(readings_of_file(vehicle))


def readings_of_file(vehicle):
    """What a vehicle's fields state, and what they come to before it is settled.

    Parameters
    ----------
    vehicle : Vehicle

    Returns
    -------
    tuple of Reading
    """
    found = [*_stated(vehicle), *_of_vehicle(vehicle)]
    for name, axle in (("front", vehicle.front), ("rear", vehicle.rear)):
        found += _of_axle(name, axle, vehicle)
    for name, spring in vehicle.springs.items():
        found += _of_spring(f"springs.{name}", spring)
    for name, plan in vehicle.stacks.items():
        found += _of_stack(f"stacks.{name}", [(s, vehicle.springs[s]) for s in plan.springs])
    for name, setup in vehicle.setups.items():
        found += readings_of_setup(vehicle, setup, name)
    return (*found, *_unlike(found))


def _unlike(found):
    """Front over rear of each reading that both axles have, where neither is already odd."""
    odd = {verdict.where for verdict in judge(found)}
    fronts = {(r.kind, r.where): r for r in found if r.where.startswith("front.")}
    for rear in found:
        front = fronts.get((rear.kind, rear.where.replace("rear.", "front.", 1)))
        if not rear.where.startswith("rear.") or front is None:
            continue
        if math.isinf(_row(rear.kind).unlike) or {front.where, rear.where} & odd:
            continue
        ratio = front.value / rear.value if rear.value else math.inf
        yield Reading(UNLIKE + rear.kind, front.where, ratio, (rear.where,))


def _stated(vehicle):
    """Every plain number of the file that has a row of its own, set-ups apart."""
    for field in fields(vehicle):
        if field.name != "setups":
            yield from _rows(getattr(vehicle, field.name), (field.name,))


def _rows(thing, path):
    for place, value in _numbers(thing, path):
        kind = _kind_of(place)
        if kind in FIELDS:
            yield Reading(kind, ".".join(place), value)


def _numbers(thing, path):
    if is_dataclass(thing):
        pairs = ((f.name, getattr(thing, f.name)) for f in fields(thing))
    elif isinstance(thing, dict):
        pairs = thing.items()
    else:
        if isinstance(thing, int | float | np.number) and not isinstance(thing, bool):
            yield path, float(thing)
        return
    for name, value in pairs:
        yield from _numbers(value, (*path, str(name)))


def _corners(setup):
    """The corners of a set-up, an axle at a time where both sides are alike."""
    for axle, (left, right) in AXLES.items():
        if getattr(setup, left) == getattr(setup, right):
            yield axle, getattr(setup, left)
        else:
            yield from ((name, getattr(setup, name)) for name in (left, right))


def _kind_of(path):
    first = "axle" if path[0] in AXLES else path[0]
    path = (first, *path[1:])
    named = {"items": 1, "springs": 1}
    if first == "setups":
        return f"setups.*.{path[-1]}" if len(path) == 4 else ""
    if first == "targets" and len(path) == 3:
        return f"targets.*.{path[-1]}"
    if first == "scales" and path[-1] in CORNERS:
        return "scales.*"
    if first in named and len(path) > 2:
        path = (first, "*", *path[2:])
    if "clickers" in path:
        path = (*path[: path.index("clickers") + 1], "*", *path[path.index("clickers") + 2 :])
    return ".".join(path)


def _of_vehicle(vehicle):
    scales = vehicle.scales
    weights = {name: getattr(scales, name) for name in CORNERS}
    total = sum(weights.values())
    every = tuple(f"scales.{name}" for name in CORNERS)
    yield Reading("dry weight", "scales", total, every)
    share = (weights["front_left"] + weights["front_right"]) / total
    yield Reading("front share", "scales", share, every)
    for axle, (left, right) in AXLES.items():
        own = getattr(vehicle, axle)
        pair = (f"scales.{left}", f"scales.{right}")
        yield Reading("left over right", pair[0], weights[left] / weights[right], pair[1:])
        mean = 0.5 * (weights[left] + weights[right])
        yield Reading("unsprung share", f"{axle}.unsprung_mass", own.unsprung_mass / mean, pair)
        squeeze = mean * GRAVITY / own.tyre.rate / own.tyre.radius
        tire = f"{axle}.tyre.rate", (f"{axle}.tyre.radius", *pair)
        yield Reading("dry tire squeeze", tire[0], squeeze, tire[1])
        at = 0.0 if axle == "front" else vehicle.wheelbase
        point = f"{axle}.point"
        yield Reading(
            "point from axle", f"{point}.behind_front_axle", own.point.behind_front_axle - at,
            ("wheelbase",),
        )  # fmt: skip
        yield Reading(
            "point off center", f"{point}.left_of_centre",
            own.point.left_of_centre / (own.track / 2), (f"{axle}.track",),
        )  # fmt: skip
        yield Reading(
            "wheelbase over track", "wheelbase", vehicle.wheelbase / own.track, (f"{axle}.track",)
        )
    half = 0.25 * (vehicle.front.track + vehicle.rear.track)
    for name, item in vehicle.items.items():
        place = item.behind_front_axle
        past = place if place < 0 else max(0.0, place - vehicle.wheelbase)
        where = f"items.{name}"
        yield Reading("behind the vehicle", f"{where}.behind_front_axle", past, ("wheelbase",))
        yield Reading("beside the vehicle", f"{where}.left_of_centre",
                      abs(item.left_of_centre) / half, ("front.track", "rear.track"))  # fmt: skip
    yield from _of_loads(vehicle, total)


BODY = 45.0
"""Two things of more than this cannot be in one place [kg]: people, most likely."""


def _of_loads(vehicle, dry):
    told = set()
    for name, load in vehicle.loads.items():
        where, items = f"loads.{name}", [vehicle.items[item] for item in load.items]
        named = tuple(f"items.{item}" for item in dict.fromkeys(load.items))
        mass = sum(item.mass for item in items)
        yield Reading("aboard over dry", where, mass / dry, named)
        if mass > 0:
            moment = sum(item.mass * item.left_of_centre for item in items)
            # A small kit may well hang on one side.
            yield Reading("aboard off center", where, moment / max(mass, 0.2 * dry), named)
        for a, b in combinations(dict.fromkeys(load.items), 2):
            one, other = vehicle.items[a], vehicle.items[b]
            if (a, b) in told or min(one.mass, other.mass) < BODY:
                continue
            told.add((a, b))
            apart = math.dist(
                *((i.behind_front_axle, i.left_of_centre, i.above_frame) for i in (one, other))
            )
            yield Reading("two in one place", f"items.{a}", apart, (f"items.{b}",))


def _of_axle(name, axle, vehicle):
    shock, motion = axle.shock, axle.motion
    way = next(w for w in ("linkage", "double_wishbone", "trailing_arm") if getattr(axle, w))
    table, own = f"{name}.{way}", f"{name}.shock"
    stroke = (f"{own}.stroke",)

    def reading(kind, where, value, *against):
        return Reading(kind, where, float(value), against)

    travel = motion.travel_max
    start, end = (float(motion.compression(at)) for at in (0.0, travel))
    ratios = motion.motion_ratio(np.linspace(0.0, travel, 25))
    yield reading("wheel travel", f"{table}.travel", travel)
    yield reading("mean motion ratio", table, (end - start) / travel, *stroke)
    yield reading("motion ratio spread", table, ratios.max() / ratios.min())
    yield reading("table starts", f"{table}.eye_to_eye", start, f"{own}.extended_length")
    if way == "linkage":
        yield reading("table over stroke", table, end / shock.stroke, *stroke)
    length = shock.extended_length
    yield reading("collapsed over stroke", *stroke, length / shock.stroke - 1,
                  f"{own}.extended_length")  # fmt: skip
    thread = shock.thread
    on = f"{own}.thread"
    yield reading("seat span over length", f"{on}.seat_span", thread.seat_span / length,
                  f"{own}.extended_length")  # fmt: skip
    span = (f"{on}.seat_span",)
    yield reading("collar travel over span", f"{on}.collar_travel",
                  thread.collar_travel / thread.seat_span, *span)  # fmt: skip
    yield reading("ring lowest over span", f"{on}.ring_lowest",
                  thread.ring_lowest / thread.seat_span, *span)  # fmt: skip
    yield reading("collar over ring pitch", f"{on}.collar_pitch",
                  thread.collar_pitch / thread.ring_pitch, f"{on}.ring_pitch")  # fmt: skip
    if shock.gas is not None:
        gas, on = shock.gas, f"{own}.gas"
        both = (f"{on}.rod_diameter", f"{on}.volume")
        yield reading("gas swept", both[1], gas.rod_area * shock.stroke / gas.volume, both[0])
        yield reading("gas force", f"{on}.pressure", gas.force(0.0), both[0])
    if shock.top_out is not None:
        yield reading("top-out over stroke", f"{own}.top_out.length",
                      shock.top_out.length / shock.stroke, *stroke)  # fmt: skip
    if shock.bump_stop is not None:
        stop, on = shock.bump_stop, f"{own}.bump_stop"
        squeeze, force = stop.table[-1]
        yield reading("bump stop over stroke", f"{on}.free_length",
                      stop.free_length / shock.stroke, *stroke)  # fmt: skip
        yield reading("bump stop squeeze", f"{on}.table", squeeze / stop.free_length,
                      f"{on}.free_length")  # fmt: skip
        yield reading("bump stop force", f"{on}.table", force)
    if axle.bar is not None:
        yield reading("bar inside track", f"{name}.bar.length", axle.bar.length / axle.track,
                      f"{name}.track")  # fmt: skip
    yield from _of_damper(own, shock)


DAMPER_SPEED = 20 * 0.0254
"""Shaft speed at which a damper is judged [m/s]."""


def _of_damper(own, shock):
    damper, on = shock.damper, f"{own}.damper"
    if damper is None:
        return
    rod = damper.rod_diameter or (shock.gas.rod_diameter if shock.gas else None)
    piston = damper.piston_diameter
    if rod and piston:
        yield Reading(
            "piston over rod", f"{on}.piston_diameter", piston / rod, (f"{on}.rod_diameter",)
        )
    valving = damper.valving
    if valving is not None:
        oil, place = valving.oil, f"{on}.valving.oil"
        if oil.viscosity_40 and oil.viscosity_100:
            yield Reading("viscosity fall", f"{place}.viscosity_40",
                          oil.viscosity_40 / oil.viscosity_100,
                          (f"{place}.viscosity_100",))  # fmt: skip
    place = f"{on}.valving" if valving is not None else f"{on}.table"
    for kind, direction, speed in (
        ("damper bump", "compression", DAMPER_SPEED),
        ("damper rebound", "rebound", -DAMPER_SPEED),
    ):
        where = f"{place}.{direction}" if valving is not None else place
        yield Reading(
            kind, where, abs(float(shock.damper_force(speed))), (f"{on}.piston_diameter",)
        )


def _of_spring(where, spring):
    yield Reading("free over solid", f"{where}.free_length",
                  spring.free_length / spring.solid_length, (f"{where}.solid_length",))  # fmt: skip
    wire = spring.wire
    if wire is None:
        return
    size = tuple(f"{where}.wire.{n}" for n in ("wire_diameter", "mean_diameter", "total_coils"))
    if spring.rate is not None:
        yield Reading("rate over wire", f"{where}.rate", float(spring.rate / wire.rate), size)
    yield Reading("solid over wire", f"{where}.solid_length",
                  float(spring.solid_length / wire.solid_length), size)  # fmt: skip
    yield Reading("spring index", size[1], float(wire.spring_index), size[:1])
    if spring.rate is not None:
        solid = float(wire.safety_factor(spring.bind_force))
        yield Reading("stress solid", f"{where}.free_length", solid,
                      (f"{where}.rate", f"{where}.solid_length", *size))  # fmt: skip
        if wire.scragged:
            yield Reading("scragged", f"{where}.wire.scragged", solid, (f"{where}.rate", *size))


def _of_stack(where, springs):
    inside = [(f"springs.{n}.wire", s.wire.inner_diameter) for n, s in springs if s.wire]
    for (_, first), (name, other) in zip(inside, inside[1:], strict=False):
        yield Reading("inside alike", name, float(other / first), (inside[0][0], where))
    for (upper, above), (lower, below) in zip(springs, springs[1:], strict=False):
        ratio = float(above.law.slope(0.0) / below.law.slope(0.0))
        yield Reading("tender over main", f"springs.{upper}.rate", ratio,
                      (f"springs.{lower}.rate", where))  # fmt: skip


def readings_of_setup(vehicle, setup, name):
    """What a set-up states, one of the file or another.

    Parameters
    ----------
    vehicle : Vehicle
    setup : Setup
    name : str

    Returns
    -------
    tuple of Reading
    """
    return tuple(_of_setup(f"setups.{name}", setup, vehicle))


def _of_setup(where, setup, vehicle):
    for corner, chosen in _corners(setup):
        yield from _rows(chosen, (*where.split(".", 1), corner))
    for axle, (left, right) in AXLES.items():
        one, other = getattr(setup, left), getattr(setup, right)
        pair = f"{where}.{left}", (f"{where}.{right}",)
        yield Reading("turns apart", pair[0], float(one.turns - other.turns), pair[1])
        if isinstance(one.gap, float) and isinstance(other.gap, float):
            yield Reading("gap apart", pair[0], one.gap - other.gap, pair[1])
        for name in {one.stack, other.stack}:
            piston = vehicle.axle_of(left).shock.damper
            piston = piston.piston_diameter if piston else None
            for spring in vehicle.stacks[name].springs:
                wire = vehicle.springs[spring].wire
                if wire is not None and piston:
                    yield Reading("inside over piston", f"springs.{spring}.wire",
                                  float(wire.inner_diameter / piston),
                                  (f"{axle}.shock.damper.piston_diameter",))  # fmt: skip


# --- how it stands --------------------------------------------------------------------------------


def judge_stance(vehicle, setup, stance, *, load=None, name="current", usual=True):
    """Hold how a vehicle stands against the class, its targets and its scales.

    Parameters
    ----------
    vehicle : Vehicle
    setup : Setup
    stance : Stance
        Of that set-up in one load.
    load : str, optional
        The load it stands in; nothing aboard if not given.
    name : str
        What the set-up is called.
    usual : bool
        Whether it is meant to be driven so: else only what cannot be is judged, and what it
        stands on.

    Returns
    -------
    tuple of Verdict
        Errors first.
    """
    return judge(readings_of_stance(vehicle, setup, stance, load=load, name=name, usual=usual))


def readings_of_stance(vehicle, setup, stance, *, load=None, name="current", usual=True):
    """What a set-up comes to in one load; see `judge_stance`.

    Returns
    -------
    tuple of Reading
    """
    found = list(_standing(vehicle, setup, stance, load, f"setups.{name}", usual))
    return (*found, *(_unlike(found) if usual else ()))


def _standing(vehicle, setup, stance, load, where, usual):
    aboard = vehicle.loads[load].items if load is not None else ()
    empty = "" if aboard else " empty"
    items = tuple(f"items.{item}" for item in dict.fromkeys(aboard))

    def reading(kind, place, value, against=()):
        return Reading(kind, place, float(value), tuple(against), load)

    yield reading(f"tips{empty}", where, stance.tipped, ("scales.sprung_cg_above_frame", *items))
    if stance.tipped:
        return
    for row, axle in ((slice(0, 2), "front"), (slice(2, 4), "rear")):
        own = getattr(vehicle, axle)
        at = f"{where}.{axle}"
        left, right = (getattr(setup, corner) for corner in AXLES[axle])
        corner = stance.corners[AXLES[axle][0]]
        stacks = tuple(f"stacks.{n}" for n in dict.fromkeys((left.stack, right.stack)))
        springs = tuple(f"springs.{s.name}" for s in corner.stack.springs)
        weighed = ("scales", *items)
        stands = (f"{axle}.linkage", f"{axle}.shock", *stacks, *springs, *weighed)
        for i, name in zip(range(4)[row], AXLES[axle], strict=True):
            on, own_stop = f"{where}.{name}", own.shock.bump_touch - stance.compression[i]
            yield reading("in the air", on, stance.lifted[i], stands)
            yield reading(f"at full bump{empty}", on, stance.on_stop[i], stands)
            if own.shock.bump_stop is not None and not stance.on_stop[i]:
                yield reading("on bump stop", on, own_stop, stands)
            yield from _margins(stance.corners[name], on, usual)
        squeeze = stance.tyre_load[row].max() / own.tyre.rate / own.tyre.radius
        yield reading(
            "tire squeeze", f"{axle}.tyre.rate", squeeze, (f"{axle}.tyre.radius", *weighed)
        )
        tape = stance.height[row].mean()
        yield reading("ride height", f"{axle}.point", tape, (f"{axle}.hub_below_frame", at))
        height = tape - own.point.above_frame
        tall = (f"{axle}.hub_below_frame", f"{axle}.tyre", f"{axle}.point", at, *stands)
        yield reading("frame height", tall[0], height, tall[1:])
        if not usual:
            continue
        yield reading("ride frequency", at, stance.frequency[row].mean(), stands)
        share = stance.compression[row].mean() / own.shock.stroke
        yield reading("shock position", at, share, stands)
        apart = stance.height[row][0] - stance.height[row][1]
        sides = tuple(f"{where}.{c}" for c in AXLES[axle])
        yield reading("left less right", at, apart, (*sides, f"{axle}.track", *weighed))
        if own.bar is not None and getattr(setup, f"{axle}_bar"):
            share = own.bar.wheel_rate / stance.wheel_rate[row].mean()
            yield reading("bar over wheel rate", f"{axle}.bar", share, stacks)
        yield from _against_target(vehicle, stance, load, axle, row, tall)
    if usual:
        nose = stance.front_height - stance.rear_height
        both = tuple(f"{end}.{part}" for end in AXLES for part in ("hub_below_frame", "tyre"))
        yield reading("front less rear", where, nose, (*both, "scales", *items))
    if not aboard:
        for row, corner in enumerate(CORNERS):
            least = getattr(vehicle.scales, corner) - stance.tyre_load[row] / GRAVITY
            yield reading("scale against stance", f"scales.{corner}", least, (where, "scales"))


def _margins(corner, on, usual):
    springs = tuple(f"springs.{spring.name}" for spring in corner.stack.springs)
    yield Reading("loose springs", on, float(corner.slack), (f"{on}.turns", *springs))
    if not usual:
        return
    yield Reading("room to metal", on, float(corner.metal_room), springs)
    held = float(corner.turns - corner.least_turns)
    yield Reading("held at extension", f"{on}.turns", held, springs)
    left = float(corner.turn_limits[1] - corner.turns)
    thread = f"{on.rsplit('.', 1)[-1].split('_')[0]}.shock.thread"
    yield Reading("thread left", f"{on}.turns", left, (thread, *springs))
    for spring, safety in zip(springs, corner.safety_factors, strict=True):
        if not np.isnan(safety):
            kind = "past yield" if safety < 1 else "stress margin"
            yield Reading(kind, on, float(safety), (spring,))


def _against_target(vehicle, stance, load, axle, row, behind):
    if vehicle.targets is None or load != vehicle.targets.load:
        return
    target, on = getattr(vehicle.targets, axle), f"targets.{axle}"
    off = float(stance.height[row].mean()) - target.ride_height
    yield Reading("off target", f"{on}.ride_height", off, behind, load)
    if target.load_factor is not None:
        found = float(np.nanmean(stance.bottoming.load_factor[row]))
        yield Reading(
            "load factor off", f"{on}.load_factor", found / target.load_factor, behind, load
        )
    if target.crossover_at is not None:
        met = float(np.max(stance.corners[AXLES[axle][0]].crossover_travel))
        met = math.inf if math.isnan(met) else met  # never met
        yield Reading(
            "crossover off", f"{on}.crossover_at", met - target.crossover_at, behind, load
        )


# --- words ----------------------------------------------------------------------------------------

MOST_TOLD = 5
"""Fields a sentence names beside its own."""


def words(verdict, units="us"):
    """A verdict in one sentence, without its full stop.

    Parameters
    ----------
    verdict : Verdict
    units : {"us", "metric"}

    Returns
    -------
    str
    """
    return told([verdict], units)[0]


def told(verdicts, units="us", *, brief=False):
    """Verdicts in sentences; what is true of both sides of an axle, or of several loads, once.

    Parameters
    ----------
    verdicts : iterable of Verdict
    units : {"us", "metric"}
    brief : bool
        Whether to leave out the load and the other fields that enter.

    Returns
    -------
    tuple of str
    """
    said = {}
    for verdict in verdicts:
        load = verdict.load if verdict.load is not None and not brief else ""
        loads = said.setdefault(_clause(verdict, units, brief=brief), {})
        loads.setdefault(verdict.where, {}).setdefault(load)
    sentences = []
    for clause, places in said.items():
        named = {}
        for where, loads in places.items():
            behind = ", ".join(filter(None, loads))
            named.setdefault(f" (load {behind})" if behind else "", []).append(where)
        for load, wheres in named.items():
            sentences += [f"{place}{clause}{load}" for place in _places(wheres)]
    return tuple(sentences)


def _places(wheres):
    """Front left, front, or the field by its path; both sides of an axle as one."""
    for where in wheres:
        stem, _, last = where.rpartition(".")
        pair = next((p for p in AXLES.values() if last in p and stem.startswith("setups.")), ())
        if pair and all(f"{stem}.{side}" in wheres for side in pair):
            if last == pair[0]:
                yield f"{last.split('_')[0].capitalize()}, both sides"
        elif stem.startswith("setups.") and last in (*CORNERS, *AXLES):
            yield last.replace("_", " ").capitalize()
        else:
            yield "The vehicle" if stem == "setups" else where


def _show(value, limit, units):
    return show(value, limit.unit, units, digits=1 if limit.unit == "percent" else None)


def _clause(verdict, units, *, brief=False):
    limit, _ = limit_of(verdict)

    def say(value):
        return _show(value, limit, units)

    if limit.say:
        first = verdict.against[0].rsplit(".", 1)[-1] if verdict.against else ""
        return f": {limit.say.format(value=say(abs(verdict.value)), first=first)}"
    what = limit.what
    if verdict.kind.startswith(UNLIKE):
        row = _row(verdict.kind.removeprefix(UNLIKE))
        what = f"front over rear{f', {row.what},' if row.what else ''}"
    if math.isinf(verdict.high):
        wanted = f"{say(verdict.low)} or more"
    elif verdict.low == verdict.high:
        wanted = say(verdict.low)
    else:
        wanted = f"{say(verdict.low)} to {say(verdict.high)}"
    is_it = f": {what} comes to" if what else " is"
    expects = "expected" if verdict.severity == "error" else "usual is"
    behind = ", ".join(verdict.against[:MOST_TOLD])
    behind = f" (see {behind})" if behind and not brief else ""
    return f"{is_it} {say(verdict.value)}; {expects} {wanted}{behind}"


SHOWN = (
    *("dry weight", "front share", "unsprung share", "wheel travel", "mean motion ratio"),
    *(
        "rate over wire",
        "ride height",
        "frame height",
        "tire squeeze",
        "shock position",
        "ride frequency",
    ),
    *("setups.*.turns", "thread left", "off target", "stress margin", "room to metal"),
)
"""Kinds that a check shows whether they are odd or not."""


def table(readings, *, name, units="us"):
    """What a vehicle's numbers come to, in rows of text: words, front, rear, usual.

    Parameters
    ----------
    readings : iterable of Reading
    name : str
        The set-up to show.
    units : {"us", "metric"}

    Returns
    -------
    list of tuple of str
    """
    rows = [("", "front", "rear", "usual")]
    for kind in SHOWN:
        limit, sides = _row(kind), {}
        low, high = limit.usual
        for reading in readings:
            places = reading.where.split(".")
            if reading.kind != kind or (places[0] == "setups" and places[1] != name):
                continue
            axle = next((a for a in AXLES if any(p.split("_")[0] == a for p in places)), "")
            sides.setdefault(axle, []).append(reading.value)
        if not sides:
            continue
        # The side, or the spring, that is furthest from what is usual.
        middle = max(low, -1e9) if math.isinf(high) else 0.5 * (low + high)
        sign = -1 if math.isinf(high) else 1
        worst = {
            axle: max(values, key=lambda v: (sign * (v - middle), abs(v - middle))[sign > 0])
            for axle, values in sides.items()
        }
        cells = [_show(worst[axle], limit, units) if axle in worst else "" for axle in AXLES]
        if "" in worst:
            cells = [_show(worst[""], limit, units), ""]
        usual = f"{_show(low, limit, units)} to {_show(high, limit, units)}"
        if math.isinf(high):
            usual = "" if math.isinf(low) else f"{_show(low, limit, units)} or more"
        rows.append((limit.what, *cells, usual))
    return rows
