"""The ground the form stands on: sections with headings, answers in columns, lines that speak across the width."""

from __future__ import annotations

from dataclasses import dataclass, field

from PySide6.QtCore import QRect, QSize
from PySide6.QtGui import QResizeEvent
from PySide6.QtWidgets import QSizePolicy, QWidget

from clinic_app.desktop.look import Look
from clinic_app.desktop.mirror import put
from clinic_app.desktop.parts.answer import Answer

COLUMN = 172
MOST = 4


@dataclass(slots=True)
class Section:
    """A group of answers, and what stands above or beside them."""

    name: str
    heading: QWidget
    answers: list[Answer] = field(default_factory=list)


class FormGrid(QWidget):
    """Places what is shown: as many columns as the width holds, a control over as many of them as it needs."""

    def __init__(self, look: Look) -> None:
        super().__init__()
        self.look = look
        self.sections: list[Section] = []
        self.lines: dict[str, list[QWidget]] = {}
        self._tall = 0
        policy = QSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Preferred)
        policy.setHeightForWidth(True)
        self.setSizePolicy(policy)
        look.changed.connect(self.placed)

    def shown(self, section: Section) -> list[Answer]:
        """The answers of a section that are asked for."""
        return [answer for answer in section.answers if not answer.isHidden()]

    def placed(self) -> None:
        """Place everything anew; what scrolls is told only when the form became longer or shorter."""
        tall = self._place(self.width(), move=True)
        if tall != self._tall:
            self._tall = tall
            self.updateGeometry()

    def columns(self, width: int) -> int:
        """How many columns fit."""
        return max(1, min(MOST, (width + self.look.px(8)) // self.look.px(COLUMN)))

    def hasHeightForWidth(self) -> bool:
        return True

    def heightForWidth(self, width: int) -> int:
        return self._place(width, move=False)

    def sizeHint(self) -> QSize:
        width = self.look.px(COLUMN * 3)
        return QSize(width, self.heightForWidth(width))

    def minimumSizeHint(self) -> QSize:
        return QSize(self.look.px(COLUMN), self.look.px(60))

    def resizeEvent(self, event: QResizeEvent) -> None:
        super().resizeEvent(event)
        self._place(event.size().width(), move=True)

    def _place(self, width: int, *, move: bool) -> int:
        px = self.look.px
        edge = px(14)
        inner = max(px(100), width - 2 * edge)
        top = px(6)
        for section in self.sections:
            shown = self.shown(section)
            if move:
                section.heading.setVisible(bool(shown))
            if not shown:
                continue
            top = self._put(section.heading, edge, top, inner, move=move) + px(2)
            top = self._answers(shown, edge, top, inner, move=move) + px(8)
        return top + px(6)

    def _answers(self, shown: list[Answer], edge: int, top: int, inner: int, *, move: bool) -> int:
        px, across = self.look.px, self.columns(inner)
        gap = px(8)
        column = (inner - gap * (across - 1)) // across
        place, deep = 0, 0
        waiting: list[QWidget] = []
        for answer in shown:
            wish = answer.natural_width()
            span = max(1, min(across, -(-(wish + gap) // (column + gap))))
            if place + span > across:
                top = self._waiting(waiting, edge, top + deep + px(2), inner, move=move)
                place, deep = 0, 0
            wide = column * span + gap * (span - 1)
            height = answer.heightForWidth(wide)
            if move:
                put(answer, self, QRect(edge + place * (column + gap), top, wide, height))
            place, deep = place + span, max(deep, height)
            waiting += self.lines.get(answer.field.name, [])
        return self._waiting(waiting, edge, top + deep + px(2), inner, move=move)

    def _waiting(self, lines: list[QWidget], edge: int, top: int, inner: int, *, move: bool) -> int:
        for line in lines:
            top = self._put(line, edge, top, inner, move=move) + self.look.px(4)
        lines.clear()
        return top

    def _put(self, widget: QWidget, left: int, top: int, width: int, *, move: bool) -> int:
        height = widget.heightForWidth(width) if widget.hasHeightForWidth() else widget.sizeHint().height()
        height = max(height, widget.minimumSizeHint().height())
        if move:
            put(widget, self, QRect(left, top, width, height))
        return top + height
