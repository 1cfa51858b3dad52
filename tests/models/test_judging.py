"""How judging behaves: what it leaves unsaid and why, bands, and figures of perfect models."""

from __future__ import annotations

import json

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from models import ModelError, compare_c_statistics, judge, net_benefit, performance
from models.arrays import expit
from models.calibration import (
    curve_with_band,
    distance_if_perfect,
    grouped,
    observed_expected,
    smooth,
)
from models.discrimination import c_measure, c_statistic, placements
from models.resampling import drawn_patients
from tests.models.reference_data import Array


def eyes(seed: int, n: int = 400, level: float = -2.2) -> tuple[Array, Array, Array]:
    """Invented eyes: chances, outcomes drawn from exactly these chances, patients of two eyes."""
    rng = np.random.default_rng(seed)
    risk = expit(rng.normal(level, 0.9, n))
    return risk, (rng.random(n) < risk).astype(float), np.arange(n) // 2


@given(st.lists(st.tuples(st.integers(0, 6), st.booleans()), min_size=2, max_size=40))
@settings(max_examples=25)
def test_c_statistic_is_the_share_of_pairs(rows: list[tuple[int, bool]]) -> None:
    risk = np.array([k / 10 for k, _ in rows])
    y = np.array([float(cloudy) for _, cloudy in rows])
    if 0 < y.sum() < y.shape[0]:
        pairs = [(a > b) + 0.5 * (a == b) for a in risk[y == 1] for b in risk[y == 0]]
        assert c_statistic(risk, y) == pytest.approx(np.mean(pairs), abs=1e-12)
        assert placements(risk, y)[y == 0].mean() == pytest.approx(np.mean(pairs), abs=1e-12)
        # the ranks alone count
        assert c_statistic(np.sqrt(risk), y) == c_statistic(risk, y)


def test_the_same_seed_gives_the_same_bits_and_json_keeps_it() -> None:
    risk, y, patients = eyes(1)
    first, second = (judge(risk, y, clusters=patients, resamples=50, seed=4) for _ in range(2))
    assert json.dumps(first.as_dict()) == json.dumps(second.as_dict())
    other = judge(risk, y, clusters=patients, resamples=50, seed=5)
    assert other.curve != first.curve
    written = json.loads(json.dumps(first.as_dict()))
    keys = {"n", "events", "clusters", "c_statistic", "brier", "scaled_brier", "observed_expected"}
    keys |= {"calibration_in_the_large", "calibration_slope", "ici", "e50", "e90", "groups", "curve", "net_benefit"}
    assert keys <= set(written)
    assert {"value", "low", "high"} <= set(written["c_statistic"])
    assert set(written["groups"][0]) == {"n", "mean_risk", "observed", "low", "high"}
    assert set(written["curve"][0]) == {"risk", "observed", "low", "high"}
    assert set(written["net_benefit"][0]) == {"threshold", "model", "all", "none"}
    assert [row["threshold"] for row in written["net_benefit"]] == pytest.approx(np.arange(2, 41) / 100)
    assert written["clusters"] == 200


def test_order_of_eyes_and_names_of_patients_change_nothing() -> None:
    risk, y, patients = eyes(2)
    found = judge(risk, y, clusters=patients, curve=False)
    order = np.random.default_rng(3).permutation(400)
    again = judge(risk[order], y[order], clusters=[f"x{500 - k}" for k in patients[order]], curve=False)
    for name in ("c_statistic", "observed_expected", "calibration_in_the_large", "calibration_slope"):
        one, other = getattr(found, name), getattr(again, name)
        assert (one.value, one.se) == pytest.approx((other.value, other.se), abs=1e-9)
    assert [g.n for g in found.groups] == [g.n for g in again.groups]


def test_pairs_that_always_agree_widen_every_interval() -> None:
    risk, y, _ = eyes(4, n=600)
    doubled = judge(np.tile(risk, 2), np.tile(y, 2), clusters=np.tile(np.arange(600), 2), curve=False)
    naive = judge(np.tile(risk, 2), np.tile(y, 2), curve=False)
    single = judge(risk, y, clusters=np.arange(600), curve=False)
    for name in ("c_statistic", "calibration_in_the_large", "calibration_slope", "observed_expected"):
        assert getattr(doubled, name).se == pytest.approx(getattr(single, name).se, rel=0.01)
        if name != "observed_expected":  # its exact Poisson limits are wider than independent eyes need
            assert getattr(naive, name).se < 0.8 * getattr(doubled, name).se


