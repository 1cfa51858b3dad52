"""Many eyes at once: their chances, ranges and distances from a table of base columns, in blocks of bounded memory."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from models.arrays import FloatArray, IntArray, matrix
from models.errors import ModelError
from models.formula import Formula
from models.measure import Z95
from models.patterns import Pattern, Patterns

BLOCK = 8192
"""Eyes worked out at a time."""


@dataclass(frozen=True, slots=True, eq=False)
class Scores:
    """risk: [n] chances, averaged over the blanks; low, high: [n] 95 % range, None where it was not asked for."""

    risk: FloatArray
    low: FloatArray | None
    high: FloatArray | None


def score(formula: Formula, patterns: Patterns, columns: ArrayLike, *, ranges: bool) -> Scores:
    """Chances of eyes given as base columns [n, q], NaN for a blank; with `ranges` their 95 % ranges too.

    Nothing but the numbers: no eye is refused here. ModelError for another shape or an infinite number.
    """
    table = _table(columns, formula)
    risk = np.empty(table.shape[0])
    low, high = (np.empty(table.shape[0]), np.empty(table.shape[0])) if ranges else (None, None)
    with np.errstate(over="ignore"):
        unsure = np.arange(table.shape[0]) if ranges else _complete(formula, table, risk)
        for pattern, rows in _by_pattern(patterns, table, unsure):
            away = _away(formula, pattern, table[rows])
            eta = formula.intercept + away @ formula.coefficients
            variance = _missing_variance(formula, pattern, away)
            risk[rows] = _chance(eta / np.sqrt(1.0 + math.pi / 8.0 * variance))
            if low is not None and high is not None:
                root = away @ patterns.root[1:] + patterns.root[0]
                half = Z95 * np.sqrt(np.einsum("ij,ij->i", root, root) + variance + formula.form_sd**2)
                low[rows], high[rows] = _chance(eta - half), _chance(eta + half)
    return Scores(risk, low, high)


def distances(formula: Formula, patterns: Patterns, columns: ArrayLike) -> FloatArray:
    """Mean squared distance of eyes [n, q] from the middle of the training eyes, over what each records, [n]."""
    table = _table(columns, formula)
    found = np.empty(table.shape[0])
    for pattern, rows in _by_pattern(patterns, table, np.arange(table.shape[0])):
        deviations = table[rows] - formula.mean
        deviations[:, pattern.blank] = 0.0
        white = deviations @ pattern.whiten.T
        found[rows] = np.einsum("ij,ij->i", white, white) / max(1, pattern.held)
    return found


def _table(columns: ArrayLike, formula: Formula) -> FloatArray:
    table = np.asarray(columns)
    width = len(formula.spec.base)
    if table.dtype != np.float64 or table.ndim != 2 or table.shape[1] != width:
        table = matrix(columns, "columns", columns=width, blanks=True)
    return table


def _complete(formula: Formula, table: FloatArray, risk: FloatArray) -> IntArray:
    """Chances of the rows without blanks, put into `risk`; the numbers of the rows that are left.

    A blank makes the log-odds NaN, so the table is read once. Where its coefficient is 0 the log-odds stay a number,
    rightly: such a blank changes nothing.
    """
    q = table.shape[1]
    slope, depth, knots = formula.coefficients[:q], formula.spec.depth, formula.knots
    start = formula.intercept - float(formula.coefficients @ formula.centre)
    unsure = []
    for first in range(0, table.shape[0], BLOCK):
        block = table[first : first + BLOCK]
        eta = block @ slope
        if knots is not None and depth is not None:
            eta += _cut(block[:, depth], knots, 3) * (formula.coefficients[-1] / formula.curve_sd)
        eta += start
        rows = np.flatnonzero(~np.isfinite(eta))
        if rows.size:
            unsure.append(rows + first)
        np.negative(eta, out=eta)
        np.exp(eta, out=eta)
        eta += 1.0
        np.divide(1.0, eta, out=risk[first : first + block.shape[0]])
    return np.concatenate(unsure) if unsure else np.empty(0, dtype=np.int64)


def _by_pattern(patterns: Patterns, table: FloatArray, rows: IntArray) -> Iterator[tuple[Pattern, IntArray]]:
    """The rows, at most a block at a time, each block with the pattern of blanks that its eyes share."""
    if not rows.size:
        return
    width = table.shape[1]
    packed = np.zeros((rows.shape[0], 8 * -(-width // 64)), dtype=np.uint8)
    for first in range(0, rows.shape[0], BLOCK):
        block = table[rows[first : first + BLOCK]]
        if np.isinf(block).any():
            raise ModelError(
                "The columns cannot be used.", "They hold an infinite number.", "Correct it or leave it blank (NaN)."
            )
        packed[first : first + block.shape[0], : -(-width // 8)] = np.packbits(np.isnan(block), axis=1)
    words = packed.view(np.uint64)
    order = np.lexsort(words.T)
    ordered = words[order]
    bounds = np.flatnonzero((ordered[1:] != ordered[:-1]).any(axis=1)) + 1
    for group in np.split(order, bounds):
        blank = np.unpackbits(packed[group[0]], count=width)
        pattern = patterns[tuple(np.flatnonzero(blank).tolist())]
        for first in range(0, group.shape[0], BLOCK):
            yield pattern, rows[group[first : first + BLOCK]]


def _away(formula: Formula, pattern: Pattern, block: FloatArray) -> FloatArray:
    """Columns - centre [b, p] of eyes of one pattern, their blanks filled, the curve last."""
    q = block.shape[1]
    away = np.empty((block.shape[0], formula.centre.shape[0]))
    np.subtract(block, formula.centre[:q], out=away[:, :q])
    if pattern.open:
        deviations = block - formula.mean
        deviations[:, pattern.blank] = 0.0
        away[:, :q][:, pattern.blank] = pattern.starts + deviations @ pattern.carry.T
    depth, knots = formula.spec.depth, formula.knots
    if knots is not None and depth is not None:
        value = _cut(away[:, depth] + formula.centre[depth], knots, 3)
        away[:, q] = value / formula.curve_sd - formula.centre[q]
    return away


def _missing_variance(formula: Formula, pattern: Pattern, away: FloatArray) -> FloatArray | float:
    """v_m of eyes of one pattern: one number, or one an eye where the depth is open and curved.

    bend, as in `patterns`: what the curve adds to the slope of the depth.
    """
    d, depth, knots = pattern.bent, formula.spec.depth, formula.knots
    if d is None or depth is None or knots is None:
        return pattern.straight_variance
    steepness = 3.0 * _cut(away[:, depth] + formula.centre[depth], knots, 2)
    bend = steepness * (formula.coefficients[-1] / formula.curve_sd)
    added = bend * (2.0 * pattern.pull[d] + bend * pattern.left[d, d])
    return np.asarray(np.maximum(pattern.straight_variance + added, 0.0))


def _cut(x: FloatArray, knots: tuple[float, float, float], power: int) -> FloatArray:
    """What `curve_at` gives for one, for many: with power 3 the value of the curve, with 2 a third of its slope."""
    first, middle, last = knots
    weights = (1.0, -(last - first) / (last - middle), (middle - first) / (last - middle))
    found = np.zeros(x.shape[0])
    for knot, weight in zip(knots, weights, strict=True):
        beyond = x - knot
        np.maximum(beyond, 0.0, out=beyond)
        part = beyond * beyond
        if power == 3:
            part *= beyond
        part *= weight / (last - first) ** 2
        found += part
    return found


def _chance(eta: FloatArray) -> FloatArray:
    return np.asarray(1.0 / (1.0 + np.exp(-eta)))
