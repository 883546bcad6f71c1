"""A signalman's book in Amaranth, with a register that nothing sets."""

from collections.abc import Mapping
from typing import Any

from amaranth.hdl import Module, Signal

from busbox.bus.hardware import Hardware, Registers
from busbox.device import Register, RegisterTable


class Book(Hardware):
    """Keeps the number of the last train. Before the first one, it holds anything."""

    table = RegisterTable(Register("TRAIN", 0x00, "rw", "Number of the last train.", width=8))

    @classmethod
    def undefined_for(cls, settings: Mapping[str, Any]) -> tuple[str, ...]:
        """Name the register that neither a reset nor an initial value sets."""
        return ("train",)

    def build(self, m: Module, registers: Registers) -> None:
        """Keep the number."""
        train = Signal(8, init=-self.undefined_level & 0xFF, reset_less=True)
        with m.If(registers.TRAIN.written):
            m.d.sync += train.eq(registers.TRAIN.after)
        registers.TRAIN.show(train)
