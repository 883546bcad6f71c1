"""Lesson 9: gaps and the silent bus."""

from __future__ import annotations

from collections.abc import Mapping
from random import Random

from busbox.lessons.board import slot
from busbox.lessons.declaring import Before, Field, Lesson, Must, Picture, Play, Wrong


def draw(random: Random) -> dict[str, int]:
    """Return the wait states of the slow slot, the limit in microseconds, and an address in a gap."""
    return {
        "limit": random.randrange(2, 5),
        "wait": random.randrange(8, 29, 4),
        "gap": 0x5000_0000 + 0x100 * random.randrange(0x1000),
    }


def answer(numbers: Mapping[str, int]) -> dict[str, int]:
    """Return the smallest count that lets the slow slot answer."""
    return {"count": numbers["wait"]}


_LEVERS = slot("levers", wait="{wait}")

LESSON = Lesson(
    number=9,
    title="Gaps and the silent bus",
    minutes=8,
    learns="nobody answers: error, silence, or a watchdog",
    task=(
        "The clock is 16 MHz. On this bus, an access to a gap (an address of no slot) gets no answer "
        "and would wait forever. A watchdog with count w ends with ERR every access that has waited "
        "w cycles and is still not answered; with its first cycle, such an access takes w + 1 "
        "cycles. The slot levers has {wait} wait states: it answers after waiting {wait} cycles. An "
        "access to a gap may occupy the bus for at most {limit} us, and levers must work. Choose a "
        "count for which both hold."
    ),
    fields=(Field("count", "count of the watchdog"),),
    draw=draw,
    answer=answer,
    before=(
        Before(
            "1 <= answer.count <= 1000",
            "The watchdog of this board counts from 1 to 1,000, not to {answer.count}.",
        ),
    ),
    wrong=(
        Wrong(
            "one cycle too many",
            {"count": "16 * limit"},
            "You left out the first cycle of the access: it takes one cycle more than it waits.",
        ),
        Wrong(
            "one cycle too few",
            {"count": "wait - 1"},
            "The watchdog ends every access that waits too long, even one to a slot that is merely "
            "slow.",
        ),
        Wrong(
            "a watchdog that counts accesses",
            {"count": "1"},
            "The watchdog counts cycles of one access, not accesses.",
        ),
        Wrong(
            "microseconds for cycles",
            {"count": "limit"},
            "The count is in cycles; at 16 MHz a microsecond has 16 of them.",
        ),
        Wrong(
            "larger is safer",
            {"count": "1000"},
            "A larger count does not cut off levers, but the bus is occupied all that time.",
        ),
    ),
    plays=(
        Play(
            slots=(_LEVERS,),
            fabric={"unanswered": "silence", "watchdog": "{answer.count}"},
            steps="write 0x40000000 1 as levers\nwrite {gap} 1 as gap",
            must=(
                Must("ends", "levers", "ACK", says="The write to levers ends with ERR: the watchdog "
                     "cut it off, with the count {answer.count}."),
                Must("ends", "gap", "ERR", says="The access to {gap:address} does not end with ERR."),
                Must("cycles at most", "gap", "16 * limit", says="The access to the gap occupies "
                     "the bus for {seen} cycles; {limit} us are {16 * limit} cycles."),
            ),
        ),
    ),
    hints=(
        "How many cycles are {limit} us at 16 MHz?",
        "The watchdog must wait long enough for levers, yet end the access to the gap soon enough. "
        "What is the smallest count that works, and what is the largest?",
        "w is at least {wait}, and w + 1 cycles are at most {16 * limit}.",
    ),
    solution=(
        "{limit} us at 16 MHz are {16 * limit} cycles. A gap costs w + 1 cycles, so w is at most "
        "{16 * limit - 1}; levers answers when it has waited {wait} cycles, so w is at least {wait}. "
        "Every count from {wait} to {16 * limit - 1} is right. (A bus that answers a gap with an error "
        "itself needs 2 cycles and no watchdog. Without either, the CPU hangs.)"
    ),
    passes=(
        "levers answers, and the access to the gap ends with ERR after {answer.count + 1} cycles; "
        "{16 * limit} were allowed."
    ),
    picture=Picture("access", (_LEVERS | {"wait": 3},), step="write 0x40000000 1"),
    board="A line of cycles: STB high, nobody answers, the watchdog counts, ERR.",
    questions=(
        "How does the firmware learn of a lost write? And if the bus just stays silent?",
        "What does the watchdog do to a slow slot that is busy?",
    ),
    teaches=("no-answer", "bus-hang"),
)  # fmt: skip
