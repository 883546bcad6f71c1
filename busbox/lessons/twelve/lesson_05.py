"""Lesson 5: byte lanes."""

from __future__ import annotations

from collections.abc import Mapping
from random import Random

from busbox.lessons.board import slots
from busbox.lessons.declaring import Before, Field, Lesson, Must, Picture, Play, Wrong


def draw(random: Random) -> dict[str, int]:
    """Return a word, what it holds, and a byte and a halfword to store in it."""
    return {
        "word": 0x2000_0000 + 4 * random.randrange(1, 0x600),
        "lane": random.randrange(1, 4),
        "held": sum(random.randrange(0x11, 0xF0) << 8 * lane for lane in range(4)),
        "byte": random.randrange(0x81, 0x100),
        "half": random.randrange(0x8101, 0x1_0000),
    }


def answer(numbers: Mapping[str, int]) -> dict[str, int]:
    """Return the two writes, and what the word holds after the first."""
    shift = 8 * numbers["lane"]
    return {
        "address": numbers["word"],
        "data": numbers["byte"] << shift,
        "sel": 1 << numbers["lane"],
        "after": numbers["held"] & ~(0xFF << shift) | numbers["byte"] << shift,
        "half_data": numbers["half"] << 16,
        "half_sel": 0b1100,
    }


_AFTER = "({held} & ~(0xFF << 8 * lane) | byte << 8 * lane)"
_WRITE = "write {answer.address} {answer.data} lanes {answer.sel} as write"
_HALF = "write {answer.address} {answer.half_data} lanes {answer.half_sel} as half"


def _byte(tag: str, start: str) -> tuple[str, Must]:
    """Return the steps that play the byte on a starting word, and what must come of it."""
    steps = f"write {{word}} {{{start}}}\n{_WRITE}\nread {{word}} as {tag}\n"
    says = (
        f"The word at {{word:address}} held {{{start}:address}}. After your write of "
        "{answer.data:address} with SEL {answer.sel:lanes} to {answer.address:address}, it holds "
        "{seen:address}: that is not a change of just the byte at {word + lane:address}."
    )
    return steps, Must("reads", tag, _AFTER.replace("{held}", start), says)


def _halfword(tag: str, start: str) -> tuple[str, Must]:
    """Return the same of the halfword."""
    steps = f"write {{word}} {{{start}}}\n{_HALF}\nread {{word}} as {tag}\n"
    says = (
        f"Second part: the word at {{word:address}} held {{{start}:address}}. After your write of "
        "{answer.half_data:address} with SEL {answer.half_sel:lanes}, it holds {seen:address}: that "
        "is not a change of just the halfword at {word + 2:address}."
    )
    return steps, Must("reads", tag, f"{start} & 0xFFFF | half << 16", says)


#: A word, its complement and 0, so that a write of the whole result does not do.
_STARTS = {"first": "held", "second": "(held ^ 0xFFFFFFFF)", "third": "0"}
_BYTES = [_byte(tag, start) for tag, start in _STARTS.items()]
_HALVES = [_halfword(f"{tag}_half", start) for tag, start in _STARTS.items()]

