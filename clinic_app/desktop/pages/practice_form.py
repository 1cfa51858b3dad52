"""The forms of the Practice page: the same controls as a case's form, over what the practice itself chooses."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from types import MappingProxyType

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QWidget

from clinic_app.desktop.look import Look
from clinic_app.desktop.pages.help import FieldHelp
from clinic_app.desktop.pages.stage_form import StageForm
from clinic_app.desktop.parts.answer import OPEN, Answer, Given, unit_words
from clinic_app.desktop.parts.choice import ChoiceRow
from clinic_app.desktop.parts.entry import EntryAnswer
from clinic_app.desktop.parts.lines import RefusalLine
from clinic_app.domain.answers import Answer as Came
from clinic_app.domain.answers import Asked, Refused, Taken
from clinic_app.domain.record import Value
from clinic_app.settings import Settings
from models.codebook import FIELDS, Choice, Field, Kind, Role, Stage

EVEN: Mapping[str, int] = MappingProxyType({})


@dataclass(frozen=True, slots=True)
class Reader:
    """How a field is read that takes a name of a list: what a text comes to, and the words that are completed."""

    read: Callable[[str], Came]
    words: Callable[[], Sequence[str]]


USUAL: Mapping[str, Reader] = MappingProxyType({})
"""Every field is read by its kind."""


def asked(
    name: str,
    label: str,
    kind: Kind = Kind.TEXT,
    *,
    group: str = "",
    choices: Mapping[str, str] | None = None,
    unit: str = "",
    hard: tuple[float, float] | None = None,
    decimals: int = 0,
    help_: str = "",
) -> Field:
    """A field of a form that is no field of the record."""
    return Field(
        name=name, label=label, kind=kind, stage=Stage.BOOKING, role=Role.CONTEXT, unit=unit, hard=hard, group=group,
        decimals=decimals, help=help_,
        choices=tuple(Choice(code, words) for code, words in (choices or {}).items()),
    )  # fmt: skip


class WideEntry(EntryAnswer):
    """A field for words that need room."""

    wide = 0

    def natural_width(self) -> int:
        return max(super().natural_width(), self.look.px(self.wide))


class PracticeForm(StageForm):
    """A form of fields whose answers may be left empty; no reason is given for having none.

    `wide` says how many pixels the typed fields would like that hold more than a word or a number, `readers` which of
    them are read otherwise than by their kind.
    """

    def __init__(
        self,
        look: Look,
        settings: Settings,
        today: date,
        fields: Sequence[Field],
        *,
        wide: Mapping[str, int] = EVEN,
        readers: Mapping[str, Reader] = USUAL,
    ) -> None:
        self.wide, self.readers = wide, readers
        self._clean: dict[str, Given] = {}
        super().__init__(look, settings, today, fields)

    def control(self, field: Field) -> Answer:
        if field.kind is not Kind.CHOICES and (field.kind is Kind.YES_NO or field.choices):
            return ChoiceRow(self.look, field, absent=False)
        if field.name in self.wide:
            made = WideEntry(self.look, field)
            made.wide = self.wide[field.name]
            return made
        return super().control(field)

    def _entered(self, answer: Answer) -> None:
        reader = self.readers.get(answer.field.name)
        if reader is not None and isinstance(answer, EntryAnswer) and answer.box.completer() is None:
            answer.suggest(reader.words())
        super()._entered(answer)

    def said(self, name: str, text: str) -> None:
        answer = self.answers[name]
        came = self.readers[name].read(text) if name in self.readers else None
        if isinstance(answer, EntryAnswer) and isinstance(came, Asked | Refused):
            self._drop_lines(name)
            if isinstance(came, Asked):
                self._ask(answer, came, text)
            else:
                self._refuse(answer, came.reason, came.next)
        else:
            super().said(name, str(came.value) if isinstance(came, Taken) else text)

    def _taken(self, answer: EntryAnswer, given: Given, notes: Iterable[str] = ()) -> None:
        if given.missing is None:
            super()._taken(answer, given, notes)
        else:
            self._refuse(answer, "No reason is given here.", "Leave it empty instead.")

    def _refuse(self, answer: EntryAnswer, why: str, then: str) -> None:
        answer.show_given(OPEN)
        answer.trouble(True)
        self._line(answer.field.name, RefusalLine(self.look, why, then))
        answer.changed.emit()

    def show_values(self, values: Mapping[str, object]) -> None:
        """Show what is kept; nothing counts as changed then."""
        self.show_row({name: value for name, value in values.items() if value not in (None, "", ())})
        self.settle()

    def settle(self) -> None:
        """What stands now counts as kept."""
        self._clean = self.given()

    def take_hand(self) -> None:
        """Read the text in hand, as if the person had left the field."""
        for answer in self.answers.values():
            if isinstance(answer, EntryAnswer) and answer.box.hasFocus():
                answer.take()

    def values(self) -> dict[str, Value]:
        """Every answer that stands, by name."""
        return {name: one.value for name, one in self.given().items() if one.value is not None}

    def text(self, name: str) -> str:
        """An answer in letters, without blanks around it; empty when there is none."""
        return str(self.values().get(name, "")).strip()

    def dirty(self) -> bool:
        """Whether anything stands otherwise than kept."""
        return self.given() != self._clean or bool(self.troubled())

    def lock(self, locked: bool, *names: str) -> None:
        """Show the answers, or those of these names, without taking any."""
        for name in names or tuple(self.answers):
            answer = self.answers[name]
            answer.lock(locked)
            if isinstance(answer, EntryAnswer):
                answer.box.setReadOnly(locked)

    def first(self) -> QWidget:
        """Put the keyboard on the first answer that can be given."""
        answer = next(one for one in self.answers.values() if not one.isHidden() and one.isEnabled())
        self.reveal.emit(answer)
        answer.stop().setFocus(Qt.FocusReason.TabFocusReason)
        return answer.stop()

    def go_to_trouble(self) -> str:
        """Put the keyboard on the first answer that could not be taken; its label, empty when there is none."""
        for answer in self.answers.values():
            if isinstance(answer, EntryAnswer) and answer.given == OPEN and answer.box.text().strip():
                self.focus(answer)
                return answer.field.label
        return ""


class PracticeHelp(FieldHelp):
    """What the field in hand means; F1 adds what is taken and, for fields of the record, the source."""

    idle = "Enter goes to the next open answer, Tab to the next field, F6 to the list and back."

    def words_of(self, field: Field, *, whole: bool) -> str:
        """Meaning and how to answer; a practice's own fields have no reasons for a missing answer."""
        words = [field.help] if field.help else []
        if field.kind is Kind.CHOICES:
            words.append("A digit ticks, Enter goes on.")
        elif whole and field.choices:
            words.append("Backspace takes an answer away.")
        if whole and field.hard is not None:
            words.append(
                f"Not taken outside {field.hard[0]:g}-{field.hard[1]:g} {unit_words(field.unit)}".strip() + "."
            )
        if whole and field in FIELDS:
            words.append(f"Source: {field.source}.")
        return " ".join(words)
