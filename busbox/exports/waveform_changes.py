"""What changes in a waveform: signals and levels as columns, some cycles at a time.

A row is (cycle, number of the signal, value). Rows are in order of cycle; within a cycle, resets come
first, then pins, then what a recording itself does not hold, then the bus. A signal may have several
rows in a cycle: the last one counts.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any, NamedTuple, Protocol

import numpy as np
from numpy.typing import NDArray

from busbox.bus.transfers import ERR, NONE, RESET, WATCHDOG
from busbox.recording import Accesses, Recording

#: Signals of the bus: name and width.
BUS = {
    "cyc": 1, "stb": 1, "we": 1, "adr": 32, "sel": 4, "write_data": 32, "read_data": 32, "ack": 1,
    "err": 1,
}  # fmt: skip

#: Accesses, and edges of a pin, that become rows in one go; two or more.
AT_ONCE = 1 << 15

Column = NDArray[Any]


class Rows(NamedTuple):
    """Columns: cycles, numbers of signals, values."""

    cycles: Column
    signals: Column
    values: Column

    def where(self, chosen: Any) -> Rows:
        """Return some of the rows: a mask, numbers or a slice."""
        return Rows(self.cycles[chosen], self.signals[chosen], self.values[chosen])


class Levels(NamedTuple):
    """What a signal becomes after cycle 0: cycles in order, at most two rows in a cycle, and values."""

    cycles: Column
    values: Column


class Numbers(NamedTuple):
    """Numbers of the signals: of RST, of each pin, of the bus by name, of STB in each slot.

    ``first`` is that of the first signal that a recording itself does not hold.
    """

    rst: int
    pins: Sequence[int]
    bus: Mapping[str, int]
    slots: Sequence[int]
    first: int


def changes(
    recording: Recording, numbers: Numbers, others: Sequence[Levels] = ()
) -> Iterator[Rows]:
    """Yield what changes after cycle 0, each time all of some cycles.

    Parameters
    ----------
    others : what further signals become, from number ``numbers.first`` on
    """
    streams: list[_Stream] = [
        _Levels(numbers.rst, *_resets(recording)),
        *(  # the level in cycle 0 is no change
            _Levels(pin, line.cycles[1:], line.levels[1:])
            for pin, line in zip(numbers.pins, recording.lines.values(), strict=True)
        ),
        *(_Levels(number, *levels) for number, levels in enumerate(others, numbers.first)),
        _Bus(recording, numbers),
    ]
    while True:
        limits = (limit for stream in streams if (limit := stream.limit()) is not None)
        before = min(limits, default=None)
        rows = _joined([stream.take(before) for stream in streams])
        yield rows.where(np.argsort(rows.cycles, kind="stable"))
        if before is None:
            return


class _Stream(Protocol):
    def limit(self) -> int | None:
        """Return the cycle before which there are as many rows as are taken at once, if any."""

    def take(self, before: int | None) -> Rows:
        """Return the rows of the cycles before that one, and after those that were taken."""


class _Levels:
    """The levels of one signal, in order of cycle, at most two in a cycle."""

    def __init__(self, number: int, cycles: Column, levels: Column) -> None:
        self._number, self._cycles, self._levels = number, cycles, levels
        self._taken = 0

    def limit(self) -> int | None:
        return _cycle(self._cycles, self._taken + AT_ONCE)

    def take(self, before: int | None) -> Rows:
        first, self._taken = self._taken, _end(self._cycles, self._taken, before)
        part = slice(first, self._taken)
        return _rows(self._cycles[part], self._number, self._levels[part])


def _resets(recording: Recording) -> Column:
    """Return cycles and levels of RST, which is high for the cycles of each reset."""
    rows = [
        (cycle, level)
        for first, length in recording.resets
        for cycle, level in ((first, 1), (first + length, 0))
        if cycle > 0 and (level or cycle < recording.cycles)
    ]
    return np.array(rows, dtype="i8").reshape(-1, 2).T


class _Bus:
    """The bus's signals: an access is up from its start to its end (a reset cuts that cycle)."""

    def __init__(self, recording: Recording, numbers: Numbers) -> None:
        self._accesses, self._cycles = recording.accesses, recording.cycles
        self._numbers = numbers
        # Number -1, of an address that no slot decodes, takes the last place.
        self._stb = np.array([*numbers.slots, 0])
        self._delays = np.array([*(slot.delay for slot in recording.slots), 0], dtype="i8")
        self._taken = 0
        self._later = _joined([])  # rows of accesses that were taken, for later cycles

    def limit(self) -> int | None:
        return _cycle(self._accesses.start, self._taken + AT_ONCE)

    def take(self, before: int | None) -> Rows:
        first, self._taken = self._taken, _end(self._accesses.start, self._taken, before)
        part = self._accesses.part(first, self._taken)
        follows = np.append(self._accesses.start[first + 1 : self._taken + 1], self._cycles)
        rows = _joined([self._later, *self._of(part, follows[: len(part)])])
        if before is None:
            return rows
        now = rows.cycles < before
        self._later = rows.where(~now)
        return rows.where(now)

    def _of(self, part: Accesses, follows: Column) -> Iterator[Rows]:
        """Yield the rows of some accesses; where cycles are equal, the later ones count.

        Parameters
        ----------
        follows : for each access, the cycle in which the next one starts, or the run is over
        """
        start, end, write, ended = part.start, part.end, part.write, part.terminator
        free = np.where(ended == RESET, end, end + 1)
        seen = start + self._delays[part.slot]
        up = free > start
        strobed = up & (part.slot >= 0) & (seen < free)
        stb = self._stb[part.slot]
        yield _some(strobed & (free < self._cycles), free, stb, 0)
        idle = (free < follows) & (free > 0)
        for name in BUS:
            yield _some(idle, free, self._numbers.bus[name], 0)
        error = up & ((ended == ERR) | (ended == WATCHDOG))
        acknowledged = up & ~error & (ended != RESET) & (ended != NONE)
        read = np.where(write, 0, part.data)
        at_start: Mapping[str, Any] = {
            "cyc": 1, "stb": 1, "we": write, "adr": part.address, "sel": part.lanes,
            "write_data": np.where(write, part.data, 0), "read_data": 0, "ack": 0, "err": 0,
        }  # fmt: skip
        at_end: Mapping[str, Any] = {
            "err": (error, 1),
            "ack": (acknowledged, 1),
            "read_data": (acknowledged, read),
        }
        once = start == end
        for name, value in at_start.items():
            if name in at_end:
                which, last = at_end[name]
                value = np.where(which & once, last, value)
            yield _some(up, start, self._numbers.bus[name], value)
        for name, (which, last) in at_end.items():
            yield _some(which & ~once, end, self._numbers.bus[name], last)
        yield _some(strobed, seen, stb, 1)


