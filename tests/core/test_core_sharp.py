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
from busbox.core.machine import ACCESS, DECODE, IDLE, STOPPED
from busbox.core.setup import CoreSetup
from busbox.engines.native_core import NativeExecutor
from tests.core import assembler as asm
from tests.core.ours import Alone, Eager
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


def rewriting(place: int, at: int, half: int) -> tuple[int, ...]:
    """Return a program that calls ``addi x7, x0, 1``, stores a half-word, and calls it once more.

    Parameters
    ----------
    place : of the called instruction, in bytes behind ``BASE``
    at, half : what the store writes, and where
    """
    memory = bytearray(0x100)
    code = [
        asm.jal(1, place), asm.addi(10, 7, 0), asm.sh(5, 6, 0), asm.jal(1, place - 12),
        asm.addi(11, 7, 0), EBREAK,
    ]  # fmt: skip
    memory[:24] = b"".join(word.to_bytes(4, "little") for word in code)
    called = asm.addi(7, 0, 1).to_bytes(4, "little") + asm.c_jr(1).to_bytes(2, "little")
    memory[place : place + 6] = called
    words = memoryview(memory).cast("I")
    return tuple(words)


REWRITTEN = [
    (0x40, 0x42, 0x0020),  # the word in which it begins, and ends
    (0x42, 0x44, 0x0020),  # the word in which it ends
    (0x42, 0x42, 0x0413),  # the word in whose upper half it begins: x8, not x7
]


@each_executor
@pytest.mark.parametrize(("place", "at", "half"), REWRITTEN)
def test_a_store_changes_an_instruction_wherever_it_lies(
    place: int, at: int, half: int, executor: type[Any]
) -> None:
    """The second call executes what the store has written, and so again after a rewind to the start."""
    core = core_of(executor, *rewriting(place, at, half))
    for _ in range(2):
        ended(core, x5=half, x6=BASE + at)
        changed = core.registers[8] if half == 0x0413 else core.registers[11]
        assert (core.registers[10], changed) == (1, 1 if half == 0x0413 else 2)
        core.line(1, 0, False)
        assert core.cycle == 1


@each_executor
def test_lines_that_change_before_an_access_is_raised_leave_it_due(executor: type[Any]) -> None:
    """A load that has begun is made, whatever lines do up to the cycle in which it is raised."""
    core = core_of(executor, asm.lw(7, 6, 0), EBREAK, access_at=3, load=5)
    core.executor.x[6] = BUS
    assert core.consult(1, 0, 0) == ACCESS
    for cycle in (2, 3, 4):
        assert not core.line(cycle, cycle & 1, False)
        assert (core.kind, core.get("out_start"), core.get("pending")) == (ACCESS, 4, 1)
        assert core.registers[7] == 0
    assert core.consult(7, 0x1234_5678, 0) == STOPPED
    assert core.registers[7] == 0x1234_5678


@each_executor
def test_a_short_instruction_may_be_the_last_of_a_memory(executor: type[Any]) -> None:
    """Nothing behind it is fetched."""
    core = core_of(executor, asm.jal(0, 0x3FE))
    core.executor.m16[0x3FE >> 1] = 0x9002  # c.ebreak
    assert ended(core).get("pc") == BASE + 0x3FE


SETTING_UP = (asm.csrrw(0, 0x305, 5), asm.csrrw(0, 0x304, 6), asm.csrrsi(0, 0x300, 8))


def with_stops(core: Core) -> Core:
    """Fill the second half of the memory, where handlers are, with ebreak."""
    for word in range(0x200 >> 2, 0x400 >> 2):
        core.executor.m32[word] = EBREAK
    return core


#: Lines that are up, and the one that is taken. Source: volume II, chapter 3.1.9 (external, software,
#: timer); that platform lines follow, the lowest first, is a choice of ours.
FIRST = [
    ((3, 7), 3),
    ((7, 11), 11),
    ((3, 11), 11),
    ((3, 7, 11), 11),
    ((16, 31), 16),
    ((17, 7), 7),
    ((16, 3), 3),
    ((16, 11), 11),
]


