"""Compressed instructions of the naive core against the standard and the GNU disassembler."""

import re
from pathlib import Path

import pytest

from tests.core.gnu import NEEDS_GNU, disassemble
from tests.core.naive import decode16

HALVES = [half for half in range(0x10000) if half & 0b11 != 0b11]


def is_lenient(half: int) -> bool:
    """What the disassembler shows as an instruction though the standard reserves it on RV32C.

    Chapter C: shifts with shamt[5] = 1 are "designated for custom extensions" on RV32C; c.addi16sp
    "is only valid when nzimm != 0; the code point with nzimm = 0 is reserved".
    """
    row = half & 0xE003, half & 0xEC03
    shifts = row[0] == 0x0002 or row[1] in (0x8001, 0x8401)
    return (shifts and half & 0x1000 != 0) or half == 0x6101


def as_a_word(text: str) -> str:
    """How the disassembler shows the 32-bit instruction: it names hints and some aliases otherwise."""
    shorter = [
        (r"c\.(s[rl][la])i64 (\w+)", r"\1 \2,\2,0x0"),
        (r"c\.nop (-?\d+)", r"li zero,\1"),
        (r"c\.li zero,0", "nop"),
        (r"c\.(li|lui) zero,(.*)", r"\1 zero,\2"),
        (r"c\.slli zero,(\w+)", r"sll zero,zero,\1"),
        (r"add (\w+),\1,0", r"mv \1,\1"),
        (r"(?:c\.)?mv (\w+),(\w+)", r"add \1,zero,\2"),
        (r"c\.add zero,(\w+)", r"add zero,zero,\1"),
    ]
    for pattern, replacement in shorter:
        if re.fullmatch(pattern, text):
            return re.sub(pattern, replacement, text)
    return text


@NEEDS_GNU
def test_every_compressed_instruction_is_what_the_disassembler_says(tmp_path: Path) -> None:
    """Each half-word and the 32-bit instruction it stands for are disassembled to the same text.

    Source: GNU objdump for RISC-V, for rv32imc; where it is lenient, the standard decides.
    """
    words = [decode16(half) for half in HALVES]
    halves = disassemble("\n".join(f".2byte {half}, 1" for half in HALVES), tmp_path)
    full = disassemble("\n".join(f".4byte {word or 0xFFFF_FFFF}" for word in words), tmp_path)
    lenient = 0
    for index, (half, word) in enumerate(zip(HALVES, words, strict=True)):
        text = halves[4 * index]
        if word is not None:
            assert as_a_word(text) == full[4 * index], hex(half)
        elif is_lenient(half):
            lenient += 1
            assert text.split()[0] in ("c.slli", "sll", "srl", "sra", "add"), hex(half)
        else:
            assert text == "unimp" or text.startswith(".2byte"), hex(half)
    assert lenient == 1024 + 256 + 256 + 1


@pytest.mark.quick
def test_so_many_compressed_encodings_are_illegal() -> None:
    """The reserved ones number as the tables of chapter C say.

    Source: unprivileged ISA manual, chapter C, quadrants 0 to 2 on RV32: eight rows of 2,048 load or
    store F and D registers; one row of 2,048 is reserved; shifts by more than 31 (1,024 + 2 x 256),
    c.subw, c.addw and two more (256); c.addi4spn of 0 (8, with 0x0000), c.lui and c.addi16sp of 0 (32),
    c.lwsp to x0 (64), c.jr x0 (1).
    """
    illegal = {half for half in HALVES if decode16(half) is None}
    floats = {half for half in HALVES if half & 3 != 1 and half >> 13 in (1, 3, 5, 7)}
    assert len(floats) == 8 * 2048
    assert floats < illegal
    assert len(illegal - floats) == 2048 + 1024 + 512 + 256 + 8 + 32 + 64 + 1


def test_an_uncompressed_half_word_is_no_compressed_instruction() -> None:
    """Half-words that end in 11 begin a longer instruction (chapter C, listings)."""
    assert all(decode16(half) is None for half in range(3, 0x10000, 4))


@pytest.mark.quick
@pytest.mark.parametrize(
    ("half", "word"),
    [
        (0x0001, 0x0000_0013),  # c.nop: nop (reference_values, section 6, has the word)
        (0x9002, 0x0010_0073),  # c.ebreak
        (0x8082, 0x0000_8067),  # c.jr x1: ret
    ],
)
def test_compressed_words_that_everybody_knows(half: int, word: int) -> None:
    """c.nop, c.ebreak and c.jr x1 are nop, ebreak and ret (unprivileged ISA manual, chapter C)."""
    assert decode16(half) == word
