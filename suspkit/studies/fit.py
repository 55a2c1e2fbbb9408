"""What a vehicle really is, learned from what was read on it."""

from __future__ import annotations

from dataclasses import dataclass, field, fields, replace
from functools import cached_property
from numbers import Real

import numpy as np

from suspkit.given import number, of_kind, refuse, short, whole
from suspkit.parts.spring import VariedSpring
from suspkit.statics.settle import settle
from suspkit.studies.slips import (
    KINDS,
    ORDER,
    Flag,
    Slip,
    chances,
    log_odds,
    looked_for,
    name_slip,
    undone,
)
from suspkit.studies.tolerance import Tolerances
from suspkit.units import GRAVITY, INCH, POUND, show
from suspkit.vehicle.corner import assemble
from suspkit.vehicle.entrance import USUAL, known_load, known_setup, known_vehicle
from suspkit.vehicle.ride import UNREAD, Ride
from suspkit.vehicle.setup import AXLES, CORNERS, Setup
from suspkit.vehicle.vehicle import Masses, Vehicle

PLAUSIBLE = {"heights": (0.1, 0.9), "scales": (20, 800), "gaps": (0, 0.3), "collars": (-0.1, 0.4)}
"""Beyond these a reading is in the wrong unit [m, kg]; our own judgement, no source."""

HELD = {"rolled": 0.0, "lowered": 1.0, "lifted": -1.0}
"""Which end of the friction band each way of coming to rest leaves the vehicle at."""

TAPE_STEP = INCH / 16
"""What a tape is read to [m]."""

MOST_SLIPS = 2
"""Mistakes looked for in one log, one after the other."""

MOST_STEPS, CONVERGED = 6, 1e-3
"""Steps to the most probable vehicle, and below what change it is reached [prior deviations]."""

UNLIKELY = 1e-4
"""Below this chance of so bad a fit the log is said not to fit."""

NOT_USED = (
    "bottomed is not used: whether a corner bottoms depends on road and speed, which are not "
    "in the log."
)


@dataclass(frozen=True, kw_only=True)
class Doubts:
    """How far things are from what the file and the reading say, before anything is learned.

    Each is a plus-or-minus that 19 of 20 keep within: two standard deviations. All are common
    practice or our own judgement, no source.

    Parameters
    ----------
    tape : float
        Ride height and gap, on top of being read to 1/16 in [m].
    scale : float
        One pad [kg].
    caliper : float
        A collar's place on its thread [m].
    weight : float
        Sprung mass against that of the file: fuel, mud, what was bolted on since [kg].
    aboard : float
        Each person and piece of kit against its own entry, as a share [1].
    along, across : float
        Centre of the sprung mass, fore and aft and to the side [m].
    rate : float
        A stack's force against the nominal, as a share [1].
    free_length : float
        A corner's springs, laid end to end [m].
    contact : float
        Collar at "contact" against true contact, found by feel [m].
    height : float
        How much higher a measuring point stands than the model has it: tyres and their pressure,
        linkage table, a bent rail [m].
    friction : float
        Shock friction against that of the file, as a share [1].
    misread, miscount, swapped : float
        Chance of a slip: for each tape reading, each time a collar is counted, each ride's
        sheet [1].

    Raises
    ------
    ValueError
        If one is not above zero.
    """

    tape: float = INCH / 16
    scale: float = POUND
    caliper: float = 0.01 * INCH
    weight: float = 15 * POUND
    aboard: float = 0.1
    along: float = INCH
    across: float = INCH / 2
    rate: float = 0.03
    free_length: float = INCH / 8
    contact: float = INCH / 64
    height: float = INCH / 8
    friction: float = 0.5
    misread: float = 0.002
    miscount: float = 0.005
    swapped: float = 0.005

    def __post_init__(self):
        for each in fields(self):
            value = number(f"doubts.{each.name}", getattr(self, each.name), _OF[each.name], above=0)
            object.__setattr__(self, each.name, value)

    @classmethod
    def of(cls, tolerances):
        """What is doubted where vehicles come out as `suspkit.spread` draws them.

        Parameters
        ----------
        tolerances : Doubts, Tolerances or None
            Of a `Tolerances` what both have is taken over, each at two standard deviations: those
            of one spring, the tape and the sprung mass with its centre. The rest is usual.

        Returns
        -------
        Doubts
        """
        if tolerances is None or isinstance(tolerances, cls):
            return cls() if tolerances is None else tolerances
        given = of_kind("tolerances", tolerances, Tolerances, "suspkit Doubts or Tolerances")
        even = {name: 2 / np.sqrt(3) * getattr(given, name) for name in ("tape", "rate")}
        even["free_length"] = 2 / np.sqrt(3) * given.free_length
        normal = {"weight": given.mass, "along": given.along, "across": given.across}
        return cls(**even, **{name: 2 * sd for name, sd in normal.items()})


