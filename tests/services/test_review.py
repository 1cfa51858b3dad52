"""The review: which eyes count, on which basis, and what the figures are."""

from __future__ import annotations

import dataclasses
import json
import statistics
from datetime import date, datetime, timedelta
from itertools import pairwise
from pathlib import Path

import pytest

from clinic_app.domain.derived import complete
from clinic_app.domain.record import CaseKey, ModelEntry, Row
from clinic_app.domain.reviewed import NOT_BLIND, Benefit, Review
from clinic_app.errors import Refusal
from clinic_app.services.review import review
from clinic_app.services.review.afterwards import NO_MODEL_YET, worked_out
from clinic_app.services.review.cards import NO_RESAMPLES, why_not_corrected
from clinic_app.services.review.eyes import NO_VISIT_PLANNED, Eye, letters
from clinic_app.services.review.groups import by_quarter
from clinic_app.services.review.measures import histogram, missing_grades, tally
from clinic_app.session import open_session
from models.codebook import Stage
from models.dataset import quarter_of, quarter_words
from models.progress import silent
from models.training import train
from tests.simulated_practice import (
    NOW,
    Simulated,
    case_of,
    forecast,
    graded,
    session_on,
    simulated,
    usual_review,
)

KEYS = {
    "n", "events", "clusters", "c_statistic", "brier", "scaled_brier", "observed_expected", "calibration_in_the_large",
    "calibration_slope", "ici", "e50", "e90", "groups", "curve", "net_benefit", "period", "model_id", "basis",
    "missing_day_one", "by_quarter", "by_surgeon", "subgroups", "theatre", "causes",
}  # fmt: skip
DAY = date(2026, 3, 2)


def key(number: int, eye: str = "R", day: date = DAY) -> CaseKey:
    return CaseKey(f"P-{number}", eye, day)


def of(*cases: object, risk: float | None = 0.1) -> Simulated:
    """Cases, each with a locked forecast of `risk`."""
    made = Simulated(cases=list(cases))  # type: ignore[arg-type]
    made.forecasts = [forecast(case.key, risk, number) for number, case in enumerate(made.cases)]
    return made


def eye(number: int, risk: float, cloudy: bool | None, day: date = DAY) -> Eye:
    return Eye(key(number, day=day), {}, risk, "booking-1", None, cloudy, "" if cloudy is not None else "not seen")


def test_every_operated_eye_is_judged_missing_or_left_out_with_a_reason() -> None:
    made = simulated(300)
    found = review(session_on(made))
    assert found.n + found.missing_day_one.missing + sum(found.left_out.values()) == 300
    ungraded = {case.key for case in made.cases if case.row().get("visit_status") == "missed"}
    assert found.missing_day_one.missing == len(ungraded)
    expected = sum(one.risk or 0 for one in made.forecasts if one.key not in ungraded)
    assert found.expected == pytest.approx(expected, abs=1e-9)
    cloudy = sum(float(str(case.row().get("edema_grade_central", 0))) >= 2 for case in made.cases)
    assert found.events == cloudy


def test_json_has_the_promised_keys_and_plain_values() -> None:
    document = usual_review().as_dict()
    assert set(document) >= KEYS
    assert json.loads(json.dumps(document, allow_nan=False)) == document
    assert {"value", "low", "high"} <= set(document["c_statistic"])  # type: ignore[call-overload]
    assert {"n", "mean_risk", "observed", "low", "high"} == set(document["groups"][0])  # type: ignore[index]
    assert {"risk", "observed", "low", "high"} == set(document["curve"][0])  # type: ignore[index]
    assert {"threshold", "model", "all", "none"} == set(document["net_benefit"][0])  # type: ignore[index]


def test_perfect_forecasts_are_found_good_and_shifted_ones_are_not() -> None:
    right = review(session_on(simulated(1500, seed=11)))
    assert right.low <= right.events <= right.high
    wrong = review(session_on(simulated(1500, seed=11, shift=1.2)))
    assert wrong.events > wrong.high
    large = wrong.calibration_in_the_large
    assert large is not None
    assert large.low is not None
    assert large.low > 0.5


