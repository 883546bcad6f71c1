"""The serial port in Python: sender, receiver, and the model with its registers."""

from __future__ import annotations

from typing import Any, ClassVar

from busbox.device import NO_ACCESS, Host, RegisterModel, Write
from busbox.models.uart.declaration import (
    FRAME_BITS,
    ON_READY,
    ON_ROOM,
    RX_FRAMING,
    RX_LOST,
    RX_READY,
    SYNCHRONISER_STAGES,
    TX_BUSY,
    TX_LOST,
    TX_ROOM,
    UartRegisters,
)


class SerialSender:
    """Sends bytes on a line: a holding register of one byte in front of a shifter.

    Attributes
    ----------
    clocks : cycles per bit that the next byte will have; 0 acts as 1

    Timing
    ------
    A byte put in cycle e is in the holding register from e + 1 on. The shifter takes it at the end of
    the first cycle in which it is idle, or of the last cycle of its stop bit: from idle the line
    falls in e + 2, and bytes in a row are exactly 10 x clocks apart. ``clocks`` counts as of the
    cycle before the fall.
    """

    def __init__(self, host: Host, pin: str, clocks: int) -> None:
        self.host = host
        self.pin = pin
        self.clocks = clocks
        self.clear(0)

    def clear(self, cycle: int) -> None:
        """Forget everything; idle from ``cycle`` on."""
        self._held: tuple[int, int] | None = None
        self._held_from = cycle
        self._idle_from = cycle

    @property
    def room(self) -> bool:
        """Whether the holding register is empty."""
        return self._held is None

    def busy(self, cycle: int) -> bool:
        """Return whether a byte is being sent or is queued in ``cycle``."""
        return self._held is not None or cycle < self._idle_from

    def _fall(self) -> int:
        return max(self._held_from + 1, self._idle_from)

    def due(self) -> int | None:
        """Return the cycle in which the line falls for the byte held, or None."""
        return None if self._held is None else self._fall()

    def forward(self, cycle: int) -> None:
        """Bring the sender to ``cycle``: the byte held is taken if the line falls by then."""
        if self._held is None or self._fall() > cycle:
            return
        byte, access = self._held
        fall, clocks = self._fall(), max(1, self.clocks)
        frame = byte << 1 | 1 << 9
        for bit in range(FRAME_BITS):
            self.host.edge(self.pin, fall + bit * clocks, frame >> bit & 1, access)
        self._held = None
        self._idle_from = fall + FRAME_BITS * clocks
        self.host.character(self._idle_from - 1, byte, access)

    def put(self, cycle: int, byte: int, access: int) -> bool:
        """Queue a byte written in ``cycle``; return False if there was no room for it."""
        if self._held is not None:
            return False
        self._held, self._held_from = (byte, access), cycle + 1
        return True

    def next_status(self, cycle: int) -> int | None:
        """Return the first cycle after ``cycle`` in which room or busy may change."""
        if self._held is not None:
            return self._fall()
        return self._idle_from if cycle < self._idle_from else None

    def rest_at(self, cycle: int) -> int:
        """Return the first cycle from ``cycle`` on in which nothing is being sent or queued."""
        if self._held is None:
            return max(cycle, self._idle_from)
        return max(cycle, self._fall() + FRAME_BITS * max(1, self.clocks))


