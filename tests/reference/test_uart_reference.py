"""The serial port against published divisor tables, and its frame bit by bit.

Sources: datasheet SLLS177I, tables 7-9 and 7-10 (divisor = clock / (16 x baud), nearest); reference
manual RM0390, table 149 (16 MHz, in sixteenths); 8N1 (start 0, eight data bits least significant
first, stop 1, idle 1: ten bit times): common practice. The port's DIVISOR counts clocks per bit,
which is the tables' divisor x 16.
"""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from busbox.bench.bench import Bench
from busbox.cpu import Bus
from busbox.cpu.steps import Poll, Step
from busbox.recording import Recording
from tests.reference.ports import bench_of, read, run, write

DATA, STATUS, DIVISOR = 0x1000, 0x1004, 0x1008
TX_ROOM, TX_BUSY = 1, 2

#: Baud, divisor, and the printed error in per cent (0 where the table prints none).
TABLE_7_9 = (
    (50, 2304, 0), (75, 1536, 0), (110, 1047, 0.026), (134.5, 857, 0.058), (150, 768, 0),
    (300, 384, 0), (600, 192, 0), (1200, 96, 0), (1800, 64, 0), (2000, 58, 0.69), (2400, 48, 0),
    (3600, 32, 0), (4800, 24, 0), (7200, 16, 0), (9600, 12, 0), (19200, 6, 0), (38400, 3, 0),
    (56000, 2, 2.86),
)  # fmt: skip
TABLE_7_10 = (
    (50, 3840, 0), (75, 2560, 0), (110, 1745, 0.026), (134.5, 1428, 0.034), (150, 1280, 0),
    (300, 640, 0), (600, 320, 0), (1200, 160, 0), (1800, 107, 0.312), (2000, 96, 0),
    (2400, 80, 0), (3600, 53, 0.629), (4800, 40, 0), (7200, 27, 1.23), (9600, 20, 0),
    (19200, 10, 0), (38400, 5, 0),
)  # fmt: skip
CLOCK_7_9, CLOCK_7_10 = 1_843_200, 3_072_000

#: RM0390, table 149: baud, divisor in sixteenths of a whole, error in per cent; 16 MHz.
TABLE_149 = (
    (1_200, 833.3125, 0), (2_400, 416.6875, 0), (9_600, 104.1875, 0.02), (19_200, 52.0625, 0.04),
    (38_400, 26.0625, 0.08), (57_600, 17.375, 0.08), (115_200, 8.6875, 0.08),
    (230_400, 4.3125, 0.64), (460_800, 2.1875, 0.79), (921_600, 1.0625, 2.12),
)  # fmt: skip


def nearest_divisor(clock_hz: int, baud: float, parts: int) -> int:
    """Return the whole number nearest to clock / (parts x baud)."""
    return int(Fraction(clock_hz) / (parts * Fraction(baud)) + Fraction(1, 2))


def error(clock_hz: int, baud: float, clocks: int) -> float:
    """Return by how many per cent the bit rate of ``clocks`` clocks per bit is off."""
    return abs(float(Fraction(clock_hz, clocks) / Fraction(baud) - 1)) * 100


def sent(
    clock_hz: int, values: bytes, divisor: int | None = None, setting: int | None = None
) -> Recording:
    """Send bytes in a row and return the recording.

    ``divisor`` is written to DIVISOR first; ``setting`` is the slot's setting.
    """
    slot: dict[str, Any] = {"model": "uart", "base": 0x1000, "size": 0x100, "wait": 0}
    steps: list[Step] = [] if divisor is None else [write(DIVISOR, divisor)]
    for value in values:
        steps += [Poll(STATUS, TX_ROOM, TX_ROOM), write(DATA, value)]
    if setting is not None:
        slot["divisor"] = setting
    return run(bench_of({"telegraph": slot}, steps, clock=f"{clock_hz} Hz"))


def edges(recording: Recording) -> list[tuple[int, int]]:
    """Return (cycle, level) of every edge of the line; the first is cycle 0."""
    cycles, levels = recording.edges("telegraph.tx")
    return list(zip(cycles.tolist(), levels.tolist(), strict=True))


def level(history: list[tuple[int, int]], cycle: int) -> int:
    """Return the level of a line in a cycle."""
    return [value for start, value in history if start <= cycle][-1]


def bit_times(recording: Recording) -> set[int]:
    """Return the distances of the line's edges after the first fall."""
    cycles = [cycle for cycle, _ in edges(recording)][1:]
    return {second - first for first, second in pairwise(cycles)}


