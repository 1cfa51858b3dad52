"""One module per act of a user; pages and commands call the same functions."""
