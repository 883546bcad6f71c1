"""The serial receiver against published tolerances of a sender's rate.

Sources: Microchip online documentation, USART chapter, section "Error Tolerance" (formula in the data
sheets of the same family): receivers that take the majority of three mid-bit samples. Ideal mid-bit
sampling over 9.5 bits: 5.26 % in total (C), C = computed.

Our receiver takes one sample, in the middle of each bit, counted from the cycle of the fall. With
D = 16 its last sample is 8 + 9 x 16 = 152 cycles = 9.5 bits after the fall. A sender with bits of
B cycles is read if that cycle is in its stop bit: 9 B <= 152 < 10 B. So its rate, 16 / B, may be
from 9 / 9.5 to below 10 / 9.5 of ours: 94.74 % to 105.26 %. The earlier samples ask for less. No
row of the tables is ours: the one nearest to it (8 data bits, 16 samples a bit: 95.36 % to 104.58
%) allows for a fall that is seen up to a sixteenth of a bit late, and for the outer two of its
three samples. Ours must hold that cycle, and does.
"""

from __future__ import annotations

from fractions import Fraction
from typing import Any

import pytest

from busbox.bench.bench import Bench
from busbox.cpu import Bus
from busbox.recording import Recording
from tests.reference.ports import run

DATA_BITS = (5, 6, 7, 8, 9, 10)
#: Samples a bit: (first, middle of the three samples), slow limits, fast limits, in per cent.
TABLES = {
    16: (
        (8, 9),
        (93.20, 94.12, 94.81, 95.36, 95.81, 96.17),
        (106.67, 105.79, 105.11, 104.58, 104.14, 103.78),
    ),
    8: (
        (4, 5),
        (94.12, 94.92, 95.52, 96.00, 96.39, 96.70),
        (105.66, 104.92, 104.35, 103.90, 103.53, 103.23),
    ),
}

CLOCKS = 16
FALL = 20
READY, RX_LOST, FRAMING = 4, 8, 16
#: The cycle of the last sample: two synchroniser stages, half a bit, nine bits.
LAST = FALL + 2 + 8 + 9 * 16


def limits(data_bits: int, samples: int, first: int, middle: int) -> tuple[Fraction, Fraction]:
    """Return the slow and the fast limit of the formula, in per cent of the receiver's rate."""
    slow = Fraction((data_bits + 1) * samples, samples - 1 + data_bits * samples + first)
    fast = Fraction((data_bits + 2) * samples, (data_bits + 1) * samples + middle)
    return 100 * slow, 100 * fast


