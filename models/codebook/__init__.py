"""The table of fields: names, kinds, units, ranges, answers, stages, roles, words and sources.

Forms, columns, text reading, checks, design matrices and the field manual all follow from it, by kind.
"""

from models.codebook.coding import CODINGS, Coding
from models.codebook.kinds import MISSING_CODES, Choice, Field, Kind, Role, Stage
from models.codebook.table import (
    BY_NAME,
    CENTRE_GRADE,
    FIELDS,
    KEY,
    MODEL_ROLES,
    MODEL_STAGES,
    as_markdown,
    codebook_print,
    field,
    fields_of,
    may_predict,
)

__all__ = [
    "BY_NAME",
    "CENTRE_GRADE",
    "CODINGS",
    "FIELDS",
    "KEY",
    "MISSING_CODES",
    "MODEL_ROLES",
    "MODEL_STAGES",
    "Choice",
    "Coding",
    "Field",
    "Kind",
    "Role",
    "Stage",
    "as_markdown",
    "codebook_print",
    "field",
    "fields_of",
    "may_predict",
]
