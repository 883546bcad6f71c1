"""From the bits of an instruction to the numbers by which it is executed."""

from __future__ import annotations

from typing import NamedTuple

from busbox.core.compressed import expanded
from busbox.core.instructions import ILLEGAL, INSTRUCTIONS, UNFETCHED, Instruction

#: Where a result goes that is for register x0: an instruction writes x[32], which nobody reads.
NOWHERE = 32


class Decoded(NamedTuple):
    """An instruction, ready to be executed.

    Attributes
    ----------
    op : its number in the table of instructions; ``ILLEGAL``; ``UNFETCHED``
    rd, rs1, rs2 : registers; rd is 32 where no register is written
    imm : the immediate, with its sign; of an illegal instruction its bits, of one that cannot be
        fetched the address that is no memory
    size : bytes, 2 or 4
    more : funct3: width and sign of a load or store, kind of a csr instruction
    """

    op: int
    rd: int = NOWHERE
    rs1: int = 0
    rs2: int = 0
    imm: int = 0
    size: int = 4
    more: int = 0


def unfetched(address: int) -> Decoded:
    """Return what stands for an instruction of which a part is in no memory."""
    return Decoded(UNFETCHED, imm=address)


_BY_OPCODE: dict[int, list[tuple[int, Instruction]]] = {}
for _number, _one in enumerate(INSTRUCTIONS):
    _BY_OPCODE.setdefault(_one.match & 0x7F, []).append((_number, _one))


def find(word: int) -> tuple[int, Instruction] | None:
    """Return the number and the definition of an instruction of 32 bits, or None if it is reserved."""
    for number, one in _BY_OPCODE.get(word & 0x7F, ()):
        if word & one.mask == one.match:
            return number, one
    return None


def decode(word: int, isa: str) -> Decoded:
    """Return the instruction in a word; of one of 16 bits, the upper half is not looked at.

    Parameters
    ----------
    isa : ``rv32i``, ``rv32im``, ``rv32ic`` or ``rv32imc``; what it lacks is illegal
    """
    size, whole, bits = 4, word, word
    if word & 3 != 3:
        size, bits = 2, word & 0xFFFF
        found = expanded(bits) if "c" in isa[5:] else None
        if found is None:
            if "c" not in isa[5:]:
                size, bits = 4, word
            return Decoded(ILLEGAL, imm=bits, size=size)
        whole = found
    known = find(whole)
    if known is None or known[1].extension not in isa[4:]:
        return Decoded(ILLEGAL, imm=bits, size=size)
    number, one = known
    rd, rs1, rs2 = whole >> 7 & 31, whole >> 15 & 31, whole >> 20 & 31
    return Decoded(
        number,
        NOWHERE if one.form in "SBN" or rd == 0 else rd,
        rs1 if one.form not in "UJN" else 0,
        rs2 if one.form in "RSB" else 0,
        _immediate(whole, one.form),
        size,
        whole >> 12 & 7 if one.form in "ISC" else 0,
    )


def _immediate(word: int, form: str) -> int:
    sign = -(word >> 31)
    if form == "I":
        return sign << 12 | word >> 20
    if form == "S":
        return sign << 12 | (word >> 25) << 5 | word >> 7 & 31
    if form == "B":
        low = (word >> 7 & 1) << 11 | (word >> 25 & 0x3F) << 5 | (word >> 8 & 15) << 1
        return sign << 12 | low
    if form == "U":
        return (word & 0xFFFFF000) - (1 << 32 if sign else 0)
    if form == "J":
        low = (word >> 12 & 0xFF) << 12 | (word >> 20 & 1) << 11 | (word >> 21 & 0x3FF) << 1
        return sign << 20 | low
    if form == "H":
        return word >> 20 & 31
    return word >> 20 if form == "C" else 0
