"""The layout of the work behind `refit`: many refits of one model together, as matrix products over blocks of eyes.

Everything is kept relative to one fit b0 that all refits start near: replicate b is b0 + d_b. With the eye's chance p0
and v0 = p0 (1 - p0) at b0, its shift delta = z'd in log-odds and t = tanh(delta / 2),

    p(b0 + d) - p0 = 2 v0 t / (1 + (2 p0 - 1) t),        v(b0 + d) = v0 (1 - t^2) / (1 + (2 p0 - 1) t)^2.

The difference keeps its *relative* accuracy however small d becomes. Single precision therefore costs nothing but the
last steps, which are taken in double precision, and it is twice as fast. Blocks of 512 eyes by 128 refits stay in the
processor's cache; columns are padded with zeros to a multiple of 8, which its vector units like.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from models.arrays import FloatArray, IntArray

ROWS = 512
"""Eyes in a block."""

REPLICATES = 128
"""Refits in a group; the same for any number of threads, so that sums keep their order."""

_LANES = 8


@dataclass(frozen=True, eq=False)
class Counts:
    """How often each eye counts in each refit of a group.

    table: [G, b], any numeric type; one row per patient with `patients` [n] saying whose eye it is, or per eye.
    """

    table: NDArray[Any]
    patients: IntArray | None = None

    def of(self, part: slice) -> NDArray[Any]:
        """Counts of a block of eyes, [m, b]."""
        return self.table[part] if self.patients is None else self.table[self.patients[part]]

    def only(self, which: NDArray[Any]) -> Counts:
        """The same for some of the refits."""
        return Counts(np.ascontiguousarray(self.table[:, which]), self.patients)


class Passes:
    """Sums over all eyes for a group of refits at a time.

    design: [n, q], first column 1; risk: [n] chances at the common start b0; weight: [n] of the eyes themselves, apart
    from how often a refit counts them.
    """

    def __init__(self, design: FloatArray, risk: FloatArray, weight: FloatArray) -> None:
        self.design = design
        self._width = design.shape[1]
        padded = -(-self._width // _LANES) * _LANES
        variance = risk * (1.0 - risk)
        self._steep = 2.0 * variance * weight
        # A chance of 0 or 1 to the last digit would divide by zero at a far step.
        self._lean = np.clip(2.0 * risk - 1.0, -1.0 + 1e-15, 1.0 - 1e-15)
        self._design32 = np.zeros((design.shape[0], padded), dtype=np.float32)
        self._design32[:, : self._width] = design
        self._steep32 = np.zeros_like(self._design32)
        np.multiply(design, self._steep[:, None], out=self._steep32[:, : self._width], casting="same_kind")
        self._lean32 = np.clip(self._lean, -1.0 + 1e-6, 1.0 - 1e-6).astype(np.float32)
        self._pairs32: NDArray[np.float32] | None = None
        self._upper = np.triu_indices(self._width)

    def gradient(self, counts: Counts, d: FloatArray) -> FloatArray:
        """Sum of w z (p(b0 + d) - p0) over the eyes, [b, q], in single precision with double sums."""
        half = np.zeros((self._design32.shape[1], d.shape[0]), dtype=np.float32)
        half[: self._width] = 0.5 * d.T
        total = np.zeros(half.shape)
        for part, t, under in self._shifts(self._design32, half, self._lean32):
            np.divide(t, under, out=t)
            np.multiply(t, counts.of(part), out=t, casting="unsafe")
            total += self._steep32[part].T @ t
        return total[: self._width].T

    def exact_gradient(self, counts: Counts, d: FloatArray) -> FloatArray:
        """The same in double precision throughout."""
        half = np.ascontiguousarray(0.5 * d.T)
        total = np.zeros(half.shape)
        for part, t, under in self._shifts(self.design, half, self._lean):
            np.divide(t, under, out=t)
            np.multiply(t, counts.of(part), out=t, casting="unsafe")
            total += (self.design[part] * self._steep[part, None]).T @ t
        return total.T

    def information(self, counts: Counts, d: FloatArray) -> FloatArray:
        """Sum of w v(b0 + d) z z' over the eyes, [b, q, q], in single precision: it only steers the steps."""
        if self._pairs32 is None:
            first, second = self._upper
            rows = self._design32
            self._pairs32 = rows[:, first] * rows[:, second] * (0.5 * self._steep).astype(np.float32)[:, None]
        half = np.zeros((self._design32.shape[1], d.shape[0]), dtype=np.float32)
        half[: self._width] = 0.5 * d.T
        total = np.zeros((self._pairs32.shape[1], d.shape[0]))
        for part, t, under in self._shifts(self._design32, half, self._lean32):
            np.multiply(t, t, out=t)
            np.subtract(np.float32(1.0), t, out=t)
            np.multiply(under, under, out=under)
            np.divide(t, under, out=t)
            np.multiply(t, counts.of(part), out=t, casting="unsafe")
            total += self._pairs32[part].T @ t
        full = np.empty((d.shape[0], self._width, self._width))
        full[:, self._upper[0], self._upper[1]] = total.T
        full[:, self._upper[1], self._upper[0]] = total.T
        return full

    def third(self, risk: FloatArray) -> FloatArray:
        """Third derivative at b0 with every eye counted once, [q, q, q]."""
        q = self._width
        total = np.zeros((q, q * q))
        bend = 0.5 * self._steep * (1.0 - 2.0 * risk)
        for part in _blocks(self.design.shape[0]):
            rows = self.design[part]
            squares = (rows[:, :, None] * rows[:, None, :]).reshape(rows.shape[0], q * q)
            total += (rows * bend[part, None]).T @ squares
        return total.reshape(q, q, q)

    def sums(self, counts: Counts, rows: FloatArray) -> FloatArray:
        """Sum of w times the rows [n, k], [b, k], in double precision."""
        total = np.zeros((rows.shape[1], counts.table.shape[1]))
        if counts.patients is not None:
            size = counts.table.shape[0]
            rows = np.column_stack([np.bincount(counts.patients, column, minlength=size) for column in rows.T])
        for part in _blocks(rows.shape[0], 4 * ROWS):
            total += rows[part].T @ counts.table[part].astype(np.float64)
        return total.T

    def _shifts(
        self, rows: NDArray[Any], half: NDArray[Any], lean: NDArray[Any]
    ) -> Iterator[tuple[slice, NDArray[Any], NDArray[Any]]]:
        """Block by block: t = tanh(delta / 2) and 1 + (2 p0 - 1) t, both free to be overwritten."""
        size = half.shape[1]
        shift, under = np.empty((ROWS, size), dtype=half.dtype), np.empty((ROWS, size), dtype=half.dtype)
        for part in _blocks(rows.shape[0]):
            m = part.stop - part.start
            t, below = shift[:m], under[:m]
            np.matmul(rows[part], half, out=t)
            np.tanh(t, out=t)
            np.multiply(t, lean[part, None], out=below)
            below += half.dtype.type(1.0)
            yield part, t, below


def _blocks(n: int, size: int = ROWS) -> Iterator[slice]:
    for first in range(0, n, size):
        yield slice(first, min(first + size, n))
