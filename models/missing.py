"""Blanks among the predictors: what the recorded fields say about them, and how unsure that leaves the chance.

The fields are taken as jointly normal; mean and covariance are learnt from rows with blanks by the EM algorithm
(Dempster AP, Laird NM, Rubin DB. J R Stat Soc B 1977;39:1-38; from memory). The outcome is left out, because it is
not known when a forecast is made (Sisk R et al. Stat Methods Med Res 2023;32:1461).
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TypeVar

import numpy as np
from numpy.typing import ArrayLike

from models.arrays import BoolArray, FloatArray, IntArray, expit, frozen, matrix, row_weights, vector
from models.errors import ModelError
from models.measure import TENTH

Name = TypeVar("Name")

_PATTERNS_AT_ONCE = 256
_TOO_MUCH_ALIKE = "Some fields say exactly the same thing, or one never changes."


@dataclass(frozen=True, eq=False)
class Normal:
    """Joint normal distribution of the fields: mean [p] and covariance [p, p] in the units of the fields.

    log_likelihood: of what was observed, when it was learnt here; rounds: EM rounds taken. A Normal read back from a
    card has neither.
    """

    mean: FloatArray
    covariance: FloatArray
    log_likelihood: float | None = None
    rounds: int | None = None

    def __post_init__(self) -> None:
        mean = vector(self.mean, "field means")
        covariance = matrix(self.covariance, "field covariances", columns=mean.shape[0])
        if covariance.shape[0] != mean.shape[0] or not np.allclose(covariance, covariance.T, rtol=1e-9, atol=0.0):
            raise _refusal("Its covariance is not square and symmetric.")
        object.__setattr__(self, "mean", frozen(mean))
        object.__setattr__(self, "covariance", frozen(covariance))

    @classmethod
    def independent(cls, X: ArrayLike, *, weights: ArrayLike | None = None) -> Normal:
        """Means and variances only, for when `learn_normal` refuses: a blank then gets the mean of its field."""
        table = matrix(X, "fields", blanks=True)
        mean, sd = _observed_moments(table, row_weights(weights, table.shape[0]))
        return cls(mean, np.diag(sd**2))

    def fill(self, X: ArrayLike) -> Filled:
        """Conditional means of the blanks of X [n, p] (NaN = blank) given what each row records, and their spread."""
        table = matrix(X, "fields", columns=self.mean.shape[0], blanks=True)
        seen, codes = _patterns(table)
        away = np.where(np.isnan(table), 0.0, table - self.mean)
        values = table.copy()
        for first, block in _blocks(seen):
            conditional = _conditional(self.covariance, block)
            for k, carry in enumerate(conditional.carry):
                blank = ~block[k]
                if blank.any():
                    rows = np.flatnonzero(codes == first + k)
                    values[np.ix_(rows, blank)] = self.mean[blank] + away[rows] @ carry[blank].T
        return Filled(values, Spread(self, seen, codes))

    def gain(self, x: ArrayLike, coefficients: ArrayLike) -> dict[int, float]:
        """What measuring each blank of one eye x [p] would take off the variance of its log-odds.

        gain_j = c_j^2 / C_jj with c = C b_M, C the conditional covariance of the blanks; {column from 0: gain}.
        """
        row = matrix(np.asarray(x, dtype=np.float64)[None, :], "fields", columns=self.mean.shape[0], blanks=True)[0]
        return self.gain_of_groups(x, coefficients, {int(j): (int(j),) for j in np.flatnonzero(np.isnan(row))})

    def gain_of_groups(
        self, x: ArrayLike, coefficients: ArrayLike, groups: Mapping[Name, Sequence[int]]
    ) -> dict[Name, float]:
        """The same for tests that fill several columns at once (the levels of a choice): c_J' C_JJ^-1 c_J.

        groups: {name: column numbers}; a group without a blank is left out of the answer.
        """
        filled = self.fill(np.asarray(x, dtype=np.float64)[None, :])
        b = vector(coefficients, "coefficients", self.mean.shape[0])
        left = filled.spread[0]
        blank = filled.spread.blank(0)
        c = left @ b
        gains: dict[Name, float] = {}
        for name, columns in groups.items():
            wanted = [j for j in columns if blank[j]]
            if wanted:
                held = left[np.ix_(wanted, wanted)]
                gains[name] = max(0.0, float(c[wanted] @ np.linalg.lstsq(held, c[wanted], rcond=1e-12)[0]))
        return gains


@dataclass(frozen=True, eq=False)
class Spread:
    """Conditional covariances of the blanks, worked out per row when asked for."""

    normal: Normal
    patterns: BoolArray
    codes: IntArray

    def __getitem__(self, row: int) -> FloatArray:
        """Conditional covariance [p, p] of one row; zero wherever the row records the field."""
        return np.asarray(_conditional(self.normal.covariance, self.patterns[self.codes[row]][None, :]).left[0])

    def __len__(self) -> int:
        return int(self.codes.shape[0])

    def blank(self, row: int) -> BoolArray:
        """Which fields [p] the row leaves blank."""
        return np.asarray(~self.patterns[self.codes[row]])

    def variance(self, coefficients: ArrayLike) -> FloatArray:
        """v_m = b_M' C b_M of every row: what the blanks add to the variance of its log-odds, [n]."""
        b = vector(coefficients, "coefficients", self.normal.mean.shape[0])
        per_pattern = np.zeros(self.patterns.shape[0])
        for first, block in _blocks(self.patterns):
            left = _conditional(self.normal.covariance, block).left
            per_pattern[first : first + block.shape[0]] = np.maximum((left @ b) @ b, 0.0)
        return per_pattern[self.codes]


