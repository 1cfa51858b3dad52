"""Drafts of bookings: kept while somebody types, so that neither a crash nor a pause loses an answer."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from clinic_app.domain.drafted import Drafted, drafted
from clinic_app.domain.people import Duty
from clinic_app.domain.record import CaseKey, Draft
from clinic_app.session import Session
from models.codebook import Stage

STAGE = Stage.BOOKING.value


@dataclass(frozen=True, slots=True)
class KeptDraft:
    """A draft as pages show it: its number, whose it is, which booked eye it changes (None: a new eye), when it was
    kept on the practice's clock, and what it holds."""

    number: int
    person: str
    key: CaseKey | None
    at: datetime
    drafted: Drafted


def booking_drafts(session: Session) -> list[KeptDraft]:
    """All drafts of bookings, in the order in which they were begun; none for somebody who may not book."""
    if not session.may(Duty.BOOKING, Duty.SURGEON):
        return []
    return [_kept(session, one) for one in session.store.drafts() if one.stage == STAGE]


def keep_draft(session: Session, what: Drafted, *, key: CaseKey | None, number: int | None) -> KeptDraft:
    """Keep what stands on the form, over the draft of that number. On the disk when this returns."""
    session.need(Duty.BOOKING, Duty.SURGEON, act="Keeping a draft")
    draft = Draft(session.person, STAGE, key, what.body(), session.clock(), number)
    return _kept(session, session.store.keep_draft(draft))


def drop_draft(session: Session, number: int) -> None:
    """Forget a draft: it was booked, or its writer threw it away."""
    session.store.drop_draft(number)


def _kept(session: Session, draft: Draft) -> KeptDraft:
    zone = ZoneInfo(session.settings.zone) if session.settings.zone else None
    number = draft.draft_no if draft.draft_no is not None else 0
    return KeptDraft(number, draft.person, draft.key, draft.kept_at.astimezone(zone), drafted(draft.body))
