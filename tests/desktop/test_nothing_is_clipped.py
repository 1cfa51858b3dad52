"""No label, control or field shows less than its text, at any size and text size we promise."""

from __future__ import annotations

from datetime import date

import pytest
from PySide6.QtCore import QRect
from PySide6.QtWidgets import QApplication, QLabel, QLineEdit, QPushButton, QWidget

from clinic_app.desktop.look import Look
from clinic_app.desktop.pages.case_parts import CaseHead
from clinic_app.desktop.parts.button import Button
from clinic_app.desktop.parts.choice import Option
from clinic_app.desktop.parts.effects import Effects
from clinic_app.desktop.parts.label import Sentence, Words
from clinic_app.desktop.parts.ticks import Tick
from clinic_app.desktop.window import Window

CASES = (
    (1440, 900, "light", 100), (1440, 900, "dark", 100), (1366, 768, "light", 100), (1280, 720, "light", 100),
    (1440, 900, "light", 125), (1440, 900, "light", 150), (1280, 720, "light", 200),
)  # fmt: skip


def needed(widget: QWidget) -> tuple[int, int]:
    """Width and height the widget's words need."""
    if isinstance(widget, Words):
        if widget.wordWrap():
            return 0, widget.heightForWidth(widget.width())
        return widget.sizeHint().width(), widget.fontMetrics().height()
    if isinstance(widget, Sentence):
        return 0, widget.heightForWidth(widget.width()) - 1
    if isinstance(widget, QLineEdit):
        margins = widget.textMargins()
        return widget.fontMetrics().horizontalAdvance(widget.text()) + margins.left() + margins.right(), 0
    hint = widget.sizeHint()
    return hint.width(), hint.height()


def clipped(window: Window) -> list[str]:
    found = []
    for widget in window.findChildren(QWidget):
        if not widget.isVisible() or not isinstance(
            widget, (Words, Sentence, QLineEdit, Button, Option, Tick, QLabel, QPushButton)
        ):
            continue
        if not type(widget).__module__.startswith("clinic_app"):
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
        words = getattr(widget, "words", None) or (widget.text() if hasattr(widget, "text") else "")
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


@pytest.mark.parametrize(("width", "height", "theme", "percent"), CASES)
def test_every_page_shows_its_words_whole(
    opened, shown, qtbot, practice_with_model, width, height, theme, percent
) -> None:
    window = shown(opened(practice_with_model), size=(width, height), theme=theme, percent=percent)
    assert (window.width(), window.height()) == (width, height)
    page = window.bookings
    for level in ("short", "full", "all"):
        page.set_level(level)
        assert settled(window) == []
    page.form.said("cct_um", "54")
    page.form.said("acd_mm", "9")
    page.notice.say("Not booked: Thickness still asks for an answer.")
    assert settled(window) == []
    page.show_eye(page.open_eye, focus=False)
    for eye in page.eyes:
        page.go_to(eye.key)
        assert settled(window) == []
    for place in range(1, 7):
        window.go(place)
        qtbot.waitUntil(lambda: not window.review.drawing(), timeout=60_000)
        assert settled(window) == [], f"page {place}"
    window.go(3)
    window.review.show_view("forecast")
    window.review.toggle_tables()
    qtbot.waitUntil(lambda: not window.review.drawing(), timeout=60_000)
    assert settled(window) == []


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
