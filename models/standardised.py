"""Columns brought to mean 0 and SD 1 for the work of a fit, and everything about the fit carried back.

With z = (x - c) / s, c and s the weighted mean and SD:  intercept + b'x = a + g'z,  g = s b,  a = intercept + b'c.
A column far from zero (a year, a pressure in pascals) keeps its digits this way, and no unit is better than another.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.arrays import FloatArray
from models.errors import ModelError

_CONSTANT = 1e-12
"""Spread of a column, of its mean, up to which it is rounding noise about one value."""

_ROUNDING = 8.0 * float(np.finfo(np.float64).eps)


@dataclass(frozen=True, eq=False)
class Standardised:
    """centre, scale: [p]; design: [n, p + 1], a 1 and z; a column that does not vary is 0 there, with scale 1."""

    centre: FloatArray
    scale: FloatArray
    design: FloatArray

    @classmethod
    def of(cls, X: FloatArray, weight: FloatArray) -> Standardised:
        """From columns X [n, p] and weights [n], not all 0; ModelError for numbers too large to be squared."""
        n, p = X.shape
        total = weight.sum()
        design = np.empty((n, p + 1))
        design[:, 0] = 1.0
        columns = design[:, 1:]
        with np.errstate(over="ignore", invalid="ignore"):
            centre = weight @ X / total
            np.subtract(X, centre, out=columns)
            # A long sum is off by its last digits, and a constant column by as much from its centre: no spread.
            off = weight @ columns / total
            spread = np.sqrt(np.maximum(weight @ (columns * columns) / total - off * off, 0.0))
        if not np.isfinite(spread).all():
            raise ModelError(
                "The columns cannot be used.", "A number in them is too large to be squared.", "Use a larger unit."
            )
        varies = spread > _CONSTANT * np.abs(centre)
        scale = np.where(varies, spread, 1.0)
        columns *= np.where(varies, 1.0 / scale, 0.0)
        return cls(centre, scale, design)

    def worked(self, b: FloatArray) -> FloatArray:
        """Coefficients [p + 1] of X in the units of the work."""
        return np.concatenate([[b[0] + self.centre @ b[1:]], b[1:] * self.scale])

    def given(self, g: FloatArray) -> FloatArray:
        """Coefficients [p + 1] in the units of X."""
        slopes = g[1:] / self.scale
        return np.concatenate([[g[0] - self.centre @ slopes], slopes])

    def mean(self, mean: FloatArray) -> FloatArray:
        """Prior means [p] of X's coefficients in the units of the work, [p + 1]; the intercept has none and gets 0."""
        return np.concatenate([[0.0], mean * self.scale])

    def precision(self, precision: FloatArray) -> FloatArray:
        """Prior precision [p, p] of X's coefficients in the units of the work, [p + 1, p + 1], 0 for the intercept."""
        full = np.zeros((self.scale.shape[0] + 1, self.scale.shape[0] + 1))
        full[1:, 1:] = precision / np.outer(self.scale, self.scale)
        return full

    def covariance(self, covariance: FloatArray) -> FloatArray:
        """Covariance [p + 1, p + 1] of intercept and coefficients in the units of X."""
        carry = np.diag(np.concatenate([[1.0], 1.0 / self.scale]))
        carry[0, 1:] = -self.centre / self.scale
        carried = carry @ covariance @ carry.T
        return np.asarray((carried + carried.T) / 2.0)

    def gradient(self, gradient: FloatArray) -> FloatArray:
        """Gradient [p + 1] in intercept and coefficients of X."""
        return np.concatenate([gradient[:1], gradient[1:] * self.scale + gradient[0] * self.centre])

    def limits(self, certificate: float) -> FloatArray:
        """`certificate` for each entry of `gradient` [p + 1]; more where rounding alone leaves more.

        That begins with columns some million from zero or wide: the sum over the eyes is then not known any better.
        """
        rounding = _ROUNDING * (np.abs(self.centre) + self.scale)
        return np.concatenate([[certificate], np.maximum(certificate, rounding)])
