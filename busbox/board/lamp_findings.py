"""What is wrong with a lamp line, and what to try."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from functools import partial
from typing import Any

import numpy as np

from busbox.board.attachment import Advice, LineFinding
from busbox.board.lamp_counts import advice_for, counts_that_fit
from busbox.board.lamp_reading import LampReading
from busbox.board.light import Flashing
from busbox.lines.bits import Frames
from busbox.lines.profiles import WINDOWS, show_ns

#: If at most one in so many fails, the cause is not the sender's cycle counts.
FEW = 3


class LampFindings:
    """The findings of one reading."""

    def __init__(self, reading: LampReading) -> None:
        self.reading = reading

    def findings(self) -> Iterator[LineFinding]:
        """Yield them, in no order."""
        if self.reading.wrong and self.reading.read.failures:
            yield from self._timing() if len(self.reading.judged) == 1 else [self._nearest()]
        frames = self.reading.read.frames
        for number in np.flatnonzero(frames.latched & (frames.broken > 0)).tolist():
            describe = partial(self._describe_broken, number)
            edge = int(frames.begin[number])
            yield LineFinding("broken-bit-count", int(frames.shows[number]), describe, edge)
        for one in self.reading.flashing:
            if not one.passes:
                yield LineFinding(
                    "flash-rate", one.end, partial(self._describe_flash, one), part=one.kind
                )

    def _timing(self) -> Iterator[LineFinding]:
        """Yield every time outside its window."""
        read, keys = self.reading.read, list(WINDOWS)
        numbers = read.failing_bits
        fell = read.bits.begin[numbers] + read.bits.high[numbers]
        rose = fell + read.bits.low[numbers]
        for place, (window, *ticks) in enumerate(
            zip(read.failures.window.tolist(), fell.tolist(), rose.tolist(), strict=True)
        ):
            yield self._finding(keys[window], ticks, partial(self._describe_time, place), place)

    def _nearest(self) -> LineFinding:
        """Return the first failure of the profile that comes closest."""
        return replace(next(self._timing()), describe=self._describe_none)

    def _finding(self, key: str, ticks: list[int], describe: Any, place: int) -> LineFinding:
        """Return the finding of a time; ``ticks``: in which its bit fell, and in which it was over."""
        tick = ticks[0] if key.endswith("_high") else ticks[1]
        rule = "latch-gap" if key == "gap" else "pulse-width"
        return LineFinding(rule, tick, describe, part=key, advice=partial(self._advice, place))

    def _describe_time(self, place: int) -> tuple[str, str]:
        message = self._failure(place)
        return f"{message[0].upper()}{message[1:]}.", self._hint(place)

    def _failure(self, place: int) -> str:
        """Return a failure as text."""
        frame, lamp, bit, key, ticks = self.reading.read.failures.at(place)
        time = f"{ticks:,} {self.reading.unit} ({show_ns(ticks * self.reading.wave.tick_ns)})"
        allowed = f"{self.reading.name} allows {self.reading.read.profile.windows[key]}"
        if key == "gap":
            return (
                f"the latch gap after frame {frame} lasts only {time}, so the lamps treat what follows "
                f"as the same frame; {allowed}"
            )
        where = f"frame {frame}, lamp {lamp}, bit {bit}"
        if key.endswith("_high"):
            return f"{where} is high for {time}; {self.reading.name} allows {self._highs()}"
        return f"{where}, read as a {key.removesuffix('_low')}, is low for {time}; {allowed}"

    def _highs(self) -> str:
        windows = self.reading.read.profile.windows
        return f"{windows['zero_high']} for a zero and {windows['one_high']} for a one"

    def _one_off(self, key: str) -> bool:
        """Return whether most times of a kind are fine."""
        measure = self.reading.read.measures[key]
        return key != "gap" and FEW * measure.failing <= measure.count

    def _advice(self, place: int) -> Advice:
        key = self.reading.read.failures.at(place)[3]
        return Advice() if key == "gap" or self._one_off(key) else advice_for(self.reading)

    def _hint(self, place: int) -> str:
        key = self.reading.read.failures.at(place)[3]
        if self.reading.wave.sampling:
            return "Check the sender's clock and cycle counts; busbox timing CLOCK lists good ones."
        if self._one_off(key):
            return (
                "Most bits are fine: look for occasional delays, such as an interrupt or a longer path "
                "through a loop (busbox why shows the cause)."
            )
        if key != "gap":
            return counts_that_fit(self.reading)
        inside = self.reading.read.profile.windows[key].counts(self.reading.wave.tick_ns)
        assert inside is not None
        name = self.reading.name
        return f"Make it longer: at this clock {name} needs at least {inside[0]:,} cycles."

    def _describe_none(self) -> tuple[str, str]:
        bits = self.reading.read.failing_count
        return (
            f"The line meets no profile; {self.reading.name} comes closest: {self._failure(0)} "
            f"({bits:,} of {len(self.reading.read.bits.begin):,} bits fail).",
            f"{self._hint(0)} The summary shows every profile; profile = NAME selects one.",
        )

    def _describe_broken(self, number: int) -> tuple[str, str]:
        frames: Frames = self.reading.read.frames
        bits, one = int(frames.bits[number]), frames.lamp_bits
        lamps, over = divmod(bits, one)
        if 2 * over <= one:
            what = f"{_count(lamps, 'lamp')} of {one} bits and {_count(over, 'bit')} left over"
        else:
            what = f"{_count(lamps + 1, 'lamp')} of {one} bits less {_count(one - over, 'bit')}"
        return (
            f"Frame {number} has {_count(bits, 'bit')}, which is {what}: bits were lost or added, and "
            "lamps show colours other than those sent.",
            self._hint_of_bits(bits),
        )

    def _hint_of_bits(self, bits: int) -> str:
        string = self.reading.string
        other = 7 - string.channels
        if bits % (self.reading.read.profile.channel_bits * other) == 0:
            count = "four" if other == 4 else "three"
            return f"If the lamps have {count} channels, set channels = {other}."
        return (
            "Look for a pulse that was lost or cut: a reset in the frame, a gap inside it, a loop that "
            "ends too early."
        )

    def _describe_flash(self, one: Flashing) -> tuple[str, str]:
        moment = "sample" if self.reading.wave.sampling else "cycle"
        return (
            f"Lamp {one.lamp} flashes {one.most} times in a second, from {moment} {one.start:,} "
            f"to {one.end:,} ({one.kind} flashes, WCAG 2.2, success criterion 2.3.1); three are "
            "allowed.",
            "Make it blink more slowly, or change less. Flashing light can cause seizures; local codes "
            "and licensed practice decide.",
        )


def _count(number: int, noun: str) -> str:
    return f"{number:,} {noun}" if number == 1 else f"{number:,} {noun}s"
