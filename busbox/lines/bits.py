"""What lamps take from a wave: bits, frames, colours.

Rules
=====
1. A bit begins with a rising edge and lasts until the next one. Its high time says what it is.
2. A high time is a one or a zero by the window that it is nearer to; exactly between the longest zero
   and the shortest one, it is a one. (The nearer of the windows, not of their centres: the window for
   ones of P3 is so wide that its lower end is nearer to the centre for zeros than to its own.)
3. A low of the latch gap or longer ends a frame: from the tick in which it is long enough, the lamps
   show what they took. Any shorter low is a part of its bit, however long.
4. Lamp 0 takes the first bits of a frame, as many as a colour has, and passes on the rest; so does each
   next one. Bits beyond the last lamp leave the string. A lamp with fewer bits than a colour has shows
   something that no source defines: it gets no colour here, and its bits are counted as broken.
5. The string waits for a frame in the first tick of the wave. A pulse that is up then has no beginning
   that was seen, and is not counted.
6. The end of the wave cuts things off: a pulse under way is not counted, and the last low is at least
   as long as seen.

Source: datasheet document 104020171 (each lamp takes the first 24 bits and passes on the rest); rules
2, 5 and 6 are our own.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from busbox.basics.errors import format_value
from busbox.lines.profiles import CHANNELS, Profile
from busbox.lines.wave import TICK_LIMIT, Wave

Ints = NDArray[np.int64]

#: The lowest bit of each channel in a colour, 0xRRGGBB or 0xWWRRGGBB.
SHIFTS = {"R": 16, "G": 8, "B": 0, "W": 24}


@dataclass(frozen=True, eq=False)
class Bits:
    """The bits of a wave, in order; one element of each column a bit.

    Attributes
    ----------
    begin : tick of the rising edge
    high, low : ticks of the high time, and of the low after it
    value : 0 or 1, by rule 2
    open : whether the last low is the end of the wave, so that it is known only to be at least so long
    cut : whether the wave ends in a pulse, which is not counted
    """

    begin: Ints
    high: Ints
    low: Ints
    value: NDArray[np.uint8]
    open: bool
    cut: bool


@dataclass(frozen=True, eq=False)
class Frames:
    """The frames of a wave, in order; one element of each column a frame.

    Attributes
    ----------
    first : number of the first bit, from 0
    bits : how many
    begin : tick of the first rising edge
    low : ticks of the low after the last bit; of the last frame, up to the end of the wave
    latched : whether that low is a latch gap
    shows : the first tick in which the lamps show the colours; -1 if they do not
    broken : bits after the last whole colour, 0 in a whole frame
    surplus : bits, of whole colours or not, that leave the string after its last lamp
    lamp_bits : bits of one lamp
    colours : 0xRRGGBB (0xWWRRGGBB for four channels) of each lamp that took one, frame by frame,
        uint32; None where the profile is judged only
    starts : where the colours of each frame begin in ``colours``, and where the last ones end
    """

    first: Ints
    bits: Ints
    begin: Ints
    low: Ints
    latched: NDArray[np.bool_]
    shows: Ints
    broken: Ints
    surplus: Ints
    lamp_bits: int
    colours: NDArray[np.uint32] | None
    starts: Ints

    def __len__(self) -> int:
        return len(self.first)

    def missing(self, frame: int) -> int:
        """Return the bits that a frame lacks to end with a whole colour."""
        return -int(self.bits[frame]) % self.lamp_bits

    def colours_of(self, frame: int) -> tuple[int, ...]:
        """Return what each lamp took in a frame, lamp 0 first; lamps after them took nothing.

        Raises
        ------
        ValueError : the profile is only judged, so it gives no colours
        """
        if self.colours is None:
            raise ValueError("a profile must have 8 bits a channel to give colours")
        return tuple(self.colours[self.starts[frame] : self.starts[frame + 1]].tolist())


def read_bits(wave: Wave, profile: Profile) -> Bits:
    """Return the bits of a wave."""
    low_first = wave.times[1:] if len(wave.levels) and wave.levels[0] else wave.times
    rises, falls = low_first[1::2], low_first[2::2]
    count = len(falls)
    cut = len(rises) > count
    ends = rises[1:] if cut or not count else np.append(rises[1:], wave.end)
    high = falls - rises[:count]
    value = (high >= one_from(profile, wave.tick_ns)).astype(np.uint8)
    return Bits(rises[:count], high, ends - falls, value, bool(count) and not cut, cut)


def one_from(profile: Profile, tick_ns: Fraction) -> int:
    """Return the fewest ticks of high that are a one, by rule 2."""
    assert profile.zero_high.most is not None
    return fitting(-(-(profile.zero_high.most + profile.one_high.least) // (2 * tick_ns)))


def fitting(ticks: int) -> int:
    """Return a number of ticks, or the largest of 64 bits: no wave is longer."""
    return min(ticks, TICK_LIMIT - 1)


def split(
    bits: Bits, profile: Profile, tick_ns: Fraction, count: int, order: str, sampling: int = 0
) -> Frames:
    """Return the frames that a string of lamps takes.

    Parameters
    ----------
    bits : see :func:`read_bits`
    tick_ns : nanoseconds a tick lasts
    count : lamps of the string
    order : the channels in their order on the wire
    sampling : ticks by which the latch gap may be shorter, see :class:`busbox.lines.wave.Wave`

    Raises
    ------
    ValueError : ``count`` is less than 1, or the order does not hold RGB or RGBW, each once
    """
    if count < 1:
        raise ValueError(f"count must be at least 1, not {count}")
    if sorted(order) != sorted(CHANNELS.get(len(order), "")):
        raise ValueError(
            "order must contain each of the letters RGB or each of RGBW once, "
            f"not {format_value(order)}"
        )
    inside = profile.gap.counts(tick_ns, sampling * tick_ns)
    assert inside is not None
    least = fitting(inside[0])
    last = np.flatnonzero(bits.low >= least)
    if len(bits.low) and not (len(last) and last[-1] == len(bits.low) - 1):
        last = np.append(last, len(bits.low) - 1)
    first = np.concatenate((last[:0], [0], last[:-1] + 1))[: len(last)]
    low = bits.low[last]
    latched = low >= least
    falls = bits.begin[last] + bits.high[last]
    numbers = last - first + 1
    lamp_bits = profile.channel_bits * len(order)
    lamps = np.minimum(numbers // lamp_bits, count)
    return Frames(
        first,
        numbers,
        bits.begin[first],
        low,
        latched,
        np.where(latched, falls + least, -1),
        numbers % lamp_bits,
        np.maximum(numbers - count * lamp_bits, 0),
        lamp_bits,
        _colours(bits.value, first, lamps, order) if profile.colours else None,
        np.concatenate(([0], np.cumsum(lamps))),
    )


def _colours(value: NDArray[np.uint8], first: Ints, lamps: Ints, order: str) -> NDArray[np.uint32]:
    """Return the colours of the lamps of all frames, put together from the bits on the wire."""
    width = 8 * len(order)
    before = np.cumsum(lamps) - lamps
    begin = np.repeat(first - before * width, lamps) + width * np.arange(int(lamps.sum()))
    octets = np.packbits(value[begin[:, None] + np.arange(width)], axis=1).astype(np.uint32)
    colours = np.zeros(len(begin), dtype=np.uint32)
    for place, channel in enumerate(order):
        colours |= octets[:, place] << np.uint32(SHIFTS[channel])
    return colours
