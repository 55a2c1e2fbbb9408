"""Wheel travel to shock compression: the linkage between the wheel and the shock.

One smooth curve carries everything: compression s [m] of the shock over vertical travel z [m] of
the wheel, both growing in bump. Its slope is the motion ratio, and the slope of that decides how
much the spring *force* (not only its rate) adds to the wheel rate. So the curve is twice
continuously differentiable: a cubic spline on evenly spaced knots, where finding the cell takes
one division.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from suspkit.units import show

__all__ = ["Linkage"]

_SIXTEENTH = 0.0254 / 16
"""One sixteenth of an inch [m], what a shop tape is good to."""

_TABLE_INTERVALS = 10
"""Cells of a fitted table: more than the readings can fill, so the penalty sets smoothness."""

_TYPICAL_BOW = 0.1
"""How far the motion ratio of a real linkage may bow from a straight line [-]: our judgement."""

_SMALLEST_RATIO = 0.02
"""Least motion ratio [-] a fitted table may have anywhere; real linkages stay far above it."""

_EXACT = 1e-7
"""Standard error [m] given to readings called exact, so that the fit stays well posed."""

# Uniform cubic B-spline: row k holds the weights of four neighbouring coefficients in the
# polynomial's term (u / step)**k.
_BASIS = np.array([[1, 4, 1, 0], [-3, 0, 3, 0], [3, -6, 3, 0], [-1, 3, -3, 1]]) / 6.0


@dataclass(frozen=True, kw_only=True, eq=False)
class Linkage:
    """Smooth, strictly increasing relation of shock compression over wheel travel.

    Build one with `from_table`, `from_double_wishbone`, `from_trailing_arm` or `from_function`.

    Parameters
    ----------
    travel_step : float
        Wheel travel covered by each cell [m].
    travel_start : float, optional
        Wheel travel at the first knot, the droop end [m].
    coefficients : ndarray, shape (n, 4)
        Cell j holds c0 [m], c1 [-], c2 [1/m], c3 [1/m**2] of
        ``s = c0 + c1*u + c2*u**2 + c3*u**3`` with ``u = z - (travel_start + j*travel_step)``.

    Raises
    ------
    ValueError
        If the cells do not join into a smooth curve, or the shock would not shorten all the way.

    Notes
    -----
    Outside ``travel_start ... travel_max`` the curve goes on as a straight line: constant motion
    ratio, no slope of it. Nothing was measured there and the wheel cannot really go there, because
    the shock's own metal stops take over; but a solver or a time step may look a little past the
    end on its way, and a straight line answers with something finite, increasing and dull. At the
    end knots themselves the slope of the motion ratio is the one from inside.
    """

    travel_step: float
    travel_start: float = 0.0
    coefficients: NDArray[np.float64]

    def __post_init__(self) -> None:
        coefficients = np.array(self.coefficients, dtype=float)
        if coefficients.ndim != 2 or coefficients.shape[0] < 1 or coefficients.shape[1] != 4:
            raise ValueError(
                f"coefficients must have shape (n, 4), one row per cell; got {coefficients.shape}."
            )
        if not np.isfinite(coefficients).all():
            raise ValueError(f"coefficients must be finite numbers; got {coefficients.tolist()}.")
        _require_positive("travel_step", self.travel_step)
        if not np.isfinite(self.travel_start):
            raise ValueError(f"travel_start must be a finite number [m]; got {self.travel_start}.")
        coefficients.setflags(write=False)
        object.__setattr__(self, "coefficients", coefficients)
        self._require_smooth()
        self._require_increasing()

    def _require_smooth(self) -> None:
        h = self.travel_step
        # In units of compression, so that one tolerance serves value, slope and curvature.
        scaled = self.coefficients * h ** np.arange(4)
        carry = np.array([[1, 0, 0], [1, 1, 0], [1, 2, 1], [1, 3, 3]])
        gap = np.abs(scaled[:-1] @ carry - scaled[1:, :3]).max(axis=1, initial=0.0)
        bad = np.flatnonzero(gap > 1e-9 * np.abs(scaled).max())
        if bad.size:
            raise ValueError(
                f"coefficients of cells {bad[0]} and {bad[0] + 1} do not join in value, slope and "
                f"curvature (off by {gap[bad[0]]:.3g} m); expected a cubic spline."
            )

    def _require_increasing(self) -> None:
        _, c1, c2, c3 = self.coefficients.T
        h = self.travel_step
        # The motion ratio is a parabola in each cell: least at an end, or at its turning point.
        turn = np.divide(-c2, 3 * c3, out=np.zeros_like(c2), where=c3 != 0)
        u = np.stack([np.zeros_like(c1), np.clip(turn, 0.0, h), np.full_like(c1, h)])
        ratio = c1 + u * (2 * c2 + u * 3 * c3)
        where, cell = np.unravel_index(np.argmin(ratio), ratio.shape)
        if ratio[where, cell] <= 0.0:
            travel = self.travel_start + cell * h + u[where, cell]
            raise ValueError(
                f"motion ratio must stay above 0 so that the shock shortens in bump; "
                f"got {ratio[where, cell]:.4g} at travel {travel:.4g} m."
            )

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, Linkage):
            return NotImplemented
        return (
            self.travel_step == other.travel_step
            and self.travel_start == other.travel_start
            and np.array_equal(self.coefficients, other.coefficients)
        )

    def __hash__(self) -> int:
        return hash((self.travel_step, self.travel_start, self.coefficients.shape))

    # ---------------------------------------------------------------- evaluation

    @property
    def travel_max(self) -> float:
        """Wheel travel at the last knot, the bump end [m]."""
        return self.travel_start + len(self.coefficients) * self.travel_step

    def _locate(self, travel: ArrayLike):
        """Offset into the cell, the cell's four coefficients, and the travel past the ends."""
        travel = np.asarray(travel, dtype=float)
        inside = np.minimum(np.maximum(travel, self.travel_start), self.travel_max)
        along = inside - self.travel_start
        # fmax and fmin drop a NaN here, so that it costs no warning and still comes out as NaN.
        last = len(self.coefficients) - 1
        cell = np.fmin(np.fmax(along / self.travel_step, 0), last).astype(np.intp)
        return along - cell * self.travel_step, self.coefficients.T[:, cell], travel - inside

    def compression(self, travel: ArrayLike):
        """Compression of the shock from full extension.

        Parameters
        ----------
        travel : array_like
            Wheel travel from the droop end, positive in bump [m].

        Returns
        -------
        float or ndarray
            Shock compression, positive as the shock shortens [m].
        """
        u, (c0, c1, c2, c3), beyond = self._locate(travel)
        ratio = c1 + u * (2 * c2 + u * 3 * c3)
        return c0 + u * (c1 + u * (c2 + u * c3)) + ratio * beyond

    def motion_ratio(self, travel: ArrayLike):
        """Motion ratio: shock compression gained per wheel travel.

        Parameters
        ----------
        travel : array_like
            Wheel travel from the droop end, positive in bump [m].

        Returns
        -------
        float or ndarray
            ds/dz, always positive [-].
        """
        u, (_, c1, c2, c3), _ = self._locate(travel)
        return c1 + u * (2 * c2 + u * 3 * c3)

    def motion_ratio_slope(self, travel: ArrayLike):
        """Change of motion ratio with wheel travel; positive on a rising-rate linkage.

        Parameters
        ----------
        travel : array_like
            Wheel travel from the droop end, positive in bump [m].

        Returns
        -------
        float or ndarray
            d2s/dz2, zero outside the linkage's travel [1/m].
        """
        u, (_, _, c2, c3), beyond = self._locate(travel)
        # "beyond == 0" would turn a NaN into 0; this keeps it.
        return np.where(np.abs(beyond) > 0.0, 0.0, 2 * c2 + 6 * c3 * u)[()]

    def travel(self, compression: ArrayLike):
        """Wheel travel at which the shock is compressed so far: the inverse of `compression`.

        Parameters
        ----------
        compression : array_like
            Shock compression from full extension [m].

        Returns
        -------
        float or ndarray
            Wheel travel from the droop end, to 1e-12 m [m].

        Notes
        -----
        The cell is looked up, then its cubic is solved by Newton's method kept inside a shrinking
        bracket. The cubic is increasing in its cell, so there is one root and it is always found.
        """
        target = np.asarray(compression, dtype=float)
        h = self.travel_step
        first, last = self.compression(self.travel_start), self.compression(self.travel_max)
        inside = np.minimum(np.maximum(target, first), last)
        cell = np.searchsorted(self.coefficients[1:, 0], inside, side="right")
        # A NaN sorts last, so it lands in the last cell and comes out as NaN.
        c0, c1, c2, c3 = self.coefficients.T[:, cell]
        low, high = np.zeros_like(inside), np.full_like(inside, h)
        u = np.clip((inside - c0) / (c1 + h * (c2 + h * c3)), 0.0, h)
        for _ in range(60):
            error = c0 + u * (c1 + u * (c2 + u * c3)) - inside
            low, high = np.where(error > 0, low, u), np.where(error > 0, u, high)
            newton = u - error / (c1 + u * (2 * c2 + u * 3 * c3))
            better = np.where((newton < low) | (newton > high), (low + high) / 2, newton)
            moved, u = np.abs(better - u), better
            if not np.any(moved > 1e-14):
                break
        ends = self.motion_ratio(np.where(target > last, self.travel_max, self.travel_start))
        return self.travel_start + cell * h + u + (target - inside) / ends

    def wheel_force(self, travel: ArrayLike, *, force: ArrayLike):
        """Vertical force at the wheel that balances a force along the shock.

        Parameters
        ----------
        travel : array_like
            Wheel travel from the droop end [m].
        force : array_like
            Force of the shock at that travel, positive in compression [N].

        Returns
        -------
        float or ndarray
            Force at the wheel, positive upward on the wheel [N].

        Notes
        -----
        Virtual work: whatever the wheel takes in goes into the shock, ``Fw*dz = F*ds``, so
        ``Fw = F*MR``. Bushing friction and bushing stiffness are not in it.
        """
        return np.asarray(force, dtype=float) * self.motion_ratio(travel)

    def wheel_rate(self, travel: ArrayLike, *, force: ArrayLike, rate: ArrayLike):
        """Rate at the wheel.

        Parameters
        ----------
        travel : array_like
            Wheel travel from the droop end [m].
        force : array_like
            Force of the shock at that travel, positive in compression [N].
        rate : array_like
            Rate of the shock at that travel, dF/ds [N/m].

        Returns
        -------
        float or ndarray
            dFw/dz at the wheel [N/m].

        Notes
        -----
        Differentiate the virtual-work force ``F(s(z))*MR(z)``: ``k*MR**2 + F*dMR/dz``. The second
        term is there even with a constant-force shock, and a falling motion ratio can eat much of
        the first.
        """
        ratio, slope = self.motion_ratio(travel), self.motion_ratio_slope(travel)
        return np.asarray(rate, dtype=float) * ratio**2 + np.asarray(force, dtype=float) * slope

    # -------------------------------------------------------------- constructors

    @classmethod
    def from_table(
        cls,
        travel: ArrayLike,
        eye_to_eye: ArrayLike,
        *,
        extended_length: float,
        noise: float = _SIXTEENTH,
    ) -> Linkage:
        """Linkage from tape readings: spring off, wheel jacked up step by step.

        Parameters
        ----------
        travel : array_like, shape (n,)
            Wheel travel from the droop end, starting at 0 and rising; steps may be unequal [m].
        eye_to_eye : array_like, shape (n,)
            Length of the shock between its mounting eyes at each travel [m].
        extended_length : float
            Eye-to-eye length of the shock at full extension [m].
        noise : float, optional
            Readings are good to plus or minus this; 0 for exact numbers [m].

        Returns
        -------
        Linkage
            Over 0 to the last travel of the table.

        Raises
        ------
        ValueError
            If the table is too short, out of order, not finite, longer than the shock, or has a
            row more than four times `noise` off the smooth curve.

        Notes
        -----
        Differences of neighbouring readings are useless as a motion ratio: a sixteenth over an
        inch of travel is six per cent. So a cubic spline is fitted with a penalty on the third
        differences of its coefficients [1]_: a motion ratio that varies linearly costs nothing,
        only a bow in it does. Each coefficient must exceed the one before, which keeps the motion
        ratio above 0.02 everywhere.

        The weight of the penalty is not tuned to the table, because ten readings cannot tell
        their noise from a bend; it is set by two scales. A reading counts as off by noise/2
        (about 95 in 100 fall within `noise`), in both columns; and a bow of 0.1 in motion ratio
        over the whole travel counts as one such step. That second scale is a judgement, no source.

        References
        ----------
        .. [1] P. H. C. Eilers and B. D. Marx, "Flexible smoothing with B-splines and penalties",
           Statistical Science 11, 89-121 (1996).
        """
        travel, eye_to_eye = _checked_table(travel, eye_to_eye, extended_length, noise)
        compression = extended_length - eye_to_eye
        mean_ratio = (compression[-1] - compression[0]) / travel[-1]
        doubt = max(noise / 2 * np.hypot(1.0, mean_ratio), _EXACT)
        step = travel[-1] / _TABLE_INTERVALS
        weights = _fit_increasing(travel / step, compression, step=step, doubt=doubt)
        cells = np.lib.stride_tricks.sliding_window_view(weights, 4) @ _BASIS.T
        linkage = cls(travel_step=step, coefficients=cells / step ** np.arange(4))
        off = np.abs(linkage.compression(travel) - compression)
        if 0.0 < 4 * noise < off.max():
            row = int(off.argmax())
            raise ValueError(
                f"eye_to_eye must follow a smooth curve to within 4 times noise={_read(noise)}; "
                f"got {_read(eye_to_eye[row])} in row {row + 1}, off by {_read(off[row])}: "
                f"re-measure row {row + 1} or allow more noise."
            )
        return linkage

    @classmethod
    def from_function(
        cls,
        compression: Callable[[NDArray[np.float64]], ArrayLike],
        *,
        travel_max: float,
        intervals: int = 64,
    ) -> Linkage:
        """Linkage through exact samples of a known smooth function.

        Parameters
        ----------
        compression : callable
            Takes an array of wheel travel [m], gives the shock compression at each [m].
        travel_max : float
            Wheel travel of the linkage, from 0 at the droop end [m].
        intervals : int, optional
            Number of cells, at least 4 [-].

        Returns
        -------
        Linkage
            Within a micrometre of the function halfway between samples.

        Raises
        ------
        ValueError
            If the function does not increase, or bends too sharply to be followed.
        """
        from scipy.interpolate import CubicSpline

        _require_positive("travel_max", travel_max)
        if intervals < 4:
            raise ValueError(f"intervals must be at least 4; got {intervals}.")
        z = np.linspace(0.0, travel_max, 2 * intervals + 1)
        s = np.asarray(compression(z), dtype=float)
        if s.shape != z.shape or not np.isfinite(s).all():
            raise ValueError(
                "compression must give one finite number for each travel between 0 and "
                f"travel_max {travel_max} m; got {s!r}."
            )
        stuck = np.flatnonzero(np.diff(s) <= 0.0)
        if stuck.size:
            raise ValueError(
                f"the shock must shorten all the way up in bump; it stops shortening at travel "
                f"{z[stuck[0]]:.4g} m of travel_max {travel_max} m."
            )
        # Every other sample makes the spline; the ones between tell how good it is.
        spline = CubicSpline(z[::2], s[::2])
        linkage = cls(travel_step=travel_max / intervals, coefficients=spline.c[::-1].T)
        error = np.abs(linkage.compression(z) - s)
        if error.max() > 1e-6:
            raise ValueError(
                f"compression bends too sharply near travel {z[error.argmax()]:.4g} m for "
                f"intervals={intervals} (off by {error.max():.3g} m); expected a smooth function."
            )
        return linkage

    @classmethod
    def from_trailing_arm(
        cls,
        *,
        pivot: Sequence[float],
        wheel_center: Sequence[float],
        shock_on_arm: Sequence[float],
        shock_body: Sequence[float],
        travel_max: float,
        droop_compression: float = 0.0,
    ) -> Linkage:
        """Linkage of a trailing (or leading) arm from its points in side view.

        Parameters
        ----------
        pivot, wheel_center, shock_on_arm, shock_body : (float, float)
            Arm pivot, wheel centre, and the shock's eyes on arm and chassis, each as (x forward,
            z up) with the wheel at the droop end [m].
        travel_max : float
            Vertical rise of the wheel centre from the droop end [m].
        droop_compression : float, optional
            Compression of the shock at the droop end, zero at full extension [m].

        Returns
        -------
        Linkage
            Over 0 to `travel_max`.

        Raises
        ------
        ValueError
            If the arm cannot lift the wheel so far, or the shock lengthens on the way.
        """
        hub = _point("pivot", pivot)
        wheel = _point("wheel_center", wheel_center)
        lower = _point("shock_on_arm", shock_on_arm)
        body = _point("shock_body", shock_body)
        _require_apart("pivot", hub, "wheel_center", wheel)
        _require_apart("pivot", hub, "shock_on_arm", lower)

        def pose(angle):
            turn = np.exp(1j * angle)
            rise = (hub + (wheel - hub) * turn - wheel).imag
            return rise, np.abs(hub + (lower - hub) * turn - body)

        return cls._from_pose(pose, travel_max=travel_max, droop_compression=droop_compression)

    @classmethod
    def from_double_wishbone(
        cls,
        *,
        lower_pivot: Sequence[float],
        lower_ball: Sequence[float],
        upper_pivot: Sequence[float],
        upper_ball: Sequence[float],
        wheel_center: Sequence[float],
        shock_on_arm: Sequence[float],
        shock_body: Sequence[float],
        arm: str = "lower",
        travel_max: float,
        droop_compression: float = 0.0,
    ) -> Linkage:
        """Linkage of a double wishbone from its points in front view.

        Parameters
        ----------
        lower_pivot, lower_ball, upper_pivot, upper_ball : (float, float)
            Ends of the two arms at chassis and upright, each as (y left, z up) with the wheel at
            the droop end; either side of the vehicle will do [m].
        wheel_center : (float, float)
            Wheel centre, carried by the upright [m].
        shock_on_arm, shock_body : (float, float)
            The shock's eyes on arm and chassis [m].
        arm : {"lower", "upper"}, optional
            The arm that carries the shock.
        travel_max : float
            Vertical rise of the wheel centre from the droop end [m].
        droop_compression : float, optional
            Compression of the shock at the droop end, zero at full extension [m].

        Returns
        -------
        Linkage
            Over 0 to `travel_max`.

        Raises
        ------
        ValueError
            If the arms cannot lift the wheel so far, or the shock lengthens on the way.

        Notes
        -----
        Planar: each arm swings about an axis along the vehicle, and a shock that leans fore or aft
        is seen shorter than it is. For a given angle of the lower arm the upper ball joint is
        where two circles meet: one about the upper pivot, one about the lower ball joint.
        """
        if arm not in ("lower", "upper"):
            raise ValueError(f"arm must be 'lower' or 'upper'; got {arm!r}.")
        pivot_l, ball_l = _point("lower_pivot", lower_pivot), _point("lower_ball", lower_ball)
        pivot_u, ball_u = _point("upper_pivot", upper_pivot), _point("upper_ball", upper_ball)
        wheel = _point("wheel_center", wheel_center)
        eye, body = _point("shock_on_arm", shock_on_arm), _point("shock_body", shock_body)
        _require_apart("lower_pivot", pivot_l, "lower_ball", ball_l)
        _require_apart("upper_pivot", pivot_u, "upper_ball", ball_u)
        _require_apart("lower_ball", ball_l, "upper_ball", ball_u)
        _require_apart("lower_ball", ball_l, "upper_pivot", pivot_u)
        upright, upper = abs(ball_u - ball_l), abs(ball_u - pivot_u)
        # The circles meet twice; keep to the side the linkage is assembled on.
        corner = ((ball_u - ball_l) / (pivot_u - ball_l)).imag
        if abs(corner) < 1e-6:
            raise ValueError(
                "upper_ball must lie off the line from lower_ball to upper_pivot, where the upper "
                f"arm could fold either way; got {upper_ball!r}."
            )
        side = np.sign(corner)

        def pose(angle):
            turn_l = np.exp(1j * angle)
            ball = pivot_l + (ball_l - pivot_l) * turn_l
            across = pivot_u - ball
            reach = np.abs(across)
            along = (reach**2 + upright**2 - upper**2) / (2 * reach)
            with np.errstate(invalid="ignore"):  # NaN where the circles do not meet
                off = side * np.sqrt(upright**2 - along**2)
            strut = (along + 1j * off) * across / reach
            rise = (ball + (wheel - ball_l) * strut / (ball_u - ball_l) - wheel).imag
            if arm == "lower":
                end = pivot_l + (eye - pivot_l) * turn_l
            else:
                end = pivot_u + (eye - pivot_u) * (ball + strut - pivot_u) / (ball_u - pivot_u)
            return rise, np.abs(end - body)

        return cls._from_pose(pose, travel_max=travel_max, droop_compression=droop_compression)

    @classmethod
    def _from_pose(cls, pose, *, travel_max: float, droop_compression: float) -> Linkage:
        """Linkage of a one-angle mechanism; `pose(angle)` gives wheel rise and shock length."""
        from scipy.optimize import brentq

        _require_positive("travel_max", travel_max)
        if not (np.isfinite(droop_compression) and droop_compression >= 0.0):
            raise ValueError(f"droop_compression must be 0 or more [m]; got {droop_compression}.")
        # Swing the arm up from droop for as long as that lifts the wheel.
        nudge = 1e-5
        bump = np.sign(pose(nudge)[0] - pose(-nudge)[0])
        if not np.abs(bump) > 0:
            raise ValueError(
                "the linkage is at a dead centre at the droop end: swinging its arm does not lift "
                "wheel_center; expected points of a linkage that can move."
            )
        angles = bump * np.radians(np.linspace(0.0, 150.0, 1501))
        rise = pose(angles)[0]
        lifting = np.diff(rise) > 0.0  # False where the mechanism cannot go (NaN)
        top = len(lifting) if lifting.all() else int(np.argmin(lifting))
        if not rise[top] >= travel_max:
            raise ValueError(
                f"travel_max must be within reach of the linkage; got {travel_max} m where it "
                f"lifts the wheel by {rise[top]:.4g} m at most."
            )
        length_at_droop = pose(0.0)[1]

        def compression(travel):
            # The first and last roots may lie on the bracket's end itself, give or take rounding.
            low, high = angles[0] - 1e-9 * bump, angles[top]
            swing = [brentq(lambda a, z=z: pose(a)[0] - z, low, high, xtol=1e-14) for z in travel]
            return droop_compression + length_at_droop - pose(np.array(swing))[1]

        return cls.from_function(compression, travel_max=travel_max)


