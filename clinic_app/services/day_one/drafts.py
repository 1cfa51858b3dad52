"""Drafts of day-one sheets: kept while somebody types, so that neither a crash nor a pause loses an answer.

Each person sees their own drafts alone: another examiner's half-written grade must not lean on anybody's eye.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from clinic_app.domain import day_one
from clinic_app.domain.drafted import DraftAnswer, Drafted, drafted
from clinic_app.domain.record import CaseKey, Draft, Row
from clinic_app.services.day_one.moment import MAY
from clinic_app.session import Session
from models.codebook import Stage

STAGE = Stage.DAY_ONE.value


@dataclass(frozen=True, slots=True)
class SheetDraft:
    """A draft: its number, its eye, when the sheet was opened and last kept (practice's clock), its answers laid flat
    as on the sheet, texts as typed where they say more, texts that are no answer yet."""

    number: int
    key: CaseKey
    began: datetime
    at: datetime
    answers: Row
    typed: Mapping[str, str]
    texts: Mapping[str, str]


def drafts(session: Session) -> dict[CaseKey, SheetDraft]:
    """The drafts of the person acting, by eye."""
    zone = ZoneInfo(session.settings.zone) if session.settings.zone else None
    found: dict[CaseKey, SheetDraft] = {}
    for one in session.store.drafts(session.person):
        if one.stage == STAGE and one.key is not None and one.draft_no is not None:
            held = drafted(one.body)
            found[one.key] = SheetDraft(
                number=one.draft_no,
                key=one.key,
                began=datetime.fromisoformat(str(one.body["began"])),
                at=one.kept_at.astimezone(zone).replace(tzinfo=None),
                answers=_flat(held),
                typed={name: each.typed for name, each in held.answers.items() if each.typed},
                texts={name: each.text for name, each in held.answers.items() if each.text},
            )
    return found


def keep_sheet(
    session: Session,
    key: CaseKey,
    answers: Row,
    *,
    began: datetime,
    typed: Mapping[str, str] | None = None,
    texts: Mapping[str, str] | None = None,
    number: int | None = None,
) -> int:
    """Keep what stands on the sheet, over the draft of that number; its number. On the disk when this returns."""
    session.need(*MAY, act="Keeping a draft")
    kept, words = day_one.with_findings(answers), dict(typed or {})
    names = {name.removesuffix("_missing") for name in kept}
    held = {
        name: DraftAnswer(kept.get(name), str(kept[f"{name}_missing"]) if kept.get(f"{name}_missing") else None,  # type: ignore[arg-type]
                          words.get(name))
        for name in sorted(names)
    }  # fmt: skip
    held.update({name: DraftAnswer(text=text) for name, text in (texts or {}).items()})
    body = {**Drafted(held).body(), "began": began.isoformat(timespec="minutes")}
    draft = session.store.keep_draft(Draft(session.person, STAGE, key, body, session.clock(), number))
    return draft.draft_no or 0


def drop_sheet(session: Session, number: int) -> None:
    """Forget a draft: it was locked, or its writer threw it away."""
    session.store.drop_draft(number)


def _flat(held: Drafted) -> dict[str, object]:
    row: dict[str, object] = {}
    for name, one in held.answers.items():
        if one.value is not None:
            row[name] = one.value
        if one.missing is not None:
            row[f"{name}_missing"] = one.missing
    return day_one.ticks_of(row)
