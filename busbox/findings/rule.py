"""What a rule is: it works on :class:`RunFacts`, and yields :class:`Sighting` objects.

Contract
========
1. A rule is a function of one argument, the facts of a run. Its name with ``-`` for ``_`` is its
   id, its docstring the page of ``busbox explain``: a first sentence that says what is wrong, then
   why it matters, and a section ``What to do``.
2. It yields a sighting for each place where it applies, in order of cycle.
   ``facts.sighting(access, ...)`` makes the one of an access, counted under its register.
3. Message and hint are made by the sighting's ``describe``, which is called only for those that
   are shown.
4. It uses the facts of the recording and the system, never other findings, and changes nothing.
5. A bench names it under ``rules`` unless it comes with Busbox.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from busbox.map.slots import Decoded
from busbox.system.system import System

if TYPE_CHECKING:
    from busbox.board.decoding import DecodedLine
    from busbox.recording import Accesses, Recording


@dataclass(frozen=True)
class Sighting:
    """One place where a rule applies.

    Attributes
    ----------
    cycle, access : where; access is -1 if no access caused it
    slot, register : names, or ""
    key : the name under which it is counted
    describe : returns message and hint; called only for those that are shown
    """

    cycle: int
    access: int
    slot: str
    register: str
    key: str
    describe: Callable[[], tuple[str, str]]


@dataclass(frozen=True)
class RunFacts:
    """The facts of a run that rules use.

    Attributes
    ----------
    system : the system that was run
    recording : its recording; rules do not use its findings
    decoded_lines : what decoders made of their lines, by name
    """

    system: System
    recording: Recording
    decoded_lines: Mapping[str, DecodedLine] = field(default_factory=dict)

    def where(self, test: Callable[[Accesses], Any]) -> Iterator[int]:
        """Yield the accesses for which ``test`` returns true; it gets many of them at a time."""
        from busbox.recording import where

        return where(self.recording.accesses, test)

    def decoded(self, access: int) -> Decoded:
        """Return what the address map decodes an access's address to."""
        return self.system.address_map.decode(int(self.recording.accesses.address[access]))

    def sighting(
        self, access: int, describe: Callable[[], tuple[str, str]], cycle: int | None = None
    ) -> Sighting:
        """Return the sighting of an access, counted under its register."""
        found = self.decoded(access)
        end = int(self.recording.accesses.end[access]) if cycle is None else cycle
        slot = found.slot.name if found.slot else ""
        register = found.register.removeprefix(slot)[1:] if slot else ""
        key = f"{slot}.{register}" if slot else f"{found.address:#010x}"
        return Sighting(end, access, slot, register, key, describe)

    def describe(self, access: int) -> str:
        """Return an access as text: ``write of 0x1 to levers.OUT (0x40000000)``."""
        accesses = self.recording.accesses
        found = self.decoded(access)
        name = (
            f"{found.register} ({found.address:#010x})" if found.slot else f"{found.address:#010x}"
        )
        if accesses.write[access]:
            return f"write of {int(accesses.data[access]):#x} to {name}"
        return f"read of {name}"

    def undone(self, access: int) -> str:
        """Return what became of an access that no device carried out: ``the write is lost``."""
        return (
            "the write is lost" if self.recording.accesses.write[access] else "the read returns 0"
        )


#: A rule's check. Its name with ``-`` for ``_`` is the rule's id, its docstring the page of
#: ``busbox explain``; it yields in order of cycle.
Rule = Callable[[RunFacts], Iterator[Sighting]]
