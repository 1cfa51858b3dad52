"""What the practice has chosen: kept as readable JSON in the practice folder."""

from __future__ import annotations

import dataclasses
import json
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from clinic_app.errors import Refusal
from clinic_app.files import write_whole

FILE_NAME = "settings.json"
NOTATIONS = ("", "snellen_metric", "snellen_imperial", "decimal", "logmar", "letters")
"""How the practice writes vision; empty: a bare number is asked about."""


@dataclass(frozen=True, slots=True)
class Settings:
    """The practice's choices.

    `zone` is the practice's time zone (IANA name; empty: clock times are taken as they stand). `decimal` is the
    decimal mark of its files when they do not say (empty: either is read, and an ambiguous one asked). `date_order`
    is one of ymd, dmy, mdy. `planning_line` is a chance in per cent from which the practice plans ahead, with
    `planning_line_set` saying who set it and when. `outcome_cut` is the central grade from which an eye counts as
    cloudy (1, 2 or 3), fixed by the first model. `day_one_for_all` says whether every eye is to be seen on day one;
    where it is not, an eye without a planned visit is no missing grade. `demo` marks an invented practice,
    `demo_now` is the moment at which its clock begins (ISO 8601 with its offset; empty: the real clock). `theme` is
    system, light or dark, `text_percent` the size of text on screens.
    """

    practice_name: str = ""
    zone: str = ""
    decimal: str = ""
    date_order: str = "ymd"
    vision_notation: str = ""
    hba1c_unit: str = "%"
    planning_line: float | None = None
    planning_line_set: str = ""
    outcome_cut: int = 2
    day_one_for_all: bool = True
    demo: bool = False
    demo_now: str = ""
    theme: str = "system"
    text_percent: int = 100

    def __post_init__(self) -> None:
        allowed: tuple[tuple[str, object, tuple[object, ...]], ...] = (
            ("decimal", self.decimal, ("", ".", ",")),
            ("date_order", self.date_order, ("ymd", "dmy", "mdy")),
            ("vision_notation", self.vision_notation, NOTATIONS),
            ("hba1c_unit", self.hba1c_unit, ("%", "mmol/mol")),
            ("outcome_cut", self.outcome_cut, (1, 2, 3)),
            ("theme", self.theme, ("system", "light", "dark")),
        )
        for name, value, choices in allowed:
            if value not in choices:
                raise _refusal(f"{name} must be one of {', '.join(repr(choice) for choice in choices)}")
        if self.planning_line is not None and not 0 < self.planning_line < 100:
            raise _refusal("planning_line must lie between 0 and 100 per cent")
        if not 100 <= self.text_percent <= 200:
            raise _refusal("text_percent must lie between 100 and 200")
        if self.demo_now:
            try:
                begins = datetime.fromisoformat(self.demo_now)
            except ValueError:
                raise _refusal("demo_now is not a moment such as 2026-12-02T07:40+00:00") from None
            if begins.tzinfo is None or not self.demo:
                raise _refusal("demo_now is for an invented practice and names its offset, such as +00:00")
        if self.zone:
            try:
                ZoneInfo(self.zone)
            except (ZoneInfoNotFoundError, ValueError):
                raise _refusal("the time zone is not a known one, such as Europe/London") from None


def _refusal(why: str) -> Refusal:
    return Refusal(
        what="The practice's settings cannot be read.",
        why=f"In {FILE_NAME}: {why}.",
        next=f"Correct {FILE_NAME} in the practice folder, or remove it to begin with the usual settings.",
    )


def read_settings(folder: Path) -> Settings:
    """The settings of the practice in `folder`; the usual ones when it has none yet. Refuses what it does not know."""
    path = folder / FILE_NAME
    if not path.exists():
        return Settings()
    try:
        found = json.loads(path.read_text(encoding="utf-8"))
    except (UnicodeDecodeError, json.JSONDecodeError):
        raise _refusal("the text is not JSON in UTF-8") from None
    known = {one.name: one.type for one in dataclasses.fields(Settings)}
    if not isinstance(found, dict) or not set(found) <= set(known):
        raise _refusal("an unknown setting")
    usual = dataclasses.asdict(Settings())
    for name, value in found.items():
        numeric = name == "planning_line"
        right = value is None or (isinstance(value, int | float) and not isinstance(value, bool))
        if (numeric and not right) or (not numeric and type(value) is not type(usual[name])):
            raise _refusal(f"{name} has a value of the wrong kind")
    return Settings(**found)


def write_settings(folder: Path, settings: Settings) -> None:
    """Keep the settings in the practice folder, whole or not at all."""
    text = json.dumps(dataclasses.asdict(settings), indent=2, ensure_ascii=False) + "\n"
    write_whole(folder / FILE_NAME, text.encode())
