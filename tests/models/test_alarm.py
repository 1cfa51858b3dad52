"""The alarm chart: where its limit belongs, what a year of it promises, and what one signal is."""

from __future__ import annotations

import math
from datetime import date, timedelta

import numpy as np
import pytest
from scipy.stats import norm

from models import (
    ModelError,
    cusum,
    cusum_false_alarm,
    cusum_limit,
    cusum_run_length,
    cusum_year_limit,
    watch,
)
from models.arrays import expit

# A practice with a mean risk of 9.5 %, C 0.72, and one of 5.7 %: normal log-odds, 3000 equal shares.
USUAL = expit(-2.51 + 0.83 * norm.ppf((np.arange(3000) + 0.5) / 3000))
LOW = expit(-3.08 + 0.78 * norm.ppf((np.arange(3000) + 0.5) / 3000))


# Own simulations: limit, then eyes to a false alarm, to a signal at true odds 1.25, 1.5, 2, 3, and to a false alarm
# when the model runs low by 0.1 and 0.2.
@pytest.mark.parametrize(
    ("risk", "ratio", "limit", "lengths"),
    [
        (USUAL, 2.0, 3.39, (1500, 475, 229, 102, 49, 866, 528)),
        (USUAL, 2.0, 4.04, (3000, 728, 308, 125, 59, 1518, 828)),
        (USUAL, 2.0, 4.52, (5000, 980, 374, 144, 66, 2276, 1135)),
        (USUAL, 2.0, 5.20, (10_000, 1434, 474, 169, 76, 3902, 1705)),
        (USUAL, 1.5, 3.57, (5000, 818, 343, 155, 79, 1981, 946)),
        (LOW, 2.0, 3.03, (1500, 549, 284, 131, 63, 932, 603)),
        (LOW, 2.0, 4.14, (5000, 1174, 484, 191, 86, 2494, 1339)),
    ],
)
def test_run_lengths_of_two_practices(risk: np.ndarray, ratio: float, limit: float, lengths: tuple[int, ...]) -> None:
    true = (1.0, 1.25, 1.5, 2.0, 3.0, math.exp(0.1), math.exp(0.2))
    found = [cusum_run_length(risk, odds_ratio=ratio, limit=limit, true_odds_ratio=one) for one in true]
    assert found == pytest.approx(lengths, rel=0.02)


def test_run_lengths_of_the_chart_for_fewer() -> None:
    found = [cusum_run_length(USUAL, odds_ratio=0.5, limit=4.23, true_odds_ratio=o) for o in (1, 0.67, 0.5, 0.33)]
    assert found == pytest.approx((5000, 511, 253, 158), rel=0.02)


def test_more_heights_change_nothing() -> None:
    # grids of 500, 1000, 2000, 3000 heights of an own integral equation: 627.0, 626.7, 626.4, 626.4
    mix = np.repeat([0.10, 0.12, 0.14], [1, 5, 4])
    for states in (400, 800, 1600):
        found = cusum_run_length(mix, odds_ratio=2.0, limit=2.9, states=states)
        assert found == pytest.approx(626.4, abs=1.0)


# Own simulations at mean risk 9.5 %: limits for one false alarm in five years, by eyes a year and level error.
@pytest.mark.parametrize(
    ("level_sd", "limits"), [(0.0, (3.30, 3.77, 4.42)), (0.09, (3.37, 3.87, 4.58)), (0.15, (3.49, 4.04, 4.86))]
)
def test_limits_for_a_year(level_sd: float, limits: tuple[float, ...]) -> None:
    for eyes, limit in zip((300, 500, 1000), limits, strict=True):
        found = cusum_year_limit(USUAL, odds_ratio=2.0, eyes=eyes, level_sd=level_sd)
        assert found == pytest.approx(limit, abs=0.01)
        chance = cusum_false_alarm(USUAL, odds_ratio=2.0, limit=found, eyes=eyes, level_sd=level_sd)
        assert chance == pytest.approx(0.2, abs=1e-3)


def test_a_year_in_simulation() -> None:
    """8000 charts that have run for a year: the chance that one alarms in the next; standard error 0.0045."""
    rng = np.random.default_rng(4)
    charts, year, limit = 8000, 300, 3.37
    error = np.exp(0.09 * rng.normal(size=charts))
    height = np.zeros(charts)
    silent = np.ones(charts, dtype=bool)
    seen_before = np.zeros(charts, dtype=bool)
    for step in range(2 * year):
        p = rng.choice(USUAL, charts)
        odds = error * p / (1 - p)
        cloudy = rng.random(charts) < odds / (1 + odds)
        height = np.maximum(0.0, height + cloudy * math.log(2.0) - np.log1p(p))
        alarm = height >= limit
        if step < year:
            seen_before |= alarm
        else:
            silent &= ~alarm
    calm = ~seen_before
    expected = cusum_false_alarm(USUAL, odds_ratio=2.0, limit=limit, eyes=year, level_sd=0.09)
    assert (~silent)[calm].mean() == pytest.approx(expected, abs=0.015)


