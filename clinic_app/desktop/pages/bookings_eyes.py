"""The eyes of the bookings page: reading the list, going from one to the next, and what follows each answer."""

from __future__ import annotations

from collections.abc import Callable

from PySide6.QtCore import Qt

from clinic_app.desktop.jobs import Jobs
from clinic_app.desktop.look import Look
from clinic_app.desktop.pages.bookings_frame import BookingsFrame, foot_words
from clinic_app.desktop.pages.bookings_reading import Found, kept_words, read_all
from clinic_app.desktop.pages.bookings_rows import NEW, draft_row, matches, rows_of
from clinic_app.desktop.parts.answer import Given, announce
from clinic_app.domain.checks import check
from clinic_app.domain.derived import complete
from clinic_app.domain.findings import Finding
from clinic_app.domain.people import Duty, duties_words
from clinic_app.domain.plans import PlanState
from clinic_app.domain.record import CaseKey, Row
from clinic_app.domain.seal import Door, Secret, door
from clinic_app.domain.states import BOOKED, STOOD_DOWN, UNFINISHED
from clinic_app.errors import Refusal
from clinic_app.services import bookings, plans
from clinic_app.services.bookings import BookedEye, Figures
from clinic_app.services.drafts import KeptDraft
from clinic_app.session import Session
from models.codebook import KEY
from models.errors import ModelError

OPEN_SEALED = "Open it; my grade of this eye will be Not blind"


