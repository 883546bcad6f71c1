"""The rule ``read-only-write``."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial

from busbox.basics.errors import join_or
from busbox.findings.registers import acknowledged, writes_read_only
from busbox.findings.rule import RunFacts, Sighting


def read_only_write(facts: RunFacts) -> Iterator[Sighting]:
    """A register without any writable bit was written.

    Why it matters: the write is acknowledged and does nothing.

    Example
    -------
    To light the lamp of lever 0, the firmware writes to the register that shows the positions of the
    levers (set ``mistakes``, bench ``registers``)::

        write levers.IN 1

    Finding
    -------
    write of 0x1 to levers.IN (0x40000010): every bit of this register is read-only; the write
    does nothing.

    try: Remove the write, or write to the register you meant (OUT, SET, CLEAR, TOGGLE, ENABLE, RISE,
    FALL or EVENTS).

    What to do
    ----------
    Write to the register you meant: here OUT, or SET, which leaves the other lamps alone.
    """
    for number in acknowledged(facts, writes_read_only):
        yield facts.sighting(number, partial(_describe_read_only, facts, number))


def _describe_read_only(facts: RunFacts, access: int) -> tuple[str, str]:
    slot = facts.decoded(access).slot
    assert slot is not None
    others = [register.name for register in slot.table if register.mask() != register.mask("ro")]
    return (
        f"{facts.describe(access)}: every bit of this register is read-only; the write "
        "does nothing.",
        f"Remove the write, or write to the register you meant ({join_or(others)})."
        if others
        else f"Remove the write: no register of {slot.name} can be written.",
    )
