"""Rows as mappings, written many at once, each with its version and its sum."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import cached_property, lru_cache
from typing import Any

from sqlalchemy import Connection, Table, bindparam, func, select
from sqlalchemy.dialects import sqlite
from sqlalchemy.sql import ColumnElement

from clinic_app.errors import Refusal
from clinic_app.store.sums import SUM, sum_of

Row = dict[str, object]

_DIALECT = sqlite.dialect(paramstyle="qmark")


@dataclass(frozen=True)
class Stamp:
    """Who writes, when (UTC), in which act, under which request."""

    by: str
    at: datetime
    act: str
    reason: str | None
    request_id: str
    program: str

    @cached_property
    def moment(self) -> str:
        """The time as stored."""
        return moment(self.at)

    def on(
        self, row: Mapping[str, object], version: int, summing: Callable[[Mapping[str, object]], str] = sum_of
    ) -> Row:
        """The row as it will be stored: stamped and summed."""
        stamped: Row = {
            **row,
            "version": version,
            "written_by": self.by,
            "written_at": self.moment,
            "request_id": self.request_id,
        }
        stamped[SUM] = summing(stamped)
        return stamped


def moment(at: datetime) -> str:
    """A point in time as stored: UTC, ISO 8601, microseconds."""
    if at.tzinfo is None:
        raise ValueError("a point in time needs its zone")
    return at.astimezone(UTC).isoformat(timespec="microseconds")


def changed_meanwhile() -> Refusal:
    """What to say when a row is not the one that was shown."""
    return Refusal(
        "The change was not saved.",
        "The record was changed in another place after it was opened here.",
        "Open it again, compare, and enter the change once more.",
    )


def sound(row: Mapping[str, object]) -> None:
    """Refuse a stored row that does not add up: it is neither shown as a record nor summed anew by an edit."""
    if sum_of(row) != row[SUM]:
        raise Refusal(
            "The record cannot be opened or changed.",
            "It is not as it was saved: the file was damaged, or changed from outside the program.",
            "Verify the practice, and restore the newest backup that passes.",
        )


def listed(column: ColumnElement[Any], values: Iterable[object]) -> ColumnElement[bool]:
    """Whether the column is one of many values: one bound text, however many there are."""
    told = func.json_each(bindparam(None, json.dumps(list(values)), unique=True)).table_valued("value")
    return column.in_(select(told.c.value))


@lru_cache(maxsize=256)
def _inserting(table: Table, names: tuple[str, ...]) -> tuple[str, tuple[str, ...]]:
    compiled = table.insert().compile(dialect=_DIALECT, column_keys=names)
    return str(compiled), tuple(compiled.positiontup or ())


def insert(connection: Connection, table: Table, rows: Sequence[Row]) -> None:
    """Insert rows; a column that a row does not name is empty. By tuples: four times as fast as by mappings."""
    if not rows:
        return
    # the driver is slow with None: columns empty in all rows are not named
    told = {name for row in rows for name, cell in row.items() if cell is not None}
    sql, names = _inserting(table, tuple(one.name for one in table.columns if one.name in told))
    connection.exec_driver_sql(sql, [tuple(map(row.get, names)) for row in rows])


@lru_cache(maxsize=32)
def _updating(table: Table) -> tuple[str, tuple[str, ...]]:
    (key,) = table.primary_key.columns
    compiled = (
        table.update()
        .where(key == bindparam("this_row"), table.c.version == bindparam("this_version"))
        .values({column: bindparam(f"to_{column.name}") for column in table.c if column is not key})
        .compile(dialect=_DIALECT)
    )
    return str(compiled), tuple(compiled.positiontup or ())


def update(connection: Connection, table: Table, rows: Sequence[Row]) -> None:
    """Update whole rows; each carries its new version, and must still have the one before in the store."""
    if not rows:
        return
    (key,) = table.primary_key.columns
    sql, wanted = _updating(table)

    def place(row: Row) -> tuple[object, ...]:
        version = row["version"]
        held = {f"to_{name}": cell for name, cell in row.items()}
        held |= {"this_row": row[key.name], "this_version": int(str(version)) - 1}
        return tuple(held[name] for name in wanted)

    result = connection.exec_driver_sql(sql, [place(row) for row in rows])
    if result.rowcount != len(rows):
        raise changed_meanwhile()
