"""The rule ``latch-gap``."""

from __future__ import annotations

from collections.abc import Iterator

from busbox.findings.rule import RunFacts, Sighting


def latch_gap(facts: RunFacts) -> Iterator[Sighting]:
    """The pause between two frames on a lamp line is too short to end a frame.

    Why it matters: the bits of the next frame pass through the string and out of its last lamp, and the
    old picture stays.

    Example
    -------
    Two frames with a gap of 240 clocks, 15 us at 16 MHz (set ``mistakes``, bench ``lamp_gap``)::

        write lamps.HIGH 0x000d0007
        write lamps.PERIOD 0x00f00014
        write lamps.CONTROL 1
        poll  lamps.STATUS & 1 == 0 every 10 limit 1000
        write lamps.CONTROL 1

    Finding
    -------
    string: The latch gap behind frame 0 lasts 257 clocks (16.062 us), so that the lamps take what
    follows for the same frame; P4 allows > 50 us.

    try: Let it last longer: at this clock P4 allows 801 clocks or more.

    What to do
    ----------
    Raise the gap in PERIOD (bits 31..16), or wait longer before the next frame. Parts differ widely:
    50 us are enough for some, others need 280 us (``busbox timing CLOCK``).
    """
    yield from ()  # decoders of lines report it
