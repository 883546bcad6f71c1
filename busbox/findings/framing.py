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
    """A serial port, or a terminal, received a byte without a stop bit, and dropped it.

    Why it matters: the text has a gap. Usually the two ends have different rates, or the line was held
    low (a break).

    Example
    -------
    The next cabin sends at a fifteenth of the rate at which this one samples: where the stop bit
    should be, the start bit is still there (set ``mistakes``, bench ``rates``)::

        [[input]]
        at = "20 us"
        pin = "telegraph.rx"
        bytes = [0]
        rate = 11_520

        pause 400 us

    Finding
    -------
    telegraph received byte 0x00 with the line low instead of a stop bit, and dropped it; it was
    sampled at 24 MHz / 139 = 172,662 bits per second.

    try: Set telegraph.DIVISOR so that clock / DIVISOR is the sender's rate; a break (the line
    held low) looks the same.

    What to do
    ----------
    Divide the clock by the sender's rate and write the result to DIVISOR: here 24 MHz / 11,520 = 2083.
    If the rates agree, the line was held low: check what drives it. A terminal at the pin reports the
    shortest time between two edges: one bit of the sender, or a few.
    """

    def describe(event: Event) -> tuple[str, str]:
        return (
            f"{event.device} received byte {int(event.details['byte']):#04x} with the line low instead "
            f"of a stop bit, and dropped it{_sampled(facts, event)}.",
            f"Set {event.device}.DIVISOR so that clock / DIVISOR is the sender's rate; a break (the "
            "line held low) looks the same.",
        )

    yield from of_kind(facts, ("framing",), describe, "DATA")


def _sampled(facts: RunFacts, event: Event) -> str:
    """Return the rate at which a byte was sampled, if the device reports it."""
    if "clocks" not in event.details:
        return ""
    clock, clocks = facts.system.clock_hz, int(event.details["clocks"])
    return f"; it was sampled at {show_clock(clock)} / {clocks} = {clock / clocks:,.0f} bits per second"
