"""Rows of the record -> a frozen table for training, with a count of every eye left out and why."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime

import numpy as np

from models.arrays import FloatArray, IntArray, cluster_codes, frozen
from models.columns import Group, column_readers, energy_readings
from models.eligibility import left_out
from models.energy import EnergyScale, learn_energy
from models.errors import ModelError
from models.outcome import Look, look
from models.spec import Spec

Row = Mapping[str, object]
Key = tuple[str, str, str]
"""Patient number, eye, surgery date (ISO 8601)."""


@dataclass(frozen=True, eq=False)
class Dataset:
    """Training eyes in order of surgery date and key.

    columns: [n, p] base columns of the model in their units, NaN = blank, the energy scored; y: [n] 1 cloudy;
    patients: [n] numbered 0, 1, ...; quarters: [n] counted in quarters of years from year 0; inferred: eyes counted as
    in the window by the calendar day. excluded: {rule: eyes}; unseen: why outcomes were unknown.
    readings: ln(1 + energy readings) by eye; energy: the yardsticks learnt from these very eyes, None without energy.
    """

    keys: tuple[Key, ...]
    columns: FloatArray
    y: FloatArray
    patients: IntArray
    dates: tuple[date, ...]
    quarters: IntArray
    inferred: int
    excluded: Mapping[str, int]
    unseen: Mapping[str, int]
    readings: tuple[tuple[tuple[Group, float], ...], ...]
    energy: EnergyScale | None

    @property
    def n(self) -> int:
        """Number of eyes."""
        return len(self.keys)

    @property
    def events(self) -> int:
        """Number of cloudy eyes."""
        return int(self.y.sum())

    @property
    def patient_count(self) -> int:
        """Number of patients."""
        return int(self.patients.max()) + 1 if self.n else 0


def build(rows: Iterable[Row], spec: Spec, *, until: date | None = None) -> Dataset:
    """Take every row that may train `spec`: known outcome and no rule of `eligibility` against it.

    until: last surgery date taken. Each row left out is counted under the first rule that holds. The order of the rows
    and the names of the patients change nothing but `keys`.
    """
    given = list(rows)
    keys = [eye_key(row) for row in given]
    # Two sorts that keep the order of equals: by patient and eye, then by date.
    days = [key[2] for key in keys]
    order = sorted(sorted(range(len(keys)), key=keys.__getitem__), key=days.__getitem__)
    if until is not None:
        latest = until.isoformat()
        order = [i for i in order if days[i] <= latest]
    _refuse_repeated([keys[i] for i in order])
    first: dict[tuple[str, str], str] = {}
    excluded: Counter[str] = Counter()
    unseen: Counter[str] = Counter()
    taken = _Taken(spec)
    for i in order:
        key, row = keys[i], given[i]
        rule = left_out(row)
        earlier = first.setdefault((key[0], key[1]), key[2])
        if rule is None and earlier != key[2]:
            rule = "second_operation"
        if rule is None:
            seen = look(row, spec.outcome.cut, spec.outcome.window)
            if seen.cloudy is None:
                rule = "no_graded_visit"
                unseen[str(seen.reason)] += 1
            else:
                taken.add(key, row, seen)
        if rule is not None:
            excluded[rule] += 1
    return taken.frozen(dict(sorted(excluded.items())), dict(sorted(unseen.items())))


def quarter_of(day: date) -> int:
    """Quarters of years since year 0."""
    return 4 * day.year + (day.month - 1) // 3


def quarter_words(quarter: int) -> str:
    """A quarter as people write it, such as 2025 Q3."""
    return f"{quarter // 4} Q{quarter % 4 + 1}"


class _Taken:
    """Eyes taken, in order. A row is read once and not kept: what is looked at again is not in the cache any more."""

    def __init__(self, spec: Spec) -> None:
        self._spec, self._readers = spec, column_readers(spec)
        self._keys: list[Key] = []
        self._numbers: list[float] = []
        self._y: list[float] = []
        self._inferred = 0
        self._readings: list[tuple[tuple[Group, float], ...]] = []
        self._machines: set[str] = set()

    def add(self, key: Key, row: Row, seen: Look) -> None:
        self._keys.append(key)
        self._numbers += [read(row) for read in self._readers]
        self._y.append(float(bool(seen.cloudy)))
        self._inferred += seen.inferred
        if self._spec.energy is not None:
            self._readings.append(tuple(energy_readings(row)))
            if row.get("phaco_machine_id") is not None:
                self._machines.add(str(row["phaco_machine_id"]))

    def frozen(self, excluded: Mapping[str, int], unseen: Mapping[str, int]) -> Dataset:
        spec, n = self._spec, len(self._keys)
        columns = np.asarray(self._numbers, dtype=np.float64).reshape(n, len(self._readers))
        scale = None
        if spec.energy is not None:
            scale = learn_energy(self._readings, sorted(self._machines))
            unit = spec.terms[spec.energy].unit
            columns[:, spec.energy] = [unit * scale.score(found) for found in self._readings]
        dates = tuple(date.fromisoformat(key[2]) for key in self._keys)
        patients = [key[0] for key in self._keys]
        return Dataset(
            keys=tuple(self._keys),
            columns=frozen(columns),
            y=frozen(self._y),
            patients=cluster_codes(np.asarray(patients), n) if n else np.zeros(0, dtype=np.int64),
            dates=dates,
            quarters=np.asarray([quarter_of(day) for day in dates], dtype=np.int64),
            inferred=self._inferred,
            excluded=excluded,
            unseen=unseen,
            readings=tuple(self._readings),
            energy=scale,
        )


def eye_key(row: Row) -> Key:
    """The key of a row; ModelError when it lacks a part of it."""
    patient, eye, day = row.get("patient_id"), row.get("eye"), row.get("surgery_date")
    if patient is None or eye is None or not isinstance(day, date):
        raise ModelError(
            "The rows cannot be used.",
            "A row lacks its patient number, its eye or its surgery date.",
            "Complete the key of every row.",
        )
    return str(patient), str(eye), (day.date() if isinstance(day, datetime) else day).isoformat()


def _refuse_repeated(keys: Sequence[Key]) -> None:
    if len(set(keys)) != len(keys):
        raise ModelError(
            "The rows cannot be used.", "Two rows stand for the same eye at the same operation.", "Give each eye once."
        )