LESSON = Lesson(
    number=5,
    title="Byte lanes",
    minutes=8,
    learns="a byte at address A travels on lane A mod 4; SEL",
    task=(
        "The bus moves words; SEL says which of their bytes count. Its digits are written in the "
        "order SEL(3) SEL(2) SEL(1) SEL(0), and SEL(k) is lane k, data bits 8k+7..8k. The word at "
        "{word:address} in book holds {held:address}. The firmware stores the byte {byte:hex} at "
        "{word + lane:address}. What does the bus write (address of the word, data, SEL), and what "
        "does the word hold afterwards? Second part: with which data and SEL is the halfword "
        "{half:hex} stored at {word + 2:address}?"
    ),
    fields=(
        Field("address", "address of the word", hexadecimal=True),
        Field("data", "data", hexadecimal=True),
        Field("sel", "SEL", "bits"),
        Field("after", "the word afterwards", hexadecimal=True),
        Field("half_data", "second part, data", hexadecimal=True),
        Field("half_sel", "second part, SEL", "bits"),
    ),
    draw=draw,
    answer=answer,
    before=(
        Before("answer.sel", "With SEL 0000, no byte is written."),
        Before("answer.half_sel", "With SEL 0000, no byte of the halfword is written."),
    ),
    wrong=(
        Wrong(
            "the first lane for every byte",
            {"data": "byte", "sel": "1"},
            "You wrote the lowest byte of the word. The address of a byte decides which lane it "
            "travels on.",
        ),
        Wrong(
            "the data stays at the right",
            {"data": "byte"},
            "Your data has the byte at the right end. A device takes each byte from its own lane.",
        ),
        Wrong(
            "SEL read from left to right",
            {"sel": "1 << 3 - lane"},
            "You read SEL from left to right. SEL(3) comes first, SEL(0) last.",
        ),
        Wrong(
            "the address of the byte on the bus",
            {"address": "word + lane"},
            "That is the address of the byte. The bus addresses words; SEL picks the byte.",
        ),
        Wrong(
            "little-endian turns the word round",
            {
                "after": "(answer.after >> 24) | (answer.after >> 8 & 0xFF00)"
                " | (answer.after << 8 & 0xFF0000) | (answer.after << 24 & 0xFF000000)"
            },
            "You reversed the bytes of the word. Little-endian says which address a byte has; "
            "the word itself stays as it is.",
        ),
        Wrong(
            "one lane for a halfword",
            {"half_sel": "0b0100"},
            "A halfword is two bytes, so it travels on two lanes.",
        ),
        Wrong(
            "the halfword stays at the right",
            {"half_data": "half"},
            "Your data has the halfword at the right end; at offset 2 it travels on the upper lanes.",
        ),
    ),
    plays=(
        Play(
            slots=slots("book"),
            steps="".join(steps for steps, _ in _BYTES),
            must=(
                Must(
                    "answers",
                    "write",
                    "book",
                    says="Your write to {answer.address:address} does not reach book: {seen} answers.",
                ),
                *(must for _, must in _BYTES),
                Must(
                    "reads",
                    "first",
                    "answer.after",
                    says="Your write is right. Afterwards the word reads {seen:address}; you said "
                    "{answer.after:address}.",
                ),
            ),
        ),
        Play(
            slots=slots("book"),
            steps="".join(steps for steps, _ in _HALVES),
            must=tuple(must for _, must in _HALVES),
        ),
    ),
    hints=(
        "{word + lane:address} mod 4 is the lane. Which data bits belong to it?",
        "The word begins at the multiple of 4 at or below the byte. The byte goes in its lane, all "
        "other lanes may hold anything, and SEL has a 1 for that lane only.",
        "lane = {lane}: data = byte << {8 * lane}, and SEL({lane}) = 1. A halfword at offset 2 has "
        "lanes 3 and 2.",
    ),
    solution=(
        "{word + lane:address} is lane {lane} of the word at {word:address}. Data is {byte:hex} << "
        "{8 * lane} = {answer.data:address}, SEL is {answer.sel:lanes}, and the word holds "
        "{answer.after:address} afterwards. The halfword has lanes 3 and 2: data "
        "{answer.half_data:address}, SEL 1100."
    ),
    passes=(
        "On three starting words, only the byte at {word + lane:address} changes with SEL "
        "{answer.sel:lanes}, and only the halfword with SEL {answer.half_sel:lanes}."
    ),
    picture=Picture("access", slots("book"), step="write {word} {held}"),
    board="A word as four boxes, lane 3 at the left; above them SEL 3 2 1 0, below data bits 31..0.",
    questions=(
        "What do the lanes carry that SEL does not pick?",
        "What would a device do that ignores SEL?",
    ),
    teaches=("lanes-lost", "data-off-lanes"),
)
