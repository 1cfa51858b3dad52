"""Fields known at booking. Ranges are the program's own unless the source says otherwise."""

from __future__ import annotations

from models.codebook.kinds import Choice as C
from models.codebook.kinds import Field, Kind, Role, Stage

B = Stage.BOOKING
P = Role.BOOKING_PREDICTOR
X = Role.CONTEXT
EYE, CORNEA, LENS, HEALTH, VISION, PLAN = (
    "Eye",
    "Cornea",
    "Lens and chamber",
    "Health and past eye events",
    "Vision and pressure",
    "Plan and consent",
)
LOCS = "Lens opacities classification III, Chylack 1993; limits from memory"

# A table: one entry a field reads better than one line a word.
# fmt: off
KEY_FIELDS: tuple[Field, ...] = (
    Field(
        name="patient_id", label="Patient number", kind=Kind.IDENTIFIER, stage=B, role=Role.IDENTIFIER, group=EYE,
        short=True, aliases=("patient number", "patient no", "mrn"),
        help="The practice's own number for the patient, never a name.",
    ),
    Field(
        name="eye", label="Eye to be operated", kind=Kind.CHOICE, stage=B, role=Role.IDENTIFIER, group=EYE, short=True,
        choices=(
            C("R", "Right", ("right", "od", "re", "right eye")), C("L", "Left", ("left", "os", "le", "left eye")),
        ),
        aliases=("side", "laterality"), help="The eye on the consent form. A record belongs to one eye, never to both.",
    ),
    Field(
        name="surgery_date", label="Surgery date", kind=Kind.DATE, stage=B, role=Role.IDENTIFIER, group=EYE, short=True,
        aliases=("date of surgery", "operation date"), help="The day of the operation.",
    ),
)

