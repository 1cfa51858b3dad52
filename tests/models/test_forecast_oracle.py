"""The compiled forecast against a slow, plain one in numpy; many eyes against one after another; what it costs."""

from __future__ import annotations

import math
import sys
import tracemalloc
from collections import Counter
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from models import ModelError
from models.card import Card
from models.formula import Formula
from models.patterns import MOST_KEPT
from models.working import Working
from tests.models.trained import booking, end_of_case, eyes, usual_eye

EXACT = 1e-12

CARDS = [pytest.param(booking, id="booking"), pytest.param(end_of_case, id="end_of_case")]


def slow(formula: Formula, columns: np.ndarray[Any, Any]) -> dict[str, Any]:
    """One eye by the formulas as they are published: linear equations solved anew, nothing kept."""
    q = columns.shape[0]
    mean, sigma, b = formula.mean, formula.field_covariance, formula.coefficients
    open_ = np.flatnonzero(np.isnan(columns))
    held = np.flatnonzero(~np.isnan(columns) & (np.diag(sigma) > 0.0))
    away_held = columns[held] - mean[held]
    solved = np.linalg.solve(sigma[np.ix_(held, held)], np.column_stack([away_held, sigma[np.ix_(held, open_)]]))
    filled = columns.copy()
    filled[open_] = mean[open_] + sigma[np.ix_(open_, held)] @ solved[:, 0]
    left = sigma[np.ix_(open_, open_)] - sigma[np.ix_(open_, held)] @ solved[:, 1:]
    slope, middle, whole = b[:q].copy(), b[:q].copy(), filled
    if formula.knots is not None:
        d = formula.spec.depth
        assert d is not None
        t1, t2, t3 = formula.knots

        def cut(x: float, power: int) -> float:
            one, two = (t3 - t1) / (t3 - t2), (t2 - t1) / (t3 - t2)
            terms = [max(x - t, 0.0) ** power for t in (t1, t2, t3)]
            return (terms[0] - terms[1] * one + terms[2] * two) / (t3 - t1) ** 2 / formula.curve_sd

        whole = np.append(filled, cut(filled[d], 3))
        slope[d] += b[-1] * 3.0 * cut(filled[d], 2)
        middle[d] += b[-1] * 3.0 * cut(mean[d], 2)
    away = whole - formula.centre
    eta = formula.intercept + float(b @ away)
    v_m = float(slope[open_] @ left @ slope[open_])
    one = np.append(1.0, away)
    v_s = float(one @ formula.covariance @ one)
    half = 1.959963984540054 * math.sqrt(v_s + v_m + formula.form_sd**2)
    pull = left @ slope[open_]
    return {
        "away": away, "eta": eta, "sampling_variance": v_s, "missing_variance": v_m,
        "risk": 1 / (1 + math.exp(-eta / math.sqrt(1 + math.pi * v_m / 8))), "low": 1 / (1 + math.exp(half - eta)),
        "high": 1 / (1 + math.exp(-half - eta)), "distance": float(away_held @ solved[:, 0]) / max(1, held.size),
        "left": left, "slope": slope, "gains": pull**2 / np.diag(left),
        "open_share": float(middle[open_] @ left @ middle[open_]) / float(middle @ sigma @ middle),
    }  # fmt: skip


def tables(card: Card) -> np.ndarray[Any, Any]:
    """Columns of eyes of the practice, with ever more blanks."""
    table = card.columns(list(eyes())[:250])
    rng = np.random.default_rng(8)
    rare = np.where(rng.random(table.shape) < rng.random(table.shape[0])[:, None] * 0.6, np.nan, table)
    nothing = np.full((1, table.shape[1]), np.nan)
    return np.concatenate([table, rare, nothing])


@pytest.mark.parametrize("trained", CARDS)
def test_one_eye_is_what_the_plain_formulas_give(trained: Any) -> None:
    card = trained().card
    working = card.forecaster.working
    patterns = set()
    for row in tables(card):
        numbers, expected = working.work(row), slow(card.formula, row)
        patterns.add(numbers.pattern.open)
        for name in ("away", "eta", "sampling_variance", "missing_variance", "risk", "low", "high", "left", "slope"):
            assert getattr(numbers, name) == pytest.approx(expected[name], abs=EXACT), name
        assert numbers.distance == pytest.approx(expected["distance"], rel=EXACT, abs=EXACT)
        assert numbers.shares.sum() == pytest.approx(numbers.distance * max(1, numbers.pattern.held), abs=1e-10)
        assert numbers.pattern.open_share == pytest.approx(expected["open_share"], abs=EXACT)
        gains = [working.gain(numbers, (j,)) for j in numbers.open.tolist()]
        assert gains == pytest.approx(expected["gains"].tolist(), abs=EXACT)
    assert len(patterns) > 150


@pytest.mark.parametrize("trained", CARDS)
def test_many_eyes_are_what_one_after_another_gives(trained: Any) -> None:
    card = trained().card
    working = card.forecaster.working
    table = tables(card)
    one = [working.work(row) for row in table]
    for scores in (card.scores(table), card.scores(table, ranges=True)):
        assert scores.risk == pytest.approx([numbers.risk for numbers in one], abs=EXACT)
    assert scores.low == pytest.approx([numbers.low for numbers in one], abs=EXACT)
    assert scores.high == pytest.approx([numbers.high for numbers in one], abs=EXACT)
    assert card.scores(table).low is None
    expected = [numbers.distance for numbers in one]
    assert working.distances(table) == pytest.approx(expected, rel=EXACT, abs=EXACT)
    assert np.array_equal(card.scores(table).risk, card.scores(table).risk)
    assert card.scores(table[::-1]).risk[::-1] == pytest.approx(card.scores(table).risk, abs=1e-15)


