"""Cases written and read: every kind comes back as it went in, joining says what it says, nothing is lost."""

from __future__ import annotations

import json
from datetime import UTC, date, datetime, time, timedelta
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from clinic_app.domain.record import CaseKey, Origin, StageRecord
from clinic_app.errors import Refusal
from clinic_app.store import Store
from clinic_app.store.cells import from_cell, to_cell
from clinic_app.store.records import Cells, cells_of, merge
from models.codebook import FIELDS, KEY, MISSING_CODES, Field, Kind, Stage, fields_of

TEXT = st.text(st.characters(codec="utf-8", exclude_characters="\0"), max_size=20)
VALUES: dict[Kind, st.SearchStrategy[Any]] = {
    Kind.IDENTIFIER: TEXT,
    Kind.TEXT: TEXT,
    Kind.CHOICE: TEXT,
    Kind.NUMBER: st.floats(allow_nan=False, allow_infinity=False),
    Kind.INTEGER: st.integers(-(2**63) + 1, 2**63 - 1),
    Kind.GRADE: st.integers(0, 9),
    Kind.CHOICES: st.lists(st.text("abc_+<", min_size=1, max_size=4), max_size=3).map(tuple),
    Kind.YES_NO: st.booleans(),
    Kind.DATE: st.dates(),
    Kind.TIME: st.times(),
    Kind.MOMENT: st.datetimes(),
}


def full(stage: Stage, draw: Any) -> StageRecord:
    """A record with a value in every field of the stage."""
    values = {one.name: draw(VALUES[one.kind]) for one in fields_of(stage) if one.name not in KEY}
    return StageRecord(stage, values)


def put(store: Store, key: CaseKey, *records: StageRecord, act: str = "correct", **options: Any) -> list[str]:
    with store.writing(by="A. Invented", act=act) as w:
        return [w.put_stage(key, record, **options) for record in records]


@given(st.data())
def test_every_kind_comes_back_from_its_cell(data: st.DataObject) -> None:
    for kind, values in VALUES.items():
        value = data.draw(values)
        back = from_cell(kind, to_cell(kind, value))
        assert back == value
        assert type(back) is type(value)


@pytest.mark.parametrize(
    ("kind", "value"),
    [
        (Kind.NUMBER, "545"), (Kind.NUMBER, True), (Kind.NUMBER, float("nan")), (Kind.NUMBER, float("inf")),
        (Kind.GRADE, 1.0), (Kind.GRADE, True), (Kind.INTEGER, 2**63), (Kind.YES_NO, 7), (Kind.YES_NO, "SECRET"),
        (Kind.DATE, datetime(2026, 1, 1)), (Kind.DATE, "2026-01-01"), (Kind.TIME, "09:00"),
        (Kind.MOMENT, datetime(2026, 1, 1, tzinfo=UTC)), (Kind.MOMENT, date(2026, 1, 1)),
        (Kind.CHOICES, "SECRET"), (Kind.CHOICES, ("a|b",)), (Kind.CHOICES, ("",)), (Kind.CHOICE, 33),
        (Kind.TEXT, "a\0b"),
    ],
)  # fmt: skip
def test_a_value_of_another_kind_is_an_error_that_does_not_tell_it(kind: Kind, value: object) -> None:
    with pytest.raises((TypeError, ValueError)) as caught:
        to_cell(kind, value)
    assert str(value) == "" or str(value) not in str(caught.value)


def test_a_full_case_of_awkward_values_comes_back(store: Store, invented: Any) -> None:
    awkward: dict[Kind, object] = {
        Kind.IDENTIFIER: "0042 ", Kind.TEXT: "6/12 « ½ »\n'; --", Kind.CHOICE: "<1/4", Kind.NUMBER: 0.1 + 0.2,
        Kind.INTEGER: 0, Kind.GRADE: 3, Kind.CHOICES: ("re_coat", "none+x"), Kind.YES_NO: False,
        Kind.DATE: date(1931, 2, 28), Kind.TIME: time(0, 5), Kind.MOMENT: datetime(2026, 3, 10, 7, 45, 30),
    }  # fmt: skip

    def record(stage: Stage) -> StageRecord:
        mine = [one for one in fields_of(stage) if one.name not in KEY]
        origin = {one.name: Origin("device 2", date(2026, 1, 5)) for one in mine if one.measured}
        some = mine[0].name
        return StageRecord(stage, {one.name: awkward[one.kind] for one in mine}, {}, {some: "as typed"}, origin)  # type: ignore[misc]

    moments = [record(stage) for stage in (Stage.BOOKING, Stage.THEATRE, Stage.DAY_ONE)]
    assert put(store, invented.key, *moments) == ["added"] * 3
    with store.writing(by="A. Invented", act="recheck") as w:
        assert w.put_recheck(invented.key, record(Stage.RECHECK)) == "added"
    case = store.case(invented.key)
    assert case is not None
    assert [case.stages[one.stage].record for one in moments] == moments
    assert case.rechecks[0].record == record(Stage.RECHECK)
    assert store.rows() == [case.row()]
    told = case.row()
    assert {one.name for one in FIELDS if one.stage is not Stage.RECHECK} <= told.keys()
    assert (type(told["preop_iop_mmhg"]), type(told["guttae_grade"]), type(told["hypertension"])) == (float, int, bool)


