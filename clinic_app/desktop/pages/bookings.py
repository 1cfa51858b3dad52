"""Bookings: what stands, what is to go, and the act of booking."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import date
from functools import partial

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QWidget

from clinic_app.desktop.jobs import Jobs
from clinic_app.desktop.look import Look
from clinic_app.desktop.pages.bookings_moves import BookingsMoves
from clinic_app.desktop.pages.forecast_panel import lower_first
from clinic_app.desktop.pages.form_rules import LEVELS, NEEDED, level_of
from clinic_app.desktop.parts.answer import Given, announce
from clinic_app.desktop.parts.plate import SIDES
from clinic_app.desktop.words import day_words
from clinic_app.domain.record import CaseKey, StageRecord
from clinic_app.domain.states import BOOKED, STOOD_DOWN
from clinic_app.errors import Refusal
from clinic_app.services import bookings
from clinic_app.session import Session
from models.codebook import KEY, Field, Stage

ASKED_FIRST = frozenset({"eye_operated_before", "birth_dates_differ"})
"""Questions between this record and the patient's others that are asked before a new eye is booked."""


class BookingsPage(BookingsMoves):
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
        eye = self.open_eye
        self.foot.book.set_words("Book this eye" if eye is None else "Keep changes")
        self.foot.book.setEnabled(not self.read_only and (eye is None or eye.state == BOOKED))
        self.show_acts()
        hidden = self.form.hidden_answers()
        more = f" {hidden} more answered outside this form (Ctrl+M)." if hidden else ""
        if self.read_only:
            self.foot.say("Read only: nothing can be kept." + more)
        elif eye is not None and eye.state == STOOD_DOWN:
            why = f": {eye.stood_down_for}" if eye.stood_down_for else ""
            self.foot.say(f"Stood down{why}. Its answers are locked; take it back to change them." + more)
        elif eye is not None and eye.state != BOOKED:
            self.foot.say(f"{eye.state}: the booking stays as it was on the day." + more)
        elif eye is not None and not dirty:
            self.foot.say("Booked. A change needs a reason." + more, settled=True)
        elif eye is not None:
            self.foot.say(f"Changed, not yet kept. {self.draft_words}".strip() + more)
        elif not dirty and not self.drafting:
            self.foot.say("Nothing entered yet.")
        else:
            to_go, asking = self.to_go(), [lower_first(label) for label in self.form.troubled()]
            words = "To go: " + ", ".join(to_go) + "." if to_go else "" if asking else "Ready to book."
            words += f" Still asking: {', '.join(asking)}." if asking else ""
            self.foot.say(f"{words.strip()} {self.draft_words}".strip() + more, settled=bool(self.draft_words))

    def _describe(self, field: Field) -> None:
        self.help.describe(field)

    def _form_finished(self) -> None:
        if not self.can_change:
            self.focus_next()
        elif self.plan_sealed or self.plan.answered():
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
            self._book_new()
        elif self.open_eye.state != BOOKED:
            self.say_foot()
        elif self.dirty():
            self.ask(
                "This eye is already booked. Why does the booking change?",
                (("keep", "Keep changes"), ("back", "Go back")),
                lambda code, reason: self._keep(reason) if code == "keep" else self.back_to_form(),
                reason="Reason, in a few words",
            )
        else:
            self.foot.say("Nothing was changed.", settled=True)

    def _book_new(self) -> None:
        """Book a new eye; what may be another eye, or another day of the same one, is asked about first."""
        asked = [one for one in self._findings if one.kind == "ask" and one.rule in ASKED_FIRST]
        if not asked:
            self._keep(None)
            return
        words = " ".join(f"{one.sentence} {one.next}" for one in asked)
        self.ask(
            words,
            (("back", "Go back"), ("book", "Book it all the same")),
            lambda code, _: self._keep(None) if code == "book" else self.back_to_form(),
        )

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
        version = self._version if self.open_eye else None
        hidden = self.open_eye.hidden if self.open_eye else frozenset()
        try:
            kept = bookings.book(self.session, self.record(), key, expect_version=version, reason=reason, hidden=hidden)
        except Refusal as refusal:
            self.notice.say(f"{refusal.what} {refusal.why} {refusal.next}")
            return
        self.notice.say("")
        self.drop_draft()
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
                self.back_to_form()
            elif code == "later":
                if self.keep_draft(put_by=True):
                    self._leave_draft()
                    then()
            elif code == "away":
                self.drop_draft()
                self._leave_draft()
                then()
            else:
                self.book()

        name = self.form.row().get("patient_id") or "This eye"
        keep = "Book this eye" if self.open_eye is None else "Keep changes"
        answers: tuple[tuple[str, str], ...] = (("back", "Go on writing"), ("away", "Throw them away"))
        if not self.read_only:
            answers = (answers[0], ("later", "Put by, unfinished"), answers[1], ("keep", keep))
        self.ask(f"{name} has answers that are not kept.", answers, answered)

    def _leave_draft(self) -> None:
        """The draft in hand is put by or gone; nothing of it is in hand any more."""
        self.drafting, self.draft_number = False, None
        self._settle_away()

    def _settle_away(self) -> None:
        if self.open_eye is not None:
            self.show_eye(self.open_eye, focus=False)
        else:
            self._show_blank()
            self._show_list()

    # --- keys --------------------------------------------------------------------------------------------------------

    def keys(self) -> Mapping[str, Callable[[], object]]:
        """Keys of this page."""
        return {
            "F6": self.toggle_list,
            "F7": partial(self.step, 1),
            "Shift+F7": partial(self.step, -1),
            "Ctrl+U": self.confirm_copied,
            "Ctrl+M": self.next_level,
            "Ctrl+0": self.none_of_the_rest,
            "Ctrl+Return": self.book,
            "Ctrl+Enter": self.book,
            "Ctrl+P": self.print_slip,
            "Ctrl+Z": self.undo,
            "Ctrl+Shift+Z": self.redo,
            "F1": self.help.more,
        }

    def toggle_list(self) -> None:
        """From the list to the form, to the panel at the right, and back to the list."""
        held = self.window().focusWidget()
        from_form = not self.list.hasFocus() and (held is None or not self.panel.isAncestorOf(held))
        if from_form and self.right.isVisible() and (self.mode == "wide" or not self._list_wanted):
            self.panel.reading.setFocus(Qt.FocusReason.TabFocusReason)
            self.reveal(self.panel)
        else:
            super().toggle_list()

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
        if self.open_eye is None and not self.drafting and self.session.hides(BOOKED):
            self.list.setFocus(Qt.FocusReason.OtherFocusReason)
        else:
            self.form.focus_first()
        held = self.window().focusWidget()
        return self if held is None else held
