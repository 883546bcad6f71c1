"""The twin of the serial port: in every row what the model is, at every boundary of its pages.

D clocks a bit; a byte written in e = 6 from idle falls in row 8, and a line that falls in row 10 has
its stop sample in q = 12 + D // 2 + 9 D.
"""

from __future__ import annotations

import random
from typing import Any

import pytest
from amaranth.back import rtlil

from busbox.device import Site
from busbox.models.uart import Uart
from busbox.models.uart.hardware import UartHardware
from tests.models.hardware_harness_serial import (
    ALL,
    Dice,
    Lockstep,
    Row,
    chain,
    merged,
    read,
    write,
)

DATA, STATUS, DIVISOR, INTERRUPT = 0x00, 0x04, 0x08, 0x0C


def play(cases: list[dict[int, Row]], rows: int, divisor: int = 2) -> Lockstep:
    """Play the cases one after the other, and compare."""
    lockstep = Lockstep(Uart, divisor=divisor)
    lockstep.play(*chain(cases, rows))
    return lockstep


def line(first: int, clocks: int, byte: int, stop: int = 1) -> dict[int, Row]:
    """Return the rows of a byte on rx whose start bit is in the rows ``first`` ..; then 1."""
    bits = [byte << 1 >> place & 1 for place in range(9)] + [stop, 1]
    return {
        first + place * clocks: Row(inputs=(("rx", level),)) for place, level in enumerate(bits)
    }


def rx(row: int, level: int) -> dict[int, Row]:
    """Return a level of rx from a row on."""
    return {row: Row(inputs=(("rx", level),))}


@pytest.mark.parametrize("divisor", [1, 2, 7])
def test_a_byte_alone(divisor: int) -> None:
    """Bytes from idle, with and without lane 0: line, text, STATUS in every row, and rest."""
    cases = [
        {6: write(DATA, byte | 0x1234_5600, lanes)}
        for byte in (0x00, 0x01, 0x80, 0x55, 0xFF)
        for lanes in (0b0001, ALL, 0b1110)
    ]
    assert play(cases, 10 + 10 * divisor, divisor).hosts[1].text().bytes.tolist() == [
        byte for byte in (0x00, 0x01, 0x80, 0x55, 0xFF) for _ in range(2)
    ]


def test_a_second_and_a_third_byte_around_every_take() -> None:
    """D = 2: bytes put in the rows 7 to 30, the take in 27 included, are held, sent or lost alike."""
    second = [{6: write(DATA, 0x41), row: write(DATA, 0x0F)} for row in range(7, 31)]
    third = [
        {6: write(DATA, 1), 12: write(DATA, 2), row: write(DATA, 0xC3)}
        for row in (13, 26, 27, 28, 29, 47, 48, 49)
    ]
    lockstep = play(second + third, 75)
    lost = [event.kind for event in lockstep.hosts[1].events]
    assert lost == ["byte-lost"] * (1 + 3)


def test_divisor_around_the_take() -> None:
    """DIVISOR (0, 1, 5) written around the takes in 7 and 27 counts for the same byte, by lanes."""
    cases = [
        {6: write(DATA, 0xA5), 12: write(DATA, 0x3C), row: write(DIVISOR, value, lanes)}
        for row in (5, 7, 8, 25, 26, 27, 28, 29)
        for value, lanes in ((5, ALL), (0, 0b0001), (0xFFFF_FF01, 0b1101))
    ]
    play(cases, 82)


def test_long_divisors() -> None:
    """Each bit of DIVISOR alone, from 32 on: the fall, and no start check, where they would be."""
    cases: list[dict[int, Row]] = [
        {2: write(DIVISOR, 1 << bit), 6: write(DATA, 0xFF), **rx(10, 0), **rx(24, 1)}
        for bit in range(5, 16)
    ]
    play(cases, 50)
    play([{4: write(DIVISOR, 0x104), 6: write(DATA, 0xFF)}], 300)


