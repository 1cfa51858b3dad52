"""What a check comes to."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

FindingKind = Literal["refuse", "ask", "note"]


@dataclass(frozen=True, slots=True)
class Finding:
    """What stands against a row: refused, asked about, or only said. `sentence` and `next` are whole sentences."""

    kind: FindingKind
    rule: str
    fields: tuple[str, ...]
    sentence: str
    next: str
