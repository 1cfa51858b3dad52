"""The rows that were left out, written so that they can be corrected and imported alone."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from clinic_app.exchange.cells import Cell, mark
from clinic_app.exchange.columns import WHY
from clinic_app.exchange.csv_out import csv_of
from clinic_app.exchange.row_reader import shown
from clinic_app.files import write_whole


@dataclass(frozen=True, slots=True)
class LeftOut:
    """One row left out: the headings of its table, its cells as they stood, and why."""

    headings: tuple[str, ...]
    cells: tuple[Cell, ...]
    why: str


def write_refused(path: Path, rows: Sequence[LeftOut], delimiter: str) -> None:
    """Write the rows as CSV in UTF-8 with their headings and a last column that says why, whole or not at all."""
    columns: dict[str, str] = {}
    for row in rows:
        for heading in row.headings:
            if heading and heading.lower() != WHY:
                columns.setdefault(heading.lower(), heading)
    lines = [[*map(mark, columns.values()), WHY]]
    for row in rows:
        cells = dict(zip((one.lower() for one in row.headings), row.cells, strict=False))
        lines.append([*(mark(shown(cells.get(name, ""))) for name in columns), mark(row.why)])
    write_whole(path, csv_of(lines, delimiter=delimiter))
