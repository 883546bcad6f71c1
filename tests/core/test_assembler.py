"""The assembler of the tests against the GNU one."""

import random
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.core import assembler as asm
from tests.core.gnu import NEEDS_GNU, assemble

REGISTERS = [
    *("add", "sub", "sll", "slt", "sltu", "xor", "srl", "sra", "or_", "and_"),
    *("mul", "mulh", "mulhsu", "mulhu", "div", "divu", "rem", "remu"),
]
IMMEDIATES = ["addi", "slti", "sltiu", "xori", "ori", "andi"]
SHIFTS = ["slli", "srli", "srai"]
LOADS_AND_STORES = ["lb", "lh", "lw", "lbu", "lhu", "sb", "sh", "sw"]
BRANCHES = ["beq", "bne", "blt", "bge", "bltu", "bgeu"]
CSR_REGISTER, CSR_IMMEDIATE = ["csrrw", "csrrs", "csrrc"], ["csrrwi", "csrrsi", "csrrci"]


def drawn_lines(draw: random.Random) -> list[tuple[str, int]]:
    """GNU source lines, each with what our assembler makes of it: all 32-bit instructions."""

    def name(mnemonic: str) -> str:
        return mnemonic.rstrip("_")

    def make(mnemonic: str) -> Callable[..., int]:
        found: Callable[..., int] = getattr(asm, mnemonic)
        return found

    a, b, c = (draw.randrange(32) for _ in range(3))
    small, amount, csr = draw.randrange(-2048, 2048), draw.randrange(32), draw.randrange(4096)
    near, far = 2 * draw.randrange(-2048, 2048), 2 * draw.randrange(-(1 << 19), 1 << 19)
    upper, pred, succ = draw.getrandbits(20), draw.randrange(1, 16), draw.randrange(1, 16)
    ordered = ["".join(letter for bit, letter in zip((8, 4, 2, 1), "iorw", strict=True) if n & bit)
               for n in (pred, succ)]  # fmt: skip
    lines = [(f"{name(m)} x{a}, x{b}, x{c}", make(m)(a, b, c)) for m in REGISTERS]
    lines += [(f"{m} x{a}, x{b}, {small}", make(m)(a, b, small)) for m in IMMEDIATES]
    lines += [(f"{m} x{a}, x{b}, {amount}", make(m)(a, b, amount)) for m in SHIFTS]
    lines += [(f"{m} x{a}, {small}(x{b})", make(m)(a, b, small)) for m in LOADS_AND_STORES]
    lines += [(f"{m} x{a}, x{b}, .+{near}", make(m)(a, b, near)) for m in BRANCHES]
    lines += [(f"{m} x{a}, {csr}, x{c}", make(m)(a, csr, c)) for m in CSR_REGISTER]
    lines += [(f"{m} x{a}, {csr}, {amount}", make(m)(a, csr, amount)) for m in CSR_IMMEDIATE]
    lines += [
        (f"lui x{a}, {upper}", asm.lui(a, upper)),
        (f"auipc x{a}, {upper}", asm.auipc(a, upper)),
    ]
    lines += [
        (f"jal x{a}, .+{far}", asm.jal(a, far)),
        (f"jalr x{a}, {small}(x{b})", asm.jalr(a, b, small)),
    ]
    lines += [(f"fence {ordered[0]}, {ordered[1]}", asm.fence(pred, succ)), ("fence", asm.fence())]
    lines += [("fence.tso", asm.fence(3, 3, 8)), ("fence.i", asm.FENCE_I), ("nop", asm.NOP)]
    lines += [("ecall", asm.ECALL), ("ebreak", asm.EBREAK), ("mret", asm.MRET), ("wfi", asm.WFI)]
    return lines


