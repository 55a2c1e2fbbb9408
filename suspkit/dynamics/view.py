"""What there is to see of clicks and of a drive: computed once, for any chart."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from suspkit.dynamics import events
from suspkit.dynamics.comfort import comfort_words, mtvv, weighted_rms
from suspkit.dynamics.damping import AMPLITUDE, STATED, damping_ratios
from suspkit.dynamics.drive import METAL, build, drive, seat_acceleration, with_clicks
from suspkit.parts.damper import DIRECTIONS
from suspkit.statics.view import cutaway_at
from suspkit.units import GRAVITY, show
from suspkit.vehicle.corner import Corner, assemble
from suspkit.vehicle.setup import AXLES
from suspkit.vehicle.vehicle import Vehicle

SHOWN_SPEED = 1.5
"""Shaft speed to which a damper is drawn, either way [m/s]: past it is a hard edge at speed."""

PATCH = 0.2
"""Contact patch over which a rough road is averaged before a tyre meets it [m]."""

PLACES = {"below": "below crossover", "past": "past crossover", "ride": "at ride height"}
"""Where a damping ratio is drawn: on both sides of a crossover, or at ride height if none."""

SIGNS = dict(zip(DIRECTIONS, (1.0, -1.0), strict=True))
"""Of shaft velocity and damper force."""

FRAME = 0.02
"""How long a moment lasts when a run is shown in pictures [s]."""

KEPT = 12
"""Runs and built vehicles remembered at a time."""


@dataclass(frozen=True, kw_only=True)
class Trial:
    """An event with one number that says how hard it is.

    Attributes
    ----------
    make : callable
        Event of a level [SI unit of the kind].
    kind : str
        What the level measures, see `suspkit.units.show`.
    levels : tuple of float
        Levels to choose from [SI unit of the kind].
    level : float
        The one to start from [SI unit of the kind].
    digits : dict of str to int
        Decimals a level is written with, by system of units.
    duration : float
        How long it is watched, whatever the level [s].
    says : str
        What it is, in words.
    """

    make: Callable
    kind: str
    levels: tuple
    level: float
    digits: dict
    duration: float
    says: str

    def event(self, level=None):
        """The event at a level.

        Parameters
        ----------
        level : float, optional
            [SI unit of the kind]

        Returns
        -------
        Event
        """
        return replace(self.make(self.level if level is None else level), duration=self.duration)


def _rough(road_class):
    def make(speed):
        # One ground for every speed, long enough for the fastest.
        event = events.rough_road(road_class=road_class, speed=speed, duration=160.0 / speed)
        return replace(event, road=event.road.averaged(PATCH))

    return make


def _steps(low, high, step):
    return tuple(round(low + i * step, 6) for i in range(round((high - low) / step) + 1))


_WHOLE, _TENTHS = {"us": 0, "metric": 0}, {"us": 1, "metric": 0}
_G = {"us": 2, "metric": 2}

TRIALS = {
    "g-out": Trial(
        make=lambda v: events.g_out(radius=15.0, depth=0.6, speed=v, approach=2.0),
        kind="speed", levels=_steps(5.0, 12.0, 0.5), level=10.0, digits=_WHOLE, duration=3.0,
        says="a dip 0.6 m (2 ft) deep, its bottom of 15 m (49 ft) radius",
    ),
    "drop": Trial(
        make=lambda h: events.drop(height=h),
        kind="length", levels=_steps(0.05, 0.6, 0.05), level=0.15, digits=_TENTHS, duration=2.0,
        says="let fall level, tyres this far above flat ground",
    ),
    "whoops": Trial(
        make=lambda v: events.whoops(height=0.2, spacing=3.0, count=6, speed=v),
        kind="speed", levels=_steps(3.0, 12.0, 0.5), level=8.0, digits=_WHOLE, duration=4.0,
        says="six whoops 0.2 m (8 in) high, 3 m (10 ft) apart",
    ),
    "square edge": Trial(
        make=lambda h: events.square_edge(height=h, speed=8.0, approach=2.0),
        kind="length", levels=_steps(0.04, 0.15, 0.01), level=0.10, digits=_TENTHS, duration=2.0,
        says="a step up at 8 m/s (18 mph)",
    ),
    "rough road": Trial(
        make=_rough("E"),
        kind="speed", levels=_steps(4.0, 14.0, 1.0), level=8.0, digits=_WHOLE, duration=8.0,
        says="class E ground, felt through a contact patch of 0.2 m (8 in)",
    ),
    "cornering": Trial(
        make=lambda a: events.cornering(lateral=a),
        kind="acceleration", levels=_steps(0.5, 6.0, 0.5), level=4.0, digits=_G, duration=3.0,
        says="a steady left-hand corner, entered in half a second",
    ),
    "braking": Trial(
        make=lambda a: events.braking(slowing=a),
        kind="acceleration", levels=_steps(1.0, 7.0, 0.5), level=6.0, digits=_G, duration=2.5,
        says="steady braking, built up in 0.3 s",
    ),
}  # fmt: skip
"""The events a driver talks about."""

CLICK_TRIALS = {
    "step": Trial(
        make=lambda h: events.square_edge(height=h, speed=6.0, approach=1.5),
        kind="length", levels=_steps(0.04, 0.12, 0.01), level=0.08, digits=_TENTHS, duration=2.0,
        says="a step up at 6 m/s (13 mph)",
    ),
    "chop": Trial(
        make=_rough("D"),
        kind="speed", levels=_steps(4.0, 14.0, 1.0), level=10.0, digits=_WHOLE, duration=3.0,
        says="class D ground, felt through a contact patch of 0.2 m (8 in)",
    ),
    "g-out": replace(TRIALS["g-out"], level=9.5),
}  # fmt: skip
"""What a click is tried on."""


@dataclass(frozen=True, kw_only=True, eq=False)
class ClickView:
    """The clicks of one axle (its left corner) ready to draw; SI throughout.

    Attributes
    ----------
    name : str
    corner : Corner
    speed : array, shape (m,)
        Shaft speed, zero or more [m/s].
    force : dict of str to array, shape (clicks + 1, m)
        Damper force resisting, by direction and click [N].
    ratio : dict of str to dict of str to array, shape (clicks + 1,)
        Damping ratio by direction, place of `PLACES` and click.
    stated : dict of str to dict of str to array, shape (swings, clicks + 1)
        The same at each amplitude of `suspkit.dynamics.damping.STATED`; nan where the damper is not
        known.
    now : dict of str to int
        The click each direction is set to.
    middle : dict of str to int
        And its mid-range click.
    zero : dict of str to str
        The end each is counted from, "closed" or "open".
    """

    name: str
    corner: Corner
    speed: np.ndarray
    force: dict
    ratio: dict
    stated: dict
    now: dict
    middle: dict
    zero: dict

    def current(self):
        """Shaft velocity, positive in compression [m/s], and force [N] as set now."""
        halves = [self.force[d][self.now[d]] for d in DIRECTIONS]
        return (
            np.concatenate([-self.speed[:0:-1], self.speed]),
            np.concatenate([-halves[1][:0:-1], halves[0]]),
        )


@dataclass(frozen=True, kw_only=True, eq=False)
class Outcome:
    """What a driver and a tech want to know of a run; by axle the worse side, front then rear.

    Attributes
    ----------
    bottomings : tuple of int
        How often full bump was reached, see `hits`.
    travel_used : tuple of float
        Largest share of wheel travel to full bump [-].
    peak_force : tuple of float
        Along a shaft [N]; no number to act on where `metal`.
    metal : tuple of bool
        Metal met metal: past full bump a rigid stand-in carries.
    stop_speed : tuple of float
        Fastest shaft speed on the bump stop [m/s].
    airtime : tuple of float
        Of one wheel [s].
    pitch, roll : float
        Furthest from how it stood, either way [rad].
    peak : float
        Largest upward or downward acceleration of the seat [m/s^2].
    weighted : float
        ISO 2631-1 rms of the whole run at the seat [m/s^2].
    worst_second : float
        The same over its worst second [m/s^2].
    heat : float
        Turned to heat in all dampers together [J].
    power : float
        The same as a mean [W].
    """

    bottomings: tuple
    travel_used: tuple
    peak_force: tuple
    metal: tuple
    stop_speed: tuple
    airtime: tuple
    pitch: float
    roll: float
    peak: float
    weighted: float
    worst_second: float
    heat: float
    power: float

    @property
    def words(self):
        """What passengers would say of the whole run, after ISO 2631-1."""
        return " to ".join(comfort_words(self.weighted))


@dataclass(frozen=True, kw_only=True, eq=False)
class RideView:
    """One event, driven in two set-ups, ready to draw.

    Attributes
    ----------
    vehicle : Vehicle
    load : str
    event : Event
    labels : tuple of str
        What to call each set-up.
    setups : tuple of Setup
    runs : tuple of Run
    seats : tuple of array
        Upward acceleration of the seat in each run [m/s^2].
    centre : tuple of float
        Centre of gravity: ahead of the front axle, left, above the frame line [m].
    clicks : dict of str to ClickView
        Of the first set-up; empty if not asked for.
    shown : int
        The set-up of the moving pictures.
    moment : float
        When they are shown [s].
    """

    vehicle: Vehicle
    load: str
    event: object
    labels: tuple
    setups: tuple
    runs: tuple
    seats: tuple
    centre: tuple
    clicks: dict
    shown: int = 0
    moment: float = 0.0

    @property
    def run(self):
        """The run of the moving pictures."""
        return self.runs[self.shown]

    @property
    def frame(self):
        """Index of the moment in the run's arrays."""
        time = self.run.time
        return min(time.size - 1, round(self.moment / (time[1] - time[0])))

    @property
    def frame_height(self):
        """Height of the frame line over the front axle at the moment [m]."""
        i, (x, _, z) = self.frame, self.centre
        pitch = self.run.pitch[i]
        return self.run.height[i] + x * np.sin(pitch) - z * np.cos(pitch)

    def at_full_bump(self, axle):
        """Whether an axle's left wheel is at full bump in the frame around the moment."""
        wheel, near = wheels_of(self.run, axle)[0], np.abs(self.run.time - self.moment) <= FRAME / 2
        full = self.run.corners[wheel].shock.full_bump
        return bool(np.any(self.run.compression[wheel, near] >= full))

    def cutaway(self, axle):
        """The shock of an axle (its left corner) at the moment."""
        wheel = wheels_of(self.run, axle)[0]
        return cutaway_at(self.run.corners[wheel], self.run.compression[wheel, self.frame])

    @cached_property
    def outcomes(self):
        """An `Outcome` of each run."""
        return tuple(outcome(run, seat) for run, seat in zip(self.runs, self.seats, strict=True))


