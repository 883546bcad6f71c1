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
    """An interrupt stayed high for too long with no access to its device.

    Why it matters: the handler would run again and again, or the firmware ignores the interrupt. Only
    checked if the bench sets ``stuck_after``; counted from the rise or the last access to the device.

    Example
    -------
    Pulling lever 4 raises an interrupt, but there is no handler for it (set ``mistakes``, bench
    ``forgotten``)::

        stuck_after = "50 us"

        [[input]]
        at = "10 us"
        pin = "levers.in.4"
        level = 1

        write levers.RISE 0x10
        pause 100 us

    Finding
    -------
    levers.interrupt has been high since cycle 163, for 1,441 cycles, with no access to levers; the
    bench allows 800 (stuck_after).

    try: Make the interrupt handler clear what holds it high (high while EVENTS is not 0; write 1 to
    a bit of EVENTS to clear it).

    What to do
    ----------
    Check that the handler is installed and interrupts are enabled (in traffic it is a ``handler``). It
    must clear the events that it has served: here, by writing the ones of EVENTS back.
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


#: Output pins that interrupt the CPU.
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
    text = pin.text.rstrip(".")
    if text[1:2].islower():  # not the name of a register
        text = text[0].lower() + text[1:]
    why = f" ({text})" if text else ""
    return (
        f"{slot}.{pin.name} has been high since cycle {start:,}, for {cycles:,} cycles, with no access "
        f"to {slot}; the bench allows {limit:,} (stuck_after).",
        f"Make the interrupt handler clear what holds it high{why}.",
    )
