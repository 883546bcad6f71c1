"""What is wrong with a lamp line, and what to try."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np

from busbox.board.attachment import LineFinding
from busbox.board.light import Flashing
from busbox.lines.bits import Frames
from busbox.lines.profiles import WINDOWS, show_ns

if TYPE_CHECKING:
    from busbox.board.lamp_look import Look

#: If not more than one in so many fails, it is no matter of the sender's counts.
FEW = 3


class Troubles:
    """The troubles of one look."""

    def __init__(self, look: Look) -> None:
        self.look = look

    def troubles(self) -> Iterator[LineFinding]:
        """Yield them, in no order."""
        if self.look.wrong and self.look.read.failures:
            yield from self._timing() if len(self.look.judged) == 1 else [self._nearest()]
        frames = self.look.read.frames
        for number in np.flatnonzero(frames.latched & (frames.broken > 0)).tolist():
            tell = partial(self._tell_broken, number)
            edge = int(frames.begin[number])
            yield LineFinding("broken-bit-count", int(frames.shows[number]), tell, edge)
        for one in self.look.flashing:
            if not one.passes:
                yield LineFinding(
                    "flash-rate", one.end, partial(self._tell_flash, one), part=one.kind
                )

    def _timing(self) -> Iterator[LineFinding]:
        """Yield every time outside its window."""
        numbers = self.look.read.failing_bits
        keys = list(WINDOWS)
        for place, (number, window) in enumerate(
            zip(numbers.tolist(), self.look.read.failures.window.tolist(), strict=True)
        ):
            yield self._trouble(number, keys[window], partial(self._tell_time, place))

    def _nearest(self) -> LineFinding:
        """Return the first failure of the profile that is the nearest."""
        number = int(self.look.read.failing_bits[0])
        key = list(WINDOWS)[int(self.look.read.failures.window[0])]
        return self._trouble(number, key, self._tell_none)

    def _trouble(self, number: int, key: str, tell: Any) -> LineFinding:
        bits = self.look.read.bits
        rise, high, low = (int(column[number]) for column in (bits.begin, bits.high, bits.low))
        edges = {"zero_high": rise + high, "one_high": rise + high}
        tick = edges.get(key, rise + high + low)
        rule = "latch-gap" if key == "gap" else "pulse-width"
        return LineFinding(rule, tick, tell, part=key)

    def _tell_time(self, place: int) -> tuple[str, str]:
        message = self._failure(place)
        return f"{message[0].upper()}{message[1:]}.", self._hint(place)

    def _failure(self, place: int) -> str:
        """Return a failure in words."""
        frame, lamp, bit, key, ticks = self.look.read.failures.at(place)
        time = f"{ticks} {self.look.unit} ({show_ns(ticks * self.look.wave.tick_ns)})"
        allowed = f"{self.look.name} allows {self.look.read.profile.windows[key]}"
        if key == "gap":
            return (
                f"the latch gap behind frame {frame} lasts {time}, so that the lamps take what follows "
                f"for the same frame; {allowed}"
            )
        where = f"frame {frame}, lamp {lamp}, bit {bit}"
        return f"the {WINDOWS[key]} in {where} lasts {time}; {allowed}"

    def _hint(self, place: int) -> str:
        key = self.look.read.failures.at(place)[3]
        if self.look.wave.sampling:
            return (
                "Look at the sender's clock and counts: busbox timing CLOCK tells which counts fit."
            )
        measure = self.look.read.measures[key]
        if key != "gap" and FEW * measure.failing <= measure.count:
            return (
                "Most are as they should be: look for what comes in between, an interrupt or a longer "
                "way through a loop (busbox why tells it)."
            )
        inside = self.look.read.profile.windows[key].counts(self.look.wave.tick_ns)
        clock = f"at this clock {self.look.name} allows"
        if inside is None:
            return f"No whole number of clocks fits {self.look.name} here: take another clock."
        if inside[1] is None:
            return f"Let it last longer: {clock} {inside[0]:,} clocks or more."
        return f"Change the counts of the sender: {clock} {inside[0]} to {inside[1]} clocks."

    def _tell_none(self) -> tuple[str, str]:
        bits = len(np.unique(self.look.read.failing_bits))
        return (
            f"No profile is kept; {self.look.name} is the nearest: {self._failure(0)} ({bits:,} of "
            f"{len(self.look.read.bits.begin):,} bits fail).",
            f"{self._hint(0)} The summary shows every profile; profile = NAME judges by one.",
        )

    def _tell_broken(self, number: int) -> tuple[str, str]:
        frames: Frames = self.look.read.frames
        bits, one = int(frames.bits[number]), frames.lamp_bits
        lamps, over = divmod(bits, one)
        if 2 * over <= one:
            what = f"{over} beyond {lamps} whole {'lamp' if lamps == 1 else 'lamps'}"
        else:
            what = f"{one - over} short of {lamps + 1} whole {'lamps' if lamps else 'lamp'}"
        return (
            f"Frame {number} has {bits:,} bits, {what} of {one} bits each: a chain is a bit too long "
            "or too short, and lamps show other colours than those sent.",
            self._hint_of_bits(bits),
        )

    def _hint_of_bits(self, bits: int) -> str:
        string = self.look.string
        other = 7 - string.channels
        if bits % (self.look.read.profile.channel_bits * other) == 0:
            count = "four" if other == 4 else "three"
            return f"If the string has {count} channels, say so (channels = {other})."
        return (
            "Look for a pulse that was lost or cut: a reset in the frame, a gap inside it, a loop that "
            "ends too early."
        )

    def _tell_flash(self, one: Flashing) -> tuple[str, str]:
        moment = "sample" if self.look.wave.sampling else "cycle"
        return (
            f"Lamp {one.lamp} flashes {one.most} times in a second, from {moment} {one.start} to "
            f"{one.end} ({one.kind} flashes, WCAG 2.2, success criterion 2.3.1); three are allowed.",
            "Let it blink more slowly, or change less. Flashing light can cause seizures; local codes "
            "and licensed practice decide.",
        )
