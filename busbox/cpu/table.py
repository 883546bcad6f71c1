"""Many accesses by number as columns: what a long recorded file is made of."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any

import numpy as np
from numpy.typing import NDArray

from busbox.cpu.steps import Access, Step

#: The columns; ``data`` and ``pc`` are -1 where there is none.
TABLE = ("write", "address", "data", "lanes", "wait", "pc", "line")


class AccessTable:
    """Accesses to addresses, one a row.

    Parameters
    ----------
    columns : for each name of :data:`TABLE` as many whole numbers as there are accesses
    """

    def __init__(self, columns: dict[str, Any]) -> None:
        self._rows: NDArray[np.int64] = np.array([columns[name] for name in TABLE], dtype="i8")

    def __len__(self) -> int:
        return len(self._rows[0])

    def __getitem__(self, name: str) -> NDArray[np.int64]:
        row: NDArray[np.int64] = self._rows[TABLE.index(name)]
        return row

    def steps(self) -> Iterator[Access]:
        """Yield the accesses as steps."""
        for write, address, data, lanes, wait, pc, line in self._rows.T.tolist():
            yield Access(
                bool(write),
                address,
                None if data < 0 else data,
                lanes,
                wait,
                None if pc < 0 else pc,
                line,
            )


def steps_of(pieces: Iterable[Step | AccessTable]) -> Iterator[Step]:
    """Yield steps one by one."""
    for piece in pieces:
        if isinstance(piece, AccessTable):
            yield from piece.steps()
        else:
            yield piece
