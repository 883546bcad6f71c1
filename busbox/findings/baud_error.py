"""The rule ``baud-error``."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial
from typing import TYPE_CHECKING, Any

from busbox.basics.units import nearest_divisor, show_clock
from busbox.board.measured_rate import BAUD_PER_CENT
from busbox.bus.transfers import ACK
from busbox.findings.rule import RunFacts, Sighting

if TYPE_CHECKING:
    from busbox.map.slots import Slot
    from busbox.recording import Accesses


def baud_error(facts: RunFacts) -> Iterator[Sighting]:
    """A serial line is more than 2 % off the rate that the bench asks for.

    Why it matters: the far end reads wrong bytes, or none. Usually the divisor is for another clock.
    A uart's ``baud`` is checked with each divisor written, and with the reset divisor if it sent a
    byte; a terminal's ``baud`` with its edges. Low stop bits that follow are counted here, not as
    ``framing``.

    Example
    -------
    The divisor 139 gives 115,200 bits per second at 16 MHz. The cabin's clock is 24 MHz now, and the
    firmware writes no other divisor (set ``mistakes``, bench ``rates``)::

        clock = "24 MHz"

        [slot.telegraph]
        divisor = 139
        baud = 115_200

        write telegraph.DATA 0x41

    Finding
    -------
    telegraph.DIVISOR 139 (its reset value) at 24 MHz gives 172,662 bits per second instead of
    115,200 (+49.88 %).

    try: Write 208 to telegraph.DIVISOR before the first byte: the best divisor at this clock
    (+0.16 %).

    What to do
    ----------
    Compute the divisor from the clock in the firmware, (clock + rate / 2) / rate, and write it before
    the first byte; or correct the reset value in bench and hardware.
    """
    accesses, clock = facts.recording.accesses, facts.system.clock_hz
    for number, device in enumerate(facts.system.devices):
        wanted = device.settings.get("baud")
        address = facts.system.address_map.address_of(device.name, "DIVISOR")
        if not isinstance(wanted, int) or address is None:
            continue
        written = list(facts.where(partial(_writes, device.slot, number, address)))
        text = facts.recording.characters.get(device.name)
        first = int(accesses.end[written[0]]) if len(written) else None
        if text is not None and len(text.cycles) and (first is None or text.cycles[0] < first):
            divisor = device.settings["divisor"] or nearest_divisor(clock, 115_200, 16)
            if _off(clock, divisor, wanted):
                cause = int(text.accesses[0])
                describe = partial(_describe_baud, device.name, clock, divisor, wanted, True)
                yield facts.sighting(cause, describe)
        for access in written:
            divisor = int(accesses.data[access]) & 0xFFFF
            if _off(clock, divisor, wanted):
                describe = partial(_describe_baud, device.name, clock, divisor, wanted, False)
                yield facts.sighting(access, describe)


def _writes(slot: Slot, number: int, address: int, part: Accesses) -> Any:
    """Return which accesses wrote a slot's register at ``address``, at any image."""
    offsets = (part.address.astype("i8") - slot.base) % slot.size
    mine = (part.slot == number) & part.write & (part.terminator == ACK)
    return mine & (offsets == address - slot.base)


def _off(clock_hz: int, divisor: int, wanted: int) -> bool:
    return abs(clock_hz - wanted * max(1, divisor)) * 100 > BAUD_PER_CENT * wanted * max(1, divisor)


def _describe_baud(
    device: str, clock_hz: int, divisor: int, wanted: int, reset: bool
) -> tuple[str, str]:
    def error(count: int) -> str:
        return f"{100 * (clock_hz / count / wanted - 1):+.2f} %"

    count, best = max(1, divisor), nearest_divisor(clock_hz, wanted, 16)
    message = (
        f"{device}.DIVISOR {divisor}{' (its reset value)' if reset else ''} at {show_clock(clock_hz)} "
        f"gives {clock_hz / count:,.0f} bits per second instead of {wanted:,} ({error(count)})."
    )
    if _off(clock_hz, best, wanted):
        return message, (
            f"No divisor is close enough at this clock (best: {best:,}, {error(best)}); choose another "
            "rate or clock."
        )
    when = f"to {device}.DIVISOR before the first byte" if reset else "instead"
    return message, f"Write {best} {when}: the best divisor at this clock ({error(best)})."
