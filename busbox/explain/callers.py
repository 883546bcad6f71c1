"""Who called what made an access: the stack of a core, at any access of a run."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from busbox.core.core import Core
from busbox.core.instructions import NUMBER
from busbox.core.layout import decoded
from busbox.explain.execution import Execution, reproduced
from busbox.firmware.frames import STACK, Frames
from busbox.recording import Recording
from busbox.system.system import System

#: Frames that are followed at most.
DEEPEST = 64


@dataclass(frozen=True)
class Caller:
    """A frame of the stack.

    Attributes
    ----------
    pc : the address that is returned to; of what was interrupted, its next instruction
    at : an address in the instruction that called
    how : ``call``; ``interrupt`` or ``trap``: it did not call
    """

    pc: int
    at: int
    how: str = "call"


class Callers:
    """Finds callers by executing the program of a run again.

    Parameters
    ----------
    frames : the frame information of the program
    """

    def __init__(self, system: System, recording: Recording, frames: Frames) -> None:
        self._system, self._recording, self._frames = system, recording, frames
        self._execution: Execution | None = None
        self._at = 0

    def of_access(self, number: int) -> list[Caller]:
        """Return the callers at an access of the core, the innermost first; none if not known.

        Asked in order, all accesses take one execution of the program.
        """
        if self._system.core is None:
            return []
        execution = self._execution
        if execution is None or number < self._at:
            execution = Execution(self._system.core, self._recording)
        self._execution = None  # one that has failed is not gone on with
        with reproduced(self._recording):
            execution.to_access(number)
        self._execution, self._at = execution, number
        return list(self._followed(execution.core))

    def at_end(self) -> list[Caller]:
        """Return the callers where the program has ended."""
        if self._system.core is None or self._recording.core is None:
            return []
        execution = Execution(self._system.core, self._recording)
        with reproduced(self._recording):
            execution.to_cycle(self._recording.core.cycle + 1)
        return list(self._followed(execution.core))

    def _followed(self, core: Core) -> Iterator[Caller]:
        """Yield the frames of a core's stack.

        The handler is entered by a trap: it returns to mepc, not to ra. What a trap in a trap has left
        in mepc before is not known.
        """
        handlers = _handlers(core)
        pc = at = core.get("pc")
        words: tuple[int | None, ...] = tuple(core.registers)
        trapped = False
        for _ in range(DEEPEST):
            stack = words[STACK]
            frame = self._frames.caller(at, words, lambda address: _word(core, address))
            handler = self._frames.start(at) in handlers
            if frame is None or (handler and trapped):
                return
            if handler:
                trapped = True
                pc = at = core.get("mepc")
            else:
                pc, at = frame.pc, frame.pc - 1
            if pc == 0 or (stack is not None and (frame.registers[STACK] or 0) < stack):
                return
            trap = "interrupt" if core.get("mcause") >> 31 else "trap"
            yield Caller(pc, at, trap if handler else "call")
            words = frame.registers


def _handlers(core: Core) -> set[int]:
    """Return where a handler of traps may begin: at mtvec, or where the last trap's vector jumps to.

    Source: RISC-V Instruction Set Manual, volume II, mtvec: in mode 1, base + 4 * cause.
    """
    mtvec, cause = core.get("mtvec"), core.get("mcause")
    base = mtvec & ~3
    if not base:
        return set()
    entry = base + 4 * (cause & 0xFF) if mtvec & 1 and cause >> 31 else base
    jump = decoded(core.setup, core.executor.m16, entry)
    return {base, entry, entry + jump.imm if jump.op == NUMBER["jal"] else base}


def _word(core: Core, address: int) -> int | None:
    """Return the word at an address of the core's own memories."""
    start = 0
    for memory in core.setup.memories:
        if memory.base <= address < memory.end and not address & 3:
            return int(core.executor.m32[address - memory.base + start >> 2])
        start += memory.size
    return None
