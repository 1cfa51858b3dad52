"""Halts of day one: the one table of what makes a person call a surgeon, each with its condition, words and urgency.

The numbers are the practice's own levels (`practice.Levels`), as they stand for this eye; what else is a number here
is our own choice and named below. Sources of the rules: same-day review lists in guidelines and in reviews of toxic
reactions (limbus-to-limbus haze 12 to 48 h after surgery); pressure after letting off fluid, 47 to 5 mmHg at once and
38 mmHg after an hour (11 eyes), which is why a single low repeat does not end the matter.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from functools import cached_property
from types import MappingProxyType

from clinic_app.domain.derived import number
from clinic_app.domain.numbers import show
from clinic_app.domain.practice import Levels
from clinic_app.domain.record import Row
from clinic_app.domain.vision import Vision, read_vision
from models.codebook import CENTRE_GRADE

PAIN = 5
"""Pain from which a surgeon is called."""
PAIN_WITH_HAZE = 3
"""Pain that turns haze from limbus to limbus into a suspicion of infection (own choice)."""
WORSE_LOGMAR = 0.2
"""Vision counts as worse than before from two lines on; single lines come and go between readings (own choice)."""
BLIND_FROM = ("HM", "LP", "NLP")
"""Visions that count as hand movements or worse."""
EXPLAINS: Mapping[str, frozenset[object]] = {
    "epithelial_defect": frozenset({True}),
    "hyphaema": frozenset({True}),
    "retained_lens": frozenset({True}),
    "descemet_central_day_one": frozenset({True}),
    "edema_epithelial": frozenset({True}),
    "iol_position": frozenset({"decentred", "dislocated"}),
    "descemet_folds": frozenset({"5-9", "10+"}),
    "pcr": frozenset({"PCR", "PCR+vitreous", "zonular_dialysis"}),
    CENTRE_GRADE: frozenset({2, 3, 4}),
}
"""Recorded findings that explain a vision worse than before."""

VISION_NOW, REDNESS, DISCHARGE = "vision_against_yesterday", "redness", "discharge"
"""What only a remote sheet asks: vision against yesterday (better, same, worse), more redness, sticky discharge."""


class Urgency(StrEnum):
    """What a halt asks for, the most urgent first."""

    NOW = "call now"
    TODAY = "surgeon today"
    QUIET = "quiet line"


@dataclass(frozen=True, slots=True)
class Halt:
    """A halt that stands: its id, how urgent, what to say, and the fields it comes from.

    A halt of urgency `QUIET` is a line, no panel. `asks_action`: who was reached and what was decided is to be noted.
    `eyes`: how many unusual eyes one of a whole list (M56) counts.
    """

    code: str
    urgency: Urgency
    sentence: str
    more: str = ""
    fields: tuple[str, ...] = ()
    asks_action: bool = True
    eyes: int = 0


def who_is_called(levels: Levels) -> str:
    """The name on call, or words for it."""
    return levels.on_call or "the surgeon on call"


class Eye:
    """What the rules look at: the row of one eye, its levels, and the pressures read again, in the order read."""

    def __init__(self, row: Row, levels: Levels, repeats: Sequence[float]) -> None:
        self.row, self.levels, self.repeats = row, levels, tuple(repeats)

    @property
    def call(self) -> str:
        """Who is called."""
        return who_is_called(self.levels)

    @cached_property
    def pressures(self) -> tuple[float, ...]:
        """All readings of the pressure, the first one first."""
        first = number(self.row, "iop_pod1_mmhg")
        return self.repeats if first is None else (first, *self.repeats)

    @property
    def pressure(self) -> float | None:
        """The newest reading."""
        return self.pressures[-1] if self.pressures else None

    @property
    def hazy_all_over(self) -> bool:
        """Haze from limbus to limbus, or a cornea so milky that nothing is seen behind it."""
        return self.row.get("edema_extent") == "limbus_to_limbus" or number(self.row, CENTRE_GRADE) == 4

    @property
    def haze(self) -> str:
        """Words for it."""
        limbus = self.row.get("edema_extent") == "limbus_to_limbus"
        return "Haze from limbus to limbus" if limbus else "A milky cornea"

    @property
    def pain(self) -> float:
        """Pain as said, 0 when nothing was said."""
        return number(self.row, "pain_0_10") or 0.0

    @property
    def nearly_blind(self) -> bool:
        """Hand movements or worse."""
        text = self.row.get("ucva_raw")
        seen = read_vision(text) if isinstance(text, str) else None
        return isinstance(seen, Vision) and seen.category in BLIND_FROM

    @property
    def fallen(self) -> bool:
        """Vision worse than before surgery, or than yesterday as the patient says, whatever explains it."""
        if self.row.get(VISION_NOW) == "worse" or self.nearly_blind:
            return True
        before, after = number(self.row, "preop_va_logmar"), number(self.row, "ucva_logmar")
        return before is not None and after is not None and after - before >= WORSE_LOGMAR - 1e-9

    @property
    def explained(self) -> bool:
        """Whether something recorded explains a vision worse than before."""
        return any(self.row.get(name) in values for name, values in EXPLAINS.items())

    def has(self, name: str) -> bool:
        """Whether a yes-or-no finding was seen."""
        return self.row.get(name) is True


def _mmhg(value: float) -> str:
    return f"{show(value)} mmHg"


def _quiet(eye: Eye) -> str:
    at = eye.pressure
    if at is None or not eye.levels.quiet < at <= eye.levels.today or at >= eye.levels.now:
        return ""
    return f"{_mmhg(at)} is above {show(eye.levels.quiet)}. No halt; worth a second look before the patient leaves."


def _m50(eye: Eye) -> str:
    at = eye.pressure
    if at is None or not eye.levels.today < at < eye.levels.now:
        return ""
    return f"{_mmhg(at)} is above our level of {show(eye.levels.today)} for this eye. A surgeon decides today."


def _m51(eye: Eye) -> str:
    at = eye.pressure
    if at is None or at < eye.levels.now:
        return ""
    return f"{_mmhg(at)}. Call {eye.call} now. Do not wait for this program."


def _m51_settled(eye: Eye) -> str:
    if eye.pressure is None or max(eye.pressures) < eye.levels.now or eye.pressure >= eye.levels.now:
        return ""
    return (
        f"{_mmhg(max(eye.pressures))} before, {_mmhg(eye.pressure)} now. Pressure can rise again within the hour: note "
        "what was done and when it is checked again."
    )


def _m52(eye: Eye) -> str:
    at = eye.pressure
    return "" if at is None or at >= eye.levels.low else f"{_mmhg(at)}. Look for a leak."


def _m53_now(eye: Eye) -> str:
    leak = {"positive_brisk": "A brisk leak at the wound.", "iris_in_wound": "Iris in the wound."}
    said = leak.get(str(eye.row.get("seidel")), "")
    if not said and eye.row.get("chamber_day_one") == "flat":
        said = "The chamber is flat."
    return f"{said} Call {eye.call} now." if said else ""


def _m53_today(eye: Eye) -> str:
    if _m53_now(eye):
        return ""
    if eye.row.get("seidel") == "positive_slow":
        return "A slow leak at the wound. A surgeon sees this eye today."
    return (
        "The chamber is shallow. A surgeon sees this eye today." if eye.row.get("chamber_day_one") == "shallow" else ""
    )


def _inflamed(eye: Eye) -> str:
    if eye.has("hypopyon"):
        return "Hypopyon"
    if eye.has("fibrin"):
        return "Fibrin"
    if eye.row.get("ac_flare_sun") == "4":
        return "Flare 4+, as with fibrin"
    if eye.row.get(DISCHARGE) is True:
        return "Discharge"
    if not eye.hazy_all_over:
        return ""
    if eye.row.get("ac_cells_sun") in ("2", "3", "4"):
        return f"{eye.haze} with cells"
    if eye.row.get("ac_cells_sun_missing") == "not_possible":
        return f"{eye.haze}, cells cannot be seen"
    if eye.pain >= PAIN_WITH_HAZE:
        return f"{eye.haze} with pain"
    return f"{eye.haze} with a fall in vision" if eye.fallen else ""


def _m54(eye: Eye) -> str:
    found = _inflamed(eye)
    return f"{found}. Call {eye.call} now: infection or toxic reaction until shown otherwise." if found else ""


def _m54_remote(eye: Eye) -> str:
    if _m54(eye) or eye.row.get(REDNESS) is not True:
        return ""
    return "The eye is redder than yesterday. A surgeon sees this eye today."


def _m55(eye: Eye) -> str:
    grade = number(eye.row, CENTRE_GRADE)
    if grade is not None and grade >= 3:
        found = f"Centre grade {grade:.0f}"
    elif eye.has("descemet_central_day_one"):
        found = "Descemet detached in the centre"
    elif eye.has("retained_lens"):
        found = "Lens matter left in the eye"
    else:
        return ""
    return f"{found}. A surgeon sees this eye today."


def _m57_now(eye: Eye) -> str:
    return f"Pain {eye.pain:.0f} of 10. Call {eye.call} now." if eye.pain >= PAIN else ""


def _m57_today(eye: Eye) -> str:
    if eye.pain >= PAIN or not eye.has("headache_or_nausea"):
        return ""
    return "Headache or nausea. Measure the pressure; a surgeon decides today."


def _m58(eye: Eye) -> str:
    text = str(eye.row.get("ucva_raw") or "")
    if eye.nearly_blind:
        return f"Vision {text}. Call {eye.call} now."
    if eye.row.get(VISION_NOW) == "worse":
        return f"Vision worse than yesterday. Call {eye.call} now."
    if not eye.fallen or eye.explained:
        return ""
    before = str(eye.row.get("preop_va_raw") or f"{number(eye.row, 'preop_va_logmar') or 0:.2f} logMAR")
    return f"Vision {text}, before surgery {before}, and nothing recorded explains it. Call {eye.call} now."


@dataclass(frozen=True, slots=True)
class Rule:
    """One line of the table: `says` gives the sentence when the halt stands, else nothing."""

    code: str
    urgency: Urgency
    says: Callable[[Eye], str]
    fields: tuple[str, ...]
    more: str = ""
    asks_action: bool = True


_PRESSURE = ("iop_pod1_mmhg",)
_INSIDE = (
    "hypopyon", "fibrin", "ac_flare_sun", "edema_extent", CENTRE_GRADE, "ac_cells_sun", "pain_0_10", "ucva_raw",
)  # fmt: skip
RULES: tuple[Rule, ...] = (
    Rule("M51", Urgency.NOW, _m51, _PRESSURE, "It stays until the pressure is read again below the level."),
    Rule("M53", Urgency.NOW, _m53_now, ("seidel", "chamber_day_one")),
    Rule("M54", Urgency.NOW, _m54, _INSIDE),
    Rule("M57", Urgency.NOW, _m57_now, ("pain_0_10",)),
    Rule("M58", Urgency.NOW, _m58, ("ucva_raw",)),
    Rule("M50", Urgency.TODAY, _m50, _PRESSURE, "A swollen cornea can read falsely low."),
    Rule("M52", Urgency.TODAY, _m52, _PRESSURE),
    Rule("M53", Urgency.TODAY, _m53_today, ("seidel", "chamber_day_one")),
    Rule("M54", Urgency.TODAY, _m54_remote, (REDNESS,)),
    Rule("M55", Urgency.TODAY, _m55, (CENTRE_GRADE, "descemet_central_day_one", "retained_lens")),
    Rule("M57", Urgency.TODAY, _m57_today, ("headache_or_nausea",)),
    Rule("M51", Urgency.QUIET, _m51_settled, _PRESSURE),
    Rule("quiet", Urgency.QUIET, _quiet, _PRESSURE, asks_action=False),
)
"""The table, the most urgent first."""

UNUSUAL = frozenset({"M51", "M53", "M54", "M55", "M57", "M58"})
"""Halts that make an eye unusual for M56. A pressure above the level alone does not: about one eye in twenty has one
(5.1 % of 510, a prospective series of day-one visits), so two on a list mean little."""


def standing(row: Row, levels: Levels, repeats: Sequence[float] = ()) -> tuple[Halt, ...]:
    """The halts that stand for one eye, the most urgent first.

    `row` is the case laid flat with its derived values, the answers on the sheet included; `levels` are the
    practice's, and those of this eye are taken from them. `repeats` are pressures read again, in mmHg, in the order
    read: the newest reading decides, and M51 stays as a line with its action until that is noted.
    """
    eye = Eye(row, levels.for_eye(row), repeats)
    found = []
    for rule in RULES:
        sentence = rule.says(eye)
        if sentence:
            more = rule.more
            if rule.code == "M50" and levels.on_call:
                more = f"On call: {levels.on_call}. {more}"
            found.append(Halt(rule.code, rule.urgency, sentence, more, rule.fields, rule.asks_action))
    return tuple(found)


def unusual(halts: Sequence[Halt]) -> bool:
    """Whether the halts make the eye one of those that M56 counts."""
    return any(halt.code in UNUSUAL for halt in halts)


def cluster(eyes: int, day_words: str, levels: Levels) -> Halt | None:
    """M56: from two unusual eyes on one list on. `day_words` is the day of that list in words."""
    if eyes < 2:
        return None
    call = who_is_called(levels)
    return Halt(
        "M56",
        Urgency.NOW,
        f"{eyes} unusual eyes on the list of {day_words}. Tell {call} before the next case; look for a common cause.",
        "Trays, lots and agents stand on the theatre sheets.",
        eyes=eyes,
    )


def for_the_pair(halt: Halt, levels: Levels) -> Halt:
    """The halt as the patient's other eye of the same day shows it: at once, and without saying the grade.

    The findings of M54 and M55 tell a high grade, an unexplained fall in vision a low one: they are left out.
    """
    sentence, call = halt.sentence, who_is_called(levels)
    if halt.code == "M55":
        sentence = "A surgeon sees the other eye today."
    elif halt.code == "M54" and halt.urgency is Urgency.NOW:
        sentence = f"Call {call} now: infection or toxic reaction until shown otherwise."
    elif halt.code == "M58":
        sentence = f"A fall in vision. Call {call} now."
    return replace(halt, sentence=f"Other eye: {sentence}", more="", fields=())


def call_list(levels: Levels) -> str:
    """What the card beside the sheet says of this eye's levels; `levels` are those of the eye."""
    return (
        f"pain, falling vision, pus or fibrin, a leaking wound, or pressure at or above {show(levels.now)} mmHg. "
        f"Above {show(levels.today)} mmHg a surgeon decides today."
    )


ABOUT: Mapping[str, str] = MappingProxyType(
    {
        "M50": "pressure", "M51": "pressure", "M52": "pressure", "M53": "wound", "M54": "inflammation", "M55": "cornea",
        "M56": "the list", "M57": "pain", "M58": "vision",
    }
)  # fmt: skip
"""What each halt is about, in a word."""


def about(halts: Iterable[Halt]) -> str:
    """What halts are about, each once: `pressure, cornea`."""
    return ", ".join(dict.fromkeys(ABOUT.get(halt.code, halt.code) for halt in halts))
