"""Blanks: the EM algorithm and the worked example of two missing tests."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import multivariate_normal, norm

from models import Normal, averaged_risk, learn_normal, likely_answers, logit_variance, risk_range
from models.arrays import expit
from models.missing import TENTH
from tests.models.reference_data import Array, pima

TOLERANCE = 1e-3

# Own run in another program, gradient checked: Pima.tr2 (npreg glu bp skin bmi ped age), maximum likelihood.
PIMA_MEAN = [3.786667, 123.743333, 72.281466, 29.113703, 32.058799, 0.435657, 33.096667]
PIMA_SD = [3.30068, 29.96149, 11.67578, 11.92414, 6.47574, 0.29411, 11.55886]


def test_em_on_pima() -> None:
    found = learn_normal(pima(), steadying=0.0)
    sd = np.sqrt(np.diag(found.covariance))
    assert found.mean == pytest.approx(PIMA_MEAN, abs=TOLERANCE)
    assert sd == pytest.approx(PIMA_SD, abs=TOLERANCE)
    assert found.covariance[3, 4] / (sd[3] * sd[4]) == pytest.approx(0.674702, abs=TOLERANCE)
    assert found.log_likelihood == pytest.approx(-6136.47758, abs=TOLERANCE)
    filled = found.fill([[1, 100, 70, np.nan, 30, 0.4, 30]])
    assert filled.values[0, 3] == pytest.approx(26.27314, abs=TOLERANCE)
    assert np.sqrt(filled.spread[0][3, 3]) == pytest.approx(8.51026, abs=TOLERANCE)
    # a wrong recipe is far outside the tolerance: means and SDs of what was observed
    assert abs(np.nanmean(pima()[:, 3]) - PIMA_MEAN[3]) > 0.03
    assert abs(np.nanstd(pima()[:, 3]) - PIMA_SD[3]) > 0.1


def observed_log_likelihood(table: Array, mean: Array, covariance: Array) -> float:
    total = 0.0
    for row in table:
        seen = ~np.isnan(row)
        total += multivariate_normal.logpdf(row[seen], mean[seen], covariance[np.ix_(seen, seen)])
    return total


def test_log_likelihood_is_that_of_what_was_observed_and_at_its_top() -> None:
    table = pima()
    found = learn_normal(table, steadying=0.0)
    assert found.log_likelihood == pytest.approx(observed_log_likelihood(table, found.mean, found.covariance), abs=1e-6)
    top = found.log_likelihood
    assert top is not None
    for step in (-0.05, 0.05):
        moved = found.mean + step * np.sqrt(np.diag(found.covariance)) * (np.arange(7) == 3)
        assert observed_log_likelihood(table, moved, found.covariance) < top - 0.1


def test_steadying_is_that_many_imagined_rows() -> None:
    table = pima()[~np.isnan(pima()).any(axis=1)]
    n = table.shape[0]
    sd = table.std(axis=0)
    found = learn_normal(table, steadying=2.0)
    expected = (n * np.cov(table.T, bias=True) + 2.0 * np.diag(sd**2)) / (n + 2.0)
    assert found.mean == pytest.approx(table.mean(axis=0), abs=1e-9)
    assert found.covariance == pytest.approx(expected, rel=1e-9)
    plain = learn_normal(table, steadying=0.0)
    assert plain.covariance == pytest.approx(np.cov(table.T, bias=True), rel=1e-9)


# The worked example: standardised hardness, depth, count, thickness; count and thickness missing.
CORRELATION = np.array([[1, -0.20, -0.15, 0.05], [-0.20, 1, 0.10, 0], [-0.15, 0.10, 1, -0.30], [0.05, 0, -0.30, 1]])
B0 = -2.40
B = np.array([0.50, -0.30, -0.45, 0.15])
EYE = np.array([1.2, -1.1, np.nan, np.nan])
V = np.diag([0.010, 0.012, 0.012, 0.020, 0.014])
V[0, 1] = V[1, 0] = -0.002
V[3, 4] = V[4, 3] = 0.004


def test_worked_example_of_two_missing_tests() -> None:
    normal = Normal(np.zeros(4), CORRELATION)
    filled = normal.fill(EYE[None, :])
    assert filled.values[0] == pytest.approx([1.2, -1.1, -0.24271, 0.05104], abs=1e-5)
    left = filled.spread[0]
    assert left[2:, 2:].ravel() == pytest.approx([0.97240, -0.29323, -0.29323, 0.99740], abs=1e-5)
    assert not left[:2].any()
    assert not left[:, :2].any()
    eta = B0 + float(filled.values[0] @ B)
    v_s = float(logit_variance(V, filled.values)[0])
    v_m = float(filled.spread.variance(B)[0])
    assert eta == pytest.approx(-1.353125, abs=1e-6)
    assert float(expit(eta)) == pytest.approx(0.205360, abs=1e-6)
    assert v_s == pytest.approx(0.038116, abs=1e-6)
    assert v_m == pytest.approx(0.258938, abs=1e-6)
    assert float(averaged_risk(eta, v_m)) == pytest.approx(0.215994, abs=1e-6)
    exact = quad(lambda z: float(expit(eta + np.sqrt(v_m) * z)) * norm.pdf(z), -9, 9)[0]
    assert exact == pytest.approx(0.217070, abs=1e-6)

    gains = normal.gain(EYE, B)
    assert set(gains) == {2, 3}
    assert gains[2] == pytest.approx(0.23849, abs=1e-5)
    assert gains[3] == pytest.approx(0.07948, abs=1e-5)
    assert gains[2] / v_m == pytest.approx(0.921, abs=5e-4)
    assert gains[3] / v_m == pytest.approx(0.307, abs=5e-4)
    assert likely_answers(eta, gains[2]) == pytest.approx((0.1214, 0.3258), abs=5e-5)
    assert likely_answers(eta, gains[3]) == pytest.approx((0.1526, 0.2706), abs=5e-5)

    assert np.array(risk_range(eta, v_s, form_sd=0.0)) == pytest.approx([0.1499, 0.2748], abs=5e-5)
    assert np.array(risk_range(eta, v_s, v_m, form_sd=0.0)) == pytest.approx([0.0816, 0.4293], abs=5e-5)
    width = [2 * 1.96 * np.sqrt(v_s + v_m - gain) for gain in (0.0, gains[2], gains[3])]
    assert width == pytest.approx([2.1365, 0.9487, 1.8285], abs=1e-4)
    assert norm.ppf(0.9) == pytest.approx(TENTH, abs=1e-12)


def test_gain_is_what_measuring_takes_off() -> None:
    # measured, the other blank's own conditional variance stays: v_m falls by exactly the gain
    normal = Normal(np.zeros(4), CORRELATION)
    v_m = float(normal.fill(EYE[None, :]).spread.variance(B)[0])
    for j, gain in normal.gain(EYE, B).items():
        measured = EYE.copy()
        measured[j] = 0.7
        assert float(normal.fill(measured[None, :]).spread.variance(B)[0]) == pytest.approx(v_m - gain, abs=1e-12)
    both = normal.gain_of_groups(EYE, B, {"both": (2, 3), "known": (0, 1)})
    assert both == {"both": pytest.approx(v_m, abs=1e-12)}
