"""What stands beside the sheet: the plan, the booking forecast, and what is usual here for such a nucleus."""

from __future__ import annotations

from collections.abc import Mapping

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import QGridLayout, QHBoxLayout, QVBoxLayout, QWidget

from clinic_app.desktop.look import MEDIUM, STRONG, Look
from clinic_app.desktop.pages.figures_view import coloured, planning_words, write
from clinic_app.desktop.parts.answer import announce
from clinic_app.desktop.parts.button import Button
from clinic_app.desktop.parts.frame import Card
from clinic_app.desktop.parts.gauges import RangeBar
from clinic_app.desktop.parts.label import Sentence, Words
from clinic_app.desktop.parts.lines import Icon
from clinic_app.desktop.parts.sealed import SealedBlock
from clinic_app.desktop.words import day_words
from clinic_app.domain.plans import PlanState
from clinic_app.domain.record import Row, Value
from clinic_app.domain.seal import Secret
from clinic_app.domain.theatre_plan import step_words
from clinic_app.services.theatre import Beside, BookingNumber, Sheet
from models.codebook import BY_NAME

SEALED_WORDS = "You also grade on day one. What was planned and forecast for this eye opens when its grade is locked."
END_WORDS = "The end-of-case forecast is worked out when you sign, then sealed until the day-one grade is locked."
SIGNED_WORDS = "The end-of-case forecast is sealed until the day-one grade is locked."
NO_MODEL = "There is no end-of-case model yet, so no forecast follows the sheet."
UNREAD_MODEL = "The end-of-case model cannot be read, so no forecast follows the sheet."
NEW_MACHINE = "Machine {name} is new to the model: no end-of-case forecast is made. The booking forecast stays."
COVERED = "Plan and forecast are covered two minutes after signing."
USUAL_WORDS = "Usual: 8 of 10 of our own eyes with such a nucleus. Never compared across machines."


class PlanPanel(Card):
    """The planned steps, each with what the sheet says of it. `confirmed` is raised when the surgeon confirms."""

    confirmed = Signal()

    def __init__(self, look: Look) -> None:
        super().__init__(look, margins=(18, 10, 14, 10), spacing=3)
        head = QHBoxLayout()
        head.setSpacing(look.px(10))
        head.addWidget(Icon(look, "flag", side=18))
        head.addWidget(Words(look, "Planned for this eye", size=15, weight=STRONG, wrap=True), 1)
        self.column.addLayout(head)
        self.by = Words(look, "", size=12.5, colour="soft", wrap=True)
        self.column.addWidget(self.by)
        self.grid = QGridLayout()
        self.grid.setColumnStretch(0, 1)
        self.column.addLayout(self.grid)
        self.confirm = Button(look, "Confirm the plan")
        self.confirm.setObjectName("plan.confirm")
        self.confirm.clicked.connect(self.confirmed)
        self.column.addWidget(self.confirm)
        self._rows: dict[str, Words] = {}

    def show_plan(self, steps: tuple[str, ...], planned: PlanState, *, may_confirm: bool) -> None:
        """Show these steps, and who stands behind them."""
        while self.grid.count():
            item = self.grid.takeAt(0)
            widget = item.widget() if item is not None else None
            if widget is not None:
                widget.hide()
                widget.deleteLater()
        self._rows.clear()
        words = []
        if planned.proposed_by:
            at = f", {day_words(planned.proposed_at.date())}" if planned.proposed_at else ""
            words.append(f"by {planned.proposed_by}{at}, when booking")
        if planned.confirmed_by:
            words.append(f"confirmed by {planned.confirmed_by}")
        self.by.setText("; ".join(words) if steps else "No steps were planned.")
        for place, code in enumerate(steps):
            name = Words(self.look, BY_NAME["protection_plan"].choice_label(code), weight=MEDIUM)
            said = Words(self.look, "", size=12.5, colour="soft", wrap=True)
            said.setAlignment(Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter)
            self.grid.addWidget(name, place, 0)
            self.grid.addWidget(said, place, 1)
            self._rows[code] = said
        self.grid.setColumnStretch(1, 1)
        self.confirm.setVisible(bool(steps) and may_confirm and not planned.confirmed_by)

    def follow(self, row: Row, proposed: Mapping[str, Value]) -> None:
        """Say what the sheet says of each step."""
        for code, said in self._rows.items():
            said.setText(step_words(code, row, proposed))


