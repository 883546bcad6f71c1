"""Reports what hardware devices did to their note readers, cycle by cycle (contract of engines, 11)."""

from __future__ import annotations

from array import array
from bisect import bisect_left
from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, Any

import numpy as np

from busbox.bus.transfers import ERR
from busbox.device import BusAccess
from busbox.engines import LOG, Observer
from busbox.engines.kernel import Kernel
from busbox.engines.loop import FOREVER, LOGGED
from busbox.map.slots import AddressMap
from busbox.system.system import System

if TYPE_CHECKING:
    from busbox.bus.hardware import NoteReader
    from busbox.bus.rule import Breach
    from busbox.bus.view import View

_ENDS, _ADDRESSES, _WRITES, _TERMINATORS = (
    LOG.index(name) for name in ("end", "address", "write", "terminator")
)


class Teller:
    """Reports to the observers of hardware devices what a kernel has kept.

    Parameters
    ----------
    views : what is seen of each device, by the number of its slot
    observers : who receives it, by the same
    """

    def __init__(
        self,
        system: System,
        kernel: Kernel,
        views: Mapping[int, View],
        observers: Mapping[int, Observer],
    ) -> None:
        self._kernel, self._views, self._observers = kernel, views, observers
        self._map = system.address_map
        self._names = [device.name for device in system.devices]
        self._needed = {slot: _needed_by(system.devices[slot].model.note_reader) for slot in views}
        self._told: dict[int, int | None] = dict.fromkeys(views)
        self._renewed: set[int] = set()
        self._reset_cycle = -1

    def renew(self, cycle: int) -> None:
        """Take what follows cycle ``cycle`` of a reset as new, even if it looks the same."""
        self._renewed, self._reset_cycle = set(self._views), cycle

    def show(self, slot: int, cycle: int, word: int) -> None:
        """Report the pins of a cycle that differ from those last reported."""
        view, before = self._views[slot], self._told[slot]
        if slot in self._renewed and cycle > self._reset_cycle:
            self._renewed.remove(slot)  # what follows is new, even if it looks the same
            before = None
        self._told[slot] = word
        if before is None or (before ^ word) & view.pin_mask:
            self._observers[slot].take_pins(cycle, view.changes(before, word))

    def tell(self, first: int, fresh: array[int]) -> list[tuple[str, Breach]]:
        """Report what hardware devices did, in the order of the contract (11).

        Parameters
        ----------
        first : number of the first access in ``fresh``, which has :data:`LOGGED` numbers of each

        Returns
        -------
        what their guards saw, with the name of the port
        """
        if not fresh and not self._kernel.noted:
            return []
        log = np.array(fresh, dtype="i8").reshape(-1, LOGGED)
        heard = any(needed != "none" for needed in self._needed.values())
        slots = self._slots(log[:, _ADDRESSES]) if heard else np.full(len(log), -1)
        found: list[tuple[int, int, tuple[str, Breach]]] = []
        for slot in self._views:
            mine = (slots == slot) & (log[:, _TERMINATORS] <= ERR)
            if self._needed[slot] == "last write":
                mine &= log[:, _WRITES] == 1
            numbers = np.flatnonzero(mine)
            self._tell_of(slot, log[numbers], numbers + first)
            name = self._names[slot]
            for cycle, word in zip(*self._kernel.guarded(slot), strict=True):
                found += [(cycle, slot, (name, one)) for one in _breaches(name, cycle, word)]
        return [one for _, _, one in sorted(found, key=lambda entry: entry[:2])]

    def _slots(self, addresses: Any) -> Any:
        """Return the slot of each address, -1 for none."""
        unique, where = np.unique(addresses, return_inverse=True)
        slots = [self._map.decode(int(address)).slot for address in unique]
        numbers = [-1 if slot is None else self._names.index(slot.name) for slot in slots]
        return np.array(numbers, dtype="i8")[where]

    def _tell_of(self, slot: int, log: Any, numbers: Any) -> None:
        """Report one device's pins, accesses and notes, cycle by cycle."""
        observer, view, show = self._observers[slot], self._views[slot], self.show
        ended = _Ended(self._map, log, numbers, observer, self._needed[slot] == "every")
        for cycle, word in zip(*self._kernel.samples(slot), strict=True):
            if ended.next < cycle:
                ended.tell_before(cycle)
            show(slot, cycle, word)
            if ended.next == cycle:
                ended.tell_before(cycle + 1)
            if word & 1:
                observer.take_notes(cycle, view.notes(word))
        ended.tell_before(FOREVER)


class _Ended:
    """The accesses that one hardware device has ended, which its observer receives.

    Attributes
    ----------
    next : the cycle in which the next one ends
    """

    def __init__(
        self, table: AddressMap, log: Any, numbers: Any, observer: Observer, every: bool
    ) -> None:
        self._map, self._log, self._numbers, self._observer = table, log, numbers, observer
        self._every = every
        self._ends: list[int] = [*log[:, _ENDS].tolist(), FOREVER]
        self._told = 0
        self.next = self._ends[0]

    def tell_before(self, cycle: int) -> None:
        """Report those that end before ``cycle``: of all, or of the last one only."""
        upto = bisect_left(self._ends, cycle, self._told)
        if upto == self._told:
            return
        for place in range(self._told if self._every else upto - 1, upto):
            _, end, address, write, lanes, data, *_ = self._log[place].tolist()
            offset, number = self._map.decode(address).offset & ~3, int(self._numbers[place])
            self._observer.take_end(
                BusAccess(end, offset, write == 1, data if write else 0, lanes, number)
            )
        self._told, self.next = upto, self._ends[upto]


def _breaches(port: str, cycle: int, word: int) -> Iterable[Breach]:
    """Return what the rule checker says of a cycle in which a guard detected a broken rule."""
    from busbox.bus.wishbone.guard import breaches

    return breaches(port, cycle, word)


def _needed_by(note_reader: type[NoteReader]) -> str:
    """Return which accesses a note reader must receive."""
    from busbox.bus.hardware import NoteReader

    return "none" if note_reader.access is NoteReader.access else note_reader.needed_accesses
