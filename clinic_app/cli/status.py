"""The exit status of a command."""

DONE = 0
REFUSED = 1
"""The input, the data or the practice's state does not allow it; nothing was changed."""
WRONG_USE = 2
SOME_REFUSED = 3
"""Done, but some rows were left out."""
CANCELLED = 4
FAULT = 70
"""A fault of the program."""
