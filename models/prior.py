"""What is believed about the coefficients before the practice's own eyes are looked at: a Gaussian prior."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from models.arrays import FloatArray, frozen, matrix, vector
from models.errors import ModelError


@dataclass(frozen=True, eq=False)
class Prior:
    """Gaussian prior of the coefficients; the intercept is never penalised.

    mean: [p], log-odds per unit of each column.
    precision: [p, p], symmetric and positive semi-definite; a zero row leaves that coefficient free.
    sd, strength: kept when the prior was made by `published`, so that its widths can be changed later.
    """

    mean: FloatArray
    precision: FloatArray
    sd: FloatArray | None = None
    strength: float | None = None

    def __post_init__(self) -> None:
        mean = vector(self.mean, "prior means")
        precision = matrix(self.precision, "prior precisions", columns=mean.shape[0])
        if precision.shape[0] != mean.shape[0]:
            raise _refusal("Its precision is not square.")
        scale = float(np.abs(precision).max(initial=0.0))
        if not np.allclose(precision, precision.T, rtol=0.0, atol=1e-10 * scale):
            raise _refusal("Its precision is not symmetric.")
        precision = (precision + precision.T) / 2.0
        if _smallest_eigenvalue(precision) < -1e-10:
            raise _refusal("Its precision is not positive.")
        object.__setattr__(self, "mean", frozen(mean))
        object.__setattr__(self, "precision", frozen(precision))
        if self.sd is not None:
            object.__setattr__(self, "sd", frozen(self.sd))

    @classmethod
    def ridge(cls, penalty: float, p: int) -> Prior:
        """Mean 0 and precision `penalty` for each of `p` coefficients; the same as scikit-learn's C = 1 / penalty."""
        if not (np.isfinite(penalty) and penalty >= 0.0):
            raise _refusal("The penalty must be zero or more.")
        if p < 0:
            raise _refusal("The number of columns is negative.")
        return cls(np.zeros(p), penalty * np.eye(p))

    @classmethod
    def published(cls, mean: ArrayLike, sd: ArrayLike, strength: float = 0.5) -> Prior:
        """Centres [p] and widths [p] from published odds ratios, with one overall strength.

        Covariance = diag(sd^2) + strength^2 * mean mean': the published effects may all together be stronger or
        weaker by a factor of about 1 -/+ strength. The form and the default strength are common practice of this
        project's simulations, no published source.
        """
        centre = vector(mean, "prior means")
        width = vector(sd, "prior widths", centre.shape[0])
        if (width <= 0.0).any():
            raise _refusal("A width is not above zero.")
        if not (np.isfinite(strength) and strength >= 0.0):
            raise _refusal("The strength must be zero or more.")
        # Sherman-Morrison: the inverse of a diagonal plus one outer product, exact and symmetric.
        # pull: the means, each times its own precision
        pull = centre / width**2
        outer = np.outer(pull, pull) * (strength**2 / (1.0 + strength**2 * float(pull @ centre)))
        return cls(centre, np.diag(width**-2.0) - outer, width, float(strength))

    @property
    def p(self) -> int:
        """Number of coefficients."""
        return int(self.mean.shape[0])

    @property
    def proper(self) -> bool:
        """True when every combination of coefficients is held, so that a best fit always exists."""
        return _smallest_eigenvalue(self.precision) > 1e-12

    def widened(self, factor: float = 2.0) -> Prior:
        """The same centres with every width times `factor`.

        For a published prior the strength term stays as it is; any other prior has its whole covariance widened.
        """
        if not (np.isfinite(factor) and factor > 0.0):
            raise _refusal("The factor must be above zero.")
        if self.sd is not None and self.strength is not None:
            return Prior.published(self.mean, self.sd * factor, self.strength)
        return Prior(self.mean, self.precision / factor**2)


def _smallest_eigenvalue(precision: FloatArray) -> float:
    """Smallest eigenvalue once every column is brought to its own unit of precision; free of units."""
    if precision.shape[0] == 0:
        return 1.0
    diagonal = np.diag(precision)
    if (diagonal < 0.0).any():
        return float(diagonal.min())
    unit = 1.0 / np.sqrt(np.where(diagonal > 0.0, diagonal, 1.0))
    return float(np.linalg.eigvalsh(precision * np.outer(unit, unit))[0])


def _refusal(why: str) -> ModelError:
    return ModelError("The prior cannot be used.", why, "Correct the prior table.")
