"""The tables of the store. Columns of the record follow from the codebook, by kind."""

from __future__ import annotations

from collections.abc import Iterable
from types import MappingProxyType
from typing import Any, NamedTuple

from sqlalchemy import (
    INTEGER,
    REAL,
    TEXT,
    Column,
    Connection,
    ForeignKey,
    Index,
    MetaData,
    Table,
    UniqueConstraint,
    text,
)
from sqlalchemy.types import TypeEngine

from clinic_app.domain.record import PATIENT_FIELDS
from clinic_app.store.sums import digest
from models.codebook import FIELDS, KEY, Field, Kind, Stage


class SchemaNumber(NamedTuple):
    """Which shape a store has: older programs refuse a newer one."""

    major: int
    minor: int

    def __str__(self) -> str:
        return f"{self.major}.{self.minor}"

    @property
    def packed(self) -> int:
        """As the file's header holds it (`user_version`)."""
        return self.major * 1000 + self.minor

    @classmethod
    def unpacked(cls, number: int) -> SchemaNumber:
        """From the file's header."""
        return cls(*divmod(number, 1000))


SCHEMA = SchemaNumber(1, 0)
REVISION = "0001"
"""The migration that leads to `SCHEMA`."""
LEAST_PROGRAM = "0.1.0"
"""The oldest program that may open a store of `SCHEMA`."""
APPLICATION_ID = 0x50484143
"""Marks the file as a store of this program, in the file's header."""

TYPES: MappingProxyType[Kind, type[TypeEngine[Any]]] = MappingProxyType(
    {
        kind: REAL if kind is Kind.NUMBER else INTEGER if kind in (Kind.INTEGER, Kind.GRADE, Kind.YES_NO) else TEXT
        for kind in Kind
    }
)
"""Column type of each kind: REAL, INTEGER (yes 1, no 0) or TEXT (dates and times in ISO 8601, answers joined by |)."""

STAGE_TABLES: MappingProxyType[Stage, str] = MappingProxyType(
    {Stage.BOOKING: "booking", Stage.THEATRE: "theatre", Stage.DAY_ONE: "day_one", Stage.RECHECK: "rechecks"}
)

_FORBID = "BEGIN SELECT RAISE(ABORT, 'the history is append-only'); END"
_FORBID_EVENTS = "BEGIN SELECT RAISE(ABORT, 'events are append-only'); END"
TRIGGERS: MappingProxyType[str, str] = MappingProxyType(
    {
        "history_no_update": f"CREATE TRIGGER history_no_update BEFORE UPDATE ON history {_FORBID}",
        "history_no_delete": f"CREATE TRIGGER history_no_delete BEFORE DELETE ON history {_FORBID}",
        "history_values_only_emptied": (
            "CREATE TRIGGER history_values_only_emptied BEFORE UPDATE ON history_values "
            "WHEN NOT (NEW.number = OLD.number AND NEW.version = OLD.version + 1 AND NEW.salt IS NULL "
            f"AND NEW.old IS NULL AND NEW.new IS NULL AND NEW.reason IS NULL AND NEW.item_sum IS NULL) {_FORBID}"
        ),
        "history_values_no_delete": (
            f"CREATE TRIGGER history_values_no_delete BEFORE DELETE ON history_values {_FORBID}"
        ),
        "case_events_only_emptied": (
            "CREATE TRIGGER case_events_only_emptied BEFORE UPDATE ON case_events "
            "WHEN NOT (NEW.event_no = OLD.event_no AND NEW.case_no = OLD.case_no AND NEW.kind = OLD.kind "
            "AND NEW.body = '{}' AND NEW.version = OLD.version + 1 AND NEW.written_by = OLD.written_by "
            f"AND NEW.written_at = OLD.written_at AND NEW.request_id = OLD.request_id) {_FORBID_EVENTS}"
        ),
        "case_events_no_delete": f"CREATE TRIGGER case_events_no_delete BEFORE DELETE ON case_events {_FORBID_EVENTS}",
    }
)
"""Values of the history and bodies of events can be emptied (an erasure), nothing else. The chain of the history runs
over the salted digest of its values."""

