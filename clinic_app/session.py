"""The one object that is passed around: the open practice and the person acting."""

from __future__ import annotations

import contextlib
import dataclasses
import os
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import UTC, date, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

from clinic_app import __version__
from clinic_app.demo_clock import DemoClock
from clinic_app.domain.derived import complete
from clinic_app.domain.operated import first_operations, key_of, marked
from clinic_app.domain.people import PERSON, PIN, Duty, Person, acting, duties_words, people_of
from clinic_app.domain.record import CaseKey, Row, StoredForecast
from clinic_app.domain.seal import OPENING, Secret, sealed
from clinic_app.errors import Refusal
from clinic_app.settings import Settings, read_settings
from clinic_app.store import Store, open_store, restore
from clinic_app.store.backup import STORE_NAME
from models.card import Card, read_card
from models.errors import ModelError
from models.forecast import Forecast

Clock = Callable[[], datetime]


def system_clock() -> datetime:
    """Now, in UTC."""
    return datetime.now(UTC)


@dataclass(frozen=True, slots=True)
class Session:
    """An open practice: its store, its settings, the clock and the person acting.

    `cards` holds the cards already read, by model id: reading one checks its test vectors, which a keystroke
    should not wait for twice. `counted` holds cloudy eyes by number of cases and of graded ones, for the same reason.
    """

    store: Store
    settings: Settings
    clock: Clock
    person: str
    folder: Path
    cards: dict[str, Card] = field(default_factory=dict, repr=False, compare=False)
    counted: dict[tuple[int, int], int] = field(default_factory=dict, repr=False, compare=False)

    def today(self) -> date:
        """The day on the practice's wall."""
        return self.day_of(self.clock())

    def day_of(self, moment: datetime) -> date:
        """The day on the practice's wall at that moment."""
        zone = ZoneInfo(self.settings.zone) if self.settings.zone else None
        return moment.astimezone(zone).date()

    @property
    def people(self) -> tuple[Person, ...]:
        """The people registered here, those who left included."""
        return people_of(self.store.register(PERSON), self.store.register(PIN))

    @property
    def me(self) -> Person:
        """The person acting, with the duties of today; while nobody is registered everybody holds every duty."""
        return acting(self.people, self.person, self.today())

    def may(self, *duties: Duty) -> bool:
        """Whether the person acting holds at least one of the duties."""
        return self.me.may(*duties)

    def need(self, *duties: Duty, act: str) -> None:
        """Refuse when the person acting holds none of the duties; `act` says what was to be done: "Signing a sheet"."""
        me = self.me
        if me.may(*duties):
            return
        wanted = " or ".join(duties_words([duty]) for duty in duties)
        if me.left is not None and me.left <= self.today():
            why = f"{me.name} has left the practice."
        elif not me.duties and all(one.name != me.name for one in self.people):
            why = f"{me.name} is not registered in this practice."
        else:
            why = f"It needs the duty {wanted}; the duties of {me.name} are: {duties_words(me.duties)}."
        raise Refusal(
            what=f"{act} is not open to you; nothing was changed.",
            why=why,
            next=f"Ask somebody with the duty {wanted}, or have the duty given to you under Practice, People.",
        )

    def hides(self, state: str) -> frozenset[Secret]:
        """What lists, files and counts hide from the person acting, of an eye in that state.

        Nothing while nobody is registered: people cannot be told apart then.
        """
        people = self.people
        return sealed(state, acting(people, self.person, self.today()).duties) if people else frozenset()

    def opened_today(self, key: CaseKey, what: Secret) -> bool:
        """Whether it is written down already that the person acting was shown this today."""
        return any(
            one.by == self.person and one.body.get("what") == what.value and self.day_of(one.at) == self.today()
            for one in self.store.events(key=key, kind=OPENING)
        )

    def note_opening(self, key: CaseKey, what: Secret) -> None:
        """Write down that the person acting was shown something of an eye that grading must not know: once a person,
        eye and day. Where the practice is open for reading only nothing can be written down."""
        if self.store.read_only or self.opened_today(key, what):
            return
        with self.store.writing(by=self.person, act="open an eye") as write:
            write.add_event(key, OPENING, {"what": what.value})

    @property
    def outcome_cut(self) -> int:
        """The central grade from which an eye counts as cloudy: the one of the models in use, else of the settings.

        A card that cannot be read here says nothing of it.
        """
        for model in ("booking", "end_of_case"):
            entry = self.store.in_use(model)
            if entry is not None:
                with contextlib.suppress(ModelError):
                    return self.card(entry.model_id).spec.outcome.cut
        return self.settings.outcome_cut

    def rows(self, *, to: date | None = None) -> list[dict[str, object]]:
        """Every case laid flat with its derived values; a second operation on an eye is marked as one."""
        zone = self.settings.zone or None
        first = first_operations(self.store.keys())
        return [marked(complete(row, zone=zone), key_of(row), first) for row in self.store.rows(to=to)]

    def card(self, model_id: str) -> Card:
        """The card of that model, read and checked once."""
        if model_id not in self.cards:
            entry = self.store.model(model_id)
            if entry is None:
                raise Refusal(
                    what=f"There is no model {model_id}.",
                    why="The practice keeps no model of that number.",
                    next="List the models with: clinic-app models",
                )
            self.cards[model_id] = read_card(entry.card_text)
        return self.cards[model_id]

    def stored(self, key: CaseKey, model_id: str, model: str, forecast: Forecast, *, at: datetime) -> StoredForecast:
        """The forecast as the practice keeps it, made at that moment by the person acting."""
        return StoredForecast(
            key=key,
            model_id=model_id,
            model=model,
            made_at=at,
            made_by=self.person,
            status=forecast.status,
            risk=forecast.risk,
            low=forecast.low,
            high=forecast.high,
            inputs=forecast.inputs,
            note=forecast.note,
        )

    def made(self, model: str, rows: Mapping[CaseKey, Row]) -> list[StoredForecast]:
        """Forecasts of these eyes by the model in use, ready to be kept; none while no model of that kind is in use.

        The rows are whole: with derived values and the mark of a second operation. Every act that writes answers keeps
        these in its own transaction, so that no number outlives the answers it was made from.
        """
        entry = self.store.in_use(model)
        if entry is None or not rows:
            return []
        now = self.clock()
        forecasts = self.card(entry.model_id).forecast(list(rows.values()))
        return [
            self.stored(key, entry.model_id, model, forecast, at=now)
            for key, forecast in zip(rows, forecasts, strict=True)
        ]

    def acting(self, person: str) -> Session:
        """The same practice with another person acting."""
        return dataclasses.replace(self, person=person)

    def with_settings(self, settings: Settings) -> Session:
        """The same practice with other settings."""
        return dataclasses.replace(self, settings=settings)


