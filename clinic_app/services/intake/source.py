"""One table of an import, made ready: its columns understood, its marks known, its repeated keys found."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping as Mapped
from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import islice
from pathlib import Path

from clinic_app.domain.record import PATIENT_FIELDS, CaseKey, Origin, StageRecord, Value
from clinic_app.exchange.cells import Cell
from clinic_app.exchange.columns import CONFIRMED, Column, Columns, columns_of, meaning
from clinic_app.exchange.guard import refused
from clinic_app.exchange.mapping import Mapping
from clinic_app.exchange.row_reader import CellProblem, ReadRow, RowReader
from clinic_app.exchange.tables import Table, open_tables
from clinic_app.services.intake.known import Known, confirmable
from clinic_app.services.intake.marks import marks_of
from clinic_app.settings import Settings
from models.codebook import BY_NAME, KEY, Stage
from models.progress import Report

Visit = tuple[CaseKey, Value | None]
_Told = tuple[object, ...]
"""Answer or reason, text as typed, device and day of a field."""
_OWN_TABLES = ("cases.csv", "rechecks.csv", "patients.csv")


@dataclass(slots=True)
class TakenRow:
    """A row with everything said against it; `records` are what would go in, `again` that it did already.

    `clear`: nothing in the row itself keeps it out, only what else is known.
    """

    key: CaseKey | None
    problems: list[CellProblem]
    records: list[StageRecord] = field(default_factory=list)
    again: bool = False
    clear: bool = False

    def worst(self) -> str:
        """`refuse`, `ask` or `note` (it goes in)."""
        kinds = {one.kind for one in self.problems}
        return "refuse" if "refuse" in kinds else "ask" if "ask" in kinds else "note"


class Source:
    """The rows of one table, read against what is known."""

    def __init__(
        self,
        table: Table,
        reader: RowReader,
        constants: Sequence[Cell],
        patients: Mapped[str, ReadRow],
        notes: Sequence[str],
    ) -> None:
        self.table, self.notes = table, tuple(notes)
        self._reader, self._patients = reader, patients
        self._constants = tuple(constants)
        self._width = len(table.headings)
        self.patients: Counter[str] = Counter()
        self._repeated: dict[Visit, list[int]] = {}
        self._verdicts: dict[Visit, bool] = {}
        self._done: set[Visit] = set()
        self._visited: dict[CaseKey, list[int]] = {}
        self._torn: dict[CaseKey, str] = {}
        self._find_keys()

    @property
    def name(self) -> str:
        """The table's name for the person."""
        return self.table.name

    @property
    def delimiter(self) -> str:
        """What stands between cells; a comma for spreadsheets."""
        return self.table.delimiter or ","

    def _find_keys(self) -> None:
        first: dict[Visit, int] = {}
        cases: dict[CaseKey, int] = {}
        for number, cells in self.table.rows():
            key, visit = self._reader.key(self._filled(cells))
            if key is None:
                continue
            self.patients[key.patient_id] += 1
            name = (key, visit)
            if name in first:
                self._repeated.setdefault(name, [first[name]]).append(number)
                continue
            first[name] = number
            if cases.setdefault(key, number) != number:
                self._visited.setdefault(key, [cases[key]]).append(number)
        if self._repeated or self._visited:
            self._compare_repeated()

    def _compare_repeated(self) -> None:
        """Whether the rows of a repeated key all say the same, and rows of several visits the same of the operation."""
        said: dict[Visit, list[object]] = {}
        told: dict[CaseKey, dict[str, _Told]] = {}
        for _, cells in self.table.rows():
            filled = self._filled(cells)
            key, visit = self._reader.key(filled)
            if key is None or not (key in self._visited or (key, visit) in self._repeated):
                continue
            row = self._reader.read(filled)
            if key in self._visited:
                differing = _differing(told.setdefault(key, {}), row)
                if differing is not None:
                    self._torn.setdefault(key, differing)
            name = (key, visit)
            if name in self._repeated:
                same = name not in said or (said[name] == _said(row) and self._verdicts[name])
                self._verdicts[name] = same and row.worst() == "note"
                said.setdefault(name, _said(row))

    def _filled(self, cells: tuple[Cell, ...]) -> tuple[Cell, ...]:
        """The cells with the constants behind them; a spreadsheet's short rows are filled up."""
        if self.table.delimiter is None and len(cells) < self._width:
            cells = cells + ("",) * (self._width - len(cells))
        if not self._constants or len(cells) < self._width:
            return cells
        return cells[: self._width] + self._constants

    def read(self, number: int, cells: tuple[Cell, ...], known: Known) -> TakenRow:
        """The row's records, and all that speaks against them."""
        filled = self._filled(cells)
        row = self._reader.read(filled)
        taken = TakenRow(row.key, row.problems)
        if row.key is None:
            return taken
        self._add_patient(row)
        visit = (row.key, row.stages[Stage.RECHECK].values.get("recheck_at") if Stage.RECHECK in row.stages else None)
        if visit in self._repeated:
            self._judge_repeated(visit, number, taken)
        if row.key in self._torn:
            others = [str(one) for one in self._visited[row.key] if one != number]
            taken.problems.append(
                CellProblem(
                    "refuse", self._reader.heading(self._torn[row.key]), "",
                    f"{_rows(others)} about the same operation and {'differs' if len(others) == 1 else 'differ'} from "
                    "this one in what does not belong to the visit. Keep what is right, empty the cell elsewhere.",
                )
            )  # fmt: skip
        if row.worst() == "refuse" or taken.again:
            return taken
        taken.clear = taken.worst() == "note"
        stages = dict(row.stages)
        if Stage.BOOKING in stages:
            stages[Stage.BOOKING] = known.without_blanks(row.key, stages[Stage.BOOKING])
        whole = known.whole(row.key, stages)
        for finding in known.findings(row.key, stages, whole):
            kind = finding.kind
            if kind == "ask" and finding.rule in row.confirmed and confirmable(finding):
                kind = "note"
            name = finding.fields[0] if finding.fields else ""
            hint, confirm = "", finding.rule if kind == "ask" and confirmable(finding) else ""
            if confirm and CONFIRMED not in finding.next:
                hint = f' Right as it stands: write {finding.rule} in a column "{CONFIRMED}".'
            taken.problems.append(
                CellProblem(
                    kind,
                    self._reader.heading(name),
                    self._reader.typed(filled, name),
                    f"{finding.sentence} {finding.next}{hint}",
                    confirm,
                )
            )
        for name in known.signed_conflict(row.key, stages):
            label = BY_NAME[name].label if name in BY_NAME else name
            taken.problems.append(
                CellProblem(
                    "ask", self._reader.heading(name), self._reader.typed(filled, name),
                    f"{label} was entered in the program and stands there otherwise; an import does not overwrite it. "
                    "Correct it in the program, or empty this cell.",
                )
            )  # fmt: skip
        if taken.worst() == "note":
            if not known.knows(row.key) and Stage.BOOKING not in stages:
                stages = {Stage.BOOKING: StageRecord(Stage.BOOKING, {}), **stages}
            taken.records = list(stages.values())
            if visit in self._repeated:
                self._done.add(visit)
            known.take(row.key, whole)
        return taken

    def _judge_repeated(self, visit: Visit, number: int, taken: TakenRow) -> None:
        others = [str(one) for one in self._repeated[visit] if one != number]
        if not self._verdicts[visit]:
            taken.problems.append(
                CellProblem(
                    "refuse", "", "",
                    f"{_rows(others)} about the same eye and day as this one, and they differ or are unclear. "
                    "Keep the one that is right.",
                )
            )  # fmt: skip
        elif visit in self._done:
            taken.again = True

    def _add_patient(self, row: ReadRow) -> None:
        """What the table of patients says and the row itself does not; an answer goes before a reason for none."""
        if row.key is None or row.key.patient_id not in self._patients:
            return
        patient = self._patients[row.key.patient_id]
        row.problems += [one for one in patient.problems if one.kind != "note"]
        said = patient.stages.get(Stage.BOOKING)
        if said is None:
            return
        own = row.stages.get(Stage.BOOKING, StageRecord(Stage.BOOKING, {}))
        for name, value in said.values.items():
            if name in own.values and own.values[name] != value:
                reason = "The table of patients in the same import says something else. Correct the one that is wrong."
                row.problems.append(CellProblem("ask", name, "", reason))
        answered = said.values.keys() | own.values.keys()
        theirs = {name: text for name, text in said.typed.items() if name not in own.values}
        ours = {name: text for name, text in own.typed.items() if name in own.values or name not in said.values}
        row.stages[Stage.BOOKING] = StageRecord(
            Stage.BOOKING,
            {**said.values, **own.values},
            {name: code for name, code in {**said.missing, **own.missing}.items() if name not in answered},
            {**theirs, **ours},
            own.origin,
        )


