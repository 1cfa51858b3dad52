"""What becomes of a booked eye other than its answers: stood down, postponed, consent, merged numbers, plan, slip."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import date

from PySide6.QtWidgets import QWidget

from clinic_app.desktop.jobs import Jobs
from clinic_app.desktop.look import Look
from clinic_app.desktop.pages.act_panel import ActPanel
from clinic_app.desktop.pages.bookings_drafts import BookingsDrafts
from clinic_app.desktop.pages.printing import Printed, Printing
from clinic_app.desktop.papers.paper import Paper
from clinic_app.desktop.papers.plan_slip import plan_slip
from clinic_app.desktop.parts.answer import announce
from clinic_app.desktop.parts.button import Button
from clinic_app.desktop.parts.flow import FlowLayout
from clinic_app.desktop.words import day_words
from clinic_app.domain.people import Duty
from clinic_app.domain.record import CaseKey, Value
from clinic_app.domain.seal import Secret
from clinic_app.domain.states import BOOKED, STOOD_DOWN
from clinic_app.errors import Refusal
from clinic_app.services import bookings, moving, plans
from clinic_app.session import Session
from models.codebook import BY_NAME, Field

NEW_DAY = replace(BY_NAME["surgery_date"], name="day", label="New surgery date")
OTHER_NUMBER = replace(BY_NAME["patient_id"], name="other", label="The other number")
Typed = Mapping[str, Value | None]


class BookingsMoves(BookingsDrafts):
    """Buttons of a booked eye stand at the foot; what is rare stands behind More. Each act asks in the page."""

    def __init__(self, session: Session, look: Look, jobs: Jobs) -> None:
        super().__init__(session, look, jobs)
        self.postpone_button = self._foot_button("Postpone", "postpone", self.postpone)
        self.down_button = self._foot_button("Stand down", "stand_down", self.stand_down)
        self.back_button = self._foot_button("Take back", "take_back", self.take_back)
        self.more_button = self._foot_button("More", "more", self.toggle_more)
        self.more_row = QWidget()
        row = FlowLayout(look, self.more_row, gap=4)
        self.consent_button = Button(look, "", kind="quiet")
        self.merge_button = Button(look, "Merge two numbers of this patient", kind="quiet")
        for button, name, act in (
            (self.consent_button, "consent", self.change_consent),
            (self.merge_button, "merge", self.merge),
        ):
            button.setObjectName(name)
            button.clicked.connect(act)
            row.addWidget(button)
        self.more_row.hide()
        self.card.column.insertWidget(self.card.column.indexOf(self.foot), self.more_row)
        self.printing = Printing(
            look, session.settings, self.today, stand=self.show_question, close=self._close_acts, tell=self._printed
        )
        self.plan.confirmed.connect(self.confirm_plan)
        self.plan.slip.connect(self.print_slip)

    def _foot_button(self, words: str, name: str, act: Callable[[], None]) -> Button:
        button = Button(self.look, words, kind="quiet")
        button.setObjectName(name)
        button.clicked.connect(act)
        self.foot.put(button)
        button.hide()
        return button

    def show_acts(self) -> None:
        """Show the buttons that fit where the eye stands and what the person may do."""
        eye = self.open_eye
        waits = eye is not None and eye.state == BOOKED and not self.read_only
        down = eye is not None and eye.state == STOOD_DOWN and not self.read_only
        self.postpone_button.setVisible(waits)
        self.down_button.setVisible(waits)
        self.back_button.setVisible(down)
        self.more_button.setVisible(eye is not None and not self.read_only)
        self.merge_button.setVisible(self.session.may(Duty.DATA_LEAD, Duty.PEOPLE))
        withdrawn = eye is not None and eye.row.get(moving.CONSENT) == "no"
        self.consent_button.set_words("Consent is given again" if withdrawn else "Consent is withdrawn")
        if eye is None:
            self.more_row.hide()

    def toggle_more(self) -> None:
        """The rarer acts of the eye, and away again."""
        self.more_row.setVisible(self.more_row.isHidden())

    # --- acts --------------------------------------------------------------------------------------------------------

    def _ask_for(
        self,
        sentence: str,
        answers: tuple[tuple[str, str], ...],
        act: Callable[[str, Typed], str],
        fields: tuple[Field, ...] = (),
    ) -> None:
        """Ask in the page, then act; a refusal is said in the question, which stays with what was typed."""
        panel = ActPanel(self.look, self.session.settings, self.today, sentence, answers, fields)

        def answered(code: str, typed: Typed) -> None:
            try:
                done = act(code, typed)
            except Refusal as refusal:
                panel.say(f"{refusal.what} {refusal.why} {refusal.next}")
                return
            self.close_question()
            self.more_row.hide()
            self.load()
            self.focus_next()
            self.foot.say(done, settled=True)
            announce(self, done)

        panel.answered.connect(answered)
        panel.left.connect(self._close_acts)
        self.show_question(panel)
        panel.begin()

    def _close_acts(self) -> None:
        self.close_question()
        self.back_to_form()

    def _on_eye(self, act: Callable[[CaseKey], None]) -> None:
        """Act on the open eye, after the person said what becomes of unkept answers."""
        eye = self.open_eye
        if eye is not None and not self.read_only:
            self.leaving(lambda: act(eye.key))

    def stand_down(self) -> None:
        """The surgery will not happen."""

        def ask(key: CaseKey) -> None:
            def act(_: str, typed: Typed) -> str:
                moving.stand_down(self.session, key, str(typed["reason"]))
                self._show_again(key)
                return f"{key.patient_id} is stood down. It stands at the end of the list and can be taken back."

            self._ask_for(
                f"Stand down {key.patient_id}? It leaves its list and keeps its record.", (("act", "Stand down"),), act
            )

        self._on_eye(ask)

    def take_back(self) -> None:
        """The surgery will happen after all."""

        def ask(key: CaseKey) -> None:
            def act(_: str, typed: Typed) -> str:
                moving.take_back(self.session, key, str(typed["reason"]))
                self._show_again(key)
                return f"{key.patient_id} stands on its list again."

            self._ask_for(f"Take {key.patient_id} back onto its list?", (("act", "Take back"),), act)

        self._on_eye(ask)

    def postpone(self) -> None:
        """Another surgery date; forecasts and history go with the eye."""

        def ask(key: CaseKey) -> None:
            def act(_: str, typed: Typed) -> str:
                day = typed["day"]
                assert isinstance(day, date)  # noqa: S101 - the panel gives days
                moved = moving.postpone(self.session, key, day, str(typed["reason"]))
                self._show_again(moved)
                return f"{key.patient_id} is moved to {day_words(day, self.today)}."

            self._ask_for(
                f"Move {key.patient_id} from {day_words(key.surgery_date, self.today)} to another day. Forecasts and "
                "history go with it.",
                (("act", "Postpone"),),
                act,
                (NEW_DAY,),
            )

        self._on_eye(ask)

    def change_consent(self) -> None:
        """Consent to audit and model is withdrawn, or given again."""
        eye = self.open_eye
        again = eye is not None and eye.row.get(moving.CONSENT) == "no"

        def ask(key: CaseKey) -> None:
            def act(_: str, typed: Typed) -> str:
                change = moving.give_consent if again else moving.withdraw_consent
                keys = change(self.session, key.patient_id, str(typed["reason"]))
                self._show_again(key)
                eyes = "Its record" if len(keys) == 1 else f"All {len(keys)} records"
                if again:
                    return f"{eyes} of {key.patient_id} count again in Review and fitting."
                return f"{eyes} of {key.patient_id} left Review and fitting, and stay recorded."

            sentence = (
                f"{key.patient_id} consents again: every eye of this number counts in Review and fitting."
                if again
                else f"{key.patient_id} withdraws consent to audit and model: every eye of this number leaves Review "
                "and fitting and gets no forecast. The records stay for care."
            )
            words = "Consent is given again" if again else "Withdraw consent"
            self._ask_for(sentence, (("act", words),), act)

        self._on_eye(ask)

    def merge(self) -> None:
        """Two numbers of one patient become one."""

        def ask(key: CaseKey) -> None:
            def act(code: str, typed: Typed) -> str:
                here, other = key.patient_id, str(typed["other"])
                gone, kept = (other, here) if code == "here" else (here, other)
                moving.merge_numbers(self.session, gone, kept, str(typed["reason"]))
                self._show_again(replace(key, patient_id=kept))
                return f"Every eye of {gone} stands under {kept} now."

            self._ask_for(
                f"{key.patient_id} and another number are one patient. Which number stays? Every eye of the other one "
                "goes over to it.",
                (("here", f"{key.patient_id} stays"), ("other", "The other stays")),
                act,
                (OTHER_NUMBER,),
            )

        self._on_eye(ask)

    def _show_again(self, key: CaseKey) -> None:
        """Open the eye as it stands after the act."""
        unseal = self.open_eye is not None and not self.open_eye.hidden
        self.show_eye(bookings.open_eye(self.session, key, unseal=unseal), focus=False)

    # --- the plan ----------------------------------------------------------------------------------------------------

    def confirm_plan(self) -> None:
        """The operating surgeon stands behind the steps as they are kept."""

        def act(key: CaseKey) -> None:
            try:
                plans.confirm_plan(self.session, key)
            except Refusal as refusal:
                self.refuse(refusal)
                return
            self._show_plan_state()
            self.focus_next()
            self.foot.say("Plan confirmed.", settled=True)

        self._on_eye(act)

    def print_slip(self) -> None:
        """Print the plan slip of the open eye, or save it as a PDF."""
        eye = self.open_eye
        if eye is None or eye.state != BOOKED:
            self.notice.say("A plan slip belongs to a booked eye. Book this eye first.")
            return
        if Secret.PLAN in eye.hidden:
            self.notice.say("The plan of this eye is sealed for you; somebody who does not grade can print it.")
            return
        carries = "It carries the steps, never a chance."
        if self.dirty():
            carries += " It shows what is kept, not the changes on the page."

        def paper() -> Paper:
            return plan_slip(self.session, eye.row, plans.plan_state(self.session, eye.key))

        file = f"plan-slip-{eye.key.surgery_date:%Y-%m-%d}.pdf"
        self.printing.ask(Printed("the plan slip", file, carries, paper))

    def _printed(self, words: str) -> None:
        self.focus_next()
        self.notice.say(words)
