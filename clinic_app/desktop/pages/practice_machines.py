"""Practice, Machines and tips, and Measuring devices: what the end screens give, where a depth begins."""

from __future__ import annotations

from collections.abc import Mapping

from clinic_app.desktop.pages.practice_form import PracticeForm, asked
from clinic_app.desktop.pages.practice_register import RegisterSection
from clinic_app.desktop.pages.practice_table import Entry
from clinic_app.domain.practice import END_SCREEN, Device, Machine
from clinic_app.domain.record import Value
from clinic_app.services import practice
from models.codebook import Kind
from models.codebook import field as field_of

_MOTION, _METRIC, _DEPTH = field_of("us_motion"), field_of("us_energy_metric"), field_of("acd_definition")
MACHINE_FIELDS = (
    asked(
        "name", "Name", Kind.IDENTIFIER, group="Machine",
        help_="The practice's own name of machine and profile, such as A-dense.",
    ),
    asked(
        "in_use", "In use", Kind.YES_NO, group="Machine",
        help_="No: theatre no longer offers it; past eyes keep its name.",
    ),
    asked(
        "end_screen", "Its end screen gives", Kind.CHOICES, group="End screen",
        choices={name: field_of(name).label for name in END_SCREEN},
        help_="Theatre asks for these alone. One cumulative number with its metric is enough.",
    ),
    asked(
        "metric", "The other energy reading is", Kind.CHOICE, group="End screen",
        choices={one.code: one.label for one in _METRIC.choices},
        help_="What the machine's own number is. Numbers of different metrics are never compared.",
    ),
    asked(
        "motions", "Tip motions", Kind.CHOICES, group="Tips",
        choices={one.code: one.label for one in _MOTION.choices}, help_="The motions that this machine has.",
    ),
    asked("tips", "Tips, with commas between", group="Tips", help_="The practice's own codes, such as K30, B45."),
)  # fmt: skip
DEVICE_FIELDS = (
    asked("name", "Name", Kind.IDENTIFIER, group="Device", help_="As it stands beside its measurements."),
    asked(
        "depth_from", "Chamber depth begins at", Kind.CHOICE, group="Device",
        choices={one.code: one.label for one in _DEPTH.choices},
        help_="Where the device starts to measure. A depth from the back needs the thickness to be comparable.",
    ),
)  # fmt: skip


class MachinesSection(RegisterSection):
    """The machines of the theatre."""

    title = "Machines and tips"
    under = "End screens, motions, tips"
    lead = "Each machine says which numbers its end screen gives. Energy is never compared across machines."
    noun, new_words = "machine", "New machine"
    headings = ("Name", "End screen", "Motions", "Tips", "In use")
    empty_words = "No machine is entered yet. Type its name below."

    def make_form(self) -> PracticeForm:
        return PracticeForm(self.look, self.session.settings, self.session.today(), MACHINE_FIELDS)

    def entries(self) -> list[Entry]:
        return [self._entry(one) for one in practice.machines(self.session, gone=True)]

    @staticmethod
    def _entry(one: Machine) -> Entry:
        screen = ", ".join(field_of(name).label for name in one.end_screen) or "nothing"
        motions = ", ".join(_MOTION.choice_label(code) for code in one.motions)
        tips = ", ".join(one.tips)
        values = {
            "name": one.name, "end_screen": one.end_screen, "metric": one.metric, "motions": one.motions, "tips": tips,
            "in_use": one.in_use,
        }  # fmt: skip
        return Entry(one.name, (one.name, screen, motions, tips, "yes" if one.in_use else "no"), values)

    def opened(self) -> None:
        self.form.lock(bool(self.ledger.open_name) or not self.may, "name")

    def keep_entry(self, values: Mapping[str, Value]) -> str:
        machine = Machine(
            name=self.form.text("name"),
            end_screen=_codes(values.get("end_screen")),
            motions=_codes(values.get("motions")),
            metric=self.form.text("metric") or None,
            tips=tuple(tip for part in self.form.text("tips").split(",") if (tip := part.strip())),
            in_use=values.get("in_use") is not False,
        )
        practice.put_machine(self.session, machine)
        return machine.name


class DevicesSection(RegisterSection):
    """The devices that measure before surgery."""

    title = "Measuring devices"
    under = "Where a chamber depth begins"
    lead = "A chamber depth is compared with others only when it is known where the device starts to measure."
    noun, new_words = "device", "New device"
    headings = ("Name", "Chamber depth begins at")
    empty_words = "No device is entered yet. Type its name below."

    def make_form(self) -> PracticeForm:
        return PracticeForm(self.look, self.session.settings, self.session.today(), DEVICE_FIELDS)

    def entries(self) -> list[Entry]:
        return [
            Entry(
                one.name,
                (one.name, _DEPTH.choice_label(one.depth_from) if one.depth_from else "not known"),
                {"name": one.name, "depth_from": one.depth_from},
            )
            for one in practice.devices(self.session)
        ]

    def opened(self) -> None:
        self.form.lock(bool(self.ledger.open_name) or not self.may, "name")

    def keep_entry(self, values: Mapping[str, Value]) -> str:
        device = Device(self.form.text("name"), self.form.text("depth_from") or None)
        practice.put_device(self.session, device)
        return device.name


def _codes(value: object) -> tuple[str, ...]:
    return tuple(str(one) for one in value) if isinstance(value, tuple) else ()
