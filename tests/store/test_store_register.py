"""Registers of the practice, events of cases, drafts, and two numbers of one patient."""

from __future__ import annotations

import contextlib
from collections.abc import Callable
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import pytest
import sqlcipher3.dbapi2 as driver

from clinic_app.domain.record import CaseKey
from clinic_app.errors import Refusal
from clinic_app.store import Store
from models.codebook import Stage

Opener = Callable[..., Store]


def good(store: Store) -> bool:
    return all(check.ok for check in store.verify())


# --- registers ---


def test_an_entry_is_read_back_with_author_time_and_version(store: Store) -> None:
    with store.writing(by="A. Invented", act="set up") as w:
        w.put_register("machine", "Phaco 2", {"tips": ["30"], "metric": None, "angle": 12.5, "old": True})
        w.put_register("machine", "Phaco 1", {"tips": []})
    one, two = store.register("machine")
    assert (one.name, two.name) == ("Phaco 1", "Phaco 2")
    assert two.body == {"tips": ["30"], "metric": None, "angle": 12.5, "old": True}
    assert (two.kind, two.version, two.by) == ("machine", 1, "A. Invented")
    assert two.at.tzinfo is not None
    assert store.register("person") == []
    assert good(store)


def test_each_changed_key_has_its_line_and_an_unchanged_entry_has_none(store: Store) -> None:
    with store.writing(by="A", act="set up") as w:
        w.put_register("levels", "pressure", {"today": 30, "now": 40, "gone": "x"})
    before = len(store.history())
    with store.writing(by="B", act="levels", reason="Agreed on Monday") as w:
        entry = w.put_register("levels", "pressure", {"today": 28, "now": 40, "new": "y"}, expect_version=1)
        assert entry.version == 2
        assert w.put_register("levels", "pressure", {"now": 40, "new": "y", "today": 28}).version == 2
    lines = store.history(subject="levels pressure")[-3:]
    assert len(store.history()) == before + 3
    assert [(one.field, one.old, one.new) for one in lines] == [
        ("gone", "x", None), ("new", None, "y"), ("today", "30", "28"),
    ]  # fmt: skip
    assert {(one.by, one.act, one.reason) for one in lines} == {("B", "levels", "Agreed on Monday")}
    assert good(store)


def test_what_is_secret_never_enters_the_history(store: Store, folder: Path) -> None:
    with store.writing(by="A", act="pin") as w:
        w.put_register("pin", "Osei", {"hash": "first-secret", "wrong": 0}, secret={"hash"})
    with store.writing(by="A", act="pin") as w:
        w.put_register("pin", "Osei", {"hash": "second-secret", "wrong": 0}, secret={"hash"})
    lines = store.history(subject="pin Osei")
    assert [(one.field, one.old, one.new) for one in lines] == [
        ("hash", None, "changed"), ("wrong", None, "0"), ("hash", None, "changed"),
    ]  # fmt: skip
    assert store.register("pin")[0].body["hash"] == "second-secret"
    store.close()
    connection = driver.connect(str(folder / "practice.sqlite"), isolation_level=None)
    told = connection.execute("SELECT old, new FROM history_values").fetchall()
    connection.close()
    assert told
    assert not [row for row in told if "secret" in str(row)]


def test_another_version_than_the_one_seen_is_refused(store: Store) -> None:
    with store.writing(by="A", act="set up") as w:
        w.put_register("machine", "Phaco 1", {"metric": "x"}, expect_version=0)
    with pytest.raises(Refusal, match="changed in another place"), store.writing(by="B", act="set up") as w:
        w.put_register("machine", "Phaco 1", {"metric": "y"}, expect_version=0)
    assert store.register("machine")[0].body == {"metric": "x"}


def test_a_change_is_seen_at_once_although_registers_are_remembered(store: Store) -> None:
    assert store.register("person") == []
    with store.writing(by="A", act="register") as w:
        w.put_register("person", "Osei", {"duties": ["people"]})
        assert store.register("person") == []  # not yet lasting
    assert [one.name for one in store.register("person")] == ["Osei"]
    store.register("person").clear()
    assert [one.name for one in store.register("person")] == ["Osei"]
    for name in ("Ito", ""):  # the second one gives up the whole change
        with contextlib.suppress(ValueError), store.writing(by="A", act="register") as w:
            w.put_register("person", "Ito", {"duties": []})
            w.put_register("person", name, {"duties": ["scribe"]})
    assert [(one.name, one.version) for one in store.register("person")] == [("Ito", 2), ("Osei", 1)]


