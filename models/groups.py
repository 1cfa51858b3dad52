"""The groups that refits are worked off in, on threads of our own."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import TypeVar

import numpy as np
from joblib import Parallel, delayed
from threadpoolctl import threadpool_limits

from models.arrays import FloatArray
from models.passes import REPLICATES
from models.progress import Report

Answer = TypeVar("Answer")


@dataclass(slots=True)
class Work:
    """What refits cost: refits done, passes over the eyes by kind (per group), and how many needed a later tier."""

    refits: int = 0
    passes: int = 0
    exact_passes: int = 0
    informations: int = 0
    by_newton: int = 0
    alone: int = 0

    def add(self, other: Work) -> None:
        """Count another group's work; passes are the most that a group needed."""
        self.refits += other.refits
        self.passes = max(self.passes, other.passes)
        self.exact_passes = max(self.exact_passes, other.exact_passes)
        self.informations = max(self.informations, other.informations)
        self.by_newton += other.by_newton
        self.alone += other.alone


def groups(replicates: int, size: int = REPLICATES) -> list[slice]:
    """The groups that refits are worked off in; the same for any number of threads."""
    return [slice(low, min(low + size, replicates)) for low in range(0, replicates, size)]


def in_groups(
    work: Callable[[slice], Answer], replicates: int, report: Report, threads: int | None
) -> Iterator[tuple[slice, Answer]]:
    """Do `work` for each group on threads of our own and hand the answers on in order; `report` between waves."""
    workers = threads or os.cpu_count() or 1
    parts = groups(replicates)
    # Threads of our own instead of the linear algebra's: its sums then have one fixed order.
    report(0.0, f"{replicates} refits to do.")
    with threadpool_limits(limits=1), Parallel(n_jobs=workers, prefer="threads") as parallel:
        for first in range(0, len(parts), workers):
            wave = parts[first : first + workers]
            yield from zip(wave, parallel(delayed(work)(part) for part in wave), strict=True)
            report(min(first + workers, len(parts)) / len(parts), f"{wave[-1].stop} of {replicates} refits done.")


def gathered(
    work: Callable[[slice], tuple[FloatArray, Work]], replicates: int, width: int, report: Report, threads: int | None
) -> tuple[FloatArray, Work]:
    """Coefficients [B, width] of all groups and what they cost."""
    found, cost = np.empty((replicates, width)), Work()
    for part, (answer, spent) in in_groups(work, replicates, report, threads):
        found[part] = answer
        cost.add(spent)
    return found, cost
