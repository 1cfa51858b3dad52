"""Sample size, tiers, splines and usual ranges."""

from __future__ import annotations

import numpy as np
import pytest
import statsmodels.datasets
import statsmodels.formula.api as smf
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import norm

from models import (
    ModelError,
    Prior,
    curve_term,
    fit_logistic,
    quantile_knots,
    r2_from_c_statistic,
    restricted_cubic,
    sample_size,
    shrinkage_estimate,
    tier,
    usual_range,
)
from models.usual import enough
from tests.models.reference_data import birthwt


def test_sample_size_of_the_published_example() -> None:
    # formulas of Riley RD et al. Stat Med 2019;38:1276; example of BMJ 2020;368:m441 (from memory)
    found = sample_size(prevalence=0.05, parameters=30, r2=0.05)
    assert (found.shrinkage_n, found.optimism_n, found.intercept_n, found.required) == (5249, 1770, 73, 5249)
    for prevalence, largest in ((0.05, 0.3277), (0.1, 0.478), (0.01, 0.106)):
        limit = sample_size(prevalence=prevalence, parameters=3, r2=0.01).max_r2
        assert round(limit, len(str(largest)) - 2) == largest


def test_eyes_for_the_error_of_a_chance() -> None:
    """van Smeden M et al. Stat Methods Med Res 2019;28:2455, as quoted in BMJ 2020;368:m441 (from memory)."""
    found = sample_size(prevalence=0.05, parameters=30, r2=0.05)
    by_formula = np.exp((-0.508 + 0.259 * np.log(0.05) + 0.504 * np.log(30) - np.log(0.05)) / 0.544)
    assert found.error_n == int(np.ceil(by_formula)) == 544
    assert sample_size(prevalence=0.1, parameters=12, c_statistic=0.72).error_n == 324
    assert sample_size(prevalence=0.9, parameters=12, c_statistic=0.72).error_n == 324
    narrow = sample_size(prevalence=0.1, parameters=12, c_statistic=0.72, error=0.01)
    assert narrow.error_n == narrow.required > narrow.shrinkage_n
    everything = (found.shrinkage_n, found.optimism_n, found.intercept_n, found.error_n)
    assert found.required == max(everything)
    # the average is what needs most eyes when it must be known closely
    close = sample_size(prevalence=0.4, parameters=1, c_statistic=0.9, margin=0.01)
    assert close.required == close.intercept_n == 9220


# Own table: coefficients allowed at 300 and 1500 eyes.
@pytest.mark.parametrize(
    ("c", "share", "at_300", "at_1500"),
    [(0.72, 0.10, 2.0, 9.9), (0.75, 0.10, 2.6, 13.1), (0.70, 0.08, 1.3, 6.6), (0.72, 0.06, 1.3, 6.3)],
)
def test_coefficients_that_eyes_allow(c: float, share: float, at_300: float, at_1500: float) -> None:
    one = sample_size(prevalence=share, parameters=1000, c_statistic=c).shrinkage_n / 1000
    assert (300 / one, 1500 / one) == pytest.approx((at_300, at_1500), abs=0.06)


# Own table: C statistic, share of cloudy eyes, R2, eyes for 4, 8, 12, 21 coefficients, optimism at 12, intercept at
# margins 0.05 and 0.02. Worked out in another program from R2 unrounded.
@pytest.mark.parametrize(
    ("c", "share", "r2", "by_shrinkage", "optimism", "intercept", "narrow"),
    [
        (0.72, 0.10, 0.0574, (607, 1214, 1821, 3187), 482, 139, 865),
        (0.75, 0.10, 0.0752, (459, 917, 1376, 2407), 477, 139, 865),
        (0.70, 0.08, 0.0388, (908, 1815, 2723, 4765), 545, 114, 707),
        (0.72, 0.06, 0.0368, (959, 1917, 2876, 5033), 640, 87, 542),
    ],
)
def test_eyes_a_practice_would_need(
    c: float, share: float, r2: float, by_shrinkage: tuple[int, ...], optimism: int, intercept: int, narrow: int
) -> None:
    assert r2_from_c_statistic(c, share) == pytest.approx(r2, abs=5e-5)
    for parameters, eyes in zip((4, 8, 12, 21), by_shrinkage, strict=True):
        found = sample_size(prevalence=share, parameters=parameters, c_statistic=c)
        assert found.shrinkage_n == pytest.approx(eyes, abs=1)
        assert found.r2 == pytest.approx(r2, abs=5e-5)
    twelve = sample_size(prevalence=share, parameters=12, c_statistic=c)
    assert twelve.optimism_n == pytest.approx(optimism, abs=1)
    assert twelve.intercept_n == pytest.approx(intercept, abs=1)
    assert sample_size(prevalence=share, parameters=12, c_statistic=c, margin=0.02).intercept_n == pytest.approx(
        narrow, abs=1
    )


