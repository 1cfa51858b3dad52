"""The printed theatre list is read back from its PDF: order, eye, steps; never a chance, nor what is sealed."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, time
from pathlib import Path

import pytest
from PySide6.QtWidgets import QApplication

from clinic_app.desktop.papers.pressing import pdf_of
from clinic_app.desktop.papers.theatre_list import theatre_list
from clinic_app.domain.record import CaseKey, StageRecord
from clinic_app.services import bookings, theatre
from clinic_app.session import Session
from models.codebook import Stage
from tests.desktop.conftest import EYE, NOW
from tests.pdf_text import read_pdf

TODAY = NOW.date()


@pytest.fixture
def listed(opened: Callable[..., Session], practice_with_model: Path, qapp: QApplication) -> Session:
    """A practice with a model and three eyes of today, two of them of one patient."""
    session = opened(practice_with_model)
    for number, side, hour, more in (
        ("P-2", "R", time(10), {"only_seeing_eye": True, "glaucoma": "none"}),
        ("P-1", "L", time(8, 30), {"protection_plan": ("coat_first", "low_infusion")}),
        ("P-2", "L", None, {"protection_plan": ("none_needed",)}),
    ):
        values = {**EYE, **more} | ({"surgery_time": hour} if hour is not None else {})
        bookings.book(session, StageRecord(Stage.BOOKING, values), CaseKey(number, side, TODAY))  # type: ignore[arg-type]
    return session


def register(session: Session) -> None:
    with session.store.writing(by="Osei", act="people") as write:
        for name, duties in (("Osei", ["surgeon"]), ("Ito", ["surgeon", "day_one"])):
            write.put_register("person", name, {"duties": duties, "surgeon_id": None, "left": None})


@pytest.mark.parametrize("size", ["A4", "Letter"])
def test_it_goes_by_the_clock_with_eye_steps_and_what_to_note(listed: Session, size: str) -> None:
    eyes = theatre.list_eyes(listed)
    assert all(one.risk is not None for eye in eyes for one in listed.store.forecasts(key=eye.key))
    paper = theatre_list(listed, eyes)
    (section,) = paper.sections
    assert section.table is not None
    rows = section.table.rows
    assert [row[0] for row in rows] == ["08:30", "10:00", ""]
    assert [row[3] for row in rows] == ["Left (L)", "Right (R), both eyes today", "Left (L), both eyes today"]
    assert [row[6] for row in rows] == ["Coat first, Low infusion", "", ""]
    assert rows[0][7] == "Glaucoma: open angle"
    assert rows[1][7] == "Only seeing eye"
    text = read_pdf(pdf_of(paper, size)).text
    for words in ("Theatre list", "P-1", "Coat first", "11 Mar 1949", "Halvorsen"):
        assert words in text


def test_no_chance_stands_on_it_and_no_plan_for_who_also_grades(listed: Session) -> None:
    register(listed)
    for person, plan in (("Osei", True), ("Ito", False)):
        acting = listed.acting(person)
        text = read_pdf(pdf_of(theatre_list(acting, theatre.list_eyes(acting)))).text.replace("\n", " ")
        assert " in 100" not in text
        assert "orecast" not in text
        assert ("Low infusion" in text) is plan


def test_a_day_without_eyes_is_said(opened: Callable[..., Session], qapp: QApplication) -> None:
    paper = theatre_list(opened(), [])
    assert paper.sections[0].lines == ("No list today.",)
    assert date(2026, 11, 12) == TODAY
