"""The theatre sheet: its steps in the order of the hands, what a signature needs, what follows from its readings."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from types import MappingProxyType

from clinic_app.domain.checks import check
from clinic_app.domain.derived import CHAMBER_AND_BAG_ML, chamber_turnovers, effective_phaco_time, number
from clinic_app.domain.findings import Finding
from clinic_app.domain.numbers import show
from clinic_app.domain.practice import END_SCREEN, PROPOSABLE, Machine
from clinic_app.domain.record import Row, StageRecord, Value
from models.codebook import BY_NAME, Field, Kind, Stage, fields_of

EVENTS, NUCLEUS, ULTRASOUND, FLUID = "Events", "4 Nucleus", "5 Ultrasound", "6 Fluid and time"
"""Groups of the codebook that the sheet says more about."""
MINUTES = "case_minutes"
BY_PROGRAM = frozenset({"ept_origin"})
"""Fields of theatre that nobody types."""

UNDER: Mapping[str, str] = MappingProxyType(
    {
        "3 Re-coat": "after hydrodissection",
        FLUID: "fluid, infusion, case",
        EVENTS: "must be answered",
    }
)
"""Small words below the name of a step."""


@dataclass(frozen=True, slots=True)
class Step:
    """One step of the sheet: its number (empty for events and team), its name, its fields in order.

    `proposed` are the fields that a surgeon's usual answers may propose; `folded` stand behind one key.
    """

    group: str
    number: str
    name: str
    under: str
    fields: tuple[Field, ...]
    proposed: frozenset[str]
    folded: frozenset[str]


def _step(group: str) -> Step:
    digit, _, words = group.partition(" ")
    numbered = digit.isdigit()
    fields = tuple(one for one in fields_of(Stage.THEATRE) if one.group == group and one.name not in BY_PROGRAM)
    return Step(
        group=group,
        number=digit if numbered else "",
        name=words if numbered else group,
        under=UNDER.get(group, ""),
        fields=fields,
        proposed=frozenset(one.name for one in fields if one.name in PROPOSABLE),
        folded=frozenset(one.name for one in fields if one.folded or one.derived),
    )


_GROUPS = tuple(dict.fromkeys(one.group for one in fields_of(Stage.THEATRE)))
STEPS: tuple[Step, ...] = tuple(_step(group) for group in sorted(_GROUPS, key=lambda one: (not one[0].isdigit(), one)))
"""The sheet: eight house steps, then events, then the team."""

EVENT_FIELDS: tuple[str, ...] = tuple(
    one.name for step in STEPS if step.group == EVENTS for one in step.fields if one.name not in step.folded
)
"""What can have happened; each has an answer that says it did not."""


def sheet_fields() -> tuple[Field, ...]:
    """The fields of the sheet, in its order."""
    return tuple(field for step in STEPS for field in step.fields)


def nothing(field: Field) -> Value:
    """The answer of an event that says it did not happen."""
    return False if field.kind is Kind.YES_NO else "none"


def happened(row: Row) -> tuple[str, ...]:
    """The events of a row in words: `Rupture with vitreous`, `Touch`."""
    words = []
    for name in EVENT_FIELDS:
        field, value = BY_NAME[name], row.get(name)
        if value is not None and value != nothing(field):
            words.append(field.label if value is True else _event_words(field, value))
    return tuple(words)


def _event_words(field: Field, value: object) -> str:
    answer = field.choice_label(value)
    return answer if field.name == "pcr" else f"{field.label}: {answer.lower()}"


def answered(row: Row, name: str) -> bool:
    """Whether a field has a value or a reason for having none."""
    return row.get(name) is not None or row.get(f"{name}_missing") is not None


def events_answered(row: Row) -> bool:
    """Whether every event has its answer."""
    return all(answered(row, name) for name in EVENT_FIELDS)


def to_go(row: Row, *, second_eye: bool = False, separate: bool = False) -> tuple[str, ...]:
    """What must still be answered before the sheet can be signed, in the words of the sheet.

    `second_eye`: the fellow eye is operated on in the same sitting; `separate`: its tray and lots were ticked.
    """
    words = []
    if not answered(row, MINUTES):
        words.append("case minutes")
    if second_eye and not separate:
        words.append("separate tray and lots")
    if not events_answered(row):
        words.append("events")
    return tuple(words)


def stops(row: Row) -> list[Finding]:
    """What stands against signing the row as it was typed: refusals between its fields, and hard ranges."""
    found = [one for one in check(row) if one.kind == "refuse" and _of_theatre(one.fields)]
    for field in sheet_fields():
        value = number(row, field.name)
        if value is None or field.hard is None or field.hard[0] <= value <= field.hard[1]:
            continue
        low, high = (show(one) for one in field.hard)
        found.append(
            Finding(
                "refuse", "hard_range", (field.name,), f"{field.label} {show(value)} is outside {low} to {high}.",
                "Correct it, or give the reason why there is no value.",
            )
        )  # fmt: skip
    return found


def asked(row: Row) -> list[Finding]:
    """What is asked and refused about the sheet's answers beside one another; the row as it was typed."""
    return [one for one in check(row) if _of_theatre(one.fields)]


