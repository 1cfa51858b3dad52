"""Every figure of a judgement against another library, over made-up data of many shapes."""

from __future__ import annotations

import numpy as np
import pytest
import statsmodels.api as sm
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.stats import chi2
from sklearn.metrics import brier_score_loss, roc_auc_score
from sklearn.metrics import log_loss as mean_log_loss

from models import ModelError, compare_c_statistics, judge, log_loss, net_benefit, net_benefit_band, performance
from models.arrays import cluster_codes, expit, logit
from models.calibration import distance_if_perfect, observed_expected, smooth
from models.discrimination import c_measure, c_statistic, placements
from models.scoring import score_many
from tests.models.reference_data import Array


def practice(seed: int, n: int, *, rounded: bool = False) -> tuple[Array, Array, Array]:
    """Chances, outcomes that do not follow them exactly, patients of one or two eyes."""
    rng = np.random.default_rng(seed)
    log_odds = rng.normal(-1.2, 1.1, n)
    risk = expit(log_odds)
    if rounded:
        risk = np.round(risk, 1).clip(0.05, 0.95)
    return risk, (rng.random(n) < expit(0.2 + 0.8 * log_odds)) * 1.0, rng.integers(0, max(2, int(n / 1.6)), n)


@given(st.integers(0, 10_000), st.integers(4, 300), st.booleans())
@settings(max_examples=60, deadline=None)
def test_ranking_and_brier_equal_scikit_learn(seed: int, n: int, rounded: bool) -> None:
    risk, y, _ = practice(seed, n, rounded=rounded)
    assume(0 < y.sum() < n)
    assert c_statistic(risk, y) == pytest.approx(roc_auc_score(y, risk), abs=1e-12)
    weight = np.random.default_rng(seed).integers(0, 4, n) + 1.0
    assert c_statistic(risk, y, weight) == pytest.approx(roc_auc_score(y, risk, sample_weight=weight), abs=1e-12)
    light = performance(risk, y, weights=weight)
    assert light.brier == pytest.approx(brier_score_loss(y, risk, sample_weight=weight), abs=1e-12)


@given(st.integers(0, 10_000), st.integers(1, 300), st.floats(0.1, 15.0), st.integers(0, 3))
@settings(max_examples=100, deadline=None)
def test_log_loss_and_brier_equal_scikit_learn(seed: int, n: int, spread: float, kinds: int) -> None:
    rng = np.random.default_rng(seed)
    # far out too, where 1 - p has few digits: the chance of a clear eye counts as much as that of a cloudy one
    log_odds = rng.normal(0.0, spread, n).clip(-30.0, 30.0)
    risk = expit(log_odds)
    y = {0: np.zeros(n), 1: np.ones(n)}.get(kinds, (rng.random(n) < 0.3) * 1.0)
    weight = rng.random(n) + 0.01
    each = log_loss(risk, y)
    for w in (None, weight):
        theirs = mean_log_loss(y, risk, sample_weight=w, labels=[0, 1])
        assert np.average(each, weights=w) == pytest.approx(theirs, rel=1e-12)
    assert each.sum() == pytest.approx(mean_log_loss(y, risk, normalize=False, labels=[0, 1]), rel=1e-12)
    brier = brier_score_loss(y, risk, sample_weight=weight, labels=[0, 1], pos_label=1)
    if 0.0 < y.sum() < n:
        assert performance(risk, y, weights=weight).brier == pytest.approx(brier, rel=1e-12)
    assert judge(risk, y, curve=False).brier == pytest.approx(
        brier_score_loss(y, risk, labels=[0, 1], pos_label=1), rel=1e-12
    )
    (many,) = score_many(log_odds[None], y, (weight,), exact=True)
    assert many.brier[0] == pytest.approx(brier, rel=1e-9, abs=1e-12)


