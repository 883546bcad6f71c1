"""The rule ``bus-hang``."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial
from typing import TYPE_CHECKING

from busbox.bus.transfers import NONE
from busbox.findings.addresses import nearest_hint
from busbox.findings.rule import RunFacts, Sighting

if TYPE_CHECKING:
    from busbox.recording import HandlerStorm


def bus_hang(facts: RunFacts) -> Iterator[Sighting]:
    """An access was never answered, or interrupt handlers left the CPU no time to make progress.

    Why it matters: on the board only a reset helps. Usually a silent fabric has no watchdog, a device
    waits for something that never comes, or a handler does not clear its interrupt.

    Example
    -------
    The firmware reads the status of a bell that is not built in. The fabric does not answer at such
    an address, and there is no watchdog (set ``mistakes``, bench ``hang``)::

        [fabric]
        unanswered = "silence"

        read 0x50000000

    Finding
    -------
    read of 0x50000000: unanswered for 500 cycles (the limit hang_after); the run ends here.
    Nothing has changed since cycle 4 and no further input is due, so it would never be answered. No
    slot decodes it.

    try: The nearest slot is levers at 0x40000000..0x40000fff; the same offset there is levers.OUT
    (0x40000000). Use the same base address in the bench and in the firmware. A fabric that does not
    answer needs a watchdog.

    What to do
    ----------
    Correct the address, or provide what the device waits for. Then give the fabric a watchdog anyway,
    in bench and hardware: the next such access ends with ERR, and the firmware continues.
    """
    storm = facts.recording.handler_storm
    if storm is not None:
        cycle, slot = facts.recording.cycles - 1, storm.pin.partition(".")[0]
        describe = partial(_describe_storm, storm, cycle - storm.since)
        yield Sighting(cycle, -1, slot, "", storm.pin, describe)
    elif facts.recording.ended == "hang":
        (access,) = facts.where(lambda part: part.terminator == NONE)
        yield facts.sighting(access, partial(_describe_hang, facts, access))


def _describe_storm(storm: HandlerStorm, cycles: int) -> tuple[str, str]:
    return (
        f"handler {storm.handler} ran back to back for {cycles:,} cycles (the limit hang_after) "
        f"because {storm.pin} stays high: the main program never resumes; the run ends here.",
        f"Make the handler clear what holds {storm.pin} high, for example by writing 1 to a flag.",
    )


def _describe_hang(facts: RunFacts, access: int) -> tuple[str, str]:
    found = facts.decoded(access)
    waited = facts.system.hang_after
    message = (
        f"{facts.describe(access)}: unanswered for {waited:,} cycles (the limit hang_after); "
        "the run ends here."
    )
    quiet_since = facts.recording.quiet_since
    if quiet_since is not None:
        message += (
            f" Nothing has changed since cycle {quiet_since:,} and no further input is due, so it "
            "would never be answered."
        )
    if found.slot is None:
        return message + " No slot decodes it.", (
            f"{nearest_hint(facts, found.address)} A fabric that does not answer needs a watchdog."
        )
    return (
        message,
        f"Check what {found.slot.name} waits for; a watchdog would end the access with ERR.",
    )
