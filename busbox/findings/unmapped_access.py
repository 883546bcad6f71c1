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

    Why it matters: the write is lost, or the read returns 0; on the board the peripheral simply does
    nothing. Usually a base address differs between firmware and hardware.

    Example
    -------
    The firmware sets the number of signal lamps. One digit of their base is wrong in its header,
    0x41000000 instead of 0x44000000 (set ``mistakes``, bench ``addresses``)::

        write 0x41000008 1

    Finding
    -------
    write of 0x1 to 0x41000008: no slot answers at this address; the write is lost.

    try: The nearest slot is levers at 0x40000000..0x40000fff; the same offset there is
    levers.CLEAR (0x40000008). Use the same base address in the bench and in the firmware.

    What to do
    ----------
    Find the constant in the firmware that the address comes from, and set it to the base in hardware.
    The nearest slot is only a guess: here the lamps were intended. ``busbox where BENCH FILE.h`` checks
    every constant of a C header at once.
    """

    def unmapped(part: Accesses) -> Any:
        return (part.terminator == ERR) & (part.slot == -1)

    for number in facts.where(unmapped):
        yield facts.sighting(number, partial(_describe_unmapped, facts, number))


def _describe_unmapped(facts: RunFacts, access: int) -> tuple[str, str]:
    address = int(facts.recording.accesses.address[access])
    message = f"{facts.describe(access)}: no slot answers at this address; {facts.undone(access)}."
    return message, nearest_hint(facts, address)