def _some(which: Column, cycles: Column, signals: Any, values: Any) -> Rows:
    """Return the rows of some accesses."""
    return _rows(
        cycles[which],
        signals[which] if isinstance(signals, np.ndarray) else signals,
        values[which] if isinstance(values, np.ndarray) else values,
    )


def _rows(cycles: Column, signals: Any, values: Any) -> Rows:
    """Return rows of the types that all have; a number stands for a column of it."""
    like = (np.broadcast_to(column, cycles.shape) for column in (cycles, signals, values))
    return Rows(
        *(column.astype(kind) for column, kind in zip(like, ("i8", "u4", "u4"), strict=True))
    )


def _joined(parts: Sequence[Rows]) -> Rows:
    nothing = np.empty(0, dtype="i8")
    return Rows(
        *(np.concatenate(columns) for columns in zip(_rows(nothing, 0, 0), *parts, strict=True))
    )


def _cycle(cycles: Column, number: int) -> int | None:
    """Return the cycle of a row, or None if there are fewer."""
    return int(cycles[number]) if number < len(cycles) else None


def _end(cycles: Column, first: int, before: int | None) -> int:
    """Return the number of the first row, from ``first`` on, that is not before a cycle."""
    if before is None:
        return len(cycles)
    return first + int(np.searchsorted(cycles[first : first + AT_ONCE], before))
