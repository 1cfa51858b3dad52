"""A figure with its standard error and its 95 % limits ("19 times in 20")."""

from __future__ import annotations

from dataclasses import dataclass

TENTH = 1.2815515655446004
"""90 % point of the standard normal distribution: a result at the 10th or 90th percentile of what is expected."""
Z95 = 1.959963984540054
"""97.5 % point of the standard normal distribution."""

Z998 = 3.090232306167813
"""99.9 % point of the standard normal distribution, for limits that 998 in 1000 stay within."""


@dataclass(frozen=True)
class Measure:
    """A figure; `se`, `low` and `high` are None where no honest interval exists."""

    value: float
    se: float | None
    low: float | None
    high: float | None

    @classmethod
    def symmetric(cls, value: float, se: float) -> Measure:
        """The figure with value -/+ 1.96 standard errors."""
        return cls(value, se, value - Z95 * se, value + Z95 * se)

    def as_dict(self) -> dict[str, float | None]:
        """The JSON form: value, low, high (and se)."""
        return {"value": self.value, "se": self.se, "low": self.low, "high": self.high}
