"""What rules about addresses share."""

from __future__ import annotations

from busbox.findings.rule import RunFacts


def nearest_hint(facts: RunFacts, address: int) -> str:
    """Return the hint for an address that no slot decodes: the nearest slot."""
    suggestion = facts.system.address_map.suggest(address)
    if not suggestion:
        return "The bench has no slot at all; give it one."
    suggestion = suggestion[0].upper() + suggestion[1:]
    return f"{suggestion}. Make the base in the bench and the one in the firmware agree."
