"""The rule ``rom-write``."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from busbox.findings.events import of_kind
from busbox.findings.memories import word
from busbox.findings.rule import RunFacts, Sighting

if TYPE_CHECKING:
    from busbox.recording import Event


def rom_write(facts: RunFacts) -> Iterator[Sighting]:
    """A write went to a read-only memory and was ignored.

    Why it matters: the variable keeps its old value. Usually a section is linked to the wrong place.

    Example
    -------
    The firmware counts trains in a variable that was linked into the read-only page (set
    ``mistakes``, bench ``memories``)::

        write 0x00000010 1

    Finding
    -------
    page is a ROM: the write to page.WORD.4 (0x00000010) does nothing.

    try: Move what is written to a RAM (linker script), or make the slot kind = "ram".

    What to do
    ----------
    Find the variable in the linker's map file, and move its section to a RAM. Writing through a null
    pointer, at an address near 0, looks the same.
    """

    def describe(event: Event) -> tuple[str, str]:
        return (
            f"{event.device} is a ROM: the write to {word(facts, event)} does nothing.",
            'Move what is written to a RAM (linker script), or make the slot kind = "ram".',
        )

    return of_kind(facts, ("rom-write",), describe)
