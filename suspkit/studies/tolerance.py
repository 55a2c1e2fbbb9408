"""How sure a number is: many vehicles, of springs, readings and loads that are a little off.

What speaks to a reader takes ``units``, "us" or "metric", and gives text.
"""

from __future__ import annotations

import os
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field, fields, replace
from functools import cached_property

import numpy as np

from suspkit.given import number, numbers, of_kind, refuse, whole
from suspkit.parts.spring import VariedSpring
from suspkit.parts.stack import Stack
from suspkit.statics.settle import load_factor, rake_in_words, settle, tips_over
from suspkit.units import GRAVITY, INCH, POUND, show, tape
from suspkit.vehicle.corner import assemble, fit_corner
from suspkit.vehicle.entrance import known_corner, known_load, known_setup
from suspkit.vehicle.setup import AXLES, CORNERS, ROWS
from suspkit.vehicle.vehicle import FRICTION_ASSUMED, FRICTION_SPREAD, Targets, known_name

HABITS = {
    "count turns": "counting turns from contact",
    "copy collar": "copying the collar's place on the thread",
}
"""Ways to set the preload, in words."""

SOURCES = {
    "free length": ("free_length",),
    "rate": ("rate",),
    "tape": ("tape",),
    "collar": ("collar",),
    "load": ("mass",),
    "centre of gravity": ("along", "across"),
    "friction": ("friction",),
}
"""What is never quite right, and the fields of `Tolerances` that say how far off."""

MOST_VEHICLES = 2_000_000
"""Drawn at most: more only cost memory."""

_SHARES = ("rate", "collar", "friction")
"""Fields of `Tolerances` that are pure numbers."""

BLOCK = 4096
"""Vehicles drawn and settled together: few enough that their arrays stay in the cache. Draws belong
to a block, so they do not depend on the workers, and fewer vehicles are the first of more."""


@dataclass(frozen=True, kw_only=True)
class Tolerances:
    """How far off each thing may be. *Within*: uniform between minus and plus. *sd*: normal.

    Every default is common practice, no source.

    Parameters
    ----------
    free_length : float
        Of each spring, within [m].
    rate : float
        Of each spring, as a share of it, within [-].
    tape : float
        Each gap as set and each height as read, within [m].
    collar : float
        Where each collar ends up against where it was meant to, within [turns].
    mass : float
        Sprung mass, sd [kg].
    along, across : float
        Its centre of gravity, forward and to the side, sd [m]. At rest on flat ground its height
        hardly enters, so it is left out.
    friction : float
        How much of its friction band each shock may come to rest in after rolling, within: all of
        it is 1 [-]. Where the file states no friction, it is as far off as
        `suspkit.vehicle.vehicle.FRICTION_SPREAD` says.

    Raises
    ------
    ValueError
        If one is not a number, or below zero.
    """

    free_length: float = INCH / 8
    rate: float = 0.04
    tape: float = INCH / 16
    collar: float = 1 / 8
    mass: float = 20 * POUND
    along: float = INCH / 2
    across: float = INCH / 4
    friction: float = 1.0

    def __post_init__(self):
        for name in vars(self):
            kind = "mass" if name == "mass" else "number" if name in _SHARES else "length"
            value = number(f"tolerances.{name}", getattr(self, name), kind, low=0.0)
            object.__setattr__(self, name, value)

    def only(self, *sources):
        """The same with everything but the named `SOURCES` exact."""
        for source in sources:
            known_name(source, SOURCES, "source", "one of")
        kept = {name for source in sources for name in SOURCES[source]}
        return replace(self, **{f.name: 0.0 for f in fields(self) if f.name not in kept})

    def words(self, units="us"):
        """What is assumed, in one sentence."""
        length, read, along, across = (
            _fraction(x, units) for x in (self.free_length, self.tape, self.along, self.across)
        )
        return (
            f"Assumed: each spring within ±{length} of its free length and ±{100 * self.rate:.3g}% "
            f"of its rate, each tape reading within ±{read}, each collar within "
            f"±{self.collar:.3g} turn; the load is off by {show(self.mass, 'mass', units)} and its "
            f"centre by {along} along and {across} across (standard deviations); each shock rests "
            f"anywhere within {self.friction:.0%} of its friction band."
        )


