"""Lesson 11: one map for firmware and hardware."""

from __future__ import annotations

from collections.abc import Mapping
from random import Random

from busbox.lessons.board import slots
from busbox.lessons.declaring import Field, Lesson, Must, Picture, Play, Wrong

#: Constants of the header: the right value, and a wrong one; 0 for one that is always right.
_BASES = {
    "BOOK_BASE": (0x2000_0000, 0x2001_0000),
    "LEVERS_BASE": (0x4000_0000, 0),
    "TELEGRAPH_BASE": (0x4000_1000, 0x4001_0000),
    "CLOCK_BASE": (0x4000_2000, 0x4002_0000),
    "LAMPS_BASE": (0x4400_0000, 0x4500_0000),
}
_OFFSETS = {
    "LEVERS_OUT": (0x00, 0),
    "LEVERS_TOGGLE": (0x0C, 0x04),
    "LEVERS_RISE": (0x18, 0x1C),
    "TELEGRAPH_DATA": (0x00, 0),
    "CLOCK_ALARM": (0x08, 0x0C),
    "LAMPS_COUNT": (0x08, 0x04),
    "LAMPS_PERIOD": (0x10, 0x0C),
}
_CONSTANTS = _BASES | _OFFSETS


def draw(random: Random) -> dict[str, int]:
    """Return the header with four wrong constants, a letter to send, and data to write."""
    bases = random.sample([name for name, (_, wrong) in _BASES.items() if wrong], 2)
    offsets = random.sample([name for name, (_, wrong) in _OFFSETS.items() if wrong], 2)
    mistaken = {*bases, *offsets}
    header = {name: pair[name in mistaken] for name, pair in _CONSTANTS.items()}
    return {
        **{f"h_{name}": value for name, value in header.items()},
        "letter": random.randrange(0x41, 0x5B),
        "alarm": random.randrange(0x100, 0x4000),
        "count": random.randrange(2, 9),
    }


def answer(numbers: Mapping[str, int]) -> dict[str, int]:
    """Return the header as the board is."""
    return {name: right for name, (right, _) in _CONSTANTS.items()}


def _at(base: str, offset: str) -> str:
    return f"{{answer.{base} + answer.{offset}}}"


_STEPS = f"""
    write {{answer.BOOK_BASE}} 0x600D as book
    write {_at("LEVERS_BASE", "LEVERS_OUT")} 0x01 as out
    write {_at("LEVERS_BASE", "LEVERS_TOGGLE")} 0x03 as toggle
    write {_at("LEVERS_BASE", "LEVERS_RISE")} 0x10 as rise
    write {_at("TELEGRAPH_BASE", "TELEGRAPH_DATA")} {{letter}} as telegraph
    write {_at("CLOCK_BASE", "CLOCK_ALARM")} {{alarm}} as alarm
    write {_at("LAMPS_BASE", "LAMPS_COUNT")} {{count}} as count
    write {_at("LAMPS_BASE", "LAMPS_PERIOD")} 0x00500014 as period
    read 0x20000000 as book_is
    read 0x40000018 as rise_is
    read 0x40002008 as alarm_is
    read 0x44000008 as count_is
    read 0x44000010 as period_is
"""
_GAP = "The driver's write of {what} goes to {at}: no slot answers there."


def _answered(tag: str, what: str, base: str, offset: str = "") -> Must:
    address = (
        f"{{answer.{base} + answer.{offset}:address}}" if offset else f"{{answer.{base}:address}}"
    )
    return Must("ends", tag, "ACK", _GAP.replace("{what}", what).replace("{at}", address))


_WIDTH = max(map(len, _CONSTANTS))
_SOLUTION = "The constants with a star were wrong:\n\n" + "\n".join(
    f"{{h_{name} != answer.{name}:star}} {name:{_WIDTH}}  {{answer.{name}:hex}}"
    for name in _CONSTANTS
)

