"""The numbers of a card, checked: what a forecast is worked out from. numpy only, no patient inside."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from models.arrays import FloatArray, frozen
from models.energy import EnergyScale
from models.errors import ModelError
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
        if not _least_share(self.field_covariance) > 1e-14:
            raise _refusal("The covariance of its fields is not positive.")
        if not _least_share(self.covariance) > -1e-9:
            raise _refusal("Its covariance has a combination of terms with a negative variance.")
        single = (self.intercept, self.form_sd, self.curve_sd, self.edge, self.beyond, *(self.knots or ()))
        if not all(math.isfinite(value) for value in single) or self.curve_sd <= 0.0 or self.form_sd < 0.0:
            raise _refusal("A number of its formula is not possible.")
        if self.spec.curved != (self.knots is not None):
            raise _refusal("Its curve and its knots do not belong together.")
        if self.knots is not None and not self.knots[0] < self.knots[1] < self.knots[2]:
            raise _refusal("Its knots are not in order.")
        if (self.energy is None) != (self.spec.energy is None):
            raise _refusal("Its energy term and its yardsticks do not belong together.")


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


def _least_share(covariance: FloatArray) -> float:
    """The least variance of a combination of the columns that vary, each taken in its own SD; 1 where none varies.

    Minus infinity where a column without variance is said to go with another.
    """
    varies = np.diag(covariance) > 0.0
    if covariance[~varies].any():
        return -math.inf
    held = covariance[varies][:, varies]
    unit = 1.0 / np.sqrt(np.diag(held))
    return 1.0 if held.shape[0] == 0 else float(np.linalg.eigvalsh(held * np.outer(unit, unit))[0])


def _refusal(why: str) -> ModelError:
    return ModelError("The card cannot be used.", why, "Fetch the card again, or train a new model.")
