"""The numbers of a work sheet: how a vehicle is set, how it stands, and what margins it has."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from suspkit.dynamics.bottoming import first_bottoms
from suspkit.dynamics.damping import STATED, damping_ratios
from suspkit.dynamics.events import drop
from suspkit.statics.compressor import CompressorCheck, compressor_check
from suspkit.statics.settle import height_band, settle
from suspkit.units import INCH, SYSTEMS
from suspkit.vehicle.corner import BrokenSetupError, assemble, reset_gaps, thread_problems
from suspkit.vehicle.entrance import USUAL, known_load, known_setup, known_vehicle
from suspkit.vehicle.limits import (
    judge,
    judge_file,
    judge_stance,
    limit_of,
    readings_of_setup,
    told,
)
from suspkit.vehicle.setup import AXLES, CORNERS, ROWS, Setup
from suspkit.vehicle.vehicle import Targets, known_name

HIGHEST_DROP = 2.0
"""The highest drop the sheet looks at [m]."""


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
    room, metal_room : float
        Left to coil bind at full bump, and metal on metal [m].
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
    metal_room: float
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
    height_ring_clear : float
        What it would be with all stop rings of the vehicle run up their threads, out of the way
        [m]; nan without a ring.
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
    first_bottoms : float
        Drop from which the corner with its damper just reaches full bump [m]; ``inf`` if not from
        `HIGHEST_DROP`, nan without a damper or a stance.
    damping : tuple of dict of str to tuple of float
        For each amplitude of `suspkit.dynamics.damping.STATED` the damping ratio in "compression"
        and "rebound" at the clicks set, just below and just past the last crossover, or as it
        stands if there is none; nan past what a measured damper reaches, empty without a damper.
    frequency : float
        Ride frequency as it stands [Hz].
    frequency_below, frequency_past : float
        The same weight on springs and gas just below and just past the last crossover [Hz]; nan
        if there is none.
    stop_at_crossover : bool
        The bump stop works there already, and is left out of these two and of the damping.
    bind : Bind
    room, metal_room : float
        Shock travel left before all springs are solid: at full bump, where the bump stop's table
        ends, and at the end of the stroke, metal on metal [m]. Below zero they go solid first.
    turns_up, turns_down : float
        Left on the collar's thread either way [turns].
    least_turns : float
        Fewest that keep every spring on its seat at full extension [turns].
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
    height_ring_clear: float
    travel: float
    bump_left: float
    droop_left: float
    crossings: tuple[Crossing, ...]
    past_crossover: bool
    load_factor: float
    energy: float
    drop_height: float
    first_bottoms: float
    damping: tuple[dict[str, tuple[float, ...]], ...]
    frequency: float
    frequency_below: float
    frequency_past: float
    stop_at_crossover: bool
    bind: Bind
    room: float
    metal_room: float
    turns_up: float
    turns_down: float
    least_turns: float
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
        Front less rear ride height, nose high positive [m].
    turn_rise : dict of str to float
        Of each axle, by `turn_rise` [m].
    gap_fall : dict of str to float
        Of each axle, by `gap_fall` [-].
    side_to_side : float
        Left and right should agree within this [m].
    compressor : dict of str to dict of str to CompressorCheck
        By set-up, then axle: the one to fit first, then the one that comes off.
    problems : tuple of str
        What must not be overlooked, one plain sentence each.
    cautions : tuple of str
        What is unusual in the file or in how it stands, one sentence each.
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
    turn_rise: dict[str, float]
    gap_fall: dict[str, float]
    side_to_side: float
    compressor: dict[str, dict[str, CompressorCheck]]
    problems: tuple[str, ...]
    cautions: tuple[str, ...]
    curves: dict


# --- numbers -------------------------------------------------------------------------------------


def work_sheet(vehicle, setup=None, *, load=USUAL, units="us"):
    """Gather the numbers of a work sheet.

    Parameters
    ----------
    vehicle : Vehicle
    setup : str or Setup, optional
        One of the vehicle's by name, or any other; its current one if not given.
    load : str, optional
        The vehicle's usual load if not given, nothing aboard if None.
    units : {"us", "metric"}
        For the sentences in ``problems``; numbers are SI.

    Returns
    -------
    WorkSheet

    Raises
    ------
    ValueError
        If there is no such set-up, load or system of units, the set-up holds arrays, or the
        vehicle's numbers contradict each other.
    """
    known_vehicle(vehicle)
    known_name(units, SYSTEMS, "units", "a system")
    setup_name, setup = _chosen_setup(vehicle, setup)
    load = known_load(vehicle, load)
    corners = assemble(vehicle, setup)
    stance = settle(vehicle, setup, load=load, corners=corners)
    band = height_band(vehicle, setup, load=load, corners=corners)
    damped = all(c.shock.damper is not None for c in corners.values()) and not stance.tipped
    ratios = damping_ratios(vehicle, setup, load=load, amplitude=STATED) if damped else None
    clear = ring_clear(setup, corners)
    cleared = assemble(vehicle, clear, refuse_solid=False)
    clear = settle(vehicle, clear, load=load, corners=cleared)
    sheets = {
        name: _corner_sheet(vehicle, setup, load, corners[name], stance, clear, band, ratios)
        for name in CORNERS
    }
    items = vehicle.loads[load].items if load is not None else ()
    verdicts = (
        *(v for v in judge_file(vehicle) if not v.where.startswith("setups.")),
        *judge(readings_of_setup(vehicle, setup, setup_name)),
        *judge_stance(vehicle, setup, stance, load=load, name=setup_name),
    )
    impossible = [v for v in verdicts if v.severity == "error" and not limit_of(v)[0].loud]
    if impossible:
        raise ValueError("; ".join(told(impossible[:2], units)))
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
        turn_rise={axle: float(turn_rise(vehicle, setup, axle, load=load)) for axle in AXLES},
        gap_fall={axle: float(gap_fall(vehicle, setup, axle, load=load)) for axle in AXLES},
        side_to_side=(vehicle.targets or Targets).side_to_side,
        compressor=_compressor(vehicle, setup_name, setup),
        problems=tuple(_problems(corners, verdicts, units)),
        cautions=told([v for v in verdicts if not v.is_loud], units, brief=True),
        curves={axle: _curves(corners[pair[0]], stance) for axle, pair in AXLES.items()},
    )


def ring_clear(setup, corners):
    """The set-up with every stop ring run up its thread, away from its divider.

    Parameters
    ----------
    setup : Setup
    corners : dict of str to Corner
        The set-up assembled.

    Returns
    -------
    Setup
    """
    for name, corner in corners.items():
        most = tuple(corner.gap_limits(i)[1] for i in range(len(corner.gap)))
        # A ring that has no thread left stays where it is.
        gap = tuple(np.maximum(a, b) for a, b in zip(most, corner.gap, strict=True))
        if gap:
            setup = setup.change(name, gap=gap if len(gap) > 1 else gap[0])
    return setup


def turn_rise(vehicle, setup, axle, **aboard):
    """What one more turn of both collars of an axle adds to its mean ride height.

    The gaps are set again after the turn, as the order of work has it.

    Parameters
    ----------
    vehicle : Vehicle
    setup : Setup
        Its numbers may be arrays: a batch of set-ups.
    axle : {"front", "rear"}
    **aboard
        ``load`` or ``masses``, as for `settle`.

    Returns
    -------
    float or array
        [m]
    """
    setup = more = reset_gaps(setup, assemble(vehicle, setup, refuse_solid=False))
    for name in AXLES[axle]:
        more = more.change(name, turns=getattr(setup, name).turns + 1)
    return _rise(vehicle, setup, more, axle, aboard)


def gap_fall(vehicle, setup, axle, **aboard):
    """How far an axle's mean ride height falls for what the stop gaps of both sides are opened.

    Parameters
    ----------
    vehicle : Vehicle
    setup : Setup
        Its numbers may be arrays: a batch of set-ups.
    axle : {"front", "rear"}
    **aboard
        ``load`` or ``masses``, as for `settle`.

    Returns
    -------
    float or array
        Height over gap [-]; of several rings all are opened. 0 where none is met at rest.
    """
    corners = assemble(vehicle, setup, refuse_solid=False)
    setup = more = reset_gaps(setup, corners)
    for name in AXLES[axle]:
        gap = tuple(g + INCH / 16 for g in corners[name].gap)
        if gap:
            more = more.change(name, gap=gap if len(gap) > 1 else gap[0])
    return -_rise(vehicle, setup, more, axle, aboard) / (INCH / 16)


def _rise(vehicle, before, after, axle, aboard):
    """Of an axle's mean height from one set-up to another [m]."""
    now, then = (
        settle(vehicle, s, corners=assemble(vehicle, s, refuse_solid=False), **aboard)
        for s in (before, after)
    )
    return (then.height - now.height)[ROWS[axle]].mean(axis=0)


