"""starter: a lamp whose brightness is set by firmware. Declaration, model and hardware."""

from __future__ import annotations

from typing import Any

from amaranth.hdl import Module, Mux, Signal

from busbox import (
    CycleModel,
    Declaration,
    Field,
    Hardware,
    Pin,
    Register,
    Registers,
    RegisterTable,
    Setting,
)


class StarterDeclaration(Declaration):
    """What can be seen from outside: registers, pins, settings."""

    settings = (
        Setting("period", 255, low=1, high=255, text="cycles of one period", unit="cycles"),
    )
    table = RegisterTable(
        Register(
            "LEVEL",
            0x00,
            "rw",
            "Brightness: cycles of a period in which the lamp is on.",
            (Field("LAMP", 7, 0),),
        ),
        Register("COUNT", 0x04, "ro", "The current cycle of the period.", width=8),
    )
    pins = (Pin("lamp", text="On for LEVEL cycles of every period."),)


class Starter(StarterDeclaration, CycleModel):
    """A lamp whose brightness is set by firmware.

    Registers
    ---------
    ==== ===== == = ===================================================
    0x00 LEVEL rw 0 bits 7..0: cycles of a period in which the lamp is on
    0x04 COUNT ro 0 bits 7..0: the current cycle of the period
    ==== ===== == = ===================================================

    Pins
    ----
    ``lamp`` output, 0 after reset.

    Timing
    ------
    COUNT is 0 in cycle 0 and after a reset, and counts from 0 to period - 1, then starts again. The
    lamp is on in cycle c + 1 if COUNT was less than LEVEL in cycle c. Always at rest.
    """

    twin = "starter.py:StarterHardware"
    count = 0

    def tick(self, cycle: int) -> None:
        """Do what the clock edge at the end of a cycle does."""
        self.drive("lamp", int(self.count < self.stored["LEVEL"]))
        self.count = (self.count + 1) % self.options["period"]

    def show_COUNT(self) -> int:
        """Return what a read of COUNT shows."""
        return self.count

    def clear(self) -> None:
        """Reset what is in no register."""
        self.count = 0


class StarterHardware(StarterDeclaration, Hardware):
    """The same in Amaranth: the base class builds the bus side, ``build`` what the device does."""

    pin_lamp: Any

    def build(self, m: Module, registers: Registers) -> None:
        """Add the counter and the lamp."""
        count, lamp = Signal(8), Signal()
        m.d.sync += [
            count.eq(Mux(count == self.options["period"] - 1, 0, count + 1)),
            lamp.eq(count < registers.LEVEL.value),
        ]
        m.d.comb += self.pin_lamp.eq(lamp)
        registers.COUNT.show(count)
