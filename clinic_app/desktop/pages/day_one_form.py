"""The sheet of day one as a form: keys as they are written on the answers, *Not possible* always in sight."""

from __future__ import annotations

import dataclasses
from datetime import date

from clinic_app.desktop.look import Look
from clinic_app.desktop.pages.stage_form import StageForm
from clinic_app.desktop.parts.answer import OPEN, Answer, Given
from clinic_app.desktop.parts.choice import ChoiceRow, Option
from clinic_app.desktop.parts.entry import EntryAnswer
from clinic_app.desktop.parts.grade_cards import GradeCards
from clinic_app.desktop.parts.ticks import TickSet
from clinic_app.domain.answers import Taken
from clinic_app.domain.day_one import PRESSURE, sheet_fields
from clinic_app.domain.numbers import parse
from clinic_app.domain.reading import read
from clinic_app.settings import Settings
from models.codebook import BY_NAME, CENTRE_GRADE, Choice, Field, Kind, Role, Stage

PAIN = "pain_0_10"
SAME_DEVICE = "same_device"
NOT_POSSIBLE = "not_possible"
KEYS: dict[str, dict[str, str]] = {
    PAIN: {**{str(one): str(one) for one in range(10)}, "10": "t"},
    "descemet_folds": {"0": "0", "1-4": "1", "5-9": "5", "10+": "+"},
    "ac_cells_sun": {"0": "0", "0.5": "h", "1": "1", "2": "2", "3": "3", "4": "4"},
    "ac_flare_sun": {one: one for one in "01234"},
    "seidel": {
        "not_tested": "t", "negative": "n", "positive_slow": "s", "positive_brisk": "b", "iris_in_wound": "i",
    },
    "chamber_day_one": {"formed": "f", "shallow": "s", "flat": "l"},
    "iop_pod1_method": {"applanation": "a", "rebound": "r", "non_contact": "i", "other": "o"},
}  # fmt: skip
"""Keys of answers where first letters or places would not be what a person looks for: field -> code -> key."""


class SeenRow(ChoiceRow):
    """Answers of an examination: each may be *not possible*, and that is always written at the end of the row."""

    def __init__(self, look: Look, field: Field, *, label: str | None = None, absent: bool = True) -> None:
        super().__init__(look, field, label=label, absent=absent, reason=NOT_POSSIBLE if absent else "")
        own = KEYS.get(field.name)
        if own is not None:
            self.keys = {key: code for code, key in own.items()}

    def make_option(self, code: str, words: str, hint: str) -> Option:
        own = KEYS.get(self.field.name)
        if own is None:
            return Option(self, code, words, hint="" if hint == words else hint, letter=self.by_letter)
        key = own[code]
        first = words[:1].lower() == key
        return Option(self, code, words, hint="" if first else key, letter=first and words != key)

    def value_of(self, code: str) -> Given:
        return Given(int(code)) if self.field.name in (PAIN, "edema_grade_peripheral") else super().value_of(code)


def _numbered(name: str, codes: range) -> Field:
    """A field of whole numbers as a row of them."""
    choices = tuple(Choice(str(one), str(one)) for one in codes)
    return dataclasses.replace(BY_NAME[name], kind=Kind.CHOICE, choices=choices)


PAIN_FIELD = _numbered(PAIN, range(11))
EDGE_FIELD = dataclasses.replace(
    _numbered("edema_grade_peripheral", range(5)), kind=Kind.GRADE, label="Edge and wound side, 0 to 4"
)
SAME_DEVICE_FIELD = Field(
    name=SAME_DEVICE, label="Same device as before", kind=Kind.YES_NO, stage=Stage.DAY_ONE, role=Role.CONTEXT,
    folded=True, help="Thickness of two devices is not compared.",
)  # fmt: skip


def form_fields() -> tuple[Field, ...]:
    """The fields of the form, in order."""
    found: list[Field] = []
    for field in sheet_fields():
        shown = {PAIN: PAIN_FIELD, "edema_grade_peripheral": EDGE_FIELD}.get(field.name)
        found.append(field if shown is None else dataclasses.replace(shown, group=field.group))
        if field.name == "cct_pod1_um":
            found.append(dataclasses.replace(SAME_DEVICE_FIELD, group=field.group))
    return tuple(found)


