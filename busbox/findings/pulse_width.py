"""The rule ``pulse-width``."""

from __future__ import annotations

from collections.abc import Iterator

from busbox.findings.rule import RunFacts, Sighting


def pulse_width(facts: RunFacts) -> Iterator[Sighting]:
    """A pulse on a lamp line, or the low after it, is shorter or longer than the lamps allow.

    Why it matters: a lamp may read a one for a zero or a zero for a one. If the bench names no profile,
    this is found only where the line meets none.

    Example
    -------
    Pulses that are right at 16 MHz are too short at 24 MHz (set ``mistakes``, bench ``lamp_clock``)::

        clock = "24 MHz"

        write lamps.HIGH 0x000d0007
        write lamps.PERIOD 0x1c200014
        write lamps.COLOUR.0 0x400000
        write lamps.CONTROL 1

    Finding
    -------
    string: No profile is kept; P3 is the nearest: frame 0, lamp 0, bit 0, read as a zero, is low for
    13 clocks (541.667 ns); P3 allows 580..1600 ns (47 of 48 bits fail).

    try: At 24 MHz P3 is kept by 7 clocks high for a zero and 16 for a one, 23 for a bit and 6,722 for
    the latch gap (busbox timing "24 MHz"). The summary shows every profile; profile = NAME judges by
    one. Set lamps.HIGH 0x00100007 and lamps.PERIOD 0x1a420017.

    What to do
    ----------
    Compute the counts from the clock (``busbox timing CLOCK``). On a bit-banged line, look for an
    interrupt: see the set ``bit_banging``.
    """
    yield from ()  # decoders of lines report it
