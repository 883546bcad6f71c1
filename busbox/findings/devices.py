"""Rules about what devices report."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import partial
from typing import TYPE_CHECKING

from busbox.findings.rule import Evidence, Hit
from busbox.units import show_time

if TYPE_CHECKING:
    from busbox.recording import Event


def frame_missed(evidence: Evidence) -> Iterator[Hit]:
    """A frame was started while the last one was still under way; it is not sent.

    It hurts because the lamps keep the old picture. BUSY covers the latch gap too.
    """
    clock = evidence.system.clock_hz

    def tell(event: Event) -> tuple[str, str]:
        left = int(event.details["idle_from"]) - event.cycle
        return (
            f"SEND was written while {event.device} is BUSY: this frame is not sent. "
            f"It stays BUSY for another {left} cycles ({show_time(left, clock)}).",
            f"Poll {event.device}.STATUS until BUSY (bit 0) is 0 before SEND is written.",
        )

    return _of_kind(evidence, "frame-missed", tell)


def byte_lost(evidence: Evidence) -> Iterator[Hit]:
    """A byte was written to a serial port that had no room for it; it is not sent."""

    def tell(event: Event) -> tuple[str, str]:
        byte = int(event.details["byte"])
        shown = f" {chr(byte)!r}" if 32 <= byte < 127 else ""
        return (
            f"DATA was written while {event.device} had no room: byte {byte:#04x}{shown} is lost.",
            f"Poll {event.device}.STATUS until TX_ROOM (bit 0) is 1 before DATA is written.",
        )

    return _of_kind(evidence, "byte-lost", tell)


def _of_kind(
    evidence: Evidence, kind: str, tell: Callable[[Event], tuple[str, str]]
) -> Iterator[Hit]:
    for event in evidence.recording.events:
        if event.kind == kind:
            yield evidence.hit(event.access, partial(tell, event), event.cycle)
