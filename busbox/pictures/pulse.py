"""One pulse of a lamp line against its windows.

Two strips, one for the high and one for the low after it, each with its own scale, as a latch gap is a
thousand times longer than a pulse. In each the time grows to the right from the edge that begins it;
above is the level of the line, below the window as an area, and between them the margin as a dimension
line: from the edge to the nearer end of the window. A time outside is hatched up to the window.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from busbox.board.lamp_reading import LampReading
from busbox.board.lamp_string import LampString
from busbox.lines.lamps import judge
from busbox.lines.profiles import WINDOWS, Window, show_ns
from busbox.lines.wave import Wave
from busbox.pictures.svg import MARGIN, SMALL, Look, Sheet, text_width
from busbox.recording import Recording
from busbox.system.system import System

_TALL, _WINDOW = 30.0, 16.0


@dataclass(frozen=True)
class Strip:
    """A time and its window.

    Attributes
    ----------
    what : such as ``high of a one``
    level : of the line
    ticks, time : how long, in ticks and in ns
    window : as in the profile
    open : whether the run ended before the time did, so that it is at least so long
    """

    what: str
    level: int
    ticks: int
    time: Fraction
    window: Window
    open: bool = False

    @property
    def margin(self) -> Fraction:
        """How far the time is inside its window, in ns; below 0: outside."""
        return self.window.margin(self.time)

    @property
    def inside(self) -> bool:
        """Whether the time is in its window, by the same counts as the judgement."""
        counts = self.window.counts(self.time / self.ticks)
        return counts is not None and counts[0] <= self.ticks <= (counts[1] or self.ticks)

    @property
    def end(self) -> Fraction:
        """The nearer end of the window, in ns."""
        least, most = self.window.least, self.window.most
        return least if most is None or self.time - least < most - self.time else most

    @property
    def verdict(self) -> str:
        """The margin in words."""
        if self.open and not self.inside:
            return f"the run ends {show_ns(-self.margin)} before the gap"
        if self.inside:
            return f"inside by {show_ns(self.margin)}"
        side = "short" if self.time <= self.window.least else "long"
        return f"too {side} by {show_ns(-self.margin)}"


def lamp_strings(system: System) -> dict[str, LampString]:
    """Return the lamp strings of a system by their pins, such as ``lamps.line``."""
    found = {}
    for one in system.attached:
        if isinstance(one.part, LampString):
            found[f"{system.devices[one.device].name}.{one.pin}"] = one.part
    return found


def reading_of(recording: Recording, pin: str, string: LampString) -> LampReading:
    """Return what a string of lamps takes from its pin."""
    wave = Wave.of_line(
        recording.lines[pin], recording.clock_hz, recording.cycles, recording.resets
    )
    options = string.string
    judged = {
        name: judge(wave, one, options.count, options.channels, options.order)
        for name, one in string.profiles.items()
    }
    return LampReading(options, wave, judged)


def pulse_picture(reading: LampReading, number: int, look: Look, pin: str = "") -> str:
    """Return a pulse of a line against its windows as SVG.

    Parameters
    ----------
    reading : see :func:`reading_of`
    number : of the pulse on the line, from 0
    pin : its name

    Raises
    ------
    IndexError : there is no such pulse
    TooNarrow : it does not fit
    """
    count = len(reading.read.bits.begin)
    if not 0 <= number < count:
        raise IndexError(f"pulse must be 0 to {count - 1}, not {number}")
    sheet = Sheet(look)
    bits = reading.read.bits
    title = f"Pulse {number:,}{' of ' + pin if pin else ''}"
    place = reading.describe(int(bits.begin[number])).split(": a ")[0]
    about = (
        f"{place[0].upper()}{place[1:]}. Purple: the level of the line. "
        f"Windows: profile {reading.name}, {reading.read.profile.source}."
    )
    y = sheet.heading(title, about)
    strips = strips_of(reading, number)
    for strip in strips:
        y = _draw(sheet, strip, y + 6, reading.unit)
    y = sheet.legend(y, [("blue", "window"), ("orange", "missed by")])
    said = "; ".join(f"{one.what}: {_length(one, reading.unit)}, {one.verdict}" for one in strips)
    return sheet.svg(y + MARGIN - 6, title, said)


def strips_of(reading: LampReading, number: int) -> tuple[Strip, Strip]:
    """Return the high and the low of a pulse, each with its window.

    A low that the judgement took for a latch gap is one here, even if it is too short to latch.
    """
    bits, frames, profile = reading.read.bits, reading.read.frames, reading.read.profile
    tick = reading.wave.tick_ns
    high, low, value = (int(column[number]) for column in (bits.high, bits.low, bits.value))
    kind = ("zero", "one")[value]
    frame = int(np.searchsorted(frames.first, number, side="right")) - 1
    last = number == frames.first[frame] + frames.bits[frame] - 1
    open_ = bits.open and number == len(bits.begin) - 1
    gap = _failing_gap(reading, number) or (last and (frames.latched[frame] or open_))
    low_key = "gap" if gap else f"{kind}_low"
    windows = profile.windows
    return (
        Strip(WINDOWS[f"{kind}_high"], 1, high, high * tick, windows[f"{kind}_high"]),
        Strip(WINDOWS[low_key], 0, low, low * tick, windows[low_key], open_),
    )


def _failing_gap(reading: LampReading, number: int) -> bool:
    """Return whether the judgement took the low after a pulse for a gap that is too short."""
    failures = reading.read.failures
    which = reading.read.failing_bits == number
    return bool(np.any(failures.window[which] == list(WINDOWS).index("gap")))


def _length(strip: Strip, unit: str) -> str:
    at_least = "at least " if strip.open else ""
    noun = unit if strip.ticks != 1 else unit.removesuffix("s")
    return f"{at_least}{strip.ticks:,} {noun} = {show_ns(strip.time)}"


def _draw(sheet: Sheet, strip: Strip, y: float, unit: str) -> float:
    window, time = strip.window, strip.time
    left, right = float(MARGIN), float(sheet.width - MARGIN)
    most = window.most or max(window.least, time) * Fraction(9, 8)
    scale = float((right - left) / (max(time, most) * Fraction(10, 9)))

    def x(ns: Fraction) -> float:
        return left + float(ns) * scale

    y += 12
    sheet.text(left, y, strip.what, bold=True)
    said = _length(strip, unit)
    sheet.text(left + text_width(strip.what, bold=True) + 12, y, said)
    y += 14
    high, low = y, y + _TALL
    mine, other = (high, low) if strip.level else (low, high)
    rest = mine if strip.open else other
    sheet.line([(left, other), (left, mine), (x(time), mine), (x(time), rest)], "purple", 2.5)
    sheet.line([(x(time), rest), (right, rest)], "purple", 2.5, dashed=True)
    y = low + 22
    _dimension(sheet, strip, x(time), x(strip.end), y)
    y += 12
    end = right if window.most is None else x(window.most)
    if window.least == window.most:
        end = x(window.least) + 2
    sheet.area(x(window.least), y, end - x(window.least), _WINDOW, "blue")
    if not strip.inside:
        ends = sorted((x(time), x(strip.end)))
        sheet.area(ends[0], y, max(2.0, ends[1] - ends[0]), _WINDOW, "orange")
    sheet.line([(x(time), low + 4), (x(time), y + _WINDOW + 3)], "ink", dashed=True)
    y += _WINDOW + 15
    _ends(sheet, window, x(window.least), end, y)
    return y + 14


def _dimension(sheet: Sheet, strip: Strip, time: float, end: float, y: float) -> None:
    """Draw the line from the edge to the nearer end of its window, with its length in words."""
    one, other = sorted((time, end))
    sheet.line([(one, y), (other, y)])
    for place in (one, other):
        sheet.line([(place, y - 4), (place, y + 4)])
    wide = text_width(strip.verdict, SMALL, bold=True)
    beside = other + 8
    if beside + wide > sheet.width - MARGIN:
        beside = one - 8 - wide
    if beside < MARGIN:  # no room at either side: above the line
        beside, y = (one + other - wide) / 2, y - 9
    sheet.text(beside, y + 4, strip.verdict, SMALL, bold=True, halo=True)


def _ends(sheet: Sheet, window: Window, least: float, most: float, y: float) -> None:
    """Write the ends of a window below it."""
    if window.most is None or window.most == window.least:
        text = f"{'longer than' if window.beyond else 'from'} {show_ns(window.least)}"
        if window.most is not None:
            text = f"exactly {show_ns(window.least)}"
        at = min(least, sheet.width - MARGIN - text_width(text, SMALL))
        sheet.text(at, y, text, SMALL)
        return
    low, high = show_ns(window.least), show_ns(window.most)
    half = text_width(low, SMALL) / 2, text_width(high, SMALL) / 2
    first = min(max(least, MARGIN + half[0]), sheet.width - MARGIN - 2 * sum(half) - 12 + half[0])
    second = max(most, first + sum(half) + 12)
    sheet.text(first, y, low, SMALL, anchor="middle")
    sheet.text(second, y, high, SMALL, anchor="middle")
