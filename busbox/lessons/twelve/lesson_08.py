"""Lesson 8: overlap and priority."""

from __future__ import annotations

from collections.abc import Mapping
from random import Random

from busbox.lessons.board import slot
from busbox.lessons.declaring import Field, Lesson, Must, Picture, Play, Wrong
from busbox.lessons.playing import NOBODY

_LEVERS_YIELD, _TELEGRAPH_YIELDS, _NOBODY_YIELDS = range(3)
_TELEGRAPH, _LEVERS, _BOTH = range(3)
_REACHED = ("telegraph", "levers", "both")


def draw(random: Random) -> dict[str, int]:
    """Return where the large window is, where the small one in it, and a letter."""
    base = 0x4000_0000 + 0x1_0000 * random.randrange(16)
    return {
        "base": base,
        "small": base + 0x1000 * random.randrange(1, 4),
        "letter": random.randrange(0x41, 0x5B),
    }


def answer(numbers: Mapping[str, int]) -> dict[str, int]:
    """Return the order in which the small window wins."""
    return {"order": _LEVERS_YIELD, "then": _TELEGRAPH, "opposite": _LEVERS}


def _slots(levers_yield: str, telegraph_yields: str) -> tuple[dict[str, object], ...]:
    return (
        slot("levers", base="{base}", size=0x4000, yields_to={"telegraph": levers_yield}),
        slot("telegraph", base="{small}", yields_to={"levers": telegraph_yields}),
        slot("clock", base="{base + 0x8000}"),
    )


def _reached(name: str, which: str) -> tuple[Must, ...]:
    """Return what must be if the status is reached as the student says."""
    says = f"{which}, {{seen}} answers at {{small + 4:address}}, and nobody else."
    slots = {"telegraph": _TELEGRAPH, "levers": _LEVERS, NOBODY: _BOTH}  # no access has two answers
    return tuple(
        Must("answers", "status", slot_name, says, when=f"answer.{name} == {value}")
        for slot_name, value in slots.items()
    )


LESSON = Lesson(
    number=8,
    title="Overlap and priority",
    minutes=7,
    learns="a small window inside a large one needs an order",
    task=(
        "levers gets a window of 0x4000 bytes at {base:address}. telegraph keeps its 0x1000 bytes at "
        "{small:address}, inside that window, and must still work; clock is at "
        "{base + 0x8000:address}. Which of the two gives way, that is, stays silent where both match? "
        "With that order, which slot does a read of {small + 4:address} reach (telegraph has its "
        "register STATUS at offset 4)? And which one if the order is reversed?"
    ),
    fields=(
        Field("order", "slot that gives way", "choice", choices=("levers", "telegraph", "nobody")),
        Field("then", "reached with that order", "choice", choices=_REACHED),
        Field("opposite", "reached with the order reversed", "choice", choices=_REACHED),
    ),
    draw=draw,
    answer=answer,
    wrong=(
        Wrong(
            "no order is needed",
            {"order": str(_NOBODY_YIELDS)},
            "Two slots that answer together drive the data lines against each other. Neither the order "
            "in the file nor the size decides which one wins.",
        ),
        Wrong(
            "who gives way, the wrong way round",
            {"order": str(_TELEGRAPH_YIELDS)},
            "The slot that gives way stays silent where both match; the other one answers.",
        ),
        Wrong(
            "both get the access",
            {"then": str(_BOTH)},
            "One access has one answer: the slot that gives way is not selected at all.",
        ),
        Wrong(
            "the window that was there first wins",
            {"then": str(_LEVERS)},
            "With that order, levers is not selected where telegraph answers.",
        ),
        Wrong(
            "the small window always wins",
            {"opposite": str(_TELEGRAPH)},
            "Size decides nothing; only the order does: who gives way.",
        ),
        Wrong(
            "both answer in the opposite order",
            {"opposite": str(_BOTH)},
            "In each order, one of the two gives way, so one of them answers.",
        ),
    ),
    plays=(
        Play(
            slots=_slots(f"answer.order == {_LEVERS_YIELD}", f"answer.order == {_TELEGRAPH_YIELDS}"),
            steps="""
                write {base} 1 as levers
                write {small} {letter} as telegraph
                read {small + 4} as status
                read {base + 0x8000} as clock
            """,
            must=(
                Must("outputs", "levers", "1", says="After a write of 1 to {base:address}, these lamps "
                     "are lit: {seen:set}."),
                Must("text", "telegraph", "{letter:char}", says='After a write of {letter:hex} ("'
                     '{letter:char}") to {small:address}, telegraph has sent {seen}.'),
                Must("answers", "clock", "clock", says="At {base + 0x8000:address}, {seen} answers."),
                *_reached("then", "With that order"),
            ),
        ),
        Play(
            slots=_slots("0", "1"),
            steps="read {small + 4} as status",
            must=_reached("opposite", "With the order reversed"),
        ),
    ),
    hints=(
        "Which of the two slots could never be reached, if the other one won wherever both answer?",
        "The small window lies inside the large one as a whole: the large one must give way there.",
        "Where levers gives way, telegraph answers. Where telegraph gives way, levers does, at offset "
        "{small + 4 - base:hex}; it has no register there.",
    ),
    solution=(
        "levers gives way to telegraph: all addresses of telegraph are inside levers, so telegraph "
        "could never be reached otherwise. {small + 4:address} is telegraph.STATUS then; in the "
        "reversed order it is levers at offset {small + 4 - base:hex}, a hole that ends with ACK."
    ),
    passes=(
        "Both work: lamp 0 is lit and telegraph has sent {letter:char}. One access has one answer, "
        "whatever the order."
    ),
    picture=Picture("decode", _slots("1", "0"), "base + 0x8004"),
    board="A long bar with a short one on it; the upper one hides the lower. Which one lies on top?",
    questions=(
        "When is it useful to put a small window inside a large one?",
        "What does hardware need, so that one of them gives way?",
    ),
    teaches=("register-hole",),
)  # fmt: skip
