"""Every part on one page, to be looked at: python -m clinic_app.desktop.gallery [--save DIR]"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from PySide6.QtWidgets import QGridLayout, QHBoxLayout, QVBoxLayout, QWidget

from clinic_app.desktop.app import application
from clinic_app.desktop.look import MEDIUM, STRONG, Look
from clinic_app.desktop.parts.answer import Answer, Given
from clinic_app.desktop.parts.button import Button
from clinic_app.desktop.parts.choice import ChoiceRow
from clinic_app.desktop.parts.effects import Effects
from clinic_app.desktop.parts.entry import EntryAnswer
from clinic_app.desktop.parts.eye_list import EyeList, Gauge, ListRow
from clinic_app.desktop.parts.frame import Card, Heading
from clinic_app.desktop.parts.gauges import HundredDots, RangeBar
from clinic_app.desktop.parts.label import Words
from clinic_app.desktop.parts.lines import AskLine, HaltPanel, HelpLine, NoteLine, Question, RefusalLine
from clinic_app.desktop.parts.plate import EyePlate
from clinic_app.desktop.parts.progress import Progress
from clinic_app.desktop.parts.ticks import TickSet
from models.codebook import field


class Gallery(QWidget):
    """Three columns: controls, lines, pictures of a chance."""

    def __init__(self, look: Look) -> None:
        super().__init__()
        self.look = look
        self.setAutoFillBackground(True)
        across = QHBoxLayout(self)
        across.setSpacing(look.px(8))
        self._stay: list[QWidget] = []
        for column in (self._controls(), self._lines(), self._chances()):
            across.addWidget(column, 1)

    def _card(self, title: str) -> Card:
        card = Card(self.look, spacing=8)
        card.column.addWidget(Heading(self.look, title))
        return card

    def _controls(self) -> QWidget:
        look, card = self.look, self._card("Controls")
        plates = QHBoxLayout()
        for side in ("R", "L", None):
            plates.addWidget(EyePlate(look, side))
        card.column.addLayout(plates)
        grid = QGridLayout()
        for place, (name, given, words, troubled) in enumerate(
            (
                ("cct_um", Given(548.0), "548", False),
                ("ecd_per_mm2", Given(missing="not_done"), "Not done", False),
                ("diabetes_years", Given(14.0, proposed=True), "14", False),
                ("acd_mm", Given(), "27", True),
            )
        ):
            answer = EntryAnswer(look, field(name))
            answer.show_given(given)
            answer.show_words(words)
            answer.trouble(troubled)
            grid.addWidget(answer, place // 2, place % 2)
        card.column.addLayout(grid)
        for name, given in (
            ("nucleus_hardness", Given(4)),
            ("guttae_grade", Given()),
            ("diabetes", Given("type2", proposed=True)),
            ("pseudoexfoliation", Given(missing="not_possible")),
            ("eye", Given("R")),
        ):
            row: Answer = ChoiceRow(look, field(name))
            row.show_given(given)
            card.column.addWidget(row)
        ticks = TickSet(look, field("prior_glaucoma_surgery"))
        ticks.show_given(Given(("laser_iridotomy",)))
        card.column.addWidget(ticks)
        buttons = QHBoxLayout()
        for words, kind, hint, icon in (
            ("Book this eye", "main", "Ctrl+Enter", ""),
            ("New eye", "plain", "", "plus"),
            ("More steps", "quiet", "", ""),
        ):
            buttons.addWidget(Button(look, words, kind=kind, hint=hint, icon=icon))
        still = Button(look, "Keep changes", kind="main")
        still.setEnabled(False)
        buttons.addWidget(still)
        buttons.addStretch(1)
        card.column.addLayout(buttons)
        card.column.addStretch(1)
        return card

    def _lines(self) -> QWidget:
        look, card = self.look, self._card("Lines that speak")
        card.column.addWidget(
            AskLine(look, "54 µm? Perhaps a missing zero.", ("Use 540", "Keep 54"), about="Thickness")
        )
        card.column.addWidget(RefusalLine(look, "2000 µm is outside 300 to 1200.", "Correct it, or type nd."))
        card.column.addWidget(NoteLine(look, "Fellow eye: right, operated 22 Oct 2026. Measurements were not copied."))
        card.column.addWidget(
            HaltPanel(
                look,
                "Booked: RIGHT eye. You pressed LEFT. Nothing has been opened.",
                "Check consent, mark and patient.",
                (("back", "Go back"),),
            )
        )
        question = Question(
            look,
            "This eye is already booked. Why does the booking change?",
            (("keep", "Keep changes"), ("back", "Go back")),
            reason="Reason, in a few words",
        )
        card.column.addWidget(question)
        line = HelpLine(look)
        line.say("Thickness", "Centre of the cornea, same device as on day one. Usual 450-650 µm.")
        card.column.addWidget(line)
        progress = Progress(look, "Working out the review")
        progress.begin()
        progress.tell(0.4, "Judging the forecasts")
        card.column.addWidget(progress)
        self._stay.append(progress)
        rows = [
            ListRow(None, "Thu 19 November", "2 eyes"),
            ListRow(1, "P-20417", "12", "R", "Hardness 4 · Halvorsen", plan=True, gauge=Gauge(6, 12, 21, 15)),
            ListRow(2, "P-20420", "no forecast", "L", "Hardness 5 · Mbeki", "unlike ours"),
        ]
        eyes = EyeList(look, "Invented eyes")
        eyes.set_rows(rows)
        eyes.choose(1)
        card.column.addWidget(eyes, 1)
        return card

    def _chances(self) -> QWidget:
        look, card = self.look, self._card("A chance")
        for low, risk, high, line in ((6, 12, 21, 15.0), (0, 2, 5, None), (31, 47, 64, 15.0)):
            card.column.addWidget(Words(look, f"Most likely {risk}, between {low} and {high}", weight=STRONG))
            dots = HundredDots(look)
            dots.show_chance(low, risk, high)
            bar = RangeBar(look)
            bar.show_chance(low, risk, high, 9, line)
            card.column.addWidget(dots)
            card.column.addWidget(bar)
        effects = Effects(look)
        effects.show_effects(
            [("Nucleus 4", "goes with more", 0.8), ("Chamber depth 3.60 mm", "goes with slightly fewer", -0.2)]
        )
        card.column.addWidget(effects)
        card.column.addWidget(Words(look, "Sizes: 12, 13, 14, 15, 16, 18, 20", weight=MEDIUM))
        sizes = QVBoxLayout()
        for size in (12, 14, 16, 20):
            sizes.addWidget(Words(look, f"Clear cornea on day one, {size} px, 0123456789", size=size))
        card.column.addLayout(sizes)
        card.column.addStretch(1)
        return card


def main(arguments: list[str]) -> int:
    """Show the gallery, or save it in both themes."""
    parser = argparse.ArgumentParser(description="Every part of the window on one page.")
    parser.add_argument("--save", type=Path, help="save pictures into this folder instead of showing the page")
    chosen = parser.parse_args(arguments)
    app = application()
    if chosen.save is None:
        look = Look()
        look.apply()
        page = Gallery(look)
        page.resize(1440, 900)
        page.show()
        return app.exec()
    chosen.save.mkdir(parents=True, exist_ok=True)
    for theme in ("light", "dark"):
        look = Look(theme)
        look.apply()
        page = Gallery(look)
        page.resize(1440, 1000)
        page.show()
        app.processEvents()
        page.grab().save(str(chosen.save / f"gallery-{theme}.png"))
        page.close()
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
