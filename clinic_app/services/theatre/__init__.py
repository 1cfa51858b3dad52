"""Theatre: the list of the day, the sheet of an eye, its signature, and what is usual beside it."""

from clinic_app.services.theatre.beside import Beside, beside_usual, like_eyes
from clinic_app.services.theatre.eyes import TheatreEye, find_eye, list_eyes, local
from clinic_app.services.theatre.sheet import (
    BookingNumber,
    Reopening,
    Sheet,
    acknowledge,
    keep,
    note_wrong,
    open_sheet,
    proposals_for,
    reopening,
    show_anyway,
    throw_away,
)
from clinic_app.services.theatre.signing import SignedList, correct, sign, sign_list

__all__ = [
    "Beside",
    "BookingNumber",
    "Reopening",
    "Sheet",
    "SignedList",
    "TheatreEye",
    "acknowledge",
    "beside_usual",
    "correct",
    "find_eye",
    "keep",
    "like_eyes",
    "list_eyes",
    "local",
    "note_wrong",
    "open_sheet",
    "proposals_for",
    "reopening",
    "show_anyway",
    "sign",
    "sign_list",
    "throw_away",
]
