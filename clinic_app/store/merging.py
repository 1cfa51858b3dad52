"""Two numbers of one patient become one: the cases of the one go over to the other."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

from sqlalchemy import Connection, select

from clinic_app.domain.record import CaseKey
from clinic_app.errors import Refusal
from clinic_app.store.drafts import move_drafts
from clinic_app.store.history import Change, Journal, case_subject, patient_subject
from clinic_app.store.records import NOTHING, Cells, cells_from, differences, merge
from clinic_app.store.rowio import Row, Stamp, sound, update
from clinic_app.store.schema import CASES, PATIENTS, patient_fields

NOT_MERGED = "The two numbers were not merged."


def merge_patients(connection: Connection, journal: Journal, stamp: Stamp, gone: str, kept: str) -> None:
    """Give every case of `gone` to `kept`, whose number stays; forecasts, events, drafts, history go with the cases.

    Refused when a number is unknown, when both have the same eye on the same day, or when the two say different things
    of the person. What only `gone` says of the person, `kept` says afterwards.
    """
    if gone == kept:
        raise Refusal(NOT_MERGED, "They are the same number.", "Name the other number.")
    old, new = (_patient(connection, patient_id) for patient_id in (gone, kept))
    cases = _cases(connection, old)
    taken = {(row["eye"], row["surgery_date"]) for row in _cases(connection, new)}
    if any((row["eye"], row["surgery_date"]) in taken for row in cases):
        raise Refusal(
            NOT_MERGED,
            "Both have an operation of the same eye on the same day.",
            "Correct the eye or the day of one of them first.",
        )
    moved = [
        stamp.on({**row, "patient_no": new["patient_no"]}, int(str(row["version"])) + 1)
        for row in cases
    ]  # fmt: skip
    update(connection, CASES, moved)
    lines = [
        Change(case_subject(int(str(row["case_no"]))), f"cases:{row['case_no']}", str(row["row_sum"]),
               "patient_id", gone, kept)
        for row in moved
    ]  # fmt: skip
    lines += _joined(connection, stamp, old, new)
    # the row of the old number stays, empty: no later patient may get its place in the history
    said = cells_from(old, patient_fields())
    emptied = stamp.on({**old, **NOTHING.columns(said.values)}, int(str(old["version"])) + 1)
    update(connection, PATIENTS, [emptied])
    number = int(str(old["patient_no"]))
    lines.append(
        Change(patient_subject(number), f"patients:{number}", str(emptied["row_sum"]), "patient_id", gone, kept)
    )
    journal.write(lines)
    for row in cases:
        before = CaseKey(gone, str(row["eye"]), date.fromisoformat(str(row["surgery_date"])))
        move_drafts(connection, before, replace(before, patient_id=kept))


def _patient(connection: Connection, patient_id: str) -> Row:
    found = connection.execute(select(PATIENTS).where(PATIENTS.c.patient_id == patient_id)).one_or_none()
    if found is None:
        raise Refusal(NOT_MERGED, "One of them is not known here.", "Check both numbers.")
    row = dict(found._mapping)
    sound(row)
    return row


def _cases(connection: Connection, patient: Row) -> list[Row]:
    query = select(CASES).where(CASES.c.patient_no == patient["patient_no"]).order_by(CASES.c.case_no)
    found = [dict(row._mapping) for row in connection.execute(query)]
    for row in found:
        sound(row)
    return found


def _joined(connection: Connection, stamp: Stamp, old: Row, new: Row) -> list[Change]:
    """What the number that stays now says of the person, and the lines for it."""
    said, known = (cells_from(row, patient_fields()) for row in (old, new))
    for name in said.values.keys() & known.values.keys():
        if said.values[name] != known.values[name]:
            raise Refusal(
                NOT_MERGED,
                "They say different things of the person: the birth date or the sex differs.",
                "Look whether they are one person, and correct the wrong one first.",
            )
    only = [name for name in said.values if name not in known.values]
    after = merge(
        known,
        Cells(
            {name: said.values[name] for name in only},
            {name: code for name, code in said.missing.items() if name not in known.values},
            {name: text for name, text in said.typed.items() if name in only},
            {name: origin for name, origin in said.origin.items() if name in only},
        ),
    )
    what = differences(known, after)
    if not what:
        return []
    row = stamp.on({**new, **after.columns(known.values)}, int(str(new["version"])) + 1)
    update(connection, PATIENTS, [row])
    subject, item = patient_subject(int(str(new["patient_no"]))), f"patients:{new['patient_no']}"
    return [Change(subject, item, str(row["row_sum"]), name, *pair) for name, pair in what.items()]
