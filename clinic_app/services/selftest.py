"""Acts for harnesses that try the program from outside."""

from __future__ import annotations

import importlib.util
import tempfile
from collections.abc import Iterator
from dataclasses import asdict
from datetime import date, timedelta
from pathlib import Path
from typing import Any

from clinic_app.domain.record import CaseKey, StageRecord
from clinic_app.errors import Refusal
from clinic_app.session import Session, open_session
from models.codebook import FIELDS, Stage, codebook_print
from models.fit import fit_logistic
from models.prior import Prior

FIRST_DAY = date(2026, 1, 1)


def first_number(session: Session) -> int:
    """The number of the first invented eye that the practice does not hold yet."""
    return session.store.counts().cases


def demand_trial(session: Session) -> None:
    """Refuse a practice where people are registered: these acts know neither duties nor the seal."""
    if session.people:
        raise Refusal(
            what="Nothing was done.",
            why="People are registered in this practice, and acts for testing know neither duties nor the seal.",
            next="Use a practice folder made for testing.",
        )


def save_one(session: Session, number: int) -> str:
    """Save one invented eye, booked and graded, in one act; returns its number once the commit has returned."""
    demand_trial(session)
    key = CaseKey(f"T-{number:08d}", "RL"[number % 2], FIRST_DAY + timedelta(days=number % 300))
    born = date(1950, 1, 1)
    booking = StageRecord(Stage.BOOKING, {"birth_date": born, "nucleus_hardness": 1 + number % 5, "acd_mm": 3.1})
    day_one = StageRecord(Stage.DAY_ONE, {"visit_status": "attended", "edema_grade_central": number % 5})
    with session.store.writing(by=session.person, act="selftest") as write:
        write.put_stage(key, booking)
        write.put_stage(key, day_one)
    return key.patient_id


def dump(session: Session) -> Iterator[dict[str, object]]:
    """Everything the practice holds, in a fixed order."""
    demand_trial(session)
    for case in session.store.cases():
        yield {"kind": "case", **case.row()}
        for visit in case.rechecks:
            yield {"kind": "recheck", **asdict(case.key), **visit.record.row()}
    for entry in session.store.models():
        yield {"kind": "model", **asdict(entry)}
    for forecast in session.store.forecasts():
        yield {"kind": "forecast", **asdict(forecast)}
    for line in session.store.history():
        yield {"kind": "history", **asdict(line)}


def self_check() -> dict[str, Any]:
    """Whether this installation can do its work."""
    checks = [_codebook(), _arithmetic(), _store(), _window()]
    return {"ok": all(one["ok"] for one in checks), "checks": checks}


def _codebook() -> dict[str, Any]:
    return {"name": "codebook", "ok": True, "detail": f"{len(FIELDS)} fields, print {codebook_print()}"}


def _arithmetic() -> dict[str, Any]:
    """Two columns by hand: with a 2 x 2 table of counts the fit is the log of the odds ratio."""
    columns = [[0.0]] * 40 + [[1.0]] * 40
    outcome = [0.0] * 30 + [1.0] * 10 + [0.0] * 20 + [1.0] * 20
    free = fit_logistic(columns, outcome)
    held = fit_logistic(columns, outcome, prior=Prior.ridge(1.0, 1))
    good = abs(free.coefficients[0] - 1.0986122886681098) < 1e-8 and 0 < held.coefficients[0] < free.coefficients[0]
    return {"name": "arithmetic", "ok": bool(good), "detail": "fit of a 2 x 2 table equals the log odds ratio"}


def _store() -> dict[str, Any]:
    with (
        tempfile.TemporaryDirectory(prefix="self-check-") as name,
        open_session(Path(name), person="self-check") as session,
    ):
        save_one(session, 0)
        found = session.store.verify()
    return {"name": "store", "ok": all(one.ok for one in found), "detail": "an eye written, read and verified"}


def _window() -> dict[str, Any]:
    found = importlib.util.find_spec("PySide6") is not None
    return {"name": "window", "ok": True, "detail": "toolkit found" if found else "no toolkit: commands only"}
