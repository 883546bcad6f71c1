"""Accesses that were seen on a bus, as steps: words and lanes, waits, the slots of a bench."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from busbox.basics.units import Span
from busbox.cpu.steps import ALL_LANES, Pause
from busbox.cpu.table import AccessTable
from busbox.formats.waveform.notes import Notes
from busbox.formats.waveform.sampling import Moments
from busbox.formats.waveform.signal_map import Wired
from busbox.formats.waveform.tokens import Values
from busbox.map.registers import LANE_MASKS, WORD

Array = NDArray[Any]
#: Returns for addresses whether a slot answers at each.
Inside = Callable[[Array], Array]


@dataclass(frozen=True)
class Seen:
    """Accesses as the signals had them, in the order in which they end.

    Attributes
    ----------
    start, end : cycles
    times : of the end, for messages
    write : whether it is a write
    address, lanes, data : signals; ``lanes`` is None if the map has none
    compared : whether a read has data
    """

    start: Array
    end: Array
    times: Array
    write: Array
    address: Values
    lanes: Values | None
    data: Values
    compared: Array

    def __len__(self) -> int:
        return len(self.start)

    def take(self, places: Any) -> Seen:
        """Return some of them."""
        lanes = None if self.lanes is None else self.lanes.take(places)
        return Seen(
            self.start[places], self.end[places], self.times[places], self.write[places],
            self.address.take(places), lanes, self.data.take(places), self.compared[places],
        )  # fmt: skip

    @classmethod
    def both(cls, first: Seen, second: Seen) -> Seen:
        """Return all accesses of two lots, in the order in which they end."""

        def joined(name: str) -> Any:
            return np.concatenate((getattr(first, name), getattr(second, name)))

        lanes = None
        if first.lanes is not None and second.lanes is not None:
            lanes = Values.joined(first.lanes, second.lanes)
        every = cls(
            joined("start"), joined("end"), joined("times"), joined("write"),
            Values.joined(first.address, second.address), lanes,
            Values.joined(first.data, second.data), joined("compared"),
        )  # fmt: skip
        return every.take(np.argsort(every.times, kind="stable"))


class Steps:
    """Makes steps of accesses.

    Parameters
    ----------
    wires : the map, looked up
    inside : the slots of the bench; None without one
    """

    def __init__(self, wires: Wired, moments: Moments, notes: Notes, inside: Inside | None) -> None:
        self._wires, self._moments, self._notes, self._inside = wires, moments, notes, inside
        self._free = 1
        self._any = False

    def of(self, seen: Seen) -> Iterator[AccessTable | Pause]:
        """Yield the steps of some accesses."""
        address, place = self._addresses(seen)
        if self._inside is not None:
            kept = (address <= WORD) & self._inside(address & np.uint64(WORD & ~3))
            self._notes.outside += int(np.count_nonzero(~kept))
            seen, address, place = seen.take(kept), address[kept], place[kept]
        for row in np.flatnonzero(address > WORD)[:1]:
            text = f"the address {int(address[row]):#x} is beyond 32 bits"
            raise self._moments.wrong(seen.times[row], text)
        if len(seen):
            lanes = self._lanes(seen, place)
            data = self._data(seen, place, lanes)
            yield from self._tables(
                seen, (address & np.uint64(WORD & ~3)).astype("i8"), lanes, data
            )

    def _refuse(self, seen: Seen, wrong: Array, text: str) -> None:
        for row in np.flatnonzero(wrong)[:1]:
            raise self._moments.wrong(seen.times[row], text)

    def _addresses(self, seen: Seen) -> tuple[Array, Array]:
        """Return byte addresses, and for each the byte of its word at which the bus's data begin."""
        self._refuse(seen, seen.address.unknown != 0, "the address is unknown (x or z)")
        step = self._wires.map.address_step
        address = seen.address.ones
        self._refuse(seen, address > (1 << 60), "the address is beyond 32 bits")
        address = address * np.uint64(step)
        size = self._wires.data_bytes
        if seen.lanes is None:
            odd = seen.write & (address % np.uint64(size) != 0)
            text = f"a write without lanes must be at a multiple of {size}"
            for row in np.flatnonzero(odd)[:1]:
                raise self._moments.wrong(seen.times[row], f"{text}, not {int(address[row]):#x}")
        return address, (address & np.uint64(4 - size)).astype("i8")

    def _lanes(self, seen: Seen, place: Array) -> Array:
        own = (1 << self._wires.data_bytes) - 1
        if seen.lanes is None:
            return np.full(len(seen), own, dtype="i8") << place
        self._refuse(seen, seen.lanes.unknown != 0, "the lanes are unknown (x or z)")
        return seen.lanes.ones.astype("i8") << place

    def _data(self, seen: Seen, place: Array, lanes: Array) -> Array:
        """Return the words in lane position; -1 where nothing is compared."""
        shift = (8 * place).astype("u8")
        unknown = (seen.data.unknown << shift) & np.take(LANE_MASKS, lanes).astype("u8") != 0
        self._refuse(seen, unknown & seen.write, "the data of a write are unknown (x or z)")
        data: Array = (seen.data.ones << shift).astype("i8")
        return np.where(seen.write | (seen.compared & ~unknown), data, -1)

    def _tables(
        self, seen: Seen, address: Array, lanes: Array, data: Array
    ) -> Iterator[AccessTable | Pause]:
        free = np.maximum.accumulate(np.concatenate(([self._free], seen.end + 1)))
        wait = seen.start - free[:-1]
        early = wait < 0
        if not self._any and early[0]:
            self._notes.in_first_cycle = True
            early[0] = False
        self._any = True
        self._notes.overlapping += int(np.count_nonzero(early))
        wait = np.maximum(wait, 0)
        self._free = int(free[-1])
        columns = {
            "write": seen.write, "address": address, "data": data, "lanes": lanes, "wait": wait,
            "pc": np.full(len(seen), -1), "line": self._lines(seen),
        }  # fmt: skip
        long = np.flatnonzero(wait > WORD)
        for first, end in zip([0, *long], [*long, len(seen)], strict=True):
            part = {name: column[first:end] for name, column in columns.items()}
            if first in long:
                yield Pause(Span(cycles=int(wait[first])))
                part["wait"] = np.concatenate(([0], part["wait"][1:]))
            if first < end:
                yield AccessTable(part)

    def _lines(self, seen: Seen) -> Array:
        if self._moments.unit is None:
            return seen.times
        return np.full(len(seen), -1)


def all_lanes(wires: Wired, count: int) -> Values:
    """Return lanes that select every byte of the bus."""
    own = ALL_LANES >> (4 - wires.data_bytes)
    return Values(np.full(count, own, dtype="u8"), np.zeros(count, dtype="u8"))


def no_data(count: int) -> Values:
    """Return data that are not known."""
    return Values(np.zeros(count, dtype="u8"), np.full(count, WORD, dtype="u8"))