def test_scores_are_the_forecasts_where_there_is_one() -> None:
    card = booking().card
    rows = list(eyes())[:200]
    risk = card.scores(card.columns(rows)).risk
    for forecast, chance in zip(card.forecast(rows), risk, strict=True):
        assert forecast.risk is None or forecast.risk == pytest.approx(chance, abs=EXACT)


def test_no_eyes_have_no_scores() -> None:
    card = booking().card
    assert card.columns([]).shape == (0, 12)
    assert card.scores(card.columns([]), ranges=True).risk.shape == (0,)
    assert card.forecaster.working.distances(card.columns([])).shape == (0,)


@pytest.mark.parametrize("value", [math.inf, -math.inf])
@pytest.mark.parametrize("ranges", [False, True])
def test_infinite_columns_are_refused(value: float, ranges: bool) -> None:
    card = booking().card
    table = card.columns(list(eyes())[:3])
    table[1, 2] = value
    with pytest.raises(ModelError, match="infinite"):
        card.scores(table, ranges=ranges)
    with pytest.raises(ModelError, match="infinite"):
        card.forecaster.working.distances(table)
    with pytest.raises(ModelError, match="infinite"):
        card.forecaster.working.work(table[1])


def test_columns_of_another_model_are_refused() -> None:
    card = booking().card
    for table in (np.zeros((2, 11)), np.zeros(12), [["a"] * 12]):
        with pytest.raises(ModelError):
            card.scores(table)
    with pytest.raises(ModelError):
        card.forecaster.working.work(np.zeros(11))
    with pytest.raises(ModelError):
        card.forecaster.working.work(np.zeros((1, 12)))


def test_whole_numbers_and_lists_are_columns_too() -> None:
    card = booking().card
    whole = np.rint(card.columns([usual_eye()])).astype(np.int64)
    expected = card.scores(whole.astype(np.float64)).risk
    assert card.scores(whole).risk.tolist() == card.scores(whole.tolist()).risk.tolist() == expected.tolist()


def test_certain_eyes_stay_between_nothing_and_all() -> None:
    card = booking().card
    table = np.repeat(card.columns([usual_eye()]), 2, axis=0)
    table[:, 2] = -1e6, 1e6
    assert card.scores(table).risk.tolist() == [0.0, 1.0]


def test_patterns_of_blanks_are_kept_but_not_without_end() -> None:
    working = Working(end_of_case().card.formula)
    first = working.work(np.full(21, np.nan))
    again = working.work(np.full(21, np.nan))
    assert again.pattern is first.pattern
    for number in range(MOST_KEPT + 40):
        blank = [number >> bit & 1 for bit in range(21)]
        working.work(np.where(blank, np.nan, working.formula.mean))
    assert len(working.patterns) <= MOST_KEPT
    assert working.work(np.full(21, np.nan)).risk == first.risk


def test_a_combination_without_variance_takes_no_part() -> None:
    """The covariance for the range may leave a combination of terms exactly known; then it has no Cholesky factor."""
    formula = booking().card.formula
    step = np.zeros_like(formula.covariance)
    step[0, 0] = step[1, 1] = 0.04
    step[0, 1] = step[1, 0] = -0.04
    numbers = Working(replace(formula, covariance=step)).work(formula.mean)
    one = np.append(1.0, numbers.away)
    assert numbers.sampling_variance == pytest.approx(float(one @ step @ one), abs=EXACT)
    step[0, 1] = step[1, 0] = -0.05
    with pytest.raises(ModelError, match="negative variance"):
        replace(formula, covariance=step)
    step[:] = 0.0
    step[0, 1] = step[1, 0] = 0.01
    with pytest.raises(ModelError, match="negative variance"):
        replace(formula, covariance=step)


CALLS_OF_ONE_FORECAST = 130
"""Calls, of Python and of C, of one booking forecast with its chance and range: 105 seen, 106 with three blanks."""


@pytest.mark.parametrize("blank", [(), ("ecd_per_mm2", "cct_um", "axial_length_mm")])
def test_one_forecast_takes_few_calls(blank: tuple[str, ...]) -> None:
    row = usual_eye(**dict.fromkeys(blank))
    forecast = booking().card.forecaster.forecast
    forecast(row)
    calls: Counter[str] = Counter()

    def seen(_: object, event: str, __: object) -> None:
        calls[event] += 1

    sys.setprofile(seen)
    try:
        forecast(row)
    finally:
        sys.setprofile(None)
    assert 20 < calls["call"] + calls["c_call"] <= CALLS_OF_ONE_FORECAST, calls


def test_scoring_many_eyes_holds_little_beside_the_answer() -> None:
    card = booking().card
    table = np.tile(card.columns([usual_eye(), usual_eye(acd_mm=None, cct_um=None)]), (50_000, 1))
    card.scores(table[:10], ranges=True)
    tracemalloc.start()
    try:
        card.scores(table, ranges=True)
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert peak < 1.5 * table.nbytes