def test_negative_zero_and_whole_numbers_keep_their_sums(store: Store, invented: Any) -> None:
    put(store, invented.key, invented.booking(preop_va_logmar=-0.0, cct_um=545))
    assert store.rows()[0]["cct_um"] == 545.0
    assert all(check.ok for check in store.verify())


def test_joining_says_what_changed(store: Store, invented: Any) -> None:
    key = invented.key
    assert put(store, key, invented.booking(cct_um=545.0, diabetes="none")) == ["added"]
    assert put(store, key, invented.booking(cct_um=545.0)) == ["unchanged"]
    assert put(store, key, invented.record(Stage.BOOKING, {"cct_um": "not_done"})) == ["amended"]
    assert store.rows()[0] == {
        "patient_id": "T0001", "eye": "R", "surgery_date": date(2026, 3, 9), "diabetes": "none",
        "cct_um_missing": "not_done",
    }  # fmt: skip
    assert put(store, key, invented.booking(cct_um=550.0)) == ["amended"]
    assert "cct_um_missing" not in store.rows()[0]
    assert put(store, key, invented.theatre(), invented.theatre(us_time_s=60.0)) == ["added", "amended"]
    assert put(store, key, StageRecord(Stage.DAY_ONE, {})) == ["unchanged"]
    case = store.case(key)
    assert case is not None
    assert set(case.stages) == {Stage.BOOKING, Stage.THEATRE}
    assert case.stages[Stage.BOOKING].version == 3
    assert case.stages[Stage.BOOKING].by == "A. Invented"
    assert case.stages[Stage.BOOKING].at.tzinfo is UTC


def test_replacing_a_moment_empties_what_it_does_not_mention(store: Store, invented: Any) -> None:
    put(store, invented.key, invented.booking(cct_um=545.0, sex="male"))
    put(store, invented.key, invented.booking(diabetes="none"), merge=False)
    assert store.rows()[0].keys() == {"patient_id", "eye", "surgery_date", "diabetes"}


def test_an_edit_of_an_older_picture_is_refused(store: Store, invented: Any) -> None:
    put(store, invented.key, invented.booking(), expect_version=0)
    put(store, invented.key, invented.booking(cct_um=550.0), expect_version=1)
    with pytest.raises(Refusal, match="changed in another place"):
        put(store, invented.key, invented.booking(cct_um=560.0), expect_version=1)
    assert store.rows()[0]["cct_um"] == 550.0


def test_birth_date_and_sex_belong_to_both_eyes(store: Store, invented: Any) -> None:
    put(store, invented.key, invented.booking())
    put(store, invented.fellow, invented.booking(cct_um=541.0))
    assert [row["birth_date"] for row in store.rows()] == [date(1948, 5, 6)] * 2
    assert put(store, invented.fellow, invented.booking(sex="male")) == ["amended"]
    assert [row["sex"] for row in store.rows()] == ["male", "male"]
    assert [one.field for one in store.history(key=invented.key)][-1] == "sex"


def test_cases_can_be_read_by_what_is_not_yet_written_and_keys_by_patient(store: Store) -> None:
    first, second = CaseKey("P-1", "R", date(2026, 3, 1)), CaseKey("P-2", "L", date(2026, 3, 2))
    put(store, first, StageRecord(Stage.BOOKING, {"acd_mm": 3.0}), StageRecord(Stage.THEATRE, {"us_time_s": 20.0}))
    put(store, second, StageRecord(Stage.BOOKING, {"acd_mm": 3.1}))
    assert [case.key for case in store.cases(without=Stage.THEATRE)] == [second]
    assert [case.key for case in store.cases(without=Stage.DAY_ONE)] == [first, second]
    assert store.keys(patient_id="P-1") == {first}
    assert store.keys() == {first, second}


