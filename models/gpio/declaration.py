"""The declaration of general-purpose inputs and outputs: registers, pins, settings."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from busbox.device import Declaration, Past, Pin, Reason, Register, RegisterTable, Setting

#: Cycles between a level on the pin and its bit in IN: two synchroniser stages.
SYNCHRONISER_STAGES = 2


def gpio_table(width: int) -> RegisterTable:
    """Return the registers of a port of ``width`` pins."""
    every = (1 << width) - 1
    return RegisterTable(
        Register("OUT", 0x00, "rw", "Output pin levels.", width=width),
        Register("SET", 0x04, "ones_act", "Writing 1 sets a bit of OUT.", width=width),
        Register("CLEAR", 0x08, "ones_act", "Writing 1 clears a bit of OUT.", width=width),
        Register("TOGGLE", 0x0C, "ones_act", "Writing 1 inverts a bit of OUT.", width=width),
        Register("IN", 0x10, "ro", "Input pin levels, delayed by two cycles.", width=width),
        Register("ENABLE", 0x14, "rw", "0 releases the output pin.", width=width, reset=every),
        Register("RISE", 0x18, "rw", "Enables capture of rising edges of IN.", width=width),
        Register("FALL", 0x1C, "rw", "Enables capture of falling edges of IN.", width=width),
        Register("EVENTS", 0x20, "ones_clear", "Captured edges of IN.", width=width),
    )


class GpioRegisters(Declaration):
    """The registers and pins of a port; model and twin share them."""

    settings = (Setting("width", 32, low=1, high=32, text="number of pins", unit="pins"),)

    @classmethod
    def table_for(cls, settings: Mapping[str, Any], size: int) -> RegisterTable:
        """Return the registers of ``width`` pins."""
        return gpio_table(settings["width"])

    @classmethod
    def because(
        cls, settings: Mapping[str, Any], pin: str, cycle: int, access: int, past: Past
    ) -> Iterator[Reason]:
        """Yield which edges may raise the interrupt; for an output, its access says it all."""
        if pin == "interrupt" and access < 0:  # else EVENTS was written
            for register, what in (("RISE", "rising"), ("FALL", "falling")):
                yield Reason(f"{what} edges captured", register, past.write(register, cycle - 1))

    @classmethod
    def pins_for(cls, settings: Mapping[str, Any]) -> tuple[Pin, ...]:
        """Return ``width`` outputs, as many inputs, and the interrupt."""
        numbers = range(settings["width"])
        outputs = tuple(Pin(f"out.{number}", released=True) for number in numbers)
        inputs = tuple(Pin(f"in.{number}", "input") for number in numbers)
        return (
            *outputs,
            *inputs,
            Pin(
                "interrupt",
                "output",
                0,
                "High while EVENTS is not 0; write 1 to a bit of EVENTS to clear it.",
            ),
        )
