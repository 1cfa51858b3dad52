"""Refits on resampled patients with the blanks as all eyes filled them: a whole group of resamples at a time."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from models.arrays import FloatArray, IntArray
from models.passes import Counts
from models.penalty import OwnFit
from models.prior import Prior
from models.recipe import Laid, curve_steepness
from models.refit import Refits, groups
from models.resampling import drawn_patients
from models.scoring import BINS
from models.spec import Spec

_CELLS = 2**15
"""Points scored at once, so that they stay in the processor's cache."""


@dataclass(frozen=True, eq=False)
class _Fits:
    """One model's refits. across: [p, n] its columns; used: its base columns; scale: their units in the design."""

    refits: Refits
    rows: FloatArray
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
        self._depth = spec.depth
        base = laid.filled.values.shape[1]
        refits = Refits(laid.design, weights, weights, weights * y, laid.prior)
        bend = curve_steepness(spec, laid)
        across = _across(laid.design)
        self._fits = [_Fits(refits, refits.rows(y), across, tuple(range(base)), np.ones(base), bend)]
        if own is not None:
            columns = laid.filled.values[:, own.used] - own.centre
            scale = np.sqrt(weights @ columns**2 / weights.sum())
            scale = np.where(scale > 0.0, scale, 1.0)
            refits = Refits(columns / scale, weights, weights, weights * y, Prior.ridge(own.penalty, len(own.used)))
            self._fits.append(_Fits(refits, refits.rows(y), _across(columns / scale), own.used, scale, None))

    def resampled(self, part: slice, seed: int) -> Iterator[tuple[tuple[NDArray[Any], ...], NDArray[Any]]]:
        """For a few resamples of the group at a time: log-odds of all eyes averaged over their blanks, [b, n] by each
        model, and how much each eye counted [b, n]."""
        drawn = drawn_patients(part, self._patients, self._y, seed)
        counts = Counts(drawn, self._patients)
        found = []
        for fits in self._fits:
            sums = fits.refits.passes.sums(counts, fits.rows)
            found.append(fits.refits.solve(counts, sums, self._y)[0])
        whole = bool((self._weights == 1.0).all())
        for few in groups(part.stop - part.start, max(1, _CELLS // min(self._y.shape[0], BINS))):
            counted = drawn[:, few].T[:, self._patients]
            odds = tuple(self._log_odds(fits, b[few]) for fits, b in zip(self._fits, found, strict=True))
            yield odds, counted if whole else counted * self._weights

    def _log_odds(self, fits: _Fits, b: FloatArray) -> NDArray[Any]:
        slopes = np.zeros((b.shape[0], self._filled.values.shape[1]))
        slopes[:, fits.used] = b[:, 1 : len(fits.used) + 1] / fits.scale
        factors = self._filled.shrinking(slopes, self._depth, fits.bend, b[:, -1], fits.across.dtype.type)
        eta = b[:, 1:].astype(fits.across.dtype) @ fits.across
        eta += b[:, :1]
        eta *= factors
        return np.asarray(eta)


def _across(design: FloatArray) -> NDArray[Any]:
    # Where eyes are counted in bins, single precision is more than the bins can tell.
    kind = np.float64 if design.shape[0] <= BINS else np.float32
    return np.ascontiguousarray(design.T, dtype=kind)
