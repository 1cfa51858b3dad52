"""A candidate against the model in use, on eyes that neither has seen."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

from clinic_app.domain.operated import key_of
from clinic_app.domain.record import CaseKey, ModelEntry, Row
from clinic_app.errors import Refusal
from clinic_app.session import Session
from models.card import Card
from models.dataset import quarter_of
from models.eligibility import left_out
from models.measure import Z95
from models.outcome import look
from models.progress import Report, silent
from models.temporal import first_day, forward_forecasts
from models.update import QUARTERS, Verdict, forward_verdict

VERDICTS = {
    "stop": "Stop: the data cannot carry a comparison yet.",
    "keep": "Keep the model in use: the candidate is farther off.",
    "adopt_may_be_considered": "Adopt may be considered.",
}


def compare(session: Session, model_id: str, *, report: Report = silent) -> dict[str, Any]:
    """The document of the `compare` command: the verdict by the rule, its reasons, and the figures behind it.

    The candidate is judged as it stood before each of the last four quarters; the model in use by the forecasts it
    locked, else by its forecasts of eyes operated after its own records end. Without a model in use the practice's
    average rate before each quarter takes its place. The verdict is the program's; a named person decides.
    """
    entry = _candidate(session, model_id)
    in_use = session.store.in_use(entry.model)
    card = session.card(model_id)
    rows = session.rows()
    judged = _judged(rows, card)
    forward = forward_forecasts(rows, judged, spec=card.spec, report=report)
    mine_locked = [] if in_use is None else session.store.forecasts(model=entry.model, locked=True)
    locked = {one.key: one.risk for one in mine_locked if in_use is not None and one.model_id == in_use.model_id}
    current = _current(session, in_use, rows, judged, locked, card)
    pairs = [
        (i, mine.forecast.risk, theirs)
        for i, mine, theirs in zip(judged, forward, current, strict=True)
        if mine.forecast is not None and mine.forecast.risk is not None and theirs is not None
    ]
    if not pairs:
        return _document(entry, in_use, None, ("There are no graded eyes that neither model has seen.",))
    cut = card.spec.outcome.cut
    outcome = [1.0 if look(rows[i], cut).cloudy else 0.0 for i, _, _ in pairs]
    days = [_day(rows[i]) for i, _, _ in pairs]
    since = date.min if in_use is None else session.card(in_use.model_id).seen_until
    new = [(first_day(day), seen) for day, seen in zip(days, outcome, strict=True) if day > since]
    running = first_day(session.today())
    verdict = forward_verdict(
        [theirs for _, _, theirs in pairs],
        [mine for _, mine, _ in pairs],
        outcome,
        quarters=[quarter_of(day) for day in days],
        patients=[str(rows[i]["patient_id"]) for i, _, _ in pairs],
        new_quarters=len({quarter for quarter, _ in new if since < quarter < running}),
        new_events=int(sum(seen for _, seen in new)),
        moved={} if in_use is None else _moved(session.card(in_use.model_id), card),
    )
    return _document(entry, in_use, verdict, verdict.reasons)


def _candidate(session: Session, model_id: str) -> ModelEntry:
    entry = session.store.model(model_id)
    if entry is None or entry.state != "candidate":
        raise Refusal(
            what="There is nothing to compare.",
            why=f"{model_id} is not a candidate of this practice.",
            next="List the models with: clinic-app models; fit a candidate with: clinic-app train.",
        )
    return entry


def _day(row: Row) -> date:
    return key_of(row).surgery_date


def _judged(rows: Sequence[Row], card: Card) -> list[int]:
    """Graded eyes of the last four quarters that no rule leaves out, in order of surgery."""
    cut = card.spec.outcome.cut
    graded = [i for i, row in enumerate(rows) if left_out(row) is None and look(row, cut).cloudy is not None]
    quarters = sorted({first_day(_day(rows[i])) for i in graded})[-QUARTERS:]
    return sorted((i for i in graded if first_day(_day(rows[i])) in quarters), key=lambda i: _day(rows[i]))


def _current(
    session: Session,
    in_use: ModelEntry | None,
    rows: Sequence[Row],
    judged: Sequence[int],
    locked: Mapping[CaseKey, float | None],
    card: Card,
) -> list[float | None]:
    """The chance that the model in use gave each eye without having seen its outcome."""
    if in_use is None:
        return [_average_before(rows, first_day(_day(rows[i])), card.spec.outcome.cut) for i in judged]
    used = session.card(in_use.model_id)
    last = used.seen_until
    found: list[float | None] = []
    for i in judged:
        row = rows[i]
        key = key_of(row)
        if locked.get(key) is not None:
            found.append(locked[key])
        else:
            found.append(used.forecast([row])[0].risk if key.surgery_date > last else None)
    return found


def _average_before(rows: Sequence[Row], start: date, cut: int) -> float | None:
    seen = [look(row, cut).cloudy for row in rows if _day(row) < start and left_out(row) is None]
    known = [cloudy for cloudy in seen if cloudy is not None]
    cloudy = sum(known)
    return cloudy / len(known) if 0 < cloudy < len(known) else None


def _moved(used: Card, candidate: Card) -> dict[str, float]:
    """How far each shared coefficient moved, in standard deviations of the model in use's own range."""
    before = {term["name"]: term for term in used.written["formula"]["terms"]}
    moved = {}
    for term in candidate.written["formula"]["terms"]:
        old = before.get(term["name"])
        if old is not None:
            sd = (old["high"] - old["low"]) / (2 * Z95)
            moved[str(term["name"])] = (term["coefficient"] - old["coefficient"]) / sd if sd else 0.0
    return moved


def _document(
    entry: ModelEntry, in_use: ModelEntry | None, verdict: Verdict | None, reasons: Sequence[str]
) -> dict[str, Any]:
    word = "stop" if verdict is None else verdict.word
    against = "our average for every eye" if in_use is None else in_use.model_id
    document: dict[str, object] = {
        "model_id": entry.model_id,
        "model": entry.model,
        "in_use": in_use.model_id if in_use else None,
        "verdict": word,
        "reasons": list(reasons),
    }
    sentences = [f"{entry.model_id} against {against}.", VERDICTS[word], *reasons]
    if verdict is not None:
        document |= {
            "n": verdict.n,
            "events": verdict.events,
            "clusters": verdict.patients,
            "quarters": verdict.quarters,
            "difference": {"value": verdict.difference, "se": verdict.se},
            "observed_expected": {
                "in_use": _measure(verdict.observed_expected_in_use),
                "candidate": _measure(verdict.observed_expected_candidate),
            },
            "mean_change": verdict.mean_change,
        }
        sentences += [
            f"Judged on {verdict.n} eyes of {verdict.patients} patients in {verdict.quarters} quarters, "
            f"{verdict.events} cloudy, none of which the models had seen.",
            f"Mean log loss of the model in use less that of the candidate: {1000 * verdict.difference:+.1f} in "
            f"thousandths, standard error {1000 * verdict.se:.1f}.",
            f"The forecasts of the last quarter's eyes change by {100 * verdict.mean_change:.1f} points on average.",
        ]
    return {**document, "sentences": [*sentences, "The decision is a named person's, not the program's."]}


def _measure(measure: object) -> dict[str, Any]:
    return {name: getattr(measure, name) for name in ("value", "low", "high")}