def _rows(numbers: Sequence[str]) -> str:
    if len(numbers) == 1:
        return f"Row {numbers[0]} is"
    return f"The rows {', '.join(numbers[:-1])} and {numbers[-1]} are"


def _differing(told: dict[str, _Told], row: ReadRow) -> str | None:
    """A field that the row says otherwise than the rows before it, visits aside; what it says is added to `told`."""
    found = None
    for stage, record in row.stages.items():
        if stage is Stage.RECHECK:
            continue
        for name in {**record.values, **record.missing, **record.typed, **record.origin}:
            origin = record.origin.get(name, Origin())
            answer = record.values.get(name, record.missing.get(name))
            now = (answer, record.typed.get(name), origin.source, origin.at)
            before = told.setdefault(name, now)
            if any(None not in (old, new) and old != new for old, new in zip(before, now, strict=True)):
                found = found or name
            told[name] = tuple(new if old is None else old for old, new in zip(before, now, strict=True))
    return found


def _said(row: ReadRow) -> list[object]:
    """What a row says, however it is written: the text as typed counts only where it stands in place of a value."""
    return [
        (
            stage,
            record.values,
            record.missing,
            record.origin,
            {name: text for name, text in record.typed.items() if name not in record.values},
        )
        for stage, record in row.stages.items()
    ]


