"""What the practice chose for itself, read and changed: levels, planning line, units, machines, usual answers, wording.

Each change stands in the history with the person who made it and the reason given.
"""

from __future__ import annotations

import contextlib
import dataclasses
from collections.abc import Mapping, Sequence

from clinic_app.domain import practice as chosen
from clinic_app.domain.dates import in_letters
from clinic_app.domain.people import Duty
from clinic_app.domain.practice import Device, Levels, Machine
from clinic_app.domain.record import RegisterEntry, Value
from clinic_app.errors import Refusal
from clinic_app.session import Session
from clinic_app.settings import FILE_NAME, write_settings
from models import codebook

SETTINGS, PRACTICE = "settings", "practice"
LOOKS_AFTER = (Duty.DATA_LEAD, Duty.SURGEON)
"""Who may change what the practice chose."""

CHOOSABLE = (
    "practice_name",
    "zone",
    "decimal",
    "date_order",
    "vision_notation",
    "hba1c_unit",
    "planning_line",
    "day_one_for_all",
)
"""The settings that are changed here; the others belong to a person, to a model or to the program."""

_ORDER: tuple[tuple[str, str, str], ...] = (
    ("low", "quiet", "The level of the quiet line must lie above the low one."),
    ("quiet", "today", "The level at which a surgeon decides that day must not lie below the quiet line."),
    ("today", "now", "The level at which a surgeon is called at once must lie above the one for that day."),
    ("low", "lowered_today", "The lowered level for that day must lie above the low one."),
    (
        "lowered_today",
        "lowered_now",
        "The lowered level for a call at once must lie above the lowered one of the day.",
    ),
    ("lowered_today", "today", "The lowered level for that day must not lie above the usual one."),
    ("lowered_now", "now", "The lowered level for a call at once must not lie above the usual one."),
)
_MAY_BE_EQUAL = frozenset({("quiet", "today"), ("lowered_today", "today"), ("lowered_now", "now")})
HIGHEST = 80.0
"""mmHg; no pressure above it is taken anywhere."""


def untouched(session: Session) -> bool:
    """Whether the practice is new: without a name, an eye or a person."""
    named = bool(session.settings.practice_name)
    return not (named or session.store.keys() or session.people)


# --- settings --------------------------------------------------------------------------------------------------------


def change_settings(session: Session, changes: Mapping[str, object], *, reason: str = "") -> Session:
    """The same practice with these settings changed (`CHOOSABLE`), kept in its folder and told in the history.

    Another planning line needs a reason; who set it and when is written beside it. Raises `Refusal` for a value that
    cannot be, a missing reason, or a person without the duty.
    """
    session.need(*LOOKS_AFTER, act="Changing the practice's settings")
    before = session.settings
    told = {name: value for name, value in changes.items() if getattr(before, name) != value}
    if unknown := set(told) - set(CHOOSABLE):
        raise ValueError(f"not changed here: {', '.join(sorted(unknown))}")
    if not told:
        return session
    _need_person(session, "The settings were not changed.")
    if "planning_line" in told:
        _need_reason(reason, "The planning line was not changed.")
        told["planning_line_set"] = f"Set by {session.person} on {in_letters(session.today())}"
    try:
        after = dataclasses.replace(before, **told)  # type: ignore[arg-type]
    except Refusal as refusal:
        why = refusal.why.removeprefix(f"In {FILE_NAME}: ")
        why = f"{why[:1].upper()}{why[1:]}"
        raise Refusal("The settings were not changed.", why, "Correct what was typed.") from None
    body = {name: getattr(after, name) for name in (*CHOOSABLE, "planning_line_set")}
    try:
        with session.store.writing(by=session.person, act="settings", reason=reason.strip() or None) as writer:
            writer.put_register(SETTINGS, PRACTICE, body)
            write_settings(session.folder, after)
    except Refusal:
        with contextlib.suppress(Refusal):  # the history did not go in, so neither may the settings
            write_settings(session.folder, before)
        raise
    return session.with_settings(after)