_OF = dict.fromkeys(
    ("tape", "caliper", "along", "across", "free_length", "contact", "height"), "length"
) | dict.fromkeys(("aboard", "rate", "friction", "misread", "miscount", "swapped"), "number")
_OF |= {"scale": "mass", "weight": "mass"}
"""Kind of quantity of each field of `Doubts`."""


@dataclass(frozen=True, kw_only=True)
class Estimate:
    """One thing about the vehicle, before and after the log.

    Parameters
    ----------
    name : str
    kind : str
        Of quantity, as in `suspkit.units.show`.
    file, mean : float
        Before and after [SI unit of the kind].
    sd_before, sd : float
        Standard deviations before and after [SI unit of the kind].
    about : tuple of str
        What it is, and of which corner, stack or item.
    """

    name: str
    kind: str
    file: float
    mean: float
    sd_before: float
    sd: float
    about: tuple[str, ...] = ()

    @property
    def low(self):
        """Lower end of the 90 % interval [SI unit of the kind]."""
        return self.mean - NINETY * self.sd

    @property
    def high(self):
        """Upper end of the 90 % interval [SI unit of the kind]."""
        return self.mean + NINETY * self.sd

    @property
    def learned(self):
        """How much narrower it became: 0 nothing learned, 1 known for certain."""
        return 1 - self.sd / self.sd_before


NINETY = 1.6448536269514722
"""Standard deviations to either side that hold 90 % of a normal distribution."""


@dataclass(frozen=True, kw_only=True)
class Reading:
    """One reading beside what the fitted vehicle would read.

    Parameters
    ----------
    ride : int
        From 0.
    kind : str
        Of `KINDS`.
    corner : str
    read, predicted : float
        [m or kg]
    residual : float
        Their difference in standard deviations [1].
    """

    ride: int
    kind: str
    corner: str
    read: float
    predicted: float
    residual: float


@dataclass(frozen=True, kw_only=True, eq=False)
class Fit:
    """What a log tells of a vehicle.

    Attributes
    ----------
    vehicle : Vehicle
        Corrected: scales, what people and kit weigh, spring rates, friction and the height of
        the measuring points. Free lengths are the mean of the two sides.
    rides : tuple of Ride
        As fitted: the slips that were named beyond doubt removed.
    estimates : dict of str to Estimate
    readings : tuple of Reading
    explanations : tuple of (Slip or None, float)
        Every single slip looked for in the log as written, and none (None), the likeliest first,
        each with its chance.
    flags : tuple of Flag
    chance : float
        Of readings that fit as badly as these or worse [1].
    not_used : tuple of str
        What was in the log and was left aside, and why.
    """

    vehicle: Vehicle
    rides: tuple[Ride, ...]
    estimates: dict[str, Estimate]
    readings: tuple[Reading, ...]
    explanations: tuple[tuple[Slip | None, float], ...]
    flags: tuple[Flag, ...]
    chance: float
    not_used: tuple[str, ...]

    def as_turned(self, setup):
        """A set-up with the turns that are really there, contact being off by what was learned.

        Parameters
        ----------
        setup : Setup

        Returns
        -------
        Setup
        """
        for corner in CORNERS:
            chosen = getattr(setup, corner)
            off = self.estimates.get(f"contact, {_fitted(corner, chosen.stack)}")
            if off is not None:
                pitch = self.vehicle.axle_of(corner).shock.thread.collar_pitch
                setup = setup.change(corner, turns=max(0.0, chosen.turns + off.mean / pitch))
        return setup


def _fitted(corner, stack):
    return f"{corner}, {stack}"


# ------------------------------------------------------------------------------ the forward model


