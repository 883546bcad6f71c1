"""The twin of the sender for lamps: in every cycle what the model is, at every boundary of its page.

Most frames here have P = 2 cycles a bit (high for 1 in either kind) and a gap of G = 3: SEND in e = 6
has its first bit in cycle b = 7, lamp 1 in 55, and a frame of one lamp has its last gap cycle in g
= 57.
"""

from __future__ import annotations

import random
from itertools import permutations
from typing import Any

import pytest
from amaranth.back import rtlil

from busbox.device import Site
from busbox.models.pulse_led import PulseLed
from busbox.models.pulse_led.hardware import PulseLedHardware
from tests.models.hardware_harness import ALL, Aimed, Case, Pair, diced

CONTROL, STATUS, COUNT, HIGH, PERIOD, COLOUR = 0x00, 0x04, 0x08, 0x0C, 0x10, 0x100
SEND, REPEAT, MISSED = 1, 2, 2


def sender(**keys: Any) -> Pair:
    """Return a sender of two lamps whose reset values give frames of one."""
    keys = {"lamps": 2, "count": 1, "high": 0x1_0001, "period": 0x3_0002} | keys
    pair = Pair(PulseLed, size=0x1000, **keys)
    pair.ahead = True
    return pair


def play(cases: list[list[Aimed]], cycles: int, **keys: Any) -> Pair:
    """Play the accesses of each case, one case after the other, and compare."""
    pair = sender(**keys)
    pair.play_each([Case(one) for one in cases], cycles)
    return pair


def kinds(pair: Pair) -> list[str]:
    """Return the kinds of what the twin's note reader reported, in order."""
    return [event.kind for event in pair.hosts[1].events]


def colours(pair: Pair) -> list[list[int]]:
    """Return the colours of every frame that the twin's note reader reported."""
    return [one.details["colours"] for one in pair.hosts[1].events if "colours" in one.details]


@pytest.mark.parametrize("order", ["".join(one) for one in permutations("RGB")])
def test_three_channels_in_every_order(order: str) -> None:
    """Two lamps whose channels all differ go on the wire, and are reported, as in the model."""
    case = [
        Aimed(2, COLOUR, 0x80_43_25), Aimed(3, COLOUR + 4, 0xFF_0F_A1), Aimed(6, CONTROL, SEND)
    ]  # fmt: skip
    keys = {"order": order, "count": 2, "high": 0x2_0001, "period": 0x2_0003}
    assert colours(play([case], 160, **keys)) == [[0x80_43_25, 0xFF_0F_A1]]


@pytest.mark.parametrize("order", [None, "WBGR", "BWRG"])
def test_four_channels(order: str | None) -> None:
    """0xWWRRGGBB is 32 bits on the wire; each byte of a colour is written by its lane."""
    case = [
        Aimed(2, COLOUR, 0x8143_2517), Aimed(3, COLOUR, 0xFFFF_FFFF, 0b1010), Aimed(6, CONTROL, SEND)
    ]  # fmt: skip
    pair = play([case], 110, channels=4, order=order, high=0x2_0001, period=0x2_0003)
    assert colours(pair) == [[0xFF43_FF17]]


def test_send_around_a_frame() -> None:
    """A second SEND in the cycles 7 to 59, by lanes: missed up to g = 57, else another frame."""
    cases = [
        [Aimed(6, CONTROL, SEND), Aimed(cycle, CONTROL, word, lanes)]
        for cycle in (7, 8, 56, 57, 58, 59)
        for word, lanes in ((SEND, 0b0001), (0xFFFF_FFFE, 0b1111), (SEND, 0b1110))
    ]
    found = kinds(play(cases, 64))
    # Of the words without SEND, which set REPEAT, three come in time for one more frame.
    assert (found.count("frame-missed"), found.count("frame")) == (4, 18 + 2 + 3)


def test_repeat_around_the_last_gap_cycle() -> None:
    """REPEAT set, cleared, or missed with SEND in the cycles around g = 57, and in the first of all."""
    cases = [
        [Aimed(6, CONTROL, SEND | before), Aimed(cycle, CONTROL, word), Aimed(cycle + 1, CONTROL)]
        for cycle in (7, 56, 57, 58)
        for before in (0, REPEAT)
        for word in (0, SEND, REPEAT, SEND | REPEAT)
    ]
    play(cases, 64)


@pytest.mark.parametrize("register", [COUNT, HIGH, PERIOD])
def test_what_a_frame_is_made_of(register: int) -> None:
    """COUNT, HIGH, PERIOD written around SEND and around g count as the cycle before b shows them."""
    cases = [
        [Aimed(6, CONTROL, SEND | REPEAT), Aimed(cycle, register, 0x4_0002, lanes)]
        for cycle, lanes in ((5, ALL), (7, ALL), (56, ALL), (56, 0b0100), (57, ALL))
    ]
    play(cases, 116)


