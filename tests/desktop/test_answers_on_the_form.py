"""What is typed is read, asked about or refused; it is never changed silently and never lost."""

from __future__ import annotations

from datetime import date

import pytest
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QWidget

from clinic_app.desktop.parts.choice import ChoiceRow
from clinic_app.desktop.parts.entry import EntryAnswer
from clinic_app.desktop.window import Window
from clinic_app.domain.record import CaseKey, StageRecord
from clinic_app.services import bookings
from models.codebook import Stage

SLIPS = (
    ("cct_um", "54"),
    ("cct_um", "0.54"),
    ("ecd_per_mm2", "2.5"),
    ("endo_cv_pct", "0.34"),
    ("acd_mm", "3100"),
    ("axial_length_mm", "235"),
    ("hba1c_pct", "53"),
    ("preop_iop_mmhg", "2.8"),
)


def blank(window: Window) -> None:
    window.bookings.begin_new()
    window.bookings.set_level("all")


def typed(window: Window, name: str, text: str, keys) -> EntryAnswer:
    answer = window.bookings.form.answers[name]
    assert isinstance(answer, EntryAnswer)
    window.bookings.form.focus(answer)
    keys.type(text, enter=True)
    return answer


@pytest.mark.parametrize(("name", "text"), SLIPS)
def test_a_slip_of_units_is_asked_about_and_the_typed_text_stays(opened, shown, keys, name, text) -> None:
    window = shown(opened())
    blank(window)
    answer = typed(window, name, text, keys)
    form = window.bookings.form
    assert answer.box.text() == text
    assert answer.given.value is None
    line = form.asked[name]
    assert line.isVisible()
    assert text in line.question
    assert len(line.choices) >= 2
    for button in line.choices:
        assert button.focusPolicy() & Qt.FocusPolicy.TabFocus
    line.choices[0].click()
    assert answer.given.value is not None
    assert answer.given.typed == text
    assert name not in form.asked


def test_a_kept_slip_is_the_value_that_was_typed(opened, shown, keys) -> None:
    window = shown(opened())
    blank(window)
    answer = typed(window, "endo_cv_pct", "52", keys)
    line = window.bookings.form.asked["endo_cv_pct"]
    assert "usual" in line.question.lower()
    assert [button.words for button in line.choices][-1] == "Change"
    line.choices[-1].click()
    assert answer.box.hasFocus()
    assert answer.box.text() == "52"
    line.choices[0].click()
    assert answer.given.value == 52.0


def test_outside_the_hard_range_is_refused_the_text_stays_and_booking_waits(opened, shown, keys) -> None:
    window = shown(opened())
    blank(window)
    form = window.bookings.form
    for name, text in (("patient_id", "7"), ("surgery_date", "19 11"), ("birth_date", "2.6.1951"), ("acd_mm", "8.5")):
        typed(window, name, text, keys)
    form.answers["eye"].choose("R", move=False)
    answer = form.answers["acd_mm"]
    assert answer.box.text() == "8.5"
    assert answer.given.value is None
    window.bookings.book()
    assert "Chamber depth" in window.bookings.notice.words.text()
    assert not window.bookings.eyes
    typed(window, "acd_mm", "3.1", keys)
    window.bookings.book()
    assert [eye.key for eye in window.bookings.eyes] == [CaseKey("7", "R", date(2026, 11, 19))]


def test_missing_is_an_answer_and_fills_what_cannot_be_known_without_it(opened, shown, keys) -> None:
    window = shown(opened())
    blank(window)
    form = window.bookings.form
    answer = typed(window, "ecd_per_mm2", "nd", keys)
    assert answer.box.text() == "Not done"
    assert answer.box.font().italic()
    assert form.answers["endo_hex_pct"].given.missing == "not_done"
    typed(window, "ecd_per_mm2", "2400", keys)
    assert form.answers["endo_hex_pct"].given.missing is None
    form.answers["diabetes"].choose("none", move=False)
    assert form.answers["diabetes_years"].given.missing == "not_applicable"
    form.answers["diabetes"].choose("type2", move=False)
    assert not form.answers["diabetes_years"].given.stands


