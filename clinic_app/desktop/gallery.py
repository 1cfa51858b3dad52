"""Every part in every state, to be looked at: python -m clinic_app.desktop.gallery [--save DIR]"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from PySide6.QtGui import QResizeEvent
from PySide6.QtWidgets import QApplication, QVBoxLayout, QWidget

from clinic_app.desktop.app import application
from clinic_app.desktop.look import Look
from clinic_app.desktop.parts.frame import Scroll
from clinic_app.desktop.parts.label import Words
from clinic_app.desktop.samples import SAMPLES, Sample

THEMES = ("light", "dark")


class Framed(QWidget):
    """A part below the name of its picture, at the width it wants."""

    def __init__(self, look: Look, sample: Sample) -> None:
        super().__init__()
        self.sample = sample
        self.part = sample.make(look)
        self.column = QVBoxLayout(self)
        self.column.setContentsMargins(look.px(10), look.px(6), look.px(10), look.px(10))
        self.column.addWidget(Words(look, sample.name, size=12, colour="faint"))
        self.column.addWidget(self.part)
        self.column.addStretch(1)
        self.wide = look.px(sample.width) + look.px(20)

    def tall(self, width: int) -> int:
        """Height that shows the part whole."""
        column = self.column
        return column.totalHeightForWidth(width) if column.hasHeightForWidth() else column.totalSizeHint().height()


class Shelf(QWidget):
    """Framed parts beside one another, as many as the width holds."""

    def __init__(self, look: Look) -> None:
        super().__init__()
        self.look = look
        self.framed = [Framed(look, sample) for sample in SAMPLES]
        for one in self.framed:
            one.setParent(self)

    def hasHeightForWidth(self) -> bool:
        return True

    def heightForWidth(self, width: int) -> int:
        return self._place(width)

    def resizeEvent(self, event: QResizeEvent) -> None:
        super().resizeEvent(event)
        self._place(self.width(), move=True)

    def _place(self, width: int, *, move: bool = False) -> int:
        left = top = deep = 0
        for one in self.framed:
            wide = min(one.wide, width)
            if left and left + wide > width:
                left, top, deep = 0, top + deep, 0
            high = one.tall(wide)
            if move:
                one.setGeometry(left, top, wide, high)
            left, deep = left + wide, max(deep, high)
        return top + deep


class Gallery(QWidget):
    """All of them, on a page that scrolls."""

    def __init__(self, look: Look) -> None:
        super().__init__()
        self.setAutoFillBackground(True)
        self.shelf = Shelf(look)
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.addWidget(Scroll(look, self.shelf))


def save_parts(app: QApplication, folder: Path) -> list[Path]:
    """A picture of each part in each state and theme, `<name>-<theme>.png`; the paths written, in order."""
    folder.mkdir(parents=True, exist_ok=True)
    written = []
    for theme in THEMES:
        look = Look(theme)
        look.apply()
        page = Gallery(look)
        page.resize(1440, 1000)
        page.show()
        app.processEvents()
        for one in page.shelf.framed:
            path = folder / f"{one.sample.name}-{theme}.png"
            if not one.grab().save(str(path)):
                raise OSError(f"{path} could not be written")
            written.append(path)
        page.close()
        page.deleteLater()
    return written


def main(arguments: list[str]) -> int:
    """Show the gallery, or save its pictures."""
    parser = argparse.ArgumentParser(description="Every part of the window in every state.")
    parser.add_argument("--save", type=Path, help="save pictures into this folder instead of showing the page")
    chosen = parser.parse_args(arguments)
    app = application()
    if chosen.save is not None:
        save_parts(app, chosen.save)
        return 0
    look = Look()
    look.apply()
    page = Gallery(look)
    page.resize(1440, 900)
    page.show()
    return app.exec()


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
