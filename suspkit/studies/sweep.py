"""What if: any number of vehicle, set-up, load or event varied, and what comes of it."""

from __future__ import annotations

import functools
import hashlib
import inspect
import itertools
import marshal
import math
import os
import time
import types
import typing
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, fields, is_dataclass, replace
from numbers import Real
from pathlib import Path
from queue import Empty, SimpleQueue

import numpy as np

from suspkit.dynamics.comfort import weighted_rms
from suspkit.dynamics.drive import METAL, MODELS, UntrustedRunError, drive, seat_acceleration
from suspkit.dynamics.events import Event
from suspkit.given import of_kind
from suspkit.statics.settle import NotSettledError, settle
from suspkit.studies.table import in_words, read_table, suffix, write_table
from suspkit.units import GRAVITY, Unit, parse, si_unit
from suspkit.vehicle.corner import THREAD_SLACK, BrokenSetupError, assemble, thread_problems
from suspkit.vehicle.entrance import known_setup, known_vehicle
from suspkit.vehicle.setup import AXLES, CORNERS, ROWS, Setup, corners_of
from suspkit.vehicle.vehicle import MOST_LISTED, Masses, StackPlan, known_name

TURN = 0.3 * GRAVITY
"""Steady turn in which ``roll`` is read [m/s^2]: brisk on dirt, and both inner tyres still down."""

MOST_ROWS = 2_000_000
"""Rows of one sweep."""

ROWS_A_CHUNK = 20_000
"""Most rows settled in one piece of work (about half a second)."""

GROUPS_A_CHUNK = 16
"""Most vehicles assembled in one piece of work (about as long)."""

RUNS_A_CHUNK = 8
"""Most runs driven in one piece of work (about as long for a short event)."""

NOT_DONE = "not worked out: the sweep was stopped before"
"""What ``problem`` says in a row that was not reached."""


def _mean(read):
    """A number of the stance with one entry a corner, as the mean of an axle's two."""

    def mean(stance, axle):
        with np.errstate(invalid="ignore"):  # all solid carry an endless load, up or down
            return read(stance)[ROWS[axle]].mean(axis=0)

    return mean


def _of_corner(read):
    """A number of a corner, as the mean of an axle's two; nan where there is none."""
    return lambda stance, axle: 0.5 * sum(read(stance.corners[name]) for name in AXLES[axle])


def _worst(read):
    """A number of a run with one entry a wheel, as the larger of an axle's two."""

    def worse(run, axle):
        wheels = read(run)[[c.name in AXLES[axle] for c in run.corners]]
        return wheels.max() if wheels.size else np.nan

    return worse


_STANCE_BY_AXLE = {
    "height": ("ride height", "length", _mean(lambda s: s.height)),
    "travel": ("standing wheel travel", "length", _mean(lambda s: s.travel)),
    "bump_left": ("travel to full bump", "length", _mean(lambda s: s.bump_left)),
    "frequency": ("ride frequency", "frequency", _mean(lambda s: s.frequency)),
    "crossover": ("wheel travel at crossover", "length", _of_corner(lambda c: c.crossover_travel)),
    "gap": ("stop gap", "length", _of_corner(lambda c: c.gap[0] if c.gap else np.nan)),
    "load_factor": ("load factor", "ratio", _mean(lambda s: s.bottoming.load_factor)),
    "energy": ("energy to full bump", "energy", _mean(lambda s: s.bottoming.energy)),
}
_RUN_BY_AXLE = {
    "travel_used": ("travel used", "percent", _worst(lambda r: r.travel_used)),
    "bottomings": ("times at full bump", "count", _worst(lambda r: r.bottomings)),
    # Where metal meets metal only a rigid stand-in carries: no number to act on.
    "peak_force": (
        "peak shaft force",
        "force",
        _worst(lambda r: np.where(r.metal, np.inf, r.peak_force)),
    ),
    "airtime": ("wheel in the air", "time", _worst(lambda r: r.airtime)),
}


def _by_axle(table):
    return {
        f"{axle}_{name}": (f"{axle} {words}", kind, functools.partial(read, axle=axle))
        for name, (words, kind, read) in table.items()
        for axle in AXLES
    }


