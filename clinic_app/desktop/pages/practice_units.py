"""Practice, Units: the practice's name and zone, and how it writes days, numbers, vision and HbA1c."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from clinic_app.desktop.pages.practice_form import PracticeForm, Reader, asked
from clinic_app.desktop.pages.practice_section import FormSection
from clinic_app.desktop.pages.practice_zone import read_zone, zone_words
from clinic_app.services import practice
from clinic_app.session import Session
from models.codebook import Field, Kind

ZONES: Mapping[str, Reader] = MappingProxyType({"zone": Reader(read_zone, zone_words)})
"""How the zone is read."""
EITHER = "either"
"""Shown for a choice that is left open in the settings."""

NAME = asked(
    "practice_name", "Name of the practice", group="Practice",
    help_="Stands in the window's title and on everything that is printed.",
)  # fmt: skip
ZONE = asked(
    "zone", "Time zone", group="Practice",
    help_="Type a city, such as London or Kolkata. Empty: clock times are taken as they stand.",
)  # fmt: skip
UNITS: tuple[Field, ...] = (
    asked(
        "date_order", "Days in digits", Kind.CHOICE, group="Days and numbers",
        choices={"ymd": "Year, month, day", "dmy": "Day, month, year", "mdy": "Month, day, year"},
        help_="The order in which 03/04 is read. Days are always shown with the month in letters.",
    ),
    asked(
        "decimal", "Decimal mark of files", Kind.CHOICE, group="Days and numbers",
        choices={EITHER: "Either, and ask", ".": "Point", ",": "Comma"},
        help_="For files that do not say it themselves. Typed numbers may have either.",
    ),
    asked(
        "vision_notation", "Vision", Kind.CHOICE, group="Measures",
        choices={
            EITHER: "Ask each time", "snellen_metric": "6/12", "snellen_imperial": "20/40", "decimal": "0.5",
            "logmar": "0.30 logMAR", "letters": "Letters",
        },
        help_="What a bare number such as 0.5 means.",
    ),
    asked(
        "hba1c_unit", "HbA1c", Kind.CHOICE, group="Measures", choices={"%": "%", "mmol/mol": "mmol/mol"},
        help_="The unit in which a bare number is taken; the other one can be typed behind it.",
    ),
)  # fmt: skip


def shown(session: Session) -> dict[str, object]:
    """The settings as the form shows them."""
    settings = session.settings
    values = {field.name: getattr(settings, field.name) for field in (NAME, ZONE, *UNITS)}
    return {name: value or (EITHER if name in ("decimal", "vision_notation") else "") for name, value in values.items()}


def changes(form: PracticeForm) -> dict[str, object]:
    """What the form says, as settings; a choice left open stays as it is."""
    said = {
        name: form.text(name) for name, answer in form.answers.items() if form.text(name) or not answer.field.choices
    }
    return {name: "" if text == EITHER else text for name, text in said.items()}


class UnitsSection(FormSection):
    """The whole section."""

    title = "Units"
    under = "Name, days, numbers, vision, HbA1c"
    lead = "How this practice writes things. Values already in the record are not touched."
    fields = (NAME, ZONE, *UNITS)
    wide = MappingProxyType({"practice_name": 400})
    readers = ZONES

    def shown(self) -> Mapping[str, object]:
        return shown(self.session)

    def keep_answers(self) -> None:
        self.finish(lambda: self.renewed.emit(practice.change_settings(self.session, changes(self.form))))
