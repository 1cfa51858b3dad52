"""Eyes counted together where their log-odds are as good as equal, for curves of the log-odds refitted many times.

A curve of one number needs no eye by itself: up to 2048 eyes each is a cell of its own; beyond, the eyes of a bin of
`scoring.placed` share a cell at their mean log-odds. The bins are a few thousandths of a log-odds wide. What that moves
a refitted curve by is a thousandth of what resampling moves it by, and the time no longer grows with the eyes.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.arrays import FloatArray, IntArray
from models.scoring import BINS, placed


@dataclass(frozen=True, eq=False)
class Cells:
    """of: [n] the cell of each eye, from 0; eyes: [m] how many eyes it holds; log_odds: [m] their mean."""

    of: IntArray
    eyes: FloatArray
    log_odds: FloatArray

    def mean(self, values: FloatArray) -> FloatArray:
        """Mean of `values` [n] of the eyes of each cell, [m]."""
        return np.bincount(self.of, values, self.eyes.shape[0]) / self.eyes


def cells(log_odds: FloatArray, outcome: FloatArray | None = None) -> Cells:
    """The cells of eyes with these log-odds [n]; with `outcome` [n], 0/1, cloudy and clear eyes share none."""
    n = log_odds.shape[0]
    if n <= BINS:
        return Cells(np.arange(n, dtype=np.int64), np.ones(n), log_odds)
    place = placed(log_odds)[0].astype(np.int64)
    if outcome is not None:
        place += BINS * outcome.astype(np.int64)
    eyes = np.bincount(place)
    held = eyes > 0
    of = (np.cumsum(held) - 1)[place]
    found = eyes[held].astype(np.float64)
    return Cells(of, found, np.bincount(of, log_odds) / found)