def test_each_choice_is_one_tab_stop_with_and_without_an_answer(opened, shown) -> None:
    window = shown(opened())
    blank(window)
    for answer in window.bookings.form.answers.values():
        if isinstance(answer, ChoiceRow):
            for code in (None, answer.options[1].code):
                if code is not None:
                    answer.choose(code, move=False)
                stops = [one for one in answer.options if one.focusPolicy() & Qt.FocusPolicy.TabFocus]
                assert len(stops) == 1
                assert stops[0] is answer.stop()


def test_arrows_move_inside_a_choice_and_minus_gives_the_reason_for_no_answer(opened, shown, keys) -> None:
    window = shown(opened())
    blank(window)
    answer = window.bookings.form.answers["nucleus_hardness"]
    window.bookings.form.focus(answer)
    keys.press(Qt.Key.Key_Right)
    keys.press(Qt.Key.Key_Right)
    assert answer.given.value == 3
    keys.press(Qt.Key.Key_Left)
    assert answer.given.value == 2
    keys.press(Qt.Key.Key_Minus)
    assert answer.given.missing == "not_done"
    keys.press(Qt.Key.Key_Minus)
    assert answer.given.missing == "not_possible"
    assert answer.options[-1].words == "Not possible"
    keys.press(Qt.Key.Key_Backspace)
    assert not answer.given.stands


def test_ticks_toggle_by_digit_and_nought_says_none_of_these(opened, shown, keys) -> None:
    window = shown(opened())
    blank(window)
    plan = window.bookings.plan.answers["protection_plan"]
    window.bookings.plan.focus_first()
    keys.press(Qt.Key.Key_1)
    keys.press(Qt.Key.Key_4)
    assert plan.given.value == ("coat_first", "stay_in_bag")
    assert "2 steps: Plan ahead" in window.bookings.plan.said.text()
    keys.press(Qt.Key.Key_0)
    assert plan.given.value == ("none_needed",)


def test_what_belongs_to_the_patient_is_proposed_from_the_fellow_eye_and_measurements_never(
    opened, shown, keys
) -> None:
    session = opened()
    first = StageRecord(
        Stage.BOOKING,
        {"birth_date": date(1951, 6, 2), "sex": "female", "diabetes": "type2", "cct_um": 548.0, "nucleus_hardness": 4},
    )
    bookings.book(session, first, CaseKey("P-1", "R", date(2026, 11, 13)))
    window = shown(session)
    blank(window)
    form = window.bookings.form
    typed(window, "patient_id", "P-1", keys)
    form.answers["eye"].choose("L", move=False)
    assert form.proposed() == ["birth_date", "sex", "diabetes"]
    assert form.answers["cct_um"].given.value is None
    assert form.answers["nucleus_hardness"].given.value is None
    assert "diabetes" not in window.bookings.row()
    assert window.bookings.foot.confirm.isVisible()
    keys.press(Qt.Key.Key_U, Qt.KeyboardModifier.ControlModifier)
    assert form.proposed() == []
    assert window.bookings.row()["diabetes"] == "type2"


def test_leaving_with_unkept_answers_asks(opened, shown, keys, practice_with_model) -> None:
    window = shown(opened(practice_with_model))
    page = window.bookings
    key = page.open_eye.key
    page.form.answers["nucleus_hardness"].choose("1", move=False)
    keys.press(Qt.Key.Key_F7)
    assert page.question is not None
    assert page.open_eye.key == key
    keys.press(Qt.Key.Key_Escape)
    assert page.question is None
    assert page.form.answers["nucleus_hardness"].given.value == 1
    window.go(3)
    assert window.pages.currentIndex() == 0
    page.question.choices["away"].click()
    assert window.pages.currentIndex() == 3
    window.go(0)
    assert page.form.answers["nucleus_hardness"].given.value == 2


