"""One import from beginning to end: files to tables, rows to records, records into the store or back out."""

from __future__ import annotations

import os
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from itertools import islice
from pathlib import Path

from clinic_app.domain.checks import alike_identifiers
from clinic_app.domain.people import Duty
from clinic_app.errors import Refusal
from clinic_app.exchange.cells import Cell
from clinic_app.exchange.mapping import Mapping, read_mapping
from clinic_app.exchange.row_reader import CellProblem, shown
from clinic_app.services.intake.known import Known
from clinic_app.services.intake.refused import LeftOut, write_refused
from clinic_app.services.intake.renewal import Put, Written, renewed
from clinic_app.services.intake.result import MAX_LEFT, MAX_NOTES, ImportResult, LeftRow, Problem
from clinic_app.services.intake.source import Source, TakenRow, open_sources
from clinic_app.session import Session
from models.progress import Report, silent

_CHUNK = 2_000
_PEEK = 250
"""Rows between two looks at whether the person stopped the work."""


class _Undo(Exception):
    """Ends a dry run: the transaction goes back, the result stays."""


@dataclass(frozen=True, slots=True)
class _Row:
    """A row that stays out, at least for now: the place of its table among the sources, number, cells, what it is."""

    source: int
    number: int
    cells: tuple[Cell, ...]
    taken: TakenRow

    @property
    def against(self) -> list[CellProblem]:
        """What keeps it out."""
        return [one for one in self.taken.problems if one.kind != "note"]

    @property
    def why(self) -> str:
        """The same in one text."""
        return "; ".join(f"{one.column}: {one.reason}" if one.column else one.reason for one in self.against)


@dataclass(slots=True)
class _Tally:
    counts: Counter[str] = field(default_factory=Counter)
    notes: list[Problem] = field(default_factory=list)
    more_notes: int = 0
    left: list[_Row] = field(default_factory=list)

    def note(self, one: Problem) -> None:
        if len(self.notes) < MAX_NOTES:
            self.notes.append(one)
        else:
            self.more_notes += 1


def import_files(
    session: Session,
    files: Sequence[Path],
    *,
    mapping: Path | None = None,
    encoding: str | None = None,
    dry_run: bool = False,
    refused: Path | None = None,
    report: Report = silent,
) -> ImportResult:
    """Put the rows of CSV, XLSX, XLS and ODS files into the practice.

    All readable rows go in, in one transaction; a row that cannot be read, or about which a person must be asked, is
    left out, listed with its reason, and written to `refused`, so that it can be corrected and imported alone. With
    `dry_run` everything is read and checked and nothing is changed. A fault of a file raises `Refusal` and changes
    nothing, and so does `Cancelled` out of `report`. `encoding` names that of the text files; it goes before the
    mapping file's, which goes before what the file shows.
    """
    session.need(Duty.DATA_LEAD, act="Importing records")
    if not files:
        raise Refusal("Nothing was imported.", "No file was named.", "Name one or more files.")
    _check_target(files, refused)
    found = Mapping() if mapping is None else read_mapping(mapping)
    if encoding is not None:
        found = replace(found, encoding=encoding)
    report(0.0, "Looking at the files.")
    sources = open_sources(session.settings, files, found, report)
    tally = _Tally()
    for source in sources:
        for sentence in source.notes:
            tally.note(Problem(source.name, None, "", "", sentence))
    patients: Counter[str] = Counter()
    for source in sources:
        patients.update(source.patients)
    known = Known(
        session.store,
        patients,
        zone=session.settings.zone or None,
        remember=len(sources) > 1,
        several=frozenset(patient for patient, count in patients.items() if count > 1),
    )
    _note_alike(sources, set(patients) | session.store.patients(), set(patients), tally)
    try:
        with session.store.writing(by=session.person, act="import") as writer:
            rows = _records(sources, known, tally, report)
            written = Written()
            while chunk := list(islice(rows, _CHUNK)):
                words = writer.put_many(chunk)
                tally.counts.update(words)
                written.note(chunk, words)
            writer.add_forecasts(renewed(session, known, written))
            # the last report: what raises out of it still undoes everything
            report(1.0, "Writing down what was left out." if tally.left else "Finishing.")
            if refused is not None and tally.left:
                rows_left = [LeftOut(sources[one.source].table.headings, one.cells, one.why) for one in tally.left]
                write_refused(refused, rows_left, sources[0].delimiter)
            if dry_run:
                raise _Undo
    except _Undo:
        pass
    return ImportResult(
        files=tuple(path.name for path in files),
        counts=tally.counts,
        problems=tuple(one for row in tally.left for one in _problems(sources, row)),
        notes=tuple(tally.notes),
        notes_left_out=tally.more_notes,
        dry_run=dry_run,
        refused_file=str(refused) if refused is not None and tally.left else None,
        left=tuple(_left_row(sources, row) for row in tally.left[:MAX_LEFT]),
    )


