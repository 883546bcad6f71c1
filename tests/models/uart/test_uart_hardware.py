"""The twin of the serial port: in every cycle what the model is, at every boundary of its pages.

D clocks a bit; a byte written in e = 6 from idle falls in cycle 8, and a line that falls in cycle
10 has its stop sample in q = 12 + D // 2 + 9 D.
"""

from __future__ import annotations

import random
from typing import Any

import pytest
from amaranth.back import rtlil

from busbox.device import Site
from busbox.models.uart import Uart
from busbox.models.uart.hardware import UartHardware
from tests.models.hardware_harness import ALL, Aimed, Case, Pair, diced

DATA, STATUS, DIVISOR, INTERRUPT = 0x00, 0x04, 0x08, 0x0C


def port(divisor: int = 2) -> Pair:
    """Return a serial port and its twin."""
    return Pair(Uart, size=0x1000, divisor=divisor)


def play(cases: list[Case], cycles: int, divisor: int = 2) -> Pair:
    """Play the cases one after the other, and compare."""
    pair = port(divisor)
    pair.play_each(cases, cycles)
    return pair


def line(first: int, clocks: int, byte: int, stop: int = 1) -> dict[int, int]:
    """Return the levels, by cycle, of a byte whose start bit is in the cycles ``first`` ..; then 1."""
    bits = [byte << 1 >> place & 1 for place in range(9)] + [stop, 1]
    return {first + place * clocks: level for place, level in enumerate(bits)}


def rx(levels: dict[int, int]) -> list[tuple[int, str, int]]:
    """Return levels as those of rx."""
    return [(cycle, "rx", level) for cycle, level in levels.items()]


#: Two bytes with D = 2: q = 31 and 51.
TWO = rx(line(10, 2, 0x41) | line(30, 2, 0x42))


@pytest.mark.parametrize("divisor", [1, 2, 7])
def test_a_byte_alone(divisor: int) -> None:
    """Bytes from idle, with and without lane 0: line, text, STATUS in every cycle, and rest."""
    cases = [
        Case([Aimed(6, DATA, byte | 0x1234_5600, lanes)])
        for byte in (0x00, 0x01, 0x80, 0x55, 0xFF)
        for lanes in (0b0001, ALL, 0b1110)
    ]
    assert play(cases, 10 + 10 * divisor, divisor).hosts[1].text().bytes.tolist() == [
        byte for byte in (0x00, 0x01, 0x80, 0x55, 0xFF) for _ in range(2)
    ]


def test_a_second_and_a_third_byte_around_every_take() -> None:
    """D = 2: bytes put in the cycles 7 to 30, the take in 27 included, are held, sent or lost alike."""
    second = [Case([Aimed(6, DATA, 0x41), Aimed(cycle, DATA, 0x0F)]) for cycle in range(7, 31)]
    third = [
        Case([Aimed(6, DATA, 1), Aimed(12, DATA, 2), Aimed(cycle, DATA, 0xC3)])
        for cycle in (13, 26, 27, 28, 29, 47, 48, 49)
    ]
    pair = play(second + third, 75)
    lost = [event.kind for event in pair.hosts[1].events]
    assert lost == ["byte-lost"] * (1 + 3)


def test_divisor_around_the_take() -> None:
    """DIVISOR (0, 1, 5) written around the takes in 7 and 27 counts for the same byte, by lanes."""
    cases = [
        Case([Aimed(6, DATA, 0xA5), Aimed(12, DATA, 0x3C), Aimed(cycle, DIVISOR, value, lanes)])
        for cycle in (5, 7, 8, 25, 26, 27, 28, 29)
        for value, lanes in ((5, ALL), (0, 0b0001), (0xFFFF_FF01, 0b1101))
    ]
    play(cases, 82)


def test_long_divisors() -> None:
    """Each bit of DIVISOR alone, from 32 on: the fall, and no start check, where they would be."""
    cases = [
        Case([Aimed(2, DIVISOR, 1 << bit), Aimed(6, DATA, 0xFF)], rx({10: 0, 24: 1}))
        for bit in range(5, 16)
    ]
    play(cases, 50)
    play([Case([Aimed(4, DIVISOR, 0x104), Aimed(6, DATA, 0xFF)])], 300)


