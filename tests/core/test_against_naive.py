"""The core against the interpreter that another author wrote from the standard's text alone."""

from __future__ import annotations

import random
from typing import Any

import pytest

from busbox.core.compressed import expanded
from busbox.core.core import Core
from busbox.core.machine import JUMPING
from tests.core import assembler as asm
from tests.core import board
from tests.core.board import Board, built
from tests.core.naive import NaiveCore, decode16
from tests.core.ours import EXECUTORS, SAVED, Driven, core_of, state
from tests.core.programs import ISAS, DrawnBus, drawn_clocks, drawn_lines, drawn_program

LIMIT = 30_000


def naive_state(core: NaiveCore) -> dict[str, Any]:
    """Return what ours must agree with."""
    return {
        "x": list(core.x),
        "pc": core.pc,
        "cycle": core.cycle,
        "minstret": core.instructions & (1 << 64) - 1,
        "mstatus": core.csr_value("mstatus"),
        **{name: core.csr_value(name) for name in SAVED},
        "memories": [bytes(one[1]) for one in core.memories],
    }


def agree(core: Core, expected: dict[str, Any], where: str) -> None:
    """Check that a core has the state of the naive one."""
    found = state(core)
    if core.get("sleeping") == JUMPING:  # counted when the core is looked at again
        for name in ("cycle", "minstret"):
            assert found[name] <= expected[name], where
            found[name] = expected[name]
    assert found == expected, where


@pytest.mark.quick
def test_every_half_word_is_decoded_alike() -> None:
    """All 49,152 half-words that are compressed stand for the same word, or for none."""
    different = [
        half for half in range(1 << 16) if half & 3 != 3 and expanded(half) != decode16(half)
    ]
    assert different == []


@pytest.mark.quick
@pytest.mark.parametrize("executor", EXECUTORS)
@pytest.mark.parametrize("isa", ISAS)
@pytest.mark.parametrize("seed", range(4))
def test_drawn_programs_do_the_same(seed: int, isa: str, executor: str) -> None:
    """A random program with traps, interrupts, bus accesses and code that changes itself ends alike."""
    _played(seed, isa, executor, blocks=20)


@pytest.mark.parametrize("executor", EXECUTORS)
@pytest.mark.parametrize("isa", ISAS)
@pytest.mark.parametrize("seed", range(100, 110))
def test_more_drawn_programs_do_the_same(seed: int, isa: str, executor: str) -> None:
    """The same with longer programs."""
    _played(seed, isa, executor, blocks=40)


def _played(seed: int, isa: str, executor: str, blocks: int) -> None:
    drawn = random.Random(seed)
    program, clocks = drawn_program(seed, isa, blocks), drawn_clocks(seed)
    lines = drawn_lines(seed)
    settings = {
        "access_at": drawn.choice([0, 0, 1, 2]),
        "misaligned": drawn.choice(["trap", "split"]),
        "bus_error": drawn.choice(["fault", "ignore"]),
    }
    waits = drawn.choice([(0, 1, 2), (1, 1, 1), (2, 0, 3)])
    naive_bus = DrawnBus(seed)
    naive = NaiveCore(isa, program.memories(waits), program.base, clocks, **settings)
    checkpoints = []
    for step in range(LIMIT):
        if naive.pc == program.end:
            break
        naive.step(lines(naive.cycle), naive_bus)
        if step % 97 == 0 and not naive.asleep:
            checkpoints.append((naive.cycle, naive_state(naive), len(naive_bus.log)))
    assert naive.pc == program.end
    checkpoints.append((naive.cycle, naive_state(naive), len(naive_bus.log)))
    bus = DrawnBus(seed)
    memories = program.memories(waits)
    driven = Driven(core_of(isa, memories, program.base, clocks, executor, **settings), lines, bus)
    for cycle, expected, count in checkpoints:
        driven.run(cycle)
        assert bus.log == naive_bus.log[: len(bus.log)]
        assert len(bus.log) == count
        agree(driven.core, expected, f"in cycle {cycle}")