@dataclass(frozen=True, eq=False)
class _Log:
    """A log made ready: what is unknown, what was read, and the vehicle that would read it."""

    vehicle: Vehicle
    rides: tuple[Ride, ...]
    doubts: Doubts = field(default_factory=Doubts)

    @cached_property
    def unknowns(self):
        """Of each unknown its name, kind of quantity, value in the file and prior deviation."""
        return tuple((", ".join(about), *rest) for about, *rest in self._unknowns)

    @cached_property
    def _unknowns(self):
        """The same by what is unknown, and where: a name may hold a comma of its own."""
        given, dry = self.doubts, self.vehicle.masses()
        found = [
            (("sprung mass",), "mass", dry.mass, given.weight),
            (("centre behind front axle",), "length", dry.behind_front_axle, given.along),
            (("centre left of middle",), "length", dry.left_of_centre, given.across),
            (("friction",), "percent", 1.0, given.friction),
        ]
        for item in self.items:
            found.append((("aboard", item), "percent", 1.0, given.aboard))
        pairs = {(c, getattr(r.setup, c).stack): None for c in CORNERS for r in self.rides}
        for stack in self.stacks:
            found.append((("rate", stack), "percent", 1.0, given.rate))
        found += [(("height", c), "length", 0.0, given.height) for c in CORNERS]
        for what, width in (("contact", given.contact), ("free length", given.free_length)):
            found += [((what, *pair), "length", 0.0, width) for pair in pairs]
        for corner in CORNERS:
            if any(getattr(r.setup, corner).ring is not None for r in self.rides):
                found.append((("ring", corner), "length", 0.0, given.tape))
        return tuple((about, kind, file, width / 2) for about, kind, file, width in found)

    @cached_property
    def stacks(self):
        """Names of the stacks that were fitted, in order of corners and rides."""
        fitted = (getattr(r.setup, c).stack for c in CORNERS for r in self.rides)
        return tuple(dict.fromkeys(fitted))

    @cached_property
    def items(self):
        """How often each item is aboard, ride by ride."""
        loads = [self.vehicle.loads[r.load].items if r.load else () for r in self.rides]
        names = dict.fromkeys(name for items in loads for name in items)
        return {name: np.array([items.count(name) for items in loads]) for name in names}

    @cached_property
    def sd(self):
        return np.array([sd for *_, sd in self.unknowns])

    @cached_property
    def written(self):
        """Readings, shape (rides, kinds, corners), nan where not taken."""
        rows = [[getattr(r, kind) for kind in KINDS] for r in self.rides]
        return np.array(rows, dtype=float)

    @cached_property
    def places(self):
        """Ride, kind and corner of each reading taken, as three arrays of indices."""
        return np.nonzero(np.isfinite(self.written))

    @cached_property
    def noise(self):
        """Standard deviation of each reading on its own."""
        given = self.doubts
        by_tape = np.hypot(given.tape / 2, TAPE_STEP / np.sqrt(12))
        each = np.array([by_tape, given.scale / 2, by_tape, given.caliper / 2])
        return each[self.places[1]]

    @cached_property
    def settings(self):
        """Number of the setting of each ride: it rises when the set-up changes."""
        changed = [a.setup != b.setup for a, b in zip(self.rides, self.rides[1:], strict=False)]
        return np.concatenate([[0], np.cumsum(changed)]).astype(int)

    def read(self, z, *, held=None, gap_off=0.0, turned=0.0):
        """What would be read, shape (rides, kinds, corners, batch).

        ``z`` are the unknowns in prior deviations, shape (unknowns, batch); ``held`` friction in
        bands, ``gap_off`` what a gap was set wrong by and ``turned`` turns more than written,
        each to be spread over (corners, rides, batch).
        """
        count, rides = z.shape[1], len(self.rides)
        p = dict(zip((name for name, *_ in self.unknowns), z * self.sd[:, None], strict=True))
        rest = np.array([HELD[r.at_rest] for r in self.rides])[:, None]
        shape = (4, rides, count)
        held = np.broadcast_to(rest if held is None else held, shape) * (1 + p["friction"])
        gap_off, turned = np.broadcast_to(gap_off, shape), np.broadcast_to(turned, shape)
        seen = np.full((rides, len(KINDS), 4, count), np.nan)
        for alike in self._groups:
            seen[alike] = self._read_alike(alike, p, held, gap_off, turned)
        return seen

    @cached_property
    def _groups(self):
        """Rides that differ by numbers alone, so that they settle in one batch."""
        groups = {}
        for i, ride in enumerate(self.rides):
            kinds = [(c.stack, c.gap is None, c.ring is None) for c in ride.setup.corners]
            key = (*kinds, ride.setup.front_bar, ride.setup.rear_bar)
            groups.setdefault(key, []).append(i)
        return list(groups.values())

    def _read_alike(self, alike, p, held, gap_off, turned):
        rides = [self.rides[i] for i in alike]
        setup, turns = rides[0].setup, {}
        springs, stacks = dict(self.vehicle.springs), dict(self.vehicle.stacks)
        for i, corner in enumerate(CORNERS):
            each = [getattr(r.setup, corner) for r in rides]
            stack, pitch = each[0].stack, self.vehicle.axle_of(corner).shock.thread.collar_pitch
            plan = self.vehicle.stacks[stack]
            own = {name: f"{stack}: {name}" for name in plan.springs}
            for name, new in own.items():
                stiffer = 1 + p[f"rate, {stack}"]
                springs[new] = VariedSpring(nominal=self.vehicle.springs[name], stiffer=stiffer)
            stacks[stack] = plan.with_springs(tuple(own[name] for name in plan.springs))
            contact = p[f"contact, {_fitted(corner, stack)}"] / pitch
            turns[corner] = _column([c.turns for c in each]) + contact + turned[i, alike]
            changes = {"turns": np.maximum(turns[corner], 0.0)}
            if each[0].gap is not None:
                off = gap_off[i, alike]
                changes["gap"] = _moved([c.gap for c in each], off, least=0.0)
            elif each[0].ring is not None:
                changes["ring"] = _moved([c.ring for c in each], p[f"ring, {corner}"])
            setup = setup.change(corner, **changes)
        vehicle = replace(
            self.vehicle, springs=springs, stacks=stacks, setups={"as read": setup},
            current="as read",
        )  # fmt: skip
        corners = assemble(vehicle, setup, refuse_solid=False)
        friction = {corner: held[i, alike] for i, corner in enumerate(CORNERS)}
        stance = settle(
            vehicle, setup, corners=corners, masses=self._masses(alike, p), friction=friction
        )
        shape = held[0, alike].shape
        seen = np.full((len(KINDS), 4) + shape, np.nan)
        seen[1] = stance.tyre_load / GRAVITY
        for i, (name, corner) in enumerate(corners.items()):
            pitch = corner.shock.thread.collar_pitch
            longer = p[f"free length, {_fitted(name, getattr(rides[0].setup, name).stack)}"]
            seen[0, i] = stance.height[i] + p[f"height, {name}"]
            seen[2, i] = corner.gap[0] if corner.gap else np.nan
            seen[3, i] = corner.contact_at - longer + turns[name] * pitch
        return np.moveaxis(seen, 2, 0)

    def _masses(self, alike, p):
        dry = self.vehicle.masses()
        parts = [
            (
                dry.mass + p["sprung mass"],
                dry.behind_front_axle + p["centre behind front axle"],
                dry.left_of_centre + p["centre left of middle"],
                dry.above_frame,
            )
        ]
        for name, count in self.items.items():
            item = self.vehicle.items[name]
            mass = _column(count[alike]) * item.mass * (1 + p[f"aboard, {name}"])
            parts.append((mass, item.behind_front_axle, item.left_of_centre, item.above_frame))
        mass = sum(part[0] for part in parts)
        centre = [sum(part[0] * part[axis] for part in parts) / mass for axis in (1, 2, 3)]
        return Masses(
            mass=mass, behind_front_axle=centre[0], left_of_centre=centre[1], above_frame=centre[2]
        )


