"""Slips of unit and of digits: for each field the values that give one away, and what was probably meant.

A slip is asked about and never mended silently. The limits are the program's own: each lies outside the values that
the field usually takes, and the value proposed lies inside those that it can take.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from types import MappingProxyType

from clinic_app.domain import derived
from clinic_app.domain.vision import logmar_of_letters


@dataclass(frozen=True, slots=True)
class Slip:
    """Values from `low` up to but not including `high` are asked about.

    `mend` gives the value probably meant, `guess` the words of the question behind the value as typed. `of_unit` is
    a slip that a unit written with the value rules out; `fraction_only` holds for values with decimals alone.
    """

    rule: str
    low: float
    high: float
    mend: Callable[[float], float]
    guess: str
    of_unit: bool = True
    fraction_only: bool = False

    def explains(self, value: float, *, unit_written: bool) -> bool:
        """Whether the value may be this slip."""
        if not self.low <= value < self.high or (self.of_unit and unit_written):
            return False
        return not (self.fraction_only and value == int(value))


def _times(factor: float) -> Callable[[float], float]:
    return lambda value: round(value * factor, 6)


def _over(divisor: float) -> Callable[[float], float]:
    return lambda value: round(value / divisor, 6)


def _rounded(convert: Callable[[float], float], decimals: int) -> Callable[[float], float]:
    return lambda value: round(convert(value), decimals)


MISSING_ZERO, EXTRA_ZERO = "Perhaps a missing zero.", "Perhaps a zero too many."
MARK_LOST = "Perhaps the decimal mark was lost."
FRACTION = "Perhaps a fraction instead of a percentage."
KPA = "Perhaps in kPa."


def _thickness(high: float) -> tuple[Slip, ...]:
    return (
        Slip("millimetres", 0.3, high / 1000.0 + 1e-9, _times(1000), "Perhaps in mm."),
        Slip("missing_zero", 30, min(high / 10.0, 150), _times(10), MISSING_ZERO, of_unit=False),
        Slip("extra_zero", 3000, high * 10.0 + 1e-6, _over(10), EXTRA_ZERO, of_unit=False),
    )


_PRESSURE = (
    Slip("kilopascal", 1.0, 5.5, _rounded(derived.mmhg_of_kpa, 1), KPA, fraction_only=True),
    Slip("mark_lost", 100, 800, _over(10), MARK_LOST, of_unit=False),
)
_TENTHS = (Slip("mark_lost", 10, 70, _over(10), MARK_LOST, of_unit=False),)

SLIPS: MappingProxyType[str, tuple[Slip, ...]] = MappingProxyType(
    {
        "cct_um": _thickness(1200),
        "cct_pod1_um": _thickness(1500),
        "recheck_cct_um": _thickness(1500),
        "ecd_per_mm2": (
            Slip("thousands", 0.2, 5.0 + 1e-9, _times(1000), "Perhaps in thousands."),
            Slip("extra_zero", 10000, 50000, _over(10), EXTRA_ZERO, of_unit=False),
        ),
        "endo_cv_pct": (Slip("fraction", 0.1, 0.9 + 1e-9, _times(100), FRACTION),),
        "endo_hex_pct": (Slip("fraction", 1e-9, 1.0 + 1e-9, _times(100), FRACTION),),
        "acd_mm": (
            Slip("micrometres", 1000, 6000 + 1e-6, _over(1000), "Perhaps in µm."),
            Slip("mark_lost", 10, 60, _over(10), MARK_LOST, of_unit=False),
            Slip("mark_lost", 100, 600, _over(100), MARK_LOST, of_unit=False),
        ),
        "axial_length_mm": (
            Slip("mark_lost", 1.4, 4.0, _times(10), "Perhaps the decimal mark stands one place off.", of_unit=False),
            Slip("mark_lost", 140, 400, _over(10), MARK_LOST, of_unit=False),
            Slip("mark_lost", 1400, 4000, _over(100), MARK_LOST, of_unit=False),
            Slip("micrometres", 14000, 40000, _over(1000), "Perhaps in µm."),
        ),
        "pupil_dilated_mm": (Slip("mark_lost", 11, 100, _over(10), MARK_LOST, of_unit=False),),
        "nuclear_opalescence_no": _TENTHS,
        "nuclear_color_nc": _TENTHS,
        "cortical_c": (Slip("mark_lost", 10, 60, _over(10), MARK_LOST, of_unit=False),),
        "psc_p": (Slip("mark_lost", 10, 60, _over(10), MARK_LOST, of_unit=False),),
        "hba1c_pct": (
            Slip("mmol_per_mol", 20 + 1e-9, 195 + 1e-9, _rounded(derived.hba1c_pct_of_mmol, 1), "Perhaps in mmol/mol."),
        ),
        "hba1c_mmol_mol": (Slip("percent", 3, 20, _rounded(derived.hba1c_mmol_of_pct, 0), "Perhaps in %."),),
        "preop_va_logmar": (Slip("letters", 4, 100 + 1e-9, _rounded(logmar_of_letters, 2), "Perhaps letters."),),
        "ucva_logmar": (Slip("letters", 4, 100 + 1e-9, _rounded(logmar_of_letters, 2), "Perhaps letters."),),
        "preop_iop_mmhg": _PRESSURE,
        "iop_pod1_mmhg": _PRESSURE,
        "recheck_iop_mmhg": _PRESSURE,
        "us_mean_power_pct": (Slip("fraction", 1e-9, 1.0, _times(100), FRACTION),),
        "irrigation_volume_ml": (Slip("litres", 0.02, 2.0 + 1e-9, _times(1000), "Perhaps in litres."),),
        "iop_setting_mmhg": (Slip("kilopascal", 2.0, 10.0, _rounded(derived.mmhg_of_kpa, 0), KPA),),
        "bottle_height_cm": (Slip("metres", 0.3, 1.5 + 1e-9, _times(100), "Perhaps in m."),),
        "main_incision_mm": (
            Slip("mark_lost", 15, 40, _over(10), MARK_LOST, of_unit=False),
            Slip("mark_lost", 150, 400, _over(100), MARK_LOST, of_unit=False),
            Slip("micrometres", 1500, 4000, _over(1000), "Perhaps in µm."),
        ),
        "incision_tunnel_mm": (Slip("mark_lost", 5, 40, _over(10), MARK_LOST, of_unit=False),),
    }
)
"""Field -> its slips. Vision without a notation and clock-like times are asked about where they are read."""


def slip_of(name: str, value: float, *, unit_written: bool = False) -> Slip | None:
    """The first slip that may explain the value (in the field's own unit), None when none does."""
    for slip in SLIPS.get(name, ()):
        if slip.explains(value, unit_written=unit_written):
            return slip
    return None
