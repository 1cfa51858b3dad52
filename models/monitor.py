"""Watching forecasts and eyes as they come: exact limits, funnel, running tally."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import gammaincinv

from models.arrays import FloatArray, frozen, outcomes, risks
from models.errors import ModelError
from models.measure import Z95, Z998, Measure

SHRINKING = 11.1
"""Eyes of prior evidence in a group's ratio: a gamma prior with a spread of 0.3 between surgeons on the log scale."""

FEWEST_EXPECTED = 5.0
"""Below this many cloudy eyes expected a group gets no verdict; common practice, no source."""

FEWEST_GROUPS_FOR_SPREAD = 8
MOST_SPREAD = 1.3

_TINY = 1e-18
_LEAF = 64


def poisson_binomial(chances: ArrayLike) -> tuple[int, FloatArray]:
    """Distribution of the number of cloudy eyes when each has its own chance.

    Returns the first count listed and the probabilities from there on; counts with less than 1e-18 are left out.
    """
    p = risks(chances)
    first, pieces = 0, []
    padded = np.zeros(-(-max(p.shape[0], 1) // _LEAF) * _LEAF)
    padded[: p.shape[0]] = p
    leaves = np.zeros((padded.shape[0] // _LEAF, _LEAF + 1))
    leaves[:, 0] = 1.0
    for chance in padded.reshape(-1, _LEAF).T:
        moved = leaves[:, :-1] * chance[:, None]
        leaves *= 1.0 - chance[:, None]
        leaves[:, 1:] += moved
    pieces = [_trimmed(0, leaf) for leaf in leaves]
    while len(pieces) > 1:
        joined = [
            _trimmed(a[0] + b[0], np.convolve(a[1], b[1])) for a, b in zip(pieces[::2], pieces[1::2], strict=False)
        ]
        pieces = joined + pieces[len(pieces) - len(pieces) % 2 :]
    first, pmf = pieces[0]
    return first, pmf


def exact_limits(risks: ArrayLike, level: float = 0.95) -> tuple[int, int]:
    """Counts that the number of cloudy eyes stays within (limits included) with at least probability `level`.

    low, high: the smallest counts whose distribution function reaches (1 - level) / 2 and (1 + level) / 2.
    """
    if not 0.0 < level < 1.0:
        raise ModelError("The limits cannot be worked out.", "The level lies outside 0 to 1.", "Ask for 0.95.")
    first, pmf = poisson_binomial(risks)
    return _limits(first, pmf, level)


@dataclass(frozen=True)
class FunnelRow:
    """A group beside what its own forecasts make likely.

    low, high and low_998, high_998: exact counts for 95 % and 99.8 %; shrunken: the ratio seen to forecast, pulled
    towards 1, with its 95 % interval; verdict: too_few (fewer than 5 expected) | inside | above | below (outside the
    99.8 % limits); spread: factor by which all limits were widened because groups differ by more than chance.
    """

    group: str
    n: int
    observed: int
    expected: float
    low: int
    high: int
    low_998: int
    high_998: int
    shrunken: Measure
    verdict: str
    spread: float


def funnel(groups: Mapping[str, tuple[ArrayLike, ArrayLike]]) -> list[FunnelRow]:
    """Rows by rising number expected, from {group: (chances, outcomes)}; never a league table.

    Limits are exact (Poisson-binomial), so case mix is in them. With 8 groups or more and an SD of their z-scores
    above 1.3 all limits are widened by that SD. Source of the funnel: Spiegelhalter DJ. Stat Med 2005;24:1185 (from
    memory).
    """
    read: list[tuple[str, FloatArray, FloatArray]] = []
    for group, (chance, outcome) in groups.items():
        seen = outcomes(outcome)
        if seen.shape[0] == 0:
            raise ModelError("The funnel cannot be drawn.", "A group has no eyes.", "Leave the group out.")
        read.append((group, risks(chance, seen.shape[0]), seen))
    spread = _spread(read)
    rows = [_row(group, chance, seen, spread) for group, chance, seen in read]
    return sorted(rows, key=lambda row: (row.expected, row.group))


def shrunken_ratio(observed: float, expected: float) -> Measure:
    """(O + 11.1) / (E + 11.1) with its 95 % interval from the gamma distribution."""
    if not (math.isfinite(observed) and math.isfinite(expected) and observed >= 0.0 and expected >= 0.0):
        raise ModelError(
            "The ratio cannot be worked out.", "A count is below zero or no number.", "Correct the counts."
        )
    shape, rate = observed + SHRINKING, expected + SHRINKING
    low, high = (float(gammaincinv(shape, tail)) / rate for tail in (0.025, 0.975))
    return Measure(shape / rate, math.sqrt(shape) / rate, low, high)


def outside_by_chance(groups: int, looks: int = 1, level: float = 0.95) -> float:
    """How many groups to expect outside their `level` limits by chance alone, over that many looks.

    Counts are whole, so that exact limits let through a little less: this is an upper bound.
    """
    if groups < 1 or looks < 1 or not 0.0 < level < 1.0:
        raise ModelError(
            "The looks cannot be counted.", "Groups or looks are fewer than one, or the level lies outside 0 to 1.",
            "Correct the figures.",
        )  # fmt: skip
    return groups * looks * (1.0 - level)


def looks_words(groups: int, looks: int = 4, what: str = "surgeons") -> str:
    """How many groups by chance alone lie outside the 19-in-20 limits in a year of so many looks, said aloud."""
    times = "one look" if looks == 1 else f"{looks} looks"
    expected = outside_by_chance(groups, looks)
    about = "fewer than 1" if expected < 0.5 else f"about {expected:.0f}"
    return (
        f"With {groups} {what} and {times} a year expect {about} outside the 19-in-20 limits in a year by chance alone."
    )


@dataclass(frozen=True, eq=False)
class Tally:
    """Running tally, one entry per eye: cloudy eyes forecast less cloudy eyes seen, with pointwise limits.

    Rising: fewer cloudy eyes than forecast. A reading aid, not an alarm.
    """

    path: FloatArray
    low: FloatArray
    high: FloatArray
    low_998: FloatArray
    high_998: FloatArray


def running_tally(risk: ArrayLike, outcome: ArrayLike) -> Tally:
    """Sum of (p - y) in the order given, with limits -/+ z sqrt(sum p (1 - p)) for 95 % and 99.8 %.

    Lovegrove J et al. Lancet 1997;350:1128 (from memory).
    """
    seen = outcomes(outcome)
    chance = risks(risk, seen.shape[0])
    half = np.sqrt(np.cumsum(chance * (1.0 - chance)))
    return Tally(
        frozen(np.cumsum(chance - seen)),
        frozen(-Z95 * half),
        frozen(Z95 * half),
        frozen(-Z998 * half),
        frozen(Z998 * half),
    )


def _trimmed(first: int, pmf: FloatArray) -> tuple[int, FloatArray]:
    kept = np.flatnonzero(pmf > _TINY)
    return first + int(kept[0]), pmf[kept[0] : kept[-1] + 1]


def _limits(first: int, pmf: FloatArray, level: float) -> tuple[int, int]:
    reached = np.cumsum(pmf)
    # The last sum may fall short of 1 by rounding; a limit then is the last count that can happen at all.
    last = pmf.shape[0] - 1
    low, high = (
        min(int(np.searchsorted(reached, share, side="left")), last) for share in ((1 - level) / 2, (1 + level) / 2)
    )
    return first + low, first + high


def _spread(read: list[tuple[str, FloatArray, FloatArray]]) -> float:
    scores = []
    for _, chance, seen in read:
        variance = float((chance * (1.0 - chance)).sum())
        if float(chance.sum()) >= FEWEST_EXPECTED and variance > 0.0:
            scores.append(float((seen - chance).sum()) / math.sqrt(variance))
    if len(scores) < FEWEST_GROUPS_FOR_SPREAD:
        return 1.0
    found = float(np.std(scores, ddof=1))
    return found if found > MOST_SPREAD else 1.0


def _row(group: str, chance: FloatArray, seen: FloatArray, spread: float) -> FunnelRow:
    n, observed, expected = seen.shape[0], int(seen.sum()), float(chance.sum())
    first, pmf = poisson_binomial(chance)

    def widened(level: float) -> tuple[int, int]:
        low, high = _limits(first, pmf, level)
        if spread == 1.0:
            return low, high
        return max(0, math.floor(expected - spread * (expected - low))), min(
            n, math.ceil(expected + spread * (high - expected))
        )

    low, high = widened(0.95)
    low_998, high_998 = widened(0.998)
    if expected < FEWEST_EXPECTED:
        verdict = "too_few"
    elif observed > high_998:
        verdict = "above"
    elif observed < low_998:
        verdict = "below"
    else:
        verdict = "inside"
    return FunnelRow(
        group, n, observed, expected, low, high, low_998, high_998, shrunken_ratio(observed, expected), verdict, spread
    )
