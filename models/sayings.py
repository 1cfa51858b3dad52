"""What a forecast says beside its numbers: reasons, what is missing, what would narrow it; said only when asked."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from models.codebook import BY_NAME
from models.formula import Formula, expit
from models.measure import TENTH
from models.spec import TermKind
from models.words import effect_words, label_words, listed, number_words, unit_words
from models.working import Numbers

Answers = Mapping[str, object]
"""The answers that a forecast rests on: those given, and `NAME_missing` where one was not possible."""

KEY_EFFECT = 0.1
"""Log-odds per step from which a field counts: outside the training range of such a field there is no forecast, and
smaller effects are not named among the reasons."""

LEAST_GAIN = 0.02
"""Variance of the log-odds that a test must take off to be named."""

ENERGY_LABEL = "Energy reading, for this machine"


@dataclass(frozen=True, slots=True)
class Reason:
    """What sets this eye apart: `effect` in log-odds against the practice's usual eye. answers: what the label names;
    energy: whether the field is a reading of a machine, whose number means nothing elsewhere."""

    term: str
    field: str
    effect: float
    energy: bool
    answers: Answers

    @property
    def label(self) -> str:
        """Field and answer; of an energy reading only that it is this machine's."""
        return ENERGY_LABEL if self.energy else label_words(self.field, self.answers)

    @property
    def words(self) -> str:
        """What the answer goes with, and how much."""
        return effect_words(self.effect)


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

    @property
    def sentence(self) -> str:
        """What is missing and what recording it would do."""
        return (
            f"{BY_NAME[self.field].label} is missing. Recording it would narrow this range most; depending on the "
            f"answer the chance would likely lie between {round(100.0 * self.low_if)} and "
            f"{round(100.0 * self.high_if)} in 100."
        )

    def as_dict(self) -> dict[str, object]:
        """The JSON form."""
        return {
            "field": self.field, "gain": self.gain, "share": self.share, "low_if": self.low_if,
            "high_if": self.high_if, "sentence": self.sentence,
        }  # fmt: skip