@dataclass(frozen=True, eq=False)
class Filled:
    """Rows with their blanks filled: values [n, p] and the spread that the filling leaves."""

    values: FloatArray
    spread: Spread


def learn_normal(
    X: ArrayLike,
    *,
    steadying: float = 2.0,
    weights: ArrayLike | None = None,
    tolerance: float = 1e-6,
    rounds: int = 500,
) -> Normal:
    """Mean and covariance of fields X [n, p] with blanks (NaN), by EM.

    Works on fields standardised by their observed mean and SD. steadying: that many imagined rows of unrelated fields
    are added to the covariance, (SS + steadying I) / (n + steadying); 0 gives maximum likelihood with divisor n.
    weights: [n]. Stops when nothing moves by more than `tolerance` SDs, or after `rounds`.

    Raises ModelError when a field has no value at all, two fields are never seen together, or the covariance is not
    positive; `Normal.independent` is the way out.
    """
    table = matrix(X, "fields", blanks=True)
    n, p = table.shape
    weight = row_weights(weights, n)
    if not (np.isfinite(steadying) and steadying >= 0.0):
        raise _refusal("The steadying must be zero or more.")
    _refuse_never_together(table[weight > 0.0])
    centre, scale = _observed_moments(table, weight)
    scale = np.where(scale > 0.0, scale, 1.0)
    sums = _Sums.of((table - centre) / scale, weight)

    mean, covariance = np.zeros(p), np.eye(p)
    done, moved = 0, np.inf
    while done < rounds and moved >= tolerance:
        done += 1
        first, second = _expectation(sums, mean, covariance)
        new_mean = first / sums.total
        about = second - np.outer(first, first) / sums.total
        new_covariance = (about + steadying * np.eye(p)) / (sums.total + steadying)
        moved = max(
            float(np.abs(new_mean - mean).max(initial=0.0)), float(np.abs(new_covariance - covariance).max(initial=0.0))
        )
        mean, covariance = new_mean, (new_covariance + new_covariance.T) / 2.0
    if float(np.linalg.eigvalsh(covariance)[0]) <= 1e-12:
        raise _refusal(_TOO_MUCH_ALIKE)
    jacobian = float(sum(w * np.log(scale[s]).sum() for w, s in zip(sums.weight, sums.seen, strict=True)))
    return Normal(
        centre + scale * mean,
        covariance * np.outer(scale, scale),
        _observed_log_likelihood(sums, mean, covariance) - jacobian,
        done,
    )


def averaged_risk(eta: ArrayLike, spread_variance: ArrayLike) -> FloatArray:
    """Chance averaged over the blanks: expit(eta / sqrt(1 + pi v_m / 8)).

    Spiegelhalter DJ, Lauritzen SL. Networks 1990;20:579; MacKay DJC. Neural Comput 1992;4:720 (both from memory).
    """
    odds, variance = np.asarray(eta, dtype=np.float64), np.asarray(spread_variance, dtype=np.float64)
    if odds.shape != variance.shape or not (np.isfinite(odds).all() and (variance >= 0.0).all()):
        raise ModelError(
            "The chance cannot be averaged over the blanks.",
            "Log-odds and variances do not fit together, or one is blank or a variance negative.",
            "Give one variance of zero or more for each finite log-odds.",
        )
    return np.asarray(expit(odds / np.sqrt(1.0 + np.pi * variance / 8.0)))


