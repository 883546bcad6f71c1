"""The rule ``frame-missed``."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from busbox.basics.units import show_time
from busbox.findings.events import of_kind
from busbox.findings.rule import RunFacts, Sighting

if TYPE_CHECKING:
    from busbox.recording import Event


def frame_missed(facts: RunFacts) -> Iterator[Sighting]:
    """A frame was started while the previous one was still being sent; it is not sent.

    Why it matters: the lamps keep the old picture. BUSY covers the latch gap too.

    Example
    -------
    The firmware shows the two signal lamps twice, without waiting for the first frame to end (set
    ``mistakes``, bench ``too_fast``)::

        write lamps.COUNT 2
        write lamps.CONTROL 1
        write lamps.CONTROL 1

    Finding
    -------
    SEND was written while lamps was BUSY: this frame is not sent. It stays BUSY for another
    1,059 cycles (66.19 us).

    try: Poll lamps.STATUS until BUSY (bit 0) is 0 before writing SEND.

    What to do
    ----------
    Wait until BUSY is 0, then set the colours, then write SEND. If only the newest picture matters,
    check BUSY once and try again later.
    """
    clock = facts.system.clock_hz

    def describe(event: Event) -> tuple[str, str]:
        left = int(event.details["idle_from"]) - event.cycle
        return (
            f"SEND was written while {event.device} was BUSY: this frame is not sent. "
            f"It stays BUSY for another {left:,} cycles ({show_time(left, clock)}).",
            f"Poll {event.device}.STATUS until BUSY (bit 0) is 0 before writing SEND.",
        )

    return of_kind(facts, ("frame-missed",), describe)
