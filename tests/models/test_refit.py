"""Many refits: each at its own optimum, the same to the bit for any number of threads."""

from __future__ import annotations

import sys
import tracemalloc

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sklearn.linear_model import LogisticRegression

from models import Cancelled, ModelError, Prior, Separation, fit_logistic, performance, refit_many
from models.arrays import expit
from models.blanks import Blanks
from models.dataset import build
from models.frozen import FrozenFits
from models.missing import averaged_risk, learn_normal
from models.optimism import Study, correct_optimism, own_log_odds
from models.penalty import OwnFit, fit_own
from models.prior_table import read_prior_table
from models.recipe import Pass, one_pass
from models.refit import refit_counted, refit_outcomes
from models.resampling import drawn_patients
from models.scoring import score_many
from models.spec import Spec, default_spec
from models.spline import restricted_cubic
from models.training import halving_weights
from tests.models.invented_practice import practice as eye_rows
from tests.models.reference_data import Array, birthwt

WHOLE = (("age_years", 70.0, 9.0), ("acd_mm", 3.1, 0.3), ("cct_um", 540.0, 34.0), ("axial_length_mm", 23.6, 1.2))


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
        assert found[b] == pytest.approx(np.concatenate([[alone.intercept], alone.coefficients]), rel=1e-6, abs=1e-7)


def test_very_many_eyes_start_from_a_share_of_them_and_end_at_their_own_optimum() -> None:
    x, y = practice(4, n=41_000)
    weights = np.random.default_rng(1).poisson(1.0, (6, 41_000)).astype(np.uint8)
    found, work = refit_counted(x, y, weights)
    assert (work.by_newton, work.alone) == (0, 0)
    for b in range(6):
        assert gradient(x, y, weights[b], found[b], None) < 1e-8 * weights[b].sum()


def test_a_column_that_varies_in_one_refit_alone_counts_there() -> None:
    # Fifty refits with eyes of their own each; the last column varies only among the eyes of one of them.
    rng = np.random.default_rng(8)
    x = rng.normal(size=(50 * 60, 2))
    x[:, 1] = 3.0
    x[60:120, 1] += rng.normal(size=60)
    y = (rng.random(3000) < 0.4).astype(float)
    weights = np.kron(np.eye(50), np.ones(60))
    prior = Prior.ridge(0.5, 2)
    found = refit_many(x, y, weights, prior=prior)
    alone = fit_logistic(x, y, prior=prior, weights=weights[1])
    assert found[1] == pytest.approx(np.concatenate([[alone.intercept], alone.coefficients]), rel=1e-6, abs=1e-7)
    assert found[1, 2] != 0.0


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
    assert found[7] == pytest.approx(np.concatenate([[alone.intercept], alone.coefficients]), rel=1e-6, abs=1e-7)


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
    refit_many(x, y, resamples(1, 300, 300), threads=1, report=lambda fraction, sentence: told.append(fraction))
    assert told == pytest.approx([0.0, 1 / 3, 2 / 3, 1.0])

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


