"""A line for a file or folder: its path to type in, and a button that opens the system's chooser."""

from __future__ import annotations

from pathlib import Path

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import QFileDialog, QHBoxLayout, QVBoxLayout, QWidget

from clinic_app.desktop.look import MEDIUM, Look
from clinic_app.desktop.parts.button import Button
from clinic_app.desktop.parts.entry import Box
from clinic_app.desktop.parts.label import Words

BETWEEN = ";"
"""Stands between the paths where several may be named."""


class FileLine(QWidget):
    """`given`: Enter was pressed in the path, or a file was chosen. `saving`: the file need not be there yet; `act`
    is the button beside it that does something with the file; `many`: several files may be named."""

    given = Signal()

    def __init__(
        self,
        look: Look,
        label: str,
        *,
        name: str,
        kinds: str = "",
        saving: bool = False,
        many: bool = False,
        act: Button | None = None,
    ) -> None:
        super().__init__()
        self.look, self._kinds, self._saving, self._many, self._label = look, kinds, saving, many, label
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(0)
        title = Words(look, label, size=12.5, weight=MEDIUM, colour="soft", wrap=True)
        title.setContentsMargins(look.px(3), 0, 0, 0)
        across = QHBoxLayout()
        across.setSpacing(look.px(4))
        self.box = Box(look)
        self.box.setObjectName(name)
        self.box.setAccessibleName(label)
        self.button = Button(look, "Choose…", note=f"{label}: choose")
        self.button.setObjectName(f"{name}.choose")
        across.addWidget(self.box, 1)
        across.addWidget(self.button)
        if act is not None:
            across.addWidget(act)
        column.addWidget(title)
        column.addLayout(across)
        self.box.entered.connect(self.given)
        self.button.clicked.connect(self.choose)

    @property
    def paths(self) -> list[Path]:
        """The paths typed, quotes around them taken off."""
        parts = self.box.text().split(BETWEEN) if self._many else [self.box.text()]
        texts = [part.strip().strip('"').strip() for part in parts]
        return [Path(text).expanduser() for text in texts if text]

    @property
    def path(self) -> Path | None:
        """The first path typed; None when there is none."""
        return next(iter(self.paths), None)

    def show_path(self, *paths: Path) -> None:
        """Show a path, several, or none."""
        self.box.setText(f"{BETWEEN} ".join(map(str, paths)))

    def choose(self) -> None:
        """Open the system's chooser."""
        begin = str(self.path.parent if self.path is not None else Path.home())
        if self._many:
            found = QFileDialog.getOpenFileNames(self, self._label, begin, self._kinds)[0]
        else:
            ask = QFileDialog.getSaveFileName if self._saving else QFileDialog.getOpenFileName
            found = [name for name in ask(self, self._label, begin, self._kinds)[:1] if name]
        if found:
            self.show_path(*map(Path, found))
            self.box.setFocus(Qt.FocusReason.OtherFocusReason)
            self.given.emit()
