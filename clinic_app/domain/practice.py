"""What a practice chose for itself: levels of pressure, machines, surgeons' usual answers, wording of the house steps.

The choices stand in the registers of the record; here they are read back into plain things. Nothing here is written.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from types import MappingProxyType

from clinic_app.domain.record import RegisterEntry, Row, Value
from models import codebook
from models.codebook import Kind, Stage

LEVELS, MACHINE, USUAL, STEPS, DROPS, DEVICE = "levels", "machine", "usual", "steps", "drops", "device"
"""Kinds of register entries that hold a practice's choices."""
PRESSURE, WORDING, PROTOCOL = "pressure", "wording", "protocol"
"""Names of the one entry of levels, steps and drops."""

PROPOSABLE: tuple[str, ...] = (
    "surgeon_grade",
    "anaesthesia",
    "ovd_strategy",
    "main_incision_mm",
    "incision_plane",
    "incision_site",
    "sideport_count",
    "technique",
    "phaco_machine_id",
    "us_modality",
    "us_motion",
    "tip_code",
    "tip_bevel",
    "iop_setting_mmhg",
    "bottle_height_cm",
)
"""Fields that a surgeon's usual may propose: habits and settings.

Never readings, hardness, events or grades; never what the causes are looked for in: where the nucleus was removed,
what was taken out, how much the wounds were hydrated, whether the coat was renewed.
"""

END_SCREEN: tuple[str, ...] = (
    "us_time_s",
    "us_mean_power_pct",
    "effective_phaco_time_s",
    "us_energy_value",
    "aspiration_time_s",
    "irrigation_volume_ml",
)
"""Fields that a machine's end screen may give."""

HOUSE_STEPS: tuple[str, ...] = tuple(
    dict.fromkeys(one.group for one in codebook.fields_of(Stage.THEATRE) if one.group[:1].isdigit())
)
"""The eight house steps, in the order in which the hands do them."""

_EMPTY: Mapping[str, str] = MappingProxyType({})
_LOWERING_GLAUCOMA = frozenset({"OHT", "open_angle", "angle_closure", "other"})
_LOWERING_SURGERY = frozenset({"trabeculectomy", "tube", "other"})


@dataclass(frozen=True, slots=True)
class Levels:
    """The practice's levels of eye pressure on day one, mmHg.

    Above `quiet` a quiet line; above `today` a surgeon decides that day; from `now` on a surgeon is called at once;
    below `low` a leak is looked for. `lowered_today` and `lowered_now` stand in place of `today` and `now` for an eye
    that bears less. `on_call` is who is called; `approved` says which surgeon approved the levels and when, empty while
    nobody did: the values are then suggestions.
    """

    quiet: float = 25
    today: float = 30
    now: float = 40
    low: float = 6
    lowered_today: float = 24
    lowered_now: float = 30
    on_call: str = ""
    approved: str = ""

    def for_eye(self, row: Row) -> Levels:
        """The levels of this eye, so that nobody reads another eye's.

        The lowered ones count with glaucoma, ocular hypertension, damage of the disc (both answered as glaucoma), past
        glaucoma surgery other than an iridotomy, and in an only seeing eye.
        """
        past = row.get("prior_glaucoma_surgery")
        lowered = (
            row.get("glaucoma") in _LOWERING_GLAUCOMA
            or (isinstance(past, tuple) and not _LOWERING_SURGERY.isdisjoint(past))
            or row.get("only_seeing_eye") is True
        )
        if not lowered:
            return self
        # The practice may have set its usual levels below the lowered ones: the lower of the two counts.
        today, now = min(self.today, self.lowered_today), min(self.now, self.lowered_now)
        return dataclasses.replace(self, today=today, now=now, quiet=min(self.quiet, today))


