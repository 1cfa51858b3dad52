"""What would be asked about a row that comes from a file, and how a person's word for it travels with the row.

A value or a pair of values that somebody confirmed in the program must not be asked about again when the record comes
back from an export: the column `confirmed` names the fields and rules that were answered.
"""

from __future__ import annotations

from collections.abc import Mapping

from clinic_app.domain.answers import Taken
from clinic_app.domain.checks import Finding, check
from clinic_app.domain.derived import complete
from clinic_app.domain.reading import read
from clinic_app.exchange.cells import cell_text
from models.codebook import BY_NAME, Stage, fields_of

OTHER_DATE = "other_date"
"""Rule: the same eye is booked for another day and not operated yet."""
_AFTER_BOOKING = frozenset(one.name for stage in (Stage.THEATRE, Stage.DAY_ONE) for one in fields_of(stage))
_SURE = frozenset({"eye", "surgery_date"})


def operated(row: Mapping[str, object]) -> bool:
    """Whether anything of the flat row was written in theatre or on day one."""
    return any(name in _AFTER_BOOKING and row[name] is not None for name in row)


def completed(row: Mapping[str, object], zone: str | None) -> dict[str, object]:
    """The row with what follows from it, but with the machine's own effective time, which is checked as typed."""
    full = complete(row, zone=zone)
    if row.get("effective_phaco_time_s") is not None:
        full["effective_phaco_time_s"] = row["effective_phaco_time_s"]
    return full


def row_findings(row: Mapping[str, object], zone: str | None) -> list[Finding]:
    """What stands between the fields of one flat row."""
    return check(completed(row, zone))


class Confirming:
    """Finds what would be asked about rows of the record; each distinct value of a field is tried once."""

    def __init__(self, zone: str | None) -> None:
        self._zone = zone
        self._asked: dict[tuple[str, object], bool] = {}

    def of_values(self, row: Mapping[str, object]) -> list[str]:
        """Fields of the flat row whose own text would not be read back as it stands."""
        return [
            name for name, value in row.items() if value is not None and name in BY_NAME and self._asks(name, value)
        ]

    def of_case(self, row: Mapping[str, object], *, other_date: bool) -> str | None:
        """What the column `confirmed` says for a case; `other_date` when the eye waits for another day as well."""
        rules = [one.rule for one in row_findings(row, self._zone) if one.kind == "ask"]
        found = [*self.of_values(row), *dict.fromkeys(rules), *((OTHER_DATE,) if other_date else ())]
        return "|".join(found) or None

    def _asks(self, name: str, value: object) -> bool:
        if name in _SURE:
            return False
        known = self._asked.get((name, value))
        if known is None:
            answer = read(BY_NAME[name], cell_text(value), decimal=".", soft="note")
            known = not (isinstance(answer, Taken) and answer.value == value and answer.typed is None)
            if len(self._asked) > 500_000:
                self._asked.clear()
            self._asked[name, value] = known
        return known
