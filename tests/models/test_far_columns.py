"""Columns far from zero, and the certificate of a fit: units and weights of the caller must not cost digits."""

from __future__ import annotations

import numpy as np
import pytest

from models import ModelError, Prior, fit_logistic, range_covariance
from models.fit import certified
from models.newton import newton
from models.standardised import Standardised
from tests.models.reference_data import Array, birthwt


def practice(seed: int = 1, n: int = 400) -> tuple[Array, Array]:
    rng = np.random.default_rng(seed)
    X = rng.normal(size=(n, 3)) * [1.0, 0.3, 4.0]
    return X, (rng.random(n) < 1.0 / (1.0 + np.exp(1.0 - X[:, 0]))).astype(float)


PRIORS = {
    "none": None,
    "published, with its strength": Prior.published([0.5, -0.2, 0.1], [0.3, 0.4, 0.2]),
    "one column alone": Prior([0.0, 0.4, 0.0], np.diag([0.0, 3.0, 0.0])),
    "full": Prior([0.2, 0.4, -0.1], [[4.0, 1.0, -0.5], [1.0, 2.0, 0.3], [-0.5, 0.3, 3.0]]),
}


@pytest.mark.parametrize("name", PRIORS)
def test_a_million_added_to_every_column_changes_the_intercept_alone(name: str) -> None:
    prior = PRIORS[name]
    X, y = practice()
    far = np.array([1e6, -2e6, 1e6])
    moved = X + far
    near = moved - far  # the digits that the moved columns have left
    rng = np.random.default_rng(2)
    around = {"weights": rng.random(400) * 2.0, "clusters": np.arange(400) // 2, "offset": rng.normal(size=400) * 0.3}
    plain, fit = (fit_logistic(table, y, prior=prior, **around) for table in (near, moved))
    assert fit.coefficients == pytest.approx(plain.coefficients, abs=1e-12)
    assert fit.intercept == pytest.approx(plain.intercept - far @ plain.coefficients, abs=1e-8)
    assert fit.effective_df == pytest.approx(plain.effective_df, abs=1e-10)
    assert fit.log_likelihood == pytest.approx(plain.log_likelihood, abs=1e-9)
    assert fit.predict(moved, around["offset"]) == pytest.approx(plain.predict(near, around["offset"]), abs=1e-9)
    carry = np.eye(4)
    carry[0, 1:] = -far
    assert fit.covariance == pytest.approx(carry @ plain.covariance @ carry.T, rel=1e-10)
    assert plain.robust_covariance is not None
    assert fit.robust_covariance == pytest.approx(carry @ plain.robust_covariance @ carry.T, rel=1e-10)
    assert fit.largest_gradient < 1e-8 * fit.weight_total
    expected = carry @ range_covariance(plain, near, y, prior=prior, **around) @ carry.T
    # the chance at the fit keeps ten digits so far out
    assert range_covariance(fit, moved, y, prior=prior, **around) == pytest.approx(expected, rel=1e-7)


def test_the_quick_steps_settle_far_from_zero_too() -> None:
    X, y = practice()
    moved = X + 1e6
    weight = np.random.default_rng(2).random(400)
    for prior in (Prior.ridge(0.0, 3), Prior.published([0.5, -0.2, 0.1], [0.3, 0.4, 0.2])):
        near = newton(moved - 1e6, weight, weight * y, prior)
        far = newton(moved, weight, weight * y, prior, None if near is None else near - [1e6 * near[1:].sum(), 0, 0, 0])
        assert near is not None
        assert far is not None
        assert far[1:] == pytest.approx(near[1:], abs=1e-12)
        assert far[0] == pytest.approx(near[0] - 1e6 * near[1:].sum(), abs=1e-8)


def test_a_calendar_in_seconds_is_a_column_like_any_other() -> None:
    # seconds since 1970: far from zero and wide; beyond what rounding lets the sums tell, that is the limit
    X, y = practice()
    seconds = 1.7e9 + np.round(3e7 * X[:, :1])
    fit = fit_logistic(seconds, y)
    years = fit_logistic((seconds - 1.7e9) / 3e7, y)
    assert fit.coefficients * 3e7 == pytest.approx(years.coefficients, abs=1e-10)
    assert fit.predict(seconds) == pytest.approx(years.predict((seconds - 1.7e9) / 3e7), abs=1e-9)


def test_a_published_example_in_other_units_and_far_off() -> None:
    # birthwt (R package MASS), full maximum likelihood; coefficient of smoking .938846, SE .402154
    x, y = birthwt()
    fit = fit_logistic(x * 1e-3 + 5e4, y)
    assert fit.coefficients[4] * 1e-3 == pytest.approx(0.938846, abs=1e-6)
    assert fit.standard_errors[5] * 1e-3 == pytest.approx(0.402154, abs=1e-6)


def test_far_columns_that_say_the_same_are_still_refused() -> None:
    X, y = practice()
    with pytest.raises(ModelError, match="Columns 0, 3 "):
        fit_logistic(np.column_stack([X, 2.0 * X[:, 0]]) + 1e6, y)
    with pytest.raises(ModelError, match="Columns 3 "):
        fit_logistic(np.column_stack([X, np.zeros(400)]) + 1e6, y)
    # a constant whose long sum is off by its last digits is constant all the same
    many = np.full((300_000, 1), 0.1)
    assert Standardised.of(many, np.ones(300_000)).design[:, 1].tolist() == [0.0] * 300_000
    assert Standardised.of(many + 1e6, np.random.default_rng(1).random(300_000)).scale.tolist() == [1.0]


def test_numbers_too_large_to_be_squared_are_refused() -> None:
    X, y = practice()
    for size in (1e160, 1e307):
        with pytest.raises(ModelError, match="too large to be squared"):
            fit_logistic(X / np.abs(X).max() * size, y, prior=Prior.ridge(1.0, 3))


def test_the_certificate_counts_weights_and_not_rows() -> None:
    X, y = practice()
    columns = Standardised.of(X, np.ones(400))
    gradient = np.array([2e-6, 0.0, 0.0, 0.0])
    assert certified(columns, gradient, 400.0)
    # weights that halve four times over: the same eyes count as 25
    assert not certified(columns, gradient, 25.0)
    for seed in range(8):
        X, y = practice(seed)
        weight = np.ones(400)
        whole, little = (newton(X, w, w * y, Prior.ridge(0.0, 3)) for w in (weight, weight * 1e-9))
        assert whole is not None
        assert little == pytest.approx(whole, abs=1e-13)
    few = fit_logistic(X, y, weights=np.full(400, 1e-9))
    assert few.largest_gradient < 1e-8 * few.weight_total


def test_the_certificate_speaks_of_the_units_given() -> None:
    # 1e-9 of an eye left in the intercept is a thousandth of an eye times the unit of a column a million from zero
    X, _ = practice()
    columns = Standardised.of(X + 1e6, np.ones(400))
    assert columns.gradient(np.array([1e-9, 0.0, 0.0, 0.0]))[1:] == pytest.approx(np.full(3, 1e-3), rel=1e-5)
    assert not certified(columns, np.array([1e-9, 0.0, 0.0, 0.0]), 400.0)
    assert certified(Standardised.of(X, np.ones(400)), np.array([1e-9, 0.0, 0.0, 0.0]), 400.0)
