"""The clock of the invented practice begins where its settings say, and can go on to the next morning."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest

from clinic_app.demo_clock import DemoClock
from clinic_app.errors import Refusal
from clinic_app.session import open_session
from clinic_app.settings import Settings, read_settings, write_settings

BEGINS = datetime(2026, 12, 2, 7, 40, tzinfo=UTC)


def test_it_begins_there_and_goes_on_at_the_pace_of_the_real_one() -> None:
    clock = DemoClock(BEGINS)
    first, second = clock(), clock()
    assert timedelta() <= first - BEGINS < timedelta(seconds=5)
    assert first <= second


@pytest.mark.parametrize(("zone", "hour"), [("", 7), ("Europe/London", 7), ("Asia/Tokyo", 22)])
def test_the_next_morning_is_that_of_the_practices_wall(zone: str, hour: int) -> None:
    clock = DemoClock(BEGINS, zone)
    clock.next_morning()
    now = clock()
    assert (now.date(), now.hour, now.minute) == (date(2026, 12, 3 if hour == 7 else 2), hour, 40)


def test_only_an_invented_practice_has_one(tmp_path: Path) -> None:
    write_settings(tmp_path, Settings(demo=True, demo_now="2026-12-02T07:40+00:00"))
    with open_session(tmp_path, person="Demo") as session:
        assert session.today() == date(2026, 12, 2)
    for text in ('{"demo_now": "2026-12-02T07:40+00:00"}', '{"demo": true, "demo_now": "2026-12-02T07:40"}',
                 '{"demo": true, "demo_now": "tomorrow"}'):  # fmt: skip
        (tmp_path / "settings.json").write_text(text, encoding="utf-8")
        with pytest.raises(Refusal, match="demo_now"):
            read_settings(tmp_path)