_STANCE = _by_axle(_STANCE_BY_AXLE) | {"rake": ("rake", "length", lambda s: s.rake)}
_TURNING = {"roll": ("roll in a 0.3 g turn", "angle", None)}
_RUN = _by_axle(_RUN_BY_AXLE) | {
    "seat": ("driver's seat, weighted", "acceleration", None),
    "audit": ("energy not accounted for", "percent", lambda run: run.audit),
}

MEASURES = {n: (words, kind) for n, (words, kind, _) in (_STANCE | _TURNING | _RUN).items()}
"""What a sweep can tell, by column: its words and its kind of quantity.

Of an axle: mean of left and right standing, the worse side in a run.
"""

RUN_MEASURES = tuple(_RUN)
"""Those of them that need an event."""

DIGITS = {"percent": 2, "angle": 2, "acceleration": 3}
"""Decimals of a kind of quantity where the usual ones hide what a sweep shows."""

_HIDDEN = ("setups", "current", "targets", "name", "about", "note", "source", "digest")
_EVENT_KINDS = {
    "speed": "speed", "duration": "time", "ramp": "time", "lateral": "acceleration",
    "slowing": "acceleration", "lateral_steady": "acceleration", "forward_steady": "acceleration",
} | dict.fromkeys(
    ("approach", "drop", "radius", "depth", "height", "length", "spacing", "patch"), "length"
) | dict.fromkeys(("count", "seed"), "count")  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class _Knob:
    """One column that is varied: its path, what it sets, and its values in SI."""

    path: str
    root: str
    parts: tuple = ()
    kind: str | None = None
    values: tuple = ()

    @property
    def batch(self):
        """Whether its values can stand in one array: numbers of the set-up, and loads."""
        of_setup = self.root == "setup" and len(self.parts) > 1
        return self.root == "load" or of_setup and self.parts[1] in ("turns", "gap", "ring")


@dataclass(frozen=True, kw_only=True)
class _Plan:
    """All that a worker needs besides the rows."""

    vehicle: object
    setups: dict
    events: dict
    knobs: tuple
    measure: tuple
    model: str


