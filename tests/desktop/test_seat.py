"""Who sits at the seat: signing in, covering, handing on; finding an eye."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication, QLabel, QWidget

from clinic_app.desktop.pages import cover_page
from clinic_app.desktop.window import FOUND
from clinic_app.domain.people import Duty
from clinic_app.preferences import Preferences, read_preferences
from clinic_app.services import people
from models.codebook import Stage

CONTROL, SHIFT = Qt.KeyboardModifier.ControlModifier, Qt.KeyboardModifier.ShiftModifier


@pytest.fixture
def peopled(opened, practice_with_model):
    """A practice with two people: Osei with a PIN, Lindqvist with none."""
    session = opened(practice_with_model)
    people.register(session, "Osei", {Duty.BOOKING, Duty.PEOPLE})
    people.set_pin(session, "2468")
    people.register(session, "Lindqvist", {Duty.DAY_ONE})
    return session


def typed(window: QWidget, text: str) -> None:
    QTest.keyClicks(QApplication.focusWidget(), text)
    QTest.keyClick(QApplication.focusWidget(), Qt.Key.Key_Return)


def words_on(window: QWidget) -> str:
    return " ".join(label.text() for label in window.findChildren(QLabel) if label.isVisible())


def test_a_person_with_a_pin_signs_in_before_anything_is_shown(peopled, shown) -> None:
    window = shown(peopled)
    assert window.covered
    assert not window.pages.isVisible()
    assert not window.bar.isVisible()
    assert "P-20417" not in words_on(window)
    typed(window, "os")
    typed(window, "1357")
    assert window.covered
    QApplication.processEvents()
    assert "more before a wait" in words_on(window)
    typed(window, "2468")
    assert not window.covered
    assert window.session.person == "Osei"
    assert window.bar.person.text().startswith("Osei, ")


def test_covering_hides_the_patients_and_uncovering_leaves_all_as_it_was(peopled, shown) -> None:
    window = shown(peopled)
    typed(window, "os")
    typed(window, "2468")
    page = window.page["bookings"]
    page.begin_new()
    page.form.answers["patient_id"].stop().setFocus()
    QTest.keyClicks(QApplication.focusWidget(), "Q-77")
    window.idle.passed.emit()
    assert window.covered
    assert not page.isVisible()
    assert cover_page.COVERED in words_on(window)
    QTest.keyClick(window, Qt.Key.Key_2, CONTROL)
    assert window.here is page
    typed(window, "2468")
    assert not window.covered
    assert window.page["bookings"] is page
    assert page.form.answers["patient_id"].stop().text() == "Q-77"


def test_handing_the_seat_on_builds_the_pages_for_the_other_person(peopled, shown) -> None:
    window = shown(peopled)
    typed(window, "os")
    typed(window, "2468")
    before = window.page["bookings"]
    QTest.keyClick(window, Qt.Key.Key_P, CONTROL | SHIFT)
    typed(window, "lin")
    QTest.keyClick(QApplication.focusWidget(), Qt.Key.Key_Return)  # no PIN: go on
    assert not window.covered
    assert window.session.person == "Lindqvist"
    assert window.page["bookings"] is not before
    QTest.keyClick(window, Qt.Key.Key_P, CONTROL | SHIFT)
    typed(window, "os")
    typed(window, "2468")
    assert not window.covered  # a PIN is asked once
    assert window.session.person == "Osei"


def test_while_nobody_is_registered_the_seat_opens_at_once_and_can_still_be_covered(
    opened, shown, practice_with_model
) -> None:
    window = shown(opened(practice_with_model))
    assert not window.covered
    window.cover_seat()
    assert window.covered
    assert cover_page.NOBODY in words_on(window)
    QTest.keyClick(QApplication.focusWidget(), Qt.Key.Key_Return)
    assert not window.covered


def test_colours_and_size_are_kept_for_the_person(opened, shown, practice_with_model) -> None:
    session = opened(practice_with_model)
    window = shown(session)
    page = window.page["person"]
    page.theme.choose("dark", move=False)
    page.size_row.choose("125", move=False)
    assert read_preferences(session.folder, session.person) == Preferences("dark", 125)
    window.fill(session)
    assert window.look.dark
    assert window.look.percent == 125
    assert read_preferences(session.folder, "Somebody else") is None


def test_preferences_that_cannot_be_read_are_as_if_none_were_kept(tmp_path: Path) -> None:
    for text in ("{", "[]", '{"Osei": 3}', '{"Osei": {"theme": "pink", "text_percent": 100}}'):
        (tmp_path / "preferences.json").write_text(text, encoding="utf-8")
        assert read_preferences(tmp_path, "Osei") is None


def test_find_lists_eyes_wherever_they_stand_and_opens_one(opened, shown, practice_with_model) -> None:
    window = shown(opened(practice_with_model))
    QTest.keyClick(window, Qt.Key.Key_F, CONTROL)
    typed(window, "P-204")
    page = window.page["found"]
    assert window.pages.currentIndex() == FOUND
    assert len(page.list.rows.rows) == 3
    QTest.keyClick(QApplication.focusWidget(), Qt.Key.Key_Down)
    assert window.here is page
    wanted = page.list.currentIndex().data(Qt.ItemDataRole.UserRole).key
    QTest.keyClick(QApplication.focusWidget(), Qt.Key.Key_Return)
    assert window.here is window.page["bookings"]
    assert window.page["bookings"].open_eye.key == wanted


def test_find_leads_a_surgeon_to_the_sheet_of_an_operated_eye(opened, shown, practice_with_model) -> None:
    session = opened(practice_with_model)
    signed = next(case.key for case in session.store.cases() if case.has(Stage.THEATRE) and case.has(Stage.BOOKING))
    number = signed.patient_id
    window = shown(session)
    page = window.page["found"]
    QTest.keyClick(window, Qt.Key.Key_F, CONTROL)
    typed(window, number)
    if len(page.list.rows.rows) > 1:
        page.list.wished.emit(signed)
    assert QApplication.focusWidget().text() == "Open it on Day one"
    assert window.here is page
    QTest.keyClick(QApplication.focusWidget(), Qt.Key.Key_Escape)
    assert page.question is None
    assert QApplication.focusWidget() is page.list
    page.list.wished.emit(signed)
    page.question.choices["theatre"].setFocus()
    QTest.keyClick(QApplication.focusWidget(), Qt.Key.Key_Return)
    assert window.here is window.page["theatre"]
    assert window.page["theatre"].asking == signed


def test_find_says_so_when_nothing_fits(opened, shown, practice_with_model) -> None:
    window = shown(opened(practice_with_model))
    QTest.keyClick(window, Qt.Key.Key_F, CONTROL)
    typed(window, "nobody")
    assert "No patient number holds 'nobody'" in words_on(window)


def test_the_time_until_the_cover_runs_from_the_start_and_after_every_act(peopled, shown) -> None:
    window = shown(peopled)
    typed(window, "os")
    typed(window, "2468")
    QApplication.processEvents()
    assert window.idle.timer.isActive()
    assert window.idle.timer.interval() == 3 * 60_000
    window.idle.passed.emit()
    assert not window.idle.timer.isActive()
    typed(window, "2468")
    QApplication.processEvents()
    assert window.idle.timer.isActive()


def test_answers_that_are_not_kept_are_said_before_somebody_else_takes_the_seat(peopled, shown) -> None:
    window = shown(peopled)
    typed(window, "os")
    typed(window, "2468")
    page = window.page["bookings"]
    page.dirty = lambda: True
    window.idle.passed.emit()
    window.cover.ask_who()
    typed(window, "lin")
    QTest.keyClick(QApplication.focusWidget(), Qt.Key.Key_Return)
    assert window.covered
    assert "Osei has answers here that are not kept" in words_on(window)
    QTest.keyClick(QApplication.focusWidget(), Qt.Key.Key_Return)
    assert not window.covered
    assert window.session.person == "Lindqvist"


def test_a_covered_window_with_unkept_answers_closes_at_the_second_wish(peopled, shown) -> None:
    window = shown(peopled)
    typed(window, "os")
    typed(window, "2468")
    page = window.page["bookings"]
    page.dirty = lambda: True
    window.idle.passed.emit()
    assert not window.close()
    assert "not kept" in words_on(window)
    assert window.close()


def test_changed_settings_go_on_with_the_next_person(peopled, shown) -> None:
    window = shown(peopled)
    typed(window, "os")
    typed(window, "2468")
    changed = window.session.with_settings(replace(window.session.settings, planning_line=22.0))
    window.page["practice"].renewed.emit(changed)
    QTest.keyClick(window, Qt.Key.Key_P, CONTROL | SHIFT)
    typed(window, "lin")
    QTest.keyClick(QApplication.focusWidget(), Qt.Key.Key_Return)
    assert window.session.settings.planning_line == 22.0


def test_on_the_next_day_the_pages_are_built_anew(opened, shown, practice_with_model) -> None:
    session = opened(practice_with_model)
    days = [session.clock()]
    window = shown(replace(session, clock=lambda: days[0]))
    before = window.page["bookings"]
    days[0] += timedelta(days=1)
    QTest.keyClick(window, Qt.Key.Key_2, CONTROL)
    assert window.page["bookings"] is not before
    assert window.here is window.page["theatre"]
    assert window.here.today == session.today() + timedelta(days=1)