_KINDS = {
    "ride height": ("length", {"us": 2, "metric": 1}),
    "rake": ("length", {"us": 2, "metric": 1}),
    "left less right": ("length", {"us": 3, "metric": 2}),
    "left less right by tape": ("length", {"us": 3, "metric": 2}),
    "left less right on scales": ("mass", {"us": 1, "metric": 1}),
    "crossover": ("length", {"us": 2, "metric": 1}),
    "load factor": ("ratio", {"us": 3, "metric": 3}),
    "stop gap": ("length", {"us": 3, "metric": 2}),
    "collar": ("length", {"us": 3, "metric": 2}),
}
"""Kind of unit of each quantity of a `Spread`, and decimals."""


def _say(value, quantity, units):
    kind, digits = _KINDS[quantity]
    return show(value, kind, units, digits[units])


_WHERE = tuple(name.replace("_", " ") for name in CORNERS)


@dataclass(frozen=True, kw_only=True, eq=False)
class Spread:
    """Many vehicles set up alike, as they came out. Corner arrays are in the order of `CORNERS`.

    Attributes
    ----------
    habit : str
        Of `HABITS`.
    tolerances : Tolerances
    load : str or None
    side_to_side : float
        Of the vehicle; the difference its left and right may have [m].
    height : array, shape (4, N)
        Ride height, as it is [m]; nan where a vehicle has no upright balance.
    reading : array, shape (4, N)
        As the tape reads it [m].
    tyre_load : array, shape (4, N)
        Of the ground on each tyre [N].
    crossover : array, shape (4, N)
        Wheel travel at which the last stop ring is met [m]; nan where none is.
    load_factor : array, shape (4, N)
        Load of springs and gas at full bump over the standing one; nan where all springs are
        solid before, and for a wheel in the air.
    gap : array, shape (4, N)
        Upper stop gap at droop hang as it is [m]; nan without a ring.
    collar : array, shape (4, N)
        Collar's place, down from fully run up [m].
    loose : array of bool, shape (4, N)
        Springs loose at droop hang: the collar stands short of contact.
    solid : array of bool, shape (4, N)
        All springs solid before full bump.
    """

    habit: str
    tolerances: Tolerances
    load: str | None
    side_to_side: float
    height: np.ndarray
    reading: np.ndarray
    tyre_load: np.ndarray
    crossover: np.ndarray
    load_factor: np.ndarray
    gap: np.ndarray
    collar: np.ndarray
    loose: np.ndarray
    solid: np.ndarray

    @property
    def count(self):
        """How many vehicles."""
        return self.height.shape[1]

    @cached_property
    def samples(self):
        """Every number of every vehicle.

        Returns
        -------
        dict of (str, str) to array, shape (N,)
            By quantity and place, SI.
        """
        axle = {name: self.height[rows].mean(axis=0) for name, rows in ROWS.items()}
        found = {("ride height", where): self.height[i] for i, where in enumerate(_WHERE)}
        found |= {("ride height", name): mean for name, mean in axle.items()}
        found["rake", "vehicle"] = axle["front"] - axle["rear"]
        sides = {"": self.height, " by tape": self.reading, " on scales": self.tyre_load / GRAVITY}
        for how, values in sides.items():
            for name, rows in ROWS.items():
                left, right = values[rows]
                found[f"left less right{how}", name] = left - right
        for quantity in ("crossover", "load factor", "stop gap", "collar"):
            values = getattr(self, {"stop gap": "gap"}.get(quantity, quantity.replace(" ", "_")))
            found |= {(quantity, where): values[i] for i, where in enumerate(_WHERE)}
        return found

    @cached_property
    def numbers(self):
        """Mean, sd and quantiles of each of `samples`.

        Returns
        -------
        pandas.DataFrame
            SI; one row a quantity and place. Columns ``mean``, ``sd``, ``low``, ``middle`` and
            ``high`` (5, 50 and 95 % are below), and ``share`` of vehicles that have the number.
        """
        import pandas as pd

        rows = {}
        for key, values in self.samples.items():
            there = values[np.isfinite(values)]
            share = there.size / values.size
            if there.size < 2:
                rows[key] = (*[np.nan] * 5, share)
                continue
            rows[key] = (there.mean(), there.std(ddof=1), *np.quantile(there, (0.05, 0.5, 0.95)))
            rows[key] += (share,)
        columns = ["mean", "sd", "low", "middle", "high", "share"]
        index = pd.MultiIndex.from_tuples(rows, names=["quantity", "where"])
        return pd.DataFrame(list(rows.values()), index=index, columns=columns)

    @property
    def fails(self):
        """Share of vehicles that fail the check of left against right by tape.

        Returns
        -------
        dict of str to float
            By axle, and ``either``.
        """
        out = {
            name: np.abs(self.samples["left less right by tape", name]) > self.side_to_side
            for name in AXLES
        }
        out["either"] = out["front"] | out["rear"]
        return {name: float(failed.mean()) for name, failed in out.items()}

    def between(self, quantity, where, units="us"):
        """Where nine of ten vehicles lie, in words: "13.44 in to 13.81 in".

        Parameters
        ----------
        quantity, where : str
            As in `samples`.
        units : {"us", "metric"}

        Returns
        -------
        str
        """
        row = self.numbers.loc[(quantity, where)]
        ends = row["low"], row["high"]
        if quantity == "rake":
            low, high = (rake_in_words(end, units, kind="length") for end in ends)
            one_end = f"{low.split(' by ')[0]} by "
            return f"{low} to {high.removeprefix(one_end)}".replace(" by ", " ")
        return " to ".join(_say(end, quantity, units) for end in ends)

    def table(self, units="us"):
        """`numbers` for a reader.

        Places without the number are left out.
        """
        shown = self.numbers[self.numbers["share"] > 0].astype(object)
        for key, row in shown.iterrows():
            told = [_say(value, key[0], units) for value in row.drop("share")]
            shown.loc[key] = [*told, f"{row['share']:.1%}"]
        return shown.rename(columns={"low": "5 %", "middle": "50 %", "high": "95 %"})

    def words(self, units="us"):
        """The same in a few plain sentences."""
        out = [f"{self.count} vehicles set by {HABITS[self.habit]}; nine of ten lie:"]
        for axle in AXLES:
            middle = show(self.numbers.loc[("ride height", axle), "middle"], "tape", units)
            between = self.between("ride height", axle, units)
            out.append(f"{axle} ride height {between}, the middle one {middle};")
        out.append(f"{self.between('rake', 'vehicle', units)};")
        for axle in AXLES:
            out.append(f"{axle} left less right {self.between('left less right', axle, units)};")
        out[-1] = out[-1].rstrip(";") + "."
        fails, limit = self.fails, _fraction(self.side_to_side, units)
        out.append(
            f"By tape {fails['front']:.0%} of the fronts and {fails['rear']:.0%} of the rears "
            f"would fail a check of left against right within {limit}."
        )
        odd = {
            "the springs of a corner hang loose": self.loose,
            "all springs of a corner are solid before full bump": self.solid,
            "there is no upright balance": np.isnan(self.height),
        }
        for what, where in odd.items():
            if where.any():
                out.append(f"In {where.any(axis=0).sum()} of {self.count} {what}.")
        return " ".join([*out, self.tolerances.words(units)])


