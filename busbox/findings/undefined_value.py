"""The rule ``undefined-value``."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial

from busbox.basics.errors import join_and, some_of
from busbox.bus.transfers import TERMINATORS
from busbox.findings.rule import RunFacts, Sighting
from busbox.map.bits import bits_in, show_bits
from busbox.recording import UndefinedSeen

#: Names in a hint, at the most.
SHOWN = 4
_LEVELS = ("low", "high", "released")
_ENDS = {
    "ack": "ACK", "error": "ERR", "watchdog": "ERR of the watchdog", "reset": "cut off by RST",
    "none": "no answer",
}  # fmt: skip


def undefined_value(facts: RunFacts) -> Iterator[Sighting]:
    """A bit that nothing has set reached the bus or a pin.

    Why it matters: after power-up it may be 0 or 1. Here it is 0, on the board it may not be. Found by
    a second run with all such bits 1: only the first difference of a register or pin is reported.

    Example
    -------
    The firmware reads the last train from a book in hardware before it has written one, and no reset
    sets that register: in Verilog, a ``reg`` without reset and initial value (set ``mistakes``, bench
    ``undefined``)::

        read  book.TRAIN
        write book.TRAIN 7

    Finding
    -------
    read of book.TRAIN (0x40000000) depends on undefined bits: 0x0 if they are 0, 0xff if they are 1
    (bits 7..0 differ).

    try: Set it by a reset or an initial value, or write it first (undefined in book: train).

    What to do
    ----------
    Set the register in the reset branch of its process, or give it an initial value if your FPGA loads
    initial values. Firmware must write a memory before it reads it.
    """
    for seen in facts.recording.undefined_seen:
        if seen.what == "level":
            name = f"{seen.slot}.{seen.pin}"
            describe = partial(_describe_level, facts, seen, name)
            yield Sighting(seen.cycle, seen.access, seen.slot, seen.pin, name, describe)
        else:
            yield facts.sighting(seen.access, partial(_describe_access, facts, seen), seen.cycle)


def _describe_level(facts: RunFacts, seen: UndefinedSeen, pin: str) -> tuple[str, str]:
    return (
        f"{pin} depends on undefined bits: {_LEVELS[seen.zeros]} if they are 0, "
        f"{_LEVELS[seen.ones]} if they are 1.",
        _hint(facts, seen),
    )


def _describe_access(facts: RunFacts, seen: UndefinedSeen) -> tuple[str, str]:
    access = facts.describe(seen.access)
    if seen.what == "word":
        zeros, ones = f"{seen.zeros:#x}", f"{seen.ones:#x}"
        bits = f" ({_bits(seen.zeros ^ seen.ones)})"
    else:
        access, bits = f"the answer to the {access}", ""
        ends = int(facts.recording.accesses.end[seen.access]), seen.end
        zeros, ones = (
            f"{_ENDS[TERMINATORS[terminator]]} in cycle {end:,}"
            for terminator, end in zip((seen.zeros, seen.ones), ends, strict=True)
        )
    text = f"{access} depends on undefined bits: {zeros} if they are 0, {ones} if they are 1"
    return f"{text}{bits}.", _hint(facts, seen)


def _bits(mask: int) -> str:
    """Return the bits of a mask as ranges: ``bits 7..4 and 0 differ``."""
    ranges = show_bits(bits_in(mask)).split(", ")
    one = len(ranges) == 1 and "." not in ranges[0]
    return f"bit {ranges[0]} differs" if one else f"bits {join_and(ranges)} differ"


def _hint(facts: RunFacts, seen: UndefinedSeen) -> str:
    """Return what to try: to set what is undefined in the slot, or in any if it has no such bits."""
    undefined = {
        device.name: device.model.undefined_for(device.settings)
        for device in facts.system.devices
        if device.model.in_amaranth
    }
    slots = [seen.slot] if undefined.get(seen.slot) else list(undefined)
    names = [f"{slot}: {some_of(undefined[slot], SHOWN)}" for slot in slots if undefined[slot]]
    return (
        "Set it by a reset or an initial value, or write it first "
        f"(undefined in {'; '.join(names)})."
    )