def _of_theatre(names: Iterable[str]) -> bool:
    return any(BY_NAME[name].stage is Stage.THEATRE for name in names if name in BY_NAME)


def same_things(row: Row, first: Row) -> tuple[str, ...]:
    """Labels of what both eyes of one sitting name alike and must not share: tray and lots."""
    names = ("tray_id", "ovd_lot", "fluid_lot")
    return tuple(BY_NAME[name].label.lower() for name in names if row.get(name) and row.get(name) == first.get(name))


# --- readings ---------------------------------------------------------------------------------------------------------


def full_power(motion: object) -> bool:
    """Whether time x power may be called full power: with other motions it is a number of that machine alone."""
    return motion == "longitudinal"


def energy_label(motion: object) -> str:
    """What the product of time and power is called."""
    return "Full-power seconds" if full_power(motion) else "Time x power, this machine"


def energy_words(row: Row) -> str:
    """What ultrasound time and mean power amount to: `5.7 s at full power`; empty while one of them is open."""
    time_s, power = number(row, "us_time_s"), number(row, "us_mean_power_pct")
    if time_s is None or power is None:
        return ""
    seconds = effective_phaco_time(time_s, power)
    words = "at full power" if full_power(row.get("us_motion")) else "time x power, this machine"
    return f"{seconds:.1f} s {words}"


def fluid_words(row: Row) -> str:
    """How often the fluid filled the chamber; empty while it is open."""
    volume = number(row, "irrigation_volume_ml")
    if volume is None:
        return ""
    return f"{chamber_turnovers(volume):.0f} chamber turnovers of {show(CHAMBER_AND_BAG_ML)} mL"


def screen_fields(machine: Machine | None) -> frozenset[str]:
    """The readings the sheet asks for: those of the machine's end screen; time, power and fluid when it names none.

    Fluid is always asked for, since the bag can be weighed.
    """
    declared = frozenset(machine.end_screen) & frozenset(END_SCREEN) if machine is not None else frozenset[str]()
    return (declared or frozenset({"us_time_s", "us_mean_power_pct"})) | {"irrigation_volume_ml"}


def signed_record(record: StageRecord, machine: Machine | None) -> StageRecord:
    """The record as it is kept: a typed full-power reading is the machine's, a cumulative number has its metric."""
    values = dict(record.values)
    if "effective_phaco_time_s" in values:
        values["ept_origin"] = "machine"
    metric = machine.metric if machine is not None else None
    if "us_energy_value" in values and "us_energy_metric" not in values and metric is not None:
        values["us_energy_metric"] = metric
    return StageRecord(record.stage, values, record.missing, record.typed, record.origin)


def proposals(
    usual: Mapping[str, Value], machine: Machine | None, given: Collection[str] = (), **known: Value | None
) -> dict[str, Value]:
    """Answers to show dashed: the surgeon's usual ones, then the machine, its only motion, and `known` ones.

    Only fields that may be proposed, and the operator; none of `given`, nor the bottle beside an infusion pressure.
    """
    found: dict[str, Value] = {name: value for name, value in known.items() if value is not None}
    found.update({name: value for name, value in usual.items() if name in PROPOSABLE})
    if machine is not None:
        found.setdefault("phaco_machine_id", machine.name)
        if len(machine.motions) == 1:
            found["us_motion"] = machine.motions[0]
    if "iop_setting_mmhg" in given or "iop_setting_mmhg" in found:
        found.pop("bottle_height_cm", None)
    if "bottle_height_cm" in given:
        found.pop("iop_setting_mmhg", None)
    return {name: value for name, value in found.items() if name not in given}


def sign_lines(row: Row) -> tuple[str, str, str]:
    """The three lines read before a signature: division, seconds, events."""
    technique, place = BY_NAME["technique"], BY_NAME["working_plane"]
    division = technique.choice_label(row["technique"]) if row.get("technique") else "Division not answered"
    if row.get("working_plane"):
        division += f", mostly in {place.choice_label(row['working_plane']).lower()}"
    minutes, events = number(row, MINUTES), happened(row)
    lasted = "" if minutes is None else f"{show(minutes)} min. "
    return (
        division,
        energy_words(row) or _machine_reading(row) or "No ultrasound reading",
        f"{lasted}Events: {', '.join(events) or 'none'}",
    )


def _machine_reading(row: Row) -> str:
    for name in ("effective_phaco_time_s", "us_energy_value"):
        value = number(row, name)
        if value is not None:
            field = BY_NAME[name]
            return f"{field.label.lower()} {show(value)} {field.unit}".strip()
    return ""
