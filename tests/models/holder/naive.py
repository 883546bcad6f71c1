"""The naive model of holder: see tests/naive.py."""

from __future__ import annotations

from types import MappingProxyType

from tests.models.naive_device import WORD, Device


class Holder(Device):
    """Table holder."""

    names = MappingProxyType({"PLAIN": 0x00, "SLOW": 0x04})
    plain = MappingProxyType({0x00: ("quick", WORD), 0x04: ("slow", WORD)})

    def reset(self) -> None:
        """READING: the table names no reset value; 0, as everywhere."""
        self.quick = self.slow = 0

    def answer(self, offset: int, held: int) -> str:
        """Table holder; rule 4: k cycles more."""
        if offset == 0x08 or offset in (0x04, 0x10) and held < self.settings.get("hold", 0):
            return ""
        return "error" if offset in (0x0C, 0x10) else "ack"


NAIVE = Holder
