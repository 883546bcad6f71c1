"""The length of a bit on a serial line, found from its edges alone, without a rate to start from.

Every low of a character, and every edge after its start edge, lies a whole number of bits away from
where it began. An edge is seen up to a tick late (a sampled line), or was sent up to a tick late (a bit
that is not a whole number of cycles), so a distance of k bits is wrong by less than a tick either way::

    k bit - 1 <= distance <= k bit + 1

Each edge therefore bounds the bit: (distance - 1) / k <= bit <= (distance + 1) / k. The range that
is left gives the stated accuracy; the longest distance inside a character, of k bits, makes it
1 / k ticks or better. Where no length fits within a tick, or none with which every character has its
stop bit, 2, 4, 8 ... ticks are tried, up to an eighth of the shortest low; the accuracy is that much
coarser.

Several lengths may fit: a text whose lows are all two bits long looks like one at half the rate. All
that fit are returned. Each says whether every character of the format then has its stop bit.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from math import lcm
from typing import Any

import numpy as np
from numpy.typing import NDArray

from busbox.basics.distinct import distinct
from busbox.lines.wave import Wave

Array = NDArray[Any]
Interval = tuple[Fraction, Fraction]
#: An interval in parts of a tick, whole numbers.
Parts = tuple[int, int]

#: The longest low of any character: start bit, nine data bits, parity.
MOST_BITS = 11
#: Parts of a tick, of which every tick divided by 1 to MOST_BITS is a whole number.
PARTS = lcm(*range(1, MOST_BITS + 1))
#: Ticks of the shortest bit that is measured, for each tick that an edge may be wrong by.
LEAST_TICKS = 5
#: An interval is looked at in pieces whose ends differ by a 64th at most, so that an edge eleven bits
#: on is not taken for the next one.
PIECE = Fraction(65, 64)


@dataclass(frozen=True)
class BitTime:
    """A length of a bit that all edges fit.

    Attributes
    ----------
    ticks : the line through the start edges with the least squares, sum(k t) / sum(k**2) for edges t
        ticks and k bits after the start edge of their character
    least, most : the bounds that all edges leave, in ticks
    exact : whether every edge lies exactly there
    stopped : whether every character, read with it, has its stop bit
    first : tick of the first start edge
    """

    ticks: Fraction
    least: Fraction
    most: Fraction
    exact: bool
    stopped: bool
    first: int

    @property
    def accuracy(self) -> Fraction:
        """How far the true rate may be from 1 / ``ticks``, as a part of it."""
        return max(self.ticks / self.least - 1, 1 - self.ticks / self.most)


def bit_times(wave: Wave, low_bits: int) -> tuple[BitTime, ...]:
    """Return the lengths of a bit that fit the edges of a line, the longest first; none if unknown.

    Unknown is a line without a low between two edges, one whose edges fit no common length, and one
    that would fit bits of a few ticks too, as those cannot be distinguished.

    Parameters
    ----------
    wave : the line; a low that one of its ``cuts`` ended is left out
    low_bits : bits of a character before its stop bit: the start bit, data and parity
    """
    lows = _lows(wave)
    if not len(lows):
        return ()
    wrong = 1
    unstopped: tuple[BitTime, ...] = ()
    while wrong == 1 or 8 * wrong <= lows[0]:
        intervals = _intervals(lows, wrong)
        if any(least < LEAST_TICKS * wrong for least, _ in intervals):
            break
        fits = [_fit(wave, piece, low_bits, wrong) for piece in _pieces(intervals)]
        found = _distinct(fit for fit in fits if fit is not None)
        if any(one.stopped for one in found):
            return found
        unstopped = unstopped or found
        wrong *= 2
    return unstopped


def _lows(wave: Wave) -> list[int]:
    """Return the lengths of the lows between two edges, each once, in ticks, the shortest first."""
    falls = np.flatnonzero(wave.levels[:-1] == 0)
    falls = falls[(falls > 0) & ~np.isin(wave.times[falls + 1], wave.cuts)]
    lengths: list[int] = distinct(wave.times[falls + 1] - wave.times[falls]).tolist()
    return lengths


def _intervals(lows: Sequence[int], wrong: int) -> list[Interval]:
    """Return the lengths of a bit of which every low is a whole number, at most ``MOST_BITS``.

    A low that is longer than any character could be is a break, and says nothing.
    """
    shortest = lows[0]
    longest = MOST_BITS * (shortest + wrong) + wrong
    found: list[Parts] = [(PARTS // 2, PARTS * (shortest + wrong))]
    for low in (low for low in lows if low <= longest):
        allowed = [
            (PARTS // bits * (low - wrong), PARTS // bits * (low + wrong))
            for bits in range(1, MOST_BITS + 1)
        ]
        found = _joined(
            (max(least, low_end), min(most, high_end))
            for least, most in found
            for low_end, high_end in allowed
            if max(least, low_end) <= min(most, high_end)
        )
    return [(Fraction(least, PARTS), Fraction(most, PARTS)) for least, most in found]


def _joined(intervals: Iterable[Parts]) -> list[Parts]:
    """Return intervals in order, those that meet made one."""
    joined: list[Parts] = []
    for least, most in sorted(intervals):
        if joined and least <= joined[-1][1]:
            joined[-1] = (joined[-1][0], max(most, joined[-1][1]))
        else:
            joined.append((least, most))
    return joined


def _pieces(intervals: Iterable[Interval]) -> Iterator[Interval]:
    for least, most in intervals:
        while most > least * PIECE:
            yield least, least * PIECE
            least *= PIECE
        yield least, most


def _fit(wave: Wave, piece: Interval, low_bits: int, wrong: int) -> BitTime | None:
    """Return the length of a bit near a piece that fits every edge inside a character, or None."""
    near = (piece[0] + piece[1]) / 2
    starts = _starts(wave, int((low_bits + Fraction(1, 2)) * near))
    begins = wave.times[starts]
    stops = begins + int((low_bits + Fraction(1, 2)) * near)
    ends = np.searchsorted(wave.times, stops, side="right")
    counts = ends - starts - 1
    owner = np.repeat(np.arange(len(starts)), counts)
    edges = (
        np.arange(len(owner)) - np.repeat(np.cumsum(counts) - counts, counts) + starts[owner] + 1
    )
    whole = ~np.isin(owner, owner[np.isin(wave.times[edges], wave.cuts)])
    owner, edges = owner[whole], edges[whole]
    times = wave.times[edges] - begins[owner]
    bits = np.rint(times / float(near)).astype("i8")
    twice = (owner[1:] == owner[:-1]) & (bits[1:] == bits[:-1])
    if not len(bits) or bits.min() < 1 or bits.max() > low_bits or twice.any():
        return None
    least, most = Fraction(0), Fraction(wave.end - int(wave.times[0]))
    for bit in distinct(bits).tolist():
        some = times[bits == bit]
        least = max(least, Fraction(int(some.max()) - wrong, bit))
        most = min(most, Fraction(int(some.min()) + wrong, bit))
    if least > most or most < piece[0] or least > piece[1]:
        return None
    squares = int((bits * bits).sum())
    ticks = Fraction(
        sum(int(bit) * int(times[bits == bit].sum()) for bit in distinct(bits)), squares
    )
    exact = bool((times * ticks.denominator == bits * ticks.numerator).all())
    judged = (stops < wave.end) & (counts > 0)  # one without an edge is a break
    stopped = bool(wave.levels[ends - 1][judged].all())
    return BitTime(ticks, least, most, exact, stopped, int(begins[owner[0]]))


def _starts(wave: Wave, length: int) -> Array:
    """Return the falls that begin a character: each the first ``length`` ticks after the last."""
    falls = np.flatnonzero(wave.levels == 0)
    falls = falls[falls > 0]
    times = wave.times[falls]
    following = np.searchsorted(times, times + length, side="right").tolist()
    taken, number = [], 0
    while number < len(following):
        taken.append(number)
        number = following[number]
    starts: Array = falls[np.array(taken, dtype="i8")]
    return starts


def _distinct(fits: Iterable[BitTime]) -> tuple[BitTime, ...]:
    """Return fits, the longest bit first, each once."""
    found: list[BitTime] = []
    for fit in sorted(fits, key=lambda one: one.ticks, reverse=True):
        if found and found[-1].least <= fit.most:
            last = found.pop()
            best = max(last, fit, key=lambda one: one.stopped)
            least, most = min(last.least, fit.least), max(last.most, fit.most)
            fit = replace(best, least=least, most=most)
        found.append(fit)
    return tuple(found)
