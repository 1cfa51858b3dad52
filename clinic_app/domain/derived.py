"""Values that follow from others: formulas with their sources, and the row completed by them."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from clinic_app.domain.record import Row
from clinic_app.domain.vision import Vision, read_vision
from clinic_app.errors import Refusal

KPA_PER_MMHG = 0.133322
"""Kilopascal in one millimetre of mercury; conventional millimetre of mercury, 133.322 Pa."""
MMHG_PER_CM_WATER = 0.73556
"""Millimetres of mercury in one centimetre of water at rest (conventional)."""
CHAMBER_AND_BAG_ML = 0.5
"""Front chamber with the emptied capsular bag, about (from memory)."""

VISIONS: tuple[tuple[str, str], ...] = (
    ("preop_va_raw", "preop_va_logmar"),
    ("ucva_raw", "ucva_logmar"),
    ("recheck_va_raw", "recheck_va_logmar"),
)
"""Vision as read and the number that follows from it."""


def effective_phaco_time(us_time_s: float, mean_power_pct: float) -> float:
    """Seconds at full power that the ultrasound amounts to: time x mean power / 100."""
    return us_time_s * mean_power_pct / 100.0


def mean_power(effective_time_s: float, us_time_s: float) -> float | None:
    """Mean power in % that gives the effective time; None when there was no ultrasound."""
    return None if us_time_s <= 0 else 100.0 * effective_time_s / us_time_s


def chamber_turnovers(volume_ml: float, chamber_ml: float = CHAMBER_AND_BAG_ML) -> float:
    """How often the fluid filled the chamber; a convention, not a measurement."""
    return volume_ml / chamber_ml


def aqueous_depth(acd_mm: float, cct_um: float) -> float:
    """Depth from the back of the cornea to the lens in mm, from the depth off its front and its thickness."""
    return acd_mm - cct_um / 1000.0


def thickness_change_pct(before_um: float, after_um: float) -> float:
    """Change of thickness in % of the thickness before."""
    return 100.0 * (after_um - before_um) / before_um


def cell_loss_pct(before: float, after: float) -> float:
    """Loss of endothelial cells in % of the count before."""
    return 100.0 * (before - after) / before


def mmhg_of_kpa(kpa: float) -> float:
    """Pressure in mmHg."""
    return kpa / KPA_PER_MMHG


def kpa_of_mmhg(mmhg: float) -> float:
    """Pressure in kPa."""
    return mmhg * KPA_PER_MMHG


def mmhg_of_bottle(height_cm: float) -> float:
    """Pressure at rest below a bottle hung that high, mmHg. A pressurised infusion is set in mmHg already."""
    return height_cm * MMHG_PER_CM_WATER


def hba1c_mmol_of_pct(pct: float) -> float:
    """HbA1c in mmol/mol: 10.929 x (percent - 2.15) (from memory)."""
    return 10.929 * (pct - 2.15)


def hba1c_pct_of_mmol(mmol_mol: float) -> float:
    """HbA1c in %: mmol/mol / 10.929 + 2.15 (from memory)."""
    return mmol_mol / 10.929 + 2.15


def _zone(zone: str) -> ZoneInfo:
    try:
        return ZoneInfo(zone)
    except (ZoneInfoNotFoundError, ValueError) as error:
        raise Refusal(
            f"The time zone “{zone}” is not known.",
            "Hours since surgery need the practice's time zone.",
            "Choose a zone such as Europe/Vienna in Practice.",
        ) from error


def hours_between(start: datetime, end: datetime, zone: str | None = None) -> float:
    """Hours that really passed between two clock times of the practice.

    With `zone` (an IANA name) a change of the clocks in between counts; without it the clocks are taken as steady.
    Raises Refusal when the zone is not known.
    """
    if zone is not None:
        local = _zone(zone)
        start, end = (moment.replace(tzinfo=local).astimezone(UTC) for moment in (start, end))
    return (end - start) / timedelta(hours=1)


def _birthday(birth: date, year: int) -> date:
    try:
        return birth.replace(year=year)
    except ValueError:  # 29 February in a common year
        return date(year, 3, 1)


def age_at(birth: date, day: date) -> float:
    """Age in years: whole years plus the share of the running year; born on 29 February counts from 1 March.

    Negative when `day` lies before the birth.
    """
    years = day.year - birth.year
    if _birthday(birth, day.year) > day:
        years -= 1
    last, following = _birthday(birth, birth.year + years), _birthday(birth, birth.year + years + 1)
    return years + (day - last).days / (following - last).days


def number(row: Row, name: str) -> float | None:
    """The number of that name in a row, None when it is missing."""
    value = row.get(name)
    return float(value) if isinstance(value, int | float) and not isinstance(value, bool) else None


def started_at(row: Row) -> datetime | None:
    """When the operation started, clock of the practice; None when day or time is not known."""
    day, clock = row.get("surgery_date"), row.get("surgery_time")
    return datetime.combine(day, clock) if isinstance(day, date) and isinstance(clock, time) else None


def clock_known(moment: object) -> bool:
    """Whether a moment carries a clock time. A day alone is stored as its midnight, at which nobody examines eyes."""
    return isinstance(moment, datetime) and moment.time() != time(0, 0)


def same_device(row: Row) -> bool:
    """Whether thickness before and on day one came from one device, as far as both devices are known."""
    before, after = row.get("cct_um_source"), row.get("cct_pod1_um_source")
    return before is None or after is None or before == after


def _complete_theatre(full: dict[str, object]) -> None:
    time_s, power = number(full, "us_time_s"), number(full, "us_mean_power_pct")
    if time_s is None or power is None:
        return
    if full.get("ept_origin") == "machine" and number(full, "effective_phaco_time_s") is not None:
        return
    full["effective_phaco_time_s"] = effective_phaco_time(time_s, power)
    full["ept_origin"] = "derived"
    full.pop("effective_phaco_time_s_missing", None)


def _complete_vision(full: dict[str, object]) -> None:
    for raw, name in VISIONS:
        text = full.get(raw)
        seen = read_vision(text) if isinstance(text, str) else None
        if isinstance(seen, Vision):
            if seen.logmar is not None:
                full[name] = seen.logmar
                full.pop(f"{name}_missing", None)
            else:
                full[name] = None
                full[f"{name}_missing"] = "not_possible"


def _put(full: dict[str, object], name: str, value: float) -> None:
    full[name] = value
    full.pop(f"{name}_missing", None)


def complete(row: Row, *, zone: str | None = None) -> dict[str, object]:
    """The row with everything that follows from it.

    Derived fields already given are kept where what they follow from is not there, and replaced where it is; a
    machine's own effective time (`ept_origin` machine) is kept always. A change of thickness between two devices
    (`cct_um_source` against `cct_pod1_um_source`) is taken out. Hours need a clock time at both ends; `zone` is the
    practice's IANA zone. Raises Refusal when the zone is not known.
    """
    full: dict[str, object] = dict(row)
    birth, day = full.get("birth_date"), full.get("surgery_date")
    if isinstance(birth, date) and isinstance(day, date):
        _put(full, "age_years", age_at(birth, day))
    pct, mmol = number(full, "hba1c_pct"), number(full, "hba1c_mmol_mol")
    if pct is not None:
        _put(full, "hba1c_mmol_mol", hba1c_mmol_of_pct(pct))
    elif mmol is not None:
        _put(full, "hba1c_pct", hba1c_pct_of_mmol(mmol))
    _complete_vision(full)
    _complete_theatre(full)
    before, after = number(full, "cct_um"), number(full, "cct_pod1_um")
    if not same_device(full):
        full["cct_change_pct"] = None
    elif before and after is not None:
        _put(full, "cct_change_pct", thickness_change_pct(before, after))
    start, seen = started_at(full), full.get("exam_at")
    if start is not None and isinstance(seen, datetime) and clock_known(seen):
        _put(full, "hours_since_surgery", hours_between(start, seen, zone))
    return full
