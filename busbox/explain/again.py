"""Executes a program again, off-line: what was recorded on the bus answers its accesses.

The accesses that the program makes are compared with those recorded; the first one that differs ends
it. With the cycles of a recording of Busbox, interrupts and resets come when they came
(:class:`Again`); without cycles, as in traffic, only the order of the accesses counts
(:func:`in_order`).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from importlib.util import find_spec
from typing import Any

from busbox.core.blocks import PythonExecutor
from busbox.core.core import AHEAD, Core
from busbox.core.instructions import INSTRUCTIONS
from busbox.core.layout import AT, decoded
from busbox.core.machine import ACCESS, DECODE, IDLE, STOPPED
from busbox.core.setup import CoreSetup
from busbox.map.registers import show_lanes

#: Numbers of the machine registers that count cycles: mcycle, mcycleh, cycle, cycleh.
#: Source: RISC-V Instruction Set Manual, volume II, table of machine-level registers; volume I, Zicntr.
CYCLE_COUNTERS = {0xB00, 0xB80, 0xC00, 0xC80}
#: Places in the state of a core; what is due: from ``kind`` to ``pc``.
_NOW, _RESULT, _FAILED, _UNTIL, _KIND, _INSTRET, _START = (
    AT[name] for name in ("now", "result", "failed", "until", "kind", "instret", "out_start")
)
_DUE = slice(AT["kind"], AT["pc"] + 1)


class Differs(Exception):
    """The program does something else than was recorded.

    Attributes
    ----------
    number : of the access, from 0
    pc : of the instruction that the program executes there
    what : in words
    """

    def __init__(self, number: int, pc: int, what: str) -> None:
        super().__init__(what)
        self.number, self.pc, self.what = number, pc, what


@dataclass(frozen=True)
class Row:
    """An access as it was recorded.

    Attributes
    ----------
    write, address, lanes : as on the bus; ``address`` is a multiple of 4
    data : the word; for a read, the answer
    pc : of its instruction, -1 if it is not known
    failed : it ended with ERR
    start : the cycle in which it was raised, -1 if it is not known
    """

    write: int
    address: int
    data: int
    lanes: int
    pc: int = -1
    failed: bool = False
    start: int = -1


class NotingCore(Core):
    """A core that notes what it executes.

    Attributes
    ----------
    kinds : the classes of instructions that were executed; those of branches as not taken
    counters : addresses of the instructions that have read a counter of cycles
    """

    def __init__(self, setup: CoreSetup) -> None:
        self.kinds: set[str] = set()
        self.counters: set[int] = set()
        super().__init__(setup, best_executor())
        if isinstance(self.executor, Interpreted):
            self.executor.note = self._note

    def fill(self) -> None:
        """Decode the instruction that is to be executed next, and note it."""
        super().fill()
        self._note()

    def _note(self) -> None:
        found = decoded(self.setup, self.executor.m16, self.get("pc"))
        if found.op < len(INSTRUCTIONS):
            kind = INSTRUCTIONS[found.op].kind
            self.kinds.add(kind)
            if kind == "csr" and found.imm in CYCLE_COUNTERS:
                self.counters.add(self.get("pc"))


class Interpreted(PythonExecutor):
    """Executes without blocks, so that each instruction is decoded where it is first executed."""

    often = 1 << 62
    note: Callable[[], None] | None = None

    def fill(self) -> None:
        """Decode the instruction that is to be executed next, and have it noted."""
        super().fill()
        if self.note is not None:
            self.note()


def best_executor() -> type[Any]:
    """Return the executor that is fastest here."""
    if find_spec("llvmlite") is None:
        return Interpreted
    from busbox.engines.native_core import NativeExecutor

    return NativeExecutor


def in_order(core: Core, rows: Sequence[Row], most: Sequence[int]) -> Iterator[None]:
    """Execute up to each recorded access; yield when it is due and has been compared.

    It is answered in the cycle in which it was raised, as if the bus took no time.

    Parameters
    ----------
    most : for each access, the instructions that may be executed before it

    Raises
    ------
    Differs : the program does something else
    """
    state, execute, begun = core.executor.state, core.executor.run, 0
    state[_UNTIL] = core.cycle + AHEAD
    for number, row in enumerate(rows):
        execute()
        while (left := state[_KIND]) == DECODE or left == IDLE:
            if left == DECODE:
                core.fill()
            elif state[_INSTRET] - begun > most[number]:
                break
            else:
                state[_UNTIL] = core.cycle + AHEAD
            execute()
        check_due(core, number, row)
        yield
        begun, now = state[_INSTRET], state[_START]
        state[_NOW], state[_RESULT], state[_FAILED] = now, row.data, row.failed
        state[_UNTIL] = now + AHEAD


def check_due(core: Core, number: int, row: Row) -> None:
    """Compare what the core does with what was recorded.

    Raises
    ------
    Differs : it differs
    """
    left, write, address, data, lanes, start, pc = core.executor.state[_DUE]
    if (
        (left, write, address, lanes) == (ACCESS, row.write, row.address, row.lanes)
        and (pc == row.pc or row.pc < 0)
        and (start == row.start or row.start < 0)
        and not (write and data ^ row.data)
    ):
        return
    recorded = f"the recording has a {_access(row)}"
    if left == STOPPED:
        raise Differs(number, pc, f"{recorded}, and the program has ended ({core.how_ended})")
    if left != ACCESS:
        raise Differs(number, pc, f"{recorded}, and the program makes no access")
    made = Row(
        write,
        address,
        data,
        lanes,
        pc if row.pc >= 0 else -1,
        start=start if row.start >= 0 else -1,
    )
    selected = sum(0xFF << 8 * lane for lane in range(4) if row.lanes >> lane & 1)
    same = replace(made, data=row.data, failed=row.failed) == row
    if not same or (write and (data ^ row.data) & selected):
        raise Differs(number, pc, f"{recorded}, and the program makes a {_access(made)}")


def _access(row: Row) -> str:
    what = f"write of {row.data:#x} to" if row.write else "read from"
    lanes = "" if row.lanes == 0b1111 else f", lanes {show_lanes(row.lanes)}"
    pc = f", pc {row.pc:#x}" if row.pc >= 0 else ""
    start = f", in cycle {row.start:,}" if row.start >= 0 else ""
    return f"{what} {row.address:#010x}{lanes}{pc}{start}"
