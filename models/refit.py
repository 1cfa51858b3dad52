"""Many refits of one model with other weights (resampling, cross-validation), each to its own optimum.

Refit b minimises  -sum_i w_bi (y_i eta_i - ln(1 + e^eta_i)) + (b - m)' Lambda (b - m) / 2.  All start from one fit b0
under the average weights and are solved for d = b - b0 together:

1. score at b0 of every refit, one matrix product:  s_b = sum w_b z (p0 - y) + Lambda (b0 - m);
2. many eyes: d solves  s_b + (H0 + Lambda) d + T[d, d] / 2 = 0  with the information H0 and the third derivative T of
   the common fit, both worked out once; few eyes (d is then too long for T): two Newton steps with each refit's own
   information;
3. gradient passes: g(d) = s_b + sum w_b z (p(b0 + d) - p0) + Lambda d, step -J g, J kept near the inverse information
   by the BFGS update (Nocedal J, Wright S. Numerical optimization, 2nd ed. 2006, formula 6.17; from memory);
4. certificate, in double precision: the largest entry of the gradient is below 1e-8 n in the units given and the last
   step was small. What does not reach it is redone by Newton's method, and what that does not settle by the fit of one
   model, with step halving and its proof of separation.

Columns are brought to mean 0 and SD 1 for the work and the answers carried back. `passes` holds the layout.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cached_property
from typing import TypeVar

import numpy as np
from joblib import Parallel, delayed
from numpy.typing import ArrayLike
from scipy.special import expit
from threadpoolctl import threadpool_limits

from models.arrays import FloatArray, IntArray, matrix, outcomes
from models.errors import ModelError
from models.fit import CERTIFICATE, fit_logistic
from models.newton import newton
from models.passes import REPLICATES, Counts, Passes
from models.prior import Prior
from models.progress import Report, silent
from models.steps import bfgs, capped, inverses, steady, times

FEW_EYES = 4000
"""Below this many eyes refits lie too far from the common fit for its third derivative."""

MOST_PASSES = 12
"""Gradient passes in single precision before a group goes on to its certificate."""

_MOST_EXACT = 6
_NEAR = 5e-6
_NEAR_EXACT = 1e-6

Answer = TypeVar("Answer")


@dataclass(slots=True)
class Work:
    """What refits cost: refits done, passes over the eyes by kind (per group), and how many needed a later tier."""

    refits: int = 0
    passes: int = 0
    exact_passes: int = 0
    informations: int = 0
    by_newton: int = 0
    alone: int = 0

    def add(self, other: Work) -> None:
        """Count another group's work; passes are the most that a group needed."""
        self.refits += other.refits
        self.passes = max(self.passes, other.passes)
        self.exact_passes = max(self.exact_passes, other.exact_passes)
        self.informations = max(self.informations, other.informations)
        self.by_newton += other.by_newton
        self.alone += other.alone


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
    1e-8 * n. `weights` may have any numeric type (whole numbers as uint8 need an eighth of the memory). Groups have a
    fixed size, so the result is the same to the bit for any number of threads; between groups `report` may stop the
    work. Raises Separation or ModelError as soon as one of the refits has no optimum.
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
    average = np.zeros(n)
    for part in groups(counted.shape[0]):
        average += counted[part].sum(axis=0, dtype=np.float64) / counted.shape[0]
    eyes = np.ones(n)
    refits = Refits(table, eyes, average, average * outcome, prior)
    rows = refits.rows(outcome)

    def work(part: slice) -> tuple[FloatArray, Work]:
        counts = Counts(np.ascontiguousarray(counted[part].T))
        return refits.solve(counts, refits.passes.sums(counts, rows), outcome)

    return _gathered(work, counted.shape[0], table.shape[1] + 1, report, threads)


