"""The twin of the sender for lamps in Amaranth: the working part, the sender with its registers.

The working part knows no registers: a sender with other registers instantiates it as this one does.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, ClassVar

from amaranth.hdl import Cat, Module, Mux, Signal
from amaranth.lib import enum, wiring
from amaranth.lib.wiring import In, Out

from busbox.bus.hardware import Hardware, NoteReader, Registers
from busbox.device import NO_ACCESS, BusAccess, Host
from busbox.models.pulse_led.declaration import (
    BUSY,
    CHANNEL_BITS,
    MISSED,
    SHIFTS,
    PulseLedRegisters,
    halves,
    oddities,
)

CYCLE_BITS = 16


class Phase(enum.Enum):
    """What the sender does in a cycle: nothing, the bits of a lamp, the gap after the last one."""

    IDLE = 0
    BITS = 1
    GAP = 2


class PulseSenderHardware(wiring.Component):
    """Puts a frame of colours on a line, pulse by pulse.

    Members
    -------
    start : (in, 1) a frame begins in the next cycle; ignored while a frame is under way, except in
        ``last_gap``, where the next frame follows at once
    count : (in) lamps that it will send, 0 to those built
    zero_high, one_high, period, gap : (in, 16 each) its cycle counts, as in
        :class:`busbox.models.pulse_led.PulseTiming`; a period or gap of 0 acts as 1
    lamp, colour : (out and in) the lamp that comes next, and its colour as of this cycle
    line : (out, 1) the line, driven by a register: no pulse has a glitch
    busy, last_gap : (out, 1) a frame is under way; this is its last cycle, the last one of its gap
    begins, lamp_begins : (out, 1) this is the first cycle of a frame; of the first bit of a lamp
    sent : (out) the colour of the lamp that begins

    Parameters
    ----------
    lamps : number of lamps built
    order : channels in their order on the wire, such as GRB

    Source
    ------
    Bits of one length with a short or a long pulse, then a gap: common practice, no source.
    """

    start: Any
    count: Any
    zero_high: Any
    one_high: Any
    period: Any
    gap: Any
    lamp: Any
    colour: Any
    line: Any
    busy: Any
    last_gap: Any
    begins: Any
    lamp_begins: Any
    sent: Any

    def __init__(self, lamps: int, order: str) -> None:
        self._shifts = [SHIFTS[channel] for channel in order]
        self._bits = CHANNEL_BITS * len(order)
        super().__init__(
            {
                "start": In(1),
                "count": In(range(lamps + 1)),
                "zero_high": In(CYCLE_BITS),
                "one_high": In(CYCLE_BITS),
                "period": In(CYCLE_BITS),
                "gap": In(CYCLE_BITS),
                "lamp": Out(range(lamps)),
                "colour": In(self._bits),
                "line": Out(1),
                "busy": Out(1),
                "last_gap": Out(1),
                "begins": Out(1),
                "lamp_begins": Out(1),
                "sent": Out(self._bits),
            }
        )

    def elaborate(self, platform: object) -> Module:
        m = Module()
        phase = Signal(Phase)
        clock = Signal(CYCLE_BITS)  # cycles of the present bit, or of the gap, that follow this one
        bits = Signal(self._bits)  # of the lamp, as they go on the wire: the present one is on top
        place = Signal(range(self._bits))  # bits of the lamp that follow the present one
        left = Signal.like(self.count)  # lamps that follow the present one
        pulse = Signal(CYCLE_BITS)  # cycles for which the line is still to be high, with this one

        starts = Signal()
        now = self._clocks(m, starts)
        ends = clock == 0
        bit_ends = (phase == Phase.BITS) & ends
        loads, shifts = Signal(), Signal()
        coming, coming_left, coming_pulse = (
            Signal.like(bits),
            Signal.like(left),
            Signal.like(pulse),
        )
        m.d.comb += [
            self.busy.eq(phase != Phase.IDLE),
            self.last_gap.eq((phase == Phase.GAP) & ends),
            starts.eq(self.start & (~self.busy | self.last_gap)),
            loads.eq(Mux(starts, self.count != 0, bit_ends & (place == 0) & (left != 0))),
            shifts.eq(bit_ends & (place != 0)),
            coming.eq(Mux(loads, self._on_wire(self.colour), bits << 1)),
            coming_left.eq(Mux(starts, self.count, left) - 1),
            self.sent.eq(self._off_wire(bits)),
        ]
        m.d.sync += [self.begins.eq(starts), self.lamp_begins.eq(loads)]
        with m.If(~ends):
            m.d.sync += clock.eq(clock - 1)

        # Where nothing below says otherwise the line is low in the next cycle (coming_pulse is 0).
        with m.If(loads | shifts):  # a bit begins in the next cycle
            high = Mux(coming[-1], now["one_high"], now["zero_high"])
            m.d.comb += coming_pulse.eq(high)
            m.d.sync += [phase.eq(Phase.BITS), bits.eq(coming), clock.eq(now["period"])]
            m.d.sync += place.eq(Mux(loads, self._bits - 1, place - 1))
        with m.Elif(starts | bit_ends):  # the gap begins in the next cycle
            m.d.sync += [phase.eq(Phase.GAP), clock.eq(now["gap"])]
        with m.Elif(self.last_gap):
            m.d.sync += phase.eq(Phase.IDLE)
        with m.Elif(pulse != 0):
            m.d.comb += coming_pulse.eq(pulse - 1)
        with m.If(loads):
            m.d.sync += [left.eq(coming_left), self.lamp.eq(self.lamp + 1)]
            with m.If(coming_left == 0):  # the next frame begins with lamp 0
                m.d.sync += self.lamp.eq(0)
        m.d.sync += [pulse.eq(coming_pulse), self.line.eq(coming_pulse != 0)]
        return m

    def _clocks(self, m: Module, starts: Signal) -> dict[str, Signal]:
        """Return the cycle counts of the frame as they hold in this cycle.

        They are kept from the cycle before its first bit on (``starts``): in that very cycle they
        are not kept yet, and come from the ports.
        """
        counts = {
            "zero_high": self.zero_high,
            "one_high": self.one_high,
            "period": self.period - (self.period != 0),  # less one: cycles after the first
            "gap": self.gap - (self.gap != 0),
        }
        kept, now = {}, {}
        for name, count in counts.items():
            kept[name], now[name] = Signal(CYCLE_BITS), Signal(CYCLE_BITS, name=f"now_{name}")
            m.d.comb += now[name].eq(Mux(starts, count, kept[name]))
            m.d.sync += kept[name].eq(now[name])
        return now

    def _on_wire(self, colour: Any) -> Any:
        """Return the bits of a colour as they go on the wire, the first on top."""
        return Cat(colour[shift : shift + CHANNEL_BITS] for shift in reversed(self._shifts))

    def _off_wire(self, bits: Any) -> Any:
        """Return the colour that :meth:`_on_wire` gave ``bits`` for."""
        channels = {
            shift: bits.word_select(place, CHANNEL_BITS)
            for place, shift in enumerate(reversed(self._shifts))
        }
        return Cat(channels[shift] for shift in sorted(channels))


class PulseLedNoteReader(NoteReader):
    """Turns the sender's notes into frames with their colours, and into odd or missed frames."""

    needed_accesses = "last write"

    def __init__(self, host: Host, **settings: Any) -> None:
        super().__init__(host, **settings)
        self._access = self._started_by = NO_ACCESS
        self._coming = (0, 0, 0)
        self._idle_from = 0
        self._colours: list[int] = []
        self._reset = -1

    def access(self, access: BusAccess) -> None:
        """Remember it: a SEND that starts a frame, or is missed, in this cycle is this access."""
        self._access = access.number

    def take_notes(self, cycle: int, notes: Mapping[str, int]) -> None:
        """Report a frame in its first cycle, a lamp with its first bit, a SEND that was missed."""
        if notes["begins"]:
            self._report(cycle)
        if notes["lamp"]:
            self._colours.append(notes["colour"])
        if notes["fresh"]:
            self._started_by = self._access
        if notes["starts"]:
            self._coming = notes["count"], notes["high"], notes["period"]
            self._idle_from = cycle + 1 + self._cycles(notes["count"], notes["period"])
        if notes["missed"]:
            idle = self._idle_from
            self.host.event(cycle, "frame-missed", self._access, idle_from=idle)

    def _report(self, cycle: int) -> None:
        """Report the frame that was started in the cycle before."""
        count, high, period = self._coming
        self._colours = []  # filled lamp by lamp, as they are sent
        kind = "frame" if count else "frame-empty"
        self.host.event(cycle, kind, self._started_by, colours=self._colours)
        for odd in oddities(high, period, count > self.options["lamps"]):
            self.host.event(cycle, odd, self._started_by)

    def _cycles(self, count: int, period: int) -> int:
        """Return the cycles of a frame, its gap included."""
        bit, gap = halves(period)
        bits: int = CHANNEL_BITS * self.options["channels"] * min(count, self.options["lamps"])
        return bits * max(1, bit) + max(1, gap)

    def cause(self, pin: str, cycle: int) -> int:
        """Return the SEND that the frame under way goes back to."""
        return NO_ACCESS if cycle == self._reset else self._started_by

    def reset(self, cycle: int, length: int) -> None:
        """Remember the cycle in which the reset, and no access, puts the line to its level."""
        self._reset = cycle + 1