def likely_answers(eta: float, gain: float) -> tuple[float, float]:
    """The two chances after a test that comes out at the 10th or the 90th percentile expected for this eye."""
    if not (np.isfinite(eta) and np.isfinite(gain) and gain >= 0.0):
        raise ModelError(
            "The likely answers cannot be worked out.",
            "The log-odds are not finite, or the gain is not zero or more.",
            "Give finite log-odds and what `gain` returned.",
        )
    half = TENTH * float(np.sqrt(gain))
    return float(expit(eta - half)), float(expit(eta + half))


@dataclass(frozen=True, eq=False)
class _Conditional:
    """Per pattern: carry [K, p, p] takes what is seen to the blanks, left [K, p, p] is what stays unknown."""

    carry: FloatArray
    left: FloatArray
    precision: FloatArray
    log_determinant: FloatArray


def _conditional(covariance: FloatArray, seen: BoolArray) -> _Conditional:
    p = covariance.shape[0]
    # A field that never changes says nothing about the others, and nothing is unknown about it.
    s = (seen & (np.diag(covariance) > 0.0)).astype(np.float64)
    b = (~seen).astype(np.float64)
    both_seen = s[:, :, None] * s[:, None, :]
    held = covariance * both_seen + np.eye(p) * (1.0 - s)[:, None, :]
    unit = 1.0 / np.sqrt(np.diagonal(held, axis1=1, axis2=2))
    outer = unit[:, :, None] * unit[:, None, :]
    try:
        lower = np.linalg.cholesky(held * outer)
    except np.linalg.LinAlgError as error:
        raise _refusal("The covariance of the fields is not positive.") from error
    half = np.linalg.inv(lower)
    precision = np.swapaxes(half, 1, 2) @ half * outer * both_seen
    cross = covariance * (b[:, :, None] * s[:, None, :])
    carry = cross @ precision
    left = covariance * (b[:, :, None] * b[:, None, :]) - carry @ np.swapaxes(cross, 1, 2)
    log_determinant = 2.0 * (np.log(np.diagonal(lower, axis1=1, axis2=2)).sum(axis=1) - np.log(unit).sum(axis=1))
    return _Conditional(carry, (left + np.swapaxes(left, 1, 2)) / 2.0, precision, log_determinant)


@dataclass(frozen=True, eq=False)
class _Sums:
    """All that EM needs of the rows, per pattern of blanks.

    seen: [K, p]; weight: [K]; moments: [K, p + 1, p + 1], weighted cross-products of (1, values) with 0 for blanks;
    alike: patterns with the same number of blanks, each with the numbers of its blank fields [k, m].
    """

    seen: BoolArray
    weight: FloatArray
    moments: FloatArray
    alike: tuple[tuple[IntArray, IntArray], ...]

    @property
    def total(self) -> float:
        return float(self.weight.sum())

    @classmethod
    def of(cls, standardised: FloatArray, weight: FloatArray) -> _Sums:
        seen, codes = _patterns(standardised)
        size, p = seen.shape
        rows = np.column_stack([np.ones(standardised.shape[0]), np.where(np.isnan(standardised), 0.0, standardised)])
        order = np.argsort(codes, kind="stable")
        rows, ordered_weight = rows[order], weight[order]
        bounds = np.searchsorted(codes[order], np.arange(size + 1))
        moments = np.empty((size, p + 1, p + 1))
        for k, (low, high) in enumerate(itertools.pairwise(bounds.tolist())):
            moments[k] = (rows[low:high] * ordered_weight[low:high, None]).T @ rows[low:high]
        blanks = p - seen.sum(axis=1)
        alike = []
        for m in np.unique(blanks[blanks > 0]).tolist():
            which = np.flatnonzero(blanks == m)
            alike.append((which, np.nonzero(~seen[which])[1].reshape(-1, m)))
        return cls(seen, moments[:, 0, 0].copy(), moments, tuple(alike))

    def about(self, mean: FloatArray) -> FloatArray:
        """Weighted cross-products of (value - mean) over what is seen, [K, p, p]."""
        centre = mean * self.seen
        mixed = self.moments[:, 0, 1:, None] * centre[:, None, :]
        outer = self.weight[:, None, None] * centre[:, :, None] * centre[:, None, :]
        return self.moments[:, 1:, 1:] - mixed - np.swapaxes(mixed, 1, 2) + outer


