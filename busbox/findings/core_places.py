"""Where in a program a core was: addresses as functions and lines, instructions as bits."""

from __future__ import annotations

from typing import TYPE_CHECKING

from busbox.basics.errors import InputError
from busbox.basics.units import show_time

if TYPE_CHECKING:
    from busbox.findings.rule import RunFacts

#: What mcause says. Source: RISC-V Instruction Set Manual, volume II, table of mcause values.
EXCEPTIONS = {
    0: "instruction address misaligned", 1: "instruction access fault", 2: "illegal instruction",
    3: "breakpoint (ebreak)", 4: "load address misaligned", 5: "load access fault",
    6: "store address misaligned", 7: "store access fault", 11: "environment call (ecall)",
}  # fmt: skip
INTERRUPTS = {3: "software", 7: "timer", 11: "external"}
#: The bit of mcause that marks an interrupt.
INTERRUPT = 1 << 31


def cause_text(cause: int) -> str:
    """Return a cause in words."""
    if cause & INTERRUPT:
        line = cause - INTERRUPT
        return f"{INTERRUPTS.get(line) or f'platform {line - 16}'} interrupt"
    return EXCEPTIONS.get(cause, "trap")


def place_text(facts: RunFacts, pc: int) -> str:
    """Return an address with its function and line: ``0x000000e8 in put in say, cabin.c:30``."""
    from busbox.firmware.program import Firmware

    source = None
    if facts.system.firmware:
        try:
            source = Firmware(facts.system.firmware).source(pc)
        except InputError:  # reported where a source line is asked for
            source = None
    return f"{pc:#010x}" if source is None else f"{pc:#010x} in {source}"


def bits_text(word: int) -> str:
    """Return the bits of an instruction: eight digits, or four if it is compressed."""
    if word < 0:
        return "no memory"
    return f"{word:#010x}" if word & 3 == 3 else f"{word & 0xFFFF:#06x}"


_ENDS = {
    "loop": "a jump to itself that no interrupt can leave",
    "sleep": "wfi, and no interrupt is enabled that could end it",
    "ebreak": "ebreak",
    "trap": "a trap that nothing handles",
}


def core_end(facts: RunFacts) -> str:
    """Return how the program of a core has ended, and where; "" without a core."""
    core = facts.recording.core
    if core is None:
        return ""
    place = place_text(facts, core.pc)
    if core.ended == "running":
        return f"not yet: the core was at {place}"
    when = show_time(core.cycle, facts.system.clock_hz)
    return f"in cycle {core.cycle:,} ({when}) at {place}: {_ENDS[core.ended]}"
