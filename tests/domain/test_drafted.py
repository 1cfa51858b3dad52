"""A draft comes back from its JSON as it was, and an answer that no longer fits comes back as text."""

from __future__ import annotations

import json
from datetime import UTC, date, datetime, time

from clinic_app.domain.drafted import DraftAnswer, Drafted, drafted
from clinic_app.domain.plans import plan_body, plan_of
from clinic_app.domain.record import CaseEvent, CaseKey


def test_answers_of_every_kind_come_back() -> None:
    what = Drafted(
        {
            "patient_id": DraftAnswer("שלום 😀"),
            "birth_date": DraftAnswer(date(1951, 6, 2)),
            "surgery_time": DraftAnswer(time(9, 30)),
            "cct_um": DraftAnswer(548.0, typed="0.548 mm"),
            "nucleus_hardness": DraftAnswer(4),
            "hypertension": DraftAnswer(False),
            "diabetes": DraftAnswer("none", proposed=True),
            "protection_plan": DraftAnswer(("coat_first", "re_coat")),
            "ecd_per_mm2": DraftAnswer(missing="not_done"),
            "acd_mm": DraftAnswer(text="3100"),
        },
        put_by=True,
        version=3,
    )
    assert drafted(json.loads(json.dumps(what.body()))) == what


def test_what_is_no_answer_any_more_is_text_or_left_out() -> None:
    found = drafted(
        {"answers": {"cct_um": {"value": "thick"}, "birth_date": {"value": "soon"}, "gone_field": {"value": 1}}}
    )
    assert found.answers == {"cct_um": DraftAnswer(text="thick"), "birth_date": DraftAnswer(text="soon")}
    assert drafted({"answers": 3, "version": "x"}) == Drafted()


def test_a_new_proposal_needs_a_new_confirmation() -> None:
    key = CaseKey("P-1", "R", date(2026, 11, 3))
    at = datetime(2026, 11, 1, tzinfo=UTC)

    def event(by: str, act: str, *steps: str) -> CaseEvent:
        return CaseEvent(key, "plan", plan_body(act, steps), at, by)

    proposed = event("Osei", "proposed", "coat_first", "re_coat")
    assert plan_of([]).proposed_by == ""
    assert plan_of([proposed]).confirmed_by == ""
    assert plan_of([proposed, event("Mbeki", "confirmed", "re_coat", "coat_first")]).confirmed_by == "Mbeki"
    assert plan_of([proposed, event("Mbeki", "confirmed", "re_coat")]).confirmed_by == ""
    again = [proposed, event("Mbeki", "confirmed", "coat_first", "re_coat"), event("Lin", "proposed", "re_coat")]
    assert (plan_of(again).proposed_by, plan_of(again).confirmed_by) == ("Lin", "")
