"""What moves an eye other than its answers: stood down, another day, consent withdrawn, two numbers that are one."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from datetime import date

from clinic_app.domain.derived import complete
from clinic_app.domain.moves import (
    CONSENT_GIVEN,
    CONSENT_WITHDRAWN,
    MERGED,
    POSTPONED,
    STOOD_DOWN,
    TAKEN_BACK,
)
from clinic_app.domain.operated import first_operations, marked
from clinic_app.domain.people import Duty
from clinic_app.domain.record import PATIENT_FIELDS, Case, CaseEvent, CaseKey, StageRecord, StoredForecast
from clinic_app.errors import Refusal
from clinic_app.session import Session
from models.codebook import Stage

CONSENT = "consent_audit_model"


def stand_down(session: Session, key: CaseKey, reason: str) -> None:
    """Note that the surgery will not happen; the eye leaves the lists and keeps its record."""
    session.need(Duty.BOOKING, Duty.SURGEON, act="Standing an eye down")
    said = _reason(reason, "The eye was not stood down.")
    case = _case(session, key, "The eye was not stood down.")
    if case.has(Stage.THEATRE) or case.has(Stage.DAY_ONE):
        raise Refusal(
            "The eye was not stood down.",
            "It has been operated; only an eye that waits can be stood down.",
            "If the sheet stands with the wrong eye, have a surgeon correct it on Theatre.",
        )
    _no_sheet(session, key, "The eye was not stood down.")
    with session.store.writing(by=session.person, act="stand down", reason=said) as write:
        write.stand_down(key)
        write.add_event(key, STOOD_DOWN, {"reason": said})


def take_back(session: Session, key: CaseKey, reason: str) -> None:
    """Note that the surgery will happen after all: the eye stands on its list again."""
    session.need(Duty.BOOKING, Duty.SURGEON, act="Taking an eye back")
    said = _reason(reason, "The eye was not taken back.")
    _case(session, key, "The eye was not taken back.")
    with session.store.writing(by=session.person, act="take back", reason=said) as write:
        write.stand_down(key, stood_down=False)
        write.add_event(key, TAKEN_BACK, {"reason": said})


def postpone(session: Session, key: CaseKey, day: date, reason: str) -> CaseKey:
    """Move an eye that waits to another day, earlier or later but not past. Its forecasts, events and history go with
    it; a forecast that would be told something else on the new day is made anew beside the old one.

    Returns the eye's new key. Refused when that eye is booked on the new day already or has been operated.
    """
    session.need(Duty.BOOKING, Duty.SURGEON, act="Postponing an eye")
    what = "The eye was not postponed."
    said = _reason(reason, what)
    case = _case(session, key, what)
    if day == key.surgery_date:
        raise Refusal(what, "It stands on that day already.", "Give the day to which the surgery moves.")
    if day < session.today():
        raise Refusal(what, "That day is past.", "Give today or a day to come.")
    _no_sheet(session, key, what)
    moved = replace(key, surgery_date=day)
    with session.store.writing(by=session.person, act="postpone", reason=said) as write:
        write.postpone(key, day)
        body = {"from": key.surgery_date.isoformat(), "to": day.isoformat(), "reason": said}
        write.add_event(moved, POSTPONED, body)
        keys = {moved if one == key else one for one in session.store.keys(patient_id=key.patient_id)}
        row = marked(_whole(session, {**case.row(), "surgery_date": day}), moved, first_operations(keys))
        write.add_forecasts(_renewed(session, [(key, moved, row)]))
    _take_drafts_along(session, {key: moved})
    return moved


def withdraw_consent(session: Session, patient_id: str, reason: str) -> list[CaseKey]:
    """Take all eyes of a patient out of review and fitting; they stay recorded, for their care. Returns their keys."""
    session.need(Duty.BOOKING, Duty.SURGEON, Duty.DATA_LEAD, act="Noting that consent was withdrawn")
    return _set_consent(session, patient_id, "no", CONSENT_WITHDRAWN, reason)


def give_consent(session: Session, patient_id: str, reason: str) -> list[CaseKey]:
    """Note that a patient consents after all: their eyes count again."""
    session.need(Duty.BOOKING, Duty.SURGEON, Duty.DATA_LEAD, act="Noting that consent was given")
    return _set_consent(session, patient_id, "yes", CONSENT_GIVEN, reason)


def _set_consent(session: Session, patient_id: str, answer: str, kind: str, reason: str) -> list[CaseKey]:
    what = "The consent was not changed."
    said = _reason(reason, what)
    cases = session.store.cases(patient_id=patient_id)
    if not cases:
        raise Refusal(what, "No eye of that number is recorded here.", "Check the patient number.")
    first = first_operations(case.key for case in cases)
    gone = session.store.stood_down()
    with session.store.writing(by=session.person, act=kind.replace("_", " "), reason=said) as write:
        rows = []
        for case in cases:
            write.put_stage(case.key, StageRecord(Stage.BOOKING, {CONSENT: answer}))
            write.add_event(case.key, kind, {"reason": said})
            if not case.has(Stage.THEATRE) and not case.has(Stage.DAY_ONE) and case.key not in gone:
                row = marked(_whole(session, {**case.row(), CONSENT: answer}), case.key, first)
                rows.append((case.key, case.key, row))
        write.add_forecasts(_renewed(session, rows))
    return [case.key for case in cases]


def merge_numbers(session: Session, gone: str, kept: str, reason: str) -> list[CaseKey]:
    """Make two numbers of one patient one: every eye of `gone` stands under `kept` afterwards. Returns their new keys.

    A consent that was withdrawn under either number, and not given again, is withdrawn for all the eyes. Needs the duty
    Data lead or People. Refused when both numbers have the same eye on the same day, when they say
    different things of the person, or when one of them is unknown.
    """
    session.need(Duty.DATA_LEAD, Duty.PEOPLE, act="Merging two numbers")
    said = _reason(reason, "The two numbers were not merged.")
    moving = session.store.cases(patient_id=gone)
    staying = session.store.cases(patient_id=kept)
    new = {case.key: replace(case.key, patient_id=kept) for case in moving}
    for key in new:
        _no_sheet(session, key, "The two numbers were not merged.")
    first = first_operations([*new.values(), *(case.key for case in staying)])
    withdrawn = _withdrawal(session, moving) or _withdrawal(session, staying)
    with session.store.writing(by=session.person, act="merge numbers", reason=said) as write:
        write.merge_patients(gone, kept)
        cases = (*moving, *staying)
        person = {name: value for case in cases for name, value in case.row().items() if name in PATIENT_FIELDS}
        rows = []
        for case in cases:
            key = new.get(case.key, case.key)
            if case.key in new:
                write.add_event(key, MERGED, {"from": gone, "to": kept, "reason": said})
            consent = {}
            if withdrawn is not None and case.row().get(CONSENT) != "no":
                consent = {CONSENT: "no"}
                write.put_stage(key, StageRecord(Stage.BOOKING, {CONSENT: "no"}))
                write.add_event(key, CONSENT_WITHDRAWN, dict(withdrawn.body))
            if not case.has(Stage.THEATRE) and not case.has(Stage.DAY_ONE):
                row = marked(_whole(session, {**case.row(), **person, **consent, "patient_id": kept}), key, first)
                rows.append((case.key, key, row))
        write.add_forecasts(_renewed(session, rows))
    _take_drafts_along(session, new)
    return sorted(new.values())


def _withdrawal(session: Session, cases: Iterable[Case]) -> CaseEvent | None:
    """The event by which one number's consent was withdrawn; None where it never was, or was given again."""
    kinds = (CONSENT_WITHDRAWN, CONSENT_GIVEN)
    found = [one for case in cases for one in session.store.events(key=case.key) if one.kind in kinds]
    last = max(found, key=lambda one: one.number or 0, default=None)
    return last if last is not None and last.kind == CONSENT_WITHDRAWN else None


