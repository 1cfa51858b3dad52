"""Drafts on the bookings page: kept at each answer and while somebody types, continued later, taken back answer by
answer."""

from __future__ import annotations

from PySide6.QtCore import QTimer

from clinic_app.desktop.jobs import Jobs
from clinic_app.desktop.look import Look
from clinic_app.desktop.pages.bookings_fellow import BookingsFellow
from clinic_app.desktop.pages.bookings_rows import Unfinished
from clinic_app.desktop.pages.form_rules import LEVELS, level_of
from clinic_app.desktop.parts.answer import announce
from clinic_app.desktop.parts.entry import EntryAnswer
from clinic_app.domain.drafted import Drafted
from clinic_app.domain.record import CaseKey
from clinic_app.errors import Refusal
from clinic_app.services import bookings, drafts
from clinic_app.services.bookings import BookedEye
from clinic_app.services.drafts import KeptDraft
from clinic_app.session import Session

TYPING = 5000
"""Milliseconds of typing in one field after which its text is kept."""


class BookingsDrafts(BookingsFellow):
    """What is typed is on the disk from the next moment on; a crash loses at most the field in hand."""

    def __init__(self, session: Session, look: Look, jobs: Jobs) -> None:
        super().__init__(session, look, jobs)
        self._version: int | None = None
        self._kept_at = ""
        self._asked_after = False
        self._told = False
        self._typing = QTimer(self, interval=TYPING)
        self._typing.timeout.connect(self.keep_draft)
        self._soon = QTimer(self, singleShot=True, interval=0)
        self._soon.timeout.connect(self.keep_draft)
        self.form.stand_beside(self.plan.answers)
        self.form.changed.connect(self._keep_soon)
        self.plan.changed.connect(self._keep_soon)
        for answer in self.form.answers.values():
            if isinstance(answer, EntryAnswer):
                answer.box.textEdited.connect(self._type_on)

    def _keep_soon(self) -> None:
        self._told = False
        self._soon.start()

    def _type_on(self) -> None:
        if not self._typing.isActive():
            self._typing.start()

    # --- keeping -----------------------------------------------------------------------------------------------------

    def keep_draft(self, *, put_by: bool = False) -> bool:
        """Keep what stands, or forget the draft where nothing is left of it; whether it could be done.

        A draft that cannot be kept is said once at the foot; what is typed stays on the page.
        """
        self._soon.stop()
        if not self.form.texts():
            self._typing.stop()
        if self.read_only or not self.can_change or not (self.drafting or self.open_eye is not None):
            return False
        try:
            if not put_by and not self.dirty():
                if self.open_eye is not None or not self._clean:
                    self._forget_draft()  # nothing is left of it
                return True
            key = self.open_eye.key if self.open_eye is not None else None
            what = Drafted(self.form.drafted(), put_by=put_by, version=self._version)
            kept = drafts.keep_draft(self.session, what, key=key, number=self.draft_number)
        except Refusal as refusal:
            self.foot.say(f"The draft is not kept. {refusal.why} {refusal.next}")
            return False
        self.draft_number, self._kept_at = kept.number, f"{kept.at:%H:%M}"
        self.drafts = [*(one for one in self.drafts if one.number != kept.number), kept]
        if not self._told:
            self.say_foot()
        return True

    def drop_draft(self) -> None:
        """The answers are booked or thrown away: their draft goes too."""
        self._soon.stop()
        self._typing.stop()
        if self.draft_number is not None:
            self._forget_draft()

    def _forget_draft(self) -> None:
        number, self.draft_number, self._kept_at = self.draft_number, None, ""
        if number is not None:
            drafts.drop_draft(self.session, number)
            self.drafts = [one for one in self.drafts if one.number != number]

    @property
    def draft_words(self) -> str:
        """When the draft in hand was kept; empty while there is none."""
        return f"Draft saved {self._kept_at}." if self._kept_at and self.draft_number is not None else ""

    # --- coming back -------------------------------------------------------------------------------------------------

    def after_reading(self) -> None:
        """Ask once after what was being typed when the program ended."""
        if self._asked_after:
            return
        self._asked_after = True
        left = [one for one in self.drafts if one.person == self.session.person and not one.drafted.put_by]
        left = [one for one in left if one.number != self.draft_number]
        if left and not self.dirty():
            self._offer(left[-1])

    def _offer(self, draft: KeptDraft) -> None:
        answers = (("continue", "Continue"), ("discard", "Discard"), ("back", "Later"))
        name = draft.key.patient_id if draft.key is not None else _name(draft)
        day = "" if draft.at.date() == self.today else f" on {draft.at.day} {draft.at:%b}"

        def answered(code: str, _: str) -> None:
            if code == "continue":
                self.continue_draft(draft)
            elif code == "discard":
                self._discard(draft)

        self.ask(f"Draft of {name} from {draft.at:%H:%M}{day}.", answers, answered)

    def show_eye(self, eye: BookedEye, *, focus: bool) -> None:
        self._version = eye.version
        super().show_eye(eye, focus=focus)

    def _discard(self, draft: KeptDraft) -> None:
        drafts.drop_draft(self.session, draft.number)
        self.drafts = [one for one in self.drafts if one.number != draft.number]
        self._show_list()
        self.form.focus_first()

    def continue_draft(self, draft: KeptDraft) -> None:
        """Show a draft as it was left."""
        if not self._show_eye_of(draft):
            return
        self.draft_number, self._kept_at = draft.number, f"{draft.at:%H:%M}"
        self._show_all_of(draft)
        self.form.show_drafted(draft.drafted.answers)
        self.plan.say()
        if draft.key is None and draft.drafted.put_by:
            self._settle_clean()  # it was put by on purpose: unchanged, it may be put by again without asking
        self._refresh()
        self._show_list()
        self.form.focus_first()

    def _show_eye_of(self, draft: KeptDraft) -> bool:
        """Show the booked eye that the draft changes, or the empty form of a new one; False when it cannot be."""
        if draft.key is None:
            self.open_eye, self.drafting = None, True
            self._show_blank()
            return True
        try:
            seen = draft.person == self.session.person and not self.plan.answers.keys().isdisjoint(
                draft.drafted.answers
            )
            eye = bookings.open_eye(self.session, draft.key, unseal=seen)  # who wrote of the plan has opened the eye
        except Refusal as refusal:
            self.refuse(refusal)
            return False
        self.show_eye(eye, focus=False)
        self._version = draft.drafted.version
        return True

    def _show_all_of(self, draft: KeptDraft) -> None:
        """Show as much of the form as the texts that still ask need."""
        asking = [name for name, one in draft.drafted.answers.items() if one.text is not None]
        levels = [level_of(self.form.answers[name].field) for name in asking if name in self.form.answers]
        if levels:
            self.set_level(max([self.form.level, *levels], key=LEVELS.index))

    def _open(self, key: object) -> None:
        if isinstance(key, Unfinished):
            found = [one for one in self.drafts if one.number == key.number]
            if found:
                self.continue_draft(found[0])
            return
        super()._open(key)
        if isinstance(key, CaseKey):
            waiting = [one for one in self.drafts if one.key == key]
            if waiting and self.open_eye is not None and not self.read_only:
                self._offer(waiting[-1])

    # --- taking back -------------------------------------------------------------------------------------------------

    def undo(self) -> None:
        """Take back the last answer of this draft."""
        self._say_act(self.form.undo() or "Nothing to undo.")

    def redo(self) -> None:
        """Answer again what was taken back last."""
        self._say_act(self.form.redo() or "Nothing to do again.")

    def _say_act(self, words: str) -> None:
        self._told = True
        self.plan.say()
        self.foot.say(words)
        announce(self, words)

    def set_level(self, level: str) -> None:
        """How much of the form is shown."""
        raise NotImplementedError


def _name(draft: KeptDraft) -> str:
    number = draft.drafted.answers.get("patient_id")
    return str(number.value or number.text or "a new eye") if number is not None else "a new eye"
