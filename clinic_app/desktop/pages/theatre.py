"""Theatre: signing a sheet or all that are ready, opening a signed one again, and the keys of the page."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from functools import partial

from PySide6.QtCore import Qt, QTimer
from PySide6.QtWidgets import QWidget

from clinic_app.desktop.jobs import Jobs
from clinic_app.desktop.look import Look
from clinic_app.desktop.pages.theatre_parts import SignPanel
from clinic_app.desktop.pages.theatre_print import TheatrePrint
from clinic_app.desktop.parts.answer import announce
from clinic_app.desktop.parts.entry import EntryAnswer
from clinic_app.desktop.parts.plate import SIDES
from clinic_app.domain.people import Duty
from clinic_app.domain.record import CaseKey, StageRecord
from clinic_app.domain.seal import Secret
from clinic_app.domain.states import OPERATED
from clinic_app.domain.theatre import EVENT_FIELDS, MINUTES, sign_lines, stops
from clinic_app.domain.theatre_draft import SheetDraft, draft_of
from clinic_app.domain.words import counted
from clinic_app.errors import Refusal
from clinic_app.services import theatre
from clinic_app.services.theatre import Reopening, Sheet
from clinic_app.session import Session
from models.codebook import Stage
from models.errors import ModelError

COVER_AFTER = 120_000
"""Milliseconds after a signature until plan and forecast are covered."""


class TheatrePage(TheatrePrint):
    """The page whole."""

    def __init__(self, session: Session, look: Look, jobs: Jobs) -> None:
        super().__init__(session, look, jobs)
        self._as_signed = SheetDraft(StageRecord(Stage.THEATRE, {}))
        self._cover = QTimer(self, singleShot=True, interval=COVER_AFTER)
        self._cover.timeout.connect(lambda: self.panels.set_covered(True))
        self.panels.uncovered.connect(self._uncover)
        self.form.finished.connect(self._finished)
        self.as_usual.clicked.connect(self.confirm_usual)
        self.more.clicked.connect(self.toggle_more)
        self.foot.book.clicked.connect(self.sign)
        self.reopen.clicked.connect(self.open_again)
        self.away.clicked.connect(self.ask_throw_away)
        self.print_list.clicked.connect(self.ask_print)
        self.sign_all.clicked.connect(self.sign_ready)
        self.say_foot()

    # --- what stands -------------------------------------------------------------------------------------------------

    def say_foot(self) -> None:
        sheet, proposed = self.sheet, len(self.form.proposed())
        operator = "" if sheet is None else str(sheet.row.get("booked_surgeon_id") or "")
        self.dashed.setText(f"dashed = usual for {operator or 'this operator'}, not yet confirmed" if proposed else "")
        self.as_usual.setVisible(proposed > 0 and self.editing)
        self.as_usual.set_words(f"As usual, {proposed}")
        self.more.set_words("Less" if self.form.whole else "More")
        self.reopen.setVisible(False)
        self.away.setVisible(sheet is not None and not sheet.signed and self.editing and not self.draft().empty)
        self.foot.book.setVisible(sheet is not None and self.editing)
        if sheet is None:
            return
        if sheet.signed:
            self._say_signed(sheet)
            return
        self.foot.book.set_words("Sign sheet")
        self.foot.book.setVisible(self.editing and self.session.may(Duty.SURGEON))
        go = (["confirm the dashed answers"] if proposed else []) + self.to_go()
        words = f"To go: {', '.join(go)}." if go else "Ready to sign."
        if not self.session.may(Duty.SURGEON) and not go:
            words = "Ready for the surgeon to sign."
        if self.read_only:
            words = "Read only: nothing can be kept."
        self.foot.say(self._saved + words, settled=bool(self._saved))

    def _say_signed(self, sheet: Sheet) -> None:
        at = f" {sheet.signed_at:%H:%M}" if sheet.signed_at is not None else ""
        if self.editing:
            self.foot.book.set_words("Keep changes")
            self.foot.say("Opened again; not yet kept.")
            return
        self.foot.say(f"Signed{at} by {sheet.signed_by}.", settled=True)
        sealed = Secret.READINGS in sheet.hidden
        if not self.read_only and not sealed and sheet.reopening is not Reopening.NEVER:
            self.reopen.set_words("Open again" if sheet.reopening is Reopening.GRACE else "Correct…")
            self.reopen.setVisible(True)

    def _finished(self) -> None:
        """Enter found nothing open: the dashed answers, then the signature."""
        stop = self.as_usual if self.as_usual.isVisible() else self.foot.book
        stop.setFocus(Qt.FocusReason.TabFocusReason)

    def confirm_usual(self) -> None:
        """Make the dashed answers this case's own."""
        if self.editing and self.form.confirm():
            self.form.go_on(self.form.hand or None)

    def toggle_more(self) -> None:
        """Show what is folded, or fold it again."""
        self.form.set_whole(not self.form.whole)
        self.fit_form()
        self.say_foot()

    def undo(self) -> None:
        """Take back the last answer."""
        self._say_act(self.form.undo() if self.editing else "")

    def redo(self) -> None:
        """Give again the answer that was taken back."""
        self._say_act(self.form.redo() if self.editing else "")

    def _say_act(self, words: str) -> None:
        if words:
            self.foot.say(f"{words} {self.foot.words.text()}")
            announce(self, words)

    # --- signing -----------------------------------------------------------------------------------------------------

    def sign(self) -> None:
        """Ask for the signature with plate and three lines; what stands in the way is said and gone to."""
        sheet = self.sheet
        if sheet is None or self.question is not None or not self.editing:
            return
        self._take_hand()
        if sheet.signed:
            self._ask_correction(sheet)
            return
        self.keep_draft()
        if self.read_only or not self.session.may(Duty.SURGEON):
            self.notice.say("A surgeon signs the sheet. Your draft is kept.")
            return
        if troubled := self.form.troubled():
            self._stop_at(f"Not signed: {', '.join(troubled)} still asks for an answer.", self._named(troubled[0]))
            return
        if go := self.to_go():
            self._stop_at(f"Not signed. To go: {', '.join(go)}.", self._first_open())
            return
        if found := stops(self.draft().record.row()):
            self._stop_at(f"Not signed. {found[0].sentence} {found[0].next}", found[0].fields[0])
            return
        self._ask_signature(sheet)

    def _ask_signature(self, sheet: Sheet) -> None:
        row = self.row()
        left = len(self.form.proposed())
        note = (
            f"{counted(left, 'dashed answer is', 'dashed answers are')} not confirmed and will not be kept."
            if left
            else ""
        )
        eye = (sheet.key.patient_id, sheet.key.eye, sign_lines(row))
        panel = SignPanel(self.look, f"{SIDES[sheet.key.eye].upper()} EYE. Sign this sheet?", (eye,), note=note)
        panel.answered.connect(lambda yes: self._sign(sheet) if yes else self._not_now())
        self.show_question(panel)
        panel.begin()

    def _not_now(self) -> None:
        self.close_question()
        self.back_to_form()

    def _sign(self, sheet: Sheet) -> None:
        self.close_question()
        try:
            version = theatre.sign(self.session, sheet.key, self.draft())
        except (Refusal, ModelError) as refusal:
            self.say_refusal(refusal)
            return
        now = theatre.local(self.session, self.session.clock())
        self._settle(
            replace(
                sheet, version=version, state=OPERATED, signed_by=self.session.person, signed_at=now,
                reopening=Reopening.GRACE, row=self.row(),
            )
        )  # fmt: skip

    def _settle(self, sheet: Sheet) -> None:
        """Show the signed sheet, locked, and read the list anew."""
        self.sheet = sheet
        self._draft_no, self._saved = None, ""
        self.form.propose_values({})
        self.set_editing(False)
        self.separate.hide()
        self.panels.plan.confirm.hide()
        self.follow()
        words = f"Signed: {SIDES[sheet.key.eye].lower()} eye of {sheet.key.patient_id}. F7 goes to the next eye."
        self.foot.say(words, settled=True)
        announce(self, words)
        self.list.setFocus(Qt.FocusReason.OtherFocusReason)
        self._cover_soon()
        self.load()

    def put_away(self) -> None:
        """Close what is open; no cover falls on what is opened next."""
        super().put_away()
        self._cover.stop()

    def _cover_soon(self) -> None:
        if self.sheet is not None and self.sheet.signed and not self.editing:
            self._cover.start()

    def _uncover(self) -> None:
        self.panels.set_covered(False)
        self._cover_soon()

    def _take_hand(self) -> None:
        answer = self.form.answers.get(self.form.hand)
        if isinstance(answer, EntryAnswer):
            answer.take()

    def _stop_at(self, words: str, name: str) -> None:
        self.notice.say(words)
        answer = self.form.answers.get(name)
        if answer is not None and not answer.isHidden():
            self.form.focus(answer)
        elif name == "separate":
            self.separate.stop().setFocus(Qt.FocusReason.TabFocusReason)

    def _named(self, label: str) -> str:
        return next(name for name, one in self.form.answers.items() if one.field.label == label)

    def _first_open(self) -> str:
        row = self.draft().record.row()
        if self.form.answers[MINUTES].given.value is None and f"{MINUTES}_missing" not in row:
            return MINUTES
        if self.sheet is not None and self.sheet.first is not None and not self.draft().separate:
            return "separate"
        if self.form.answers["happened"].given.value is None:
            return "happened"
        return next((name for name in EVENT_FIELDS if not self.form.answers[name].given.stands), "")

    # --- the whole list ----------------------------------------------------------------------------------------------

    def sign_ready(self) -> None:
        """Ask once for the signatures of all sheets that can be signed as they stand."""
        self.leaving(self._ask_ready)

    def _ask_ready(self) -> None:
        self.put_away()
        try:
            self.eyes = theatre.list_eyes(self.session)  # as it stands now: the sheet in hand was kept a moment ago
        except Refusal as refusal:
            self._back_with(refusal)
            return
        ready = [(eye.key, draft_of(eye.draft.body)) for eye in self.eyes if eye.ready and eye.draft is not None]
        if not ready:
            self.go_back()
            return
        eyes = [(key.patient_id, key.eye, sign_lines(draft.record.row())) for key, draft in ready]
        title = f"Sign {counted(len(ready), 'sheet', 'sheets')}? Read each line first."
        panel = SignPanel(self.look, title, eyes, act=f"Sign {len(ready)}")
        panel.answered.connect(lambda yes: self._sign_ready(ready) if yes else self.go_back())
        self.in_the_middle(panel)
        self.show_list()
        panel.begin()

    def _back_with(self, refusal: Refusal | ModelError) -> None:
        self.go_back()
        self.say_refusal(refusal)

    def _sign_ready(self, sheets: list[tuple[CaseKey, SheetDraft]]) -> None:
        try:
            done = theatre.sign_list(self.session, sheets)
        except (Refusal, ModelError) as refusal:
            self._back_with(refusal)
            return
        self.go_back()
        words = [f"{counted(len(done.signed), 'sheet', 'sheets')} signed."]
        words += [f"{key.patient_id} {SIDES[key.eye].lower()} was left: {why}" for key, why in done.left]
        self.idle_words.setText(" ".join(words))
        announce(self, self.idle_words.text())

    # --- a signed sheet ----------------------------------------------------------------------------------------------

    def open_again(self) -> None:
        """Make a signed sheet ready to be changed."""
        sheet = self.sheet
        if sheet is None or not sheet.signed or sheet.reopening is Reopening.NEVER:
            return
        self.form.show_signed(sheet.row)
        self._as_signed = self.draft()
        self.set_editing(True)
        self._cover.stop()
        self.panels.set_covered(False)
        self.say_foot()
        self.form.focus(self.form.answers["ovd_strategy"])

    def _ask_correction(self, sheet: Sheet) -> None:
        if troubled := self.form.troubled():
            self._stop_at(f"Not kept: {', '.join(troubled)} still asks for an answer.", self._named(troubled[0]))
        elif theatre.reopening(self.session, sheet.key) is Reopening.GRACE:
            self._correct(sheet, "")
        else:
            words = "This sheet is signed. Why is it corrected? The earlier answers stay in its history."
            answers = (("keep", "Correct"), ("back", "Go back"))
            self.ask(
                words, answers, lambda code, why: self._correct(sheet, why) if code == "keep" else None, reason="Reason"
            )

    def _correct(self, sheet: Sheet, reason: str) -> None:
        try:
            version = theatre.correct(
                self.session, sheet.key, self.draft(), expect_version=sheet.version, reason=reason
            )
        except (Refusal, ModelError) as refusal:
            self.say_refusal(refusal)
            return
        self._settle(replace(sheet, version=version, row=self.row()))

    def changed(self) -> bool:
        """Whether a signed sheet that was opened again says something else now."""
        signed = self.sheet is not None and self.sheet.signed
        return signed and self.editing and self.draft() != self._as_signed

    def cover_after(self) -> int | None:
        """An open sheet keeps plate and plan until it is signed; a signed one is covered soon."""
        if self.sheet is None:
            return super().cover_after()
        return None if self.editing else COVER_AFTER // 60_000

    def dirty(self) -> bool:
        """Whether there are answers that are not kept: a correction in hand; drafts always are."""
        return self.changed()

    def leaving(self, then: Callable[[], None]) -> None:
        """Keep the draft and do `then`; a correction in hand is asked about first."""
        self._take_hand()
        self.keep_draft()
        if not self.dirty():
            self.close_question()
            then()
            return

        def answered(code: str, _: str) -> None:
            if code == "away":
                self._as_it_was_signed()
                then()

        words = "The correction of this sheet is not kept."
        self.ask(words, (("back", "Go on writing"), ("away", "Throw it away")), answered)

    def _as_it_was_signed(self) -> None:
        """Show the signed sheet again, without the correction."""
        self.set_editing(False)
        if self.sheet is not None:
            self.form.show_signed(self.sheet.row)
            self.follow()
        self._cover_soon()

    # --- keys --------------------------------------------------------------------------------------------------------

    def keys(self) -> Mapping[str, Callable[[], object]]:
        """Keys of this page."""
        return {
            "F6": self.toggle_list,
            "F7": partial(self.step, 1),
            "Shift+F7": partial(self.step, -1),
            "F1": self.help.more,
            "Ctrl+U": self.confirm_usual,
            "Ctrl+M": self.toggle_more,
            "Ctrl+0": self.form.none_of_the_rest,
            "Ctrl+Z": self.undo,
            "Ctrl+Shift+Z": self.redo,
            "Ctrl+P": self.ask_print,
            "Ctrl+Return": self.sign,
            "Ctrl+Enter": self.sign,
        }

    def back_to_form(self) -> None:
        """Put the keyboard where the page goes on: on the question, the sheet, or the list."""
        if self.sheet is None or not self.form.isEnabled():
            self.first_focus()
        else:
            super().back_to_form()

    def first_focus(self) -> QWidget:
        """Where the keyboard goes when the page opens."""
        begin = getattr(self.asked_panel, "begin", None)
        if begin is not None:
            begin()
        elif self.sheet is not None and self.form.isEnabled():
            self.form.focus_first()
        else:
            self.list.setFocus(Qt.FocusReason.TabFocusReason)
        held = self.window().focusWidget()
        return self if held is None else held
