"""The rule ``poll-storm``."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial

from busbox.findings.read_runs import read_runs
from busbox.findings.rule import RunFacts, Sighting


def poll_storm(facts: RunFacts) -> Iterator[Sighting]:
    """One register was read again and again, with no other access in between.

    Why it matters: the bus and the CPU can do nothing else meanwhile. Only checked if the bench sets
    ``poll_storm = N``; more than N reads in a row are one finding, at the first read above the limit.

    Example
    -------
    The firmware sends a letter and polls back to back until it has been sent: 80 reads, and one that
    sees the end (set ``mistakes``, bench ``waiting``)::

        poll_storm = 50

        write telegraph.DATA 0x41
        poll  telegraph.STATUS & 2 == 0

    Finding
    -------
    telegraph.STATUS was read 81 times in a row (from access 10 on), with no other access in between;
    the bench allows 50 (poll_storm).

    try: Wait for an interrupt instead, or leave more idle time between two reads.

    What to do
    ----------
    Use the device's interrupt: a uart raises it as soon as there is room for the next letter
    (INTERRUPT, ON_ROOM). Or do other work between two reads; in the traffic that is ``every N``.
    """
    limit = facts.system.poll_storm
    accesses = facts.recording.accesses
    if limit is None or len(accesses) <= limit:
        return

    for start, end in read_runs(facts, ("address",), limit + 1):
        yield facts.sighting(start + limit, partial(_describe_storm, facts, start, end - start))


def _describe_storm(facts: RunFacts, start: int, length: int) -> tuple[str, str]:
    found, limit = facts.decoded(start), facts.system.poll_storm
    return (
        f"{found.register or f'{found.address:#010x}'} was read {length:,} times in a row (from "
        f"access {start} on), with no other access in between; the bench allows "
        f"{limit:,} (poll_storm).",
        "Wait for an interrupt instead, or leave more idle time between two reads.",
    )
