"""Rows of a table turned into stage records: each distinct text of a column is read once.

A table of 50 000 rows and 70 columns holds some thousands of distinct texts; reading these and looking the rest up
makes the time independent of how much the reading of one text does.
"""

from __future__ import annotations

from collections.abc import Callable
from collections.abc import Mapping as Mapped
from dataclasses import dataclass
from datetime import date
from functools import partial
from typing import Any

from clinic_app.domain.answers import Answer, Asked, Missing, Refused, Taken
from clinic_app.domain.reading import read
from clinic_app.domain.record import CaseKey, Origin, StageRecord, Value
from clinic_app.exchange.cells import Cell, number_cell_text, plain_value, unmark
from clinic_app.exchange.columns import CONFIRMED, Column, Columns, Part
from models.codebook import BY_NAME, KEY, MISSING_CODES, Field, Stage

_STAGES = (Stage.BOOKING, Stage.THEATRE, Stage.DAY_ONE, Stage.RECHECK)
_NEVER_CONFIRMED = frozenset({"eye", "surgery_date"})
_MEMO_LIMIT = 100_000
_MAX_TEXT = 32_767
_DAY = BY_NAME["surgery_date"]


@dataclass(frozen=True, slots=True)
class CellProblem:
    """One reason why a row cannot go in, or a note about one that does: `kind` is refuse, ask or note.

    `confirm` is the word that lets it in as it stands, when a person writes it in the column `confirmed`.
    """

    kind: str
    column: str
    typed: str
    reason: str
    confirm: str = ""


@dataclass(slots=True)
class ReadRow:
    """A row as read. `key` is None when it cannot be told which case is meant; `cells` heading -> text as it stood."""

    key: CaseKey | None
    stages: dict[Stage, StageRecord]
    problems: list[CellProblem]
    confirmed: frozenset[str]

    def worst(self) -> str:
        """`refuse`, `ask` or `note` (it goes in)."""
        kinds = {one.kind for one in self.problems}
        return "refuse" if "refuse" in kinds else "ask" if "ask" in kinds else "note"


@dataclass(frozen=True, slots=True)
class _Seen:
    """What one distinct text of one column comes to, where it is more than a value."""

    value: Value | None = None
    missing: str | None = None
    typed: str | None = None
    problem: tuple[str, str] | None = None
    confirm: str = ""
    notes: tuple[str, ...] = ()


class _Memo(dict[Cell, "Value | _Seen | None"]):
    """Each distinct text of a column -> its value, None when it says nothing, or a `_Seen`; read when first met."""

    def __init__(self, read_cell: Callable[[Cell], Value | _Seen | None]) -> None:
        super().__init__()
        self._read_cell = read_cell

    def __missing__(self, cell: Cell) -> Value | _Seen | None:
        if len(self) >= _MEMO_LIMIT:
            self.clear()
        found = self[cell] = self._read_cell(cell)
        return found


class _Plan:
    """A column, what it is about (its stage by place, its field) and its memo."""

    __slots__ = ("column", "field", "memo", "name", "place", "stage")

    def __init__(self, column: Column, field: Field, memo: _Memo) -> None:
        self.column, self.field, self.memo = column, field, memo
        self.place, self.name, self.stage = column.place, field.name, _STAGES.index(field.stage)


_Stages = tuple[dict[str, Any], dict[str, Any], dict[str, Any], dict[str, Any]]
"""For each stage, field -> what a row says of it."""


