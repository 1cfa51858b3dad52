"""How a paper is set: pieces with their heights, put on pages, drawn with head and foot."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass

from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import (
    QColor,
    QFont,
    QFontMetricsF,
    QPagedPaintDevice,
    QPainter,
    QPainterPath,
    QPen,
    QTextLayout,
    QTextOption,
)

from clinic_app.desktop.look import BOLD, FAMILY, MEDIUM, NORMAL, STRONG, Look
from clinic_app.desktop.papers.paper import INVENTED, Paper, Section, Table, TickBox
from clinic_app.desktop.parts.plate import SIDES, draw_eyes

INK, SOFT, HAIR, SHADE = QColor("#000000"), QColor("#3A3A3A"), QColor("#8A8A8A"), QColor("#EDEDED")
LEADING = 1.2
"""Height of a line in parts of its type's size."""
POINTS_A_MM = 72 / 25.4
PLATE_HEIGHT, PLATE_WIDTH = 34.0, 190.0
Draw = Callable[[QPainter, float], None]


@dataclass(frozen=True, slots=True)
class Piece:
    """Something that is not broken over two pages: how high it is and how it is drawn from its top.

    `keep` holds it on the page of the next one. `again` is drawn above it when it comes first on a page.
    """

    height: float
    draw: Draw
    keep: bool = False
    again: Piece | None = None


