"""A theatre sheet that is not yet signed, as it is kept: answers, texts still in question, what was ticked."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

from clinic_app.domain.drafted import DraftAnswer, Drafted, drafted
from clinic_app.domain.record import StageRecord, Value
from clinic_app.domain.theatre import sheet_fields, to_go
from models.codebook import BY_NAME, Field, Stage

STAGE = Stage.THEATRE.value
"""The stage that drafts of sheets carry."""
_EMPTY: Mapping[str, str] = MappingProxyType({})


@dataclass(frozen=True, slots=True)
class SheetDraft:
    """`record` holds the answers that stand (never what is only proposed), `texts` what is typed and still asked about
    or refused, by field; `separate` that tray and lots of a second eye were ticked as separate."""

    record: StageRecord
    texts: Mapping[str, str] = field(default_factory=lambda: _EMPTY)
    separate: bool = False

    @property
    def empty(self) -> bool:
        """Whether there is nothing to keep."""
        return not (self.record.values or self.record.missing or self.texts or self.separate)

    def open(self, *, second_eye: bool = False) -> tuple[str, ...]:
        """What must be answered before it can be signed, texts in question included."""
        labels = tuple(BY_NAME[name].label.lower() for name in self.texts)
        return (*labels, *to_go(self.record.row(), second_eye=second_eye, separate=self.separate))


def body_of(draft: SheetDraft) -> dict[str, object]:
    """The draft as JSON values."""
    record = draft.record
    answers = {name: DraftAnswer(value, typed=record.typed.get(name)) for name, value in record.values.items()}
    answers.update(
        {name: DraftAnswer(missing=code, typed=record.typed.get(name)) for name, code in record.missing.items()}
    )
    answers.update({name: DraftAnswer(text=text) for name, text in draft.texts.items()})
    return {**Drafted(answers).body(), "separate": draft.separate}


def draft_of(body: Mapping[str, object]) -> SheetDraft:
    """The draft that a body holds; an answer that its field no longer knows is left out."""
    known = {one.name: one for one in sheet_fields()}
    held = {name: one for name, one in drafted(body).answers.items() if name in known}
    values = {name: one.value for name, one in held.items() if one.value is not None and _fits(known[name], one.value)}
    missing = {name: one.missing for name, one in held.items() if one.missing is not None and name not in values}
    stands = {*values, *missing}
    typed = {name: one.typed for name, one in held.items() if one.typed is not None and name in stands}
    texts = {name: one.text for name, one in held.items() if one.text is not None}
    return SheetDraft(StageRecord(Stage.THEATRE, values, missing, typed), texts, body.get("separate") is True)


def _fits(one: Field, value: Value) -> bool:
    codes = value if isinstance(value, tuple) else (value,)
    return not one.choices or {str(code) for code in codes} <= set(one.codes)