@pytest.mark.parametrize(
    ("clock_hz", "table"), [(CLOCK_7_9, TABLE_7_9), (CLOCK_7_10, TABLE_7_10)], ids=["7-9", "7-10"]
)
def test_the_function_that_drives_these_benches_gives_the_tables(
    clock_hz: int, table: tuple[tuple[float, int, float], ...]
) -> None:
    """The nearest divisor and its error are those printed, in every row of the tables."""
    # Datasheet SLLS177I, tables 7-9 and 7-10 (0.628 is printed for 3600 baud, 0.629 computed).
    for baud, divisor, off in table:
        assert nearest_divisor(clock_hz, baud, 16) == divisor
        assert error(clock_hz, baud, 16 * divisor) == pytest.approx(off, abs=0.006)


#: Cycles that are run: bits short enough to take seconds. 0x55 has an edge at every bit.
RUN_7_9 = [(CLOCK_7_9, *cycle) for cycle in TABLE_7_9 if cycle[1] <= 24]
RUN_7_10 = [(CLOCK_7_10, *cycle) for cycle in TABLE_7_10 if cycle[1] <= 27]


@pytest.mark.parametrize(("clock_hz", "baud", "divisor", "off"), RUN_7_9 + RUN_7_10)
def test_a_bit_is_sixteen_divisors_long(
    clock_hz: int, baud: float, divisor: int, off: float
) -> None:
    """With DIVISOR = 16 x the table's divisor a bit on the line is that many clocks, exactly."""
    # Datasheet SLLS177I, tables 7-9 and 7-10.
    clocks = 16 * nearest_divisor(clock_hz, baud, 16)
    recording = sent(clock_hz, b"U", divisor=clocks)
    assert bit_times(recording) == {16 * divisor}
    (bit,) = bit_times(recording)
    assert error(clock_hz, baud, bit) == pytest.approx(off, abs=0.006)
    assert recording.texts["telegraph"] == "U"
    # Nearest: with one more or one less the rate is not better.
    assert error(clock_hz, baud, bit) <= error(clock_hz, baud, bit + 16)
    assert error(clock_hz, baud, bit) <= error(clock_hz, baud, bit - 16)


@pytest.mark.parametrize(("baud", "value", "off"), TABLE_149)
def test_the_table_in_sixteenths_is_clocks_per_bit(baud: int, value: float, off: float) -> None:
    """With the table's value x 16 as the setting, a bit takes that many clocks of 16 MHz."""
    # Reference manual RM0390, table 149; 139 clocks for 115200 baud.
    clocks = int(value * 16)
    assert clocks == value * 16
    assert nearest_divisor(16_000_000, baud, 1) == clocks
    assert error(16_000_000, baud, clocks) == pytest.approx(off, abs=0.006)
    if baud == 115_200:
        assert clocks == 139
    if clocks < 500:
        assert bit_times(sent(16_000_000, b"U", setting=clocks)) == {clocks}


@pytest.mark.parametrize(
    ("clock_hz", "clocks"),
    [
        (16_000_000, 139),  # RM0390, table 149: 8.6875 x 16
        (CLOCK_7_9, 16),  # SLLS177I: 1.8432 MHz / 115200
        (CLOCK_7_10, 27),  # 26.67 (C)
        (12_000_000, 104),  # 104.17 (C)
        (25_000_000, 217),  # 217.01 (C)
        (115_200, 1),
        (172_799, 1),  # just below one and a half (C)
        (172_801, 2),  # just above (C)
        (1_000, 1),  # never 0 (C)
    ],
)
def test_the_default_divisor_is_the_nearest_for_115200_baud(clock_hz: int, clocks: int) -> None:
    """Without a setting DIVISOR resets to the whole number nearest to clock / 115200."""
    # Divisor = clock / baud, nearest: datasheet SLLS177I (there in sixteenths); C = computed.
    assert max(1, nearest_divisor(clock_hz, 115_200, 1)) == clocks
    recording = sent(clock_hz, b"U")
    assert bit_times(recording) == {clocks}
    assert recording.registers["telegraph"]["DIVISOR"] == clocks


#: Frames by hand: start, eight data bits least significant first, stop.
FRAMES = {
    0x00: "0" "00000000" "1",
    0xFF: "0" "11111111" "1",
    0x55: "0" "10101010" "1",
    0xA5: "0" "10100101" "1",
    0x41: "0" "10000010" "1",  # 'A'
    0x01: "0" "10000000" "1",
    0x80: "0" "00000001" "1",
}  # fmt: skip