def open_sources(settings: Settings, files: Sequence[Path], mapping: Mapping, report: Report) -> list[Source]:
    """Open all files and make their tables ready. Raises `Refusal` for a fault of any file."""
    constants = tuple(mapping.constants)
    named = frozenset(name for name, _ in mapping.columns.values() if name) | set(constants)
    key = ("patient_id",) if "patient_id" not in named else ()
    tables: list[tuple[Table, Columns]] = []
    skipped: list[str] = []
    for path in _spread(files):
        opened = open_tables(path, encoding=mapping.encoding, delimiter=mapping.delimiter, key=key or ("",))
        missing = ""
        kept = 0
        for table in opened:
            mapping.check_headings(table.headings, table.name) if len(opened) == 1 else None
            columns = columns_of(table.headings, mapping.columns, table.name, constants)
            lacking = [name for name in KEY if not columns.has(name) and name not in constants]
            if lacking and not _is_patients(columns):
                missing = missing or lacking[0]
                skipped.append(f"{table.name} has no column {lacking[0]} and was not read.")
                continue
            kept += 1
            tables.append((table, columns))
        if not kept:
            raise _no_key(path, missing, opened[0].headings)
    patients, ready = _patients_first(settings, mapping, tables)
    if not ready:
        raise refused(
            f"{tables[0][0].name} has no column eye or no column surgery_date.",
            "Each row needs patient_id, eye and surgery_date; import a table of patients together with its cases.",
        )
    sources: list[Source] = []
    for at, (table, columns) in enumerate(ready):
        report(0.01 + 0.04 * at / len(ready), f"Looking through {table.name}.")
        notes = [*table.notes, *map(_unknown_note, columns.unknown)]
        reader, filling = _reader(settings, mapping, table, columns)
        sources.append(Source(table, reader, filling, patients, [*notes, *(skipped if at == 0 else ())]))
    return sources


