"""A table of very many cases: numpy columns, one array of places, words made only for the cells in sight.

Sorting and choosing touch numbers alone: a stable sort of one column, a mask over all. No row objects, no proxy model;
a million cases are shown, scrolled and sorted while a person waits for one frame.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PySide6.QtCore import QAbstractTableModel, QModelIndex, QPersistentModelIndex, QRect, QRectF, Qt, Signal
from PySide6.QtGui import QKeyEvent, QPainter
from PySide6.QtWidgets import (
    QAbstractItemView,
    QFrame,
    QHeaderView,
    QStyle,
    QStyledItemDelegate,
    QStyleOptionViewItem,
    QTableView,
)

from clinic_app.desktop.look import MEDIUM, NORMAL, Look
from clinic_app.desktop.mirror import from_the_left
from clinic_app.desktop.parts.answer import announce
from clinic_app.desktop.parts.frame import Bar, draw_ring
from clinic_app.desktop.parts.ordering import stable_order

Index = QModelIndex | QPersistentModelIndex
MEASURED = 60
"""Rows, spread over the whole, whose words set the width of a column."""
WIDEST_LETTER = 12
"""Pixels of the widest letter at 13 pixels; words shorter than that many letters need no measuring."""
LEFT = int(Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter)
RIGHT = int(Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter)
RISING, FALLING = "↑", "↓"
SHOWN, ALIGNED, HEARD = (
    Qt.ItemDataRole.DisplayRole,
    Qt.ItemDataRole.TextAlignmentRole,
    Qt.ItemDataRole.AccessibleTextRole,
)


@dataclass(frozen=True, slots=True)
class Column:
    """One column: heading, a value for each case, and how a value is written.

    `values` [cases]: numbers, days, or codes that index something `words` knows; NaN and NaT stand for no answer and
    come last in either order. `numeric`: written at the right.
    """

    heading: str
    values: NDArray[np.generic]
    words: Callable[[Any], str]
    numeric: bool = True


def numbers(heading: str, values: Sequence[float | None], words: Callable[[Any], str]) -> Column:
    """A column of numbers, None where there is none."""
    return Column(heading, np.array([np.nan if one is None else one for one in values], np.float64), words)


def days(heading: str, values: Sequence[date | None], words: Callable[[date], str]) -> Column:
    """A column of days, None where there is none."""
    return Column(heading, np.array(values, "datetime64[D]"), lambda day: words(day.item()))


def coded(heading: str, words: Sequence[str]) -> Column:
    """A column of texts: as many numbers as there are different texts, in alphabetical order, so that it can be
    sorted."""
    known = sorted(set(words), key=lambda one: (one.casefold(), one))
    place = {text: code for code, text in enumerate(known)}
    codes = np.fromiter((place[text] for text in words), np.int32, len(words))
    return Column(heading, codes, known.__getitem__, numeric=False)


class CaseModel(QAbstractTableModel):
    """The cases as they are chosen and sorted. `shown` [rows] holds the place of each row's case."""

    def __init__(self) -> None:
        super().__init__()
        self.columns: tuple[Column, ...] = ()
        self.shown: NDArray[np.intp] = np.empty(0, np.intp)
        self._sorted: NDArray[np.intp] | None = None
        self._mask: NDArray[np.bool_] | None = None
        self.by: tuple[int, bool] | None = None

    @property
    def cases(self) -> int:
        """How many there are, chosen or not."""
        return len(self.columns[0].values) if self.columns else 0

    def set_columns(self, columns: Sequence[Column]) -> None:
        """Other cases, in their own order, all of them. Columns of unlike length are a ValueError."""
        if len({len(one.values) for one in columns}) > 1:
            raise ValueError("The columns of one table must be equally long.")
        self.columns = tuple(columns)
        self._sorted = self._mask = self.by = None
        self._show()

    def choose(self, mask: NDArray[np.bool_] | None) -> None:
        """Only the cases where `mask` [cases] holds; None for all. The order stays."""
        self._mask = mask
        self._show()

    def sort_by(self, column: int, *, falling: bool = False) -> None:
        """All cases in the order of one column, those alike as they stood before all sorting."""
        self._sorted = stable_order(self.columns[column].values, falling=falling)
        self.by = (column, falling)
        self._show()

    def _show(self) -> None:
        self.beginResetModel()
        if self._sorted is None:
            self.shown = np.arange(self.cases) if self._mask is None else np.flatnonzero(self._mask)
        else:
            self.shown = self._sorted if self._mask is None else self._sorted[self._mask[self._sorted]]
        self.endResetModel()

    def words(self, row: int, column: int) -> str:
        """What stands in a cell."""
        one = self.columns[column]
        value = one.values[self.shown[row]]
        return "" if value != value else one.words(value)  # noqa: PLR0124 - NaN and NaT are unlike themselves

    def rowCount(self, parent: Index | None = None) -> int:
        return 0 if parent is not None and parent.isValid() else len(self.shown)

    def columnCount(self, parent: Index | None = None) -> int:
        return 0 if parent is not None and parent.isValid() else len(self.columns)

    def data(self, index: Index, role: int = SHOWN) -> object:
        if role == SHOWN:
            return self.words(index.row(), index.column())
        if role == ALIGNED:
            return RIGHT if self.columns[index.column()].numeric else LEFT
        if role == HEARD:
            return f"{self.columns[index.column()].heading}: {self.words(index.row(), index.column()) or 'no answer'}"
        return None

    def headerData(self, section: int, orientation: Qt.Orientation, role: int = SHOWN) -> object:
        if orientation != Qt.Orientation.Horizontal or section >= len(self.columns):
            return None
        if role == SHOWN:
            heading = self.columns[section].heading
            if self.by is not None and self.by[0] == section:
                heading += f" {FALLING if self.by[1] else RISING}"
            return heading
        return (RIGHT if self.columns[section].numeric else LEFT) if role == ALIGNED else None