def test_curve_lies_in_its_band_and_ends_at_the_percentiles() -> None:
    risk, y, patients = eyes(5, n=1500)
    found = judge(risk, y, clusters=patients)
    assert found.curve is not None
    assert found.ici is not None
    assert found.ici_if_perfect is not None
    assert found.curve[0].risk == pytest.approx(np.quantile(risk, 0.02), abs=1e-12)
    assert found.curve[-1].risk == pytest.approx(np.quantile(risk, 0.98), abs=1e-12)
    assert all(point.low <= point.observed <= point.high for point in found.curve)
    # chances that are exactly right: the ideal lies inside most of the band
    inside = np.mean([point.low <= point.risk <= point.high for point in found.curve])
    assert inside > 0.7
    assert found.ici_beyond_chance is False
    spoilt = judge(np.minimum(risk * 2.0, 0.99), y, clusters=patients)
    assert spoilt.ici_beyond_chance is True


def test_band_is_as_wide_as_the_standard_error_says() -> None:
    # a 3-knot curve of independent eyes: bootstrap band against the delta method at the middle
    risk, y, _ = eyes(6, n=900)
    curve = smooth(risk, y, knots=3)
    points = curve_with_band(curve, risk, y, np.arange(900), resamples=400, seed=2)
    from models import fit_logistic, logit_variance
    from models.arrays import logit

    basis = curve.basis(logit(risk))
    fit = fit_logistic(basis, y)
    at = np.array([p.risk for p in points])
    se = np.sqrt(logit_variance(fit.covariance, curve.basis(logit(at))))
    width = logit(np.array([p.high for p in points])) - logit(np.array([p.low for p in points]))
    assert np.median(width / (2 * 1.96 * se)) == pytest.approx(1.0, abs=0.15)


def test_a_perfect_model_scores_what_the_design_found() -> None:
    # own simulation: mean risk 9.6 %, C 0.72, 3 knots; 150 eyes: mean 0.029, 95th percentile 0.052; 750: 0.013, 0.025
    rng = np.random.default_rng(8)
    for n, mean, p95 in ((150, 0.029, 0.052), (750, 0.013, 0.025)):
        risk = expit(rng.normal(-2.55, 0.84, n))
        curve = smooth(risk, (rng.random(n) < risk) * 1.0, knots=3)
        found = distance_if_perfect(curve, risk, seed=1)
        assert found.mean == pytest.approx(mean, rel=0.25)
        assert found.p95 == pytest.approx(p95, rel=0.25)


def test_simulated_eyes_are_never_all_alike() -> None:
    # twelve eyes at low chances: a draw without a cloudy eye is drawn anew
    risk = np.linspace(0.02, 0.3, 12)
    y = (np.arange(12) % 3 == 0) * 1.0
    found = distance_if_perfect(smooth(risk, y, knots=3), risk, seed=1, simulations=40)
    assert 0.0 < found.mean < found.p95 < 1.0


def test_resamples_draw_whole_patients_and_both_kinds() -> None:
    _, _, patients = eyes(9, n=40)
    y = np.zeros(40)
    y[0] = 1.0
    weights = drawn_patients(slice(0, 60), patients, y, 1)[patients].T
    assert (weights[:, ::2] == weights[:, 1::2]).all()
    assert (weights[:, ::2].sum(axis=1) == 20).all()
    assert (weights[:, 0] > 0).all()


