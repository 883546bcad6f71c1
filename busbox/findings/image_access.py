"""The rule ``image-access``."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial

from busbox.findings.registers import acknowledged
from busbox.findings.rule import RunFacts, Sighting
from busbox.map.slots import show_bits


def image_access(facts: RunFacts) -> Iterator[Sighting]:
    """An access reached a slot through an image.

    An image is an address at which a slot answers only because some bits are not compared. It hurts
    because it works by chance: another slot put there, or a decoder that compares more bits, and the
    same firmware reaches something else. Usually a base address is wrong in those bits.

    Example
    -------
    The decoder of the lamps looks at the top eight bits only. The firmware has a digit of their
    base wrong, and they answer all the same (set ``mistakes``, bench ``addresses``)::

        [slot.lamps]
        base = 0x4400_0000
        compare = "31..24"

        write 0x44100008 1

    Finding
    -------
    write of 0x1 to lamps.COUNT (0x44100008): image 256 of lamps answers here, because the
    decoder compares only bits 31..24.

    try: Use the address 0x44000008 in the firmware, or have the decoder compare more bits.

    What to do
    ----------
    Take the slot's own base in the firmware, and nothing else changes. ``busbox map BENCH`` shows
    which addresses are images. If the images are meant, they may stay; the finding then says where
    they are used.
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
        f"Use the address {home:#010x} in the firmware, or have the decoder compare more bits.",
    )
