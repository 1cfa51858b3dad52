"""A paper as data: what stands on it, not how. `pressing` puts it on pages, as a PDF or on a printer."""

from __future__ import annotations

from dataclasses import dataclass
from zoneinfo import ZoneInfo

from clinic_app.desktop.words import day_words
from clinic_app.session import Session

INVENTED = "Invented data: not for care"


@dataclass(frozen=True, slots=True)
class Table:
    """Rows below headings; a heading row is repeated on each page.

    `shares` are the widths of the columns in parts of the whole (none: all alike). `least` is the least height of a row
    in millimetres, for rows that are written on by hand.
    """

    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    shares: tuple[float, ...] = ()
    least: float = 0.0


@dataclass(frozen=True, slots=True)
class TickBox:
    """A box with words: ticked in print, or to be ticked by hand."""

    words: str
    ticked: bool = False


@dataclass(frozen=True, slots=True)
class Section:
    """A part of a paper, in this order: heading, eye plate with its `lines` beside it, boxes, table, lines to fill in.

    `side` is R or L and draws the eye plate. `boxes` stand in `columns` columns. `blanks` are words before a line that
    is written on by hand.
    """

    heading: str = ""
    lines: tuple[str, ...] = ()
    side: str = ""
    boxes: tuple[TickBox, ...] = ()
    columns: int = 1
    table: Table | None = None
    blanks: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Paper:
    """A paper: its title, its parts, and what stands at the foot of each page.

    `practice` heads each page, `printed` says when and by whom, `cautions` stand at the foot, `demo` marks invented
    data at head and foot. `landscape` lays the page across.
    """

    title: str
    sections: tuple[Section, ...]
    practice: str = ""
    printed: str = ""
    cautions: tuple[str, ...] = ()
    demo: bool = False
    landscape: bool = False


def paper_of(
    session: Session,
    title: str,
    sections: tuple[Section, ...],
    *,
    cautions: tuple[str, ...] = (),
    landscape: bool = False,
) -> Paper:
    """A paper of this practice, printed now by the person acting."""
    zone = ZoneInfo(session.settings.zone) if session.settings.zone else None
    now = session.clock().astimezone(zone)
    return Paper(
        title=title,
        sections=sections,
        practice=session.settings.practice_name,
        printed=f"Printed {day_words(now.date())} {now:%H:%M} by {session.person}",
        cautions=cautions,
        demo=session.settings.demo,
        landscape=landscape,
    )
