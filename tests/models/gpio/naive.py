"""The naive model of gpio: see tests/naive.py."""

from __future__ import annotations

from types import MappingProxyType
from typing import Any

from tests.models.naive_device import Access, Device, ones


class Gpio(Device):
    """Table gpio."""

    names = MappingProxyType(
        {
            "OUT": 0x00,
            "SET": 0x04,
            "CLEAR": 0x08,
            "TOGGLE": 0x0C,
            "IN": 0x10,
            "ENABLE": 0x14,
            "RISE": 0x18,
            "FALL": 0x1C,
            "EVENTS": 0x20,
        }
    )

    def __init__(self, name: str, settings: dict[str, Any], clock_hz: int) -> None:
        self.width = settings.get("width", 32)
        self.bits = (1 << self.width) - 1
        plain = {0x00: "out", 0x14: "enable", 0x18: "rise", 0x1C: "fall"}
        self.plain = {offset: (register, self.bits) for offset, register in plain.items()}
        self.outputs = (*(f"out.{n}" for n in range(self.width)), "interrupt")
        self.inputs = tuple(f"in.{n}" for n in range(self.width))
        super().__init__(name, settings, clock_hz)

    def reset(self) -> None:
        """Rule 14: the synchronisers are registers, the pins are not."""
        self.out = self.first = self.second = self.before = 0
        self.rise = self.fall = self.happened = 0
        self.enable = self.bits

    def read(self, offset: int) -> int:
        """Table gpio."""
        if offset == 0x10:
            return self.second
        return self.happened if offset == 0x20 else super().read(offset)

    def cycle(self, t: int) -> int:
        """Table gpio: outputs follow OUT (ENABLE 0 releases), `interrupt` is EVENTS not 0."""
        self.released = ~self.enable & self.bits
        return self.out | int(self.happened != 0) << self.width

    def edge(self, t: int, access: Access | None) -> None:
        """Table gpio: edges of IN with RISE and FALL of this cycle; then the write; a set wins."""
        risen = self.second & ~self.before & self.rise
        fallen = self.before & ~self.second & self.fall
        self.before, self.second, self.first = self.second, self.first, self.board
        super().edge(t, access)
        if access is not None and access.write:
            self.act(access.offset, ones(access.data, access.lanes) & self.bits)
        self.happened |= risen | fallen

    def act(self, offset: int, acting: int) -> None:
        """Table gpio: ones act on OUT; ones clear EVENTS."""
        if offset == 0x04:
            self.out |= acting
        elif offset == 0x08:
            self.out &= ~acting
        elif offset == 0x0C:
            self.out ^= acting
        elif offset == 0x20:
            self.happened &= ~acting


NAIVE = Gpio
