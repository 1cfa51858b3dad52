"""Bookings: what stands, what is to go, and the act of booking."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QWidget

from clinic_app.desktop.jobs import Jobs
from clinic_app.desktop.look import Look
from clinic_app.desktop.pages.bookings_eyes import BookingsEyes
from clinic_app.desktop.pages.form_rules import LEVELS, NEEDED, level_of
from clinic_app.desktop.parts.answer import Given, announce
from clinic_app.desktop.parts.lines import Question
from clinic_app.desktop.parts.plate import SIDES
from clinic_app.desktop.words import day_words
from clinic_app.domain.record import CaseKey, StageRecord
from clinic_app.errors import Refusal
from clinic_app.services import bookings
from clinic_app.session import Session
from models.codebook import KEY, Field, Stage


class BookingsPage(BookingsEyes):
    """The page whole."""

    def __init__(self, session: Session, look: Look, jobs: Jobs) -> None:
        super().__init__(session, look, jobs)
        self.foot.book.clicked.connect(self.book)
        self.levels.changed.connect(lambda: self.set_level(str(self.levels.given.value)))
        self.form.finished.connect(self._form_finished)
        self.form.entered.connect(self._describe)
        self.plan.entered.connect(self._describe)
        self.panel.wished.connect(self.go_to_answer)
        self.plan.finished.connect(lambda: self.foot.book.setFocus(Qt.FocusReason.TabFocusReason))
        self.set_level("short")
        self._show_blank()
        if self.read_only:
            self.notice.say("The practice is open for reading only. Answers can be tried here; booking waits.")

    # --- what stands -------------------------------------------------------------------------------------------------

    def to_go(self) -> list[str]:
        """Labels of what must be answered before the eye can be booked."""
        answers = self.form.answers
        return [answers[name].field.label.lower() for name in NEEDED if answers[name].given.value is None]

    def say_foot(self) -> None:
        proposed, dirty = self.form.proposed(), self.dirty()
        self.foot.confirm.setVisible(bool(proposed))
        self.foot.confirm.set_words(f"Confirm copied, {len(proposed)}")
        self.foot.book.set_words("Book this eye" if self.open_eye is None else "Keep changes")
        self.foot.book.setEnabled(not self.read_only)
        hidden = self.form.hidden_answers()
        more = f" {hidden} more answered outside this form (Ctrl+M)." if hidden else ""
        if self.read_only:
            self.foot.say("Read only: nothing can be kept." + more)
        elif self.open_eye is not None and not dirty:
            self.foot.say("Booked. A change needs a reason." + more, settled=True)
        elif self.open_eye is not None:
            self.foot.say("Changed, not yet kept." + more)
        elif not dirty:
            self.foot.say("Nothing entered yet.")
        else:
            to_go = self.to_go()
            self.foot.say(("To go: " + ", ".join(to_go) + "." if to_go else "Ready to book.") + more)

    def _describe(self, field: Field) -> None:
        self.help.describe(field)

    def _form_finished(self) -> None:
        if self.plan.answered():
            self.foot.book.setFocus(Qt.FocusReason.TabFocusReason)
        else:
            self.reveal(self.plan)
            self.plan.focus_first()

    # --- acts --------------------------------------------------------------------------------------------------------

    def book(self) -> None:
        """Book the eye, or keep its changes with a reason; what stands in the way is said and gone to."""
        self._take_hand()
        if self.read_only:
            self.notice.say("The practice is open for reading only. Nothing was kept; your answers stay on the page.")
            return
        troubled = self.form.troubled()
        if troubled:
            self._stop_at(f"Not booked: {', '.join(troubled)} still asks for an answer.", troubled[0])
            return
        if missing := [name for name in NEEDED if self.form.answers[name].given.value is None]:
            label = self.form.answers[missing[0]].field.label
            self._stop_at(f"Not booked. To go: {', '.join(self.to_go())}.", label)
            return
        refused = [one for one in self._findings if one.kind == "refuse"]
        if refused:
            self.notice.say(f"Not booked. {refused[0].sentence} {refused[0].next}")
            return
        if self.open_eye is None:
            if any(eye.key == self._key() for eye in self.eyes):
                self.notice.say("Not booked: this eye is already on the list for that day. Open it there to change it.")
                return
            self._keep(None)
        elif self.dirty():
            self._ask(
                "This eye is already booked. Why does the booking change?",
                (("keep", "Keep changes"), ("back", "Go back")),
                lambda code, reason: self._keep(reason) if code == "keep" else self._go_back(),
                reason="Reason, in a few words",
            )
        else:
            self.foot.say("Nothing was changed.", settled=True)

    def _take_hand(self) -> None:
        answer = self.form.answers.get(self.form.hand)
        take = getattr(answer, "take", None)
        if take is not None:
            take()

    def _stop_at(self, words: str, label: str) -> None:
        self.notice.say(words)
        answer = next(one for one in self.form.answers.values() if one.field.label == label)
        self.form.focus(answer)

    def _key(self) -> CaseKey:
        row = self.form.row()
        day = row["surgery_date"]
        assert isinstance(day, date)  # noqa: S101 - the form gives days
        return CaseKey(str(row["patient_id"]), str(row["eye"]), day)

    def record(self) -> StageRecord:
        """The booking as it stands on the page."""
        given = {name: one for name, one in self.given().items() if name not in KEY}
        values = {name: one.value for name, one in given.items() if one.value is not None}
        values["risk_shown_before_surgery"] = self._shown_forecast
        typed = {name: one.typed for name, one in given.items() if one.typed}
        missing = {name: one.missing for name, one in given.items() if one.missing}
        return StageRecord(Stage.BOOKING, values, missing, typed)

    def _keep(self, reason: str | None) -> None:
        key = self._key()
        version = self.open_eye.version if self.open_eye else None
        try:
            kept = bookings.book(self.session, self.record(), key, expect_version=version, reason=reason)
        except Refusal as refusal:
            self.notice.say(f"{refusal.what} {refusal.why} {refusal.next}")
            return
        self.notice.say("")
        others = [eye for eye in self.eyes if eye.key != key]
        self.eyes = sorted([*others, kept], key=lambda eye: (eye.key.surgery_date, eye.key.patient_id, eye.key.eye))
        self.waiting.emit(len(self.eyes))
        self.show_eye(kept, focus=False)
        self._show_list()
        words = f"Booked: {SIDES[key.eye].lower()} eye of {key.patient_id}, {day_words(key.surgery_date, self.today)}."
        self.foot.say(words if reason is None else "Changes kept.", settled=True)
        announce(self, self.foot.words.text())
        self.foot.book.setFocus(Qt.FocusReason.OtherFocusReason)

    def leaving(self, then: Callable[[], None]) -> None:
        """Do `then` at once, or after the person said what becomes of unkept answers."""
        self._take_hand()
        if not self.dirty():
            self.close_question()
            then()
            return

        def answered(code: str, _: str) -> None:
            if code == "back":
                self._go_back()
            elif code == "away":
                self.drafting = False
                self._settle_away()
                then()
            else:
                self.book()

        name = self.form.row().get("patient_id") or "This eye"
        answers = (("back", "Go on writing"), ("away", "Throw them away"), ("keep", "Keep them"))
        self._ask(f"{name} has answers that are not kept.", answers, answered)

    def _settle_away(self) -> None:
        if self.open_eye is not None:
            self.show_eye(self.open_eye, focus=False)
        else:
            self._show_blank()
            self._show_list()

    def _ask(
        self, words: str, answers: tuple[tuple[str, str], ...], act: Callable[[str, str], None], *, reason: str = ""
    ) -> None:
        question = Question(self.look, words, answers, reason=reason)

        def answered(code: str, given: str) -> None:
            self.close_question()
            act(code, given)

        question.answered.connect(answered)
        self.show_question(question)

    def _go_back(self) -> None:
        answer = self.form.answers.get(self.form.hand)
        if answer is not None and not answer.isHidden():
            self.form.focus(answer)

    # --- keys --------------------------------------------------------------------------------------------------------

    def set_level(self, level: str) -> None:
        """How much of the form is shown."""
        self.form.set_level(level)
        self.levels.show_given(Given(level))
        self.fit_form()
        self.say_foot()

    def next_level(self) -> None:
        """One step more of the form, then the short one again; the field in hand stays in hand where it can."""
        self.set_level(LEVELS[(LEVELS.index(self.form.level) + 1) % len(LEVELS)])
        hand = self.form.answers.get(self.form.hand)
        if hand is None or hand.isHidden():
            self.form.focus_first()

    def go_to_answer(self, name: str) -> None:
        """Put the keyboard on an answer, showing as much of the form as it takes."""
        answer = self.form.answers[name]
        if answer.isHidden():
            self.set_level(level_of(answer.field))
        self.form.focus(answer)

    def first_focus(self) -> QWidget:
        """Where the keyboard goes when the page opens: its first open answer."""
        self.form.focus_first()
        held = self.window().focusWidget()
        return self if held is None else held