def _column(values):
    return np.array(values, dtype=float)[:, None]


def _moved(values, off, least=-np.inf):
    """Gaps or rings of some rides with the upper one moved."""
    if not isinstance(values[0], tuple):
        return np.maximum(_column(values) + off, least)
    first, *others = zip(*values, strict=True)
    return (np.maximum(_column(first) + off, least), *(_column(other) for other in others))


# ------------------------------------------------------------------------------------ the learning


@dataclass(frozen=True, eq=False)
class _Line:
    """A log's readings as a linear function of everything unknown, near one vehicle.

    ``y = start + slope z + noise``, z standard normal before the log is read and the noise of
    covariance ``own``: reading errors, and friction and gap-setting of each ride. ``turned``
    is what one collar turn less and more changes, by corner.
    """

    start: np.ndarray
    slope: np.ndarray
    own: np.ndarray
    turned: np.ndarray

    @cached_property
    def whole(self):
        """Covariance of the readings before they are read."""
        return self.slope @ self.slope.T + self.own

    @cached_property
    def root(self):
        return np.linalg.cholesky(self.whole)

    @cached_property
    def gain(self):
        return np.linalg.solve(self.whole, self.slope).T

    @cached_property
    def covariance(self):
        """Of the unknowns once the readings are in, in prior deviations."""
        return np.eye(self.slope.shape[1]) - self.gain @ self.slope

    def white(self, readings):
        """Readings made independent and of unit size."""
        return np.linalg.solve(self.root, readings)