@pytest.mark.parametrize("clocks", [1, 2, 3, 139])
@pytest.mark.parametrize("byte", FRAMES, ids=hex)
def test_a_frame_is_ten_bit_times_least_significant_first(byte: int, clocks: int) -> None:
    """Every cycle's level, from idle to idle, is that of the frame written out by hand."""
    # 8N1, ten bit times: common practice.
    recording = sent(16_000_000, bytes([byte]), setting=clocks)
    history = edges(recording)
    fall = int(recording.accesses.end[-1]) + 2
    assert history[:2] == [(0, 1), (fall, 0)]
    for number, bit in enumerate(FRAMES[byte]):
        first = fall + number * clocks
        for cycle in (first, first + (clocks - 1) // 2, first + clocks - 1):
            assert level(history, cycle) == int(bit)
    for cycle in (fall - 1, fall + 10 * clocks, fall + 20 * clocks):
        assert level(history, cycle) == 1
    assert len(history) == 1 + sum(a != b for a, b in pairwise("1" + FRAMES[byte]))
    assert recording.characters["telegraph"].cycles.tolist() == [fall + 10 * clocks - 1]
    # The run is over in the first cycle without TX_BUSY, the one after the stop bit.
    assert recording.cycles == fall + 10 * clocks + 1


@pytest.mark.parametrize("clocks", [1, 5, 139])
def test_busy_covers_ten_bit_times(clocks: int) -> None:
    """TX_BUSY reads 1 from the cycle after the write to the last cycle of the stop bit."""
    # Ten bit times: common practice. The write ends in cycle 1, so the line falls in cycle 3.
    slot = {"model": "uart", "base": 0x1000, "size": 0x100, "wait": 0, "divisor": clocks}
    last = 3 + 10 * clocks - 1
    steps = [write(DATA, 0x41), read(STATUS), read(STATUS, wait=last - 3), read(STATUS)]
    recording = run(bench_of({"telegraph": slot}, steps))
    assert recording.accesses.end.tolist() == [1, 2, last, last + 1]
    busy = [word & TX_BUSY for word in recording.accesses.data[1:].tolist()]
    assert busy == [TX_BUSY, TX_BUSY, 0]


def decoded(history: list[tuple[int, int]], clocks: int, end: int) -> bytes:
    """Read the bytes off a line by sampling the middle of each bit; needs edges and bit time only."""
    found, cycle = bytearray(), 0
    falls = [fall for fall, value in history if value == 0]
    while True:
        start = next((fall for fall in falls if fall >= cycle), None)
        if start is None or start + 10 * clocks > end:
            return bytes(found)
        samples = [level(history, start + n * clocks + clocks // 2) for n in range(10)]
        assert (samples[0], samples[9]) == (0, 1)
        found.append(sum(bit << n for n, bit in enumerate(samples[1:9])))
        cycle = start + 10 * clocks


@pytest.mark.parametrize(
    ("clocks", "text"),
    [(clocks, b"lever 4 pulled\n\x00\xff") for clocks in (1, 2, 7, 16)] + [(139, b"ok\n")],
)
def test_text_is_read_back_from_the_line(clocks: int, text: bytes) -> None:
    """A decoder that samples at mid-bit reads the text that was written, bytes back to back."""
    # 8N1: common practice.
    recording = sent(16_000_000, text, setting=clocks)
    history = edges(recording)
    assert decoded(history, clocks, recording.cycles) == text
    assert recording.characters["telegraph"].bytes.tolist() == list(text)
    if clocks > 2:  # with a bit of one or two clocks the CPU is slower than the line
        ends = recording.characters["telegraph"].cycles.tolist()
        assert {second - first for first, second in pairwise(ends)} == {10 * clocks}


@settings(
    max_examples=15,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.function_scoped_fixture],
)
@given(
    values=st.binary(min_size=1, max_size=12),
    clocks=st.integers(1, 20),
    pauses=st.lists(st.integers(0, 60), min_size=12, max_size=12),
)
def test_any_bytes_with_any_pauses_are_read_back(
    values: bytes, clocks: int, pauses: list[int]
) -> None:
    """Whatever bytes firmware writes, and when, the decoder at mid-bit reads the same."""

    # 8N1: common practice.
    def firmware(bus: Bus) -> None:
        for value, pause in zip(values, pauses, strict=False):
            bus.pause(pause)
            bus.poll("telegraph.STATUS", TX_ROOM, mask=TX_ROOM)
            bus.write("telegraph.DATA", value)

    slot = {"model": "uart", "base": 0x1000, "size": 0x100, "divisor": clocks}
    recording = run(Bench({"clock": "16 MHz", "slot": {"telegraph": slot}, "traffic": firmware}))
    assert decoded(edges(recording), clocks, recording.cycles) == values
