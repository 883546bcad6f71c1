"""Serial rates: divisors, true rates, and the errors that receivers tolerate."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction

from busbox.basics.errors import format_value
from busbox.basics.units import nearest_divisor, show_clock

#: Bits of the uart's DIVISOR.
DIVISOR_BITS = 16

_RATE = re.compile(r"[0-9][0-9_]{0,20}(?:\.[0-9]{1,20})?")


def parse_rate(text: str) -> Fraction:
    """Return the bits per second of a text such as ``115200`` or ``134.5``.

    Raises
    ------
    ValueError : not a number above 0
    """
    rate = Fraction(text.replace("_", "")) if _RATE.fullmatch(text) else Fraction(0)
    if rate <= 0:
        raise ValueError(
            f"a rate must be a number above 0, such as 115200 or 134.5, not {format_value(text)}"
        )
    return rate


def show_rate(rate: Fraction, thousands: str = "") -> str:
    """Return a rate with seven digits, or all before the point: ``134.5``.

    Parameters
    ----------
    thousands : ``,`` to separate thousands
    """
    form = ".7g" if rate.denominator > 1 and rate < 10**6 else ".0f"
    return f"{float(rate):{thousands}{form}}"


@dataclass(frozen=True)
class Division:
    """A clock divided for a serial rate.

    Attributes
    ----------
    clock_hz : hertz
    wanted : bits per second
    divisor : a bit lasts ``divisor`` x ``scale`` cycles
    scale : 1 for the built-in uart, 16 for those that count sixteenths of a bit
    """

    clock_hz: int
    wanted: Fraction
    divisor: int
    scale: int = 1

    @classmethod
    def nearest(cls, clock_hz: int, wanted: Fraction, scale: int = 1) -> Division:
        """Return the division with the divisor nearest to clock / (scale x rate), halves up.

        Source of the formula: datasheet SLLS177I (scale 16).

        Raises
        ------
        ValueError : the clock is too slow, or the divisor has more than 16 bits
        """
        most = Fraction(clock_hz, scale)
        if wanted > most:
            raise ValueError(
                f"a rate must be at most {show_rate(most)} with a clock of {show_clock(clock_hz)}, "
                f"not {show_rate(wanted)}"
            )
        highest = (1 << DIVISOR_BITS) - 1
        if most / wanted > highest:
            least = most / highest
            raise ValueError(
                f"a rate must be at least {show_rate(least)} with a clock of {show_clock(clock_hz)}, "
                f"since a divisor is at most {highest:,}, not {show_rate(wanted)}"
            )
        return cls(clock_hz, wanted, nearest_divisor(clock_hz, scale * wanted, DIVISOR_BITS), scale)

    @property
    def rate(self) -> Fraction:
        """The true rate in bits per second: clock / (scale x divisor)."""
        return Fraction(self.clock_hz, self.scale * self.divisor)

    @property
    def error(self) -> Fraction:
        """The true rate's difference from the wanted one, in per cent of that."""
        return 100 * (self.rate / self.wanted - 1)


@dataclass(frozen=True)
class Tolerance:
    """The rates that a receiver tolerates, in per cent of its own rate.

    Attributes
    ----------
    slow, fast : the slowest rate tolerated, and the bound that the fastest stays below
    """

    slow: Fraction
    fast: Fraction

    def share(self, error: Fraction) -> Fraction:
        """Return how much of the tolerance a sender's error uses, in per cent.

        Parameters
        ----------
        error : in per cent of the receiver's rate; above 0 the sender is fast
        """
        limit = self.fast - 100 if error > 0 else 100 - self.slow
        return 100 * abs(error) / limit


def ideal_tolerance(bits: int = 10) -> Tolerance:
    """Return the tolerance of a receiver that samples once, exactly in the middle of each bit.

    The middle of the last bit, ``bits`` - 1/2 of the receiver's bits after the start edge, must lie in
    the sender's last bit: half a bit in 9.5, for the ten bits of 8N1 5.26 % (computed).

    Parameters
    ----------
    bits : bits of a character, from start bit to the last stop bit
    """
    last = bits - Fraction(1, 2)
    return Tolerance(100 * (bits - 1) / last, 100 * bits / last)


#: Samples a bit to (first, middle) of the three samples in the middle of a bit.
MAJORITY = {16: (8, 9), 8: (4, 5)}


def majority_tolerance(samples: int, data_bits: int = 8) -> Tolerance:
    """Return the tolerance of a receiver that takes the majority of three samples at mid-bit.

    With D data bits (a parity bit is one of them), S samples a bit, the first of the three being
    number SF and the middle one SM::

        slow = (D + 1) S / (S - 1 + D S + SF)
        fast = (D + 2) S / ((D + 1) S + SM)

    Source: Microchip online documentation, USART chapter, section "Error Tolerance"; the formula is in
    the data sheets of the same family.

    Parameters
    ----------
    samples : 16 or 8
    data_bits : 5 to 10
    """
    first, middle = MAJORITY[samples]
    return Tolerance(
        Fraction(100 * (data_bits + 1) * samples, samples - 1 + data_bits * samples + first),
        Fraction(100 * (data_bits + 2) * samples, (data_bits + 1) * samples + middle),
    )


def receivers() -> Mapping[str, Tolerance]:
    """Return the tolerances for 8N1 that a rate is measured with, by the receiver's name."""
    return {"mid_bit": ideal_tolerance()} | {
        f"majority_{samples}": majority_tolerance(samples) for samples in MAJORITY
    }
