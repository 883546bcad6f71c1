"""General-purpose inputs and outputs, in Amaranth: the twin of :class:`busbox.models.gpio.Gpio`."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from amaranth.hdl import Module, Signal
from amaranth.lib import wiring
from amaranth.lib.cdc import FFSynchronizer
from amaranth.lib.wiring import In, Out

from busbox.bus.hardware import Hardware, NoteReader, Registers
from busbox.device import NO_ACCESS, BusAccess, Host
from busbox.models.gpio.declaration import SYNCHRONISER_STAGES, GpioRegisters


class InputStage(wiring.Component):
    """Input pins behind synchroniser stages, and the edges that come out of them.

    Parameters
    ----------
    width : number of pins

    Members
    -------
    ``lines`` (in, width): levels on the pins; ``word`` (out, width): the synchronised levels;
    ``rose``, ``fell`` (out, width): pins whose bit in ``word`` is new in this cycle.

    Timing
    ------
    A level on a pin from cycle c is in ``word`` from c + 2; its edge is in ``rose`` or ``fell`` in
    cycle c + 2 alone. The stages are registers: a reset clears them, and a level that outlives it is an
    edge again. Source of the two stages: common practice, no source.
    """

    lines: Any
    word: Any
    rose: Any
    fell: Any

    def __init__(self, width: int) -> None:
        super().__init__(
            {"lines": In(width), "word": Out(width), "rose": Out(width), "fell": Out(width)}
        )

    def elaborate(self, platform: object) -> Module:
        m = Module()
        m.submodules.synchroniser = FFSynchronizer(
            self.lines, self.word, stages=SYNCHRONISER_STAGES, reset_less=False
        )
        before = Signal.like(self.word, name="before")
        m.d.sync += before.eq(self.word)
        m.d.comb += [self.rose.eq(self.word & ~before), self.fell.eq(before & ~self.word)]
        return m


class GpioNoteReader(NoteReader):
    """Knows which access moved a pin."""

    needed_accesses = "last write"

    def __init__(self, host: Host, **settings: Any) -> None:
        super().__init__(host, **settings)
        self._last: BusAccess | None = None
        self._cleared = -1

    def access(self, access: BusAccess) -> None:
        """Keep the last access."""
        self._last = access

    def take_notes(self, cycle: int, notes: Mapping[str, int]) -> None:
        """Keep the cycle in which EVENTS was written while ``interrupt`` was high."""
        self._cleared = cycle

    def cause(self, pin: str, cycle: int) -> int:
        """Return the access that ended in the cycle before, unless an edge of an input did it.

        An output moves by a write alone. ``interrupt`` rises by itself, and falls by a write.
        """
        last = self._last
        if last is None or last.cycle + 1 != cycle:
            return NO_ACCESS
        return NO_ACCESS if pin == "interrupt" and self._cleared != last.cycle else last.number


class GpioHardware(GpioRegisters, Hardware):
    """A port of pins: registers, pins and timing as :class:`busbox.models.gpio.Gpio` says."""

    note_reader = GpioNoteReader

    pin_in: Any
    pin_out: Any
    pin_out_enable: Any
    pin_interrupt: Any

    def build(self, m: Module, registers: Registers) -> None:
        """Add OUT with its three helpers, and EVENTS behind the synchroniser."""
        out, events = registers.OUT, registers.EVENTS
        # At most one of the four is written in a cycle: `after` is OUT where it is another one.
        m.d.sync += out.value.eq(
            ((out.after | registers.SET.ones) & ~registers.CLEAR.ones) ^ registers.TOGGLE.ones
        )

        m.submodules.inputs = inputs = InputStage(self.options["width"])
        registers.IN.show(inputs.word)
        m.d.comb += [
            inputs.lines.eq(self.pin_in),
            # The edges of this cycle, by RISE and FALL as this cycle shows them.
            events.sets.eq(
                (inputs.rose & registers.RISE.value) | (inputs.fell & registers.FALL.value)
            ),
            self.pin_out.eq(out.value),
            self.pin_out_enable.eq(registers.ENABLE.value),
            self.pin_interrupt.eq(events.value.any()),
            # If the interrupt has an edge in the next cycle, it is a fall, and this write did it.
            self.notes_valid.eq(events.written & self.pin_interrupt),
        ]
