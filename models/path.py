"""Ridge fits of the training parts of many folds along a row of penalties, each started from the one before.

Every training part is standardised by its own spread, as a pipeline of scikit-learn's StandardScaler and
LogisticRegression would do: in columns of common SD 1 the penalty of column j is lambda times its variance in the part.
A column that does not vary in a part is left to its penalty and gets no coefficient there, as it would in the pipeline.
From the middle penalty the walk goes outwards to both ends; a penalty's fits start on the line through the two before
it (in log lambda), with the last inverse information carried over and the change of penalty put in.

A training part with cloudy or clear eyes alone has no fit at any penalty. It is left out, and so are the eyes held out
beside it; as the same parts are left out for every penalty, the penalties stay comparable. Left-out parts are counted.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from models.arrays import BoolArray, FloatArray, IntArray
from models.errors import ModelError
from models.passes import Counts
from models.prior import Prior
from models.refit import FEW_EYES, Refits, fit_both_kinds
from models.steps import bfgs, capped, inverses, steady, times

NEAR = 2e-4
"""A penalty's fits are found once the last step moved no coefficient of a column with SD 1 by more."""

_MOST_PASSES = 10

_CONSTANT = 1e-12
"""Variance of a column in a training part, of its mean square, up to which it is rounding noise about one value."""


class Folds:
    """The training parts of `folds` [R, n] (fold number of every eye in each repeat) and what is held out.

    X: [n, p] columns with SD 1; y: [n]; weights: [n]. parts, left_out: how many training parts there are, and how many
    of them are left out for want of cloudy or of clear eyes; ModelError where that is all of them.
    """

    def __init__(self, X: FloatArray, y: FloatArray, weights: FloatArray, folds: IntArray, middle: float) -> None:
        n = X.shape[0]
        self._y, self._weights = y, weights
        sizes = [int(fold.max()) + 1 for fold in folds]
        offsets = np.concatenate([[0], np.cumsum(sizes)[:-1]])
        own = (folds + offsets[:, None]).T
        self.parts = sum(sizes)
        both = _both_kinds(own, self.parts, y, weights)
        self.left_out = self.parts - int(both.sum())
        if not both.any():
            raise ModelError(
                "The penalty of own records cannot be chosen.",
                "Every training part of the cross-validation holds only cloudy or only clear eyes.",
                "Wait until several patients had a cloudy and several a clear eye.",
            )
        table = np.ones((n, self.parts), dtype=np.uint8)
        np.put_along_axis(table, own, 0, axis=1)
        self._names = [(r + 1, f + 1) for r, size in enumerate(sizes) for f in range(size)]
        self._scored: BoolArray | None = None
        if self.left_out:
            self._scored = both[own]
            own = np.maximum(np.cumsum(both) - 1, 0)[own]
            self._names = [name for name, kept in zip(self._names, both.tolist(), strict=True) if kept]
            table = np.ascontiguousarray(table[:, both])
        self._own = own
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
        square = moments[:, q:] / self._total[:, None]
        variance = square - mean**2
        # Any unit will do for what does not vary: the intercept takes its place and the penalty keeps it at 0.
        self._variance = np.where(variance > _CONSTANT * square, variance, 1.0)
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
        """Fits of the training parts not left out, [b, p + 1] in the columns given, for penalties in walking order."""
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
            at_start = self._score + times(precision, np.broadcast_to(refits.start, d.shape))
            carried = None if k == 0 else with_more_precision(inverse, precision - held)
            inverse = self._own_inverse(precision) if carried is None else carried
            here = d
            if before is not None:
                share = np.log(penalty / penalties[k - 1]) / np.log(penalties[k - 1] / penalties[k - 2])
                here = d + share * (d - before)
            held = precision
            before, d = (None if k == 0 else d), self._settle(here, at_start, precision, inverse)
            yield d

    def _settle(self, d: FloatArray, at_start: FloatArray, precision: FloatArray, inverse: FloatArray) -> FloatArray:
        """The fits' distance d [b, q] from the common fit; at_start: [b, q] their gradient there, penalty included."""
        passes = self._refits.passes
        d, step = d.copy(), d
        gradient = at_start + passes.gradient(self._counts, d) + times(precision, d)
        self.passes += 1
        for _ in range(_MOST_PASSES):
            step = -capped(times(inverse, gradient))
            d += step
            if float(np.abs(step).max()) < NEAR:
                return d
            after = at_start + passes.gradient(self._counts, d) + times(precision, d)
            self.passes += 1
            bfgs(inverse, step, after - gradient)
            gradient = after
        for index in np.flatnonzero(~(np.abs(step).max(axis=1) < NEAR)).tolist():
            weight = self._weights * self._counts.table[:, index]
            prior = Prior(np.zeros(precision.shape[1] - 1), precision[index, 1:, 1:])
            d[index] = self._alone(index, weight, prior) - self._refits.start
        return d

    def _alone(self, index: int, weight: FloatArray, prior: Prior) -> FloatArray:
        try:
            return fit_both_kinds(self._refits.passes.design[:, 1:], weight, weight * self._y, prior)
        except ModelError as error:
            repeat, fold = self._names[index]
            raise ModelError(
                "The penalty of own records cannot be chosen.",
                f"Without fold {fold} of repeat {repeat} there is no best fit: {error.why}",
                error.next,
            ) from error

    def _own_inverse(self, precision: FloatArray) -> FloatArray:
        """Inverse informations [b, q, q] from each part's own eyes."""
        return inverses(self._information() + precision + steady(self._total, precision.shape[1]))

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
            if self._scored is not None:
                loss *= self._scored[part]
            total += float((self._weights[part] @ loss).sum())
        return total


def with_more_precision(inverse: FloatArray, change: FloatArray) -> FloatArray | None:
    """(J^-1 + D)^-1 of inverse informations J and changes D of the precision, [b, q, q]; None where one has none."""
    try:
        return np.asarray(np.linalg.solve(np.eye(inverse.shape[1]) + inverse @ change, inverse), dtype=np.float64)
    except np.linalg.LinAlgError:
        return None


def _both_kinds(own: IntArray, parts: int, y: FloatArray, weights: FloatArray) -> BoolArray:
    """Whether each training part [parts] has cloudy and clear eyes that count; own: [n, R] the parts without an eye."""
    found = np.ones(parts, dtype=np.bool_)
    for kind in (0.0, 1.0):
        counted = (weights > 0.0) & (y == kind)
        held_out = np.bincount(own[counted].ravel(), minlength=parts)
        found &= held_out < counted.sum()
    return found
