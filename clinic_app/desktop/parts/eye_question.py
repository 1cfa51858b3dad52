"""The question before a sheet opens: whose birthday, then which eye. What is booked stays hidden meanwhile."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from PySide6.QtCore import QRectF, QSize, Qt, Signal
from PySide6.QtGui import QKeyEvent, QPainter, QPaintEvent
from PySide6.QtWidgets import QPushButton, QSizePolicy, QWidget

from clinic_app.desktop.look import BOLD, MEDIUM, STRONG, Look
from clinic_app.desktop.parts.answer import announce
from clinic_app.desktop.parts.button import Button
from clinic_app.desktop.parts.entry import Box
from clinic_app.desktop.parts.flow import FlowLayout
from clinic_app.desktop.parts.frame import Card, draw_ring, rounded
from clinic_app.desktop.parts.label import Words, draw_words, text_width
from clinic_app.desktop.parts.lines import HaltPanel, RefusalLine
from clinic_app.desktop.parts.plate import SIDES, draw_eyes, eyes_width
from clinic_app.domain.birth_days import born_that_day

BIRTHDAY = "birth_day"
THEATRE, DAY_ONE = "theatre", "day_one"
ASKED = {THEATRE: "Which eye is on the table?", DAY_ONE: "Which eye are you examining?"}
NO_PAUSE = "This question replaces no surgical pause: consent, mark and patient are checked as your team does it."
GO_BACK = {THEATRE: "Go back; check consent, mark and patient", DAY_ONE: "Go back"}
KEYS = {Qt.Key.Key_R: "R", Qt.Key.Key_L: "L"}


@dataclass(frozen=True, slots=True)
class Expected:
    """What the booking says: the eye, the patient's birth date (None where none is recorded: the number is asked then)
    and number, the order of days in digits, and whether the patient's other eye is on the same list."""

    side: str
    born: date | None
    patient_id: str = ""
    order: str = "dmy"
    pair: bool = False


class SideButton(QPushButton):
    """One eye to press: letter, word and the drawing with that eye filled."""

    def __init__(self, look: Look, side: str) -> None:
        super().__init__(f"{SIDES[side]} eye")
        self.look, self.side = look, side
        self.setObjectName(f"side.{side}")
        self.setAccessibleName(f"{SIDES[side]} eye, key {side}")
        self.setAutoDefault(False)
        self.setSizePolicy(QSizePolicy.Policy.Fixed, QSizePolicy.Policy.Fixed)
        look.changed.connect(self.updateGeometry)

    def sizeHint(self) -> QSize:
        px = self.look.px
        words = max(text_width(self.look, f"{word} eye", 18, BOLD) for word in SIDES.values())
        return QSize(px(18 + 16) + eyes_width(self.look, 22) + px(14) + words + px(20), px(64))

    def minimumSizeHint(self) -> QSize:
        return self.sizeHint()

    def keyPressEvent(self, event: QKeyEvent) -> None:
        if event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter):
            self.click()
            return
        super().keyPressEvent(event)

    def paintEvent(self, event: QPaintEvent) -> None:
        look, px = self.look, self.look.px
        painter = QPainter(self)
        box = QRectF(self.rect()).adjusted(px(3), px(3), -px(3), -px(3))
        alive = self.isEnabled()
        ground = look.colour("act_wash" if alive and (self.underMouse() or self.isDown()) else "sheet")
        rounded(painter, box, px(6), fill=ground, line=look.colour("edge" if alive else "rule"), width=1.4)
        inner = box.toRect().adjusted(px(14), 0, -px(10), 0)
        draw_words(painter, look, self.side, inner, size=13, weight=MEDIUM, colour="soft" if alive else "faint")
        inner.setLeft(inner.left() + px(20))
        wide, high = eyes_width(look, 22), px(22)
        drawing = QRectF(inner.left(), box.center().y() - high / 2, wide, high)
        ink = look.colour("ink" if alive else "faint")
        draw_eyes(painter, look, drawing, self.side, ink=ink, ground=ground)
        inner.setLeft(inner.left() + wide + px(14))
        words = f"{SIDES[self.side]} eye"
        draw_words(painter, look, words, inner, size=18, weight=BOLD, colour="ink" if alive else "faint")
        if self.hasFocus():
            draw_ring(painter, look, box, px(6))
        painter.end()