@each_executor
@pytest.mark.parametrize(("up", "taken"), FIRST)
@pytest.mark.parametrize("vectored", [0, 1])
def test_the_interrupt_that_goes_first(
    up: tuple[int, ...], taken: int, vectored: int, executor: type[Any]
) -> None:
    """Of lines that are up and enabled, one is taken; where its handler begins follows the mode."""
    core = with_stops(core_of(executor, *SETTING_UP, EBREAK, trap=5))
    core.set("mtval", 77)
    lines = sum(1 << line for line in up)
    core.line(1, lines, False)
    ended(core, x5=HANDLER | vectored, x6=lines)
    assert core.get("pc") == HANDLER + 4 * taken * vectored
    assert core.get("cycle") == 1 + 3 + 5
    named = [core.get(name) for name in ("mcause", "mepc", "mtval", "mpie", "mie_bit", "instret")]
    assert named == [0x8000_0000 + taken, BASE + 12, 0, 1, 0, 3]


@each_executor
@pytest.mark.parametrize("enabled", [0, 1])
@pytest.mark.parametrize("line", [7, 11])
def test_what_wakes_a_sleeping_core(line: int, enabled: int, executor: type[Any]) -> None:
    """A line that is enabled in mie ends wfi, whatever MIE is; one that is not does not."""
    words = [asm.csrrw(0, 0x304, 6), asm.csrrsi(0, 0x300, 8) if enabled else asm.fence()]
    core = with_stops(core_of(executor, *words, 0x1050_0073, EBREAK))
    core.set("mtvec", HANDLER)
    core.executor.x[6] = 1 << 11
    assert core.consult(1, 0, 0) == STOPPED
    asleep = core.cycle
    assert (asleep, core.get("sleeping"), core.ended) == (4, 1, False)
    core.line(20, 1 << line, False)
    assert core.consult(20, 0, 0) == STOPPED
    if line == 7:
        assert core.get("sleeping") == 1
        return
    assert core.get("sleeping") == 0
    assert core.cycle == 20 + enabled
    assert core.get("pc") == (HANDLER if enabled else BASE + 12)
    assert core.get("instret") == 3


@each_executor
def test_a_line_in_the_last_cycle_of_a_run_is_not_seen(executor: type[Any]) -> None:
    """What begins in the cycle in which a line falls does not see it up."""
    core = with_stops(core_of(executor, *SETTING_UP, *[asm.addi(7, 7, 1)] * 4, EBREAK))
    core.line(1, 1 << 11, False)
    core.set("mtvec", HANDLER)
    for name, word in (("x5", HANDLER), ("x6", 1 << 11)):
        core.executor.x[int(name[1:])] = word
    core.consult(1, 0, 0)
    assert core.get("mcause") == 0x8000_000B
    core.line(4, 0, False)
    assert (core.get("pc"), core.cycle, core.get("cause")) == (BASE + 12, 4, -1)
    core.consult(4, 0, 0)
    assert (core.registers[7], core.get("mcause")) == (4, 0)


