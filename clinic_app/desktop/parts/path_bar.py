"""The way an eye travels is the menu: five stations on a line, and beside it find, person and Practice."""

from __future__ import annotations

from PySide6.QtCore import QPointF, QRect, QRectF, QSize, Qt, Signal
from PySide6.QtGui import QPainter, QPaintEvent, QPen, QResizeEvent
from PySide6.QtWidgets import QFrame, QHBoxLayout, QPushButton, QSizePolicy, QVBoxLayout, QWidget

from clinic_app.desktop.look import MEDIUM, STRONG, Look
from clinic_app.desktop.parts.button import Button
from clinic_app.desktop.parts.entry import Box
from clinic_app.desktop.parts.frame import draw_ring
from clinic_app.desktop.parts.label import draw_words, text_width

NARROW = 1000
STATIONS = ("Bookings", "Theatre", "Day one", "Review", "Model")


class Station(QPushButton):
    """One station: its word, how many eyes wait there, and its mark on the line."""

    def __init__(self, look: Look, name: str, place: int, *, last: bool) -> None:
        super().__init__(name)
        self.look, self.name, self.last = look, name, last
        self.count: int | None = None
        self.setCheckable(True)
        self.setAutoExclusive(False)
        self.setObjectName(f"station.{place}")
        self.setSizePolicy(QSizePolicy.Policy.Fixed, QSizePolicy.Policy.Fixed)
        look.changed.connect(self.updateGeometry)
        self.set_count(None)

    def set_count(self, count: int | None) -> None:
        """Eyes waiting there; None where nothing waits by count."""
        self.count = count
        waiting = "" if count is None else f", {count} {'eye' if count == 1 else 'eyes'} waiting"
        self.setAccessibleName(f"{self.name}{waiting}")
        self.updateGeometry()
        self.update()

    def sizeHint(self) -> QSize:
        look = self.look
        width = text_width(look, self.name, 15, STRONG) + look.px(28)
        if self.count is not None:
            width += text_width(look, str(self.count), 13) + look.px(8)
        return QSize(max(width, look.px(88)), look.px(48))

    def minimumSizeHint(self) -> QSize:
        return self.sizeHint()

    def _at(self, x: float, y: float) -> QPointF:
        """A point of the line, from the end at which people begin to read."""
        return QPointF(self.width() - x if self.isRightToLeft() else x, y)

    def paintEvent(self, event: QPaintEvent) -> None:
        look = self.look
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        here = self.isChecked()
        box = self.rect().adjusted(look.px(6), look.px(5), 0, -look.px(20))
        weight = STRONG if here else MEDIUM
        draw_words(painter, look, self.name, box, size=15, weight=weight, colour="ink" if here else "soft")
        if self.count is not None:
            box.setLeft(box.left() + text_width(look, self.name, 15, weight) + look.px(8))
            draw_words(painter, look, str(self.count), box, size=13, weight=MEDIUM, colour="soft")
        line, mark = self.height() - look.px(9), look.px(11)
        painter.setPen(QPen(look.colour("edge"), look.px(1.8)))
        start = 0 if self.name != STATIONS[0] else mark
        painter.drawLine(self._at(start, line), self._at(mark, line))
        if not self.last:
            painter.drawLine(self._at(mark, line), self._at(self.width(), line))
        painter.setPen(QPen(look.colour("act" if here else "soft"), look.px(1.8)))
        painter.setBrush(look.colour("act" if here else "sheet"))
        size = look.px(6 if here else 4.2)
        painter.drawEllipse(self._at(mark, line), size, size)
        if self.hasFocus():
            draw_ring(painter, look, QRectF(self.rect()).adjusted(4, 4, -6, -3), look.px(4))
        painter.end()