def test_wrong_fields_are_a_fault_of_the_caller(store: Store, invented: Any) -> None:
    for wrong in (
        invented.theatre(cct_um=545.0),
        invented.booking(patient_id="T9"),
        StageRecord(Stage.BOOKING, {"cct_um": 1.0}, {"cct_um": "not_done"}),
        StageRecord(Stage.BOOKING, {}, {"cct_um": "forgotten"}),
    ):
        with pytest.raises(ValueError, match="."):
            put(store, invented.key, wrong)
    with pytest.raises(ValueError, match="an eye R or L"):
        put(store, CaseKey("T1", "B", date(2026, 1, 1)), invented.booking())
    assert store.keys() == set()


def test_many_at_once_mean_the_same_as_one_by_one(store: Store, opener: Any, tmp_path: Any, invented: Any) -> None:
    def many() -> list[tuple[CaseKey, list[StageRecord]]]:
        return [
            (invented.key, [invented.booking(), invented.theatre(), invented.day_one()]),
            (invented.fellow, [invented.booking(cct_um=541.0, sex="female")]),
            (invented.other, [invented.record(Stage.BOOKING, {"cct_um": "not_done"}, diabetes="type1")]),
            (invented.key, [invented.day_one(edema_grade_central=2)]),
            (invented.key, [invented.day_one(edema_grade_central=2)]),
        ]

    with store.writing(by="A. Invented", act="import") as w:
        assert w.put_many(many()) == ["added", "added", "added", "amended", "unchanged"]
    alone = tmp_path / "alone"
    alone.mkdir()
    single = opener(alone)
    for key, records in many():
        put(single, key, *records, act="import")
    assert store.rows() == single.rows()
    with store.writing(by="A. Invented", act="import") as w:
        assert w.put_many(many()[:3]) == ["amended", "unchanged", "unchanged"]
        assert w.put_many(many()[3:]) == ["amended", "unchanged"]
    before = len(store.history())
    with store.writing(by="A. Invented", act="import") as w:
        assert w.put_many(many()[1:]) == ["unchanged"] * 4
    assert len(store.history()) == before
    assert all(check.ok for check in store.verify())


def test_an_import_writes_one_line_for_each_moment(store: Store, invented: Any) -> None:
    with store.writing(by="A. Invented", act="import", reason="spring.csv") as w:
        w.put_many([(invented.key, [invented.booking(), invented.theatre()])])
    lines = store.history()[1:]
    assert [one.field for one in lines] == ["patient", "case", "booking", "theatre"]
    assert lines[2].new == '{"cct_um":545.0}'
    assert json.loads(str(lines[3].new)) == {"us_time_s": 61.5, "suture": False, "pcr": "none"}
    assert {one.reason for one in lines} == {"spring.csv"}
    with store.writing(by="A. Invented", act="import") as w:
        w.put_many([(invented.key, [invented.booking(cct_um=550.0)])])
    assert (store.history()[-1].old, store.history()[-1].new) == ('{"cct_um":545.0}', '{"cct_um":550.0}')


def test_what_was_entered_in_the_program_is_not_replaced_by_a_file(store: Store, invented: Any) -> None:
    key = invented.key
    put(store, key, invented.booking(cct_um=545.0), act="import")
    assert store.signed(key) == set()
    put(store, key, invented.booking(cct_um=546.0), act="import")
    put(store, key, invented.booking(cct_um=547.0))
    put(store, key, invented.theatre(), act="demo")
    assert store.signed(key) == {Stage.BOOKING}
    assert store.signed_stages() == {key: {Stage.BOOKING}}
    with pytest.raises(Refusal, match="entered and signed"):
        put(store, key, invented.booking(cct_um=548.0), act="import")
    with pytest.raises(Refusal, match="entered and signed"), store.writing(by="A", act="import") as w:
        w.put_many([(invented.other, [invented.booking()]), (key, [invented.booking(cct_um=549.0)])])
    assert store.keys() == {key}
    assert put(store, key, invented.booking(cct_um=547.0, diabetes="none"), act="import") == ["amended"]
    assert put(store, key, invented.theatre(us_time_s=70.0), act="import") == ["amended"]
    assert store.signed(key) == {Stage.BOOKING}


