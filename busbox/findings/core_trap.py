"""The rule ``core-trap``."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial
from typing import TYPE_CHECKING

from busbox.findings.core_places import INTERRUPT, bits_text, cause_text, place_text
from busbox.findings.rule import RunFacts, Sighting

if TYPE_CHECKING:
    from busbox.recording import CoreFacts


def core_trap(facts: RunFacts) -> Iterator[Sighting]:
    """The core trapped and nothing handled it, or it came to ebreak; the program stopped there.

    Why it matters: on the board, the firmware now runs into whatever is at address 0, or traps for
    ever. A trap is not handled if mtvec is 0, or if the first instruction of the handler traps too.

    Example
    -------
    The stack has 256 bytes; a function calls itself until the stack has left its memory, and there is
    no handler of traps (set ``mistakes``, bench ``runaway``)::

        [traffic]
        file = "runaway.elf"

    Finding
    -------
    store access fault (mcause 7) at 0x0000001c in deeper, runaway.c:8: the instruction 0x00112623
    made a write of 0x28 to 0x1ffffffc. No handler is set (mtvec is 0), so the program stops here.

    try: Correct what caused it; or write the address of a handler to mtvec.

    What to do
    ----------
    Look at the source line, and at the calls that led there (``busbox why``). If the trap is wanted,
    set mtvec before it. If ``ebreak`` is the end of the program, say so: ``[core] ebreak = "end"``.
    """
    core = facts.recording.core
    if core is None or not (core.ended == "trap" or (core.ended == "ebreak" and core.finding)):
        return
    access, accesses = -1, facts.recording.accesses
    if core.cause in (5, 7) and len(accesses) and accesses.pc[-1] == core.pc:
        access = len(accesses) - 1
    describe = partial(_describe, facts, core, access)
    cycle = min(core.cycle, facts.recording.cycles - 1)
    if access >= 0:
        yield facts.sighting(access, describe)
    else:
        yield Sighting(cycle, -1, "", "", f"{core.pc:#010x}", describe)


def _describe(facts: RunFacts, core: CoreFacts, access: int) -> tuple[str, str]:
    place, bits = place_text(facts, core.pc), bits_text(core.word)
    if core.ended == "ebreak":
        return (
            f"ebreak at {place}: the program stops here.",
            'If this is its end, set ebreak = "end" in [core]; if a handler serves it, "trap".',
        )
    number = f"{core.cause:#x}" if core.cause & INTERRUPT else f"{core.cause}"
    found = f"{cause_text(core.cause)} (mcause {number}) at {place}"
    if not core.cause & INTERRUPT:
        found += f": the instruction {bits}"
        if access >= 0:
            found += f" made a {facts.describe(access)}"
        elif core.value:
            found += f", mtval {core.value:#010x}"
    if core.handler >> 2 == 0:
        return (
            f"{found}. No handler is set (mtvec is 0), so the program stops here.",
            "Correct what caused it; or write the address of a handler to mtvec.",
        )
    return (
        f"{found}. It is the first instruction of the handler at {core.handler & ~3:#010x}, which "
        "would trap for ever, so the program stops here.",
        "Check that mtvec holds the address of the handler, and that there is code.",
    )
