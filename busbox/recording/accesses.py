"""The accesses of a run: columns of any length, and ways to scan them piece by piece."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from busbox.bus.transfers import TERMINATORS

#: The columns of the accesses, and the type of each: 55 bytes per access.
COLUMNS: Mapping[str, str] = {
    "start": "i8",
    "end": "i8",
    "address": "u4",
    "write": "?",
    "lanes": "u1",
    "data": "u4",
    "terminator": "u1",
    "slot": "i2",
    "step": "i4",
    "line": "i4",
    "pc": "i8",
    "expected": "i8",
    "file": "i2",
}

IntColumn = NDArray[Any]


class Accesses:
    """The accesses of a run as columns; ``accesses.end`` and ``accesses["end"]`` are the same array.

    Attributes
    ----------
    start, end : cycles s and e of the semantics page
    address : byte address, a multiple of 4
    write : True for a write
    lanes : selected bytes, bit k = SEL(k)
    data : the word written or read, in lane position; 0 for a read without ACK
    terminator : number in :data:`busbox.bus.transfers.TERMINATORS`
    slot : number of the slot that decodes the address, -1 for none
    step : number of the step in the traffic, from 0; the reads of a poll share one
    line : line in the traffic file, or in ``file``; -1 if there is none
    pc : address of the instruction, -1 if it is not known
    expected : the word that was recorded for a read, -1 if nothing is compared
    file : the file of ``line``: its index in ``files`` of the recording, -1 for the traffic file
    """

    start: IntColumn
    end: IntColumn
    address: IntColumn
    write: IntColumn
    lanes: IntColumn
    data: IntColumn
    terminator: IntColumn
    slot: IntColumn
    step: IntColumn
    line: IntColumn
    pc: IntColumn
    expected: IntColumn
    file: IntColumn

    def __init__(self, columns: Mapping[str, IntColumn]) -> None:
        for name, kind in COLUMNS.items():
            setattr(self, name, np.asarray(columns[name], dtype=kind))

    def __getitem__(self, name: str) -> IntColumn:
        if name not in COLUMNS:
            raise KeyError(f"a column must be one of {', '.join(COLUMNS)}, not {name!r}")
        column: IntColumn = getattr(self, name)
        return column

    def __len__(self) -> int:
        return len(self.start)

    def __eq__(self, other: object) -> bool:
        """Compare every column, exactly."""
        if not isinstance(other, Accesses):
            return NotImplemented
        return all(np.array_equal(self[name], other[name]) for name in COLUMNS)

    __hash__ = None  # type: ignore[assignment]

    def __repr__(self) -> str:
        return f"<Accesses: {len(self):,}, in columns {', '.join(COLUMNS)}>"

    @property
    def terminators(self) -> list[str]:
        """The terminators as text."""
        return [TERMINATORS[number] for number in self.terminator]

    def part(self, first: int, end: int) -> Accesses:
        """Return the accesses ``first`` to ``end - 1``, without a copy."""
        return Accesses({name: self[name][first:end] for name in COLUMNS})


#: Accesses that are looked at in one go.
WINDOW = 1 << 17


def windows(accesses: Accesses) -> Iterator[tuple[int, Accesses]]:
    """Yield (number of the first access, some accesses), until all have been seen.

    Computations on whole columns go window by window, as a long recording does not fit into memory.
    """
    for first in range(0, len(accesses), WINDOW):
        yield first, accesses.part(first, min(first + WINDOW, len(accesses)))


def where(accesses: Accesses, test: Callable[[Accesses], Any]) -> Iterator[int]:
    """Yield the numbers of the accesses for which ``test`` gives true, window by window."""
    for first, part in windows(accesses):
        yield from (np.flatnonzero(test(part)) + first).tolist()
