"""The protection plan: steps proposed at booking and confirmed by the surgeon, the talk with the patient, the slip."""

from __future__ import annotations

from functools import partial

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import QHBoxLayout, QWidget

from clinic_app.desktop.look import MEDIUM, STRONG, Look
from clinic_app.desktop.pages.form_rules import plan_fields
from clinic_app.desktop.parts.answer import Answer, Given
from clinic_app.desktop.parts.button import Button
from clinic_app.desktop.parts.choice import ChoiceRow
from clinic_app.desktop.parts.flow import FlowLayout
from clinic_app.desktop.parts.frame import Card
from clinic_app.desktop.parts.label import Words
from clinic_app.desktop.parts.lines import Icon
from clinic_app.desktop.parts.ticks import TickSet
from clinic_app.domain.plans import PlanState
from models.codebook import Kind

USUAL_STEPS = 5


class PlanCard(Card):
    """`changed`: the person ticked something. `entered` carries the field in hand. `finished`: Enter goes on.
    `confirmed`: the surgeon wishes to confirm the steps. `slip`: the slip is wished for."""

    changed = Signal()
    entered = Signal(object)
    finished = Signal()
    confirmed = Signal()
    slip = Signal()

    def __init__(self, look: Look) -> None:
        super().__init__(look, margins=(18, 8, 14, 6), spacing=0)
        self.state = PlanState()
        self.head = QHBoxLayout()
        self.head.setSpacing(look.px(10))
        self.said = Words(look, "", size=12.5, colour="soft", wrap=True)
        self.said.setAlignment(Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter)
        self.more = Button(look, "More steps", kind="quiet")
        self.more.setObjectName("plan.more")
        self.head.addWidget(Icon(look, "flag", side=18))
        self.head.addWidget(Words(look, "Protection plan", size=15, weight=STRONG))
        self.head.addWidget(self.said, 1)
        self.column.addLayout(self.head)
        self.answers: dict[str, Answer] = {}
        self.below = QWidget()
        below = FlowLayout(look, self.below, gap=6)
        for field in plan_fields():
            answer: Answer
            if field.kind is Kind.CHOICES:
                answer = TickSet(look, field, label="", columns=2, shown=USUAL_STEPS)
                self.column.addWidget(answer)
            else:
                answer = ChoiceRow(look, field, absent=False)
                below.addWidget(Beside(look, field.label, answer))
            answer.hide_head()
            self.answers[field.name] = answer
            answer.changed.connect(self._changed)
            answer.go_on.connect(partial(self._go_on, field.name))
            answer.entered.connect(lambda field=field: self.entered.emit(field))
        self.confirm = Button(look, "Confirm plan", note="Confirm the steps as the operating surgeon")
        self.confirm.setObjectName("plan.confirm")
        self.print = Button(look, "Print slip", kind="quiet", note="Print the plan slip, Ctrl+P")
        self.print.setObjectName("plan.print")
        for button in (self.more, self.print, self.confirm):
            below.addWidget(button)
        self.column.addWidget(self.below)
        self.more.clicked.connect(self._unfold)
        self.confirm.clicked.connect(self.confirmed)
        self.print.clicked.connect(self.slip)
        self.show_state(PlanState(), booked=False, may_confirm=False)

    def _sets(self) -> list[TickSet]:
        return [answer for answer in self.answers.values() if isinstance(answer, TickSet)]

    def _unfold(self) -> None:
        folded = any(one.folded for one in self._sets())
        for one in self._sets():
            one.unfold(folded)
        self.say()

    def _go_on(self, name: str) -> None:
        """To the next open answer after this one; behind the last the plan is finished."""
        names = list(self.answers)
        for later in names[names.index(name) + 1 :]:
            if not self.answers[later].given.stands:
                self.answers[later].stop().setFocus(Qt.FocusReason.TabFocusReason)
                return
        self.finished.emit()

    def _changed(self) -> None:
        self.say()
        self.changed.emit()

    def say(self) -> None:
        """Say how many steps there are and who stands behind them."""
        steps = [code for code in self.steps() if not code.startswith("none")]
        words = f"{len(steps)} {'step' if len(steps) == 1 else 'steps'}: Plan ahead" if steps else "no steps yet"
        if not steps and self.steps():
            words = "no plan needed"
        if self.state.confirmed_by:
            words += f", confirmed by {self.state.confirmed_by}"
        elif self.state.proposed_by:
            words += f", proposed by {self.state.proposed_by}"
        self.said.setText(words)
        folded = sum(one.folded for one in self._sets())
        self.more.set_words(f"{folded} more steps" if folded else "Fewer steps")

    def show_state(self, state: PlanState, *, booked: bool, may_confirm: bool) -> None:
        """Show who proposed and who confirmed; the slip belongs to a booked eye, confirming to a surgeon."""
        self.state = state
        self.print.setVisible(booked)
        self.confirm.setVisible(booked and may_confirm and bool(state.proposed_by) and not state.confirmed_by)
        self.say()

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
        self.say()

    def given(self) -> dict[str, Given]:
        """Every answer that stands."""
        return {name: answer.given for name, answer in self.answers.items() if answer.given.stands}

    def answered(self) -> bool:
        """Whether the plan's steps have been answered, if only with none needed."""
        return bool(self.steps())

    def focus_first(self) -> None:
        """Put the keyboard on the steps."""
        next(iter(self.answers.values())).stop().setFocus(Qt.FocusReason.TabFocusReason)


class Beside(QWidget):
    """An answer with its label before it instead of above it."""

    def __init__(self, look: Look, label: str, answer: Answer) -> None:
        super().__init__()
        across = QHBoxLayout(self)
        across.setContentsMargins(look.px(3), 0, 0, 0)
        across.setSpacing(look.px(8))
        across.addWidget(Words(look, label, size=12.5, weight=MEDIUM, colour="soft"))
        across.addWidget(answer)