class RowReader:
    """Reads the rows of one table.

    `columns` says what each column means, `constants` what holds for every row (column name -> text), `decimal` the
    decimal mark of text cells (None: either), `date_order` how days in digits are written, `notation` what a bare
    vision such as 0.5 is.
    """

    def __init__(
        self, columns: Columns, constants: Mapped[str, str], *, width: int, decimal: str | None, date_order: str,
        notation: str | None = None,
    ) -> None:  # fmt: skip
        self._decimal, self._order, self._notation = decimal, date_order, notation
        self._width = width + len(constants)
        plans = [
            _Plan(one, one.field, _Memo(partial(self._read, one, one.field)))
            for one in columns.known
            if one.field is not None
        ]
        self._values = [one for one in plans if one.column.part is Part.VALUE and one.name not in KEY]
        self._companions = [one for one in plans if one.column.part is not Part.VALUE]
        self._key = {one.name: one for one in plans if one.name in KEY}
        self._visit = next((one for one in self._values if one.name == "recheck_at"), None)
        self._confirmed = next((one.place for one in columns.known if one.part is Part.CONFIRMED), None)
        self._headings = {one.name: one.column for one in plans if one.column.part is Part.VALUE}

    def heading(self, name: str) -> str:
        """The heading under which the file gives the field; the field's name when it gives none."""
        return self._headings[name].heading if name in self._headings else name

    def typed(self, cells: tuple[Cell, ...], name: str) -> str:
        """The text that stands in the field's cell."""
        column = self._headings.get(name)
        return shown(cells[column.place]) if column is not None and column.place < len(cells) else ""

    def key(self, cells: tuple[Cell, ...]) -> tuple[CaseKey | None, Value | None]:
        """The case that the row is about, and the moment of a recheck; None where it is not clear."""
        patient, eye, day = (self._value(self._key[name], cells) if name in self._key else None for name in KEY)
        if patient is None and self._confirmed is not None and "patient_id" in self._confirmed_of(cells):
            patient = self.typed(cells, "patient_id") or None
        visit = None if self._visit is None else self._value(self._visit, cells)
        if isinstance(patient, str) and isinstance(eye, str) and isinstance(day, date):
            return CaseKey(patient, eye, day), visit
        return None, visit

    @staticmethod
    def _value(plan: _Plan, cells: tuple[Cell, ...]) -> Value | None:
        seen = plan.memo[cells[plan.place] if plan.place < len(cells) else ""]
        return seen.value if isinstance(seen, _Seen) else seen

    def patient(self, cells: tuple[Cell, ...]) -> tuple[str | None, ReadRow]:
        """The patient that a row of a table of patients is about, and what it says."""
        cells = cells + ("",) * (self._width - len(cells))
        row = self.read(cells)
        found = self._value(self._key["patient_id"], cells)
        if found is None and "patient_id" in row.confirmed:
            found = self.typed(cells, "patient_id")
        return (found if isinstance(found, str) and found else None), row

    def read(self, cells: tuple[Cell, ...]) -> ReadRow:
        """The row's records by stage, with everything that speaks against or beside it."""
        problems = self._width_problems(cells)
        confirmed = self._confirmed_of(cells)
        values: _Stages = ({}, {}, {}, {})
        missing: _Stages = ({}, {}, {}, {})
        typed: _Stages = ({}, {}, {}, {})
        wide = cells if len(cells) >= self._width else cells + ("",) * (self._width - len(cells))
        for plan in self._values:
            cell = wide[plan.place]
            if cell == "":
                continue
            seen = plan.memo[cell]
            if confirmed and plan.name in confirmed:
                exact = plain_value(plan.field, shown(cell))
                if exact is not None:
                    values[plan.stage][plan.name] = exact
                    continue
            if isinstance(seen, _Seen):
                self._take(plan, seen, cell, values, missing, typed, problems)
            elif seen is not None:
                values[plan.stage][plan.name] = seen
        origin = self._take_companions(wide, values, missing, typed, problems)
        stages = {
            stage: StageRecord(stage, values[at], missing[at], typed[at], origin[at])
            for at, stage in enumerate(_STAGES)
            if values[at] or missing[at] or typed[at] or origin[at]
        }
        key, visit = self.key(cells)
        problems += self._key_problems(cells, confirmed)
        if Stage.RECHECK in stages and visit is None:
            problems.append(
                CellProblem(
                    "refuse",
                    "recheck_at",
                    "",
                    "A recheck needs its day and time. Fill in recheck_at as 2026-03-12T09:30.",
                )
            )
        return ReadRow(key, stages, problems, confirmed)

    def _width_problems(self, cells: tuple[Cell, ...]) -> list[CellProblem]:
        if len(cells) == self._width or (len(cells) > self._width and not any(cells[self._width :])):
            return []
        return [
            CellProblem(
                "refuse", "", "",
                f"The row has {len(cells)} cells under {self._width} headings: cells may stand under wrong ones. "
                "Put the missing or extra delimiter right.",
            )
        ]  # fmt: skip

    def _confirmed_of(self, cells: tuple[Cell, ...]) -> frozenset[str]:
        if self._confirmed is None or self._confirmed >= len(cells):
            return frozenset()
        names = {part.strip() for part in shown(cells[self._confirmed]).split("|")}
        return frozenset(names - {""}) - _NEVER_CONFIRMED

    @staticmethod
    def _take(
        plan: _Plan, seen: _Seen, cell: Cell, values: _Stages, missing: _Stages, typed: _Stages,
        problems: list[CellProblem],
    ) -> None:  # fmt: skip
        name, at = plan.name, plan.stage
        if seen.problem is not None:
            kind, reason = seen.problem
            problems.append(CellProblem(kind, plan.column.heading, shown(cell), reason, seen.confirm))
            return
        if seen.value is not None:
            values[at][name] = seen.value
        if seen.missing is not None:
            missing[at][name] = seen.missing
        if seen.typed is not None:
            typed[at][name] = seen.typed
        problems += [CellProblem("note", plan.column.heading, shown(cell), note) for note in seen.notes]

    def _take_companions(
        self, cells: tuple[Cell, ...], values: _Stages, missing: _Stages, typed: _Stages, problems: list[CellProblem]
    ) -> tuple[dict[str, Origin], ...]:
        origin: tuple[dict[str, Origin], ...] = ({}, {}, {}, {})
        for plan in self._companions:
            cell = cells[plan.place]
            if cell == "":
                continue
            name, at, part = plan.name, plan.stage, plan.column.part
            seen = plan.memo[cell]
            value = seen.value if isinstance(seen, _Seen) else seen
            if isinstance(seen, _Seen) and seen.problem is not None:
                problems.append(CellProblem(seen.problem[0], plan.column.heading, shown(cell), seen.problem[1]))
            elif part is Part.MISSING and isinstance(seen, _Seen) and seen.missing is not None:
                if name in values[at]:
                    reason = "The row holds both a value and a reason why there is none. Empty one of the two cells."
                    problems.append(CellProblem("refuse", plan.column.heading, seen.missing, reason))
                missing[at][name] = seen.missing
            elif part is Part.TYPED and isinstance(value, str):
                typed[at][name] = value
            elif part is Part.SOURCE and isinstance(value, str):
                before = origin[at].get(name, Origin())
                origin[at][name] = Origin(value, before.at)
            elif part is Part.AT and isinstance(value, date):
                before = origin[at].get(name, Origin())
                origin[at][name] = Origin(before.source, value)
        return origin

    def _key_problems(self, cells: tuple[Cell, ...], confirmed: frozenset[str]) -> list[CellProblem]:
        problems: list[CellProblem] = []
        for name, plan in self._key.items():
            cell = cells[plan.place] if plan.place < len(cells) else ""
            seen = plan.memo[cell]
            if (seen is not None and not isinstance(seen, _Seen)) or (name in confirmed and shown(cell)):
                continue
            heading, text = plan.column.heading, shown(cell)
            if isinstance(seen, _Seen) and seen.problem is not None:
                problems.append(CellProblem(seen.problem[0], heading, text, seen.problem[1], seen.confirm))
            elif seen is None or seen.value is None:
                label = BY_NAME[name].label.lower()
                reason = f"Without the {label} it is unknown which eye is meant. Fill in {heading}."
                problems.append(CellProblem("refuse", heading, text, reason))
            else:
                problems += [CellProblem("note", heading, text, note) for note in seen.notes]
        return problems

    def _read(self, column: Column, field: Field, cell: Cell) -> Value | _Seen | None:
        text = shown(cell)
        if not text.strip():
            return None
        if len(text) > _MAX_TEXT:
            return _Seen(problem=("refuse", f"The cell is longer than {_MAX_TEXT} characters. Shorten it."))
        if column.part in (Part.SOURCE, Part.TYPED):
            return text
        if column.part is Part.MISSING:
            return _reason_code(text)
        answer = read(
            _DAY if column.part is Part.AT else field,
            text,
            decimal=self._decimal if isinstance(cell, str) else ".",
            date_order=self._order,
            soft="note",
            unit=column.unit or None,
            notation=self._notation,
        )
        sure = isinstance(answer, Asked) and field.name not in _NEVER_CONFIRMED
        return _outcome(answer, field.name if sure and plain_value(field, text) is not None else "")


