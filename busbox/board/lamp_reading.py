"""A lamp line as its lamps take it: by which profile, its frames, colours and currents."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property, lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from busbox.basics.distinct import numbered
from busbox.basics.phrases import GAP, Phrases
from busbox.board.light import flashing
from busbox.board.supply import Supply, currents, supply
from busbox.lines.colour import Colours
from busbox.lines.lamps import Judgement
from busbox.lines.profiles import show_ns
from busbox.lines.wave import Wave

#: A line has zeros and ones if its longest high is so many times the shortest: the windows of every
#: profile differ by more in their middle.
BOTH = Fraction(3, 2)


@dataclass(frozen=True)
class StringOptions:
    """What is known about a string before its line is decoded.

    Attributes
    ----------
    count : lamps
    channels : colour channels of a lamp, 3 or 4
    order : channels in their order on the wire, or None for that of the profile
    one_profile : whether the line is judged by one profile only, else by all
    amperes : of a channel at full light, or None for that of the profile
    light : ``linear`` or ``srgb``, see :mod:`busbox.lines.colour`
    """

    count: int
    channels: int
    order: str | None
    one_profile: bool
    amperes: Fraction | None
    light: str


class LampReading:
    """A line, read by one of the profiles that it was judged by.

    Parameters
    ----------
    string : what is known of the lamps
    wave : the line
    judged : its judgement by each profile, by name

    Attributes
    ----------
    kept : names of the profiles that it meets
    name, read : the profile by which it is read, and the judgement by that
    wrong : whether it meets none
    unit : what a tick is called
    latched : numbers of the frames that the lamps show
    shows : ticks from which they show them
    colours : 0xRRGGBB or 0xWWRRGGBB, latched frames x lamps
    amperes : of a channel at full light
    flashing : how often the lamps flash
    """

    def __init__(self, string: StringOptions, wave: Wave, judged: Mapping[str, Judgement]) -> None:
        self.string, self.wave, self.judged = string, wave, judged
        self.kept = [name for name, one in judged.items() if one.passes]
        self.name = self._reading()
        self.read = judged[self.name]
        self.wrong = not self.kept
        self.unit = "samples" if wave.sampling else "cycles"
        self.latched: list[int] = np.flatnonzero(self.read.frames.latched).tolist()
        self.shows = self.read.frames.shows[self.latched]
        self.colours = self._shown()
        self.amperes = string.amperes or self.read.profile.channel_current
        self.flashing = flashing(self.shows, self.colours, wave.tick, string.light)

    def _reading(self) -> str:
        """Return the profile to read by.

        Of the profiles that are met and give colours, the one that latches most frames; of these, the
        one with the widest worst margin. If only one without colours is met, that one. If none is
        met, the one with the widest worst margin, of those that distinguish zeros from ones, if the
        line has bits of both lengths.
        """
        if self.string.one_profile:
            return next(iter(self.judged))
        coloured = [name for name, one in self.judged.items() if one.profile.colours and one.meant]
        kept = [name for name in coloured if name in self.kept] or self.kept
        if not kept:
            return max(coloured, key=lambda name: _nearness(self.judged[name]))
        return max(kept, key=lambda name: _fit(self.judged[name]))

    def _shown(self) -> Colours:
        """Return what each lamp shows after each latched frame.

        A lamp that took no colour keeps the one before.
        """
        table = np.zeros((len(self.latched), self.string.count), dtype=np.uint32)
        if not self.read.profile.colours:
            return table
        now = np.zeros(self.string.count, dtype=np.uint32)
        for place, number in enumerate(self.latched):
            taken = self.read.frames.colours_of(number)
            now[: len(taken)] = taken
            table[place] = now
        return table

    @cached_property
    def current(self) -> list[tuple[int, Fraction]] | None:
        """(tick, amperes that the string draws from then on), if the lamps have colours."""
        if not self.read.profile.colours:
            return None
        amperes = currents(self.colours, self.string.channels, self.amperes)
        return list(zip(self.shows.tolist(), amperes, strict=True))

    @cached_property
    def supply(self) -> Supply | None:
        """The current of the string over what is known of the line, if the lamps have colours."""
        if not self.read.profile.colours or not len(self.wave.times):
            return None
        begin, end = int(self.wave.times[0]), self.wave.end
        channels = self.string.channels
        return supply(self.shows, self.colours, channels, self.amperes, begin, end)

    def verdict(self) -> str:
        """Return ``passes``, ``fails`` or, where there is nothing to judge, ``no bits``."""
        if not len(self.read.bits.begin):
            return "no bits"
        return "fails" if self.wrong else "passes"

    def describe(self, tick: int) -> str:
        """Return the bit that a tick is part of, "" before the first."""
        return self.describe_all(np.array([tick])).text(0)

    def describe_all(self, ticks: NDArray[Any]) -> Phrases:
        """Return the bits that ticks are part of, "" before the first."""
        bits, frames = self.read.bits, self.read.frames
        if not len(bits.begin):
            return Phrases.of("" for _ in ticks)
        number = np.searchsorted(bits.begin, ticks, side="right") - 1
        frame = np.maximum(0, np.searchsorted(frames.first, number, side="right") - 1)
        lamp, bit = np.divmod(number - frames.first[frame], frames.lamp_bits)
        kinds, which = numbered(2 * bits.high[number].astype("i8") + bits.value[number])
        forms = [
            f"frame {GAP}, lamp {GAP}, bit {GAP}: a {('zero', 'one')[kind % 2]}, high for "
            f"{kind // 2} {self.unit} ({self._long(kind // 2)})"
            for kind in kinds.tolist()
        ]
        which = np.where(number < 0, len(forms), which)
        return Phrases.filled([*forms, ""], which, frame, lamp, bit)

    @cached_property
    def _long(self) -> Callable[[int], str]:
        """What gives a number of ticks as time; a line has few different pulses."""
        return lru_cache(lambda ticks: show_ns(ticks * self.wave.tick_ns))


def _fit(one: Judgement) -> tuple[int, Fraction]:
    """Return how many frames latch, and the worst margin in ticks."""
    return int(np.count_nonzero(one.frames.latched)), _worst_margin(one)


def _nearness(one: Judgement) -> tuple[bool, Fraction]:
    """Return whether zeros and ones differ where the line has both, and the worst margin."""
    high, value = one.bits.high, one.bits.value
    both = len(high) > 0 and int(high.max()) >= BOTH * int(high.min())
    return not both or bool(value.min() != value.max()), _worst_margin(one)


def _worst_margin(one: Judgement) -> Fraction:
    """Return the worst margin in ticks."""
    margins = [m.margin_ticks for m in one.measures.values() if m.margin_ticks is not None]
    return min(margins, default=Fraction(0))