def test_a_graded_eye_that_was_not_blind_is_left_out_only_when_there_was_a_forecast() -> None:
    seen_number = graded(key(1), 2, blinded_to_prediction=False)
    found = review(session_on(of(seen_number, graded(key(2), 0))))
    assert found.n == 1
    assert found.left_out == {NOT_BLIND: 1}
    without = Simulated(cases=[seen_number, graded(key(2), 0)], forecasts=[])
    assert NOT_BLIND not in review(session_on(without)).left_out


@pytest.mark.parametrize(
    ("answers", "words"),
    [
        ({"prior_keratoplasty": "DMEK"}, "a graft in this eye"),
        ({"planned_combined": "stent_filter"}, "combined surgery planned"),
        ({"guttae_grade": 6}, "guttae over 5 mm with a swollen cornea"),
        ({"birth_date": date(2010, 1, 1)}, "a patient under 18"),
        ({"consent_audit_model": "no"}, "no consent to audit and model"),
    ],
)
def test_eyes_set_aside_before_surgery_are_counted_by_rule(answers: dict[str, object], words: str) -> None:
    aside = case_of(key(1), booking=answers, theatre={"surgeon_id": "S-1"}, day_one={"edema_grade_central": 0})
    found = review(session_on(of(aside, graded(key(2), 0))))
    assert found.n == 1
    assert found.left_out == {f"set aside: {words}": 1}


def test_second_operation_on_an_eye_is_set_aside_and_a_fellow_eye_is_not() -> None:
    again = graded(key(1, day=DAY + timedelta(days=40)), 3)
    fellow = graded(key(1, "L", DAY + timedelta(days=9)), 0)
    found = review(session_on(of(graded(key(1), 0), again, fellow)))
    assert found.n == 2
    assert found.left_out == {"set aside: a second operation on the same eye": 1}
    assert {row.group: row.n for row in found.subgroups if row.field == "second_eye"} == {
        "first eye": 1,
        "second eye": 1,
    }


def test_missing_grades_carry_their_reason_and_their_best_and_worst_case() -> None:
    late = graded(key(3), 2, exam_at=datetime(2026, 3, 5, 9))
    missed = case_of(key(4), booking={}, theatre={"surgeon_id": "S-1"}, day_one={"visit_status": "missed"})
    no_visit = case_of(key(5), booking={}, theatre={"surgeon_id": "S-1"}, day_one={"visit_status": "not_planned"})
    found = review(session_on(of(graded(key(1), 2), graded(key(2), 0), late, missed, no_visit)))
    missing = found.missing_day_one
    assert (missing.eyes, missing.missing) == (4, 2)
    assert missing.reasons == {"graded outside the window": 1, "not seen on day one": 1}
    assert (missing.best.observed, missing.worst.observed) == (1, 3)
    assert missing.best.expected == pytest.approx(0.4, abs=1e-12)
    assert (missing.graded.observed, missing.graded.expected) == (1, pytest.approx(0.2, abs=1e-12))
    assert missing.graded.observed_expected == pytest.approx(5.0, abs=1e-9)
    assert found.left_out == {NO_VISIT_PLANNED: 1}
    assert found.events == 1


def test_an_eye_whose_day_one_is_still_to_come_is_not_missing() -> None:
    today = key(9, day=NOW.date())
    operated = case_of(today, booking={}, theatre={"surgeon_id": "S-1"})
    found = review(session_on(of(graded(key(1), 0), operated)))
    assert found.missing_day_one.missing == 0
    assert found.left_out == {"day one not yet past": 1}


def test_bases_are_never_mixed_and_one_locked_forecast_decides() -> None:
    made = simulated(400, days=700, start=date(2024, 10, 1))
    made.forecasts = made.forecasts[-60:]
    found = review(session_on(made))
    assert found.basis == "beforehand"
    assert found.left_out["no forecast was locked beforehand"] == 340
    assert found.n + found.missing_day_one.missing == 60
    assert review(session_on(made), basis="afterwards").basis == "afterwards"


@pytest.fixture(scope="module")
def history() -> Simulated:
    return simulated(640, days=700, start=date(2024, 10, 1), locked=False, level=-4.6)


