"""Many refits of one model with other weights (resampling, cross-validation), each to its own optimum.

Refit b minimises  -sum_i w_bi (y_i eta_i - ln(1 + e^eta_i)) + (b - m)' Lambda (b - m) / 2.  All start from one fit b0
under the average weights and are solved for d = b - b0 together:

1. the score of every refit at b0, one matrix product:  s_b = sum w_b z (p0 - y) + Lambda (b0 - m), z the columns of an
   eye, p0 its chance at b0;
2. many eyes: d solves  s_b + (H0 + Lambda) d + T[d, d] / 2 = 0  with the information H0 and the third derivative T of
   the common fit, both worked out once; few eyes (d is then too long for T): two Newton steps with each refit's own
   information;
3. gradient passes: g(d) = s_b + sum w_b z (p(b0 + d) - p0) + Lambda d, step -J g, J kept near the inverse information
   by the BFGS update (Nocedal J, Wright S. Numerical optimization, 2nd ed. 2006, formula 6.17; from memory), until the
   next gradients are foreseen within the certificate;
4. certificate, in double precision and without anything of the common fit: every entry of the gradient
   sum w_b z p(b) - sum w_b z y + Lambda (b - m)  is in the units given below 1e-8 times the total weight, and the last
   step was small. What does not reach it is redone by Newton's method, and what that does not settle by the fit of one
   model, with step halving and its proof of separation.

Columns are brought to mean 0 and SD 1 for the work and the answers carried back. `passes` holds the layout.
"""

from __future__ import annotations

from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import expit

from models.arrays import FloatArray, IntArray, matrix, outcomes, row_weights
from models.errors import ModelError
from models.fit import CERTIFICATE, fit_logistic
from models.groups import Work, gathered, groups
from models.newton import newton
from models.passes import Counts, GroupTotals, Passes, Sums, Totals, information, single
from models.prior import Prior
from models.progress import Report, silent
from models.standardised import Standardised
from models.steps import bfgs, capped, inverses, steady, times

FEW_EYES = 4000
"""Below this many eyes refits lie too far from the common fit for its third derivative."""

MOST_PASSES = 12
"""Gradient passes in single precision before a group goes on to its certificate."""

_MOST_EXACT = 6
_NEAR = 5e-6
_NEAR_EXACT = 1e-6

_FORESEEN = 0.75
"""Share of the refits of a group whose next gradient must be foreseen within the certificate before it is worked out in
double precision. Those that miss it go on alone."""

_MANY_EYES = 20_000
"""Eyes from which the score may be summed in single precision: what that leaves, of the order of 1e-9 of the eyes and
less the more there are, the passes leave too. It is not part of the certificate."""

_LOOKED_AT = 32
"""Refits whose average weights the common fit has."""

_FIRST_LOOK = 20_000
"""Eyes from which a common fit starts with a share of them."""


def refit_many(
    X: ArrayLike,
    y: ArrayLike,
    weights: ArrayLike,
    *,
    prior: Prior | None = None,
    report: Report = silent,
    threads: int | None = None,
) -> FloatArray:
    """Coefficients [B, p + 1], intercept first, of the fit of y on X with each row of `weights` [B, n].

    The same optimum as `fit_logistic(X, y, prior=prior, weights=weights[b])`: every refit ends with a gradient below
    1e-8 times its total weight. `weights` may have any numeric type (whole numbers as uint8 need an eighth of the
    memory). Groups have a fixed size, so the result is the same to the bit for any number of threads; between groups
    `report` may stop the work. Raises Separation or ModelError as soon as one of the refits has no optimum.
    """
    return refit_counted(X, y, weights, prior=prior, report=report, threads=threads)[0]


def refit_counted(
    X: ArrayLike,
    y: ArrayLike,
    weights: ArrayLike,
    *,
    prior: Prior | None = None,
    report: Report = silent,
    threads: int | None = None,
) -> tuple[FloatArray, Work]:
    """`refit_many` and what it cost."""
    table = matrix(X, "columns")
    n = table.shape[0]
    outcome = outcomes(y, n)
    counted = _counts(weights, n)
    if not counted.shape[0]:
        return np.empty((0, table.shape[1] + 1)), Work()
    average = _average(counted)
    refits = Refits(table, np.ones(n), average, average * outcome, prior)
    totals = refits.totals(outcome)

    def work(part: slice) -> tuple[FloatArray, Work]:
        counts = Counts(np.ascontiguousarray(counted[part].T))
        return refits.solve(counts, totals.of(counts), outcome, first=part.start)

    return gathered(work, counted.shape[0], table.shape[1] + 1, report, threads)


