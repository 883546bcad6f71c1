"""Cases that drawn programs rarely reach: each is here because a mistake in the core was not found.

They run in three ways: by the interpreter, as a block as soon as there can be one, as machine code.
"""

from __future__ import annotations

import ctypes
from typing import Any

import pytest

from busbox.core.core import AHEAD, Core
from busbox.core.image import Memory
from busbox.core.instructions import CLASSES
from busbox.core.layout import AT
from busbox.core.machine import ACCESS, DECODE, STOPPED
from busbox.core.setup import CoreSetup
from busbox.engines.native_core import NativeExecutor
from tests.core import assembler as asm
from tests.core.lockstep import Alone, Eager
from tests.core.programs import DrawnBus, drawn_clocks, drawn_program

EXECUTORS = [Alone, Eager, NativeExecutor]
BASE, HANDLER, ROM, BUS = 0x8000_0000, 0x8000_0200, 0x9000_0000, 0x1000_0000
EBREAK = 0x0010_0073
HIGHEST, LOWEST, ALL = 0x7FFF_FFFF, 0x8000_0000, 0xFFFF_FFFF

each_executor = pytest.mark.parametrize("executor", EXECUTORS)


def core_of(
    executor: type[Any], *words: int, isa: str = "rv32imc", split: bool = False, **clocks: int
) -> Core:
    """Return a core at the first of these instructions, with lines, own memory and a ROM."""
    code = b"".join(word.to_bytes(4, "little") for word in words)
    memories = (
        Memory(BASE, 0x400, code.ljust(0x200, b"\0") + EBREAK.to_bytes(4, "little"), 0, 1, True),
        Memory(ROM, 0x100, b"\x5a" * 0x100, 0, 1, False),
    )
    given = {name: clocks.get(name, 1) for name in CLASSES}
    setup = CoreSetup(
        isa, memories, BASE, given, clocks.get("access_at", 0), split, True, "end",
        {"pin": 11, "timer": 7},
    )  # fmt: skip
    return Core(setup, executor)


def ended(core: Core, **registers: int) -> Core:
    """Execute up to ebreak, which stays where it is."""
    for name, word in registers.items():
        core.executor.x[int(name[1:])] = word
    assert core.consult(1, 0, 0) == STOPPED
    assert core.how_ended == "ebreak"
    return core


@each_executor
@pytest.mark.parametrize(
    ("make", "a", "b", "expected"),
    [
        (asm.div, LOWEST, ALL, LOWEST),
        (asm.rem, LOWEST, ALL, 0),
        (asm.div, LOWEST, 1, LOWEST),
        (asm.div, HIGHEST, LOWEST, 0),
        (asm.rem, HIGHEST, LOWEST, HIGHEST),
        (asm.div, LOWEST, 2, 0xC000_0000),
        (asm.divu, LOWEST, ALL, 0),
        (asm.remu, LOWEST, ALL, LOWEST),
        (asm.div, 5, 0, ALL),
        (asm.rem, LOWEST, 0, LOWEST),
    ],
)
def test_divisions_overflow_as_the_standard_says(
    make: Any, a: int, b: int, expected: int, executor: type[Any]
) -> None:
    """Source: volume I, chapter M, table "Semantics for division by zero and division overflow"."""
    core = ended(core_of(executor, make(7, 5, 6), EBREAK), x5=a, x6=b)
    assert core.registers[7] == expected


@each_executor
def test_the_other_half_of_mcycle_counts_on(executor: type[Any]) -> None:
    """If the lower half overflows while it is written, the upper half counts it (a choice of ours)."""
    words = [asm.csrrw(0, 0xB00, 5), asm.csrrw(0, 0xB00, 0), asm.csrrs(7, 0xB80, 0)]
    assert ended(core_of(executor, *words, EBREAK), x5=ALL).registers[7] == 1


def asked(core: Core, cycle: int, result: int, failed: int) -> int:
    """Ask machine code as the loop of an engine does."""
    executor = core.executor
    number = ctypes.c_int64
    consult = ctypes.CFUNCTYPE(number, ctypes.c_void_p, number, number, number, number)(
        executor.entry
    )
    while True:
        kind: int = consult(executor.address, cycle, result, failed, cycle + AHEAD)
        if kind != DECODE:
            return kind
        core.fill()


def numbers(core: Core) -> list[list[int]]:
    """Return state, registers, checkpoint and journal; what a rewind gives anew is left out."""
    executor = core.executor
    saved = list(executor.saved)
    del saved[AT["until"]]
    noted = list(executor.journal[: 2 * core.get("noted")])
    return [list(executor.state), list(executor.x), saved, list(executor.saved_x), noted]


@pytest.mark.parametrize("seed", range(4))
def test_the_loop_asks_machine_code_as_consult_does(seed: int) -> None:
    """What an engine's loop calls leaves the state, checkpoint and journal that ``consult`` leaves."""
    program, given = drawn_program(seed, "rv32imc"), drawn_clocks(seed)
    memories = tuple(
        Memory(base, len(contents), bytes(contents), 0, cycles, writable)
        for base, contents, cycles, writable in program.memories((0, 1, 2))
    )
    clocks = {name: given.get(name, given["base"]) for name in CLASSES}
    setup = CoreSetup(
        program.isa, memories, program.base, clocks, 1, True, True, "trap", {"pin": 11}
    )
    cores = [Core(setup, NativeExecutor), Core(setup, NativeExecutor)]
    bus, cycle, result, failed, count = DrawnBus(seed), 1, 0, False, 0
    for _ in range(2000):
        left = cores[0].consult(cycle, result, int(failed))
        assert asked(cores[1], cycle, result, int(failed)) == left
        assert numbers(cores[0]) == numbers(cores[1])
        if left != ACCESS:
            break
        first = cores[0]
        told = [first.get(f"out_{what}") for what in ("address", "data", "lanes")]
        end, result, failed = bus(first.get("out_start"), bool(first.get("out_write")), *told)
        cycle, count = end + 1, count + 1
    assert count >= 3
