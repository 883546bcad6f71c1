"""What rules about addresses share."""

from __future__ import annotations

from busbox.findings.rule import RunFacts


def nearest_hint(facts: RunFacts, address: int) -> str:
    """Return the hint for an address that no slot decodes: the nearest slot."""
    meant = facts.system.address_map.meant(address)
    if not meant:
        return "The bench has no slot at all; give it one."
    other = facts.system.address_map.without_prefix(address)
    if other is not None:
        return (
            f"If the address was written in decimal, {address}, write {other:#010x} "
            f"({facts.system.address_map.decode(other).register})."
        )
    meant = meant[0].upper() + meant[1:]
    return f"{meant}. Make the base in the bench and the one in the firmware agree."
