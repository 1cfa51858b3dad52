"""What is done to the file behind the program's back is noticed and named."""

from __future__ import annotations

import random
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
import sqlcipher3.dbapi2 as driver

from clinic_app.errors import Refusal
from clinic_app.store import Store, backup
from clinic_app.store.head import HEAD_NAME, read_head

FREE = (
    "DROP TRIGGER IF EXISTS history_no_update; DROP TRIGGER IF EXISTS history_no_delete; "
    "DROP TRIGGER IF EXISTS history_values_only_emptied; DROP TRIGGER IF EXISTS history_values_no_delete;"
)


@pytest.fixture
def closed(opener: Callable[[], Store], folder: Path, invented: Any) -> Path:
    """A filled practice, closed."""
    store = opener()
    invented.fill(store)
    store.close()
    return folder


def change(folder: Path, sql: str) -> None:
    connection = driver.connect(str(folder / "practice.sqlite"), isolation_level=None)
    connection.executescript(sql)
    connection.close()


def failed(store: Store) -> dict[str, str]:
    return {check.name: check.detail for check in store.verify() if not check.ok}


def test_an_untouched_store_passes_every_check(closed: Path, opener: Callable[[], Store]) -> None:
    checks = opener().verify()
    assert [check.name for check in checks] == [
        "integrity", "links between tables", "schema", "row sums", "history", "history against rows", "head file",
    ]  # fmt: skip
    assert all(check.ok for check in checks)


@pytest.mark.parametrize(
    ("sql", "names", "words"),
    [
        ("UPDATE booking SET cct_um = 500.0 WHERE case_no = 1", {"row sums"}, "booking:1 was changed"),
        ("UPDATE patients SET birth_date = '1950-01-01'", {"row sums"}, "patients:1 was changed"),
        ("UPDATE forecasts SET risk = 0.01 WHERE forecast_id = 2", {"row sums"}, "forecasts:2 was changed"),
        ("UPDATE models SET card = '{}'", {"row sums"}, "models:booking-1 was changed"),
        ("UPDATE meta SET least_program = '9'", {"row sums"}, "meta:1 was changed"),
        ("DELETE FROM day_one", {"history against rows"}, "day_one:1 is gone"),
        ("DELETE FROM cases WHERE case_no = 2", {"history against rows", "links between tables"}, "cases:2 is gone"),
        ("UPDATE history SET person = 'Z' WHERE number = 5", {"history"}, "entry 5 does not follow"),
        ("UPDATE history SET at = '2020-01-01' WHERE number = 5", {"history"}, "entry 5 does not follow"),
        ("UPDATE history_values SET new = 'x' WHERE number = 5", {"history"}, "values of entry 5 were changed"),
        ("DELETE FROM history_values WHERE number = 5", {"history"}, "values of entry 5 are missing"),
        (
            "DELETE FROM history_values WHERE number = 5; DELETE FROM history WHERE number = 5",
            {"history"},
            "entry 5 is missing",
        ),
        (
            "UPDATE history SET number = 9000 WHERE number = 5; UPDATE history SET number = 5 WHERE number = 6; "
            "UPDATE history SET number = 6 WHERE number = 9000",
            {"history"},
            "entry 5 does not follow",
        ),
        ("PRAGMA user_version = 1", {"schema"}, "says otherwise"),
        ("CREATE TABLE extra (a)", {"schema"}, "tables are not as"),
        ("UPDATE alembic_version SET version_num = '0000'", {"schema"}, "tables are not as"),
    ],
)  # fmt: skip
def test_changes_from_outside_are_named(closed: Path, sql: str, names: set[str], words: str) -> None:
    change(closed, (FREE if "history" in sql else "") + sql)
    checks = {one.name: one.detail for one in backup.check_file(closed / "practice.sqlite") if not one.ok}
    assert names <= checks.keys()
    assert words in " ".join(checks.values())


def test_a_changed_row_is_neither_shown_nor_edited(closed: Path, opener: Callable[[], Store], invented: Any) -> None:
    change(closed, "UPDATE booking SET cct_um = 500.0 WHERE case_no = 1; UPDATE forecasts SET risk = 0.9")
    store = opener()
    with pytest.raises(Refusal, match="not as it was saved"):
        store.case(invented.key)
    assert store.case(invented.other) is not None
    for act, by in (
        (lambda w: w.put_stage(invented.key, invented.booking(diabetes="none")), "A"),
        (lambda w: w.seen_by(1), "B"),
    ):
        with pytest.raises(Refusal, match="not as it was saved"), store.writing(by=by, act="correct") as w:
            act(w)
    with pytest.raises(Refusal, match="not as it was saved"), store.writing(by="A", act="operate") as w:
        w.put_stage(invented.other, invented.theatre())
    assert failed(store)["row sums"].startswith("booking:1 was changed")


def test_what_cannot_be_read_is_refused_without_its_text(closed: Path, opener: Callable[[], Store]) -> None:
    change(closed, "UPDATE patients SET birth_date = 'SECRET' WHERE patient_no = 1")
    store = opener()
    for read in (store.rows, store.cases):
        with pytest.raises(Refusal, match="could not be read") as caught:
            read()
        assert "SECRET" not in str(caught.value)
        assert caught.value.__cause__ is None


