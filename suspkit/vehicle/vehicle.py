"""One vehicle as its file tells it: axles, masses, loads, springs, stacks, set-ups, targets.

The dataclasses below *are* the file's schema: a TOML table has exactly these fields, and every
quantity is a string with its unit. In this trade ``lb/in`` is a force per length.
"""

from __future__ import annotations

import difflib
import math
from dataclasses import dataclass, field, fields, replace
from functools import cached_property

import numpy as np

from suspkit.given import of_kind, take_in
from suspkit.parts.fields import (
    Carried,
    LoadFactor,
    Modulus,
    Place,
    Rate,
    Ratio,
    Shift,
    Size,
    Span,
    Thin,
    TyreDamping,
    Weighed,
)
from suspkit.parts.linkage import Linkage
from suspkit.parts.shock import Shock, hang
from suspkit.parts.spring import Spring, VariedSpring
from suspkit.parts.stack import Stack, StopRing
from suspkit.units import GRAVITY, INCH
from suspkit.vehicle.setup import AXLES, CORNERS, Setup

FRICTION_ASSUMED, FRICTION_SPREAD = 0.035, 0.015
"""Shock friction over spring force at ride where a file states none, and how far off that may be:
2 to 5 %, our own judgement, no source [-]."""


@dataclass(frozen=True, kw_only=True)
class Tyre:
    """A tyre as a vertical spring that can lift off.

    Parameters
    ----------
    radius : float
        Unloaded [m].
    rate : float
        At the pressure it runs [N/m].
    damping : float
        Of its casing, against the same squeeze [N s/m].

    Raises
    ------
    ValueError
        If radius or rate is not above zero.
    """

    radius: Size
    rate: Rate
    damping: TyreDamping = 0.0

    def __post_init__(self):
        take_in(self)


@dataclass(frozen=True, kw_only=True)
class Bar:
    """A U-shaped anti-roll bar with stiff arms.

    Parameters
    ----------
    diameter : float
        Of the twisting part [m].
    length : float
        Twisting length, arm to arm [m].
    arm : float
        Arm length, square to the bar [m].
    motion_ratio : float
        Arm-end travel per wheel travel.
    shear_modulus : float
        Of its steel [Pa].
    """

    diameter: Size
    length: Size
    arm: Size
    motion_ratio: Ratio
    shear_modulus: Modulus = 79.3e9

    def __post_init__(self):
        take_in(self)

    @property
    def torsion_rate(self):
        """Torque per twist of one end against the other [N m/rad]: pi G d^4 / (32 L)."""
        return np.pi * self.shear_modulus * self.diameter**4 / (32 * self.length)

    @property
    def arm_end_rate(self):
        """Force at each arm end per difference of end travel [N/m]."""
        return self.torsion_rate / self.arm**2

    @property
    def wheel_rate(self):
        """Force at each wheel per left-right difference of wheel travel [N/m]."""
        return self.arm_end_rate * self.motion_ratio**2


@dataclass(frozen=True, kw_only=True)
class LinkageTable:
    """Wheel travel against shock length as a tape measures them, springs off.

    Parameters
    ----------
    travel : tuple of float
        Wheel travel from full droop, rising from zero [m].
    eye_to_eye : tuple of float
        Shock length at each, falling [m].
    noise : float
        What the tape can resolve [m].
    """

    travel: tuple[Shift, ...]
    eye_to_eye: tuple[Size, ...]
    noise: Thin = INCH / 16


