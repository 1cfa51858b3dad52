"""An invented practice: patients, eyes, operations and first days that stand for nobody.

Frequencies and sizes follow published ranges where there are any (the sources stand beside the fields in the table of
fields) and are our own choice elsewhere. Everything is drawn from one seed with the standard library's generator, so
that the same files come out on every machine. What was drawn for an eye's chance never leaves this module.
"""

from __future__ import annotations

import math
import random
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta

Row = dict[str, object]

FIRST_DAY, LAST_DAY = date(2024, 7, 1), date(2026, 9, 30)
BOOKED_FROM, BOOKED_TO = date(2026, 12, 1), date(2026, 12, 11)
PATIENTS = 1078
SURGEONS = (("S-1", "senior", 0.44), ("S-2", "senior", 0.38), ("S-3", "trainee", 0.18))
EXAMINERS = (("N-1", 0.0), ("N-2", -0.15), ("N-3", 0.20))
LINES = (("6/6", 0.0), ("6/7.5", 0.1), ("6/9", 0.18), ("6/12", 0.3), ("6/18", 0.48), ("6/24", 0.6), ("6/36", 0.78),
         ("6/60", 1.0), ("3/60", 1.3))  # fmt: skip
INTERCEPT = -3.03
CUTS = (-1.78, 0.0, 1.5, 3.2)
"""From which latent value on a centre counts as grade 1, 2, 3 and 4."""


@dataclass
class Patient:
    """What both eyes of one patient share."""

    number: str
    birth: date
    sex: str
    draws: dict[str, float]
    health: Row
    effect: float
    guttae: int
    used: list[tuple[str, date]] = field(default_factory=list)


