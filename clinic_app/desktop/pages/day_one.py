"""Day one: the lock that opens the forecast, and every other act of the page."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import partial

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QWidget

from clinic_app.desktop.jobs import Jobs
from clinic_app.desktop.look import Look
from clinic_app.desktop.pages.day_one_asks import DayOneAsks
from clinic_app.desktop.pages.day_one_panels import remote_panel
from clinic_app.desktop.pages.help import CHOSEN, help_words
from clinic_app.desktop.parts.entry import EntryAnswer
from clinic_app.desktop.parts.plate import SIDES
from clinic_app.desktop.words import day_words
from clinic_app.domain.halts import about
from clinic_app.domain.states import GRADED
from clinic_app.errors import Refusal
from clinic_app.services import clearing, day_one
from clinic_app.session import Session
from models.codebook import CENTRE_GRADE, Field


class DayOnePage(DayOneAsks):
    """The page whole."""

    def __init__(self, session: Session, look: Look, jobs: Jobs) -> None:
        super().__init__(session, look, jobs)
        self.foot.book.clicked.connect(self.main_act)
        self.not_seen.clicked.connect(self.ask_not_seen)
        self.absent_not_seen.clicked.connect(self.ask_not_seen)
        self.absent_time.clicked.connect(self.ask_time)
        self.absent_note.clicked.connect(self.ask_action)
        self.correct.clicked.connect(self.begin_correction)
        self.more.clicked.connect(self.toggle_more)
        self.print_list.clicked.connect(self.ask_print)
        self.sealed.wished.connect(self.ask_anyway)
        self.halts.chosen.connect(lambda code: self.ask_action() if code == "action" else self.ask_again())
        for form in (self.sheet, self.visit):
            form.entered.connect(self._describe)
            form.finished.connect(lambda: self.foot.book.setFocus(Qt.FocusReason.TabFocusReason))
        self.say_foot()

    # --- what stands -------------------------------------------------------------------------------------------------

    def say_foot(self) -> None:
        eye, visit = self.eye, self.form is self.visit
        open_ = eye is not None and self.asking is None
        locked, graded = self.locked, eye is not None and eye.state == GRADED
        correcting = graded and not visit and not locked
        self.not_seen.setVisible(open_ and not graded and not visit and not self.read_only)
        self.correct.setVisible(open_ and locked and not self.read_only)
        self.more.setVisible(open_ and not visit)
        self.more.set_words("Less" if self.sheet.more else "More")
        self._main_words(locked=locked, visit=visit, correcting=correcting)
        if not open_:
            return
        words = f" To go: the action for {about(self.open_actions)}." if self.open_actions else ""
        if self.read_only:
            self.foot.say("Read only: nothing can be kept." + words)
        elif locked:
            self.foot.say("Locked." + words, settled=not words)
        elif correcting:
            self.foot.say("Correcting: the first value stays, and a reason is asked." + words)
        elif visit:
            self.foot.say(("Not kept yet." if self.visit.given() else "Nothing entered yet.") + words)
        elif self.sheet.answers[CENTRE_GRADE].given.stands:
            kept = "Draft kept. " if self.draft_no is not None else ""
            self.foot.say(f"{kept}Ready to lock.{words}", settled=self.draft_no is not None)
        else:
            self.foot.say(f"To go: the centre's grade.{words}")

    def _main_words(self, *, locked: bool, visit: bool, correcting: bool) -> None:
        button = self.foot.book
        if locked:
            words, hint = "Next eye", "F7"
        elif visit:
            words, hint = "Keep the visit", "Ctrl+Enter"
        elif correcting:
            words, hint = "Keep corrections", "Ctrl+Enter"
        else:
            words, hint = "Lock the grade", "Ctrl+Enter"
        button.hint = hint
        button.set_words(words)
        button.updateGeometry()
        button.setEnabled(locked or not self.read_only)

    def _describe(self, field: Field) -> None:
        self.help.describe(field)
        if help_words(field).endswith(CHOSEN):
            self.help.say(field.label, help_words(field).replace("not done", "not possible"))

    # --- the lock ----------------------------------------------------------------------------------------------------

    def main_act(self) -> None:
        """Lock, keep or go on, as the eye in hand needs it."""
        self._take_hand()
        if self.eye is None or self.asking is not None:
            return
        if self.locked:
            self.step(1)
        elif self.read_only:
            self.tell("The practice is open for reading only. Nothing was kept; your answers stay on the page.")
        elif self.form.troubled():
            troubled = self.form.troubled()
            self._stop_at(f"Not kept: {', '.join(troubled)} still asks for an answer.", troubled[0])
        elif self.form is self.visit:
            self._keep_visit()
        elif self.eye.state == GRADED:
            self.ask_correction()
        else:
            self._ask_lock()

    def _take_hand(self) -> None:
        """Read what is typed in the field in hand."""
        answer = self.form.answers.get(self.form.hand)
        if isinstance(answer, EntryAnswer):
            answer.take()

    def _stop_at(self, words: str, label: str) -> None:
        self.tell(words)
        self.form.focus(next(one for one in self.form.answers.values() if one.field.label == label))

    def _ask_lock(self) -> None:
        given = self.sheet.answers[CENTRE_GRADE].given
        if not given.stands:
            self._stop_at("Not locked. To go: the centre's grade.", self.sheet.answers[CENTRE_GRADE].field.label)
            return
        side = SIDES[self.side].upper()
        grade = f"centre grade {given.value}" if given.value is not None else "the centre could not be graded"
        open_ = self.sheet.open_labels()
        rest = f" Not answered: {', '.join(open_)}." if open_ else ""
        if self.state is not None and self.state.off_time:
            rest += f" {self.state.hours}: outside 12–36 h, kept and not used to judge the forecast."
        self.ask(f"{side} EYE, {grade}. Lock?{rest}", (("lock", "Lock"), ("back", "Go back")), self._lock)

    def _lock(self, code: str, _: str) -> None:
        eye = self.eye
        if eye is None or code != "lock":
            self.back_to_form()
            return
        answers = self.sheet.sheet_row()
        seen = answers.get("exam_at", eye.began)
        try:
            found = day_one.lock(
                self.session, eye.key, answers, side=self.side, typed=self.sheet.typed(),
                seen_at=seen,  # type: ignore[arg-type]
                same_device=self.sheet.same_device(), expect_version=eye.version,
            )  # fmt: skip
        except Refusal as refusal:
            self.refuse(refusal)
            self.back_to_form()
            return
        self.drop_draft()
        self.eye = day_one.open_eye(self.session, eye.key)
        if found is None:
            self.to_idle()
            self.tell("Kept: the centre could not be graded, so there is no grade. The eye can still be graded.")
        else:
            self.show_locked(say=True)
            self.tell(f"Grade locked at {found.locked_at:%H:%M}.")
            self.foot.book.setFocus(Qt.FocusReason.OtherFocusReason)
        self.load()

    def _keep_visit(self) -> None:
        eye = self.eye
        if eye is None:
            return
        try:
            found = clearing.keep_visit(
                self.session, eye.key, self.visit.visit_row(), side=self.side, same_day=self.same_day,
                at=eye.began, next_on=self.visit.next_on(), drops=self.visit.drops(),
            )  # fmt: skip
        except Refusal as refusal:
            self.refuse(refusal)
            return
        words = "Visit kept."
        if found is not None and found.clear_on is not None:
            words = f"Visit kept. Clear: {found.days_to_clear} days after surgery."
        elif found is not None and found.next_on is not None:
            words = f"Visit kept. Next check {day_words(found.next_on, self.today)}."
        self.to_idle()
        self.tell(words)
        self.load()

    # --- leaving, keys -----------------------------------------------------------------------------------------------

    def leaving(self, then: Callable[[], None]) -> None:
        """Do `then` at once, or after the person said what becomes of unkept answers; a sheet is kept as a draft."""
        self._take_hand()
        sheet = self.form is self.sheet and self.eye is not None and self.eye.state != GRADED
        if sheet and not self.read_only:
            self.keep_draft()
        if not self.dirty():
            self.close_question()
            then()
            return

        def answered(code: str, _: str) -> None:
            if code == "away":
                self.to_idle()
                then()
            else:
                self.back_to_form()

        answers = (("back", "Go on writing"), ("away", "Throw them away"))
        self.ask("There are answers that are not kept.", answers, answered)

    def refuse(self, refusal: Refusal) -> None:
        """Say why an act was refused; nothing typed is lost."""
        self.tell(f"{refusal.what} {refusal.why} {refusal.next}")

    def toggle_more(self) -> None:
        """Show what is rarely asked, or fold it away."""
        self.sheet.set_more(not self.sheet.more)
        self.fit_form()
        self.say_foot()

    def undo(self) -> None:
        """Take back the last answer of the sheet."""
        if self.eye is not None and self.asking is None and not self.locked and (words := self.form.undo()):
            self.foot.say(words)

    def redo(self) -> None:
        """Give the answer again that was taken back."""
        if self.eye is not None and self.asking is None and not self.locked and (words := self.form.redo()):
            self.foot.say(words)

    def keys(self) -> Mapping[str, Callable[[], object]]:
        """Keys of this page."""
        return {
            "F6": self.toggle_list,
            "F7": partial(self.step, 1),
            "Shift+F7": partial(self.step, -1),
            "F9": self.ask_action,
            "F1": self.help.more,
            "Ctrl+M": self.toggle_more,
            "Ctrl+Return": self.main_act,
            "Ctrl+Enter": self.main_act,
            "Ctrl+Z": self.undo,
            "Ctrl+Shift+Z": self.redo,
            "Ctrl+P": self.ask_print,
        }

    def first_focus(self) -> QWidget:
        """Where the keyboard goes when the page opens: the question, the first open answer, or the list."""
        if self.asking is not None:
            self.asking.begin()
        elif self.eye is None:
            self.list.setFocus(Qt.FocusReason.TabFocusReason)
        elif self.locked:
            self.foot.book.setFocus(Qt.FocusReason.TabFocusReason)
        else:
            self.form.focus_first()
        held = self.window().focusWidget()
        return self if held is None else held

    def cover_after(self) -> int | None:
        """An examination takes its time between two answers."""
        return 10

    def ask_remote(self) -> None:
        """Ask from afar: pain, vision, nausea, redness, discharge."""
        panel = remote_panel(self.look)
        panel.left.connect(self.leave_question)
        panel.kept.connect(lambda row: self.act(lambda key: day_one.remote(self.session, key, row), panel.say))
        self.show_question(panel)
        panel.begin()
