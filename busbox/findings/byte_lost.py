"""The rule ``byte-lost``."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from busbox.findings.events import of_kind
from busbox.findings.rule import RunFacts, Sighting

if TYPE_CHECKING:
    from busbox.recording import Event


def byte_lost(facts: RunFacts) -> Iterator[Sighting]:
    """A serial port lost a byte: a buffer was full when the byte was written or received.

    Why it matters: the text has a gap.

    Example
    -------
    The firmware telegraphs three letters without waiting. The first is being sent, the second is
    queued, and there is no room for the third (set ``mistakes``, bench ``too_fast``)::

        write telegraph.DATA 0x41
        write telegraph.DATA 0x42
        write telegraph.DATA 0x43

    Finding
    -------
    DATA was written while the transmit buffer of telegraph was full: byte 0x43 'C' is lost.

    try: Poll telegraph.STATUS until TX_ROOM (bit 0) is 1 before writing DATA.

    What to do
    ----------
    Before each byte, wait until TX_ROOM in STATUS is 1. If received bytes are lost, read DATA as soon
    as RX_READY in STATUS is 1, or in an interrupt handler (INTERRUPT, ON_READY).
    """

    def describe(event: Event) -> tuple[str, str]:
        byte = int(event.details["byte"])
        shown = f" {chr(byte)!r}" if 32 <= byte < 127 else ""
        if event.kind == "rx-lost":
            return (
                f"{event.device} received byte {byte:#04x}{shown} before the previous byte was read: "
                "the new one is lost.",
                f"Read {event.device}.DATA before the next byte is complete: poll RX_READY more often, "
                "or use the interrupt.",
            )
        return (
            f"DATA was written while the transmit buffer of {event.device} was full: byte "
            f"{byte:#04x}{shown} is lost.",
            f"Poll {event.device}.STATUS until TX_ROOM (bit 0) is 1 before writing DATA.",
        )

    return of_kind(facts, ("byte-lost", "rx-lost"), describe, "DATA")
