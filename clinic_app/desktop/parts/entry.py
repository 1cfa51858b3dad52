"""A field to type in, with its unit inside: number, text, date or time. Typed text is never changed silently."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtCore import QMargins, QRectF, QSize, Qt, Signal
from PySide6.QtGui import QFocusEvent, QKeyEvent, QPainter, QPaintEvent, QPalette
from PySide6.QtWidgets import QCompleter, QLineEdit, QSizePolicy, QWidget

from clinic_app.desktop.look import MEDIUM, Look
from clinic_app.desktop.parts.answer import Answer, is_enter, unit_words
from clinic_app.desktop.parts.frame import draw_ring, rounded
from clinic_app.desktop.parts.label import draw_words, text_width
from models.codebook import Field, Kind

WIDTHS = {Kind.NUMBER: 150, Kind.INTEGER: 150, Kind.DATE: 150, Kind.TIME: 120}
LONGEST_DAY = "Wed 28 Nov 2028"
USUAL_WIDTH = 160


class Box(QLineEdit):
    """The painted line: a frame, the text, the unit at the right. `dashed` marks an answer that is no value."""

    arrived = Signal()
    gone = Signal()
    entered = Signal()

    def __init__(self, look: Look, unit: str = "", *, hint: str = "") -> None:
        super().__init__()
        self.look, self.unit, self.hint = look, unit, hint
        self.dashed, self.proposed, self.troubled = False, False, False
        self.setFrame(False)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        look.changed.connect(self.restyle)
        self.restyle()

    def restyle(self) -> None:
        """Take type, colours and margins from the tokens."""
        look = self.look
        self.setFont(look.font(14, italic=self.dashed))
        palette = self.palette()
        for group in (QPalette.ColorGroup.Active, QPalette.ColorGroup.Inactive, QPalette.ColorGroup.Disabled):
            palette.setColor(group, QPalette.ColorRole.Base, Qt.GlobalColor.transparent)
            palette.setColor(group, QPalette.ColorRole.Text, look.colour("ink"))
            palette.setColor(group, QPalette.ColorRole.PlaceholderText, look.colour("faint"))
            palette.setColor(group, QPalette.ColorRole.Highlight, look.colour("act"))
            palette.setColor(group, QPalette.ColorRole.HighlightedText, look.colour("on_act"))
        self.setPalette(palette)
        right = text_width(look, self.shown_unit, 12.5) + look.px(18 if self.shown_unit else 11)
        left = look.px(11)
        self.setTextMargins(QMargins(right, 0, left, 0) if self.isRightToLeft() else QMargins(left, 0, right, 0))
        self.updateGeometry()
        self.update()

    @property
    def shown_unit(self) -> str:
        """The words inside at the right: unit, or the key that leads here."""
        return "" if self.dashed else (self.unit or self.hint)

    def mark(self, *, dashed: bool = False, proposed: bool = False, troubled: bool = False) -> None:
        """How the frame is drawn."""
        self.dashed, self.proposed, self.troubled = dashed, proposed, troubled
        self.restyle()

    def sizeHint(self) -> QSize:
        return QSize(self.look.px(USUAL_WIDTH), self.look.px(40))

    def minimumSizeHint(self) -> QSize:
        return QSize(self.look.px(90), self.look.px(40))

    def paintEvent(self, event: QPaintEvent) -> None:
        look = self.look
        edge = look.px(3)
        box = QRectF(self.rect()).adjusted(edge, edge, -edge, -edge)
        painter = QPainter(self)
        ground = (
            "act_wash"
            if self.proposed
            else ("well" if self.dashed or self.isReadOnly() or not self.isEnabled() else "sheet")
        )
        line = "ink" if self.troubled else "edge" if self.isEnabled() else "rule"
        rounded(
            painter, box, look.px(4), fill=look.colour(ground), line=look.colour(line),
            dashed=self.dashed or self.proposed, width=1.5 if self.troubled or self.proposed else 1.0,
        )  # fmt: skip
        if self.hasFocus():
            draw_ring(painter, look, box, look.px(4))
        if self.shown_unit:
            inner = box.toRect().adjusted(0, 0, -look.px(9), 0)
            draw_words(
                painter, look, self.shown_unit, inner, size=12.5, colour="faint", align=Qt.AlignmentFlag.AlignRight
            )
        painter.end()
        super().paintEvent(event)

    def focusInEvent(self, event: QFocusEvent) -> None:
        super().focusInEvent(event)
        self.selectAll()
        self.arrived.emit()

    def focusOutEvent(self, event: QFocusEvent) -> None:
        super().focusOutEvent(event)
        if event.reason() != Qt.FocusReason.PopupFocusReason:
            self.gone.emit()

    def keyPressEvent(self, event: QKeyEvent) -> None:
        if is_enter(event):
            self.entered.emit()
            return
        super().keyPressEvent(event)


class EntryAnswer(Answer):
    """A field typed by hand. `said` carries the text when the person leaves it changed; the form reads it."""

    said = Signal(str)

    def __init__(self, look: Look, field: Field, *, label: str | None = None) -> None:
        super().__init__(look, field, label=label)
        self.box = Box(look, unit_words(field.unit))
        self.box.setObjectName(field.name)
        self.box.setAccessibleName(self.name)
        self.column.addWidget(self.box)
        self._words = ""
        self._known: dict[str, str] = {}
        self._asked = False
        self.box.arrived.connect(self.entered)
        self.box.gone.connect(self.take)
        self.box.entered.connect(self._on_enter)

    def suggest(self, words: Sequence[str]) -> None:
        """Words that are completed from their first letters."""
        self._known = {one.lower(): one for one in words}
        completer = QCompleter(sorted(words), self)
        completer.setCaseSensitivity(Qt.CaseSensitivity.CaseInsensitive)
        completer.setCompletionMode(QCompleter.CompletionMode.InlineCompletion)
        self.box.setCompleter(completer)

    def show_words(self, words: str) -> None:
        """The words that stand for the answer; what is typed later is compared with them."""
        self._words = words
        self.box.setText(words)
        if self.box.hasFocus():
            self.box.selectAll()

    def refresh(self) -> None:
        self.box.mark(dashed=self.given.missing is not None, proposed=self.given.proposed)

    def trouble(self, troubled: bool) -> None:
        """Mark the frame while a question or a refusal about the text stands below."""
        self._asked = troubled
        self.box.mark(dashed=self.given.missing is not None, proposed=self.given.proposed, troubled=troubled)
        if troubled and self.box.hasFocus():
            self.box.selectAll()

    def stop(self) -> QWidget:
        return self.box

    def natural_width(self) -> int:
        look = self.look
        wide = [look.px(WIDTHS.get(self.field.kind, USUAL_WIDTH))]
        wide.append(text_width(look, self.title.text(), 12.5, MEDIUM) + look.px(6 + 12))
        if self.field.kind is Kind.DATE:
            wide.append(text_width(look, LONGEST_DAY, 14) + look.px(11 + 11 + 6))
        return max(wide)

    def take(self) -> None:
        """Hand the text to the form if it differs from what is shown."""
        text = self._known.get(self.box.text().strip().lower(), self.box.text())
        again = self.given.proposed and self.box.isModified()  # typing what is proposed confirms it
        if again or text.strip() != self._words.strip():
            self._words = text
            self.said.emit(text)

    def _on_enter(self) -> None:
        self.take()
        if not self._asked:
            self.go_on.emit()