def spread_practice(seed: int, n: int, p: int) -> tuple[Array, Array]:
    """Columns of SD 1, a third of them yes-or-no, about one eye in ten cloudy."""
    rng = np.random.default_rng(seed)
    x = rng.normal(size=(n, p))
    x[:, 2 * p // 3 :] = x[:, 2 * p // 3 :] > 0.8
    y = (rng.random(n) < expit(-2.4 + x @ rng.normal(0.0, 0.25, p))).astype(float)
    return x, y


@pytest.mark.parametrize(("n", "passes"), [(500, 8), (2000, 6), (6000, 6), (20000, 5), (50000, 4)])
def test_the_work_stays_within_its_bounds(n: int, passes: int) -> None:
    # Goals of the algorithm, not of a machine: passes over the eyes, informations, refits that needed a later tier.
    x, y = spread_practice(4, n, 20)
    weights = resamples(5, 128, n).astype(np.uint8)
    found, work = refit_counted(x, y, weights, prior=Prior.ridge(1.0, 20), threads=1)
    assert work.refits == 128
    assert work.passes <= passes
    assert work.exact_passes <= (4 if n < 1000 else 2)
    assert work.informations == (2 if n < 4000 else 0)
    assert (work.by_newton, work.alone) == (0, 0)
    for b in (0, 64, 127):
        theirs = LogisticRegression(C=1.0, tol=1e-12, solver="newton-cholesky", max_iter=1000)
        theirs.fit(x, y, sample_weight=weights[b])
        assert found[b, 1:] == pytest.approx(theirs.coef_[0], abs=5e-6)
        assert found[b, 0] == pytest.approx(theirs.intercept_[0], abs=5e-6)


def test_a_group_needs_few_calls_and_little_memory() -> None:
    x, y = spread_practice(4, 20000, 20)
    weights = resamples(5, 128, 20000).astype(np.uint8)
    refit_many(x, y, weights[:1], threads=1)
    calls = 0

    def count(frame: object, event: str, arg: object) -> None:
        nonlocal calls
        calls += event in ("call", "c_call")

    sys.setprofile(count)
    try:
        refit_many(x, y, weights, threads=1)
    finally:
        sys.setprofile(None)
    # one look at each refit by itself would be well over 10 000
    assert calls < 6000
    tracemalloc.start()
    refit_many(x, y, weights, threads=1)
    held = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    # no more than a few times the columns (3.2 MB), and nothing of refits x eyes but the counts, as bytes
    assert held < 40e6


def test_columns_in_any_unit_give_the_same_refits() -> None:
    x, y = spread_practice(9, 900, 4)
    weights = resamples(5, 20, 900)
    prior = Prior.published([0.3, -0.2, 0.1, 0.4], [0.2, 0.3, 0.2, 0.3])
    unit = np.array([1e3, 1e-3, 7.0, 1.0])
    scaled = Prior(prior.mean / unit, prior.precision * np.outer(unit, unit))
    plain, other = refit_many(x, y, weights, prior=prior), refit_many(x * unit, y, weights, prior=scaled)
    assert other[:, 1:] * unit == pytest.approx(plain[:, 1:], abs=1e-6)


def test_text_for_weights_is_refused() -> None:
    x, y = practice(6)
    with pytest.raises(ModelError, match="not a number"):
        refit_many(x, y, np.full((2, 300), "1"))


def variance_of_blanks(full: Pass, table: Array, b: Array, depth: int | None) -> Array:
    """b_M' C b_M eye by eye, C the conditional covariance, the curve's slope by a small difference."""
    filled = full.normal.fill(table)
    found = np.empty(table.shape[0])
    for i in range(table.shape[0]):
        slopes = b[: table.shape[1]].copy()
        if full.knots is not None and depth is not None:
            around = filled.values[i, depth] + np.array([-1e-5, 1e-5])
            low, high = restricted_cubic(around, np.asarray(full.knots))[:, 1]
            slopes[depth] += b[-1] * (high - low) / 2e-5 / full.curve_sd
        found[i] = slopes @ filled.spread[i] @ slopes
    return found


@pytest.mark.parametrize("curve", [False, True])
def test_frozen_refits_are_single_fits_on_the_eyes_drawn(curve: bool) -> None:
    data = build(eye_rows(700), default_spec("booking", curve=curve))
    spec = default_spec("booking", curve=curve)
    weights = halving_weights(data.quarters)
    full = one_pass(
        spec, data, Blanks(data.columns), data.columns, learn_normal(data.columns), read_prior_table(), weights=weights
    )
    own = fit_own(full.filled.values, data.y, weights, data.patients, (0, 2, 5), seed=1)
    fits = FrozenFits(spec, full, data.y, weights, data.patients, own)
    ((both, counted),) = fits.resampled(slice(0, 5), 3)
    for b in range(5):
        drawn = drawn_patients(slice(0, 5), data.patients, data.y, 3)[data.patients, b]
        assert counted[b] == pytest.approx(drawn * weights, abs=1e-12)
        fit = fit_logistic(full.design, data.y, prior=full.prior, weights=counted[b])
        left = variance_of_blanks(full, data.columns, fit.coefficients, spec.depth)
        assert expit(both[0][b]) == pytest.approx(averaged_risk(fit.linear_predictor(full.design), left), abs=1e-6)
        columns = full.filled.values[:, own.used]
        scale = np.sqrt(weights @ (columns - own.centre) ** 2 / weights.sum())
        ridge = fit_logistic(
            (columns - own.centre) / scale, data.y, prior=Prior.ridge(own.penalty, 3), weights=counted[b]
        )
        refitted = OwnFit(own.penalty, own.used, ridge.intercept, own.centre, ridge.coefficients / scale, 1, 0)
        assert both[1][b] == pytest.approx(own_log_odds(refitted, full), abs=1e-5)


def test_frozen_and_redone_optimism_agree_where_no_field_is_blank() -> None:
    # the same draws of patients; without blanks and curve only centring and prior widths of unnamed fields differ
    rng = np.random.default_rng(2)
    rows = [
        {**row, **{name: float(rng.normal(mean, sd)) for name, mean, sd in WHOLE if row.get(name) is None}}
        for row in eye_rows(600)
    ]
    spec = Spec("booking", tuple(t for t in default_spec("booking").terms if t.field in {name for name, _, _ in WHOLE}))
    data = build(rows, spec)
    normal = learn_normal(data.columns)
    full = one_pass(
        spec, data, Blanks(data.columns), data.columns, normal, read_prior_table(), weights=np.ones(data.n)
    )  # fmt: skip
    study = Study(spec, data, Blanks(data.columns), read_prior_table(), np.ones(data.n), full, True, None, 1)
    redone, frozen = correct_optimism(study, 40), correct_optimism(study, 40, blanks="frozen")
    assert (redone.blanks, frozen.blanks) == ("redone", "frozen")
    for name in ("c_statistic", "brier", "calibration_slope"):
        assert frozen.corrected[name] == pytest.approx(redone.corrected[name], abs=1e-4)


def test_bins_of_many_eyes_keep_the_figures() -> None:
    rng = np.random.default_rng(3)
    log_odds = rng.normal(-2.3, 1.0, size=(3, 9000))
    log_odds[1, 0], log_odds[2, 1] = 60.0, -1000.0  # one far eye must not coarsen the bins of the others
    y = (rng.random(9000) < expit(log_odds[0] * 0.9)).astype(float)
    counts = rng.integers(0, 4, size=(3, 9000)).astype(np.uint8)
    for coarse, fine in zip(
        score_many(log_odds, y, (counts, np.ones(9000))),
        score_many(log_odds, y, (counts, np.ones(9000)), exact=True),
        strict=True,
    ):
        assert coarse.c_statistic == pytest.approx(fine.c_statistic, abs=5e-5)
        assert coarse.brier == pytest.approx(fine.brier, abs=2e-6)
        assert coarse.calibration_in_the_large == pytest.approx(fine.calibration_in_the_large, abs=1e-4)
        # with an eye so far out the slope hangs on that eye alone
        assert coarse.calibration_slope[0] == pytest.approx(fine.calibration_slope[0], abs=1e-4)


def test_whole_numbers_counted_at_once_give_the_same_figures() -> None:
    rng = np.random.default_rng(3)
    log_odds = rng.normal(-2.3, 1.0, size=(2, 5000)).astype(np.float32)
    y = (rng.random(5000) < expit(log_odds[0])).astype(float)
    counts, once = rng.integers(0, 5, size=(2, 5000)).astype(np.uint8), np.ones(5000, dtype=np.uint8)
    at_once = score_many(log_odds, y, (counts, once))
    each = score_many(log_odds, y, (counts.astype(float), np.ones(5000)))
    for one, other in zip(at_once, each, strict=True):
        assert one.c_statistic.tobytes() == other.c_statistic.tobytes()
        assert one.brier.tobytes() == other.brier.tobytes()
        assert one.calibration_slope.tobytes() == other.calibration_slope.tobytes()


def test_equal_log_odds_count_half() -> None:
    (scores,) = score_many(np.array([[0.0, 0.0, 1.0, -1.0]]), np.array([1.0, 0.0, 0.0, 1.0]), (np.ones(4),))
    # pairs: (0, 0) half, (0, 1) lost, (-1, 0) lost, (-1, 1) lost
    assert scores.c_statistic[0] == 0.125


def test_patients_are_drawn_whole_and_as_many_as_there_are() -> None:
    patients = np.array([0, 0, 1, 2, 2, 3])
    y = np.array([1.0, 0.0, 0.0, 0.0, 0.0, 1.0])
    drawn = drawn_patients(slice(0, 200), patients, y, 5)
    assert drawn.shape == (4, 200)
    assert (drawn.sum(axis=0) == 4).all()
    counts = drawn[patients]
    assert ((y @ counts > 0) & ((1 - y) @ counts > 0)).all()
    assert drawn.mean() == 1.0
    assert drawn_patients(slice(0, 200), patients, y, 5).tobytes() == drawn.tobytes()
    with pytest.raises(ModelError, match="resampled"):
        drawn_patients(slice(0, 1), np.zeros(2, dtype=np.int64), np.zeros(2), 5)


def test_outcomes_that_are_none_are_refused() -> None:
    x, _ = practice(3)
    for wrong in (-1, 0.5, np.nan):
        drawn = np.zeros((2, 300))
        drawn[:, ::3] = wrong
        drawn[:, 1::3] = 1.0
        with pytest.raises(ModelError, match="neither 0 nor 1"):
            refit_outcomes(x, drawn)


def test_a_very_steep_slope_is_found() -> None:
    # forecasts that hardly differ: the slope is forty, and the intercept that goes with it far away
    rng = np.random.default_rng(0)
    log_odds = -2.0 + 0.05 * rng.normal(size=(1, 500))
    y = (rng.random(500) < expit(-2.0 + 40.0 * (log_odds[0] + 2.0))).astype(float)
    (scores,) = score_many(log_odds, y, (np.ones(500),))
    theirs = LogisticRegression(C=np.inf, tol=1e-10, max_iter=10_000).fit(100.0 * (log_odds[0] + 2.0)[:, None], y)
    assert scores.calibration_slope[0] == pytest.approx(100.0 * theirs.coef_[0, 0], rel=1e-4)


def test_a_refit_without_an_optimum_is_named_by_its_row() -> None:
    rng = np.random.default_rng(5)
    x = rng.normal(size=60)
    y = (rng.random(60) < 0.5) * 1.0
    weights = np.ones((140, 60), dtype=np.uint8)
    weights[133] = ((x > 0) == (y == 1.0)).astype(np.uint8)  # only eyes that a cut at 0 tells apart
    with pytest.raises(Separation, match="Refit 133 "):
        refit_many(x[:, None], y, weights)