def sweep(
    vehicle, setup=None, *, vary=None, load=None, event=None, model="full", paired=False,
    measure=None, executor=None, progress=None, resume=None, cancel=None,
):  # fmt: skip
    """A table of what comes of every combination of some parameters.

    Parameters
    ----------
    vehicle : Vehicle
    setup : Setup or str, or dict or sequence of Setup, optional
        The current one if not given. Several stand side by side, told apart by column ``setup``.
    vary : dict of str to sequence
        Values by dotted path: ``setup.front.turns`` (a corner, an axle or ``all``),
        ``setup.rear.clicks.rebound``, ``vehicle.springs.main-320-16.rate``,
        ``vehicle.items.winch.mass``, ``event.speed``, ``load``. Numbers are SI, text has a unit:
        ``["280 lb/in", "300 lb/in"]``.
    load : str or sequence of str, optional
        Named load, or several to vary. Nothing aboard if None.
    event : Event, callable or dict of str to either, optional
        Each row is driven through it. A callable, say
        ``functools.partial(events.whoops, height=0.3, spacing=4.0)``, is called with what is
        varied of it (``event.speed``). Of an `Event` fields are replaced; another ``speed`` drives
        the same stretch of road.
    model : {"full", "half", "quarter"}
        For the event.
    paired : bool
        The first values of all of ``vary`` together, then the second ones, and so on; otherwise
        every combination. Several set-ups, loads or events are always crossed with them.
    measure : sequence of str, optional
        Columns of `MEASURES` to work out; all if not given (of a run only with an event).
    executor : concurrent.futures.Executor, optional
        Where the work is done: threads, processes, or a cluster's. Threads of its own if not
        given; the numbers are the same to the last bit.
    progress : callable, optional
        Called with rows done and rows in all after each piece of work [rows].
    resume : str or path, optional
        A ``.csv`` or ``.parquet`` file that keeps what is done. If it is there, only what it lacks
        is worked out. The finished table stays in it.
    cancel : object with ``is_set()``, optional
        A `threading.Event`: once set, no new work is begun. An interrupt from the keyboard does
        the same, without waiting for what is under way.

    Returns
    -------
    pandas.DataFrame
        One row a combination, the last parameter changing fastest; all SI, ``attrs["units"]``
        names units and ``attrs["kinds"]`` kinds of quantity. ``problem`` is empty where all is
        well. A row that cannot be worked out is nan and ``problem`` says why; one that can, but
        lies past the end of a thread or whose run is doubtful, keeps its numbers. Rows not reached
        when stopped are nan with `NOT_DONE`.

    Raises
    ------
    ValueError
        If a path, a value or its unit is not what was expected, or ``resume`` holds another sweep.
    UnwritableError
        If ``resume`` cannot be written.

    Notes
    -----
    Turns, gaps, rings and loads go through one batched settle for each vehicle; every run is that
    of `suspkit.drive` alone.
    """
    plan = _plan(vehicle, setup, vary, load, event, model, measure)
    rows = math.prod(len(knob.values) for knob in plan.knobs)
    if not paired and rows > MOST_ROWS:
        raise ValueError(f"vary makes {rows:,} rows; expected at most {MOST_ROWS:,}")
    at = _combinations(plan.knobs, paired)
    numbers = np.full((len(at), len(plan.measure)), np.nan)
    problems = np.full(len(at), NOT_DONE, dtype=object)
    keeper = _Keeper(resume, plan, paired, at)
    keeper.take_up(numbers, problems)
    keeper.save(numbers, problems, at_once=True)  # where it cannot, that is said before any work
    left = np.flatnonzero(problems == NOT_DONE)
    if progress is not None:
        progress(len(at) - len(left), len(at))
    pool = ThreadPoolExecutor(os.cpu_count()) if executor is None else executor
    waiting, finished, stopped = {}, SimpleQueue(), False
    try:
        for rows in _chunks(plan, at, left):
            future = pool.submit(_work, plan, at[rows])
            waiting[future] = rows
            future.add_done_callback(finished.put)
        while waiting:
            if not stopped and cancel is not None and cancel.is_set():
                # What has not begun is dropped; what has is waited for, for it is nearly done.
                stopped = [future.cancel() for future in list(waiting)]
            try:
                future = finished.get(timeout=0.1)
            except Empty:
                continue
            rows = waiting.pop(future)
            if not future.cancelled():
                numbers[rows], problems[rows] = future.result()
                keeper.save(numbers, problems)
                if progress is not None:
                    progress(int((problems != NOT_DONE).sum()), len(at))
    except KeyboardInterrupt:
        pass  # the table says what is missing
    finally:
        for future in waiting:
            future.cancel()
        if executor is None:
            pool.shutdown(wait=False)
        keeper.save(numbers, problems, at_once=True)
    return _table(plan, at, numbers, problems)


class _Keeper:
    """Keeps what is done in a file, if there is one to keep it in."""

    def __init__(self, path, plan, paired, at):
        self.path, self.plan, self.at, self.next = path, plan, at, 0.0
        if path is not None:
            suffix(path)
            self.mark = _fingerprint(plan, paired)

    def take_up(self, numbers, problems):
        """Fill in what the file already has."""
        if self.path is None or not Path(self.path).exists():
            return
        table = read_table(self.path)
        if table.attrs.get("sweep") != self.mark:
            raise ValueError(
                f"resume is {str(self.path)!r}, which holds another sweep; expected one of the "
                "same vehicle, set-up, vary, event and suspkit, or a file that is not there yet"
            )
        numbers[:] = table[list(self.plan.measure)].to_numpy(dtype=float)
        problems[:] = table["problem"]

    def save(self, numbers, problems, *, at_once=False):
        """Write the whole table; in between no more than a twentieth of the time goes on it."""
        began = time.monotonic()
        if self.path is None or (began < self.next and not at_once):
            return
        table = _table(self.plan, self.at, numbers, problems)
        table.attrs["sweep"] = self.mark
        write_table(table, self.path)
        now = time.monotonic()
        if not at_once:
            self.next = now + 20 * (now - began)


# --- what is varied ------------------------------------------------------------------------------


