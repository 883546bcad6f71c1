"""The rule ``spin``."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial

from busbox.basics.units import show_time
from busbox.findings.read_runs import read_runs
from busbox.findings.rule import RunFacts, Sighting


def spin(facts: RunFacts) -> Iterator[Sighting]:
    """Executed firmware has read one register in a loop for a long time, and nothing changed.

    Why it matters: to a person it looks as if the board hangs. Usually the loop waits for a bit that
    was never switched on, or for another register. The bench says how long is too long
    (``spin_after``, 100 ms if it does not).

    Example
    -------
    The firmware waits for lever 4, which the signalman pulls after 120 us; the bench allows 50 us (set
    ``mistakes``, bench ``runaway``)::

        spin_after = "50 us"

        [traffic]
        file = "runaway.elf"

        [[input]]
        at = "120 us"
        pin = "levers.in.4"
        level = 1

    Finding
    -------
    levers.IN has been read 173 times in 118.3 us and was 0x0 each time; the bench allows 50 us
    (spin_after).

    try: Check that what the loop waits for is switched on, and that it reads the right register and
    bit.

    What to do
    ----------
    Find what should change the register: an input of the bench, an enable bit, a device that is
    busy. If the wait is right, raise ``spin_after`` in the bench.
    """
    accesses, limit = facts.recording.accesses, facts.system.spin_after
    if facts.system.core is None:
        return

    for first, end in read_runs(facts, ("address", "data", "pc"), 2):
        cycles = int(accesses.end[end - 1] - accesses.start[first])
        if cycles > limit:
            yield facts.sighting(end - 1, partial(_describe, facts, first, end, cycles))


def _describe(facts: RunFacts, first: int, end: int, cycles: int) -> tuple[str, str]:
    accesses, clock = facts.recording.accesses, facts.system.clock_hz
    found = facts.decoded(first)
    return (
        f"{found.register or f'{found.address:#010x}'} has been read {end - first:,} times in "
        f"{show_time(cycles, clock)} and was {int(accesses.data[first]):#x} each time; the "
        f"bench allows {show_time(facts.system.spin_after, clock)} (spin_after).",
        "Check that what the loop waits for is switched on, and that it reads the right register and "
        "bit.",
    )
