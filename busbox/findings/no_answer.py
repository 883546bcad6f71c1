"""The rule ``no-answer``."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial

from busbox.bus.transfers import WATCHDOG
from busbox.findings.addresses import nearest_hint
from busbox.findings.rule import RunFacts, Sighting


def no_answer(facts: RunFacts) -> Iterator[Sighting]:
    """No device answered an access, and the watchdog ended it with ERR.

    Why it matters: the CPU stalled until the watchdog acted, and the access did nothing.

    Example
    -------
    The firmware drops a signal arm through a port that this hardware does not have. The fabric does
    not answer there, but it has a watchdog (set ``mistakes``, bench ``silence``)::

        [fabric]
        unanswered = "silence"
        watchdog = 64

        write 0x50000000 1

    Finding
    -------
    write of 0x1 to 0x50000000: unanswered for 64 cycles; the watchdog ended it with ERR, and the
    write is lost. No slot decodes it.

    try: The nearest slot is levers at 0x40000000..0x40000fff; the same offset there is levers.OUT
    (0x40000000). Use the same base address in the bench and in the firmware.

    What to do
    ----------
    If no slot decodes the address, correct the base as for unmapped-access. If one does, its device
    kept the CPU waiting: make the firmware check that the device is ready before using it, or give
    the watchdog more cycles.
    """
    for number in facts.where(lambda part: part.terminator == WATCHDOG):
        yield facts.sighting(number, partial(_describe_no_answer, facts, number))


def _describe_no_answer(facts: RunFacts, access: int) -> tuple[str, str]:
    found = facts.decoded(access)
    cycles = facts.system.fabric.watchdog
    message = (
        f"{facts.describe(access)}: unanswered for {cycles:,} cycles; the watchdog ended it with "
        f"ERR, and {facts.undone(access)}."
    )
    if found.slot is None:
        return message + " No slot decodes it.", nearest_hint(facts, found.address)
    return message, (
        f"Check what {found.slot.name} waits for; give the watchdog more cycles if it needs longer."
    )
