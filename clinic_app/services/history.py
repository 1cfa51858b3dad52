"""Reading the history: of one eye or of everything, filtered, without what is sealed for the reader; and as a file."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path

from clinic_app.domain.history import PAGES, kind_of, masked_line, without_names
from clinic_app.domain.people import EVERYTHING, Duty
from clinic_app.domain.plans import PLAN
from clinic_app.domain.record import CaseKey, HistoryEntry
from clinic_app.domain.seal import Secret
from clinic_app.domain.states import STATES, ungraded_state
from clinic_app.errors import Refusal
from clinic_app.exchange.cells import mark
from clinic_app.exchange.csv_out import csv_of
from clinic_app.files import write_whole
from clinic_app.session import Session

HEADINGS = ("number", "at", "person", "act", "about", "field", "old", "new", "reason", "program")


def lines(
    session: Session,
    *,
    newest: int | None = None,
    person: str | None = None,
    act: str | None = None,
    page: str | None = None,
    kind: str | None = None,
) -> list[HistoryEntry]:
    """Lines in order of their numbers: of all, or of the `newest` ones, those that fit every filter.

    `page` is one of `domain.history.PAGES`, `kind` one of its `KINDS`. What is sealed for the person acting is masked;
    that a plan was proposed or confirmed is left out, since that alone tells that the eye has one.
    """
    session.need(*EVERYTHING, act="Reading the history")
    found = _unsealed(session, session.store.history(newest=newest))
    return [
        one
        for one in found
        if person in (None, one.by)
        and act in (None, one.act)
        and (page is None or one.act in PAGES[page])
        and kind in (None, kind_of(one))
    ]


def timeline(session: Session, key: CaseKey) -> list[HistoryEntry]:
    """Everything that was written about one eye and its patient, in order; masked like `lines`."""
    session.need(*EVERYTHING, act="Reading the history")
    return _unsealed(session, session.store.history(key=key))


def save(session: Session, path: Path, found: Sequence[HistoryEntry]) -> Path:
    """Write lines of `lines` or `timeline` to a CSV file, without names of patients.

    A case is told by its number in the record; neither the patient's number, birth date and sex nor free texts and
    reasons about eyes are written. Needs the duty Data lead or People; that it was done is written down.
    """
    session.need(Duty.DATA_LEAD, Duty.PEOPLE, act="Saving the history")
    if path.suffix.lower() != ".csv":
        raise Refusal("Nothing was written.", f"{path.name} does not end in .csv.", "Name a CSV file.")
    written = write_whole(path, csv_of([HEADINGS, *(_cells(without_names(one)) for one in found)]))
    if not session.store.read_only:
        with session.store.writing(by=session.person, act="export") as write:
            write.note("history", f"{len(found)} lines, without names of patients")
    return written


def _cells(line: HistoryEntry) -> list[str]:
    told = (line.by, line.act, line.subject, line.field, line.old, line.new, line.reason, line.program)
    return [str(line.number), line.at.isoformat(timespec="seconds"), *(mark(one or "") for one in told)]


def _unsealed(session: Session, found: Iterable[HistoryEntry]) -> list[HistoryEntry]:
    if not session.people:
        return list(found)
    hides = {state: session.hides(state) for state in STATES}
    hidden = {about: hides[ungraded_state(moments)] for about, moments in session.store.ungraded().items()}
    sealed = [(one, hidden.get(one.about, frozenset())) for one in found]
    return [masked_line(one, secrets) for one, secrets in sealed if not (one.field == PLAN and Secret.PLAN in secrets)]
