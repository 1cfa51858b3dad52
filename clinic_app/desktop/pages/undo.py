"""Taking back answers inside a draft, one act of the person at a time."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from clinic_app.desktop.parts.answer import OPEN, Given

Held = Mapping[str, Given]


@dataclass(frozen=True, slots=True)
class Act:
    """What one act changed: field -> answer before, answer after; `name` is the field the person was at."""

    name: str
    before: Held
    after: Held


class Acts:
    """The acts since a record was shown, and those taken back."""

    def __init__(self) -> None:
        self._held: Held = {}
        self._done: list[Act] = []
        self._undone: list[Act] = []

    def begin(self, held: Held) -> None:
        """Another record is shown: nothing can be taken back."""
        self._held = dict(held)
        self._done.clear()
        self._undone.clear()

    def settle(self, held: Held) -> None:
        """The answers now, changed by nobody's act: by what is proposed."""
        self._held = dict(held)

    def note(self, name: str, held: Held) -> None:
        """The answers after an act at that field; no act when nothing changed."""
        changed = {one for one in {*held, *self._held} if held.get(one, OPEN) != self._held.get(one, OPEN)}
        if not changed:
            return
        before = {one: self._held.get(one, OPEN) for one in changed}
        after = {one: held.get(one, OPEN) for one in changed}
        self._done.append(Act(name, before, after))
        self._undone.clear()
        self._held = dict(held)

    def back(self) -> Act | None:
        """Take back the last act; None when there is none. The caller shows the answers before it."""
        return self._move(self._done, self._undone, forth=False)

    def forth(self) -> Act | None:
        """Do again what was taken back last; None when there is none. The caller shows the answers after it."""
        return self._move(self._undone, self._done, forth=True)

    def _move(self, come: list[Act], gone: list[Act], *, forth: bool) -> Act | None:
        if not come:
            return None
        act = come.pop()
        gone.append(act)
        held = {**self._held, **(act.after if forth else act.before)}
        self._held = {name: given for name, given in held.items() if given != OPEN}
        return act
