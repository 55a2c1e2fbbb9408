"""What was done to a vehicle and what the tape said, kept for good in one file."""

from __future__ import annotations

from dataclasses import dataclass

from suspkit.setup import Setup

Four = tuple[float | None, float | None, float | None, float | None]

UNREAD: Four = (None, None, None, None)
"""A reading not taken on any corner."""


@dataclass(frozen=True, kw_only=True)
class Ride:
    """One road test: how the vehicle was set, what was aboard, what was read.

    Readings are four, in the order of `suspkit.setup.CORNERS`, ``None`` where not taken.

    Parameters
    ----------
    setup : Setup
        As counted at the bench.
    load : str, optional
        Named load of the vehicle; nothing aboard if not given.
    heights : tuple of float or None
        Ride height by tape [m].
    scales : tuple of float or None
        Scale reading under each wheel [kg].
    gaps : tuple of float or None
        Upper stop gap by tape at droop hang [m].
    collars : tuple of float or None
        Collar's place, down from fully run up, by caliper on the thread [m].
    at_rest : {"rolled", "lowered", "lifted"}
        How it came to rest before the reading: rolled back and forth, let down from a jack (so
        friction holds it up), or pushed down and let rise (so friction holds it down).
    bottomed : tuple of str or None
        Corners that bottomed on the drive; empty if none did, None if nobody looked.
    when : str
        Time, as in ISO 8601.
    by : str
        Who did it.
    note : str
        Free text.
    """

    setup: Setup
    load: str | None = None
    heights: Four = UNREAD
    scales: Four = UNREAD
    gaps: Four = UNREAD
    collars: Four = UNREAD
    at_rest: str = "rolled"
    bottomed: tuple[str, ...] | None = None
    when: str = ""
    by: str = ""
    note: str = ""
