"""The printed list of day one and the blank sheet: who and what, in order, and nothing that is sealed."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from PySide6.QtWidgets import QApplication

from clinic_app.desktop.papers.day_one_list import blank_sheet, day_one_list
from clinic_app.desktop.papers.pressing import pdf_of
from clinic_app.domain.day_one import sheet_fields
from clinic_app.services import day_one
from clinic_app.session import Session, open_session
from clinic_app.settings import write_settings
from tests.desktop.day_one_practice import LEFT, OTHER, SECRETS, SETTINGS, Wall, fill
from tests.pdf_text import Pdf, read_pdf


@pytest.fixture
def session(tmp_path: Path, qapp: QApplication) -> Iterator[Session]:
    write_settings(tmp_path, SETTINGS)
    wall = Wall()
    with open_session(tmp_path, person="Osei", clock=wall) as first:
        fill(first)
    with open_session(tmp_path, person="Okafor", clock=wall) as opened:
        yield opened


def words(pdf: Pdf) -> str:
    return " ".join(pdf.text.split())


def test_the_list_names_each_eye_in_order_and_nothing_that_is_sealed(session) -> None:
    day_one.not_seen(session, OTHER, "missed", OTHER.surgery_date)
    pdf = read_pdf(pdf_of(day_one_list(session, day_one.day_list(session))))
    text = words(pdf)
    assert text.index("Due now") < text.index("P-20361") < text.index("Overdue") < text.index("P-20388")
    assert "Left (L)" in text
    assert "Right (R)" in text
    assert "24 h after surgery" in text
    assert "did not attend" in text
    assert "On call: Dr Mbeki" in text
    assert "Invented data: not for care" in text
    for secret in SECRETS:
        assert secret not in text


def test_what_is_still_to_be_noted_is_printed(session) -> None:
    day_one.lock(session, LEFT, {"edema_grade_central": 0, "iop_pod1_mmhg": 44.0}, side="L")
    text = words(read_pdf(pdf_of(day_one_list(session, day_one.day_list(session)))))
    assert "44 mmHg. Call Dr Mbeki now." in text
    assert "12 in 100" not in text


def test_the_blank_sheet_asks_everything_in_the_order_of_the_examination(session) -> None:
    pdf = read_pdf(pdf_of(blank_sheet(session)))
    text = words(pdf)
    place = text.index("Symptoms")
    for field in sheet_fields():
        if not field.folded:
            place = text.index(field.label, place + 1)
    assert text.count("Not possible") >= 10
    assert "Day and month of birth" in text
    assert "P-20361" not in text
    assert len(pdf.pages) <= 2
