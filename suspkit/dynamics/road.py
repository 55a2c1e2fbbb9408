"""The ground under the wheels: height and slope along two wheel paths.

A road is a cubic through height and slope at evenly spaced knots, one for the left wheels and one
for the right, so that the slope a damper feels is the exact derivative of the height a tyre stands
on, and finding the cell takes one division. Events a driver talks about (a dip, a bump, an edge,
whoops) are formulas put on such knots; rough ground follows ISO 8608; a measured profile comes from
a CSV file.

References
----------
.. [1] ISO 8608:2016, "Mechanical vibration - Road surface profiles - Reporting of measured data".
.. [2] K. M. A. Kamash and J. D. Robson, "The application of isotropy in road surface modelling",
   Journal of Sound and Vibration 57, 89-100 (1978).
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from numbers import Integral, Real
from pathlib import Path
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from suspkit.files import read_rows, read_text
from suspkit.units import DEGREE, parse

__all__ = ["ROUGHNESS", "Road"]

REFERENCE = 0.1
"""Wave number n0 [cycles/m] at which ISO 8608 states the roughness of a class."""

ROUGHNESS = {name: 16e-6 * 4.0**rank for rank, name in enumerate("ABCDEFGH")}
"""Displacement spectral density Gd(n0) of the road classes, geometric mean [m**3]."""

BAND = (0.01, 10.0)
"""Wave numbers that a rough road is made of [cycles/m]: waves of 100 m to 10 cm."""

_PERIOD = 1000.0
"""A rough road repeats after a multiple of this [m], ten of its longest waves."""

_KNOTS_PER_WAVE = 64
"""A cubic on so many knots misses a cosine by one part in four million of its amplitude."""

_MOST_KNOTS = 2_000_000

_FURTHEST = 1e6
_CLOSEST = 1e-12
"""A measured profile reaches no further and has no points closer [m]; only a slip does."""

_STEEPEST = 45 * DEGREE
"""Sides of a dip steeper than this are a wall: height over distance no longer says what it is."""

_LEFT, _RIGHT = 0, 1
_PATHS = {"both": slice(None), "left": _LEFT, "right": _RIGHT}

Side = Literal["both", "left", "right"]


@dataclass(frozen=True, kw_only=True, eq=False)
class Road:
    """Height of the ground along the left and the right wheel path.

    Build one with `flat`, `g_out`, `single_bump`, `square_edge`, `whoops`, `iso8608`,
    `from_arrays` or `from_csv`.

    Parameters
    ----------
    step : float
        Distance between knots [m].
    heights : array, shape (2, n)
        Height at the knots, left path first [m]. The first knot is at distance 0.
    slopes : array, shape (2, n)
        Slope at the knots, positive uphill [-]; zero at both ends.
    name : str, optional
        What to call the road.

    Raises
    ------
    ValueError
        If there are fewer than two knots, a value is not finite or an end is not level.

    Notes
    -----
    Before distance 0 and past `length` the ground is flat at the height of that end. Both ends
    must be level, so the slope is continuous everywhere; its own slope (curvature) is not.
    """

    step: float
    heights: NDArray[np.float64]
    slopes: NDArray[np.float64]
    name: str = "road"

    def __post_init__(self) -> None:
        _number("step", self.step, 1e-6, 1e6)
        for name in ("heights", "slopes"):
            values = np.array(getattr(self, name), dtype=float, order="C")
            if values.ndim != 2 or values.shape[0] != 2 or values.shape[1] < 2:
                raise ValueError(
                    f"{name} has shape {values.shape}; expected (2, n): left and right, "
                    "2 or more knots"
                )
            if not np.isfinite(values).all():
                path, knot = np.argwhere(~np.isfinite(values))[0]
                raise ValueError(
                    f"{name}[{path}, {knot}] is {values[path, knot]}; expected finite numbers"
                )
            values.setflags(write=False)
            object.__setattr__(self, name, values)
        if self.heights.shape != self.slopes.shape:
            raise ValueError(
                f"slopes has shape {self.slopes.shape}; expected {self.heights.shape}, as heights"
            )
        ends = self.slopes[:, [0, -1]]
        if ends.any():
            raise ValueError(
                f"slopes at the ends are {ends.tolist()}; expected 0, where the flat ground begins"
            )

    # ---------------------------------------------------------------- evaluation

    @property
    def length(self) -> float:
        """Distance from the first knot to the last [m]."""
        return (self.heights.shape[1] - 1) * self.step

    @cached_property
    def coefficients(self) -> NDArray[np.float64]:
        """Cubics between the knots, shape (2, n - 1, 4).

        Cell j of a path holds c0 [m], c1 [-], c2 [1/m], c3 [1/m**2] of
        ``height = c0 + c1*u + c2*u**2 + c3*u**3`` with ``u = distance - j*step``.
        """
        start, stop = self.slopes[:, :-1], self.slopes[:, 1:]
        mean = np.diff(self.heights, axis=1) / self.step
        bend = (3 * mean - 2 * start - stop) / self.step
        twist = (start + stop - 2 * mean) / self.step**2
        return np.stack([self.heights[:, :-1], start, bend, twist], axis=-1)

    def _locate(self, distance):
        """Cell, offset into it, and its four coefficients, each with the path as first axis."""
        inside = np.minimum(np.maximum(distance, 0.0), self.length)
        # fmax drops a NaN here, so that it costs no warning and still comes out as NaN.
        last = self.heights.shape[1] - 2
        cell = np.fmin(np.fmax(inside / self.step, 0), last).astype(np.intp)
        return cell, inside - cell * self.step, np.moveaxis(self.coefficients[:, cell], -1, 0)

    def height(self, distance: ArrayLike, *, side: Side = "both"):
        """Height of the ground.

        Parameters
        ----------
        distance : array_like, shape (...)
            Distance along the road [m].
        side : {"both", "left", "right"}
            Which wheel path.

        Returns
        -------
        float or ndarray
            Height, shape (2, ...) with the left path first, or (...) for one side [m].
        """
        _, u, (c0, c1, c2, c3) = self._locate(np.asarray(distance, dtype=float))
        return (c0 + u * (c1 + u * (c2 + u * c3)))[_path(side)]

    def slope(self, distance: ArrayLike, *, side: Side = "both"):
        """Slope of the ground: the exact derivative of `height`, arguments as there.

        Returns
        -------
        float or ndarray
            Slope, positive uphill, shape (2, ...) or (...) for one side [-]. Zero on both ends and
            beyond.
        """
        distance = np.asarray(distance, dtype=float)
        _, u, (_, c1, c2, c3) = self._locate(distance)
        level = (distance <= 0.0) | (distance >= self.length)
        return np.where(level, 0.0, c1 + u * (2 * c2 + u * 3 * c3))[_path(side)]

    def averaged(self, patch: float) -> Road:
        """The road as a tyre feels it: the mean height under its contact patch.

        Parameters
        ----------
        patch : float
            Length of the contact patch [m].

        Returns
        -------
        Road
            Longer by a patch, because the tyre meets a rise half a patch before its axle does;
            distance counts from that earlier start.

        Notes
        -----
        A tyre stands on an area and swallows what is shorter than it. A model that touches the
        ground in one point instead follows every 10 cm wave of a rough road, and shakes too hard
        at speed. A moving average is the plainest model of this; roughness indices use one of
        0.25 m (from memory).
        """
        _number("patch", patch, 0.01, 2.0)
        step = min(self.step, patch / 8)
        cells = _cells((self.length + patch) / step)
        front = np.arange(cells + 1) * step
        back = front - patch
        heights = (self._area(front) - self._area(back)) / patch
        slopes = (self.height(front) - self.height(back)) / patch
        slopes[:, [0, -1]] = 0.0  # they are, but for rounding
        return Road(step=step, heights=heights, slopes=slopes, name=self.name)

    def _area(self, distance):
        """Integral of the height from distance 0, exact, shape (2, n)."""
        h = self.step
        c0, c1, c2, c3 = np.moveaxis(self.coefficients, -1, 0)
        cells = h * (c0 + h * (c1 / 2 + h * (c2 / 3 + h * c3 / 4)))
        before = np.concatenate([np.zeros((2, 1)), np.cumsum(cells, axis=1)], axis=1)
        cell, u, (c0, c1, c2, c3) = self._locate(distance)
        part = u * (c0 + u * (c1 / 2 + u * (c2 / 3 + u * c3 / 4)))
        beyond = distance - np.clip(distance, 0.0, self.length)
        ends = np.where(beyond < 0, self.heights[:, :1], self.heights[:, -1:])
        return before[:, cell] + part + ends * beyond

    # -------------------------------------------------------------- events

    @classmethod
    def flat(cls, *, length: float = 1.0) -> Road:
        """Flat ground.

        Parameters
        ----------
        length : float, optional
            Distance to the last knot; the ground goes on beyond it [m].

        Returns
        -------
        Road
        """
        _number("length", length, 1e-3, 1e5)
        return cls(step=length, heights=np.zeros((2, 2)), slopes=np.zeros((2, 2)), name="flat")

    @classmethod
    def g_out(
        cls,
        radius: float,
        *,
        depth: float | None = None,
        length: float | None = None,
        lip: float | None = None,
    ) -> Road:
        """A dip to drive through: a circular bottom between two rounded lips.

        Parameters
        ----------
        radius : float
            Radius of the bottom, as seen from the side [m].
        depth : float, optional
            How far the bottom lies below the ground before the dip [m]. Give this or `length`.
        length : float, optional
            Length of the whole dip, both lips with it [m].
        lip : float, optional
            Radius of the rounded lips [m]; twice that of the bottom if not given, which unloads
            the wheels half as much as the bottom loads them.

        Returns
        -------
        Road

        Raises
        ------
        ValueError
            If neither or both of depth and length are given, or the sides are steeper than 45
            degrees.

        Notes
        -----
        The arcs meet with a common tangent at an angle a: depth is ``(radius + lip)(1 - cos a)``
        and length ``2(radius + lip) sin a``. At a speed v the bottom asks for ``v**2/radius`` on
        top of gravity, and at ``v**2 > g*lip`` the wheels leave the lip. Our own shape, no source.
        """
        _number("radius", radius, 0.5, 1e4)
        lip = 2.0 * radius if lip is None else lip
        _number("lip", lip, 0.1, 1e4)
        if (depth is None) == (length is None):
            raise ValueError(f"depth is {depth} and length is {length}; expected one of the two")
        both = radius + lip
        arcs = f"where arcs of {radius:g} m and {lip:g} m make sides of 45 degrees"
        if depth is not None:
            _number("depth", depth, 1e-4, both * (1 - np.cos(_STEEPEST)), why=arcs)
            half = np.sqrt(depth * (2 * both - depth))
        else:
            _number("length", length, 1e-2, 2 * both * np.sin(_STEEPEST), why=arcs)
            half = length / 2
            depth = half**2 / (both + np.sqrt(both**2 - half**2))
        bottom = half * radius / both  # half its length

        def ground(x):
            x = x - middle
            away = np.abs(x)
            to_edge = np.minimum(away - half, 0.0)
            inner = np.sqrt(np.maximum(radius**2 - x**2, 0.0))
            outer = np.sqrt(lip**2 - np.clip(to_edge, -half * lip / both, 0.0) ** 2)
            in_bottom = away <= bottom
            # x**2/(R + sqrt(R**2 - x**2)) is R - sqrt(R**2 - x**2) without the loss of digits.
            height = np.where(
                in_bottom, x**2 / (radius + inner) - depth, -(to_edge**2) / (lip + outer)
            )
            with np.errstate(divide="ignore"):
                slope = np.where(in_bottom, x / inner, -to_edge / outer * np.sign(x))
            return height, slope

        # Knots on both joints of the bottom; with the usual lips there are knots on the ends too.
        step = bottom / _KNOTS_PER_WAVE
        cells = 2 * _cells(half / step)
        middle = cells // 2 * step
        return cls._sampled(ground, step, cells, "both", f"g-out of {radius:g} m radius")

    @classmethod
    def single_bump(cls, height: float, *, length: float, side: Side = "both") -> Road:
        """One rounded bump: a haversine.

        Parameters
        ----------
        height : float
            Height of the crest; negative for a hole [m].
        length : float
            From the foot before it to the foot behind it [m].
        side : {"both", "left", "right"}, optional
            Which wheels meet it.

        Returns
        -------
        Road

        Notes
        -----
        ``height*(1 - cos(2*pi*x/length))/2``, the usual stand-in for a rounded obstacle.
        """
        _number("height", height, -5.0, 5.0)
        _number("length", length, 0.02, 1000.0)
        step = length / _KNOTS_PER_WAVE
        name = "hole" if height < 0 else "bump"
        return cls._sampled(_cosine(height, length), step, _KNOTS_PER_WAVE, side, name)

    @classmethod
    def square_edge(cls, height: float, *, patch: float = 0.2, side: Side = "both") -> Road:
        """A ledge as a tyre takes it: a step smoothed over the length of its contact patch.

        Parameters
        ----------
        height : float
            Height of the step up; negative for a step down [m].
        patch : float, optional
            Length over which the axle comes up, about that of the contact patch [m]. The 0.2 m
            taken if not given is our judgement, no source.
        side : {"both", "left", "right"}, optional
            Which wheels meet it.

        Returns
        -------
        Road
            Half a cosine wave up; the ground stays up.

        Notes
        -----
        A true step would ask for an infinite wheel speed. A tyre does not: it wraps the edge, and
        its axle begins to rise before it is there. The shape is a stand-in, not a tyre model: it
        leaves out the push backwards, which grows as the edge comes near the height of the axle.
        """
        _number("height", height, -1.0, 1.0)
        _number("patch", patch, 0.01, 2.0)
        step = patch / _KNOTS_PER_WAVE
        name = "square edge"
        return cls._sampled(_cosine(height, 2 * patch), step, _KNOTS_PER_WAVE, side, name)

    @classmethod
    def whoops(cls, height: float, *, spacing: float, count: int) -> Road:
        """A row of equal whoops.

        Parameters
        ----------
        height : float
            From trough to crest [m].
        spacing : float
            From crest to crest [m].
        count : int
            Number of crests.

        Returns
        -------
        Road
            Haversines in a row; it begins and ends in a trough, level with the ground around it.
        """
        _number("height", height, -5.0, 5.0)
        _number("spacing", spacing, 0.05, 1000.0)
        _whole("count", count, 1, 10_000)
        step = spacing / _KNOTS_PER_WAVE
        cells = _KNOTS_PER_WAVE * int(count)
        return cls._sampled(_cosine(height, spacing), step, cells, "both", f"{count} whoops")

    @classmethod
    def _sampled(cls, ground: Callable, step, cells, side, name) -> Road:
        """Put a function that gives height and slope on knots; the other side stays flat."""
        if cells > _MOST_KNOTS:
            raise ValueError(f"the road needs {cells} knots; expected at most {_MOST_KNOTS}")
        heights, slopes = np.zeros((2, 2, cells + 1))
        heights[_path(side)], slopes[_path(side)] = ground(np.arange(cells + 1) * step)
        slopes[:, [0, -1]] = 0.0  # they are, but for rounding
        return cls(step=step, heights=heights, slopes=slopes, name=name)

    # -------------------------------------------------------------- rough ground

    @classmethod
    def iso8608(
        cls,
        road_class: str,
        *,
        length: float,
        seed: int,
        step: float = 0.02,
        coherence: float | None = None,
        track: float = 1.5,
        fade: float = 5.0,
    ) -> Road:
        """Rough ground of an ISO 8608 class.

        Parameters
        ----------
        road_class : {"A", "B", "C", "D", "E", "F", "G", "H"}
            From smooth to very rough.
        length : float
            Length of the road, rounded up to a whole step [m].
        seed : int
            Another seed gives another road of the same class; the same seed the same road.
        step : float, optional
            Distance between knots, at most; it is shortened to fit [m].
        coherence : float, optional
            How alike the wheel paths are, from 0 (as if they did not know of each other) to 1 (the
            same): the ordinary, squared coherence, the same at every wave number. If not given the
            ground is as rough across as it is along, see Notes [-].
        track : float, optional
            Distance between the wheel paths where `coherence` is not given [m].
        fade : float, optional
            Over this distance at either end the ground comes up from flat and goes back to it [m].
            With 0 the profile is cut off, and the two paths begin at different heights.

        Returns
        -------
        Road

        Raises
        ------
        ValueError
            If an argument is out of range.

        Notes
        -----
        The spectral density of height is ``Gd(n) = Gd(n0)*(n/n0)**-2`` with n0 = 0.1 cycles/m,
        where Gd(n0) is the *geometric mean* of the class, 16e-6 m**3 for A and four times as much
        from each class to the next [1]_. Two other numbers go by the same letters: the upper
        limits of the classes, twice that, and the density at 1 rad/m, 1e-6 m**3 for A.

        A sum of cosines between 0.01 and 10 cycles/m: each has the amplitude its share of Gd asks
        for, and a random phase. So every seed is exactly of its class, rather than on average:
        over a whole period (1000 m, or a multiple for a longer road) the rms is the class's own,
        4.0 mm for A. A shorter piece holds too few of the longest waves for that.

        In each cosine the right path leads or lags the left one by the angle whose cosine is the
        square root of the coherence, by a throw of the coin. The standard states no coherence.
        Where none is given here it follows from isotropy [2]_: with n**-2 the root of it is
        ``x*K1(x)``, x = 2*pi*n*track, K1 the modified Bessel function. Long waves then lift both
        sides together and short ones do not, whereas a single number below 1 tilts the vehicle
        even on a wave of 100 m.
        """
        if not isinstance(road_class, str) or road_class not in ROUGHNESS:
            raise ValueError(
                f"road_class is {road_class!r}; expected a letter from 'A' (smooth) to 'H'"
            )
        _number("fade", fade, 0.0, 1000.0)
        _number("length", length, max(2 * fade, 1.0), 2e4, why="at least the fade at both ends")
        _number("step", step, 1e-3, 0.025, why="a quarter of the shortest wave")
        _number("track", track, 0.1, 10.0)
        if coherence is not None:
            _number("coherence", coherence, 0.0, 1.0)
        _whole("seed", seed, 0, 2**63)

        period = _PERIOD * np.ceil(length / _PERIOD)
        points = int(np.ceil(period / step))
        step = period / points
        cells = _cells(length / step)
        if cells > _MOST_KNOTS:
            raise ValueError(
                f"step is {step:g} m over {length:g} m; expected at most {_MOST_KNOTS} steps"
            )

        line = np.arange(round(BAND[0] * period), round(BAND[1] * period) + 1)
        n = line / period
        # Each cosine stands for the band around it, and that at either end for the half inside.
        low, high = (np.clip((line + half) / period, *BAND) for half in (-0.5, 0.5))
        variance = ROUGHNESS[road_class] * REFERENCE**2 * (1 / low - 1 / high)
        # PCG64's stream is fixed by name; what default_rng stands for may change one day.
        random = np.random.Generator(np.random.PCG64(int(seed)))
        phase = 2 * np.pi * random.random(line.size)
        lead = np.where(random.random(line.size) < 0.5, -1.0, 1.0)
        lead *= np.arccos(np.sqrt(coherence) if coherence is not None else _isotropic(n * track))

        spectrum = np.zeros((2, points // 2 + 1), dtype=complex)
        spectrum[_LEFT, line] = np.sqrt(variance / 2) * np.exp(1j * phase) * points
        spectrum[_RIGHT, line] = spectrum[_LEFT, line] * np.exp(1j * lead)
        heights = np.fft.irfft(spectrum, points)
        spectrum[:, line] *= 2j * np.pi * n
        slopes = np.fft.irfft(spectrum, points)
        knot = np.arange(cells + 1)
        heights, slopes = heights[:, knot % points], slopes[:, knot % points]
        if fade > 0:
            rise = np.clip(np.minimum(knot, cells - knot) * step / fade, 0.0, 1.0)
            share = (1 - np.cos(np.pi * rise)) / 2
            turn = np.where(2 * knot < cells, 1.0, -1.0) * np.pi / (2 * fade)
            slopes = slopes * share + heights * turn * np.sin(np.pi * rise)
            heights = heights * share
        slopes[:, [0, -1]] = 0.0
        name = f"class {road_class} road, seed {seed}"
        return cls(step=step, heights=heights, slopes=slopes, name=name)

    # -------------------------------------------------------------- measured profiles

    @classmethod
    def from_arrays(
        cls,
        distance: ArrayLike,
        *,
        height: ArrayLike,
        right_height: ArrayLike | None = None,
        name: str = "profile",
    ) -> Road:
        """Road through measured points.

        Parameters
        ----------
        distance : array_like, shape (n,)
            Distance along the road, rising; steps may be unequal [m].
        height : array_like, shape (n,)
            Height of the left path, or of both [m].
        right_height : array_like, shape (n,), optional
            Height of the right path [m].
        name : str, optional
            What to call the road.

        Returns
        -------
        Road
            Distance counts from the first point and height from that of its left path.

        Raises
        ------
        ValueError
            If the columns differ in length, hold fewer than two points or a value that is not
            finite, or the distance does not rise.

        Notes
        -----
        A shape-preserving cubic (PCHIP): no higher than the points it lies between. Its ends are
        made level. Points at unequal steps are resampled on even knots, at least four to the
        closest two of them, so between knots a corner is rounded a little.
        """
        x = np.asarray(distance, dtype=float)
        columns = {"height": height}
        if right_height is not None:
            columns["right_height"] = right_height
        columns = {key: np.asarray(values, dtype=float) for key, values in columns.items()}
        if x.ndim != 1 or x.size < 2:
            raise ValueError(f"distance has shape {x.shape}; expected a column of 2 points or more")
        for key, values in columns.items():
            if values.shape != x.shape:
                raise ValueError(f"{key} has shape {values.shape}; expected {x.shape}, as distance")
        for key, values in {"distance": x, **columns}.items():
            if not np.isfinite(values).all():
                at = int(np.argmin(np.isfinite(values)))
                raise ValueError(f"{key}[{at}] is {values[at]}; expected finite numbers")
            if np.abs(values).max() > _FURTHEST:
                far = values[np.abs(values).argmax()]
                raise ValueError(f"{key} goes to {far:g} m; expected at most {_FURTHEST:g} m")
        back = np.flatnonzero(np.diff(x) <= 0)
        if back.size:
            at = int(back[0]) + 1
            raise ValueError(
                f"distance[{at}] is {x[at]:g} m after {x[at - 1]:g} m; expected each point further "
                "along than the last"
            )
        heights = np.stack([columns["height"], columns.get("right_height", columns["height"])])
        x, heights = x - x[0], heights - heights[0, 0]
        step, cells = _even_step(x)

        from scipy.interpolate import PchipInterpolator

        with np.errstate(over="ignore"):  # where it is next to level it divides by next to nothing
            through = PchipInterpolator(x, heights, axis=1)
        at = np.minimum(np.arange(cells + 1) * step, x[-1])
        slopes = through(at, 1)
        slopes[:, [0, -1]] = 0.0
        return cls(step=step, heights=through(at), slopes=slopes, name=name)

    @classmethod
    def from_csv(cls, path: str | Path) -> Road:
        """Read a measured profile from a CSV file.

        Parameters
        ----------
        path : str or path
            A heading row names each column and, in brackets, its unit: ``distance [ft]``,
            ``height [in]`` and, where the right path was measured apart, ``right height [in]``.
            Lines that start with ``#`` are remarks.

        Returns
        -------
        Road
            As from `from_arrays`, named after the file.

        Raises
        ------
        ValueError
            One sentence that names the file and, where it can, line, column and value.
        """
        path = Path(path)
        distance, height, right_height = _read_profile(path)
        try:
            return cls.from_arrays(
                distance, height=height, right_height=right_height, name=path.stem
            )
        except ValueError as error:
            raise ValueError(f"{path}: {error}") from None


def _path(side):
    try:
        return _PATHS[side]
    except (KeyError, TypeError):
        raise ValueError(f"side is {side!r}; expected 'both', 'left' or 'right'") from None


def _cosine(height, length):
    """A row of haversines, height and slope."""
    k = 2 * np.pi / length
    return lambda x: (height * (1 - np.cos(k * x)) / 2, height * k * np.sin(k * x) / 2)


def _isotropic(tracks):
    """Root of the coherence of isotropic ground, over track in wave lengths."""
    from scipy.special import k1

    x = 2 * np.pi * tracks
    return np.minimum(x * k1(x), 1.0)


def _cells(count):
    """Whole cells that hold ``count``; a hair of rounding does not ask for one more."""
    return int(np.ceil(count * (1 - 1e-12)))


def _even_step(x):
    """Step and number of even cells that carry points at ``x``: on them, where they are even."""
    cells = x.size - 1
    closest = np.diff(x).min()
    if closest < _CLOSEST:
        raise ValueError(
            f"distance has two points {closest:.3g} m apart; expected {_CLOSEST:g} m or more"
        )
    even = x[-1] / cells
    if np.abs(x - np.arange(x.size) * even).max() <= 1e-6 * even:
        return even, cells
    cells = np.ceil(4 * x[-1] / closest)
    if cells > _MOST_KNOTS:
        raise ValueError(
            f"distance has two points {closest:.3g} m apart on a road of {x[-1]:.6g} m; expected "
            "steps that differ less"
        )
    return x[-1] / int(cells), int(cells)


# --- reading a file -------------------------------------------------------------------------------

_HEADING = re.compile(r"\s*(?P<name>[^\[(]*?)\s*(?:[\[(]\s*(?P<unit>[^\])]*?)\s*[\])])?\s*")
_COLUMNS = {
    "distance": "distance",
    "height": "height",
    "left height": "height",
    "right height": "right height",
}
_LARGEST, _MOST_POINTS = 2**23, 200_000  # bytes and points: a mile read to the quarter inch
_EXAMPLE = "expected columns such as 'distance [ft]', 'height [in]' and 'right height [in]'"


def _read_profile(path):
    """Columns of a profile in metres: distance, height and, if it is there, right height."""
    text = read_text(path, expected="a road profile in CSV", most=_LARGEST)
    rows = read_rows(
        text, name=path, what="a road profile", heading="distance [ft],height [in]",
        most=_MOST_POINTS, ours=lambda cells: any(_column(cell)[0] for cell in cells),
    )  # fmt: skip
    line, heading = next(rows)
    columns = _read_heading(heading, f"{path} line {line}")
    values = {name: [] for name, _ in columns}
    before = "the start"
    for number, cells in rows:
        where = f"{path} line {number}"
        for (name, factor), cell in zip(columns, cells, strict=True):
            values[name].append(_read_cell(cell, f"{where}: {name}") * factor)
            if name == "distance":
                if len(values[name]) > 1 and values[name][-1] <= values[name][-2]:
                    raise ValueError(
                        f"{where}: distance is {cell.strip()} after {before}; expected each point "
                        "further along than the last"
                    )
                before = cell.strip()
    if len(values["distance"]) < 2:
        raise ValueError(f"{path}: has {len(values['distance'])} points; expected 2 or more")
    return values["distance"], values["height"], values.get("right height")


def _column(cell):
    """Which column a cell of the heading names, if any, and its unit."""
    match = _HEADING.fullmatch(cell) if len(cell) < 100 else None
    if not match:
        return None, None
    return _COLUMNS.get(" ".join(re.split(r"[\s_]+", match["name"].lower()))), match["unit"]


def _read_heading(cells, where):
    """Name of each column and what one of its unit is in metres."""
    columns = []
    for cell in cells:
        (name, unit), shown = _column(cell), repr(cell.strip()[:60])
        if not name:
            raise ValueError(f"{where}: column {shown} is not known; {_EXAMPLE}")
        if name in [known for known, _ in columns]:
            raise ValueError(f"{where}: column {shown} is there twice; {_EXAMPLE}")
        if not unit:
            raise ValueError(f"{where}: column {shown} has no unit; {_EXAMPLE}")
        try:
            factor = parse(f"1 {unit}", "length")
        except ValueError:
            raise ValueError(
                f"{where}: column {shown} is not in a unit of length; {_EXAMPLE}"
            ) from None
        columns.append((name, factor))
    for name in ("distance", "height"):
        if name not in [known for known, _ in columns]:
            raise ValueError(f"{where}: column {name} is missing; {_EXAMPLE}")
    return columns


def _read_cell(cell, what):
    text = cell.strip()
    try:
        value = float(text)
    except ValueError:
        value = np.nan
    if not np.isfinite(value) or "_" in text:
        shown = text[:60] if text[:60].isprintable() else repr(text[:60])
        raise ValueError(f"{what} is {shown or 'blank'}; expected a finite number")
    return value


# --- checks ---------------------------------------------------------------------------------------


def _number(name, value, low, high, *, why=""):
    """Refuse what is not a number between two bounds that only a slip breaks (our judgement)."""
    real = isinstance(value, Real) and not isinstance(value, bool)
    if not real or not low <= value <= high:
        unit = "" if name == "coherence" else " m"
        shown = f"{float(value):g}{unit}" if real else repr(value)
        why = f", {why}" if why else ""
        raise ValueError(f"{name} is {shown}; expected {low:g} to {high:g}{unit}{why}")


def _whole(name, value, low, high):
    if not isinstance(value, Integral) or isinstance(value, bool) or not low <= value <= high:
        raise ValueError(f"{name} is {value!r}; expected a whole number from {low} to {high}")
