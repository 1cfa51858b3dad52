"""The signed acts about models: adopt, keep, shift the average, set back; and the list of models."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Any

from clinic_app.domain.people import EVERYTHING, Duty
from clinic_app.domain.record import ModelEntry
from clinic_app.errors import Refusal
from clinic_app.files import write_whole
from clinic_app.session import Session
from models.eligibility import left_out
from models.outcome import look
from models.progress import Report, silent
from models.shifting import shift_average
from models.temporal import first_day
from models.update import QUARTERS

STATE_WORDS = {"candidate": "candidate", "in_use": "in use", "past": "past"}


def models(session: Session) -> list[dict[str, Any]]:
    """Every model of the practice: number, kind, state, who made it and who decided, when and why."""
    session.need(*EVERYTHING, act="Listing the models")
    return [
        {
            "model_id": entry.model_id,
            "model": entry.model,
            "state": STATE_WORDS[entry.state],
            "made_at": entry.made_at.isoformat(timespec="seconds"),
            "made_by": entry.made_by,
            "decided_at": entry.decided_at.isoformat(timespec="seconds") if entry.decided_at else None,
            "decided_by": entry.decided_by,
            "reason": entry.reason,
        }
        for entry in session.store.models()
    ]


def adopt(session: Session, model_id: str, *, reason: str) -> dict[str, Any]:
    """Put a candidate in use for forecasts from now on; the person of the session signs.

    The card is read and its test vectors are worked out again first; a card that does not hold is refused.
    """
    _signed(session, reason)
    entry = known(session, model_id)
    if entry.state != "candidate":
        raise Refusal(
            what="Nothing was adopted.",
            why=f"{model_id} is {STATE_WORDS[entry.state]}, not a candidate.",
            next="List the models, or set back to a past one with: clinic-app set-back.",
        )
    session.card(model_id)
    with session.store.writing(by=session.person, act="adopt", reason=reason) as write:
        write.decide(model_id, "in_use", reason=reason)
    return {"model_id": model_id, "model": entry.model, "state": "in use"}


def keep(session: Session, model: str, *, reason: str) -> dict[str, Any]:
    """Keep the model in use; its candidates become past models, with the reason."""
    _signed(session, reason)
    in_use = session.store.in_use(model)
    candidates = [entry for entry in session.store.models() if entry.model == model and entry.state == "candidate"]
    if in_use is None and not candidates:
        raise Refusal(
            what="There is nothing to keep.",
            why="The practice has no model of this kind.",
            next=f"Fit the first one with: clinic-app train --model {model}",
        )
    with session.store.writing(by=session.person, act="keep", reason=reason) as write:
        for entry in candidates:
            write.decide(entry.model_id, "past", reason=reason)
        if in_use is not None:
            write.note(in_use.model_id, "kept in use")
    return {
        "model_id": in_use.model_id if in_use else None,
        "model": model,
        "past": [one.model_id for one in candidates],
    }


def shift(session: Session, model: str, *, reason: str, report: Report = silent) -> dict[str, Any]:
    """Move the average of the model in use to what was seen in the last four quarters, and put the result in use.

    Only eyes that the model had not seen count. The model before the shift becomes a past one and can be set back to.
    """
    _signed(session, reason)
    in_use = session.store.in_use(model)
    if in_use is None:
        raise Refusal(
            what="There is no average to move.",
            why="The practice has no model of this kind in use.",
            next=f"Fit one with: clinic-app train --model {model}",
        )
    card = session.card(in_use.model_id)
    report(0.1, "Reading the eyes the model has not seen")
    last = card.seen_until
    rows = session.rows()
    new = [
        (row["surgery_date"], row)
        for row in rows
        if isinstance(row["surgery_date"], date)
        and row["surgery_date"] > last
        and left_out(row) is None
        and look(row, card.spec.outcome.cut).cloudy is not None
    ]
    quarters = sorted({first_day(day) for day, _ in new})[-QUARTERS:]
    shifted, moved = shift_average(card, [row for day, row in new if first_day(day) in quarters])
    with session.store.writing(by=session.person, act="shift", reason=reason) as write:
        entry = write.add_model(model, shifted.to_text())
        write.decide(entry.model_id, "in_use", reason=reason)
    return {
        "model_id": entry.model_id,
        "model": model,
        "state": "in use",
        "moved": moved.applied,
        "estimate": moved.estimate,
        "events": moved.events,
        "from": in_use.model_id,
    }


def set_back(session: Session, model: str, *, reason: str) -> dict[str, Any]:
    """Put the model that was in use before the one in use back in use."""
    _signed(session, reason)
    in_use = session.store.in_use(model)
    before = _in_use_before(session, model)
    if before is None:
        raise Refusal(
            what="There is nothing to set back to.",
            why="No other model of this kind has been in use.",
            next="List the models with: clinic-app models",
        )
    session.card(before)
    with session.store.writing(by=session.person, act="set back", reason=reason) as write:
        write.decide(before, "in_use", reason=reason)
    return {"model_id": before, "model": model, "state": "in use", "from": in_use.model_id if in_use else None}


def card(session: Session, model_id: str, *, out: Path | None = None) -> tuple[str, str]:
    """The card's JSON and its page for people; with `out` the JSON is also written there."""
    session.need(*EVERYTHING, act="Reading a card")
    found = session.card(model_id)
    text = found.to_text()
    if out is not None:
        write_whole(out, text.encode())
    return text, found.as_page()


def known(session: Session, model_id: str) -> ModelEntry:
    """The model of that number; refuses when there is none."""
    entry = session.store.model(model_id)
    if entry is None:
        raise Refusal(
            what=f"There is no model {model_id}.",
            why="The practice keeps no model of that number.",
            next="List the models with: clinic-app models",
        )
    return entry


def _in_use_before(session: Session, model: str) -> str | None:
    """The model before the one in use in the chain of adoptions, read from the history.

    Setting back cuts the chain, so that a model that was set back from does not come up again.
    """
    adopted = sorted(
        (line.number, one.model_id)
        for one in session.store.models()
        if one.model == model
        for line in session.store.history(subject=one.model_id)
        if line.field == "state" and line.new == "in_use"
    )
    chain: list[str] = []
    for _, model_id in adopted:
        if model_id in chain:
            del chain[chain.index(model_id) + 1 :]
        else:
            chain.append(model_id)
    return chain[-2] if len(chain) > 1 else None


def _signed(session: Session, reason: str) -> None:
    session.need(Duty.SURGEON, act="Deciding about a model")
    if not session.person.strip() or not reason.strip():
        raise Refusal(
            what="Nothing was decided.",
            why="A decision about a model carries a name and a reason.",
            next="Give both: --by NAME --reason TEXT",
        )