def test_missed_in_the_last_gap_cycle_names_the_frame_that_follows() -> None:
    """With REPEAT, SEND in g = 57 is told the end of the next frame: of what cycle 57 shows."""
    cases = [
        [Aimed(6, CONTROL, SEND | REPEAT), Aimed(56, register, 0x7_0002), Aimed(57, CONTROL, SEND)]
        for register in (COUNT, PERIOD)
    ]
    missed = [one for one in play(cases, 70).hosts[1].events if one.kind == "frame-missed"]
    # COUNT = 0x70002 is clipped to two lamps: 96 + 3 cycles from 58 on; PERIOD gives 48 + 7.
    begin = 71
    assert [one.details["idle_from"] for one in missed] == [58 + 99, begin + 58 + 55]


def test_colours_around_the_first_bit_of_their_lamp() -> None:
    """A colour written up to cycle 53 is that of lamp 1 in 55; one up to 5 (and 100) that of lamp 0."""
    cases = [
        [
            Aimed(2, COUNT, 2),
            Aimed(6, CONTROL, SEND | REPEAT),
            Aimed(cycle, COLOUR + 4 * lamp, 0xFF_00_FF),
        ]
        for lamp, cycles in ((1, (52, 53, 54, 55, 56)), (0, (5, 7, 8, 103, 104, 105, 106)))
        for cycle in cycles
    ]
    play([[Aimed(0, COLOUR, 0), Aimed(1, COLOUR + 4, 0), *case] for case in cases], 112)


@pytest.mark.parametrize("high", [0, 0x1_0002, 0x3_0000, 0xFFFF_0003])
def test_odd_counts(high: int) -> None:
    """Pulses of 0 cycles and of more than a bit; P = 0, 1, 3 and G = 0, 2: line and events."""
    cases = [
        [
            Aimed(1, COLOUR, 0xA5_3C_01),
            Aimed(3, PERIOD, gap << 16 | period),
            Aimed(6, CONTROL, SEND),
        ]
        for period in (0, 1, 3)
        for gap in (0, 2)
    ]
    play(cases, 84, high=high)


@pytest.mark.parametrize("gap", [0, 2, 5])
def test_empty_frames(gap: int) -> None:
    """COUNT 0: the gap only, alone and repeated, with SEND missed in it; a lamp may follow."""
    cases = [
        [Aimed(6, CONTROL, SEND | repeat), Aimed(cycle, register, word)]
        for repeat in (0, REPEAT)
        for cycle in sorted({7, gap + 6, gap + 7, gap + 8} - {6})
        for register, word in ((CONTROL, SEND), (CONTROL, 0), (COUNT, 1))
    ]
    play(cases, 38, count=0, period=gap << 16 | 1)


@pytest.mark.parametrize("lamps", [1, 3])
def test_counts_around_the_lamps_built(lamps: int) -> None:
    """COUNT up to and above the lamps, repeated: each frame begins with lamp 0 again."""
    cases = [
        [
            *(Aimed(lamp, COLOUR + 4 * lamp, 0x11_11_11 << lamp) for lamp in range(lamps)),
            Aimed(4, COUNT, count),
            Aimed(6, CONTROL, SEND | REPEAT),
        ]
        for count in (0, lamps - 1, lamps, lamps + 1, 0x100, 0x8000_0000)
    ]
    pair = play(cases, 24 * lamps + 80, lamps=lamps, period=0x3_0001)
    assert kinds(pair).count("count-clipped") > 3


def test_long_counts() -> None:
    """A bit and its pulse that outlast 256 cycles; each bit alone of the four counts is long as
    well.
    """
    play([[Aimed(3, HIGH, 0x0102_0101), Aimed(4, PERIOD, 0x1_0108), Aimed(6, CONTROL, SEND)]], 300)
    cases = [
        [
            Aimed(1, COLOUR, colour),
            Aimed(3, HIGH, high << bit),
            Aimed(4, PERIOD, 1 << bit),
            Aimed(6, CONTROL, SEND),
        ]
        for bit in range(5, 16)
        for colour, high in ((0, 1), (0xFF_FF_FF, 0x1_0000))
    ]
    gaps = [
        [Aimed(3, COUNT, 0), Aimed(4, PERIOD, 0x1_0000 << bit), Aimed(6, CONTROL, SEND)]
        for bit in range(5, 16)
    ]
    play(cases + gaps, 24)


