"""What stands beside the sheet: what is worth knowing, when to call, the list of today, the opened forecast."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QGridLayout, QWidget

from clinic_app.desktop.look import MEDIUM, NORMAL, STRONG, Look
from clinic_app.desktop.parts.answer import announce
from clinic_app.desktop.parts.frame import Card
from clinic_app.desktop.parts.gauges import RangeBar
from clinic_app.desktop.parts.label import Words
from clinic_app.desktop.parts.lines import HaltPanel
from clinic_app.desktop.words import eyes_words
from clinic_app.domain.halts import call_list
from clinic_app.domain.practice import Levels
from clinic_app.domain.record import StoredForecast
from clinic_app.services.day_one import DayList, Opened, OpenEye, forecast_words

ONE_EYE = "One eye cannot show a forecast right or wrong."
KINDS = {"booking": "Booking", "end_of_case": "End of case"}


def empty(layout: QGridLayout) -> None:
    """Take everything out of a layout."""
    while layout.count():
        item = layout.takeAt(0)
        widget = item.widget() if item is not None else None
        if widget is not None:
            widget.hide()
            widget.deleteLater()


class KnowCard(Card):
    """What the examiner needs to know; nothing of it is sealed."""

    def __init__(self, look: Look) -> None:
        super().__init__(look, margins=(18, 12, 16, 12), spacing=6)
        self.column.addWidget(Words(look, "What you need to know", size=15, weight=STRONG, wrap=True))
        self.grid = QGridLayout()
        self.grid.setColumnStretch(0, 2)
        self.grid.setColumnStretch(1, 3)
        self.column.addLayout(self.grid)
        self.restyle()

    def restyle(self) -> None:
        super().restyle()
        if hasattr(self, "grid"):
            self.grid.setHorizontalSpacing(self.look.px(10))
            self.grid.setVerticalSpacing(self.look.px(5))

    def show_eye(self, eye: OpenEye | None) -> None:
        """Show what is worth knowing of this eye; None shows that none is open."""
        empty(self.grid)
        lines = list(eye.know) if eye is not None else [("", "Open an eye on the list.")]
        at = Qt.AlignmentFlag.AlignTop
        for row, (label, words) in enumerate(lines):
            said = Words(self.look, words, size=13.5, weight=MEDIUM if label else NORMAL, wrap=True)
            if label:
                name = Words(self.look, label, size=13.5, colour="soft", wrap=True)
                self.grid.addWidget(name, row, 0, at)
                self.grid.addWidget(said, row, 1, at)
                name.show()
            else:
                said.set_colour("soft")
                self.grid.addWidget(said, row, 0, 1, 2)
            said.show()
        self.setAccessibleName("What you need to know: " + "; ".join(f"{a} {b}".strip() for a, b in lines))


class CallCard(Card):
    """When the responsible surgeon is called; the levels are those of the eye that is open, never another eye's."""

    def __init__(self, look: Look) -> None:
        super().__init__(look, margins=(18, 12, 16, 12), spacing=4)
        self.column.addWidget(
            Words(look, "Call the responsible surgeon at once for", size=15, weight=STRONG, wrap=True)
        )
        self.words = Words(look, "", wrap=True)
        self.who = Words(look, "", weight=MEDIUM, wrap=True)
        self.small = Words(look, "", size=12.5, colour="soft", wrap=True)
        for widget in (self.words, self.who, self.small):
            self.column.addWidget(widget)
        self.show_levels(None)

    def show_levels(self, levels: Levels | None) -> None:
        """The levels of an eye; without an eye no level is said."""
        if levels is None:
            self.words.setText(
                "pain, falling vision, pus or fibrin, a leaking wound, or a pressure at the eye's level."
            )
            self.who.setText("")
        else:
            self.words.setText(call_list(levels))
            self.who.setText(f"On call: {levels.on_call}" if levels.on_call else "")
        self.who.setVisible(bool(self.who.text()))
        said = "" if levels is None else levels.approved
        approved = f"Levels approved: {said}." if said else "Suggested levels; this practice has not approved them yet."
        self.small.setText(
            f"Do not wait for this program. Local protocol comes first. {approved if levels else ''}".strip()
        )


