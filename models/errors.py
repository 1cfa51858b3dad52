"""What `models` raises: a refusal in three sentences, so that every caller can tell the user the same thing."""

from __future__ import annotations


class ModelError(Exception):
    """A refusal of the arithmetic: what is refused, why, and what to do next.

    The three sentences hold no patient value; they may be shown, logged and tested.
    """

    def __init__(self, what: str, why: str, next: str) -> None:  # noqa: A002 - "next" is the word of the interface
        super().__init__(f"{what} {why} {next}")
        self.what = what
        self.why = why
        self.next = next

    def placed(self, where: str) -> None:
        """Say before the reason where in the work it arose, such as "Refit 133"."""
        self.why = f"{where}: {self.why}"
        self.args = (f"{self.what} {self.why} {self.next}",)

    def __reduce__(self) -> tuple[type[ModelError], tuple[object, ...]]:
        # Another process hands a refusal back as it was raised.
        return type(self), (self.what, self.why, self.next)


class Separation(ModelError):
    """The likelihood has no maximum because some combination of columns separates cloudy from clear completely.

    `columns` holds the numbers (from 0) of the columns whose coefficients run away.

    Source: Albert A, Anderson JA. On the existence of maximum likelihood estimates in logistic regression models.
    Biometrika 1984;71:1-10 (from memory).
    """

    def __init__(self, columns: tuple[int, ...]) -> None:
        named = ", ".join(str(column) for column in columns)
        super().__init__(
            what="The model has no best fit.",
            why=f"Columns {named} separate the outcome completely.",
            next="Leave the columns out, join rare categories, or use a prior.",
        )
        self.columns = columns

    def __reduce__(self) -> tuple[type[ModelError], tuple[object, ...]]:
        return type(self), (self.columns,)
