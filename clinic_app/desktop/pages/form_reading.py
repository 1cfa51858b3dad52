"""Reading what is typed into a form, and the lines that speak about it below the answers."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import QWidget

from clinic_app.desktop.look import Look
from clinic_app.desktop.pages.form_grid import FormGrid
from clinic_app.desktop.parts.answer import OPEN, Answer, Given
from clinic_app.desktop.parts.entry import EntryAnswer
from clinic_app.desktop.parts.lines import AskLine, NoteLine, RefusalLine
from clinic_app.desktop.words import answer_words
from clinic_app.domain.answers import Asked, Blank, Missing, Refused, Taken
from clinic_app.domain.findings import Finding
from clinic_app.domain.reading import read
from clinic_app.settings import Settings
from models.codebook import Field


class ReadingForm(FormGrid):
    """Answers with what was asked and refused about them. `changed`: an answer changed by the person. `entered`
    carries the field in hand. `finished`: Enter found nothing open any more."""

    changed = Signal()
    entered = Signal(object)
    finished = Signal()
    reveal = Signal(QWidget)

    def __init__(self, look: Look, settings: Settings, today: date) -> None:
        super().__init__(look)
        self.settings, self.today = settings, today
        self.answers: dict[str, Answer] = {}
        self.asked: dict[str, AskLine] = {}
        self._findings: dict[tuple[str, str], tuple[str, QWidget]] = {}

    def go_on(self, name: str | None = None) -> None:
        """Go to the next open answer."""
        raise NotImplementedError

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


def usual_unit(field: Field, settings: Settings) -> str | None:
    """The unit the practice writes where it is not the field's own; None otherwise."""
    return settings.hba1c_unit if field.name == "hba1c_pct" and settings.hba1c_unit != field.unit else None
