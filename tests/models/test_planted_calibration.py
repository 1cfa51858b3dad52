"""Two intervals of calibration by hand: seen over forecast by patient, and the band of the smooth curve."""

from __future__ import annotations

import math

import numpy as np
import pytest

from models.arrays import expit, logit
from models.calibration import curve_with_band, observed_expected, smooth
from models.fit import fit_logistic


def test_seen_over_forecast_by_patient_by_hand() -> None:
    # ten patients, 0.2 forecast for each, five cloudy: O 5, E 2, var(O) = 5 * 0.8^2 + 5 * 0.2^2 = 3.4
    found = observed_expected(np.full(10, 0.2), np.repeat([1.0, 0.0], 5), np.arange(10))
    factor = math.exp(1.959963984540054 * math.sqrt(3.4) / 5)
    assert found.value == pytest.approx(2.5)
    assert found.se == pytest.approx(math.sqrt(3.4) / 2)
    assert (found.low, found.high) == pytest.approx((2.5 / factor, 2.5 * factor))


def test_the_band_is_a_95_per_cent_band() -> None:
    draw = np.random.default_rng(6)
    eta = draw.normal(-1.0, 1.0, 1500)
    outcome = (draw.random(1500) < expit(eta)).astype(float)
    codes = np.arange(1500)
    curve = smooth(expit(eta), outcome, knots=3)
    points = curve_with_band(curve, expit(eta), outcome, codes, resamples=2000, seed=1)
    fit = fit_logistic(curve.basis(eta), outcome, clusters=codes)
    at = np.array([point.risk for point in points])
    design = np.column_stack([np.ones(at.shape[0]), curve.basis(logit(at))])
    assert fit.robust_covariance is not None
    se = np.sqrt(np.einsum("ij,jk,ik->i", design, fit.robust_covariance, design))
    low, high = (logit(np.array([getattr(point, end) for point in points])) for end in ("low", "high"))
    # the quantiles of 2000 resamples are known to about 2 %; a 90 % band would be 16 % narrower
    assert float(np.mean((high - low) / (2.0 * 1.959963984540054 * se))) == pytest.approx(1.0, abs=0.07)