def _chosen_setup(vehicle, setup):
    name = vehicle.current if setup is None else setup
    setup = known_setup(vehicle, setup)
    _refuse_arrays(setup)
    if isinstance(name, str):
        return name, setup
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


def _corner_sheet(vehicle, setup, load, corner, stance, clear, band, ratios):
    chosen = getattr(setup, corner.name)
    row = CORNERS.index(corner.name)
    at = {name: float(value) for name, value in stance.at(corner.name).items()}
    reserve = stance.bottoming
    thread = corner.shock.thread
    least, most = (float(turns) for turns in corner.turn_limits)
    tyre_rate = vehicle.axle_of(corner.name).tyre.rate
    below, past = map(float, corner.crossover_frequencies(at["wheel_force"], tyre_rate=tyre_rate))
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
            Clicks(name=name, count=count, zero=corner.shock.clickers[name].zero,
                   total=int(corner.shock.clickers[name].count))
            for name, count in corner.shock.clicks_set(chosen.clicks).items()
        ),
        height=at["height"],
        height_low=float(band[0][row]),
        height_high=float(band[1][row]),
        height_ring_clear=float(clear.height[row]) if corner.gap else np.nan,
        travel=at["travel"],
        bump_left=at["bump_left"],
        droop_left=at["droop_left"],
        crossings=_crossings(corner),
        past_crossover=bool(stance.past_crossover[row]),
        load_factor=float(reserve.load_factor[row]),
        energy=float(reserve.energy[row]),
        drop_height=float(reserve.drop_height[row]),
        first_bottoms=_first_bottoms(vehicle, setup, load, corner, stance, row),
        damping=_damping(ratios, corner.name),
        frequency=at["frequency"],
        frequency_below=below,
        frequency_past=past,
        stop_at_crossover=bool(
            corner.shock.bump_touch < corner.crossover <= corner.shock.full_bump
        ),
        bind=_first_bind(corner),
        room=float(corner.room),
        metal_room=float(corner.metal_room),
        turns_up=float(corner.turns) - least,
        turns_down=most - float(corner.turns),
        least_turns=float(corner.least_turns),
        gap_limits=tuple(tuple(float(v) for v in corner.gap_limits(i)) for i in rings),
        given_back=float(corner.given_back),
        bolt_out_error=float(corner.unbolted_hang - corner.contact_hang) / thread.collar_pitch,
        slack=float(corner.slack),
    )  # fmt: skip


