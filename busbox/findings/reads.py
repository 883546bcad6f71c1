"""Rules about what reads gave."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial
from itertools import chain, pairwise
from typing import TYPE_CHECKING, Any

import numpy as np

from busbox.bus.transfers import ACK
from busbox.findings.rule import RunFacts, Sighting
from busbox.map.registers import LANE_MASKS, lane_mask
from busbox.map.slots import Decoded

if TYPE_CHECKING:
    from busbox.recording import Accesses, AwaitGivenUp, PollGivenUp


def read_differs(facts: RunFacts) -> Iterator[Sighting]:
    """A read gave something else than was recorded.

    It hurts because from there on the firmware might have gone another way: the rest of the traffic
    is only what it did when it saw the recorded word. Reads that ended with ERR are not compared.

    Example
    -------
    When the traffic was recorded, lever 4 was pulled. In this bench nobody pulls it (set
    ``mistakes``, bench ``waiting``)::

        read levers.IN = 0x10

    Finding
    -------
    read of levers.IN (0x40000010) gave 0x0, recorded was 0x10.

    try: If what was read is wrong, see what should have made it: the device, or an [[input]] of
    the bench. If it is right, record the traffic again with this timing, or make the read a poll.

    What to do
    ----------
    Decide which of the two words is right. Here, have the bench pull the lever (an ``[[input]]`` of
    levers.in.4). Where the firmware waited for something, write ``poll`` for its reads.
    """

    def differs(part: Accesses) -> Any:
        compared = ~part.write & (part.terminator == ACK) & (part.expected >= 0)
        selected = np.take(LANE_MASKS, part.lanes)
        return compared & ((part.data.astype("i8") ^ part.expected) & selected != 0)

    for number in facts.where(differs):
        yield facts.hit(number, partial(_tell_differs, facts, number))


def _tell_differs(facts: RunFacts, access: int) -> tuple[str, str]:
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
    message = f"{facts.describe(access)} gave {seen:#x}, recorded was {expected:#x}{detail}."
    return message, (
        "If what was read is wrong, see what should have made it: the device, or an [[input]] of the "
        "bench. If it is right, record the traffic again with this timing, or make the read a poll."
    )


def poll_storm(facts: RunFacts) -> Iterator[Sighting]:
    """One register was read again and again, with no other access between.

    It hurts because the bus and the CPU do nothing else meanwhile; an interrupt, or more idle time
    between two reads, would leave room. Only where the bench sets ``poll_storm = N``; a run of more
    than N reads is one finding, at the first read too many.

    Example
    -------
    The firmware sends a letter and waits until it has left, with reads back to back: 80 of them,
    and one that sees the end (set ``mistakes``, bench ``waiting``)::

        poll_storm = 50

        write telegraph.DATA 0x41
        poll  telegraph.STATUS & 2 == 0

    Finding
    -------
    telegraph.STATUS was read 81 times in a row (from access 10 on), with no other access between;
    the bench allows 50 (poll_storm).

    try: Wait for an interrupt instead, or leave more idle time between two reads.

    What to do
    ----------
    Let the device call: a uart does as soon as there is room again (INTERRUPT, ON_ROOM), which is all
    that the next letter needs. Or do other work between two reads; in the traffic that is ``every N``.
    """
    limit = facts.system.poll_storm
    accesses = facts.recording.accesses
    if limit is None or len(accesses) <= limit:
        return

    def changes(part: Accesses) -> Any:
        """Tell the accesses that begin a run; the first of a window only may."""
        begins = np.ones(len(part), dtype=bool)
        begins[1:] = part.write[1:] | part.write[:-1] | (part.address[1:] != part.address[:-1])
        return begins

    def run_goes_on(number: int) -> bool:
        before = number - 1
        same = accesses.address[number] == accesses.address[before]
        return bool(same and not accesses.write[number] and not accesses.write[before])

    begins = (one for one in facts.where(changes) if one == 0 or not run_goes_on(one))
    for start, end in pairwise(chain(begins, [len(accesses)])):
        if end - start > limit and not accesses.write[start]:
            yield facts.hit(start + limit, partial(_tell_storm, facts, start, end - start))


def _tell_storm(facts: RunFacts, start: int, length: int) -> tuple[str, str]:
    found, limit = facts.decoded(start), facts.system.poll_storm
    return (
        f"{found.register or f'{found.address:#010x}'} was read {length} times in a row (from access "
        f"{start} on), with no other access between; the bench allows {limit} (poll_storm).",
        "Wait for an interrupt instead, or leave more idle time between two reads.",
    )


def poll_timeout(facts: RunFacts) -> Iterator[Sighting]:
    """A poll, or an await, reached its limit without seeing what it waits for.

    It hurts because firmware without a limit would wait for ever; here the next step follows.

    Example
    -------
    The firmware waits for lever 4, and nobody pulls it (set ``mistakes``, bench ``waiting``)::

        poll  levers.IN & 0x10 == 0x10 every 4 limit 8

    Finding
    -------
    poll of levers.IN: given up after 8 reads; the last one gives 0x0, and it waits for (word &
    0x10) == 0x10.

    try: See what should change these bits (the device, or an [[input]] of the bench), or give the
    poll a larger limit.

    What to do
    ----------
    See whether the right register and bit are read, and what should change them: something that the
    firmware has to start first, or a pin that the bench must drive (``[[input]]``). Give such a loop a
    limit in the firmware too, with an error after it.
    """
    hits = [
        facts.hit(poll.access, partial(_tell_poll, facts, poll))
        for poll in facts.recording.polls_given_up
    ]
    hits += [
        Sighting(one.cycle, -1, one.pin.partition(".")[0], "", one.pin, partial(_tell_await, one))
        for one in facts.recording.awaits_given_up
    ]
    yield from sorted(hits, key=lambda hit: hit.cycle)


def _tell_await(given_up: AwaitGivenUp) -> tuple[str, str]:
    line = "" if given_up.line < 0 else f" (line {given_up.line} of the traffic)"
    return (
        f"await of {given_up.pin}{line}: given up after {given_up.limit}; it never showed "
        f"{given_up.level}.",
        "See what should move this pin (a device, a wire or an [[input]] of the bench), or give the "
        "await a larger limit.",
    )


def _tell_poll(facts: RunFacts, poll: PollGivenUp) -> tuple[str, str]:
    access, accesses = poll.access, facts.recording.accesses
    found = facts.decoded(access)
    failed = accesses.terminator[access] != ACK
    gives = "ends with ERR" if failed else f"gives {int(accesses.data[access]):#x}"
    return (
        f"poll of {found.register or f'{found.address:#010x}'}: given up after {poll.limit} reads; "
        f"the last one {gives}, and it waits for (word & {poll.mask:#x}) == {poll.value:#x}"
        f"{_awaited(found, poll)}.",
        "Mend what ends its reads with ERR."
        if failed
        else "See what should change these bits (the device, or an [[input]] of the bench), or give "
        "the poll a larger limit.",
    )


def _awaited(found: Decoded, poll: PollGivenUp) -> str:
    """Return the fields that a poll waits for: ``, that is TX_BUSY 0``."""
    fields = [
        f"{field.name} {(poll.value & field.mask) >> field.low}"
        for field in (found.place.register.fields if found.place else ())
        if poll.mask & field.mask == field.mask and field.name != "VALUE"
    ]
    return f", that is {', '.join(fields)}" if fields else ""
