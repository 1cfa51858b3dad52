"""The record as tables of our own: CSV and XLSX that read back bit for bit and hold nothing a spreadsheet would run."""

from __future__ import annotations

import contextlib
import io
import re
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from itertools import chain

from openpyxl import Workbook
from openpyxl.cell import WriteOnlyCell
from openpyxl.worksheet._write_only import WriteOnlyWorksheet

from clinic_app.domain.record import Case, CaseKey, StageRecord
from clinic_app.exchange.cells import cell_text, mark
from clinic_app.exchange.columns import CONFIRMED
from clinic_app.exchange.csv_out import csv_of
from models.codebook import BY_NAME, KEY, Field, Stage, fields_of
from models.progress import Report, silent

CASE_STAGES = (Stage.BOOKING, Stage.THEATRE, Stage.DAY_ONE)
PATIENT_COLUMNS = ("patient_id", "birth_date", "sex")
FORECAST_COLUMNS = (
    "patient_id", "eye", "surgery_date", "model_id", "model", "made_at", "risk", "low", "high", "status", "locked",
)  # fmt: skip
SHEET_ROWS = 1_048_575
_ESCAPE = re.compile("[\x00-\x08\x0b\x0c\x0d\x0e-\x1f\ufffe\uffff]|_(?=x[0-9A-Fa-f]{4}_)")

Flat = Mapping[str, object]
"""Column name -> value of the record, or None."""


@dataclass(frozen=True, slots=True)
class OutTable:
    """A table to be written: its name (sheet or file), its columns, its rows flat."""

    name: str
    columns: tuple[str, ...]
    rows: tuple[Flat, ...]


def flat_record(record: StageRecord) -> dict[str, object]:
    """Values, reasons, texts as typed, devices and days of one record under their column names."""
    flat: dict[str, object] = record.row()
    if record.typed:
        flat.update({f"{name}_typed": text for name, text in record.typed.items()})
    for name, origin in record.origin.items():
        flat[f"{name}_source"], flat[f"{name}_at"] = origin.source, origin.at
    return flat


def flat_key(key: CaseKey) -> dict[str, object]:
    """The key under its column names."""
    return {"patient_id": key.patient_id, "eye": key.eye, "surgery_date": key.surgery_date}


def flat_case(case: Case) -> dict[str, object]:
    """A case with all its stages, without rechecks."""
    flat = flat_key(case.key)
    for stage in CASE_STAGES:
        if case.has(stage):
            flat.update(flat_record(case.stages[stage].record))
    return flat


def columns_for(fields: Iterable[Field], rows: Iterable[Flat]) -> tuple[str, ...]:
    """Each field's column, followed by those of its companions that any row uses; `confirmed` last, when used."""
    used = {name for row in rows for name, value in row.items() if value is not None}
    columns: list[str] = []
    for field in fields:
        companions = (f"{field.name}{part}" for part in ("_missing", "_typed", "_source", "_at"))
        columns += [field.name, *(name for name in companions if name in used and name not in BY_NAME)]
    return (*columns, *((CONFIRMED,) if CONFIRMED in used else ()))


def case_table(rows: Iterable[Flat]) -> OutTable:
    """One row per case, all stages side by side."""
    kept = tuple(rows)
    fields = [field for stage in CASE_STAGES for field in fields_of(stage)]
    return OutTable("cases", columns_for(fields, kept), kept)


def recheck_table(rows: Iterable[Flat]) -> OutTable:
    """One row per visit after day one (or on the day of surgery)."""
    kept = tuple(rows)
    return OutTable("rechecks", (*KEY, *columns_for(fields_of(Stage.RECHECK), kept)), kept)


def patient_table(rows: Iterable[Flat]) -> OutTable:
    """One row per patient: what both eyes share."""
    kept: dict[object, dict[str, object]] = {}
    for row in rows:
        said = {
            name: value
            for name, value in row.items()
            if value is not None and name.removesuffix("_missing").removesuffix("_typed") in PATIENT_COLUMNS
        }
        kept.setdefault(row["patient_id"], {}).update(said)
    patients = tuple(kept.values())
    used = {name for row in patients for name in row}
    columns = [
        name
        for base in PATIENT_COLUMNS
        for name in (base, f"{base}_missing", f"{base}_typed")
        if name == base or name in used
    ]
    return OutTable("patients", tuple(columns), patients)


def _told(table: OutTable, report: Report) -> Iterator[Flat]:
    many = max(len(table.rows), 1)
    for at, row in enumerate(table.rows):
        if at % 500 == 0:
            report(at / many, f"Writing {table.name}: {at} of {len(table.rows)}.")
        yield row


def csv_bytes(table: OutTable, report: Report = silent) -> bytes:
    """The table as CSV: UTF-8, comma between cells, decimal point, texts marked if a spreadsheet would run them."""
    rows = ([_csv_cell(row.get(name)) for name in table.columns] for row in _told(table, report))
    return csv_of(chain([table.columns], rows))


def _csv_cell(value: object) -> str:
    text = cell_text(value)
    return mark(text) if isinstance(value, str) else text


def workbook_bytes(tables: Iterable[OutTable], report: Report = silent) -> bytes:
    """The tables as the sheets of one XLSX workbook; texts are text cells, never formulas, and days are text too."""
    book = Workbook(write_only=True)
    with contextlib.ExitStack() as undo:
        undo.callback(_forget, book)
        for table in tables:
            _fill(book.create_sheet(table.name), table, report)
        undo.pop_all()
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def _fill(sheet: WriteOnlyWorksheet, table: OutTable, report: Report) -> None:
    def text_cell(text: str) -> object:
        cell = WriteOnlyCell(sheet)
        cell._value, cell.data_type = _escaped(text), "s"  # the setter would make formulas of texts
        return cell

    sheet.append([text_cell(name) for name in table.columns])
    for row in _told(table, report):
        sheet.append([_sheet_cell(row.get(name), text_cell) for name in table.columns])


def _forget(book: Workbook) -> None:
    """Remove the writer's own temporary files, which hold records, when the work was stopped."""
    for sheet in book.worksheets:
        sheet.close()
        sheet._writer.cleanup()


def _sheet_cell(value: object, text_cell: Callable[[str], object]) -> object:
    if value is None:
        return None
    if isinstance(value, float | int) and not isinstance(value, bool) and _exact(float(value)):
        return value
    text = _csv_cell(value)
    return text_cell(text) if text else None


def _exact(number: float) -> bool:
    """Whether the sixteen digits that the workbook's writer keeps are all there are."""
    return float(f"{number:.16g}") == number and abs(number) < 1e15


def _escaped(text: str) -> str:
    """Characters that XML cannot hold, in the spreadsheet's own way of writing them."""
    return _ESCAPE.sub(lambda found: f"_x{ord(found[0]):04X}_", text)
