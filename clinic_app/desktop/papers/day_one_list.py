"""Papers of day one: the list of who is to be seen, and a blank sheet. Neither carries a forecast or a plan."""

from __future__ import annotations

from clinic_app.desktop.papers.paper import Paper, Section, Table, TickBox, paper_of
from clinic_app.desktop.parts.plate import SIDES
from clinic_app.desktop.words import day_words
from clinic_app.domain.day_one import ANYTHING_ELSE, sheet_fields
from clinic_app.domain.practice import LEVELS, levels_of
from clinic_app.exchange.cautions import CAUTIONS
from clinic_app.services.day_one import DayList, Group, ListedEye
from clinic_app.session import Session
from models.codebook import CENTRE_GRADE, Field, Kind

LIST_TITLE, SHEET_TITLE = "Day-one list", "Day-one sheet"
HEADS = ("Time", "Patient", "Eye", "After surgery", "Seen, by whom", "To note")
SHARES = (0.8, 1.4, 0.9, 1.6, 2.0, 2.4)
ROW_MM = 11.0


def day_one_list(session: Session, found: DayList) -> Paper:
    """Who is to be seen, in the order of the page, with room to write."""
    sections = []
    for group in Group:
        eyes = [eye for eye in found.eyes if eye.group is group]
        if eyes:
            rows = tuple(_row(session, eye) for eye in eyes)
            sections.append(Section(group.value, table=Table(HEADS, rows, SHARES, least=ROW_MM)))
    if not sections:
        sections.append(Section(lines=("Nobody is due.",)))
    sections += [Section(lines=(halt.sentence,)) for _, halt in found.clusters]
    return paper_of(session, LIST_TITLE, tuple(sections), cautions=_cautions(session))


def _row(session: Session, eye: ListedEye) -> tuple[str, ...]:
    time = f"{eye.appointment:%H:%M}" if eye.appointment is not None else ""
    noted = ["did not attend"] if eye.missed else []
    noted += ["sheet not signed"] if not eye.signed else []
    noted += [halt.sentence for halt in eye.to_note]
    if eye.clearing is not None and eye.clearing.next_on is not None:
        noted.append(f"next check {day_words(eye.clearing.next_on, session.today())}")
    return (time, eye.key.patient_id, f"{SIDES[eye.key.eye]} ({eye.key.eye})", eye.hours, "", "; ".join(noted))


def blank_sheet(session: Session) -> Paper:
    """A sheet to fill in by hand, in the order of the examination."""
    who = Section(
        "Who, and which eye",
        lines=("Ask the day and month of birth before the eye. Write nothing for the other eye on this sheet.",),
        boxes=(TickBox("Right eye (R)"), TickBox("Left eye (L)")),
        columns=2,
        blanks=("Patient number", "Day and month of birth", "Day and time", "Examiner"),
    )
    fields = [field for field in sheet_fields() if not field.folded]
    groups = dict.fromkeys(field.group for field in fields)
    parts = [_part(group, [field for field in fields if field.group == group]) for group in groups]
    done = Section("Whoever was called", blanks=("Reached", "Decided", "Checked again"))
    flat = [section for part in parts for section in part]
    return paper_of(session, SHEET_TITLE, (who, *flat, done), cautions=_cautions(session))


def _part(group: str, fields: list[Field]) -> list[Section]:
    """The answers of one group in their order: a line to write on, or boxes to tick."""
    sections = []
    for place, field in enumerate(fields):
        heading, answers = group if place == 0 else "", _answers(field)
        if answers:
            boxes = tuple(TickBox(words) for words in (*answers, "Not possible"))
            sections.append(Section(heading, lines=(field.label,), boxes=boxes, columns=6 if len(boxes) > 4 else 4))
        else:
            sections.append(Section(heading, blanks=(_blank(field),)))
    return sections


def _blank(field: Field) -> str:
    unit = {"um": "µm", "mm[Hg]": "mmHg"}.get(field.unit, field.unit)
    return f"{field.label}, {unit}" if unit else field.label


def _answers(field: Field) -> tuple[str, ...]:
    if field.kind is Kind.YES_NO:
        return ("No", "Yes")
    if field.name == ANYTHING_ELSE.name:
        return tuple(one.label for one in field.choices[:-1])
    if field.name == CENTRE_GRADE:
        return tuple(f"{one.code} {one.label}" for one in field.choices)
    if field.kind is Kind.GRADE:
        return tuple(one.code for one in field.choices)
    return tuple(one.label for one in field.choices)


def _cautions(session: Session) -> tuple[str, ...]:
    levels = levels_of(session.store.register(LEVELS))
    call = levels.on_call or "the surgeon on call"
    return (
        f"{CAUTIONS['C9']} On call: {call}. Levels of pressure are those of each eye.",
        CAUTIONS["C2"],
    )
