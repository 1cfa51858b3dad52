"""The penalised logistic fit: coefficients and what they are worth."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import expit

from models.arrays import (
    FloatArray,
    IntArray,
    cluster_codes,
    frozen,
    matrix,
    outcomes,
    row_weights,
    sums_by_cluster,
    vector,
)
from models.errors import ModelError, Separation
from models.prior import Prior
from models.separation import separating_columns
from models.standardised import Standardised

CERTIFICATE = 1e-8
"""A fit is accepted when every entry of its gradient, in the units given, is below this times the total weight."""

_ROUNDS = 100


@dataclass(frozen=True, eq=False)
class LogisticFit:
    """A fitted logistic model; logit(risk) = intercept + X coefficients + offset.

    Arrays with p + 1 entries have the intercept first. P is the penalised information H + Lambda, H the information of
    the eyes, Lambda the prior's precision, B the scatter of the patients' scores with the factor G / (G - 1).

    covariance: P^-1.
    robust_covariance: P^-1 (B + Lambda) P^-1 when patients were given, else None; without a prior this is the ordinary
        cluster-robust covariance.
    log_likelihood, null_log_likelihood: of the eyes (weighted), prior left out; null has the intercept (and offset).
    effective_df: tr(P^-1 H) - 1; own_data_share: effective_df / p, how much of the model the practice's eyes speak.
    largest_gradient: what was left of the gradient in the units given, the fit's own certificate.
    effective_n: (sum w)^2 / sum w^2.
    """

    intercept: float
    coefficients: FloatArray
    covariance: FloatArray
    robust_covariance: FloatArray | None
    log_likelihood: float
    null_log_likelihood: float
    iterations: int
    largest_gradient: float
    effective_df: float
    n: int
    weight_total: float
    effective_n: float

    @property
    def standard_errors(self) -> FloatArray:
        """Square roots of the diagonal of `covariance`, [p + 1]."""
        return np.sqrt(np.diag(self.covariance))

    @property
    def robust_standard_errors(self) -> FloatArray | None:
        """Square roots of the diagonal of `robust_covariance`, [p + 1], or None."""
        return None if self.robust_covariance is None else np.sqrt(np.diag(self.robust_covariance))

    @property
    def own_data_share(self) -> float:
        """Effective parameters per column, 0 (prior only) to 1 (own eyes only)."""
        p = self.coefficients.shape[0]
        return self.effective_df / p if p else 1.0

    def linear_predictor(self, X: ArrayLike, offset: ArrayLike | None = None) -> FloatArray:
        """Log-odds [n] of eyes X [n, p]."""
        table = matrix(X, "columns", columns=self.coefficients.shape[0])
        eta = self.intercept + table @ self.coefficients
        return eta if offset is None else eta + vector(offset, "offsets", table.shape[0])

    def predict(self, X: ArrayLike, offset: ArrayLike | None = None) -> FloatArray:
        """Chances [n] of eyes X [n, p]."""
        return np.asarray(expit(self.linear_predictor(X, offset)))


def fit_logistic(
    X: ArrayLike,
    y: ArrayLike,
    *,
    prior: Prior | None = None,
    weights: ArrayLike | None = None,
    offset: ArrayLike | None = None,
    clusters: ArrayLike | None = None,
) -> LogisticFit:
    """Minimise -sum w (y eta - ln(1 + e^eta)) + (b - m)' Lambda (b - m) / 2 with a free intercept.

    X: [n, p] (p may be 0); y: [n] 0/1; weights: [n]; offset: [n] on the logit; clusters: [n] patient labels. prior: of
    the coefficients of X as given; None is maximum likelihood. Columns are brought to mean 0 and SD 1 for the work and
    the answer is carried back, so that a column far from zero costs no digits.

    Newton's method with step halving, until every entry of the gradient in the units of X is below 1e-8 times the total
    weight, then one more step. Where rounding alone leaves more (columns beyond some million), that is the limit.
    Raises Separation when no maximum exists, ModelError for input that cannot carry a fit (one kind of outcome only,
    columns that say the same thing).
    """
    table = matrix(X, "columns")
    n, p = table.shape
    outcome = outcomes(y, n)
    weight = row_weights(weights, n)
    shift = np.zeros(n) if offset is None else vector(offset, "offsets", n)
    codes = None if clusters is None else cluster_codes(clusters, n)
    belief = _belief(prior, p)
    _refuse_one_kind(outcome, weight)
    columns = Standardised.of(table, weight)
    precision = columns.precision(belief.precision)
    if not belief.proper:
        _refuse_same_columns(columns.design[:, 1:], weight, precision[1:, 1:])

    problem = _Problem(columns, outcome, weight, shift, columns.mean(belief.mean), precision)
    solution, gradient, information, iterations = _newton(problem, proper=belief.proper)
    inverse = _inverse(information + precision)
    robust = None
    if codes is not None:
        residual = weight * (outcome - expit(problem.eta(solution)))
        robust = columns.covariance(_sandwich(columns.design, residual, codes, inverse, precision))
    alone = Standardised(np.empty(0), np.empty(0), columns.design[:, :1])
    null = _Problem(alone, outcome, weight, shift, np.zeros(1), np.zeros((1, 1)))
    null_solution = _newton(null, proper=True)[0]
    found = columns.given(solution)
    return LogisticFit(
        intercept=float(found[0]),
        coefficients=frozen(found[1:]),
        covariance=frozen(columns.covariance(inverse)),
        robust_covariance=None if robust is None else frozen(robust),
        log_likelihood=problem.log_likelihood(solution),
        null_log_likelihood=null.log_likelihood(null_solution),
        iterations=iterations,
        largest_gradient=float(np.abs(columns.gradient(gradient)).max()),
        effective_df=float(np.trace(inverse @ information)) - 1.0,
        n=n,
        weight_total=float(weight.sum()),
        effective_n=float(weight.sum() ** 2 / (weight**2).sum()),
    )


def range_covariance(
    fit: LogisticFit,
    X: ArrayLike,
    y: ArrayLike,
    *,
    prior: Prior | None = None,
    clusters: ArrayLike | None = None,
    weights: ArrayLike | None = None,
    offset: ArrayLike | None = None,
    widening: float = 2.0,
) -> FloatArray:
    """Covariance [p + 1, p + 1] of intercept and coefficients for the range of one eye.

    V = P^-1 (B + Lambda2) P^-1 at the given fit, Lambda2 with every published width times `widening`: the estimate may
    lean on the papers, the range must not assume that they are right. X, y, prior, weights, offset as they were
    fitted. Without patients each eye counts as its own patient.
    """
    table = matrix(X, "columns", columns=fit.coefficients.shape[0])
    n = table.shape[0]
    outcome, weight = outcomes(y, n), row_weights(weights, n)
    codes = np.arange(n, dtype=np.int64) if clusters is None else cluster_codes(clusters, n)
    risk = fit.predict(table, offset)
    columns = Standardised.of(table, weight)
    precision = columns.precision(_belief(prior, table.shape[1]).widened(widening).precision)
    information = (columns.design * (weight * risk * (1.0 - risk))[:, None]).T @ columns.design
    inverse = _inverse(information + precision)
    return columns.covariance(_sandwich(columns.design, weight * (outcome - risk), codes, inverse, precision))


@dataclass(frozen=True, eq=False)
class _Problem:
    """All in the units of the work: mean [p + 1] and precision [p + 1, p + 1] of the prior too."""

    columns: Standardised
    outcome: FloatArray
    weight: FloatArray
    shift: FloatArray
    mean: FloatArray
    precision: FloatArray

    @property
    def design(self) -> FloatArray:
        return self.columns.design

    def eta(self, b: FloatArray) -> FloatArray:
        return self.design @ b + self.shift

    def log_likelihood(self, b: FloatArray) -> float:
        eta = self.eta(b)
        return float(self.weight @ (self.outcome * eta - np.logaddexp(0.0, eta)))

    def loss(self, b: FloatArray) -> float:
        away = b - self.mean
        return -self.log_likelihood(b) + 0.5 * float(away @ self.precision @ away)

    def slope_and_information(self, b: FloatArray) -> tuple[FloatArray, FloatArray]:
        risk = expit(self.eta(b))
        gradient = self.design.T @ (self.weight * (risk - self.outcome)) + self.precision @ (b - self.mean)
        information = (self.design * (self.weight * risk * (1.0 - risk))[:, None]).T @ self.design
        return gradient, information


def certified(columns: Standardised, gradient: FloatArray, total: float) -> bool:
    """Whether a gradient [p + 1] in the units of the work is small enough in those given; total: of the weights."""
    return bool((np.abs(columns.gradient(gradient)) < columns.limits(CERTIFICATE) * total).all())


def _newton(problem: _Problem, *, proper: bool) -> tuple[FloatArray, FloatArray, FloatArray, int]:
    """Solution, its gradient, its information and the number of steps taken."""
    columns, total = problem.columns, float(problem.weight.sum())
    b = problem.mean.copy()
    rate = float(problem.weight @ problem.outcome / problem.weight.sum())
    b[0] = np.log(rate / (1.0 - rate)) - float(problem.weight @ problem.eta(b) / problem.weight.sum())
    loss = problem.loss(b)
    gradient, information = problem.slope_and_information(b)
    looked = proper
    for iteration in range(1, _ROUNDS + 1):
        step = _solve(information + problem.precision, gradient)
        change = float(np.abs(problem.design @ step).max())
        if certified(columns, gradient, total) and change < 1e-6:
            # One more full step: the certificate is about the gradient, this squares what error it left in b.
            polished = b - step
            polished_gradient, polished_information = problem.slope_and_information(polished)
            if np.abs(columns.gradient(polished_gradient)).max() <= np.abs(columns.gradient(gradient)).max():
                return polished, polished_gradient, polished_information, iteration
            return b, gradient, information, iteration
        if not looked and iteration > 6 and change > 0.1:
            _refuse_separation(problem)
            looked = True
        trial_loss = problem.loss(b - step)
        while trial_loss > loss + 1e-12 * abs(loss) and np.abs(step).max() > 0.0:
            step = step / 2.0
            trial_loss = problem.loss(b - step)
        b, loss = b - step, trial_loss
        gradient, information = problem.slope_and_information(b)
    _refuse_separation(problem)
    raise ModelError(
        "The model has no trustworthy fit.",
        f"The arithmetic did not settle in {_ROUNDS} rounds.",
        "Look for a column with extreme values, or use a prior.",
    )


def _sandwich(
    design: FloatArray, residual: FloatArray, codes: IntArray, inverse: FloatArray, precision: FloatArray
) -> FloatArray:
    scores = sums_by_cluster(design * residual[:, None], codes)
    size = scores.shape[0]
    if size < 2:
        raise ModelError(
            "The spread between patients cannot be worked out.", "There is one patient only.", "Add more patients."
        )
    middle = (size / (size - 1.0)) * (scores.T @ scores) + precision
    covariance = inverse @ middle @ inverse
    return np.asarray((covariance + covariance.T) / 2.0)


def _solve(positive: FloatArray, right: FloatArray) -> FloatArray:
    lower, unit = _lower(positive)
    return np.asarray(unit * np.linalg.solve(lower.T, np.linalg.solve(lower, unit * right)))


def _inverse(positive: FloatArray) -> FloatArray:
    lower, unit = _lower(positive)
    half = np.linalg.inv(lower)
    return np.asarray((half.T @ half) * np.outer(unit, unit))


def _lower(positive: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Cholesky factor after bringing every column to its own unit, and the units: units of columns do not matter."""
    unit = _unit(positive)
    try:
        return np.asarray(np.linalg.cholesky(positive * np.outer(unit, unit)), dtype=np.float64), unit
    except np.linalg.LinAlgError as error:
        raise ModelError(
            "The model cannot be fitted.",
            "The eyes hold no information about one of the columns.",
            "Leave the column out, or use a prior.",
        ) from error


