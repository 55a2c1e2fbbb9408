"""Which springs of the rack, with how many turns and what gap: a trade-off, not one winner."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace

import numpy as np

from suspkit.given import numbers, of_kind
from suspkit.parts.spring import Spring
from suspkit.parts.stack import Stack, StopRing
from suspkit.parts.wire import buckles
from suspkit.statics.compressor import squeeze_check
from suspkit.statics.roll import roll_stiffness
from suspkit.statics.settle import settle
from suspkit.studies.table import in_words
from suspkit.units import INCH, POUND_FORCE, show, tape
from suspkit.vehicle.corner import THREAD_SLACK, assemble, fit_corner
from suspkit.vehicle.entrance import known_axle, known_load, known_setup, known_vehicle
from suspkit.vehicle.setup import AXLES, CORNERS, ROWS, Setup
from suspkit.vehicle.vehicle import StackPlan, known_name

TURNS = tuple(float(n) for n in range(2, 25))
"""Collar turns tried unless others are given: whole ones, as a tech counts, from the fewest the
trade sets (common practice, no source)."""

MOST_SETTINGS = 100_000
"""Settings tried of each pair."""

PAIR = ("tender", "main")
"""Columns that name the springs of a kit."""

GAPS = tuple(n * INCH / 4 for n in range(1, 33))
"""Stop gaps tried unless others are given: by the quarter inch to 8 in [m]."""

UNITS = {
    "turns": "", "gap": "m", "height": "m", "height_change": "m", "lowest": "m", "highest": "m",
    "frequency": "Hz", "frequency_below": "Hz", "frequency_past": "Hz", "crossover": "m",
    "to_crossover": "m", "soft_travel": "m", "load_factor": "", "drop_height": "m", "energy": "J",
    "roll_with_bar": "N*m/rad", "roll_without_bar": "N*m/rad", "room": "m", "metal_room": "m",
    "safety_factor": "", "squeeze": "m", "compressor_force": "N", "to_bump_stop": "m",
}  # fmt: skip
"""Number columns of a table of kits and their units."""


@dataclass(frozen=True, kw_only=True)
class Objective:
    """Something more of which is better, and costs something else.

    Attributes
    ----------
    sign : float
        1 if more is better, -1 if less is [-].
    step : float
        Kits nearer to each other than this count as the same [unit of the column].
    kind : str
        What it measures, as `suspkit.units.show` knows it.
    best : str
        What the kit at its end is good for.
    words : str
        Its name in a sentence.
    """

    sign: float
    step: float
    kind: str
    best: str
    words: str


OBJECTIVES = {
    "frequency": Objective(
        sign=-1, step=0.02, kind="frequency", words="ride frequency",
        best="Softest ride, for slow rough ground and a patient aboard",
    ),
    "energy": Objective(
        sign=1, step=50.0, kind="energy", words="energy to full bump in the worst load",
        best="Most in hand before it bottoms, for speed and the heaviest load",
    ),
    "soft_travel": Objective(
        sign=1, step=INCH, kind="length", words="wheel travel before the ring is met",
        best="Stays on both springs longest, for bigger bumps",
    ),
    "height_change": Objective(
        sign=-1, step=INCH / 4, kind="length", words="height lost from load to load",
        best="Holds its height best, for one set-up in every load",
    ),
    "roll_without_bar": Objective(
        sign=1, step=500.0, kind="torsion", words="roll support without the bar",
        best="Stands straightest with the bar off, for slow uneven ground",
    ),
}  # fmt: skip
"""What may be traded off, by the column it is read from. The steps are about what a tape or a
driver can tell (common practice, no source)."""


@dataclass(frozen=True, kw_only=True)
class KitTargets:
    """What a kit must do on one axle. All of it is hard: a kit that misses one is no kit.

    Parameters
    ----------
    load : str
        The load in which the ride height is wanted.
    ride_height : float
        At the measuring point, mean of left and right [m].
    height_within : float
        How near it must come [m].
    heights : tuple of float
        Lowest and highest in any of the loads [m].
    turns : tuple of float
        Fewest and most from contact.
    crossover : tuple of float
        Window of wheel travel in which the stop ring is to be met [m].
    frequency_below, frequency_past : tuple of float
        Windows of ride frequency just below and just past crossover, in the target load [Hz].
    load_factor : float
        At least, in the target load.
    drop_height : float
        At least, in every load [m].
    roll_without_bar : float
        At least, of this axle, in the target load [N m/rad].
    room : float
        Left to coil bind of every spring at full bump, at least [m].
    safety_factor : float
        Against set at full bump, at least, of springs whose wire is known.
    compressor_force : float
        What the shop's compressor may hold, at most [N].
    guided : bool
        The body guides the springs, so that buckling is a caution; otherwise it is a limit.

    Raises
    ------
    ValueError
        If a number is not one, or a window is the wrong way round.

    Notes
    -----
    Defaults are common practice, no source: 1/4 in of height, 1/4 in of room, no stress past
    yield, 1000 lbf at the compressor.
    """

    load: str
    ride_height: float
    height_within: float = INCH / 4
    heights: tuple[float, float] = (0.0, np.inf)
    turns: tuple[float, float] = (0.0, np.inf)
    crossover: tuple[float, float] = (0.0, np.inf)
    frequency_below: tuple[float, float] = (0.0, np.inf)
    frequency_past: tuple[float, float] = (0.0, np.inf)
    load_factor: float = 0.0
    drop_height: float = -np.inf
    roll_without_bar: float = 0.0
    room: float = INCH / 4
    safety_factor: float = 1.0
    compressor_force: float = 1000 * POUND_FORCE
    guided: bool = True

    def __post_init__(self):
        for name in (f.name for f in fields(self) if f.name not in ("load", "guided")):
            value = getattr(self, name)
            window = isinstance(getattr(KitTargets, name, None), tuple)
            try:
                ends = np.asarray(value, dtype=float)
            except (TypeError, ValueError):
                ends = np.array(np.nan)
            if ends.shape != ((2,) if window else ()) or np.isnan(ends).any():
                wanted = "a lowest and a highest" if window else "one number"
                raise ValueError(f"targets.{name} is {value!r}; expected {wanted}")
            if window and ends[0] > ends[1]:
                raise ValueError(f"targets.{name} is {value!r}; expected the lower one first")

    @classmethod
    def of(cls, vehicle, *, axle, **changes):
        """The targets of the vehicle's file, as a start.

        Parameters
        ----------
        vehicle : Vehicle
        axle : {"front", "rear"}
        **changes
            Fields to set otherwise.

        Returns
        -------
        KitTargets

        Raises
        ------
        ValueError
            If the vehicle has no targets, or there is no such axle.

        Notes
        -----
        A place of crossover in the file becomes a window of 1 in to either side.
        """
        known_vehicle(vehicle)
        known_axle(axle)
        if vehicle.targets is None:
            raise ValueError("targets are not given and the vehicle file has none; expected some")
        wanted = getattr(vehicle.targets, axle)
        found = {"load": vehicle.targets.load, "ride_height": wanted.ride_height}
        if wanted.load_factor is not None:
            found["load_factor"] = wanted.load_factor
        if wanted.crossover_at is not None:
            found["crossover"] = (max(0.0, wanted.crossover_at - INCH), wanted.crossover_at + INCH)
        return cls(**found | changes)


def _within(value, window, slack=0.0):
    """Whether a value lies in a window; one that is not a number does not."""
    return (value >= window[0] - slack) & (value <= window[1] + slack)


BUILT = (
    "springs solid before the retainer is out", "collar past the end of its thread",
    "springs solid before full bump", "stop ring past the end of its thread",
    "springs loose at full extension",
)  # fmt: skip
"""Limits of what can be put together at all."""

ON_THE_BENCH = {
    "collar turns": lambda kit, t: _within(kit["turns"], t.turns),
    "force at the compressor": lambda kit, t: kit["compressor_force"] <= t.compressor_force,
}
AS_BUILT = {
    "room to coil bind": lambda kit, t: kit["room"] >= t.room,
    # Not the other way round: without a wire the factor is not a number and nothing is known.
    "stress at full bump": lambda kit, t: ~(kit["safety_factor"] < t.safety_factor),
    "buckling": lambda kit, t: t.guided | ~kit["buckles"],
    "place of crossover": lambda kit, t: _within(kit["crossover"], t.crossover),
}
AT_REST = {
    "on the bump stop at rest": lambda kit, t: kit["to_bump_stop"] >= 0,
    "ride height": lambda kit, t: np.abs(kit["height"] - t.ride_height) <= t.height_within,
    "height in another load": lambda kit, t: (
        (kit["lowest"] >= t.heights[0]) & (kit["highest"] <= t.heights[1])
    ),
    "frequency below crossover": lambda kit, t: _within(kit["frequency_below"], t.frequency_below),
    "frequency past crossover": lambda kit, t: _within(kit["frequency_past"], t.frequency_past),
    "load factor": lambda kit, t: kit["load_factor"] >= t.load_factor,
    "drop height": lambda kit, t: kit["drop_height"] >= t.drop_height,
    "roll support without the bar": lambda kit, t: kit["roll_without_bar"] >= t.roll_without_bar,
}
WANTED = ON_THE_BENCH | AS_BUILT | AT_REST
"""Limits of the targets, read from a table of kits, by what must be known before."""

LIMITS = (*BUILT[:2], *ON_THE_BENCH, *BUILT[2:], *AS_BUILT, *AT_REST)
"""The hard limits by name, in the order they are looked at."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Choice:
    """The kits that do, and what each end of the trade-off is good for.

    Attributes
    ----------
    front : pandas.DataFrame
        The kits to choose from: none of the others is better in one objective and as good in the
        rest. Of those that clear metal, where any does: a kit whose springs go solid before the
        stroke ends is a caution. One row a kit; SI numbers, ``attrs["units"]`` names the unit of
        each.
    kits : pandas.DataFrame
        All kits within every limit, the same columns; those that clear metal first.
    rejected : pandas.DataFrame
        By limit, in order: ``settings`` it was the first to reject, and ``pairs`` it left with
        none.
    words : tuple of str
        One sentence for each end of the front, and how many kits go solid before metal; what
        stood in the way if the front is empty.
    vehicle : Vehicle
    setup : Setup
        What the search started from.
    axle : str
    targets : KitTargets
    loads : tuple of str
    objectives : tuple of str
    pairs, settings : int
        How many were tried.
    """

    front: object
    kits: object
    rejected: object
    words: tuple[str, ...]
    vehicle: object
    setup: Setup
    axle: str
    targets: KitTargets
    loads: tuple[str, ...]
    objectives: tuple[str, ...]
    pairs: int
    settings: int

    def narrowed(self, targets, *, objectives=None):
        """The same kits held to tighter targets, at once: nothing is settled again.

        Parameters
        ----------
        targets : KitTargets
            Of the same load. What the search itself left out does not come back.
        objectives : sequence of str, optional
            Those of the search if not given.

        Returns
        -------
        Choice
            Its counts are of these kits.

        Raises
        ------
        ValueError
            If the targets are for another load.
        """
        if targets.load != self.targets.load:
            raise ValueError(
                f"targets.load is {targets.load!r}; expected {self.targets.load!r}, the load the "
                "kits were settled in"
            )
        if self.kits.empty:  # why is what the search itself says
            return replace(self, targets=targets, objectives=tuple(objectives or self.objectives))
        kits = {name: self.kits[name].to_numpy() for name in self.kits}
        broken = np.full(len(self.kits), len(LIMITS))
        for limit, good in reversed(WANTED.items()):
            broken = np.where(good(kits, targets), broken, LIMITS.index(limit))
        table = self.kits[broken == len(LIMITS)]
        # A pair is gone where its best setting, the one that got furthest, broke a limit too.
        furthest = [broken[rows].max() for rows in self.kits.groupby(list(PAIR)).indices.values()]
        return _choice(
            table, np.bincount(furthest, minlength=len(LIMITS) + 1)[:-1],
            np.bincount(broken, minlength=len(LIMITS) + 1)[:-1], pairs=len(furthest),
            settings=len(self.kits), vehicle=self.vehicle, setup=self.setup, axle=self.axle,
            targets=targets, loads=self.loads, objectives=tuple(objectives or self.objectives),
        )  # fmt: skip

    def fit(self, kit):
        """The vehicle with a kit fitted.

        Parameters
        ----------
        kit : int or pandas.Series
            Label of a row of ``kits`` (the front keeps the labels), or the row itself.

        Returns
        -------
        vehicle : Vehicle
        setup : Setup

        Raises
        ------
        ValueError
            If there is no such kit.
        """
        row = kit
        if np.ndim(kit) == 0:
            if kit not in self.kits.index:
                raise ValueError(f"kit is {kit!r}; expected a label of the table of kits")
            row = self.kits.loc[kit]
        name = f"{row['tender']} over {row['main']}"
        plan = StackPlan(springs=(row["tender"], row["main"]), rings_below=(row["tender"],))
        vehicle = replace(self.vehicle, stacks={**self.vehicle.stacks, name: plan})
        return vehicle, self.setup.change(
            self.axle, stack=name, turns=float(row["turns"]), gap=float(row["gap"])
        )

    @property
    def reasons(self):
        """How many pairs each limit left with no setting at all, one line each, most first."""
        counts = self.rejected["pairs"].sort_values(ascending=False, kind="stable")
        return tuple(
            f"{n} {'pair' if n == 1 else 'pairs'}: {why}" for why, n in counts.items() if n
        )


