"""The first start: a practice set up step by step, each of which can be skipped; or the invented practice."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from types import MappingProxyType

from PySide6.QtCore import Signal
from PySide6.QtWidgets import QWidget

from clinic_app.desktop.jobs import Jobs
from clinic_app.desktop.look import Look
from clinic_app.desktop.pages.practice_frame import SectionsPage
from clinic_app.desktop.pages.practice_levels import LevelsSection
from clinic_app.desktop.pages.practice_machines import MachinesSection
from clinic_app.desktop.pages.practice_people import PeopleSection
from clinic_app.desktop.pages.practice_section import FormSection, Section
from clinic_app.desktop.pages.practice_units import NAME, UNITS, ZONE, ZONES, changes, shown
from clinic_app.desktop.parts.button import Button
from clinic_app.desktop.parts.eye_list import ListRow
from clinic_app.desktop.parts.flow import FlowLayout
from clinic_app.desktop.parts.frame import Rule
from clinic_app.desktop.parts.label import Words
from clinic_app.domain.words import counted
from clinic_app.services import practice
from clinic_app.session import Session
from models.codebook import Field

AFTERWARDS = "Nothing here is final: all of it stands under Practice afterwards."


class NameStep(FormSection):
    """What the practice is called."""

    title = "Your practice"
    lead = (
        "Five short steps, each of which can be skipped. Or look at the invented practice first: it has eyes, "
        "forecasts and a model, and nothing of it stays."
    )
    fields: tuple[Field, ...] = (NAME, ZONE)
    wide = MappingProxyType({"practice_name": 400})
    readers = ZONES

    def shown(self) -> Mapping[str, object]:
        return {name: value for name, value in shown(self.session).items() if name in self.form.answers}

    def keep_answers(self) -> None:
        self.finish(lambda: self.renewed.emit(practice.change_settings(self.session, changes(self.form))))


class UnitsStep(NameStep):
    """How the practice writes things."""

    title = "Units"
    lead = "How days, numbers, vision and HbA1c are written here."
    fields = UNITS
    wide = MappingProxyType({})


class FirstStartPage(SectionsPage):
    """`finished`: the steps are done or skipped. `demo_wished`: the person would rather see the invented practice."""

    finished = Signal()
    demo_wished = Signal()

    name = "First start"
    kinds: Mapping[str, type[Section]] = MappingProxyType(
        {
            "name": NameStep,
            "people": PeopleSection,
            "machines": MachinesSection,
            "units": UnitsStep,
            "levels": LevelsSection,
        }
    )

    def __init__(self, session: Session, look: Look, jobs: Jobs) -> None:
        self._seen: set[str] = set()
        self._kept: set[str] = set()
        if not session.person.strip():  # every act carries a name, so the name comes first
            self.kinds = MappingProxyType({"people": self.kinds["people"], **self.kinds})
        super().__init__(session, look, jobs)
        self.said = Words(look, "", size=12.5, colour="soft", wrap=True)
        self.said.setContentsMargins(look.px(16), 0, look.px(16), 0)
        ways = QWidget()
        row = FlowLayout(look, ways, gap=6)
        ways.setContentsMargins(look.px(12), 0, look.px(12), look.px(8))
        self.demo = Button(look, "Try with the invented practice")
        self.back = Button(look, "Step back", hint="Shift+F7")
        self.next = Button(look, "Skip this step", hint="F7")
        for button, name, act in (
            (self.demo, "demo", self.demo_wished.emit),
            (self.back, "back", lambda: self.step(-1)),
            (self.next, "next", lambda: self.step(1)),
        ):
            button.setObjectName(name)
            button.clicked.connect(lambda _=False, act=act: act())
            row.addWidget(button)
        for widget in (Rule(look, above=2, below=4), self.said, ways):
            self.right.column.addWidget(widget)
        for section in self.sections.values():
            section.stood.connect(lambda *_: self._show_step())
        self._show_step()

    def rows(self) -> list[ListRow]:
        rows = []
        for place, (name, made) in enumerate(self.kinds.items(), start=1):
            state = self._state(name)
            rows.append(
                ListRow(name, f"{place} {made.title}", under=state, spoken=f"Step {place}, {made.title}, {state}")
            )
        return rows

    def _state(self, name: str) -> str:
        """Where a step stands, in words."""
        session = self.session
        machines = practice.machines(session)
        facts: dict[str, Callable[[], str]] = {
            "name": lambda: session.settings.practice_name,
            "people": lambda: counted(len(session.people), "person", "people") if session.people else "",
            "machines": lambda: counted(len(machines), "machine", "machines") if machines else "",
            "units": lambda: "kept" if "units" in self._kept else "",
            "levels": lambda: "approved" if practice.levels(session).approved else "",
        }
        return facts[name]() or ("skipped" if name in self._seen else "not yet")

    def _show_step(self) -> None:
        places = list(self.kinds)
        place = places.index(self.place)
        self.list.set_rows(self.rows())
        self.said.setText(f"Step {place + 1} of {len(places)}. {AFTERWARDS}")
        settled = self._state(self.place) not in ("not yet", "skipped")
        last = place + 1 == len(places)
        self.next.set_words("Start working" if last else ("Next step" if settled else "Skip this step"))
        self.back.setEnabled(place > 0)

    def step(self, by: int) -> None:
        """One step on or back; after the last one the first start is finished."""
        places = list(self.kinds)
        place = places.index(self.place) + by
        if place < 0:
            return

        def go() -> None:
            self._seen.add(self.place)
            if place >= len(places):
                self.finished.emit()
            else:
                self.show_section(places[place], focus=True)
                self._show_step()

        self.leaving(go)

    def show_section(self, name: str, *, focus: bool) -> None:
        super().show_section(name, focus=focus)
        if hasattr(self, "said"):
            self._show_step()

    def keep(self) -> None:
        """Keep the step in hand; once it is kept, the keyboard is on the way to the next."""
        changed, before = self.dirty(), self._state(self.place)
        super().keep()
        if not self.dirty() and (changed or self._state(self.place) != before):
            self._kept.add(self.place)
            self._show_step()
            self.next.setFocus()

    def keys(self) -> Mapping[str, Callable[[], object]]:
        return {**super().keys(), "F7": lambda: self.step(1), "Shift+F7": lambda: self.step(-1)}
