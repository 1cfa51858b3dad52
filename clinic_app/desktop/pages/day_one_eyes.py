"""The eyes of the day-one page: the list, the question which eye, its sheet or visit, and what follows each answer."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import date, datetime

from PySide6.QtCore import Qt, QTimer

from clinic_app.desktop.jobs import Jobs
from clinic_app.desktop.look import Look
from clinic_app.desktop.pages.day_one_form import open_texts
from clinic_app.desktop.pages.day_one_frame import IDLE, DayOneFrame
from clinic_app.desktop.pages.day_one_rows import empty_words, matches, rows_of, waiting
from clinic_app.desktop.pages.day_one_visit import clearing_words
from clinic_app.desktop.pages.stage_form import derived_words
from clinic_app.desktop.parts.answer import Given
from clinic_app.desktop.parts.entry import EntryAnswer
from clinic_app.desktop.parts.eye_question import DAY_ONE, Expected, EyeQuestion
from clinic_app.desktop.parts.frame import Heading
from clinic_app.domain.day_one import PRESSURE, noted
from clinic_app.domain.derived import number
from clinic_app.domain.halts import Halt
from clinic_app.domain.record import CaseKey
from clinic_app.domain.states import GRADED
from clinic_app.errors import Refusal
from clinic_app.services import clearing, day_one
from clinic_app.services.day_one import DayList, Group, ListedEye, OpenEye, SheetState
from clinic_app.session import Session
from models.codebook import BY_NAME

KEEP_AFTER = 3000
NOT_BLIND = "You have seen this eye's forecast. Your grade is welcome and will be marked Not blind."
OWN_CASE = "You operated on this eye. The grade is marked Own case. Another examiner is better."


class DayOneEyes(DayOneFrame):
    """The list and the eye in hand. `waiting` tells how many eyes are due, overdue or have an action to note."""

    def __init__(self, session: Session, look: Look, jobs: Jobs) -> None:
        super().__init__(session, look, jobs)
        self.found: DayList | None = None
        self.eye: OpenEye | None = None
        self.side = ""
        self.same_day = False
        self.state: SheetState | None = None
        self.open_actions: tuple[Halt, ...] = ()
        self.draft_no: int | None = None
        self._clean: tuple[Mapping[str, Given], Mapping[str, str]] = ({}, {})
        self._soon = QTimer(self, singleShot=True, interval=KEEP_AFTER)
        self._soon.timeout.connect(self.keep_draft)
        self.list.wished.connect(self.go_to)
        self.sheet.changed.connect(self._answered)
        self.sheet.reveal.connect(self.reveal)
        self.visit.changed.connect(self._answered)
        self.visit.reveal.connect(self.reveal)
        self.halts.placed.connect(lambda: QTimer.singleShot(0, self, self._keep_in_sight))

    # --- the list ----------------------------------------------------------------------------------------------------

    def load(self) -> None:
        """Read the list on the worker; the page can be used meanwhile."""
        self.read_list(day_one.day_list, self.session)

    def show_found(self, found: object) -> None:
        """Show the list; with no eye open the first that is due is asked about."""
        if not isinstance(found, DayList):
            raise TypeError("the list of day one")
        self.found = found
        self.waiting.emit(waiting(found))
        self.list_card.show_list(found)
        self._show_list()
        if self.eye is None and self.isVisible() and found.eyes:
            due = [one for one in found.eyes if one.group is Group.DUE]
            self.begin((due or list(found.eyes))[0].key)

    def _show_list(self) -> None:
        if self.found is None:
            return
        asked = self.eye.key if self.asking is not None and self.eye is not None else None
        self.list.set_rows(rows_of(self.found, self.today, asked=asked))
        self.list_words(empty_words(self.found))
        self.list.choose(self.eye.key if self.eye is not None else None)

    def listed(self, key: CaseKey) -> ListedEye | None:
        """The eye as the list has it."""
        eyes = self.found.eyes if self.found is not None else ()
        return next((one for one in eyes if one.key == key), None)

    def go_to(self, key: object) -> None:
        """Ask about an eye of the list; what is typed for another one is kept first."""
        held = self.eye.key if self.eye is not None else None
        self.list.choose(held)
        if isinstance(key, CaseKey) and key != held:
            self.leaving(lambda: self.begin(key))

    def step(self, by: int) -> None:
        """The next (1) or earlier (-1) eye of the list."""
        key = self.list.neighbour(by)
        if key is not None:
            self.go_to(key)

    def seek(self, text: str) -> bool:
        """Ask about the first eye of the list whose number holds the text, else about the patient's newest eye."""
        found = matches(self.found.eyes, text) if self.found is not None else []
        try:
            found = found or day_one.find(self.session, text)
        except Refusal:
            return False
        if found:
            self.go_to(found[0])
        return bool(found)

    # --- opening -----------------------------------------------------------------------------------------------------

    def begin(self, key: CaseKey) -> None:
        """Ask who it is and which eye; a graded eye that needs no visit is shown as it was locked."""
        self.close_question()
        try:
            eye = day_one.open_eye(self.session, key)
        except Refusal as refusal:
            self.to_idle(f"{refusal.what} {refusal.why} {refusal.next}")
            return
        self.eye, self.side, self.draft_no, self.state, self.open_actions = eye, "", None, None, ()
        self.know.show_eye(None)
        self.call.show_levels(None)
        self.halts.show_halts(())
        listed = self.listed(key)
        self.same_day = bool(listed and listed.same_day)
        clears = eye.clearing is not None and not eye.clearing.clear
        if eye.state == GRADED and not (clears and (listed is None or listed.group is Group.CLEARING)):
            self.show_locked(say=False)
            return
        self._ask(eye)

    def _ask(self, eye: OpenEye) -> None:
        born = eye.row.get("birth_date")
        expected = Expected(
            side=eye.key.eye,
            born=born if isinstance(born, date) else None,
            patient_id=eye.key.patient_id,
            order=self.session.settings.date_order,
            pair=eye.pair is not None,
        )
        question = EyeQuestion(self.look, expected, where=DAY_ONE)
        question.opened.connect(self._opened)
        question.wrong.connect(self._wrong)
        question.back.connect(self.go_back)
        question.other_row.connect(self._other_row)
        self.put_question(question)
        self._beside(opened=False)
        listed = self.listed(eye.key)
        self.absent_not_seen.setVisible(eye.state != GRADED and not self.same_day)
        self.absent_time.setVisible(eye.state != GRADED)
        self.absent_note.setVisible(bool(listed and (listed.missed or listed.to_note)))
        self._show_list()
        question.begin()

    def _wrong(self, pressed: str) -> None:
        if self.eye is not None and not self.read_only:
            day_one.note_wrong_eye(self.session, self.eye.key, pressed)

    def _other_row(self) -> None:
        if self.eye is not None and self.eye.pair is not None:
            self.begin(self.eye.pair.key)

    def go_back(self) -> None:
        """Leave the question and go to the list."""
        self.to_idle()
        self.list.setFocus(Qt.FocusReason.TabFocusReason)

    def to_idle(self, words: str = IDLE) -> None:
        """No eye is open."""
        self.eye, self.state, self.open_actions = None, None, ()
        self.close_question()
        self.idle_words.setText(words or IDLE)
        self.know.show_eye(None)
        self.call.show_levels(None)
        self.halts.show_halts(())
        self.stand("idle")
        self._beside(opened=False)
        self._show_list()

    def _opened(self, side: str) -> None:
        eye = self.eye
        if eye is None:
            return
        self.side = side
        visit = self.same_day or eye.state == GRADED
        self.stand("visit" if visit else "sheet")
        self._show_list()
        self._beside(opened=eye.state == GRADED)
        self.know.show_eye(eye)
        self.call.show_levels(eye.levels)
        if visit:
            self.visit.show_row({})
        else:
            self._show_sheet(eye)
        self._settle_clean()
        said = "" if eye.blind else OWN_CASE if eye.own_case else NOT_BLIND
        self.notice.say(clearing_words(eye.clearing, self.today) if visit else said)
        self._refresh()
        self.scroll_to_top()
        if self.question is None:
            self.form.focus_first()

    def _show_sheet(self, eye: OpenEye) -> None:
        self.sheet.ask_device(eye.row.get("cct_um_source") is not None)
        self.sheet.show_row(dict(eye.answers))
        self.sheet.lock(False)
        draft = day_one.drafts(self.session).get(eye.key)
        if draft is None:
            return
        self.draft_no = draft.number
        self.ask(
            f"Your draft of this eye, kept {draft.at:%H:%M}.",
            (("continue", "Continue"), ("discard", "Throw it away")),
            lambda code, _: self._draft_answered(code, draft),
        )

    def _draft_answered(self, code: str, draft: day_one.SheetDraft) -> None:
        if code == "discard":
            self.drop_draft()
        elif self.eye is not None:
            self.eye = day_one.began_at(self.eye, draft.began)
            self.sheet.show_row(dict(draft.answers))
            for name, text in draft.texts.items():
                answer = self.sheet.answers.get(name)
                if isinstance(answer, EntryAnswer):
                    answer.show_words(text)
                    self.sheet.said(name, text)
            self._settle_clean()
        self._refresh()
        self.sheet.focus_first()

    def _beside(self, *, opened: bool) -> None:
        """Show the sealed block, or what the lock opened."""
        found = day_one.opened(self.session, self.eye.key) if opened and self.eye is not None else None
        self.sealed.setVisible(found is None)
        self.sealed.anyway.setVisible(bool(self.eye and self.eye.may_open and self.side and not self.read_only))
        self.opened.setVisible(found is not None)
        if found is not None:
            self.opened.show_opened(found, f"{found.locked_at:%H:%M}", say=False)
        self.right_scroll.fit()

    def show_locked(self, *, say: bool) -> None:
        """Show a graded eye: its sheet as it was locked, its forecast opened."""
        eye = self.eye
        if eye is None:
            return
        self.stand("sheet")
        self.sheet.show_row(dict(eye.answers))
        self.sheet.lock(True)
        self._settle_clean()
        self.know.show_eye(eye)
        self.call.show_levels(eye.levels)
        self._show_list()
        self._beside(opened=True)
        if say:
            found = day_one.opened(self.session, eye.key)
            if found is not None:
                self.opened.show_opened(found, f"{found.locked_at:%H:%M}", say=True)
        self.notice.say("")
        self._refresh()
        self.scroll_to_top()

    # --- answers -----------------------------------------------------------------------------------------------------

    @property
    def locked(self) -> bool:
        """Whether the sheet in hand is locked and not being corrected."""
        graded = self.eye is not None and self.eye.state == GRADED
        return graded and self.form is self.sheet and not any(one.isEnabled() for one in self.sheet.answers.values())

    def dirty(self) -> bool:
        """Whether something was typed that is not kept."""
        if self.eye is None or self.asking is not None or self.locked:
            return False
        return self._stands() != self._clean

    def _settle_clean(self) -> None:
        self._clean = self._stands()

    def _stands(self) -> tuple[Mapping[str, Given], Mapping[str, str]]:
        """Answers, and texts that are none yet: a draft keeps both."""
        return dict(self.form.given()), open_texts(self.form)

    def _answered(self) -> None:
        self.notice.hide()
        self._refresh()
        if self.form is self.sheet and self.eye is not None and self.eye.state != GRADED:
            self._soon.start()

    def _refresh(self) -> None:
        eye = self.eye
        if eye is None:
            return
        if self.form is self.visit:
            state = clearing.visit_state(self.session, eye.key, eye.row, self.visit.visit_row(), eye.began)
            self.open_actions = state.open_actions
            pair = eye.pair.halts if eye.pair else ()
            self.halts.show_halts(state.halts, state.open_actions, pair, noted=self._noted_words(eye), again=False)
            self.head.show_row(dict(eye.row), eye.state, f"{eye.began:%H:%M}")
        else:
            self._refresh_sheet(eye)
        self.say_foot()

    def _refresh_sheet(self, eye: OpenEye) -> None:
        answers = self.sheet.sheet_row()
        literal = self.sheet.literal_pressure()
        if literal is not None:
            answers[PRESSURE] = literal
        state = day_one.sheet_state(self.session, eye, answers)
        self.state, self.open_actions = state, state.open_actions
        shown = set(self.sheet.answers)
        notes = [one.sentence for one in state.findings if not shown & set(one.fields) and one.kind == "note"]
        self.sheet.show_findings(one for one in state.findings if shown & set(one.fields))
        pair = eye.pair.halts if eye.pair else ()
        self.halts.show_halts(state.halts, state.open_actions, pair, noted=self._noted_words(eye), notes=notes)
        self._say_derived(eye, state)
        seen = state.row.get("exam_at")
        at = f"seen {seen:%H:%M}, " if isinstance(seen, datetime) else ""
        self.head.show_row(dict(eye.row), eye.state, at + state.hours.removesuffix(" surgery"))

    def _noted_words(self, eye: OpenEye) -> str:
        done = list(noted(eye.events).values())
        if not done:
            return ""
        body = done[-1].body
        again = f" Checked again: {body['check_again']}." if body.get("check_again") else ""
        return f"Noted: {body['reached']}; {body['decided']}.{again}"

    def _say_derived(self, eye: OpenEye, state: SheetState) -> None:
        mark = self.session.settings.decimal
        change, logmar, before = (number(state.row, one) for one in ("cct_change_pct", "ucva_logmar", "cct_um"))
        words = []
        if logmar is not None and state.row.get("ucva_raw"):
            words.append(f"{derived_words(BY_NAME['ucva_logmar'], logmar, mark)} logMAR")
        if change is not None and number(state.row, "cct_pod1_um") is not None:
            words.append(
                f"thickness {'+' if change > 0 else ''}{derived_words(BY_NAME['cct_change_pct'], change, mark)} %"
            )
        if before is not None:
            words.append(f"before: {derived_words(BY_NAME['cct_um'], before, mark)} µm")
        section = next(one for one in self.sheet.sections if one.name == "Vision and thickness")
        if isinstance(section.heading, Heading):
            section.heading.set_aside(" · ".join(words))

    def _keep_in_sight(self) -> None:
        """Halts take room; the answer in hand stays in sight all the same."""
        hand, held = self.form.answers.get(self.form.hand), self.window().focusWidget()
        if hand is not None and held is not None and hand.isVisible() and hand.isAncestorOf(held):
            self.reveal(hand)

    # --- drafts ------------------------------------------------------------------------------------------------------

    def keep_draft(self) -> None:
        """Keep what stands on the sheet, if anything was typed since it was opened."""
        self._soon.stop()
        eye = self.eye
        if eye is None or self.read_only or self.form is not self.sheet or eye.state == GRADED or not self.dirty():
            return
        try:
            self.draft_no = day_one.keep_sheet(
                self.session, eye.key, self.sheet.sheet_row(), began=eye.began, typed=self.sheet.typed(),
                texts=open_texts(self.sheet), number=self.draft_no,
            )  # fmt: skip
        except Refusal as refusal:
            self.tell(f"{refusal.what} {refusal.why} {refusal.next}")
            return
        self._settle_clean()
        self.say_foot()

    def drop_draft(self) -> None:
        """Forget the draft of the eye in hand."""
        self._soon.stop()
        if self.draft_no is not None and not self.read_only:
            day_one.drop_sheet(self.session, self.draft_no)
        self.draft_no = None

    def leaving(self, then: Callable[[], None]) -> None:
        """Do `then` at once, or after the person said what becomes of unkept answers."""
        raise NotImplementedError

    def say_foot(self) -> None:
        """Say what stands and what is to go."""
        raise NotImplementedError
