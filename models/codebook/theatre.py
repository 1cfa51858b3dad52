"""Fields written in theatre. Ranges are the program's own unless the source says otherwise."""

from __future__ import annotations

from models.codebook.kinds import Choice as C
from models.codebook.kinds import Field, Kind, Role, Stage

T = Stage.THEATRE
P = Role.THEATRE_PREDICTOR
X = Role.CONTEXT
TEAM, COAT, INCISION, RECOAT, NUCLEUS, ULTRASOUND, FLUID, REMOVAL, WOUNDS, EVENTS = (
    "Team",
    "1 Coat",
    "2 Incision",
    "3 Re-coat",
    "4 Nucleus",
    "5 Ultrasound",
    "6 Fluid and time",
    "7 Viscoelastic out",
    "8 Wounds",
    "Events",
)
HARDNESS = tuple(
    C(str(grade), words)
    for grade, words in enumerate(("soft", "yellowish", "yellow", "amber to brown", "dark brown-black"), start=1)
)


def _event(name: str, label: str, help_: str, source: str = "common practice, no source") -> Field:
    return Field(name=name, label=label, kind=Kind.YES_NO, stage=T, role=X, group=EVENTS, help=help_, source=source)


# A table: one entry a field reads better than one line a word.
# fmt: off
THEATRE_FIELDS: tuple[Field, ...] = (
    Field(
        name="surgeon_id", label="Operator", kind=Kind.IDENTIFIER, stage=T, role=X, group=TEAM, aliases=("surgeon",),
        help="Who operated: the practice's own code.",
    ),
    Field(
        name="surgeon_grade", label="Operator's grade", kind=Kind.CHOICE, stage=T, role=P, group=TEAM,
        choices=(C("trainee", "Trainee"), C("junior", "Junior"), C("senior", "Senior")),
        help="Grade of the operator on that day.", source="Cornea 2017, 160 eyes: swelling at 2 h 19.3 against 12.3 %",
    ),
    Field(
        name="supervised", label="Supervised", kind=Kind.YES_NO, stage=T, role=X, group=TEAM,
        help="A supervisor was present.",
    ),
    Field(
        name="operator_by_step", label="Operator by step", kind=Kind.TEXT, stage=T, role=X, group=TEAM, folded=True,
        help="Who did which house step, when it was not one person.",
    ),
    Field(
        name="take_over", label="Taken over", kind=Kind.YES_NO, stage=T, role=X, group=TEAM, folded=True,
        help="The case was taken over by another surgeon.",
    ),
    Field(
        name="anaesthesia", label="Anaesthesia", kind=Kind.CHOICE, stage=T, role=X, group=TEAM,
        choices=(
            C("topical", "Topical"), C("intracameral", "Intracameral"), C("sub_tenon", "Sub-Tenon"),
            C("peri_retrobulbar", "Peri- or retrobulbar", ("peribulbar", "retrobulbar")), C("general", "General"),
        ),
        help="As given.",
    ),
    Field(
        name="ovd_strategy", label="Coat", kind=Kind.CHOICE, stage=T, role=P, group=COAT,
        choices=(
            C("dispersive", "Dispersive"), C("cohesive", "Cohesive"), C("both_soft_shell", "Both, layered"),
            C("viscoadaptive", "Viscoadaptive"), C("other", "Other"), C("none", "None"),
        ),
        help="Viscoelastic by class, not by brand.",
        source="Br J Ophthalmol 2011;95:5, 21 trials: differences 100 cells or less",
    ),
    Field(
        name="ovd_lot", label="Viscoelastic lot", kind=Kind.IDENTIFIER, stage=T, role=X, group=COAT, folded=True,
        help="So that a cluster of unusual eyes can be traced.",
    ),
    Field(
        name="main_incision_mm", label="Main incision", kind=Kind.NUMBER, unit="mm", stage=T, role=P, group=INCISION,
        hard=(1.0, 12.0), soft=(1.8, 3.2), decimals=1, help="Width of the blade.",
        source="Korean J Ophthalmol 2015;29:23-30: smaller wounds take up more fluid",
    ),
    Field(
        name="incision_plane", label="Plane of the incision", kind=Kind.CHOICE, stage=T, role=X, group=INCISION,
        choices=(C("clear_corneal", "Corneal"), C("limbal", "Limbal"), C("scleral", "Scleral")),
        help="Where it begins.",
    ),
    Field(
        name="incision_site", label="Site of the incision", kind=Kind.CHOICE, stage=T, role=X, group=INCISION,
        choices=(C("superior", "Superior"), C("temporal", "Temporal"), C("oblique", "Oblique")), help="Meridian.",
    ),
    Field(
        name="incision_tunnel_mm", label="Tunnel length", kind=Kind.NUMBER, unit="mm", stage=T, role=P, group=INCISION,
        hard=(0.5, 4.0), soft=(1.2, 2.5), decimals=1, folded=True, help="Length of the tunnel.",
        source="Korean J Ophthalmol 2010;24(1): long tunnel, risk in a shallow chamber",
    ),
    Field(
        name="sideport_count", label="Extra incisions", kind=Kind.INTEGER, stage=T, role=X, group=INCISION, hard=(0, 6),
        soft=(1, 3), folded=True, help="Incisions besides the main one.",
    ),
    Field(
        name="corneal_striae_intraop", label="Wrinkled on pivoting", kind=Kind.GRADE, stage=T, role=P, group=INCISION,
        hard=(0, 3), choices=(C("0", "Never"), C("1", "Briefly"), C("2", "Often"), C("3", "View lost")),
        help="Wrinkling of the cornea from the tip or a distorted incision.",
        source="published chapter: long tunnels cause distortion",
    ),
    Field(
        name="dispersive_recoat", label="Re-coat", kind=Kind.CHOICE, stage=T, role=P, group=RECOAT,
        choices=(C("no", "No"), C("once", "Once"), C("more", "More")),
        help="Dispersive renewed after hydrodissection or mid-case.", source="protective rationale, from memory",
    ),
    Field(
        name="nucleus_hardness_theatre", label="Hardness found", kind=Kind.GRADE, stage=T, role=X, group=NUCLEUS,
        hard=(1, 5), choices=HARDNESS, help="The nucleus as the surgeon found it; never a predictor.",
    ),
    Field(
        name="technique", label="Division", kind=Kind.CHOICE, stage=T, role=P, group=NUCLEUS,
        choices=(
            C("phaco_chop_horizontal", "Horizontal chop"), C("phaco_chop_vertical", "Vertical chop"),
            C("stop_chop", "Stop and chop"), C("divide_conquer", "Divide and conquer"), C("prechop", "Pre-chop"),
            C("femto_fragment", "Laser fragmented"), C("supracapsular", "Above the capsule"),
            C("aspiration_only", "Aspiration only"), C("manual_SICS", "Manual small incision"), C("other", "Other"),
        ),
        help="How the nucleus was divided.", source="Clin Ophthalmol 2024;18:1535-1546, 837 patients",
    ),
    Field(
        name="femto_laser", label="Laser-assisted", kind=Kind.YES_NO, stage=T, role=P, group=NUCLEUS, folded=True,
        help="Femtosecond laser used.",
        source="Int Eye Sci 2022, 13 trials: risk ratio of edema 0.46; PLOS One 2023: none",
    ),
    Field(
        name="working_plane", label="Mostly in", kind=Kind.CHOICE, stage=T, role=P, group=NUCLEUS,
        choices=(
            C("bag", "Bag"), C("iris_plane", "Iris plane"), C("anterior_chamber", "Front chamber"), C("mixed", "Mixed"),
        ),
        help="Where most of the nucleus was removed.",
        source="Exp Biomed Res 2022, 232 eyes: front chamber > iris plane > bag",
    ),
    Field(
        name="phaco_machine_id", label="Machine", kind=Kind.IDENTIFIER, stage=T, role=X, group=ULTRASOUND,
        aliases=("machine",),
        help="The practice's own code of machine and profile. Energy is never compared across machines.",
    ),
    Field(
        name="us_time_s", label="Ultrasound time", kind=Kind.NUMBER, unit="s", stage=T, role=P, group=ULTRASOUND,
        hard=(0, 600), soft=(5, 180), decimals=1, aliases=("ultrasound time",), help="From the machine's end screen.",
        source="South-East Eur Med J 2022;6:113-120, 267 eyes: p < .001",
    ),
    Field(
        name="us_mean_power_pct", label="Mean power", kind=Kind.NUMBER, unit="%", stage=T, role=P, group=ULTRASOUND,
        hard=(0, 100), soft=(3, 60), decimals=1, help="Of that machine's full stroke, from the end screen.",
        source="South-East Eur Med J 2022;6:113-120: p < .001",
    ),
    Field(
        name="effective_phaco_time_s", label="Full-power seconds", kind=Kind.NUMBER, unit="s", stage=T, role=P,
        group=ULTRASOUND, hard=(0, 300), soft=(0.5, 60), decimals=2, derived=True, aliases=("ept",),
        help="Ultrasound time x mean power / 100. With torsional motion: time x power, this machine.",
        source="Exp Biomed Res 2022, 232 eyes: in the final model of day-one swelling",
    ),
    Field(
        name="ept_origin", label="Full-power seconds from", kind=Kind.CHOICE, stage=T, role=X, group=ULTRASOUND,
        folded=True, choices=(C("machine", "Machine"), C("derived", "Worked out")),
        help="Typed from the machine or worked out here.",
    ),
    Field(
        name="us_energy_value", label="Other energy reading", kind=Kind.NUMBER, stage=T, role=P, group=ULTRASOUND,
        hard=(0, 100000), decimals=2, folded=True, help="Another number of the end screen; needs its metric.",
    ),
    Field(
        name="us_energy_metric", label="Metric of that reading", kind=Kind.CHOICE, stage=T, role=X, group=ULTRASOUND,
        folded=True,
        choices=(
            C("effective_time_s", "Effective time, s"), C("console_cumulative", "Console's cumulative number"),
            C("absolute_time_s", "Absolute time, s"), C("other", "Other"),
        ),
        help="What the number is; numbers of different metrics are never compared.",
    ),
    Field(
        name="us_modality", label="Power modulation", kind=Kind.CHOICE, stage=T, role=X, group=ULTRASOUND, folded=True,
        choices=(
            C("continuous", "Continuous"), C("pulse", "Pulse"), C("burst", "Burst"), C("short_pulse", "Short pulse"),
            C("mixed", "Mixed"),
        ),
        help="Program of the machine.",
    ),
    Field(
        name="us_motion", label="Tip motion", kind=Kind.CHOICE, stage=T, role=X, group=ULTRASOUND,
        choices=(
            C("longitudinal", "Longitudinal"), C("torsional", "Torsional"), C("transversal", "Transversal"),
            C("combined", "Combined"),
        ),
        help="Movement of the tip.", source="Int J Ophthalmol 2016;9:890-897, 1119 eyes",
    ),
    Field(
        name="tip_code", label="Tip", kind=Kind.IDENTIFIER, stage=T, role=X, group=ULTRASOUND, folded=True,
        help="The practice's own code of the tip.",
    ),
    Field(
        name="tip_bevel", label="Bevel", kind=Kind.CHOICE, stage=T, role=P, group=ULTRASOUND, folded=True,
        choices=(C("up", "Up"), C("down", "Down"), C("side", "Side")), help="Which way the bevel looked.",
        source="J Cataract Refract Surg 2011, 30 + 30 eyes: loss 5.9 against 13.6 %",
    ),
    Field(
        name="irrigation_volume_ml", label="Fluid", kind=Kind.NUMBER, unit="mL", stage=T, role=P, group=FLUID,
        hard=(0, 2000), soft=(20, 300), aliases=("fluid",), help="Bag weight or the machine's figure.",
        source="J Cataract Refract Surg 1996: linked to cell loss",
    ),
    Field(
        name="aspiration_time_s", label="Aspiration time", kind=Kind.NUMBER, unit="s", stage=T, role=P, group=FLUID,
        hard=(0, 3600), soft=(30, 600), folded=True, help="From the end screen.",
        source="Int Eye Sci 2021;21(11): perfusion time, odds ratio 1.172",
    ),
    Field(
        name="iop_setting_mmhg", label="Infusion pressure", kind=Kind.NUMBER, unit="mm[Hg]", stage=T, role=P,
        group=FLUID, hard=(10, 120),
        help="Set pressure; or the bottle height, never both. With a low pressure lower the vacuum too.",
        source="27 pairs: day-one swelling 3.0 against 8.1 %",
    ),
    Field(
        name="bottle_height_cm", label="Bottle height", kind=Kind.NUMBER, unit="cm", stage=T, role=P, group=FLUID,
        hard=(0, 150), folded=True, help="Or the infusion pressure, never both.",
    ),
    Field(
        name="fluid_lot", label="Fluid lot", kind=Kind.IDENTIFIER, stage=T, role=X, group=FLUID, folded=True,
        help="So that a cluster of unusual eyes can be traced.",
    ),
    Field(
        name="case_minutes", label="Minutes", kind=Kind.NUMBER, unit="min", stage=T, role=P, group=FLUID, hard=(2, 240),
        soft=(5, 45), aliases=("minutes",), help="Incision to end, by the clock.",
        source="J Clin Med 2021;10:2270: with change of the cell count",
    ),
    Field(
        name="ovd_removal", label="Viscoelastic out", kind=Kind.CHOICES, stage=T, role=X, group=REMOVAL,
        choices=(
            C("standard", "Standard"), C("bag_behind_lens", "Behind the lens"), C("angle_sweep", "Angle sweep"),
            C("incomplete", "Left incomplete"),
        ),
        help="What was taken out; retained gel raises the pressure.", source="from memory",
    ),
    Field(
        name="stromal_hydration", label="Hydration of the wounds", kind=Kind.GRADE, stage=T, role=P, group=WOUNDS,
        hard=(0, 3),
        choices=(
            C("0", "None", ("none",)), C("1", "Light", ("light",)), C("2", "Moderate", ("moderate",)),
            C("3", "Heavy", ("heavy",)),
        ),
        help="How much fluid was put into the wounds.",
        source="Korean J Ophthalmol 2015;29:23-30: thick on day 0, falls fast",
    ),
    Field(
        name="suture", label="Suture", kind=Kind.YES_NO, stage=T, role=X, group=WOUNDS, folded=True,
        help="A wound was sutured.",
    ),
    Field(
        name="pcr", label="Capsule", kind=Kind.CHOICE, stage=T, role=P, group=EVENTS,
        choices=(
            C("none", "Whole", ("no",)), C("PCR", "Rupture"),
            C("PCR+vitreous", "Rupture with vitreous", ("pcr vitreous",)), C("zonular_dialysis", "Zonular dialysis"),
        ),
        help="State of the capsule and zonule.", source="61 eyes with a low count: linked to bullous keratopathy",
    ),
    Field(
        name="descemet_detachment", label="Descemet detachment", kind=Kind.CHOICE, stage=T, role=X, group=EVENTS,
        choices=(
            C("none", "None", ("no",)), C("incision_only", "At the incision"),
            C("under_quarter", "Under a quarter", ("<1/4",)), C("quarter_to_half", "A quarter to a half", ("1/4-1/2",)),
            C("over_half", "Over half", (">1/2",)),
        ),
        help="Share of the cornea.", source="JAMA Ophthalmol 2021;139:150-155",
    ),
    _event(
        "endothelial_touch", "Touch", "An instrument, a fragment or the lens touched the endothelium.",
        "J Cataract Refract Surg 1996",
    ),
    _event("iris_prolapse", "Iris prolapse", "Iris came into a wound."),
    _event("wound_burn", "Wound burn", "Heat at the incision."),
    _event("iris_hooks_or_ring", "Hooks or ring", "The pupil was held open."),
    _event("capsule_dye", "Dye", "The capsule was stained."),
    _event("ctr", "Tension ring", "A capsular tension ring was put in."),
    _event("vitrectomy", "Vitrectomy", "Vitreous was removed."),
    Field(
        name="lens_position", label="Lens position", kind=Kind.CHOICE, stage=T, role=X, group=EVENTS, folded=True,
        choices=(
            C("bag", "Bag"), C("sulcus", "Sulcus"), C("anterior_chamber", "Front chamber"), C("fixated", "Fixated"),
            C("none", "None"),
        ),
        help="Where the lens was left.",
    ),
    Field(
        name="combined_procedure", label="Combined with", kind=Kind.CHOICE, stage=T, role=X, group=EVENTS,
        choices=(
            C("none", "None", ("no",)), C("stent_filter", "Stent or filter"), C("graft", "Graft"),
            C("vitrectomy", "Vitrectomy"), C("other", "Other"),
        ),
        help="Another operation in the same sitting.",
    ),
    Field(
        name="intracameral_drugs", label="Agents in the eye", kind=Kind.TEXT, stage=T, role=X, group=EVENTS,
        folded=True, help="Agents given into the eye or the fluid, to trace a toxic reaction.",
    ),
    Field(
        name="tray_id", label="Tray", kind=Kind.IDENTIFIER, stage=T, role=X, group=EVENTS, folded=True,
        help="So that a cluster of unusual eyes can be traced.",
    ),
)
