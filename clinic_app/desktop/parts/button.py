"""Buttons: the main one filled, a plain one outlined, a quiet one in words alone."""

from __future__ import annotations

from PySide6.QtCore import QRectF, QSize, Qt
from PySide6.QtGui import QFont, QKeyEvent, QPainter, QPaintEvent
from PySide6.QtWidgets import QPushButton, QSizePolicy

from clinic_app.desktop.icons import draw_icon
from clinic_app.desktop.look import MEDIUM, STRONG, Look
from clinic_app.desktop.parts.frame import draw_ring, rounded
from clinic_app.desktop.parts.label import draw_words, text_width

KINDS = ("main", "plain", "quiet")


class Button(QPushButton):
    """A push button; `hint` is the key shown beside its words, `icon` one of our drawings, `note` its fuller name."""

    def __init__(
        self, look: Look, text: str, *, kind: str = "plain", hint: str = "", icon: str = "", note: str = ""
    ) -> None:
        super().__init__(text)
        self.look, self.kind, self.hint, self.drawing, self._note = look, kind, hint, icon, note
        self.setSizePolicy(QSizePolicy.Policy.Fixed, QSizePolicy.Policy.Fixed)
        self.setAutoDefault(False)
        self.setDefault(False)
        self.set_words(text, note)
        look.changed.connect(self.restyle)
        self.restyle()

    def set_words(self, text: str, note: str = "") -> None:
        """Other words on the button."""
        self._note = note or self._note
        self.setAccessibleName(self._note or text)
        escaped = text.replace("&", "&&")
        if escaped == self.text():
            return
        self.setText(escaped)
        self.updateGeometry()

    def restyle(self) -> None:
        """Take type from the tokens."""
        self.setFont(self.look.font(14, self._weight()))
        self.updateGeometry()
        self.update()

    def _weight(self) -> QFont.Weight:
        return STRONG if self.kind == "main" else MEDIUM

    @property
    def words(self) -> str:
        """What is written on the button."""
        return self.text().replace("&&", "&")

    def keyPressEvent(self, event: QKeyEvent) -> None:
        plain = event.modifiers() in (Qt.KeyboardModifier.NoModifier, Qt.KeyboardModifier.KeypadModifier)
        if plain and event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter):
            self.click()  # Enter goes on everywhere else, so it must do something here too
            return
        super().keyPressEvent(event)

    def sizeHint(self) -> QSize:
        look = self.look
        width = text_width(look, self.words, 14, STRONG if self.kind == "main" else MEDIUM)
        width += look.px(24 + 6)
        if self.drawing:
            width += look.px(22)
        if self.hint:
            width += text_width(look, self.hint, 12) + look.px(12)
        return QSize(width, look.px(40))

    def minimumSizeHint(self) -> QSize:
        return self.sizeHint()

    def paintEvent(self, event: QPaintEvent) -> None:
        look = self.look
        painter = QPainter(self)
        edge = look.px(3)
        box = QRectF(self.rect()).adjusted(edge, edge, -edge, -edge)
        main, alive = self.kind == "main", self.isEnabled()
        fill = None
        if main:
            fill = look.colour("act" if alive else "act_wash")
        elif self.isDown() or self.underMouse():
            fill = look.colour("act_wash")
        line = look.colour("edge" if alive else "rule") if self.kind == "plain" else None
        rounded(painter, box, look.px(4), fill=fill, line=line)
        ink = ("on_act" if main else "ink") if alive else "faint"
        inner = box.toRect().adjusted(look.px(12), 0, -look.px(12), 0)
        if self.drawing:
            side = look.px(16)
            draw_icon(
                painter, self.drawing, QRectF(inner.left(), box.center().y() - side / 2, side, side), look.colour(ink)
            )
            inner.setLeft(inner.left() + look.px(22))
        draw_words(painter, look, self.words, inner, weight=STRONG if main else MEDIUM, colour=ink)
        if self.hint:
            inner.setLeft(inner.right() - text_width(look, self.hint, 12))
            draw_words(painter, look, self.hint, inner, size=12, colour=ink if main else "faint")
        if self.hasFocus():
            draw_ring(painter, look, box, look.px(4))
        painter.end()
