"""The rule ``write-only-read``."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial

from busbox.basics.errors import join_or
from busbox.findings.registers import acknowledged, register_of
from busbox.findings.rule import RunFacts, Sighting
from busbox.map.registers import Register
from busbox.map.slots import Decoded


def write_only_read(facts: RunFacts) -> Iterator[Sighting]:
    """A register without any readable bit was read.

    Why it matters: the word is always 0, whatever was written; a read-modify-write loses every bit.

    Example
    -------
    To light one more lamp, the firmware reads SET, adds a bit and writes it back. But SET does not
    show which lamps are lit (set ``mistakes``, bench ``registers``)::

        read levers.SET

    Finding
    -------
    read of levers.SET (0x40000004): no bit of this register can be read; the read
    returns 0.

    try: Read the register that shows the state (OUT, IN, ENABLE, RISE, FALL or EVENTS), or keep a copy
    of what was written in the firmware, and change that.

    What to do
    ----------
    Read the register that shows the state (here OUT), or do not read at all: a register such as SET,
    in which only ones act, needs only the new bit. Otherwise keep a copy in a variable.
    """
    for number in acknowledged(facts, _reads_write_only):
        yield facts.sighting(number, partial(_describe_write_only, facts, number))


def _reads_write_only(found: Decoded, write: bool, lanes: int) -> bool:
    register = register_of(found)
    return not write and register is not None and not _can_be_read(register)


def _can_be_read(register: Register) -> bool:
    return bool(register.mask("rw", "ro", "ones_clear"))


def _describe_write_only(facts: RunFacts, access: int) -> tuple[str, str]:
    found = facts.decoded(access)
    register = register_of(found)
    assert found.slot is not None
    assert register is not None
    others = [item.name for item in found.slot.table if _can_be_read(item)]
    instead = (
        f"Read the register that shows the state ({join_or(others)}), or keep" if others else "Keep"
    )
    return (
        f"{facts.describe(access)}: no bit of this register can be read; the read returns 0.",
        f"{instead} a copy of what was written in the firmware, and change that.",
    )
