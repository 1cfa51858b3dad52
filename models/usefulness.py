"""Would acting on the forecast do more good than acting on all eyes or on none? Net benefit."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from models.arrays import FloatArray, frozen, outcomes, risks, vector
from models.errors import ModelError


@dataclass(frozen=True, eq=False)
class Usefulness:
    """Net benefit per eye at each threshold [m]: of the forecast, of treating all, of treating none (0)."""

    thresholds: FloatArray
    model: FloatArray
    all: FloatArray
    none: FloatArray

    def rows(self) -> Iterator[dict[str, float]]:
        """One mapping per threshold, for JSON and tables."""
        for row in zip(self.thresholds, self.model, self.all, self.none, strict=True):
            yield dict(zip(("threshold", "model", "all", "none"), map(float, row), strict=True))

    @property
    def avoided(self) -> FloatArray:
        """Share of eyes spared compared with treating all, at no loss of cloudy ones found, [m]."""
        return (self.model - self.all) * (1.0 - self.thresholds) / self.thresholds


def net_benefit(risk: ArrayLike, outcome: ArrayLike, thresholds: ArrayLike) -> Usefulness:
    """TP/n - FP/n * t/(1 - t) at thresholds t (fractions between 0 and 1); a chance of exactly t counts as above.

    Vickers AJ, Elkin EB. Med Decis Making 2006;26:565 (from memory).
    """
    seen = outcomes(outcome)
    n = seen.shape[0]
    chance = risks(risk, n)
    t = vector(thresholds, "thresholds")
    if n == 0 or ((t <= 0.0) | (t >= 1.0)).any():
        raise ModelError(
            "The net benefit cannot be worked out.",
            "There are no eyes, or a threshold lies outside 0 to 1.",
            "Give eyes and thresholds between 0 and 1.",
        )
    odds = t / (1.0 - t)
    order = np.argsort(chance, kind="stable")
    cloudy_from = np.concatenate([np.cumsum(seen[order][::-1])[::-1], [0.0]])
    start = np.searchsorted(chance[order], t, side="left")
    positive, found = n - start, cloudy_from[start]
    share = seen.mean()
    return Usefulness(
        frozen(t),
        frozen(found / n - (positive - found) / n * odds),
        frozen(share - (1.0 - share) * odds),
        frozen(np.zeros_like(t)),
    )
