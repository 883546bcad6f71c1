"""General-purpose inputs and outputs."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from busbox.device import Host, Pin, Setting
from busbox.model import RegisterModel, Write
from busbox.registers import Register, RegisterTable

#: Rows between a level on the pin and its bit in IN: two synchroniser stages.
SYNCHRONISER_STAGES = 2


def gpio_table(width: int) -> RegisterTable:
    """Return the registers of a port of ``width`` pins."""
    return RegisterTable(
        Register("OUT", 0x00, "rw", "Levels of the output pins.", width=width),
        Register("SET", 0x04, "ones_act", "Each one sets its bit of OUT.", width=width),
        Register("CLEAR", 0x08, "ones_act", "Each one clears its bit of OUT.", width=width),
        Register("TOGGLE", 0x0C, "ones_act", "Each one inverts its bit of OUT.", width=width),
        Register("IN", 0x10, "ro", "Levels of the input pins, two cycles late.", width=width),
    )


class Gpio(RegisterModel):
    """Output pins with set, clear and toggle; input pins behind a synchroniser.

    Registers
    ---------
    ==== ====== ========== ===== ==========================================
    0x00 OUT    rw         0     levels of the output pins
    0x04 SET    ones_act         each one sets its bit of OUT
    0x08 CLEAR  ones_act         each one clears its bit of OUT
    0x0C TOGGLE ones_act         each one inverts its bit of OUT
    0x10 IN     ro               levels of the input pins
    ==== ====== ========== ===== ==========================================

    Pins
    ----
    ``out.N`` output, 0 after reset; ``in.N`` input, 0 while nothing drives it.

    Timing
    ------
    A write in cycle e moves the pins in e + 1. A level on an input pin from row c reads in IN from
    c + 2. Always at rest.
    """

    settings = (Setting("width", 32, low=1, high=32, text="number of pins"),)

    def __init__(self, host: Host, **settings: Any) -> None:
        super().__init__(host, **settings)
        self._lines = 0
        self._seen = 0
        self._origin = 0
        self._coming: list[tuple[int, int]] = []

    @classmethod
    def table_for(cls, settings: Mapping[str, Any], size: int) -> RegisterTable:
        """Return the registers of ``width`` pins."""
        return gpio_table(settings["width"])

    @classmethod
    def pins_for(cls, settings: Mapping[str, Any]) -> tuple[Pin, ...]:
        """Return ``width`` outputs and as many inputs."""
        numbers = range(settings["width"])
        return tuple(Pin(f"out.{number}", "output") for number in numbers) + tuple(
            Pin(f"in.{number}", "input") for number in numbers
        )

    def input(self, cycle: int, pin: str, level: int) -> None:
        """Take a level; it reaches IN two rows later."""
        self.advance(cycle)
        bit = int(pin.removeprefix("in."))
        self._lines = self._lines & ~(1 << bit) | level << bit
        self._coming.append((max(cycle, self._origin) + SYNCHRONISER_STAGES, self._lines))

    def forward(self, cycle: int) -> None:
        """Let levels through the synchroniser."""
        while self._coming and self._coming[0][0] <= cycle:
            self._seen = self._coming.pop(0)[1]

    def show_IN(self) -> int:
        """Show the synchronised levels."""
        return self._seen

    def write_OUT(self, write: Write) -> None:
        """Move the pins that change."""
        self._move(write, write.before, write.value)

    def write_SET(self, write: Write) -> None:
        """Set the bits written as ones."""
        self._put(write, self.stored["OUT"] | write.ones)

    def write_CLEAR(self, write: Write) -> None:
        """Clear the bits written as ones."""
        self._put(write, self.stored["OUT"] & ~write.ones)

    def write_TOGGLE(self, write: Write) -> None:
        """Invert the bits written as ones."""
        self._put(write, self.stored["OUT"] ^ write.ones)

    def _put(self, write: Write, value: int) -> None:
        before, self.stored["OUT"] = self.stored["OUT"], value
        self._move(write, before, value)

    def _move(self, write: Write, before: int, value: int) -> None:
        changed = before ^ value
        while changed:
            bit = (changed & -changed).bit_length() - 1
            changed &= changed - 1
            self.host.edge(f"out.{bit}", write.shows, value >> bit & 1, write.number)

    def clear(self) -> None:
        """Reset the synchroniser; the levels on the pins come through it again."""
        self._origin = self.cycle
        self._seen = 0
        self._coming = [(self._origin + SYNCHRONISER_STAGES, self._lines)]
