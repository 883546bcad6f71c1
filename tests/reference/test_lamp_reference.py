"""The lamp string's line for the counts that are usual at 16 MHz, bit by bit.

Source, where no other is named: common practice, no source. At 16 MHz high times of 13 and 7
clocks, a bit of 20 clocks and a latch gap of 960 clocks: 812.5 and 437.5 ns, 1.25 us and 60 us; 24
bits a lamp, most significant bit first, green before red before blue.
"""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise
from typing import Any

import pytest

from busbox.cpu.steps import Poll, Step
from busbox.recording import Recording
from tests.reference.ports import bench_of, read, run, write

pytestmark = pytest.mark.quick

BASE = 0x2000
CONTROL, STATUS, COUNT, HIGH, PERIOD, COLOUR = (
    BASE + offset for offset in (0x00, 0x04, 0x08, 0x0C, 0x10, 0x100)
)
ZERO, ONE, BIT, GAP = 7, 13, 20, 960
NS = Fraction(10**9, 16_000_000)  # a clock of 16 MHz: 62.5 ns
BUSY = 1

#: Colours 0xRRGGBB with their bits, written out by hand: red, green, blue.
COLOURS = {
    0x000000: ("00000000", "00000000", "00000000"),
    0xFFFFFF: ("11111111", "11111111", "11111111"),
    0xFF0000: ("11111111", "00000000", "00000000"),
    0x00FF00: ("00000000", "11111111", "00000000"),
    0x0000FF: ("00000000", "00000000", "11111111"),
    0x8001FE: ("10000000", "00000001", "11111110"),
    0x12A57C: ("00010010", "10100101", "01111100"),
}
MIXED = 0x12A57C


def wire(colour: int, order: str) -> str:
    """Return the bits of a lamp in the order of the wire."""
    return "".join(COLOURS[colour]["RGB".index(channel)] for channel in order)


def bench_steps(colours: list[int], *more: Step) -> list[Step]:
    """Return steps that set everything up and send a frame."""
    return [
        write(COUNT, len(colours)),
        write(HIGH, ONE << 16 | ZERO),
        write(PERIOD, GAP << 16 | BIT),
        *(write(COLOUR + 4 * n, colour) for n, colour in enumerate(colours)),
        write(CONTROL, 1),
        *more,
    ]


def shown(colours: list[int], *more: Step, order: str | None = None) -> Recording:
    """Send a frame of colours at 16 MHz."""
    slot: dict[str, Any] = {"model": "pulse_led", "base": BASE, "size": 0x1000, "wait": 0}
    slot |= {"lamps": len(colours)} | ({"order": order} if order else {})
    return run(bench_of({"lamps": slot}, bench_steps(colours, *more)))


def send_end(recording: Recording) -> int:
    """Return the cycle in which the write of SEND ends."""
    (number,) = [n for n, a in enumerate(recording.accesses.address.tolist()) if a == CONTROL]
    return int(recording.accesses.end[number])


def pulses(recording: Recording) -> list[tuple[int, int]]:
    """Return (rise, fall) of every pulse of the line."""
    cycles, levels = recording.edges("lamps.line")
    assert levels.tolist() == [n % 2 for n in range(len(levels))]
    assert len(levels) % 2 == 1  # it begins and ends low
    moves = cycles.tolist()[1:]
    return list(zip(moves[::2], moves[1::2], strict=True))


def test_the_counts_are_the_times_of_common_practice() -> None:
    """13, 7 and 20 clocks and a gap of 960 on the line are 812.5, 437.5, 1250 ns and 60 us."""
    # At 16 MHz (common practice); 30 us a lamp plus the gap (document 104020171).
    after = Poll(STATUS, 0, BUSY)
    recording = shown([0x8001FE], after)
    found = pulses(recording)
    assert {(fall - rise) * NS for rise, fall in found} == {Fraction("812.5"), Fraction("437.5")}
    rises = [rise for rise, _ in found]
    assert {(b - a) * NS for a, b in pairwise(rises)} == {1250}
    lows = {(b[0] - a[1]) * NS for a, b in pairwise(found)}
    assert lows == {Fraction("812.5"), Fraction("437.5")}
    first = send_end(recording) + 1
    idle = int(recording.accesses.end[-1])  # the poll reads in every cycle
    assert (idle - first) * NS == 30_000 + 60_000
    # The last bit is a zero: 437.5 ns high, then low for the rest of its bit and the gap.
    assert (idle - found[-1][1]) * NS == Fraction("812.5") + 60_000


