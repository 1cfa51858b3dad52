"""Is the forecast right for every kind of eye? Seen beside forecast in groups, and how many eyes are unlike ours.

Levels of calibration: Van Calster B et al. J Clin Epidemiol 2016;74:167 (from memory).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from models.adequacy import wilson
from models.arrays import outcomes, risks, vector
from models.calibration import observed_expected
from models.errors import ModelError
from models.measure import Measure
from models.monitor import FunnelRow, funnel, outside_by_chance


@dataclass(frozen=True)
class SubgroupRow:
    """One group of one field: its row of the funnel (counts, exact limits, shrunken ratio, verdict) and its plain O/E.

    ratio: seen over forecast with exact Poisson limits of the number seen; None where nothing was forecast cloudy.
    The verdict `too_few` (fewer than 5 expected) is shown grey.
    """

    field: str
    counts: FunnelRow
    ratio: Measure | None


@dataclass(frozen=True)
class SubgroupTable:
    """Rows in the order of the fields, fewest expected first within a field.

    looked_at: number of groups; judged: those with a verdict; by_chance: how many of the judged lie outside their
    95 % limits by chance alone, at most.
    """

    rows: tuple[SubgroupRow, ...]
    looked_at: int
    judged: int
    by_chance: float


@dataclass(frozen=True)
class UnlikeOurs:
    """Eyes unlike those the model learnt from: share at the edge (forecast given, marked) and beyond (no forecast).

    Each with its Wilson interval; n: eyes asked about.
    """

    n: int
    edge: Measure
    beyond: Measure


def subgroup_table(risk: ArrayLike, outcome: ArrayLike, fields: Mapping[str, Sequence[str | None]]) -> SubgroupTable:
    """Seen beside forecast in every group of every field {field: group of each eye [n]}; None belongs to no group.

    Each group is judged by its own chances; limits are not widened for differences between groups.
    """
    seen = outcomes(outcome)
    chance = risks(risk, seen.shape[0])
    rows: list[SubgroupRow] = []
    for field, labels in fields.items():
        if len(labels) != seen.shape[0]:
            raise ModelError(
                "The groups do not fit.",
                f"Needed are {seen.shape[0]} groups of {field}, given are {len(labels)}.",
                "Give one group per eye, None where it has none.",
            )
        members: dict[str, list[int]] = {}
        for place, label in enumerate(labels):
            if label is not None:
                members.setdefault(label, []).append(place)
        found = []
        for label, places in members.items():
            p, y = chance[places], seen[places]
            (counts,) = funnel({label: (p, y)})
            found.append(SubgroupRow(field, counts, observed_expected(p, y) if counts.expected > 0.0 else None))
        rows += sorted(found, key=lambda row: (row.counts.expected, row.counts.group))
    judged = sum(row.counts.verdict != "too_few" for row in rows)
    return SubgroupTable(tuple(rows), len(rows), judged, outside_by_chance(judged) if judged else 0.0)


def unlike_ours(edge: ArrayLike, beyond: ArrayLike) -> UnlikeOurs:
    """Shares of eyes at the edge of the training eyes and beyond it, from 0/1 flags [n] each; none may be both."""
    marked = vector(edge, "marks")
    n = marked.shape[0]
    refused = vector(beyond, "marks", n)
    known = np.isin(marked, (0.0, 1.0)).all() and np.isin(refused, (0.0, 1.0)).all()
    if n == 0 or not known or (marked * refused).any():
        raise ModelError(
            "The share of unlike eyes cannot be worked out.",
            "There are no eyes, a mark is neither 0 nor 1, or an eye is at the edge and beyond it.",
            "Give one mark of each kind per eye.",
        )
    return UnlikeOurs(n, _share(float(marked.sum()), n), _share(float(refused.sum()), n))


def _share(count: float, n: int) -> Measure:
    low, high = wilson(count, n)
    return Measure(count / n, None, low, high)
