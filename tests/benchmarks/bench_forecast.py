"""How long one forecast takes, and a million beside scikit-learn."""

from __future__ import annotations

import statistics
import sys
from collections.abc import Callable
from pathlib import Path

import numpy as np
from protocol import Case, LogisticRegression, cpu

sys.path.append(str(Path(__file__).parents[1] / "models"))

from invented_practice import practice

from models.card import Card, read_card
from models.forecast import Forecast
from models.synthetic import USUAL, USUAL_THEATRE
from models.training import train

BATCHES, TIMES = 15, 400
BLANKS: dict[str, tuple[str, ...]] = {
    "complete": (),
    "1 blank": ("ecd_per_mm2",),
    "3 blanks": ("ecd_per_mm2", "cct_um", "axial_length_mm"),
    "depth and 2 more blank": ("acd_mm", "ecd_per_mm2", "glaucoma"),
}
THEATRE = {**USUAL_THEATRE, "phaco_machine_id": "M1", "us_motion": "longitudinal", "effective_phaco_time_s": 6.5}


def microseconds(work: Callable[[], object], times: int = TIMES) -> dict[str, float]:
    """CPU microseconds of one call: the median of batches, the quickest and the slowest of them."""
    work()
    found = sorted(cpu(lambda: [work() for _ in range(times)]) / times * 1e6 for _ in range(BATCHES))
    return {"us": round(statistics.median(found), 2), "least": round(found[0], 2), "most": round(found[-1], 2)}


def numbers(forecast: Forecast) -> object:
    """Everything of a forecast that is a number."""
    return forecast.risk, forecast.low, forecast.high, forecast.would_narrow_most, forecast.reasons


def one_eye(card: Card, answers: dict[str, object]) -> list[Case]:
    """One forecast of an eye, complete and with blanks."""
    cases = []
    for words, blank in BLANKS.items():
        row = {name: value for name, value in answers.items() if name not in blank}
        forecast = card.forecaster.forecast
        if forecast(row).risk is None:
            raise SystemExit(f"The eye of the benchmark is refused: {forecast(row).note}")
        for read, work in (
            ("chance and range", lambda: forecast(row)),
            ("and reasons, narrowing", lambda: numbers(forecast(row))),
            ("and every word", lambda: forecast(row).as_dict()),
        ):
            found = microseconds(work)
            notes = f"microseconds {found['us']} ({found['least']} to {found['most']}); {words}"
            size = f"{card.model}, {len(card.spec.base)} columns"
            seconds = [found["us"] / 1e6]
            cases.append(
                Case(f"one forecast: {read}", size, ours=seconds, notes=notes, goal="15, gate 50 microseconds")
            )
    return cases


def many_eyes(card: Card, n: int) -> list[Case]:
    """Chances of n eyes beside predict_proba of the same straight line; then what blanks and ranges cost."""
    rng = np.random.default_rng(20)
    formula = card.formula
    q = formula.mean.shape[0]
    table = rng.multivariate_normal(formula.mean, formula.field_covariance, n)
    line = LogisticRegression()
    line.classes_, line.coef_ = np.array([0, 1]), formula.coefficients[None, :q].copy()
    line.intercept_ = np.array([formula.intercept - formula.coefficients[:q] @ formula.centre[:q]])
    sparse = np.where(rng.random((n, q)) < 0.05, np.nan, table)
    apart = ""
    if not card.spec.curved:
        away = float(np.abs(card.scores(table).risk - line.predict_proba(table)[:, 1]).max())
        apart = f"{away:.1e} from predict_proba"
    cases = []
    for words, work in (
        ("complete", lambda: card.scores(table)),
        ("complete, with ranges", lambda: card.scores(table, ranges=True)),
        ("5 in 100 answers blank", lambda: card.scores(sparse)),
    ):
        form = "curved" if card.spec.curved else "straight"
        case = Case(f"scoring, {words}, {form}", f"{n} x {q}", goal="complete: x15", error=apart)
        cases.append(case.run(work, {"predict_proba": (lambda: line.predict_proba(table), 1.0)}).weigh(work))
    return cases


def cases(eyes: int = 1_000_000) -> list[Case]:
    """One forecast and many, by a booking card with the depth's curve, an end-of-case card and a straight one."""
    rows = practice(1250)
    found: list[Case] = []
    for model, answers in (("booking", dict(USUAL)), ("end_of_case", {**USUAL, **THEATRE})):
        card = train(rows, model=model, resamples=0).card
        text = card.to_text()
        reading = microseconds(lambda: read_card(text), 5)
        notes = f"{reading['us'] / 1000.0:.1f} ms"
        found += [Case("reading a card", model, ours=[reading["us"] / 1e6], notes=notes), *one_eye(card, answers)]
        found += many_eyes(card, eyes)
    return [*found, *many_eyes(train(rows[:700], model="booking", resamples=0).card, eyes)]
