"""How long work tells how far it is, and how it is stopped."""

from __future__ import annotations

from collections.abc import Callable

Report = Callable[[float, str], None]
"""Called with the fraction done (0..1) and one sentence; it may raise `Cancelled`, which ends the work."""


class Cancelled(Exception):
    """Raised out of a `Report` when the person stopped the work; nothing may have been written."""


def silent(fraction: float, sentence: str) -> None:
    """Report to nobody."""
