"""Rules about how registers were reached: images, holes, rights, lanes."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np

from busbox.basics.errors import one_of
from busbox.bus.transfers import ACK
from busbox.findings.rule import RunFacts, Sighting
from busbox.map.registers import Register, lane_mask, show_lanes
from busbox.map.slots import Decoded

if TYPE_CHECKING:
    from busbox.recording import Accesses

#: Says of one kind of access (decoded address, write, lanes) whether it may be a case at all.
Filter = Callable[[Decoded, bool, int], bool]


def _acknowledged(facts: RunFacts, applies: Filter) -> Iterator[int]:
    """Return the acknowledged accesses of the kinds to which ``applies`` says yes, in order.

    Accesses are looked at once for each (address, write, lanes) that occurs, not one by one.
    """

    def chosen(part: Accesses) -> Any:
        kinds = part.address.astype("i8") << 5 | part.lanes.astype("i8") << 1 | part.write
        unique, places = np.unique(kinds, return_inverse=True)
        applied = np.zeros(len(unique), dtype=bool)
        for place, kind in enumerate(unique.tolist()):
            found = facts.system.address_map.decode(kind >> 5)
            if found.slot is not None:
                applied[place] = applies(found, bool(kind & 1), kind >> 1 & 15)
        return (part.terminator == ACK) & (part.slot >= 0) & applied[places]

    return facts.where(chosen)


def _register(found: Decoded) -> Register | None:
    return found.place.register if found.place is not None else None


def image_access(facts: RunFacts) -> Iterator[Sighting]:
    """An access reached a slot through an image.

    An image is an address at which a slot answers only because some bits are not compared. It hurts
    because it works by chance: another slot put there, or a decoder that compares more bits, and the
    same firmware reaches something else. Usually a base address is wrong in those bits.

    Example
    -------
    The decoder of the lamps looks at the top eight bits only. The firmware has a digit of their
    base wrong, and they answer all the same (set ``mistakes``, bench ``addresses``)::

        [slot.lamps]
        base = 0x4400_0000
        compare = "31..24"

        write 0x44100008 1

    Finding
    -------
    write of 0x1 to lamps.COUNT (0x44100008): this is image 256 of lamps, which answers here
    because only some bits are compared (bits 31..24 compared).

    try: Use the address 0x44000008 in the firmware, or have the decoder compare more bits.

    What to do
    ----------
    Take the slot's own base in the firmware, and nothing else changes. ``busbox map BENCH`` shows
    which addresses are images. If the images are meant, they may stay; the finding then says where
    they are used.
    """
    for number in _acknowledged(facts, lambda found, write, lanes: found.image != 0):
        yield facts.hit(number, partial(_tell_image, facts, number))


def _tell_image(facts: RunFacts, access: int) -> tuple[str, str]:
    found = facts.decoded(access)
    assert found.slot is not None
    home = found.slot.base + found.offset
    return (
        f"{facts.describe(access)}: this is image {found.image} of {found.slot.name}, which answers "
        f"here because only some bits are compared ({found.slot.how}).",
        f"Use the address {home:#010x} in the firmware, or have the decoder compare more bits.",
    )


def register_hole(facts: RunFacts) -> Iterator[Sighting]:
    """An access inside a slot went to an offset at which the device has no register.

    It hurts because it is acknowledged all the same: a read gives 0, a write is lost, and nobody
    complains. Usually an offset is wrong.

    Example
    -------
    The firmware looks for the events of the levers one register too far: EVENTS, the last one, is
    at 0x20 (set ``mistakes``, bench ``registers``)::

        read 0x40000024

    Finding
    -------
    read of levers+0x24 (0x40000024): levers has no register at offset 0x24; the read gives 0. The
    nearest is EVENTS at offset 0x20.

    try: Compare the offset in the firmware with the registers of levers (busbox models).

    What to do
    ----------
    Mend the offset in the firmware's header: ``busbox models gpio`` shows the registers of a model, and
    ``busbox where BENCH ADDRESS`` what one address reaches. A pointer to a struct is wrong like this
    where the struct lacks a gap that the device has.
    """
    for number in _acknowledged(facts, lambda found, write, lanes: found.place is None):
        yield facts.hit(number, partial(_tell_hole, facts, number))


def _tell_hole(facts: RunFacts, access: int) -> tuple[str, str]:
    found = facts.decoded(access)
    assert found.slot is not None
    near = min(
        found.slot.table.places(), key=lambda item: abs(item[0] - found.offset), default=None
    )
    close = f" The nearest is {near[1].name} at offset {near[0]:#x}." if near else ""
    return (
        f"{facts.describe(access)}: {found.slot.name} has no register at offset "
        f"{found.offset & ~3:#x}; {facts.undone(access)}.{close}",
        f"Compare the offset in the firmware with the registers of {found.slot.name} (busbox models).",
    )


def read_only_write(facts: RunFacts) -> Iterator[Sighting]:
    """A write went to a register of which no bit can be written.

    It hurts because it is acknowledged and does nothing.

    Example
    -------
    The firmware wants to light the lamp of lever 0, and writes to the register that shows where the
    levers are (set ``mistakes``, bench ``registers``)::

        write levers.IN 1

    Finding
    -------
    write of 0x1 to levers.IN (0x40000010): every bit of this register is read-only; the write
    does nothing.

    try: Leave the write out, or write the register that was meant (OUT, SET, CLEAR, TOGGLE,
    ENABLE, RISE, FALL or EVENTS).

    What to do
    ----------
    Write the register that was meant: here OUT, or SET, which leaves the other lamps alone.
    """
    for number in _acknowledged(facts, _writes_read_only):
        yield facts.hit(number, partial(_tell_read_only, facts, number))


def _writes_read_only(found: Decoded, write: bool, lanes: int) -> bool:
    register = _register(found)
    return write and register is not None and register.mask() == register.mask("ro")


def _tell_read_only(facts: RunFacts, access: int) -> tuple[str, str]:
    slot = facts.decoded(access).slot
    assert slot is not None
    others = [one.name for one in slot.table if one.mask() != one.mask("ro")]
    return (
        f"{facts.describe(access)}: every bit of this register is read-only; the write "
        "does nothing.",
        f"Leave the write out, or write the register that was meant ({one_of(others)})."
        if others
        else f"Leave the write out: no register of {slot.name} can be written.",
    )


def write_only_read(facts: RunFacts) -> Iterator[Sighting]:
    """A read went to a register of which no bit can be read.

    It hurts because the word is always 0, whatever was written: a read-modify-write loses every bit.

    Example
    -------
    To light one lamp more, the firmware reads SET, adds a bit and writes it back. But SET shows
    nothing of what is lit (set ``mistakes``, bench ``registers``)::

        read levers.SET

    Finding
    -------
    read of levers.SET (0x40000004): no bit of this register can be read; it gives 0.

    try: Read the register that shows it (OUT, IN, ENABLE, RISE, FALL or EVENTS), or keep a copy
    in the firmware of what was written, and change that.

    What to do
    ----------
    Read the register that shows the state (here OUT), or do not read at all: a register of which each
    one acts, such as SET, wants only the new bit. Else keep a copy in a variable.
    """
    for number in _acknowledged(facts, _reads_write_only):
        yield facts.hit(number, partial(_tell_write_only, facts, number))


def _reads_write_only(found: Decoded, write: bool, lanes: int) -> bool:
    register = _register(found)
    return not write and register is not None and not _can_be_read(register)


def _can_be_read(register: Register) -> bool:
    return bool(register.mask("rw", "ro", "ones_clear"))


def _tell_write_only(facts: RunFacts, access: int) -> tuple[str, str]:
    found = facts.decoded(access)
    register = _register(found)
    assert found.slot is not None
    assert register is not None
    others = [one.name for one in found.slot.table if _can_be_read(one)]
    instead = f"Read the register that shows it ({one_of(others)}), or keep" if others else "Keep"
    return (
        f"{facts.describe(access)}: no bit of this register can be read; it gives 0.",
        f"{instead} a copy in the firmware of what was written, and change that.",
    )


def lanes_lost(facts: RunFacts) -> Iterator[Sighting]:
    """A write did not select the byte lanes without which its register does nothing.

    It hurts because the write is acknowledged and lost. Usually a byte is written to the wrong one of
    the four addresses of a word.

    Example
    -------
    The firmware stores the letter A as a byte, at 0x40001001 instead of 0x40001000. On the bus that
    is lane 1 of DATA, which sends with lane 0 only (set ``mistakes``, bench ``registers``)::

        write 0x40001000 0x4100 lanes 0010

    Finding
    -------
    write of 0x4100 to telegraph.DATA (0x40001000) with lanes 0010 (byte 1 of the word): this
    register acts only with lanes 0001 (byte 0); the write does nothing.

    try: Store the whole word at 0x40001000, or only byte 0 of it.

    What to do
    ----------
    Store a word, or the byte at the register's own address: see whether the pointer has the right
    type and whether somebody adds 1 to it. Lanes are written with byte 3 first: 0010 is byte 1.
    """
    for number in _acknowledged(facts, _loses_lanes):
        yield facts.hit(number, partial(_tell_lanes, facts, number))


def _loses_lanes(found: Decoded, write: bool, lanes: int) -> bool:
    register = _register(found)
    return write and register is not None and lanes & register.whole != register.whole


def _tell_lanes(facts: RunFacts, access: int) -> tuple[str, str]:
    found = facts.decoded(access)
    register, word = _register(found), found.address & ~3
    assert register is not None
    lanes = int(facts.recording.accesses.lanes[access])
    enough = "" if register.whole == 0b1111 else f", or only {_bytes(register.whole)} of it"
    return (
        f"{facts.describe(access)} with lanes {show_lanes(lanes)} ({_bytes(lanes)} of the word): "
        f"this register acts only with lanes {show_lanes(register.whole)} "
        f"({_bytes(register.whole)}); the write does nothing.",
        f"Store the whole word at {word:#010x}{enough}.",
    )


def _bytes(lanes: int) -> str:
    """Return which bytes of a word are selected: ``byte 1``, ``bytes 0 and 1``."""
    chosen = [str(lane) for lane in range(4) if lanes >> lane & 1]
    if len(chosen) < 2:
        return f"byte {chosen[0]}" if chosen else "no byte"
    return f"bytes {', '.join(chosen[:-1])} and {chosen[-1]}"


def reserved_bits(facts: RunFacts) -> Iterator[Sighting]:
    """A write had ones in bits that the register does not have.

    It hurts because they are dropped: a field is too narrow for the value, or the value is shifted.

    Example
    -------
    There are eight lever lamps, 0 to 7. The firmware lights number 8 (set ``mistakes``, bench
    ``registers``)::

        write levers.OUT 0x100

    Finding
    -------
    write of 0x100 to levers.OUT (0x40000000): the ones in 0x100 are in bits that the register
    does not have; they are dropped, and 0x0 is left.

    try: It has these bits: VALUE 7..0. See whether the value is too large or shifted.

    What to do
    ----------
    Compare mask and shift in the firmware with the bits of the register (``busbox models gpio``), or
    give the device more bits, if it has a setting for that (here ``width``).
    """
    accesses = facts.recording.accesses
    for number in _acknowledged(facts, _has_reserved):
        if _reserved_ones(facts, number, int(accesses.data[number])):
            yield facts.hit(number, partial(_tell_reserved, facts, number))


def _has_reserved(found: Decoded, write: bool, lanes: int) -> bool:
    register = _register(found)
    if not write or register is None or _writes_read_only(found, write, lanes):
        return False
    if lanes & register.whole != register.whole:
        return False
    return bool(lane_mask(lanes) & ~register.mask())


def _reserved_ones(facts: RunFacts, access: int, data: int) -> int:
    register = _register(facts.decoded(access))
    assert register is not None
    return data & lane_mask(int(facts.recording.accesses.lanes[access])) & ~register.mask()


def _tell_reserved(facts: RunFacts, access: int) -> tuple[str, str]:
    register = _register(facts.decoded(access))
    assert register is not None
    data = int(facts.recording.accesses.data[access])
    ones = _reserved_ones(facts, access, data)
    left = data & lane_mask(int(facts.recording.accesses.lanes[access])) & ~ones
    fields = ", ".join(f"{field.name} {field.bits}" for field in register.fields)
    return (
        f"{facts.describe(access)}: the ones in {ones:#x} are in bits that the register does not "
        f"have; they are dropped, and {left:#x} is left.",
        f"It has these bits: {fields}. See whether the value is too large or shifted.",
    )