class WideEntry(EntryAnswer):
    """A field for words, or for a day with its time."""

    def natural_width(self) -> int:
        return max(super().natural_width(), self.look.px(260))


def seen_control(look: Look, field: Field) -> Answer:
    """The control of a field of an examination, by its kind."""
    if field.name.endswith(CENTRE_GRADE):
        return GradeCards(look, field)
    if field.kind is Kind.CHOICES:
        return TickSet(look, field)
    if field.kind is Kind.YES_NO or field.choices:
        return SeenRow(look, field)
    wide = field.kind is Kind.MOMENT or (field.kind is Kind.TEXT and field.folded)
    return WideEntry(look, field) if wide else EntryAnswer(look, field)


def open_texts(form: StageForm) -> dict[str, str]:
    """Texts that are no answer yet, by field."""
    return {
        name: answer.box.text()
        for name, answer in form.answers.items()
        if isinstance(answer, EntryAnswer) and answer.given == OPEN and answer.box.text().strip()
    }


class DayOneForm(StageForm):
    """The sheet. Folded answers come with `set_more`; nothing is filled beforehand, not even with none."""

    def __init__(self, look: Look, settings: Settings, today: date) -> None:
        super().__init__(look, settings, today, form_fields())
        self.more = False
        self.two_devices = False
        self.set_more(False)

    def control(self, field: Field) -> Answer:
        return seen_control(self.look, field)

    def columns(self, width: int) -> int:
        """Twice as many as other forms: rows with *Not possible* then stand beside one another."""
        return 2 * super().columns(width)

    def set_more(self, more: bool) -> None:
        """Show or fold away what is rarely asked; what is answered stays in sight."""
        self.more = more
        for name, answer in self.answers.items():
            if name == SAME_DEVICE:
                answer.setVisible(self.two_devices)
            elif answer.field.folded and name != "ucva_pinhole":
                answer.setVisible(more or answer.given.stands)
        self.placed()

    def ask_device(self, known: bool) -> None:
        """Ask whether the device is the one of before, where that one is known."""
        self.two_devices = known
        self.set_more(self.more)

    def said(self, name: str, text: str) -> None:
        """Read a typed text. A pressure outside the usual is not asked about: its halt speaks first."""
        if name == PRESSURE:
            came = read(BY_NAME[PRESSURE], text, soft="note", today=self.today)
            answer = self.answers[name]
            if isinstance(came, Taken) and isinstance(answer, EntryAnswer):
                self._drop_lines(name)
                self._taken(answer, Given(came.value, typed=came.typed))
                return
        super().said(name, text)

    def literal_pressure(self) -> float | None:
        """The pressure as typed while a question about it stands: a halt does not wait for the answer."""
        answer = self.answers[PRESSURE]
        if not isinstance(answer, EntryAnswer) or answer.given != OPEN:
            return None
        number, hard = parse(answer.box.text().strip()), BY_NAME[PRESSURE].hard
        if number is None or hard is None or not hard[0] <= number.value <= hard[1]:
            return None
        return number.value

    def sheet_row(self) -> dict[str, object]:
        """The answers laid flat as the sheet has them, without the question about the device."""
        row = self.row()
        row.pop(SAME_DEVICE, None)
        row.pop(f"{SAME_DEVICE}_missing", None)
        return row

    def typed(self) -> dict[str, str]:
        """Texts as typed, where they say more than the value."""
        return {name: given.typed for name, given in self.given().items() if given.typed}

    def same_device(self) -> bool | None:
        """What was said of the device; None when it was not asked or not answered."""
        value = self.answers[SAME_DEVICE].given.value
        return value if isinstance(value, bool) else None

    def open_labels(self) -> list[str]:
        """Labels of what Enter would still stop at."""
        return [answer.field.label.lower() for answer in self._path() if self.is_open(answer)]

    def lock(self, locked: bool) -> None:
        """A locked sheet is read, not changed."""
        for answer in self.answers.values():
            answer.lock(locked)
