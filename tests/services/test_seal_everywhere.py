"""Nothing that is sealed for a person comes out of any service or command before the eye is graded.

Every public function of `clinic_app.services` that takes a session stands in `CALLS`, every command in `COMMANDS`: a
new one fails here until somebody says how it is called, or that it deals with no eye.
"""

from __future__ import annotations

import dataclasses
import importlib
import inspect
import io
import json
import pkgutil
import shutil
import sys
from collections.abc import Callable, Iterator, Mapping
from contextlib import suppress
from datetime import UTC, date, datetime
from itertools import islice
from pathlib import Path

import pytest

import clinic_app.services
from clinic_app.cli import main as cli
from clinic_app.domain.drafted import Drafted
from clinic_app.domain.people import Duty
from clinic_app.domain.record import CaseKey, StageRecord
from clinic_app.domain.states import GRADED, state_of
from clinic_app.domain.theatre_draft import SheetDraft
from clinic_app.errors import Refusal
from clinic_app.services import (
    backups,
    bookings,
    care,
    cases,
    clearing,
    comparison,
    day_one,
    decisions,
    drafts,
    export,
    finding,
    forecasts,
    history,
    intake,
    moving,
    people,
    plans,
    selftest,
    theatre,
    training,
)
from clinic_app.services.review import review
from clinic_app.session import Session, open_session
from models.card import Card
from models.codebook import Stage
from models.errors import ModelError
from tests.models.invented_practice import practice
from tests.services.test_decisions import fill

NOW = datetime(2026, 3, 10, 8, tzinfo=UTC)
BOOKED = CaseKey("SEAL-1", "R", date(2026, 3, 20))
OPERATED = CaseKey("SEAL-2", "L", date(2026, 3, 9))
MISSED = CaseKey("SEAL-3", "R", date(2026, 2, 2))
EYES = {"Booked": BOOKED, "Operated": OPERATED, "No grade": MISSED}
"""Eyes that wait for their grade; the last one did not come, and may still be graded."""

READINGS = {"us_time_s": 61.37, "us_mean_power_pct": 13.71, "irrigation_volume_ml": 67.13, "case_minutes": 13.79}
PLAN = ("endothelial_opinion", "second_eye_deferred")
ANSWERS: dict[str, object] = {
    "birth_date": date(1950, 5, 1), "sex": "female", "guttae_grade": 0, "nucleus_hardness": 3, "acd_mm": 3.1,
    "acd_definition": "epithelium", "cct_um": 545.0, "ecd_per_mm2": 2500.0, "diabetes": "none", "glaucoma": "none",
    "pseudoexfoliation": "no", "axial_length_mm": 23.5, "booked_surgeon_id": "S7", "protection_plan": PLAN,
    "patient_told": True, "risk_shown_before_surgery": True,
}  # fmt: skip
THEATRE: dict[str, object] = {
    "surgeon_id": "S7", "surgeon_grade": "senior", "phaco_machine_id": "M1", "us_motion": "longitudinal",
    "technique": "phaco_chop_horizontal", "working_plane": "bag", "pcr": "none", "main_incision_mm": 2.4,
    "ovd_strategy": "dispersive", **READINGS,
}  # fmt: skip
GRADE: dict[str, object] = {"edema_grade_central": 1, "iop_pod1_mmhg": 18.0, "seidel": "negative"}

