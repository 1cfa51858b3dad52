"""The form of a visit besides day one: the check on the day of surgery, and rechecks until the cornea is clear."""

from __future__ import annotations

import dataclasses
from datetime import date

from clinic_app.desktop.look import Look
from clinic_app.desktop.pages.day_one_form import seen_control
from clinic_app.desktop.pages.stage_form import StageForm
from clinic_app.desktop.parts.answer import Answer, Given
from clinic_app.desktop.parts.entry import EntryAnswer
from clinic_app.desktop.words import day_words
from clinic_app.domain.answers import Taken
from clinic_app.domain.reading import read
from clinic_app.domain.visits import Clearing
from clinic_app.services.clearing import visit_fields
from clinic_app.settings import Settings
from models.codebook import BY_NAME, Field, Kind, Role, Stage

PRESSURE = "recheck_iop_mmhg"
NEXT_ON, CHANGED_DROPS = "next_on", "changed_drops"
GROUP = "Visit"
NEXT = Field(
    name=NEXT_ON, label="Next visit", kind=Kind.DATE, stage=Stage.RECHECK, role=Role.CONTEXT, group=GROUP, folded=True,
    help="The day agreed for the next visit. A clear cornea needs none.",
)  # fmt: skip
DROPS = Field(
    name=CHANGED_DROPS, label="Change of drops", kind=Kind.TEXT, stage=Stage.RECHECK, role=Role.CONTEXT, group=GROUP,
    folded=True, help="What changed against the practice's protocol, in a few words.",
)  # fmt: skip


class VisitForm(StageForm):
    """What a visit asks. Grade and readings as on day one, then the next visit and a change of drops."""

    def __init__(self, look: Look, settings: Settings, today: date) -> None:
        fields = [dataclasses.replace(field, group=GROUP) for field in visit_fields()]
        super().__init__(look, settings, today, (*fields, NEXT, DROPS))

    def control(self, field: Field) -> Answer:
        return seen_control(self.look, field)

    def said(self, name: str, text: str) -> None:
        """Read a typed text. A pressure outside the usual is not asked about: its halt speaks first."""
        answer = self.answers[name]
        if name == PRESSURE and isinstance(answer, EntryAnswer):
            came = read(BY_NAME[PRESSURE], text, soft="note", today=self.today)
            if isinstance(came, Taken):
                self._drop_lines(name)
                self._taken(answer, Given(came.value, typed=came.typed))
                return
        super().said(name, text)

    def visit_row(self) -> dict[str, object]:
        """What was seen, laid flat."""
        return {name: value for name, value in self.row().items() if not name.startswith((NEXT_ON, CHANGED_DROPS))}

    def next_on(self) -> date | None:
        """The day agreed for the next visit."""
        value = self.answers[NEXT_ON].given.value
        return value if isinstance(value, date) else None

    def drops(self) -> str:
        """The change of drops in words."""
        value = self.answers[CHANGED_DROPS].given.value
        return value if isinstance(value, str) else ""


def clearing_words(found: Clearing | None, today: date) -> str:
    """How far a cloudy cornea is, in one line."""
    if found is None:
        return ""
    if found.clear_on is not None:
        return f"Clear since {day_words(found.clear_on, today)}: {found.days_to_clear} days after surgery."
    grade = found.last.get("recheck_edema_grade_central", found.last.get("edema_grade_central"))
    visits = "1 visit" if found.visits == 1 else f"{found.visits} visits"
    words = f"Not clear yet: grade {grade} at the last visit, {visits} since day one."
    return words if found.next_on is None else f"{words} Next check {day_words(found.next_on, today)}."
