"""What the practice chose, changed by those who may, with reason and name in the history."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest

from clinic_app.domain.people import Duty
from clinic_app.domain.practice import Device, Levels, Machine
from clinic_app.domain.record import CaseKey, StageRecord
from clinic_app.errors import Refusal
from clinic_app.services import people, practice
from clinic_app.session import Session, open_session
from clinic_app.settings import FILE_NAME, read_settings
from models.codebook import Stage

NOW = datetime(2026, 3, 2, 8, tzinfo=UTC)


@pytest.fixture
def session(tmp_path: Path) -> Iterator[Session]:
    with open_session(tmp_path, person="Osei", clock=lambda: NOW) as opened:
        yield opened


@pytest.fixture
def staffed(session: Session) -> Session:
    people.register(session, "Osei", [Duty.DATA_LEAD])
    people.register(session, "Ito", [Duty.SURGEON], surgeon_id="S1")
    people.register(session, "Berg", [Duty.DAY_ONE])
    return session


def told(session: Session, act: str) -> list[tuple[str, str | None, str | None, str | None, str | None]]:
    """Who changed which field from what to what, and why."""
    return [(one.by, one.field, one.old, one.new, one.reason) for one in session.store.history() if one.act == act]


def test_a_practice_is_untouched_until_it_has_a_name_an_eye_or_a_person(session: Session) -> None:
    assert practice.untouched(session)
    assert not practice.untouched(practice.change_settings(session, {"practice_name": "Ours"}))
    with session.store.writing(by="Osei", act="book") as write:
        write.put_stage(CaseKey("1", "R", NOW.date()), StageRecord(Stage.BOOKING, {}))
    assert not practice.untouched(session)


def test_settings_are_kept_in_the_folder_and_told_with_old_and_new(session: Session) -> None:
    after = practice.change_settings(session, {"practice_name": "Ours", "date_order": "dmy", "decimal": ""})
    assert after.settings.practice_name == "Ours"
    assert read_settings(session.folder) == after.settings
    again = practice.change_settings(after, {"practice_name": "Ours, too"})
    assert ("Osei", "practice_name", "Ours", "Ours, too", None) in told(again, "settings")
    assert practice.change_settings(again, {"practice_name": "Ours, too"}) is again


def test_another_planning_line_needs_a_reason_and_says_who_set_it(session: Session) -> None:
    with pytest.raises(Refusal, match="needs a reason"):
        practice.change_settings(session, {"planning_line": 15.0}, reason=" ")
    after = practice.change_settings(session, {"planning_line": 15.0}, reason="as agreed")
    assert after.settings.planning_line == 15.0
    assert after.settings.planning_line_set == "Set by Osei on 2 Mar 2026"
    assert any(line[1] == "planning_line" and line[3:] == ("15.0", "as agreed") for line in told(after, "settings"))


def test_nothing_is_kept_before_somebody_is_named(session: Session) -> None:
    nobody = session.acting("")
    for act in (
        lambda: practice.change_settings(nobody, {"practice_name": "Ours"}),
        lambda: practice.change_levels(nobody, Levels(today=28), reason="ours"),
        lambda: practice.put_machine(nobody, Machine("A")),
    ):
        with pytest.raises(Refusal, match="nobody is named yet"):
            act()


def test_a_wrong_zone_is_said_about_the_zone_and_not_about_a_file(session: Session) -> None:
    with pytest.raises(Refusal, match="The time zone is not a known one") as refused:
        practice.change_settings(session, {"zone": "Nowhere/At all"})
    assert "settings.json" not in str(refused.value.why)


@pytest.mark.parametrize("changes", [{"planning_line": 100.0}, {"zone": "Nowhere/At all"}, {"decimal": ";"}])
def test_settings_that_cannot_be_change_nothing(session: Session, changes: dict[str, object]) -> None:
    with pytest.raises(Refusal, match="settings were not changed"):
        practice.change_settings(session, changes, reason="trying")
    assert not (session.folder / FILE_NAME).exists()
    assert told(session, "settings") == []


def test_settings_that_cannot_be_written_leave_no_line_in_the_history(
    session: Session, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(folder: Path, settings: object) -> None:
        raise Refusal("The file was not written.", "No space left on device.", "Free some space.")

    monkeypatch.setattr(practice, "write_settings", full)
    with pytest.raises(Refusal, match="No space"):
        practice.change_settings(session, {"practice_name": "Ours"})
    assert told(session, "settings") == []


def test_only_settings_of_the_practice_can_be_changed_here(session: Session) -> None:
    with pytest.raises(ValueError, match="outcome_cut"):
        practice.change_settings(session, {"outcome_cut": 3})


def test_levels_wait_for_approval_until_a_surgeon_stands_for_them(staffed: Session) -> None:
    wanted = Levels(today=28, now=38)
    kept = practice.change_levels(staffed, wanted, reason="our protocol")
    assert (kept.today, kept.approved) == (28, "")
    with pytest.raises(Refusal, match="needs the duty Surgeon"):
        practice.change_levels(staffed, wanted, reason="our protocol", approve=True)
    surgeon = staffed.acting("Ito")
    assert practice.change_levels(surgeon, wanted, reason="our protocol", approve=True).approved == "Ito, 2 Mar 2026"
    assert practice.levels(staffed).approved == "Ito, 2 Mar 2026"
    assert ("Ito", "approved", None, "Ito, 2 Mar 2026", "our protocol") in [
        (by, field, old or None, new, why) for by, field, old, new, why in told(staffed, "levels")
    ]


def test_another_level_takes_the_approval_away_and_another_name_on_call_does_not(staffed: Session) -> None:
    surgeon = staffed.acting("Ito")
    approved = practice.change_levels(surgeon, Levels(), reason="suggested ones", approve=True)
    named = practice.change_levels(staffed, dataclasses.replace(approved, on_call="Ito, 555"), reason="")
    assert (named.on_call, named.approved) == ("Ito, 555", "Ito, 2 Mar 2026")
    lower = practice.change_levels(staffed, dataclasses.replace(named, now=36), reason="lower")
    assert (lower.now, lower.approved, lower.on_call) == (36, "", "Ito, 555")


@pytest.mark.parametrize(
    ("wanted", "why"),
    [
        (Levels(today=41), "called at once must lie above"),
        (Levels(now=30), "called at once must lie above"),
        (Levels(quiet=31), "must not lie below the quiet line"),
        (Levels(low=25), "above the low one"),
        (Levels(lowered_today=31, lowered_now=35), "must not lie above the usual one"),
        (Levels(lowered_now=24), "lowered one of the day"),
        (Levels(now=81), "between 0 and 80"),
        (Levels(low=0), "between 0 and 80"),
    ],
)
def test_levels_out_of_order_are_refused(session: Session, wanted: Levels, why: str) -> None:
    with pytest.raises(Refusal, match=why):
        practice.change_levels(session, wanted, reason="trying")
    assert practice.levels(session) == Levels()


def test_levels_need_a_reason(session: Session) -> None:
    with pytest.raises(Refusal, match="needs a reason"):
        practice.change_levels(session, Levels(today=28), reason="  ")
    with pytest.raises(Refusal, match="needs a reason"):
        practice.change_levels(session, Levels(), reason="", approve=True)


def test_machines_say_what_their_end_screen_gives(session: Session) -> None:
    machine = Machine("A", ("us_time_s", "us_energy_value"), ("torsional",), "console_cumulative", ("K30", "B45"))
    practice.put_machine(session, machine)
    assert practice.machines(session) == (machine,)
    practice.put_machine(session, dataclasses.replace(machine, in_use=False))
    assert practice.machines(session) == ()
    assert practice.machines(session, gone=True) == (dataclasses.replace(machine, in_use=False),)
    assert [line[1:4] for line in told(session, "machine")][-1] == ("in_use", "true", "false")


@pytest.mark.parametrize("machine", [Machine("A", ("us_energy_value",)), Machine("A", (), (), "other"), Machine(" ")])
def test_a_number_without_its_metric_or_a_machine_without_a_name_is_refused(session: Session, machine: Machine) -> None:
    with pytest.raises(Refusal, match="The machine was not kept"):
        practice.put_machine(session, machine)
    assert practice.machines(session) == ()


def test_devices_usual_answers_steps_and_drops_come_back_as_they_were_kept(session: Session) -> None:
    practice.put_device(session, Device("Biometer", "endothelium"))
    assert practice.devices(session) == (Device("Biometer", "endothelium"),)
    practice.put_usual(session, "S1", {"ovd_strategy": "cohesive", "main_incision_mm": 2.4})
    assert practice.usual(session, "S1") == {"ovd_strategy": "cohesive", "main_incision_mm": 2.4}
    practice.put_usual(session, "S1", {"main_incision_mm": 2.4})
    assert practice.usual(session, "S1") == {"main_incision_mm": 2.4}
    assert told(session, "usual answers")[-1][:3] == ("Osei", "ovd_strategy", "cohesive")
    assert practice.with_usual(session) == ("S1",)
    practice.put_steps(session, {"1 Coat": " Coat it "})
    assert practice.steps(session) == {"1 Coat": "Coat it"}
    practice.put_drops(session, ["Steroid", " ", "Antibiotic"], reason="first")
    practice.put_drops(session, ["Steroid"], reason="shorter")
    entry = practice.drops(session)
    assert entry is not None
    assert (entry.version, entry.body["lines"]) == (2, ["Steroid"])


def test_usual_answers_never_hold_a_reading_or_a_cause(session: Session) -> None:
    for values in ({"us_time_s": 20.0}, {"working_plane": "bag"}, {"nucleus_hardness_theatre": 3}):
        with pytest.raises(Refusal, match="never proposed"):
            practice.put_usual(session, "S1", values)  # type: ignore[arg-type]
    with pytest.raises(Refusal, match="never both"):
        practice.put_usual(session, "S1", {"iop_setting_mmhg": 40.0, "bottle_height_cm": 60.0})
    assert practice.with_usual(session) == ()


def test_surgeons_are_named_from_people_records_and_usual_answers(staffed: Session) -> None:
    with staffed.store.writing(by="Osei", act="book") as write:
        key = CaseKey("1", "R", NOW.date())
        write.put_stage(key, StageRecord(Stage.BOOKING, {"booked_surgeon_id": "S7"}))
    practice.put_usual(staffed, "S3", {"technique": "stop_chop"})
    assert practice.surgeons(staffed) == ("S1", "S3", "S7")


def test_whoever_lacks_the_duty_changes_nothing(staffed: Session) -> None:
    berg = staffed.acting("Berg")
    acts = (
        lambda: practice.change_settings(berg, {"practice_name": "Mine"}),
        lambda: practice.change_levels(berg, Levels(today=28), reason="mine"),
        lambda: practice.put_machine(berg, Machine("A")),
        lambda: practice.put_device(berg, Device("A")),
        lambda: practice.put_usual(berg, "S1", {}),
        lambda: practice.put_steps(berg, {"1 Coat": "x"}),
        lambda: practice.put_drops(berg, ["x"], reason="mine"),
    )
    before = staffed.store.head()
    for act in acts:
        with pytest.raises(Refusal, match="not open to you"):
            act()
    with pytest.raises(Refusal, match="needs the duty Surgeon"):
        practice.put_drops(staffed, ["x"], reason="a data lead's")
    assert staffed.store.head() == before
