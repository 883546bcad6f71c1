"""The measured rate of a serial line, against the one that it is decoded at."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from busbox.basics.units import nearest_divisor, show_clock
from busbox.board.attachment import Advice
from busbox.lines.baud import DIVISOR_BITS, show_rate
from busbox.lines.bit_time import BitTime
from busbox.lines.serial import Decoded
from busbox.lines.wave import Wave

#: Difference of a serial rate from the wanted one that is too much, in per cent: less than half of
#: what an ideal mid-bit receiver tolerates over 9.5 bits (5.26 %, computed).
BAUD_PER_CENT = 2
#: Digits of a measured rate.
DIGITS = 6
#: How many other rates that fit the edges are listed.
OTHERS = 3
#: Bits a second from which a rate is shown without a fraction.
WHOLE = 10_000


@dataclass(frozen=True)
class MeasuredRate:
    """The measured rate of a line, as text.

    Attributes
    ----------
    wave : the line
    decoded : what it says
    baud : bits per second that it is decoded at
    """

    wave: Wave
    decoded: Decoded
    baud: Fraction

    @staticmethod
    def facts(decoded: Decoded) -> dict[str, Any]:
        """Return it for programs: baud, accuracy in per cent, and the other rates that fit, or None."""
        likely = decoded.likely
        return {
            "measured_baud": _digits(1 / (likely[0].ticks * decoded.tick)) if likely else None,
            "measured_per_cent": float(100 * likely[0].accuracy) if likely else None,
            "measured_others": [_digits(1 / (one.ticks * decoded.tick)) for one in likely[1:]],
        }

    @property
    def moment(self) -> str:
        """What a tick is called."""
        return "sample" if self.wave.sampling else "cycle"

    def row(self) -> str:
        """Return the row of the summary."""
        if not self.decoded.likely:
            return "unknown: the edges fit no rate, or too many"
        first, *others = self.decoded.likely
        text = f"{self._rate(first)} ({float(self._error(first)):+.2f} %)"
        return f"{text}; the edges also fit {self._listed(others)}" if others else text

    def known(self) -> str:
        """Return what the edges say about the rate, as a part of a sentence."""
        if not self.decoded.likely:
            return "the rate of the line is unknown"
        return f"the edges fit {self._listed(self.decoded.likely)}"

    def finding(self) -> tuple[str, str]:
        """Return message and hint where the rate is off."""
        first, *others = self.decoded.likely
        error, read_at = self._error(first), show_rate(self.baud, ",")
        unit = "samples" if self.wave.sampling else "cycles"
        message = (
            f"the line runs at {self._rate(first)}, {abs(float(error)):.2f} % "
            f"{'above' if error > 0 else 'below'} the {read_at} baud it is decoded at: a bit lasts "
            f"{float(first.ticks):,.7g} {unit}, not {float(self.decoded.ideal):,.7g}"
        )
        if others:
            message += f" (the edges also fit {self._listed(others)})"
        count = len(self.decoded.framing_errors)
        if count:
            plural = "character has" if count == 1 else "characters have"
            message += f"; {count:,} {plural} no stop bit and cannot be shown"
        return f"{message}.", self._hint(first)

    def _hint(self, first: BitTime) -> str:
        here = f"baud = {self._baud(first).replace(',', '')} here"
        if self.wave.sampling:
            return (
                f"Use the same rate at both ends: change the divisor of the sender, or set {here}."
            )
        clock = show_clock(round(1 / self.wave.tick))
        best = self._nearest()
        if best is None:
            return (
                f"No divisor is close to {show_rate(self.baud, ',')} baud at {clock}: set {here}."
            )
        return (
            f'Use the same rate at both ends: a divisor of {best:,} cycles (busbox baud "{clock}" '
            f"{show_rate(self.baud)}), or {here}."
        )

    def _nearest(self) -> int | None:
        """Return the divisor nearest to the rate that the line is decoded at; None if none is close."""
        best = nearest_divisor(round(1 / self.wave.tick), self.baud, DIVISOR_BITS)
        return best if 100 * abs(self.decoded.ideal / best - 1) <= BAUD_PER_CENT else None

    def advice(self) -> Advice:
        """Return the cycles per bit that would be right, and the present ones if they are whole."""
        best, bit = self._nearest(), self.decoded.bit
        if self.wave.sampling or best is None or bit == best:
            return Advice()
        now = {} if bit is None or bit.denominator > 1 else {"bit": int(bit)}
        return Advice({"bit": best}, now)

    def _error(self, one: BitTime) -> Fraction:
        return 100 * (self.decoded.ideal / one.ticks - 1)

    def _rate(self, one: BitTime) -> str:
        accuracy = float(100 * one.accuracy)
        return f"{self._baud(one)} baud +-{accuracy:.2g} %"

    def _baud(self, one: BitTime) -> str:
        rate = _digits(1 / (one.ticks * self.wave.tick))
        return f"{rate:,.0f}" if rate >= WHOLE else f"{rate:,.12g}"

    def _listed(self, some: list[BitTime] | tuple[BitTime, ...]) -> str:
        rates = [self._baud(one) for one in some[:OTHERS]]
        more = f" and {len(some) - OTHERS} more" if len(some) > OTHERS else ""
        return f"{', '.join(rates)} baud{more}"


def _digits(rate: Fraction) -> float:
    """Return a rate to six digits."""
    return float(f"{float(rate):.{DIGITS}g}")
