"""What rules about addresses share."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

import numpy as np

from busbox.basics.distinct import distinct
from busbox.findings.rule import RunFacts
from busbox.map.slots import Slot

if TYPE_CHECKING:
    from busbox.recording import Accesses

_SAME_BASE = "Use the same base address in the bench and in the firmware."


def nearest_hint(facts: RunFacts, address: int) -> str:
    """Return the hint for an address that no slot decodes: the slot that was probably intended.

    If exactly one slot got no access in the whole run and has a register for every access that missed
    in the same block of addresses, it is a better guess than the slot that is the fewest bytes away.
    With executed firmware, a memory of the core may be nearer than any slot.
    """
    address_map = facts.system.address_map
    suggestion = address_map.suggest(address)
    if not suggestion:
        return "The bench has no slot yet; add one."
    other = address_map.without_prefix(address)
    if other is not None:
        return (
            f"If the address was written in decimal, {address}, write {other:#010x} "
            f"({address_map.decode(other).register})."
        )
    in_memory = _memory_nearer(facts, address)
    if in_memory:
        return in_memory
    used, missed = _used_and_missed(facts)
    silent = [slot for slot in address_map.slots if slot.name not in used]
    fitting = [slot for slot in silent if _fits(slot, _around(slot, address, missed))]
    if len(fitting) != 1 or fitting[0] is address_map.nearest(address):
        return f"{suggestion[0].upper()}{suggestion[1:]}. {_SAME_BASE}"
    (slot,) = fitting
    offset = address & (1 << slot.inner_bits) - 1
    place = slot.table.at(offset)
    assert place is not None
    ends = f"{slot.base:#010x}..{slot.base + slot.size - 1:#010x}"
    return (
        f"Probably {slot.name} at {ends}: it got no access in this run, and its registers fit all "
        f"accesses that missed from {address - offset:#010x} on; the same offset there is "
        f"{slot.name}.{place.name} ({slot.base + offset:#010x}). {_SAME_BASE}"
    )


def _memory_nearer(facts: RunFacts, address: int) -> str:
    """Return the hint for an address next to a memory of the core, "" if a slot is nearer."""
    setup, slot = facts.system.core, facts.system.address_map.nearest(address)
    if setup is None or slot is None:
        return ""
    memory, away = setup.nearest(address)
    if away >= max(slot.base - address, address - (slot.base + slot.size - 1), 0):
        return ""
    return (
        f"The core's memory {memory.base:#010x}..{memory.end - 1:#010x} is nearer than any slot: "
        "correct what computes the address, or give the memory more room."
    )


def _used_and_missed(facts: RunFacts) -> tuple[set[str], set[tuple[int, bool]]]:
    """Return the slots that got an access, and (address, write) of those that no slot decodes."""
    numbers: set[int] = set()
    missed: set[tuple[int, bool]] = set()

    def note(part: Accesses) -> Any:
        numbers.update(distinct(part.slot).tolist())
        nowhere = part.slot == -1
        kinds = part.address[nowhere].astype("i8") << 1 | part.write[nowhere]
        missed.update((kind >> 1, bool(kind & 1)) for kind in distinct(kinds).tolist())
        return np.zeros(len(part.slot), dtype=bool)

    for _ in facts.where(note):
        pass
    names = [device.name for device in facts.system.devices]
    return {names[number] for number in numbers if number >= 0}, missed


def _around(
    slot: Slot, address: int, missed: Iterable[tuple[int, bool]]
) -> Iterable[tuple[int, bool]]:
    """Yield (offset, write) of the misses in the block of the slot's size that holds ``address``."""
    for other, write in missed:
        if other >> slot.inner_bits == address >> slot.inner_bits:
            yield other & (1 << slot.inner_bits) - 1, write


def _fits(slot: Slot, accesses: Iterable[tuple[int, bool]]) -> bool:
    """Return whether the slot has a register for each that can be written, or read.

    A memory accepts any access, which proves nothing.
    """
    for offset, write in accesses:
        place = slot.table.at(offset)
        if place is None or 4 * place.register.count == slot.size:
            return False
        types = ("rw", "wo", "ones_clear", "ones_act") if write else ("rw", "ro", "ones_clear")
        if not place.register.mask(*types):
            return False
    return True
