"""The registers of a core at a moment of a run, as ``busbox state`` shows them."""

from __future__ import annotations

from typing import Any

from busbox.basics.errors import InputError
from busbox.basics.paper import Paper
from busbox.explain.again import Differs
from busbox.explain.core_names import ABI
from busbox.explain.execution import CoreState, Execution
from busbox.firmware.program import Firmware, Source
from busbox.recording import Recording
from busbox.system.system import System

#: Registers in a line.
IN_LINE = 4
#: What the core does, by :attr:`CoreState.waits`.
_WAITS = {
    "access": "its access is up",
    "sleep": "sleeps in wfi",
    "loop": "in a jump to itself",
    "ebreak": "the program has ended with ebreak",
    "trap": "the program has ended with a trap that nothing handles",
}


def core_state(system: System, recording: Recording) -> CoreState | None:
    """Return the registers of a run's core in its last cycle; None without a core.

    Raises
    ------
    InputError : the program, executed again, does something else than was recorded
    """
    if system.core is None:
        return None
    try:
        return Execution(system.core, recording).to_cycle(recording.cycles - 1)
    except Differs as error:
        text = f"executing the program again does not reproduce the run: access {error.number}: {error}"
        raise InputError.of(text, recording.bench) from None


def source_of(system: System, pc: int) -> Source | None:
    """Return function and line of an instruction, where they are known."""
    return Firmware(system.firmware).source(pc) if system.firmware else None


def as_object(state: CoreState, system: System) -> dict[str, Any]:
    """Return the registers as an object of JSON."""
    source = source_of(system, state.pc)
    return {
        "pc": state.pc,
        "function": source.function if source else None,
        "inlined": list(source.inlined) if source else [],
        "file": source.file if source else None,
        "source_line": source.line if source else None,
        "registers": dict(zip(ABI[1:], state.registers[1:], strict=True)),
        "machine": state.machine,
        "instructions": state.instructions,
        "waits": state.waits or None,
    }


def write_core(state: CoreState, system: System, page: Paper) -> None:
    """Write the registers; those of the machine mode where they are not 0."""
    isa = system.core.isa if system.core else ""
    page.title(f"core ({isa})")
    source = source_of(system, state.pc)
    rows = [("pc", f"{state.pc:#010x}{f'  {source}' if source else ''}")]
    if state.waits:
        rows.append(("", _WAITS[state.waits]))
    rows.append(("instructions", f"{state.instructions:,} executed"))
    page.table(rows)
    named = [
        f"{name} {word:#010x}" for name, word in zip(ABI[1:], state.registers[1:], strict=True)
    ]
    named += [""] * (-len(named) % IN_LINE)
    page.table(named[first : first + IN_LINE] for first in range(0, len(named), IN_LINE))
    page.table((name, f"{word:#010x}") for name, word in state.machine.items() if word)
