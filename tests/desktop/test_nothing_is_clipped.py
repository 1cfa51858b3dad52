"""No label, control or field shows less than its text, at any size and text size we promise."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date

import pytest
from PySide6.QtCore import QRect
from PySide6.QtWidgets import QAbstractScrollArea, QApplication, QLabel, QLineEdit, QPushButton, QWidget

from clinic_app.desktop.look import STRONG, Look
from clinic_app.desktop.pages.case_parts import CaseHead
from clinic_app.desktop.parts.button import Button
from clinic_app.desktop.parts.choice import Option
from clinic_app.desktop.parts.effects import Effects
from clinic_app.desktop.parts.frame import Card, Heading
from clinic_app.desktop.parts.label import Sentence, Words, text_width
from clinic_app.desktop.parts.ticks import Tick
from clinic_app.desktop.window import Window
from tests.desktop.acceptance import CASES, LongerLook, show_case, standing, states


def needed(widget: QWidget) -> tuple[int, int]:
    """Width and height the widget's words need."""
    if isinstance(widget, Words):
        if widget.wordWrap():
            return 0, widget.heightForWidth(widget.width())
        return widget.sizeHint().width(), widget.fontMetrics().height()
    if isinstance(widget, Sentence):
        return 0, widget.heightForWidth(widget.width()) - 1
    if isinstance(widget, Heading):
        aside = text_width(widget.look, widget.aside, 12.5) + widget.look.px(10) if widget.aside else 0
        return text_width(widget.look, widget.text, 15, STRONG) + widget.look.px(6) + aside, widget.sizeHint().height()
    if isinstance(widget, Card):
        if widget.findChildren(QAbstractScrollArea):
            return 0, 0  # what does not fit scrolls
        column = widget.column
        tall = column.hasHeightForWidth()
        return 0, column.totalHeightForWidth(widget.width()) if tall else column.totalMinimumSize().height()
    if isinstance(widget, QLineEdit):
        margins = widget.textMargins()
        return widget.fontMetrics().horizontalAdvance(widget.text()) + margins.left() + margins.right(), 0
    hint = widget.sizeHint()
    return hint.width(), hint.height()


def clipped(window: Window) -> list[str]:
    found = []
    for widget in window.findChildren(QWidget):
        if not widget.isVisible() or not isinstance(
            widget, (Card, Heading, Words, Sentence, QLineEdit, Button, Option, Tick, QLabel, QPushButton)
        ):
            continue
        if not type(widget).__module__.startswith("clinic_app"):
            continue
        if isinstance(widget, QLabel) and type(widget) in (Words, Sentence) and not widget.text():
            continue
        wide, high = needed(widget)
        if (
            isinstance(widget, Words)
            and not widget.wordWrap()
            and widget.sizePolicy().horizontalPolicy().name == "Ignored"
        ):
            wide = widget.fontMetrics().horizontalAdvance(widget.text())
        if type(widget).__name__ in {"Picture", "HundredDots", "RangeBar", "Effects"}:
            wide = 0
            high = 0 if type(widget).__name__ == "Picture" else widget.sizeHint().height()
        text = getattr(widget, "text", "")
        words = getattr(widget, "words", None) or (text() if callable(text) else text)
        if wide > widget.width() + 1 or high > widget.height() + 1:
            has = f"{widget.width()}x{widget.height()}"
            found.append(f"{type(widget).__name__} {str(words)[:50]!r} needs {wide}x{high}, has {has}")
        parent = widget.parentWidget()
        if parent is not None and not isinstance(widget, Sentence) and words:
            inside = QRect(0, 0, parent.width(), parent.height()).adjusted(-1, -1, 1, 1)
            if not inside.contains(widget.geometry()):
                found.append(f"{type(widget).__name__} {str(words)[:50]!r} stands outside its ground")
    return found


def settled(window: Window) -> list[str]:
    """What is still clipped once everything is placed; geometry follows text by events."""
    for _ in range(20):
        QApplication.processEvents()
        if not (found := clipped(window)):
            return []
    return found


@pytest.fixture(scope="module")
def window(request, qapp, practice_with_model, tmp_path_factory) -> Iterator[Window]:
    qapp.setStyle("Fusion")
    with standing(practice_with_model, tmp_path_factory.mktemp("clip") / "practice", request.param("light")) as made:
        yield made


EVERY_DAY = {Look: (0, 3, 6), LongerLook: (0, 6)}
"""Usual and smallest window and the largest text; the other cases are run with the slow tests."""
WHOLE = [
    pytest.param(kind, case, marks=() if place in EVERY_DAY[kind] else pytest.mark.slow)
    for kind in EVERY_DAY
    for place, case in enumerate(CASES)
]


def case_name(value: object) -> str:
    if isinstance(value, tuple):
        return "{}x{} {} {} %".format(*value)
    return "35 % longer" if value is LongerLook else "our words"


@pytest.mark.parametrize(("window", "case"), WHOLE, indirect=["window"], ids=case_name)
def test_every_page_shows_its_words_whole(window: Window, case: tuple[int, int, str, int]) -> None:
    show_case(window, *case)
    found = [f"{state}: {cut}" for state in states(window) for cut in settled(window)]
    assert not found, "\n".join(found)


def test_a_long_reason_goes_on_to_another_line(qapp, qtbot) -> None:
    effects = Effects(Look("light"))
    qtbot.addWidget(effects)
    effects.show_effects([("Hardness 4", "goes with more", 0.5)])
    one = effects.heightForWidth(150)
    effects.show_effects([("Nucleus hardness 4 (amber to brown), white lens", "goes with more", 0.5)])
    assert effects.heightForWidth(150) > one
    assert effects.heightForWidth(150) >= one + Look("light").metrics(14).height()


def test_whose_eye_it_is_goes_on_to_another_line(qapp, qtbot) -> None:
    head = CaseHead(Look("light"), date(2026, 10, 1))
    qtbot.addWidget(head)
    head.show_row({"patient_id": "P-1", "birth_date": date(1952, 2, 17), "sex": "female"}, "Booked")
    head.resize(330, head.heightForWidth(330))
    head.show()
    qapp.processEvents()
    line = head.born.fontMetrics()
    assert line.horizontalAdvance(head.born.text()) > head.born.width()
    assert head.born.height() >= 2 * line.height()