WHO = {
    "Berg": frozenset({Duty.DAY_ONE}),
    "Nur": frozenset({Duty.DAY_ONE, Duty.DATA_LEAD, Duty.PEOPLE}),
    "Lund": frozenset({Duty.SURGEON, Duty.BOOKING, Duty.DATA_LEAD, Duty.SCRIBE}),
}
"""Who looks. Before the grade Berg and Nur must see nothing, Lund no end-of-case forecast."""


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A practice with both models in use, people, and the eyes of `EYES` with everything that is sealed."""
    folder = tmp_path_factory.mktemp("sealed") / "practice"
    folder.mkdir()
    with open_session(folder, person="Founder", clock=lambda: NOW) as session:
        fill(session, practice(540, start=date(2024, 1, 8), days=640))
        for model in ("booking", "end_of_case"):
            training.train_candidate(session, model=model, resamples=0)
            decisions.adopt(session, f"{model}-1", reason="first model")
        for key in EYES.values():
            bookings.book(session, StageRecord(Stage.BOOKING, dict(ANSWERS)), key)  # type: ignore[arg-type]
        for key in (OPERATED, MISSED):
            with session.store.writing(by="Founder", act="sign", reason="Plan changed: endothelial_opinion") as write:
                write.put_stage(key, StageRecord(Stage.THEATRE, dict(THEATRE)))  # type: ignore[arg-type]
                write.add_event(key, "correction", {"stage": "theatre", "fields": {"us_time_s": [1.5, 61.37]}})
            forecasts.forecast_practice(session, model="end_of_case")
        with session.store.writing(by="Founder", act="not seen") as write:
            write.put_stage(MISSED, StageRecord(Stage.DAY_ONE, {"visit_status": "missed"}))
        people.register(session, "Founder", [])
        for name, duties in WHO.items():
            people.register(session, name, duties)
    return folder


@pytest.fixture
def folder(made: Path, tmp_path: Path) -> Path:
    own = tmp_path / "practice"
    shutil.copytree(made, own)
    return own


# --- looking for what must not be there ---


def secrets_of(session: Session, key: CaseKey, who: str) -> tuple[set[float], set[str]]:
    """Numbers and words of an eye that must not come out for this person while it waits for its grade."""
    found = session.store.forecasts(key=key)
    kinds = {"end_of_case"} if who == "Lund" else {"booking", "end_of_case"}
    assert {one.model for one in found if one.risk is not None} >= (kinds if key != BOOKED else kinds - {"end_of_case"})
    numbers = {
        number for one in found if one.model in kinds for number in (one.risk, one.low, one.high) if number is not None
    }
    if who == "Lund":
        return numbers, set()
    return numbers | set(READINGS.values()), set(PLAN)


def pieces(value: object, seen: set[int] | None = None) -> Iterator[object]:
    """Every number and text within an answer, whatever it is made of."""
    seen = set() if seen is None else seen
    if isinstance(value, str | bytes | int | float):
        yield value
        return
    if value is None or id(value) in seen or isinstance(value, Session | Card | type):
        return
    seen.add(id(value))
    if isinstance(value, Mapping):
        for name, one in value.items():
            yield from pieces(name, seen)
            yield from pieces(one, seen)
    elif dataclasses.is_dataclass(value):
        for one in dataclasses.fields(value):
            yield from pieces(getattr(value, one.name), seen)
    elif isinstance(value, Path):
        yield from (one for file in files_of(value) for one in pieces(file.read_bytes(), seen))
    elif hasattr(value, "__iter__"):
        for one in islice(value, 100_000):
            yield from pieces(one, seen)


def files_of(path: Path) -> list[Path]:
    within = path.rglob("*") if path.is_dir() else [path]
    return [one for one in within if one.is_file() and one.suffix in (".csv", ".json", ".html", ".svg")]


def told(answer: object, numbers: set[float], words: set[str]) -> list[str]:
    """What of the secrets stands in the answer."""
    found = []
    texts = {f"{one:.10g}"[:8] for one in numbers if one >= 1} | {f"{one:.6f}"[:7] for one in numbers if one < 1}
    for piece in pieces(answer):
        if isinstance(piece, bool):
            continue
        if isinstance(piece, int | float):
            if any(abs(piece - one) < 1e-9 for one in numbers):
                found.append(repr(piece))
        else:
            text = piece.decode("utf-8", "replace") if isinstance(piece, bytes) else piece
            found += [one for one in (*texts, *words) if one in text]
    return found


def graded(session: Session, key: CaseKey) -> bool:
    case = session.store.case(key)
    return case is not None and state_of(case) == GRADED


# --- every service ---

Calling = Callable[[Session, CaseKey, Path], object]


def row_of(key: CaseKey, **more: object) -> dict[str, object]:
    return {"patient_id": key.patient_id, "eye": key.eye, "surgery_date": key.surgery_date, **more}


def file_of(key: CaseKey, folder: Path) -> Path:
    """A file with the eye's answers, as somebody might write it to have it forecast."""
    shown = {
        name: value.isoformat() if isinstance(value, date) else "yes" if value is True else value
        for name, value in {**ANSWERS, **(THEATRE if key != BOOKED else {})}.items()
        if name not in ("protection_plan", "patient_told", "risk_shown_before_surgery")
    }
    flat = {**row_of(key), **shown}
    path = folder / "eye.csv"
    path.write_text(",".join(flat) + "\n" + ",".join(str(one) for one in flat.values()) + "\n", encoding="utf-8")
    return path


