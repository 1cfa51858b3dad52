"""The migrated schema is the codebook's, in full; upgrades are whole or not there."""

from __future__ import annotations

import json
import os
import shutil
import signal
import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
import sqlcipher3.dbapi2 as driver
from sqlalchemy import MetaData, create_engine

from clinic_app.errors import Refusal
from clinic_app.store import Store, backup, engine, migrate
from clinic_app.store.rowio import Stamp
from clinic_app.store.schema import REVISION, SCHEMA, TRIGGERS, SchemaNumber, build
from models.codebook import FIELDS, Kind, Stage

ROOT = Path(__file__).parents[2]
SAMPLES = Path(__file__).parent / "samples"
Opener = Callable[..., Store]


def shape(connection: Any) -> dict[str, Any]:
    """Everything that the database says of its tables, whatever the order of the columns."""
    found: dict[str, Any] = {}
    for name, strict in connection.execute(
        "SELECT name, strict FROM pragma_table_list WHERE type = 'table' AND schema = 'main' "
        "AND name NOT LIKE 'sqlite_%' AND name <> 'alembic_version'"
    ).fetchall():
        columns = {row[1]: row[2:] for row in connection.execute(f"PRAGMA table_xinfo({name})")}
        links = {
            (row[2], row[3], row[4], row[5], row[6]) for row in connection.execute(f"PRAGMA foreign_key_list({name})")
        }
        indices = set()
        for row in connection.execute(f"PRAGMA index_list({name})").fetchall():
            over = tuple(part[2] for part in connection.execute(f"PRAGMA index_info({row[1]})"))
            named = "" if row[1].startswith("sqlite_autoindex") else row[1]
            where = connection.execute("SELECT sql FROM sqlite_schema WHERE name = ?", (row[1],)).fetchone()[0]
            indices.add((named, row[2], row[3], row[4], over, (where or "").partition(" WHERE ")[2]))
        found[name] = (strict, columns, links, indices)
    triggers = connection.execute("SELECT name, sql FROM sqlite_schema WHERE type = 'trigger'").fetchall()
    found["triggers"] = {name: " ".join(sql.split()) for name, sql in triggers}
    return found


def shape_of_codebook(data: MetaData) -> dict[str, Any]:
    memory = create_engine("sqlite://", module=driver)
    with memory.begin() as connection:
        data.create_all(connection)
        for sql in TRIGGERS.values():
            connection.exec_driver_sql(sql)
        found = shape(connection.connection.driver_connection)
    memory.dispose()
    return found


def migrated(folder: Path) -> dict[str, Any]:
    connection = engine.connect(folder / "practice.sqlite", "ro", immutable=True)
    found = shape(connection)
    connection.close()
    return found


def test_the_migrations_lead_to_the_schema_of_the_codebook(empty_practice: Path) -> None:
    assert migrated(empty_practice) == shape_of_codebook(build())


def test_a_changed_codebook_without_a_migration_is_found(empty_practice: Path) -> None:
    there = migrated(empty_practice)
    changed = [one for one in FIELDS if one.name != "cct_um"]
    assert shape_of_codebook(build(changed)) != there
    assert shape_of_codebook(build([*FIELDS, replace(FIELDS[5], name="new_field")])) != there
    other = [replace(one, kind=Kind.NUMBER) if one.name == "diabetes" else one for one in FIELDS]
    assert shape_of_codebook(build(other)) != there


def test_every_field_has_one_column_of_its_kind_in_a_strict_table(empty_practice: Path) -> None:
    there = migrated(empty_practice)
    home = {Stage.BOOKING: "booking", Stage.THEATRE: "theatre", Stage.DAY_ONE: "day_one", Stage.RECHECK: "rechecks"}
    types = {Kind.NUMBER: "REAL", Kind.INTEGER: "INTEGER", Kind.GRADE: "INTEGER", Kind.YES_NO: "INTEGER"}
    for one in FIELDS:
        table = home[one.stage]
        if one.name in ("patient_id", "birth_date", "sex"):
            table = "patients"
        elif one.name in ("eye", "surgery_date"):
            table = "cases"
        assert there[table][1][one.name][0] == types.get(one.kind, "TEXT"), one.name
    assert all(told[0] == 1 for name, told in there.items() if name != "triggers")


def test_the_database_refuses_a_text_in_a_number(folder: Path) -> None:
    connection = driver.connect(str(folder / "practice.sqlite"), isolation_level=None)
    with pytest.raises(driver.IntegrityError, match="cannot store TEXT"):
        connection.execute("INSERT INTO meta SELECT 2, 'many', 0, 'x', 'x', 'x', 1, 'x', 'x', 'x', 'x'")
    connection.close()


