"""The rows of the theatre list: in the order of the list, with what has become of each sheet; never a forecast."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from clinic_app.desktop.parts.eye_list import ListRow
from clinic_app.desktop.parts.plate import SIDES
from clinic_app.desktop.words import eyes_words, list_day
from clinic_app.domain.record import CaseKey
from clinic_app.services.theatre import TheatreEye


def rows_of(
    eyes: Sequence[TheatreEye], today: date, *, shown: CaseKey | None = None, asking: CaseKey | None = None
) -> list[ListRow]:
    """Headings and eyes in the order given. `shown` is open; of the patient of `asking` no side is shown."""
    rows: list[ListRow] = []
    days: dict[date, list[TheatreEye]] = {}
    for eye in eyes:
        days.setdefault(eye.key.surgery_date, []).append(eye)
    following = next((eye.key for eye in eyes if not eye.signed_by and eye.draft is None and eye.key != shown), None)
    for day, of_day in days.items():
        name = f"Today, {list_day(day, today)}" if day == today else f"{list_day(day, today)}, not signed"
        rows.append(ListRow(None, name, eyes_words(len(of_day))))
        rows += [row_of(eye, shown, asking, is_next=eye.key == following) for eye in of_day]
    return rows


def row_of(eye: TheatreEye, shown: CaseKey | None, asking: CaseKey | None, *, is_next: bool) -> ListRow:
    """One eye."""
    hidden = asking is not None and asking.patient_id == eye.key.patient_id
    if eye.signed_at is not None:
        aside = f"signed {eye.signed_at:%H:%M}" if eye.signed_at.date() == eye.key.surgery_date else "signed"
    elif eye.key == shown:
        aside = "open"
    elif eye.draft is not None:
        aside = "to sign" if eye.ready else "begun"
    else:
        aside = "next" if is_next else ""
    under = [f"Nucleus {eye.row['nucleus_hardness']}"] if eye.row.get("nucleus_hardness") is not None else []
    if eye.starts is not None:
        under.append(f"{eye.starts:%H:%M}")
    if eye.fellow is not None:
        under.append("both eyes")
    plan = "Plan ahead" if eye.plan_ahead else ""
    side = "" if hidden else eye.key.eye
    spoken = [eye.key.patient_id, f"{SIDES[side]} eye" if side else "", *under, aside, plan]
    return ListRow(
        key=eye.key,
        name=eye.key.patient_id,
        aside=aside,
        side=side,
        under=" · ".join(under),
        under_aside=plan,
        spoken=", ".join(word for word in spoken if word),
    )
