"""An invented practice for the tests of cards and training: simulated eyes, nobody's records.

Settings follow the field's published ranges; effects are those the simulator is built on, not estimates.
"""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np

Row = dict[str, object]


def practice(n: int = 700, *, seed: int = 5, start: date = date(2023, 1, 9), days: int = 720) -> list[Row]:
    """Rows of `n` operated eyes, most of them in pairs, with blanks; about one in ten cloudy."""
    rng = np.random.default_rng(seed)
    rows: list[Row] = []
    patient = 0
    while len(rows) < n:
        patient += 1
        own = _patient(rng, f"P{patient:05d}")
        for eye in ("R", "L")[: 2 if rng.random() < 0.7 else 1]:
            if len(rows) < n:
                rows.append(_eye(rng, own, eye, start + timedelta(days=int(rng.integers(0, days)))))
    return rows


def _patient(rng: np.random.Generator, name: str) -> Row:
    age = float(np.clip(rng.normal(73, 9), 45, 95))
    return {
        "patient_id": name,
        "age_years": round(age, 1),
        "sex": "female" if rng.random() < 0.57 else "male",
        "diabetes": str(rng.choice(["none", "type2", "type1"], p=[0.78, 0.2, 0.02])),
        "glaucoma": str(rng.choice(["none", "OHT", "open_angle"], p=[0.86, 0.05, 0.09])),
        "_tilt": float(rng.normal(0, 0.5)),
    }


def _eye(rng: np.random.Generator, patient: Row, eye: str, day: date) -> Row:
    row = dict(patient, eye=eye, surgery_date=day)
    tilt = float(row.pop("_tilt"))
    age = float(row["age_years"])
    hardness = int(np.clip(round(rng.normal(2.8 + 0.025 * (age - 73), 0.95)), 1, 5))
    guttae = int(rng.choice([0, 1, 2, 3, 4, 5], p=[0.91, 0.035, 0.025, 0.015, 0.01, 0.005]))
    depth = float(np.clip(rng.normal(3.15, 0.4), 2.0, 4.6))
    axial = 23.5 + 1.5 * (depth - 3.15) + rng.normal(0, 1.0)
    count = rng.normal(2480, 330) - 250 * (guttae > 0) * min(guttae, 2)
    time = 8 * np.exp(0.42 * hardness + rng.normal(0, 0.45))
    seconds = time * np.clip(rng.normal(16, 5), 4, 45) / 100
    fluid = (40 + 12 * (hardness - 1)) * np.exp(rng.normal(0, 0.35))
    junior = rng.random() < 0.3
    plane = str(rng.choice(["bag", "iris_plane", "anterior_chamber", "mixed"], p=[0.72, 0.15, 0.05, 0.08]))
    technique = str(rng.choice(["divide_conquer", "phaco_chop_horizontal", "stop_chop"], p=[0.3, 0.5, 0.2]))
    rupture = rng.random() < 0.015
    eta = (
        -3.5 + 0.45 * (hardness - 3) - 0.6 * (depth - 3.15) + 0.6 * (guttae in (1, 2)) + 1.5 * (guttae >= 3)
        + 0.4 * (row["diabetes"] != "none") + 0.4 * (row["glaucoma"] == "open_angle") + 0.02 * (age - 73)
        - 0.25 * (count - 2480) / 500 + 0.05 * seconds + 0.002 * fluid + 0.3 * (plane in ("iris_plane", "mixed"))
        + 1.0 * (plane == "anterior_chamber") + 0.9 * rupture + 0.5 * junior + tilt
    )  # fmt: skip
    cloudy = rng.random() < 1 / (1 + np.exp(-eta))
    row.update(
        nucleus_hardness=hardness, guttae_grade=guttae, acd_mm=round(depth, 2), acd_definition="epithelium",
        cct_um=round(float(rng.normal(545, 34)), 0), ecd_per_mm2=round(float(np.clip(count, 700, 3600)), 0),
        pseudoexfoliation=str(rng.choice(["no", "suspect", "yes"], p=[0.93, 0.02, 0.05])),
        axial_length_mm=round(float(axial), 2), phaco_machine_id=str(rng.choice(["M1", "M2"], p=[0.7, 0.3])),
        us_motion="longitudinal", effective_phaco_time_s=round(float(seconds), 2),
        irrigation_volume_ml=round(float(fluid), 0), case_minutes=round(float(6 + 0.06 * time + 6 * junior), 0),
        working_plane=plane, technique=technique, pcr="PCR" if rupture else "none",
        surgeon_grade="junior" if junior else "senior",
        ovd_strategy=str(rng.choice(["dispersive", "cohesive", "both_soft_shell"], p=[0.5, 0.2, 0.3])),
        visit_status="attended", hours_since_surgery=round(float(rng.uniform(17, 27)), 1),
        edema_grade_central=int(rng.choice([2, 3, 4], p=[0.75, 0.2, 0.05])) if cloudy else int(rng.integers(0, 2)),
    )  # fmt: skip
    shares = {
        "ecd_per_mm2": 0.4, "cct_um": 0.1, "irrigation_volume_ml": 0.15, "working_plane": 0.15,
        "effective_phaco_time_s": 0.1, "guttae_grade": 0.04, "acd_mm": 0.04, "axial_length_mm": 0.02,
        "pseudoexfoliation": 0.03, "nucleus_hardness": 0.03, "case_minutes": 0.03,
    }  # fmt: skip
    for name, share in shares.items():
        if rng.random() < share:
            del row[name]
    return row
