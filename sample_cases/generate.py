"""Writes the files of the invented practice into this folder (or the folder given), the same bytes each time.

python sample_cases/generate.py [FOLDER]
"""

from __future__ import annotations

import csv
import io
import re
import sys
import zipfile
from datetime import date, datetime, time, timedelta
from pathlib import Path

from invented import BOOKED_FROM, BOOKED_TO, FIRST_DAY, LAST_DAY, PATIENTS, Patient, Practice, Row
from openpyxl import Workbook

Put = tuple[int, str, str, str]
"""A cell put in on purpose: index of its row, column, text, what is expected."""

SEED = 11
KEY = ("patient_id", "eye", "surgery_date")
BOOKED_EYES, SHEET_EYES = 30, 40
BLANKS: dict[str, float] = {
    "guttae_grade": 0.05, "nuclear_opalescence_no": 0.40, "nucleus_hardness": 0.03, "white_or_brunescent": 0.02,
    "acd_mm": 0.05, "cct_um": 0.10, "axial_length_mm": 0.02, "pupil_dilated_mm": 0.30, "pseudoexfoliation": 0.03,
    "diabetes": 0.02, "diabetes_years": 0.40, "hba1c_pct": 0.50, "hypertension": 0.03, "glaucoma": 0.02,
    "uveitis_history": 0.03, "prior_angle_closure_attack": 0.03, "prior_glaucoma_surgery": 0.03,
    "prior_keratoplasty": 0.01, "prior_refractive_surgery": 0.03, "prior_vitrectomy": 0.03, "preop_va_raw": 0.02,
    "preop_iop_mmhg": 0.03, "alpha_blocker": 0.2, "only_seeing_eye": 0.05, "corneal_haze": 0.1, "morning_blur": 0.15,
    "surgery_time": 0.01, "anaesthesia": 0.02, "ovd_strategy": 0.03, "dispersive_recoat": 0.20,
    "main_incision_mm": 0.03, "incision_plane": 0.05, "incision_site": 0.05, "sideport_count": 0.05, "technique": 0.02,
    "us_time_s": 0.05, "us_mean_power_pct": 0.10, "us_motion": 0.05, "working_plane": 0.15,
    "irrigation_volume_ml": 0.15, "aspiration_time_s": 0.30, "iop_setting_mmhg": 0.20, "case_minutes": 0.05,
    "ovd_removal": 0.15, "stromal_hydration": 0.15, "corneal_striae_intraop": 0.30, "endothelial_touch": 0.30,
    "descemet_detachment": 0.02, "examiner_id": 0.05, "edema_grade_central": 0.01, "edema_grade_peripheral": 0.05,
    "edema_epithelial": 0.20, "edema_extent": 0.10, "descemet_folds": 0.15, "cct_pod1_um": 0.40, "ucva_raw": 0.05,
    "iop_pod1_mmhg": 0.03, "ac_cells_sun": 0.08, "ac_flare_sun": 0.08, "seidel": 0.25, "pain_0_10": 0.15,
    "action_taken": 0.10,
}  # fmt: skip
"""Share of eyes without an answer, field by field: what small practices are likely to miss (own choice)."""

