"""The table of halts, one by one: at its level, and just off it."""

from __future__ import annotations

import pytest

from clinic_app.domain.derived import complete
from clinic_app.domain.halts import (
    DISCHARGE,
    REDNESS,
    RULES,
    VISION_NOW,
    Halt,
    Urgency,
    cluster,
    for_the_pair,
    standing,
    unusual,
)
from clinic_app.domain.practice import Levels

LEVELS = Levels(on_call="Dr Mbeki", approved="Mbeki, 2 Sep 2026")
CALM = {
    "pain_0_10": 0, "headache_or_nausea": False, "preop_va_raw": "6/18", "ucva_raw": "6/12", "edema_grade_central": 0,
    "descemet_folds": "0", "edema_extent": "none", "ac_cells_sun": "1", "ac_flare_sun": "1", "seidel": "negative",
    "chamber_day_one": "formed", "iop_pod1_mmhg": 15.0, "hypopyon": False, "fibrin": False, "glaucoma": "none",
}  # fmt: skip


def halts(repeats: tuple[float, ...] = (), levels: Levels = LEVELS, **changes: object) -> tuple[Halt, ...]:
    row = {**CALM, **changes}
    return standing(complete({name: value for name, value in row.items() if value is not None}), levels, repeats)


def told(repeats: tuple[float, ...] = (), **changes: object) -> list[tuple[str, Urgency]]:
    return [(one.code, one.urgency) for one in halts(repeats, **changes)]


def test_a_calm_eye_has_none() -> None:
    assert told() == []


@pytest.mark.parametrize(
    ("changes", "code", "urgency"),
    [
        ({"iop_pod1_mmhg": 26.0}, "quiet", Urgency.QUIET),
        ({"iop_pod1_mmhg": 30.0}, "quiet", Urgency.QUIET),
        ({"iop_pod1_mmhg": 30.5}, "M50", Urgency.TODAY),
        ({"iop_pod1_mmhg": 39.9}, "M50", Urgency.TODAY),
        ({"iop_pod1_mmhg": 40.0}, "M51", Urgency.NOW),
        ({"iop_pod1_mmhg": 5.9}, "M52", Urgency.TODAY),
        ({"seidel": "positive_slow"}, "M53", Urgency.TODAY),
        ({"seidel": "positive_brisk"}, "M53", Urgency.NOW),
        ({"seidel": "iris_in_wound"}, "M53", Urgency.NOW),
        ({"chamber_day_one": "flat"}, "M53", Urgency.NOW),
        ({"chamber_day_one": "shallow"}, "M53", Urgency.TODAY),
        ({"hypopyon": True}, "M54", Urgency.NOW),
        ({"fibrin": True}, "M54", Urgency.NOW),
        ({"ac_flare_sun": "4"}, "M54", Urgency.NOW),
        ({"edema_extent": "limbus_to_limbus", "ac_cells_sun": "2"}, "M54", Urgency.NOW),
        (
            {"edema_extent": "limbus_to_limbus", "ac_cells_sun": None, "ac_cells_sun_missing": "not_possible"},
            "M54",
            Urgency.NOW,
        ),
        ({"edema_grade_central": 4, "ac_cells_sun": "2"}, "M54", Urgency.NOW),
        ({"edema_grade_central": 4, "edema_extent": "central", "ac_cells_sun": "4"}, "M54", Urgency.NOW),
        ({"edema_extent": "limbus_to_limbus", "pain_0_10": 3}, "M54", Urgency.NOW),
        ({"edema_extent": "limbus_to_limbus", "ucva_raw": "6/60"}, "M54", Urgency.NOW),
        ({"edema_grade_central": 3}, "M55", Urgency.TODAY),
        ({"descemet_central_day_one": True}, "M55", Urgency.TODAY),
        ({"retained_lens": True}, "M55", Urgency.TODAY),
        ({"pain_0_10": 5}, "M57", Urgency.NOW),
        ({"headache_or_nausea": True}, "M57", Urgency.TODAY),
        ({"ucva_raw": "HM"}, "M58", Urgency.NOW),
        ({"ucva_raw": "LP"}, "M58", Urgency.NOW),
        ({"ucva_raw": "NLP"}, "M58", Urgency.NOW),
        ({"preop_va_raw": "6/12", "ucva_raw": "6/24"}, "M58", Urgency.NOW),
        ({VISION_NOW: "worse"}, "M58", Urgency.NOW),
        ({DISCHARGE: True}, "M54", Urgency.NOW),
        ({REDNESS: True}, "M54", Urgency.TODAY),
    ],
)
def test_each_halt_stands_at_its_level(changes: dict[str, object], code: str, urgency: Urgency) -> None:
    assert (code, urgency) in told(**changes)


