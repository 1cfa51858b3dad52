"""Models and forecasts: one in use of a kind, forecasts locked by the moment that ends their time."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta, timezone
from typing import Any

import pytest

from clinic_app.domain.record import CaseKey
from clinic_app.errors import Refusal
from clinic_app.store import Store


def test_models_are_numbered_by_kind_and_one_is_in_use(store: Store) -> None:
    with store.writing(by="A", act="train") as w:
        assert w.add_model("booking", "{}").model_id == "booking-1"
        assert w.add_model("booking", '{"ü": 1}').model_id == "booking-2"
        entry = w.add_model("end_of_case", "{}")
    assert (entry.model_id, entry.state, entry.made_by, entry.decided_at) == ("end_of_case-1", "candidate", "A", None)
    assert store.in_use("booking") is None
    with store.writing(by="B", act="adopt") as w:
        assert w.decide("booking-1", "in_use", reason="First").state == "in_use"
    with store.writing(by="C", act="adopt") as w:
        w.decide("booking-2", "in_use", reason="Better")
        w.decide("end_of_case-1", "in_use", reason="First")
    found = {one.model_id: one for one in store.models()}
    assert {name: one.state for name, one in found.items()} == {
        "booking-1": "past", "booking-2": "in_use", "end_of_case-1": "in_use",
    }  # fmt: skip
    assert store.model("booking-2").card_text == '{"ü": 1}'
    assert (found["booking-2"].decided_by, found["booking-2"].reason) == ("C", "Better")
    assert found["booking-1"].reason == "Replaced by booking-2"
    in_use = store.in_use("booking")
    assert in_use is not None
    assert in_use.model_id == "booking-2"
    lines = store.history(subject="booking-1")
    assert [(one.field, one.old, one.new) for one in lines] == [
        ("state", None, "candidate"), ("state", "candidate", "in_use"), ("reason", None, "First"),
        ("state", "in_use", "past"), ("reason", "First", "Replaced by booking-2"),
    ]  # fmt: skip


def test_an_unknown_model_is_refused(store: Store) -> None:
    with pytest.raises(Refusal, match="no model booking-7"):
        store.model("booking-7")
    with store.writing(by="A", act="adopt") as w:
        with pytest.raises(Refusal, match="no model booking-7"):
            w.decide("booking-7", "in_use", reason="?")
        w.add_model("booking", "{}")
        with pytest.raises(ValueError, match="no state"):
            w.decide("booking-1", "adopted", reason="?")


def test_a_forecast_comes_back_as_it_was_made(filled: Store, invented: Any) -> None:
    east = timezone(timedelta(hours=3))
    made = replace(
        invented.forecast(invented.fellow), made_at=datetime(2026, 3, 2, 12, 0, tzinfo=east), status="refused_missing",
        risk=None, low=None, high=None, note="Two fields are missing.",
        inputs={"protection_plan": ("re_coat", "coat_first"), "surgery_time": None, "cct_um_missing": "not_done",
            "cct_um_source": "device 2", "cct_um_at": date(2026, 1, 5), "age_years": 71.0},
    )  # fmt: skip
    with filled.writing(by="A", act="forecast") as w:
        w.add_forecasts([replace(made, locked=True, forecast_id=99)])
    (back,) = filled.forecasts(key=invented.fellow)
    assert back == replace(made, made_at=datetime(2026, 3, 2, 9, 0, tzinfo=UTC), forecast_id=4)
    assert [one.risk for one in filled.forecasts(locked=True)] == [0.15]
    assert [one.risk for one in filled.forecasts(model="booking")] == [0.12, 0.15, 0.4, None]
    assert filled.forecasts(model="end_of_case") == []


def test_theatre_locks_the_last_booking_forecast_and_day_one_the_last_end_of_case_one(
    filled: Store, invented: Any
) -> None:
    key = invented.other
    with filled.writing(by="A", act="forecast") as w:
        w.add_forecasts([invented.forecast(key, risk=0.3), invented.forecast(key, "end_of_case", risk=0.6)])
    assert [one.locked for one in filled.forecasts(key=key)] == [False, False, False]
    with filled.writing(by="A", act="operate") as w:
        w.put_stage(key, invented.theatre())
    assert [(one.risk, one.locked) for one in filled.forecasts(key=key)] == [(0.4, False), (0.3, True), (0.6, False)]
    with filled.writing(by="A", act="forecast") as w:
        w.add_forecasts([invented.forecast(key, risk=0.9), invented.forecast(key, "end_of_case", risk=0.7)])
        w.put_stage(key, invented.theatre(us_time_s=80.0))
    with filled.writing(by="A", act="import") as w:
        w.put_many([(key, [invented.day_one()])])
    with filled.writing(by="A", act="grade") as w:
        w.add_forecasts([invented.forecast(key, "end_of_case", risk=0.99)])
        w.put_stage(key, invented.day_one(edema_grade_central=3))
    assert [(one.model, one.risk) for one in filled.forecasts(key=key, locked=True)] == [
        ("booking", 0.3), ("end_of_case", 0.7),
    ]  # fmt: skip
    assert ("locked", "no", "yes") in [(one.field, one.old, one.new) for one in filled.history(key=key)]
    assert all(check.ok for check in filled.verify())


def test_a_forecast_needs_a_known_case_and_model(filled: Store, invented: Any) -> None:
    with filled.writing(by="A", act="forecast") as w:
        with pytest.raises(Refusal, match="not booked"):
            w.add_forecasts([invented.forecast(CaseKey("T9", "R", date(2026, 1, 1)))])
        with pytest.raises(ValueError, match="not kept"):
            w.add_forecasts([invented.forecast(invented.key, model_id="booking-9")])
        with pytest.raises(ValueError, match="zone"):
            w.add_forecasts([invented.forecast(invented.key, made_at=datetime(2026, 1, 1))])


def test_who_has_seen_a_forecast_is_noted_once(filled: Store, invented: Any) -> None:
    for person in ("A", "B", "A"):
        with filled.writing(by=person, act="see") as w:
            w.seen_by(1)
    lines = [one for one in filled.history(key=invented.key) if one.field == "seen_by"]
    assert [one.by for one in lines] == ["A", "B"]


def test_notes_stand_in_the_history_of_their_subject(filled: Store, invented: Any) -> None:
    with filled.writing(by="A", act="keep", reason="No better one") as w:
        w.note("booking-1", "kept until summer")
        w.note(invented.other, "telephoned")
    (line,) = [one for one in filled.history(subject="booking-1") if one.act == "keep"]
    assert (line.new, line.reason, line.subject, line.field) == (
        "kept until summer",
        "No better one",
        "booking-1",
        None,
    )
    assert filled.history(key=invented.other)[-1].new == "telephoned"
    assert filled.history(key=invented.other)[-1].subject == "T0002 L 2026-03-10"
    assert [one.new for one in filled.history(newest=2)] == ["kept until summer", "telephoned"]