def line(data: bytes, rate: Fraction) -> list[tuple[int, int]]:
    """Return (cycle, level) of bytes back to back from FALL on, sent with ``rate`` per cent of ours.

    Edge n lies n bits of 16 x 100 / rate cycles after the fall, rounded up to a cycle.
    """
    bit = CLOCKS * 100 / rate
    found, level = [], 1
    levels = [bit for byte in data for bit in (0, *(byte >> k & 1 for k in range(8)), 1)]
    for number, now in enumerate(levels):
        if now != level:
            found.append((FALL + -(-(number * bit) // 1), now))
            level = now
    return found


def received(data: bytes, rate: Fraction, cycles: int) -> Recording:
    """Return a run of the cycles 0 to ``cycles`` - 1 of a port with 16 clocks a bit, nobody reading."""
    keys: dict[str, Any] = {
        "clock": "16 MHz",
        "slot": {"telegraph": {"model": "uart", "base": 0x1000, "size": 0x100, "divisor": CLOCKS}},
        "input": [{"at": at, "pin": "telegraph.rx", "level": now} for at, now in line(data, rate)],
        "traffic": lambda bus: bus.pause(cycles),
    }
    return run(Bench(keys), until=cycles)


def is_read(byte: int, rate: Fraction) -> bool:
    """Return whether a byte, with another right behind it, is read in the cycle after its last
    sample.
    """
    # 0x7F behind it: a start bit of one bit, then ones; not complete by then.
    registers = received(bytes([byte, 0x7F]), rate, LAST + 2).registers["telegraph"]
    good = registers["STATUS"] & (READY | FRAMING) == READY
    return good and registers["DATA"] == byte


def per_cent(text: str) -> Fraction:
    """Return a rate in per cent, exactly."""
    return Fraction(text)


@pytest.mark.parametrize("samples", TABLES)
def test_the_formula_gives_the_printed_tables(samples: int) -> None:
    """Slow and fast limits for 5 to 10 data bits are those printed, to the last digit."""
    # Microchip online documentation, USART chapter, section "Error Tolerance".
    (first, middle), slow, fast = TABLES[samples]
    for place, data_bits in enumerate(DATA_BITS):
        low, high = limits(data_bits, samples, first, middle)
        assert float(low) == pytest.approx(slow[place], abs=0.0051)
        assert float(high) == pytest.approx(fast[place], abs=0.0051)


def test_the_ideal_window_is_half_a_bit_in_nine_and_a_half() -> None:
    """Half a bit in 9.5 is 5.26 per cent, to either side: our rule in cycles says the same."""
    # Ideal mid-bit sampling over 9.5 bits: 5.26 % in total (C).
    window = Fraction(1, 2) / Fraction(19, 2)
    assert float(100 * window) == pytest.approx(5.26, abs=0.005)
    # 9 B <= 152 and 152 < 10 B, as rates 16 / B.
    assert Fraction(16 * 9, 152) == 1 - window
    assert Fraction(16 * 10, 152) == 1 + window


@pytest.mark.parametrize("byte", [0x00, 0x55, 0xA5, 0xFF])
@pytest.mark.parametrize(
    "rate", ["94.74", "95", "95.36", "96", "97.5", "99", "100", "101", "102.5", "103.9", "104.58",
             "105", "105.26"]
)  # fmt: skip
def test_inside_its_window_every_byte_is_read(byte: int, rate: str) -> None:
    """From 94.74 to 105.26 per cent, the table's limits for 8 data bits among them, a byte is read."""
    # Microchip online documentation, USART chapter, section "Error Tolerance": 8 data bits, S = 16:
    # 95.36 and 104.58; S = 8: 96.00 and 103.90. The outer two: 5.26 % (C).
    assert is_read(byte, per_cent(rate))


@pytest.mark.parametrize("byte", [0x00, 0x55, 0x2A, 0x7F])
@pytest.mark.parametrize("rate", ["94.73", "94.5", "94", "93"])
def test_a_sender_that_is_too_slow_is_not_read(byte: int, rate: str) -> None:
    """Below 94.74 per cent the last sample is in bit 7: where that is 0, there is no stop bit."""
    # Ideal mid-bit sampling over 9.5 bits: 5.26 % in total (C).
    assert not is_read(byte, per_cent(rate))
    events = received(bytes([byte, 0x7F]), per_cent(rate), LAST + 2).events
    assert [(event.cycle, event.kind) for event in events] == [(LAST, "framing")]


@pytest.mark.parametrize("byte", [0x00, 0x55, 0xA5, 0xFF])
@pytest.mark.parametrize("rate", ["105.27", "105.5", "106", "107"])
def test_a_sender_that_is_too_fast_is_not_read(byte: int, rate: str) -> None:
    """Above 105.26 per cent the last sample is in the start bit of the byte behind: no stop bit."""
    # Ideal mid-bit sampling over 9.5 bits: 5.26 % in total (C).
    assert not is_read(byte, per_cent(rate))
    events = received(bytes([byte, 0x7F]), per_cent(rate), LAST + 2).events
    assert [(event.cycle, event.kind) for event in events] == [(LAST, "framing")]


def test_the_window_ends_exactly_where_the_rule_says() -> None:
    """B = 152 / 9 cycles is the slowest bit that is read, B = 152 / 10 the slowest that is too fast."""
    tiny = Fraction(1, 1000)
    slowest, fastest = Fraction(152, 9), Fraction(152, 10)
    assert is_read(0x00, 1600 / slowest)
    assert not is_read(0x00, 1600 / (slowest + tiny))
    assert not is_read(0xFF, 1600 / fastest)
    assert is_read(0xFF, 1600 / (fastest + tiny))


@pytest.mark.parametrize("rate", ["95.5", "97", "100", "103", "104.5"])
def test_a_text_at_another_rate_is_read_whole(rate: str) -> None:
    """Each byte is found by its own fall: errors do not add up over sixteen bytes in a cycle.

    Edges are rounded up to cycles, so a bit may begin a cycle late: 9 B <= 151 and 153 < 10 B, which is
    95.4 to 104.6 per cent.
    """
    text = b"\x00\xff\x55\xaa lever 4 up\n"
    heard = bytearray()

    def firmware(bus: Bus) -> None:
        for _ in text:
            bus.poll("telegraph.STATUS", READY, mask=READY, every=5)
            heard.append(bus.read("telegraph.DATA"))

    keys: dict[str, Any] = {
        "clock": "16 MHz",
        "slot": {"telegraph": {"model": "uart", "base": 0x1000, "size": 0x100, "divisor": CLOCKS}},
        "input": [
            {"at": at, "pin": "telegraph.rx", "level": now}
            for at, now in line(text, per_cent(rate))
        ],
        "traffic": firmware,
    }
    recording = run(Bench(keys))
    assert bytes(heard) == text
    assert recording.events == ()
