"""The model's page of a review, and the own-records-only model beside it on the same eyes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from clinic_app.domain.record import ModelEntry
from clinic_app.domain.reviewed import ModelPage, Performance
from clinic_app.domain.words import counted
from clinic_app.services.review.eyes import Eye
from models.card import Card
from models.judging import judge

FIGURES = ("c_statistic", "brier", "calibration_in_the_large", "calibration_slope")
NO_RESAMPLES = "The model was made without resamples of its patients, so nothing is known of its optimism."


def model_page(entry: ModelEntry, card: Card) -> ModelPage:
    """The card in words, and the figures of both models on the eyes they were made from, also corrected for that."""
    n = int(card.training["n"])
    why = why_not_corrected(int(card.judgement["resamples"]), int(card.judgement["failed_resamples"]))
    own = card.written["own_records_only"]
    sources: list[tuple[str, Mapping[str, object] | None, str]] = [
        ("Model, on the eyes it was made from", card.judgement["apparent"], ""),
        ("Model, corrected for having seen them", card.judgement["corrected"], why),
    ]
    if own is not None:
        sources += [
            ("Own records only", own["apparent"], ""),
            ("Own records only, corrected", own["corrected"], why),
        ]
    return ModelPage(
        model_id=entry.model_id,
        lines=tuple(card.summary_lines()),
        performances=tuple(
            _written(name, n, figures or {}, reason) for name, figures, reason in sources if figures or reason
        ),
    )


def why_not_corrected(made: int, failed: int) -> str:
    """Why figures corrected for optimism do not exist, from the card's counts of resamples."""
    if made == 0 and failed == 0:
        return NO_RESAMPLES
    if made == 0:
        return f"None of {counted(failed, 'resample', 'resamples')} of the patients had a best fit."
    return "No resample of the patients had this figure."


def beside_own_records(eyes: Sequence[Eye]) -> tuple[Performance, ...]:
    """Both models on those of `eyes` for which both gave a number; nothing when there are none."""
    both = [(eye.risk, eye.own_records, eye) for eye in eyes if eye.own_records is not None]
    if not both:
        return ()
    same = [eye for _, _, eye in both]
    return (
        _judged("Model", [risk for risk, _, _ in both], same),
        _judged("Own records only", [own for _, own, _ in both], same),
    )


def _judged(name: str, risks: Sequence[float], eyes: Sequence[Eye]) -> Performance:
    found = judge(risks, [eye.seen for eye in eyes], clusters=[eye.key.patient_id for eye in eyes], curve=False)
    values = {one: getattr(found, one) for one in FIGURES if getattr(found, one) is not None}
    return Performance(
        name,
        len(eyes),
        {one: value if isinstance(value, float) else value.value for one, value in values.items()},
        {one: found.reasons[one] for one in FIGURES if one not in values},
    )


def _written(name: str, n: int, figures: Mapping[str, object], why: str) -> Performance:
    """Figures as a card holds them; `why` some or all are not there."""
    known = {one: float(value) for one in FIGURES if isinstance(value := figures.get(one), int | float)}
    if not known and why:
        return Performance(name, n, {}, {"all": why})
    return Performance(name, n, known, {one: why or "Not in the card." for one in FIGURES if one not in known})
