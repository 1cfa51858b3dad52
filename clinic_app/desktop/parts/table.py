"""A plain table of words and numbers: the form of a chart that can be read aloud."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from PySide6.QtCore import QAbstractTableModel, QModelIndex, QPersistentModelIndex, Qt
from PySide6.QtWidgets import QAbstractItemView, QFrame, QHeaderView, QTableView

from clinic_app.desktop.look import MEDIUM, Look
from clinic_app.desktop.parts.frame import Bar

Index = QModelIndex | QPersistentModelIndex


@dataclass(frozen=True, slots=True)
class Sheet:
    """Headings and rows of a table, all in words."""

    headings: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


class SheetModel(QAbstractTableModel):
    """The rows as they are."""

    def __init__(self) -> None:
        super().__init__()
        self.sheet = Sheet((), ())

    def set_sheet(self, sheet: Sheet) -> None:
        """Other rows."""
        self.beginResetModel()
        self.sheet = sheet
        self.endResetModel()

    def rowCount(self, parent: Index | None = None) -> int:
        return 0 if parent is not None and parent.isValid() else len(self.sheet.rows)

    def columnCount(self, parent: Index | None = None) -> int:
        return 0 if parent is not None and parent.isValid() else len(self.sheet.headings)

    def data(self, index: Index, role: int = Qt.ItemDataRole.DisplayRole) -> object:
        if role == Qt.ItemDataRole.DisplayRole:
            return self.sheet.rows[index.row()][index.column()]
        if role == Qt.ItemDataRole.TextAlignmentRole:
            side = Qt.AlignmentFlag.AlignLeft if index.column() == 0 else Qt.AlignmentFlag.AlignRight
            return int(side | Qt.AlignmentFlag.AlignVCenter)
        return None

    def headerData(self, section: int, orientation: Qt.Orientation, role: int = Qt.ItemDataRole.DisplayRole) -> object:
        if role == Qt.ItemDataRole.DisplayRole and orientation == Qt.Orientation.Horizontal:
            return self.sheet.headings[section]
        if role == Qt.ItemDataRole.TextAlignmentRole:
            side = Qt.AlignmentFlag.AlignLeft if section == 0 else Qt.AlignmentFlag.AlignRight
            return int(side | Qt.AlignmentFlag.AlignVCenter)
        return None


class Table(QTableView):
    """Reads a `Sheet`; Tab leaves it, arrows move in it."""

    def __init__(self, look: Look, name: str) -> None:
        super().__init__()
        self.look = look
        self.sheet_model = SheetModel()
        self.setModel(self.sheet_model)
        self.setAccessibleName(name)
        self.setFrameShape(QFrame.Shape.NoFrame)
        self.setShowGrid(False)
        self.setTabKeyNavigation(False)
        self.setCornerButtonEnabled(False)
        self.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
        self.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
        self.setVerticalScrollBar(Bar(look))
        self.verticalHeader().hide()
        self.horizontalHeader().setHighlightSections(False)
        self.horizontalHeader().setSectionResizeMode(QHeaderView.ResizeMode.Stretch)
        look.changed.connect(self.restyle)
        self.restyle()

    def show_sheet(self, sheet: Sheet) -> None:
        """Other rows."""
        self.scrollToTop()
        self.sheet_model.set_sheet(sheet)
        header = self.horizontalHeader()
        for column in range(len(sheet.headings)):
            measured = QHeaderView.ResizeMode.Stretch if column == 0 else QHeaderView.ResizeMode.Interactive
            header.setSectionResizeMode(column, measured)
        self._measure()

    def _measure(self) -> None:
        """Columns as wide as their words; measured once for each sheet, never while scrolling."""
        metrics = self.look.metrics(13, MEDIUM)
        sheet = self.sheet_model.sheet
        for column, heading in enumerate(sheet.headings):
            if column:
                longest = max([metrics.horizontalAdvance(row[column]) for row in sheet.rows] or [0])
                wide = max(longest, metrics.horizontalAdvance(heading)) + self.look.px(26)
                self.setColumnWidth(column, wide)

    def restyle(self) -> None:
        """Take type from the tokens."""
        self.setFont(self.look.font(13))
        self.horizontalHeader().setFont(self.look.font(12.5, MEDIUM))
        self.verticalHeader().setDefaultSectionSize(self.look.px(26))
        self.horizontalHeader().setMinimumHeight(self.look.px(28))
        self._measure()


def sheet_of(headings: Sequence[str], rows: Sequence[Sequence[object]]) -> Sheet:
    """A table of anything that can be written."""
    return Sheet(tuple(headings), tuple(tuple(str(cell) for cell in row) for row in rows))
