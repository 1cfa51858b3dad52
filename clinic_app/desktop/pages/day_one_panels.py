"""What stands above the foot of the sheet: halts, acts that ask for something, the remote sheet."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QKeyEvent
from PySide6.QtWidgets import QVBoxLayout, QWidget

from clinic_app.desktop.look import MEDIUM, Look
from clinic_app.desktop.pages.day_one_form import PAIN_FIELD, SeenRow
from clinic_app.desktop.parts.answer import Answer, announce
from clinic_app.desktop.parts.button import Button
from clinic_app.desktop.parts.flow import FlowLayout
from clinic_app.desktop.parts.frame import Scroll
from clinic_app.desktop.parts.label import Words
from clinic_app.desktop.parts.lines import HaltPanel, Line, NoteLine
from clinic_app.domain.day_one import NOT_PLANNED, NOT_SEEN, PRESSURE
from clinic_app.domain.halts import DISCHARGE, REDNESS, VISION_NOW, Halt, Urgency
from models.codebook import BY_NAME, Choice, Field, Kind, Role, Stage


def _asked(name: str, label: str, kind: Kind, help_: str, choices: tuple[Choice, ...] = ()) -> Field:
    return Field(
        name=name, label=label, kind=kind, stage=Stage.DAY_ONE, role=Role.CONTEXT, help=help_, choices=choices
    )  # fmt: skip


REACHED = _asked("reached", "Who was reached", Kind.TEXT, "Name and how.")
DECIDED = _asked("decided", "What was decided", Kind.TEXT, "In a few words.")
CHECK_AGAIN = _asked("check_again", "When it is checked again", Kind.TEXT, "A time or a day.")
ACTION_FIELDS = (REACHED, DECIDED, CHECK_AGAIN)
KNOWN_ON = _asked("known_on", "Known on", Kind.DATE, "The day on which that became known.")
EXPECTED_AT = _asked("expected_at", "Time today", Kind.TIME, "When the patient is expected.")
AGAIN = dataclasses.replace(BY_NAME[PRESSURE], label="Pressure, read again", soft=None)
REMOTE_FIELDS: tuple[Field, ...] = (
    PAIN_FIELD,
    BY_NAME["headache_or_nausea"],
    _asked(
        VISION_NOW, "Vision against yesterday", Kind.CHOICE, "As the patient says.",
        (Choice("better", "Better"), Choice("same", "Same"), Choice("worse", "Worse")),
    ),
    _asked(REDNESS, "Redder than yesterday", Kind.YES_NO, "As the patient says."),
    _asked(DISCHARGE, "Discharge", Kind.YES_NO, "Sticky or yellow; clear tears are none."),
)  # fmt: skip


def not_seen_reasons(*, planned: bool) -> tuple[tuple[str, str], ...]:
    """Reasons for no grade, code and words; one more where the practice does not see every eye (`planned` False)."""
    field = BY_NAME["visit_status"]
    codes = NOT_SEEN if planned else (*NOT_SEEN, NOT_PLANNED)
    return tuple((code, field.choice_label(code)) for code in codes)


class Halts(QWidget):
    """The halts that stand, the most urgent as the sentence of one panel, and quiet lines below it. A panel cannot be
    put away: it goes when what it says no longer holds. `chosen` carries `action` or `again`; `placed`: anew."""

    chosen = Signal(str)
    placed = Signal()

    def __init__(self, look: Look) -> None:
        super().__init__()
        self.look = look
        self.column = QVBoxLayout(self)
        self.column.setContentsMargins(look.px(12), 0, look.px(12), look.px(4))
        self.column.setSpacing(look.px(4))
        self.shown: tuple[object, ...] = ()
        self.widgets: list[QWidget] = []

    def show_halts(
        self, halts: Sequence[Halt], open_: Sequence[Halt] = (), pair: Sequence[Halt] = (), *,
        noted: str = "", notes: Sequence[str] = (), again: bool = True,
    ) -> None:  # fmt: skip
        """Show what stands; `open_` are those whose action is not noted, `pair` those of the other eye of the day,
        `noted` says what was noted last, `notes` are sentences to know about, `again` offers a second reading."""
        state = (tuple(halts), tuple(open_), tuple(pair), noted, tuple(notes))
        if state == self.shown:
            return
        self.shown = state
        for widget in self.widgets:
            self.column.removeWidget(widget)
            widget.hide()
            widget.deleteLater()
        self.widgets = []
        loud = [halt for halt in halts if halt.urgency is not Urgency.QUIET]
        if loud or pair:
            self._panel([*loud, *pair], open_, noted, again=again)
        for halt in halts:
            if halt.urgency is Urgency.QUIET:
                self._add(NoteLine(self.look, halt.sentence))
        for note in notes:
            self._add(NoteLine(self.look, note))
        self.placed.emit()

    def _panel(self, loud: Sequence[Halt], open_: Sequence[Halt], noted: str, *, again: bool) -> None:
        first, further = loud[0], [halt.sentence for halt in loud[1:]]
        answers = [("action", "Note the action, F9")] if open_ else []
        if again and any(halt.code in ("M50", "M51", "M52") for halt in loud):
            answers.append(("again", "Read again"))
        further += [noted] if noted and not open_ else []
        panel = HaltPanel(self.look, first.sentence, first.more, tuple(answers))
        for words in further:
            panel.text.addWidget(Words(self.look, words, size=13, weight=MEDIUM, wrap=True))
        panel.setAccessibleName(" ".join([panel.accessibleName(), *further]))
        panel.chosen.connect(self.chosen)
        self._add(panel)

    def _add(self, widget: QWidget) -> None:
        self.widgets.append(widget)
        self.column.addWidget(widget)
        widget.show()


class HaltBand(Scroll):
    """The halts at their whole height, up to a share of the page; more of them scroll, the most urgent on top."""

    SHARE = 0.4

    def __init__(self, look: Look) -> None:
        self.halts = Halts(look)
        super().__init__(look, self.halts)
        self.halts.placed.connect(self.fit)
        self.hide()

    def fit(self) -> None:
        page = self.window().height()
        width = max(1, self.viewport().width())
        follows = self.halts.hasHeightForWidth()
        tall = self.halts.heightForWidth(width) if follows else self.halts.sizeHint().height()
        high = min(tall, int(self.SHARE * page)) if self.halts.widgets else 0
        if self.minimumHeight() != high:
            self.setFixedHeight(high)
        self.setVisible(bool(self.halts.widgets))
        super().fit()


class AnswersPanel(Line):
    """Answers one after another above buttons. `kept` carries them laid flat; Esc and the last button leave: `left`."""

    kept = Signal(object)
    left = Signal()
    changed = Signal()

    def __init__(self, look: Look, sentence: str, answers: Sequence[Answer], keep: str) -> None:
        super().__init__(look, "note", ground="act_wash", edge="act")
        self.text.addWidget(Words(look, sentence, size=13.5, weight=MEDIUM, wrap=True))
        self.answers = {answer.field.name: answer for answer in answers}
        ground = QWidget()
        row = FlowLayout(look, ground, gap=8)
        for answer in answers:
            row.addWidget(answer)
            answer.changed.connect(self.changed)
            answer.go_on.connect(lambda name=answer.field.name: self._go_on(name))
        self.text.addWidget(ground)
        self.trouble = Words(look, "", size=13, wrap=True)
        self.trouble.hide()
        self.text.addWidget(self.trouble)
        self.keep = self.add_button(Button(look, keep, kind="main"))
        self.keep.setObjectName("panel.keep")
        self.keep.clicked.connect(lambda: self.kept.emit(self.flat()))
        back = self.add_button(Button(look, "Go back"))
        back.setObjectName("panel.back")
        back.clicked.connect(self.left)
        announce(self, sentence)

    def begin(self) -> None:
        """Put the keyboard on the first answer."""
        next(iter(self.answers.values())).stop().setFocus(Qt.FocusReason.TabFocusReason)

    def flat(self) -> dict[str, object]:
        """The answers laid flat."""
        flat: dict[str, object] = {}
        for name, answer in self.answers.items():
            if answer.given.value is not None:
                flat[name] = answer.given.value
            if answer.given.missing is not None:
                flat[f"{name}_missing"] = answer.given.missing
        return flat

    def say(self, words: str) -> None:
        """Say what cannot be kept, or nothing."""
        self.trouble.setText(words)
        self.trouble.setVisible(bool(words))
        if words:
            announce(self, words)

    def _go_on(self, name: str) -> None:
        names = list(self.answers)
        after = [one for one in names[names.index(name) + 1 :] if not self.answers[one].given.stands]
        target = self.answers[after[0]].stop() if after else self.keep
        target.setFocus(Qt.FocusReason.TabFocusReason)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        if event.key() == Qt.Key.Key_Escape:
            self.left.emit()
            return
        super().keyPressEvent(event)


def remote_panel(look: Look) -> AnswersPanel:
    """The remote sheet: what can be asked from afar. It is never a grade."""
    rows = [SeenRow(look, field, absent=False) for field in REMOTE_FIELDS]
    return AnswersPanel(look, "Asked from afar: the same halts, never a grade.", rows, "Keep remote sheet")