def test_flags_set_and_cleared_in_the_same_cycle() -> None:
    """A clear of each flag before, in and after the cycle of its set, by lanes; the set wins."""
    full = [Aimed(6, DATA, 1), Aimed(12, DATA, 2), Aimed(16, DATA, 3)]
    cases = [
        Case([*full, Aimed(cycle, STATUS, data, lanes)])
        for cycle in (15, 17, 18, 30)
        for data, lanes in ((0x20, 1), (0x20, 0b1110), (0xFFFF_FFDF, ALL))
    ]
    for cycle in (30, 31, 32, 50, 51, 52):  # q = 31 and 51
        cases.append(Case([Aimed(cycle, STATUS, 0x10)], rx(line(10, 2, 0x41, 0))))
        cases.append(Case([Aimed(cycle, STATUS, 0x08)], TWO))
    kinds = [event.kind for event in play(cases, 70).hosts[1].events]
    assert {kinds.count(kind) for kind in ("byte-lost", "framing", "rx-lost")} == {12, 6}


def with_glitch(levels: dict[int, int], cycle: int) -> dict[int, int]:
    """Return the levels with the one cycle ``cycle`` inverted."""
    level = [1, *(level for at, level in sorted(levels.items()) if at <= cycle)][-1]
    return {cycle + 1: level, **levels, cycle: 1 - level}


