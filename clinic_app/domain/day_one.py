"""The sheet of day one: its fields in the order of the examination, what is worth knowing first, what was seen."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Mapping
from datetime import date, datetime, time
from types import MappingProxyType
from zoneinfo import ZoneInfo

from clinic_app.domain.derived import number
from clinic_app.domain.halts import Halt, Urgency, standing
from clinic_app.domain.numbers import show
from clinic_app.domain.practice import Levels
from clinic_app.domain.record import CaseEvent, Row, StageRecord, Value
from models.codebook import BY_NAME, CENTRE_GRADE, Choice, Field, Kind, Role, Stage, fields_of

READING, ACTION, CORRECTION, REMOTE, DROPS = "reading", "action", "correction", "remote", "drops"
"""Kinds of events that day one writes."""
PRESSURE = "iop_pod1_mmhg"
MISSED = "missed"
"""The status of who did not attend, and the name under which it is noted that the patient was reached."""
NOT_SEEN: tuple[str, ...] = (MISSED, "seen_elsewhere", "remote_only", "deceased", "transferred")
"""Why an eye has no grade. Where not every eye is to be seen, `not_planned` is one more."""
NOT_PLANNED = "not_planned"
BY_PROGRAM = frozenset(
    {"visit_status", "hours_since_surgery", "examiner_id", "examiner_is_surgeon", "blinded_to_prediction"}
)
"""Fields of day one that nobody types."""

_GROUPS: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("Symptoms", ("pain_0_10", "headache_or_nausea")),
    ("Vision and thickness", ("ucva_raw", "ucva_pinhole", "cct_pod1_um")),
    (
        "Slit lamp, without dye",
        (
            CENTRE_GRADE, "edema_grade_peripheral", "descemet_folds", "edema_extent", "edema_epithelial",
            "ac_cells_sun", "ac_flare_sun",
        ),
    ),
    ("Dye, then pressure", ("seidel", "chamber_day_one", PRESSURE, "iop_pod1_method")),
)  # fmt: skip
_LAST: tuple[str, ...] = ("descemet_folds_count", "exam_at", "action_taken")
ELSE = "Anything else"
FINDINGS: tuple[str, ...] = (
    "hypopyon", "fibrin", "hyphaema", "retained_lens", "descemet_central_day_one", "epithelial_defect",
)  # fmt: skip
"""Findings answered by one set of ticks: what is not ticked was looked for and not seen."""
LENS: Mapping[str, str] = MappingProxyType({"lens_decentred": "decentred", "lens_dislocated": "dislocated"})
"""Ticks of the lens's position: code of the tick -> code of `iol_position`."""
UNSEEN = "not_possible"
ANYTHING_ELSE = Field(
    name="anything_else", label="Anything else seen", kind=Kind.CHOICES, stage=Stage.DAY_ONE, role=Role.OUTCOME,
    group=ELSE,
    choices=(
        Choice("none", "Nothing"),
        *(Choice(name, BY_NAME[name].label) for name in FINDINGS),
        Choice("lens_decentred", "Lens off centre"),
        Choice("lens_dislocated", "Lens dislocated"),
        Choice(UNSEEN, "The rest: not possible"),
    ),
    help="Tick what is seen; 0 says that nothing else is. What is not ticked counts as looked for and not seen.",
)  # fmt: skip
"""Stands on the sheet in place of the findings; it is not kept itself."""


def sheet_fields() -> tuple[Field, ...]:
    """The fields of the sheet in the order of the examination; the last ones are folded."""
    placed = [
        dataclasses.replace(BY_NAME[name], group=group) for group, names in _GROUPS for name in names
    ]  # fmt: skip
    last = [dataclasses.replace(BY_NAME[name], group=ELSE, folded=True) for name in _LAST]
    return (*placed, ANYTHING_ELSE, *last)


KEPT_FIELDS: tuple[str, ...] = tuple(
    name
    for field in sheet_fields()
    for name in ((*FINDINGS, "iol_position") if field.name == ANYTHING_ELSE.name else (field.name,))
)
"""The fields of the record that the sheet fills, in its order."""