def spring_pairs(rack):
    """Every tender over every main: two springs, the softer one at the collar.

    Parameters
    ----------
    rack : dict of str to Spring

    Returns
    -------
    list of tuple of str
        Names of tender and main.

    Raises
    ------
    ValueError
        If the rack is empty or no spring is softer than another.

    Notes
    -----
    Names and notes do not say what a spring is for; its rate from free length does. A stack with
    its stiffer spring above the ring would go from soft to softer at the ring, so it is no kit.
    """
    if not rack:
        raise ValueError("rack is empty; expected at least a tender and a stiffer main spring")
    rate = {name: float(spring.law.slope(0.0)) for name, spring in rack.items()}
    # Springs alike but for rounding are no pair.
    pairs = [(upper, lower) for upper in rate for lower in rate
             if rate[upper] < rate[lower] * (1 - 1e-9)]  # fmt: skip
    if not pairs:
        raise ValueError(
            f"rack has {', '.join(rack)} and none is softer than another; expected a tender and a "
            "stiffer main spring"
        )
    return pairs


def choose_springs(
    vehicle, setup=None, *, axle, rack=None, loads=None, targets=None, turns=TURNS, gaps=GAPS,
    objectives=tuple(OBJECTIVES),
):  # fmt: skip
    """Search the rack for the kits of one axle that meet every target.

    Parameters
    ----------
    vehicle : Vehicle
    setup : Setup, optional
        The current one if not given; the other axle, clicks and bars stay as it says.
    axle : {"front", "rear"}
    rack : dict of str to Spring, optional
        The springs to choose from, as `suspkit.load_rack` gives them; those of the vehicle if not
        given.
    loads : sequence of str, optional
        The loads the kit must carry; all of the vehicle's if not given.
    targets : KitTargets, optional
        Those of the vehicle's file if not given.
    turns : sequence of float
        Collar turns from contact to try [turns].
    gaps : sequence of float
        Stop gaps to try, by tape at droop hang after the turns [m].
    objectives : sequence of str
        What to trade off, of `OBJECTIVES`.

    Returns
    -------
    Choice

    Raises
    ------
    ValueError
        If the axle, a load or an objective is not known, the rack holds no pair, or a target lies
        outside what the linkage can reach.

    Notes
    -----
    Every pair at every setting is put together and looked at; nothing is guessed in between. What
    the springs alone or the set-up at droop hang rule out is not settled; the rest is, in all
    loads as one batch. The front keeps what no other kit dominates (Pareto), each objective
    rounded to its step; of one pair's settings alike in all of them it keeps the one nearest the
    wanted height. Frequency and roll support are those of small movements about rest: a kit that
    stands just short of its ring is soft only as far as ``to_crossover``.
    """
    import pandas as pd

    setup = known_setup(vehicle, setup)
    known_axle(axle)
    targets = KitTargets.of(vehicle, axle=axle) if targets is None else targets
    of_kind("targets", targets, KitTargets, "a KitTargets")
    rack = vehicle.springs if rack is None else rack
    of_kind("rack", rack, dict, "a dict of names to Spring, as suspkit.load_rack gives it")
    for name, spring in rack.items():
        of_kind(f"rack[{name!r}]", spring, Spring, "a Spring")
    pairs = spring_pairs(rack)
    loads = (
        tuple(vehicle.loads)
        if loads is None
        else known_load(vehicle, loads, several=True, name="loads")
    )
    loads = (loads,) if isinstance(loads, str) else loads
    known_load(vehicle, targets.load, name="targets.load")
    loads = tuple(dict.fromkeys((targets.load, *loads)))
    for name in objectives or ("",):
        known_name(name, OBJECTIVES, "objectives", "one or more of")
    _check_reach(vehicle, axle, targets)
    turns = numbers("turns", turns, "turns", low=0.0, high=1000.0).ravel()
    gaps = numbers("gaps", gaps, "length", low=0.0, high=3.0).ravel()
    if turns.size * gaps.size > MOST_SETTINGS:
        raise ValueError(
            f"turns and gaps make {turns.size * gaps.size:,} settings; expected at most "
            f"{MOST_SETTINGS:,}"
        )
    settings = [grid.ravel() for grid in np.meshgrid(turns, gaps, indexing="ij")]
    for name, spring in rack.items():
        if vehicle.springs.get(name, spring) != spring:
            raise ValueError(
                f"rack has {name!r}, which is another spring of the vehicle; expected another name"
            )
    vehicle = replace(vehicle, springs={**vehicle.springs, **rack})
    built = assemble(vehicle, setup, refuse_solid=False)
    search = _Search(
        vehicle=vehicle, setup=setup, axle=axle, loads=loads, targets=targets,
        others={name: built[name] for name in CORNERS if name not in AXLES[axle]},
    )  # fmt: skip
    found = [search.over(pair, *settings) for pair in pairs]
    lost = np.array([[gone[limit] for limit in LIMITS] for _, gone in found])
    # The limit that took the last setting of a pair is the one that rejects the pair.
    last = [np.flatnonzero(row)[-1] for row in lost if row.sum() == settings[0].size]
    columns = (*PAIR, *UNITS, "buckles", *(f"height_{load}" for load in loads))
    kept = [kits for kits, _ in found if kits["turns"].size]
    return _choice(
        pd.DataFrame({n: np.concatenate([kits[n] for kits in kept] or [[]]) for n in columns}),
        np.bincount(last, minlength=len(LIMITS)), lost.sum(axis=0),
        vehicle=vehicle, setup=setup, axle=axle, targets=targets, loads=loads,
        objectives=tuple(objectives), pairs=len(pairs), settings=lost.shape[0] * settings[0].size,
    )  # fmt: skip


