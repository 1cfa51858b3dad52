"""Records in, candidate out: build, fit, judge and write down a model; nothing is put in use here."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

import numpy as np
from threadpoolctl import threadpool_limits

from models.adequacy import Tier, sample_size, shrinkage_estimate, tier
from models.arrays import FloatArray, IntArray
from models.blanks import Blanks
from models.card import Card, compose
from models.dataset import Dataset, build, eye_key
from models.errors import ModelError
from models.fit import range_covariance
from models.formula import Formula
from models.missing import Normal, learn_normal
from models.nucleus import UsualUse
from models.optimism import FROZEN, REDONE, Corrected, Study, correct_optimism, yes_no_columns
from models.penalty import MOST_BLANK, OwnFit, fit_own, usable_columns
from models.prior import Prior
from models.prior_table import read_prior_table
from models.progress import Report, silent
from models.ranges import MODEL_FORM_SD
from models.recipe import Pass, one_pass
from models.sections import card_sections, summary_of
from models.spec import Spec, default_spec
from models.synthetic import synthetic_rows
from models.update import level_shift
from models.usual import learn_usual
from models.working import Working

Row = Mapping[str, object]

HALF_LIFE = 4
"""Quarters in which an eye's weight halves, for candidates after the first model."""

FARTHEST = 4.0
"""Prior SDs beyond which a coefficient is taken for a fault of the data."""

MOST_C = 0.95
"""A corrected C statistic above this hints at leakage; no number of eyes is worked out from it."""

STABLE = 0.9
"""Shrinkage estimate under which forecasts are labelled as mostly published evidence."""


@dataclass(frozen=True, eq=False)
class Training:
    """A candidate: its card, and the summary whose keys others rely on (all but model number, state and seconds)."""

    card: Card
    summary: dict[str, Any]


def train(
    rows: Iterable[Row],
    *,
    model: str,
    until: date | None = None,
    resamples: int = 200,
    seed: int = 1,
    weights: str | None = None,
    spec: Spec | None = None,
    blanks: str = REDONE,
    report: Report = silent,
) -> Training:
    """Fit a candidate of the kind `model` from rows with their derived values.

    until: last surgery date taken. weights: None (a practice's first model) or `halving`, an eye's weight halves every
    four quarters and the average is then moved, shrunken, to the last four quarters. spec: another model on paper than
    the default; the depth has its curve from 100 cloudy eyes on and not before. blanks: what the resamples do about
    them: `redone` learns everything anew in each, `frozen` redoes the fit alone, many times faster; the card says it.

    Raises ModelError when the records are too few for this kind of model, or cannot be trusted.
    """
    # One thread for linear algebra: its sums then have one order, and the same records give the same card.
    with threadpool_limits(limits=1):
        return _train(rows, model, until, resamples, seed, weights, spec, blanks, report)


def tier_of(rows: Iterable[Row], model: str = "booking") -> Tier:
    """How far the practice's eyes carry, for the page that shows the practice's rate."""
    data = build(rows, default_spec(model))
    return tier(data.events, data.n, data.patient_count)


def halving_weights(quarters: IntArray) -> FloatArray:
    """0.5 ^ (age in quarters / 4), the last quarter having 1."""
    return np.asarray(0.5 ** ((quarters.max() - quarters) / HALF_LIFE), dtype=np.float64)


def _train(
    rows: Iterable[Row],
    model: str,
    until: date | None,
    resamples: int,
    seed: int,
    weights: str | None,
    spec: Spec | None,
    resampled_blanks: str,
    report: Report,
) -> Training:
    if resampled_blanks not in (REDONE, FROZEN):
        raise ModelError(
            "The model cannot be trained.",
            f"Resamples treat blanks as {REDONE} or {FROZEN}; given is another word.",
            "Choose one of the two.",
        )
    report(0.0, "Reading the records.")
    drawn = replace(spec or default_spec(model), weights=weights or "none")
    if drawn.model != model:
        raise ModelError("The model cannot be trained.", "Its plan is for another kind of model.", "Choose one kind.")
    rows = list(rows)
    data = build(rows, drawn, until=until)
    weight = _weights(drawn, data)
    step = tier(float(weight @ data.y), data.n, data.patient_count)
    _refuse_too_few(step, data, model, float(weight @ data.y))
    drawn, data, dropped = _without_blank_terms(drawn, data)
    drawn = drawn.with_curve() if step.depth_curve and drawn.depth is not None else drawn.without_curve()

    report(0.05, "Learning how the fields go together.")
    papers = read_prior_table()
    normal, linked = _joint_normal(data, weight)
    blanks = Blanks(data.columns)
    full = one_pass(drawn, data, blanks, data.columns, normal, papers, weights=weight, clusters=data.patients)
    _refuse_far_from_papers(drawn, full)
    own = _own_fit(drawn, data, full, weight, seed)
    study = Study(drawn, data, blanks, papers, weight, full, linked, own, seed)
    corrected = correct_optimism(
        study, resamples, lambda part, words: report(0.1 + 0.85 * part, words), blanks=resampled_blanks
    )

    report(0.96, "Writing the card.")
    formula, shift = _formula(drawn, data, full, weight)
    adequacy = _adequacy(step, full, data, corrected, own_share=full.fit.own_data_share)
    usual = _usual(rows, data) if model == "end_of_case" else None
    sections = card_sections(study, formula, shift, corrected, adequacy, dropped, until, usual)
    card = compose(sections, synthetic_rows(formula))
    report(1.0, "The candidate is ready.")
    return Training(card, summary_of(card.written))


def _usual(rows: Iterable[Row], data: Dataset) -> UsualUse | None:
    """What theatre usually takes for a nucleus, from the rows that trained the model."""
    kept = frozenset(data.keys)
    return learn_usual(row for row in rows if eye_key(row) in kept)


