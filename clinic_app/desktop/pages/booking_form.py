"""The booking form, built from the table of fields by kind: answers, questions about them, and the way of Enter."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import date

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import QWidget

from clinic_app.desktop.look import Look
from clinic_app.desktop.pages.form_grid import FormGrid, Section
from clinic_app.desktop.pages.form_rules import FOLLOWING, LEVELS, Follows, form_fields, level_of
from clinic_app.desktop.parts.answer import OPEN, Answer, Given
from clinic_app.desktop.parts.choice import ChoiceRow
from clinic_app.desktop.parts.entry import EntryAnswer
from clinic_app.desktop.parts.frame import Heading
from clinic_app.desktop.parts.lines import AskLine, NoteLine, RefusalLine
from clinic_app.desktop.parts.ticks import TickSet
from clinic_app.desktop.words import answer_words
from clinic_app.domain.answers import Asked, Blank, Missing, Refused, Taken
from clinic_app.domain.findings import Finding
from clinic_app.domain.reading import read
from clinic_app.settings import Settings
from models.codebook import FIELDS, KEY, Field, Kind, Role, Stage
from models.codebook import field as field_of


def control(look: Look, field: Field) -> Answer:
    """The control that a field's kind asks for."""
    if field.kind is Kind.CHOICES:
        return TickSet(look, field)
    if field.kind is Kind.YES_NO or field.choices:
        return ChoiceRow(look, field, absent=field.name not in KEY)
    return EntryAnswer(look, field)