def refit_outcomes(
    X: ArrayLike,
    outcomes_seen: ArrayLike,
    *,
    prior: Prior | None = None,
    report: Report = silent,
    threads: int | None = None,
) -> FloatArray:
    """Coefficients [B, p + 1] of the unweighted fit on X of each row of `outcomes_seen` [B, n], 0/1 (any dtype)."""
    table = matrix(X, "columns")
    n = table.shape[0]
    seen = np.asarray(outcomes_seen)
    if seen.ndim != 2 or seen.shape[1] != n:
        raise _refusal(f"They need {n} columns, one per eye; the shape given is {seen.shape}.")
    if not seen.shape[0]:
        return np.empty((0, table.shape[1] + 1))
    cloudy = np.zeros(n)
    for part in groups(seen.shape[0]):
        if seen.dtype.kind not in "fiub" or ((seen[part] != 0) & (seen[part] != 1)).any():
            raise _refusal("An outcome is neither 0 nor 1.")
        cloudy += seen[part].sum(axis=0, dtype=np.float64) / seen.shape[0]
    refits = Refits(table, np.ones(n), np.ones(n), cloudy, prior)
    common = refits.passes.design.T @ refits.risk

    def work(part: slice) -> tuple[FloatArray, Work]:
        drawn = Counts(np.ascontiguousarray(seen[part].T))
        every = Counts(np.ones((n, drawn.table.shape[1]), dtype=np.uint8))
        events = seen[part].sum(axis=1, dtype=np.float64)
        score = common - refits.passes.sums(drawn, refits.passes.design)
        return refits.solve(every, np.column_stack([score, np.full(events.shape, float(n)), events]), drawn.table)

    return _gathered(work, seen.shape[0], table.shape[1] + 1, report, threads)[0]


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
        n, p = X.shape
        _refuse_one_kind(np.array([weight.sum()]), np.array([cloudy.sum()]))
        self.prior = Prior.ridge(0.0, p) if prior is None else prior
        if self.prior.p != p:
            raise _refusal(f"The prior is for {self.prior.p} columns, the data have {p}.")
        self._table, self._eyes = X, eyes
        self._centre = weight @ X / weight.sum()
        spread = np.sqrt(weight @ (X - self._centre) ** 2 / weight.sum())
        # A constant column keeps rounding noise after centring; measured against its own size it is nothing.
        self._scale = np.where(spread > 1e-12 * np.abs(X).max(axis=0), spread, 1.0)
        design = np.column_stack([np.ones(n), (X - self._centre) / self._scale])
        both = fit_both_kinds(X, weight, cloudy, self.prior)
        self.start = np.concatenate([[both[0] + self._centre @ both[1:]], both[1:] * self._scale])
        self.risk = expit(design @ self.start)
        self.passes = Passes(design, self.risk, eyes)
        self.mean = np.concatenate([[0.0], self.prior.mean * self._scale])
        self.precision = np.zeros((p + 1, p + 1))
        self.precision[1:, 1:] = self.prior.precision / np.outer(self._scale, self._scale)
        variance = self.risk * (1.0 - self.risk) * eyes
        self.information = (design * variance[:, None]).T @ design

    @cached_property
    def third(self) -> FloatArray | None:
        """Third derivative of all eyes at the common fit, [q, q, q]; None where there are too few eyes for it."""
        return self.passes.third(self.risk) if self._table.shape[0] >= FEW_EYES else None

    def rows(self, outcome: FloatArray) -> FloatArray:
        """What `solve` needs sums of, [n, q + 2]: the columns of `residual`, weights of eyes and of cloudy eyes."""
        return np.column_stack([self.residual(outcome), self._eyes, self._eyes * outcome])

    def residual(self, outcome: FloatArray) -> FloatArray:
        """Weighted residual columns z (p0 - y) at the common fit, [n, q]: sums of them are scores."""
        return np.asarray(self.passes.design * (self._eyes * (self.risk - outcome))[:, None])

    def given(self, b: FloatArray) -> FloatArray:
        """Coefficients [b, p + 1] carried back to the units of X."""
        found = b.copy()
        found[:, 1:] /= self._scale
        found[:, 0] -= found[:, 1:] @ self._centre
        return found

    def solve(self, counts: Counts, sums: FloatArray, outcome: np.ndarray) -> tuple[FloatArray, Work]:
        """Coefficients [b, p + 1] of a group in the units of X, and the work.

        sums: [b, q + 2] score of the eyes at the common fit, total weight and weight of cloudy eyes; outcome: [n], or
        [n, b] where each refit has its own.
        """
        score, total = sums[:, :-2], sums[:, -2]
        _refuse_one_kind(total, sums[:, -1])
        work = Work(refits=score.shape[0])
        pull = score + self.precision @ (self.start - self.mean)
        d, inverse = self._first(counts, pull, total, work)
        self._approach(counts, pull, d, inverse, work)
        open_ = self._certify(counts, pull, d, inverse, work)
        found = self.given(self.start + d)
        self._redo(counts, outcome, found, open_, work)
        return found, work

    def _first(self, counts: Counts, pull: FloatArray, total: FloatArray, work: Work) -> tuple[FloatArray, FloatArray]:
        """First d [b, q] and inverse informations [b, q, q]."""
        d, inverse = np.zeros_like(pull), np.empty(0)
        q = d.shape[1]
        if self.third is None:
            gradient = pull
            for _ in range(2):
                inverse = inverses(self.passes.information(counts, d) + self.precision + steady(total, q))
                d = d - capped(times(inverse, gradient))
                gradient = pull + self.passes.gradient(counts, d) + d @ self.precision
                work.informations += 1
                work.passes += 1
            return d, inverse
        share = (total / self._eyes.sum())[:, None, None]
        level = share * self.information + self.precision + steady(total, q)
        for _ in range(3):
            bend = share * np.tensordot(d, self.third, axes=1)
            d = capped(-np.linalg.solve(level + 0.5 * bend, pull[:, :, None])[:, :, 0])
        return d, inverses(level + share * np.tensordot(d, self.third, axes=1))

    def _approach(self, counts: Counts, pull: FloatArray, d: FloatArray, inverse: FloatArray, work: Work) -> None:
        """Gradient passes in single precision until steps are short; changes d and inverse."""
        gradient = pull + self.passes.gradient(counts, d) + d @ self.precision
        work.passes += 1
        while True:
            step = -capped(times(inverse, gradient))
            d += step
            if float(np.abs(step).max()) < _NEAR or work.passes >= MOST_PASSES:
                return
            after = pull + self.passes.gradient(counts, d) + d @ self.precision
            work.passes += 1
            bfgs(inverse, step, after - gradient)
            gradient = after

    def _certify(self, counts: Counts, pull: FloatArray, d: FloatArray, inverse: FloatArray, work: Work) -> IntArray:
        """Passes in double precision; d ends at the optimum except for the refits whose numbers are returned."""
        open_ = np.arange(d.shape[0])
        limit = CERTIFICATE * self._table.shape[0]
        before, step = np.zeros_like(d), np.zeros_like(d)
        for _ in range(_MOST_EXACT):
            here = counts if open_.size == d.shape[0] else counts.only(open_)
            gradient = pull[open_] + self.passes.exact_gradient(here, d[open_]) + d[open_] @ self.precision
            held = inverse[open_]
            if work.exact_passes:
                bfgs(held, step, gradient - before)
            work.exact_passes += 1
            # in the units of X: its columns are centre + scale * z
            given = gradient[:, 1:] * self._scale + gradient[:, :1] * self._centre
            largest = np.maximum(np.abs(gradient[:, 0]), np.abs(given).max(axis=1, initial=0.0))
            step = -capped(times(held, gradient))
            step[~np.isfinite(step).all(axis=1)] = 0.0
            done = (largest < limit) & (np.abs(step).max(axis=1) < _NEAR_EXACT)
            inverse[open_] = held
            open_, before, step = open_[~done], gradient[~done], step[~done]
            if not open_.size:
                break
            d[open_] += step
        return open_

    def _redo(self, counts: Counts, outcome: np.ndarray, found: FloatArray, open_: IntArray, work: Work) -> None:
        for index in open_.tolist():
            weight = self._eyes * counts.only(np.array([index])).of(slice(None))[:, 0]
            cloudy = weight * (outcome if outcome.ndim == 1 else outcome[:, index])
            work.by_newton += 1
            settled = newton(self._table, weight, cloudy, self.prior)
            if settled is None:
                work.alone += 1
                settled = alone(self._table, weight, cloudy, self.prior)
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


