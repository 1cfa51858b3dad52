"""Would other patients from the same practice have given an eye the same chance? How far refits move each forecast.

Riley RD, Collins GS. Biom J 2023;65:2200302 (from memory). This is not the range of one forecast: it leaves out what
all resamples share, such as the form of the model and what was published before.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import expit

from models.arrays import FloatArray, frozen, matrix, risks, vector
from models.errors import ModelError

_HELD = 2**20
"""Most chances held at once, eyes times resamples."""


@dataclass(frozen=True, eq=False)
class Stability:
    """How far the refits of resamples move each forecast.

    risk: [n] chances of the model itself; change: [n] mean |p_b - p| of each eye over the resamples, in points of
    chance (0..1); median, p95: of `change` over the eyes; resamples: how many.
    """

    risk: FloatArray
    change: FloatArray
    median: float
    p95: float
    resamples: int


class Movement:
    """The same from log-odds as resamples come, a few at a time, so that no table of eyes by resamples is held."""

    def __init__(self, risk: FloatArray) -> None:
        self.risk = risk
        self._summed = np.zeros(risk.shape[0])
        self._resamples = 0

    def of(self, log_odds: FloatArray) -> FloatArray:
        """Summed |p_b - p| of each eye [n] over the log-odds [b, n] of some resamples; changes nothing here."""
        return np.asarray(np.abs(expit(log_odds) - self.risk).sum(axis=0), dtype=np.float64)

    def add(self, summed: FloatArray, resamples: int) -> None:
        """Count those resamples in."""
        self._summed += summed
        self._resamples += resamples

    def found(self) -> Stability | None:
        """The stability so far; None without a resample."""
        return _stability(self.risk, self._summed / self._resamples, self._resamples) if self._resamples else None


def forecast_stability(risk: ArrayLike, resampled: ArrayLike) -> Stability:
    """From the chances [n] of the model and those of each resample's model for the same eyes, [B, n]."""
    chance = risks(risk)
    moved = matrix(resampled, "chances of the resamples", columns=chance.shape[0])
    _refuse_empty(chance.shape[0], moved.shape[0])
    if ((moved < 0.0) | (moved > 1.0)).any():
        raise ModelError(
            "The chances cannot be used.", "A chance lies outside 0 to 1.", "Give fractions, not per cent."
        )
    change = np.zeros(chance.shape[0])
    for row in moved:
        change += np.abs(row - chance)
    return _stability(chance, change / moved.shape[0], moved.shape[0])


def coefficient_stability(X: ArrayLike, coefficients: ArrayLike, resampled: ArrayLike) -> Stability:
    """From columns X [n, p], the model's coefficients [p + 1] (intercept first) and those of the resamples [B, p + 1].

    Eyes are worked off in blocks: no table of eyes by resamples is held.
    """
    table = matrix(X, "columns")
    n, p = table.shape
    own = vector(coefficients, "coefficients", p + 1)
    refits = matrix(resampled, "coefficients of the resamples", columns=p + 1)
    _refuse_empty(n, refits.shape[0])
    chance, change = np.empty(n), np.empty(n)
    step = max(1, _HELD // refits.shape[0])
    for first in range(0, n, step):
        block = table[first : first + step]
        here = expit(block @ own[1:] + own[0])
        moved = expit(block @ refits[:, 1:].T + refits[:, 0])
        chance[first : first + step] = here
        change[first : first + step] = np.abs(moved - here[:, None]).mean(axis=1)
    return _stability(chance, change, refits.shape[0])


def _refuse_empty(eyes: int, resamples: int) -> None:
    if not eyes or not resamples:
        raise ModelError("The stability cannot be worked out.", "There are no eyes or no resamples.", "Give both.")


def _stability(chance: FloatArray, change: FloatArray, resamples: int) -> Stability:
    return Stability(
        frozen(chance), frozen(change), float(np.median(change)), float(np.quantile(change, 0.95)), resamples
    )