def _weights(spec: Spec, data: Dataset) -> FloatArray:
    return np.ones(data.n) if spec.weights == "none" or not data.n else halving_weights(data.quarters)


def _refuse_too_few(step: Tier, data: Dataset, model: str, counted: float) -> None:
    counts = f"The records hold {data.n} graded eyes of {data.patient_count} patients, {data.events} of them cloudy."
    if counted < data.events:
        counts += f" With weights that halve every four quarters the cloudy ones count as {counted:.1f}."
    if not step.individual_forecasts:
        raise ModelError(
            "There are too few eyes for a model.",
            counts,
            "Go on recording: a booking model needs 15 cloudy eyes among 100 eyes of 60 patients.",
        )
    if model == "end_of_case" and not step.end_of_case_forecasts:
        raise ModelError(
            "There are too few cloudy eyes for an end-of-case model.",
            counts,
            "Use the booking model and go on recording: the end-of-case model needs 50 cloudy eyes.",
        )


def _without_blank_terms(spec: Spec, data: Dataset) -> tuple[Spec, Dataset, dict[str, str]]:
    """Leave out terms that are blank in more than 70 % of the eyes."""
    blank = np.isnan(data.columns).mean(axis=0)
    dropped = {
        term.name: f"blank in {round(100.0 * share)} % of the eyes"
        for term, share in zip(spec.base, blank.tolist(), strict=True)
        if share > MOST_BLANK
    }
    if not dropped:
        return spec, data, {}
    if len(dropped) == len(spec.base):
        raise ModelError(
            "The model cannot be trained.", "Every field of it is blank in most eyes.", "Fill in the booking fields."
        )
    kept = [j for j, term in enumerate(spec.base) if term.name not in dropped]
    energy = None if spec.energy is not None and spec.terms[spec.energy].name in dropped else data.energy
    return spec.without(frozenset(dropped)), replace(data, columns=data.columns[:, kept], energy=energy), dropped


def _joint_normal(data: Dataset, weight: FloatArray) -> tuple[Normal, bool]:
    """The joint normal of the fields; means alone where the link cannot be learnt (the card says so)."""
    try:
        return learn_normal(data.columns, weights=weight), True
    except ModelError:
        return Normal.independent(data.columns, weights=weight), False


def _refuse_far_from_papers(spec: Spec, full: Pass) -> None:
    prior: Prior = full.prior
    spread = np.sqrt(np.diag(np.linalg.inv(prior.precision)))
    far = np.abs(full.fit.coefficients - prior.mean) > FARTHEST * spread
    if far.any():
        names = ", ".join(spec.terms[j].label for j in np.flatnonzero(far).tolist())
        raise ModelError(
            "The model cannot be trusted.",
            f"It came out far from everything published: {names}.",
            "Look for a fault in how these fields are recorded; until it is found the practice's rate is shown.",
        )


def _own_fit(spec: Spec, data: Dataset, full: Pass, weight: FloatArray, seed: int) -> OwnFit | None:
    used = usable_columns(data.columns, np.ones(data.n), yes_no_columns(spec))
    if not used:
        return None
    return fit_own(full.filled.values, data.y, weight, data.patients, used, seed=seed)


def _formula(spec: Spec, data: Dataset, full: Pass, weight: FloatArray) -> tuple[Formula, float]:
    shift = 0.0
    if spec.weights == "halving":
        late = data.quarters > data.quarters.max() - 4
        shift = level_shift(full.risk[late], data.y[late], clusters=data.patients[late]).applied
    covariance = range_covariance(
        full.fit, full.design, data.y, prior=full.prior, clusters=data.patients, weights=weight
    )  # fmt: skip
    formula = Formula(
        spec=spec,
        intercept=full.fit.intercept + shift,
        centre=full.centre,
        coefficients=full.fit.coefficients,
        covariance=covariance,
        form_sd=MODEL_FORM_SD,
        mean=full.normal.mean,
        field_covariance=(full.normal.covariance + full.normal.covariance.T) / 2.0,
        knots=full.knots,
        curve_sd=full.curve_sd,
        energy=data.energy,
        lowest=np.nanmin(data.columns, axis=0),
        highest=np.nanmax(data.columns, axis=0),
        edge=0.0,
        beyond=0.0,
    )
    working = Working(formula)
    distances = working.distances(data.columns)
    edge, beyond = np.quantile(distances, (0.99, 0.999))
    return replace(formula, edge=float(edge), beyond=float(beyond)), shift


def _adequacy(step: Tier, full: Pass, data: Dataset, corrected: Corrected, *, own_share: float) -> dict[str, Any]:
    shrinkage = shrinkage_estimate(full.fit)
    words = step.words
    mostly = step.letter == "B" or (step.letter == "C" and shrinkage < STABLE)
    if mostly:
        words += f" Mostly published evidence: own-data share {round(100.0 * own_share)} %."
    c = corrected.corrected["c_statistic"]
    needed = None
    if c is not None and 0.5 < c < MOST_C:
        parameters = int(full.fit.coefficients.shape[0])
        size = sample_size(prevalence=data.events / data.n, parameters=parameters, c_statistic=c)
        needed = {
            "shrinkage_n": size.shrinkage_n, "optimism_n": size.optimism_n, "intercept_n": size.intercept_n,
            "error_n": size.error_n,
            "required": size.required, "parameters": parameters, "c_statistic": float(c),
        }  # fmt: skip
    return {
        "tier": step.letter, "words": words, "shrinkage": shrinkage, "mostly_published": mostly, "sample_size": needed,
    }  # fmt: skip
