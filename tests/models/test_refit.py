"""Many refits: each at its own optimum, the same to the bit for any number of threads."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from models import Cancelled, ModelError, Prior, Separation, fit_logistic, performance, refit_many
from models.arrays import expit
from models.refit import refit_outcomes
from tests.models.reference_data import Array, birthwt


def practice(seed: int, n: int = 300, p: int = 4) -> tuple[Array, Array]:
    rng = np.random.default_rng(seed)
    x = rng.normal(size=(n, p)) * np.array([1.0, 30.0, 0.1, 5.0])[:p] + np.array([60.0, 0.0, 3.0, 550.0])[:p]
    y = (rng.random(n) < expit(-1.5 + 0.7 * (x[:, 0] - 60))).astype(float)
    return x, y


def resamples(seed: int, replicates: int, n: int) -> Array:
    return np.random.default_rng(seed).multinomial(n, np.full(n, 1 / n), size=replicates).astype(float)


def gradient(x: Array, y: Array, weights: Array, found: Array, prior: Prior | None) -> float:
    """Largest entry of the gradient, worked out anew."""
    design = np.column_stack([np.ones(x.shape[0]), x])
    slope = design.T @ (weights * (expit(design @ found) - y))
    if prior is not None:
        slope[1:] += prior.precision @ (found[1:] - prior.mean)
    return float(np.abs(slope).max())


@given(st.integers(0, 1000), st.booleans())
@settings(max_examples=6)
def test_every_refit_is_at_its_own_optimum(seed: int, published: bool) -> None:
    x, y = practice(seed)
    prior = Prior.published([0.4, 0.0, 1.0, 0.01], [0.3, 0.01, 2.0, 0.05]) if published else None
    weights = resamples(seed, 40, 300)
    found = refit_many(x, y, weights, prior=prior)
    assert found.shape == (40, 5)
    for b in range(40):
        assert gradient(x, y, weights[b], found[b], prior) < 1e-8 * 300
    for b in (0, 39):
        alone = fit_logistic(x, y, prior=prior, weights=weights[b])
        assert found[b] == pytest.approx(np.concatenate([[alone.intercept], alone.coefficients]), rel=1e-8, abs=1e-9)


def test_threads_do_not_change_a_bit() -> None:
    x, y = practice(1, n=5000)
    weights = resamples(2, 100, 5000).astype(np.uint8)
    answers = [refit_many(x, y, weights, threads=threads).tobytes() for threads in (1, 2, 3, None)]
    assert len(set(answers)) == 1


def test_outcomes_instead_of_weights() -> None:
    x, _ = practice(3)
    drawn = (np.random.default_rng(1).random((40, 300)) < 0.3).astype(np.uint8)
    found = refit_outcomes(x, drawn)
    alone = fit_logistic(x, drawn[7])
    assert found[7] == pytest.approx(np.concatenate([[alone.intercept], alone.coefficients]), rel=1e-8, abs=1e-9)


def test_a_hard_resample_is_fitted_alone() -> None:
    # one heavy eye on the wrong side far out: full Newton steps overshoot, step halving does not
    rng = np.random.default_rng(5)
    x = np.concatenate([rng.normal(size=60), [40.0, -40.0]])[:, None]
    y = np.concatenate([(np.arange(60) % 7 == 0) * 1.0, [0.0, 1.0]])
    y[:60] = (x[:60, 0] > 1.2) * 1.0
    weights = np.ones((3, 62))
    weights[:, 60:] = [[1e-6, 1e-6], [1e-3, 1e-3], [1.0, 1.0]]
    found = refit_many(x, y, weights)
    for b in range(3):
        assert gradient(x, y, weights[b], found[b], None) < 1e-8 * 62
    faint = Prior.ridge(1e-7, 1)
    found = refit_many(x[:60], y[:60], np.ones((2, 60)), prior=faint)
    assert gradient(x[:60], y[:60], np.ones(60), found[0], faint) < 1e-8 * 60


def test_a_resample_without_an_optimum_is_named() -> None:
    x, y = birthwt()
    weights = np.ones((3, 189))
    hypertensive_and_well = (x[:, 6] == 1) & (y == 0)
    weights[1, hypertensive_and_well] = 0.0
    with pytest.raises(Separation) as caught:
        refit_many(x, y, weights)
    assert caught.value.columns == (6,)
    only_clear = np.ones((2, 189)) * (y == 0)
    with pytest.raises(ModelError, match="only cloudy or only clear"):
        refit_many(x, y, only_clear)


def test_a_constant_column_is_refused_as_in_a_single_fit() -> None:
    x, y = birthwt()
    with pytest.raises(ModelError, match="constant"):
        refit_many(np.column_stack([x, np.zeros(189)]), y, np.ones((2, 189)))


def test_it_tells_how_far_it_is_and_stops_when_told() -> None:
    x, y = practice(6)
    told: list[float] = []
    refit_many(x, y, resamples(1, 70, 300), threads=1, report=lambda fraction, sentence: told.append(fraction))
    assert told == pytest.approx([1 / 3, 2 / 3, 1.0])

    def stop(fraction: float, sentence: str) -> None:
        raise Cancelled

    with pytest.raises(Cancelled):
        refit_many(x, y, resamples(1, 400, 300), report=stop)


def test_nothing_to_refit() -> None:
    x, y = practice(6)
    assert refit_many(x, y, np.empty((0, 300))).shape == (0, 5)


@pytest.mark.parametrize(
    ("work", "why"),
    [
        (lambda x, y: refit_many(x, y, np.ones((2, 10))), "300 columns"),
        (lambda x, y: refit_many(x, y, -np.ones((2, 300))), "negative"),
        (lambda x, y: refit_many(x, y, np.full((2, 300), np.nan)), "blank"),
        (lambda x, y: refit_many(x, y, np.ones((2, 300)), prior=Prior.ridge(1.0, 2)), "2 columns"),
        (lambda x, y: refit_outcomes(x, np.ones((2, 10))), "300 columns"),
    ],
)
def test_refusals_say_why(work: object, why: str) -> None:
    assert callable(work)
    with pytest.raises(ModelError, match=why):
        work(*practice(6))


def test_optimism_of_birthwt() -> None:
    # own run in another program, 2000 resamples: C 0.0516, Brier -0.0229, slope 0.269; here 500, so twice as loose
    x, y = birthwt()
    weights = resamples(7, 520, 189)
    # about one resample in a hundred loses the five eyes that keep one column from separating
    hypertensive = x[:, 6] == 1
    weights = weights[(weights @ (hypertensive & (y == 0)) > 0) & (weights @ (hypertensive & (y == 1)) > 0)][:500]
    found = refit_many(x, y, weights)
    assert found.shape == (500, 10)
    optimism = np.zeros(3)
    for b in range(500):
        risk = expit(found[b, 0] + x @ found[b, 1:])
        here, there = performance(risk, y, weights=weights[b]), performance(risk, y)
        for k, name in enumerate(("c_statistic", "brier", "calibration_slope")):
            optimism[k] += (getattr(here, name) - getattr(there, name)) / 500
    assert optimism[0] == pytest.approx(0.0516, abs=0.006)
    assert optimism[1] == pytest.approx(-0.0229, abs=0.002)
    assert optimism[2] == pytest.approx(0.269, abs=0.024)
