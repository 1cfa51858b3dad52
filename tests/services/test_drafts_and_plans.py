"""Drafts outlive a crash and a pause; a plan is proposed by whoever books and confirmed by a surgeon."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from pathlib import Path

import pytest

from clinic_app.domain.drafted import DraftAnswer, Drafted
from clinic_app.domain.people import Duty
from clinic_app.domain.plans import PlanState
from clinic_app.domain.record import CaseKey
from clinic_app.errors import Refusal
from clinic_app.services import bookings, drafts, plans
from clinic_app.session import Session, open_session
from tests.services.test_bookings import NOW, record
from tests.services.test_moving import register

KEY = CaseKey("D-1", "R", date(2026, 11, 3))
WHAT = Drafted({"patient_id": DraftAnswer("D-1"), "cct_um": DraftAnswer(text="54")}, put_by=True)


@pytest.fixture
def session(tmp_path: Path) -> Iterator[Session]:
    with open_session(tmp_path, person="Osei", clock=lambda: NOW) as opened:
        yield opened


def test_a_draft_is_kept_over_itself_and_read_again(session: Session, tmp_path: Path) -> None:
    first = drafts.keep_draft(session, Drafted(), key=None, number=None)
    second = drafts.keep_draft(session, WHAT, key=None, number=first.number)
    assert second.number == first.number
    (found,) = drafts.booking_drafts(session)
    assert (found.person, found.key, found.drafted) == ("Osei", None, WHAT)
    assert found.at == NOW
    before = session.store.head()
    drafts.drop_draft(session, found.number)
    assert drafts.booking_drafts(session) == []
    assert session.store.head() == before


def test_drafts_of_other_pages_are_not_ours(session: Session) -> None:
    kept = drafts.keep_draft(session, WHAT, key=KEY, number=None)
    other = session.store.drafts()[0]
    session.store.keep_draft(type(other)("Osei", "theatre", KEY, {}, NOW))
    assert [one.number for one in drafts.booking_drafts(session)] == [kept.number]


def test_whoever_may_not_book_sees_and_keeps_no_draft(session: Session) -> None:
    drafts.keep_draft(session, WHAT, key=KEY, number=None)
    register(session, "Grader", Duty.DAY_ONE)
    grader = session.acting("Grader")
    assert drafts.booking_drafts(grader) == []
    with pytest.raises(Refusal, match="needs the duty"):
        drafts.keep_draft(grader, WHAT, key=None, number=None)


def test_booking_steps_proposes_them_and_a_surgeon_confirms(session: Session) -> None:
    register(session, "Osei", Duty.BOOKING)
    register(session, "Halvorsen", Duty.SURGEON)
    first = bookings.book(session, record(protection_plan=("coat_first",)), KEY)
    state = plans.plan_state(session, KEY)
    assert (state.proposed_by, state.proposed_at, state.confirmed_by) == ("Osei", NOW, "")
    with pytest.raises(Refusal, match="Surgeon"):
        plans.confirm_plan(session, KEY)
    state = plans.confirm_plan(session.acting("Halvorsen"), KEY)
    assert (state.proposed_by, state.confirmed_by) == ("Osei", "Halvorsen")
    # an answer that is no step leaves the confirmation; another step asks for a new one
    second = bookings.book(
        session,
        record(protection_plan=("coat_first",), nucleus_hardness=4),
        KEY,
        expect_version=first.version,
        reason="x",
    )
    assert plans.plan_state(session, KEY).confirmed_by == "Halvorsen"
    bookings.book(
        session, record(protection_plan=("coat_first", "re_coat")), KEY, expect_version=second.version, reason="y"
    )
    assert plans.plan_state(session, KEY).confirmed_by == ""


def test_an_eye_without_steps_has_no_plan_to_confirm(session: Session) -> None:
    bookings.book(session, record(), KEY)
    assert plans.plan_state(session, KEY).proposed_by == ""
    with pytest.raises(Refusal, match="No steps are proposed"):
        plans.confirm_plan(session, KEY)


def test_a_plan_is_sealed_for_whoever_only_grades(session: Session) -> None:
    register(session, "Osei", Duty.BOOKING)
    register(session, "Grader", Duty.DAY_ONE)
    bookings.book(session, record(protection_plan=("coat_first",)), KEY)
    assert plans.plan_state(session.acting("Grader"), KEY) == PlanState()
    assert plans.plan_state(session, KEY).proposed_by == "Osei"
