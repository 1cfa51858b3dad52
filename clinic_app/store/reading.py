"""What the store holds, read into records, flat rows and counts."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Any

from sqlalchemy import Connection, Row, Select, Table, case, distinct, func, select

from clinic_app.domain.record import Case, CaseKey, ModelEntry, StageRecord, StoredForecast, Written
from clinic_app.errors import Refusal
from clinic_app.store.inputs import inputs_from
from clinic_app.store.rowio import listed, sound
from clinic_app.store.schema import CASES, FORECASTS, MODELS, PATIENTS, STAGES, patient_fields, stage_fields
from clinic_app.store.turning import CHUNK, Texts, Turner, flat_origins, flat_reasons, origins, told
from models.codebook import BY_NAME, CENTRE_GRADE, KEY, Field, Stage

MOMENTS = (Stage.BOOKING, Stage.THEATRE, Stage.DAY_ONE)


@dataclass(frozen=True, slots=True)
class Counts:
    """How much there is: patients with a case, cases with that moment written, graded ones those with a centre grade;
    forecasts locked."""

    patients: int
    cases: int
    booked: int
    operated: int
    graded: int
    rechecks: int
    models: int
    forecasts: int
    locked: int


def _between(query: Select[tuple[object, ...]], from_: date | None, to: date | None) -> Select[tuple[object, ...]]:
    if from_ is not None:
        query = query.where(CASES.c.surgery_date >= from_.isoformat())
    if to is not None:
        query = query.where(CASES.c.surgery_date <= to.isoformat())
    return query


def _cases_query(
    from_: date | None, to: date | None, patient_id: str | None, patients: Collection[str] | None,
    without: Stage | None,
) -> Select[tuple[object, ...]]:  # fmt: skip
    query: Select[tuple[object, ...]] = select(CASES.c.case_no, CASES.c.eye, CASES.c.surgery_date, *PATIENTS.c).join(
        PATIENTS, PATIENTS.c.patient_no == CASES.c.patient_no
    )
    query = _between(query, from_, to)
    if patient_id is not None:
        query = query.where(PATIENTS.c.patient_id == patient_id)
    if patients is not None:
        query = query.where(listed(PATIENTS.c.patient_id, patients))
    if without is not None:
        written = STAGES[without].c.case_no
        query = query.where(CASES.c.case_no.not_in(select(written)))
    return query.order_by(CASES.c.surgery_date, CASES.c.case_no)


class _Written:
    """Turns the rows of one table of the record into records with their stamps."""

    def __init__(self, stage: Stage) -> None:
        self.stage, self.table = stage, STAGES[stage]
        self._fields = stage_fields(stage)
        self._turner = Turner(self._fields)
        self._texts, self._origins, self._moments = Texts(told), Texts(origins), Texts(datetime.fromisoformat)

    def read(self, part: Sequence[Row[Any]]) -> Iterator[tuple[int, Written]]:
        """Number of the case, and what was written, of rows that hold every column of the table."""
        columns = dict(zip(self.table.columns.keys(), zip(*part, strict=True), strict=True))
        rows = self._turner.values([columns[one.name] for one in self._fields])
        beside = zip(*(columns[name] for name in _BESIDE), strict=True)
        for values, (number, reasons, typed, origin, version, by, at) in zip(rows, beside, strict=True):
            record = StageRecord(
                self.stage, values, dict(self._texts.read(reasons)), dict(self._texts.read(typed)),
                dict(self._origins.read(origin)),
            )  # fmt: skip
            yield number, Written(record, version, by, self._moments.read(at))


_BESIDE = ("case_no", "missing", "typed", "origin", "version", "written_by", "written_at")


def _with_patient(booking: Written, patient: StageRecord) -> Written:
    """The booking together with what the patient's row says."""
    own = booking.record
    record = StageRecord(
        Stage.BOOKING,
        {**patient.values, **own.values},
        {**patient.missing, **own.missing},
        {**patient.typed, **own.typed},
        {**patient.origin, **own.origin},
    )
    return replace(booking, record=record)