def _check_reach(vehicle, axle, targets):
    """Refuse a height or a crossover that no spring could give: the linkage does not go there."""
    part = getattr(vehicle, axle)
    full = float(part.motion.travel(part.shock.full_bump))
    level = part.tyre.radius + part.hub_below_frame + part.point.above_frame
    low, high = level - full, level - part.contact_hang
    if not low <= targets.ride_height <= high:
        raise ValueError(
            f"targets.ride_height is {show(targets.ride_height, 'length')}; expected "
            f"{show(low, 'length')} to {show(high, 'length')}, what the {axle} linkage can reach "
            "from full bump to droop"
        )
    if targets.crossover[0] > full:
        raise ValueError(
            f"targets.crossover starts at {show(targets.crossover[0], 'length')} of wheel travel; "
            f"expected less than {show(full, 'length')}, where the {axle} is at full bump"
        )


@dataclass(frozen=True, kw_only=True, eq=False)
class _Search:
    """What stays the same for all pairs: the vehicle, its other axle put together, the loads."""

    vehicle: object
    setup: Setup
    axle: str
    others: dict
    loads: tuple
    targets: KitTargets

    @property
    def part(self):
        return getattr(self.vehicle, self.axle)

    def corner(self, pair, turns, gap):
        """One pair at a setting, or at all of them at once."""
        springs = [self.vehicle.springs[name] for name in pair]
        return fit_corner(
            self.part, Stack(springs, [StopRing(below=0)]), name=AXLES[self.axle][0],
            stack_name=" over ".join(pair), gap=gap,
            preload=turns * self.part.shock.thread.collar_pitch,
        )  # fmt: skip

    def over(self, pair, turns, gaps):
        """A pair at every setting: what is within the limits, and how many each one rejected."""
        names = {name: np.full(turns.size, one) for name, one in zip(PAIR, pair, strict=True)}
        kits, lost = names | {"turns": turns, "gap": gaps}, dict.fromkeys(LIMITS, 0)
        # The first look is at the springs alone, the last one needs a stance: what fails early
        # costs little.
        looks = ((self.on_the_bench, ON_THE_BENCH), (self.as_built, AS_BUILT),
                 (self.at_rest, AT_REST))  # fmt: skip
        for look, wanted in looks:
            if not kits["turns"].size:
                break
            numbers, limits = look(pair, kits["turns"], kits["gap"])
            shape = kits["turns"].shape
            kits |= {name: np.broadcast_to(value, shape) for name, value in numbers.items()}
            limits |= {limit: good(kits, self.targets) for limit, good in wanted.items()}
            kits = _sift(kits, limits, lost)
        return kits, lost

    def on_the_bench(self, pair, turns, gaps):
        """What the springs alone say, whatever the turns and the gap."""
        corner = self.corner(pair, turns[0], gaps[0])
        job = squeeze_check(corner)
        limits = {
            "springs solid before the retainer is out": not job.binds,
            "collar past the end of its thread": _within(turns, corner.turn_limits, 1e-6),
        }
        return {"squeeze": job.squeeze, "compressor_force": job.force}, limits

    def as_built(self, pair, turns, gaps):
        """What needs no stance: room, stress, the ring's thread, where the ring is met."""
        corner = self.corner(pair, turns, gaps)
        full, springs = corner.shock.full_bump, corner.stack.springs
        squeezed = corner.squeezed(full)
        room = np.min([s.travel - x for s, x in zip(springs, squeezed, strict=True)], axis=0)
        buckled = np.zeros(room.shape, dtype=bool)
        for spring, deflection in zip(springs, squeezed, strict=True):
            if spring.wire is not None:
                buckled |= buckles(
                    deflection, free_length=spring.free_length,
                    mean_diameter=spring.wire.mean_diameter, material=spring.wire.steel,
                )  # fmt: skip
        crossover = np.where(corner.crossover <= full, corner.crossover_travel, np.nan)
        numbers = {
            "crossover": crossover, "room": room, "metal_room": corner.metal_room,
            "safety_factor": np.fmin.reduce(corner.safety_factors), "buckles": buckled,
        }  # fmt: skip
        limits = {
            "springs solid before full bump": ~corner.solid,
            "stop ring past the end of its thread": _within(
                corner.gap[0], corner.gap_limits(), THREAD_SLACK
            ),
            "springs loose at full extension": turns >= corner.least_turns - 1e-6,
        }
        return numbers, limits

    def at_rest(self, pair, turns, gaps):
        """How it stands in the loads, the target load first of them."""
        corner, part = self.corner(pair, turns, gaps), self.part
        corners = {name: self.others.get(name, corner) for name in CORNERS}
        stance = settle(self.vehicle, self.setup, load=self.loads, corners=corners)
        rows = ROWS[self.axle]

        def both(value):
            """Mean of left and right: one row a load."""
            return value[rows].mean(axis=0)

        heights = both(stance.height)
        below, past = corner.crossover_frequencies(
            both(stance.wheel_force)[0], tyre_rate=part.tyre.rate
        )
        to_go = corner.crossover_travel - both(stance.travel)[0]
        low, high, reserve = heights.min(axis=0), heights.max(axis=0), stance.bottoming
        numbers = {
            "height": heights[0], "lowest": low, "highest": high, "height_change": high - low,
            "frequency": both(stance.frequency)[0],
            "frequency_below": below, "frequency_past": past,
            "to_crossover": to_go, "soft_travel": np.maximum(to_go, 0.0),
            "to_bump_stop": part.shock.bump_touch - stance.compression[rows].max(axis=(0, 1)),
            "load_factor": both(reserve.load_factor)[0],
            "drop_height": both(reserve.drop_height).min(axis=0),
            "energy": both(reserve.energy).min(axis=0),
        }  # fmt: skip
        for name, on in (("roll_without_bar", False), ("roll_with_bar", True)):
            setup = replace(self.setup, front_bar=on, rear_bar=on)
            numbers[name] = roll_stiffness(self.vehicle, setup, stance).total[rows.start // 2][0]
        each = {f"height_{load}": at for load, at in zip(self.loads, heights, strict=True)}
        return numbers | each, {}


def _sift(kits, limits, lost):
    """Leave out what is past a limit; each kit is counted by the first one that rejects it."""
    alive = np.ones(kits["turns"].shape, dtype=bool)
    for limit, good in limits.items():
        left = alive & good
        lost[limit] += int(alive.sum() - left.sum())
        alive = left
    return {name: value[alive] for name, value in kits.items()}


_KINDS = {
    "m": "length", "Hz": "frequency", "J": "energy", "N*m/rad": "torsion", "N": "force",
    "": "ratio",
}  # fmt: skip
"""What the columns of each unit measure."""


def readable(table, *, columns=None, units="us"):
    """A table of kits for a reader: rounded, the unit in each heading.

    Parameters
    ----------
    table : pandas.DataFrame
        The front or the kits of a `Choice`.
    columns : sequence of str, optional
        Which columns; the springs and settings, and what is traded off, if not given.
    units : {"us", "metric"}

    Returns
    -------
    pandas.DataFrame
        Text, the labels of the kits kept.
    """
    columns = ("turns", "gap", "height", *OBJECTIVES) if columns is None else columns
    shown = table[list(PAIR)].copy()
    for name in columns:
        kind = _KINDS[table.attrs["units"][name]]
        kind = {"turns": "count", "gap": "tape"}.get(name, kind)
        words = name.replace("_", " ")
        heading, texts = in_words(table[name], words=words, kind=kind, units=units)
        shown[heading] = texts
    return shown


def undominated(scores):
    """Which rows no other row beats: as good in everything and better in something.

    Parameters
    ----------
    scores : array, shape (n, m)
        More is better [any unit].

    Returns
    -------
    bool array, shape (n,)
        Equal rows stand or fall together.
    """
    unique, back = np.unique(scores, axis=0, return_inverse=True)
    stands = [
        not ((unique >= one).all(axis=1) & (unique > one).any(axis=1)).any() for one in unique
    ]
    return np.array(stands, dtype=bool)[back.ravel()]


def _choice(kits, pairs_lost, settings_lost, *, targets, loads, objectives, **asked):
    import pandas as pd

    kits = kits.iloc[np.argsort(kits["metal_room"] < 0, kind="stable")]
    kits.attrs["units"] = UNITS | {f"height_{load}": "m" for load in loads}
    rejected = pd.DataFrame(
        {"pairs": pairs_lost, "settings": settings_lost}, index=pd.Index(LIMITS, name="limit")
    )
    front = _front(kits, targets, objectives)
    return Choice(
        front=front, kits=kits, rejected=rejected, targets=targets, loads=loads,
        objectives=objectives, words=tuple(_words(front, kits, rejected, objectives)), **asked,
    )  # fmt: skip


def _front(kits, targets, objectives):
    """The kits to choose from, in order of the first objective."""
    import pandas as pd

    clear = kits["metal_room"] >= 0
    kits = kits[clear] if clear.any() else kits
    aims = {name: OBJECTIVES[name] for name in objectives}
    scores = pd.DataFrame({n: np.round(aim.sign * kits[n] / aim.step) for n, aim in aims.items()})
    front = kits[undominated(scores.to_numpy(float))]
    # Of one pair's settings that differ by less than a step, the one nearest the height is kept.
    front = front.loc[(front["height"] - targets.ride_height).abs().sort_values().index]
    alike = scores.assign(tender=kits["tender"], main=kits["main"]).loc[front.index].duplicated()
    front = front[~alike].sort_values(list(objectives[:1]), kind="stable")
    front.attrs.update(kits.attrs)
    return front


def _words(front, kits, rejected, objectives):
    if not len(front):
        worst = rejected["pairs"].idxmax()
        yield (
            f"No kit meets every target. What left most pairs with nothing, "
            f"{rejected['pairs'].max()} of {rejected['pairs'].sum()}: {worst}."
        )
        return
    ends = {}
    for name in dict.fromkeys(objectives):
        aim = OBJECTIVES[name]
        if np.ptp(front[name]) < aim.step:
            continue  # all of them are as good in this
        ends.setdefault((aim.sign * front[name]).idxmax(), []).append(aim.best)
    for label, bests in ends.items():
        kit = front.loc[label]
        gives = [f"{OBJECTIVES[n].words} {show(kit[n], OBJECTIVES[n].kind)}" for n in objectives]
        yield (
            f"{'; '.join(bests)}: {kit['tender']} over {kit['main']}, {kit['turns']:g} turns from "
            f"contact, gap {tape(kit['gap'])} ({', '.join(gives)})."
        )
    solid = int((kits["metal_room"] < 0).sum())
    if solid == len(kits):
        least = show(-kits["metal_room"].max(), "length")
        yield (
            f"No kit clears metal: the springs of each go solid before the stroke ends, {least} "
            "before at the least. Look for springs with more travel, or a stop that takes more."
        )
    elif solid:
        yield (
            f"{solid} of {len(kits)} kits go solid before metal, their springs before the stroke "
            "ends. They are left off the line and come last in the table."
        )
