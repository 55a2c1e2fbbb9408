"""The inverse questions: how many turns, what gap, and what to do when the adjuster cannot."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from suspkit.given import number
from suspkit.statics.settle import Stance, settle, tips_over
from suspkit.units import INCH, show, tape
from suspkit.vehicle.corner import THREAD_SLACK, assemble, hold_rings
from suspkit.vehicle.entrance import known_axle, known_load, known_setup
from suspkit.vehicle.setup import AXLES, ROWS, Setup

HEIGHT_TOLERANCE = 1e-5
"""Ride height counts as reached within this [m]: far below what a tape can read."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Solution:
    """An answer, and whether it is one.

    Attributes
    ----------
    ok : bool
        The target is reached within what the thread allows.
    setup : Setup
        With the answer in it; the nearest the adjuster comes if not ``ok``.
    stance : Stance
        How the vehicle stands with it.
    turns : dict of str to float
        Collar turns from contact by axle, where they were asked.
    gap : dict of str to float
        Stop gap by axle, where it was asked [m].
    message : str
        One or more plain sentences; says why and what would do when not ``ok``.
    """

    ok: bool
    setup: Setup
    stance: Stance
    turns: dict[str, float]
    gap: dict[str, float]
    message: str


def _batch_settle(vehicle, setup, load):
    corners = assemble(vehicle, setup, refuse_solid=False)
    stance = settle(vehicle, setup, load=load, corners=corners)
    if stance.tipped.all():
        raise ValueError(tips_over(load))
    return stance


def _axle_height(stance, axle):
    return stance.front_height if axle == "front" else stance.rear_height


def _zoom(metric, low, high, target, *, rounds=6, points=33):
    """Where a monotone metric of an array comes nearest to a target, and the metric there.

    A flat piece answers with its low end. Each round looks at the bracket in one batch, so a
    kink costs nothing.
    """
    for _ in range(rounds):
        at = np.linspace(low, high, points)
        value = metric(at)
        away = np.abs(value - target)
        best = int(np.nanargmin(away))
        step = np.diff(np.sign(value - target))
        crossing = np.flatnonzero(np.isfinite(step) & (step != 0))
        if crossing.size:
            i = int(crossing[0])
            low, high = at[i], at[i + 1]
        else:
            low, high = at[max(best - 1, 0)], at[min(best + 1, points - 1)]
    at = np.linspace(low, high, points)
    value = metric(at)
    best = int(np.nanargmin(np.abs(value - target)))
    return float(at[best]), float(value[best])


