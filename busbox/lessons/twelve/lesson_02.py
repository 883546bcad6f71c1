"""Lesson 2: the parts of an address."""

from __future__ import annotations

from collections.abc import Mapping
from random import Random

from busbox.lessons.board import slot, slots
from busbox.lessons.declaring import Before, Field, Lesson, Must, Picture, Play, Wrong


def draw(random: Random) -> dict[str, int]:
    """Return a window whose cut falls inside a hexadecimal digit, and the address of a byte in it."""
    inside = random.randrange(13, 16)
    base = 0x2000_0000 + (random.randrange(16) << inside)
    offset = random.randrange(0x1004, 1 << inside)
    return {"inside": inside, "base": base, "wanted": base + offset | random.randrange(1, 4)}


def answer(numbers: Mapping[str, int]) -> dict[str, int]:
    """Return the address in its parts."""
    wanted, inside = numbers["wanted"], numbers["inside"]
    return {
        "compared": wanted >> inside,
        "offset": wanted & (1 << inside) - 1 & ~3,
        "lane": wanted & 3,
    }


_SLOTS = (*slots("store", "levers"), slot("book", base="{base}", size="{1 << inside}"))
_MADE = "(answer.compared << inside) + answer.offset"

LESSON = Lesson(
    number=2,
    title="Parts of an address",
    minutes=6,
    learns="compared part, offset, lane; a cut may go through a digit",
    task=(
        "The slot book has a window of {1 << inside:hex} bytes at {base:address}. Its decoder compares "
        "the upper address bits with that base; the lower ones select a byte inside the window. Cut "
        "the byte address {wanted:address} into the compared part, shifted down to bit 0; the offset "
        "of its word in the window, a multiple of 4; and the byte lane, 0 to 3, where lane 0 is data "
        "bits 7..0. (The picture shows two other slots.)"
    ),
    fields=(
        Field("compared", "compared part", hexadecimal=True),
        Field("offset", "offset of the word", hexadecimal=True),
        Field("lane", "byte lane"),
    ),
    draw=draw,
    answer=answer,
    before=(
        Before("answer.lane < 4", "A word has the lanes 0 to 3; there is no lane {answer.lane}."),
        Before(
            "answer.offset % 4 == 0",
            "The offset {answer.offset:hex} is not a multiple of 4: no word begins there.",
        ),
        Before(
            "answer.offset < 1 << inside",
            "The offset {answer.offset:hex} is not inside a window of {1 << inside:hex} bytes.",
        ),
    ),
    wrong=(
        Wrong(
            "cut at a hexadecimal digit",
            {"compared": "wanted >> 12", "offset": "wanted & 0xffc"},
            "You cut between two hexadecimal digits. That is right for windows of 0x1000 bytes only; "
            "here the cut goes through a digit.",
        ),
        Wrong(
            "the lane left in the offset",
            {"offset": "wanted & (1 << inside) - 1"},
            "The lowest two bits of a byte address say which byte of the word, not which word.",
        ),
        Wrong(
            "lanes counted from the left",
            {"lane": "3 - answer.lane"},
            "You counted the lanes from the left. Lane 0 is at the right, data bits 7..0.",
        ),
    ),
    plays=(
        Play(
            slots=_SLOTS,
            steps=f"""
                write {{wanted & ~3}} 0
                write {{{_MADE}}} 0x6B6B6B6B lanes {{1 << answer.lane}} as made
                read {{wanted & ~3}} as word
            """,
            must=(
                Must(
                    "answers",
                    "made",
                    "book",
                    says=f"Together, your parts give the word address {{{_MADE}:address}}; {{seen}} "
                    "answers there.",
                ),
                Must(
                    "reads",
                    "word",
                    "0x6B << 8 * (wanted & 3)",
                    says="The byte 0x6b was written by your parts: word "
                    f"{{{_MADE}:address}}, lane {{answer.lane}}. The word of {{wanted:address}} was 0 "
                    "and is {seen:address} now, so another byte was reached.",
                ),
            ),
        ),
    ),
    hints=(
        "How many bits does it take to count {1 << inside:hex} bytes? That many low address bits are "
        "inside.",
        "Write {wanted:address} in binary and cut it left of bit {inside - 1}. The two lowest bits are "
        "the lane.",
        "compared = address >> {inside}; offset = address & {(1 << inside) - 4:hex}; lane = address "
        "& 3.",
    ),
    solution=(
        "{1 << inside:hex} bytes are 2^{inside}: bits {inside - 1}..0 are inside. Bits 31..{inside} of "
        "{wanted:address} are {answer.compared:hex}. The bits inside are {answer.offset + "
        "answer.lane:hex}: the word at offset {answer.offset:hex} and lane {answer.lane}, which is "
        "data bits {8 * answer.lane + 7}..{8 * answer.lane}."
    ),
    passes=(
        "A byte written with your three parts arrives at {wanted:address}: bits 31..{inside}, "
        "bits {inside - 1}..2, and bits 1..0."
    ),
    picture=Picture("decode", _SLOTS[:2], "wanted"),
    board="An address in binary; two vertical cuts: above the window's bits, and above the lowest two.",
    questions=(
        "For which window sizes does the cut fall between two hexadecimal digits?",
        "How many bytes of one word have the same compared part and the same offset?",
    ),
    teaches=("lanes-lost",),
)