def test_a_register_does_not_ask_the_file_again_while_nothing_changed(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    store.register("person")

    def no_read(*_: object) -> None:
        raise AssertionError("the store was read")

    monkeypatch.setattr(store, "_reading", no_read)
    assert store.register("person") == []


# --- events ---


def test_events_are_kept_in_order_with_their_person_and_in_the_history(filled: Store, invented: Any) -> None:
    with filled.writing(by="E. Invented", act="open", reason="Pain at night") as w:
        event = w.add_event(invented.key, "action", {"halt": "M51", "reached": "Dr Ito", "mmHg": 42.0})
    (found,) = filled.events(key=invented.key)
    assert found == event
    assert (found.by, found.kind, found.body["mmHg"], found.number) == ("E. Invented", "action", 42.0, 2)
    assert [one.kind for one in filled.events()] == ["opening", "action"]
    assert [one.key for one in filled.events(kind="opening")] == [invented.other]
    line = filled.history(key=invented.key)[-1]
    assert (line.field, line.reason) == ("action", "Pain at night")
    assert "Dr Ito" in str(line.new)
    assert good(filled)


def test_an_event_of_an_unknown_eye_is_refused(filled: Store) -> None:
    with pytest.raises(Refusal, match="not booked"), filled.writing(by="E", act="open") as w:
        w.add_event(CaseKey("T0009", "R", date(2026, 3, 9)), "opening", {})
    assert len(filled.events()) == 1


def test_events_follow_a_postponed_eye(filled: Store, invented: Any) -> None:
    with filled.writing(by="A", act="postpone", reason="Ill") as w:
        moved = w.postpone(invented.other, date(2026, 4, 1))
    assert [one.key for one in filled.events(key=moved)] == [moved]
    assert filled.events(key=invented.other) == []
    assert [one.key for one in filled.drafts()] == [moved]
    assert good(filled)


def test_an_event_can_be_emptied_and_nothing_else(filled: Store, folder: Path) -> None:
    filled.close()
    connection = driver.connect(str(folder / "practice.sqlite"), isolation_level=None)
    connection.execute("UPDATE case_events SET body = '{}', version = version + 1")
    assert connection.execute("SELECT body, version FROM case_events").fetchall() == [("{}", 2)]
    connection.close()


@pytest.mark.parametrize(
    "sql",
    [
        "UPDATE case_events SET body = '{}'", "UPDATE case_events SET body = '{\"what\":\"plan\"}', version = 2",
        "UPDATE case_events SET body = '{}', version = 2, written_by = 'Z'", "DELETE FROM case_events",
    ],
)  # fmt: skip
def test_the_database_refuses_to_change_an_event(filled: Store, folder: Path, sql: str) -> None:
    filled.close()
    connection = driver.connect(str(folder / "practice.sqlite"), isolation_level=None)
    with pytest.raises(driver.IntegrityError, match="append-only"):
        connection.execute(sql)
    connection.close()


# --- drafts ---


def test_a_draft_is_kept_over_itself_and_gone_when_dropped(filled: Store, invented: Any) -> None:
    lines = len(filled.history())
    (first,) = filled.drafts()
    assert first == invented.draft(draft_no=1)
    mine = filled.keep_draft(invented.draft(person="B. Invented", key=None, stage="booking", body={"sex": "male"}))
    again = filled.keep_draft(replace(mine, key=invented.key, body={"sex": "female"}))
    assert again.draft_no == mine.draft_no == 2
    assert filled.drafts("B. Invented") == [again]
    assert filled.drafts("A. Invented") == [first]
    filled.drop_draft(2)
    filled.drop_draft(2)
    assert filled.drafts() == [first]
    assert len(filled.history()) == lines
    assert good(filled)


def test_a_draft_dropped_elsewhere_is_kept_anew(filled: Store, invented: Any) -> None:
    filled.drop_draft(1)
    kept = filled.keep_draft(invented.draft(draft_no=1))
    assert filled.drafts() == [kept]


def test_drafts_are_there_after_a_crash(filled: Store, folder: Path, opener: Opener, tmp_path: Path) -> None:
    """What a killed program leaves is the file and its log as they lie: the draft is in them."""
    copied = tmp_path / "as it lay"
    copied.mkdir()
    for name in ("practice.sqlite", "practice.sqlite-wal", "practice.head.json"):
        if (folder / name).exists():
            (copied / name).write_bytes((folder / name).read_bytes())
    assert [one.body for one in opener(copied).drafts()] == [{"pcr": "none", "us_time_s": 41.5}]


def test_a_draft_is_refused_where_nothing_may_be_written(
    filled: Store, opener: Opener, folder: Path, invented: Any
) -> None:
    filled.close()
    store = opener(read_only=True)
    with pytest.raises(Refusal, match="not saved"):
        store.keep_draft(invented.draft())
    assert len(store.drafts()) == 1


# --- two numbers of one patient ---


def test_merging_moves_cases_with_all_that_belongs_to_them(filled: Store, invented: Any) -> None:
    forecasts = len(filled.forecasts())
    with filled.writing(by="A", act="merge", reason="One person") as w:
        w.merge_patients("T0002", "T0001")
    moved = CaseKey("T0001", "L", date(2026, 3, 10))
    assert filled.keys() == {invented.key, invented.fellow, moved}
    assert filled.patients() == {"T0001"}
    assert filled.counts().patients == 1
    assert [one.key for one in filled.events()] == [moved]
    assert [one.key for one in filled.drafts()] == [moved]
    assert [one.risk for one in filled.forecasts(key=moved)] == [0.4]
    assert len(filled.forecasts()) == forecasts
    case = filled.case(moved)
    assert case is not None
    assert case.row()["birth_date"] == date(1948, 5, 6)
    assert ("patient_id", "T0002", "T0001", "One person") in [
        (one.field, one.old, one.new, one.reason) for one in filled.history(key=moved)
    ]
    assert good(filled)


def test_what_only_the_old_number_says_of_the_person_is_kept(store: Store, invented: Any) -> None:
    with store.writing(by="A", act="book") as w:
        w.put_stage(invented.key, invented.record(Stage.BOOKING, {"birth_date": "not_done"}, sex="female"))
        w.put_stage(invented.other, invented.record(Stage.BOOKING, birth_date=date(1948, 5, 6)))
    with store.writing(by="A", act="merge", reason="One person") as w:
        w.merge_patients("T0002", "T0001")
    for case in store.cases():
        assert (case.row()["birth_date"], case.row()["sex"]) == (date(1948, 5, 6), "female")
        assert "birth_date_missing" not in case.row()
    assert good(store)


@pytest.mark.parametrize(
    ("values", "day", "words"),
    [
        ({"birth_date": date(1950, 1, 1)}, date(2026, 3, 10), "different things"),
        ({"birth_date": date(1948, 5, 6)}, date(2026, 3, 23), "same eye on the same day"),
    ],
)
def test_two_people_or_one_operation_twice_are_not_merged(
    store: Store, invented: Any, values: dict[str, object], day: date, words: str
) -> None:
    with store.writing(by="A", act="book") as w:
        w.put_stage(invented.fellow, invented.booking())
        w.put_stage(CaseKey("T0002", "L", day), invented.record(Stage.BOOKING, **values))
    before = store.rows()
    with pytest.raises(Refusal, match=words), store.writing(by="A", act="merge") as w:
        w.merge_patients("T0002", "T0001")
    with pytest.raises(Refusal, match="not known"), store.writing(by="A", act="merge") as w:
        w.merge_patients("T0007", "T0001")
    with pytest.raises(Refusal, match="same number"), store.writing(by="A", act="merge") as w:
        w.merge_patients("T0001", "T0001")
    assert store.rows() == before
    assert good(store)


def test_an_event_changed_from_outside_is_found_and_not_shown(
    filled: Store, folder: Path, opener: Opener, invented: Any
) -> None:
    filled.close()
    connection = driver.connect(str(folder / "practice.sqlite"), isolation_level=None)
    connection.execute("DROP TRIGGER case_events_only_emptied")
    connection.execute("UPDATE case_events SET written_by = 'Z'")
    connection.close()
    store = opener()
    failed = {one.name: one.detail for one in store.verify() if not one.ok}
    assert failed.keys() == {"schema", "row sums"}
    assert "case_events:1 was changed" in failed["row sums"]
    with pytest.raises(Refusal, match="not as it was saved"):
        store.events(key=invented.other)


def test_rows_changed_from_outside_are_found(filled: Store, folder: Path, opener: Opener) -> None:
    filled.close()
    connection = driver.connect(str(folder / "practice.sqlite"), isolation_level=None)
    connection.execute("UPDATE register SET body = '{}'")
    connection.execute("UPDATE drafts SET body = '{}'")
    connection.close()
    store = opener()
    (check,) = [one for one in store.verify() if not one.ok]
    assert check.name == "row sums"
    assert "register:1 was changed" in check.detail
    assert "drafts:1 was changed" in check.detail
    with pytest.raises(Refusal, match="not as it was saved"):
        store.register("machine")
    with pytest.raises(Refusal, match="not as it was saved"):
        store.drafts()