@pytest.mark.parametrize(
    "changes",
    [
        {"iop_pod1_mmhg": 25.0},
        {"iop_pod1_mmhg": 6.0},
        {"seidel": "not_tested"},
        {"edema_extent": "limbus_to_limbus", "ac_cells_sun": "1"},
        {"edema_extent": "limbus_to_limbus", "ac_cells_sun": None, "ac_cells_sun_missing": "not_done"},
        {"edema_extent": "limbus_to_limbus", "pain_0_10": 2},
        {"edema_extent": "sector", "ac_cells_sun": "4"},
        {"ac_cells_sun": None, "ac_cells_sun_missing": "not_possible"},
        {"ac_flare_sun": "3"},
        {"edema_grade_central": 2},
        {"pain_0_10": 4},
        {"preop_va_raw": "HM", "ucva_raw": "CF"},
        {"preop_va_raw": "6/12", "ucva_raw": "6/18"},
        {"preop_va_raw": None, "ucva_raw": "6/60"},
        {VISION_NOW: "same", DISCHARGE: False, REDNESS: False},
    ],
)
def test_one_step_below_none_stands(changes: dict[str, object]) -> None:
    assert told(**changes) == []


def test_a_milky_cornea_behind_which_nothing_is_seen_is_called_about_and_seen_today() -> None:
    found = told(edema_grade_central=4, ac_cells_sun=None, ac_cells_sun_missing="not_possible")
    assert found == [("M54", Urgency.NOW), ("M55", Urgency.TODAY)]
    assert "M54" not in [code for code, _ in told(edema_grade_central=4)]


@pytest.mark.parametrize(
    "cause",
    [
        {"edema_grade_central": 2}, {"epithelial_defect": True}, {"hyphaema": True}, {"edema_epithelial": True},
        {"descemet_folds": "5-9"}, {"pcr": "PCR"}, {"iol_position": "decentred"},
    ],
)  # fmt: skip
def test_a_recorded_cause_explains_a_vision_worse_than_before_but_not_hand_movements(cause: dict[str, object]) -> None:
    assert "M58" in [code for code, _ in told(ucva_raw="6/60")]
    assert "M58" not in [code for code, _ in told(ucva_raw="6/60", **cause)]
    assert "M58" in [code for code, _ in told(ucva_raw="HM", **cause)]


@pytest.mark.parametrize("lowering", [{"glaucoma": "OHT"}, {"glaucoma": "open_angle"}, {"only_seeing_eye": True}])
def test_levels_are_those_of_this_eye_and_no_other_is_said(lowering: dict[str, object]) -> None:
    assert told(iop_pod1_mmhg=24.5)[:1] != [("M50", Urgency.TODAY)]
    (halt,) = halts(iop_pod1_mmhg=24.5, **lowering)
    assert (halt.code, halt.urgency) == ("M50", Urgency.TODAY)
    assert "24" in halt.sentence
    assert "30" not in halt.sentence + halt.more
    assert told(iop_pod1_mmhg=24.0, **lowering) == []
    assert told(iop_pod1_mmhg=29.9, **lowering) == [("M50", Urgency.TODAY)]
    (called,) = halts(iop_pod1_mmhg=30.0, **lowering)
    assert called.code == "M51"
    assert "40" not in called.sentence + called.more


def test_m51_stays_until_a_repeat_reading_is_below_the_level() -> None:
    assert told((44.0,), iop_pod1_mmhg=42.0) == [("M51", Urgency.NOW)]
    assert told((44.0, 40.0), iop_pod1_mmhg=42.0) == [("M51", Urgency.NOW)]
    assert told((38.0,), iop_pod1_mmhg=42.0) == [("M50", Urgency.TODAY), ("M51", Urgency.QUIET)]
    settled = halts((5.0,), iop_pod1_mmhg=42.0)
    assert [(one.code, one.urgency) for one in settled] == [("M52", Urgency.TODAY), ("M51", Urgency.QUIET)]
    assert settled[1].asks_action  # it rebounds within the hour, so what was done is still to be noted
    assert "within the hour" in settled[1].sentence
    assert told((5.0, 38.5, 41.0), iop_pod1_mmhg=42.0) == [("M51", Urgency.NOW)]


