"""Rows left out by an import, corrected by hand and brought in again; or written down to be corrected elsewhere."""

from __future__ import annotations

import tempfile
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from clinic_app.exchange.columns import CONFIRMED
from clinic_app.exchange.mapping import Mapping, read_mapping
from clinic_app.services.intake.refused import LeftOut, write_refused
from clinic_app.services.intake.result import ImportResult, LeftRow, Problem
from clinic_app.services.intake.run import import_files
from clinic_app.session import Session
from models.progress import Report, silent

FIRST_ROW = 2
"""The number of the first row under the heading, as a spreadsheet counts."""


def corrected(row: LeftRow, heading: str, text: str) -> LeftRow:
    """The row with another text in one of its cells."""
    return replace(row, cells={**row.cells, heading: text})


def confirmed(row: LeftRow, problem: Problem) -> LeftRow:
    """The row with a person's word that this cell is right as it stands."""
    held = next((name for name in row.cells if name.lower() == CONFIRMED), CONFIRMED)
    words = [word for word in row.cells.get(held, "").split("|") if word]
    return corrected(row, held, "|".join(dict.fromkeys([*words, problem.confirm])))


def write_left(path: Path, rows: Sequence[LeftRow], *, delimiter: str = ",") -> Path:
    """Write the rows as CSV with a last column that says why each was left out, whole or not at all."""
    write_refused(path, [_left_out(row) for row in rows], delimiter)
    return path


def import_again(
    session: Session,
    rows: Sequence[LeftRow],
    *,
    mapping: Path | None = None,
    dry_run: bool = False,
    report: Report = silent,
) -> ImportResult:
    """Import rows that were left out, as they stand now; each keeps the file and the number under which it first stood.

    `mapping` is the one of the first import. What is still against a row comes back in the result.
    """
    found = Mapping() if mapping is None else read_mapping(mapping)
    with tempfile.TemporaryDirectory(prefix=".again-", dir=session.folder) as folder:
        path = Path(folder) / "rows.csv"
        write_left(path, rows, delimiter=found.delimiter or ",")
        result = import_files(session, [path], mapping=mapping, encoding="utf-8", dry_run=dry_run, report=report)
    return replace(
        result,
        files=tuple(dict.fromkeys(row.file for row in rows)),
        problems=tuple(_named(rows, one) for one in result.problems),
        notes=tuple(_named(rows, one) for one in result.notes),
        left=tuple(
            replace(
                _origin(rows, one.row), cells=one.cells, problems=tuple(_named(rows, each) for each in one.problems)
            )
            for one in result.left
        ),
    )


def _left_out(row: LeftRow) -> LeftOut:
    why = "; ".join(f"{one.column}: {one.reason}" if one.column else one.reason for one in row.problems)
    return LeftOut(tuple(row.cells), tuple(row.cells.values()), why)


def _origin(rows: Sequence[LeftRow], number: int) -> LeftRow:
    return rows[number - FIRST_ROW]


def _named(rows: Sequence[LeftRow], problem: Problem) -> Problem:
    if problem.row is None:
        return problem
    first = _origin(rows, problem.row)
    return replace(problem, file=first.file, row=first.row)