def _plan(vehicle, setup, vary, load, event, model, measure):
    known_vehicle(vehicle)
    setup = known_setup(vehicle, setup) if setup is None or isinstance(setup, str) else setup
    setups = _choices(setup, "setup", Setup)
    for label, one in setups.items():
        known_setup(vehicle, one, name=f"setup {label!r}" if label else "setup")
    known_name(model, MODELS, "model", "one of")
    events = {} if event is None else _choices(event, "event", Event)
    loads = [None] if load is None else _listed("load", load)
    if not (vary is None or isinstance(vary, dict)):
        raise ValueError(f"vary is {vary!r:.60}; expected a dict of paths to values")
    for path in vary or ():
        of_kind("vary", path, str, "a dict of dotted paths to values")
    vary = dict(vary or {})
    if "load" in vary:
        if load is not None:
            raise ValueError(f"load is {load!r} and vary has a load too; expected one of them")
        loads = _listed("load", vary.pop("load"))
    for name in loads:
        if name is not None:
            known_name(name, vehicle.loads, "load", "a load of this vehicle")
    known = _STANCE | _TURNING | (_RUN if events else {})
    measure = tuple(known) if measure is None else _listed("measure", measure)
    for name in measure:
        what = "one of" if events else "(without an event) one of"
        known_name(name, known, "measure", what)
    knobs = [
        _Knob(path="setup", root="setup", values=tuple(setups)),
        _Knob(path="load", root="load", values=tuple(loads)),
        _Knob(path="event", root="event", values=tuple(events) or (None,)),
    ]
    for path, values in vary.items():
        knobs.append(_knob(vehicle, setups, events, path, _listed(path, values)))
    return _Plan(
        vehicle=vehicle, setups=setups, events=events, knobs=tuple(knobs),
        measure=tuple(measure), model=model,
    )  # fmt: skip


def _choices(given, word, kind):
    """One thing or several as a dict by label."""
    if isinstance(given, kind) or callable(given):
        return {"": given}
    if not isinstance(given, dict):
        given = {f"{word} {i}": one for i, one in enumerate(_listed(word, given), start=1)}
    for label, one in given.items():
        if not (isinstance(one, kind) or word == "event" and callable(one)):
            raise ValueError(f"{word} {label!r} is {one!r:.60}; expected a suspkit {kind.__name__}")
    if not given:
        raise ValueError(f"{word} is empty; expected at least one suspkit {kind.__name__}")
    return dict(given)


def _listed(path, values):
    try:
        values = [values] if isinstance(values, str) else list(values)
    except TypeError:
        values = [values]
    if not values:
        raise ValueError(f"vary {path!r} has no values; expected at least one")
    return [v.item() if isinstance(v, np.generic) else v for v in values]


def _knob(vehicle, setups, events, path, values):
    root, _, rest = path.partition(".")
    if not rest or root not in ("vehicle", "setup", "event"):
        known_name(root, ("vehicle", "setup", "load", "event"), f"vary {path!r}: its start",
                   "one of")  # fmt: skip
        raise ValueError(
            f"vary {path!r} names no number; expected a dotted path such as 'setup.front.turns'"
        )
    if root == "event":
        parts, hint = _event_part(path, rest, events)
    elif root == "vehicle":
        parts, hint = _walk(vehicle, rest, path)
    else:
        where, _, rest = rest.partition(".")
        known_name(where, (*AXLES, "all", *CORNERS, "front_bar", "rear_bar"), f"vary {path!r}: the "
                   "part after setup", "one of")  # fmt: skip
        if where in ("front_bar", "rear_bar"):
            parts, hint = (where,), bool
            if rest:
                raise ValueError(f"vary {path!r}: setup.{where} has no parts; expected it alone")
        else:
            inside, hint = _walk(_all_clicks(vehicle, setups, where), rest, path)
            parts = (where, *inside)
    unit = _unit(hint)
    values = tuple(_value(path, value, hint, unit) for value in values)
    if root == "setup":
        _check_setup(vehicle, path, parts, values)
    kind = getattr(unit, "kind", unit)
    if kind is None and all(isinstance(v, Real) for v in values):
        kind = "number"
    return _Knob(path=path, root=root, parts=parts, kind=kind, values=values)