# -------------------------------------------------------------------- table fitting


def _fit_increasing(
    place: NDArray, value: NDArray, *, step: float, doubt: float
) -> NDArray[np.float64]:
    """B-spline coefficients [m] of a smooth increasing curve near readings good to `doubt` [m]."""
    from scipy.optimize import lsq_linear

    count = _TABLE_INTERVALS + 3
    cell = np.minimum(place.astype(np.intp), _TABLE_INTERVALS - 1)
    powers = (place - cell)[:, None] ** np.arange(4)
    basis = np.zeros((len(place), count))
    np.put_along_axis(basis, cell[:, None] + np.arange(4), powers @ _BASIS, axis=1)

    # A motion ratio bowed by b over n cells, a parabola, has third differences of 8*b*step/n**2.
    bow = 8 * _TYPICAL_BOW * step / _TABLE_INTERVALS**2
    penalty = doubt / bow * np.diff(np.eye(count), n=3, axis=0)

    # Unknowns: the first coefficient, then the rise to each next one. A spline's slope is a
    # weighted mean of those rises over `step`, so bounding them bounds the motion ratio.
    build = np.tril(np.ones((count, count)))
    least = np.r_[-np.inf, np.full(count - 1, _SMALLEST_RATIO * step)]
    rows, right = np.vstack([basis, penalty]) @ build, np.r_[value, np.zeros(len(penalty))]
    return build @ lsq_linear(rows, right, bounds=(least, np.inf), method="bvls").x


