"""Lesson 12: a map of your own."""

from __future__ import annotations

from collections.abc import Mapping
from random import Random

from busbox.lessons.board import slot
from busbox.lessons.declaring import Before, Field, Lesson, Must, Picture, Play, Wrong


def draw(random: Random) -> dict[str, int]:
    """Return where the region and the levers in it are, and how much the book must hold."""
    region = 0x4000_0000 + 0x8000 * random.randrange(16)
    return {
        "region": region,
        "levers": region + 0x1000 * random.randrange(8),
        "need": 0x400 * random.randrange(9, 16),
        "letter": random.randrange(0x41, 0x5B),
    }


def answer(numbers: Mapping[str, int]) -> dict[str, int]:
    """Return the map that fills the half of the levers from below."""
    region, levers = numbers["region"], numbers["levers"]
    half = region + (levers - region) // 0x4000 * 0x4000
    free = [half + 0x1000 * place for place in range(4) if half + 0x1000 * place != levers]
    return {
        "book": 2 * region + 0x4000 - half,
        "size": 0x4000,
        "telegraph": free[0],
        "clock": free[1],
    }


_LEVERS = slot("levers", base="{levers}")
_HALF = "(region + (levers - region) // 0x4000 * 0x4000)"


def _inside(name: str, size: str) -> Before:
    return Before(
        f"region <= answer.{name} and answer.{name} + {size} <= region + 0x8000",
        f"{name} goes from {{answer.{name}:address}} to {{answer.{name} + {size} - 1:address}}: not "
        "all of it is in {region:address}..{region + 0x7fff:address}.",
    )


LESSON = Lesson(
    number=12,
    title="A map of your own",
    minutes=10,
    learns="all of it: sizes, bases, no overlap, nothing outside",
    task=(
        "You may use the addresses {region:address} to {region + 0x7fff:address}. levers is already "
        "there, at {levers:address}, 0x1000 bytes. Place the others: book, a memory that must hold "
        "{need // 1024} KiB = {need:hex} bytes; telegraph, 0x1000 bytes; clock, 0x100 bytes. All are "
        "fully decoded, no two may overlap, and none may reach outside. What base and size does book "
        "get, and what bases do telegraph and clock get?"
    ),
    fields=(
        Field("book", "base of book", hexadecimal=True),
        Field("size", "size of book in bytes"),
        Field("telegraph", "base of telegraph", hexadecimal=True),
        Field("clock", "base of clock", hexadecimal=True),
    ),
    draw=draw,
    answer=answer,
    before=(
        _inside("book", "answer.size"),
        _inside("telegraph", "0x1000"),
        _inside("clock", "0x100"),
    ),
    wrong=(
        Wrong(
            "the size as it is needed",
            {"size": "need"},
            "A window's size is a power of two; round up what must fit.",
        ),
        Wrong(
            "the size rounded down",
            {"size": "0x2000"},
            "You rounded the size down: the last bytes of book have no address.",
        ),
        Wrong(
            "filled from the bottom",
            {"book": f"{_HALF} + 0x2000"},
            "There is room, but book cannot begin there: its base must be a multiple of its size. The "
            "largest window fits in the fewest places, so place it first.",
        ),
        Wrong(
            "in the half that levers is in",
            {"book": _HALF},
            "The sizes add up to less than the space, but that is not enough: book takes a whole "
            "half, and levers is in this one.",
        ),
        Wrong(
            "behind the end",
            {"book": "region + 0x8000"},
            "That is the first address after the space.",
        ),
        Wrong(
            "two in one place",
            {"telegraph": "answer.telegraph", "clock": "answer.telegraph + 0x100"},
            "telegraph owns all of its 0x1000 bytes, including those without a register.",
        ),
    ),
    plays=(
        Play(
            slots=(
                _LEVERS,
                slot("book", base="{answer.book}", size="{answer.size}"),
                slot("telegraph", base="{answer.telegraph}"),
                slot("clock", base="{answer.clock}", size=0x100),
            ),
            steps="""
                write {levers} 0x5
                write {answer.book} 0x11111111 as first
                write {answer.book + need - 4} 0x22222222 as last
                write {answer.telegraph} {letter} as telegraph
                write {answer.clock + 8} 0x123 as clock
                read {answer.book} as first_is
                read {answer.book + need - 4} as last_is
                read {answer.clock + 8} as clock_is
                read {answer.clock + 0x100} as behind_clock
                read {region + 0x8000} as behind
                read {region - 4} as ahead
            """,
            must=(
                Must("answers", "first", "book", says="At the base of book, {seen} answers."),
                Must("answers", "last", "book", says="The last word that book must hold is at "
                     "{answer.book + need - 4:address}; {seen} answers there."),
                Must("answers", "telegraph", "telegraph", says="At {answer.telegraph:address}, {seen} "
                     "answers."),
                Must("answers", "clock", "clock", says="At {answer.clock + 8:address}, {seen} "
                    "answers."),
                Must("reads", "first_is", "0x11111111", says="The first word of book reads {seen:hex} "
                     "after 0x11111111."),
                Must("reads", "last_is", "0x22222222", says="The last word of book reads {seen:hex} "
                     "after 0x22222222."),
                Must("reads", "clock_is", "0x123", says="clock.ALARM reads {seen:hex} after 0x123."),
                Must("text", "telegraph", "{letter:char}", says="telegraph has sent {seen}."),
                Must("outputs", "levers", "5", says="Lit at levers: {seen:set}."),
                Must("ends", "behind", "ERR", says="{seen} answers at {region + 0x8000:address}, "
                     "after the space."),
                Must("ends", "ahead", "ERR", says="{seen} answers at {region - 4:address}, before the "
                     "space."),
            ),
        ),
    ),
    hints=(
        "Begin with the largest. Which size does book need, and which bases can a window of that size "
        "have in this space?",
        "book takes one half of the space. Which half is free?",
        "telegraph begins at a multiple of 0x1000 in the half of levers, clock at a multiple of 0x100 "
        "that is still free.",
    ),
    solution=(
        "book needs 0x4000 bytes, so its base is a multiple of 0x4000: one of the two halves, and "
        "levers is in the other. That leaves {answer.book:address}. In the half of levers, "
        "telegraph has three places, for example {answer.telegraph:address}, and clock any free "
        "multiple of 0x100, for example {answer.clock:address}. Every map that works is right."
    ),
    passes=(
        "All four work: book from {answer.book:address}, telegraph at {answer.telegraph:address}, "
        "clock at {answer.clock:address}, and nobody answers outside."
    ),
    picture=Picture("map", (_LEVERS,)),
    board="The space as a bar of eight boxes; windows drawn in, the largest first.",
    questions=(
        "How many maps are right? Whose map differs from a neighbour's?",
        "What if clock needed 8 KiB?",
    ),
    teaches=("unmapped-access", "image-access", "register-hole"),
)  # fmt: skip
