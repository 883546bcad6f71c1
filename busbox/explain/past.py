"""The past of one device in a run, from the recording: writes, stored words, events, edges."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Mapping
from functools import lru_cache
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from busbox.bus.transfers import ACK
from busbox.device import NO_ACCESS
from busbox.map.registers import WORD, Place, lane_mask

if TYPE_CHECKING:
    from busbox.recording import Event, Recording
    from busbox.system.system import System


#: Answers of each kind that are kept.
KEPT = 4096


class RecordedPast:
    """The past of one device; see :class:`busbox.device.Past`.

    Words are computed as :class:`busbox.device.RegisterModel` stores them; what a device itself
    writes to a register is not known here.
    """

    def __init__(self, system: System, recording: Recording, number: int) -> None:
        self.clock_hz = recording.clock_hz
        self._recording = recording
        self._device = system.devices[number]
        self._writes = self._written(number)
        self._events: dict[tuple[str, ...], list[Event]] = {}
        self._places: dict[str, tuple[Place, int]] = {}
        # A device is asked the same again for every edge of a frame or a byte.
        self._last_write = lru_cache(KEPT)(self._find_write)
        self._last_word = lru_cache(KEPT)(self._find_word)
        self._first_edges: dict[str, dict[int, int]] = {}

    def _written(self, number: int) -> dict[int, tuple[list[int], list[int]]]:
        """Return the writes to each register and the cycles in which they ended, by its offset."""
        from busbox.recording import where

        slot, accesses = self._device.slot, self._recording.accesses
        writes: dict[int, tuple[list[int], list[int]]] = {}
        for access in where(
            accesses, lambda part: (part.slot == number) & part.write & (part.terminator == ACK)
        ):
            made, ends = writes.setdefault(slot.offset(int(accesses.address[access])), ([], []))
            made.append(access)
            ends.append(int(accesses.end[access]))
        return writes

    def _place(self, register: str) -> tuple[Place, int]:
        """Return a register and its offset."""
        if register not in self._places:
            table = self._device.slot.table
            offset = table.offset_of(register)
            place = None if offset is None else table.at(offset)
            if offset is None or place is None:
                raise KeyError(f"{self._device.name} has no register {register!r}")
            self._places[register] = place, offset
        return self._places[register]

    def _counting(self, register: str, cycle: int) -> Iterator[int]:
        """Yield the writes to a register that a read in ``cycle`` may show, the last first."""
        place, offset = self._place(register)
        since = 0 if place.register.kept else self._reset_before(cycle)
        made, ends = self._writes.get(offset, ([], []))
        for number in reversed(range(bisect_left(ends, since), bisect_left(ends, cycle))):
            if self._whole(place, made[number]):
                yield made[number]

    def _whole(self, place: Place, access: int) -> bool:
        lanes, whole = int(self._recording.accesses.lanes[access]), place.register.whole
        return bool(lanes) and lanes & whole == whole

    def _reset_before(self, cycle: int) -> int:
        """Return the first cycle of the last reset before ``cycle``, 0 if there was none."""
        return max((first for first, _ in self._recording.resets if first < cycle), default=0)

    def write(self, register: str, cycle: int) -> int:
        """Return the last write to a register that a read in ``cycle`` may show, -1 if none."""
        return self._last_write(register, cycle)

    def _find_write(self, register: str, cycle: int) -> int:
        return next(self._counting(register, cycle), NO_ACCESS)

    def word(self, register: str, cycle: int) -> int:
        """Return the stored word of a register as of ``cycle``."""
        return self._last_word(register, cycle)

    def _find_word(self, register: str, cycle: int) -> int:
        place, accesses = self._place(register)[0], self._recording.accesses
        stores = place.register.mask("rw", "wo")
        word, left = 0, stores
        for access in self._counting(register, cycle):
            lanes = lane_mask(int(accesses.lanes[access])) & left
            word |= int(accesses.data[access]) & lanes
            left &= ~lanes
            if not left:
                break
        return word | place.register.reset_value & (WORD & ~stores | left)

    def data(self, access: int) -> int:
        """Return the word that an access transferred."""
        return int(self._recording.accesses.data[access])

    def _of_kinds(self, kinds: tuple[str, ...]) -> list[Event]:
        if kinds not in self._events:
            self._events[kinds] = [
                event
                for event in self._recording.events
                if event.device == self._device.name and event.kind in kinds
            ]
        return self._events[kinds]

    def event(self, kinds: tuple[str, ...], cycle: int) -> tuple[int, Mapping[str, Any]] | None:
        """Return (cycle, details) of the last event of these kinds up to ``cycle``, since a reset."""
        since, events = self._reset_before(cycle), self._of_kinds(kinds)
        number = bisect_right(events, cycle, key=lambda event: event.cycle) - 1
        if number < 0 or events[number].cycle < since:
            return None
        return events[number].cycle, events[number].details

    def begun(self, kinds: tuple[str, ...], cycles: NDArray[Any]) -> NDArray[Any]:
        """Return the cycles that :meth:`event` gives for many cycles in order, -1 for no event."""
        events = np.array([-1, *(event.cycle for event in self._of_kinds(kinds))])
        resets = np.array([0, *(first for first, _ in self._recording.resets)])
        found = events[np.searchsorted(events, cycles, side="right") - 1]
        since = resets[np.maximum(0, np.searchsorted(resets, cycles) - 1)]
        return np.where(found < since, -1, found)

    def first_edge(self, pin: str, access: int) -> int | None:
        """Return the cycle of the first edge of a pin that an access caused."""
        if pin not in self._first_edges:
            line = self._recording.lines[f"{self._device.name}.{pin}"]
            made, first = np.unique(line.accesses, return_index=True)
            cycles = line.cycles[first].tolist()
            self._first_edges[pin] = dict(zip(made.tolist(), cycles, strict=True))
        return self._first_edges[pin].get(access)
