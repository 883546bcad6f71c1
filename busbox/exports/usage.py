"""How the bus was used: counts for every slot, in one pass over a recording of any length."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from busbox.bus.transfers import ERR, WATCHDOG
from busbox.recording import IntColumn, Recording, windows


@dataclass
class Use:
    """Reads and writes of a slot, and the cycles that they waited (the sum of e - s)."""

    reads: int = 0
    writes: int = 0
    waited: int = 0


@dataclass(frozen=True)
class Usage:
    """What :func:`usage` finds.

    Attributes
    ----------
    slots : one for each slot, in the recording's order
    nowhere : accesses that no slot decodes
    errors : accesses that ended with ERR
    busy : cycles in which an access was up
    """

    slots: tuple[Use, ...]
    nowhere: Use
    errors: int
    busy: int


def usage(recording: Recording) -> Usage:
    """Return how the bus was used."""
    uses = [Use() for _ in range(len(recording.slots) + 1)]
    errors = busy = 0
    for _, part in windows(recording.accesses):
        waited = part.end - part.start
        places: IntColumn = part.slot.astype("i8") + 1
        for place, use in enumerate(uses):
            mine = places == place
            writes = int((mine & part.write).sum())
            use.writes += writes
            use.reads += int(mine.sum()) - writes
            use.waited += int(waited[mine].sum())
        errors += int(np.isin(part.terminator, (ERR, WATCHDOG)).sum())
        busy += int(waited.sum()) + len(part)
    return Usage(tuple(uses[1:]), uses[0], errors, busy)
