"""Clocks and times as people write them: ``"16 MHz"``, ``"2 ms"``, or a whole number of cycles.

Everything inside Busbox is a whole number of hertz or cycles; seconds exist only as exact fractions
until they are rounded up to a cycle (semantics page, rule 23).
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction

from busbox.basics.errors import format_value

#: Upper limits; they keep every sum of cycles below 2^63.
FASTEST_HZ = 10**12
LONGEST_SECONDS = 10**6
LONGEST_CYCLES = FASTEST_HZ * LONGEST_SECONDS
#: The largest supply current.
MOST_AMPERES = 10**6

_NUMBER = r"([0-9][0-9_]{0,40}(?:\.[0-9]{1,40})?)"
_CLOCK = re.compile(rf"{_NUMBER}\s*(Hz|kHz|MHz|GHz)")
_TIME = re.compile(rf"{_NUMBER}\s*(s|ms|us|ns|ps)")
_CURRENT = re.compile(rf"{_NUMBER}\s*(A|mA|uA)")
_CYCLES = re.compile(r"[0-9][0-9_]{0,40}")
#: The same as patterns of a whole string, in the language that JSON Schema shares with Python.
CLOCK_PATTERN = rf"^\s*{_CLOCK.pattern}\s*$"
UNIT_TIME_PATTERN = rf"^\s*{_TIME.pattern}\s*$"
TIME_PATTERN = rf"^\s*({_TIME.pattern}|{_CYCLES.pattern})\s*$"
CURRENT_PATTERN = rf"^\s*{_CURRENT.pattern}\s*$"
_NEGATIVE = re.compile(rf"-\s*{_NUMBER}\s*(s|ms|us|ns|ps)?")
_HERTZ = {"Hz": 1, "kHz": 1_000, "MHz": 1_000_000, "GHz": 1_000_000_000}
_PER_AMPERE = {"A": 1, "mA": 10**3, "uA": 10**6}
_PER_SECOND = {"s": 1, "ms": 10**3, "us": 10**6, "ns": 10**9, "ps": 10**12}


@dataclass(frozen=True)
class Span:
    """A length of time: either whole ``cycles`` or exact ``seconds``; the other is None."""

    cycles: int | None = None
    seconds: Fraction | None = None

    def in_cycles(self, clock_hz: int) -> int:
        """Return the span in cycles of ``clock_hz``, rounded up (semantics page, rule 23)."""
        if self.cycles is not None:
            return self.cycles
        assert self.seconds is not None
        return -(-self.seconds.numerator * clock_hz // self.seconds.denominator)

    def __str__(self) -> str:
        if self.cycles is not None:
            return str(self.cycles)
        assert self.seconds is not None
        for unit, per_second in _PER_SECOND.items():
            scaled = self.seconds * per_second
            if scaled.denominator == 1:
                return f"{scaled.numerator} {unit}"
        whole, rest = divmod(self.seconds * 10**12, 1)
        digits = ""
        while rest:
            digit, rest = divmod(rest * 10, 1)
            digits += str(digit)
        return f"{whole}.{digits} ps"


def without_subject(error: ValueError) -> str:
    """Return what is wrong with a clock, time or current, as text to follow the name of a key."""
    return re.sub("^a (clock|time|current) ", "", str(error))


def parse_clock(text: object) -> int:
    """Return the hertz of a clock such as ``"16 MHz"``.

    Raises
    ------
    ValueError : not a positive whole number of hertz with a unit
    """
    found = _CLOCK.fullmatch(text.strip()) if isinstance(text, str) else None
    if found is None:
        raise ValueError(
            f"a clock must be a number with Hz, kHz, MHz or GHz, not {format_value(text)}"
        )
    hertz = Fraction(found[1].replace("_", "")) * _HERTZ[found[2]]
    if hertz.denominator != 1 or hertz <= 0:
        raise ValueError(f"a clock must be a positive whole number of hertz, not {text!r}")
    if hertz > FASTEST_HZ:
        raise ValueError(f"a clock must be at most {show_clock(FASTEST_HZ)}, not {text!r}")
    return int(hertz)


def parse_span(value: object) -> Span:
    """Return the span of ``"2 ms"`` (text with a unit) or of a whole number of cycles.

    Raises
    ------
    ValueError : neither of them, or negative
    """
    span: Span | None = None
    if isinstance(value, int) and not isinstance(value, bool) and value >= 0:
        span = Span(cycles=value)
    elif isinstance(value, str):
        text = value.strip()
        found = _TIME.fullmatch(text)
        if _CYCLES.fullmatch(text):
            span = Span(cycles=int(text.replace("_", "")))
        elif found is not None:
            span = Span(seconds=Fraction(found[1].replace("_", "")) / _PER_SECOND[found[2]])
    if span is None:
        if _is_negative(value):
            raise ValueError(f"a time must be at least 0, not {format_value(value)}")
        raise ValueError(
            "a time must be a number with s, ms, us, ns or ps, or whole cycles, "
            f"not {format_value(value)}"
        )
    if (span.cycles or 0) > LONGEST_CYCLES or (span.seconds or 0) > LONGEST_SECONDS:
        raise ValueError(
            f"a time must be at most {LONGEST_SECONDS:,} s or {LONGEST_CYCLES:,} cycles, "
            f"not {format_value(value)}"
        )
    return span


def _is_negative(value: object) -> bool:
    """Return whether a value would be a span but for its sign."""
    if isinstance(value, str):
        return _NEGATIVE.fullmatch(value.strip()) is not None
    return isinstance(value, int) and value < 0


def parse_current(value: object) -> Fraction:
    """Return the amperes of a current such as ``"20 mA"``.

    Raises
    ------
    ValueError : no number above 0 with A, mA or uA
    """
    found = _CURRENT.fullmatch(value.strip()) if isinstance(value, str) else None
    if found is None:
        raise ValueError(f"a current must be a number with A, mA or uA, not {format_value(value)}")
    amperes = Fraction(found[1].replace("_", "")) / _PER_AMPERE[found[2]]
    if not 0 < amperes <= MOST_AMPERES:
        raise ValueError(
            f"a current must be above 0 and at most {MOST_AMPERES:,} A, not {format_value(value)}"
        )
    return amperes


def show_current(amperes: Fraction) -> str:
    """Return a non-negative current with four significant digits: ``38.4 mA``."""
    if amperes >= 1:
        return f"{float(amperes):.4g} A"
    return f"{float(amperes * 1000):.4g} mA" if amperes else "0 A"


def nearest_divisor(clock_hz: int, rate: int | Fraction, bits: int) -> int:
    """Return the whole number nearest to ``clock_hz / rate`` that a divisor of ``bits`` bits can hold.

    At least 1; of two equally near numbers, the larger.
    """
    return min(max(int((2 * clock_hz + rate) // (2 * rate)), 1), (1 << bits) - 1)


def show_clock(hertz: int) -> str:
    """Return a clock as people write it: ``16 MHz``."""
    for unit, scale in reversed(_HERTZ.items()):
        if hertz % scale == 0:
            return f"{hertz // scale} {unit}"
    return f"{hertz} Hz"


def show_time(cycle: int, clock_hz: int) -> str:
    """Return the moment ``cycle / clock_hz`` with four significant digits: ``3.201 ms``."""
    return show_seconds(Fraction(cycle, clock_hz))


def show_seconds(seconds: Fraction) -> str:
    """Return a non-negative time with four significant digits: ``3.201 ms``."""
    picoseconds = seconds * 10**12
    for unit, scale in (("s", 10**12), ("ms", 10**9), ("us", 10**6), ("ns", 10**3)):
        if picoseconds >= scale:
            return f"{float(picoseconds / scale):.4g} {unit}"
    return "0 s" if not picoseconds else f"{float(picoseconds):.4g} ps"
