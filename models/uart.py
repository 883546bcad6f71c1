"""A serial port: 8 data bits, no parity, one stop bit (8N1)."""

from __future__ import annotations

from typing import Any

from busbox.device import Host, Pin, Setting
from busbox.model import RegisterModel, Write
from busbox.registers import Field, Register, RegisterTable

#: Bit times of a frame: start, eight data bits, stop. Source: common practice (8N1).
FRAME_BITS = 10

DATA = Register(
    "DATA", 0x00, "wo", "A write sends the low byte.", (Field("BYTE", 7, 0),), whole=0b0001
)
STATUS = Register(
    "STATUS",
    0x04,
    "ro",
    "What the port is doing.",
    (
        Field("TX_ROOM", 0, 0, reset=1, text="DATA can be written."),
        Field("TX_BUSY", 1, 1, text="A byte is being sent or waits."),
        Field("TX_LOST", 5, 5, "ones_clear", text="A byte was written without room, and lost."),
    ),
)
TX_ROOM, TX_BUSY, TX_LOST = (field.mask for field in STATUS.fields)


class SerialSender:
    """Sends bytes on a line: a holding register of one byte in front of a shifter.

    Attributes
    ----------
    clocks : clocks per bit that the next byte will have; 0 acts as 1

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
        """Return whether a byte is being sent or waits in ``cycle``."""
        return self._held is not None or cycle < self._idle_from

    def _fall(self) -> int:
        return max(self._held_from + 1, self._idle_from)

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
        """Put a byte written in ``cycle``; return False if there was no room for it."""
        if self._held is not None:
            return False
        self._held, self._held_from = (byte, access), cycle + 1
        return True

    def rest_at(self, cycle: int) -> int:
        """Return the first row from ``cycle`` on in which nothing is sent or waits."""
        if self._held is None:
            return max(cycle, self._idle_from)
        return max(cycle, self._fall() + FRAME_BITS * max(1, self.clocks))


class Uart(RegisterModel):
    """A serial port that sends; its line idles high.

    Registers
    ---------
    ==== ======= ========== ======= ==================================================
    0x00 DATA    wo                 a write of lane 0 sends the byte
    0x04 STATUS  ro         1       bit 0 TX_ROOM, bit 1 TX_BUSY, bit 5 TX_LOST (ones_clear)
    0x08 DIVISOR rw         setting bits 15..0, clocks per bit; 0 acts as 1
    ==== ======= ========== ======= ==================================================

    Pins
    ----
    ``tx`` output, 1 after reset.

    Timing
    ------
    DATA written in e from idle: the line falls in e + 2 (see :class:`SerialSender`). DIVISOR counts as
    a read in the cycle before the fall would show it. A byte written without room is dropped:
    TX_LOST from e + 1, event ``byte-lost``. A byte counts as text at the end of its stop bit.
    At rest when TX_BUSY is 0.

    Source
    ------
    8N1 frame: common practice. The default divisor is the nearest whole number to clock / 115200.
    """

    settings = (
        Setting(
            "divisor",
            low=1,
            high=0xFFFF,
            text="reset value of DIVISOR, clocks per bit (default: nearest for 115200 baud)",
        ),
    )
    table = RegisterTable(
        DATA,
        STATUS,
        Register("DIVISOR", 0x08, "rw", "Clocks per bit; 0 acts as 1.", width=16),
    )
    sends = ("text",)
    pins = (Pin("tx", "output", 1, "Serial data out."),)

    def __init__(self, host: Host, **settings: Any) -> None:
        super().__init__(host, **settings)
        nearest = (2 * host.clock_hz + 115_200) // (2 * 115_200)
        self.reset_divisor = settings["divisor"] or min(max(nearest, 1), 0xFFFF)
        self.stored["DIVISOR"] = self.reset_divisor
        self.sender = SerialSender(host, "tx", self.reset_divisor)

    def forward(self, cycle: int) -> None:
        """Bring the sender forward."""
        self.sender.forward(cycle)

    def clear(self) -> None:
        """Reset the sender; a byte under way is cut."""
        self.stored["DIVISOR"] = self.sender.clocks = self.reset_divisor
        self.sender.clear(self.cycle)

    def show_STATUS(self) -> int:
        """Show room, busy and the lost flag."""
        return (
            (TX_ROOM if self.sender.room else 0)
            | (TX_BUSY if self.sender.busy(self.cycle) else 0)
            | self.stored["STATUS"] & TX_LOST
        )

    def write_DATA(self, write: Write) -> None:
        """Send a byte, or lose it."""
        if not self.sender.put(write.cycle, write.value & 0xFF, write.number):
            self.stored["STATUS"] |= TX_LOST
            self.host.event(write.cycle, "byte-lost", write.number, byte=write.value & 0xFF)

    def write_DIVISOR(self, write: Write) -> None:
        """Change the clocks per bit of bytes that fall two cycles from now or later."""
        self.sender.forward(write.shows)
        self.sender.clocks = write.value

    def rest_at(self, cycle: int) -> int:
        """Return the first row with TX_BUSY = 0."""
        return self.sender.rest_at(cycle)