def test_without_locked_forecasts_each_quarter_is_judged_by_the_eyes_before_it(history: Simulated) -> None:
    found = review(session_on(history))
    assert found.basis == "afterwards"
    assert found.model_id is None
    assert "earlier quarters only" in found.basis_words
    assert found.left_out[NO_MODEL_YET] > 0
    first = found.period["from"]
    assert first is not None
    assert first >= "2025-01-01"
    assert found.c_statistic is not None
    assert found.c_statistic.value is not None
    assert found.c_statistic.value > 0.6
    assert [one.name for one in found.beside_own_records] == ["Model", "Own records only"]
    assert {one.n for one in found.beside_own_records} == {found.n}


def test_neither_later_eyes_nor_a_patients_own_earlier_eye_reach_a_quarters_forecast(history: Simulated) -> None:
    start = date(2026, 4, 1)
    rows = {case.key: complete(case.row()) for case in history.cases}
    judged = [one for one in rows if start <= one.surgery_date < date(2026, 7, 1)]
    numbers, refused = worked_out(rows, judged, "booking", silent)
    assert len(numbers) + sum(refused.values()) == len(judged)
    assert len(numbers) > 50

    turned = {one: row if one.surgery_date < start else {**row, **_turned(row)} for one, row in rows.items()}
    assert worked_out(turned, judged, "booking", silent)[0] == numbers

    one = next(one for one in judged if "edema_grade_central" in rows[one])
    own = CaseKey(one.patient_id, "L" if one.eye == "R" else "R", date(2025, 2, 3))
    changed = {"eye": own.eye, "surgery_date": own.surgery_date, "hours_since_surgery": 24.0}
    with_own = {**rows, own: {**rows[one], **changed}}
    assert worked_out(with_own, judged, "booking", silent)[0] == numbers
    stranger = CaseKey("P-other", own.eye, own.surgery_date)
    with_other = {**rows, stranger: {**with_own[own], "patient_id": stranger.patient_id}}
    assert worked_out(with_other, judged, "booking", silent)[0] != numbers


def test_surgeons_have_letters_in_the_order_the_practice_met_them_and_names_on_request() -> None:
    found = review(session_on(simulated(400)))
    assert {row.group.split(" ")[0] for row in found.by_surgeon} == {"A", "B", "C"}
    assert "S-" not in json.dumps(found.as_dict())
    assert any(row.group.endswith("(trainee)") for row in found.by_surgeon)
    named = review(session_on(simulated(400)), names=True)
    assert {row.group.split(" ")[0] for row in named.by_surgeon} == {"S-1", "S-2", "S-3"}
    assert [row.expected for row in found.by_surgeon] == sorted(row.expected for row in found.by_surgeon)
    assert letters(["x", None, "y", "x"]) == {"x": "A", "y": "B"}
    many = letters([f"s{k}" for k in range(30)])
    assert many["s25"] == "Z"
    assert many["s26"] == "AA"
    assert len(set(many.values())) == 30


def test_end_of_case_forecasts_never_compare_surgeons() -> None:
    made = simulated(300)
    made.forecasts = [dataclasses.replace(one, model="end_of_case", model_id="end_of_case-1") for one in made.forecasts]
    found = review(session_on(made), model="end_of_case")
    assert found.n > 0
    assert found.by_surgeon == ()
    assert "adjust technique away" in found.by_surgeon_note


def test_exact_limits_of_a_group_are_those_of_the_poisson_binomial() -> None:
    # 20 chances each of .05, .10, .15: 95 % limits 2 to 11, 99.8 % limits 0 to 14 (worked out with scipy's convolution)
    eyes = [eye(number, (0.05, 0.10, 0.15)[number % 3], number < 12) for number in range(60)]
    (row,) = by_quarter(eyes)
    assert (row.group, row.n, row.observed) == ("2026 Q1", 60, 12)
    assert row.expected == pytest.approx(6.0, abs=1e-12)
    assert (row.low, row.high, row.low_998, row.high_998) == (2, 11, 0, 14)
    assert row.verdict == "inside"
    # 12 / 6; exact Poisson limits of 12 are 6.201 and 20.962 (Garwood 1936)
    assert row.ratio.value == pytest.approx(2.0, abs=1e-9)
    assert (row.ratio.low, row.ratio.high) == (pytest.approx(6.201 / 6, abs=2e-4), pytest.approx(20.962 / 6, abs=2e-4))
    # (12 + 11.1) / (6 + 11.1) with its gamma limits
    assert row.shrunken.value == pytest.approx(1.351, abs=5e-4)
    assert (row.shrunken.low, row.shrunken.high) == (pytest.approx(0.86, abs=5e-3), pytest.approx(1.95, abs=5e-3))
    (above,) = by_quarter([eye(number, (0.05, 0.10, 0.15)[number % 3], number < 15) for number in range(60)])
    assert above.verdict == "above"
    (few,) = by_quarter([eye(number, 0.08, number < 9) for number in range(60)])
    assert few.verdict == "too_few"


