"""What a driver talks about: g-outs, drops, whoops, edges, corners, braking, rough ground."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from suspkit.dynamics.road import Road


@dataclass(frozen=True, kw_only=True, eq=False)
class Event:
    """A road driven at a speed, and what the driver does meanwhile.

    Parameters
    ----------
    name : str
    duration : float
        [s]
    speed : float
        Forward [m/s].
    road : Road
    approach : float
        Flat ground before the road begins, in front of the front wheels [m].
    lateral_steady, forward_steady : float
        Acceleration to the left, and forward, reached after ``ramp`` [m/s^2].
    ramp : float
        Time in which they build up [s].
    drop : float
        Height of the tyres above the ground at the start [m].

    Raises
    ------
    ValueError
        If a number is not finite, below zero where it cannot be, or the duration is zero.
    """

    name: str
    duration: float
    speed: float = 0.0
    road: Road = field(default_factory=Road.flat)
    approach: float = 0.0
    lateral_steady: float = 0.0
    forward_steady: float = 0.0
    ramp: float = 0.3
    drop: float = 0.0

    def __post_init__(self):
        for name in ("duration", "speed", "approach", "ramp", "drop"):
            value = getattr(self, name)
            if not (np.isfinite(value) and value >= 0):
                raise ValueError(f"{name} is {value!r}; expected zero or more")
        for name in ("lateral_steady", "forward_steady"):
            value = getattr(self, name)
            if not np.isfinite(value):
                raise ValueError(f"{name} is {value!r}; expected a finite number")
        if self.duration <= 0:
            raise ValueError(f"duration is {self.duration!r}; expected above zero")

    def under(self, time, *, behind=0.0, left=True):
        """Ground under one tyre.

        Parameters
        ----------
        time : array
            [s]
        behind : float
            How far the tyre runs behind the front ones [m].
        left : bool

        Returns
        -------
        height, rise : array
            [m] and how fast it rises [m/s].
        """
        distance = self.speed * np.asarray(time, dtype=float) - self.approach - behind
        side = "left" if left else "right"
        return (
            self.road.height(distance, side=side),
            self.speed * self.road.slope(distance, side=side),
        )

    def _build_up(self, time):
        if self.ramp == 0:
            return np.ones_like(time)
        return np.clip(np.asarray(time) / self.ramp, 0.0, 1.0)

    def lateral(self, time):
        """Acceleration to the left at each time [m/s^2]."""
        return self.lateral_steady * self._build_up(time)

    def forward(self, time):
        """Acceleration forward at each time [m/s^2]."""
        return self.forward_steady * self._build_up(time)


def g_out(*, radius, depth, speed, approach=3.0):
    """A dip of a given radius taken at speed.

    Parameters
    ----------
    radius : float
        Of its bottom [m].
    depth : float
        [m]
    speed : float
        [m/s]
    approach : float
        Flat ground before it [m].

    Returns
    -------
    Event
    """
    road = Road.g_out(radius, depth=depth)
    return _over(road, f"g-out of {radius:g} m radius", speed, approach)


def single_bump(*, height, length, speed, approach=3.0):
    """One rounded bump.

    Parameters
    ----------
    height, length : float
        [m]
    speed : float
        [m/s]
    approach : float
        [m]

    Returns
    -------
    Event
    """
    return _over(Road.single_bump(height, length=length), "single bump", speed, approach)


def square_edge(*, height, speed, patch=0.2, approach=3.0):
    """A step up, rounded over the tyre's contact patch.

    Parameters
    ----------
    height : float
        [m]
    speed : float
        [m/s]
    patch : float
        Length of the contact patch [m].
    approach : float
        [m]

    Returns
    -------
    Event
    """
    return _over(Road.square_edge(height, patch=patch), "square edge", speed, approach)


def whoops(*, height, spacing, speed, count=8, approach=3.0):
    """A row of whoops.

    Parameters
    ----------
    height : float
        Trough to crest [m].
    spacing : float
        Crest to crest [m].
    speed : float
        [m/s]
    count : int
    approach : float
        [m]

    Returns
    -------
    Event
    """
    return _over(Road.whoops(height, spacing=spacing, count=count), "whoops", speed, approach)


def rough_road(*, road_class, speed, duration=10.0, seed=1):
    """Rough ground of an ISO 8608 class.

    Parameters
    ----------
    road_class : {"A", ..., "H"}
    speed : float
        [m/s]
    duration : float
        [s]
    seed : int
        The same seed is the same ground.

    Returns
    -------
    Event
    """
    _above_zero("speed", speed)
    _above_zero("duration", duration)
    lead = 10.0
    road = Road.iso8608(road_class, length=speed * duration + lead, seed=seed)
    # Started from rest on its first height, the vehicle meets the ground as it comes.
    return Event(name=f"class {road_class} ground", duration=duration, speed=speed, road=road,
                 approach=0.0)  # fmt: skip


def profile(path, *, speed, approach=3.0):
    """A measured profile from a CSV file.

    Parameters
    ----------
    path : str or path
    speed : float
        [m/s]
    approach : float
        [m]

    Returns
    -------
    Event
    """
    return _over(Road.from_csv(path), "measured profile", speed, approach)


def drop(*, height, duration=2.0):
    """Let fall level onto flat ground.

    Parameters
    ----------
    height : float
        Of the tyres above the ground [m].
    duration : float
        [s]

    Returns
    -------
    Event
    """
    return Event(name="drop", duration=duration, drop=height)


def cornering(*, lateral, duration=4.0, ramp=0.5):
    """A steady corner, entered over a ramp.

    Parameters
    ----------
    lateral : float
        Acceleration to the left [m/s^2].
    duration, ramp : float
        [s]

    Returns
    -------
    Event
    """
    return Event(name="cornering", duration=duration, lateral_steady=lateral, ramp=ramp)


def braking(*, slowing, duration=3.0, ramp=0.3):
    """Steady braking, built up over a ramp.

    Parameters
    ----------
    slowing : float
        Deceleration [m/s^2].
    duration, ramp : float
        [s]

    Returns
    -------
    Event
    """
    return Event(name="braking", duration=duration, forward_steady=-slowing, ramp=ramp)


def _over(road, name, speed, approach):
    _above_zero("speed", speed)
    # Long enough for the rear wheels to clear it and the body to come to rest.
    return Event(
        name=name, duration=(approach + road.length + 4.0) / speed + 1.5, speed=speed, road=road,
        approach=approach,
    )  # fmt: skip


def _above_zero(name, value):
    if not 0 < value < np.inf:
        raise ValueError(f"{name} is {value!r}; expected above zero")
