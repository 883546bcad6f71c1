"""What the tests of attachments share: small cabins whose pins are decoded or driven."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import busbox
from busbox.recording import Recording

CLOCK_HZ = 16_000_000
#: 7 and 13 of 20 cycles, a gap of 960: common practice for 16 MHz, no source.
HIGH, PERIOD = 13 << 16 | 7, 960 << 16 | 20
#: Cycles of a bit, and cycles high of a one.
BIT, ONE_HIGH = 20, 13

Firmware = Callable[[Any], None]


def slot(model: str, number: int = 0, **settings: Any) -> dict[str, Any]:
    """Return the keys of a slot; ``number`` says which 4 KiB it has."""
    return {"model": model, "base": 0x4000_0000 + 0x1000 * number, "size": 0x1000, **settings}


def sender(number: int = 0, **settings: Any) -> dict[str, Any]:
    """Return the keys of a sender for lamps that keeps common practice."""
    return slot("pulse_led", number, high=HIGH, period=PERIOD, **settings)


def string(pin: str = "lamps.line", **settings: Any) -> dict[str, Any]:
    """Return the keys of a string of lamps."""
    return {"kind": "lamp_string", "pin": pin, **settings}


def bench_of(
    firmware: Firmware, slots: dict[str, Any], attach: dict[str, Any], **keys: Any
) -> busbox.Bench:
    """Return a bench with what is attached."""
    whole = {"clock": "16 MHz", "slot": slots, "attach": attach, "traffic": firmware, **keys}
    return busbox.Bench(whole)


def run(firmware: Firmware, slots: Any, attach: Any, **keys: Any) -> Recording:
    """Run a bench with what is attached."""
    return bench_of(firmware, slots, attach, **keys).run(engine="python")


def sending(*pictures: tuple[int, ...], slot: str = "lamps") -> Firmware:
    """Return firmware that sends pictures, one after the other."""

    def firmware(bus: Any) -> None:
        for picture in pictures:
            for lamp, colour in enumerate(picture):
                bus.write(f"{slot}.COLOUR.{lamp}", colour)
            bus.write(f"{slot}.CONTROL", 1)
            bus.poll(f"{slot}.STATUS", 0, mask=1, every=50)

    return firmware
