"""Traffic by number when a slot is moved: it stays at the old addresses, or moves along."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

import numpy as np

from busbox.basics.listing import counted
from busbox.bench.context import Context
from busbox.bench.traffic import Traffic
from busbox.cpu.listed import ListedSource
from busbox.cpu.steps import AccessStep, Poll, Step
from busbox.cpu.table import AccessTable
from busbox.map.registers import WORD
from busbox.map.slots import AddressMap, Slot


class Moves:
    """Which slots have been moved, and what becomes of traffic by number.

    Parameters
    ----------
    before, after : the slots before and after the changes
    """

    def __init__(self, before: Sequence[Slot], after: Sequence[Slot]) -> None:
        bases = {slot.name: slot.base for slot in after}
        self._map = AddressMap(before)
        self._by = {
            slot.name: bases[slot.name] - slot.base
            for slot in before
            if slot.name in bases and bases[slot.name] != slot.base
        }

    def __bool__(self) -> bool:
        return bool(self._by)

    def applied(self, traffic: Traffic, move: bool, context: Context) -> Traffic:
        """Return the traffic, moved if ``move``; if not, a note says how much stays behind."""
        source = traffic.new_source()
        if traffic.program is not None or not isinstance(source, ListedSource):
            if move:
                what = "a program" if traffic.program is not None else "a function or a source"
                text = (
                    "only steps of a list or a file can be moved (--move-traffic); this traffic is "
                )
                text += f"{what}, which holds its addresses itself"
                context.mistakes.note(("traffic", "move"), text)
            return traffic
        if move:
            return replace(traffic, new_source=ListedSource(lambda: self._moved(source)).again)
        stays = self._staying(source)
        notes = tuple(
            f"{name} was moved; {counted(count, 'step')} of the traffic that reached it by number "
            f"{'stays' if count == 1 else 'stay'} at the old address (--move-traffic moves them)."
            for name, count in stays.items()
        )
        return replace(traffic, notes=(*traffic.notes, *notes))

    def _slot(self, address: int) -> str:
        """Return the moved slot that an address had reached, or ""."""
        slot = self._map.decode(address).slot
        return slot.name if slot is not None and slot.name in self._by else ""

    def _address(self, address: int) -> int:
        return (address + self._by.get(self._slot(address), 0)) & WORD

    def _moved(self, source: ListedSource) -> Iterator[Step | AccessTable]:
        for handler in source.written:
            yield replace(handler, steps=tuple(self._step(step) for step in handler.steps))
        for piece in source.pieces():
            yield self._table(piece) if isinstance(piece, AccessTable) else self._step(piece)

    def _step(self, step: Step) -> Step:
        if isinstance(step, AccessStep | Poll) and isinstance(step.target, int):
            return replace(step, target=self._address(step.target))
        return step

    def _table(self, table: AccessTable) -> AccessTable:
        addresses, places = np.unique(table["address"], return_inverse=True)
        moved = np.array([self._address(address) for address in addresses.tolist()], dtype="i8")
        return table.at(moved[places])

    def _staying(self, source: ListedSource) -> Mapping[str, int]:
        """Return how many steps by number had reached each moved slot."""
        found: dict[str, int] = {}
        for piece in source.everything():
            if isinstance(piece, AccessTable):
                pairs = zip(*np.unique(piece["address"], return_counts=True), strict=True)
                reached = [(self._slot(int(address)), int(count)) for address, count in pairs]
            elif isinstance(piece, AccessStep | Poll) and isinstance(piece.target, int):
                reached = [(self._slot(piece.target), 1)]
            else:
                continue
            for name, count in reached:
                if name:
                    found[name] = found.get(name, 0) + count
        return found


def moves(first: Mapping[str, object], keys: Mapping[str, object]) -> bool:
    """Return whether the base of a slot differs between two sets of keys."""
    return any(base != _bases(keys).get(name) for name, base in _bases(first).items())


def _bases(keys: Mapping[str, object]) -> dict[str, object]:
    slots = keys.get("slot")
    if not isinstance(slots, Mapping):
        return {}
    return {name: slot["base"] for name, slot in slots.items()
            if isinstance(slot, Mapping) and "base" in slot}  # fmt: skip
