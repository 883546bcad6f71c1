"""The signals of a bus in each of its cycles, from their changes.

A cycle ends with an edge of the clock; in it, a signal is what it was just before that edge: a change
at the time of the edge itself belongs to the next cycle, in whatever order the file has them. Where a
counter of cycles stands in place of a clock, or where every row of a file is a cycle, a signal is what
it is there.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

import numpy as np
from numpy.typing import NDArray

from busbox.basics.errors import InputError
from busbox.basics.units import Span
from busbox.formats.waveform.notes import Notes
from busbox.formats.waveform.signal_map import Wired
from busbox.formats.waveform.tokens import Values
from busbox.formats.waveform.vcd import Changes

Array = NDArray[Any]


@dataclass(frozen=True)
class Moments:
    """What the times of a file mean, for messages.

    Attributes
    ----------
    where : the file
    unit : seconds of one step; None if times are lines of the file
    """

    where: str
    unit: Fraction | None

    def show(self, time: int) -> str:
        """Return a time, exactly: ``1250 ns``; or a line."""
        return f"line {time}" if self.unit is None else str(Span(seconds=time * self.unit))

    def wrong(self, time: int, text: str) -> InputError:
        """Return the error of something at a time."""
        if self.unit is None:
            return InputError.of(text, self.where, int(time))
        return InputError.of(f"at {self.show(int(time))}: {text}", self.where)


class History:
    """The changes of one variable that are still needed; before the first, it is unknown."""

    def __init__(self, width: int) -> None:
        self.times: Array = np.array([-1], dtype="i8")
        mask = (1 << width) - 1
        self.values = Values(np.zeros(1, dtype="u8"), np.array([mask], dtype="u8"))

    def add(self, times: Array, values: Values) -> None:
        """Take further changes."""
        if len(times):
            self.times = np.concatenate((self.times, times))
            self.values = Values.joined(self.values, values)

    def forget(self, before: int) -> None:
        """Forget what no time from ``before`` on can depend on."""
        first = max(int(np.searchsorted(self.times, before)) - 1, 0)
        self.times, self.values = self.times[first:], self.values.take(slice(first, None))

    def at(self, times: Array, itself: bool) -> Values:
        """Return the values just before these times; ``itself``: at them."""
        if 4 * len(self.times) > len(times):
            side = "right" if itself else "left"
            return self.values.take(np.searchsorted(self.times, times, side) - 1)  # type: ignore[call-overload]
        first = np.searchsorted(times, self.times, "left" if itself else "right")
        counts = np.diff(first, append=len(times))
        return self.values.take(np.repeat(np.arange(len(counts)), counts))

    def levels(self, limit: int | None) -> tuple[Array, Values]:
        """Return the changes before a limit; of several at one time, the last."""
        last = np.ones(len(self.times), dtype=bool)
        last[:-1] = self.times[1:] != self.times[:-1]
        if limit is not None:
            last &= self.times < limit
        return self.times[last], self.values.take(last)


class Signals:
    """The signals of a map, by their roles, at any time that is known completely."""

    def __init__(self, wires: Wired, moments: Moments) -> None:
        self.wires, self.moments = wires, moments
        self.histories = [History(one.width) for one in wires.variables]

    def add(self, changes: Changes) -> None:
        """Take further changes."""
        for history, times, values in zip(
            self.histories, changes.times, changes.values, strict=True
        ):
            history.add(times, values)

    def forget(self, before: int) -> None:
        """Forget what no time from ``before`` on can depend on."""
        for history in self.histories:
            history.forget(before)

    def values(self, role: str, times: Array, itself: bool) -> Values:
        """Return the values of a signal; see :meth:`History.at`."""
        wire = self.wires.wires[role]
        ones, unknown = np.zeros(len(times), dtype="u8"), np.zeros(len(times), dtype="u8")
        for place, width in zip(wire.places, wire.widths, strict=True):
            part = self.histories[place].at(times, itself)
            if width < wire.width:
                ones, unknown = ones << np.uint64(width), unknown << np.uint64(width)
            ones, unknown = ones | part.ones, unknown | part.unknown
        if wire.flip:
            ones = (ones ^ np.uint64(wire.flip)) & ~unknown
        return Values(ones, unknown)

    def known(self, role: str, values: Values, times: Array, counts: Array | None = None) -> None:
        """Refuse a control signal that is unknown where it counts."""
        unknown = values.unknown != 0
        if counts is not None:
            unknown = unknown & counts
        for row in np.flatnonzero(unknown)[:1]:
            raise self.moments.wrong(
                times[row], f"{self.wires.wires[role].name} is unknown (x or z)"
            )

    def levels(self, role: str, limit: int | None) -> tuple[Array, Array]:
        """Return times and levels of a signal of one bit, from its first known level on.

        Raises
        ------
        InputError : it becomes unknown again
        """
        wire = self.wires.wires[role]
        times, values = self.histories[wire.places[0]].levels(limit)
        known = values.unknown == 0
        lost = known[:-1] & ~known[1:]
        for row in np.flatnonzero(lost)[:1] + 1:
            raise self.moments.wrong(times[row], f"{wire.name} is unknown (x or z)")
        levels = (values.ones[known] ^ np.uint64(wire.flip)) & np.uint64(1)
        return times[known], levels.astype("u1")


@dataclass(frozen=True)
class Rows:
    """Cycles that follow each other, none of them in a reset.

    Attributes
    ----------
    times : when the signals are sampled
    cycles : numbers; the first cycle without a reset is 0
    lengths : cycles for which nothing changes; 1 with a clock
    """

    signals: Signals
    itself: bool
    times: Array
    cycles: Array
    lengths: Array

    def __contains__(self, role: str) -> bool:
        return role in self.signals.wires

    def high(self, role: str, counts: Array | None = None, default: bool = False) -> Array:
        """Return in which rows a control signal is active.

        Parameters
        ----------
        counts : the rows in which it matters and so must be known; None for all
        default : what a signal is that the map does not have

        Raises
        ------
        InputError : it is unknown where it matters
        """
        if role not in self:
            return np.full(len(self.times), default)
        values = self.signals.values(role, self.times, self.itself)
        self.signals.known(role, values, self.times, counts)
        high: Array = values.ones != 0
        return high

    def at(self, role: str, rows: Array) -> Values:
        """Return the values of a signal in some rows."""
        return self.signals.values(role, self.times[rows], self.itself)


#: Times and cycles of the rows that are complete, and the time from which on changes are needed.
Ticks = tuple[Array, Array, int]


class ClockTicks:
    """Cycles that end with an edge of the clock."""

    itself = False

    def __init__(self, signals: Signals, notes: Notes) -> None:
        self._signals, self._notes = signals, notes
        self._count = 0
        self._last: int | None = None
        self._period: int | None = None

    def until(self, limit: int | None, now: int) -> Ticks:
        """Return the rows before a limit; ``now``: the last time so far."""
        times, levels = self._signals.levels("clock", limit)
        edges = times[1:][(levels[1:] == 1) & (levels[:-1] == 0)]
        cycles = self._count + np.arange(len(edges))
        self._count += len(edges)
        self._judge(edges)
        return edges, cycles, now if limit is None else limit

    def _judge(self, edges: Array) -> None:
        """Note where the period changes; a step of the file more or less is its rounding."""
        if not len(edges):
            return
        if self._last is not None:
            edges = np.concatenate(([self._last], edges))
        periods = np.diff(edges)
        self._last = int(edges[-1])
        while len(periods):
            if self._period is None:
                self._period = int(periods[0])
            other = np.flatnonzero(np.abs(periods - self._period) > 1)
            if not len(other):
                return
            at, new = int(edges[other[0]]), int(periods[other[0]])
            self._notes.period(at, self._period, new)
            if new < 4 * self._period:
                self._period = new
            periods, edges = periods[other[0] + 1 :], edges[other[0] + 1 :]

    def end(self, last: int) -> None:
        """Check what can be checked at the end of the file.

        Raises
        ------
        InputError : there was no edge
        """
        wire = self._signals.wires.wires["clock"]
        if self._last is None:
            raise InputError.of(f"{wire.name} has no edge that counts", self._signals.moments.where)
        if self._period is not None and last - self._last > 2 * self._period:
            self._notes.stopped(self._last, last)


class CounterTicks:
    """Cycles that a counter numbers; its last value is the end of the last cycle."""

    itself = True

    def __init__(self, signals: Signals) -> None:
        self._signals = signals
        self._any = False

    def until(self, limit: int | None, now: int) -> Ticks:
        """Return the rows before a limit; ``now``: the last time so far."""
        signals, wire = self._signals, self._signals.wires.wires["cycle"]
        times, values = signals.histories[wire.places[0]].levels(limit)
        if len(times) and times[0] == -1:
            times, values = times[1:], values.take(slice(1, None))
        signals.known("cycle", values, times)
        if not len(times):
            return times, times, 0
        self._any = True
        cycles = values.ones.astype("i8")
        for row in np.flatnonzero(cycles[1:] <= cycles[:-1])[:1] + 1:
            text = f"{wire.name} must grow, not go from {cycles[row - 1]:,} to {cycles[row]:,}"
            raise signals.moments.wrong(times[row], text)
        return times, cycles, int(times[-1]) + 1

    def end(self, last: int) -> None:
        """Check what can be checked at the end of the file."""
        if not self._any:
            name = self._signals.wires.wires["cycle"].name
            raise InputError.of(f"{name} never changes", self._signals.moments.where)


class RowTicks:
    """Cycles that are the rows of a file: every time is one."""

    itself = True

    def __init__(self, signals: Signals) -> None:
        self._signals, self._count = signals, 0

    def until(self, limit: int | None, now: int) -> Ticks:
        """Return the rows so far; each is complete at once."""
        times = self._signals.histories[0].times
        times = times[1:]
        cycles = self._count + np.arange(len(times))
        self._count += len(times)
        return times, cycles, now + 1

    def end(self, last: int) -> None:
        """Check nothing: the reader of the file has seen to it."""


AnyTicks = ClockTicks | CounterTicks | RowTicks


def rows_of(
    pieces: Iterable[Changes],
    signals: Signals,
    ticks: AnyTicks,
    cut: Callable[[int, int], None],
) -> Iterator[Rows]:
    """Yield the cycles outside resets, in order.

    Parameters
    ----------
    cut : called with the time and the number of cycles of each reset after the first cycle
    """
    sampling = _Sampling(signals, ticks, cut)
    last = 0
    for changes in pieces:
        signals.add(changes)
        if changes.last is not None:
            last = changes.last
            yield from sampling.rows(changes.last, last)
    yield from sampling.rows(None, last)
    sampling.end()
    ticks.end(last)


class _Sampling:
    """Splits rows at resets."""

    def __init__(self, signals: Signals, ticks: AnyTicks, cut: Callable[[int, int], None]) -> None:
        self._signals, self._ticks, self._cut = signals, ticks, cut
        self._base: int | None = None
        self._reset_since: tuple[int, int] | None = None
        self._reset_end = 0

    def end(self) -> None:
        """Tell a reset that lasts to the end of the file."""
        if self._reset_since is not None:
            time, cycle = self._reset_since
            self._cut(time, self._reset_end - cycle)

    def rows(self, limit: int | None, now: int) -> Iterator[Rows]:
        signals, itself = self._signals, self._ticks.itself
        times, cycles, needed = self._ticks.until(limit, now)
        lengths = np.diff(cycles)
        if isinstance(self._ticks, CounterTicks):  # the last row waits for the next one
            times, cycles = times[:-1], cycles[:-1]
        else:
            lengths = np.ones(len(times), dtype="i8")
        if len(times):
            every = Rows(signals, itself, times, cycles, lengths)
            in_reset = every.high("reset")
            borders = np.flatnonzero(in_reset[1:] != in_reset[:-1]) + 1
            for first, end in zip([0, *borders], [*borders, len(times)], strict=True):
                part = Rows(
                    signals, itself, times[first:end], cycles[first:end], lengths[first:end]
                )
                if in_reset[first]:
                    if self._base is not None and self._reset_since is None:
                        self._reset_since = int(part.times[0]), int(part.cycles[0])
                    self._reset_end = int(part.cycles[-1] + part.lengths[-1])
                    continue
                yield from self._free(part)
        signals.forget(needed)

    def _free(self, part: Rows) -> Iterator[Rows]:
        """Yield rows without a reset, numbered from the first such row on."""
        if self._base is None:
            self._base = int(part.cycles[0])
        if self._reset_since is not None:
            time, cycle = self._reset_since
            self._reset_since = None
            self._cut(time, self._reset_end - cycle)
        yield Rows(part.signals, part.itself, part.times, part.cycles - self._base, part.lengths)