def _all_clicks(vehicle, setups, where):
    """The corner to vary, with the adjusters it leaves mid-range spelt out."""
    corner = corners_of(where)[0]
    chosen = getattr(next(iter(setups.values())), corner)
    shock = vehicle.axle_of(corner).shock
    return replace(chosen, clicks=shock.clicks_set(chosen.clicks))


def _check_setup(vehicle, path, parts, values):
    for corner in corners_of(parts[0]) if len(parts) > 1 else ():
        for value in values:
            if parts[1] == "stack":
                known_name(value, vehicle.stacks, f"vary {path!r}", "a stack")
            if parts[1] == "clicks":
                try:
                    vehicle.axle_of(corner).shock.clicks_out({parts[2]: value})
                except ValueError as error:
                    raise ValueError(f"vary {path!r}: {error}") from None


def _event_part(path, name, events):
    """The part of an event a path names, and its kind; every event must have it."""
    if not events:
        raise ValueError(f"vary {path!r} is without an event; expected event= to drive through")
    for one in events.values():
        if isinstance(one, Event):
            names = [f.name for f in fields(Event) if f.name not in ("name", "road")]
        else:
            names = list(inspect.signature(one).parameters)
        known_name(name, names, f"vary {path!r}: the part after event", "one of")
    return (name,), _EVENT_KINDS.get(name, object)


def _walk(thing, rest, path):
    """Parts of a dotted path below a thing, and the type hint of what stands at its end."""
    parts, hint = [], type(thing)
    while rest or not parts:
        so_far = path[: len(path) - len(rest)].rstrip(".")
        names = _names(thing, hint)
        if not names:
            why = "is not there" if thing is None else "has no parts"
            raise ValueError(f"vary {path!r}: {so_far} {why}; expected another path")
        # The name of a spring may hold a dot: the longest one that fits is meant.
        fits = [n for n in names if rest == n or rest.startswith(f"{n}.")]
        part = max(fits, key=len, default=rest.partition(".")[0])
        known_name(part, names, f"vary {path!r}: the part after {so_far}", "one of")
        thing, hint = _child(thing, part), names[part]
        parts.append(part)
        rest = rest[len(part) + 1 :]
    below = list(_names(thing, hint))
    if below:
        listed = f"{', '.join(below[:MOST_LISTED])}{' ...' if len(below) > MOST_LISTED else ''}"
        raise ValueError(f"vary {path!r} has parts; expected one of them at its end: {listed}")
    return tuple(parts), hint


def _names(thing, hint):
    """What can follow in a path, each with its type hint."""
    if is_dataclass(thing):
        hints = _hints(type(thing))
        return {f.name: hints[f.name] for f in fields(thing) if f.name not in _HIDDEN}
    inner = [typing.get_args(h) for h in _members(hint) if typing.get_origin(h) is type(thing)]
    if isinstance(thing, dict) and inner:
        return dict.fromkeys((k for k in thing if isinstance(k, str)), inner[0][1])
    if isinstance(thing, tuple) and inner:
        each = itertools.repeat(inner[0][0]) if inner[0][-1] is Ellipsis else inner[0]
        return {str(i): one for i, (_, one) in enumerate(zip(thing, each, strict=False))}
    return {}


@functools.cache
def _hints(kind):
    return typing.get_type_hints(kind, include_extras=True)


def _members(hint):
    union = typing.get_origin(hint) in (typing.Union, types.UnionType)
    return typing.get_args(hint) if union else (hint,)


def _child(thing, part):
    if is_dataclass(thing):
        return getattr(thing, part)
    return thing[part] if isinstance(thing, dict) else thing[int(part)]


def _unit(hint):
    """The `Unit` or the kind of a quantity in a type hint; None if it is not a quantity."""
    if isinstance(hint, str):
        return hint
    marks = (m for h in _members(hint) for m in getattr(h, "__metadata__", ()))
    return next((m for m in marks if isinstance(m, Unit)), None)