def test_a_row_set_back_to_an_older_state_with_its_right_sum_is_noticed(
    closed: Path, opener: Callable[[], Store], invented: Any
) -> None:
    older = closed.parent / "older.sqlite"
    shutil.copy(closed / "practice.sqlite", older)
    store = opener()
    with store.writing(by="A", act="correct") as w:
        w.put_stage(invented.key, invented.booking(cct_um=560.0))
    store.close()
    change(
        closed,
        f"ATTACH '{older}' AS o; DELETE FROM booking WHERE case_no = 1; "
        "INSERT INTO booking SELECT * FROM o.booking WHERE case_no = 1",
    )
    assert failed(opener()) == {"history against rows": "booking:1 is not as its last entry left it."}


def test_a_cut_tail_opens_for_reading_only(closed: Path, opener: Callable[[], Store], invented: Any) -> None:
    head = read_head(closed)
    assert head is not None
    last = head.number
    change(
        closed,
        FREE + f"DELETE FROM rechecks; DELETE FROM history_values WHERE number > {last - 3}; "
        f"DELETE FROM history WHERE number > {last - 3}",
    )
    store = opener()
    assert store.read_only
    assert f"end at entry {last - 3}" in str(store.notice)
    assert f"entry {last} had been written" in str(store.notice)
    assert "head file" in failed(store)
    assert len(store.rows()) == 3
    with pytest.raises(Refusal, match="end at entry"), store.writing(by="A", act="book"):
        pass
    assert read_head(closed) == head


def test_an_older_copy_put_in_place_opens_for_reading_only(
    closed: Path, opener: Callable[[], Store], invented: Any
) -> None:
    older = closed.parent / "older.sqlite"
    shutil.copy(closed / "practice.sqlite", older)
    store = opener()
    with store.writing(by="A", act="correct") as w:
        w.put_stage(invented.key, invented.booking(cct_um=560.0))
    store.close()
    shutil.copy(older, closed / "practice.sqlite")
    again = opener()
    assert again.read_only
    assert "older copy" in str(again.notice)


def test_a_history_written_anew_and_another_practice_are_noticed(closed: Path, opener: Callable[[], Store]) -> None:
    text = (closed / HEAD_NAME).read_text(encoding="utf-8")
    head = read_head(closed)
    assert head is not None
    (closed / HEAD_NAME).write_text(text.replace(head.hash, "0" * 64), encoding="utf-8")
    store = opener()
    assert "not the one that had been written" in str(store.notice)
    store.close()
    (closed / HEAD_NAME).write_text(text.replace(head.store_id, "another"), encoding="utf-8")
    assert "another practice" in str(opener().notice)


def test_a_missing_head_file_is_told_and_written_anew(closed: Path, opener: Callable[[], Store]) -> None:
    (closed / HEAD_NAME).unlink()
    store = opener()
    assert not store.read_only
    assert "was missing" in str(store.notice)
    assert failed(store) == {}
    store.close()
    assert opener().notice is None


def test_the_database_itself_refuses_to_change_the_history(closed: Path) -> None:
    for sql in (
        "UPDATE history SET person = 'Z'",
        "DELETE FROM history",
        "DELETE FROM history_values",
        "UPDATE history_values SET new = 'x'",
        "UPDATE history_values SET salt = NULL",
    ):
        with pytest.raises(driver.IntegrityError, match="append-only"):
            change(closed, sql)


def test_emptied_values_leave_the_chain_whole(closed: Path, opener: Callable[[], Store], invented: Any) -> None:
    store = opener()
    with store.writing(by="A", act="correct") as w:
        w.put_stage(invented.key, invented.booking(cct_um=560.0))
    store.close()
    change(
        closed,
        "UPDATE history_values SET salt = NULL, old = NULL, new = NULL, reason = NULL, item_sum = NULL, "
        "version = version + 1 WHERE number IN (SELECT number FROM history WHERE item = 'booking:1' AND act = 'book')",
    )
    store = opener()
    assert failed(store) == {}
    (chain,) = [check for check in store.verify() if check.name == "history"]
    assert chain.detail.endswith("; 1 were emptied.")
    assert [one.new for one in store.history(key=invented.key) if one.field == "cct_um"] == [None, "560.0"]
    store.close()
    change(
        closed,
        "UPDATE history_values SET salt = NULL, old = NULL, new = NULL, reason = NULL, item_sum = NULL, "
        "version = version + 1 WHERE salt IS NOT NULL",
    )
    assert "history against rows" in failed(opener())


def test_flipped_bits_are_noticed_or_change_nothing(closed: Path, opener: Callable[[], Store]) -> None:
    store = opener()
    told = (store.rows(), store.cases(), store.history(), store.models(), store.forecasts())
    store.close()
    path = closed / "practice.sqlite"
    sound = path.read_bytes()
    rng = random.Random(7)
    noticed, flips = 0, 40
    used = [place for place, byte in enumerate(sound) if byte]  # most of a small store is empty
    for where in rng.sample(used, flips):
        damaged = bytearray(sound)
        damaged[where] ^= 1 << rng.randrange(8)
        path.write_bytes(damaged)
        try:
            faults = [check for check in backup.check_file(path) if not check.ok]
        except Refusal:
            noticed += 1
            continue
        if faults:
            noticed += 1
            continue
        again = opener()
        assert (again.rows(), again.cases(), again.history(), again.models(), again.forecasts()) == told, where
        again.close()
        assert path.stat().st_size >= len(sound)
    assert noticed > flips // 3
