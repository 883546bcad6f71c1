"""The rule ``no-answer``."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial

from busbox.bus.transfers import WATCHDOG
from busbox.findings.addresses import nearest_hint
from busbox.findings.rule import RunFacts, Sighting


def no_answer(facts: RunFacts) -> Iterator[Sighting]:
    """Nobody answered an access, and the watchdog ended it with ERR.

    It hurts because the CPU stood still for the watchdog's time, and the access did nothing.

    Example
    -------
    The firmware drops a signal arm through a port that this hardware does not have. The fabric says
    nothing about it, but a watchdog counts (set ``mistakes``, bench ``silence``)::

        [fabric]
        unanswered = "silence"
        watchdog = 64

        write 0x50000000 1

    Finding
    -------
    write of 0x1 to 0x50000000: unanswered for 64 cycles; the watchdog ended it with ERR, and the
    write is lost. No slot decodes it.

    try: The nearest slot is levers at 0x40000000..0x40000fff; the same offset there is levers.OUT
    (0x40000000). Make the base in the bench and the one in the firmware agree.

    What to do
    ----------
    Where no slot decodes the address, mend the base as for unmapped-access. Where one does, its
    device kept the CPU waiting: let the firmware ask it whether it is ready before it uses it, or
    give the watchdog more cycles.
    """
    for number in facts.where(lambda part: part.terminator == WATCHDOG):
        yield facts.sighting(number, partial(_describe_no_answer, facts, number))


def _describe_no_answer(facts: RunFacts, access: int) -> tuple[str, str]:
    found = facts.decoded(access)
    cycles = facts.system.fabric.watchdog
    message = (
        f"{facts.describe(access)}: unanswered for {cycles} cycles; the watchdog ended it with "
        f"ERR, and {facts.undone(access)}."
    )
    if found.slot is None:
        return message + " No slot decodes it.", nearest_hint(facts, found.address)
    return message, (
        f"See what {found.slot.name} waits for; give the watchdog more cycles if it needs longer."
    )
