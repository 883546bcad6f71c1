"""Memory, RAM or ROM of any size, in Python."""

from __future__ import annotations

from pathlib import Path
from typing import Any, ClassVar

from busbox.device import Answer, BusAccess, Host, RegisterModel, lane_mask
from busbox.models.memory.declaration import MemoryRegisters
from busbox.models.memory.image import image_words


class Memory(MemoryRegisters, RegisterModel):
    """RAM or ROM, with contents from a file if there is one.

    Registers
    ---------
    ==== ==== == =========================================================
    4n   WORD rw word n of the slot (``rom``: a write is ignored)
    ==== ==== == =========================================================

    Files
    -----
    ``file`` is a plain binary (from the slot's base on), Intel HEX (``.hex``, ``.ihex``) or ELF
    (``.elf``; load addresses). The addresses of HEX and ELF are bus addresses: what lies in the slot
    is its contents, and at least one byte must.

    Timing
    ------
    A write in e shows from e + 1. A read of a word of which no byte has been written shows 0, event
    ``uninitialised-read``; a write to ``rom`` is ignored, event ``rom-write``. A reset leaves the
    contents alone. Always at rest.
    """

    twin: ClassVar[str] = "busbox.models.memory.hardware:MemoryHardware"

    def __init__(self, host: Host, **settings: Any) -> None:
        self.host = host
        self.options = settings
        self.cycle = 0
        self._words: dict[int, int] = {}
        if settings["file"] is not None:
            self._words = image_words(Path(settings["file"]), host.base, host.size)

    def access(self, access: BusAccess) -> Answer:
        """Store or fetch a word."""
        self.cycle = access.cycle
        if access.write:
            if self.options["kind"] == "rom":
                self.host.event(access.cycle, "rom-write", access.number, offset=access.offset)
            elif access.lanes:
                self._store(access.offset, access.data, lane_mask(access.lanes))
            return 0
        word = self._words.get(access.offset)
        if word is None:
            self.host.event(access.cycle, "uninitialised-read", access.number, offset=access.offset)
            return 0
        return word

    def _store(self, offset: int, data: int, mask: int) -> None:
        self._words[offset] = self._words.get(offset, 0) & ~mask | data & mask

    def reset(self, cycle: int, length: int) -> None:
        """Leave the contents alone: block memory has no reset."""
        self.cycle = cycle + length

    def registers(self) -> dict[str, int]:
        """Return nothing: a memory is too large to list."""
        return {}

    def peek(self, offset: int) -> int:
        """Return a word, 0 if no byte of it was ever written."""
        return self._words.get(offset, 0)