class Practice:
    """Draws patients and eyes one after another from one seed."""

    def __init__(self, seed: int) -> None:
        self.draw = random.Random(seed)
        self.surgeon_effect = {name: 0.3 * self.draw.gauss(0, 1) for name, _, _ in SURGEONS}
        self.count = 0

    def chance(self, share: float) -> bool:
        return self.draw.random() < share

    def one_of(self, weights: dict[str, float]) -> str:
        return self.draw.choices(list(weights), list(weights.values()))[0]

    def patient(self, seen: date, *, age: float | None = None) -> Patient:
        """A new patient; `seen` is about when the first eye is operated."""
        self.count += 1
        draw = self.draw
        years = age if age is not None else min(95.0, max(45.0, draw.gauss(73, 9)))
        birth = seen - timedelta(days=round(years * 365.25))
        guttae = int(self.one_of({"0": 91, "1": 4, "2": 2, "3": 1.5, "4": 1.0, "5": 0.4, "6": 0.1}))
        shared = {
            name: draw.gauss(0, 1) for name in ("hardness", "acd", "al", "cct", "ecd", "cv", "hex", "pupil", "iop")
        }
        return Patient(
            number=f"P-{20000 + self.count}", birth=birth, sex="female" if self.chance(0.57) else "male", draws=shared,
            health=self._health(years), effect=0.5 * draw.gauss(0, 1), guttae=guttae,
        )  # fmt: skip

    def _health(self, age: float) -> Row:
        draw, diabetic = self.draw, self.chance(0.22)
        row: Row = {
            "diabetes": self.one_of({"type2": 90, "type1": 7, "other": 3}) if diabetic else "none",
            "hypertension": self.chance(min(0.85, max(0.1, 0.55 + 0.01 * (age - 73)))),
            "glaucoma": self.one_of({"none": 88, "OHT": 3, "open_angle": 6.5, "angle_closure": 1.7, "other": 0.8}),
            "pseudoexfoliation": self.one_of({"no": 93.5, "suspect": 1.5, "yes": 5}),
            "uveitis_history": self.one_of({"none": 97.8, "past": 2, "active": 0.2}),
            "alpha_blocker": self.chance(0.08),
            "consent_audit_model": self.one_of({"yes": 97, "no": 0.6, "not_asked": 2.4}),
        }
        if diabetic:
            row["diabetes_years"] = round(min(age - 20, 1 + draw.expovariate(1 / 10)), 0)
            row["hba1c_pct"] = round(min(12.0, max(5.2, draw.gauss(7.1, 0.9))), 1)
        return row

    def _twin(self, patient: Patient, name: str, share: float) -> float:
        """A standard normal draw that the two eyes of a patient share to the degree `share`."""
        return math.sqrt(share) * patient.draws[name] + math.sqrt(1 - share) * self.draw.gauss(0, 1)

    def booking(self, patient: Patient, eye: str, day: date) -> Row:
        """The eye as measured and asked about at booking."""
        draw, age = self.draw, (day - patient.birth).days / 365.25
        latent = self._twin(patient, "hardness", 0.7) + 0.28 * (age - 73) / 10
        hardness = 1 + sum(latent > cut for cut in (-1.45, -0.32, 0.74, 1.72))
        guttae = patient.guttae
        level = 0 if guttae == 0 else 1 if guttae <= 2 else 2 if guttae <= 4 else 3
        depth, length = self._twin(patient, "acd", 0.9), self._twin(patient, "al", 0.93)
        length = 0.5 * depth + math.sqrt(0.75) * length
        ecd = 2480 + 330 * self._twin(patient, "ecd", 0.8) - 250 * level
        exfoliation = patient.health["pseudoexfoliation"] == "yes"
        white = (
            "brunescent"
            if hardness == 5 and self.chance(0.35)
            else "white_intumescent"
            if self.chance(0.008)
            else "none"
        )
        row: Row = {
            "patient_id": patient.number, "eye": eye, "surgery_date": day, "birth_date": patient.birth,
            "sex": patient.sex, "guttae_grade": guttae,
            "cct_um": round(min(690, max(450, 545 + 34 * self._twin(patient, "cct", 0.93) + 12 * max(0, level - 1)))),
            "ecd_per_mm2": round(min(3500, max(450, ecd))),
            "endo_cv_pct": round(min(52, max(20, 34 + 6 * self._twin(patient, "cv", 0.6) + 2 * level))),
            "endo_hex_pct": round(min(85, max(25, 58 + 8 * self._twin(patient, "hex", 0.6) - 2 * level))),
            "corneal_haze": self.chance(0.015), "morning_blur": self.chance(0.3 if level >= 2 else 0.005),
            "nucleus_hardness": hardness, "acd_mm": round(min(4.6, max(1.8, 3.15 + 0.40 * depth)), 2),
            "acd_definition": "epithelium", "axial_length_mm": round(min(32.0, max(19.8, 23.5 + 1.2 * length)), 2),
            "pupil_dilated_mm": round(
                min(9.0, max(3.5, 7.0 + 0.9 * self._twin(patient, "pupil", 0.8) - exfoliation)), 1
            ),
            "nuclear_opalescence_no": round(min(6.5, max(1.0, hardness + 0.3 + 0.45 * draw.gauss(0, 1))), 1),
            "white_or_brunescent": white, **patient.health,
            "prior_angle_closure_attack": self.chance(0.15 if patient.health["glaucoma"] == "angle_closure" else 0.002),
            "prior_glaucoma_surgery": self._past_surgery(patient),
            "prior_keratoplasty": "DMEK" if self.chance(0.002) else "none",
            "prior_refractive_surgery": self.chance(0.012), "prior_vitrectomy": self.chance(0.02),
            "only_seeing_eye": self.chance(0.02), "preop_va_raw": self._vision(hardness, white),
            "preop_iop_mmhg": round(min(28, max(8, 15 + 2.8 * self._twin(patient, "iop", 0.7)))),
            "iop_method": "applanation",
            "planned_combined": self._planned(patient),
        }  # fmt: skip
        surgeon = self._surgeon(row)
        row["booked_surgeon_id"] = surgeon
        row["surgery_time"] = time(8, 0)
        return row

    def _planned(self, patient: Patient) -> str:
        return "stent_filter" if patient.health["glaucoma"] == "open_angle" and self.chance(0.12) else "none"

    def _surgeon(self, row: Row) -> str:
        easy = int(row["nucleus_hardness"]) <= 3 and row["guttae_grade"] == 0  # type: ignore[call-overload]
        weights = {
            name: share * (1.35 if easy else 0.45) if grade == "trainee" else share for name, grade, share in SURGEONS
        }
        return self.one_of(weights)

    def _past_surgery(self, patient: Patient) -> str:
        kind = patient.health["glaucoma"]
        if kind == "angle_closure" and self.chance(0.6):
            return "laser_iridotomy"
        return self.one_of({"none": 94, "trabeculectomy": 4, "tube": 2}) if kind == "open_angle" else "none"

    def _vision(self, hardness: int, white: str) -> str:
        if white != "none":
            return self.one_of({"HM": 55, "CF": 40, "LP": 5})
        logmar = 0.25 + 0.10 * (hardness - 1) + 0.16 * self.draw.gauss(0, 1)
        return min(LINES, key=lambda line: abs(line[1] - logmar))[0]

    def theatre(self, row: Row) -> Row:
        """What was done to a booked eye."""
        draw, hardness, guttae = self.draw, int(str(row["nucleus_hardness"])), int(str(row["guttae_grade"]))
        surgeon = str(row["booked_surgeon_id"])
        grade = next(grade for name, grade, _ in SURGEONS if name == surgeon)
        trainee = grade == "trainee"
        ways = {
            "S-1": {"phaco_chop_horizontal": 78, "phaco_chop_vertical": 14, "stop_chop": 8},
            "S-2": {"stop_chop": 58, "divide_conquer": 24, "phaco_chop_horizontal": 18},
            "S-3": {"divide_conquer": 72, "stop_chop": 28},
        }[surgeon]
        technique = self.one_of(ways)
        machine = self.one_of(
            {"M-1": {"S-1": 70, "S-2": 25, "S-3": 55}[surgeon], "M-2": {"S-1": 30, "S-2": 75, "S-3": 45}[surgeon]}
        )
        by_way = 1.35 if technique == "divide_conquer" else 0.85 if technique.startswith("phaco_chop") else 1.0
        swings = machine == "M-2"
        seconds = 8 * math.exp(0.42 * hardness + 0.45 * draw.gauss(0, 1)) * by_way * (0.85 if swings else 1.0)
        power = min(45.0, max(4.0, draw.gauss(18 if swings else 16, 5)))
        fluid = (
            (40 + 12 * (hardness - 1))
            * math.exp(0.35 * draw.gauss(0, 1))
            * (1.2 if technique == "divide_conquer" else 1)
        )
        minutes = (6 + 0.06 * seconds + 6 * trainee) * math.exp(0.2 * draw.gauss(0, 1))
        plane = self.one_of(
            {
                "bag": 78 - 4 * hardness,
                "iris_plane": 10 + 4 * hardness,
                "mixed": 4,
                "anterior_chamber": 1 + 0.6 * hardness,
            }
        )
        rupture = self.chance(0.010 + 0.012 * trainee + 0.010 * (hardness == 5))
        small = float(str(row["pupil_dilated_mm"])) < 5.0
        coats = {"both_soft_shell": 40 + 40 * (guttae > 0), "dispersive": 26, "cohesive": 26, "viscoadaptive": 8}
        combined = str(row["planned_combined"])
        return {
            "surgeon_id": surgeon, "surgeon_grade": grade, "supervised": trainee,
            "anaesthesia": self.one_of({"topical": 70, "intracameral": 12, "sub_tenon": 18}),
            "ovd_strategy": self.one_of(coats), "main_incision_mm": self.one_of({"2.2": 55, "2.4": 35, "2.8": 10}),
            "incision_plane": "clear_corneal",
            "incision_site": self.one_of({"temporal": 70, "superior": 20, "oblique": 10}),
            "sideport_count": 1 + self.chance(0.6),
            "corneal_striae_intraop": int(self.one_of({"0": 70, "1": 22, "2": 7, "3": 1})),
            "dispersive_recoat": self.one_of({"no": 75 - 30 * (guttae > 0), "once": 22 + 20 * (guttae > 0), "more": 3}),
            "nucleus_hardness_theatre": min(5, max(1, hardness + self.draw.choices((-1, 0, 1), (10, 78, 12))[0])),
            "technique": technique, "femto_laser": False, "working_plane": plane, "phaco_machine_id": machine,
            "us_time_s": round(min(300.0, max(5.0, seconds)), 1), "us_mean_power_pct": round(power, 1),
            "us_motion": "torsional" if swings else "longitudinal",
            "irrigation_volume_ml": round(min(400.0, max(20.0, fluid))),
            "aspiration_time_s": round(min(900.0, max(30.0, 2.2 * seconds + draw.gauss(90, 25)))),
            "iop_setting_mmhg": round(min(90.0, max(28.0, draw.gauss(62 if not swings else 55, 8)))),
            "case_minutes": round(min(90.0, max(5.0, minutes))),
            "ovd_removal": self.one_of({"standard": 60, "standard|bag_behind_lens": 34, "standard|angle_sweep": 6}),
            "stromal_hydration": int(self.one_of({"0": 10, "1": 55, "2": 30, "3": 5})),
            "suture": self.chance(0.02 + 0.2 * rupture),
            "pcr": self._capsule(rupture),
            "descemet_detachment": self.one_of({"none": 96.5, "incision_only": 3.2, "under_quarter": 0.3}),
            "endothelial_touch": self.chance(0.02 + 0.02 * trainee), "iris_prolapse": self.chance(0.01),
            "iris_hooks_or_ring": small and self.chance(0.5), "capsule_dye": row["white_or_brunescent"] != "none",
            "ctr": self.chance(0.01), "vitrectomy": False, "combined_procedure": combined,
        }  # fmt: skip

    def _capsule(self, rupture: bool) -> str:
        if rupture:
            return self.one_of({"PCR": 50, "PCR+vitreous": 50})
        return "zonular_dialysis" if self.chance(0.003) else "none"

    def latent(self, row: Row, patient: Patient) -> float:
        """Log-odds of the drawn eye; stays inside the generator."""
        age = (row["surgery_date"] - patient.birth).days / 365.25  # type: ignore[operator]
        guttae, plane = int(str(row["guttae_grade"])), row["working_plane"]
        energy = float(str(row["us_time_s"])) * float(str(row["us_mean_power_pct"])) / 100
        return (
            INTERCEPT + 0.45 * (int(str(row["nucleus_hardness"])) - 3) - 0.6 * (float(str(row["acd_mm"])) - 3.15)
            + (1.5 if guttae >= 3 else 0.6 if guttae else 0.0) + 0.4 * (row["diabetes"] != "none")
            + 0.4 * (row["glaucoma"] not in ("none", "OHT")) + 0.2 * (age - 73) / 10
            + 0.25 * (2480 - float(str(row["ecd_per_mm2"]))) / 500 + 0.5 * energy / 10
            + 0.2 * float(str(row["irrigation_volume_ml"])) / 100
            + {"iris_plane": 0.3, "mixed": 0.3, "anterior_chamber": 1.0}.get(str(plane), 0.0)
            + 0.9 * str(row["pcr"]).startswith("PCR") - 0.25 * (row["ovd_strategy"] == "both_soft_shell")
            + 0.5 * (row["surgeon_grade"] == "trainee") + self.surgeon_effect[str(row["surgeon_id"])] + patient.effect
        )  # fmt: skip

    def day_one(self, row: Row, patient: Patient) -> Row:
        """The first day after an operation, or why there was none."""
        draw, eta = self.draw, self.latent(row, patient)
        age = (row["surgery_date"] - patient.birth).days / 365.25  # type: ignore[operator]
        started = datetime.combine(row["surgery_date"], row["surgery_time"])  # type: ignore[arg-type]
        share = 0.057 * (1.6 if eta < INTERCEPT + 0.4 else 0.7) * (2.2 if age > 85 else 1.0)
        if row["pcr"] == "none" and self.chance(share):
            return {
                "visit_status": self.one_of(
                    {"missed": 70, "seen_elsewhere": 14, "remote_only": 12, "transferred": 3, "deceased": 1}
                )
            }
        uniform = min(1 - 1e-9, max(1e-9, draw.random()))
        noise = math.log(uniform / (1 - uniform))
        examiner, shift = EXAMINERS[draw.choices(range(3), (50, 32, 18))[0]]
        grade = sum(eta + noise + shift > cut for cut in CUTS)
        morning = datetime.combine(started.date() + timedelta(days=1), time(8, 0)) + timedelta(
            minutes=5 * draw.randrange(42)
        )
        seen = morning
        if self.chance(0.02):
            seen = morning + timedelta(days=1, hours=draw.choice((2, 4, 6)))
        elif self.chance(0.006):
            seen = started + timedelta(hours=4, minutes=5 * draw.randrange(24))
        return {"visit_status": "attended", "exam_at": seen, "examiner_id": examiner, "examiner_is_surgeon": False,
                "blinded_to_prediction": True, **self._cornea(row, grade, noise)}  # fmt: skip

    def _cornea(self, row: Row, grade: int, noise: float) -> Row:
        draw, plane = self.draw, str(row["working_plane"])
        energy = float(str(row["us_time_s"])) * float(str(row["us_mean_power_pct"])) / 100
        mean = (
            1.75 + 0.02 * energy + 0.10 * (int(str(row["nucleus_hardness"])) - 3)
            - 0.25 * (float(str(row["acd_mm"])) - 3.15)
            + {"iris_plane": 0.15, "mixed": 0.15, "anterior_chamber": 0.45}.get(plane, 0.0)
            + 0.35 * (row["surgeon_grade"] == "trainee")
        )  # fmt: skip
        rise = math.exp(mean + 0.55 * (0.5 * noise / 1.81 + 0.866 * draw.gauss(0, 1)))
        folds = {0: {"0": 88, "1-4": 12}, 1: {"0": 40, "1-4": 60}, 2: {"0": 8, "1-4": 47, "5-9": 45},
                 3: {"1-4": 10, "5-9": 50, "10+": 40}, 4: {"5-9": 20, "10+": 80}}[grade]  # fmt: skip
        extent = {
            0: {"none": 70, "wound_only": 30}, 1: {"wound_only": 20, "sector": 45, "central": 35},
            2: {"central": 85, "sector": 15}, 3: {"central": 75, "limbus_to_limbus": 25}, 4: {"limbus_to_limbus": 100},
        }[grade]  # fmt: skip
        pressure = min(
            46.0, max(7.0, 17.5 + 5.5 * draw.gauss(0, 1) + 1.5 * grade + 3 * (row["glaucoma"] not in ("none", "OHT")))
        )
        blurred = 0.15 + 0.16 * grade + 0.1 * draw.gauss(0, 1)
        return {
            "edema_grade_central": grade,
            "edema_grade_peripheral": min(4, max(0, grade + draw.choices((-1, 0, 1, 2), (10, 40, 40, 10))[0])),
            "edema_epithelial": pressure > 32 or grade >= 3, "edema_extent": self.one_of(extent),
            "descemet_folds": self.one_of(folds),
            "cct_pod1_um": round(min(1100, float(str(row["cct_um"])) * (1 + rise / 100))),
            "ucva_raw": min(LINES, key=lambda line: abs(line[1] - blurred))[0] if grade < 4 else "CF",
            "iop_pod1_mmhg": round(pressure), "iop_pod1_method": "applanation",
            "ac_cells_sun": self.one_of({"0": 4, "0.5": 26, "1": 48, "2": 18 + 4 * grade, "3": 1 + 2 * grade}),
            "ac_flare_sun": self.one_of({"0": 30, "1": 58, "2": 11 + 4 * grade, "3": 1}),
            "seidel": self.one_of({"not_tested": 35, "negative": 64, "positive_slow": 0.8}),
            "chamber_day_one": "formed", "pain_0_10": int(self.one_of({"0": 55, "1": 22, "2": 13, "3": 7, "4": 3})),
            "headache_or_nausea": pressure > 35 and self.chance(0.4), "hypopyon": False, "fibrin": self.chance(0.004),
            "hyphaema": self.chance(0.003), "epithelial_defect": self.chance(0.01),
            "retained_lens": self.chance(0.003), "iol_position": "centred",
            "action_taken": self._action(pressure, grade),
        }  # fmt: skip

    def _action(self, pressure: float, grade: int) -> str:
        if pressure > 30:
            return "oral_IOP_drug"
        return self.one_of({"none": 90, "drops_changed": 10 + 40 * (grade >= 2)})
