"""The logistic fit against published values, scikit-learn and statsmodels on open data."""

from __future__ import annotations

import warnings

import numpy as np
import pytest
import statsmodels.api as sm
from scipy.optimize import minimize
from sklearn.linear_model import LogisticRegression

from models import Prior, fit_logistic, logit_variance, range_covariance, risk_range, shrinkage_estimate
from models.judging import judge, performance
from tests.models.reference_data import Array, birthwt, retinopathy

TOLERANCE = 1e-4
CASE = np.array([[25.0, 110, 0, 1, 1, 1, 0, 1, 0]])
"""Age 25, weight 110, other race, smoker, one premature labour, uterine irritability."""

PUBLISHED_MEAN = np.array([0, 0, 0.5, 0.5, np.log(2), np.log(1.5), np.log(4), np.log(2), 0])
PUBLISHED_SD = np.array([0.05, 0.02, 0.7, 0.7, 0.5, 0.5, 0.8, 0.7, 0.3])


def centred() -> tuple[Array, Array, Array]:
    x, y = birthwt()
    return x - x.mean(axis=0), y, CASE - x.mean(axis=0)


def published_prior() -> Prior:
    return Prior.published(PUBLISHED_MEAN, PUBLISHED_SD, strength=0.5)


def test_maximum_likelihood_of_birthwt() -> None:
    # own run of statsmodels 0.15.0: smf.logit('low~age+lwt+C(race)+smoke+ptl+ht+ui+ftv', birthwt)
    x, y = birthwt()
    fit = fit_logistic(x, y)
    coefficients = [-0.029549, -0.015424, 1.272260, 0.880496, 0.938846, 0.543337, 1.863303, 0.767648, 0.065302]
    errors = [1.196904, 0.037031, 0.006919, 0.527364, 0.440786, 0.402154, 0.345405, 0.697540, 0.459321, 0.172396]
    assert fit.intercept == pytest.approx(0.480623, abs=TOLERANCE)
    assert fit.coefficients == pytest.approx(coefficients, abs=TOLERANCE)
    assert fit.standard_errors == pytest.approx(errors, abs=TOLERANCE)
    assert fit.log_likelihood == pytest.approx(-100.642398, abs=TOLERANCE)
    assert fit.null_log_likelihood == pytest.approx(-117.335998, abs=TOLERANCE)
    assert fit.effective_df == pytest.approx(9.0, abs=1e-9)
    assert fit.own_data_share == pytest.approx(1.0, abs=1e-9)
    assert fit.largest_gradient < 1e-8 * 189
    assert 1 < fit.iterations < 12
    assert fit.robust_covariance is None
    assert fit.robust_standard_errors is None


def test_what_follows_from_the_birthwt_fit() -> None:
    # the same run: C statistic, Brier, scaled Brier, Cox-Snell R2, heuristic shrinkage (LR - 9) / LR
    x, y = birthwt()
    fit = fit_logistic(x, y)
    judged = judge(fit.predict(x), y, curve=False)
    assert judged.c_statistic is not None
    assert judged.c_statistic.value == pytest.approx(0.746154, abs=TOLERANCE)
    assert judged.brier == pytest.approx(0.179060, abs=TOLERANCE)
    assert judged.scaled_brier == pytest.approx(0.166074, abs=TOLERANCE)
    ratio = 2 * (fit.log_likelihood - fit.null_log_likelihood)
    assert 1 - np.exp(-ratio / 189) == pytest.approx(0.161928, abs=TOLERANCE)
    assert shrinkage_estimate(fit) == pytest.approx(0.730436, abs=TOLERANCE)
    light = performance(fit.predict(x), y)
    assert light.c_statistic == pytest.approx(0.746154, abs=TOLERANCE)
    assert light.brier == pytest.approx(0.179060, abs=TOLERANCE)
    assert light.calibration_in_the_large == pytest.approx(0.0, abs=1e-8)
    assert light.calibration_slope == pytest.approx(1.0, abs=1e-8)


@pytest.mark.parametrize(
    ("columns", "expected", "log_likelihood"),
    [
        # Hosmer DW, Lemeshow S. Applied Logistic Regression (from memory), to the digits printed there
        ((1, 2, 3), (0.806, -0.015, 1.081, 0.481), -111.630),
        ((0, 1, 2, 3, 8), (1.295, -0.024, -0.014, 1.004, 0.433, -0.049), -111.286),
    ],
)
def test_textbook_subsets(columns: tuple[int, ...], expected: tuple[float, ...], log_likelihood: float) -> None:
    x, y = birthwt()
    fit = fit_logistic(x[:, columns], y)
    assert [fit.intercept, *fit.coefficients] == pytest.approx(expected, abs=6e-4)
    assert fit.log_likelihood == pytest.approx(log_likelihood, abs=6e-4)


def test_statsmodels_gives_the_same_maximum_live() -> None:
    x, y = birthwt()
    theirs = sm.Logit(y, sm.add_constant(x)).fit(disp=0, tol=1e-12)
    ours = fit_logistic(x, y)
    assert [ours.intercept, *ours.coefficients] == pytest.approx(theirs.params, abs=1e-8)
    assert ours.standard_errors == pytest.approx(theirs.bse, abs=1e-8)


