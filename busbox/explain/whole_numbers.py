"""Whole numbers by least squares: what clocks explain most waits exactly."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations, product
from typing import Any

import numpy as np
from numpy.typing import NDArray

Matrix = NDArray[Any]

#: Rounds of weighting until small errors of many rows count more than large errors of few.
ROUNDS = 40
#: How far one number is moved in a search, and two at once.
STEPS, PAIRED = (-3, -2, -1, 1, 2, 3), (-1, 1)
#: Steps from what is given that are tried where whole numbers do not go with that itself.
NEARBY = (-1, 1, -2, 2, -3, 3)
#: Below this, a number counts as 0 in the decompositions.
TINY = 1e-9


@dataclass(frozen=True)
class Tie:
    """A column that the others give.

    Attributes
    ----------
    index : of that column, whose value was given
    sums : (column, factor, total): ``value of column + factor * value of index`` is ``total``
    """

    index: int
    sums: tuple[tuple[int, float, float], ...]


@dataclass(frozen=True)
class Solution:
    """The values, one for each column, and which columns cannot be told apart."""

    values: tuple[int, ...]
    ties: tuple[Tie, ...]


def solve(matrix: Matrix, wanted: Matrix, least: Sequence[int], given: Sequence[int]) -> Solution:
    """Find whole numbers x so that ``matrix @ x`` is ``wanted`` in as many rows as possible.

    Least squares, then with weights that make the sum of errors least, rounded; then a search nearby.
    Where an exact solution exists, the first finds it. A column that the others give is left as it is
    given, or moved a little if that explains more.

    Parameters
    ----------
    matrix, wanted : whole numbers
    least : lower limit of each x
    given : what an x is where the rows do not determine it
    """
    count = matrix.shape[1]
    if not count or not len(matrix):
        return Solution(tuple(given), ())
    rows, weights = np.unique(np.column_stack([matrix, wanted]), axis=0, return_counts=True)
    factor: Matrix = np.asarray(np.linalg.qr(rows[:, :count].astype(float), mode="r"))
    free = _independent(factor)
    fixed = [index for index in range(count) if index not in free]
    low = np.array([least[one] for one in free], dtype=np.int64)

    def with_fixed(values: Sequence[int]) -> tuple[tuple[int, int], list[int]]:
        whole = np.array(values, dtype=np.int64)
        rest = rows[:, count] - rows[:, fixed] @ whole[fixed]
        whole[free] = _nearest(rows[:, free], rest, weights, low)
        return _badness(rows[:, :count], rows[:, count], weights, whole), whole.tolist()

    best = with_fixed(given)
    for index in fixed if best[0][0] else ():
        for step in (0, *NEARBY):
            around = _within(factor, rows, free, index, best[1], least)
            tried = [around + step if one == index else value for one, value in enumerate(best[1])]
            if best[0][0] and tried[index] >= least[index]:
                best = min(best, with_fixed(tried), key=lambda one: one[0])
    return Solution(tuple(best[1]), tuple(_ties(factor, free, fixed, best[1])))


def _within(
    factor: Matrix,
    rows: Matrix,
    free: Sequence[int],
    index: int,
    values: Sequence[int],
    least: Sequence[int],
) -> int:
    """Return the value of a column nearest to what it has with which no other is below its least."""
    held = np.array([0 if one in free else value for one, value in enumerate(values)])
    rest = rows[:, -1] - rows[:, :-1] @ held
    real = np.linalg.lstsq(rows[:, free].astype(float), rest, rcond=None)[0]
    parts = np.linalg.lstsq(factor[:, free], factor[:, index], rcond=None)[0]
    low, high = float(least[index]), np.inf
    for one, value, part in zip(free, real, parts, strict=True):
        # value - part * (x - x now) must be at least what is allowed.
        if abs(part) > TINY:
            limit = values[index] + (value - least[one]) / part
            low, high = (low, min(high, limit)) if part > 0 else (max(low, limit), high)
    slack = 1e-6
    return int(max(np.ceil(low - slack), min(float(values[index]), np.floor(high + slack))))


def _independent(factor: Matrix) -> list[int]:
    """Return the columns that none before them give."""
    free: list[int] = []
    for index in range(factor.shape[1]):
        tried = factor[:, [*free, index]]
        scaled = tried / np.maximum(np.linalg.norm(tried, axis=0), TINY)
        if np.linalg.matrix_rank(scaled, tol=TINY * len(tried[0])) == len(free) + 1:
            free.append(index)
    return free


def _ties(
    factor: Matrix, free: Sequence[int], fixed: Sequence[int], values: Sequence[int]
) -> Iterator[Tie]:
    for index in fixed:
        parts = np.linalg.lstsq(factor[:, free], factor[:, index], rcond=None)[0]
        sums = [
            (one, round(float(part), 6), values[one] + round(float(part), 6) * values[index])
            for one, part in zip(free, parts, strict=True)
            if abs(part) > 1e-6
        ]
        yield Tie(index, tuple(sums))


def _nearest(rows: Matrix, wanted: Matrix, weights: Matrix, low: Matrix) -> Matrix:
    starts: list[Matrix] = []
    scale = np.sqrt(weights.astype(float))
    errors = np.zeros(len(rows))
    for number in range(ROUNDS):
        real = np.linalg.lstsq(rows * scale[:, None], wanted * scale, rcond=None)[0]
        whole = np.maximum(np.rint(real).astype(np.int64), low)
        errors = np.abs(rows @ real - wanted)
        if number in (0, ROUNDS - 1) or not _badness(rows, wanted, weights, whole)[0]:
            starts.append(whole)
        if not _badness(rows, wanted, weights, starts[-1])[0]:
            return starts[-1]
        scale = np.sqrt(weights / np.maximum(errors, 1e-3))
    best: Matrix = min(starts, key=lambda one: _badness(rows, wanted, weights, one))
    return _searched(rows, wanted, weights, low, best)


def _badness(rows: Matrix, wanted: Matrix, weights: Matrix, tried: Matrix) -> tuple[int, int]:
    """Return how many rows are wrong, and by how much together."""
    errors = np.abs(rows @ tried - wanted)
    return int(weights[errors > 0].sum()), int((weights * errors).sum())


def _searched(rows: Matrix, wanted: Matrix, weights: Matrix, low: Matrix, best: Matrix) -> Matrix:
    """Move one number or two at once, as long as that makes fewer rows wrong."""
    score = _badness(rows, wanted, weights, best)
    while True:
        tried = [(_badness(rows, wanted, weights, one), one) for one in _moves(best, low)]
        better = min(tried, key=lambda one: one[0], default=(score, best))
        if better[0] >= score:
            return best
        score, best = better


def _moves(best: Matrix, low: Matrix) -> Iterator[Matrix]:
    for index in range(len(best)):
        for step in STEPS:
            yield _moved(best, low, {index: step})
    for pair in combinations(range(len(best)), 2):
        for steps in product(PAIRED, repeat=2):
            yield _moved(best, low, dict(zip(pair, steps, strict=True)))


def _moved(best: Matrix, low: Matrix, by: dict[int, int]) -> Matrix:
    moved = best.copy()
    for index, step in by.items():
        moved[index] += step
    return np.maximum(moved, low)