def _line(log, at):
    """Secants over half a deviation to either side, so that a kink nearby counts in part."""
    many = len(at)
    rolled = np.array([r.at_rest == "rolled" for r in log.rides])
    rest = np.array([HELD[r.at_rest] for r in log.rides])[:, None]
    step, wrong = 0.5, log.doubts.tape / 2
    count = 1 + 2 * (many + 8) + 8
    z = np.repeat(at[:, None], count, axis=1)
    held, gap_off, turned = np.zeros((3, 4, 1, count))
    for way in (0, 1):
        sign, first = (step, -step)[way], 1 + way * (many + 8)
        z[:, first : first + many] += sign * np.eye(many)
        held[:, 0, first + many : first + many + 4] = sign * np.eye(4)
        gap_off[:, 0, first + many + 4 : first + many + 8] = sign * wrong * np.eye(4)
        turned[:, 0, count - 8 + 4 * way : count - 4 + 4 * way] = -sign / step * np.eye(4)
    seen = log.read(z, held=rest + held, gap_off=gap_off, turned=turned)[log.places]
    up, down = seen[:, 1 : 1 + many + 8], seen[:, 1 + many + 8 : count - 8]
    slope = (up - down) / (2 * step)
    ride, setting = log.places[0], log.settings[log.places[0]]
    held = slope[:, many : many + 4] * rolled[ride][:, None] / np.sqrt(3)
    gaps = slope[:, many + 4 :]
    own = np.diag(log.noise**2)
    own += np.equal.outer(ride, ride) * (held @ held.T)
    own += np.equal.outer(setting, setting) * (gaps @ gaps.T)
    slope = slope[:, :many]
    turned = seen[:, count - 8 :] - seen[:, :1]
    return _Line(seen[:, 0] - slope @ at, slope, own, turned)


def _converge(log, readings):
    """The line at the most probable vehicle, that vehicle, and what it is learned from.

    Newton's steps with the slope for curvature (Gauss-Newton): each is exact where the readings
    are as straight as the line.
    """
    z = np.zeros(len(log.unknowns))
    for step in range(MOST_STEPS):
        line = _line(log, z)
        if not step:
            _refuse_implausible(log, line.start)
        before, z = z, line.gain @ (readings - line.start)
        if np.abs(z - before).max() < CONVERGED:
            break
    return line, z, readings - line.start


def fit(vehicle, rides, *, tolerances=None):
    """Learn from a log what a vehicle really is, and name the slips in it.

    Parameters
    ----------
    vehicle : Vehicle
        As its file tells it: what is believed before the log is read.
    rides : sequence of Ride
        In order of time. A ride may hold any readings or few; one at no turns, with the collars
        alone, is the caliper's reading at contact.
    tolerances : Doubts or Tolerances, optional
        How far off things may be: `Doubts` in full, or what `spread` draws from.

    Returns
    -------
    Fit

    Raises
    ------
    ValueError
        If there are no rides or no readings, a reading is in the wrong unit, or a ride does not
        belong to the vehicle.

    Notes
    -----
    Gauss-Newton to the most probable vehicle, normal priors, and the covariance there (Laplace's
    approximation: Bishop, Pattern Recognition and Machine Learning, sections 3.3 and 4.4; from
    memory). Friction leaves a vehicle that was rolled anywhere in its band: for each ride and
    corner it is an unknown of that band's standard deviation, half the band over the root of
    three, and is averaged out; how wide the band is shows only in its two ends, lowered and
    lifted. A gap set by tape is off by what a tape is off by.

    Mistakes are compared by their marginal likelihoods times their chances before (Bishop,
    section 3.4; from memory); one is named from odds of `NAMED_AT` against none, and removed if
    it stands alone and fits.

    *What makes a miscounted turn visible.* One turn at one corner moves the ride heights by
    hundredths of an inch and the pads by a pound or two, less than friction does: tape and scales
    cannot see it. The collar's place by caliper moves a whole pitch. But free length, known to
    1/8 in, moves it as much; so read the caliper twice, with the collar at contact and where it
    was counted to.
    """
    known_vehicle(vehicle)
    doubts = Doubts.of(tolerances)
    rides, flags = _checked(vehicle, rides), []
    not_used = (NOT_USED,) if any(r.bottomed is not None for r in rides) else ()
    while True:
        log = _Log(vehicle, rides, doubts)
        readings = log.written[log.places]
        line, z, straight = _converge(log, readings)
        slips = looked_for(log)
        chance, none = chances(log_odds(log, line, straight[:, None], readings[:, None], slips))
        named = name_slip(slips, chance[:, 0], none[0])
        if not flags:
            listed = [(None, float(none[0]))]
            listed += [(slip, float(c)) for (slip, _), c in zip(slips, chance[:, 0], strict=True)]
            explanations = tuple(sorted(listed, key=lambda pair: -pair[1]))
        mended = rides if named is None else undone(rides, named[0])
        if named is None or len(flags) == MOST_SLIPS or _unread(mended):
            break
        sure = all(undone(rides, rival) == mended for rival in named[2])
        flags.append(Flag.of(*named, sure=sure))
        if not sure:
            break
        rides = mended
    chance = _chance(line, straight)
    if chance < UNLIKELY and not flags:
        flags.append(_misfit(log, line, straight, chance))
    estimates = _estimates(log, line, z)
    return Fit(
        vehicle=_corrected(log, estimates), rides=rides, estimates=estimates,
        readings=_beside(log, line, readings, z, straight), explanations=explanations,
        flags=tuple(flags), chance=chance, not_used=not_used,
    )  # fmt: skip


