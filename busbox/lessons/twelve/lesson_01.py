"""Lesson 1: an address is a number, and a write to it does something."""

from __future__ import annotations

from collections.abc import Mapping
from random import Random

from busbox.lessons.board import slot, slots
from busbox.lessons.declaring import Field, Lesson, Must, Picture, Play, Wrong


def draw(random: Random) -> dict[str, int]:
    """Return where the levers are, and which lamp to light."""
    return {
        "base": 0x4000_0000 + 0x1_0000 * random.randrange(1, 16),
        "lamp": random.randrange(3, 8),
    }


def answer(numbers: Mapping[str, int]) -> dict[str, int]:
    """Return a write of OUT."""
    return {"address": numbers["base"], "data": 1 << numbers["lamp"]}


_SLOTS = (
    slot("store"), slot("book"), slot("levers", base="{base}"), *slots("telegraph", "clock", "lamps"),
)  # fmt: skip

LESSON = Lesson(
    number=1,
    title="First light",
    minutes=5,
    learns="a write to an address does something; bits count from 0",
    task=(
        "Every device on the bus has a slot, a range of addresses in which it answers. The slot levers "
        "begins at {base:address}. Its first register, OUT, has one bit for each lamp at the levers: "
        "bit 0 is lamp 0, bit 1 is lamp 1, and so on; a 1 lights the lamp. All lamps are dark. With "
        "one write of a word (32 bits), light lamp {lamp} and no other. Which address do you write to, "
        "and which data?"
    ),
    fields=(
        Field("address", "where you write", hexadecimal=True),
        Field("data", "what you write", hexadecimal=True),
    ),
    draw=draw,
    answer=answer,
    wrong=(
        Wrong(
            "the number of the lamp as data",
            {"data": "lamp"},
            "{lamp} is the number of the lamp. As data, it is a pattern of bits, and each 1 in it "
            "lights a lamp.",
        ),
        Wrong(
            "bits counted from 1",
            {"data": "1 << lamp - 1"},
            "You counted the bits from 1. The rightmost bit is bit 0.",
        ),
        Wrong(
            "an address for each lamp",
            {"address": "base + 4 * lamp", "data": "1"},
            "The lamps have no addresses of their own: all of them are bits of one word.",
        ),
    ),
    plays=(
        Play(
            slots=_SLOTS,
            steps="write {answer.address} {answer.data} as write",
            must=(
                Must(
                    "ends", "write", "ACK",
                    says="No slot answers at {answer.address:address}: the write is lost, and the CPU "
                    "gets ERR.",
                ),
                Must(
                    "outputs", "levers", "1 << lamp",
                    says="After your write of {answer.data:hex} to {answer.address:address}, these "
                    "lamps are lit: {seen:set}.",
                ),
            ),
        ),
    ),
    hints=(
        "What is the address of OUT, if OUT is the first register of the slot?",
        "Write the data as binary digits: lamp 0 is the rightmost digit. Only one digit is 1.",
        "A 1 with {lamp} zeros to its right; four binary digits are one hexadecimal digit.",
    ),
    solution=(
        "OUT is at offset 0, so its address is the base, {base:address}. Lamp {lamp} is bit {lamp}: "
        "1 << {lamp} = {answer.data:hex}. One write: {answer.address:address} {answer.data:hex}. "
        "(SET at offset 4 and TOGGLE at offset 0xc would do the same here, because all lamps are dark.)"
    ),
    passes="Lamp {lamp} is lit and no other: {answer.data:hex} has bit {lamp} set, and only that.",
    picture=Picture("map", _SLOTS),
    board="A word of 32 boxes, numbered from 31 down to 0; above it the address of the register.",
    questions=(
        "Which data lights lamps 0 and 1? Why is that not 'lamp 3'?",
        "What does the CPU notice if no slot is at the address?",
    ),
    teaches=("unmapped-access",),
)  # fmt: skip