class Heads(QHeaderView):
    """The headings, their words in line with those of the cells."""

    def __init__(self, look: Look) -> None:
        super().__init__(Qt.Orientation.Horizontal)
        self.look = look
        self.setSectionsClickable(True)
        self.setSectionResizeMode(QHeaderView.ResizeMode.Interactive)

    def paintSection(self, painter: QPainter, box: QRect, place: int) -> None:
        look, model = self.look, self.model()
        painter.fillRect(box, look.colour("well"))
        painter.fillRect(box.x(), box.bottom(), box.width(), 1, look.colour("rule"))
        painter.setFont(look.font(12.5, MEDIUM))
        painter.setPen(look.colour("ink"))
        words = str(model.headerData(place, Qt.Orientation.Horizontal, SHOWN))
        side = int(model.headerData(place, Qt.Orientation.Horizontal, ALIGNED))
        painter.drawText(box.adjusted(look.px(8), 0, -look.px(8), 0), side, words)


class CellDelegate(QStyledItemDelegate):
    """Paints a cell by itself: asked once a cell, where Qt's own asks the model seven times."""

    def __init__(self, look: Look, view: CaseList) -> None:
        super().__init__(view)
        self.look, self.view = look, view

    def paint(self, painter: QPainter, option: QStyleOptionViewItem, index: Index) -> None:
        look, cases, place = self.look, self.view.cases, index.column()
        box: QRect = option.rect
        state: QStyle.StateFlag = option.state
        if state & QStyle.StateFlag.State_Selected:
            painter.fillRect(box, look.colour("act_wash"))
            if place == 0:
                edge = QRect(box.x(), box.y(), look.px(4), box.height())
                if self.view.isRightToLeft():
                    edge.moveRight(box.right())
                painter.fillRect(edge, look.colour("act"))
        words = cases.words(index.row(), place)
        room = box.adjusted(look.px(8), 0, -look.px(8), 0)
        if len(words) * look.px(WIDEST_LETTER) > room.width():
            words = look.metrics(13).elidedText(words, Qt.TextElideMode.ElideRight, room.width())
        painter.drawText(room, RIGHT if cases.columns[place].numeric else LEFT, words)
        if state & QStyle.StateFlag.State_HasFocus and self.view.hasFocus():
            painter.save()
            from_the_left(painter)
            draw_ring(painter, look, QRectF(box).adjusted(4, 4, -4, -4), look.px(3))
            painter.restore()


