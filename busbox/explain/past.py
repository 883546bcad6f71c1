"""The past of one device in a run, from the recording: writes, stored words, events, edges."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import numpy as np

from busbox.bus.transfers import ACK
from busbox.device import NO_ACCESS
from busbox.map.registers import WORD, Place, lane_mask

if TYPE_CHECKING:
    from busbox.recording import Recording
    from busbox.system.system import System


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

    def _written(self, number: int) -> dict[int, list[int]]:
        """Return the writes to each register, by its offset."""
        from busbox.recording import where

        slot, accesses = self._device.slot, self._recording.accesses
        writes: dict[int, list[int]] = {}
        for access in where(
            accesses, lambda part: (part.slot == number) & part.write & (part.terminator == ACK)
        ):
            writes.setdefault(slot.offset(int(accesses.address[access])), []).append(access)
        return writes

    def _place(self, register: str) -> Place:
        offset = self._device.slot.table.offset_of(register)
        place = None if offset is None else self._device.slot.table.at(offset)
        if offset is None or place is None:
            raise KeyError(f"{self._device.name} has no register {register!r}")
        return place

    def _counting(self, register: str, cycle: int) -> list[int]:
        """Return the writes to a register that a read in ``cycle`` may show, in order."""
        place = self._place(register)
        offset = self._device.slot.table.offset_of(register)
        assert offset is not None
        since = 0 if place.register.kept else self._reset_before(cycle)
        ends = self._recording.accesses.end
        return [
            access
            for access in self._writes.get(offset, ())
            if since <= ends[access] < cycle and self._whole(place, access)
        ]

    def _whole(self, place: Place, access: int) -> bool:
        lanes, whole = int(self._recording.accesses.lanes[access]), place.register.whole
        return bool(lanes) and lanes & whole == whole

    def _reset_before(self, cycle: int) -> int:
        """Return the first cycle of the last reset before ``cycle``, 0 if there was none."""
        return max((first for first, _ in self._recording.resets if first < cycle), default=0)

    def write(self, register: str, cycle: int) -> int:
        """Return the last write to a register that a read in ``cycle`` may show, -1 if none."""
        return next(reversed(self._counting(register, cycle)), NO_ACCESS)

    def word(self, register: str, cycle: int) -> int:
        """Return the stored word of a register as of ``cycle``."""
        place, accesses = self._place(register), self._recording.accesses
        stores = place.register.mask("rw", "wo")
        word = place.register.reset_value
        for access in self._counting(register, cycle):
            lanes = lane_mask(int(accesses.lanes[access])) & stores
            word = word & (WORD & ~lanes) | int(accesses.data[access]) & lanes
        return word

    def data(self, access: int) -> int:
        """Return the word that an access transferred."""
        return int(self._recording.accesses.data[access])

    def event(self, kinds: tuple[str, ...], cycle: int) -> tuple[int, Mapping[str, Any]] | None:
        """Return (cycle, details) of the last event of these kinds up to ``cycle``, since a reset."""
        since, name = self._reset_before(cycle), self._device.name
        for event in reversed(self._recording.events):
            if event.device == name and event.kind in kinds and since <= event.cycle <= cycle:
                return event.cycle, event.details
        return None

    def first_edge(self, pin: str, access: int) -> int | None:
        """Return the cycle of the first edge of a pin that an access caused."""
        line = self._recording.lines[f"{self._device.name}.{pin}"]
        edges = np.flatnonzero(line.accesses == access)
        return int(line.cycles[edges[0]]) if len(edges) else None
