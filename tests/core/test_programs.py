"""The drawn programs: they end, and together they reach what a core can do."""

from collections import Counter

import pytest

from tests.core.naive import CSR_NAMES, NaiveCore, decode16
from tests.core.programs import ISAS, DrawnBus, Program, drawn_clocks, drawn_lines, drawn_program

SEEDS = range(24)


class WatchedCore(NaiveCore):
    """It counts the causes of its traps, and what it fetches."""

    def __init__(self, program: Program, seed: int):
        misaligned, bus_error = ["trap", "split"][seed % 2], ["fault", "ignore"][seed // 2 % 2]
        memories = program.memories((seed % 3, 1, 2))
        clocks = drawn_clocks(seed)
        super().__init__(
            program.isa, memories, program.base, clocks, seed % 2, misaligned, bus_error
        )
        self.causes: Counter[int] = Counter()
        self.fetched: Counter[int] = Counter()

    def _enter_handler(self, cause: int, value: int, from_cycle: int) -> None:
        self.causes[cause] += 1
        super()._enter_handler(cause, value, from_cycle)

    def _fetch(self) -> tuple[int, int]:
        raw, length = super()._fetch()
        self.fetched[raw] += 1
        return raw, length


def played(seed: int, isa: str) -> WatchedCore:
    """Run a program until it is at its end."""
    program = drawn_program(seed, isa)
    core, bus, lines = WatchedCore(program, seed), DrawnBus(seed), drawn_lines(seed)
    for _ in range(50_000):
        if core.pc == program.end and not core.asleep:
            return core
        core.step(lines(core.cycle), bus)
    raise AssertionError(f"program {seed} for {isa} is not at its end, but at {core.pc:#x}")


@pytest.mark.quick
@pytest.mark.parametrize("isa", ISAS)
def test_programs_end_and_reach_everything(isa: str) -> None:
    """Every cause, every legal instruction of the set, and almost every register of machine mode."""
    cores = [played(seed, isa) for seed in SEEDS]
    causes = {cause for core in cores for cause in core.causes}
    exceptions = {1, 2, 3, 4, 5, 6, 7, 11} | (set() if "c" in isa[5:] else {0})
    assert exceptions <= causes
    interrupts = {cause & 0x7FFF_FFFF for cause in causes if cause >> 31}
    assert interrupts == {3, 7, 11, 16, 17, 23, 30, 31}
    fetched = {raw for core in cores for raw in core.fetched}
    assert missing_rows(fetched) == ([] if "c" in isa[5:] else ["compressed"])
    words = {raw for raw in fetched if raw & 0b11 == 0b11}
    products = {raw >> 12 & 7 for raw in words if raw & 0xFE00_007F == 0x0200_0033}
    assert "m" not in isa[5:] or products == set(range(8))
    registers = {raw >> 20 for raw in words if raw & 0x7F == 0x73 and raw >> 12 & 3}
    assert len(registers & set(CSR_NAMES)) >= 25
    assert len(registers - set(CSR_NAMES)) >= 15


def missing_rows(fetched: set[int]) -> list[str]:
    """The rows of the tables of RV32I and RV32C of which nothing has been fetched."""
    missing = []
    rows = [(0x63, funct3) for funct3 in (0, 1, 4, 5, 6, 7)] + [(0x67, 0), (0x0F, 0), (0x0F, 1)]
    rows += [(0x03, funct3) for funct3 in (0, 1, 2, 4, 5)] + [(0x23, funct3) for funct3 in range(3)]
    rows += [(opcode, funct3) for opcode in (0x13, 0x33) for funct3 in range(8)]
    rows += [(0x73, funct3) for funct3 in (0, 1, 2, 3, 5, 6, 7)]
    seen = {(raw & 0x7F, raw >> 12 & 7) for raw in fetched}
    missing += [f"{opcode:#x}.{funct3}" for opcode, funct3 in rows if (opcode, funct3) not in seen]
    short = {(raw & 3, raw >> 13) for raw in fetched if raw & 3 != 3 and decode16(raw)}
    legal = {(half & 3, half >> 13) for half in range(0x10000) if half & 3 != 3 and decode16(half)}
    if not legal <= short:
        missing.append("compressed")
    return missing


def test_a_program_is_the_same_for_the_same_seed() -> None:
    """Two draws give equal bytes; another seed gives others."""
    assert drawn_program(5, "rv32imc") == drawn_program(5, "rv32imc")
    assert drawn_program(5, "rv32imc").code != drawn_program(6, "rv32imc").code