class TodayCard(Card):
    """How far the list is, and whether two eyes of one list are unusual."""

    def __init__(self, look: Look) -> None:
        super().__init__(look, margins=(18, 12, 16, 12), spacing=4)
        self.column.addWidget(Words(look, "Today's list", size=15, weight=STRONG, wrap=True))
        self.words = Words(look, "", wrap=True)
        self.column.addWidget(self.words)
        self.small = Words(
            look, "Two or more unusual eyes on one list raise a halt.", size=12.5, colour="soft", wrap=True
        )
        self.column.addWidget(self.small)
        self.panels: list[QWidget] = []

    def show_list(self, found: DayList) -> None:
        """Show how many are graded, and the halts of whole lists."""
        for panel in self.panels:
            self.column.removeWidget(panel)
            panel.hide()
            panel.deleteLater()
        self.panels = []
        words = f"{found.graded} of {found.of} graded." if found.of else "Nobody was operated yesterday."
        if not found.clusters:
            words += " Nothing unusual so far."
        if found.older:
            words += f" {eyes_words(found.older)} of earlier days without a visit: find them by number."
        self.words.setText(words)
        for _, halt in found.clusters:
            panel = HaltPanel(self.look, halt.sentence, halt.more)
            self.panels.append(panel)
            self.column.addWidget(panel)
            panel.show()


class OpenedCard(Card):
    """The forecast, opened: both numbers with their ranges, and what was seen."""

    def __init__(self, look: Look) -> None:
        super().__init__(look, margins=(18, 14, 16, 14), spacing=6)
        self.grid = QGridLayout()
        self.grid.setContentsMargins(0, 0, 0, 0)
        self.column.addLayout(self.grid)

    def show_opened(self, found: Opened, time: str, *, say: bool) -> None:
        """Show what the lock opened; `say`: a reader of the screen hears it at once."""
        empty(self.grid)
        look = self.look
        given = [one for one in (found.booking, found.end_of_case) if one is not None]
        title = f"Forecast opened {time}" if given else f"Grade locked {time}"
        widgets: list[QWidget] = [Words(look, title, size=16, weight=STRONG, wrap=True)]
        spoken = [f"{title}."]
        if not given:
            widgets.append(Words(look, "No forecast exists for this eye.", wrap=True))
            spoken.append("No forecast exists for this eye.")
        for one in given:
            widgets += self._forecast(one)
            spoken.append(f"{KINDS[one.model]}: {forecast_words(one)}.")
        seen = seen_words(found)
        widgets.append(Words(look, seen, weight=MEDIUM, wrap=True))
        if given:
            widgets.append(Words(look, ONE_EYE, size=13, colour="soft", wrap=True))
        for row, widget in enumerate(widgets):
            self.grid.addWidget(widget, row, 0)
            widget.show()
        self.setAccessibleName(" ".join([*spoken, seen, ONE_EYE if given else ""]).strip())
        if say:
            announce(self, self.accessibleName())

    def show_anyway(self, forecasts: Sequence[StoredForecast]) -> None:
        """Show forecasts before the grade, to somebody who gave a reason."""
        empty(self.grid)
        words = Words(self.look, "Forecast shown before the grade", size=16, weight=STRONG, wrap=True)
        widgets: list[QWidget] = [words]
        for one in forecasts:
            widgets += self._forecast(one)
        if not forecasts:
            widgets.append(Words(self.look, "No forecast exists for this eye.", wrap=True))
        for row, widget in enumerate(widgets):
            self.grid.addWidget(widget, row, 0)
            widget.show()
        told = "; ".join(f"{KINDS[one.model]}: {forecast_words(one)}" for one in forecasts)
        self.setAccessibleName(f"Forecast shown before the grade. {told or 'No forecast exists for this eye'}.")

    def _forecast(self, one: StoredForecast) -> list[QWidget]:
        words = Words(self.look, f"{KINDS[one.model]}: {forecast_words(one)}", size=15, weight=STRONG, wrap=True)
        if one.risk is None or one.low is None or one.high is None:
            return [words]
        words.set_colour("forecast")
        bar = RangeBar(self.look)
        bar.show_chance(100 * one.low, 100 * one.risk, 100 * one.high, None, None)
        return [words, bar]


def seen_words(found: Opened) -> str:
    """What was seen, in the words of the practice's definition."""
    if found.grade is None:
        return "Seen: the centre was not graded."
    kind = {True: "cloudy by our definition", False: "clear by our definition", None: ""}[found.cloudy]
    words = (
        f"Seen: grade {found.grade}, {kind}."
        if kind
        else (f"Seen: grade {found.grade}. Outside 12–36 h: kept, and not used to judge the forecast.")
    )
    return f"{words} Changed after opening; the first grade counts." if found.changed else words
