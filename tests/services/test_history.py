"""The history as people read it: filtered, masked by the seal, and as a file without names of patients."""

from __future__ import annotations

import ast
import csv
from collections.abc import Iterator
from datetime import UTC, date, datetime
from pathlib import Path

import pytest

from clinic_app.domain.history import KINDS, LEFT_OUT, PAGES, kind_of
from clinic_app.domain.history import SEALED as MASK
from clinic_app.domain.people import Duty
from clinic_app.domain.record import CaseKey, StageRecord, StoredForecast
from clinic_app.errors import Refusal
from clinic_app.services import history, people
from clinic_app.session import Session, open_session
from models.codebook import Stage

ROOT = Path(__file__).resolve().parents[2]
NOW = datetime(2026, 3, 10, 8, tzinfo=UTC)
KEY = CaseKey("T-0815", "R", date(2026, 3, 9))
OTHER = CaseKey("T-0816", "L", date(2026, 3, 2))


def booking(**more: object) -> StageRecord:
    told = {"birth_date": date(1948, 5, 6), "cct_um": 545.0, "protection_plan": ("coat_first",), **more}
    return StageRecord(Stage.BOOKING, told, typed={"cct_um": "545 um"})  # type: ignore[arg-type]


THEATRE = StageRecord(
    Stage.THEATRE, {"pcr": "none", "us_time_s": 61.37, "intracameral_drugs": "as for Mrs Invented"},
    typed={"us_time_s": "1:01.37"},
)  # fmt: skip


def forecast(model: str, risk: float) -> StoredForecast:
    return StoredForecast(KEY, f"{model}-1", model, NOW, "Ito", "forecast", risk, risk / 2, risk * 2, {})


@pytest.fixture
def session(tmp_path: Path) -> Iterator[Session]:
    """An operated eye with everything that is sealed, one graded eye brought by a file, and people."""
    with open_session(tmp_path / "practice" if (tmp_path / "practice").mkdir() is None else tmp_path, person="Ito",
                      clock=lambda: NOW) as opened:  # fmt: skip
        with opened.store.writing(by="Ito", act="import") as write:
            graded = StageRecord(Stage.DAY_ONE, {"edema_grade_central": 0})
            write.put_many([(OTHER, [booking(), THEATRE, graded])])
            for model in ("booking", "end_of_case"):
                write.add_model(model, "{}")
        with opened.store.writing(by="Ito", act="book") as write:
            write.put_stage(KEY, booking())
            write.add_forecasts([forecast("booking", 0.2345)])
            write.add_event(KEY, "plan", {"act": "proposed", "steps": ["coat_first"]})
        with opened.store.writing(by="Ito", act="confirm plan") as write:
            write.add_event(KEY, "plan", {"act": "confirmed", "steps": ["coat_first"]})
        with opened.store.writing(by="Ito", act="book", reason="34 in 100, so chop") as write:
            write.put_stage(KEY, booking(protection_plan=("chop_no_grooves",), cct_um=540.0))
        with opened.store.writing(by="Ito", act="open an eye") as write:
            write.add_event(KEY, "opening", {"what": "booking_forecast"})
        with opened.store.writing(by="Moss", act="open a sheet", reason="Asked") as write:
            write.add_event(KEY, "opening", {"what": "sheet", "reason": "Asked"})
        with opened.store.writing(by="Ito", act="sign") as write:
            write.put_stage(KEY, THEATRE)
            write.add_forecasts([forecast("end_of_case", 0.3456)])
        with opened.store.writing(by="Berg", act="note an action") as write:
            write.add_event(KEY, "action", {"halt": "M51", "reached": "Dr Ito", "decided": "Mrs Invented came back"})
        people.register(opened, "Osei", [Duty.PEOPLE])
        osei = opened.acting("Osei")
        people.register(osei, "Ito", [Duty.SURGEON, Duty.DATA_LEAD])
        people.register(osei, "Moss", [Duty.SURGEON, Duty.DAY_ONE])
        people.register(osei, "Berg", [Duty.DAY_ONE])
        yield opened


def values(lines: list[object]) -> str:
    return "\n".join(f"{one.field}: {one.old} -> {one.new} ({one.reason})" for one in lines)  # type: ignore[attr-defined]


def test_a_timeline_holds_everything_about_one_eye_and_its_patient(session: Session) -> None:
    found = history.timeline(session, KEY)
    assert [one.number for one in found] == sorted(one.number for one in found)
    told = values(found)
    for part in ("cct_um: 545.0 -> 540.0 (34 in 100, so chop)", "us_time_s: None -> 61.37", "birth_date: None -> 1948",
                 "protection_plan: coat_first -> chop_no_grooves", '"risk":0.2345', "M51"):  # fmt: skip
        assert part in told
    assert not [one for one in found if "T-0816" in one.subject]
    assert history.timeline(session, CaseKey("none", "R", KEY.surgery_date)) == []


