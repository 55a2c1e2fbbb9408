"""How a ride feels: acceleration weighted by frequency as ISO 2631-1 asks.

People feel shaking most between 4 and 8 Hz up and down (weighting W_k) and below 2 Hz fore, aft and
sideways (W_d). The weightings are the continuous transfer functions of ISO 8041, not the rounded
table; they are applied as they are, so a sampled signal is weighted without warping.

Accelerations are those of the seat's surface, without gravity.

References
----------
.. [1] ISO 2631-1:1997, "Mechanical vibration and shock - Evaluation of human exposure to whole-body
   vibration - Part 1: General requirements".
.. [2] ISO 8041-1:2017, "Human response to vibration - Measuring instrumentation", Annexes A and B.
"""

from __future__ import annotations

from dataclasses import dataclass
from numbers import Real
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["WORDS", "comfort_words", "mtvv", "vdv", "weighted", "weighted_rms", "weighting"]

Kind = Literal["k", "d"]

_BAND = (0.4, 100.0)
"""Corner frequencies of the band limits of W_k and W_d [Hz], Butterworth (Q = 1/sqrt 2)."""

_LONGEST_SAMPLE = 1 / 160
"""Sample interval that just carries the 80 Hz where ISO 2631-1 ends [s]."""

_MEMORY = 20.0
"""After so long the slowest part of the weighting, the 0.4 Hz limit, has died away [s]."""


@dataclass(frozen=True, kw_only=True)
class _Shape:
    """Acceleration-velocity transition at f3 = f4 and, for W_k, the upward step f5 to f6 [Hz]."""

    f4: float
    q4: float
    f5: float | None = None
    q5: float = 1.0
    f6: float = 1.0
    q6: float = 1.0


_SHAPES = {
    "k": _Shape(f4=12.5, q4=0.63, f5=2.37, q5=0.91, f6=3.35, q6=0.91),
    "d": _Shape(f4=2.0, q4=0.63),
}

WORDS = (
    (0.0, 0.315, "not uncomfortable"),
    (0.315, 0.63, "a little uncomfortable"),
    (0.5, 1.0, "fairly uncomfortable"),
    (0.8, 1.6, "uncomfortable"),
    (1.25, 2.5, "very uncomfortable"),
    (2.0, np.inf, "extremely uncomfortable"),
)
"""Weighted rms from and to [m/s**2] and what passengers say; ISO 2631-1 Annex C."""


def weighting(frequency: ArrayLike, kind: Kind = "k"):
    """Frequency weighting as a transfer function; its magnitude is the weighting factor.

    Parameters
    ----------
    frequency : array_like
        Frequency, zero or more [Hz].
    kind : {"k", "d"}
        ``"k"`` for up and down, ``"d"`` for fore, aft and sideways, both on a seat.

    Returns
    -------
    complex or ndarray of complex
        Weighted over plain acceleration, magnitude and phase [-].

    Raises
    ------
    ValueError
        If the kind is not known or a frequency is negative or not finite.

    Notes
    -----
    Two Butterworth band limits, a transition from following acceleration to following velocity and
    an upward step, as in ISO 8041 [2]_. Tables elsewhere state factors at rounded frequencies
    (ISO 2631-1 itself, at 12.5 or 31.5 Hz) and some hold slips: 0.212 for W_d at 10 Hz goes about,
    the formula gives 0.2017.
    """
    shape = _shape(kind)
    f = np.asarray(frequency, dtype=float)
    if not ((f >= 0) & np.isfinite(f)).all():
        raise ValueError(f"frequency is {frequency}; expected zero or more, finite [Hz]")
    low, high = _BAND
    flat = np.sqrt(0.5)
    high_pass = -((f / low) ** 2) / _second_order(f / low, flat)
    low_pass = 1 / _second_order(f / high, flat)
    transition = (1 + 1j * f / shape.f4) / _second_order(f / shape.f4, shape.q4)
    response = high_pass * low_pass * transition
    if shape.f5 is not None:
        step = _second_order(f / shape.f5, shape.q5) / _second_order(f / shape.f6, shape.q6)
        response = response * step * (shape.f5 / shape.f6) ** 2
    return response[()]


def _second_order(ratio, q):
    return 1 - ratio**2 + 1j * ratio / q


