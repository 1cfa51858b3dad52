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

from models.arrays import FloatArray, IntArray

BINS = 2048

_BEND = 8.0
_FARTHEST = 1.0 - 1e-7
_UPPER = 2.0**26
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

    weightings: each [n] (the same for all forecasts) or [b, n]; whole numbers are fastest as uint8. exact: no bins
    however many eyes.
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


def placed(
    log_odds: NDArray[Any], bent: NDArray[Any] | None = None, place: NDArray[np.int32] | None = None
) -> tuple[NDArray[np.int32], FloatArray]:
    """Which of 2048 bins each of the log-odds [n] falls into, and the middles of the bins [2048].

    Bins are equal steps of a tangent: as fine as equal steps where eyes are, and one far eye does not coarsen them.
    bent, place: [n] room for the work and the answer, for whoever asks again and again.
    """
    bent = np.multiply(log_odds, 1.0 / _BEND, out=bent)
    np.tanh(bent, out=bent)
    low = float(bent.min())
    width = max(float(bent.max()) - low, 1e-9) / BINS
    bent -= low
    bent *= 1.0 / width
    np.minimum(bent, BINS - 0.5, out=bent)
    if place is None:
        place = np.empty(bent.shape, dtype=np.int32)
    np.copyto(place, bent, casting="unsafe")
    middles = np.clip(low + width * (np.arange(BINS, dtype=np.float64) + 0.5), -_FARTHEST, _FARTHEST)
    return place, 0.5 * _BEND * np.log((1.0 + middles) / (1.0 - middles))


def _binned(log_odds: FloatArray, outcome: FloatArray, weightings: tuple[NDArray[Any], ...]) -> list[_Points]:
    b, n = log_odds.shape
    kind = BINS * outcome.astype(np.int32)
    middles = np.empty((b, BINS))
    tables = [np.empty((b, 2 * BINS)) for _ in weightings]
    # The same room for every forecast: fresh memory of this size costs as much as the work done in it.
    bent, place = np.empty(n, dtype=log_odds.dtype), np.empty(n, dtype=np.int32)
    cell, weight = np.empty(n, dtype=np.int64), np.empty(n)
    for j in range(b):
        middles[j] = placed(log_odds[j], bent, place)[1]
        np.add(place, kind, out=cell)
        rows = [weights if weights.ndim == 1 else weights[j] for weights in weightings]
        for table, found in zip(tables, _counted(cell, rows, weight), strict=True):
            table[j] = found
    return [_Points(middles, table[:, :BINS], table[:, BINS:]) for table in tables]


def _counted(cell: IntArray, weightings: list[NDArray[Any]], room: FloatArray) -> list[FloatArray]:
    """Weight of the eyes in each cell, for each of the weightings [n]; room: [n]."""
    if len(weightings) == 2 and all(_small(weights) for weights in weightings):
        # Both in one count, one in the upper and one in the lower digits of a double, and both exact.
        np.multiply(weightings[0], _UPPER, out=room)
        room += weightings[1]
        counted = np.bincount(cell, room, 2 * BINS)
        upper = np.floor(counted / _UPPER)
        return [upper, counted - upper * _UPPER]
    found = []
    for weights in weightings:
        np.copyto(room, weights)
        found.append(np.asarray(np.bincount(cell, room, 2 * BINS), dtype=np.float64))
    return found


def _small(weights: NDArray[Any]) -> bool:
    """Whether weights are whole numbers whose sum fits into half the digits of a double."""
    return weights.dtype == np.uint8 and int(weights.max(initial=0)) * weights.shape[0] < _UPPER


def _scores(points: _Points) -> Scores:
    cloudy, clear = points.cloudy.sum(axis=1), points.clear.sum(axis=1)
    both = (cloudy > 0.0) & (clear > 0.0)
    risk = _chance(points.log_odds)
    # sum of w (y - p)^2 = sum of cloudy (1 - 2 p) + (cloudy + clear) p^2
    brier = cloudy - 2.0 * np.vecdot(points.cloudy, risk)
    brier = (brier + np.vecdot((points.cloudy + points.clear) * risk, risk)) / (cloudy + clear)
    pairs = np.where(both, cloudy * clear, np.nan)
    level = _recalibrated(points, risk, both, sloped=False)
    slope = _recalibrated(points, risk, both, sloped=True)
    return Scores(_ranked(points) / pairs, brier, level, slope)


def _ranked(points: _Points) -> FloatArray:
    """Weight of pairs in which the cloudy eye stands higher, equal log-odds counting half, [b]."""
    below = np.cumsum(points.clear, axis=1)
    below -= 0.5 * points.clear
    won = np.vecdot(points.cloudy, below)
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
    middle = np.vecdot(x, total) / np.maximum(total.sum(axis=1), 1e-300) if sloped else np.zeros(len(x))
    x = x - middle[:, None] if sloped else x
    seen, steep = points.cloudy.sum(axis=1), np.vecdot(points.cloudy, x)
    found = np.full(both.shape, np.nan)
    open_ = np.flatnonzero(both)
    a, slope = middle[open_], np.ones(open_.size)
    for round_ in range(_ROUNDS):
        if not open_.size:
            break
        every = open_.size == x.shape[0]
        here, weight = (x, total) if every else (x[open_], total[open_])
        if round_ == 0:
            chance = risk[open_]
        else:
            chance = _chance(a[:, None] + slope[:, None] * here if sloped else a[:, None] + here)
        held = weight * chance
        g0, g1 = seen[open_] - held.sum(axis=1), steep[open_] - np.vecdot(held, here)
        chance *= held
        held -= chance
        h00 = held.sum(axis=1)
        if sloped:
            held *= here
            h01, h11 = held.sum(axis=1), np.vecdot(held, here)
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
    clear = np.negative(log_odds)
    # The odds of a clear eye may overflow: its chance of being cloudy is then 0 to the last digit.
    with np.errstate(over="ignore"):
        np.exp(clear, out=clear)
    clear += 1.0
    return np.reciprocal(clear, out=clear)