def refit_outcomes(
    X: ArrayLike,
    cloudy: ArrayLike,
    *,
    eyes: ArrayLike | None = None,
    prior: Prior | None = None,
    report: Report = silent,
    threads: int | None = None,
) -> FloatArray:
    """Coefficients [B, p + 1] of the fit on X of each row of outcomes `cloudy` [B, n].

    An outcome is 0 or 1 (any dtype); where `eyes` [n] says that a row of X stands for so many eyes, it is how many of
    them were cloudy.
    """
    table = matrix(X, "columns")
    n = table.shape[0]
    seen = np.asarray(cloudy)
    if seen.ndim != 2 or seen.shape[1] != n:
        raise _refusal(f"They need {n} columns, one per eye; the shape given is {seen.shape}.")
    if not seen.shape[0]:
        return np.empty((0, table.shape[1] + 1))
    held = row_weights(eyes, n)
    average = np.zeros(n)
    for part in groups(seen.shape[0]):
        whole = seen.dtype.kind in "fiub" and bool((seen[part] == np.floor(seen[part])).all())
        if not whole or ((seen[part] < 0) | (seen[part] > held)).any():
            raise _refusal("An outcome is neither 0 nor 1, or more eyes are cloudy than there are.")
        average += seen[part].sum(axis=0, dtype=np.float64) / seen.shape[0]
    refits = Refits(table, held, held, average, prior)
    expected, columns = refits.passes.design.T @ (held * refits.risk), Sums(refits.passes.design)

    def work(part: slice) -> tuple[FloatArray, Work]:
        drawn = np.ascontiguousarray(seen[part].T)
        every = Counts(np.ones(drawn.shape, dtype=np.uint8))
        hit = columns.of(drawn)
        totals = Totals(expected - hit, hit, np.full(drawn.shape[1], held.sum()))
        return refits.solve(every, totals, drawn / np.where(held > 0.0, held, 1.0)[:, None], first=part.start)

    return gathered(work, seen.shape[0], table.shape[1] + 1, report, threads)[0]


