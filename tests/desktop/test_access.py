"""Every page can be reached, named, pressed and left by keyboard and by a reader of the screen (screens.md 9, 2-9)."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from PySide6.QtCore import Qt
from PySide6.QtGui import QAccessible
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QAbstractButton, QAbstractItemView, QApplication, QLineEdit, QTextBrowser, QWidget

from clinic_app.desktop.gallery import Gallery
from clinic_app.desktop.look import Look
from clinic_app.desktop.parts.answer import OPEN, Answer, Given
from clinic_app.desktop.parts.button import Button
from clinic_app.desktop.parts.choice import ChoiceRow, Option
from clinic_app.desktop.parts.entry import Box
from clinic_app.desktop.parts.eye_question import SideButton
from clinic_app.desktop.parts.lines import Question
from clinic_app.desktop.parts.path_bar import Station
from clinic_app.desktop.parts.ticks import Tick, TickSet
from clinic_app.desktop.window import Window
from tests.desktop.acceptance import controls, group, nameless, ours, said, settle, standing, states, tab_stops

HIGH = {Option: 40, Box: 40, Button: 38, Tick: 34, Station: 38, SideButton: 40}
"""Least heights in pixels at 100 % (screens.md 9, item 8)."""
MOST_LINKS = 300
"""Links of a chapter of the manual, at which Tab stops inside one widget."""


@pytest.fixture(scope="module")
def window(qapp, practice_with_model, tmp_path_factory) -> Iterator[Window]:
    qapp.setStyle("Fusion")
    with standing(practice_with_model, tmp_path_factory.mktemp("access") / "practice", Look("light")) as made:
        yield made


@pytest.fixture(scope="module")
def gallery(qapp) -> Iterator[Gallery]:
    page = Gallery(Look("light"))
    page.resize(1440, 1000)
    page.show()
    QApplication.processEvents()
    yield page
    page.close()
    page.deleteLater()
    QApplication.processEvents()


def too_small(root: QWidget) -> list[str]:
    found = []
    for widget in controls(root):
        least = next((high for kind, high in HIGH.items() if isinstance(widget, kind)), 24)
        if widget.width() < 24 or widget.height() < least:
            found.append(f"{said(widget)} is {widget.width()}x{widget.height()}, needs 24x{least}")
    return found


def many_stops(root: QWidget) -> list[str]:
    """Groups that are not exactly one stop for Tab."""
    found = []
    for answer in ours(root):
        if isinstance(answer, ChoiceRow | TickSet) and answer.isEnabled():
            options = answer.options if isinstance(answer, ChoiceRow) else answer.ticks
            stops = [one for one in options if one.isVisible() and one.focusPolicy() & Qt.FocusPolicy.TabFocus]
            if len(stops) != 1:
                found.append(f"{answer.field.name} is {len(stops)} tab stops")
    return found


def test_every_page_is_named_large_enough_and_one_stop_a_group(window: Window) -> None:
    faults, seen = [], 0
    for state in states(window):
        for fault in (*nameless(window), *too_small(window), *many_stops(window)):
            faults.append(f"{state}: {fault}")
        seen += len(controls(window))
    assert seen > 500
    assert not faults, "\n".join(faults)


def test_every_part_is_named_large_enough_and_one_stop_a_group(gallery: Gallery) -> None:
    assert len(controls(gallery)) > 100
    assert nameless(gallery) == []
    assert too_small(gallery) == []
    assert many_stops(gallery) == []


def test_a_group_is_one_stop_with_and_without_a_value(gallery: Gallery) -> None:
    rows = [one for one in ours(gallery) if isinstance(one, ChoiceRow)]
    assert len(rows) > 8
    for row in rows:
        held = row.given
        for given in (OPEN, *(row.value_of(code) for code in row.keys.values()), Given(missing="not_done")):
            row.show_given(given)
            assert many_stops(gallery) == []
        row.show_given(held)


# --- Tab --------------------------------------------------------------------------------------------------------------


def walked(key: Qt.Key) -> list[QWidget]:
    """The widgets that get the keyboard, from the one in hand on, until one of them gets it again."""
    path, stays = [QApplication.focusWidget()], 0
    while True:
        QTest.keyClick(path[-1], key)
        held = QApplication.focusWidget()
        if held is path[-1] and isinstance(held, QTextBrowser) and stays < MOST_LINKS:
            stays += 1  # it goes from link to link in a text before it leaves it
        elif held in path:
            return path[path.index(held) :]
        else:
            path.append(held)


def test_tab_visits_every_control_once_and_shift_tab_goes_back(window: Window) -> None:
    window.activateWindow()
    settle(window)
    assert QApplication.activeWindow() is window
    faults = []
    for state in states(window, more=False):
        window.here.first_focus()
        if not tab_stops(window.here):
            window.bar.stations[0].setFocus()
        first = QApplication.focusWidget()
        there = walked(Qt.Key.Key_Tab)
        missed = [said(one) for one in tab_stops(window) if one not in there]
        if there[0] is not first or missed:
            faults.append(f"{state}: from {said(first)} Tab goes round {len(there)}, never at {missed}")
            continue
        if walked(Qt.Key.Key_Backtab) != [there[0], *there[:0:-1]]:
            faults.append(f"{state}: Shift+Tab does not reverse Tab")
    assert not faults, "\n".join(faults)


# --- Esc --------------------------------------------------------------------------------------------------------------


def test_esc_leaves_every_question(gallery: Gallery) -> None:
    questions = [one for one in ours(gallery) if isinstance(one, Question)]
    assert questions
    for question in questions:
        told: list[str] = []
        question.answered.connect(lambda code, _, told=told: told.append(code))
        for held in question.findChildren(QWidget):
            if held.focusPolicy() & Qt.FocusPolicy.TabFocus:
                told.clear()
                QTest.keyClick(held, Qt.Key.Key_Escape)
                assert told == ["back"], said(held)


def test_every_shown_eye_of_a_list_speaks(window: Window) -> None:
    for state in states(window, more=False):
        for view in window.here.findChildren(QAbstractItemView):
            model = view.model()
            if view.isVisible() and model is not None:
                for row in range(min(5, model.rowCount())):
                    words = model.index(row, 0).data(Qt.ItemDataRole.AccessibleTextRole)
                    assert words or model.index(row, 0).data(), f"{state}: row {row} of {said(view)} says nothing"


def test_what_is_typed_or_pressed_has_a_role_of_its_own(window: Window) -> None:
    roles = {
        QAccessible.queryAccessibleInterface(one).role()
        for one in controls(window)
        if isinstance(one, QAbstractButton | QLineEdit)
    }
    assert QAccessible.Role.Client not in roles
    assert {QAccessible.Role.EditableText, QAccessible.Role.Button} <= roles


def test_the_fields_of_a_form_are_named_with_label_and_unit(window: Window) -> None:
    window.go(0)
    settle(window)
    window.page["bookings"].set_level("all")
    settle(window)
    named = {one.field.name: one for one in ours(window) if isinstance(one, Answer)}
    interface = QAccessible.queryAccessibleInterface
    assert interface(named["cct_um"].stop()).text(QAccessible.Text.Name) == "Thickness, µm"
    hard = named["nucleus_hardness"].stop()
    assert interface(hard).text(QAccessible.Text.Name).startswith("Nucleus hardness: ")
    assert group(hard) is named["nucleus_hardness"]
