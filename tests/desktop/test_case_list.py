"""The table of very many cases: the same order as a plain stable sort, and words made for what is in sight alone."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication

from clinic_app.desktop.look import Look
from clinic_app.desktop.parts.case_list import CaseList, CaseModel, Column, coded, days, numbers
from clinic_app.desktop.parts.ordering import stable_order

CASES = 1_000_000


def expected(values: np.ndarray, *, falling: bool) -> list[int]:
    """The order by Python's own stable sort; what is no number comes last."""
    plain = values.tolist()
    known = [place for place, value in enumerate(plain) if not np.isnan(value)]
    return sorted(known, key=plain.__getitem__, reverse=falling) + [
        place for place in range(len(plain)) if place not in set(known)
    ]


NUMBERS = st.one_of(
    st.sampled_from([0.0, -0.0, 1.0, 1.0 + 2**-52, 1.0 + 2**-51, -1.0, float("inf"), float("-inf"), float("nan")]),
    st.floats(allow_nan=True),
)


@settings(max_examples=300, deadline=None)
@given(arrays.arrays(np.float64, st.integers(0, 60), elements=NUMBERS), st.booleans())
def test_numbers_are_sorted_as_a_plain_stable_sort_sorts_them(values: np.ndarray, falling: bool) -> None:
    assert stable_order(values, falling=falling).tolist() == expected(values, falling=falling)


@settings(max_examples=200, deadline=None)
@given(
    arrays.arrays(np.int64, st.integers(0, 60), elements=st.one_of(st.integers(-3, 3), st.integers(-(2**62), 2**62))),
    st.booleans(),
)
def test_whole_numbers_too(values: np.ndarray, falling: bool) -> None:
    assert stable_order(values, falling=falling).tolist() == expected(values, falling=falling)


@pytest.mark.parametrize("falling", [False, True])
def test_days_answers_and_yes_or_no(falling: bool) -> None:
    days = np.array(["2026-11-12", "NaT", "2025-01-31", "2026-11-12"], "datetime64[D]")
    assert stable_order(days, falling=falling).tolist() == ([0, 3, 2, 1] if falling else [2, 0, 3, 1])
    told = np.array([True, False, True, False])
    assert stable_order(told, falling=falling).tolist() == ([0, 2, 1, 3] if falling else [1, 3, 0, 2])


def table() -> list[Column]:
    risk = np.array([12.0, np.nan, 3.0, 12.0, 40.0])
    return [
        coded("Surgeon", ["Osei", "Mbeki", "halvorsen", "Osei", "Mbeki"]),
        Column("Forecast", risk, lambda value: f"{value:.0f}"),
    ]


def read(model: CaseModel) -> list[tuple[str, str]]:
    return [
        (str(model.data(model.index(row, 0))), str(model.data(model.index(row, 1)))) for row in range(model.rowCount())
    ]


def test_sorting_and_choosing_keep_one_another() -> None:
    model = CaseModel()
    model.set_columns(table())
    assert read(model)[1] == ("Mbeki", "")
    model.sort_by(1, falling=True)
    assert [row[1] for row in read(model)] == ["40", "12", "12", "3", ""]
    assert model.shown.tolist() == [4, 0, 3, 2, 1]
    model.choose(np.array([True, True, True, True, False]))
    assert model.shown.tolist() == [0, 3, 2, 1]
    model.sort_by(0)
    assert [row[0] for row in read(model)] == ["halvorsen", "Mbeki", "Osei", "Osei"]
    model.choose(None)
    assert model.shown.tolist() == [2, 1, 4, 0, 3]
    assert model.data(model.index(0, 1), Qt.ItemDataRole.AccessibleTextRole) == "Forecast: 3"
    assert model.data(model.index(1, 1), Qt.ItemDataRole.AccessibleTextRole) == "Forecast: no answer"


def test_columns_of_plain_lists() -> None:
    model = CaseModel()
    when = [date(2026, 11, 12), None, date(2025, 1, 31)]
    model.set_columns([days("Day", when, date.isoformat), numbers("Cells", [2400, None, 1900], "{:.0f}".format)])
    assert read(model) == [("2026-11-12", "2400"), ("", ""), ("2025-01-31", "1900")]
    model.sort_by(0)
    assert model.shown.tolist() == [2, 0, 1]
    model.sort_by(1, falling=True)
    assert model.shown.tolist() == [0, 2, 1]


def test_columns_of_unlike_length_are_refused() -> None:
    with pytest.raises(ValueError, match="equally long"):
        CaseModel().set_columns([*table(), Column("Other", np.arange(4), str)])


def test_keys_sort_by_the_column_in_hand_and_open_the_case(qtbot, qapp) -> None:
    view = CaseList(Look("light"), "Cases")
    qtbot.addWidget(view)
    view.show_cases(table())
    view.resize(600, 300)
    view.show()
    view.activateWindow()
    view.setFocus()
    told: list[int] = []
    view.opened.connect(told.append)
    view.setCurrentIndex(view.cases.index(0, 1))
    QTest.keyClick(view, Qt.Key.Key_S)
    assert view.cases.by == (1, False)
    view.setCurrentIndex(view.cases.index(0, 1))
    QTest.keyClick(view, Qt.Key.Key_S)
    assert view.cases.by == (1, True)
    view.setCurrentIndex(view.cases.index(0, 1))
    QTest.keyClick(view, Qt.Key.Key_Return)
    assert told == [4]
    assert view.place() == 4


def test_a_million_cases_cost_no_more_words_than_a_screen_holds(qtbot, qapp) -> None:
    made: list[float] = []

    def words(value: float) -> str:
        made.append(value)
        return f"{value:.1f}"

    values = np.random.default_rng(1).gamma(2.0, 8.0, CASES)
    view = CaseList(Look("light"), "Cases")
    qtbot.addWidget(view)
    view.resize(1000, 600)
    view.show_cases([Column(f"Measure {place}", values, words) for place in range(8)])
    view.show()
    QApplication.processEvents()
    in_sight = (view.viewport().height() // view.rowHeight(0) + 2) * 8
    assert view.cases.rowCount() == CASES
    for act in (
        view.scrollToBottom,
        lambda: view.sort_by(3),
        lambda: view.choose(values > 20.0),
        lambda: view.verticalScrollBar().setValue(1000),
    ):
        made.clear()
        act()
        QApplication.processEvents()
        view.viewport().repaint()
        assert 0 < len(made) <= 3 * in_sight, act
    assert len(view.cases.shown) == int((values > 20.0).sum())
    assert (np.diff(values[view.cases.shown]) >= 0).all()