def sheet(**more: object) -> SheetDraft:
    return SheetDraft(StageRecord(Stage.THEATRE, {"pcr": "none", **more}))  # type: ignore[arg-type]


def sheet_of(session: Session, key: CaseKey) -> theatre.Sheet:
    return theatre.open_sheet(session, key, key.eye)


NO_EYE = None
"""Deals with no eye."""
SHOWS = "shows"
"""Is there to show it, to those who may and with a reason written down; its own tests say when."""

CALLS: dict[str, Calling | str | None] = {
    "backups.backups": lambda s, k, f: backups.backups(s),
    "bookings.book": lambda s, k, f: bookings.book(
        s, StageRecord(Stage.BOOKING, {"cct_um": 544.0}), k, reason="Measured again"
    ),
    "bookings.fellow": lambda s, k, f: bookings.fellow(s, k.patient_id, "L" if k.eye == "R" else "R"),
    "bookings.forecast_for": SHOWS,
    "bookings.list_eyes": lambda s, k, f: bookings.list_eyes(s),
    "bookings.newly_adopted": NO_EYE,
    "bookings.open_eye": lambda s, k, f: bookings.open_eye(s, k),
    "bookings.others_of": lambda s, k, f: bookings.others_of(s, k.patient_id),
    "bookings.stood_down_eyes": lambda s, k, f: bookings.stood_down_eyes(s),
    "care.backup": lambda s, k, f: care.backup(s),
    "care.demand_restoring": NO_EYE,
    "care.verify": lambda s, k, f: care.verify(s),
    "cases.cases": lambda s, k, f: cases.cases(s),
    "cases.documents": lambda s, k, f: cases.documents(s, [s.store.case(k)]),  # type: ignore[arg-type]
    "clearing.clearing_of": lambda s, k, f: clearing.clearing_of(s, k, row_of(k)),
    "clearing.keep_visit": lambda s, k, f: clearing.keep_visit(
        s, k, {"recheck_edema_grade_central": 1}, side=k.eye, at=datetime(2026, 3, 10, 9)
    ),
    "clearing.visit_state": lambda s, k, f: clearing.visit_state(s, k, row_of(k), {}, datetime(2026, 3, 10, 9)),
    "comparison.compare": lambda s, k, f: comparison.compare(s, "booking-1"),
    "day_one.appoint": lambda s, k, f: day_one.appoint(s, k, datetime(2026, 3, 10, 10)),
    "day_one.correct": lambda s, k, f: day_one.correct(s, k, {"pain_0_10": 1}, reason="Asked again"),
    "day_one.day_list": lambda s, k, f: day_one.day_list(s),
    "day_one.drafts": lambda s, k, f: day_one.drafts(s),
    "day_one.drop_sheet": NO_EYE,
    "day_one.find": lambda s, k, f: day_one.find(s, k.patient_id),
    "day_one.keep_sheet": lambda s, k, f: day_one.keep_sheet(s, k, {"pain_0_10": 1}, began=datetime(2026, 3, 10, 9)),
    "day_one.lock": lambda s, k, f: day_one.lock(s, k, GRADE, side="L" if k.eye == "R" else "R"),
    "day_one.not_planned": lambda s, k, f: day_one.not_planned(s, [k]),
    "day_one.not_seen": lambda s, k, f: day_one.not_seen(s, k, "missed", date(2026, 3, 10)),
    "day_one.note_action": lambda s, k, f: day_one.note_action(s, k, "M51", "Dr Ito", "Came in"),
    "day_one.note_wrong_eye": lambda s, k, f: day_one.note_wrong_eye(s, k, "R"),
    "day_one.open_eye": lambda s, k, f: day_one.open_eye(s, k),
    "day_one.opened": lambda s, k, f: day_one.opened(s, k),
    "day_one.read_again": lambda s, k, f: day_one.read_again(s, k, 20.0, "Goldmann"),
    "day_one.remote": lambda s, k, f: day_one.remote(s, k, {"pain_0_10": 1}),
    "day_one.sheet_state": lambda s, k, f: day_one.sheet_state(s, day_one.open_eye(s, k), GRADE),
    "day_one.show_anyway": lambda s, k, f: day_one.show_anyway(s, k, "Wanted to know"),
    "decisions.adopt": lambda s, k, f: decisions.adopt(s, "booking-1", reason="Good"),
    "decisions.card": lambda s, k, f: decisions.card(s, "booking-1"),
    "decisions.keep": lambda s, k, f: decisions.keep(s, "booking", reason="Good"),
    "decisions.known": NO_EYE,
    "decisions.models": lambda s, k, f: decisions.models(s),
    "decisions.set_back": lambda s, k, f: decisions.set_back(s, "booking", reason="Good"),
    "decisions.shift": lambda s, k, f: decisions.shift(s, "booking", reason="Good"),
    "drafts.booking_drafts": lambda s, k, f: drafts.booking_drafts(s),
    "drafts.drop_draft": NO_EYE,
    "drafts.keep_draft": lambda s, k, f: drafts.keep_draft(s, Drafted({}), key=k, number=None),
    "export.export": lambda s, k, f: [
        export.export(s, f / "out.csv").files,
        export.export(s, f / "folder").files,
        export.export(s, f / "nobody.csv", deidentified=True).files,
        export.export(s, f / "numbers.csv", forecasts=True).files,
    ],
    "finding.find_eyes": lambda s, k, f: finding.find_eyes(s, k.patient_id),
    "forecasts.forecast_file": lambda s, k, f: [
        forecasts.forecast_file(s, file_of(k, f), model=model) for model in ("booking", "end_of_case")
    ],
    "forecasts.forecast_practice": lambda s, k, f: [
        forecasts.forecast_practice(s, model=model) for model in ("booking", "end_of_case")
    ],
    "history.lines": lambda s, k, f: history.lines(s),
    "history.save": lambda s, k, f: history.save(s, f / "history.csv", history.lines(s)),
    "history.timeline": lambda s, k, f: history.timeline(s, k),
    "intake.import_again": NO_EYE,
    "intake.import_files": lambda s, k, f: intake.import_files(s, [file_of(k, f)]),
    "moving.give_consent": lambda s, k, f: moving.give_consent(s, k.patient_id, "Asked"),
    "moving.merge_numbers": lambda s, k, f: moving.merge_numbers(s, k.patient_id, "P00001", "One person"),
    "moving.postpone": lambda s, k, f: moving.postpone(s, k, date(2026, 4, 1), "Ill"),
    "moving.stand_down": lambda s, k, f: moving.stand_down(s, k, "Ill"),
    "moving.take_back": lambda s, k, f: moving.take_back(s, k, "Well"),
    "moving.withdraw_consent": lambda s, k, f: moving.withdraw_consent(s, k.patient_id, "Asked"),
    **{
        f"people.{name}": NO_EYE
        for name in (
            "change", "check_pin", "come_back", "leave", "people", "register", "reset_pin", "set_pin", "sign_in",
        )
    },
    "plans.confirm_plan": lambda s, k, f: plans.confirm_plan(s, k),
    "plans.plan_state": lambda s, k, f: plans.plan_state(s, k),
    **{
        f"practice.{name}": NO_EYE
        for name in (
            "change_levels", "change_settings", "devices", "drops", "levels", "machines", "put_device", "put_drops",
            "put_machine", "put_steps", "put_usual", "steps", "surgeons", "untouched", "usual", "with_usual",
        )
    },
    "review.review": lambda s, k, f: [
        review(s, model=model, from_=from_, to=to).as_dict()
        for model in ("booking", "end_of_case")
        for from_, to in ((None, None), (k.surgery_date, k.surgery_date))
        if not (from_ and k == BOOKED)
    ],
    "selftest.demand_trial": NO_EYE,
    "selftest.dump": lambda s, k, f: list(selftest.dump(s)),
    "selftest.first_number": NO_EYE,
    "selftest.save_one": lambda s, k, f: selftest.save_one(s, 7),
    "theatre.acknowledge": lambda s, k, f: theatre.acknowledge(s, sheet_of(s, k), "Went on"),
    "theatre.beside_usual": lambda s, k, f: theatre.beside_usual(s, row_of(k, us_time_s=40.0)),
    "theatre.correct": lambda s, k, f: theatre.correct(s, k, sheet(), expect_version=1, reason="Wrong"),
    "theatre.find_eye": lambda s, k, f: theatre.find_eye(s, k),
    "theatre.keep": lambda s, k, f: theatre.keep(s, k, sheet(), None),
    "theatre.like_eyes": lambda s, k, f: theatre.like_eyes(s, row_of(k, phaco_machine_id="M1")),
    "theatre.list_eyes": lambda s, k, f: theatre.list_eyes(s),
    "theatre.local": NO_EYE,
    "theatre.note_wrong": lambda s, k, f: theatre.note_wrong(s, k, "R"),
    "theatre.open_sheet": lambda s, k, f: sheet_of(s, k),
    "theatre.proposals_for": NO_EYE,
    "theatre.reopening": NO_EYE,
    "theatre.show_anyway": lambda s, k, f: theatre.show_anyway(s, k, "Wanted to know"),
    "theatre.sign": lambda s, k, f: theatre.sign(s, k, sheet()),
    "theatre.sign_list": lambda s, k, f: theatre.sign_list(s, [(k, sheet())]),
    "theatre.throw_away": NO_EYE,
    "training.train_candidate": NO_EYE,
}  # fmt: skip


