"""The history: append-only lines in a chain of hashes, their values beside them so that an erasure can empty those.

A line's `hash` is SHA-256 over the line, its `digest` and the hash of the line before. `digest` is SHA-256 over a
random salt, the old and new values, the reason, and the sum of the row that the line is about as it was afterwards.
Salt and values stand in a table of their own: emptied, they can no longer be guessed from the digest, and the chain
still holds. The sum says, for each row, what its last line left it like: a row changed behind the history is noticed.
"""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, select

from clinic_app.domain.record import HistoryEntry
from clinic_app.store.rowio import Row, Stamp, insert
from clinic_app.store.schema import CASES, HISTORY, HISTORY_VALUES, PATIENTS
from clinic_app.store.sums import digest_of_line

CHAINED = tuple(str(column.name) for column in HISTORY.columns if column.name != "hash")
START = "0" * 64
"""What stands for the hash before the first line."""


@dataclass(frozen=True, slots=True)
class Change:
    """One line to be written: about which item (a row) of which subject, which field, from what to what."""

    subject: str
    item: str | None
    item_sum: str | None
    field: str | None
    old: str | None
    new: str | None


def digest_of(salt: Any, old: Any, new: Any, reason: Any, item_sum: Any) -> str:
    """Salted digest of a line's values."""
    return digest_of_line([salt, old, new, reason, item_sum])


def hash_of(line: Mapping[str, Any], before: str) -> str:
    """Hash of a line that follows one with hash `before`."""
    return digest_of_line([before, *[line[name] for name in CHAINED]])


def last_line(connection: Connection) -> tuple[int, str]:
    """Number and hash of the newest line."""
    newest = select(HISTORY.c.number, HISTORY.c.hash).order_by(HISTORY.c.number.desc()).limit(1)
    found = connection.execute(newest).one_or_none()
    return (0, START) if found is None else (found.number, found.hash)


class Journal:
    """Appends lines within one transaction."""

    def __init__(self, connection: Connection, stamp: Stamp) -> None:
        self._connection = connection
        self._stamp = stamp
        self.number, self.hash = last_line(connection)

    def write(self, changes: Sequence[Change]) -> None:
        """Append one line for each change, in order."""
        stamp = self._stamp
        lines: list[Row] = []
        values: list[Row] = []
        at = stamp.moment
        salts = os.urandom(16 * len(changes)).hex()
        for place, change in enumerate(changes):
            salt = salts[32 * place : 32 * place + 32]
            self.number += 1
            line: Row = {
                "number": self.number,
                "at": at,
                "person": stamp.by,
                "act": stamp.act,
                "subject": change.subject,
                "item": change.item,
                "field": change.field,
                "program": stamp.program,
                "request_id": stamp.request_id,
                "digest": digest_of(salt, change.old, change.new, stamp.reason, change.item_sum),
            }
            self.hash = hash_of(line, self.hash)
            line["hash"] = self.hash
            lines.append(line)
            values.append(
                {
                    "number": self.number,
                    "salt": salt,
                    "old": change.old,
                    "new": change.new,
                    "reason": stamp.reason,
                    "item_sum": change.item_sum,
                    "version": 1,
                }
            )
        insert(self._connection, HISTORY, lines)
        insert(self._connection, HISTORY_VALUES, values)


def case_subject(case_no: int) -> str:
    """How the history names a case: by number, so that a line names nobody once the case is erased."""
    return f"case:{case_no}"


def patient_subject(patient_no: int) -> str:
    """How the history names a patient."""
    return f"patient:{patient_no}"


def key_text(patient_id: str, eye: str, surgery_date: str) -> str:
    """How a case is shown in the history."""
    return f"{patient_id} {eye} {surgery_date}"


def _names(connection: Connection) -> dict[str, str]:
    names = {
        patient_subject(row.patient_no): row.patient_id
        for row in connection.execute(select(PATIENTS.c.patient_no, PATIENTS.c.patient_id))
    }
    cases = select(CASES.c.case_no, CASES.c.patient_no, CASES.c.eye, CASES.c.surgery_date)
    for row in connection.execute(cases):
        patient = names.get(patient_subject(row.patient_no), "")
        names[case_subject(row.case_no)] = key_text(patient, row.eye, row.surgery_date)
    return names


def read_history(connection: Connection, subjects: Sequence[str] | None, newest: int | None) -> list[HistoryEntry]:
    """Lines in order of their numbers; of all or of some subjects; all or only the newest ones."""
    query = select(HISTORY, HISTORY_VALUES.c.old, HISTORY_VALUES.c.new, HISTORY_VALUES.c.reason).join(
        HISTORY_VALUES, HISTORY_VALUES.c.number == HISTORY.c.number, isouter=True
    )
    if subjects is not None:
        query = query.where(HISTORY.c.subject.in_(subjects))
    query = query.order_by(HISTORY.c.number.desc())
    if newest is not None:
        query = query.limit(newest)
    names = _names(connection)
    found = [
        HistoryEntry(
            number=row.number,
            at=datetime.fromisoformat(row.at),
            by=row.person,
            act=row.act,
            subject=names.get(row.subject, row.subject),
            field=row.field,
            old=row.old,
            new=row.new,
            reason=row.reason,
            program=row.program,
            about=row.subject,
        )
        for row in connection.execute(query)
    ]
    return found[::-1]