def shown(cell: Cell) -> str:
    """A cell as text, without the mark that keeps spreadsheets from running it."""
    return unmark(cell) if isinstance(cell, str) else number_cell_text(cell)


def _reason_code(text: str) -> _Seen:
    plain = text.strip().casefold()
    for code, words in MISSING_CODES.items():
        if plain in (code, words.casefold()):
            return _Seen(missing=code)
    codes = ", ".join(MISSING_CODES)
    return _Seen(problem=("refuse", f"This is no reason that we know. Write one of {codes}, or leave the cell empty."))


def _outcome(answer: Answer, confirm: str) -> Value | _Seen | None:
    """What an answer means for the cell; `confirm` is the word that lets it in as it stands, if any does."""
    if isinstance(answer, Taken):
        if answer.typed is None and not answer.notes:
            return answer.value
        return _Seen(value=answer.value, typed=answer.typed, notes=answer.notes)
    if isinstance(answer, Missing):
        return _Seen(missing=answer.code, typed=answer.typed, notes=answer.notes)
    if isinstance(answer, Asked):
        ways = [f"{one.label}: write {one.text}." for one in answer.proposals]
        if confirm:
            ways.append(f'Right as it stands: write {confirm} in a column "{CONFIRMED}".')
        return _Seen(problem=("ask", " ".join([answer.question, *ways])), confirm=confirm)
    if isinstance(answer, Refused):
        return _Seen(problem=("refuse", f"{answer.reason} {answer.next}".strip()))
    return None
