"""What the store holds, read into records, flat rows and counts."""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from functools import partial
from typing import Any

from sqlalchemy import Connection, Row, Select, Table, case, func, select

from clinic_app.domain.record import Case, CaseKey, ModelEntry, StoredForecast, Written
from clinic_app.errors import Refusal
from clinic_app.store.cells import from_cell
from clinic_app.store.inputs import inputs_from
from clinic_app.store.records import Cells, cells_from, record_of
from clinic_app.store.rowio import sound
from clinic_app.store.schema import CASES, FORECASTS, MODELS, PATIENTS, STAGES, patient_fields, stage_fields
from models.codebook import CENTRE_GRADE, Field, Kind, Stage

MOMENTS = (Stage.BOOKING, Stage.THEATRE, Stage.DAY_ONE)
CHUNK = 2000


@dataclass(frozen=True, slots=True)
class Counts:
    """How much there is: cases with that moment written, graded ones those with a centre grade; forecasts locked."""

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
    from_: date | None, to: date | None, patient_id: str | None, without: Stage | None = None
) -> Select[tuple[object, ...]]:
    query: Select[tuple[object, ...]] = select(CASES.c.case_no, CASES.c.eye, CASES.c.surgery_date, *PATIENTS.c).join(
        PATIENTS, PATIENTS.c.patient_no == CASES.c.patient_no
    )
    query = _between(query, from_, to)
    if patient_id is not None:
        query = query.where(PATIENTS.c.patient_id == patient_id)
    if without is not None:
        written = STAGES[without].c.case_no
        query = query.where(CASES.c.case_no.not_in(select(written)))
    return query.order_by(CASES.c.surgery_date, CASES.c.case_no)


def _written(stage: Stage, row: Row[Any], cells: Cells) -> Written:
    told = row._mapping
    return Written(
        record_of(stage, cells), told["version"], told["written_by"], datetime.fromisoformat(told["written_at"])
    )


def read_cases(
    connection: Connection, from_: date | None = None, to: date | None = None, patient_id: str | None = None,
    key: CaseKey | None = None, without: Stage | None = None,
) -> list[Case]:  # fmt: skip
    """Cases by surgery date, then in the order in which they were booked; a single one only if its sums are right."""
    if key is not None:
        from_ = to = key.surgery_date
        patient_id = key.patient_id
    query = _cases_query(from_, to, patient_id, without)
    chosen = query.with_only_columns(CASES.c.case_no).order_by(None)
    if key is not None:
        query, chosen = query.where(CASES.c.eye == key.eye), chosen.where(CASES.c.eye == key.eye)
    stages: dict[int, dict[Stage, tuple[Row[Any], Cells]]] = defaultdict(dict)
    rechecks: dict[int, list[Written]] = defaultdict(list)
    for stage, table in STAGES.items():
        fields = stage_fields(stage)
        rows = select(table).where(table.c.case_no.in_(chosen))
        if stage is Stage.RECHECK:
            rows = rows.order_by(table.c.recheck_at)
        for row in connection.execute(rows):
            told = dict(row._mapping)
            if key is not None:
                sound(told)
            cells = cells_from(told, fields)
            if stage is Stage.RECHECK:
                rechecks[row.case_no].append(_written(stage, row, cells))
            else:
                stages[row.case_no][stage] = (row, cells)
    found: list[Case] = []
    shared = patient_fields()
    for row in connection.execute(query):
        told = dict(row._mapping)
        if key is not None:
            sound({column.name: told[column.name] for column in PATIENTS.columns})
        patient = cells_from(told, shared)
        held: dict[Stage, Written] = {}
        for stage in MOMENTS:
            if stage in stages[told["case_no"]]:
                own, cells = stages[told["case_no"]][stage]
                held[stage] = _written(stage, own, cells.with_patient(patient) if stage is Stage.BOOKING else cells)
        name = CaseKey(told["patient_id"], told["eye"], date.fromisoformat(told["surgery_date"]))
        found.append(Case(name, held, tuple(rechecks[told["case_no"]])))
    return found


def _converter(kind: Kind) -> Callable[[object], object] | None:
    return partial(from_cell, kind) if kind in (Kind.YES_NO, Kind.CHOICES, Kind.DATE, Kind.TIME, Kind.MOMENT) else None


class _Column:
    """Turns one column of many rows at once; the same text is read once only."""

    def __init__(self, name: str, kind: Kind) -> None:
        self.name = name
        self._convert = _converter(kind)
        self._known: dict[object, object] = {}

    def turn(self, cells: Sequence[object]) -> Iterable[object]:
        convert, known = self._convert, self._known
        if convert is None:
            return cells
        if len(known) > 100_000:
            known.clear()
        for cell in set(cells).difference(known):
            known[cell] = None if cell is None else convert(cell)
        return [known[cell] for cell in cells]


