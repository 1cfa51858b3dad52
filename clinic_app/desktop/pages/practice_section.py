"""What every section of the Practice page has in common: its words, its acts in the foot, and how it asks."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from PySide6.QtCore import Signal
from PySide6.QtWidgets import QSizePolicy, QVBoxLayout, QWidget

from clinic_app.desktop.jobs import Job, Jobs, sentences
from clinic_app.desktop.look import Look
from clinic_app.desktop.pages.practice_form import EVEN, USUAL, PracticeForm, Reader
from clinic_app.desktop.parts.answer import announce
from clinic_app.desktop.parts.button import Button
from clinic_app.desktop.parts.flow import FlowLayout
from clinic_app.desktop.parts.label import Words
from clinic_app.desktop.parts.lines import Question
from clinic_app.domain.people import DUTY_WORDS, Duty
from clinic_app.errors import Refusal
from clinic_app.session import Session
from models.codebook import Field

BACK = ("back", "Go back")


class Section(QWidget):
    """One section. `said`: a sentence for the band above the foot, empty to clear it. `stood`: what stands, for the
    foot, and whether it is settled. `asking`: a question to be put above the foot. `described`: the field in hand.
    `renewed`: the same practice with other settings. `revealed`: a part to be scrolled into view."""

    said = Signal(str)
    stood = Signal(str, bool)
    asking = Signal(object)
    described = Signal(object)
    renewed = Signal(object)
    revealed = Signal(QWidget)

    title = ""
    under = ""
    lead = ""
    duties: tuple[Duty, ...] = (Duty.DATA_LEAD, Duty.SURGEON)
    """Any of these may change what stands here."""
    fields_described = True
    """Whether the help line describes a field in hand."""

    def __init__(self, session: Session, look: Look, jobs: Jobs) -> None:
        super().__init__()
        self.session, self.look, self.jobs = session, look, jobs
        self.column = QVBoxLayout(self)
        self.acts = QWidget()
        self.acts_row = FlowLayout(look, self.acts, gap=6)
        self.acts.setSizePolicy(QSizePolicy.Policy.Maximum, QSizePolicy.Policy.Preferred)
        look.changed.connect(self.respace)
        self.respace()

    def respace(self) -> None:
        """Take sizes from the tokens."""
        px = self.look.px
        self.column.setContentsMargins(px(2), px(2), px(2), px(8))
        self.column.setSpacing(px(6))

    def act(
        self, words: str, does: Callable[[], object], *, name: str, kind: str = "plain", hint: str = "", note: str = ""
    ) -> Button:
        """One more button in the foot."""
        button = Button(self.look, words, kind=kind, hint=hint, note=note)
        button.setObjectName(name)
        button.clicked.connect(lambda _=False: does())
        self.acts_row.addWidget(button)
        return button

    def words(self, text: str = "", *, colour: str = "soft") -> Words:
        """A paragraph in the section's margins."""
        made = Words(self.look, text, size=13, colour=colour, wrap=True)
        made.setContentsMargins(self.look.px(16), 0, self.look.px(16), 0)
        self.column.addWidget(made)
        return made

    def inset(self, *widgets: QWidget, gap: int = 6) -> QWidget:
        """Widgets below one another, as far from the edge as a form's answers."""
        ground = QWidget()
        inner = QVBoxLayout(ground)
        inner.setContentsMargins(self.look.px(14), 0, self.look.px(14), 0)
        inner.setSpacing(self.look.px(gap))
        for widget in widgets:
            inner.addWidget(widget)
        self.column.addWidget(ground)
        return ground

    # --- what a section is asked -------------------------------------------------------------------------------------

    @property
    def read_only(self) -> bool:
        """Whether the practice takes no changes."""
        return bool(self.session.store.read_only)

    @property
    def may(self) -> bool:
        """Whether this person may change what stands here, now."""
        return not self.read_only and self.session.may(*self.duties)

    def why_not(self) -> str:
        """Why nothing can be changed here; empty when it can."""
        if self.read_only:
            return "The practice is open for reading only. Nothing can be changed."
        if not self.session.may(*self.duties):
            needed = " or ".join(DUTY_WORDS[duty] for duty in self.duties)
            return f"You can read this. Changing it needs the duty {needed}."
        return ""

    def load(self) -> None:
        """Read anew what is shown; called whenever the section is opened."""

    def first_focus(self) -> QWidget:
        """Put the keyboard where a person begins."""
        return self

    def dirty(self) -> bool:
        """Whether something typed is not kept."""
        return False

    def working(self) -> bool:
        """Whether it still reads or writes what it shows."""
        return False

    def throw_away(self) -> None:
        """Show again what is kept."""

    def keep(self) -> None:
        """The main act (Ctrl+Enter)."""

    # --- acting ------------------------------------------------------------------------------------------------------

    def tried(self, act: Callable[[], object]) -> bool:
        """Do it; a refusal is said, and what was typed stays. Whether it was done."""
        try:
            act()
        except Refusal as refusal:
            self.said.emit(f"{refusal.what} {refusal.why} {refusal.next}")
            return False
        self.said.emit("")
        return True

    def ask(
        self, words: str, answers: tuple[tuple[str, str], ...], act: Callable[[str, str], None], *, reason: str = ""
    ) -> None:
        """Put a question above the foot; Esc goes back."""
        question = Question(self.look, words, (*answers, BACK), reason=reason)
        question.answered.connect(lambda code, given: None if code == "back" else act(code, given))
        self.asking.emit(question)

    def work(self, act: Callable[..., object], *args: object, done: Callable[[object], None]) -> Job:
        """Short work away from the keyboard's thread; a failure is said."""
        job = self.jobs.start(act, *args)
        job.done.connect(done)
        job.failed.connect(lambda fault: self.said.emit(" ".join(sentences(fault))))
        return job


