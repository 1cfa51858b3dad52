"""A candidate against the model in use, on eyes that neither has seen."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

from clinic_app.domain.operated import key_of
from clinic_app.domain.people import Duty
from clinic_app.domain.record import ModelEntry, Row
from clinic_app.errors import Refusal
from clinic_app.session import Session
from models.card import Card
from models.changed import what_changed
from models.dataset import quarter_of
from models.eligibility import left_out
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
    session.need(Duty.DATA_LEAD, Duty.SURGEON, act="Comparing models")
    entry = _candidate(session, model_id)
    in_use = session.store.in_use(entry.model)
    card = session.card(model_id)
    rows = session.rows()
    used = None if in_use is None else session.card(in_use.model_id)
    graded = _graded(rows, card)
    judged = _of_last_quarters(rows, graded)
    forward = forward_forecasts(rows, judged, spec=card.spec, report=report)
    if in_use is None or used is None:
        current = _averages(rows, judged, card.spec.outcome.cut)
    else:
        current = _current(session, in_use, used, rows, graded)
    pairs = [
        (i, mine.forecast.risk, current[i])
        for i, mine in zip(judged, forward, strict=True)
        if mine.forecast is not None and mine.forecast.risk is not None and i in current
    ]
    if not pairs:
        return _document(entry, in_use, None, ("There are no graded eyes that neither model has seen.",))
    cut = card.spec.outcome.cut
    outcome = [1.0 if look(rows[i], cut).cloudy else 0.0 for i, _, _ in pairs]
    days = [_day(rows[i]) for i, _, _ in pairs]
    since = date.min if used is None else used.seen_until
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
        moved={} if used is None else _moved(used, card),
    )
    document = _document(entry, in_use, verdict, verdict.reasons)
    document["changed"] = None if used is None else _changed(used, rows, current)
    document["crossing"] = _crossing(rows, pairs, session.settings.planning_line)
    return document | {"sentences": _sentences(document, session.settings.planning_line)}


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


def _graded(rows: Sequence[Row], card: Card) -> list[int]:
    """Graded eyes that no rule leaves out, in order of surgery."""
    cut = card.spec.outcome.cut
    graded = [i for i, row in enumerate(rows) if left_out(row) is None and look(row, cut).cloudy is not None]
    return sorted(graded, key=lambda i: _day(rows[i]))


def _of_last_quarters(rows: Sequence[Row], graded: Sequence[int]) -> list[int]:
    quarters = sorted({first_day(_day(rows[i])) for i in graded})[-QUARTERS:]
    return [i for i in graded if first_day(_day(rows[i])) in quarters]


def _averages(rows: Sequence[Row], eyes: Sequence[int], cut: int) -> dict[int, float]:
    """{eye: the practice's rate before the eye's quarter}."""
    starts = {i: first_day(_day(rows[i])) for i in eyes}
    rates = {start: _average_before(rows, start, cut) for start in set(starts.values())}
    return {i: rate for i, start in starts.items() if (rate := rates[start]) is not None}


def _current(
    session: Session, in_use: ModelEntry, used: Card, rows: Sequence[Row], eyes: Sequence[int]
) -> dict[int, float]:
    """{eye: chance that the model in use gave it without having seen its outcome}."""
    stored = session.store.forecasts(model=in_use.model, locked=True)
    locked = {one.key: one.risk for one in stored if one.model_id == in_use.model_id and one.risk is not None}
    chances: dict[int, float] = {}
    for i in eyes:
        key = key_of(rows[i])
        if key in locked:
            chances[i] = locked[key]
        elif key.surgery_date > used.seen_until:
            risk = used.forecast([rows[i]])[0].risk
            if risk is not None:
                chances[i] = risk
    return chances


def _average_before(rows: Sequence[Row], start: date, cut: int) -> float | None:
    seen = [look(row, cut).cloudy for row in rows if _day(row) < start and left_out(row) is None]
    known = [cloudy for cloudy in seen if cloudy is not None]
    cloudy = sum(known)
    return cloudy / len(known) if 0 < cloudy < len(known) else None


def _moved(used: Card, candidate: Card) -> dict[str, float]:
    """How far each shared coefficient moved, in posterior standard errors of the model in use."""
    before = {term["name"]: term for term in used.written["formula"]["terms"]}
    moved = {}
    for term in candidate.written["formula"]["terms"]:
        old = before.get(term["name"])
        if old is not None:
            moved[str(term["name"])] = (term["coefficient"] - old["coefficient"]) / old["posterior_se"]
    return moved


def _changed(used: Card, rows: Sequence[Row], current: Mapping[int, float]) -> dict[str, Any]:
    """What the closed test says of the model in use on eyes it had not seen; it words, and decides nothing."""
    found = what_changed(used, [rows[i] for i in current], list(current.values()))
    counts = {"n": found.n, "events": found.events, "quarters": found.quarters}
    if found.test is None:
        return {"choice": None, "words": found.words, **counts}
    return {
        "choice": found.test.choice,
        "words": found.words,
        "level_moved": found.test.level_moved,
        "spread": found.test.spread,
        "log_likelihoods": list(found.test.log_likelihoods),
        "statistics": list(found.test.statistics),
        "p_values": list(found.test.p_values),
        **counts,
    }


def _crossing(
    rows: Sequence[Row], pairs: Sequence[tuple[int, float, float]], planning_line: float | None
) -> list[dict[str, Any]]:
    """Eyes of the last quarter whose chance stands on the other side of the practice's planning line."""
    if planning_line is None:
        return []
    last = max(first_day(_day(rows[i])) for i, _, _ in pairs)
    line = planning_line / 100.0
    found = []
    for i, mine, theirs in pairs:
        key = key_of(rows[i])
        if first_day(key.surgery_date) == last and (mine >= line) != (theirs >= line):
            found.append(
                {
                    "patient_id": key.patient_id, "eye": key.eye, "surgery_date": key.surgery_date.isoformat(),
                    "in_use": theirs, "candidate": mine,
                }
            )  # fmt: skip
    return found