class Refits:
    """The common fit of X [n, p] with everything that the refits of a group share.

    eyes: [n] weight of each eye in every refit, apart from how often a refit counts it; weight, cloudy: [n] average
    weight over the refits, and the part of it that was cloudy.

    In the units of the work (intercept first, columns of mean 0 and SD 1): start b0 [q], risk [n] and information of
    all eyes there, mean and precision of the prior.
    """

    def __init__(
        self, X: FloatArray, eyes: FloatArray, weight: FloatArray, cloudy: FloatArray, prior: Prior | None
    ) -> None:
        p = X.shape[1]
        _refuse_one_kind(np.array([weight.sum()]), np.array([cloudy.sum()]))
        self.prior = Prior.ridge(0.0, p) if prior is None else prior
        if self.prior.p != p:
            raise _refusal(f"The prior is for {self.prior.p} columns, the data have {p}.")
        self._table, self._eyes = X, eyes
        self._columns = Standardised.of(X, weight)
        design = self._columns.design
        self.mean, self.precision = self._columns.mean(self.prior.mean), self._columns.precision(self.prior.precision)
        self.start = single(self._common(weight, cloudy))
        self.risk = expit(design @ self.start)
        self.passes = Passes(design, self.start, eyes)
        variance = self.risk * (1.0 - self.risk) * eyes
        self.information = information(design, variance)

    def _common(self, weight: FloatArray, cloudy: FloatArray) -> FloatArray:
        """The common fit b0 [q] in the units of the work.

        Of very many eyes the fit of an even share and one Newton step with all of them: b0 need not be at its optimum,
        as every refit is certified by itself.
        """
        design, every = self._columns.design, weight.shape[0] // _FIRST_LOOK
        if every > 1:
            share = slice(None, None, every)
            prior = Prior(self.prior.mean, self.prior.precision / every)
            found = newton(self._table[share], weight[share], cloudy[share], prior)
            if found is not None:
                b = self._columns.worked(found)
                held = weight * expit(design @ b)
                gradient = design.T @ (held - cloudy) + self.precision @ (b - self.mean)
                held *= 1.0 - held / np.maximum(weight, 1e-300)
                return np.asarray(b - np.linalg.solve(information(design, held) + self.precision, gradient))
        return self._columns.worked(fit_both_kinds(self._table, weight, cloudy, self.prior))

    @cached_property
    def third(self) -> FloatArray | None:
        """Third derivative of all eyes at the common fit, [q, q, q]; None where there are too few eyes for it."""
        return self.passes.third() if self._table.shape[0] >= FEW_EYES else None

    def totals(self, outcome: FloatArray, patients: IntArray | None = None) -> GroupTotals:
        """What `solve` needs sums of, for eyes with `outcome` [n]; patients: [n] where counts are by patient."""
        design = self.passes.design
        rows = np.empty((design.shape[0], design.shape[1] + 1))
        np.multiply(design, (self._eyes * (self.risk - outcome))[:, None], out=rows[:, :-1])
        rows[:, -1] = self._eyes
        cloudy = np.flatnonzero(outcome)
        seen = design[cloudy] * (self._eyes * outcome)[cloudy, None]
        many = design.shape[0] >= _MANY_EYES
        return GroupTotals(Sums(rows, patients=patients, single=many), Sums(seen, cloudy, patients))

    def residual(self, outcome: FloatArray) -> FloatArray:
        """Weighted residual columns z (p0 - y) at the common fit, [n, q]: sums of them are scores."""
        return np.asarray(self.passes.design * (self._eyes * (self.risk - outcome))[:, None])

    def given(self, b: FloatArray) -> FloatArray:
        """Coefficients [b, p + 1] carried back to the units of X."""
        found = b.copy()
        found[:, 1:] /= self._columns.scale
        found[:, 0] -= found[:, 1:] @ self._columns.centre
        return found

    def solve(self, counts: Counts, totals: Totals, outcome: np.ndarray, *, first: int = 0) -> tuple[FloatArray, Work]:
        """Coefficients [b, p + 1] of a group in the units of X, and the work.

        outcome: [n], or [n, b] where each refit has its own. first: the number of the group's first refit, by which one
        without an optimum is named in the `ModelError`.
        """
        _refuse_one_kind(totals.weight, totals.seen[:, 0])
        work = Work(refits=totals.weight.shape[0])
        score = totals.score + self.precision @ (self.start - self.mean)
        d, inverse = self._approach(counts, score, totals.weight, work)
        b = self.start + d
        open_ = self._certify(counts, totals, b, inverse, work)
        found = self.given(b)
        self._redo(counts, outcome, found, open_, work, first)
        return found, work

    def _first(
        self, counts: Counts, score: FloatArray, total: FloatArray, work: Work
    ) -> tuple[FloatArray, FloatArray, FloatArray]:
        """First d [b, q], inverse informations [b, q, q] and the gradient [b, q] that the last step came from."""
        d, inverse, gradient = np.zeros_like(score), np.empty(0), score
        q = d.shape[1]
        if self.third is None:
            for round_ in range(2):
                if round_:
                    gradient = score + self.passes.gradient(counts, d) + d @ self.precision
                    work.passes += 1
                inverse = inverses(self.passes.information(counts, d) + self.precision + steady(total, q))
                work.informations += 1
                d = self._held(d - capped(times(inverse, gradient)))
            return d, inverse, gradient
        share = (total / self._eyes.sum())[:, None, None]
        level = share * self.information + self.precision + steady(total, q)
        inverse = inverses(level)
        for _ in range(3):
            bend = share * np.tensordot(d, self.third, axes=1)
            d = -capped(times(inverse, score + 0.5 * times(bend, d)))
        # The inverse of level + bend to the next order in bend.
        bend = share * np.tensordot(d, self.third, axes=1)
        return d, inverse - inverse @ bend @ inverse, gradient

    def _approach(
        self, counts: Counts, score: FloatArray, total: FloatArray, work: Work
    ) -> tuple[FloatArray, FloatArray]:
        """d [b, q] after the passes in single precision, up to where three in four are foreseen certified, and inverse
        informations [b, q, q]."""
        d, inverse, gradient = self._first(counts, score, total, work)
        before, d = self._left(gradient, total), self._held(d)
        gradient = score + self.passes.gradient(counts, d) + d @ self.precision
        work.passes += 1
        while True:
            step = -capped(times(inverse, gradient))
            left = self._left(gradient, total)
            # The next gradient is foreseen to be to this one as this one to the one before.
            foreseen = np.quantile(left * left / np.maximum(before, 1e-300), _FORESEEN)
            if foreseen < 1.0 or float(np.abs(step).max()) < _NEAR or work.passes >= MOST_PASSES:
                return d + step, inverse
            there = self._held(d + step)
            after = score + self.passes.gradient(counts, there) + there @ self.precision
            work.passes += 1
            bfgs(inverse, there - d, after - gradient)
            before, d, gradient = left, there, after

    def _held(self, d: FloatArray) -> FloatArray:
        """d [b, q] moved to where single precision holds b0 + d."""
        return single(self.start + d) - self.start

    def _certify(self, counts: Counts, totals: Totals, b: FloatArray, inverse: FloatArray, work: Work) -> IntArray:
        """Passes in double precision; b ends at the optimum except for the refits whose numbers are returned."""
        open_ = np.arange(b.shape[0])
        before, step = np.zeros_like(b), np.zeros_like(b)
        for _ in range(_MOST_EXACT):
            here = counts if open_.size == b.shape[0] else counts.only(open_)
            gradient = self.passes.expected(here, b[open_]) - totals.seen[open_]
            gradient += (b[open_] - self.mean) @ self.precision
            held = inverse[open_]
            if work.exact_passes:
                bfgs(held, step, gradient - before)
            work.exact_passes += 1
            step = -capped(times(held, gradient))
            step[~np.isfinite(step).all(axis=1)] = 0.0
            done = (self._left(gradient, totals.weight[open_]) < 1.0) & (np.abs(step).max(axis=1) < _NEAR_EXACT)
            inverse[open_] = held
            open_, before, step = open_[~done], gradient[~done], step[~done]
            if not open_.size:
                break
            b[open_] += step
        return open_

    def _left(self, gradient: FloatArray, total: FloatArray) -> FloatArray:
        """Largest entry of each gradient [b, q] in the units of X, in multiples of what the certificate allows, [b]."""
        columns = self._columns
        given = gradient.copy()
        given[:, 1:] *= columns.scale
        given[:, 1:] += gradient[:, :1] * columns.centre
        return np.asarray((np.abs(given) / (columns.limits(CERTIFICATE) * total[:, None])).max(axis=1))

    def _redo(
        self, counts: Counts, outcome: np.ndarray, found: FloatArray, open_: IntArray, work: Work, first: int
    ) -> None:
        for index in open_.tolist():
            weight = self._eyes * counts.only(np.array([index])).of(slice(None))[:, 0]
            cloudy = weight * (outcome if outcome.ndim == 1 else outcome[:, index])
            work.by_newton += 1
            settled = newton(self._table, weight, cloudy, self.prior)
            if settled is None:
                work.alone += 1
                try:
                    settled = alone(self._table, weight, cloudy, self.prior)
                except ModelError as fault:
                    fault.placed(f"Refit {first + index} (counted from 0)")
                    raise
            found[index] = settled