UNTOLD = frozenset({"drafts"})
"""Tables whose rows are summed but have no lines in the history: they come and go while somebody types."""


def stage_fields(stage: Stage, fields: Iterable[Field] = FIELDS) -> tuple[Field, ...]:
    """The fields that have a column in the stage's table: neither the key nor what belongs to the patient."""
    return tuple(one for one in fields if one.stage is stage and one.name not in (*KEY, *PATIENT_FIELDS))


def patient_fields(fields: Iterable[Field] = FIELDS) -> tuple[Field, ...]:
    """The fields kept once for both eyes."""
    return tuple(one for one in fields if one.name in PATIENT_FIELDS)


def _stamp() -> list[Column[Any]]:
    return [
        Column("version", INTEGER, nullable=False),
        Column("written_by", TEXT, nullable=False),
        Column("written_at", TEXT, nullable=False),
        Column("request_id", TEXT, nullable=False),
        Column("row_sum", TEXT, nullable=False),
    ]


def _number(name: str) -> Column[Any]:
    return Column(name, INTEGER, primary_key=True, autoincrement=False)


def _of(name: str, target: str, *, primary_key: bool = False) -> Column[Any]:
    reference = ForeignKey(f"{target}.{name}")
    return Column(name, INTEGER, reference, primary_key=primary_key, autoincrement=False, nullable=False)


def _record(fields: Iterable[Field], required: tuple[str, ...] = ()) -> list[Column[Any]]:
    columns: list[Column[Any]] = [
        Column(one.name, TYPES[one.kind], nullable=one.name not in required) for one in fields
    ]
    columns += [Column(name, TEXT, nullable=False) for name in ("missing", "typed", "origin")]
    columns.append(Column("signed", INTEGER, nullable=False))
    return columns


