"""The different numbers of a column, found by sorting: NumPy's own table of hashes is slower."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray


def distinct(numbers: NDArray[Any]) -> NDArray[Any]:
    """Return the different ones of whole numbers, the least first, as :func:`numpy.unique` does."""
    ordered = np.sort(numbers)
    return ordered[changed(ordered)]


def numbered(numbers: NDArray[Any]) -> tuple[NDArray[Any], NDArray[Any]]:
    """Return the different ones of whole numbers from 0, and the place of each number among them.

    As :func:`numpy.unique` with ``return_inverse``, but without sorting where a table is small.
    """
    if not len(numbers) or int(numbers.max()) >= max(1 << 16, len(numbers)):
        return np.unique(numbers, return_inverse=True)
    found = np.flatnonzero(np.bincount(numbers))
    places = np.zeros(int(found[-1]) + 1, dtype="i8")
    places[found] = np.arange(len(found))
    return found, places[numbers]


def changed(numbers: NDArray[Any]) -> NDArray[np.bool_]:
    """Return, for each of some numbers, whether it differs from the one before; the first does."""
    different = np.ones(len(numbers), dtype=np.bool_)
    np.not_equal(numbers[1:], numbers[:-1], out=different[1:])
    return different