def wheels_of(run, axle):
    """Indices of an axle's wheels in the arrays of a run, left first.

    Parameters
    ----------
    run : Run
    axle : {"front", "rear"}

    Returns
    -------
    list of int
    """
    return [i for i, corner in enumerate(run.corners) if corner.name in AXLES[axle]]


def outcome(run, seat):
    """What came of a run.

    Parameters
    ----------
    run : Run
    seat : array, shape (t,)
        Upward acceleration of the seat [m/s^2].

    Returns
    -------
    Outcome
    """

    def worst(each):
        return tuple(each[wheels_of(run, axle)].max() for axle in AXLES)

    step = float(run.time[1] - run.time[0])
    return Outcome(
        bottomings=tuple(int(run.bottomings[wheels_of(run, a)].max()) for a in AXLES),
        travel_used=worst(run.travel_used),
        peak_force=worst(run.peak_force),
        metal=tuple(bool(run.metal[wheels_of(run, a)].any()) for a in AXLES),
        stop_speed=worst(run.stop_speed),
        airtime=worst(run.airtime),
        pitch=float(np.abs(run.pitch - run.pitch[0]).max()),
        roll=float(np.abs(run.roll - run.roll[0]).max()),
        peak=float(np.abs(seat).max()),
        weighted=float(weighted_rms(seat, dt=step)),
        worst_second=float(mtvv(seat, dt=step)),
        heat=run.energy["damper"],
        power=run.damper_power,
    )


