"""Lesson 3: sizes are powers of two, and are rounded up."""

from __future__ import annotations

from collections.abc import Mapping
from random import Random

from busbox.lessons.board import slot
from busbox.lessons.declaring import Before, Field, Lesson, Must, Picture, Play, Wrong


def draw(random: Random) -> dict[str, int]:
    """Return where the book is, and how much it must hold: more than half of its window, not all."""
    inside = random.randrange(13, 18)
    size = 1 << inside
    need = size // 2 + 0x400 * random.randrange(1, size // 0x800)
    base = 0x2000_0000 + 2 * size * random.randrange(1, 8)
    return {"base": base, "need": need, "page": base + size}


def answer(numbers: Mapping[str, int]) -> dict[str, int]:
    """Return the next power of two."""
    inside = (numbers["need"] - 1).bit_length()
    return {"size": 1 << inside, "inside": inside, "compared": 32 - inside}


_PAGE = slot("book", base="{page}", size=0x1000) | {"name": "page"}
_BOOK = slot(
    "book",
    base="{base}",
    size="{answer.size}",
    compare="{0x100000000 - (1 << 32 - answer.compared)}",
)

LESSON = Lesson(
    number=3,
    title="Sizes and powers of two",
    minutes=5,
    learns="n bits inside are 2^n bytes; sizes are rounded up",
    task=(
        "The slot book is a memory at {base:address}. It must hold {need // 1024} KiB = {need:hex} "
        "bytes. The next slot, page, begins at {page:address}. The decoder compares the "
        "upper address bits with the base; the lower ones are used inside the window. What size "
        "must the window of book have, how many address bits are inside it, and how many are compared?"
    ),
    fields=(
        Field("size", "size in bytes"),
        Field("inside", "bits inside"),
        Field("compared", "bits compared"),
    ),
    draw=draw,
    answer=answer,
    before=(
        Before(
            "answer.inside + answer.compared == 32",
            "An address has 32 bits, and here each is either inside or compared; yours are "
            "{answer.inside} + {answer.compared} = {answer.inside + answer.compared}.",
        ),
        Before(
            "answer.size & (answer.size - 1) or 1 << answer.inside == answer.size",
            "{answer.inside} bits count {1 << answer.inside:hex} bytes, but your size is "
            "{answer.size:hex}.",
        ),
    ),
    wrong=(
        Wrong(
            "the size as it is needed",
            {"size": "need"},
            "You used the number of bytes that must fit as the size of the window. A bit is either "
            "compared or not, so the size of a window is a power of two.",
        ),
        Wrong(
            "rounded down",
            {
                "size": "answer.size // 2",
                "inside": "answer.inside - 1",
                "compared": "answer.compared + 1",
            },
            "You rounded the size down: the last bytes that must fit have no address.",
        ),
        Wrong(
            "1 K = 1000",
            {"size": "need // 1024 * 1000"},
            "1 KiB is 1,024 bytes (2^10), not 1,000.",
        ),
        Wrong(
            "the last offset for the size",
            {"size": "answer.size - 1"},
            "That is the offset of the last byte. Offsets are counted from 0, so the size is one more.",
        ),
        Wrong(
            "the highest bit for the number of bits",
            {"inside": "answer.inside - 1", "compared": "answer.compared + 1"},
            "You gave the number of the highest bit inside. Bits are numbered from 0, so there is one "
            "more of them.",
        ),
    ),
    plays=(
        Play(
            slots=(_BOOK, _PAGE),
            steps="""
                write {base} 0x11111111 as first
                write {base + need - 4} 0x22222222 as last
                write {page} 0x33333333 as page
                read {base} as first_read
                read {base + need - 4} as last_read
                read {page} as page_read
            """,
            must=(
                Must(
                    "ends", "last", "ACK",
                    says="The last word that book must hold is at {base + need - 4:address}; no slot "
                    "answers there.",
                ),
                Must("answers", "page", "page", says="The first word of page went to {seen}."),
                Must("reads", "first_read", "0x11111111", says="The first word of book reads "
                     "{seen:hex} after 0x11111111 was written there."),
                Must("reads", "last_read", "0x22222222", says="The last word of book reads {seen:hex} "
                     "after 0x22222222 was written there."),
                Must("reads", "page_read", "0x33333333", says="The first word of page reads {seen:hex} "
                     "after 0x33333333 was written there."),
            ),
        ),
    ),
    hints=(
        "How many bytes can n address bits count? Try n = 10, then add one bit at a time.",
        "The largest offset in {need:hex} bytes is {need - 1:hex}. How many bits does that number "
        "have?",
        "The size is 2 to the power of the bits inside; all other bits of the 32 are compared.",
    ),
    solution=(
        "The largest offset that is needed is {need - 1:hex}, a number of {answer.inside} bits. With "
        "{answer.inside} bits inside, the window has 2^{answer.inside} = {answer.size:hex} bytes; "
        "32 - {answer.inside} = {answer.compared} bits are compared, bits 31..{answer.inside}."
    ),
    passes=(
        "The first and the last word of book and the first of page keep what is written to them. "
        "{answer.size:hex} = 2^{answer.inside}, and bits 31..{answer.inside} are compared."
    ),
    picture=Picture("map", (_PAGE,)),
    board="Powers of two from 2^10 = 0x400 = 1 KiB to 2^16 = 0x10000 = 64 KiB, and 32 boxes cut in "
        "two.",
    questions=(
        "Why can a decoder that compares bits not make a window of 12 KiB?",
        "What happens in the rest of the window if the memory is smaller?",
    ),
    teaches=("unmapped-access",),
)  # fmt: skip
