"""The panel shows a chance with its range, or says in one sentence why there is none."""

from __future__ import annotations

import re

import pytest
from PySide6.QtWidgets import QWidget

from clinic_app.desktop.pages.figures_view import planning_words
from clinic_app.desktop.parts.button import Button
from clinic_app.desktop.parts.gauges import HundredDots, RangeBar, axis_top
from clinic_app.desktop.parts.label import Sentence
from clinic_app.desktop.window import Window
from clinic_app.errors import Refusal
from clinic_app.services import bookings
from clinic_app.services.bookings import Figures, NoModel, TooMuchMissing, Unlike


def panel_words(window: Window) -> str:
    return window.bookings.panel.words_shown()


def open_eye(window: Window, number: str) -> object:
    page = window.bookings
    page.go_to(next(eye.key for eye in page.eyes if eye.key.patient_id == number))
    return bookings.forecast_for(page.session, page.row())


def test_figures_say_the_sentence_of_the_model_and_repeat_it_in_pictures(opened, shown, practice_with_model) -> None:
    window = shown(opened(practice_with_model))
    state = open_eye(window, "P-20417")
    assert isinstance(state, Figures)
    panel = window.bookings.panel
    cloudy = window.session.card(state.model_id).cloudy
    assert panel.sentence == state.forecast.words(cloudy)
    dots = panel.findChildren(HundredDots)[-1]
    assert dots.risk == round(100 * state.forecast.risk)
    bar = panel.findChildren(RangeBar)[-1]
    assert bar.average == pytest.approx(state.our_average)
    assert bar.line == 15.0
    words = panel_words(window)
    assert planning_words(100 * state.forecast.low, 100 * state.forecast.high, 15.0) in words
    assert state.card_words == panel.foot.text()
    for reason in state.forecast.reasons:
        assert re.search(r"goes with .*(more|fewer)", reason.words)
    assert panel.accessibleName() == f"Booking forecast. {panel.sentence}"


def test_the_forecast_follows_each_answer_at_once(opened, shown, practice_with_model) -> None:
    window = shown(opened(practice_with_model))
    open_eye(window, "P-20417")
    before = window.bookings.panel.sentence
    window.bookings.form.answers["nucleus_hardness"].choose("1", move=False)
    after = window.bookings.panel.sentence
    assert after != before
    assert after == bookings.forecast_for(window.session, window.bookings.row()).forecast.words(
        window.session.card("booking-1").cloudy
    )


def test_an_eye_unlike_ours_shows_no_digit_of_a_forecast(opened, shown, practice_with_model) -> None:
    window = shown(opened(practice_with_model))
    state = open_eye(window, "P-20420")
    assert isinstance(state, Unlike)
    panel = window.bookings.panel
    assert panel.title.text() == "No forecast for this eye"
    assert "unlike ours" in panel.sentence
    assert not re.search(r"\d", panel.sentence)
    assert not re.search(r"in 100", panel_words(window))
    visible = [one for one in panel.findChildren(HundredDots) if one.isVisible()]
    assert not visible
    row = next(one for one in window.bookings.list.rows.rows if one.name == "P-20420")
    assert (row.aside, row.under_aside, row.gauge) == ("no forecast", "unlike ours", None)
    assert not re.search(r"\d+ in 100", row.spoken)


def test_without_a_model_facts_are_named_and_no_chance(opened, shown, booked_some) -> None:
    session = opened()
    booked_some(session)
    window = shown(session)
    state = bookings.forecast_for(session, window.bookings.row())
    assert isinstance(state, NoModel)
    panel = window.bookings.panel
    words = panel_words(window)
    assert panel.title.text() == "No forecast yet"
    assert not re.search(r"\d+ in 100|most likely|between \d", words.lower())
    assert "points" not in words.lower()
    assert state.facts.facts
    for fact in state.facts.facts:
        for part in (fact.shown, fact.outcome, fact.number, fact.source):
            assert part in words
    for row in window.bookings.list.rows.rows:
        assert row.gauge is None
        assert row.key is None or not row.aside


def test_before_the_first_answers_the_panel_asks_for_them(opened, shown, practice_with_model) -> None:
    window = shown(opened(practice_with_model))
    window.bookings.begin_new()
    assert isinstance(bookings.forecast_for(window.session, {}), TooMuchMissing)
    sentence = window.bookings.panel.sentence
    assert sentence.startswith("Answer these first: nucleus hardness, ")
    assert sentence.count(",") + 2 == 4
    assert "No forecast" not in panel_words(window)