class Bench:
    """A vehicle on trial. It remembers what a moved control does not change.

    Parameters
    ----------
    vehicle : Vehicle
    model : {"full", "half"}
        As for `suspkit.dynamics.drive.drive`.
    """

    def __init__(self, vehicle, *, model="full"):
        self.vehicle, self.model = vehicle, model
        self._kept = OrderedDict()

    def _remember(self, key, make):
        if key not in self._kept:
            self._kept[key] = make()
            while len(self._kept) > KEPT:
                self._kept.popitem(last=False)
        self._kept.move_to_end(key)
        return self._kept[key]

    def built(self, setup, *, load):
        """The vehicle in the arrays the kernel runs on.

        Parameters
        ----------
        setup : Setup
        load : str

        Returns
        -------
        object
            For ``drive(built=...)``.
        """
        still = setup.change("all", clicks={})
        made = self._remember(
            ("built", repr(still), load),
            lambda: build(self.vehicle, still, load=load, model=self.model),
        )
        return with_clicks(made, setup)

    def run(self, setup, *, load, event):
        """Drive an event, unless it just was.

        Parameters
        ----------
        setup : Setup
        load : str
        event : Event

        Returns
        -------
        (Run, tuple of float)
            And the centre of gravity: ahead of the front axle, left, above the frame line [m].
        """

        def make():
            ready = self.built(setup, load=load)
            run = drive(self.vehicle, setup, event=event, load=load, model=self.model, built=ready)
            return run, ready.centre

        # The event itself is kept with the key, so its identity stays its own.
        return self._remember(("run", repr(setup), load, event), make)

    def clicks(self, setup, *, load):
        """Force and damping ratio of every click, by axle.

        Parameters
        ----------
        setup : Setup
        load : str

        Returns
        -------
        dict of str to ClickView
        """
        # A direction's own clicks are the family: only its other adjusters change it.
        still = setup
        for name in AXLES["front"] + AXLES["rear"]:
            others = {k: v for k, v in getattr(setup, name).clicks.items() if k not in DIRECTIONS}
            still = still.change(name, clicks=others)
        views = self._remember(
            ("clicks", repr(still), load), lambda: _click_views(self.vehicle, still, load)
        )
        return {
            axle: replace(view, now=_now(view, getattr(setup, AXLES[axle][0])))
            for axle, view in views.items()
        }

    def look(self, setups, *, load, event, clicks=False, shown=0, moment=0.0):
        """Drive an event in each set-up.

        Parameters
        ----------
        setups : dict of str to Setup
            By what to call them.
        load : str
        event : Event
        clicks : bool
            Whether to look at the clicks of the first one too.
        shown : int
            The set-up of the moving pictures.
        moment : float
            When they are shown [s].

        Returns
        -------
        RideView

        Raises
        ------
        UntrustedRunError
            If a run has no result.
        """
        first = next(iter(setups.values()))
        runs = [self.run(setup, load=load, event=event) for setup in setups.values()]
        return RideView(
            vehicle=self.vehicle, load=load, event=event, labels=tuple(setups),
            setups=tuple(setups.values()), runs=tuple(run for run, _ in runs),
            seats=tuple(seat_acceleration(self.vehicle, r, centre=c) for r, c in runs),
            centre=runs[0][1],
            clicks=self.clicks(first, load=load) if clicks else {},
            shown=shown, moment=moment,
        )  # fmt: skip