def test_rechecks_are_named_by_their_moment(store: Store, invented: Any) -> None:
    key, first, second = invented.key, datetime(2026, 3, 11, 9, 0), datetime(2026, 3, 16, 9, 0)

    def recheck(**values: object) -> StageRecord:
        return invented.record(Stage.RECHECK, **values)

    with pytest.raises(Refusal, match="not booked"), store.writing(by="A", act="recheck") as w:
        w.put_recheck(key, recheck(recheck_at=first))
    put(store, key, invented.booking())
    with store.writing(by="A", act="recheck") as w:
        assert w.put_recheck(key, recheck(recheck_at=second, recheck_cct_um=560.0)) == "added"
        assert w.put_recheck(key, recheck(recheck_at=first, recheck_cct_um=600.0)) == "added"
        assert w.put_recheck(key, recheck(recheck_at=first, recheck_cct_um=610.0)) == "amended"
        with pytest.raises(Refusal, match="no day and time"):
            w.put_recheck(key, recheck(recheck_cct_um=600.0))
    case = store.case(key)
    assert case is not None
    assert [one.record.values["recheck_cct_um"] for one in case.rechecks] == [610.0, 560.0]
    assert not any(name.startswith("recheck") for name in store.rows()[0])


def test_postponing_keeps_forecasts_and_history(filled: Store, invented: Any) -> None:
    before = len(filled.history(key=invented.other))
    with filled.writing(by="A", act="postpone", reason="Patient ill") as w:
        moved = w.postpone(invented.other, date(2026, 4, 10))
        assert w.postpone(moved, date(2026, 4, 10)) == moved
    assert moved == CaseKey("T0002", "L", date(2026, 4, 10))
    assert filled.case(invented.other) is None
    assert [one.risk for one in filled.forecasts(key=moved)] == [0.4]
    lines = filled.history(key=moved)
    assert len(lines) == before + 1
    assert (lines[-1].old, lines[-1].new, lines[-1].reason) == ("2026-03-10", "2026-04-10", "Patient ill")
    with filled.writing(by="A", act="postpone") as w:
        with pytest.raises(Refusal, match="operated on already"):
            w.postpone(invented.key, date(2026, 4, 10))
        w.put_stage(CaseKey("T0002", "L", date(2026, 5, 1)), invented.booking())
        with pytest.raises(Refusal, match="booked on the new day"):
            w.postpone(moved, date(2026, 5, 1))


def test_standing_down(filled: Store, invented: Any) -> None:
    with filled.writing(by="A", act="stand down", reason="Declined") as w:
        w.stand_down(invented.other)
        w.stand_down(invented.other)
    assert filled.stood_down() == {invented.other}
    with filled.writing(by="A", act="stand down") as w:
        w.stand_down(invented.other, stood_down=False)
    assert filled.stood_down() == set()
    assert [(one.old, one.new) for one in filled.history(key=invented.other)][-2:] == [("0", "1"), ("1", "0")]


def test_periods_patients_and_counts(filled: Store, invented: Any) -> None:
    counts = filled.counts()
    assert (counts.patients, counts.cases, counts.booked, counts.operated, counts.graded) == (2, 3, 3, 1, 1)
    assert (counts.rechecks, counts.models, counts.forecasts, counts.locked) == (1, 2, 3, 1)
    assert filled.keys() == {invented.key, invented.fellow, invented.other}
    assert [one.key for one in filled.cases()] == [invented.key, invented.other, invented.fellow]
    assert [one.key for one in filled.cases(patient_id="T0001")] == [invented.key, invented.fellow]
    day = date(2026, 3, 10)
    assert [one.key for one in filled.cases(from_=day, to=day)] == [invented.other]
    assert [row["surgery_date"] for row in filled.rows(from_=day)] == [day, date(2026, 3, 23)]
    assert [row["surgery_date"] for row in filled.rows(to=day)] == [date(2026, 3, 9), day]
    assert filled.rows() == [one.row() for one in filled.cases()]
    assert filled.patients() == {"T0001", "T0002"}
    for some in (set(), {"T0001"}, {"T0002", "nobody"}, {"T0001", "T0002"}):
        assert filled.rows(patients=some) == [row for row in filled.rows() if row["patient_id"] in some]
        assert filled.cases(patients=some) == [one for one in filled.cases() if one.key.patient_id in some]
    assert [one.key for one in filled.cases(patients={"T0001"}, without=Stage.DAY_ONE)] == [invented.fellow]
    assert filled.case(CaseKey("T0001", "L", date(2026, 3, 9))) is None


