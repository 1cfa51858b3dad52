"""Practice, House steps: the practice's own words of its eight steps, and its drops after surgery."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from clinic_app.desktop.pages.practice_form import asked
from clinic_app.desktop.pages.practice_section import FormSection
from clinic_app.desktop.words import day_words
from clinic_app.domain.people import Duty
from clinic_app.domain.practice import HOUSE_STEPS
from clinic_app.services import practice

WORDING, DROPS = "How we say each step", "Drops after surgery"
LINES = 5
STEP_FIELDS = tuple(
    asked(step, step, group=WORDING, help_="Shown beside the step's number in theatre and in reviews. Empty: as here.")
    for step in HOUSE_STEPS
)
DROP_FIELDS = tuple(
    asked(f"line_{place}", f"Line {place}", group=DROPS, help_="What every patient gets unless day one changes it.")
    for place in range(1, LINES + 1)
)


class StepsSection(FormSection):
    """The whole section."""

    title = "House steps"
    under = "Our words, drops after surgery"
    lead = "The order of the eight steps is the program's; their words are yours. Drops are kept as numbered versions."
    fields = (*STEP_FIELDS, *DROP_FIELDS)
    wide = MappingProxyType({**{one.name: 400 for one in STEP_FIELDS}, **{one.name: 860 for one in DROP_FIELDS}})

    def kept_lines(self) -> list[str]:
        """The drops as they are written down."""
        entry = practice.drops(self.session)
        lines = entry.body.get("lines") if entry is not None else None
        return [str(line) for line in lines] if isinstance(lines, list) else []

    def shown(self) -> Mapping[str, object]:
        entry = practice.drops(self.session)
        self.below.setText(
            f"Drops: version {entry.version}, by {entry.by} on {day_words(entry.at.date())}." if entry is not None
            else "No drops are written down yet."
        )  # fmt: skip
        lines = {f"line_{place}": line for place, line in enumerate(self.kept_lines(), start=1)}
        return {**practice.steps(self.session), **lines}

    def _lines(self) -> list[str]:
        return [text for field in DROP_FIELDS if (text := self.form.text(field.name))]

    def keep_answers(self) -> None:
        if self._lines() == self.kept_lines():
            self._keep("")
        elif not self.session.may(Duty.SURGEON):
            self.said.emit("Not kept: the drops are a surgeon's to change. Put them back, or change person.")
        else:
            self.ask(
                "The drops change for every patient from now on. Why?",
                (("keep", "Keep"),),
                lambda _, reason: self._keep(reason),
                reason="Reason, in a few words",
            )

    def _keep(self, reason: str) -> None:
        def act() -> None:
            practice.put_steps(self.session, {field.name: self.form.text(field.name) for field in STEP_FIELDS})
            if reason:
                practice.put_drops(self.session, self._lines(), reason=reason)

        self.finish(act)