def _now(view, setup):
    return {
        d: int(setup.clicks.get(d, view.middle[d])) if d in view.corner.shock.clickers else 0
        for d in DIRECTIONS
    }


def _click_views(vehicle, setup, load):
    table = damping_ratios(vehicle, setup, load=load)
    swung = damping_ratios(vehicle, setup, load=load, amplitude=STATED)
    corners = assemble(vehicle, setup)
    views = {}
    for axle, (left, _right) in AXLES.items():
        corner, clicks = corners[left], getattr(setup, left).clicks
        shock = corner.shock
        rows, swings = (each[each.corner == left] for each in (table, swung))
        curves, ratio, stated, middle, zero, reach = {}, {}, {}, {}, {}, SHOWN_SPEED
        for direction, sign in SIGNS.items():
            clicker = shock.clickers.get(direction)
            middle[direction] = clicker.middle if clicker else 0
            zero[direction] = clicker.zero if clicker else "closed"
            every = {direction: np.arange(int(clicker.count) + 1)} if clicker else {}
            curves[direction] = shock.damper_curve(clicks | every)
            # A measured damper is drawn as far as it was measured.
            ends = curves[direction].x[..., -1 if sign > 0 else 0]
            reach = min(reach, float(np.abs(ends).min()))
            for kept, each, shape in ((ratio, rows, -1), (stated, swings, (len(STATED), -1))):
                places = each[each.direction == direction].groupby("where", sort=False)
                kept[direction] = {
                    where: group.ratio.to_numpy().reshape(shape) for where, group in places
                }
        speed = reach * np.linspace(0.0, 1.0, 61) ** 1.5  # closer where a bleed bends it most
        force = {}
        for direction, curve in curves.items():
            batch = curve.x.shape[:-1] or (1,)
            at = np.broadcast_to(SIGNS[direction] * speed[:, None], (speed.size, *batch))
            force[direction] = SIGNS[direction] * curve(at).T
        views[axle] = ClickView(
            name=axle, corner=corner, speed=speed, force=force, ratio=ratio, stated=stated,
            now=middle, middle=middle, zero=zero,
        )  # fmt: skip
    return views