@dataclass(frozen=True, kw_only=True)
class DoubleWishbone:
    """Two arms and an upright from their points in front view, the shock at full extension.

    Each point is (away from the vehicle's centre line, up from anywhere).

    Parameters
    ----------
    lower_pivot, lower_ball, upper_pivot, upper_ball : tuple of float
        Ends of the arms at chassis and upright [m].
    wheel_center : tuple of float
        Carried by the upright [m].
    shock_on_arm, shock_body : tuple of float
        The shock's eyes on arm and chassis [m].
    travel_max : float
        Wheel travel to work out [m].
    arm : {"lower", "upper"}
        The arm that carries the shock.
    """

    lower_pivot: tuple[Place, Place]
    lower_ball: tuple[Place, Place]
    upper_pivot: tuple[Place, Place]
    upper_ball: tuple[Place, Place]
    wheel_center: tuple[Place, Place]
    shock_on_arm: tuple[Place, Place]
    shock_body: tuple[Place, Place]
    travel_max: Size
    arm: str = "lower"


@dataclass(frozen=True, kw_only=True)
class TrailingArm:
    """A trailing arm from its points in side view, the shock at full extension.

    Each point is (forward from anywhere, up from anywhere).

    Parameters
    ----------
    pivot, wheel_center : tuple of float
        Ends of the arm [m].
    shock_on_arm, shock_body : tuple of float
        The shock's eyes on arm and chassis [m].
    travel_max : float
        Wheel travel to work out [m].
    """

    pivot: tuple[Place, Place]
    wheel_center: tuple[Place, Place]
    shock_on_arm: tuple[Place, Place]
    shock_body: tuple[Place, Place]
    travel_max: Size


@dataclass(frozen=True, kw_only=True)
class MeasuringPoint:
    """Where the tape is held to read ride height, the same on both sides.

    Parameters
    ----------
    behind_front_axle : float
        Behind the front axle's centre, less than zero ahead of it [m].
    left_of_centre : float
        Of the left point, from the vehicle's centre line [m].
    above_frame : float
        Above the frame's bottom line [m].
    """

    behind_front_axle: Place
    left_of_centre: Place
    above_frame: Place = 0.0


@dataclass(frozen=True, kw_only=True)
class Axle:
    """One axle, left and right alike.

    Parameters
    ----------
    track : float
        Between tyre centres [m].
    hub_below_frame : float
        From the frame's bottom line down to the wheel centre at zero wheel travel [m].
    unsprung_mass : float
        Of one corner: wheel, hub, and the outer half of arms and shock [kg].
    tyre : Tyre
        At each end of the axle.
    shock : Shock
        Without its springs.
    point : MeasuringPoint
        Where ride height is read.
    linkage : LinkageTable, optional
        Wheel travel against shock length, measured.
    double_wishbone : DoubleWishbone, optional
        Or the points of two arms.
    trailing_arm : TrailingArm, optional
        Or those of a trailing arm. One of the three is needed.
    bar : Bar, optional
        The anti-roll bar, if there is one.

    Raises
    ------
    ValueError
        If there is not exactly one linkage, it stops short of full bump, or its points are not
        those of the extended shock.
    """

    track: Span
    hub_below_frame: Shift
    unsprung_mass: Weighed
    tyre: Tyre
    shock: Shock
    point: MeasuringPoint
    linkage: LinkageTable | None = None
    double_wishbone: DoubleWishbone | None = None
    trailing_arm: TrailingArm | None = None
    bar: Bar | None = None

    @cached_property
    def motion(self):
        """The smooth `Linkage` through the table, or of the points."""
        if self.linkage is None:
            if self.trailing_arm is None:
                return Linkage.from_double_wishbone(**vars(self.double_wishbone))
            return Linkage.from_trailing_arm(**vars(self.trailing_arm))
        return Linkage.from_table(
            self.linkage.travel,
            self.linkage.eye_to_eye,
            extended_length=self.shock.extended_length,
            noise=self.linkage.noise,
        )

    @cached_property
    def contact_hang(self):
        """Wheel travel at droop hang with the springs unloaded: where contact is found [m]."""
        shock = self.shock
        return float(hang(shock, self.motion, shock.limits, weight=self.unsprung_mass * GRAVITY))

    @cached_property
    def unbolted_hang(self):
        """The same with the lower bolt out [m]; only the shock moves, the number is its place."""
        return float(hang(self.shock, self.motion, self.shock.limits, weight=0.0))

    def __post_init__(self):
        take_in(self)
        ways = ("linkage", "double_wishbone", "trailing_arm")
        given = [way for way in ways if getattr(self, way) is not None]
        if len(given) != 1:
            raise ValueError(
                f"{' and '.join(given) or 'no linkage'} is given; expected exactly one of "
                f"{', '.join(ways)}"
            )
        try:
            reach = float(self.motion.compression(self.motion.travel_max))
        except ValueError as error:
            raise ValueError(f"{given[0]}: {error}") from None
        self._check_extension(given[0])
        noise = self.linkage.noise if self.linkage is not None else 0.0
        if reach < self.shock.full_bump - 2 * noise:
            raise ValueError(
                f"{given[0]} ends at {reach / INCH:.2f} in of shock compression; expected it to "
                "reach full bump, which shock.stroke puts at "
                f"{self.shock.full_bump / INCH:.2f} in"
            )

    def _check_extension(self, way):
        """Points stand for zero wheel travel, which is the shock's full extension."""
        points = self.double_wishbone or self.trailing_arm
        if points is None:
            return
        apart, most = math.dist(points.shock_on_arm, points.shock_body), self.shock.extended_length
        # A shock that leans out of the plane of the points looks up to a tenth shorter in it.
        if not 0.9 * most <= apart <= most + 0.25 * INCH:
            raise ValueError(
                f"{way}: the shock's eyes are {apart / INCH:.2f} in apart; expected "
                f"extended_length, {most / INCH:.2f} in: points are taken at full extension"
            )


