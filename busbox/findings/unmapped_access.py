"""The rule ``unmapped-access``."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial
from typing import TYPE_CHECKING, Any

from busbox.bus.transfers import ERR
from busbox.findings.addresses import nearest_hint
from busbox.findings.rule import RunFacts, Sighting

if TYPE_CHECKING:
    from busbox.recording import Accesses


def unmapped_access(facts: RunFacts) -> Iterator[Sighting]:
    """An access went to an address that no slot decodes, and got ERR.

    It hurts because the write is lost, or the read is 0: on the board the peripheral simply does
    nothing. Usually a base address differs between firmware and hardware.

    Example
    -------
    The firmware tells the signal lamps how many of them there are. Its header has one digit of
    their base wrong, 0x41000000 for 0x44000000 (set ``mistakes``, bench ``addresses``)::

        write 0x41000008 1

    Finding
    -------
    write of 0x1 to 0x41000008: no slot answers at this address; the write is lost.

    try: The nearest slot is levers at 0x40000000..0x40000fff; the same offset there is
    levers.CLEAR (0x40000008). Make the base in the bench and the one in the firmware agree.

    What to do
    ----------
    See which constant of the firmware made the address, and give it the base that the hardware has.
    The nearest slot is a guess: here the lamps were meant. ``busbox where BENCH FILE.h`` checks every
    constant of a C header at once.
    """

    def unmapped(part: Accesses) -> Any:
        return (part.terminator == ERR) & (part.slot == -1)

    for number in facts.where(unmapped):
        yield facts.sighting(number, partial(_describe_unmapped, facts, number))


def _describe_unmapped(facts: RunFacts, access: int) -> tuple[str, str]:
    address = int(facts.recording.accesses.address[access])
    message = f"{facts.describe(access)}: no slot answers at this address; {facts.undone(access)}."
    return message, nearest_hint(facts, address)
