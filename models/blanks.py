"""The same blanks filled again and again under changing weights: EM and conditional means, warm-started.

The estimate is that of `missing.learn_normal` and `Normal.fill`; what depends on the pattern of blanks alone is worked
out once, so that hundreds of resamples can redo the whole missing-value step.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from models.arrays import BoolArray, FloatArray, IntArray
from models.errors import ModelError
from models.missing import Normal

TOLERANCE = 1e-3
"""EM of a resample stops when nothing moves by more than this many SDs."""

_ROUNDS = 200


@dataclass(frozen=True, eq=False)
class _Alike:
    """Patterns with the same number m of blanks: their numbers [k], blank columns [k, m], rows [r] and the pattern of
    each of these rows among the k."""

    patterns: IntArray
    blank: IntArray
    rows: IntArray
    place: IntArray


class Blanks:
    """The patterns of blanks of a table [n, q]; which values are blank never changes, values and weights may."""

    def __init__(self, table: FloatArray) -> None:
        self.seen: BoolArray = ~np.isnan(table)
        patterns, codes = np.unique(self.seen, axis=0, return_inverse=True)
        codes = codes.reshape(-1)
        self.patterns: BoolArray = patterns
        self.codes: IntArray = codes
        self._order = np.argsort(codes, kind="stable")
        bounds = np.searchsorted(codes[self._order], np.arange(patterns.shape[0] + 1)).tolist()
        self._spans = list(itertools.pairwise(bounds))
        open_ = (~patterns).sum(axis=1)
        self._alike = []
        for m in np.unique(open_[open_ > 0]).tolist():
            which = np.flatnonzero(open_ == m)
            rows = np.flatnonzero(open_[codes] == m)
            place = np.searchsorted(which, codes[rows])
            self._alike.append(_Alike(which, np.nonzero(~patterns[which])[1].reshape(-1, m), rows, place))

    def relearn(self, table: FloatArray, weights: FloatArray, start: Normal, *, tolerance: float = TOLERANCE) -> Normal:
        """Mean and covariance under `weights` [n], started from a nearby answer; steadying as in `learn_normal`."""
        values = np.where(self.seen, table, 0.0)
        centre, scale = _moments(values, self.seen, weights)
        scale = np.where(scale > 0.0, scale, 1.0)
        moments = self._weighted_moments(np.where(self.seen, (values - centre) / scale, 0.0), weights)
        total = float(weights.sum())
        mean = (start.mean - centre) / scale
        covariance = start.covariance / np.outer(scale, scale)
        q = mean.shape[0]
        rounds, moved = 0, np.inf
        while moved >= tolerance and rounds < _ROUNDS:
            first, second = self._expectation(moments, mean, covariance)
            new_mean = first / total
            about = second - np.outer(first, first) / total
            new = (about + 2.0 * np.eye(q)) / (total + 2.0)
            new = (new + new.T) / 2.0
            moved = max(float(np.abs(new_mean - mean).max()), float(np.abs(new - covariance).max()))
            mean, covariance, rounds = new_mean, new, rounds + 1
        return Normal(centre + scale * mean, covariance * np.outer(scale, scale))

    def fill(self, table: FloatArray, normal: Normal) -> Filled:
        """Conditional means of the blanks, and what is needed for the variance that they leave."""
        sd, precision = _precision(normal)
        standard = np.where(self.seen, (table - normal.mean) / sd, 0.0)
        filled = np.where(self.seen, table, 0.0)
        lefts = []
        for alike in self._alike:
            left, slope = _conditional(precision, alike.blank, self.patterns[alike.patterns])
            columns = alike.blank[alike.place]
            carried = np.einsum("rmq,rq->rm", slope[alike.place], standard[alike.rows])
            filled[alike.rows[:, None], columns] = normal.mean[columns] + sd[columns] * carried
            lefts.append(left)
        return Filled(filled, self, sd, tuple(lefts))

    def _weighted_moments(self, standard: FloatArray, weights: FloatArray) -> FloatArray:
        rows = np.column_stack([np.ones(standard.shape[0]), standard])[self._order]
        weighted = rows * weights[self._order, None]
        moments = np.empty((len(self._spans), rows.shape[1], rows.shape[1]))
        for k, (low, high) in enumerate(self._spans):
            moments[k] = weighted[low:high].T @ rows[low:high]
        return moments

    def _expectation(
        self, moments: FloatArray, mean: FloatArray, covariance: FloatArray
    ) -> tuple[FloatArray, FloatArray]:
        q = mean.shape[0]
        precision = _inverse(covariance)
        table = moments.sum(axis=0)
        for alike in self._alike:
            here = moments[alike.patterns]
            left, slope = _conditional(precision, alike.blank, self.patterns[alike.patterns])
            carry = np.concatenate([(mean[alike.blank] - slope @ mean)[:, :, None], slope], axis=2)
            with_seen = carry @ here
            with_blank = with_seen @ np.swapaxes(carry, 1, 2) + here[:, 0, 0][:, None, None] * left
            place = alike.blank + 1
            flat = (place[:, :, None] * (q + 1) + np.arange(q + 1)).reshape(-1)
            added = np.bincount(flat, with_seen.reshape(-1), (q + 1) ** 2).reshape(q + 1, q + 1)
            flat = (place[:, :, None] * (q + 1) + place[:, None, :]).reshape(-1)
            table = table + added + added.T
            table = table + np.bincount(flat, with_blank.reshape(-1), (q + 1) ** 2).reshape(q + 1, q + 1)
        return table[0, 1:], table[1:, 1:]


@dataclass(frozen=True, eq=False)
class Filled:
    """A table without blanks, values [n, q], and the conditional covariances behind them."""

    values: FloatArray
    blanks: Blanks
    sd: FloatArray
    left: tuple[FloatArray, ...]

    def shrinking(
        self,
        slopes: FloatArray,
        depth: int | None = None,
        bend: FloatArray | None = None,
        curve: FloatArray | None = None,
        kind: type[np.floating[Any]] = np.float64,
    ) -> NDArray[Any]:
        """What the blanks shrink each log-odds by, 1 / sqrt(1 + pi v / 8), for several models at once: [b, n].

        slopes: [b, q]. Where the curve of the column `depth` makes its slope depend on the eye, `bend` [n] is the
        curve's steepness at each eye and `curve` [b] its coefficient: the slope there is slopes[:, depth] + curve bend.
        See `missing.averaged_risk`.
        """
        table = np.ones((slopes.shape[0], self.blanks.patterns.shape[0]))
        bent = []
        for alike, left in zip(self.blanks._alike, self.left, strict=True):
            scaled = (slopes * self.sd)[:, alike.blank]
            image = np.einsum("bkm,kmj->bkj", scaled, left)
            variance = np.einsum("bkm,bkm->bk", image, scaled)
            table[:, alike.patterns] = _shrunk(variance)
            if bend is None or depth is None or curve is None:
                continue
            hit = alike.blank == depth
            at, which = hit.argmax(axis=1), np.arange(hit.shape[0])
            some = np.flatnonzero(hit.any(axis=1)[alike.place])
            rows, place = alike.rows[some], alike.place[some]
            # lean: what the curve adds to the slope of the depth, per SD of the depth
            lean = curve[:, None] * (bend[rows] * self.sd[depth])
            within = variance[:, place] + 2.0 * lean * image[:, which, at][:, place]
            bent.append((rows, _shrunk(within + lean**2 * left[which, at, at][place])))
        factors = np.take(table.astype(kind), self.blanks.codes, axis=1)
        for rows, found in bent:
            factors[:, rows] = found
        return factors


def _shrunk(variance: FloatArray) -> FloatArray:
    return np.asarray(1.0 / np.sqrt(1.0 + (np.pi / 8.0) * np.maximum(variance, 0.0)))


def _conditional(precision: FloatArray, blank: IntArray, seen: BoolArray) -> tuple[FloatArray, FloatArray]:
    """Per pattern: covariance of the blanks given what is seen, and their slopes on what is seen."""
    left = np.asarray(np.linalg.inv(precision[blank[:, :, None], blank[:, None, :]]), dtype=np.float64)
    return left, -left @ (precision[blank] * seen[:, None, :])


def _precision(normal: Normal) -> tuple[FloatArray, FloatArray]:
    variance = np.diag(normal.covariance)
    sd = np.sqrt(np.where(variance > 0.0, variance, 1.0))
    correlation = normal.covariance / np.outer(sd, sd)
    # A field that never changes is known exactly; a tiny variance keeps the arithmetic regular.
    return sd, _inverse(correlation + np.diag(np.where(variance > 0.0, 0.0, 1e-12)))


def _inverse(covariance: FloatArray) -> FloatArray:
    try:
        half = np.linalg.inv(np.linalg.cholesky(covariance))
    except np.linalg.LinAlgError as error:
        raise ModelError(
            "The link between the fields cannot be learnt.",
            "The covariance of the fields is not positive.",
            "Use the mean of each field for its blanks, and say so.",
        ) from error
    return np.asarray(half.T @ half, dtype=np.float64)


def _moments(values: FloatArray, seen: BoolArray, weights: FloatArray) -> tuple[FloatArray, FloatArray]:
    w = seen * weights[:, None]
    total = np.maximum(w.sum(axis=0), 1e-300)
    mean = (w * values).sum(axis=0) / total
    spread = np.sqrt((w * (values - mean) ** 2).sum(axis=0) / total)
    return np.asarray(mean, dtype=np.float64), np.asarray(spread, dtype=np.float64)
