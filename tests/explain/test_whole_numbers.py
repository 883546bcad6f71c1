"""Whole numbers by least squares."""

from __future__ import annotations

from typing import Any

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from busbox.explain.whole_numbers import solve


@st.composite
def systems(draw: st.DrawFn) -> tuple[Any, Any, list[int]]:
    """Draw counts, the numbers that were meant, and their smallest values."""
    columns = draw(st.integers(1, 6))
    row = st.lists(st.integers(0, 9), min_size=columns, max_size=columns)
    matrix = np.array(draw(st.lists(row, min_size=1, max_size=30)), dtype=np.int64)
    meant = draw(st.lists(st.integers(1, 120), min_size=columns, max_size=columns))
    return matrix, np.array(meant), [1] * columns


@settings(deadline=None, max_examples=200)
@given(system=systems())
def test_what_explains_every_row_is_found(system: tuple[Any, Any, list[int]]) -> None:
    """With as many rows as there are numbers, or more, the numbers; with less, what gives the rows."""
    matrix, meant, least = system
    found = solve(matrix, matrix @ meant, least, meant.tolist())
    assert found.values == tuple(meant.tolist())
    tied = {tie.index for tie in found.ties}
    assert len(tied) == matrix.shape[1] - np.linalg.matrix_rank(matrix)


@settings(deadline=None, max_examples=100)
@given(system=systems(), other=st.integers(1, 9))
def test_sums_that_are_told_hold_whatever_is_given(
    system: tuple[Any, Any, list[int]], other: int
) -> None:
    """A number that no row tells apart: where all rows are explained, a sum has the value meant."""
    matrix, meant, _ = system
    found = solve(matrix, matrix @ meant, [-10_000] * len(meant), (meant + other).tolist())
    if len(found.ties) == 1 and (matrix @ np.array(found.values) == matrix @ meant).all():
        (tie,) = found.ties
        for index, factor, total in tie.sums:
            assert abs(meant[index] + factor * meant[tie.index] - total) < 1e-3


def test_a_number_moves_from_what_is_given_if_nothing_whole_goes_with_that() -> None:
    """2a + b = 7 always: with b given as 2 there is no whole a, so that b becomes 1 or 3."""
    matrix = np.array([[2, 1]] * 3)
    found = solve(matrix, matrix @ np.array([3, 1]), [1, 1], [3, 2])
    assert 2 * found.values[0] + found.values[1] == 7
    assert [(tie.index, tie.sums) for tie in found.ties] == [(1, ((0, 0.5, 3.5),))]


@settings(deadline=None, max_examples=100)
@given(data=st.data())
def test_a_few_rows_that_are_wrong_change_nothing(data: st.DataObject) -> None:
    """Sixty rows of three numbers, up to four of them far off: the numbers are those of the others."""
    generator = np.random.default_rng(data.draw(st.integers(0, 1 << 32)))
    matrix = generator.integers(0, 12, (60, 3))
    meant = generator.integers(1, 60, 3)
    wanted = matrix @ meant
    for row in generator.choice(60, data.draw(st.integers(0, 4)), replace=False):
        wanted[row] += generator.integers(1, 500)
    assert solve(matrix, wanted, [1, 1, 1], [3, 3, 3]).values == tuple(meant.tolist())


def test_no_column_and_no_row_are_left_as_given() -> None:
    """Nothing was executed, or nothing recorded."""
    assert solve(np.zeros((5, 0), dtype=np.int64), np.zeros(5), [], []).values == ()
    assert solve(np.zeros((0, 2), dtype=np.int64), np.zeros(0), [1, 1], [3, 4]).values == (3, 4)
