"""Blocks of instructions do what the interpreter alone does, state for state."""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Iterator

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from busbox.core.blocks import PythonExecutor
from busbox.core.core import Core
from busbox.core.image import Memory
from busbox.core.instructions import CLASSES
from busbox.core.machine import ACCESS, IDLE, ROOM, STOPPED
from busbox.core.setup import CoreSetup
from busbox.engines.native_core import NativeExecutor
from tests.core import assembler as asm
from tests.core.assembler import Assembly
from tests.core.lockstep import Lockstep, drawn_setup
from tests.core.ours import Alone, Eager
from tests.core.programs import EDGE_VALUES, ISAS, DrawnBus, drawn_program

CODE, DATA, BUS = 0x1000, 0x2000_0000, 0x4000_0000
CLOCKS = {name: 1 + place % 4 for place, name in enumerate(CLASSES)}
T0, T1, T2, T3, T4 = 5, 6, 7, 28, 29
NO_ACCESS = DrawnBus(0)


class Counting(PythonExecutor):
    """It counts how often the interpreter is called."""

    often = 1
    calls = 0

    def _interpret(self) -> int:
        self.calls += 1
        return super()._interpret()


def setup_of(code: bytes, isa: str = "rv32imc", lines: bool = False, **more: object) -> CoreSetup:
    """A core with code that it can write, memory for data and one that it cannot write."""
    memories = (
        Memory(CODE, 0x1000, code, 0, 1),
        Memory(DATA, 0x300, bytes(range(256)), 0, 1),
        Memory(DATA + 0x300, 0x100, bytes(range(255, -1, -1)), 0, 2, False),
    )
    pins = {"stop": 11, "clock": 7} if lines else {}
    return CoreSetup(isa, memories, CODE, CLOCKS, ebreak="trap", lines=pins, **more)  # type: ignore[arg-type]


def together(setup: CoreSetup, *executors: type, seed: int = 0) -> Lockstep:
    """The interpreter alone, blocks and machine code."""
    chosen = executors or (Alone, Eager, NativeExecutor)
    return Lockstep(setup, chosen, DrawnBus(seed), random.Random(seed))


def ends_alike(setup: CoreSetup, most: int = 500, seed: int = 0) -> Lockstep:
    """Play in lockstep until the cores sleep in a jump to itself or have stopped."""
    played = together(setup, seed=seed)
    for _ in range(most):
        kind = played.ask()
        if kind == STOPPED:
            return played
        _go_on(played, kind)
    raise AssertionError("it does not end")


def _go_on(played: Lockstep, kind: int) -> None:
    first = played.cores[0]
    if kind == IDLE:
        played.cycle = max(first.cycle, played.cycle)
        return
    told = (first.get(f"out_{what}") for what in ("address", "data", "lanes"))
    end, word, failed = played.bus(first.get("out_start"), bool(first.get("out_write")), *told)
    played.cycle, played.result = end + 1, (word, int(failed))


def counted(body: list[int], rounds: int = 40, before: list[int] | None = None) -> bytes:
    """A loop around instructions, of which x31 counts the rounds, and a jump to itself."""
    code = Assembly(CODE)
    code.words(*(before or []), *asm.li(31, rounds))
    code.label("round")
    code.words(*body, asm.addi(31, 31, -1))
    code.word_to("round", lambda offset: asm.bne(31, 0, offset))
    code.words(asm.jal(0, 0))
    return code.image()


@pytest.mark.quick
def test_drawn_programs_in_lockstep() -> None:
    """After every return, with drawn spans, lines and rewinding, all executors are in one state."""
    seen: Counter[str] = Counter()
    for seed in range(12):
        seen.update(_in_lockstep(seed, blocks=20).seen)
    assert seen["asked"] > 500
    assert seen["rewound"] > 30
    assert seen["line"] > 50


@pytest.mark.parametrize("seed", range(100, 160))
def test_more_drawn_programs_in_lockstep(seed: int) -> None:
    """The same with longer programs."""
    _in_lockstep(seed, blocks=60)


