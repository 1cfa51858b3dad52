"""Drafts: kept while somebody types, gone once booked, signed or locked. They leave no line in the history."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import replace
from datetime import date, datetime

from sqlalchemy import Connection, delete, func, select

from clinic_app.domain.record import CaseKey, Draft
from clinic_app.store.rowio import Row, insert, moment, sound, update
from clinic_app.store.schema import DRAFTS
from clinic_app.store.sums import SUM, readable, sum_of


def _draft(row: Mapping[str, object]) -> Draft:
    patient, eye, day = row["patient_id"], row["eye"], row["surgery_date"]
    return Draft(
        person=str(row["person"]),
        stage=str(row["stage"]),
        key=None if patient is None else CaseKey(str(patient), str(eye), date.fromisoformat(str(day))),
        body=json.loads(str(row["body"])),
        kept_at=datetime.fromisoformat(str(row["kept_at"])),
        draft_no=int(str(row["draft_no"])),
    )


def read_drafts(connection: Connection, person: str | None) -> list[Draft]:
    """Drafts in the order in which they were begun; of all people or of one."""
    query = select(DRAFTS).order_by(DRAFTS.c.draft_no)
    if person is not None:
        query = query.where(DRAFTS.c.person == person)
    found = []
    for found_row in connection.execute(query):
        row = dict(found_row._mapping)
        sound(row)
        found.append(_draft(row))
    return found


def keep_draft(connection: Connection, draft: Draft) -> Draft:
    """Write the draft over the one of its number; one without a number, or whose number is gone, gets a new number."""
    query = select(DRAFTS.c.version).where(DRAFTS.c.draft_no == draft.draft_no)
    version = connection.execute(query).scalar_one_or_none() if draft.draft_no is not None else None
    number = draft.draft_no
    if number is None or version is None:
        number = int(connection.execute(select(func.coalesce(func.max(DRAFTS.c.draft_no), 0))).scalar_one()) + 1
    key = draft.key
    row: Row = {
        "draft_no": number, "person": draft.person, "stage": draft.stage,
        "patient_id": None if key is None else key.patient_id, "eye": None if key is None else key.eye,
        "surgery_date": None if key is None else key.surgery_date.isoformat(), "body": readable(dict(draft.body)),
        "kept_at": moment(draft.kept_at), "version": (version or 0) + 1,
    }  # fmt: skip
    row[SUM] = sum_of(row)
    if version is None:
        insert(connection, DRAFTS, [row])
    else:
        update(connection, DRAFTS, [row])
    return replace(draft, draft_no=number)


def move_drafts(connection: Connection, before: CaseKey, after: CaseKey) -> None:
    """Drafts of an eye go with it to its new number or day."""
    query = select(DRAFTS).where(
        DRAFTS.c.patient_id == before.patient_id,
        DRAFTS.c.eye == before.eye,
        DRAFTS.c.surgery_date == before.surgery_date.isoformat(),
    )
    for found in connection.execute(query).all():
        row = dict(found._mapping)
        sound(row)
        keep_draft(connection, replace(_draft(row), key=after))


def drop_draft(connection: Connection, draft_no: int) -> None:
    """Remove a draft; harmless when it is gone already."""
    connection.execute(delete(DRAFTS).where(DRAFTS.c.draft_no == draft_no))
