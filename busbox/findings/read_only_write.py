"""The rule ``read-only-write``."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial

from busbox.basics.errors import join_or
from busbox.findings.registers import acknowledged, writes_read_only
from busbox.findings.rule import RunFacts, Sighting


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
    for number in acknowledged(facts, writes_read_only):
        yield facts.sighting(number, partial(_describe_read_only, facts, number))


def _describe_read_only(facts: RunFacts, access: int) -> tuple[str, str]:
    slot = facts.decoded(access).slot
    assert slot is not None
    others = [one.name for one in slot.table if one.mask() != one.mask("ro")]
    return (
        f"{facts.describe(access)}: every bit of this register is read-only; the write "
        "does nothing.",
        f"Leave the write out, or write the register that was meant ({join_or(others)})."
        if others
        else f"Leave the write out: no register of {slot.name} can be written.",
    )