def with_findings(row: Row) -> dict[str, object]:
    """The answers of the sheet as they are kept: the ticks of `anything_else` spread over the findings' own fields."""
    kept = {name: value for name, value in row.items() if not name.startswith(ANYTHING_ELSE.name)}
    ticked, reason = row.get(ANYTHING_ELSE.name), row.get(f"{ANYTHING_ELSE.name}_missing")
    if isinstance(ticked, tuple):
        rest_unseen = UNSEEN in ticked
        for name in FINDINGS:
            if name in ticked:
                kept[name] = True
            elif rest_unseen:
                kept[f"{name}_missing"] = UNSEEN
            else:
                kept[name] = False
        lens = [code for tick, code in LENS.items() if tick in ticked]
        if lens:
            kept["iol_position"] = lens[-1]
        elif rest_unseen:
            kept["iol_position_missing"] = UNSEEN
        else:
            kept["iol_position"] = "centred"
    elif reason is not None:
        kept.update({f"{name}_missing": reason for name in (*FINDINGS, "iol_position")})
    return kept


def ticks_of(row: Row) -> dict[str, object]:
    """The row with `anything_else` as it stands on the sheet; nothing where no finding was answered."""
    answered = [name for name in FINDINGS if row.get(name) is not None]
    reasons = [str(row[f"{name}_missing"]) for name in FINDINGS if row.get(f"{name}_missing")]
    ticked = [name for name in FINDINGS if row.get(name) is True]
    ticked += [tick for tick, code in LENS.items() if row.get("iol_position") == code]
    found = dict(row)
    if reasons and not answered and not ticked:
        found[f"{ANYTHING_ELSE.name}_missing"] = reasons[0]
    elif answered or ticked:
        ticked += [UNSEEN] if reasons else []
        found[ANYTHING_ELSE.name] = tuple(ticked) or ("none",)
    return found


def record_of(row: Row, typed: Mapping[str, str], by_program: Mapping[str, Value]) -> StageRecord:
    """The record of an examination from the answers laid flat and what the program knows itself."""
    kept = with_findings(row)
    values: dict[str, Value] = {name: kept[name] for name in KEPT_FIELDS if kept.get(name) is not None}  # type: ignore[misc]
    missing = {name: str(kept[f"{name}_missing"]) for name in KEPT_FIELDS if kept.get(f"{name}_missing")}
    values.update(by_program)
    words = {name: text for name, text in typed.items() if name in values or name in missing}
    return StageRecord(Stage.DAY_ONE, values, missing, words)


_WRITTEN = frozenset(
    f"{field.name}{companion}" for field in fields_of(Stage.DAY_ONE) for companion in ("", "_missing", "_source", "_at")
)


# --- what is worth knowing before the examination ---------------------------------------------------------------------


def to_know(row: Row, *, signed: bool, drops: str = "", fellow: str = "") -> tuple[tuple[str, str], ...]:
    """What an examiner needs to know, label and words; nothing of it is sealed: it says nothing of a forecast or plan.

    `signed`: the theatre sheet is there; `drops` are the practice's own words, `fellow` those about the other eye. What
    is not recorded is left out, except surgery, glaucoma and pressure.
    """
    lines = [("Surgery", _surgery(row) if signed else "Sheet not signed yet")]
    if removal := _gel(row):
        lines.append(("Viscoelastic", removal))
    if row.get("suture") is True:
        lines.append(("Wound", "Sutured"))
    lines.append(("Glaucoma", _choice(row, "glaucoma") or "Not recorded"))
    past = _past(row)
    if past:
        lines.append(("Past of this eye", past))
    if row.get("only_seeing_eye") is True:
        lines.append(("Only seeing eye", "Yes: lower levels"))
    if row.get("steroid_responder") is True:
        lines.append(("Steroid responder", "Yes"))
    if fellow:
        lines.append(("Fellow eye", fellow))
    pressure = number(row, "preop_iop_mmhg")
    lines.append(("Pressure before", "Not recorded" if pressure is None else f"{show(pressure)} mmHg"))
    thickness = number(row, "cct_um")
    if thickness is not None:
        device = row.get("cct_um_source")
        lines.append(("Thickness before", f"{show(thickness)} µm" + (f", {device}" if device else "")))
    if row.get("preop_va_raw"):
        lines.append(("Vision before", str(row["preop_va_raw"])))
    lines.append(("Drops", drops or "Practice protocol"))
    lines.append(("Allergies", "See the patient's chart"))
    return tuple(lines)


