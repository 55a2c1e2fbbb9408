"""Monotone piecewise-linear relations, exact at their knots.

Springs that bind, rings that close and bump stops are all relations of this kind, so their sum,
inverse and clip are too: an event such as a crossover is a knot, found exactly and not on a grid.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from suspkit.given import refuse


def _gather(table, index):
    """Pick ``table[..., index]`` where the batch axes of both broadcast."""
    if table.ndim == 1:
        return table[index]
    batch, knots = table.shape[:-1], table.shape[-1]
    # One flat look-up; the batch is not spread out for it, and it is most of the time of a sweep.
    row = np.arange(0, table.size, knots).reshape(batch)
    return table.reshape(-1).take(index + row)


@dataclass(frozen=True, eq=False)
class Curve:
    """A non-decreasing piecewise-linear function, or a batch of them.

    Parameters
    ----------
    x, y : array, shape (..., K)
        Knots, non-decreasing along the last axis. Leading axes are a batch of curves.
    slope_before, slope_after : float or array, shape (...)
        Slope left of the first knot and right of the last one. ``inf`` means a hard stop.

    Raises
    ------
    ValueError
        If there is no knot.
    """

    x: np.ndarray
    y: np.ndarray
    slope_before: float | np.ndarray = 0.0
    slope_after: float | np.ndarray = 0.0

    def __post_init__(self):
        try:
            x = np.asarray(self.x, dtype=float)
            y = np.asarray(self.y, dtype=float)
        except (TypeError, ValueError):
            refuse("x and y", (self.x, self.y), "arrays of numbers")
        if x.ndim == 0 or x.shape[-1] == 0:
            raise ValueError(f"x has shape {x.shape}; expected at least one knot on the last axis")
        if x.shape != y.shape:
            x, y = np.broadcast_arrays(x, y)
        object.__setattr__(self, "x", x)
        object.__setattr__(self, "y", y)
        batch = x.shape[:-1]
        for name in ("slope_before", "slope_after"):
            slope = np.asarray(getattr(self, name), dtype=float)
            if slope.shape != batch:
                slope = np.broadcast_to(slope, batch)
            object.__setattr__(self, name, slope)

    @classmethod
    def from_table(cls, x, y, *, name="table", first_row=1):
        """Build a curve from rows that must both rise; the end segments are carried on.

        Parameters
        ----------
        x, y : sequence of float
            At least two rows, strictly increasing.
        name : str
            What to call the table in an error.
        first_row : int
            Number of its first row there; 0 if a zero row was put in front.

        Raises
        ------
        ValueError
            If there are fewer than two rows, or a row does not rise.
        """
        x, y = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
        if x.ndim != 1 or x.shape != y.shape or x.size < 2:
            raise ValueError(
                f"{name} has {x.size} and {y.size} values; expected two equal columns of 2 or more"
            )
        if not (np.isfinite(x).all() and np.isfinite(y).all()):
            raise ValueError(f"{name} holds a value that is not a number; expected finite rows")
        falls = np.flatnonzero((np.diff(x) <= 0) | (np.diff(y) <= 0))
        if falls.size:
            row = int(falls[0]) + 1
            raise ValueError(
                f"{name} row {row + first_row} is ({x[row]:g}, {y[row]:g}); expected both columns "
                "to rise"
            )
        slopes = np.diff(y) / np.diff(x)
        return cls(x, y, slopes[0], slopes[-1])

    @cached_property
    def _segments(self):
        """Slope of each of the K + 1 pieces: before, between the knots, after."""
        dx, dy = np.diff(self.x, axis=-1), np.diff(self.y, axis=-1)
        with np.errstate(divide="ignore", invalid="ignore"):
            inner = np.where(dx > 0, dy / dx, np.where(dy > 0, np.inf, 0.0))
        return np.concatenate(
            [self.slope_before[..., None], inner, self.slope_after[..., None]], axis=-1
        )

    def _locate(self, at, side):
        """Index of the piece that holds ``at`` (0 is before the first knot, K after the last)."""
        if self.x.ndim == 1:
            return np.searchsorted(self.x, at, side="right" if side == "right" else "left")
        passed = np.less_equal if side == "right" else np.less
        knots = np.moveaxis(self.x, -1, 0)  # few, so a sum over them beats one along a short axis
        count = np.zeros(np.broadcast_shapes(at.shape, self.x.shape[:-1]), dtype=np.int16)
        for knot in knots:
            count += passed(knot, at)
        return count.astype(np.intp)

    def __call__(self, at):
        """Evaluate the curve.

        Parameters
        ----------
        at : float or array
            Broadcasts against the batch shape.

        Returns
        -------
        float or array
        """
        at = np.asarray(at, dtype=float)
        piece = self._locate(at, "right")
        knot = np.maximum(piece - 1, 0)
        step = at - _gather(self.x, knot)
        slope = _gather(self._segments, piece)
        # A hard stop has infinite slope, and at the stop itself the step is zero; a flat end stays
        # flat however far away (past solid a stack asks its springs for an infinite force).
        with np.errstate(invalid="ignore"):
            rise = np.where((step == 0) | (slope == 0), 0.0, slope * step)
        return (_gather(self.y, knot) + rise)[()]

    def slope(self, at, *, side="right"):
        """Slope of the curve, taken on the stated side where ``at`` is a knot.

        Parameters
        ----------
        at : float or array
        side : {"right", "left"}

        Returns
        -------
        float or array
        """
        at = np.asarray(at, dtype=float)
        return _gather(self._segments, np.asarray(self._locate(at, side)))[()]

    def antiderivative(self, at):
        """Exact integral of the curve from its first knot to ``at``.

        Parameters
        ----------
        at : float or array

        Returns
        -------
        float or array
        """
        at = np.asarray(at, dtype=float)
        dx = np.diff(self.x, axis=-1)
        area = np.cumsum(0.5 * (self.y[..., 1:] + self.y[..., :-1]) * dx, axis=-1)
        area = np.concatenate([np.zeros(self.x.shape[:-1] + (1,)), area], axis=-1)
        piece = self._locate(at, "right")
        knot = np.maximum(piece - 1, 0)
        step = at - _gather(self.x, knot)
        slope = _gather(self._segments, piece)
        with np.errstate(invalid="ignore"):
            bend = np.where(step == 0, 0.0, 0.5 * slope * step**2)
        return (_gather(area, knot) + _gather(self.y, knot) * step + bend)[()]

    def integral(self, start, stop):
        """Exact integral between two points.

        Parameters
        ----------
        start, stop : float or array

        Returns
        -------
        float or array
        """
        return self.antiderivative(stop) - self.antiderivative(start)

    def inverse(self):
        """The relation read the other way round.

        Returns
        -------
        Curve
            Flat pieces become hard stops (infinite slope) and the other way round.
        """
        with np.errstate(divide="ignore"):
            return Curve(self.y, self.x, 1.0 / self.slope_before, 1.0 / self.slope_after)

    def shift(self, dx=0.0, dy=0.0):
        """Move the curve by ``dx`` to the right and ``dy`` up (floats, or arrays of the batch)."""
        dx, dy = np.asarray(dx, dtype=float), np.asarray(dy, dtype=float)
        batch = np.broadcast_shapes(dx.shape, dy.shape, self.x.shape[:-1])
        return Curve(
            np.broadcast_to(self.x + dx[..., None], batch + self.x.shape[-1:]),
            np.broadcast_to(self.y + dy[..., None], batch + self.y.shape[-1:]),
            np.broadcast_to(self.slope_before, batch),
            np.broadcast_to(self.slope_after, batch),
        )

    def __add__(self, other):
        """Sum of two curves without jumps; its knots are the knots of both."""
        batch = np.broadcast_shapes(self.x.shape[:-1], other.x.shape[:-1])
        x, y = [], []
        for one, two in ((self, other), (other, self)):
            # Each curve knows itself at its own knots; knots first, so that the batch broadcasts.
            x.append(np.broadcast_to(one.x, batch + one.x.shape[-1:]))
            y.append(one.y + np.moveaxis(two(np.moveaxis(x[-1], -1, 0)), 0, -1))
        x, y = np.concatenate(x, axis=-1), np.concatenate(y, axis=-1)
        order = np.argsort(x, axis=-1, kind="stable")
        order += np.arange(0, x.size, x.shape[-1]).reshape(batch + (1,))  # one flat look-up
        return Curve(
            x.reshape(-1).take(order), y.reshape(-1).take(order),
            self.slope_before + other.slope_before, self.slope_after + other.slope_after,
        )  # fmt: skip

    def reach(self, level):
        """Where the curve first reaches ``level``; ``inf`` where it never does.

        Parameters
        ----------
        level : float or array

        Returns
        -------
        float or array
        """
        level = np.asarray(level, dtype=float)
        if self.y.ndim == 1:
            piece = np.searchsorted(self.y, level, side="left")
        else:
            piece = (self.y < level[..., None]).sum(axis=-1)
        knot = np.maximum(piece - 1, 0)
        rise = level - _gather(self.y, knot)
        slope = _gather(self._segments, piece)
        with np.errstate(divide="ignore", invalid="ignore"):
            run = np.where(rise == 0, 0.0, rise / slope)
        # On a knot the answer is that knot, free of the division's rounding.
        end = np.minimum(piece, self.x.shape[-1] - 1)
        on_knot = level == _gather(self.y, end)
        return np.where(on_knot, _gather(self.x, end), _gather(self.x, knot) + run)[()]

    def clip_above(self, cap):
        """The curve held at ``cap`` once it gets there: ``min(curve, cap)``.

        Parameters
        ----------
        cap : float or array
            ``inf`` leaves the curve as it is.

        Returns
        -------
        Curve
            With a knot exactly where the cap is met.
        """
        cap = np.asarray(cap, dtype=float)
        batch = np.broadcast_shapes(cap.shape, self.x.shape[:-1])
        # A cap below the whole of a curve that starts flat holds it from its first knot on.
        meets = self.reach(cap)
        meets = np.broadcast_to(np.where(np.isneginf(meets), self.x[..., 0], meets), batch)
        reached = np.isfinite(meets)
        x = np.broadcast_to(self.x, batch + self.x.shape[-1:])
        # Where the cap is never met a copy of the last knot keeps the batch rectangular.
        x = np.sort(
            np.concatenate([x, np.where(reached, meets, x[..., -1])[..., None]], axis=-1), axis=-1
        )
        y = np.moveaxis(self(np.moveaxis(x, -1, 0)), 0, -1)
        held = reached[..., None] & (x >= meets[..., None])
        y = np.where(held, cap[..., None], y)
        return Curve(
            x,
            y,
            np.broadcast_to(self.slope_before, batch),
            np.where(reached, 0.0, self.slope_after),
        )

    def pick(self, index):
        """One curve of a batch (or a smaller batch), by numpy indexing of the batch axes."""
        return Curve(
            self.x[index], self.y[index], self.slope_before[index], self.slope_after[index]
        )
