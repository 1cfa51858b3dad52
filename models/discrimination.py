"""Does the forecast rank cloudy eyes above clear ones? The C statistic and its intervals, one or two eyes a patient."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtr

from models.arrays import BoolArray, FloatArray, IntArray, cluster_codes, outcomes, risks
from models.errors import ModelError
from models.measure import Z95, Measure

FEWEST_CLOUDY = 10
"""Below this many cloudy (or clear) eyes no interval of the C statistic is given; common practice, no source."""


@dataclass(frozen=True)
class Difference:
    """C statistic of a minus that of b on the same eyes, with the two-sided test of no difference."""

    value: float
    se: float
    z: float
    p: float


def c_statistic(risk: FloatArray, outcome: FloatArray, weights: FloatArray | None = None) -> float:
    """Share of pairs (one cloudy, one clear) in which the cloudy eye had the higher chance; ties count half.

    O(n log n). Weighted eyes count as that many eyes. Both kinds must be present.
    """
    weight = np.ones(risk.shape[0]) if weights is None else weights
    order = np.argsort(risk)
    cloudy = outcome[order] * weight[order]
    clear = weight[order] - cloudy
    edges = _tie_edges(risk[order])
    half = _half_below(clear, edges)
    # The weight of the cloudy eyes is summed within ties first, so that the order inside a tie plays no part.
    total = np.diff(np.concatenate([[0.0], np.cumsum(cloudy)])[edges])
    return float(total @ half / (cloudy.sum() * clear.sum()))


def placements(risk: FloatArray, outcome: FloatArray) -> FloatArray:
    """Per eye [n]: share of the other kind that it is ranked rightly against (DeLong's V10 and V01)."""
    order = np.argsort(risk)
    cloudy = outcome[order]
    edges = _tie_edges(risk[order])
    below_clear = _half_below(1.0 - cloudy, edges)
    # Rank among all less rank among clear eyes is the rank among cloudy ones.
    below_cloudy = 0.5 * (edges[:-1] + edges[1:]) - below_clear
    k = cloudy.sum()
    right, wrong = below_clear / (risk.shape[0] - k), below_cloudy / k
    if right.shape[0] < risk.shape[0]:
        times = np.diff(edges)
        right, wrong = np.repeat(right, times), np.repeat(wrong, times)
    result = np.empty(risk.shape[0])
    result[order] = np.where(cloudy == 1.0, right, 1.0 - wrong)
    return result


def _tie_edges(placed: FloatArray) -> IntArray:
    """Where runs of equal values begin in rising values [n], and n at the end."""
    starts = np.flatnonzero(placed[1:] != placed[:-1]) + 1
    return np.concatenate([[0], starts, [placed.shape[0]]])


def _half_below(counted: FloatArray, edges: IntArray) -> FloatArray:
    """Per run of equal values: the weight below it plus half of that in it."""
    upto = np.concatenate([[0.0], np.cumsum(counted)])[edges]
    return np.asarray(0.5 * (upto[:-1] + upto[1:]))


def c_measure(risk: FloatArray, outcome: FloatArray, codes: IntArray | None = None) -> Measure:
    """C statistic with its 95 % interval on the logit scale.

    DeLong ER et al. Biometrics 1988;44:837; with patients, Obuchowski NA. Biometrics 1997;53:567. No interval with
    fewer than 10 eyes of either kind, eyes of one kind all of one patient, or a perfect ranking.
    """
    cloudy = float(outcome.sum())
    place = placements(risk, outcome)
    value = float(place[outcome == 1.0].mean())
    few = min(cloudy, outcome.shape[0] - cloudy) < FEWEST_CLOUDY
    if few or fewest_units(outcome, codes) < 2 or not 0.0 < value < 1.0:
        return Measure(value, None, None, None)
    se = math.sqrt(_variance(place, value, outcome, codes))
    half = Z95 * se / (value * (1.0 - value))
    centre = math.log(value / (1.0 - value))
    return Measure(value, se, 1.0 / (1.0 + math.exp(half - centre)), 1.0 / (1.0 + math.exp(-half - centre)))


def compare_c_statistics(
    risk_a: ArrayLike, risk_b: ArrayLike, outcome: ArrayLike, *, clusters: ArrayLike | None = None
) -> Difference:
    """Difference of two C statistics on the same eyes [n]; by patient when `clusters` are given.

    Raises ModelError with fewer than 2 eyes (or patients) of either kind.
    """
    seen = outcomes(outcome)
    n = seen.shape[0]
    first, second = risks(risk_a, n), risks(risk_b, n)
    codes = None if clusters is None else cluster_codes(clusters, n)
    if fewest_units(seen, codes) < 2:
        raise ModelError(
            "The two forecasts cannot be compared.",
            "There are fewer than two cloudy or two clear eyes of different patients.",
            "Wait for more eyes.",
        )
    place = placements(first, seen) - placements(second, seen)
    value = float(place[seen == 1.0].mean())
    se = math.sqrt(_variance(place, value, seen, codes))
    z = value / se if se > 0.0 else (0.0 if value == 0.0 else math.copysign(math.inf, value))
    return Difference(value, se, z, 2.0 * float(ndtr(-abs(z))))


def fewest_units(outcome: FloatArray, codes: IntArray | None) -> int:
    """The smaller of two numbers: patients (or eyes) with a cloudy eye, and with a clear one."""
    kinds = (outcome == 1.0, outcome == 0.0)
    return min(int(kind.sum()) if codes is None else _patients(codes, kind) for kind in kinds)


def _patients(codes: IntArray, kind: BoolArray) -> int:
    """How many patients have an eye of a kind [n]."""
    return int(np.count_nonzero(np.bincount(codes[kind])))


def _variance(place: FloatArray, value: float, outcome: FloatArray, codes: IntArray | None) -> float:
    """Variance of the mean placement (or difference of two), independent eyes or by patient."""
    cloudy = outcome == 1.0
    k, m = float(cloudy.sum()), float((~cloudy).sum())
    away = place - value
    if codes is None:
        return float(
            (away[cloudy] @ away[cloudy]) / ((k - 1.0) * k) + (away[~cloudy] @ away[~cloudy]) / ((m - 1.0) * m)
        )
    size = int(codes.max()) + 1
    d10 = np.bincount(codes, weights=away * cloudy, minlength=size)
    d01 = np.bincount(codes, weights=away * ~cloudy, minlength=size)
    i10, i01 = float(_patients(codes, cloudy)), float(_patients(codes, ~cloudy))
    between = float(d10 @ d10) * i10 / ((i10 - 1.0) * k * k) + float(d01 @ d01) * i01 / ((i01 - 1.0) * m * m)
    return max(0.0, between + 2.0 * float(d10 @ d01) * size / ((size - 1.0) * k * m))
