"""The plan slip: what was planned for one eye, to lie in theatre. It never carries a chance."""

from __future__ import annotations

from datetime import date

from clinic_app.desktop.papers.paper import Paper, Section, TickBox, paper_of
from clinic_app.desktop.words import answer_words, day_words
from clinic_app.domain.plans import PlanState
from clinic_app.domain.record import Row
from clinic_app.exchange.cautions import CAUTIONS
from clinic_app.session import Session
from models.codebook import BY_NAME

TITLE = "Plan slip"
SUPPORTS = "Supports, and never replaces, the judgement of the licensed clinician looking after the patient."


def plan_slip(session: Session, row: Row, plan: PlanState) -> Paper:
    """The slip for the eye of `row`; `plan` says who proposed and who confirmed the steps."""
    return paper_of(
        session,
        TITLE,
        (
            Section(side=str(row["eye"]), lines=identity_lines(session, row)),
            _steps(row),
            Section("Who", lines=_who(session, plan), blanks=() if plan.confirmed_by else ("Operating surgeon",)),
        ),
        cautions=(SUPPORTS, CAUTIONS["C2"]),
    )


def identity_lines(session: Session, row: Row) -> tuple[str, ...]:
    """Whose eye and when, as the plate's lines: number, birth date and sex; surgery day and surgeon."""
    born, day = row.get("birth_date"), row.get("surgery_date")
    first = [str(row["patient_id"])]
    if isinstance(born, date):
        first.append(f"born {day_words(born)}")
    if row.get("sex"):
        first.append(answer_words(BY_NAME["sex"], row["sex"]).lower())
    second = [f"Surgery {day_words(day, session.today())}"] if isinstance(day, date) else []
    if row.get("booked_surgeon_id"):
        second.append(str(row["booked_surgeon_id"]))
    return (" · ".join(first), " · ".join(second))


def _steps(row: Row) -> Section:
    field = BY_NAME["protection_plan"]
    held = row.get("protection_plan")
    codes = held if isinstance(held, tuple) else ()
    planned = [code for code in codes if not code.startswith("none")]
    if not planned:
        return Section("Steps planned", lines=("No plan needed." if codes else "No steps planned so far.",))
    return Section("Steps planned", boxes=tuple(TickBox(field.choice_label(code), True) for code in planned), columns=2)


def _who(session: Session, plan: PlanState) -> tuple[str, ...]:
    lines = []
    if plan.proposed_by:
        at = day_words(plan.proposed_at.date(), session.today()) if plan.proposed_at else ""
        lines.append(f"Proposed by {plan.proposed_by}, {at}".rstrip(", ") + ".")
    if plan.confirmed_by:
        at = day_words(plan.confirmed_at.date(), session.today()) if plan.confirmed_at else ""
        lines.append(f"Confirmed by {plan.confirmed_by}, {at}".rstrip(", ") + ".")
    else:
        lines.append("Not yet confirmed by the operating surgeon.")
    return tuple(lines)
