"""What the rules about memories share."""

from __future__ import annotations

from typing import TYPE_CHECKING

from busbox.findings.rule import RunFacts

if TYPE_CHECKING:
    from busbox.recording import Event


def word(facts: RunFacts, event: Event) -> str:
    """Return the word of a memory that an event names: ``book.WORD.1 (0x20000004)``."""
    offset = int(event.details["offset"])
    slot = facts.system.address_map.slot(event.device)
    assert slot is not None
    place = slot.table.at(offset)
    name = place.name if place else f"{offset:#x}"
    return f"{slot.name}.{name} ({slot.base + offset:#010x})"
