"""The six instruction formats of RISC-V: fields in, a 32-bit word out.

Source: unprivileged ISA manual, chapter "RV32I Base Integer Instruction Set", figures "RISC-V base
instruction formats" and "Types of immediate produced". Immediates are signed integers in bytes, as in
assembler; that of a U format is its upper 20 bits.
"""

LOAD, MISC_MEM, OP_IMM, AUIPC, STORE, OP = 0x03, 0x0F, 0x13, 0x17, 0x23, 0x33
LUI, BRANCH, JALR, JAL, SYSTEM = 0x37, 0x63, 0x67, 0x6F, 0x73


def r_format(opcode: int, funct3: int, funct7: int, rd: int, rs1: int, rs2: int) -> int:
    """Two registers in, one out."""
    return funct7 << 25 | rs2 << 20 | rs1 << 15 | funct3 << 12 | rd << 7 | opcode


def i_format(opcode: int, funct3: int, rd: int, rs1: int, immediate: int) -> int:
    """A register and 12 bits in, one register out."""
    return (immediate & 0xFFF) << 20 | rs1 << 15 | funct3 << 12 | rd << 7 | opcode


def s_format(opcode: int, funct3: int, rs1: int, rs2: int, immediate: int) -> int:
    """Stores: the immediate in two parts."""
    upper, lower = immediate >> 5 & 0x7F, immediate & 0x1F
    return upper << 25 | rs2 << 20 | rs1 << 15 | funct3 << 12 | lower << 7 | opcode


def b_format(opcode: int, funct3: int, rs1: int, rs2: int, offset: int) -> int:
    """Branches: an even offset of 13 bits."""
    bit12, bits10_5 = offset >> 12 & 1, offset >> 5 & 0x3F
    bits4_1, bit11 = offset >> 1 & 0xF, offset >> 11 & 1
    upper, lower = bit12 << 6 | bits10_5, bits4_1 << 1 | bit11
    return upper << 25 | rs2 << 20 | rs1 << 15 | funct3 << 12 | lower << 7 | opcode


def u_format(opcode: int, rd: int, upper20: int) -> int:
    """LUI and AUIPC."""
    return (upper20 & 0xFFFFF) << 12 | rd << 7 | opcode


def j_format(opcode: int, rd: int, offset: int) -> int:
    """JAL: an even offset of 21 bits."""
    bit20, bits10_1 = offset >> 20 & 1, offset >> 1 & 0x3FF
    bit11, bits19_12 = offset >> 11 & 1, offset >> 12 & 0xFF
    return bit20 << 31 | bits10_1 << 21 | bit11 << 20 | bits19_12 << 12 | rd << 7 | opcode