@dataclass(frozen=True, slots=True)
class Machine:
    """A machine (and profile) of the theatre.

    `end_screen` names the fields its end screen gives, `motions` the tip motions it has (codes of `us_motion`),
    `metric` what its cumulative number is (a code of `us_energy_metric`), `tips` the practice's codes of its tips.
    A machine that has left the theatre keeps its entry, so that past eyes still name it.
    """

    name: str
    end_screen: tuple[str, ...] = ()
    motions: tuple[str, ...] = ()
    metric: str | None = None
    tips: tuple[str, ...] = ()
    in_use: bool = True


@dataclass(frozen=True, slots=True)
class Device:
    """A device that measures the eye before surgery; `depth_from` is a code of `acd_definition`, or unknown."""

    name: str
    depth_from: str | None = None


def levels_of(entries: Iterable[RegisterEntry]) -> Levels:
    """The practice's levels; the suggested ones, not approved, when it set none. Other entries are passed over."""
    for entry in entries:
        if (entry.kind, entry.name) == (LEVELS, PRESSURE):
            known = {one.name for one in dataclasses.fields(Levels)}
            return Levels(**{name: value for name, value in entry.body.items() if name in known})  # type: ignore[arg-type]
    return Levels()


def machines_of(entries: Iterable[RegisterEntry], *, gone: bool = False) -> tuple[Machine, ...]:
    """The machines in use, by name; with `gone` also those that left. Other entries are passed over."""
    found = [
        Machine(
            name=entry.name,
            end_screen=_texts(entry.body.get("end_screen")),
            motions=_texts(entry.body.get("motions")),
            metric=_text(entry.body.get("metric")),
            tips=_texts(entry.body.get("tips")),
            in_use=entry.body.get("in_use") is not False,
        )
        for entry in entries
        if entry.kind == MACHINE
    ]
    return tuple(sorted((one for one in found if one.in_use or gone), key=lambda one: one.name.casefold()))


def devices_of(entries: Iterable[RegisterEntry]) -> tuple[Device, ...]:
    """The measuring devices, by name. Other entries are passed over."""
    found = [Device(entry.name, _text(entry.body.get("depth_from"))) for entry in entries if entry.kind == DEVICE]
    return tuple(sorted(found, key=lambda one: one.name.casefold()))


def usual_of(entries: Iterable[RegisterEntry], surgeon_id: str) -> Mapping[str, Value]:
    """A surgeon's usual answers: codebook name -> value, fields that may be proposed only, in the order of the sheet.

    Empty for a surgeon without any. A stored answer that its field no longer knows is left out.
    """
    for entry in entries:
        if (entry.kind, entry.name) == (USUAL, surgeon_id):
            found = {name: _value(name, entry.body[name]) for name in PROPOSABLE if name in entry.body}
            return {name: value for name, value in found.items() if value is not None}
    return {}


def steps_of(entries: Iterable[RegisterEntry]) -> Mapping[str, str]:
    """The practice's own words of each house step (`HOUSE_STEPS`); steps without any are absent."""
    for entry in entries:
        if (entry.kind, entry.name) == (STEPS, WORDING):
            return {step: str(entry.body[step]) for step in HOUSE_STEPS if entry.body.get(step)}
    return _EMPTY


def drops_of(entries: Iterable[RegisterEntry]) -> RegisterEntry | None:
    """The practice's protocol of drops after surgery, with its version; its body holds the `lines`."""
    return next((one for one in entries if (one.kind, one.name) == (DROPS, PROTOCOL)), None)


def _text(value: object) -> str | None:
    return value if isinstance(value, str) and value else None


def _texts(value: object) -> tuple[str, ...]:
    return tuple(str(one) for one in value) if isinstance(value, list | tuple) else ()


def _value(name: str, stored: object) -> Value | None:
    field = codebook.field(name)
    if field.choices:
        return stored if isinstance(stored, str) and stored in field.codes else None
    if field.kind is Kind.NUMBER:
        return float(stored) if isinstance(stored, int | float) and not isinstance(stored, bool) else None
    if field.kind is Kind.INTEGER:
        return stored if isinstance(stored, int) and not isinstance(stored, bool) else None
    return _text(stored)
