"""The alarm chart of a practice: eyes in order of surgery, restarts, and what counts as one signal."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import ArrayLike

from models.alarm import cusum
from models.arrays import FloatArray, IntArray, cluster_codes, frozen, outcomes, risks
from models.errors import ModelError

SIGNAL_WORDS = (
    "The chart asks first for a review of the data: grader, definition of cloudy, machine, missing day ones; then of "
    "technique. It is the practice's chart, not one surgeon's."
)


@dataclass(frozen=True, eq=False)
class Watch:
    """The chart, one entry an eye in the order charted.

    order: number of the eye as given; path: height after it; signals: places in this order at which the chart gave a
    signal. After a signal no further one is given until the chart is restarted.
    """

    order: IntArray
    path: FloatArray
    signals: tuple[int, ...]


def watch(
    risk: ArrayLike,
    outcome: ArrayLike,
    *,
    odds_ratio: float,
    limit: float,
    days: Sequence[date],
    patients: ArrayLike,
    restarts: Sequence[date] = (),
) -> Watch:
    """Chart eyes [n] by day of surgery, eyes of one day in the order given (that of the list).

    restarts: days on which a model came into use or a signal had been reviewed; the chart is 0 before the first eye
    operated on such a day or later. Both eyes of a patient on one day are two steps and at most one signal, given at
    the second of them.
    """
    seen = outcomes(outcome)
    n = seen.shape[0]
    chance = risks(risk, n)
    codes = cluster_codes(patients, n)
    if len(days) != n:
        raise ModelError("The alarm chart cannot be drawn.", "An eye has no day of surgery.", "Give every eye its day.")
    if not (np.isfinite(limit) and limit > 0.0):
        raise ModelError("The alarm chart cannot be drawn.", "The limit must be above zero.", "Correct the limit.")
    order = np.asarray(sorted(range(n), key=lambda i: days[i]), dtype=np.int64)
    weights = cusum(chance[order], seen[order], odds_ratio=odds_ratio).weights.tolist()
    pairs = [(days[i], int(codes[i])) for i in order.tolist()]
    last = {pair: place for place, pair in enumerate(pairs)}
    begun = sorted(restarts)
    path = np.zeros(n)
    signals: list[int] = []
    height, segment, open_ = 0.0, 0, True
    for place, (day, _) in enumerate(pairs):
        now = sum(one <= day for one in begun)
        if now != segment:
            height, segment, open_ = 0.0, now, True
        height = max(0.0, height + weights[place])
        path[place] = height
        if open_ and height >= limit:
            signals.append(last[pairs[place]])
            open_ = False
    return Watch(order, frozen(path), tuple(signals))