class Sayings:
    """The words of one formula's forecasts."""

    def __init__(self, formula: Formula) -> None:
        self._formula = formula
        spec = formula.spec
        base = len(spec.base)
        self._columns = {
            field: tuple(j for j, term in enumerate(spec.terms) if term.field == field) for field in spec.predictors
        }
        self._base = {field: tuple(j for j in js if j < base) for field, js in self._columns.items()}
        # Of each field: its first place among (1, columns), the others, and which of its levels an answer of 1 names.
        self._terms = tuple(
            (
                field, js[0] + 1, tuple(j + 1 for j in js[1:]),
                tuple((j, spec.terms[j].name) for j in js if len(js) > 1 and spec.terms[j].kind is TermKind.CODED),
                spec.terms[js[0]].name,
            )
            for field, js in self._columns.items()
        )  # fmt: skip
        self._energy = None if spec.energy is None else spec.terms[spec.energy].field

    @property
    def asked(self) -> int:
        """Number of fields that the model asks for."""
        return len(self._columns)

    def missing(self, numbers: Numbers, answers: Answers) -> tuple[tuple[str, float], ...]:
        """(field, gain) of each field without an answer, most telling first, then by name.

        An answer that the model cannot read (sex other) is not asked for again.
        """
        open_ = numbers.pattern.open
        if not open_:
            return ()
        opened = set(open_)
        found = [
            (field, self._gain(field, numbers, answers))
            for field, columns in self._base.items()
            if not opened.isdisjoint(columns) and answers.get(field) in (None, "unknown")
        ]
        return tuple(sorted(found, key=lambda one: (-one[1], one[0])))

    def _gain(self, field: str, numbers: Numbers, answers: Answers) -> float:
        columns = self._base[field]
        depth = self._formula.spec.depth
        if (
            field == "cct_um"
            and depth is not None
            and answers.get("acd_mm") is not None
            and depth in numbers.pattern.open
        ):
            columns = (*columns, depth)
        return numbers.pattern.gain(columns, numbers.bend)

    def narrowing(self, numbers: Numbers, answers: Answers, missing: tuple[tuple[str, float], ...]) -> Narrowing | None:
        """The most telling of the missing answers that can still be given, or None where none would tell much."""
        for field, gain in missing:
            if gain < LEAST_GAIN:
                break
            if answers.get(f"{field}_missing") == "not_possible":
                continue
            half = TENTH * math.sqrt(gain)
            low, high = expit(numbers.eta - half), expit(numbers.eta + half)
            return Narrowing(field, gain, min(1.0, gain / numbers.missing_variance), low, high)
        return None

    def apart(self, numbers: Numbers) -> list[tuple[float, str, str]]:
        """(effect, term, field) of what sets this eye apart, the largest first, then by term."""
        found = []
        parts, opened = numbers.parts, set(numbers.pattern.open)
        for field, first, others, coded, term in self._terms:
            effect = parts[first]
            for j in others:
                effect += parts[j]
            if -KEY_EFFECT < effect < KEY_EFFECT or not opened.isdisjoint(self._base[field]):
                continue
            for j, name in coded:
                if numbers.values[j] == 1.0:
                    term = name
                    break
            found.append((effect, term, field))
        return sorted(found, key=lambda one: (-abs(one[0]), one[1]))

    def reason(self, effect: float, term: str, field: str, answers: Answers) -> Reason:
        """One of `apart` as it is shown."""
        return Reason(term, field, effect, field == self._energy, answers)

    def outside(self, j: int, low: float, high: float, value: float, answers: Answers) -> str:
        """That the answer of column j lies outside the training eyes, which went from low to high."""
        term = self._formula.spec.terms[j]
        label, unit = BY_NAME[term.field].label, unit_words(term.field)
        if term.kind is TermKind.CODED:
            return f"{label_words(term.field, answers)} was never among our eyes"
        if term.kind is TermKind.ENERGY:
            return f"{ENERGY_LABEL}, lies outside our records"
        shown, least, most = (
            number_words(term.field, math.exp(v * term.unit) if term.kind is TermKind.LOG else v * term.unit)
            for v in (value, low, high)
        )
        return f"{label} {shown}{unit} lies outside our records ({least} to {most}{unit})"

    def far(self, numbers: Numbers, answers: Answers) -> str:
        """The two fields that take this eye furthest from the middle of the training eyes."""
        shares = numbers.shares.tolist()
        by_field = {
            field: sum(shares[j] for j in columns)
            for field, columns in self._base.items()
            if not any(j in numbers.pattern.open for j in columns)
        }
        worst = sorted(by_field, key=lambda field: (-by_field[field], field))[:2]
        return listed([self._label(field, answers) for field in worst])

    def too_much_open(self, missing: tuple[tuple[str, float], ...]) -> str:
        """Why the missing answers are too many."""
        n = len(missing)
        if n == 0:
            return "Answers that the model cannot use hold most of what tells eyes apart."
        are, they = ("is", "it holds") if n == 1 else ("are", "they hold")
        return (
            f"{n} of the {self.asked} answers the model needs {are} missing, and {they} most of what tells eyes apart."
        )

    def _label(self, field: str, answers: Answers) -> str:
        """Field and answer; energy is only said to be this machine's, since its number means nothing elsewhere."""
        return ENERGY_LABEL if field == self._energy else label_words(field, answers)


def in_sentence(label: str) -> str:
    """A label amid a sentence: its first letter small, unless the first word is an abbreviation."""
    first = label.split(" ", maxsplit=1)[0]
    return label if any(one.isupper() or one.isdigit() for one in first[1:]) else label[:1].lower() + label[1:]


def missing_note(fields: tuple[str, ...]) -> str:
    """What is missing and what the chance then assumes; nothing where all is answered."""
    if not fields:
        return ""
    names = listed([in_sentence(BY_NAME[name].label) for name in fields])
    return f"Missing: {names}. The chance shown assumes what is usual in this practice and may be wrong."