def _chance(line, straight):
    from scipy.stats import chi2

    return float(chi2.sf((line.white(straight) ** 2).sum(), len(straight)))


def _misfit(log, line, straight, chance):
    residual = _residuals(line, straight)
    worst = int(np.argmax(np.abs(residual)))
    ride, kind, corner = (int(index[worst]) for index in log.places)
    sentence = (
        f"The readings do not fit this vehicle (1 chance in {1 / max(chance, 1e-9):.0f}) and no "
        f"single slip explains it; the worst is the {CORNERS[corner].replace('_', ' ')} "
        f"{KINDS[ORDER[kind]]} of ride {ride + 1}: look for a wrong spring, load or file."
    )
    return Flag(slip=None, probability=1 - chance, rivals=(), removed=False, sentence=sentence)


def _residuals(line, straight):
    """What is left of each reading after the fit, in its own standard deviations."""
    left = line.own @ np.linalg.solve(line.whole, np.column_stack([straight, line.own]))
    return left[:, 0] / np.sqrt(np.diag(left[:, 1:]))


def _beside(log, line, readings, z, straight):
    columns = readings, line.start + line.slope @ z, _residuals(line, straight)
    return tuple(
        Reading(
            ride=int(ride), kind=ORDER[kind], corner=CORNERS[corner], read=float(read),
            predicted=float(model), residual=float(left),
        )
        for ride, kind, corner, read, model, left in zip(*log.places, *columns, strict=True)
    )  # fmt: skip


def _estimates(log, line, z):
    sd = np.sqrt(np.diag(line.covariance))
    return {
        name: Estimate(
            name=name, kind=kind, file=float(file), mean=float(file + at * before),
            sd_before=float(before), sd=float(after * before), about=about,
        )
        for (name, kind, file, before), (about, *_), at, after in zip(
            log.unknowns, log._unknowns, z, sd, strict=True
        )
    }  # fmt: skip


def _corrected(log, estimates):
    """The vehicle with what was learned in the places a file has for it."""
    vehicle = log.vehicle
    value = {name: each.mean for name, each in estimates.items()}
    dry, scales, axles = vehicle.masses(), vehicle.scales, {}
    mass, back = value["sprung mass"], value["centre behind front axle"]
    rear = (mass * back - dry.mass * dry.behind_front_axle) / vehicle.wheelbase
    share = {"front": mass - dry.mass - rear, "rear": rear}
    left = mass * value["centre left of middle"] - dry.mass * dry.left_of_centre
    for axle, corners in AXLES.items():
        old = getattr(vehicle, axle)
        for corner, side in zip(corners, (1, -1), strict=True):
            more = 0.5 * share[axle] + side * 0.5 * left / old.track
            scales = replace(scales, **{corner: getattr(scales, corner) + more})
        above = old.point.above_frame + np.mean([value[f"height, {c}"] for c in corners])
        axles[axle] = replace(
            old,
            point=replace(old.point, above_frame=float(above)),
            shock=replace(
                old.shock, friction=vehicle.friction_of(corners[0]) * max(value["friction"], 0.0)
            ),
        )
    springs, stacks = dict(vehicle.springs), dict(vehicle.stacks)
    for stack in log.stacks:
        plan, factor = vehicle.stacks[stack], value[f"rate, {stack}"]
        lengths = [value[n] for n in value if n in {f"free length, {c}, {stack}" for c in CORNERS}]
        own = {name: f"{name} as learned in {stack}" for name in plan.springs}
        for name, new in own.items():
            longer = float(np.mean(lengths)) if name == plan.springs[-1] else 0.0
            springs[new] = _respring(vehicle.springs[name], factor, longer)
        stacks[stack] = plan.with_springs(tuple(own[name] for name in plan.springs))
    items = {
        name: replace(item, mass=item.mass * max(value.get(f"aboard, {name}", 1.0), 0.0))
        for name, item in vehicle.items.items()
    }
    return replace(vehicle, scales=scales, items=items, springs=springs, stacks=stacks, **axles)