def _document(
    entry: ModelEntry, in_use: ModelEntry | None, verdict: Verdict | None, reasons: Sequence[str]
) -> dict[str, Any]:
    document: dict[str, Any] = {
        "model_id": entry.model_id,
        "model": entry.model,
        "in_use": in_use.model_id if in_use else None,
        "verdict": "stop" if verdict is None else verdict.word,
        "reasons": list(reasons),
        "changed": None,
        "crossing": [],
    }
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
    return document | {"sentences": _sentences(document, None)}


def _sentences(document: Mapping[str, Any], planning_line: float | None) -> list[str]:
    against = document["in_use"] or "our average for every eye"
    sentences = [
        f"{document['model_id']} against {against}.", VERDICTS[document["verdict"]], *document["reasons"],
    ]  # fmt: skip
    if "n" in document:
        difference = document["difference"]
        sentences += [
            f"Judged on {document['n']} eyes of {document['clusters']} patients in {document['quarters']} quarters, "
            f"{document['events']} cloudy, none of which the models had seen.",
            f"Mean log loss of the model in use less that of the candidate: {1000 * difference['value']:+.1f} in "
            f"thousandths, standard error {1000 * difference['se']:.1f}.",
            f"The forecasts of the last quarter's eyes change by {100 * document['mean_change']:.1f} points on "
            "average.",
        ]
        if planning_line is not None:
            crossing = ", ".join(
                f"{one['patient_id']} {one['eye']} {one['surgery_date']}" for one in document["crossing"]
            )
            sentences.append(f"Across the planning line of {planning_line:g} in 100: {crossing or 'none of them'}.")
    changed = document["changed"]
    if changed is not None and changed["choice"] is not None:
        sentences.append(
            f"What changed since the model in use was made, on {changed['n']} eyes, {changed['events']} cloudy, of "
            f"{changed['quarters']} quarters: {changed['words']} This words the change and decides nothing."
        )
    elif changed is not None:
        sentences.append(changed["words"])
    return [*sentences, "The decision is a named person's, not the program's."]


def _measure(measure: object) -> dict[str, Any]:
    return {name: getattr(measure, name) for name in ("value", "low", "high")}