def groups(replicates: int, size: int = REPLICATES) -> list[slice]:
    """The groups that refits are worked off in; the same for any number of threads."""
    return [slice(low, min(low + size, replicates)) for low in range(0, replicates, size)]


def in_groups(
    work: Callable[[slice], Answer], replicates: int, report: Report, threads: int | None
) -> Iterator[tuple[slice, Answer]]:
    """Do `work` for each group on threads of our own and hand the answers on in order; `report` between waves."""
    workers = threads or os.cpu_count() or 1
    parts = groups(replicates)
    # Threads of our own instead of the linear algebra's: its sums then have one fixed order.
    report(0.0, f"{replicates} refits to do.")
    with threadpool_limits(limits=1), Parallel(n_jobs=workers, prefer="threads") as parallel:
        for first in range(0, len(parts), workers):
            wave = parts[first : first + workers]
            yield from zip(wave, parallel(delayed(work)(part) for part in wave), strict=True)
            report(min(first + workers, len(parts)) / len(parts), f"{wave[-1].stop} of {replicates} refits done.")


def _gathered(
    work: Callable[[slice], tuple[FloatArray, Work]], replicates: int, width: int, report: Report, threads: int | None
) -> tuple[FloatArray, Work]:
    found, cost = np.empty((replicates, width)), Work()
    for part, (answer, spent) in in_groups(work, replicates, report, threads):
        found[part] = answer
        cost.add(spent)
    return found, cost


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