def test_each_answer_that_is_asked_for_is_a_way_to_it(opened, shown, practice_with_model) -> None:
    window = shown(opened(practice_with_model))
    page = window.bookings
    page.begin_new()
    asked = bookings.forecast_for(window.session, {}).ask
    assert len(asked) == 4
    for name in asked:
        way = page.panel.findChild(Button, f"ask.{name}")
        assert way is not None
        way.click()
        answer = page.form.answers[name]
        assert not answer.isHidden()
        assert window.focusWidget() is answer.stop()


def test_an_answer_changes_what_is_written_and_not_the_parts(opened, shown, practice_with_model) -> None:
    window = shown(opened(practice_with_model))
    open_eye(window, "P-20417")
    panel = window.bookings.panel
    parts = panel.figures.findChildren(QWidget)
    window.bookings.form.answers["nucleus_hardness"].choose("1", move=False)
    assert panel.figures.findChildren(QWidget) == parts
    state = bookings.forecast_for(window.session, window.bookings.row())
    assert [line[0] for line in panel.figures.effects.lines] == [one.label for one in state.forecast.reasons]
    assert panel.figures.dots.risk == round(100 * state.forecast.risk)


def test_missing_answers_stand_on_top_and_what_would_narrow_is_said(opened, shown, practice_with_model) -> None:
    window = shown(opened(practice_with_model))
    open_eye(window, "P-20417")
    form = window.bookings.form
    window.bookings.set_level("full")
    form.said("ecd_per_mm2", "nd")
    words = panel_words(window)
    assert "Missing: " in words
    assert "cell count" in words.lower()
    assert "What would narrow it most" in words


def test_an_eye_at_the_edge_of_the_records_says_so_above_its_number(opened, shown, practice_with_model) -> None:
    window = shown(opened(practice_with_model))
    open_eye(window, "P-20417")
    form = window.bookings.form
    window.bookings.set_level("full")
    for name, text in (("acd_mm", "2.4"), ("axial_length_mm", "28"), ("cct_um", "600")):
        form.said(name, text)
        if name in form.asked:
            form.asked[name].choices[0].click()
    state = bookings.forecast_for(window.session, window.bookings.row())
    assert isinstance(state, Figures)
    (edge,) = state.forecast.edge
    panel = window.bookings.panel
    shown_lines = [line.words.text() for line in panel.figures.cautions if line.isVisible()]
    assert edge in shown_lines
    assert "at the edge of our records" in edge
    caution = next(line for line in panel.figures.cautions if line.words.text() == edge)
    assert (
        caution.mapToGlobal(caution.rect().topLeft()).y() < panel.figures.lead.mapToGlobal(caution.rect().topLeft()).y()
    )


def test_too_much_missing_shows_no_number(opened, shown, practice_with_model) -> None:
    window = shown(opened(practice_with_model))
    open_eye(window, "P-20417")
    window.bookings.set_level("full")
    fields = window.session.card("booking-1").fields
    for name in fields:
        answer = window.bookings.form.answers.get(name)
        if answer is not None:
            window.bookings.form.show_given(name, type(answer.given)(missing="not_done"))
    window.bookings._refresh()
    panel = window.bookings.panel
    assert panel.title.text() == "No forecast for this eye"
    assert not re.search(r"in 100", panel_words(window))


def test_a_forecast_that_cannot_be_made_says_why_and_the_entry_stays(
    opened, shown, practice_with_model, monkeypatch
) -> None:
    window = shown(opened(practice_with_model))

    def refuse(*_: object) -> None:
        raise Refusal("No forecast.", "The card does not hold.", "Adopt another.")

    monkeypatch.setattr(bookings, "forecast_for", refuse)
    window.bookings.form.answers["nucleus_hardness"].choose("2", move=False)
    assert window.bookings.panel.sentence == "No forecast: The card does not hold. Your entry can be kept."
    assert window.bookings.form.answers["nucleus_hardness"].given.value == 2


def test_the_planning_line_has_three_sentences_and_the_axis_three_ends() -> None:
    assert planning_words(16, 20, 15) == "The whole range is above the planning line."
    assert planning_words(10, 20, 15) == "The range reaches across the planning line."
    assert planning_words(5, 10, 15) == "The whole range is below the planning line."
    assert planning_words(5, 10, None) == ""
    assert [axis_top(high) for high in (12, 40, 41, 60, 61, 100)] == [40, 40, 60, 60, 100, 100]


def test_what_cannot_be_judged_is_one_sentence_with_one_colon(opened, shown) -> None:
    window = shown(opened())
    window.bookings.begin_new()
    words = [one.text() for one in window.bookings.panel.findChildren(Sentence)]
    named = [re.sub(r"<[^>]+>", "", one) for one in words if "answered" in one]
    assert named
    assert all(one.count(":") == 1 for one in named)
