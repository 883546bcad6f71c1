"""The declaration of a cycle counter with an alarm: registers and pins."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from busbox.device import Declaration, Field, Past, Pin, Reason, Register, RegisterTable

#: The bit of STATUS.
RANG = 1


class TimerRegisters(Declaration):
    """The registers and pins of a timer; model and twin share them."""

    table = RegisterTable(
        Register("NOW", 0x00, "ro", "Cycles since reset, low word."),
        Register("NOW_HIGH", 0x04, "ro", "High word, as of the last read of NOW."),
        Register("ALARM", 0x08, "rw", "Count at which the alarm rings."),
        Register("CONTROL", 0x0C, "rw", "Enables the interrupt.", (Field("INTERRUPT_ON", 0, 0),)),
        Register("STATUS", 0x10, "ones_clear", "The alarm flag.", (Field("RANG", 0, 0),)),
    )

    @classmethod
    def because(
        cls, settings: Mapping[str, Any], pin: str, cycle: int, access: int, past: Past
    ) -> Iterator[Reason]:
        """Yield the alarm, if it rings in this very cycle, and what enabled the interrupt.

        An edge with an access comes from CONTROL or STATUS: ALARM may have changed since it rang.
        """
        if access < 0:
            yield Reason("alarm time", "ALARM", past.write("ALARM", cycle - 1))
        yield Reason("interrupt enable", "CONTROL", past.write("CONTROL", cycle))

    pins = (
        Pin(
            "ring",
            "output",
            0,
            "RANG while CONTROL.0 is 1; write 1 to STATUS.0 to clear RANG.",
        ),
    )
