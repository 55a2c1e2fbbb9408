"""Slips in a log: a tape misread, a collar miscounted, a sheet swapped; named, and undone."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from suspkit.units import INCH, tape
from suspkit.vehicle.setup import CORNERS

KINDS = {"heights": "ride height", "scales": "scale", "gaps": "stop gap", "collars": "collar"}
"""What a ride may have read at each corner, in words."""

ORDER = tuple(KINDS)
"""Of the readings of a ride in arrays."""

MISCOUNT_BY = {-2.0: 0.1, -1.0: 0.4, 1.0: 0.4, 2.0: 0.1}
"""Turns a collar is off by when it is miscounted, and how often; own judgement, no source."""

MISREAD_BY = (-INCH, -0.5 * INCH, 0.5 * INCH, INCH)
"""How far a tape is misread when it is [m]: a half or a whole inch; own judgement, no source."""

NAMED_AT = 20.0
"""Odds against "no mistake" from which a mistake is named."""

RIVAL = 5.0
"""Two mistakes whose chances are closer than this factor cannot be told apart."""


@dataclass(frozen=True, kw_only=True)
class Slip:
    """A mistake in a log.

    Parameters
    ----------
    kind : {"misread", "miscount", "swapped"}
        A tape read wrong; a collar not where it was counted to be; left and right of a ride's
        sheet swapped.
    rides : tuple of int
        The rides it is in, from 0.
    corner : str
        Empty for a swapped ride.
    reading : {"heights", "gaps", ""}
        What was misread.
    size : float
        Misread by [m]; turns really there less turns written down.
    """

    kind: str
    rides: tuple[int, ...]
    corner: str = ""
    reading: str = ""
    size: float = 0.0

    def __str__(self):
        first = self.rides[0] + 1
        where = self.corner.replace("_", " ")
        if self.kind == "swapped":
            return f"left and right swapped in ride {first}"
        if self.kind == "misread":
            return f"{where} {KINDS[self.reading]} misread by {tape(self.size)} in ride {first}"
        short = "short" if self.size < 0 else "too far"
        last = self.rides[-1] + 1
        span = f"in ride {first}" if first == last else f"in rides {first} to {last}"
        turns = "turn" if abs(self.size) == 1 else "turns"
        return f"{where} collar {abs(self.size):g} {turns} {short} {span}"


@dataclass(frozen=True, kw_only=True)
class Flag:
    """A mistake that the log speaks for.

    Parameters
    ----------
    slip : Slip or None
        None if the readings do not fit and no single slip explains it.
    probability : float
        That it is this one, of all that were looked at and none [1].
    rivals : tuple of Slip
        Others that cannot be told apart from it.
    removed : bool
        The estimates are without it.
    sentence : str
        For the shop.
    """

    slip: Slip | None
    probability: float
    rivals: tuple[Slip, ...]
    removed: bool
    sentence: str

    @classmethod
    def of(cls, slip, chance, rivals, *, sure):
        """What `name_slip` named, in a sentence; ``sure`` if it can be undone, whichever it is."""
        words = str(slip)
        sentence = f"{words[0].upper()}{words[1:]}: {min(chance, 0.999):.1%} sure."
        if not sure:
            others = ", or ".join(str(rival) for rival in rivals[:3])
            sentence = (
                f"There is a slip, but which one cannot be told apart: {words} ({chance:.0%}), or "
                f"{others}. Nothing was removed; read the collars by caliper at contact and after "
                "each count, and measure again."
            )
        return cls(slip=slip, probability=chance, rivals=rivals, removed=sure, sentence=sentence)


def looked_for(log):
    """Every mistake looked for in a log of `suspkit.studies.fit`, each with its chance before."""
    given, found = log.doubts, []
    for ride, kind, corner in zip(*log.places, strict=True):
        reading = ORDER[kind]
        if reading in ("heights", "gaps"):
            for size in MISREAD_BY:
                slip = Slip(
                    kind="misread", rides=(int(ride),), corner=CORNERS[corner], reading=reading,
                    size=size,
                )  # fmt: skip
                found.append((slip, given.misread / len(MISREAD_BY)))
    for corner in CORNERS:
        spans = _counts([getattr(r.setup, corner) for r in log.rides])
        for rides, least in spans:
            share = given.miscount / sum(rides[0] == other[0] for other, _ in spans)
            for size, often in MISCOUNT_BY.items():
                if least + size >= 0:
                    slip = Slip(kind="miscount", rides=rides, corner=corner, size=size)
                    found.append((slip, share * often))
    for ride in range(len(log.rides)):
        both = np.isfinite(log.written[ride])
        if both.any() and (both[:, ::2] == both[:, 1::2]).all():
            found.append((Slip(kind="swapped", rides=(ride,)), given.swapped))
    return found


def _counts(chosen):
    """Spans of rides over which one miscount of a collar would last, with its fewest turns.

    A collar is counted when its turns change; counted on from there the mistake stays, counted
    from contact again it is gone with the next count.
    """
    spans = {}
    for start, now in enumerate(chosen):
        same = start and chosen[start - 1].stack == now.stack
        if now.turns == 0 or (same and chosen[start - 1].turns == now.turns):
            continue
        stop = next_count = start + 1
        while stop < len(chosen) and chosen[stop].stack == now.stack and chosen[stop].turns > 0:
            stop += 1
        while next_count < stop and chosen[next_count].turns == now.turns:
            next_count += 1
        for end in (next_count, stop):
            rides = tuple(range(start, end))
            spans[rides] = min(chosen[i].turns for i in rides)
    return list(spans.items())


def log_odds(log, line, straight, readings, slips):
    """Log odds of each mistake of `looked_for` against none, shape (slips, batch).

    ``straight`` is what was read less what the ``line`` starts from, ``readings`` what was read,
    each of shape (readings, batch) [m, kg]. The marginal likelihoods are those of a normal
    distribution, so only the part explained by the mistake's known effect is left (Bishop,
    Pattern Recognition and Machine Learning, section 3.4; from memory).
    """
    ride, kind, corner = log.places
    clean = line.white(straight)
    plain = 0.5 * (clean**2).sum(axis=0)
    effect = np.zeros((len(ride), len(slips)))
    gained = np.empty((len(slips), clean.shape[1]))
    swapped = []
    for j, (slip, _) in enumerate(slips):
        here = np.isin(ride, slip.rides)
        if slip.kind == "misread":
            here &= corner == CORNERS.index(slip.corner)
            effect[here & (kind == ORDER.index(slip.reading)), j] = slip.size
        elif slip.kind == "miscount":
            column = CORNERS.index(slip.corner) + (4 if slip.size > 0 else 0)
            effect[here, j] = abs(slip.size) * line.turned[here, column]
        else:
            swapped.append(j)
            back = straight + _swap(log, slip, readings) - readings
            gained[j] = plain - 0.5 * (line.white(back) ** 2).sum(axis=0)
    known = [j for j in range(len(slips)) if j not in swapped]
    each = line.white(effect[:, known])
    gained[known] = each.T @ clean - 0.5 * (each**2).sum(axis=0)[:, None]
    before = np.array([chance for _, chance in slips])
    return gained + np.log(before / (1 - before.sum()))[:, None]


def _swap(log, slip, readings):
    """Readings with left and right of a ride swapped."""
    ride, kind, corner = log.places
    number = np.full(log.written.shape, -1)
    number[log.places] = np.arange(len(ride))
    other = np.where(np.isin(ride, slip.rides), corner ^ 1, corner)
    return readings[number[ride, kind, other]]


def chances(odds):
    """Chance of each slip, shape (slips, batch), and of none, from their log odds: Bayes' rule."""
    high = np.maximum(odds.max(axis=0, initial=0.0), 0.0)
    weight, none = np.exp(odds - high), np.exp(-high)
    whole = weight.sum(axis=0) + none
    return weight / whole, none / whole