def fit_both_kinds(X: FloatArray, weight: FloatArray, cloudy: FloatArray, prior: Prior) -> FloatArray:
    """Coefficients [p + 1] when part `cloudy` [n] of each eye's `weight` [n] was cloudy and the rest clear."""
    found = newton(X, weight, cloudy, prior)
    return alone(X, weight, cloudy, prior) if found is None else found


def alone(X: FloatArray, weight: FloatArray, cloudy: FloatArray, prior: Prior) -> FloatArray:
    """The same by `fit_logistic`, which halves steps and proves separation."""
    both = np.concatenate([cloudy, weight - cloudy])
    kind = np.concatenate([np.ones(X.shape[0]), np.zeros(X.shape[0])])
    fit = fit_logistic(np.vstack([X, X]), kind, prior=prior, weights=both)
    return np.concatenate([[fit.intercept], fit.coefficients])


def refit_once(X: FloatArray, y: FloatArray, weights: FloatArray) -> FloatArray:
    """Coefficients [p + 1] of one fit without a prior and without anything around it, for use inside resampling."""
    return fit_both_kinds(X, weights, weights * y, Prior.ridge(0.0, X.shape[1]))


def _average(counted: np.ndarray) -> FloatArray:
    """Average weights [n]: of a few refits spread evenly, or of all where these leave an eye out altogether."""
    few = counted[:: -(-counted.shape[0] // _LOOKED_AT)].mean(axis=0, dtype=np.float64)
    return np.asarray(few if few.all() else counted.mean(axis=0, dtype=np.float64))


def _refuse_one_kind(total: FloatArray, events: FloatArray) -> None:
    if (events <= 0.0).any() or (events >= total).any():
        raise ModelError(
            "A refit cannot be done.", "One of the resamples holds only cloudy or only clear eyes.", "Draw it anew."
        )


def _counts(weights: ArrayLike, n: int) -> np.ndarray:
    counted = np.asarray(weights)
    if counted.dtype.kind not in "fiub":
        raise _refusal("The weights hold something that is not a number.")
    if counted.ndim != 2 or counted.shape[1] != n:
        raise _refusal(f"They need {n} columns, one per eye; the shape given is {counted.shape}.")
    for part in groups(counted.shape[0]):
        block = counted[part]
        if block.dtype.kind == "f" and not np.isfinite(block).all():
            raise _refusal("A weight is negative, blank or infinite.")
        if block.dtype.kind in "fi" and (block < 0).any():
            raise _refusal("A weight is negative, blank or infinite.")
    return counted


def _refusal(why: str) -> ModelError:
    return ModelError("The refits cannot be done.", why, "Give arrays that fit together.")
