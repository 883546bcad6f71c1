"""A device for tests only, whose accesses are held, or end with ERR."""

from __future__ import annotations

from typing import Any

from busbox.device import ERROR, Answer, BusAccess, Hold, Host, RegisterModel, Setting
from busbox.map.registers import Register, RegisterTable


class Holder(RegisterModel):
    """PLAIN answers at once, SLOW after ``hold`` cycles, NEVER not at all, ANGRY with ERR."""

    settings = (Setting("hold", 0, low=0, high=1000, text="cycles that SLOW is held"),)
    table = RegisterTable(
        Register("PLAIN", 0x00),
        Register("SLOW", 0x04),
        Register("NEVER", 0x08),
        Register("ANGRY", 0x0C),
        Register("SLOW_ANGRY", 0x10),
    )

    def __init__(self, host: Host, **settings: Any) -> None:
        super().__init__(host, **settings)
        self._number = -1
        self._first = 0

    def access(self, access: BusAccess) -> Answer:
        """Hold, refuse or answer."""
        if access.number != self._number:
            self._number, self._first = access.number, access.cycle
        until = self._first + self.options["hold"]
        if access.offset == 0x08:
            return Hold()
        if access.offset in (0x04, 0x10) and access.cycle < until:
            return Hold(until)
        if access.offset in (0x0C, 0x10):
            return ERROR
        return super().access(access)