def test_a_year_that_always_or_never_alarms() -> None:
    assert cusum_year_limit([0.5], odds_ratio=2.0, eyes=1, false_alarm=0.7) == pytest.approx(1e-6)
    assert cusum_year_limit(USUAL, odds_ratio=2.0, eyes=300, false_alarm=0.05) > 4.5
    with pytest.raises(ModelError, match="cannot be promised"):
        cusum_year_limit([0.5], odds_ratio=2.0, eyes=10**9, false_alarm=1e-12)


@pytest.mark.parametrize(
    ("wrong", "why"),
    [
        ({"true_odds_ratio": 0.0}, "true odds ratio"),
        ({"true_odds_ratio": -1.0}, "true odds ratio"),
        ({"true_odds_ratio": math.inf}, "true odds ratio"),
        ({"true_odds_ratio": math.nan}, "true odds ratio"),
        ({"states": 10}, "20 heights"),
        ({"states": 100.5}, "20 heights"),
        ({"limit": math.nan}, "above zero"),
        ({"odds_ratio": 0.0}, "odds ratio"),
        ({"odds_ratio": math.inf}, "odds ratio"),
    ],
)
def test_run_length_refuses(wrong: dict[str, float], why: str) -> None:
    with pytest.raises(ModelError, match=why):
        cusum_run_length([0.1], **({"odds_ratio": 2.0, "limit": 2.0} | wrong))  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("wrong", "why"),
    [
        ({"eyes": 0}, "one eye or more"),
        ({"eyes": 10.5}, "one eye or more"),
        ({"level_sd": -0.1}, "level error"),
        ({"level_sd": math.nan}, "level error"),
        ({"false_alarm": 20.0}, "between 0 and 1"),
        ({"odds_ratio": 1.0}, "odds ratio"),
    ],
)
def test_a_year_refuses(wrong: dict[str, float], why: str) -> None:
    with pytest.raises(ModelError, match=why):
        cusum_year_limit([0.1], **({"odds_ratio": 2.0, "eyes": 300} | wrong))  # type: ignore[arg-type]


def test_a_limit_that_is_refused_for_a_year() -> None:
    with pytest.raises(ModelError, match="above zero"):
        cusum_false_alarm([0.1], odds_ratio=2.0, limit=0.0, eyes=300)
    with pytest.raises(ModelError, match="above one eye"):
        cusum_limit([0.1], odds_ratio=2.0, run_length=math.nan)


DAY = date(2031, 3, 3)


def days(*numbers: int) -> list[date]:
    return [DAY + timedelta(days=one) for one in numbers]


def test_eyes_are_charted_by_day_and_within_a_day_in_the_order_of_the_list() -> None:
    risk = [0.1, 0.2, 0.3, 0.4]
    found = watch(risk, [1, 0, 1, 0], odds_ratio=2.0, limit=9.0, days=days(5, 1, 5, 1), patients=[1, 2, 3, 4])
    assert found.order.tolist() == [1, 3, 0, 2]
    assert found.path == pytest.approx(cusum([0.2, 0.4, 0.1, 0.3], [0, 0, 1, 1], odds_ratio=2.0).path)
    assert found.signals == ()


def test_a_pair_of_one_day_is_two_steps_and_one_signal() -> None:
    up = math.log(2.0) - math.log1p(0.1)
    limit = 1.5 * up
    # the pair P operated on day 2 brings two cloudy eyes after one cloudy eye: the first of them crosses the limit
    found = watch(
        [0.1] * 5, [1, 1, 1, 1, 0], odds_ratio=2.0, limit=limit, days=days(0, 2, 2, 2, 3), patients=list("APBPC")
    )
    assert found.path[:4] == pytest.approx([up, 2 * up, 3 * up, 4 * up])
    assert found.signals == (3,)
    two_days = watch([0.1] * 2, [1, 1], odds_ratio=2.0, limit=limit, days=days(0, 1), patients=["P", "P"])
    assert two_days.signals == (1,)


def test_after_a_signal_the_chart_stays_silent_until_it_is_restarted() -> None:
    risk, seen, when = [0.1] * 8, [1] * 8, days(*range(8))
    up = math.log(2.0) - math.log1p(0.1)
    limit = 1.5 * up
    alone = watch(risk, seen, odds_ratio=2.0, limit=limit, days=when, patients=range(8))
    assert alone.signals == (1,)
    restarted = watch(risk, seen, odds_ratio=2.0, limit=limit, days=when, patients=range(8), restarts=days(7, 4))
    assert restarted.signals == (1, 5)
    assert restarted.path == pytest.approx([up, 2 * up, 3 * up, 4 * up, up, 2 * up, 3 * up, up])


def test_watch_refuses() -> None:
    with pytest.raises(ModelError, match="no day of surgery"):
        watch([0.1], [0], odds_ratio=2.0, limit=2.0, days=[], patients=[1])
    with pytest.raises(ModelError, match="above zero"):
        watch([0.1], [0], odds_ratio=2.0, limit=-1.0, days=days(0), patients=[1])
    with pytest.raises(ModelError, match="odds ratio"):
        watch([0.1], [0], odds_ratio=1.0, limit=2.0, days=days(0), patients=[1])
