"""Many accesses by number as columns: the contents of a long recorded file."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any

import numpy as np
from numpy.typing import NDArray

from busbox.cpu.steps import AccessStep, Step

#: The columns; ``data``, ``pc`` and ``line`` are -1 where there is none.
TABLE = ("write", "address", "data", "lanes", "wait", "pc", "line")


class AccessTable:
    """Accesses to addresses, as columns.

    Parameters
    ----------
    columns : for each name of :data:`TABLE`, one whole number per access

    Attributes
    ----------
    columns : the same as an array, a row for each name
    """

    def __init__(self, columns: dict[str, Any]) -> None:
        self.columns: NDArray[np.int64] = np.array([columns[name] for name in TABLE], dtype="i8")

    @classmethod
    def of(cls, numbers: NDArray[np.int64]) -> AccessTable:
        """Return the table whose columns, one behind the other, are these numbers."""
        return cls(dict(zip(TABLE, numbers.reshape(len(TABLE), -1), strict=True)))

    def __len__(self) -> int:
        return len(self.columns[0])

    def __getitem__(self, name: str) -> NDArray[np.int64]:
        column: NDArray[np.int64] = self.columns[TABLE.index(name)]
        return column

    def at(self, addresses: NDArray[np.int64]) -> AccessTable:
        """Return the same accesses at other addresses."""
        return AccessTable({name: addresses if name == "address" else self[name] for name in TABLE})

    def steps(self) -> Iterator[AccessStep]:
        """Yield the accesses as steps."""
        for write, address, data, lanes, wait, pc, line in self.columns.T.tolist():
            yield AccessStep(
                bool(write),
                address,
                None if data < 0 else data,
                lanes,
                wait,
                None if pc < 0 else pc,
                None if line < 0 else line,
            )


def steps_of(pieces: Iterable[Step | AccessTable]) -> Iterator[Step]:
    """Yield steps one by one."""
    for piece in pieces:
        if isinstance(piece, AccessTable):
            yield from piece.steps()
        else:
            yield piece
