"""Fitting a candidate from the practice's own records."""

from __future__ import annotations

import time
from datetime import date
from typing import Any

from clinic_app.domain.people import Duty
from clinic_app.errors import Refusal
from clinic_app.session import Session
from models.optimism import REDONE
from models.progress import Report, silent
from models.spec import default_spec
from models.training import train


def train_candidate(
    session: Session,
    *,
    model: str,
    until: date | None = None,
    resamples: int = 200,
    blanks: str = REDONE,
    seed: int = 1,
    report: Report = silent,
) -> dict[str, Any]:
    """Fit a candidate on the eyes operated up to `until` and keep its card; the model in use stays as it is.

    The first model counts every eye alike; later candidates let the weight of an eye halve every four quarters. blanks:
    what the resamples do about them, `redone` or `frozen` (see `models.train`).
    Returns the document of the `train` command. Raises `ModelError` when the records are too few, with the counts.
    """
    session.need(Duty.DATA_LEAD, act="Fitting a candidate")
    started = time.perf_counter()
    if session.outcome_cut != session.settings.outcome_cut:
        raise Refusal(
            what="No candidate was fitted.",
            why=f"The settings call an eye cloudy from grade {session.settings.outcome_cut}, the model in use from "
            f"grade {session.outcome_cut}; the definition is fixed by the first model.",
            next=f"Set outcome_cut back to {session.outcome_cut} in the practice's settings.",
        )
    rows = session.rows(to=until)
    trained = train(
        rows,
        model=model,
        until=until,
        spec=default_spec(model, cut=session.settings.outcome_cut),
        weights="none" if session.store.in_use(model) is None else "halving",
        resamples=resamples,
        blanks=blanks,
        seed=seed,
        report=report,
    )
    seconds = round(time.perf_counter() - started, 3)
    with session.store.writing(by=session.person, act="train") as write:
        entry = write.add_model(model, trained.card.to_text())
    return {"model_id": entry.model_id, "model": model, "state": "candidate", **trained.summary, "seconds": seconds}