@dataclass(frozen=True, kw_only=True)
class Scales:
    """Four readings on level pads, dry, nobody aboard.

    Parameters
    ----------
    front_left, front_right, rear_left, rear_right : float
        Reading under each wheel [kg].
    sprung_cg_above_frame : float
        Height of the sprung mass's centre of gravity above the frame's bottom line [m].
    pitch_gyration, roll_gyration : float, optional
        Radii of gyration of the dry sprung mass about its centre [m]. If not given, pitch takes
        the one that makes front and rear bounce on their own, and roll a third of the track:
        estimates (common practice, no source).
    """

    front_left: Weighed
    front_right: Weighed
    rear_left: Weighed
    rear_right: Weighed
    sprung_cg_above_frame: Place
    pitch_gyration: Size | None = None
    roll_gyration: Size | None = None


@dataclass(frozen=True, kw_only=True)
class Item:
    """A person, a piece of kit or an accessory: a mass at a place.

    Parameters
    ----------
    mass : float
        Of all of it [kg].
    behind_front_axle : float
        Of its centre, less than zero ahead of the front axle [m].
    left_of_centre : float
        Of its centre, less than zero to the right [m].
    above_frame : float
        Of its centre, above the frame's bottom line [m].
    note : str
        Free text.
    """

    mass: Carried
    behind_front_axle: Place
    above_frame: Place
    left_of_centre: Place = 0.0
    note: str = ""


@dataclass(frozen=True, kw_only=True)
class Load:
    """What is aboard, by name.

    Parameters
    ----------
    items : tuple of str
        Names; one that stands twice counts twice.
    note : str
        Free text.
    """

    items: tuple[str, ...]
    note: str = ""


@dataclass(frozen=True, kw_only=True)
class StackPlan:
    """Springs of the rack put in series.

    Parameters
    ----------
    springs : tuple of str
        Names, from the collar down.
    rings_below : tuple of str
        The springs that have a stop ring under them.
    note : str
        Free text.
    """

    springs: tuple[str, ...]
    rings_below: tuple[str, ...] = ()
    note: str = ""

    def with_springs(self, names):
        """The same with other springs in their places; a ring stays where it is in the stack.

        Parameters
        ----------
        names : tuple of str
            As many as there are.

        Returns
        -------
        StackPlan
        """
        now = dict(zip(self.springs, names, strict=True))
        rings = tuple(now[name] for name in self.rings_below)
        return replace(self, springs=tuple(names), rings_below=rings)