BOOKING_FIELDS: tuple[Field, ...] = (
    Field(
        name="surgery_time", label="Surgery start", kind=Kind.TIME, stage=B, role=X, group=EYE, folded=True,
        help="Start of the operation, clock time of the practice; hours since surgery follow from it.",
    ),
    Field(
        name="birth_date", label="Birth date", kind=Kind.DATE, stage=B, role=Role.IDENTIFIER, group=EYE, short=True,
        aliases=("date of birth", "dob"), help="The age at surgery follows from it.",
    ),
    Field(
        name="age_years", label="Age at surgery", kind=Kind.NUMBER, unit="a", stage=B, role=P, group=EYE, derived=True,
        hard=(0, 110), soft=(40, 95), decimals=1, aliases=("age",),
        help="From birth date and surgery date. Under 18 no forecast is made.",
        source="Int Eye Sci 2021;21(11), 623 patients: odds ratio 1.162, unit not given",
    ),
    Field(
        name="sex", label="Sex", kind=Kind.CHOICE, stage=B, role=P, group=EYE, aliases=("gender",),
        choices=(
            C("female", "Female", ("f", "woman")), C("male", "Male", ("m", "man")), C("other", "Other", ("o",)),
            C("unknown", "Unknown", ("u",)),
        ),
        help="As in the patient's papers.", source="graft after surgery, 187 746 eyes: weak",
    ),
    Field(
        name="booked_surgeon_id", label="Surgeon", kind=Kind.IDENTIFIER, stage=B, role=X, group=EYE,
        help="Who is to operate; who did is recorded in theatre.",
    ),
    Field(
        name="supervisor_id", label="Supervisor", kind=Kind.IDENTIFIER, stage=B, role=X, group=EYE, folded=True,
        help="Who supervises when a trainee operates.",
    ),
    Field(
        name="guttae_grade", label="Guttae, centre", kind=Kind.GRADE, stage=B, role=P, group=CORNEA, short=True,
        hard=(0, 6), measured=True, aliases=("guttae",),
        choices=(
            C("0", "none"), C("1", "1-12"), C("2", "more than 12"), C("3", "joined 1-2 mm"), C("4", "joined 2-5 mm"),
            C("5", "joined over 5 mm"), C("6", "over 5 mm and swollen"),
        ),
        help="Dark drops in the centre of the endothelium at the slit lamp, within six months. 3 to 5: joined, widest in mm.",
        source="modified Krachmer scale 0-6, wording from memory; graft after surgery with guttae: J Cataract Refract Surg 2020;46:961",
    ),
    Field(
        name="cct_um", label="Thickness", kind=Kind.NUMBER, unit="um", stage=B, role=P, group=CORNEA, hard=(300, 1200),
        soft=(450, 650), measured=True, aliases=("cct", "central corneal thickness", "pachymetry"),
        help="Centre of the cornea, same device as on day one.",
        source="Ophthalmology 2005, PMID 15745771: > 640 um caution",
    ),
    Field(
        name="ecd_per_mm2", label="Cell count", kind=Kind.NUMBER, unit="/mm2", stage=B, role=P, group=CORNEA,
        hard=(200, 5000), soft=(1000, 3500), measured=True,
        aliases=("ecd", "endothelial cell density", "endothelial count"),
        help="Endothelial cells in the centre, specular or confocal picture.",
        source="J Clin Med 2021;10:2270, 353 eyes: cell loss by count",
    ),
    Field(
        name="endo_cv_pct", label="Cell size spread", kind=Kind.NUMBER, unit="%", stage=B, role=P, group=CORNEA,
        hard=(10, 90), soft=(20, 45), measured=True, aliases=("cv",), help="Coefficient of variation of cell area.",
        source="Sensors 2021;21:996: healthy under 40",
    ),
    Field(
        name="endo_hex_pct", label="Six-sided cells", kind=Kind.NUMBER, unit="%", stage=B, role=P, group=CORNEA,
        hard=(0, 100), soft=(40, 80), measured=True, aliases=("hex", "hexagonality"), help="Share of six-sided cells.",
        source="Sensors 2021;21:996: healthy 60 or more",
    ),
    Field(
        name="peripheral_corneal_degeneration", label="Edge thinning", kind=Kind.YES_NO, stage=B, role=P, group=CORNEA,
        folded=True, help="Degeneration of the edge of the cornea at the slit lamp.",
        source="J Coll Physicians Surg Pak 2015, 182 eyes: p < .001",
    ),
    Field(
        name="corneal_haze", label="Haze before surgery", kind=Kind.YES_NO, stage=B, role=X, group=CORNEA, folded=True,
        help="Haze or a scar in the cornea already there before surgery.",
    ),
    Field(
        name="morning_blur", label="Morning blur", kind=Kind.YES_NO, stage=B, role=X, group=CORNEA, folded=True,
        help="Vision blurred on waking that clears in the day.", source="series of 64 eyes with weak endothelium",
    ),
    Field(
        name="nucleus_hardness", label="Nucleus hardness", kind=Kind.GRADE, stage=B, role=P, group=LENS, hard=(1, 5),
        short=True, measured=True, aliases=("hardness", "nucleus grade"),
        choices=(
            C("1", "soft"), C("2", "yellowish"), C("3", "yellow"), C("4", "amber to brown"), C("5", "dark brown-black"),
        ),
        help="Colour and hardness of the nucleus at the slit lamp, five steps.",
        source="Int Eye Sci 2021;21(11): odds ratio 1.301 a grade",
    ),
    Field(
        name="acd_mm", label="Chamber depth", kind=Kind.NUMBER, unit="mm", stage=B, role=P, group=LENS, hard=(1.0, 6.0),
        soft=(2.2, 4.2), decimals=2, short=True, measured=True, aliases=("acd", "anterior chamber depth"),
        help="From the front of the cornea to the lens, optical biometry.",
        source="Int Eye Sci 2021;21(11): odds ratio 0.651, presumably per mm",
    ),
    Field(
        name="acd_definition", label="Depth measured from", kind=Kind.CHOICE, stage=B, role=X, group=LENS, folded=True,
        choices=(
            C("epithelium", "Front of the cornea", ("outer", "front")),
            C("endothelium", "Back of the cornea", ("inner", "back")),
        ),
        help="Where the device starts to measure. A depth from the back needs the thickness to be comparable.",
    ),
    Field(
        name="acd_definition_source", label="How that is known", kind=Kind.CHOICE, stage=B, role=X, group=LENS,
        folded=True,
        choices=(
            C("coded", "Stated by the device"), C("inferred_by_sum", "From the sum of the segments"),
            C("asked", "Asked"),
        ),
        help="How the start of the depth measurement is known.",
    ),
    Field(
        name="axial_length_mm", label="Axial length", kind=Kind.NUMBER, unit="mm", stage=B, role=P, group=LENS,
        hard=(14, 40), soft=(20.5, 30), decimals=2, measured=True, aliases=("axial length", "al"),
        help="Optical biometry.", source="J Cataract Refract Surg 2000: shorter eye, more cell loss",
    ),
    Field(
        name="pupil_dilated_mm", label="Dilated pupil", kind=Kind.NUMBER, unit="mm", stage=B, role=P, group=LENS,
        hard=(1, 10), soft=(4, 9), decimals=1, measured=True, aliases=("dilated pupil",),
        help="After drops, before surgery.",
        source="J Cataract Refract Surg 1996: small pupil with cell loss, univariate",
    ),
    Field(
        name="nuclear_opalescence_no", label="Nuclear opalescence", kind=Kind.NUMBER, stage=B, role=P, group=LENS,
        hard=(0.1, 6.9), soft=(1.0, 6.5), decimals=1, measured=True, aliases=("no",),
        help="Nuclear opalescence against the standard photographs, in tenths.", source=LOCS,
    ),
    Field(
        name="nuclear_color_nc", label="Nuclear colour", kind=Kind.NUMBER, stage=B, role=P, group=LENS, hard=(0.1, 6.9),
        soft=(1.0, 6.5), decimals=1, measured=True, folded=True, aliases=("nc",),
        help="Nuclear colour against the standard photographs, in tenths.", source=LOCS,
    ),
    Field(
        name="cortical_c", label="Cortical opacity", kind=Kind.NUMBER, stage=B, role=P, group=LENS, hard=(0.1, 5.9),
        decimals=1, measured=True, folded=True, help="Cortical opacity in retro-illumination, in tenths.", source=LOCS,
    ),
    Field(
        name="psc_p", label="Opacity under the back capsule", kind=Kind.NUMBER, stage=B, role=P, group=LENS, hard=(0.1, 5.9), decimals=1,
        measured=True, folded=True, help="Posterior subcapsular opacity in retro-illumination, in tenths.", source=LOCS,
    ),
    Field(
        name="white_or_brunescent", label="White or brunescent", kind=Kind.CHOICE, stage=B, role=P, group=LENS,
        choices=(
            C("none", "No"), C("white_intumescent", "White", ("white",)), C("brunescent", "Brunescent", ("brown",)),
        ),
        help="Total white or brown cataract. When white, opalescence and colour are not possible.",
    ),
    Field(
        name="pseudoexfoliation", label="Pseudoexfoliation", kind=Kind.CHOICE, stage=B, role=P, group=LENS,
        choices=(C("no", "No"), C("suspect", "Suspect"), C("yes", "Yes")), aliases=("pex", "pxf"),
        help="At the dilated slit lamp.", source="conflicting series: 36 against 36 eyes and 62 against 62 eyes",
    ),
    Field(
        name="diabetes", label="Diabetes", kind=Kind.CHOICE, stage=B, role=P, group=HEALTH, short=True,
        choices=(
            C("none", "None", ("no",)), C("type1", "Type 1"), C("type2", "Type 2"), C("other", "Other", ("yes",)),
        ),
        help="From the history.",
        source="Korean J Ophthalmol 2015;29:14-22: odds ratio 4.04 at one week; 1.19 in 187 746 eyes",
    ),
    Field(
        name="diabetes_years", label="Years with diabetes", kind=Kind.NUMBER, unit="a", stage=B, role=P, group=HEALTH, hard=(0, 90),
        help="Years since diabetes was found.",
        source="Int Eye Sci 2020;20(11), 312 patients: over 10 years, odds ratio 6.9",
    ),
    Field(
        name="hba1c_pct", label="HbA1c", kind=Kind.NUMBER, unit="%", stage=B, role=P, group=HEALTH, hard=(3, 20),
        soft=(4.5, 10), decimals=1, measured=True, help="Within three months. No firm limit is known for the cornea.",
    ),
    Field(
        name="hba1c_mmol_mol", label="HbA1c, mmol/mol", kind=Kind.NUMBER, unit="mmol/mol", stage=B, role=X,
        group=HEALTH, hard=(9, 195), soft=(26, 86), derived=True, folded=True, measured=True,
        help="The same in mmol/mol: 10.929 x (percent - 2.15).", source="conversion from memory",
    ),
    Field(
        name="hypertension", label="High blood pressure", kind=Kind.YES_NO, stage=B, role=P, group=HEALTH,
        help="From the history.", source="Int Eye Sci 2020;20(11): odds ratio 2.783",
    ),
    Field(
        name="glaucoma", label="Glaucoma", kind=Kind.CHOICE, stage=B, role=P, group=HEALTH, short=True,
        choices=(
            C("none", "None", ("no",)), C("OHT", "High pressure only", ("ocular hypertension",)),
            C("open_angle", "Open angle"), C("angle_closure", "Angle closure"), C("other", "Other", ("yes",)),
        ),
        help="From the history and the disc.", source="Int Eye Sci 2020;20(11): odds ratio 3.679",
    ),
    Field(
        name="prior_angle_closure_attack", label="Angle attack", kind=Kind.YES_NO, stage=B, role=P, group=HEALTH,
        help="An earlier acute angle closure in this eye.",
        source="Korean J Ophthalmol 2020: lower count after an attack",
    ),
    Field(
        name="prior_glaucoma_surgery", label="Past glaucoma surgery", kind=Kind.CHOICES, stage=B, role=X, group=HEALTH,
        choices=(
            C("none", "None", ("no",)), C("laser_iridotomy", "Laser iridotomy"), C("trabeculectomy", "Filter"),
            C("tube", "Tube"), C("other", "Other"),
        ),
        help="In this eye.", source="61 eyes with a low count: iridotomy 16, filter 3",
    ),
    Field(
        name="prior_keratoplasty", label="Past graft", kind=Kind.CHOICE, stage=B, role=X, group=HEALTH,
        choices=(C("none", "None", ("no",)), C("PK", "PK"), C("DALK", "DALK"), C("DSAEK", "DSAEK"), C("DMEK", "DMEK")),
        help="A corneal graft in this eye. No forecast is made for a graft eye.",
        source="10 of 61 eyes with a low count",
    ),
    Field(
        name="uveitis_history", label="Uveitis", kind=Kind.CHOICE, stage=B, role=P, group=HEALTH,
        choices=(C("none", "None", ("no",)), C("past", "Past"), C("active", "Active")), help="In this eye.",
        source="Int Eye Sci 2020;20(11): odds ratio 2.601",
    ),
    Field(
        name="prior_refractive_surgery", label="Laser correction", kind=Kind.YES_NO, stage=B, role=P, group=HEALTH,
        help="Earlier refractive surgery in this eye; it changes thickness.", source="from memory",
    ),
    Field(
        name="prior_vitrectomy", label="Past vitrectomy", kind=Kind.YES_NO, stage=B, role=P, group=HEALTH,
        help="In this eye; it changes how steady the chamber is.", source="from memory",
    ),
    Field(
        name="only_seeing_eye", label="Only seeing eye", kind=Kind.YES_NO, stage=B, role=X, group=HEALTH, folded=True,
        help="The fellow eye sees poorly. Levels on day one are lower.",
    ),
    Field(
        name="alpha_blocker", label="Alpha-blocker", kind=Kind.YES_NO, stage=B, role=X, group=HEALTH, folded=True,
        help="Takes or took one; the iris may be floppy.",
    ),
    Field(
        name="steroid_responder", label="Steroid responder", kind=Kind.YES_NO, stage=B, role=X, group=HEALTH,
        folded=True, help="Pressure rose under steroid drops before.",
    ),
    Field(
        name="preop_va_raw", label="Vision today", kind=Kind.TEXT, stage=B, role=X, group=VISION,
        help="As read: 6/12, 20/40, 0.5, 0.30 logMAR, CF, HM, LP, NLP. The text is kept.",
    ),
    Field(
        name="preop_va_logmar", label="Vision, logMAR", kind=Kind.NUMBER, unit="{logMAR}", stage=B, role=P,
        group=VISION, hard=(-0.3, 3.0), soft=(0, 2), decimals=2, measured=True, derived=True,
        help="Follows from the vision as read.", source="J Clin Med 2021;10:2270: with cell loss, p .048",
    ),
    Field(
        name="preop_va_chart", label="Chart", kind=Kind.TEXT, stage=B, role=X, group=VISION, folded=True,
        help="Which chart was read.",
    ),
    Field(
        name="preop_va_correction", label="Correction", kind=Kind.CHOICE, stage=B, role=X, group=VISION, folded=True,
        choices=(
            C("unaided", "Unaided"), C("own_glasses", "Own glasses"), C("best_corrected", "Best corrected"),
            C("pinhole", "Pinhole"),
        ),
        help="How the vision was corrected.",
    ),
    Field(
        name="preop_iop_mmhg", label="Eye pressure", kind=Kind.NUMBER, unit="mm[Hg]", stage=B, role=P, group=VISION,
        hard=(0, 80), soft=(8, 24), measured=True, aliases=("iop", "pressure"), help="Before surgery.",
        source="handbook chapter: over 22 before surgery, risk of a rise",
    ),
    Field(
        name="iop_method", label="Measured with", kind=Kind.CHOICE, stage=B, role=X, group=VISION,
        choices=(
            C("applanation", "Applanation", ("goldmann",)), C("rebound", "Rebound"), C("non_contact", "Air"),
            C("other", "Other"),
        ),
        help="How the pressure was measured.",
    ),
    Field(
        name="planned_combined", label="Combined surgery planned", kind=Kind.CHOICE, stage=B, role=X, group=PLAN,
        folded=True,
        choices=(
            C("none", "No", ("no",)), C("stent_filter", "Stent or filter"), C("graft", "Graft"),
            C("vitrectomy", "Vitrectomy"), C("other", "Other"),
        ),
        help="Another operation planned in the same sitting. No forecast is made for it.",
    ),
    Field(
        name="consent_audit_model", label="Consent to audit and model", kind=Kind.CHOICE, stage=B, role=X, group=PLAN,
        folded=True, choices=(C("yes", "Yes"), C("no", "No"), C("not_asked", "Not asked")),
        help="Whether the record may be used for audit and for the model.",
    ),
    Field(
        name="protection_plan", label="Protection plan", kind=Kind.CHOICES, stage=B, role=X, group=PLAN,
        choices=(
            C("coat_first", "Coat first"), C("re_coat", "Re-coat"), C("chop_no_grooves", "Chop, no grooves"),
            C("stay_in_bag", "Stay in the bag"), C("low_infusion", "Low infusion"),
            C("day_one_in_person", "Day one in person"), C("early_pressure_check", "Early pressure check"),
            C("pressure_cover", "Pressure-lowering cover"), C("senior_surgeon", "Senior surgeon"),
            C("endothelial_opinion", "Endothelial opinion"), C("second_eye_deferred", "Second eye deferred"),
            C("none_needed", "No plan needed"),
        ),
        help="Steps proposed at booking; the operating surgeon confirms them.",
    ),
    Field(
        name="patient_told", label="Patient told", kind=Kind.YES_NO, stage=B, role=X, group=PLAN,
        help="A talk about the chance of a cloudy first day was held and noted.",
    ),
    Field(
        name="risk_shown_before_surgery", label="Forecast shown before surgery", kind=Kind.YES_NO, stage=B, role=X,
        group=PLAN, folded=True, help="Whether a forecast was on a screen before surgery.",
    ),
)
