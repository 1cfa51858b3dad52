"""Practice: what the practice keeps about itself."""

from __future__ import annotations

from types import MappingProxyType

from PySide6.QtCore import Signal

from clinic_app.desktop.jobs import Jobs
from clinic_app.desktop.look import Look
from clinic_app.desktop.pages.practice_backup import BackupSection
from clinic_app.desktop.pages.practice_exchange import ExchangeSection
from clinic_app.desktop.pages.practice_frame import SectionsPage
from clinic_app.desktop.pages.practice_history import HistorySection
from clinic_app.desktop.pages.practice_levels import LevelsSection
from clinic_app.desktop.pages.practice_machines import DevicesSection, MachinesSection
from clinic_app.desktop.pages.practice_people import PeopleSection
from clinic_app.desktop.pages.practice_section import Section
from clinic_app.desktop.pages.practice_steps import StepsSection
from clinic_app.desktop.pages.practice_units import UnitsSection
from clinic_app.desktop.pages.practice_usual import UsualSection
from clinic_app.session import Session

SECTIONS: MappingProxyType[str, type[Section]] = MappingProxyType(
    {
        "people": PeopleSection,
        "usual": UsualSection,
        "machines": MachinesSection,
        "devices": DevicesSection,
        "levels": LevelsSection,
        "steps": StepsSection,
        "units": UnitsSection,
        "exchange": ExchangeSection,
        "backup": BackupSection,
        "history": HistorySection,
    }
)


class PracticePage(SectionsPage):
    """`restore_wished` carries the backup to be put in place of the records, once the person was asked twice: whoever
    holds the practice open closes it, restores and opens it again."""

    restore_wished = Signal(object)

    name = "Practice"
    kinds = SECTIONS

    def __init__(self, session: Session, look: Look, jobs: Jobs) -> None:
        super().__init__(session, look, jobs)
        backup = self.sections["backup"]
        if isinstance(backup, BackupSection):
            backup.restore_wished.connect(self.restore_wished)
