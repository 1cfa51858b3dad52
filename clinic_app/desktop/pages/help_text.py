"""A chapter of the manual in the window's own type: room between paragraphs, tables ruled like ours, keys set apart."""

from __future__ import annotations

from collections.abc import Iterator

from PySide6.QtGui import (
    QColor,
    QTextBlock,
    QTextBlockFormat,
    QTextCharFormat,
    QTextCursor,
    QTextDocument,
    QTextFormat,
    QTextFragment,
    QTextFrameFormat,
    QTextLength,
    QTextTable,
    QTextTableCellFormat,
)

from clinic_app.desktop.look import MEDIUM, NORMAL, STRONG, Look

LINE = 820
"""Pixels at 100 % that a line of text takes at most; pictures may be wider."""
TEXT = 14.5
HEADINGS = {1: 24.0, 2: 18.0, 3: 15.0}
CODE = QTextFormat.Property.BlockCodeLanguage.value
MONOSPACE = "monospace"
"""The family that Qt names for code."""
PROPORTIONAL = QTextBlockFormat.LineHeightTypes.ProportionalHeight.value


def dress(document: QTextDocument, look: Look, room: int) -> None:
    """Give a document read from Markdown our type and spacing; `room` is the width of the page in pixels."""
    blocks = list(_blocks(document))
    for frame in document.rootFrame().childFrames():
        if isinstance(frame, QTextTable):
            _table(frame, look, min(room, look.px(LINE)))
    spare = max(0, room - look.px(LINE))
    for block in blocks:
        _block(block, look, spare)


def _blocks(document: QTextDocument) -> Iterator[QTextBlock]:
    block = document.begin()
    while block.isValid():
        yield block
        block = block.next()


def _fragments(block: QTextBlock) -> list[QTextFragment]:
    found, place = [], block.begin()
    while not place.atEnd():
        found.append(place.fragment())
        place += 1
    return found


def _is_code(block: QTextBlock) -> bool:
    return block.isValid() and block.blockFormat().hasProperty(CODE)


def _block(block: QTextBlock, look: Look, spare: int) -> None:
    px = look.px
    cursor = QTextCursor(block)
    fragments = _fragments(block)
    shape, level = block.blockFormat(), block.blockFormat().headingLevel()
    inside, listed, code = cursor.currentTable() is not None, block.textList() is not None, _is_code(block)
    below = 4 if listed else 0 if inside or (code and _is_code(block.next())) else 8
    shape.setTopMargin(px(22) if level > 1 else 0)
    shape.setBottomMargin(px(below))
    if any(one.charFormat().isImageFormat() for one in fragments):
        shape.setTopMargin(px(6))
        shape.setBottomMargin(px(14))
        cursor.setBlockFormat(shape)
        return
    shape.setLineHeight(100 if level else 130, PROPORTIONAL)
    shape.setRightMargin(0 if inside else spare)
    if code:
        shape.setNonBreakableLines(False)  # a long command goes on to another line
        shape.setBackground(QColor(look.colours.well))
        shape.setLeftMargin(px(12))
    cursor.setBlockFormat(shape)
    for one in fragments:
        cursor.setPosition(one.position())
        cursor.setPosition(one.position() + one.length(), QTextCursor.MoveMode.KeepAnchor)
        cursor.mergeCharFormat(_letters(one.charFormat(), look, level))


def _letters(told: QTextCharFormat, look: Look, level: int) -> QTextCharFormat:
    """Our type in place of what Markdown asks for: keys and commands are set apart by their ground."""
    pressed = told.fontFixedPitch() or MONOSPACE in (told.fontFamilies() or ())
    strong = level or told.fontWeight() > MEDIUM
    weight = STRONG if strong else MEDIUM if told.fontFixedPitch() else NORMAL
    shape = QTextCharFormat()
    shape.setFont(look.font(HEADINGS.get(level, TEXT), weight, italic=told.fontItalic()))
    if pressed:
        shape.setFontFixedPitch(False)
        shape.setBackground(QColor(look.colours.well))
    if told.isAnchor():
        shape.setForeground(QColor(look.colours.forecast))
        shape.setFontUnderline(True)
    return shape


def _table(table: QTextTable, look: Look, width: int) -> None:
    px, none = look.px, QTextFrameFormat.BorderStyle.BorderStyle_None
    shape = table.format().toTableFormat()
    shape.setBorder(0)
    shape.setBorderStyle(none)
    shape.setBorderCollapse(True)
    shape.setCellSpacing(0)
    shape.setCellPadding(px(5))
    shape.setTopMargin(px(4))
    shape.setBottomMargin(px(14))
    shape.setWidth(QTextLength(QTextLength.Type.FixedLength, width))
    table.setFormat(shape)
    for row in range(table.rows()):
        for column in range(table.columns()):
            cell = table.cellAt(row, column)
            ruled = QTextTableCellFormat(cell.format().toTableCellFormat())
            ruled.setBorder(0)
            ruled.setBorderStyle(none)
            ruled.setBottomBorder(1)
            ruled.setBottomBorderStyle(QTextFrameFormat.BorderStyle.BorderStyle_Solid)
            ruled.setBottomBorderBrush(QColor(look.colours.edge if row == 0 else look.colours.rule))
            cell.setFormat(ruled)