def test_missed_is_cleared_by_its_one() -> None:
    """A clear of MISSED before, right after and long after its set, by lanes; BUSY stays."""
    cases = [
        [Aimed(6, CONTROL, SEND), Aimed(20, CONTROL, SEND), Aimed(cycle, STATUS, word, lanes)]
        for cycle in (19, 21, 30)
        for word, lanes in ((MISSED, 0b0001), (MISSED, 0b1110), (0xFFFF_FFFD, ALL))
    ]
    play(cases, 34)


def test_resets() -> None:
    """A reset of one or three cycles in every kind of cycle of two frames; a frame after it."""
    base = [
        Aimed(1, COLOUR, 0xFF_00_0F), Aimed(2, COLOUR + 4, 0x12_34_56), Aimed(3, COUNT, 2),
        Aimed(4, HIGH, 0x2_0001), Aimed(6, CONTROL, SEND | REPEAT), Aimed(9, CONTROL, SEND),
    ]  # fmt: skip
    cases = [
        Case([*base, Aimed(cycle + 6, CONTROL, SEND)], resets=[(cycle, length)])
        for length, cycles in ((1, (6, 7, 9, 55, 106)), (3, (2, 7, 8, 54, 105)))
        for cycle in cycles
    ]
    sender().play_each(cases, 120)


@pytest.mark.parametrize(
    ("count", "last", "lamps"),
    [
        (1, 6, []),
        (1, 7, [1]),
        (2, 54, [1]),
        (2, 55, [2]),
        (1, 57, [1]),
        (1, 58, [1, 1]),
    ],
)
def test_the_last_cycle(count: int, last: int, lamps: list[int]) -> None:
    """A run that ends around a first bit (7, 55, 58) has reported the same frames and lamps."""
    pair = sender(count=count)
    pair.play(Case([Aimed(6, CONTROL, SEND | REPEAT)]), last + 1)
    assert [len(one) for one in colours(pair)] == lamps


def test_holes_lanes_and_reserved_bits() -> None:
    """Ones to every word by every lane, read back in the next cycle, also outside the registers."""
    cases = [
        [Aimed(4, offset, 0xFFFF_FFFF, lanes), Aimed(5, offset), Aimed(6, STATUS)]
        for offset in (0, 4, 8, 0xC, 0x10, 0x14, 0xFC, 0x100, 0x104, 0x108, 0xFFC)
        for lanes in (0, 1, 2, 4, 8, ALL)
    ]
    play(cases, 8)


def _due(model: Any, cycle: int) -> list[int | None]:
    idle = model.sender.idle_from
    return [model.sender.due(cycle), idle if idle > cycle else None]


def _access(dice: random.Random, cycle: int) -> Aimed:
    offset = dice.choice([CONTROL, CONTROL, STATUS, COUNT, HIGH, PERIOD, *range(0x100, 0x110, 4)])
    lanes = dice.choice([ALL, ALL, 1, dice.randrange(16)])
    if dice.random() < 0.2:
        return Aimed(cycle, offset, lanes=lanes)
    data = dice.getrandbits(32)
    if offset in (HIGH, PERIOD):
        data = dice.choice([0, 1, 1, 2, 3]) << 16 | dice.choice([0, 1, 1, 2])
    elif offset == COUNT:
        data = dice.choice([0, 1, 1, 2, 3, 4, data])
    elif offset == CONTROL:
        data = dice.choice([SEND, SEND | REPEAT, SEND | REPEAT, REPEAT, 0, data])
    return Aimed(cycle, offset, data, lanes)


@pytest.mark.parametrize("channels", [3, 4])
def test_random_traffic(channels: int) -> None:
    """Some hundred accesses, a third of them within two cycles of a lamp's first bit or a frame's
    end.
    """
    dice = random.Random(f"pulse_led {channels}")
    keys = {"lamps": 3, "channels": channels}
    case, near = diced(sender(**keys), dice, 1400, _due, _access)
    assert len(case.accesses) > 100
    assert near > 1 / 3
    pair = sender(**keys)
    pair.play(case, 1400)
    assert set(kinds(pair)) >= {"frame", "frame-empty", "frame-missed", "count-clipped"}


def test_it_converts() -> None:
    """The twin becomes a netlist, for one lamp and for 1000."""
    for lamps in (1, 1000):
        twin = PulseLedHardware(
            Site("dev", 0, 0x2000, 16_000_000),
            lamps=lamps, channels=3, order=None, count=1, high=0, period=0,
        )  # fmt: skip
        assert "memory" in rtlil.convert(twin, emit_src=False)
