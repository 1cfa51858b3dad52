"""Chances worked out afterwards: each quarter's eyes by a model made from earlier quarters only."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from clinic_app.domain.record import CaseKey, Row
from models.outcome import CUT
from models.progress import Report
from models.spec import Outcome, default_spec
from models.temporal import RULE, card_as_it_stood, first_day

BASIS = f"Worked out afterwards. {RULE}"
NO_MODEL_YET = "no model could be made from the quarters before"
REFUSALS = {"refused_unlike_ours": "unlike our eyes", "refused_missing": "too many answers missing"}


@dataclass(frozen=True, slots=True)
class Number:
    """The chance of an eye, the model that gave it, and the chance by the own-records-only model beside that one."""

    risk: float
    model_id: str
    own_records: float | None


def worked_out(
    rows: Mapping[CaseKey, Row], candidates: Sequence[CaseKey], model: str, report: Report, *, cut: int = CUT
) -> tuple[dict[CaseKey, Number], Counter[str]]:
    """A number for each candidate eye, and the count of those that have none, by reason.

    `rows` are all eyes of the practice, derived values included. Quarters are by surgery date; patients are kept whole.
    """
    numbers: dict[CaseKey, Number] = {}
    refused: Counter[str] = Counter()
    spec = replace(default_spec(model), outcome=Outcome(cut=cut))
    everything = list(rows.values())
    starts = sorted({first_day(key.surgery_date) for key in candidates})
    for place, start in enumerate(starts):
        report(0.8 * place / len(starts), f"Working out the quarter from {start:%B %Y} with the eyes before it")
        judged = [key for key in candidates if first_day(key.surgery_date) == start]
        card = card_as_it_stood(everything, start, {key.patient_id for key in judged}, spec)
        if card is None:
            refused[NO_MODEL_YET] += len(judged)
            continue
        for key, forecast in zip(judged, card.forecast([rows[key] for key in judged]), strict=True):
            if forecast.risk is None:
                refused[f"no number was forecast: {REFUSALS.get(forecast.status, 'no model')}"] += 1
            else:
                own = card.own_records_risk(rows[key])
                numbers[key] = Number(forecast.risk, f"eyes before {start.isoformat()}", own)
    return numbers, refused
