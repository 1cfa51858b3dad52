"""The manual as files: every chapter, picture and link is there, in the words of the program."""

from __future__ import annotations

import re
import struct
from pathlib import Path

import pytest

from clinic_app.manual.chapters import CHAPTERS, MANUAL, PICTURES, Chapter, chapter_of, text_of

BANNED = re.compile(r"\b(risks?|scores?|complexity|benchmarks?|dashboards?|outliers?|alerts?)\b", re.IGNORECASE)
PICTURE = re.compile(r"!\[([^\]]*)\]\(([^)]+)\)")
LINK = re.compile(r"(?<!!)\[[^\]]+\]\(([^)]+)\)")
MOST_BYTES = 120_000
named = pytest.mark.parametrize("chapter", CHAPTERS, ids=lambda chapter: chapter.name)


def size_of(path: Path) -> tuple[int, int]:
    """Width and height as the file's head says; refuses what is no PNG."""
    head = path.read_bytes()[:24]
    assert head[:8] == b"\x89PNG\r\n\x1a\n"
    return struct.unpack(">II", head[16:24])


@named
def test_a_chapter_begins_with_its_title_and_says_something(chapter: Chapter) -> None:
    lines = text_of(chapter).splitlines()
    assert lines[0] == f"# {chapter.title}"
    assert len(text_of(chapter).split()) > 80


def test_every_file_is_a_chapter_or_the_table_of_fields() -> None:
    assert {path.stem for path in MANUAL.glob("*.md")} == {one.name for one in CHAPTERS} | {"fields"}


@named
def test_its_words_are_ours(chapter: Chapter) -> None:
    assert BANNED.findall(text_of(chapter)) == []


@named
def test_its_lines_fit_a_reader_of_files(chapter: Chapter) -> None:
    assert [line for line in text_of(chapter).splitlines() if len(line) > 150] == []


@named
def test_its_links_lead_to_chapters(chapter: Chapter) -> None:
    names = {f"{one.name}.md" for one in CHAPTERS}
    assert [link for link in LINK.findall(text_of(chapter)) if link not in names] == []


@named
def test_its_pictures_are_there_and_described(chapter: Chapter) -> None:
    for words, path in PICTURE.findall(text_of(chapter)):
        assert (MANUAL / path).is_file(), path
        assert len(words.split()) >= 5, f"{path} is not described"


def test_every_picture_is_shown_once_in_some_chapter() -> None:
    shown = [Path(path).name for one in CHAPTERS for _, path in PICTURE.findall(text_of(one))]
    assert sorted(shown) == sorted(path.name for path in PICTURES.iterdir())


def test_pictures_are_of_one_size_and_small() -> None:
    for path in PICTURES.iterdir():
        assert size_of(path) == (1440, 900), path.name
        assert path.stat().st_size <= MOST_BYTES, path.name


def test_the_picture_at_the_front_is_the_manuals() -> None:
    front = MANUAL.parents[1] / "packaging" / "pictures" / "bookings.png"
    assert front.read_bytes() == (PICTURES / "bookings.png").read_bytes()


def test_a_page_without_a_chapter_leads_to_the_first_one() -> None:
    assert chapter_of("bookings").name == "bookings"
    assert chapter_of("no such page") is CHAPTERS[0]


def test_the_chapters_can_be_reached_from_the_first_one() -> None:
    reached, waiting = set(), ["start"]
    while waiting:
        name = waiting.pop()
        if name not in reached:
            reached.add(name)
            text = (MANUAL / f"{name}.md").read_text(encoding="utf-8")
            waiting += [link.removesuffix(".md") for link in LINK.findall(text)]
    assert reached == {one.name for one in CHAPTERS}