def _problems(sources: Sequence[Source], row: _Row) -> tuple[Problem, ...]:
    name = sources[row.source].name
    return tuple(Problem(name, row.number, one.column, one.typed, one.reason, one.confirm) for one in row.against)


def _left_row(sources: Sequence[Source], row: _Row) -> LeftRow:
    source = sources[row.source]
    cells = {heading: shown(cell) for heading, cell in zip(source.table.headings, row.cells, strict=False) if heading}
    return LeftRow(source.name, row.number, cells, _problems(sources, row))


def _check_target(files: Sequence[Path], refused: Path | None) -> None:
    if refused is None:
        return
    if any(path.exists() and refused.exists() and path.samefile(refused) for path in files):
        raise Refusal(
            "Nothing was imported.",
            "The refused rows would be written over the file that they come from.",
            "Name another file for the refused rows.",
        )
    if not refused.absolute().parent.is_dir():
        raise Refusal(
            "Nothing was imported.",
            "The folder for the refused rows does not exist.",
            "Name a file in a folder that exists.",
        )
    if refused.is_dir() or not os.access(refused.absolute().parent, os.W_OK | os.X_OK):
        raise Refusal(
            "Nothing was imported.",
            f"The file {refused.name} for the refused rows cannot be written there.",
            "Name a file in a folder where you may write.",
        )


def _note_alike(sources: Sequence[Source], everyone: set[str], here: set[str], tally: _Tally) -> None:
    for group in alike_identifiers(sorted(everyone)):
        if here & set(group):
            shown = ", ".join(group)
            sentence = (
                f"The patient numbers {shown} are alike: perhaps they are one patient's, with zeros or spaces lost."
            )
            tally.note(Problem(sources[0].name, None, "patient_id", shown, sentence))


def _records(sources: Sequence[Source], known: Known, tally: _Tally, report: Report) -> Iterator[Put]:
    """The records of all rows that go in; the others are told to the tally.

    A row that is clear in itself and only stands against other records is read again when the rest is in: a row
    further down may have answered the question. Else the same file, brought a second time, would put in more.
    """
    everything = max(sum(source.table.rows_expected for source in sources), 1)
    before = 0
    waiting: list[_Row] = []
    for place, source in enumerate(sources):
        for at, (number, cells) in enumerate(source.table.rows()):
            if at % _PEEK == 0:
                done = min((before + at) / everything, 1.0)
                report(0.05 + 0.9 * done, f"{source.name}: row {number} of about {source.table.rows_expected}.")
            one = _Row(place, number, cells, source.read(number, cells, known))
            if not one.against:
                yield from _going_in(source, one, tally)
            elif one.taken.clear:
                waiting.append(one)
            else:
                tally.left.append(one)
        before += source.table.rows_expected
    more = True
    while more and waiting:
        report(0.96, "Looking once more at rows that stand against others.")
        several, waiting, more = waiting, [], False
        for old in several:
            source = sources[old.source]
            one = _Row(old.source, old.number, old.cells, source.read(old.number, old.cells, known))
            if one.against:
                waiting.append(one)
            else:
                more = True
                yield from _going_in(source, one, tally)
    tally.left = sorted([*tally.left, *waiting], key=lambda one: (one.source, one.number))
    tally.counts.update("refused" if one.taken.worst() == "refuse" else "asked" for one in tally.left)


def _going_in(source: Source, row: _Row, tally: _Tally) -> Iterator[Put]:
    """The records of a row against which nothing speaks, its notes told."""
    for one in row.taken.problems:
        tally.note(Problem(source.name, row.number, one.column, one.typed, one.reason))
    if row.taken.again:
        tally.counts["unchanged"] += 1
    elif row.taken.key is not None:
        yield row.taken.key, row.taken.records
