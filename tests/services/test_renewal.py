"""An import that changes the answers of an eye that waits makes its forecast anew, in the same act."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, date, datetime
from pathlib import Path

import pytest

from clinic_app.cli import main as cli
from clinic_app.domain.record import CaseKey, StoredForecast
from clinic_app.errors import Refusal
from clinic_app.services import bookings, decisions
from clinic_app.services.care import verify
from clinic_app.services.cases import cases, documents
from clinic_app.services.forecasts import forecast_file, forecast_practice
from clinic_app.services.intake import import_files
from clinic_app.services.training import train_candidate
from clinic_app.session import Session, open_session
from models.codebook import Stage
from tests.models.invented_practice import practice
from tests.services.test_decisions import fill

NOW = datetime(2026, 10, 1, 8, tzinfo=UTC)
RIGHT, LEFT = CaseKey("N-1", "R", date(2026, 11, 3)), CaseKey("N-1", "L", date(2026, 12, 3))
HEADINGS = (
    "patient_id", "eye", "surgery_date", "birth_date", "sex", "guttae_grade", "nucleus_hardness", "acd_mm",
    "acd_definition", "cct_um", "ecd_per_mm2", "diabetes", "glaucoma", "pseudoexfoliation", "axial_length_mm",
)  # fmt: skip
ANSWERS = "1950-05-01,female,0,4,{depth},epithelium,545,2500,none,none,no,23.5"


@pytest.fixture(scope="module")
def filled(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Session]:
    with open_session(tmp_path_factory.mktemp("practice"), person="Booker", clock=lambda: NOW) as opened:
        fill(opened, practice(600))
        for number in (1, 2):
            train_candidate(opened, model="booking", resamples=0, until=date(2025, 12, 31) if number == 1 else None)
        decisions.adopt(opened, "booking-1", reason="first model")
        yield opened


@pytest.fixture
def session(filled: Session, tmp_path: Path) -> Iterator[Session]:
    copy = tmp_path / "copy"
    copy.mkdir()
    filled.store.backup(copy / "practice.sqlite")
    with open_session(copy, person="Booker", clock=lambda: NOW) as opened:
        yield opened


def bring(session: Session, folder: Path, *rows: str, headings: tuple[str, ...] = HEADINGS) -> dict[str, object]:
    path = folder / "eyes.csv"
    path.write_text("\n".join([",".join(headings), *rows]) + "\n", encoding="utf-8")
    return import_files(session, [path]).as_dict()


def booked(key: CaseKey, depth: str = "3.1") -> str:
    return f"{key.patient_id},{key.eye},{key.surgery_date},{ANSWERS.format(depth=depth)}"


def made(session: Session, key: CaseKey = RIGHT) -> list[StoredForecast]:
    return session.store.forecasts(key=key, model="booking")


def on_the_list(session: Session, key: CaseKey = RIGHT) -> bookings.BookedEye:
    return next(one for one in bookings.list_eyes(session) if one.key == key)


def test_an_amended_depth_makes_the_forecast_anew_and_theatre_locks_that_one(session: Session, tmp_path: Path) -> None:
    assert bring(session, tmp_path, booked(RIGHT))["added"] == 1
    assert made(session) == []
    forecast_practice(session, model="booking")
    (old,) = made(session)
    assert bring(session, tmp_path, booked(RIGHT, "2.2"))["amended"] == 1
    first, new = made(session)
    assert first == old
    assert new.inputs["acd_mm"] == 2.2
    assert new.made_by == "Booker"
    # the log-odds of a shallower chamber are positive in the published table: the chance rises
    assert new.risk is not None
    assert old.risk is not None
    assert new.risk > old.risk
    shown = on_the_list(session)
    assert shown.row["acd_mm"] == 2.2
    assert shown.forecast == new
    (told,) = documents(session, [one for one in cases(session) if one.key == RIGHT])
    assert told["acd_mm"] == 2.2
    (again,) = (one for one in forecast_practice(session, model="booking")["rows"] if one["patient_id"] == "N-1")
    assert again["risk"] == pytest.approx(new.risk, abs=1e-12)
    theatre = ("patient_id", "eye", "surgery_date", "irrigation_volume_ml")
    bring(session, tmp_path, "N-1,R,2026-11-03,80", headings=theatre)
    assert session.store.case(RIGHT).has(Stage.THEATRE)  # type: ignore[union-attr]
    (locked,) = (one for one in made(session) if one.locked)
    assert locked.inputs["acd_mm"] == 2.2
    assert locked.risk == pytest.approx(new.risk, abs=1e-12)
    assert len([line for line in session.store.history(key=RIGHT) if line.field == "forecast"]) == 3
    assert verify(session)["ok"]


def test_what_changes_no_answer_of_the_model_makes_none(session: Session, tmp_path: Path) -> None:
    bring(session, tmp_path, booked(RIGHT))
    forecast_practice(session, model="booking")
    before = made(session)
    assert bring(session, tmp_path, booked(RIGHT))["unchanged"] == 1
    assert bring(session, tmp_path, "N-1,R,2026-11-03,S-7", headings=(*HEADINGS[:3], "booked_surgeon_id"))["amended"]
    assert made(session) == before


def test_a_dry_run_makes_none(session: Session, tmp_path: Path) -> None:
    bring(session, tmp_path, booked(RIGHT))
    forecast_practice(session, model="booking")
    path = tmp_path / "eyes.csv"
    path.write_text(f"{','.join(HEADINGS)}\n{booked(RIGHT, '2.2')}\n", encoding="utf-8")
    assert import_files(session, [path], dry_run=True).as_dict()["amended"] == 1
    assert len(made(session)) == 1


def test_a_birth_date_that_came_with_the_fellow_eye_counts(session: Session, tmp_path: Path) -> None:
    unborn = booked(RIGHT).replace("1950-05-01", "")
    bring(session, tmp_path, unborn)
    forecast_practice(session, model="booking")
    assert bring(session, tmp_path, booked(LEFT))["added"] == 1
    old, new = made(session)
    assert old.inputs.get("age_years") is None
    assert new.inputs["age_years"] == pytest.approx(76.5, abs=0.02)
    assert made(session, LEFT) == []
    assert verify(session)["ok"]


def test_eyes_operated_by_the_same_file_keep_what_was_said_beforehand(session: Session, tmp_path: Path) -> None:
    bring(session, tmp_path, booked(RIGHT))
    forecast_practice(session, model="booking")
    (old,) = made(session)
    bring(session, tmp_path, f"{booked(RIGHT, '2.2')},80", headings=(*HEADINGS, "irrigation_volume_ml"))
    (locked,) = made(session)
    assert locked.locked
    assert (locked.forecast_id, locked.risk) == (old.forecast_id, old.risk)


def test_an_eye_stood_down_gets_none(session: Session, tmp_path: Path) -> None:
    bring(session, tmp_path, booked(RIGHT))
    forecast_practice(session, model="booking")
    with session.store.writing(by="Booker", act="stand down") as write:
        write.stand_down(RIGHT)
    bring(session, tmp_path, booked(RIGHT, "2.2"))
    assert len(made(session)) == 1


def test_another_model_in_use_makes_no_forecast_by_itself_but_the_next_change_is_its(
    session: Session, tmp_path: Path
) -> None:
    bring(session, tmp_path, booked(RIGHT), booked(LEFT))
    forecast_practice(session, model="booking")
    decisions.adopt(session, "booking-2", reason="newer eyes")
    assert on_the_list(session).forecast.model_id == "booking-1"  # type: ignore[union-attr]
    bring(session, tmp_path, booked(RIGHT, "2.2"))
    assert [one.model_id for one in made(session)] == ["booking-1", "booking-2"]
    assert [one.model_id for one in made(session, LEFT)] == ["booking-1"]
    forecast_practice(session, model="booking")
    assert on_the_list(session, LEFT).forecast.model_id == "booking-2"  # type: ignore[union-attr]
    assert verify(session)["ok"]


def test_a_card_forecasts_a_file_without_any_practice(session: Session, tmp_path: Path) -> None:
    file, card, nowhere = tmp_path / "eyes.csv", tmp_path / "card.json", tmp_path / "nowhere"
    file.write_text(f"{','.join(HEADINGS)}\n{booked(RIGHT)}\n", encoding="utf-8")
    decisions.card(session, "booking-1", out=card)
    out = tmp_path / "out.csv"
    words = ("forecast", str(file), "--card", str(card), "--out", str(out))
    assert cli.main(["--practice", str(nowhere), *words]) == 0
    assert not nowhere.exists()
    (inside,) = forecast_file(session, file, model="booking")["rows"]
    heading, line = out.read_text(encoding="utf-8").splitlines()
    told = dict(zip(heading.split(","), line.split(","), strict=True))
    assert float(told["risk"]) == pytest.approx(inside["risk"], abs=1e-12)


def test_a_heading_without_rows_is_said_of_the_forecast(session: Session, tmp_path: Path) -> None:
    file = tmp_path / "head.csv"
    file.write_text(f"{','.join(HEADINGS)}\n", encoding="utf-8")
    with pytest.raises(Refusal) as refusal:
        forecast_file(session, file, model="booking")
    assert refusal.value.what == "No forecast was made."
    assert "holds a heading and no rows" in refusal.value.why