def test_a_failing_transaction_leaves_nothing(store: Store, invented: Any) -> None:
    class Stop(BaseException):
        pass

    def stopped() -> None:
        with store.writing(by="A", act="book") as w:
            w.put_stage(invented.key, invented.booking())
            raise Stop

    with pytest.raises(Stop):
        stopped()
    assert store.keys() == set()
    assert len(store.history()) == 1
    outer, inner = store.writing(by="A", act="book"), store.writing(by="A", act="book")
    with pytest.raises(RuntimeError, match="within another"), outer, inner:
        pass
    put(store, invented.key, invented.booking())
    assert store.keys() == {invented.key}


# --- joining, by its laws ---

NAMES: tuple[Field, ...] = tuple(one for one in fields_of(Stage.BOOKING) if one.name not in KEY)[:8]


@st.composite
def said(draw: st.DrawFn) -> StageRecord:
    values: dict[str, Any] = {}
    missing: dict[str, str] = {}
    typed: dict[str, str] = {}
    origin: dict[str, Origin] = {}
    for one in NAMES:
        what = draw(st.sampled_from(("value", "reason", "nothing")))
        if what == "value":
            values[one.name] = draw(st.sampled_from(SMALL[one.kind]))
            if draw(st.booleans()):
                typed[one.name] = draw(st.sampled_from(("<1", "about")))
            if draw(st.booleans()):
                origin[one.name] = Origin(draw(st.sampled_from((None, "device"))), date(2026, 1, 1))
        elif what == "reason":
            missing[one.name] = draw(st.sampled_from(sorted(MISSING_CODES)))
    return StageRecord(Stage.BOOKING, values, missing, typed, origin)


SMALL: dict[Kind, tuple[object, ...]] = {
    Kind.IDENTIFIER: ("a", "b"), Kind.TEXT: ("a", "b"), Kind.CHOICE: ("x", "y"), Kind.NUMBER: (1.0, 2.5),
    Kind.INTEGER: (0, 1), Kind.GRADE: (0, 1), Kind.CHOICES: ((), ("p", "q")), Kind.YES_NO: (True, False),
    Kind.DATE: (date(2026, 1, 1), date(2026, 1, 2)), Kind.TIME: (time(8, 0), time(9, 0)),
    Kind.MOMENT: (datetime(2026, 1, 1, 8), datetime(2026, 1, 1, 9)),
}  # fmt: skip


@given(said(), said())
def test_joining_keeps_what_is_not_mentioned_and_takes_what_is(first: StageRecord, second: StageRecord) -> None:
    before, said = cells_of(first), cells_of(second)
    joined = merge(before, said)
    assert not joined.values.keys() & joined.missing.keys()
    for one in NAMES:
        name = one.name
        last = said if name in said.values or name in said.missing else before
        assert joined.values.get(name) == last.values.get(name)
        assert joined.missing.get(name) == last.missing.get(name)
        if name in joined.typed:
            assert joined.typed[name] in (before.typed.get(name), said.typed.get(name))
            assert name in joined.values
        if name in said.values and said.values[name] != before.values.get(name):
            assert joined.typed.get(name) == said.typed.get(name)


@given(said(), said(), said())
def test_joining_twice_changes_nothing_and_order_of_steps_does_not_matter(
    first: StageRecord, second: StageRecord, third: StageRecord
) -> None:
    a, b, c = cells_of(first), cells_of(second), cells_of(third)
    once = merge(a, b)
    assert merge(once, b) == once
    assert merge(Cells(), a) == a
    assert merge(a, Cells()) == a
    step, whole = merge(merge(a, b), c), merge(a, merge(b, c))
    assert (step.values, step.missing) == (whole.values, whole.missing)


def test_times_of_the_record_are_the_clock_s(store: Store, invented: Any) -> None:
    put(store, invented.key, invented.booking())
    put(store, invented.key, invented.booking(cct_um=1.0))
    entries = store.history()
    assert entries[-1].at - entries[-2].at == timedelta(seconds=1)
