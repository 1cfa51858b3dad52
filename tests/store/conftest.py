"""An invented practice for the tests of the store: made once, copied for each test."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest

from clinic_app.domain.record import CaseKey, Draft, StageRecord, StoredForecast
from clinic_app.store import Store, open_store
from models.codebook import Stage

Opener = Callable[..., Store]


class Clock:
    """A clock that moves one second at each look."""

    def __init__(self) -> None:
        self.now = datetime(2026, 3, 1, 8, 0, tzinfo=UTC)

    def __call__(self) -> datetime:
        self.now += timedelta(seconds=1)
        return self.now


class Invented:
    """Records of an invented practice."""

    key = CaseKey("T0001", "R", date(2026, 3, 9))
    fellow = CaseKey("T0001", "L", date(2026, 3, 23))
    other = CaseKey("T0002", "L", date(2026, 3, 10))

    @staticmethod
    def record(stage: Stage, missing: dict[str, str] | None = None, **values: object) -> StageRecord:
        return StageRecord(stage, values, missing or {})  # type: ignore[arg-type]

    @classmethod
    def booking(cls, **values: object) -> StageRecord:
        return cls.record(
            Stage.BOOKING, **(values or {"sex": "female", "birth_date": date(1948, 5, 6), "cct_um": 545.0})
        )

    @classmethod
    def theatre(cls, **values: object) -> StageRecord:
        return cls.record(Stage.THEATRE, **(values or {"us_time_s": 61.5, "pcr": "none", "suture": False}))

    @classmethod
    def day_one(cls, **values: object) -> StageRecord:
        return cls.record(Stage.DAY_ONE, **(values or {"visit_status": "attended", "edema_grade_central": 1}))

    @classmethod
    def forecast(cls, key: CaseKey, model: str = "booking", risk: float = 0.12, **changes: object) -> StoredForecast:
        told: dict[str, object] = {
            "key": key, "model_id": f"{model}-1", "model": model, "made_at": datetime(2026, 3, 2, 9, 0, tzinfo=UTC),
            "made_by": "B. Invented", "status": "forecast", "risk": risk, "low": risk / 2, "high": risk * 2,
            "inputs": {"cct_um": 545.0, "hypertension": True, "birth_date": date(1948, 5, 6), "ecd_per_mm2": None},
        }  # fmt: skip
        return StoredForecast(**{**told, **changes})  # type: ignore[arg-type]

    @classmethod
    def fill(cls, store: Store) -> None:
        """Three eyes of two patients, two models, three forecasts, one of them locked; a machine, an event, a draft."""
        with store.writing(by="A. Invented", act="book") as w:
            w.put_stage(cls.key, cls.booking())
            w.put_stage(cls.fellow, cls.booking(cct_um=541.0))
            w.put_stage(cls.other, cls.record(Stage.BOOKING, {"ecd_per_mm2": "not_done"}, diabetes="type2"))
            w.add_model("booking", '{"card": "invented"}')
            w.add_model("end_of_case", '{"card": "invented"}')
        with store.writing(by="B. Invented", act="adopt", reason="First model") as w:
            w.decide("booking-1", "in_use", reason="First model")
            w.add_forecasts(
                [cls.forecast(cls.key), cls.forecast(cls.key, risk=0.15), cls.forecast(cls.other, risk=0.4)]
            )
        with store.writing(by="A. Invented", act="operate") as w:
            w.put_stage(cls.key, cls.theatre())
        with store.writing(by="C. Invented", act="grade") as w:
            w.put_stage(cls.key, cls.day_one())
            w.put_recheck(
                cls.key, cls.record(Stage.RECHECK, recheck_at=datetime(2026, 3, 12, 9, 30), recheck_cct_um=570.0)
            )
        with store.writing(by="D. Invented", act="set up") as w:
            w.put_register("machine", "Phaco 1", {"metric": "effective_time_s", "tips": ["30", "45"]})
            w.add_event(cls.other, "opening", {"what": "booking_forecast"})
        store.keep_draft(cls.draft())

    @classmethod
    def draft(cls, **changes: object) -> Draft:
        told: dict[str, object] = {
            "person": "A. Invented", "stage": "theatre", "key": cls.other, "body": {"pcr": "none", "us_time_s": 41.5},
            "kept_at": datetime(2026, 3, 10, 9, 14, tzinfo=UTC),
        }  # fmt: skip
        return Draft(**{**told, **changes})  # type: ignore[arg-type]


@pytest.fixture(scope="session")
def invented() -> type[Invented]:
    return Invented


@pytest.fixture(scope="session")
def empty_practice(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("practice")
    open_store(folder, clock=Clock(), program="0.1.0").close()
    return folder


@pytest.fixture
def folder(empty_practice: Path, tmp_path: Path) -> Path:
    """A practice folder of its own with an empty store."""
    own = tmp_path / "own practice"
    shutil.copytree(empty_practice, own)
    return own


@pytest.fixture
def opener(folder: Path) -> Iterator[Opener]:
    """Opens the store of `folder`; what is left open is closed at the end."""
    opened: list[Store] = []
    clock = Clock()

    def opening(where: Path = folder, **options: bool) -> Store:
        opened.append(open_store(where, clock=clock, program="0.1.0", **options))
        return opened[-1]

    yield opening
    for store in opened:
        store.close()


@pytest.fixture
def store(opener: Opener) -> Store:
    return opener()


@pytest.fixture
def filled(store: Store) -> Store:
    Invented.fill(store)
    return store
