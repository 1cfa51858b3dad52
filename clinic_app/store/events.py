"""What happened about a case and is no field of it; written once, never changed."""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import date, datetime

from sqlalchemy import Connection, func, select

from clinic_app.domain.record import CaseEvent, CaseKey
from clinic_app.store.history import Change, Journal, case_subject
from clinic_app.store.rowio import Stamp, insert, sound
from clinic_app.store.schema import CASE_EVENTS, CASES, PATIENTS
from clinic_app.store.sums import readable


def read_events(connection: Connection, *, key: CaseKey | None, kind: str | None) -> list[CaseEvent]:
    """Events in the order in which they were written; of one case, only if their sums are right; of one kind."""
    query = (
        select(CASE_EVENTS, PATIENTS.c.patient_id, CASES.c.eye, CASES.c.surgery_date)
        .join(CASES, CASES.c.case_no == CASE_EVENTS.c.case_no)
        .join(PATIENTS, PATIENTS.c.patient_no == CASES.c.patient_no)
        .order_by(CASE_EVENTS.c.event_no)
    )
    if key is not None:
        query = query.where(
            PATIENTS.c.patient_id == key.patient_id,
            CASES.c.eye == key.eye,
            CASES.c.surgery_date == key.surgery_date.isoformat(),
        )
    if kind is not None:
        query = query.where(CASE_EVENTS.c.kind == kind)
    found = list(connection.execute(query))
    if key is not None:
        for row in found:
            sound({column.name: row._mapping[column.name] for column in CASE_EVENTS.columns})
    return [
        CaseEvent(
            key=CaseKey(row.patient_id, row.eye, date.fromisoformat(row.surgery_date)),
            kind=row.kind,
            body=json.loads(row.body),
            at=datetime.fromisoformat(row.written_at),
            by=row.written_by,
            number=row.event_no,
        )
        for row in found
    ]


def add_event(
    connection: Connection, journal: Journal, stamp: Stamp, key: CaseKey, case_no: int, kind: str,
    body: Mapping[str, object],
) -> CaseEvent:  # fmt: skip
    """Write one event of a known case; its line of the history holds the body as JSON."""
    if not kind.strip():
        raise ValueError("an event needs a kind")
    last = connection.execute(select(func.coalesce(func.max(CASE_EVENTS.c.event_no), 0))).scalar_one()
    number, text = int(last) + 1, readable(dict(body))
    row = stamp.on({"event_no": number, "case_no": case_no, "kind": kind, "body": text}, 1)
    insert(connection, CASE_EVENTS, [row])
    journal.write([Change(case_subject(case_no), f"case_events:{number}", str(row["row_sum"]), kind, None, text)])
    return CaseEvent(key, kind, json.loads(text), stamp.at, stamp.by, number)
