"""What a training learnt, laid out as the sections of a card and as the summary that others rely on."""

from __future__ import annotations

import platform
from collections.abc import Mapping
from datetime import date
from typing import Any

import numpy as np
import scipy
import sklearn

from models.formula import Formula
from models.measure import Z95
from models.nucleus import UsualUse
from models.optimism import Corrected, Study
from models.penalty import OwnFit
from models.prior_table import PriorTable
from models.spec import Spec


def summary_of(written: Mapping[str, Any]) -> dict[str, Any]:
    """The agreed keys of a training's summary, read from the card's JSON; number, state and seconds come later."""
    own = written["own_records_only"]
    training = written["training"]
    return {
        "model": written["model"],
        "n": training["n"],
        "events": training["events"],
        "patients": training["patients"],
        "excluded": dict(training["excluded"]),
        "penalty": None if own is None else own["penalty"],
        "terms": [
            {name: term[name] for name in ("name", "coefficient", "posterior_se", "low", "high")}
            for term in written["formula"]["terms"]
        ],
        "apparent": dict(written["judgement"]["apparent"]),
        "corrected": dict(written["judgement"]["corrected"]),
        "adequacy": dict(written["judgement"]["adequacy"]),
        "stability": written["judgement"]["stability"],
        "prior": dict(written["prior"]),
        "own_records_only": None
        if own is None
        else {
            "terms": [{"name": term["name"], "coefficient": term["coefficient"]} for term in own["terms"]],
            "apparent": own["apparent"],
            "corrected": own["corrected"],
        },
    }


def card_sections(
    study: Study,
    formula: Formula,
    shift: float,
    corrected: Corrected,
    adequacy: dict[str, Any],
    dropped: dict[str, str],
    until: date | None,
    usual: UsualUse | None,
) -> dict[str, Any]:
    """Everything of a card but format, test vectors and hash.

    shift: what the intercept was moved by; dropped: terms left out and why; usual: what theatre usually takes.
    """
    data, full, spec = study.data, study.full, study.spec
    blank = np.isnan(data.columns).mean(axis=0).tolist()
    return {
        "model": spec.model,
        "spec": spec.as_dict(),
        "formula": _written_formula(study, formula),
        "prior": {
            "version": study.papers.version,
            "strength": study.papers.strength,
            "own_data_share": full.fit.own_data_share,
        },
        "weights": {
            "rule": spec.weights,
            "effective_n": full.fit.effective_n,
            "intercept_shift": float(shift),
            "shifted_until": None,
        },
        "training": {
            "first": data.dates[0].isoformat(),
            "last": data.dates[-1].isoformat(),
            "until": None if until is None else until.isoformat(),
            "n": data.n,
            "events": data.events,
            "patients": data.patient_count,
            "inferred": data.inferred,
            "excluded": dict(data.excluded),
            "unseen": dict(data.unseen),
            "terms_left_out": dropped,
            "blank_shares": {term.name: share for term, share in zip(spec.base, blank, strict=True)},
        },
        "judgement": {
            "apparent": corrected.apparent,
            "corrected": corrected.corrected,
            "resamples": corrected.resamples,
            "failed_resamples": corrected.failed,
            "redrawn_resamples": corrected.redrawn,
            "figure_resamples": corrected.counted,
            "resampled_blanks": corrected.blanks,
            "optimism_se": corrected.se,
            "stability": _written_stability(corrected),
            "adequacy": adequacy,
        },
        "own_records_only": _written_own(study.own, spec, corrected),
        "usual": None if usual is None else usual.as_dict(),
        "seed": study.seed,
        "software": {
            "python": platform.python_version(),
            "numpy": np.__version__,
            "scipy": scipy.__version__,
            "scikit-learn": sklearn.__version__,
        },
    }


def _written_formula(study: Study, formula: Formula) -> dict[str, Any]:
    papers: PriorTable = study.papers
    half = Z95 * np.sqrt(np.diag(formula.covariance)[1:])
    widths = study.full.prior.sd
    errors = study.full.fit.standard_errors
    terms = []
    for j, term in enumerate(formula.spec.terms):
        row = papers.rows.get(term.name)
        b = float(formula.coefficients[j])
        terms.append(
            {
                "name": term.name,
                "coefficient": b,
                "posterior_se": float(errors[j + 1]),
                "low": b - float(half[j]),
                "high": b + float(half[j]),
                "centre": float(formula.centre[j]),
                "prior_mean": float(study.full.prior.mean[j]),
                "prior_sd": float(widths[j]) if widths is not None else 0.0,
                "source": "Not in the prior table: starts at no effect." if row is None else row.source,
                "own_choice": row is None or row.own_choice,
            }
        )
    energy = formula.energy
    return {
        "intercept": formula.intercept,
        "terms": terms,
        "covariance": formula.covariance.tolist(),
        "form_sd": formula.form_sd,
        "knots": None if formula.knots is None else list(formula.knots),
        "curve_sd": formula.curve_sd,
        "blanks": {
            "linked": study.linked,
            "mean": formula.mean.tolist(),
            "covariance": formula.field_covariance.tolist(),
        },
        "energy": None
        if energy is None
        else {
            "machines": list(energy.machines),
            "yardsticks": [
                {
                    "machine": group[0], "metric": group[1], "motion": group[2],
                    "n": stick.n, "median": stick.median, "spread": stick.spread,
                }
                for group, stick in energy.yardsticks.items()
            ],
        },
        "lowest": formula.lowest.tolist(),
        "highest": formula.highest.tolist(),
        "edge": formula.edge,
        "beyond": formula.beyond,
    }  # fmt: skip


def _written_stability(corrected: Corrected) -> dict[str, Any] | None:
    found = corrected.stability
    if found is None:
        return None
    return {"median": found.median, "p95": found.p95, "resamples": found.resamples}


def _written_own(own: OwnFit | None, spec: Spec, corrected: Corrected) -> dict[str, Any] | None:
    if own is None:
        return None
    names = [spec.base[j].name for j in own.used]
    return {
        "penalty": own.penalty,
        "folds": own.folds,
        "folds_left_out": own.folds_left_out,
        "intercept": own.intercept,
        "terms": [
            {"name": name, "coefficient": float(b), "centre": float(c)}
            for name, b, c in zip(names, own.coefficients, own.centre, strict=True)
        ],
        "apparent": corrected.own_apparent,
        "corrected": corrected.own_corrected,
        "figure_resamples": corrected.own_counted,
    }
