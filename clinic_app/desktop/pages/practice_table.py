"""A table of words whose rows can be chosen, and a ledger: such a table with the form of the chosen row below."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from PySide6.QtCore import QModelIndex, QRect, Qt, Signal
from PySide6.QtGui import QFocusEvent, QKeyEvent, QPainter, QPaintEvent, QResizeEvent
from PySide6.QtWidgets import (
    QHeaderView,
    QStyle,
    QStyledItemDelegate,
    QStyleOptionViewItem,
    QTableView,
    QVBoxLayout,
    QWidget,
)

from clinic_app.desktop.look import MEDIUM, Look
from clinic_app.desktop.pages.practice_form import PracticeForm
from clinic_app.desktop.parts.answer import is_enter
from clinic_app.desktop.parts.label import Words, draw_words, elided, text_width
from clinic_app.desktop.parts.table import Index, Sheet, SheetModel, Table

ROWS_SHOWN = 7
ROW, PAD = 30, 8
SHARE = 0.6
"""Of a table's width, what all columns but the wide one may take together."""
MEASURED, WIDEST = 200, 240
"""Rows whose words are measured for a column's width, and how wide a column may become beside the wide one."""


class WordsModel(SheetModel):
    """Rows of words, all from the left."""

    def data(self, index: Index, role: int = Qt.ItemDataRole.DisplayRole) -> object:
        if role == Qt.ItemDataRole.TextAlignmentRole:
            return int(Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter)
        if role == Qt.ItemDataRole.ToolTipRole:
            return super().data(index, Qt.ItemDataRole.DisplayRole)
        return super().data(index, role)

    def headerData(self, section: int, orientation: Qt.Orientation, role: int = Qt.ItemDataRole.DisplayRole) -> object:
        if role == Qt.ItemDataRole.TextAlignmentRole:
            return int(Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter)
        return super().headerData(section, orientation, role)


class Heads(QHeaderView):
    """The headings: plain words over a hairline."""

    def __init__(self, look: Look) -> None:
        super().__init__(Qt.Orientation.Horizontal)
        self.look = look

    def paintSection(self, painter: QPainter, rect: QRect, logical: int) -> None:
        look = self.look
        painter.save()
        painter.fillRect(rect, look.colour("sheet"))
        painter.fillRect(QRect(rect.left(), rect.bottom(), rect.width(), 1), look.colour("edge"))
        words = str(self.model().headerData(logical, Qt.Orientation.Horizontal, Qt.ItemDataRole.DisplayRole))
        inner = rect.adjusted(look.px(PAD), 0, -look.px(2), 0)
        draw_words(painter, look, elided(look, words, inner.width(), 12.5, MEDIUM), inner, size=12.5, weight=MEDIUM,
                   colour="soft")  # fmt: skip
        painter.restore()


class Cells(QStyledItemDelegate):
    """The rows: words over a hairline; the one in hand as in every list."""

    def __init__(self, look: Look, parent: QTableView) -> None:
        super().__init__(parent)
        self.look = look

    def paint(self, painter: QPainter, option: QStyleOptionViewItem, index: Index) -> None:
        look, box = self.look, QRect(option.rect)
        painter.save()
        state: QStyle.StateFlag = option.state
        if state & QStyle.StateFlag.State_Selected:
            painter.fillRect(box, look.colour("act_wash"))
            if index.column() == 0:
                painter.fillRect(QRect(box.left(), box.top(), look.px(4), box.height()), look.colour("act"))
        painter.fillRect(QRect(box.left(), box.bottom(), box.width(), 1), look.colour("rule"))
        inner = box.adjusted(look.px(PAD), 0, -look.px(4), 0)
        words = elided(look, str(index.data() or ""), inner.width(), 13)
        draw_words(painter, look, words, inner, size=13)
        painter.restore()