def _expectation(sums: _Sums, mean: FloatArray, covariance: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Expected sums [p] and cross-products [p, p] of all rows, blanks included.

    With K the inverse of the whole covariance, the blanks M have conditional covariance K_MM^-1 and conditional mean
    m_M - K_MM^-1 K_MO (z_O - m_O): only matrices as large as the number of blanks are inverted.
    """
    p = mean.shape[0]
    try:
        half = np.linalg.inv(np.linalg.cholesky(covariance))
    except np.linalg.LinAlgError as error:
        raise _refusal(_TOO_MUCH_ALIKE) from error
    precision = half.T @ half
    table = sums.moments.sum(axis=0)
    for which, blank in sums.alike:
        left = np.linalg.inv(precision[blank[:, :, None], blank[:, None, :]])
        slope = -left @ (precision[blank] * sums.seen[which][:, None, :])
        start = mean[blank] - slope @ mean
        carry = np.concatenate([start[:, :, None], slope], axis=2)
        with_seen = carry @ sums.moments[which]
        with_blank = with_seen @ np.swapaxes(carry, 1, 2) + sums.weight[which][:, None, None] * left
        place = blank + 1
        flat = (place[:, :, None] * (p + 1) + np.arange(p + 1)).reshape(-1)
        added = np.bincount(flat, with_seen.reshape(-1), (p + 1) ** 2).reshape(p + 1, p + 1)
        flat = (place[:, :, None] * (p + 1) + place[:, None, :]).reshape(-1)
        within = np.bincount(flat, with_blank.reshape(-1), (p + 1) ** 2).reshape(p + 1, p + 1)
        table = table + added + added.T + within
    return table[0, 1:], table[1:, 1:]


def _observed_log_likelihood(sums: _Sums, mean: FloatArray, covariance: FloatArray) -> float:
    total = 0.0
    about = sums.about(mean)
    for start, block in _blocks(sums.seen):
        part = slice(start, start + block.shape[0])
        conditional = _conditional(covariance, block)
        constant = block.sum(axis=1) * np.log(2.0 * np.pi) + conditional.log_determinant
        total -= 0.5 * float(sums.weight[part] @ constant + np.einsum("kij,kij->", conditional.precision, about[part]))
    return total


def _blocks(seen: BoolArray) -> Iterator[tuple[int, BoolArray]]:
    for first in range(0, seen.shape[0], _PATTERNS_AT_ONCE):
        yield first, seen[first : first + _PATTERNS_AT_ONCE]


def _patterns(table: FloatArray) -> tuple[BoolArray, IntArray]:
    """The different patterns of what is seen [K, p] and each row's pattern [n]."""
    seen = ~np.isnan(table)
    packed = np.ascontiguousarray(np.packbits(seen, axis=1))
    _, first, codes = np.unique(
        packed.view(np.dtype((np.void, max(packed.shape[1], 1)))).reshape(-1), return_index=True, return_inverse=True
    )
    return seen[first], codes.reshape(-1).astype(np.int64)


def _observed_moments(table: FloatArray, weight: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Mean and SD (divisor: weight) of what is observed of each field."""
    seen = ~np.isnan(table)
    w = seen * weight[:, None]
    total = w.sum(axis=0)
    if table.shape[0] == 0 or (total <= 0.0).any():
        empty = ", ".join(str(int(j)) for j in np.flatnonzero(total <= 0.0))
        raise _refusal(f"Columns {empty} (counted from 0) hold no value at all.")
    values = np.where(seen, table, 0.0)
    mean = (w * values).sum(axis=0) / total
    return mean, np.sqrt((w * (values - mean) ** 2).sum(axis=0) / total)


def _refuse_never_together(table: FloatArray) -> None:
    seen = (~np.isnan(table)).astype(np.float64)
    together = seen.T @ seen
    held = np.diag(together)
    never = np.argwhere(np.triu((together < 2.0) & (held[:, None] > 0.0) & (held[None, :] > 0.0), 1))
    if never.size:
        a, b = (int(j) for j in never[0])
        raise _refusal(f"Columns {a} and {b} (counted from 0) were never recorded together.")


def _refusal(why: str) -> ModelError:
    return ModelError(
        "The link between the fields cannot be learnt.", why, "Use the mean of each field for its blanks, and say so."
    )
