"""The sheet: one row of answers a house step, in the order of the hands, then events and the team."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date

from PySide6.QtCore import QRect
from PySide6.QtGui import QPainter, QPaintEvent
from PySide6.QtWidgets import QWidget

from clinic_app.desktop.look import MEDIUM, Look
from clinic_app.desktop.mirror import mirrored, put
from clinic_app.desktop.pages.stage_form import StageForm
from clinic_app.desktop.pages.theatre_parts import FoldingChoice, StepHead, by_digit, limit, show_reason
from clinic_app.desktop.parts.answer import OPEN, Answer, Given
from clinic_app.desktop.parts.choice import ChoiceRow
from clinic_app.desktop.parts.derived_line import DerivedLine
from clinic_app.desktop.parts.entry import EntryAnswer
from clinic_app.desktop.parts.label import Words
from clinic_app.domain.practice import END_SCREEN, Machine
from clinic_app.domain.record import Row, StageRecord, Value
from clinic_app.domain.theatre import (
    EVENT_FIELDS,
    EVENTS,
    FLUID,
    NUCLEUS,
    STEPS,
    ULTRASOUND,
    energy_words,
    events_answered,
    fluid_words,
    happened,
    nothing,
    screen_fields,
    sheet_fields,
)
from clinic_app.domain.theatre_draft import SheetDraft
from clinic_app.settings import Settings
from models.codebook import BY_NAME, Choice, Field, Kind, Role, Stage

HAPPENED, NONE, SOME = "happened", "none", "some"
HAPPENED_FIELD = Field(
    name=HAPPENED, label="Events", kind=Kind.CHOICE, stage=Stage.THEATRE, role=Role.CONTEXT, group=EVENTS,
    choices=(Choice(NONE, "None"), Choice(SOME, "Something happened")),
    help="None answers every event with no. Something happened opens them; Ctrl+0 answers the rest with no.",
)  # fmt: skip
BARE = frozenset(
    {
        "ovd_strategy", "main_incision_mm", "incision_plane", "incision_site", "dispersive_recoat", "technique",
        "phaco_machine_id", "us_time_s", "us_mean_power_pct", "us_motion", "irrigation_volume_ml", "iop_setting_mmhg",
        "case_minutes", "ovd_removal", HAPPENED,
    }
)  # fmt: skip
"""Answers that need no label beside their step's name."""
HARDNESS, LEARNING = "nucleus_hardness_theatre", ("trainee", "junior")
OWN_LINE = frozenset({"technique", "us_motion"})
HINTS = {
    "main_incision_mm": "width", "phaco_machine_id": "machine", "us_time_s": "time", "us_mean_power_pct": "power",
    "irrigation_volume_ml": "fluid", "effective_phaco_time_s": "effective", "us_energy_value": "energy",
    "aspiration_time_s": "suction",
}  # fmt: skip
LAST_BEFORE = {NUCLEUS: HARDNESS, ULTRASOUND: "us_motion", FLUID: "case_minutes"}
"""The answer behind which a step says what follows."""
DIVISIONS_SHOWN = 4
BOX, WIDE_BOX, STACKED_BELOW, EDGE = 104, 220, 520, 9


def form_fields() -> tuple[Field, ...]:
    """The sheet's fields with the question about events before them."""
    fields = list(sheet_fields())
    first = next(place for place, one in enumerate(fields) if one.group == EVENTS)
    return (*fields[:first], HAPPENED_FIELD, *fields[first:])


def happened_row(look: Look) -> ChoiceRow:
    """None by `0`, Something happened by `+`."""
    row = ChoiceRow(look, HAPPENED_FIELD, absent=False)
    row.keys = {"0": NONE, "+": SOME, "n": NONE, "s": SOME}
    for option, hint in zip(row.options, "0+", strict=True):
        option.hint, option.letter = hint, False
        option.updateGeometry()
    return row


