"""The model of own records only: a ridge logistic fit whose penalty the practice's eyes choose, patients kept whole."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from sklearn.linear_model import LogisticRegression

from models.arrays import BoolArray, FloatArray, IntArray, frozen
from models.errors import ModelError
from models.path import Folds
from models.prior import Prior
from models.refit import fit_both_kinds

PENALTIES: tuple[float, ...] = tuple(float(f"{value:.3g}") for value in np.geomspace(3000.0, 0.1, 20))
"""Penalties tried, on columns brought to SD 1: scikit-learn's 1 / C. Own choice, common practice."""

FOLDS = 10
REPEATS = 5

FEWER_PENALTIES = PENALTIES[1::3]
FEWER_FOLDS = 5
"""What a resample tries, in one repeat: the choice is redone a hundred times over."""

FEWEST_RARE = 10
"""Eyes that the rarer answer of a yes-or-no column needs."""

MOST_BLANK = 0.7
"""Largest share of blanks of a column."""


@dataclass(frozen=True, eq=False)
class OwnFit:
    """Fit on own records only. `used`: numbers of the columns taken; intercept belongs to columns about `centre`.

    folds, folds_left_out: training parts of the cross-validation that chose the penalty, all repeats together, and how
    many of them held only cloudy or only clear eyes and so had no say.
    """

    penalty: float
    used: tuple[int, ...]
    intercept: float
    centre: FloatArray
    coefficients: FloatArray
    folds: int
    folds_left_out: int

    def linear_predictor(self, columns: FloatArray) -> FloatArray:
        """Log-odds [n] of filled base columns [n, q]."""
        return self.intercept + (columns[:, self.used] - self.centre) @ self.coefficients


def usable_columns(table: FloatArray, weights: FloatArray, yes_no: BoolArray) -> tuple[int, ...]:
    """Columns of a table with blanks [n, q] that own records alone can carry.

    Not constant, at most 70 % blank, and 10 eyes in the rarer answer of a yes-or-no column; `weights` count eyes.
    """
    counted = weights > 0.0
    seen = ~np.isnan(table) & counted[:, None]
    held = weights @ seen
    low = np.where(seen, table, np.inf).min(axis=0, initial=np.inf)
    high = np.where(seen, table, -np.inf).max(axis=0, initial=-np.inf)
    # Of a column of 0 and 1 the mean counts the ones.
    ones = weights @ np.where(seen, table, 0.0)
    rare = yes_no & (np.minimum(ones, held - ones) < FEWEST_RARE)
    usable = (held > 0.0) & (1.0 - held / weights.sum() <= MOST_BLANK) & (low < high) & ~rare
    return tuple(np.flatnonzero(usable).tolist())


def folds_of(patients: IntArray, seed: int, folds: int, repeats: int) -> IntArray:
    """Fold of every eye in each repeat [R, n]; both eyes of a patient fall into the same, the same seed gives the same.

    Folds are as equal in patients as can be.
    """
    size = int(patients.max()) + 1
    draws = np.random.default_rng(seed)
    return np.stack([(draws.permutation(size) % min(folds, size))[patients] for _ in range(repeats)])


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

    filled: [n, q] base columns without blanks. exact: 20 penalties in 5 repeats of 10 folds, and the final fit is
    scikit-learn's LogisticRegression; False, for resamples: 7 penalties in 5 folds, and the same optimum from Newton's
    steps. Each training part is standardised by its own spread; one without both kinds of eyes is left out and counted.
    """
    if not used:
        raise ModelError(
            "Own records alone carry no model.", "No column has enough eyes on both sides.", "Go on recording."
        )
    drawn = np.flatnonzero(weights > 0.0)  # a resample leaves out a third of the eyes
    chosen, seen, weight = filled[np.ix_(drawn, np.asarray(used))], y[drawn], weights[drawn]
    total = weight.sum()
    centre = weight @ chosen / total
    scale = np.sqrt(weight @ (chosen - centre) ** 2 / total)
    scale = np.where(scale > 0.0, scale, 1.0)
    standard = (chosen - centre) / scale
    tried = PENALTIES if exact else FEWER_PENALTIES
    rounds = (FOLDS, REPEATS) if exact else (FEWER_FOLDS, 1)
    folds = Folds(standard, seen, weight, folds_of(patients, seed, *rounds)[:, drawn], tried[len(tried) // 2])
    penalty = tried[int(np.argmin(folds.held_out_losses(tried)))]
    if exact:
        model = LogisticRegression(C=1.0 / penalty, tol=1e-10, max_iter=10_000)
        model.fit(standard, seen, sample_weight=weight)
        found = np.concatenate([model.intercept_, model.coef_[0]])
    else:
        found = fit_both_kinds(standard, weight, weight * seen, Prior.ridge(penalty, len(used)))
    slopes = frozen(found[1:] / scale)
    return OwnFit(penalty, used, float(found[0]), frozen(centre), slopes, folds.parts, folds.left_out)