class NumberCard(Card):
    """The booking forecast as it was made: sentence, range, planning line; and what becomes of the other one."""

    def __init__(self, look: Look) -> None:
        super().__init__(look, margins=(18, 10, 14, 10), spacing=4)
        self.column.addWidget(Words(look, "Booking forecast", size=14, weight=STRONG))
        self.sentence = Sentence(look, size=15)
        self.bar = RangeBar(look)
        self.planning = Words(look, "", size=13, weight=MEDIUM, wrap=True)
        self.end = Words(look, END_WORDS, size=12.5, colour="soft", wrap=True)
        for part in (self.sentence, self.bar, self.planning, self.end):
            self.column.addWidget(part)

    def show_number(self, number: BookingNumber) -> None:
        """Show it, or in words why there is none."""
        self.sentence.set_runs(coloured(number.sentence, "forecast", MEDIUM))
        told = number.risk is not None and number.low is not None and number.high is not None
        self.bar.setVisible(told)
        words = ""
        if number.risk is not None and number.low is not None and number.high is not None:
            self.bar.show_chance(number.low, number.risk, number.high, number.our_average, number.planning_line)
            words = planning_words(number.low, number.high, number.planning_line)
        write(self.planning, words)
        self.setAccessibleName(f"Booking forecast. {number.sentence}")

    def say_end(self, sheet: Sheet, machine: object) -> None:
        """What becomes of the end-of-case forecast; a machine that the model never saw is said at once."""
        words = SIGNED_WORDS if sheet.signed else END_WORDS
        unseen = machine is not None and sheet.seen_machines is not None and machine not in sheet.seen_machines
        if not sheet.end_model:
            words = NO_MODEL
        elif sheet.end_unread:
            words = UNREAD_MODEL
        elif unseen:
            words = NEW_MACHINE.format(name=machine)
        if words != self.end.text():
            self.end.setText(words)
            if unseen:
                announce(self, words)


class BesideCard(Card):
    """Readings of this case next to our usual."""

    def __init__(self, look: Look) -> None:
        super().__init__(look, margins=(18, 10, 14, 10), spacing=3)
        self.column.addWidget(Words(look, "Next to our usual", size=14, weight=STRONG))
        self.about = Words(look, "", size=12.5, colour="soft", wrap=True)
        self.column.addWidget(self.about)
        self.rows = QVBoxLayout()
        self.rows.setSpacing(look.px(4))
        self.column.addLayout(self.rows)
        self.why = Words(look, "", size=13, wrap=True)
        self.foot = Words(look, USUAL_WORDS, size=12, colour="faint", wrap=True)
        for part in (self.why, self.foot):
            self.column.addWidget(part)
        self._shown: list[tuple[Words, Words]] = []

    def show_beside(self, beside: Beside) -> None:
        """Show each reading with its usual range; what is too few is said with its count."""
        write(self.about, beside.about)
        while len(self._shown) < len(beside.rows):
            upper = Words(self.look, "", weight=MEDIUM, wrap=True)
            lower = Words(self.look, "", size=12.5, colour="soft", wrap=True)
            self.rows.addWidget(upper)
            self.rows.addWidget(lower)
            self._shown.append((upper, lower))
        for place, (upper, lower) in enumerate(self._shown):
            one = beside.rows[place] if place < len(beside.rows) else None
            write(upper, "" if one is None else f"{one.label}  {one.value}".strip())
            write(lower, "" if one is None else one.usual)
            if one is not None:
                upper.setAccessibleName(one.words)
        write(self.why, beside.why)
        self.foot.setVisible(bool(beside.rows))


class TheatrePanels(QWidget):
    """The column at the right. What is sealed for the person, or covered, stands as a block in its place.

    `anyway`: the person wants to see what is sealed. `uncovered`: what was covered is wanted again.
    """

    anyway = Signal()
    uncovered = Signal()

    def __init__(self, look: Look) -> None:
        super().__init__()
        self.look = look
        self.rows = QVBoxLayout(self)
        self.rows.setContentsMargins(0, 0, 0, 0)
        self.rows.setSpacing(look.px(8))
        self.plan = PlanPanel(look)
        self.number = NumberCard(look)
        self.beside = BesideCard(look)
        self.sealed = SealedBlock(look, title="Plan and forecast sealed", words=SEALED_WORDS, anyway=True)
        self.cover = Card(look, margins=(18, 12, 14, 12), spacing=8)
        self.cover.column.addWidget(Words(look, COVERED, colour="soft", wrap=True))
        self.show_again = Button(look, "Show again")
        self.show_again.setObjectName("uncover")
        self.cover.column.addWidget(self.show_again)
        for part in (self.plan, self.number, self.sealed, self.cover, self.beside):
            self.rows.addWidget(part)
        self.rows.addStretch(1)
        self.sealed.wished.connect(self.anyway)
        self.show_again.clicked.connect(self.uncovered)
        self._sheet: Sheet | None = None
        self.covered = False
        self.show_sheet(None, may_confirm=False)

    def show_sheet(self, sheet: Sheet | None, *, may_confirm: bool) -> None:
        """Show what belongs to an open sheet; nothing without one."""
        self._sheet, self.covered = sheet, False
        if sheet is not None:
            self.plan.show_plan(sheet.plan, sheet.planned, may_confirm=may_confirm)
            if sheet.forecast is not None:
                self.number.show_number(sheet.forecast)
        self._settle()

    def set_covered(self, covered: bool) -> None:
        """Cover plan and forecast, or show them again."""
        self.covered = covered
        self._settle()

    def _settle(self) -> None:
        sheet = self._sheet
        there = sheet is not None
        shut = sheet is not None and Secret.PLAN in sheet.hidden
        self.plan.setVisible(there and not shut and not self.covered)
        self.number.setVisible(there and not shut and not self.covered)
        self.sealed.setVisible(shut)
        self.cover.setVisible(there and not shut and self.covered)
        self.beside.setVisible(there and not shut and not self.covered)
