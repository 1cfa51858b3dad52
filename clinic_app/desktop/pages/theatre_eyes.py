"""The theatre list, and the question before a sheet: whose birthday, then which eye."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QVBoxLayout, QWidget

from clinic_app.desktop.jobs import Jobs
from clinic_app.desktop.look import Look
from clinic_app.desktop.pages.stage_frame import plain
from clinic_app.desktop.pages.theatre_frame import IDLE, TheatreFrame
from clinic_app.desktop.pages.theatre_rows import rows_of
from clinic_app.desktop.parts.eye_question import THEATRE, Expected, EyeQuestion
from clinic_app.desktop.parts.frame import Scroll
from clinic_app.domain.people import Duty
from clinic_app.domain.record import CaseKey, Row
from clinic_app.errors import Refusal
from clinic_app.services import theatre
from clinic_app.services.theatre import Sheet, TheatreEye
from clinic_app.session import Session
from models.codebook import Kind, Role, Stage, fields_of
from models.errors import ModelError

SURGEON_OR_SCRIBE = "Theatre is for surgeons and their scribes. Your duties can be seen under Practice, People."


class TheatreEyes(TheatreFrame):
    """The list and the eye that is asked about. `waiting` tells how many eyes of the list are not signed."""

    def __init__(self, session: Session, look: Look, jobs: Jobs) -> None:
        super().__init__(session, look, jobs)
        self.eyes: list[TheatreEye] = []
        self.sheet: Sheet | None = None
        self.asking: CaseKey | None = None
        self.asked_panel: QWidget | None = None
        self._asked_in: Scroll | None = None
        self.list.wished.connect(self.go_to)

    # --- the list ----------------------------------------------------------------------------------------------------

    def load(self) -> None:
        """Read the list on the worker; the page can be used meanwhile."""
        if not self.session.may(Duty.SURGEON, Duty.SCRIBE):
            self.list_words(SURGEON_OR_SCRIBE)
            self.idle_words.setText(SURGEON_OR_SCRIBE)
            self.waiting.emit(0)
            return
        self.read_list(theatre.list_eyes, self.session)

    def show_found(self, found: list[TheatreEye]) -> None:  # type: ignore[override]
        """Show the list."""
        self.eyes = list(found)
        self.waiting.emit(sum(not eye.signed_by for eye in self.eyes))
        self.suggest()
        self.show_list()

    def suggest(self) -> None:
        """Offer names that stand on other sheets."""
        machines = [one.name for one in self.sheet.machines] if self.sheet is not None else []
        held = [eye.draft.body for eye in self.eyes if eye.draft is not None]
        names = [
            one.name for one in fields_of(Stage.THEATRE) if one.kind is Kind.IDENTIFIER and one.role is Role.CONTEXT
        ]
        rows: list[Row] = [{"surgeon_id": eye.row.get("booked_surgeon_id")} for eye in self.eyes]
        rows += [{"phaco_machine_id": name} for name in machines]
        for body in held:
            answers = body.get("answers")
            told = answers if isinstance(answers, dict) else {}
            rows.append({name: told[name].get("value") for name in names if isinstance(told.get(name), dict)})
        self.form.suggest(rows)

    def show_list(self) -> None:
        """Write the list anew."""
        shown = self.sheet.key if self.sheet is not None else None
        self.list.set_rows(rows_of(self.eyes, self.today, shown=shown, asking=self.asking))
        self.list_words("" if self.eyes else "No list today. Booked eyes appear on their date.")
        self.list.choose(self.asking or shown)
        ready = [eye for eye in self.eyes if eye.ready and eye.key != shown]
        self.sign_all.setVisible(len(ready) > 0 and self.session.may(Duty.SURGEON) and not self.read_only)
        self.sign_all.set_words(f"Sign {len(ready)} ready {'sheet' if len(ready) == 1 else 'sheets'}")

    def eye(self, key: CaseKey) -> TheatreEye | None:
        """The eye of that key on the list."""
        return next((eye for eye in self.eyes if eye.key == key), None)

    # --- which eye ---------------------------------------------------------------------------------------------------

    def go_to(self, key: object) -> None:
        """Ask for birthday and eye of a row, then open its sheet."""
        here = self.asking or (self.sheet.key if self.sheet is not None else None)
        self.list.choose(here)
        if isinstance(key, CaseKey) and key != here:
            self.leaving(lambda: self.ask_eye(key))

    def step(self, by: int) -> None:
        """The next (1) or earlier (-1) eye of the list."""
        key = self.list.neighbour(by)
        if key is not None:
            self.go_to(key)

    def seek(self, text: str) -> bool:
        """Go to the first eye whose patient number holds the text."""
        wanted = text.strip().lower()
        found = next((eye.key for eye in self.eyes if wanted and wanted in eye.key.patient_id.lower()), None)
        if found is not None:
            self.go_to(found)
        return found is not None

    def ask_eye(self, key: CaseKey) -> None:
        """Ask whose birthday and which eye; nothing of the row is shown until both fit."""
        try:
            eye = self.eye(key) or theatre.find_eye(self.session, key)
        except Refusal as refusal:
            self.say_refusal(refusal)
            return
        if eye is None:
            return
        self.put_away()
        born = eye.row.get("birth_date")
        question = EyeQuestion(
            self.look,
            Expected(
                key.eye, born if isinstance(born, date) else None, key.patient_id, self.session.settings.date_order,
                eye.fellow is not None,
            ),
            where=THEATRE,
        )  # fmt: skip
        question.opened.connect(lambda side: self.open_with(lambda: theatre.open_sheet(self.session, key, side)))
        question.wrong.connect(lambda pressed: self._note_wrong(key, pressed))
        question.back.connect(self.go_back)
        question.other_row.connect(lambda: self._other_row(eye))
        self.asking = key
        self.in_the_middle(question)
        self.show_list()
        question.begin()

    def in_the_middle(self, widget: QWidget) -> None:
        """Show only this in the middle; it scrolls where it is longer than the page."""
        self.clear_middle()
        self.asked_panel = widget
        ground = plain()
        column = QVBoxLayout(ground)
        column.setContentsMargins(0, 0, 0, 0)
        column.addWidget(widget)
        column.addStretch(1)
        self._asked_in = Scroll(self.look, ground)
        self.stand("asking")
        self.middle_column.insertWidget(0, self._asked_in, 1)
        self.scrollers.append(self._asked_in)
        self._asked_in.set_open(self.mode == "narrow")
        self._asked_in.show()

    def clear_middle(self) -> None:
        """Take away what was asked in the middle."""
        self.asked_panel = None
        if self._asked_in is not None:
            self.scrollers.remove(self._asked_in)
            self._asked_in.hide()
            self.middle_column.removeWidget(self._asked_in)
            self._asked_in.deleteLater()
            self._asked_in = None

    def _note_wrong(self, key: CaseKey, pressed: str) -> None:
        try:
            theatre.note_wrong(self.session, key, pressed)
        except Refusal as refusal:
            self.say_refusal(refusal)

    def _other_row(self, eye: TheatreEye) -> None:
        self.go_back()
        if eye.fellow is not None:
            self.ask_eye(eye.fellow)

    def go_back(self) -> None:
        """Close what is open and go to the list, which is read anew."""
        self.put_away()
        self.idle_words.setText(IDLE)
        self.stand("idle")
        self.show_list()
        self.list.setFocus(Qt.FocusReason.TabFocusReason)
        self.load()

    # --- for the sheet -----------------------------------------------------------------------------------------------

    def open_with(self, read: Callable[[], Sheet]) -> None:
        """Open the sheet that `read` gives."""
        raise NotImplementedError

    def put_away(self) -> None:
        """Close what is open; nothing is asked."""
        self.close_question()
        self.clear_middle()
        self.asking = None

    def say_refusal(self, refusal: Refusal | ModelError) -> None:
        """Say what, why and what next where the page speaks."""
        words = f"{refusal.what} {refusal.why} {refusal.next}"
        if self.idle.isHidden():
            self.notice.say(words)
        else:
            self.idle_words.setText(words)