def read_cases(
    connection: Connection, from_: date | None = None, to: date | None = None, patient_id: str | None = None,
    patients: Collection[str] | None = None, key: CaseKey | None = None, without: Stage | None = None,
) -> list[Case]:  # fmt: skip
    """Cases by surgery date, then in the order in which they were booked; a single one only if its sums are right."""
    if key is not None:
        from_ = to = key.surgery_date
        patient_id = key.patient_id
    query = _cases_query(from_, to, patient_id, patients, without)
    chosen = query.with_only_columns(CASES.c.case_no).order_by(None)
    if key is not None:
        query, chosen = query.where(CASES.c.eye == key.eye), chosen.where(CASES.c.eye == key.eye)
    stages: dict[int, dict[Stage, Written]] = defaultdict(dict)
    rechecks: dict[int, list[Written]] = defaultdict(list)
    for stage, table in STAGES.items():
        rows = select(table).where(table.c.case_no.in_(chosen))
        if stage is Stage.RECHECK:
            rows = rows.order_by(table.c.recheck_at)
        written = _Written(stage)
        for part in connection.execute(rows).partitions(CHUNK):
            if key is not None:
                for row in part:
                    sound(dict(row._mapping))
            for number, one in written.read(part):
                if stage is Stage.RECHECK:
                    rechecks[number].append(one)
                else:
                    stages[number][stage] = one
    sharing = _Patients()
    found: list[Case] = []
    for part in connection.execute(query).partitions(CHUNK):
        if key is not None:
            for row in part:
                sound({column.name: row._mapping[column.name] for column in PATIENTS.columns})
        for row, patient in zip(part, sharing.read(part), strict=True):
            held = stages[row.case_no]
            if Stage.BOOKING in held:
                held = {**held, Stage.BOOKING: _with_patient(held[Stage.BOOKING], patient)}
            name = CaseKey(row.patient_id, row.eye, date.fromisoformat(row.surgery_date))
            found.append(Case(name, held, tuple(rechecks[row.case_no])))
    return found


class _Patients:
    """Turns the patients' columns of rows of cases into what is added to the booking."""

    def __init__(self) -> None:
        self._fields = patient_fields()
        self._turner = Turner(self._fields)
        self._texts, self._origins = Texts(told), Texts(origins)

    def read(self, part: Sequence[Row[Any]]) -> Iterator[StageRecord]:
        """One record a row."""
        columns = [[row._mapping[one.name] for row in part] for one in self._fields]
        for row, values in zip(part, self._turner.values(columns), strict=True):
            yield StageRecord(
                Stage.BOOKING, values, self._texts.read(row.missing), self._texts.read(row.typed),
                self._origins.read(row.origin),
            )  # fmt: skip


