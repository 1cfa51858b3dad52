"""A program of its own that turns a spreadsheet into rows of JSON, under limits, so that a hostile file ends only it.

`python -m clinic_app.exchange.reader_child KIND FILE` writes to stdout, for each sheet, one line
`{"sheet", "hidden", "hidden_columns", "hidden_rows", "merged"}` followed by its rows `[row number, [cells]]`. A cell is
text or a number; days and times are ISO 8601, truth values TRUE and FALSE. A fault ends it with one line
`{"refused": [why, next]}`.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator
from datetime import date, datetime, time, timedelta
from pathlib import Path

import python_calamine

from clinic_app.errors import Refusal
from clinic_app.exchange.guard import SHEET_COLUMNS, SHEET_ROWS, check_zip, refused
from clinic_app.exchange.workbook_scan import Oddities, scan

MEMORY = 1536 * 2**20
SECONDS = 120


def _limit() -> None:
    if sys.platform == "win32":
        return
    import resource  # noqa: PLC0415 - only there on POSIX

    resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))
    resource.setrlimit(resource.RLIMIT_CPU, (SECONDS, SECONDS))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))


def plain(value: object) -> str | float:
    """A cell as the reader gives it, as text or number."""
    if isinstance(value, bool):
        return "TRUE" if value else "FALSE"
    if isinstance(value, int | float):
        return float(value)
    if isinstance(value, datetime):
        if (value.hour, value.minute, value.second, value.microsecond) == (0, 0, 0, 0):
            return value.date().isoformat()
        value = (value + timedelta(milliseconds=500)).replace(microsecond=0)
        return value.isoformat(timespec="seconds" if value.second else "minutes")
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, time):
        return value.isoformat(timespec="seconds" if value.second else "minutes")
    if isinstance(value, timedelta):
        seconds = round(value.total_seconds())
        return f"{seconds // 3600}:{seconds // 60 % 60:02}" + (f":{seconds % 60:02}" if seconds % 60 else "")
    return str(value)


def rows_of(sheet: python_calamine.CalamineSheet, odd: Oddities) -> Iterator[tuple[int, list[str | float]]]:
    """Row number and cells of each row, with errors and unfinished formulas put where the reader shows nothing."""
    by_row: dict[int, dict[int, str]] = {}
    for (row, column), text in odd.cells.items():
        by_row.setdefault(row, {})[column] = text
    # The reader begins at the first row of the sheet, but at the first column that holds something.
    empty: list[str | float] = [""] * (sheet.start[1] if sheet.start else 0)
    number = 0
    for number, cells in enumerate(sheet.iter_rows(), start=1):
        line = empty + [plain(cell) for cell in cells]
        for column, text in by_row.pop(number, {}).items():
            line += [""] * (column - len(line))
            line[column - 1] = text
        yield number, line
    for row in sorted(by_row):
        yield row, [by_row[row].get(column, "") for column in range(1, max(by_row[row]) + 1)]


def _write(kind: str, path: Path) -> None:
    odd: dict[str, Oddities] = {}
    if kind in ("xlsx", "ods"):
        check_zip(path)
    if kind == "xlsx":
        odd = scan(path)
    try:
        workbook = python_calamine.CalamineWorkbook.from_path(str(path))
        for about in workbook.sheets_metadata:
            if about.typ is not python_calamine.SheetTypeEnum.WorkSheet:
                continue
            sheet = workbook.get_sheet_by_name(about.name)
            found = odd.get(about.name, Oddities())
            hidden = found.hidden or about.visible is not python_calamine.SheetVisibleEnum.Visible
            last = sheet.end or (0, 0)
            if last[0] > SHEET_ROWS or last[1] >= SHEET_COLUMNS:
                raise refused(
                    f"Sheet {about.name} is larger than {SHEET_ROWS} rows or {SHEET_COLUMNS} columns.",
                    "Split it by surgery date, or save it as CSV (UTF-8), which may be larger.",
                )
            head = {
                "sheet": about.name, "hidden": hidden, "hidden_columns": found.hidden_columns,
                "hidden_rows": found.hidden_rows, "merged": found.merged,
            }  # fmt: skip
            print(json.dumps(head))
            if not hidden:
                for number, line in rows_of(sheet, found):
                    print(json.dumps((number, line), ensure_ascii=False))
    except python_calamine.CalamineError:
        raise refused(f"{path.name} is damaged, or no spreadsheet that can be read.") from None


def main() -> int:
    """Read the file named on the command line; 0 when all was written, 1 when refused."""
    kind, name = sys.argv[1:3]
    _limit()
    try:
        _write(kind, Path(name))
    except Refusal as no:
        print(json.dumps({"refused": [no.why, no.next]}))
        return 1
    except MemoryError:
        return 9
    return 0


if __name__ == "__main__":
    sys.stdout.reconfigure(encoding="utf-8", newline="\n")  # type: ignore[union-attr]
    sys.exit(main())
