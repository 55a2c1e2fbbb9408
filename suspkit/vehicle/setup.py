"""The thing being tuned: turns, gaps, clicks and bars of one vehicle, as plain numbers."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from suspkit.given import refuse, short, take_in
from suspkit.parts.fields import Clicks, Gap, Ring, Turns

CORNERS = ("front_left", "front_right", "rear_left", "rear_right")
"""Order of every array with one entry a corner."""

AXLES = {"front": ("front_left", "front_right"), "rear": ("rear_left", "rear_right")}

ROWS = {"front": slice(0, 2), "rear": slice(2, 4)}
"""Where an axle's two corners stand in such an array."""


def corners_of(where):
    """Corners that "front", "rear", "all" or a corner's own name stands for."""
    return AXLES.get(where, CORNERS if where == "all" else (where,))


@dataclass(frozen=True, kw_only=True)
class CornerSetup:
    """How one corner is adjusted.

    Parameters
    ----------
    stack : str
        Name of the spring stack fitted.
    turns : float or array
        Collar turns from contact, counted with the lower bolt in.
    gap : float, array or tuple, optional
        Stop gap as the tape reads it at droop hang after preload is set [m]; of several rings
        one each, from the collar down. The gap is *re-set* to this whatever the preload.
    ring : float, array or tuple, optional
        Or the ring *left where it is* on the thread: the gap the tape would read at contact,
        with no preload [m].
    clicks : dict of str to float
        By adjuster, as the vehicle file counts them.

    Raises
    ------
    ValueError
        If both ``gap`` and ``ring`` are given, or a number is none or beyond any thread.
    """

    stack: str
    turns: Turns | np.ndarray = 0.0
    gap: Gap | tuple[Gap, ...] | None = None
    ring: Ring | tuple[Ring, ...] | None = None
    clicks: dict[str, Clicks] = field(default_factory=dict)

    def __post_init__(self):
        if self.gap is not None and self.ring is not None:
            raise ValueError(
                f"gap {short(self.gap)} and ring {short(self.ring)} are both given; expected one: "
                "a gap is re-set by tape, a ring stays where it is"
            )
        take_in(self, bounded=True, arrays=True)


@dataclass(frozen=True, kw_only=True)
class Setup:
    """Four corners and two bars. A changed set-up is a new one.

    A vehicle file and a job log tell of a bar that it is on or off. Besides these it may be the
    share of its rate that is on, 0 to 1, or an array of shares: that is how `bar_off_limit` looks
    for the least bar that will do.

    Parameters
    ----------
    front_left, front_right, rear_left, rear_right : CornerSetup
        One corner each.
    front_bar, rear_bar : bool
        Whether the anti-roll bar is connected.
    note : str
        Free text.

    Raises
    ------
    ValueError
        If a bar is neither on, off nor a share.
    """

    front_left: CornerSetup
    front_right: CornerSetup
    rear_left: CornerSetup
    rear_right: CornerSetup
    front_bar: bool = True
    rear_bar: bool = True
    note: str = ""

    def __post_init__(self):
        for name in CORNERS:
            if not isinstance(getattr(self, name), CornerSetup):
                refuse(name, getattr(self, name), "a CornerSetup")
        for name in ("front_bar", "rear_bar"):
            share = np.asarray(getattr(self, name))
            if share.dtype.kind not in "bif" or not np.all((share >= 0) & (share <= 1)):
                raise ValueError(
                    f"{name} is {getattr(self, name)!r:.60}; expected True or False, or the share "
                    "of it that is on, 0 to 1"
                )

    @property
    def corners(self):
        """The four corner set-ups, in the order of `CORNERS`."""
        return tuple(getattr(self, name) for name in CORNERS)

    def change(self, where, **changes):
        """A copy with the named corner or axle changed.

        Parameters
        ----------
        where : str
            A corner of `CORNERS`, "front", "rear" or "all".
        **changes
            Fields of `CornerSetup`. Giving ``gap`` drops ``ring`` and the other way round. The
            note is dropped: it was about the set-up as it was.

        Returns
        -------
        Setup

        Raises
        ------
        ValueError
            If ``where`` names no corner or axle.
        """
        names = corners_of(where)
        if not set(names) <= set(CORNERS):
            raise ValueError(
                f"where is {where!r:.60}; expected front, rear, all or one of {', '.join(CORNERS)}"
            )
        if changes.get("gap") is not None:
            changes.setdefault("ring", None)
        if changes.get("ring") is not None:
            changes.setdefault("gap", None)
        made = {n: replace(getattr(self, n), **changes) for n in names}
        return replace(self, note="", **made)
