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
    others = [one.name for one in found.slot.table if _can_be_read(one)]
    instead = f"Read the register that shows it ({join_or(others)}), or keep" if others else "Keep"
    return (
        f"{facts.describe(access)}: no bit of this register can be read; it gives 0.",
        f"{instead} a copy in the firmware of what was written, and change that.",
    )
