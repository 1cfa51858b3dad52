"""The card as a page of plain text: with it and a desk calculator, or a few lines of any language, the model stands."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from models.card_example import example_lines
from models.codebook import BY_NAME, CODINGS, Kind
from models.eligibility import REASONS
from models.formula import Formula
from models.outcome import UNSEEN_WORDS
from models.spec import Term, TermKind

WIDTH = 116
_FIGURES = ("c_statistic", "brier", "calibration_in_the_large", "calibration_slope")


def card_page(written: Mapping[str, Any], formula: Formula, summary: Sequence[str]) -> str:
    """The whole page of a card's JSON. Numbers have six digits; every digit stands in the JSON.

    Parts: definition, counts, terms, numbers, beliefs before the data, blanks, range, formula, worked examples, where
    no number is given, own records only, usual use of theatre, judgement, provenance.
    """
    parts = [
        _definition(written, formula, summary),
        _counts(written),
        _terms(formula),
        _numbers(written, formula),
        _beliefs(written),
        _blanks(written, formula),
        _range(written, formula),
        _formula(formula),
        ["How an eye is worked out", *example_lines(written["test_vectors"], formula)],
        _edges(formula),
        _own(written),
        _usual(written),
        _judgement(written),
        _provenance(written, formula),
    ]
    return "\n\n".join("\n".join(part) for part in parts if part) + "\n"


def _definition(written: Mapping[str, Any], formula: Formula, summary: Sequence[str]) -> list[str]:
    spec = formula.spec
    low, high = spec.outcome.window
    return [
        *summary,
        *_prose(
            f"Forecast is the chance that {spec.outcome.field} is {spec.outcome.cut} or more at a visit "
            f"{low:g}-{high:g} hours after surgery, both ends included. Without such a visit the outcome is "
            "unknown, never clear."
        ),
        *_prose(f"No number for: {', '.join(words for rule, words in REASONS.items() if rule != 'no_graded_visit')}."),
    ]


def _counts(written: Mapping[str, Any]) -> list[str]:
    training, weights = written["training"], written["weights"]
    lines = [
        "Counts",
        f"  eyes {training['n']}, patients {training['patients']}, cloudy {training['events']}, "
        f"in the window by the calendar day alone {training['inferred']}",
        f"  square of the sum of weights over the sum of their squares {_six(weights['effective_n'])}",
        "",
        "Left out of training",
    ]
    lines += [f"  {REASONS.get(rule, rule)}: {count}" for rule, count in training["excluded"].items()] or ["  none"]
    lines += [f"    of these {UNSEEN_WORDS.get(code, code)}: {count}" for code, count in training["unseen"].items()]
    lines += [f"  term {name}: {why}" for name, why in training["terms_left_out"].items()]
    return lines


def _terms(formula: Formula) -> list[str]:
    lines = ["Terms: how a column is read from the record"]
    for place, term in enumerate(formula.spec.terms, start=1):
        lines += _prose(f"{place} {term.name}: {term.label}. {_reading(term)}", indent=2)
    return [*lines, *_yardsticks(formula)]


def _reading(term: Term) -> str:
    per = "" if term.unit == 1.0 else f" / {term.unit:g}"
    if term.kind is TermKind.CODED:
        coding = CODINGS[term.name]
        blank = f"; blank: {_codes(coding.missing)}" if coding.missing else ""
        return f"1: {term.field} {_codes(coding.one)}; 0: {_codes(coding.zero)}{blank}"
    if term.kind is TermKind.LOG:
        return f"ln({term.field}){per}"
    if term.kind is TermKind.DEPTH:
        return f"acd_mm{per} from the front of the cornea; measured from its back, acd_mm + cct_um / 1000"
    if term.kind is TermKind.ENERGY:
        return f"{term.unit:g} * (ln(1 + reading) - median) / spread, both of its machine, metric and tip motion below"
    if term.kind is TermKind.CURVE:
        return "from the column of the depth, see the formula"
    return f"{term.field}, yes 1 and no 0" if BY_NAME[term.field].kind is Kind.YES_NO else f"{term.field}{per}"


def _codes(codes: Iterable[object]) -> str:
    return ", ".join(sorted(str(code) for code in codes))


def _yardsticks(formula: Formula) -> list[str]:
    if formula.energy is None:
        return []
    rows = [
        (machine, metric, motion or "-", stick.n, _six(stick.median), _six(stick.spread))
        for (machine, metric, motion), stick in formula.energy.yardsticks.items()
    ]
    known = ", ".join(formula.energy.machines)
    return [
        *_table(("machine", "metric", "motion", "eyes", "median", "spread"), rows),
        *_prose(f"Machines seen: {known}. Another machine: no number. No group above: the energy is blank.", indent=2),
    ]


def _numbers(written: Mapping[str, Any], formula: Formula) -> list[str]:
    blank = written["training"]["blank_shares"]
    rows = [
        (
            place, term["name"], _six(term["centre"]), _six(term["coefficient"]), _six(term["posterior_se"]),
            _six(term["low"]), _six(term["high"]), f"{100.0 * blank.get(term['name'], 0.0):.0f} %",
        )
        for place, term in enumerate(written["formula"]["terms"], start=1)
    ]  # fmt: skip
    shift = written["weights"]["intercept_shift"]
    moved = f", of which {_six(shift)} is a shift of the average" if shift else ""
    return [
        "Numbers: log-odds per step of the column, posterior standard error, 95 % range with doubled prior widths",
        f"  intercept {_six(formula.intercept)}{moved}",
        *_table(("", "term", "centre", "coefficient", "SE", "from", "to", "blank"), rows),
    ]


def _beliefs(written: Mapping[str, Any]) -> list[str]:
    prior = written["prior"]
    lines = [
        f"Believed before the data: prior table {prior['version']}, strength {prior['strength']:g}, "
        f"own-data share {_six(prior['own_data_share'])}"
    ]
    for term in written["formula"]["terms"]:
        own = "own choice. " if term["own_choice"] else ""
        lines += _prose(
            f"{term['name']}: {_six(term['prior_mean'])} ± {_six(term['prior_sd'])}; {own}{term['source']}", 2
        )
    rule = "1 for every eye" if written["weights"]["rule"] == "none" else "0.5 ^ (age of its quarter in quarters / 4)"
    return [
        *lines,
        *_prose(
            "Fit: smallest -sum w (y eta - ln(1 + e^eta)) + 0.5 (b - m)' L (b - m), with eta = intercept + "
            "b' (column - centre), blanks filled as below, the intercept free, L = inverse of (diag(s^2) + "
            f"strength^2 m m'), m and s the means and widths above, w = {rule}; centre = mean of the filled column "
            "with these weights. SE = root of the diagonal of P^-1, P = H + L, H = sum w p (1 - p) z z' at the fit, "
            "z = (1, column - centre)."
        ),
    ]


def _blanks(written: Mapping[str, Any], formula: Formula) -> list[str]:
    learnt = "by EM from rows with blanks" if written["formula"]["blanks"]["linked"] else "one by one, unlinked"
    names = [term.name for term in formula.spec.base]
    return [
        f"Blanks: means m and covariance S of the columns, learnt {learnt}, the outcome left out",
        *_prose(f"mean: {' '.join(_six(value) for value in formula.mean.tolist())}", 2),
        *_triangle("S", names, formula.field_covariance.tolist()),
    ]


def _range(written: Mapping[str, Any], formula: Formula) -> list[str]:
    names = ["intercept", *(term.name for term in formula.spec.terms)]
    return [
        *_prose(
            f"Range: covariance V of intercept and coefficients, and {formula.form_sd:g} on the log-odds for the form "
            "of the model. V = P2^-1 (B + L2) P2^-1 with every s doubled in L2 and P2 = H + L2; B = G / (G - 1) times "
            "the sum over G patients of u u', u = sum of w z (y - p) over the patient's eyes."
        ),
        *_triangle("V", names, formula.covariance.tolist()),
    ]


def _formula(formula: Formula) -> list[str]:
    lines = [
        "Formula (M blank columns, O recorded ones that vary)",
        "  1 x_M = m_M + S_MO S_OO^-1 (x_O - m_O);  C = S_MM - S_MO S_OO^-1 S_OM",
        "  2 eta = intercept + sum of coefficient * (x - centre)",
        "  3 blanks: vm = g' C g, g the coefficients of the columns M;  coefficients: vs = a' V a, a = (1, x - centre)",
        "  4 chance = expit(eta / sqrt(1 + pi vm / 8));  range = expit(eta -/+ 1.959964 sqrt(vs + vm + form^2))",
        "  expit(t) = 1 / (1 + e^-t)",
    ]
    if formula.knots is not None:
        first, middle, last = (_six(knot) for knot in formula.knots)
        lines += [
            f"  curve: knots {first} {middle} {last}, SD {_six(formula.curve_sd)}; d the depth's column; a difference "
            "below 0 counts as 0",
            "    ((d - k1)^3 - (d - k2)^3 (k3 - k1) / (k3 - k2) + (d - k3)^3 (k2 - k1) / (k3 - k2)) / (k3 - k1)^2 / SD",
            "    a blank depth is filled first; its g is the coefficient of the depth + that of the curve *",
            "    3 ((d - k1)^2 - (d - k2)^2 (k3 - k1) / (k3 - k2) + (d - k3)^2 (k2 - k1) / (k3 - k2)) "
            "/ (k3 - k1)^2 / SD",
        ]
    return lines


def _edges(formula: Formula) -> list[str]:
    names = [term.name for term in formula.spec.base]
    rows = [
        (place, name, _six(low), _six(high))
        for place, (name, low, high) in enumerate(
            zip(names, formula.lowest.tolist(), formula.highest.tolist(), strict=True), start=1
        )
    ]
    return [
        *_prose(
            "No number: a column outside its range below where the coefficient (for the depth the larger of line and "
            "curve) exceeds 0.1 either way; more than 3 answers missing; or (x_O - m_O)' S_OO^-1 (x_O - m_O) / size of "
            f"O above {_six(formula.beyond)}. Above {_six(formula.edge)} the forecast says that the eye is at the edge."
        ),
        *_table(("", "column", "lowest", "highest"), rows),
    ]


def _own(written: Mapping[str, Any]) -> list[str]:
    own = written["own_records_only"]
    if own is None:
        return ["Own records only: none; no column has enough eyes on both sides."]
    return [
        *_prose(
            f"Own records only, beside it: ridge with penalty {own['penalty']:g} on columns brought to SD 1, chosen by "
            "cross-validation with patients kept whole; no published evidence, no curve; blanks and formula as above."
        ),
        f"  training parts of the cross-validation {own['folds']}, left out for want of cloudy or of clear eyes "
        f"{own['folds_left_out']}",
        f"  intercept {_six(own['intercept'])}",
        *_table(
            ("term", "centre", "coefficient"),
            [(term["name"], _six(term["centre"]), _six(term["coefficient"])) for term in own["terms"]],
        ),
        *_figures(own["apparent"], own["corrected"], own["figure_resamples"]),
    ]


def _usual(written: Mapping[str, Any]) -> list[str]:
    usual = written["usual"]
    if usual is None:
        return []
    lines = _prose(
        "Usual use of theatre for a nucleus like this one: 10, 50 and 90 % of ln(value), of ln(1 + reading) for "
        f"energy, = intercept + coefficients of {', '.join(usual['predictors'])}, put in order. Blanks take "
        f"{', '.join(_six(value) for value in usual['fill'])}; without a hardness there is no answer."
    )
    for line in usual["lines"]:
        group = ", ".join(part for part in (line["machine"], line["metric"], line["motion"]) if part) or "all cases"
        lines.append(f"  {line['field']}, {group}: {line['n']} cases, {line['method']}")
        for share, coefficients in zip(usual["quantiles"], line["coefficients"], strict=True):
            lines.append(f"    {100.0 * share:.0f} %: {' '.join(_six(value) for value in coefficients)}")
        lines.append(f"    cases from {' '.join(_six(value) for value in line['lowest'])}")
        lines.append(f"           to {' '.join(_six(value) for value in line['highest'])}")
    return lines


def _judgement(written: Mapping[str, Any]) -> list[str]:
    judgement = written["judgement"]
    adequacy = judgement["adequacy"]
    lines = [
        "Judged on its own eyes (apparent; corrected for optimism)",
        *_figures(judgement["apparent"], judgement["corrected"], judgement["figure_resamples"]),
        *_prose(_resamples(judgement), 2),
        *_prose(_stability(judgement["stability"]), 2),
        *_prose(f"Tier {adequacy['tier']}: {adequacy['words']} Shrinkage estimate {_six(adequacy['shrinkage'])}.", 2),
    ]
    size = adequacy["sample_size"]
    if size is not None:
        lines += _prose(
            f"Own data alone would need {size['required']} eyes for {size['parameters']} coefficients at a C statistic "
            f"of {size['c_statistic']:.3f}: {size['shrinkage_n']} so that effects shrink by under a tenth, "
            f"{size['optimism_n']} for the optimism of R2, {size['intercept_n']} for the average, "
            f"{size['error_n']} for the mean error of a chance.",
            2,
        )
    return lines


def _resamples(judgement: Mapping[str, Any]) -> str:
    return (
        f"resamples of the patients: {judgement['resamples']}, without a fit: {judgement['failed_resamples']}, "
        f"blanks in them: {judgement['resampled_blanks']}; drawn anew because all eyes were cloudy or all were clear: "
        f"{judgement['redrawn_resamples']}"
    )


def _stability(found: Mapping[str, Any] | None) -> str:
    if found is None:
        return "how far other patients would have moved a forecast: not worked out"
    return (
        f"other patients of the same practice would have moved the forecast of half the eyes by less than "
        f"{100 * found['median']:.1f} points, of 19 in 20 by less than {100 * found['p95']:.1f} "
        f"({found['resamples']} resamples)"
    )


def _figures(apparent: Mapping[str, Any], corrected: Mapping[str, Any], resamples: Mapping[str, int]) -> list[str]:
    """resamples: in how many each figure could be worked out."""
    lines = []
    for name in _FIGURES:
        shown = ["not estimable" if one[name] is None else f"{one[name]:.4f}" for one in (apparent, corrected)]
        counted = "" if corrected[name] is None else f" from {resamples[name]} resamples"
        lines.append(f"  {name.replace('_', ' ')}: {shown[0]}; {shown[1]}{counted}")
    return lines


def _provenance(written: Mapping[str, Any], formula: Formula) -> list[str]:
    software = ", ".join(f"{name} {version}" for name, version in written["software"].items())
    fields = ", ".join(BY_NAME[name].label for name in formula.spec.predictors)
    return [
        *_prose(f"Fields: {fields}"),
        f"Seed {written['seed']}; {software}",
        f"Hash {written['hash']}",
    ]


def _six(value: float) -> str:
    return f"{value:.6g}"


def _prose(text: str, indent: int = 0) -> list[str]:
    return textwrap.wrap(text, WIDTH, initial_indent=" " * indent, subsequent_indent=" " * (indent + 2))


def _triangle(name: str, names: Sequence[str], rows: Sequence[Sequence[float]]) -> list[str]:
    """Lower triangle of a symmetric matrix, one row a line, rows in the order of `names`."""
    lines = []
    for place, (label, row) in enumerate(zip(names, rows, strict=True)):
        lines += _prose(f"{name} {label}: {' '.join(_six(value) for value in row[: place + 1])}", 2)
    return lines


def _table(headings: Sequence[str], rows: Sequence[Sequence[object]]) -> list[str]:
    texts = [tuple(headings), *(tuple(str(cell) for cell in row) for row in rows)]
    widths = [max(len(row[column]) for row in texts) for column in range(len(headings))]
    return [
        "  " + "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip() for row in texts
    ]