def _choice(row: Row, name: str) -> str:
    value = row.get(name)
    if value is None:
        return ""
    return "None recorded" if value == "none" else BY_NAME[name].choice_label(value)


def _surgery(row: Row) -> str:
    told = []
    if row.get("pcr") not in (None, "none"):
        told.append(BY_NAME["pcr"].choice_label(row["pcr"]))
    if row.get("descemet_detachment") not in (None, "none"):
        label = BY_NAME["descemet_detachment"].choice_label(row["descemet_detachment"]).lower()
        told.append(f"Descemet detachment {label}")
    told += [
        BY_NAME[name].label
        for name in ("endothelial_touch", "iris_prolapse", "wound_burn", "vitrectomy")
        if row.get(name) is True
    ]
    if row.get("combined_procedure") not in (None, "none"):
        told.append(f"With {BY_NAME['combined_procedure'].choice_label(row['combined_procedure']).lower()}")
    if row.get("lens_position") not in (None, "bag"):
        told.append(f"Lens: {BY_NAME['lens_position'].choice_label(row['lens_position']).lower()}")
    return ", ".join(told) or ("Events not recorded" if row.get("pcr") is None else "Uneventful")


def _gel(row: Row) -> str:
    removal = row.get("ovd_removal")
    return "Left incomplete" if isinstance(removal, tuple) and "incomplete" in removal else ""


def _past(row: Row) -> str:
    told = []
    if row.get("prior_keratoplasty") not in (None, "none"):
        told.append(f"Graft, {BY_NAME['prior_keratoplasty'].choice_label(row['prior_keratoplasty'])}")
    if row.get("uveitis_history") not in (None, "none"):
        told.append(f"Uveitis, {BY_NAME['uveitis_history'].choice_label(row['uveitis_history']).lower()}")
    if row.get("prior_angle_closure_attack") is True:
        told.append("Angle attack")
    return ", ".join(told)


# --- what was written about it ----------------------------------------------------------------------------------------


def repeats(events: Iterable[CaseEvent]) -> tuple[float, ...]:
    """Pressures read again after the first one, in mmHg, in the order read."""
    found = [one.body for one in events if one.kind == READING and one.body.get("field") == PRESSURE]
    return tuple(float(str(body["value"])) for body in found)


def noted(events: Iterable[CaseEvent], first: float | None = None) -> dict[str, CaseEvent]:
    """The last action noted for each halt, by the halt's id; `events` are in the order written.

    What was noted about a pressure no longer counts once it was read again, or corrected, and had risen (or, where it
    was low, had fallen further); nor does what was noted before the patient was asked from afar for what is said then:
    whoever is called must hear of it again. `first` is the first reading, in mmHg.
    """
    told = list(events)
    fixed = [one.body.get("first") for one in told if _corrects_pressure(one)]
    first, newest = _mmhg(fixed[0]) if fixed else first, None
    found: dict[str, CaseEvent] = {}
    for one in told:
        if one.kind == ACTION:
            found[str(one.body.get("halt"))] = one
        elif one.kind == REMOTE:
            _lapse(found, (halt.code for halt in standing(one.body, Levels())))
        elif _corrects_pressure(one):
            value = _mmhg(one.body.get("value"))
            _lapse(found, _called_anew(first, value))
            first = value
        elif one.kind == READING and one.body.get("field") == PRESSURE:
            value = _mmhg(one.body.get("value"))
            _lapse(found, _called_anew(first if newest is None else newest, value))
            newest = value
    return found


def _lapse(found: dict[str, CaseEvent], codes: Iterable[str]) -> None:
    for code in codes:
        found.pop(code, None)


def _called_anew(before: float | None, value: float | None) -> tuple[str, ...]:
    """The halts of a pressure that are to be heard of again when it changes so."""
    if before is None or value is None or value == before:
        return ()
    return ("M50", "M51") if value > before else ("M52",)