@given(st.integers(0, 10_000), st.integers(12, 60), st.booleans())
@settings(max_examples=40, deadline=None)
def test_variance_of_c_is_that_of_the_pairs(seed: int, n: int, rounded: bool) -> None:
    # DeLong 1988 and Obuchowski 1997 written out over the matrix of pairs
    risk, y, patients = practice(seed, n, rounded=rounded)
    assume(10 <= y.sum() <= n - 10)
    a, b = risk[y == 1], risk[y == 0]
    pairs = (a[:, None] > b) + 0.5 * (a[:, None] == b)
    v10, v01 = pairs.mean(axis=1), pairs.mean(axis=0)
    place = placements(risk, y)
    assert place[y == 1] == pytest.approx(v10, abs=1e-12)
    assert place[y == 0] == pytest.approx(v01, abs=1e-12)
    found = c_measure(risk, y)
    assume(found.se is not None)
    assert found.se == pytest.approx(np.sqrt(v10.var(ddof=1) / a.size + v01.var(ddof=1) / b.size), abs=1e-12)
    codes = cluster_codes(patients, n)
    clustered = c_measure(risk, y, codes)
    assume(clustered.se is not None)
    k, m, size = a.size, b.size, codes.max() + 1
    d10, d01 = np.zeros(size), np.zeros(size)
    np.add.at(d10, codes[y == 1], v10 - pairs.mean())
    np.add.at(d01, codes[y == 0], v01 - pairs.mean())
    i10, i01 = len(set(codes[y == 1])), len(set(codes[y == 0]))
    variance = i10 / ((i10 - 1) * k**2) * (d10**2).sum() + i01 / ((i01 - 1) * m**2) * (d01**2).sum()
    variance += 2 * size / ((size - 1) * k * m) * (d10 * d01).sum()
    assert clustered.se == pytest.approx(np.sqrt(max(variance, 0.0)), abs=1e-12)


@given(st.integers(0, 10_000), st.integers(150, 400))
@settings(max_examples=15, deadline=None)
def test_level_and_slope_equal_statsmodels(seed: int, n: int) -> None:
    risk, y, patients = practice(seed, n)
    assume(y.sum() >= 20)
    codes = cluster_codes(patients, n)
    found, alone = judge(risk, y, clusters=patients, curve=False), judge(risk, y, curve=False)
    few = np.sqrt((codes.max() + 1) / codes.max())  # ours counts G/(G - 1), without the part for n and columns
    by_patient = {"cov_type": "cluster", "cov_kwds": {"groups": codes, "use_correction": False}}
    level = sm.GLM(y, np.ones(n), family=sm.families.Binomial(), offset=logit(risk))
    slope = sm.Logit(y, sm.add_constant(logit(risk)))
    assert found.calibration_in_the_large is not None
    assert found.calibration_slope is not None
    assert alone.calibration_in_the_large is not None
    assert alone.calibration_slope is not None
    for ours, naive, model, k in (
        (found.calibration_in_the_large, alone.calibration_in_the_large, level, 0),
        (found.calibration_slope, alone.calibration_slope, slope, 1),
    ):
        options = {"disp": 0} if model is slope else {}
        clustered = model.fit(**options, **by_patient)
        assert ours.value == pytest.approx(clustered.params[k], abs=1e-6)
        assert ours.se == pytest.approx(clustered.bse[k] * few, rel=1e-5)
        assert naive.se == pytest.approx(model.fit(**options).bse[k], rel=1e-5)


@given(st.integers(0, 40), st.integers(41, 200), st.floats(0.02, 0.9))
@settings(max_examples=40, deadline=None)
def test_exact_limits_equal_chi_squared(observed: int, n: int, chance: float) -> None:
    # Garwood 1936 as half chi-squared percentiles
    y, risk = (np.arange(n) < observed) * 1.0, np.full(n, chance)
    found = observed_expected(risk, y)
    low = chi2.ppf(0.025, 2 * observed) / 2 if observed else 0.0
    assert found.low == pytest.approx(low / risk.sum(), abs=1e-9)
    assert found.high == pytest.approx(chi2.ppf(0.975, 2 * observed + 2) / 2 / risk.sum(), rel=1e-9)


@given(st.integers(0, 10_000), st.integers(12, 80))
@settings(max_examples=20, deadline=None)
def test_band_of_the_net_benefit_holds_the_figure(seed: int, n: int) -> None:
    risk, y, patients = practice(seed, n, rounded=True)
    assume(10 <= y.sum() <= n - 10)
    at = [0.3, 0.05, 0.1]
    band = net_benefit_band(risk, y, at, clusters=patients, resamples=40)
    model = net_benefit(risk, y, at).model
    assert (band.low <= model).all()
    assert (model <= band.high).all()
    # the order of the thresholds plays no part
    again = net_benefit_band(risk, y, sorted(at), clusters=patients, resamples=40)
    assert sorted(zip(at, band.low, band.high, strict=True)) == list(
        zip(sorted(at), again.low, again.high, strict=True)
    )


