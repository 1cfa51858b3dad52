"""The study's results as a page of Markdown tables, each mean with its Monte Carlo standard error."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np

OURS = "default"
RIDGE = "ridge, grouped CV"

WORDS = {"papers_right": "Papers right", "papers_wrong": "Papers wrong"}

Cell = dict[str, Any]


def page(cells: Sequence[Cell]) -> str:
    """All tables, truth by truth."""
    parts = [_HEAD]
    for truth, words in WORDS.items():
        chosen = [cell for cell in cells if cell["truth"] == truth and cell["practices"]]
        if chosen:
            parts += [
                f"## {words}",
                _methods(chosen),
                "### The default's range",
                _ranges(chosen),
            ]
    return "\n\n".join(parts) + "\n"


_HEAD = """# Simulation study

Invented practices, booking model. Every figure is against the *known* chance of new eyes of the same practice, averaged
over its surgeons, over patients and over what happens in theatre; no noise of outcomes is left. Mean over practices
(Monte Carlo standard error); slope: median [10 - 90 % of practices] (standard error of the median, by 500 resamples);
level: SD over practices of the shift in log-odds that would set the average right. error: mean distance of forecast and
chance; ICI: the same after a running mean along the forecast; log loss: less that of ridge, below 0 is better than
ridge (where cloudy and clear eyes can be separated, maximum likelihood has no bound and its mean means little).
Practices that the product refuses (fewer than 15 cloudy eyes) are in no table. The range aims at 95 %."""


def _methods(cells: Sequence[Cell]) -> str:
    lines = [
        "| eyes | practices | method | C | slope | level SD | error x1000 | ICI x1000 | Brier x1000 "
        "| log loss - ridge's x1000 |",
        "|---|---|---|---|---|---|---|---|---|---|",
    ]
    for cell in cells:
        for method in cell["practices"][0]["scores"]:
            lines.append(
                f"| {cell['eyes']} | {len(cell['practices'])} | {method} | {_mean(_of(cell, method, 'c'), 3)} "
                f"| {_median(_of(cell, method, 'slope'))} | {_spread(_of(cell, method, 'level'))} "
                f"| {_mean(1000 * _of(cell, method, 'error'), 1)} | {_mean(1000 * _of(cell, method, 'ici'), 1)} "
                f"| {_mean(1000 * _of(cell, method, 'brier'), 2)} "
                f"| {_mean(1000 * (_of(cell, method, 'log_loss') - _of(cell, RIDGE, 'log_loss')), 2)} |"
            )
    return "\n".join(lines)


def _ranges(cells: Sequence[Cell]) -> str:
    lines = [
        "| eyes | refused practices | cloudy eyes | with the depth's curve | coverage, nothing missing "
        "| tenth-worst practice | width | coverage, something missing | width | new eyes without a number |",
        "|---|---|---|---|---|---|---|---|---|---|",
    ]
    for cell in cells:
        take = _reader(cell)
        whole = take("coverage_whole")
        lines.append(
            f"| {cell['eyes']} | {len(cell['refused'])} of {len(cell['refused']) + whole.shape[0]} "
            f"| {_mean(take('cloudy'), 0)} | {take('curved').mean():.0%} | {_mean(whole, 3)} "
            f"| {np.quantile(whole, 0.1):.3f} | {_mean(take('width_whole'), 3)} | {_mean(take('coverage_blanks'), 3)} "
            f"| {_mean(take('width_blanks'), 3)} | {_mean(100 * take('no_number'), 1)} % |"
        )
    return "\n".join(lines)


def _reader(cell: Cell) -> Callable[[str], np.ndarray]:
    return lambda name: np.array([one[name] for one in cell["practices"]], dtype=float)


def _of(cell: Cell, method: str, figure: str) -> np.ndarray:
    return np.array([one["scores"][method][figure] for one in cell["practices"]])


def _mean(values: np.ndarray, digits: int) -> str:
    error = values.std(ddof=1) / np.sqrt(values.shape[0]) if values.shape[0] > 1 else np.nan
    return f"{values.mean():.{digits}f} ({error:.{max(digits, 1)}f})"


def _median(values: np.ndarray) -> str:
    draws = np.random.default_rng(1).choice(values, (500, values.shape[0]))
    low, high = np.quantile(values, (0.1, 0.9))
    return f"{np.median(values):.2f} [{low:.2f} - {high:.2f}] ({np.median(draws, axis=1).std():.2f})"


def _spread(values: np.ndarray) -> str:
    if values.shape[0] < 2:
        return ""
    return f"{values.std(ddof=1):.2f} ({values.std(ddof=1) / np.sqrt(2 * (values.shape[0] - 1)):.2f})"
