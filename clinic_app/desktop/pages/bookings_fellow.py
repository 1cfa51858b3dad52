"""The patient's other records beside the eye in hand: what is proposed from them, and what stands between them."""

from __future__ import annotations

from datetime import date

from clinic_app.desktop.jobs import Jobs
from clinic_app.desktop.look import Look
from clinic_app.desktop.pages.bookings_eyes import BookingsEyes
from clinic_app.desktop.pages.form_rules import COPIED
from clinic_app.desktop.parts.button import Button
from clinic_app.desktop.parts.plate import SIDES
from clinic_app.desktop.words import day_words
from clinic_app.domain.checks import check_fellow
from clinic_app.domain.findings import Finding
from clinic_app.domain.record import CaseKey, Row
from clinic_app.errors import Refusal
from clinic_app.services import bookings
from clinic_app.session import Session
from models.codebook import KEY


class BookingsFellow(BookingsEyes):
    """Health answers are copied dashed, measurements never."""

    def __init__(self, session: Session, look: Look, jobs: Jobs) -> None:
        super().__init__(session, look, jobs)
        self._fellow_of: tuple[str, str] | None = None
        self._others_of = ""
        self._others: list[dict[str, object]] = []
        self._same_noted = False

    def forget_fellow(self) -> None:
        self._fellow_of, self._others_of, self._others, self._same_noted = None, "", [], False

    def offer_fellow(self) -> None:
        row = self.form.row()
        pair = (str(row.get("patient_id") or ""), str(row.get("eye") or ""))
        if not all(pair) or pair == self._fellow_of or self.open_eye is not None:
            return
        self._fellow_of = pair
        self._note_same(*pair)
        try:
            other = bookings.fellow(self.session, *pair)
        except Refusal:
            return
        if other is None:
            return
        count = self.form.propose(other, COPIED)
        day, side = other.get("surgery_date"), str(other.get("eye"))
        past = isinstance(day, date) and day <= self.today
        words = f"Fellow eye: {SIDES.get(side, '').lower()}, {'operated' if past else 'booked for'} "
        words += day_words(day, self.today) if isinstance(day, date) else "without a date"
        grade = other.get("edema_grade_central")
        words += f", day-one grade {grade}." if grade is not None else "."
        if count:
            words += " Health answers copied, dashed until you confirm them (Ctrl+U). Measurements were not copied."
        line = self.form.note("eye", words)
        if isinstance(day, date):
            key = CaseKey(pair[0], side, day)
            button = line.add_button(Button(self.look, f"Open {SIDES.get(side, '').lower()} eye", kind="quiet"))
            button.clicked.connect(lambda: self.go_to(key))

    def _note_same(self, patient: str, side: str) -> None:
        """Lead to the booking of this very eye where one waits: it may hold measurements that came by import."""
        waiting = [eye.key for eye in self.eyes if (eye.key.patient_id, eye.key.eye) == (patient, side)]
        self._same_noted = bool(waiting)
        if waiting:
            day = day_words(waiting[0].surgery_date, self.today)
            line = self.form.note("eye", f"This eye is booked for {day}. Another date for it is a postponement.")
            button = line.add_button(Button(self.look, "Open it", kind="quiet", note="Open the booking of this eye"))
            button.clicked.connect(lambda: self.go_to(waiting[0]))

    def says(self, finding: Finding) -> bool:
        return super().says(finding) and not (finding.rule == "eye_operated_before" and self._same_noted)

    def fellow_findings(self, whole: Row) -> list[Finding]:
        patient = str(whole.get("patient_id") or "")
        if patient != self._others_of:
            self._others_of = patient
            self._others = bookings.others_of(self.session, patient) if patient else []
        mine = tuple(whole.get(name) for name in KEY)
        if None in mine[:2]:
            return []
        found = [
            finding
            for other in self._others
            if tuple(other.get(name) for name in KEY) != mine
            for finding in check_fellow(whole, other)
        ]
        return list({(one.rule, one.sentence): one for one in found}.values())