class SerialReceiver:
    """Receives bytes from a line: two synchroniser stages, a mid-bit sampler, a byte of room.

    Attributes
    ----------
    clocks : cycles per bit that the next byte will have; 0 acts as 1
    byte : the byte that waits, or None
    taken : cycles per bit that the byte under way, or the last one, is sampled with

    Timing
    ------
    A level on the line from cycle c is the synchronised level from c + 2. A fall of that is a
    start; with D cycles per bit as of cycle c + 2, the samples are in the cycles c + 2 + D // 2 +
    k D, k = 0 (start check) to 9 (stop). The next start is searched for from the cycle after the
    last sample.

    Source
    ------
    Sampling in the middle of a bit: common practice, no source.
    """

    def __init__(self, clocks: int) -> None:
        self.clocks = clocks
        self._line = 1
        self.clear(0)

    def clear(self, origin: int) -> None:
        """Reset; a level that is there counts as from ``origin`` on."""
        self.byte: int | None = None
        self._origin = origin
        self._level = 1
        self._changes: list[tuple[int, int]] = []
        self._sample: int | None = None
        self.taken = max(1, self.clocks)
        self._search = origin
        if not self._line:
            self._changes.append((origin + SYNCHRONISER_STAGES, 0))

    def put(self, cycle: int, level: int) -> None:
        """Take a level that is on the line from ``cycle`` on."""
        self._line = level
        through = max(cycle, self._origin) + SYNCHRONISER_STAGES
        if self._changes and self._changes[-1][0] == through:
            self._changes.pop()
        last = self._changes[-1][1] if self._changes else self._level
        if level != last:
            self._changes.append((through, level))

    def due(self) -> int | None:
        """Return the next cycle in which something of the receiver may change."""
        if self._sample is not None:
            return self._sample + 1
        return self._changes[0][0] if self._changes else None

    def step(self, cycle: int) -> tuple[int, int, int] | None:
        """Do what is due in ``cycle``; return (cycle of the stop sample, byte, stop level) of a
        byte.
        """
        if self._sample is None:
            before, self._level = self._level, self._changes.pop(0)[1]
            if before and not self._level and cycle >= self._search:
                self._bits, self._count = 0, 0
                self.taken = max(1, self.clocks)
                self._sample = cycle + self.taken // 2
            return None
        return self._take(self._sample)

    def _take(self, cycle: int) -> tuple[int, int, int] | None:
        """Take the sample of ``cycle``."""
        while self._changes and self._changes[0][0] <= cycle:
            self._level = self._changes.pop(0)[1]
        count, self._count = self._count, self._count + 1
        if count == 0 and self._level:
            self._finish(cycle)
        elif count == FRAME_BITS - 1:
            self._finish(cycle)
            return cycle, self._bits, self._level
        else:
            self._bits |= self._level << count - 1 if count else 0
            self._sample = cycle + self.taken
        return None

    def _finish(self, cycle: int) -> None:
        self._sample, self._search = None, cycle + 1


