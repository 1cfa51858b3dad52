"""One row in, log-odds, chance and range out: a formula laid out flat, so that a forecast follows each key."""

from __future__ import annotations

import math
from dataclasses import dataclass
from operator import mul, sub

import numpy as np
from numpy.typing import ArrayLike

from models.arrays import BoolArray, FloatArray, IntArray, matrix
from models.batch import Scores, distances, score
from models.columns import Row, column_readers, energy_readings
from models.formula import Formula, curve_at, expit
from models.measure import Z95
from models.patterns import Open, Pattern, Patterns, fill


@dataclass(slots=True, eq=False)
class Numbers:
    """One eye worked out.

    values: [q] base columns as read, NaN where the row leaves them open. one: (1, columns - centre) [p + 1] with the
    blanks filled by their conditional means, the curve last; parts: [p + 1] what each adds to the log-odds eta. bend:
    what the curve adds to the slope of the depth at this eye. distance: mean squared distance from the middle of the
    training eyes. Arrays are made when asked for.
    """

    values: list[float]
    one: list[float]
    parts: list[float]
    pattern: Pattern
    bend: float
    eta: float
    sampling_variance: float
    missing_variance: float
    risk: float
    low: float
    high: float
    distance: float
    formula: Formula

    @property
    def columns(self) -> FloatArray:
        """Base columns [q] as read, NaN where open."""
        return np.array(self.values)

    @property
    def blank(self) -> BoolArray:
        """[q] which base columns the row leaves open."""
        return self.pattern.blank

    @property
    def open(self) -> IntArray:
        """[m] numbers of the open columns."""
        return np.asarray(self.pattern.open, dtype=np.int64)

    @property
    def away(self) -> FloatArray:
        """[p] column - centre, blanks filled."""
        return np.array(self.one[1:])

    @property
    def left(self) -> FloatArray:
        """[m, m] conditional covariance of the open columns, in the order of `open`."""
        return self.pattern.left

    @property
    def slope(self) -> FloatArray:
        """[q] slope of the log-odds in each base column at this eye."""
        slope = self.formula.coefficients[: len(self.values)].copy()
        if self.formula.spec.depth is not None:
            slope[self.formula.spec.depth] += self.bend
        return slope

    @property
    def shares(self) -> FloatArray:
        """[q] what each recorded column adds to `distance`, before dividing by their number."""
        deviations = np.where(self.pattern.blank, 0.0, self.columns - self.formula.mean)
        whiten = self.pattern.whiten
        return np.asarray(deviations * (whiten.T @ (whiten @ deviations)))


class Working:
    """A formula with its patterns of blanks; one eye takes some hundredths of a millisecond."""

    def __init__(self, formula: Formula) -> None:
        self.formula = formula
        self.patterns = Patterns(formula)
        self._readers = column_readers(formula.spec)
        self._energy = formula.spec.energy
        self._scale = formula.energy
        self._q = len(formula.spec.base)
        self._centre = tuple(formula.centre[: self._q].tolist())
        self._mean = tuple(formula.mean.tolist())
        self._line = (formula.intercept, *formula.coefficients.tolist())
        self._p1 = len(self._line)
        self._form_variance = formula.form_sd**2
        self._knots, self._depth = formula.knots, formula.spec.depth
        self._curve_centre = float(formula.centre[-1])
        # times the curve's steepness at an eye this is `Numbers.bend`
        self._bend = float(formula.coefficients[-1]) / formula.curve_sd

    def read(self, row: Row) -> list[float]:
        """Base columns [q] of a row, NaN where it leaves them open; ModelError for what is no answer of its field."""
        values = [read(row) for read in self._readers]
        if self._energy is not None and self._scale is not None:
            values[self._energy] = self.formula.spec.terms[self._energy].unit * self._scale.score(energy_readings(row))
        return values

    def columns(self, row: Row) -> FloatArray:
        """`read` as an array [q]."""
        return np.array(self.read(row))

    def work(self, columns: ArrayLike) -> Numbers:
        """`eye` of base columns [q] given as an array; ModelError for another length or an infinite number."""
        table = matrix(np.asarray(columns, dtype=np.float64)[None], "columns", columns=self._q, blanks=True)
        return self.eye(table[0].tolist())

    def eye(self, values: list[float]) -> Numbers:
        """Fill the blanks by their conditional means and work out chance and range."""
        open_: Open = tuple([j for j, blank in enumerate(map(math.isnan, values)) if blank])
        pattern = self.patterns[open_]
        one = [1.0, *map(sub, values, self._centre)]
        if open_:
            fill(pattern, one, list(map(sub, values, self._mean)))
        bend = 0.0
        if self._knots is not None and self._depth is not None:
            d = self._depth
            value, steepness = curve_at(one[d + 1] + self._centre[d], self._knots)
            one.append(value / self.formula.curve_sd - self._curve_centre)
            bend = steepness * self._bend
        parts = list(map(mul, self._line, one))
        eta = sum(parts)
        spread = pattern.stack.dot(np.array(one))
        root, white = spread[: self._p1], spread[self._p1 :]
        sampling = float(root.dot(root))
        missing = pattern.straight_variance if pattern.bent is None else pattern.missing_variance(bend)
        half = Z95 * math.sqrt(sampling + missing + self._form_variance)
        return Numbers(
            values, one, parts, pattern, bend, eta, sampling, missing,
            expit(eta / math.sqrt(1.0 + math.pi * missing / 8.0)), expit(eta - half), expit(eta + half),
            float(white.dot(white)) / max(1, pattern.held), self.formula,
        )  # fmt: skip

    def gain(self, numbers: Numbers, wanted: Open) -> float:
        """What recording the base columns `wanted` would take off the variance of this eye's log-odds.

        c_J' C_JJ^-1 c_J with c = C b over the blanks; between 0 and the variance that the blanks leave.
        """
        return numbers.pattern.gain(wanted, numbers.bend)

    def scores(self, columns: ArrayLike, *, ranges: bool = False) -> Scores:
        """Chances of many eyes given as base columns [n, q], NaN for a blank; with `ranges` their ranges too.

        The numbers only: an eye that a forecast would refuse gets one here. ModelError for another shape or an
        infinite number.
        """
        return score(self.formula, self.patterns, columns, ranges=ranges)

    def distances(self, columns: ArrayLike) -> FloatArray:
        """`Numbers.distance` of many eyes given as base columns [n, q], NaN for a blank: [n]."""
        return distances(self.formula, self.patterns, columns)
