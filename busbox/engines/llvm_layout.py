"""Where everything that the loop uses lives, in one block of bytes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from busbox.cpu.commands import KEPT
from busbox.engines.kernel import Parts, guard, seen
from busbox.engines.loop import CACHED, LOGGED, STATE
from busbox.engines.netlist.layout import Layout, Place, lay_out, size_of

#: Accesses, and records of one device, that are kept before the loop returns.
ROOM = 1 << 14
#: Pointers after the state: the commands, the numbers of a core, and the function by which it is asked.
COMMANDS, CORE, CONSULT = range(3)
#: Numbers before the design.
_BEFORE = len(STATE) + 3


@dataclass(frozen=True)
class Records:
    """Cycles with words that are seen in them: a buffer that the loop fills.

    Attributes
    ----------
    source : the output that is looked at
    last : its word in the cycle before; watched : bits that the loop stops for; watched_notes : whether
        it stops for notes
    counted : how many records there are; buffer : of each, the cycle and the word
    mask : the bits for which a word that differs is kept; 0: only words with bit 0 are kept
    """

    source: Place
    last: Place
    watched: Place
    watched_notes: Place
    counted: Place
    buffer: Place
    mask: int

    @property
    def stride(self) -> int:
        """Bytes of a record."""
        return self.buffer.size

    def count(self, block: memoryview) -> int:
        """Return how many records there are."""
        return self.counted.read(block)

    def take(self, block: memoryview) -> tuple[list[int], list[int]]:
        """Return cycles and words, and forget them."""
        count = self.count(block)
        if not count:
            return [], []
        self.counted.write(block, 0)
        first = self.buffer.offset
        table = np.frombuffer(block[first : first + count * self.stride], dtype="<u8")
        cycles, *parts = table.reshape(count, -1).T.tolist()
        words = parts.pop()
        for part in reversed(parts):
            words = [high << 64 | low for high, low in zip(words, part, strict=True)]
        return cycles, words


@dataclass(frozen=True)
class LoopLayout:
    """The block: state, address of commands, the design, cached and kept words, log and records."""

    design: Layout
    cached: Place
    kept: Place
    log: Place
    seen: dict[int, Records]
    guards: dict[int, Records]
    size: int

    @property
    def records(self) -> list[Records]:
        """The records of all devices."""
        return [*self.seen.values(), *self.guards.values()]


def lay_out_loop(parts: Parts) -> LoopLayout:
    """Return where everything lives."""
    design = lay_out(parts.outline, 8 * _BEFORE)
    end = design.size

    def place(name: str, size: int, count: int = 1, width: int | None = None) -> Place:
        nonlocal end
        found = Place(name, end, 8 * size if width is None else width, size, count)
        end = -(-found.end // 8) * 8
        return found

    def records(name: str, mask: int) -> Records:
        source = design.outputs[name]
        size = max(8, size_of(source.width))
        return Records(
            source,
            place(f"{name}_last", size, width=source.width),
            place(f"{name}_watched", size, width=source.width),
            place(f"{name}_watched_notes", 8, width=1),
            place(f"{name}_count", 8),
            place(f"{name}_records", 8 + size, ROOM),
            mask,
        )

    cached = place("cached", 8, CACHED * parts.slots)
    kept = place("kept", 8, KEPT)
    log = place("log", 8, LOGGED * ROOM)
    views = parts.views
    return LoopLayout(
        design,
        cached,
        kept,
        log,
        {slot: records(seen(slot), view.pin_mask) for slot, view in views.items()},
        {slot: records(guard(slot), 0) for slot in views},
        end,
    )
