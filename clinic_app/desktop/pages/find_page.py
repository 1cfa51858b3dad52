"""Find: the eyes of the patients whose number holds what was typed, wherever they stand."""

from __future__ import annotations

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QVBoxLayout, QWidget

from clinic_app.desktop.jobs import Jobs, sentences
from clinic_app.desktop.look import STRONG, Look
from clinic_app.desktop.pages.page import Page
from clinic_app.desktop.parts.answer import announce
from clinic_app.desktop.parts.eye_list import EyeList, ListRow
from clinic_app.desktop.parts.frame import Card
from clinic_app.desktop.parts.label import Words
from clinic_app.desktop.parts.lines import Question
from clinic_app.desktop.parts.plate import SIDES
from clinic_app.desktop.words import day_words, eyes_words
from clinic_app.domain.record import CaseKey
from clinic_app.errors import Refusal
from clinic_app.services.finding import Finding, FoundEye, find_eyes
from clinic_app.session import Session

WHERE = {"bookings": "Open its booking", "theatre": "Open its theatre sheet", "day_one": "Open it on Day one"}
"""The answer that opens an eye on each page."""
ASK = "Type a patient number, or a part of one, into Find above and press Enter."


class FindPage(Page):
    """What was found; one eye alone is opened at once. Which page is asked where several have something of the eye."""

    def __init__(self, session: Session, look: Look, jobs: Jobs) -> None:
        super().__init__()
        self.session, self.look, self.jobs = session, look, jobs
        self.today = session.today()
        self._found: dict[CaseKey, FoundEye] = {}
        column = QVBoxLayout(self)
        column.setContentsMargins(look.px(11), look.px(11), look.px(11), look.px(11))
        card = Card(look, margins=(1, 14, 1, 8), spacing=6)
        self.heading = Words(look, "Find an eye", size=18, weight=STRONG, wrap=True)
        self.told = Words(look, ASK, colour="soft", wrap=True)
        for words in (self.heading, self.told):
            words.setContentsMargins(look.px(15), 0, look.px(11), 0)
            card.column.addWidget(words)
        self.slot = QVBoxLayout()
        self.slot.setContentsMargins(look.px(15), 0, look.px(11), 0)
        card.column.addLayout(self.slot)
        self.list = EyeList(look, "Eyes found")
        self.list.wished.connect(self._open)
        card.column.addWidget(self.list, 1)
        self.question: Question | None = None
        column.addWidget(card)

    def seek(self, text: str) -> bool:
        """List what the text finds; whether there was any. The keyboard goes to the first eye found."""
        try:
            finding = find_eyes(self.session, text)
        except Refusal as refusal:
            self._show(Finding((), 0), "Nothing could be looked for.", " ".join(sentences(refusal)))
            return False
        wanted = text.strip()
        if not wanted:
            self._show(finding, "Find an eye", ASK)
        elif not finding.eyes:
            self._show(finding, f"No patient number holds {wanted!r}", "Look at the number again, or try part of it.")
        else:
            more = f" {eyes_words(finding.more)} more: type more of the number." if finding.more else ""
            self._show(finding, f"{eyes_words(len(finding.eyes))} found for {wanted!r}", f"Enter opens one.{more}")
            if len(finding.eyes) == 1 and not finding.more:
                self._open(finding.eyes[0].key)
        return bool(finding.eyes)

    def _show(self, finding: Finding, heading: str, told: str) -> None:
        self._close_question()
        self._found = {one.key: one for one in finding.eyes}
        self.heading.setText(heading)
        self.told.setText(told)
        self.list.set_rows([self._row(one) for one in finding.eyes])
        self.list.setVisible(bool(finding.eyes))
        announce(self, f"{heading}. {told}")
        self.first_focus()

    def _row(self, one: FoundEye) -> ListRow:
        key = one.key
        born = f"born {day_words(one.birth_date)}" if one.birth_date else "birth date not recorded"
        day = f"surgery {day_words(key.surgery_date, self.today)}"
        words = [key.patient_id, f"{SIDES[key.eye]} eye", one.state, day, born]
        return ListRow(key, key.patient_id, one.state, key.eye, f"{day} · {born}", spoken=", ".join(words))

    def _open(self, key: CaseKey) -> None:
        pages = self._found[key].pages
        if len(pages) == 1:
            self._close_question()
            self.wished.emit(pages[0], key)
        else:
            self._ask_where(key, pages)

    def _ask_where(self, key: CaseKey, pages: tuple[str, ...]) -> None:
        self._close_question()
        answers = (*((page, WHERE[page]) for page in pages), ("back", "Go back"))
        self.question = Question(
            self.look, f"{key.patient_id}, {SIDES[key.eye].lower()} eye: where is it to be opened?", answers
        )
        self.question.answered.connect(lambda code, _: self._answered(code, key))
        self.slot.addWidget(self.question)
        self.question.begin()

    def _answered(self, code: str, key: CaseKey) -> None:
        self._close_question()
        if code == "back":
            self.list.setFocus(Qt.FocusReason.OtherFocusReason)
        else:
            self.wished.emit(code, key)

    def _close_question(self) -> None:
        if self.question is not None:
            self.question.hide()
            self.slot.removeWidget(self.question)
            self.question.deleteLater()
            self.question = None

    def first_focus(self) -> QWidget:
        """What is asked, else the first eye found, if any."""
        if self.question is not None:
            self.question.begin()
            return self.question
        if self.list.rows.rows:
            self.list.setCurrentIndex(self.list.rows.index(0, 0))
            self.list.setFocus(Qt.FocusReason.OtherFocusReason)
            return self.list
        return self
