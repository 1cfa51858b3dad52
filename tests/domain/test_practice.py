"""What a practice chose for itself, read back from its registers."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from clinic_app.domain.practice import (
    HOUSE_STEPS,
    PROPOSABLE,
    Levels,
    Machine,
    devices_of,
    drops_of,
    levels_of,
    machines_of,
    steps_of,
    usual_of,
)
from clinic_app.domain.record import RegisterEntry
from models.codebook import BY_NAME, Kind, Stage

NOW = datetime(2026, 3, 2, 8, tzinfo=UTC)


def entry(kind: str, name: str, **body: object) -> RegisterEntry:
    return RegisterEntry(kind, name, body, 1, "Osei", NOW)


def test_levels_are_the_suggested_ones_until_the_practice_sets_its_own() -> None:
    assert levels_of([]) == Levels(25, 30, 40, 6, 24, 30, "", "")
    own = levels_of(
        [entry("machine", "pressure", now=1), entry("levels", "pressure", today=28.0, approved="Ito, 2 Mar")]
    )
    assert (own.today, own.now, own.approved) == (28.0, 40, "Ito, 2 Mar")


@pytest.mark.parametrize(
    "row",
    [
        {"glaucoma": "open_angle"},
        {"glaucoma": "OHT"},
        {"glaucoma": "angle_closure"},
        {"prior_glaucoma_surgery": ("tube",)},
        {"prior_glaucoma_surgery": ("laser_iridotomy", "trabeculectomy")},
        {"only_seeing_eye": True},
    ],
)
def test_an_eye_that_bears_less_has_the_lowered_levels_alone(row: dict[str, object]) -> None:
    mine = Levels(on_call="Ito").for_eye(row)
    assert (mine.today, mine.now, mine.low, mine.on_call) == (24, 30, 6, "Ito")
    assert mine.quiet <= mine.today


@pytest.mark.parametrize(
    "row",
    [{}, {"glaucoma": "none"}, {"prior_glaucoma_surgery": ("laser_iridotomy",)}, {"only_seeing_eye": False}],
)
def test_every_other_eye_has_the_usual_levels(row: dict[str, object]) -> None:
    assert Levels().for_eye(row) == Levels()


def test_lowered_levels_never_raise_a_level() -> None:
    strict = Levels(quiet=20, today=22, now=28, lowered_today=24, lowered_now=30)
    assert strict.for_eye({"glaucoma": "OHT"}) == strict


def test_machines_and_devices_come_by_name_and_those_that_left_on_demand() -> None:
    entries = [
        entry("machine", "b", end_screen=["us_time_s"], motions=["torsional"], metric=None, tips=["K30"], in_use=True),
        entry("machine", "A", end_screen=[], in_use=False),
        entry("device", "Biometer", depth_from="epithelium"),
        entry("device", "Other", depth_from=None),
    ]
    assert machines_of(entries) == (Machine("b", ("us_time_s",), ("torsional",), None, ("K30",)),)
    assert [one.name for one in machines_of(entries, gone=True)] == ["A", "b"]
    assert [(one.name, one.depth_from) for one in devices_of(entries)] == [("Biometer", "epithelium"), ("Other", None)]


def test_usual_answers_hold_only_what_may_be_proposed_and_is_known() -> None:
    entries = [
        entry(
            "usual", "S1", ovd_strategy="dispersive", main_incision_mm=2.2, sideport_count=2, technique="no such code",
            working_plane="bag", us_time_s=30, phaco_machine_id="A",
        ),
        entry("usual", "S2", ovd_strategy="none"),
    ]  # fmt: skip
    assert usual_of(entries, "S1") == {
        "ovd_strategy": "dispersive", "main_incision_mm": 2.2, "sideport_count": 2, "phaco_machine_id": "A",
    }  # fmt: skip
    assert usual_of(entries, "S3") == {}


def test_readings_grades_events_and_causes_are_never_proposed() -> None:
    fields = [BY_NAME[name] for name in PROPOSABLE]
    assert all(one.stage is Stage.THEATRE and not one.derived and one.kind is not Kind.GRADE for one in fields)
    assert not {one.group for one in fields} & {"Events", "7 Viscoelastic out", "8 Wounds", "3 Re-coat"}
    causes = {"working_plane", "ovd_removal", "stromal_hydration", "dispersive_recoat", "corneal_striae_intraop"}
    readings = {"us_time_s", "us_mean_power_pct", "irrigation_volume_ml", "case_minutes", "aspiration_time_s"}
    assert not (causes | readings) & set(PROPOSABLE)


def test_the_house_steps_keep_their_order_and_take_the_practices_words() -> None:
    assert [step[0] for step in HOUSE_STEPS] == list("12345678")
    assert steps_of([entry("steps", "wording", **{"4 Nucleus": "Chop", "9 Nothing": "x", "1 Coat": ""})]) == {
        "4 Nucleus": "Chop"
    }
    assert steps_of([]) == {}
    protocol = entry("drops", "protocol", lines=["Steroid"])
    assert drops_of([protocol]) == protocol
    assert drops_of([]) is None