def weighted(
    acceleration: ArrayLike, *, dt: float, kind: Kind = "k", steady: bool = False
) -> NDArray[np.float64]:
    """Frequency-weighted acceleration over time.

    Parameters
    ----------
    acceleration : array_like, shape (..., n)
        Acceleration at even times, without gravity [m/s**2].
    dt : float
        Time between samples, at most 1/160 s [s].
    kind : {"k", "d"}
        ``"k"`` for up and down, ``"d"`` for fore, aft and sideways.
    steady : bool, optional
        What went before the record. False: rest, as before an event; a steady push then shows as a
        jolt at the start and is forgotten. True: the record goes round and round, as for a whole
        number of waves; its mean then has no effect at all.

    Returns
    -------
    ndarray, shape (..., n)
        Weighted acceleration [m/s**2].

    Raises
    ------
    ValueError
        If the record holds fewer than two samples or a value that is not finite, or the samples
        are too far apart.

    Notes
    -----
    The spectrum is multiplied by the continuous transfer function, so every wave the samples carry
    is weighted exactly. A digital filter made of it by the bilinear transform would bend the
    frequency scale: with samples 1 ms apart it loses 3 % of an 80 Hz wave. What the samples do not
    carry, such as a jump from one to the next, rings by up to 1e-4 of the jump. Starting from rest
    the record is followed by 20 s of silence, so that its tail does not come round to its start.
    """
    a = np.asarray(acceleration, dtype=float)
    if a.ndim == 0 or a.shape[-1] < 2:
        raise ValueError(f"acceleration has shape {a.shape}; expected 2 samples or more")
    if not np.isfinite(a).all():
        at = tuple(int(i) for i in np.argwhere(~np.isfinite(a))[0])
        where = ", ".join(map(str, at))
        raise ValueError(f"acceleration[{where}] is {a[at]}; expected finite numbers")
    _check_interval(dt)
    n = a.shape[-1]
    points = n if steady else 1 << int(n + np.ceil(_MEMORY / dt)).bit_length()
    response = weighting(np.fft.rfftfreq(points, dt), kind)
    return np.fft.irfft(np.fft.rfft(a, points) * response, points)[..., :n]


def weighted_rms(acceleration: ArrayLike, *, dt: float, kind: Kind = "k", steady: bool = False):
    """Root mean square of the weighted acceleration, the basic measure of ISO 2631-1.

    Arguments, and what they must be, as for `weighted`.

    Returns
    -------
    float or ndarray, shape (...)
        Weighted rms [m/s**2].

    Notes
    -----
    A mean over the record: the longer the quiet road around one bump, the less it shows. For a
    single event look at `mtvv` or `vdv`, as ISO 2631-1 does where the peak is over nine times the
    rms.
    """
    return np.sqrt(np.mean(weighted(acceleration, dt=dt, kind=kind, steady=steady) ** 2, axis=-1))


def mtvv(acceleration: ArrayLike, *, dt: float, kind: Kind = "k", steady: bool = False):
    """Maximum transient vibration value: the worst second of the ride.

    Arguments, and what they must be, as for `weighted`.

    Returns
    -------
    float or ndarray, shape (...)
        Highest rms of the weighted acceleration over any one second [m/s**2]; over the second
        that holds it all for a shorter record.

    Notes
    -----
    The linear running rms of ISO 2631-1 with its window of 1 s. Before the record was rest.
    """
    squared = weighted(acceleration, dt=dt, kind=kind, steady=steady) ** 2
    window = max(round(1.0 / dt), 1)
    total = np.cumsum(squared, axis=-1)
    total[..., window:] = total[..., window:] - total[..., :-window]
    return np.sqrt(np.maximum(total, 0.0).max(axis=-1) / window)


def vdv(acceleration: ArrayLike, *, dt: float, kind: Kind = "k", steady: bool = False):
    """Fourth-power vibration dose value: grows with every jolt, most with the hardest.

    Arguments, and what they must be, as for `weighted`.

    Returns
    -------
    float or ndarray, shape (...)
        Dose [m/s**1.75].

    Notes
    -----
    ``(integral of a_w**4 dt)**(1/4)``, ISO 2631-1. A sum and not a mean: quiet road around a bump
    does not dilute it.
    """
    fourth = weighted(acceleration, dt=dt, kind=kind, steady=steady) ** 4
    return (np.sum(fourth, axis=-1) * dt) ** 0.25


def comfort_words(rms: float) -> tuple[str, ...]:
    """What passengers are likely to say of a ride.

    Parameters
    ----------
    rms : float
        Weighted rms; of all directions together, the root of the sum of their squares [m/s**2].

    Returns
    -------
    tuple of str
        One phrase, or two: the bands of ISO 2631-1 Annex C overlap.

    Raises
    ------
    ValueError
        If the value is negative or not a number.

    Notes
    -----
    Reactions to public transport. A crew that chose rough ground expects more; the order holds.
    """
    if not isinstance(rms, Real) or not rms >= 0:
        raise ValueError(f"rms is {rms!r}; expected a number of zero or more [m/s**2]")
    # "less than 0.315" and "greater than 2" are open, the bands between them have their ends.
    inside = [
        word
        for low, high, word in WORDS
        if (rms < high if low == 0 else low < rms if high == np.inf else low <= rms <= high)
    ]
    return tuple(inside)


def _shape(kind):
    try:
        return _SHAPES[kind]
    except (KeyError, TypeError):
        raise ValueError(
            f"kind is {kind!r}; expected 'k' (up and down) or 'd' (fore, aft and sideways)"
        ) from None


def _check_interval(dt):
    if not isinstance(dt, Real) or isinstance(dt, bool) or not 0 < dt <= _LONGEST_SAMPLE:
        raise ValueError(
            f"dt is {dt!r}; expected above 0 and at most 1/160 s, to carry waves of 80 Hz"
        )
