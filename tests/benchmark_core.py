"""How fast a core executes: against a plain interpreter written for the loop alone, in one run.

The loop has arithmetic, loads, stores and branches. The plain interpreter decodes before it runs and
knows eight instructions; the interpreter of Busbox, used alone, knows all of them, their clocks and
what may interrupt them. The compiled programs are those of tests/core/programs.
"""

from __future__ import annotations

import time
from typing import Any

from busbox import load_bench
from busbox.core.blocks import PythonExecutor
from busbox.core.core import Core
from busbox.core.image import Memory
from busbox.core.instructions import CLASSES
from busbox.core.machine import STOPPED
from busbox.core.setup import CoreSetup
from busbox.engines import engine_class, for_many_runs
from busbox.engines.native_core import NativeExecutor
from busbox.run.loop import replay
from tests.core import assembler as asm
from tests.core.assembler import Assembly
from tests.core.board import OWN_BASE, OWN_SIZE, built
from tests.core.ours import Alone

ROUNDS = 100_000
PROGRAMS = ("sha256", "sorting")
DATA = 0x2000_0000
CLOCKS = dict.fromkeys(CLASSES, 1)
EXECUTORS = {"interpreter": Alone, "blocks": PythonExecutor, "machine code": NativeExecutor}


def loop(rounds: int) -> bytes:
    """Return nine or ten instructions a round, x31 counting them, and a jump to itself."""
    code = Assembly(0)
    code.words(*asm.li(31, rounds), *asm.li(5, DATA))
    code.label("round")
    code.words(asm.lw(6, 5, 0), asm.add(7, 7, 6), asm.xor(7, 7, 31), asm.sw(7, 5, 4))
    code.words(asm.andi(28, 31, 1))
    code.word_to("even", lambda offset: asm.beq(28, 0, offset))
    code.words(asm.addi(29, 29, 3))
    code.label("even")
    code.words(asm.sw(31, 5, 0), asm.addi(31, 31, -1))
    code.word_to("round", lambda offset: asm.bne(31, 0, offset))
    code.words(asm.jal(0, 0))
    return code.image()


def plain(code: bytes) -> tuple[int, list[int]]:
    """Execute the loop; return how many instructions that took, and x0 to x31."""
    x, data, pc, count = [0] * 32, memoryview(bytearray(64)).cast("I"), 0, 0
    decoded = [
        _decoded(int.from_bytes(code[at : at + 4], "little")) for at in range(0, len(code), 4)
    ]
    while True:
        kind, rd, a, b, immediate = decoded[pc >> 2]
        following = pc + 4
        if kind == 0x13:
            x[rd] = x[a] + immediate & 0xFFFFFFFF
        elif kind == 0x713:
            x[rd] = x[a] & immediate
        elif kind == 0x33:
            x[rd] = x[a] + x[b] & 0xFFFFFFFF
        elif kind == 0x433:
            x[rd] = x[a] ^ x[b]
        elif kind == 0x203:
            x[rd] = data[x[a] + immediate - DATA >> 2]
        elif kind == 0x223:
            data[x[a] + immediate - DATA >> 2] = x[b]
        elif kind == 0x63:
            if x[a] == x[b]:
                following = pc + immediate
        elif kind == 0x163:
            if x[a] != x[b]:
                following = pc + immediate
        elif kind == 0x37:
            x[rd] = immediate
        else:
            return count, x
        x[0] = 0
        pc = following
        count += 1


def _decoded(word: int) -> tuple[int, int, int, int, int]:
    """Return opcode and funct3, the registers and the immediate."""
    opcode, rd, high = word & 0x7F, word >> 7 & 31, (word >> 20 ^ 0x800) - 0x800
    kind = opcode if opcode in (0x37, 0x6F) else opcode | (word >> 12 & 7) << 8
    kind = kind & 0xFF | (kind >> 8) << 8
    immediate = high
    if opcode == 0x37:
        immediate = word & 0xFFFFF000
    elif opcode == 0x23:
        immediate = high & ~31 | rd
    elif opcode == 0x63:
        immediate = high & ~0x81F | rd & 30 | (rd & 1) << 11 | (-0x1000 if word >> 31 else 0)
    return kind, rd, word >> 15 & 31, word >> 20 & 31, immediate


def execute(setup: CoreSetup, executor: type[Any], rounds: int = 1) -> tuple[float, Core]:
    """Execute a program so often from its start; return the seconds, and the core."""
    core = Core(setup, executor)
    began = time.process_time()
    for number in range(rounds):
        if number:
            core.reset(1)
        while core.run(core.cycle + (1 << 40)) != STOPPED:
            pass
    return time.process_time() - began, core


def _row(name: str, count: int, took: float, reference: float) -> None:
    speed = count / took
    print(
        f"{name:34}{count:>12,}{took:>9.3f}{speed / 1e6:>9.2f}{speed / reference:>9.1f}", flush=True
    )


def main(rounds: int = ROUNDS, times: int = 3) -> None:
    """Print the speeds; the results must be equal."""
    print(f"\n{'executing':34}{'instructions':>12}{'s':>9}{'M/s':>9}{'ratio':>9}")
    code = loop(rounds)
    began = time.process_time()
    count, x = plain(code)
    took = time.process_time() - began
    reference = count / took
    _row("loop, plain interpreter", count, took, reference)
    memories = (Memory(0, 256, code), Memory(DATA, 64))
    for name, executor in EXECUTORS.items():
        took, core = execute(CoreSetup("rv32i", memories, 0, CLOCKS), executor)
        assert core.registers == x
        _row(f"loop, {name}", core.get("instret"), took, reference)
    for program in PROGRAMS:
        _compiled(program, max(1, rounds // 2000))
    _closed(times)


def _compiled(program: str, rounds: int) -> None:
    """Print the speeds of a compiled program, the interpreter being 1."""
    code = built(program, "rv32imc")
    memory = Memory(OWN_BASE, OWN_SIZE, bytes(code.memory))
    reference = 0.0
    for name, executor in EXECUTORS.items():
        setup = CoreSetup("rv32imc", (memory,), code.start, CLOCKS)
        took, core = execute(setup, executor, rounds)
        count = core.get("instret") * rounds
        reference = reference or count / took
        _row(f"{program}, {name}", count, took, reference)


def _closed(times: int) -> None:
    """Print what executing a bench costs, compared with playing what it has recorded."""
    bench = "signal_cabin"
    for name in ("python", "llvm"):
        engine = for_many_runs(engine_class(name))
        took = []
        for system in (load_bench(f"{bench}_recorded").system(), load_bench(bench).system()):
            seconds = []
            for _ in range(times):
                began = time.process_time()
                replay(system, engine)
                seconds.append(time.process_time() - began)
            took.append(min(seconds))
        print(f"{bench}, engine {name}: executed in {took[1]:.3f} s, {took[1] / took[0]:.2f} times as "
              f"long as its recorded traffic")  # fmt: skip


if __name__ == "__main__":
    main()
