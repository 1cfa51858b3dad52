"""Ten million eyes, a registry of a whole country over many years: the answer is right, and memory does not run out.

Measured on two virtual processors: 27 s, 1.4 GB at the most, the test and its data included.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import expit

from models import fit_logistic
from models.discrimination import c_measure


@pytest.mark.slow
def test_fit_and_ranking_of_ten_million_eyes() -> None:
    n, truth = 10_000_000, np.array([-2.2, 0.5, -0.3])
    rng = np.random.default_rng(1)
    X = rng.standard_normal((n, 2))
    y = (rng.random(n) < expit(truth[0] + X @ truth[1:])) * 1.0
    fit = fit_logistic(X, y)
    found = np.array([fit.intercept, *fit.coefficients])
    assert np.abs((found - truth) / fit.standard_errors).max() < 4.0
    risk = fit.predict(X)
    # the score equations, summed here
    left = y - risk
    assert abs(left.mean()) < 1e-8
    assert np.abs(X.T @ left).max() / n < 1e-8
    # standard errors from the information, summed here: w, w x, w x x'
    w = risk * (1.0 - risk)
    information = np.empty((3, 3))
    information[0] = information[:, 0] = [w.sum(), *(w @ X)]
    information[1:, 1:] = [[float(w @ (a * b)) for b in X.T] for a in X.T]
    assert fit.standard_errors == pytest.approx(np.sqrt(np.diag(np.linalg.inv(information))), rel=1e-6)
    ranked = c_measure(risk, y, np.arange(n) // 2)
    # every cloudy eye looked up among the clear ones
    below = np.searchsorted(np.sort(risk[y == 0.0]), risk[y == 1.0])
    assert ranked.value == pytest.approx(below.mean() / (n - y.sum()), abs=1e-9)
    assert ranked.low is not None
    assert ranked.high is not None
    assert ranked.high - ranked.low == pytest.approx(0.00106, abs=0.00002)
