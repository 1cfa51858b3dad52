"""Forecasts held against chances that are known, so that no noise of outcomes is left."""

from __future__ import annotations

import numpy as np
from scipy.special import expit

NEAR = 0.05
"""Share of the eyes, on either side by rank, over which the smooth curve averages."""


def scores(log_odds: np.ndarray, chance: np.ndarray) -> dict[str, float]:
    """Expected figures of forecasts on eyes whose true chances are known.

    c: share of (cloudy, clear) pairs in the right order, expected; slope, level: recalibration of the log-odds by
    expected likelihood, the level with the slope held at 1; error: mean |forecast - chance|; ici: mean distance of a
    running mean of the chances from the forecast; brier, log_loss: expected, per eye.
    """
    risk = expit(log_odds)
    return {
        "c": _c(log_odds, chance),
        "slope": _slope(log_odds, chance),
        "level": _level(log_odds, chance),
        "error": float(np.abs(risk - chance).mean()),
        "ici": _ici(risk, chance),
        "brier": float(np.mean((risk - chance) ** 2 + chance * (1.0 - chance))),
        "log_loss": float(np.mean(np.logaddexp(0.0, log_odds) - chance * log_odds)),
    }


def _c(score: np.ndarray, chance: np.ndarray) -> float:
    values, place = np.unique(score, return_inverse=True)
    cloudy = np.bincount(place, chance, values.shape[0])
    clear = np.bincount(place, 1.0 - chance, values.shape[0])
    below = np.cumsum(clear) - clear
    # An eye makes no pair with itself.
    itself = chance * (1.0 - chance)
    pairs = cloudy.sum() * clear.sum() - itself.sum()
    return float((cloudy @ (below + clear / 2.0) - itself.sum() / 2.0) / pairs)


def _slope(log_odds: np.ndarray, chance: np.ndarray) -> float:
    centre, spread = log_odds.mean(), log_odds.std()
    if spread < 1e-9:
        return float("inf")
    design = np.column_stack([np.ones(log_odds.shape[0]), (log_odds - centre) / spread])
    b = np.array([np.log(chance.mean() / (1.0 - chance.mean())), 0.0])
    for _ in range(100):
        p = expit(design @ b)
        step = np.linalg.solve((design * (p * (1.0 - p))[:, None]).T @ design, design.T @ (chance - p))
        b += step
        if np.abs(step).max() < 1e-10:
            break
    return float(b[1] / spread)


def _level(log_odds: np.ndarray, chance: np.ndarray) -> float:
    shift = 0.0
    for _ in range(100):
        p = expit(log_odds + shift)
        step = np.sum(chance - p) / np.sum(p * (1.0 - p))
        shift += float(np.clip(step, -2.0, 2.0))
    return shift


def _ici(risk: np.ndarray, chance: np.ndarray) -> float:
    order = np.argsort(risk, kind="stable")
    total = np.concatenate([[0.0], np.cumsum(chance[order])])
    n = risk.shape[0]
    reach = max(1, int(NEAR * n))
    low, high = np.maximum(np.arange(n) - reach, 0), np.minimum(np.arange(n) + reach + 1, n)
    # The forecast is averaged over the same eyes, so that its own steepness is no error.
    own = np.concatenate([[0.0], np.cumsum(risk[order])])
    return float(np.abs((total[high] - total[low] - own[high] + own[low]) / (high - low)).mean())