def holds_practice(folder: Path) -> bool:
    """Whether a practice has been begun in the folder."""
    return (folder / STORE_NAME).exists()


def can_be_written(folder: Path) -> bool:
    """Whether the system lets this account write in the practice folder and in its store."""
    return all(os.access(path, os.W_OK) for path in (folder, folder / STORE_NAME) if path.exists())


@contextlib.contextmanager
def open_session(
    folder: Path, *, person: str, clock: Clock | None = None, read_only: bool = False
) -> Iterator[Session]:
    """Open the practice in `folder` for `person`, creating it when the folder holds none; close it at the end.

    Without a clock an invented practice has the one of its settings, any other the system's.
    Raises `Refusal` when the folder cannot be used, another program has the practice open, or a newer program wrote it.
    """
    settings = read_settings(folder)
    if clock is None:
        begins = settings.demo_now
        clock = DemoClock(datetime.fromisoformat(begins), settings.zone) if begins else system_clock
    store = open_store(folder, clock=clock, program=__version__, read_only=read_only)
    try:
        yield Session(store, settings, clock, person, folder)
    finally:
        store.close()


def restore_session(folder: Path, backup: Path) -> Path | None:
    """Put a backup in place of the practice in `folder`; returns where the old database was kept, if there was one."""
    return restore(folder, backup)