def _no_sheet(session: Session, key: CaseKey, what: str) -> None:
    """Refuse while a sheet of the operation is being written: it would lose its eye. What a crash left of a sheet that
    was signed holds nobody up."""
    case = session.store.case(key)
    if case is not None and case.has(Stage.THEATRE):
        return
    if any(one.stage == Stage.THEATRE.value and one.key == key for one in session.store.drafts()):
        raise Refusal(
            what,
            "A sheet of its operation is open on Theatre.",
            "Have the sheet signed or thrown away first.",
        )


def _take_drafts_along(session: Session, new: Mapping[CaseKey, CaseKey]) -> None:
    """Drafts of a booking's changes follow their eye."""
    for draft in session.store.drafts():
        if draft.key is not None and draft.key in new:
            session.store.keep_draft(replace(draft, key=new[draft.key]))


def _renewed(session: Session, rows: Iterable[tuple[CaseKey, CaseKey, dict[str, object]]]) -> list[StoredForecast]:
    """New booking forecasts of the eyes whose last one was made from something else than their row says now.

    Each of `rows`: the key before the act, the key after it, the whole row after it. An eye without a forecast gets
    none here.
    """
    stale = {}
    for before, after, row in rows:
        found = session.store.forecasts(key=before, model="booking")
        if not found:
            continue
        (again,) = session.card(found[-1].model_id).forecast([row])
        if dict(again.inputs) != dict(found[-1].inputs):
            stale[after] = row
    return session.made("booking", stale)


def _whole(session: Session, row: dict[str, object]) -> dict[str, object]:
    return complete(row, zone=session.settings.zone or None)


def _case(session: Session, key: CaseKey, what: str) -> Case:
    case = session.store.case(key)
    if case is None:
        raise Refusal(
            what,
            "The practice holds no booking for it any more.",
            "Read the list again; the eye may have been moved to another date.",
        )
    return case


def _reason(reason: str, what: str) -> str:
    said = " ".join(reason.split())
    if not said:
        raise Refusal(what, "The act needs a reason, which stays in the history.", "Give the reason in a few words.")
    return said
