"""Pages that say in one sentence what will stand there."""

from __future__ import annotations

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QVBoxLayout

from clinic_app.desktop.look import STRONG, Look
from clinic_app.desktop.pages.page import Page
from clinic_app.desktop.parts.frame import Card
from clinic_app.desktop.parts.label import Words

COMING = {
    "Theatre": "The surgeon's sheet will be written here, one per eye in the order the hands work; it comes next.",
    "Day one": "The cornea will be graded here the day after surgery, before the forecast is opened; it comes next.",
    "Model": "Each quarter the model will be checked, compared and decided on here, by name; it comes next.",
    "Practice": "People, machines, levels, planning line, backups and the history will be kept here; it comes next.",
}


class Coming(Page):
    """A station that is not yet built says so."""

    def __init__(self, look: Look, name: str) -> None:
        super().__init__()
        self.look = look
        column = QVBoxLayout(self)
        column.setContentsMargins(look.px(11), look.px(11), look.px(11), look.px(11))
        card = Card(look, margins=(24, 20, 24, 20), spacing=8)
        card.column.addWidget(Words(look, name, size=18, weight=STRONG))
        self.words = Words(look, COMING[name], wrap=True)
        card.column.addWidget(self.words)
        card.setMaximumWidth(look.px(680))
        column.addWidget(card, 0, Qt.AlignmentFlag.AlignTop)
        column.addStretch(1)