def _in_lockstep(seed: int, blocks: int) -> Lockstep:
    program = drawn_program(seed, ISAS[seed % 4], blocks)
    played = together(drawn_setup(program, seed, seed % 8 < 7), seed=seed)
    for _ in range(3):  # what the first round has left in memory, and in blocks, stays
        played.play(program.end, 1000)
        for core in played.cores:
            core.reset(played.cycle)
        played.compare("reset")
    return played


WORDS = st.one_of(st.sampled_from(EDGE_VALUES), st.integers(0, 0xFFFFFFFF))
OPERATIONS = (
    asm.add, asm.sub, asm.sll, asm.slt, asm.sltu, asm.xor, asm.srl, asm.sra, asm.or_, asm.and_,
    asm.mul, asm.mulh, asm.mulhsu, asm.mulhu, asm.div, asm.divu, asm.rem, asm.remu,
)  # fmt: skip
IMMEDIATES = (asm.addi, asm.slti, asm.sltiu, asm.xori, asm.ori, asm.andi)
PLACES = ((T2, T0, T1), (T0, T0, T1), (T1, T0, T1), (T2, T0, T0), (T2, 0, T1), (T2, T0, 0))
SHIFTS = (asm.slli, asm.srli, asm.srai)


@settings(deadline=None)
@given(
    words=st.tuples(WORDS, WORDS),
    known=st.tuples(st.booleans(), st.booleans()),
    imm=st.one_of(st.sampled_from([0, 1, -1, -2048, 2047]), st.integers(-2048, 2047)),
    place=st.sampled_from(PLACES),
)  # fmt: skip
def test_every_operation_on_words_known_or_not(
    words: tuple[int, int], known: tuple[bool, bool], imm: int, place: tuple[int, int, int]
) -> None:
    """All operations give the same, whether a block knows their words as numbers or not."""
    rd, rs1, rs2 = place
    values = [(T0, words[0]), (T1, words[1])]
    always = [word for one, value in values for word in asm.li(one, value)]
    body = []
    made = [make(rd, rs1, rs2) for make in OPERATIONS]
    made += [make(rd, rs1, imm) for make in IMMEDIATES]
    made += [make(rd, rs1, imm & 31) for make in SHIFTS]
    made += [asm.lui(rd, imm & 0xFFFFF), asm.auipc(rd, imm & 0xFFFFF)]
    for one in made:
        for given_one, (register, value) in zip(known, values, strict=True):
            # An unknown word comes from x3 or x4, which the block does not write.
            copy = asm.addi(register, 3 if register == T0 else 4, 0)
            body += asm.li(register, value) if given_one else [copy]
        body += [
            one,
            asm.xor(30, 30, rd),
            asm.slli(T3, 30, 1),
            asm.srli(30, 30, 31),
            asm.or_(30, 30, T3),
        ]
    before = [*always, asm.addi(3, T0, 0), asm.addi(4, T1, 0)]
    ends_alike(setup_of(counted(body, 2, before)))


BRANCHES = (asm.beq, asm.bne, asm.blt, asm.bge, asm.bltu, asm.bgeu)


@settings(deadline=None)
@given(words=st.tuples(WORDS, WORDS), known=st.booleans(), same=st.booleans())
def test_every_branch_both_ways(words: tuple[int, int], known: bool, same: bool) -> None:
    """All branches go the same way, whether a block knows their words or not."""
    values = [*asm.li(T0, words[0]), *asm.li(T1, words[0] if same else words[1])]
    body = values if known else []
    for number, make in enumerate(BRANCHES):
        body += [make(T0, T1, 8), asm.addi(30, 30, 1 << number), asm.addi(30, 30, 1 << number + 5)]
        body += [make(0, T1, 8), asm.xori(30, 30, 5)]
    ends_alike(setup_of(counted(body, 3, values)))


