"""Counters: registers whose words only grow, and the limit that a loop waits for."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise

#: Widths that a counter may have.
WIDTHS = (32, 24, 16, 8)
#: How many times longer than the range of limits the steps of a round number must be: one lies in it by
#: accident in a quarter of the cases at most.
CLEARLY = 4
#: Changes from which on a register that moves less often than it is read is a counter.
MANY = 16


def mask_of_counter(words: Sequence[int]) -> int | None:
    """Return the mask of a counter's width, or None if the words are not those of a counter.

    A counter moves forward at every change, by less than half of its range, and moves between most
    reads, or many times.
    """
    pairs = list(pairwise(words))
    changes = sum(left != right for left, right in pairs)
    if len(words) < 3 or (2 * changes <= len(pairs) and changes <= MANY):
        return None
    most = max(words)
    for width in WIDTHS:
        mask = (1 << width) - 1
        if most <= mask and all((right - left & mask) <= mask >> 1 for left, right in pairs):
            return mask
    return None


@dataclass(frozen=True)
class Limit:
    """What a loop on a counter waits for, as far as its words tell.

    Attributes
    ----------
    value : the limit taken; None if none is clearly rounder than the others
    low, high : the smallest and the largest one possible
    """

    value: int | None
    low: int
    high: int


def limit_of(below: Iterable[int], reached: Iterable[int]) -> Limit | None:
    """Return the limit above some distances that others reach, or None if there is none."""
    low, high = max(below, default=-1) + 1, min(reached)
    if low > high or high == 0:
        return None
    low = max(low, 1)
    if low == high:
        return Limit(low, low, high)
    for step in sorted(_steps(high), reverse=True):
        found = high // step * step
        if step >= CLEARLY * (high - low + 1) and found >= low:
            return Limit(found, low, high)
    return Limit(None, low, high)


def _steps(high: int) -> list[int]:
    """Return the powers of ten and of two up to a number: what makes a number round."""
    return [base**power for base in (10, 2) for power in range(32) if base**power <= high] or [1]
