"""The four figures of many forecasts of the same eyes at once, for resampling: ranking, Brier, level, slope.

Up to 2048 eyes everything is exact. Beyond, each forecast's log-odds are sorted into 2048 bins and
the figures worked out from the bins' counts: the C statistic is then off by at most half the share of pairs within one
bin (a few 1e-5 in practice), Brier and slope by a few 1e-6 and 1e-5: a hundredth of what resampling leaves open.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from models.arrays import FloatArray

BINS = 2048

_BEND = 8.0
_FARTHEST = 1.0 - 1e-7
_ROUNDS = 25
_RUNAWAY = 50.0
_SETTLED = 1e-4
"""A last Newton step of this length leaves an error of its square."""


@dataclass(frozen=True, eq=False)
class Scores:
    """One entry per forecast [b]; NaN where a figure cannot be worked out."""

    c_statistic: FloatArray
    brier: FloatArray
    calibration_in_the_large: FloatArray
    calibration_slope: FloatArray


@dataclass(frozen=True, eq=False)
class _Points:
    """Log-odds in rising order with the weight of clear and of cloudy eyes at each, all [b, m]."""

    log_odds: FloatArray
    clear: FloatArray
    cloudy: FloatArray


def score_many(
    log_odds: FloatArray, outcome: FloatArray, weightings: tuple[NDArray[Any], ...], *, exact: bool = False
) -> tuple[Scores, ...]:
    """Figures of b forecasts `log_odds` [b, n] of eyes with `outcome` [n], under each of the weightings.

    weightings: each [n] (the same for all forecasts) or [b, n]. exact: no bins however many eyes.
    """
    if exact or log_odds.shape[1] <= BINS:
        order = np.argsort(log_odds, axis=1)
        placed = np.take_along_axis(log_odds, order, axis=1)
        seen = outcome[order]
        points = []
        for weights in weightings:
            weight = weights[order] if weights.ndim == 1 else np.take_along_axis(weights, order, axis=1)
            cloudy = weight * seen
            points.append(_Points(placed, weight - cloudy, cloudy))
    else:
        points = _binned(log_odds, outcome, weightings)
    return tuple(_scores(one) for one in points)


def _binned(log_odds: FloatArray, outcome: FloatArray, weightings: tuple[NDArray[Any], ...]) -> list[_Points]:
    b = log_odds.shape[0]
    # Equal steps of a tangent: as fine as equal steps where eyes are, and one far eye does not coarsen them.
    bent = np.tanh(log_odds / _BEND)
    low = bent.min(axis=1, keepdims=True)
    width = np.maximum(bent.max(axis=1, keepdims=True) - low, 1e-9) / BINS
    place = np.minimum(((bent - low) / width).astype(np.int32), BINS - 1)
    place *= 2
    place += outcome.astype(np.int32)
    middles = np.clip(low + width * (np.arange(BINS, dtype=np.float64) + 0.5), -_FARTHEST, _FARTHEST)
    middles = _BEND * np.arctanh(middles)
    tables = [np.empty((b, 2 * BINS)) for _ in weightings]
    for j in range(b):
        for weights, table in zip(weightings, tables, strict=True):
            table[j] = np.bincount(place[j], weights if weights.ndim == 1 else weights[j], 2 * BINS)
    return [_Points(middles, table[:, ::2], table[:, 1::2]) for table in tables]


def _scores(points: _Points) -> Scores:
    cloudy, clear = points.cloudy.sum(axis=1), points.clear.sum(axis=1)
    both = (cloudy > 0.0) & (clear > 0.0)
    risk = _chance(points.log_odds)
    # sum of w (y - p)^2 = sum of cloudy (1 - 2 p) + (cloudy + clear) p^2
    brier = cloudy - 2.0 * np.einsum("bm,bm->b", points.cloudy, risk)
    brier = (brier + np.einsum("bm,bm->b", (points.cloudy + points.clear) * risk, risk)) / (cloudy + clear)
    pairs = np.where(both, cloudy * clear, np.nan)
    level = _recalibrated(points, risk, both, sloped=False)
    slope = _recalibrated(points, risk, both, sloped=True)
    return Scores(_ranked(points) / pairs, brier, level, slope)


def _ranked(points: _Points) -> FloatArray:
    """Weight of pairs in which the cloudy eye stands higher, equal log-odds counting half, [b]."""
    below = np.cumsum(points.clear, axis=1) - points.clear
    won = np.einsum("bm,bm->b", points.cloudy, below + 0.5 * points.clear)
    level = points.log_odds[:, 1:] == points.log_odds[:, :-1]
    for j in np.flatnonzero(level.any(axis=1)).tolist():
        first = np.concatenate([[0], np.flatnonzero(~level[j]) + 1])
        clear, cloudy = np.add.reduceat(points.clear[j], first), np.add.reduceat(points.cloudy[j], first)
        won[j] = cloudy @ (np.cumsum(clear) - 0.5 * clear)
    return np.asarray(won)


def _recalibrated(points: _Points, risk: FloatArray, both: NDArray[np.bool_], *, sloped: bool) -> FloatArray:
    """Intercept at slope 1, or the slope, of the outcome on the log-odds, [b], by Newton's method for all at once."""
    x, total = points.log_odds, points.cloudy + points.clear
    # about their middle, level and slope hardly move one another
    middle = np.einsum("bm,bm->b", x, total) / np.maximum(total.sum(axis=1), 1e-300) if sloped else np.zeros(len(x))
    x = x - middle[:, None] if sloped else x
    found = np.full(both.shape, np.nan)
    open_ = np.flatnonzero(both)
    a, slope = middle[open_], np.ones(open_.size)
    for round_ in range(_ROUNDS):
        if not open_.size:
            break
        every = open_.size == x.shape[0]
        here, weight, seen = (x, total, points.cloudy) if every else (x[open_], total[open_], points.cloudy[open_])
        if round_ == 0:
            held = risk[open_]
        else:
            held = _chance(a[:, None] + slope[:, None] * here if sloped else a[:, None] + here)
        left = seen - weight * held
        held *= weight * (1.0 - held)
        g0, h00 = left.sum(axis=1), held.sum(axis=1)
        if sloped:
            g1 = np.einsum("bm,bm->b", left, here)
            held *= here
            h01 = held.sum(axis=1)
            h11 = np.einsum("bm,bm->b", held, here)
            det = h00 * h11 - h01 * h01
            regular = det > 1e-14 * np.maximum(h00 * h11, 1e-300)
            det = np.where(regular, det, 1.0)
            da, db = (h11 * g0 - h01 * g1) / det, (h00 * g1 - h01 * g0) / det
        else:
            regular = h00 > 0.0
            da, db = g0 / np.where(regular, h00, 1.0), np.zeros_like(g0)
        regular &= (np.abs(da) < _RUNAWAY) & (np.abs(db) < _RUNAWAY)
        a, slope = a + da, slope + db
        done = regular & (np.abs(da) < _SETTLED) & (np.abs(db) < _SETTLED)
        found[open_[done]] = (slope if sloped else a)[done]
        on = regular & ~done
        open_, a, slope = open_[on], a[on], slope[on]
    return found


def _chance(log_odds: FloatArray) -> FloatArray:
    # as a tangent, which never overflows
    half = np.multiply(log_odds, 0.5)
    np.tanh(half, out=half)
    half *= 0.5
    half += 0.5
    return half
