"""The sheet in hand: asked for, opened, followed answer by answer, kept as a draft."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from PySide6.QtCore import Qt, QTimer
from PySide6.QtWidgets import QWidget

from clinic_app.desktop.jobs import Jobs
from clinic_app.desktop.look import Look
from clinic_app.desktop.pages.theatre_eyes import TheatreEyes
from clinic_app.desktop.pages.theatre_form import HAPPENED, HAPPENED_FIELD
from clinic_app.desktop.parts.answer import OPEN, Given
from clinic_app.desktop.parts.entry import EntryAnswer
from clinic_app.desktop.parts.lines import HaltPanel
from clinic_app.desktop.parts.plate import SIDES
from clinic_app.domain.people import Duty
from clinic_app.domain.record import Row
from clinic_app.domain.seal import Secret
from clinic_app.domain.theatre import BY_PROGRAM, asked, happened, signed_record, to_go
from clinic_app.domain.theatre_draft import SheetDraft
from clinic_app.errors import Refusal
from clinic_app.services import plans, theatre
from clinic_app.services.theatre import Sheet
from clinic_app.session import Session
from models.codebook import BY_NAME, Field, Kind
from models.errors import ModelError

TYPING_KEPT_AFTER = 5000
HARDNESS = BY_NAME["nucleus_hardness_theatre"]
TOLD = {
    HARDNESS.name: replace(
        HARDNESS, help=f"{', '.join(f'{one.code} {one.label}' for one in HARDNESS.choices)}. {HARDNESS.help}"
    ),
    HAPPENED: replace(HAPPENED_FIELD, kind=Kind.TEXT, choices=()),
}
"""Fields that the help line describes otherwise: in words what stands in short, and no reason where none is taken."""
SHUT = "The readings of this sheet are sealed for you until the day-one grade is locked. What happened never is."
READ_ONLY = "The practice is open for reading only. Answers can be tried here; nothing is kept or signed."


class TheatreSheet(TheatreEyes):
    """The sheet in hand, beside the list."""

    def __init__(self, session: Session, look: Look, jobs: Jobs) -> None:
        super().__init__(session, look, jobs)
        self.editing = False
        self._draft_no: int | None = None
        self._saved = ""
        self._like: dict[tuple[object, object], int] = {}
        self._counting: set[tuple[object, object]] = set()
        self._typing = QTimer(self, singleShot=True, interval=TYPING_KEPT_AFTER)
        self._typing.timeout.connect(self.keep_draft)
        self.form.changed.connect(self._answered)
        self.form.entered.connect(self._describe)
        self.form.reveal.connect(self.reveal)
        self.separate.changed.connect(self._answered)
        self.panels.anyway.connect(self._ask_anyway)
        self.panels.plan.confirmed.connect(self._confirm_plan)
        for answer in self.form.answers.values():
            if isinstance(answer, EntryAnswer):
                answer.box.textEdited.connect(self._typed)

    # --- the sheet ---------------------------------------------------------------------------------------------------

    def _describe(self, field: Field) -> None:
        told = TOLD.get(field.name, field)
        house = "" if self.sheet is None else self.sheet.wording.get(field.group, "")
        self.help.describe(replace(told, help=f"{told.help} House step: {house}") if house else told)

    def put_away(self) -> None:
        """Close what is open; a draft was kept before."""
        super().put_away()
        self._typing.stop()
        self.sheet, self.editing, self._draft_no = None, False, None
        self.form.show_row({})
        self.panels.show_sheet(None, may_confirm=False)

    def open_with(self, read: Callable[[], Sheet]) -> None:
        """Open the sheet that `read` gives; a refusal is said in its place."""
        try:
            sheet = read()
        except (Refusal, ModelError) as refusal:
            self.go_back()
            self.say_refusal(refusal)
            return
        self.show_sheet(sheet)

    def show_sheet(self, sheet: Sheet) -> None:
        """Show an open sheet, ready to be written unless it is signed."""
        self.put_away()
        self.sheet = sheet
        self._draft_no = sheet.draft_no
        self._saved = f"Draft of {sheet.draft_at:%H:%M}. " if sheet.draft_at is not None else ""
        self.stand("sheet")
        self.form.set_machine(None)
        if sheet.signed:
            self.form.show_signed(sheet.row)
        else:
            self.form.show_draft(sheet.draft)
        self.separate.show_given(Given(("separate",)) if sheet.draft.separate else OPEN)
        self.separate.setVisible(sheet.first is not None and not sheet.signed)
        surgeon = self.session.may(Duty.SURGEON) and not self.read_only
        self.panels.show_sheet(sheet, may_confirm=surgeon and not sheet.signed)
        self.set_editing(not sheet.signed and not self.read_only)
        self.form.propose_values(sheet.proposed)
        self.suggest()
        self.follow()
        self.show_list()
        self.scroll_to_top()
        self.notice.say(READ_ONLY if self.read_only else "")
        if sheet.first is not None and sheet.first.pauses and not sheet.signed:
            self._pause(sheet)
        else:
            self.first_focus()

    def set_editing(self, editing: bool) -> None:
        """Whether answers can be changed."""
        self.editing = editing
        sealed = self.sheet is not None and self.sheet.signed and Secret.READINGS in self.sheet.hidden
        events = "" if self.sheet is None else ", ".join(happened(self.sheet.row)) or "none"
        self.show_shut(f"{SHUT} Events: {events[:1].lower()}{events[1:]}." if sealed else "")
        self.form.setEnabled(editing)
        self.separate.setEnabled(editing)

    def _pause(self, sheet: Sheet) -> None:
        first = sheet.first
        if first is None:
            return
        self.form.setEnabled(False)
        words = f"The first eye: {', '.join(first.events).lower()}. The second eye waits."
        more = "A surgeon decides whether it goes ahead today."
        panel = HaltPanel(self.look, words, more, (("back", "Go back"), ("on", "Go on with the second eye")))

        def answered(code: str) -> None:
            if code == "back":
                self.go_back()
                return
            try:
                self.sheet = theatre.acknowledge(self.session, sheet, "go on")
            except Refusal as refusal:
                self.say_refusal(refusal)
                return
            self.close_question()
            self.set_editing(not self.read_only)
            self.first_focus()

        panel.chosen.connect(answered)
        self.show_question(panel)
        panel.buttons.findChildren(QWidget)[0].setFocus(Qt.FocusReason.OtherFocusReason)

    def draft(self) -> SheetDraft:
        """What stands on the page."""
        found = self.form.draft()
        return SheetDraft(found.record, found.texts, self.separate.given.value == ("separate",))

    def row(self) -> dict[str, object]:
        """The booking and the answers that stand, laid flat."""
        sheet, own = self.sheet, {*self.form.answers, *BY_PROGRAM}
        told = {} if sheet is None else sheet.row
        booking = {name: value for name, value in told.items() if name.removesuffix("_missing") not in own}
        return {**booking, **signed_record(self.form.draft().record, self.form.machine).row()}

    def _typed(self) -> None:
        if self.editing and not self._typing.isActive():
            self._typing.start()

    def _answered(self) -> None:
        if self.sheet is None:
            return
        self.notice.hide()
        self.follow()
        self.keep_draft()

    def keep_draft(self) -> None:
        """Keep what stands as a draft; a signed sheet is changed only by its own act."""
        sheet = self.sheet
        self._typing.stop()
        if sheet is None or sheet.signed or not self.editing:
            return
        try:
            kept = theatre.keep(self.session, sheet.key, self.draft(), self._draft_no)
        except Refusal as refusal:
            self.notice.say(f"Not saved. {refusal.why} Your text stays on this page.")
            return
        self._draft_no, self._saved = None, ""
        if kept is not None:
            self._draft_no = kept.draft_no
            self._saved = f"Draft saved {theatre.local(self.session, kept.kept_at):%H:%M}. "
        self.say_foot()

    def ask_throw_away(self) -> None:
        """Ask whether what was typed on this sheet is to be forgotten."""
        sheet = self.sheet
        if sheet is None or sheet.signed or not self.editing:
            return
        words = "Throw this sheet away? What is written on it is lost; the eye stays on the list, not operated."
        answers = (("back", "Go on writing"), ("away", "Throw the sheet away"))
        self.ask(words, answers, lambda code, _: self._throw_away(sheet) if code == "away" else self.back_to_form())

    def _throw_away(self, sheet: Sheet) -> None:
        try:
            theatre.throw_away(self.session, sheet.key)
        except Refusal as refusal:
            self.say_refusal(refusal)
            return
        self.go_back()
        self.idle_words.setText(
            f"The sheet of the {SIDES[sheet.key.eye].lower()} eye of {sheet.key.patient_id} was thrown away."
        )

    def follow(self) -> None:
        """Say what follows from the answers: readings, plan, usual, what is asked, what is to go."""
        sheet = self.sheet
        if sheet is None:
            return
        row = self.row()
        self._follow_machine(sheet)
        self.head.show_row(dict(sheet.row), sheet.state, f"eye checked {sheet.checked_at:%H:%M}")
        self.form.show_readings(row)
        self.form.show_findings(one for one in asked(row) if set(one.fields) & set(self.form.answers))
        proposed = {name: self.form.answers[name].given.value for name in self.form.proposed()}
        self.panels.plan.follow(row, {name: value for name, value in proposed.items() if value is not None})
        dashed = {name: proposed.get(name) for name in ("phaco_machine_id", "us_motion")}
        row = {**row, **{name: value for name, value in dashed.items() if row.get(name) is None}}
        self.panels.number.say_end(sheet, row.get("phaco_machine_id"))
        self._beside(row)
        self.say_foot()

    def _follow_machine(self, sheet: Sheet) -> None:
        """Another machine or operator: other readings are asked for, other answers proposed."""
        name = self.form.answers["phaco_machine_id"].given.value
        machine = sheet.machine(name)
        if machine != self.form.machine:
            self.form.set_machine(machine)
        if sheet.signed or not self.editing:
            return
        given = self.form.given()
        operator = (
            given.get("surgeon_id", OPEN).value or sheet.row.get("booked_surgeon_id") or self.session.me.surgeon_id
        )
        chosen = given.get("phaco_machine_id", OPEN).value
        wanted = theatre.proposals_for(
            self.session, str(operator) if operator else None, str(chosen) if chosen else None, tuple(given)
        )
        self.form.propose_values(wanted)

    def _beside(self, row: Row) -> None:
        about = (row.get("phaco_machine_id"), row.get("us_motion"))
        try:
            self.panels.beside.show_beside(theatre.beside_usual(self.session, row, self._like.get(about)))
        except (Refusal, ModelError) as refusal:
            self.panels.beside.show_beside(theatre.Beside("", (), refusal.why))
        if about[0] is not None and about not in self._like and about not in self._counting:
            self._counting.add(about)
            job = self.jobs.start(theatre.like_eyes, self.session, row)
            job.done.connect(lambda count: self._counted(about, count))

    def _counted(self, about: tuple[object, object], count: int) -> None:
        self._counting.discard(about)
        self._like[about] = count
        if self.sheet is not None:
            self.follow()

    def to_go(self) -> list[str]:
        """What must still be answered before the sheet can be signed."""
        second = self.sheet is not None and self.sheet.first is not None
        draft = self.draft()
        words = list(to_go(draft.record.row(), second_eye=second, separate=draft.separate))
        return [*(label.lower() for label in self.form.troubled()), *words]

    def say_foot(self) -> None:
        """Say what stands and what is to go."""
        raise NotImplementedError

    # --- plan and seal -----------------------------------------------------------------------------------------------

    def _confirm_plan(self) -> None:
        sheet = self.sheet
        if sheet is None:
            return
        try:
            planned = plans.confirm_plan(self.session, sheet.key)
        except Refusal as refusal:
            self.say_refusal(refusal)
            return
        self.panels.plan.show_plan(sheet.plan, planned, may_confirm=False)
        self.follow()

    def _ask_anyway(self) -> None:
        sheet = self.sheet
        if sheet is None:
            return
        words = "Whoever sees this is no longer blind for this eye's grade. Why must it be shown?"
        self.ask(words, (("show", "Show anyway"), ("back", "Go back")), self._anyway, reason="Reason, in a few words")

    def _anyway(self, code: str, reason: str) -> None:
        sheet = self.sheet
        if code == "show" and sheet is not None:
            self.open_with(lambda: theatre.show_anyway(self.session, sheet.key, reason))
