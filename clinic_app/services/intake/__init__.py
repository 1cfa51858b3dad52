"""Records put in from files: all readable rows go in, in one transaction; the others are told, with reasons."""

from clinic_app.services.intake.again import confirmed, corrected, import_again, write_left
from clinic_app.services.intake.result import ImportResult, LeftRow, Problem
from clinic_app.services.intake.run import import_files

__all__ = [
    "ImportResult",
    "LeftRow",
    "Problem",
    "confirmed",
    "corrected",
    "import_again",
    "import_files",
    "write_left",
]
