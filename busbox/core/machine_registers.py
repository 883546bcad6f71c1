"""The registers of machine mode, and the instructions that read and write them.

Source: RISC-V Instruction Set Manual, volume II, chapter "Control and Status Registers", table of
machine-level registers, and chapter 3.1; volume I, chapter "Zicsr".
"""

from __future__ import annotations

from textwrap import indent

#: Machine registers that are 0, and stay so.
ZEROS = ((0x310, 0x310), (0x320, 0x320), (0x323, 0x33F), (0xB03, 0xB1F), (0xB83, 0xB9F))

#: Registers of the machine: number, its word, and what a write does with ``new``.
_REGISTERS = (
    (0x300, "mie_bit << 3 | mpie << 7 | 0x1800", "mie_bit = new >> 3 & 1\nmpie = new >> 7 & 1"),
    (0x301, "misa", ""),
    (0x304, "mie", "mie = new & 0xFFFF0888"),
    (0x305, "mtvec", "mtvec = new & 0xFFFFFFFD"),
    (0x340, "mscratch", "mscratch = new"),
    (0x341, "mepc", "mepc = new & epc_mask"),
    (0x342, "mcause", "mcause = new"),
    (0x343, "mtval", "mtval = new"),
    (0x344, "lines", ""),
    (0xB00, "cycle + cycle_off & M",
     "p = cycle + cycle_off >> 32\ncycle_off = (p << 32) + new - cycle - cost"),
    (0xB80, "cycle + cycle_off >> 32 & M",
     "p = cycle + cycle_off & M\ncycle_off = (new << 32) + p - cycle - cost"),
    (0xB02, "instret + instret_off & M",
     "p = instret + instret_off >> 32\ninstret_off = (p << 32) + new - instret - 1"),
    (0xB82, "instret + instret_off >> 32 & M",
     "p = instret + instret_off & M\ninstret_off = (new << 32) + p - instret - 1"),
    (0xC00, "cycle + cycle_off & M", ""),
    (0xC80, "cycle + cycle_off >> 32 & M", ""),
    (0xC02, "instret + instret_off & M", ""),
    (0xC82, "instret + instret_off >> 32 & M", ""),
    (0xF11, "0", ""), (0xF12, "0", ""), (0xF13, "0", ""), (0xF14, "hart", ""), (0xF15, "0", ""),
)  # fmt: skip


def csr_text() -> str:
    """Return text that reads and writes the register ``imm`` by what ``more`` says."""
    lines = ["old = -1"]
    for first, last in ZEROS:
        lines += [f"if imm >= {first} and imm <= {last}:", "    old = 0"]
    for place, (number, word, _) in enumerate(_REGISTERS):
        lines += [f"{'elif' if place else 'if'} imm == {number}:", f"    old = {word}"]
    lines += [
        "write = 1",
        "if (more & 3) != 1 and rs1 == 0:",
        "    write = 0",
        "if old < 0 or write and imm >> 10 == 3:",
        "    cause = 2",
        "    tval = imm << 20 | rs1 << 15 | more << 12 | (rd & 31) << 7 | 0x73",
        "    continue",
        "value = a",
        "if more & 4:",
        "    value = rs1",
        "new = value",
        "if (more & 3) == 2:",
        "    new = old | value",
        "elif (more & 3) == 3:",
        "    new = old & (M ^ value)",
        "if write:",
    ]
    changing = [one for one in _REGISTERS if one[2]]
    for place, (number, _, text) in enumerate(changing):
        lines.append(f"    {'elif' if place else 'if'} imm == {number}:")
        lines.append(indent(text, "        "))
    lines.append("d = old")
    return "\n".join(lines)