def test_flags_set_and_cleared_in_the_same_row() -> None:
    """A clear of each flag before, in and after the row of its set, by lanes; the set wins."""
    full = {6: write(DATA, 1), 12: write(DATA, 2), 16: write(DATA, 3)}
    cases = [
        merged(full, {row: write(STATUS, data, lanes)})
        for row in (15, 17, 18, 30)
        for data, lanes in ((0x20, 1), (0x20, 0b1110), (0xFFFF_FFDF, ALL))
    ]
    for row in (30, 31, 32, 50, 51, 52):  # q = 31 and 51
        cases.append(merged(line(10, 2, 0x41, 0), {row: write(STATUS, 0x10)}))
        two = merged(line(10, 2, 0x41), line(30, 2, 0x42))
        cases.append(merged(two, {row: write(STATUS, 0x08)}))
    kinds = [event.kind for event in play(cases, 70).hosts[1].events]
    assert {kinds.count(kind) for kind in ("byte-lost", "framing", "rx-lost")} == {12, 6}


def with_glitch(levels: dict[int, Row], row: int) -> dict[int, Row]:
    """Return the levels with the one row ``row`` inverted."""
    level = [1, *(what.inputs[0][1] for at, what in sorted(levels.items()) if at <= row)][-1]
    return {**rx(row + 1, level), **levels, **rx(row, 1 - level)}