def build(fields: Iterable[Field] = FIELDS) -> MetaData:
    """The tables for a table of fields."""
    fields = tuple(fields)
    data = MetaData()

    def table(name: str, *parts: Column[Any] | UniqueConstraint | Index) -> None:
        Table(name, data, *parts, sqlite_strict=True)

    table(
        "meta", _number("meta_no"), Column("schema_major", INTEGER, nullable=False),
        Column("schema_minor", INTEGER, nullable=False), Column("store_id", TEXT, nullable=False),
        Column("least_program", TEXT, nullable=False),
        Column("shape", TEXT, nullable=False), *_stamp(),
    )  # fmt: skip
    table(
        "patients", _number("patient_no"), Column("patient_id", TEXT, nullable=False),
        *_record(patient_fields(fields)), *_stamp(), UniqueConstraint("patient_id"),
    )  # fmt: skip
    table(
        "cases", _number("case_no"), _of("patient_no", "patients"), Column("eye", TEXT, nullable=False),
        Column("surgery_date", TEXT, nullable=False), Column("postponed_from", TEXT),
        Column("stood_down", INTEGER, nullable=False), *_stamp(),
        UniqueConstraint("patient_no", "eye", "surgery_date"), Index("cases_by_date", "surgery_date"),
    )  # fmt: skip
    for stage in (Stage.BOOKING, Stage.THEATRE, Stage.DAY_ONE):
        own = _record(stage_fields(stage, fields))
        table(STAGE_TABLES[stage], _of("case_no", "cases", primary_key=True), *own, *_stamp())
    table(
        "rechecks", _number("recheck_no"), _of("case_no", "cases"),
        *_record(stage_fields(Stage.RECHECK, fields), required=("recheck_at",)), *_stamp(),
        UniqueConstraint("case_no", "recheck_at"),
    )  # fmt: skip
    table(
        "models", Column("model_id", TEXT, primary_key=True, nullable=False), Column("model", TEXT, nullable=False),
        Column("number", INTEGER, nullable=False), Column("state", TEXT, nullable=False),
        Column("card", TEXT, nullable=False), Column("made_at", TEXT, nullable=False),
        Column("made_by", TEXT, nullable=False), Column("decided_at", TEXT), Column("decided_by", TEXT),
        Column("reason", TEXT), *_stamp(), UniqueConstraint("model", "number"),
        Index("models_one_in_use", "model", unique=True, sqlite_where=text("state = 'in_use'")),
    )  # fmt: skip
    table(
        "forecasts", _number("forecast_id"), _of("case_no", "cases"),
        Column("model_id", TEXT, ForeignKey("models.model_id"), nullable=False), Column("model", TEXT, nullable=False),
        Column("made_at", TEXT, nullable=False), Column("made_by", TEXT, nullable=False),
        Column("status", TEXT, nullable=False), Column("risk", REAL), Column("low", REAL), Column("high", REAL),
        Column("inputs", TEXT, nullable=False), Column("note", TEXT, nullable=False),
        Column("locked", INTEGER, nullable=False), Column("seen_by", TEXT, nullable=False), *_stamp(),
        Index("forecasts_by_case", "case_no"),
    )  # fmt: skip
    table(
        "register", _number("register_no"), Column("kind", TEXT, nullable=False), Column("name", TEXT, nullable=False),
        Column("body", TEXT, nullable=False), *_stamp(), UniqueConstraint("kind", "name"),
    )  # fmt: skip
    table(
        "case_events", _number("event_no"), _of("case_no", "cases"), Column("kind", TEXT, nullable=False),
        Column("body", TEXT, nullable=False), *_stamp(), Index("case_events_by_case", "case_no"),
        Index("case_events_by_kind", "kind"),
    )  # fmt: skip
    table(
        "drafts", _number("draft_no"), Column("person", TEXT, nullable=False), Column("stage", TEXT, nullable=False),
        Column("patient_id", TEXT), Column("eye", TEXT), Column("surgery_date", TEXT),
        Column("body", TEXT, nullable=False), Column("kept_at", TEXT, nullable=False),
        Column("version", INTEGER, nullable=False), Column("row_sum", TEXT, nullable=False),
        Index("drafts_by_person", "person"),
    )  # fmt: skip
    table(
        "history", _number("number"), Column("at", TEXT, nullable=False), Column("person", TEXT, nullable=False),
        Column("act", TEXT, nullable=False), Column("subject", TEXT, nullable=False), Column("item", TEXT),
        Column("field", TEXT), Column("program", TEXT, nullable=False), Column("request_id", TEXT, nullable=False),
        Column("digest", TEXT, nullable=False), Column("hash", TEXT, nullable=False),
        Index("history_by_subject", "subject"),
    )  # fmt: skip
    table(
        "history_values",
        Column("number", INTEGER, ForeignKey("history.number"), primary_key=True, autoincrement=False),
        Column("salt", TEXT), Column("old", TEXT), Column("new", TEXT), Column("reason", TEXT),
        Column("item_sum", TEXT), Column("version", INTEGER, nullable=False),
    )  # fmt: skip
    return data


def shape_of(connection: Connection) -> str:
    """Fingerprint of the tables as the file has them, and of the revision that it says it is at."""
    parts = connection.exec_driver_sql("SELECT type, name, tbl_name, sql FROM sqlite_schema ORDER BY type, name").all()
    revisions = connection.exec_driver_sql("SELECT version_num FROM alembic_version").scalars().all()
    told = [part for row in parts for part in row] + list(revisions)
    return digest(told)


DATA = build()
META, PATIENTS, CASES = DATA.tables["meta"], DATA.tables["patients"], DATA.tables["cases"]
MODELS, FORECASTS = DATA.tables["models"], DATA.tables["forecasts"]
REGISTER, CASE_EVENTS, DRAFTS = DATA.tables["register"], DATA.tables["case_events"], DATA.tables["drafts"]
HISTORY, HISTORY_VALUES = DATA.tables["history"], DATA.tables["history_values"]
STAGES: MappingProxyType[Stage, Table] = MappingProxyType(
    {stage: DATA.tables[name] for stage, name in STAGE_TABLES.items()}
)
