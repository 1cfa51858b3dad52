"""A card's range is by patient, a resample is what a statistician would redo by hand, and own records by weight."""

from __future__ import annotations

import numpy as np
import pytest

from models.blanks import Blanks
from models.dataset import build
from models.fit import range_covariance
from models.judging import performance
from models.missing import learn_normal
from models.optimism import Study, correct_optimism
from models.penalty import fit_own, usable_columns
from models.prior_table import read_prior_table
from models.recipe import one_pass
from models.resampling import drawn_patients
from models.spec import default_spec
from models.training import train
from tests.models.invented_practice import practice


def study(eyes: int = 500) -> Study:
    spec = default_spec("booking")
    data = build(practice(eyes), spec)
    blanks, papers, weights = Blanks(data.columns), read_prior_table(), np.ones(data.n)
    normal = learn_normal(data.columns)
    full = one_pass(spec, data, blanks, data.columns, normal, papers, weights=weights, clusters=data.patients)
    return Study(spec, data, blanks, papers, weights, full, True, None, 1)


def test_the_range_of_a_card_is_by_patient() -> None:
    made = study()
    full, data = made.full, made.data
    card = train(practice(500), model="booking", resamples=1).card
    by_patient = range_covariance(full.fit, full.design, data.y, prior=full.prior, clusters=data.patients)
    by_eye = range_covariance(full.fit, full.design, data.y, prior=full.prior)
    assert np.asarray(card.formula.covariance) == pytest.approx(by_patient, rel=1e-6, abs=1e-9)
    assert np.abs(by_eye - by_patient).max() > 1e-4


def test_one_resample_by_hand() -> None:
    made = study()
    data = made.data
    counts = drawn_patients(slice(0, 1), data.patients, data.y, 1)[data.patients, 0].astype(np.int64)
    weights = counts.astype(float)
    normal = made.blanks.relearn(data.columns, weights, made.full.normal)
    redone = one_pass(
        made.spec, data, made.blanks, data.columns, normal, made.papers, weights=weights, counts=counts
    )  # fmt: skip
    here, there = performance(redone.risk, data.y, weights=weights), performance(redone.risk, data.y)
    apparent = performance(made.full.risk, data.y)
    found = correct_optimism(made, 1).corrected
    for name in ("c_statistic", "brier", "calibration_in_the_large", "calibration_slope"):
        optimism = getattr(here, name) - getattr(there, name)
        assert found[name] == pytest.approx(getattr(apparent, name) - optimism, abs=1e-6), name


def test_a_column_of_few_noes_is_as_rare_as_one_of_few_yeses() -> None:
    number = np.arange(100)
    table = np.column_stack([number < 9, number >= 9, number < 10, number >= 10]).astype(float)
    assert usable_columns(table, np.ones(100), np.ones(4, dtype=bool)) == (2, 3)


def test_own_records_too_count_a_weight_as_that_many_eyes() -> None:
    draw = np.random.default_rng(12)
    table = np.column_stack([draw.normal(3.0, 1.0, 300), draw.exponential(2.0, 300)])
    y = (draw.random(300) < 1.0 / (1.0 + np.exp(3.0 - 0.8 * table[:, 1]))).astype(float)
    patients = np.arange(300) // 2
    # eyes with high values weigh more, so that the weighted mean is another
    counts = 1 + (table[:, 1] > 2.0) * 2
    many = np.repeat(np.arange(300), counts)
    weighted = fit_own(table, y, counts.astype(float), patients, (0, 1), seed=1)
    repeated = fit_own(table[many], y[many], np.ones(many.shape[0]), patients[many], (0, 1), seed=1)
    assert weighted.penalty == repeated.penalty
    assert weighted.centre == pytest.approx(repeated.centre, abs=1e-12)
    assert weighted.intercept == pytest.approx(repeated.intercept, abs=1e-6)
    assert weighted.coefficients == pytest.approx(repeated.coefficients, abs=1e-6)