@pytest.mark.quick
@pytest.mark.parametrize("isa", ["rv32im", "rv32imc"])
def test_until_is_exact(isa: str) -> None:
    """For every span, a loop is left at the first instruction that begins no earlier."""
    body = [
        asm.lw(T0, T1, 0), asm.addi(T0, T0, 3), asm.sw(T0, T1, 0), asm.div(T2, T0, 31),
        asm.lb(T3, T1, 0x301), asm.bge(T2, T0, 8), asm.mul(T4, T0, T2), asm.fence(),
        asm.lui(T4, DATA >> 12), asm.lw(T2, T4, 0x304), asm.lhu(T2, T4, 0x312), asm.sb(T2, T4, 7),
    ]  # fmt: skip
    code = counted(body, 60, asm.li(T1, DATA))
    for span in [*range(1, 80), 200, 333]:
        played = together(setup_of(code, isa), Alone, Eager, NativeExecutor)
        played.spans = (span,)
        for _ in range(max(3, 600 // span)):
            _go_on(played, played.ask())


@pytest.mark.quick
def test_a_poll_executes_without_the_interpreter() -> None:
    """Once it is known, a loop that polls the bus executes in one block an access."""
    code = Assembly(CODE)
    code.label("poll")
    code.words(asm.lui(T0, BUS >> 12), asm.lbu(T1, T0, 6), asm.andi(T1, T1, 0x80))
    code.word_to("poll", lambda offset: asm.beq(T1, 0, offset))
    core = Core(setup_of(code.image()), Counting)
    calls = []
    for cycle in range(10, 1010, 10):
        assert core.consult(cycle, 0x7F7F_7F7F, 0) == ACCESS
        assert (core.get("out_address"), core.get("out_lanes")) == (BUS + 4, 4)
        calls.append(core.executor.calls)  # type: ignore[attr-defined]
    assert calls[-1] == calls[10]
    core.consult(2000, 0x80 << 16, 0)
    assert core.get("pc") == CODE + 16


@pytest.mark.quick
@pytest.mark.parametrize("memory", [(DATA, 0x100), (DATA, 0x300), (DATA + 0x80, 0x100)])
def test_a_loop_in_own_memory_executes_without_the_interpreter(memory: tuple[int, int]) -> None:
    """Once it is known, a loop with loads and stores is one block, wherever its memory is."""
    base, size = memory
    body = [
        asm.lw(T1, T0, 0),
        asm.lhu(T2, T0, size - 8),
        asm.sb(T2, T0, size - 9),
        asm.sw(31, T0, 4),
    ]
    code = counted(body, 1 << 20, asm.li(T0, base))
    memories = (Memory(CODE, 0x100, code), Memory(base, size))
    core = Core(CoreSetup("rv32i", memories, CODE, CLOCKS), Counting)
    core.run(1000)
    calls = core.executor.calls  # type: ignore[attr-defined]
    core.run(50_000)
    # From the start of run to the head of the loop, and what is left at its end.
    assert core.executor.calls - calls == 2  # type: ignore[attr-defined]
    assert core.get("instret") > 10_000


@pytest.mark.quick
def test_data_where_a_block_was_is_stored_without_the_interpreter() -> None:
    """A word that was in a block once, and is not any more, is stored as any other."""
    code = Assembly(CODE)
    code.words(*asm.li(31, 1 << 20))
    code.address_of(T0, "first")
    code.words(asm.addi(T1, 0, 50))
    code.label("first")
    code.words(asm.addi(T1, T1, -1))
    code.word_to("first", lambda offset: asm.bne(T1, 0, offset))
    code.label("round")
    code.words(asm.sw(31, T0, 0), asm.addi(31, 31, -1))
    code.word_to("round", lambda offset: asm.bne(31, 0, offset))
    core = Core(setup_of(code.image()), Counting)
    core.run(2000)
    calls = core.executor.calls  # type: ignore[attr-defined]
    core.run(50_000)
    assert core.executor.calls - calls == 2  # type: ignore[attr-defined]


@pytest.mark.quick
def test_a_loop_that_waits_for_interrupts() -> None:
    """A core that sleeps in a loop of blocks sleeps on until a line is up, whatever it was asked."""
    code = Assembly(CODE)
    code.words(*asm.li(T1, 1 << 11), asm.csrrw(0, 0x304, T1))
    code.label("round")
    code.words(asm.addi(30, 30, 1), asm.WFI, asm.addi(T2, T2, 1), asm.bne(T2, 0, 8), asm.NOP)
    code.word_to("round", lambda offset: asm.jal(0, offset))
    played = together(setup_of(code.image(), lines=True))
    for number in range(60):
        kind = played.ask()
        played.cycle = max(played.cycle, played.cores[0].cycle) + number % 3
        if kind == STOPPED:
            played.line(played.cycle, 1 << 11, False)
            played.spans = (1 + number,)
            played.ask()
            played.cycle = max(played.cycle, played.cores[0].cycle)
            played.line(played.cycle, 0, False)
    assert played.cores[0].registers[30] > 10


def _patched(size: int) -> Iterator[tuple[int, list[int]]]:
    """Loops that store into their own next instruction, or into one behind a branch."""
    store = {1: asm.sb, 2: asm.sh, 4: asm.sw}[size]
    for offset in range(0, 12, size):
        yield offset, [
            asm.addi(T1, T1, 1), asm.andi(T2, T1, 3), asm.slli(T2, T2, 20),
            asm.add(T2, T2, T3), asm.srli(T4, T2, 8 * (offset & 3)), store(T4, T0, offset),
            asm.addi(30, 30, 0), asm.addi(30, 30, 0), asm.addi(30, 30, 0),
        ]  # fmt: skip


@pytest.mark.quick
@pytest.mark.parametrize("size", [1, 2, 4])
def test_a_store_into_a_block_shows_in_the_next_instruction(size: int) -> None:
    """A block that changes its own code, in any byte of it, goes on with what is there now."""
    for offset, body in _patched(size):
        before = [*asm.li(T0, CODE + 4 * 6 + 4 * 6), *asm.li(T3, asm.addi(30, 30, 0))]
        code = counted(body, 40, before)
        assert code[4 * 12 : 4 * 13] == asm.addi(30, 30, 0).to_bytes(4, "little")
        played = ends_alike(setup_of(code))
        changes = offset % 4 <= 2 < offset % 4 + size  # the immediate's lowest bits
        assert (played.cores[0].registers[30] > 0) == changes, offset


@pytest.mark.quick
def test_a_misaligned_store_into_a_block() -> None:
    """The pieces of a store that the interpreter makes drop a block too."""
    # Its second byte is the lowest one of the store behind the instruction that it changes.
    body = [
        asm.xori(T1, T1, 1), asm.slli(T2, T1, 4), asm.add(T2, T2, T3), asm.sh(T2, T0, 3),
        asm.addi(30, 30, 15), asm.sw(T1, T0, 64),
    ]  # fmt: skip
    before = [*asm.li(T0, CODE + 4 * 10), *asm.li(T3, 0x2300)]
    played = ends_alike(setup_of(counted(body, 40, before), split=True))
    assert played.cores[0].registers[30] == 40 * 15 + 20 * 256


@pytest.mark.quick
def test_a_store_into_the_load_behind_which_a_block_begins() -> None:
    """A poll whose load is changed while it runs puts what it loads where the new one says."""
    loads = [asm.lbu(T1, T0, 0), asm.lb(T2, T0, 0), asm.lh(30, T0, 0)]
    for first in loads:
        for then in loads:
            words = [*asm.li(T0, BUS), *asm.li(T4, 10), *asm.li(3, CODE + 4 * 10), *asm.li(4, then)]
            body = [first, asm.csrrw(0, 0x340, T1), asm.bne(31, T4, 8), asm.sw(4, 3, 0)]
            code = counted(body, 30, words)
            assert code[40:44] == first.to_bytes(4, "little")
            ends_alike(setup_of(code))


@pytest.mark.quick
def test_a_store_into_the_second_half_of_an_instruction() -> None:
    """An instruction across two words at the end of a block is looked at in both of them."""
    code = Assembly(CODE)
    code.address_of(T0, "changed", plus=2)
    code.words(*asm.li(31, 40), *asm.li(T1, 20), *asm.li(T2, asm.addi(30, 30, 0x100) >> 16))
    code.halves(asm.C_NOP)
    code.label("round")
    code.words(asm.addi(31, 31, -1))
    code.label("changed")
    code.words(asm.addi(30, 30, 1), asm.csrrw(0, 0x340, 30), asm.bne(31, T1, 8))
    code.words(asm.sh(T2, T0, 0))
    code.word_to("round", lambda offset: asm.bne(31, 0, offset))
    code.halves(asm.c_j(0), asm.C_NOP)
    assert code.labels["changed"] % 4 == 2
    played = ends_alike(setup_of(code.image()))
    assert played.cores[0].registers[30] == 20 + 20 * 0x100


@pytest.mark.quick
@pytest.mark.parametrize("how", ["jal", "beq", "jalr", "c.j"])
def test_a_jump_to_itself_sleeps(how: str) -> None:
    """A block ends before a jump to itself, whose rounds the sleep counts."""
    code = Assembly(CODE)
    code.words(*asm.li(T0, 20))
    code.address_of(T1, "end")
    code.label("round")
    code.words(asm.addi(T0, T0, -1), asm.lw(T2, T1, 0))
    code.word_to("round", lambda offset: asm.bne(T0, 0, offset))
    code.label("end")
    code.words({"jal": asm.jal(0, 0), "beq": asm.beq(0, T0, 0), "jalr": asm.jalr(0, T1, 0),
                "c.j": asm.c_j(0) | 0x1 << 16}[how])  # fmt: skip
    played = ends_alike(setup_of(code.image()))
    assert played.cores[0].get("pc") == code.labels["end"]
    played.cycle += 1234
    assert played.ask() == STOPPED


@pytest.mark.quick
@pytest.mark.parametrize("how", ["5 words", "7 words", "8 words", "pieces", "code"])
def test_the_journal_has_room(how: str) -> None:
    """A loop of stores is left after as many as can be undone, in one state, and goes on."""
    if how == "pieces":
        body = [asm.sw(31, T0, 8 * number + 1) for number in range(5)]
    elif how == "code":
        body = [asm.sw(T2, T1, 0), asm.addi(30, 30, 1)]
    else:
        body = [asm.sw(31, T0, 8 * number) for number in range(int(how[0]) - 1)]
        body.append(asm.sb(31, T0, 33))
    before = [*asm.li(T0, DATA), *asm.li(T1, CODE + 4 * 9), *asm.li(T2, asm.addi(30, 30, 1))]
    code = counted(body, 5000 if how == "code" else 1 << 14, before)
    played = together(setup_of(code, lines=True, split=True))
    played.spans = (1 << 16,)
    full, times = 0, 1 if how == "code" else 3
    for _ in range(20):
        kind = played.ask()
        full += played.cores[0].get("noted") == ROOM - 1
        if full == times:
            break
        _go_on(played, kind)
    before = played.cores[0].cycle
    assert full == times
    played.line(before - 5000, 1 << 11, False)
    assert played.cores[0].cycle < before


@pytest.mark.quick
@pytest.mark.parametrize("access_at", [0, 1])
@pytest.mark.parametrize("faults", [False, True])
@pytest.mark.parametrize("split", [False, True])
def test_accesses_of_every_kind_on_the_bus(access_at: int, faults: bool, split: bool) -> None:
    """Loads and stores of all widths and offsets end alike; every second round, all of them fail."""
    code = Assembly(CODE)
    code.address_of(T0, "handler")
    code.words(asm.csrrw(0, 0x305, T0), *asm.li(T0, BUS), *asm.li(31, 12))
    code.label("round")
    for make in (asm.lb, asm.lbu, asm.sb, asm.lh, asm.lhu, asm.sh, asm.lw, asm.sw):
        for offset in range(8):
            code.words(make(T2, T0, offset), asm.add(30, 30, T2))
    code.words(asm.lw(0, T0, 0), asm.sw(0, T0, 4), asm.sw(T0, T0, 8), asm.addi(T1, T0, 0))
    code.words(asm.lw(T0, T0, 0), asm.add(30, 30, T0), asm.xori(T0, T1, 0x100))
    code.words(asm.addi(31, 31, -1))
    code.word_to("round", lambda offset: asm.bne(31, 0, offset))
    code.words(asm.jal(0, 0))
    code.label("handler")
    code.words(asm.csrrs(T4, 0x341, 0), asm.addi(T4, T4, 4), asm.csrrw(0, 0x341, T4), asm.MRET)
    played = ends_alike(
        setup_of(code.image(), access_at=access_at, faults=faults, split=split), 3000
    )
    assert played.cores[0].get("pc") == code.labels["handler"] - 4
    assert len(played.bus.log) > 12 * 30


def ends_or_stops(setup: CoreSetup, most: int = 400) -> None:
    """Play in lockstep, however it ends."""
    played = together(setup)
    for _ in range(most):
        kind = played.ask()
        if kind == STOPPED:
            return
        _go_on(played, kind)


@pytest.mark.quick
@pytest.mark.parametrize("computes", [False, True])
def test_a_handler_is_fresh_until_its_first_instruction_is_complete(computes: bool) -> None:
    """A trap in a handler ends the run only in its first instruction, whatever was a block before."""
    code = Assembly(CODE)
    code.address_of(T0, "handler")
    code.words(asm.csrrw(0, 0x305, T0), *asm.li(T1, DATA), *asm.li(T2, 30), asm.lui(T3, BUS >> 12))
    code.label("round")
    code.words(asm.addi(T2, T2, -1), asm.lw(T4, T1, 1))
    code.word_to("round", lambda offset: asm.jal(0, offset))
    code.label("handler")
    code.words(*[asm.addi(30, 30, 1)] * computes, asm.lw(T4, T3, 0), asm.csrrs(T4, 0x341, 0))
    code.words(asm.addi(T4, T4, 4), asm.csrrw(0, 0x341, T4))
    code.word_to("go on", lambda offset: asm.bne(T2, 0, offset))
    code.words(asm.addi(T3, T3, 2))
    code.label("go on")
    code.words(asm.MRET)
    # The handler begins with a load from the bus; later the load traps, again and again.
    played = together(setup_of(code.image()))
    played.spans = (300,)
    for _ in range(100):
        kind = played.ask()
        if kind == STOPPED:
            break
        _go_on(played, kind)
    assert (played.cores[0].how_ended == "trap") == (not computes)
    assert played.cores[0].get("mcause") == 4


@pytest.mark.quick
def test_a_block_is_seen_through_calls_and_returns() -> None:
    """A call and its return, with the link in a register or in memory, go on where they should."""
    code = Assembly(CODE)
    code.words(*asm.li(2, DATA + 0x80), *asm.li(T0, 30))
    code.label("round")
    code.word_to("leaf", lambda offset: asm.jal(1, offset))
    code.word_to("deep", lambda offset: asm.jal(1, offset))
    code.words(asm.addi(T0, T0, -1))
    code.word_to("round", lambda offset: asm.bne(T0, 0, offset))
    code.words(asm.jal(0, 0))
    code.label("leaf")
    code.words(asm.add(T1, T1, T0), asm.jalr(0, 1, 0))
    code.label("deep")
    code.words(asm.addi(2, 2, -16), asm.sw(1, 2, 12))
    code.word_to("leaf", lambda offset: asm.jal(1, offset))
    code.words(asm.lw(1, 2, 12), asm.addi(2, 2, 16), asm.jalr(T2, 1, 1), asm.jalr(1, 1, 0))
    played = ends_alike(setup_of(code.image()))
    assert played.cores[0].registers[T1] == 2 * sum(range(1, 31))


@pytest.mark.quick
def test_memories_side_by_side_and_across_their_ends() -> None:
    """Loads and stores at every offset around the ends of memories go where they should."""
    for width, load, store in ((1, asm.lbu, asm.sb), (2, asm.lh, asm.sh), (4, asm.lw, asm.sw)):
        body = [load(T2, T0, 0), asm.add(30, 30, T2), store(30, T1, 0), asm.addi(T0, T0, width),
                asm.addi(T1, T1, width)]  # fmt: skip
        for start in (DATA - 16, DATA + 0x2F0, DATA + 0x3F0):
            before = [*asm.li(T0, start), *asm.li(T1, min(start, DATA + 0x2F0) - 40 * width // 2)]
            ends_or_stops(setup_of(counted(body, 40, before)))


@pytest.mark.quick
def test_a_return_to_an_address_that_is_not_aligned_traps() -> None:
    """Without C, a jump to a register whose bit 1 is set is left to the interpreter."""
    code = Assembly(CODE)
    code.address_of(T0, "handler")
    code.words(asm.csrrw(0, 0x305, T0), asm.addi(T1, 0, 0), *asm.li(T2, 20))
    code.label("round")
    code.address_of(T0, "to")
    code.words(asm.add(T0, T0, T1), asm.jalr(T3, T0, 0))
    code.label("to")
    code.words(asm.addi(T2, T2, -1), asm.slti(T1, T2, 2), asm.slli(T1, T1, 1))
    code.word_to("round", lambda offset: asm.bne(T2, 0, offset))
    code.label("handler")
    code.words(asm.jal(0, 0))
    played = ends_alike(setup_of(code.image(), "rv32im"))
    assert played.cores[0].get("mcause") == 0
    assert played.cores[0].get("mtval") % 4 == 2


@pytest.mark.quick
def test_rewinding_restores_code_that_was_stored() -> None:
    """A core that is put back to before a store into its code executes the old code again."""
    body = [
        asm.addi(T1, T1, 1), asm.addi(30, 30, 1), asm.bne(T1, T3, 8), asm.sw(T2, T0, 0),
    ]  # fmt: skip
    before = [*asm.li(T0, CODE + 4 * 9), *asm.li(T2, asm.addi(30, 30, 16)), *asm.li(T3, 20)]
    code = counted(body, 400, before)
    assert code[4 * 9 : 4 * 10] == asm.addi(30, 30, 1).to_bytes(4, "little")
    for back in range(1, 60):
        played = together(setup_of(code, lines=True))
        played.spans = (600,)
        assert played.ask() == IDLE
        assert played.cores[0].executor.m32[9] == asm.addi(30, 30, 16)
        played.line(played.cores[0].cycle - back * 10, 0, False)
        played.cycle = played.cores[0].cycle
        for _ in range(3):
            _go_on(played, played.ask())


@pytest.mark.quick
def test_an_interrupt_that_a_block_has_not_seen_comes_after_its_access() -> None:
    """A line that rises while a poll of the bus waits is taken where its load is complete."""
    code = Assembly(CODE)
    code.address_of(T0, "handler")
    code.words(asm.csrrw(0, 0x305, T0), *asm.li(T1, 1 << 11), asm.csrrw(0, 0x304, T1))
    code.words(asm.csrrwi(0, 0x300, 8), *asm.li(T0, BUS))
    code.label("poll")
    code.words(asm.lw(T1, T0, 0), asm.andi(T1, T1, 1))
    code.word_to("poll", lambda offset: asm.beq(0, 0, offset))
    code.label("handler")
    code.words(asm.jal(0, 0))
    played = together(setup_of(code.image(), lines=True))
    for _ in range(9):
        assert played.ask() in (ACCESS, IDLE)
        _go_on(played, played.cores[0].kind)
    while played.ask() != ACCESS:
        _go_on(played, IDLE)
    played.line(played.cores[0].get("out_start") + 1, 1 << 11, True)
    _go_on(played, ACCESS)
    played.spans = (100,)
    assert played.ask() == STOPPED
    assert played.cores[0].get("mcause") == 0x8000_000B
    assert played.cores[0].get("mepc") == code.labels["poll"] + 4
