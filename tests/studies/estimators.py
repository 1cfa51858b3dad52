"""The default as the product makes it, and the three ways that it is held against."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from practices import Row
from scipy.special import expit
from sklearn.linear_model import LogisticRegression
from sklearn.model_selection import GroupKFold
from tables import RIDGE

from models.dataset import build
from models.missing import Normal
from models.spec import Spec
from models.spline import curve_term, quantile_knots
from models.training import train

RIDGE_PENALTIES = np.geomspace(0.1, 10_000.0, 16)
FOLDS = 10
CHECKED = 200
"""New eyes whose forecast is also asked of the card itself."""


@dataclass(frozen=True)
class Ours:
    """The default's log-odds averaged over the blanks [n], its range [n], and what the card said besides.

    refused: share of the checked eyes that get no number (too much missing, or unlike the records);
    spec: the model on paper that came out; columns: base columns of the new eyes [n, q] with blanks; normal: how the
    card fills them.
    """

    log_odds: np.ndarray
    low: np.ndarray
    high: np.ndarray
    curved: bool
    refused: float
    spec: Spec
    columns: np.ndarray
    normal: Normal


def default(rows: list[Row], new: list[Row]) -> Ours:
    """Train by the library's own path and forecast the new eyes by its card; raises ModelError as the product does."""
    card = train(rows, model="booking", resamples=1).card
    working = card.forecaster.working
    numbers = [working.work(working.columns(row)) for row in new]
    risk, low, high = (np.array([getattr(one, name) for one in numbers]) for name in ("risk", "low", "high"))
    asked = card.forecast(new[:CHECKED])
    shown = [i for i, one in enumerate(asked) if one.risk is not None]
    for i in shown:
        np.testing.assert_allclose(
            (asked[i].risk, asked[i].low, asked[i].high), (risk[i], low[i], high[i]), rtol=0.0, atol=1e-9
        )
    columns = np.array([one.columns for one in numbers])
    return Ours(
        np.log(risk / (1.0 - risk)), low, high, card.spec.curved, 1.0 - len(shown) / len(asked), card.spec, columns,
        Normal(working.formula.mean, working.formula.field_covariance),
    )  # fmt: skip


def others(rows: list[Row], ours: Ours) -> dict[str, np.ndarray]:
    """Log-odds of the new eyes by the other ways.

    All get the same columns with the blanks filled as the card fills them, every column brought to SD 1; columns that
    never change are left out. The depth is a straight line, but for the second ridge, which has its curve at any size.
    """
    data = build(rows, ours.spec.without_curve())
    old, new = ours.normal.fill(data.columns).values, ours.normal.fill(ours.columns).values
    X, Z = _standardised(old, new)
    fits = {
        RIDGE: _chosen_ridge(X, data.y, data.patients),
        "Firth + FLIC": firth(X, data.y),
        "maximum likelihood": _ridge(X, data.y, 1e-4),
    }
    found = {name: b[0] + Z @ b[1:] for name, b in fits.items()}
    if ours.spec.depth is not None:
        knots = quantile_knots(old[:, ours.spec.depth], 3)
        X, Z = _standardised(*(np.column_stack([t, curve_term(t[:, ours.spec.depth], knots)]) for t in (old, new)))
        b = _chosen_ridge(X, data.y, data.patients)
        found["ridge with the depth's curve"] = b[0] + Z @ b[1:]
    return found


def _standardised(old: np.ndarray, new: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    spread = old.std(axis=0)
    kept = spread > 1e-9
    centre, spread = old.mean(axis=0)[kept], spread[kept]
    return (old[:, kept] - centre) / spread, (new[:, kept] - centre) / spread


def _chosen_ridge(X: np.ndarray, y: np.ndarray, patients: np.ndarray) -> np.ndarray:
    return _ridge(X, y, _penalty_by_patients(X, y, patients))


def _ridge(X: np.ndarray, y: np.ndarray, penalty: float) -> np.ndarray:
    """Ridge fit; a penalty of 1e-4 stands for none, and keeps the coefficients finite where no best fit exists."""
    model = LogisticRegression(C=1.0 / penalty, solver="newton-cholesky", max_iter=200).fit(X, y)
    return np.concatenate([model.intercept_, model.coef_[0]])


def _penalty_by_patients(X: np.ndarray, y: np.ndarray, patients: np.ndarray) -> float:
    """The penalty with the smallest held-out log loss, all folds together."""
    lost = np.zeros(RIDGE_PENALTIES.shape[0])
    for learn, held in GroupKFold(FOLDS, shuffle=True, random_state=1).split(X, y, patients):
        for k, penalty in enumerate(RIDGE_PENALTIES):
            b = _ridge(X[learn], y[learn], penalty)
            eta = b[0] + X[held] @ b[1:]
            lost[k] += np.sum(np.logaddexp(0.0, eta) - y[held] * eta)
    return float(RIDGE_PENALTIES[np.argmin(lost)])


def firth(X: np.ndarray, y: np.ndarray, *, flic: bool = True) -> np.ndarray:
    """Intercept and coefficients with Jeffreys' prior; `flic` then refits the intercept alone, by likelihood.

    Firth D. Biometrika 1993;80:27 and Heinze G, Schemper M. Stat Med 2002;21:2409 (penalised score, Newton's steps of
    at most 5 and halved while they lose, from memory); Puhr R et al. Stat Med 2017;36:2302 (intercept, from memory).
    """
    design = np.column_stack([np.ones(X.shape[0]), X])

    def information(b: np.ndarray) -> np.ndarray:
        p = expit(design @ b)
        return (design * (p * (1.0 - p))[:, None]).T @ design

    def likelihood(b: np.ndarray) -> float:
        eta = design @ b
        return float(y @ eta - np.logaddexp(0.0, eta).sum() + 0.5 * np.linalg.slogdet(information(b))[1])

    b = np.zeros(design.shape[1])
    best = likelihood(b)
    for _ in range(3000):
        p = expit(design @ b)
        inverse = np.linalg.inv(information(b))
        hat = p * (1.0 - p) * np.einsum("ij,jk,ik->i", design, inverse, design)
        step = inverse @ (design.T @ (y - p + hat * (0.5 - p)))
        step /= max(1.0, np.abs(step).max() / 5.0)
        while (found := likelihood(b + step)) < best - 1e-12 * abs(best) and np.abs(step).max() > 1e-9:
            step /= 2.0
        b, best = b + step, max(best, found)
        if np.abs(step).max() < 1e-5:
            break
    else:
        raise ArithmeticError("Firth's fit did not settle.")
    if flic:
        rest = X @ b[1:]
        for _ in range(100):
            p = expit(b[0] + rest)
            b[0] += np.sum(y - p) / np.sum(p * (1.0 - p))
    return b