def test_a_new_store_says_its_schema(empty_practice: Path) -> None:
    assert engine.schema_number(empty_practice / "practice.sqlite") == SCHEMA
    assert SchemaNumber.unpacked(SchemaNumber(2, 7).packed) == (2, 7)


# --- the sample of each schema ---


def told(rows: list[dict[str, object]]) -> list[dict[str, object]]:
    def plain(value: object) -> object:
        if isinstance(value, tuple):
            return list(value)
        return value if isinstance(value, bool | int | float) else str(value)

    return [{name: plain(value) for name, value in row.items()} for row in rows]


@pytest.mark.parametrize("sample", sorted(SAMPLES.glob("schema_*.sqlite")), ids=lambda path: path.stem)
def test_every_released_schema_opens_with_the_same_records(sample: Path, opener: Opener, tmp_path: Path) -> None:
    folder = tmp_path / "sample"
    folder.mkdir()
    shutil.copy(sample, folder / "practice.sqlite")
    store = opener(folder)
    expected = json.loads(sample.with_suffix(".json").read_text(encoding="utf-8"))
    assert told(store.rows()) == expected["rows"]
    assert [(one.model_id, one.state) for one in store.models()] == [tuple(one) for one in expected["models"]]
    assert [[one.risk, one.locked] for one in store.forecasts()] == expected["forecasts"]
    assert [[one.name, dict(one.body)] for one in store.register("machine")] == expected["register"]
    assert [[one.kind, dict(one.body)] for one in store.events()] == expected["events"]
    assert [[one.stage, dict(one.body)] for one in store.drafts()] == expected["drafts"]
    assert len(store.history()) >= expected["entries"]
    assert all(check.ok for check in store.verify())


# --- upgrading, tried with a revision made up here ---

SECOND = '''
"""A made-up second revision: a new column, and a table made anew."""
import os, signal
import sqlalchemy as sa
from alembic import op
revision, down_revision, branch_labels, depends_on = "0002", "0001", None, None

def die(step):
    if os.environ.get("DIE_AT") == step:
        os.kill(os.getpid(), signal.SIGKILL)

def upgrade():
    die("begin")
    op.add_column("theatre", sa.Column("made_up", sa.REAL))
    die("middle")
    with op.batch_alter_table("cases", table_kwargs={"sqlite_strict": True}) as batch:
        batch.add_column(sa.Column("made_up_too", sa.TEXT))
    die("end")
'''

CHILD = """
import os, signal, sys
from datetime import UTC, datetime
from pathlib import Path
from clinic_app.store import backup, migrate
from clinic_app.store.rowio import Stamp
from clinic_app.store.schema import SchemaNumber

def dying(module, name, step, after=False):
    real = getattr(module, name)
    def call(*arguments, **named):
        if os.environ.get("DIE_AT") == step and not after:
            os.kill(os.getpid(), signal.SIGKILL)
        result = real(*arguments, **named)
        if os.environ.get("DIE_AT") == step:
            os.kill(os.getpid(), signal.SIGKILL)
        return result
    setattr(module, name, call)

dying(migrate, "copy_store", "copied", after=True)
dying(migrate, "_migrate", "migrated", after=True)
dying(migrate, "swap", "before swap")
dying(backup, "keep_aside", "kept aside", after=True)
dying(migrate, "swap", "swapped", after=True)
stamp = Stamp("the program", datetime(2026, 5, 1, tzinfo=UTC), "upgrade", None, "1", "0.2.0")
migrate.upgrade(Path(sys.argv[1]), stamp, schema=SchemaNumber(1, 1), revision="0002", scripts=Path(sys.argv[2]))
print("done")
"""


@pytest.fixture
def scripts(tmp_path: Path) -> Path:
    folder = tmp_path / "scripts"
    shutil.copytree(migrate.SCRIPTS, folder, ignore=shutil.ignore_patterns("__pycache__"))
    (folder / "versions" / "revision_0002.py").write_text(SECOND, encoding="utf-8")
    return folder


@pytest.fixture
def old(folder: Path, opener: Opener, invented: Any) -> Path:
    store = opener()
    invented.fill(store)
    store.close()
    return folder / "practice.sqlite"


def stamp() -> Stamp:
    return Stamp("the program", datetime(2026, 5, 1, tzinfo=UTC), "upgrade", None, "1", "0.2.0")


