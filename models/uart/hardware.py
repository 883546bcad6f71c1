"""The twin of the serial port in Amaranth: sender, receiver, the port with its registers.

Sender and receiver know no registers: a port with other registers instantiates them as this one does.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, ClassVar

from amaranth.hdl import Cat, Const, Module, Mux, Signal
from amaranth.lib import wiring
from amaranth.lib.cdc import FFSynchronizer
from amaranth.lib.wiring import In, Out

from busbox.bus.hardware import Hardware, NoteReader, Registers
from busbox.device import NO_ACCESS, BusAccess, Host
from busbox.models.uart.declaration import (
    FRAME_BITS,
    RX_FRAMING,
    RX_LOST,
    SYNCHRONISER_STAGES,
    TX_LOST,
    UartRegisters,
)

DIVISOR_BITS = 16


class SerialSenderHardware(wiring.Component):
    """Sends bytes on a line: a holding register of one byte in front of a shifter.

    Members
    -------
    put, byte : (in, 1 and 8) a byte for the holding register; dropped unless ``room`` is high
    clocks : (in, 16) cycles per bit, as of the cycle in which ``takes`` is high; 0 acts as 1
    line : (out, 1) the line, high while idle
    room : (out, 1) the holding register is empty
    busy : (out, 1) a byte is being sent or is queued
    takes : (out, 1) the shifter takes the byte at the end of this cycle: the line falls in the next
    ends : (out, 1) this is the last cycle of a stop bit

    Source
    ------
    8N1 frame: common practice, no source.
    """

    put: Any
    byte: Any
    clocks: Any
    line: Any
    room: Any
    busy: Any
    takes: Any
    ends: Any

    def __init__(self) -> None:
        super().__init__(
            {
                "put": In(1),
                "byte": In(8),
                "clocks": In(DIVISOR_BITS),
                "line": Out(1, init=1),
                "room": Out(1, init=1),
                "busy": Out(1),
                "takes": Out(1),
                "ends": Out(1),
            }
        )

    def elaborate(self, platform: object) -> Module:
        m = Module()
        held, full = Signal(8), Signal()
        # The bits still to come, the present one lowest. Ones follow: the stop bit, the idle line.
        frame = Signal(FRAME_BITS - 1, init=(1 << FRAME_BITS - 1) - 1)
        left = Signal(range(FRAME_BITS + 1))  # bits that are not over, the present one included
        length = Signal(DIVISOR_BITS)  # cycles of a bit, less one
        clock = Signal(DIVISOR_BITS)  # cycles of the present bit that follow this one
        bit_ends = clock == 0
        m.d.comb += [
            self.line.eq(frame[0]),
            self.room.eq(~full),
            self.busy.eq(full | (left != 0)),
            self.ends.eq((left == 1) & bit_ends),
            self.takes.eq(full & ((left == 0) | self.ends)),
        ]
        # A byte put in the cycle of a take finds the register still full, and is dropped.
        with m.If(self.put & ~full):
            m.d.sync += [held.eq(self.byte), full.eq(1)]
        with m.If(self.takes):
            cycles = self.clocks - (self.clocks != 0)
            m.d.sync += [
                full.eq(0),
                frame.eq(Cat(Const(0, 1), held)),
                left.eq(FRAME_BITS),
                length.eq(cycles),
                clock.eq(cycles),
            ]
        with m.Elif(left != 0):
            m.d.sync += clock.eq(clock - 1)
            with m.If(bit_ends):
                m.d.sync += [
                    frame.eq(Cat(frame[1:], Const(1, 1))),
                    left.eq(left - 1),
                    clock.eq(length),
                ]
        return m


class SerialReceiverHardware(wiring.Component):
    """Receives bytes from a line: two synchroniser stages, a mid-bit sampler, a byte of room.

    Members
    -------
    line : (in, 1) the line, from outside the clock domain
    clocks : (in, 16) cycles per bit, as of the cycle in which the synchronised level falls; 0 acts as 1
    take : (in, 1) the byte that waits is taken at the end of this cycle
    ready, byte : (out, 1 and 8) a byte waits; the byte, 0 while none waits
    comes, lost, framing : (out, 1) this is the cycle of a stop sample: of a byte that will be there in
        the next cycle, of one that finds no room, of one without a stop bit
    arrived : (out, 8) the byte of that stop sample
    length : (out, 16) cycles of a bit, less one, that the byte under way is sampled with

    Source
    ------
    Sampling in the middle of a bit: common practice, no source.
    """

    line: Any
    clocks: Any
    take: Any
    ready: Any
    byte: Any
    comes: Any
    lost: Any
    framing: Any
    arrived: Any
    length: Any

    def __init__(self) -> None:
        super().__init__(
            {
                "line": In(1, init=1),
                "clocks": In(DIVISOR_BITS),
                "take": In(1),
                "ready": Out(1),
                "byte": Out(8),
                "comes": Out(1),
                "lost": Out(1),
                "framing": Out(1),
                "arrived": Out(8),
                "length": Out(DIVISOR_BITS),
            }
        )

    def elaborate(self, platform: object) -> Module:
        m = Module()
        level = Signal(init=1)
        m.submodules.synchroniser = FFSynchronizer(
            self.line, level, init=1, stages=SYNCHRONISER_STAGES, reset_less=False
        )
        stops = self._sample(m, level)
        self._keep(m, stops, level)
        return m

    def _sample(self, m: Module, level: Signal) -> Signal:
        """Add the sampler; return what is high in the cycle of a stop sample."""
        before = Signal(init=1)
        busy = Signal()
        place = Signal(range(FRAME_BITS))  # of the next sample: 0 start check, 1 to 8 data, 9 stop
        wait = Signal(DIVISOR_BITS)  # cycles from this one to the next sample
        length = self.length
        bits = Signal(8)
        cycles = self.clocks - (self.clocks != 0)
        half = self.clocks >> 1
        stops = Signal()
        m.d.sync += before.eq(level)
        m.d.comb += [
            self.arrived.eq(bits),
            stops.eq(busy & (wait == 0) & (place == FRAME_BITS - 1)),
        ]
        with m.If(busy & (wait != 0)):
            m.d.sync += wait.eq(wait - 1)
        with m.Elif(busy):
            m.d.sync += [bits.eq(Cat(bits[1:], level)), place.eq(place + 1), wait.eq(length)]
            with m.If(stops | ((place == 0) & level)):  # the end, or a false start
                m.d.sync += busy.eq(0)
        with m.Elif(before & ~level):
            m.d.sync += [busy.eq(1), length.eq(cycles), place.eq(0), wait.eq(half - 1)]
            with m.If(half == 0):  # the start check is in this very cycle, and the line is low
                m.d.sync += [place.eq(1), wait.eq(cycles)]
        return stops

    def _keep(self, m: Module, stops: Signal, stop: Signal) -> None:
        """Add the byte of room; a byte taken in the cycle of a stop sample leaves room for that one."""
        waiting = Signal(8)
        full = self.ready & ~self.take
        m.d.comb += [
            self.byte.eq(Mux(self.ready, waiting, 0)),
            self.comes.eq(stops & stop & ~full),
            self.lost.eq(stops & stop & full),
            self.framing.eq(stops & ~stop),
        ]
        m.d.sync += self.ready.eq(full | self.comes)
        with m.If(self.comes):
            m.d.sync += waiting.eq(self.arrived)


class UartNoteReader(NoteReader):
    """Turns the port's notes into text and events, each with the access that caused it."""

    needed_accesses = "last"

    def __init__(self, host: Host, **settings: Any) -> None:
        super().__init__(host, **settings)
        self._access: BusAccess | None = None
        self._held = self._sent = (0, NO_ACCESS)
        self._by_itself = self._reset = -1

    def access(self, access: BusAccess) -> None:
        """Remember it: a byte put or lost in this cycle is that of this access."""
        self._access = access

    def take_notes(self, cycle: int, notes: Mapping[str, int]) -> None:
        """Report the end of a byte, and what was lost; follow the bytes that are put and taken."""
        if notes["ends"]:
            self.host.character(cycle, *self._sent)
        if notes["takes"]:
            self._sent = self._held
        if notes["framing"]:
            self.host.event(cycle, "framing", byte=notes["arrived"], clocks=notes["length"] + 1)
        if notes["rx_lost"]:
            self.host.event(cycle, "rx-lost", byte=notes["arrived"])
        if notes["moves"]:
            self._by_itself = cycle + 1
        if self._access is not None and self._access.cycle == cycle:
            byte, number = self._access.data & 0xFF, self._access.number
            if notes["puts"]:
                self._held = byte, number
            if notes["tx_lost"]:
                self.host.event(cycle, "byte-lost", number, byte=byte)

    def cause(self, pin: str, cycle: int) -> int:
        """Return the write of the byte on ``tx``, or the access that moved ``interrupt``."""
        if cycle == self._reset:
            return NO_ACCESS
        if pin == "tx":
            return self._sent[1]
        if self._access is None or self._access.cycle != cycle - 1 or self._by_itself == cycle:
            return NO_ACCESS
        return self._access.number

    def reset(self, cycle: int, length: int) -> None:
        """Remember the cycle in which the reset, and no access, puts the pins to their levels."""
        self._reset = cycle + 1