BOOKING_COLUMNS = (
    "patient_id", "eye", "surgery_date", "surgery_time", "birth_date", "sex", "booked_surgeon_id", "guttae_grade",
    "cct_um", "ecd_per_mm2", "ecd_per_mm2_missing", "endo_cv_pct", "endo_hex_pct", "corneal_haze", "morning_blur",
    "nucleus_hardness", "acd_mm", "acd_definition", "axial_length_mm", "pupil_dilated_mm", "nuclear_opalescence_no",
    "nuclear_opalescence_no_missing", "white_or_brunescent", "pseudoexfoliation", "diabetes", "diabetes_years",
    "hba1c_pct", "hypertension", "glaucoma", "prior_angle_closure_attack", "prior_glaucoma_surgery",
    "prior_keratoplasty", "uveitis_history", "prior_refractive_surgery", "prior_vitrectomy", "only_seeing_eye",
    "alpha_blocker", "preop_va_raw", "preop_iop_mmhg", "iop_method", "planned_combined", "consent_audit_model",
)  # fmt: skip
THEATRE_COLUMNS = (
    "surgeon_id", "surgeon_grade", "supervised", "anaesthesia", "ovd_strategy", "main_incision_mm", "incision_plane",
    "incision_site", "sideport_count", "corneal_striae_intraop", "dispersive_recoat", "nucleus_hardness_theatre",
    "technique", "femto_laser", "working_plane", "phaco_machine_id", "us_time_s", "us_mean_power_pct", "us_motion",
    "irrigation_volume_ml", "aspiration_time_s", "iop_setting_mmhg", "case_minutes", "ovd_removal",
    "stromal_hydration", "suture", "pcr", "descemet_detachment", "endothelial_touch", "iris_prolapse",
    "iris_hooks_or_ring", "capsule_dye", "ctr", "vitrectomy", "combined_procedure",
)  # fmt: skip
DAY_ONE_COLUMNS = (
    "visit_status", "exam_at", "examiner_id", "examiner_is_surgeon", "blinded_to_prediction", "edema_grade_central",
    "edema_grade_peripheral", "edema_epithelial", "edema_extent", "descemet_folds", "cct_pod1_um", "ucva_raw",
    "iop_pod1_mmhg", "iop_pod1_method", "ac_cells_sun", "ac_flare_sun", "seidel", "chamber_day_one", "pain_0_10",
    "headache_or_nausea", "hypopyon", "fibrin", "hyphaema", "epithelial_defect", "retained_lens", "iol_position",
    "action_taken",
)  # fmt: skip
SHEET_COLUMNS = (
    *BOOKING_COLUMNS[:9], "ecd_per_mm2", "nucleus_hardness", "acd_mm", "acd_definition", "axial_length_mm", "diabetes",
    "glaucoma", "preop_iop_mmhg", *THEATRE_COLUMNS[:2], "technique", "phaco_machine_id", "us_time_s",
    "us_mean_power_pct", "us_motion", "irrigation_volume_ml", "case_minutes", "visit_status", "exam_at", "examiner_id",
    "edema_grade_central", "cct_pod1_um",
)  # fmt: skip

SLIPS = (
    ("cct_um", "0.54", "asked"), ("cct_um", "54", "asked"), ("cct_um", "0.56", "asked"),
    ("ecd_per_mm2", "2.4", "asked"), ("ecd_per_mm2", "2.55", "asked"), ("acd_mm", "3100", "asked"),
    ("acd_mm", "29", "asked"), ("axial_length_mm", "235", "asked"), ("eye", "OU", "refused"), ("eye", "D", "asked"),
    ("surgery_date", "03/04/2026", "asked"), ("birth_date", "14.08.51", "asked"),
    ("us_mean_power_pct", "0.18", "asked"), ("preop_iop_mmhg", "2.1", "asked"),
    ("irrigation_volume_ml", "0.06", "asked"), ("us_time_s", "1:05", "asked"), ("cct_um", "#N/A", "refused"),
    ("cct_um", "540/545", "refused"), ("pupil_dilated_mm", "65", "asked"), ("surgery_date", "2026-02-30", "refused"),
    ("nucleus_hardness", "6", "refused"), ("hba1c_pct", "53", "asked"), ("ecd_per_mm2", "<1000", "taken as text"),
    ("acd_mm", "3,05", "taken, with a note"), ("cct_um", "0.55 mm", "taken"), ("us_time_s", "42 s", "taken"),
)  # fmt: skip
"""Cells put in on purpose: field, text, what is expected of the import."""


def text(value: object) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, datetime):
        return value.isoformat(timespec="minutes")
    if isinstance(value, time):
        return value.isoformat("minutes")
    if isinstance(value, float):
        return f"{value:g}"
    return value.isoformat() if isinstance(value, date) else str(value)


def working_day(practice: Practice, first: date, last: date) -> date:
    """A day of surgery: Monday to Thursday."""
    while True:
        day = first + timedelta(days=practice.draw.randrange((last - first).days + 1))
        if day.weekday() < 4:
            return day


def operate(practice: Practice, patient: Patient, eye: str, day: date) -> Row:
    row = practice.booking(patient, eye, day)
    row["surgery_time"] = (datetime.combine(day, time(8)) + timedelta(minutes=10 * practice.draw.randrange(43))).time()
    row |= practice.theatre(row)
    row |= practice.day_one(row, patient)
    patient.used.append((eye, day))
    return row