def _corrects_pressure(event: CaseEvent) -> bool:
    body = event.body
    return event.kind == CORRECTION and body.get("stage") == Stage.DAY_ONE.value and body.get("field") == PRESSURE


def _mmhg(value: object) -> float | None:
    return None if value is None else float(str(value))


def corrected(row: Row, events: Iterable[CaseEvent]) -> dict[str, object]:
    """The locked answers as they are known now, corrections put in their place. Reviews use the first ones."""
    now = dict(row)
    for one in events:
        name = str(one.body.get("field"))
        if one.kind != CORRECTION or one.body.get("stage") != Stage.DAY_ONE.value or name not in BY_NAME:
            continue
        now.pop(name, None)
        now.pop(f"{name}_missing", None)
        if one.body.get("missing"):
            now[f"{name}_missing"] = one.body["missing"]
        else:
            now[name] = from_json(BY_NAME[name], one.body.get("value"))
    return now


def without_sheet(row: Row) -> dict[str, object]:
    """The row of a case without what day one wrote: what was known before the examination."""
    return {name: value for name, value in row.items() if name not in _WRITTEN}


def examined(row: Row) -> bool:
    """Whether what day one holds of the eye is an examination, graded or not, and no reason for having none.

    The row is one to which day one was written.
    """
    return row.get("visit_status") not in (*NOT_SEEN, NOT_PLANNED)


def as_known(row: Row, events: Iterable[CaseEvent], zone: str | None = None) -> dict[str, object]:
    """The row as it is known now: corrections in place, and what the patient said from afar, each answer as given last.

    An examination outweighs what was said before it, and nothing that is said after it.
    """
    told = list(events)
    now = corrected(row, told)
    seen = now.get("exam_at") if examined(row) else None
    for one in told:
        if one.kind == REMOTE and not (isinstance(seen, datetime) and _at(one, zone) < seen):
            for name in one.body:
                now.pop(f"{name}_missing", None)
            now.update(one.body)
    return now


def noted_since(
    events: Iterable[CaseEvent], since: object, zone: str | None, first: float | None = None
) -> dict[str, CaseEvent]:
    """As `noted`, of what was written at `since` (a clock time of the practice) or later; of everything when that is
    not known."""
    return noted((one for one in events if not isinstance(since, datetime) or _at(one, zone) >= since), first)


def _at(event: CaseEvent, zone: str | None) -> datetime:
    """When it was written, on the practice's clock."""
    return event.at.astimezone(ZoneInfo(zone) if zone else None).replace(tzinfo=None)


def without_action(halts: Iterable[Halt], done: Mapping[str, CaseEvent]) -> tuple[Halt, ...]:
    """The halts whose action is still to be noted. What was noted while a surgeon was to decide that day does not do
    for a call that became due since."""
    return tuple(halt for halt in halts if halt.asks_action and not _done(halt, done.get(halt.code)))


def _done(halt: Halt, event: CaseEvent | None) -> bool:
    return event is not None and (halt.urgency is not Urgency.NOW or event.body.get("urgency") in (None, Urgency.NOW))


def changed_after_opening(events: Iterable[CaseEvent]) -> bool:
    """Whether an answer of day one was changed once the forecast had been opened."""
    return any(one.kind == CORRECTION and one.body.get("stage") == Stage.DAY_ONE.value for one in events)


def to_json(value: object) -> object:
    """A value as an event's body holds it."""
    if isinstance(value, datetime):
        return value.isoformat(timespec="minutes")
    if isinstance(value, date | time):
        return value.isoformat()
    return list(value) if isinstance(value, tuple) else value


def from_json(field: Field, value: object) -> object:
    """A value of a field out of an event's or a draft's body."""
    if isinstance(value, list):
        return tuple(str(one) for one in value)
    if field.kind is Kind.MOMENT and isinstance(value, str):
        return datetime.fromisoformat(value)
    return value


def grade_words(grade: object) -> str:
    """A centre grade in words: `grade 1, faint haze`."""
    return f"grade {grade}, {BY_NAME[CENTRE_GRADE].choice_label(grade).lower()}"