class EyeQuestion(Card):
    """Asks day and month of birth (or a scan of the wristband), then R or L, and compares with the booking.

    `opened` carries the side when both fit. `wrong` carries what did not: `R` or `L` pressed against the booking, or
    `birth_day`; a halt stands then and nothing has been opened. `back` leaves (its button, or Esc); `other_row` asks
    for the patient's other eye of the same list. `where` is `theatre` or `day_one`.
    """

    opened = Signal(str)
    wrong = Signal(str)
    back = Signal()
    other_row = Signal()

    def __init__(self, look: Look, expected: Expected, *, where: str = DAY_ONE) -> None:
        super().__init__(look, margins=(24, 20, 24, 20), spacing=8)
        self.expected, self.where = expected, where
        self.heading = Words(look, "Who is it, and which eye?", size=18, weight=STRONG, wrap=True)
        asked = "Ask the patient: day and month of birth"
        if expected.born is None:
            asked = "No birth date is recorded: type the patient's number, or scan the wristband"
        self.first = Words(look, asked, weight=MEDIUM, wrap=True)
        self.born = Box(look, hint="Enter")
        self.born.setObjectName("birth_day")
        self.born.setAccessibleName("Day and month of birth, or scan the wristband")
        self.born.setPlaceholderText("Patient number" if expected.born is None else "17 Jan, or scan the wristband")
        self.born.setMaximumWidth(look.px(360))
        self.second = Words(look, ASKED[where], weight=MEDIUM, wrap=True)
        self.sides = QWidget()
        self.sides.setLayoutDirection(Qt.LayoutDirection.LeftToRight)  # as one faces the patient, in every language
        row = FlowLayout(look, self.sides, gap=8)
        self.buttons = {side: SideButton(look, side) for side in SIDES}
        for side, button in self.buttons.items():
            row.addWidget(button)
            button.clicked.connect(lambda _=False, side=side: self.press(side))
        self.leave = Button(look, "Go back", kind="quiet", hint="Esc")
        self.leave.setObjectName("back")
        self.leave.clicked.connect(self.back)
        for widget in (self.heading, self.first, self.born, self.second, self.sides):
            self.column.addWidget(widget)
        if where == THEATRE:
            self.column.addWidget(Words(look, NO_PAUSE, size=12.5, colour="soft", wrap=True))
        self.column.addWidget(self.leave)
        self.line: QWidget | None = None
        self.born.entered.connect(self._said_birthday)
        self.born.textEdited.connect(self._typed)
        look.changed.connect(self._resize)  # a method of ours: let go of when the question is gone
        self._wait()
        announce(self, f"{self.heading.text()} {self.first.text()}")

    def _resize(self) -> None:
        self.born.setMaximumWidth(self.look.px(360))

    @property
    def halted(self) -> bool:
        """Whether a halt stands: something did not fit the booking."""
        return isinstance(self.line, HaltPanel)

    def stop(self) -> QWidget:
        """Where the keyboard goes first."""
        return self.born

    def begin(self) -> None:
        """Put the keyboard here."""
        self.born.setFocus(Qt.FocusReason.OtherFocusReason)

    def press(self, side: str) -> None:
        """A side was pressed."""
        if self.halted or not self.buttons[side].isEnabled():
            return
        if side == self.expected.side:
            self.opened.emit(side)
            return
        booked, pressed = SIDES[self.expected.side].upper(), SIDES[side].upper()
        self._halt(f"Booked: {booked} eye. You pressed {pressed}. Nothing has been opened.", side)

    def _typed(self) -> None:
        self._wait()

    def _said_birthday(self) -> None:
        if self.born.isReadOnly():
            return
        text = self.born.text().strip()
        scanned = bool(self.expected.patient_id) and text == self.expected.patient_id
        born = self.expected.born
        fits = True if scanned else None if born is None else born_that_day(text, born, self.expected.order)
        if fits is None:
            no_day = ("That is no day and month.", "Type 17 Jan or 17 1, then Enter.")
            none_booked = ("No birth date is booked for this eye.", "Scan the wristband, or type the patient number.")
            self._show_line(RefusalLine(self.look, *(none_booked if born is None else no_day)))
            self.born.mark(troubled=True)
        elif not fits:
            what = "number" if self.expected.born is None else "birthday"
            self._halt(f"This is not the {what} on the booking. Nothing has been opened.", BIRTHDAY)
        else:
            self._wait(asked=False)
            announce(self, f"{self.second.text()} R or L.")

    def _wait(self, *, asked: bool = True) -> None:
        """Before the birthday is known the sides cannot be pressed; `asked` False: it is known.

        The keyboard then stays where it is, in a box that no longer takes letters: R and L arrive here, no side has
        the ring, and a second Enter (a scanner sends two) presses nothing.
        """
        self._show_line(None)
        self.born.setReadOnly(not asked)
        self.born.mark()
        for button in self.buttons.values():
            button.setEnabled(not asked)
        self.second.set_colour("faint" if asked else "ink")

    def _halt(self, sentence: str, pressed: str) -> None:
        pair = self.expected.pair and pressed in SIDES
        answers = (("back", GO_BACK[self.where]), *((("other", "Open the other row"),) if pair else ()))
        more = "" if self.where == THEATRE else "Check the patient, and the row you opened."
        panel = HaltPanel(self.look, sentence, more, answers)
        panel.chosen.connect(self._answered)
        for widget in (self.born, *self.buttons.values()):
            widget.setEnabled(False)
        self.leave.hide()
        self._show_line(panel)
        panel.buttons.findChildren(Button)[0].setFocus(Qt.FocusReason.OtherFocusReason)
        self.wrong.emit(pressed)

    def _answered(self, code: str) -> None:
        (self.other_row if code == "other" else self.back).emit()

    def _show_line(self, line: QWidget | None) -> None:
        if self.line is not None:
            self.column.removeWidget(self.line)
            self.line.hide()
            self.line.deleteLater()
        self.line = line
        if line is not None:
            self.column.insertWidget(self.column.indexOf(self.born) + 1, line)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        key = Qt.Key(event.key())
        if key == Qt.Key.Key_Escape:
            self.back.emit()
        elif key in KEYS and not event.modifiers() & Qt.KeyboardModifier.ControlModifier:
            self.press(KEYS[key])
        else:
            super().keyPressEvent(event)
