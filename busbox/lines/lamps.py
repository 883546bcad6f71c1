"""The judgement of a lamp line: every high and every low of a wave against a profile.

A number of ticks is inside a window or not by exact arithmetic; all times are exact fractions of
nanoseconds.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from busbox.basics.distinct import changed
from busbox.lines.bits import Bits, Frames, Ints, fitting, read_bits, split
from busbox.lines.profiles import PROFILES, WINDOWS, Profile, Window
from busbox.lines.wave import Wave


@dataclass(frozen=True)
class Measure:
    """The times of one kind, against their window.

    Attributes
    ----------
    window : as in the profile
    count : how many times were measured
    least, most, mean : nanoseconds, exact; None if none was measured
    margin : nanoseconds between the worst time and the nearer end of the window, widened by the
        sampling; below 0 it lies outside; None if none was measured
    margin_ticks : the same in ticks, exact
    failing : how many times lie outside
    mean_outside : whether the mean of a capture's times, which is finer than a sample, lies outside.
        Two edges that are each seen up to a sample late make a length with a standard deviation of
        sample / sqrt(6) (computed, for edges independent of the samples), n of them a mean with one
        that is sqrt(n) times smaller; sample / sqrt(n), more than twice that, is allowed
    """

    window: Window
    count: int
    least: Fraction | None
    most: Fraction | None
    mean: Fraction | None
    margin: Fraction | None
    margin_ticks: Fraction | None
    failing: int
    mean_outside: bool = False


@dataclass(frozen=True, eq=False)
class Failures:
    """The times outside their windows, in order of bit; one element of each column a failure.

    Attributes
    ----------
    frame, lamp, bit : which bit it is of, each from 0; ``bit`` counts within the lamp, as on the wire.
        A lamp may be beyond the string; a gap is the one after its bit
    window : number of the window in :data:`busbox.lines.profiles.WINDOWS`
    ticks : the time, in ticks
    """

    frame: Ints
    lamp: Ints
    bit: Ints
    window: NDArray[np.uint8]
    ticks: Ints

    def __len__(self) -> int:
        return len(self.frame)

    def at(self, place: int) -> tuple[int, int, int, str, int]:
        """Return (frame, lamp, bit, name of the window, ticks) of one failure."""
        columns = (self.frame, self.lamp, self.bit, self.window, self.ticks)
        frame, lamp, bit, window, ticks = (int(column[place]) for column in columns)
        return frame, lamp, bit, list(WINDOWS)[window], ticks

    def __iter__(self) -> Iterator[tuple[int, int, int, str, int]]:
        names = list(WINDOWS)
        columns = (self.frame, self.lamp, self.bit, self.window, self.ticks)
        for frame, lamp, bit, window, ticks in zip(*(one.tolist() for one in columns), strict=True):
            yield frame, lamp, bit, names[window], ticks


@dataclass(frozen=True, eq=False)
class Judgement:
    """A wave against one profile.

    Attributes
    ----------
    profile : the profile
    meant : whether the profile is for the string's number of channels
    bits, frames : what the lamps take, see :mod:`busbox.lines.bits`
    measures : by the names of :data:`busbox.lines.profiles.WINDOWS`
    failures : the times outside their windows
    """

    profile: Profile
    meant: bool
    bits: Bits
    frames: Frames
    measures: Mapping[str, Measure]
    failures: Failures

    @property
    def passes(self) -> bool:
        """Whether the profile is for such a string, and every time and mean is in its window.

        Broken frames do not count here: a wrong number of bits is not a timing error.
        """
        means = any(one.mean_outside for one in self.measures.values())
        return self.meant and not len(self.failures) and not means

    @property
    def failing_bits(self) -> Ints:
        """The number of the bit, from the first of the wave, of every failure."""
        failures, frames = self.failures, self.frames
        first = frames.first[failures.frame] if len(failures) else failures.frame
        numbers: Ints = first + failures.lamp * frames.lamp_bits + failures.bit
        return numbers

    @property
    def failing_count(self) -> int:
        """How many bits have a failure: failures are in order of bit."""
        return int(np.count_nonzero(changed(self.failing_bits)))


def judge(
    wave: Wave,
    profile: Profile,
    count: int,
    channels: int = 3,
    order: str | None = None,
) -> Judgement:
    """Return how a wave meets a profile, and what the lamps take from it.

    A low that is a latch gap belongs to the gaps, any other to its bit. A gap that is too short
    ends no frame and would be reported as the low of a bit; but one that follows the last lamp of the
    string, and is longer than the window for that low (without an upper end: than the shortest whole
    bit), counts as a gap. The last low of a wave is not measured: it may continue.

    Parameters
    ----------
    wave : the line; each window is wider at both ends by the lengths that it may be wrong by
    profile : the windows
    count : lamps of the string
    channels : colour channels of a lamp, 3 or 4
    order : channels in their order on the wire; None for that of the profile

    Raises
    ------
    ValueError : ``count`` is too small, the order does not hold each of the channels once
    """
    order = profile.order_for(channels) if order is None else order
    if len(order) != channels:
        raise ValueError(f"order must hold {channels} letters, not {order!r}")
    bits = read_bits(wave, profile)
    frames = split(bits, profile, wave.tick_ns, count, order, wave.sampling)
    ruler = _Ruler(profile, wave.tick_ns, wave.sampling)
    measures, failing = {}, []
    for number, (key, times, places) in enumerate(_times(bits, frames, count, ruler)):
        measures[key], wrong = ruler.measure(profile.windows[key], times)
        failing.append((places[wrong], np.full(len(wrong), number, np.uint8), times[wrong]))
    return Judgement(
        profile,
        channels in profile.channels,
        bits,
        frames,
        measures,
        _failures(frames, *(np.concatenate(column) for column in zip(*failing, strict=True))),
    )


def verdicts(
    wave: Wave, count: int, channels: int = 3, order: str | None = None
) -> dict[str, Judgement]:
    """Return the judgement under each profile that comes with Busbox, by name; see :func:`judge`.

    Those that pass: ``[name for name, one in verdicts(...).items() if one.passes]``.
    """
    return {
        name: judge(wave, profile, count, channels, order) for name, profile in PROFILES.items()
    }


@dataclass(frozen=True)
class _Ruler:
    """Measures numbers of ticks against the windows of a profile."""

    profile: Profile
    tick_ns: Fraction
    sampling: int

    def measure(self, window: Window, times: Ints) -> tuple[Measure, Ints]:
        """Return the measure of some times, and the places of those that lie outside."""
        if not len(times):
            return Measure(window, 0, None, None, None, None, None, 0), np.zeros(0, np.int64)
        wider = self.sampling * self.tick_ns
        inside = window.counts(self.tick_ns, wider)
        wrong = np.arange(len(times)) if inside is None else np.flatnonzero(_outside(times, inside))
        least, most = (int(one) * self.tick_ns for one in (times.min(), times.max()))
        mean = Fraction(int(times.sum()), len(times)) * self.tick_ns
        margin = min(window.margin(least), window.margin(most)) + wider
        # wider / sqrt(n), compared without a root: beyond**2 * n > wider**2
        beyond = -window.margin(mean)
        outside = bool(wider) and beyond > 0 and beyond**2 * len(times) > wider**2
        ticks = margin / self.tick_ns
        return Measure(
            window, len(times), least, most, mean, margin, ticks, len(wrong), outside
        ), wrong

    def pause_from(self, key: str) -> int:
        """Return the fewest ticks of a low that is too long for a bit."""
        most = self.profile.windows[key].most
        if most is None:
            windows = self.profile
            most = min(
                windows.zero_high.least + windows.zero_low.least,
                windows.one_high.least + windows.one_low.least,
            )
        return fitting(int((most + self.sampling * self.tick_ns) // self.tick_ns) + 1)


def _outside(times: Ints, inside: tuple[int, int | None]) -> NDArray[np.bool_]:
    outside: NDArray[np.bool_] = times < fitting(inside[0])
    if inside[1] is not None:
        outside |= times > fitting(inside[1])
    return outside


def _times(
    bits: Bits, frames: Frames, count: int, ruler: _Ruler
) -> Iterator[tuple[str, Ints, Ints]]:
    """Yield (window, times in ticks, bit of each) for every window of a profile."""
    ones = bits.value == 1
    whole = np.ones(len(ones), dtype=np.bool_)  # lows whose length is known
    whole[len(whole) - bits.open :] = False
    gaps = np.zeros(len(ones), dtype=np.bool_)
    gaps[frames.first + frames.bits - 1] = frames.latched
    place = np.arange(len(ones)) - np.repeat(frames.first, frames.bits)
    pauses = np.where(ones, ruler.pause_from("one_low"), ruler.pause_from("zero_low"))
    gaps |= ((place + 1) % (count * frames.lamp_bits) == 0) & (bits.low >= pauses)
    for key, column, which in (
        ("zero_high", bits.high, ~ones),
        ("one_high", bits.high, ones),
        ("zero_low", bits.low, ~ones & whole & ~gaps),
        ("one_low", bits.low, ones & whole & ~gaps),
        ("gap", bits.low, whole & gaps),
    ):
        places = np.flatnonzero(which)
        yield key, column[places], places


def _failures(frames: Frames, places: Ints, windows: NDArray[np.uint8], ticks: Ints) -> Failures:
    order = np.argsort(places, kind="stable")
    places = places[order]
    frame = np.searchsorted(frames.first, places, side="right") - 1
    lamp, bit = np.divmod(places - frames.first[frame], frames.lamp_bits)
    return Failures(frame, lamp, bit, windows[order], ticks[order])