def _first_bottoms(vehicle, setup, load, corner, stance, row):
    """Drop of one corner alone, which is what its springs and damper are there for [m]."""
    if corner.shock.damper is None or stance.tipped or stance.on_stop[row]:
        return np.nan
    found = first_bottoms(
        vehicle, setup, event=lambda height: drop(height=height, duration=1.0), low=0.0,
        high=HIGHEST_DROP, load=load, model="quarter", corner=corner.name,
    )  # fmt: skip
    return max(found.value, 0.0)


def _damping(ratios, name):
    if ratios is None:
        return ({},) * len(STATED)
    mine = ratios[(ratios["corner"] == name) & ratios["set"]]
    found = tuple({} for _ in STATED)
    for (amplitude, direction), rows in mine.groupby(["amplitude", "direction"]):
        at = rows.set_index("where")["ratio"]
        found[STATED.index(amplitude)][direction] = tuple(
            float(at[w]) for w in ("below", "past") if w in at
        ) or (float(at["ride"]),)
    return found


def _springs(corner):
    full, metal = (corner.squeezed(at) for at in (corner.shock.full_bump, corner.shock.stroke))
    rings = {ring.below for ring in corner.stack.rings}
    return tuple(
        SpringLine(
            name=spring.name,
            rate=float(spring.law.slope(0.0)),
            free_length=spring.free_length,
            ring_below=i in rings,
            room=float(spring.travel - full[i]),
            metal_room=float(spring.travel - metal[i]),
            force=float(spring.law(full[i])),
            safety_factor=float(corner.safety_factors[i]),
        )
        for i, spring in enumerate(corner.stack.springs)
    )


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


def _compressor(vehicle, name, setup):
    """The job of fitting these springs, and of taking off another set-up's, where there is one."""

    def stacks(of):
        return [corner.stack for corner in of.corners]

    others = {n: s for n, s in vehicle.setups.items() if n != name and stacks(s) != stacks(setup)}
    other = "stock" if "stock" in others else next(iter(others), None)
    checks = {name: compressor_check(vehicle, setup)}
    if other is not None:
        try:
            checks[other] = compressor_check(vehicle, others[other])
        except BrokenSetupError:
            pass  # nobody can have fitted it
    return checks


def _problems(corners, verdicts, units):
    """Plain sentences; what is true of both sides of an axle is said once."""
    found = [sentence.split(".", 1) for sentence in thread_problems(corners)]
    for axle, (left, right) in AXLES.items():
        sides = [[text for place, text in found if place == side] for side in (left, right)]
        for text in dict.fromkeys(sides[0] + sides[1]):
            if text in sides[0] and text in sides[1]:
                yield f"{axle.capitalize()}, both sides: {text}."
            else:
                yield f"{corner_words(left if text in sides[0] else right)}: {text}."
    yield from (
        f"{sentence}." for sentence in told([v for v in verdicts if v.is_loud], units, brief=True)
    )


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


def corner_words(name):
    """A corner's name as it stands at the head of a sentence."""
    return name.replace("_", " ").capitalize()
