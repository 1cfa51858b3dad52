"""Practice, Surgeons' usual: the habits and settings that theatre proposes, dashed, for one surgeon."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping

from clinic_app.desktop.jobs import Jobs
from clinic_app.desktop.look import Look
from clinic_app.desktop.pages.practice_form import PracticeForm, asked
from clinic_app.desktop.pages.practice_register import RegisterSection
from clinic_app.desktop.pages.practice_table import Entry
from clinic_app.desktop.parts.entry import EntryAnswer
from clinic_app.desktop.words import answer_words
from clinic_app.domain.practice import PROPOSABLE
from clinic_app.domain.record import Value
from clinic_app.services import practice
from clinic_app.session import Session
from models.codebook import Choice, Field, Kind
from models.codebook import field as field_of

NO_USUAL = "no_usual"
SURGEON = asked(
    "surgeon", "Surgeon", Kind.IDENTIFIER, group="Surgeon", help_="The code under which the surgeon operates."
)  # fmt: skip


def _with_no_usual(field: Field) -> Field:
    if not field.choices:
        return dataclasses.replace(field, folded=False)
    return dataclasses.replace(field, folded=False, choices=(*field.choices, Choice(NO_USUAL, "No usual")))


USUAL_FIELDS = tuple(_with_no_usual(field_of(name)) for name in PROPOSABLE)


class UsualSection(RegisterSection):
    """The whole section."""

    title = "Surgeons' usual answers"
    under = "What theatre proposes, dashed"
    lead = (
        "Habits and settings only. Readings, hardness, grades, events, and what the causes are looked for in are never "
        "proposed: they are answered for each eye."
    )
    noun, new_words = "surgeon", "Another surgeon"
    headings = ("Surgeon", "Usual answers")
    empty_words = "No surgeon has usual answers yet. Name one below."

    def __init__(self, session: Session, look: Look, jobs: Jobs) -> None:
        super().__init__(session, look, jobs)
        self._known: tuple[str, ...] = ()

    def make_form(self) -> PracticeForm:
        return PracticeForm(self.look, self.session.settings, self.session.today(), (SURGEON, *USUAL_FIELDS))

    def entries(self) -> list[Entry]:
        found = []
        for name in practice.with_usual(self.session):
            held = practice.usual(self.session, name)
            found.append(Entry(name, (name, self._words(held)), {"surgeon": name, **held}))
        return found

    def load(self) -> None:
        super().load()
        self.work(practice.surgeons, self.session, done=self._suggest)

    def _suggest(self, names: object) -> None:
        answer = self.form.answers["surgeon"]
        if isinstance(answer, EntryAnswer) and isinstance(names, tuple):
            answer.suggest(names)

    def _words(self, held: Mapping[str, Value]) -> str:
        said = [answer_words(field_of(name), value) for name, value in held.items()]
        return ", ".join(said) if said else "none"

    def opened(self) -> None:
        self.form.lock(bool(self.ledger.open_name) or not self.may, "surgeon")

    def keep_entry(self, values: Mapping[str, Value]) -> str:
        name = str(values.get("surgeon", ""))
        held = {key: one for key, one in values.items() if key != "surgeon" and one != NO_USUAL}
        practice.put_usual(self.session, name, held)
        return name