def solve_preload(
    vehicle, setup=None, *, load=None, front_height=None, rear_height=None, rake=None, axle="rear"
):
    """Collar turns for a ride height or a stance.

    Parameters
    ----------
    vehicle : Vehicle
    setup : Setup, optional
        Where to start; left and right of an axle get the same turns. A corner with a ``gap`` has
        its gap re-set after the turns, one with a ``ring`` has the ring left alone.
    load : str, optional
        Named load; nothing aboard if None.
    front_height, rear_height : float or str, optional
        Wanted ride height, mean of left and right [m]; or text such as ``"345 mm"``.
    rake : float, optional
        Wanted front less rear ride height, in place of one height [m]; 0 is level, above it nose
        high.
    axle : {"front", "rear"}
        The axle to turn for a rake.

    Returns
    -------
    Solution

    Raises
    ------
    ValueError
        If no target is given, or both a rake and a height of the axle to be turned.

    Notes
    -----
    No fewer turns than hold the springs at full extension are an answer (`Corner.least_turns`).
    Both axles act on both heights a little, so they are searched in turn until neither moves;
    each search looks over the whole thread, because past crossover with the ring left alone the
    collar does nothing over part of it.
    """
    setup, load = known_setup(vehicle, setup), known_load(vehicle, load)
    wanted = {"front": front_height, "rear": rear_height}
    asked = [name for name in AXLES if wanted[name] is not None]
    for name in asked:
        wanted[name] = number(f"{name}_height", wanted[name], "length", low=0.0, high=3.0)
    known_axle(axle)
    if rake is not None:
        rake = number("rake", rake, "percent", low=-1.0, high=1.0)
        if wanted[axle] is not None:
            raise ValueError(f"rake and {axle}_height are both given; expected one of them")
        asked.append(axle)
    if not asked:
        raise ValueError("no target is given; expected front_height, rear_height or rake")
    given = setup
    limits = {name: _turn_limits(vehicle, setup, name) for name in asked}

    def metric_of(name):
        if rake is not None and name == axle:
            return rake, lambda s: s.rake
        return wanted[name], lambda s: _axle_height(s, name)

    turns = {}
    for _ in range(40):
        moved = 0.0
        for name in asked:
            target, read = metric_of(name)

            def metric(at, name=name, read=read, setup=setup):
                return read(_batch_settle(vehicle, setup.change(name, turns=at), load))

            found, _value = _zoom(metric, *limits[name][:2], target)
            moved = max(moved, abs(found - turns.get(name, np.inf)))
            turns[name] = found
            setup = setup.change(name, turns=found)
        if moved < 1e-5 or len(asked) == 1:
            break
    stance = _batch_settle(vehicle, setup, load)
    sentences, ok = [], True
    for name in asked:
        target, read = metric_of(name)
        # A rake asks the rear to fall where a height asks it to rise.
        sign = -1.0 if rake is not None and name == axle == "rear" else 1.0
        idle = _idle_turns(vehicle, given, load, name, limits[name])
        wanted_rise = sign * (target - float(read(_batch_settle(vehicle, given, load))))
        error = float(read(stance)) - target
        if idle is not None:
            turns[name] = float(np.max(getattr(given, AXLES[name][0]).turns))
            setup = setup.change(name, turns=turns[name])
            stance = _batch_settle(vehicle, setup, load)
            there = abs(wanted_rise) < 0.005 * INCH  # nothing is left to say in hundredths
            ok = ok and there
            sentences.append(
                f"{name}: {turns[name]:.2f} turns from contact, as it is."
                if there
                else _idle_sentence(vehicle, setup, load, name, idle, wanted_rise)
            )
        elif abs(error) <= HEIGHT_TOLERANCE:
            sentences.append(f"{name}: {turns[name]:.2f} turns from contact.")
        else:
            ok = False
            sentences.append(_end_sentence(name, turns[name], limits[name], -sign * error))
    return Solution(
        ok=bool(ok), setup=setup, stance=stance, turns=turns, gap={}, message=" ".join(sentences)
    )


def _turn_limits(vehicle, setup, axle):
    """Fewest turns that hold the springs, most that the thread allows, whether coil bind is what
    ends them, and whether it is the springs that ask for the fewest."""
    corners = assemble(vehicle, setup, refuse_solid=False)
    both = [corners[name] for name in AXLES[axle]]
    low = max(float(np.max(corner.least_turns)) for corner in both)
    high = max(low, min(float(np.min(corner.turn_limits[1])) for corner in both))

    def room(turns):
        corners = assemble(vehicle, setup.change(axle, turns=turns), refuse_solid=False)
        return min(corners[name].room for name in AXLES[axle])

    loosens = any(corner.held_turns == low > 0 for corner in both)
    if room(high) >= 0:
        return low, high, False, loosens
    from scipy.optimize import brentq

    # Room shrinks as the collar goes down; with none even at the start there is nothing to search.
    return low, float(brentq(room, low, high)) if room(low) > 0 else low, True, loosens


def _idle_turns(vehicle, setup, load, axle, limits):
    """Turns up to which the collar does nothing: past crossover with the ring left alone.

    None where it does something at once.
    """
    if getattr(setup, AXLES[axle][0]).ring is None:
        return None
    now = float(np.max(getattr(setup, AXLES[axle][0]).turns))
    at = np.linspace(now, max(limits[1], now), 129)
    height = _axle_height(_batch_settle(vehicle, setup.change(axle, turns=at), load), axle)
    flat = np.abs(height - height[0]) < 1e-9
    first = int(np.argmin(flat)) if not flat.all() else len(at)
    return None if first <= 1 else float(at[first - 1])


