"""Practice, People: who works here, what each may do, who left, and the PINs."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from clinic_app.desktop.jobs import Jobs
from clinic_app.desktop.look import Look
from clinic_app.desktop.pages.practice_form import PracticeForm, asked
from clinic_app.desktop.pages.practice_pin import PinSteps
from clinic_app.desktop.pages.practice_register import RegisterSection
from clinic_app.desktop.pages.practice_table import Entry
from clinic_app.desktop.words import day_words
from clinic_app.domain.people import DUTY_WORDS, Duty, Person, duties_words
from clinic_app.domain.record import Value
from clinic_app.services import people
from clinic_app.session import Session
from models.codebook import Kind

NAME = asked(
    "name",
    "Name",
    Kind.IDENTIFIER,
    group="Person",
    help_="As the person signs: family name, or however the practice says it.",
)
CODE = asked(
    "surgeon_id", "Surgeon's code", Kind.IDENTIFIER, group="Person",
    help_="For those who operate: the code that stands in the records. Empty for everybody else.",
)  # fmt: skip
DUTIES = asked(
    "duties", "Duties", Kind.CHOICES, group="What this person does here",
    choices={duty.value: words for duty, words in DUTY_WORDS.items()},
    help_="One person may have several. Scribe: writes the sheet, the surgeon signs. People: looks after this page.",
)  # fmt: skip
REASON = "Reason, in a few words"


class PersonForm(PracticeForm):
    """Name, code, duties: Enter also stops at duties that are ticked already, since a new person needs others."""

    def go_on(self, name: str | None = None) -> None:
        names = list(self.answers)
        for each in names[names.index(name) + 1 if name in names else 0 :]:
            answer = self.answers[each]
            if answer.isEnabled() and (each == DUTIES.name or self.is_open(answer)):
                self.focus(answer)
                return
        self.finished.emit()


class PeopleSection(RegisterSection):
    """The whole section."""

    title = "People"
    under = "Names, duties, PINs"
    lead = "Each act in the record carries a name. While nobody stands here, everybody may do everything."
    noun, new_words = "person", "New person"
    headings = ("Name", "Duties", "Surgeon's code", "PIN", "Here")
    empty_words = (
        "Nobody is registered yet. Begin with yourself: the first person also looks after people, and from then on "
        "only registered people can change anything."
    )
    duties = (Duty.PEOPLE,)

    def __init__(self, session: Session, look: Look, jobs: Jobs) -> None:
        super().__init__(session, look, jobs)
        self.held: dict[str, Person] = {}
        self.pin = PinSteps(look)
        self.column.insertWidget(1, self.pin)
        self.pin.done.connect(self._set_pin)
        self.pin.left.connect(self.first_focus)

    def more_acts(self) -> None:
        self.mine = self.act("Set my PIN…", self.begin_pin, name="my_pin")
        self.reset = self.act("Reset PIN…", self.ask_reset, name="reset_pin")
        self.leaves = self.act("Leaves…", self.ask_leave, name="leave")

    def make_form(self) -> PracticeForm:
        return PersonForm(self.look, self.session.settings, self.session.today(), (NAME, CODE, DUTIES))

    def entries(self) -> list[Entry]:
        found = people.people(self.session, gone=True)
        self.held = {one.name: one for one in found}
        return [Entry(one.name, self._cells(one), self._values(one)) for one in found]

    def _gone(self, person: Person) -> bool:
        return person.left is not None and person.left <= self.session.today()

    def _cells(self, one: Person) -> tuple[str, ...]:
        here = f"left {day_words(one.left)}" if one.left is not None else "yes"
        return one.name, duties_words(one.duties), one.surgeon_id or "", "set" if one.has_pin else "none", here

    @staticmethod
    def _values(one: Person) -> dict[str, object]:
        duties = tuple(duty.value for duty in DUTY_WORDS if duty in one.duties)
        return {"name": one.name, "surgeon_id": one.surgeon_id, "duties": duties}

    def load(self) -> None:
        super().load()
        if not self.ledger.entries and self.may:
            self.form.show_values({"name": self.session.person, "duties": (Duty.DATA_LEAD.value, Duty.PEOPLE.value)})
        self.opened()

    def opened(self) -> None:
        person = self.held.get(self.ledger.open_name)
        self.form.lock(person is not None or not self.may, "name")
        self.reset.setVisible(person is not None)
        self.reset.setEnabled(self.may and person is not None and person.has_pin)
        self.leaves.setVisible(person is not None)
        self.leaves.setEnabled(self.may)
        self.leaves.set_words("Is back…" if person is not None and self._gone(person) else "Leaves…")
        me = self.held.get(self.session.person)
        self.mine.setVisible(me is not None and not self._gone(me) and not self.read_only)

    # --- keeping -----------------------------------------------------------------------------------------------------

    def _duties(self, values: Mapping[str, Value]) -> frozenset[Duty]:
        held = values.get("duties")
        return frozenset(Duty(code) for code in held) if isinstance(held, tuple) else frozenset()

    def keep_now(self) -> None:
        name = self.form.text("name")
        if self.ledger.open_name:
            self.ask(
                f"The duties of {name} change. Why?", (("keep", "Keep"),), lambda _, reason: self._change(reason),
                reason=REASON,
            )  # fmt: skip
        else:
            super().keep_now()

    def keep_entry(self, values: Mapping[str, Value]) -> str:
        code = str(values["surgeon_id"]) if values.get("surgeon_id") else None
        name = str(values.get("name", ""))
        first = not self.held
        by = self.session if self.session.person else self.session.acting(name)
        kept = people.register(by, name, self._duties(values), surgeon_id=code).name
        if first:  # from now on only registered people act: this one goes on under the name just given
            self.renewed.emit(people.sign_in(self.session, kept))
        return kept

    def _change(self, reason: str) -> None:
        values, name = self.form.values(), self.ledger.open_name
        code = str(values["surgeon_id"]) if values.get("surgeon_id") else None
        if not self.form.dirty():
            self.stood.emit("Nothing was changed.", True)
            return
        if self.tried(
            lambda: people.change(self.session, name, duties=self._duties(values), surgeon_id=code, reason=reason)
        ):
            self.form.settle()
            self.load()
            self.stood.emit(f"{name} is kept.", True)

    def _done(self, act: Callable[[], object], words: str) -> None:
        """Do what leaves the duties and the code alone: the form keeps what was typed into it meanwhile."""
        if self.tried(act):
            self.ledger.show_entries(self.entries())
            self.opened()
            self.stood.emit(words, True)

    # --- leaving, PINs -----------------------------------------------------------------------------------------------

    def ask_leave(self) -> None:
        """Somebody leaves, or is back."""
        name = self.ledger.open_name
        if self._gone(self.held[name]):
            self.ask(
                f"{name} works here again, with the duties held before. Why?", (("back_here", "Is back"),),
                lambda _, reason: self._done(
                    lambda: people.come_back(self.session, name, reason=reason), f"{name} works here again."
                ),
                reason=REASON,
            )  # fmt: skip
        else:
            self.ask(
                f"{name} leaves today: no duty counts any more, the name stays in the record. Why?",
                (("leave", "Leaves"),),
                lambda _, reason: self._done(
                    lambda: people.leave(self.session, name, reason=reason), f"{name} has left."
                ),
                reason=REASON,
            )

    def ask_reset(self) -> None:
        """Take a forgotten PIN away."""
        name = self.ledger.open_name
        self.ask(
            f"{name} can set a new PIN afterwards; until then none is asked for. Why?", (("reset", "Reset the PIN"),),
            lambda _, reason: self._done(
                lambda: people.reset_pin(self.session, name, reason=reason), f"The PIN of {name} is taken away."
            ),
            reason=REASON,
        )  # fmt: skip

    def begin_pin(self) -> None:
        """Ask this person for a PIN, the old one first where there is one."""
        me = self.held.get(self.session.person)
        if self.form.dirty():
            held = f"the answers for {self.ledger.open_name}" if self.ledger.open_name else "the new person"
            self.said.emit(f"No PIN was asked for: {held} are not kept yet. Keep them first, or take them back.")
        elif me is not None:
            self.pin.begin(me.name, old=me.has_pin)
            self.revealed.emit(self.pin)

    def _set_pin(self, new: str, old: str) -> None:
        self._done(lambda: people.set_pin(self.session, new, old=old or None), "Your PIN is set.")
        self.first_focus()
