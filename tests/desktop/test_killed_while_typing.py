"""A program that is killed in the middle of a word loses at most the field in hand."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from datetime import date
from pathlib import Path

import pytest

from clinic_app.domain.drafted import DraftAnswer
from clinic_app.services import drafts
from clinic_app.session import open_session
from clinic_app.settings import Settings, write_settings
from tests.desktop import typing_person

TAKEN = {
    "patient_id": DraftAnswer("P-20431"),
    "surgery_date": DraftAnswer(date(2026, 11, 19), typed="19 11"),
    "birth_date": DraftAnswer(date(1951, 6, 2)),
    "booked_surgeon_id": DraftAnswer("Mbeki"),
    "cct_um": DraftAnswer(text="54"),
    "acd_mm": DraftAnswer(2.4),
    "axial_length_mm": DraftAnswer(22.6),
}


@pytest.mark.skipif(os.name != "posix", reason="kills by signal")
@pytest.mark.parametrize("after", [1, 5, 7])
def test_every_field_that_was_left_is_there_again(tmp_path: Path, after: int) -> None:
    write_settings(tmp_path, Settings(practice_name="Invented practice", demo=True, date_order="dmy"))
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path), "QT_QPA_PLATFORM": "offscreen"}
    with subprocess.Popen(
        [sys.executable, str(Path(typing_person.__file__)), str(tmp_path)],
        stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True, env=environment,
    ) as person:  # fmt: skip
        assert person.stdout is not None
        left = [person.stdout.readline().strip() for _ in range(after)]
        person.send_signal(signal.SIGKILL)
    assert left == [name for name, _ in typing_person.ANSWERS[:after]]
    with open_session(tmp_path, person="Osei") as session:
        (draft,) = drafts.booking_drafts(session)
        found = dict(draft.drafted.answers)
        for name in left:
            assert found[name] == TAKEN[name], name
        assert set(found) <= {*TAKEN, "pupil_dilated_mm"}
        assert not session.store.keys()
        assert all(check.ok for check in session.store.verify())
