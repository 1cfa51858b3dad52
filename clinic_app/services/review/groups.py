"""Eyes in groups: by quarter, by surgeon, by what was known before surgery; each beside what chance allows."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from datetime import date

from clinic_app.domain.record import Row
from clinic_app.domain.reviewed import Counted, Estimate
from clinic_app.domain.words import counted
from clinic_app.services.review.eyes import Eye, Gathered
from models.calibration import poisson_limits
from models.dataset import quarter_of, quarter_words
from models.monitor import FunnelRow, funnel, outside_by_chance

Name = Callable[[Eye], str | None]

AGE_BANDS = ((65.0, "under 65"), (75.0, "65 to 74"), (85.0, "75 to 84"), (float("inf"), "85 and over"))
DEPTH_BANDS = ((2.5, "under 2.5 mm"), (3.0, "2.5 to 2.9 mm"), (float("inf"), "3.0 mm and over"))
BOOKING_ONLY = (
    "Surgeons are compared by the booking forecast only: the end-of-case forecast would adjust technique away."
)


def by_quarter(eyes: Sequence[Eye]) -> tuple[Counted, ...]:
    """One row per quarter of surgery, in time order."""
    found = grouped(eyes, lambda eye: quarter_words(quarter_of(eye.key.surgery_date)))
    return tuple(_counted("quarter", "Quarter", name, found[name]) for name in sorted(found))


def by_surgeon(gathered: Gathered, *, names: bool) -> tuple[tuple[Counted, ...], str]:
    """One row per surgeon, fewest eyes expected cloudy first, and a sentence on how to read them.

    Surgeons appear by letter unless `names`. With eight surgeons or more whose results differ by more than chance all
    limits are widened alike, and the sentence says so.
    """
    eyes = gathered.graded
    found = grouped(eyes, lambda eye: _surgeon(eye.row))
    if not found:
        return (), "No surgeon was recorded."
    trainees = {code for code, mine in found.items() if _mostly_trainee(mine)}
    shown = {code: (code if names else gathered.surgeons[code]) for code in found}
    table = funnel({shown[code]: _arrays(mine) for code, mine in found.items()})
    words = {shown[code]: shown[code] + (" (trainee)" if code in trainees else "") for code in found}
    rows = tuple(_row("surgeon", "Surgeon", row, words[row.group]) for row in table)
    by_chance = outside_by_chance(len(rows))
    note = (
        f"With {counted(len(rows), 'surgeon', 'surgeons')} expect {by_chance:.2g} outside the 19-in-20 limits by "
        "chance alone at each look. Eyes without an operator's code are not counted here."
    )
    spread = table[0].spread
    if spread > 1.0:
        note += f" Surgeons differ by more than chance; all limits are {spread:.1f} times as wide for it."
    return rows, note


def subgroups(gathered: Gathered) -> tuple[Counted, ...]:
    """One row per group of eyes alike in one thing known at booking, one machine, one examiner, or how blind it was."""
    kinds: tuple[tuple[str, str, Name], ...] = (
        ("guttae_grade", "Guttae, centre", lambda eye: _guttae(eye.row)),
        ("nucleus_hardness", "Nucleus hardness", lambda eye: _text(eye.row, "nucleus_hardness")),
        ("acd_mm", "Chamber depth", lambda eye: _banded(eye.row, "acd_mm", DEPTH_BANDS)),
        ("diabetes", "Diabetes", lambda eye: _any(eye.row, "diabetes", ("none",))),
        ("glaucoma", "Glaucoma", lambda eye: _glaucoma(eye.row)),
        ("age_years", "Age", lambda eye: _banded(eye.row, "age_years", AGE_BANDS)),
        ("sex", "Sex", lambda eye: _sex(eye.row)),
        ("second_eye", "First or second eye", lambda eye: _second(eye, gathered.first_operated)),
        ("ecd_per_mm2", "Cell count", lambda eye: "not measured" if eye.row.get("ecd_per_mm2") is None else "measured"),
        ("phaco_machine_id", "Machine", lambda eye: _text(eye.row, "phaco_machine_id")),
        ("examiner_id", "Examiner", lambda eye: _examiner(eye.row, gathered.examiners)),
        ("examiner_is_surgeon", "Graded by the surgeon", lambda eye: _yes_no(eye.row, "examiner_is_surgeon")),
        (
            "risk_shown_before_surgery",
            "Forecast shown before surgery",
            lambda eye: _yes_no(eye.row, "risk_shown_before_surgery"),
        ),
    )
    rows: list[Counted] = []
    for field, label, name in kinds:
        found = grouped(gathered.graded, name)
        order = _order(field, found)
        rows += [_counted(field, label, group, found[group]) for group in order]
    return tuple(rows)


def by_chance_outside(rows: Sequence[Counted]) -> float:
    """How many of the rows that can be judged chance alone puts outside their 95 % limits, at most."""
    judged = sum(row.verdict != "too_few" for row in rows)
    return outside_by_chance(judged) if judged else 0.0


def grouped(eyes: Iterable[Eye], name: Name) -> dict[str, list[Eye]]:
    """Eyes by the group that `name` puts them in; those without one are left out."""
    found: dict[str, list[Eye]] = {}
    for eye in eyes:
        group = name(eye)
        if group is not None:
            found.setdefault(group, []).append(eye)
    return found


def _counted(field: str, label: str, group: str, eyes: Sequence[Eye]) -> Counted:
    row = funnel({group: _arrays(eyes)})[0]
    return _row(field, label, row, group)


def _arrays(eyes: Sequence[Eye]) -> tuple[list[float], list[float]]:
    return [eye.risk for eye in eyes], [eye.seen for eye in eyes]


def _row(field: str, label: str, row: FunnelRow, group: str) -> Counted:
    return Counted(
        field=field,
        field_label=label,
        group=group,
        n=row.n,
        expected=row.expected,
        observed=row.observed,
        low=row.low,
        high=row.high,
        low_998=row.low_998,
        high_998=row.high_998,
        verdict=row.verdict,
        ratio=_ratio(row.observed, row.expected),
        shrunken=Estimate(row.shrunken.value, row.shrunken.low, row.shrunken.high),
    )


def _ratio(observed: int, expected: float) -> Estimate:
    """Seen over forecast with exact Poisson limits, each eye taken on its own."""
    if expected <= 0.0:
        return Estimate(None)
    low, high = poisson_limits(observed)
    return Estimate(observed / expected, low / expected, high / expected)


def _order(field: str, groups: Iterable[str]) -> list[str]:
    bands = {"age_years": AGE_BANDS, "acd_mm": DEPTH_BANDS}.get(field)
    if bands is not None:
        present = set(groups)
        return [words for _, words in bands if words in present]
    return sorted(groups)


def _surgeon(row: Row) -> str | None:
    code = row.get("surgeon_id") or row.get("booked_surgeon_id")
    return None if code is None else str(code)


def _mostly_trainee(eyes: Sequence[Eye]) -> bool:
    grades = [eye.row.get("surgeon_grade") for eye in eyes]
    return 2 * sum(grade == "trainee" for grade in grades) > len(grades)


def _text(row: Row, field: str) -> str | None:
    value = row.get(field)
    return None if value is None else str(value)


def _examiner(row: Row, letters: Mapping[str, str]) -> str | None:
    letter = letters.get(str(row.get("examiner_id")))
    return None if letter is None else f"examiner {letter}"


def _sex(row: Row) -> str | None:
    value = row.get("sex")
    return None if value in (None, "unknown") else str(value)


def _yes_no(row: Row, field: str) -> str | None:
    value = row.get(field)
    return None if value is None else "yes" if value else "no"


def _any(row: Row, field: str, none: tuple[str, ...]) -> str | None:
    value = row.get(field)
    return None if value is None else "no" if value in none else "yes"


def _guttae(row: Row) -> str | None:
    grade = row.get("guttae_grade")
    if not isinstance(grade, int):
        return None
    return "0" if grade == 0 else "1 or 2" if grade <= 2 else "3 or more"


def _glaucoma(row: Row) -> str | None:
    answer = row.get("glaucoma")
    return None if answer is None else {"none": "no", "OHT": "high pressure only"}.get(str(answer), "yes")


def _banded(row: Row, field: str, bands: tuple[tuple[float, str], ...]) -> str | None:
    value = row.get(field)
    if not isinstance(value, int | float):
        return None
    return next(words for limit, words in bands if value < limit)


def _second(eye: Eye, first: Mapping[tuple[str, str], date]) -> str:
    other = first.get((eye.key.patient_id, "L" if eye.key.eye == "R" else "R"))
    if other is None or other > eye.key.surgery_date:
        return "first eye"
    return "both on one day" if other == eye.key.surgery_date else "second eye"
