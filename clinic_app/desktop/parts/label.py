"""Text on the page: plain words in our type, and sentences with a part set apart."""

from __future__ import annotations

from PySide6.QtCore import QPointF, QRect, QSize, Qt
from PySide6.QtGui import QFont, QPainter, QPaintEvent, QPalette, QTextCharFormat, QTextLayout, QTextOption
from PySide6.QtWidgets import QLabel, QSizePolicy, QWidget

from clinic_app.desktop.look import NORMAL, Look
from clinic_app.desktop.mirror import mirrored


class Words(QLabel):
    """A label: always plain text, size and colour from the tokens; wraps when `wrap`."""

    def __init__(
        self,
        look: Look,
        text: str = "",
        *,
        size: float = 14,
        weight: QFont.Weight = NORMAL,
        colour: str = "ink",
        wrap: bool = False,
        italic: bool = False,
        parent: QWidget | None = None,
    ) -> None:
        super().__init__(parent)
        self.look = look
        self._size, self._weight, self._colour, self._italic = size, weight, colour, italic
        self.setTextFormat(Qt.TextFormat.PlainText)
        self.setWordWrap(wrap)
        if wrap:
            policy = QSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Minimum)
            policy.setHeightForWidth(True)
            self.setSizePolicy(policy)
        self.setText(text)
        look.changed.connect(self.restyle)
        self.restyle()

    def set_colour(self, colour: str) -> None:
        """Another colour of the table."""
        self._colour = colour
        self.restyle()

    def restyle(self) -> None:
        """Take type and colour from the tokens."""
        self.setFont(self.look.font(self._size, self._weight, italic=self._italic))
        palette = self.palette()
        for group in (QPalette.ColorGroup.Active, QPalette.ColorGroup.Inactive, QPalette.ColorGroup.Disabled):
            palette.setColor(group, QPalette.ColorRole.WindowText, self.look.colour(self._colour))
        self.setPalette(palette)
        self.updateGeometry()


Run = tuple[str, str, QFont.Weight]
"""A stretch of a sentence: its words, colour and weight."""


class Sentence(QLabel):
    """A wrapping sentence of which some words have their own weight and colour. Its text is plain for readers."""

    def __init__(self, look: Look, *, size: float = 14, spacing: float = 1.18) -> None:
        super().__init__()
        self.look = look
        self._size, self._spacing = size, spacing
        self._runs: tuple[Run, ...] = ()
        self._laid: dict[int, tuple[QTextLayout, float]] = {}
        self.setTextFormat(Qt.TextFormat.PlainText)
        policy = QSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Minimum)
        policy.setHeightForWidth(True)
        self.setSizePolicy(policy)
        look.changed.connect(self.restyle)

    def set_runs(self, runs: tuple[Run, ...]) -> None:
        """The words, in order."""
        if runs == self._runs:
            return
        self._runs = runs
        self.setText("".join(run[0] for run in runs))
        self.restyle()

    def restyle(self) -> None:
        """Measure anew."""
        self._laid.clear()
        self.setFont(self.look.font(self._size))
        self.updateGeometry()
        self.update()

    def _layout(self, width: int) -> tuple[QTextLayout, float]:
        """The words laid out in a width and their height; kept, for one answer asks for it many times."""
        if width not in self._laid:
            self._laid[width] = self._lay_out(width)
        return self._laid[width]

    def _lay_out(self, width: int) -> tuple[QTextLayout, float]:
        weight = self._runs[0][2] if self._runs else NORMAL
        layout = QTextLayout(self.text(), self.look.font(self._size, weight))
        option = QTextOption()
        option.setWrapMode(QTextOption.WrapMode.WordWrap)
        option.setTextDirection(self.layoutDirection())
        option.setAlignment(Qt.AlignmentFlag.AlignRight if self.isRightToLeft() else Qt.AlignmentFlag.AlignLeft)
        layout.setTextOption(option)
        start, ranges = 0, []
        for words, colour, run_weight in self._runs:
            kind = QTextCharFormat()
            kind.setFont(self.look.font(self._size, run_weight))
            kind.setForeground(self.look.colour(colour))
            stretch = QTextLayout.FormatRange()
            stretch.start = start
            stretch.length = len(words)
            stretch.format = kind
            ranges.append(stretch)
            start += len(words)
        layout.setFormats(ranges)
        layout.beginLayout()
        top = 0.0
        while True:
            line = layout.createLine()
            if not line.isValid():
                break
            line.setLineWidth(max(1, width))
            line.setPosition(QPointF(0, top))
            top += line.height() * self._spacing
        layout.endLayout()
        return layout, top

    def hasHeightForWidth(self) -> bool:
        return True

    def heightForWidth(self, width: int) -> int:
        return int(self._layout(width)[1]) + 1

    def sizeHint(self) -> QSize:
        width = max(self.width(), self.look.px(160))
        return QSize(width, self.heightForWidth(width))

    def minimumSizeHint(self) -> QSize:
        return QSize(self.look.px(80), self.look.px(self._size))

    def paintEvent(self, event: QPaintEvent) -> None:
        painter = QPainter(self)
        self._layout(self.width())[0].draw(painter, QPointF(0, 0))
        painter.end()


def elided(look: Look, text: str, width: int, size: float, weight: QFont.Weight = NORMAL) -> str:
    """`text`, cut with an ellipsis when it does not fit `width`."""
    return look.metrics(size, weight).elidedText(text, Qt.TextElideMode.ElideRight, width)


def text_width(look: Look, text: str, size: float, weight: QFont.Weight = NORMAL) -> int:
    """Pixels the words take."""
    return look.text_width(text, size, weight)


def draw_words(
    painter: QPainter,
    look: Look,
    text: str,
    box: QRect,
    *,
    size: float = 14,
    weight: QFont.Weight = NORMAL,
    colour: str = "ink",
    align: Qt.AlignmentFlag = Qt.AlignmentFlag.AlignLeft,
    italic: bool = False,
) -> None:
    """Paint one line of words into `box`, vertically centred."""
    painter.setFont(look.font(size, weight, italic=italic))
    painter.setPen(look.colour(colour))
    flags = int(align | Qt.AlignmentFlag.AlignVCenter | Qt.TextFlag.TextSingleLine)
    painter.drawText(mirrored(painter, box), flags, text)


def wrapped_rows(look: Look, text: str, width: int, size: float) -> int:
    """How many lines the words need in a width; at least one."""
    if text_width(look, text, size) <= width:
        return 1
    metrics = look.metrics(size)
    high = metrics.boundingRect(QRect(0, 0, max(1, width), 10_000), int(Qt.TextFlag.TextWordWrap), text).height()
    return max(1, round(high / metrics.height()))


def draw_wrapped(
    painter: QPainter, look: Look, text: str, box: QRect, *, size: float = 14, colour: str = "ink"
) -> None:
    """Paint words into `box`, vertically centred, on as many lines as they need."""
    painter.setFont(look.font(size))
    painter.setPen(look.colour(colour))
    flags = int(Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter | Qt.TextFlag.TextWordWrap)
    painter.drawText(mirrored(painter, box), flags, text)