LESSON = Lesson(
    number=11,
    title="One map for firmware and hardware",
    minutes=8,
    learns="a wrong offset that hits a register is worse than a gap",
    task=(
        "The map shows the slots of the board. The registers are: levers OUT 0x00, SET 0x04, CLEAR "
        "0x08, TOGGLE 0x0c, IN 0x10, ENABLE 0x14, RISE 0x18, FALL 0x1c, EVENTS 0x20; telegraph DATA "
        "0x00, STATUS 0x04, DIVISOR 0x08; clock NOW 0x00, NOW_HIGH 0x04, ALARM 0x08, CONTROL 0x0c, "
        "STATUS 0x10; lamps CONTROL 0x00, STATUS 0x04, COUNT 0x08, HIGH 0x0c, PERIOD 0x10.\n\n"
        "Under 'Your answer' are the 12 constants of the firmware's header: bases, and offsets from "
        "them. Four of them are wrong. Correct those four, such as LEVERS_OUT=0x00; the others keep "
        "their values. Then a driver that uses all of them is run."
    ),
    fields=tuple(
        Field(name, "base" if name in _BASES else "offset", hexadecimal=True, given=f"h_{name}")
        for name in _CONSTANTS
    ),
    draw=draw,
    answer=answer,
    wrong=(
        Wrong(
            "it compiles, so it fits",
            {name: f"h_{name}" for name in _CONSTANTS},
            "The compiler knows the header, not the board: any number compiles.",
        ),
        Wrong(
            "no error on the bus, so the address is right",
            {name: f"h_{name}" for name in _OFFSETS},
            "ACK says that a slot was there. A wrong offset reaches another register of that slot, "
            "which is harder to find than an error.",
        ),
        Wrong(
            "only offsets looked at",
            {name: f"h_{name}" for name in _BASES},
            "The bases are constants too: compare each of them with the map.",
        ),
    ),
    plays=(
        Play(
            slots=slots("book", "levers", "telegraph", "clock", "lamps"),
            steps=_STEPS,
            must=(
                _answered("book", "book", "BOOK_BASE"),
                _answered("out", "levers.OUT", "LEVERS_BASE", "LEVERS_OUT"),
                _answered("telegraph", "telegraph.DATA", "TELEGRAPH_BASE", "TELEGRAPH_DATA"),
                _answered("alarm", "clock.ALARM", "CLOCK_BASE", "CLOCK_ALARM"),
                _answered("count", "lamps.COUNT", "LAMPS_BASE", "LAMPS_COUNT"),
                Must("reads", "book_is", "0x600D", says="The first word of book is {seen:hex} after "
                     "the driver wrote 0x600d."),
                Must("outputs", "levers", "0x02", says="The driver lit lamp 0, then inverted lamps "
                     "0 and 1; lit at the end: {seen:set}."),
                Must("reads", "rise_is", "0x10", says="levers.RISE holds {seen:hex} after the "
                     "driver wrote 0x10."),
                Must("text", "telegraph", "{letter:char}", says="The driver sent {letter:char}; the "
                     "telegraph's line shows {seen}."),
                Must("reads", "alarm_is", "alarm", says="clock.ALARM holds {seen:hex} after the driver "
                     "wrote {alarm:hex}."),
                Must("reads", "count_is", "count", says="lamps.COUNT holds {seen} after the driver "
                     "wrote {count}."),
                Must("reads", "period_is", "0x00500014", says="lamps.PERIOD holds {seen:hex} after the "
                     "driver wrote 0x500014."),
            ),
        ),
    ),
    hints=(
        "Two of the four are bases, two are offsets. Compare each base with the map.",
        "Look up each offset in the list of registers, name by name.",
        "A wrong base is one that no slot of the map has; a wrong offset is that of another register.",
    ),
    solution=_SOLUTION,
    passes=(
        "The driver reaches what its names say: the text is {letter:char}, COUNT {count}, ALARM "
        "{alarm:hex}, and lamp 1 is lit."
    ),
    picture=Picture("map", slots("book", "levers", "telegraph", "clock", "lamps")),
    board="Two columns of the same numbers, the header and the map; arrows between what must be equal.",
    questions=(
        "Which of the four mistakes would you have found on a real board, and how?",
        "How can the header and the hardware be made from one file?",
    ),
    teaches=("unmapped-access", "reserved-bits"),
)  # fmt: skip