def test_ridge_is_scikit_learn() -> None:
    # own run of LogisticRegression(C=1/5, tol=1e-10) on columns standardised with the population SD
    x, y = birthwt()
    standardised = (x - x.mean(axis=0)) / x.std(axis=0)
    fit = fit_logistic(standardised, y, prior=Prior.ridge(5.0, 9))
    printed = [-0.147211, -0.374321, 0.334990, 0.311264, 0.358342, 0.251464, 0.375051, 0.240551, 0.029194]
    assert fit.intercept == pytest.approx(-0.911112, abs=1e-6)
    assert fit.coefficients == pytest.approx(printed, abs=1e-6)
    for penalty, df in ((1.0, 8.7017), (5.0, 7.7593), (20.0, 5.7284)):
        ours = fit_logistic(standardised, y, prior=Prior.ridge(penalty, 9))
        theirs = LogisticRegression(C=1 / penalty, tol=1e-10, max_iter=10_000).fit(standardised, y)
        assert ours.coefficients == pytest.approx(theirs.coef_[0], abs=1e-6)
        assert ours.intercept == pytest.approx(float(theirs.intercept_[0]), abs=1e-6)
        assert ours.effective_df == pytest.approx(df, abs=TOLERANCE)
        assert ours.own_data_share == pytest.approx(df / 9, abs=TOLERANCE)


def test_published_prior() -> None:
    # own Newton, in another program; its diagonal version equals BFGS to 2e-9
    x, y, _ = centred()
    fit = fit_logistic(x, y, prior=published_prior())
    coefficients = [-0.021079, -0.013383, 1.006547, 0.757195, 0.862475, 0.521360, 1.741109, 0.784863, 0.032793]
    errors = [0.176973, 0.029066, 0.006189, 0.419118, 0.358895, 0.317338, 0.281696, 0.556873, 0.387062, 0.147272]
    assert fit.intercept == pytest.approx(-0.930085, abs=TOLERANCE)
    assert fit.coefficients == pytest.approx(coefficients, abs=TOLERANCE)
    assert fit.standard_errors == pytest.approx(errors, abs=TOLERANCE)
    assert fit.effective_df == pytest.approx(6.55698, abs=TOLERANCE)


def test_range_of_one_eye() -> None:
    x, y, case = centred()
    prior = published_prior()
    fit = fit_logistic(x, y, prior=prior)
    eta = fit.linear_predictor(case)
    variance = logit_variance(fit.covariance, case)
    assert eta[0] == pytest.approx(1.124349, abs=TOLERANCE)
    assert np.sqrt(variance[0]) == pytest.approx(0.516285, abs=TOLERANCE)
    assert fit.predict(case)[0] == pytest.approx(0.754795, abs=TOLERANCE)
    assert np.ravel(risk_range(eta, variance, form_sd=0.0)) == pytest.approx([0.528078, 0.894379], abs=TOLERANCE)
    assert np.ravel(risk_range(eta, variance)) == pytest.approx([0.517639, 0.898267], abs=TOLERANCE)
    # recommended: prior widths doubled for the range, each row its own patient, allowance for the form
    wide = logit_variance(range_covariance(fit, x, y, prior=prior), case)
    assert np.sqrt(wide[0]) == pytest.approx(0.575444, abs=TOLERANCE)
    assert np.ravel(risk_range(eta, wide)) == pytest.approx([0.489697, 0.908038], abs=TOLERANCE)
    # without the clustered middle, prior widths doubled
    risk = fit.predict(x)
    design = np.column_stack([np.ones(189), x])
    information = (design * (risk * (1 - risk))[:, None]).T @ design
    information[1:, 1:] += prior.widened(2.0).precision
    plain = logit_variance(np.linalg.inv(information), case)
    assert np.sqrt(plain[0]) == pytest.approx(0.553691, abs=TOLERANCE)


def test_strength_term_matters_and_diagonal_prior_is_found_by_bfgs() -> None:
    x, y, _ = centred()
    diagonal = fit_logistic(x, y, prior=Prior.published(PUBLISHED_MEAN, PUBLISHED_SD, strength=0.0))
    assert diagonal.intercept == pytest.approx(-0.918993, abs=TOLERANCE)
    assert diagonal.coefficients[4] == pytest.approx(0.804547, abs=TOLERANCE)
    assert diagonal.coefficients[6] == pytest.approx(1.620406, abs=TOLERANCE)

    design = np.column_stack([np.ones(189), x / x.std(axis=0)])
    unit = np.concatenate([[1.0], x.std(axis=0)])

    def loss(scaled: Array) -> float:
        eta = design @ scaled
        away = (scaled / unit)[1:] - PUBLISHED_MEAN
        return float(-(y @ eta - np.logaddexp(0, eta).sum()) + 0.5 * (away**2 / PUBLISHED_SD**2).sum())

    found = minimize(loss, np.zeros(10), method="BFGS", options={"gtol": 1e-7}).x / unit
    assert diagonal.coefficients == pytest.approx(found[1:], abs=1e-5)


