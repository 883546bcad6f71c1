"""A station bell in Amaranth, with a mistake on its bus."""

from typing import Any

from amaranth.hdl import Module, Signal

from busbox.bus.hardware import Hardware, Registers
from busbox.device import Field, Pin, Register, RegisterTable


class HastyBell(Hardware):
    """Rings for STRIKE cycles. Its ACK is up for two cycles: with the request, and once more."""

    table = RegisterTable(
        Register("STRIKE", 0x00, "wo", "Rings for so many cycles.", width=16),
        Register("STATUS", 0x04, "ro", "What it does.", (Field("RINGING", 0, 0),)),
    )
    pins = (Pin("hammer"),)
    pin_hammer: Any

    def build(self, m: Module, registers: Registers) -> None:
        """Count down while it rings."""
        left, late = Signal(16), Signal()
        with m.If(left.any()):
            m.d.sync += left.eq(left - 1)
        with m.Elif(registers.STRIKE.written):
            m.d.sync += left.eq(registers.STRIKE.after)
        registers.STATUS.show(left.any())
        m.d.comb += [self.pin_hammer.eq(left.any()), self.at_rest.eq(~left.any())]

        request = self.bus.cyc & self.bus.stb
        m.d.sync += late.eq(request)
        m.d.comb += self.bus.ack.eq(request | late)  # `request` alone would be right
