"""Rules about what devices report."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import partial
from typing import TYPE_CHECKING

import numpy as np

from busbox.engines import ACK
from busbox.findings.rule import Evidence, Hit
from busbox.units import nearest_divisor, show_clock, show_time

if TYPE_CHECKING:
    from busbox.recording import Event, IntColumn


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

    return _of_kind(evidence, ("frame-missed",), tell)


def byte_lost(evidence: Evidence) -> Iterator[Hit]:
    """A serial port lost a byte: it was written without room, or came while one was waiting.

    It hurts because the text has a gap.
    """

    def tell(event: Event) -> tuple[str, str]:
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

    return _of_kind(evidence, ("byte-lost", "rx-lost"), tell, "DATA")


def framing(evidence: Evidence) -> Iterator[Hit]:
    """A serial port received a byte without a stop bit, and dropped it.

    It hurts because the text has a gap. Usually the two ends have different rates, or the line was
    held low (a break).
    """

    def tell(event: Event) -> tuple[str, str]:
        return (
            f"{event.device} found the line low where the stop bit should be: the byte "
            f"{int(event.details['byte']):#04x} is dropped.",
            f"Compare the sender's rate with clock / {event.device}.DIVISOR; a break looks the same.",
        )

    return _of_kind(evidence, ("framing",), tell, "DATA")


def uninitialised_read(evidence: Evidence) -> Iterator[Hit]:
    """A word of memory was read that nobody had written.

    It hurts because block memory holds anything after power-up: here the read gives 0, on the board it
    may not.
    """

    def tell(event: Event) -> tuple[str, str]:
        return (
            f"{event.device}: the word at offset {int(event.details['offset']):#x} was read before "
            "anything was written to it; it gives 0 here.",
            "Write it first, or give the memory its contents (file = ...).",
        )

    return _of_kind(evidence, ("uninitialised-read",), tell)


def rom_write(evidence: Evidence) -> Iterator[Hit]:
    """A write went to a read-only memory, and was dropped.

    It hurts because the variable keeps its old value. Usually a section is linked to the wrong place.
    """

    def tell(event: Event) -> tuple[str, str]:
        return (
            f"{event.device} is a ROM: the write to offset {int(event.details['offset']):#x} does "
            "nothing.",
            'Move what is written to a RAM (linker script), or make the slot kind = "ram".',
        )

    return _of_kind(evidence, ("rom-write",), tell)


def _of_kind(
    evidence: Evidence,
    kinds: tuple[str, ...],
    tell: Callable[[Event], tuple[str, str]],
    register: str = "",
) -> Iterator[Hit]:
    """Yield a hit for each event of these kinds; ``register`` names it where no access does."""
    for event in evidence.recording.events:
        if event.kind not in kinds:
            continue
        if event.access >= 0:
            yield evidence.hit(event.access, partial(tell, event), event.cycle)
        else:
            key = f"{event.device}.{register}"
            yield Hit(event.cycle, -1, event.device, register, key, partial(tell, event))


#: Difference of a serial rate from the wanted one that is too much, in per cent: less than half of
#: what an ideal mid-bit receiver takes over 9.5 bits (5.26 %, computed).
BAUD_PER_CENT = 2


def baud_error(evidence: Evidence) -> Iterator[Hit]:
    """A serial port's divisor gives another rate than the bench wants, by more than 2 per cent.

    It hurts because the far end reads other bytes, or none. Usually the divisor is for another clock.
    Only for a uart whose slot says ``baud``; each divisor that is in force is looked at once: the
    reset value if a byte was sent before any other was written, and each one written.
    """
    accesses, clock = evidence.recording.accesses, evidence.system.clock_hz
    for number, placed in enumerate(evidence.system.devices):
        wanted = placed.settings.get("baud")
        address = evidence.system.address_map.address_of(placed.slot.name, "DIVISOR")
        if not isinstance(wanted, int) or address is None:
            continue
        mine = (accesses.slot == number) & accesses.write & (accesses.terminator == ACK)
        offsets = accesses.address.astype("i8") - placed.slot.base
        written = np.flatnonzero(mine & (offsets % placed.slot.size == address - placed.slot.base))
        text = evidence.recording.characters.get(placed.slot.name)
        first = int(accesses.end[written[0]]) if len(written) else None
        if text is not None and len(text.cycles) and (first is None or text.cycles[0] < first):
            divisor = placed.settings["divisor"] or nearest_divisor(clock, 115_200, 16)
            if _off(clock, divisor, wanted):
                cause = int(text.accesses[0])
                tell = partial(_tell_baud, placed.slot.name, clock, divisor, wanted)
                yield evidence.hit(cause, tell)
        for access in written.tolist():
            divisor = int(accesses.data[access]) & 0xFFFF
            if _off(clock, divisor, wanted):
                tell = partial(_tell_baud, placed.slot.name, clock, divisor, wanted)
                yield evidence.hit(access, tell)


def _off(clock_hz: int, divisor: int, wanted: int) -> bool:
    return abs(clock_hz - wanted * max(1, divisor)) * 100 > BAUD_PER_CENT * wanted * max(1, divisor)


def _tell_baud(device: str, clock_hz: int, divisor: int, wanted: int) -> tuple[str, str]:
    def error(count: int) -> str:
        return f"{100 * (clock_hz / count / wanted - 1):+.2f} %"

    count, best = max(1, divisor), nearest_divisor(clock_hz, wanted, 16)
    return (
        f"{device}.DIVISOR {divisor} at {show_clock(clock_hz)} gives {clock_hz / count:.0f} bits per "
        f"second; {wanted} are wanted ({error(count)}).",
        f"The nearest divisor for this clock is {best} ({error(best)}).",
    )


def interrupt_stuck(evidence: Evidence) -> Iterator[Hit]:
    """An interrupt stayed high for long, and nobody looked at its device.

    It hurts because the CPU would be called again and again, or has forgotten the interrupt. Only where
    the bench sets ``stuck_after``; counted from the rise, or from the last access to the device.
    """
    limit, recording = evidence.system.stuck_after, evidence.recording
    if limit is None:
        return
    for number, placed in enumerate(evidence.system.devices):
        ends = recording.accesses.end[recording.accesses.slot == number]
        for pin in placed.pins:
            if pin.direction == "output" and pin.name in INTERRUPTS:
                yield from _stuck(evidence, f"{placed.slot.name}.{pin.name}", ends, limit)


#: Output pins that ask for the CPU's attention.
INTERRUPTS = ("interrupt", "ring")


def _stuck(evidence: Evidence, pin: str, ends: IntColumn, limit: int) -> Iterator[Hit]:
    line = evidence.recording.lines[pin]
    falls = np.append(line.cycles[1:], evidence.recording.cycles)
    for rise, fall, level, cause in zip(
        line.cycles.tolist(),
        falls.tolist(),
        line.levels.tolist(),
        line.accesses.tolist(),
        strict=True,
    ):
        if level != 1:
            continue
        inside = ends[(ends >= rise) & (ends < fall)].tolist()
        for start, end in zip([rise, *inside], [*inside, fall], strict=True):
            if end - start >= limit:
                slot, _, name = pin.partition(".")
                tell = partial(_tell_stuck, pin, start, end - start)
                yield Hit(start + limit, cause, slot, name, pin, tell)
                break


def _tell_stuck(pin: str, start: int, cycles: int) -> tuple[str, str]:
    device = pin.partition(".")[0]
    return (
        f"{pin} is high from cycle {start} on for {cycles} cycles without an access to {device}.",
        f"Clear in the handler what raised it: write the ones of {device}'s EVENTS or STATUS back.",
    )