def blank(practice: Practice, row: Row) -> Row:
    """The row as a practice would have it: answers missing at their usual shares, some with a reason."""
    kept: Row = {name: None if practice.chance(BLANKS.get(name, 0.0)) else value for name, value in row.items()}
    if row.get("white_or_brunescent") == "white_intumescent":
        kept["nuclear_opalescence_no"], kept["nuclear_opalescence_no_missing"] = None, "not_possible"
    elif kept.get("nuclear_opalescence_no") is None:
        kept["nuclear_opalescence_no_missing"] = "not_done" if practice.chance(0.5) else None
    if practice.chance(0.25 if row["guttae_grade"] else 0.41):
        kept["ecd_per_mm2"] = kept["endo_cv_pct"] = kept["endo_hex_pct"] = None
        kept["ecd_per_mm2_missing"] = "not_done" if practice.chance(0.8) else None
    elif practice.chance(0.08):
        kept["endo_cv_pct"] = kept["endo_hex_pct"] = None
    if kept.get("diabetes") is None:
        kept["diabetes_years"] = kept["hba1c_pct"] = None
    return kept


def practice_rows(practice: Practice) -> tuple[list[Row], list[Patient]]:
    """The eyes operated in nine quarters, by date, and the patients."""
    rows, patients = [], []
    for _ in range(PATIENTS):
        day = working_day(practice, FIRST_DAY, LAST_DAY)
        patient = practice.patient(day)
        patients.append(patient)
        first = practice.draw.choice("RL")
        rows.append(blank(practice, operate(practice, patient, first, day)))
        if practice.chance(0.56):
            later = working_day(practice, day + timedelta(days=13), day + timedelta(days=75))
            if later <= LAST_DAY:
                rows.append(blank(practice, operate(practice, patient, "L" if first == "R" else "R", later)))
    rows.sort(key=lambda row: (row["surgery_date"], str(row["surgery_time"] or ""), row["patient_id"], row["eye"]))
    return rows, patients


