"""The rule ``lanes-lost``."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial

from busbox.findings.registers import acknowledged, register_of, show_bytes
from busbox.findings.rule import RunFacts, Sighting
from busbox.map.registers import show_lanes
from busbox.map.slots import Decoded


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
    for number in acknowledged(facts, _loses_lanes):
        yield facts.sighting(number, partial(_describe_lanes, facts, number))


def _loses_lanes(found: Decoded, write: bool, lanes: int) -> bool:
    register = register_of(found)
    return write and register is not None and lanes & register.whole != register.whole


def _describe_lanes(facts: RunFacts, access: int) -> tuple[str, str]:
    found = facts.decoded(access)
    register, word = register_of(found), found.address & ~3
    assert register is not None
    lanes = int(facts.recording.accesses.lanes[access])
    enough = "" if register.whole == 0b1111 else f", or only {show_bytes(register.whole)} of it"
    return (
        f"{facts.describe(access)} with lanes {show_lanes(lanes)} ({show_bytes(lanes)} of the word): "
        f"this register acts only with lanes {show_lanes(register.whole)} "
        f"({show_bytes(register.whole)}); the write does nothing.",
        f"Store the whole word at {word:#010x}{enough}.",
    )
