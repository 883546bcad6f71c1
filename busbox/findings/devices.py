"""Rules about what devices report."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial
from typing import TYPE_CHECKING

import numpy as np

from busbox.basics.growing import Column
from busbox.basics.units import show_time
from busbox.findings.rule import RunFacts, Sighting, of_kind

if TYPE_CHECKING:
    from busbox.device import Pin
    from busbox.recording import Event, IntColumn


def frame_missed(facts: RunFacts) -> Iterator[Sighting]:
    """A frame was started while the last one was still under way; it is not sent.

    It hurts because the lamps keep the old picture. BUSY covers the latch gap too.

    Example
    -------
    The firmware shows the two signal lamps twice, without waiting for the first frame to end (set
    ``mistakes``, bench ``too_fast``)::

        write lamps.COUNT 2
        write lamps.CONTROL 1
        write lamps.CONTROL 1

    Finding
    -------
    SEND was written while lamps is BUSY: this frame is not sent. It stays BUSY for another 1059
    cycles (66.19 us).

    try: Poll lamps.STATUS until BUSY (bit 0) is 0 before SEND is written.

    What to do
    ----------
    Wait until BUSY is 0, then set the colours, then write SEND. If the newest picture is all that
    counts, look at BUSY once and try again later.
    """
    clock = facts.system.clock_hz

    def tell(event: Event) -> tuple[str, str]:
        left = int(event.details["idle_from"]) - event.cycle
        return (
            f"SEND was written while {event.device} is BUSY: this frame is not sent. "
            f"It stays BUSY for another {left} cycles ({show_time(left, clock)}).",
            f"Poll {event.device}.STATUS until BUSY (bit 0) is 0 before SEND is written.",
        )

    return of_kind(facts, ("frame-missed",), tell)


def uninitialised_read(facts: RunFacts) -> Iterator[Sighting]:
    """A word of memory was read that nobody had written.

    It hurts because block memory holds anything after power-up: here the read gives 0, on the board it
    may not.

    Example
    -------
    The firmware looks into the train book before anything has been written there (set ``mistakes``,
    bench ``memories``)::

        read 0x20000000

    Finding
    -------
    book.WORD.0 (0x20000000) was read before anything was written to it; it gives 0 here.

    try: Write it first (start-up code that clears and copies variables does), or give book its
    contents in the bench (file = ...).

    What to do
    ----------
    If it is a variable, see whether start-up code clears or copies its section, and whether that code
    was recorded. If it is a table, load it: ``file = "book.hex"`` in the slot.
    """

    def tell(event: Event) -> tuple[str, str]:
        return (
            f"{_word(facts, event)} was read before anything was written to it; it gives 0 here.",
            f"Write it first (start-up code that clears and copies variables does), or give "
            f"{event.device} its contents in the bench (file = ...).",
        )

    return of_kind(facts, ("uninitialised-read",), tell)


def rom_write(facts: RunFacts) -> Iterator[Sighting]:
    """A write went to a read-only memory, and was dropped.

    It hurts because the variable keeps its old value. Usually a section is linked to the wrong place.

    Example
    -------
    The firmware counts trains in a variable that was linked into the read-only page (set
    ``mistakes``, bench ``memories``)::

        write 0x00000010 1

    Finding
    -------
    page is a ROM: the write to page.WORD.4 (0x00000010) does nothing.

    try: Move what is written to a RAM (linker script), or make the slot kind = "ram".

    What to do
    ----------
    Find the variable in the linker's map file, and move its section to a RAM. A pointer that was never
    set writes near 0 as well.
    """

    def tell(event: Event) -> tuple[str, str]:
        return (
            f"{event.device} is a ROM: the write to {_word(facts, event)} does nothing.",
            'Move what is written to a RAM (linker script), or make the slot kind = "ram".',
        )

    return of_kind(facts, ("rom-write",), tell)


def _word(facts: RunFacts, event: Event) -> str:
    """Return the word of a memory that an event names: ``book.WORD.1 (0x20000004)``."""
    offset = int(event.details["offset"])
    slot = facts.system.address_map.slot(event.device)
    assert slot is not None
    place = slot.table.at(offset)
    name = place.name if place else f"{offset:#x}"
    return f"{slot.name}.{name} ({slot.base + offset:#010x})"


def interrupt_stuck(facts: RunFacts) -> Iterator[Sighting]:
    """An interrupt stayed high for long, and nobody looked at its device.

    It hurts because the CPU would be called again and again, or has forgotten the interrupt. Only where
    the bench sets ``stuck_after``; counted from the rise, or from the last access to the device.

    Example
    -------
    Lever 4 is to ring when it is pulled. It does, but no routine ever looks at the levers (set
    ``mistakes``, bench ``forgotten``)::

        stuck_after = "50 us"

        [[input]]
        at = "10 us"
        pin = "levers.in.4"
        level = 1

        write levers.RISE 0x10
        pause 100 us

    Finding
    -------
    levers.interrupt is high from cycle 163 on for 1441 cycles without an access to levers; the
    bench allows 800 (stuck_after).

    try: Have the interrupt routine end what holds it high: EVENTS is not 0; ones written to
    EVENTS clear it.

    What to do
    ----------
    See whether the routine is installed and interrupts are switched on (in traffic it is a
    ``handler``). It must take back what it has served: here, write the ones of EVENTS back to it.
    """
    from busbox.recording import windows

    limit, recording = facts.system.stuck_after, facts.recording
    if limit is None:
        return
    for number, device in enumerate(facts.system.devices):
        ends = Column("i8")
        for _, part in windows(recording.accesses):
            ends.extend(part.end[part.slot == number])
        for pin in device.pins:
            if pin.direction == "output" and pin.name in INTERRUPTS:
                yield from _stuck(facts, device.name, pin, ends.array(), limit)


#: Output pins that ask for the CPU's attention.
INTERRUPTS = ("interrupt", "ring")


def _stuck(facts: RunFacts, slot: str, pin: Pin, ends: IntColumn, limit: int) -> Iterator[Sighting]:
    name = f"{slot}.{pin.name}"
    line = facts.recording.lines[name]
    falls = np.append(line.cycles[1:], facts.recording.cycles)
    for rise, fall, level, cause in zip(
        line.cycles.tolist(),
        falls.tolist(),
        line.levels.tolist(),
        line.accesses.tolist(),
        strict=True,
    ):
        if level != 1:
            continue
        inside = ends[slice(*np.searchsorted(ends, (rise, fall)))].tolist()
        for start, end in zip([rise, *inside], [*inside, fall], strict=True):
            if end - start >= limit:
                tell = partial(_tell_stuck, slot, pin, start, end - start, limit)
                yield Sighting(start + limit, cause, slot, pin.name, name, tell)
                break


def _tell_stuck(slot: str, pin: Pin, start: int, cycles: int, limit: int) -> tuple[str, str]:
    why = f": {pin.text}" if pin.text else "."
    return (
        f"{slot}.{pin.name} is high from cycle {start} on for {cycles} cycles without an access to "
        f"{slot}; the bench allows {limit} (stuck_after).",
        f"Have the interrupt routine end what holds it high{why}",
    )
