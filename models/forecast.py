"""One row -> one forecast: the chance with its range, what sets the eye apart, what is missing, or a refusal."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from models.codebook import BY_NAME
from models.eligibility import ELIGIBILITY_FIELDS, OPERATED_BEFORE, left_out, reason_words
from models.errors import ModelError
from models.formula import Formula, Numbers, Working, expit
from models.spec import TermKind
from models.words import chance_sentence, effect_words, label_words, listed, number_words, unit_words

Row = Mapping[str, object]

MOST_MISSING = 3
"""More of the model's fields than this unanswered: no forecast."""

KEY_EFFECT = 0.1
"""Log-odds per step from which a field counts: outside the training range of such a field there is no forecast, and
smaller effects are not named among the reasons."""

MOST_REASONS = 4
LEAST_GAIN = 0.02
"""Variance of the log-odds that a test must take off to be named."""

ENERGY_LABEL = "Energy reading, for this machine"

TENTH = 1.2815515655446004
"""90 % point of the standard normal distribution."""


@dataclass(frozen=True, slots=True)
class Reason:
    """What sets this eye apart: `effect` in log-odds against the practice's usual eye."""

    term: str
    field: str
    label: str
    effect: float
    words: str


@dataclass(frozen=True, slots=True)
class Narrowing:
    """The missing answer that would narrow the range most.

    gain: what it takes off the variance of the log-odds; share: of what the blanks leave; low_if, high_if: the chance
    after an answer at the 10th or 90th percentile of what is expected for this eye, the lower first.
    """

    field: str
    gain: float
    share: float
    low_if: float
    high_if: float
    sentence: str

    def as_dict(self) -> dict[str, object]:
        """The JSON form."""
        return {
            "field": self.field, "gain": self.gain, "share": self.share, "low_if": self.low_if,
            "high_if": self.high_if, "sentence": self.sentence,
        }  # fmt: skip


