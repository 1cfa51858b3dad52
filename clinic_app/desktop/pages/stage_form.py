"""What the forms of all stages share: a control for each field by its kind, the way of Enter, what follows, undo."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import date

from PySide6.QtCore import QEvent, QObject, Qt
from PySide6.QtGui import QKeyEvent, QKeySequence
from PySide6.QtWidgets import QWidget

from clinic_app.desktop.look import Look
from clinic_app.desktop.pages.form_grid import Section
from clinic_app.desktop.pages.form_reading import ReadingForm
from clinic_app.desktop.pages.form_rules import Follows
from clinic_app.desktop.pages.undo import Act, Acts
from clinic_app.desktop.parts.answer import OPEN, Answer, Given
from clinic_app.desktop.parts.choice import ChoiceRow
from clinic_app.desktop.parts.entry import Box, EntryAnswer
from clinic_app.desktop.parts.frame import Heading
from clinic_app.desktop.parts.ticks import TickSet
from clinic_app.desktop.words import answer_words
from clinic_app.settings import Settings
from models.codebook import FIELDS, KEY, Field, Kind, Role


def control(look: Look, field: Field) -> Answer:
    """The control that a field's kind asks for."""
    if field.kind is Kind.CHOICES:
        return TickSet(look, field)
    if field.kind is Kind.YES_NO or field.choices:
        return ChoiceRow(look, field, absent=field.name not in KEY)
    return EntryAnswer(look, field)


