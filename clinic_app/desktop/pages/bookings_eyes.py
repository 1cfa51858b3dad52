"""The eyes of the bookings page: reading the list, going from one to the next, and what follows each answer."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date

from PySide6.QtCore import QTimer

from clinic_app.desktop.jobs import Job, Jobs, details, sentences
from clinic_app.desktop.look import Look
from clinic_app.desktop.pages.bookings_frame import BookingsFrame
from clinic_app.desktop.pages.bookings_rows import NEW, draft_row, matches, rows_of
from clinic_app.desktop.pages.form_rules import COPIED
from clinic_app.desktop.parts.answer import Given
from clinic_app.desktop.parts.plate import SIDES
from clinic_app.desktop.words import day_words
from clinic_app.domain.checks import check
from clinic_app.domain.derived import complete
from clinic_app.domain.findings import Finding
from clinic_app.domain.record import CaseKey
from clinic_app.errors import Refusal
from clinic_app.services import bookings
from clinic_app.services.bookings import BookedEye, Figures
from clinic_app.session import Session
from models.codebook import KEY
from models.errors import ModelError

READING_AFTER = 300
SLOW_AFTER = 5000


class BookingsEyes(BookingsFrame):
    """The list and the eye in hand. `waiting` tells how many eyes are booked and not operated."""

    def __init__(self, session: Session, look: Look, jobs: Jobs) -> None:
        super().__init__(session, look)
        self.jobs = jobs
        self.eyes: list[BookedEye] = []
        self.open_eye: BookedEye | None = None
        self.drafting = False
        self._clean: dict[str, Given] = {}
        self._cloudy: dict[str, int] = {}
        self._fellow_of: tuple[str, str] | None = None
        self._shown_forecast = False
        self._findings: list[Finding] = []
        self._job: Job | None = None
        self._slow = QTimer(self, singleShot=True, interval=READING_AFTER)
        self._slow.timeout.connect(self._say_reading)
        self.list.wished.connect(self.go_to)
        self.new_button.clicked.connect(self.begin_new)
        self.form.changed.connect(self._answered)
        self.form.reveal.connect(self.reveal)
        self.plan.changed.connect(self._answered)
        self.foot.confirm.clicked.connect(self.confirm_copied)
        self.rest.clicked.connect(self.form.none_of_the_rest)
        self.empty_button.clicked.connect(self.begin_new)
        self.retry.clicked.connect(self.load)

    @property
    def read_only(self) -> bool:
        """Whether nothing can be kept."""
        return bool(getattr(self.session.store, "read_only", False))

    # --- the list ----------------------------------------------------------------------------------------------------

    def load(self) -> None:
        """Read the list on the worker; the page can be used meanwhile."""
        if self._job is not None:
            self._job.leave()
        self.retry.hide()
        self._slow.setInterval(READING_AFTER)
        self._slow.start()
        self._job = self.jobs.start(bookings.list_eyes, self.session)
        self._job.done.connect(self._loaded)
        self._job.failed.connect(self._not_loaded)

    def _say_reading(self) -> None:
        if self._slow.interval() == READING_AFTER:
            self.list_words("Reading the list…")
            self._slow.setInterval(SLOW_AFTER - READING_AFTER)
            self._slow.start()
        else:
            self.list_words("Still reading. Practice database slow?")
            self.retry.show()

    def _loaded(self, eyes: list[BookedEye]) -> None:
        self._slow.stop()
        self.retry.hide()
        self.eyes = list(eyes)
        self.form.suggest([eye.row for eye in self.eyes])
        self.waiting.emit(len(self.eyes))
        self._show_list()
        if self.open_eye is None and not self.drafting and self.eyes:
            self.show_eye(self.eyes[0], focus=self.isVisible())

    def _not_loaded(self, fault: BaseException) -> None:
        self._slow.stop()
        self.retry.show()
        self.list_words(" ".join(sentences(fault)), details(fault))

    def _show_list(self) -> None:
        draft = None
        if self.drafting:
            row = self.form.row()
            draft = draft_row(str(row.get("patient_id") or ""), str(row.get("eye") or ""))
        line = self.session.settings.planning_line
        self.list.set_rows(rows_of(self.eyes, self.today, line, draft=draft))
        self.list_words("" if self.eyes or draft else "No eyes booked. Press Ctrl+N or import a list.")
        self.list.choose(self.shown_key())

    def shown_key(self) -> CaseKey | str | None:
        """The eye that is open: its key, or that it is new."""
        if self.open_eye is not None:
            return self.open_eye.key
        return NEW if self.drafting else None

    # --- going from eye to eye ---------------------------------------------------------------------------------------

    def go_to(self, key: object) -> None:
        """Open an eye of the list; unkept answers are asked about first."""
        self.list.choose(self.shown_key())
        if key == self.shown_key():
            return
        self.leaving(lambda: self._open(key))

    def _open(self, key: object) -> None:
        if not isinstance(key, CaseKey):
            return
        try:
            eye = bookings.open_eye(self.session, key)
        except Refusal as refusal:
            self.notice.say(f"{refusal.what} {refusal.why} {refusal.next}")
            return
        self.drafting = False
        self.show_eye(eye, focus=True)
        self._show_list()

    def step(self, by: int) -> None:
        """The next (1) or earlier (-1) eye of the list."""
        key = self.list.neighbour(by)
        if key is not None:
            self.go_to(key)

    def seek(self, text: str) -> bool:
        """Open the first eye whose patient number holds the text."""
        found = matches(self.eyes, text)
        if found:
            self.go_to(found[0])
        return bool(found)

    def begin_new(self) -> None:
        """An empty form for a new eye."""
        self.leaving(self._begin_new)

    def _begin_new(self) -> None:
        self.open_eye, self.drafting = None, True
        self._show_blank()
        self._show_list()
        self.form.focus_first()

    def _show_blank(self) -> None:
        self._fellow_of = None
        self.form.show_row({})
        self.plan.show_row({})
        self._lock_key(False)
        self._settle_clean()
        self._refresh()

    def show_eye(self, eye: BookedEye, *, focus: bool) -> None:
        """Show a booked eye."""
        self.open_eye, self.drafting = eye, False
        self._fellow_of = None
        row = dict(eye.row)
        self.form.show_row(row)
        self.plan.show_row(row)
        self._lock_key(True)
        self._settle_clean()
        self._refresh()
        self.list.choose(eye.key)
        self.scroll_to_top()
        if focus:
            self.form.focus_first()

    def _lock_key(self, locked: bool) -> None:
        for name in KEY:
            self.form.answers[name].lock(locked)

    # --- answers -----------------------------------------------------------------------------------------------------

    def given(self) -> dict[str, Given]:
        """Every answer of the form and the plan."""
        return {**self.form.given(), **self.plan.given()}

    def dirty(self) -> bool:
        """Whether something was typed that is not kept."""
        return self.given() != self._clean or bool(self.form.troubled())

    def _settle_clean(self) -> None:
        self._clean = self.given()

    def row(self) -> dict[str, object]:
        """The answers laid flat, the plan included."""
        flat = self.form.row()
        for name, given in self.plan.given().items():
            if given.value is not None:
                flat[name] = given.value
        return flat

    def _answered(self) -> None:
        if self.open_eye is None and not self.drafting:
            self.drafting = True
        self.notice.hide()
        self._offer_fellow()
        self._refresh()
        if self.drafting:
            self._show_list()

    def _refresh(self) -> None:
        row = self.row()
        whole = complete(row, zone=self.session.settings.zone or None)
        self.form.show_derived(whole)
        state = self.open_eye.state if self.open_eye else "Unfinished"
        self.head.show_row(row, state, self._place())
        self._findings = check(whole)
        self.form.show_findings(one for one in self._findings if set(one.fields) & set(self.form.answers))
        self._forecast(row)
        self.say_foot()

    def _place(self) -> str:
        if self.open_eye is None:
            return ""
        day = [eye.key for eye in self.eyes if eye.key.surgery_date == self.open_eye.key.surgery_date]
        return f"{day.index(self.open_eye.key) + 1} of {len(day)}" if self.open_eye.key in day else ""

    def _forecast(self, row: dict[str, object]) -> None:
        if self.open_eye is None and not self.drafting and not row:
            self.panel.show_nothing()
            return
        self.panel.work()
        try:
            state = bookings.forecast_for(self.session, row)
            cloudy = self._cloudy_behind(state.model_id) if isinstance(state, Figures) else 0
        except (Refusal, ModelError) as refusal:
            self.panel.show_refusal(refusal)
            return
        self._shown_forecast = isinstance(state, Figures)
        self.panel.show_state(state, cloudy)

    def _cloudy_behind(self, model_id: str) -> int:
        if model_id not in self._cloudy:
            self._cloudy[model_id] = self.session.card(model_id).cloudy
        return self._cloudy[model_id]

    def _offer_fellow(self) -> None:
        row = self.form.row()
        pair = (str(row.get("patient_id") or ""), str(row.get("eye") or ""))
        if not all(pair) or pair == self._fellow_of or self.open_eye is not None:
            return
        self._fellow_of = pair
        try:
            other = bookings.fellow(self.session, *pair)
        except Refusal:
            return
        if other is None:
            return
        count = self.form.propose(other, COPIED)
        day = other.get("surgery_date")
        past = isinstance(day, date) and day <= self.today
        words = f"Fellow eye: {SIDES.get(str(other.get('eye')), '').lower()}, {'operated' if past else 'booked for'} "
        words += day_words(day, self.today) if isinstance(day, date) else "without a date"
        grade = other.get("edema_grade_central")
        words += f", day-one grade {grade}." if grade is not None else "."
        if count:
            words += " Health answers copied, dashed until you confirm them (Ctrl+U). Measurements were not copied."
        self.form.note("eye", words)

    def confirm_copied(self) -> None:
        """Make the dashed answers this person's own."""
        if self.form.confirm():
            self.form.go_on(self.form.hand or None)

    def leaving(self, then: Callable[[], None]) -> None:
        """Do `then` at once, or after the person said what becomes of unkept answers."""
        raise NotImplementedError

    def say_foot(self) -> None:
        """Say what stands and what is to go."""
        raise NotImplementedError
