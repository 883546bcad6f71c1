"""Runs of addresses: the images of a slot, and where two slots decode the same addresses."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from heapq import merge
from typing import NamedTuple

from busbox.map.registers import WORD
from busbox.map.slots import AddressMap, Slot, Term

#: The first and the last address of a run.
Run = tuple[int, int]


class Contest(NamedTuple):
    """Two slots that decode the same addresses: ``loser`` yields to ``winner``."""

    winner: Slot
    loser: Slot


def image_runs(slot: Slot) -> Iterator[Run]:
    """Yield the runs of addresses that the images of a slot fill, except image 0, in order.

    They are where its own decoder answers; whether it yields to another slot there does not count.
    """
    base, last = slot.base, slot.base + slot.size - 1
    for first, end in _runs(slot.terms) if slot.images > 1 else ():
        if not first <= base <= end:
            yield first, end
            continue
        if first < base:
            yield first, base - 1
        if last < end:
            yield last + 1, end


def image_numbers(slot: Slot, run: Run) -> tuple[int, int] | None:
    """Return the numbers of the first and the last image of a run; None if they are not in order.

    They are where no bit of the base that is not compared is 1.
    """
    first, last = run
    if any(slot.base >> bit & 1 for bit in slot.free_bits):
        return None
    return slot.image(first), slot.image(last)


def contests(address_map: AddressMap) -> Iterator[Contest]:
    """Yield the pairs of slots that decode a common address, where one yields to the other."""
    for loser in address_map.slots:
        for name in loser.yields_to:
            winner = address_map.slot(name)
            if winner is not None and any(_common(winner, loser)):
                yield Contest(winner, loser)


def contested_runs(contest: Contest) -> Iterator[Run]:
    """Yield the runs of addresses that both slots of a contest decode, in order."""
    yield from _runs(_common(*contest))


def rivals(address_map: AddressMap, address: int) -> list[Slot]:
    """Return the slots that decode an address as well as the one that answers, and give way to it."""
    winner = address_map.decode(address).slot
    return [slot for slot in address_map.slots if slot.answers(address) and slot is not winner]


def _common(slot: Slot, other: Slot) -> Iterator[Term]:
    """Yield the sets of addresses that two slots share; they are disjoint."""
    for left in slot.terms:
        for right in other.terms:
            if left.meets(right):
                yield Term(left.mask | right.mask, left.value | right.value)


def _runs(terms: Iterable[Term]) -> Iterator[Run]:
    """Yield the runs of disjoint sets of addresses in order, those that touch as one."""
    open_run: Run | None = None
    for first, last in merge(*map(_runs_of, terms)):
        if open_run is not None and open_run[1] + 1 == first:
            open_run = open_run[0], last
            continue
        if open_run is not None:
            yield open_run
        open_run = first, last
    if open_run is not None:
        yield open_run


def _runs_of(term: Term) -> Iterator[Run]:
    """Yield the runs of one set: the free bits below the lowest compared one are inside each."""
    free = ~term.mask & WORD
    inside = (free + 1 & ~free) - 1 & WORD
    choices, chosen = free & ~inside, 0
    while True:
        yield term.value | chosen, term.value | chosen | inside
        if chosen == choices:
            return
        chosen = (chosen - choices) & choices  # the next subset of the bits, in order