def _idle_sentence(vehicle, setup, load, axle, idle, rise):
    ring_turns = _ring_turns_for(vehicle, setup, load, axle, rise)
    what = (
        f"{abs(ring_turns):.1f} turns of the stop ring "
        f"{'towards' if ring_turns < 0 else 'away from'} the divider would, or re-set the gap "
        "after turning the collar"
        if np.isfinite(ring_turns)
        else "no place of the ring does it either; that is a job for another spring"
    )
    return (
        f"{axle}: it stands past crossover with the ring left alone, so collar turns do nothing "
        f"up to {idle:.0f} turns and cannot {'raise' if rise > 0 else 'lower'} it "
        f"{show(abs(rise), 'length')}; {what}."
    )


def _end_sentence(axle, turns, limits, rise):
    low, _, binds, loosens = limits
    if rise > 0:
        end, cure = "the thread ends", "a stiffer or longer spring"
        if binds:
            end = "the springs would go solid before full bump"
            cure = "a stiffer spring, or one with more travel,"
    elif loosens:
        end = "the least that holds the springs at full extension is reached"
        cure = "a softer spring"
    elif low > 0:
        end, cure = "the collar is fully up", "a softer or shorter spring"
    else:  # turns count from contact, wherever the free length puts that
        end, cure = "contact is reached", "a softer spring"
    return (
        f"{axle}: the collar cannot {'raise' if rise > 0 else 'lower'} it the last "
        f"{show(abs(rise), 'length')}, because {end} at {turns:.1f} turns; {cure} would."
    )


def _ring_turns_for(vehicle, setup, load, axle, rise):
    """Turns of the ring (positive opens the gap) that change an axle's height by ``rise``."""
    corners = assemble(vehicle, setup, refuse_solid=False)
    left = corners[AXLES[axle][0]]
    now = float(left.ring[0])
    least, most = (float(v) for v in left.gap_limits(0))
    start = float(_axle_height(_batch_settle(vehicle, setup, load), axle))

    def metric(at):
        return _axle_height(_batch_settle(vehicle, setup.change(axle, ring=at), load), axle)

    shift = now - float(left.gap[0])
    found, value = _zoom(metric, least + shift, most + shift, start + rise)
    if abs(value - start - rise) > HEIGHT_TOLERANCE:
        return np.inf
    return (found - now) / left.shock.thread.ring_pitch


GAP_TARGETS = {
    "load_factor": ("load factor", "ratio", 50.0),
    "energy": ("energy to full bump", "energy", 1e6),
    "drop_height": ("drop height", "length", 10.0),
    "crossover_at": ("crossover at wheel travel", "length", 3.0),
}
"""What a stop gap can be solved for: how to say it, its kind of quantity, and the most of it."""


