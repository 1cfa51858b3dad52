"""What each person likes on screen: colours and size of text, kept beside the settings and never in the history."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass
from pathlib import Path

from clinic_app.errors import Refusal
from clinic_app.files import write_whole

FILE_NAME = "preferences.json"
THEMES = ("system", "light", "dark")
SMALLEST, LARGEST = 100, 200


@dataclass(frozen=True, slots=True)
class Preferences:
    """One person's: `theme` is system, light or dark, `text_percent` the size of text from 100 to 200."""

    theme: str
    text_percent: int


def read_preferences(folder: Path, person: str) -> Preferences | None:
    """What the person chose in this practice; None for nothing, also where the file cannot be read as such."""
    one = _whole(folder).get(person)
    if not isinstance(one, dict):
        return None
    theme, percent = one.get("theme"), one.get("text_percent")
    if theme not in THEMES or not isinstance(percent, int) or not SMALLEST <= percent <= LARGEST:
        return None
    return Preferences(theme, percent)


def keep_preferences(folder: Path, person: str, preferences: Preferences) -> bool:
    """Keep what the person chose; whether it could be kept. A choice of colours is never worth a refusal."""
    whole = {**_whole(folder), person: asdict(preferences)}
    try:
        write_whole(folder / FILE_NAME, (json.dumps(whole, indent=2, ensure_ascii=False) + "\n").encode())
    except (OSError, Refusal):
        return False
    return True


def _whole(folder: Path) -> dict[str, object]:
    try:
        found = json.loads((folder / FILE_NAME).read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError, json.JSONDecodeError):
        return {}
    return found if isinstance(found, dict) else {}