class PathBar(QFrame):
    """`wished` carries the place of the station a person goes to (5 = Practice); `sought` what they look for."""

    wished = Signal(int)
    sought = Signal(str)

    def __init__(self, look: Look, person: str) -> None:
        super().__init__()
        self.look = look
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        self.column = QVBoxLayout(self)
        self.column.setContentsMargins(0, 0, 0, 0)
        self.column.setSpacing(0)
        across = QHBoxLayout()
        across.setSpacing(0)
        self.across = across
        self.below = QHBoxLayout()
        self.below.addStretch(1)
        self.column.addLayout(across)
        self.column.addLayout(self.below)
        self._two_rows = False
        self.stations = [
            Station(look, name, place, last=place == len(STATIONS) - 1) for place, name in enumerate(STATIONS)
        ]
        for place, station in enumerate(self.stations):
            across.addWidget(station)
            station.clicked.connect(lambda _=False, place=place: self._wish(place))
        across.addStretch(1)
        self.search = Box(look, hint="Ctrl+F")
        self.search.setObjectName("find")
        self.search.setPlaceholderText("Find an eye")
        self.search.setAccessibleName("Find an eye by patient number")
        self.search.entered.connect(lambda: self.sought.emit(self.search.text()))
        across.addWidget(self.search)
        self.person = Button(
            look, person or "No name", kind="quiet", icon="person", note=f"Acting: {person or 'no name'}"
        )
        self.person.setObjectName("person")
        self.practice = Button(look, "Practice", kind="quiet", icon="practice")
        self.practice.setObjectName("practice")
        self.practice.clicked.connect(lambda: self._wish(len(STATIONS)))
        self.help = Button(look, "Help", kind="quiet", icon="info", note="Help: the manual, Shift+F1")
        self.help.setObjectName("help")
        across.addWidget(self.person)
        across.addWidget(self.practice)
        across.addWidget(self.help)
        look.changed.connect(self.restyle)
        self.restyle()
        self.show_place(0)

    def show_person(self, words: str) -> None:
        """Who acts, with their duties."""
        self.person.set_words(words or "No name", f"Acting: {words or 'no name'}")

    def restyle(self) -> None:
        """Take sizes from the tokens."""
        px = self.look.px
        self.across.setContentsMargins(px(14), px(2), px(14), px(4))
        self.below.setContentsMargins(px(14), 0, px(14), px(4) if self._two_rows else 0)
        self.search.setFixedWidth(px(190))
        self.update()

    def set_width(self, effective: float) -> None:
        """On a narrow window find, person and Practice stand below the stations."""
        two = effective < NARROW
        if two == self._two_rows:
            return
        self._two_rows = two
        moved: tuple[QWidget, ...] = (self.search, self.person, self.practice, self.help)
        for place, widget in enumerate(moved):
            self.across.removeWidget(widget)
            self.below.removeWidget(widget)
            if two:
                self.below.insertWidget(place, widget)
            else:
                self.across.addWidget(widget)
        self.restyle()

    def _wish(self, place: int) -> None:
        self.show_place(self.place)
        self.wished.emit(place)

    def show_place(self, place: int) -> None:
        """Mark where we are."""
        self.place = place
        for at, station in enumerate(self.stations):
            station.setChecked(at == place)
            station.update()

    def set_counts(self, counts: tuple[int | None, ...]) -> None:
        """Eyes waiting at each station."""
        for station, count in zip(self.stations, counts, strict=True):
            station.set_count(count)

    def paintEvent(self, event: QPaintEvent) -> None:
        painter = QPainter(self)
        painter.fillRect(self.rect(), self.look.colour("sheet"))
        painter.fillRect(0, self.height() - 1, self.width(), 1, self.look.colour("rule"))
        painter.end()


class Strip(QFrame):
    """The line at the foot of the window: the two standing cautions, and the mark of invented data."""

    CAUTIONS = (
        "This forecast comes from this practice's own past eyes. It supports, and never replaces, the judgement of the "
        "licensed clinician looking after the patient. Local protocol comes first."
    )
    SHORT = "Supports, and never replaces, the judgement of the licensed clinician. Local protocol comes first."
    DEMO = "Demo data: invented, not for care."

    def __init__(self, look: Look, *, demo: bool) -> None:
        super().__init__()
        self.look = look
        self.show_demo(demo)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        look.changed.connect(self.updateGeometry)

    def show_demo(self, demo: bool) -> None:
        """Whether the practice is invented."""
        self.demo = demo
        self.setAccessibleName(f"{self.CAUTIONS} {self.DEMO if demo else ''}".strip())
        self.updateGeometry()
        self.update()

    def _lines(self, width: int) -> list[tuple[str, bool]]:
        """The words and whether they are the demo mark: cautions and mark on one line, or on as many as they need."""
        look = self.look
        mark = text_width(look, self.DEMO, 12.5, STRONG) + look.px(20) if self.demo else 0
        room = width - look.px(32)
        for words in (self.CAUTIONS, self.SHORT):
            if text_width(look, words, 12.5) + mark <= room:
                return [(words, False)]
        lines = [(self.SHORT, False)]
        if text_width(look, self.SHORT, 12.5) > room:
            lines = [(f"{part.strip('. ')}.", False) for part in self.SHORT.split(". ")]
        return [*lines, (self.DEMO, True)] if self.demo else lines

    def resizeEvent(self, event: QResizeEvent) -> None:
        super().resizeEvent(event)
        self.updateGeometry()

    def sizeHint(self) -> QSize:
        width = self.width() if self.isVisible() else self.look.px(1280)
        return QSize(self.look.px(300), self.look.px(9) + self.look.px(19) * len(self._lines(width)))

    def paintEvent(self, event: QPaintEvent) -> None:
        look = self.look
        painter = QPainter(self)
        painter.fillRect(0, 0, self.width(), 1, look.colour("rule"))
        lines = self._lines(self.width())
        high = (self.height() - look.px(6)) // len(lines)
        right = Qt.AlignmentFlag.AlignRight
        for place, (words, mark) in enumerate(lines):
            box = QRect(look.px(16), look.px(3) + place * high, self.width() - look.px(32), high)
            if mark:
                draw_words(painter, look, words, box, size=12.5, weight=STRONG)
            else:
                draw_words(painter, look, words, box, size=12.5, colour="soft")
            if self.demo and len(lines) == 1:
                draw_words(painter, look, self.DEMO, box, size=12.5, weight=STRONG, align=right)
        painter.end()
