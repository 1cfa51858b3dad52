"""Drawing patients with replacement: both eyes of a patient come and go together."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from models.arrays import FloatArray, IntArray
from models.errors import ModelError

_TRIES = 1000


def drawn_patients(part: slice, patients: IntArray, outcome: FloatArray, seed: int) -> NDArray[np.uint8]:
    """The first of `counted_draws`."""
    return counted_draws(part, patients, outcome, seed)[0]


def counted_draws(part: slice, patients: IntArray, outcome: FloatArray, seed: int) -> tuple[NDArray[np.uint8], int]:
    """How often each patient is drawn in the resamples of `part`, [G, b]; every resample has both kinds of eyes.

    patients: [n] codes 0..G-1 of the eyes; outcome: [n]. Each resample has a stream of its own, made from the seed and
    its number: the same patients come whatever the groups. Draws of one kind of eyes only are drawn anew; the
    second number counts them.
    """
    size = int(patients.max()) + 1
    cloudy, clear = (_masks(patients[outcome == kind], size) for kind in (1.0, 0.0))
    redrawn = 0
    table = np.empty((part.stop - part.start, size), dtype=np.uint8)
    for number, row in enumerate(table, part.start):
        rng = np.random.default_rng([seed, number])
        for tried in range(_TRIES):
            row[:] = np.bincount(rng.integers(0, size, size), minlength=size)  # nobody is drawn 256 times
            if (row & cloudy).any() and (row & clear).any():
                redrawn += tried
                break
        else:
            raise ModelError(
                "The patients cannot be resampled.",
                "Draw after draw holds only cloudy or only clear eyes.",
                "Wait until several patients had a cloudy and several a clear eye.",
            )
    return np.ascontiguousarray(table.T), redrawn


def _masks(patients: IntArray, size: int) -> NDArray[np.uint8]:
    """All bits for these patients, none for the others, [G]."""
    masks = np.zeros(size, dtype=np.uint8)
    masks[patients] = 255
    return masks
