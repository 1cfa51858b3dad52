"""Making a store and bringing one to today's schema: always on a copy, in one transaction, then swapped in.

Imported only when there is something to migrate: Alembic costs a quarter of a second at the start.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from alembic.operations import Operations
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Connection, select

from clinic_app.errors import Refusal
from clinic_app.store.backup import check_file, copy_store, demand_sound, remove_store, settle, swap
from clinic_app.store.disk import make_private, sync_file, sync_folder
from clinic_app.store.engine import open_engine, plainly
from clinic_app.store.history import Change, Journal
from clinic_app.store.rowio import Row, Stamp, insert, update
from clinic_app.store.schema import APPLICATION_ID, LEAST_PROGRAM, META, REVISION, SCHEMA, SchemaNumber, shape_of
from models.progress import Report, silent

SCRIPTS = Path(__file__).with_name("migrations")
VERSIONS = "CREATE TABLE IF NOT EXISTS alembic_version (version_num TEXT NOT NULL PRIMARY KEY) STRICT"


def create(path: Path, stamp: Stamp, store_id: str) -> None:
    """Make an empty store of today's schema; it appears whole or not at all."""
    fresh = path.with_name(path.name + ".new")
    remove_store(fresh)
    make_private(fresh)

    def found(connection: Connection) -> None:
        row = stamp.on(
            {
                "meta_no": 1, "schema_major": SCHEMA.major, "schema_minor": SCHEMA.minor, "store_id": store_id,
                "least_program": LEAST_PROGRAM, "shape": shape_of(connection),
            },
            1,
        )  # fmt: skip
        insert(connection, META, [row])
        Journal(connection, stamp).write([Change("store", "meta:1", str(row["row_sum"]), "schema", None, str(SCHEMA))])
        connection.exec_driver_sql(f"PRAGMA application_id = {APPLICATION_ID}")

    _migrate(fresh, SCHEMA, REVISION, SCRIPTS, found)
    fresh.replace(path)
    sync_folder(path.parent)


def upgrade(
    path: Path, stamp: Stamp, *, schema: SchemaNumber = SCHEMA, revision: str = REVISION, scripts: Path = SCRIPTS,
    report: Report = silent,
) -> Path:  # fmt: skip
    """Bring the store at `path` to `schema`; returns where the store before lies, untouched.

    Checked, copied, migrated in one transaction, checked again, then swapped in by a rename: killed at any moment the
    store is the old or the new one, and the upgrade can be run again.
    """
    fresh = path.with_name(path.name + ".upgraded")
    remove_store(fresh)
    settle(path)
    report(0.0, "Checking the records before the upgrade.")
    demand_sound(check_file(path), "The records were not upgraded.")
    copy_store(path, fresh, still=True)
    demand_sound(check_file(fresh), "The records were not upgraded.")
    report(0.4, "Upgrading a copy of the records.")

    def note(connection: Connection) -> None:
        row = dict(connection.execute(select(META)).mappings().one())
        was = SchemaNumber(int(row["schema_major"]), int(row["schema_minor"]))
        told: Row = {"schema_major": schema.major, "schema_minor": schema.minor, "least_program": LEAST_PROGRAM}
        told["shape"] = shape_of(connection)
        after = stamp.on({**row, **told}, int(row["version"]) + 1)
        update(connection, META, [after])
        line = Change("store", "meta:1", str(after["row_sum"]), "schema", str(was), str(schema))
        Journal(connection, stamp).write([line])

    try:
        _migrate(fresh, schema, revision, scripts, note)
        report(0.7, "Checking the upgraded records.")
        demand_sound(check_file(fresh), "The records were not upgraded.")
        aside = swap(fresh, path, "before-upgrade")
    finally:
        remove_store(fresh)
    if aside is None:
        raise FileNotFoundError(path.name)
    return aside


def _migrate(
    path: Path, schema: SchemaNumber, revision: str, scripts: Path, note: Callable[[Connection], None]
) -> None:
    engine = open_engine(path, write=True, foreign_keys=False)
    try:
        with plainly(), engine.connect() as connection, connection.begin():
            connection.exec_driver_sql(VERSIONS)
            run(connection, revision, scripts)
            note(connection)
            connection.exec_driver_sql(f"PRAGMA user_version = {schema.packed}")
            if connection.exec_driver_sql("PRAGMA foreign_key_check").first():
                raise Refusal(
                    "The records were not upgraded.",
                    "The upgrade would have broken links between tables.",
                    "Nothing was changed; report this, with the version of the program.",
                )
    finally:
        engine.dispose()
    sync_file(path)


def run(connection: Connection, revision: str, scripts: Path = SCRIPTS) -> None:
    """Run the migrations up to `revision` within the transaction of the connection."""
    directory = ScriptDirectory(str(scripts))
    context = MigrationContext.configure(
        connection,
        opts={"fn": lambda at, _: directory._upgrade_revs(revision, at), "script": directory},
    )
    with Operations.context(context):
        context.run_migrations()
