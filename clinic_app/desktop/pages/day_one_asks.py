"""Acts of day one that ask for something first: not seen, the action, a pressure read again, corrections, printing."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from datetime import datetime, time

from PySide6.QtCore import Qt

from clinic_app.desktop.jobs import Jobs
from clinic_app.desktop.look import Look
from clinic_app.desktop.pages.act_panel import ActPanel
from clinic_app.desktop.pages.day_one_eyes import DayOneEyes
from clinic_app.desktop.pages.day_one_panels import ACTION_FIELDS, AGAIN, EXPECTED_AT, KNOWN_ON, not_seen_reasons
from clinic_app.desktop.pages.printing import Printed, Printing
from clinic_app.desktop.papers.day_one_list import blank_sheet, day_one_list
from clinic_app.domain.answers import Missing
from clinic_app.domain.day_one import KEPT_FIELDS, MISSED, NOT_PLANNED, with_findings
from clinic_app.domain.halts import Halt
from clinic_app.domain.record import CaseKey, Value
from clinic_app.errors import Refusal
from clinic_app.services import day_one
from clinic_app.session import Session
from models.codebook import BY_NAME, Field

Typed = Mapping[str, Value | None]
CARRIES = "It carries no forecast and no plan."


class DayOneAsks(DayOneEyes):
    """Each question stands in the page above the foot; Esc goes back and nothing typed is lost."""

    def __init__(self, session: Session, look: Look, jobs: Jobs) -> None:
        super().__init__(session, look, jobs)
        self.printing = Printing(
            look, session.settings, self.today, stand=self.show_question, close=self.leave_question, tell=self.tell
        )

    def ask_for(
        self,
        sentence: str,
        answers: Sequence[tuple[str, str]],
        fields: Sequence[Field],
        act: Callable[[str, Typed], str],
    ) -> ActPanel:
        """Ask in the page, then act; a refusal is said in the question, which stays with what was typed."""
        panel = ActPanel(
            self.look, self.session.settings, self.today, sentence, tuple(answers), tuple(fields), reason=False
        )

        def answered(code: str, typed: Typed) -> None:
            try:
                done = act(code, typed)
            except Refusal as refusal:
                panel.say(f"{refusal.what} {refusal.why} {refusal.next}")
                return
            if self.question is panel:
                self.close_question()
            if done:
                self.tell(done)

        panel.answered.connect(answered)
        panel.left.connect(self.leave_question)
        self.show_question(panel)
        panel.begin()
        return panel

    def leave_question(self) -> None:
        """Put the question away and the keyboard back."""
        self.close_question()
        if self.asking is not None:
            self.asking.begin()
        elif self.eye is not None:
            self.back_to_form()

    def act(self, done: Callable[[CaseKey], object], say: Callable[[str], None]) -> None:
        """Act on the eye in hand, then read the list anew; a refusal is said where it was asked."""
        if self.eye is None:
            return
        try:
            done(self.eye.key)
        except Refusal as refusal:
            say(f"{refusal.what} {refusal.why} {refusal.next}")
            return
        self.drop_draft()
        self.to_idle()
        self.tell("Kept. It is no grade; the eye can still be graded.")
        self.load()

    def may_keep(self) -> bool:
        """Whether anything can be kept; says so when not."""
        if self.read_only:
            self.tell("The practice is open for reading only. Nothing was kept.")
        return not self.read_only and self.eye is not None

    # --- not seen ----------------------------------------------------------------------------------------------------

    def ask_not_seen(self) -> None:
        """Why the eye has no grade, and since when that is known."""
        if not self.may_keep() or self.eye is None:
            return
        reasons = not_seen_reasons(planned=self.session.settings.day_one_for_all)
        words = f"Why was {self.eye.key.patient_id} not seen? It will never count as clear."
        panel = self.ask_for(words, reasons, (KNOWN_ON,), self._not_seen)
        panel.propose(KNOWN_ON.name, self.today.isoformat())
        panel.entries[KNOWN_ON.name].box.setMinimumWidth(self.look.px(200))
        next(iter(panel.choices.values())).setFocus(Qt.FocusReason.TabFocusReason)

    def _not_seen(self, code: str, typed: Typed) -> str:
        eye = self.eye
        if eye is None:
            return ""
        if code == "remote_only":
            self.ask_remote()
            return ""
        if code == NOT_PLANNED:
            day_one.not_planned(self.session, [eye.key])
        else:
            day_one.not_seen(self.session, eye.key, code, typed[KNOWN_ON.name])  # type: ignore[arg-type]
        self.drop_draft()
        label = BY_NAME["visit_status"].choice_label(code).lower()
        words = f"Recorded as not seen: {label}. It will not count as clear."
        if code == MISSED:
            words += " It stays on the list until the patient is reached (F9)."
        self.to_idle()
        self.tell(words)
        self.load()
        return ""

    def ask_remote(self) -> None:
        """Ask from afar."""
        raise NotImplementedError

    # --- halts -------------------------------------------------------------------------------------------------------

    def halts_to_note(self) -> str | tuple[Halt, ...]:
        """What an action is to be noted for: the eye's halts, each id once, that it did not attend, or that of its
        list."""
        eye = self.eye
        if eye is None:
            return ()
        halts = list(self.open_actions)
        listed = self.listed(eye.key)
        if listed is not None and not self.sheet_shown:
            if listed.missed:
                return MISSED
            halts += listed.to_note
        if not halts and self.found is not None:
            halts = [halt for day, halt in self.found.clusters if day == eye.key.surgery_date]
        return tuple({halt.code: halt for halt in reversed(halts)}.values())

    def ask_action(self) -> None:
        """Note what was done: who was reached, what was decided, when it is checked again."""
        if not self.may_keep():
            return
        to_note = self.halts_to_note()
        if not to_note:
            self.tell("There is no action to note for this eye.")
            return

        def kept(_: str, typed: Typed) -> str:
            if self.eye is None:
                return ""
            reached, decided, again = (str(typed[field.name]) for field in ACTION_FIELDS)
            day_one.note_action(self.session, self.eye.key, to_note, reached, decided, again)
            self._after_note()
            return f"Noted. Checked again: {again}."

        self.ask_for("What was done about it?", (("keep", "Note it"),), ACTION_FIELDS, kept)

    def ask_time(self) -> None:
        """When the eye is expected today."""
        if not self.may_keep() or self.eye is None:
            return

        def kept(_: str, typed: Typed) -> str:
            value = typed[EXPECTED_AT.name]
            if self.eye is None or not isinstance(value, time):
                return ""
            day_one.appoint(self.session, self.eye.key, datetime.combine(self.today, value))
            self.load()
            return f"Expected at {value:%H:%M}."

        self.ask_for(f"When is {self.eye.key.patient_id} expected?", (("keep", "Keep it"),), (EXPECTED_AT,), kept)

    def ask_again(self) -> None:
        """Write down a pressure read again; the first reading stays the one that is kept for the model."""
        if not self.may_keep() or self.form is not self.sheet:
            return
        method = self.sheet.answers["iop_pod1_method"].given.value

        def kept(_: str, typed: Typed) -> str:
            value = typed[AGAIN.name]
            if self.eye is not None and isinstance(value, float):
                day_one.read_again(self.session, self.eye.key, value, method if isinstance(method, str) else None)
                self._after_note()
            return ""

        self.ask_for("The pressure read again, with the same method:", (("keep", "Keep it"),), (AGAIN,), kept)

    def _after_note(self) -> None:
        """Read the events of the eye anew; the sheet keeps its answers."""
        eye = self.eye
        if eye is None:
            return
        fresh = day_one.open_eye(self.session, eye.key)
        self.eye = day_one.began_at(fresh, eye.began)
        self._refresh()
        self.load()
        if self.asking is not None:
            self.to_idle()

    # --- after the lock ----------------------------------------------------------------------------------------------

    def begin_correction(self) -> None:
        """Open a locked sheet for corrections."""
        if self.may_keep() and self.locked:
            self.sheet.lock(False)
            self.say_foot()
            self.sheet.focus(next(iter(self.sheet.answers.values())))

    def ask_correction(self) -> None:
        """Keep the answers that were changed, with one reason."""
        if self.eye is None:
            return
        changed = self._changed()
        if not changed:
            self.show_locked(say=False)
            return
        labels = ", ".join(BY_NAME[name].label.lower() for name in changed)
        self.ask(
            f"Changed after opening: {labels}. The first values stay and count. Why?",
            (("keep", "Keep corrections"), ("back", "Go back")),
            lambda code, reason: self._correct(changed, reason) if code == "keep" else self.back_to_form(),
            reason="Reason, in a few words",
        )

    def _changed(self) -> dict[str, Value | Missing]:
        """Answers of the sheet that differ from those locked; an emptied one counts as not recorded."""
        if self.eye is None:
            return {}
        before, now = with_findings(dict(self.eye.answers)), with_findings(self.sheet.sheet_row())
        found: dict[str, Value | Missing] = {}
        for name in KEPT_FIELDS:
            value, missing = now.get(name), now.get(f"{name}_missing")
            if value != before.get(name) or missing != before.get(f"{name}_missing"):
                found[name] = Missing(str(missing or "not_recorded")) if value is None else value  # type: ignore[assignment]
        return found

    def _correct(self, changed: Mapping[str, Value | Missing], reason: str) -> None:
        eye = self.eye
        if eye is None:
            return
        try:
            day_one.correct(self.session, eye.key, changed, reason=reason)
        except Refusal as refusal:
            self.tell(f"{refusal.what} {refusal.why} {refusal.next}")
            return
        self.eye = day_one.open_eye(self.session, eye.key)
        self.show_locked(say=False)
        self.tell("Corrected. The first values stay and count.")
        self.load()

    def ask_anyway(self) -> None:
        """Show the forecast before the grade, with a reason; the grade is then marked Not blind."""
        if not self.may_keep():
            return
        self.ask(
            "Whoever sees the forecast may still grade; the grade is marked Not blind. Why is it shown?",
            (("show", "Show it"), ("back", "Go back")),
            lambda code, reason: self._anyway(reason) if code == "show" else self.back_to_form(),
            reason="Reason, in a few words",
        )

    def _anyway(self, reason: str) -> None:
        eye = self.eye
        if eye is None:
            return
        try:
            shown = day_one.show_anyway(self.session, eye.key, reason)
        except Refusal as refusal:
            self.tell(f"{refusal.what} {refusal.why} {refusal.next}")
            return
        self._after_note()
        self.opened.show_anyway(shown)
        self.sealed.hide()
        self.opened.show()
        self.right_scroll.fit()
        self.back_to_form()

    # --- papers ------------------------------------------------------------------------------------------------------

    def ask_print(self) -> None:
        """Print the list or a blank sheet, or save one of them as a PDF."""
        if self.found is None or self.question is not None:
            return
        answers = (("list", "The list"), ("blank", "A blank sheet"), ("back", "Go back"))
        self.ask("What is to be printed?", answers, self._print)

    def _print(self, code: str, _: str) -> None:
        found = self.found
        if code == "blank":
            self.printing.ask(Printed("a blank sheet", "day-one-sheet.pdf", CARRIES, lambda: blank_sheet(self.session)))
        elif code == "list" and found is not None:
            name = f"day-one-list-{self.today:%Y-%m-%d}.pdf"
            self.printing.ask(Printed("the day-one list", name, CARRIES, lambda: day_one_list(self.session, found)))
        else:
            self.leave_question()
