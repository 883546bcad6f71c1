"""The sender for lamps in Python: the working part, and the model with its registers."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, ClassVar

from busbox.device import NO_ACCESS, Host, RegisterModel, Write
from busbox.models.pulse_led.declaration import (
    BUSY,
    CHANNEL_BITS,
    MISSED,
    REPEAT,
    SEND,
    SHIFTS,
    PulseLedRegisters,
    halves,
    oddities,
)


@dataclass(frozen=True)
class PulseTiming:
    """The cycle counts of a frame; a period or gap of 0 acts as 1.

    Attributes
    ----------
    zero_high, one_high : cycles high of a zero bit and of a one bit
    period : cycles of a bit
    gap : cycles of the latch gap after the last bit
    """

    zero_high: int
    one_high: int
    period: int
    gap: int

    @classmethod
    def from_registers(cls, high: int, period: int) -> PulseTiming:
        """Read the counts out of the HIGH and PERIOD registers."""
        zero_high, one_high = halves(high)
        bit, gap = halves(period)
        return cls(zero_high, one_high, max(1, bit), max(1, gap))


class PulseSender:
    """Puts a frame of colours on a line, pulse by pulse.

    Attributes
    ----------
    colours : the colour memory, 0xRRGGBB (0xWWRRGGBB) for each lamp

    Timing
    ------
    A frame started with its first bit in cycle b ends with the cycle b + bits x lamps x period +
    gap - 1. A bit is high for its number of cycles (the whole bit, if that is not below the
    period), then low. Lamp n sends what its colour is in the cycle before its first bit.
    """

    def __init__(self, host: Host, pin: str, lamps: int, order: str) -> None:
        self.host = host
        self.pin = pin
        self.colours = [0] * lamps
        self._shifts = tuple(SHIFTS[channel] for channel in order)
        self.clear(0)

    @property
    def lamp_bits(self) -> int:
        """Bits that one lamp takes from the line."""
        return CHANNEL_BITS * len(self._shifts)

    def clear(self, cycle: int) -> None:
        """Forget the frame; idle from ``cycle`` on."""
        self._idle_from = cycle
        self._left = 0
        self._next_bit = cycle

    @property
    def idle_from(self) -> int:
        """The first cycle that the frame, its gap included, does not cover."""
        return self._idle_from

    def due(self, cycle: int) -> int | None:
        """Return the first cycle after ``cycle`` in which a lamp begins, or the line ends."""
        if self._left and self._next_bit > cycle:
            return self._next_bit
        return None

    def busy(self, cycle: int) -> bool:
        """Return whether a frame is under way in ``cycle``, its gap included."""
        return cycle < self._idle_from

    def start(self, first_bit: int, lamps: int, timing: PulseTiming, access: int) -> list[int]:
        """Start a frame; return the list that its colours will be put into as they are sent."""
        self._timing, self._access = timing, access
        self._lamp, self._left, self._next_bit = 0, lamps, first_bit
        self._sent: list[int] = []
        self._idle_from = first_bit + lamps * self.lamp_bits * timing.period + timing.gap
        return self._sent

    def forward(self, cycle: int) -> None:
        """Bring the sender to ``cycle``: every lamp whose first bit is there by then is taken."""
        while self._left and self._next_bit <= cycle:
            colour = self.colours[self._lamp]
            self._sent.append(colour)
            self._send(colour)
            self._lamp += 1
            self._left -= 1
            if not self._left:
                self.host.edge(self.pin, self._next_bit, 0, self._access)

    def _send(self, colour: int) -> None:
        timing, cycle = self._timing, self._next_bit
        edge, pin, access = self.host.edge, self.pin, self._access
        for shift in self._shifts:
            for bit in range(shift + CHANNEL_BITS - 1, shift - 1, -1):
                high = timing.one_high if colour >> bit & 1 else timing.zero_high
                edge(pin, cycle, 1 if high else 0, access)
                if 0 < high < timing.period:
                    edge(pin, cycle + high, 0, access)
                cycle += timing.period
        self._next_bit = cycle

    def rest_at(self, cycle: int) -> int:
        """Return the first cycle from ``cycle`` on that no frame covers."""
        return max(cycle, self._idle_from)


class PulseLed(PulseLedRegisters, RegisterModel):
    """Sends colours to a string of lamps: 8 bits a channel, most significant bit first.

    Registers
    ---------
    ======== ======= ========== ======= =======================================================
    0x00     CONTROL rw         0       bit 0 SEND (ones_act), bit 1 REPEAT
    0x04     STATUS  ro         0       bit 0 BUSY, bit 1 MISSED (ones_clear)
    0x08     COUNT   rw         setting number of lamps to send
    0x0C     HIGH    rw         setting high cycles: 15..0 of a 0 bit, 31..16 of a 1 bit
    0x10     PERIOD  rw         setting cycles: 15..0 of a bit, 31..16 of the latch gap
    0x100+4n COLOUR  rw                 colour of lamp n, 0x00RRGGBB (four channels: 0xWWRRGGBB);
                                        a memory: kept by a reset
    ======== ======= ========== ======= =======================================================

    Pins
    ----
    ``line`` output, 0 after reset.

    Timing
    ------
    SEND in e while idle: BUSY and the first bit from e + 1. COUNT, HIGH and PERIOD count as a read in
    the cycle before the first bit would show them, for the whole frame; a colour as a read in the
    cycle before the lamp's first bit. REPEAT is sampled in the last gap cycle: if it is set, the
    next frame follows without BUSY falling. SEND while BUSY is ignored: MISSED, event
    ``frame-missed``. A frame is an event ``frame`` in the cycle of its first bit, ``frame-empty`` with
    COUNT 0 (gap only). At rest when not BUSY; while it repeats, in the last gap cycle.

    Caution
    -------
    A long string draws more current than a board's pin or regulator can give: about 60 mA for each
    lamp at full white (common practice). Feed it from its own supply, fused and sized for it; a
    3.3 V pin may be below the input level of a 5 V string; bright flashing can harm people. Local
    codes and licensed practice decide.
    """

    twin: ClassVar[str] = "busbox.models.pulse_led.hardware:PulseLedHardware"

    def __init__(self, host: Host, **settings: Any) -> None:
        super().__init__(host, **settings)
        self.sender = PulseSender(host, "line", settings["lamps"], self.order_for(settings))
        self._started_by = NO_ACCESS
        self._under_way = False
        self._now = self._registers_now()

    def _registers_now(self) -> dict[str, int]:
        """Return the registers that shape a frame, as of the model's present cycle."""
        return {name: self.stored[name] for name in ("CONTROL", "COUNT", "HIGH", "PERIOD")}

    def forward(self, cycle: int) -> None:
        """Bring the sender forward, from frame to frame while it repeats."""
        self.sender.forward(cycle)
        while self._repeats and self.sender.idle_from <= cycle:
            self._start(self.sender.idle_from)
            self.sender.forward(cycle)

    @property
    def _repeats(self) -> bool:
        """Whether another frame follows the one under way, by the present REPEAT."""
        return bool(self._now["CONTROL"] & REPEAT) and self._under_way

    def _start(self, first_bit: int) -> None:
        """Start a frame, by the registers of the cycle before its first bit."""
        now, built = self._now, self.options["lamps"]
        timing = PulseTiming.from_registers(now["HIGH"], now["PERIOD"])
        access, asked = self._started_by, now["COUNT"]
        sent = self.sender.start(first_bit, min(asked, built), timing, access)
        self._under_way = True
        kind = "frame" if asked else "frame-empty"
        self.host.event(first_bit, kind, access, colours=sent)
        for kind in oddities(now["HIGH"], now["PERIOD"], asked > built):
            self.host.event(first_bit, kind, access)

    def next_edge(self, cycle: int) -> int | None:
        """Return the cycle in which the next lamp or the next frame begins."""
        due = self.sender.due(cycle)
        if due is None and self._repeats:
            return max(self.sender.idle_from, cycle + 1)
        return due

    def clear(self) -> None:
        """Reset the sender; a frame under way is cut."""
        self.sender.clear(self.cycle)
        self._under_way = False
        self._now = self._registers_now()

    def show_STATUS(self) -> int:
        """Show busy and the missed flag."""
        busy = BUSY if self.sender.busy(self.cycle) else 0
        return busy | self.stored["STATUS"] & MISSED

    def cacheable_until_STATUS(self) -> int | None:
        """Return the cycle in which the frame is over; idle, STATUS moves by a write alone."""
        return self.sender.idle_from if self.sender.busy(self.cycle) else None

    def write_COLOUR(self, write: Write) -> None:
        """Change a colour; a lamp whose first bit comes in the next cycle has the old one."""
        self.forward(write.shows)
        self.sender.colours[write.index] = write.value

    def write_COUNT(self, write: Write) -> None:
        """Let a frame that begins in the next cycle have the old count."""
        self._change("COUNT", write)

    def write_HIGH(self, write: Write) -> None:
        """Let a frame that begins in the next cycle have the old pulses."""
        self._change("HIGH", write)

    def write_PERIOD(self, write: Write) -> None:
        """Let a frame that begins in the next cycle have the old period."""
        self._change("PERIOD", write)

    def _change(self, name: str, write: Write) -> None:
        self.forward(write.shows)
        self._now[name] = write.value

    def write_CONTROL(self, write: Write) -> None:
        """Start a frame, or miss it; REPEAT takes effect from the next cycle on."""
        busy = self.sender.busy(write.cycle)
        self._change("CONTROL", write)
        self._under_way = self.sender.busy(write.shows)
        if not write.ones & SEND:
            return
        if busy:
            idle = self.sender.rest_at(write.cycle)
            self.stored["STATUS"] |= MISSED
            self.host.event(write.cycle, "frame-missed", write.number, idle_from=idle)
        else:
            self._started_by = write.number
            self._start(write.shows)

    def rest_at(self, cycle: int) -> int:
        """Return the first cycle with BUSY = 0; while it repeats, the last gap cycle."""
        self.advance(cycle)
        if self._repeats and self.sender.busy(cycle):
            return self.sender.idle_from - 1
        return self.sender.rest_at(cycle)
