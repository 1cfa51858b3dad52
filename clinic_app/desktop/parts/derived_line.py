"""What follows from answers that were typed: "= 5.7 s at full power", beside them, never to be typed in."""

from __future__ import annotations

from clinic_app.desktop.look import Look
from clinic_app.desktop.parts.label import Words


class DerivedLine(Words):
    """A derived value in words; nothing is shown until it follows. `about` names it for readers of the screen."""

    def __init__(self, look: Look, about: str, words: str = "") -> None:
        super().__init__(look, "", size=13.5, colour="soft", wrap=True)
        self.about = about
        self.say(words)

    def say(self, words: str) -> None:
        """The value with its unit and what it means; empty while it does not follow."""
        self.setText(f"= {words}" if words else "")
        self.setAccessibleName(f"{self.about}: {words or 'not yet known'}")
