"""The booking form: the short one, the full one, or everything; what stands on it as a draft and back."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from functools import partial

from clinic_app.desktop.look import Look
from clinic_app.desktop.pages.form_rules import FOLLOWING, LEVELS, form_fields, level_of
from clinic_app.desktop.pages.stage_form import StageForm
from clinic_app.desktop.parts.answer import OPEN, Answer, Given
from clinic_app.desktop.parts.entry import EntryAnswer
from clinic_app.domain.drafted import DraftAnswer
from clinic_app.settings import Settings
from models.codebook import Field


class BookingForm(StageForm):
    """`level` says how much of the form is shown. `beside` are answers that stand elsewhere on the page and belong to
    the same draft."""

    def __init__(self, look: Look, settings: Settings, today: date) -> None:
        super().__init__(look, settings, today, form_fields(), FOLLOWING)
        self.level = "short"
        self.beside: Mapping[str, Answer] = {}
        self.set_level("short")

    def set_level(self, level: str) -> None:
        """How much of the form is shown; answers outside it stay answered, and an answered field is always shown."""
        self.level = level
        shown = LEVELS[: LEVELS.index(level) + 1]
        for answer in self.answers.values():
            wanted = level_of(answer.field) in shown
            answer.setVisible(wanted)
            if not wanted:
                self._drop_lines(answer.field.name)
        self.placed()

    def hidden_answers(self) -> int:
        """How many answers stand outside the form that is shown."""
        return sum(answer.isHidden() and answer.given.stands for answer in self.answers.values())

    # --- answers beside the form -------------------------------------------------------------------------------------

    def stand_beside(self, answers: Mapping[str, Answer]) -> None:
        """Take these answers into what can be taken back; each act on one of them is an act of the form."""
        self.beside = dict(answers)
        for name, answer in answers.items():
            answer.changed.connect(partial(self._note_act, name))

    def answer_of(self, name: str) -> Answer:
        return self.beside[name] if name in self.beside else super().answer_of(name)

    def show_given(self, name: str, given: Given) -> None:
        if name in self.beside:
            self.beside[name].show_given(given)
        else:
            super().show_given(name, given)

    def _words(self, field: Field, given: Given) -> str:
        if field.name in self.beside and given.missing is not None:
            return self.beside[field.name].missing_words()
        return super()._words(field, given)

    def _held(self) -> dict[str, Given]:
        return {**super()._held(), **{name: one.given for name, one in self.beside.items() if one.given != OPEN}}

    # --- drafts ------------------------------------------------------------------------------------------------------

    def texts(self) -> dict[str, str]:
        """What stands typed and is no answer yet: still in hand, asked about or refused."""
        found = {}
        for name, answer in self.answers.items():
            if isinstance(answer, EntryAnswer) and answer.isEnabled():
                text = answer.box.text().strip()
                if text and text != (self._words(answer.field, answer.given) if answer.given != OPEN else "").strip():
                    found[name] = text
        return found

    def drafted(self) -> dict[str, DraftAnswer]:
        """Everything that stands on the form and beside it, as a draft keeps it."""
        texts = self.texts()
        found = {
            name: DraftAnswer(one.value, one.missing, one.typed, one.proposed, texts.get(name))
            for name, one in self._held().items()
        }
        return {**{name: DraftAnswer(text=text) for name, text in texts.items() if name not in found}, **found}

    def show_drafted(self, answers: Mapping[str, DraftAnswer]) -> None:
        """Show a draft in place of what stands; what asked or was refused asks and is refused again."""
        known = {*self.answers, *self.beside}
        self._still = True
        for name in known:
            one = answers.get(name, DraftAnswer())
            self.show_given(name, Given(one.value, one.missing, one.typed, one.proposed))
        self._still = False
        for name, one in answers.items():
            box = self.answers.get(name)
            if one.text is not None and isinstance(box, EntryAnswer):
                box.box.setText(one.text)
                box.take()
        self.acts.begin(self._held())
        self.placed()