def test_a_repeat_alone_can_raise_a_halt() -> None:
    assert told((41.0,), iop_pod1_mmhg=15.0) == [("M51", Urgency.NOW)]
    assert told((41.0,), iop_pod1_mmhg=None) == [("M51", Urgency.NOW)]


def test_who_is_called_is_named_and_a_practice_without_a_name_still_says_whom() -> None:
    (halt,) = halts(iop_pod1_mmhg=45.0)
    assert halt.sentence == "45 mmHg. Call Dr Mbeki now. Do not wait for this program."
    (halt,) = halts(levels=Levels(), iop_pod1_mmhg=45.0)
    assert halt.sentence.startswith("45 mmHg. Call the surgeon on call now.")


def test_the_most_urgent_comes_first() -> None:
    found = halts(iop_pod1_mmhg=45.0, edema_grade_central=3, headache_or_nausea=True, hypopyon=True)
    ranks = [list(Urgency).index(one.urgency) for one in found]
    assert ranks == sorted(ranks)
    assert [one.code for one in found] == ["M51", "M54", "M55", "M57"]


def test_two_unusual_eyes_on_a_list_call_for_a_common_cause() -> None:
    assert cluster(1, "12 Nov 2026", LEVELS) is None
    halt = cluster(2, "12 Nov 2026", LEVELS)
    assert halt is not None
    assert (halt.code, halt.eyes) == ("M56", 2)
    assert halt.sentence.startswith("2 unusual eyes on the list of 12 Nov 2026. Tell Dr Mbeki before the next case")
    assert unusual(halts(hypopyon=True))
    assert unusual(halts((20.0,), iop_pod1_mmhg=42.0))
    assert not unusual(halts(iop_pod1_mmhg=35.0))  # one eye in twenty has that, and it is no cluster
    assert not unusual(halts(iop_pod1_mmhg=27.0))


def test_the_other_eye_of_the_day_sees_the_halt_and_never_the_grade() -> None:
    (halt,) = halts(edema_grade_central=3)
    assert "3" in halt.sentence
    assert for_the_pair(halt, LEVELS).sentence == "Other eye: A surgeon sees the other eye today."
    (brisk,) = halts(seidel="positive_brisk")
    assert for_the_pair(brisk, LEVELS).sentence == "Other eye: A brisk leak at the wound. Call Dr Mbeki now."


@pytest.mark.parametrize(
    "changes",
    [
        {"edema_grade_central": 4, "ac_cells_sun": None, "ac_cells_sun_missing": "not_possible"},
        {"edema_grade_central": 4, "ac_cells_sun": "3"},
        {"edema_extent": "limbus_to_limbus", "pain_0_10": 4},
        {"hypopyon": True},
    ],
)
def test_the_other_eye_is_told_of_inflammation_without_the_haze_that_shows_it(changes: dict[str, object]) -> None:
    (halt,) = [one for one in halts(**changes) if one.code == "M54"]
    told = for_the_pair(halt, LEVELS)
    assert told.sentence == "Other eye: Call Dr Mbeki now: infection or toxic reaction until shown otherwise."
    assert told.urgency is Urgency.NOW


def test_the_other_eye_is_not_told_that_a_fall_in_vision_has_no_cause_on_the_cornea() -> None:
    (halt,) = halts(ucva_raw="6/60")
    assert "nothing recorded explains it" in halt.sentence
    assert for_the_pair(halt, LEVELS).sentence == "Other eye: A fall in vision. Call Dr Mbeki now."
    (redder,) = halts(**{REDNESS: True})
    assert "redder than yesterday" in for_the_pair(redder, LEVELS).sentence


def test_every_halt_of_the_design_has_its_line() -> None:
    assert {rule.code for rule in RULES} | {"M56"} == {
        "quiet", "M50", "M51", "M52", "M53", "M54", "M55", "M56", "M57", "M58",
    }  # fmt: skip
