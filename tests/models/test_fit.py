"""How the logistic fit behaves: what it refuses, and what must not change it."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from models import ModelError, Prior, Separation, fit_logistic, range_covariance
from models.arrays import expit
from tests.models.reference_data import Array, birthwt


def practice(seed: int, n: int = 120, p: int = 3) -> tuple[Array, Array]:
    """Invented eyes with an outcome that depends a little on the columns."""
    rng = np.random.default_rng(seed)
    x = rng.normal(size=(n, p))
    y = (rng.random(n) < expit(-1.0 + x @ np.linspace(0.8, -0.4, p))).astype(float)
    y[:2] = 0.0, 1.0
    return x, y


PRIOR = Prior.published([0.5, -0.2, 0.1], [0.3, 0.4, 0.2])


@given(st.integers(0, 10_000))
@settings(max_examples=10)
def test_order_of_eyes_names_of_patients_and_units_change_nothing(seed: int) -> None:
    x, y = practice(seed)
    patients = np.arange(120) // 2
    fit = fit_logistic(x, y, prior=PRIOR, clusters=patients)
    order = np.random.default_rng(seed).permutation(120)
    again = fit_logistic(x[order], y[order], prior=PRIOR, clusters=[f"P{999 - k}" for k in patients[order]])
    assert again.predict(x) == pytest.approx(fit.predict(x), abs=1e-9)
    assert again.robust_covariance == pytest.approx(fit.robust_covariance, abs=1e-9)
    unit = np.array([25.4, 1e-3, 1e4])
    assert PRIOR.sd is not None
    scaled = Prior.published(PRIOR.mean / unit, PRIOR.sd / unit)
    other = fit_logistic(x * unit, y, prior=scaled, clusters=patients)
    assert other.predict(x * unit) == pytest.approx(fit.predict(x), abs=1e-9)
    assert other.effective_df == pytest.approx(fit.effective_df, abs=1e-9)


@given(st.integers(0, 10_000))
@settings(max_examples=10)
def test_forecasts_average_to_what_was_seen(seed: int) -> None:
    x, y = practice(seed)
    fit = fit_logistic(x, y, prior=PRIOR)
    assert fit.predict(x).mean() == pytest.approx(y.mean(), abs=1e-6)


def test_the_same_call_gives_the_same_bits() -> None:
    x, y = practice(3)
    first, second = (fit_logistic(x, y, prior=PRIOR, clusters=np.arange(120) // 2) for _ in range(2))
    assert first.coefficients.tobytes() == second.coefficients.tobytes()
    assert first.robust_covariance is not None
    assert second.robust_covariance is not None
    assert first.robust_covariance.tobytes() == second.robust_covariance.tobytes()


def test_results_cannot_be_changed() -> None:
    fit = fit_logistic(*practice(3))
    with pytest.raises(ValueError, match="read-only"):
        fit.coefficients[0] = 0.0


def test_every_eye_doubled_as_its_own_fellow() -> None:
    x, y = practice(5)
    single = fit_logistic(x, y, clusters=np.arange(120))
    double = fit_logistic(np.vstack([x, x]), np.tile(y, 2), clusters=np.tile(np.arange(120), 2))
    assert double.coefficients == pytest.approx(single.coefficients, abs=1e-9)
    assert double.robust_covariance == pytest.approx(single.robust_covariance, abs=1e-9)
    assert double.standard_errors == pytest.approx(single.standard_errors / np.sqrt(2), abs=1e-9)


def test_a_weight_is_that_many_eyes() -> None:
    x, y = practice(7)
    times = np.random.default_rng(1).integers(0, 4, 120)
    weighted = fit_logistic(x, y, prior=PRIOR, weights=times, clusters=np.arange(120))
    rows = np.repeat(np.arange(120), times)
    repeated = fit_logistic(x[rows], y[rows], prior=PRIOR, clusters=rows)
    assert weighted.coefficients == pytest.approx(repeated.coefficients, abs=1e-9)
    assert weighted.covariance == pytest.approx(repeated.covariance, abs=1e-9)
    assert weighted.log_likelihood == pytest.approx(repeated.log_likelihood, abs=1e-9)
    # patients without a counted eye add a zero score but are counted, so only their number differs
    size = np.unique(rows).shape[0]
    assert weighted.robust_covariance is not None
    assert repeated.robust_covariance is not None
    assert size < 120
    assert weighted.robust_covariance == pytest.approx(repeated.robust_covariance, rel=0.05)


def test_few_eyes_leave_the_prior_as_it_was() -> None:
    # nearly no data: coefficients are the published ones, the intercept carries the rate
    x = np.zeros((10, 3))
    y = np.array([1.0, 1, 0, 0, 0, 0, 0, 0, 0, 0])
    fit = fit_logistic(x, y, prior=PRIOR)
    assert fit.coefficients == pytest.approx([0.5, -0.2, 0.1], abs=1e-9)
    assert fit.predict(x)[0] == pytest.approx(0.2, abs=1e-9)
    assert fit.effective_df == pytest.approx(0.0, abs=1e-9)


def test_no_columns_at_all() -> None:
    fit = fit_logistic(np.empty((10, 0)), [1.0, 0, 0, 0, 0, 0, 0, 0, 0, 0])
    assert fit.predict(np.empty((1, 0)))[0] == pytest.approx(0.1, abs=1e-12)
    assert fit.own_data_share == 1.0


def separated() -> tuple[Array, Array]:
    x, y = practice(11)
    x[:, 1] = 0.0
    x[np.flatnonzero(y == 1.0)[:3], 1] = 1.0
    return x, y


def test_separation_is_named() -> None:
    x, y = separated()
    with pytest.raises(Separation) as caught:
        fit_logistic(x, y)
    assert caught.value.columns == (1,)
    # complete separation by one measurement
    with pytest.raises(Separation) as caught:
        fit_logistic(np.arange(20.0)[:, None] + 5000.0, (np.arange(20) >= 9) * 1.0)
    assert caught.value.columns == (0,)


def test_separation_is_seen_where_the_gradient_alone_would_hide_it() -> None:
    # with many eyes the gradient of a runaway column drops below the certificate at once
    rng = np.random.default_rng(2)
    x = rng.normal(size=(40_000, 2))
    y = (rng.random(40_000) < expit(x[:, 0] - 2)).astype(float)
    x[:, 1] = 0.0
    x[np.flatnonzero(y == 1.0)[:2], 1] = 1.0
    with pytest.raises(Separation) as caught:
        fit_logistic(x, y)
    assert caught.value.columns == (1,)


def test_a_prior_ends_separation_only_where_it_holds() -> None:
    x, y = separated()
    assert np.abs(fit_logistic(x, y, prior=PRIOR).coefficients).max() < 3.0
    elsewhere = Prior(np.zeros(3), np.diag([1.0, 0.0, 1.0]))
    with pytest.raises(Separation) as caught:
        fit_logistic(x, y, prior=elsewhere)
    assert caught.value.columns == (1,)
    here = Prior(np.zeros(3), np.diag([0.0, 1.0, 0.0]))
    assert abs(fit_logistic(x, y, prior=here).coefficients[1]) < 5.0


def test_a_large_but_finite_effect_is_no_separation() -> None:
    rng = np.random.default_rng(4)
    x = np.concatenate([rng.normal(-6, 1, 400), rng.normal(6, 1, 400)])
    y = (x > 0).astype(float)
    y[0], y[-1] = 1.0, 0.0
    x[0], x[-1] = -7.0, 7.0
    fit = fit_logistic(x[:, None], y)
    assert 0.1 < fit.coefficients[0] < 10.0


def test_constant_and_repeated_columns() -> None:
    x, y = birthwt()
    with pytest.raises(ModelError, match="Columns 9 "):
        fit_logistic(np.column_stack([x, np.full(189, 0.1)]), y)
    with pytest.raises(ModelError, match="Columns 2, 9 "):
        fit_logistic(np.column_stack([x, 3 * x[:, 2] + 1]), y)
    # a full prior carries a constant column: it keeps its published value
    held = Prior.published(np.full(10, 0.3), np.full(10, 0.2))
    assert np.isfinite(fit_logistic(np.column_stack([x, np.ones(189)]), y, prior=held).coefficients).all()


@pytest.mark.parametrize(
    ("change", "why"),
    [
        (lambda x, y: fit_logistic(x, np.zeros(120)), "All eyes are clear"),
        (lambda x, y: fit_logistic(x, np.ones(120)), "All eyes are cloudy"),
        (lambda x, y: fit_logistic(x, y, weights=1.0 - y), "All eyes are clear"),
        (lambda x, y: fit_logistic(x, y + 0.5), "neither 0 nor 1"),
        (lambda x, y: fit_logistic(np.where(x > 2, np.nan, x), y), "blank or an infinite"),
        (lambda x, y: fit_logistic(x[:, 0], y), "shape"),
        (lambda x, y: fit_logistic(x, y[:-1]), "120 numbers"),
        (lambda x, y: fit_logistic([["a"]], y), "not a number"),
        (lambda x, y: fit_logistic(x, y, weights=-y), "negative"),
        (lambda x, y: fit_logistic(x, y, weights=np.zeros(120)), "all are zero"),
        (lambda x, y: fit_logistic(x, y, clusters=[1, 2]), "patient labels"),
        (lambda x, y: fit_logistic(x, y, clusters=[None] * 120), "blank"),
        (lambda x, y: fit_logistic(x, y, clusters=np.where(y == 1, np.nan, 1.0)), "blank"),
        (lambda x, y: fit_logistic(x, y, clusters=np.ones(120)), "one patient only"),
        (lambda x, y: fit_logistic(x, y, prior=Prior.ridge(1.0, 2)), "2 columns"),
        (lambda x, y: fit_logistic(x, y).predict(x[:, :2]), "3 columns"),
        (lambda x, y: range_covariance(fit_logistic(x, y), x, y, clusters=np.ones(120)), "one patient only"),
        (lambda x, y: fit_logistic(np.empty((0, 3)), []), "no eyes"),
    ],
)
def test_refusals_say_why(change: object, why: str) -> None:
    x, y = practice(1)
    assert callable(change)
    with pytest.raises(ModelError, match=why) as caught:
        change(x, y)
    assert caught.value.what
    assert caught.value.next


def test_object_labels_are_patients_too() -> None:
    x, y = practice(1)
    labels = np.array([f"a{k}" for k in range(60)] * 2, dtype=object)
    assert fit_logistic(x, y, clusters=labels).robust_covariance is not None


def test_no_information_left_is_refused() -> None:
    # forecasts of practically 0 and 1 as offset: no eye can move the coefficients
    x, y = practice(1)
    with pytest.raises(ModelError, match="no information"):
        fit_logistic(x, y, offset=np.where(y == 1, -800.0, 800.0))
    with pytest.raises(ModelError, match="did not settle"):
        fit_logistic(x, y, offset=np.where(y == 1, 800.0, -800.0))


def test_prior_refuses_what_is_no_prior() -> None:
    for broken, why in [
        (lambda: Prior([0.0, 0.0], np.ones((1, 2))), "not square"),
        (lambda: Prior([0.0, 0.0], [[1.0, 0.5], [0.0, 1.0]]), "not symmetric"),
        (lambda: Prior([0.0, 0.0], [[1.0, 2.0], [2.0, 1.0]]), "not positive"),
        (lambda: Prior([0.0, 0.0], np.diag([1.0, -1.0])), "not positive"),
        (lambda: Prior.ridge(-1.0, 2), "zero or more"),
        (lambda: Prior.published([0.0], [0.0]), "above zero"),
        (lambda: Prior.published([0.0], [1.0], strength=-1), "strength"),
        (lambda: PRIOR.widened(0.0), "factor"),
    ]:
        with pytest.raises(ModelError, match=why):
            broken()


def test_widening_keeps_the_strength() -> None:
    assert PRIOR.sd is not None
    wide = np.linalg.inv(PRIOR.widened(2.0).precision)
    expected = np.diag((2 * PRIOR.sd) ** 2) + 0.25 * np.outer(PRIOR.mean, PRIOR.mean)
    assert wide == pytest.approx(expected, abs=1e-12)
    ridge = Prior.ridge(3.0, 2).widened(2.0)
    assert ridge.precision == pytest.approx(np.eye(2) * 0.75)
    assert Prior.ridge(0.0, 2).proper is False
    assert PRIOR.proper is True
