"""Where the keyboard stands on Bookings: list, form, plan and panel; and keys that find nothing to do say so."""

from __future__ import annotations

import pytest
from PySide6.QtCore import QPoint, Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication

from clinic_app.desktop.pages.bookings import BookingsPage
from clinic_app.desktop.pages.bookings_frame import foot_words
from clinic_app.desktop.parts.eye_list import fitting
from clinic_app.desktop.parts.label import text_width
from clinic_app.domain.record import CaseKey
from clinic_app.domain.states import STOOD_DOWN
from clinic_app.services import moving, plans
from clinic_app.settings import Settings
from tests.desktop.conftest import LIST_DAY

FIRST, PLANNED = CaseKey("P-20398", "L", LIST_DAY), CaseKey("P-20417", "R", LIST_DAY)


@pytest.fixture
def page(opened, shown, practice_with_model) -> BookingsPage:
    return shown(opened(practice_with_model)).bookings


def test_arrows_move_in_the_list_and_enter_or_a_click_goes_into_the_form(page, keys) -> None:
    assert page.open_eye.key == FIRST
    page.list.setFocus()
    keys.press(Qt.Key.Key_Down)
    assert (keys.place, page.open_eye.key) == ("eyes", FIRST)
    chosen = page.list.selectionModel().selectedIndexes()
    assert [page.list.rows.rows[one.row()].key for one in chosen] == [FIRST]  # the open eye stays marked
    keys.press(Qt.Key.Key_Return)
    assert page.open_eye.key == PLANNED
    assert keys.place != "eyes"
    page.list.setFocus()
    keys.press(Qt.Key.Key_Return)  # the eye that is open already: into its form
    assert keys.place != "eyes"
    place = page.list.visualRect(page.list.rows.index(page.list.rows.place_of(FIRST), 0)).topLeft() + QPoint(30, 10)
    QTest.mouseClick(page.list.viewport(), Qt.MouseButton.LeftButton, pos=place)
    assert page.open_eye.key == FIRST
    assert keys.place != "eyes"


def test_the_panel_is_one_tab_stop_that_scrolls(page, keys) -> None:
    page.window().resize(1280, 720)
    QApplication.processEvents()
    scroller = page.panel.scroller
    bar = scroller.verticalScrollBar()
    assert bar.maximum() > 0
    page.form.focus_first()
    keys.press(Qt.Key.Key_F6)
    assert keys.held is page.panel.reading
    assert page.panel.reading.accessibleName() == f"Booking forecast. {page.panel.sentence}"
    keys.press(Qt.Key.Key_Down)
    first = bar.value()
    assert first > 0
    keys.press(Qt.Key.Key_PageDown)
    assert bar.value() > first
    keys.press(Qt.Key.Key_Up)
    keys.press(Qt.Key.Key_PageUp)
    keys.press(Qt.Key.Key_PageUp)
    assert bar.value() == 0


def test_keys_that_find_nothing_to_do_say_so(page, keys) -> None:
    page.go_to(PLANNED)
    page.form.focus(page.form.answers["nucleus_hardness"])
    keys.press(Qt.Key.Key_0, Qt.KeyboardModifier.ControlModifier)
    assert "Nothing open in this section" in page.foot.words.text()
    keys.press(Qt.Key.Key_U, Qt.KeyboardModifier.ControlModifier)
    assert page.foot.words.text() == "Nothing copied waits to be confirmed."


def test_after_the_plan_is_confirmed_the_keyboard_goes_on(page, keys) -> None:
    page.go_to(PLANNED)
    assert page.plan.confirm.isVisible()
    page.plan.confirm.setFocus()
    keys.press(Qt.Key.Key_Space)
    assert plans.plan_state(page.session, PLANNED).confirmed_by == "Osei"
    answer = page.form.next_open()
    assert keys.held is (page.list if answer is None else answer.stop())


def test_after_an_act_the_keyboard_stands_on_no_answered_question(page, keys, qtbot) -> None:
    page.go_to(PLANNED)
    page.form.focus(page.form.answers["nucleus_hardness"])
    page.postpone()
    keys.type("26 11", enter=True)
    keys.type("no bed", enter=True)
    qtbot.waitUntil(lambda: not page.jobs.busy, timeout=20_000)
    answer = page.form.next_open()
    assert keys.held is (page.list if answer is None else answer.stop())


def test_an_eye_stood_down_is_locked_and_says_why(page, keys) -> None:
    moving.stand_down(page.session, PLANNED, "chose not to have it")
    page.go_to(PLANNED)
    assert page.open_eye.state == STOOD_DOWN
    assert not any(one.isEnabled() for one in [*page.form.answers.values(), *page.plan.answers.values()])
    before = page.form.given()
    for key in (Qt.Key.Key_3, Qt.Key.Key_0):
        keys.press(key)
    keys.press(Qt.Key.Key_0, Qt.KeyboardModifier.ControlModifier)
    assert page.form.given() == before
    page.go_to(PLANNED)
    page.say_foot()
    assert page.foot.words.text().startswith("Stood down: chose not to have it. Its answers are locked; take it back")
    page.go_to(FIRST)
    assert page.form.answers["nucleus_hardness"].isEnabled()


def test_ticks_show_the_digit_that_ticks_them(page, keys) -> None:
    page.go_to(FIRST)
    (steps,) = page.plan._sets()
    shown = [tick for tick in steps.ticks if not tick.isHidden()]
    assert [tick.hint for tick in shown] == ["1", "2", "3", "4", "5", "0"]
    page.plan.focus_first()
    keys.type(shown[2].hint)
    assert page.plan.steps() == (shown[2].code,)
    plain = shown[0].grab().toImage()
    shown[0].hint = ""
    assert shown[0].grab().toImage() != plain


@pytest.mark.parametrize("said", ["set for the demonstration", "Set for the demonstration"])
def test_the_foot_of_the_list_is_one_sentence(said: str) -> None:
    settings = Settings(planning_line=15.0, planning_line_set=said)
    assert foot_words(settings) == "By surgery date. Planning line: 15 in 100, set for the demonstration."
    assert foot_words(Settings(planning_line=15.0)) == "By surgery date. Planning line: 15 in 100."


def test_a_row_names_whole_parts_or_leaves_them_out(page) -> None:
    words = "From 3 Dec · Hardness 4 · Halvorsen"
    room = text_width(page.look, "From 3 Dec · Hardness 4 · Hal", 12.5)
    assert fitting(page.look, words, room) == "From 3 Dec · Hardness 4"
    assert fitting(page.look, words, 1000) == words
    assert fitting(page.look, "Halvorsen", room // 8).endswith("…")