@dataclass(frozen=True, kw_only=True)
class AxleTarget:
    """What the shop aims at on one axle.

    Parameters
    ----------
    ride_height : float
        At the measuring point, in the target load [m].
    crossover_at : float, optional
        Wheel travel at which the stop ring should be met [m].
    load_factor : float, optional
        Spring load at full bump over static load.
    """

    ride_height: Size
    crossover_at: Thin | None = None
    load_factor: LoadFactor | None = None


@dataclass(frozen=True, kw_only=True)
class Targets:
    """What the shop aims at.

    Parameters
    ----------
    load : str
        The load to set the vehicle up in.
    front, rear : AxleTarget
        By axle.
    side_to_side : float
        Left and right should agree within this [m].
    """

    load: str
    front: AxleTarget
    rear: AxleTarget
    side_to_side: Thin = INCH / 16


@dataclass(frozen=True, kw_only=True)
class Masses:
    """The sprung mass of a vehicle in some load.

    Attributes
    ----------
    mass : float or array
        [kg]
    behind_front_axle, left_of_centre, above_frame : float or array
        Centre of gravity [m].
    """

    mass: float | np.ndarray
    behind_front_axle: float | np.ndarray
    left_of_centre: float | np.ndarray
    above_frame: float | np.ndarray


@dataclass(frozen=True, kw_only=True)
class Vehicle:
    """A vehicle and all that is known of how it may be set up.

    Parameters
    ----------
    name : str
        What it is called.
    about : str
        Free text; says whether the data are invented.
    wheelbase : float
        From front to rear wheel centre [m].
    front, rear : Axle
        One axle each.
    scales : Scales
        Weight under each wheel.
    springs : dict of str to Spring
        By name; those of the rack are among them.
    stacks : dict of str to StackPlan
        Springs in series, by name.
    setups : dict of str to Setup
        Ways it is or was set up, by name.
    current : str
        The set-up on the vehicle now.
    items : dict of str to Item
        People, kit and accessories, by name.
    loads : dict of str to Load
        Which of them are aboard, by name.
    targets : Targets, optional
        What the shop aims at.
    source : str
        Where it was read from.
    digest : str
        SHA-256 of the vehicle file and its rack.

    Raises
    ------
    ValueError
        If something is named that is not there, or a number does not fit the rest.
    """

    name: str
    wheelbase: Span
    front: Axle
    rear: Axle
    scales: Scales
    springs: dict[str, Spring]
    stacks: dict[str, StackPlan]
    setups: dict[str, Setup]
    current: str
    items: dict[str, Item] = field(default_factory=dict)
    loads: dict[str, Load] = field(default_factory=dict)
    targets: Targets | None = None
    about: str = ""
    source: str = ""
    digest: str = ""

    def __post_init__(self):
        take_in(self)
        for field_name, kind in _PARTS.items():
            for name, part in getattr(self, field_name).items():
                of_kind(f"{field_name}.{name}", part, kind, f"a suspkit {kind[0].__name__}")
        known_name(self.current, self.setups, "current", "a set-up")
        for name, plan in self.stacks.items():
            for i, spring in enumerate(plan.springs):
                known_name(spring, self.springs, f"stacks.{name}.springs[{i}]", "a spring")
            for i, spring in enumerate(plan.rings_below):
                where = f"stacks.{name}.rings_below[{i}]"
                above = dict.fromkeys(plan.springs[:-1])
                known_name(spring, above, where, "a spring above another")
            if not plan.springs:
                raise ValueError(f"stacks.{name}.springs is empty; expected at least one spring")
        for name, load in self.loads.items():
            for i, item in enumerate(load.items):
                known_name(item, self.items, f"loads.{name}.items[{i}]", "an item")
        if self.targets is not None:
            known_name(self.targets.load, self.loads, "targets.load", "a load")
        for name, setup in self.setups.items():
            for corner in CORNERS:
                self._check_corner(f"setups.{name}.{corner}", corner, getattr(setup, corner))
        for corner in CORNERS:
            own, reading = self.axle_of(corner).unsprung_mass, getattr(self.scales, corner)
            if own >= reading:
                raise ValueError(
                    f"{corner.split('_')[0]}.unsprung_mass is {own:.1f} kg; expected less than the "
                    f"scale reading scales.{corner}, {reading:.1f} kg"
                )

    def _check_corner(self, where, corner, chosen):
        known_name(chosen.stack, self.stacks, f"{where}.stack", "a stack")
        rings = len(self.stacks[chosen.stack].rings_below)
        for name in ("gap", "ring"):
            value = getattr(chosen, name)
            given = len(value) if isinstance(value, tuple) else int(value is not None)
            if value is not None and given != rings:
                raise ValueError(
                    f"{where}.{name} has {given} value(s); expected {rings}, one for each stop "
                    f"ring of stack {chosen.stack!r}"
                )
        if rings and chosen.gap is None and chosen.ring is None:
            raise ValueError(f"{where}.gap is missing; stack {chosen.stack!r} has a stop ring")
        clickers = self.axle_of(corner).shock.clickers
        for name, clicks in chosen.clicks.items():
            known_name(name, clickers, f"{where}.clicks", "an adjuster of the shock")
            if not 0 <= clicks <= clickers[name].count or clicks != int(clicks):
                raise ValueError(
                    f"{where}.clicks.{name} is {clicks:g}; expected a whole number from 0 to "
                    f"{clickers[name].count:g}, the count of its shock.clickers.{name}"
                )

    def friction_of(self, corner):
        """Shock friction of a corner: what its file states, else an assumed one.

        Parameters
        ----------
        corner : str

        Returns
        -------
        float
            `FRICTION_ASSUMED` of the spring force as weighed where the file states none [N].
        """
        axle = self.axle_of(corner)
        if axle.shock.friction is not None:
            return axle.shock.friction
        name = "front" if corner in AXLES["front"] else "rear"
        mean = np.mean([getattr(self.scales, one) for one in AXLES[name]])
        ratio = axle.motion.motion_ratio(0.5 * axle.motion.travel_max)
        return float(FRICTION_ASSUMED * (mean - axle.unsprung_mass) * GRAVITY / ratio)

    @property
    def friction_assumed(self):
        """Axles whose shock friction the file does not state."""
        return tuple(name for name in AXLES if getattr(self, name).shock.friction is None)

    @property
    def usual_load(self):
        """The load the targets are for, else the first one; None if there is none."""
        return self.targets.load if self.targets else next(iter(self.loads), None)

    @property
    def setup(self):
        """The set-up on the vehicle now."""
        return self.setups[self.current]

    def axle_of(self, corner):
        """The `Axle` a corner belongs to."""
        return self.front if corner in AXLES["front"] else self.rear

    def stack(self, name):
        """The named stack, its rings out of reach until a set-up places them.

        Parameters
        ----------
        name : str

        Returns
        -------
        Stack
        """
        known_name(name, self.stacks, "stack", "a stack")
        plan = self.stacks[name]
        rings = [StopRing(below=plan.springs.index(spring)) for spring in plan.rings_below]
        return Stack([self.springs[spring] for spring in plan.springs], rings)

    def masses(self, load=None):
        """Sprung mass and its centre of gravity.

        Parameters
        ----------
        load : str or sequence of str, optional
            A named load, or several for arrays; nothing aboard if not given.

        Returns
        -------
        Masses

        Raises
        ------
        ValueError
            If the load has no such name.

        Notes
        -----
        Dry sprung mass and its plan position come from the four scale readings less the unsprung
        masses, by moments (on level pads the height does not enter).
        """
        if load is not None and not isinstance(load, str):
            each = [self.masses(one) for one in load]
            return Masses(
                **{f.name: np.array([getattr(m, f.name) for m in each]) for f in fields(Masses)}
            )
        parts = [self._dry_sprung]
        if load is not None:
            known_name(load, self.loads, "load", "a load of this vehicle")
            parts += [self.items[name] for name in self.loads[load].items]
        mass = sum(part.mass for part in parts)
        centre = {
            axis: sum(part.mass * getattr(part, axis) for part in parts) / mass
            for axis in ("behind_front_axle", "left_of_centre", "above_frame")
        }
        return Masses(mass=mass, **centre)

    def inertia(self, load=None):
        """Moments of inertia of the sprung mass about its own centre of gravity.

        Parameters
        ----------
        load : str, optional
            A named load; nothing aboard if not given.

        Returns
        -------
        pitch, roll : float
            [kg m^2]

        Notes
        -----
        The dry mass by its radii of gyration, people and kit as points, by the parallel-axis
        theorem.
        """
        dry, whole = self._dry_sprung, self.masses(load)
        scales = self.scales
        ahead, behind = dry.behind_front_axle, self.wheelbase - dry.behind_front_axle
        pitch = scales.pitch_gyration or np.sqrt(ahead * behind)
        roll = scales.roll_gyration or (self.front.track + self.rear.track) / 6
        parts = [(dry, pitch**2, roll**2)]
        if load is not None:
            parts += [(self.items[name], 0.0, 0.0) for name in self.loads[load].items]
        about_pitch = about_roll = 0.0
        for part, own_pitch, own_roll in parts:
            x = part.behind_front_axle - whole.behind_front_axle
            y = part.left_of_centre - whole.left_of_centre
            z = part.above_frame - whole.above_frame
            about_pitch += part.mass * (own_pitch + x**2 + z**2)
            about_roll += part.mass * (own_roll + y**2 + z**2)
        return float(about_pitch), float(about_roll)

    @cached_property
    def _dry_sprung(self):
        sprung = {}
        for corner in CORNERS:
            sprung[corner] = getattr(self.scales, corner) - self.axle_of(corner).unsprung_mass
        mass = sum(sprung.values())
        rear = sprung["rear_left"] + sprung["rear_right"]
        left = sum(
            0.5 * axle.track * (sprung[f"{end}_left"] - sprung[f"{end}_right"])
            for end, axle in (("front", self.front), ("rear", self.rear))
        )
        return Masses(
            mass=mass,
            behind_front_axle=self.wheelbase * rear / mass,
            left_of_centre=left / mass,
            above_frame=self.scales.sprung_cg_above_frame,
        )


_PARTS = {
    "springs": (Spring, VariedSpring), "stacks": (StackPlan,), "setups": (Setup,), "items": (Item,),
    "loads": (Load,),
}  # fmt: skip
"""Of what class the named parts of a `Vehicle` are."""

MOST_LISTED = 12
"""Names an error lists before it stops."""


def known_name(name, known, where, what):
    """Refuse a name that is not known, with the nearest one as a hint.

    Parameters
    ----------
    name : str
    known : iterable of str
    where, what : str
        Which field it is in, and what was expected there, for the sentence.

    Raises
    ------
    ValueError
        If it is none of those known.
    """
    try:
        there = name in known
    except TypeError:  # no name at all, such as a table
        there = False
    if not there:
        names = [str(k) for k in known]
        near = difflib.get_close_matches(str(name), names, n=1)
        hint = f" (did you mean {near[0]!r}?)" if near else ""
        shown = repr(name) if len(repr(name)) <= 80 else f"{repr(name)[:77]}..."
        listed = ", ".join(names[:MOST_LISTED]) or "none given"
        if len(names) > MOST_LISTED:
            listed += f" and {len(names) - MOST_LISTED} more"
        raise ValueError(f"{where} is {shown}; expected {what}: {listed}{hint}")
