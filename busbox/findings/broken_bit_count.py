"""The rule ``broken-bit-count``."""

from __future__ import annotations

from collections.abc import Iterator

from busbox.findings.rule import RunFacts, Sighting


def broken_bit_count(facts: RunFacts) -> Iterator[Sighting]:
    """A frame on a lamp line has too many or too few bits for whole lamps.

    Why it matters: the lamps after the missing or extra bits show bits of their neighbours, or old
    colours.

    Example
    -------
    A reset interrupts a frame of two lamps (set ``mistakes``, bench ``lamp_bits``)::

        [[reset]]
        at = 615

        write lamps.CONTROL 1
        pause 100 us
        pause 100 us

    Finding
    -------
    string: Frame 0 has 31 bits, 7 beyond 1 whole lamp of 24 bits each: a chain is a bit too long or
    too short, and lamps show other colours than those sent.

    try: Look for a pulse that was lost or cut: a reset in the frame, a gap inside it, a loop that
    ends too early.

    What to do
    ----------
    If the string has four channels, set ``channels = 4``. Otherwise trace the frame's edges back to the
    traffic (``busbox why``), and count the bits that the firmware sends.
    """
    yield from ()  # decoders of lines report it
