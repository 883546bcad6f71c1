"""The rule ``read-differs``."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial
from typing import TYPE_CHECKING, Any

from busbox.bus.transfers import ACK
from busbox.findings.certain import Vouching, differs
from busbox.findings.rule import RunFacts, Sighting
from busbox.map.registers import lane_mask

if TYPE_CHECKING:
    from busbox.recording import Accesses


def read_differs(facts: RunFacts) -> Iterator[Sighting]:
    """A read returned something other than was recorded.

    Why it matters: from there on the firmware might have taken another path; the rest of the traffic
    is what it did after the recorded word; the summary says until when a run is certain. Reads that
    ended with ERR are not compared here, and neither are those that the bench calls ``harmless``.

    Example
    -------
    When the traffic was recorded, lever 4 was pulled. In this bench it is not pulled (set
    ``mistakes``, bench ``waiting``)::

        read levers.IN = 0x10

    Finding
    -------
    read of levers.IN (0x40000010) returned 0x0, but 0x10 was recorded.

    try: If the value read is wrong, check what should have produced it: the device or an [[input]] of
    the bench. If it is right, record the traffic again with this timing, or make the read a poll.

    What to do
    ----------
    Decide which of the two words is right. Here, pull the lever in the bench (an ``[[input]]`` of
    levers.in.4). Where the firmware waited for something, use ``poll`` instead of its reads.
    """

    def given(part: Accesses) -> Any:
        return differs(part) & (part.terminator == ACK)

    vouching = Vouching(facts)
    for number in facts.where(given):
        if not vouching.harmless(number):
            yield facts.sighting(number, partial(_describe_differs, facts, number))


def _describe_differs(facts: RunFacts, access: int) -> tuple[str, str]:
    accesses = facts.recording.accesses
    mask = lane_mask(int(accesses.lanes[access]))
    seen, expected = int(accesses.data[access]) & mask, int(accesses.expected[access]) & mask
    place = facts.decoded(access).place
    fields = [
        f"{field.name} is {(seen & field.mask) >> field.low}, "
        f"was {(expected & field.mask) >> field.low}"
        for field in (place.register.fields if place else ())
        if (seen ^ expected) & field.mask and field.name != "VALUE"
    ]
    detail = f" ({'; '.join(fields)})" if fields else ""
    message = (
        f"{facts.describe(access)} returned {seen:#x}, but {expected:#x} was recorded{detail}."
    )
    return message, (
        "If the value read is wrong, check what should have produced it: the device or an [[input]] of "
        "the bench. If it is right, record the traffic again with this timing, or make the read a poll."
    )
