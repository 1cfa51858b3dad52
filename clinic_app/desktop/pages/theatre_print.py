"""Printing the theatre list from its page."""

from __future__ import annotations

from PySide6.QtWidgets import QWidget

from clinic_app.desktop.jobs import Jobs
from clinic_app.desktop.look import Look
from clinic_app.desktop.pages.printing import Printed, Printing
from clinic_app.desktop.pages.theatre_sheet import TheatreSheet
from clinic_app.desktop.papers.theatre_list import theatre_list
from clinic_app.desktop.parts.answer import announce
from clinic_app.session import Session

CARRIES = "It carries the planned steps, never a chance."


class TheatrePrint(TheatreSheet):
    """Asks where the list goes; the question stands above the foot of an open sheet, else in the middle."""

    def __init__(self, session: Session, look: Look, jobs: Jobs) -> None:
        super().__init__(session, look, jobs)
        self.printing = Printing(
            look, session.settings, self.today, stand=self._stand_question, close=self._close_print, tell=self._tell
        )

    def ask_print(self) -> None:
        """Print the list, or save it as a PDF."""
        if self.question is None and self.eyes:
            name = f"theatre-list-{self.today:%Y-%m-%d}.pdf"
            what = Printed("the theatre list", name, CARRIES, lambda: theatre_list(self.session, self.eyes))
            self.printing.ask(what)

    def _tell(self, words: str) -> None:
        if self.sheet is not None:
            self.notice.say(words)
        else:
            self.idle_words.setText(words)
            announce(self, words)

    def _stand_question(self, question: QWidget) -> None:
        if self.sheet is not None:
            self.show_question(question)
        else:
            self.asking = None
            self.in_the_middle(question)
            self.show_list()

    def _close_print(self) -> None:
        if self.sheet is not None:
            self.close_question()
            self.back_to_form()
        else:
            self.go_back()
