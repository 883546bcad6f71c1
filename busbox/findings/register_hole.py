"""The rule ``register-hole``."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial

from busbox.findings.registers import acknowledged
from busbox.findings.rule import RunFacts, Sighting
from busbox.map.slots import Decoded


def register_hole(facts: RunFacts) -> Iterator[Sighting]:
    """An access inside a slot went to an offset at which the device has no register.

    Why it matters: it is acknowledged anyway. A read returns 0, a write is lost, and nothing tells you.
    Usually an offset is wrong.

    Example
    -------
    The firmware reads the events of the levers one register too far: EVENTS, the last register, is at
    0x20 (set ``mistakes``, bench ``registers``)::

        read 0x40000024

    Finding
    -------
    read of levers+0x24 (0x40000024): levers has no register at offset 0x24; the read returns 0.
    The nearest is EVENTS at offset 0x20.

    try: Compare the offset in the firmware with the registers of levers (busbox models).

    What to do
    ----------
    Correct the offset in the firmware's header: ``busbox models gpio`` shows the registers of a model,
    and ``busbox where BENCH ADDRESS`` what an address reaches. A C struct that lacks a gap of the
    device makes the same mistake.
    """
    for number in acknowledged(facts, _in_a_hole):
        yield facts.sighting(number, partial(_describe_hole, facts, number))


def _in_a_hole(found: Decoded, write: bool, lanes: int) -> bool:
    """Return whether a slot that declares registers has none at the offset."""
    return found.place is None and found.slot is not None and any(found.slot.table)


def _describe_hole(facts: RunFacts, access: int) -> tuple[str, str]:
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