def public() -> set[str]:
    """Every public function that takes a session: of modules, and what packages of them offer."""
    found = set()
    for one in pkgutil.iter_modules(clinic_app.services.__path__):
        module = importlib.import_module(f"clinic_app.services.{one.name}")
        for name, function in vars(module).items():
            own = one.ispkg or getattr(function, "__module__", "") == module.__name__
            if name.startswith("_") or not own or not inspect.isfunction(function):
                continue
            first = next(iter(inspect.signature(function).parameters.values()), None)
            if first is not None and "Session" in str(first.annotation):
                found.add(f"{one.name}.{name}")
    return found


def test_every_service_is_looked_at() -> None:
    assert public() == CALLS.keys()


@pytest.mark.parametrize("who", WHO)
@pytest.mark.parametrize("name", [name for name, call in CALLS.items() if callable(call)])
def test_no_service_tells_what_is_sealed(folder: Path, tmp_path: Path, name: str, who: str) -> None:
    call = CALLS[name]
    assert callable(call)
    with open_session(folder, person=who, clock=lambda: NOW) as session:
        for state, key in EYES.items():
            numbers, words = secrets_of(session, key, who)
            case = session.store.case(key)
            with suppress(Refusal, ModelError):
                answer = call(session, key, tmp_path)
                if case is not None and not graded(session, key):
                    assert told(answer, numbers, words) == [], (state, name, who)