def drawn_places(view):
    """Places of `PLACES` a click view has ratios to draw for."""
    has = view.ratio[DIRECTIONS[0]]
    return ("below", "past") if "past" in has else ("ride",)


def compare(vehicle, setups, *, event, load=None, model="full"):
    """What came of one event in several set-ups, as a table.

    Parameters
    ----------
    vehicle : Vehicle
    setups : dict of str to Setup
        By what to call them.
    event : Event
    load : str, optional
    model : {"full", "half"}

    Returns
    -------
    dict of str to Outcome

    Raises
    ------
    UntrustedRunError
        If a run has no result.
    """
    view = Bench(vehicle, model=model).look(setups, load=load, event=event)
    return dict(zip(setups, view.outcomes, strict=True))


def readout(view, units="us"):
    """The numbers of both runs, side by side.

    Parameters
    ----------
    view : RideView
    units : {"us", "metric"}

    Returns
    -------
    dict of str to tuple of str
        Label to one text a set-up.
    """
    results = view.outcomes

    def ends(name, kind, digits=None):
        return tuple(
            " / ".join(show(float(v), kind, units, digits=digits) for v in getattr(r, name))
            for r in results
        )

    def comfort(name):
        return tuple(f"{getattr(r, name):.1f} m/s²" for r in results)

    lines = {}
    if view.clicks:
        lines["clicks, compression and rebound, front / rear"] = tuple(
            " / ".join(_clicks_text(view, s, axle) for axle in AXLES) for s in view.setups
        )
        swings = " / ".join(show(swing, "tape", units) for swing in STATED)
        for d in DIRECTIONS:
            lines[f"damping ratio in {d} at {swings}, front; rear"] = tuple(
                "; ".join(_stated_text(view, s, axle, d) for axle in AXLES) for s in view.setups
            )
    lines |= {
        "reached full bump, front / rear": tuple(
            " / ".join(f"{n}×" for n in r.bottomings) for r in results
        ),
        "most wheel travel used, front / rear": tuple(
            " / ".join(used_text(share) for share in r.travel_used) for r in results
        ),
        "hardest shock force, front / rear": tuple(
            " / ".join(
                METAL if metal else show(float(force), "force", units)
                for force, metal in zip(r.peak_force, r.metal, strict=True)
            )
            for r in results
        ),
        "fastest onto the bump stop, front / rear": ends("stop_speed", "velocity", 1),
        "a wheel in the air, front / rear": ends("airtime", "time", 1),
        "pitches by, rolls by": tuple(
            f"{show(r.pitch, 'angle', units)}, {show(r.roll, 'angle', units)}" for r in results
        ),
        "driver's seat, peak": tuple(f"{r.peak / GRAVITY:.1f} g" for r in results),
        "driver's seat, weighted, worst second": comfort("worst_second"),
        "driver's seat, weighted, whole run": comfort("weighted"),
        "the whole run, in words": tuple(r.words for r in results),
        "heat in the dampers": tuple(
            f"{show(r.heat, 'energy', units)}, mean {r.power:.0f} W" for r in results
        ),
    }
    return lines


