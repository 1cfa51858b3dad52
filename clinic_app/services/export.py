"""The record taken out: cases as a table, the whole record as workbook or folder, forecasts; or without people."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path

from clinic_app.domain.derived import complete
from clinic_app.domain.people import Duty
from clinic_app.domain.record import Case
from clinic_app.domain.seal import MODELS, masked
from clinic_app.domain.states import STATES, state_of
from clinic_app.domain.words import counted
from clinic_app.errors import Refusal
from clinic_app.exchange.asking import Confirming, operated
from clinic_app.exchange.columns import CONFIRMED
from clinic_app.exchange.deidentify import RULES, Disguises, rare_sexes
from clinic_app.exchange.exporter import (
    FORECAST_COLUMNS,
    Flat,
    OutTable,
    case_table,
    csv_bytes,
    flat_case,
    flat_key,
    flat_record,
    patient_table,
    recheck_table,
    workbook_bytes,
)
from clinic_app.files import write_whole
from clinic_app.session import Session
from models.progress import Report, silent

MANIFEST = "manifest.json"
SHEET_ROWS = 1_048_575
_MARKS = (
    "Text that a spreadsheet would run as a formula, or that begins with an apostrophe, has an apostrophe before it; "
    "the program's import takes it off again. Numbers are never marked."
)


@dataclass(frozen=True, slots=True)
class ExportResult:
    """What was written: the files, how many rows each table has, and of how many eyes something was left out because
    it is sealed for the person until they are graded."""

    files: tuple[Path, ...]
    rows: dict[str, int]
    deidentified: bool
    sealed: int = 0

    def as_dict(self) -> dict[str, object]:
        """The JSON document of the command `export`."""
        return {
            "files": [str(path) for path in self.files],
            "rows": self.rows,
            "deidentified": self.deidentified,
            "sealed": self.sealed,
        }

    def sentence(self) -> str:
        """One line for the person."""
        counts = ", ".join(f"{count} {name}" for name, count in self.rows.items())
        written = f"Written: {counts}, to {', '.join(str(path) for path in self.files)}."
        if not self.sealed:
            return written
        return f"{written} {counted(self.sealed, 'eye is', 'eyes are')} not graded yet: what is sealed was left out."


def export(
    session: Session,
    path: Path,
    *,
    from_: date | None = None,
    to: date | None = None,
    deidentified: bool = False,
    forecasts: bool = False,
    report: Report = silent,
) -> ExportResult:
    """Write the cases with a surgery date from `from_` to `to`.

    `path` ending in `.csv`: one row a case, all stages side by side. Ending in `.xlsx`: the whole record as a workbook
    with the tables patients, cases and rechecks. Without an ending: the same as a folder of CSV files with a manifest.
    Imported into an empty practice, each gives the same cases, bit for bit. With `forecasts` the stored forecasts are
    written instead. With `deidentified` people cannot be told: see the manifest beside the file. What is sealed for the
    person acting is left out. Files are written whole or not at all; raises `Refusal` without the duty Data lead, for
    another ending, or a folder that holds something else.
    """
    session.need(Duty.DATA_LEAD, act="Exporting records")
    ending = path.suffix.lower()
    if ending not in (".csv", ".xlsx", ""):
        raise Refusal(
            "Nothing was written.",
            f"{path.name} ends in neither .csv nor .xlsx.",
            "Name a CSV or XLSX file, or a folder without an ending for the whole record.",
        )
    if ending and path.is_dir():
        raise Refusal("Nothing was written.", f"{path.name} is a folder.", "Name a file.")
    report(0.0, "Reading the records.")
    if forecasts:
        if deidentified:
            raise Refusal(
                "Nothing was written.",
                "Stored forecasts name eyes as they stand in the practice; they are not written without people.",
                "Export the records de-identified, or the forecasts as they are.",
            )
        tables, sealed = _forecast_table(session, from_, to)
    else:
        tables, sealed = _record_tables(session, from_, to, deidentified=deidentified, report=report)
    if ending:
        left = 0
        if ending == ".csv" and not forecasts:
            left = sum(len(one.rows) for one in tables if one.name == "rechecks")
            tables = tuple(one for one in tables if one.name == "cases")
        written = _one_file(session, path, tables, deidentified=deidentified, left=left, report=report)
    else:
        written = _folder(session, path, tables, deidentified=deidentified, report=report)
    _note(session, written)
    return replace(written, sealed=sealed)


def _note(session: Session, written: ExportResult) -> None:
    """Write down that records were taken out; where the practice is open for reading only it cannot be."""
    if session.store.read_only:
        return
    counts = ", ".join(f"{count} {name}" for name, count in written.rows.items())
    with session.store.writing(by=session.person, act="export") as write:
        write.note("records", f"{counts}, without people" if written.deidentified else counts)


def _record_tables(
    session: Session, from_: date | None, to: date | None, *, deidentified: bool, report: Report
) -> tuple[tuple[OutTable, ...], int]:
    """The tables, and how many eyes are sealed in part."""
    cases = session.store.cases(from_=from_, to=to)
    hidden = {state: session.hides(state) for state in STATES}
    secrets = [hidden[state_of(case)] for case in cases]
    zone = session.settings.zone or None
    rows: list[dict[str, object]] = []
    visits: list[dict[str, object]] = []
    confirming = Confirming(zone)
    waiting: dict[tuple[str, str], int] = {}
    flats = [flat_case(case) for case in cases]
    for case, flat in zip(cases, flats, strict=True):
        if not operated(flat):
            eye = (case.key.patient_id, case.key.eye)
            waiting[eye] = waiting.get(eye, 0) + 1
    for at, (case, whole) in enumerate(zip(cases, flats, strict=True)):
        if at % 500 == 0:
            report(0.4 * at / len(cases), f"Collecting: eye {at} of {len(cases)}.")
        others = waiting.get((case.key.patient_id, case.key.eye), 0) - (0 if operated(whole) else 1)
        flat = masked(whole, secrets[at])
        flat[CONFIRMED] = confirming.of_case(flat, other_date=others > 0)
        rows.append(flat)
        visits += _visits(case, confirming)
    if deidentified:
        rows, visits = _without_people(rows, visits, zone)
        return (case_table(rows), recheck_table(visits)), sum(map(bool, secrets))
    return (patient_table(rows), case_table(rows), recheck_table(visits)), sum(map(bool, secrets))


def _visits(case: Case, confirming: Confirming) -> list[dict[str, object]]:
    visits: list[dict[str, object]] = []
    for visit in case.rechecks:
        flat = {**flat_key(case.key), **flat_record(visit.record)}
        flat[CONFIRMED] = "|".join(confirming.of_values(flat)) or None
        visits.append(flat)
    return visits


def _without_people(
    rows: Sequence[dict[str, object]], visits: Sequence[dict[str, object]], zone: str | None
) -> tuple[list[dict[str, object]], list[dict[str, object]]]:
    disguises = Disguises(str(row["patient_id"]) for row in rows)
    rare = rare_sexes(rows)
    plain: list[dict[str, object]] = []
    for row in rows:
        full = complete(row, zone=zone)
        for name in ("hours_since_surgery", "preop_va_logmar", "ucva_logmar"):
            row[name] = full.get(name)
        plain.append(disguises.row(row, rare))
    for visit in visits:
        visit["recheck_va_logmar"] = complete(visit, zone=zone).get("recheck_va_logmar")
    plain.sort(key=lambda row: (str(row["surgery_date"]), str(row["patient_id"])))
    return plain, [disguises.row(visit, rare) for visit in visits]


def _forecast_table(session: Session, from_: date | None, to: date | None) -> tuple[tuple[OutTable, ...], int]:
    """The table of forecasts that are not sealed, and of how many eyes some are."""
    rows: list[Flat] = []
    hidden = {state: session.hides(state) for state in STATES}
    secrets = {case.key: hidden[state_of(case)] for case in session.store.cases(from_=from_, to=to)}
    sealed = set()
    for one in session.store.forecasts():
        day = one.key.surgery_date
        if (from_ is not None and day < from_) or (to is not None and day > to):
            continue
        if MODELS[one.model] in secrets[one.key]:
            sealed.add(one.key)
            continue
        rows.append(
            {
                **flat_key(one.key), "model_id": one.model_id, "model": one.model, "made_at": one.made_at.isoformat(),
                "risk": one.risk, "low": one.low, "high": one.high, "status": one.status, "locked": one.locked,
            }
        )  # fmt: skip
    return (OutTable("forecasts", FORECAST_COLUMNS, tuple(rows)),), len(sealed)


def _one_file(
    session: Session, path: Path, tables: Sequence[OutTable], *, deidentified: bool, left: int, report: Report
) -> ExportResult:
    later = _part(report, 0.4)
    as_csv = path.suffix.lower() == ".csv"
    content = csv_bytes(tables[0], later) if as_csv else workbook_bytes(_fitting(tables), later)
    files = [write_whole(path, content)]
    if deidentified:
        beside = path.with_name(f"{path.stem}.{MANIFEST}")
        files.append(_manifest(session, beside, tables, {path.name: content}, deidentified=True))
    rows = {table.name: len(table.rows) for table in tables}
    if left:
        rows["rechecks left out (a workbook or a folder holds them)"] = left
    report(1.0, "Written.")
    return ExportResult(tuple(files), rows, deidentified)


def _fitting(tables: Sequence[OutTable]) -> Sequence[OutTable]:
    for table in tables:
        if len(table.rows) > SHEET_ROWS:
            raise Refusal(
                "Nothing was written.",
                f"The table {table.name} has more rows than a sheet can hold.",
                "Export to a folder of CSV files instead.",
            )
    return tables


def _folder(
    session: Session, path: Path, tables: Sequence[OutTable], *, deidentified: bool, report: Report
) -> ExportResult:
    ours = {MANIFEST, *(f"{name}.csv" for name in ("patients", "cases", "rechecks", "forecasts"))}
    try:
        path.mkdir(exist_ok=True)
        found = {one.name for one in path.iterdir()}
    except OSError:
        raise Refusal(
            "Nothing was written.", f"The folder {path.name} cannot be made or read.", "Choose another place."
        ) from None
    if found - ours:
        raise Refusal("Nothing was written.", f"The folder {path.name} holds other files.", "Name a new folder.")
    contents: dict[str, bytes] = {}
    for at, table in enumerate(tables):
        contents[f"{table.name}.csv"] = csv_bytes(table, _part(report, 0.4 + 0.5 * at / len(tables), 0.5 / len(tables)))
    for stale in found - contents.keys():
        (path / stale).unlink()
    files = [write_whole(path / name, content) for name, content in contents.items()]
    files.append(_manifest(session, path / MANIFEST, tables, contents, deidentified=deidentified))
    report(1.0, "Written.")
    return ExportResult(tuple(files), {table.name: len(table.rows) for table in tables}, deidentified)


def _part(report: Report, begin: float, share: float = 0.6) -> Report:
    def part(fraction: float, sentence: str) -> None:
        report(begin + 0.95 * share * fraction, sentence)

    return part


def _manifest(
    session: Session, path: Path, tables: Sequence[OutTable], contents: dict[str, bytes], *, deidentified: bool
) -> Path:
    head = session.store.head()
    found: dict[str, object] = {
        "tables": {table.name: {"rows": len(table.rows), "columns": list(table.columns)} for table in tables},
        "sha256": {name: hashlib.sha256(content).hexdigest() for name, content in contents.items()},
        "deidentified": deidentified,
        "rules": [*(RULES if deidentified else ()), _MARKS],
    }
    if not deidentified:
        found["history"] = {"number": head.number, "hash": head.hash}
    return write_whole(path, (json.dumps(found, indent=2, ensure_ascii=False) + "\n").encode())