def test_until_the_grade_sealed_values_are_masked_and_the_line_stays(session: Session) -> None:
    whole = history.timeline(session, KEY)
    for name in ("Berg", "Moss"):
        masked = history.timeline(session.acting(name), KEY)
        # that a plan was proposed and confirmed would tell that the eye has one
        assert [one.number for one in masked] == [one.number for one in whole if one.field != "plan"]
        assert "confirm plan" not in {one.act for one in masked}
        told = values(masked)
        for secret in ("coat_first", "chop_no_grooves", "61.37", "1:01.37", "0.2345", "0.3456", "34 in 100", "Asked"):
            assert secret not in told
        assert f"protection_plan: {MASK} -> {MASK} ({MASK})" in told
        assert f"us_time_s: None -> {MASK}" in told
        assert "cct_um: 545.0 -> 540.0" in told  # never sealed
        assert "pcr: None -> none" in told
        assert '"decided":"Mrs Invented came back"' in told  # what day one itself wrote
    assert "confirm plan" in {one.act for one in whole}
    told = values(whole)
    assert "0.3456" not in told  # no end-of-case forecast for anybody before the grade
    assert "0.2345" in told


def test_lines_of_graded_eyes_are_whole_and_bulk_lines_are_masked_by_name(session: Session) -> None:
    berg = session.acting("Berg")
    graded = [one for one in history.lines(berg) if one.subject.startswith("T-0816")]
    assert "61.37" in values(graded)
    with session.store.writing(by="Ito", act="import") as write:
        write.put_many([(CaseKey("T-0817", "R", KEY.surgery_date), [booking(), THEATRE])])
    fresh = [one for one in history.lines(berg) if one.subject.startswith("T-0817")]
    told = values(fresh)
    for secret in ("coat_first", "61.37", "1:01.37"):
        assert secret not in told
    assert '"cct_um": 545.0' in told
    assert '"pcr": "none"' in told


def test_nothing_is_masked_while_nobody_is_registered(tmp_path: Path) -> None:
    with open_session(tmp_path, person="account", clock=lambda: NOW) as session:
        with session.store.writing(by="account", act="book") as write:
            write.put_stage(KEY, booking())
        assert "coat_first" in values(history.lines(session))


def test_filters(session: Session) -> None:
    def numbers(**filters: object) -> set[int]:
        return {one.number for one in history.lines(session, **filters)}  # type: ignore[arg-type]

    everything = numbers()
    assert numbers(person="Berg") < everything
    assert {one.by for one in history.lines(session, person="Berg")} == {"Berg"}
    assert {one.act for one in history.lines(session, page="Theatre")} == {"sign", "open a sheet"}
    assert {one.act for one in history.lines(session, act="sign")} == {"sign"}
    assert numbers(newest=3) == set(sorted(everything)[-3:])
    assert [one.by for one in history.lines(session, kind="seal opened")] == ["Ito"]
    assert [one.by for one in history.lines(session, kind="show anyway")] == ["Moss"]
    corrected = {one.field for one in history.lines(session, kind="correction")}
    assert corrected == {"cct_um", "protection_plan"}
    assert {kind_of(one) for one in history.lines(session)} <= set(KINDS)


def test_a_file_names_no_patient_and_its_making_is_written_down(session: Session, tmp_path: Path) -> None:
    path = history.save(session, tmp_path / "history.csv", history.lines(session))
    text = path.read_text(encoding="utf-8")
    for name in ("T-0815", "T-0816", "1948-05-06", "Mrs Invented", "34 in 100"):
        assert name not in text
    with path.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    (line,) = [one for one in rows if one["field"] == "cct_um" and one["old"]]
    assert (line["about"], line["old"], line["new"], line["reason"]) == ("case 2", "545.0", "540.0", LEFT_OUT)
    assert [one["new"] for one in rows if one["field"] == "birth_date"] == [LEFT_OUT]
    assert [one["about"] for one in rows if one["act"] == "register"][:1] == ["person Osei"]
    (newest,) = session.store.history(newest=1)
    assert (newest.act, newest.new) == ("export", f"{len(rows)} lines, without names of patients")
    assert kind_of(newest) == "export"


def test_who_may_read_and_who_may_save(session: Session, tmp_path: Path) -> None:
    with pytest.raises(Refusal, match="not registered"):
        history.lines(session.acting("Nobody"))
    found = history.lines(session.acting("Berg"))
    with pytest.raises(Refusal, match="Data lead or People"):
        history.save(session.acting("Berg"), tmp_path / "h.csv", found)
    with pytest.raises(Refusal, match="Name a CSV file"):
        history.save(session, tmp_path / "h.txt", found)
    assert not list(tmp_path.glob("h.*"))


def acts() -> set[str]:
    """Every act that the program writes into the history of a practice, read from its source."""
    found = set()
    for path in (ROOT / "clinic_app").rglob("*.py"):
        if path.name.startswith(("demo", "selftest")):
            continue  # on invented practices only
        for call in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(call, ast.Call) and isinstance(call.func, ast.Attribute) and call.func.attr == "writing":
                for one in call.keywords:
                    if one.arg == "act":
                        found |= {part.value for part in ast.walk(one.value) if isinstance(part, ast.Constant)}
    return {one for one in found if isinstance(one, str) and one.strip("_ ")}


def test_every_act_stands_on_a_page() -> None:
    assert acts() <= {act for several in PAGES.values() for act in several}
