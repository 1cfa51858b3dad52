"""What the program says no with: three sentences for the user, and the exit status that goes with them."""

from __future__ import annotations


class Refusal(Exception):
    """The input, the data or the practice's state does not allow the act; nothing was changed.

    `what`, `why` and `next` are whole sentences in the user's words. They hold no patient value unless the caller
    shows them only to the person who typed it; never log them.
    """

    def __init__(self, what: str, why: str, next: str) -> None:  # noqa: A002 - "next" is the word of the interface
        super().__init__(f"{what} {why} {next}")
        self.what = what
        self.why = why
        self.next = next
