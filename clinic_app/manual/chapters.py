"""The manual: chapters as Markdown files, read in the program and in the project's folder alike."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

MANUAL = Path(__file__).resolve().parent
PICTURES = MANUAL / "pictures"


@dataclass(frozen=True, slots=True)
class Chapter:
    """A chapter: the name of its file, its title, what it is about, and the pages of the window it describes."""

    name: str
    title: str
    about: str
    pages: tuple[str, ...] = ()


CHAPTERS: tuple[Chapter, ...] = (
    Chapter("start", "Start", "the job; the first day with it", ("first_start", "cover")),
    Chapter("keys", "Keys", "everything by keyboard", ("person", "found", "help")),
    Chapter("bookings", "Bookings", "an eye before surgery; its plan", ("bookings",)),
    Chapter("forecast", "A forecast", "sentence, dots, range and reasons"),
    Chapter("theatre", "Theatre", "the sheet in the order of the hands", ("theatre",)),
    Chapter("day_one", "Day one", "grading blind; when to call; until clear", ("day_one",)),
    Chapter("review", "Review", "forecast beside seen; the charts", ("review",)),
    Chapter("model", "Model", "when and how a model changes", ("model",)),
    Chapter("practice", "Practice", "people, levels, machines, import, backup", ("practice",)),
    Chapter("safety", "Safety", "cautions, the seal, what is kept"),
    Chapter("commands", "Commands", "the same work without the window"),
)


def text_of(chapter: Chapter) -> str:
    """The chapter as Markdown."""
    return (MANUAL / f"{chapter.name}.md").read_text(encoding="utf-8")


def chapter_of(page: str) -> Chapter:
    """The chapter about a page of the window; the first one where none is."""
    return next((one for one in CHAPTERS if page in one.pages), CHAPTERS[0])
