"""What happens around an examination: not seen, asked from afar, read again, noted, agreed, corrected."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime

from clinic_app.domain import day_one
from clinic_app.domain.answers import Missing
from clinic_app.domain.halts import DISCHARGE, REDNESS, VISION_NOW, Halt
from clinic_app.domain.people import Duty
from clinic_app.domain.record import Case, CaseKey, StageRecord, Value
from clinic_app.domain.visits import APPOINTMENT
from clinic_app.errors import Refusal
from clinic_app.services.day_one.moment import MAY, case_of, now_of
from clinic_app.session import Session
from models.codebook import BY_NAME, Stage

WRONG_EYE, NOT_SEEN = "wrong_eye", "not_seen"


def note_wrong_eye(session: Session, key: CaseKey, pressed: str) -> None:
    """Write down that something else than booked was said before the sheet opened: R, L or `birth_day`."""
    with session.store.writing(by=session.person, act="wrong eye") as write:
        write.add_event(key, WRONG_EYE, {"page": "day_one", "pressed": pressed})


def not_seen(session: Session, key: CaseKey, reason: str, on: date) -> None:
    """Record why an eye has no grade, and since when that is known; it can still become graded. Refused for an eye
    that was examined, graded or not.

    `reason` is one of `day_one.NOT_SEEN`. Who died or was transferred, or did not attend, never counts as clear.
    """
    session.need(*MAY, Duty.BOOKING, act="Recording an eye as not seen")
    if reason not in day_one.NOT_SEEN:
        raise ValueError("no reason for an eye not seen")
    if on < key.surgery_date or on > now_of(session).date():
        raise Refusal(
            "Nothing was recorded.",
            "The day lies before the surgery or has not come yet.",
            "Enter the day on which that became known.",
        )
    _write_status(session, key, {"visit_status": reason}, {"reason": reason, "on": on.isoformat()})


def not_planned(session: Session, keys: Iterable[CaseKey]) -> int:
    """Record that no visit on day one was planned for these eyes; how many were written. Seen eyes stay as they are.

    Refused while the practice says that every eye is to be seen: they would then be missing grades.
    """
    session.need(*MAY, Duty.BOOKING, act="Recording that no visit was planned")
    if session.settings.day_one_for_all:
        raise Refusal(
            "Nothing was recorded.",
            "This practice says that every eye is seen on day one; an eye without a visit is a missing grade.",
            "Change that under Practice, or record why the eye was not seen.",
        )
    written = 0
    with session.store.writing(by=session.person, act="no visit planned") as write:
        for key in keys:
            if not case_of(session, key).has(Stage.DAY_ONE):
                write.put_stage(key, StageRecord(Stage.DAY_ONE, {"visit_status": day_one.NOT_PLANNED}), merge=False)
                written += 1
    return written


def remote(session: Session, key: CaseKey, answers: Mapping[str, object]) -> None:
    """Keep a remote sheet: pain, headache or nausea, vision against yesterday, redness, discharge. Never a grade.

    An eye not examined yet becomes one of remote only; it can still become graded.
    """
    session.need(*MAY, act="Keeping a remote sheet")
    allowed = {"pain_0_10", "headache_or_nausea", VISION_NOW, REDNESS, DISCHARGE}
    body = {name: answers[name] for name in sorted(allowed) if answers.get(name) is not None}
    if not body:
        raise Refusal("Nothing was kept.", "The remote sheet has no answer.", "Ask, and enter at least one answer.")
    case = case_of(session, key)
    values: dict[str, Value] = {"visit_status": "remote_only"}
    values.update({name: body[name] for name in ("pain_0_10", "headache_or_nausea") if name in body})  # type: ignore[misc]
    with session.store.writing(by=session.person, act="remote sheet") as write:
        if not _examined(case):
            write.put_stage(key, StageRecord(Stage.DAY_ONE, values))
        write.add_event(key, day_one.REMOTE, body)


def read_again(session: Session, key: CaseKey, value: float, method: str | None, at: datetime | None = None) -> None:
    """Write down a pressure read again, in mmHg; the first reading stays the one the model may use."""
    session.need(*MAY, act="Entering a pressure")
    hard = BY_NAME[day_one.PRESSURE].hard or (0, 80)
    if not hard[0] <= value <= hard[1]:
        raise Refusal(
            "The pressure was not kept.", f"{value:g} mmHg is outside {hard[0]:g} to {hard[1]:g}.", "Read it again."
        )
    moment = at or now_of(session)
    body = {"field": day_one.PRESSURE, "value": value, "method": method, "at": moment.isoformat(timespec="minutes")}
    with session.store.writing(by=session.person, act="pressure read again") as write:
        write.add_event(key, day_one.READING, body)


def note_action(
    session: Session,
    key: CaseKey,
    about: str | Sequence[Halt],
    reached: str,
    decided: str,
    check_again: str = "",
) -> None:
    """Note what was done about halts, all or none: who was reached, what was decided, when it is checked again.

    `about` holds the halts as they stood, so that a call that becomes due later, and one more unusual eye of a list,
    are asked about anew; or it is one id alone, such as `day_one.MISSED`.
    """
    session.need(*MAY, act="Noting an action")
    if not reached.strip() or not decided.strip():
        raise Refusal(
            "The action was not noted.",
            "It says who was reached and what was decided.",
            "Fill in both; until then the eye stays on the list.",
        )
    said = {"reached": reached.strip(), "decided": decided.strip()}
    if check_again.strip():
        said["check_again"] = check_again.strip()
    bodies = [{"halt": about, **said}] if isinstance(about, str) else [{**_halt(one), **said} for one in about]
    with session.store.writing(by=session.person, act="note an action") as write:
        for body in bodies:
            write.add_event(key, day_one.ACTION, body)


def _halt(halt: Halt) -> dict[str, object]:
    body: dict[str, object] = {"halt": halt.code, "urgency": halt.urgency.value}
    return {**body, "eyes": halt.eyes} if halt.eyes else body


def appoint(session: Session, key: CaseKey, at: datetime) -> None:
    """Write down when an eye is expected."""
    session.need(*MAY, Duty.BOOKING, act="Making an appointment")
    if at.date() < key.surgery_date:
        raise Refusal("The appointment was not kept.", "It lies before the surgery.", "Enter a day after the surgery.")
    with session.store.writing(by=session.person, act="appointment") as write:
        write.add_event(key, APPOINTMENT, {"at": at.isoformat(timespec="minutes")})


def correct(session: Session, key: CaseKey, changes: Mapping[str, Value | Missing], *, reason: str) -> None:
    """Correct answers of a locked sheet, all with one reason. The first values stay where they are and are the ones
    that reviews use; what is known now stands beside them, marked as made after the forecast was opened.

    `changes` holds fields of the sheet with their value, or the reason for having none.
    """
    session.need(*MAY, act="Correcting a locked sheet")
    for name, value in changes.items():
        _may_become(name, value)
    if not reason.strip():
        raise Refusal(
            "Nothing was changed.", "A locked answer changes only with a reason.", "Give the reason in a few words."
        )
    locked = case_of(session, key).stages.get(Stage.DAY_ONE)
    if locked is None:
        raise Refusal("Nothing was changed.", "The sheet of this eye is not locked.", "Change the answer on the sheet.")
    with session.store.writing(by=session.person, act="correct", reason=reason.strip()) as write:
        for name, value in changes.items():
            body = {
                "stage": Stage.DAY_ONE.value,
                "field": name,
                "first": day_one.to_json(locked.record.values.get(name)),
                "first_missing": locked.record.missing.get(name),
                "value": None if isinstance(value, Missing) else day_one.to_json(value),
                "missing": value.code if isinstance(value, Missing) else None,
                "reason": reason.strip(),
            }
            write.add_event(key, day_one.CORRECTION, body)


def _may_become(name: str, value: Value | Missing) -> None:
    field = BY_NAME[name]
    if field.stage is not Stage.DAY_ONE or field.derived or name in day_one.BY_PROGRAM:
        raise ValueError(f"{name} is not an answer of the sheet")
    if field.hard is not None and isinstance(value, int | float) and not field.hard[0] <= value <= field.hard[1]:
        raise Refusal(
            "Nothing was changed.",
            f"{field.label} {value:g} is outside {field.hard[0]:g} to {field.hard[1]:g}.",
            "Enter a value within the range.",
        )


def _write_status(session: Session, key: CaseKey, values: Mapping[str, Value], body: Mapping[str, object]) -> None:
    if _examined(case_of(session, key)):
        raise Refusal(
            "Nothing was recorded.",
            "This eye was examined, so it was seen.",
            "Open its sheet and lock a grade, or correct a locked one with a reason.",
        )
    with session.store.writing(by=session.person, act="not seen") as write:
        write.put_stage(key, StageRecord(Stage.DAY_ONE, values), merge=False)
        write.add_event(key, NOT_SEEN, body)


def _examined(case: Case) -> bool:
    return case.has(Stage.DAY_ONE) and day_one.examined(case.row())