def read_rows(connection: Connection, from_: date | None = None, to: date | None = None) -> list[dict[str, object]]:
    """Flat rows of all cases, rechecks left out: what `Case.row` gives, in the same order, column by column."""
    own: list[tuple[Table, tuple[Field, ...]]] = [(PATIENTS, patient_fields())]
    own += [(STAGES[stage], stage_fields(stage)) for stage in MOMENTS]
    marked = [table.c[name] for name in ("missing", "origin") for table, _ in own]
    chosen = [table.c[one.name] for table, fields in own for one in fields]
    query: Select[tuple[object, ...]] = select(
        PATIENTS.c.patient_id, CASES.c.eye, CASES.c.surgery_date, STAGES[Stage.BOOKING].c.case_no, *marked, *chosen
    ).select_from(CASES.join(PATIENTS, PATIENTS.c.patient_no == CASES.c.patient_no))
    for stage in MOMENTS:
        query = query.outerjoin_from(CASES, STAGES[stage], STAGES[stage].c.case_no == CASES.c.case_no)
    query = _between(query, from_, to).order_by(CASES.c.surgery_date, CASES.c.case_no)
    columns = [_Column("patient_id", Kind.IDENTIFIER), _Column("eye", Kind.CHOICE), _Column("surgery_date", Kind.DATE)]
    columns += [_Column(one.name, one.kind) for _, fields in own for one in fields]
    patient_columns = {one.name for one in patient_fields()}
    found: list[dict[str, object]] = []
    companions = [_Companions(_reasons)] * len(own) + [_Companions(_origins)] * len(own)
    for part in connection.execute(query).partitions(CHUNK):
        turned = list(zip(*part, strict=True))
        booked, beside = turned[3], turned[4 : 4 + len(marked)]
        cells = [*turned[:3], *turned[4 + len(marked) :]]
        rows: list[dict[str, object]] = [{} for _ in part]
        for column, told in zip(columns, cells, strict=True):
            name = column.name
            of_patient = name in patient_columns
            for row, value, case_no in zip(rows, column.turn(told), booked, strict=True):
                if value is not None and not (of_patient and case_no is None):
                    row[name] = value
        for place, (companion, texts) in enumerate(zip(companions, beside, strict=True)):
            of_patient = place % len(own) == 0
            for row, text, case_no in zip(rows, texts, booked, strict=True):
                if text is not None and text != "{}" and not (of_patient and case_no is None):
                    row.update(companion.read(text))
        found += rows
    return found


class _Companions:
    """Turns the JSON beside the columns into entries of the row; the same text is read once only."""

    def __init__(self, convert: Callable[[str], dict[str, object]]) -> None:
        self._convert = convert
        self._known: dict[str, dict[str, object]] = {}

    def read(self, text: str) -> dict[str, object]:
        if text not in self._known:
            if len(self._known) > 10_000:
                self._known.clear()
            self._known[text] = self._convert(text)
        return self._known[text]


def _reasons(text: str) -> dict[str, object]:
    return {f"{name}_missing": code for name, code in json.loads(text).items()}


def _origins(text: str) -> dict[str, object]:
    told: dict[str, object] = {}
    for name, (source, day) in json.loads(text).items():
        if source is not None:
            told[f"{name}_source"] = source
        if day is not None:
            told[f"{name}_at"] = date.fromisoformat(day)
    return told


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


def read_signed(connection: Connection) -> dict[CaseKey, set[Stage]]:
    """For each case the moments entered in the program; cases with none are left out."""
    keys = read_keys(connection)
    found: dict[CaseKey, set[Stage]] = defaultdict(set)
    for stage in MOMENTS:
        table = STAGES[stage]
        for number in connection.execute(select(table.c.case_no).where(table.c.signed == 1)).scalars():
            found[keys[number]].add(stage)
    return dict(found)


def read_counts(connection: Connection) -> Counts:
    """Counts over the whole store."""

    def count(table: Table) -> int:
        return int(connection.execute(select(func.count()).select_from(table)).scalar_one())

    graded = select(func.count(STAGES[Stage.DAY_ONE].c[CENTRE_GRADE]))
    locked = select(func.coalesce(func.sum(case((FORECASTS.c.locked == 1, 1), else_=0)), 0))
    return Counts(
        patients=count(PATIENTS),
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
