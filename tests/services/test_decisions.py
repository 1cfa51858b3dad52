"""Fit, compare, adopt, keep, shift, set back: what a practice decides about its models."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from datetime import UTC, date, datetime
from pathlib import Path

import pytest

from clinic_app.domain.record import CaseKey, StageRecord
from clinic_app.errors import Refusal
from clinic_app.services import decisions
from clinic_app.services.care import verify
from clinic_app.services.comparison import compare
from clinic_app.services.forecasts import forecast_practice
from clinic_app.services.training import train_candidate
from clinic_app.session import Session, open_session
from clinic_app.settings import Settings
from models.card import read_card
from models.card_form import content_hash
from models.card_form import write as card_text
from models.codebook import BY_NAME, KEY, Stage
from models.errors import ModelError
from models.outcome import look
from models.update import closed_test
from tests.models.invented_practice import practice

NOW = datetime(2026, 10, 1, 8, tzinfo=UTC)


def fill(session: Session, rows: Sequence[dict[str, object]], *, until: Stage = Stage.DAY_ONE) -> None:
    """Put rows into the practice as an import would."""
    order = [Stage.BOOKING, Stage.THEATRE, Stage.DAY_ONE]
    taken = order[: order.index(until) + 1]
    records = []
    for row in rows:
        stages = []
        for stage in taken:
            values = {
                name: value
                for name, value in row.items()
                if name in BY_NAME and name not in KEY and value is not None and BY_NAME[name].stage is stage
            }
            if values:
                stages.append(StageRecord(stage, values))
        records.append((CaseKey(row["patient_id"], row["eye"], row["surgery_date"]), stages))
    with session.store.writing(by="test", act="import") as write:
        write.put_many(records)


@pytest.fixture
def session(tmp_path: Path) -> Iterator[Session]:
    with open_session(tmp_path, person="Dr Test", clock=lambda: NOW) as opened:
        fill(opened, practice(1250))
        yield opened


def adopted(session: Session, until: date | None = None) -> str:
    model_id = str(train_candidate(session, model="booking", until=until, resamples=0)["model_id"])
    decisions.adopt(session, model_id, reason="read and agreed")
    return model_id


def test_a_candidate_changes_nothing_until_a_named_person_adopts_it(session: Session) -> None:
    document = train_candidate(session, model="booking", resamples=5)
    keys = "model_id model state n events patients excluded penalty terms apparent corrected adequacy prior"
    assert {*keys.split(), "own_records_only", "seconds"} <= set(document)
    assert document["state"] == "candidate"
    assert session.store.in_use("booking") is None
    with pytest.raises(Refusal):
        decisions.adopt(session, "booking-1", reason=" ")
    with pytest.raises(Refusal):
        decisions.adopt(session.acting(" "), "booking-1", reason="why not")
    assert session.store.in_use("booking") is None
    assert decisions.adopt(session, "booking-1", reason="first model")["state"] == "in use"
    (entry,) = session.store.models()
    assert (entry.state, entry.decided_by, entry.reason) == ("in_use", "Dr Test", "first model")
    with pytest.raises(Refusal, match="not a candidate"):
        decisions.adopt(session, "booking-1", reason="again")


def test_the_document_holds_no_number_that_json_cannot_hold(session: Session) -> None:
    json.dumps(train_candidate(session, model="booking", resamples=2), allow_nan=False)


def test_the_first_model_counts_every_eye_alike_and_later_ones_halve(session: Session) -> None:
    adopted(session)
    train_candidate(session, model="booking", resamples=0)
    rules = [read_card(entry.card_text).written["weights"]["rule"] for entry in session.store.models()]
    assert rules == ["none", "halving"]


def test_until_leaves_later_surgeries_out(session: Session) -> None:
    early = train_candidate(session, model="booking", until=date(2024, 6, 30), resamples=0)
    whole = train_candidate(session, model="booking", resamples=0)
    assert early["n"] < whole["n"]
    assert session.card(str(early["model_id"])).training["last"] <= "2024-06-30"


def test_too_few_eyes_refuse_with_the_counts(tmp_path: Path) -> None:
    with open_session(tmp_path, person="Dr Test", clock=lambda: NOW) as opened:
        fill(opened, practice(60))
        with pytest.raises(ModelError) as refused:
            train_candidate(opened, model="booking", resamples=0)
        assert "graded eyes" in refused.value.why
        assert opened.store.models() == []


def test_set_back_puts_the_model_before_in_use_and_skips_those_that_never_were(session: Session) -> None:
    first = adopted(session, until=date(2024, 6, 30))
    second = adopted(session)
    never = str(train_candidate(session, model="booking", resamples=0)["model_id"])
    kept = decisions.keep(session, "booking", reason="not clearly better")
    assert kept["model_id"] == second
    assert kept["past"] == [never]
    assert decisions.set_back(session, "booking", reason="worse in use")["model_id"] == first
    assert session.store.in_use("booking").model_id == first  # type: ignore[union-attr]


def test_nothing_to_set_back_to(session: Session) -> None:
    adopted(session)
    with pytest.raises(Refusal, match="No other model"):
        decisions.set_back(session, "booking", reason="r")


def test_shift_moves_the_average_towards_what_was_seen_and_nothing_else(session: Session) -> None:
    first = adopted(session, until=date(2023, 9, 30))
    before = session.card(first)
    document = decisions.shift(session, "booking", reason="runs low")
    after = session.card(document["model_id"])
    moved = document["moved"]
    assert 0 < abs(moved) < abs(document["estimate"])
    assert after.formula.intercept == pytest.approx(before.formula.intercept + moved, abs=1e-12)
    assert (after.formula.coefficients == before.formula.coefficients).all()
    assert session.store.in_use("booking").model_id == document["model_id"]  # type: ignore[union-attr]
    assert decisions.set_back(session, "booking", reason="r")["model_id"] == first


def test_shift_without_enough_new_cloudy_eyes_is_refused_with_the_count(session: Session) -> None:
    adopted(session)
    with pytest.raises(ModelError, match="50 are needed"):
        decisions.shift(session, "booking", reason="r")


def test_compare_judges_on_eyes_neither_has_seen(session: Session) -> None:
    adopted(session, until=date(2023, 12, 31))
    candidate = str(train_candidate(session, model="booking", resamples=0)["model_id"])
    document = compare(session, candidate)
    assert document["verdict"] in {"keep", "adopt_may_be_considered"}
    assert document["quarters"] == 4
    new = [
        row
        for row in session.store.rows(from_=date(2024, 1, 1))
        if row.get("edema_grade_central") is not None and row.get("hours_since_surgery") is not None
    ]
    assert 0 < document["n"] <= len(new)
    assert document["sentences"][-1] == "The decision is a named person's, not the program's."
    json.dumps(document, allow_nan=False)


def test_compare_the_first_candidate_with_our_average(session: Session) -> None:
    candidate = str(train_candidate(session, model="booking", resamples=0)["model_id"])
    document = compare(session, candidate)
    assert document["in_use"] is None
    assert "our average" in document["sentences"][0]


def test_compare_says_stop_when_nothing_is_new(session: Session) -> None:
    adopted(session)
    candidate = str(train_candidate(session, model="booking", resamples=0)["model_id"])
    document = compare(session, candidate)
    assert document["verdict"] == "stop"
    assert document["reasons"]


def test_forecasts_keep_their_model_and_follow_again_from_their_card(session: Session) -> None:
    first = adopted(session, until=date(2024, 6, 30))
    later = [row | {"surgery_date": date(2026, 11, 2)} for row in practice(30, seed=9)]
    later = [row | {"patient_id": f"N{place:03d}"} for place, row in enumerate(later)]
    fill(session, later, until=Stage.BOOKING)
    document = forecast_practice(session, model="booking")
    assert document["model_id"] == first
    assert len(document["rows"]) == 30
    adopted(session)
    forecast_practice(session, model="booking")
    models = {one.model_id for one in session.store.forecasts(model="booking")}
    assert models == {"booking-1", "booking-2"}
    found = verify(session)
    assert found["ok"], found
    fill(session, later, until=Stage.THEATRE)
    locked = session.store.forecasts(model="booking", locked=True)
    assert {one.model_id for one in locked} == {"booking-2"}
    assert len(locked) == 30


def test_the_definition_of_cloudy_is_fixed_by_the_first_model(session: Session) -> None:
    adopted(session)
    assert session.outcome_cut == 2
    other = session.with_settings(Settings(outcome_cut=1))
    assert other.outcome_cut == 2
    with pytest.raises(Refusal, match="fixed by the first model"):
        train_candidate(other, model="booking", resamples=0)


def test_a_second_shift_needs_new_eyes(session: Session) -> None:
    adopted(session, until=date(2023, 9, 30))
    decisions.shift(session, "booking", reason="runs low")
    with pytest.raises(ModelError, match="50 are needed"):
        decisions.shift(session, "booking", reason="again")


def test_setting_back_twice_goes_down_the_chain_and_never_up_again(session: Session) -> None:
    first = adopted(session, until=date(2024, 6, 30))
    second = adopted(session)
    third = adopted(session)
    assert decisions.set_back(session, "booking", reason="r")["model_id"] == second
    assert decisions.set_back(session, "booking", reason="r")["model_id"] == first
    assert third not in {first, second}
    with pytest.raises(Refusal, match="No other model"):
        decisions.set_back(session, "booking", reason="r")


def test_a_graded_eye_is_never_forecast_and_nothing_made_later_is_locked(session: Session) -> None:
    adopted(session)
    (row,) = practice(1, seed=3)
    row = row | {"patient_id": "LATE", "surgery_date": date(2026, 9, 1)}
    key = CaseKey("LATE", row["eye"], date(2026, 9, 1))  # type: ignore[arg-type]
    fill(session, [{name: value for name, value in row.items() if BY_NAME[name].stage is not Stage.THEATRE}])
    assert key not in {one.key for one in session.store.forecasts()}
    forecast_practice(session, model="booking")
    assert session.store.forecasts(key=key) == []
    fill(session, [row], until=Stage.THEATRE)
    assert session.store.forecasts(key=key) == []


def test_compare_words_what_changed(session: Session) -> None:
    adopted(session, until=date(2023, 9, 30))
    candidate = str(train_candidate(session, model="booking", resamples=0)["model_id"])
    document = compare(session, candidate)
    changed = document["changed"]
    used = session.card("booking-1")
    new = [row for row in session.rows() if row["surgery_date"] >= date(2024, 1, 1)]
    judged = [(row, f.risk) for row, f in zip(new, used.forecast(new), strict=True) if f.risk is not None]
    judged = [(row, risk) for row, risk in judged if look(row).cloudy is not None]
    assert (changed["n"], changed["quarters"]) == (len(judged), 4)
    assert changed["events"] == sum(bool(look(row).cloudy) for row, _ in judged)
    columns = [used.forecaster.working.work(used.forecaster.working.columns(row)).away for row, _ in judged]
    test = closed_test(columns, [float(bool(look(row).cloudy)) for row, _ in judged], [risk for _, risk in judged])
    assert (changed["choice"], changed["words"]) == (test.choice, test.words)
    assert changed["log_likelihoods"] == pytest.approx(test.log_likelihoods, abs=1e-9)
    assert any(test.words in sentence for sentence in document["sentences"])
    json.dumps(document, allow_nan=False)


def test_compare_says_when_too_little_is_new_to_word_a_change(session: Session) -> None:
    adopted(session, until=date(2024, 6, 30))
    candidate = str(train_candidate(session, model="booking", resamples=0)["model_id"])
    document = compare(session, candidate)
    assert document["changed"]["choice"] is None
    assert "eyes in 2 quarters" in document["changed"]["words"]
    assert document["changed"]["words"] in document["sentences"]


def test_compare_lists_eyes_across_the_planning_line(session: Session) -> None:
    adopted(session, until=date(2023, 9, 30))
    candidate = str(train_candidate(session, model="booking", resamples=0)["model_id"])
    assert compare(session, candidate)["crossing"] == []
    lined = session.with_settings(Settings(planning_line=10.0))
    document = compare(lined, candidate)
    assert document["crossing"]
    for one in document["crossing"]:
        assert (one["in_use"] >= 0.1) != (one["candidate"] >= 0.1)
        assert one["surgery_date"] >= "2024-10-01"
        assert any(one["patient_id"] in sentence for sentence in document["sentences"])


@pytest.mark.parametrize(("factor", "told"), [(1.0, False), (0.01, True)])
def test_a_moved_coefficient_is_measured_by_its_posterior_error(session: Session, factor: float, told: bool) -> None:
    first = adopted(session, until=date(2023, 12, 31))
    written = json.loads(session.card(first).to_text())
    for term in written["formula"]["terms"]:
        term["posterior_se"] *= factor
    written["hash"] = content_hash(written)
    with session.store.writing(by="Dr Test", act="train") as write:
        entry = write.add_model("booking", card_text(written))
        write.decide(entry.model_id, "in_use", reason="for the test")
    candidate = str(train_candidate(session, model="booking", resamples=0)["model_id"])
    reasons = compare(session, candidate)["reasons"]
    assert any("standard errors without an explanation" in reason for reason in reasons) is told
