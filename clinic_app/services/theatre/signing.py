"""Signing a sheet: one, or all that are ready at the end of the list; and correcting one that was signed."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace

from clinic_app.domain.derived import complete
from clinic_app.domain.operated import first_operations, marked
from clinic_app.domain.people import Duty
from clinic_app.domain.practice import MACHINE, machines_of
from clinic_app.domain.record import Case, CaseKey, Row, StageRecord, StoredForecast
from clinic_app.domain.seal import OPENING, Secret
from clinic_app.domain.sitting import ACTION, SEPARATE_TRAYS, FirstEye
from clinic_app.domain.states import state_of
from clinic_app.domain.theatre import same_things, signed_record, stops, to_go
from clinic_app.domain.theatre_draft import SheetDraft, draft_of
from clinic_app.errors import Refusal
from clinic_app.services.theatre.eyes import drafts_by_key, first_eye, local
from clinic_app.services.theatre.sheet import Reopening, reopening_of
from clinic_app.session import Session
from models.codebook import Stage
from models.errors import ModelError

Refused = Callable[[str, str], Refusal]


@dataclass(frozen=True, slots=True)
class SignedList:
    """What became of the sheets that were to be signed: those signed, and why the others were left."""

    signed: tuple[CaseKey, ...]
    left: tuple[tuple[CaseKey, str], ...]


def sign(session: Session, key: CaseKey, draft: SheetDraft) -> int:
    """Sign the sheet: it is kept, the booking forecast is locked, the end-of-case forecast is made and stays sealed.

    Refused without the duty of a surgeon, before the eye was said again, while something is open, while the first eye
    of the sitting pauses this one, and once it is signed. Nothing is lost by a refusal. Returns the sheet's version.
    """
    session.need(Duty.SURGEON, act="Signing a sheet")
    case = _case(session, key)
    drafts = drafts_by_key(session)
    if case.has(Stage.THEATRE):
        raise _refused("Another person has signed this sheet already.", "Open it again to read or correct it.")
    if key.surgery_date > session.today():
        raise _refused("The surgery is on a later day.", "Postpone it on Bookings if the day was changed.")
    if not _said_again(session, key):
        raise _refused("The eye was not said again before.", "Open the sheet: birthday first, then R or L.")
    first = first_eye(session, case, drafts)
    record = _kept(session, draft.record)
    _whole_enough(replace(draft, record=record), first, _refused)
    kept = drafts.get(key)
    with session.store.writing(by=session.person, act="sign") as write:
        if first is not None:
            write.add_event(key, ACTION, {"halt": SEPARATE_TRAYS, "decided": "separate", "first": first.key.eye})
        write.put_stage(key, record, merge=False, expect_version=0)
        if not case.has(Stage.DAY_ONE):
            write.add_forecasts(_forecasts(session, case, record, _refused))
    if kept is not None and kept.draft_no is not None:
        session.store.drop_draft(kept.draft_no)
    return _version(session, key)


def sign_list(session: Session, sheets: Iterable[tuple[CaseKey, SheetDraft]]) -> SignedList:
    """Sign these eyes' sheets, each by itself; one that cannot be signed is left with its reason.

    Each sheet is the draft that the surgeon read: one whose kept draft says something else by now is left too.
    """
    session.need(Duty.SURGEON, act="Signing the list")
    drafts = drafts_by_key(session)
    signed: list[CaseKey] = []
    left: list[tuple[CaseKey, str]] = []
    for key, read in sheets:
        kept = drafts.get(key)
        if kept is None:
            left.append((key, "Nothing is written on it."))
            continue
        if draft_of(kept.body) != read:
            left.append((key, "It was changed after it was read."))
            continue
        try:
            sign(session, key, read)
        except Refusal as refusal:
            left.append((key, refusal.why))
        else:
            signed.append(key)
    return SignedList(tuple(signed), tuple(left))


def correct(session: Session, key: CaseKey, draft: SheetDraft, *, expect_version: int, reason: str = "") -> int:
    """Write a signed sheet anew; the earlier answers stay in its history.

    A surgeon's duty, like the signature: without a reason for ten minutes by whoever signed it, afterwards with one.
    Until day one is written the end-of-case forecast is made anew. Refused besides as `sign` refuses, and when the
    readings are sealed for this person and were not shown. Returns the sheet's version.
    """
    session.need(Duty.SURGEON, act="Correcting a signed sheet")
    case = _case(session, key)
    written = case.stages.get(Stage.THEATRE)
    if written is None:
        raise _not_kept("This sheet was never signed.", "Sign it.")
    if reopening_of(session, case) is not Reopening.GRACE:
        if not reason.strip():
            raise _not_kept("A correction needs a reason.", "Give the reason in a few words; your answers are kept.")
        if Secret.READINGS in session.hides(state_of(case)) and not _shown_since(session, case):
            raise _not_kept("The readings of this eye are sealed for you.", "Press Show anyway first, with a reason.")
    record = _kept(session, draft.record)
    _whole_enough(replace(draft, record=record), None, _not_kept)
    changed = _changed(written.record, record)
    if not changed:
        return written.version
    with session.store.writing(by=session.person, act="correct a sheet", reason=reason.strip() or None) as write:
        write.put_stage(key, record, merge=False, expect_version=expect_version)
        told = {"stage": Stage.THEATRE.value, "fields": changed}
        write.add_event(key, "correction", {**told, "reason": reason.strip()} if reason.strip() else told)
        if not case.has(Stage.DAY_ONE):
            write.add_forecasts(_forecasts(session, case, record, _not_kept))
    return _version(session, key)


def _version(session: Session, key: CaseKey) -> int:
    return _case(session, key).stages[Stage.THEATRE].version


def _case(session: Session, key: CaseKey) -> Case:
    case = session.store.case(key)
    if case is None:
        raise _refused("This eye is no longer booked on that day.", "Read the list again.")
    return case


def _said_again(session: Session, key: CaseKey) -> bool:
    """Whether somebody opened the sheet, which asks for the eye, on the day of the surgery or later."""
    return any(
        local(session, one.at).date() >= key.surgery_date
        for one in session.store.events(key=key, kind=OPENING)
        if one.body.get("what") == Secret.READINGS.value
    )


def _shown_since(session: Session, case: Case) -> bool:
    """Whether this person was shown the readings, with a reason, since they were signed."""
    signed = case.stages[Stage.THEATRE].at
    return any(
        one.by == session.person and one.at >= signed and one.body.get("reason")
        for one in session.store.events(key=case.key, kind=OPENING)
        if one.body.get("what") == Secret.READINGS.value
    )


def _whole_enough(draft: SheetDraft, first: FirstEye | None, refused: Refused) -> None:
    """Refuse what may not be signed: open answers, texts in question, values out of range, a paused second eye."""
    row = draft.record.row()
    if first is not None and first.pauses:
        raise refused(
            f"In the first eye: {', '.join(first.events).lower()}. The second eye waits for a surgeon's decision.",
            "Decide about the second eye first.",
        )
    if draft.texts or to_go(row, second_eye=first is not None, separate=draft.separate):
        words = ", ".join(draft.open(second_eye=first is not None))
        raise refused(f"Still to answer: {words}.", "Answer them, or give the reason why there is none.")
    if found := stops(row):
        raise refused(found[0].sentence, found[0].next)
    if first is not None and (shared := same_things(row, first.row)):
        raise refused(
            f"The first eye has the same {' and '.join(shared)}.", "Use separate ones, or correct what was typed."
        )


def _kept(session: Session, record: StageRecord) -> StageRecord:
    name = record.values.get("phaco_machine_id")
    machines = machines_of(session.store.register(MACHINE), gone=True)
    return signed_record(record, next((one for one in machines if one.name == name), None))


def _forecasts(session: Session, case: Case, record: StageRecord, refused: Refused) -> list[StoredForecast]:
    """The end-of-case forecast of the sheet; none where the model in use cannot be read.

    Refused where an earlier number would outlive the answers that it was made from.
    """
    try:
        return session.made("end_of_case", {case.key: _whole(session, case, record)})
    except ModelError as unread:
        if any(one.risk is not None for one in session.store.forecasts(key=case.key, model="end_of_case")):
            raise refused(
                "The end-of-case forecast of this eye would not belong to its answers any more, and the model in use "
                "cannot be read.",
                "Have the data lead look at the model; your answers are kept on this page.",
            ) from unread
        return []


def _whole(session: Session, case: Case, record: StageRecord) -> dict[str, object]:
    booking = case.stages[Stage.BOOKING].record.row() if case.has(Stage.BOOKING) else {}
    key = case.key
    row: Row = {
        "patient_id": key.patient_id, "eye": key.eye, "surgery_date": key.surgery_date, **booking, **record.row(),
    }  # fmt: skip
    first = first_operations(session.store.keys(patient_id=key.patient_id))
    return marked(complete(row, zone=session.settings.zone or None), key, first)


def _changed(before: StageRecord, after: StageRecord) -> list[str]:
    was, now = {**before.values, **before.missing}, {**after.values, **after.missing}
    return sorted(name for name in {*was, *now} if was.get(name) != now.get(name))


def _refused(why: str, then: str) -> Refusal:
    return Refusal(what="The sheet was not signed.", why=why, next=then)


def _not_kept(why: str, then: str) -> Refusal:
    return Refusal(what="The correction was not kept.", why=why, next=then)
