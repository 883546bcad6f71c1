"""The declaration of the serial port: settings, registers, pins."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from busbox.basics.units import nearest_divisor
from busbox.device import Declaration, Field, Past, Pin, Reason, Register, RegisterTable, Setting

#: Bit times of a frame: start, eight data bits, stop. Source: common practice (8N1).
FRAME_BITS = 10
#: Cycles between a level on rx and the synchronised level.
SYNCHRONISER_STAGES = 2

DATA = Register(
    "DATA",
    0x00,
    "rw",
    "A write sends the low byte; a read takes the received byte.",
    (Field("BYTE", 7, 0),),
    whole=0b0001,
)
STATUS = Register(
    "STATUS",
    0x04,
    "ro",
    "State of the port.",
    (
        Field("TX_ROOM", 0, 0, reset=1, text="DATA can be written."),
        Field("TX_BUSY", 1, 1, text="A byte is being sent or is queued."),
        Field("RX_READY", 2, 2, text="A received byte can be read."),
        Field(
            "RX_LOST",
            3,
            3,
            "ones_clear",
            text="A byte arrived before the last one was read, and was lost.",
        ),
        Field("RX_FRAMING", 4, 4, "ones_clear", text="A byte had no stop bit and was discarded."),
        Field("TX_LOST", 5, 5, "ones_clear", text="A byte written without room was lost."),
    ),
)
TX_ROOM, TX_BUSY, RX_READY, RX_LOST, RX_FRAMING, TX_LOST = (field.mask for field in STATUS.fields)
ON_ROOM, ON_READY = 1, 2


class UartRegisters(Declaration):
    """The declaration that the model and its twin in hardware share."""

    settings = (
        Setting(
            "divisor",
            low=1,
            high=0xFFFF,
            text="reset value of DIVISOR, cycles per bit (default: nearest for 115,200 baud)",
            unit="cycles",
            example=139,
        ),
        Setting(
            "baud",
            low=1,
            unit="bits per second",
            example=115_200,
            text="expected bits per second; an error above 2 % is a finding",
        ),
    )
    sends = ("text",)
    table = RegisterTable(
        DATA,
        STATUS,
        Register("DIVISOR", 0x08, "rw", "Cycles per bit; 0 acts as 1.", width=16),
        Register(
            "INTERRUPT",
            0x0C,
            "rw",
            "Enables the interrupt.",
            (
                Field("ON_ROOM", 0, 0, text="Interrupt while TX_ROOM is 1."),
                Field("ON_READY", 1, 1, text="Interrupt while RX_READY is 1."),
            ),
        ),
    )
    pins = (
        Pin("tx", "output", 1, "Serial data out.", carries="text"),
        Pin("rx", "input", 1, "Serial data in."),
        Pin(
            "interrupt",
            text="TX_ROOM with ON_ROOM (until DATA is written), "
            "RX_READY with ON_READY (until it is read).",
        ),
    )

    @classmethod
    def because(
        cls, settings: Mapping[str, Any], pin: str, cycle: int, access: int, past: Past
    ) -> Iterator[Reason]:
        """Yield which bit of a byte is being sent, and the divisor in use."""
        start = past.first_edge(pin, access) if pin == "tx" and access >= 0 else None
        if start is None:
            return
        write = past.write("DIVISOR", start - 1)
        divisor = past.word("DIVISOR", start - 1)
        if write < 0:
            divisor = cls.resets_for(settings, past.clock_hz)["DIVISOR"]
        place = (cycle - start) // max(1, divisor)
        byte = past.data(access) & 0xFF
        part = {0: "the start bit", FRAME_BITS - 1: "the stop bit"}.get(place, f"bit {place - 1}")
        yield Reason(f"{part} of byte {byte:#04x}", "DATA", access)
        cycles = f"{max(1, divisor):,} cycle{'s' if divisor > 1 else ''}"
        yield Reason(f"bit time, {cycles}", "DIVISOR", write)

    @classmethod
    def words_for(
        cls, settings: Mapping[str, Any], pin: str, clocks: Mapping[str, int]
    ) -> Mapping[str, int]:
        """Return DIVISOR; nothing for a bit that it cannot hold."""
        return {"DIVISOR": clocks["bit"]} if clocks["bit"] <= 0xFFFF else {}

    @classmethod
    def resets_for(cls, settings: Mapping[str, Any], clock_hz: int) -> Mapping[str, int]:
        """Return the reset value of DIVISOR: the setting, or the nearest for 115200 baud.

        Source: common practice; halves are rounded up, and the result is kept within 1 to 65535.
        """
        return {"DIVISOR": settings["divisor"] or nearest_divisor(clock_hz, 115_200, 16)}