@pytest.mark.parametrize("name", [name for name, call in CALLS.items() if callable(call)])
def test_somebody_who_is_not_registered_is_told_nothing(folder: Path, tmp_path: Path, name: str) -> None:
    call = CALLS[name]
    assert callable(call)
    with open_session(folder, person="Nobody", clock=lambda: NOW) as session:
        for key in EYES.values():
            numbers, words = secrets_of(session, key, "Berg")
            with suppress(Refusal):
                answer = call(session, key, tmp_path)
                assert told(answer, numbers, words | {"SEAL-", "1950"}) == [], name


def test_the_search_finds_what_is_not_sealed(folder: Path, tmp_path: Path) -> None:
    """Somebody who does not grade sees it: the search looks in the right places."""
    with open_session(folder, person="Lund", clock=lambda: NOW) as session:
        numbers, words = secrets_of(session, OPERATED, "Berg")
        for name in ("cases.cases", "cases.documents", "export.export", "history.timeline", "history.lines"):
            call = CALLS[name]
            assert callable(call)
            assert told(call(session, OPERATED, tmp_path), numbers, words), name
        numbers, words = secrets_of(session, BOOKED, "Berg")
        for name in ("bookings.list_eyes", "bookings.open_eye", "theatre.open_sheet", "export.export"):
            call = CALLS[name]
            assert callable(call)
            assert told(call(session, BOOKED, tmp_path), numbers, words), name


