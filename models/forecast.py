"""One row -> one forecast: the chance with its range, what sets the eye apart, what is missing, or a refusal."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from functools import cached_property

from models.eligibility import ELIGIBILITY_FIELDS, OPERATED_BEFORE, left_out, reason_words
from models.errors import ModelError
from models.formula import Formula
from models.sayings import KEY_EFFECT, Narrowing, Reason, Sayings, missing_note
from models.words import chance_sentence
from models.working import Numbers, Working

Row = Mapping[str, object]

MOST_OPEN = 2.0 / 3.0
"""No forecast when the unanswered fields hold more than this share of what tells eyes apart: v_m / (b' S b), with b
the slopes at the practice's middle and S the covariance of the fields. At the middle, and not at this eye, so that the
rule depends on nothing but which answers are open, and one answer more never turns a forecast into a refusal. Two
thirds, so that no single answer refuses by itself: hardness, the strongest, holds half in our invented practice."""

MOST_REASONS = 4


@dataclass(frozen=True)
class Forecast:
    """A forecast, or a refusal without any number.

    status: `forecast`, `refused_unlike_ours` or `refused_missing`. risk, low, high: fractions, 95 % range. inputs: the
    answers that it rests on; the same inputs give the same forecast again. key: patient, eye, date as the row gave
    them. Everything that is told in words is worked out when it is first read.
    """

    status: str
    risk: float | None
    low: float | None
    high: float | None
    inputs: Mapping[str, object]
    key: tuple[str | None, str | None, str | None]
    sayings: Sayings = field(repr=False, compare=False)
    numbers: Numbers | None = field(repr=False, compare=False)
    why: str = field(repr=False, default="")

    @cached_property
    def _open(self) -> tuple[tuple[str, float], ...]:
        """(field, gain) of the missing answers, most telling first."""
        return () if self.numbers is None else self.sayings.missing(self.numbers, self.inputs)

    @cached_property
    def _apart(self) -> list[tuple[float, str, str]]:
        return [] if self.numbers is None or self.risk is None else self.sayings.apart(self.numbers)

    @property
    def missing(self) -> tuple[str, ...]:
        """Unanswered fields of the model, those that would narrow the range most first, then by name."""
        return tuple(name for name, _ in self._open)

    @cached_property
    def would_narrow_most(self) -> Narrowing | None:
        """The missing answer that would narrow the range most, if it would take off enough and can still be given."""
        if self.numbers is None or self.risk is None:
            return None
        return self.sayings.narrowing(self.numbers, self.inputs, self._open)

    @cached_property
    def reasons(self) -> tuple[Reason, ...]:
        """What sets this eye apart from the practice's usual eye, the largest first; at most four."""
        return tuple(self.sayings.reason(*one, self.inputs) for one in self._apart[:MOST_REASONS])

    @property
    def smaller(self) -> int:
        """Reasons that are not named."""
        return max(0, len(self._apart) - MOST_REASONS)

    @cached_property
    def edge(self) -> tuple[str, ...]:
        """Sentences when the eye is at the edge of the records."""
        numbers = self.numbers
        if numbers is None or self.risk is None or not numbers.distance > numbers.formula.edge:
            return ()
        return (
            f"{self.sayings.far(numbers, self.inputs)} are together at the edge of our records (fewer than 1 in 100 of "
            "our eyes lie further out). The range is wider for it.",
        )

    @property
    def note(self) -> str:
        """What is missing, or why there is no forecast."""
        if self.risk is not None:
            return missing_note(self.missing)
        why = self.sayings.too_much_open(self._open) if self.status == "refused_missing" else self.why
        return f"{why} No forecast is shown."

    def as_dict(self) -> dict[str, object]:
        """The JSON form; `would_narrow_most` is the name of the field, `narrowing` the whole of it."""
        narrowing = self.would_narrow_most
        return {
            "patient_id": self.key[0],
            "eye": self.key[1],
            "surgery_date": self.key[2],
            "status": self.status,
            "risk": self.risk,
            "low": self.low,
            "high": self.high,
            "missing": list(self.missing),
            "would_narrow_most": None if narrowing is None else narrowing.field,
            "narrowing": None if narrowing is None else narrowing.as_dict(),
            "reasons": [
                {"term": r.term, "field": r.field, "label": r.label, "effect": r.effect, "words": r.words}
                for r in self.reasons
            ],
            "smaller_reasons": self.smaller,
            "edge": list(self.edge),
            "note": self.note,
        }

    def words(self, cloudy: int) -> str:
        """The sentence that is shown; `cloudy` = cloudy eyes behind the model. A refusal says its note."""
        if self.risk is None or self.low is None or self.high is None:
            return self.note
        return chance_sentence(self.risk, self.low, self.high, cloudy)

    @property
    def reasons_words(self) -> tuple[str, ...]:
        """What sets this eye apart, line by line; at most four, then how many smaller ones there are."""
        lines = [f"{reason.label} {reason.words}" for reason in self.reasons]
        if self.smaller:
            lines.append(f"and {self.smaller} smaller {'one' if self.smaller == 1 else 'ones'}")
        return tuple(lines)


class Forecaster:
    """A formula with everything it needs to answer one row after another."""

    def __init__(self, formula: Formula) -> None:
        self.working = Working(formula)
        self._formula = formula
        self._sayings = Sayings(formula)
        spec = formula.spec
        self._inputs = tuple((name, f"{name}_missing") for name in dict.fromkeys((*spec.fields, *ELIGIBILITY_FIELDS)))
        size = [abs(float(b)) for b in formula.coefficients]
        if spec.curved and spec.depth is not None:
            size[spec.depth] = max(size[spec.depth], size[-1])
        ends = [
            (j, float(formula.lowest[j]), float(formula.highest[j]))
            for j in range(len(spec.base)) if size[j] > KEY_EFFECT
        ]  # fmt: skip
        # As wide again as rounding, so that an eye of the training set is never outside.
        slack = [1e-9 * max(1.0, abs(low), abs(high)) for _, low, high in ends]
        self._ends = tuple((j, low - s, high + s) for (j, low, high), s in zip(ends, slack, strict=True))

    def forecast(self, row: Row) -> Forecast:
        """The forecast of one row with its derived values and, where it is one, the mark of a second operation.

        Raises ModelError for an answer that is no answer of its field, or when a number comes out impossible.
        """
        rule = left_out(row)
        if rule is not None:
            return self._unlike(row, f"This eye is unlike ours: {reason_words(rule, row)}.")
        formula = self._formula
        if formula.energy is not None:
            machine = row.get("phaco_machine_id")
            if machine is not None and str(machine) not in formula.energy.machines:
                return self._unlike(row, f"Machine {machine} is new to the model; the booking forecast stays.")
        values = self.working.read(row)
        for j, low, high in self._ends:
            if values[j] < low or values[j] > high:
                words = self._sayings.outside(j, float(formula.lowest[j]), float(formula.highest[j]), values[j], row)
                return self._unlike(row, f"This eye is unlike ours: {words}.")
        numbers = self.working.eye(values)
        if numbers.pattern.open_share > MOST_OPEN:
            return self._told("refused_missing", row, numbers)
        if numbers.distance > formula.beyond:
            together = self._sayings.far(numbers, row)
            why = f"This eye is unlike ours: {together} were not seen together in our records."
            return self._told("refused_unlike_ours", row, numbers, why)
        risk, low, high = numbers.risk, numbers.low, numbers.high
        if not (0.0 <= risk <= 1.0 and 0.0 <= low <= 1.0 and 0.0 <= high <= 1.0):
            raise ModelError("No forecast can be made.", "The chance came out impossible.", "Report this card.")
        return Forecast("forecast", risk, low, high, self._taken(row), _key(row), self._sayings, numbers)

    def _taken(self, row: Row) -> dict[str, object]:
        get = row.get
        taken: dict[str, object] = {}
        for name, reason in self._inputs:
            value = get(name)
            if value is not None:
                taken[name] = value
            if (value is None or value == "unknown") and get(reason) == "not_possible":
                taken[reason] = "not_possible"
        if get(OPERATED_BEFORE) is True:
            taken[OPERATED_BEFORE] = True
        return taken

    def _unlike(self, row: Row, why: str) -> Forecast:
        return self._told("refused_unlike_ours", row, None, why)

    def _told(self, status: str, row: Row, numbers: Numbers | None, why: str = "") -> Forecast:
        """A refusal."""
        return Forecast(status, None, None, None, self._taken(row), _key(row), self._sayings, numbers, why)


def _key(row: Row) -> tuple[str | None, str | None, str | None]:
    patient, eye, day = row.get("patient_id"), row.get("eye"), row.get("surgery_date")
    return (
        None if patient is None else str(patient),
        None if eye is None else str(eye),
        None if day is None else day.isoformat() if isinstance(day, date) else str(day),
    )
