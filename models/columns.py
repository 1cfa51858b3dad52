"""One row of the record -> the numbers of a model's columns, the same for training and for a forecast."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping

from models.codebook import CODINGS, Coding
from models.errors import ModelError
from models.spec import Spec, Term, TermKind

Row = Mapping[str, object]
Group = tuple[str, str, str]
"""Machine, metric, tip motion: energy readings are compared only within one."""

BLANK = math.nan


def number(row: Row, name: str) -> float:
    """The number of a field, NaN when it is missing; ModelError when it is no finite number."""
    value = row.get(name)
    if value is None:
        return BLANK
    if isinstance(value, int | float):
        try:
            found = float(value)
        except OverflowError:
            found = math.inf
        if math.isfinite(found):
            return found
    raise ModelError(
        "The row cannot be used.", f"The field {name} holds something that is not a number.", "Correct the field."
    )


def depth_from_front(row: Row) -> float:
    """Chamber depth from the front of the cornea, mm: as recorded, or from its back plus the thickness.

    Measured from the back without a thickness it is a blank; without a definition it is taken as from the front,
    which is how the field is defined.
    """
    depth = number(row, "acd_mm")
    if row.get("acd_definition") == "endothelium":
        return depth + number(row, "cct_um") / 1000.0
    return depth


def energy_readings(row: Row) -> list[tuple[Group, float]]:
    """(group, ln(1 + reading)) of what the machine showed, full-power seconds first; empty without a machine."""
    machine = row.get("phaco_machine_id")
    if machine is None:
        return []
    motion = str(row.get("us_motion") or "")
    found = []
    seconds = number(row, "effective_phaco_time_s")
    if seconds >= 0.0:
        found.append(((str(machine), "effective_time_s", motion), math.log1p(seconds)))
    value, metric = number(row, "us_energy_value"), row.get("us_energy_metric")
    if value >= 0.0 and metric is not None and (metric != "effective_time_s" or not found):
        found.append(((str(machine), str(metric), motion), math.log1p(value)))
    return found


def column_reader(term: Term) -> Callable[[Row], float]:
    """The function that reads one column from a row; the curve has none, the energy's is `energy_readings`."""
    if term.kind is TermKind.CODED:
        return _coded(CODINGS[term.name], term.field)
    if term.kind is TermKind.DEPTH:
        return lambda row: depth_from_front(row) / term.unit
    if term.kind is TermKind.LOG:
        return lambda row: _log(number(row, term.field)) / term.unit
    name, unit = term.field, term.unit
    return lambda row: number(row, name) / unit


def column_readers(spec: Spec) -> tuple[Callable[[Row], float], ...]:
    """Readers of the base columns of a model; that of the energy column gives a blank, to be replaced by its score."""
    return tuple((lambda row: BLANK) if term.kind is TermKind.ENERGY else column_reader(term) for term in spec.base)


def _log(value: float) -> float:
    return math.log(value) if value > 0.0 else BLANK


def _coded(coding: Coding, field: str) -> Callable[[Row], float]:
    reason = f"{field}_missing"
    values: dict[object, float] = dict.fromkeys(coding.one, 1.0)
    values.update(dict.fromkeys(coding.zero, 0.0))
    values.update(dict.fromkeys(coding.missing, BLANK))
    not_possible = BLANK if coding.not_possible is None else float(coding.not_possible)

    def read(row: Row) -> float:
        answer = row.get(field)
        if answer is None:
            return not_possible if row.get(reason) == "not_possible" else BLANK
        try:
            return values[answer]
        except (KeyError, TypeError) as error:
            raise ModelError(
                "The row cannot be used.", f"The field {field} holds an answer that is not in its list.",
                "Correct the field.",
            ) from error  # fmt: skip

    return read
