"""The table of fields as a whole: look-ups, the stage rule that makes leakage impossible, the manual's table."""

from __future__ import annotations

import hashlib
from types import MappingProxyType

from models.codebook.booking import BOOKING_FIELDS, KEY_FIELDS
from models.codebook.day_one import DAY_ONE_FIELDS, RECHECK_FIELDS
from models.codebook.kinds import MISSING_CODES, Field, Kind, Role, Stage
from models.codebook.theatre import THEATRE_FIELDS

KEY: tuple[str, ...] = tuple(field.name for field in KEY_FIELDS)
"""The three fields that name a case: patient, eye, surgery date."""

FIELDS: tuple[Field, ...] = (*KEY_FIELDS, *BOOKING_FIELDS, *THEATRE_FIELDS, *DAY_ONE_FIELDS, *RECHECK_FIELDS)
"""Every field, in the order of the moments at which they are written."""

BY_NAME: MappingProxyType[str, Field] = MappingProxyType({field.name: field for field in FIELDS})

MODEL_ROLES: MappingProxyType[str, frozenset[Role]] = MappingProxyType(
    {
        "booking": frozenset({Role.BOOKING_PREDICTOR}),
        "end_of_case": frozenset({Role.BOOKING_PREDICTOR, Role.THEATRE_PREDICTOR}),
    }
)
"""Which roles may be predictors of which model. No other role ever may."""

MODEL_STAGES: MappingProxyType[str, frozenset[Stage]] = MappingProxyType(
    {"booking": frozenset({Stage.BOOKING}), "end_of_case": frozenset({Stage.BOOKING, Stage.THEATRE})}
)
"""Which stages are known when a model speaks."""

CENTRE_GRADE = "edema_grade_central"
"""The field that the outcome is read from."""


def field(name: str) -> Field:
    """The field of that name; KeyError when the codebook has none."""
    return BY_NAME[name]


def fields_of(stage: Stage) -> tuple[Field, ...]:
    """The fields written at `stage`, in form order; the key belongs to booking."""
    return tuple(one for one in FIELDS if one.stage is stage)


def may_predict(name: str, model: str) -> bool:
    """Whether the field may be a predictor of the model (`booking` or `end_of_case`): by stage and by role."""
    one = BY_NAME.get(name)
    return one is not None and one.stage in MODEL_STAGES[model] and one.role in MODEL_ROLES[model]


def codebook_print() -> str:
    """Fingerprint of the whole table: 16 hexadecimal digits."""
    return hashlib.sha256("".join(one.print for one in FIELDS).encode()).hexdigest()[:16]


def _range(bounds: tuple[float, float] | None) -> str:
    return "" if bounds is None else f"{bounds[0]:g} to {bounds[1]:g}"


def _answers(one: Field) -> str:
    if one.kind is Kind.YES_NO:
        return "`yes`, `no`"
    return ", ".join(f"`{choice.code}` {choice.label}" for choice in one.choices)


def as_markdown() -> str:
    """The table of fields for the manual: one section a stage, one row a field."""
    lines = [
        "# Fields of the record",
        "",
        "Written by the program from its table of fields. An empty answer may carry a reason in the column "
        "`<field>_missing`: " + ", ".join(f"`{code}` {words}" for code, words in MISSING_CODES.items()) + ".",
    ]
    for stage in Stage:
        lines += [
            "",
            f"## {stage.value}",
            "",
            "| field | label | kind | unit | refused outside | asked outside | answers | role | meaning | source |",
            "|---|---|---|---|---|---|---|---|---|---|",
        ]
        for one in fields_of(stage):
            cells = (
                f"`{one.name}`",
                one.label,
                one.kind.value,
                one.unit,
                _range(one.hard),
                _range(one.soft),
                _answers(one),
                one.role.value,
                one.help,
                one.source,
            )
            lines.append("| " + " | ".join(cell.replace("|", "\\|") for cell in cells) + " |")
    return "\n".join(lines) + "\n"
