"""Any of a list: tick boxes with one tab stop; digits toggle, 0 says none of these."""

from __future__ import annotations

from PySide6.QtCore import QPointF, QRectF, QSize, Qt
from PySide6.QtGui import QFocusEvent, QKeyEvent, QPainter, QPaintEvent, QPen
from PySide6.QtWidgets import QCheckBox, QSizePolicy, QWidget

from clinic_app.desktop.look import Look
from clinic_app.desktop.mirror import mirrored
from clinic_app.desktop.parts.answer import OPEN, SHORT_MISSING, Answer, Given, is_enter
from clinic_app.desktop.parts.choice import STEP
from clinic_app.desktop.parts.flow import FlowLayout
from clinic_app.desktop.parts.frame import draw_ring, rounded
from clinic_app.desktop.parts.label import draw_words, text_width
from models.codebook import Field


class Tick(QCheckBox):
    """One painted tick box of a set; `hint` is the digit that ticks it."""

    def __init__(self, owner: TickSet, code: str, text: str) -> None:
        super().__init__(text, owner)
        self.owner, self.code, self.hint = owner, code, ""
        self.setAccessibleName(f"{owner.field.label}: {text}")
        self.setObjectName(f"{owner.field.name}.{code}")
        self.setSizePolicy(QSizePolicy.Policy.Fixed, QSizePolicy.Policy.Fixed)

    def sizeHint(self) -> QSize:
        look = self.owner.look
        return QSize(text_width(look, self.text(), 14) + look.px(20 + 10 + 4) + self._hint_width(), look.px(34))

    def _hint_width(self) -> int:
        return text_width(self.owner.look, "0", 12) + self.owner.look.px(6)

    def minimumSizeHint(self) -> QSize:
        return self.sizeHint()

    def hitButton(self, pos: object) -> bool:
        return True

    def paintEvent(self, event: QPaintEvent) -> None:
        look = self.owner.look
        painter = QPainter(self)
        side = look.px(19)
        box = QRectF(look.px(5), (self.height() - side) / 2, side, side)
        alive = self.isEnabled()
        dashed = self.owner.given.proposed and self.isChecked()
        solid = self.isChecked() and not dashed and alive
        ground = "act_wash" if alive and (dashed or self.underMouse()) else "sheet" if alive else "well"
        fill = look.colour("act" if solid else ground)
        rounded(painter, box, look.px(4), fill=fill, line=look.colour("act" if solid else "edge"), dashed=dashed)
        if self.isChecked():
            pen = QPen(look.colour("on_act" if solid else "ink"), look.px(2))
            pen.setCapStyle(Qt.PenCapStyle.RoundCap)
            painter.setPen(pen)
            on = mirrored(painter, box)
            marks = [
                QPointF(on.left() + side * a, on.top() + side * b) for a, b in ((0.24, 0.54), (0.43, 0.72), (0.77, 0.3))
            ]
            painter.drawPolyline(marks)
        words = self.rect().adjusted(int(box.right()) + look.px(9), 0, 0, 0)
        draw_words(painter, look, self.hint, words, size=12, colour="faint")
        words.setLeft(words.left() + self._hint_width())
        draw_words(painter, look, self.text(), words, colour="ink" if alive or self.isChecked() else "faint")
        if self.hasFocus():
            draw_ring(painter, look, box, look.px(4))
        painter.end()

    def keyPressEvent(self, event: QKeyEvent) -> None:
        if not self.owner.take_key(event):
            super().keyPressEvent(event)

    def focusInEvent(self, event: QFocusEvent) -> None:
        super().focusInEvent(event)
        self.owner.hold(self)
        self.owner.entered.emit()


