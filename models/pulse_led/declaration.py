"""The declaration of the lamp sender: settings, registers, pins."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from busbox.device import (
    REQUIRED,
    Declaration,
    Field,
    Past,
    Pin,
    Reason,
    Reasons,
    Register,
    RegisterTable,
    Setting,
)

#: As in :mod:`busbox.basics.phrases`, which needs a large library that a declaration does not.
GAP = "\x00"
CHANNEL_BITS = 8
#: Channels and the lowest bit of each in a colour; four channels are 0xWWRRGGBB.
SHIFTS = {"R": 16, "G": 8, "B": 0, "W": 24}
#: The order of the channels on the wire, by their number, if the bench names none.
ORDERS = {3: "GRB", 4: "GRBW"}
COLOUR_OFFSET = 0x100

CONTROL = Register(
    "CONTROL",
    0x00,
    "rw",
    "Starts a frame.",
    (
        Field("SEND", 0, 0, "ones_act", text="Writing 1 starts a frame."),
        Field("REPEAT", 1, 1, text="Sends the next frame right after this one."),
    ),
)
STATUS = Register(
    "STATUS",
    0x04,
    "ro",
    "State of the sender.",
    (
        Field("BUSY", 0, 0, text="A frame or its latch gap is in progress."),
        Field("MISSED", 1, 1, "ones_clear", text="SEND was written while BUSY was 1."),
    ),
)
SEND, REPEAT = (field.mask for field in CONTROL.fields)
BUSY, MISSED = (field.mask for field in STATUS.fields)


def pulse_led_table(lamps: int, channels: int, count: int, high: int, period: int) -> RegisterTable:
    """Return the registers of a sender built for ``lamps`` lamps, with these reset values."""
    names = [("WHITE", 31)] if channels == 4 else []
    names += [("RED", 23), ("GREEN", 15), ("BLUE", 7)]
    return RegisterTable(
        CONTROL,
        STATUS,
        Register("COUNT", 0x08, "rw", "Number of lamps to send.", reset=count),
        Register(
            "HIGH",
            0x0C,
            "rw",
            "High time of a bit, in cycles.",
            (
                Field("ZERO", 15, 0, reset=high & 0xFFFF, text="High time of a 0 bit."),
                Field("ONE", 31, 16, reset=high >> 16, text="High time of a 1 bit."),
            ),
        ),
        Register(
            "PERIOD",
            0x10,
            "rw",
            "Bit time and latch gap, in cycles.",
            (
                Field("BIT", 15, 0, reset=period & 0xFFFF, text="Bit time; 0 acts as 1."),
                Field("GAP", 31, 16, reset=period >> 16, text="Latch gap; 0 acts as 1."),
            ),
        ),
        Register(
            "COLOUR",
            COLOUR_OFFSET,
            "rw",
            f"Colour of a lamp, {'0xWW' if channels == 4 else '0x00'}RRGGBB.",
            tuple(Field(name, top, top - 7) for name, top in names),
            count=lamps,
            kept=True,
        ),
    )


class PulseLedRegisters(Declaration):
    """The declaration that the model and its twin in hardware share."""

    settings = (
        Setting(
            "lamps",
            REQUIRED,
            low=1,
            high=16_320,
            text="number of lamps supported",
            unit="lamps",
            example=8,
        ),
        Setting("channels", 3, low=3, high=4, text="colour channels of a lamp", unit="channels"),
        Setting(
            "order",
            None,
            "text",
            text="order of the channels on the wire (default: GRB, or GRBW for four)",
            example="GRB",
        ),
        Setting("count", 0, text="reset value of COUNT", unit="lamps"),
        Setting("high", 0, text="reset value of HIGH", example=0x000D_0007),
        Setting("period", 0, text="reset value of PERIOD", example=0x03C0_0014),
    )
    sends = ("frames",)
    pins = (Pin("line", "output", 0, "The pulse-coded line.", carries="frames"),)

    @classmethod
    def check(cls, settings: Mapping[str, Any]) -> str | None:
        """Return what is wrong with the order, if it does not name every channel once."""
        letters = ORDERS[settings["channels"]]
        order = settings["order"]
        if order is not None and sorted(order) != sorted(letters):
            return f"order must contain each of the letters {letters} once, not {order!r}"
        return None

    @classmethod
    def table_for(cls, settings: Mapping[str, Any], size: int) -> RegisterTable:
        """Return the registers for the lamps built."""
        keys = ("lamps", "channels", "count", "high", "period")
        return pulse_led_table(*(settings[key] for key in keys))

    @classmethod
    def because(
        cls, settings: Mapping[str, Any], pin: str, cycle: int, access: int, past: Past
    ) -> Iterator[Reason]:
        """Yield the colour of the lamp that is being sent, and the registers that set its pulses."""
        from numpy import array

        for one in cls.because_all(settings, pin, array([cycle]), array([access]), past):
            if what := one.what.text(0):
                yield Reason(what, one.register.text(0), int(one.accesses[0]))

    @classmethod
    def because_all(
        cls, settings: Mapping[str, Any], pin: str, cycles: Any, accesses: Any, past: Past
    ) -> Iterable[Reasons]:
        """Return the colours of the lamps that are being sent, and the registers of their pulses."""
        from busbox.models.pulse_led.reasons import reasons

        said = _bits(cls.order_for(settings))
        return reasons(said, settings["lamps"], cycles, past)

    @classmethod
    def words_for(
        cls, settings: Mapping[str, Any], pin: str, clocks: Mapping[str, int]
    ) -> Mapping[str, int]:
        """Return HIGH and PERIOD; nothing for counts that do not fit into their halves."""
        zero, one, period, gap = (clocks[key] for key in ("zero_high", "one_high", "period", "gap"))
        if max(zero, one, period, gap) > 0xFFFF:
            return {}
        return {"HIGH": one << 16 | zero, "PERIOD": gap << 16 | period}

    @staticmethod
    def order_for(settings: Mapping[str, Any]) -> str:
        """Return the channels in their order on the wire."""
        order: str = settings["order"] or ORDERS[settings["channels"]]
        return order


def _bits(order: str) -> list[str]:
    """Return what each bit of a lamp on the wire is, with a gap for the number of the lamp."""
    names = {"R": "red", "G": "green", "B": "blue", "W": "white"}
    return [
        f"colour of lamp {GAP}; bit {CHANNEL_BITS * place + bit} on the wire is "
        f"{names[letter]}'s bit {CHANNEL_BITS - 1 - bit}"
        for place, letter in enumerate(order)
        for bit in range(CHANNEL_BITS)
    ]


def halves(value: int) -> tuple[int, int]:
    """Return the low and the high half of a register."""
    return value & 0xFFFF, value >> 16


def oddities(high: int, period: int, clipped: bool) -> list[str]:
    """Return the kinds of event to report for unusual counts in a frame."""
    highs, (bit, gap) = halves(high), halves(period)
    odd = {
        "count-clipped": clipped,
        "high-too-long": max(highs) >= max(1, bit),
        "no-pulse": min(highs) == 0,
        "period-zero": bit == 0,
        "gap-zero": gap == 0,
    }
    return [kind for kind, holds in odd.items() if holds]