def _unit(positive: FloatArray) -> FloatArray:
    diagonal = np.diag(positive)
    return np.asarray(1.0 / np.sqrt(np.where(diagonal > 0.0, diagonal, 1.0)))


def _belief(prior: Prior | None, p: int) -> Prior:
    belief = Prior.ridge(0.0, p) if prior is None else prior
    if belief.p != p:
        raise ModelError(
            "The prior does not fit.", f"It is for {belief.p} columns, the data have {p}.", "Give one row per column."
        )
    return belief


def _refuse_one_kind(outcome: FloatArray, weight: FloatArray) -> None:
    counted = outcome[weight > 0.0]
    if counted.shape[0] == 0:
        raise ModelError("The model cannot be fitted.", "There are no eyes.", "Add eyes.")
    if counted.min() == counted.max():
        kind = "cloudy" if counted[0] == 1.0 else "clear"
        raise ModelError(
            "The model cannot be fitted.", f"All eyes are {kind}.", "Wait until there are cloudy and clear eyes."
        )


def _refuse_same_columns(standard: FloatArray, weight: FloatArray, precision: FloatArray) -> None:
    """Refuse columns that are constant or repeat each other where the prior does not tell them apart.

    standard: [n, p] standardised columns; precision: [p, p] of their coefficients.
    """
    held = (standard * weight[:, None]).T @ standard / 4.0 + precision
    unit = _unit(held)
    values, vectors = np.linalg.eigh(held * np.outer(unit, unit))
    if values[0] < 1e-11:
        named = ", ".join(str(int(j)) for j in np.flatnonzero(np.abs(vectors[:, 0]) > 1e-4))
        raise ModelError(
            "The model cannot be fitted.",
            f"Columns {named} (counted from 0) are constant or repeat what other columns say.",
            "Leave one of them out, or use a prior.",
        )


def _refuse_separation(problem: _Problem) -> None:
    counted = problem.weight > 0.0
    columns = separating_columns(problem.design[counted], problem.outcome[counted], problem.precision)
    if columns:
        raise Separation(columns)
