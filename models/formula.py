"""The numbers of a card, ready to work: one row in, log-odds, chance and range out. numpy only, no patient inside."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from models.arrays import BoolArray, FloatArray, IntArray, frozen
from models.columns import Row, column_readers, energy_readings
from models.energy import EnergyScale
from models.errors import ModelError
from models.measure import Z95
from models.spec import Spec


@dataclass(frozen=True, eq=False)
class Formula:
    """What a forecast is worked out from.

    centre, coefficients: [p], terms in the order of the spec, the curve (if any) last; log-odds = intercept +
    sum coefficient * (column - centre). covariance: [p + 1, p + 1] for the range, intercept first. form_sd: allowance
    on the log-odds for the form of the model. mean, field_covariance: [q], [q, q] joint normal of the base columns.
    knots, curve_sd: of the depth's curve. lowest, highest: [q] of the training eyes; edge, beyond: 99 % and 99.9 %
    points of their distance from the middle.
    """

    spec: Spec
    intercept: float
    centre: FloatArray
    coefficients: FloatArray
    covariance: FloatArray
    form_sd: float
    mean: FloatArray
    field_covariance: FloatArray
    knots: tuple[float, float, float] | None
    curve_sd: float
    energy: EnergyScale | None
    lowest: FloatArray
    highest: FloatArray
    edge: float
    beyond: float

    def __post_init__(self) -> None:
        p, q = len(self.spec.terms), len(self.spec.base)
        shapes = {
            "centre": (p,), "coefficients": (p,), "covariance": (p + 1, p + 1), "mean": (q,),
            "field_covariance": (q, q), "lowest": (q,), "highest": (q,),
        }  # fmt: skip
        for name, shape in shapes.items():
            array = np.asarray(getattr(self, name), dtype=np.float64)
            if array.shape != shape:
                raise _refusal(f"Its {name} has the shape {array.shape} where {shape} is needed.")
            if not np.isfinite(array).all():
                raise _refusal(f"Its {name} holds something that is not a finite number.")
            object.__setattr__(self, name, frozen(array))
        for name in ("covariance", "field_covariance"):
            matrix = getattr(self, name)
            if not np.array_equal(matrix, matrix.T):
                raise _refusal(f"Its {name} is not symmetric.")
            if (np.diag(matrix) < 0.0).any():
                raise _refusal(f"Its {name} has a negative variance.")
        if not _positive(self.field_covariance):
            raise _refusal("The covariance of its fields is not positive.")
        single = (self.intercept, self.form_sd, self.curve_sd, self.edge, self.beyond, *(self.knots or ()))
        if not all(math.isfinite(value) for value in single) or self.curve_sd <= 0.0 or self.form_sd < 0.0:
            raise _refusal("A number of its formula is not possible.")
        if self.spec.curved != (self.knots is not None):
            raise _refusal("Its curve and its knots do not belong together.")
        if self.knots is not None and not self.knots[0] < self.knots[1] < self.knots[2]:
            raise _refusal("Its knots are not in order.")
        if (self.energy is None) != (self.spec.energy is None):
            raise _refusal("Its energy term and its yardsticks do not belong together.")


@dataclass(frozen=True, slots=True, eq=False)
class Numbers:
    """One eye worked out. blank: [q] which base columns the row leaves open; away: [p] column - centre, blanks filled.

    left: conditional covariance of the blanks [m, m], in the order of `open`; slope: [q] of the log-odds in each base
    column at this eye. distance: mean squared distance from the middle of the training eyes; shares: [q] what each
    recorded column adds to it.
    """

    columns: FloatArray
    blank: BoolArray
    open: IntArray
    away: FloatArray
    eta: float
    sampling_variance: float
    missing_variance: float
    risk: float
    low: float
    high: float
    left: FloatArray
    slope: FloatArray
    distance: float
    shares: FloatArray


class Working:
    """A formula compiled once into flat arrays, so that one eye takes a fraction of a millisecond."""

    def __init__(self, formula: Formula) -> None:
        self.formula = formula
        self._readers = column_readers(formula.spec)
        variance = np.diag(formula.field_covariance)
        self._varies = variance > 0.0
        self._sd = np.sqrt(np.where(self._varies, variance, 1.0))
        self._correlation = formula.field_covariance / np.outer(self._sd, self._sd)
        self._depth = formula.spec.depth
        self._energy = formula.spec.energy
        self._q = len(formula.spec.base)
        self._base_coefficients = formula.coefficients[: self._q]

    def columns(self, row: Row) -> FloatArray:
        """Base columns [q] of a row, NaN where it leaves them open."""
        columns = np.array([read(row) for read in self._readers])
        energy = self.formula.energy
        if self._energy is not None and energy is not None:
            columns[self._energy] = self.formula.spec.terms[self._energy].unit * energy.score(energy_readings(row))
        return columns

    def work(self, columns: FloatArray) -> Numbers:
        """Fill the blanks by their conditional means and work out chance and range."""
        formula = self.formula
        blank = np.isnan(columns)
        held = np.flatnonzero(~blank & self._varies)
        open_ = np.flatnonzero(blank)
        standard = (columns[held] - formula.mean[held]) / self._sd[held]
        right = np.column_stack([standard, self._correlation[held][:, open_]])
        solved = np.linalg.solve(self._correlation[held][:, held], right)
        filled = columns.copy()
        link = self._correlation[open_][:, held]
        scale = self._sd[open_]
        filled[open_] = formula.mean[open_] + scale * (link @ solved[:, 0])
        left = (self._correlation[open_][:, open_] - link @ solved[:, 1:]) * np.outer(scale, scale)
        slope = self._base_coefficients
        whole = filled
        if formula.knots is not None and self._depth is not None:
            value, steepness = curve_at(float(filled[self._depth]), formula.knots)
            whole = np.append(filled, value / formula.curve_sd)
            slope = slope.copy()
            slope[self._depth] += formula.coefficients[-1] * steepness / formula.curve_sd
        away = whole - formula.centre
        eta = formula.intercept + float(formula.coefficients @ away)
        bent = slope[open_]
        missing = max(0.0, float(bent @ left @ bent))
        one = np.concatenate([[1.0], away])
        sampling = float(one @ formula.covariance @ one)
        half = Z95 * math.sqrt(sampling + missing + formula.form_sd**2)
        shares = np.zeros(self._q)
        shares[held] = standard * solved[:, 0]
        return Numbers(
            columns, blank, open_, away, eta, sampling, missing,
            expit(eta / math.sqrt(1.0 + math.pi * missing / 8.0)), expit(eta - half), expit(eta + half),
            left, slope, float(shares.sum()) / max(1, held.shape[0]), shares,
        )  # fmt: skip

    def gain(self, numbers: Numbers, wanted: tuple[int, ...]) -> float:
        """What recording the base columns `wanted` would take off the variance of this eye's log-odds.

        c_J' C_JJ^-1 c_J with c = C b over the blanks; between 0 and the variance that the blanks leave.
        """
        places = [k for k, j in enumerate(numbers.open.tolist()) if j in wanted]
        if not places:
            return 0.0
        c = (numbers.left @ numbers.slope[numbers.open])[places]
        held = numbers.left[places][:, places]
        if len(places) == 1:
            found = float(c[0] ** 2 / held[0, 0]) if held[0, 0] > 0.0 else 0.0
        else:
            found = float(c @ np.linalg.lstsq(held, c, rcond=1e-12)[0])
        return min(max(0.0, found), numbers.missing_variance)


def expit(x: float) -> float:
    """1 / (1 + e^-x) without overflow."""
    if x >= 0.0:
        return 1.0 / (1.0 + math.exp(-x))
    e = math.exp(x)
    return e / (1.0 + e)


def curve_at(x: float, knots: tuple[float, float, float]) -> tuple[float, float]:
    """Value and slope at x of the curved term of a 3-knot restricted cubic spline (Harrell's form)."""
    first, middle, last = knots
    a, b, c = max(x - first, 0.0), max(x - middle, 0.0), max(x - last, 0.0)
    one, two = (last - first) / (last - middle), (middle - first) / (last - middle)
    scale = (last - first) ** 2
    value = (a**3 - b**3 * one + c**3 * two) / scale
    return value, 3.0 * (a**2 - b**2 * one + c**2 * two) / scale


def _positive(covariance: FloatArray) -> bool:
    """Whether every combination of the fields that vary has a variance above zero."""
    varies = np.diag(covariance) > 0.0
    held = covariance[varies][:, varies]
    unit = 1.0 / np.sqrt(np.diag(held))
    return held.shape[0] == 0 or float(np.linalg.eigvalsh(held * np.outer(unit, unit))[0]) > 1e-14


def _refusal(why: str) -> ModelError:
    return ModelError("The card cannot be used.", why, "Fetch the card again, or train a new model.")
