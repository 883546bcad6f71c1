"""The time model of the naive core. Source of all expectations: its docstring; computed by hand."""

import pytest

from tests.core import assembler as asm
from tests.core.programs import BUS_BASE
from tests.core.small import BASE, HANDLER, core_of

CLOCKS = {
    "base": 2,
    "load": 3,
    "store": 5,
    "multiply": 7,
    "divide": 11,
    "branch_taken": 13,
    "branch_not_taken": 17,
    "jump": 19,
    "csr": 23,
    "trap": 29,
    "return": 31,
    "fence": 37,
}


class SlowBus:
    """Every access ends `wait` cycles after it was raised, in an error from BUS_BASE + 0x100 on."""

    def __init__(self, wait: int):
        self.wait = wait
        self.raised: list[int] = []

    def __call__(
        self, cycle: int, write: bool, address: int, data: int, lanes: int
    ) -> tuple[int, int, bool]:
        self.raised.append(cycle)
        return cycle + self.wait, 0x1234_5678, address >= BUS_BASE + 0x100


@pytest.mark.quick
@pytest.mark.parametrize(
    ("word", "cost"),
    [
        (asm.addi(7, 5, 1), 2),
        (asm.add(7, 5, 6), 2),
        (asm.lui(7, 1), 2),
        (asm.auipc(7, 1), 2),
        (asm.mul(7, 5, 6), 7),
        (asm.mulhsu(7, 5, 6), 7),
        (asm.div(7, 5, 6), 11),
        (asm.remu(7, 5, 6), 11),
        (asm.beq(0, 0, 8), 13),
        (asm.beq(0, 0, 4), 13),
        (asm.bne(0, 0, 8), 17),
        (asm.jal(0, 8), 19),
        (asm.jalr(0, 5, 0), 19),
        (asm.csrrs(7, 0x300, 0), 23),
        (asm.csrrwi(0, 0x300, 0), 23),
        (asm.MRET, 31),
        (asm.fence(), 37),
        (asm.FENCE_I, 37),
        (asm.WFI, 2),
        (asm.ECALL, 29),
        (asm.EBREAK, 29),
        (0, 29),
        (asm.lw(7, 5, 1), 29),
        (0x0001_0001, 2),
    ],
)
def test_clocks_of_each_class(word: int, cost: int) -> None:
    """The next instruction begins so many cycles later; a class without clocks costs `base`."""
    for clocks, expected in ((CLOCKS, cost), ({"base": 4}, 4)):
        core = core_of(word, clocks=clocks)
        core.x[5] = BASE
        core.step(0, SlowBus(0))
        assert core.cycle == 1 + expected


@pytest.mark.parametrize("access_at", [0, 1, 3])
@pytest.mark.parametrize("wait", [0, 1, 6])
@pytest.mark.parametrize(("word", "kind"), [(asm.lb(7, 5, 3), 3), (asm.sh(7, 5, 2), 5)])
def test_a_bus_access_takes_its_cycles_and_the_instruction_its_own(
    word: int, kind: int, wait: int, access_at: int
) -> None:
    """It is raised in c + access_at; the next instruction begins at e + 1 + load - access_at."""
    core = core_of(word, clocks=CLOCKS, access_at=access_at)
    core.x[5] = BUS_BASE
    bus = SlowBus(wait)
    core.step(0, bus)
    assert bus.raised == [1 + access_at]
    assert core.cycle == 1 + (wait + 1) + kind


@pytest.mark.parametrize("memory_clocks", [0, 1, 4])
def test_own_memory_takes_its_clocks(memory_clocks: int) -> None:
    """A load takes them besides its own; fetches cost nothing."""
    core = core_of(asm.lw(7, 5, 0), clocks=CLOCKS, access_at=2)
    core.memories.append((0x100, bytearray(4), memory_clocks, False))
    core.x[5] = 0x100
    core.step(0, SlowBus(0))
    assert core.cycle == 1 + memory_clocks + 3


def test_a_bus_error_traps_after_its_end() -> None:
    """The handler begins at e + 1 + trap, or, where errors are ignored, all is as usual."""
    for bus_error, cycle in (("fault", 3 + 6 + 1 + 29), ("ignore", 1 + 7 + 3)):
        core = core_of(asm.lw(7, 5, 0x100), clocks=CLOCKS, access_at=2, bus_error=bus_error)
        core.x[5] = BUS_BASE
        core.step(0, SlowBus(6))
        assert core.cycle == cycle


def test_a_refused_store_to_memory_traps_at_once() -> None:
    """Nothing is raised: the handler begins at c + trap."""
    core = core_of(asm.sw(7, 5, 0), clocks=CLOCKS, access_at=2)
    core.memories.append((0x100, bytearray(4), 4, False))
    core.x[5] = 0x100
    core.step(0, SlowBus(0))
    assert core.cycle == 1 + 29


def test_the_pieces_of_a_split_access_follow_each_other() -> None:
    """Each is raised in the cycle after the one before; the clocks of the load count once."""
    core = core_of(asm.lw(7, 5, 1), clocks=CLOCKS, access_at=1, misaligned="split")
    core.x[5] = BUS_BASE
    bus = SlowBus(4)
    core.step(0, bus)
    assert bus.raised == [2, 7, 12]
    assert core.cycle == 1 + 3 * 5 + 3


def test_a_split_store_stops_at_the_piece_that_fails() -> None:
    """The pieces before it have been made; mtval is its address."""
    core = core_of(asm.sw(7, 5, 0xFE), clocks=CLOCKS, misaligned="split")
    core.x[5] = BUS_BASE
    bus = SlowBus(1)
    core.step(0, bus)
    assert bus.raised == [1, 3]
    assert core.csr_value("mtval") == BUS_BASE + 0x100
    assert core.cycle == 5 + 29


@pytest.mark.quick
def test_sleep_ends_in_the_first_cycle_with_a_line() -> None:
    """wfi takes `base`; the next instruction begins in the cycle of the line, at once if it is high."""
    for first_high, begins in ((1, 3), (3, 3), (4, 4), (20, 20)):
        core = core_of(asm.WFI, asm.csrrs(7, 0xB00, 0), clocks=CLOCKS)
        core.stored["mie"] = 1 << 16
        while core.instructions < 2:
            core.step(1 << 16 if core.cycle >= first_high else 0, SlowBus(0))
        assert core.x[7] == begins
        assert core.cycle == begins + 23


def test_an_interrupt_takes_the_clocks_of_a_trap() -> None:
    """Taken at cycle c, its handler begins at c + trap."""
    core = core_of(asm.NOP, clocks=CLOCKS)
    core.stored["mie"], core.stored["mstatus"] = 8, 0x1808
    core.step(8, SlowBus(0))
    assert (core.cycle, core.pc) == (1 + 29, HANDLER)


def test_mcycle_reads_the_cycle_and_what_was_written() -> None:
    """A read gives its own first cycle; a written value reads so in the next instruction."""
    core = core_of(
        *(asm.csrrs(6, 0xB00, 0), asm.csrrwi(0, 0xB00, 9), asm.csrrs(7, 0xC00, 0)),
        *(asm.NOP, asm.csrrs(8, 0xB00, 0)),
        clocks=CLOCKS,
    )
    for _ in range(5):
        core.step(0, SlowBus(0))
    assert core.x[6:9] == [1, 9, 9 + 23 + 2]