def read_rows(
    connection: Connection, from_: date | None = None, to: date | None = None, patients: Collection[str] | None = None
) -> list[dict[str, object]]:
    """Flat rows of cases, rechecks left out: what `Case.row` gives, in the same order; of all patients or some."""
    own: list[tuple[Table, tuple[Field, ...]]] = [(PATIENTS, patient_fields())]
    own += [(STAGES[stage], stage_fields(stage)) for stage in MOMENTS]
    marked = [table.c[name] for name in ("missing", "origin") for table, _ in own]
    chosen = [table.c[one.name] for table, fields in own for one in fields]
    query: Select[tuple[object, ...]] = select(
        STAGES[Stage.BOOKING].c.case_no, *marked, PATIENTS.c.patient_id, CASES.c.eye, CASES.c.surgery_date, *chosen
    ).select_from(CASES.join(PATIENTS, PATIENTS.c.patient_no == CASES.c.patient_no))
    for stage in MOMENTS:
        query = query.outerjoin_from(CASES, STAGES[stage], STAGES[stage].c.case_no == CASES.c.case_no)
    if patients is not None:
        query = query.where(listed(PATIENTS.c.patient_id, patients))
    query = _between(query, from_, to).order_by(CASES.c.surgery_date, CASES.c.case_no)
    turner = Turner([BY_NAME[name] for name in KEY] + [one for _, fields in own for one in fields])
    readers = [Texts(flat_reasons)] * len(own) + [Texts(flat_origins)] * len(own)
    patient_names = [one.name for one in patient_fields()]
    found: list[dict[str, object]] = []
    for part in connection.execute(query).partitions(CHUNK):
        booked, *columns = zip(*part, strict=True)
        rows = turner.values(columns[len(marked) :])
        for row, case_no in zip(rows, booked, strict=True):
            if case_no is None:  # what the patient's row says belongs to the booking
                for name in patient_names:
                    row.pop(name, None)
        for place, (reader, said) in enumerate(zip(readers, columns, strict=False)):
            of_patient = place % len(own) == 0
            for row, text, case_no in zip(rows, said, booked, strict=True):
                if text is not None and text != "{}" and not (of_patient and case_no is None):
                    row.update(reader.read(text))
        found += rows
    return found


def read_keys(connection: Connection, *, stood_down: bool = False, patient_id: str | None = None) -> dict[int, CaseKey]:
    """Case number -> key, of all cases, of one patient, or only of those that were stood down."""
    query = select(CASES.c.case_no, PATIENTS.c.patient_id, CASES.c.eye, CASES.c.surgery_date).join(
        PATIENTS, PATIENTS.c.patient_no == CASES.c.patient_no
    )
    if stood_down:
        query = query.where(CASES.c.stood_down == 1)
    if patient_id is not None:
        query = query.where(PATIENTS.c.patient_id == patient_id)
    return {
        row.case_no: CaseKey(row.patient_id, row.eye, date.fromisoformat(row.surgery_date))
        for row in connection.execute(query)
    }


def read_ungraded(connection: Connection) -> dict[int, set[Stage]]:
    """Case number -> moments written, of every case without a centre grade."""
    day_one = STAGES[Stage.DAY_ONE]
    written = [STAGES[stage].c.case_no.label(stage.value) for stage in MOMENTS]
    query = select(CASES.c.case_no.label("case"), *written).select_from(CASES)
    for stage in MOMENTS:
        query = query.outerjoin_from(CASES, STAGES[stage], STAGES[stage].c.case_no == CASES.c.case_no)
    query = query.where(day_one.c[CENTRE_GRADE].is_(None))
    return {
        row["case"]: {stage for stage in MOMENTS if row[stage.value] is not None}
        for row in connection.execute(query).mappings()
    }


def case_row(connection: Connection, key: CaseKey) -> dict[str, object] | None:
    """The row of `cases` for a key."""
    query = select(CASES).join(PATIENTS, PATIENTS.c.patient_no == CASES.c.patient_no)
    query = query.where(
        PATIENTS.c.patient_id == key.patient_id,
        CASES.c.eye == key.eye,
        CASES.c.surgery_date == key.surgery_date.isoformat(),
    )
    found = connection.execute(query).mappings().one_or_none()
    return None if found is None else dict(found)


def read_patients(connection: Connection) -> set[str]:
    """The numbers of patients who have a case."""
    query = select(PATIENTS.c.patient_id).where(PATIENTS.c.patient_no.in_(select(CASES.c.patient_no)))
    return set(connection.execute(query).scalars())


def read_signed(connection: Connection) -> dict[CaseKey, set[Stage]]:
    """For each case the moments entered in the program; cases with none are left out."""
    numbers: dict[int, set[Stage]] = defaultdict(set)
    for stage in MOMENTS:
        table = STAGES[stage]
        for number in connection.execute(select(table.c.case_no).where(table.c.signed == 1)).scalars():
            numbers[number].add(stage)
    keys = read_keys(connection) if numbers else {}
    return {keys[number]: stages for number, stages in numbers.items()}


