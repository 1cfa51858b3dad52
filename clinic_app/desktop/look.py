"""How the window looks: colours, sizes and type, from one table of tokens."""

from __future__ import annotations

from functools import cache
from pathlib import Path

from PySide6.QtCore import QObject, Qt, Signal
from PySide6.QtGui import (
    QAccessibilityHints,
    QColor,
    QFont,
    QFontDatabase,
    QFontMetrics,
    QGuiApplication,
    QPalette,
    QStyleHints,
)

from clinic_app.figures.tokens import DARK, LIGHT, Tokens, firmer

FONTS = Path(__file__).parent / "fonts"
FAMILY = "Inter"
THEMES = ("system", "light", "dark")
STEPS = (100, 110, 125, 150, 175, 200)
MOST_WIDTHS = 4000
"""Widths kept before they are measured anew, so that typed text does not fill the memory."""
FIRMER = {one.name: firmer(one) for one in (LIGHT, DARK)}
NORMAL, MEDIUM, STRONG, BOLD = QFont.Weight.Normal, QFont.Weight.Medium, QFont.Weight.DemiBold, QFont.Weight.Bold


def load_fonts() -> bool:
    """Register the four weights that come with the program; False when the system's font must do."""
    if FAMILY in QFontDatabase.families():
        return True
    loaded = [QFontDatabase.addApplicationFont(str(path)) for path in sorted(FONTS.glob("*.otf"))]
    return bool(loaded) and -1 not in loaded


@cache
def _system() -> tuple[QStyleHints, QAccessibilityHints]:
    """What the system tells of the person's wishes. Both are kept: the second dies with the last reference to the
    first."""
    hints = QGuiApplication.styleHints()
    return hints, hints.accessibility()


def more_contrast() -> bool:
    """Whether the person asked the system for more contrast."""
    return _system()[1].contrastPreference() == Qt.ContrastPreference.HighContrast


class Look(QObject):
    """Colours, sizes and type of one person; `changed` tells every part to take them anew.

    `theme` is system, light or dark; `percent` the size of text, 100 to 200.
    """

    changed = Signal()

    def __init__(self, theme: str = "system", percent: int = 100) -> None:
        super().__init__()
        self._theme = theme if theme in THEMES else "system"
        self._percent = max(STEPS[0], min(STEPS[-1], percent))
        self._own_font = load_fonts()
        self._fonts: dict[tuple[float, int, bool], QFont] = {}
        self._widths: dict[tuple[str, float, int, bool], int] = {}
        hints, access = _system()
        hints.colorSchemeChanged.connect(self._system_changed)
        access.contrastPreferenceChanged.connect(self.apply)

    @property
    def theme(self) -> str:
        """The person's choice: system, light or dark."""
        return self._theme

    @property
    def dark(self) -> bool:
        """Whether the dark colours are shown; a system that does not say is taken as light."""
        if self._theme != "system":
            return self._theme == "dark"
        return _system()[0].colorScheme() == Qt.ColorScheme.Dark

    @property
    def colours(self) -> Tokens:
        """The table of colours in force."""
        plain = DARK if self.dark else LIGHT
        return FIRMER[plain.name] if more_contrast() else plain

    @property
    def percent(self) -> int:
        """Size of text, per cent."""
        return self._percent

    def set_theme(self, theme: str) -> None:
        """Change the theme for this person."""
        self._theme = theme if theme in THEMES else "system"
        self.apply()

    def set_percent(self, percent: int) -> None:
        """Change the size of text for this person."""
        self._percent = max(STEPS[0], min(STEPS[-1], percent))
        self._fonts.clear()
        self._widths.clear()
        self.apply()

    def step(self, up: bool) -> None:
        """Text one step larger or smaller."""
        further = [one for one in STEPS if (one > self._percent if up else one < self._percent)]
        if further:
            self.set_percent(min(further) if up else max(further))

    def px(self, size: float) -> int:
        """Pixels at the person's text size, from pixels at 100 %."""
        return round(size * self._percent / 100)

    def colour(self, role: str) -> QColor:
        """A colour of the table by its name."""
        return QColor(str(getattr(self.colours, role)))

    def font(self, size: float = 14, weight: QFont.Weight = NORMAL, *, italic: bool = False) -> QFont:
        """Our type at `size` pixels at 100 %, with figures of one width."""
        wanted = (size, weight.value, italic)
        if wanted not in self._fonts:
            font = QFont(FAMILY) if self._own_font else QFont()
            font.setPixelSize(max(1, self.px(size)))
            font.setWeight(weight)
            font.setItalic(italic)
            font.setFeature(QFont.Tag("tnum"), 1)
            self._fonts[wanted] = font
        return self._fonts[wanted]

    def metrics(self, size: float = 14, weight: QFont.Weight = NORMAL, *, italic: bool = False) -> QFontMetrics:
        """Measures of `font`."""
        return QFontMetrics(self.font(size, weight, italic=italic))

    def text_width(self, text: str, size: float, weight: QFont.Weight = NORMAL, *, italic: bool = False) -> int:
        """Pixels the words take; measured once, since a form asks for the same words again at every answer."""
        wanted = (text, size, weight.value, italic)
        if wanted not in self._widths:
            if len(self._widths) >= MOST_WIDTHS:
                self._widths.clear()
            self._widths[wanted] = self.metrics(size, weight, italic=italic).horizontalAdvance(text)
        return self._widths[wanted]

    def apply(self) -> None:
        """Give the whole program the palette and tell the parts."""
        QGuiApplication.setPalette(self.palette())
        self.changed.emit()

    def palette(self) -> QPalette:
        """Every role, so that nothing of the system's own colours shows through."""
        colours = self.colours
        roles = {
            QPalette.ColorRole.Window: colours.paper,
            QPalette.ColorRole.WindowText: colours.ink,
            QPalette.ColorRole.Base: colours.sheet,
            QPalette.ColorRole.AlternateBase: colours.well,
            QPalette.ColorRole.Text: colours.ink,
            QPalette.ColorRole.PlaceholderText: colours.faint,
            QPalette.ColorRole.Button: colours.sheet,
            QPalette.ColorRole.ButtonText: colours.ink,
            QPalette.ColorRole.BrightText: colours.halt,
            QPalette.ColorRole.ToolTipBase: colours.sheet,
            QPalette.ColorRole.ToolTipText: colours.ink,
            QPalette.ColorRole.Highlight: colours.act,
            QPalette.ColorRole.HighlightedText: colours.on_act,
            QPalette.ColorRole.Link: colours.forecast,
            QPalette.ColorRole.LinkVisited: colours.forecast,
            QPalette.ColorRole.Light: colours.sheet,
            QPalette.ColorRole.Midlight: colours.well,
            QPalette.ColorRole.Mid: colours.rule,
            QPalette.ColorRole.Dark: colours.edge,
            QPalette.ColorRole.Shadow: colours.ink,
            QPalette.ColorRole.Accent: colours.focus,
        }
        palette = QPalette()
        for role, colour in roles.items():
            palette.setColor(role, QColor(colour))
        for role in (QPalette.ColorRole.Text, QPalette.ColorRole.WindowText, QPalette.ColorRole.ButtonText):
            palette.setColor(QPalette.ColorGroup.Disabled, role, QColor(colours.faint))
        return palette

    def _system_changed(self) -> None:
        if self._theme == "system":
            self.apply()
