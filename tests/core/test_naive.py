"""The naive core against the standard: results, loads and stores, illegal encodings."""

from collections.abc import Callable
from pathlib import Path

import pytest

from tests.core import assembler as asm
from tests.core.gnu import NEEDS_GNU, disassemble
from tests.core.programs import DrawnBus
from tests.core.small import BASE, LOWEST, MINUS_1, core_of, is_illegal, result, run

# Results


@pytest.mark.quick
@pytest.mark.parametrize(
    ("make", "a", "b", "expected"),
    [
        (asm.divu, 17, 0, MINUS_1),
        (asm.remu, 17, 0, 17),
        (asm.div, 17, 0, MINUS_1),
        (asm.rem, 17, 0, 17),
        (asm.div, LOWEST, MINUS_1, LOWEST),
        (asm.rem, LOWEST, MINUS_1, 0),
        (asm.rem, MINUS_1 - 16, 0, MINUS_1 - 16),
    ],
)
def test_division_by_zero_and_overflow(
    make: Callable[..., int], a: int, b: int, expected: int
) -> None:
    """No trap, but these results.

    Source: unprivileged ISA manual, chapter M, table "Semantics for division by zero and division
    overflow".
    """
    assert result(make(7, 5, 6), a, b) == expected


@pytest.mark.parametrize(
    ("make", "a", "b", "expected"),
    [
        (asm.div, -7, 2, -3),
        (asm.rem, -7, 2, -1),
        (asm.div, 7, -2, -3),
        (asm.rem, 7, -2, 1),
        (asm.div, -7, -2, 3),
        (asm.rem, -7, -2, -1),
        (asm.divu, -7, 2, 0x7FFF_FFFC),
        (asm.remu, -7, 2, 1),
        (asm.mulh, -1, -1, 0),
        (asm.mulhu, -1, -1, -2),
        (asm.mulhsu, -1, -1, -1),
        (asm.mulhsu, 1, -1, 0),
        (asm.mulhsu, -1, 1, -1),
        (asm.mul, -1, -1, 1),
        (asm.mulh, LOWEST, LOWEST, 0x4000_0000),
        (asm.mulhsu, LOWEST, LOWEST, 0xC000_0000),
    ],
)
def test_signs_of_products_and_quotients(
    make: Callable[..., int], a: int, b: int, expected: int
) -> None:
    """Quotients round towards zero, a remainder has the dividend's sign; mulhsu is signed x unsigned.

    Source: unprivileged ISA manual, chapter M, text; the numbers are computed by hand.
    """
    assert result(make(7, 5, 6), a & MINUS_1, b & MINUS_1) == expected & MINUS_1


@pytest.mark.parametrize(
    ("word", "a", "b", "expected"),
    [
        (asm.sltiu(7, 5, 1), 0, 0, 1),  # seqz: "SLTIU rd, rs1, 1 sets rd to 1 if rs1 equals zero"
        (asm.sltiu(7, 5, 1), 1, 0, 0),
        (asm.sltiu(7, 5, -1), 5, 0, 1),  # the immediate is sign-extended, then taken as unsigned
        (
            asm.sltu(7, 0, 6),
            0,
            9,
            1,
        ),  # snez: "SLTU rd, x0, rs2 sets rd to 1 if rs2 is not equal to zero"
        (asm.xori(7, 5, -1), 0x0F0F_0F0F, 0, 0xF0F0_F0F0),  # not: "XORI rd, rs1, -1"
        (asm.sll(7, 5, 6), 1, 33, 2),  # "the shift amount held in the lower 5 bits of register rs2"
        (asm.srl(7, 5, 6), LOWEST, 0xFFFF_FFE1, 0x4000_0000),
        (asm.sra(7, 5, 6), LOWEST, 31, MINUS_1),  # "the original sign bit is copied"
        (asm.srai(7, 5, 31), LOWEST, 0, MINUS_1),
        (asm.srli(7, 5, 31), LOWEST, 0, 1),
        (asm.slt(7, 5, 6), LOWEST, 1, 1),
        (asm.sltu(7, 5, 6), LOWEST, 1, 0),
        (asm.add(7, 5, 6), MINUS_1, 2, 1),  # "Overflows are ignored"
        (asm.sub(7, 5, 6), 0, 1, MINUS_1),
        (asm.lui(7, 0xFFFFF), 0, 0, 0xFFFF_F000),  # "filling in the lowest 12 bits with zeros"
        (
            asm.auipc(7, 0x80000),
            0,
            0,
            0,
        ),  # "adds this offset to the address of the AUIPC instruction"
    ],
)
def test_results_that_the_text_of_rv32i_names(word: int, a: int, b: int, expected: int) -> None:
    """Source: unprivileged ISA manual, chapter RV32I, sections on integer computation."""
    assert result(word, a, b) == expected


