"""What a core of a run had in its registers and memories: its program is executed again, off-line.

The recording gives all that came from outside: the word and the end of each access, the levels of the
interrupt lines, the resets. Every instruction sees the lines of its first cycle (:mod:`busbox.core`,
sentence 2), so that the core runs to each change of a line and goes on from there; nothing is rewound.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from busbox.bus.transfers import ACK, ERR, RESET, WATCHDOG
from busbox.core.core import AHEAD
from busbox.core.layout import REGISTERS
from busbox.core.machine import ACCESS, CHANGING, IDLE, JUMPING, STOPPED, WAITING
from busbox.core.setup import CoreSetup
from busbox.explain.again import NotingCore, Row, check_due
from busbox.recording import WINDOW, Accesses, Recording

#: Later than any cycle.
NEVER = 1 << 62


@dataclass(frozen=True)
class CoreState:
    """The registers of a core in a cycle: what the instructions that ended before it have left.

    An instruction that has begun before that cycle and ends in it or later has not been executed; one
    that takes no cycle at all counts with the one after it.

    Attributes
    ----------
    pc : of the instruction that is under way, or begins
    registers : the words in x0 to x31
    machine : name of each machine register to its word, a counter of cycles or instructions left out
    instructions : executed so far
    waits : ``access`` while one of the core is up, ``sleep`` in wfi, ``loop`` in a jump to
        itself, ``ebreak`` or ``trap`` where the program has ended, else ""
    """

    pc: int
    registers: tuple[int, ...]
    machine: dict[str, int]
    instructions: int
    waits: str


class Execution:
    """One execution of a recorded program, from its start on.

    Attributes
    ----------
    core : the core, off-line; its state is that of the last step
    """

    def __init__(self, setup: CoreSetup, recording: Recording) -> None:
        self.core = NotingCore(setup)
        self.core.set("journal_on", 0)
        self._ends = _Ends(recording.accesses)
        self._changes = deque(_changes(setup, recording))
        self._resets = deque(recording.resets)
        self._next = 0
        self._up = self._made = False
        self._slowest = max(setup.clocks.values()) + setup.access_at
        self._slowest += max((memory.clocks for memory in setup.memories), default=0)
        self._take_changes(0)

    def to_access(self, number: int) -> None:
        """Execute until an access of the recording is due, not before where the execution stands.

        Raises
        ------
        Differs : the program does something else than was recorded
        """
        while self._next < number:
            self._due()
            self._answer()
        self._due()

    def to_cycle(self, cycle: int) -> CoreState:
        """Execute what ended before a cycle of the recording; return the state.

        Raises
        ------
        Differs : the program does something else than was recorded
        """
        while self._next < len(self._ends) and self._ends.row(self._next).start < cycle:
            self._due()
            if self._ends.end(self._next)[0] >= cycle:
                break
            self._answer()
        else:
            self._pass_resets(cycle)
            self._finish(cycle)
        return self._state(cycle)

    # Steps.

    def _due(self) -> None:
        """Execute until the next access is due, and compare it."""
        if self._up:
            return
        row = self._ends.row(self._next)
        self._pass_resets(row.start)
        self._run(row.start + 1)
        check_due(self.core, self._next, row)
        self._up = True

    def _answer(self) -> None:
        """Let the access that is due end as it did."""
        core, (end, terminator) = self.core, self._ends.end(self._next)
        row = self._ends.row(self._next)
        self._next += 1
        if terminator == RESET:
            self._pass_resets(end + 1)
            return
        self._up = self._made = False
        core.set("now", end + 1)
        core.set("result", row.data if terminator == ACK else 0)
        core.set("failed", int(row.failed))
        self._take_changes(end + 1)

    def _pass_resets(self, before: int) -> None:
        """Have every reset that begins before a cycle."""
        while self._resets and self._resets[0][0] < before:
            cycle, length = self._resets.popleft()
            if not self._up:
                self._run(cycle)
            self.core.reset(cycle + length + 1)
            self._up = self._made = False
            self._take_changes(cycle + length + 1)

    def _take_changes(self, cycle: int) -> None:
        """Give the lines the levels that they have in a cycle."""
        while self._change <= cycle:
            self.core.set("lines", self._changes.popleft()[1])

    @property
    def _change(self) -> int:
        return self._changes[0][0] if self._changes else NEVER

    def _run(self, limit: int) -> int:
        """Execute what begins before a cycle, or up to an access; return why the core was left."""
        core = self.core
        if self._made:
            return ACCESS
        while True:
            left = core.run(min(self._change, limit, max(core.cycle, core.get("now")) + AHEAD))
            if left == ACCESS:
                self._made = True
                return left
            if left == STOPPED:
                if core.get("ended") or self._change >= limit:
                    return left
                core.set("now", max(self._change, core.get("now")))
                self._take_changes(self._change)
            elif core.cycle >= limit:
                return left
            else:
                self._take_changes(core.cycle)

    def _finish(self, cycle: int) -> None:
        """Execute what ends before a cycle in which no access is up."""
        core, left, kept = self.core, ACCESS if self._made else IDLE, self._kept()
        if cycle - self._slowest > max(core.cycle, core.get("now")):
            left = self._run(cycle - self._slowest)
        while core.cycle < cycle and left != ACCESS:
            first = core.cycle
            if left == STOPPED:
                first = self._change
                if core.get("ended") or first >= cycle:
                    return
            kept = self._kept()
            left = self._run(first + 1)
        if core.cycle > cycle and left != ACCESS:
            self._put_back(kept)

    def _kept(self) -> tuple[list[int], list[int]]:
        executor = self.core.executor
        return list(executor.state[: len(CHANGING)]), list(executor.x[:REGISTERS])

    def _put_back(self, kept: tuple[list[int], list[int]]) -> None:
        """Take back one instruction; what it may have stored in a memory stays."""
        executor, lines = self.core.executor, self.core.get("lines")
        for place, value in enumerate(kept[0]):
            executor.state[place] = value
        for place, value in enumerate(kept[1]):
            executor.x[place] = value
        self.core.set("lines", lines)

    def _state(self, cycle: int) -> CoreState:
        core = self.core
        instructions, waits = core.get("instret"), self._waits()
        if waits == "loop":
            instructions += max(0, cycle - core.cycle) // max(1, core.get("spin_cost"))
        return CoreState(
            core.get("pc"), tuple(core.registers), _machine(core.get), instructions, waits
        )

    def _waits(self) -> str:
        core = self.core
        if self._up:
            return "access"
        if core.get("ended"):
            return core.how_ended
        return {WAITING: "sleep", JUMPING: "loop"}.get(core.get("sleeping"), "")


class _Ends:
    """The accesses of a recording, some at a time as numbers of Python."""

    def __init__(self, accesses: Accesses) -> None:
        self._accesses = accesses
        self._first, self._rows = 0, list[tuple[int, ...]]()

    def __len__(self) -> int:
        return len(self._accesses)

    def _found(self, number: int) -> tuple[int, ...]:
        if not self._first <= number < self._first + len(self._rows):
            self._first = number
            part = self._accesses.part(number, min(number + WINDOW, len(self)))
            columns = ("write", "address", "data", "lanes", "pc", "start", "end", "terminator")
            self._rows = list(zip(*(part[name].tolist() for name in columns), strict=True))
        return self._rows[number - self._first]

    def row(self, number: int) -> Row:
        """Return an access."""
        write, address, data, lanes, pc, start, _, terminator = self._found(number)
        return Row(write, address, data, lanes, pc, terminator in (ERR, WATCHDOG), start)

    def end(self, number: int) -> tuple[int, int]:
        """Return the cycle in which an access ended, and its terminator."""
        _, _, _, _, _, _, end, terminator = self._found(number)
        return end, terminator


def _machine(get: Any) -> dict[str, int]:
    """Return the registers of machine mode, in order of their numbers.

    Source: RISC-V Instruction Set Manual, volume II, chapter 3.1; MPP is always machine mode.
    """
    return {
        "mstatus": get("mie_bit") << 3 | get("mpie") << 7 | 0x1800,
        "mie": get("mie"),
        "mtvec": get("mtvec"),
        "mscratch": get("mscratch"),
        "mepc": get("mepc"),
        "mcause": get("mcause"),
        "mtval": get("mtval"),
        "mip": get("lines"),
    }


def _changes(setup: CoreSetup, recording: Recording) -> Iterator[tuple[int, int]]:
    """Yield (cycle, levels of all interrupt lines) of every change, in order."""
    at: dict[int, list[tuple[int, int]]] = {}
    for index, pin in enumerate(setup.lines):
        cycles, levels = recording.edges(pin)
        for cycle, level in zip(cycles.tolist(), levels.tolist(), strict=True):
            at.setdefault(cycle, []).append((index, int(level == 1)))
    bits = list(setup.lines.values())
    high = [0] * len(bits)
    for cycle in sorted(at):
        for index, level in at[cycle]:
            high[index] = level
        mask = 0
        for bit, level in zip(bits, high, strict=True):
            mask |= level << bit
        yield cycle, mask
