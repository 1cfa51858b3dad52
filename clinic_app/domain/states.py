"""Where an eye stands on its way, in the words of the pages."""

from __future__ import annotations

from collections.abc import Container

from clinic_app.domain.record import Case, Row
from models.codebook import CENTRE_GRADE, Stage, fields_of

UNFINISHED, BOOKED, OPERATED, GRADED, NO_GRADE, STOOD_DOWN = (
    "Unfinished", "Booked", "Operated", "Graded", "No grade", "Stood down",
)  # fmt: skip
STATES = (UNFINISHED, BOOKED, OPERATED, GRADED, NO_GRADE, STOOD_DOWN)

_THEATRE = tuple(one.name for one in fields_of(Stage.THEATRE))
_DAY_ONE = tuple(one.name for one in fields_of(Stage.DAY_ONE))


def state_of(case: Case, stood_down: bool = False) -> str:
    """Where the eye stands; `stood_down` says that its surgery will not happen."""
    if case.has(Stage.DAY_ONE) and CENTRE_GRADE in case.stages[Stage.DAY_ONE].record.values:
        return GRADED
    return ungraded_state(case.stages, stood_down)


def ungraded_state(written: Container[Stage], stood_down: bool = False) -> str:
    """The same of an eye without a grade, from the moments that are written."""
    if Stage.DAY_ONE in written:
        return NO_GRADE
    if Stage.THEATRE in written:
        return OPERATED
    return STOOD_DOWN if stood_down else BOOKED


def state_of_row(row: Row, stood_down: bool = False) -> str:
    """The same of a stored case laid flat: a moment counts as written when the row says anything of it."""
    if row.get(CENTRE_GRADE) is not None:
        return GRADED
    if _says(row, _DAY_ONE):
        return NO_GRADE
    if _says(row, _THEATRE):
        return OPERATED
    return STOOD_DOWN if stood_down else BOOKED


def _says(row: Row, names: tuple[str, ...]) -> bool:
    return any(row.get(name) is not None or row.get(f"{name}_missing") is not None for name in names)