def test_x0_stays_zero() -> None:
    """Source: unprivileged ISA manual, chapter RV32I: "x0 is hardwired with all bits equal to 0"."""
    assert run(core_of(asm.addi(0, 0, 5), asm.jal(0, 8), asm.lui(0, 1)), 2).x[0] == 0


# Loads and stores


@pytest.mark.quick
@pytest.mark.parametrize(
    ("word", "offset", "lanes", "data"),
    [
        (0x0062_A023, 0, 0xF, 0x8899_AABB),  # sw x6, 0(x5)
        (0x0062_80A3, 0, 0x2, 0x0000_BB00),  # sb x6, 1(x5)
        (0x0062_9123, 0, 0xC, 0xAABB_0000),  # sh x6, 2(x5)
        (asm.sb(6, 5, 0), 0, 0x1, 0x0000_00BB),
        (asm.sb(6, 5, 2), 0, 0x4, 0x00BB_0000),
        (asm.sb(6, 5, 7), 4, 0x8, 0xBB00_0000),
        (asm.sh(6, 5, 0), 0, 0x3, 0x0000_AABB),
    ],
)
def test_lanes_of_stores(word: int, offset: int, lanes: int, data: int) -> None:
    """A store shows its bytes, and those lanes alone, on the bus.

    Source: reference values, section 6 (unprivileged ISA manual, loads and stores: little-endian).
    """
    bus = DrawnBus(1)
    core = core_of(word)
    core.x[5], core.x[6] = 0x4000_0000, 0x8899_AABB
    core.step(0, bus)
    assert bus.log == [(1, True, 0x4000_0000 + offset, data, lanes)]


@pytest.mark.parametrize(
    ("word", "lanes", "expected"),
    [
        (0x0002_A383, 0xF, 0x8899_AABB),  # lw x7, 0(x5)
        (asm.lb(7, 5, 1), 0x2, 0xFFFF_FFAA),
        (asm.lbu(7, 5, 1), 0x2, 0x0000_00AA),
        (asm.lb(7, 5, 3), 0x8, 0xFFFF_FF88),
        (asm.lh(7, 5, 0), 0x3, 0xFFFF_AABB),
        (asm.lhu(7, 5, 2), 0xC, 0x0000_8899),
        (asm.lw(0, 5, 0), 0xF, 0),  # it "must still ... cause any other side effects"
    ],
)
def test_lanes_of_loads(word: int, lanes: int, expected: int) -> None:
    """A load takes its bytes from its lanes; one to x0 still goes on the bus.

    Source: reference values, section 6 (unprivileged ISA manual, loads and stores).
    """
    bus = DrawnBus(1, words={0x4000_0000: 0x8899_AABB})
    core = core_of(word)
    core.x[5] = 0x4000_0000
    core.step(0, bus)
    assert core.x[7] == expected
    assert bus.log == [(1, False, 0x4000_0000, 0, lanes)]


def test_own_memory_is_little_endian_and_off_the_bus() -> None:
    """What sw writes, lb reads byte by byte, without a bus access.

    Source: unprivileged ISA manual, loads and stores: little-endian, byte-addressed.
    """
    loads = [asm.lbu(10 + k, 5, 64 + k) for k in range(4)]
    bus = DrawnBus(1)
    core = core_of(asm.sw(6, 5, 64), *loads)
    core.x[5], core.x[6] = BASE, 0x8899_AABB
    for _ in range(5):
        core.step(0, bus)
    assert core.x[10:14] == [0xBB, 0xAA, 0x99, 0x88]
    assert bus.log == []


