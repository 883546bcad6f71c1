"""The length of a bit, found from edges alone: the sender's is among those returned, or none is."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from busbox.lines.bit_time import bit_times
from busbox.lines.captures import read_capture
from busbox.lines.serial import Format, decode
from busbox.lines.wave import Wave
from tests.lines.drawn import frame, line, wave_of_levels

pytestmark = pytest.mark.quick

CAPTURE = Path(__file__).parent / "captures" / "uart_115200_8n1.csv"
ONE = Fraction(1)


@st.composite
def sendings(draw: st.DrawFn) -> tuple[list[int], Format, Fraction, list[int]]:
    """Draw values, a format, a bit of 1 to 3,000 ticks that need not be whole, and idle ticks."""
    form = Format(draw(st.integers(5, 9)), draw(st.sampled_from("NEO")), ONE)
    bit = draw(
        st.one_of(
            st.fractions(min_value=1, max_value=40, max_denominator=50),
            st.fractions(min_value=40, max_value=3000, max_denominator=9),
            st.integers(5, 300).map(Fraction),
        )
    )
    values = draw(st.lists(st.integers(0, (1 << form.data) - 1), min_size=1, max_size=8))
    return values, form, bit, draw(st.lists(st.integers(0, 500), max_size=8))


def sent(values: list[int], form: Format, bit: Fraction, gaps: list[int]) -> Wave:
    """Return the line of a sender whose edges are put on the next tick."""
    frames = [frame(value, form.data, form.parity, form.stop) for value in values]
    return line(frames, bit, gaps, tail=int(2 * bit) + 2)[0]


@settings(deadline=None)
@given(sendings())
def test_the_sender_s_bit_is_measured_within_the_accuracy_or_not_at_all(
    sending: tuple[list[int], Format, Fraction, list[int]],
) -> None:
    """Whatever the bytes, the rate and the clock: one of the lengths is the sender's, as near as it
    says; where one alone is likely, it is that one.
    """
    values, form, bit, gaps = sending
    wave = sent(values, form, bit, gaps)
    found = bit_times(wave, form.low_bits)
    near = [one for one in found if one.least <= bit <= one.most]
    assert near or not found
    for one in near:
        assert one.stopped
        assert abs(one.ticks / bit - 1) <= one.accuracy
    likely = decode(wave, 10**6 / bit, form).likely
    assert near[:1] == list(likely[:1])


@settings(deadline=None)
@given(sendings())
def test_a_rate_that_is_read_changes_nothing_of_what_is_measured(
    sending: tuple[list[int], Format, Fraction, list[int]],
) -> None:
    """The lengths are those of the edges: a receiver at half or a third of the rate finds the same."""
    values, form, bit, gaps = sending
    wave = sent(values, form, bit, gaps)
    measured = {decode(wave, 10**6 / (bit * factor), form).bit_times for factor in (1, 2, 3)}
    assert len(measured) == 1


@settings(deadline=None)
@given(sendings(), st.integers(2, 7))
def test_a_capture_that_samples_a_line_measures_its_bit_too(
    sending: tuple[list[int], Format, Fraction, list[int]], slower: int
) -> None:
    """Every edge is seen at the next sample only; the sender's bit is found all the same."""
    values, form, bit, gaps = sending
    fine = sent(values, form, bit * slower, gaps)
    times = -(-fine.times // slower)
    assume((np.diff(times) > 0).all())
    wave = Wave(times, fine.levels, Fraction(1, 10**6), int(times[-1]) + int(2 * bit) + 2, 1)
    # The sender's own edges are put on the next fine tick: together still less than a sample late.
    found = bit_times(wave, form.low_bits)
    assert not found or any(one.least <= bit <= one.most for one in found)


def test_a_byte_with_short_and_long_lows_has_one_rate() -> None:
    """0x41 at 139 ticks a bit: exactly that, to 1 tick in 9 bits."""
    # Edges 1, 2, 7, 8 and 9 bits after the start edge; computed.
    found = bit_times(sent([0x41], Format(8, "N", ONE), Fraction(139), []), 9)
    first = found[-1] if not found[0].stopped else found[0]
    assert (first.ticks, first.least, first.most) == (
        139, 139 - Fraction(1, 9), 139 + Fraction(1, 9),
    )  # fmt: skip
    assert first.accuracy == 139 / (139 - Fraction(1, 9)) - 1
    assert [one.stopped for one in found] == [True, False]  # with half of it, the stop bit is low


def test_a_text_whose_runs_are_all_two_bits_long_fits_other_rates_too() -> None:
    """0xE6 is low, high and low for 2 bits each: other rates fit too, and all are returned."""
    # Each run taken for m bits. For m = 4 the tenth bit is low; from 5 on each low is a character of
    # its own, up to the 9 bits that are low before a stop bit. By hand.
    found = bit_times(sent([0xE6], Format(8, "N", ONE), Fraction(300), []), 9)
    assert [one.ticks for one in found if one.stopped] == [
        Fraction(600, m) for m in (1, 2, 3, 5, 6, 7, 8, 9)
    ]


def test_one_more_byte_tells_them_apart() -> None:
    """A low of one bit beside those of two leaves the sender's rate alone."""
    found = bit_times(sent([0xE6, 0x41], Format(8, "N", ONE), Fraction(300), [77]), 9)
    assert [one.ticks for one in found if one.stopped] == [300]


def test_bits_of_a_few_ticks_are_not_measured() -> None:
    """At 3 ticks a bit an edge that is off by one could be that of another bit: nothing is said."""
    assert bit_times(sent([0x41, 0x55, 0x00], Format(8, "N", ONE), Fraction(3), []), 9) == ()


def test_edges_that_fit_no_rate_are_not_measured() -> None:
    """Lows of 100, 131 and 171 ticks are no whole numbers of one bit, within an eighth of the first."""
    levels = [1] * 5 + [0] * 100 + [1] * 300 + [0] * 131 + [1] * 2000 + [0] * 171 + [1] * 2000
    assert bit_times(wave_of_levels(levels), 9) == ()


def test_uneven_edges_are_measured_more_coarsely() -> None:
    """Edges up to 3 ticks off give the bit within 4 ticks over the longest distance."""
    exact = sent([0x41, 0x42, 0x3F], Format(8, "N", ONE), Fraction(200), [])
    times = exact.times + np.array([0] + [3 * (n % 2) for n in range(1, len(exact.times))])
    wave = Wave(times, exact.levels, exact.tick, exact.end + 3)
    (found,) = [one for one in bit_times(wave, 9) if one.stopped]
    assert found.least <= 200 <= found.most
    assert Fraction(1, 1000) < found.accuracy < Fraction(1, 50)


def test_a_low_that_a_reset_ended_says_nothing() -> None:
    """A start bit cut in its middle is no bit; with another byte beside it, that one is measured."""
    half = wave_of_levels([1] * 5 + [0] * 70 + [1] * 2000)
    assert len(bit_times(half, 9)) > 0
    cut = Wave(half.times, half.levels, half.tick, half.end, cuts=(75,))
    assert bit_times(cut, 9) == ()


def test_a_break_and_the_level_before_the_first_edge_say_nothing() -> None:
    """A low from the start, and one of many characters, are left out."""
    levels = [0] * 50 + [1] * 900 + [0] * 90_000 + [1] * 3000
    byte = sent([0x41], Format(8, "N", ONE), Fraction(139), [])
    both = levels + [
        level
        for level, length in zip(
            byte.levels.tolist(), np.diff(np.append(byte.times, byte.end)).tolist(), strict=True
        )
        for _ in range(length)
    ]
    (found,) = [one for one in bit_times(wave_of_levels(both), 9) if one.stopped]
    assert found.ticks == 139


def test_the_bit_of_a_real_capture() -> None:
    """A sender at 115,200 baud, sampled at 1 MHz: 115,224 baud; the accuracy includes 115,200."""
    # Known answers that came with the capture (captures/README.md).
    decoded = decode(read_capture(CAPTURE)["tx"], 115_200, Format.parse("8N1"))
    (found,) = decoded.likely
    assert round(10**6 / found.ticks) == 115_224
    assert found.least <= Fraction(10**6, 115_200) <= found.most
    assert found.accuracy < Fraction(1, 100)
