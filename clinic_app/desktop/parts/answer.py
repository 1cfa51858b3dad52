"""What every form control has in common: an answer that is a value, a reason for having none, or still open."""

from __future__ import annotations

from dataclasses import dataclass

from PySide6.QtCore import QSize, Qt, Signal
from PySide6.QtGui import QAccessible, QAccessibleAnnouncementEvent, QKeyEvent
from PySide6.QtWidgets import QHBoxLayout, QSizePolicy, QVBoxLayout, QWidget

from clinic_app.desktop.look import MEDIUM, Look
from clinic_app.desktop.parts.label import Words
from clinic_app.domain.record import Value
from models.codebook import MISSING_CODES, Field

SHORT_MISSING = {"nd": "not_done", "np": "not_possible", "nr": "not_recorded", "na": "not_applicable"}
UNIT_WORDS = {
    "um": "µm", "mm[Hg]": "mmHg", "/mm2": "/mm²", "a": "years", "{logMAR}": "logMAR", "min": "min",
}  # fmt: skip


def unit_words(unit: str) -> str:
    """A unit as people write it."""
    return UNIT_WORDS.get(unit, unit)


@dataclass(frozen=True, slots=True)
class Given:
    """An answer: `value`, or the code of the reason `missing`, or neither; `typed` when the words said more;
    `proposed` (dashed) until a person confirms it."""

    value: Value | None = None
    missing: str | None = None
    typed: str | None = None
    proposed: bool = False

    @property
    def stands(self) -> bool:
        """Whether this is an answer that can be kept."""
        return (self.value is not None or self.missing is not None) and not self.proposed


OPEN = Given()


class Answer(QWidget):
    """A labelled control for one field. `changed` is raised by the person's acts alone, never by `show_given`."""

    changed = Signal()
    go_on = Signal()
    entered = Signal()

    def __init__(self, look: Look, field: Field, *, label: str | None = None) -> None:
        super().__init__()
        self.look, self.field = look, field
        self._given = OPEN
        self.column = QVBoxLayout(self)
        self.column.setContentsMargins(0, 0, 0, 0)
        self.column.setSpacing(0)
        self.head = QHBoxLayout()
        self.title = Words(look, field.label if label is None else label, size=12.5, weight=MEDIUM, colour="soft")
        self.title.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        self.aside = Words(look, "", size=12, colour="faint")
        self.head.addWidget(self.title)
        self.head.addWidget(self.aside)
        self.column.addLayout(self.head)
        look.changed.connect(self.restyle)
        self._margins()

    def _margins(self) -> None:
        self.head.setContentsMargins(self.look.px(3), 0, self.look.px(3), 0)

    def restyle(self) -> None:
        """Take sizes from the tokens."""
        self._margins()
        self.updateGeometry()
        self.update()

    @property
    def name(self) -> str:
        """The label and its unit, for readers of the screen."""
        unit = unit_words(self.field.unit)
        return f"{self.field.label}, {unit}" if unit else self.field.label

    @property
    def given(self) -> Given:
        """The answer as it stands."""
        return self._given

    def show_given(self, given: Given) -> None:
        """Show an answer that came from elsewhere; raises no signal."""
        self._given = given
        self.refresh()

    def give(self, given: Given) -> None:
        """Take the person's answer and tell the form."""
        self.show_given(given)
        self.changed.emit()

    def refresh(self) -> None:
        """Draw the answer as it stands."""
        raise NotImplementedError

    def stop(self) -> QWidget:
        """The widget that keyboard focus enters."""
        raise NotImplementedError

    def hide_head(self) -> None:
        """Do without the label above; the names for readers of the screen stay."""
        self.title.hide()
        self.aside.hide()

    def lock(self, locked: bool) -> None:
        """What names a booked eye is read, not changed."""
        self.setEnabled(not locked)

    def natural_width(self) -> int:
        """Pixels the control would like."""
        return self.sizeHint().width()

    def missing_words(self) -> str:
        """The reason there is no value, in words."""
        return MISSING_CODES.get(self._given.missing or "", "")

    def hasHeightForWidth(self) -> bool:
        return self.column.hasHeightForWidth()

    def heightForWidth(self, width: int) -> int:
        high = self.column.totalHeightForWidth(width) if self.column.hasHeightForWidth() else -1
        return high if high >= 0 else self.column.totalSizeHint().height()

    def minimumSizeHint(self) -> QSize:
        return self.column.totalMinimumSize()


def is_enter(event: QKeyEvent) -> bool:
    """Enter or Return without a modifier that means something else."""
    plain = not event.modifiers() & (Qt.KeyboardModifier.ControlModifier | Qt.KeyboardModifier.AltModifier)
    return plain and event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter)


def announce(widget: QWidget, words: str, *, urgent: bool = False) -> None:
    """Have a reader of the screen say it; urgent interrupts."""
    event = QAccessibleAnnouncementEvent(widget, words)
    if urgent:
        event.setPoliteness(QAccessible.AnnouncementPoliteness.Assertive)
    QAccessible.updateAccessibility(event)
