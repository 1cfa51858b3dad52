"""The model of own records only: a ridge logistic fit whose penalty the practice's eyes choose, patients kept whole."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import expit
from sklearn.linear_model import LogisticRegression

from models.arrays import BoolArray, FloatArray, IntArray, frozen
from models.errors import ModelError

PENALTIES: tuple[float, ...] = (1000.0, 300.0, 100.0, 30.0, 10.0, 3.0, 1.0)
"""Penalties tried, on columns brought to SD 1: scikit-learn's 1 / C. Own choice, common practice."""

FOLDS = 5
FEWEST_RARE = 10
"""Eyes that the rarer answer of a yes-or-no column needs."""

MOST_BLANK = 0.7
"""Largest share of blanks of a column."""

_ROUNDS = 200
_LONGEST = 3.0
"""Log-odds that one Newton step may move an eye; longer ones are shortened, so that no step can overshoot for long."""

_NEAR_ENOUGH = 0.05
"""While penalties are compared, a fit counts as found once its last step moved no log-odds by more."""


@dataclass(frozen=True, eq=False)
class OwnFit:
    """Fit on own records only. `used`: numbers of the columns taken; intercept belongs to columns about `centre`."""

    penalty: float
    used: tuple[int, ...]
    intercept: float
    centre: FloatArray
    coefficients: FloatArray

    def linear_predictor(self, columns: FloatArray) -> FloatArray:
        """Log-odds [n] of filled base columns [n, q]."""
        return self.intercept + (columns[:, self.used] - self.centre) @ self.coefficients


def usable_columns(table: FloatArray, weights: FloatArray, yes_no: BoolArray) -> tuple[int, ...]:
    """Columns of a table with blanks [n, q] that own records alone can carry.

    Not constant, at most 70 % blank, and 10 eyes in the rarer answer of a yes-or-no column; `weights` count eyes.
    """
    used = []
    for j in range(table.shape[1]):
        seen = ~np.isnan(table[:, j]) & (weights > 0.0)
        values, w = table[seen, j], weights[seen]
        if values.size == 0 or 1.0 - w.sum() / weights.sum() > MOST_BLANK or values.min() == values.max():
            continue
        if yes_no[j] and min(w[values == 1.0].sum(), w[values == 0.0].sum()) < FEWEST_RARE:
            continue
        used.append(j)
    return tuple(used)


def folds_of(patients: IntArray, seed: int, folds: int = FOLDS) -> IntArray:
    """Fold of every eye [n]; both eyes of a patient fall into the same. The same seed gives the same folds."""
    size = int(patients.max()) + 1
    return (np.random.default_rng(seed).permutation(size) % min(folds, size))[patients]


def fit_own(
    filled: FloatArray,
    y: FloatArray,
    weights: FloatArray,
    patients: IntArray,
    used: tuple[int, ...],
    *,
    seed: int,
    exact: bool = True,
) -> OwnFit:
    """Choose the penalty by grouped cross-validation (smallest held-out log loss) and fit on all eyes.

    filled: [n, q] base columns without blanks. exact: the final fit is scikit-learn's LogisticRegression; False takes
    the same optimum from the cross-validation's own Newton steps, for resamples.
    """
    if not used:
        raise ModelError(
            "Own records alone carry no model.", "No column has enough eyes on both sides.", "Go on recording."
        )
    chosen = filled[:, used]
    total = weights.sum()
    centre = weights @ chosen / total
    scale = np.sqrt(weights @ (chosen - centre) ** 2 / total)
    scale = np.where(scale > 0.0, scale, 1.0)
    standard = (chosen - centre) / scale
    drawn = weights > 0.0  # a resample leaves out a third of the eyes
    rows = np.column_stack([np.ones(int(drawn.sum())), standard[drawn]])
    pairs = column_pairs(rows)
    fold = folds_of(patients, seed)[drawn]
    penalty = PENALTIES[int(np.argmin(held_out_losses(rows, pairs, y[drawn], weights[drawn], fold)))]
    if exact:
        model = LogisticRegression(C=1.0 / penalty, tol=1e-10, max_iter=10_000)
        model.fit(standard, y, sample_weight=weights)
        intercept, slopes = float(model.intercept_[0]), np.asarray(model.coef_[0], dtype=np.float64)
    else:
        start = np.zeros((1, rows.shape[1]))
        found = _newton(rows, pairs, y[drawn], weights[None, drawn], penalty, start)[0]
        intercept, slopes = float(found[0]), found[1:]
    return OwnFit(penalty, used, intercept, frozen(centre), frozen(slopes / scale))


def held_out_losses(
    rows: FloatArray, pairs: FloatArray, y: FloatArray, weights: FloatArray, fold: IntArray
) -> FloatArray:
    """Held-out log loss of every penalty in PENALTIES, summed over eyes.

    rows: [n, q + 1] standardised columns with a 1 in front; pairs: the products of every two of them.
    """
    size = int(fold.max()) + 1
    train = np.where(fold[None, :] == np.arange(size)[:, None], 0.0, weights[None, :])
    b = np.zeros((size, rows.shape[1]))
    rate = float(weights @ y / weights.sum())
    b[:, 0] = np.log(rate / (1.0 - rate))
    losses = np.empty(len(PENALTIES))
    for k, penalty in enumerate(PENALTIES):
        b = _newton(rows, pairs, y, train, penalty, b, near=_NEAR_ENOUGH)
        eta = np.einsum("ij,ij->i", b[fold], rows)
        losses[k] = float(weights @ (np.logaddexp(0.0, eta) - y * eta))
    return losses


def column_pairs(rows: FloatArray) -> FloatArray:
    """Products of every two columns of `rows` [n, q], [q (q + 1) / 2, n]: the information of many fits at once."""
    columns = np.ascontiguousarray(rows.T)
    first, second = np.triu_indices(columns.shape[0])
    return np.asarray(columns[first] * columns[second])


def _newton(
    rows: FloatArray,
    pairs: FloatArray,
    y: FloatArray,
    weights: FloatArray,
    penalty: float,
    start: FloatArray,
    *,
    near: float = 1e-7,
) -> FloatArray:
    """Ridge logistic fits [F, q + 1] for each row of `weights` [F, n] together; the intercept is free.

    Ends one full step after no log-odds moved by more than `near`; Newton's error is then of the order of its square.
    """
    b = start.copy()
    q = b.shape[1]
    upper = np.triu_indices(q)
    information = np.empty((b.shape[0], q, q))
    ridge = penalty * np.concatenate([[0.0], np.ones(q - 1)])
    eta = b @ rows.T
    rounds, farthest = 0, np.inf
    while farthest >= near and rounds < _ROUNDS:
        risk = expit(eta)
        held = weights * risk
        gradient = (held - weights * y) @ rows + ridge * b
        sums = (held * (1.0 - risk)) @ pairs.T
        information[:, upper[0], upper[1]] = sums
        information[:, upper[1], upper[0]] = sums
        information[:, np.arange(q), np.arange(q)] += ridge
        step = np.linalg.solve(information, gradient[:, :, None])[:, :, 0]
        move = step @ rows.T
        farthest = float(np.abs(move).max())
        share = min(1.0, _LONGEST / max(farthest, 1e-300))
        b, eta, rounds = b - share * step, eta - share * move, rounds + 1
    return b