class Setting:
    """A paper set for a device: `pages` of them, drawn one by one."""

    def __init__(self, paper: Paper, device: QPagedPaintDevice) -> None:
        self.paper, self.device = paper, device
        self.look = Look("light")  # brings our type along
        self.dot = device.logicalDpiY() / 72
        self.width = device.width() / self.dot
        self.height = device.height() / self.dot
        self.head_height = 24.0
        self.foot_height = sum(self._tall(words, self.width, 8) for words in self._foot_words()) + 22
        self._pages = self._placed([*self._title(), *(one for part in paper.sections for one in self._part(part))])

    @property
    def pages(self) -> int:
        """How many pages there are."""
        return len(self._pages)

    def draw(self, painter: QPainter, page: int) -> None:
        """Draw one page, the first being 0."""
        painter.setLayoutDirection(Qt.LayoutDirection.LeftToRight)  # places are counted from the left edge
        self._draw_head(painter)
        top = self.head_height
        for piece in self._pages[page]:
            piece.draw(painter, top)
            top += piece.height
        self._draw_foot(painter, page)

    # --- pages -------------------------------------------------------------------------------------------------------

    def _placed(self, pieces: list[Piece]) -> list[list[Piece]]:
        room = self.height - self.head_height - self.foot_height
        pages: list[list[Piece]] = [[]]
        used = 0.0
        for place, piece in enumerate(pieces):
            needed = piece.height
            after = place
            while pieces[after].keep and after + 1 < len(pieces):
                after += 1
                needed += pieces[after].height
            if pages[-1] and used + min(needed, room) > room:
                pages.append([])
                used = 0.0
                if piece.again is not None:
                    pages[-1].append(piece.again)
                    used = piece.again.height
            pages[-1].append(piece)
            used += piece.height
        return pages

    def _foot_words(self) -> list[str]:
        invented = [f"{INVENTED}."] if self.paper.demo else []
        return [*invented, *self.paper.cautions]

    def _draw_head(self, painter: QPainter) -> None:
        box = (0.0, 0.0, self.width, 12.0)
        self._text(painter, self.paper.practice, box, size=9, weight=MEDIUM, colour=SOFT)
        if self.paper.demo:
            self._text(painter, INVENTED, box, size=9, weight=BOLD, right=True)
        self._rule(painter, 16.0, HAIR)

    def _draw_foot(self, painter: QPainter, page: int) -> None:
        top = self.height - self.foot_height + 6
        self._rule(painter, top, HAIR)
        top += 4
        for words in self._foot_words():
            high = self._tall(words, self.width, 8)
            self._text(painter, words, (0, top, self.width, high), size=8, colour=SOFT)
            top += high
        line = (0.0, self.height - 11, self.width, 11.0)
        self._text(painter, self.paper.printed, line, size=8, colour=SOFT)
        self._text(painter, f"Page {page + 1} of {self.pages}", line, size=8, colour=SOFT, right=True)

    # --- parts -------------------------------------------------------------------------------------------------------

    def _title(self) -> Iterator[Piece]:
        yield from self._words(self.paper.title, size=18, weight=BOLD, after=8)

    def _part(self, part: Section) -> Iterator[Piece]:
        if part.heading:
            yield self._space(6, keep=True)
            yield from (
                Piece(piece.height, piece.draw, keep=True)
                for piece in self._words(part.heading, size=12, weight=STRONG, after=3)
            )
        if part.side:
            yield self._plate(part)
        else:
            for words in part.lines:
                yield from self._words(words, size=10.5, after=2)
        yield from self._boxes(part.boxes, max(1, part.columns))
        if part.table is not None:
            yield from self._table(part.table)
        for words in part.blanks:
            yield self._blank(words)

    def _words(self, words: str, *, size: float, weight: QFont.Weight = NORMAL, after: float = 0) -> Iterator[Piece]:
        """A paragraph, a piece a line, so that a long one runs over pages."""
        lines = self._lines(words, self.width, size, weight)
        for place, line in enumerate(lines):

            def draw(painter: QPainter, top: float, line: str = line) -> None:
                self._text(painter, line, (0, top, self.width, size * LEADING), size=size, weight=weight)

            yield Piece(size * LEADING + (after if place == len(lines) - 1 else 0), draw)

    def _space(self, height: float, *, keep: bool = False) -> Piece:
        return Piece(height, lambda *_: None, keep=keep)

    def _plate(self, part: Section) -> Piece:
        left = PLATE_WIDTH + 14
        heights = [self._tall(words, self.width - left, 10.5) + 1 for words in part.lines]
        high = max(PLATE_HEIGHT, sum(heights))

        def draw(painter: QPainter, top: float) -> None:
            self._draw_plate(painter, part.side, top)
            line = top
            for words, tall in zip(part.lines, heights, strict=True):
                self._text(painter, words, (left, line, self.width - left, tall), size=10.5)
                line += tall

        return Piece(high + 8, draw)

    def _draw_plate(self, painter: QPainter, side: str, top: float) -> None:
        solid = side == "R"
        box = QRectF(1, top + 1, PLATE_WIDTH - 2, PLATE_HEIGHT - 2)
        painter.save()
        painter.scale(self.dot, self.dot)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.setPen(QPen(INK, 1.6))
        painter.setBrush(INK if solid else Qt.BrushStyle.NoBrush)
        painter.drawRoundedRect(box, 4, 4)
        paper = QColor("#FFFFFF")
        painter.restore()
        ink, ground = (paper, INK) if solid else (INK, paper)
        drawing = QRectF(10 * self.dot, (top + 8) * self.dot, 56 * self.dot, 18 * self.dot)
        draw_eyes(painter, self.look, drawing, side, ink=ink, ground=ground)
        words = (76.0, top + (PLATE_HEIGHT - 17 * LEADING) / 2, PLATE_WIDTH - 80, PLATE_HEIGHT)
        self._text(painter, f"{SIDES[side]} eye", words, size=17, weight=BOLD, colour=ink)

    def _boxes(self, boxes: tuple[TickBox, ...], columns: int) -> Iterator[Piece]:
        wide = self.width / columns
        for start in range(0, len(boxes), columns):
            row = boxes[start : start + columns]
            high = max(15.0, *(self._tall(one.words, wide - 20, 10.5) for one in row)) + 4

            def draw(painter: QPainter, top: float, row: tuple[TickBox, ...] = row, high: float = high) -> None:
                for place, one in enumerate(row):
                    self._tick(painter, place * wide, top + 1, ticked=one.ticked)
                    self._text(painter, one.words, (place * wide + 17, top, wide - 20, high), size=10.5)

            yield Piece(high, draw)

    def _tick(self, painter: QPainter, left: float, top: float, *, ticked: bool) -> None:
        painter.save()
        painter.scale(self.dot, self.dot)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.setPen(QPen(INK, 1))
        painter.setBrush(Qt.BrushStyle.NoBrush)
        painter.drawRect(QRectF(left, top, 10, 10))
        if ticked:
            painter.setPen(QPen(INK, 1.8))
            path = QPainterPath(QPointF(left + 2, top + 5.4))
            path.lineTo(left + 4.4, top + 8)
            path.lineTo(left + 8.4, top + 2)
            painter.drawPath(path)
        painter.restore()

    def _table(self, table: Table) -> Iterator[Piece]:
        shares = table.shares or (1.0,) * len(table.heads)
        whole = sum(shares)
        widths = [self.width * one / whole for one in shares]
        head = self._row(table.heads, widths, weight=STRONG, shade=True)
        yield Piece(head.height, head.draw, keep=True)
        for cells in table.rows:
            row = self._row(cells, widths, least=table.least * POINTS_A_MM)
            yield Piece(row.height, row.draw, again=head)
        yield self._space(6)

    def _row(
        self,
        cells: Iterable[str],
        widths: list[float],
        *,
        weight: QFont.Weight = NORMAL,
        shade: bool = False,
        least: float = 0.0,
    ) -> Piece:
        words = list(cells)
        room = self.height - self.head_height - self.foot_height - 60
        tall = max(self._tall(one, wide - 8, 9.5, weight) for one, wide in zip(words, widths, strict=True)) + 6
        high = min(max(tall, least), room)

        def draw(painter: QPainter, top: float) -> None:
            left = 0.0
            for one, wide in zip(words, widths, strict=True):
                self._cell(painter, QRectF(left, top, wide, high), shade=shade)
                self._text(painter, one, (left + 4, top + 3, wide - 8, high - 6), size=9.5, weight=weight)
                left += wide

        return Piece(high, draw)

    def _cell(self, painter: QPainter, box: QRectF, *, shade: bool) -> None:
        painter.save()
        painter.scale(self.dot, self.dot)
        painter.setPen(QPen(HAIR, 0.6))
        painter.setBrush(SHADE if shade else Qt.BrushStyle.NoBrush)
        painter.drawRect(box)
        painter.restore()

    def _blank(self, words: str) -> Piece:
        wide = QFontMetricsF(self._font(10.5), self.device).horizontalAdvance(words) / self.dot

        def draw(painter: QPainter, top: float) -> None:
            self._text(painter, words, (0, top + 10, self.width, 16), size=10.5)
            painter.save()
            painter.scale(self.dot, self.dot)
            painter.setPen(QPen(INK, 0.8))
            painter.drawLine(QPointF(wide + 8, top + 23), QPointF(self.width, top + 23))
            painter.restore()

        return Piece(28, draw)

    # --- ink ---------------------------------------------------------------------------------------------------------

    def _font(self, size: float, weight: QFont.Weight = NORMAL) -> QFont:
        font = QFont(FAMILY)
        font.setPixelSize(max(1, round(size * self.dot)))
        font.setWeight(weight)
        font.setFeature(QFont.Tag("calt"), 0)  # a glyph of another shape cannot be read back as its letter
        return font

    def _lines(self, words: str, width: float, size: float, weight: QFont.Weight = NORMAL) -> list[str]:
        """The words broken to a width; within a word only where it is wider than the whole line."""
        option = QTextOption()
        option.setWrapMode(QTextOption.WrapMode.WrapAtWordBoundaryOrAnywhere)
        broken = []
        for paragraph in words.split("\n"):
            layout = QTextLayout(paragraph, self._font(size, weight), self.device)
            layout.setTextOption(option)
            layout.beginLayout()
            while (line := layout.createLine()).isValid():
                line.setLineWidth(max(1.0, width * self.dot))
                broken.append(paragraph[line.textStart() : line.textStart() + line.textLength()].rstrip())
            layout.endLayout()
        return broken or [""]

    def _tall(self, words: str, width: float, size: float, weight: QFont.Weight = NORMAL) -> float:
        return len(self._lines(words, width, size, weight)) * size * LEADING

    def _text(
        self,
        painter: QPainter,
        words: str,
        box: tuple[float, float, float, float],
        *,
        size: float,
        weight: QFont.Weight = NORMAL,
        colour: QColor = INK,
        right: bool = False,
    ) -> None:
        """Draw words from the top of a box; what is longer than the box is left out."""
        left, top, width, height = box
        painter.setFont(self._font(size, weight))
        painter.setPen(colour)
        align = Qt.AlignmentFlag.AlignRight if right else Qt.AlignmentFlag.AlignLeft
        flags = int(align | Qt.AlignmentFlag.AlignVCenter | Qt.TextFlag.TextSingleLine | Qt.TextFlag.TextDontClip)
        line_height = size * LEADING
        for place, line in enumerate(self._lines(words, width, size, weight)):
            if place and (place + 1) * line_height > height + 0.5:
                break
            at = QRectF(left, top + place * line_height, width, line_height)
            painter.drawText(
                QRectF(*(one * self.dot for one in (at.x(), at.y(), at.width(), at.height()))), flags, line
            )

    def _rule(self, painter: QPainter, top: float, colour: QColor) -> None:
        painter.save()
        painter.scale(self.dot, self.dot)
        painter.setPen(QPen(colour, 0.6))
        painter.drawLine(QPointF(0, top), QPointF(self.width, top))
        painter.restore()