class BookingsEyes(BookingsFrame):
    """The list and the eye in hand. `waiting` tells how many eyes are booked and not operated."""

    def __init__(self, session: Session, look: Look, jobs: Jobs) -> None:
        super().__init__(session, look, jobs)
        self.eyes: list[BookedEye] = []
        self.stood_down: list[BookedEye] = []
        self.drafts: list[KeptDraft] = []
        self.open_eye: BookedEye | None = None
        self.drafting = False
        self.draft_number: int | None = None
        self._clean: dict[str, Given] = {}
        self._clean_texts: dict[str, str] = {}
        self._cloudy: dict[str, int] = {}
        self._shown_forecast = False
        self._findings: list[Finding] = []
        self.list.wished.connect(self.go_to)
        self.new_button.clicked.connect(self.begin_new)
        self.form.changed.connect(self._answered)
        self.form.reveal.connect(self.reveal)
        self.plan.changed.connect(self._answered)
        self.foot.confirm.clicked.connect(self.confirm_copied)
        self.rest.clicked.connect(self.none_of_the_rest)
        self.panel.opened.connect(self.open_sealed)
        self.empty_button.clicked.connect(self.begin_new)

    # --- the list ----------------------------------------------------------------------------------------------------

    def load(self) -> None:
        """Read the list on the worker; the page can be used meanwhile."""
        if self.shut_out():
            return
        self.read_list(read_all, self.session)

    def shut_out(self) -> bool:
        """Whether the person acting may not book; the page then says so in place of everything."""
        allowed = self.session.may(Duty.BOOKING, Duty.SURGEON)
        for part in (self.middle, self.right):
            part.setEnabled(allowed)
        if not allowed:
            duties = duties_words(self.session.me.duties)
            self.list_words(
                f"Bookings are open to the duties Booking and Surgeon. Yours: {duties}. People are kept under Practice."
            )
            self.panel.show_words("Booking forecast", "Not open to your duties.")
            self.waiting.emit(0)
        return not allowed

    def show_found(self, found: object) -> None:
        """Show the list."""
        assert isinstance(found, Found)  # noqa: S101 - the worker reads nothing else here
        self.eyes, self.stood_down, self.drafts = list(found.eyes), list(found.stood_down), list(found.drafts)
        self.form.suggest([eye.row for eye in self.eyes])
        self.waiting.emit(len(self.eyes))
        self.list_foot.setText(" ".join([foot_words(self.session.settings), found.changed]).strip())
        self._show_list()
        if self.open_eye is None and not self.drafting and self.eyes:
            if not self.eyes[0].hidden:
                self.show_eye(self.eyes[0], focus=self.isVisible())
            elif self.isVisible():
                self.list.setFocus(Qt.FocusReason.OtherFocusReason)  # whoever also grades chooses what to see
        self.after_reading()

    def after_reading(self) -> None:
        """What follows once the list has been read."""

    def _show_list(self) -> None:
        draft = None
        if self.drafting:
            row = self.form.row()
            draft = draft_row(str(row.get("patient_id") or ""), str(row.get("eye") or ""))
        line = self.session.settings.planning_line
        others = [one for one in self.drafts if one.number != self.draft_number]
        rows = rows_of(
            self.eyes, self.today, line, draft=draft, drafts=others, stood_down=self.stood_down,
            person=self.session.person,
        )  # fmt: skip
        self.list.set_rows(rows)
        if rows:
            self.list_words("")
        else:
            self.list_words("No eyes booked. Press Ctrl+N or import a list.", act="Enter the first eye")
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
            self.back_to_form()
            return
        self.leaving(lambda: self._open(key))

    def _open(self, key: object) -> None:
        if not isinstance(key, CaseKey):
            return
        try:
            eye = bookings.open_eye(self.session, key, unseal=False)
        except Refusal as refusal:
            self.refuse(refusal)
            return
        self.drafting, self.draft_number = False, None
        self.show_eye(eye, focus=True)
        self._show_list()

    def open_sealed(self) -> None:
        """Show the open eye's forecast and plan to somebody who also grades, which is written down."""
        eye = self.open_eye
        if eye is None:
            return

        def show() -> None:
            try:
                seen = bookings.open_eye(self.session, eye.key)
            except Refusal as refusal:
                self.refuse(refusal)
                return
            self.show_eye(seen, focus=True)
            told = seen.forecast is not None and seen.forecast.risk is not None
            after = "your grade of this eye will be Not blind." if told else "no number has been kept for this eye."
            self.foot.say(f"Opened, and written down: {after}" if told else f"Opened: {after}", settled=True)

        self.leaving(show)

    def refuse(self, refusal: Refusal) -> None:
        """Say a refusal in the page."""
        self.notice.say(f"{refusal.what} {refusal.why} {refusal.next}")

    def step(self, by: int) -> None:
        """The next (1) or earlier (-1) eye of the list."""
        key = self.list.neighbour(by)
        if key is not None:
            self.go_to(key)

    def seek(self, text: str) -> bool:
        """Open the first eye whose patient number holds the text."""
        found = matches([*self.eyes, *self.stood_down], text)
        if found:
            self.go_to(found[0])
        return bool(found)

    def begin_new(self) -> None:
        """An empty form for a new eye."""
        if not self.shut_out():
            self.leaving(self._begin_new)

    def _begin_new(self) -> None:
        self.open_eye, self.drafting, self.draft_number = None, True, None
        self._show_blank()
        self._show_list()
        self.form.focus_first()

    def _show_blank(self) -> None:
        self.forget_fellow()
        self.plan.show_row({})
        self.form.show_row({})
        self._show_plan_state()
        self._lock()
        self._settle_clean()
        self._refresh()

    def show_eye(self, eye: BookedEye, *, focus: bool) -> None:
        """Show a booked eye."""
        self.open_eye, self.drafting = eye, False
        self.forget_fellow()
        row = dict(eye.row)
        self.plan.show_row(row)
        self.form.show_row(row)
        self._show_plan_state()
        self._lock()
        self._settle_clean()
        self._refresh()
        self.list.choose(eye.key)
        self.scroll_to_top()
        if focus:
            self.form.focus_first()

    def _show_plan_state(self) -> None:
        eye = self.open_eye
        state = PlanState() if eye is None or self.plan_sealed else plans.plan_state(self.session, eye.key)
        booked = eye is not None and eye.state == BOOKED
        self.plan.setVisible(not self.plan_sealed)
        may_confirm = not self.read_only and not self.plan_sealed and self.session.may(Duty.SURGEON)
        self.plan.show_state(state, booked=booked, may_confirm=may_confirm)

    @property
    def plan_sealed(self) -> bool:
        """Whether the plan of the open eye is hidden from the person acting; it is then not theirs to change."""
        return self.open_eye is not None and Secret.PLAN in self.open_eye.hidden

    def _lock(self) -> None:
        """What names a booked eye is read, not changed; so is everything of an eye whose booking stays as it is."""
        whole = not self.can_change
        for name, answer in {**self.form.answers, **self.plan.answers}.items():
            answer.lock(whole or (self.open_eye is not None and name in KEY))

    # --- answers -----------------------------------------------------------------------------------------------------

    def given(self) -> dict[str, Given]:
        """Every answer of the form, and of the plan where it can be seen."""
        return {**self.form.given(), **self._plan_given()}

    def _plan_given(self) -> dict[str, Given]:
        return {} if self.plan_sealed else self.plan.given()

    def dirty(self) -> bool:
        """Whether something was typed that is not kept and could be."""
        return self.can_change and self._differs()

    @property
    def can_change(self) -> bool:
        """Whether the booking in hand may still be changed."""
        return self.open_eye is None or self.open_eye.state == BOOKED

    def _differs(self) -> bool:
        return self.given() != self._clean or self.form.texts() != self._clean_texts

    def _settle_clean(self) -> None:
        self._clean, self._clean_texts = self.given(), self.form.texts()

    def row(self) -> dict[str, object]:
        """The answers laid flat, the plan included."""
        flat = self.form.row()
        for name, given in self._plan_given().items():
            if given.value is not None:
                flat[name] = given.value
        return flat

    def _answered(self) -> None:
        if self.open_eye is None and not self.drafting:
            self.drafting = True
        self.notice.hide()
        self.offer_fellow()
        self._refresh()
        if self.drafting:
            self._show_list()

    def _refresh(self) -> None:
        row = self.row()
        whole = complete(row, zone=self.session.settings.zone or None)
        self.form.show_derived(whole)
        state = self.open_eye.state if self.open_eye else UNFINISHED
        self.head.show_row(row, state, self._place())
        self._findings = [*check(whole), *self.fellow_findings(whole)]
        self.form.show_findings(one for one in self._findings if self.says(one))
        self._forecast(row)
        self.say_foot()

    def says(self, finding: Finding) -> bool:
        """Whether a finding is said on the form."""
        return not set(finding.fields).isdisjoint(self.form.answers)

    def _place(self) -> str:
        if self.open_eye is None:
            return ""
        day = [eye.key for eye in self.eyes if eye.key.surgery_date == self.open_eye.key.surgery_date]
        return f"{day.index(self.open_eye.key) + 1} of {len(day)}" if self.open_eye.key in day else ""

    def _forecast(self, row: dict[str, object]) -> None:
        if self.open_eye is None and not self.drafting and not row:
            self.panel.show_nothing()
            return
        if self.open_eye is not None and self._shows_kept(self.open_eye):
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

    def _shows_kept(self, eye: BookedEye) -> bool:
        """Show, of an eye that has been operated or is sealed, what was forecast then and nothing new."""
        if Secret.BOOKING_FORECAST in eye.hidden:
            self.panel.show_sealed(*self._seal_words(eye))
            return True
        if eye.state in (BOOKED, STOOD_DOWN):
            return False
        self.panel.show_words("Forecast of the booking", kept_words(eye, self.today))
        return True

    def _seal_words(self, eye: BookedEye) -> tuple[str, str]:
        """Which duty seals the eye and until when, and the words of the button that opens it, if one may."""
        words = (
            "Your duty Day one seals the forecast and the plan of this eye until its grade is locked, so that the "
            "grade cannot lean on them."
        )
        if door(eye.state, self.session.me.duties, Secret.BOOKING_FORECAST) is not Door.LOGGED:
            return words, ""
        if self.read_only:
            return f"{words} The practice is open for reading only, where an opening cannot be written down.", ""
        return words, OPEN_SEALED

    def _cloudy_behind(self, model_id: str) -> int:
        if model_id not in self._cloudy:
            self._cloudy[model_id] = self.session.card(model_id).cloudy
        return self._cloudy[model_id]

    def confirm_copied(self) -> None:
        """Make the dashed answers this person's own."""
        if self.form.confirm():
            self.form.go_on(self.form.hand or None)
        else:
            self.tell("Nothing copied waits to be confirmed.")

    def none_of_the_rest(self) -> None:
        """Answer what is open in the section in hand with No or None; where that does nothing, say so."""
        if not self.form.none_of_the_rest():
            self.tell("Nothing open in this section can be answered with No or None.")

    def tell(self, words: str) -> None:
        """Say at the foot what came of a key."""
        self.foot.say(words)
        announce(self, words)

    def focus_next(self) -> None:
        """Put the keyboard on the next sensible place: the form's first open answer, else the list or the panel."""
        answer = self.form.next_open() if self.can_change else None
        if answer is not None:
            self.form.focus(answer)
        elif self.left.isVisible() and not self.list.isHidden():
            self.list.setFocus(Qt.FocusReason.OtherFocusReason)
        else:
            self.panel.reading.setFocus(Qt.FocusReason.OtherFocusReason)

    def forget_fellow(self) -> None:
        """Another eye is shown."""
        raise NotImplementedError

    def offer_fellow(self) -> None:
        """Propose what is known from the fellow eye."""
        raise NotImplementedError

    def fellow_findings(self, whole: Row) -> list[Finding]:
        """What stands between this eye and the patient's other records."""
        raise NotImplementedError

    def leaving(self, then: Callable[[], None]) -> None:
        """Do `then` at once, or after the person said what becomes of unkept answers."""
        raise NotImplementedError

    def say_foot(self) -> None:
        """Say what stands and what is to go."""
        raise NotImplementedError
