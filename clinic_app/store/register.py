"""What the practice keeps about itself: people, machines, usual answers, levels; one entry a kind and name."""

from __future__ import annotations

import json
from collections.abc import Collection, Mapping
from datetime import datetime
from types import MappingProxyType

from sqlalchemy import Connection, func, select

from clinic_app.domain.record import RegisterEntry
from clinic_app.store.history import Change, Journal
from clinic_app.store.rowio import Row, Stamp, changed_meanwhile, insert, sound, update
from clinic_app.store.schema import REGISTER
from clinic_app.store.sums import readable

CHANGED = "changed"
"""What the history says of a value that it must not hold."""


def _entry(row: Mapping[str, object]) -> RegisterEntry:
    return RegisterEntry(
        kind=str(row["kind"]),
        name=str(row["name"]),
        body=MappingProxyType(json.loads(str(row["body"]))),
        version=int(str(row["version"])),
        by=str(row["written_by"]),
        at=datetime.fromisoformat(str(row["written_at"])),
    )


def read_register(connection: Connection, kind: str) -> list[RegisterEntry]:
    """The entries of a kind by name; refused when one is not as it was written: rights hang on them."""
    found = []
    for found_row in connection.execute(select(REGISTER).where(REGISTER.c.kind == kind).order_by(REGISTER.c.name)):
        row = dict(found_row._mapping)
        sound(row)
        found.append(_entry(row))
    return found


def put_register(
    connection: Connection, journal: Journal, stamp: Stamp, kind: str, name: str, body: Mapping[str, object], *,
    expect_version: int | None, secret: Collection[str],
) -> RegisterEntry:  # fmt: skip
    """Write an entry in place of the one of that kind and name; what the same name says already is left as it is."""
    if not kind.strip() or not name.strip():
        raise ValueError("an entry of a register needs a kind and a name")
    query = select(REGISTER).where(REGISTER.c.kind == kind, REGISTER.c.name == name)
    known = connection.execute(query).one_or_none()
    row = None if known is None else dict(known._mapping)
    version = 0 if row is None else int(row["version"])
    if expect_version is not None and expect_version != version:
        raise changed_meanwhile()
    text = readable(dict(body))
    if row is not None and row["body"] == text:
        return _entry(row)
    if row is None:
        number = int(connection.execute(select(func.coalesce(func.max(REGISTER.c.register_no), 0))).scalar_one()) + 1
        after: Row = stamp.on({"register_no": number, "kind": kind, "name": name, "body": text}, 1)
        insert(connection, REGISTER, [after])
        old: Mapping[str, object] = {}
    else:
        sound(row)
        after = stamp.on({**row, "body": text}, version + 1)
        update(connection, REGISTER, [after])
        old = json.loads(row["body"])
    subject, item, total = f"{kind} {name}", f"register:{after['register_no']}", str(after["row_sum"])
    new = json.loads(text)
    changed = [key for key in sorted({*old, *new}) if key not in old or key not in new or old[key] != new[key]]
    lines = [
        Change(subject, item, total, key, None, CHANGED)
        if key in secret
        else Change(subject, item, total, key, _told(old, key), _told(new, key))
        for key in changed
    ]
    journal.write(lines or [Change(subject, item, total, None, None, None)])
    return _entry(after)


def _told(body: Mapping[str, object], key: str) -> str | None:
    if key not in body:
        return None
    value = body[key]
    return value if isinstance(value, str) else readable(value)
