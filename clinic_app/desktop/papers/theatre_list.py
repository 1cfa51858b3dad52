"""The printed theatre list: who, which eye, what was planned, what to note. It never carries a chance."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from clinic_app.desktop.papers.paper import Paper, Section, Table, paper_of
from clinic_app.desktop.parts.plate import SIDES
from clinic_app.desktop.words import answer_words, day_words, list_day
from clinic_app.domain.record import Row
from clinic_app.exchange.cautions import CAUTIONS
from clinic_app.services.theatre import TheatreEye
from clinic_app.session import Session
from models.codebook import BY_NAME

TITLE = "Theatre list"
HEADS = ("Time", "Patient", "Born", "Eye", "Surgeon", "Nucleus", "Steps planned", "To note")
SHARES = (0.7, 1.2, 1.2, 1.0, 1.1, 0.8, 2.6, 2.4)
ROW_MM = 10.0
NOTED = (
    "only_seeing_eye", "glaucoma", "alpha_blocker", "pseudoexfoliation", "white_or_brunescent", "prior_keratoplasty",
    "prior_angle_closure_attack", "uveitis_history", "steroid_responder", "prior_vitrectomy", "planned_combined",
)  # fmt: skip
"""Facts of the booking that theatre should know; printed where they are not no or none."""


def theatre_list(session: Session, eyes: Sequence[TheatreEye]) -> Paper:
    """The list of these eyes, a table a day, in their order. What is sealed for the person printing is not on it."""
    days: dict[date, list[TheatreEye]] = {}
    for eye in eyes:
        days.setdefault(eye.key.surgery_date, []).append(eye)
    sections = [
        Section(
            list_day(day, session.today()),
            table=Table(HEADS, tuple(_row(session, eye) for eye in of_day), SHARES, least=ROW_MM),
        )
        for day, of_day in days.items()
    ]
    return paper_of(
        session,
        TITLE,
        tuple(sections) or (Section(lines=("No list today.",)),),
        cautions=(CAUTIONS["C2"], "This list replaces no surgical pause: check consent, mark and patient."),
        landscape=True,
    )


def _row(session: Session, eye: TheatreEye) -> tuple[str, ...]:
    row, born = eye.row, eye.row.get("birth_date")
    hardness = row.get("nucleus_hardness")
    side = f"{SIDES[eye.key.eye]} ({eye.key.eye})"
    return (
        f"{eye.starts:%H:%M}" if eye.starts is not None else "",
        eye.key.patient_id,
        day_words(born) if isinstance(born, date) else "",
        f"{side}, both eyes today" if eye.fellow is not None else side,
        str(row.get("booked_surgeon_id") or ""),
        "" if hardness is None else str(hardness),
        _steps(row),
        "; ".join(_noted(row)),
    )


def _steps(row: Row) -> str:
    held = row.get("protection_plan")
    codes = held if isinstance(held, tuple) else ()
    return ", ".join(BY_NAME["protection_plan"].choice_label(one) for one in codes if not one.startswith("none"))


def _noted(row: Row) -> list[str]:
    words = []
    for name in NOTED:
        value, field = row.get(name), BY_NAME[name]
        if value is True:
            words.append(field.label)
        elif value not in (None, False, "none", "no"):
            answer = answer_words(field, value)
            words.append(f"{field.label}: {answer[:1].lower()}{answer[1:]}")
    return words
