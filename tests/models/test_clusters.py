"""Patients numbered in the order of first appearance, whatever their labels are made of."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from models import ModelError
from models.arrays import cluster_codes


def plainly(labels: list[object]) -> list[int]:
    """The definition, one label at a time."""
    seen: list[object] = []
    for label in labels:
        if label not in seen:
            seen.append(label)
    return [seen.index(label) for label in labels]


NUMBERS = st.integers(-(2**63), 2**63 - 1) | st.integers(-5, 5)
TEXTS = st.text("ab0Z-", min_size=1, max_size=20) | st.text(min_size=1, max_size=4).filter(lambda t: "\0" not in t)


@given(st.lists(NUMBERS, min_size=1, max_size=40))
@settings(max_examples=60)
def test_numbers(labels: list[int]) -> None:
    assert cluster_codes(labels, len(labels)).tolist() == plainly(list(labels))


@given(st.lists(TEXTS, min_size=1, max_size=40))
@settings(max_examples=60)
def test_texts(labels: list[str]) -> None:
    expected = plainly(list(labels))
    assert cluster_codes(labels, len(labels)).tolist() == expected
    assert cluster_codes(np.array(labels, dtype=object), len(labels)).tolist() == expected


def test_every_letter_of_a_long_text_counts() -> None:
    labels = [f"practice-{a}-patient-{b}" for a in "abc" for b in "xyz"]
    assert cluster_codes(labels, 9).tolist() == list(range(9))


def test_small_and_unsigned_numbers_do_not_run_over() -> None:
    assert cluster_codes(np.array([-128, 127, -128, 0] * 40, dtype=np.int8), 160).tolist()[:4] == [0, 1, 0, 2]
    assert cluster_codes(np.array([2**64 - 1, 2**64 - 2, 2**64 - 1], dtype=np.uint64), 3).tolist() == [0, 1, 0]
    assert cluster_codes([0.5, 1.5, 0.5], 3).tolist() == [0, 1, 0]
    assert cluster_codes([], 0).tolist() == []


@pytest.mark.parametrize("blank", [None, float("nan")])
def test_a_blank_label_is_refused(blank: object) -> None:
    with pytest.raises(ModelError, match="blank"):
        cluster_codes(np.array(["a", blank], dtype=object), 2)
    with pytest.raises(ModelError, match="blank"):
        cluster_codes(np.array([1.0, np.nan]), 2)


def test_one_label_an_eye() -> None:
    with pytest.raises(ModelError, match="3 patient labels"):
        cluster_codes(["a", "b"], 3)
