"""Which forecast counts as the one made beforehand: the last one before the next moment was written."""

from __future__ import annotations

from collections.abc import Sequence

from sqlalchemy import Connection, select

from clinic_app.store.history import Change, Journal, case_subject
from clinic_app.store.rowio import Row, Stamp, listed, sound, update
from clinic_app.store.schema import FORECASTS, STAGES
from models.codebook import Stage

ENDS = {Stage.THEATRE: ("booking",), Stage.DAY_ONE: ("booking", "end_of_case")}
"""Writing theatre ends the time of booking forecasts; writing day one ends the time of both."""


def lock_before(connection: Connection, journal: Journal, stamp: Stamp, stage: Stage, cases: Sequence[int]) -> None:
    """Lock, for cases whose `stage` was just added, the last forecast of each model that has none locked yet.

    Theatre written after day one locks nothing: a forecast made in between knew the answer.
    """
    if not cases:
        return
    query = (
        select(FORECASTS)
        .where(listed(FORECASTS.c.case_no, cases), FORECASTS.c.model.in_(ENDS[stage]))
        .order_by(FORECASTS.c.forecast_id)
    )
    if stage is Stage.THEATRE:
        query = query.where(FORECASTS.c.case_no.not_in(select(STAGES[Stage.DAY_ONE].c.case_no)))
    last: dict[tuple[object, object], Row] = {}
    settled: set[tuple[object, object]] = set()
    for row in connection.execute(query).mappings():
        which = (row["case_no"], row["model"])
        last[which] = dict(row)
        if row["locked"]:
            settled.add(which)
    rows = [
        stamp.on({**row, "locked": 1}, int(str(row["version"])) + 1)
        for which, row in last.items()
        if which not in settled
    ]
    for which, newest in last.items():
        if which not in settled:
            sound(newest)
    update(connection, FORECASTS, rows)
    journal.write(
        [
            Change(
                case_subject(int(str(row["case_no"]))), f"forecasts:{row['forecast_id']}", str(row["row_sum"]),
                "locked", "no", "yes",
            )
            for row in rows
        ]
    )  # fmt: skip
