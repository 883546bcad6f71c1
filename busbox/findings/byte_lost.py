"""The rule ``byte-lost``."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from busbox.findings.events import of_kind
from busbox.findings.rule import RunFacts, Sighting

if TYPE_CHECKING:
    from busbox.recording import Event


def byte_lost(facts: RunFacts) -> Iterator[Sighting]:
    """A serial port lost a byte: it was written without room, or came while one was waiting.

    It hurts because the text has a gap.

    Example
    -------
    The firmware telegraphs three letters without waiting. The first is being sent, the second
    waits, and for the third there is no room (set ``mistakes``, bench ``too_fast``)::

        write telegraph.DATA 0x41
        write telegraph.DATA 0x42
        write telegraph.DATA 0x43

    Finding
    -------
    DATA was written while telegraph had no room: byte 0x43 'C' is lost.

    try: Poll telegraph.STATUS until TX_ROOM (bit 0) is 1 before DATA is written.

    What to do
    ----------
    Before each byte, wait until STATUS says TX_ROOM. Where bytes that came are lost, read DATA as
    soon as STATUS says RX_READY, or in an interrupt routine (INTERRUPT, ON_READY).
    """

    def describe(event: Event) -> tuple[str, str]:
        byte = int(event.details["byte"])
        shown = f" {chr(byte)!r}" if 32 <= byte < 127 else ""
        if event.kind == "rx-lost":
            return (
                f"{event.device} received byte {byte:#04x}{shown} while another was waiting to be "
                "read: the new one is lost.",
                f"Read {event.device}.DATA before the next byte ends: poll RX_READY more often, or use "
                "the interrupt.",
            )
        return (
            f"DATA was written while {event.device} had no room: byte {byte:#04x}{shown} is lost.",
            f"Poll {event.device}.STATUS until TX_ROOM (bit 0) is 1 before DATA is written.",
        )

    return of_kind(facts, ("byte-lost", "rx-lost"), describe, "DATA")
