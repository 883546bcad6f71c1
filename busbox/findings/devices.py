"""Rules about what devices report."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial
from typing import TYPE_CHECKING

import numpy as np

from busbox.findings.rule import Evidence, Hit, of_kind
from busbox.units import show_time

if TYPE_CHECKING:
    from busbox.device import Pin
    from busbox.recording import Event, IntColumn


def frame_missed(evidence: Evidence) -> Iterator[Hit]:
    """A frame was started while the last one was still under way; it is not sent.

    It hurts because the lamps keep the old picture. BUSY covers the latch gap too.
    """
    clock = evidence.system.clock_hz

    def tell(event: Event) -> tuple[str, str]:
        left = int(event.details["idle_from"]) - event.cycle
        return (
            f"SEND was written while {event.device} is BUSY: this frame is not sent. "
            f"It stays BUSY for another {left} cycles ({show_time(left, clock)}).",
            f"Poll {event.device}.STATUS until BUSY (bit 0) is 0 before SEND is written.",
        )

    return of_kind(evidence, ("frame-missed",), tell)


def uninitialised_read(evidence: Evidence) -> Iterator[Hit]:
    """A word of memory was read that nobody had written.

    It hurts because block memory holds anything after power-up: here the read gives 0, on the board it
    may not.
    """

    def tell(event: Event) -> tuple[str, str]:
        return (
            f"{_word(evidence, event)} was read before anything was written to it; it gives 0 here.",
            f"Write it first (start-up code that clears and copies variables does), or give "
            f"{event.device} its contents in the bench (file = ...).",
        )

    return of_kind(evidence, ("uninitialised-read",), tell)


def rom_write(evidence: Evidence) -> Iterator[Hit]:
    """A write went to a read-only memory, and was dropped.

    It hurts because the variable keeps its old value. Usually a section is linked to the wrong place.
    """

    def tell(event: Event) -> tuple[str, str]:
        return (
            f"{event.device} is a ROM: the write to {_word(evidence, event)} does nothing.",
            'Move what is written to a RAM (linker script), or make the slot kind = "ram".',
        )

    return of_kind(evidence, ("rom-write",), tell)


def _word(evidence: Evidence, event: Event) -> str:
    """Return the word of a memory that an event names: ``book.WORD.1 (0x20000004)``."""
    offset = int(event.details["offset"])
    slot = evidence.system.address_map.slot(event.device)
    assert slot is not None
    place = slot.table.at(offset)
    name = place.name if place else f"{offset:#x}"
    return f"{slot.name}.{name} ({slot.base + offset:#010x})"


def interrupt_stuck(evidence: Evidence) -> Iterator[Hit]:
    """An interrupt stayed high for long, and nobody looked at its device.

    It hurts because the CPU would be called again and again, or has forgotten the interrupt. Only where
    the bench sets ``stuck_after``; counted from the rise, or from the last access to the device.
    """
    limit, recording = evidence.system.stuck_after, evidence.recording
    if limit is None:
        return
    for number, placed in enumerate(evidence.system.devices):
        ends = recording.accesses.end[recording.accesses.slot == number]
        for pin in placed.pins:
            if pin.direction == "output" and pin.name in INTERRUPTS:
                yield from _stuck(evidence, placed.slot.name, pin, ends, limit)


#: Output pins that ask for the CPU's attention.
INTERRUPTS = ("interrupt", "ring")


def _stuck(evidence: Evidence, slot: str, pin: Pin, ends: IntColumn, limit: int) -> Iterator[Hit]:
    name = f"{slot}.{pin.name}"
    line = evidence.recording.lines[name]
    falls = np.append(line.cycles[1:], evidence.recording.cycles)
    for rise, fall, level, cause in zip(
        line.cycles.tolist(),
        falls.tolist(),
        line.levels.tolist(),
        line.accesses.tolist(),
        strict=True,
    ):
        if level != 1:
            continue
        inside = ends[(ends >= rise) & (ends < fall)].tolist()
        for start, end in zip([rise, *inside], [*inside, fall], strict=True):
            if end - start >= limit:
                tell = partial(_tell_stuck, slot, pin, start, end - start, limit)
                yield Hit(start + limit, cause, slot, pin.name, name, tell)
                break


def _tell_stuck(slot: str, pin: Pin, start: int, cycles: int, limit: int) -> tuple[str, str]:
    why = f": {pin.text}" if pin.text else "."
    return (
        f"{slot}.{pin.name} is high from cycle {start} on for {cycles} cycles without an access to "
        f"{slot}; the bench allows {limit} (stuck_after).",
        f"Have the interrupt routine end what holds it high{why}",
    )
