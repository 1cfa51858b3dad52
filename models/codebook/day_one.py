"""Fields of the visit on day one and of the rechecks after it. None of them can ever be a predictor."""

from __future__ import annotations

from models.codebook.kinds import Choice as C
from models.codebook.kinds import Field, Kind, Role, Stage

D = Stage.DAY_ONE
O = Role.OUTCOME  # noqa: E741 - one letter keeps the table readable
X = Role.CONTEXT
VISIT, CORNEA, READINGS, INSIDE, FINDINGS = "Visit", "Centre of the cornea", "Readings", "Inside the eye", "Findings"
EDEMA = (
    C("0", "Clear"),
    C("1", "Faint haze"),
    C("2", "Thin grey haze"),
    C("3", "Grey-white"),
    C("4", "Milky"),
)
EDEMA_SOURCE = "0-4 slit-lamp scale made for phaco, 105 eyes; wording our own"


def _finding(name: str, label: str, help_: str) -> Field:
    return Field(name=name, label=label, kind=Kind.YES_NO, stage=D, role=O, group=FINDINGS, help=help_)


# A table: one entry a field reads better than one line a word.
# fmt: off
DAY_ONE_FIELDS: tuple[Field, ...] = (
    Field(
        name="visit_status", label="Visit", kind=Kind.CHOICE, stage=D, role=X, group=VISIT,
        choices=(
            C("attended", "Attended"), C("remote_only", "Remote only"), C("missed", "Did not attend"),
            C("seen_elsewhere", "Seen elsewhere"), C("deceased", "Died"), C("transferred", "Transferred"),
            C("not_planned", "No visit planned"),
        ),
        help="What became of the visit. Not seen is never counted as clear.",
    ),
    Field(
        name="exam_at", label="Seen at", kind=Kind.MOMENT, stage=D, role=X, group=VISIT,
        help="Day and time of the examination, clock of the practice.",
    ),
    Field(
        name="hours_since_surgery", label="Hours after", kind=Kind.NUMBER, unit="h", stage=D, role=X, group=VISIT,
        hard=(0, 168), soft=(16, 30), decimals=1, derived=True,
        help="From surgery start to examination; worked out, never typed. 12 to 36 h counts as day one.",
    ),
    Field(
        name="examiner_id", label="Examiner", kind=Kind.IDENTIFIER, stage=D, role=X, group=VISIT, help="Who graded.",
    ),
    Field(
        name="examiner_is_surgeon", label="Own case", kind=Kind.YES_NO, stage=D, role=X, group=VISIT,
        help="The examiner operated on this eye.",
    ),
    Field(
        name="blinded_to_prediction", label="Blind", kind=Kind.YES_NO, stage=D, role=X, group=VISIT,
        help="The examiner had not seen the forecast.",
    ),
    Field(
        name="edema_grade_central", label="Centre grade", kind=Kind.GRADE, stage=D, role=O, group=CORNEA, hard=(0, 4),
        choices=EDEMA, help="Haze inside the 4 mm ring.", source=EDEMA_SOURCE,
    ),
    Field(
        name="edema_grade_peripheral", label="Edge and wound side", kind=Kind.GRADE, stage=D, role=O, group=CORNEA,
        hard=(0, 4), choices=EDEMA, help="Haze outside the ring; haze at the wound only belongs here.",
        source=EDEMA_SOURCE,
    ),
    Field(
        name="edema_epithelial", label="Surface blisters", kind=Kind.YES_NO, stage=D, role=O, group=CORNEA,
        help="Small cysts or blisters of the surface; they suggest a high pressure.",
    ),
    Field(
        name="edema_extent", label="Extent of haze", kind=Kind.CHOICE, stage=D, role=O, group=CORNEA,
        choices=(
            C("none", "None"), C("wound_only", "Wound only"), C("sector", "Sector"), C("central", "Centre"),
            C("limbus_to_limbus", "Limbus to limbus"),
        ),
        help="How far the haze reaches.", source="reviews of toxic reactions: limbus to limbus at 12-48 h",
    ),
    Field(
        name="descemet_folds", label="Descemet folds", kind=Kind.CHOICE, stage=D, role=O, group=CORNEA,
        choices=(C("0", "0", ("none",)), C("1-4", "1-4"), C("5-9", "5-9"), C("10+", "10+", (">=10", ">10"))),
        help="Folds seen in the centre.", source="ten folds a border in a trial's scheme, from memory",
    ),
    Field(
        name="descemet_folds_count", label="Folds counted", kind=Kind.INTEGER, stage=D, role=O, group=CORNEA,
        hard=(0, 50), folded=True, help="When they were counted.",
    ),
    Field(
        name="cct_pod1_um", label="Thickness", kind=Kind.NUMBER, unit="um", stage=D, role=O, group=READINGS,
        hard=(300, 1500), soft=(450, 900), measured=True, help="Same device as before surgery.",
    ),
    Field(
        name="cct_change_pct", label="Change in thickness", kind=Kind.NUMBER, unit="%", stage=D, role=O, group=READINGS,
        hard=(-15, 150), soft=(-3, 40), decimals=1, derived=True,
        help="100 x (day one - before) / before, same device only.",
        source="day one about +6 %: 54 eyes, BMC Ophthalmol 2018",
    ),
    Field(
        name="ucva_raw", label="Vision, unaided", kind=Kind.TEXT, stage=D, role=O, group=READINGS,
        help="As read: 6/12, 20/40, 0.5, 0.30 logMAR, CF, HM, LP, NLP. The text is kept.",
    ),
    Field(
        name="ucva_logmar", label="Vision, logMAR", kind=Kind.NUMBER, unit="{logMAR}", stage=D, role=O, group=READINGS,
        hard=(-0.3, 3.0), decimals=2, derived=True, help="Follows from the vision as read.",
    ),
    Field(
        name="ucva_pinhole", label="With pinhole", kind=Kind.YES_NO, stage=D, role=O, group=READINGS, folded=True,
        help="The vision was read through a pinhole.",
    ),
    Field(
        name="iop_pod1_mmhg", label="Eye pressure", kind=Kind.NUMBER, unit="mm[Hg]", stage=D, role=O, group=READINGS,
        hard=(0, 80), soft=(6, 30), measured=True, help="The first reading. A swollen cornea can read falsely low.",
    ),
    Field(
        name="iop_pod1_method", label="Measured with", kind=Kind.CHOICE, stage=D, role=X, group=READINGS,
        choices=(
            C("applanation", "Applanation", ("goldmann",)), C("rebound", "Rebound"), C("non_contact", "Air"),
            C("other", "Other"),
        ),
        help="How the pressure was measured.",
    ),
    Field(
        name="ac_cells_sun", label="Cells", kind=Kind.CHOICE, stage=D, role=O, group=INSIDE,
        choices=(C("0", "0"), C("0.5", "½+", ("0.5+",)), C("1", "1+"), C("2", "2+"), C("3", "3+"), C("4", "4+")),
        help="Cells in a 1 x 1 mm slit: 0 under 1, ½ 1-5, 1 6-15, 2 16-25, 3 26-50, 4 over 50.",
        source="Standardization of Uveitis Nomenclature 2005",
    ),
    Field(
        name="ac_flare_sun", label="Flare", kind=Kind.CHOICE, stage=D, role=O, group=INSIDE,
        choices=(C("0", "0"), C("1", "1+"), C("2", "2+"), C("3", "3+"), C("4", "4+")),
        help="0 none, 1 faint, 2 iris clear, 3 iris hazy, 4 fibrin.",
        source="Standardization of Uveitis Nomenclature 2005",
    ),
    Field(
        name="seidel", label="Wound leak", kind=Kind.CHOICE, stage=D, role=O, group=FINDINGS,
        choices=(
            C("not_tested", "Not tested"), C("negative", "None", ("none", "no")), C("positive_slow", "Slow", ("slow",)),
            C("positive_brisk", "Brisk", ("brisk",)), C("iris_in_wound", "Iris in the wound", ("iris",)),
        ),
        help="With dye at the wounds; iris in a wound outranks its leak.",
    ),
    Field(
        name="chamber_day_one", label="Chamber", kind=Kind.CHOICE, stage=D, role=O, group=FINDINGS,
        choices=(C("formed", "Formed"), C("shallow", "Shallow"), C("flat", "Flat")),
        help="Depth of the chamber on day one.",
    ),
    Field(
        name="pain_0_10", label="Pain, 0 to 10", kind=Kind.INTEGER, stage=D, role=O, group=FINDINGS, hard=(0, 10),
        help="As the patient says.",
    ),
    _finding("headache_or_nausea", "Headache or nausea", "As the patient says."),
    _finding("hypopyon", "Hypopyon", "White cells layered in the chamber."),
    _finding("fibrin", "Fibrin", "Strands or a membrane in the chamber."),
    _finding("hyphaema", "Blood", "Blood in the chamber."),
    _finding("epithelial_defect", "Surface defect", "A defect of the epithelium."),
    _finding("retained_lens", "Lens matter", "Lens matter left in the eye."),
    _finding("descemet_central_day_one", "Central Descemet detachment", "Seen on day one."),
    Field(
        name="iol_position", label="Lens position", kind=Kind.CHOICE, stage=D, role=O, group=FINDINGS,
        choices=(C("centred", "Centred"), C("decentred", "Off centre"), C("dislocated", "Dislocated")),
        help="Of the lens put in.",
    ),
    Field(
        name="action_taken", label="Action taken", kind=Kind.CHOICES, stage=D, role=O, group=FINDINGS,
        choices=(
            C("none", "None"), C("drops_changed", "Drops changed"), C("oral_IOP_drug", "Oral pressure drug"),
            C("AC_decompression", "Chamber decompressed"), C("resuture", "Sutured again"), C("referred", "Referred"),
        ),
        help="What was done about it.",
    ),
)

