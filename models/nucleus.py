"""What theatre usually takes for a nucleus like this one: lines frozen in a card, a case beside them."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from models.arrays import FloatArray, frozen
from models.codebook import BY_NAME
from models.columns import BLANK, Group, Row, depth_from_front, energy_readings, number
from models.errors import ModelError
from models.words import number_words, unit_words

QUANTILES = (0.1, 0.5, 0.9)

PREDICTORS = ("hardness", "age_decades", "depth_mm", "small_pupil", "white")
"""Columns of the lines, in order."""

YES_NO = (False, False, False, True, True)

SMALL_PUPIL_MM = 5.0
"""A dilated pupil narrower than this counts as small; own choice, no published source."""

METHODS = ("quantile", "log_normal")

_ENERGY = "effective_phaco_time_s"
_OTHER_ENERGY = "us_energy_value"
_LOGS = ("irrigation_volume_ml", "case_minutes")
_READ = (
    "nucleus_hardness",
    "age_years",
    "acd_mm",
    "acd_definition",
    "cct_um",
    "pupil_dilated_mm",
    "white_or_brunescent",
)
_MEASURED = (
    *_LOGS, _ENERGY, _OTHER_ENERGY, "us_energy_metric", "us_motion", "phaco_machine_id",
)  # fmt: skip

NO_GROUP: Group = ("", "", "")


@dataclass(frozen=True, slots=True)
class Usual:
    """One measurement of one case beside what is usual: low, median, high are the 10, 50 and 90 % of like cases.

    value: what was recorded, None when nothing was. words: one line that compares and never says why.
    """

    field: str
    value: float | None
    low: float
    median: float
    high: float
    words: str


@dataclass(frozen=True, eq=False)
class UsualLine:
    """Lines of one measurement in one group of machine, metric and motion (three empty words: all cases).

    coefficients: [3, 6] of the 10, 50 and 90 % on the log scale, intercept first, then PREDICTORS; for energy the log
    is ln(1 + reading). method: `quantile`, or `log_normal` where cases were few. lowest, highest: [5] of the n cases.
    """

    field: str
    group: Group
    method: str
    n: int
    coefficients: FloatArray
    lowest: FloatArray
    highest: FloatArray


@dataclass(frozen=True, eq=False)
class UsualUse:
    """Every line of a card. fill: [5] what stands for a blank predictor; a case without a hardness gets no answer."""

    fill: FloatArray
    lines: tuple[UsualLine, ...]

    def of(self, row: Row) -> dict[str, Usual]:
        """{field: what is usual} for a case; fields without a line, or with no case like this one, are left out."""
        columns = nucleus_columns(row)
        if math.isnan(columns[0]):
            return {}
        filled = np.where(np.isnan(columns), self.fill, columns)
        values = {(field, group): value for field, group, value in measured(row)}
        groups = [group for group, _ in energy_readings(row)]
        found: dict[str, Usual] = {}
        for line in sorted(self.lines, key=lambda one: groups.index(one.group) if one.group in groups else -1):
            mine = line.group == NO_GROUP or line.group in groups
            inside = (filled >= line.lowest - 1e-9) & (filled <= line.highest + 1e-9)
            if not mine or line.field in found or not inside.all():
                continue
            logs = np.sort(line.coefficients @ np.concatenate([[1.0], filled]))
            low, median, high = (_back(line.field, float(one)) for one in logs)
            recorded = values.get((line.field, line.group))
            value = None if recorded is None else _back(line.field, recorded)
            found[line.field] = Usual(
                line.field, value, low, median, high, _words(line.field, value, low, median, high)
            )
        return found

    def as_dict(self) -> dict[str, Any]:
        """The JSON form."""
        return {
            "quantiles": list(QUANTILES),
            "predictors": list(PREDICTORS),
            "fields": _prints(),
            "fill": self.fill.tolist(),
            "lines": [
                {
                    "field": line.field, "machine": line.group[0], "metric": line.group[1], "motion": line.group[2],
                    "method": line.method, "n": line.n, "coefficients": line.coefficients.tolist(),
                    "lowest": line.lowest.tolist(), "highest": line.highest.tolist(),
                }
                for line in self.lines
            ],
        }  # fmt: skip

    @classmethod
    def from_dict(cls, written: Mapping[str, Any]) -> UsualUse:
        """Read the JSON form; ModelError where it does not hold together, or a field now means something else."""
        if written["fields"] != _prints():
            raise _refusal("Fields that its usual ranges rest on have come to mean something else.")
        if written["quantiles"] != list(QUANTILES) or written["predictors"] != list(PREDICTORS):
            raise _refusal("Its usual ranges are made from other columns or quantiles.")
        lines = tuple(
            UsualLine(
                one["field"], (one["machine"], one["metric"], one["motion"]), one["method"], one["n"],
                _numbers(one["coefficients"], (len(QUANTILES), len(PREDICTORS) + 1)),
                _numbers(one["lowest"], (len(PREDICTORS),)), _numbers(one["highest"], (len(PREDICTORS),)),
            )
            for one in written["lines"]
        )  # fmt: skip
        if any(line.method not in METHODS or line.field not in (*_LOGS, _ENERGY, _OTHER_ENERGY) for line in lines):
            raise _refusal("A usual range in it is of an unknown kind.")
        if len({(line.field, line.group) for line in lines}) != len(lines):
            raise _refusal("It holds two usual ranges of one measurement.")
        return cls(_numbers(written["fill"], (len(PREDICTORS),)), lines)


def nucleus_columns(row: Row) -> FloatArray:
    """PREDICTORS of a row [5], NaN where it leaves them open.

    Brunescent is not white: hardness says it. A pupil that was not measured is a blank, not a wide one.
    """
    pupil, white = number(row, "pupil_dilated_mm"), row.get("white_or_brunescent")
    return np.array(
        [
            number(row, "nucleus_hardness"),
            number(row, "age_years") / 10.0,
            depth_from_front(row),
            BLANK if math.isnan(pupil) else float(pupil < SMALL_PUPIL_MM),
            BLANK if white is None else float(white == "white_intumescent"),
        ]
    )


def measured(row: Row) -> list[tuple[str, Group, float]]:
    """(field, group, value on the log scale) of what theatre recorded; energy once for each metric shown."""
    found: list[tuple[str, Group, float]] = []
    for name in _LOGS:
        value = number(row, name)
        if value > 0.0:
            found.append((name, NO_GROUP, math.log(value)))
    found += [(_field_of(group), group, value) for group, value in energy_readings(row)]
    return found


def _field_of(group: Group) -> str:
    return _ENERGY if group[1] == "effective_time_s" else _OTHER_ENERGY


def _back(field: str, log: float) -> float:
    return math.exp(log) if field in _LOGS else math.expm1(log)


def _words(field: str, value: float | None, low: float, median: float, high: float) -> str:
    middle, bottom, top = (number_words(field, one) for one in (median, low, high))
    usual = f"median {middle}, 10-90 % {bottom}-{top}"
    label, unit = BY_NAME[field].label, unit_words(field)
    if value is None:
        return f"{label}: not recorded; usual with this nucleus: {usual}{unit}"
    compared = (
        "higher than 9 of 10 cases with this nucleus" if value > high
        else "lower than 9 of 10 cases with this nucleus" if value < low
        else "as usual with this nucleus"
    )  # fmt: skip
    return f"{label} {number_words(field, value)}{unit}: {compared} ({usual})"


def _prints() -> dict[str, str]:
    return {name: BY_NAME[name].print for name in (*_READ, *_MEASURED)}


def _numbers(written: Sequence[Any], shape: tuple[int, ...]) -> FloatArray:
    if len(shape) > 1 and len({len(row) for row in written}) > 1:
        raise _refusal("A row of its usual ranges is too short.")
    array = frozen(written)
    if array.shape != shape:
        raise _refusal(f"Its usual ranges have the shape {array.shape} where {shape} is needed.")
    return array


def _refusal(why: str) -> ModelError:
    return ModelError("The card cannot be used.", why, "Train a new model.")
