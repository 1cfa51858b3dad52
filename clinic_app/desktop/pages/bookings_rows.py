"""The rows of the bookings list: by day, in words, with the forecast in small where there is one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from clinic_app.desktop.parts.eye_list import Gauge, ListRow
from clinic_app.desktop.parts.plate import SIDES
from clinic_app.desktop.words import day_words, eyes_words, list_day
from clinic_app.domain.drafted import DraftAnswer
from clinic_app.domain.record import CaseKey
from clinic_app.domain.seal import Secret
from clinic_app.services.bookings import BookedEye
from clinic_app.services.drafts import KeptDraft
from models.codebook import BY_NAME

NEW = "new"


@dataclass(frozen=True, slots=True)
class Unfinished:
    """The key of a row that is a draft of a new eye."""

    number: int


def rows_of(
    eyes: Sequence[BookedEye],
    today: date,
    line: float | None,
    *,
    draft: ListRow | None = None,
    drafts: Sequence[KeptDraft] = (),
    stood_down: Sequence[BookedEye] = (),
    person: str = "",
) -> list[ListRow]:
    """Headings and eyes, in the order given: first what is not yet booked, last what is stood down."""
    rows: list[ListRow] = []
    new = [one for one in drafts if one.key is None]
    changed = {one.key for one in drafts if one.key is not None}
    if draft is not None or new:
        rows.append(ListRow(None, "Not yet booked", eyes_words(len(new) + (draft is not None))))
        rows += [draft] if draft is not None else []
        rows += [unfinished_row(one, person) for one in new]
    rows += _by_day(eyes, today, line, changed)
    if stood_down:
        rows.append(ListRow(None, "Stood down", eyes_words(len(stood_down))))
        rows += [stood_down_row(eye, today) for eye in stood_down]
    return rows


def _by_day(eyes: Sequence[BookedEye], today: date, line: float | None, changed: set[CaseKey]) -> list[ListRow]:
    rows: list[ListRow] = []
    days: dict[date, list[BookedEye]] = {}
    for eye in eyes:
        days.setdefault(eye.key.surgery_date, []).append(eye)
    for day, booked in days.items():
        rows.append(ListRow(None, list_day(day, today), eyes_words(len(booked))))
        patients = [eye.key.patient_id for eye in booked]
        for eye in booked:
            both = patients.count(eye.key.patient_id) > 1
            rows.append(row_of(eye, line, both=both, changed=eye.key in changed))
    return rows


def row_of(eye: BookedEye, line: float | None, *, both: bool = False, changed: bool = False) -> ListRow:
    """One eye, with the day from which it was postponed. `both`: the other eye stands on the same day; `changed`: a
    draft of it is not kept yet."""
    aside, under_aside, gauge = "", "", None
    forecast = eye.forecast
    under = [short_answer(eye, "nucleus_hardness"), str(eye.row.get("booked_surgeon_id") or "")]
    if eye.facts is not None:
        named = [BY_NAME[fact.field].label.split(",")[0] for fact in eye.facts.facts]
        under = [", ".join(dict.fromkeys(named)) if named else "No fact to weigh"]
        if eye.facts.cannot_judge:
            under_aside = f"{len(eye.facts.cannot_judge)} not judged"
    elif Secret.BOOKING_FORECAST in eye.hidden:
        aside = "sealed"
    elif forecast is None or forecast.status != "forecast" or forecast.risk is None:
        aside = "no forecast"
        unlike = forecast is not None and forecast.status == "refused_unlike_ours"
        under_aside = "unlike ours" if unlike else ""
    else:
        low, high = forecast.low or 0.0, forecast.high or 0.0
        gauge = Gauge(100 * low, 100 * forecast.risk, 100 * high, line)
        aside = f"{100 * forecast.risk:.0f}"
    said = [f"from {day_words(eye.moved_from).rsplit(' ', 1)[0]}"] if eye.moved_from is not None else []
    said += ["both eyes that day"] if both else []
    said += ["changes not kept"] if changed else []
    under = [*said, *under]
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
        under=_first_large(" · ".join(word for word in under if word)),
        under_aside=under_aside,
        plan=plan,
        gauge=gauge,
        spoken=", ".join(word for word in spoken if word),
    )


def stood_down_row(eye: BookedEye, today: date) -> ListRow:
    """An eye whose surgery will not happen."""
    under = f"Was booked for {day_words(eye.key.surgery_date, today)}"
    spoken = f"{eye.key.patient_id}, {SIDES.get(eye.key.eye, '')} eye, stood down, {under.lower()}"
    return ListRow(eye.key, eye.key.patient_id, "stood down", eye.key.eye, under, spoken=spoken)


def unfinished_row(draft: KeptDraft, person: str) -> ListRow:
    """A draft of a new eye, with whose it is where it is somebody else's."""
    name = str(_value(draft, "patient_id") or "New eye")
    side = str(_value(draft, "eye") or "")
    whose = f", {draft.person}" if draft.person != person else ""
    under = f"Draft of {draft.at:%H:%M}, {day_words(draft.at.date())}{whose}"
    spoken = ", ".join(
        word for word in (name, f"{SIDES[side]} eye" if side in SIDES else "", "unfinished", under) if word
    )
    return ListRow(Unfinished(draft.number), name, "unfinished", side, under, spoken=spoken)


def _value(draft: KeptDraft, name: str) -> object:
    return draft.drafted.answers.get(name, DraftAnswer()).value


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


def _first_large(words: str) -> str:
    return words[:1].upper() + words[1:]
