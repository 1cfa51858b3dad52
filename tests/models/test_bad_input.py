"""Every call of the library with input that it cannot use: a named refusal or a right answer, never a silent wrong one.

Warnings are errors in this suite, so that a division by zero or an overflow on the way would fail here too.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

import models
from models import ModelError, Prior, Separation

Array = NDArray[np.float64]
N = 60


def eyes(seed: int = 1, n: int = N, p: int = 2) -> tuple[Array, Array]:
    rng = np.random.default_rng(seed)
    x = rng.normal(size=(n, p))
    return x, (rng.random(n) < 1.0 / (1.0 + np.exp(1.0 - x[:, 0]))).astype(float)


def chances(seed: int = 1, n: int = N) -> tuple[Array, Array]:
    rng = np.random.default_rng(seed)
    risk = rng.uniform(0.05, 0.6, n)
    return risk, (rng.random(n) < risk).astype(float)


X, Y = eyes()
RISK, SEEN = chances()

TABLES: dict[str, Callable[[Any], object]] = {
    "fit_logistic": lambda x: models.fit_logistic(x, Y),
    "refit_many": lambda x: models.refit_many(x, Y, np.ones((2, N))),
    "closed_test": lambda x: models.closed_test(x, Y, RISK),
    "usual_range": lambda x: models.usual_range(x, Y, X),
}
OUTCOMES: dict[str, Callable[[Any], object]] = {
    "fit_logistic": lambda y: models.fit_logistic(X, y),
    "refit_many": lambda y: models.refit_many(X, y, np.ones((2, N))),
    "judge": lambda y: models.judge(RISK, y),
    "performance": lambda y: models.performance(RISK, y),
    "compare_c_statistics": lambda y: models.compare_c_statistics(RISK, RISK[::-1], y),
    "net_benefit": lambda y: models.net_benefit(RISK, y, [0.1]),
    "cusum": lambda y: models.cusum(RISK, y, odds_ratio=2.0),
    "running_tally": lambda y: models.running_tally(RISK, y),
    "funnel": lambda y: models.funnel({"a": (RISK, y)}),
    "closed_test": lambda y: models.closed_test(X, y, RISK),
    "level_shift": lambda y: models.level_shift(RISK, y),
    "log_loss": lambda y: models.log_loss(RISK, y),
}
CHANCES: dict[str, Callable[[Any], object]] = {
    "judge": lambda r: models.judge(r, SEEN),
    "performance": lambda r: models.performance(r, SEEN),
    "compare_c_statistics": lambda r: models.compare_c_statistics(r, RISK, SEEN),
    "net_benefit": lambda r: models.net_benefit(r, SEEN, [0.1]),
    "cusum": lambda r: models.cusum(r, SEEN, odds_ratio=2.0),
    "cusum_limit": lambda r: models.cusum_limit(r, odds_ratio=2.0, run_length=100.0),
    "cusum_run_length": lambda r: models.cusum_run_length(r, odds_ratio=2.0, limit=2.0),
    "exact_limits": models.exact_limits,
    "running_tally": lambda r: models.running_tally(r, SEEN),
    "funnel": lambda r: models.funnel({"a": (r, SEEN)}),
    "closed_test": lambda r: models.closed_test(X, Y, r),
    "level_shift": lambda r: models.level_shift(r, SEEN),
    "log_loss": lambda r: models.log_loss(r, SEEN),
}


def with_one(values: Array, bad: float) -> Array:
    spoilt = values.copy()
    spoilt.flat[7] = bad
    return spoilt


def answered_or_refused(work: Callable[[], object]) -> bool:
    """An answer, or a refusal in three sentences; anything else is a fault."""
    try:
        return work() is not None
    except ModelError as refusal:
        return bool(refusal.what and refusal.why and refusal.next)


@pytest.mark.parametrize("bad", [np.nan, np.inf, -np.inf])
@pytest.mark.parametrize("name", sorted(TABLES))
def test_a_blank_or_infinite_measurement_is_refused(name: str, bad: float) -> None:
    with pytest.raises(ModelError):
        TABLES[name](with_one(X, bad))


@pytest.mark.parametrize("shape", [(N,), (N - 1, 2), (N, 2, 1)])
@pytest.mark.parametrize("name", sorted(TABLES))
def test_a_table_of_another_shape_is_refused(name: str, shape: tuple[int, ...]) -> None:
    with pytest.raises(ModelError):
        TABLES[name](np.ones(shape))


@pytest.mark.parametrize("name", sorted(TABLES))
def test_text_in_a_table_is_refused(name: str) -> None:
    with pytest.raises(ModelError):
        TABLES[name](np.full((N, 2), "thick"))


@pytest.mark.parametrize("bad", [np.nan, np.inf, 0.5, 2.0, -1.0])
@pytest.mark.parametrize("name", sorted(OUTCOMES))
def test_an_outcome_that_is_neither_clear_nor_cloudy_is_refused(name: str, bad: float) -> None:
    with pytest.raises(ModelError):
        OUTCOMES[name](with_one(SEEN, bad))


@pytest.mark.parametrize("name", sorted(OUTCOMES))
def test_too_few_outcomes_are_refused(name: str) -> None:
    with pytest.raises(ModelError):
        OUTCOMES[name](SEEN[:-1])
    with pytest.raises(ModelError):
        OUTCOMES[name](np.stack([SEEN, SEEN]))


@pytest.mark.parametrize("bad", [np.nan, np.inf, -0.01, 1.01, 12.0])
@pytest.mark.parametrize("name", sorted(CHANCES))
def test_a_chance_outside_0_to_1_is_refused(name: str, bad: float) -> None:
    with pytest.raises(ModelError):
        CHANCES[name](with_one(RISK, bad))


@pytest.mark.parametrize("edge", [0.0, 1.0])
@pytest.mark.parametrize("name", sorted(CHANCES))
def test_a_chance_of_exactly_0_or_1_is_answered_or_refused_by_name(name: str, edge: float) -> None:
    assert answered_or_refused(lambda: CHANCES[name](with_one(RISK, edge)))


@pytest.mark.parametrize("kind", [0.0, 1.0])
@pytest.mark.parametrize("name", sorted(OUTCOMES))
def test_one_kind_of_outcome_is_answered_with_reasons_or_refused(name: str, kind: float) -> None:
    assert answered_or_refused(lambda: OUTCOMES[name](np.full(N, kind)))


def test_one_kind_of_outcome_has_no_ranking_and_says_so() -> None:
    judged = models.judge(RISK, np.zeros(N))
    assert judged.c_statistic is None
    assert judged.calibration_slope is None
    assert judged.brier == pytest.approx(float((RISK**2).mean()), abs=1e-12)


def test_constant_and_repeated_columns_are_named_without_a_prior_and_carried_with_one() -> None:
    for spoilt in (np.column_stack([X, np.full(N, 3.0)]), np.column_stack([X, X[:, 1]])):
        with pytest.raises(ModelError, match="constant or repeat"):
            models.fit_logistic(spoilt, Y)
        held = models.fit_logistic(spoilt, Y, prior=Prior.ridge(1.0, 3))
        assert np.isfinite(held.coefficients).all()
        assert held.coefficients[2] == pytest.approx(0.0 if spoilt[0, 2] == 3.0 else held.coefficients[1], abs=1e-8)


def test_more_columns_than_eyes() -> None:
    wide = np.random.default_rng(0).normal(size=(12, 30))
    seen = np.array([0.0, 1.0] * 6)
    with pytest.raises(ModelError):
        models.fit_logistic(wide, seen)
    held = models.fit_logistic(wide, seen, prior=Prior.ridge(2.0, 30))
    assert held.largest_gradient < 1e-8 * 12
    assert 0.0 < held.effective_df < 12.0


def test_perfect_separation_is_named_and_a_prior_carries_it() -> None:
    apart = np.column_stack([X[:, 0], np.where(Y == 1.0, 2.0, -1.0)])
    with pytest.raises(Separation) as caught:
        models.fit_logistic(apart, Y)
    assert 1 in caught.value.columns
    assert np.isfinite(models.fit_logistic(apart, Y, prior=Prior.ridge(0.5, 2)).coefficients).all()
    with pytest.raises(Separation):
        models.refit_many(apart, Y, np.ones((3, N)))


def test_one_patient_has_no_spread_between_patients() -> None:
    with pytest.raises(ModelError, match="one patient"):
        models.fit_logistic(X, Y, clusters=np.zeros(N))
    judged = models.judge(RISK, SEEN, clusters=np.zeros(N))
    assert judged.c_statistic is None or judged.c_statistic.low is None


@pytest.mark.parametrize("weights", [np.zeros(N), -np.ones(N), np.full(N, np.nan), np.ones(N - 1)])
def test_weights_that_weigh_nothing_are_refused(weights: Array) -> None:
    with pytest.raises(ModelError):
        models.fit_logistic(X, Y, weights=weights)
    with pytest.raises(ModelError):
        models.refit_many(X, Y, weights[None, :])
    with pytest.raises(ModelError):
        models.performance(RISK, SEEN, weights=weights)
    with pytest.raises(ModelError):
        models.learn_normal(X, weights=weights)


def test_ties_everywhere() -> None:
    flat = np.full(N, 0.2)
    judged = models.judge(flat, SEEN)
    assert judged.c_statistic is not None
    assert judged.c_statistic.value == 0.5
    assert judged.calibration_slope is None
    assert judged.curve == () or judged.curve is None
    assert models.compare_c_statistics(flat, flat, SEEN).value == 0.0


def test_no_eyes_at_all() -> None:
    none = np.zeros(0)
    for work in (
        lambda: models.judge(none, none),
        lambda: models.performance(none, none),
        lambda: models.net_benefit(none, none, [0.1]),
        lambda: models.fit_logistic(np.zeros((0, 2)), none),
        lambda: models.learn_normal(np.zeros((0, 2))),
    ):
        with pytest.raises(ModelError):
            work()
    assert models.exact_limits(none) == (0, 0)


def test_fields_that_cannot_be_linked_are_refused() -> None:
    blank = X.copy()
    blank[:, 1] = np.nan
    with pytest.raises(ModelError, match="no value"):
        models.learn_normal(blank)
    apart = np.where(np.arange(N)[:, None] % 2 == np.arange(2)[None, :], X, np.nan)
    with pytest.raises(ModelError, match="together"):
        models.learn_normal(apart)
    with pytest.raises(ModelError):
        models.learn_normal(with_one(X, np.inf))
    with pytest.raises(ModelError):
        models.learn_normal(X, steadying=-1.0)
    twice = np.column_stack([X[:, 0], X[:, 0]])
    with pytest.raises(ModelError, match="same thing"):
        models.learn_normal(twice, steadying=0.0)


@pytest.mark.parametrize(
    "work",
    [
        lambda: Prior.ridge(-1.0, 2),
        lambda: Prior.ridge(np.nan, 2),
        lambda: Prior.ridge(1.0, -1),
        lambda: Prior.published([0.1], [0.0]),
        lambda: Prior.published([0.1], [0.2, 0.2]),
        lambda: Prior(np.zeros(2), np.array([[1.0, 3.0], [3.0, 1.0]])),
        lambda: Prior(np.zeros(2), np.array([[1.0, 0.5], [0.1, 1.0]])),
        lambda: models.sample_size(prevalence=0.0, parameters=10, c_statistic=0.7),
        lambda: models.sample_size(prevalence=0.1, parameters=0, c_statistic=0.7),
        lambda: models.sample_size(prevalence=0.1, parameters=2.5, c_statistic=0.7),  # type: ignore[arg-type]
        lambda: models.sample_size(prevalence=0.1, parameters=10, c_statistic=0.5),
        lambda: models.sample_size(prevalence=0.1, parameters=10),
        lambda: models.closed_test(X, Y, RISK, level=5.0),
        lambda: models.cusum(RISK, SEEN, odds_ratio=1.0),
        lambda: models.cusum(RISK, SEEN, odds_ratio=0.0),
        lambda: models.cusum_limit(RISK, odds_ratio=2.0, run_length=0.5),
        lambda: models.cusum_run_length(RISK, odds_ratio=2.0, limit=0.0),
        lambda: models.cusum_run_length(RISK, odds_ratio=2.0, limit=2.0, true_odds_ratio=0.0),
        lambda: models.exact_limits(RISK, level=1.0),
        lambda: models.net_benefit(RISK, SEEN, [0.0]),
        lambda: models.net_benefit(RISK, SEEN, [1.0]),
        lambda: models.usual_range(X, Y, X, quantiles=()),
        lambda: models.usual_range(X, Y, X, quantiles=(0.0,)),
        lambda: models.usual_range(X, Y, X[:, :1]),
        lambda: models.averaged_risk([0.1, 0.2], [0.1]),
        lambda: models.averaged_risk([0.1], [np.nan]),
        lambda: models.averaged_risk([0.1], [-0.1]),
        lambda: models.likely_answers(0.1, -0.1),
        lambda: models.risk_range(np.nan, 0.1),
        lambda: models.risk_range(0.1, -0.1),
        lambda: models.read_card("a\0b"),
        lambda: models.read_card("{}"),
        lambda: models.read_card("/no/such/card.json"),
        lambda: models.tier(-1, 10, 5),
        lambda: models.wilson(5, 3),
        lambda: models.shrunken_ratio(-1, 3),
    ],
)
def test_arguments_out_of_range_are_refused(work: Callable[[], object]) -> None:
    with pytest.raises(ModelError) as caught:
        work()
    assert caught.value.what.endswith(".")
    assert caught.value.next