class BookingForm(FormGrid):
    """`changed`: an answer changed by the person. `entered` carries the field in hand. `finished`: Enter found
    nothing open any more."""

    changed = Signal()
    entered = Signal(object)
    finished = Signal()
    reveal = Signal(QWidget)

    def __init__(self, look: Look, settings: Settings, today: date) -> None:
        super().__init__(look)
        self.settings, self.today = settings, today
        self.level = "short"
        self.answers: dict[str, Answer] = {}
        self.asked: dict[str, AskLine] = {}
        self._findings: dict[tuple[str, str], tuple[str, QWidget]] = {}
        self.hand = ""
        self._followed: set[str] = set()
        self._still = False
        for field in form_fields():
            if not self.sections or self.sections[-1].heading.text != field.group:
                heading = Heading(look, field.group)
                heading.setParent(self)
                self.sections.append(Section(heading))
            self._add(control(look, field))
        self.set_level("short")

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

    # --- what is asked for -------------------------------------------------------------------------------------------

    def set_level(self, level: str) -> None:
        """How much of the form is shown; answers outside it stay answered, and an answered field is always shown."""
        self.level = level
        shown = LEVELS[: LEVELS.index(level) + 1]
        for answer in self.answers.values():
            wanted = level_of(answer.field) in shown
            answer.setVisible(wanted)
            if not wanted:
                self._drop_lines(answer.field.name)
        self.placed()

    def hidden_answers(self) -> int:
        """How many answers stand outside the form that is shown."""
        return sum(answer.isHidden() and answer.given.stands for answer in self.answers.values())

    def _path(self) -> list[Answer]:
        on_path = [a for a in self.answers.values() if not a.isHidden()]
        return [a for a in on_path if not a.field.folded]

    def go_on(self, name: str | None = None) -> None:
        """Focus the next open answer after `name`, then from the top; what is answered is never landed on."""
        path = self._path()
        names = list(self.answers)
        here = names.index(name) if name in self.answers else -1
        after = [a for a in path if names.index(a.field.name) > here]
        before = [a for a in path if names.index(a.field.name) < here]
        for answer in (*after, *before):
            if not answer.given.stands and answer.field.name not in self.asked:
                self.focus(answer)
                return
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

    # --- reading what is typed ---------------------------------------------------------------------------------------

    def said(self, name: str, text: str) -> None:
        """Read a typed text: taken, missing, asked about or refused. The text stays as it was typed."""
        answer = self.answers[name]
        assert isinstance(answer, EntryAnswer)  # noqa: S101 - only typed fields say
        self._drop_lines(name)
        came = read(
            answer.field,
            text,
            date_order=self.settings.date_order,
            soft="ask",
            unit=usual_unit(answer.field, self.settings),
            notation=self.settings.vision_notation or None,
            today=self.today,
        )
        if isinstance(came, Taken):
            self._taken(answer, Given(came.value, typed=came.typed), came.notes)
        elif isinstance(came, Missing):
            self._taken(answer, Given(missing=came.code, typed=came.typed), came.notes)
        elif isinstance(came, Blank):
            answer.trouble(False)
            answer.give(OPEN)
        elif isinstance(came, Asked):
            self._ask(answer, came, text)
        elif isinstance(came, Refused):
            answer.show_given(OPEN)
            answer.trouble(True)
            self._line(name, RefusalLine(self.look, came.reason, came.next))
            answer.changed.emit()

    def _taken(self, answer: EntryAnswer, given: Given, notes: Iterable[str] = ()) -> None:
        answer.trouble(False)
        answer.show_given(given)
        answer.show_words(self._words(answer.field, given))
        for note in notes:
            self._line(answer.field.name, NoteLine(self.look, note))
        answer.changed.emit()

    def _ask(self, answer: EntryAnswer, asked: Asked, text: str) -> None:
        name = answer.field.name
        answer.show_given(OPEN)
        answer.trouble(True)
        labels = [one.label for one in asked.proposals]
        if len(labels) < 2:
            labels.append("Change")
        line = AskLine(self.look, asked.question, tuple(labels), about=answer.field.label)
        self.asked[name] = line

        def choose(place: int) -> None:
            if place >= len(asked.proposals):
                answer.stop().setFocus(Qt.FocusReason.OtherFocusReason)
                return
            chosen = asked.proposals[place]
            self._drop_lines(name)
            if chosen.value is None:
                self.said(name, chosen.text)
            else:
                self._taken(answer, Given(chosen.value, typed=text))
            self.go_on(name)

        line.chosen.connect(choose)
        self._line(name, line)
        answer.changed.emit()

    def _line(self, name: str, line: QWidget) -> None:
        line.setParent(self)
        self.lines.setdefault(name, []).append(line)
        before = self.answers[name].stop()
        for button in line.findChildren(QWidget):
            if button.focusPolicy() & Qt.FocusPolicy.TabFocus:
                QWidget.setTabOrder(before, button)
                before = button
        line.show()
        self.placed()

    def _drop_lines(self, name: str) -> None:
        self.asked.pop(name, None)
        self._findings = {key: one for key, one in self._findings.items() if one[0] != name}
        for line in self.lines.pop(name, []):
            line.hide()
            line.deleteLater()
        self.placed()

    def note(self, name: str, words: str) -> NoteLine:
        """A line to know about, below a field."""
        line = NoteLine(self.look, words)
        self._line(name, line)
        return line

    def show_findings(self, findings: Iterable[Finding]) -> None:
        """Say what answers mean beside one another, below the last of them that is shown."""
        wanted = {(one.rule, one.sentence): one for one in findings}
        gone = [key for key in self._findings if key not in wanted]
        for key in gone:
            name, line = self._findings.pop(key)
            if line in self.lines.get(name, []):
                self.lines[name].remove(line)
            line.hide()
            line.deleteLater()
        for key, one in wanted.items():
            shown = [name for name in one.fields if name in self.answers and not self.answers[name].isHidden()]
            if key in self._findings or not shown:
                continue
            made = RefusalLine if one.kind == "refuse" else NoteLine
            line = made(self.look, f"{one.sentence} {one.next}".strip())
            self._findings[key] = (shown[-1], line)
            self._line(shown[-1], line)
        if gone:
            self.placed()

    def _words(self, field: Field, given: Given) -> str:
        if given.missing is not None:
            return given.typed or self.answers[field.name].missing_words()
        return answer_words(field, given.value, today=self.today, mark=self.settings.decimal)

    # --- answers -----------------------------------------------------------------------------------------------------

    def _answer_changed(self, name: str) -> None:
        if self._still:
            return
        for rule in FOLLOWING:
            if rule.field == name:
                self._follow(rule)
        self.placed()
        self.changed.emit()

    def _follow(self, rule: Follows) -> None:
        given = self.answers[rule.field].given
        held = given.missing if given.missing is not None else given.value
        for other in rule.others:
            if held == rule.value and (self.answers[other].given == OPEN or other in self._followed):
                self._followed.add(other)
                self.show_given(other, Given(missing=rule.reason or rule.value))
            elif other in self._followed and not any(self._holds(one, other) for one in FOLLOWING):
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
            for rule in FOLLOWING:
                self._follow(rule)
            self.changed.emit()
        return len(names)

    def none_of_the_rest(self) -> int:
        """Answer what is still open in the section in hand with its No or None; how many were answered."""
        section = next((one for one in self.sections if self.answers.get(self.hand) in one.answers), None)
        count = 0
        for answer in section.answers if section is not None else ():
            if answer.isHidden() or answer.given.stands:
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
                derived = field.derived and not field.folded and field.stage is Stage.BOOKING
                if derived and field.group == section.heading.text and row.get(field.name) is not None:
                    unit = {"a": " years"}.get(field.unit, "")
                    words.append(f"{field.label} {derived_words(field, row[field.name], self.settings.decimal)}{unit}")
            section.heading.set_aside(" · ".join(words))


def usual_unit(field: Field, settings: Settings) -> str | None:
    """The unit the practice writes where it is not the field's own; None otherwise."""
    return settings.hba1c_unit if field.name == "hba1c_pct" and settings.hba1c_unit != field.unit else None


def derived_words(field: Field, value: object, mark: str) -> str:
    """A value that was worked out, with its field's decimals."""
    if isinstance(value, int | float):
        return f"{value:.{field.decimals}f}".replace(".", mark or ".")
    return answer_words(field, value)


def label_of(name: str) -> str:
    """The label of a field."""
    return field_of(name).label
