"""Day one: who is to be seen, the sheet of one eye, the lock that opens its forecast, and what happens around it."""

from clinic_app.services.day_one.acts import (
    appoint,
    correct,
    not_planned,
    not_seen,
    note_action,
    note_wrong_eye,
    read_again,
    remote,
)
from clinic_app.services.day_one.drafts import SheetDraft, drafts, drop_sheet, keep_sheet
from clinic_app.services.day_one.eyes import OpenEye, Pair, SheetState, began_at, open_eye, sheet_state
from clinic_app.services.day_one.grading import Opened, forecast_words, lock, opened, show_anyway
from clinic_app.services.day_one.listing import DayList, Group, ListedEye, day_list, find

__all__ = [
    "DayList",
    "Group",
    "ListedEye",
    "OpenEye",
    "Opened",
    "Pair",
    "SheetDraft",
    "SheetState",
    "appoint",
    "began_at",
    "correct",
    "day_list",
    "drafts",
    "drop_sheet",
    "find",
    "forecast_words",
    "keep_sheet",
    "lock",
    "not_planned",
    "not_seen",
    "note_action",
    "note_wrong_eye",
    "open_eye",
    "opened",
    "read_again",
    "remote",
    "sheet_state",
    "show_anyway",
]