def _checked_table(travel, eye_to_eye, extended_length: float, noise: float):
    """The two columns as arrays, or one plain sentence on what to mend. Rows count from 1."""
    travel, eye_to_eye = np.asarray(travel, dtype=float), np.asarray(eye_to_eye, dtype=float)
    if travel.ndim != 1 or travel.shape != eye_to_eye.shape:
        raise ValueError(
            "travel and eye_to_eye must be two columns of the same length; "
            f"got shapes {travel.shape} and {eye_to_eye.shape}."
        )
    if len(travel) < 4:
        raise ValueError(f"travel and eye_to_eye must have at least 4 rows; got {len(travel)}.")
    _require_positive("extended_length", extended_length)
    if not (np.isfinite(noise) and noise >= 0.0):
        raise ValueError(f"noise must be 0 or more [m]; got {noise}.")
    for name, column in (("travel", travel), ("eye_to_eye", eye_to_eye)):
        bad = np.flatnonzero(~np.isfinite(column))
        if bad.size:
            raise ValueError(f"{name} must be a number in row {bad[0] + 1}; got {column[bad[0]]}.")
    if travel[0] != 0.0:
        raise ValueError(f"travel must start at 0, the droop end; got {_read(travel[0])} in row 1.")
    bad = np.flatnonzero(np.diff(travel) <= 0.0) + 1
    if bad.size:
        row = bad[0]
        raise ValueError(
            f"travel must rise from row to row; got {_read(travel[row])} in row {row + 1} "
            f"after {_read(travel[row - 1])}."
        )
    bad = np.flatnonzero(np.diff(eye_to_eye) >= 0.0) + 1
    if bad.size:
        row = bad[0]
        raise ValueError(
            f"eye_to_eye must shorten from row to row; got {_read(eye_to_eye[row])} in row "
            f"{row + 1} after {_read(eye_to_eye[row - 1])}: re-measure row {row + 1}."
        )
    if eye_to_eye[0] > extended_length + noise:
        raise ValueError(
            f"eye_to_eye must not exceed extended_length {_read(extended_length)}; "
            f"got {_read(eye_to_eye[0])} in row 1."
        )
    return travel, eye_to_eye


