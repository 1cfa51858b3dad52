"""How far refits move the forecasts of the same eyes."""

from __future__ import annotations

import numpy as np
import pytest

from models import ModelError, coefficient_stability, fit_logistic, forecast_stability, refit_many
from models.arrays import expit
from models.stability import Movement


def test_written_out_by_hand() -> None:
    found = forecast_stability([0.1, 0.5], [[0.2, 0.5], [0.0, 0.9]])
    assert found.change.tolist() == pytest.approx([0.1, 0.2], abs=1e-12)
    assert found.median == pytest.approx(0.15, abs=1e-12)
    assert found.p95 == pytest.approx(0.195, abs=1e-12)
    assert found.resamples == 2


def test_coefficients_give_what_their_chances_give_in_blocks_too(monkeypatch: pytest.MonkeyPatch) -> None:
    rng = np.random.default_rng(1)
    X, own, refits = rng.normal(size=(50, 3)), rng.normal(size=4), rng.normal(size=(7, 4))
    wanted = forecast_stability(expit(own[0] + X @ own[1:]), expit(refits[:, :1] + refits[:, 1:] @ X.T))
    monkeypatch.setattr("models.stability._HELD", 70)
    found = coefficient_stability(X, own, refits)
    assert found.risk == pytest.approx(wanted.risk, abs=1e-12)
    assert found.change == pytest.approx(wanted.change, abs=1e-12)
    assert (found.median, found.p95) == pytest.approx((wanted.median, wanted.p95), abs=1e-12)


def test_change_is_the_mean_size_of_the_standard_error() -> None:
    # many eyes: |p_b - p| is half-normal, mean sqrt(2/pi) times the delta-method standard error of the chance
    rng = np.random.default_rng(2)
    X = rng.normal(size=(3000, 2))
    y = (rng.random(3000) < expit(-1.0 + X @ [0.5, 0.3])) * 1.0
    fit = fit_logistic(X, y)
    weights = rng.multinomial(3000, np.full(3000, 1 / 3000), size=300).astype(np.uint8)
    own = np.concatenate([[fit.intercept], fit.coefficients])
    found = coefficient_stability(X, own, refit_many(X, y, weights))
    design = np.column_stack([np.ones(3000), X])
    se = np.sqrt(np.einsum("ij,jk,ik->i", design, fit.covariance, design)) * found.risk * (1 - found.risk)
    assert np.median(found.change / (np.sqrt(2 / np.pi) * se)) == pytest.approx(1.0, abs=0.1)


def test_refusals() -> None:
    with pytest.raises(ModelError, match="no resamples"):
        forecast_stability([0.1], np.empty((0, 1)))
    with pytest.raises(ModelError, match="outside 0 to 1"):
        forecast_stability([0.1], [[1.2]])
    with pytest.raises(ModelError, match="2 columns"):
        coefficient_stability([[1.0]], [0.0, 1.0], [[0.0, 1.0, 2.0]])
    with pytest.raises(ModelError, match="no eyes"):
        coefficient_stability(np.empty((0, 1)), [0.0, 1.0], [[0.0, 1.0]])


def test_resamples_added_a_few_at_a_time_give_the_same() -> None:
    rng = np.random.default_rng(4)
    own, odds = rng.normal(-2, 1, 40), rng.normal(-2, 1, (9, 40))
    moved = Movement(expit(own))
    assert moved.found() is None
    for some in (odds[:4], odds[4:]):
        moved.add(moved.of(some), some.shape[0])
    found, wanted = moved.found(), forecast_stability(expit(own), expit(odds))
    assert found is not None
    assert found.change == pytest.approx(wanted.change, abs=1e-14)
    assert (found.median, found.p95, found.resamples) == pytest.approx((wanted.median, wanted.p95, 9), abs=1e-14)