def _spread(files: Sequence[Path]) -> list[Path]:
    """The files; a folder that the program exported stands for the tables in it."""
    spread: list[Path] = []
    for path in files:
        if path.is_dir() and (path / _OWN_TABLES[0]).is_file():
            spread += [path / name for name in _OWN_TABLES if name == _OWN_TABLES[0] or _holds_rows(path / name)]
        else:
            spread.append(path)
    return spread


def _holds_rows(path: Path) -> bool:
    """Whether one of our own tables is there with more than its heading: a practice may have no rechecks yet."""
    if not path.is_file():
        return False
    with path.open("rb") as file:
        return len(list(islice(file, 2))) > 1


def _is_patients(columns: Columns) -> bool:
    names = {one.field.name for one in columns.known if one.field}
    return "patient_id" in names and names <= {"patient_id", *PATIENT_FIELDS} and len(names) > 1


def _no_key(path: Path, missing: str, headings: tuple[str, ...]) -> Exception:
    seen = ", ".join(heading for heading in headings[:8] if heading) or "none"
    return refused(
        f"{path.name} has no column {missing or KEY[0]}; its headings begin with {seen}.",
        f"Each row needs {', '.join(KEY)}: name the columns so, or state in a mapping file which headings they are.",
    )


def _unknown_note(unknown: tuple[str, str]) -> str:
    heading, hint = unknown
    if hint:
        return f"The column {heading!r} was not read. If it is {hint}, name it so, or state it in a mapping file."
    return f"The column {heading!r} is no field of the record and was not read."


def _reader(settings: Settings, mapping: Mapping, table: Table, columns: Columns) -> tuple[RowReader, tuple[Cell, ...]]:
    mark, order = marks_of(table, columns)
    width = len(table.headings)
    extra: list[Column] = []
    for at, name in enumerate(mapping.constants):
        found = meaning(name)
        if found is not None:
            extra.append(Column(width + at, name, found[0], found[1]))
    reader = RowReader(
        Columns((*columns.known, *extra), columns.unknown),
        mapping.constants,
        width=width,
        decimal=mapping.decimal or mark or settings.decimal or None,
        date_order=mapping.date_order or order or settings.date_order,
        notation=settings.vision_notation or None,
    )
    filling = tuple(mapping.constants.values())
    if filling:
        for one in reader.read(("",) * width + filling).problems:
            if one.column in mapping.constants and one.kind != "note":
                raise refused(
                    f"The constant {one.column} of the mapping file: {one.reason}", "Correct the mapping file."
                )
    return reader, filling


def _patients_first(
    settings: Settings, mapping: Mapping, tables: Sequence[tuple[Table, Columns]]
) -> tuple[dict[str, ReadRow], list[tuple[Table, Columns]]]:
    """Tables of patients read whole, and the other tables."""
    patients: dict[str, ReadRow] = {}
    ready: list[tuple[Table, Columns]] = []
    for table, columns in tables:
        if not _is_patients(columns):
            ready.append((table, columns))
            continue
        reader, _ = _reader(settings, Mapping(), table, columns)
        for number, cells in table.rows():
            patient, row = reader.patient(cells)
            if patient is None or patient in patients:
                raise refused(
                    f"{table.name}, row {number}: the patient number is missing or stands there twice.",
                    "Keep one row for each patient and import again.",
                )
            row.problems = [
                CellProblem(one.kind, one.column, one.typed, f"{table.name}, row {number}: {one.reason}")
                for one in row.problems
            ]
            patients[patient] = row
    return patients, ready
