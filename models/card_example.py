"""An invented eye worked out step by step, as it stands on a card's page; numpy only."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Mapping, Sequence
from typing import Any

from models.formula import Formula
from models.measure import Z95
from models.working import Numbers, Working


def example_lines(vectors: Sequence[Mapping[str, Any]], formula: Formula) -> list[str]:
    """The first complete eye of the card's test vectors, then the first with blanks, step by step."""
    working = Working(formula)
    worked = [(vector["row"], working.work(working.columns(vector["row"]))) for vector in vectors]
    complete = next((one for one in worked if not one[1].blank.any()), None)
    blank = next((one for one in worked if one[1].blank.any()), None)
    lines: list[str] = []
    for words, one in (("An invented eye", complete), ("An invented eye with blanks", blank)):
        if one is not None:
            lines += _steps(words, one[0], one[1], formula)
    return lines


def _steps(words: str, row: Mapping[str, object], numbers: Numbers, formula: Formula) -> list[str]:
    answers = ", ".join(f"{name} {value}" for name, value in row.items())
    lines = textwrap.wrap(f"{words}: {answers}", 116, initial_indent="  ", subsequent_indent="    ")
    wide = max(len(term.name) for term in formula.spec.terms)
    total = 0.0
    for j, term in enumerate(formula.spec.terms):
        away = float(numbers.away[j])
        part = float(formula.coefficients[j]) * away
        total += part
        column = away + float(formula.centre[j])
        filled = " filled" if j < numbers.blank.shape[0] and numbers.blank[j] else ""
        lines.append(
            f"    {term.name:<{wide}} ({column:.6g} - {formula.centre[j]:.6g}) * {formula.coefficients[j]:.6g} "
            f"= {part:.6f}{filled}"
        )
    vs, vm = numbers.sampling_variance, numbers.missing_variance
    half = Z95 * math.sqrt(vs + vm + formula.form_sd**2)
    return [
        *lines,
        f"    eta = {formula.intercept:.6g} + {total:.6f} = {numbers.eta:.6f}",
        f"    vs = {vs:.6f}, vm = {vm:.6f}, form^2 = {formula.form_sd**2:.6f}, half width {half:.6f}",
        f"    chance = expit({numbers.eta:.6f} / {math.sqrt(1.0 + math.pi * vm / 8.0):.6f}) = {numbers.risk:.6f}",
        f"    range = expit({numbers.eta - half:.6f}) to expit({numbers.eta + half:.6f}) "
        f"= {numbers.low:.6f} to {numbers.high:.6f}",
    ]
