"""The help line: what the field in hand means, what is usual, and how to say that there is no answer."""

from __future__ import annotations

from clinic_app.desktop.look import Look
from clinic_app.desktop.parts.answer import unit_words
from clinic_app.desktop.parts.lines import HelpLine
from models.codebook import Field, Kind

TYPED = "No value? Type nd not done, np not possible, nr not recorded, na does not apply."
CHOSEN = "No answer? Press - for not done, again for the next reason."


def help_words(field: Field, *, whole: bool = False) -> str:
    """Meaning, usual range, reasons for a missing answer; `whole` adds limits and source."""
    words = [field.help] if field.help else []
    unit = unit_words(field.unit)
    if field.soft is not None:
        words.append(f"Usual {field.soft[0]:g}-{field.soft[1]:g}{' ' + unit if unit else ''}.")
    if whole and field.hard is not None:
        words.append(f"Not taken outside {field.hard[0]:g}-{field.hard[1]:g}.")
    if field.kind is Kind.CHOICES:
        words.append("A digit ticks, 0 for none of these, Enter goes on.")
    elif field.choices or field.kind is Kind.YES_NO:
        words.append(CHOSEN)
    elif field.kind in (Kind.NUMBER, Kind.INTEGER):
        words.append(TYPED)
    if whole:
        words.append(f"Source: {field.source}.")
    return " ".join(words)


class FieldHelp(HelpLine):
    """Follows the field in hand; F1 shows it in full."""

    idle = "Enter goes to the next open answer, Tab to the next field. F1 says more about a field."
    """What stands while no field is in hand."""

    def __init__(self, look: Look) -> None:
        super().__init__(look)
        self.field: Field | None
        self.forget()

    def words_of(self, field: Field, *, whole: bool) -> str:
        """What is said of a field; `whole` says more."""
        return help_words(field, whole=whole)

    def forget(self) -> None:
        """No field is in hand."""
        self.field, self.whole = None, False
        self.say("", self.idle)

    def describe(self, field: Field) -> None:
        """Describe another field."""
        if field is not self.field:
            self.field, self.whole = field, False
        self._say()

    def more(self) -> None:
        """The help in full, and back."""
        self.whole = not self.whole
        self._say()

    def _say(self) -> None:
        if self.field is not None:
            self.say(self.field.label, self.words_of(self.field, whole=self.whole))