def _value(path, value, hint, unit):
    """A value in SI, checked; a number that a vehicle file could not hold is refused."""
    try:
        if unit is None:
            wanted = next((t for t in (bool, str) if t in _members(hint)), None)
            if wanted is not None and not isinstance(value, wanted):
                what = {bool: "true or false", str: "a name"}[wanted]
                raise ValueError(f"{value!r} is not {what}; expected {what}")
            if isinstance(value, (bool, str)) or hint is object:
                return value
        elif isinstance(value, str):
            return parse(value, unit)
        if isinstance(value, bool) or not isinstance(value, Real) or not np.isfinite(value):
            raise ValueError(f"{value!r} is not a finite number; expected one, or text with a unit")
        if isinstance(unit, Unit):
            parse(f"{float(value)!r} {unit.si}".strip(), unit)
        whole = isinstance(value, int) and unit == "count"
        return value if whole else float(value)
    except ValueError as error:
        raise ValueError(f"vary {path!r}: {error}") from None


def _combinations(knobs, paired):
    """Which value of each knob stands in each row: an int array, one column a knob."""
    sizes = [len(k.values) for k in knobs]
    always, own = sizes[:3], sizes[3:]
    if paired and own:
        if len(set(own)) > 1:
            each = ", ".join(f"{len(k.values)} of {k.path}" for k in knobs[3:])
            raise ValueError(f"vary has {each}; expected as many of each when paired")
        at = np.indices([*always, own[0]]).reshape(4, -1).T
        return at[:, [0, 1, 2] + [3] * len(own)]
    return np.indices(sizes).reshape(len(sizes), -1).T


# --- one piece of work ---------------------------------------------------------------------------