def _fraction(metres, units):
    """A small length: as a fraction where it is one of a tape's."""
    parts = 64 * metres / INCH
    if units == "us" and abs(parts - round(parts)) < 1e-6:
        return tape(metres, 64)
    return show(metres, "length", units, 3 if units == "us" else 1)


@dataclass(frozen=True, kw_only=True)
class _Job:
    """What every block of vehicles has in common."""

    vehicle: object
    setup: object
    masses: object
    habit: str
    tolerances: Tolerances
    seed: int
    miscount: dict = field(default_factory=dict)

    def block(self, number, size):
        """Draw and settle the first ``size`` vehicles of a block: arrays by field of `Spread`."""
        vehicle, setup, off = self.vehicle, self.setup, self.tolerances

        def draw(source, *shape, normal=False):
            # A stream for each source: one more spring in a stack moves no other draw.
            place = (number, list(Tolerances.__dataclass_fields__).index(source))
            rng = np.random.default_rng(np.random.SeedSequence(self.seed, spawn_key=place))
            shape = (*shape, BLOCK)
            drawn = rng.standard_normal(shape) if normal else rng.uniform(-1.0, 1.0, shape)
            return getattr(off, source) * drawn[..., :size]

        most = max(len(vehicle.stack(chosen.stack).springs) for chosen in setup.corners)
        longer, stiffer = draw("free_length", most, 4), 1.0 + draw("rate", most, 4)
        turned, read = draw("collar", 4), draw("tape", 1 + most, 4)
        corners = {
            name: self._corner(name, longer[:, i], stiffer[:, i], turned[i], read[1:, i])
            for i, name in enumerate(CORNERS)
        }
        normal = {name: draw(name, normal=True) for name in ("mass", "along", "across")}
        masses = replace(
            self.masses,
            mass=self.masses.mass + normal["mass"],
            behind_front_axle=self.masses.behind_front_axle + normal["along"],
            left_of_centre=self.masses.left_of_centre + normal["across"],
        )
        *held, size = draw("friction", 5)
        size = 1.0 + FRICTION_SPREAD / FRICTION_ASSUMED * size
        friction = {
            name: at * (size if vehicle.axle_of(name).shock.friction is None else 1.0)
            for name, at in zip(CORNERS, held, strict=True)
        }
        stance = settle(vehicle, setup, corners=corners, masses=masses, friction=friction)
        each = list(corners.values())
        factor = load_factor(stance)
        return {
            "height": stance.height,
            "reading": stance.height + read[0],
            "tyre_load": stance.tyre_load,
            "crossover": [c.crossover_travel for c in each],
            "load_factor": np.where(np.isfinite(factor), factor, np.nan),
            "gap": [c.gap[0] if c.gap else np.nan for c in each],
            "collar": [c.collar_at for c in each],
            "loose": [c.slack > 0 for c in each],
            "solid": [c.solid for c in each],
        }

    def _corner(self, name, longer, stiffer, turned, read):
        """One corner of all vehicles, its springs as made, its collar and gap as set."""
        axle, chosen = self.vehicle.axle_of(name), getattr(self.setup, name)
        stack = self.vehicle.stack(chosen.stack)
        made = [
            VariedSpring(nominal=spring, stiffer=stiffer[j], longer=longer[j])
            for j, spring in enumerate(stack.springs)
        ]
        turns = chosen.turns + self.miscount.get(name, 0.0) + turned
        preload = turns * axle.shock.thread.collar_pitch
        gap, ring = (_each(value) for value in (chosen.gap, chosen.ring))
        if gap is not None:
            gap = tuple(np.maximum(0.0, g + read[j]) for j, g in enumerate(gap))
        if self.habit == "copy collar":
            # Same place on the thread, so a longer stack is squeezed by what it is longer.
            preload = preload + longer[: len(made)].sum(axis=0)
            if ring is not None:
                below = [longer[r.below + 1 : len(made)].sum(axis=0) for r in stack.rings]
                ring = tuple(r - more for r, more in zip(ring, below, strict=True))
        return fit_corner(
            axle, Stack(made, stack.rings), name=name, stack_name=chosen.stack, preload=preload,
            gap=gap, ring=ring,
        )  # fmt: skip

    def run(self, count):
        """All blocks, on every processor: arrays (4, count) by field of `Spread`."""
        arrays = [f.name for f in fields(Spread) if f.type == "np.ndarray"]
        out = {n: np.empty((4, count), bool if n in ("loose", "solid") else float) for n in arrays}

        def fill(number):
            start = number * BLOCK
            size = min(BLOCK, count - start)
            for name, values in self.block(number, size).items():
                for i in range(4):
                    out[name][i, start : start + size] = values[i]

        blocks = range(-(-count // BLOCK))
        if len(blocks) == 1:
            fill(0)
        else:
            with ThreadPoolExecutor(os.cpu_count()) as pool:
                list(pool.map(fill, blocks))
        return out


def _each(value):
    return value if value is None or isinstance(value, tuple) else (value,)


def spread(
    vehicle, setup=None, *, load=None, habit="count turns", count=100_000, seed=0,
    tolerances=None, miscount=None,
):  # fmt: skip
    """How far vehicles set up alike come out apart, by building many (Monte Carlo).

    Parameters
    ----------
    vehicle : Vehicle
    setup : Setup, optional
        One set-up; the current one if not given.
    load : str, optional
        Named load; nothing aboard if None.
    habit : {"count turns", "copy collar"}
        Whether the collar's turns are counted from where it touches each corner's own springs, or
        the collar is put where it would stand on the thread with springs of nominal length. A ring
        that the set-up leaves in place is copied likewise.
    count : int
        Vehicles.
    seed : int
        The same seed gives the same springs, readings and loads whatever the habit, the
        tolerances or the number of processors; fewer vehicles are the first of more.
    tolerances : Tolerances, optional
        Its defaults if not given.
    miscount : dict of str to float, optional
        Turns more than counted, by corner [turns].

    Returns
    -------
    Spread

    Raises
    ------
    ValueError
        If a field is not usable, or a tolerance leaves a spring without stroke or rate.

    Notes
    -----
    Everything is drawn on its own: springs of one batch are more alike than that, so their share of
    left less right is rather overstated. Monte Carlo as in JCGM 101:2008 (from memory).
    """
    setup, load = known_setup(vehicle, setup), known_load(vehicle, load)
    tolerances = _known_tolerances(tolerances)
    miscount = {} if miscount is None else miscount
    known_name(habit, HABITS, "habit", "a way to set the preload")
    of_kind("miscount", miscount, dict, "a dict of corners to turns")
    for corner, turns in miscount.items():
        known_corner(corner, name="miscount")
        number(f"miscount.{corner}", turns, low=-1000.0, high=1000.0)
    whole("count", count, low=2, high=MOST_VEHICLES)
    whole("seed", seed)
    if any(np.ndim(corner.hang) for corner in assemble(vehicle, setup).values()):
        raise ValueError("setup is a batch of set-ups; expected one")
    _refuse_too_far(vehicle, setup, tolerances)
    job = _Job(
        vehicle=vehicle, setup=setup, masses=vehicle.masses(load), habit=habit,
        tolerances=tolerances, seed=int(seed), miscount=miscount,
    )  # fmt: skip
    made = job.run(int(count))
    if np.isnan(made["height"]).all():
        raise ValueError(tips_over(load))
    return Spread(
        habit=habit, tolerances=tolerances, load=load, 
        side_to_side=(vehicle.targets or Targets).side_to_side, **made,
    )  # fmt: skip


def _known_tolerances(tolerances):
    """Those given, or the usual ones."""
    if tolerances is None:
        return Tolerances()
    return of_kind("tolerances", tolerances, Tolerances, "a suspkit Tolerances")


def _refuse_too_far(vehicle, setup, tolerances):
    """Tolerances with which some spring could not exist, told by name."""
    if tolerances.rate >= 1:
        raise ValueError(f"tolerances.rate is {tolerances.rate:g}; expected less than 1")
    for chosen in setup.corners:
        for spring in vehicle.stack(chosen.stack).springs:
            stroke = np.diff(spring.compliance.y)[-1]
            if tolerances.free_length >= stroke:
                raise ValueError(
                    f"tolerances.free_length is {show(tolerances.free_length, 'length')}; expected "
                    f"less than {show(stroke, 'length')}, beyond which spring {spring.name!r} "
                    "could be without stroke"
                )


@dataclass(frozen=True, kw_only=True, eq=False)
class Habits:
    """The same vehicles set up by both habits.

    Attributes
    ----------
    counted, copied : Spread
    """

    counted: Spread
    copied: Spread

    @property
    def both(self):
        """The two, counted first."""
        return self.counted, self.copied

    @property
    def ratio(self):
        """Scatter with a copied collar over that with turns counted.

        Returns
        -------
        pandas.Series
            Of standard deviations, by quantity and place as in `Spread.numbers`.
        """
        with np.errstate(divide="ignore", invalid="ignore"):
            return self.copied.numbers["sd"] / self.counted.numbers["sd"]

    def table(self, units="us"):
        """Both habits side by side for a reader.

        Where nine of ten lie, and what fails the check of left against right.
        """
        import pandas as pd

        keys = [("ride height", axle) for axle in AXLES] + [("rake", "vehicle")]
        keys += [(q, axle) for q in _KINDS if q.startswith("left less") for axle in AXLES]
        shown = {}
        for name, one in zip(("turns counted", "collar copied"), self.both, strict=True):
            rows = {
                f"{where} {q}".removeprefix("vehicle "): one.between(q, where, units)
                for q, where in keys
            }
            limit = _fraction(one.side_to_side, units)
            rows |= {f"{axle} fails {limit} by tape": f"{one.fails[axle]:.0%}" for axle in AXLES}
            shown[name] = rows
        return pd.DataFrame(shown)

    def words(self, units="us"):
        """Which habit leaves less scatter between left and right, in one sentence."""
        counted, copied = (one.numbers.loc["left less right", "sd"] for one in self.both)
        told = "; ".join(
            f"{axle} {_say(counted[axle], 'left less right', units)} counted against "
            f"{_say(copied[axle], 'left less right', units)} copied"
            for axle in AXLES
        )
        total = np.array([np.linalg.norm(counted), np.linalg.norm(copied)])
        if np.isclose(*total, rtol=1e-3):
            return f"Both habits leave the same scatter between left and right ({told})."
        better = list(HABITS.values())[total.argmin()]
        with np.errstate(divide="ignore"):
            factor = total.max() / total.min()
        return (
            f"{better.capitalize()} leaves less scatter between left and right, by a factor of "
            f"{factor:.1f} (standard deviations: {told})."
        )


def compare_habits(vehicle, setup=None, **how):
    """Both habits of setting the preload, with the same draws.

    Parameters
    ----------
    vehicle : Vehicle
    setup : Setup, optional
    **how
        Of `spread`, but for ``habit``.

    Returns
    -------
    Habits
    """
    counted, copied = (spread(vehicle, setup, habit=habit, **how) for habit in HABITS)
    return Habits(counted=counted, copied=copied)


STUDIED = (
    ("ride height", "front"), ("ride height", "rear"), ("rake", "vehicle"),
    ("left less right", "front"), ("left less right by tape", "front"),
    ("left less right on scales", "front"), ("left less right on scales", "rear"),
)  # fmt: skip
"""Quantities of `which_matters`."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Matters:
    """What each tolerance alone would leave of the scatter, everything else exact.

    Attributes
    ----------
    sd : pandas.DataFrame
        Standard deviation [SI]: one row a source of `SOURCES`, then ``all`` of them together; one
        column each of `STUDIED`.
    """

    sd: object

    @property
    def share(self):
        """Share of the variance, as a DataFrame like ``sd``. Shares add up to one where the vehicle
        answers in straight lines; to more or less where kinks make sources act on each other."""
        return (self.sd / self.sd.loc["all"]).fillna(0.0) ** 2

    def table(self, units="us"):
        """Both for a reader, the largest source of each quantity starred."""
        shown, share = self.sd.astype(object), self.share
        for key in self.sd.columns:
            most = share[key].drop("all").idxmax()
            for source, value in self.sd[key].items():
                star = "*" if source == most and value > 0 else ""
                told = f"{_say(value, key[0], units)} {share.loc[source, key]:.0%}{star}"
                shown.loc[source, key] = told
        return shown.set_axis([f"{where} {q}" for q, where in self.sd.columns], axis=1)


def which_matters(vehicle, setup=None, *, tolerances=None, count=2 * BLOCK, **how):
    """Which tolerance makes the scatter: each alone, all else exact.

    Parameters
    ----------
    vehicle : Vehicle
    setup : Setup, optional
    tolerances : Tolerances, optional
    count : int
        Vehicles for each source.
    **how
        Of `spread`.

    Returns
    -------
    Matters
    """
    import pandas as pd

    tolerances = _known_tolerances(tolerances)
    rows = {}
    for source in (*SOURCES, "all"):
        kept = tolerances if source == "all" else tolerances.only(source)
        found = spread(vehicle, setup, tolerances=kept, count=count, **how)
        rows[source] = [found.numbers.loc[key, "sd"] for key in STUDIED]
    columns = pd.MultiIndex.from_tuples(STUDIED)
    sd = pd.DataFrame.from_dict(rows, orient="index", columns=columns)
    return Matters(sd=sd.rename_axis("source"))


MOST_MISCOUNTS = 100
"""Of one `side_check`."""

MISCOUNTS = (-4.0, -2.0, -1.0, 0.0, 1.0, 2.0, 4.0, 8.0)
"""Turns by which `side_check` lets one corner be wrong."""


@dataclass(frozen=True, kw_only=True, eq=False)
class SideCheck:
    """What a check of left against right by tape tells.

    Attributes
    ----------
    limit : float
        Difference allowed [m].
    springs_alone : dict of str to float
        Share of vehicles set up right that would fail it for their springs, by axle, with
        everything else exact.
    caught : pandas.DataFrame
        Share that fail it: one row a miscount of the axle's left corner [turns], one column an
        axle. Row 0 is vehicles set up right.
    by_tape, on_scales : dict of str to float
        What one turn too many on the left moves left less right by, on the axle [m], [kg].
    """

    limit: float
    springs_alone: dict
    caught: object
    by_tape: dict
    on_scales: dict

    @property
    def unseen(self):
        """Largest miscount studied of which fewer than half are caught.

        Returns
        -------
        dict of str to float
            By axle [turns], whichever way the miscount is harder to see.
        """
        return {
            axle: float(max(abs(n) for n, share in column.items() if share < 0.5 or n == 0))
            for axle, column in self.caught.items()
        }

    def words(self, units="us"):
        """What the check is worth, in plain sentences."""
        out = [f"The check of left against right within {_fraction(self.limit, units)} by tape."]
        most = max(abs(n) for n in self.caught.index)
        for axle in AXLES:
            unseen = self.unseen[axle]
            past = f"a miscount of {unseen:g} turns" if unseen else "no miscount looked at"
            past += " or more" if unseen == most else ""
            moves = _say(self.by_tape[axle], "left less right by tape", units)
            weighs = _say(self.on_scales[axle], "left less right on scales", units)
            out.append(
                f"{axle.capitalize()}: {self.caught.loc[0.0, axle]:.0%} of vehicles set up right "
                f"fail it, {self.springs_alone[axle]:.1%} would for their springs alone; one turn "
                f"on one side moves it by {moves} and the scales by {weighs}, so {past} is missed "
                "more often than caught."
            )
        return " ".join(out)


def side_check(vehicle, setup=None, *, tolerances=None, miscounts=MISCOUNTS, count=BLOCK, **how):
    """Judge the shop's check that left and right stand alike.

    Parameters
    ----------
    vehicle : Vehicle
    setup : Setup, optional
    tolerances : Tolerances, optional
    miscounts : sequence of float
        Of the left corner, one axle at a time [turns]; those that would end short of contact are
        left out.
    count : int
        Vehicles for each.
    **how
        Of `spread`, but for ``miscount``.

    Returns
    -------
    SideCheck
    """
    import pandas as pd

    setup, tolerances = known_setup(vehicle, setup), _known_tolerances(tolerances)
    miscounts = numbers("miscounts", miscounts, low=-1000.0, high=1000.0, empty=True).ravel()
    if miscounts.size > MOST_MISCOUNTS:
        refuse("miscounts", miscounts, f"at most {MOST_MISCOUNTS}")
    how |= {"count": count}
    springs = tolerances.only("free length", "rate")
    alone = spread(vehicle, setup, tolerances=springs, **how)
    good = spread(vehicle, setup, tolerances=tolerances, **how)
    caught = pd.DataFrame({axle: {0.0: good.fails[axle]} for axle in AXLES})
    moved = {}
    for axle in AXLES:
        corner = f"{axle}_left"
        fewest = -getattr(setup, corner).turns
        for turns in {1.0, *miscounts.tolist()} - {0.0}:
            if turns < fewest:
                continue
            off = spread(vehicle, setup, tolerances=tolerances, miscount={corner: turns}, **how)
            caught.loc[turns, axle] = off.fails[axle]
            if turns == 1.0:
                for by in ("by tape", "on scales"):
                    key = (f"left less right {by}", axle)
                    moved[by, axle] = float(np.nanmean(off.samples[key] - good.samples[key]))
    return SideCheck(
        limit=good.side_to_side,
        springs_alone={axle: alone.fails[axle] for axle in AXLES},
        caught=caught.sort_index(),
        by_tape={axle: moved["by tape", axle] for axle in AXLES},
        on_scales={axle: moved["on scales", axle] for axle in AXLES},
    )