@pytest.mark.quick
@pytest.mark.parametrize("executor", EXECUTORS)
@pytest.mark.parametrize("isa", ISAS)
def test_single_instructions_do_the_same(isa: str, executor: str) -> None:
    """Random words, most of them near a real instruction, leave the same state, trapping or not."""
    drawn = random.Random(f"{isa} {executor}")
    handler = [*asm.li(31, 0x8000_0400), asm.csrrw(0, 0x305, 31)]
    start = 0x8000_0000
    real = [one for one in vars(asm).values() if isinstance(one, int)]
    for _ in range(60 if executor == "python" else 25):
        code = list(handler)
        for register in range(1, 31):
            value = drawn.choice([0, 1, 0x8000_0000, 0xFFFF_FFFF, drawn.getrandbits(32)])
            if drawn.random() < 0.3:
                value = 0x8000_0800 + drawn.randrange(0, 256)
            code += asm.li(register, value)
        opcode = drawn.choice(
            [0x03, 0x0F, 0x13, 0x17, 0x23, 0x33, 0x37, 0x63, 0x67, 0x6F, 0x73, 0x2F]
        )
        word = drawn.getrandbits(32) & ~0x7F | opcode
        if opcode == 0x33:
            word = word & 0x01FF_FFFF | drawn.choice([0, 1, 0x20, 0x10]) << 25
        if drawn.random() < 0.2 and real:
            word = drawn.choice(real)
        code.append(word)
        memory = bytearray(b"".join(one.to_bytes(4, "little") for one in code).ljust(0x400, b"\0"))
        memory += (0x6F).to_bytes(4, "little")  # the handler: a jump to itself
        memory = memory.ljust(0x1000, b"\x13")
        naive = NaiveCore(isa, [(start, bytearray(memory), 1, True)], start, {"base": 2})
        naive_bus, bus = DrawnBus(3), DrawnBus(3)
        for _ in range(len(code)):
            naive.step(0, naive_bus)
        if naive.asleep:
            continue
        core = core_of(isa, [(start, memory, 1, True)], start, {"base": 2}, executor)
        driven = Driven(core, lambda cycle: 0, bus)
        driven.run(naive.cycle)
        assert bus.log == naive_bus.log, f"{word:#010x}"
        agree(core, naive_state(naive), f"{word:#010x}")


@pytest.mark.parametrize("executor", EXECUTORS)
@pytest.mark.parametrize("isa", ISAS)
@pytest.mark.parametrize(
    "name", ["checksums", "sha256", "sorting", "strings", "division", "recursion"]
)
def test_compiled_programs_do_the_same(name: str, isa: str, executor: str) -> None:
    """A program from the compiler leaves the same memory in the same cycle, with the same accesses."""
    if executor == "python" and name in ("sorting", "recursion"):
        pytest.skip("long; the native core executes it")
    _built(name, isa, executor)


@pytest.mark.quick
@pytest.mark.parametrize("executor", EXECUTORS)
@pytest.mark.parametrize("isa", ["rv32i", "rv32imc"])
@pytest.mark.parametrize("name", ["nested", "sleep"])
def test_interrupted_programs_do_the_same(name: str, isa: str, executor: str) -> None:
    """Nested interrupts and sleep by wfi end alike, whatever the waits of the bus."""
    for wait in (0, 1, 3):
        _built(name, isa, executor, wait)


def _built(name: str, isa: str, executor: str, wait: int = 0) -> None:
    program, clocks = built(name, isa), {"base": 1}
    done = program.symbols["done"]
    memories = [(board.OWN_BASE, bytearray(program.memory), 0, True)]
    naive_bus = Board(wait)
    naive = NaiveCore(isa, memories, program.start, clocks)
    for _ in range(200_000):
        if naive.pc == done:
            break
        naive.step(naive_bus.lines(naive.cycle), naive_bus)
    assert naive.pc == done
    bus = Board(wait)
    memories = [(board.OWN_BASE, program.memory, 0, True)]
    core = core_of(isa, memories, program.start, clocks, executor)
    Driven(core, bus.lines, bus).run(naive.cycle)
    assert state(core) == naive_state(naive)
    assert bus.changes == naive_bus.changes