def test_nothing_is_said_that_cannot_be_said() -> None:
    risk, _, patients = eyes(10, n=60)
    none = judge(risk, np.zeros(60), clusters=patients)
    for name in ("c_statistic", "scaled_brier", "calibration_in_the_large", "calibration_slope", "curve", "ici"):
        assert getattr(none, name) is None
        assert none.reasons[name].startswith("Not estimable")
    assert none.ici_if_perfect is None
    assert none.ici_beyond_chance is None
    assert none.observed_expected is not None
    assert none.observed_expected.value == 0.0
    assert none.observed_expected.high is not None
    assert none.observed_expected.high > 0.0
    assert json.loads(json.dumps(none.as_dict()))["c_statistic"] is None
    cloudy = judge(risk, np.ones(60))
    assert "all eyes are cloudy" in cloudy.reasons["c_statistic"]


def test_few_events_give_a_figure_without_interval() -> None:
    risk, _, _ = eyes(11, n=80)
    y = np.zeros(80)
    y[np.argsort(risk)[[20, 40, 60, 70, 75]]] = 1.0
    few = judge(risk, y)
    assert few.c_statistic is not None
    assert few.c_statistic.low is None
    assert "fewer than 10" in few.reasons["c_statistic"]
    assert "fewer than 20" in few.reasons["calibration_slope"]
    assert few.calibration_in_the_large is not None
    assert len(few.groups) == 2
    assert few.curve is None
    perfect = judge(np.linspace(0.01, 0.99, 60), (np.arange(60) >= 30) * 1.0)
    assert perfect.c_statistic is not None
    assert perfect.c_statistic.value == 1.0
    assert "perfect" in perfect.reasons["c_statistic"]
    assert perfect.calibration_slope is None
    assert "separate" in perfect.reasons["calibration_slope"]
    assert perfect.curve is None
    assert "separate" in perfect.reasons["ici"]


def test_a_persons_guesses_of_never_and_always() -> None:
    risk, y, _ = eyes(12)
    risk[0], y[0] = 0.0, 0.0
    found = judge(risk, y)
    assert found.calibration_slope is None
    assert "exactly 0 or 1" in found.reasons["calibration_slope"]
    assert "exactly 0 or 1" in found.reasons["curve"]
    assert found.c_statistic is not None
    assert found.observed_expected is not None
    light = performance(risk, y)
    assert light.calibration_slope is None
    assert light.c_statistic == pytest.approx(found.c_statistic.value, abs=1e-12)


def test_all_the_same_chance() -> None:
    found = judge(np.full(100, 0.2), (np.arange(100) < 25) * 1.0)
    assert found.c_statistic is not None
    assert found.c_statistic.value == 0.5
    assert len(found.groups) == 1
    assert found.curve is None
    assert "knots" in found.reasons["curve"]
    assert found.calibration_slope is None
    light = performance(np.full(100, 0.2), (np.arange(100) < 25) * 1.0)
    assert light.calibration_slope is None
    assert light.calibration_in_the_large == pytest.approx(np.log(25 / 75) - np.log(0.2 / 0.8), abs=1e-9)


def test_a_score_of_few_values_gets_the_simpler_curve() -> None:
    rng = np.random.default_rng(3)
    risk = rng.choice([0.05, 0.1, 0.2, 0.4], 1500, p=[0.3, 0.3, 0.3, 0.1])
    y = (rng.random(1500) < risk) * 1.0
    assert y.sum() >= 100
    assert smooth(risk, y).knots.shape == (3,)
    assert judge(risk, y, resamples=20).curve is not None


def test_all_cloudy_eyes_of_one_patient() -> None:
    risk, _, _ = eyes(17, n=100)
    y = (np.arange(100) < 12) * 1.0
    patients = np.where(y == 1, 0, np.arange(100))
    found = judge(risk, y, clusters=patients, curve=False)
    assert found.c_statistic is not None
    assert found.c_statistic.low is None
    assert "one patient" in found.reasons["c_statistic"]


def test_curve_can_be_left_out() -> None:
    found = judge(*eyes(13)[:2], curve=False)
    assert found.curve is None
    assert found.reasons["curve"] == "Not asked for."
    assert found.calibration_slope is not None


def test_no_cloudy_eye_forecast() -> None:
    found = judge(np.zeros(20), np.zeros(20))
    assert found.observed_expected is None
    assert found.reasons["observed_expected"].startswith("Not estimable")
    with pytest.raises(ModelError):
        observed_expected(np.zeros(3), np.zeros(3))