def test_r2_of_a_c_statistic_against_simulation() -> None:
    assert r2_from_c_statistic(0.81, 0.77) == pytest.approx(0.212, abs=1e-3)
    rng = np.random.default_rng(1)
    y = np.arange(400_000) < 0.1 * 400_000
    d = np.sqrt(2) * norm.ppf(0.75)
    fit = fit_logistic((rng.normal(size=400_000) + d * y)[:, None], y * 1.0)
    simulated = 1 - np.exp(-2 * (fit.log_likelihood - fit.null_log_likelihood) / 400_000)
    assert r2_from_c_statistic(0.75, 0.1) == pytest.approx(simulated, abs=2e-3)


@pytest.mark.parametrize(
    "wrong",
    [
        {"prevalence": 0.0, "parameters": 3, "r2": 0.01},
        {"prevalence": 0.1, "parameters": 0, "r2": 0.01},
        {"prevalence": 0.1, "parameters": 2.5, "r2": 0.01},
        {"prevalence": 0.1, "parameters": float("nan"), "r2": 0.01},
        {"prevalence": 0.1, "parameters": 3, "r2": 0.01, "error": 0.0},
        {"prevalence": 0.1, "parameters": 3, "r2": 0.01, "error": 5.0},
        {"prevalence": 0.1, "parameters": 3},
        {"prevalence": 0.1, "parameters": 3, "r2": 0.01, "c_statistic": 0.7},
        {"prevalence": 0.1, "parameters": 3, "r2": 0.5},
        {"prevalence": 0.1, "parameters": 3, "c_statistic": 0.5},
        {"prevalence": 0.1, "parameters": 3, "r2": 0.01, "shrinkage": 1.0},
        {"prevalence": 0.1, "parameters": 3, "r2": 0.01, "margin": 0.0},
    ],
)
def test_sample_size_refuses(wrong: dict[str, float]) -> None:
    with pytest.raises(ModelError):
        sample_size(**wrong)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("cloudy", "eyes", "patients", "letter"),
    [
        (14.9, 500, 300, "A"),
        (15, 99, 80, "A"),
        (15, 120, 59, "A"),
        (15, 100, 60, "B"),
        (49.9, 500, 300, "B"),
        (50, 500, 300, "C"),
        (199, 2000, 1200, "C"),
        (200, 2000, 1200, "D"),
    ],
)
def test_tiers(cloudy: float, eyes: float, patients: float, letter: str) -> None:
    found = tier(cloudy, eyes, patients)
    assert found.letter == letter
    assert found.individual_forecasts is (letter != "A")
    assert found.end_of_case_forecasts is (letter in "CD")
    assert found.depth_curve is (cloudy >= 100)
    assert found.further_fields is (letter == "D")
    assert found.words.endswith(".")


def test_tier_refuses_impossible_counts() -> None:
    with pytest.raises(ModelError, match="contradict"):
        tier(20, 10, 5)


def test_shrinkage_is_nothing_where_the_columns_say_nothing() -> None:
    x = np.tile([[0.0], [1.0]], (20, 1))
    y = np.repeat([0.0, 1.0, 0.0, 0.0], 10)
    fit = fit_logistic(x, y, prior=Prior.ridge(1.0, 1))
    assert shrinkage_estimate(fit) == 0.0


def test_shrinkage_counts_effective_parameters() -> None:
    # birthwt on standardised columns, ridge 5: 7.7593 effective parameters (own run), of nine counted ones
    x, y = birthwt()
    fit = fit_logistic((x - x.mean(axis=0)) / x.std(axis=0), y, prior=Prior.ridge(5.0, 9))
    risk = fit.predict((x - x.mean(axis=0)) / x.std(axis=0))
    log_likelihood = float(np.log(np.where(y == 1.0, risk, 1.0 - risk)).sum())
    ratio = 2.0 * (log_likelihood + 117.335998)
    assert shrinkage_estimate(fit) == pytest.approx(1.0 - 7.7593 / ratio, abs=1e-5)


def test_three_knots() -> None:
    # Harrell's form, divided by (last knot - first knot)^2
    found = curve_term([2.4, 2.8, 3.1, 3.4, 4.0], [2.5, 3.1, 3.7])
    assert found == pytest.approx([0, 0.01875, 0.15, 0.46875, 1.35], abs=1e-12)


