"""Refits on resampled patients with the blanks as all eyes filled them: a whole group of resamples at a time."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from models.arrays import FloatArray, IntArray
from models.groups import groups
from models.passes import Counts, GroupTotals
from models.penalty import OwnFit
from models.prior import Prior
from models.recipe import Laid, curve_steepness
from models.refit import Refits
from models.resampling import counted_draws
from models.scoring import BINS
from models.spec import Spec

_CELLS = 2**15
"""Points scored at once, so that they stay in the processor's cache."""


@dataclass(frozen=True, eq=False)
class _Fits:
    """One model's refits. across: [p + 1, n] a 1 and its columns; used: its base columns; scale: [p] their units."""

    refits: Refits
    totals: GroupTotals
    across: NDArray[Any]
    used: tuple[int, ...]
    scale: FloatArray
    bend: FloatArray | None


class FrozenFits:
    """The model's refits, and the own-records-only model's at the penalty that all eyes chose.

    y: [n]; weights: [n]; patients: [n] codes.
    """

    def __init__(
        self, spec: Spec, laid: Laid, y: FloatArray, weights: FloatArray, patients: IntArray, own: OwnFit | None
    ) -> None:
        self._filled, self._y, self._weights, self._patients = laid.filled, y, weights, patients
        # Refits pass over the eyes patient by patient: the counts of neighbouring eyes then lie side by side.
        self._order = np.argsort(patients, kind="stable")
        self._depth = spec.depth
        self._redrawn: list[int] = []
        base = laid.filled.values.shape[1]
        bend = curve_steepness(spec, laid)
        self._fits = [self._fit(laid.design, laid.prior, tuple(range(base)), np.ones(base), bend)]
        if own is not None:
            columns = laid.filled.values[:, own.used] - own.centre
            scale = np.sqrt(weights @ columns**2 / weights.sum())
            scale = np.where(scale > 0.0, scale, 1.0)
            prior = Prior.ridge(own.penalty, len(own.used))
            self._fits.append(self._fit(columns / scale, prior, own.used, scale, None))

    def _fit(
        self, design: FloatArray, prior: Prior, used: tuple[int, ...], scale: FloatArray, bend: FloatArray | None
    ) -> _Fits:
        weights, y = self._weights[self._order], self._y[self._order]
        refits = Refits(design[self._order], weights, weights, weights * y, prior)
        totals = refits.totals(y, self._patients[self._order])
        return _Fits(refits, totals, _across(design), used, scale, bend)

    @property
    def redrawn(self) -> int:
        """Draws of one kind of eyes only that were drawn anew, in all groups so far."""
        return sum(self._redrawn)

    def resampled(self, part: slice, seed: int) -> Iterator[tuple[tuple[NDArray[Any], ...], NDArray[Any]]]:
        """For a few resamples of the group at a time: log-odds of all eyes averaged over their blanks, [b, n] by each
        model, and how much each eye counted [b, n]."""
        drawn, redrawn = counted_draws(part, self._patients, self._y, seed)
        self._redrawn.append(redrawn)
        counts, y = Counts(drawn, self._patients[self._order]), self._y[self._order]
        found = [fits.refits.solve(counts, fits.totals.of(counts), y)[0] for fits in self._fits]
        whole = bool((self._weights == 1.0).all())
        for few in groups(part.stop - part.start, max(1, _CELLS // min(self._y.shape[0], BINS))):
            counted = drawn[:, few].T[:, self._patients]
            odds = tuple(self._log_odds(fits, b[few]) for fits, b in zip(self._fits, found, strict=True))
            yield odds, counted if whole else counted * self._weights

    def _log_odds(self, fits: _Fits, b: FloatArray) -> NDArray[Any]:
        slopes = np.zeros((b.shape[0], self._filled.values.shape[1]))
        slopes[:, fits.used] = b[:, 1 : len(fits.used) + 1] / fits.scale
        factors = self._filled.shrinking(slopes, self._depth, fits.bend, b[:, -1], fits.across.dtype.type)
        eta = b.astype(fits.across.dtype) @ fits.across
        eta *= factors
        return np.asarray(eta)


def _across(design: FloatArray) -> NDArray[Any]:
    # Where eyes are counted in bins, single precision is more than the bins can tell.
    kind = np.float64 if design.shape[0] <= BINS else np.float32
    across = np.ones((design.shape[1] + 1, design.shape[0]), dtype=kind)
    across[1:] = design.T
    return across