def name_slip(slips, chance, none):
    """Of one log the likeliest slip, its chance, and who cannot be told apart from it.

    Nothing is named (None) where the odds of it and its rivals do not reach `NAMED_AT`.
    """
    close = np.flatnonzero(chance * RIVAL > chance.max(initial=0.0))
    if chance[close].sum() < NAMED_AT * none or not len(slips):
        return None
    best = int(np.argmax(chance))
    rivals = tuple(slips[j][0] for j in close if j != best)
    return slips[best][0], float(chance[best]), rivals


def undone(rides, slip):
    """The rides as they were before a slip: a misread reading is left out."""
    mended = list(rides)
    for i in slip.rides:
        ride = rides[i]
        if slip.kind == "misread":
            four = list(getattr(ride, slip.reading))
            four[CORNERS.index(slip.corner)] = None
            mended[i] = replace(ride, **{slip.reading: tuple(four)})
        elif slip.kind == "miscount":
            turns = getattr(ride.setup, slip.corner).turns + slip.size
            mended[i] = replace(ride, setup=ride.setup.change(slip.corner, turns=turns))
        else:
            fours = {kind: getattr(ride, kind) for kind in KINDS}
            swapped = {kind: (four[1], four[0], four[3], four[2]) for kind, four in fours.items()}
            mended[i] = replace(ride, **swapped)
    return tuple(mended)