@each_executor
@pytest.mark.parametrize("looked_at", range(20, 31))
def test_rounds_of_a_jump_to_itself(looked_at: int, executor: type[Any]) -> None:
    """Each round is an instruction of so many clocks; an interrupt is taken when one has ended."""
    core = with_stops(core_of(executor, *SETTING_UP, asm.jal(0, 0), jump=4))
    core.executor.x[5], core.executor.x[6] = HANDLER, 1 << 11
    assert core.consult(1, 0, 0) == STOPPED
    core.line(looked_at, 1 << 11, False)
    core.consult(looked_at, 0, 0)
    rounds = -(-(looked_at - 4) // 4)
    assert core.get("pc") == HANDLER
    assert (core.cycle, core.get("instret")) == (4 + 4 * rounds + 1, 3 + rounds)


TRAPPING = [
    (asm.sw(7, 8, 1), 6, ROM + 1),  # misaligned goes before the fault: volume II, table 3.7
    (asm.sh(7, 8, 1), 6, ROM + 1),
    (asm.sw(7, 8, 4), 7, ROM + 4),
    (asm.sb(7, 8, 3), 7, ROM + 3),
    (asm.lw(7, 8, 2), 4, ROM + 2),
    (asm.lhu(7, 8, 3), 4, ROM + 3),
    (0x0000_0073, 11, 0),
    (asm.csrrw(7, 0xF11, 0), 2, asm.csrrw(7, 0xF11, 0)),
    (asm.csrrs(7, 0xC00, 8), 2, asm.csrrs(7, 0xC00, 8)),
    (asm.csrrs(7, 0x3A0, 0), 2, asm.csrrs(7, 0x3A0, 0)),
]


@each_executor
@pytest.mark.parametrize(("word", "cause", "value"), TRAPPING)
def test_exceptions(word: int, cause: int, value: int, executor: type[Any]) -> None:
    """Cause and mtval; the handler is at the base, vectored or not; nothing retires."""
    core = with_stops(core_of(executor, *SETTING_UP, word, trap=6))
    ended(core, x5=HANDLER | 1, x6=0, x8=ROM)
    assert (core.get("mcause"), core.get("mtval"), core.get("mepc")) == (cause, value, BASE + 12)
    assert (core.get("pc"), core.cycle, core.get("instret")) == (HANDLER, 10, 3)
    assert (core.get("mpie"), core.get("mie_bit"), core.registers[7]) == (1, 0, 0)
    assert core.executor.m32[0x404 >> 2] == 0x5A5A_5A5A


class Words:
    """A bus that answers with a word after a cycle, fails where told to, and keeps what it saw."""

    def __init__(self, word: int, fails: int = -1) -> None:
        self._word, self._fails = word, fails
        self.seen: list[tuple[int, int, int, int, int]] = []

    def play(self, core: Core) -> Core:
        """Execute to the end."""
        left = core.consult(1, 0, 0)
        while left == ACCESS:
            names = ("start", "write", "address", "data", "lanes")
            start, write, address, data, lanes = (core.get(f"out_{name}") for name in names)
            self.seen.append((start, write, address, data, lanes))
            left = core.consult(start + 2, self._word, int(len(self.seen) - 1 == self._fails))
        assert left == STOPPED
        return core


LOADED = [
    (asm.lb, 0, 0xFFFF_FF81, 1), (asm.lb, 3, 0xFFFF_FF84, 8), (asm.lbu, 1, 0x82, 2),
    (asm.lbu, 3, 0x84, 8), (asm.lh, 0, 0xFFFF_8281, 3), (asm.lh, 2, 0xFFFF_8483, 12),
    (asm.lhu, 2, 0x8483, 12), (asm.lw, 0, 0x8483_8281, 15),
]  # fmt: skip


@each_executor
@pytest.mark.parametrize("rd", [0, 7])
@pytest.mark.parametrize(("make", "offset", "expected", "lanes"), LOADED)
def test_loads_from_the_bus(
    make: Any, offset: int, expected: int, lanes: int, rd: int, executor: type[Any]
) -> None:
    """Lanes, sign and cycles of a load; one to x0 makes its access and leaves x0."""
    core = core_of(executor, make(rd, 6, offset), EBREAK, access_at=2, load=6)
    core.executor.x[6] = BUS
    bus = Words(0x8483_8281)
    bus.play(core)
    assert bus.seen == [(3, 0, BUS, 0, lanes)]
    assert core.registers[rd] == (expected if rd else 0)
    assert core.cycle == 3 + 2 + 6 - 2
    assert core.get("instret") == 1


STORED = [(asm.sb, 3, 0x4400_0000, 8), (asm.sh, 2, 0x3344_0000, 12), (asm.sw, 0, 0x1122_3344, 15)]


@each_executor
@pytest.mark.parametrize(("make", "offset", "data", "lanes"), STORED)
def test_stores_to_the_bus(
    make: Any, offset: int, data: int, lanes: int, executor: type[Any]
) -> None:
    """Lanes and data of a store."""
    core = core_of(executor, make(7, 6, offset), EBREAK)
    core.executor.x[6], core.executor.x[7] = BUS, 0x1122_3344
    bus = Words(0)
    bus.play(core)
    assert bus.seen == [(1, 1, BUS, data, lanes)]


@each_executor
@pytest.mark.parametrize("fails", [-1, 0, 1, 2])
def test_a_split_store_that_fails(fails: int, executor: type[Any]) -> None:
    """Pieces before the one that fails are made, none after; mtval is the address of that one."""
    core = with_stops(core_of(executor, asm.sw(7, 6, 1), EBREAK, split=True, access_at=1, store=3))
    core.set("mtvec", HANDLER)
    core.executor.x[6], core.executor.x[7] = BUS, 0x1122_3344
    bus = Words(0, fails)
    bus.play(core)
    pieces = [
        (2, 1, BUS, 0x4400, 2), (4, 1, BUS, 0x2233_0000, 12), (6, 1, BUS + 4, 0x11, 1),
    ]  # fmt: skip
    assert bus.seen == (pieces if fails < 0 else pieces[: fails + 1])
    if fails < 0:
        assert (core.cycle, core.get("instret"), core.get("mcause")) == (10, 1, 0)
    else:
        assert (core.get("mcause"), core.get("mtval")) == (7, BUS + (1, 2, 4)[fails])
        assert (core.cycle, core.get("instret")) == (2 * fails + 5, 0)


@each_executor
@pytest.mark.parametrize(("offset", "piece", "cycle"), [(1, 1, 2), (-1, 0, 5)])
def test_a_split_store_into_a_rom(offset: int, piece: int, cycle: int, executor: type[Any]) -> None:
    """The first piece that is refused traps at the store; a later one after the access before it."""
    core = with_stops(core_of(executor, asm.sh(7, 6, offset), EBREAK, split=True, access_at=2))
    core.set("mtvec", HANDLER)
    core.executor.x[6] = ROM
    bus = Words(0)
    bus.play(core)
    assert len(bus.seen) == (0 if piece else 1)
    assert (core.get("mcause"), core.get("mtval")) == (7, ROM + 1 if piece else ROM)
    assert core.cycle == cycle + (0 if piece else 1)
    assert bytes(core.executor.m8[0x400:0x404]) == b"\x5a" * 4


#: Instructions with x5 = all ones, x6 = 0x0F0F0F0F, and what they leave in x7. Source: volume II,
#: chapter 3.1, fields WARL; volume I, chapter Zicsr, when a register is read and written.
READ = [
    ((asm.csrrw(0, 0x340, 6), asm.csrrw(0, 0x340, 0), asm.csrrs(7, 0x340, 0)), 0),
    ((asm.csrrw(0, 0x340, 6), asm.csrrsi(0, 0x340, 17), asm.csrrs(7, 0x340, 0)), 0x0F0F_0F1F),
    ((asm.csrrw(0, 0x340, 6), asm.csrrs(0, 0x340, 5), asm.csrrs(7, 0x340, 0)), ALL),
    ((asm.csrrw(0, 0x340, 6), asm.csrrc(0, 0x340, 5), asm.csrrs(7, 0x340, 0)), 0),
    ((asm.csrrw(0, 0x305, 5), asm.csrrs(7, 0x305, 0)), 0xFFFF_FFFD),
    ((asm.csrrw(0, 0x304, 5), asm.csrrs(7, 0x304, 0)), 0xFFFF_0888),
    ((asm.csrrw(0, 0x300, 5), asm.csrrs(7, 0x300, 0)), 0x1888),
    ((asm.csrrw(0, 0x300, 0), asm.csrrs(7, 0x300, 0)), 0x1800),
    ((asm.csrrw(0, 0x344, 5), asm.csrrs(7, 0x344, 0)), 0x80),  # the line of the timer, not enabled
    ((asm.csrrc(7, 0xF11, 0),), 0),
    ((asm.csrrs(7, 0xC02, 0),), 0),
    ((asm.csrrs(7, 0xB1F, 0),), 0),
    ((asm.csrrw(0, 0xB02, 6), asm.csrrs(7, 0xB02, 0)), 0x0F0F_0F0F),
    ((asm.csrrw(0, 0xB82, 6), asm.csrrs(7, 0xB82, 0)), 0x0F0F_0F0F),
    ((asm.csrrw(0, 0xB02, 5), asm.fence(), asm.csrrs(7, 0xB82, 0)), 1),
    ((asm.csrrw(0, 0xB82, 5), asm.csrrs(7, 0xB02, 0)), 0),  # its own increment is left out
    ((asm.csrrw(0, 0xB00, 6), asm.csrrs(7, 0xB00, 0)), 0x0F0F_0F0F),
    ((asm.csrrw(0, 0xB80, 6), asm.csrrs(7, 0xB00, 0)), 4),
    ((asm.csrrw(0, 0xB80, 6), asm.csrrs(7, 0xB80, 0)), 0x0F0F_0F0F),
    ((0x0000_000F | 7 << 7, asm.addi(0, 0, 0)), 9),  # a fence ignores rd: volume I, chapter RV32I
    ((asm.lui(7, 0x80000), asm.lw(0, 7, 0), asm.addi(7, 0, 0)), 0),
]  # fmt: skip


@each_executor
@pytest.mark.parametrize(("words", "expected"), READ)
def test_registers_of_the_machine(
    words: tuple[int, ...], expected: int, executor: type[Any]
) -> None:
    """What is written is read back as the register keeps it, in the next instruction."""
    core = core_of(executor, *words, EBREAK, csr=3)
    core.line(1, 1 << 7, False)
    assert ended(core, x5=ALL, x6=0x0F0F_0F0F, x7=9).registers[7] == expected


@each_executor
@pytest.mark.parametrize(("isa", "kept"), [("rv32imc", 0xFFFF_FFFE), ("rv32im", 0xFFFF_FFFC)])
def test_mepc_has_bit_1_with_c_alone(isa: str, kept: int, executor: type[Any]) -> None:
    """Source: volume II, chapter 3.1.14: with IALIGN=32 the lowest two bits are 0."""
    core = core_of(executor, asm.csrrw(0, 0x341, 5), asm.csrrs(7, 0x341, 0), EBREAK, isa=isa)
    assert ended(core, x5=ALL).registers[7] == kept


@each_executor
@pytest.mark.parametrize("before", [0, 1])
def test_mret_takes_mpie_and_sets_it(before: int, executor: type[Any]) -> None:
    """Source: volume II, chapter 3.1.6.1."""
    core = core_of(executor, 0x3020_0073, EBREAK)
    core.set("mepc", BASE + 4)
    core.set("mpie", before)
    ended(core)
    assert (core.get("mie_bit"), core.get("mpie"), core.get("instret")) == (before, 1, 1)


@each_executor
@pytest.mark.parametrize("until", range(2, 40))
def test_a_run_ends_where_it_is_told_to(until: int, executor: type[Any]) -> None:
    """Only what begins before that cycle is executed, in a block as well."""
    loop = [*[asm.addi(7, 7, 1)] * 3, asm.jal(8, -12)]
    core = core_of(executor, *loop, jump=2)
    core.run(until)
    done = [cycle for cycle in range(1, until) if (cycle - 1) % 5 < 4]
    assert core.get("instret") == len(done)
    assert core.registers[7] == sum((cycle - 1) % 5 < 3 for cycle in done)


@each_executor
def test_a_handler_may_trap_after_its_first_instruction(executor: type[Any]) -> None:
    """Only a trap within the first instruction is one that nothing handles, also if that is a load."""
    offset = HANDLER - BASE
    before = [asm.ECALL, *[asm.addi(0, 0, 0)] * (offset // 4 - 1)]
    core = core_of(executor, *before, asm.lw(7, 6, 0), asm.ECALL)
    core.set("mtvec", HANDLER)
    core.executor.x[6] = BUS
    left = core.consult(1, 0, 0)
    for _ in range(300):
        assert left == ACCESS
        left = core.consult(core.get("out_start") + 2, 5, 0)
    assert core.get("mepc") == HANDLER + 4


@each_executor
@pytest.mark.parametrize("cycle", [2, 40, 401, 3000])
def test_a_rewind_takes_back_the_stores_of_a_loop(cycle: int, executor: type[Any]) -> None:
    """Own memory is as it was when the line changed, not as the core that ran ahead has left it."""
    loop = [asm.addi(7, 7, 1), asm.sw(7, 8, 0), asm.xori(8, 8, 4), asm.jal(0, -12)]
    core, other = core_of(executor, *loop), core_of(Alone, *loop)
    core.executor.x[8] = other.executor.x[8] = BASE + 0x180
    assert core.consult(1, 0, 0) == IDLE
    assert core.line(cycle, 1 << 7, False)
    assert other.run(cycle) == IDLE
    assert list(core.executor.m32) == list(other.executor.m32)
    assert (core.registers, core.cycle) == (other.registers, other.cycle)
