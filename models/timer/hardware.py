"""A cycle counter with an alarm, in Amaranth: the twin of :class:`busbox.models.timer.Timer`."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from amaranth.hdl import Module, Signal

from busbox.bus.hardware import Hardware, NoteReader, Registers
from busbox.device import NO_ACCESS, BusAccess, Host
from busbox.models.timer.declaration import TimerRegisters


class TimerNoteReader(NoteReader):
    """Knows which access moved ``ring``."""

    needed_accesses = "last write"

    def __init__(self, host: Host, **settings: Any) -> None:
        super().__init__(host, **settings)
        self._last: BusAccess | None = None
        self._rang = -1

    def access(self, access: BusAccess) -> None:
        """Keep the last access."""
        self._last = access

    def take_notes(self, cycle: int, notes: Mapping[str, int]) -> None:
        """Keep the cycle in which a match set RANG."""
        self._rang = cycle

    def cause(self, pin: str, cycle: int) -> int:
        """Return the access that ended in the cycle before, unless a match raised the pin."""
        last = self._last
        if last is None or last.cycle + 1 != cycle or self._rang == last.cycle:
            return NO_ACCESS
        return last.number


class TimerHardware(TimerRegisters, Hardware):
    """A timer: registers, pin and timing as :class:`busbox.models.timer.Timer` says.

    Attributes
    ----------
    count : cycles since reset, 64 bits
    """

    note_reader = TimerNoteReader

    pin_ring: Any

    def build(self, m: Module, registers: Registers) -> None:
        """Add the count, the high word that a read of NOW keeps, and the comparison."""
        alarm, control, status = registers.ALARM, registers.CONTROL, registers.STATUS
        self.count = Signal(64)
        low, high = self.count[:32], self.count[32:]
        m.d.sync += self.count.eq(self.count + 1)

        kept = Signal(32)
        with m.If(registers.NOW.taken):
            m.d.sync += kept.eq(high)
        registers.NOW.show(low)
        registers.NOW_HIGH.show(kept)

        # ALARM resets to 0, which is not an alarm: only a written value counts.
        armed = Signal()
        with m.If(alarm.written):
            m.d.sync += armed.eq(1)
        matches = Signal()
        m.d.comb += [
            matches.eq(armed & (low == alarm.value)),
            status.sets.eq(matches),
            self.pin_ring.eq(status.value & control.value),
            # The match sets RANG: if the pin has an edge in the next cycle, no access did it.
            self.notes_valid.eq(matches & ~status.value),
        ]
