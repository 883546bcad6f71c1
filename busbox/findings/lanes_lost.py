"""The rule ``lanes-lost``."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial

from busbox.findings.registers import acknowledged, reaches_a_bit, register_of, show_bytes
from busbox.findings.rule import RunFacts, Sighting
from busbox.map.registers import show_lanes
from busbox.map.slots import Decoded


def lanes_lost(facts: RunFacts) -> Iterator[Sighting]:
    """A write did not select the byte lanes that its register needs.

    Why it matters: the write is acknowledged and does nothing. Usually a byte is written to the wrong
    one of the four addresses of a word. A register that can be written byte by byte keeps its other
    bytes: that is fine, except for zeros stored only where it has no bits.

    Example
    -------
    The firmware stores the letter A as a byte, at 0x40001001 instead of 0x40001000. On the bus that
    is lane 1 of DATA, which acts on lane 0 only (set ``mistakes``, bench ``registers``)::

        write 0x40001000 0x4100 lanes 0010

    Finding
    -------
    write of 0x4100 to telegraph.DATA (0x40001000) with lanes 0010 (byte 1 of the word): this
    register acts only on lanes 0001 (byte 0); the write does nothing.

    try: Store the whole word at 0x40001000, or only byte 0 of it.

    What to do
    ----------
    Store a word, or the byte at the register's own address: check the type of the pointer, and whether
    1 is added to it. Lanes are written with byte 3 first: 0010 is byte 1.
    """
    accesses = facts.recording.accesses
    for access in acknowledged(facts, _may_lose):
        # Ones that no bit takes are reserved-bits, data in other lanes is data-off-lanes.
        if not accesses.data[access] or _lacks_lanes(facts.decoded(access), accesses.lanes[access]):
            yield facts.sighting(access, partial(_describe_lanes, facts, access))


def _may_lose(found: Decoded, write: bool, lanes: int) -> bool:
    register = register_of(found)
    if not write or register is None:
        return False
    stores = bool(lanes and register.mask("rw", "wo"))  # where only ones act, zeros lose nothing
    return _lacks_lanes(found, lanes) or (stores and not reaches_a_bit(register, lanes))


def _lacks_lanes(found: Decoded, lanes: int) -> bool:
    register = register_of(found)
    return register is not None and lanes & register.whole != register.whole


def _describe_lanes(facts: RunFacts, access: int) -> tuple[str, str]:
    found = facts.decoded(access)
    register, word = register_of(found), found.address & ~3
    assert register is not None
    lanes = int(facts.recording.accesses.lanes[access])
    if _lacks_lanes(found, lanes):
        needed, verb = register.whole, "acts only on"
    else:
        needed = sum(1 << lane for lane in range(4) if reaches_a_bit(register, 1 << lane))
        verb = "has bits only in"
    enough = "" if needed == 0b1111 else f", or only {show_bytes(needed)} of it"
    return (
        f"{facts.describe(access)} with lanes {show_lanes(lanes)} ({show_bytes(lanes)} of the word): "
        f"this register {verb} lanes {show_lanes(needed)} ({show_bytes(needed)}); the write does "
        "nothing.",
        f"Store the whole word at {word:#010x}{enough}.",
    )