@given(st.integers(3, 5))
def test_splines_are_straight_outside_and_smooth_inside(number: int) -> None:
    x = np.random.default_rng(1).normal(size=300)
    knots = quantile_knots(x, number)
    outside = np.linspace(knots[-1], knots[-1] + 3, 7)
    assert np.diff(restricted_cubic(outside, knots), 2, axis=0) == pytest.approx(0, abs=1e-9)
    below = restricted_cubic(np.linspace(knots[0] - 3, knots[0], 7), knots)
    assert not below[:, 1:].any()
    grid = np.linspace(knots[0] - 1, knots[-1] + 1, 4001)
    second = np.diff(restricted_cubic(grid, knots), 2, axis=0) / (grid[1] - grid[0]) ** 2
    assert np.abs(np.diff(second, axis=0)).max() < 0.02 * np.abs(second).max()
    assert restricted_cubic(x, knots).shape == (300, number - 1)
    shares = {3: [0.1, 0.5, 0.9], 4: [0.05, 0.35, 0.65, 0.95], 5: [0.05, 0.275, 0.5, 0.725, 0.95]}[number]
    assert knots == pytest.approx(np.quantile(x, shares))


def test_splines_refuse() -> None:
    for work, why in [
        (lambda: quantile_knots([1.0, 2.0], 6), "6 knots"),
        (lambda: quantile_knots([], 3), "no measurements"),
        (lambda: quantile_knots([1.0] * 9, 3), "all different"),
        (lambda: restricted_cubic([1.0], [1.0, 2.0]), "three or more"),
    ]:
        with pytest.raises(ModelError, match=why):
            work()


def test_usual_range_on_the_classic_food_data() -> None:
    # Koenker and Bassett's Engel data; published values (from memory), reproduced by statsmodels quantreg
    table = statsmodels.datasets.engel.load_pandas().data
    x, y = table[["income"]], table.foodexp
    levels = (0.1, 0.25, 0.5)
    found = usual_range(x, y, [[0.0], [1000.0]], levels)
    assert found[0] == pytest.approx([110.1416, 95.4835, 81.4823], abs=1e-4)
    assert (found[1] - found[0]) / 1000 == pytest.approx([0.4018, 0.4741, 0.5602], abs=5e-5)
    incomes = [[500.0], [1000.0], [2000.0]]
    for level, column in zip(levels, usual_range(x, y, incomes, levels).T, strict=True):
        theirs = smf.quantreg("foodexp ~ income", table).fit(q=level).params
        assert column == pytest.approx([theirs.Intercept + theirs.income * row[0] for row in incomes], abs=1e-2)


def test_quantile_lines_never_cross_among_cases_like_ours() -> None:
    # invented: spread shrinks to nothing at 0, where the lines meet and cross by chance
    rng = np.random.default_rng(5)
    x = rng.uniform(0, 1, 400)
    y = x + x * rng.normal(size=400) + 0.02 * rng.normal(size=400)
    grid = np.linspace(x.min(), x.max(), 50)[:, None]
    found = usual_range(x[:, None], y, grid)
    assert (np.diff(found, axis=1) >= 0).all()
    far = usual_range(x[:, None], y, [[-5.0], [5.0]])
    assert far[0, 0] > far[0, 2]
    assert far[1, 0] < far[1, 2]


def test_few_cases_fall_back_to_the_log_normal() -> None:
    rng = np.random.default_rng(2)
    hardness = np.tile(np.arange(1.0, 6.0), 6)
    log_fluid = 3.6 + 0.19 * hardness + rng.normal(0, 0.35, 30)
    assert not enough(30, 1, (0.1, 0.5, 0.9))
    found = usual_range(hardness[:, None], log_fluid, [[3.0]])[0]
    slope, intercept = np.polyfit(hardness, log_fluid, 1)
    sd = np.sqrt(((log_fluid - intercept - slope * hardness) ** 2).sum() / 28)
    middle = intercept + 3 * slope
    assert found == pytest.approx([middle - 1.281552 * sd, middle, middle + 1.281552 * sd], abs=1e-5)
    assert enough(200, 1, (0.1, 0.5, 0.9))
    assert not enough(199, 1, (0.1, 0.5, 0.9))


def test_quantiles_of_skewed_fluid_are_the_true_ones() -> None:
    # invented: log-normal fluid, 10 %, 50 %, 90 % known
    rng = np.random.default_rng(3)
    hardness = rng.integers(1, 6, 1000).astype(float)
    fluid = np.exp(3.6 + 0.19 * hardness + rng.normal(0, 0.35, 1000))
    found = np.exp(usual_range(hardness[:, None], np.log(fluid), [[1.0], [5.0]]))
    true = np.exp(3.6 + 0.19 * np.array([[1.0], [5.0]]) + 0.35 * norm.ppf([0.1, 0.5, 0.9]))
    assert found == pytest.approx(true, rel=0.12)


def test_usual_range_refuses() -> None:
    for work, why in [
        (lambda: usual_range([[1.0], [2.0]], [1.0, 2.0], [[1.0]]), "too few"),
        (lambda: usual_range(np.ones((9, 1)), np.ones(9), [[1.0]], (0.5, 0.1)), "must rise"),
        (lambda: usual_range(np.ones((9, 1)), np.ones(8), [[1.0]]), "9 numbers"),
    ]:
        with pytest.raises(ModelError, match=why):
            work()