class TheatreForm(StageForm):
    """`whole` shows what is folded. Dashed answers are passed over by Enter; they wait for As usual."""

    def __init__(self, look: Look, settings: Settings, today: date) -> None:
        self.labels: dict[str, Words] = {}
        self.derived = {
            NUCLEUS: DerivedLine(look, "Hardness found"), ULTRASOUND: DerivedLine(look, "Ultrasound"),
            FLUID: DerivedLine(look, "Fluid"),
        }  # fmt: skip
        self.whole = False
        self.machine: Machine | None = None
        self._rules: list[int] = []
        super().__init__(look, settings, today, form_fields())
        for line in self.derived.values():
            line.setParent(self)
        self._show_asked()

    def heading(self, group: str) -> QWidget:
        return StepHead(self.look, next(step for step in STEPS if step.group == group))

    def control(self, field: Field) -> Answer:
        if field.name == "technique":
            answer: Answer = FoldingChoice(self.look, field, shown=DIVISIONS_SHOWN)
        elif field.name == HAPPENED:
            answer = happened_row(self.look)
        elif field.name == HARDNESS:
            answer = by_digit(ChoiceRow(self.look, field))
        else:
            answer = super().control(field)
        answer.hide_head()
        if isinstance(answer, EntryAnswer) and field.name in HINTS:
            answer.box.setPlaceholderText(HINTS[field.name])
        if field.name not in BARE:
            label = Words(self.look, field.label, size=13, weight=MEDIUM, colour="soft")
            label.setParent(self)
            self.labels[field.name] = label
        return answer

    # --- what is asked -----------------------------------------------------------------------------------------------

    def is_open(self, answer: Answer) -> bool:
        return not answer.given.stands and not answer.given.proposed

    def set_whole(self, whole: bool) -> None:
        """Show what is folded, or only what is asked usually."""
        self.whole = whole
        self._show_asked()

    def set_machine(self, machine: Machine | None) -> None:
        """The machine decides which of its readings are asked for, and which tip motions there are."""
        self.machine = machine
        motions = self.answers["us_motion"]
        if isinstance(motions, ChoiceRow):
            limit(motions, machine.motions if machine is not None else ())
        tips = self.answers["tip_code"]
        if isinstance(tips, EntryAnswer) and machine is not None and machine.tips:
            tips.suggest(machine.tips)
        self._show_asked()

    def _show_asked(self) -> None:
        screen, some = screen_fields(self.machine), self.answers[HAPPENED].given.value == SOME
        for name, answer in self.answers.items():
            field = answer.field
            if name in EVENT_FIELDS:
                asked = some
            elif name in END_SCREEN:
                asked = name in screen
            elif name == "supervised":
                asked = self.answers["surgeon_grade"].given.value in LEARNING
            else:
                asked = not (field.folded or field.derived)
            asked = asked or (answer.given.stands and name not in EVENT_FIELDS)
            shown = asked or (self.whole and (name not in EVENT_FIELDS))
            answer.setVisible(shown)
            self._reason(name)
            if name in self.labels:
                self.labels[name].setVisible(shown)
            if not shown:
                self._drop_lines(name)
        self.placed()

    def _path(self) -> list[Answer]:
        screen = screen_fields(self.machine)
        return [
            answer
            for name, answer in self.answers.items()
            if not answer.isHidden() and not (answer.field.folded and name not in screen)
        ]

    def followed(self, name: str) -> None:
        """What an answer brings with it: None answers every event with no; Something happened opens them."""
        super().followed(name)
        if name != HAPPENED:
            return
        answer = self.answers[HAPPENED].given.value
        for event in EVENT_FIELDS:
            held = self.answers[event].given
            quiet = nothing(BY_NAME[event])
            if answer == NONE:
                self.show_given(event, Given(quiet))
            elif answer is None or held.value == quiet:
                self.show_given(event, OPEN)

    def _answer_changed(self, name: str) -> None:
        super()._answer_changed(name)
        self._reason(name)
        if name in (HAPPENED, "surgeon_grade"):
            self._show_asked()

    def _reason(self, name: str) -> None:
        answer = self.answers[name]
        if isinstance(answer, ChoiceRow):
            show_reason(answer, always=self.whole)

    def show_given(self, name: str, given: Given) -> None:
        """Show an answer that comes from elsewhere."""
        super().show_given(name, given)
        self._reason(name)

    def show_row(self, row: dict[str, object]) -> None:
        """Show a record; the question about events follows from its answers."""
        told: dict[str, object] = dict(row)
        if happened(row) or (not events_answered(row) and any(row.get(one) is not None for one in EVENT_FIELDS)):
            told[HAPPENED] = SOME
        elif events_answered(row):
            told[HAPPENED] = NONE
        super().show_row(told)
        division = self.answers["technique"]
        if isinstance(division, FoldingChoice):
            division.unfold(False)
        self._show_asked()

    def show_signed(self, row: Row) -> None:
        """Show a signed sheet; what only follows from its readings is no answer of its own."""
        told = dict(row)
        if told.get("ept_origin") != "machine":
            told.pop("effective_phaco_time_s", None)
        self.show_row(told)

    def show_draft(self, draft: SheetDraft) -> None:
        """Show a draft: its answers with what was typed, and the texts that still ask."""
        self.show_row(draft.record.row())
        for name, typed in draft.record.typed.items():
            if name in self.answers:
                held = self.answers[name].given
                self.show_given(name, Given(held.value, held.missing, typed))
        for name, text in draft.texts.items():
            answer = self.answers.get(name)
            if isinstance(answer, EntryAnswer):
                answer.show_words(text)
                self.said(name, text)
        self.acts.begin(self._held())

    def draft(self) -> SheetDraft:
        """The answers that stand and the texts in question; never what is only proposed."""
        given = {name: one for name, one in self.given().items() if name != HAPPENED}
        texts = {
            name: answer.box.text().strip()
            for name, answer in self.answers.items()
            if isinstance(answer, EntryAnswer) and answer.given == OPEN and answer.box.text().strip()
        }
        record = StageRecord(
            Stage.THEATRE,
            {name: one.value for name, one in given.items() if one.value is not None},
            {name: one.missing for name, one in given.items() if one.missing is not None},
            {name: one.typed for name, one in given.items() if one.typed},
        )
        return SheetDraft(record, texts)

    def propose_values(self, values: Mapping[str, Value]) -> int:
        """Show these answers dashed where nothing stands; what was dashed before and is no more is emptied."""
        for name in self.proposed():
            if self.answers[name].given.value != values.get(name):
                self.show_given(name, OPEN)
        count = self.propose(dict(values), values)
        self.placed()
        return count

    def show_readings(self, row: Row) -> None:
        """Say what follows from the readings."""
        hardness = row.get(HARDNESS)
        self.derived[NUCLEUS].say("" if hardness is None else BY_NAME[HARDNESS].choice_label(hardness))
        self.derived[ULTRASOUND].say(energy_words(row))
        self.derived[FLUID].say(fluid_words(row))
        self.placed()

    # --- places ------------------------------------------------------------------------------------------------------

    def _place(self, width: int, *, move: bool) -> int:
        px = self.look.px
        edge = px(EDGE)
        inner = max(px(100), width - edge)
        name = px(StepHead.NUMBER + StepHead.NAME)
        stacked = inner < px(STACKED_BELOW)
        top, rules = px(2), []
        for section in self.sections:
            shown = self.shown(section)
            if move:
                section.heading.setVisible(bool(shown))
            if not shown:
                continue
            if top > px(2):
                rules.append(top)
            left, room, start = (edge, inner, top) if stacked else (edge + name, inner - name, top)
            head = self._put(section.heading, edge, top, inner if stacked else name - px(4), move=move)
            low = self._section(section.name, shown, left, head if stacked else start + px(3), room, move=move)
            top = max(head, low) + px(5)
        if move:
            self._rules = rules
            self.update()
        return top + px(4)

    def _section(self, group: str, shown: list[Answer], left: int, top: int, room: int, *, move: bool) -> int:
        px = self.look.px
        x, deep, waiting = 0, 0, list[QWidget]()
        line, beside = self.derived.get(group), False
        for answer in shown:
            label = self.labels.get(answer.field.name)
            lead = label.sizeHint().width() + px(10) if label is not None else 0
            above = label is not None and lead + answer.minimumSizeHint().width() > room
            if above and label is not None:
                top = self._waiting(waiting, left, top + deep, room, move=move)
                top = self._put(label, left + px(3), top, room - px(3), move=move)
                x, deep, lead, label = 0, 0, 0, None
            wish = min(lead + self._wish(answer), room)
            short = answer.field.kind is Kind.YES_NO and beside
            beside = answer.field.kind is Kind.YES_NO
            own = (label is not None and not short) or answer.field.name in OWN_LINE
            x += px(14) if x and short else 0
            if x and (own or x + wish > room):
                top = self._waiting(waiting, left, top + deep, room, move=move)
                x, deep = 0, 0
            wide = wish - lead
            high = answer.heightForWidth(wide)
            if move:
                put(answer, self, QRect(left + x + lead, top, wide, high))
                if label is not None:
                    put(label, self, QRect(left + x + px(3), top, lead - px(6), px(40)))
            x, deep = x + wish + px(4), max(deep, high)
            waiting += self.lines.get(answer.field.name, [])
            if line is not None and answer.field.name == LAST_BEFORE[group]:
                top, x, deep = self._derived(line, left, top, x, deep, room, move=move)
        return self._waiting(waiting, left, top + deep, room, move=move)

    def _derived(
        self, line: DerivedLine, left: int, top: int, x: int, deep: int, room: int, *, move: bool
    ) -> tuple[int, int, int]:
        shown = bool(line.text())
        if move:
            line.setVisible(shown)
        if not shown:
            return top, x, deep
        wide = min(line.fontMetrics().horizontalAdvance(line.text()) + self.look.px(8), room)
        if x + wide > room:
            top, x, deep = top + deep, 0, 0
        high = max(self.look.px(40), line.heightForWidth(wide))
        if move:
            put(line, self, QRect(left + x + self.look.px(3), top, wide, high))
        return top, x + wide + self.look.px(4), max(deep, high)

    def _wish(self, answer: Answer) -> int:
        if isinstance(answer, EntryAnswer):
            margins, text = answer.box.textMargins(), answer.box.text()
            needed = answer.box.fontMetrics().horizontalAdvance(text) + margins.left() + margins.right()
            usual = self.look.px(WIDE_BOX if answer.field.kind is Kind.TEXT else BOX)
            return max(usual, needed + self.look.px(6))
        return answer.natural_width()

    def paintEvent(self, event: QPaintEvent) -> None:
        painter = QPainter(self)
        for top in self._rules:
            rule = QRect(self.look.px(EDGE), top, self.width() - self.look.px(EDGE), 1)
            painter.fillRect(mirrored(painter, rule), self.look.colour("rule"))
        painter.end()
