"""A reader of the screen hears a name and a role for everything that can be reached."""

from __future__ import annotations

import pytest
from PySide6.QtCore import Qt
from PySide6.QtGui import QAccessible
from PySide6.QtWidgets import QApplication, QLabel, QWidget

from clinic_app.desktop.app import application
from clinic_app.desktop.gallery import Gallery
from clinic_app.desktop.look import Look
from clinic_app.desktop.window import Window

ROLES = {
    QAccessible.Role.RadioButton, QAccessible.Role.CheckBox, QAccessible.Role.EditableText, QAccessible.Role.Button,
    QAccessible.Role.PushButton, QAccessible.Role.List, QAccessible.Role.ListItem, QAccessible.Role.Table,
    QAccessible.Role.ButtonMenu,
}  # fmt: skip


def reachable(root: QWidget) -> list[QWidget]:
    """Widgets of ours that take the keyboard (not the insides of Qt's own views)."""
    inside = {"qt_scrollarea_viewport"}
    return [
        one
        for one in root.findChildren(QWidget)
        if one.focusPolicy() != Qt.FocusPolicy.NoFocus and one.objectName() not in inside and not one.isHidden()
        and type(one).__module__.startswith("clinic_app")
    ]  # fmt: skip


def nameless(root: QWidget) -> list[str]:
    found = []
    for widget in reachable(root):
        interface = QAccessible.queryAccessibleInterface(widget)
        name = interface.text(QAccessible.Text.Name)
        if not name.strip() or interface.role() not in ROLES:
            found.append(f"{type(widget).__name__} {widget.objectName()!r} name {name!r} role {interface.role()}")
    return found


@pytest.mark.parametrize("place", range(7))
def test_every_page_names_what_can_be_reached(opened, shown, qtbot, practice_with_model, place) -> None:
    window: Window = shown(opened(practice_with_model))
    window.bookings.set_level("all")
    window.go(place)
    qtbot.waitUntil(lambda: not window.review.drawing(), timeout=60_000)
    if place == 3:
        window.review.toggle_tables()
    page = window.pages.currentWidget()
    assert page is not None
    assert reachable(page) or place in (1, 2, 4, 5)
    assert nameless(window.bar) == []
    assert nameless(page) == []


def test_every_part_of_the_gallery_is_named(qtbot) -> None:
    application()
    page = Gallery(Look("light"))
    qtbot.addWidget(page)
    page.show()
    assert len(reachable(page)) > 30
    assert nameless(page) == []


def test_the_list_is_a_list_and_each_eye_says_its_sentence(opened, shown, practice_with_model) -> None:
    window = shown(opened(practice_with_model))
    interface = QAccessible.queryAccessibleInterface(window.bookings.list)
    assert interface.role() == QAccessible.Role.List
    spoken = [row.spoken for row in window.bookings.list.rows.rows if row.key is not None]
    assert any(words.startswith("P-20417, Right eye, Hardness 4, Halvorsen, forecast ") for words in spoken)
    assert all("plan ahead" in words for words in spoken if words.startswith("P-20417"))


def test_all_words_are_plain_text(opened, shown, practice_with_model) -> None:
    window = shown(opened(practice_with_model))
    labels = window.findChildren(QLabel)
    assert labels
    ours = [label for label in labels if type(label).__module__.startswith("clinic_app") and label.text()]
    assert {label.textFormat() for label in ours} == {Qt.TextFormat.PlainText}


def test_names_typed_by_people_are_never_read_as_markup(opened, shown, keys) -> None:
    window = shown(opened())
    window.bookings.begin_new()
    keys.type("<b>1</b>", enter=True)
    assert window.bookings.head.number.text() == "<b>1</b>"
    assert window.bookings.head.number.textFormat() == Qt.TextFormat.PlainText
    QApplication.processEvents()
