"""Every part of the window in its states, on invented answers: what the gallery shows and takes pictures of."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date

from PySide6.QtWidgets import QVBoxLayout, QWidget

from clinic_app.desktop.look import MEDIUM, NORMAL, STRONG, Look
from clinic_app.desktop.parts.answer import Answer, Given
from clinic_app.desktop.parts.button import Button
from clinic_app.desktop.parts.case_list import CaseList, coded, days, numbers
from clinic_app.desktop.parts.choice import ChoiceRow
from clinic_app.desktop.parts.derived_line import DerivedLine
from clinic_app.desktop.parts.effects import Effects
from clinic_app.desktop.parts.entry import EntryAnswer
from clinic_app.desktop.parts.eye_list import EyeList, Gauge, ListRow
from clinic_app.desktop.parts.eye_question import THEATRE, Expected, EyeQuestion
from clinic_app.desktop.parts.flow import FlowLayout
from clinic_app.desktop.parts.frame import Card, Heading, Rule, Scroll
from clinic_app.desktop.parts.gauges import HundredDots, RangeBar
from clinic_app.desktop.parts.grade_cards import GradeCards
from clinic_app.desktop.parts.label import Sentence, Words
from clinic_app.desktop.parts.lines import AskLine, HaltPanel, HelpLine, Icon, NoteLine, Notice, Question, RefusalLine
from clinic_app.desktop.parts.path_bar import PathBar, Strip
from clinic_app.desktop.parts.person_picker import PersonPicker
from clinic_app.desktop.parts.picker import Picker
from clinic_app.desktop.parts.pin_box import PinBox
from clinic_app.desktop.parts.plate import EyePlate
from clinic_app.desktop.parts.progress import Progress
from clinic_app.desktop.parts.sealed import SealedBlock
from clinic_app.desktop.parts.table import Table, sheet_of
from clinic_app.desktop.parts.ticks import TickSet
from clinic_app.desktop.words import day_words
from models.codebook import field

Make = Callable[[Look], QWidget]
BORN = date(1953, 1, 17)


@dataclass(frozen=True, slots=True)
class Sample:
    """One part in one state: the name of its picture, what makes it, and the width it wants in pixels at 100 %."""

    name: str
    make: Make
    width: int = 460


def _answered(answer: Answer, given: Given, words: str = "", *, troubled: bool = False) -> Answer:
    answer.show_given(given)
    if isinstance(answer, EntryAnswer):
        answer.show_words(words)
        answer.trouble(troubled)
    return answer


def _entry(name: str, given: Given, words: str = "", *, troubled: bool = False) -> Make:
    return lambda look: _answered(EntryAnswer(look, field(name)), given, words, troubled=troubled)


def _choice(name: str, given: Given, *, tabs: bool = False, reason: str = "") -> Make:
    return lambda look: _answered(ChoiceRow(look, field(name), tabs=tabs, reason=reason), given)


def _ticks(given: Given) -> Make:
    return lambda look: _answered(TickSet(look, field("prior_glaucoma_surgery")), given)


def _grades(given: Given) -> Make:
    return lambda look: _answered(GradeCards(look), given)


def _button(words: str, kind: str = "plain", *, hint: str = "", icon: str = "", alive: bool = True) -> Make:
    def make(look: Look) -> QWidget:
        made = Button(look, words, kind=kind, hint=hint, icon=icon)
        made.setEnabled(alive)
        return made

    return make


def _chance(low: int, risk: int, high: int, line: float | None) -> Make:
    def make(look: Look) -> QWidget:
        ground = Card(look)
        dots, bar = HundredDots(look), RangeBar(look)
        dots.show_chance(low, risk, high)
        bar.show_chance(low, risk, high, 9, line)
        for widget in (dots, bar):
            ground.column.addWidget(widget)
        return ground

    return make


def _eye(said: str = "", pressed: str = "", where: str = THEATRE) -> Make:
    def make(look: Look) -> QWidget:
        question = EyeQuestion(look, Expected("R", BORN, pair=True), where=where)
        if said:
            question.born.setText(said)
            question.born.entered.emit()
        if pressed:
            question.press(pressed)
        return question

    return make


def _pin(*, wrong: bool) -> Make:
    def make(look: Look) -> QWidget:
        box = PinBox(look, person="Osei")
        if wrong:
            box.say_wrong()
        return box

    return make


def _person(letters: str) -> Make:
    def make(look: Look) -> QWidget:
        people = (("Osei", "Booking"), ("Okafor", "Day one"), ("Halvorsen", "Surgeon"))
        picker = PersonPicker(look, people if letters != "-" else ())
        if letters != "-":
            picker.box.insert(letters)
            picker.box.textEdited.emit(letters)
        return picker

    return make


def _eyes(look: Look) -> QWidget:
    eyes = EyeList(look, "Invented eyes")
    eyes.set_rows(
        [
            ListRow(None, "Thu 19 November", "2 eyes"),
            ListRow(1, "P-20417", "12", "R", "Hardness 4 · Halvorsen", plan=True, gauge=Gauge(6, 12, 21, 15)),
            ListRow(2, "P-20420", "no forecast", "L", "Hardness 5 · Mbeki", "unlike ours"),
        ]
    )
    eyes.choose(1)
    eyes.setFixedHeight(look.px(170))
    return eyes


def _cases(look: Look) -> QWidget:
    cases = CaseList(look, "Invented cases")
    surgery = [date(2026, 11, 12), date(2026, 11, 12), None, date(2026, 10, 29)]
    cases.show_cases(
        [
            coded("Patient", ["P-20417", "P-20398", "P-20420", "P-20402"]),
            coded("Eye", ["Right", "Left", "Left", "Right"]),
            days("Surgery", surgery, day_words),
            numbers("Forecast, in 100", [12, 8, None, 27], lambda value: f"{value:.0f}"),
        ]
    )
    cases.sort_by(3)
    cases.selectRow(1)
    cases.setFixedHeight(look.px(150))
    return cases


def _table(look: Look) -> QWidget:
    table = Table(look, "Invented quarters")
    table.show_sheet(sheet_of(("Quarter", "Eyes", "Seen"), (("Q2 2026", 180, 14), ("Q3 2026", 212, 19))))
    table.setFixedHeight(look.px(90))
    return table


def _progress(look: Look) -> QWidget:
    ground = Card(look)
    progress = Progress(look, "Working out the review")
    progress.begin()
    progress.tell(0.4, "Judging the forecasts")
    ground.column.addWidget(progress)
    return ground


def _headed(look: Look) -> QWidget:
    card = Card(look)
    heading = Heading(look, "Lens and chamber")
    heading.set_aside("age 77")
    for widget in (heading, Rule(look), Words(look, "A card holds what belongs together.", wrap=True)):
        card.column.addWidget(widget)
    return card


def _scrolled(look: Look) -> QWidget:
    body = QWidget()
    column = QVBoxLayout(body)
    for line in range(1, 9):
        column.addWidget(Words(look, f"Line {line} of eight"))
    scroll = Scroll(look, body)
    scroll.setFixedHeight(look.px(96))
    return scroll


def _sizes(look: Look) -> QWidget:
    card = Card(look)
    for size in (12, 12.5, 14, 15, 16, 18, 20):
        card.column.addWidget(Words(look, f"Clear cornea on day one, {size:g} px, 0123456789", size=size))
    card.column.addWidget(Words(look, "Medium, for labels", weight=MEDIUM, colour="soft"))
    card.column.addWidget(Words(look, "Semi-bold, for headings", weight=STRONG))
    return card


def _sentence(look: Look) -> QWidget:
    sentence = Sentence(look, size=18)
    sentence.set_runs(
        (
            ("About ", "ink", NORMAL),
            ("12 in 100", "forecast", STRONG),
            (" eyes like this had a cloudy centre.", "ink", NORMAL),
        )
    )
    return sentence


def _help(look: Look) -> QWidget:
    line = HelpLine(look)
    line.say("Thickness", "Centre of the cornea, same device as on day one. Usual 450-650 µm.")
    return line


def _notice(look: Look) -> QWidget:
    notice = Notice(look)
    notice.say("Not saved. The disk is full. Your text is safe on this seat; make room and try again.")
    return notice


def _plates(look: Look) -> QWidget:
    ground = QWidget()
    row = FlowLayout(look, ground, gap=8)
    for side in ("R", "L", None):
        row.addWidget(EyePlate(look, side))
    for name in ("plus", "check", "flag", "ask", "stop", "lock", "clock"):
        row.addWidget(Icon(look, name))
    return ground


def _bar(look: Look) -> QWidget:
    bar = PathBar(look, "Osei, booking")
    bar.set_counts((14, 4, 4, None, None))
    bar.set_width(1400 * 100 / look.percent)
    return bar


def _halt(look: Look) -> QWidget:
    sentence = "31 mmHg is above our level of 30. A surgeon decides today."
    return HaltPanel(look, sentence, "On call: Mbeki.", (("note", "Note the action"),))


def _ask(look: Look) -> QWidget:
    return AskLine(look, "54 µm? Perhaps a missing zero.", ("Use 540", "Keep 54"), about="Thickness")


def _note(look: Look) -> QWidget:
    return NoteLine(look, "Fellow eye: right, operated 22 Oct 2026. Measurements were not copied.")


def _asked(look: Look) -> QWidget:
    return Question(
        look, "This eye is already booked. Why does the booking change?",
        (("keep", "Keep changes"), ("back", "Go back")), reason="Reason, in a few words",
    )  # fmt: skip


def _effects(look: Look) -> QWidget:
    effects = Effects(look)
    effects.show_effects(
        [("Nucleus 4", "goes with more", 0.8), ("Chamber depth 3.60 mm", "goes with slightly fewer", -0.2)]
    )
    return effects


SAMPLES: tuple[Sample, ...] = (
    Sample("path-bar", _bar, 1400),
    Sample("strip", lambda look: Strip(look, demo=True), 1400),
    Sample("grade-open", _grades(Given()), 740),
    Sample("grade-chosen", _grades(Given(1)), 740),
    Sample("grade-not-possible", _grades(Given(missing="not_possible")), 740),
    Sample("grade-rows", _grades(Given(3)), 460),
    Sample("eye-asked", _eye(), 620),
    Sample("eye-who-is-known", _eye("17 Jan", where="day_one"), 620),
    Sample("eye-unreadable-day", _eye("tomorrow"), 620),
    Sample("eye-wrong-birthday", _eye("18 Jan", where="day_one"), 620),
    Sample("eye-wrong-side", _eye("17 Jan", "L"), 820),
    Sample("sealed", SealedBlock),
    Sample("sealed-show-anyway", lambda look: SealedBlock(look, anyway=True)),
    Sample("plates-and-drawings", _plates, 760),
    Sample("field-open", _entry("acd_mm", Given()), 190),
    Sample("field-answered", _entry("cct_um", Given(548.0), "548"), 190),
    Sample("field-missing", _entry("ecd_per_mm2", Given(missing="not_done"), "Not done"), 190),
    Sample("field-proposed", _entry("diabetes_years", Given(14.0, proposed=True), "14"), 190),
    Sample("field-asked", _entry("acd_mm", Given(), "27", troubled=True), 190),
    Sample("derived", lambda look: DerivedLine(look, "Full-power seconds", "5.7 s at full power"), 240),
    Sample("choice-open", _choice("guttae_grade", Given()), 620),
    Sample("choice-answered", _choice("nucleus_hardness", Given(4))),
    Sample("choice-proposed", _choice("diabetes", Given("type2", proposed=True)), 620),
    Sample("choice-missing", _choice("pseudoexfoliation", Given(missing="not_done"))),
    Sample("choice-not-possible", _choice("edema_extent", Given(), reason="not_possible"), 620),
    Sample("choice-as-views", _choice("sex", Given("female"), tabs=True)),
    Sample("eye-choice", _choice("eye", Given("R"))),
    Sample("ticks-open", _ticks(Given()), 620),
    Sample("ticks-answered", _ticks(Given(("laser_iridotomy",))), 620),
    Sample("ticks-proposed", _ticks(Given(("laser_iridotomy",), proposed=True)), 620),
    Sample("button-main", _button("Book this eye", "main", hint="Ctrl+Enter"), 240),
    Sample("button-plain", _button("New eye", icon="plus"), 160),
    Sample("button-quiet", _button("More steps", "quiet"), 160),
    Sample("button-off", _button("Keep changes", "main", alive=False), 160),
    Sample("picker", lambda look: Picker(look, "Surgeon", (("all", "all"), ("a", "A"))), 220),
    Sample("ask-line", _ask),
    Sample("refusal", lambda look: RefusalLine(look, "2000 µm is outside 300 to 1200.", "Correct it, or type nd.")),
    Sample("note", _note),
    Sample("halt", _halt, 620),
    Sample("question", _asked, 620),
    Sample("help-line", _help),
    Sample("notice", _notice),
    Sample("progress", _progress),
    Sample("pin", _pin(wrong=False), 300),
    Sample("pin-wrong", _pin(wrong=True), 300),
    Sample("person", _person(""), 300),
    Sample("person-narrowed", _person("ok"), 300),
    Sample("person-nobody", _person("x"), 300),
    Sample("person-empty", _person("-"), 300),
    Sample("eye-list", _eyes, 300),
    Sample("case-list", _cases),
    Sample("table", _table),
    Sample("card", _headed),
    Sample("scroll", _scrolled, 300),
    Sample("sizes-of-type", _sizes, 560),
    Sample("sentence", _sentence),
    Sample("chance", _chance(6, 12, 21, 15.0), 340),
    Sample("chance-small", _chance(0, 2, 5, None), 340),
    Sample("chance-wide", _chance(31, 47, 64, 15.0), 340),
    Sample("effects", _effects),
)  # fmt: skip