def _respring(spring, factor, longer):
    """A spring with its force scaled, and made longer if its law lets it."""
    if spring.coils is not None:
        return replace(spring, coils=tuple((rate * factor, gap) for rate, gap in spring.coils))
    changes = {"free_length": spring.free_length + longer}
    if spring.table is not None:
        return replace(spring, table=tuple((x, f * factor) for x, f in spring.table), **changes)
    return replace(spring, rate=spring.rate * factor, **changes)


def road_test(vehicle, setup=None, *, load=USUAL):
    """What a shop is advised to log after springs were fitted: five rides, readings to come.

    With the collars at contact, by caliper. Then as set and nobody aboard, everything: once let
    down from the jack, once pushed down and let rise, which shows the friction band. Then one
    more turn all round, loaded and rolled; and once more, which shows the rates.

    Parameters
    ----------
    vehicle : Vehicle
    setup : Setup, optional
    load : str, optional
        Of the rolled ones; the vehicle's usual load if not given, nothing aboard if None.

    Returns
    -------
    tuple of Ride
    """
    setup, load = known_setup(vehicle, setup), known_load(vehicle, load)

    def turned(change):
        new = setup
        for corner in CORNERS:
            new = new.change(corner, turns=change(getattr(setup, corner).turns))
        return new

    return (
        Ride(setup=turned(lambda turns: 0.0), note="collars at contact"),
        Ride(setup=setup, at_rest="lowered", note="nobody aboard"),
        Ride(setup=setup, at_rest="lifted", note="nobody aboard"),
        Ride(setup=turned(lambda turns: turns + 1), load=load),
        Ride(setup=turned(lambda turns: turns + 2), load=load),
    )


def pretend(vehicle, rides, *, seed, read=tuple(KINDS), slips=(), tolerances=None):
    """Read a made-up vehicle, drawn from the tolerances, as a shop would.

    For lessons and tests: what the truth is, is known here.

    Parameters
    ----------
    vehicle : Vehicle
    rides : sequence of Ride
        What was done; readings in them are replaced. At contact only the collars are read. The
        same rides and seed give the same vehicle and the same readings, however few are kept.
    seed : int
        Of the random numbers.
    read : tuple of str
        What is read, of `KINDS`.
    slips : tuple of Slip
        Mistakes to make.
    tolerances : Doubts or Tolerances, optional

    Returns
    -------
    rides : tuple of Ride
        With the readings: tapes to 1/16 in.
    truth : dict of str to float
        By the names of `Fit.estimates` [m, kg or 1].
    """
    known_vehicle(vehicle)
    whole("seed", seed)
    log = _Log(vehicle, _listed(rides), Doubts.of(tolerances))
    z, seen = _draw(log, np.random.default_rng(seed), 1, slips)
    done = []
    for ride, rows in zip(log.rides, seen[..., 0], strict=True):
        at_contact = all(c.turns == 0 for c in ride.setup.corners)
        taken = [kind for kind in read if kind == "collars" or not at_contact]
        fours = {
            kind: tuple(float(v) if np.isfinite(v) else None for v in four)
            for kind, four in zip(KINDS, rows, strict=True)
            if kind in taken
        }
        done.append(replace(ride, **(dict.fromkeys(KINDS, UNREAD) | fours)))
    truth = {
        name: float(file + at * sd)
        for (name, _, file, sd), at in zip(log.unknowns, z[:, 0], strict=True)
    }
    return tuple(done), truth


