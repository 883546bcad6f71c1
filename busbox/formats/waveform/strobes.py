"""Strobes without a clock: times become cycles of the bench's clock."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from fractions import Fraction
from typing import Any

import numpy as np
from numpy.typing import NDArray

from busbox.basics.units import show_clock
from busbox.formats.waveform.notes import Notes
from busbox.formats.waveform.sampling import Signals
from busbox.formats.waveform.tokens import Values
from busbox.formats.waveform.transfers import Seen
from busbox.formats.waveform.vcd import Changes

Array = NDArray[Any]


class Strobe:
    """One strobe, with the time at which it began if it has not ended."""

    def __init__(self, signals: Signals, role: str) -> None:
        self._signals, self._role = signals, role
        self.open: int | None = None
        self.without_begin = 0

    def take(self, limit: int | None) -> tuple[Array, Array]:
        """Return begin and end of each strobe that ends before a limit."""
        times, levels = self._signals.levels(self._role, limit)
        if not len(times):
            return times, times
        rising = times[1:][(levels[1:] == 1) & (levels[:-1] == 0)]
        ends = times[1:][(levels[1:] == 0) & (levels[:-1] == 1)]
        begins = rising if self.open is None else np.concatenate(([self.open], rising))
        if levels[0] == 1 and self.open is None:  # active from the first: it began before the file
            self.without_begin += len(ends) > 0
            ends = ends[1:]
        self.open = int(begins[-1]) if len(begins) > len(ends) else None
        return begins[: len(ends)], ends


class Strobes:
    """Finds the accesses of a bus without a clock.

    Parameters
    ----------
    clock_hz : the clock whose cycles the times become
    """

    def __init__(self, signals: Signals, notes: Notes, clock_hz: int) -> None:
        self._signals, self._notes = signals, notes
        assert signals.moments.unit is not None
        self._scale: Fraction = signals.moments.unit * clock_hz
        self._strobes = {role: Strobe(signals, role) for role in ("read", "write")}
        self._zero: int | None = None
        notes.clock = show_clock(clock_hz)

    def accesses(self, pieces: Iterable[Changes]) -> Iterator[Seen]:
        """Yield the accesses of a file, piece by piece."""
        for changes in pieces:
            self._signals.add(changes)
            if changes.last is None:
                continue
            if self._zero is None:
                self._zero = int(changes.stamps[0])
            yield self._take(changes.last)
            self._signals.forget(changes.last)
        yield self._take(None)
        for one in self._strobes.values():
            self._notes.unfinished += one.without_begin + (one.open is not None)

    def _take(self, limit: int | None) -> Seen:
        return Seen.both(*(self._of(role, limit) for role in ("read", "write")))

    def _of(self, role: str, limit: int | None) -> Seen:
        signals = self._signals
        begins, ends = self._strobes[role].take(limit)
        other = "write" if role == "read" else "read"
        both = signals.values(other, ends, False)
        for row in np.flatnonzero((both.ones != 0) & (both.unknown == 0))[:1]:
            raise signals.moments.wrong(ends[row], "both strobes are active")
        if "select" in signals.wires:
            selected = signals.values("select", ends, False)
            signals.known("select", selected, ends)
            begins, ends = begins[selected.ones != 0], ends[selected.ones != 0]
        write = np.full(len(ends), role == "write")
        lanes = signals.values("lanes", ends, False) if "lanes" in signals.wires else None
        name = "data" if "data" in signals.wires else f"{role}_data"
        nothing = np.zeros(len(ends), dtype="u8")
        data = Values(nothing, ~nothing)
        if name in signals.wires:
            data = signals.values(name, ends, False)
        return Seen(
            self._cycles(begins), self._cycles(ends) - 1, ends, write,
            signals.values("address", ends, False), lanes, data, np.ones(len(ends), dtype=bool),
        )  # fmt: skip

    def _cycles(self, times: Array) -> Array:
        """Return the first cycle that begins at each time or after it; the file begins with cycle 0."""
        zero, above, below = self._zero or 0, self._scale.numerator, self._scale.denominator
        cycles = [-(-(time - zero) * above // below) for time in times.tolist()]
        exact = sum((time - zero) * above % below == 0 for time in times.tolist())
        self._notes.moments += len(cycles)
        self._notes.rounded += len(cycles) - exact
        return np.array(cycles, dtype="i8")