def test_band_of_the_net_benefit_is_as_wide_as_theory_says() -> None:
    # the net benefit is a mean over eyes, so its standard error has a closed form; patients sum their eyes first
    risk, y, _ = practice(3, 4000)
    t = np.array([0.1, 0.25])
    each = np.where(risk[:, None] >= t, y[:, None] - (1 - y[:, None]) * t / (1 - t), 0.0)
    band = net_benefit_band(risk, y, t, resamples=2000)
    width = band.high - band.low
    assert width == pytest.approx(2 * 1.96 * each.std(axis=0) / np.sqrt(4000), rel=0.07)
    twice = net_benefit_band(np.tile(risk, 2), np.tile(y, 2), t, clusters=np.tile(np.arange(4000), 2), resamples=2000)
    assert twice.high - twice.low == pytest.approx(width, rel=1e-9)


def test_a_perfect_model_is_beyond_chance_one_time_in_twenty() -> None:
    # 750 eyes whose chances are exactly right, curves without any hold: 5 % of 1000 practices, 4 standard errors off
    rng = np.random.default_rng(12)
    risk = expit(rng.normal(-2.0, 0.9, 750))
    scores = []
    for _ in range(1000):
        curve = smooth(risk, (rng.random(750) < risk) * 1.0, knots=3)
        scores.append(float(np.abs(curve.at_eyes - risk).mean()))
    perfect = distance_if_perfect(curve, risk, seed=1, simulations=2000)
    assert 0.022 < np.mean(np.array(scores) > perfect.p95) < 0.078
    assert perfect.mean == pytest.approx(np.mean(scores), rel=0.05)


def test_band_counts_a_chance_at_the_threshold_as_above() -> None:
    # all at the threshold: the net benefit is that of treating all, (cloudy - t) / (1 - t) per eye on average
    y = (np.arange(400) % 5 == 0) * 1.0
    band = net_benefit_band(np.full(400, 0.1), y, [0.1], resamples=1000)
    width = 2 * 1.96 * np.sqrt(0.2 * 0.8 / 400) / 0.9
    assert band.high[0] - band.low[0] == pytest.approx(width, rel=0.08)
    assert (band.high[0] + band.low[0]) / 2 == pytest.approx(0.1 / 0.9, abs=0.005)


def test_refusals_of_the_band() -> None:
    risk, y, _ = practice(9, 100)
    with pytest.raises(ModelError, match="2 resamples"):
        net_benefit_band(risk, y, [0.1], resamples=1)
    with pytest.raises(ModelError, match="threshold"):
        net_benefit_band(risk, y, [1.0])
    with pytest.raises(ModelError, match="blank or an infinite"):
        net_benefit_band([np.nan, *risk[1:]], y, [0.1])


def test_one_patient_has_no_interval_and_the_reason_is_told() -> None:
    risk, y, _ = practice(5, 200)
    found = judge(risk, y, clusters=np.zeros(200), resamples=20)
    for name in ("c_statistic", "calibration_in_the_large", "calibration_slope", "observed_expected"):
        figure = getattr(found, name)
        assert figure.value is not None
        assert (figure.se, figure.low, figure.high) == (None, None, None)
        assert "one patient" in found.reasons[name]
    assert found.net_benefit_band is None
    assert "one patient" in found.reasons["net_benefit_band"]


def test_few_eyes_have_no_band_and_the_reason_is_told() -> None:
    risk, _, _ = practice(6, 60)
    found = judge(risk, (np.arange(60) < 9) * 1.0, resamples=20)
    assert found.net_benefit_band is None
    assert "fewer than 10 cloudy or clear" in found.reasons["net_benefit_band"]
    assert found.as_dict()["net_benefit_band"] is None
    assert judge(risk, (np.arange(60) < 9) * 1.0, curve=False).reasons["net_benefit_band"] == "Not asked for."


def test_band_is_written_beside_the_figures() -> None:
    risk, y, patients = practice(7, 300)
    written = judge(risk, y, clusters=patients, resamples=20).as_dict()
    rows = written["net_benefit_band"]
    assert isinstance(rows, list)
    assert set(rows[0]) == {"threshold", "low", "high"}
    assert [row["threshold"] for row in rows] == pytest.approx(np.arange(2, 41) / 100)


def test_comparing_ranks_with_ties_equals_the_difference_of_areas() -> None:
    risk, y, _ = practice(8, 500, rounded=True)
    other = np.random.default_rng(1).random(500)
    found = compare_c_statistics(risk, other, y)
    assert found.value == pytest.approx(roc_auc_score(y, risk) - roc_auc_score(y, other), abs=1e-12)