def test_tally_sums_seen_less_forecast_by_day() -> None:
    eyes = [eye(1, 0.2, True), eye(2, 0.1, False), eye(3, 0.3, False, DAY + timedelta(days=1))]
    first, second = tally(eyes)
    assert (first.day, first.eyes, second.eyes) == (DAY, 2, 3)
    assert first.difference == pytest.approx(0.7, abs=1e-12)
    assert second.difference == pytest.approx(0.4, abs=1e-12)
    assert second.expected == pytest.approx(0.6, abs=1e-12)
    spread = (0.2 * 0.8 + 0.1 * 0.9 + 0.3 * 0.7) ** 0.5
    assert second.high == pytest.approx(1.959964 * spread, abs=1e-6)
    assert second.low == -second.high
    assert second.high_998 == pytest.approx(3.090232 * spread, abs=1e-6)
    assert tally([]) == ()


def test_strip_and_missing_bands_hold_every_eye_once() -> None:
    eyes = [eye(number, risk, False) for number, risk in enumerate((0.0, 0.049, 0.05, 0.29, 0.999, 1.0))]
    bars = histogram(eyes)
    assert sum(bar.n for bar in bars) == 6
    assert all(one.high <= two.low for one, two in pairwise(bars))
    found = missing_grades(eyes[:3], [eye(8, 1.0, None)])
    assert [band.eyes for band in found.by_forecast] == [2, 1, 0, 1]
    assert [band.missing for band in found.by_forecast] == [0, 0, 0, 1]


def test_quarters_begin_where_they_should() -> None:
    days = (date(2026, 1, 1), date(2026, 3, 31), date(2026, 4, 1), date(2026, 12, 31))
    assert [quarter_words(quarter_of(day)) for day in days] == ["2026 Q1", "2026 Q1", "2026 Q2", "2026 Q4"]


def test_planning_line_counts_flagged_eyes_in_100() -> None:
    cases = [graded(key(number), 2 if number < 3 else 0) for number in range(20)]
    made = Simulated(cases)
    made.forecasts = [forecast(case.key, 0.2 if number % 2 == 0 else 0.1, number) for number, case in enumerate(cases)]
    plan = review(session_on(made, planning_line=20.0, planning_line_set="A. Person")).planning
    assert plan is not None
    assert plan.flagged_cloudy == pytest.approx(10.0)  # eyes 0 and 2
    assert plan.flagged_in_vain == pytest.approx(40.0)
    assert plan.cloudy_not_flagged == pytest.approx(5.0)
    # 2/20 - 8/20 * 0.2/0.8; for every eye 3/20 - 17/20 * 0.2/0.8
    assert plan.gain == Benefit(pytest.approx(0.2), pytest.approx(0.0), pytest.approx(-0.0625), 0.0)  # type: ignore[arg-type]
    assert review(session_on(made)).planning is None


def test_theatre_medians_stay_within_one_machine_and_ten_eyes() -> None:
    made = simulated(300)
    found = review(session_on(made)).theatre
    graded_rows = [case.row() for case in made.cases if "edema_grade_central" in case.row()]
    quarter = found.readings[0].quarters[0].quarter
    fluid = [
        float(str(row["irrigation_volume_ml"]))
        for row in graded_rows
        if quarter_words(quarter_of(row["surgery_date"])) == quarter  # type: ignore[arg-type]
    ]
    first = found.readings[0].quarters[0]
    assert first.n == len(fluid)
    assert first.median == pytest.approx(statistics.median(fluid))
    energy = [one for one in found.readings if one.field == "effective_phaco_time_s"]
    assert [one.group for one in energy] == ["A, torsional", "B, torsional"]
    few = review(session_on(simulated(20))).theatre
    assert all(one.median is None for reading in few.readings for one in reading.quarters)
    assert {one.label for one in found.beside} >= {"Capsule rupture", "Pressure above 30 mmHg on day one"}