def test_weighted_fit() -> None:
    # own run: weights halve every 95 rows back in file order
    x, y, _ = centred()
    weights = 0.5 ** ((188 - np.arange(189)) / 95)
    fit = fit_logistic(x, y, prior=published_prior(), weights=weights)
    assert fit.intercept == pytest.approx(-0.243862, abs=TOLERANCE)
    assert fit.coefficients[4] == pytest.approx(0.960130, abs=TOLERANCE)
    assert fit.coefficients[6] == pytest.approx(1.721093, abs=TOLERANCE)
    assert fit.weight_total == pytest.approx(102.9156, abs=TOLERANCE)
    assert fit.effective_n == pytest.approx(163.83, abs=0.005)


def test_two_eyes_of_one_patient() -> None:
    # statsmodels 0.15.0; its cluster factor is G/(G-1) * (n-1)/(n-k), without correction 0.187447
    table = retinopathy()
    fit = fit_logistic(table[["trt"]], table.status, clusters=table.id)
    assert fit.coefficients[0] == pytest.approx(-1.024633, abs=TOLERANCE)
    assert fit.intercept == pytest.approx(0.050772, abs=TOLERANCE)
    assert fit.standard_errors[1] == pytest.approx(0.214078, abs=TOLERANCE)
    assert fit.robust_standard_errors is not None
    factor = np.sqrt(196 / 197)
    assert fit.robust_standard_errors[1] * factor == pytest.approx(0.187447, abs=1e-6)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        theirs = sm.Logit(table.status, sm.add_constant(table[["trt"]])).fit(
            disp=0, cov_type="cluster", cov_kwds={"groups": table.id}
        )
    assert fit.robust_standard_errors[1] * np.sqrt(393 / 392) == pytest.approx(theirs.bse["trt"], abs=1e-6)

    between = fit_logistic(table[["adult", "risk"]], table.status, clusters=table.id)
    assert between.coefficients[0] == pytest.approx(0.140060, abs=TOLERANCE)
    assert between.standard_errors[1] == pytest.approx(0.210427, abs=TOLERANCE)
    assert between.robust_standard_errors is not None
    # printed with statsmodels' factor, here with k = 3
    assert between.robust_standard_errors[1] * np.sqrt(393 / 391) == pytest.approx(0.222836, abs=TOLERANCE)
    # a factor that differs within the patient gains from pairs, one of the whole patient loses
    assert fit.robust_standard_errors[1] < fit.standard_errors[1]
    assert between.robust_standard_errors[1] > between.standard_errors[1]


def test_two_eyes_with_a_prior() -> None:
    table = retinopathy()
    x = np.column_stack([table.trt, table.adult, table.risk - 9.69797])
    prior = Prior([-0.7, 0.0, 0.1], np.diag([1.0, 1.0, 25.0]))
    fit = fit_logistic(x, table.status, prior=prior, clusters=table.id)
    assert fit.robust_standard_errors is not None
    assert [fit.intercept, *fit.coefficients] == pytest.approx(
        [-0.022339, -1.006438, 0.138397, 0.164287], abs=TOLERANCE
    )
    assert fit.standard_errors == pytest.approx([0.168044, 0.210503, 0.211608, 0.069397], abs=TOLERANCE)
    assert fit.robust_standard_errors == pytest.approx([0.176587, 0.186522, 0.229435, 0.071125], abs=TOLERANCE)
    free = fit_logistic(x, table.status, clusters=table.id)
    assert free.robust_standard_errors is not None
    assert free.robust_standard_errors == pytest.approx([0.178959, 0.190390, 0.236178, 0.076596], abs=TOLERANCE)
    # a vanishing prior must give the ordinary clustered covariance, also for the range of one eye
    faint = fit_logistic(x, table.status, prior=Prior.ridge(1e-9, 3), clusters=table.id)
    assert faint.robust_covariance == pytest.approx(free.robust_covariance, abs=1e-8)
    wide = range_covariance(faint, x, table.status, prior=Prior.ridge(1e-9, 3), clusters=table.id)
    assert wide == pytest.approx(free.robust_covariance, abs=1e-8)
    assert range_covariance(free, x, table.status, clusters=table.id) == pytest.approx(
        free.robust_covariance, abs=1e-12
    )


def test_offset_against_statsmodels_live() -> None:
    x, y = birthwt()
    offset = 0.02 * x[:, 1] - 2.0
    ours = fit_logistic(x[:, [0, 4]], y, offset=offset)
    theirs = sm.GLM(y, sm.add_constant(x[:, [0, 4]]), family=sm.families.Binomial(), offset=offset).fit(tol=1e-12)
    assert [ours.intercept, *ours.coefficients] == pytest.approx(theirs.params, abs=1e-8)
    null = sm.GLM(y, np.ones(189), family=sm.families.Binomial(), offset=offset).fit(tol=1e-12)
    assert ours.null_log_likelihood == pytest.approx(null.llf, abs=1e-8)
    assert ours.predict(x[:, [0, 4]], offset) == pytest.approx(theirs.fittedvalues, abs=1e-8)
