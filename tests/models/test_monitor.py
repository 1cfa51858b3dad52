"""Exact limits, funnel, tally and alarm chart."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import binom, gamma, norm

from models import (
    ModelError,
    cusum,
    cusum_limit,
    cusum_run_length,
    exact_limits,
    funnel,
    looks_words,
    outside_by_chance,
    running_tally,
    shrunken_ratio,
    wilson,
)
from models.arrays import expit
from models.monitor import poisson_binomial

TOLERANCE = 1e-4
MIX = np.repeat([0.05, 0.10, 0.15], 20)


def test_exact_limits_of_a_mix() -> None:
    # own run with scipy: 20 eyes each of 5, 10 and 15 %
    first, pmf = poisson_binomial(MIX)
    reached = np.concatenate([np.zeros(first), np.cumsum(pmf)])
    counts = first + np.arange(pmf.shape[0])
    assert float(pmf @ counts) == pytest.approx(6.0, abs=1e-9)
    assert float(pmf @ (counts - 6.0) ** 2) == pytest.approx(5.3, abs=1e-9)
    assert reached[1] == pytest.approx(0.013184, abs=1e-6)
    assert 1 - reached[10] == pytest.approx(0.032813, abs=1e-6)
    assert 1 - reached[11] == pytest.approx(0.013730, abs=1e-6)
    assert exact_limits(MIX) == (2, 11)
    assert exact_limits(MIX, 0.998) == (0, 14)


@given(st.lists(st.sampled_from([0.0, 0.03, 0.2, 0.5, 0.97, 1.0]), min_size=0, max_size=9))
@settings(max_examples=30)
def test_poisson_binomial_counts_every_case(chances: list[float]) -> None:
    first, pmf = poisson_binomial(chances)
    expected = np.zeros(len(chances) + 1)
    for seen in itertools.product((0, 1), repeat=len(chances)):
        expected[sum(seen)] += math.prod(p if s else 1 - p for p, s in zip(chances, seen, strict=True))
    full = np.zeros(len(chances) + 1)
    full[first : first + pmf.shape[0]] = pmf
    assert full == pytest.approx(expected, abs=1e-14)


@pytest.mark.parametrize(("n", "p"), [(700, 0.1), (20_000, 0.08)])
def test_equal_chances_are_the_binomial(n: int, p: float) -> None:
    first, pmf = poisson_binomial(np.full(n, p))
    counts = first + np.arange(pmf.shape[0])
    assert pmf == pytest.approx(binom.pmf(counts, n, p), abs=1e-12)
    for level in (0.95, 0.998):
        expected = binom.ppf([(1 - level) / 2, (1 + level) / 2], n, p)
        assert exact_limits(np.full(n, p), level) == tuple(expected.astype(int))


def test_certain_eyes_have_one_count() -> None:
    assert exact_limits([1.0] * 5 + [0.0] * 3, 0.998) == (5, 5)
    assert exact_limits([]) == (0, 0)
    with pytest.raises(ModelError, match="level"):
        exact_limits(MIX, 1.0)


@pytest.mark.parametrize(
    ("observed", "expected", "value", "low", "high"),
    [(12, 6, 1.35, 0.86, 1.95), (3, 6, 0.82, 0.45, 1.31), (0, 4, 0.74, 0.37, 1.23)],
)
def test_shrunken_ratio(observed: int, expected: float, value: float, low: float, high: float) -> None:
    found = shrunken_ratio(observed, expected)
    assert (found.value, found.low, found.high) == pytest.approx((value, low, high), abs=0.005)
    for wrong in ((-1, 3), (1, -3), (math.nan, 3), (1, math.inf)):
        with pytest.raises(ModelError, match="below zero"):
            shrunken_ratio(*wrong)
    limits = gamma.ppf([0.025, 0.975], observed + 11.1) / (expected + 11.1)
    assert (found.low, found.high) == pytest.approx(tuple(limits), abs=1e-9)


def test_funnel_words() -> None:
    cloudy = lambda k, n: np.repeat([1.0, 0.0], [k, n - k])  # noqa: E731
    rows = funnel(
        {
            "D": (np.tile(MIX, 2), cloudy(30, 120)),
            "A": (np.full(30, 0.1), cloudy(9, 30)),
            "B": (MIX, cloudy(12, 60)),
            "C": (np.full(90, 0.1), cloudy(0, 90)),
        }
    )
    assert [(r.group, r.verdict) for r in rows] == [("A", "too_few"), ("B", "inside"), ("C", "below"), ("D", "above")]
    assert [r.expected for r in rows] == pytest.approx([3, 6, 9, 12])
    b = rows[1]
    assert (b.n, b.observed, b.low, b.high, b.low_998, b.high_998, b.spread) == (60, 12, 2, 11, 0, 14, 1.0)
    assert b.shrunken.value == pytest.approx(23.1 / 17.1)
    with pytest.raises(ModelError, match="no eyes"):
        funnel({"A": ([], [])})


def test_funnel_widens_when_groups_differ_by_more_than_chance() -> None:
    chance = np.full(100, 0.1)

    def with_seen(counts: list[int]) -> dict[str, tuple[np.ndarray, np.ndarray]]:
        return {f"S{i}": (chance, (np.arange(100) < k) * 1.0) for i, k in enumerate(counts)}

    usual = funnel(with_seen([8, 12, 9, 11, 10, 7, 13, 10]))
    wild = funnel(with_seen([2, 20, 4, 18, 10, 3, 19, 10]))
    few = funnel(with_seen([2, 20, 4, 18, 10, 3, 19]))
    assert {r.spread for r in usual} == {1.0}
    assert {r.spread for r in few} == {1.0}
    spread = np.std((np.array([2, 20, 4, 18, 10, 3, 19, 10]) - 10) / 3.0, ddof=1)
    assert wild[0].spread == pytest.approx(spread)
    assert wild[0].low < usual[0].low
    assert wild[0].high > usual[0].high
    assert [r.verdict for r in few if r.observed == 20] == ["above"] or few[1].high_998 >= 20
    assert {r.verdict for r in wild} == {"inside"}
    certain = funnel(with_seen([10] * 8) | {"all": (np.ones(6), np.ones(6))})
    assert certain[0].verdict == "inside"
    assert outside_by_chance(6, 4) == pytest.approx(1.2)


def test_many_looks_are_said_aloud() -> None:
    assert looks_words(6) == (
        "With 6 surgeons and 4 looks a year expect about 1 outside the 19-in-20 limits in a year by chance alone."
    )
    assert "20 machines and one look a year expect about 1 outside" in looks_words(20, 1, "machines")
    assert "expect fewer than 1 outside" in looks_words(2)
    for groups, looks in ((0, 4), (6, 0)):
        with pytest.raises(ModelError, match="fewer than one"):
            looks_words(groups, looks)
    with pytest.raises(ModelError, match="outside 0 to 1"):
        outside_by_chance(6, 4, 95)


def test_groups_outside_by_chance_in_simulation() -> None:
    """Exact limits let through no more than the words say: 2000 years of 6 surgeons whose results are chance alone."""
    rng = np.random.default_rng(7)
    chances = [expit(rng.normal(-2.4, 0.8, n)) for n in (60, 90, 120, 150, 200, 300)]
    limits = [exact_limits(p) for p in chances]
    outside = 0
    for p, (low, high) in zip(chances, limits, strict=True):
        counts = (rng.random((2000, p.shape[0])) < p).sum(axis=1)
        outside += int(((counts < low) | (counts > high)).sum())
    assert 0.4 * outside_by_chance(6) < outside / 2000 <= outside_by_chance(6) + 0.02


def test_many_unequal_eyes_against_the_normal_and_the_moments() -> None:
    rng = np.random.default_rng(1)
    p = expit(rng.normal(-2.5, 0.8, 20_000))
    first, pmf = poisson_binomial(p)
    counts = first + np.arange(pmf.shape[0])
    mean, variance = p.sum(), (p * (1 - p)).sum()
    assert pmf.sum() == pytest.approx(1.0, abs=1e-12)
    assert float(pmf @ counts) == pytest.approx(mean, abs=1e-8)
    assert float(pmf @ (counts - mean) ** 2) == pytest.approx(variance, rel=1e-10)
    third = (p * (1 - p) * (1 - 2 * p)).sum()
    assert float(pmf @ (counts - mean) ** 3) == pytest.approx(third, rel=1e-6)
    assert pmf.shape[0] < 20 * math.sqrt(variance)  # counts that never happen are not kept
    assert exact_limits(p) == pytest.approx(mean + np.array([-1.96, 1.96]) * math.sqrt(variance), abs=1.0)


def test_wilson_and_binomial_funnel() -> None:
    assert wilson(3, 40) == pytest.approx((0.02584, 0.19864), abs=1e-5)
    assert wilson(0, 30) == pytest.approx((0.0, 0.11351), abs=1e-5)
    assert wilson(30, 30) == pytest.approx((1 - 0.11351, 1.0), abs=1e-5)
    with pytest.raises(ModelError):
        wilson(1, 0)
    with pytest.raises(ModelError):
        wilson(4, 3)


# Weights for logit p = -3.68 + 0.077 score and two later examples: Steiner SH et al. Biostatistics 2000;1:441, p. 446,
# as quoted in the tests of two open R packages.
@pytest.mark.parametrize(
    ("score", "ratio", "clear", "cloudy"),
    [(0, 2.0, -0.024, 0.669), (50, 2.0, -0.433, 0.260), (0, 0.5, 0.012, -0.681), (50, 0.5, 0.316, -0.377)],
)
def test_cusum_weights(score: int, ratio: float, clear: float, cloudy: float) -> None:
    p = float(expit(-3.68 + 0.077 * score))
    assert cusum([p, p], [0, 1], odds_ratio=ratio).weights == pytest.approx([clear, cloudy], abs=6e-4)


def test_cusum_path() -> None:
    p = float(expit(-3.67 + 0.077 * 19))
    assert cusum([p], [0], odds_ratio=0.5).weights[0] == pytest.approx(0.05083, abs=1e-5)
    risk, seen = [0.05, 0.10, 0.20, 0.10, 0.30], [0, 1, 0, 0, 1]
    found = cusum(risk, seen, odds_ratio=2.0)
    assert found.weights == pytest.approx([-0.04879, 0.59784, -0.18232, -0.09531, 0.43078], abs=1e-5)
    assert found.path == pytest.approx([0, 0.59784, 0.41552, 0.32021, 0.75099], abs=1e-5)
    tally = running_tally(risk, seen)
    assert tally.path == pytest.approx([0.05, -0.85, -0.65, -0.55, -1.25], abs=1e-12)
    half = 1.959964 * np.sqrt(np.cumsum(np.array(risk) * (1 - np.array(risk))))
    assert tally.high == pytest.approx(half, abs=1e-5)
    assert tally.low == pytest.approx(-half, abs=1e-5)
    assert tally.high_998 == pytest.approx(half * 3.090232 / 1.959964, abs=1e-5)
    assert tally.low_998 == pytest.approx(-tally.high_998)


def test_cusum_of_ten_eyes_by_all_their_outcomes() -> None:
    # constant chance 0.1, ten eyes: P(highest point >= 1.41227) = 0.05106
    total = 0.0
    for seen in itertools.product((0, 1), repeat=10):
        highest = cusum([0.1] * 10, list(seen), odds_ratio=2.0).path.max()
        if highest >= 1.41227 - 1e-4:
            total += 0.1 ** sum(seen) * 0.9 ** (10 - sum(seen))
    assert total == pytest.approx(0.05106, abs=1e-5)


THREE = np.repeat([0.10, 0.12, 0.14], [1, 5, 4])


def test_run_length_of_three_chances() -> None:
    # own integral equation on grids of 500, 1000, 2000, 3000: 627.0, 626.7, 626.4, 626.4
    assert cusum_run_length(THREE, odds_ratio=2.0, limit=2.9) == pytest.approx(626.4, abs=1.0)


@pytest.mark.parametrize(("ratio", "true"), [(2.0, 1.0), (2.0, 2.0), (0.5, 1.0)])
def test_run_length_against_simulation(ratio: float, true: float) -> None:
    rng = np.random.default_rng(3)
    risk = expit(rng.normal(-2.4, 0.8, 300))
    limit = 2.0
    chain = cusum_run_length(risk, odds_ratio=ratio, limit=limit, true_odds_ratio=true)
    # 3000 charts, each until its first alarm: the standard error of their mean is about 2 %
    height, lengths = np.zeros(3000), np.zeros(3000)
    running = np.ones(3000, dtype=bool)
    while running.any():
        p = rng.choice(risk, 3000)
        odds = true * p / (1 - p)
        seen = rng.random(3000) < odds / (1 + odds)
        height = np.maximum(0, height + seen * math.log(ratio) - np.log(1 - p + ratio * p))
        lengths += running
        running &= height < limit
    assert chain == pytest.approx(lengths.mean(), rel=0.06)


def test_limit_is_found_for_a_run_length() -> None:
    limit = cusum_limit(THREE, odds_ratio=2.0, run_length=626.4, seed=1)
    assert limit == pytest.approx(2.9, abs=0.01)
    assert cusum_limit(THREE, odds_ratio=2.0, run_length=1.5) < 0.01
    assert cusum_run_length(THREE, odds_ratio=2.0, limit=limit) == pytest.approx(626.4, rel=2e-3)


@pytest.mark.parametrize(
    ("ratio", "run_length", "limit"), [(2.0, 1500, 3.39), (2.0, 5000, 4.52), (1.5, 5000, 3.57), (0.5, 5000, 4.23)]
)
def test_limits_of_a_practice_like_the_simulated_one(ratio: float, run_length: float, limit: float) -> None:
    # own simulations at mean risk 9.5 %, C 0.72; the spread of the chances here is the normal one of the same C
    risk = expit(-2.51 + 0.83 * norm.ppf((np.arange(3000) + 0.5) / 3000))
    assert float(risk.mean()) == pytest.approx(0.095, abs=0.001)
    assert cusum_limit(risk, odds_ratio=ratio, run_length=run_length, seed=1) == pytest.approx(limit, abs=0.06)


@pytest.mark.parametrize(
    ("work", "why"),
    [
        (lambda: cusum([0.1], [0], odds_ratio=1.0), "odds ratio"),
        (lambda: cusum_run_length([0.0, 0.1], odds_ratio=2.0, limit=2.0), "exactly 0 or 1"),
        (lambda: cusum_run_length([], odds_ratio=2.0, limit=2.0), "no chances"),
        (lambda: cusum_run_length([0.1], odds_ratio=2.0, limit=0.0), "above zero"),
        (lambda: cusum_limit([0.1], odds_ratio=2.0, run_length=1.0), "above one eye"),
        (lambda: cusum_limit([1e-9], odds_ratio=2.0, run_length=1e300), "cannot be promised"),
    ],
)
def test_refusals_say_why(work: object, why: str) -> None:
    assert callable(work)
    with pytest.raises(ModelError, match=why):
        work()