@pytest.mark.parametrize("divisor", [1, 2, 3, 16])
def test_bytes_received(divisor: int) -> None:
    """Bytes with and without a stop bit, a glitch in or beside each sample, false starts, a fall anew.

    The sample of place k is of the level in cycle 10 + D // 2 + k D, two cycles before its own.
    """
    byte = line(10, divisor, 0x5A)
    samples = [10 + divisor // 2 + place * divisor for place in (0, 1, 8, 9)]
    cases = [line(10, divisor, word, stop) for word in (0x41, 0xFF) for stop in (0, 1)]
    cases += [with_glitch(byte, cycle + beside) for cycle in samples for beside in (-1, 0, 1)]
    full = line(10, divisor, 0xFF)
    cases += [{**full, samples[-1] + beside: 0} for beside in (-1, 0, 1, 2)]
    lows = {1, divisor // 2, divisor // 2 + 1, divisor, divisor + 1} - {0}
    cases += [{10: 0, 10 + low: 1} for low in sorted(lows)]
    writes = [Aimed(3, INTERRUPT, 2)]
    play([Case(writes, rx(levels)) for levels in cases], 20 + 11 * divisor, divisor)


def test_reads_around_the_stop_sample() -> None:
    """Two bytes, q = 31 and 51; DATA is read in every cycle around them, with and without lane 0."""
    rest = [Aimed(3, INTERRUPT, 2), Aimed(60, DATA), Aimed(63, DATA)]
    cases = [
        Case([*rest, Aimed(cycle, DATA, lanes=lanes)], TWO)
        for cycle in (29, 31, 33, 40, 49, 50, 51, 52, 53)
        for lanes in (1, 0b1110)
    ]
    play(cases, 66)


def test_the_interrupt_and_its_causes() -> None:
    """INTERRUPT written, DATA written and read around a take in 27 and q = 31: pin and causes."""
    cases = [
        Case([Aimed(3, INTERRUPT, word), Aimed(6, DATA, 1), Aimed(9, DATA, 2), last], TWO)
        for word in (1, 2, 3)
        for cycle in (26, 27, 28, 31, 51)
        for last in (
            Aimed(cycle, INTERRUPT, 3 - word),
            Aimed(cycle, INTERRUPT, 3, 0b1110),
            Aimed(cycle, DATA, 3),
            Aimed(cycle, DATA),
        )
    ]
    play(cases, 56)


def test_resets() -> None:
    """A reset of one or three cycles in every cycle of two bytes each way; rx low when it ends."""
    accesses = [
        Aimed(3, INTERRUPT, 3), Aimed(6, DATA, 0), Aimed(9, DATA, 0x42), Aimed(40, DATA, 0x99)
    ]  # fmt: skip
    cases = [
        Case(accesses, rx(line(10, 2, 0x0F)), [(cycle, length)])
        for cycle in (6, 7, 8, 9, 11, 12, 13, 20, 26, 27, 28, 30, 31, 32)
        for length in (1, 3)
    ]
    for low in (19, 20, 21, 22, 23):  # gone before the reset ends, in 23, or there
        for high in (22, 23, 24, 45):
            if low < high:
                cases.append(Case((), rx({low: 0, high: 1}), [(20, 3)]))
    play(cases, 70)


@pytest.mark.parametrize("last", [26, 27, 30, 31, 32])
def test_the_last_cycle(last: int) -> None:
    """A run that ends around a last stop cycle (27) and a stop sample (31) has reported the same."""
    pair = port()
    pair.play(Case([Aimed(6, DATA, 0x41)], rx(line(10, 2, 0, 0))), last + 1)
    assert len(pair.hosts[1].events) == (last >= 31)
    assert len(pair.hosts[1].text().bytes) == (last >= 27)


def test_holes_and_reserved_bits() -> None:
    """Ones to every word, read back in the next cycles, also outside the registers."""
    cases = [
        Case([Aimed(4, offset, 0xFFFF_FFFF), Aimed(5, offset), Aimed(6, STATUS)])
        for offset in (0, 4, 8, 0xC, 0x10, 0xFFC)
    ]
    play(cases, 10)


class _Line:
    """Random levels of rx: bytes at the clocks of DIVISOR, now and then spoiled, and noise."""

    def __init__(self) -> None:
        self.ahead: dict[int, int] = {}
        self.idle_from = 3

    def __call__(self, dice: random.Random, cycle: int) -> tuple[tuple[str, int], ...]:
        """Return the levels that begin in a cycle."""
        if cycle >= self.idle_from and dice.random() < 0.1:
            clocks = dice.choice([1, 2, 3, 4])
            stop = int(dice.random() < 0.8)
            self.ahead.update(line(cycle, clocks, dice.getrandbits(8), stop))
            self.idle_from = cycle + 10 * clocks + dice.choice([0, 0, 1, 3])
            if dice.random() < 0.1:
                self.ahead[dice.randrange(cycle, self.idle_from)] = dice.randrange(2)
        level = self.ahead.pop(cycle, None)
        return () if level is None else (("rx", level),)


def _due(model: Any, cycle: int) -> list[int | None]:
    rest = model.sender.rest_at(cycle)
    return [model.sender.due(), rest if rest > cycle else None, model.receiver.due()]


def _access(dice: random.Random, cycle: int) -> Aimed:
    offset = dice.choice([DATA, DATA, DATA, STATUS, DIVISOR, INTERRUPT, 0x10])
    lanes = dice.choice([ALL, ALL, 1, dice.randrange(16)])
    if dice.random() < 0.35:
        return Aimed(cycle, offset, lanes=lanes)
    small = dice.choice([0, 1, 2, 2, 3, 4])
    return Aimed(cycle, offset, small if offset == DIVISOR else dice.getrandbits(32), lanes)


@pytest.mark.parametrize("seed", range(2))
def test_random_traffic(seed: int) -> None:
    """Some hundred accesses, a third of them within two cycles of a take, an end or a sample."""
    dice = random.Random(f"uart {seed}")
    case, near = diced(port(), dice, 1500, _due, _access, _Line())
    assert len(case.accesses) > 200
    assert near > 0.2
    pair = port()
    pair.play(case, 1500)
    assert len(pair.hosts[1].text().bytes) > 10
    kinds = {event.kind for event in pair.hosts[1].events}
    assert kinds == {"byte-lost", "framing", "rx-lost"}


def test_the_default_divisor_is_that_of_the_clock() -> None:
    """Without the setting, 16 MHz gives 139, in the model and in the twin, after a reset too."""
    cases = [Case([Aimed(1, DIVISOR), Aimed(3, DIVISOR, 5)]), Case([Aimed(3, DIVISOR)])]
    assert Pair(Uart, size=0x1000).play_each(cases, 6) == [139, 139]


def test_it_converts() -> None:
    """The twin becomes a netlist."""
    twin = UartHardware(Site("dev", 0, 0x1000, 16_000_000), divisor=2, baud=None)
    assert "module" in rtlil.convert(twin, emit_src=False)
