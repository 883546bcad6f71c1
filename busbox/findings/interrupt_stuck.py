"""The rule ``interrupt-stuck``."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial
from typing import TYPE_CHECKING

import numpy as np

from busbox.basics.growing import Column
from busbox.findings.rule import RunFacts, Sighting

if TYPE_CHECKING:
    from busbox.device import Pin
    from busbox.recording import IntColumn


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

    try: Have the interrupt routine end what holds it high: High while EVENTS is not 0; write 1 to
    a bit of EVENTS to clear it.

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
                describe = partial(_describe_stuck, slot, pin, start, end - start, limit)
                yield Sighting(start + limit, cause, slot, pin.name, name, describe)
                break


def _describe_stuck(slot: str, pin: Pin, start: int, cycles: int, limit: int) -> tuple[str, str]:
    why = f": {pin.text}" if pin.text else "."
    return (
        f"{slot}.{pin.name} is high from cycle {start} on for {cycles} cycles without an access to "
        f"{slot}; the bench allows {limit} (stuck_after).",
        f"Have the interrupt routine end what holds it high{why}",
    )
