"""Many refits of one model with other weights (resampling, cross-validation), each to its own optimum."""

from __future__ import annotations

import os
from collections.abc import Callable

import numpy as np
from joblib import Parallel, delayed
from numpy.typing import ArrayLike
from scipy.special import expit
from threadpoolctl import threadpool_limits

from models.arrays import FloatArray, matrix, outcomes
from models.errors import ModelError
from models.fit import CERTIFICATE, fit_logistic
from models.prior import Prior
from models.progress import Report, silent

_AT_ONCE = 32
_CELLS_AT_ONCE = 2**23
_ROWS_AT_ONCE = 2048
_ROUNDS = 20

Counts = Callable[[slice], tuple[FloatArray, FloatArray]]
"""Gives for a slice of replicates how often each eye counts, and how often as cloudy, both [b, n]."""


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
    1e-8 * n. Replicates are worked off in blocks of fixed size, so the result is the same to the bit for any number of
    threads. Raises Separation or ModelError when one of the refits has no optimum.
    """
    table = matrix(X, "columns")
    outcome = outcomes(y, table.shape[0])
    counted = np.asarray(weights)
    if counted.ndim != 2 or counted.shape[1] != table.shape[0]:
        raise _refusal(f"They need {table.shape[0]} columns, one per eye; the shape given is {counted.shape}.")

    def counts(part: slice) -> tuple[FloatArray, FloatArray]:
        block = counted[part].astype(np.float64)
        if not np.isfinite(block).all() or (block < 0.0).any():
            raise _refusal("A weight is negative, blank or infinite.")
        return block, block * outcome

    return _refit(table, counts, counted.shape[0], prior, report, threads)


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
    seen = np.asarray(outcomes_seen)
    if seen.ndim != 2 or seen.shape[1] != table.shape[0]:
        raise _refusal(f"They need {table.shape[0]} columns, one per eye; the shape given is {seen.shape}.")

    def counts(part: slice) -> tuple[FloatArray, FloatArray]:
        block = seen[part].astype(np.float64)
        return np.ones_like(block), block

    return _refit(table, counts, seen.shape[0], prior, report, threads)


def refit_once(X: FloatArray, y: FloatArray, weights: FloatArray) -> FloatArray:
    """Coefficients [p + 1] of one fit without a prior and without anything around it, for use inside resampling."""
    design = np.column_stack([np.ones(X.shape[0]), X])
    return np.asarray(_block(design, weights[None, :], (weights * y)[None, :], Prior.ridge(0.0, X.shape[1]))[0])


def _refit(
    table: FloatArray, counts: Counts, replicates: int, prior: Prior | None, report: Report, threads: int | None
) -> FloatArray:
    p = table.shape[1]
    belief = Prior.ridge(0.0, p) if prior is None else prior
    if belief.p != p:
        raise _refusal(f"The prior is for {belief.p} columns, the data have {p}.")
    size = max(1, min(_AT_ONCE, _CELLS_AT_ONCE // max(table.shape[0], 1)))
    blocks = [slice(low, min(low + size, replicates)) for low in range(0, replicates, size)]
    result = np.empty((replicates, p + 1))
    design = np.column_stack([np.ones(table.shape[0]), table])

    def work(part: slice) -> FloatArray:
        weight, cloudy = counts(part)
        return _block(design, weight, cloudy, belief)

    workers = threads or os.cpu_count() or 1
    # Threads of our own instead of the linear algebra's: its sums then have one fixed order.
    with threadpool_limits(limits=1), Parallel(n_jobs=workers, prefer="threads") as parallel:
        for first in range(0, len(blocks), workers):
            wave = blocks[first : first + workers]
            for part, answer in zip(wave, parallel(delayed(work)(part) for part in wave), strict=True):
                result[part] = answer
            report(min(first + workers, len(blocks)) / len(blocks), f"{wave[-1].stop} of {replicates} refits done.")
    return result


def _block(design: FloatArray, weight: FloatArray, cloudy: FloatArray, prior: Prior) -> FloatArray:
    """Newton for a few replicates together; those that do not settle are fitted alone, with step halving."""
    n, q = design.shape
    size = weight.shape[0]
    total, events = weight.sum(axis=1), cloudy.sum(axis=1)
    if (events <= 0.0).any() or (events >= total).any():
        raise ModelError(
            "A refit cannot be done.", "One of the resamples holds only cloudy or only clear eyes.", "Draw it anew."
        )
    mean = np.concatenate([[0.0], prior.mean])
    precision = np.zeros((q, q))
    precision[1:, 1:] = prior.precision
    b = np.tile(mean, (size, 1))
    b[:, 0] = np.log(events / (total - events)) - (weight @ (design[:, 1:] @ prior.mean)) / total
    largest = np.abs(design).max(axis=0)
    running = np.arange(size)
    for _ in range(_ROUNDS):
        gradient, information = _slope_and_information(design, weight[running], cloudy[running], b[running])
        gradient += (b[running] - mean) @ precision
        try:
            step = np.linalg.solve(information + precision, gradient[:, :, None])[:, :, 0]
        except np.linalg.LinAlgError:
            break
        # Where nothing stops the climb the gradient fades too, but the steps do not.
        settled = (np.abs(gradient).max(axis=1) < CERTIFICATE * n) & (np.abs(step) @ largest < 1e-4)
        # The step of a settled replicate is taken too: it squares what error the certificate leaves.
        b[running] -= step
        running = running[~settled]
        if not running.size:
            return b
        if not np.isfinite(b[running]).all() or np.abs(b[running]).max() > 1e12:
            break
    for index in running:
        b[index] = _alone(design[:, 1:], weight[index], cloudy[index], prior)
    return b


def _slope_and_information(
    design: FloatArray, weight: FloatArray, cloudy: FloatArray, b: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Gradients [b, q] and informations [b, q, q] of the eyes, in passes over blocks of rows."""
    size, q = b.shape
    upper = np.triu_indices(q)
    gradient, pairs = np.zeros((size, q)), np.zeros((size, upper[0].shape[0]))
    for low in range(0, design.shape[0], _ROWS_AT_ONCE):
        rows = design[low : low + _ROWS_AT_ONCE]
        w = weight[:, low : low + _ROWS_AT_ONCE]
        risk = expit(b @ rows.T)
        gradient += (w * risk - cloudy[:, low : low + _ROWS_AT_ONCE]) @ rows
        pairs += (w * risk * (1.0 - risk)) @ (rows[:, upper[0]] * rows[:, upper[1]])
    information = np.empty((size, q, q))
    information[:, upper[0], upper[1]] = pairs
    information[:, upper[1], upper[0]] = pairs
    return gradient, information


def _alone(table: FloatArray, weight: FloatArray, cloudy: FloatArray, prior: Prior) -> FloatArray:
    both = np.concatenate([cloudy, weight - cloudy])
    kind = np.concatenate([np.ones(table.shape[0]), np.zeros(table.shape[0])])
    fit = fit_logistic(np.vstack([table, table]), kind, prior=prior, weights=both)
    return np.concatenate([[fit.intercept], fit.coefficients])


def _refusal(why: str) -> ModelError:
    return ModelError("The refits cannot be done.", why, "Give arrays that fit together.")
