"""Finding an eye by its patient's number."""

from __future__ import annotations

from datetime import UTC, date, datetime
from pathlib import Path

import pytest

from clinic_app.domain.record import CaseKey, StageRecord
from clinic_app.domain.states import BOOKED, OPERATED, STATES
from clinic_app.services.finding import find_eyes, page_of
from clinic_app.session import open_session
from models.codebook import Stage


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    with open_session(tmp_path, person="Osei") as session, session.store.writing(by="Osei", act="book") as write:
        for number, eye, day in (
            ("P-204", "R", date(2026, 11, 19)), ("P-204", "L", date(2026, 12, 3)), ("p-2041", "R", date(2026, 12, 9)),
            ("X-9", "L", date(2026, 11, 20)),
        ):  # fmt: skip
            key = CaseKey(number, eye, day)
            write.put_stage(key, StageRecord(Stage.BOOKING, {"birth_date": date(1950, 2, 3)}))
            if number == "X-9":
                write.put_stage(key, StageRecord(Stage.THEATRE, {"case_minutes": 12.0}))
    return tmp_path


def found(folder: Path, text: str) -> list[tuple[str, str, str]]:
    with open_session(folder, person="Osei") as session:
        return [(one.key.patient_id, one.key.eye, one.state) for one in find_eyes(session, text).eyes]


def test_the_whole_number_comes_before_a_part_and_the_newest_surgery_first(folder: Path) -> None:
    assert found(folder, "p-204") == [
        ("P-204", "L", BOOKED), ("P-204", "R", BOOKED), ("p-2041", "R", BOOKED),
    ]  # fmt: skip
    assert found(folder, " 9 ") == [("X-9", "L", OPERATED)]
    assert found(folder, "") == []
    assert found(folder, "Q") == []


def test_more_than_fit_are_counted(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("clinic_app.services.finding.MOST", 2)
    with open_session(folder, person="Osei") as session:
        finding = find_eyes(session, "p-20")
    assert len(finding.eyes) == 2
    assert finding.more == 1


PEOPLE = {"Ruiz": ["surgeon"], "Tan": ["scribe"], "Berg": ["day_one"], "Lead": ["data_lead"]}


@pytest.mark.parametrize(
    ("name", "signed", "waiting", "past"),
    [
        ("Ruiz", ("day_one", "theatre"), ("bookings",), ("bookings", "theatre")),
        ("Tan", ("theatre",), ("bookings",), ("theatre",)),
        ("Berg", ("day_one",), ("bookings",), ("bookings",)),
        ("Lead", ("day_one",), ("bookings",), ("bookings",)),
    ],
)
def test_a_sheet_of_an_earlier_day_is_offered_to_those_who_write_sheets(
    folder: Path, name: str, signed: tuple[str, ...], waiting: tuple[str, ...], past: tuple[str, ...]
) -> None:
    now = datetime(2026, 11, 25, 9, tzinfo=UTC)
    with open_session(folder, person="Osei", clock=lambda: now) as session:
        with session.store.writing(by="Osei", act="people") as write:
            for person, duties in PEOPLE.items():
                write.put_register("person", person, {"duties": duties, "surgeon_id": None, "left": None})
        acting = session.acting(name)
        assert find_eyes(acting, "X-9").eyes[0].pages == signed
        later, earlier = find_eyes(acting, "P-204").eyes[:2]
        assert (later.pages, earlier.pages) == (waiting, past)


def test_every_state_has_a_page() -> None:
    assert {page_of(state) for state in STATES} == {"bookings", "day_one"}
