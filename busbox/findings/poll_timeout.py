"""The rule ``poll-timeout``."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial

from busbox.bus.transfers import ACK
from busbox.findings.rule import RunFacts, Sighting
from busbox.map.registers import WORD
from busbox.map.slots import Decoded
from busbox.recording import AwaitGivenUp, PollGivenUp


def poll_timeout(facts: RunFacts) -> Iterator[Sighting]:
    """A poll or an await reached its limit without seeing what it waits for.

    Why it matters: firmware without a limit would wait forever. In the run, the next step follows.

    Example
    -------
    The firmware waits for lever 4, which is never pulled (set ``mistakes``, bench ``waiting``)::

        poll  levers.IN & 0x10 == 0x10 every 4 limit 8

    Finding
    -------
    poll of levers.IN gave up after 8 reads: the last one returned 0x0, and (word & 0x10) == 0x10 was
    expected.

    try: Check what should change these bits (the device or an [[input]] of the bench), or give the
    poll a larger limit.

    What to do
    ----------
    Check that the right register and bit are polled, and what should change them: something that the
    firmware has to start first, or a pin that the bench must drive (``[[input]]``). Give the loop in
    the firmware a limit too, and report an error when it is reached.
    """
    recording = facts.recording
    sightings = [
        facts.sighting(poll.access, partial(_describe_poll, facts, poll))
        for poll in recording.polls_given_up
    ]
    sightings += [
        Sighting(
            one.cycle, -1, one.pin.partition(".")[0], "", one.pin, partial(_describe_await, one)
        )
        for one in recording.awaits_given_up
    ]
    yield from sorted(sightings, key=lambda sighting: sighting.cycle)


def _describe_await(given_up: AwaitGivenUp) -> tuple[str, str]:
    line = (
        "" if given_up.line < 0 else f" (line {given_up.line} of {given_up.file or 'the traffic'})"
    )
    return (
        f"await of {given_up.pin}{line} timed out after {given_up.limit}: the pin was never "
        f"{given_up.level}.",
        "Check what should drive this pin (a device, a wire or an [[input]] of the bench), or give "
        "the await a larger limit.",
    )


def _describe_poll(facts: RunFacts, poll: PollGivenUp) -> tuple[str, str]:
    access, accesses = poll.access, facts.recording.accesses
    found = facts.decoded(access)
    failed = accesses.terminator[access] != ACK
    last = "ended with ERR" if failed else f"returned {int(accesses.data[access]):#x}"
    kind, place = "until" if poll.at_least else "poll", found.register or f"{found.address:#010x}"
    return (
        f"{kind} of {place} gave up after {_reads(poll.limit)}: "
        f"the last one {last}, and {_condition(found, poll)} was expected.",
        "Find out why its reads end with ERR."
        if failed
        else "Check what should change these bits (the device or an [[input]] of the bench), or give "
        "the poll a larger limit.",
    )


def _reads(count: int) -> str:
    return "1 read" if count == 1 else f"{count:,} reads"


def _condition(found: Decoded, poll: PollGivenUp) -> str:
    """Return what a poll or an until waits for."""
    if not poll.at_least:
        return f"(word & {poll.mask:#x}) == {poll.value:#x}{_awaited(found, poll)}"
    word = f"word - {poll.since}" if poll.since else "word"
    masked = "" if poll.mask == WORD else f" & {poll.mask:#x}"
    return f"({word}{masked}) >= {poll.value:,}"


def _awaited(found: Decoded, poll: PollGivenUp) -> str:
    """Return the fields that a poll waits for: `` (TX_BUSY 0)``."""
    fields = [
        f"{field.name} {(poll.value & field.mask) >> field.low}"
        for field in (found.place.register.fields if found.place else ())
        if poll.mask & field.mask == field.mask and field.name != "VALUE"
    ]
    return f" ({', '.join(fields)})" if fields else ""
