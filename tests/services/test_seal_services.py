"""What the seal does in bookings, lists, files, forecasts and reviews: for whom, and what is written down."""

from __future__ import annotations

import csv
import json
import shutil
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest

from clinic_app.domain.people import PERSON, Duty
from clinic_app.domain.record import CaseKey, RegisterEntry, StageRecord
from clinic_app.domain.seal import OPENING, Secret, blind
from clinic_app.errors import Refusal
from clinic_app.services import bookings, cases, decisions, export, forecasts, people
from clinic_app.services.review import review
from clinic_app.services.review.eyes import SEALED, band_of
from clinic_app.services.training import train_candidate
from clinic_app.session import Session, open_session
from models.codebook import Stage
from tests.models.invented_practice import practice
from tests.services.test_bookings import ANSWERS
from tests.services.test_decisions import fill
from tests.simulated_practice import NOW as REVIEWED
from tests.simulated_practice import FixedStore, session_on, simulated

KEY = CaseKey("N-1", "R", date(2026, 11, 3))
PEOPLE = {
    "Ito": [Duty.BOOKING, Duty.SURGEON],
    "Berg": [Duty.DAY_ONE],
    "Moss": [Duty.DAY_ONE, Duty.BOOKING],
    "Data": [Duty.DATA_LEAD],
    "Both": [Duty.DATA_LEAD, Duty.DAY_ONE],
}
Opening = Callable[..., Session]


class Clock:
    now = datetime(2026, 10, 1, 8, tzinfo=UTC)

    def __call__(self) -> datetime:
        return self.now


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("made") / "practice"
    folder.mkdir()
    with open_session(folder, person="Founder", clock=Clock()) as session:
        fill(session, practice(300))
        train_candidate(session, model="booking", resamples=0)
        decisions.adopt(session, "booking-1", reason="first model")
        plan = {"protection_plan": ("coat_first",), "booked_surgeon_id": "S1"}
        bookings.book(session, StageRecord(Stage.BOOKING, {**ANSWERS, **plan}), KEY)  # type: ignore[arg-type, dict-item]
        people.register(session, "Founder", [])
        for name, duties in PEOPLE.items():
            people.register(session, name, duties)
    return folder


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def acting(made: Path, tmp_path: Path, clock: Clock) -> Iterator[Opening]:
    folder = tmp_path / "practice"
    shutil.copytree(made, folder)
    with ExitStack() as stack:

        def opened(name: str, *, read_only: bool = False) -> Session:
            return stack.enter_context(open_session(folder, person=name, clock=clock, read_only=read_only))

        yield opened


def openings(session: Session, by: str) -> list[str]:
    return [str(one.body["what"]) for one in session.store.events(key=KEY, kind=OPENING) if one.by == by]


def on_list(session: Session) -> bookings.BookedEye:
    (eye,) = bookings.list_eyes(session)
    return eye


def test_somebody_who_books_sees_the_list_whole_and_is_written_down_once_a_day(acting: Opening, clock: Clock) -> None:
    ito = acting("Ito")
    eye = on_list(ito)
    assert eye.forecast is not None
    assert eye.plan == ("coat_first",)
    assert eye.hidden == frozenset()
    assert openings(ito, "Ito") == []  # a list is no opening
    for _ in range(3):
        assert bookings.open_eye(ito, KEY).forecast is not None
    assert openings(ito, "Ito") == ["booking_forecast"]
    clock.now += timedelta(days=1)
    bookings.open_eye(ito, KEY)
    assert openings(ito, "Ito") == ["booking_forecast", "booking_forecast"]


def test_somebody_who_also_grades_sees_it_on_opening_and_is_no_longer_blind(acting: Opening) -> None:
    moss = acting("Moss")
    eye = on_list(moss)
    assert (eye.forecast, eye.plan, eye.facts) == (None, (), None)
    assert "protection_plan" not in eye.row
    assert eye.hidden == {Secret.BOOKING_FORECAST, Secret.PLAN}
    stored = moss.store.forecasts(key=KEY)
    assert blind(moss.store.events(key=KEY), stored, "Moss")
    shown = bookings.open_eye(moss, KEY)
    assert shown.forecast is not None
    assert shown.plan == ("coat_first",)
    assert shown.hidden == frozenset()
    assert not blind(moss.store.events(key=KEY), stored, "Moss")
    assert blind(moss.store.events(key=KEY), stored, "Berg")
    assert on_list(moss).forecast is None  # still hidden in the list


def test_what_cannot_be_written_down_is_not_shown(acting: Opening) -> None:
    moss = acting("Moss", read_only=True)
    shown = bookings.open_eye(moss, KEY)
    assert (shown.forecast, shown.plan) == (None, ())


def test_somebody_who_only_grades_has_no_business_in_bookings(acting: Opening) -> None:
    berg = acting("Berg")
    for act in (
        lambda: bookings.list_eyes(berg), lambda: bookings.open_eye(berg, KEY),
        lambda: bookings.fellow(berg, KEY.patient_id, "L"), lambda: bookings.forecast_for(berg, {}),
    ):  # fmt: skip
        with pytest.raises(Refusal, match="Booking or Surgeon"):
            act()


