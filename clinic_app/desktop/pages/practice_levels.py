"""Practice, Levels and planning line: when day one calls whom, and from which chance the practice plans ahead."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from types import MappingProxyType

from clinic_app.desktop.pages.practice_form import asked
from clinic_app.desktop.pages.practice_section import FormSection
from clinic_app.domain.people import Duty
from clinic_app.domain.practice import Levels
from clinic_app.services import practice
from models.codebook import Field, Kind

USUAL, LOWERED = "Eye pressure on day one", "Lower levels, for an eye that bears less"
WHO, AHEAD = "Whom to call", "Planning ahead"


def _level(name: str, label: str, group: str, help_: str) -> Field:
    return asked(name, label, Kind.NUMBER, group=group, unit="mm[Hg]", hard=(1, 80), help_=help_)


LEVEL_FIELDS: tuple[Field, ...] = (
    _level("low", "Below: look for a leak", USUAL, "A pressure below this is looked into the same day."),
    _level("quiet", "Above: a quiet line", USUAL, "Said beside the reading; nobody is called."),
    _level("today", "Above: a surgeon today", USUAL, "A surgeon decides that day."),
    _level("now", "From: call at once", USUAL, "The surgeon on call is called at once, whoever examines."),
    _level(
        "lowered_today", "Above: a surgeon today", LOWERED,
        "For glaucoma, ocular hypertension, a damaged disc, past glaucoma surgery and an only seeing eye.",
    ),
    _level("lowered_now", "From: call at once", LOWERED, "The same eyes. Day one shows no other eye's levels."),
    asked("on_call", "On call", group=WHO, help_="The name, and how to reach them; stands in every call of day one."),
)  # fmt: skip
AHEAD_FIELDS: tuple[Field, ...] = (
    asked(
        "planning_line", "Planning line, in 100", Kind.NUMBER, group=AHEAD, hard=(1, 99),
        help_="From which chance of a cloudy first day the practice plans ahead. It draws a line; it decides nothing.",
    ),
    asked(
        "day_one_for_all", "Day-one visit for every eye", Kind.YES_NO, group=AHEAD,
        help_="No: an eye without a planned visit is counted apart and is no missing grade.",
    ),
)  # fmt: skip


class LevelsSection(FormSection):
    """The whole section."""

    title = "Levels and planning line"
    under = "Pressure, who is on call, planning"
    lead = "What stands here at first is a suggestion. A surgeon approves the levels by name; each change asks why."
    fields = (*LEVEL_FIELDS, *AHEAD_FIELDS)

    wide = MappingProxyType({"on_call": 400})

    def more_acts(self) -> None:
        self.approve = self.act("Approve the levels…", self.ask_approval, name="approve")

    def shown(self) -> Mapping[str, object]:
        found, settings = practice.levels(self.session), self.session.settings
        self.above.setText(
            f"Levels approved by {found.approved}." if found.approved
            else "Levels not yet approved: no surgeon stands for them."
        )  # fmt: skip
        line = settings.planning_line_set
        self.below.setText(f"Planning line: {line[:1].lower()}{line[1:]}." if line else "No planning line is set.")
        self.approve.setVisible(not found.approved)
        self.approve.setEnabled(self.may)
        ahead = {field.name: getattr(settings, field.name) for field in AHEAD_FIELDS}
        return {**dataclasses.asdict(found), **ahead}

    def wanted(self) -> Levels | None:
        """The levels as the form says them; None when one is empty, which is said."""
        values = self.form.values()
        numbers = {field.name: values.get(field.name) for field in LEVEL_FIELDS if field.kind is Kind.NUMBER}
        if None in numbers.values():
            usual = ", ".join(f"{getattr(Levels(), name):g}" for name in numbers)
            self.said.emit(f"Not kept: every level needs a number. The suggested ones are {usual} mmHg, in this order.")
            return None
        return Levels(**numbers, on_call=self.form.text("on_call"))  # type: ignore[arg-type]

    def _settings(self) -> dict[str, object]:
        values = self.form.values()
        every = values.get("day_one_for_all") is not False
        return {"planning_line": values.get("planning_line"), "day_one_for_all": every}

    def keep_answers(self) -> None:
        wanted = self.wanted()
        if wanted is None:
            return
        held = practice.levels(self.session)
        numbers = dataclasses.replace(wanted, on_call=held.on_call, approved=held.approved) != held
        line = self._settings()["planning_line"] != self.session.settings.planning_line
        if not (numbers or line):
            self._keep(wanted, "", approve=False)
            return
        answers = [("keep", "Keep; approval waits" if numbers else "Keep")]
        if numbers and self.session.may(Duty.SURGEON):
            answers.insert(0, ("approve", "Keep and approve"))
        what = "These levels decide when somebody is called." if numbers else "The planning line changes for everybody."
        self.ask(
            f"{what} You are {self.session.person}. Why do they change?" if numbers else f"{what} Why?",
            tuple(answers),
            lambda code, reason: self._keep(wanted, reason, approve=code == "approve"),
            reason="Reason, in a few words",
        )

    def _keep(self, wanted: Levels, reason: str, *, approve: bool) -> None:
        def act() -> None:
            practice.change_levels(self.session, wanted, reason=reason, approve=approve)
            self.renewed.emit(practice.change_settings(self.session, self._settings(), reason=reason))

        self.finish(act)

    def ask_approval(self) -> None:
        """Approve the levels as they stand on the form, or say who can."""
        wanted = self.wanted() if self.ready() else None
        if wanted is None:
            return
        if not self.session.may(Duty.SURGEON):
            self.said.emit("A surgeon approves the levels: change person (Ctrl+Shift+P) and approve them here.")
            return
        self.ask(
            f"{self.session.person} stands for these levels, with today's date. On what are they based?",
            (("approve", "Approve"),),
            lambda _, reason: self._keep(wanted, reason, approve=True),
            reason="Such as the protocol, or what was agreed",
        )