class WordsTable(Table):
    """`chosen` carries the row a person goes to; `taken` the row on which Enter was pressed.

    `wide` is the column that takes what width the others leave; its words may be cut, and are told whole elsewhere or
    beside the pointer. At most `shown` rows are high; with `fill` it takes the height there is instead.
    `part` is what the other columns may take together of its width.
    """

    chosen = Signal(int)
    taken = Signal(int)

    def __init__(
        self,
        look: Look,
        name: str,
        *,
        wide: int = 1,
        shown: int = ROWS_SHOWN,
        fill: bool = False,
        part: float = SHARE,
    ) -> None:
        super().__init__(look, name)
        self._wide, self._shown, self._fill, self._part, self._still = wide, shown, fill, part, False
        self._natural: dict[int, int] = {}
        self.sheet_model = WordsModel()
        self.setModel(self.sheet_model)
        self.setHorizontalHeader(Heads(look))
        self.horizontalHeader().setHighlightSections(False)
        self.setItemDelegate(Cells(look, self))
        self.setSelectionMode(Table.SelectionMode.SingleSelection)
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.selectionModel().currentChanged.connect(self._moved)
        self.restyle()

    def show_sheet(self, sheet: Sheet) -> None:
        self._still = True
        self.sheet_model.set_sheet(sheet)
        self.scrollToTop()
        self._still = False
        self.restyle()

    def restyle(self) -> None:
        """Take sizes from the tokens; columns as wide as their words, the wide one with the rest."""
        if not hasattr(self, "_wide"):
            return
        look, header = self.look, self.horizontalHeader()
        header.setFixedHeight(look.px(28))
        self.verticalHeader().setDefaultSectionSize(look.px(ROW))
        sheet = self.sheet_model.sheet
        for place in range(len(sheet.headings)):
            rest = place == self._rest
            mode = QHeaderView.ResizeMode.Stretch if rest else QHeaderView.ResizeMode.Interactive
            header.setSectionResizeMode(place, mode)
        self._natural = {
            place: min(self._needed(place), look.px(WIDEST))
            for place in range(len(sheet.headings))
            if place != self._rest
        }
        self._share()
        rows = max(1, min(self._shown, len(sheet.rows)))
        high = look.px(28) + rows * look.px(ROW) + look.px(3)
        if self._fill:
            self.setMinimumHeight(high)
        else:
            self.setFixedHeight(high)

    @property
    def _rest(self) -> int:
        """The column that takes what the others leave."""
        return min(self._wide, len(self.sheet_model.sheet.headings) - 1)

    def _needed(self, place: int) -> int:
        sheet = self.sheet_model.sheet
        most = max((text_width(self.look, row[place], 13) for row in sheet.rows[:MEASURED]), default=0)
        return max(most, text_width(self.look, sheet.headings[place], 12.5, MEDIUM)) + self.look.px(PAD + 14)

    def _share(self) -> None:
        """On a narrow page the columns give way alike, so that the wide one keeps its share."""
        room, wanted = self.viewport().width() * self._part, sum(self._natural.values())
        part = min(1.0, room / wanted) if wanted else 1.0
        for place, wide in self._natural.items():
            self.setColumnWidth(place, int(wide * part))

    def resizeEvent(self, event: QResizeEvent) -> None:
        super().resizeEvent(event)
        self._share()

    def choose(self, row: int) -> None:
        """Show which row is open, without asking for it; -1 for none."""
        self._still = True
        self.setCurrentIndex(self.sheet_model.index(row, 0) if row >= 0 else QModelIndex())
        if row < 0:
            self.clearSelection()
        self._still = False

    @property
    def row(self) -> int:
        """The row that is open, or -1."""
        return self.currentIndex().row()

    def _moved(self, current: QModelIndex) -> None:
        if not self._still and current.isValid():
            self.chosen.emit(current.row())

    def keyPressEvent(self, event: QKeyEvent) -> None:
        if is_enter(event):
            if self.row >= 0:
                self.taken.emit(self.row)
            return
        super().keyPressEvent(event)

    def focusInEvent(self, event: QFocusEvent) -> None:
        super().focusInEvent(event)
        if self.row < 0 and self.sheet_model.rowCount() and event.reason() != Qt.FocusReason.MouseFocusReason:
            self.setCurrentIndex(self.sheet_model.index(0, 0))
        self.viewport().update()

    def focusOutEvent(self, event: QFocusEvent) -> None:
        super().focusOutEvent(event)
        self.viewport().update()

    def paintEvent(self, event: QPaintEvent) -> None:
        super().paintEvent(event)
        if self.hasFocus():
            painter = QPainter(self.viewport())
            painter.setPen(self.look.colour("focus"))
            for inset in range(max(2, self.look.px(2))):
                painter.drawRect(self.viewport().rect().adjusted(inset, inset, -inset - 1, -inset - 1))
            painter.end()


@dataclass(frozen=True, slots=True)
class Entry:
    """One row of a ledger: its name, its cells, and the answers that its form shows."""

    name: str
    cells: tuple[str, ...]
    values: Mapping[str, object]


class Ledger(QWidget):
    """Entries in a table and the form of the one in hand. `wished` carries the name a person goes to (empty: a new
    one); whoever holds the ledger decides whether it opens."""

    wished = Signal(str)

    def __init__(self, look: Look, name: str, headings: Sequence[str], form: PracticeForm, *, empty: str) -> None:
        super().__init__()
        self.look, self.form = look, form
        self.headings = tuple(headings)
        self.entries: list[Entry] = []
        self.open_name = ""
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(look.px(6))
        self.empty = Words(look, empty, size=13, colour="soft", wrap=True)
        self.empty.setContentsMargins(look.px(16), 0, look.px(16), 0)
        self.table = WordsTable(look, name)
        self.table.setObjectName("entries")
        self.inset = QWidget()
        inner = QVBoxLayout(self.inset)
        inner.setContentsMargins(look.px(14), 0, look.px(14), 0)
        inner.addWidget(self.table)
        for widget in (self.empty, self.inset, self.form):
            column.addWidget(widget)
        self.table.chosen.connect(self._go)
        self.table.taken.connect(lambda _: self.form.first())
        self.show_entries([])

    def show_entries(self, entries: Sequence[Entry]) -> None:
        """Other rows; the one in hand stays in hand where it still is."""
        self.entries = list(entries)
        self.table.show_sheet(Sheet(self.headings, tuple(one.cells for one in self.entries)))
        self.empty.setVisible(not self.entries)
        self.inset.setVisible(bool(self.entries))
        self.table.choose(self._place(self.open_name))

    def _place(self, name: str) -> int:
        return next((place for place, one in enumerate(self.entries) if one.name == name), -1)

    def open(self, name: str) -> None:
        """Show an entry in the form; an empty name begins a new one."""
        place = self._place(name)
        self.open_name = name if place >= 0 else ""
        self.form.show_values(self.entries[place].values if place >= 0 else {})
        self.table.choose(place)

    def _go(self, row: int) -> None:
        name = self.entries[row].name
        if name != self.open_name:
            self.wished.emit(name)

    def stay(self) -> None:
        """The entry in hand stays: the table shows it again."""
        self.table.choose(self._place(self.open_name))
