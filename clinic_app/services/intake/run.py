"""One import from beginning to end: files to tables, rows to records, records into the store or back out."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from itertools import islice
from pathlib import Path

from clinic_app.domain.checks import alike_identifiers
from clinic_app.domain.record import CaseKey, StageRecord
from clinic_app.errors import Refusal
from clinic_app.exchange.mapping import Mapping, read_mapping
from clinic_app.services.intake.known import Known
from clinic_app.services.intake.refused import LeftOut, write_refused
from clinic_app.services.intake.result import MAX_NOTES, ImportResult, Problem
from clinic_app.services.intake.source import Source, open_sources
from clinic_app.session import Session
from models.progress import Report, silent

_CHUNK = 2_000
_PEEK = 250
"""Rows between two looks at whether the person stopped the work."""

Put = tuple[CaseKey, list[StageRecord]]


class _Undo(Exception):
    """Ends a dry run: the transaction goes back, the result stays."""


@dataclass(slots=True)
class _Tally:
    counts: Counter[str] = field(default_factory=Counter)
    problems: list[Problem] = field(default_factory=list)
    notes: list[Problem] = field(default_factory=list)
    more_notes: int = 0
    left_out: list[LeftOut] = field(default_factory=list)

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
    dry_run: bool = False,
    refused: Path | None = None,
    report: Report = silent,
) -> ImportResult:
    """Put the rows of CSV, XLSX, XLS and ODS files into the practice.

    All readable rows go in, in one transaction; a row that cannot be read, or about which a person must be asked, is
    left out, listed with its reason, and written to `refused`, so that it can be corrected and imported alone. With
    `dry_run` everything is read and checked and nothing is changed. A fault of a file raises `Refusal` and changes
    nothing, and so does `Cancelled` out of `report`.
    """
    if not files:
        raise Refusal("Nothing was imported.", "No file was named.", "Name one or more files.")
    _check_target(files, refused)
    found = Mapping() if mapping is None else read_mapping(mapping)
    report(0.0, "Looking at the files.")
    sources = open_sources(session.settings, files, found, report)
    tally = _Tally()
    for source in sources:
        for sentence in source.notes:
            tally.note(Problem(source.name, None, "", "", sentence))
    patients = Counter(key.patient_id for source in sources for key in source.keys)
    known = Known(
        session.store,
        zone=session.settings.zone or None,
        remember=len(sources) > 1,
        both_eyes=frozenset(patient for patient, count in patients.items() if count > 1),
    )
    _note_alike(sources, set(patients) | known.patients(), set(patients), tally)
    try:
        with session.store.writing(by=session.person, act="import") as writer:
            rows = _records(sources, known, tally, report)
            while chunk := list(islice(rows, _CHUNK)):
                tally.counts.update(writer.put_many(chunk))
            # the last report: what raises out of it still undoes everything
            report(1.0, "Writing down what was left out." if tally.left_out else "Finishing.")
            if refused is not None and tally.left_out:
                write_refused(refused, tally.left_out, sources[0].delimiter)
            if dry_run:
                raise _Undo
    except _Undo:
        pass
    return ImportResult(
        files=tuple(path.name for path in files),
        counts=tally.counts,
        problems=tuple(tally.problems),
        notes=tuple(tally.notes),
        notes_left_out=tally.more_notes,
        dry_run=dry_run,
        refused_file=str(refused) if refused is not None and tally.left_out else None,
    )


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


def _note_alike(sources: Sequence[Source], everyone: set[str], here: set[str], tally: _Tally) -> None:
    for group in alike_identifiers(sorted(everyone)):
        if here & set(group):
            shown = ", ".join(group)
            sentence = (
                f"The patient numbers {shown} are alike: perhaps they are one patient's, with zeros or spaces lost."
            )
            tally.note(Problem(sources[0].name, None, "patient_id", shown, sentence))


def _records(sources: Sequence[Source], known: Known, tally: _Tally, report: Report) -> Iterator[Put]:
    """The records of all rows that go in; the others are told to the tally on the way."""
    everything = max(sum(source.table.rows_expected for source in sources), 1)
    before = 0
    for source in sources:
        for at, (number, cells) in enumerate(source.table.rows()):
            if at % _PEEK == 0:
                done = min((before + at) / everything, 1.0)
                report(0.05 + 0.92 * done, f"{source.name}: row {number} of about {source.table.rows_expected}.")
            row = source.read(number, cells, known)
            where = (source.name, number)
            kind = row.worst()
            for one in row.problems:
                told = Problem(*where, one.column, one.typed, one.reason)
                if one.kind == "note":
                    if kind == "note":
                        tally.note(told)
                else:
                    tally.problems.append(told)
            if kind != "note" or row.key is None:
                tally.counts["refused" if kind == "refuse" else "asked"] += 1
                why = "; ".join(
                    f"{one.column}: {one.reason}" if one.column else one.reason
                    for one in row.problems
                    if one.kind != "note"
                )
                tally.left_out.append(LeftOut(source.table.headings, cells, why))
                continue
            if row.again:
                tally.counts["unchanged"] += 1
                continue
            yield row.key, row.records
        before += source.table.rows_expected
