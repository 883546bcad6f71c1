"""Every instruction, defined once: its encoding, its class of clocks, and what it does.

What an instruction does is text in the small language of the engines' loop
(:mod:`busbox.engines.loop`): ``a`` and ``b`` are the words in its source registers, ``imm`` its
immediate, a number with a sign, ``d`` becomes the word of its destination, ``next`` is the address of
the instruction after it. All words are unsigned numbers below 2**32; ``M`` is 2**32 - 1 and ``S``
2**31, so that ``(a ^ S) - S`` is the word with its sign.

Source: RISC-V Instruction Set Manual, volume I, tables of RV32I, RV32M and Zicsr instructions; volume
II, machine-mode privileged instructions.
"""

from __future__ import annotations

from dataclasses import dataclass

#: Classes of instructions, whose clocks a bench may give; whatever is not given costs ``base``.
CLASSES = (
    "base", "load", "store", "multiply", "divide", "branch_taken", "branch_not_taken", "jump", "csr",
    "fence", "trap", "return",
)  # fmt: skip


@dataclass(frozen=True)
class Instruction:
    """One instruction.

    Attributes
    ----------
    name : as in the standard
    mask, match : a word is this instruction if ``word & mask == match``
    form : of its immediate: ``R`` (none), ``I``, ``S``, ``B``, ``U``, ``J``, ``H`` (a shift), ``C`` (a
        number of a register of the machine), ``N`` (neither registers nor an immediate)
    kind : its class of clocks
    text : what it does; "" for loads, stores and what changes the machine: see ``machine``
    extension : ``i`` or ``m``
    """

    name: str
    mask: int
    match: int
    form: str
    kind: str = "base"
    text: str = ""
    extension: str = "i"


_SIGNED_A, _SIGNED_B = "((a ^ S) - S)", "((b ^ S) - S)"
_FUNCT3, _FUNCT7 = 0x707F, 0xFE00707F
_DIVIDE = """
d = {by_zero}
if b:
    p = {p}
    q = {q}
    if p < 0:
        p = 0 - p
    if q < 0:
        q = 0 - q
    d = p {how} q
    if {negative} & S:
        d = 0 - d & M
"""


def _branch(name: str, funct3: int, test: str) -> Instruction:
    text = f"if {test}:\n    next = pc + imm & M\n    cost = taken"
    return Instruction(name, _FUNCT3, 0x63 | funct3 << 12, "B", "branch_not_taken", text)


def _immediate(name: str, funct3: int, value: str) -> Instruction:
    return Instruction(name, _FUNCT3, 0x13 | funct3 << 12, "I", "base", f"d = {value}")


def _shift(name: str, funct3: int, funct7: int, value: str) -> Instruction:
    match = 0x13 | funct3 << 12 | funct7 << 25
    return Instruction(name, _FUNCT7, match, "H", "base", f"d = {value}")


def _register(name: str, funct3: int, funct7: int, value: str) -> Instruction:
    match = 0x33 | funct3 << 12 | funct7 << 25
    return Instruction(name, _FUNCT7, match, "R", "base", f"d = {value}")


def _multiply(name: str, funct3: int, value: str) -> Instruction:
    match = 0x33 | funct3 << 12 | 1 << 25
    return Instruction(name, _FUNCT7, match, "R", "multiply", f"d = {value}", "m")


def _divide(name: str, funct3: int, **parts: str) -> Instruction:
    match = 0x33 | funct3 << 12 | 1 << 25
    return Instruction(name, _FUNCT7, match, "R", "divide", _DIVIDE.format(**parts).strip(), "m")


