"""The arithmetic of steps for many refits at once: one small matrix and one short vector each."""

from __future__ import annotations

import numpy as np

from models.arrays import FloatArray

LONGEST = 1.5
"""Longest step in any coefficient of a column with SD 1."""


def inverses(matrices: FloatArray) -> FloatArray:
    """Inverses of matrices [b, q, q]."""
    return np.asarray(np.linalg.inv(matrices), dtype=np.float64)


def times(inverse: FloatArray, gradient: FloatArray) -> FloatArray:
    """Matrices [b, q, q] times vectors [b, q]."""
    return np.asarray((inverse @ gradient[:, :, None])[:, :, 0])


def capped(step: FloatArray) -> FloatArray:
    """Steps of at most 1.5 in any coefficient of a column with SD 1: longer ones overshoot."""
    longest = np.abs(step).max(axis=1, keepdims=True)
    return np.asarray(step * np.minimum(1.0, LONGEST / np.maximum(longest, 1e-300)))


def bfgs(inverse: FloatArray, step: FloatArray, change: FloatArray) -> None:
    """The update of inverse informations [b, q, q] by a step and the change of gradient along it, in place."""
    along = np.einsum("bi,bi->b", step, change)
    useful = along > 1e-12 * np.linalg.norm(step, axis=1) * np.linalg.norm(change, axis=1)
    rho = np.where(useful, 1.0 / np.where(useful, along, 1.0), 0.0)
    image = times(inverse, change)
    length = (1.0 + rho * np.einsum("bi,bi->b", change, image)) * rho
    mixed = image[:, :, None] * step[:, None, :]
    inverse += length[:, None, None] * (step[:, :, None] * step[:, None, :])
    inverse -= rho[:, None, None] * (mixed + np.swapaxes(mixed, 1, 2))


def steady(eyes: FloatArray, width: int) -> FloatArray:
    """A hair of ridge [b, q, q]: a column that a refit holds constant must not stop the steering."""
    return np.asarray(1e-6 * eyes[:, None, None] * np.eye(width))