class CaseList(QTableView):
    """Shows the cases. `opened` carries the place of the case that a person goes to (Enter, or two clicks).

    A heading sorts by its column, again the other way round; S does the same for the column in hand.
    """

    opened = Signal(int)

    def __init__(self, look: Look, name: str) -> None:
        super().__init__()
        self.look = look
        self.cases = CaseModel()
        self.setModel(self.cases)
        self.setItemDelegate(CellDelegate(look, self))
        self.setAccessibleName(name)
        self.setFrameShape(QFrame.Shape.NoFrame)
        self.setShowGrid(False)
        self.setWordWrap(False)
        self.setTabKeyNavigation(False)
        self.setCornerButtonEnabled(False)
        self.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
        self.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
        self.setSelectionMode(QAbstractItemView.SelectionMode.SingleSelection)
        self.setVerticalScrollBar(Bar(look))
        self.setHorizontalHeader(Heads(look))
        self.verticalHeader().hide()
        self.verticalHeader().setSectionResizeMode(QHeaderView.ResizeMode.Fixed)
        self.horizontalHeader().sectionClicked.connect(self.sort_by)
        self.activated.connect(self._open)
        look.changed.connect(self.restyle)
        self.restyle()

    def restyle(self) -> None:
        """Take type and sizes from the tokens."""
        self.setFont(self.look.font(13))
        self.horizontalHeader().setFont(self.look.font(12.5, MEDIUM))
        self.verticalHeader().setDefaultSectionSize(self.look.px(26))
        self.horizontalHeader().setMinimumHeight(self.look.px(28))
        self._measure()

    def show_cases(self, columns: Sequence[Column]) -> None:
        """Other cases."""
        self.scrollToTop()
        self.cases.set_columns(columns)
        self._measure()

    def choose(self, mask: NDArray[np.bool_] | None) -> None:
        """Only the cases where the mask holds, in the order they have; None for all."""
        self.scrollToTop()
        self.cases.choose(mask)

    def sort_by(self, column: int) -> None:
        """Sort by a column; by the same one again, the other way round."""
        if not 0 <= column < len(self.cases.columns):
            return
        falling = self.cases.by == (column, False)
        self.scrollToTop()  # a reset far down walks every row
        self.cases.sort_by(column, falling=falling)
        way = "largest first" if falling else "smallest first"
        announce(self, f"Sorted by {self.cases.columns[column].heading}, {way}")

    def place(self) -> int | None:
        """The place of the case in hand."""
        row = self.currentIndex().row()
        return int(self.cases.shown[row]) if 0 <= row < len(self.cases.shown) else None

    def keyPressEvent(self, event: QKeyEvent) -> None:
        if event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter):
            self._open(self.currentIndex())
        elif event.key() == Qt.Key.Key_S and event.modifiers() == Qt.KeyboardModifier.NoModifier:
            self.sort_by(self.currentIndex().column())
        else:
            super().keyPressEvent(event)

    def _open(self, index: QModelIndex) -> None:
        if index.isValid():
            self.opened.emit(int(self.cases.shown[index.row()]))

    def _measure(self) -> None:
        """Columns as wide as their headings and the words of some rows, spread over the whole."""
        head, cell = self.look.metrics(12.5, MEDIUM), self.look.metrics(13, NORMAL)
        rows = np.unique(np.linspace(0, max(0, len(self.cases.shown) - 1), MEASURED).astype(int))
        for place, column in enumerate(self.cases.columns):
            words = [self.cases.words(int(row), place) for row in rows] if len(self.cases.shown) else []
            longest = max((cell.horizontalAdvance(one) for one in words), default=0)
            self.setColumnWidth(
                place, max(longest, head.horizontalAdvance(f"{column.heading} {RISING}")) + self.look.px(20)
            )
