"""Discrimination, calibration and net benefit against published tools on open data."""

from __future__ import annotations

import numpy as np
import pytest
from sklearn.calibration import calibration_curve
from sklearn.metrics import brier_score_loss, roc_auc_score

from models import compare_c_statistics, fit_logistic, judge, net_benefit
from models.arrays import expit, logit
from models.calibration import distance, grouped, poisson_limits, smooth
from models.discrimination import c_measure, c_statistic
from tests.models.reference_data import Array, birthwt, cancer, retinopathy

TOLERANCE = 1e-4


def marker() -> tuple[Array, Array]:
    table = cancer()
    return table.cancerpredmarker.to_numpy(dtype=float), table.cancer.to_numpy(dtype=float)


def test_marker_is_judged() -> None:
    # own run on the data of dcurves 1.1.7; its marker is a logistic fitted to the same persons
    risk, y = marker()
    found = judge(risk, y)
    assert (found.n, found.events, found.clusters) == (750, 105, None)
    assert found.c_statistic is not None
    assert found.c_statistic.se is not None
    assert found.c_statistic.value == pytest.approx(0.860628, abs=TOLERANCE)
    assert found.c_statistic.se == pytest.approx(0.019746, abs=TOLERANCE)
    assert found.brier == pytest.approx(0.084929, abs=TOLERANCE)
    assert found.scaled_brier == pytest.approx(0.294609, abs=TOLERANCE)
    assert found.calibration_slope is not None
    assert found.calibration_in_the_large is not None
    assert found.calibration_slope.value == pytest.approx(1.0, abs=TOLERANCE)
    assert found.calibration_slope.se == pytest.approx(0.0958, abs=TOLERANCE)
    assert found.calibration_in_the_large.value == pytest.approx(0.0, abs=TOLERANCE)
    assert found.calibration_in_the_large.se == pytest.approx(0.1247, abs=TOLERANCE)
    assert found.observed_expected is not None
    assert found.observed_expected.value == pytest.approx(1.0, abs=TOLERANCE)
    assert [round(g.observed * g.n) for g in found.groups] == [0, 1, 2, 6, 0, 8, 5, 10, 26, 47]
    expected = [0.413, 0.950, 1.572, 2.473, 3.767, 5.481, 8.515, 13.508, 23.122, 45.200]
    assert [g.mean_risk * g.n for g in found.groups] == pytest.approx(expected, abs=5e-4)
    assert found.ici == pytest.approx(0.00912, abs=5e-6)
    assert found.e50 == pytest.approx(0.00927, abs=5e-6)
    assert found.e90 == pytest.approx(0.01581, abs=5e-6)
    # the distance of a perfect fit is not 0, so it is shown beside what a perfect model scores
    assert found.ici_if_perfect is not None
    assert 0.012 < found.ici_if_perfect.mean < 0.020
    assert found.ici_beyond_chance is False


@pytest.mark.parametrize(("knots", "ici"), [(3, 0.00208), (4, 0.00372), (5, 0.00912)])
def test_distance_by_number_of_knots(knots: int, ici: float) -> None:
    risk, y = marker()
    assert distance(smooth(risk, y, knots=knots), risk).ici == pytest.approx(ici, abs=5e-6)


def test_scikit_learn_agrees_live() -> None:
    risk, y = marker()
    assert c_statistic(risk, y) == pytest.approx(roc_auc_score(y, risk), abs=1e-12)
    rounded = np.round(risk, 1)
    assert c_statistic(rounded, y) == pytest.approx(roc_auc_score(y, rounded), abs=1e-12)
    weight = np.random.default_rng(1).integers(1, 4, 750).astype(float)
    assert c_statistic(rounded, y, weight) == pytest.approx(roc_auc_score(y, rounded, sample_weight=weight), abs=1e-12)
    assert judge(risk, y, curve=False).brier == pytest.approx(brier_score_loss(y, risk), abs=1e-12)
    share, mean = calibration_curve(y, risk, n_bins=10, strategy="quantile")
    groups = grouped(risk, y)
    assert [g.observed for g in groups] == pytest.approx(share.tolist(), abs=1e-12)
    assert [g.mean_risk for g in groups] == pytest.approx(mean.tolist(), abs=1e-12)


@pytest.mark.parametrize(
    ("a", "b", "in_the_large", "ratio", "brier"),
    [
        (0.4, 1.0, -0.4, 0.788856, 0.086972),
        (0.0, 1.5, 0.586743, 1.341086, None),
        (-0.3, 0.7, -0.119837, 0.919164, None),
    ],
)
def test_distorted_forecasts(a: float, b: float, in_the_large: float, ratio: float, brier: float | None) -> None:
    # exact identity for logit* = a + b logit of a fitted model: slope 1/b, its intercept -a/b
    risk, y = marker()
    distorted = expit(a + b * logit(risk))
    found = judge(distorted, y, curve=False)
    assert found.calibration_slope is not None
    assert found.calibration_in_the_large is not None
    assert found.calibration_slope.value == pytest.approx(1 / b, abs=TOLERANCE)
    assert fit_logistic(logit(distorted)[:, None], y).intercept == pytest.approx(-a / b, abs=TOLERANCE)
    assert found.calibration_in_the_large.value == pytest.approx(in_the_large, abs=TOLERANCE)
    assert found.observed_expected is not None
    assert found.observed_expected.value == pytest.approx(ratio, abs=TOLERANCE)
    if brier is not None:
        assert found.brier == pytest.approx(brier, abs=TOLERANCE)


