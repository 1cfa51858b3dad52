"""Invented practices for the study: eyes whose true chance is known, and is not of the form that the models fit.

Frequencies are published ranges where there are any and our own choice elsewhere. Two truths. `papers_right`: published
directions hold roughly; the depth is a hinge (steep below 2.9 mm), guttae have six levels where the models see three,
hardness has uneven steps. `papers_wrong`: most published effects are absent or reversed, others matter instead.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from functools import cache

import numpy as np
from scipy.special import expit

Row = dict[str, object]

TRUTHS = ("papers_right", "papers_wrong")
RATE = 0.11
SURGEON_SHARES = np.array([0.35, 0.25, 0.20, 0.12, 0.08])
SURGEON_SD, PATIENT_SD, THEATRE_SD = 0.3, 0.5, 0.3
"""Spread of the log-odds between surgeons, between patients, and by what happens in theatre."""

_NODES, _MASS = np.polynomial.hermite_e.hermegauss(20)


@dataclass(frozen=True)
class Eyes:
    """rows: as a practice would record them, outcome included; chance: [n] true chance given every measurement,
    averaged over the practice's surgeons (by their share of its eyes), over patients and over what happens in theatre;
    whole: [n] whether no measurement is missing."""

    rows: list[Row]
    chance: np.ndarray
    whole: np.ndarray


class Practice:
    """One practice with its own five surgeons; `eyes` draws as many new eyes of it as wanted."""

    def __init__(self, truth: str, seed: tuple[int, ...]) -> None:
        self._truth = truth
        self._draw = np.random.default_rng(seed)
        self._surgeons = self._draw.normal(0.0, SURGEON_SD, SURGEON_SHARES.shape[0])
        self._habit = self._draw.normal(0.0, 0.8, SURGEON_SHARES.shape[0])

    def eyes(self, n: int) -> Eyes:
        """n eyes, seven in ten of them in pairs."""
        draw = self._draw
        patient, columns = _measurements(n, draw)
        eta = _intercept(self._truth) + _log_odds(self._truth, columns)
        surgeon = draw.choice(SURGEON_SHARES.shape[0], int(patient.max()) + 1, p=SURGEON_SHARES)[patient]
        own = draw.normal(0.0, PATIENT_SD, int(patient.max()) + 1)[patient]
        spread = np.hypot(PATIENT_SD, THEATRE_SD)
        inner = eta[:, None] + self._surgeons
        chance = (expit(inner[:, :, None] + spread * _NODES) @ (_MASS / _MASS.sum())) @ SURGEON_SHARES
        cloudy = draw.random(n) < expit(eta + self._surgeons[surgeon] + own + draw.normal(0.0, THEATRE_SD, n))
        blank = _blanks(columns, self._habit[surgeon], draw)
        return Eyes(_rows(patient, columns, blank, cloudy, draw), chance, ~np.any(list(blank.values()), axis=0))


@cache
def _intercept(truth: str) -> float:
    """The intercept at which a large population has the wanted rate."""
    draw = np.random.default_rng(20)
    _, columns = _measurements(100_000, draw)
    rest = _log_odds(truth, columns)
    rest += np.sqrt(SURGEON_SD**2 + PATIENT_SD**2 + THEATRE_SD**2) * draw.standard_normal(rest.shape[0])
    low, high = -10.0, 5.0
    for _ in range(50):
        middle = (low + high) / 2.0
        low, high = (middle, high) if expit(middle + rest).mean() < RATE else (low, middle)
    return middle


def _measurements(n: int, draw: np.random.Generator) -> tuple[np.ndarray, dict[str, np.ndarray]]:
    """Patient of each eye, and what could be measured of it; two eyes of a patient resemble each other."""
    pair = draw.random(n) < 0.7 / 1.3
    patient = np.repeat(np.arange(n), np.where(pair, 2, 1))[:n]
    size = int(patient.max()) + 1

    def alike(share: float) -> np.ndarray:
        return np.sqrt(share) * draw.standard_normal(size)[patient] + np.sqrt(1.0 - share) * draw.standard_normal(n)

    age = np.clip(draw.normal(73.0, 9.0, size), 45.0, 95.0)[patient]
    shape = alike(0.85)
    depth = np.clip(3.15 + 0.40 * shape, 2.0, 4.6)
    axial = np.clip(23.5 + 1.2 * (0.5 * shape + np.sqrt(0.75) * alike(0.85)), 20.0, 31.0)
    hardness = 1 + np.searchsorted([-1.405, -0.305, 0.706, 1.645], alike(0.7) + 0.027 * (age - 73.0))
    guttae = np.searchsorted([1.341, 1.555, 1.881, 2.170, 2.576], alike(0.8))
    return patient, {
        "age": age,
        "female": (draw.random(size) < 0.57)[patient],
        "hardness": hardness,
        "guttae": guttae,
        "depth": depth,
        "axial": axial,
        "thickness": 545.0 + 34.0 * alike(0.8),
        "count": np.clip(2480.0 + 330.0 * alike(0.6) - 250.0 * np.minimum(guttae, 3), 600.0, 3800.0),
        "diabetes": (draw.random(size) < 0.22)[patient],
        "glaucoma": alike(0.8) > 1.341,
        "pex": alike(0.7) > 1.645,
    }  # fmt: skip


def _log_odds(truth: str, x: dict[str, np.ndarray]) -> np.ndarray:
    age, thin = (x["age"] - 73.0) / 10.0, (2480.0 - x["count"]) / 500.0
    levels = np.array([0.0, 0.35, 0.7, 1.2, 1.6, 2.2])[x["guttae"]]
    if truth == "papers_right":
        steps = np.array([-0.7, -0.5, 0.0, 0.6, 1.2])[x["hardness"] - 1]
        hinge = -0.25 * (x["depth"] - 3.15) + 1.8 * np.maximum(2.9 - x["depth"], 0.0)
        return (
            0.2 * age + steps + levels + hinge + 0.25 * thin + 0.4 * x["diabetes"] + 0.4 * x["glaucoma"]
            + 0.2 * x["pex"]
        )  # fmt: skip
    return (
        -0.2 * age + 0.09 * (x["hardness"] - 3) + levels / 3.0 + 0.6 * thin - 0.4 * x["glaucoma"] + 1.0 * x["pex"]
        - 0.4 * x["female"] + 0.35 * (x["thickness"] - 545.0) / 34.0 + 0.3 * (x["axial"] - 23.5) / 1.2
    )  # fmt: skip


def _blanks(x: dict[str, np.ndarray], habit: np.ndarray, draw: np.random.Generator) -> dict[str, np.ndarray]:
    """Which answers are missing: by other fields, by surgeon, and the count slightly by itself."""
    n = habit.shape[0]
    count = draw.random(n) < expit(
        -0.55 + 0.5 * (x["guttae"] == 0) - 0.8 * (x["guttae"] > 0) + 0.4 * (x["hardness"] >= 4) + habit
        + 0.15 * (x["count"] - 2480.0) / 330.0
    )  # fmt: skip

    def at(share: np.ndarray | float) -> np.ndarray:
        return draw.random(n) < share

    return {
        "ecd_per_mm2": count,
        "cct_um": at(np.where(count, 0.18, 0.05)),
        "acd_mm": at(np.where(x["hardness"] >= 4, 0.10, 0.03)),
        "nucleus_hardness": at(0.03),
        "guttae_grade": at(np.where(x["age"] > 80.0, 0.08, 0.04)),
        "pseudoexfoliation": at(0.03),
        "axial_length_mm": at(0.02),
        "diabetes": at(0.02),
        "glaucoma": at(0.02),
    }


def _rows(
    patient: np.ndarray, x: dict[str, np.ndarray], blank: dict[str, np.ndarray], cloudy: np.ndarray,
    draw: np.random.Generator,
) -> list[Row]:  # fmt: skip
    n = patient.shape[0]
    second = np.concatenate([[False], patient[1:] == patient[:-1]])
    days = draw.integers(0, 720, n)
    recorded = {
        "age_years": x["age"].round(1),
        "sex": np.where(x["female"], "female", "male"),
        "nucleus_hardness": x["hardness"],
        "guttae_grade": x["guttae"],
        "acd_mm": x["depth"].round(2),
        "cct_um": x["thickness"].round(0),
        "ecd_per_mm2": x["count"].round(0),
        "diabetes": np.where(x["diabetes"], "type2", "none"),
        "glaucoma": np.where(x["glaucoma"], "open_angle", "none"),
        "pseudoexfoliation": np.where(x["pex"], "yes", "no"),
        "axial_length_mm": x["axial"].round(2),
    }
    lists = {name: values.tolist() for name, values in recorded.items()}
    missing = {name: values.tolist() for name, values in blank.items()}
    rows = []
    for i in range(n):
        row: Row = {
            "patient_id": f"P{patient[i]:06d}", "eye": "L" if second[i] else "R",
            "surgery_date": date(2023, 1, 9) + timedelta(days=int(days[i])), "acd_definition": "epithelium",
            "visit_status": "attended", "hours_since_surgery": 20.0, "edema_grade_central": 2 if cloudy[i] else 0,
        }  # fmt: skip
        row |= {name: values[i] for name, values in lists.items() if not (name in missing and missing[name][i])}
        rows.append(row)
    return rows
