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
    """An access was never answered, or handlers left the CPU no cycle: it would never get on.

    It hurts because nothing goes on after it; on the board only a reset helps. Usually a silent fabric
    has no watchdog, a device waits for something that never comes, or a handler does not clear what
    called it.

    Example
    -------
    The firmware asks a bell that is not built in whether it rings. The fabric says nothing about
    such an address, and there is no watchdog (set ``mistakes``, bench ``hang``)::

        [fabric]
        unanswered = "silence"

        read 0x50000000

    Finding
    -------
    read of 0x50000000: unanswered for 500 cycles (the limit hang_after); the run ends here.
    Nothing has moved since cycle 4 and nothing more is to come: it would never be answered. No
    slot decodes it.

    try: The nearest slot is levers at 0x40000000..0x40000fff; the same offset there is levers.OUT
    (0x40000000). Make the base in the bench and the one in the firmware agree. A fabric that is
    silent needs a watchdog.

    What to do
    ----------
    Mend the address, or what the device waits for. Then give the fabric a watchdog all the same, here
    and in the hardware: the next mistake of this kind ends with ERR, and the firmware goes on.
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
        f"handler {storm.handler} was taken again and again for {cycles} cycles (the limit "
        f"hang_after), because {storm.pin} stays high: the CPU never comes back to its steps; the "
        "run ends here.",
        f"Have the handler end what holds {storm.pin} high, such as a flag that wants a one written.",
    )


def _describe_hang(facts: RunFacts, access: int) -> tuple[str, str]:
    found = facts.decoded(access)
    waited = facts.system.hang_after
    message = (
        f"{facts.describe(access)}: unanswered for {waited} cycles (the limit hang_after); "
        "the run ends here."
    )
    quiet_since = facts.recording.quiet_since
    if quiet_since is not None:
        message += (
            f" Nothing has moved since cycle {quiet_since} and nothing more is to come: it "
            "would never be answered."
        )
    if found.slot is None:
        return message + " No slot decodes it.", (
            f"{nearest_hint(facts, found.address)} A fabric that is silent needs a watchdog."
        )
    return message, f"See what {found.slot.name} waits for; a watchdog would end it with ERR."
