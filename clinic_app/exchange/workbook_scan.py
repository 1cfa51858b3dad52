"""What a table reader would not tell about a workbook: errors, formulas never worked out, hidden and merged cells.

The reader hands an error cell and a formula without a value on as an empty cell, and empty means "nothing said".
"""

from __future__ import annotations

import re
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass, field
from html import unescape
from pathlib import Path

from clinic_app.exchange.guard import SHEET_COLUMNS, SHEET_ROWS, refused

_SHEET = re.compile(rb"<(?:\w+:)?sheet\s[^>]*>")
_RELATION = re.compile(rb"<(?:\w+:)?Relationship\s[^>]*>")
_ATTRIBUTE = re.compile(rb"([\w:]+)\s*=\s*(?:\"([^\"]*)\"|'([^']*)')")
_ERROR = re.compile(rb"\st\s*=\s*[\"']e[\"']")
_FORMULA = re.compile(rb"<(?:\w+:)?f[\s>/]")
_VALUE = re.compile(rb"<(?:\w+:)?v(?:\s[^>]*)?>([^<]*)<")
_CELL = re.compile(rb"<(?:\w+:)?c[\s>]")
_CELL_END = re.compile(rb"</(?:\w+:)?c>")
_FORMULA_TEXT = re.compile(rb"<(?:\w+:)?f(?:\s[^>]*)?>([^<]*)<")
_HIDDEN = re.compile(rb"<(?:\w+:)?(col|row)\s[^>]*?hidden\s*=\s*[\"'](?:1|true)[\"'][^>]*>")
_MERGE = re.compile(rb"<(?:\w+:)?mergeCell\s[^>]*?ref\s*=\s*[\"']([A-Z]+)(\d+):([A-Z]+)(\d+)[\"']")
_FAR = re.compile(
    rb"<(?:\w+:)?c\s[^>]*?r\s*=\s*[\"']([A-Z]{3,}\d+|[A-Z]+\d{5,}|[P-Z][A-Z]\d+|O[K-Z]\d+)[\"'][^>]*?(/?)>"
)
_REFERENCE = re.compile(r"([A-Z]{1,4})(\d{1,10})\Z")
_MAX_MERGED = 1_000_000
_MAX_ODD = 1_000_000


@dataclass(slots=True)
class Oddities:
    """What one sheet holds besides plain values.

    `cells`: (row, column), both from 1 -> the text to show in its place: an error such as `#N/A`, or the formula that
    was never worked out. The counts are of hidden columns, hidden rows and merged areas.
    """

    hidden: bool = False
    cells: dict[tuple[int, int], str] = field(default_factory=dict)
    hidden_columns: int = 0
    hidden_rows: int = 0
    merged: int = 0


def column_number(letters: str) -> int:
    """A is 1, Z is 26, AA is 27."""
    number = 0
    for letter in letters:
        number = number * 26 + ord(letter) - 64
    return number


def scan(path: Path) -> dict[str, Oddities]:
    """Sheet name -> oddities, in the workbook's order; to be called after `guard.check_zip`.

    Raises `Refusal` for a cell beyond the grid that is taken, or merged areas that cover the whole of it.
    """
    found: dict[str, Oddities] = {}
    with zipfile.ZipFile(path) as archive:
        names = set(archive.namelist())
        targets = {}
        if "xl/_rels/workbook.xml.rels" in names:
            for match in _RELATION.finditer(archive.read("xl/_rels/workbook.xml.rels")):
                at = _attributes(match[0])
                target = at.get("Target", "")
                targets[at.get("Id", "")] = target.lstrip("/") if target.startswith("/") else f"xl/{target}"
        for match in _SHEET.finditer(archive.read("xl/workbook.xml")):
            at = _attributes(match[0])
            relation = next((value for name, value in at.items() if name.endswith(":id")), "")
            part = targets.get(relation, "")
            odd = _scan_sheet(path, archive.read(part)) if part in names else Oddities()
            odd.hidden = at.get("state", "visible") != "visible"
            found[at.get("name", "")] = odd
    return found


def _attributes(tag: bytes) -> dict[str, str]:
    return {
        match[1].decode("ascii", "replace"): unescape((match[2] or match[3] or b"").decode("utf-8", "replace"))
        for match in _ATTRIBUTE.finditer(tag)
    }


def _scan_sheet(path: Path, text: bytes) -> Oddities:
    odd = Oddities()
    for match in _FAR.finditer(text):
        row, column = _position(match[1].decode())
        if not match[2] and (row > SHEET_ROWS + 1 or column > SHEET_COLUMNS):
            raise refused(
                f"{path.name} has a cell at {match[1].decode()}, beyond {SHEET_ROWS} rows or {SHEET_COLUMNS} columns.",
                "Delete what lies outside the table, split it by surgery date, or save it as CSV (UTF-8).",
            )
    for tag, at, end in _odd_cells(text):
        position = _position(_attributes(tag).get("r", ""))
        inside = text[at:end]
        value = _VALUE.search(inside)
        shown = unescape(value[1].decode("utf-8", "replace")).strip() if value else ""
        if _ERROR.search(tag):
            odd.cells[position] = shown or "#ERROR!"
        elif not shown and b'"str"' not in tag:
            formula = _FORMULA_TEXT.search(inside)
            odd.cells[position] = "=" + (unescape(formula[1].decode("utf-8", "replace"))[:200] if formula else "")
        if len(odd.cells) > _MAX_ODD:
            raise refused(f"{path.name} holds more errors and unfinished formulas than values.")
    for match in _HIDDEN.finditer(text):
        if match[1] == b"row":
            odd.hidden_rows += 1
        else:
            at_ = _attributes(match[0])
            first, last = at_.get("min", "1"), at_.get("max", "1")
            odd.hidden_columns += int(last) - int(first) + 1 if first.isdigit() and last.isdigit() else 1
    area = 0
    for match in _MERGE.finditer(text):
        odd.merged += 1
        wide = column_number(match[3].decode()) - column_number(match[1].decode()) + 1
        area += wide * (int(match[4]) - int(match[2]) + 1)
        if area > _MAX_MERGED:
            raise refused(f"{path.name} merges cells over the whole sheet.", "Undo the merging and import again.")
    return odd


def _odd_cells(text: bytes) -> Iterator[tuple[bytes, int, int]]:
    """Tag, begin and end of each cell that holds an error, then of each other cell that holds a formula."""
    for pattern in (_ERROR, _FORMULA):
        for match in pattern.finditer(text):
            start = text.rfind(b"<", 0, match.start())
            close = text.find(b">", start)
            tag = text[start : close + 1]
            error = pattern is _ERROR
            if not _CELL.match(tag) or (error and match.start() > close) or (not error and _ERROR.search(tag)):
                continue
            end = _CELL_END.search(text, close)
            yield tag, close + 1, end.start() if end else close + 1


def _position(reference: str) -> tuple[int, int]:
    match = _REFERENCE.match(reference)
    return (int(match[2]), column_number(match[1])) if match else (0, 0)
