"""The page of the person who acts: colours and size of text, the own PIN, and handing the seat on."""

from __future__ import annotations

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QHBoxLayout, QVBoxLayout, QWidget

from clinic_app.demo_clock import DemoClock
from clinic_app.desktop.jobs import Jobs
from clinic_app.desktop.look import STEPS, STRONG, Look
from clinic_app.desktop.pages.page import ANEW, COVER, HAND_ON, Page
from clinic_app.desktop.parts.answer import Given
from clinic_app.desktop.parts.button import Button
from clinic_app.desktop.parts.choice import ChoiceRow
from clinic_app.desktop.parts.frame import Card, Scroll
from clinic_app.desktop.parts.label import Words
from clinic_app.desktop.parts.lines import Notice
from clinic_app.desktop.parts.pin_box import PinBox
from clinic_app.desktop.words import day_words
from clinic_app.domain.people import duties_words
from clinic_app.errors import Refusal
from clinic_app.preferences import Preferences, keep_preferences
from clinic_app.services import people
from clinic_app.session import Session
from models.codebook import Choice, Field, Kind, Role, Stage

NOBODY = "Nobody is registered here yet: everybody may do everything. People are entered on Practice, People."


def _choice(name: str, label: str, choices: dict[str, str]) -> Field:
    return Field(
        name=name, label=label, kind=Kind.CHOICE, stage=Stage.BOOKING, role=Role.CONTEXT,
        choices=tuple(Choice(code, words) for code, words in choices.items()),
    )  # fmt: skip


THEME = _choice("theme", "Colours", {"system": "As the system", "light": "Light", "dark": "Dark"})
SIZE = _choice("text", "Size of text", {str(step): f"{step} %" for step in STEPS})


class PersonPage(Page):
    """Who acts, how the screen looks to them, their PIN."""

    def __init__(self, session: Session, look: Look, jobs: Jobs) -> None:
        super().__init__()
        self.session, self.look, self.jobs = session, look, jobs
        self.cards: list[Card] = []
        body = QWidget()
        column = QVBoxLayout(body)
        column.setContentsMargins(look.px(11), look.px(11), look.px(11), look.px(11))
        column.setSpacing(look.px(8))
        column.addWidget(self._who())
        column.addWidget(self._screen())
        if isinstance(session.clock, DemoClock):
            column.addWidget(self._calendar(session.clock))
        self.pin_card = self._pin()
        column.addWidget(self.pin_card)
        self.pin_card.setVisible(any(one.name == session.person for one in session.people))
        column.addStretch(1)
        whole = QVBoxLayout(self)
        whole.setContentsMargins(0, 0, 0, 0)
        whole.addWidget(Scroll(look, body))
        look.changed.connect(self.show_choices)
        self.show_choices()

    def _card(self, heading: str, words: str) -> Card:
        card = Card(self.look, margins=(24, 18, 24, 18), spacing=10)
        self.cards.append(card)
        card.column.addWidget(Words(self.look, heading, size=18, weight=STRONG, wrap=True))
        card.column.addWidget(Words(self.look, words, colour="soft", wrap=True))
        return card

    def _who(self) -> Card:
        me = self.session.me
        known = bool(self.session.people)
        card = self._card(me.name or "No name", f"Duties: {duties_words(me.duties)}" if known else NOBODY)
        across = QHBoxLayout()
        self.change = Button(self.look, "Change person", hint="Ctrl+Shift+P")
        self.cover = Button(self.look, "Cover this seat", kind="quiet")
        self.change.clicked.connect(lambda: self.asked.emit(HAND_ON, None))
        self.cover.clicked.connect(lambda: self.asked.emit(COVER, None))
        for button in (self.change, self.cover):
            across.addWidget(button)
        across.addStretch(1)
        card.column.addLayout(across)
        self.change.setVisible(known)
        return card

    def _screen(self) -> Card:
        card = self._card("On screen", "These choices are yours alone; they change nothing for others.")
        self.theme = ChoiceRow(self.look, THEME, absent=False)
        self.size_row = ChoiceRow(self.look, SIZE, absent=False)
        for row in (self.theme, self.size_row):
            card.column.addWidget(row)
        words = "Ctrl + and Ctrl - change the size of text on every page."
        card.column.addWidget(Words(self.look, words, size=12.5, colour="soft", wrap=True))
        self.theme.changed.connect(self._choose_theme)
        self.size_row.changed.connect(self._choose_size)
        return card

    def _calendar(self, clock: DemoClock) -> Card:
        today = day_words(self.session.today(), self.session.today())
        told = f"Today is {today} here. Eyes operated today are due for day one tomorrow."
        card = self._card("The invented practice's calendar", told)
        self.tomorrow = Button(self.look, "Go on to the next morning")

        def go_on() -> None:
            clock.next_morning()
            self.asked.emit(ANEW, None)

        self.tomorrow.clicked.connect(go_on)
        across = QHBoxLayout()
        across.addWidget(self.tomorrow)
        across.addStretch(1)
        card.column.addLayout(across)
        return card

    def _pin(self) -> Card:
        has = self.session.me.has_pin
        told = "It uncovers this seat and signs for you. Four to eight digits; nobody can read it, only reset it."
        card = self._card("Your PIN", told)
        self.old = PinBox(self.look, "PIN now", person=self.session.person, keeps=True)
        self.new = PinBox(self.look, "New PIN", person=self.session.person, keeps=True)
        self.again = PinBox(self.look, "New PIN once more", person=self.session.person, keeps=True)
        self.keep_pin = Button(self.look, "Change the PIN" if has else "Set the PIN")
        self.keep_pin.clicked.connect(self._keep_pin)
        self.pin_said = Notice(self.look)
        self.pin_said.hide()
        self.old.submitted.connect(lambda _: self.new.box.setFocus())
        self.new.submitted.connect(lambda _: self.again.box.setFocus())
        self.again.submitted.connect(lambda _: self._keep_pin())
        for widget in (self.old, self.new, self.again, self.keep_pin, self.pin_said):
            card.column.addWidget(widget)
        self.old.setVisible(has)
        return card

    # --- acts --------------------------------------------------------------------------------------------------------

    def _choose_theme(self) -> None:
        self.look.set_theme(str(self.theme.given.value))
        self._keep()

    def _choose_size(self) -> None:
        self.look.set_percent(int(str(self.size_row.given.value)))
        self._keep()

    def _keep(self) -> None:
        keep_preferences(self.session.folder, self.session.person, Preferences(self.look.theme, self.look.percent))

    def _keep_pin(self) -> None:
        new, again = self.new.box.text(), self.again.box.text()
        if new != again:
            self.again.say_wrong("The two new PINs differ.", "Type the new one twice.")
            return
        try:
            people.set_pin(self.session, new, old=self.old.box.text() or None)
        except Refusal as refusal:
            self.pin_said.say(f"{refusal.what} {refusal.why} {refusal.next}")
            return
        for box in (self.old, self.new, self.again):
            box.set_person(self.session.person)
        self.old.show()
        self.keep_pin.set_words("Change the PIN")
        self.pin_said.say("The PIN is kept.")

    # --- page --------------------------------------------------------------------------------------------------------

    def show_choices(self) -> None:
        """Show what is chosen, at its size."""
        for card in self.cards:
            card.setMaximumWidth(self.look.px(760))
        self.theme.show_given(Given(self.look.theme))
        self.size_row.show_given(Given(str(self.look.percent)))

    def first_focus(self) -> QWidget:
        """Where the keyboard goes."""
        self.theme.stop().setFocus(Qt.FocusReason.TabFocusReason)
        return self.theme.stop()