def _draw(log, rng, trials, slips=()):
    """True vehicles, and what is read of them with the slips made, one a trial."""
    given, rides = log.doubts, len(log.rides)
    z = rng.standard_normal((len(log.unknowns), trials))
    held = np.array([HELD[r.at_rest] for r in log.rides])[:, None]
    rolled = np.array([r.at_rest == "rolled" for r in log.rides])[:, None]
    held = held + rolled * rng.uniform(-1, 1, (4, rides, trials))
    settings = log.settings
    gap_off = rng.normal(0, given.tape / 2, (4, settings[-1] + 1, trials))[:, settings]
    turned = np.zeros((4, rides, 1))
    for slip in slips:
        if slip.kind == "miscount":
            turned[CORNERS.index(slip.corner), list(slip.rides)] += slip.size
    seen = log.read(z, held=held, gap_off=gap_off, turned=turned)
    widths = np.array([given.tape, given.scale, given.tape, given.caliper]) / 2
    seen = seen + rng.standard_normal(seen.shape) * widths[:, None, None]
    for by_tape in (0, 2):
        seen[:, by_tape] = np.round(seen[:, by_tape] / TAPE_STEP) * TAPE_STEP
    for slip in slips:
        for ride in slip.rides:
            if slip.kind == "misread":
                kind = ORDER.index(slip.reading)
                seen[ride, kind, CORNERS.index(slip.corner)] += slip.size
            elif slip.kind == "swapped":
                seen[ride] = seen[ride][:, [1, 0, 3, 2]]
    return z, seen


def _checked(vehicle, rides):
    rides = _listed(rides)
    for i, ride in enumerate(rides, start=1):
        where = f"ride {i}"
        of_kind(where, ride, Ride, "a Ride")
        of_kind(f"{where}: setup", ride.setup, Setup, "a Setup")
        # The vehicle itself knows which set-ups can be put on it.
        replace(vehicle, setups=vehicle.setups | {where: ride.setup})
        try:
            vehicle.masses(ride.load)
        except ValueError as error:
            raise ValueError(f"{where}: {error}") from None
        if ride.at_rest not in HELD:
            raise ValueError(
                f"{where}: at_rest is {ride.at_rest!r}; expected one of {', '.join(HELD)}"
            )
        if unknown := [corner for corner in ride.bottomed or () if corner not in CORNERS]:
            raise ValueError(
                f"{where}: bottomed has {unknown[0]!r}; expected corners of {', '.join(CORNERS)}"
            )
        for kind in KINDS:
            _check_four(f"{where}: {kind}", kind, getattr(ride, kind), ride.setup, vehicle)
    if _unread(rides):
        raise ValueError("no ride has a reading; expected at least one")
    return rides


def _listed(rides):
    """One ride, or several."""
    if isinstance(rides, Ride):
        return (rides,)
    if isinstance(rides, (str, Vehicle, Setup)) or not hasattr(rides, "__iter__"):
        refuse("rides", rides, "a Ride, or several")
    rides = tuple(rides)
    if not rides:
        refuse("rides", rides, "at least one Ride")
    return rides


def _unread(rides):
    return all(v is None for r in rides for kind in KINDS for v in getattr(r, kind))


def _check_four(where, kind, four, setup, vehicle):
    if not isinstance(four, (tuple, list)):
        refuse(where, four, "four readings, None where not taken")
    if len(four) != 4:
        raise ValueError(f"{where} has {len(four)} entries; expected 4, one for each corner")
    least, most = PLAUSIBLE[kind]
    unit = "kg" if kind == "scales" else "m"
    for corner, value in zip(CORNERS, four, strict=True):
        if value is None:
            continue
        if isinstance(value, bool) or not isinstance(value, Real) or not least <= value <= most:
            shown = f"{value:g}" if isinstance(value, Real) else short(value)
            raise ValueError(
                f"{where} {corner} is {shown}; expected {least:g} to {most:g} {unit} (readings "
                f"are in {unit})"
            )
        if kind == "gaps" and not vehicle.stacks[getattr(setup, corner).stack].rings_below:
            raise ValueError(f"{where} {corner} is {value:g}; expected none, it has no stop ring")


def _refuse_implausible(log, expected):
    """Scale readings in pounds are plausible kilograms of another vehicle, not of this one."""
    for ride, kind, corner, model in zip(*log.places, expected, strict=True):
        read = log.written[ride, kind, corner]
        if not np.isfinite(model):
            raise ValueError(
                f"ride {ride + 1}: the vehicle does not stand upright as it is said to be loaded; "
                "expected a load it can carry"
            )
        if kind == ORDER.index("scales") and not 0.5 < read / model < 1.8:
            raise ValueError(
                f"ride {ride + 1}: scales {CORNERS[corner]} is {read:g} kg; expected near "
                f"{model:.0f} kg, which is {show(model, 'mass')}"
            )
