"""What expectations count in the accesses of a run: cycles, errors, and who answered."""

from __future__ import annotations

from typing import Any

import numpy as np

from busbox.bus.transfers import ACK, ERR, RESET, WATCHDOG
from busbox.recording import Accesses, Recording, windows

#: Who answers an access that ends with ERR from the decoder or the watchdog, or never.
NOBODY = "nobody"


def bus_cycles(recording: Recording, slot: str | None) -> int:
    """Return the cycles in which an access was open, from its first to that of its end."""
    return sum(
        int((part.end - part.start + 1)[_of(recording, part, slot)].sum())
        for _, part in windows(recording.accesses)
    )


def errors(recording: Recording, slot: str | None) -> int:
    """Return how many accesses ended with ERR: of the decoder, the watchdog or a device."""
    return sum(
        int((np.isin(part.terminator, (ERR, WATCHDOG)) & _of(recording, part, slot)).sum())
        for _, part in windows(recording.accesses)
    )


def answerers(recording: Recording, address: int) -> list[str]:
    """Return the slots that answered accesses to a word, in the order of the bench, then nobody.

    An access that a reset cut off counts for none.
    """
    numbers: set[int] = set()
    for _, part in windows(recording.accesses):
        there = (part.address == address) & (part.terminator != RESET)
        answered = np.isin(part.terminator, (ACK, ERR)) & (part.slot >= 0)
        numbers.update(part.slot[there & answered].tolist())
        if (there & ~answered).any():
            numbers.add(-1)
    names = [slot.name for number, slot in enumerate(recording.slots) if number in numbers]
    return names + [NOBODY] * (-1 in numbers)


def _of(recording: Recording, part: Accesses, slot: str | None) -> Any:
    """Return which accesses the decoder led to a slot; all without one."""
    if slot is None:
        return np.ones(len(part), dtype=bool)
    names = [one.name for one in recording.slots]
    return part.slot == names.index(slot)
