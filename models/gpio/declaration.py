"""General-purpose inputs and outputs, from outside: registers, pins, settings."""

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
        Register("OUT", 0x00, "rw", "Levels of the output pins.", width=width),
        Register("SET", 0x04, "ones_act", "Each one sets its bit of OUT.", width=width),
        Register("CLEAR", 0x08, "ones_act", "Each one clears its bit of OUT.", width=width),
        Register("TOGGLE", 0x0C, "ones_act", "Each one inverts its bit of OUT.", width=width),
        Register("IN", 0x10, "ro", "Levels of the input pins, two cycles late.", width=width),
        Register("ENABLE", 0x14, "rw", "0 releases the output pin.", width=width, reset=every),
        Register("RISE", 0x18, "rw", "Which rising edges of IN are kept.", width=width),
        Register("FALL", 0x1C, "rw", "Which falling edges of IN are kept.", width=width),
        Register("EVENTS", 0x20, "ones_clear", "Edges of IN that were kept.", width=width),
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
        """Yield what chose the edges that raise the interrupt; an output is told by its access."""
        if pin == "interrupt" and access < 0:  # else EVENTS was written
            for register, what in (("RISE", "rising"), ("FALL", "falling")):
                yield Reason(
                    f"{what} edges that are kept", register, past.write(register, cycle - 1)
                )

    @classmethod
    def pins_for(cls, settings: Mapping[str, Any]) -> tuple[Pin, ...]:
        """Return ``width`` outputs, as many inputs, and the interrupt."""
        numbers = range(settings["width"])
        outputs = tuple(Pin(f"out.{number}", released=True) for number in numbers)
        inputs = tuple(Pin(f"in.{number}", "input") for number in numbers)
        return (
            *outputs,
            *inputs,
            Pin("interrupt", "output", 0, "EVENTS is not 0; ones written to EVENTS clear it."),
        )
