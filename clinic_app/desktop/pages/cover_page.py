"""The covered seat: a plain sheet without patient data, and who takes the seat next."""

from __future__ import annotations

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import QVBoxLayout, QWidget

from clinic_app.desktop.look import STRONG, Look
from clinic_app.desktop.parts.answer import announce
from clinic_app.desktop.parts.button import Button
from clinic_app.desktop.parts.frame import Card, Scroll
from clinic_app.desktop.parts.label import Words
from clinic_app.desktop.parts.lines import Notice
from clinic_app.desktop.parts.person_picker import PersonPicker
from clinic_app.desktop.parts.pin_box import PinBox
from clinic_app.domain.people import Person, duties_words
from clinic_app.errors import Refusal
from clinic_app.exchange.cautions import CAUTIONS
from clinic_app.services import people
from clinic_app.session import Session

COVERED, WHO = "This seat is covered", "Who is here?"
UNKEPT = "{} has answers here that are not kept. {} once more to go on without them, or let {} uncover the seat."
NOBODY = "Nobody is registered here yet: everybody may do everything. People are entered on Practice."


class CoverPage(QWidget):
    """`entered` carries the session of the person who takes the seat, with what was open left as it was."""

    entered = Signal(object)

    def __init__(self, session: Session, look: Look) -> None:
        super().__init__()
        self.session, self.look = session, look
        self._chosen: str | None = None
        body = QWidget()
        column = QVBoxLayout(body)
        column.setContentsMargins(look.px(11), look.px(40), look.px(11), look.px(11))
        card = Card(look, margins=(24, 20, 24, 20), spacing=10)
        self.heading = Words(look, WHO, size=18, weight=STRONG, wrap=True)
        self.told = Words(look, "", colour="soft", wrap=True)
        self.picker = PersonPicker(look, label="Your name")
        self.pin = PinBox(look)
        self.notice = Notice(look)
        self.go_on = Button(look, "Go on", kind="main", note="Uncover this seat")
        self.other = Button(look, "Somebody else", kind="quiet")
        for widget in (self.heading, self.told, self.picker, self.pin, self.notice, self.go_on, self.other):
            card.column.addWidget(widget)
        card.column.addWidget(Words(look, CAUTIONS["C12"], size=12.5, colour="soft", wrap=True))
        column.addWidget(card, 0, Qt.AlignmentFlag.AlignTop | Qt.AlignmentFlag.AlignHCenter)
        column.addStretch(1)
        whole = QVBoxLayout(self)
        whole.setContentsMargins(0, 0, 0, 0)
        whole.addWidget(Scroll(look, body))
        self.picker.picked.connect(self._picked)
        self.pin.submitted.connect(self._enter)
        self.go_on.clicked.connect(lambda: self._enter(""))
        self.other.clicked.connect(self.ask_who)
        self.notice.hide()
        self.card = card
        look.changed.connect(self._respace)
        self._respace()

    def _respace(self) -> None:
        self.card.setFixedWidth(self.look.px(560))

    def _people(self) -> list[Person]:
        return people.people(self.session)

    def cover(self) -> None:
        """Cover the seat of the person who acts; the same person may uncover it."""
        self.heading.setText(COVERED)
        here = next((one for one in self._people() if one.name == self.session.person), None)
        if here is None:
            self.ask_who()
            self.heading.setText(COVERED)
        else:
            self._ask(here)

    def ask_who(self) -> None:
        """Ask who takes the seat."""
        self._chosen = None
        found = self._people()
        self.heading.setText(WHO)
        self.told.setText("" if found else NOBODY)
        self.told.setVisible(not found)
        self.picker.show_people([(one.name, duties_words(one.duties)) for one in found])
        self._only(self.picker if found else self.go_on)
        self.first_focus()

    def warn_unkept(self, name: str, act: str) -> None:
        """Say that the person of that name left answers that are not kept; `act` once more goes on without them."""
        self.notice.say(UNKEPT.format(name, act, name))

    def _picked(self, name: str) -> None:
        self._ask(next(one for one in self._people() if one.name == name))

    def _ask(self, person: Person) -> None:
        self._chosen = person.name
        self.told.setText(f"{person.name} · {duties_words(person.duties)}")
        self.told.show()
        self.pin.set_person(person.name)
        self._only(self.pin if person.has_pin else self.go_on)
        self.other.show()
        self.first_focus()
        announce(self, f"{self.heading.text()}. {self.told.text()}")

    def _only(self, shown: QWidget) -> None:
        for widget in (self.picker, self.pin, self.go_on, self.other, self.notice):
            widget.setVisible(widget is shown)

    def _enter(self, pin: str) -> None:
        if self._chosen is None:
            self.entered.emit(self.session)
            return
        try:
            session = people.sign_in(self.session, self._chosen, pin)
        except Refusal as refusal:
            self.notice.say(f"{refusal.what} {refusal.why} {refusal.next}")
            if self.pin.isVisible():
                self.pin.say_wrong(refusal.why, refusal.next)
                self.notice.hide()
            return
        self.entered.emit(session)

    def first_focus(self) -> QWidget:
        """Where the keyboard goes."""
        for widget, stop in ((self.picker, self.picker.stop()), (self.pin, self.pin.box), (self.go_on, self.go_on)):
            if not widget.isHidden():
                stop.setFocus(Qt.FocusReason.OtherFocusReason)
                return stop
        return self
