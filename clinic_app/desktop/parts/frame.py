"""Cards, headings of sections, scrolling, and the ring of keyboard focus."""

from __future__ import annotations

from PySide6.QtCore import QEvent, QMargins, QObject, QPointF, QRect, QRectF, QSize, Qt, Signal
from PySide6.QtGui import QColor, QPainter, QPaintEvent, QPen, QResizeEvent, QShowEvent
from PySide6.QtWidgets import QFrame, QScrollArea, QScrollBar, QSizePolicy, QVBoxLayout, QWidget

from clinic_app.desktop.look import STRONG, Look
from clinic_app.desktop.mirror import mirrored
from clinic_app.desktop.parts.label import draw_words, text_width


def rounded(
    painter: QPainter,
    box: QRectF,
    radius: float,
    *,
    fill: QColor | None = None,
    line: QColor | None = None,
    width: float = 1.0,
    dashed: bool = False,
) -> None:
    """Paint a box with rounded corners, its line wholly inside."""
    box = mirrored(painter, box)
    painter.setRenderHint(QPainter.RenderHint.Antialiasing)
    half = width / 2 if line is not None else 0.0
    inner = box.adjusted(half, half, -half, -half)
    painter.setBrush(fill if fill is not None else Qt.BrushStyle.NoBrush)
    if line is None:
        painter.setPen(Qt.PenStyle.NoPen)
    else:
        pen = QPen(line, width)
        if dashed:
            pen.setDashPattern([3.0, 2.4])
        painter.setPen(pen)
    painter.drawRoundedRect(inner, radius, radius)


def draw_ring(painter: QPainter, look: Look, control: QRectF, radius: float) -> None:
    """The ring of keyboard focus around a control, with a gap between."""
    gap = look.px(2.5)
    rounded(
        painter,
        control.adjusted(-gap, -gap, gap, gap),
        radius + gap - 1,
        line=look.colour("focus"),
        width=max(2, look.px(2)),
    )


class Column(QVBoxLayout):
    """The column of a card that may be narrower than the room it stands in: its height follows from its own width.

    Qt asks the layout of a widget, not the widget, and with the width of the room.
    """

    def heightForWidth(self, width: int) -> int:
        ground = self.parentWidget()
        return super().heightForWidth(width if ground is None else min(width, ground.maximumWidth()))


class Card(QFrame):
    """A sheet with a hairline around it."""

    def __init__(self, look: Look, *, margins: tuple[int, int, int, int] = (16, 12, 16, 12), spacing: int = 6) -> None:
        super().__init__()
        self.look = look
        self._margins, self._spacing = margins, spacing
        self.column = Column(self)
        look.changed.connect(self.restyle)
        self.restyle()

    def restyle(self) -> None:
        """Take sizes and colours from the tokens."""
        self.column.setContentsMargins(QMargins(*(self.look.px(one) for one in self._margins)))
        self.column.setSpacing(self.look.px(self._spacing))
        self.update()

    def paintEvent(self, event: QPaintEvent) -> None:
        painter = QPainter(self)
        rounded(
            painter, QRectF(self.rect()), self.look.px(6), fill=self.look.colour("sheet"), line=self.look.colour("rule")
        )
        painter.end()


class Rule(QWidget):
    """A hairline."""

    def __init__(self, look: Look, *, above: int = 4, below: int = 4) -> None:
        super().__init__()
        self.look, self._above, self._below = look, above, below
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        look.changed.connect(self.updateGeometry)

    def sizeHint(self) -> QSize:
        return QSize(self.look.px(20), self.look.px(self._above + self._below) + 1)

    def paintEvent(self, event: QPaintEvent) -> None:
        painter = QPainter(self)
        painter.fillRect(0, self.look.px(self._above), self.width(), 1, self.look.colour("rule"))
        painter.end()


