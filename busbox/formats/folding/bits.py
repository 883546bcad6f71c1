"""The bits that a poll waits for: one value in each word that ended a run, another in all others."""

from __future__ import annotations

from collections.abc import Iterable
from itertools import combinations

from busbox.map.registers import WORD

#: Bits of a mask up to which all masks are tried; above, bits are added as long as they help.
TRIED = 3


def masks(ended: Iterable[int], others: Iterable[int]) -> list[int]:
    """Return the masks of the fewest bits that tell the words that ended a run from the others.

    Returns
    -------
    every mask of one bit, or the first one of more bits; none if no mask does
    """
    last, rest = set(ended), set(others)
    first = min(last)
    same = WORD
    for word in last:
        same &= ~(word ^ first)
    different = {(word ^ first) & same for word in rest}
    if 0 in different or not different:
        return []
    single = same
    for bits in different:
        single &= bits
    if single:
        return [1 << bit for bit in range(32) if single >> bit & 1]
    used = [bit for bit in range(32) if any(bits >> bit & 1 for bits in different)]
    for count in range(2, TRIED + 1):
        for chosen in combinations(used, count):
            mask = sum(1 << bit for bit in chosen)
            if all(bits & mask for bits in different):
                return [mask]
    return [_cover(different, used)]


def _cover(different: set[int], used: list[int]) -> int:
    """Return a mask of bits of which each word has one: always the bit that most of them have."""
    mask, left = 0, set(different)
    while left:
        best = max(used, key=lambda bit: sum(bits >> bit & 1 for bits in left))
        mask |= 1 << best
        left = {bits for bits in left if not bits & mask}
    return mask
