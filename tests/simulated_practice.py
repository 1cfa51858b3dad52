"""A small invented practice for tests: eyes with known chances, written as cases and locked forecasts."""

from __future__ import annotations

import functools
import math
import random
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path
from typing import Any, cast

from clinic_app.domain.record import Case, CaseKey, ModelEntry, RegisterEntry, StageRecord, StoredForecast, Written
from clinic_app.domain.reviewed import Review
from clinic_app.errors import Refusal
from clinic_app.services.review import review
from clinic_app.session import Session
from clinic_app.settings import Settings
from clinic_app.store import Store
from models.codebook import Stage

NOW = datetime(2026, 10, 15, 9, 0, tzinfo=UTC)
SURGEONS = (("S-1", "senior"), ("S-2", "senior"), ("S-3", "trainee"))


@dataclass
class Simulated:
    """Cases and forecasts, ready for a store."""

    cases: list[Case] = field(default_factory=list)
    forecasts: list[StoredForecast] = field(default_factory=list)


def simulated(
    eyes: int = 700,
    *,
    seed: int = 5,
    start: date = date(2025, 10, 1),
    days: int = 360,
    shift: float = 0.0,
    locked: bool = True,
    level: float = -5.6,
) -> Simulated:
    """`eyes` graded eyes over `days`; the forecast's log-odds are `shift` below the truth; 6 in 100 not graded."""
    draw = random.Random(seed)
    made = Simulated()
    for number in range(eyes):
        day = start + timedelta(days=days * number // eyes)
        patient = f"P-{1000 + number // 2 if number % 7 < 2 else 5000 + number}"
        key = CaseKey(patient, "R" if number % 2 else "L", day)
        if any(case.key.patient_id == patient and case.key.eye == key.eye for case in made.cases[-3:]):
            key = CaseKey(f"P-{9000 + number}", key.eye, day)
        row = _booking(draw)
        eta = _log_odds(row) + level
        cloudy = draw.random() < 1 / (1 + math.exp(-eta))
        booking = {name: value for name, value in row.items() if value is not None}
        case = _case(key, booking, cloudy, draw, number)
        made.cases.append(case)
        if locked:
            made.forecasts.append(forecast(key, 1 / (1 + math.exp(-(eta - shift))), number))
    return made


def forecast(key: CaseKey, risk: float | None, number: int = 1, *, status: str = "forecast") -> StoredForecast:
    """A locked booking forecast of that eye."""
    low, high = (None, None) if risk is None else (risk * 0.6, min(0.98, risk * 1.6))
    return StoredForecast(
        key=key,
        model_id="booking-1",
        model="booking",
        made_at=datetime.combine(key.surgery_date, time(8), tzinfo=UTC) - timedelta(days=3),
        made_by="Tester",
        status=status,
        risk=risk,
        low=low,
        high=high,
        inputs={},
        locked=True,
        forecast_id=number,
    )


def case_of(key: CaseKey, **stages: dict[str, object]) -> Case:
    """A case with the given values of booking, theatre and day_one."""
    written = {
        Stage(name): Written(StageRecord(Stage(name), values), 1, "Tester", NOW)  # type: ignore[arg-type]
        for name, values in stages.items()
    }
    return Case(key, written)


def graded(key: CaseKey, grade: int, **day_one: object) -> Case:
    """An operated eye with that central grade on the next day."""
    seen = datetime.combine(key.surgery_date, time(9)) + timedelta(days=1)
    return case_of(
        key,
        booking={"guttae_grade": 0, "nucleus_hardness": 3},
        theatre={"surgeon_id": "S-1"},
        day_one={"visit_status": "attended", "edema_grade_central": grade, "exam_at": seen, **day_one},
    )


def _booking(draw: random.Random) -> dict[str, object]:
    return {
        "birth_date": date(1950, 1, 1) - timedelta(days=round(draw.gauss(0, 2900))),
        "guttae_grade": draw.choices((0, 1, 2, 3, 4), (70, 14, 8, 5, 3))[0],
        "nucleus_hardness": draw.choices((1, 2, 3, 4, 5), (8, 30, 38, 18, 6))[0],
        "acd_mm": round(draw.gauss(3.1, 0.35), 2),
        "acd_definition": "epithelium",
        "diabetes": draw.choices(("none", "type2"), (78, 22))[0],
        "glaucoma": draw.choices(("none", "OHT", "open_angle"), (84, 5, 11))[0],
        "ecd_per_mm2": float(round(draw.gauss(2450, 330))) if draw.random() < 0.7 else None,
        "axial_length_mm": round(draw.gauss(23.5, 1.1), 2),
        "cct_um": float(round(draw.gauss(545, 32))),
    }


def _log_odds(row: dict[str, object]) -> float:
    guttae, hardness = int(str(row["guttae_grade"])), int(str(row["nucleus_hardness"]))
    depth = float(str(row["acd_mm"]))
    return (
        0.45 * guttae
        + 0.75 * hardness
        - 0.5 * (depth - 3.1)
        + 0.35 * (row["diabetes"] != "none")
        + 0.3 * (row["glaucoma"] == "open_angle")
    )


def _case(key: CaseKey, booking: dict[str, object], cloudy: bool, draw: random.Random, number: int) -> Case:
    surgeon, grade = SURGEONS[draw.choices((0, 1, 2), (45, 35, 20))[0]]
    hardness = int(str(booking["nucleus_hardness"]))
    theatre: dict[str, object] = {
        "surgeon_id": surgeon,
        "surgeon_grade": grade,
        "irrigation_volume_ml": float(round(40 + 14 * hardness + draw.gauss(0, 9))),
        "us_time_s": round(12 + 9 * hardness + abs(draw.gauss(0, 8)), 1),
        "us_mean_power_pct": round(10 + 2 * hardness + abs(draw.gauss(0, 3)), 1),
        "case_minutes": float(round(9 + 2 * hardness + abs(draw.gauss(0, 3)))),
        "phaco_machine_id": "A" if number % 3 else "B",
        "us_motion": "torsional",
        "pcr": "PCR" if draw.random() < 0.01 else "none",
        "dispersive_recoat": draw.choice(("no", "once")),
        "working_plane": draw.choices(("bag", "iris_plane"), (80, 20))[0],
        "corneal_striae_intraop": draw.choices((0, 1, 2), (70, 20, 10))[0],
    }
    if draw.random() < 0.06:
        return case_of(key, booking=booking, theatre=theatre, day_one={"visit_status": "missed"})
    seen = datetime.combine(key.surgery_date, time(9)) + timedelta(days=1)
    day_one: dict[str, object] = {
        "visit_status": "attended",
        "exam_at": seen,
        "examiner_id": f"E-{1 + number % 2}",
        "edema_grade_central": draw.choice((2, 2, 3)) if cloudy else draw.choice((0, 0, 0, 1)),
        "iop_pod1_mmhg": float(round(draw.gauss(17, 5.5))),
        "seidel": "negative",
        "blinded_to_prediction": True,
    }
    return case_of(key, booking=booking, theatre=theatre, day_one=day_one)


class FixedStore:
    """What a review asks a store, answered from lists."""

    def __init__(self, simulated: Simulated, entries: Sequence[ModelEntry] = ()) -> None:
        self._simulated = simulated
        self._entries = list(entries)
        self.people: list[RegisterEntry] = []

    def cases(self, *, from_: date | None = None, to: date | None = None, patient_id: str | None = None) -> list[Case]:
        return list(self._simulated.cases)

    def forecasts(
        self, *, key: CaseKey | None = None, model: str | None = None, locked: bool | None = None
    ) -> list[StoredForecast]:
        return list(self._simulated.forecasts)

    def register(self, kind: str) -> list[RegisterEntry]:
        return [one for one in self.people if one.kind == kind]

    def models(self) -> list[ModelEntry]:
        return list(self._entries)

    def model(self, model_id: str) -> ModelEntry:
        found = next((entry for entry in self._entries if entry.model_id == model_id), None)
        if found is None:
            raise Refusal("There is no such model.", "None of that number was kept.", "Look at the list.")
        return found

    def in_use(self, model: str) -> ModelEntry | None:
        return next((one for one in self._entries if one.model == model and one.state == "in_use"), None)

    def keys(self, *, patient_id: str | None = None) -> set[CaseKey]:
        return {case.key for case in self._simulated.cases}


def session_on(simulated: Simulated, *, entries: Sequence[ModelEntry] = (), **settings: Any) -> Session:
    """An open session on these cases; `settings` as in `Settings`."""
    store = cast(Store, FixedStore(simulated, entries))
    return Session(store, Settings(**settings), lambda: NOW, "Tester", Path())


@functools.cache
def usual_review() -> Review:
    """The review of the usual simulated practice, made once."""
    return review(
        session_on(
            simulated(),
            practice_name="Invented practice",
            demo=True,
            planning_line=15.0,
            planning_line_set="A. Person, 1 Jan 2026",
        )
    )