def read_counts(connection: Connection) -> Counts:
    """Counts over the whole store."""

    def count(table: Table) -> int:
        return int(connection.execute(select(func.count()).select_from(table)).scalar_one())

    graded = select(func.count(STAGES[Stage.DAY_ONE].c[CENTRE_GRADE]))
    locked = select(func.coalesce(func.sum(case((FORECASTS.c.locked == 1, 1), else_=0)), 0))
    return Counts(
        patients=int(connection.execute(select(func.count(distinct(CASES.c.patient_no)))).scalar_one()),
        cases=count(CASES),
        booked=count(STAGES[Stage.BOOKING]),
        operated=count(STAGES[Stage.THEATRE]),
        graded=int(connection.execute(graded).scalar_one()),
        rechecks=count(STAGES[Stage.RECHECK]),
        models=count(MODELS),
        forecasts=count(FORECASTS),
        locked=int(connection.execute(locked).scalar_one()),
    )


def read_models(connection: Connection, *, model_id: str | None = None, in_use: str | None = None) -> list[ModelEntry]:
    """Models by kind and number; one of them by id, or the one in use of a kind."""
    query = select(MODELS).order_by(MODELS.c.model, MODELS.c.number)
    if model_id is not None:
        query = query.where(MODELS.c.model_id == model_id)
    if in_use is not None:
        query = query.where(MODELS.c.model == in_use, MODELS.c.state == "in_use")
    return [
        ModelEntry(
            model_id=row.model_id,
            model=row.model,
            number=row.number,
            state=row.state,
            card_text=row.card,
            made_at=datetime.fromisoformat(row.made_at),
            made_by=row.made_by,
            decided_at=None if row.decided_at is None else datetime.fromisoformat(row.decided_at),
            decided_by=row.decided_by,
            reason=row.reason,
        )
        for row in connection.execute(query)
    ]


def read_model(connection: Connection, model_id: str) -> ModelEntry:
    """The model of that id; refused when there is none."""
    found = read_models(connection, model_id=model_id)
    if not found:
        raise Refusal("Nothing was done.", f"There is no model {model_id}.", "Choose one of the list of models.")
    return found[0]


def read_forecasts(
    connection: Connection, *, key: CaseKey | None = None, model: str | None = None, locked: bool | None = None
) -> list[StoredForecast]:
    """Forecasts in the order in which they were made; of one case, of one kind of model, locked or not."""
    query: Select[tuple[object, ...]] = (
        select(FORECASTS, PATIENTS.c.patient_id, CASES.c.eye, CASES.c.surgery_date)
        .join(CASES, CASES.c.case_no == FORECASTS.c.case_no)
        .join(PATIENTS, PATIENTS.c.patient_no == CASES.c.patient_no)
        .order_by(FORECASTS.c.forecast_id)
    )
    if key is not None:
        query = _between(query, key.surgery_date, key.surgery_date)
        query = query.where(PATIENTS.c.patient_id == key.patient_id, CASES.c.eye == key.eye)
    if model is not None:
        query = query.where(FORECASTS.c.model == model)
    if locked is not None:
        query = query.where(FORECASTS.c.locked == int(locked))
    return [
        StoredForecast(
            key=CaseKey(row.patient_id, row.eye, date.fromisoformat(row.surgery_date)),
            model_id=row.model_id,
            model=row.model,
            made_at=datetime.fromisoformat(row.made_at),
            made_by=row.made_by,
            status=row.status,
            risk=row.risk,
            low=row.low,
            high=row.high,
            inputs=inputs_from(row.inputs),
            note=row.note,
            locked=row.locked == 1,
            forecast_id=row.forecast_id,
        )
        for row in connection.execute(query)
    ]
