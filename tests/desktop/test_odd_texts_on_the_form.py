"""Whatever is typed or pasted is taken as it is, asked about or refused; nothing breaks, nothing is lost or guessed."""

from __future__ import annotations

from datetime import date

import pytest
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QApplication

from clinic_app.desktop.parts.entry import EntryAnswer
from clinic_app.desktop.window import Window
from clinic_app.domain.record import CaseKey
from clinic_app.services import bookings
from clinic_app.services.bookings import Figures, TooMuchMissing


def blank(window: Window) -> None:
    window.bookings.begin_new()
    window.bookings.set_level("all")


def pasted(window: Window, name: str, text: str, keys) -> EntryAnswer:
    answer = window.bookings.form.answers[name]
    assert isinstance(answer, EntryAnswer)
    window.bookings.form.focus(answer)
    QApplication.clipboard().setText(text)
    answer.box.selectAll()
    answer.box.paste()
    keys.press(Qt.Key.Key_Return)
    return answer


def lines_of(window: Window, name: str) -> str:
    return " ".join(line.words.text() for line in window.bookings.form.lines.get(name, []) if line.isVisible())


@pytest.mark.parametrize("name", ["cct_um", "birth_date", "surgery_date", "preop_iop_mmhg"])
def test_a_pasted_page_of_text_is_refused_where_a_number_or_a_day_belongs(opened, shown, keys, name) -> None:
    window = shown(opened())
    blank(window)
    page_of_text = "Dear colleague,\nthank you for seeing this patient. " * 60
    answer = pasted(window, name, page_of_text, keys)
    assert answer.given.value is None
    assert "Dear colleague" in answer.box.text()
    assert lines_of(window, name)
    assert window.bookings.form.troubled() == [answer.field.label]


def test_letters_of_other_scripts_and_pictures_are_a_number_like_any_other(opened, shown, keys) -> None:
    session = opened()
    window = shown(session)
    page = window.bookings
    for number, text in enumerate(("שלום-7", "مريض ٧", "P😀7", "<b>7</b>")):
        blank(window)
        pasted(window, "patient_id", text, keys)
        pasted(window, "surgery_date", "19 11 2026", keys)
        pasted(window, "birth_date", "2 6 1951", keys)
        page.form.answers["eye"].choose("R", move=False)
        page.book()
        assert len(page.eyes) == number + 1
        assert page.head.number.text() == text
        assert session.store.case(CaseKey(text, "R", date(2026, 11, 19))) is not None


@pytest.mark.parametrize(
    "text", ["31 2 2026", "29.2.2025", "0 0 0", "19 13 2026", "99", "tomorrow", "2026-11-19-19", "1 1 0001"]
)
def test_a_day_that_never_was_is_refused(opened, shown, keys, text) -> None:
    window = shown(opened())
    blank(window)
    answer = pasted(window, "surgery_date", text, keys)
    assert answer.given.value is None
    assert answer.box.text() == text
    assert answer.field.label in window.bookings.form.troubled()


def test_days_that_cannot_stand_beside_one_another_stop_the_booking(opened, shown, keys) -> None:
    window = shown(opened())
    page = window.bookings
    blank(window)
    pasted(window, "patient_id", "P-1", keys)
    page.form.answers["eye"].choose("R", move=False)
    pasted(window, "surgery_date", "19 11 2026", keys)
    pasted(window, "birth_date", "20 11 2026", keys)
    page.book()
    assert "birth date lies after the surgery" in page.notice.words.text()
    pasted(window, "birth_date", "1 1 1910", keys)
    page.book()
    assert "over 110" in page.notice.words.text()
    assert not window.session.store.keys()


@pytest.mark.parametrize("text", ["o", "u", "b", "2", "ou", "both"])
def test_no_key_makes_the_eye_both(opened, shown, keys, text) -> None:
    window = shown(opened())
    blank(window)
    answer = window.bookings.form.answers["eye"]
    window.bookings.form.focus(answer)
    keys.type(text)
    assert answer.given.value is None
    assert window.bookings.head.plate.words == "Which eye?"


@pytest.mark.parametrize(("text", "side"), [("r", "R"), ("l", "L")])
def test_a_letter_chooses_the_eye(opened, shown, keys, text, side) -> None:
    window = shown(opened())
    blank(window)
    window.bookings.form.focus(window.bookings.form.answers["eye"])
    keys.type(text)
    assert window.bookings.form.answers["eye"].given.value == side


def test_a_bare_vision_is_asked_about_where_the_practice_does_not_say(opened, shown, keys) -> None:
    window = shown(opened())
    blank(window)
    pasted(window, "preop_va_raw", "0.5", keys)
    said = lines_of(window, "preop_va_raw")
    assert "0.5" in said
    assert window.bookings.form.answers["preop_va_raw"].box.text() == "0.5"


def test_one_and_three_answers_missing_keep_the_number_and_say_so_and_most_missing_takes_it(
    opened, shown, practice_with_model
) -> None:
    window = shown(opened(practice_with_model))
    page = window.bookings
    page.go_to(next(eye.key for eye in page.eyes if eye.key.patient_id == "P-20417"))
    page.set_level("full")
    form = page.form
    weak = ("ecd_per_mm2", "hypertension", "pupil_dilated_mm")
    for name in weak:
        form.show_given(name, type(form.answers[name].given)(missing="not_done"))
        page._refresh()
        state = bookings.forecast_for(window.session, page.row())
        assert isinstance(state, Figures)
        assert "Missing: " in page.panel.words_shown()
        assert page.panel.figures.dots.isVisible()
    strong = ("nucleus_hardness", "guttae_grade", "acd_mm", "diabetes", "glaucoma")
    for name in strong:
        form.show_given(name, type(form.answers[name].given)(missing="not_done"))
    page._refresh()
    assert isinstance(bookings.forecast_for(window.session, page.row()), TooMuchMissing)
    assert not page.panel.figures.isVisible()
    assert "in 100" not in page.panel.words_shown()
