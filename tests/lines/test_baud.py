"""Serial rates against published tables.

Sources: datasheet SLLS177I, tables 7-9 and 7-10; reference manual RM0390, table 149; Microchip online
documentation, USART chapter, section "Error Tolerance".
"""

from __future__ import annotations

from fractions import Fraction

import pytest

from busbox.lines.baud import (
    MAJORITY,
    Division,
    ideal_tolerance,
    majority_tolerance,
    parse_rate,
    show_rate,
)
from tests.reference.test_receiver import DATA_BITS, TABLES
from tests.reference.test_uart_reference import (
    CLOCK_7_9,
    CLOCK_7_10,
    TABLE_7_9,
    TABLE_7_10,
    TABLE_149,
)

ROWS = [(CLOCK_7_9, *row) for row in TABLE_7_9] + [(CLOCK_7_10, *row) for row in TABLE_7_10]


@pytest.mark.parametrize(("clock_hz", "baud", "divisor", "off"), ROWS)
def test_the_tables_in_sixteen_clocks(clock_hz: int, baud: float, divisor: int, off: float) -> None:
    """Divisor and error are those printed, for receivers that count sixteenths of a bit."""
    # Datasheet SLLS177I, tables 7-9 and 7-10 (0.628 is printed for 3600 baud, 0.629 computed); they
    # print no sign.
    division = Division.nearest(clock_hz, Fraction(baud), 16)
    assert division.divisor == divisor
    assert abs(float(division.error)) == pytest.approx(off, abs=0.006)
    assert division.rate == Fraction(clock_hz, 16 * divisor)


@pytest.mark.parametrize(("baud", "value", "off"), TABLE_149)
def test_the_table_in_clocks_a_bit(baud: int, value: float, off: float) -> None:
    """At 16 MHz the divisor is the table's value x 16, and its error that printed."""
    # Reference manual RM0390, table 149.
    division = Division.nearest(16_000_000, Fraction(baud))
    assert division.divisor == 16 * value
    assert abs(float(division.error)) == pytest.approx(off, abs=0.006)


def test_an_error_has_a_sign() -> None:
    """A rate above the wanted one has an error above 0, one below it below 0."""
    assert Division(16_000_000, Fraction(1_000_000), 10).error == 60
    assert Division(16_000_000, Fraction(1_000_000), 20).error == -20


@pytest.mark.parametrize("samples", sorted(MAJORITY))
@pytest.mark.parametrize("place", range(len(DATA_BITS)))
def test_the_tolerance_of_majority_receivers(samples: int, place: int) -> None:
    """Slow and fast limits are those printed, for 5 to 10 data bits."""
    # Microchip online documentation, USART chapter, section "Error Tolerance".
    _, slow, fast = TABLES[samples]
    tolerance = majority_tolerance(samples, DATA_BITS[place])
    assert float(tolerance.slow) == pytest.approx(slow[place], abs=0.0051)
    assert float(tolerance.fast) == pytest.approx(fast[place], abs=0.0051)


def test_the_tolerance_of_an_ideal_receiver() -> None:
    """Half a bit in 9.5 is 5.26 per cent to either side."""
    # Computed.
    tolerance = ideal_tolerance()
    assert tolerance.slow == 100 - Fraction(50 * 2, 19)
    assert tolerance.fast == 100 + Fraction(50 * 2, 19)
    assert float(tolerance.fast - 100) == pytest.approx(5.26, abs=0.005)


def test_the_share_is_of_the_side_that_the_error_is_on() -> None:
    """A fast sender uses the fast side, a slow one the slow side; the limit itself is all of it."""
    tolerance = majority_tolerance(8)
    assert tolerance.share(tolerance.fast - 100) == 100
    assert tolerance.share(tolerance.slow - 100) == 100
    assert tolerance.share(Fraction(-2)) == 50  # the slow limit of this row is 96.00 %
    assert tolerance.share(Fraction(0)) == 0


@pytest.mark.parametrize(("text", "rate"), [
    ("115200", Fraction(115_200)), ("115_200", Fraction(115_200)), ("134.5", Fraction(269, 2)),
])  # fmt: skip
def test_a_rate_is_read_exactly(text: str, rate: Fraction) -> None:
    """Whole numbers and such with a point, with or without an underline."""
    assert parse_rate(text) == rate
    assert parse_rate(show_rate(rate)) == rate


@pytest.mark.parametrize("text", ["", "0", "-5", "1e9", "fast", "0x10", "9600 baud", "1/2"])
def test_what_is_no_rate_is_refused(text: str) -> None:
    """Anything but a number above 0 is an error that shows it."""
    with pytest.raises(ValueError, match="a rate must be a number above 0"):
        parse_rate(text)


@pytest.mark.parametrize(("rate", "told"), [
    (16_000_001, "a rate must be at most 16000000 with a clock of 16 MHz, not 16000001"),
    (244, "a rate must be at least 244.1444 with a clock of 16 MHz, since a divisor is at most 65,535"),
])  # fmt: skip
def test_a_rate_that_the_clock_cannot_give_is_refused(rate: int, told: str) -> None:
    """One clock a bit is the fastest, 65535 the slowest."""
    with pytest.raises(ValueError, match=told):
        Division.nearest(16_000_000, Fraction(rate))
    assert Division.nearest(16_000_000, Fraction(16_000_000)).divisor == 1
    assert Division.nearest(16_000_000, Fraction(245)).divisor == 65_306
