"""Energy readings made comparable: standardised within machine, metric and tip motion, never across them."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from models.arrays import FloatArray
from models.columns import BLANK, Group

FEWEST = 30
"""Eyes that a group needs before it has a yardstick; own choice, no published source."""

Readings = Sequence[tuple[Group, float]]


@dataclass(frozen=True, slots=True)
class Yardstick:
    """Median and spread (interquartile range / 1.349) of ln(1 + reading) in one group of `n` training eyes."""

    n: int
    median: float
    spread: float


@dataclass(frozen=True, slots=True)
class EnergyScale:
    """Yardsticks of the groups that have one, and every machine that the training eyes saw."""

    yardsticks: Mapping[Group, Yardstick]
    machines: tuple[str, ...]

    def score(self, readings: Readings) -> float:
        """(ln(1 + reading) - median) / spread by the first reading whose group has a yardstick; NaN without one."""
        for group, value in readings:
            yardstick = self.yardsticks.get(group)
            if yardstick is not None:
                return (value - yardstick.median) / yardstick.spread
        return BLANK


def learn_energy(rows: Sequence[Readings], machines: Sequence[str]) -> EnergyScale:
    """Learn the yardsticks from training eyes; a group of fewer than 30 eyes, or without spread, gets none."""
    found: dict[Group, list[float]] = defaultdict(list)
    for readings in rows:
        for group, value in readings:
            found[group].append(value)
    yardsticks = {}
    for group in sorted(found):
        stick = yardstick(np.asarray(found[group]))
        if stick is not None:
            yardsticks[group] = stick
    return EnergyScale(yardsticks, tuple(sorted(set(machines))))


def yardstick(values: FloatArray) -> Yardstick | None:
    """Median and spread of one group, or None when it is too small or has no spread."""
    if values.shape[0] < FEWEST:
        return None
    low, median, high = np.quantile(values, (0.25, 0.5, 0.75))
    spread = float(high - low) / 1.349
    return Yardstick(int(values.shape[0]), float(median), spread) if spread > 0.0 else None
