"""The rule ``framing``."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from busbox.basics.units import show_clock
from busbox.findings.events import of_kind
from busbox.findings.rule import RunFacts, Sighting

if TYPE_CHECKING:
    from busbox.recording import Event


def framing(facts: RunFacts) -> Iterator[Sighting]:
    """A byte on a serial line had no stop bit or the wrong parity.

    It hurts because the text has a gap. Usually the two ends have different rates or formats, or the
    line was held low (a break).

    Example
    -------
    The next cabin telegraphs fifteen times more slowly than this one listens: where this one looks
    for the stop bit, the start bit is still there (set ``mistakes``, bench ``rates``)::

        [[input]]
        at = "20 us"
        pin = "telegraph.rx"
        bytes = [0]
        rate = 11_520

        pause 400 us

    Finding
    -------
    telegraph found the line low where the stop bit should be: the byte 0x00 is dropped; it was
    sampled at 24 MHz / 139 = 172662 bits per second.

    try: Set telegraph.DIVISOR so that clock / DIVISOR is the sender's rate; a break (the line
    held low) looks the same.

    What to do
    ----------
    Divide the clock by the sender's rate and write the result to DIVISOR: here 24 MHz / 11520, 2083.
    Where the rates agree, the line was held low: see who drives it. A terminal at a pin tells the
    shortest time between two edges, which is a bit of the sender or a few.
    """

    def describe(event: Event) -> tuple[str, str]:
        return (
            f"{event.device} found the line low where the stop bit should be: the byte "
            f"{int(event.details['byte']):#04x} is dropped{_sampled(facts, event)}.",
            f"Set {event.device}.DIVISOR so that clock / DIVISOR is the sender's rate; a break (the "
            "line held low) looks the same.",
        )

    yield from of_kind(facts, ("framing",), describe, "DATA")


def _sampled(facts: RunFacts, event: Event) -> str:
    """Return the rate at which a byte was sampled, if the device tells it."""
    if "clocks" not in event.details:
        return ""
    clock, clocks = facts.system.clock_hz, int(event.details["clocks"])
    return (
        f"; it was sampled at {show_clock(clock)} / {clocks} = {clock / clocks:.0f} bits per second"
    )
