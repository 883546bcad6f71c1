"""Machine words by mnemonic, and a program of them with labels.

The functions carry the mnemonics of the standard (with a final _ where Python has the word: and_, or_).
Registers are numbers, immediates and offsets signed integers in bytes. An operand that does not fit its
field raises ValueError. A function whose name begins with c_ makes a 16-bit instruction.

Source: unprivileged ISA manual, chapters RV32I, M, Zicsr, Zifencei and C; tables "RV32/64G Instruction
Set Listings". `tests/core/test_assembler.py` compares it with the GNU assembler.
"""

from collections.abc import Callable

from tests.core.encoding import (
    AUIPC,
    BRANCH,
    JAL,
    JALR,
    LOAD,
    LUI,
    MISC_MEM,
    OP,
    OP_IMM,
    STORE,
    SYSTEM,
    b_format,
    i_format,
    j_format,
    r_format,
    s_format,
    u_format,
)

ECALL, EBREAK, MRET, WFI, FENCE_I = 0x0000_0073, 0x0010_0073, 0x3020_0073, 0x1050_0073, 0x0000_100F
NOP = 0x0000_0013
C_NOP, C_EBREAK = 0x0001, 0x9002


def _check(value: int, low: int, high: int, step: int = 1) -> int:
    if not low <= value <= high or value % step:
        raise ValueError(f"must be {low}..{high} in steps of {step}, not {value}")
    return value


def _op(funct3: int, funct7: int = 0) -> Callable[[int, int, int], int]:
    return lambda rd, rs1, rs2: r_format(OP, funct3, funct7, rd, rs1, rs2)


def _op_imm(funct3: int) -> Callable[[int, int, int], int]:
    def make(rd: int, rs1: int, immediate: int) -> int:
        return i_format(OP_IMM, funct3, rd, rs1, _check(immediate, -2048, 2047))

    return make


def _shift_imm(funct3: int, funct7: int) -> Callable[[int, int, int], int]:
    def make(rd: int, rs1: int, amount: int) -> int:
        return r_format(OP_IMM, funct3, funct7, rd, rs1, _check(amount, 0, 31))

    return make


def _load(funct3: int) -> Callable[[int, int, int], int]:
    def make(rd: int, rs1: int, offset: int) -> int:
        return i_format(LOAD, funct3, rd, rs1, _check(offset, -2048, 2047))

    return make


def _store(funct3: int) -> Callable[[int, int, int], int]:
    def make(rs2: int, rs1: int, offset: int) -> int:
        return s_format(STORE, funct3, rs1, rs2, _check(offset, -2048, 2047))

    return make


def _branch(funct3: int) -> Callable[[int, int, int], int]:
    def make(rs1: int, rs2: int, offset: int) -> int:
        return b_format(BRANCH, funct3, rs1, rs2, _check(offset, -4096, 4094, 2))

    return make


def _csr(funct3: int) -> Callable[[int, int, int], int]:
    """The last operand is a register (csrrw, csrrs, csrrc) or an immediate of five bits."""

    def make(rd: int, csr: int, operand: int) -> int:
        return (
            r_format(SYSTEM, funct3, 0, rd, _check(operand, 0, 31), 0) | _check(csr, 0, 4095) << 20
        )

    return make


add, sub, sll, slt = _op(0), _op(0, 0x20), _op(1), _op(2)
sltu, xor, srl, sra, or_, and_ = _op(3), _op(4), _op(5), _op(5, 0x20), _op(6), _op(7)
mul, mulh, mulhsu, mulhu = _op(0, 1), _op(1, 1), _op(2, 1), _op(3, 1)
div, divu, rem, remu = _op(4, 1), _op(5, 1), _op(6, 1), _op(7, 1)
addi, slti, sltiu = _op_imm(0), _op_imm(2), _op_imm(3)
xori, ori, andi = _op_imm(4), _op_imm(6), _op_imm(7)
slli, srli, srai = _shift_imm(1, 0), _shift_imm(5, 0), _shift_imm(5, 0x20)
lb, lh, lw, lbu, lhu = _load(0), _load(1), _load(2), _load(4), _load(5)
sb, sh, sw = _store(0), _store(1), _store(2)
beq, bne, blt, bge, bltu, bgeu = map(_branch, (0, 1, 4, 5, 6, 7))
csrrw, csrrs, csrrc, csrrwi, csrrsi, csrrci = map(_csr, (1, 2, 3, 5, 6, 7))


