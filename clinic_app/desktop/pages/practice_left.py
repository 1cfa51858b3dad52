"""The rows that an import left out: what is against each, corrected cell by cell and brought in again."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import QHBoxLayout, QVBoxLayout, QWidget

from clinic_app.desktop.look import Look
from clinic_app.desktop.pages.practice_table import WordsTable
from clinic_app.desktop.parts.answer import announce
from clinic_app.desktop.parts.button import Button
from clinic_app.desktop.parts.entry import Box
from clinic_app.desktop.parts.flow import FlowLayout
from clinic_app.desktop.parts.label import Words
from clinic_app.desktop.parts.picker import Picker
from clinic_app.desktop.parts.table import Sheet
from clinic_app.services.intake import LeftRow, Problem, confirmed, corrected

Place = tuple[LeftRow, Problem]


class LeftRows(QWidget):
    """`again` carries the rows, as corrected, that are to be imported again."""

    again = Signal(object)

    def __init__(self, look: Look) -> None:
        super().__init__()
        self.look = look
        self.rows: list[LeftRow] = []
        self.places: list[tuple[int, Problem]] = []
        self.changed: set[int] = set()
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(look.px(6))
        self.table = WordsTable(look, "Rows left out", wide=3, shown=8)
        self.table.setObjectName("left")
        self.why = Words(look, "", size=13, wrap=True)
        self.box = Box(look)
        self.box.setObjectName("cell")
        self.box.setAccessibleName("The cell's text")
        self.look_only = False
        self.acts_ground = QWidget()
        self.acts = FlowLayout(look, self.acts_ground, gap=6)
        self.cell = Picker(look, "Cell", [("", "none")])
        self.one = Button(look, "Import this row again", hint="Enter")
        self.one.setObjectName("again")
        self.right = Button(look, "Right as it stands")
        self.right.setObjectName("right")
        self.all = Button(look, "Import all corrected rows")
        self.all.setObjectName("again_all")
        for button in (self.one, self.right, self.all):
            self.acts.addWidget(button)
        self.hand = QHBoxLayout()
        self.hand.setSpacing(look.px(4))
        self.hand.addWidget(self.cell)
        self.hand.addWidget(self.box, 1)
        self.why.setContentsMargins(look.px(3), 0, 0, 0)
        column.addWidget(self.table)
        column.addWidget(self.why)
        column.addLayout(self.hand)
        column.addWidget(self.acts_ground)
        self.table.chosen.connect(lambda _: self._show_place())
        self.table.taken.connect(lambda _: None if self.look_only else self.box.setFocus(Qt.FocusReason.TabFocusReason))
        self.box.entered.connect(self.import_one)
        self.box.gone.connect(self.take)
        self.one.clicked.connect(self.import_one)
        self.right.clicked.connect(self.confirm)
        self.all.clicked.connect(self.import_all)
        self.hide()

    def show_rows(self, rows: Sequence[LeftRow], *, look_only: bool = False) -> None:
        """The rows that are out; none hides the whole. `look_only`: nothing was imported, so nothing is corrected."""
        at = self.table.row
        self.look_only = look_only
        for widget in (self.cell, self.box, self.acts_ground):
            widget.setVisible(not look_only)
        self.rows, self.changed = list(rows), set()
        self.places = [(place, one) for place, row in enumerate(self.rows) for one in row.problems]
        self._show_table()
        self.setVisible(bool(self.rows))
        if self.places:
            self.table.choose(max(0, min(at, len(self.places) - 1)))
            self._show_place()

    def _show_table(self) -> None:
        cells = tuple(
            (f"{self.rows[place].file}, {one.row}", one.column or "the row", self._text(place, one), one.reason)
            for place, one in self.places
        )
        held = self.table.row
        self.table.show_sheet(Sheet(("Row", "Column", "Typed", "Why it is left out"), cells))
        self.table.choose(held)

    def _text(self, place: int, problem: Problem) -> str:
        return self.rows[place].cells.get(problem.column, problem.typed)

    @property
    def place(self) -> tuple[int, Problem] | None:
        """Which row, and which of the things against it, is in hand."""
        return self.places[self.table.row] if 0 <= self.table.row < len(self.places) else None

    def _show_place(self) -> None:
        held = self.place
        if held is None:
            return
        at, problem = held
        row = self.rows[at]
        self.why.setText(problem.reason)
        if self.look_only:
            return
        self._show_cells(row, problem.column if problem.column in row.cells else next(iter(row.cells), ""))
        self.right.setVisible(bool(problem.confirm))
        self._enable()

    def _show_cells(self, row: LeftRow, heading: str) -> None:
        self.hand.removeWidget(self.cell)
        self.cell.hide()
        self.cell.deleteLater()
        headings = [(name, name) for name in row.cells] or [("", "none")]
        self.cell = Picker(self.look, "Cell", headings)
        self.cell.setObjectName("which_cell")
        self.cell.choose(heading)
        self.cell.picked.connect(self._show_cell)
        self.hand.insertWidget(0, self.cell)
        QWidget.setTabOrder(self.table, self.cell)
        QWidget.setTabOrder(self.cell, self.box)
        self._show_cell(heading)

    def _show_cell(self, heading: str) -> None:
        held = self.place
        if held is None:
            return
        row = self.rows[held[0]]
        self.box.setText(row.cells.get(heading, ""))
        self.box.setAccessibleName(f"Row {row.row}, {heading}")

    def _enable(self) -> None:
        self.all.setVisible(len(self.changed) > 1)
        self.all.set_words(f"Import the {len(self.changed)} corrected rows")

    # --- correcting --------------------------------------------------------------------------------------------------

    def take(self) -> None:
        """Put the text in hand into its row."""
        held = self.place
        if held is None or self.look_only:
            return
        at, heading, text = held[0], self.cell.code, self.box.text()
        if self.rows[at].cells.get(heading, "") != text:
            self.rows[at] = corrected(self.rows[at], heading, text)
            self.changed.add(at)
            self._show_table()
            self._enable()

    def confirm(self) -> None:
        """The cell in hand is right as it stands; its row is imported again with this person's word."""
        held = self.place
        if held is None:
            return
        at, problem = held
        self.rows[at] = confirmed(self.rows[at], problem)
        self.changed.add(at)
        rest = [one for one in self.rows[at].problems if one is not problem and one.confirm]
        if rest and self.table.row + 1 < len(self.places) and self.places[self.table.row + 1][0] == at:
            self.table.choose(self.table.row + 1)
            self._show_place()
            announce(self, "Confirmed. The same row asks once more.")
            return
        self.again.emit([self.rows[at]])

    def import_one(self) -> None:
        """Import the row in hand again, as it stands now."""
        self.take()
        if self.place is not None:
            self.again.emit([self.rows[self.place[0]]])

    def import_all(self) -> None:
        """Import every row that was corrected."""
        self.take()
        self.again.emit([self.rows[at] for at in sorted(self.changed)])

    def dirty(self) -> bool:
        """Whether a row was corrected and not imported again."""
        return bool(self.changed)

    def came_back(self, sent: Sequence[LeftRow], left: Sequence[LeftRow]) -> None:
        """What became of rows sent in again: those that went in go, the others stand with what is against them now."""
        gone = {(one.file, one.row) for one in sent}
        back = {(one.file, one.row): one for one in left}
        kept = [back.get((one.file, one.row), one) for one in self.rows]
        self.show_rows([one for one in kept if (one.file, one.row) not in gone or (one.file, one.row) in back])