def _chunks(plan, at, left):
    """Rows not yet done in pieces, those of one vehicle together."""
    fixed = [i for i, knob in enumerate(plan.knobs) if not knob.batch]
    groups, group = np.unique(at[left][:, fixed], axis=0, return_inverse=True)
    order = left[np.argsort(group.reshape(-1), kind="stable")]
    size = RUNS_A_CHUNK
    if not plan.events:
        size = max(1, min(ROWS_A_CHUNK, GROUPS_A_CHUNK * len(left) // max(1, len(groups))))
    return [order[i : i + size] for i in range(0, len(left), size)]


def _work(plan, at):
    """Numbers and problems of some rows: what is sent to a worker."""
    numbers = np.full((len(at), len(plan.measure)), np.nan)
    problems = np.full(len(at), "", dtype=object)
    fixed = [i for i, knob in enumerate(plan.knobs) if not knob.batch]
    _, group = np.unique(at[:, fixed], axis=0, return_inverse=True)
    group = group.reshape(-1)
    for one in range(group.max(initial=-1) + 1):
        rows = np.flatnonzero(group == one)
        try:
            vehicle, setup = _built(plan, at[rows[0]])
        except ValueError as error:
            problems[rows] = str(error)
            continue
        _settle_rows(plan, vehicle, setup, at, rows, numbers, problems)
        if plan.events:
            _drive_rows(plan, vehicle, setup, at, rows, numbers, problems)
    return numbers, problems


def _built(plan, row):
    """Vehicle and set-up of a row, but for what a batch varies."""
    tree, setup = {}, plan.setups[plan.knobs[0].values[row[0]]]
    for knob, i in zip(plan.knobs, row, strict=True):
        if knob.root == "vehicle":
            branch = tree
            for part in knob.parts[:-1]:
                branch = branch.setdefault(part, {})
            branch[knob.parts[-1]] = knob.values[i]
        elif knob.root == "setup" and knob.parts and not knob.batch:
            setup = _adjusted(setup, knob.parts, knob.values[i])
    # All at once: one change alone may be impossible, say a spring's free without its solid length.
    return _changed(plan.vehicle, tree), setup


def _changed(thing, tree):
    """A copy of a thing with the leaves of a tree of changes in it."""
    if not isinstance(tree, dict):
        return tree
    if not tree:
        return thing
    if isinstance(thing, dict):
        return thing | {part: _changed(thing.get(part), below) for part, below in tree.items()}
    new = {part: _changed(_child(thing, part), below) for part, below in tree.items()}
    if isinstance(thing, StackPlan) and "springs" in new and "rings_below" not in new:
        return thing.with_springs(new["springs"])
    if is_dataclass(thing):
        return replace(thing, **new)
    new = [new.get(str(i), old) for i, old in enumerate(thing)]
    # The gaps of one corner are a batch together.
    return tuple(np.broadcast_arrays(*new) if any(map(np.ndim, new)) else new)


def _adjusted(setup, parts, value):
    """A set-up with one thing changed; the value may be an array."""
    where, *below = parts
    if not below:
        return replace(setup, **{where: value})
    for corner in corners_of(where):
        old, tree = getattr(setup, corner), value
        for part in reversed(below[1:]):
            tree = {part: tree}
        setup = setup.change(corner, **{below[0]: _changed(getattr(old, below[0]), tree)})
    return setup


def _batch(plan, setup, at):
    """The set-up of some rows with arrays for what a batch varies; of one row with floats."""
    for k, knob in enumerate(plan.knobs):
        if knob.batch and knob.root == "setup":
            value = np.array(knob.values)[at[..., k]]
            setup = _adjusted(setup, knob.parts, value if value.ndim else float(value))
    return setup


def _settle_rows(plan, vehicle, setup, at, rows, numbers, problems):
    """Settle rows as one batch; where that cannot be, by halves, down to the row at fault."""
    try:
        stance, found = _stances(plan, vehicle, _batch(plan, setup, at[rows]), at[rows])
    except (ValueError, NotSettledError) as error:
        if len(rows) == 1:
            problems[rows] = str(error)
            return
        for half in np.array_split(rows, 2):
            _settle_rows(plan, vehicle, setup, at, half, numbers, problems)
        return
    corners = stance.corners
    broken = sum(c.solid for c in corners.values()) > np.zeros(rows.shape)
    for i in np.flatnonzero(broken | stance.tipped | _off_thread(corners)):
        problems[rows[i]] = _problem(vehicle, _batch(plan, setup, at[rows[i]]), stance.tipped[i])
    for name, values in found.items():
        numbers[rows, plan.measure.index(name)] = np.where(broken, np.nan, values)


def _stances(plan, vehicle, setup, at):
    corners = assemble(vehicle, setup, refuse_solid=False)
    loads = vehicle.masses(plan.knobs[1].values)
    masses = Masses(**{f.name: getattr(loads, f.name)[at[:, 1]] for f in fields(Masses)})
    stance = settle(vehicle, setup, masses=masses, corners=corners)
    found = {name: read(stance) for name, (_, _, read) in _STANCE.items() if name in plan.measure}
    if "roll" in plan.measure:
        turning = settle(vehicle, setup, masses=masses, corners=corners, lateral=TURN)
        found["roll"] = turning.roll - stance.roll
    return stance, found


def _off_thread(corners):
    """Rows of a batch in which a collar or a ring would stand past the end of its thread."""
    off = False
    for corner in corners.values():
        thread, (least, most) = corner.shock.thread, corner.turn_limits
        off |= corner.contact_at > thread.collar_travel + THREAD_SLACK
        off |= (corner.turns < least - 1e-6) | (corner.turns > most + 1e-6)
        for i, gap in enumerate(corner.gap):
            least, most = corner.gap_limits(i)
            off |= (gap < least - THREAD_SLACK) | (gap > most + THREAD_SLACK)
    return off


def _problem(vehicle, setup, tipped):
    """What is wrong with a row, in one sentence."""
    if tipped:
        return "the vehicle tips over at rest; expected a load it can stand with"
    try:
        return thread_problems(assemble(vehicle, setup))[0]
    except BrokenSetupError as error:
        return str(error)


def _drive_rows(plan, vehicle, setup, at, rows, numbers, problems):
    known = [name for name in plan.measure if name in _RUN]
    for row in rows if known else ():
        if problems[row] and np.isnan(numbers[row]).all():
            continue
        load = plan.knobs[1].values[at[row, 1]]
        try:
            run = drive(
                vehicle, _batch(plan, setup, at[row]), event=_event(plan, at[row]), load=load,
                model=plan.model,
            )  # fmt: skip
        except (ValueError, UntrustedRunError) as error:
            problems[row] = problems[row] or str(error)
            continue
        problems[row] = " ".join(filter(None, [problems[row], *run.notes]))
        for name in known:
            read = _RUN[name][2] or functools.partial(_seat, vehicle=vehicle, load=load)
            numbers[row, plan.measure.index(name)] = read(run)


def _event(plan, row):
    """The event of a row."""
    event = plan.events[plan.knobs[2].values[row[2]]]
    changes = {
        knob.parts[0]: knob.values[i]
        for knob, i in zip(plan.knobs, row, strict=True)
        if knob.root == "event" and knob.parts
    }
    if not isinstance(event, Event):
        return event(**changes)
    if changes.get("speed") and event.speed > 0:
        changes.setdefault("duration", event.duration * event.speed / changes["speed"])
    return replace(event, **changes)


def _seat(run, *, vehicle, load):
    """ISO 2631-1 weighted rms where the driver sits, or at the centre of gravity [m/s^2]."""
    masses = vehicle.masses(load)
    centre = (-masses.behind_front_axle, masses.left_of_centre, masses.above_frame)
    seat = seat_acceleration(vehicle, run, centre=centre)
    return weighted_rms(seat, dt=float(run.time[1] - run.time[0]))


# --- the table -----------------------------------------------------------------------------------


def _table(plan, at, numbers, problems):
    import pandas as pd

    columns, kinds = {}, {}
    for k, knob in enumerate(plan.knobs):
        if k > 2 or len(knob.values) > 1:
            values = [knob.values[i] for i in at[:, k]]
            if knob.kind:
                kinds[knob.path] = knob.kind
            columns[knob.path] = np.array(values, dtype=float if knob.kind else object)
    for j, name in enumerate(plan.measure):
        columns[name], kinds[name] = numbers[:, j], MEASURES[name][1]
    table = pd.DataFrame({**columns, "problem": problems})
    table.attrs["units"] = {name: si_unit(kind) for name, kind in kinds.items()}
    table.attrs["kinds"] = kinds
    return table


def readable(table, *, units="us"):
    """A table of `sweep` for a reader: text, the unit in each heading.

    Parameters
    ----------
    table : pandas.DataFrame
        As `sweep` or `suspkit.studies.table.read_table` gives it.
    units : {"us", "metric"}

    Returns
    -------
    pandas.DataFrame
        ``–`` for what is not there; ``problem`` only where there is one.
    """
    shown, headings = table.astype(object), {}
    shown.attrs = {}
    if (table["problem"] == "").all():
        shown = shown.drop(columns="problem")
    for name, kind in table.attrs["kinds"].items():
        words, digits = MEASURES.get(name, (name, kind))[0], DIGITS.get(kind)
        headings[name], shown[name] = in_words(
            table[name], words=words, kind=kind, units=units, digits=digits
        )
        if name.endswith("_peak_force"):
            metal = np.isinf(table[name])
            shown[name] = np.where(metal, METAL, shown[name])
    return shown.rename(columns=headings)


# --- telling one sweep from another --------------------------------------------------------------


def _fingerprint(plan, paired):
    from suspkit import __version__

    digest = hashlib.sha256()
    for piece in _pieces((__version__, plan, paired)):
        digest.update(piece + b";")
    return digest.hexdigest()


def _pieces(thing):
    """All that makes a thing what it is, whatever its place in memory; where it was read is not."""
    yield type(thing).__name__.encode()
    if is_dataclass(thing) and not isinstance(thing, type):
        for field in fields(thing):
            if field.name != "source":
                yield field.name.encode()
                yield from _pieces(getattr(thing, field.name))
    elif isinstance(thing, dict):
        for key, value in thing.items():
            yield repr(key).encode()
            yield from _pieces(value)
    elif isinstance(thing, (tuple, list)):
        for value in thing:
            yield from _pieces(value)
    elif isinstance(thing, np.ndarray):
        yield repr((thing.dtype, thing.shape)).encode() + thing.tobytes()
    elif isinstance(thing, functools.partial):
        yield from _pieces((thing.func, thing.args, thing.keywords))
    elif hasattr(thing, "__code__"):
        # What it does, and not where it stands, for a notebook's cells have a new place each time.
        yield marshal.dumps(thing.__code__.replace(co_filename="", co_firstlineno=1), 2)
        held = [cell.cell_contents for cell in thing.__closure__ or ()]
        yield from _pieces((thing.__defaults__, thing.__kwdefaults__, held))
    else:
        yield repr(thing).encode()
