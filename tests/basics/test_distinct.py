"""The different numbers of a column."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from busbox.basics.distinct import changed, distinct

KINDS = {"i8": (-(1 << 63), (1 << 63) - 1), "i2": (-(1 << 15), (1 << 15) - 1), "u1": (0, 255),
         "u4": (0, (1 << 32) - 1)}  # fmt: skip


@given(data=st.data(), kind=st.sampled_from(list(KINDS)))
def test_the_different_numbers_are_those_of_a_set(data: st.DataObject, kind: str) -> None:
    """Each number that occurs is there once, in order, and of the column's type."""
    few = data.draw(st.lists(st.integers(*KINDS[kind]), min_size=1, max_size=4))
    numbers = data.draw(st.lists(st.sampled_from(few) | st.integers(*KINDS[kind])))
    found = distinct(np.array(numbers, dtype=kind))
    assert found.tolist() == sorted(set(numbers))
    assert found.dtype == np.dtype(kind)


@given(st.lists(st.integers(0, 2)))
def test_a_number_has_changed_where_it_differs_from_the_one_before(numbers: list[int]) -> None:
    """The first number always has."""
    naive = [place == 0 or numbers[place - 1] != one for place, one in enumerate(numbers)]
    assert changed(np.array(numbers, dtype="i8")).tolist() == naive


@pytest.mark.parametrize("kind", list(KINDS))
def test_no_number_is_none(kind: str) -> None:
    """An empty column has no different numbers."""
    assert len(distinct(np.zeros(0, dtype=kind))) == 0