def rows_of(path: Path) -> list[Any]:
    connection = engine.connect(path, "ro", immutable=True)
    found = [
        connection.execute(f"SELECT {what} ORDER BY 1").fetchall()
        for what in (
            "case_no, cct_um, row_sum FROM booking",
            "case_no, us_time_s, row_sum FROM theatre",
            "case_no, eye, row_sum FROM cases",
        )
    ]
    connection.close()
    return found


def test_an_upgrade_keeps_every_row_and_the_old_file(old: Path, scripts: Path) -> None:
    before, bytes_before = rows_of(old), old.read_bytes()
    aside = migrate.upgrade(old, stamp(), schema=SchemaNumber(1, 1), revision="0002", scripts=scripts)
    assert aside.name == "practice.before-upgrade-1.sqlite"
    assert aside.read_bytes() == bytes_before
    assert engine.schema_number(old) == (1, 1)
    assert rows_of(old) == before
    assert [check for check in backup.check_file(old) if not check.ok] == []
    connection = engine.connect(old, "ro", immutable=True)
    assert connection.execute("SELECT made_up, made_up_too FROM theatre JOIN cases USING (case_no)").fetchall() == [
        (None, None)
    ]
    assert connection.execute("SELECT field, act FROM history ORDER BY number DESC LIMIT 1").fetchone() == (
        "schema",
        "upgrade",
    )
    connection.close()


@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="this system has no SIGKILL")
@pytest.mark.parametrize(
    "step", ["copied", "begin", "middle", "end", "migrated", "before swap", "kept aside", "swapped"]
)  # fmt: skip
def test_killed_within_an_upgrade_the_store_is_old_or_new_and_it_can_be_repeated(
    old: Path, scripts: Path, step: str
) -> None:
    before = rows_of(old)
    child = [sys.executable, "-c", CHILD, str(old), str(scripts)]
    done = subprocess.run(child, cwd=ROOT, env={**os.environ, "DIE_AT": step}, capture_output=True, check=False)
    assert done.returncode == -signal.SIGKILL, done.stderr
    number = engine.schema_number(old)
    assert number == ((1, 1) if step == "swapped" else (1, 0))
    assert [check for check in backup.check_file(old) if not check.ok] == []
    assert rows_of(old) == before
    if number == (1, 0):
        migrate.upgrade(old, stamp(), schema=SchemaNumber(1, 1), revision="0002", scripts=scripts)
    assert engine.schema_number(old) == (1, 1)
    assert rows_of(old) == before
    assert not old.with_name(old.name + ".upgraded").exists()


def test_a_failing_revision_leaves_the_old_store(old: Path, scripts: Path) -> None:
    before = old.read_bytes()
    (scripts / "versions" / "revision_0002.py").write_text(
        SECOND.replace('    die("end")', '    op.execute("DELETE FROM patients")'), encoding="utf-8"
    )
    with pytest.raises(Refusal, match="broken links"):
        migrate.upgrade(old, stamp(), schema=SchemaNumber(1, 1), revision="0002", scripts=scripts)
    assert old.read_bytes() == before
    assert sorted(one.name for one in old.parent.iterdir()) == [
        "practice.head.json",
        "practice.lock",
        "practice.sqlite",
    ]


def test_a_damaged_store_is_not_upgraded(old: Path, scripts: Path) -> None:
    connection = driver.connect(str(old), isolation_level=None)
    connection.execute("UPDATE booking SET cct_um = 1.0")
    connection.close()
    before = old.read_bytes()
    with pytest.raises(Refusal, match="row sums"):
        migrate.upgrade(old, stamp(), schema=SchemaNumber(1, 1), revision="0002", scripts=scripts)
    assert old.read_bytes() == before


def test_opening_upgrades_an_older_store_and_reading_only_does_not(
    old: Path, opener: Opener, scripts: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from clinic_app.store import opening

    done: list[Path] = []
    monkeypatch.setattr(opening, "SCHEMA", SchemaNumber(1, 1))
    real = migrate.upgrade

    def upgrade(path: Path, by: Stamp) -> Path:
        done.append(real(path, by, schema=SchemaNumber(1, 1), revision="0002", scripts=scripts))
        return done[-1]

    monkeypatch.setattr(migrate, "upgrade", upgrade)
    with pytest.raises(Refusal, match="must be upgraded first"):
        opener(read_only=True)
    assert done == []
    store = opener()
    assert len(done) == 1
    assert len(store.rows()) == 3
    assert store.history(newest=1)[0].act == "upgrade"
    assert all(check.ok for check in store.verify())
    assert REVISION == "0001"