def test_whoever_books_has_seen_the_number(acting: Opening) -> None:
    moss = acting("Moss")
    other = CaseKey("N-2", "L", date(2026, 11, 4))
    bookings.book(moss, StageRecord(Stage.BOOKING, ANSWERS), other)  # type: ignore[arg-type]
    assert not blind(moss.store.events(key=other), moss.store.forecasts(key=other), "Moss")
    bookings.book(moss, StageRecord(Stage.BOOKING, {**ANSWERS, "cct_um": 550.0}), other, reason="Again")  # type: ignore[arg-type]
    assert len(moss.store.events(key=other, kind=OPENING)) == 1


def test_following_each_key_asks_the_store_for_nothing_more(acting: Opening, monkeypatch: pytest.MonkeyPatch) -> None:
    ito = acting("Ito")
    bookings.forecast_for(ito, {**ANSWERS})
    monkeypatch.setattr(ito.store, "events", lambda **_: pytest.fail("events were read"))
    monkeypatch.setattr(ito.store, "cases", lambda **_: pytest.fail("cases were read"))
    reads: list[int] = []
    real = ito.store._reading
    monkeypatch.setattr(ito.store, "_reading", lambda: reads.append(1) or real())
    bookings.forecast_for(ito, {**ANSWERS})
    assert len(reads) == 1  # the model in use


def test_lists_and_documents_are_masked_and_say_so(acting: Opening) -> None:
    for name, sealed in (
        ("Ito", None),
        ("Data", None),
        ("Berg", "booking_forecast|plan"),
        ("Both", "booking_forecast|plan"),
    ):
        session = acting(name)
        case = next(one for one in cases.cases(session) if one.key == KEY)
        (document,) = cases.documents(session, [case])
        assert document.get("sealed") == sealed
        assert ("protection_plan" in document) == ("protection_plan" in case.row()) == (sealed is None)
        assert document["glaucoma"] == "none"
        session.store.close()
    with pytest.raises(Refusal, match="not open to you"):
        cases.cases(acting("Founder"))  # looks after people, not after eyes


def test_a_file_leaves_out_what_is_sealed_and_says_of_how_many_eyes(acting: Opening, tmp_path: Path) -> None:
    for name, sealed in (("Data", 0), ("Both", 1)):
        session = acting(name)
        result = export.export(session, tmp_path / f"{name}.csv")
        assert result.sealed == result.as_dict()["sealed"] == sealed
        assert ("1 eye is not graded yet" in result.sentence()) == bool(sealed)
        with (tmp_path / f"{name}.csv").open(encoding="utf-8", newline="") as file:
            (row,) = [one for one in csv.DictReader(file) if one["patient_id"] == "N-1"]
        assert row["protection_plan"] == ("" if sealed else "coat_first")
        numbers = export.export(session, tmp_path / f"{name}-numbers.csv", forecasts=True)
        assert numbers.rows == {"forecasts": 0 if sealed else 1}
        session.store.close()
    with pytest.raises(Refusal, match="duty Data lead"):
        export.export(acting("Ito"), tmp_path / "no.csv")


def test_forecasts_are_made_for_whoever_must_not_see_them_and_shown_to_others(acting: Opening) -> None:
    for name, status in (("Data", "forecast"), ("Both", "sealed"), ("Moss", "sealed")):
        session = acting(name)
        before = len(session.store.forecasts(key=KEY))
        (row,) = forecasts.forecast_practice(session, model="booking")["rows"]
        assert row["status"] == status
        assert (row["risk"] is None) == (status == "sealed")
        assert len(session.store.forecasts(key=KEY)) == before + 1
        json.dumps(row, allow_nan=False)
        session.store.close()


# --- review ---


def reviewing(who: str, *duties: Duty, made: object) -> Session:
    session = session_on(made)  # type: ignore[arg-type]
    store = session.store
    assert isinstance(store, FixedStore)
    store.people = [RegisterEntry(PERSON, who, {"duties": [one.value for one in duties]}, 1, "Founder", REVIEWED)]
    return session.acting(who)


def test_sealed_eyes_stand_in_no_small_count_of_a_review() -> None:
    made = simulated(300, seed=3)
    gone = [case for case in made.cases if Stage.THEATRE in case.stages][:60]
    for case in gone[:3]:  # three eyes that lost their day one
        case.stages.pop(Stage.DAY_ONE, None)  # type: ignore[attr-defined]
    whole = review(reviewing("Data", Duty.DATA_LEAD, made=made))
    assert SEALED not in whole.left_out
    assert whole.missing_day_one.missing >= 3
    hidden = review(reviewing("Both", Duty.DATA_LEAD, Duty.DAY_ONE, made=made))
    assert hidden.left_out[SEALED] == whole.missing_day_one.missing - hidden.missing_day_one.missing
    for band in hidden.missing_day_one.by_forecast:
        assert band.missing == 0 or band.missing >= 5
    assert (hidden.n, hidden.events, hidden.expected) == (whole.n, whole.events, whole.expected)


def test_the_bands_of_missing_grades_hold_each_chance_once() -> None:
    assert [band_of(one) for one in (0.0, 0.049, 0.05, 0.1, 0.199, 0.2, 0.99, 1.0)] == [0, 0, 1, 2, 2, 3, 3, 3]


def test_a_review_needs_the_duty() -> None:
    made = simulated(300, seed=3)
    with pytest.raises(Refusal, match="Surgeon or Data lead"):
        review(reviewing("Berg", Duty.DAY_ONE, made=made))
