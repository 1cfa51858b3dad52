"""A refusal crosses from one process to another unchanged."""

from __future__ import annotations

import pickle

import pytest

from models import ModelError, Separation


@pytest.mark.parametrize("error", [ModelError("What.", "Why.", "Next."), Separation((2, 5))])
def test_a_refusal_comes_back_as_it_was_raised(error: ModelError) -> None:
    back = pickle.loads(pickle.dumps(error))  # noqa: S301 - our own bytes
    assert type(back) is type(error)
    assert str(back) == str(error)
    assert (back.what, back.why, back.next) == (error.what, error.why, error.next)
    assert getattr(back, "columns", None) == getattr(error, "columns", None)