#: The table; the place of an instruction is its number where it is executed.
INSTRUCTIONS = (
    Instruction("lui", 0x7F, 0x37, "U", "base", "d = imm & M"),
    Instruction("auipc", 0x7F, 0x17, "U", "base", "d = pc + imm & M"),
    Instruction("jal", 0x7F, 0x6F, "J", "jump", "d = pc + size & M\nnext = pc + imm & M"),
    Instruction(
        "jalr", _FUNCT3, 0x67, "I", "jump", "d = pc + size & M\nnext = a + imm & 0xFFFFFFFE"
    ),
    _branch("beq", 0, "a == b"),
    _branch("bne", 1, "a != b"),
    _branch("blt", 4, "(a ^ S) < (b ^ S)"),
    _branch("bge", 5, "(a ^ S) >= (b ^ S)"),
    _branch("bltu", 6, "a < b"),
    _branch("bgeu", 7, "a >= b"),
    *(
        Instruction(name, _FUNCT3, 0x03 | funct3 << 12, "I", "load")
        for name, funct3 in (("lb", 0), ("lh", 1), ("lw", 2), ("lbu", 4), ("lhu", 5))
    ),
    *(
        Instruction(name, _FUNCT3, 0x23 | funct3 << 12, "S", "store")
        for name, funct3 in (("sb", 0), ("sh", 1), ("sw", 2))
    ),
    _immediate("addi", 0, "a + imm & M"),
    _immediate("slti", 2, "(a ^ S) - (imm + S) >> 63 & 1"),
    _immediate("sltiu", 3, "a - (imm & M) >> 63 & 1"),
    _immediate("xori", 4, "a ^ imm & M"),
    _immediate("ori", 6, "a | imm & M"),
    _immediate("andi", 7, "a & imm"),
    _shift("slli", 1, 0, "a << imm & M"),
    _shift("srli", 5, 0, "a >> imm"),
    _shift("srai", 5, 0x20, f"{_SIGNED_A} >> imm & M"),
    _register("add", 0, 0, "a + b & M"),
    _register("sub", 0, 0x20, "a - b & M"),
    _register("sll", 1, 0, "a << (b & 31) & M"),
    _register("slt", 2, 0, "(a ^ S) - (b ^ S) >> 63 & 1"),
    _register("sltu", 3, 0, "a - b >> 63 & 1"),
    _register("xor", 4, 0, "a ^ b"),
    _register("srl", 5, 0, "a >> (b & 31)"),
    _register("sra", 5, 0x20, f"{_SIGNED_A} >> (b & 31) & M"),
    _register("or", 6, 0, "a | b"),
    _register("and", 7, 0, "a & b"),
    # A product of two unsigned words may need 64 bits without a sign; the shift and the mask leave the
    # same bits if a machine's product has wrapped.
    _multiply("mul", 0, "a * b & M"),
    _multiply("mulh", 1, f"{_SIGNED_A} * {_SIGNED_B} >> 32 & M"),
    _multiply("mulhsu", 2, f"{_SIGNED_A} * b >> 32 & M"),
    _multiply("mulhu", 3, "a * b >> 32 & M"),
    _divide("div", 4, by_zero="M", p=_SIGNED_A, q=_SIGNED_B, how="//", negative="(a ^ b)"),
    _divide("divu", 5, by_zero="M", p="a", q="b", how="//", negative="0"),
    _divide("rem", 6, by_zero="a", p=_SIGNED_A, q=_SIGNED_B, how="%", negative="a"),
    _divide("remu", 7, by_zero="a", p="a", q="b", how="%", negative="0"),
    Instruction("fence", _FUNCT3, 0x0F, "N", "fence", "d = 0"),
    Instruction("fence.i", _FUNCT3, 0x100F, "N", "fence", "d = 0"),
    Instruction("ecall", 0xFFFFFFFF, 0x73, "N"),
    Instruction("ebreak", 0xFFFFFFFF, 0x100073, "N"),
    Instruction("mret", 0xFFFFFFFF, 0x30200073, "N", "return"),
    Instruction("wfi", 0xFFFFFFFF, 0x10500073, "N"),
    *(
        Instruction(name, _FUNCT3, 0x73 | funct3 << 12, "C", "csr")
        for name, funct3 in (
            ("csrrw", 1), ("csrrs", 2), ("csrrc", 3), ("csrrwi", 5), ("csrrsi", 6), ("csrrci", 7),
        )
    ),
)  # fmt: skip

#: The number of each instruction.
NUMBER = {one.name: number for number, one in enumerate(INSTRUCTIONS)}
#: Not an instruction, and an instruction that cannot be fetched.
ILLEGAL, UNFETCHED = len(INSTRUCTIONS), len(INSTRUCTIONS) + 1