class TickSet(Answer):
    """A field of which any answers may hold. A code that begins with `none` excludes the others; 0 chooses it."""

    def __init__(self, look: Look, field: Field, *, label: str | None = None, columns: int = 0, shown: int = 0) -> None:
        super().__init__(look, field, label=label)
        self.box = QWidget(self)
        self.flow = FlowLayout(look, self.box, gap=2, columns=columns)
        self.none = next((code for code in field.codes if code.startswith("none")), None)
        self.ticks = [Tick(self, one.code, one.label) for one in field.choices]
        usual = [tick for tick in self.ticks if tick.code != self.none]
        self.ticks = usual + [tick for tick in self.ticks if tick.code == self.none]
        self._rare = usual[shown:] if shown else []
        self._stop = self.ticks[0]
        self._typed = ""
        for tick in self.ticks:
            self.flow.addWidget(tick)
            tick.clicked.connect(self._clicked)
        self.column.addWidget(self.box)
        self.unfold(False)
        self.refresh()

    @property
    def folded(self) -> int:
        """How many answers are folded away."""
        return sum(tick.isHidden() for tick in self._rare)

    def unfold(self, whole: bool) -> None:
        """Show every answer, or only the usual ones and those that are ticked."""
        self._whole = whole
        for tick in self._rare:
            tick.setVisible(whole or tick.isChecked())
        self._settle()
        self.flow.invalidate()
        self.box.updateGeometry()
        self.updateGeometry()

    def restyle(self) -> None:
        for tick in self.ticks:
            tick.updateGeometry()
        self.flow.invalidate()
        self.box.updateGeometry()
        super().restyle()

    def stop(self) -> QWidget:
        return self._stop

    def hold(self, tick: Tick) -> None:
        """Make this tick the set's tab stop."""
        self._stop = tick
        self._settle()

    def _settle(self) -> None:
        if self._stop.isHidden():
            self._stop = self.ticks[0]
        shown = [tick for tick in self.ticks if not tick.isHidden()]
        for place, tick in enumerate(shown, start=1):
            tick.hint = "0" if tick.code == self.none else str(place) if place < 10 else ""
        for tick in self.ticks:
            tick.setFocusPolicy(Qt.FocusPolicy.StrongFocus if tick is self._stop else Qt.FocusPolicy.ClickFocus)

    def refresh(self) -> None:
        held = self.given.value if isinstance(self.given.value, tuple) else ()
        for tick in self.ticks:
            tick.setChecked(tick.code in held)
        for tick in self._rare:
            tick.setVisible(self._whole or tick.isChecked())
        self.aside.setText(self.missing_words())
        self._settle()

    def _clicked(self) -> None:
        tick = self.sender()
        if isinstance(tick, Tick):
            self._take(tick)

    def _take(self, tick: Tick) -> None:
        on = {one.code for one in self.ticks if one.isChecked()}
        if tick.isChecked() and self.none is not None:
            on = {self.none} if tick.code == self.none else on - {self.none}
        codes = tuple(code for code in self.field.codes if code in on)
        self.give(Given(codes) if codes else OPEN)

    def _toggle(self, tick: Tick) -> None:
        tick.setChecked(not tick.isChecked())
        self._take(tick)
        tick.setFocus(Qt.FocusReason.OtherFocusReason)

    def take_key(self, event: QKeyEvent) -> bool:
        """Act on a key; False when it is none of ours."""
        if event.modifiers() & (Qt.KeyboardModifier.ControlModifier | Qt.KeyboardModifier.AltModifier):
            return False
        key, text = Qt.Key(event.key()), event.text().lower()
        shown = [tick for tick in self.ticks if not tick.isHidden()]
        if is_enter(event):
            self.go_on.emit()
        elif key in STEP:
            here = shown.index(self._stop) if self._stop in shown else 0
            shown[max(0, min(len(shown) - 1, here + STEP[key]))].setFocus(Qt.FocusReason.OtherFocusReason)
        elif text == "0" and self.none is not None:
            self.give(Given((self.none,)))
            self.go_on.emit()
        elif text.isdigit() and 0 < int(text) <= len(shown):
            self._toggle(shown[int(text) - 1])
        elif key in (Qt.Key.Key_Backspace, Qt.Key.Key_Delete):
            self.give(OPEN)
        elif self._typed + text in SHORT_MISSING:
            self.give(Given(missing=SHORT_MISSING[self._typed + text]))
            self._typed = ""
            self.go_on.emit()
        elif text == "n":
            self._typed = "n"
        else:
            return False
        return True
