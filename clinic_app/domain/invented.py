"""Who works in the invented practice, with which machines and habits. All of it is invented."""

from __future__ import annotations

from collections.abc import Mapping

from clinic_app.domain.people import PERSON, Duty, Person, body_of
from clinic_app.domain.practice import LEVELS, MACHINE, PRESSURE, USUAL

DEMO_PERSON = "Demo"
"""Does everything but grade: who has seen forecasts does not grade blind."""

_AT_WORK = {Duty.BOOKING, Duty.SURGEON, Duty.SCRIBE, Duty.DATA_LEAD, Duty.PEOPLE}
PEOPLE = (
    Person(DEMO_PERSON, frozenset(_AT_WORK)),
    Person("Osei", frozenset({Duty.BOOKING})),
    Person("Halvorsen", frozenset({Duty.SURGEON}), surgeon_id="S-1"),
    Person("Mbeki", frozenset({Duty.SURGEON}), surgeon_id="S-2"),
    Person("Ruiz", frozenset({Duty.SURGEON}), surgeon_id="S-3"),
    Person("Tanaka", frozenset({Duty.SCRIBE})),
    Person("Lindqvist", frozenset({Duty.DAY_ONE})),
    Person("Duarte", frozenset({Duty.DATA_LEAD, Duty.PEOPLE})),
)
END_SCREEN = ["us_time_s", "us_mean_power_pct", "irrigation_volume_ml", "aspiration_time_s"]
_HABITS = {
    "main_incision_mm": 2.2, "incision_plane": "clear_corneal", "incision_site": "temporal", "anaesthesia": "topical",
    "sideport_count": 2,
}  # fmt: skip

REGISTERS: tuple[tuple[str, str, Mapping[str, object]], ...] = (
    *((PERSON, person.name, body_of(person)) for person in PEOPLE),
    (MACHINE, "M-1", {"end_screen": END_SCREEN, "motions": ["longitudinal"]}),
    (MACHINE, "M-2", {"end_screen": END_SCREEN, "motions": ["longitudinal", "torsional"]}),
    (USUAL, "S-1", {
        **_HABITS, "surgeon_grade": "senior", "ovd_strategy": "both_soft_shell", "technique": "phaco_chop_horizontal",
        "phaco_machine_id": "M-1", "us_motion": "longitudinal", "iop_setting_mmhg": 62.0,
    }),
    (USUAL, "S-2", {
        **_HABITS, "surgeon_grade": "senior", "ovd_strategy": "dispersive", "technique": "stop_chop",
        "phaco_machine_id": "M-2", "us_motion": "torsional", "iop_setting_mmhg": 55.0,
    }),
    (USUAL, "S-3", {
        **_HABITS, "surgeon_grade": "trainee", "ovd_strategy": "both_soft_shell", "technique": "divide_conquer",
        "phaco_machine_id": "M-1", "us_motion": "longitudinal", "iop_setting_mmhg": 62.0,
    }),
    (LEVELS, PRESSURE, {"on_call": "Halvorsen", "approved": "Halvorsen, for the demonstration"}),
)  # fmt: skip
"""Kind, name and body of each entry."""