class Uart(UartRegisters, RegisterModel):
    """A serial port; its lines idle high.

    Registers
    ---------
    ==== ========= ========== ======= ==============================================================
    0x00 DATA      rw                 a write of lane 0 sends; a read of lane 0 takes the byte, or 0
    0x04 STATUS    ro         1       0 TX_ROOM, 1 TX_BUSY, 2 RX_READY; ones_clear: 3 RX_LOST,
                                      4 RX_FRAMING, 5 TX_LOST
    0x08 DIVISOR   rw         setting bits 15..0, cycles per bit; 0 acts as 1
    0x0C INTERRUPT rw         0       bit 0 on TX_ROOM, bit 1 on RX_READY
    ==== ========= ========== ======= ==============================================================

    Pins
    ----
    ``tx`` output, 1 after reset; ``rx`` input, 1 while nothing drives it; ``interrupt`` output,
    whose edges belong to the access that caused them (to none, if they happened anyway).

    Timing
    ------
    DATA written in e from idle: the line falls in e + 2 (see :class:`SerialSender`). DIVISOR counts as
    a read in the cycle before the fall would show it. A byte written without room is lost:
    TX_LOST from e + 1, event ``byte-lost``. A byte counts as text at the end of its stop bit.
    Receive: see :class:`SerialReceiver`; RX_READY from the cycle after the last sample. A byte
    that arrives before the last one was read is lost (RX_LOST, event ``rx-lost``), unless that one is
    read in the cycle of the last sample; one without a stop bit too (RX_FRAMING, event ``framing``).
    At rest when TX_BUSY is 0.

    Source
    ------
    8N1 frame: common practice. The default divisor is the nearest whole number to clock / 115200.
    """

    twin: ClassVar[str] = "busbox.models.uart.hardware:UartHardware"

    def __init__(self, host: Host, **settings: Any) -> None:
        super().__init__(host, **settings)
        self.sender = SerialSender(host, "tx", self.stored["DIVISOR"])
        self.receiver = SerialReceiver(self.stored["DIVISOR"])

    def input(self, cycle: int, pin: str, level: int) -> None:
        """Take a level of ``rx``."""
        self.advance(cycle)
        self.receiver.put(cycle, level)

    def forward(self, cycle: int, access: int = NO_ACCESS) -> None:
        """Bring sender and receiver forward, change by change; ``access`` is what caused it."""
        while (due := self._due()) is not None and due <= cycle:
            self.sender.forward(due)
            if self.receiver.due() == due:
                received = self.receiver.step(due)
                if received is not None:
                    self._receive(*received)
            self._interrupt(due, access)

    def close(self, cycle: int) -> None:
        """End the run; a stop sample of the last cycle is reported."""
        self.forward(cycle + 1)

    def _due(self) -> int | None:
        cycles = [cycle for cycle in (self.sender.due(), self.receiver.due()) if cycle is not None]
        return min(cycles, default=None)

    def _receive(self, cycle: int, byte: int, stop: int) -> None:
        """Take a byte whose stop sample was in ``cycle``."""
        if not stop:
            self.stored["STATUS"] |= RX_FRAMING
            self.host.event(cycle, "framing", byte=byte, clocks=self.receiver.taken)
        elif self.receiver.byte is not None:
            self.stored["STATUS"] |= RX_LOST
            self.host.event(cycle, "rx-lost", byte=byte)
        else:
            self.receiver.byte = byte

    def _interrupt(self, cycle: int, access: int) -> None:
        on = self.stored["INTERRUPT"]
        level = (on & ON_ROOM and self.sender.room) or (
            on & ON_READY and self.receiver.byte is not None
        )
        self.host.edge("interrupt", cycle, int(bool(level)), access)

    def next_edge(self, cycle: int) -> int | None:
        """Return the cycle in which a byte begins, or the receiver goes on."""
        due = self._due()
        return None if due is None else max(due, cycle + 1)

    def clear(self) -> None:
        """Reset; a byte under way is cut."""
        self.sender.clocks = self.receiver.clocks = self.stored["DIVISOR"]
        self.sender.clear(self.cycle)
        self.receiver.clear(self.cycle)

    def show_DATA(self) -> int:
        """Show the byte that waits, or 0."""
        return self.receiver.byte or 0

    def show_STATUS(self) -> int:
        """Show room, busy, ready and the flags."""
        return (
            (TX_ROOM if self.sender.room else 0)
            | (TX_BUSY if self.sender.busy(self.cycle) else 0)
            | (RX_READY if self.receiver.byte is not None else 0)
            | self.stored["STATUS"] & (RX_LOST | RX_FRAMING | TX_LOST)
        )

    def cacheable_until_STATUS(self) -> int | None:
        """Return the next cycle in which sender or receiver may change."""
        cycles = (self.sender.next_status(self.cycle), self.receiver.due())
        return min((cycle for cycle in cycles if cycle is not None), default=None)

    def read_DATA(self, number: int) -> None:
        """Take the byte, leaving room for one that ends in this very cycle."""
        if self.receiver.byte is None:
            return
        shows = self.cycle + 1
        self.sender.forward(shows)
        self._interrupt(shows, NO_ACCESS)  # as it would be without the read: the byte still waits
        self.receiver.byte = None
        self.forward(shows, number)
        self._interrupt(shows, number)

    def write_DATA(self, write: Write) -> None:
        """Send a byte, or lose it."""
        room = self.sender.room
        self.forward(write.shows)
        if room and self.sender.put(write.cycle, write.value & 0xFF, write.number):
            self._interrupt(write.shows, write.number)
        else:
            self.stored["STATUS"] |= TX_LOST
            self.host.event(write.cycle, "byte-lost", write.number, byte=write.value & 0xFF)

    def write_STATUS(self, write: Write) -> None:
        """Clear flags; an event in this very cycle wins."""
        self.forward(write.shows)

    def write_DIVISOR(self, write: Write) -> None:
        """Change the cycles per bit of bytes that fall two cycles from now or later."""
        self.sender.forward(write.shows)
        self._interrupt(write.shows, NO_ACCESS)
        self.sender.clocks = self.receiver.clocks = write.value

    def write_INTERRUPT(self, write: Write) -> None:
        """Choose what raises the interrupt."""
        self.stored["INTERRUPT"] = write.before
        self.forward(write.shows)  # as it would be without the write
        self.stored["INTERRUPT"] = write.value
        self._interrupt(write.shows, write.number)

    def rest_at(self, cycle: int) -> int:
        """Return the first cycle with TX_BUSY = 0."""
        return self.sender.rest_at(cycle)
