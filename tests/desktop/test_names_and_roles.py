"""A reader of the screen hears each eye in a sentence, and words are never read as markup."""

from __future__ import annotations

from PySide6.QtCore import Qt
from PySide6.QtGui import QAccessible
from PySide6.QtWidgets import QApplication, QLabel


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
