"""The protection plan: steps proposed at booking, and the talk with the patient."""

from __future__ import annotations

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import QHBoxLayout

from clinic_app.desktop.look import STRONG, Look
from clinic_app.desktop.pages.form_rules import plan_fields
from clinic_app.desktop.parts.answer import Answer, Given
from clinic_app.desktop.parts.button import Button
from clinic_app.desktop.parts.choice import ChoiceRow
from clinic_app.desktop.parts.frame import Card
from clinic_app.desktop.parts.label import Words
from clinic_app.desktop.parts.lines import Icon
from clinic_app.desktop.parts.ticks import TickSet
from models.codebook import Kind

USUAL_STEPS = 5


class PlanCard(Card):
    """`changed`: the person ticked something. `entered` carries the field in hand. `finished`: Enter goes on."""

    changed = Signal()
    entered = Signal(object)
    finished = Signal()

    def __init__(self, look: Look) -> None:
        super().__init__(look, margins=(18, 10, 14, 8), spacing=2)
        self.head = QHBoxLayout()
        self.head.setSpacing(look.px(10))
        self.head.addWidget(Icon(look, "flag", side=18))
        self.head.addWidget(Words(look, "Protection plan", size=15, weight=STRONG))
        self.head.addStretch(1)
        self.said = Words(look, "", size=12.5, colour="soft")
        self.head.addWidget(self.said)
        self.column.addLayout(self.head)
        self.more = Button(look, "More steps", kind="quiet")
        self.more.setObjectName("plan.more")
        self.answers: dict[str, Answer] = {}
        for field in plan_fields():
            answer: Answer
            if field.kind is Kind.CHOICES:
                answer = TickSet(look, field, label="", columns=2, shown=USUAL_STEPS)
                answer.hide_head()
            else:
                answer = ChoiceRow(look, field, absent=False)
            self.answers[field.name] = answer
            self.column.addWidget(answer)
            answer.changed.connect(self._changed)
            answer.go_on.connect(self.finished)
            answer.entered.connect(lambda field=field: self.entered.emit(field))
        foot = QHBoxLayout()
        last = self.column.itemAt(self.column.count() - 1)
        if last is not None and (row := last.widget()) is not None:
            self.column.removeWidget(row)
            foot.addWidget(row, 1)
        foot.addWidget(self.more, 0, Qt.AlignmentFlag.AlignBottom)
        self.column.addLayout(foot)
        self.more.clicked.connect(self._unfold)
        self._say()

    def _sets(self) -> list[TickSet]:
        return [answer for answer in self.answers.values() if isinstance(answer, TickSet)]

    def _unfold(self) -> None:
        folded = any(one.folded for one in self._sets())
        for one in self._sets():
            one.unfold(folded)
        self._say()

    def _changed(self) -> None:
        self._say()
        self.changed.emit()

    def _say(self) -> None:
        steps = [code for code in self.steps() if not code.startswith("none")]
        if steps:
            self.said.setText(f"{len(steps)} {'step' if len(steps) == 1 else 'steps'}: Plan ahead")
        else:
            self.said.setText("no plan needed" if self.steps() else "no steps yet")
        folded = sum(one.folded for one in self._sets())
        self.more.set_words(f"{folded} more steps" if folded else "Fewer steps")

    def steps(self) -> tuple[str, ...]:
        """The codes that are ticked."""
        for one in self._sets():
            if isinstance(one.given.value, tuple):
                return one.given.value
        return ()

    def show_row(self, row: dict[str, object]) -> None:
        """Show a record's plan."""
        for name, answer in self.answers.items():
            missing = row.get(f"{name}_missing")
            answer.show_given(Given(row.get(name), str(missing) if missing else None))  # type: ignore[arg-type]
        self._say()

    def given(self) -> dict[str, Given]:
        """Every answer that stands."""
        return {name: answer.given for name, answer in self.answers.items() if answer.given.stands}

    def answered(self) -> bool:
        """Whether the plan's steps have been answered, if only with none needed."""
        return bool(self.steps())

    def focus_first(self) -> None:
        """Put the keyboard on the steps."""
        next(iter(self.answers.values())).stop().setFocus(Qt.FocusReason.TabFocusReason)