class StageForm(ReadingForm):
    """The answers of some fields of one stage, in their order."""

    def __init__(
        self, look: Look, settings: Settings, today: date, fields: Sequence[Field], following: Sequence[Follows] = ()
    ) -> None:
        super().__init__(look, settings, today)
        self.following = tuple(following)
        self.acts = Acts()
        self.stage = fields[0].stage
        self.hand = ""
        self._followed: set[str] = set()
        self._still = False
        for field in fields:
            if not self.sections or self.sections[-1].name != field.group:
                heading = self.heading(field.group)
                heading.setParent(self)
                self.sections.append(Section(field.group, heading))
            self._add(self.control(field))

    def heading(self, group: str) -> QWidget:
        """What stands above or beside the answers of a group."""
        return Heading(self.look, group)

    def control(self, field: Field) -> Answer:
        """The control of a field."""
        return control(self.look, field)

    def _add(self, answer: Answer) -> None:
        answer.setParent(self)
        self.sections[-1].answers.append(answer)
        name = answer.field.name
        self.answers[name] = answer
        answer.changed.connect(lambda: self._answer_changed(name))
        answer.go_on.connect(lambda: self.go_on(name))
        answer.entered.connect(lambda: self._entered(answer))
        if isinstance(answer, EntryAnswer):
            answer.said.connect(lambda text: self.said(name, text))
            answer.box.installEventFilter(self)

    # --- the way of Enter --------------------------------------------------------------------------------------------

    def _path(self) -> list[Answer]:
        on_path = [a for a in self.answers.values() if not a.isHidden() and a.isEnabled()]
        return [a for a in on_path if not a.field.folded]

    def is_open(self, answer: Answer) -> bool:
        """Whether Enter stops here."""
        return not answer.given.stands

    def next_open(self, name: str | None = None) -> Answer | None:
        """The next open answer after `name`, then from the top; None where everything is answered."""
        path = self._path()
        names = list(self.answers)
        here = names.index(name) if name in self.answers else -1
        after = [a for a in path if names.index(a.field.name) > here]
        before = [a for a in path if names.index(a.field.name) < here]
        for answer in (*after, *before):
            if self.is_open(answer) and answer.field.name not in self.asked:
                return answer
        return None

    def go_on(self, name: str | None = None) -> None:
        """Focus the next open answer; what is answered is never landed on."""
        answer = self.next_open(name)
        if answer is not None:
            self.focus(answer)
        else:
            self.finished.emit()

    def focus(self, answer: Answer) -> None:
        """Put the keyboard on an answer and bring it into view."""
        self.reveal.emit(answer)
        answer.stop().setFocus(Qt.FocusReason.TabFocusReason)

    def focus_first(self) -> None:
        """Begin at the first open answer."""
        self.go_on(None)

    def _entered(self, answer: Answer) -> None:
        self.hand = answer.field.name
        self.reveal.emit(answer)
        self.entered.emit(answer.field)

    # --- answers -----------------------------------------------------------------------------------------------------

    def _answer_changed(self, name: str) -> None:
        if self._still:
            return
        self.followed(name)
        self._note_act(name)
        self.placed()
        self.changed.emit()

    def followed(self, name: str) -> None:
        """Answer, or empty, what follows from the answer of that field."""
        for rule in self.following:
            if rule.field == name:
                self._follow(rule)

    def _follow(self, rule: Follows) -> None:
        given = self.answers[rule.field].given
        held = given.missing if given.missing is not None else given.value
        for other in rule.others:
            if held == rule.value and (self.answers[other].given == OPEN or other in self._followed):
                self._followed.add(other)
                self.show_given(other, Given(missing=rule.reason or rule.value))
            elif other in self._followed and not any(self._holds(one, other) for one in self.following):
                self._followed.discard(other)
                self.show_given(other, OPEN)

    def _holds(self, rule: Follows, other: str) -> bool:
        given = self.answers[rule.field].given
        return other in rule.others and rule.value in (given.missing, given.value)

    def show_given(self, name: str, given: Given) -> None:
        """Show an answer that comes from elsewhere."""
        answer = self.answers[name]
        self._drop_lines(name)
        answer.show_given(given)
        if isinstance(answer, EntryAnswer):
            answer.trouble(False)
            answer.show_words(self._words(answer.field, given) if given != OPEN else "")

    def show_row(self, row: dict[str, object]) -> None:
        """Show a whole record."""
        self._still = True
        self._followed.clear()
        for name in self.answers:
            value, missing = row.get(name), row.get(f"{name}_missing")
            self.show_given(name, Given(value, str(missing) if missing else None))  # type: ignore[arg-type]
        self._still = False
        self.acts.begin(self._held())
        self.placed()

    def given(self) -> dict[str, Given]:
        """Every answer that stands."""
        return {name: answer.given for name, answer in self.answers.items() if answer.given.stands}

    def row(self) -> dict[str, object]:
        """The answers laid flat."""
        flat: dict[str, object] = {}
        for name, given in self.given().items():
            if given.value is not None:
                flat[name] = given.value
            if given.missing is not None:
                flat[f"{name}_missing"] = given.missing
        return flat

    def suggest(self, rows: Iterable[Mapping[str, object]]) -> None:
        """Offer what other eyes hold in fields that name a person or a thing."""
        held = list(rows)
        for answer in self.answers.values():
            if (
                isinstance(answer, EntryAnswer)
                and answer.field.kind is Kind.IDENTIFIER
                and answer.field.role is Role.CONTEXT
            ):
                answer.suggest(sorted({str(row[answer.field.name]) for row in held if row.get(answer.field.name)}))

    def troubled(self) -> list[str]:
        """Labels of the fields whose text is asked about or refused."""
        return [
            answer.field.label
            for answer in self.answers.values()
            if isinstance(answer, EntryAnswer) and answer.given == OPEN and answer.box.text().strip()
        ]

    def propose(self, row: dict[str, object], names: Iterable[str]) -> int:
        """Show answers of another record dashed, where nothing stands yet; how many were proposed."""
        count = 0
        for name in names:
            value = row.get(name)
            if name in self.answers and value is not None and self.answers[name].given == OPEN:
                self.show_given(name, Given(value, proposed=True))  # type: ignore[arg-type]
                count += 1
        self.acts.settle(self._held())
        return count

    def proposed(self) -> list[str]:
        """Names of the answers that wait to be confirmed."""
        return [name for name, answer in self.answers.items() if answer.given.proposed]

    def confirm(self) -> int:
        """Make what is proposed an answer of this person; how many there were."""
        names = self.proposed()
        for name in names:
            given = self.answers[name].given
            self.show_given(name, Given(given.value, given.missing, given.typed))
        if names:
            for name in names:
                self.followed(name)
            self._note_act(names[0])
            self.changed.emit()
        return len(names)

    def answer_of(self, name: str) -> Answer:
        """The control of a field."""
        return self.answers[name]

    # --- undo --------------------------------------------------------------------------------------------------------

    def _held(self) -> dict[str, Given]:
        return {name: answer.given for name, answer in self.answers.items() if answer.given != OPEN}

    def _note_act(self, name: str) -> None:
        self.acts.note(name, self._held())

    def undo(self) -> str:
        """Take back the last act; what was done, in words, empty when there is nothing to take back."""
        act = self.acts.back()
        return "" if act is None else self._show_act(act, act.before, "Undone")

    def redo(self) -> str:
        """Do again what was taken back last; in words, empty when there is nothing."""
        act = self.acts.forth()
        return "" if act is None else self._show_act(act, act.after, "Done again")

    def _show_act(self, act: Act, shown: Mapping[str, Given], verb: str) -> str:
        for name, given in shown.items():
            self.show_given(name, given)
        answer = self.answer_of(act.name)
        was = act.after.get(act.name, OPEN)
        words = self._words(answer.field, was) if was != OPEN else "emptied"
        more = len(act.after) - 1
        self.focus(answer)
        self.placed()
        self.changed.emit()
        others = f" and {more} more" if more else ""
        return f"{verb}: {answer.field.label.lower()} {words}{others}."

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:
        """Let Ctrl+Z reach the form where a box holds nothing but its answer; else it takes back letters there."""
        if event.type() == QEvent.Type.ShortcutOverride and isinstance(watched, Box) and isinstance(event, QKeyEvent):
            keys = (QKeySequence.StandardKey.Undo, QKeySequence.StandardKey.Redo)
            if any(event.matches(key) for key in keys) and not watched.isUndoAvailable():
                event.ignore()
                return True
        return super().eventFilter(watched, event)

    # --- more --------------------------------------------------------------------------------------------------------

    def none_of_the_rest(self) -> int:
        """Answer what is still open in the section in hand with its No or None; how many were answered."""
        section = next((one for one in self.sections if self.answers.get(self.hand) in one.answers), None)
        count = 0
        for answer in section.answers if section is not None else ():
            if answer.isHidden() or not answer.isEnabled() or answer.given.stands:
                continue
            if isinstance(answer, ChoiceRow) and (code := answer.none_code()) is not None:
                answer.give(answer.value_of(code))
                count += 1
            elif isinstance(answer, TickSet) and answer.none is not None:
                answer.give(Given((answer.none,)))
                count += 1
        if count and section is not None:
            self.go_on(self.shown(section)[-1].field.name)
        return count

    def show_derived(self, row: dict[str, object]) -> None:
        """Say what follows from the answers at the right of each section's heading."""
        for section in self.sections:
            words = []
            for field in FIELDS:
                derived = field.derived and not field.folded and field.stage is self.stage
                if derived and field.group == section.name and row.get(field.name) is not None:
                    unit = {"a": " years"}.get(field.unit, "")
                    words.append(f"{field.label} {derived_words(field, row[field.name], self.settings.decimal)}{unit}")
            if isinstance(section.heading, Heading):
                section.heading.set_aside(" · ".join(words))


def derived_words(field: Field, value: object, mark: str) -> str:
    """A value that was worked out, with its field's decimals."""
    if isinstance(value, int | float):
        return f"{value:.{field.decimals}f}".replace(".", mark or ".")
    return answer_words(field, value)
