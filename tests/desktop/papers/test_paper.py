"""A paper is read back from its PDF: words, type, size, pages, head and foot."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import pytest
from PySide6.QtWidgets import QApplication

from clinic_app.desktop.papers import pressing
from clinic_app.desktop.papers.paper import INVENTED, Paper, Section, Table, TickBox, paper_of
from clinic_app.desktop.papers.pressing import pdf_of, print_paper, write_pdf
from clinic_app.errors import Refusal
from tests.pdf_text import read_pdf

CAUTION = "It supports, and never replaces, the judgement of the licensed clinician looking after the patient."
PAPER = Paper(
    title="Plan slip",
    sections=(
        Section(side="R", lines=("P-20417, born 11 Mar 1949", "Surgery Thu 19 Nov 2026")),
        Section("Steps", boxes=(TickBox("Coat first", True), TickBox("Re-coat")), columns=2),
        Section("Eyes", table=Table(("Number", "What"), tuple((f"N-{n}", f"row {n}") for n in range(90)), (1, 3))),
        Section(blanks=("Signature",)),
    ),
    practice="Invented practice",
    printed="Printed 12 Nov 2026 09:14 by Osei",
    cautions=(CAUTION,),
    demo=True,
)


@pytest.fixture(autouse=True)
def application(qapp: QApplication) -> QApplication:
    return qapp


def test_every_word_can_be_read_back() -> None:
    lines = read_pdf(pdf_of(PAPER)).text.split("\n")
    for words in (
        "Plan slip", "Right eye", "P-20417, born 11 Mar 1949", "Surgery Thu 19 Nov 2026", "Steps", "Coat first",
        "Re-coat", "Signature", CAUTION, *(f"N-{n}" for n in range(90)), *(f"row {n}" for n in range(90)),
    ):  # fmt: skip
        assert words in lines


def test_the_drawing_of_the_eyes_stands_before_its_words_the_right_eye_first() -> None:
    for side, words in (("R", "Right eye"), ("L", "Left eye")):
        paper = replace(PAPER, sections=(Section(side=side, lines=("P-20417, born 11 Mar 1949",)),))
        left = dict(read_pdf(pdf_of(paper)).lefts)
        assert left["R"] < left["L"] < left[words] < left["P-20417, born 11 Mar 1949"]


@pytest.mark.parametrize(("size", "box"), [("A4", (595, 842)), ("Letter", (612, 792))])
def test_pages_have_the_size_asked_for(size: str, box: tuple[int, int]) -> None:
    assert set(read_pdf(pdf_of(PAPER, size)).sizes) == {box}
    assert set(read_pdf(pdf_of(replace(PAPER, landscape=True), size)).sizes) == {box[::-1]}


def test_each_page_says_whose_it_is_that_it_is_invented_and_its_number() -> None:
    pages = read_pdf(pdf_of(PAPER)).pages
    assert len(pages) >= 3
    for place, page in enumerate(pages):
        lines = page.split("\n")
        assert f"Page {place + 1} of {len(pages)}" in lines
        assert {"Invented practice", INVENTED, f"{INVENTED}.", PAPER.printed, CAUTION} <= set(lines)


def test_the_headings_of_a_table_stand_again_on_each_of_its_pages() -> None:
    for page in read_pdf(pdf_of(PAPER)).pages:
        if "row " in page:
            assert "Number\nWhat\n" in page


def test_real_data_are_not_called_invented() -> None:
    assert "nvented data" not in read_pdf(pdf_of(replace(PAPER, demo=False))).text


def test_the_type_is_ours_and_embedded() -> None:
    fonts = read_pdf(pdf_of(PAPER)).fonts
    assert any("Inter-Regular" in name for name in fonts)
    assert all("Inter" in name for name in fonts)


def test_no_hue_stands_on_paper() -> None:
    colours = read_pdf(pdf_of(PAPER)).colours
    assert colours
    assert all(max(one) - min(one) < 1e-6 for one in colours)


def test_a_long_text_runs_over_pages_and_a_long_word_is_broken() -> None:
    long = " ".join(f"word{n}" for n in range(3000))
    read = read_pdf(pdf_of(Paper("Long", (Section(lines=(long, "x" * 2000)),))))
    assert len(read.pages) > 3
    assert " ".join(read.text.split()).count("word") == 3000
    assert read.text.count("x") == 2000


def test_a_heading_is_not_left_alone_at_the_foot_of_a_page() -> None:
    filler = Section(lines=tuple(f"line {n}" for n in range(43)))
    for more in range(6):
        parts = (filler, Section(lines=("more",) * more), Section("Apart", lines=("below it",)))
        pages = read_pdf(pdf_of(Paper("Long", parts))).pages
        (page,) = [one for one in pages if "Apart" in one]
        assert "below it" in page


def test_a_table_cell_higher_than_a_page_ends_with_the_page() -> None:
    table = Table(("A", "B"), (("word " * 6000, "beside"),))
    assert 1 <= len(read_pdf(pdf_of(Paper("High", (Section(table=table),)))).pages) <= 3


def test_a_file_is_written_whole_or_refused(tmp_path: Path) -> None:
    path = write_pdf(PAPER, tmp_path / "slip.pdf")
    assert path.read_bytes().startswith(b"%PDF")
    with pytest.raises(Refusal, match="not written"):
        write_pdf(PAPER, tmp_path / "nowhere" / "slip.pdf")
    assert [one.name for one in tmp_path.iterdir()] == ["slip.pdf"]


def test_an_unknown_size_is_a_mistake_of_ours() -> None:
    with pytest.raises(ValueError, match="A4"):
        pdf_of(PAPER, "A3")


def test_a_printer_that_is_not_there_is_told_in_words() -> None:
    with pytest.raises(Refusal, match="save a PDF"):
        print_paper(PAPER, "no such printer")


def test_the_usual_printer_comes_first(monkeypatch: pytest.MonkeyPatch) -> None:
    names = {"defaultPrinterName": lambda: "Ward 2", "availablePrinterNames": lambda: ["Annex", "Ward 2", "Theatre"]}
    monkeypatch.setattr(pressing, "QPrinterInfo", SimpleNamespace(**names))
    assert pressing.printers() == ["Ward 2", "Annex", "Theatre"]


def test_a_paper_carries_the_practice_the_moment_and_the_person(opened) -> None:
    session = opened()
    paper = paper_of(session, "Plan slip", (), cautions=(CAUTION,))
    assert (paper.practice, paper.demo) == ("Invented practice", True)
    assert paper.printed == "Printed 12 Nov 2026 09:14 by Osei"
