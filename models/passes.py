"""The layout of the work behind `refit`: many refits of one model together, as matrix products over blocks of eyes.

Refit b has the coefficients b0 + d_b, b0 those of one fit that all refits start near. For an eye with the columns z,

    t = tanh(z'b / 2),    p(b) = (1 + t) / 2,    p(b) - p(b0) = (t - t0) / 2,    p(b) (1 - p(b)) = (1 - t^2) / 4.

A pass is: a product of a block of eyes with the coefficients of all refits of a group, a few operations entry by entry,
a product back. Three things make it fast, and none changes what is summed:

- single precision where a pass only steers the steps: twice the speed. Its sums are of the small differences t - t0, so
  that little is lost: the gradient is right to some 1e-9 of the number of eyes. What certifies a refit is summed in
  double precision from the chances themselves (`expected`);
- blocks small enough for the processor's cache, and for the path of the linear algebra that does not copy its operands
  first (`block`);
- a group of 128 refits whatever the threads, so that sums keep their order.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from models.arrays import FloatArray, IntArray, sums_by_cluster

REPLICATES = 128
"""Refits in a group; the same for any number of threads, so that sums keep their order."""

_MOST_ROWS = 512
_PRODUCT = 1_000_000
"""Multiplications in a product up to which OpenBLAS does not copy its operands into another layout first."""

_BENT = 10_000
"""Eyes that the third derivative is worked out from, at least: it only foresees a step."""


def single(b: FloatArray) -> FloatArray:
    """The nearest coefficients that single precision holds, so that a pass is about the very ones it is asked for."""
    return b.astype(np.float32).astype(np.float64)


def block(columns: int) -> int:
    """Eyes in a block of a pass over so many columns."""
    return max(64, min(_MOST_ROWS, _PRODUCT // (REPLICATES * columns) // 64 * 64))


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


class Sums:
    """Sums of w times the same rows [m, k] for one group of refits after another.

    eyes: [m] which eyes the rows are of, where they are not of all: sums over the cloudy eyes cost what the cloudy eyes
    cost. patients: [n] where the counts are by patient; the rows are then added up by patient, once. single: rows and
    the sums within a block in single precision; the rest is in double precision.
    """

    def __init__(
        self, rows: FloatArray, eyes: IntArray | None = None, patients: IntArray | None = None, *, single: bool = False
    ) -> None:
        self._kept = eyes
        if patients is not None:
            self._kept, codes = np.unique(patients if eyes is None else patients[eyes], return_inverse=True)
            rows = sums_by_cluster(rows, codes)
        self._rows: NDArray[Any] = rows.astype(np.float32) if single else rows

    def of(self, table: NDArray[Any]) -> FloatArray:
        """Sums [b, k] under the counts [G, b] of a group, one row per patient or per eye."""
        total = np.zeros((self._rows.shape[1], table.shape[1]))
        size = block(self._rows.shape[1])
        counted = np.empty((size, table.shape[1]), dtype=self._rows.dtype)
        for part in _blocks(self._rows.shape[0], size):
            here = counted[: part.stop - part.start]
            np.copyto(here, table[part] if self._kept is None else table[self._kept[part]])
            total += self._rows[part].T @ here
        return total.T


@dataclass(frozen=True, eq=False)
class Totals:
    """Sums over the eyes of every refit of a group.

    score: [b, q] of w z (p0 - y), p0 the chance at the common fit; seen: [b, q] of w z y, the weight of the cloudy eyes
    first; weight: [b] of w.
    """

    score: FloatArray
    seen: FloatArray
    weight: FloatArray


@dataclass(frozen=True, eq=False)
class GroupTotals:
    """`Totals` for one group after another. score: of the rows z (p0 - y), 1, times the eyes' weights; seen: of z y."""

    score: Sums
    seen: Sums

    def of(self, counts: Counts) -> Totals:
        """The sums of a group."""
        score = self.score.of(counts.table)
        return Totals(score[:, :-1], self.seen.of(counts.table), score[:, -1])


