"""The instruction of 32 bits that one of 16 bits stands for.

Source: RISC-V Instruction Set Manual, volume I, chapter "C" standard extension, the tables of its
quadrants, for RV32 without F and D. Reserved encodings, and those that RV32 leaves to custom
extensions, are none of these instructions.
"""

from __future__ import annotations


def expanded(half: int) -> int | None:
    """Return the word that a half-word stands for, or None if it is reserved.

    Parameters
    ----------
    half : 16 bits, of which the lowest two are not both 1
    """
    quadrant, funct3 = half & 3, half >> 13
    return _QUADRANTS[quadrant](half, funct3)


# Words of 32 bits.


def _i(opcode: int, rd: int, funct3: int, rs1: int, imm: int) -> int:
    return (imm & 0xFFF) << 20 | rs1 << 15 | funct3 << 12 | rd << 7 | opcode


def _r(funct7: int, rs2: int, rs1: int, funct3: int, rd: int) -> int:
    return funct7 << 25 | rs2 << 20 | rs1 << 15 | funct3 << 12 | rd << 7 | 0x33


def _s(rs2: int, rs1: int, imm: int) -> int:
    """Return ``sw``."""
    return (imm >> 5) << 25 | rs2 << 20 | rs1 << 15 | 2 << 12 | (imm & 31) << 7 | 0x23


def _jal(rd: int, imm: int) -> int:
    moved = (imm >> 20 & 1) << 31 | (imm >> 1 & 0x3FF) << 21 | (imm >> 11 & 1) << 20
    return moved | (imm >> 12 & 0xFF) << 12 | rd << 7 | 0x6F


def _branch(funct3: int, rs1: int, imm: int) -> int:
    moved = (imm >> 12 & 1) << 31 | (imm >> 5 & 0x3F) << 25
    return moved | rs1 << 15 | funct3 << 12 | (imm >> 1 & 15) << 8 | (imm >> 11 & 1) << 7 | 0x63


# Fields of 16 bits.


def _bits(half: int, *places: tuple[int, int]) -> int:
    """Return an immediate: ``(bit of the half-word, bit of the immediate)``."""
    return sum((half >> source & 1) << target for source, target in places)


def _signed(number: int, bits: int) -> int:
    return (number ^ 1 << bits - 1) - (1 << bits - 1)


def _imm6(half: int) -> int:
    return _signed((half >> 12 & 1) << 5 | half >> 2 & 31, 6)


def _low(half: int, at: int) -> int:
    """Return one of the registers x8 to x15."""
    return 8 + (half >> at & 7)


_JUMP = (
    (12, 11), (11, 4), (10, 9), (9, 8), (8, 10), (7, 6), (6, 7), (5, 3), (4, 2), (3, 1), (2, 5),
)  # fmt: skip
_WORD = ((12, 5), (11, 4), (10, 3), (6, 2), (5, 6))


def _quadrant_0(half: int, funct3: int) -> int | None:
    if funct3 == 0:
        imm = half >> 11 & 3, half >> 7 & 15, half >> 6 & 1, half >> 5 & 1
        number = imm[0] << 4 | imm[1] << 6 | imm[2] << 2 | imm[3] << 3
        return _i(0x13, _low(half, 2), 0, 2, number) if number else None  # c.addi4spn
    if funct3 == 2:
        return _i(0x03, _low(half, 2), 2, _low(half, 7), _bits(half, *_WORD))  # c.lw
    if funct3 == 6:
        return _s(_low(half, 2), _low(half, 7), _bits(half, *_WORD))  # c.sw
    return None


def _quadrant_1(half: int, funct3: int) -> int | None:
    rd, imm = half >> 7 & 31, _imm6(half)
    if funct3 == 0:
        return _i(0x13, rd, 0, rd, imm)  # c.addi, c.nop
    if funct3 in (1, 5):
        return _jal(int(funct3 == 1), _signed(_bits(half, *_JUMP), 12) & 0x1FFFFF)  # c.jal, c.j
    if funct3 == 2:
        return _i(0x13, rd, 0, 0, imm)  # c.li
    if funct3 == 3:
        return _stack_or_upper(half, rd, imm)
    if funct3 == 4:
        return _arithmetic(half, imm)
    offset = _bits(half, (12, 8), (11, 4), (10, 3), (6, 7), (5, 6), (4, 2), (3, 1), (2, 5))
    return _branch(funct3 & 1, _low(half, 7), _signed(offset, 9) & 0x1FFF)  # c.beqz, c.bnez


def _stack_or_upper(half: int, rd: int, imm: int) -> int | None:
    if not imm:
        return None
    if rd == 2:
        offset = _bits(half, (12, 9), (6, 4), (5, 6), (4, 8), (3, 7), (2, 5))
        return _i(0x13, 2, 0, 2, _signed(offset, 10))  # c.addi16sp
    return (imm & 0xFFFFF) << 12 | rd << 7 | 0x37  # c.lui


def _arithmetic(half: int, imm: int) -> int | None:
    rd, how = _low(half, 7), half >> 10 & 3
    if how == 2:
        return _i(0x13, rd, 7, rd, imm)  # c.andi
    if how < 2:
        if imm < 0:  # bit 5 of the amount: custom extensions
            return None
        return _i(0x13, rd, 5, rd, imm | how << 10)  # c.srli, c.srai
    if half >> 12 & 1:
        return None
    funct7, funct3 = ((0x20, 0), (0, 4), (0, 6), (0, 7))[half >> 5 & 3]
    return _r(funct7, _low(half, 2), rd, funct3, rd)  # c.sub, c.xor, c.or, c.and


def _quadrant_2(half: int, funct3: int) -> int | None:
    rd, rs2 = half >> 7 & 31, half >> 2 & 31
    if funct3 == 0:
        return None if half >> 12 & 1 else _i(0x13, rd, 1, rd, rs2)  # c.slli
    if funct3 == 2:
        offset = _bits(half, (12, 5), (6, 4), (5, 3), (4, 2), (3, 7), (2, 6))
        return _i(0x03, rd, 2, 2, offset) if rd else None  # c.lwsp
    if funct3 == 6:
        offset = _bits(half, (12, 5), (11, 4), (10, 3), (9, 2), (8, 7), (7, 6))
        return _s(rs2, 2, offset)  # c.swsp
    return _jump_or_add(half, rd, rs2) if funct3 == 4 else None


def _jump_or_add(half: int, rd: int, rs2: int) -> int | None:
    second = half >> 12 & 1
    if rs2:
        return _r(0, rs2, rd if second else 0, 0, rd)  # c.add, c.mv
    if rd:
        return _i(0x67, second, 0, rd, 0)  # c.jalr, c.jr
    return 0x00100073 if second else None  # c.ebreak


_QUADRANTS = (_quadrant_0, _quadrant_1, _quadrant_2)
