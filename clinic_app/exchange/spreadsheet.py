"""Spreadsheets, read by a program of its own under limits; only plain rows come back."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
import weakref
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import IO

from clinic_app.exchange.cells import Cell
from clinic_app.exchange.guard import refused

_ROOT = Path(__file__).resolve().parents[2]
_WAIT = 300


@dataclass(frozen=True, slots=True)
class Sheet:
    """One sheet as the reading program wrote it: where its rows begin in the rows' file, and what else it holds."""

    name: str
    hidden: bool
    hidden_columns: int
    hidden_rows: int
    merged: int
    count: int
    begins: int


@dataclass(frozen=True, slots=True, weakref_slot=True)
class Workbook:
    """The sheets of a workbook; their rows lie in a file without a name, which ends with this object."""

    sheets: tuple[Sheet, ...]
    lines: IO[bytes]

    def rows(self, sheet: Sheet) -> Iterator[tuple[int, tuple[Cell, ...]]]:
        """Row number, as the spreadsheet counts, and cells of each row."""
        at = sheet.begins
        for _ in range(sheet.count):
            self.lines.seek(at)
            line = self.lines.readline()
            at = self.lines.tell()
            number, cells = json.loads(line)
            yield number, tuple(cells)


def open_workbook(path: Path, kind: str) -> Workbook:
    """Read the spreadsheet in a limited program. Raises `Refusal` with its reason, or when it was stopped."""
    lines = tempfile.TemporaryFile()  # noqa: SIM115 - lives as long as the workbook
    command = [sys.executable, "-P", "-s", "-m", "clinic_app.exchange.reader_child", kind, str(path.resolve())]
    environment = {name: os.environ[name] for name in ("PATH", "SYSTEMROOT", "TEMP", "TMP") if name in os.environ}
    try:
        ended = subprocess.run(  # noqa: S603 - our own program, named in full, and one file name
            command, stdin=subprocess.DEVNULL, stdout=lines, stderr=subprocess.DEVNULL, timeout=_WAIT, check=False,
            env=environment | {"PYTHONPATH": str(_ROOT)},
        )  # fmt: skip
        code = ended.returncode
    except subprocess.TimeoutExpired:
        code = -1
    sheets = _index(lines)
    if code != 0:
        lines.close()
        raise refused(
            f"{path.name} could not be read within the limits of memory and time, or is damaged.",
            "Save the table again as XLSX with this one sheet, or as CSV (UTF-8), and import that file.",
        )
    workbook = Workbook(tuple(sheets), lines)
    weakref.finalize(workbook, lines.close)
    return workbook


def _index(lines: IO[bytes]) -> list[Sheet]:
    sheets: list[Sheet] = []
    head: dict[str, object] | None = None
    begins = count = 0

    def close() -> None:
        if head is not None:
            numbers = (head["hidden_columns"], head["hidden_rows"], head["merged"])
            wide, deep, merged = (number if isinstance(number, int) else 0 for number in numbers)
            sheets.append(Sheet(str(head["sheet"]), bool(head["hidden"]), wide, deep, merged, count, begins))

    lines.seek(0)
    at = 0
    for line in lines:
        at += len(line)
        if line.startswith(b"{"):
            close()
            found = json.loads(line) if line.endswith(b"\n") else {}
            if "refused" in found:
                lines.close()
                raise refused(*found["refused"])
            head, begins, count = (found, at, 0) if found else (None, at, 0)
        else:
            count += 1
    close()
    return sheets