def solve_stop_gap(vehicle, setup=None, *, axle, load=None, **target):
    """Stop gap for a bottoming reserve or a place of crossover, at the present preload.

    Parameters
    ----------
    vehicle : Vehicle
    setup : Setup, optional
        Its turns are kept: they come first, then the gap.
    axle : {"front", "rear"}
    load : str, optional
        Named load; nothing aboard if None.
    **target
        Exactly one of ``load_factor`` (springs and gas at full bump over standing),
        ``energy`` (standing to full bump, each corner [J]), ``drop_height`` ([m], no damping) or
        ``crossover_at`` (wheel travel [m]).

    Returns
    -------
    Solution
        With the gap as the tape reads it at droop hang.

    Raises
    ------
    ValueError
        If not exactly one target is given, the axle has no stop ring, or the ring's thread has
        no place for it.
    """
    setup, load = known_setup(vehicle, setup), known_load(vehicle, load)
    known_axle(axle)
    if len(target) != 1 or next(iter(target)) not in GAP_TARGETS:
        raise ValueError(
            f"target is {', '.join(target) or 'not given'}; expected one of "
            f"{', '.join(GAP_TARGETS)}"
        )
    ((kind, wanted),) = target.items()
    wanted = number(kind, wanted, GAP_TARGETS[kind][1], low=0.0, high=GAP_TARGETS[kind][2])
    corners = assemble(vehicle, setup, refuse_solid=False)
    left = corners[AXLES[axle][0]]
    if len(left.ring) != 1:
        raise ValueError(f"{axle} has {len(left.ring)} stop rings; expected one to solve for")
    rows = ROWS[axle]
    thread_end, most = (float(v) for v in left.gap_limits(0))
    if most < -THREAD_SLACK:
        raise ValueError(
            f"{axle} has its divider {tape(-most)} above the highest place of the stop ring; "
            "expected fewer turns or a longer spring above the ring"
        )
    most = max(0.0, most)
    least = min(most, max(thread_end, _solid_gap(vehicle, setup, axle, thread_end)))

    def read(stance):
        if kind == "crossover_at":
            corner = stance.corners[AXLES[axle][0]]
            met = corner.crossover
            return np.where(np.isfinite(met), corner.linkage.travel(np.minimum(met, 1.0)), np.inf)
        # A wheel in the air has no reserve; the other side then speaks for the axle.
        left, right = getattr(stance.bottoming, kind)[rows]
        found = 0.5 * (np.fmin(left, right) + np.fmax(left, right))
        if np.isnan(found).all():
            raise ValueError(
                f"both {axle} wheels are in the air at rest with load {load!r}; expected a load "
                "it can stand with"
            )
        return found

    def metric(at):
        return read(_batch_settle(vehicle, setup.change(axle, gap=at), load))

    found, value = _zoom(metric, least, most, wanted)
    answer = setup.change(axle, gap=found)
    before = _batch_settle(vehicle, setup, load)
    stance = _batch_settle(vehicle, answer, load)
    words, unit, _ = GAP_TARGETS[kind]
    ok = abs(value - wanted) <= 1e-5 * max(abs(wanted), 1e-3 if unit != "ratio" else 1.0)
    drift = float(_axle_height(stance, axle) - _axle_height(before, axle))
    if ok:
        message = f"{axle}: stop gap {tape(found)} by tape at droop hang."
        if abs(drift) > INCH / 32:
            message += (
                f" It stands past crossover, so this moves the ride height {tape(drift)}; check "
                "preload again, then the gap."
            )
    else:
        # A smaller gap meets the ring sooner: more reserve, an earlier crossover.
        lower = (wanted < value) if kind == "crossover_at" else (wanted > value)
        end = "smallest" if lower else "largest"
        limit = (
            "before the springs go solid"
            if lower and least > thread_end + 1e-6
            else ("the ring's thread allows" if lower else "that still meets the ring")
        )
        message = (
            f"{axle}: no stop gap gives {words} {show(wanted, unit)}; the {end} {limit}, "
            f"{tape(found)}, gives {show(value, unit)}. {_instead(kind, wanted > value)}"
        )
    return Solution(
        ok=bool(ok), setup=answer, stance=stance, turns={}, gap={axle: found}, message=message
    )


def _solid_gap(vehicle, setup, axle, least):
    """Smallest gap at which the springs are not all solid before full bump [m].

    With the ring met the last spring carries the rest, so its room grows one for one with the gap.
    """
    corners = assemble(vehicle, setup.change(axle, gap=least), refuse_solid=False)
    return least + max(0.0, -min(float(corners[name].room) for name in AXLES[axle])) + 1e-9


def _instead(kind, more):
    if kind == "crossover_at":
        return "Fit a tender of another rate, or change the preload first."
    return f"A {'stiffer' if more else 'softer'} main spring would."


def ring_left(vehicle, setup=None):
    """The set-up with its rings left where they stand: what collar turns alone would do.

    Parameters
    ----------
    vehicle : Vehicle
    setup : Setup, optional

    Returns
    -------
    Setup
    """
    setup = known_setup(vehicle, setup)
    return hold_rings(setup, assemble(vehicle, setup, refuse_solid=False))