# ------------------------------------------------------------------------- arguments


def _require_positive(name: str, value: float) -> None:
    if not (np.isfinite(value) and value > 0.0):
        raise ValueError(f"{name} must be a positive number [m]; got {value}.")


def _point(name: str, value: Sequence[float]) -> complex:
    """A point of the plane as a complex number, so that turning it is one product."""
    point = np.asarray(value, dtype=float)
    if point.shape != (2,) or not np.isfinite(point).all():
        raise ValueError(f"{name} must be two finite coordinates [m]; got {value!r}.")
    return complex(*point)


def _require_apart(name: str, point: complex, other_name: str, other: complex) -> None:
    if abs(point - other) < 1e-6:
        raise ValueError(
            f"{name} and {other_name} must be apart; got both at ({point.real}, {point.imag}) m."
        )


def _read(length: float) -> str:
    """A length as whoever measured it would read it."""
    return f"{length:.4g} m ({show(length, 'length')})"


def kernel_tables(linkages):
    """Linkages side by side, as the compiled kernels read them.

    Parameters
    ----------
    linkages : sequence of Linkage

    Returns
    -------
    steps : array, shape (n,)
        Wheel travel a cell [m].
    cells : array of int, shape (n,)
    coefficients : array, shape (n, most cells, 4)
        Zero past each linkage's own cells.

    Notes
    -----
    The cubics of `Linkage`, in one array.
    """
    cells = np.array([len(linkage.coefficients) for linkage in linkages])
    coefficients = np.zeros((len(linkages), cells.max(), 4))
    for i, linkage in enumerate(linkages):
        coefficients[i, : cells[i]] = linkage.coefficients
    return np.array([linkage.travel_step for linkage in linkages]), cells, coefficients