# --- every command ---

COMMANDS: dict[str, tuple[tuple[str, ...], ...]] = {
    "import": (("import", "{eye}"), ("import", "{eye}", "--dry-run")),
    "cases": (("cases",),),
    "export": (("export", "{out}/cases.csv"), ("export", "{out}/all"), ("export", "{out}/f.csv", "--forecasts")),
    "fields": (),
    "train": (("train", "--model", "booking", "--resamples", "0"),),
    "models": (("models",),),
    "compare": (("compare", "booking-1"),),
    "adopt": (),
    "keep": (),
    "shift": (),
    "set-back": (),
    "card": (("card", "booking-1"),),
    "forecast": (
        ("forecast",), ("forecast", "--by-chance"), ("forecast", "--model", "end_of_case", "--out", "{out}/o.csv"),
        ("forecast", "{eye}"), ("forecast", "{eye}", "--model", "end_of_case"),
    ),
    "review": (("review", "--out", "{out}/review"), ("review", "--model", "end_of_case", "--out", "{out}/end")),
    "judge": (),
    "verify": (("verify",),),
    "backup": (("backup",),),
    "restore": (),
    "demo": (),
    "selftest": (("selftest", "dump"), ("selftest", "save-forever", "--count", "1")),
}  # fmt: skip
"""How each command is called; none where it tells of no eye, or answers nothing before a signature."""


def test_every_command_is_looked_at() -> None:
    assert set(cli.COMMANDS) == COMMANDS.keys()


@pytest.mark.parametrize("who", WHO)
@pytest.mark.parametrize("words", [one for several in COMMANDS.values() for one in several], ids=" ".join)
def test_no_command_tells_what_is_sealed(
    folder: Path, tmp_path: Path, who: str, words: tuple[str, ...], capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:  # fmt: skip
    monkeypatch.setattr(sys, "stdin", io.StringIO(""))
    out = tmp_path / "out"
    with open_session(folder, person=who, clock=lambda: NOW) as session:
        secrets = {key: secrets_of(session, key, who) for key in (BOOKED, OPERATED)}
    for key, (numbers, sealed_words) in secrets.items():
        shutil.rmtree(out, ignore_errors=True)
        out.mkdir()
        given = [one.format(out=out, eye=file_of(key, tmp_path)) for one in words]
        capsys.readouterr()
        status = cli.main(["--practice", str(folder), "--as", who, "--json", *given])
        captured = capsys.readouterr()
        assert status in (0, 1, 3), captured.out
        document = json.loads(captured.out)
        assert told([document, captured.err, out], numbers, sealed_words) == [], given