class UartHardware(UartRegisters, Hardware):
    """The serial port. Registers, pins and timing: see :class:`busbox.models.uart.Uart`."""

    note_reader: ClassVar[type[NoteReader]] = UartNoteReader

    pin_tx: Any
    pin_rx: Any
    pin_interrupt: Any

    @classmethod
    def note_widths(cls, settings: Mapping[str, Any]) -> dict[str, int]:
        """Return the notes: seven that something happens in this cycle, and of the byte received."""
        flags = ("puts", "tx_lost", "takes", "ends", "rx_lost", "framing", "moves")
        return {**dict.fromkeys(flags, 1), "arrived": 8, "length": DIVISOR_BITS}

    def build(self, m: Module, registers: Registers) -> None:
        """Add sender, receiver, flags and interrupt."""
        m.submodules.sender = sender = SerialSenderHardware()
        m.submodules.receiver = receiver = SerialReceiverHardware()
        data, status, divisor = registers.DATA, registers.STATUS, registers.DIVISOR.value
        tx_lost = data.written & ~sender.room
        m.d.comb += [
            sender.put.eq(data.written),
            sender.byte.eq(data.after),
            sender.clocks.eq(divisor),
            receiver.line.eq(self.pin_rx),
            receiver.clocks.eq(divisor),
            receiver.take.eq(data.taken),
            status.sets.eq(
                Mux(tx_lost, TX_LOST, 0)
                | Mux(receiver.lost, RX_LOST, 0)
                | Mux(receiver.framing, RX_FRAMING, 0)
            ),
            self.pin_tx.eq(sender.line),
            self.at_rest.eq(~sender.busy),
        ]
        data.show(receiver.byte)
        status.show(Cat(sender.room, sender.busy, receiver.ready) | status.value)
        on_room, on_ready = registers.INTERRUPT.value
        m.d.comb += self.pin_interrupt.eq((on_room & sender.room) | (on_ready & receiver.ready))
        # What the pin would be in the next cycle if no access ended in this one.
        coming = (on_room & (sender.room | sender.takes)) | (
            on_ready & (receiver.ready | receiver.comes)
        )
        happens = {
            "puts": data.written & sender.room,
            "tx_lost": tx_lost,
            "takes": sender.takes,
            "ends": sender.ends,
            "rx_lost": receiver.lost,
            "framing": receiver.framing,
            "moves": coming ^ self.pin_interrupt,
        }
        m.d.comb += self.notes_valid.eq(Cat(*happens.values()).any())
        received = {"arrived": receiver.arrived, "length": receiver.length}
        for name, value in {**happens, **received}.items():
            m.d.comb += getattr(self, f"note_{name}").eq(value)