@pytest.mark.parametrize("divisor", [1, 2, 3, 16])
def test_bytes_received(divisor: int) -> None:
    """Bytes with and without a stop bit, a glitch in or beside each sample, false starts, a fall anew.

    The sample of place k is of the level in row 10 + D // 2 + k D, two rows before its own.
    """
    byte = line(10, divisor, 0x5A)
    samples = [10 + divisor // 2 + place * divisor for place in (0, 1, 8, 9)]
    cases = [line(10, divisor, word, stop) for word in (0x41, 0xFF) for stop in (0, 1)]
    cases += [with_glitch(byte, row + beside) for row in samples for beside in (-1, 0, 1)]
    full = line(10, divisor, 0xFF)
    cases += [{**full, **rx(samples[-1] + beside, 0)} for beside in (-1, 0, 1, 2)]
    lows = {1, divisor // 2, divisor // 2 + 1, divisor, divisor + 1} - {0}
    cases += [{**rx(10, 0), **rx(10 + low, 1)} for low in sorted(lows)]
    play([{3: write(INTERRUPT, 2), **case} for case in cases], 20 + 11 * divisor, divisor)


def test_reads_around_the_stop_sample() -> None:
    """Two bytes, q = 31 and 51; DATA is read in every row around them, with and without lane 0."""
    two = merged(line(10, 2, 0x41), line(30, 2, 0x42), {3: write(INTERRUPT, 2)})
    cases = [
        merged(two, {row: read(DATA, lanes), 60: read(DATA), 63: read(DATA)})
        for row in (29, 31, 33, 40, 49, 50, 51, 52, 53)
        for lanes in (1, 0b1110)
        if row not in two
    ]
    play(cases, 66)


def test_the_interrupt_and_its_causes() -> None:
    """INTERRUPT written, DATA written and read around a take in 27 and q = 31: pin and causes."""
    base = merged(line(10, 2, 0x41), line(30, 2, 0x42), {6: write(DATA, 1), 9: write(DATA, 2)})
    cases = [
        merged(base, {3: write(INTERRUPT, word)}, {row: what})
        for word in (1, 2, 3)
        for row in (26, 27, 28, 31, 51)
        for what in (
            write(INTERRUPT, 3 - word), write(INTERRUPT, 3, 0b1110), write(DATA, 3), read(DATA)
        )
        if row not in base or base[row].access is None
    ]  # fmt: skip
    play(cases, 56)


def test_resets() -> None:
    """A reset of one or three rows in every row of two bytes each way; rx low when it ends."""
    base = merged(
        line(10, 2, 0x0F), {3: write(INTERRUPT, 3), 6: write(DATA, 0), 9: write(DATA, 0x42)}
    )
    cases = [
        merged(base, {row: Row(reset=length)}, {40: write(DATA, 0x99)})
        for row in (6, 7, 8, 9, 11, 12, 13, 20, 26, 27, 28, 30, 31, 32)
        for length in (1, 3)
    ]
    for low in (19, 20, 21, 22, 23):  # gone before the reset ends, in 23, or there
        for high in (22, 23, 24, 45):
            if low < high:
                cases.append(merged(rx(low, 0), rx(high, 1), {20: Row(reset=3)}))
    play(cases, 70)


@pytest.mark.parametrize("last", [26, 27, 30, 31, 32])
def test_the_last_row(last: int) -> None:
    """A run that ends around a last stop row (27) and a stop sample (31) has reported the same."""
    case = merged(line(10, 2, 0, 0), {6: write(DATA, 0x41)})
    lockstep = Lockstep(Uart, divisor=2)
    lockstep.play(lambda row, model: case.get(row, Row()), last + 1)
    assert len(lockstep.hosts[1].events) == (last >= 31)
    assert len(lockstep.hosts[1].text().bytes) == (last >= 27)


def test_holes_and_reserved_bits() -> None:
    """Ones to every word, read back in the next rows, also outside the registers."""
    cases = [
        {4: write(offset, 0xFFFF_FFFF), 5: read(offset), 6: read(STATUS)}
        for offset in (0, 4, 8, 0xC, 0x10, 0xFFC)
    ]
    play(cases, 10)


class _Line:
    """Random levels of rx: bytes at the clocks of DIVISOR, now and then spoiled, and noise."""

    def __init__(self) -> None:
        self.ahead: dict[int, int] = {}
        self.idle_from = 3

    def __call__(self, dice: random.Random, row: int) -> tuple[tuple[str, int], ...]:
        """Return the levels that begin in a row."""
        if row >= self.idle_from and dice.random() < 0.1:
            clocks = dice.choice([1, 2, 3, 4])
            stop = int(dice.random() < 0.8)
            for at, what in line(row, clocks, dice.getrandbits(8), stop).items():
                self.ahead[at] = what.inputs[0][1]
            self.idle_from = row + 10 * clocks + dice.choice([0, 0, 1, 3])
            if dice.random() < 0.1:
                self.ahead[dice.randrange(row, self.idle_from)] = dice.randrange(2)
        level = self.ahead.pop(row, None)
        return () if level is None else (("rx", level),)


def _due(model: Any, row: int) -> list[int | None]:
    rest = model.sender.rest_at(row)
    return [model.sender.due(), rest if rest > row else None, model.receiver.due()]


def _access(dice: random.Random) -> tuple[int, int | None, int]:
    offset = dice.choice([DATA, DATA, DATA, STATUS, DIVISOR, INTERRUPT, 0x10])
    lanes = dice.choice([ALL, ALL, 1, dice.randrange(16)])
    if dice.random() < 0.35:
        return offset, None, lanes
    small = dice.choice([0, 1, 2, 2, 3, 4])
    return offset, small if offset == DIVISOR else dice.getrandbits(32), lanes


@pytest.mark.parametrize("seed", range(2))
def test_random_traffic(seed: int) -> None:
    """Some hundred accesses, a third of them within two rows of a take, an end or a sample."""
    dice = Dice(f"uart {seed}", _due, _access, _Line())
    lockstep = Lockstep(Uart, divisor=2)
    lockstep.play(dice, 1500)
    assert dice.total > 200
    assert dice.near * 5 > dice.total
    assert len(lockstep.hosts[1].text().bytes) > 10
    kinds = {event.kind for event in lockstep.hosts[1].events}
    assert kinds == {"byte-lost", "framing", "rx-lost"}


def test_the_default_divisor_is_that_of_the_clock() -> None:
    """Without the setting, 16 MHz gives 139, in the model and in the twin, after a reset too."""
    lockstep = Lockstep(Uart)
    lockstep.play(*chain([{3: write(DIVISOR, 5)}, {3: read(DIVISOR)}], 6))


def test_it_converts() -> None:
    """The twin becomes a netlist."""
    twin = UartHardware(Site("dev", 0, 0x1000, 16_000_000), divisor=2, baud=None)
    assert "module" in rtlil.convert(twin, emit_src=False)