@pytest.mark.parametrize("colour", COLOURS, ids=hex)
def test_a_lamp_is_24_bits_green_red_blue_most_significant_first(colour: int) -> None:
    """Every bit of a lamp is a pulse at its place, 13 clocks long for a one and 7 for a zero."""
    # Common practice; bits by hand. GRB is the default.
    recording = shown([colour])
    first = send_end(recording) + 1
    bits = wire(colour, "GRB")
    assert len(bits) == 24
    assert pulses(recording) == [
        (first + BIT * n, first + BIT * n + (ONE if bit == "1" else ZERO))
        for n, bit in enumerate(bits)
    ]
    # Low after a one is 7 clocks, low after a zero is 13.
    found = pulses(recording)
    lows = [after[0] - before[1] for before, after in pairwise(found)]
    assert lows == [7 if bit == "1" else 13 for bit in bits[:-1]]


@pytest.mark.parametrize("order", ["RGB", "RBG", "GRB", "GBR", "BRG", "BGR"])
def test_the_order_of_the_colours_is_a_setting(order: str) -> None:
    """With every order the three bytes leave in that order, each most significant bit first."""
    # The colour order differs from part to part and is a setting (common practice).
    by_hand = {
        "RGB": "00010010" "10100101" "01111100",
        "RBG": "00010010" "01111100" "10100101",
        "GRB": "10100101" "00010010" "01111100",
        "GBR": "10100101" "01111100" "00010010",
        "BRG": "01111100" "00010010" "10100101",
        "BGR": "01111100" "10100101" "00010010",
    }[order]  # fmt: skip
    found = pulses(shown([MIXED], order=order))
    assert "".join("1" if fall - rise == ONE else "0" for rise, fall in found) == by_hand


@pytest.mark.parametrize("lamps", [1, 2, 3, 12])
def test_n_lamps_take_480_n_clocks_and_the_gap(lamps: int) -> None:
    """BUSY reads 1 from the cycle after SEND for 24 x 20 x n + 960 clocks, and then 0."""
    # Common practice; n lamps at 1.25 us a bit take 30 us each, plus the gap (document 104020171).
    length = 24 * 20 * lamps + 960
    more = (read(STATUS), read(STATUS, wait=length - 2), read(STATUS))
    colours = [list(COLOURS)[n % len(COLOURS)] for n in range(lamps)]
    recording = shown(colours, *more)
    end = send_end(recording)
    assert recording.accesses.end[-3:].tolist() == [end + 1, end + length, end + length + 1]
    assert recording.accesses.data[-3:].tolist() == [BUSY, BUSY, 0]
    assert length * NS == 30_000 * lamps + 60_000
    # The chain: lamp n's first bit is 24 x n bits after the first, its colour the n-th.
    found = pulses(recording)
    assert len(found) == 24 * lamps
    assert [found[24 * n][0] for n in range(lamps)] == [end + 1 + 480 * n for n in range(lamps)]
    bits = "".join("1" if fall - rise == ONE else "0" for rise, fall in found)
    assert bits == "".join(wire(colour, "GRB") for colour in colours)
    assert [frame.colours for frame in recording.frames["lamps"]] == [tuple(colours)]
    # Without a read the run ends in the first cycle that is not BUSY.
    assert shown(colours).cycles == end + length + 2


def test_busy_reads_1_in_every_cycle_of_a_frame() -> None:
    """A poll of STATUS in every cycle of a frame finds BUSY in all of them and in no other."""
    # 24 x 20 + 960 clocks for a lamp (common practice).
    recording = shown([0xFFFFFF], Poll(STATUS, 0, BUSY))
    words = recording.accesses.data[recording.accesses.address == STATUS].tolist()
    assert words == [BUSY] * 1440 + [0]


@pytest.mark.parametrize("late", [-1, 0, 1])
def test_a_frame_that_is_sent_in_the_gap_is_missed(late: int) -> None:
    """SEND in the last cycle of the gap is dropped, and in the cycle after it a frame starts."""
    # The latch gap belongs to a frame (common practice): 480 + 960 cycles from the cycle after SEND.
    recording = shown([0xFF0000], write(CONTROL, 1, wait=1440 - 1 + late))
    starts = [frame.cycle for frame in recording.frames["lamps"]]
    first = starts[0]
    missed = [event.cycle for event in recording.events if event.kind == "frame-missed"]
    if late <= 0:
        assert (starts, missed) == ([first], [first + 1439 + late])
        assert len(pulses(recording)) == 24
    else:
        assert (starts, missed) == ([first, first + 1441], [])
        gap = pulses(recording)[24][0] - pulses(recording)[23][1]
        assert gap == BIT - ZERO + GAP + 1
