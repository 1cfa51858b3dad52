"""The model's page of a review, and the own-records-only model beside it on the same eyes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from clinic_app.domain.record import ModelEntry
from clinic_app.domain.reviewed import ModelPage, Performance
from clinic_app.services.review.eyes import Eye
from models.card import Card
from models.judging import performance

FIGURES = ("c_statistic", "brier", "calibration_in_the_large", "calibration_slope")


def model_page(entry: ModelEntry, card: Card) -> ModelPage:
    """The card in words, and the figures of both models on the eyes they were made from, also corrected for that."""
    n = int(card.training["n"])
    own = card.written["own_records_only"]
    sources: list[tuple[str, Mapping[str, object] | None]] = [
        ("Model, on the eyes it was made from", card.judgement["apparent"]),
        ("Model, corrected for having seen them", card.judgement["corrected"]),
    ]
    if own is not None:
        sources += [("Own records only", own["apparent"]), ("Own records only, corrected", own["corrected"])]
    return ModelPage(
        model_id=entry.model_id,
        lines=tuple(card.summary_lines()),
        performances=tuple(
            Performance(name, n, {one: _number(figures.get(one)) for one in FIGURES})
            for name, figures in sources
            if figures is not None
        ),
    )


def beside_own_records(eyes: Sequence[Eye]) -> tuple[Performance, ...]:
    """Both models on those of `eyes` for which both gave a number; nothing when there are none."""
    both = [(eye.risk, eye.own_records, eye.seen) for eye in eyes if eye.own_records is not None]
    if not both:
        return ()
    seen = [one for _, _, one in both]
    return (
        _judged("Model", [risk for risk, _, _ in both], seen),
        _judged("Own records only", [own for _, own, _ in both if own is not None], seen),
    )


def _judged(name: str, risks: Sequence[float], seen: Sequence[float]) -> Performance:
    found = performance(risks, seen)
    return Performance(name, len(seen), {one: getattr(found, one) for one in FIGURES})


def _number(value: object) -> float | None:
    return float(value) if isinstance(value, int | float) else None