RECHECK_FIELDS: tuple[Field, ...] = (
    Field(
        name="recheck_at", label="Seen at", kind=Kind.MOMENT, stage=Stage.RECHECK, role=X, group=VISIT,
        help="Day and time of the visit; with the eye it names the visit.",
    ),
    Field(
        name="recheck_kind", label="Kind of visit", kind=Kind.CHOICE, stage=Stage.RECHECK, role=X, group=VISIT,
        choices=(C("same_day", "Same day, 2-6 h"), C("recheck", "Recheck")),
        help="A check on the day of surgery is a visit of its own.",
    ),
    Field(
        name="recheck_examiner_id", label="Examiner", kind=Kind.IDENTIFIER, stage=Stage.RECHECK, role=X, group=VISIT,
        help="Who examined.",
    ),
    Field(
        name="recheck_edema_grade_central", label="Centre grade", kind=Kind.GRADE, stage=Stage.RECHECK, role=O,
        group=CORNEA, hard=(0, 4), choices=EDEMA, help="Haze inside the 4 mm ring.", source=EDEMA_SOURCE,
    ),
    Field(
        name="recheck_cct_um", label="Thickness", kind=Kind.NUMBER, unit="um", stage=Stage.RECHECK, role=O,
        group=READINGS, hard=(300, 1500), soft=(450, 900), help="Same device as before surgery.",
    ),
    Field(
        name="recheck_va_raw", label="Vision", kind=Kind.TEXT, stage=Stage.RECHECK, role=O, group=READINGS,
        help="As read.",
    ),
    Field(
        name="recheck_va_logmar", label="Vision, logMAR", kind=Kind.NUMBER, unit="{logMAR}", stage=Stage.RECHECK,
        role=O, group=READINGS, hard=(-0.3, 3.0), decimals=2, derived=True, help="Follows from the vision as read.",
    ),
    Field(
        name="recheck_iop_mmhg", label="Eye pressure", kind=Kind.NUMBER, unit="mm[Hg]", stage=Stage.RECHECK, role=O,
        group=READINGS, hard=(0, 80), soft=(6, 30), help="At this visit.",
    ),
)
