"""What is usual for a nucleus like this one: the range of fluid, energy or minutes in the practice's own cases."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence

import numpy as np
from numpy.typing import ArrayLike
from scipy.optimize import linprog
from scipy.special import ndtri

from models.arrays import BoolArray, FloatArray, frozen, matrix, vector
from models.columns import Group, Row
from models.errors import ModelError
from models.nucleus import METHODS, PREDICTORS, QUANTILES, YES_NO, UsualLine, UsualUse, measured, nucleus_columns

FEWEST_BEYOND = 10
"""Cases wanted beyond each quantile for every coefficient; common practice, no source."""

FEWEST_CASES = 30
"""Cases that a group needs before it gets a usual range; own choice, as for the yardsticks of energy."""

FEWEST_RARE = 10
"""Cases that the rarer answer of a yes-or-no column needs; with fewer these cases are left out and get no answer."""


def usual_range(
    X: ArrayLike,
    y: ArrayLike,
    X_new: ArrayLike,
    quantiles: Sequence[float] = QUANTILES,
) -> FloatArray:
    """Quantiles of y for cases X_new [m, p], learnt from cases X [n, p], y [n]; returns [m, number of quantiles].

    Linear quantile regression (Koenker R, Bassett G. Econometrica 1978;46:33, from memory). y is used as given: hand
    over the logarithm of a skewed measurement and take exp of the answer. Where n min(q, 1 - q) is below 10 for each
    coefficient, all quantiles come from the ordinary least squares line and the normal spread about it instead (with
    the logarithm as y: a log-normal spread). Where lines cross among cases like the ones learnt from they are
    put in order; beyond these the bare lines are returned, which may cross.
    """
    table = matrix(X, "columns")
    new = matrix(X_new, "columns", columns=table.shape[1])
    _, coefficients = usual_lines(table, y, quantiles)
    lines = np.column_stack([np.ones(new.shape[0]), new]) @ coefficients.T
    like_ours = ((new >= table.min(axis=0)) & (new <= table.max(axis=0))).all(axis=1)
    return np.where(like_ours[:, None], np.sort(lines, axis=1), lines)


def usual_lines(X: ArrayLike, y: ArrayLike, quantiles: Sequence[float] = QUANTILES) -> tuple[str, FloatArray]:
    """Method (`quantile` or `log_normal`) and coefficients [number of quantiles, p + 1], intercept first."""
    table = matrix(X, "columns")
    n, p = table.shape
    values = vector(y, "measurements", n)
    levels = vector(list(quantiles), "quantiles")
    if levels.size == 0 or ((levels <= 0.0) | (levels >= 1.0)).any() or (np.diff(levels) <= 0.0).any():
        raise _refusal("The quantiles must rise and lie between 0 and 1.")
    if n <= p + 1:
        raise _refusal(f"{n} cases are too few for {p + 1} coefficients.")
    design = np.column_stack([np.ones(n), table])
    if enough(n, p, levels):
        return METHODS[0], np.array([_quantile_line(design, values, level) for level in levels.tolist()])
    middle, _, rank, _ = np.linalg.lstsq(design, values, rcond=None)
    sd = float(np.sqrt(((values - design @ middle) ** 2).sum() / (n - rank)))
    coefficients = np.tile(middle, (levels.shape[0], 1))
    coefficients[:, 0] += sd * ndtri(levels)
    return METHODS[1], coefficients


def enough(n: int, p: int, quantiles: ArrayLike) -> bool:
    """True when n cases carry quantile regression on p columns and an intercept at all these quantiles."""
    levels = np.asarray(quantiles, dtype=np.float64)
    beyond = n * float(np.minimum(levels, 1.0 - levels).min())
    return beyond >= FEWEST_BEYOND * (p + 1) * (1.0 - 1e-12)


def learn_usual(rows: Iterable[Row]) -> UsualUse | None:
    """Lines of ln fluid, ln minutes and, within each machine, metric and motion, ln(1 + energy), from training cases.

    On hardness, age, depth, small pupil and white cataract. Cases without a hardness are passed over; another blank
    takes the cases' median, a yes-or-no one counts as no. None when no measurement has 30 cases.
    """
    cases = [(nucleus_columns(row), measured(row)) for row in rows]
    cases = [(columns, found) for columns, found in cases if not np.isnan(columns[0])]
    if not cases:
        return None
    table = np.array([columns for columns, _ in cases])
    fill = np.array(
        [
            0.0 if yes_no or np.isnan(column).all() else float(np.nanmedian(column))
            for column, yes_no in zip(table.T, YES_NO, strict=True)
        ]
    )
    table = np.where(np.isnan(table), fill, table)
    places: dict[tuple[str, Group], list[tuple[int, float]]] = defaultdict(list)
    for i, (_, found) in enumerate(cases):
        for field, group, value in found:
            places[field, group].append((i, value))
    lines = []
    for (field, group), chosen in sorted(places.items()):
        line = _line(field, group, table[[i for i, _ in chosen]], np.array([value for _, value in chosen]))
        if line is not None:
            lines.append(line)
    return UsualUse(frozen(fill), tuple(lines)) if lines else None


def _line(field: str, group: Group, table: FloatArray, values: FloatArray) -> UsualLine | None:
    kept = _not_rare(table)
    table, values = table[kept], values[kept]
    if table.shape[0] < FEWEST_CASES:
        return None
    varies = table.min(axis=0) < table.max(axis=0)
    method, found = usual_lines(table[:, varies], values)
    coefficients = np.zeros((len(QUANTILES), len(PREDICTORS) + 1))
    coefficients[:, np.concatenate([[True], varies])] = found
    return UsualLine(
        field, group, method, table.shape[0], frozen(coefficients),
        frozen(table.min(axis=0)), frozen(table.max(axis=0)),
    )  # fmt: skip


def _not_rare(table: FloatArray) -> BoolArray:
    """Cases [n] whose yes-or-no answers are each shared by ten cases or more."""
    kept = np.ones(table.shape[0], dtype=np.bool_)
    for column, yes_no in zip(table.T, YES_NO, strict=True):
        for answer in (0.0, 1.0):
            if yes_no and (column == answer).sum() < FEWEST_RARE:
                kept &= column != answer
    return kept


def _quantile_line(design: FloatArray, values: FloatArray, level: float) -> FloatArray:
    """Coefficients that minimise the check loss; found on the dual, which has one row a coefficient and so is quick.

    Koenker R. Quantile Regression. Cambridge 2005, section 6.2 (from memory).
    """
    size = float(np.abs(values).max()) or 1.0
    found = linprog(
        -values / size, A_eq=design.T, b_eq=(1.0 - level) * design.sum(axis=0), bounds=(0.0, 1.0), method="highs-ds"
    )
    if found.status != 0:
        raise _refusal("Its line could not be found.")
    return np.asarray(-size * found.eqlin.marginals)


def _refusal(why: str) -> ModelError:
    return ModelError("The usual range cannot be worked out.", why, "Wait for more cases, or use fewer columns.")
