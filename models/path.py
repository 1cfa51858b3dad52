"""Ridge fits of the training parts of many folds along a row of penalties, each started from the one before.

Every training part is standardised by its own spread, as a pipeline of scikit-learn's StandardScaler and
LogisticRegression would do: in columns of common SD 1 the penalty of column j is lambda times its variance in the part.
From the middle penalty the walk goes outwards to both ends; a penalty's fits start on the line through the two before
it (in log lambda), with the last inverse information carried over and the change of penalty put in.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from models.arrays import FloatArray, IntArray
from models.newton import newton
from models.passes import Counts
from models.prior import Prior
from models.refit import FEW_EYES, Refits
from models.steps import bfgs, capped, inverses, steady, times

NEAR = 2e-4
"""A penalty's fits are found once the last step moved no coefficient of a column with SD 1 by more."""

_MOST_PASSES = 10


class Folds:
    """The training parts of `folds` [R, n] (fold number of every eye in each repeat) and what is held out.

    X: [n, p] columns with SD 1; y: [n]; weights: [n].
    """

    def __init__(self, X: FloatArray, y: FloatArray, weights: FloatArray, folds: IntArray, middle: float) -> None:
        n = X.shape[0]
        self._y, self._weights = y, weights
        self._table = X
        sizes = [int(fold.max()) + 1 for fold in folds]
        offsets = np.concatenate([[0], np.cumsum(sizes)[:-1]])
        self._own = (folds + offsets[:, None]).T
        table = np.ones((n, sum(sizes)), dtype=np.uint8)
        np.put_along_axis(table, self._own, 0, axis=1)
        self._counts = Counts(table)
        prior = Prior.ridge(middle, X.shape[1])
        self._refits = Refits(X, weights, weights, weights * y, prior)
        passes = self._refits.passes
        self._score = passes.sums(self._counts, self._refits.residual(y))
        squares = passes.design[:, 1:] ** 2
        moments = passes.sums(self._counts, weights[:, None] * np.column_stack([passes.design, squares]))
        self._total = moments[:, 0]
        q = X.shape[1] + 1
        mean = moments[:, 1:q] / self._total[:, None]
        self._variance = moments[:, q:] / self._total[:, None] - mean**2
        self.passes = 0

    def held_out_losses(self, penalties: Sequence[float]) -> FloatArray:
        """Held-out log loss of every penalty, summed over eyes and repeats."""
        losses = np.empty(len(penalties))
        middle = len(penalties) // 2
        ways = (range(middle, -1, -1), range(middle, len(penalties)))
        for way in ways:
            chosen = [penalties[k] for k in way]
            for k, d in zip(way, self._walk(chosen), strict=True):
                losses[k] = self._loss(d)
        return losses

    def coefficients(self, penalties: Sequence[float]) -> list[FloatArray]:
        """Fits of the training parts, [b, p + 1] in the columns given, for penalties in walking order."""
        return [self._refits.given(self._refits.start + d) for d in self._walk(penalties)]

    def _walk(self, penalties: Sequence[float]) -> Iterator[FloatArray]:
        refits = self._refits
        d = np.zeros_like(self._score)
        inverse: FloatArray = np.empty(0)
        before: FloatArray | None = None
        held = np.zeros((*d.shape, d.shape[1]))
        q = d.shape[1]
        for k, penalty in enumerate(penalties):
            precision = np.zeros((d.shape[0], q, q))
            precision[:, np.arange(1, q), np.arange(1, q)] = penalty * self._variance
            pull = self._score + times(precision, np.broadcast_to(refits.start, d.shape))
            if k == 0:
                inverse = inverses(self._information() + precision + steady(self._total, q))
                here = d
            else:
                inverse = inverses(inverses(inverse) + precision - held)
                here = d
                if before is not None:
                    share = np.log(penalty / penalties[k - 1]) / np.log(penalties[k - 1] / penalties[k - 2])
                    here = d + share * (d - before)
            held = precision
            before, d = (None if k == 0 else d), self._settle(here, pull, precision, inverse)
            yield d

    def _settle(self, d: FloatArray, pull: FloatArray, precision: FloatArray, inverse: FloatArray) -> FloatArray:
        passes = self._refits.passes
        d, step = d.copy(), d
        gradient = pull + passes.gradient(self._counts, d) + times(precision, d)
        self.passes += 1
        for _ in range(_MOST_PASSES):
            step = -capped(times(inverse, gradient))
            d += step
            if float(np.abs(step).max()) < NEAR:
                return d
            after = pull + passes.gradient(self._counts, d) + times(precision, d)
            self.passes += 1
            bfgs(inverse, step, after - gradient)
            gradient = after
        for index in np.flatnonzero(~(np.abs(step).max(axis=1) < NEAR)).tolist():
            weight = self._weights * self._counts.table[:, index]
            prior = Prior(np.zeros(precision.shape[1] - 1), precision[index, 1:, 1:])
            alone = newton(passes.design[:, 1:], weight, weight * self._y, prior)
            if alone is not None:
                d[index] = alone - self._refits.start
        return d

    def _information(self) -> FloatArray:
        refits = self._refits
        if refits.risk.shape[0] < FEW_EYES:
            return refits.passes.information(self._counts, np.zeros_like(self._score))
        share = self._total / self._weights.sum()
        return np.asarray(share[:, None, None] * refits.information)

    def _loss(self, d: FloatArray) -> float:
        b = (self._refits.start + d).T
        total = 0.0
        for first in range(0, self._own.shape[0], 4096):
            part = slice(first, first + 4096)
            eta = np.take_along_axis(self._refits.passes.design[part] @ b, self._own[part], axis=1)
            loss = np.maximum(eta, 0.0) + np.log1p(np.exp(-np.abs(eta))) - self._y[part, None] * eta
            total += float((self._weights[part] @ loss).sum())
        return total
