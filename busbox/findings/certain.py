"""How far a run is certain: the first word that is not the recorded one."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from busbox.bus.transfers import ACK, ERR
from busbox.findings.rule import RunFacts
from busbox.map.registers import LANE_MASKS, lane_mask
from busbox.recording.judged import Certainty
from busbox.system.scenario import Harmless

if TYPE_CHECKING:
    from busbox.recording import Accesses


def certainty(facts: RunFacts) -> Certainty:
    """Return how far a run is certain; see :class:`Certainty`.

    A read that ends with ERR, where a word was recorded, differs too: the firmware would have trapped.
    """
    accesses = facts.recording.accesses
    if facts.recording.traffic_kind != "listed":
        return Certainty(facts.recording.traffic_kind)
    compared = int(np.count_nonzero(accesses.expected >= 0))
    vouched, allowed, first = 0, Vouching(facts), -1
    for number in facts.where(differs):
        if allowed.harmless(number):
            vouched += 1
        elif first < 0:
            first = number
    if first < 0:
        return Certainty("listed", compared, vouched)
    end = int(accesses.end[first])
    return Certainty("listed", compared, vouched, end, first, _difference(facts, first))


def differs(part: Accesses) -> Any:
    """Return which reads did not give the word that was recorded for them."""
    compared = ~part.write & (part.expected >= 0)
    selected = np.take(LANE_MASKS, part.lanes)
    other = (part.data.astype("i8") ^ part.expected) & selected != 0
    return compared & ((part.terminator == ERR) | ((part.terminator == ACK) & other))


class Vouching:
    """Which reads the bench vouches for: whatever they give, the firmware goes on the same way."""

    def __init__(self, facts: RunFacts) -> None:
        self._facts = facts
        self._named = facts.system.harmless
        self._known: dict[tuple[int, int], bool] = {}

    def harmless(self, access: int) -> bool:
        """Return whether a read is one of those that the bench names under ``harmless``."""
        if not self._named:
            return False
        accesses = self._facts.recording.accesses
        key = int(accesses.address[access]), int(accesses.pc[access])
        if key not in self._known:
            self._known[key] = any(self._is(one, access, key[1]) for one in self._named)
        return self._known[key]

    def _is(self, one: Harmless, access: int, pc: int) -> bool:
        found = self._facts.decoded(access)
        if found.slot is None or found.place is None or found.slot.name != one.slot:
            return False
        names = found.place.name, found.place.register.name
        return one.register in names and one.pc in (None, pc)


def _difference(facts: RunFacts, access: int) -> str:
    accesses = facts.recording.accesses
    mask = lane_mask(int(accesses.lanes[access]))
    name = facts.decoded(access).register or f"{int(accesses.address[access]):#010x}"
    ended = int(accesses.terminator[access]) == ERR
    read = "ended with ERR" if ended else f"read {int(accesses.data[access]) & mask:#x}"
    return f"{name} {read}, recorded {int(accesses.expected[access]) & mask:#x}"
