"""Would acting on the forecast do more good than acting on all eyes or on none? Net benefit."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from models.arrays import FloatArray, cluster_codes, frozen, outcomes, risks, vector
from models.errors import ModelError
from models.resampling import drawn_patients

FEWEST_FOR_BAND = 10
"""Below this many cloudy (or clear) eyes no band is drawn; common practice, no source."""

_AT_ONCE = 16
"""Resamples drawn together, so that ten million eyes need no more than a few hundred MB."""


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


@dataclass(frozen=True, eq=False)
class BenefitBand:
    """Pointwise 95 % limits of the forecast's net benefit at each threshold [m]; they always hold the figure itself."""

    thresholds: FloatArray
    low: FloatArray
    high: FloatArray

    def rows(self) -> Iterator[dict[str, float]]:
        """One mapping per threshold, for JSON and tables."""
        for row in zip(self.thresholds, self.low, self.high, strict=True):
            yield dict(zip(("threshold", "low", "high"), map(float, row), strict=True))


def net_benefit(risk: ArrayLike, outcome: ArrayLike, thresholds: ArrayLike) -> Usefulness:
    """TP/n - FP/n * t/(1 - t) at thresholds t (fractions between 0 and 1); a chance of exactly t counts as above.

    Vickers AJ, Elkin EB. Med Decis Making 2006;26:565 (from memory).
    """
    seen = outcomes(outcome)
    n = seen.shape[0]
    chance = risks(risk, n)
    t = vector(thresholds, "thresholds")
    if n == 0 or ((t <= 0.0) | (t >= 1.0)).any():
        raise _outside()
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


def net_benefit_band(
    risk: ArrayLike,
    outcome: ArrayLike,
    thresholds: ArrayLike,
    *,
    clusters: ArrayLike | None = None,
    resamples: int = 200,
    seed: int = 1,
) -> BenefitBand:
    """95 % limits of the net benefit at each threshold, from draws of patients (eyes without `clusters`).

    Percentiles of the net benefit over `resamples` draws with replacement: Vickers AJ et al. BMC Med Inform Decis Mak
    2008;8:53 (from memory). Pointwise: a curve may leave the band somewhere more often than 1 time in 20. Raises
    ModelError with fewer than 10 cloudy or clear eyes, or all eyes of one patient.
    """
    seen = outcomes(outcome)
    point = net_benefit(risk, seen, thresholds)
    n = seen.shape[0]
    chance, t = risks(risk, n), point.thresholds
    codes = np.arange(n, dtype=np.int64) if clusters is None else cluster_codes(clusters, n)
    if min(seen.sum(), n - seen.sum()) < FEWEST_FOR_BAND:
        raise _no_band(f"fewer than {FEWEST_FOR_BAND} cloudy or clear eyes.")
    if codes.max() == 0:
        raise _no_band("all eyes are of one patient.")
    if resamples < 2:
        raise _no_band("fewer than 2 resamples.")
    order = np.argsort(t)
    odds = t[order] / (1.0 - t[order])
    # An eye is above the first `place` thresholds; counts by place and kind are all that a resample needs.
    cell = 2 * np.searchsorted(t[order], chance, side="right") + seen.astype(np.int64)
    size = 2 * (t.shape[0] + 1)
    drawn_benefit = np.empty((resamples, t.shape[0]))
    for first in range(0, resamples, _AT_ONCE):
        part = slice(first, min(first + _AT_ONCE, resamples))
        drawn = drawn_patients(part, codes, seen, seed)
        for k in range(part.stop - part.start):
            counts = np.bincount(cell, weights=drawn[:, k][codes], minlength=size).reshape(-1, 2)
            above = np.cumsum(counts[::-1], axis=0)[::-1]
            drawn_benefit[first + k] = (above[1:, 1] - above[1:, 0] * odds) / counts.sum()
    low, high = np.empty((2, t.shape[0]))
    low[order], high[order] = np.quantile(drawn_benefit, [0.025, 0.975], axis=0)
    return BenefitBand(t, frozen(np.minimum(low, point.model)), frozen(np.maximum(high, point.model)))


def _outside() -> ModelError:
    return ModelError(
        "The net benefit cannot be worked out.",
        "There are no eyes, or a threshold lies outside 0 to 1.",
        "Give eyes and thresholds between 0 and 1.",
    )


def _no_band(why: str) -> ModelError:
    return ModelError("The band of the net benefit cannot be drawn.", why, "Wait for more eyes.")
