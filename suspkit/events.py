"""What a driver talks about: g-outs, drops, whoops, edges, corners, braking, rough ground."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from suspkit.road import Road, flat


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
    """

    name: str
    duration: float
    speed: float = 0.0
    road: Road = field(default_factory=flat)
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
