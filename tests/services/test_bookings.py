"""Booking an eye: what the panel shows, what is stored, what is refused."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, date, datetime
from pathlib import Path

import pytest

from clinic_app.domain.record import CaseKey, Origin, StageRecord
from clinic_app.errors import Refusal
from clinic_app.services import bookings, decisions
from clinic_app.services.training import train_candidate
from clinic_app.session import Session, open_session
from clinic_app.settings import Settings
from models.codebook import Stage
from tests.models.invented_practice import practice
from tests.services.test_decisions import fill

NOW = datetime(2026, 10, 1, 8, tzinfo=UTC)
KEY = CaseKey("N-1", "R", date(2026, 11, 3))
ANSWERS: dict[str, object] = {
    "birth_date": date(1950, 5, 1), "sex": "female", "guttae_grade": 0, "nucleus_hardness": 3, "acd_mm": 3.1,
    "acd_definition": "epithelium", "cct_um": 545.0, "ecd_per_mm2": 2500.0, "diabetes": "none", "glaucoma": "none",
    "pseudoexfoliation": "no", "axial_length_mm": 23.5,
}  # fmt: skip


def row(**changes: object) -> dict[str, object]:
    answers = {**ANSWERS, **changes}
    return {
        "patient_id": KEY.patient_id,
        "eye": KEY.eye,
        "surgery_date": KEY.surgery_date,
        **{name: value for name, value in answers.items() if value is not None},
    }


def record(**changes: object) -> StageRecord:
    return StageRecord(Stage.BOOKING, {**ANSWERS, **changes})


@pytest.fixture(scope="module")
def with_model(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Session]:
    with open_session(tmp_path_factory.mktemp("practice"), person="Booker", clock=lambda: NOW) as opened:
        fill(opened, practice(600))
        train_candidate(opened, model="booking", resamples=0)
        decisions.adopt(opened, "booking-1", reason="first model")
        yield opened.with_settings(Settings(planning_line=15.0))


@pytest.fixture
def without_model(tmp_path: Path) -> Iterator[Session]:
    with open_session(tmp_path, person="Booker", clock=lambda: NOW) as opened:
        yield opened


def test_figures_stand_beside_our_average_and_the_planning_line(with_model: Session) -> None:
    state = bookings.forecast_for(with_model, row())
    assert isinstance(state, bookings.Figures)
    assert state.planning_line == 15.0
    rate = 100.0 * with_model.card("booking-1").training["events"] / with_model.card("booking-1").training["n"]
    assert state.our_average == pytest.approx(rate, abs=1e-9)
    assert state.forecast.low < state.forecast.risk < state.forecast.high  # type: ignore[operator]
    assert "19 times in 20" in state.card_words
    assert "booking-1: 600 eyes" in state.card_words


def test_a_harder_nucleus_moves_the_forecast_and_nothing_is_stored(with_model: Session) -> None:
    soft = bookings.forecast_for(with_model, row(nucleus_hardness=2))
    hard = bookings.forecast_for(with_model, row(nucleus_hardness=5))
    assert isinstance(soft, bookings.Figures)
    assert isinstance(hard, bookings.Figures)
    assert hard.forecast.risk > soft.forecast.risk  # type: ignore[operator]
    assert with_model.store.case(KEY) is None
    assert with_model.store.forecasts(key=KEY) == []


def test_before_the_first_answers_the_panel_asks_for_them(with_model: Session) -> None:
    open_ = ("nucleus_hardness", "guttae_grade", "acd_mm", "diabetes")
    state = bookings.forecast_for(with_model, row(**dict.fromkeys(open_)))
    assert isinstance(state, bookings.TooMuchMissing)
    # by what they would tell, the strongest first
    assert set(state.ask) == set(open_)
    assert state.ask[0] == "nucleus_hardness"
    young = bookings.forecast_for(with_model, row(**dict.fromkeys((*open_, "birth_date", "age_years"))))
    assert isinstance(young, bookings.TooMuchMissing)
    assert "age_years" not in young.ask
    answered = {**row(acd_mm=None), "acd_mm_missing": "not_done"}
    assert isinstance(bookings.forecast_for(with_model, answered), bookings.Figures)


def test_too_much_missing_and_unlike_ours_hold_no_number(with_model: Session) -> None:
    short = row(sex=None, cct_um=None, ecd_per_mm2=None, axial_length_mm=None, pseudoexfoliation=None)
    assert isinstance(bookings.forecast_for(with_model, short), bookings.Figures)
    most = ("nucleus_hardness", "guttae_grade", "acd_mm", "diabetes")
    not_done = {f"{name}_missing": "not_done" for name in most}
    state = bookings.forecast_for(with_model, row(**dict.fromkeys(most), **not_done))
    assert isinstance(state, bookings.TooMuchMissing)
    assert state.ask == ()
    assert state.forecast.risk is None
    graft = bookings.forecast_for(with_model, row(prior_keratoplasty="DMEK"))
    assert isinstance(graft, bookings.Unlike)
    assert graft.forecast.risk is graft.forecast.low is graft.forecast.high is None


def test_without_a_model_there_are_facts_and_counts_and_no_number(without_model: Session) -> None:
    fill(without_model, practice(40))
    state = bookings.forecast_for(without_model, row(nucleus_hardness=5, diabetes="type2", ecd_per_mm2=900.0))
    assert isinstance(state, bookings.NoModel)
    cloudy = sum(1 for one in practice(40) if one["edema_grade_central"] >= 2)  # type: ignore[operator]
    assert (state.counts.graded, state.counts.cloudy) == (40, cloudy)
    assert {fact.field for fact in state.facts.facts} >= {"nucleus_hardness", "ecd_per_mm2"}


def test_booking_stores_the_eye_and_its_forecast_in_one_act(with_model: Session) -> None:
    key = CaseKey("N-2", "L", date(2026, 11, 4))
    eye = bookings.book(with_model, record(protection_plan=("coat_first", "re_coat")), key)
    assert eye.state == "Booked"
    assert eye.plan == ("coat_first", "re_coat")
    (stored,) = with_model.store.forecasts(key=key)
    assert eye.forecast == stored
    shown = bookings.forecast_for(
        with_model, {**row(), "patient_id": "N-2", "eye": "L", "surgery_date": key.surgery_date}
    )
    assert isinstance(shown, bookings.Figures)
    assert stored.risk == pytest.approx(shown.forecast.risk, abs=1e-12)
    assert key in {one.key for one in bookings.list_eyes(with_model)}


def test_a_change_of_a_booking_needs_a_reason_and_the_version_that_was_read(with_model: Session) -> None:
    key = CaseKey("N-3", "L", date(2026, 11, 5))
    first = bookings.book(with_model, record(), key)
    with pytest.raises(Refusal, match="needs a reason"):
        bookings.book(with_model, record(nucleus_hardness=4), key, expect_version=first.version)
    with pytest.raises(Refusal):
        bookings.book(with_model, record(nucleus_hardness=4), key, expect_version=99, reason="seen again")
    assert bookings.open_eye(with_model, key).row["nucleus_hardness"] == 3
    second = bookings.book(
        with_model, record(nucleus_hardness=4), key, expect_version=first.version, reason="seen again"
    )
    assert second.row["nucleus_hardness"] == 4
    assert len(with_model.store.forecasts(key=key)) == 2
    lines = with_model.store.history(key=key)
    assert any(line.field == "nucleus_hardness" and (line.old, line.new) == ("3", "4") for line in lines)


def test_a_change_keeps_devices_days_and_typed_texts_of_the_answers_that_stay(with_model: Session) -> None:
    key = CaseKey("N-5", "L", date(2026, 11, 5))
    came = StageRecord(
        Stage.BOOKING,
        {**ANSWERS, "preop_va_logmar": 0.3},
        missing={"endo_cv_pct": "not_done"},
        typed={"cct_um": "0.545 mm", "acd_mm": "3,1", "endo_cv_pct": "nd"},
        origin={"cct_um": Origin("Pachymeter A", date(2026, 9, 1)), "acd_mm": Origin("Biometer B")},
    )
    with with_model.store.writing(by="import", act="import") as write:
        write.put_many([(key, [came])])
    eye = bookings.open_eye(with_model, key)
    form = StageRecord(Stage.BOOKING, {**ANSWERS, "acd_mm": 3.4}, missing={"endo_cv_pct": "not_done"})
    bookings.book(with_model, form, key, expect_version=eye.version, reason="measured again")
    case = with_model.store.case(key)
    assert case is not None
    kept = case.stages[Stage.BOOKING].record
    assert dict(kept.origin) == {"cct_um": Origin("Pachymeter A", date(2026, 9, 1))}
    assert dict(kept.typed) == {"cct_um": "0.545 mm", "endo_cv_pct": "nd"}
    assert (kept.values["acd_mm"], kept.values["preop_va_logmar"]) == (3.4, 0.3)
    # what the form left open is emptied
    less = {name: value for name, value in ANSWERS.items() if name != "cct_um"}
    bookings.book(with_model, StageRecord(Stage.BOOKING, less), key, reason="cannot be")  # type: ignore[arg-type]
    case = with_model.store.case(key)
    assert case is not None
    kept = case.stages[Stage.BOOKING].record
    assert "cct_um" not in kept.values
    assert "cct_um" not in kept.origin
    assert not kept.missing


def test_an_operated_eye_keeps_its_booking(with_model: Session) -> None:
    key = CaseKey("N-4", "L", date(2026, 11, 6))
    bookings.book(with_model, record(), key)
    with with_model.store.writing(by="Dr", act="sign") as write:
        write.put_stage(key, StageRecord(Stage.THEATRE, {"us_time_s": 30.0}))
    with pytest.raises(Refusal, match="operated"):
        bookings.book(with_model, record(nucleus_hardness=5), key, reason="late")
    assert key not in {one.key for one in bookings.list_eyes(with_model)}


def test_the_list_is_by_date_and_never_by_chance(with_model: Session) -> None:
    for number, day in enumerate((20, 10, 15)):
        bookings.book(
            with_model, record(nucleus_hardness=3 + number % 3), CaseKey(f"L-{number}", "R", date(2026, 12, day))
        )
    days = [one.key.surgery_date for one in bookings.list_eyes(with_model)]
    assert days == sorted(days)


def test_a_second_operation_on_the_same_eye_gets_no_number(with_model: Session) -> None:
    known = min(with_model.store.keys(), key=lambda key: (key.surgery_date, key))
    again = {**row(), "patient_id": known.patient_id, "eye": known.eye, "surgery_date": date(2026, 12, 1)}
    state = bookings.forecast_for(with_model, again)
    assert isinstance(state, bookings.Unlike)
    assert "second operation" in state.forecast.note


def test_the_fellow_eye_is_found_and_its_own_is_not(with_model: Session) -> None:
    bookings.book(with_model, record(), CaseKey("F-1", "R", date(2026, 12, 2)))
    other = bookings.fellow(with_model, "F-1", "L")
    assert other is not None
    assert other["eye"] == "R"
    assert bookings.fellow(with_model, "F-1", "R") is None
    assert bookings.fellow(with_model, "nobody", "R") is None


def test_an_eye_that_is_gone_is_refused_in_words(with_model: Session) -> None:
    with pytest.raises(Refusal, match="no booking"):
        bookings.open_eye(with_model, CaseKey("gone", "R", date(2026, 1, 1)))