def used_text(share):
    """Share of the travel used [-] as text; metal that gives a little is not more travel."""
    return show(min(float(share), 1.0), "percent", digits=0)


def _stated_text(view, setup, axle, direction):
    """Damping ratio at each stated amplitude, at the first of the places drawn."""
    seen = view.clicks[axle]
    now = _now(seen, getattr(setup, AXLES[axle][0]))[direction]
    at = seen.stated[direction][drawn_places(seen)[0]][:, now]
    return " / ".join("–" if np.isnan(ratio) else f"{ratio:.2f}" for ratio in at)


def _clicks_text(view, setup, axle):
    """Compression and rebound clicks of an axle, such as ``6 + 8``."""
    seen = view.clicks[axle]
    now = _now(seen, getattr(setup, AXLES[axle][0]))
    return " + ".join(f"{now[d]}" for d in DIRECTIONS)


def cautions(view):
    """Plain sentences about runs that are not to be trusted."""
    return tuple(
        f"{label}: {note}"
        for label, run in zip(view.labels, view.runs, strict=True)
        for note in run.notes
    )


def in_words(view, units="us"):
    """Both runs in a few plain sentences."""
    parts = [f"{view.event.name[0].upper()}{view.event.name[1:]}."]
    if view.clicks:
        for axle, seen in view.clicks.items():
            where = drawn_places(seen)
            ratios = "; ".join(
                f"{d} {seen.now[d]} clicks, damping ratio at "
                f"{show(AMPLITUDE, 'tape', units)} "
                + " and ".join(f"{seen.ratio[d][w][seen.now[d]]:.2f} {PLACES[w]}" for w in where)
                for d in DIRECTIONS
            )
            parts.append(f"{axle.capitalize()} {ratios}.")
    for label, result in zip(view.labels, view.outcomes, strict=True):
        ends = [
            f"{axle} uses {used_text(used)} of its travel"
            + (f" and reaches full bump {n}×" if n else "")
            + (f", {METAL}" if metal else "")
            for axle, used, n, metal in zip(
                AXLES, result.travel_used, result.bottomings, result.metal, strict=True
            )
        ]
        parts.append(
            f"{label[0].upper()}{label[1:]}: {', '.join(ends)}; driver's seat peaks at "
            f"{result.peak / GRAVITY:.1f} g."
        )
    return " ".join((*cautions(view), *parts))


__all__ = [
    "CLICK_TRIALS", "FRAME", "PLACES", "TRIALS", "Bench", "ClickView", "Outcome", "RideView",
    "Trial", "cautions", "compare", "drawn_places", "in_words", "outcome",
    "readout", "used_text", "wheels_of",
]  # fmt: skip
