"""What the blanks of an eye do to its forecast, worked out once for each pattern of blanks and then kept."""

from __future__ import annotations

from dataclasses import dataclass, field
from operator import mul

import numpy as np

from models.arrays import BoolArray, FloatArray
from models.formula import Formula, curve_at

MOST_KEPT = 512
"""Patterns of blanks that are kept; a practice has some dozens."""

Open = tuple[int, ...]
"""Numbers of the base columns that an eye leaves open, rising."""


@dataclass(frozen=True, slots=True, eq=False)
class Pattern:
    """One pattern of blanks. Deviations are from the mean of the fields [q], 0 where a column is open.

    carry: [m, q] from the deviations to the open columns; starts: [m] what an open column is away from its centre
    when every deviation is 0; fills: (place among the terms, start, carry) of each open column, for one eye at a time.
    left: [m, m] conditional covariance of the open columns. whiten: [h, q], the squared length of whiten @ deviations
    is the distance from the middle times `held`, the number of recorded columns that vary. stack: [p + 1 + h, p + 1]
    takes (1, columns - centre) to the root of the sampling variance, then to the whitened deviations. pull: [m]
    covariance of the log-odds with each open column, without the curve; bent: place of the depth among the open, None
    when it is recorded. open_share: what the open columns hold of the variance between eyes, at the practice's middle.
    """

    open: Open
    blank: BoolArray
    carry: FloatArray
    starts: FloatArray
    fills: tuple[tuple[int, float, tuple[float, ...]], ...]
    left: FloatArray
    whiten: FloatArray
    held: int
    stack: FloatArray
    pull: tuple[float, ...]
    bent: int | None
    straight_variance: float
    open_share: float
    _inverses: dict[Open, FloatArray] = field(default_factory=dict)
    _gains: dict[Open, float] = field(default_factory=dict)

    def missing_variance(self, bend: float) -> float:
        """v_m = b' C b over the open columns, `bend` being what the curve adds to the slope of the depth."""
        d = self.bent
        if d is None or bend == 0.0:
            return self.straight_variance
        return max(0.0, self.straight_variance + bend * (2.0 * self.pull[d] + bend * float(self.left[d, d])))

    def gain(self, wanted: Open, bend: float) -> float:
        """c_J' C_JJ^-1 c_J: what recording the columns `wanted` takes off v_m; between 0 and v_m.

        c: covariance of the log-odds with the open columns, `pull` with what the curve bends it by.
        """
        if self.bent is None:
            found = self._gains.get(wanted)
            if found is None:
                found = self._gains[wanted] = self._gain(wanted, 0.0)
            return found
        return self._gain(wanted, bend)

    def _gain(self, wanted: Open, bend: float) -> float:
        places = [k for k, j in enumerate(self.open) if j in wanted]
        if not places:
            return 0.0
        left, d = self.left, self.bent
        c = [self.pull[k] if d is None else self.pull[k] + bend * float(left[k, d]) for k in places]
        if len(places) == 1:
            held = float(left[places[0], places[0]])
            found = c[0] ** 2 / held if held > 0.0 else 0.0
        else:
            inverse = self._inverses.get(wanted)
            if inverse is None:
                block = left[np.ix_(places, places)]
                inverse = self._inverses[wanted] = np.asarray(np.linalg.pinv(block, rcond=1e-12, hermitian=True))
            found = float(np.dot(c, inverse @ c))
        return min(max(0.0, found), self.missing_variance(bend))


class Patterns:
    """The patterns of one formula, made when first met."""

    def __init__(self, formula: Formula) -> None:
        q = len(formula.spec.base)
        variance = np.diag(formula.field_covariance)
        self._varies = variance > 0.0
        self._sd = np.sqrt(np.where(self._varies, variance, 1.0))
        self._correlation = formula.field_covariance / np.outer(self._sd, self._sd)
        self._mean = formula.mean
        self._away = formula.mean - formula.centre[:q]
        self.root = _root(formula.covariance)
        self.slope = formula.coefficients[:q]
        self._depth = formula.spec.depth if formula.spec.curved else None
        self._middle = self.slope.copy()
        if self._depth is not None and formula.knots is not None:
            steepness = curve_at(float(formula.mean[self._depth]), formula.knots)[1]
            self._middle[self._depth] += formula.coefficients[-1] * steepness / formula.curve_sd
        self._between = float(self._middle @ formula.field_covariance @ self._middle)
        self._kept: dict[Open, Pattern] = {}

    def __getitem__(self, open_: Open) -> Pattern:
        found = self._kept.get(open_)
        if found is None:
            if len(self._kept) >= MOST_KEPT:
                self._kept.clear()
            found = self._kept[open_] = self._make(open_)
        return found

    def __len__(self) -> int:
        return len(self._kept)

    def _make(self, open_: Open) -> Pattern:
        q = self._sd.shape[0]
        blank = np.zeros(q, dtype=np.bool_)
        blank[list(open_)] = True
        # A field that never changes says nothing about the others, and nothing is unknown about it.
        held = np.flatnonzero(~blank & self._varies)
        places = np.flatnonzero(blank)
        half = np.linalg.inv(np.linalg.cholesky(self._correlation[np.ix_(held, held)]))
        whiten = np.zeros((held.shape[0], q))
        whiten[:, held] = half / self._sd[held]
        # The link of the open with the held columns, both in the axes where the held ones are unrelated.
        link = self._correlation[np.ix_(places, held)] @ half.T
        scale = self._sd[places]
        carry = scale[:, None] * (link @ whiten)
        left = (self._correlation[np.ix_(places, places)] - link @ link.T) * np.outer(scale, scale)
        starts = self._away[places]
        size = self.root.shape[0]
        stack = np.zeros((size + held.shape[0], size))
        stack[:size] = self.root.T
        stack[size:, 1 : q + 1] = whiten
        # Deviation from the field's mean = (column - centre) - (mean - centre).
        stack[size:, 0] = -(whiten @ self._away)
        pull = left @ self.slope[places]
        middle = self._middle[places]
        open_variance = max(0.0, float(middle @ left @ middle))
        return Pattern(
            open=open_,
            blank=blank,
            carry=carry,
            starts=starts,
            fills=tuple(
                (j + 1, start, tuple(weights))
                for j, start, weights in zip(open_, starts.tolist(), carry.tolist(), strict=True)
            ),
            left=left,
            whiten=whiten,
            held=held.shape[0],
            stack=stack,
            pull=tuple(pull.tolist()),
            bent=open_.index(self._depth) if self._depth in open_ else None,
            straight_variance=max(0.0, float(self.slope[places] @ pull)),
            open_share=min(1.0, open_variance / self._between) if self._between > 0.0 else 0.0,
        )


def fill(pattern: Pattern, one: list[float], deviations: list[float]) -> None:
    """Put the conditional means of the open columns into (1, columns - centre) of one eye."""
    for j in pattern.open:
        deviations[j] = 0.0
    for place, start, weights in pattern.fills:
        one[place] = start + sum(map(mul, weights, deviations))


def _root(covariance: FloatArray) -> FloatArray:
    """R with R R' = covariance; the Cholesky factor, or where some combination has no variance, from its axes."""
    try:
        return np.asarray(np.linalg.cholesky(covariance))
    except np.linalg.LinAlgError:
        size, axes = np.linalg.eigh(covariance)
        return np.asarray(axes * np.sqrt(np.maximum(size, 0.0)))