# --- levels ----------------------------------------------------------------------------------------------------------


def levels(session: Session) -> Levels:
    """The levels in force; the suggested ones, not approved, while the practice set none."""
    return chosen.levels_of(session.store.register(chosen.LEVELS))


def change_levels(session: Session, wanted: Levels, *, reason: str, approve: bool = False) -> Levels:
    """Set the levels of pressure and who is on call; with `approve` the surgeon acting stands for them by name.

    Other levels wait for approval again, another name on call keeps the approval that there was. Raises `Refusal` for
    levels out of order, without a reason, or when who approves is no surgeon.
    """
    session.need(*LOOKS_AFTER, act="Changing the levels of pressure")
    if approve:
        session.need(Duty.SURGEON, act="Approving the levels of pressure")
    _need_person(session, "The levels were not changed.")
    _check_levels(wanted)
    before = levels(session)
    same = dataclasses.replace(wanted, on_call=before.on_call, approved=before.approved) == before
    approved = before.approved if same else ""
    if approve:
        approved = f"{session.person}, {in_letters(session.today())}"
    after = dataclasses.replace(wanted, approved=approved)
    if after == before:
        return before
    if approve or not same:
        _need_reason(reason, "The levels were not changed.")
    _put(
        session, chosen.LEVELS, chosen.PRESSURE, dataclasses.asdict(after), act="levels", reason=reason.strip() or None
    )
    return after


def _check_levels(wanted: Levels) -> None:
    for name in ("quiet", "today", "now", "low", "lowered_today", "lowered_now"):
        if not 0 < getattr(wanted, name) <= HIGHEST:
            raise Refusal(
                "The levels were not changed.",
                f"A level of pressure lies between 0 and {HIGHEST:g} mmHg.",
                "Correct the level.",
            )
    for lower, upper, why in _ORDER:
        low, high = getattr(wanted, lower), getattr(wanted, upper)
        if low > high or (low == high and (lower, upper) not in _MAY_BE_EQUAL):
            raise Refusal("The levels were not changed.", why, "Correct one of the two.")


# --- machines, devices, usual answers, wording, drops ----------------------------------------------------------------


def machines(session: Session, *, gone: bool = False) -> tuple[Machine, ...]:
    """The machines in use, by name; with `gone` also those that left the theatre."""
    return chosen.machines_of(session.store.register(chosen.MACHINE), gone=gone)


def put_machine(session: Session, machine: Machine) -> None:
    """Add a machine or change it; a machine's number without its metric, or a metric without a number, is refused."""
    session.need(*LOOKS_AFTER, act="Changing a machine")
    name = _name(machine.name, "The machine was not kept.")
    if ("us_energy_value" in machine.end_screen) != (machine.metric is not None):
        raise Refusal(
            "The machine was not kept.",
            "Its cumulative number and what that number is belong together.",
            "Tick the other energy reading and choose its metric, or neither.",
        )
    body = {key: value for key, value in dataclasses.asdict(machine).items() if key != "name"}
    _put(session, chosen.MACHINE, name, _plain(body), act="machine")


def devices(session: Session) -> tuple[Device, ...]:
    """The devices that measure before surgery, by name."""
    return chosen.devices_of(session.store.register(chosen.DEVICE))


def put_device(session: Session, device: Device) -> None:
    """Add a measuring device, or change from where it measures the depth of the chamber."""
    session.need(*LOOKS_AFTER, act="Changing a device")
    name = _name(device.name, "The device was not kept.")
    _put(session, chosen.DEVICE, name, {"depth_from": device.depth_from}, act="device")


def usual(session: Session, surgeon_id: str) -> Mapping[str, Value]:
    """A surgeon's usual answers."""
    return chosen.usual_of(session.store.register(chosen.USUAL), surgeon_id)


def with_usual(session: Session) -> tuple[str, ...]:
    """The surgeons that have usual answers, by code."""
    return tuple(one.name for one in session.store.register(chosen.USUAL))


