"""Moving the average of a model and leaving everything else as it is."""

from __future__ import annotations

import copy
from collections.abc import Mapping, Sequence
from dataclasses import replace

from models.card import Card, compose
from models.errors import ModelError
from models.outcome import look
from models.synthetic import synthetic_rows
from models.update import FEWEST_EVENTS_FOR_SHIFT, Shift, level_shift

Row = Mapping[str, object]


def shift_average(card: Card, rows: Sequence[Row]) -> tuple[Card, Shift]:
    """The card with its average moved, shrunken, to what was seen in `rows`, eyes that it had not seen.

    rows: graded eyes with their derived values. Eyes for which the card gives no number or whose outcome is unknown
    are passed over. Refuses when fewer than 50 cloudy eyes are left. The rest of the card stays; its judgement is that
    of the model before the shift.
    """
    cut = card.spec.outcome.cut
    judged = [
        (forecast.risk, 1.0 if look(row, cut).cloudy else 0.0, str(row.get("patient_id")), row["surgery_date"])
        for row, forecast in zip(rows, card.forecast(rows), strict=True)
        if forecast.risk is not None and look(row, cut).cloudy is not None
    ]
    risk, outcome, patients, days = (
        (list(column) for column in zip(*judged, strict=True)) if judged else ([], [], [], [])
    )
    if sum(outcome) < FEWEST_EVENTS_FOR_SHIFT:
        raise ModelError(
            "The average was not moved.",
            f"The eyes that the model had not seen hold {int(sum(outcome))} cloudy ones; "
            f"{FEWEST_EVENTS_FOR_SHIFT} are needed.",
            "Wait for the next quarter, or fit a candidate.",
        )
    shift = level_shift(risk, outcome, clusters=patients)
    sections = copy.deepcopy({name: part for name, part in card.written.items() if name != "hash"})
    sections["formula"]["intercept"] += shift.applied
    sections["weights"]["intercept_shift"] += shift.applied
    sections["weights"]["shifted_until"] = max(days).isoformat()
    moved = replace(card.formula, intercept=card.formula.intercept + shift.applied)
    return compose(sections, synthetic_rows(moved)), shift
