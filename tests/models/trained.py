"""Two cards of the invented practice, trained once for all tests."""

from __future__ import annotations

import json
from functools import cache
from typing import Any

from models.training import Training, train
from tests.models.invented_practice import Row, practice

EYES = 1250


@cache
def eyes() -> tuple[Row, ...]:
    """Enough eyes for the depth's curve."""
    return tuple(practice(EYES))


@cache
def booking() -> Training:
    return train(eyes(), model="booking", resamples=8)


@cache
def end_of_case() -> Training:
    return train(eyes(), model="end_of_case", resamples=4)


def fresh_json(training: Training) -> dict[str, Any]:
    """The card's JSON as any reader sees it, free to change."""
    read: dict[str, Any] = json.loads(training.card.to_text())
    return read


def usual_eye(**answers: object) -> Row:
    """A complete, ordinary eye at booking."""
    row: Row = {
        "patient_id": "P-1", "eye": "R", "surgery_date": "2026-11-19", "age_years": 74.0, "sex": "male",
        "guttae_grade": 0, "nucleus_hardness": 3, "acd_mm": 3.05, "acd_definition": "epithelium", "cct_um": 550.0,
        "ecd_per_mm2": 2500.0, "diabetes": "type2", "glaucoma": "none", "pseudoexfoliation": "no",
        "axial_length_mm": 23.4,
    }  # fmt: skip
    row.update(answers)
    return {name: value for name, value in row.items() if value is not None}
