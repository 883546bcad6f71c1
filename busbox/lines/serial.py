"""A serial line decoded from its edges alone, whatever drives it.

Idle 1, a start bit of 0, five to nine data bits, least significant first, a parity bit or none, stop
bits of 1. Source: common practice, no source.

Sampling: with a start edge at tick s and bits of B ticks at the ideal rate, bit k (the start bit is 0)
is sampled in its middle, at s + (k + 1/2) B; a half stop bit in its own middle. Source: common
practice, no source. B is an exact fraction, and the level at a moment is that of the tick it lies in,
so nothing is rounded. The next start is the first fall after the last sample.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Any, overload

import numpy as np
from numpy.typing import NDArray

from busbox.basics.errors import format_value
from busbox.lines.bit_time import BitTime, bit_times
from busbox.lines.wave import Wave

Array = NDArray[Any]

#: Parity by its letter, and its name in text.
PARITIES = {"N": "no parity", "E": "even parity", "O": "odd parity"}
STOPS = {"1": Fraction(1), "1.5": Fraction(3, 2), "2": Fraction(2)}

_FORMAT = re.compile(r"([5-9])([NEO])(1\.5|1|2)")
_HALF = Fraction(1, 2)


@dataclass(frozen=True)
class Format:
    """How a character is sent, written such as ``8N1`` or ``7E2``.

    Attributes
    ----------
    data : data bits, 5 to 9
    parity : ``N``, ``E`` or ``O``: none; data and parity bit have an even or odd number of ones
    stop : stop bits: 1, 3/2 or 2
    """

    data: int
    parity: str
    stop: Fraction

    @classmethod
    def parse(cls, text: str) -> Format:
        """Return the format of a text such as ``8N1``, in capitals or not.

        Raises
        ------
        ValueError : not a format
        """
        found = _FORMAT.fullmatch(text.upper())
        if found is None:
            raise ValueError(
                "a format must be data bits 5 to 9, parity N, E or O, and stop bits 1, 1.5 or 2, "
                f"such as 8N1, not {format_value(text)}"
            )
        return cls(int(found[1]), found[2], STOPS[found[3]])

    @property
    def bits(self) -> Fraction:
        """Bit times of a character, from its start edge to the end of its stop bits."""
        return self.low_bits + self.stop

    @property
    def low_bits(self) -> int:
        """Bits before the stop bit: the start bit, data and parity."""
        return 1 + self.data + (self.parity != "N")

    @property
    def samples(self) -> tuple[Fraction, ...]:
        """The moments that are sampled, in bit times after the start edge."""
        whole = int(self.bits)
        found = [place + _HALF for place in range(whole)]
        return (*found, (whole + self.bits) / 2) if self.bits > whole else tuple(found)

    def __str__(self) -> str:
        stop = next(text for text, value in STOPS.items() if value == self.stop)
        return f"{self.data}{self.parity}{stop}"


@dataclass(frozen=True)
class Character:
    """A character on the line.

    Attributes
    ----------
    start : tick of its start edge
    end : the first tick after its stop bits, at the ideal rate, rounded up
    value : its data bits
    parity_ok : whether its parity bit is right; True without parity
    """

    start: int
    end: int
    value: int
    parity_ok: bool


class Characters(Sequence[Character]):
    """Characters in order, kept as columns: a long line has a million of them.

    Attributes
    ----------
    starts, values, right : int64, int64, bool: see :class:`Character`
    length : ticks of each, by the ideal rate, rounded up
    """

    def __init__(self, starts: Array, values: Array, right: Array, length: int) -> None:
        self.starts, self.values, self.right, self.length = starts, values, right, length

    def __len__(self) -> int:
        return len(self.starts)

    @overload
    def __getitem__(self, place: int) -> Character: ...
    @overload
    def __getitem__(self, place: slice) -> Characters: ...
    def __getitem__(self, place: int | slice) -> Character | Characters:
        if isinstance(place, slice):
            columns = (self.starts[place], self.values[place], self.right[place])
            return Characters(*columns, self.length)
        start = int(self.starts[place])
        value, right = int(self.values[place]), bool(self.right[place])
        return Character(start, start + self.length, value, right)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Sequence) and tuple(self) == tuple(other)

    __hash__ = None  # type: ignore[assignment]

    def chosen(self, mask: Array) -> Characters:
        """Return those for which ``mask`` is true."""
        return Characters(self.starts[mask], self.values[mask], self.right[mask], self.length)


@dataclass(frozen=True)
class Break:
    """The line was low in every bit of a character, the stop bits too.

    Attributes
    ----------
    start : tick of the fall
    end : tick of the rise; the wave's end if it is low until then
    """

    start: int
    end: int


@dataclass(frozen=True)
class Decoded:
    """A serial line, decoded.

    Attributes
    ----------
    characters : those with their stop bits, also where the parity is wrong
    framing_errors : those with a low stop bit that are not a break
    breaks : see :class:`Break`
    false_starts : ticks of falls after which the start bit was not low in its middle
    unfinished : start of a character that goes on beyond the wave's end, or None
    bit_times : the lengths of a bit that fit the edges, see :mod:`busbox.lines.bit_time`
    ideal : ticks of a bit at the rate it is decoded at
    tick : seconds a tick
    """

    characters: Characters
    framing_errors: Characters
    breaks: tuple[Break, ...]
    false_starts: tuple[int, ...]
    unfinished: int | None
    bit_times: tuple[BitTime, ...]
    ideal: Fraction
    tick: Fraction

    @property
    def parity_errors(self) -> Characters:
        """The characters whose parity is wrong."""
        return self.characters.chosen(~self.characters.right)

    @property
    def values(self) -> list[int]:
        """The data of the characters."""
        values: list[int] = self.characters.values.tolist()
        return values

    @property
    def text(self) -> str:
        """The characters as text: a value is the number of its letter (Latin-1 up to 8 bits)."""
        return "".join(map(chr, self.values))

    @property
    def likely(self) -> tuple[BitTime, ...]:
        """Return the lengths of a bit with which every character has its stop bit, or else all.

        The one nearest to the rate that the line is decoded at comes first.
        """
        stopped = tuple(one for one in self.bit_times if one.stopped) or self.bit_times
        return tuple(
            sorted(stopped, key=lambda one: max(one.ticks / self.ideal, self.ideal / one.ticks))
        )

    @property
    def bit(self) -> Fraction | None:
        """The measured length of a bit in ticks: the first that is likely; None if it is unknown."""
        return self.likely[0].ticks if self.likely else None

    @property
    def measured_baud(self) -> Fraction | None:
        """The measured rate in bits per second, 1 / (bit x tick)."""
        return None if self.bit is None else 1 / (self.bit * self.tick)

    def off_by(self, per_cent: int, sampled: bool) -> bool:
        """Return whether the rate is off by more than this many per cent, whichever length is true.

        Parameters
        ----------
        sampled : whether the edges were seen at samples; then, as where they do not lie exactly on
            whole bits, the accuracy is in the line's favour
        """
        return bool(self.bit_times) and all(
            100
            * (abs(self.ideal / one.ticks - 1) - (one.accuracy if sampled or not one.exact else 0))
            > per_cent
            for one in self.bit_times
        )


def decode(wave: Wave, baud: int | Fraction, form: Format) -> Decoded:
    """Decode a line at a given rate, in a given format.

    A start is a fall that was seen: a line that is low when the wave begins has none. A line that
    never moves has no characters, at any rate.

    Raises
    ------
    ValueError : the rate is not positive; the line moves, and a bit is shorter than a tick
    """
    if baud <= 0:
        raise ValueError(f"baud must be above 0, not {format_value(str(baud))}")
    bit = 1 / (Fraction(baud) * wave.tick)
    if bit < 1 and len(wave.times) > 1:
        most = float(1 / wave.tick)
        raise ValueError(
            f"baud must be at most {most:.10g}, one tick a bit, not {float(baud):.10g}"
        )
    offsets = [int(moment * bit) for moment in form.samples]
    if max(offsets[-1] + wave.end, 1) >= 1 << 62:
        raise ValueError(f"baud must be higher than {float(baud):.10g}: a bit is {bit} ticks")
    return _Frames(wave, form, bit, np.array(offsets, dtype="i8")).decoded()


class _Frames:
    """The frames of a wave as columns: one row a start edge that was taken for one.

    ``places`` are the indices of the start edges in the wave, ``bits`` what was sampled.
    """

    def __init__(self, wave: Wave, form: Format, bit: Fraction, offsets: Array) -> None:
        self.wave, self.form, self.bit, self.offsets = wave, form, bit, offsets
        falls = np.flatnonzero(wave.levels == 0)
        taken = _taken(wave, falls[falls > 0], offsets)
        self.starts = wave.times[taken]
        low = self._levels(self.starts + offsets[0]) == 0
        known = self.starts + np.where(low, offsets[-1], offsets[0]) < wave.end
        self.unfinished = [int(start) for start in self.starts[~known]]
        self.false_starts = [int(start) for start in self.starts[known & ~low]]
        self.places, self.starts = taken[known & low], self.starts[known & low]
        self.bits = self._levels(self.starts[:, None] + offsets[None, :])

    def _levels(self, ticks: Array) -> Array:
        levels: Array = self.wave.levels[np.searchsorted(self.wave.times, ticks, side="right") - 1]
        return levels

    def decoded(self) -> Decoded:
        """Return the frames, sorted by kind."""
        ends = self.bits[:, 1 + self.form.data + (self.form.parity != "N") :]
        stopped: Array = ends.min(axis=1) == 1
        broken: Array = self.bits.max(axis=1) == 0
        right = self._parity_right()
        return Decoded(
            characters=self._characters(stopped, right),
            framing_errors=self._characters(~stopped & ~broken, right),
            breaks=tuple(self._break(start) for start in self.starts[broken].tolist()),
            false_starts=tuple(self.false_starts),
            unfinished=self.unfinished[0] if self.unfinished else None,
            bit_times=bit_times(self.wave, self.form.low_bits),
            ideal=self.bit,
            tick=self.wave.tick,
        )

    def _parity_right(self) -> Array:
        if self.form.parity == "N":
            return np.ones(len(self.bits), dtype=bool)
        ones = self.bits[:, 1 : 2 + self.form.data].sum(axis=1, dtype="i8")
        right: Array = ones % 2 == (self.form.parity == "O")
        return right

    def _characters(self, chosen: Array, right: Array) -> Characters:
        weights = 1 << np.arange(self.form.data, dtype="i8")
        values = self.bits[chosen, 1 : 1 + self.form.data] @ weights
        length = -(-self.form.bits * self.bit // 1)
        return Characters(self.starts[chosen], values, right[chosen], int(length))

    def _break(self, start: int) -> Break:
        times = self.wave.times
        rise = int(np.searchsorted(times, start + self.offsets[-1], side="right"))
        return Break(start, int(times[rise]) if rise < len(times) else self.wave.end)


def _taken(wave: Wave, falls: Array, offsets: Array) -> Array:
    """Return the falls that are starts: each the first after the last sample of the one before."""
    starts = wave.times[falls]
    middle = np.searchsorted(wave.times, starts + offsets[0], side="right") - 1
    last = np.where(wave.levels[middle] == 0, offsets[-1], offsets[0])
    following = np.searchsorted(starts, starts + last, side="right").tolist()
    found, place = [], 0
    while place < len(following):
        found.append(place)
        place = following[place]
    chosen: Array = falls[np.array(found, dtype="i8")]
    return chosen
