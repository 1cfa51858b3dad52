"""The theatre list and the sheet on a real store: who may open, what is kept, what a signature needs and does."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path

import pytest

from clinic_app.domain.record import CaseKey, StageRecord
from clinic_app.domain.theatre import EVENT_FIELDS, nothing
from clinic_app.domain.theatre_draft import SheetDraft
from clinic_app.errors import Refusal
from clinic_app.services import bookings, theatre
from clinic_app.services.training import train_candidate
from clinic_app.session import Session, open_session
from models.codebook import BY_NAME, Stage
from tests.models.invented_practice import practice
from tests.services.test_decisions import fill

DAY = date(2026, 10, 1)
LEFT, RIGHT = CaseKey("N-1", "L", DAY), CaseKey("N-2", "R", DAY)
BOOKED: dict[str, object] = {
    "birth_date": date(1950, 5, 1), "sex": "female", "guttae_grade": 0, "nucleus_hardness": 3, "acd_mm": 3.1,
    "acd_definition": "epithelium", "cct_um": 545.0, "ecd_per_mm2": 2500.0, "diabetes": "none", "glaucoma": "none",
    "pseudoexfoliation": "no", "axial_length_mm": 23.5, "booked_surgeon_id": "Halvorsen",
    "protection_plan": ("coat_first", "re_coat"),
}  # fmt: skip
NO_EVENTS: dict[str, object] = {name: nothing(BY_NAME[name]) for name in EVENT_FIELDS}
WHOLE: dict[str, object] = {
    "ovd_strategy": "dispersive", "technique": "phaco_chop_vertical", "us_time_s": 41.0, "us_mean_power_pct": 14.0,
    "phaco_machine_id": "A", "us_motion": "longitudinal", "irrigation_volume_ml": 62.0, "case_minutes": 12.0,
    **NO_EVENTS,
}  # fmt: skip
PEOPLE: dict[str, tuple[str, ...]] = {
    "Halvorsen": ("surgeon",), "Mbeki": ("surgeon",), "Osei": ("scribe",), "Lund": ("booking",),
    "Ito": ("surgeon", "day_one"), "Berg": ("day_one",),
}  # fmt: skip


class Wall:
    """A clock that stands until it is turned."""

    def __init__(self) -> None:
        self.now = datetime(2026, 10, 1, 8, tzinfo=UTC)

    def __call__(self) -> datetime:
        return self.now

    def on(self, minutes: float) -> None:
        self.now += timedelta(minutes=minutes)


def draft(**changes: object) -> SheetDraft:
    values = {name: value for name, value in {**WHOLE, **changes}.items() if value is not None}
    return SheetDraft(StageRecord(Stage.THEATRE, values))  # type: ignore[arg-type]


def book(session: Session, key: CaseKey, **more: object) -> None:
    session = session.acting("Lund")
    bookings.book(session, StageRecord(Stage.BOOKING, {**BOOKED, **more}), key)  # type: ignore[arg-type]


@pytest.fixture
def wall() -> Wall:
    return Wall()


@pytest.fixture
def session(tmp_path: Path, wall: Wall) -> Iterator[Session]:
    with open_session(tmp_path, person="Halvorsen", clock=wall) as opened:
        with opened.store.writing(by="Halvorsen", act="people") as write:
            for name, duties in PEOPLE.items():
                surgeon = name if "surgeon" in duties else None
                write.put_register("person", name, {"duties": list(duties), "surgeon_id": surgeon, "left": None})
        book(opened, LEFT, surgery_time=time(9, 20))
        yield opened


@pytest.fixture(scope="module")
def model_card(tmp_path_factory: pytest.TempPathFactory) -> Callable[[Session], None]:
    """Puts models of both kinds in use, fitted once."""
    with open_session(tmp_path_factory.mktemp("fit"), person="Lead", clock=Wall()) as opened:
        fill(opened, practice(600))
        for model in ("booking", "end_of_case"):
            train_candidate(opened, model=model, resamples=0)
        cards = {entry.model: entry.card_text for entry in opened.store.models()}

    def put(session: Session) -> None:
        with session.store.writing(by="Lead", act="train") as write:
            for model, text in cards.items():
                write.decide(write.add_model(model, text).model_id, "in_use", reason="first")

    return put


# --- the list --------------------------------------------------------------------------------------------------------


def test_the_list_goes_by_the_clock_then_by_the_number(session: Session) -> None:
    book(session, CaseKey("N-9", "R", DAY), surgery_time=time(8, 30))
    book(session, CaseKey("N-7", "R", DAY))
    book(session, CaseKey("N-5", "L", DAY))
    book(session, CaseKey("N-4", "L", DAY + timedelta(days=1)), surgery_time=time(7))
    book(session, CaseKey("N-8", "L", DAY - timedelta(days=2)))
    eyes = theatre.list_eyes(session)
    assert [eye.key.patient_id for eye in eyes] == ["N-8", "N-9", "N-1", "N-5", "N-7"]
    assert eyes[1].plan_ahead


def test_who_also_grades_sees_no_plan_on_the_list_and_others_have_no_list(session: Session) -> None:
    (eye,) = theatre.list_eyes(session.acting("Ito"))
    assert not eye.plan_ahead
    assert "protection_plan" not in eye.row
    for name in ("Berg", "Lund", "nobody"):
        with pytest.raises(Refusal, match="theatre list is not open"):
            theatre.list_eyes(session.acting(name))


# --- opening ---------------------------------------------------------------------------------------------------------


def test_another_eye_opens_nothing_and_is_written_down(session: Session) -> None:
    with pytest.raises(Refusal, match="Booked: LEFT eye. You pressed RIGHT. Nothing has been opened"):
        theatre.open_sheet(session, LEFT, "R")
    (event,) = session.store.events(key=LEFT, kind="wrong_eye")
    assert session.store.events(key=LEFT, kind="opening") == []
    assert (event.kind, event.by, dict(event.body)) == ("wrong_eye", "Halvorsen", {"page": "theatre", "pressed": "R"})
    with pytest.raises(Refusal, match="eye was not said again"):
        theatre.sign(session, LEFT, draft())


def test_an_opening_is_written_down_and_shows_plan_and_sentence(session: Session) -> None:
    sheet = theatre.open_sheet(session, LEFT, "L")
    assert sheet.plan == ("coat_first", "re_coat")
    assert sheet.forecast is not None
    assert sheet.forecast.sentence == "No forecast was made for this eye."
    assert [one.body["what"] for one in session.store.events(key=LEFT, kind="opening")] == ["sheet"]
    assert (sheet.planned.proposed_by, sheet.planned.confirmed_by) == ("Lund", "")
    ito = theatre.open_sheet(session.acting("Ito"), LEFT, "L")
    assert ito.plan == sheet.plan
    mine = [one.body["what"] for one in session.store.events(key=LEFT, kind="opening") if one.by == "Ito"]
    assert set(mine) == {"sheet", "plan", "booking_forecast"}


def test_the_usual_is_proposed_and_never_stored(session: Session) -> None:
    with session.store.writing(by="Mbeki", act="usual") as write:
        body = {"ovd_strategy": "both_soft_shell", "main_incision_mm": 2.2, "working_plane": "bag", "pcr": "none"}
        write.put_register("usual", "Halvorsen", body)
        write.put_register("machine", "A", {"end_screen": ["us_time_s", "us_mean_power_pct"], "motions": ["torsional"]})
    sheet = theatre.open_sheet(session, LEFT, "L")
    assert dict(sheet.proposed) == {
        "surgeon_id": "Halvorsen", "ovd_strategy": "both_soft_shell", "main_incision_mm": 2.2, "phaco_machine_id": "A",
        "us_motion": "torsional",
    }  # fmt: skip
    theatre.sign(session, LEFT, draft(ovd_strategy=None, us_motion=None))
    case = session.store.case(LEFT)
    assert case is not None
    stored = case.stages[Stage.THEATRE].record.values
    assert not {"ovd_strategy", "main_incision_mm", "us_motion", "surgeon_id"} & stored.keys()


def test_a_draft_comes_back_to_whoever_opens_the_sheet_next(session: Session, wall: Wall) -> None:
    scribe = session.acting("Osei")
    theatre.open_sheet(scribe, LEFT, "L")
    answers = {"us_time_s": 41.0, "ovd_removal": ("standard", "angle_sweep")}
    typed = StageRecord(Stage.THEATRE, answers, {"case_minutes": "not_recorded"}, {"us_time_s": "41,0"})
    first = theatre.keep(scribe, LEFT, SheetDraft(typed, {"irrigation_volume_ml": "6000"}), None)
    assert first is not None
    wall.on(3)
    sheet = theatre.open_sheet(session, LEFT, "L")
    assert sheet.draft == SheetDraft(typed, {"irrigation_volume_ml": "6000"})
    assert sheet.draft_no == first.draft_no
    theatre.keep(session, LEFT, SheetDraft(typed), sheet.draft_no)
    assert len(session.store.drafts()) == 1
    assert theatre.keep(session, RIGHT, SheetDraft(StageRecord(Stage.THEATRE, {})), None) is None


# --- signing ---------------------------------------------------------------------------------------------------------


def test_a_scribe_types_and_a_surgeon_signs(session: Session, wall: Wall) -> None:
    scribe = session.acting("Osei")
    theatre.open_sheet(scribe, LEFT, "L")
    theatre.keep(scribe, LEFT, draft(), None)
    with pytest.raises(Refusal, match="needs the duty Surgeon"):
        theatre.sign(scribe, LEFT, draft())
    assert theatre.list_eyes(session)[0].ready
    done = theatre.sign_list(session, [(LEFT, draft())])
    assert done.signed == (LEFT,)
    assert session.store.drafts() == []
    (eye,) = theatre.list_eyes(session)
    assert (eye.state, eye.signed_by, eye.draft) == ("Operated", "Halvorsen", None)


def test_of_a_list_only_what_was_read_is_signed(session: Session) -> None:
    """A scribe goes on writing while a surgeon reads the lines to sign."""
    scribe = session.acting("Osei")
    theatre.open_sheet(scribe, LEFT, "L")
    first = theatre.keep(scribe, LEFT, draft(), None)
    assert first is not None
    theatre.keep(scribe, LEFT, draft(pcr="PCR+vitreous"), first.draft_no)
    done = theatre.sign_list(session, [(LEFT, draft())])
    assert done == theatre.SignedList((), ((LEFT, "It was changed after it was read."),))
    assert not theatre.list_eyes(session)[0].signed_by
    assert theatre.sign_list(session, [(LEFT, draft(pcr="PCR+vitreous"))]).signed == (LEFT,)


def test_an_emptied_sheet_leaves_no_draft_and_one_begun_can_be_thrown_away(session: Session) -> None:
    empty = SheetDraft(StageRecord(Stage.THEATRE, {}))
    theatre.open_sheet(session, LEFT, "L")
    begun = theatre.keep(session, LEFT, draft(), None)
    assert begun is not None
    assert theatre.keep(session, LEFT, empty, begun.draft_no) is None
    assert session.store.drafts() == []
    theatre.keep(session.acting("Osei"), LEFT, draft(), None)
    with pytest.raises(Refusal, match="not open to you"):
        theatre.throw_away(session.acting("Lund"), LEFT)
    book(session, RIGHT)
    theatre.keep(session, RIGHT, draft(), None)
    theatre.throw_away(session, LEFT)
    assert [one.key for one in session.store.drafts()] == [RIGHT]


@pytest.mark.parametrize(
    ("changes", "why"),
    [
        ({"pcr": None}, "Still to answer: events"),
        ({"case_minutes": None}, "Still to answer: case minutes"),
        ({"case_minutes": 300.0}, "Minutes 300 is outside 2 to 240"),
        ({"us_energy_value": 12.0}, "energy reading without its metric"),
        ({"iop_setting_mmhg": 40.0, "bottle_height_cm": 70.0}, "Infusion pressure and bottle height are both given"),
    ],
)
def test_what_is_open_or_impossible_stops_the_signature_and_keeps_the_draft(
    session: Session, changes: dict[str, object], why: str
) -> None:
    theatre.open_sheet(session, LEFT, "L")
    theatre.keep(session, LEFT, draft(**changes), None)
    with pytest.raises(Refusal, match=why):
        theatre.sign(session, LEFT, draft(**changes))
    assert len(session.store.drafts()) == 1
    case = session.store.case(LEFT)
    assert case is not None
    assert not case.has(Stage.THEATRE)


def test_a_reason_stands_for_the_minutes(session: Session) -> None:
    theatre.open_sheet(session, LEFT, "L")
    record = StageRecord(Stage.THEATRE, dict(NO_EVENTS), {"case_minutes": "not_recorded"})  # type: ignore[arg-type]
    theatre.sign(session, LEFT, SheetDraft(record))
    case = session.store.case(LEFT)
    assert case is not None
    assert case.stages[Stage.THEATRE].record.missing == {"case_minutes": "not_recorded"}


def test_a_draft_outlives_the_program(tmp_path: Path, session: Session, wall: Wall) -> None:
    theatre.open_sheet(session, LEFT, "L")
    theatre.keep(session, LEFT, draft(), None)
    session.store.close()
    with open_session(tmp_path, person="Halvorsen", clock=wall) as again:
        assert theatre.open_sheet(again, LEFT, "L").draft == draft()
        theatre.sign(again, LEFT, draft())


def test_an_eye_of_a_later_day_is_not_signed(session: Session) -> None:
    later = CaseKey("N-3", "R", DAY + timedelta(days=1))
    book(session, later)
    theatre.open_sheet(session, later, "R")
    with pytest.raises(Refusal, match="on a later day"):
        theatre.sign(session, later, draft())


def test_after_a_postponement_the_eye_is_said_again(session: Session, wall: Wall) -> None:
    theatre.open_sheet(session, LEFT, "L")
    with session.store.writing(by="Lund", act="postpone") as write:
        moved = write.postpone(LEFT, DAY + timedelta(days=1))
    wall.on(24 * 60)
    with pytest.raises(Refusal, match="not said again"):
        theatre.sign(session, moved, draft())
    theatre.open_sheet(session, moved, "L")
    theatre.sign(session, moved, draft())


def test_signing_twice_is_refused(session: Session) -> None:
    theatre.open_sheet(session, LEFT, "L")
    theatre.sign(session, LEFT, draft())
    with pytest.raises(Refusal, match="signed this sheet already"):
        theatre.sign(session.acting("Mbeki"), LEFT, draft())


def test_a_cumulative_number_gets_its_machines_metric_and_a_typed_one_its_origin(session: Session) -> None:
    with session.store.writing(by="Mbeki", act="machines") as write:
        write.put_register("machine", "A", {"end_screen": ["us_energy_value"], "metric": "console_cumulative"})
    theatre.open_sheet(session, LEFT, "L")
    theatre.sign(session, LEFT, draft(us_energy_value=9.5, effective_phaco_time_s=5.6))
    case = session.store.case(LEFT)
    assert case is not None
    stored = case.stages[Stage.THEATRE].record.values
    assert (stored["us_energy_metric"], stored["ept_origin"]) == ("console_cumulative", "machine")


# --- forecasts -------------------------------------------------------------------------------------------------------


def test_signing_locks_the_booking_forecast_and_makes_the_end_of_case_one(
    session: Session, model_card: Callable[[Session], None]
) -> None:
    model_card(session)
    book(session, RIGHT)
    machine = str(next(iter(session.card("end_of_case-1").formula.energy.machines)))  # type: ignore[union-attr]
    theatre.open_sheet(session, RIGHT, "R")
    theatre.sign(session, RIGHT, draft(phaco_machine_id=machine))
    (booked,) = session.store.forecasts(key=RIGHT, model="booking")
    (made,) = session.store.forecasts(key=RIGHT, model="end_of_case")
    assert booked.locked
    assert made.status == "forecast"
    assert made.inputs["case_minutes"] == 12.0 or made.inputs["effective_phaco_time_s"] == pytest.approx(5.74)
    sheet = theatre.open_sheet(session, RIGHT, "R")
    assert sheet.forecast is not None
    assert sheet.forecast.risk == pytest.approx(100 * booked.risk)
    assert made.risk != pytest.approx(booked.risk, abs=1e-6)


def test_a_machine_the_model_never_saw_leaves_the_booking_forecast_alone(
    session: Session, model_card: Callable[[Session], None]
) -> None:
    model_card(session)
    book(session, RIGHT)
    sheet = theatre.open_sheet(session, RIGHT, "R")
    assert sheet.seen_machines is not None
    assert "Brand new" not in sheet.seen_machines
    theatre.sign(session, RIGHT, draft(phaco_machine_id="Brand new"))
    (booked,) = session.store.forecasts(key=RIGHT, model="booking")
    (made,) = session.store.forecasts(key=RIGHT, model="end_of_case")
    assert booked.risk is not None
    assert (made.status, made.risk, made.low, made.high) == ("refused_unlike_ours", None, None, None)


def spoil(session: Session) -> None:
    """Put an end-of-case card in use that this program cannot read."""
    with session.store.writing(by="Lead", act="train") as write:
        write.decide(write.add_model("end_of_case", "{}").model_id, "in_use", reason="of another program version")


def test_a_card_that_cannot_be_read_keeps_no_sheet_shut(
    session: Session, model_card: Callable[[Session], None]
) -> None:
    model_card(session)
    book(session, RIGHT)
    session.cards.clear()
    with session.store.writing(by="Lead", act="train") as write:
        broken = write.add_model("booking", "{}").model_id
        (made,) = session.store.forecasts(key=RIGHT, model="booking")
        write.add_forecasts([replace(made, model_id=broken, forecast_id=None)])
    spoil(session)
    sheet = theatre.open_sheet(session, RIGHT, "R")
    assert sheet.forecast is not None
    assert (sheet.forecast.risk, sheet.forecast.sentence) == (
        None, "The forecast of this eye is not shown: its model booking-2 cannot be read.",
    )  # fmt: skip
    assert (sheet.end_model, sheet.end_unread, sheet.seen_machines) == (True, True, None)
    theatre.sign(session, RIGHT, draft())
    assert session.store.forecasts(key=RIGHT, model="end_of_case") == []
    theatre.correct(session, RIGHT, draft(case_minutes=13.0), expect_version=1)


def test_no_number_outlives_the_answers_of_a_corrected_sheet(
    session: Session, model_card: Callable[[Session], None]
) -> None:
    model_card(session)
    book(session, RIGHT)
    machine = str(next(iter(session.card("end_of_case-1").formula.energy.machines)))  # type: ignore[union-attr]
    theatre.open_sheet(session, RIGHT, "R")
    theatre.sign(session, RIGHT, draft(phaco_machine_id=machine))
    spoil(session)
    changed = draft(phaco_machine_id=machine, case_minutes=13.0)
    with pytest.raises(Refusal, match="correction was not kept.*model in use cannot be read"):
        theatre.correct(session, RIGHT, changed, expect_version=1)
    assert theatre.open_sheet(session, RIGHT, "R").row["case_minutes"] == 12.0


def test_what_is_usual_stands_beside_and_too_few_are_said_with_their_count(
    session: Session, model_card: Callable[[Session], None]
) -> None:
    nothing_yet = theatre.beside_usual(session, {"nucleus_hardness": 3})
    assert nothing_yet.rows == ()
    assert "first end-of-case model" in nothing_yet.why
    model_card(session)
    card = session.card("end_of_case-1")
    row = {**BOOKED, "surgery_date": DAY, "irrigation_volume_ml": 62.0, "phaco_machine_id": "Brand new",
           "us_time_s": 41.0, "us_mean_power_pct": 14.0, "us_motion": "torsional"}  # fmt: skip
    beside = theatre.beside_usual(session, row, theatre.like_eyes(session, row))
    fluid = next(one for one in beside.rows if one.field == "irrigation_volume_ml")
    from_card = card.usual({**row, "age_years": 76.42})["irrigation_volume_ml"]
    assert fluid.value == "62 mL"
    assert fluid.usual == f"usual {from_card.low:.0f} – {from_card.high:.0f} mL"
    assert beside.why == "Too few like eyes yet (0 of 30)."
    assert beside.about == "Nucleus 3, Brand new, torsional"


# --- after signing ---------------------------------------------------------------------------------------------------


def test_for_ten_minutes_the_signer_needs_no_reason_then_a_surgeon_gives_one(session: Session, wall: Wall) -> None:
    theatre.open_sheet(session, LEFT, "L")
    theatre.sign(session, LEFT, draft())
    wall.on(9)
    sheet = theatre.open_sheet(session, LEFT, "L")
    assert sheet.reopening is theatre.Reopening.GRACE
    theatre.correct(session, LEFT, draft(case_minutes=13.0), expect_version=sheet.version)
    with pytest.raises(Refusal, match="needs a reason"):
        theatre.correct(session.acting("Mbeki"), LEFT, draft(case_minutes=14.0), expect_version=2)
    wall.on(11)
    late = theatre.open_sheet(session, LEFT, "L")
    assert late.reopening is theatre.Reopening.REASON
    with pytest.raises(Refusal, match="needs a reason"):
        theatre.correct(session, LEFT, draft(case_minutes=14.0), expect_version=late.version)
    theatre.correct(session.acting("Mbeki"), LEFT, draft(case_minutes=14.0), expect_version=2, reason="wrong clock")
    assert theatre.open_sheet(session.acting("Osei"), LEFT, "L").reopening is theatre.Reopening.NEVER
    with pytest.raises(Refusal, match="not open to you"):
        theatre.correct(session.acting("Osei"), LEFT, draft(), expect_version=3, reason="why not")
    lines = [one for one in session.store.history(key=LEFT) if one.field == "case_minutes"]
    assert [(one.by, one.old, one.new, one.reason) for one in lines[-2:]] == [
        ("Halvorsen", "12.0", "13.0", None), ("Mbeki", "13.0", "14.0", "wrong clock"),
    ]  # fmt: skip
    corrections = session.store.events(key=LEFT, kind="correction")
    assert [one.body["fields"] for one in corrections] == [["case_minutes"], ["case_minutes"]]


def test_whoever_is_no_surgeon_any_more_corrects_nothing_also_within_the_ten_minutes(session: Session) -> None:
    theatre.open_sheet(session, LEFT, "L")
    theatre.sign(session, LEFT, draft())
    with session.store.writing(by="Mbeki", act="change duties") as write:
        write.put_register("person", "Halvorsen", {"duties": ["scribe"], "surgeon_id": "Halvorsen", "left": None})
    assert theatre.open_sheet(session, LEFT, "L").reopening is theatre.Reopening.NEVER
    with pytest.raises(Refusal, match="needs the duty Surgeon"):
        theatre.correct(session, LEFT, draft(case_minutes=13.0), expect_version=1)
    assert theatre.open_sheet(session, LEFT, "L").row["case_minutes"] == 12.0


def test_readings_sealed_for_a_grader_need_a_reason_to_be_shown_and_corrected(session: Session, wall: Wall) -> None:
    theatre.open_sheet(session, LEFT, "L")
    theatre.sign(session, LEFT, draft())
    wall.on(30)
    ito = session.acting("Ito")
    sheet = theatre.open_sheet(ito, LEFT, "L")
    assert sheet.row.get("us_time_s") is None
    assert [one for one in session.store.events(key=LEFT, kind="opening") if one.by == "Ito"] == []  # still blind
    assert sheet.forecast is None
    assert sheet.plan == ()
    with pytest.raises(Refusal, match="sealed for you"):
        theatre.correct(ito, LEFT, draft(case_minutes=13.0), expect_version=1, reason="typed wrong")
    with pytest.raises(Refusal, match="needs a reason"):
        theatre.show_anyway(ito, LEFT, " ")
    opened = theatre.show_anyway(ito, LEFT, "the surgeon asked me")
    assert opened.row["us_time_s"] == 41.0
    assert opened.plan == ("coat_first", "re_coat")
    told = [one.body for one in session.store.events(key=LEFT, kind="opening") if one.by == "Ito"]
    assert {one["reason"] for one in told} == {"the surgeon asked me"}
    theatre.correct(ito, LEFT, draft(case_minutes=13.0), expect_version=1, reason="typed wrong")


# --- both eyes in one sitting ----------------------------------------------------------------------------------------


def test_an_event_in_the_first_eye_pauses_the_second_until_a_surgeon_decides(session: Session, wall: Wall) -> None:
    second = CaseKey("N-1", "R", DAY)
    book(session, second, surgery_time=time(9, 50))
    theatre.open_sheet(session, LEFT, "L")
    theatre.keep(session, LEFT, draft(pcr="PCR", tray_id="T-1"), None)
    sheet = theatre.open_sheet(session, second, "R")
    assert sheet.first is not None
    assert sheet.first.events == ("Rupture",)
    assert sheet.first.pauses
    apart = SheetDraft(draft(tray_id="T-2").record, separate=True)
    with pytest.raises(Refusal, match="waits for a surgeon's decision"):
        theatre.sign(session, second, apart)
    with pytest.raises(Refusal, match="needs the duty Surgeon"):
        theatre.acknowledge(session.acting("Osei"), sheet, "go on")
    assert not theatre.acknowledge(session, sheet, "go on").first.pauses  # type: ignore[union-attr]
    wall.on(1)
    with pytest.raises(Refusal, match="separate tray and lots"):
        theatre.sign(session, second, draft(tray_id="T-2"))
    with pytest.raises(Refusal, match="same tray"):
        theatre.sign(session, second, SheetDraft(draft(tray_id="T-1").record, separate=True))
    theatre.sign(session, second, apart)
    assert session.store.events(key=second, kind="action")[-1].body["halt"] == "separate_trays"
    assert theatre.open_sheet(session, LEFT, "L").first is not None  # it is the other's turn to be the second


def test_an_answer_typed_early_on_the_second_sheet_does_not_make_it_the_first(session: Session) -> None:
    second = CaseKey("N-1", "R", DAY)
    book(session, second)
    for key in (LEFT, second):
        theatre.open_sheet(session, key, key.eye)
    early = SheetDraft(StageRecord(Stage.THEATRE, {"ovd_strategy": "dispersive"}))
    begun = theatre.keep(session, second, early, None)
    operated = theatre.keep(session, LEFT, draft(pcr="PCR+vitreous", tray_id="T-1"), None)
    assert begun is not None
    assert operated is not None
    sheet = theatre.open_sheet(session, second, "R")
    assert sheet.first is not None
    assert sheet.first.pauses
    with pytest.raises(Refusal, match="waits for a surgeon's decision"):
        theatre.sign(session, second, SheetDraft(draft(tray_id="T-2").record, separate=True))
    theatre.acknowledge(session, sheet, "go on")
    # something happens in the second eye too: the first one does not wait for it
    theatre.keep(session, second, draft(pcr="PCR", tray_id="T-2"), begun.draft_no)
    assert theatre.open_sheet(session, LEFT, "L").first is None
    again = theatre.open_sheet(session, second, "R").first
    assert again is not None
    assert not again.pauses
    theatre.sign(session, LEFT, draft(pcr="PCR+vitreous", tray_id="T-1"))


def test_eyes_of_other_days_and_patients_are_no_pair(session: Session) -> None:
    book(session, CaseKey("N-1", "R", DAY + timedelta(days=7)))
    theatre.open_sheet(session, LEFT, "L")
    theatre.keep(session, LEFT, draft(pcr="PCR"), None)
    theatre.sign(session, LEFT, draft(pcr="PCR"))
    assert theatre.open_sheet(session, CaseKey("N-1", "R", DAY + timedelta(days=7)), "R").first is None