class FormSection(Section):
    """A section that is one form with one Keep."""

    fields: tuple[Field, ...] = ()
    wide: Mapping[str, int] = EVEN
    readers: Mapping[str, Reader] = USUAL

    def __init__(self, session: Session, look: Look, jobs: Jobs) -> None:
        super().__init__(session, look, jobs)
        self.above = self.words(colour="ink")
        self.form = PracticeForm(
            look, session.settings, session.today(), self.fields, wide=self.wide, readers=self.readers
        )
        self.column.addWidget(self.form)
        self.below = self.words()
        self.column.addStretch(1)
        self.more_acts()
        self.kept = self.act("Keep", self.keep, name="keep", kind="main", hint="Ctrl+Enter")
        self.form.entered.connect(self.described)
        self.form.reveal.connect(self.revealed)
        self.form.finished.connect(self.kept.setFocus)
        self.form.changed.connect(self._say)

    def more_acts(self) -> None:
        """Acts that stand before Keep."""

    def shown(self) -> Mapping[str, object]:
        """What is kept, by field."""
        raise NotImplementedError

    def keep_answers(self) -> None:
        """Keep what the form says, or ask first; called only when something changed and this person may."""
        raise NotImplementedError

    def load(self) -> None:
        self.form.settings = self.session.settings
        self.form.show_values(self.shown())
        self.form.lock(not self.may)
        self.kept.setEnabled(self.may)
        for words in (self.above, self.below):
            words.setVisible(bool(words.text()))
        self._say()

    def _say(self) -> None:
        self.stood.emit("Changed, not yet kept." if self.form.dirty() else "Nothing is changed.", False)

    def first_focus(self) -> QWidget:
        return self.form.first() if self.may else self

    def dirty(self) -> bool:
        return self.form.dirty()

    def throw_away(self) -> None:
        self.load()

    def ready(self) -> bool:
        """Whether every typed answer was taken; else the first that was not is gone to."""
        self.form.take_hand()
        label = self.form.go_to_trouble()
        if label:
            self.said.emit(f"Not kept: {label} still asks for an answer.")
        return not label

    def keep(self) -> None:
        if not self.may or not self.ready():
            return
        if self.form.dirty():
            self.keep_answers()
        else:
            self.stood.emit("Nothing was changed.", True)

    def finish(self, act: Callable[[], object], words: str = "Kept, and told in the history.") -> None:
        """Do it, and show what is kept now."""
        if self.tried(act):
            self.load()
            self.stood.emit(words, True)
            announce(self, words)
