"""Lesson 7: partial decoding and images."""

from __future__ import annotations

from collections.abc import Mapping
from random import Random

from busbox.lessons.board import slot, slots
from busbox.lessons.declaring import Before, Field, Lesson, Must, Picture, Play, Wrong


def draw(random: Random) -> dict[str, int]:
    """Return the lowest compared bit, and the bit in which the clock's address differs."""
    low = random.randrange(19, 26)
    base = 0x4000_0000 + 0x400_0000 * random.randrange(1, 16)
    return {"base": base, "low": low, "bit": random.randrange(15, low)}


def answer(numbers: Mapping[str, int]) -> dict[str, int]:
    """Return the images, one address in another, and what must be compared."""
    return {
        "images": 1 << numbers["low"] - 12,
        "another": numbers["base"] + 0x1000 + 8,
        "lowest": numbers["bit"],
        "left": 1 << numbers["bit"] - 12,
    }


def _lamps(lowest: str) -> dict[str, object]:
    return slot("lamps", base="{base}", compare=f"{{0x100000000 - (1 << {lowest})}}")


_CLOCK = slot("clock", base="{base + (1 << bit)}")

LESSON = Lesson(
    number=7,
    title="Partial decoding and images",
    minutes=9,
    learns="k bits that are neither compared nor inside make 2^k images",
    task=(
        "The slot lamps is at {base:address}, 0x1000 bytes. Its decoder compares only bits "
        "31..{low}; bits 11..0 are inside. So its window appears again at other addresses, as images. "
        "How many images are there, counting the one at the base? Give another address of the register "
        "COUNT, offset 8. Now clock is added at {base + (1 << bit):address}, fully decoded. To stay "
        "clear of it, lamps must compare bits 31..n, as few as possible: what is n, and how many "
        "images are left?"
    ),
    fields=(
        Field("images", "images"),
        Field("another", "another address of COUNT", hexadecimal=True),
        Field("lowest", "lowest compared bit n"),
        Field("left", "images left"),
    ),
    draw=draw,
    answer=answer,
    before=(
        Before(
            "answer.another != base + 8",
            "That is COUNT in image 0, at the base itself; another address is asked for.",
        ),
        Before(
            "12 <= answer.lowest <= 31",
            "Bits 11..0 are inside and bit 31 is the highest: bit {answer.lowest} cannot be the lowest "
            "that is compared.",
        ),
    ),
    wrong=(
        Wrong(
            "the number of bits for the number of images",
            {"images": "low - 12"},
            "That is how many bits are neither compared nor inside. Each of them doubles the images.",
        ),
        Wrong(
            "the image at the base not counted",
            {"images": "answer.images - 1"},
            "You left out the one at the base: it is image 0 and counts as well.",
        ),
        Wrong(
            "a compared bit changed",
            {"another": "base + 8 + (1 << low)"},
            "You changed a bit that is compared, so lamps does not answer there.",
        ),
        Wrong(
            "one bit too few",
            {"lowest": "bit + 1"},
            "The bit in which the two bases differ must be among those that are compared.",
        ),
        Wrong(
            "all bits compared",
            {"lowest": "12", "left": "1"},
            "Full decoding works, but takes more comparators than are needed.",
        ),
        Wrong(
            "the number of bits for the images left",
            {"left": "bit - 12"},
            "That is how many bits are left to make images. Each of them doubles the images.",
        ),
    ),
    plays=(
        Play(
            slots=(_lamps("low"),),
            steps="""
                write {base + (answer.images - 1) * 0x1000 + 8} 1 as last
                write {base + answer.images * 0x1000 + 8} 1 as behind
                write {answer.another} 3 as another
                read {base + 8} as count
            """,
            must=(
                Must(
                    "answers",
                    "last",
                    "lamps",
                    says="Counted from 0, your last image is at "
                    "{base + (answer.images - 1) * 0x1000:address}; {seen} answers there.",
                ),
                Must(
                    "ends",
                    "behind",
                    "ERR",
                    says="lamps still answers after your last image, at "
                    "{base + answer.images * 0x1000:address}.",
                ),
                Must(
                    "answers",
                    "another",
                    "lamps",
                    says="At {answer.another:address}, {seen} answers, not lamps.",
                ),
                Must(
                    "reads",
                    "count",
                    "3",
                    says="After 3 was written to {answer.another:address}, COUNT reads {seen}: that is "
                    "another register.",
                ),
            ),
        ),
        Play(
            slots=(_lamps("answer.lowest"), _CLOCK),
            steps="""
                write {base + 8} 5
                write {base + (1 << bit) + 8} 0x123 as alarm
                read {base + 8} as count
                read {base + (1 << bit) + 8} as alarm_read
            """,
            must=(
                Must("reads", "count", "5", says="COUNT of lamps reads {seen} after 5 was written."),
                Must("answers", "alarm", "clock", says="At the address of clock, {seen} answers."),
                Must("reads", "alarm_read", "0x123", says="ALARM of clock reads {seen:hex} after 0x123 "
                     "was written."),
            ),
        ),
        Play(
            slots=(_lamps("(answer.lowest + 1)"), _CLOCK),
            starts=False,
            says="With one bit fewer, 31..{answer.lowest + 1}, lamps and clock also work side by side.",
        ),
        Play(
            slots=(_lamps("answer.lowest"), _CLOCK),
            steps="""
                read {base + (answer.left - 1) * 0x1000 + 8} as last
                read {base + answer.left * 0x1000 + 8} as behind
            """,
            must=(
                Must(
                    "answers",
                    "last",
                    "lamps",
                    says="Counted from 0, the last image that is left is at "
                    "{base + (answer.left - 1) * 0x1000:address}, as you say; {seen} "
                    "answers there.",
                ),
                Must(
                    "answers",
                    "behind",
                    "clock",
                    says="After your last image, at "
                    "{base + answer.left * 0x1000:address}, {seen} answers; there, the "
                    "images must have ended.",
                ),
            ),
        ),
    ),
    hints=(
        "Which bits are neither compared (31..{low}) nor inside (11..0)? Each of them may be 0 or 1.",
        "An image has other values in those bits, and the same offset. In which bit do the bases of "
        "lamps and clock differ?",
        "k such bits make 2^k images. lamps must compare bit {bit}, or both answer.",
    ),
    solution=(
        "Bits {low - 1}..12 are neither compared nor inside: {low - 12} bits, 2^{low - 12} = "
        "{answer.images} images. COUNT is at offset 8 in each, for example at "
        "{answer.another:address}. The bases of lamps and clock differ in bit {bit}: compare "
        "31..{bit}; bits {bit - 1}..12 are left, {bit - 12} of them: {answer.left} images."
    ),
    passes=(
        "COUNT is one register with {answer.images} addresses; with bits 31..{answer.lowest} compared, "
        "clock has its own place, and lamps has {answer.left} images."
    ),
    picture=Picture("decode", (_lamps("low"), *slots("levers")), "base + 8"),
    board="32 boxes: compared, don't care, inside. Count the don't-care boxes: each doubles the "
        "images.",
    questions=(
        "Are images copies of the device? What does a write to image 5 change in image 0?",
        "Why would anyone compare fewer bits?",
    ),
    teaches=("image-access",),
)  # fmt: skip
