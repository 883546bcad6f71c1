"""The rule ``image-access``."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial

from busbox.findings.registers import acknowledged
from busbox.findings.rule import RunFacts, Sighting
from busbox.map.bits import show_bits


def image_access(facts: RunFacts) -> Iterator[Sighting]:
    """An access reached a slot through an image.

    An image (also called an alias) is an address at which a slot answers only because some address bits
    are not compared. Why it matters: it works by chance. With another slot there, or a decoder that
    compares more bits, the same firmware reaches something else. Usually a base address is wrong.

    Example
    -------
    The decoder of the lamps compares the top eight bits only. The firmware has one digit of their
    base wrong, and they still answer (set ``mistakes``, bench ``addresses``)::

        [slot.lamps]
        base = 0x4400_0000
        compare = "31..24"

        write 0x44100008 1

    Finding
    -------
    write of 0x1 to lamps.COUNT (0x44100008): image 256 of lamps answers here, because the
    decoder compares only bits 31..24.

    try: Use the address 0x44000008 in the firmware, or make the decoder compare more bits.

    What to do
    ----------
    Use the slot's own base in the firmware; nothing else changes. ``busbox map BENCH`` shows which
    addresses are images. If they are intended, ignore this finding: it shows where they are used.
    """
    for number in acknowledged(facts, lambda found, write, lanes: found.image != 0):
        yield facts.sighting(number, partial(_describe_image, facts, number))


def _describe_image(facts: RunFacts, access: int) -> tuple[str, str]:
    found = facts.decoded(access)
    assert found.slot is not None
    home = found.slot.base + found.offset
    return (
        f"{facts.describe(access)}: image {found.image} of {found.slot.name} answers here, because the "
        f"decoder compares only bits {show_bits(found.slot.compare)}.",
        f"Use the address {home:#010x} in the firmware, or make the decoder compare more bits.",
    )
