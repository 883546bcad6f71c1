"""The naive model of memory: see tests/naive.py."""

from __future__ import annotations

from typing import Any

from tests.models.naive_device import Access, Device, merged


class Memory(Device):
    """Table memory: the words stay through a reset."""

    kinds = (
        "uninitialised-read",
        "rom-write",
    )

    def __init__(self, name: str, settings: dict[str, Any], clock_hz: int) -> None:
        self.words: dict[int, int] = {}
        super().__init__(name, settings, clock_hz)

    def read(self, offset: int) -> int:
        """Table memory: a word never written reads 0."""
        return self.words.get(offset, 0)

    def edge(self, t: int, access: Access | None) -> None:
        """Table memory."""
        if access is None:
            return
        if not access.write:
            if access.offset not in self.words:
                self.log(t, "uninitialised-read", access.number)
        elif self.settings.get("kind") == "rom":
            # READING: a write without any lane is a write to the rom all the same.
            self.log(t, "rom-write", access.number)
        elif access.lanes:
            old = self.words.get(access.offset, 0)
            self.words[access.offset] = merged(old, access.data, access.lanes)


NAIVE = Memory
