"""``[[input]]``: what the board gives to an input pin: a level, bytes on a line, or a captured line."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise
from math import ceil
from pathlib import Path
from typing import Annotated

from pydantic import Field

from busbox.basics.errors import InputError, Mistake, format_value, join_or, nearest
from busbox.basics.keys import Key
from busbox.basics.toml_lines import KeyPath
from busbox.basics.units import Span
from busbox.bench.context import Context
from busbox.bench.pins import Pins
from busbox.bench.table import (
    BYTES_TEXT,
    CLOCK_TEXT,
    RATE_TEXT,
    SPAN_TEXT,
    Bytes,
    ClockText,
    Rate,
    SpanText,
    Table,
)
from busbox.lines.wave import Wave
from busbox.run.connections import FRAME_BITS, serial_levels
from busbox.system.scenario import InputLevel

#: Keys that say something of one way only.
_BELONGS = {"rate": "bytes", "spacing": "bytes", "line": "capture", "sample_clock": "capture"}


class InputTable(Table):
    """``[[input]]``: a level, bytes on a serial line, or the line of a capture."""

    at: Annotated[SpanText, Key("When it begins.", SPAN_TEXT, "'40 us'", "cycles")]
    pin: Annotated[
        str,
        Key(
            "The input pin.",
            "a string such as 'levers.in.4'",
            "'levers.in.4'",
        ),
    ]
    level: Annotated[
        Annotated[int, Field(ge=0, le=1)] | None,
        Key(
            "The level from then on.",
            "0 or 1",
            "1",
            default="none",
        ),
    ] = None
    bytes: Annotated[
        Bytes | None,
        Key(
            "Bytes on a serial line.",
            BYTES_TEXT,
            "'ready'",
            default="none",
        ),
    ] = None
    capture: Annotated[
        str | None,
        Key(
            "File with a captured line, VCD or CSV.",
            "a string such as 'line.csv'",
            "'line.csv'",
            default="none",
        ),
    ] = None
    line: Annotated[
        str | None,
        Key(
            "The line of the capture.",
            "a string such as 'tx'",
            "'tx'",
            default="the only line",
        ),
    ] = None
    sample_clock: Annotated[
        ClockText | None,
        Key(
            "Sample clock of a capture without times.",
            CLOCK_TEXT,
            "'24 MHz'",
            default="the times in the capture",
        ),
    ] = None
    rate: Annotated[Rate, Key("Rate of the bytes.", RATE_TEXT, "9600", "bits per second")] = 115_200
    spacing: Annotated[
        SpanText,
        Key(
            "Idle time between two bytes.",
            SPAN_TEXT,
            "'1 ms'",
            "cycles",
        ),
    ] = Span(cycles=0)

    def build(self, number: int, pins: Pins, context: Context) -> list[InputLevel]:
        """Return the levels in order of cycle; none if a mistake keeps them out."""
        pins.driven_by_input(number, self.pin)
        path: KeyPath = ("input", number)
        where = pins.find((*path, "pin"), self.pin)
        if where is None:
            return []
        ways = [self.level is not None, self.bytes is not None, self.capture is not None]
        if sum(ways) != 1:
            context.mistakes.note(path, "must have one of level, bytes or capture")
            return []
        for key, way in _BELONGS.items():
            if key in self.model_fields_set and getattr(self, way) is None:
                context.mistakes.note((*path, key), f"is only allowed together with {way}")
        levels = self._levels(path, context)
        return [InputLevel(cycle, *where, level) for cycle, level in levels]

    def _levels(self, path: KeyPath, context: Context) -> Iterable[tuple[int, int]]:
        """Return (cycle, level) of every change."""
        clock = context.clock_hz
        start = self.at.in_cycles(clock)
        if self.bytes is not None:
            if not rate_fits((*path, "rate"), self.rate, context):
                return []
            return serial_levels(self.bytes, start, clock, self.rate, self._idle(clock))
        if self.capture is not None:
            return self._captured(path, self.capture, context)
        return [(start, self.level or 0)]

    def _idle(self, clock: int) -> Fraction:
        """Return the idle time between two bytes, in seconds."""
        spacing = self.spacing.seconds
        return Fraction(self.spacing.cycles, clock) if spacing is None else spacing

    def sending(self, clock: int) -> tuple[int, int]:
        """Return the first cycle of the bytes, and the first one after their last stop bit."""
        count = len(self.bytes or b"")
        seconds = Fraction(FRAME_BITS * count, self.rate) + (count - 1) * self._idle(clock)
        start = self.at.in_cycles(clock)
        return start, start + max(0, ceil(seconds * clock))

    def _captured(self, path: KeyPath, capture: str, context: Context) -> list[tuple[int, int]]:
        """Return (cycle, level) of every change of the captured line."""
        file = context.folder / capture
        try:
            from busbox.lines.captures import read_capture

            waves = read_capture(file, self.sample_clock)
        except InputError as error:
            for mistake in error.mistakes:
                _note_of_capture(path, capture, file, mistake, context)
            return []
        line = self._line_of(path, waves, context)
        if line is None:
            return []
        try:
            return _changes(
                line, waves[line], self.at.in_cycles(context.clock_hz), context.clock_hz
            )
        except ValueError as error:
            context.mistakes.note((*path, "capture"), str(error))
            return []

    def _line_of(self, path: KeyPath, waves: Mapping[str, Wave], context: Context) -> str | None:
        """Return the line of the capture that is asked for, or None if there is none."""
        at, known = (*path, "line"), list(waves)
        if self.line is None and len(known) > 1:
            text = f"must be given, since the capture has several: {join_or(known)}"
            context.mistakes.note(at, text)
            return None
        line = known[0] if self.line is None else self.line
        if line not in known:
            text = f"must be {join_or(known)}, not {line!r}{nearest(line, known)}"
            context.mistakes.note(at, text)
            return None
        return line


def build_inputs(
    tables: Iterable[tuple[int, InputTable]], pins: Pins, context: Context
) -> list[InputLevel]:
    """Return the levels of all inputs; no two of one pin in the same cycle."""
    found: list[InputLevel] = []
    seen: set[tuple[int, int, str]] = set()
    sent: dict[str, list[tuple[int, int, int]]] = {}
    for number, table in tables:
        if table.bytes is not None and context.timed:
            begin, end = table.sending(context.clock_hz)
            sent.setdefault(table.pin, []).append((begin, number, end))
        levels = table.build(number, pins, context)
        places = [(level.cycle, level.device, level.pin) for level in levels]
        twice = [place[0] for place in places if place in seen]
        if twice and context.timed:
            other = "choose another cycle" if table.level is not None else "move one of them"
            text = f"{table.pin} already gets a level in cycle {twice[0]:,}; {other}"
            context.mistakes.note(("input", number, "at"), text)
        seen.update(places)
        found += levels
    for pin, spans in sent.items():
        _check_overlaps(pin, sorted(spans), context)
    return found


def _check_overlaps(pin: str, spans: list[tuple[int, int, int]], context: Context) -> None:
    """Note bytes that begin before those of another input have left the pin."""
    for (_, before, end), (begin, number, _) in pairwise(spans):
        if begin < end:
            text = (
                f"the bytes begin in cycle {begin:,}, but those of input.{before} keep {pin} until "
                f"cycle {end:,}; begin there or later"
            )
            context.mistakes.note(("input", number, "at"), text)


def rate_fits(path: KeyPath, rate: int, context: Context) -> bool:
    """Return whether a bit of a serial line lasts a cycle or longer; note it if not."""
    clock = context.clock_hz
    if not context.timed or rate <= clock:
        return True
    text = f"must be at most the clock, {clock:,} bits per second, not {format_value(rate)}"
    context.mistakes.note(path, f"{text}: a bit lasts at least one cycle")
    return False


def _changes(line: str, wave: Wave, start: int, clock_hz: int) -> list[tuple[int, int]]:
    """Return (cycle, level) of every change of a captured line, the first one in cycle ``start``.

    Raises
    ------
    ValueError : no level is known, or the clock is too slow for it
    """
    if not len(wave.times):
        raise ValueError(f"must have a level of 0 or 1; that of {line} is never known")
    times = wave.times.tolist()
    cycles = [start + -(-(time - times[0]) * wave.tick * clock_hz // 1) for time in times]
    for cycle, after, time in zip(cycles, cycles[1:], times[1:], strict=False):
        if cycle == after:
            raise ValueError(
                f"the clock must be faster: two edges of {line} fall into cycle {cycle:,} (the second "
                f"is {float(time * wave.tick):.9g} s into the capture)"
            )
    return list(zip(cycles, wave.levels.tolist(), strict=True))


def _note_of_capture(
    path: KeyPath, name: str, file: Path, mistake: Mistake, context: Context
) -> None:
    """Note a mistake of a capture: at the key, or at the line of its file."""
    if mistake.line is None:
        text = mistake.text.replace(repr(str(file)), repr(name), 1)
        context.mistakes.note((*path, "capture"), text)
    else:
        context.mistakes.add([replace(mistake, where=str(file))])