def test_facts_on_record_are_counted_among_cloudy_and_clear_eyes() -> None:
    found = usual_review()
    (guttae,) = [one for one in found.causes.facts if one.fact == "Guttae 3 or more"]
    assert guttae.cloudy_answered == found.events
    assert guttae.clear_answered == found.n - found.events
    assert 0 <= guttae.cloudy <= guttae.cloudy_answered
    none = review(session_on(of(graded(key(1), 2), graded(key(2), 0)))).causes
    assert not none.available
    assert none.facts == ()


def test_one_kind_of_outcome_is_reported_without_figures_that_need_two() -> None:
    found = review(session_on(of(*(graded(key(number), 0) for number in range(60)))))
    assert found.events == 0
    assert found.n == 60
    assert found.c_statistic is None
    assert found.calibration_slope is None
    assert "clear" in found.reasons["c_statistic"]
    assert found.observed_expected is not None
    assert found.observed_expected.value == 0.0
    assert found.too_few_to_draw


def test_no_graded_eye_is_still_a_review_of_what_is_missing() -> None:
    missed = case_of(key(4), booking={}, theatre={"surgeon_id": "S-1"}, day_one={"visit_status": "missed"})
    found = review(session_on(of(missed)))
    assert (found.n, found.events, found.missing_day_one.missing) == (0, 0, 1)
    assert found.brier is None
    assert found.groups == ()
    json.dumps(found.as_dict(), allow_nan=False)


def test_subgroups_are_those_a_statistician_expects_and_are_counted() -> None:
    shown = {"sex": "female", "risk_shown_before_surgery": True, "guttae_grade": 0}
    cases = []
    for number in range(12):
        case = graded(key(number), 2 if number < 3 else 0, examiner_id="E-1", examiner_is_surgeon=number % 2 == 0)
        booking = {**shown, "sex": ("female", "male", "unknown")[number % 3], "birth_date": date(1950, 1, 1)}
        answers = {
            "theatre": {"surgeon_id": "S-1", "phaco_machine_id": "M-1"},
            "day_one": dict(case.stages[Stage.DAY_ONE].record.values),
        }
        cases.append(case_of(case.key, booking=booking, **answers))
    found = review(session_on(of(*cases)))
    counts = {(row.field, row.group): row.n for row in found.subgroups}
    assert counts["sex", "female"] == counts["sex", "male"] == 4
    assert ("sex", "unknown") not in counts
    assert counts["risk_shown_before_surgery", "yes"] == 12
    assert counts["examiner_is_surgeon", "yes"] == counts["examiner_is_surgeon", "no"] == 6
    assert {field for field, _ in counts} >= {
        "examiner_id", "phaco_machine_id", "sex", "age_years", "second_eye", "guttae_grade", "ecd_per_mm2",
    }  # fmt: skip
    assert found.groups_looked_at == len(found.subgroups) + 1  # one surgeon
    assert found.as_dict()["groups_looked_at"] == found.groups_looked_at
    assert found.groups_outside_by_chance == 0.0  # none has 5 cloudy eyes forecast
    judged = [row for row in usual_review().subgroups if row.expected >= 5]
    assert usual_review().groups_outside_by_chance == pytest.approx(0.05 * len(judged), abs=1e-9)


def test_why_there_are_no_corrected_figures() -> None:
    assert why_not_corrected(0, 0) == NO_RESAMPLES
    assert why_not_corrected(0, 1) == "None of 1 resample of the patients had a best fit."
    assert "No resample" in why_not_corrected(20, 0)


