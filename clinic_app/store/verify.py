"""Everything about a store that can be checked without knowing today's fields: it reads whatever tables there are."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, column, inspect, select, table
from sqlalchemy.exc import DBAPIError

from clinic_app.store.head import Head, behind
from clinic_app.store.history import START, digest_of, hash_of, last_line
from clinic_app.store.schema import HISTORY, HISTORY_VALUES, META, UNTOLD, SchemaNumber, shape_of
from clinic_app.store.sums import SUM, sum_of
from models.progress import Report, silent

SHOWN = 5
"""So many places of a fault are named; the rest are counted."""


@dataclass(frozen=True, slots=True)
class Check:
    """One check of the store; `detail` says what was looked at or what is wrong, and holds no patient value."""

    name: str
    ok: bool
    detail: str


def _told(name: str, faults: list[str], good: str) -> Check:
    if not faults:
        return Check(name, True, good)
    more = f" and {len(faults) - SHOWN} more" if len(faults) > SHOWN else ""
    return Check(name, False, "; ".join(faults[:SHOWN]) + more + ".")


def _integrity(connection: Connection) -> Check:
    said = list(connection.exec_driver_sql("PRAGMA integrity_check").scalars())
    if said == ["ok"]:
        return Check("integrity", True, "The database's own check found nothing.")
    return Check("integrity", False, f"The database's own check found {len(said)} faults.")


def _foreign_keys(connection: Connection) -> Check:
    faults = [f"{row[0]} row {row[1]}" for row in connection.exec_driver_sql("PRAGMA foreign_key_check")]
    return _told("links between tables", faults, "Every row leads to the row that it belongs to.")


def _schema(connection: Connection) -> Check:
    header = SchemaNumber.unpacked(connection.exec_driver_sql("PRAGMA user_version").scalar_one())
    meta = connection.execute(select(META.c.schema_major, META.c.schema_minor, META.c.shape)).all()
    if len(meta) == 1 and meta[0].shape != shape_of(connection):
        return Check("schema", False, "The tables are not as the program made them.")
    if len(meta) == 1 and SchemaNumber(meta[0].schema_major, meta[0].schema_minor) == header:
        return Check("schema", True, f"Schema {header}.")
    return Check("schema", False, f"The header of the file says {header}, the table of the store says otherwise.")


def _summed(connection: Connection) -> dict[str, str]:
    """Tables that carry a sum -> their primary key."""
    inspector = inspect(connection)
    found: dict[str, str] = {}
    for name in sorted(inspector.get_table_names()):
        if any(one["name"] == SUM for one in inspector.get_columns(name)):
            found[name] = inspector.get_pk_constraint(name)["constrained_columns"][0]
    return found


def _all_rows(connection: Connection, name: str) -> Iterator[dict[str, object]]:
    names = [one["name"] for one in inspect(connection).get_columns(name)]
    query: Any = select(*(column(one) for one in names)).select_from(table(name))
    for part in connection.execute(query).partitions(1000):
        for row in part:
            yield dict(zip(names, row, strict=True))


def _right(row: dict[str, object]) -> bool:
    try:
        return sum_of(row) == row[SUM]
    except (TypeError, ValueError):  # a damaged cell may hold bytes or no number
        return False


def _sums(connection: Connection) -> tuple[Check, dict[str, object]]:
    """Whether every row adds up; also the sums of the rows that the history tells of."""
    faults: list[str] = []
    sums: dict[str, object] = {}
    many = 0
    for name, key in _summed(connection).items():
        for row in _all_rows(connection, name):
            item = f"{name}:{row[key]}"
            many += 1
            if name not in UNTOLD:
                sums[item] = row[SUM]
            if not _right(row):
                faults.append(f"{item} was changed from outside")
    return _told("row sums", faults, f"{many} rows hold what was written."), sums


def _chain(connection: Connection) -> tuple[Check, dict[str, object]]:
    """Follow the chain; also the sum that the last line of each item left (None: emptied)."""
    faults: list[str] = []
    left: dict[str, object] = {}
    before, number, emptied = START, 0, 0
    values = [one for one in HISTORY_VALUES.columns if one.name != "number"]
    query = select(HISTORY, HISTORY_VALUES.c.number.label("of"), *values).join(
        HISTORY_VALUES, HISTORY_VALUES.c.number == HISTORY.c.number, isouter=True
    )
    for part in connection.execute(query.order_by(HISTORY.c.number)).partitions(1000):
        for row in part:
            line = dict(row._mapping)
            number += 1
            if line["number"] != number:
                faults.append(f"entry {number} is missing" if line["number"] > number else "entries are out of order")
                number = line["number"]
            if line["hash"] != hash_of(line, before):
                faults.append(f"entry {number} does not follow from the one before")
            before = line["hash"]
            if line["of"] is None:
                faults.append(f"the values of entry {number} are missing")
            elif line["salt"] is None:
                emptied += 1
            elif line["digest"] != digest_of(line["salt"], line["old"], line["new"], line["reason"], line["item_sum"]):
                faults.append(f"the values of entry {number} were changed")
            if line["item"] is not None:
                left[line["item"]] = line["item_sum"]
    return _told("history", faults, f"{number} entries follow one from the other; {emptied} were emptied."), left


def _agreement(sums: dict[str, object], left: dict[str, object]) -> Check:
    faults = [f"{item} has no entry" for item in sums if item not in left]
    faults += [f"{item} is not as its last entry left it" for item in sums if item in left and left[item] != sums[item]]
    faults += [f"{item} is gone" for item, total in left.items() if item not in sums and total is not None]
    return _told("history against rows", faults, f"{len(sums)} rows are as their last entries left them.")


def store_head(connection: Connection) -> Head:
    """Where the store stands now."""
    meta = connection.execute(select(META)).one()
    number, line_hash = last_line(connection)
    return Head(meta.store_id, str(SchemaNumber(meta.schema_major, meta.schema_minor)), number, line_hash)


def against_head(connection: Connection, head: Head) -> str | None:
    """The sentence when the store does not hold what the head file knew."""
    at_head = connection.execute(select(HISTORY.c.hash).where(HISTORY.c.number == head.number)).scalar_one_or_none()
    return behind(head, store_head(connection), at_head)


def _head(connection: Connection, head: Head | None) -> Check:
    if head is None:
        return Check("head file", False, "There is no head file beside the records.")
    sentence = against_head(connection, head)
    return Check("head file", sentence is None, sentence or f"The history reaches entry {head.number} as it should.")


def check_store(
    connection: Connection, *, head: Head | None, beside_head: bool, report: Report = silent
) -> list[Check]:
    """All checks in order; `beside_head` says whether a head file is expected (a backup has none)."""
    checks: list[Check] = []

    def run(fraction: float, name: str, check: Callable[[], Check]) -> None:
        report(fraction, f"Checking: {name}.")
        try:
            checks.append(check())
        except DBAPIError:
            checks.append(Check(name, False, "This part of the file cannot be read."))
        except (TypeError, ValueError, IndexError):
            checks.append(Check(name, False, "This part of the file holds what the program never writes."))

    sums: dict[str, object] = {}
    left: dict[str, object] = {}

    def row_sums() -> Check:
        check, found = _sums(connection)
        sums.update(found)
        return check

    def chain() -> Check:
        check, found = _chain(connection)
        left.update(found)
        return check

    run(0.0, "integrity", lambda: _integrity(connection))
    run(0.1, "links between tables", lambda: _foreign_keys(connection))
    run(0.15, "schema", lambda: _schema(connection))
    run(0.2, "row sums", row_sums)
    run(0.6, "history", chain)
    run(0.9, "history against rows", lambda: _agreement(sums, left))
    if beside_head:
        run(0.95, "head file", lambda: _head(connection, head))
    report(1.0, "Checked.")
    return checks
