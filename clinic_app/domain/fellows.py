"""Checks between two eyes of one patient, and of the side that is named."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, timedelta

from clinic_app.domain.dates import in_letters
from clinic_app.domain.derived import number
from clinic_app.domain.eyes import NAMES
from clinic_app.domain.findings import Finding
from clinic_app.domain.record import Row

_TWINS = ("acd_mm", "axial_length_mm", "cct_um", "ecd_per_mm2", "endo_cv_pct", "endo_hex_pct")
_COUNT_WORDS = ("", "", "Both", "All three", "All four", "All five", "All six")


def check_fellow(row: Row, fellow_row: Row) -> list[Finding]:
    """What stands between two rows of one patient: the other eye, or the same eye at another operation.

    Rows of different patients have nothing between them.
    """
    if row.get("patient_id") != fellow_row.get("patient_id"):
        return []
    found: list[Finding] = []
    births = row.get("birth_date"), fellow_row.get("birth_date")
    if None not in births and births[0] != births[1]:
        found.append(
            Finding(
                "ask",
                "birth_dates_differ",
                ("patient_id", "birth_date"),
                "The two eyes of this patient carry different birth dates. Is it one patient?",
                "Check the patient number and the birth date.",
            )
        )
    if row.get("eye") == fellow_row.get("eye"):
        earlier = fellow_row.get("surgery_date")
        if isinstance(earlier, date) and earlier != row.get("surgery_date"):
            found.append(
                Finding(
                    "ask",
                    "eye_operated_before",
                    ("eye", "surgery_date"),
                    f"This eye already has a surgery on {in_letters(earlier)}.",
                    "Check the eye. A second operation is a new record; a new date for the same one is a postponement.",
                )
            )
        return found
    shared = [name for name in _TWINS if number(row, name) is not None and number(fellow_row, name) is not None]
    if len(shared) > 1 and all(number(row, name) == number(fellow_row, name) for name in shared):
        found.append(
            Finding(
                "note",
                "equal_to_fellow",
                tuple(shared),
                f"{_COUNT_WORDS[len(shared)]} measurements equal the fellow eye's. Same eye measured twice?",
                "Check the source of the values.",
            )
        )
    return found


def check_eye(booked: str, given: str) -> Finding | None:
    """The halt when another eye than the booked one (`R` or `L`) is named in theatre, on day one or in a file."""
    if booked == given:
        return None
    return Finding(
        "refuse",
        "other_eye",
        ("eye",),
        f"STOP. Booked: {NAMES[booked].upper()} eye. You pressed {NAMES[given].upper()}. Nothing has been opened.",
        "Go back; check consent, mark and patient.",
    )


def check_other_eye(row: Row, booked: Iterable[Row]) -> Finding | None:
    """A question when a file's row names an eye for which nothing is booked, while the other eye is booked.

    Only bookings of the same patient within a day of the row's surgery count; None when the row's own eye is among
    them or nothing is booked.
    """
    day = row.get("surgery_date")
    near: set[object] = set()
    for one in booked:
        other = one.get("surgery_date")
        if not isinstance(day, date) or not isinstance(other, date):
            continue
        if one.get("patient_id") == row.get("patient_id") and abs(other - day) <= timedelta(days=1):
            near.add(one.get("eye"))
    if not near or row.get("eye") in near:
        return None
    names = " and ".join(NAMES[str(eye)].lower() for eye in sorted(str(eye) for eye in near))
    return Finding(
        "ask",
        "other_eye_than_booked",
        ("eye",),
        f"The row names the {NAMES[str(row.get('eye'))].lower()} eye; the {names} eye is booked.",
        "Check the eye on the consent form.",
    )


def alike_identifiers(identifiers: Iterable[str]) -> list[tuple[str, ...]]:
    """Groups of identifiers that may be one and the same but for leading zeros, case or spaces ("00123" and "123")."""
    groups: dict[str, list[str]] = {}
    for identifier in dict.fromkeys(identifiers):
        plain = "".join(identifier.split()).casefold().lstrip("0")
        groups.setdefault(plain, []).append(identifier)
    return [tuple(group) for group in groups.values() if len(group) > 1]