def drawn_compressed_lines(draw: random.Random) -> list[tuple[str, int]]:
    """The same for 16-bit instructions."""
    a, b, s, t = (
        draw.randrange(1, 32),
        draw.randrange(1, 32),
        draw.randrange(8, 16),
        draw.randrange(8, 16),
    )
    small = draw.choice([*range(-32, 0), *range(1, 32)])
    amount, word, stack = draw.randrange(1, 32), 4 * draw.randrange(32), 4 * draw.randrange(64)
    near, far = 2 * draw.randrange(-128, 128), 2 * draw.randrange(-1024, 1024)
    step, plus = 16 * draw.choice([*range(-32, 0), *range(1, 32)]), 4 * draw.randrange(1, 256)
    upper = a if a != 2 else 3
    return [
        (f"c.addi4spn x{s}, sp, {plus}", asm.c_addi4spn(s, plus)),
        (f"c.lw x{s}, {word}(x{t})", asm.c_lw(s, t, word)),
        (f"c.sw x{s}, {word}(x{t})", asm.c_sw(s, t, word)),
        (f"c.addi x{a}, {small}", asm.c_addi(a, small)),
        (f"c.li x{a}, {small}", asm.c_li(a, small)),
        (f"c.lui x{upper}, {small & 0xFFFFF}", asm.c_lui(upper, small)),
        (f"c.addi16sp sp, {step}", asm.c_addi16sp(step)),
        (f"c.slli x{a}, {amount}", asm.c_slli(a, amount)),
        (f"c.srli x{s}, {amount}", asm.c_srli(s, amount)),
        (f"c.srai x{s}, {amount}", asm.c_srai(s, amount)),
        (f"c.andi x{s}, {small}", asm.c_andi(s, small)),
        (f"c.sub x{s}, x{t}", asm.c_sub(s, t)),
        (f"c.xor x{s}, x{t}", asm.c_xor(s, t)),
        (f"c.or x{s}, x{t}", asm.c_or(s, t)),
        (f"c.and x{s}, x{t}", asm.c_and(s, t)),
        (f"c.j .+{far}", asm.c_j(far)),
        (f"c.jal .+{far}", asm.c_jal(far)),
        (f"c.beqz x{s}, .+{near}", asm.c_beqz(s, near)),
        (f"c.bnez x{s}, .+{near}", asm.c_bnez(s, near)),
        (f"c.lwsp x{a}, {stack}(sp)", asm.c_lwsp(a, stack)),
        (f"c.swsp x{a}, {stack}(sp)", asm.c_swsp(a, stack)),
        (f"c.jr x{a}", asm.c_jr(a)),
        (f"c.jalr x{a}", asm.c_jalr(a)),
        (f"c.mv x{a}, x{b}", asm.c_mv(a, b)),
        (f"c.add x{a}, x{b}", asm.c_add(a, b)),
        ("c.nop", asm.C_NOP),
        ("c.ebreak", asm.C_EBREAK),
    ]


@NEEDS_GNU
@pytest.mark.parametrize("compressed", [False, True])
def test_each_mnemonic_makes_what_the_gnu_assembler_makes(compressed: bool, tmp_path: Path) -> None:
    """Drawn operands of every mnemonic give the same bits. Source: GNU as for RISC-V."""
    draw = random.Random(1)
    size = 2 if compressed else 4
    march = "rv32imc_zicsr_zifencei" if compressed else "rv32im_zicsr_zifencei"
    lines = []
    for _ in range(200):
        lines += drawn_compressed_lines(draw) if compressed else drawn_lines(draw)
    source = ".option norelax\n" + "\n".join(line for line, _ in lines)
    image = assemble(source, tmp_path, march)
    assert len(image) == size * len(lines)
    for index, (line, made) in enumerate(lines):
        theirs = int.from_bytes(image[size * index : size * (index + 1)], "little")
        assert made == theirs, line


@pytest.mark.quick
def test_words_of_the_reference_values() -> None:
    """Source: reference values, section 6 (unprivileged ISA manual, loads and stores)."""
    assert asm.NOP == asm.addi(0, 0, 0) == 0x0000_0013
    assert asm.sw(6, 5, 0) == 0x0062_A023
    assert asm.sb(6, 5, 1) == 0x0062_80A3
    assert asm.sh(6, 5, 2) == 0x0062_9123
    assert asm.lw(7, 5, 0) == 0x0002_A383


@pytest.mark.parametrize(
    "value", [0, 1, 0x7FF, 0x800, 0xFFF, 0x7FFF_F800, 0x8000_0000, 0xFFFF_FFFF]
)
def test_li_loads_any_value(value: int) -> None:
    """lui and a signed addi make every 32-bit value, also where the low part is negative."""
    upper, lower = asm.li(5, value)
    low = (lower >> 20) - ((lower >> 31) << 12)
    assert ((upper & 0xFFFF_F000) + low) & 0xFFFF_FFFF == value


def test_an_operand_that_does_not_fit_is_refused() -> None:
    """A branch too far, an odd offset and a large immediate raise ValueError."""
    for wrong in (lambda: asm.beq(0, 0, 4096), lambda: asm.jal(0, 3), lambda: asm.addi(1, 1, 2048)):
        with pytest.raises(ValueError):
            wrong()