def lui(rd: int, upper20: int) -> int:
    return u_format(LUI, rd, _check(upper20, 0, 0xFFFFF))


def auipc(rd: int, upper20: int) -> int:
    return u_format(AUIPC, rd, _check(upper20, 0, 0xFFFFF))


def jal(rd: int, offset: int) -> int:
    return j_format(JAL, rd, _check(offset, -(1 << 20), (1 << 20) - 2, 2))


def jalr(rd: int, rs1: int, offset: int) -> int:
    return i_format(JALR, 0, rd, rs1, _check(offset, -2048, 2047))


def fence(predecessor: int = 0xF, successor: int = 0xF, mode: int = 0) -> int:
    fields = _check(mode, 0, 15) << 8 | _check(predecessor, 0, 15) << 4 | _check(successor, 0, 15)
    return i_format(MISC_MEM, 0, 0, 0, fields)


def li(rd: int, value: int) -> list[int]:
    """Two words that load any value, signed or unsigned."""
    value &= 0xFFFF_FFFF
    low = value & 0xFFF
    low -= (low & 0x800) << 1
    return [lui(rd, (value - low) >> 12 & 0xFFFFF), addi(rd, rd, low)]


# The 16-bit ones. Registers of three bits are given as 8..15.


def _short(register: int) -> int:
    return _check(register, 8, 15) - 8


def _bits(value: int, *moves: tuple[int, int, int]) -> int:
    """Take (bits high..low of value) to a place, for every (high, low, place)."""
    return sum((value >> low & ((1 << (high - low + 1)) - 1)) << to for high, low, to in moves)


def c_addi4spn(rd: int, immediate: int) -> int:
    _check(immediate, 4, 1020, 4)
    return _bits(immediate, (5, 4, 11), (9, 6, 7), (2, 2, 6), (3, 3, 5)) | _short(rd) << 2


def _c_word(funct3: int, register: int, rs1: int, offset: int) -> int:
    _check(offset, 0, 124, 4)
    fields = _bits(offset, (5, 3, 10), (2, 2, 6), (6, 6, 5))
    return funct3 << 13 | fields | _short(rs1) << 7 | _short(register) << 2


def c_lw(rd: int, rs1: int, offset: int) -> int:
    return _c_word(2, rd, rs1, offset)


def c_sw(rs2: int, rs1: int, offset: int) -> int:
    return _c_word(6, rs2, rs1, offset)


def _c_immediate(funct3: int, quadrant: int, rd: int, immediate: int) -> int:
    fields = _bits(immediate, (5, 5, 12), (4, 0, 2))
    return funct3 << 13 | fields | rd << 7 | quadrant


def c_addi(rd: int, immediate: int) -> int:
    return _c_immediate(0, 1, rd, _check(immediate, -32, 31))


def c_li(rd: int, immediate: int) -> int:
    return _c_immediate(2, 1, rd, _check(immediate, -32, 31))


def c_lui(rd: int, immediate: int) -> int:
    """The immediate is signed; 0 and x2 stand for other instructions."""
    if immediate == 0 or rd == 2:
        raise ValueError((rd, immediate))
    return _c_immediate(3, 1, rd, _check(immediate, -32, 31))


def c_addi16sp(immediate: int) -> int:
    if _check(immediate, -512, 496, 16) == 0:
        raise ValueError(immediate)
    fields = _bits(immediate, (9, 9, 12), (4, 4, 6), (6, 6, 5), (8, 7, 3), (5, 5, 2))
    return 0x6101 | fields


def c_slli(rd: int, amount: int) -> int:
    return _c_immediate(0, 2, rd, _check(amount, 0, 31))


def c_srli(rd: int, amount: int) -> int:
    return 0x8001 | _short(rd) << 7 | _check(amount, 0, 31) << 2


def c_srai(rd: int, amount: int) -> int:
    return 0x8401 | _short(rd) << 7 | _check(amount, 0, 31) << 2


def c_andi(rd: int, immediate: int) -> int:
    _check(immediate, -32, 31)
    return 0x8801 | _bits(immediate, (5, 5, 12), (4, 0, 2)) | _short(rd) << 7


def _c_op(operation: int) -> Callable[[int, int], int]:
    return lambda rd, rs2: 0x8C01 | _short(rd) << 7 | operation << 5 | _short(rs2) << 2


