"""Lesson 10: wait states."""

from __future__ import annotations

from collections.abc import Mapping
from random import Random

from busbox.lessons.board import slot
from busbox.lessons.declaring import Before, Field, Lesson, Must, Picture, Play, Wrong


def draw(random: Random) -> dict[str, int]:
    """Return how many writes there are, and how long they may take in microseconds."""
    limit = random.randrange(2, 9)
    return {"limit": limit, "writes": random.randrange(3, 16 * limit // 3 + 1)}


def answer(numbers: Mapping[str, int]) -> dict[str, int]:
    """Return the most wait states that fit."""
    return {"wait": 16 * numbers["limit"] // numbers["writes"] - 1}


_STEPS = "write 0x40000000 1 times {writes} as writes"

LESSON = Lesson(
    number=10,
    title="Wait states",
    minutes=7,
    learns="an access takes 1 + wait cycles; waits multiply",
    task=(
        "The clock is 16 MHz. An access to a slot takes one cycle plus its wait states. The firmware "
        "writes {writes} words to levers, back to back. Together they may occupy the bus for at most "
        "{limit} us. What is the largest number of wait states that levers may have?"
    ),
    fields=(Field("wait", "wait states"),),
    draw=draw,
    answer=answer,
    before=(
        Before(
            "answer.wait <= 1000",
            "With {answer.wait} wait states, one write alone takes more than 62 us.",
        ),
    ),
    wrong=(
        Wrong(
            "the access itself forgotten",
            {"wait": "16 * limit // writes"},
            "You gave all the cycles to the wait states; the access itself takes one, too.",
        ),
        Wrong(
            "waits counted once",
            {"wait": "16 * limit - writes"},
            "You counted the wait states once for all writes; each of them waits.",
        ),
        Wrong(
            "only without wait states",
            {"wait": "0"},
            "Without wait states each write takes one cycle, and there is time for more than that.",
        ),
        Wrong(
            "one wait state given away",
            {"wait": "answer.wait - 1"},
            "That fits, but it is not the most.",
        ),
    ),
    plays=(
        Play(
            slots=(slot("levers", wait="{answer.wait}"),),
            steps=_STEPS,
            must=(
                Must("cycles at most", "writes", "16 * limit", says="With {answer.wait} wait "
                     "states, the {writes} writes occupy the bus for {seen} cycles; {limit} us are "
                     "{16 * limit} cycles."),
            ),
        ),
        Play(
            slots=(slot("levers", wait="{answer.wait + 1}"),),
            steps=_STEPS,
            must=(
                Must("cycles at least", "writes", "16 * limit + 1", says="With one more wait state, "
                     "the {writes} writes take {seen} cycles; that still fits into {16 * limit}."),
            ),
        ),
    ),
    hints=(
        "How many cycles are {limit} us at 16 MHz? How many of them may each of the {writes} writes "
        "take?",
        "One of the cycles of each write is the access itself.",
        "{writes} x (1 + wait) must be at most {16 * limit}.",
    ),
    solution=(
        "{limit} us are {16 * limit} cycles. {16 * limit} / {writes} leaves {answer.wait + 1} whole "
        "cycles for each write, and one of them is the access itself: {answer.wait} wait states. "
        "{writes} x (1 + {answer.wait}) = {writes * (1 + answer.wait)} cycles."
    ),
    passes=(
        "{writes} x (1 + {answer.wait}) = {writes * (1 + answer.wait)} cycles, of the {16 * limit} "
        "available; one more wait state would not fit."
    ),
    picture=Picture("access", (slot("levers", wait=2),), step="write 0x40000000 1 times 2"),
    board="Two accesses as boxes of cycles, the waiting cycles hatched.",
    questions=(
        "What does a wait state cost in a loop that polls?",
        "Which slots of a real board need wait states, and why?",
    ),
)  # fmt: skip