class Passes:
    """Sums over all eyes for a group of refits at a time.

    design: [n, q], first column 1; start: [q] the common b0; weight: [n] of the eyes themselves, apart from how often a
    refit counts them.
    """

    def __init__(self, design: FloatArray, start: FloatArray, weight: FloatArray) -> None:
        self.design, self._start = design, start
        alike = bool((weight == 1.0).all())
        self._weighted = design if alike else design * weight[:, None]
        # In single precision the intercept stands last. Added first, it would coarsen all that follows, and a
        # yes-or-no column would then be rounded alike in every eye: an error that no number of eyes averages out.
        self._design32 = np.ascontiguousarray(design[:, ::-1], dtype=np.float32)
        self._weighted32 = self._design32 if alike else np.ascontiguousarray(self._weighted[:, ::-1], dtype=np.float32)
        # By the very steps of a pass: what single precision rounds in t and t0 alike falls out of their difference.
        self._level32 = np.tanh(self._design32 @ (0.5 * start[::-1]).astype(np.float32))
        self._rows = block(design.shape[1])
        self._pairs32: NDArray[np.float32] | None = None
        self._upper = np.triu_indices(design.shape[1])

    def gradient(self, counts: Counts, d: FloatArray) -> FloatArray:
        """Sum of w z (p(b0 + d) - p(b0)) over the eyes, [b, q], in single precision with double sums."""
        total = np.zeros(d.T.shape)
        for part, t in self._tangents(d, self._rows):
            t -= self._level32[part, None]
            np.multiply(t, counts.of(part), out=t, casting="unsafe")
            total += self._weighted32[part].T @ t
        return 0.5 * total[::-1].T

    def expected(self, counts: Counts, b: FloatArray) -> FloatArray:
        """Sum of w z p(b) over the eyes, [b, q], in double precision throughout; b: [b, q] itself."""
        minus = np.ascontiguousarray(-b.T)
        total = np.zeros(minus.shape)
        odds = np.empty((self._rows, b.shape[0]))
        # The odds of a clear eye may overflow: its chance of being cloudy is then 0 to the last digit.
        with np.errstate(over="ignore"):
            for part in _blocks(self.design.shape[0], self._rows):
                u = odds[: part.stop - part.start]
                np.matmul(self.design[part], minus, out=u)
                np.exp(u, out=u)
                u += 1.0
                np.divide(counts.of(part), u, out=u)
                total += self._weighted[part].T @ u
        return total.T

    def information(self, counts: Counts, d: FloatArray) -> FloatArray:
        """Sum of w p (1 - p) z z' over the eyes at b0 + d, [b, q, q], in single precision: it only steers the steps."""
        if self._pairs32 is None:
            first, second = self._upper
            pairs = self.design.astype(np.float32)[:, first]
            pairs *= self._weighted.astype(np.float32)[:, second]
            self._pairs32 = pairs  # whole: another thread may be waiting for it
        q = d.shape[1]
        total = np.zeros((self._pairs32.shape[1], d.shape[0]))
        for part, t in self._tangents(d, _MOST_ROWS):
            np.multiply(t, t, out=t)
            np.subtract(np.float32(1.0), t, out=t)
            np.multiply(t, counts.of(part), out=t, casting="unsafe")
            total += self._pairs32[part].T @ t
        full = np.empty((d.shape[0], q, q))
        full[:, self._upper[0], self._upper[1]] = 0.25 * total.T
        full[:, self._upper[1], self._upper[0]] = 0.25 * total.T
        return full

    def third(self) -> FloatArray:
        """Third derivative at b0 with every eye counted once, [q, q, q]; of very many eyes from an even share."""
        n, q = self.design.shape
        every = max(1, n // _BENT)
        columns = np.ascontiguousarray(self.design[::every].T, dtype=np.float32)
        t = self._level32[::every]
        bent = np.ascontiguousarray(self._weighted[::every].T, dtype=np.float32) * (t * t - np.float32(1.0)) * t
        total = np.zeros((q, self._upper[0].size))
        for part in _blocks(columns.shape[1], _MOST_ROWS):
            pairs = columns[self._upper[0], part] * columns[self._upper[1], part]
            total += bent[:, part] @ pairs.T
        full = np.empty((q, q, q))
        full[:, self._upper[0], self._upper[1]] = 0.25 * every * total
        full[:, self._upper[1], self._upper[0]] = 0.25 * every * total
        return full

    def sums(self, counts: Counts, rows: FloatArray) -> FloatArray:
        """Sum of w times the rows [n, k], [b, k], in double precision."""
        return Sums(rows, counts.patients).of(counts.table)

    def _tangents(self, d: FloatArray, size: int) -> Iterator[tuple[slice, NDArray[np.float32]]]:
        """Block by block t = tanh(z'(b0 + d) / 2), [m, b], free to be overwritten."""
        half = np.ascontiguousarray(0.5 * (self._start + d).T[::-1], dtype=np.float32)
        held = np.empty((size, d.shape[0]), dtype=np.float32)
        for part in _blocks(self.design.shape[0], size):
            t = held[: part.stop - part.start]
            np.matmul(self._design32[part], half, out=t)
            np.tanh(t, out=t)
            yield part, t


def information(design: FloatArray, held: FloatArray) -> FloatArray:
    """Sum of held z z' over the eyes z of `design` [n, q], [q, q]; held: [n], of one fit."""
    total = np.zeros((design.shape[1], design.shape[1]))
    for part in _blocks(design.shape[0], _MOST_ROWS):
        total += (design[part] * held[part, None]).T @ design[part]
    return total


def _blocks(n: int, size: int) -> Iterator[slice]:
    for first in range(0, n, size):
        yield slice(first, min(first + size, n))
