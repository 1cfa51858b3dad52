"""The review shows what the service found: facts, charts and the same numbers as tables."""

from __future__ import annotations

import threading

from PySide6.QtCore import Qt

from clinic_app.desktop.pages import review as review_page
from clinic_app.desktop.pages.review_charts import QUARTERS, TALLY
from clinic_app.desktop.window import Window
from clinic_app.domain.people import Duty
from clinic_app.figures.words import left_out_list
from clinic_app.services import people
from clinic_app.services.review import review


def open_review(window: Window, qtbot) -> None:
    window.go(3)
    qtbot.waitUntil(lambda: not window.review.drawing(), timeout=60_000)


def test_the_facts_and_headings_are_those_of_the_service(opened, shown, qtbot, practice_with_model) -> None:
    session = opened(practice_with_model)
    window = shown(session)
    open_review(window, qtbot)
    found = review(session)
    numbers = [fact.number for fact in window.review.facts]
    assert numbers == [
        f"{found.expected:.0f}", str(found.events), f"{100 * (1 - found.events / found.n):.0f} %",
        str(found.missing_day_one.missing),
    ]  # fmt: skip
    for card in window.review.cards["glance"]:
        said = card.chart.words(found)
        assert (card.heading.text(), card.reading.text(), card.footer.text()) == (
            said.heading,
            said.reading,
            said.footer,
        )
        assert not card.picture.pixmap().isNull()
        assert card.picture.accessibleName().endswith(said.heading)


def test_each_chart_has_its_table_by_button_and_by_key(opened, shown, qtbot, keys, practice_with_model) -> None:
    session = opened(practice_with_model)
    window = shown(session)
    open_review(window, qtbot)
    found = review(session)
    page = window.review
    keys.press(Qt.Key.Key_T, Qt.KeyboardModifier.ControlModifier)
    for card in page.cards["glance"]:
        assert card.table.isVisible()
        assert not card.picture.isVisible()
        assert card.button.words == "Show as chart"
    tally = next(card for card in page.cards["glance"] if card.chart is TALLY)
    assert tally.table.sheet_model.rowCount() == len(found.tally)
    quarters = next(card for card in page.cards["glance"] if card.chart is QUARTERS)
    rows = quarters.table.sheet_model.sheet.rows
    assert [(row[0], row[1], row[3]) for row in rows] == [
        (q.group, str(q.n), str(q.observed)) for q in found.by_quarter
    ]
    keys.press(Qt.Key.Key_T, Qt.KeyboardModifier.ControlModifier)
    tally.button.click()
    assert tally.table.isVisible()
    assert not quarters.table.isVisible()
    qtbot.waitUntil(lambda: not page.drawing(), timeout=60_000)


def test_the_forecast_view_names_the_measures(opened, shown, qtbot, practice_with_model) -> None:
    session = opened(practice_with_model)
    window = shown(session)
    open_review(window, qtbot)
    window.review.show_view("forecast")
    qtbot.waitUntil(lambda: not window.review.drawing(), timeout=60_000)
    found = review(session)
    rows = window.review.measures.table.sheet_model.sheet.rows
    assert rows[2][1] == f"{found.c_statistic.value:.2f}"
    assert rows[3][1] == f"{found.brier:.4f}"
    assert found.basis_words in window.review.measures.basis.text()


def test_a_filter_that_finds_nothing_says_so_and_can_be_cleared(opened, shown, qtbot, practice_with_model) -> None:
    window = shown(opened(practice_with_model))
    open_review(window, qtbot)
    page = window.review
    page.basis.choose("beforehand")
    page.read()
    qtbot.waitUntil(lambda: not page.drawing(), timeout=60_000)
    shown_words = page.message_words.text() if page.message.isVisible() else page.cards["glance"][0].heading.text()
    assert "Too few" in shown_words or "No " in shown_words
    if page.clear.isVisible():
        page.clear.click()
    else:
        page.clear_filters()
    qtbot.waitUntil(lambda: not page.drawing(), timeout=60_000)
    assert not page.filtered()
    assert page.review is not None
    assert page.review.n > 50


def test_an_empty_practice_has_nothing_to_review_and_says_so(opened, shown, qtbot) -> None:
    window = shown(opened())
    open_review(window, qtbot)
    page = window.review
    assert page.message.isVisible()
    assert "no operated eye" in page.message_words.text()
    assert not page.facts_box.isVisible()
    assert not page.clear.isVisible()


def test_without_the_duty_the_refusal_stands_in_the_pages_place(opened, shown, qtbot) -> None:
    session = opened()
    people.register(session, "Osei", [Duty.PEOPLE])
    window = shown(session)
    open_review(window, qtbot)
    page = window.review
    assert "Surgeon or Data lead" in page.message_words.text()
    assert page.bar.isHidden()
    assert page.message.y() < page.look.px(20)
    assert page.message.height() > 0.9 * page.height()
    assert page.message_words.y() < page.look.px(20)


def test_why_eyes_are_left_out_is_listed_under_forecast(opened, shown, qtbot, practice_with_model) -> None:
    session = opened(practice_with_model)
    window = shown(session)
    open_review(window, qtbot)
    found = review(session)
    assert found.left_out
    assert window.review.measures.left.text() == left_out_list(found)
    check = window.review.cards["glance"][0]
    assert check.footer.text().endswith("why eyes are left out: under Forecast, below the four questions")


def test_work_on_the_review_can_be_stopped(opened, shown, qtbot, practice_with_model, monkeypatch) -> None:
    begun, go = threading.Event(), threading.Event()

    def slow(*_: object, report) -> None:
        report(0.1, "Reading")
        begun.set()
        go.wait(10)
        report(0.2, "Judging")

    monkeypatch.setattr(review_page, "work_out", slow)
    window = shown(opened(practice_with_model))
    window.go(3)
    page = window.review
    qtbot.waitUntil(begun.is_set)
    qtbot.waitUntil(lambda: page.progress.sentence.text() == "Reading")
    assert page.progress.isVisible()
    page.progress.stop.click()
    go.set()
    qtbot.waitUntil(lambda: not page.drawing())
    assert page.message_words.text() == "Stopped. Nothing was changed."
    assert not page.progress.isVisible()
