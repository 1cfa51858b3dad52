"""What was done in theatre, quarter by quarter: medians with counts, and what to watch beside every saving."""

from __future__ import annotations

import statistics
from collections.abc import Callable, Sequence

from clinic_app.domain.record import Row
from clinic_app.domain.reviewed import Happening, Median, Reading, Theatre
from clinic_app.services.review.eyes import Eye
from clinic_app.services.review.groups import grouped
from models.codebook import field
from models.dataset import quarter_of, quarter_words

FEWEST_EYES = 10
HIGH_PRESSURE_MMHG = 30.0
NOTE = (
    "Medians of what was recorded for these eyes; half of the eyes lie in the middle half. Cases differ from quarter "
    "to quarter, so a change went with other cases as well as with technique. Ultrasound is never compared across "
    "machines or tip motions."
)
READINGS: tuple[tuple[str, bool], ...] = (
    ("irrigation_volume_ml", False),
    ("effective_phaco_time_s", True),
    ("case_minutes", False),
)
"""Field, and whether it means something only within one machine and motion."""

Answer = Callable[[Row], bool | None]


def _rupture(row: Row) -> bool | None:
    return None if row.get("pcr") is None else row.get("pcr") in ("PCR", "PCR+vitreous")


def _leak(row: Row) -> bool | None:
    found = row.get("seidel")
    return None if found in (None, "not_tested") else found != "negative"


def _pressure(row: Row) -> bool | None:
    value = row.get("iop_pod1_mmhg")
    return value > HIGH_PRESSURE_MMHG if isinstance(value, int | float) else None


def _lens_matter(row: Row) -> bool | None:
    value = row.get("retained_lens")
    return value if isinstance(value, bool) else None


BESIDE: tuple[tuple[str, Answer], ...] = (
    ("Capsule rupture", _rupture),
    ("Lens matter left", _lens_matter),
    ("Wound leak on day one", _leak),
    ("Pressure above 30 mmHg on day one", _pressure),
)


def theatre(eyes: Sequence[Eye]) -> Theatre:
    """Readings and happenings of these eyes by quarter; a median only from 10 eyes on."""
    quarters = grouped(eyes, lambda eye: quarter_words(quarter_of(eye.key.surgery_date)))
    readings: list[Reading] = []
    for name, within_machine in READINGS:
        one = field(name)
        kinds = grouped(eyes, lambda eye: _machine(eye.row)) if within_machine else {"": list(eyes)}
        for kind in sorted(kinds):
            mine = grouped(kinds[kind], lambda eye: quarter_words(quarter_of(eye.key.surgery_date)))
            medians = tuple(_median(quarter, mine.get(quarter, []), name) for quarter in sorted(quarters))
            if any(one_quarter.median is not None for one_quarter in medians):
                readings.append(Reading(name, one.label, UNITS.get(one.unit, one.unit), kind, medians))
    beside = tuple(
        _happening(quarter, label, quarters[quarter], answer)
        for label, answer in BESIDE
        for quarter in sorted(quarters)
    )
    return Theatre(NOTE, tuple(readings), beside)


UNITS = {"mm[Hg]": "mmHg"}


def _machine(row: Row) -> str | None:
    machine, motion = row.get("phaco_machine_id"), row.get("us_motion")
    if machine is None or motion is None:
        return None
    return f"{machine}, {field('us_motion').choice_label(motion).lower()}"


def _median(quarter: str, eyes: Sequence[Eye], name: str) -> Median:
    values = [float(value) for eye in eyes if isinstance(value := eye.row.get(name), int | float)]
    if len(values) < FEWEST_EYES:
        return Median(quarter, len(values), None, None, None)
    lower, middle, upper = statistics.quantiles(values, n=4, method="inclusive")
    return Median(quarter, len(values), middle, lower, upper)


def _happening(quarter: str, label: str, eyes: Sequence[Eye], answer: Answer) -> Happening:
    answers = [answer(eye.row) for eye in eyes]
    return Happening(quarter, label, sum(one is True for one in answers), sum(one is not None for one in answers))
