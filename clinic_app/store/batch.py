"""Stage records into rows: loaded in bulk, joined in memory, written in bulk. One record or fifty thousand alike."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, Table, func, select
from sqlalchemy.sql import ColumnElement

from clinic_app.domain.record import CaseKey, StageRecord
from clinic_app.errors import Refusal
from clinic_app.store.cells import to_cell
from clinic_app.store.history import Change, Journal, case_subject, key_text, patient_subject
from clinic_app.store.locking import lock_before
from clinic_app.store.records import NOTHING, Cells, cells_from, cells_of, differences, merge, replaces
from clinic_app.store.rowio import Row, Stamp, changed_meanwhile, insert, listed, sound, update
from clinic_app.store.schema import CASES, PATIENTS, STAGE_TABLES, STAGES, patient_fields, stage_fields
from clinic_app.store.sums import Remembering
from models.codebook import Field, Kind, Stage

FROM_FILES = frozenset({"import", "demo"})
"""Acts that bring records from files: what they write is not signed, and what is signed they do not replace."""

Slot = tuple[str, int, str]
"""Table, number of the case or patient, and for rechecks the moment of the visit."""


@dataclass(slots=True)
class _Held:
    """A row while it is worked on: as stored (empty when new) and as it shall be."""

    table: Table
    fields: tuple[Field, ...]
    number: int
    row: Row
    stored: Cells
    cells: Cells
    subject: str
    version: int = 0
    touched: bool = False

    @property
    def item(self) -> str:
        return f"{self.table.name}:{self.number}"


def _next(connection: Connection, column: ColumnElement[Any]) -> int:
    return int(connection.execute(select(func.coalesce(func.max(column), 0))).scalar_one()) + 1


class Batch:
    """Collects records of cases and writes them; `whole` writes one history line a row instead of one a field."""

    def __init__(
        self, connection: Connection, journal: Journal, stamp: Stamp, texts: Remembering, *, whole: bool
    ) -> None:
        self._connection = connection
        self._texts = texts
        self._journal = journal
        self._stamp = stamp
        self._whole = whole
        self._signs = stamp.act not in FROM_FILES
        self._next_patient = _next(connection, PATIENTS.c.patient_no)
        self._next_case = _next(connection, CASES.c.case_no)
        self._next_recheck = _next(connection, STAGES[Stage.RECHECK].c.recheck_no)
        self._fields = {stage: stage_fields(stage) for stage in Stage}
        self._patient_fields = patient_fields()
        self._clear()

    def _clear(self) -> None:
        self._patients: dict[str, _Held] = {}
        self._cases: dict[tuple[int, str, str], int] = {}
        self._new_cases: dict[int, Row] = {}
        self._held: dict[Slot, _Held] = {}

    def load(self, keys: Sequence[CaseKey], stages: Iterable[Stage]) -> None:
        """Bring what is stored about these cases into memory; called before `put`, after each `flush`."""
        self._clear()
        numbers: list[int] = []
        by_no: dict[int, _Held] = {}
        ids = sorted({key.patient_id for key in keys})
        for row in self._rows(PATIENTS, PATIENTS.c.patient_id, ids):
            held = self._from_row(PATIENTS, self._patient_fields, row, patient_subject(row["patient_no"]))
            self._patients[row["patient_id"]] = by_no[row["patient_no"]] = held
        wanted = {(key.patient_id, key.eye, key.surgery_date.isoformat()) for key in keys}
        names = {held.number: patient_id for patient_id, held in self._patients.items()}
        columns = (CASES.c.case_no, CASES.c.patient_no, CASES.c.eye, CASES.c.surgery_date)
        for one in self._connection.execute(select(*columns).where(listed(CASES.c.patient_no, list(by_no)))):
            if (names[one.patient_no], one.eye, one.surgery_date) in wanted:
                self._cases[one.patient_no, one.eye, one.surgery_date] = one.case_no
                numbers.append(one.case_no)
        for stage in stages:
            table = STAGES[stage]
            for row in self._rows(table, table.c.case_no, numbers):
                held = self._from_row(table, self._fields[stage], row, case_subject(row["case_no"]))
                self._held[self._slot(stage, row["case_no"], held.cells)] = held

    def _rows(self, table: Table, column: ColumnElement[Any], wanted: Iterable[object]) -> Iterator[dict[str, Any]]:
        names = [one.name for one in table.columns]
        for row in self._connection.execute(select(table).where(listed(column, wanted))):
            yield dict(zip(names, row, strict=True))

    @staticmethod
    def _slot(stage: Stage, case_no: int, cells: Cells) -> Slot:
        visit = str(cells.values["recheck_at"]) if stage is Stage.RECHECK else ""
        return STAGE_TABLES[stage], case_no, visit

    @staticmethod
    def _from_row(table: Table, fields: tuple[Field, ...], row: dict[str, Any], subject: str) -> _Held:
        (key,) = table.primary_key.columns
        cells = cells_from(row, fields)
        return _Held(table, fields, row[key.name], row, cells, cells, subject, row["version"])

    def knows(self, key: CaseKey) -> bool:
        """Whether the case is stored or about to be."""
        patient = self._patients.get(key.patient_id)
        return patient is not None and (patient.number, key.eye, key.surgery_date.isoformat()) in self._cases

    def put(self, key: CaseKey, record: StageRecord, *, joining: bool, expect_version: int | None = None) -> str:
        """Join (or replace by) a record; "added" when that moment was not written yet, "amended", or "unchanged"."""
        said = about = cells_of(record)
        if record.stage is Stage.BOOKING:
            said, about = said.part(patient=False), said.part(patient=True)
        new_case = not self.knows(key)
        if not said and joining and record.stage in (Stage.THEATRE, Stage.DAY_ONE):
            return "unchanged"
        patient = self._patient(key.patient_id)
        case_no = self._case(key, patient.number)
        slot = self._slot(record.stage, case_no, said)
        held = self._held.get(slot) or self._new_stage(record.stage, case_no, slot)
        if expect_version is not None and held.version != expect_version:
            raise changed_meanwhile()
        before = held.touched or held.version > 0
        changed = self._join(held, said, joining)
        if record.stage is Stage.BOOKING:
            changed = self._join(patient, about, joining) or changed
        return "added" if new_case or not before else "amended" if changed else "unchanged"

    def _join(self, held: _Held, said: Cells, joining: bool) -> bool:
        after = merge(held.cells, said) if joining else said
        if (after is held.cells or after == held.cells) and (held.touched or held.version > 0):
            return False
        if not self._signs and held.row.get("signed") and replaces(held.stored, after):
            raise Refusal(
                "The record was not taken from the file.",
                "It would replace what was entered and signed in the program.",
                "Compare the two, and enter the correction in the program.",
            )
        held.cells, held.touched = after, True
        return True

    def _patient(self, patient_id: str) -> _Held:
        held = self._patients.get(patient_id)
        if held is None:
            to_cell(Kind.IDENTIFIER, patient_id)
            number, self._next_patient = self._next_patient, self._next_patient + 1
            row: Row = {"patient_id": patient_id}
            held = _Held(
                PATIENTS, self._patient_fields, number, row, NOTHING, NOTHING, patient_subject(number), touched=True
            )
            self._patients[patient_id] = held
        return held

    def _case(self, key: CaseKey, patient_no: int) -> int:
        day = str(to_cell(Kind.DATE, key.surgery_date))
        found = self._cases.get((patient_no, key.eye, day))
        if found is not None:
            return found
        if key.eye not in ("R", "L") or not key.patient_id.strip():
            raise ValueError("a case needs a patient number and an eye R or L")
        number, self._next_case = self._next_case, self._next_case + 1
        self._cases[patient_no, key.eye, day] = number
        self._new_cases[number] = {
            "case_no": number, "patient_no": patient_no, "eye": key.eye, "surgery_date": day, "postponed_from": None,
            "stood_down": 0,
        }  # fmt: skip
        return number

    def _new_stage(self, stage: Stage, case_no: int, slot: Slot) -> _Held:
        number = case_no
        if stage is Stage.RECHECK:
            number, self._next_recheck = self._next_recheck, self._next_recheck + 1
        held = _Held(STAGES[stage], self._fields[stage], number, {}, NOTHING, NOTHING, case_subject(case_no))
        held.row = {"case_no": case_no}
        self._held[slot] = held
        return held

    def flush(self) -> None:
        """Write what was put: rows first, then their lines of the history, then the locks that follow."""
        changes: list[Change] = []
        self._write([held for held in self._patients.values() if held.touched], changes)
        names = {held.number: patient_id for patient_id, held in self._patients.items()}
        cases = [self._stamp.on(row, 1) for row in self._new_cases.values()]
        insert(self._connection, CASES, cases)
        for row in cases:
            number = int(str(row["case_no"]))
            shown = key_text(names[int(str(row["patient_no"]))], str(row["eye"]), str(row["surgery_date"]))
            changes.append(Change(case_subject(number), f"cases:{number}", str(row["row_sum"]), "case", None, shown))
        added: dict[Stage, list[int]] = {}
        for stage, table in STAGES.items():
            mine = [held for held in self._held.values() if held.touched and held.table is table]
            added[stage] = [held.number for held in mine if held.version == 0 and held.number not in self._new_cases]
            self._write(mine, changes)
        self._journal.write(changes)
        for stage in (Stage.THEATRE, Stage.DAY_ONE):
            lock_before(self._connection, self._journal, self._stamp, stage, added[stage])
        self._clear()

    def _write(self, many: list[_Held], changes: list[Change]) -> None:
        fresh: list[Row] = []
        amended: list[Row] = []
        for held in many:
            if held.version:
                sound(held.row)
            (key,) = held.table.primary_key.columns
            row = {**held.row, **held.cells.columns(held.stored.values), key.name: held.number}
            row["signed"] = int(self._signs or bool(held.row.get("signed")))
            row = self._stamp.on(row, held.version + 1, self._texts.sum_of)
            (amended if held.version else fresh).append(row)
            changes += self._lines(held, str(row["row_sum"]))
        if many:
            insert(self._connection, many[0].table, fresh)
            update(self._connection, many[0].table, amended)

    def _lines(self, held: _Held, total: str) -> list[Change]:
        if not self._whole:
            what = differences(held.stored, held.cells)
            if what:
                return [Change(held.subject, held.item, total, one, *pair) for one, pair in what.items()]
        name = {"patients": "patient", "rechecks": "recheck"}.get(held.table.name, held.table.name)
        new = held.cells.plain()
        if not held.version:
            return [Change(held.subject, held.item, total, name, None, self._texts.as_json(new))]
        old = held.stored.plain()
        was = {one: told for one, told in old.items() if new.get(one) != told}
        now = {one: told for one, told in new.items() if old.get(one) != told}
        return [Change(held.subject, held.item, total, name, self._texts.as_json(was), self._texts.as_json(now))]
