"""Where people read from the right: parts compute their places from the left, and they are mirrored here."""

from __future__ import annotations

from typing import TypeVar

from PySide6.QtCore import QRect, QRectF, Qt
from PySide6.QtGui import QPainter
from PySide6.QtWidgets import QStyle, QWidget

Place = TypeVar("Place", QRect, QRectF)


def mirrored(painter: QPainter, box: Place) -> Place:
    """`box` itself, or its mirror image across the middle of what is painted on. What is drawn inside it is not turned:
    letters, eyes and the axes of charts keep their sides."""
    if painter.layoutDirection() != Qt.LayoutDirection.RightToLeft:
        return box
    ground = painter.device()
    if isinstance(ground, QWidget) and not ground.isRightToLeft():
        from_the_left(painter)  # a painter begins in the program's direction, not in the widget's
        return box
    moved = type(box)(box)
    moved.moveLeft(painter.window().width() - box.left() - box.width())
    return moved


def put(widget: QWidget, ground: QWidget, box: QRect) -> None:
    """Place `widget` on `ground` at `box`, or at its mirror image."""
    widget.setGeometry(QStyle.visualRect(ground.layoutDirection(), ground.rect(), box))


def from_the_left(painter: QPainter) -> None:
    """Paint what follows unmirrored, until the painter is restored: an axis runs from left to right everywhere."""
    painter.setLayoutDirection(Qt.LayoutDirection.LeftToRight)
