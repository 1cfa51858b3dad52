"""The acts that change the store. All of one `Store.writing` go in together, each with its line in the history."""

from __future__ import annotations

import gc
import json
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import date

from sqlalchemy import Connection, Table, func, select

from clinic_app.domain.record import CaseEvent, CaseKey, ModelEntry, RegisterEntry, StageRecord, StoredForecast
from clinic_app.errors import Refusal
from clinic_app.store import drafts, events, merging, register
from clinic_app.store.batch import Batch
from clinic_app.store.history import Change, Journal, case_subject
from clinic_app.store.inputs import inputs_text
from clinic_app.store.reading import case_row, read_keys, read_model, read_models
from clinic_app.store.rowio import Row, Stamp, insert, moment, sound, update
from clinic_app.store.schema import CASES, FORECASTS, MODELS, STAGES
from clinic_app.store.sums import Remembering, readable
from models.codebook import Stage
from models.progress import Report, silent

STATES = frozenset({"candidate", "in_use", "past"})
FORECAST_TOLD = ("model_id", "status", "risk", "low", "high")
"""What the history says of a forecast; the rest stands in its row."""
CHUNK = 1000
"""Cases worked on at once by `put_many`."""


class Writer:
    """What can be written within one transaction; made by `Store.writing`."""

    def __init__(self, connection: Connection, stamp: Stamp) -> None:
        self._connection = connection
        self._stamp = stamp
        self._texts = Remembering()
        self.journal = Journal(connection, stamp)

    def put_stage(
        self, key: CaseKey, record: StageRecord, *, merge: bool = True, expect_version: int | None = None
    ) -> str:
        """Write one moment of a case: "added" (not written before), "amended" or "unchanged".

        With `merge` fields not mentioned stay, a reason replaces a value and a value a reason; without, the record
        replaces what was written at that moment. `expect_version` is the version that the person saw (0: none); another
        one in the store is refused. One history line for each changed field. Writing theatre locks the last booking
        forecast, writing day one the last end-of-case forecast, unless one is locked already.
        """
        if record.stage is Stage.RECHECK:
            raise ValueError("a recheck is written by put_recheck")
        return self._put(key, record, merge=merge, expect_version=expect_version)

    def put_recheck(self, key: CaseKey, record: StageRecord) -> str:
        """Write a visit after day one, named by its `recheck_at`; the case must be known. As `put_stage` with merge."""
        if record.stage is not Stage.RECHECK:
            raise ValueError("only a recheck is written by put_recheck")
        if "recheck_at" not in record.values:
            raise Refusal(
                "The recheck was not saved.", "It has no day and time of the visit.", "Enter when the eye was seen."
            )
        self._case(key)
        return self._put(key, record, merge=True, expect_version=None)

    def _put(self, key: CaseKey, record: StageRecord, *, merge: bool, expect_version: int | None) -> str:
        batch = Batch(self._connection, self.journal, self._stamp, self._texts, whole=False)
        batch.load([key], [record.stage])
        outcome = batch.put(key, record, joining=merge, expect_version=expect_version)
        batch.flush()
        return outcome

    def put_many(self, records: Iterable[tuple[CaseKey, Sequence[StageRecord]]], report: Report = silent) -> list[str]:
        """Write many cases, joining each record as `put_stage` does; one word for each item, in order.

        "added": the case was not known; "amended": something of it was added or changed; "unchanged". Rechecks may be
        among the records. One history line for each case and moment, with all its values.
        """
        everything = list(records)
        gc.freeze()  # millions of cells of the file live on meanwhile: no use to go through them again and again
        try:
            return self._put_all(everything, report)
        finally:
            gc.unfreeze()

    def _put_all(self, everything: list[tuple[CaseKey, Sequence[StageRecord]]], report: Report) -> list[str]:
        batch = Batch(self._connection, self.journal, self._stamp, self._texts, whole=True)
        outcomes: list[str] = []
        for start in range(0, len(everything), CHUNK):
            part = everything[start : start + CHUNK]
            batch.load([key for key, _ in part], {one.stage for _, many in part for one in many})
            for key, many in part:
                known = batch.knows(key)
                words = {batch.put(key, one, joining=True) for one in many}
                outcomes.append("unchanged" if words <= {"unchanged"} else "amended" if known else "added")
            batch.flush()
            done = start + len(part)
            report(done / len(everything), f"{done} of {len(everything)} cases written.")
        return outcomes

    def postpone(self, key: CaseKey, new_date: date) -> CaseKey:
        """Move an eye not yet operated to another day; all that belongs to it goes with it. Returns the new key."""
        row = self._case(key)
        for table in (STAGES[Stage.THEATRE], STAGES[Stage.DAY_ONE]):
            if self._connection.execute(select(table.c.case_no).where(table.c.case_no == row["case_no"])).first():
                raise Refusal(
                    "The operation was not postponed.", "This eye was operated on already.", "Correct the date instead."
                )
        moved = replace(key, surgery_date=new_date)
        if moved == key:
            return key
        if case_row(self._connection, moved) is not None:
            raise Refusal(
                "The operation was not postponed.",
                "The same eye is booked on the new day already.",
                "Open that booking, or choose another day.",
            )
        day = new_date.isoformat()
        self._amend(CASES, row, {"surgery_date": day, "postponed_from": row["surgery_date"]}, ("surgery_date",))
        drafts.move_drafts(self._connection, key, moved)
        return moved

    def stand_down(self, key: CaseKey, *, stood_down: bool = True) -> None:
        """Mark that the surgery will not happen, or (False) that it will after all."""
        row = self._case(key)
        if row["stood_down"] != int(stood_down):
            self._amend(CASES, row, {"stood_down": int(stood_down)}, ("stood_down",))

    def add_model(self, model: str, card_text: str) -> ModelEntry:
        """Keep a new model as a candidate, numbered within its kind."""
        last = select(func.coalesce(func.max(MODELS.c.number), 0)).where(MODELS.c.model == model)
        number = int(self._connection.execute(last).scalar_one()) + 1
        model_id = f"{model}-{number}"
        row = self._stamp.on(
            {
                "model_id": model_id, "model": model, "number": number, "state": "candidate", "card": card_text,
                "made_at": self._stamp.moment, "made_by": self._stamp.by, "decided_at": None, "decided_by": None,
                "reason": None,
            },
            1,
        )  # fmt: skip
        insert(self._connection, MODELS, [row])
        self.journal.write([Change(model_id, f"models:{model_id}", str(row["row_sum"]), "state", None, "candidate")])
        return read_model(self._connection, model_id)

    def decide(self, model_id: str, state: str, *, reason: str) -> ModelEntry:
        """Put a model in use, or make it past, or a candidate again. The one in use before becomes past."""
        if state not in STATES:
            raise ValueError(f"{state} is no state of a model")
        entry = read_model(self._connection, model_id)
        before = read_models(self._connection, in_use=entry.model) if state == "in_use" else []
        for old in before:
            if old.model_id != model_id:
                self._decided(old.model_id, "past", f"Replaced by {model_id}")
        self._decided(model_id, state, reason)
        return read_model(self._connection, model_id)

    def _decided(self, model_id: str, state: str, reason: str) -> None:
        row = dict(self._connection.execute(select(MODELS).where(MODELS.c.model_id == model_id)).mappings().one())
        changes = {
            "state": state, "decided_at": self._stamp.moment, "decided_by": self._stamp.by, "reason": reason,
        }  # fmt: skip
        self._amend(MODELS, row, changes, ("state", "reason"))

    def add_forecasts(self, forecasts: Iterable[StoredForecast]) -> None:
        """Keep forecasts of known cases by known models. `locked` and `forecast_id` are the store's to give."""
        many = list(forecasts)
        numbers = {key: number for number, key in read_keys(self._connection).items()} if len(many) > 1 else {}
        known = {
            (one.model_id, one.model) for one in self._connection.execute(select(MODELS.c.model_id, MODELS.c.model))
        }
        first = int(self._connection.execute(select(func.coalesce(func.max(FORECASTS.c.forecast_id), 0))).scalar_one())
        rows: list[Row] = []
        for number, one in enumerate(many, start=first + 1):
            if (one.model_id, one.model) not in known:
                raise ValueError("a forecast names a model that is not kept")
            found = numbers.get(one.key)
            rows.append(
                self._stamp.on(
                    {
                        "forecast_id": number, "case_no": self._case(one.key)["case_no"] if found is None else found,
                        "model_id": one.model_id, "model": one.model, "made_at": moment(one.made_at),
                        "made_by": one.made_by, "status": one.status, "risk": one.risk, "low": one.low,
                        "high": one.high, "inputs": inputs_text(one.inputs), "note": one.note, "locked": 0,
                        "seen_by": "[]",
                    },
                    1,
                )
            )  # fmt: skip
        insert(self._connection, FORECASTS, rows)
        self.journal.write(
            [
                Change(
                    case_subject(int(str(row["case_no"]))), f"forecasts:{row['forecast_id']}", str(row["row_sum"]),
                    "forecast", None, readable({name: row[name] for name in FORECAST_TOLD}),
                )
                for row in rows
            ]
        )  # fmt: skip

    def seen_by(self, forecast_id: int) -> None:
        """Note that the person acting has seen this forecast; once a person."""
        query = select(FORECASTS).where(FORECASTS.c.forecast_id == forecast_id)
        row = dict(self._connection.execute(query).mappings().one())
        people: list[dict[str, str]] = json.loads(str(row["seen_by"]))
        if all(one["by"] != self._stamp.by for one in people):
            people.append({"by": self._stamp.by, "at": self._stamp.moment})
            self._amend(FORECASTS, row, {"seen_by": readable(people)}, ("seen_by",))

    def add_event(self, key: CaseKey, kind: str, body: Mapping[str, object]) -> CaseEvent:
        """Write down what happened about a known case; JSON values, never changed afterwards."""
        case_no = int(str(self._case(key)["case_no"]))
        return events.add_event(self._connection, self.journal, self._stamp, key, case_no, kind, body)

    def put_register(
        self, kind: str, name: str, body: Mapping[str, object], *,
        expect_version: int | None = None, secret: Collection[str] = frozenset(),
    ) -> RegisterEntry:  # fmt: skip
        """Write an entry of the practice's registers in place of the one of that kind and name; JSON values.

        One history line for each changed key, of the `secret` ones only that they changed. `expect_version` is the
        version that the person saw (0: none); another one in the store is refused.
        """
        return register.put_register(
            self._connection, self.journal, self._stamp, kind, name, body, expect_version=expect_version, secret=secret
        )

    def merge_patients(self, gone: str, kept: str) -> None:
        """Two numbers of one patient become one: the cases of `gone` go over to `kept`, with all that belongs to them.

        Refused when both have the same eye on the same day, or say different things of the person.
        """
        merging.merge_patients(self._connection, self.journal, self._stamp, gone, kept)

    def note(self, subject: str | CaseKey, what: str) -> None:
        """A history line without a row: about a case, a model (its id), or any other subject in words."""
        named = case_subject(int(str(self._case(subject)["case_no"]))) if isinstance(subject, CaseKey) else subject
        self.journal.write([Change(named, None, None, None, None, what)])

    def _case(self, key: CaseKey) -> Row:
        row = case_row(self._connection, key)
        if row is None:
            raise Refusal(
                "Nothing was saved.", "This eye is not booked on that day.", "Book it first, or check eye and day."
            )
        return row

    def _amend(self, table: Table, row: Row, changes: Mapping[str, object], told: tuple[str, ...]) -> None:
        sound(row)
        after = self._stamp.on({**row, **changes}, int(str(row["version"])) + 1)
        update(self._connection, table, [after])
        (key,) = table.primary_key.columns
        subject = str(row[key.name]) if table is MODELS else case_subject(int(str(row["case_no"])))
        item = f"{table.name}:{row[key.name]}"

        def text(value: object) -> str | None:
            return None if value is None else str(value)

        lines = [
            Change(subject, item, str(after["row_sum"]), name, text(row[name]), text(after[name]))
            for name in told
            if row[name] != after[name]
        ]
        self.journal.write(lines or [Change(subject, item, str(after["row_sum"]), told[0], None, None)])
