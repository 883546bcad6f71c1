"""Lesson 6: offset, register, hole."""

from __future__ import annotations

from collections.abc import Mapping
from random import Random

from busbox.lessons.board import slot
from busbox.lessons.declaring import Field, Lesson, Must, Picture, Play, Wrong

_CHANGE, _NOTHING, _ERROR = range(3)
_CHOICES = ("invert", "ignored", "error")


def draw(random: Random) -> dict[str, int]:
    """Return where the levers are, which two lamps to invert, and a hole."""
    low, high = sorted(random.sample(range(8), 2))
    return {
        "base": 0x4000_0000 + 0x1000 * random.randrange(16),
        "low": low,
        "high": high,
        "hole": 4 * random.randrange(9, 32),
    }


def answer(numbers: Mapping[str, int]) -> dict[str, int]:
    """Return a write of TOGGLE."""
    return {
        "address": numbers["base"] + 0x0C,
        "data": 1 << numbers["low"] | 1 << numbers["high"],
        "at_in": _NOTHING,
        "at_hole": _NOTHING,
    }


_LEVERS = slot("levers", base="{base}")
_MASK = "(1 << low | 1 << high)"


def _from(start: str) -> Play:
    """Return a play of the student's write, from some lamps that are lit."""
    return Play(
        slots=(_LEVERS,),
        steps=f"write {{base}} {{{start}}}\nwrite {{answer.address}} {{answer.data}} as write",
        must=(
            Must(
                "answers",
                "write",
                "levers",
                says="Your write to {answer.address:address} does not reach levers: {seen} answers.",
            ),
            Must(
                "outputs",
                "levers",
                f"{start} ^ {_MASK}",
                says=f"Lit before your write: {{{start}:set}}. Lit after it: {{seen:set}}.",
            ),
        ),
    )


def _same(name: str, place: str) -> Play:
    """Return a play of the same data elsewhere, and what must be if it is as the student says."""
    said = f"answer.{name}"
    where = f"The write to {{{place}:address}}"
    return Play(
        slots=(_LEVERS,),
        steps=f"write {{base}} 0x81\nwrite {{{place}}} {{{_MASK}}} as elsewhere",
        must=(
            Must("ends", "elsewhere", "ERR", f"{where} ends with ACK.", when=f"{said} == {_ERROR}"),
            Must(
                "outputs",
                "levers",
                f"0x81 ^ {_MASK}",
                f"{where} ends with ACK, and the lamps are as before: {{seen:set}}.",
                when=f"{said} == {_CHANGE}",
            ),
            Must("ends", "elsewhere", "ACK", f"{where} ends without ACK."),
            Must("outputs", "levers", "0x81", "After the write, lit are {seen:set}.",
                 when=f"{said} == {_NOTHING}"),
        ),
    )  # fmt: skip


LESSON = Lesson(
    number=6,
    title="Offset, register, hole",
    minutes=5,
    learns="an offset without a register ends with ACK all the same",
    task=(
        "The slot levers is at {base:address} and has these registers:\n\n    0x00  OUT     lamps, a "
        "bit each\n    0x04  SET     a 1 lights the lamp\n    0x08  CLEAR   a 1 darkens the "
        "lamp\n    0x0c  TOGGLE  a 1 inverts the lamp\n    0x10  IN      the levers, read only\n    "
        "0x14 to 0x20  more registers; there are none above 0x20\n\nSome lamps are lit, but you do "
        "not know which. One write must invert lamps {low} and {high} and leave all others as they "
        "are. Which write is it? And what does the same data do at {base + 0x10:address} (IN), and "
        "at {base + hole:address}? Choose invert if it inverts those lamps; ignored if nothing "
        "changes and the access ends with ACK (answered); error if it ends with ERR."
    ),
    fields=(
        Field("address", "where you write", hexadecimal=True),
        Field("data", "what you write", hexadecimal=True),
        Field("at_in", "the same data, written to IN", "choice", choices=_CHOICES),
        Field("at_hole", "and written to the other address", "choice", choices=_CHOICES),
    ),
    draw=draw,
    answer=answer,
    wrong=(
        Wrong(
            "the number of the register for its offset",
            {"address": "base + 3"},
            "TOGGLE is register number 3, but offsets count bytes, and each register has four.",
        ),
        Wrong(
            "OUT overwrites all lamps",
            {"address": "base"},
            "A write to OUT sets every lamp, including those that you do not want to touch.",
        ),
        Wrong(
            "SET only lights",
            {"address": "base + 4"},
            "SET lights lamps and never darkens one, so a lit lamp is not inverted.",
        ),
        Wrong(
            "no error, so it worked",
            {"at_hole": str(_CHANGE)},
            "ACK says that a slot was there, not that a register was.",
        ),
        Wrong(
            "a hole for a gap",
            {"at_hole": str(_ERROR)},
            "The offset is inside the window, so the slot answers, whether or not it has a register "
            "there.",
        ),
        Wrong(
            "a write to a read-only register changes something",
            {"at_in": str(_CHANGE)},
            "IN shows the levers and takes no data: the write is dropped.",
        ),
        Wrong(
            "a write to a read-only register ends with ERR",
            {"at_in": str(_ERROR)},
            "IN takes no data, but the slot answers all the same.",
        ),
    ),
    plays=(
        _from("(1 << low)"),
        _from("(1 << high)"),
        _from("0xf0"),
        _same("at_in", "base + 0x10"),
        _same("at_hole", "base + hole"),
    ),
    hints=(
        "Which register inverts, whatever was there before?",
        "The data has a 1 for each lamp that is to change. And what decides about ACK: the decoder "
        "or the register?",
        "TOGGLE is at offset 0xc. Nothing behind the decoder can take an ACK back.",
    ),
    solution=(
        "TOGGLE, at {answer.address:address}, with bits {low} and {high}: {answer.data:hex}. The same "
        "data at IN is dropped, and at {base + hole:address} there is no register: both writes end "
        "with ACK and change nothing. The absence of an error does not mean that a write worked."
    ),
    passes=(
        "From three different lamp patterns, exactly lamps {low} and {high} change; at IN and in the "
        "hole, the same data is lost with ACK."
    ),
    picture=Picture("map", (_LEVERS,)),
    board="A window as a ladder of offsets 0, 4, 8, ...; five rungs have names, the rest are holes.",
    questions=(
        "How could firmware notice that it wrote into a hole?",
        "Why is TOGGLE better than reading OUT and writing it back?",
    ),
    teaches=("register-hole", "read-only-write"),
)
