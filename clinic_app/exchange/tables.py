"""A file opened as tables: headings and rows, whatever kind of file it is."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import islice
from pathlib import Path

from clinic_app.exchange import csv_text
from clinic_app.exchange.cells import Cell, unmark
from clinic_app.exchange.guard import kind_of, refused
from clinic_app.exchange.spreadsheet import Sheet, Workbook, open_workbook

Rows = Iterator[tuple[int, tuple[Cell, ...]]]
_TITLES = 10


@dataclass(frozen=True, slots=True)
class Table:
    """One table of a file.

    `name` is the file's name, with the sheet's when the file has several; `rows()` gives row number (as a spreadsheet
    counts, the heading's included) and cells, from the beginning at each call; `rows_expected` is a count or an upper
    bound; `notes` says in sentences what else the sheet holds.
    """

    name: str
    headings: tuple[str, ...]
    heading_row: int
    rows: Callable[[], Rows]
    rows_expected: int
    notes: tuple[str, ...] = ()
    delimiter: str | None = None
    encoding: str | None = None


def open_tables(
    path: Path, *, encoding: str | None = None, delimiter: str | None = None, key: tuple[str, ...] = ("patient_id",)
) -> list[Table]:
    """The tables of a CSV, XLSX, XLS or ODS file; hidden sheets and empty ones are left out with a note.

    The heading is the first row that holds all of `key`, among the first ten, else the first row. Raises `Refusal` for
    a file that is no table, is empty, damaged, hostile or too large, or has no rows under its heading.
    """
    kind = kind_of(path)
    if kind == "csv":
        return [_csv(path, encoding, delimiter, key)]
    return _sheets(path, open_workbook(path, kind), kind, key)


def _csv(path: Path, encoding: str | None, delimiter: str | None, key: tuple[str, ...]) -> Table:
    encoding = csv_text.encoding_of(path) if encoding is None else csv_text.check_encoding(path, encoding)
    delimiter = delimiter or csv_text.delimiter_of(path, encoding, key[0])

    def source() -> Rows:
        return csv_text.rows_of(path, encoding, delimiter)

    heading_row, headings = _heading(source(), key)
    with path.open("rb") as file:
        lines = sum(chunk.count(b"\n") for chunk in iter(lambda: file.read(1 << 20), b"")) + 1
    table = Table(
        path.name, headings, heading_row, _below(source, heading_row, headings), max(lines - heading_row, 1),
        delimiter=delimiter, encoding=encoding,
    )  # fmt: skip
    if next(table.rows(), None) is None:
        raise refused(f"{path.name} holds a heading and no rows.", "Export the table again, with its rows.")
    return table


def _sheets(path: Path, workbook: Workbook, kind: str, key: tuple[str, ...]) -> list[Table]:
    tables: list[Table] = []
    left_out: list[str] = []
    for sheet in workbook.sheets:
        table = None if sheet.hidden else _sheet(path, workbook, sheet, kind, key)
        if sheet.hidden:
            left_out.append(f"Sheet {sheet.name} is hidden and was not read.")
        elif table is None:
            left_out.append(f"Sheet {sheet.name} holds no rows.")
        else:
            tables.append(table)
    if not tables:
        raise refused(
            f"{path.name} holds no visible sheet with a heading and rows.",
            "Show the sheet with the table and save again.",
        )
    if left_out:
        first = tables[0]
        tables[0] = Table(
            first.name, first.headings, first.heading_row, first.rows, first.rows_expected, (*first.notes, *left_out)
        )
    return tables


def _sheet(path: Path, workbook: Workbook, sheet: Sheet, kind: str, key: tuple[str, ...]) -> Table | None:
    def source() -> Rows:
        return ((number, cells) for number, cells in workbook.rows(sheet) if any(cell != "" for cell in cells))

    heading_row, headings = _heading(source(), key)
    rows = _below(source, heading_row, headings)
    if next(rows(), None) is None:
        return None
    notes = [
        words
        for count, words in (
            (sheet.hidden_columns, f"Sheet {sheet.name} has hidden columns; they were read as well."),
            (sheet.hidden_rows, f"Sheet {sheet.name} has hidden rows; they were read as well."),
            (sheet.merged, f"Sheet {sheet.name} has merged cells; only the first cell of each holds the value."),
            (kind == "xls", "In the old XLS kind of file a cell with an error is read as an empty one."),
        )
        if count
    ]
    name = path.name if len([one for one in workbook.sheets if not one.hidden]) == 1 else f"{path.name}, {sheet.name}"
    return Table(name, headings, heading_row, rows, sheet.count, tuple(notes))


def _heading(rows: Rows, key: tuple[str, ...]) -> tuple[int, tuple[str, ...]]:
    first: tuple[int, tuple[str, ...]] | None = None
    for number, cells in islice(rows, _TITLES):
        headings = tuple(heading_text(cell) for cell in cells)
        while headings and not headings[-1]:
            headings = headings[:-1]
        first = first or (number, headings)
        if set(key) <= {heading.lower() for heading in headings}:
            return number, headings
    return first or (1, ())


def heading_text(cell: Cell) -> str:
    """A heading as it is matched: without the mark, without blanks around it."""
    text = cell if isinstance(cell, str) else f"{cell:g}"
    return unmark(text).strip().strip("\ufeff")


def _headings(cells: tuple[Cell, ...]) -> tuple[str, ...]:
    return tuple(heading_text(cell).lower() for cell in cells)


def _below(source: Callable[[], Rows], heading_row: int, headings: tuple[str, ...]) -> Callable[[], Rows]:
    same = tuple(heading.lower() for heading in headings) or ("",)

    def rows() -> Rows:
        for number, cells in source():
            if number <= heading_row:
                continue
            first = cells[0]
            if first == "" and not any(cell != "" for cell in cells):
                continue
            if (
                isinstance(first, str)
                and heading_text(first).lower() == same[0]
                and _headings(cells)[: len(same)] == same
            ):
                continue  # a heading repeated on each page
            yield number, cells

    return rows
