"""One pass of the recipe, blanks to chances, under given weights: the full fit and every resample go through it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.arrays import FloatArray, IntArray, expit
from models.blanks import Blanks, Filled
from models.dataset import Dataset
from models.energy import Yardstick
from models.fit import LogisticFit, fit_logistic
from models.missing import Normal
from models.prior import Prior
from models.prior_table import PriorTable
from models.spec import Spec, TermKind
from models.spline import quantile_knots, restricted_cubic


@dataclass(frozen=True, eq=False)
class Laid:
    """Records laid out for a fit: blanks filled, curve added, centred, with the prior of their columns.

    design: [n, p] centred columns, curve last.
    """

    normal: Normal
    filled: Filled
    knots: tuple[float, float, float] | None
    curve_sd: float
    centre: FloatArray
    design: FloatArray
    prior: Prior


@dataclass(frozen=True, eq=False)
class Pass(Laid):
    """What one pass learnt; risk: [n], chance averaged over the blanks."""

    fit: LogisticFit
    risk: FloatArray


def one_pass(
    spec: Spec,
    data: Dataset,
    blanks: Blanks,
    table: FloatArray,
    normal: Normal,
    papers: PriorTable,
    *,
    weights: FloatArray,
    counts: IntArray | None = None,
    clusters: IntArray | None = None,
) -> Pass:
    """Fill the blanks of `table` [n, q] by `normal`, lay the curve, centre, and fit with the published prior.

    counts: how often each eye was drawn, for the knots; ones when None.
    """
    laid = lay_out(spec, blanks, table, normal, papers, weights=weights, counts=counts)
    fit = fit_logistic(laid.design, data.y, prior=laid.prior, weights=weights, clusters=clusters)
    found = np.concatenate([[fit.intercept], fit.coefficients])
    return Pass(
        laid.normal, laid.filled, laid.knots, laid.curve_sd, laid.centre, laid.design, laid.prior,
        fit, expit(averaged_log_odds(spec, laid, found[None, :])[0]),
    )  # fmt: skip


def lay_out(
    spec: Spec,
    blanks: Blanks,
    table: FloatArray,
    normal: Normal,
    papers: PriorTable,
    *,
    weights: FloatArray,
    counts: IntArray | None = None,
) -> Laid:
    """All of `one_pass` but the fit."""
    filled = blanks.fill(table, normal)
    whole = filled.values
    knots: tuple[float, float, float] | None = None
    curve_sd = 1.0
    total = weights.sum()
    if spec.curved and spec.depth is not None:
        depth = whole[:, spec.depth]
        placed = quantile_knots(depth if counts is None else np.repeat(depth, counts), 3)
        knots = (float(placed[0]), float(placed[1]), float(placed[2]))
        curve = restricted_cubic(depth, placed)[:, 1]
        middle = weights @ curve / total
        curve_sd = float(np.sqrt(weights @ (curve - middle) ** 2 / total))
        whole = np.column_stack([whole, curve / curve_sd])
    centre = weights @ whole / total
    design = whole - centre
    prior = published_prior(spec, papers, np.sqrt(weights @ design**2 / total))
    return Laid(normal, filled, knots, curve_sd, centre, design, prior)


def published_prior(spec: Spec, papers: PriorTable, sds: FloatArray) -> Prior:
    """The prior of a model's terms; a field that the table does not name starts at 0 with the table's width."""
    means, widths = [], []
    for term, sd in zip(spec.terms, sds, strict=True):
        row = papers.rows.get(term.name)
        if row is not None:
            means.append(row.mean)
            widths.append(row.sd)
        else:
            means.append(0.0)
            continuous = term.kind is not TermKind.CODED and sd > 0.0
            widths.append(papers.other_continuous_sd / float(sd) if continuous else papers.other_yes_no_sd)
    return Prior.published(means, widths, papers.strength)


def averaged_log_odds(spec: Spec, laid: Laid, fits: FloatArray) -> FloatArray:
    """Log-odds [b, n] of all eyes by each of `fits` [b, p + 1], averaged over the blanks."""
    base = laid.filled.values.shape[1]
    steepness = curve_steepness(spec, laid)
    factors = laid.filled.shrinking(fits[:, 1 : base + 1], spec.depth, steepness, fits[:, -1])
    return np.asarray((fits[:, :1] + fits[:, 1:] @ laid.design.T) * factors)


def curve_steepness(spec: Spec, laid: Laid) -> FloatArray | None:
    """How steeply the curve's column rises with the depth at each eye, [n]; None without a curve."""
    if laid.knots is None or spec.depth is None:
        return None
    first, middle, last = laid.knots
    squares = np.maximum(laid.filled.values[:, spec.depth][:, None] - np.asarray(laid.knots), 0.0) ** 2
    steepness = squares[:, 0] - squares[:, 1] * (last - first) / (last - middle)
    steepness = 3.0 * (steepness + squares[:, 2] * (middle - first) / (last - middle)) / (last - first) ** 2
    return np.asarray(steepness / laid.curve_sd)


class EnergyColumn:
    """The energy column of a data set, scored anew by the yardsticks that a resample learns."""

    def __init__(self, spec: Spec, data: Dataset) -> None:
        self._column = spec.energy
        self._groups: list[tuple[IntArray, FloatArray, Yardstick]] = []
        if spec.energy is None or data.energy is None:
            return
        self._unit = spec.terms[spec.energy].unit
        chosen = [next((r for r in found if r[0] in data.energy.yardsticks), None) for found in data.readings]
        for group, stick in data.energy.yardsticks.items():
            rows = np.asarray([i for i, r in enumerate(chosen) if r is not None and r[0] == group], dtype=np.int64)
            values = np.asarray([r[1] for r in chosen if r is not None and r[0] == group])
            self._groups.append((rows, values, stick))

    def rescored(self, table: FloatArray, counts: IntArray) -> FloatArray:
        """`table` [n, q] with the energy standardised by the median and spread of the eyes drawn."""
        if self._column is None or not self._groups:
            return table
        scored = table.copy()
        for rows, values, stick in self._groups:
            drawn = np.repeat(values, counts[rows])
            median, spread = stick.median, stick.spread
            if drawn.shape[0] > 1:
                low, middle, high = np.quantile(drawn, (0.25, 0.5, 0.75))
                if high > low:
                    median, spread = float(middle), float(high - low) / 1.349
            scored[rows, self._column] = self._unit * (values - median) / spread
        return scored
