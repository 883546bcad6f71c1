"""The rule ``reserved-bits``."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial

from busbox.findings.registers import (
    acknowledged,
    reaches_a_bit,
    register_of,
    writes_read_only,
)
from busbox.findings.rule import RunFacts, Sighting
from busbox.map.registers import lane_mask
from busbox.map.slots import Decoded


def reserved_bits(facts: RunFacts) -> Iterator[Sighting]:
    """A write had ones in bits that do not exist in the register.

    Why it matters: they are ignored. A field is too narrow for the value, or the value is shifted.

    Example
    -------
    There are eight lever lamps, 0 to 7. The firmware lights number 8 (set ``mistakes``, bench
    ``registers``)::

        write levers.OUT 0x100

    Finding
    -------
    write of 0x100 to levers.OUT (0x40000000): bits 0x100 do not exist in this register; they are
    ignored and 0x0 is written.

    try: It implements VALUE 7..0; check whether the value is too large or shifted.

    What to do
    ----------
    Compare mask and shift in the firmware with the bits of the register (``busbox models gpio``), or
    give the device more bits if it has a setting for that (here ``width``).
    """
    accesses = facts.recording.accesses
    for number in acknowledged(facts, _has_reserved):
        if _reserved_ones(facts, number, int(accesses.data[number])):
            yield facts.sighting(number, partial(_describe_reserved, facts, number))


def _has_reserved(found: Decoded, write: bool, lanes: int) -> bool:
    register = register_of(found)
    if not write or register is None or writes_read_only(found, write, lanes):
        return False
    if lanes & register.whole != register.whole:
        return False
    return bool(lane_mask(lanes) & ~register.mask())


def _reserved_ones(facts: RunFacts, access: int, data: int) -> int:
    register = register_of(facts.decoded(access))
    assert register is not None
    return data & lane_mask(int(facts.recording.accesses.lanes[access])) & ~register.mask()


def _describe_reserved(facts: RunFacts, access: int) -> tuple[str, str]:
    register = register_of(facts.decoded(access))
    assert register is not None
    data = int(facts.recording.accesses.data[access])
    ones = _reserved_ones(facts, access, data)
    lanes = int(facts.recording.accesses.lanes[access])
    reached = reaches_a_bit(register, lanes)
    written = f"{data & lane_mask(lanes) & ~ones:#x} is" if reached else "nothing is"
    fields = ", ".join(f"{field.name} {field.bits}" for field in register.fields)
    return (
        f"{facts.describe(access)}: bits {ones:#x} do not exist in this register; they are ignored "
        f"and {written} written.",
        f"It implements {fields}; check whether the value is too large or shifted.",
    )