def surgeons(session: Session) -> tuple[str, ...]:
    """The surgeons that have usual answers or stand in the records or among the people, by code."""
    people = {one.surgeon_id for one in session.people if one.surgeon_id}
    rows = session.store.rows()
    recorded = {str(row[name]) for row in rows for name in ("surgeon_id", "booked_surgeon_id") if row.get(name)}
    return tuple(sorted({*with_usual(session), *people, *recorded}, key=str.casefold))


def put_usual(session: Session, surgeon_id: str, values: Mapping[str, Value]) -> None:
    """Keep a surgeon's usual answers: only fields that may be proposed, and never both pressure and bottle height."""
    session.need(*LOOKS_AFTER, act="Changing usual answers")
    name = _name(surgeon_id, "The usual answers were not kept.")
    if refused := [codebook.field(one).label for one in values if one not in chosen.PROPOSABLE]:
        raise Refusal(
            "The usual answers were not kept.",
            f"{', '.join(refused)}: readings, grades, events and what the causes are looked for in are never proposed.",
            "Leave it out; it is answered in theatre.",
        )
    if {"iop_setting_mmhg", "bottle_height_cm"} <= set(values):
        raise Refusal(
            "The usual answers were not kept.",
            "Infusion is a pressure or a bottle height, never both.",
            "Empty one of the two.",
        )
    body = {one: values[one] for one in chosen.PROPOSABLE if one in values}
    _put(session, chosen.USUAL, name, body, act="usual answers")


def steps(session: Session) -> Mapping[str, str]:
    """The practice's own words of its house steps."""
    return chosen.steps_of(session.store.register(chosen.STEPS))


def put_steps(session: Session, words: Mapping[str, str]) -> None:
    """Keep the practice's own words of the house steps; an empty text takes them away."""
    session.need(*LOOKS_AFTER, act="Changing the house steps")
    body = {step: text for step in chosen.HOUSE_STEPS if (text := words.get(step, "").strip())}
    _put(session, chosen.STEPS, chosen.WORDING, body, act="house steps")


def drops(session: Session) -> RegisterEntry | None:
    """The protocol of drops after surgery with its version, or None."""
    return chosen.drops_of(session.store.register(chosen.DROPS))


def put_drops(session: Session, lines: Sequence[str], *, reason: str) -> None:
    """Another version of the protocol of drops, a line for each."""
    session.need(Duty.SURGEON, act="Changing the protocol of drops")
    _need_reason(reason, "The protocol of drops was not changed.")
    kept = [line.strip() for line in lines if line.strip()]
    _put(session, chosen.DROPS, chosen.PROTOCOL, {"lines": kept}, act="drops", reason=reason.strip())


def _put(
    session: Session, kind: str, name: str, body: Mapping[str, object], *, act: str, reason: str | None = None
) -> None:
    held = next((one for one in session.store.register(kind) if one.name == name), None)
    if held is not None and dict(held.body) == dict(body):
        return
    _need_person(session, "Nothing was kept.")
    with session.store.writing(by=session.person, act=act, reason=reason) as writer:
        writer.put_register(kind, name, body, expect_version=held.version if held is not None else 0)


def _plain(body: Mapping[str, object]) -> dict[str, object]:
    return {key: list(value) if isinstance(value, tuple) else value for key, value in body.items()}


def _name(text: str, what: str) -> str:
    name = text.strip()
    if not name or len(name) > 80:
        raise Refusal(what, "It needs a name of at most 80 letters.", "Write its name.")
    return name


def _need_person(session: Session, what: str) -> None:
    if not session.person.strip():
        raise Refusal(what, "Each act in the record carries a name, and nobody is named yet.", "Name yourself first.")


def _need_reason(reason: str, what: str) -> None:
    if not reason.strip():
        raise Refusal(what, "Such a change needs a reason.", "Write in a few words why.")
