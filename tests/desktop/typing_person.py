"""A person at the bookings page, run as a program of its own so that it can be killed in the middle of a word.

python typing_person.py FOLDER: types answers, prints each field once it was left, then goes on typing for ever.
"""

from __future__ import annotations

import sys
from datetime import UTC, datetime
from pathlib import Path

from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication

from clinic_app.desktop.jobs import Jobs
from clinic_app.desktop.look import Look
from clinic_app.desktop.pages.bookings import BookingsPage
from clinic_app.session import open_session

ANSWERS = (
    ("patient_id", "P-20431"), ("surgery_date", "19 11"), ("birth_date", "2.6.1951"), ("booked_surgeon_id", "Mbeki"),
    ("cct_um", "54"), ("acd_mm", "2.4"), ("axial_length_mm", "22.6"),
)  # fmt: skip


def main(folder: Path) -> None:
    application = QApplication([])
    with open_session(folder, person="Osei", clock=lambda: datetime(2026, 11, 12, 9, 14, tzinfo=UTC)) as session:
        page = BookingsPage(session, Look("light"), Jobs())
        page.resize(1400, 800)
        page.show()
        page.activateWindow()
        while not page.isActiveWindow():
            application.processEvents()
        page.begin_new()
        page.set_level("full")
        for name, text in ANSWERS:
            answer = page.form.answers[name]
            page.form.focus(answer)
            for letter in text:
                QTest.keyClicks(answer.stop(), letter)
                application.processEvents()
            answer.take()
            application.processEvents()
            sys.stdout.write(f"{name}\n")
            sys.stdout.flush()
        page.form.focus(page.form.answers["pupil_dilated_mm"])
        while True:
            QTest.keyClicks(page.form.answers["pupil_dilated_mm"].stop(), "6")
            application.processEvents()


if __name__ == "__main__":
    main(Path(sys.argv[1]))