def put_slips(practice: Practice, rows: list[Row], patients: list[Patient]) -> list[Put]:
    """Cells of `SLIPS` put into rows over the whole time, and pairs that name the wrong eye; returns where."""
    put, step = [], len(rows) // (len(SLIPS) + 1)
    for number, (name, cell, expected) in enumerate(SLIPS, start=1):
        index = number * step + practice.draw.randrange(step // 2)
        while (name in ("us_time_s", "hba1c_pct") and rows[index].get(name) is None) or (
            name == "hba1c_pct" and rows[index]["diabetes"] in (None, "none")
        ):
            index += 1
        rows[index][name] = cell
        if name == "ecd_per_mm2":
            rows[index]["ecd_per_mm2_missing"] = None
        put.append((index, name, cell, expected))
    taken = {index for index, *_ in put}
    place = {(row["patient_id"], row["eye"]): index for index, row in enumerate(rows)}
    pairs = [patient for patient in patients if len(patient.used) == 2][:: len(patients) // 5][:3]
    for patient in pairs:
        eye = patient.used[1][0]
        index = place.get((patient.number, eye))
        if index is not None and index not in taken:
            wrong = patient.used[0][0]
            rows[index]["eye"] = wrong
            put.append((index, "eye", wrong, "asked: this eye already has a surgery"))
    return sorted([*put, _early_visit(rows, put), _twin(rows, place, patients, put)])


def _early_visit(rows: list[Row], put: list[Put]) -> Put:
    """A first day dated before its surgery."""
    busy = {index for index, *_ in put}
    index = next(one for one in range(700, len(rows)) if rows[one].get("exam_at") and one not in busy)
    rows[index]["exam_at"] = cell = text(rows[index]["exam_at"] - timedelta(days=3))  # type: ignore[operator]
    return index, "exam_at", cell, "refused: day one lies before the surgery"


def _twin(rows: list[Row], place: dict[tuple[object, object], int], patients: list[Patient], put: list[Put]) -> Put:
    """A second eye that carries the measurements of the first."""
    busy = {index for index, *_ in put}
    for patient in patients[400:]:
        if len(patient.used) < 2:
            continue
        first, second = (place[patient.number, eye] for eye, _ in patient.used)
        if busy & {first, second} or None in (
            rows[first]["acd_mm"],
            rows[first]["axial_length_mm"],
            rows[first]["cct_um"],
        ):
            continue
        for name in ("acd_mm", "axial_length_mm", "cct_um", "ecd_per_mm2", "endo_cv_pct", "endo_hex_pct"):
            rows[second][name] = rows[first][name]
        return second, "cct_um", text(rows[second]["cct_um"]), "taken, with a note: equals the fellow eye's"
    raise LookupError("no pair of eyes to copy")


def booked_rows(practice: Practice, patients: list[Patient]) -> tuple[list[Row], dict[object, Row]]:
    """Eyes to come: second eyes of known patients and new ones; one graft, one with blanks, one of 19 years.

    Beside them the same by patient, with every answer.
    """
    whole: dict[object, Row] = {}
    due = [one for one in patients if len(one.used) == 1 and one.used[0][1] >= date(2026, 7, 1)][:10]
    rows = []
    for number in range(BOOKED_EYES):
        day = working_day(practice, BOOKED_FROM, BOOKED_TO)
        if number < len(due):
            patient, eye = due[number], "L" if due[number].used[0][0] == "R" else "R"
        else:
            patient, eye = practice.patient(day, age=19.4 if number == 20 else None), practice.draw.choice("RL")
        full = practice.booking(patient, eye, day)
        full["surgery_time"] = (
            datetime.combine(day, time(8)) + timedelta(minutes=20 * practice.draw.randrange(20))
        ).time()
        full["prior_keratoplasty"] = "DMEK" if number == 14 else "none"
        full["consent_audit_model"], full["planned_combined"] = "yes", "none"
        whole[full["patient_id"]] = full
        row = blank(practice, full)
        for name in (
            "nucleus_hardness",
            "guttae_grade",
            "acd_mm",
            "cct_um",
            "diabetes",
            "glaucoma",
            "axial_length_mm",
            "prior_keratoplasty",
        ):
            row[name] = full[name]
        if number == 17:
            row |= dict.fromkeys(("nucleus_hardness", "guttae_grade", "acd_mm", "ecd_per_mm2"))
        rows.append(row)
    rows.sort(key=lambda row: (row["surgery_date"], str(row["surgery_time"] or ""), row["patient_id"]))
    return rows, whole


def operated_rows(booked: list[Row], whole: dict[object, Row]) -> list[Row]:
    """What was done in theatre with the booked eyes of the first day; nobody has seen them since."""
    practice = Practice(SEED + 1)
    rows = []
    for row in booked:
        if row["surgery_date"] == BOOKED_FROM:
            done = practice.theatre(whole[row["patient_id"]])
            kept = {name: None if practice.chance(BLANKS.get(name, 0.0)) else value for name, value in done.items()}
            rows.append({name: row[name] for name in KEY} | kept)
    return rows


def csv_bytes(rows: list[Row], columns: tuple[str, ...]) -> bytes:
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(columns)
    writer.writerows([text(row.get(name)) for name in columns] for row in rows)
    return out.getvalue().encode()


def sheet_bytes(rows: list[Row]) -> tuple[bytes, list[Put]]:
    """A clinic's own sheet: real days, decimal commas as text, units in cells, an error cell, one slip."""
    book = Workbook()
    page = book.active
    page.title = "Invented practice"
    page.append(list(SHEET_COLUMNS))
    put: list[Put] = []
    for number, row in enumerate(rows):
        cells: dict[str, object] = {name: row.get(name) for name in SHEET_COLUMNS}
        if number % 2 == 0:
            for name in ("acd_mm", "axial_length_mm"):
                cells[name] = None if cells[name] is None else text(cells[name]).replace(".", ",")
        if number % 5 == 1 and cells["cct_um"] is not None:
            cells["cct_um"] = f"{cells['cct_um']} µm"
        for at, name, cell, expected in (
            (7, "cct_um", "#N/A", "refused"),
            (19, "cct_um", "0.53", "asked"),
            (30, "cct_pod1_um", "0.61 mm", "taken"),
        ):
            if number == at:
                cells[name] = 0.53 if cell == "0.53" else cell
                put.append((number, name, cell, expected))
        page.append([text(value) if isinstance(value, bool | time) else value for value in cells.values()])
    error = page.cell(row=9, column=SHEET_COLUMNS.index("cct_um") + 1)
    error.data_type = "e"
    book.properties.creator = "Invented practice"
    raw = io.BytesIO()
    book.save(raw)
    return _steady(raw.getvalue()), put


def _steady(packed: bytes) -> bytes:
    """The workbook packed again with fixed times and without compression, so that the bytes never change."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(packed)) as old, zipfile.ZipFile(out, "w", zipfile.ZIP_STORED) as new:
        for name in sorted(old.namelist()):
            part = old.read(name)
            if name == "docProps/core.xml":
                part = re.sub(rb"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ", b"2026-10-01T00:00:00Z", part)
            info = zipfile.ZipInfo(name, (2026, 10, 1, 0, 0, 0))
            info.create_system = 3
            new.writestr(info, part)
    return out.getvalue()


def _listed(put: list[Put]) -> str:
    return "\n".join(f"| {index + 2} | `{name}` | `{cell}` | {expected} |" for index, name, cell, expected in put)


def readme(files: dict[str, str], put: list[Put], on_sheet: list[Put]) -> str:
    """The page beside the files; `files` says what each of them holds."""
    table = "\n".join(f"| `{name}` | {words} |" for name, words in files.items())
    return f"""# The invented practice

Everything in this folder is **invented**: no patient, surgeon, examiner or machine in it exists. It is demonstration
data, not for care, and says nothing about any real practice.

| file | what |
|---|---|
{table}
| `generate.py`, `invented.py` | write all of it, the same bytes each time: `python sample_cases/generate.py` |

Columns are the program's field names (`python -m clinic_app fields`). Days are ISO 8601, the decimal mark is a point,
yes/no fields say `yes` or `no`, an empty cell is missing and `<field>_missing` may say why. Times are those of the
practice, Europe/Vienna.

## How it was made

Patients, eyes, operations and first days are drawn from one seed (`{SEED}`). Two eyes of one patient resemble each
other; about seven in ten eyes belong to such a pair. Frequencies (hardness, guttae, diabetes, chamber depth, ultrasound
time and so on) follow published ranges where there are any and our own choice elsewhere. Answers are left out at the
shares at which small practices are likely to miss them. About seven in a hundred eyes have no first day, more among
easy and among frail eyes; a few are seen outside 12 to 36 hours. The day-one grade was drawn from a chance that depends
on the eye and on the operation; that chance is in none of the files.

## Rows with something put in on purpose

The import must catch these. Rows count as a spreadsheet does: the heading is row 1. *asked* and *refused* rows stay out
until they are mended; *taken* rows go in.

### invented_eyes.csv

| row | column | cell | expected |
|---|---|---|---|
{_listed(put)}

### invented_clinic_sheet.xlsx

| row | column | cell | expected |
|---|---|---|---|
{_listed(on_sheet)}
"""


def write(folder: Path) -> None:
    """Writes all files into `folder`."""
    practice = Practice(SEED)
    rows, patients = practice_rows(practice)
    put = put_slips(practice, rows, patients)
    booked, whole = booked_rows(practice, patients)
    operated = operated_rows(booked, whole)
    sheet = []
    for _ in range(SHEET_EYES):
        day = working_day(practice, date(2026, 9, 7), LAST_DAY)
        sheet.append(operate(practice, practice.patient(day), practice.draw.choice("RL"), day))
    sheet.sort(key=lambda row: (row["surgery_date"], row["surgery_time"], row["patient_id"]))
    workbook, on_sheet = sheet_bytes(sheet)
    graded = sum(row.get("edema_grade_central") is not None for row in rows)
    words = {
        "invented_eyes.csv": f"{len(rows)} eyes operated from {FIRST_DAY} to {LAST_DAY} (nine quarters) by three "
        f"surgeons on two machines; {graded} with a centre grade",
        "invented_booked.csv": f"{len(booked)} eyes booked for {BOOKED_FROM} to {BOOKED_TO}: second eyes of known "
        "patients and new ones; one with a graft, one of 19 years, one with four answers missing",
        "invented_operated.csv": f"{len(operated)} of these, of {BOOKED_FROM}, as they were operated; "
        "their first day is still to come",
        "invented_clinic_sheet.xlsx": f"{len(sheet)} more eyes of September 2026 as a clinic's own sheet: real days, "
        "decimal commas as text, units in cells, an error cell, one slip",
    }
    files = {
        "invented_eyes.csv": csv_bytes(rows, (*BOOKING_COLUMNS, *THEATRE_COLUMNS, *DAY_ONE_COLUMNS)),
        "invented_booked.csv": csv_bytes(booked, BOOKING_COLUMNS),
        "invented_operated.csv": csv_bytes(operated, (*KEY, *THEATRE_COLUMNS)),
        "invented_clinic_sheet.xlsx": workbook,
        "README.md": readme(words, put, on_sheet).encode(),
    }
    folder.mkdir(parents=True, exist_ok=True)
    for name, content in files.items():
        (folder / name).write_bytes(content)
        print(f"{name}: {len(content)} bytes")


if __name__ == "__main__":
    write(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).resolve().parent)
