"""What a forecast was made from, as JSON and back by the kinds of the fields."""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import date

from clinic_app.store.cells import from_cell, to_cell
from clinic_app.store.sums import readable
from models.codebook import BY_NAME


def inputs_text(inputs: Mapping[str, object]) -> str:
    """The inputs as JSON.

    Of names outside the codebook `<field>_at` keeps a day, others (`<field>_missing`) texts, numbers, truth values.
    """
    told: dict[str, object] = {}
    for name, value in inputs.items():
        known = BY_NAME.get(name)
        if value is None:
            told[name] = None
        elif known is not None:
            told[name] = to_cell(known.kind, value)
        elif _is_day(name) and isinstance(value, date):
            told[name] = value.isoformat()
        elif isinstance(value, str | int | float):
            told[name] = value
        else:
            raise TypeError(f"the input {name} cannot hold a {type(value).__name__}")
    return readable(told)


def _is_day(name: str) -> bool:
    return name.endswith("_at") and name.removesuffix("_at") in BY_NAME


def inputs_from(text: str) -> dict[str, object]:
    """The inputs that the JSON says."""
    told: dict[str, object] = {}
    for name, cell in json.loads(text).items():
        known = BY_NAME.get(name)
        if cell is None:
            told[name] = None
        elif known is not None:
            told[name] = from_cell(known.kind, cell)
        else:
            told[name] = date.fromisoformat(cell) if _is_day(name) else cell
    return told
