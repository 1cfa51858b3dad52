"""Eyes counted together where their log-odds are as good as equal."""

from __future__ import annotations

import numpy as np
import pytest

from models import fit_logistic
from models.arrays import expit, logit
from models.calibration import curve_with_band, distance_if_perfect, smooth
from models.cells import cells
from models.refit import refit_outcomes
from models.scoring import BINS, placed
from tests.models.reference_data import Array


def forecasts(n: int, seed: int = 1) -> tuple[Array, Array]:
    rng = np.random.default_rng(seed)
    risk = expit(rng.normal(-2.4, 0.9, n))
    return risk, (rng.random(n) < risk).astype(float)


def test_few_eyes_stand_each_for_itself() -> None:
    risk, seen = forecasts(BINS)
    alike = cells(logit(risk), seen)
    assert alike.log_odds.tolist() == logit(risk).tolist()
    assert alike.eyes.tolist() == [1.0] * BINS
    assert alike.mean(seen).tolist() == seen.tolist()


def test_many_eyes_share_cells_narrower_than_a_hundredth() -> None:
    risk, seen = forecasts(30_000)
    log_odds = logit(risk)
    alike = cells(log_odds, seen)
    assert alike.eyes.sum() == 30_000
    assert set(alike.mean(seen).tolist()) == {0.0, 1.0}
    assert np.bincount(alike.of, log_odds) / alike.eyes == pytest.approx(alike.log_odds, abs=1e-12)
    middle = np.abs(log_odds - np.median(log_odds)) < 2.0
    assert np.abs(log_odds - alike.log_odds[alike.of])[middle].max() < 0.01


def test_bins_are_in_order_and_hold_what_lies_about_their_middles() -> None:
    log_odds = np.concatenate([np.random.default_rng(1).normal(-2.0, 1.0, 5000), [60.0, -1000.0]])
    place, middles = placed(log_odds)
    assert place.min() == 0
    assert place.max() == BINS - 1
    order = np.argsort(log_odds)
    assert (np.diff(place[order]) >= 0).all()
    near = np.abs(log_odds + 2.0) < 2.0
    assert np.abs(middles[place] - log_odds)[near].max() < 0.01


def test_rows_that_stand_for_several_eyes() -> None:
    # the same as every eye written out
    rng = np.random.default_rng(4)
    x, eyes = rng.normal(size=(40, 2)), rng.integers(1, 9, 40)
    cloudy = rng.binomial(eyes, 0.3, (3, 40))
    found = refit_outcomes(x, cloudy, eyes=eyes)
    for b in range(3):
        whole = np.repeat(x, eyes, axis=0)
        y = np.concatenate([np.arange(size) < hit for size, hit in zip(eyes, cloudy[b], strict=True)]).astype(float)
        alone = fit_logistic(whole, y)
        assert found[b] == pytest.approx(np.concatenate([[alone.intercept], alone.coefficients]), rel=1e-7, abs=1e-7)


def test_what_a_perfect_model_scores_hardly_depends_on_the_cells() -> None:
    # eye by eye, with other draws: mean of 400, so the Monte Carlo error of either is 2 %, of its 95th percentile 5 %
    risk, seen = forecasts(6000)
    curve = smooth(risk, seen)
    found = distance_if_perfect(curve, risk, seed=1)
    rng, basis = np.random.default_rng(2), curve.basis(logit(risk))
    scores = np.empty(400)
    refits = refit_outcomes(basis, (rng.random((400, 6000)) < risk).astype(np.uint8))
    for b in range(400):
        scores[b] = np.abs(expit(refits[b, 0] + basis @ refits[b, 1:]) - risk).mean()
    assert found.mean == pytest.approx(scores.mean(), rel=0.08)
    assert found.p95 == pytest.approx(np.quantile(scores, 0.95), rel=0.2)


def test_the_band_is_that_of_eye_by_eye(monkeypatch: pytest.MonkeyPatch) -> None:
    # the same patients drawn; only the cells differ
    risk, seen = forecasts(6000)
    codes, curve = np.arange(6000) // 2, smooth(risk, seen)
    binned = curve_with_band(curve, risk, seen, codes, resamples=60, seed=3)
    monkeypatch.setattr("models.cells.BINS", 6000)
    exact = curve_with_band(curve, risk, seen, codes, resamples=60, seed=3)
    for one, other in zip(binned, exact, strict=True):
        width = other.high - other.low
        assert one.observed == other.observed
        assert abs(one.low - other.low) < 0.01 * width
        assert abs(one.high - other.high) < 0.01 * width
