"""The core under test, driven as an engine drives it, and made of what the naive core is made of."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from busbox.core.blocks import PythonExecutor
from busbox.core.core import Core
from busbox.core.image import Memory
from busbox.core.instructions import CLASSES
from busbox.core.machine import ACCESS, STOPPED
from busbox.core.setup import CoreSetup
from busbox.engines.native_core import NativeExecutor


class Eager(PythonExecutor):
    """A block begins wherever a jump, a trap or an access has once led to."""

    often = 0


class Alone(PythonExecutor):
    """The interpreter without a block."""

    often = 1 << 60


EXECUTORS = {"python": PythonExecutor, "eager": Eager, "native": NativeExecutor}
#: Machine registers in the state, by the names of the naive core.
SAVED = ("mie", "mtvec", "mscratch", "mepc", "mcause", "mtval")

Bus = Callable[[int, bool, int, int, int], tuple[int, int, bool]]


def core_of(
    isa: str,
    memories: list[tuple[int, bytearray, int, bool]],
    start: int,
    clocks: dict[str, int],
    executor: str,
    **settings: Any,
) -> Core:
    """Return a core; the arguments are those of the naive core."""
    setup = CoreSetup(
        isa,
        tuple(
            Memory(base, len(contents), bytes(contents), 0, cycles, writable)
            for base, contents, cycles, writable in memories
        ),
        start,
        {kind: clocks.get(kind, clocks["base"]) for kind in CLASSES},
        settings.get("access_at", 0),
        settings.get("misaligned", "trap") == "split",
        settings.get("bus_error", "fault") == "fault",
        "trap",
        {f"line.{number}": number for number in (3, 7, 11, *range(16, 32))},
    )
    return Core(setup, EXECUTORS[executor])


class Driven:
    """A core with a bus and interrupt lines, as an engine has them."""

    def __init__(self, core: Core, lines: Callable[[int], int], bus: Bus) -> None:
        self.core, self._lines, self._bus = core, lines, bus
        self._levels = 0
        self._free, self._result, self._failed = 1, 0, 0

    def _sense(self, cycle: int, up: bool) -> bool:
        """Give the lines their levels; return whether they changed and withdrew what was due."""
        levels = self._lines(cycle)
        if levels == self._levels:
            return False
        self._levels = levels
        was_asleep = self.core.kind == STOPPED
        withdrawn = self.core.line(cycle, levels, up)
        if was_asleep and not withdrawn and not self.core.ended:
            self._free = cycle
            return True
        if withdrawn:
            self._free = self.core.cycle
        return withdrawn

    def run(self, end: int) -> None:
        """Run up to a cycle: what begins before it has been executed."""
        core = self.core
        while self._free <= end:
            cycle = self._free
            self._sense(cycle, False)
            left = core.consult(cycle, self._result, self._failed)
            due = core.get("out_start") if left == ACCESS else core.cycle
            due = end if left == STOPPED else due
            if any(self._sense(later, False) for later in range(cycle + 1, min(due, end - 1) + 1)):
                continue
            if due >= end:
                core.line(end, self._levels, False)
                self._free = end if left == STOPPED else core.cycle
                return
            if left == ACCESS:
                self._access()
            else:
                self._free = due

    def _access(self) -> None:
        core = self.core
        start, write = core.get("out_start"), bool(core.get("out_write"))
        given = [core.get(f"out_{what}") for what in ("address", "data", "lanes")]
        end, self._result, failed = self._bus(start, write, *given)
        self._failed = int(failed)
        for cycle in range(start + 1, end + 1):
            self._sense(cycle, True)
        self._free = end + 1


def contents(core: Core) -> list[bytes]:
    """Return what is in each memory."""
    found, place = [], 0
    for memory in core.setup.memories:
        found.append(bytes(core.executor.m8[place : place + memory.size]))
        place += memory.size
    return found


def state(core: Core) -> dict[str, Any]:
    """Return what the naive core must agree with."""
    cycle, instret = core.cycle, core.get("instret")
    return {
        "x": core.registers,
        "pc": core.get("pc"),
        "cycle": cycle,
        "minstret": instret + core.get("instret_off") & (1 << 64) - 1,
        "mstatus": core.get("mie_bit") << 3 | core.get("mpie") << 7 | 0x1800,
        **{name: core.get(name) for name in SAVED},
        "memories": contents(core),
    }
