"""The rows of the bookings list: by day, in words, with the forecast in small where there is one."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from clinic_app.desktop.parts.eye_list import Gauge, ListRow
from clinic_app.desktop.parts.plate import SIDES
from clinic_app.desktop.words import eyes_words, list_day
from clinic_app.domain.record import CaseKey
from clinic_app.services.bookings import BookedEye
from models.codebook import BY_NAME

NEW = "new"


def rows_of(
    eyes: Sequence[BookedEye], today: date, line: float | None, *, draft: ListRow | None = None
) -> list[ListRow]:
    """Headings and eyes, in the order given; the draft of a new eye first."""
    rows: list[ListRow] = []
    if draft is not None:
        rows += [ListRow(None, "Not yet booked", "1 eye"), draft]
    days: dict[date, list[BookedEye]] = {}
    for eye in eyes:
        days.setdefault(eye.key.surgery_date, []).append(eye)
    for day, booked in days.items():
        rows.append(ListRow(None, list_day(day, today), eyes_words(len(booked))))
        rows += [row_of(eye, line) for eye in booked]
    return rows


def row_of(eye: BookedEye, line: float | None) -> ListRow:
    """One eye."""
    aside, under_aside, gauge = "", "", None
    forecast = eye.forecast
    under = [short_answer(eye, "nucleus_hardness"), str(eye.row.get("booked_surgeon_id") or "")]
    if eye.facts is not None:
        named = [BY_NAME[fact.field].label.split(",")[0] for fact in eye.facts.facts]
        under = [", ".join(dict.fromkeys(named)) if named else "No fact to weigh"]
        if eye.facts.cannot_judge:
            under_aside = f"{len(eye.facts.cannot_judge)} not judged"
    elif forecast is None or forecast.status != "forecast" or forecast.risk is None:
        aside = "no forecast"
        unlike = forecast is not None and forecast.status == "refused_unlike_ours"
        under_aside = "unlike ours" if unlike else ""
    else:
        low, high = forecast.low or 0.0, forecast.high or 0.0
        gauge = Gauge(100 * low, 100 * forecast.risk, 100 * high, line)
        aside = f"{100 * forecast.risk:.0f}"
    plan = any(not code.startswith("none") for code in eye.plan)
    spoken = [eye.key.patient_id, f"{SIDES.get(eye.key.eye, '')} eye", *under]
    if gauge is not None:
        spoken.append(f"forecast {gauge.risk:.0f} in 100, between {gauge.low:.0f} and {gauge.high:.0f}")
    elif aside:
        spoken.append(aside)
    spoken += [under_aside, "plan ahead" if plan else ""]
    return ListRow(
        key=eye.key,
        name=eye.key.patient_id,
        aside=aside,
        side=eye.key.eye,
        under=" · ".join(word for word in under if word),
        under_aside=under_aside,
        plan=plan,
        gauge=gauge,
        spoken=", ".join(word for word in spoken if word),
    )


def short_answer(eye: BookedEye, name: str) -> str:
    """Last word of a label and the answer: `Hardness 4`."""
    value = eye.row.get(name)
    return "" if value is None else f"{BY_NAME[name].label.split()[-1].capitalize()} {value}"


def draft_row(patient: str, side: str) -> ListRow:
    """The eye that is being entered."""
    name = patient or "New eye"
    return ListRow(NEW, name, "unfinished", side, "In hand, not yet booked", spoken=f"{name}, in hand, not yet booked")


def matches(eyes: Sequence[BookedEye], text: str) -> list[CaseKey]:
    """The eyes whose patient number holds the text."""
    wanted = text.strip().lower()
    return [eye.key for eye in eyes if wanted and wanted in eye.key.patient_id.lower()]