def test_performance_is_the_light_form_and_counts_weights() -> None:
    risk, y, _ = eyes(14)
    full, light = judge(risk, y, curve=False), performance(risk, y)
    assert full.c_statistic is not None
    assert full.calibration_slope is not None
    assert full.calibration_in_the_large is not None
    assert light.c_statistic == pytest.approx(full.c_statistic.value, abs=1e-12)
    assert light.brier == pytest.approx(full.brier, abs=1e-12)
    assert light.calibration_slope == pytest.approx(full.calibration_slope.value, abs=1e-9)
    assert light.calibration_in_the_large == pytest.approx(full.calibration_in_the_large.value, abs=1e-9)
    times = np.random.default_rng(1).integers(0, 3, 400)
    rows = np.repeat(np.arange(400), times)
    weighted, repeated = performance(risk, y, weights=times), performance(risk[rows], y[rows])
    assert weighted.c_statistic == pytest.approx(repeated.c_statistic, abs=1e-9)
    assert weighted.brier == pytest.approx(repeated.brier, abs=1e-9)
    assert weighted.calibration_slope == pytest.approx(repeated.calibration_slope, abs=1e-9)
    assert performance(risk, np.zeros(400)).c_statistic is None
    # chances that were practically 0 for all: the level still comes out
    hopeless = performance(np.full(10, 1e-300), (np.arange(10) < 2) * 1.0)
    assert hopeless.calibration_in_the_large == pytest.approx(np.log(0.2 / 0.8) - np.log(1e-300), abs=1e-6)


def test_groups_are_as_many_as_the_events_carry() -> None:
    risk, _, _ = eyes(15)
    for cloudy, number in ((5, 2), (31, 3), (79, 9), (200, 10)):
        y = np.zeros(400)
        y[:cloudy] = 1.0
        groups = grouped(risk, y)
        assert len(groups) == number
        assert sum(g.n for g in groups) == 400
        assert all(g.low <= g.observed <= g.high for g in groups)


def test_comparing_needs_two_patients_of_each_kind() -> None:
    risk, y, patients = eyes(16)
    with pytest.raises(ModelError, match="fewer than two"):
        compare_c_statistics(risk, risk, np.zeros(400))
    with pytest.raises(ModelError, match="fewer than two"):
        compare_c_statistics([0.1, 0.2, 0.3, 0.4], [0.1, 0.2, 0.3, 0.4], [1, 1, 0, 0], clusters=[1, 1, 2, 3])
    same = compare_c_statistics(risk, risk, y, clusters=patients)
    assert (same.value, same.z, same.p) == (0.0, 0.0, 1.0)
    certain = compare_c_statistics([0.9, 0.8, 0.1, 0.2], [0.1, 0.2, 0.9, 0.8], [1, 1, 0, 0])
    assert certain.value == 1.0
    assert certain.z == np.inf
    assert certain.p == 0.0


def test_interval_of_c_covers() -> None:
    # 19 times in 20, by patients, over 200 invented practices
    true = c_statistic(*eyes(0, n=400_000)[:2])
    inside = 0
    for seed in range(200):
        risk, y, patients = eyes(1000 + seed)
        found = c_measure(risk, y, patients)
        assert found.low is not None
        assert found.high is not None
        inside += found.low <= true <= found.high
    assert 180 <= inside <= 199


@pytest.mark.parametrize(
    ("work", "why"),
    [
        (lambda: judge([], []), "no eyes"),
        (lambda: performance([], []), "no eyes"),
        (lambda: judge([0.1, 0.2], [0, 1], resamples=1), "2 resamples"),
        (lambda: judge([0.1, 1.2], [0, 1]), "outside 0 to 1"),
        (lambda: judge([0.1, 0.2, 0.3], [0, 1]), "2 numbers"),
        (lambda: net_benefit([0.1], [0], [1.0]), "threshold"),
        (lambda: net_benefit([], [], [0.1]), "no eyes"),
    ],
)
def test_refusals_say_why(work: object, why: str) -> None:
    assert callable(work)
    with pytest.raises(ModelError, match=why):
        work()
