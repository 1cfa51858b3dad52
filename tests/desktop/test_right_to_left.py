"""Where people read from the right the layout is mirrored; the drawing of the eyes and the axes of charts are not."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date

import pytest
from PySide6.QtCore import QPoint, Qt
from PySide6.QtGui import QImage
from PySide6.QtWidgets import QApplication, QScrollBar, QWidget

from clinic_app.desktop.look import Look
from clinic_app.desktop.parts.button import Button
from clinic_app.desktop.parts.effects import Effects
from clinic_app.desktop.parts.eye_question import Expected, EyeQuestion
from clinic_app.desktop.parts.gauges import HundredDots, RangeBar
from clinic_app.desktop.parts.plate import EyePlate, eyes_width
from clinic_app.desktop.window import Window
from tests.desktop.acceptance import ours, said, standing, states
from tests.desktop.test_nothing_is_clipped import settled

RIGHT = Qt.LayoutDirection.RightToLeft
LEFT = Qt.LayoutDirection.LeftToRight
SLACK = 16
"""Pixels; margins that are unlike at the two sides stay where they are."""


@pytest.fixture(scope="module")
def window(qapp, practice_with_model, tmp_path_factory) -> Iterator[Window]:
    qapp.setStyle("Fusion")
    with standing(practice_with_model, tmp_path_factory.mktemp("rtl") / "practice", Look("light")) as made:
        yield made
    qapp.setLayoutDirection(LEFT)


def places(window: Window) -> dict[QWidget, tuple[int, int, int, int]]:
    """Where each visible widget of ours stands in the window."""
    found = {}
    for widget in ours(window):
        corner = widget.mapTo(window, QPoint(0, 0))
        found[widget] = (corner.x(), corner.y(), widget.width(), widget.height())
    return found


def turned_alone(widget: QWidget) -> bool:
    """Whether the widget stands in ground that keeps its direction, as the two eyes do."""
    return any(one.testAttribute(Qt.WidgetAttribute.WA_SetLayoutDirection) for one in iter_up(widget))


def iter_up(widget: QWidget | None) -> Iterator[QWidget]:
    while widget is not None:
        yield widget
        widget = widget.parentWidget()


def pictured(qapp: QApplication, part: QWidget, direction: Qt.LayoutDirection, size: tuple[int, int]) -> QImage:
    qapp.setLayoutDirection(direction)
    part.resize(*size)
    image = part.grab().toImage()
    qapp.setLayoutDirection(LEFT)
    return image


@pytest.mark.parametrize("side", ["R", "L"])
def test_the_eyes_keep_their_sides(qapp, qtbot, side: str) -> None:
    look = Look("light")
    plate = EyePlate(look, side)
    qtbot.addWidget(plate)
    hint = plate.sizeHint()
    usual = pictured(qapp, plate, LEFT, (hint.width(), hint.height()))
    turned = pictured(qapp, plate, RIGHT, (hint.width(), hint.height()))
    wide, high, left = eyes_width(look, 24), look.px(24), look.px(14)
    top = (hint.height() - high) // 2
    moved = hint.width() - left - wide
    assert turned.copy(moved, top, wide, high) == usual.copy(left, top, wide, high)
    assert turned.copy(left, top, wide, high) != usual.copy(left, top, wide, high)


def test_the_axis_of_a_chance_runs_from_left_to_right(qapp, qtbot) -> None:
    bar = RangeBar(Look("light"))
    qtbot.addWidget(bar)
    bar.show_chance(6, 12, 21, 9, 15)
    assert pictured(qapp, bar, RIGHT, (300, 80)) == pictured(qapp, bar, LEFT, (300, 80))
    dots = HundredDots(Look("light"))
    qtbot.addWidget(dots)
    dots.show_chance(6, 12, 21)
    assert pictured(qapp, dots, RIGHT, (340, 82)) == pictured(qapp, dots, LEFT, (340, 82))


def ink(image: QImage, left: int, right: int) -> int:
    """How many dots between two columns are not the ground."""
    ground = image.pixelColor(0, 0)
    return sum(image.pixelColor(x, y) != ground for x in range(left, right) for y in range(image.height()))


def test_painted_words_change_sides_and_bars_keep_their_direction(qapp, qtbot) -> None:
    effects = Effects(Look("light"))
    qtbot.addWidget(effects)
    effects.show_effects([("Nucleus 4", "goes with more", 1.2)])
    usual = pictured(qapp, effects, LEFT, (460, 21))
    turned = pictured(qapp, effects, RIGHT, (460, 21))
    assert ink(usual, 0, 60) > 50
    assert ink(turned, 400, 460) > 50
    # the bar of "more" grows to the right of its middle in both: half of its 48 pixels
    assert ink(usual, 437, 460) > 4 * ink(usual, 412, 435)
    assert ink(turned, 25, 48) > 4 * ink(turned, 0, 23)
    button = Button(Look("light"), "New eye", icon="plus", hint="Ctrl+N")
    qtbot.addWidget(button)
    hint = button.sizeHint()
    usual = pictured(qapp, button, LEFT, (hint.width(), hint.height()))
    turned = pictured(qapp, button, RIGHT, (hint.width(), hint.height()))
    assert usual != turned
    assert usual.copy(15, 12, 16, 16) == turned.copy(hint.width() - 15 - 16, 12, 16, 16)  # the plus, at its own end


def test_which_eye_is_pressed_stands_as_one_faces_the_patient(qapp, qtbot) -> None:
    question = EyeQuestion(Look("light"), Expected("R", date(1953, 1, 17)))
    qtbot.addWidget(question)
    qapp.setLayoutDirection(RIGHT)
    question.resize(700, 400)
    question.show()
    QApplication.processEvents()
    order = question.buttons["R"].x() < question.buttons["L"].x()
    qapp.setLayoutDirection(LEFT)
    assert order


def test_every_page_is_mirrored_and_nothing_is_cut(window: Window, qapp: QApplication) -> None:
    usual: dict[str, dict[QWidget, tuple[int, int, int, int]]] = {}
    for _ in range(2):  # a page that has been shown may stand otherwise than at its first opening
        usual = {state: places(window) for state in states(window, more=False)}
    faults, seen = [], 0
    qapp.setLayoutDirection(RIGHT)
    window.look.changed.emit()
    for state in states(window, more=False):
        faults += [f"{state}: {cut}" for cut in settled(window)]
        turned = places(window)
        for widget, (x, y, wide, high) in usual[state].items():
            if widget not in turned or isinstance(widget, QScrollBar) or turned_alone(widget):
                continue
            seen += 1
            mirrored = (window.width() - x - wide, y, wide, high)
            if max(abs(a - b) for a, b in zip(turned[widget], mirrored, strict=True)) > SLACK:
                faults.append(f"{state}: {said(widget)} stands at {turned[widget]}, its mirror image is {mirrored}")
    assert not faults, "\n".join(faults[:40])
    assert seen > 200
