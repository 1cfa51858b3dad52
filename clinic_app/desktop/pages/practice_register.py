"""A section that is a register: a table of entries, the form of the one in hand, New and Keep."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QWidget

from clinic_app.desktop.jobs import Jobs
from clinic_app.desktop.look import Look
from clinic_app.desktop.pages.practice_form import PracticeForm
from clinic_app.desktop.pages.practice_section import Section
from clinic_app.desktop.pages.practice_table import Entry, Ledger
from clinic_app.desktop.parts.answer import announce
from clinic_app.desktop.parts.lines import Question
from clinic_app.domain.record import Value
from clinic_app.session import Session


class RegisterSection(Section):
    """Entries by name."""

    noun = ""
    new_words = ""
    headings: tuple[str, ...] = ()
    empty_words = ""

    def __init__(self, session: Session, look: Look, jobs: Jobs) -> None:
        super().__init__(session, look, jobs)
        self.form = self.make_form()
        self.ledger = Ledger(look, self.title, self.headings, self.form, empty=self.empty_words)
        self.column.addWidget(self.ledger)
        self.column.addStretch(1)
        self.more_acts()
        self.new = self.act(self.new_words, lambda: self.go(""), name="new_entry", kind="plain", hint="Ctrl+M")
        self.kept = self.act("Keep", self.keep, name="keep", kind="main", hint="Ctrl+Enter")
        self.ledger.wished.connect(self.go)
        self.form.entered.connect(self.described)
        self.form.reveal.connect(self.revealed)
        self.form.finished.connect(self.kept.setFocus)
        self.form.changed.connect(self._say)

    def more_acts(self) -> None:
        """Acts that stand before New and Keep."""

    # --- what a register is made of ----------------------------------------------------------------------------------

    def make_form(self) -> PracticeForm:
        """The form of one entry."""
        raise NotImplementedError

    def entries(self) -> list[Entry]:
        """What is kept."""
        raise NotImplementedError

    def keep_entry(self, values: Mapping[str, Value]) -> str:
        """Keep what the form says; the name under which it is kept. Raises `Refusal`."""
        raise NotImplementedError

    def opened(self) -> None:
        """Another entry, or a new one, is in hand."""

    # --- going from one to the next ----------------------------------------------------------------------------------

    def load(self) -> None:
        self.form.settings = self.session.settings
        self.ledger.show_entries(self.entries())
        name = self.ledger.open_name or (self.ledger.entries[0].name if self.ledger.entries else "")
        self.form.lock(not self.may)
        self._open(name)
        self.kept.setEnabled(self.may)
        self.new.setEnabled(self.may)

    def _open(self, name: str) -> None:
        self.ledger.open(name)
        self.opened()
        self._say()

    def _say(self) -> None:
        name = self.ledger.open_name
        if self.form.dirty():
            self.stood.emit("Changed, not yet kept." if name else f"A new {self.noun}, not yet kept.", False)
        else:
            self.stood.emit(f"{name} is in hand." if name else f"Type a new {self.noun}.", False)

    def go(self, name: str) -> None:
        """Take another entry in hand, an empty name a new one; what is not kept is asked about first."""
        if not self.form.dirty():
            self._go(name)
            return
        self.ledger.stay()
        answers = (("back", "Go on writing"), ("away", "Throw them away"), ("keep", "Keep them"))
        held = self.ledger.open_name or f"The new {self.noun}"
        question = Question(self.look, f"{held} has changes that are not kept.", answers)
        acts: dict[str, Callable[[], object]] = {
            "away": lambda: self._go(name),
            "keep": self.keep,
            "back": self.form.first,
        }
        question.answered.connect(lambda code, _: acts[code]())
        self.asking.emit(question)

    def _go(self, name: str) -> None:
        self._open(name)
        if not name:
            self.form.first()

    def first_focus(self) -> QWidget:
        if not self.may and self.ledger.entries:
            self.ledger.table.setFocus(Qt.FocusReason.TabFocusReason)
            return self.ledger.table
        return self.form.first() if self.may else self

    def dirty(self) -> bool:
        return self.form.dirty()

    def throw_away(self) -> None:
        self._open(self.ledger.open_name)

    def keep(self) -> None:
        self.form.take_hand()
        if not self.may:
            return
        if label := self.form.go_to_trouble():
            self.said.emit(f"Not kept: {label} still asks for an answer.")
            return
        if self.ledger.open_name and not self.form.dirty():
            self.stood.emit("Nothing was changed.", True)
            return
        self.keep_now()

    def keep_now(self) -> None:
        """Keep the entry in hand and show it as it stands now."""
        kept: list[str] = []
        if self.tried(lambda: kept.append(self.keep_entry(self.form.values()))):
            self.form.settle()
            self.ledger.open_name = kept[0]
            self.load()
            self.new.setFocus()
            self.stood.emit(f"{kept[0]} is kept.", True)
            announce(self, f"{kept[0]} is kept.")