def test_delong_on_birthwt() -> None:
    # MLstatkit 0.1.91 (Delong_test) and confidenceinterval 1.0.5
    x, y = birthwt()
    full = fit_logistic(x, y).predict(x)
    small = fit_logistic(x[:, [1, 2, 3]], y).predict(x[:, [1, 2, 3]])
    found = c_measure(full, y)
    assert found.value == pytest.approx(0.746154, abs=TOLERANCE)
    assert found.se == pytest.approx(0.037774, abs=TOLERANCE)
    assert (found.low, found.high) == pytest.approx((0.665369, 0.812919), abs=TOLERANCE)
    assert found.se is not None
    plain = (found.value - 1.959964 * found.se, found.value + 1.959964 * found.se)
    assert plain == pytest.approx((0.672118, 0.820190), abs=TOLERANCE)
    other = c_measure(small, y)
    assert (other.value, other.se) == pytest.approx((0.647327, 0.043108), abs=TOLERANCE)
    difference = compare_c_statistics(full, small, y)
    assert difference.value == pytest.approx(0.746154 - 0.647327, abs=TOLERANCE)
    assert difference.z == pytest.approx(2.555108, abs=TOLERANCE)
    assert difference.p == pytest.approx(0.010615, abs=TOLERANCE)
    # every birth its own patient: the clustered formula is DeLong's
    alone = c_measure(full, y, np.arange(189))
    assert alone.se == pytest.approx(found.se, abs=1e-12)
    again = compare_c_statistics(full, small, y, clusters=np.arange(189))
    assert again.se == pytest.approx(difference.se, abs=1e-12)


@pytest.mark.parametrize(
    ("columns", "value", "clustered", "independent", "bootstrap"),
    [
        (["trt", "adult", "risk"], 0.664624, 0.026775, 0.027966, 0.02686),
        (["adult", "risk"], 0.586962, 0.030535, 0.028855, 0.03061),
        (["trt"], 0.624970, 0.021819, 0.024919, 0.02198),
    ],
)
def test_two_eyes_of_one_patient(
    columns: list[str], value: float, clustered: float, independent: float, bootstrap: float
) -> None:
    # own run; the patient bootstrap (+/- 0.0006) is the independent route
    table = retinopathy()
    y = table.status.to_numpy(dtype=float)
    risk = fit_logistic(table[columns], y).predict(table[columns])
    found = judge(risk, y, clusters=table.id, curve=False)
    assert found.clusters == 197
    assert found.c_statistic is not None
    assert found.c_statistic.se is not None
    assert found.c_statistic.value == pytest.approx(value, abs=TOLERANCE)
    assert found.c_statistic.se == pytest.approx(clustered, abs=1e-5)
    assert found.c_statistic.se == pytest.approx(bootstrap, abs=6e-4)
    assert judge(risk, y, curve=False).c_statistic.se == pytest.approx(independent, abs=1e-5)  # type: ignore[union-attr]
    assert abs(clustered - independent) > 1e-3


def test_net_benefit_on_cancer() -> None:
    # dcurves 1.1.7: dca(data, 'cancer', ['cancerpredmarker', 'famhistory'], thresholds=[...])
    risk, y = marker()
    at = [0.05, 0.10, 0.15, 0.20, 0.25, 0.30, 0.35]
    found = net_benefit(risk, y, at)
    model = [0.105544, 0.087407, 0.079216, 0.067333, 0.064000, 0.054667, 0.050154]
    treat_all = [0.094737, 0.044444, -0.011765, -0.075000, -0.146667, -0.228571, -0.323077]
    assert found.model == pytest.approx(model, abs=TOLERANCE)
    assert found.all == pytest.approx(treat_all, abs=TOLERANCE)
    assert not found.none.any()
    assert found.avoided[1] == pytest.approx(0.386667, abs=TOLERANCE)
    family = net_benefit(cancer().famhistory, y, at)
    by_family = [0.025614, 0.018519, 0.010588, 0.001667, -0.008444, -0.020000, -0.033333]
    assert family.model == pytest.approx(by_family, abs=TOLERANCE)


def test_net_benefit_counts_a_chance_at_the_threshold_as_above() -> None:
    found = net_benefit([0.1, 0.2, 0.3], [0, 1, 0], [0.2])
    assert found.model[0] == pytest.approx(1 / 3 - 1 / 3 * 0.25, abs=1e-12)


def test_exact_limits_of_seen_over_forecast() -> None:
    # chi-squared form of the exact Poisson limits: O 12, E 6 and O 0, E 4
    assert np.array(poisson_limits(12)) / 6 == pytest.approx([1.0334, 3.4936], abs=TOLERANCE)
    assert np.array(poisson_limits(0)) / 4 == pytest.approx([0.0, 0.9222], abs=TOLERANCE)
    risk, y = np.full(60, 0.1), (np.arange(60) < 12).astype(float)
    found = judge(risk, y, curve=False).observed_expected
    assert found is not None
    assert (found.value, found.low, found.high) == pytest.approx((2.0, 1.0334, 3.4936), abs=TOLERANCE)