c_sub, c_xor, c_or, c_and = map(_c_op, (0, 1, 2, 3))


def _c_jump(funct3: int, offset: int) -> int:
    _check(offset, -2048, 2046, 2)
    fields = _bits(
        offset,
        *((11, 11, 12), (4, 4, 11), (9, 8, 9), (10, 10, 8)),
        *((6, 6, 7), (7, 7, 6), (3, 1, 3), (5, 5, 2)),
    )
    return funct3 << 13 | fields | 1


def c_j(offset: int) -> int:
    return _c_jump(5, offset)


def c_jal(offset: int) -> int:
    return _c_jump(1, offset)


def _c_branch(funct3: int, rs1: int, offset: int) -> int:
    _check(offset, -256, 254, 2)
    fields = _bits(offset, (8, 8, 12), (4, 3, 10), (7, 6, 5), (2, 1, 3), (5, 5, 2))
    return funct3 << 13 | fields | _short(rs1) << 7 | 1


def c_beqz(rs1: int, offset: int) -> int:
    return _c_branch(6, rs1, offset)


def c_bnez(rs1: int, offset: int) -> int:
    return _c_branch(7, rs1, offset)


def c_lwsp(rd: int, offset: int) -> int:
    _check(offset, 0, 252, 4)
    return 0x4002 | _check(rd, 1, 31) << 7 | _bits(offset, (5, 5, 12), (4, 2, 4), (7, 6, 2))


def c_swsp(rs2: int, offset: int) -> int:
    _check(offset, 0, 252, 4)
    return 0xC002 | rs2 << 2 | _bits(offset, (5, 2, 9), (7, 6, 7))


def c_jr(rs1: int) -> int:
    return 0x8002 | _check(rs1, 1, 31) << 7


def c_jalr(rs1: int) -> int:
    return 0x9002 | _check(rs1, 1, 31) << 7


def c_mv(rd: int, rs2: int) -> int:
    return 0x8002 | rd << 7 | _check(rs2, 1, 31) << 2


def c_add(rd: int, rs2: int) -> int:
    return 0x9002 | rd << 7 | _check(rs2, 1, 31) << 2


class Assembly:
    """A program under construction: bytes from a base address, labels, references to them."""

    def __init__(self, base: int):
        self.base = base
        self.bytes = bytearray()
        self.labels: dict[str, int] = {}
        self.references: list[tuple[int, int, str, Callable[[int, int], list[int]]]] = []
        self.drawn_labels = 0

    @property
    def here(self) -> int:
        """The address of what is emitted next."""
        return self.base + len(self.bytes)

    def words(self, *words: int) -> None:
        """Emit 32-bit instructions or data."""
        for word in words:
            self.bytes += word.to_bytes(4, "little")

    def halves(self, *halves: int) -> None:
        """Emit 16-bit instructions or data."""
        for half in halves:
            self.bytes += half.to_bytes(2, "little")

    def new_label(self) -> str:
        """A name that no other label has."""
        self.drawn_labels += 1
        return f".{self.drawn_labels}"

    def label(self, name: str) -> str:
        """Let the name stand for the present address."""
        if name in self.labels:
            raise ValueError(name)
        self.labels[name] = self.here
        return name

    def word_to(self, name: str, make: Callable[[int], int]) -> None:
        """Emit a 32-bit instruction made from the offset to a label, such as a branch."""
        self._refer(4, 4, name, lambda here, target: [make(target - here)])

    def half_to(self, name: str, make: Callable[[int], int]) -> None:
        """Emit a 16-bit instruction made from the offset to a label."""
        self._refer(2, 2, name, lambda here, target: [make(target - here)])

    def address_of(self, rd: int, name: str, plus: int = 0) -> None:
        """Emit two words that load the address of a label."""
        self._refer(8, 4, name, lambda here, target: li(rd, target + plus))

    def _refer(
        self, length: int, size: int, name: str, make: Callable[[int, int], list[int]]
    ) -> None:
        self.references.append((len(self.bytes), size, name, make))
        self.bytes += bytes(length)

    def image(self) -> bytes:
        """The bytes, with every reference filled in."""
        image = bytearray(self.bytes)
        for place, size, name, make in self.references:
            made = make(self.base + place, self.labels[name])
            encoded = b"".join(value.to_bytes(size, "little") for value in made)
            image[place : place + len(encoded)] = encoded
        return bytes(image)
