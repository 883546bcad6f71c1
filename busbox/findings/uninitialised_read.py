"""The rule ``uninitialised-read``."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from busbox.findings.events import of_kind
from busbox.findings.memories import word
from busbox.findings.rule import RunFacts, Sighting

if TYPE_CHECKING:
    from busbox.recording import Event


def uninitialised_read(facts: RunFacts) -> Iterator[Sighting]:
    """A word of memory was read before it was written.

    Why it matters: block memory may hold anything after power-up. Here the read returns 0, on the board
    it may not.

    Example
    -------
    The firmware reads the train book before anything has been written to it (set ``mistakes``,
    bench ``memories``)::

        read 0x20000000

    Finding
    -------
    book.WORD.0 (0x20000000) was read before anything was written to it; it returns 0 here.

    try: Write it first (start-up code that clears and copies variables does), or give book its
    contents in the bench (file = ...).

    What to do
    ----------
    If it is a variable, check that start-up code clears or copies its section, and that this code was
    recorded. If it is a table, load it: ``file = "book.hex"`` in the slot.
    """

    def describe(event: Event) -> tuple[str, str]:
        return (
            f"{word(facts, event)} was read before anything was written to it; it returns 0 here.",
            f"Write it first (start-up code that clears and copies variables does), or give "
            f"{event.device} its contents in the bench (file = ...).",
        )

    return of_kind(facts, ("uninitialised-read",), describe)
