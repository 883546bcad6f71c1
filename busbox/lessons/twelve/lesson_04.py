"""Lesson 4: a base is a multiple of the size."""

from __future__ import annotations

from collections.abc import Mapping
from random import Random

from busbox.lessons.board import slot, slots
from busbox.lessons.declaring import Field, Lesson, Must, Picture, Play, Wrong


def draw(random: Random) -> dict[str, int]:
    """Return the size of a window, and an address in its upper half."""
    size = 1 << random.randrange(13, 17)
    base = 0x2000_0000 + size * random.randrange(2, 16)
    return {"size": size, "wanted": base + size // 2 + 4 * random.randrange(1, size // 8 - 1)}


def answer(numbers: Mapping[str, int]) -> dict[str, int]:
    """Return the window that contains the address."""
    base = numbers["wanted"] & ~(numbers["size"] - 1)
    return {
        "base": base,
        "last": base + numbers["size"] - 1,
        "next": base + numbers["size"],
    }


_SLOTS = (*slots("store", "levers"), slot("book", base="{answer.base}", size="{size}"))

LESSON = Lesson(
    number=4,
    title="Bases and aligned windows",
    minutes=7,
    learns="a base is a multiple of the size; last = base + size - 1",
    task=(
        "The slot book gets a window of {size:hex} bytes, fully decoded: every bit above those "
        "inside is compared. The window must contain the address {wanted:address}. What is its base, "
        "what is the last byte address in it, and what is the first address after it?"
    ),
    fields=(
        Field("base", "base", hexadecimal=True),
        Field("last", "last byte address", hexadecimal=True),
        Field("next", "first address after it", hexadecimal=True),
    ),
    draw=draw,
    answer=answer,
    wrong=(
        Wrong(
            "the address itself as base",
            {"base": "wanted"},
            "You used the address itself as the base. A window begins at a multiple of its size, not "
            "at an address that happens to be in it.",
        ),
        Wrong(
            "rounded to the nearest",
            {"base": "answer.base + size"},
            "You rounded to the nearest multiple of the size; the low bits can only be set to 0, "
            "which rounds down.",
        ),
        Wrong(
            "last = base + size",
            {"last": "answer.base + size"},
            "Base + size is one too many: the base itself is the first of the {size:hex} addresses.",
        ),
        Wrong(
            "the last word for the last byte",
            {"last": "answer.last - 3"},
            "That is where the last word begins. A word has four bytes, each with its own address.",
        ),
    ),
    plays=(
        Play(
            slots=_SLOTS,
            steps="""
                write {wanted & ~3} 0x5A5A0001 as wanted
                read {wanted & ~3} as wanted_read
                write {answer.base} 0x5A5A0002 as base
                write {answer.base - 4} 0x5A5A0003 as before
                write {answer.last & ~3} 0x5A5A5A5A lanes {1 << (answer.last & 3)} as last
                write {answer.last + 1 & ~3} 0x5A5A5A5A lanes {1 << (answer.last + 1 & 3)} as after_last
                write {answer.next - 1 & ~3} 0x5A5A5A5A lanes {1 << (answer.next - 1 & 3)} as inside
                write {answer.next & ~3} 0x5A5A5A5A lanes {1 << (answer.next & 3)} as behind
            """,
            must=(
                Must(
                    "ends", "wanted", "ACK",
                    says="With the base {answer.base:address}, the window ends at "
                    "{answer.base + size - 1:address}: no slot answers at {wanted:address}.",
                ),
                Must("answers", "wanted", "book", says="{seen} answers at {wanted:address}."),
                Must("reads", "wanted_read", "0x5A5A0001", says="The word at {wanted:address} reads "
                     "{seen:hex}, not what was written there."),
                Must("ends", "before", "ERR", says="{seen} answers at {answer.base - 4:address}, "
                     "before your base."),
                Must("answers", "last", "book", says="At your last address, {answer.last:address}, "
                     "book does not answer: {seen} does."),
                Must("ends", "after_last", "ERR", says="The byte after your last address, at "
                     "{answer.last + 1:address}, is still inside: book answers."),
                Must("answers", "inside", "book", says="The byte before your first address after it, "
                     "{answer.next - 1:address}, is not in book: {seen} answers."),
                Must("ends", "behind", "ERR", says="At your first address after it, "
                     "{answer.next:address}, book still answers."),
            ),
        ),
    ),
    hints=(
        "How many low bits of an address are inside a window of {size:hex} bytes? The decoder compares "
        "the others with the base.",
        "In the base all bits that are inside are 0. Take {wanted:address} and set them to 0.",
        "base = address & ~(size - 1); last = base + size - 1; next = base + size.",
    ),
    solution=(
        "{wanted:address} & ~{size - 1:hex} = {answer.base:address}: the bits inside become 0. The "
        "last address is {answer.base:address} + {size - 1:hex} = {answer.last:address}, and one "
        "more is {answer.next:address}, the first after the window."
    ),
    passes=(
        "The window answers from {answer.base:address} to {answer.last:address}, but not at "
        "{answer.base - 4:address} or {answer.next:address}."
    ),
    picture=Picture("decode", slots("store", "levers"), "wanted"),
    board="The address as 32 bits, cut where the window's bits begin; zeros below the cut are the "
        "base.",
    questions=(
        "Why can the base not be the address itself?",
        "How many bases are right for one address and one size?",
    ),
    teaches=("unmapped-access",),
)  # fmt: skip
