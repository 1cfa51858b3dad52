"""A row that wraps: as many as fit beside one another, the rest below."""

from __future__ import annotations

import math

from PySide6.QtCore import QPoint, QRect, QSize, Qt
from PySide6.QtWidgets import QLayout, QLayoutItem, QStyle, QWidget

from clinic_app.desktop.look import Look


class FlowLayout(QLayout):
    """Items side by side, wrapping; with `columns`, in equal columns, fewer when the widest would not fit."""

    def __init__(self, look: Look, parent: QWidget | None = None, *, gap: int = 0, columns: int = 0) -> None:
        super().__init__(parent) if parent is not None else super().__init__()
        self.look, self._gap, self._columns = look, gap, columns
        self._items: list[QLayoutItem] = []
        self.setContentsMargins(0, 0, 0, 0)

    def addItem(self, item: QLayoutItem) -> None:
        self._items.append(item)

    def count(self) -> int:
        return len(self._items)

    def itemAt(self, index: int) -> QLayoutItem | None:
        return self._items[index] if 0 <= index < len(self._items) else None

    def takeAt(self, index: int) -> QLayoutItem | None:
        return self._items.pop(index) if 0 <= index < len(self._items) else None

    def expandingDirections(self) -> Qt.Orientation:
        return Qt.Orientation(0)

    def hasHeightForWidth(self) -> bool:
        return True

    def heightForWidth(self, width: int) -> int:
        return self._place(QRect(0, 0, width, 0), move=False)

    def setGeometry(self, box: QRect) -> None:
        super().setGeometry(box)
        self._place(box, move=True)

    def sizeHint(self) -> QSize:
        sizes = [item.sizeHint() for item in self._shown()]
        if not sizes:
            return QSize(0, 0)
        gap = self.look.px(self._gap)
        if self._columns:
            across = min(self._columns, len(sizes))
            width = across * max(one.width() for one in sizes) + gap * (across - 1)
            return QSize(width, self.heightForWidth(width))
        return QSize(sum(one.width() for one in sizes) + gap * (len(sizes) - 1), max(one.height() for one in sizes))

    def minimumSize(self) -> QSize:
        sizes = [item.minimumSize().expandedTo(item.sizeHint()) for item in self._shown()]
        if not sizes:
            return QSize(0, 0)
        return QSize(max(one.width() for one in sizes), max(one.height() for one in sizes))

    def _direction(self) -> Qt.LayoutDirection:
        """Which way people read."""
        ground = self.parentWidget()
        return Qt.LayoutDirection.LeftToRight if ground is None else ground.layoutDirection()

    def _shown(self) -> list[QLayoutItem]:
        return [item for item in self._items if not item.isEmpty()]

    def _place(self, box: QRect, *, move: bool) -> int:
        shown, gap = self._shown(), self.look.px(self._gap)
        if not shown:
            return 0
        cell = 0
        if self._columns:
            widest = max(item.sizeHint().width() for item in shown)
            across = max(1, min(self._columns, (box.width() + gap) // max(1, widest + gap)))
            across = math.ceil(len(shown) / math.ceil(len(shown) / across))  # no row with one left over
            cell = (box.width() - gap * (across - 1)) // across
        left, top, deep = box.x(), box.y(), 0
        for item in shown:
            size = item.sizeHint()
            width = cell or min(size.width(), box.width())
            if left > box.x() and left + width > box.x() + box.width():
                left, top, deep = box.x(), top + deep + gap, 0
            height = item.heightForWidth(width) if item.hasHeightForWidth() else size.height()
            if move:
                place = QRect(QPoint(left, top), QSize(width, height))
                item.setGeometry(QStyle.visualRect(self._direction(), box, place))
            left += width + gap
            deep = max(deep, height)
        return top + deep - box.y()
