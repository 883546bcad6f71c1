"""The naive model of timer: see tests/naive.py."""

from __future__ import annotations

from types import MappingProxyType

from tests.models.naive_device import WORD, Access, Device, ones


class Timer(Device):
    """Table timer."""

    outputs = ("ring",)
    names = MappingProxyType(
        {"NOW": 0x00, "NOW_HIGH": 0x04, "ALARM": 0x08, "CONTROL": 0x0C, "STATUS": 0x10}
    )
    plain = MappingProxyType({0x08: ("alarm", WORD), 0x0C: ("control", 0x1)})

    def reset(self) -> None:
        """Rules 14 and 16: the counter reads 0 up to cycle r + L."""
        self.now = self.now_high = self.alarm = self.control = 0
        self.armed = self.rang = False

    def read(self, offset: int) -> int:
        """Table timer."""
        shown = {0x00: self.now & WORD, 0x04: self.now_high, 0x10: int(self.rang)}
        return shown.get(offset, super().read(offset))

    def cycle(self, t: int) -> int:
        """Table timer: `ring` is RANG and CONTROL.0."""
        return int(self.rang) & self.control

    def edge(self, t: int, access: Access | None) -> None:
        """Table timer: a read of NOW keeps the high half; a set of RANG wins (rule 3)."""
        rings = self.armed and self.now & WORD == self.alarm
        super().edge(t, access)
        if access is not None and access.offset == 0x00 and not access.write:
            self.now_high = self.now >> 32 & WORD
        elif access is not None and access.offset == 0x08 and access.write:
            # READING: a write without any lane has not written ALARM (as for the memory).
            self.armed = self.armed or access.lanes != 0
        elif access is not None and access.offset == 0x10 and access.write:
            self.rang = self.rang and not ones(access.data, access.lanes) & 1
        self.rang = self.rang or rings
        self.now += 1


NAIVE = Timer
