"""What a run reached: reads, writes, lanes and fields of every register."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from itertools import pairwise
from typing import Any

import numpy as np

from busbox.basics.distinct import distinct
from busbox.basics.listing import runs
from busbox.basics.paper import TIED, Paper
from busbox.bus.transfers import ACK
from busbox.exports.contract import Result, Target
from busbox.map.registers import LANE_MASKS, WORD, Place, RegisterTable, show_lanes
from busbox.recording import Accesses, IntColumn, Recording, windows
from busbox.system.hardware import Device

#: Registers that are listed of one slot, touched or not, at most.
SHOWN_REGISTERS = 40


def write(result: Result, target: Target) -> None:
    """Which registers and fields of every slot were reached, for people."""
    page = target.paper()
    write_coverage(coverage(result.recording, result.system.devices), page)
    target.put(page)


def coverage(recording: Recording, devices: Sequence[Device]) -> dict[str, Any]:
    """Return, for every slot, ``registers`` by name, and ``untouched``, those that nothing reached.

    Acknowledged accesses count, at whatever image. Of a field, ``written_one`` says that a one was
    written to any of its bits (in selected lanes, by a write that acts), ``read_one`` and
    ``read_zero`` that any of its bits was read so. Consecutive elements are one entry of ``untouched``:
    ``COLOUR.3..7``.
    """
    return {device.name: _slot(recording, number, device) for number, device in enumerate(devices)}


def _slot(recording: Recording, number: int, device: Device) -> dict[str, Any]:
    slot = device.slot
    touched: dict[int, _Seen] = {}
    for _, part in windows(recording.accesses):
        for offset, mine in _by_offset(part, number, slot.base, slot.size):
            place = slot.table.at(offset)
            if place is not None:
                touched.setdefault(offset, _Seen(place)).add(part, mine)
    return {
        "registers": {
            touched[offset].name: touched[offset].as_object() for offset in sorted(touched)
        },
        "untouched": list(_untouched(slot.table, sorted(touched))),
    }


def _by_offset(
    accesses: Accesses, number: int, base: int, size: int
) -> Iterator[tuple[int, IntColumn]]:
    """Yield (offset, numbers of the acknowledged accesses) for each offset that was reached."""
    chosen = np.flatnonzero((accesses.slot == number) & (accesses.terminator == ACK))
    offsets = (accesses.address[chosen].astype("i8") - base) % size
    order = np.argsort(offsets, kind="stable")
    unique, starts = np.unique(offsets[order], return_index=True)
    yield from zip(unique.tolist(), np.split(chosen[order], starts[1:]), strict=False)


class _Seen:
    """What the acknowledged accesses of one register did."""

    def __init__(self, place: Place) -> None:
        self.name, self._register = place.name, place.register
        self._reads = self._writes = 0
        self._lanes: set[int] = set()
        self._written = self._ones = self._zeros = 0

    def add(self, accesses: Accesses, mine: IntColumn) -> None:
        """Take accesses, by number."""
        write, lanes = accesses.write[mine], accesses.lanes[mine]
        data, whole = accesses.data[mine].astype("i8"), self._register.whole
        acts = write & (lanes & whole == whole)
        self._reads += int((~write).sum())
        self._writes += int(write.sum())
        self._lanes |= set(distinct(lanes).tolist())
        self._written |= int(np.bitwise_or.reduce((data & np.take(LANE_MASKS, lanes))[acts]))
        self._ones |= int(np.bitwise_or.reduce(data[~write]))
        self._zeros |= int(np.bitwise_or.reduce(data[~write] ^ WORD))

    def as_object(self) -> dict[str, Any]:
        """Return it as :func:`coverage` says."""
        return {
            "reads": self._reads,
            "writes": self._writes,
            "lanes": [show_lanes(used) for used in sorted(self._lanes)],
            "fields": {
                field.name: {
                    "written_one": bool(self._written & field.mask),
                    "read_one": bool(self._ones & field.mask),
                    "read_zero": bool(self._zeros & field.mask),
                }
                for field in self._register.fields
            },
        }


def _untouched(table: RegisterTable, touched: Sequence[int]) -> Iterator[str]:
    for register in table:
        count = max(1, register.count)
        numbers = [(offset - register.offset) // 4 for offset in touched]
        inside = [number for number in numbers if 0 <= number < count]
        for before, after in pairwise((-1, *inside, count)):
            if after - before > 2:
                yield f"{register.name}.{before + 1}..{after - 1}"
            elif after - before == 2:
                yield register.name_of(before + 1)


def write_coverage(covered: Mapping[str, Any], paper: Paper) -> None:
    """Write the section of a summary."""
    paper.title(
        "Coverage (w1: 1 written to any bit of the field; r1, r0: 1 or 0 read from any bit)"
    )
    for name, slot in covered.items():
        paper.line("  ", (name, "bold"))
        _registers(slot["registers"], paper)
        untouched, more = slot["untouched"], len(slot["untouched"]) - SHOWN_REGISTERS
        if untouched:
            listed = ", ".join(untouched[:SHOWN_REGISTERS])
            listed += f" and {more:,} more; --json lists all" if more > 0 else ""
            paper.table([("never touched", listed)], indent=4)


def _registers(registers: Mapping[str, Any], paper: Paper) -> None:
    rows: list[tuple[object, ...]] = [
        (name, f"{one['reads']:,}", f"{one['writes']:,}", ", ".join(one["lanes"]),
         ", ".join(_marks(*item) for item in one["fields"].items()))
        for name, one in runs(registers.items())
    ]  # fmt: skip
    if not rows:
        return
    more = len(rows) - SHOWN_REGISTERS
    head = ("register", "reads", "writes", "lanes", "fields")
    paper.table(rows[:SHOWN_REGISTERS], head=head, numbers=(1, 2), indent=4)
    if more > 0:
        paper.line(f"    and {more:,} more; --json lists all")


def _marks(name: str, seen: Mapping[str, bool]) -> str:
    marks = {"w1": seen["written_one"], "r1": seen["read_one"], "r0": seen["read_zero"]}
    return TIED.join([name, *(mark for mark, is_so in marks.items() if is_so)])