def test_a_change_after_booking_needs_a_reason_and_keeps_both_forecasts(
    opened, shown, keys, practice_with_model
) -> None:
    session = opened(practice_with_model)
    window = shown(session)
    page = window.bookings
    key = page.open_eye.key
    before = len(session.store.forecasts(key=key))
    page.form.answers["nucleus_hardness"].choose("5", move=False)
    keys.press(Qt.Key.Key_Return, Qt.KeyboardModifier.ControlModifier)
    page.question.choices["keep"].click()
    assert page.question is not None
    keys.type("graded again", enter=True)
    assert page.question is None
    assert session.store.case(key).row()["nucleus_hardness"] == 5
    assert len(session.store.forecasts(key=key)) == before + 1
    assert any(entry.reason == "graded again" for entry in session.store.history(key=key))
    assert not page.dirty()


def test_what_names_a_booked_eye_cannot_be_changed(opened, shown, practice_with_model) -> None:
    window = shown(opened(practice_with_model))
    for name in ("patient_id", "eye", "surgery_date"):
        assert not window.bookings.form.answers[name].isEnabled()
    window.bookings.begin_new()
    assert window.bookings.form.answers["eye"].isEnabled()


def test_booking_says_what_is_to_go(opened, shown, keys) -> None:
    window = shown(opened())
    blank(window)
    typed(window, "patient_id", "P-9", keys)
    assert "surgery date" in window.bookings.foot.words.text()
    window.bookings.book()
    assert "birth date" in window.bookings.notice.words.text()
    assert not window.bookings.eyes


def test_the_same_eye_on_the_same_day_is_not_booked_twice(opened, shown, keys, practice_with_model) -> None:
    window = shown(opened(practice_with_model))
    blank(window)
    for name, text in (("patient_id", "P-20417"), ("surgery_date", "19.11.2026"), ("birth_date", "11.3.1949")):
        typed(window, name, text, keys)
    window.bookings.form.answers["eye"].choose("R", move=False)
    before = len(window.bookings.eyes)
    window.bookings.book()
    assert "already on the list" in window.bookings.notice.words.text()
    assert len(window.bookings.eyes) == before


def test_reading_only_says_so_and_keeps_nothing(opened, shown, practice_with_model) -> None:
    window = shown(opened(practice_with_model, read_only=True))
    page = window.bookings
    assert "reading only" in page.notice.words.text()
    assert not page.foot.book.isEnabled()
    page.form.answers["nucleus_hardness"].choose("1", move=False)
    page.book()
    assert page.session.store.case(page.open_eye.key).row()["nucleus_hardness"] == 2


def test_an_empty_practice_says_how_to_begin(opened, shown) -> None:
    window = shown(opened())
    page = window.bookings
    assert page.empty_words.text() == "No eyes booked. Press Ctrl+N or import a list."
    assert page.empty_button.isVisible()
    page.empty_button.click()
    assert page.drafting
    held = window.focusWidget()
    assert isinstance(held, QWidget)
    assert held.objectName() == "patient_id"


def test_a_list_that_cannot_be_read_says_why_and_can_be_tried_again(opened, shown, qtbot, monkeypatch) -> None:
    window = shown(opened())

    def broken(_: object) -> list[object]:
        raise OSError("disk")

    with monkeypatch.context() as patch:
        patch.setattr(bookings, "list_eyes", broken)
        window.bookings.load()
        qtbot.waitUntil(window.bookings.copy_details.isVisible)
    assert "OSError" in window.bookings.empty_words.text()
    assert "disk" not in window.bookings._details
    window.bookings.retry.click()
    qtbot.waitUntil(lambda: window.bookings.empty_words.text().startswith("No eyes"))
