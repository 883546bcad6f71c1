"""The board that most lessons share: a signal cabin at 16 MHz, one wait state, full decoding."""

from __future__ import annotations

from typing import Any

CLOCK = "16 MHz"

#: Slot of the common board to its table.
SLOTS: dict[str, dict[str, Any]] = {
    "store": {"model": "memory", "kind": "rom", "base": 0x0000_0000, "size": 0x4000},
    "book": {"model": "memory", "base": 0x2000_0000, "size": 0x2000},
    "levers": {"model": "gpio", "width": 8, "base": 0x4000_0000, "size": 0x1000},
    "telegraph": {"model": "uart", "divisor": 16, "base": 0x4000_1000, "size": 0x1000},
    "clock": {"model": "timer", "base": 0x4000_2000, "size": 0x1000},
    "lamps": {"model": "pulse_led", "lamps": 8, "base": 0x4400_0000, "size": 0x1000},
}


def slot(name: str, **changes: Any) -> dict[str, Any]:
    """Return a slot of the common board, with other values for some of its keys."""
    return {"name": name, **SLOTS[name], **changes}


def slots(*names: str) -> tuple[dict[str, Any], ...]:
    """Return slots of the common board as they are; all of them if none is named."""
    return tuple(slot(name) for name in names or SLOTS)
