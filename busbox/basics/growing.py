"""Columns that grow: in memory while they are short, in a temporary file when they are long.

A run of any length keeps no more than :data:`IN_MEMORY` bytes of each column in memory; the result is
an array in any case, mapped from the file if there is one.
"""

from __future__ import annotations

import tempfile
import weakref
from array import array
from collections.abc import Sequence
from typing import IO, Any

import numpy as np
from numpy.typing import NDArray

from busbox.basics.errors import InputError
from busbox.basics.limits import ROWS

#: Bytes of one column that are kept in memory.
IN_MEMORY = 1 << 20


class Column:
    """Numbers of one type, to which more can be appended.

    Parameters
    ----------
    kind : a NumPy type such as ``"i8"``
    """

    def __init__(self, kind: str) -> None:
        self._type: np.dtype[Any] = np.dtype(kind)
        self._parts: list[NDArray[Any]] = []
        self._held = 0
        self._written = 0
        self._file: IO[bytes] | None = None

    def __len__(self) -> int:
        return self._held + self._written

    def extend(self, values: NDArray[Any] | Sequence[int] | array[int]) -> None:
        """Add values.

        Raises
        ------
        InputError : there is no disk space for the temporary file, or they are above the limit
        """
        part = np.array(values, dtype=self._type)
        if len(part):
            self._parts.append(part)
            self._held += len(part)
        if self._held * self._type.itemsize > IN_MEMORY:
            self._spill()

    def _spill(self) -> None:
        ROWS.check(len(self), "the accesses or other facts of a run")
        try:
            if self._file is None:
                self._file = tempfile.TemporaryFile()  # noqa: SIM115  closed with its column
                weakref.finalize(self, self._file.close)
            for part in self._parts:
                self._file.write(part.tobytes())
            self._file.flush()
        except OSError as error:
            raise InputError.of(
                f"not enough disk space to record a long run: {error.strerror}",
                tempfile.gettempdir(),
            ) from None
        self._written += self._held
        self._parts, self._held = [], 0

    def array(self) -> NDArray[Any]:
        """Return all values; a later ``extend`` does not change what was returned."""
        if self._file is None:
            if not self._parts:
                return np.zeros(0, dtype=self._type)
            self._parts = [np.concatenate(self._parts)] if len(self._parts) > 1 else self._parts
            return self._parts[0]
        if self._held:
            self._spill()
        return np.memmap(self._file, dtype=self._type, mode="r", shape=(self._written,))
