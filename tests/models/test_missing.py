"""How filling blanks behaves."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from models import ModelError, Normal, learn_normal
from tests.models.reference_data import Array


def fields(seed: int, n: int = 80, p: int = 4, blank: float = 0.2) -> Array:
    rng = np.random.default_rng(seed)
    table = rng.normal(size=(n, p)) @ rng.normal(size=(p, p)) + rng.normal(size=p)
    table[rng.random((n, p)) < blank] = np.nan
    return table


@given(st.integers(0, 10_000))
@settings(max_examples=10)
def test_gains_lie_between_nothing_and_all(seed: int) -> None:
    table = fields(seed)
    normal = learn_normal(table)
    b = np.random.default_rng(seed + 1).normal(size=4)
    filled = normal.fill(table)
    v_m = filled.spread.variance(b)
    blank = np.isnan(table).any(axis=1)
    assert (v_m[~blank] == 0.0).all()
    assert (v_m[blank] > 0.0).all()
    assert len(filled.spread) == 80
    for row in np.flatnonzero(blank)[:5]:
        assert v_m[row] == pytest.approx(float(b @ filled.spread[row] @ b), rel=1e-9)
        gains = normal.gain(table[row], b)
        assert set(gains) == set(np.flatnonzero(np.isnan(table[row])).tolist())
        assert all(-1e-12 <= gain <= v_m[row] * (1 + 1e-9) for gain in gains.values())
        assert filled.spread.blank(row).tolist() == np.isnan(table[row]).tolist()
    assert not filled.spread.variance(np.zeros(4)).any()


@given(st.integers(0, 10_000))
@settings(max_examples=10)
def test_measuring_what_was_expected_leaves_the_forecast(seed: int) -> None:
    table = fields(seed)
    normal = learn_normal(table)
    b = np.random.default_rng(seed + 1).normal(size=4)
    row = table[np.flatnonzero(np.isnan(table).sum(axis=1) >= 1)[0]].copy()
    before = normal.fill(row[None, :]).values[0]
    j = int(np.flatnonzero(np.isnan(row))[0])
    row[j] = before[j]
    after = normal.fill(row[None, :]).values[0]
    assert float(after @ b) == pytest.approx(float(before @ b), abs=1e-9)


def test_order_of_rows_and_units_do_not_matter() -> None:
    table = fields(3)
    found = learn_normal(table)
    order = np.random.default_rng(1).permutation(80)
    again = learn_normal(table[order])
    assert again.covariance == pytest.approx(found.covariance, abs=1e-10)
    unit = np.array([1e-3, 1.0, 25.4, 1e4])
    scaled = learn_normal(table * unit)
    assert scaled.mean == pytest.approx(found.mean * unit, rel=1e-9)
    assert scaled.covariance == pytest.approx(found.covariance * np.outer(unit, unit), rel=1e-9)
    assert learn_normal(table).covariance.tobytes() == found.covariance.tobytes()


def test_a_weight_is_that_many_rows() -> None:
    table = fields(5)
    times = np.random.default_rng(2).integers(0, 3, 80)
    weighted = learn_normal(table, weights=times)
    repeated = learn_normal(np.repeat(table, times, axis=0))
    assert weighted.mean == pytest.approx(repeated.mean, abs=1e-9)
    assert weighted.covariance == pytest.approx(repeated.covariance, abs=1e-9)
    assert weighted.log_likelihood == pytest.approx(repeated.log_likelihood, abs=1e-6)


def test_a_card_gives_back_the_same_fill() -> None:
    table = fields(7)
    learnt = learn_normal(table)
    read = Normal(learnt.mean.tolist(), learnt.covariance.tolist())  # type: ignore[arg-type]
    assert read.log_likelihood is None
    assert read.fill(table).values.tobytes() == learnt.fill(table).values.tobytes()


def test_many_patterns_of_blanks_are_worked_off_in_blocks() -> None:
    table = fields(9, n=1500, p=11, blank=0.4)
    assert np.unique(np.isnan(table), axis=0).shape[0] > 600
    normal = learn_normal(table)
    values = normal.fill(table).values
    assert not np.isnan(values).any()
    for row in (0, 700, 1499):
        assert normal.fill(table[row : row + 1]).values[0] == pytest.approx(values[row], abs=1e-9)


def test_a_row_without_any_value_gets_the_means() -> None:
    table = np.vstack([fields(11), np.full(4, np.nan)])
    normal = learn_normal(table)
    filled = normal.fill(table)
    assert filled.values[-1] == pytest.approx(normal.mean, abs=1e-12)
    assert filled.spread[80] == pytest.approx(normal.covariance, abs=1e-12)


def test_means_only_as_the_way_out() -> None:
    table = fields(13)
    table[:, 2] = 4.0
    normal = Normal.independent(table)
    row = np.array([[np.nan, 1.0, np.nan, np.nan]])
    assert normal.fill(row).values[0] == pytest.approx([normal.mean[0], 1.0, 4.0, normal.mean[3]])
    assert normal.fill(np.array([[np.nan, 1.0, 4.0, 2.0]])).values[0, 0] == pytest.approx(normal.mean[0])
    assert normal.gain(row[0], np.ones(4))[2] == 0.0


def test_a_field_that_never_changes_is_carried_by_the_steadying() -> None:
    table = fields(15)
    table[:, 2] = 4.0
    normal = learn_normal(table)
    assert normal.mean[2] == pytest.approx(4.0, abs=1e-12)
    assert normal.covariance[2, 2] > 0.0
    with pytest.raises(ModelError, match="never changes"):
        learn_normal(table, steadying=0.0)


def repeated_with_blanks() -> Array:
    table = fields(17, blank=0.0)
    table[:, 3] = table[:, 0]
    table[::5, 1] = np.nan
    return table


@pytest.mark.parametrize(
    ("work", "why"),
    [
        (lambda: learn_normal(np.column_stack([fields(1), np.full(80, np.nan)])), "Columns 4 .* no value"),
        (lambda: learn_normal(np.array([[1.0, np.nan]] * 5 + [[np.nan, 2.0]] * 5)), "0 and 1 .* never recorded"),
        (lambda: learn_normal(repeated_with_blanks(), steadying=0.0), "same thing"),
        (lambda: learn_normal(repeated_with_blanks(), steadying=0.0, rounds=1), "same thing"),
        (lambda: learn_normal(fields(1), steadying=-1.0), "steadying"),
        (lambda: learn_normal(np.where(np.isnan(fields(1)), np.inf, 1.0)), "infinite"),
        (lambda: Normal(np.zeros(2), np.array([[1.0, 0.2], [0.4, 1.0]])), "symmetric"),
        (lambda: Normal(np.zeros(2), np.eye(3)[:, :2]), "symmetric"),
        (lambda: Normal(np.zeros(2), [[1.0, 2.0], [2.0, 1.0]]).fill([[1.0, 1.0]]), "not positive"),  # type: ignore[arg-type]
        (lambda: Normal(np.zeros(2), np.eye(2)).fill([[1.0]]), "2 columns"),
        (lambda: Normal.independent(np.empty((0, 2))), "no value"),
    ],
)
def test_refusals_say_why(work: object, why: str) -> None:
    assert callable(work)
    with pytest.raises(ModelError, match=why):
        work()