class PulseLedHardware(PulseLedRegisters, Hardware):
    """The sender for lamps. Registers, pins, timing: see :class:`busbox.models.pulse_led.PulseLed`."""

    note_reader: ClassVar[type[NoteReader]] = PulseLedNoteReader

    pin_line: Any

    @classmethod
    def note_widths(cls, settings: Mapping[str, Any]) -> dict[str, int]:
        """Return the notes: five that something happens in this cycle, a colour, three registers."""
        flags = dict.fromkeys(("begins", "lamp", "starts", "fresh", "missed"), 1)
        colour = {"colour": CHANNEL_BITS * settings["channels"]}
        return flags | colour | dict.fromkeys(("count", "high", "period"), 32)

    def build(self, m: Module, registers: Registers) -> None:
        """Add the sender, what starts it, and the port that it reads colours from."""
        lamps = self.options["lamps"]
        m.submodules.sender = sender = PulseSenderHardware(lamps, self.order_for(self.options))
        colours = registers.memory("COLOUR").read_port(domain="comb")
        count, high, period = (
            registers.COUNT.value,
            registers.HIGH.value,
            registers.PERIOD.value,
        )
        send, repeat = registers.CONTROL.ones[0], registers.CONTROL.value[1]
        fresh, again = send & ~sender.busy, repeat & sender.last_gap
        missed = send & sender.busy
        m.d.comb += [
            sender.start.eq(fresh | again),
            sender.count.eq(Mux(count > lamps, lamps, count)),
            Cat(sender.zero_high, sender.one_high).eq(high),
            Cat(sender.period, sender.gap).eq(period),
            colours.addr.eq(sender.lamp),
            sender.colour.eq(colours.data),
            registers.STATUS.sets.eq(Mux(missed, MISSED, 0)),
            self.pin_line.eq(sender.line),
            # A sender that repeats is at rest once per frame: in the cycle before the next one.
            self.at_rest.eq(~sender.busy | again),
        ]
        registers.STATUS.show(Mux(sender.busy, BUSY, 0) | registers.STATUS.value)
        happens = {
            "begins": sender.begins,
            "lamp": sender.lamp_begins,
            "starts": sender.start,
            "fresh": fresh,
            "missed": missed,
        }
        shows = {"colour": sender.sent, "count": count, "high": high, "period": period}
        m.d.comb += self.notes_valid.eq(Cat(*happens.values()).any())
        for name, value in {**happens, **shows}.items():
            m.d.comb += getattr(self, f"note_{name}").eq(value)
