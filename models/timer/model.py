"""A cycle counter with an alarm, in Python."""

from __future__ import annotations

from typing import Any, ClassVar

from busbox.device import NO_ACCESS, WORD, Host, RegisterModel, Write
from busbox.models.timer.declaration import RANG, TimerRegisters


class Timer(TimerRegisters, RegisterModel):
    """Counts cycles, and sets a flag when the count reaches ALARM.

    Registers
    ---------
    ==== ======== ========== ===== =========================================================
    0x00 NOW      ro         0     low 32 bits of the cycles since reset
    0x04 NOW_HIGH ro         0     high 32 bits, as of the last read of NOW
    0x08 ALARM    rw         0     count at which the alarm rings
    0x0C CONTROL  rw         0     bit 0 enables the interrupt
    0x10 STATUS   ones_clear 0     bit 0 RANG
    ==== ======== ========== ===== =========================================================

    Pins
    ----
    ``ring`` output: RANG and CONTROL.0.

    Timing
    ------
    NOW reads t in cycle t (t - t0 after a reset whose cycle r + L is t0). RANG is set at the end of the
    cycle with NOW == ALARM, if ALARM has been written since reset; a clear in that same cycle loses.
    A write of ALARM in e counts from e + 1. Always at rest.
    """

    twin: ClassVar[str] = "busbox.models.timer.hardware:TimerHardware"

    def __init__(self, host: Host, **settings: Any) -> None:
        super().__init__(host, **settings)
        self._alarm: int | None = None
        self._start = 0
        self._compared = 0

    def forward(self, cycle: int) -> None:
        """Compare NOW with ALARM in every cycle before ``cycle``."""
        match = self._match()
        if match is not None and match < cycle:
            # A match causes an edge only where it sets RANG while CONTROL enables the interrupt.
            rises = self.stored["CONTROL"] and not self.stored["STATUS"]
            self.stored["STATUS"] |= RANG
            if rises:
                self._ring(match + 1, NO_ACCESS)
        self._compared = max(self._compared, cycle)

    def _match(self) -> int | None:
        """Return the first cycle, of those not compared yet, in which NOW is ALARM."""
        if self._alarm is None:
            return None
        return self._compared + ((self._alarm - self._compared + self._start) & WORD)

    def _ring(self, cycle: int, access: int) -> None:
        level = self.stored["STATUS"] & self.stored["CONTROL"] & RANG
        self.host.edge("ring", cycle, level, access)

    def next_edge(self, cycle: int) -> int | None:
        """Return the cycle after the next match."""
        match = self._match()
        return None if match is None else max(match, cycle) + 1

    def clear(self) -> None:
        """Start counting again, with no alarm."""
        self._start = self._compared = self.cycle
        self._alarm = None

    def show_NOW(self) -> int:
        """Show the count."""
        return self.cycle - self._start & WORD

    def cacheable_until_STATUS(self) -> int | None:
        """Return the cycle after the next match."""
        return self.next_edge(self.cycle)

    def read_NOW(self, number: int) -> None:
        """Latch the high word."""
        self.stored["NOW_HIGH"] = self.cycle - self._start >> 32

    def write_ALARM(self, write: Write) -> None:
        """Compare the present cycle with the old alarm, the next with the new one."""
        self.forward(write.shows)
        self._alarm = write.value

    def write_STATUS(self, write: Write) -> None:
        """Clear RANG; a match in the same cycle wins."""
        self.forward(write.shows)
        self._ring(write.shows, write.number)

    def write_CONTROL(self, write: Write) -> None:
        """Turn the interrupt on or off."""
        self.forward(write.shows)
        self._ring(write.shows, write.number)
