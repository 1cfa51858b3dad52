"""What the bookings page reads: the whole list at once, and the words for a forecast that was kept."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from clinic_app.desktop.words import day_words
from clinic_app.services import bookings, drafts
from clinic_app.services.bookings import BookedEye
from clinic_app.services.drafts import KeptDraft
from clinic_app.session import Session


@dataclass(frozen=True, slots=True)
class Found:
    """What the list is read from: eyes that wait, eyes stood down, drafts; and a sentence on a newly adopted model."""

    eyes: list[BookedEye]
    stood_down: list[BookedEye]
    drafts: list[KeptDraft]
    changed: str


def read_all(session: Session) -> Found:
    """Read the whole list; slow enough in a large practice to be done on the worker."""
    entry = bookings.newly_adopted(session)
    changed = ""
    if entry is not None and entry.decided_at is not None:
        day = day_words(entry.decided_at.date(), session.today())
        changed = f"Model changed on {day} by {entry.decided_by}; booked eyes keep their number unless re-opened."
    waiting, down = bookings.list_eyes(session), bookings.stood_down_eyes(session)
    return Found(waiting, down, drafts.booking_drafts(session), changed)


def kept_words(eye: BookedEye, today: date) -> str:
    """The forecast that stood when the eye was operated."""
    kept = eye.forecast
    if kept is None:
        return "No forecast was made for this eye."
    made = f"Made {day_words(kept.made_at.date(), today)} by {kept.model_id}."
    if kept.risk is None or kept.low is None or kept.high is None:
        return f"No number was given. {kept.note} {made}"
    low, risk, high = (round(100 * one) for one in (kept.low, kept.risk, kept.high))
    return f"About {risk} in 100, most likely between {low} and {high}. {made}"
