"""Forecasts for many eyes: the practice's own, or the rows of a file."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from datetime import date
from pathlib import Path
from typing import Any

from clinic_app.domain.derived import complete
from clinic_app.domain.operated import first_operations, key_of, marked
from clinic_app.domain.people import Duty
from clinic_app.domain.record import Case, CaseKey, Row
from clinic_app.domain.seal import MODELS
from clinic_app.domain.states import BOOKED, OPERATED, STATES, state_of
from clinic_app.domain.words import counted
from clinic_app.errors import Refusal
from clinic_app.exchange.cells import mark
from clinic_app.exchange.columns import columns_of
from clinic_app.exchange.csv_out import csv_of
from clinic_app.exchange.row_reader import RowReader
from clinic_app.exchange.tables import Table, open_tables
from clinic_app.files import write_whole
from clinic_app.session import Session
from clinic_app.settings import Settings
from models.card import Card, read_card
from models.codebook import KEY, Stage
from models.forecast import Forecast
from models.progress import Report, silent

COLUMNS = ("patient_id", "eye", "surgery_date", "model_id", "model", "made_at", "risk", "low", "high", "status")

MAY = (Duty.BOOKING, Duty.SURGEON, Duty.DATA_LEAD)
NO_MODEL = ("no_model", "The practice has no model of this kind in use yet.")
SEALED = ("sealed", "Sealed for you until the eye is graded.")


def waiting(case: Case, model: str) -> bool:
    """Whether the model has still something to say about the eye: before theatre, or between theatre and day one.

    Once day one is written no forecast is made any more, whatever of the case is missing: it would know its answer.
    """
    if case.has(Stage.DAY_ONE):
        return False
    return case.has(Stage.THEATRE) == (model == "end_of_case")


def forecast_practice(
    session: Session,
    *,
    model: str,
    card: Path | None = None,
    from_: date | None = None,
    to: date | None = None,
    report: Report = silent,
) -> dict[str, Any]:
    """Forecasts for the practice's eyes that wait for the model's moment, by date; the model in use has its own stored.

    Forecasts of another `card` are only shown. Without a model every row says `no_model`, and `sealed` where the
    person acting must not see the numbers; they are made and stored all the same.
    """
    session.need(*MAY, act="Forecasting the practice's eyes")
    sealed = MODELS[model] in session.hides(BOOKED if model == "booking" else OPERATED)
    first = first_operations(session.store.keys())
    gone = session.store.stood_down()
    found = session.store.cases(from_=from_, to=to, without=Stage.DAY_ONE)
    cases = [case for case in found if waiting(case, model) and case.key not in gone]
    zone = session.settings.zone or None
    rows = [marked(complete(case.row(), zone=zone), case.key, first) for case in cases]
    entry = session.store.in_use(model)
    if card is not None:
        return _document(_card_of(card, model), None, model, rows, [sealed] * len(rows))
    if entry is None:
        return {"model_id": None, "model": model, "rows": [_without_number(row, NO_MODEL) for row in rows]}
    chosen = session.card(entry.model_id)
    forecasts = chosen.forecast(rows)
    report(0.9, "Keeping the forecasts")
    now = session.clock()
    if cases:
        with session.store.writing(by=session.person, act="forecast") as write:
            write.add_forecasts(
                [
                    session.stored(case.key, entry.model_id, model, forecast, at=now)
                    for case, forecast in zip(cases, forecasts, strict=True)
                ]
            )
    return {
        "model_id": entry.model_id,
        "model": model,
        "made_at": now.isoformat(timespec="seconds"),
        "rows": [
            _without_number(row, SEALED) if sealed else _shown(row, forecast)
            for row, forecast in zip(rows, forecasts, strict=True)
        ],
    }


def forecast_file(
    session: Session | None,
    file: Path,
    *,
    model: str,
    card: Path | None = None,
    from_: date | None = None,
    to: date | None = None,
    encoding: str | None = None,
    report: Report = silent,
) -> dict[str, Any]:
    """Forecasts for the rows of a file, in its order; nothing is stored.

    A row with a cell that cannot be read gets no forecast: it stands under `problems` with row, column and reason.
    Without a practice (`session` None) a `card` must be named; the usual settings then hold and no earlier operation
    is known but those in the file. `encoding` says how a text file is written, if not in UTF-8. An eye of the practice
    that is sealed for the person acting gets no number here either.
    """
    if session is not None:
        session.need(*MAY, act="Forecasting the rows of a file")
    settings = Settings() if session is None else session.settings
    known = set() if session is None else session.store.keys()
    entry = None if session is None else session.store.in_use(model)
    if card is not None:
        chosen, model_id = _card_of(card, model), None
    elif session is not None and entry is not None:
        chosen, model_id = session.card(entry.model_id), entry.model_id
    else:
        raise Refusal(
            what="There is no forecast.",
            why="The practice has no model of this kind in use.",
            next="Fit and adopt one, or name a card with --card FILE.",
        )
    report(0.1, f"Reading {file.name}")
    read = list(_rows_of(settings, file, encoding))
    first = first_operations([*known, *(key_of(row) for row, faults in read if not faults)])
    said: dict[CaseKey, list[Row]] = defaultdict(list)
    for row, faults in read:
        if not faults and row not in said[key_of(row)]:
            said[key_of(row)].append(row)
    rows: list[Row] = []
    problems: list[dict[str, object]] = []
    for key, several in said.items():
        inside = (from_ is None or key.surgery_date >= from_) and (to is None or key.surgery_date <= to)
        if len(several) > 1:
            reason = f"{len(several)} rows are about this eye and day and say different things. Keep the right one."
            problems.append({"file": file.name, "row": None, "column": "", "typed": key.patient_id, "reason": reason})
        elif inside:
            rows.append(marked(complete(several[0], zone=settings.zone or None), key, first))
    problems += [fault for _, faults in read for fault in faults]
    report(0.5, f"{counted(len(rows), 'row', 'rows')} read")
    sealed = [False] * len(rows) if session is None else _sealed(session, model, rows)
    return {**_document(chosen, model_id, model, rows, sealed), "problems": problems}


def _sealed(session: Session, model: str, rows: Sequence[Row]) -> list[bool]:
    """For each row whether it is about an eye of the practice whose forecasts are sealed for the person acting."""
    cases = session.store.cases(patients={str(row["patient_id"]) for row in rows})
    hidden = {state: MODELS[model] in session.hides(state) for state in STATES}
    known = {case.key: hidden[state_of(case)] for case in cases}
    return [known.get(key_of(row), False) for row in rows]


def write_forecasts(path: Path, document: Mapping[str, object]) -> Path:
    """The forecasts of a document as CSV, one row an eye."""
    rows = document["rows"]
    lines: list[Sequence[str]] = [COLUMNS]
    for one in rows if isinstance(rows, list) else []:
        shown = {**document, **one}
        lines.append([mark("" if shown.get(name) is None else str(shown[name])) for name in COLUMNS])
    return write_whole(path, csv_of(lines))


def _tables(file: Path, encoding: str | None) -> list[Table]:
    try:
        return open_tables(file, encoding=encoding)
    except Refusal as fault:
        raise Refusal(what="No forecast was made.", why=fault.why, next=fault.next) from None


def _rows_of(settings: Settings, file: Path, encoding: str | None) -> Iterator[tuple[Row, list[dict[str, object]]]]:
    """The rows of every table of the file laid flat, each with what cannot be read in it."""
    for table in _tables(file, encoding):
        columns = columns_of(table.headings, {}, table.name, ())
        reader = RowReader(
            columns,
            {},
            width=len(table.headings),
            decimal=settings.decimal or None,
            date_order=settings.date_order,
            notation=settings.vision_notation or None,
        )
        for number, cells in table.rows():
            read = reader.read(cells)
            flat: dict[str, object] = {}
            if read.key is not None:
                flat = {
                    "patient_id": read.key.patient_id,
                    "eye": read.key.eye,
                    "surgery_date": read.key.surgery_date,
                }
            for record in read.stages.values():
                flat.update(record.row())
            faults = [
                {"file": table.name, "row": number, "column": one.column, "typed": one.typed, "reason": one.reason}
                for one in read.problems
                if one.kind != "note"
            ]
            yield flat, faults


def _card_of(path: Path, model: str) -> Card:
    card = read_card(path)
    if card.model != model:
        raise Refusal(
            what="There is no forecast.",
            why="The card is of the other kind of model.",
            next=f"Name its kind: --model {card.model}",
        )
    return card


def _document(
    card: Card, model_id: str | None, model: str, rows: Sequence[Row], sealed: Sequence[bool]
) -> dict[str, Any]:
    forecasts = card.forecast(rows)
    return {
        "model_id": model_id,
        "model": model,
        "card": card.hash,
        "rows": [
            _without_number(row, SEALED) if closed else _shown(row, forecast)
            for row, forecast, closed in zip(rows, forecasts, sealed, strict=True)
        ],
    }


def _shown(row: Row, forecast: Forecast) -> dict[str, Any]:
    return {**_key_of(row), **{name: value for name, value in forecast.as_dict().items() if name not in KEY}}


def _key_of(row: Row) -> dict[str, Any]:
    day = row.get("surgery_date")
    return {
        "patient_id": row.get("patient_id"),
        "eye": row.get("eye"),
        "surgery_date": day.isoformat() if isinstance(day, date) else None,
    }


def _without_number(row: Row, why: tuple[str, str]) -> dict[str, Any]:
    status, note = why
    return {
        **_key_of(row),
        "risk": None,
        "low": None,
        "high": None,
        "status": status,
        "missing": [],
        "would_narrow_most": None,
        "reasons": [],
        "note": note,
    }
