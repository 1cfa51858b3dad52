"""Drawing patients with replacement: both eyes of a patient come and go together."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from models.arrays import FloatArray, IntArray
from models.errors import ModelError

_TRIES = 1000


def drawn_patients(part: slice, patients: IntArray, outcome: FloatArray, seed: int) -> NDArray[np.uint8]:
    """How often each patient is drawn in the resamples of `part`, [G, b]; every resample has both kinds of eyes.

    patients: [n] codes 0..G-1 of the eyes; outcome: [n]. Each resample has a stream of its own, made from the seed and
    its number: the same patients come whatever the groups. Draws of one kind of eyes only are drawn anew.
    """
    size = int(patients.max()) + 1
    cloudy = np.bincount(patients, weights=outcome, minlength=size)
    clear = np.bincount(patients, weights=1.0 - outcome, minlength=size)
    table = np.empty((part.stop - part.start, size), dtype=np.uint8)
    for number, row in enumerate(table, part.start):
        rng = np.random.default_rng([seed, number])
        for _ in range(_TRIES):
            drawn = np.bincount(rng.integers(0, size, size), minlength=size)
            if drawn @ cloudy > 0.0 and drawn @ clear > 0.0:
                break
        else:
            raise ModelError(
                "The patients cannot be resampled.",
                "Draw after draw holds only cloudy or only clear eyes.",
                "Wait until several patients had a cloudy and several a clear eye.",
            )
        row[:] = drawn  # nobody is drawn 256 times
    return np.ascontiguousarray(table.T)