def test_borders_of_too_few() -> None:
    whole = usual_review()
    at = dataclasses.replace(whole, n=50, events=5)
    assert not at.too_few_to_draw
    assert dataclasses.replace(whole, n=49, events=5).too_few_to_draw
    assert dataclasses.replace(whole, n=50, events=4).too_few_to_draw
    assert not dataclasses.replace(whole, events=30).too_few_to_judge
    assert dataclasses.replace(whole, events=29).too_few_to_judge


def test_period_keeps_both_ends() -> None:
    cases = [graded(key(number, day=DAY + timedelta(days=number)), 0) for number in range(5)]
    found = review(session_on(of(*cases)), from_=DAY + timedelta(days=1), to=DAY + timedelta(days=3))
    assert found.n == 3
    assert found.period == {"from": "2026-03-03", "to": "2026-03-05"}


@pytest.mark.parametrize(
    "wrong",
    [
        {"model": "other"},
        {"basis": "mixed"},
        {"from_": DAY, "to": DAY - timedelta(days=1)},
        {"from_": date(2030, 1, 1)},
    ],
)
def test_refuses_what_makes_no_review(wrong: dict[str, object]) -> None:
    with pytest.raises(Refusal) as refusal:
        review(session_on(simulated(60)), **wrong)  # type: ignore[arg-type]
    assert refusal.value.what
    assert refusal.value.why
    assert refusal.value.next


def test_progress_is_told_and_can_stop_the_review() -> None:
    class Stopped(Exception):
        pass

    told: list[float] = []

    def stop(fraction: float, sentence: str) -> None:
        told.append(fraction)
        if fraction > 0.5:
            raise Stopped

    with pytest.raises(Stopped):
        review(session_on(simulated(60)), report=stop)
    assert told == sorted(told)


def test_a_practice_on_disk_is_reviewed_by_its_locked_forecasts(tmp_path: Path) -> None:
    made = simulated(330, days=680, start=date(2024, 11, 1), locked=False, level=-4.4)
    border = date(2026, 1, 1)
    with open_session(tmp_path, person="Tester", clock=lambda: NOW) as session:
        rows = [case.row() for case in made.cases]
        card = train([row for row in rows if row["surgery_date"] < border], model="booking", resamples=2).card  # type: ignore[operator]
        later = [case for case in made.cases if case.key.surgery_date >= border]
        with session.store.writing(by="Tester", act="import") as write:
            entry = write.add_model("booking", card.to_text())
            write.put_many([(case.key, [case.stages[Stage.BOOKING].record]) for case in made.cases])
            forecasts = card.forecast([case.row() for case in later])
            write.add_forecasts(
                dataclasses.replace(forecast(case.key, one.risk, status=one.status), inputs=one.inputs, locked=False)
                for case, one in zip(later, forecasts, strict=True)
            )
        with session.store.writing(by="Tester", act="import") as write:
            write.put_many(
                [
                    (case.key, [case.stages[stage].record for stage in (Stage.THEATRE, Stage.DAY_ONE)])
                    for case in made.cases
                ]
            )
        found = review(session)
    assert found.basis == "beforehand"
    assert found.model_id == entry.model_id == "booking-1"
    assert found.n + found.missing_day_one.missing + sum(found.left_out.values()) == 330
    assert found.n > 80
    assert found.expected == pytest.approx(_expected(found), abs=1e-9)
    assert [one.name for one in found.beside_own_records] == ["Model", "Own records only"]
    (page,) = found.model_pages
    assert page.model_id == "booking-1"
    assert any("Booking model" in line for line in page.lines)
    assert [one.name for one in page.performances][:2] == [
        "Model, on the eyes it was made from",
        "Model, corrected for having seen them",
    ]


def test_a_card_that_cannot_be_used_leaves_the_locked_forecasts_standing() -> None:
    entry = ModelEntry("booking-1", "booking", 1, "past", "{}", NOW, "Tester")
    found = review(session_on(simulated(60), entries=[entry]))
    assert found.n > 0
    assert found.model_id == "booking-1"
    assert "card" in found.model_pages[0].lines[0]
    assert found.beside_own_records == ()


def _turned(row: Row) -> dict[str, object]:
    return {"edema_grade_central": 4 - int(str(row.get("edema_grade_central", 0)))}


def _expected(found: Review) -> float:
    return sum(row.expected for row in found.by_quarter)
