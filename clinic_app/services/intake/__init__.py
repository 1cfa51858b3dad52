"""Records put in from files: all readable rows go in, in one transaction; the others are told, with reasons."""

from clinic_app.services.intake.result import ImportResult, Problem
from clinic_app.services.intake.run import import_files

__all__ = ["ImportResult", "Problem", "import_files"]