def test_a_split_access_is_made_of_the_fewest_aligned_pieces() -> None:
    """A word at an odd address is a byte, a half-word and a byte, in ascending order.

    Source: the time model of tests/core/naive.py; computed by hand.
    """
    bus = DrawnBus(1)
    core = core_of(asm.sw(6, 5, 1), asm.lw(7, 5, 1), misaligned="split")
    core.x[5], core.x[6] = 0x4000_0000, 0x8899_AABB
    core.step(0, bus)
    assert [access[2:] for access in bus.log] == [
        (0x4000_0000, 0x0000_BB00, 0x2),
        (0x4000_0000, 0x99AA_0000, 0xC),
        (0x4000_0004, 0x0000_0088, 0x1),
    ]
    core.step(0, bus)
    assert core.x[7] == 0x8899_AABB


# Illegal encodings


def shows_as_data(text: str) -> bool:
    return text == "unimp" or text.startswith((".2byte", ".4byte", ".insn"))


@NEEDS_GNU
@pytest.mark.parametrize("isa", ["rv32i", "rv32im"])
def test_illegal_words_are_those_that_the_disassembler_refuses(isa: str, tmp_path: Path) -> None:
    """Every opcode of 32 bits with every funct3 and funct7 is illegal where GNU objdump shows no name.

    Source: GNU objdump. It is lenient with immediate shifts by more than 31, which RV32I reserves. Left
    out are CSR instructions, as a disassembler does not know which registers there are, and fences,
    where it is too strict: "base implementations shall treat all such reserved configurations as normal
    fences", and they shall ignore the other fields of fence.i (chapters RV32I and Zifencei of the
    unprivileged ISA manual).
    """
    words = [
        funct7 << 25 | 7 << 20 | 6 << 15 | funct3 << 12 | 5 << 7 | opcode
        for opcode in range(3, 128, 4)
        for funct3 in range(8)
        for funct7 in range(128)
        if not (opcode == 0x73 and funct3 in (1, 2, 3, 5, 6, 7))
        and not (opcode == 0x0F and funct3 < 2)
        if opcode & 0x1F != 0x1F  # longer than 32 bits
    ]
    listing = disassemble("\n".join(f".4byte {word}" for word in words), tmp_path, isa)
    for index, word in enumerate(words):
        lenient = word & 0x0200_307F == 0x0200_1013
        refused = lenient or shows_as_data(listing[4 * index])
        assert is_illegal(word, isa) == refused, hex(word)


@pytest.mark.parametrize(
    ("word", "illegal"),
    [
        (0x0000_0073, False),
        (0x0010_0073, False),
        (0x3020_0073, False),
        (0x1050_0073, False),
        (0x1020_0073, True),  # sret: no supervisor mode
        (0x1200_0073, True),  # sfence.vma
        (0x0020_0073, True),
        (0x3020_00F3, True),  # rd must be 0
        (0x3020_8073, True),  # rs1 must be 0
        (0x1050_00F3, True),
        (0x0000_4073, True),  # funct3 4
        (0x0000_000F, False),  # fence with nothing before or after
        (0xFFFF_8F8F, False),  # fence: "base implementations shall ignore" rd and rs1, reserved fm
        (0xFFFF_9F8F, False),  # fence.i: "implementations shall ignore these fields"
        (0x0000_200F, True),
        (0x0000_0000, True),  # "encodings with bits [15:0] all zeros are defined as illegal"
        (0xFFFF_FFFF, True),  # "bits [ILEN-1:0] all ones" likewise
        (0x0000_001F, True),  # an instruction of 48 bits
    ],
)
def test_system_instructions_and_fences(word: int, illegal: bool) -> None:
    """Source: unprivileged ISA manual, RV32I and Zifencei; privileged architecture, instructions."""
    assert is_illegal(word) == illegal
    assert is_illegal(word, "rv32i") == illegal


def test_m_is_illegal_without_m() -> None:
    """The eight instructions of M are illegal on rv32i and rv32ic."""
    makers = [asm.mul, asm.mulh, asm.mulhsu, asm.mulhu, asm.div, asm.divu, asm.rem, asm.remu]
    for make in makers:
        assert is_illegal(make(7, 5, 6), "rv32i")
        assert is_illegal(make(7, 5, 6), "rv32ic")
        assert not is_illegal(make(7, 5, 6), "rv32im")