@dataclass(frozen=True, slots=True)
class Forecast:
    """A forecast, or a refusal without any number.

    status: `forecast`, `refused_unlike_ours` or `refused_missing`. risk, low, high: fractions, 95 % range. missing:
    unanswered fields of the model. edge: sentences when the eye is at the edge of the records. smaller: reasons that
    were not named. inputs: the answers that it rests on; the same inputs give the same forecast again. key: patient,
    eye, date as the row gave them.
    """

    status: str
    risk: float | None
    low: float | None
    high: float | None
    missing: tuple[str, ...]
    would_narrow_most: Narrowing | None
    reasons: tuple[Reason, ...]
    smaller: int
    edge: tuple[str, ...]
    note: str
    inputs: Mapping[str, object]
    key: tuple[str | None, str | None, str | None]

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
        self._depth = formula.spec.depth
        spec = formula.spec
        names = dict.fromkeys((*spec.fields, *ELIGIBILITY_FIELDS))
        self._inputs = tuple(names)
        self._columns = {
            field: tuple(j for j, term in enumerate(spec.terms) if term.field == field) for field in spec.predictors
        }
        base = len(spec.base)
        self._base = {field: tuple(j for j in js if j < base) for field, js in self._columns.items()}
        size = [abs(float(b)) for b in formula.coefficients]
        if spec.curved and spec.depth is not None:
            size[spec.depth] = max(size[spec.depth], size[-1])
        self._key_columns = tuple(
            (j, float(formula.lowest[j]), float(formula.highest[j])) for j in range(base) if size[j] > KEY_EFFECT
        )

    def forecast(self, row: Row) -> Forecast:
        """The forecast of one row with its derived values and, where it is one, the mark of a second operation.

        Raises ModelError for an answer that is no answer of its field, or when a number comes out impossible.
        """
        rule = left_out(row)
        if rule is not None:
            words = reason_words(rule, row)
            return self._refused(row, "refused_unlike_ours", f"This eye is unlike ours: {words}.")
        energy, machine = self._formula.energy, row.get("phaco_machine_id")
        if energy is not None and machine is not None and str(machine) not in energy.machines:
            note = f"Machine {machine} is new to the model; the booking forecast stays."
            return self._refused(row, "refused_unlike_ours", note)
        numbers = self.working.work(self.working.columns(row))
        outside = self._outside(numbers, row)
        if outside:
            return self._refused(row, "refused_unlike_ours", f"This eye is unlike ours: {outside}.")
        missing = self._missing(numbers, row)
        if len(missing) > MOST_MISSING:
            note = f"{len(missing)} of the {len(self._columns)} answers the model needs are missing."
            return self._refused(row, "refused_missing", note, missing)
        if numbers.distance > self._formula.beyond:
            together = self._far(numbers, row)
            words = f"This eye is unlike ours: {together} were not seen together in our records."
            return self._refused(row, "refused_unlike_ours", words, missing)
        if not all(math.isfinite(value) and 0.0 <= value <= 1.0 for value in (numbers.risk, numbers.low, numbers.high)):
            raise ModelError("No forecast can be made.", "The chance came out impossible.", "Report this card.")
        reasons = self._reasons(numbers, row)
        edge: tuple[str, ...] = ()
        if numbers.distance > self._formula.edge:
            edge = (
                f"{self._far(numbers, row)} are together at the edge of our records (fewer than 1 in 100 of our eyes "
                "lie further out). The range is wider for it.",
            )
        return Forecast(
            status="forecast",
            risk=numbers.risk,
            low=numbers.low,
            high=numbers.high,
            missing=missing,
            would_narrow_most=self._narrowing(numbers, row, missing),
            reasons=tuple(reasons[:MOST_REASONS]),
            smaller=max(0, len(reasons) - MOST_REASONS),
            edge=edge,
            note=_missing_note(missing),
            inputs=self._taken(row),
            key=_key(row),
        )

    def _missing(self, numbers: Numbers, row: Row) -> tuple[str, ...]:
        """Fields without an answer; an answer that the model cannot read (sex other) is not asked for again."""
        blank: list[bool] = numbers.blank.tolist()
        return tuple(
            field
            for field, columns in self._base.items()
            if row.get(field) in (None, "unknown") and any(blank[j] for j in columns)
        )

    def _outside(self, numbers: Numbers, row: Row) -> str:
        values: list[float] = numbers.columns.tolist()
        for j, low, high in self._key_columns:
            slack = 1e-9 * max(1.0, abs(low), abs(high))
            if values[j] < low - slack or values[j] > high + slack:
                term = self._formula.spec.terms[j]
                label, unit = BY_NAME[term.field].label, unit_words(term.field)
                if term.kind is TermKind.CODED:
                    return f"{label_words(term.field, row)} was never among our eyes"
                if term.kind is TermKind.ENERGY:
                    return f"{ENERGY_LABEL}, lies outside our records"
                shown, least, most = (
                    number_words(term.field, math.exp(v * term.unit) if term.kind is TermKind.LOG else v * term.unit)
                    for v in (values[j], low, high)
                )
                return f"{label} {shown}{unit} lies outside our records ({least} to {most}{unit})"
        return ""

    def _far(self, numbers: Numbers, row: Row) -> str:
        """The two fields that take this eye furthest from the middle of the training eyes."""
        by_field = {
            field: sum(float(numbers.shares[j]) for j in columns)
            for field, columns in self._base.items()
            if not any(numbers.blank[j] for j in columns)
        }
        worst = sorted(by_field, key=lambda field: (-by_field[field], field))[:2]
        return listed([self._label(field, row) for field in worst])

    def _label(self, field: str, row: Row) -> str:
        """Field and answer; energy is only said to be this machine's, since its number means nothing elsewhere."""
        energy = self._formula.spec.energy
        if energy is not None and field == self._formula.spec.terms[energy].field:
            return ENERGY_LABEL
        return label_words(field, row)

    def _reasons(self, numbers: Numbers, row: Row) -> list[Reason]:
        found = []
        terms = self._formula.spec.terms
        parts: list[float] = (self._formula.coefficients * numbers.away).tolist()
        blank: list[bool] = numbers.blank.tolist()
        for field, columns in self._columns.items():
            effect = sum(parts[j] for j in columns)
            if abs(effect) < KEY_EFFECT or any(blank[j] for j in self._base[field]):
                continue
            chief = next(
                (j for j in columns if terms[j].kind is TermKind.CODED and numbers.columns[j] == 1.0), columns[0]
            )
            found.append(Reason(terms[chief].name, field, self._label(field, row), effect, effect_words(effect)))
        return sorted(found, key=lambda reason: (-abs(reason.effect), reason.term))

    def _narrowing(self, numbers: Numbers, row: Row, missing: tuple[str, ...]) -> Narrowing | None:
        best, most = None, LEAST_GAIN
        for field in missing:
            if row.get(f"{field}_missing") == "not_possible":
                continue
            columns = self._base[field]
            depth = self._depth
            if field == "cct_um" and depth is not None and row.get("acd_mm") is not None and numbers.blank[depth]:
                columns = (*columns, depth)
            gain = self.working.gain(numbers, columns)
            if gain > most or (best is None and gain >= most):
                best, most = field, gain
        if best is None:
            return None
        half = TENTH * math.sqrt(most)
        low, high = expit(numbers.eta - half), expit(numbers.eta + half)
        sentence = (
            f"{BY_NAME[best].label} is missing. Recording it would narrow this range most; depending on the answer "
            f"the chance would likely lie between {round(100.0 * low)} and {round(100.0 * high)} in 100."
        )
        return Narrowing(best, most, min(1.0, most / numbers.missing_variance), low, high, sentence)

    def _taken(self, row: Row) -> dict[str, object]:
        taken = {name: row[name] for name in self._inputs if row.get(name) is not None}
        for name in self._inputs:
            if row.get(f"{name}_missing") == "not_possible":
                taken[f"{name}_missing"] = "not_possible"
        if row.get(OPERATED_BEFORE) is True:
            taken[OPERATED_BEFORE] = True
        return taken

    def _refused(self, row: Row, status: str, why: str, missing: tuple[str, ...] = ()) -> Forecast:
        note = f"{why} No forecast is shown."
        return Forecast(
            status, None, None, None, missing, None, (), 0, (), note, self._taken(row), _key(row),
        )  # fmt: skip


def _missing_note(missing: tuple[str, ...]) -> str:
    if not missing:
        return ""
    names = listed([BY_NAME[name].label for name in missing])
    return f"Missing: {names}. The chance shown assumes what is usual in this practice and may be wrong."


def _key(row: Row) -> tuple[str | None, str | None, str | None]:
    patient, eye, day = row.get("patient_id"), row.get("eye"), row.get("surgery_date")
    return (
        None if patient is None else str(patient),
        None if eye is None else str(eye),
        None if day is None else day.isoformat() if isinstance(day, date) else str(day),
    )