class Heading(QWidget):
    """The heading of a section: its word, a hairline, and what is worked out from its answers at the right."""

    def __init__(self, look: Look, text: str) -> None:
        super().__init__()
        self.look, self.text, self._aside = look, text, ""
        self.setAccessibleName(text)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        look.changed.connect(self.updateGeometry)

    @property
    def aside(self) -> str:
        """The words at the right."""
        return self._aside

    def set_aside(self, text: str) -> None:
        """Words at the right end of the heading."""
        if text != self._aside:
            self._aside = text
            self.setAccessibleDescription(text)
            self.update()

    def sizeHint(self) -> QSize:
        return QSize(text_width(self.look, self.text, 15, STRONG), self.look.px(30))

    def paintEvent(self, event: QPaintEvent) -> None:
        painter = QPainter(self)
        box = self.rect().adjusted(self.look.px(3), 0, -self.look.px(3), 0)
        draw_words(painter, self.look, self.text, box, size=15, weight=STRONG)
        start = box.left() + text_width(self.look, self.text, 15, STRONG) + self.look.px(10)
        end = box.right()
        if self._aside:
            draw_words(
                painter, self.look, self._aside, box, size=12.5, colour="soft", align=Qt.AlignmentFlag.AlignRight
            )
            end -= text_width(self.look, self._aside, 12.5) + self.look.px(10)
        if end > start:
            line = QRect(start, box.center().y(), end - start, 1)
            painter.fillRect(mirrored(painter, line), self.look.colour("rule"))
        painter.end()


class Bar(QScrollBar):
    """A scroll bar: one quiet handle."""

    def __init__(self, look: Look) -> None:
        super().__init__(Qt.Orientation.Vertical)
        self.look = look
        look.changed.connect(self.updateGeometry)

    def sizeHint(self) -> QSize:
        return QSize(max(12, self.look.px(12)), self.look.px(40))

    def paintEvent(self, event: QPaintEvent) -> None:
        painter = QPainter(self)
        span = self.maximum() - self.minimum()
        if span > 0:
            length = max(self.look.px(30), self.height() * self.pageStep() / (span + self.pageStep()))
            top = (self.height() - length) * (self.value() - self.minimum()) / span
            thick = max(5, self.look.px(5))
            box = QRectF((self.width() - thick) / 2, top, thick, length)
            rounded(painter, box, thick / 2, fill=self.look.colour("edge"))
        painter.end()


class Scroll(QScrollArea):
    """A column that scrolls downwards; its height always follows from its width."""

    width_changed = Signal()

    def __init__(self, look: Look, body: QWidget) -> None:
        super().__init__()
        self.body = body
        self._open = self._filled = False
        self.setVerticalScrollBar(Bar(look))
        self.setFrameShape(QFrame.Shape.NoFrame)
        self.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.viewport().setAutoFillBackground(False)
        self.setAutoFillBackground(False)
        self.setWidget(body)
        body.setAutoFillBackground(False)
        body.installEventFilter(self)

    def set_open(self, whole: bool) -> None:
        """Show the whole body without scrolling; the page around it scrolls then."""
        self._open = whole
        if not whole:
            self.setMinimumHeight(0)
            self.setMaximumHeight(16777215)
        self.fit()

    def set_filled(self, filled: bool) -> None:
        """Keep the body as high as what is seen of it: its own parts scroll, not the whole."""
        self._filled = filled
        self.fit()

    def fit(self) -> None:
        """Give the body the viewport's width and the height that follows from it."""
        width = self.viewport().width()
        tall = self.body.hasHeightForWidth()
        height = self.body.heightForWidth(width) if tall else self.body.sizeHint().height()
        if self._filled:
            height = self.viewport().height()
        elif self._open:
            if self.minimumHeight() != height:
                self.setFixedHeight(height)
        else:
            height = max(height, self.viewport().height())
        if self.body.size() != QSize(width, height):
            self.body.resize(width, height)

    def resizeEvent(self, event: QResizeEvent) -> None:
        super().resizeEvent(event)
        self.fit()
        self.width_changed.emit()

    def showEvent(self, event: QShowEvent) -> None:
        super().showEvent(event)
        self.fit()  # the size of text may have changed while another page was shown

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:
        if watched is self.body and event.type() == QEvent.Type.LayoutRequest:
            self.fit()
        return super().eventFilter(watched, event)

    def sizeHint(self) -> QSize:
        return QSize(self.body.sizeHint().width(), self.body.sizeHint().height())

    def reveal(self, widget: QWidget, margin: int = 60) -> None:
        """Scroll until `widget` is seen."""
        if self.body.isAncestorOf(widget):
            top = widget.mapTo(self.body, QPointF(0, 0)).y()
            bar = self.verticalScrollBar()
            if top - margin < bar.value():
                bar.setValue(int(top - margin))
            elif top + widget.height() + margin > bar.value() + self.viewport().height():
                bar.setValue(int(top + widget.height() + margin - self.viewport().height()))
